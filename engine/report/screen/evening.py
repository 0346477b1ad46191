"""What stands below every answer about a folder of sheets: care, what was assumed, whose shots count."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from engine.estimate.intervals import Found
from engine.inputs.base import number_text
from engine.report.words import WIDTH, count, paragraph, plain, span

#: What is said at once of a sheet as a whole: it is missing, or still the example.
ABOUT_A_SHEET = ("is not there", "still holds the example")


def shot_lines(evening: Found) -> list[str]:
    """What everybody's counts or charted shots are taken as, and what they are pulled to; two lines for
    theirs, two for ours, [] where nothing is counted."""
    sides = (("Theirs", evening["shooting"]), ("Ours", evening["own_shooting"]))
    return [line for whose, notes in sides if notes for line in _shots_of(whose, notes)]


def _shots_of(whose: str, notes: list[Found]) -> tuple[str, str]:
    men: dict[int, list[str]] = {}
    kinds: dict[tuple[str, float, bool], list[float]] = {}
    for note in notes:
        of = f"{number_text(round(note['made'], 1))} of {number_text(note['attempted'])}"
        men.setdefault(note["number"], []).append(f"{note['kind']} {100 * note['estimate']:.0f} ({of})")
        kind = note["kind"], note["strength"], note["estimated"]
        kinds.setdefault(kind, []).append(100 * note["average"])
    told = "; ".join(f"No. {number} {', '.join(shots)}" for number, shots in men.items())
    pulls = [
        f"{kind} {span(f'{min(of):.0f}', f'{max(of):.0f}')} of 100 ({strength:.0f} added"
        f"{', estimated from this sheet' if estimated else ''})"
        for (kind, strength, estimated), of in kinds.items()
    ]
    return (
        f"{whose}, shots made of 100 as played (as counted): {told}.",
        f"{whose}: each man's own shots are pulled to what the level's average man with his word on the "
        "sheet (sure, ordinary or shaky; at the line good, average or bad) makes of such shots, as if so "
        f"many of those were added: {', '.join(pulls)}. The more he shot himself, the more it is his own.",
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


def _not_used(remarks: Sequence[str]) -> list[str]:
    return _block("Not used", list(remarks))


def not_used_text(remarks: Sequence[str]) -> str:
    """What of the sheets is not used, a line each; empty where all is."""
    return "".join(f"{line}\n" for line in _not_used(remarks))


def evening_text(evening: Found) -> str:
    """The text below a result: what is to be minded, and in one line how much was assumed.

    ``evening``: ``Evening.to_dict()``. What was assumed stands in ``trapledger check``.
    """
    lines: list[str] = []
    sheets = [line for line in evening["assumptions"] if any(words in line for words in ABOUT_A_SHEET)]
    lines += _block("Before you use this", [*sheets, *evening["care"]["lines"]])
    lines += _not_used(evening["remarks"])
    said = assumed_words(evening)
    lines += ["", paragraph(said)] if said else []
    return "".join(f"{line}\n" for line in lines)
