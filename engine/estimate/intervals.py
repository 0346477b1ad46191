"""Closed forms on integer tallies: confidence intervals, the sum of n draws, tail risk.

Nothing here knows basketball. Where an estimate has no meaning its parts are None, never "not a number".
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from math import sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]
#: A result or a part of one as it stands in the JSON.
Found = dict[str, Any]

#: Two-sided confidence level of every interval unless another is asked for.
LEVEL = 0.95


@dataclass(frozen=True)
class Interval:
    """An estimate and its confidence limits; None where there is none."""

    mean: float | None
    low: float | None = None
    high: float | None = None

    def as_dict(self) -> dict[str, float | None]:
        """For the JSON contract: mean, low, high."""
        return asdict(self)


NOTHING = Interval(None)


def normal_quantile(level: float) -> float:
    """Half-width of a two-sided normal interval in standard errors, 1.96 at 0.95.

    Raises:
        ValueError: level not strictly between 0 and 1.
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie strictly between 0 and 1, got {level}")
    from statistics import NormalDist

    return NormalDist().inv_cdf(0.5 + level / 2.0)


def student_quantile(level: float, degrees: int) -> float:
    """Half-width of a two-sided interval of Student's t in standard errors; above the normal one.

    Raises:
        ValueError: level not strictly between 0 and 1, or degrees of freedom below 1.
    """
    if not 0.0 < level < 1.0 or degrees < 1:
        raise ValueError(f"level must lie between 0 and 1 and degrees from 1, got {level}, {degrees}")
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.5 + level / 2.0))


def normal_interval(n: int, total: int, total_of_squares: int, level: float = LEVEL) -> Interval:
    """Mean of n independent integers from their sum and sum of squares, with the normal interval.

    The variance is worked out in whole numbers, so nothing cancels. No n: nothing; n = 1: no interval.
    With few, all equal values the interval has no width, which says little.
    """
    half_width = normal_quantile(level)
    if n == 0:
        return NOTHING
    mean = total / n
    if n == 1:
        return Interval(mean)
    variance = (n * total_of_squares - total * total) / (n * (n - 1))
    half = half_width * sqrt(variance / n)
    return Interval(mean, mean - half, mean + half)


def mean_interval(hist: IntArray, values: IntArray, level: float = LEVEL) -> Interval:
    """Mean of integer values with counts ``hist`` (same length), with the normal interval."""
    return normal_interval(int(hist.sum()), int(hist @ values), int(hist @ (values * values)), level)


def wilson(k: int, n: int, level: float = LEVEL) -> Interval:
    """Share k of n independent trials with the score interval of Wilson (1927), JASA 22:209.

    Only for one trial or fewer per possession; else the trials of a possession are alike and
    ``ratio_interval`` is right.

    Raises:
        ValueError: k not in 0..n.
    """
    z = normal_quantile(level)
    if not 0 <= k <= n:
        raise ValueError(f"k must lie in 0..n, got {k} of {n}")
    if n == 0:
        return NOTHING
    p = k / n
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return Interval(p, 0.0 if k == 0 else middle - half, 1.0 if k == n else middle + half)


def ratio_interval(
    sum_y: int, sum_x: int, sum_yy: int, sum_xy: int, sum_xx: int, n: int, level: float = LEVEL
) -> Interval:
    """R = sum y / sum x over n independent clusters, with the interval of the ratio estimator.

    se^2 = sum (y - R x)^2 / (sum x)^2 * n / (n - 1), the sum worked out in whole numbers. Method: Cochran
    WG, Sampling Techniques (1977), chapters 2 and 6 (from memory). Nothing where sum x is 0.
    """
    z = normal_quantile(level)
    if sum_x == 0:
        return NOTHING
    ratio = sum_y / sum_x
    if n < 2:
        return Interval(ratio)
    residual = (sum_yy * sum_x**2 - 2 * sum_y * sum_x * sum_xy + sum_y**2 * sum_xx) / sum_x**2
    half = z * sqrt(residual * n / (n - 1)) / sum_x
    return Interval(ratio, ratio - half, ratio + half)


def scaled(found: Interval, factor: float) -> Interval:
    """The interval of factor times the quantity, factor > 0 (a change of unit)."""
    return Interval(*(None if v is None else v * factor for v in (found.mean, found.low, found.high)))


def sum_distribution(probabilities: FloatArray, n: int) -> FloatArray:
    """Distribution of the sum of n independent draws from one distribution on 0, 1, .., K - 1.

    Direct convolution by repeated squaring: every term is positive, so nothing cancels and even tiny
    probabilities keep their relative accuracy (a Fourier transform would lose them).

    Returns:
        float64[n * (K - 1) + 1], probabilities of the sums 0 .. n * (K - 1).

    Raises:
        ValueError: n below 1.
    """
    if n < 1:
        raise ValueError(f"n must be 1 or more, got {n}")
    total, power, left = np.ones(1), np.asarray(probabilities, dtype=np.float64), n
    while True:
        if left & 1:
            total = np.convolve(total, power)
        left >>= 1
        if not left:
            return total
        power = np.convolve(power, power)


def cvar(values: npt.NDArray[np.generic], probabilities: FloatArray, level: float) -> float:
    """Mean of the worst (highest) 1 - level of a discrete distribution of losses.

    The atom at the quantile is split, so that exactly the mass 1 - level is averaged: Rockafellar RT,
    Uryasev S (2002) Journal of Banking and Finance 26:1443; Acerbi C, Tasche D (2002), same journal 26:1487.

    Args:
        values: losses [K], ascending (net points conceded: more is worse).
        probabilities: float64[K], adding up to 1.
        level: 0 <= level < 1; 0.95 averages the worst 5%.

    Raises:
        ValueError: level outside that range, or values not ascending.
    """
    if not 0.0 <= level < 1.0:
        raise ValueError(f"level must lie in 0 <= level < 1, got {level}")
    worst_first = np.asarray(values, dtype=np.float64)[::-1]
    if np.any(np.diff(worst_first) > 0):
        raise ValueError("values must be ascending")
    tail = 1.0 - level
    reached = np.minimum(np.cumsum(probabilities[::-1]), tail)
    taken = np.diff(reached, prepend=0.0)
    return float(worst_first @ taken / taken.sum())
