"""What stands below every answer about a folder of sheets: care, what was filled in, whose shots count."""

from __future__ import annotations

import textwrap

from engine.estimate.intervals import Found
from engine.inputs.base import number_text
from engine.report.words import WIDTH, percent, plain


def shot_line(note: Found) -> str:
    """How much of one estimate is the player's own."""
    made, of = number_text(round(note["made"], 1)), number_text(note["attempted"])
    return (
        f"No. {note['number']} {note['kind']} {made} of {of}: taken as {percent(note['estimate'])}, of it "
        f"{percent(note['own_share'])} his own and {percent(1 - note['own_share'])} the average "
        f"({percent(note['average'])})."
    )


def _block(title: str, lines: list[str]) -> list[str]:
    filled = [
        textwrap.fill(plain(line), WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
        for line in lines
    ]
    return ["", title, *filled] if lines else []


def assumed_text(lines: list[str]) -> str:
    """What the files of a scenario leave out and what was taken instead; empty where nothing is."""
    return "".join(f"{line}\n" for line in _block("Filled in, because the files do not say", lines))


def evening_text(evening: Found) -> str:
    """The text below a result. ``evening``: ``Evening.to_dict()``."""
    lines: list[str] = []
    lines += _block("Before you use this", evening["care"]["lines"])
    lines += _block("Filled in, because the sheets do not say", evening["assumptions"])
    lines += _block(
        "Their shots: the player's own and the average", [shot_line(n) for n in evening["shooting"]]
    )
    lines += _block("Not used", evening["remarks"])
    return "".join(f"{line}\n" for line in lines)
