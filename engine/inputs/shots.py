"""Shot tables by distance, with the effect of a contest (configs/shots/*.csv)."""

from __future__ import annotations

import bisect
import math
from collections.abc import Mapping, Sequence

from pydantic import Field

from engine.errors import InputError
from engine.inputs.base import Frozen, Real, Share, Text, parse
from engine.inputs.files import FileName, Source, read_csv, resolve

COLUMNS = ("distance_m", "make", "contest_logit_per_m")
#: A table must reach this far from the rim, so that shots from the far court have a value (metres).
REACH_M = 15.0
#: Bands of a table -> the nearest defender's typical distance there.
TYPICAL_GAP = {"rim": "typical_gap_rim_m", "middle": "typical_gap_middle_m", "three": "typical_gap_three_m"}
#: Bands of a table -> log odds by which more of the shots that the level's average men take there go in than
#: the table says at the typical place and gap: better chosen, but blocked and hurried, too.
TAKEN_LOGIT = {"rim": "taken_rim_logit", "middle": "taken_middle_logit", "three": "taken_three_logit"}
#: A probability's log odds are of one that is at least this far from 0 and 1.
LEAST_MAKE = 1e-4


def logit(p: float) -> float:
    """Log odds of a probability, kept away from 0 and 1."""
    p = min(max(p, LEAST_MAKE), 1.0 - LEAST_MAKE)
    return math.log(p / (1.0 - p))


def chance(z: float) -> float:
    """Probability with these log odds."""
    return 1.0 / (1.0 + math.exp(-z))


class ShotTable(Frozen):
    """Make probability by distance.

    ``distance_m``: metres from the rim, increasing from 0 to 15 or more. ``make``: probability of the
    shot with the nearest defender at the reference distance (model constant). ``contest_logit_per_m``:
    change of the log odds per metre of the nearest defender's distance. All three of one length.
    """

    name: Text
    distance_m: tuple[Real, ...] = Field(min_length=2, description="distances, metres")
    make: tuple[Share, ...] = Field(min_length=2, description="make probabilities")
    contest_logit_per_m: tuple[Real, ...] = Field(min_length=2, description="log odds per metre")


#: A table steps from one band's move to the next one's over this width, metres.
STEP_M = 0.001


def moved_table(
    table: ShotTable, moves: Mapping[str, float], rim_range_m: float, three_from_m: float, name: str
) -> ShotTable:
    """``table`` with log odds added per band: nearer than ``rim_range_m``, from ``three_from_m`` metres on,
    and between; makes of 0 and 1 stay. Rows are put in at both borders, so that no band reaches over them.

    Method: a move of the log odds keeps the shape by distance (evidence 2c: the shape holds over levels,
    seen, abstract).
    """
    rows = dict(zip(table.distance_m, zip(table.make, table.contest_logit_per_m, strict=True), strict=True))
    d = table.distance_m

    def between(values: Sequence[float], at: float) -> float:
        i = min(max(bisect.bisect_right(d, at) - 1, 0), len(d) - 2)
        f = (at - d[i]) / (d[i + 1] - d[i])
        return values[i] * (1.0 - f) + values[i + 1] * f

    logits = [logit(make) for make in table.make]
    for border in (rim_range_m, three_from_m):
        for at in (border - STEP_M, border):
            if d[0] < at < d[-1] and at not in rows:
                rows[at] = chance(between(logits, at)), between(table.contest_logit_per_m, at)
    distances = tuple(sorted(rows))

    def moved(at: float) -> float:
        odds = math.exp(moves["rim" if at < rim_range_m else "three" if at >= three_from_m else "middle"])
        make = rows[at][0] * odds
        return make / (1.0 - rows[at][0] + make)

    return ShotTable(
        name=name,
        distance_m=distances,
        make=tuple(moved(at) for at in distances),
        contest_logit_per_m=tuple(rows[at][1] for at in distances),
    )


class _Row(Frozen):
    distance_m: Real = Field(ge=0.0, le=40.0, description="distance from the rim, metres")
    make: Real = Field(ge=0.0, le=1.0, description="probability of making the shot")
    contest_logit_per_m: Real = Field(
        ge=0.0, le=5.0, description="log odds per metre of the nearest defender's distance"
    )


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


def shot_table_from(source: Source) -> ShotTable:
    """Read a shot table. Raises InputError naming the line of the file."""
    rows: list[_Row] = []
    for line, cells in read_csv(source, COLUMNS):
        row = parse(_Row, {k: _number(v) for k, v in cells.items()}, str(source), [f"line {line}"])
        key = f"line {line}.distance_m"
        if not rows and row.distance_m != 0.0:
            raise InputError(source, key, row.distance_m, "0 in the first row (metres)")
        if rows and row.distance_m <= rows[-1].distance_m:
            raise InputError(
                source, key, row.distance_m, f"more than the row before, {rows[-1].distance_m:g} (metres)"
            )
        rows.append(row)
    reach = rows[-1].distance_m if rows else 0.0
    if reach < REACH_M:
        raise InputError(
            source,
            "the last distance_m",
            reach,
            f"at least {REACH_M:g} metres, so that it reaches the far court",
        )
    return ShotTable(
        name=source.path.stem,
        distance_m=tuple(r.distance_m for r in rows),
        make=tuple(r.make for r in rows),
        contest_logit_per_m=tuple(r.contest_logit_per_m for r in rows),
    )


def load_shot_table(
    name_or_path: FileName, beside: Source | None = None, key: str = "shot_table"
) -> ShotTable:
    """Load a shot table by name (configs/shots) or path.

    Raises InputError: one line with file, line, value and what is allowed.
    """
    return shot_table_from(resolve(name_or_path, "shots", beside, key if beside else ""))
