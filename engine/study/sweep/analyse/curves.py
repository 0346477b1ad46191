"""Response curves: the mean of a quantity along one factor, the others as the design has them, with bands.

The band is for the mean, not for single points. It holds what the other factors and luck do to the points
near by and, where all points share their luck, how far that may have moved all of them together.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from engine.estimate.intervals import LEVEL, normal_quantile, student_quantile
from engine.study.sweep.analyse.indices import FEW_VALUES, GRID, SALTELLI, Points
from engine.study.sweep.analyse.luck import FloatArray, IntArray, Luck

#: Places at which a curve is worked out.
PLACES = 41
#: Bandwidths tried, as shares of the factor's range; the one that best foretells left-out points is taken.
BANDWIDTHS = (0.08, 0.12, 0.18, 0.27, 0.4, 0.7, 1.5)
#: The bandwidth is chosen on this many points at most.
MOST_TRIED = 800
#: Fewer points than this give no smooth curve.
LEAST_POINTS = 12


@dataclass(frozen=True, eq=False)
class Curve:
    """Mean along a factor with its band, all float64[places].

    ``at`` are indices into the different values of the factor where it is taken by its values, else places on
    its scale (logarithms where the scale is one); ``weight``: points that a mean rests on (effective number).
    """

    at: FloatArray
    mean: FloatArray
    low: FloatArray
    high: FloatArray
    weight: FloatArray
    by_value: bool


def rows_of_curve(points: Points, y: FloatArray) -> IntArray:
    """Rows that a curve is made of: in Saltelli's scheme the independent blocks A and B alone."""
    there = np.isfinite(y)
    if points.structure() == SALTELLI:
        step = points.n_factors + 2
        place = np.arange(len(y)) % step
        there &= (place == 0) | (place == step - 1)
    return np.flatnonzero(there)


def curve(points: Points, factor: int, x: FloatArray | None, y: FloatArray, luck: Luck) -> Curve | None:
    """The curve of a factor; None with too few points.

    Args:
        x: float64[points], places on the factor's scale; None for names.
        y: float64[points], nan where a point was not played.
    """
    rows = rows_of_curve(points, y)
    n_values = len(np.unique(points.codes[:, factor]))
    whole = points.structure() == GRID and points.n_factors > 1
    if x is None or n_values <= FEW_VALUES or whole:
        return _by_value(points, factor, y, luck, rows) if len(rows) else None
    if len(rows) < LEAST_POINTS or float(np.ptp(x[rows])) <= 0.0:
        return None
    return _smooth(x[rows], y[rows], luck, rows)


def _by_value(points: Points, factor: int, y: FloatArray, luck: Luck, rows: IntArray) -> Curve:
    column = points.codes[:, factor]
    values = np.unique(column)
    groups = [rows[column[rows] == value] for value in values]
    whole = points.structure() == GRID and len(rows) == len(y)
    weights = np.array([np.isin(rows, group) / max(len(group), 1) for group in groups])
    luck_there = luck_in_means(weights, luck, rows)
    mean, half = np.full((2, len(values)), np.nan)
    for i, group in enumerate(groups):
        if not len(group):
            continue
        mean[i] = float(y[group].mean())
        if whole:  # the other factors are the same for every value: what is left is luck
            own = float(np.nanmean(luck.variance[group])) / len(group) if luck.independent else 0.0
            half[i] = normal_quantile(LEVEL) * sqrt(own + luck_there)
        elif len(group) > 1:
            error = sqrt(float(y[group].var(ddof=1)) / len(group) + luck_there)
            half[i] = student_quantile(LEVEL, len(group) - 1) * error
        else:
            half[i] = normal_quantile(LEVEL) * sqrt(float(luck.variance[group[0]]))
    counts = np.array([float(len(group)) for group in groups])
    return Curve(np.arange(len(values), dtype=np.float64), mean, mean - half, mean + half, counts, True)


def luck_in_means(weights: FloatArray, luck: Luck, rows: IntArray) -> float:
    """Variance of the luck in a curve that is not seen in how the points scatter about it.

    Independent luck is all seen there. Common luck moves the whole curve, and bends it where points that are
    near each other along the factor share more of it: the bends are those that the same means, weights
    float64[places, rows], make of the draws of luck alone.
    """
    if luck.draws is None:
        return luck.shared(rows)
    bends = luck.draws[:, rows] @ weights.T
    return (
        luck.shared(rows) + float(bends.var(axis=1, ddof=1).mean()) if len(weights) > 1 else luck.shared(rows)
    )


def _weights(at: FloatArray, u: FloatArray, width: float) -> FloatArray:
    """Weights float64[len(at), len(u)] that make local-linear means: tricube kernel (Cleveland 1979, Journal
    of the American Statistical Association 74:829; Fan & Gijbels 1996)."""
    distance = u[None, :] - at[:, None]
    w = np.abs(distance) / width
    w = np.maximum(1.0 - w * w * w, 0.0)  # products: a power costs ten times as much
    w = w * w * w
    pulled = w * distance
    s0, s1, s2 = w.sum(axis=1), pulled.sum(axis=1), (pulled * distance).sum(axis=1)
    determinant = s0 * s2 - s1**2
    linear = determinant > 1e-10 * np.maximum(s0**2, 1e-300)
    with np.errstate(invalid="ignore", divide="ignore"):
        level = np.where(linear, s2 / determinant, 1.0 / s0)
        tilt = np.where(linear, s1 / determinant, 0.0)
        return np.asarray(level[:, None] * w - tilt[:, None] * pulled)


def _left_out(u: FloatArray, y: FloatArray, width: float) -> FloatArray:
    """Each point's distance from what the others foretell, float64[n]; nan where there are no others."""
    w = _weights(u, u, width)
    own = np.diag(w)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(own < 0.999, (y - w @ y) / (1.0 - own), np.nan)


def _smooth(x: FloatArray, y: FloatArray, luck: Luck, rows: IntArray) -> Curve:
    low, high = float(x.min()), float(x.max())
    u = (x - low) / (high - low)
    tried = np.linspace(0, len(u) - 1, min(len(u), MOST_TRIED)).astype(np.int64)
    trials = [_left_out(u[tried], y[tried], width) for width in BANDWIDTHS]
    losses = [float(np.mean(left**2)) if np.isfinite(left).all() else np.inf for left in trials]
    width = BANDWIDTHS[int(np.argmin(losses))]
    if len(u) > len(tried):  # more points bear a narrower window: n^(-1/5) (Fan & Gijbels 1996)
        width *= (len(tried) / len(u)) ** 0.2
    left = np.concatenate(
        [_left_out_rows(u, y, width, part) for part in np.array_split(np.arange(len(u)), 8)]
    )
    left = np.where(np.isfinite(left), left, y - y.mean())
    at = np.linspace(0.0, 1.0, PLACES)
    w = _weights(at, u, width)
    mean = w @ y
    half = normal_quantile(LEVEL) * np.sqrt(w**2 @ left**2 + luck_in_means(w, luck, rows))
    return Curve(low + at * (high - low), mean, mean - half, mean + half, 1.0 / (w**2).sum(axis=1), False)


def _left_out_rows(u: FloatArray, y: FloatArray, width: float, rows: IntArray) -> FloatArray:
    """``_left_out`` of some rows against all, so that no square of all points is held."""
    w = _weights(u[rows], u, width)
    own = w[np.arange(len(rows)), rows]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(own < 0.999, (y[rows] - w @ y) / (1.0 - own), np.nan)
