"""Slopes of many factors at once: the straight line that the quantity follows along each, all others varied.

Every point moves all factors, so every possession tells of every factor: the slopes of a few hundred factors
come from the possessions that a screening by trajectories would need for one of them. What is not straight,
and what hangs on other factors, is scatter about the lines: it stands in the errors, and ``explained`` says
how much of what is true the lines miss. A factor whose effect turns round within its range has no slope.

Least squares on all factors together, points weighted by the events that their figure rests on; errors from
the residuals, whose sizes may differ (HC2: MacKinnon JG, White H (1985) Journal of Econometrics 29:305, from
memory); floors for all factors together (Sidak, from memory). Factors of names are allowed for, not ranked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.estimate.intervals import LEVEL, normal_quantile, student_quantile
from engine.study.sweep.analyse.luck import FloatArray, IntArray, Luck

BoolArray = NDArray[np.bool_]
#: Points beyond the columns of the fit without which nothing is said.
LEAST_SPARE = 30
#: A true share of the spread below this leaves nothing to explain.
LEAST_TRUE = 0.05


@dataclass(frozen=True, eq=False)
class Slopes:
    """Slopes float64[factors] over the whole range of each factor, in the unit of the quantity.

    ``slope``, ``half`` of its 95 % interval, ``floor``: what the size of the greatest of all factors without
    effect passes in 5 of 100 cases; all three nan for factors of names. ``explained``: share of the true
    spread between the points that the lines explain, nan where luck is not known or is nearly all.
    ``points`` used; ``reason``: why there are none, else empty.
    """

    slope: FloatArray
    half: FloatArray
    floor: FloatArray
    explained: float
    points: int
    reason: str = ""


def slopes(units: FloatArray, named: BoolArray, y: FloatArray, weight: FloatArray, luck: Luck) -> Slopes:
    """The slopes of a table of points.

    Args:
        units: float64[points, factors], places on the factors' ranges, 0 to 1; of names their codes.
        named: bool[factors], which are factors of names.
        y: float64[points], the quantity; nan where a point was not played.
        weight: float64[points], events that each y rests on.
        luck: of the same rows.
    """
    k = units.shape[1]
    rows = np.flatnonzero(np.isfinite(y) & (weight > 0.0))
    x = _columns(units[rows], named)
    spare = len(rows) - x.shape[1]
    if spare < LEAST_SPARE:
        return _nothing(k, len(rows), f"{len(rows)} points played, {x.shape[1] + LEAST_SPARE} are needed")
    if not luck.known:
        return _nothing(k, len(rows), luck.words)
    w = np.sqrt(weight[rows] / weight[rows].mean())[:, None]
    basis, triangle = np.linalg.qr(x * w)
    if np.abs(np.diag(triangle)).min() < 1e-9 * np.abs(np.diag(triangle)).max():
        return _nothing(k, len(rows), "the factors do not move by themselves, so they cannot be told apart")
    solve = np.linalg.solve(triangle, basis.T) * w.T  # float64[columns, rows]: values to coefficients
    values = y[rows]
    residuals = (values - x @ (solve @ values)) * w[:, 0]
    spread = residuals / np.sqrt(np.maximum(1.0 - (basis**2).sum(axis=1), 1e-12)) / w[:, 0]
    variance = (solve**2) @ spread**2
    quantile, least = (student_quantile(level, spare) for level in (LEVEL, LEVEL ** (1.0 / (~named).sum())))
    if luck.draws is not None:  # points share possessions, so luck may run along a factor
        shared = ((solve @ luck.draws[:, rows].T) ** 2).mean(axis=1)
        few = student_quantile(LEVEL, len(luck.draws)) / normal_quantile(LEVEL)
        variance = variance + few**2 * shared
    at = np.arange(1, 1 + (~named).sum())
    slope, half, floor = np.full((3, k), np.nan)
    error = np.sqrt(variance[at])
    slope[~named], half[~named], floor[~named] = (solve @ values)[at], quantile * error, least * error
    explained = _explained(values, residuals, spare, w[:, 0], luck, rows)
    return Slopes(slope, half, floor, explained, len(rows))


def _columns(units: FloatArray, named: BoolArray) -> FloatArray:
    """The columns of the fit: 1, the factors of numbers, then one for each further name of the others."""
    names = [
        (units[:, j] == code).astype(np.float64)
        for j in np.flatnonzero(named)
        for code in np.unique(units[:, j])[1:]
    ]
    return np.column_stack([np.ones(len(units)), units[:, ~named], *names])


def _explained(
    values: FloatArray, residuals: FloatArray, spare: int, w: FloatArray, luck: Luck, rows: IntArray
) -> float:
    """Share of the true spread that the lines explain; all three spreads weighted alike."""
    middle = float(np.average(values, weights=w**2))
    whole = float(((values - middle) ** 2 * w**2).sum()) / (len(values) - 1)
    left = float((residuals**2).sum()) / spare
    if luck.draws is not None:
        draws = luck.draws[:, rows]
        middles = np.average(draws, axis=1, weights=w**2)[:, None]
        lucky = float(((draws - middles) ** 2 * w**2).mean())
    else:
        lucky = float(np.nanmean(luck.variance[rows] * w**2))
    true = whole - lucky
    return (whole - left) / true if true > LEAST_TRUE * whole else float("nan")


def _nothing(n_factors: int, points: int, reason: str) -> Slopes:
    nan = np.full(n_factors, np.nan)
    return Slopes(nan, nan, nan, float("nan"), points, reason)
