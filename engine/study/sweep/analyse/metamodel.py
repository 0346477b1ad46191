"""A metamodel of a sweep: a Gaussian process that foretells the quantity between the points, with its error.

Gaussian process (scikit-learn, optional extra ``research``) because the luck of every point is known and
differs from point to point: it goes in as noise of that size, so the process is fitted to what is true in the
points, not to their luck. Kernel: Matern 5/2 with a length for every factor. Its error is that of points left
out, in closed form (Rasmussen CE, Williams CKI (2006) Gaussian Processes for Machine Learning, section
5.4.2, from memory). Where it foretells well, first-order and total indices follow from it for any design.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace

import numpy as np
from SALib.analyze import sobol as sobol_indices
from SALib.sample import sobol as sobol_sample

from engine.errors import InputError
from engine.estimate.intervals import LEVEL, normal_quantile
from engine.study.sweep.analyse.luck import FloatArray, IntArray, Luck

#: Points that are fitted at most (the work grows with their cube), factors at most, points at least for each.
MOST_POINTS, MOST_FACTORS, POINTS_A_FACTOR = 1000, 24, 8
#: Sets of Saltelli's scheme that indices are worked out on, and draws of the process for their intervals.
SETS, DRAWS = 128, 30
#: A share of the true spread foretold below this bears no indices.
LEAST_FORETOLD = 0.5
RESTARTS = 2


@dataclass(frozen=True, eq=False)
class Metamodel:
    """A fitted process and how well it foretells.

    Attributes:
        rows: int64[fitted], places of the points it was fitted to.
        foretold, half: float64[fitted], each point as foretold by all others, and the half of the 95 %
            interval of what would be played there (its own luck included).
        share: of the spread between the points that the left-out forecasts explain; ``share_true``: of the
            spread that is not luck.
        covered: share of the points inside their interval (0.95 where the process is right).
        lengths: float64[factors], on which each factor acts, in ranges of it.
        first, first_half, total, total_half: indices float64[factors], nan where it foretells too little.
        reason: why there is no process, or no indices, else empty.
    """

    rows: IntArray
    foretold: FloatArray
    half: FloatArray
    share: float
    share_true: float
    covered: float
    lengths: FloatArray
    first: FloatArray
    first_half: FloatArray
    total: FloatArray
    total_half: FloatArray
    reason: str = ""


def fit(units: FloatArray, y: FloatArray, luck: Luck, seed: int = 1) -> Metamodel:
    """Fit a process.

    Args:
        units: float64[points, factors], places on the factors' ranges, 0 to 1 (names: their codes).
        y: float64[points], nan where a point was not played.
        luck: of the same rows. ``seed``: of the starts and draws.

    Raises:
        InputError: scikit-learn is not installed.
    """
    try:
        from sklearn.gaussian_process import GaussianProcessRegressor
        from sklearn.gaussian_process.kernels import ConstantKernel, Matern
    except ImportError:
        allowed = 'scikit-learn, which is not installed: pip install "trapledger[research]"'
        raise InputError("--metamodel", "", "", allowed) from None
    n_factors = units.shape[1]
    rows = np.flatnonzero(np.isfinite(y))
    _, first_of = np.unique(units[rows], axis=0, return_index=True)
    rows = rows[np.sort(first_of)]
    if n_factors > MOST_FACTORS:
        return _none(n_factors, rows, f"{n_factors} factors, at most {MOST_FACTORS}: screen them first")
    if len(rows) < POINTS_A_FACTOR * n_factors:
        wanted = POINTS_A_FACTOR * n_factors
        return _none(n_factors, rows, f"{len(rows)} different points played, at least {wanted} are needed")
    if len(rows) > MOST_POINTS:
        rows = rows[np.linspace(0, len(rows) - 1, MOST_POINTS).astype(np.int64)]
    x, values = units[rows], y[rows]
    middle, scale = float(values.mean()), float(values.std())
    if scale <= 0.0:
        return _none(n_factors, rows, "all points came out alike")
    noise = _noise(luck, rows) / scale**2
    kernel = ConstantKernel(1.0, (1e-3, 1e3)) * Matern(np.ones(n_factors), (0.05, 50.0), nu=2.5)
    process = GaussianProcessRegressor(
        kernel, alpha=noise + 1e-8, n_restarts_optimizer=RESTARTS, random_state=seed
    )
    with warnings.catch_warnings():  # a length at its bound is a factor that does nothing
        warnings.simplefilter("ignore")
        process.fit(x, (values - middle) / scale)
    inverse = np.linalg.inv(process.kernel_(x) + np.diag(noise + 1e-8))
    at = np.diag(inverse)
    left_out = (values - middle) / scale - np.asarray(process.alpha_).ravel() / at
    half = normal_quantile(LEVEL) * np.sqrt(1.0 / at) * scale
    foretold = left_out * scale + middle
    wrong = float(np.mean((values - foretold) ** 2))
    spread, lucky = float(values.var()), float(noise.mean()) * scale**2
    share = 1.0 - wrong / spread
    share_true = 1.0 - max(wrong - lucky, 0.0) / max(spread - lucky, 1e-12 * spread)
    covered = float(np.mean(np.abs(values - foretold) <= half))
    lengths = np.asarray(process.kernel_.k2.length_scale, dtype=np.float64).reshape(n_factors)
    nan = np.full(n_factors, np.nan)
    found = Metamodel(rows, foretold, half, share, share_true, covered, lengths, nan, nan, nan, nan)
    if share_true < LEAST_FORETOLD or n_factors < 2:
        told = f"it foretells {max(share_true, 0.0):.0%} of the true spread"
        return replace(
            found, reason=f"{told}: more points or possessions are needed" if n_factors > 1 else ""
        )
    first, total = _indices(process, n_factors, seed)
    halves = normal_quantile(LEVEL) * np.stack([first[1:].std(axis=0), total[1:].std(axis=0)])
    return replace(found, first=first[0], total=total[0], first_half=halves[0], total_half=halves[1])


def _noise(luck: Luck, rows: IntArray) -> FloatArray:
    """Variance of the luck that differs between points, float64[rows]."""
    if luck.independent:
        return np.nan_to_num(luck.variance[rows], nan=float(np.nanmean(luck.variance[rows])))
    return np.full(len(rows), luck.between(rows))


def _none(n_factors: int, rows: IntArray, reason: str) -> Metamodel:
    nan, nothing = np.full(n_factors, np.nan), np.full(len(rows), np.nan)
    return Metamodel(rows, nothing, nothing, np.nan, np.nan, np.nan, nan, nan, nan, nan, nan, reason)


def _indices(process: object, n_factors: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """First-order and total indices float64[1 + DRAWS, factors]: of the mean, then of draws of the
    process."""
    names = [f"x{i}" for i in range(n_factors)]
    problem = {"num_vars": n_factors, "names": names, "bounds": [[0.0, 1.0]] * n_factors}
    fine = sobol_sample.sample(problem, 1024, calc_second_order=False, seed=seed)
    coarse = sobol_sample.sample(problem, SETS, calc_second_order=False, seed=seed + 1)
    values = [process.predict(fine), *process.sample_y(coarse, DRAWS, random_state=seed).T]  # type: ignore[attr-defined]
    first, total = [], []
    for one in values:
        found = sobol_indices.analyze(
            problem, np.asarray(one), calc_second_order=False, num_resamples=2, seed=seed
        )
        first.append(found["S1"])
        total.append(found["ST"])
    return np.array(first), np.array(total)
