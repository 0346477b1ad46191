"""Blank sheets for a coach."""

from __future__ import annotations

import sys

import click

from engine.commands.shared import one_line


@click.command(short_help="Write blank sheets for one game into a folder.")
@click.argument("folder", type=click.Path())
@click.option("--level", default="school", show_default=True, help="Level of play to start from.")
@click.option(
    "--semicolons", is_flag=True, help="Separate by semicolons, for spreadsheets with decimal commas."
)
def new(folder: str, level: str, semicolons: bool) -> None:
    """Write blank sheets into FOLDER, to be filled in with any spreadsheet; nothing is overwritten.

    The folder can be played at once: what is not filled in is an average player of the level. There is no
    zone and no trap advice until the age group, or what the league allows, is filled in.
    """
    from engine.inputs.sheets import write_blank

    written = write_blank(folder, level, semicolons)
    shown = one_line(folder)
    lines = [one_line(str(path)) for path in written]
    lines.append(f"Now read {lines[0]}, fill in the sheets, then: trapledger compare {shown}")
    sys.stdout.write("".join(f"{line}\n" for line in lines))
    sys.stdout.flush()
