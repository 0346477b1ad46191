"""Estimates over possessions, and claims that are shown, reversed or not shown by them.

A possession is a cluster: whatever happens in one hangs together, different possessions are independent.
Standard errors are those of sampling only; what the model leaves out is not in them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, isfinite, nan, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.estimate.intervals import Found
from engine.estimate.tally import LOST_IN_TRAP
from engine.state.record import COLUMN
from engine.state.words import OUTCOMES

#: A claim is shown, or reversed, at this many standard errors.
MARGIN = 4.0
Records = NDArray[np.int32]
Series = NDArray[Any]

PRACTICE = "common practice, no source"
SHOWN, REVERSED, NOT_SHOWN = "shown", "reversed", "not shown"
VERDICTS = (SHOWN, REVERSED, NOT_SHOWN)

ESCAPED = tuple(OUTCOMES.index(name) for name in ("escape_pass", "retreat", "split"))


@dataclass(frozen=True)
class Mean:
    """An estimate and its standard error; both "not a number" where there was nothing to count."""

    mean: float
    se: float

    def __sub__(self, other: Mean) -> Mean:
        """Difference of two independent estimates."""
        return Mean(self.mean - other.mean, hypot(self.se, other.se))

    def __neg__(self) -> Mean:
        return Mean(-self.mean, self.se)


NOTHING = Mean(nan, nan)


@dataclass(frozen=True)
class Claim:
    """One claim of a pattern: ``gap`` is claimed to be above zero.

    ``exact``: the gap is claimed to be zero in every possession instead. ``figures``: what stands behind it,
    for the reader. ``source``: of the claim, or of the published number in it.
    """

    pattern: int
    name: str
    source: str
    gap: Mean
    figures: str
    exact: bool = False

    @property
    def verdict(self) -> str:
        """Shown when the gap is more than MARGIN standard errors above zero, reversed when as far below.

        Exact claims: shown when nothing differs, reversed when anything does. Where there was nothing to
        count, or all of it was equal, nothing is shown.
        """
        gap, se = self.gap.mean, self.gap.se
        if not (isfinite(gap) and isfinite(se)):
            return NOT_SHOWN
        if self.exact:
            return SHOWN if gap == 0.0 and se == 0.0 else REVERSED
        if se <= 0.0 or abs(gap) <= MARGIN * se:
            return NOT_SHOWN
        return SHOWN if gap > 0.0 else REVERSED

    def to_dict(self) -> Found:
        """For the JSON result; the gap's parts are None where there was nothing to count."""
        counted = isfinite(self.gap.mean) and isfinite(self.gap.se)
        return {
            "name": self.name,
            "verdict": self.verdict,
            "claimed": "no difference" if self.exact else "gap above 0",
            "gap": self.gap.mean if counted else None,
            "standard_error": self.gap.se if counted else None,
            "figures": self.figures,
            "source": self.source,
        }


# --- columns of the records -----------------------------------------------------------------------------


def column(records: Records, *names: str) -> NDArray[np.int64]:
    """Sum of record columns per possession, int64 [count]."""
    return records[:, [COLUMN[name] for name in names]].sum(axis=1, dtype=np.int64)


def called(records: Records) -> NDArray[np.bool_]:
    """True where a call was made."""
    return records[:, COLUMN["first_call"]] > 0


def saved(home: Records, setting: Records) -> NDArray[np.int64]:
    """Net points saved by the calls: home minus setting, 0 where nothing was called."""
    return (column(home, "net") - column(setting, "net")) * called(setting)


def lost_in_trap(records: Records) -> NDArray[np.float64]:
    """1 where the first call ended in a turnover in the trap itself, else 0, per called possession."""
    return np.isin(column(records, "outcome")[called(records)], LOST_IN_TRAP).astype(float)


def was_set(records: Records) -> NDArray[np.int64]:
    """1 where the first call's trap was set, else 0, per possession."""
    return column(records, "trap_set")


def field_points(records: Records) -> NDArray[np.int64]:
    """Points from the field per possession."""
    return 2 * column(records, "fgm") + column(records, "three_made")


# --- estimates ------------------------------------------------------------------------------------------


def mean(values: Series) -> Mean:
    """Mean of independent values, standard error s / sqrt(n)."""
    if len(values) < 2:
        return NOTHING
    return Mean(float(values.mean()), float(values.std(ddof=1) / sqrt(len(values))))


#: Fewer traps set than this give no verdict.
FEWEST_SET = 200


def settled(gap: Mean, *sets: Series) -> Mean:
    """The gap where enough traps were set in each of the samples (0 or 1 per possession); else nothing."""
    return gap if min(int(np.sum(one)) for one in sets) >= FEWEST_SET else NOTHING


def quotient(y: Series, x: Series) -> Mean:
    """Sum of y over sum of x, one pair per possession.

    Standard error of a ratio by clusters (linearised): sqrt(sum (y - R x)^2) / sum x. Where no y was seen at
    all, that of one event instead: nothing seen is not nothing possible.
    """
    total = float(x.sum())
    if total <= 0.0:
        return NOTHING
    found = float(y.sum()) / total
    if not np.any(y):
        return Mean(0.0, 1.0 / total)
    return Mean(found, sqrt(float(((y - found * x) ** 2).sum())) / total)


def quotient_change(y1: Series, x1: Series, y0: Series, x0: Series) -> Mean:
    """y1 / x1 - y0 / x0, sums over the same possessions in two branches (linearised, by clusters)."""
    return trend((0.0, 1.0), (y0, y1), (x0, x1))


def trend(at: Sequence[float], ys: Sequence[Series], xs: Sequence[Series]) -> Mean:
    """Slope by least squares, over the settings ``at``, of sum of y over sum of x.

    One y and one x for each setting, from the same possessions (linearised, by clusters).
    """
    away = np.asarray(at, float) - np.mean(at)
    weights = away / float((away**2).sum())
    slope, rest = 0.0, np.zeros(len(ys[0]))
    for weight, y, x in zip(weights, ys, xs, strict=True):
        total = float(x.sum())
        if total <= 0.0:
            return NOTHING
        found = float(y.sum()) / total
        slope += weight * found
        rest += weight * (y - found * x) / total
    return Mean(float(slope), sqrt(float((rest**2).sum())))


def median(values: Series) -> Mean:
    """Median with its standard error from the order statistics half a standard deviation of the count away.

    Half the distance between the values at ranks n/2 -+ sqrt(n)/2, which are one standard error of a
    binomial count from the middle (distribution-free; any text on order statistics, from memory).
    """
    n = len(values)
    if n < 4:
        return NOTHING
    ordered = np.sort(values)
    low = int(np.floor(n / 2 - sqrt(n) / 2))
    high = min(int(np.ceil(n / 2 + sqrt(n) / 2)), n - 1)
    return Mean(float(np.median(ordered)), float(ordered[high] - ordered[low]) / 2)


def inside(value: Mean, low: float, high: float) -> Mean:
    """How far a value lies inside a range: above zero inside, below zero outside."""
    return Mean(min(value.mean - low, high - value.mean), value.se)


def near(value: Mean, published: float, tolerance: float) -> Mean:
    """How far a value lies inside a published one plus or minus a share of it."""
    return inside(value, (1.0 - tolerance) * published, (1.0 + tolerance) * published)
