"""Commands about files and single possessions."""

from __future__ import annotations

import sys

import click

from engine.commands.shared import (
    BAD_INPUT,
    NAME,
    PAGE,
    ctrl_c,
    file_option,
    fitted,
    load_engine,
    one_line,
    say,
)
from engine.errors import InputError


@click.command(short_help="Check files and say what each means.")
@click.argument("paths", nargs=-1, required=True, type=click.Path(), metavar="PATH...")
@click.option("--quiet", is_flag=True, help="Say nothing about files that are good.")
@file_option(
    "--picture", ends=PAGE, help="Draw the plays among them as a page (HTML); of scenarios their own."
)
def check(paths: tuple[str, ...], quiet: bool, picture: str | None) -> None:
    """Check files or folders and say what each of them means.

    Below it stand the steps of a play, the holes of a defence, and what a coded policy of a scenario answers
    when it is asked.
    """
    from engine.checks.files import check_path

    bad = False
    for path in paths:
        try:
            lines = check_path(path, lambda: load_engine(quiet))
        except InputError as error:
            say(f"{NAME}: {one_line(str(error))}")
            bad = True
            continue
        finally:
            ctrl_c.check()
        if not quiet:
            # what belongs to a file stays indented below its line
            shown = ("  " * line.startswith("  ") + one_line(line) for line in lines)
            text = "".join(f"{line}\n" for line in shown)
            (sys.stderr if picture == "-" else sys.stdout).write(text)
    sys.stdout.flush()
    if bad:
        raise click.exceptions.Exit(BAD_INPUT)
    if picture is not None:
        from engine.checks.files import picture_of_plays
        from engine.report import contract

        contract.write(picture_of_plays(paths), picture, "--picture")
        if picture != contract.STDOUT and not quiet:
            sys.stdout.write(f"Drawn in {one_line(picture)}\n")


@click.command(short_help="Write one possession as a table (CSV).")
@click.argument("scenario", type=click.Path())
@click.option("--index", type=int, required=True, help="Number of the possession, from 0.")
@click.option("--setting", default="home", show_default=True, help="Setting to play; home is the zone alone.")
@click.option("--seed", type=int, help="Seed of the random numbers. [default: the scenario's]")
@click.option("--events", is_flag=True, help="What happened instead of the state per tick.")
@click.option("--quiet", is_flag=True, help="No remarks, only the result.")
@file_option("--output", "-o", ends=(".csv",), default="-", help="CSV file to write; - is standard output.")
def trace(
    scenario: str, index: int, setting: str, seed: int | None, events: bool, quiet: bool, output: str
) -> None:
    """Play one possession of SCENARIO again and write it as a table (CSV)."""
    from engine.inputs.sheets import load_evening
    from engine.report import contract
    from engine.study.play import check_setting
    from engine.study.replay.replay import check_index, replay

    evening = load_evening(scenario)
    check_index(index)
    check_setting(evening.scenario, setting)
    loaded = fitted(evening, quiet, None)
    load_engine(quiet)
    found = replay(loaded, index, setting, seed)
    ctrl_c.check()
    table = found.events() if events else found.frames()
    contract.write(table.to_csv(index=False, float_format="%.4f", lineterminator="\n"), output, "--output")
