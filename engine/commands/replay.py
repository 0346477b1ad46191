"""The command that shows one possession as a page."""

from __future__ import annotations

import sys

import click

from engine.commands.shared import (
    ctrl_c,
    load_engine,
    progress_bar,
    size_options,
)


@click.command(short_help="Show one possession as a page to play back.")
@click.argument("scenario", type=click.Path())
@click.option(
    "--call", metavar="CALL", help="Call or its spot, such as corner. [default: the setting's first]"
)
@click.option(
    "--pick",
    default="typical",
    show_default=True,
    metavar="typical|worst|beaten|INDEX",
    help="Which of the possessions with this call, or the number of a possession.",
)
@click.option("--setting", help="Setting to play. [default: the first that makes the call]")
@click.option(
    "--output", "-o", required=True, metavar="FILE", help="HTML file to write; - is standard output."
)
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
    from engine.report import contract

    contract.check_target(output, "--output")
    from engine.inputs.sheets import load_evening
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
