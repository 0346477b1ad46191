"""How the other side may line up: the fronts that the sheet of the game names, with their shares, and which
formations (alignments) are likely."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from engine.inputs.alignment import Alignment, alignment_from
from engine.inputs.files import read_toml, shipped, shipped_source
from engine.inputs.sheets.cells import Cells
from engine.inputs.sheets.data import load_grades
from engine.inputs.sheets.read import key_of

FRONTS = {
    "one": "one",
    "1": "one",
    "one_guard": "one",
    "1_guard": "one",
    "one_guard_front": "one",
    "two": "two",
    "2": "two",
    "two_guards": "two",
    "2_guards": "two",
    "two_guard": "two",
    "two_guard_front": "two",
    "overload": "overload",
}
ALLOWED = "one (guard), two (guards) or overload; several with shares, such as one 70, two 30"
_BETWEEN = re.compile(r"[,;/+&]|\band\b|\bor\b", re.IGNORECASE)
_SHARE = re.compile(r"(.+?)[ :=]+([0-9]{1,3}) ?%?")


@dataclass(frozen=True)
class Front:
    """A front that the sheet names, and its share beside those of the others (1 where none is given)."""

    name: str
    weight: float


@dataclass(frozen=True)
class Likely:
    """A formation that the other coach is likely to choose, and its share beside those of the others."""

    alignment: Alignment
    weight: float = 1.0


def read_fronts(cells: Cells, column: str) -> tuple[Front, ...]:
    """The fronts of a cell, the one with the greatest share first; () for an empty one. Raises InputError."""
    text = cells.text(column)
    if text is None:
        return ()
    found: list[Front] = []
    shared: list[bool] = []
    for part in (one.strip() for one in _BETWEEN.split(text)):
        name, share = FRONTS.get(key_of(part)), None
        if name is None and (match := _SHARE.fullmatch(part)):
            name, share = FRONTS.get(key_of(match[1])), int(match[2])
        if name is None or share == 0:
            raise cells.error(column, ALLOWED)
        if name in (one.name for one in found):
            raise cells.error(column, "each front once")
        shared.append(share is not None)
        found.append(Front(name, float(share or 1)))
    if any(shared) != all(shared):
        raise cells.error(column, "a share beside each front, or beside none")
    if any(shared) and abs(sum(one.weight for one in found) - 100.0) > 1.0:  # thirds make 99
        raise cells.error(column, f"shares that add up to 100: {ALLOWED}")
    return tuple(sorted(found, key=lambda one: -one.weight))


def _shipped(name: str) -> Alignment:
    source = shipped_source("alignments", name)
    return alignment_from(read_toml(source), str(source))


def alignment_of(front: str, high_post: bool | None) -> str | None:
    """Name of the alignment of a front (configs/sheets/grades.toml); None: none is shipped."""
    post = "any" if high_post is None else "yes" if high_post else "no"
    rows = load_grades().formation
    fits = (row for row in rows if row.front == front and row.high_post in (post, "any"))
    row = next(fits, None)
    return None if row is None else row.alignment


def likely_of(
    played: Alignment, fronts: Sequence[Front] = (), high_post: bool | None = None
) -> tuple[Likely, ...]:
    """The likely formations, the one played first, each once.

    Several fronts on the sheet: theirs, by the shares given. Else (one front was seen, or none) the one
    played and every other shipped one that fits what is said of the high post, all equally: an input, too.
    """
    several = len(fronts) > 1
    named = fronts if several else [Front(name, 1.0) for name in dict.fromkeys(FRONTS.values())]
    weights = {played.name: 0.0 if several else 1.0}
    for front in named:
        name = alignment_of(front.name, high_post)
        if name in shipped("alignments"):
            weights[name] = front.weight + (weights.get(name, 0.0) if several else 0.0)
    return tuple(
        Likely(played if name == played.name else _shipped(name), weight) for name, weight in weights.items()
    )
