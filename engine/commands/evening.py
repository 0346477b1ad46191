"""The evening before a game: blank sheets, how often to call, who plays where, what to practise, pages."""

from __future__ import annotations

import sys
from dataclasses import replace

import click

from engine.commands.shared import (
    PAGE,
    ctrl_c,
    deliver,
    file_option,
    fitted,
    load_engine,
    one_line,
    output_options,
    played,
    progress_bar,
    run_options,
    size_options,
)

ZONE_OR_MEN = "Also whether to play the zone at all: beside man-to-man; about a minute more, once."
ADAPTED = "Against an opponent who learns the calls that save; takes longer (the time is said before)."


@click.command(short_help="Write a blank workbook for one game into a folder.")
@click.argument("folder", type=click.Path())
@click.option("--level", default="school", show_default=True, help="Level of play to start from.")
@click.option("--csv", "as_csv", is_flag=True, help="Write CSV sheets instead of the workbook.")
@click.option(
    "--semicolons", is_flag=True, help="CSV separated by semicolons, for spreadsheets with decimal commas."
)
def new(folder: str, level: str, as_csv: bool, semicolons: bool) -> None:
    """Write a blank workbook into FOLDER, to be filled in with any spreadsheet; nothing is overwritten.

    The folder can be played at once: what is not filled in is an average player of the level. There is no
    zone and no trap advice until the age group, or what the league allows, is filled in. CSV sheets are read,
    too; where both are in the folder, those saved last.
    """
    from engine.inputs.sheets import write_blank

    written = write_blank(folder, level, ";" if semicolons else "," if as_csv else None)
    lines = [one_line(str(path)) for path in written]
    then = f"trapledger compare {one_line(folder)}"
    lines.append(f"Now open {lines[0]}, fill in the sheets (age_group first), then: {then}")
    sys.stdout.write("".join(f"{line}\n" for line in lines))
    sys.stdout.flush()


@click.command(short_help="How often to use each call in a game?")
@click.argument("scenario", type=click.Path())
@click.option("--games", type=int, help="Whole games to play. [default: 400]")
@click.option("--seed", type=int, help="Seed of the random numbers. [default: the scenario's]")
@click.option("--threads", type=int, help="Threads; the result does not depend on it. [default: all cores]")
@click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="NAME=VALUE",
    help="Change a number of configs/model/plan.toml, such as fatigue_percent_per_100m=0.",
)
@click.option("--adapted", is_flag=True, help=ADAPTED)
@click.option("--zone-or-men", is_flag=True, help=ZONE_OR_MEN)
@click.option("--quiet", is_flag=True, help="No progress and no remarks, only the result.")
@output_options
def plan(
    scenario: str,
    games: int | None,
    seed: int | None,
    threads: int | None,
    changes: tuple[str, ...],
    adapted: bool,
    zone_or_men: bool,
    quiet: bool,
    json_target: str | None,
    detail: bool,
) -> None:
    """Find how often to use each call of SCENARIO (a file, or a folder of sheets) and play whole games."""
    from engine.inputs.sheets import asked_men, load_evening
    from engine.report.advice_view import advice_dict
    from engine.report.screen.plan import plan_text
    from engine.report.zone_or_men_view import zone_or_men_dict
    from engine.run.size import check_size
    from engine.study import evening_report
    from engine.study.plan.inputs import changes_from, check_games, load_plan_constants, values_of

    evening = load_evening(scenario)
    if zone_or_men:
        asked_men(evening)
    effort = evening_report.USUAL
    effort = effort if games is None else replace(effort, games=check_games(games))
    check_size(1, evening.scenario.seed if seed is None else seed, threads)
    wanted = changes_from(changes)
    values_of(load_plan_constants(), wanted)
    asked = evening_report.Asked(changes=tuple(sorted(wanted.items())), adapted=adapted)
    wanted_parts = (*evening_report.ADVICE, "sheet", *(("zone_or_men",) if zone_or_men else ()))
    parts = played(evening, wanted_parts, quiet, seed, threads, effort, asked)
    advice = parts.advice()
    found = advice.plan | {name: parts.part(name) for name in ("formations", "sheet")}
    found["advice"] = advice_dict(advice)
    found["zone_or_men"] = zone_or_men_dict(parts.part("zone_or_men"), advice) if zone_or_men else None
    deliver(found, json_target, lambda result: plan_text(result, detail), evening)


@click.command(short_help="Who plays which place, and how the other side would answer.")
@click.argument("scenario", type=click.Path())
@click.option("--delta", type=float, help="Points per possession that do not matter. [default: 0.02]")
@click.option("--confidence", type=float, help="Promised chance to name the best. [default: 0.95]")
@click.option("--possessions", "-n", type=int, help="Most possessions altogether. [default: 200000]")
@click.option("--anywhere", is_flag=True, help="Try everybody at every place, whatever his size.")
@run_options
@output_options
def lineup(
    scenario: str,
    delta: float | None,
    confidence: float | None,
    possessions: int | None,
    anywhere: bool,
    seed: int | None,
    threads: int | None,
    quiet: bool,
    json_target: str | None,
    detail: bool,
) -> None:
    """Play the ways to place the five of SCENARIO's defence and drop the losers early.

    Everybody plays a place for his size: his own, the same on the other side, or a neighbouring one whose man
    is about as tall.

    Says with what confidence the one named is the best, where the other side would attack it, and whom of
    theirs to force, trap, leave and deny.
    """
    from engine.inputs.sheets import load_evening
    from engine.report.screen.lineup import lineup_text
    from engine.run.size import check_size
    from engine.study import evening_report
    from engine.study.lineup.asked import CONFIDENCE, DELTA, check_asked

    evening = load_evening(scenario)
    effort = evening_report.USUAL
    check_asked(DELTA if delta is None else delta, CONFIDENCE if confidence is None else confidence)
    most = effort.lineup_possessions if possessions is None else possessions
    check_size(most, evening.scenario.seed if seed is None else seed, threads)
    asked = evening_report.Asked(delta, confidence, anywhere)
    effort = replace(effort, lineup_possessions=most)
    parts = played(evening, ("lineup",), quiet, seed, threads, effort, asked)
    found = parts.part("lineup") | {"tonight": parts.tonight()}
    deliver(found, json_target, lambda result: lineup_text(result, detail), evening)


@click.command(short_help="Time every pass against every defender: the practice plan.")
@click.argument("scenario", type=click.Path())
@run_options
@output_options
def timing(
    scenario: str, seed: int | None, threads: int | None, quiet: bool, json_target: str | None, detail: bool
) -> None:
    """Time every pass of SCENARIO's offence against every defender, the worst link first.

    Three drills, whether the bump holds, and how the defence comes out of a beaten trap.
    """
    from engine.inputs.sheets import load_evening
    from engine.report.screen.timing import timing_text
    from engine.run.size import check_size

    evening = load_evening(scenario)
    check_size(1, evening.scenario.seed if seed is None else seed, threads)
    found = played(evening, ("timing",), quiet, seed, threads).part("timing")
    deliver(found, json_target, lambda result: timing_text(result, detail), evening)


@click.command(short_help="The same five with the ball against their traps.")
@click.argument("scenario", type=click.Path())
@file_option("--output", "-o", ends=PAGE, help="HTML file to write, too.")
@run_options
@output_options
def attack(
    scenario: str,
    output: str | None,
    seed: int | None,
    threads: int | None,
    quiet: bool,
    json_target: str | None,
    detail: bool,
) -> None:
    """Play our five of SCENARIO (a folder of sheets) against the traps of the other side.

    Who brings it up, who is a safe outlet, middle or skip, and what each trap costs. Their defence is on the
    sheet game (their_defence), their traps are on the sheet calls (theirs), else the usual ones stand in.
    """
    from engine.errors import InputError
    from engine.inputs.sheets import load_evening
    from engine.report import contract
    from engine.report.page.attack import attack_page
    from engine.report.screen.attack import attack_text
    from engine.run.size import check_size

    evening = load_evening(scenario)
    if evening.folder is None:
        raise InputError("SCENARIO", "", scenario, "a folder of sheets (trapledger new FOLDER)")
    if evening.attack is None:
        raise click.ClickException(evening.care.lines()[0])
    check_size(1, evening.scenario.seed if seed is None else seed, threads)
    found = played(evening, ("attack",), quiet, seed, threads).part("attack")
    ctrl_c.check()
    if output is not None:
        contract.write(attack_page(evening.attack.scenario, found, evening.care.lines()), output, "--output")
    if output != contract.STDOUT:
        deliver(found, json_target, lambda result: attack_text(result, detail), evening)


@click.command(short_help="Write the coach's report, and a bench page on one sheet.")
@click.argument("scenario", type=click.Path())
@file_option("--output", "-o", ends=PAGE, required=True, help="HTML file to write; - is standard output.")
@file_option("--bench", ends=PAGE, help="Write the bench page to a file of its own, too.")
@click.option("--seed", type=int, help="Seed of the random numbers. [default: the scenario's]")
@click.option("--threads", type=int, help="Threads; the result does not depend on it. [default: all cores]")
@click.option("--adapted", is_flag=True, help=ADAPTED)
@click.option("--zone-or-men", is_flag=True, help=ZONE_OR_MEN)
@click.option("--quiet", is_flag=True, help="No progress and no remarks.")
def report(
    scenario: str,
    output: str,
    bench: str | None,
    seed: int | None,
    threads: int | None,
    adapted: bool,
    zone_or_men: bool,
    quiet: bool,
) -> None:
    """Play SCENARIO (a file, or a folder of sheets) and write what a coach needs as one page (HTML).

    The answer comes first, then ledger, court pictures, plan, practice, line-up, cautions and an appendix.
    Printed, its last page is the bench page; --bench writes that page alone. No page needs the network.
    """
    from engine.report import contract

    if bench == output:
        raise click.UsageError("--output and --bench name the same file")
    from engine.inputs.sheets import asked_men, load_evening
    from engine.run.size import check_size

    evening = load_evening(scenario)
    if zone_or_men:
        asked_men(evening)
    check_size(1, evening.scenario.seed if seed is None else seed, threads)
    from engine.report.advice_view import advice_dict
    from engine.report.page.page import bench_page, report_page
    from engine.report.screen.evening import not_used_text
    from engine.report.screen.plan import not_planned
    from engine.report.screen.sheet import sheet_lines
    from engine.report.sheet_view import sheet_told
    from engine.report.words import paragraph
    from engine.report.zone_or_men_view import zone_or_men_dict
    from engine.study.evening_report import REPORT, Asked

    parts = (*REPORT, *(("zone_or_men",) if zone_or_men else ()))
    asked = Asked(adapted=adapted, zone_or_men=zone_or_men)
    found = played(evening, parts, quiet, seed, threads, asked=asked).report()
    ctrl_c.check()
    contract.write(report_page(found), output, "--output")
    if bench is not None:
        contract.write(bench_page(found), bench, "--bench")
    if quiet or contract.STDOUT in (output, bench):
        return
    files = output if bench is None else f"{output}, {bench}"
    care = evening.care  # where trap advice is withheld, nothing is to be taken with care: it is not given
    told = [line for line in (sheet_told(found.sheet),) if line and care.trap_advice_allowed]
    said = advice_dict(found)
    asked_for = [zone_or_men_dict(found.zone_or_men, found)["verdict"]] if found.zone_or_men else []
    others = not_planned(found.plan) if said["often"] else []
    rest = [f"Not planned: {'; '.join(others)}."] if others else []
    advice = [said["answer"], *asked_for, *told, *said["often"], *said["not_advised"], *rest]
    for line in (*advice, f"The page is in {files}."):
        sys.stdout.write(f"{paragraph(line)}\n")
    sheet = sheet_lines(found.sheet)
    sys.stdout.write("".join(f"{line}\n" for line in ["", *sheet] if sheet))
    sys.stdout.write(not_used_text(evening.remarks))
    sys.stdout.flush()


@click.command(short_help="Show one possession as a page to play back.")
@click.argument("scenario", type=click.Path())
@click.option(
    "--call", metavar="CALL", help="Call, a part of its name, or its spot. [default: the setting's first]"
)
@click.option(
    "--pick",
    default="typical",
    show_default=True,
    metavar="typical|worst|punished|INDEX",
    help="Which of the possessions with this call, or the number of a possession.",
)
@click.option("--setting", help="Setting to play. [default: the first that makes the call]")
@file_option("--output", "-o", ends=PAGE, required=True, help="HTML file to write; - is standard output.")
@size_options
def replay(
    scenario: str,
    call: str | None,
    pick: str,
    setting: str | None,
    output: str,
    possessions: int | None,
    seed: int | None,
    threads: int | None,
    quiet: bool,
) -> None:
    """Pick one possession of SCENARIO with a trap call and write it as a page (HTML) that any browser opens.

    The page needs no network. It plays the possession back on the court, with the handler's options and their
    values at each decision and what each defender does, and tells the same in words.
    """
    from engine.inputs.sheets import load_evening
    from engine.report import contract
    from engine.study.play import run_size
    from engine.study.replay.pick import check_asked, pick_possession

    evening = load_evening(scenario)
    loaded, sheets = evening.scenario, evening.folder is not None
    run_size(loaded, possessions, seed, threads)
    if sheets and not evening.care.trap_advice_allowed:
        raise click.ClickException(evening.care.lines()[0])
    check_asked(loaded, call, pick, setting)
    from engine.report.replay.page import replay_page
    from engine.report.replay.sentences import common_words, result_words
    from engine.report.words import paragraph
    from engine.study.replay.replay import replay as play_again

    loaded = fitted(evening, quiet, threads)
    load_engine(quiet)
    with progress_bar(quiet) as progress:
        picked = pick_possession(loaded, call, pick, setting, possessions, seed, threads, progress)
    found = play_again(loaded, picked.index, picked.setting, picked.seed)
    ctrl_c.check()
    care = evening.care.lines() if sheets else ()
    contract.write(replay_page(loaded, found, picked, care), output, "--output")
    if output == contract.STDOUT or quiet:
        return
    record = found.record()
    said = [
        f'Possession {picked.index} of the setting "{picked.setting}" is in {output}.',
        result_words(picked, int(record["points"]), record["end"]),
        common_words(picked),
    ]
    sys.stdout.write("".join(f"{paragraph(line)}\n" for line in said))
    sys.stdout.flush()
