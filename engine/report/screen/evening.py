"""What stands below every answer about a folder of sheets: care, what was assumed, whose shots count."""

from __future__ import annotations

import textwrap

from engine.estimate.intervals import Found
from engine.inputs.base import number_text
from engine.report.words import WIDTH, count, paragraph, percent, plain

#: What is said at once of a sheet as a whole: it is missing, or still the example.
ABOUT_A_SHEET = ("is not there", "still holds the example")


def shot_lines(evening: Found) -> list[str]:
    """A line for every estimate from counts or charted shots: theirs, then ours."""
    ours = (f"Ours, {shot_line(note)}" for note in evening["own_shooting"])
    return [*map(shot_line, evening["shooting"]), *ours]


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


def assumed_words(evening: Found) -> str:
    """How many things the sheets left to us; "" for none. ``trapledger check`` has a line for each."""
    n = len(evening["assumptions"]) + len(shot_lines(evening))
    return f"{count(n, 'thing is', 'things are')} assumed: trapledger check lists them." if n else ""


def assumed_text(lines: list[str]) -> str:
    """What the files of a scenario leave out and what was taken instead; empty where nothing is."""
    return "".join(f"{line}\n" for line in _block("Assumed, because the files do not say", lines))


def evening_text(evening: Found) -> str:
    """The text below a result: what is to be minded, and in one line how much was assumed.

    ``evening``: ``Evening.to_dict()``. What was assumed stands in ``trapledger check``.
    """
    lines: list[str] = []
    sheets = [line for line in evening["assumptions"] if any(words in line for words in ABOUT_A_SHEET)]
    lines += _block("Before you use this", [*sheets, *evening["care"]["lines"]])
    lines += _block("Not used", evening["remarks"])
    said = assumed_words(evening)
    lines += ["", paragraph(said)] if said else []
    return "".join(f"{line}\n" for line in lines)
