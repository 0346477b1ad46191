"""Closed forms on integer tallies: confidence intervals, the sum of n draws, tail risk.

Nothing here knows basketball. Where an estimate has no meaning its parts are None, never "not a number".
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from math import cbrt, sqrt
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
#: Fewer events than these bear no interval, a normal one being too narrow (benchmarks/interval_coverage.py).
LEAST_EVENTS = 30


def if_enough(found: Interval, events: int) -> Interval:
    """The estimate with its limits where they rest on ``LEAST_EVENTS`` events or more, else without."""
    return found if events >= LEAST_EVENTS else Interval(found.mean)


def normal_quantile(level: float) -> float:
    """Half-width of a two-sided normal interval in standard errors, 1.96 at 0.95.

    Raises:
        ValueError: level not strictly between 0 and 1.
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie strictly between 0 and 1, got {level}")
    from statistics import NormalDist

    return NormalDist().inv_cdf(0.5 + level / 2.0)


def student_quantile(level: float, degrees: float) -> float:
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
    if not 0 <= k <= n:
        raise ValueError(f"k must lie in 0..n, got {k} of {n}")
    if n == 0:
        return NOTHING
    low, high = score_limits(k / n, n, level)
    return Interval(k / n, 0.0 if k == 0 else low, 1.0 if k == n else high)


def score_limits(p: float, n: float, level: float = LEVEL) -> tuple[float, float]:
    """Wilson's limits of a share p of n trials, n not necessarily whole (an effective number)."""
    z = normal_quantile(level)
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return middle - half, middle + half


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


def skewed_interval(ratio: float, error: float, skew: float, events: float, level: float = LEVEL) -> Interval:
    """A mean or ratio of few and skewed events: its limits lie further out where the long tail is.

    With T = (estimate - truth) / error, g(T) = ((1 + skew T / 3)^3 - 1) / skew + skew / 6 is free of the skew
    to the first order; the limits are where g is at the quantiles of Student's t (what the error itself
    varies by is left in g). Source: Hall P (1992) On the removal of skewness by transformation, Journal of
    the Royal Statistical Society B 54:221 (from memory); how it holds: ``tests/test_intervals.py``.

    Args:
        ratio, error: the estimate and its standard error.
        skew: sum e^3 / (sum e^2)^(3/2) over the deviations e that the error is made of, -1 to 1.
        events: how many deviations there are, more than 1.
    """
    quantile = student_quantile(level, events - 1.0)

    def unskewed(z: float) -> float:
        return 3.0 * (cbrt(1.0 + skew * (z - skew / 6.0)) - 1.0) / skew if abs(skew) > 1e-9 else z

    return Interval(ratio, ratio - error * unskewed(quantile), ratio - error * unskewed(-quantile))


def scaled(found: Interval, factor: float) -> Interval:
    """The interval of factor times the quantity, factor > 0 (a change of unit)."""
    return Interval(*(None if v is None else v * factor for v in (found.mean, found.low, found.high)))


#: Sums of more draws than this are worked out by a Fourier transform, which is n log n, not n squared.
MOST_DIRECT = 512


def sum_distribution(probabilities: FloatArray, n: int) -> FloatArray:
    """Distribution of the sum of n independent draws from one distribution on 0, 1, .., K - 1.

    Up to ``MOST_DIRECT`` draws by direct convolution, repeated squaring: every term is positive, so nothing
    cancels and even tiny probabilities keep their relative accuracy. Beyond, by a Fourier transform, whose
    error is absolute, about n times 1e-16 (``sum_distributions``).

    Returns:
        float64[n * (K - 1) + 1], probabilities of the sums 0 .. n * (K - 1).

    Raises:
        ValueError: n below 1.
    """
    if n < 1:
        raise ValueError(f"n must be 1 or more, got {n}")
    if n > MOST_DIRECT:
        found: FloatArray = sum_distributions(np.asarray(probabilities, dtype=np.float64)[None, :], n)[0]
        return found
    total, power, left = np.ones(1), np.asarray(probabilities, dtype=np.float64), n
    while True:
        if left & 1:
            total = np.convolve(total, power)
        left >>= 1
        if not left:
            return total
        power = np.convolve(power, power)


def sum_distributions(probabilities: FloatArray, n: int) -> FloatArray:
    """``sum_distribution`` of many distributions at once, float64[draws, K], by a Fourier transform.

    Returns:
        float64[draws, n * (K - 1) + 1]; each adds up to 1 and nothing in it is below 0.
    """
    length = n * (probabilities.shape[1] - 1) + 1
    size = 1 << (length - 1).bit_length()
    found = np.fft.irfft(np.fft.rfft(probabilities, size, axis=1) ** n, size, axis=1)[:, :length]
    found = np.clip(found, 0.0, None)
    return np.asarray(found / found.sum(axis=1, keepdims=True))


def cvar(values: npt.NDArray[np.generic], probabilities: FloatArray, level: float) -> float:
    """Mean of the worst (highest) 1 - level of a discrete distribution of losses: see ``cvars``."""
    return float(cvars(values, np.asarray(probabilities)[None, :], level)[0])


def cvars(values: npt.NDArray[np.generic], probabilities: FloatArray, level: float) -> FloatArray:
    """Mean of the worst (highest) 1 - level of many discrete distributions of losses, float64[draws].

    The atom at the quantile is split, so that exactly the mass 1 - level is averaged: Rockafellar RT,
    Uryasev S (2002) Journal of Banking and Finance 26:1443; Acerbi C, Tasche D (2002), same journal 26:1487.

    Args:
        values: losses [K], ascending (net points conceded: more is worse).
        probabilities: float64[draws, K], each adding up to 1.
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
    reached = np.minimum(np.cumsum(probabilities[:, ::-1], axis=1), tail)
    taken = np.diff(reached, prepend=0.0, axis=1)
    return np.asarray(taken @ worst_first / taken.sum(axis=1))
