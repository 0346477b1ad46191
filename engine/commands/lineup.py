"""The command that chooses who plays which place."""

from __future__ import annotations

import click

from engine.commands.shared import (
    deliver,
    load_engine,
    output_options,
    progress_bar,
)


@click.command(short_help="Who plays which place, and how the other side would answer.")
@click.argument("scenario", type=click.Path())
@click.option("--delta", type=float, help="Points per possession that do not matter. [default: 0.02]")
@click.option("--confidence", type=float, help="Promised chance to name the best. [default: 0.95]")
@click.option("--possessions", "-n", type=int, help="Most possessions of all line-ups. [default: 1200000]")
@click.option("--seed", type=int, help="Seed of the random numbers. [default: the scenario's]")
@click.option("--threads", type=int, help="Threads; the result does not depend on it. [default: all cores]")
@click.option("--quiet", is_flag=True, help="No progress and no remarks, only the result.")
@output_options
def lineup(
    scenario: str,
    delta: float | None,
    confidence: float | None,
    possessions: int | None,
    seed: int | None,
    threads: int | None,
    quiet: bool,
    json_target: str | None,
    detail: bool,
) -> None:
    """Play all 120 ways to place the five of SCENARIO's defence and drop the losers early.

    Says with what confidence the one named is the best, where the other side would attack it, and whom of
    theirs to force, trap, leave and deny.
    """
    from engine.report import contract

    if json_target is not None:
        contract.check_target(json_target)
    from engine.inputs.sheets import load_evening
    from engine.report.screen.lineup import lineup_text
    from engine.study.lineup.places import (
        CONFIDENCE,
        DELTA,
        MOST,
        check_asked,
    )
    from engine.study.lineup.places import lineup as run
    from engine.study.play import run_size

    evening = load_evening(scenario)
    most = MOST if possessions is None else possessions
    delta = DELTA if delta is None else delta
    confidence = CONFIDENCE if confidence is None else confidence
    check_asked(delta, confidence)
    run_size(evening.scenario, most, seed, threads)
    traps = evening.care.trap_advice_allowed
    load_engine(quiet)
    with progress_bar(quiet) as progress:
        found = run(evening.scenario, delta, confidence, most, seed, threads, progress, traps)
    deliver(found, json_target, lambda result: lineup_text(result, detail), evening)
