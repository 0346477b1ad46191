"""The evening before a game: how often to use each call."""

from __future__ import annotations

import click

from engine.commands.shared import (
    deliver,
    load_engine,
    output_options,
    progress_bar,
)


@click.command(short_help="How often to use each call in a game?")
@click.argument("scenario", type=click.Path())
@click.option("--games", type=int, default=2000, show_default=True, help="Whole games to play.")
@click.option("--seed", type=int, help="Seed of the random numbers. [default: the scenario's]")
@click.option("--threads", type=int, help="Threads; the result does not depend on it. [default: all cores]")
@click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="NAME=VALUE",
    help="Change a number of configs/model/plan.toml, such as fatigue_percent_per_100m=0.",
)
@click.option("--quiet", is_flag=True, help="No progress and no remarks, only the result.")
@output_options
def plan(
    scenario: str,
    games: int,
    seed: int | None,
    threads: int | None,
    changes: tuple[str, ...],
    quiet: bool,
    json_target: str | None,
    detail: bool,
) -> None:
    """Find how often to use each call of SCENARIO (a file, or a folder of sheets) and play whole games."""
    from engine.report import contract

    if json_target is not None:
        contract.check_target(json_target)
    from engine.inputs.sheets import load_evening
    from engine.report.screen.plan import plan_text
    from engine.run.blocks import check_size
    from engine.study.plan.inputs import changes_from, load_plan_constants, values_of
    from engine.study.plan.plan import check_games
    from engine.study.plan.plan import plan as run

    evening = load_evening(scenario)
    check_games(games)
    check_size(1, evening.scenario.seed if seed is None else seed, threads)
    wanted = changes_from(changes)
    values_of(load_plan_constants(), wanted)
    load_engine(quiet)
    with progress_bar(quiet, "part") as progress:
        found = run(evening, games, seed, threads, progress, wanted)
    deliver(found, json_target, lambda result: plan_text(result, detail), evening)
