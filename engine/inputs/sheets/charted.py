"""shots.csv: charted shots of the opponent, by distance or by x and y, with the unit."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from engine.inputs.base import number_text
from engine.inputs.rules import Rules
from engine.inputs.sheets.cells import YES_NO, Cells, number_in
from engine.inputs.sheets.columns import HELP_COLUMNS, READ_SHOT_COLUMNS, spellings
from engine.inputs.sheets.read import SheetFile, key_of, read_sheet

METRES = {"m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0, "cm": 0.01}
METRES |= dict.fromkeys(("ft", "feet", "foot"), 0.3048)
#: Farthest shot that is charted, metres: from the half-court line, about. A heave says nothing of a shooter,
#: and feet that are taken for metres lie beyond.
FARTHEST_M = 12.5
#: Bands of distance in which a player's shots are pulled toward the average.
BANDS = ("rim", "middle", "three")
#: On shot charts x and o mean one thing here and another there, in and out may be places: none is taken.
_MADE = {word: value for word, value in YES_NO.items() if word != "x"}
_MADE |= {"made": "yes", "hit": "yes", "good": "yes", "make": "yes"}
_MADE |= {"missed": "no", "miss": "no"}
_CONTESTED = {
    "yes": "contested",
    "y": "contested",
    "no": "open",
    "n": "open",
    "contested": "contested",
    "open": "open",
    "guarded": "contested",
    "free": "open",
    "covered": "contested",
}
_QUANTITY = re.compile(r"(.*?) ?([a-zA-Z]+)?\.?")


@dataclass(frozen=True)
class ChartedShot:
    """One charted shot: shirt number, distance in metres, its band, made, and how far the nearest defender
    was by the note ("open", "contested" or "")."""

    number: int
    distance_m: float
    band: str
    made: bool
    note: str


def _length(one: Cells, name: str, low: float) -> float | None:
    """A length in metres from a cell such as 5,5 or 18 ft; the unit stands in the cell, in the heading
    (``distance_ft``), or in the column unit."""
    column = next((c for c in (name, f"{name}_m", f"{name}_ft") if one.text(c) is not None), None)
    if column is None:
        return None
    text = one.text(column) or ""
    matched = _QUANTITY.fullmatch(text)
    body, behind = (matched.group(1), matched.group(2)) if matched else (text, None)
    value = number_in(body)
    unit = one.choice("unit", {word: word for word in METRES}, "m or ft")
    if value is None or "%" in text or (behind is not None and key_of(behind) not in METRES):
        raise one.error(column, "a length such as 5.5 (unit in the column unit), 5.5 m or 18 ft")
    if behind is not None:
        scale = METRES[key_of(behind)]
    elif column != name:
        scale = METRES[column.removeprefix(f"{name}_")]
    elif unit is not None:
        scale = METRES[unit]
    else:
        raise one.missing("unit", f"m or ft (for the {column} of {number_text(value)})")
    metres = value * scale
    if not low <= metres <= FARTHEST_M:
        allowed = (
            f"a length from {number_text(low)} to {number_text(FARTHEST_M)} metres, in front of the "
            "half-court line (feet: write 21 ft)"
        )
        raise one.error(column, allowed)
    return metres


def band_of(
    distance_m: float, rim_range_m: float, rules: Rules, xy: tuple[float, float] | None = None
) -> str:
    """Band of a shot. With x and y the three-point line is its true shape, else the arc (metres)."""
    if distance_m < rim_range_m:
        return "rim"
    three = rules.three_point
    if xy is None:
        return "three" if distance_m >= three.arc_radius_m else "middle"
    x, y = abs(xy[0]), xy[1]
    corner_break = math.sqrt(max(three.arc_radius_m**2 - three.corner_line_from_rim_m**2, 0.0))
    beyond = x >= three.corner_line_from_rim_m if y <= corner_break else distance_m >= three.arc_radius_m
    return "three" if beyond else "middle"


def _shot(one: Cells, rules: Rules, rim_range_m: float) -> ChartedShot:
    number = one.shirt()
    distance = _length(one, "distance", 0.0)
    x = _length(one, "x", -FARTHEST_M)
    y = _length(one, "y", -3.0)
    if distance is None and (x is None or y is None):
        raise one.missing("distance", "a distance, or x and y")
    xy = (x, y) if x is not None and y is not None else None
    if xy is not None:
        distance = math.hypot(*xy)
    made = one.choice("made", _MADE, "yes or no (made or missed)")
    if made is None:
        raise one.missing("made", "yes or no (made or missed)")
    note = one.choice("contested", _CONTESTED, "contested or open")
    assert distance is not None
    return ChartedShot(number, distance, band_of(distance, rim_range_m, rules, xy), made == "yes", note or "")


def read_shots(
    file: SheetFile | None, where: str, numbers: Sequence[int], rules: Rules, rim_range_m: float
) -> tuple[tuple[ChartedShot, ...], tuple[str, ...]]:
    """Charted shots of the players with these shirt numbers, and remarks. Distances in metres.

    Raises InputError: one line with file, row, column, value and what is allowed.
    """
    if file is None:
        return (), ()
    sheet = read_sheet(
        file, where, spellings(READ_SHOT_COLUMNS), ("number",), (*HELP_COLUMNS, "game", "date", "quarter")
    )
    shots: list[ChartedShot] = []
    strangers: Counter[int] = Counter()
    for row in sheet.rows:
        shot = _shot(Cells(where, row), rules, rim_range_m)
        if shot.number in numbers:
            shots.append(shot)
        else:
            strangers[shot.number] += 1
    remarks = sheet.remarks
    if strangers:
        shown = ", ".join(f"No. {number} ({n})" for number, n in sorted(strangers.items()))
        remarks += (f"{where}: shots of players who are not on the opponent's sheet are not used: {shown}.",)
    return tuple(shots), remarks
