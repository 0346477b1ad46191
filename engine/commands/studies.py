"""Commands that play possessions and answer a question."""

from __future__ import annotations

from dataclasses import replace

import click

from engine.commands.shared import (
    deliver,
    file_option,
    fitted,
    json_option,
    load_engine,
    output_options,
    played,
    progress_bar,
    run_options,
    say_whose,
    size_options,
)


@click.command(short_help="Weigh every trap setting against staying home.")
@click.argument("scenario", type=click.Path())
@size_options
@output_options
def compare(
    scenario: str,
    possessions: int | None,
    seed: int | None,
    threads: int | None,
    quiet: bool,
    json_target: str | None,
    detail: bool,
) -> None:
    """Weigh every trap setting of SCENARIO against staying home in the zone."""
    from engine.inputs.sheets import load_evening
    from engine.report.screen.compare import compare_text

    evening = load_evening(scenario)
    if evening.folder is not None:
        from engine.study import evening_report

        effort = evening_report.USUAL
        effort = effort if possessions is None else replace(effort, possessions=possessions)
        parts = played(evening, ("compare", "seldom", "sheet"), quiet, seed, threads, effort)
        stored = parts.part("compare") | {name: parts.part(name) for name in ("seldom", "sheet")}
        deliver(stored, json_target, lambda result: compare_text(result, detail), evening)
        return
    from engine.study.compare import compare as run
    from engine.study.play import run_size

    run_size(evening.scenario, possessions, seed, threads)
    say_whose(evening, quiet)
    load_engine(quiet)
    with progress_bar(quiet) as progress:
        found = run(evening.scenario, possessions, seed, threads, progress)
    deliver(found, json_target, lambda result: compare_text(result, detail), evening)


@click.command(short_help="Play one setting: box score, endings, shots, pace.")
@click.argument("scenario", type=click.Path())
@click.option("--setting", default="home", show_default=True, help="Setting to play; home is the zone alone.")
@file_option(
    "--records",
    ends=(".parquet",),
    help="Write one row per possession to FILE (Parquet), documented in the file.",
)
@size_options
@output_options
def play(
    scenario: str,
    setting: str,
    records: str | None,
    possessions: int | None,
    seed: int | None,
    threads: int | None,
    quiet: bool,
    json_target: str | None,
    detail: bool,
) -> None:
    """Play one setting of SCENARIO: box score, endings, shots by distance, pace."""
    from engine.inputs.sheets import load_evening
    from engine.study.play import check_setting, run_size

    evening = load_evening(scenario)
    run_size(evening.scenario, possessions, seed, threads)
    check_setting(evening.scenario, setting)
    from engine.report.screen.compare import play_text
    from engine.study.play import play as run

    scenario_played = fitted(evening, quiet, threads)
    load_engine(quiet)
    with progress_bar(quiet) as progress:
        found = run(scenario_played, possessions, seed, threads, setting, progress, records)
    steps = detail or json_target is not None
    deliver(found.to_dict(steps), json_target, lambda result: play_text(result, detail), evening)


@click.command(short_help="In how many variants of the model does each call pay?")
@click.argument("scenario", type=click.Path())
@click.option("--worlds", type=int, default=1024, show_default=True, help="Variants to draw, a power of two.")
@click.option("--possessions", "-n", type=int, default=1500, show_default=True, help="Possessions per world.")
@run_options
@output_options
def stress(
    scenario: str,
    worlds: int,
    possessions: int,
    seed: int | None,
    threads: int | None,
    quiet: bool,
    json_target: str | None,
    detail: bool,
) -> None:
    """Play every setting of SCENARIO in variants of the model: other numbers, other ways of deciding."""
    from engine.inputs.sheets import load_evening
    from engine.report.screen.stress import stress_text
    from engine.study.play import run_size
    from engine.study.sheet.knobs import fitted_rates
    from engine.study.stress.stress import check_worlds
    from engine.study.stress.stress import stress as run

    evening = load_evening(scenario)
    check_worlds(worlds, run_size(evening.scenario, possessions, seed, threads))
    opponent = played(evening, ("fit",), quiet, None, threads)
    own = fitted_rates(opponent.part("fit"))
    load_engine(quiet)
    with progress_bar(quiet, "world") as progress:
        found = run(opponent.evening.scenario, worlds, possessions, seed, threads, progress, not_asked=own)
    deliver(found, json_target, lambda result: stress_text(result, detail), evening)


@click.command(short_help="Does the model show the patterns of the trade?")
@click.option("--scale", type=float, default=1.0, show_default=True, help="Times the usual possessions.")
@click.option("--threads", type=int, help="Threads; the result does not depend on it. [default: all cores]")
@click.option("--quiet", is_flag=True, help="No progress and no remarks, only the result.")
@json_option
def patterns(scale: float, threads: int | None, quiet: bool, json_target: str | None) -> None:
    """Measure sixteen patterns of the trade on the shipped demo and levels; a failing one stays failing."""
    from engine.report.screen.patterns import patterns_text
    from engine.study.patterns.table import measure

    load_engine(quiet)
    with progress_bar(quiet, "pattern") as progress:
        found = measure(scale, threads, progress)
    deliver(found, json_target, patterns_text)


@click.command(short_help="What is each call worth once they know it?")
@click.argument("scenario", type=click.Path())
@size_options
@output_options
def adapt(
    scenario: str,
    possessions: int | None,
    seed: int | None,
    threads: int | None,
    quiet: bool,
    json_target: str | None,
    detail: bool,
) -> None:
    """Weigh every setting of SCENARIO (a file, or a folder of sheets) against an opponent who meets it first,
    and one who has learned it."""
    from engine.inputs.sheets import load_evening
    from engine.report.screen.adapt import adapt_text
    from engine.study.play import run_size

    evening = load_evening(scenario)
    run_size(evening.scenario, possessions, seed, threads)
    from engine.study.adapt import adapt as run
    from engine.study.evening_report import USUAL, Asked

    if evening.folder is None:
        say_whose(evening, quiet)
        load_engine(quiet)
        with progress_bar(quiet) as progress:
            found = run(evening.scenario, possessions, seed, threads, progress).to_dict()
    else:
        effort = replace(USUAL, possessions=possessions)
        asked = Asked(every=True)
        found = played(evening, ("adapted",), quiet, seed, threads, effort, asked).part("adapted")
    deliver(found, json_target, lambda result: adapt_text(result, detail), evening)
