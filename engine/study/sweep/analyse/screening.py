"""Screening of many factors (Morris): what moves the quantity at all, from few points.

The points are trajectories in each of which every factor moves once, by itself; the change of the quantity
when a factor moves, over how far it moved on its range, is an elementary effect. Their mean size (mu star)
says how much a factor matters over its range, their spread (sigma) how far that hangs on where the others
stand.
Source: Morris MD (1991) Technometrics 33:161; Campolongo F, Cariboni J, Saltelli A (2007) Environmental
Modelling & Software 22:1509 (from memory), as SALib works them out.

Effects of luck alone have a size, too. Where all points share their luck it is small and known from the
batches: the floor is what the greatest of all factors without effect would reach in 5 of 100 screenings.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from SALib.analyze import morris

from engine.estimate.intervals import LEVEL, normal_quantile, student_quantile
from engine.study.sweep.analyse.luck import FloatArray, IntArray, Luck

#: Levels of a factor in a screening; it moves by two of the three steps between them.
LEVELS = 4
#: Trajectories without which nothing is said.
LEAST_TRAJECTORIES = 4
DRAWS, RESAMPLES = 400, 200


@dataclass(frozen=True, eq=False)
class Screening:
    """Effects float64[factors] over the whole range of each factor, in the unit of the quantity.

    ``mu_star``: mean size, ``half``: of its 95 % interval, ``mu``: mean with its sign, ``sigma``: spread,
    luck taken out where it is known; ``floor``: see the module, nan where luck is not known;
    ``trajectories`` used;
    ``reason``: why there are none, else empty.
    """

    mu_star: FloatArray
    half: FloatArray
    mu: FloatArray
    sigma: FloatArray
    floor: float
    trajectories: int
    reason: str = ""


def screen(units: FloatArray, y: FloatArray, luck: Luck, seed: int = 1) -> Screening:
    """The screening of points that are trajectories.

    Args:
        units: float64[points, factors], places on the factors' ranges, 0 to 1.
        y: float64[points], the quantity; nan where a point was not played.
        luck: of the same rows. ``seed``: of the resampling.
    """
    n_factors = units.shape[1]
    blocks = np.arange(len(y)).reshape(-1, n_factors + 1)
    blocks = blocks[np.isfinite(y[blocks]).all(axis=1)]
    r = len(blocks)
    if r < LEAST_TRAJECTORIES:
        nan = np.full(n_factors, np.nan)
        reason = f"{r} trajectories played to their end, at least {LEAST_TRAJECTORIES} are needed"
        return Screening(nan, nan, nan, nan, np.nan, r, reason)
    rows = blocks.ravel()
    names = [f"x{i}" for i in range(n_factors)]
    problem = {"num_vars": n_factors, "names": names, "bounds": [[0.0, 1.0]] * n_factors}
    found = morris.analyze(
        problem, units[rows], y[rows], num_levels=LEVELS, num_resamples=RESAMPLES, conf_level=LEVEL, seed=seed
    )
    mu_star, half, mu, sigma = (
        np.asarray(found[name], dtype=np.float64) for name in ("mu_star", "mu_star_conf", "mu", "sigma")
    )
    error = _luck_of_an_effect(units, luck, blocks)
    if error is None:
        return Screening(mu_star, half, mu, sigma, np.nan, r)
    rng = np.random.default_rng([seed, r, n_factors])
    alone = np.abs(rng.standard_normal((DRAWS, r, n_factors))).mean(axis=1).max(axis=1)
    floor = error * float(np.quantile(alone, LEVEL))
    # what luck adds to the mean size of an effect whose other spread is normal
    sigma = np.sqrt(np.maximum(sigma**2 - error**2, 0.0))
    return Screening(mu_star, half, mu, sigma, floor, r)


def _luck_of_an_effect(units: FloatArray, luck: Luck, blocks: IntArray) -> float | None:
    """Standard deviation of the luck in one elementary effect, None where it cannot be told."""
    step = np.abs(np.diff(units[blocks], axis=1)).max(axis=2)
    if luck.independent:
        pairs = luck.variance[blocks[:, 1:]] + luck.variance[blocks[:, :-1]]
        return sqrt(float(np.nanmean(pairs / step**2)))
    if luck.draws is None:
        return None
    effects = np.diff(luck.draws[:, blocks], axis=2) / step
    few = student_quantile(LEVEL, len(luck.draws)) / normal_quantile(LEVEL) if len(luck.draws) < 8 else 1.0
    return few * sqrt(float(np.mean(effects**2)))
