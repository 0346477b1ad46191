"""Why two defences concede different points: the change split by the four factors.

Shooting, turnovers, rebounds and free throws determine the points of a possession exactly
(``engine.estimate.play.four_factors``), so a change of points can be shared out among them without a rest.
What the next possession adds to it (a steal runs the other way) is a fifth part, transition.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from itertools import combinations
from math import factorial, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from engine.estimate.intervals import LEVEL, NOTHING, IntArray, Interval, if_enough, student_quantile
from engine.estimate.play import FACTOR_COLUMNS, FourFactors, factors_of, four_factors_points
from engine.estimate.tally import Tally, check_records
from engine.state.record import COLUMN
from engine.state.words import ENDS

#: The four parts, each with the fields of ``FourFactors`` that change together.
PARTS = {
    "shooting": ("shooting", "field_goals"),
    "turnovers": ("turnovers",),
    "rebounds": ("rebounds",),
    "free_throws": ("free_throws", "free_throw_plays", "free_throw_misses"),
}
#: Groups of possessions that the jackknife leaves out one at a time.
GROUPS = 40
#: Totals that a group keeps.
KEPT = (*FACTOR_COLUMNS, "net", "lost")
_NET, _POINTS = KEPT.index("net"), KEPT.index("points")
_LOST = [ENDS.index("turnover"), ENDS.index("shot_clock")]


@dataclass(frozen=True)
class Split:
    """Points per possession that each factor adds (after minus before); they add up to the whole change."""

    shooting: float
    turnovers: float
    rebounds: float
    free_throws: float

    @property
    def total(self) -> float:
        """Points per possession after minus before."""
        return self.shooting + self.turnovers + self.rebounds + self.free_throws


def _points(found: FourFactors) -> float:
    if found.rebounds * (1 - found.field_goals) >= 1:
        raise ValueError("every miss is rebounded and no shot is made, so a possession would not end")
    return four_factors_points(
        found.shooting, found.field_goals, found.turnovers, found.rebounds,
        found.free_throws, found.free_throw_plays, found.free_throw_misses,
    )  # fmt: skip


def shapley_split(before: FourFactors, after: FourFactors) -> Split:
    """Share the change of points per possession out among the four factors.

    The part of a factor is the mean, over all orders in which the factors of ``before`` could be replaced
    by those of ``after``, of what replacing this one adds: exact, from all 16 mixtures, without a favoured
    order. Factors that are equal in both get 0. Values: Shapley LS (1953) A value for n-person games,
    Contributions to the Theory of Games II. Factors: Oliver D (2004) Basketball on Paper. The exact form of
    points = a (2 e + r) that the mixtures are put into is worked out in ``four_factors``.

    Raises:
        ValueError: in a mixture every miss is rebounded by the offence and no shot is made.
    """
    names = tuple(PARTS)
    worth = {mix: _points(_mixture(before, after, mix)) for mix in _subsets(names)}
    parts = dict.fromkeys(names, 0.0)
    for name in names:
        others = tuple(other for other in names if other != name)
        for mix in _subsets(others):
            orders = factorial(len(mix)) * factorial(len(others) - len(mix))
            parts[name] += orders / factorial(len(names)) * (worth[mix | {name}] - worth[mix])
    return Split(**parts)


def _subsets(names: tuple[str, ...]) -> list[frozenset[str]]:
    return [frozenset(some) for size in range(len(names) + 1) for some in combinations(names, size)]


def _mixture(before: FourFactors, after: FourFactors, replaced: Iterable[str]) -> FourFactors:
    changed = {field: getattr(after, field) for name in replaced for field in PARTS[name]}
    return replace(before, **changed)


@dataclass(frozen=True, eq=False)
class GroupTally(Tally):
    """Sums by group of possessions: possession number p belongs to group p modulo ``GROUPS``, however
    the run is cut into blocks.

    Attributes:
        n: int64[GROUPS], possessions.
        sums: int64[GROUPS, len(KEPT)], totals of the columns ``KEPT``.
        differ, turned: possessions unlike those at home in any of ``KEPT``, and in what the next possession
            adds to the points: the events that a change from home rests on.
    """

    n: IntArray
    sums: IntArray
    differ: int
    turned: int

    @classmethod
    def zero(cls) -> GroupTally:
        """The tally of no possession."""
        return cls(np.zeros(GROUPS, np.int64), np.zeros((GROUPS, len(KEPT)), np.int64), 0, 0)

    @classmethod
    def from_records(cls, home: npt.NDArray[Any], records: npt.NDArray[Any], first: int) -> GroupTally:
        """Tally a block int32[count, N_RECORD] of the possessions from number ``first``, and those at home.

        Raises:
            ValueError: not two blocks of records of the same possessions.
        """
        kept, at_home = _kept(records), _kept(home)
        differ = (kept != at_home).any(axis=1)
        turned = (kept - at_home)[:, _NET] != (kept - at_home)[:, _POINTS]
        found = replace(cls.zero(), differ=int(differ.sum()), turned=int(turned.sum()))
        for group in range(GROUPS):
            own = kept[(group - first) % GROUPS :: GROUPS]
            found.n[group] = len(own)
            found.sums[group] = own.sum(axis=0)
        return found

    def total(self, left_out: int | None = None) -> tuple[int, dict[str, int]]:
        """Possessions and totals by name of all groups, or of all but one."""
        n, sums = self.n.sum(), self.sums.sum(axis=0)
        if left_out is not None:
            n, sums = n - self.n[left_out], sums - self.sums[left_out]
        return int(n), {name: int(value) for name, value in zip(KEPT, sums, strict=True)}


def _kept(records: npt.NDArray[Any]) -> IntArray:
    """The columns ``KEPT`` of a block, int64[count, len(KEPT)]."""
    check_records(records)
    kept = np.empty((len(records), len(KEPT)), np.int64)
    kept[:, :-1] = records[:, [COLUMN[name] for name in KEPT[:-1]]]
    kept[:, -1] = np.isin(records[:, COLUMN["end"]], _LOST)
    return kept


@dataclass(frozen=True)
class FactorChange:
    """Net points per possession of a setting minus staying home, by where they come from.

    The first four parts add up to ``points``, all five to the change of net points.
    """

    shooting: Interval
    turnovers: Interval
    rebounds: Interval
    free_throws: Interval
    transition: Interval
    points: Interval

    def as_dict(self) -> dict[str, dict[str, float | None]]:
        """For the JSON contract: each part with mean, low and high."""
        return {field.name: getattr(self, field.name).as_dict() for field in fields(self)}


def _parts(home: GroupTally, setting: GroupTally, left_out: int | None = None) -> list[float] | None:
    """The parts in the order of ``FactorChange``; None where they have no meaning."""
    n, before = home.total(left_out)
    m, after = setting.total(left_out)
    one, other = factors_of(n, before), factors_of(m, after)
    if one is None or other is None:
        return None
    try:
        split = shapley_split(one, other)
    except ValueError:
        return None
    points = after["points"] / m - before["points"] / n
    transition = (after["net"] - after["points"]) / m - (before["net"] - before["points"]) / n
    return [split.shooting, split.turnovers, split.rebounds, split.free_throws, transition, points]


def factor_change(home: GroupTally, setting: GroupTally, level: float = LEVEL) -> FactorChange:
    """Split the change from staying home to a setting, played on the same possessions.

    Intervals: jackknife over groups of possessions, a group left out of both sides at once, so that common
    luck counts; Student's t with one degree of freedom less than there are groups. Sources: Tukey JW (1958)
    Annals of Mathematical Statistics 29:614; Shao J, Tu D (1995) The Jackknife and Bootstrap (both from
    memory). No parts where a side has no shot; no intervals below two groups, nor where few possessions
    differ (the four factors) or differ in what the next one adds (transition).
    """
    whole = _parts(home, setting)
    if whole is None:
        return FactorChange(*[NOTHING] * 6)
    groups = np.flatnonzero(home.n)
    again = [_parts(home, setting, int(group)) for group in groups] if len(groups) > 1 else [None]
    if any(parts is None for parts in again):
        return FactorChange(*(Interval(mean) for mean in whole))
    left = np.array(again, dtype=np.float64)
    squares = ((left - left.mean(axis=0)) ** 2).sum(axis=0)
    share = (len(groups) - 1) / len(groups)
    width = student_quantile(level, len(groups) - 1)
    half = [width * sqrt(share * total) for total in squares]
    events = [setting.differ] * 4 + [setting.turned, setting.differ]
    found = [Interval(x, x - h, x + h) for x, h in zip(whole, half, strict=True)]
    return FactorChange(
        *(
            if_enough(one, n) if n else one for one, n in zip(found, events, strict=True)
        )  # none: no difference
    )
