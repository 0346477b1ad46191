"""The command that times every pass against every defender."""

from __future__ import annotations

import click

from engine.commands.shared import (
    deliver,
    load_engine,
    output_options,
    progress_bar,
)


@click.command(short_help="Time every pass against every defender: the practice plan.")
@click.argument("scenario", type=click.Path())
@click.option("--seed", type=int, help="Seed of the traced possessions. [default: the scenario's]")
@click.option("--quiet", is_flag=True, help="No progress and no remarks, only the result.")
@output_options
def timing(scenario: str, seed: int | None, quiet: bool, json_target: str | None, detail: bool) -> None:
    """Time every pass of SCENARIO's offence against every defender, the worst link first.

    Three drills, whether the bump holds, and how the defence comes out of a beaten trap.
    """
    from engine.report import contract

    if json_target is not None:
        contract.check_target(json_target)
    from engine.inputs.sheets import load_evening
    from engine.report.screen.timing import timing_text
    from engine.study.play import run_size
    from engine.study.timing.links import timing as run

    evening = load_evening(scenario)
    run_size(evening.scenario, 1, seed, 1)
    load_engine(quiet)
    with progress_bar(quiet) as progress:
        found = run(evening.scenario, seed, progress, evening.care.trap_advice_allowed)
    deliver(found, json_target, lambda result: timing_text(result, detail), evening)
