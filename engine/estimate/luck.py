"""From the worlds' sums to the share of worlds in which a call pays, its value's band, and what decides it.

What a world shows of a call is its true value there plus the luck of the possessions played in it. The
luck is taken out: a raw count of the worlds in which the call came out ahead lies too near to one half,
and the raw band is too wide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from engine.estimate.intervals import NOTHING, FloatArray, IntArray, Interval, wilson

#: The band of the value: this share of the worlds lies inside (5 to 95 %).
BAND = 0.90
#: Fewer worlds than this give no share.
FEW_WORLDS = 8
#: Points of the grid of the spread between worlds; draws of all worlds' true values (fewer of many worlds).
GRID = 200
DRAWS, LEAST_DRAWS, MOST_DRAWS_IN_ALL = 1000, 100, 4_000_000
#: Fewer worlds than this say nothing of the inputs: pairs of columns of a small Sobol set in many dimensions
#: are alike, so that a strong input lends its index to others (tried: 0.4 false names a call at 128 worlds of
#: 36 inputs, 0.1 at 512, where the floor alone lets 0.1 pass).
LEAST_WORLDS = 350
#: Harmonics of the response to an input that count as its own: 4 follow two ups and downs over its range, and
#: find more than the usual 6 or 10 (tried with 5 inputs at work among 36 in luck of their own size).
HARMONICS = 4
#: How often the dummy is shuffled, for the index and for the rank correlation (which costs less): the
#: greatest that any of these reaches is the floor.
SHUFFLES, RANK_SHUFFLES = 300, 1000
#: Values looked at in one go, so that many inputs need no more memory.
MOST_AT_ONCE = 500_000
#: A rank correlation beyond this many standard errors gives a direction.
CLEAR = 2.0
#: A spread whose part that is not luck is less than this has no inputs to look for.
LEAST_RELIABILITY = 0.02
_TINY = 1e-12


@dataclass(frozen=True)
class Shrunk:
    """The worlds' true values of a call, as far as they can be told.

    Attributes:
        worlds: worlds in which it was called.
        called: possessions in which it was called, all worlds.
        raw_pays: worlds in which it came out ahead as played, luck included; ``raw_share`` with Wilson's
            interval.
        no_difference: not one possession differed; then, and with too few worlds, all below is None.
        share: share of the worlds in which its true value is above 0, with a 95 % interval.
        value: median and 5 to 95 % band of the true values, points per call.
        mean, spread: mean and standard deviation of the true values.
        luck: root mean square of the sampling errors of the worlds.
        believed: mean share of a world's distance from the mean that is believed (0: all luck, 1: none).
        means: float64[worlds given], the posterior mean of each, nan where it was not called.
    """

    worlds: int
    called: int
    raw_pays: int
    raw_share: Interval
    no_difference: bool
    share: Interval
    value: Interval
    mean: float | None
    spread: float | None
    luck: float | None
    believed: float | None
    means: FloatArray


@dataclass(frozen=True)
class Posterior:
    """What is known of the worlds' true values: draws float64[draws, worlds] and their summaries.

    ``taus``: the drawn standard deviations between worlds; ``believed``: the mean share of a world's distance
    from the mean that is believed (0: all luck, 1: none).
    """

    values: FloatArray
    taus: FloatArray
    believed: float


def posterior(y: FloatArray, v: FloatArray, rng: np.random.Generator) -> Posterior:
    """The true values behind values y with sampling variances v, float64[worlds], at least 3 worlds.

    The true values are taken as normal about a common mean, mean and spread unknown: flat priors on the mean
    and on the standard deviation between worlds (Gelman 2006, Bayesian Analysis 1:515, from memory; the model
    is Rubin's of 1981). The spread is not plugged in but drawn, on a grid: where the data hardly tell it, the
    share stays away from 0 and 1. With much data the variance between worlds is the observed one less the
    mean of v.
    """
    v = np.maximum(v, _TINY)
    grid = np.linspace(0.0, 4.0 * float(np.std(y)) + _TINY, GRID)
    logs, means, errors = np.empty((3, GRID))
    for k, tau in enumerate(grid):
        total_variance = v + tau**2
        w = 1.0 / total_variance
        weight = float(w.sum())
        means[k] = float(w @ y) / weight
        errors[k] = 1.0 / sqrt(weight)
        squares = float(w @ (y - means[k]) ** 2)
        logs[k] = -0.5 * (float(np.log(total_variance).sum()) + np.log(weight) + squares)
    p = np.exp(logs - logs.max())
    draws = int(np.clip(MOST_DRAWS_IN_ALL // len(y), LEAST_DRAWS, DRAWS))
    chosen = rng.choice(GRID, size=draws, p=p / p.sum())
    values = np.empty((draws, len(y)))
    believed = 0.0
    for d, k in enumerate(chosen):
        pull = v / (v + grid[k] ** 2)  # toward the mean
        mean = means[k] + errors[k] * rng.standard_normal()
        values[d] = (1.0 - pull) * y + pull * mean + grid[k] * np.sqrt(pull) * rng.standard_normal(len(y))
        believed += float(1.0 - pull.mean()) / draws
    return Posterior(values, grid[chosen], believed)


def shrink(n: IntArray, total: IntArray, squares: IntArray, seed: int = 0) -> Shrunk:
    """Take the luck out of the worlds' values of a call.

    Args:
        n, total, squares: int64[worlds]: called possessions, sum and sum of squares of D in each world.
        seed: of the draws from the posterior.

    One call's variance is pooled over the worlds (within worlds), so that a world with few calls that came
    out alike does not pass for certain. Nothing is told with fewer than ``FEW_WORLDS`` worlds.
    """
    there = n > 0
    count, called = int(there.sum()), int(n.sum())
    raw = int((total[there] > 0).sum())
    means = np.full(len(n), np.nan)
    alike = count > 0 and not squares.any()
    if alike or count < FEW_WORLDS:
        return Shrunk(count, called, raw, NOTHING, alike, NOTHING, NOTHING, None, None, None, None, means)
    m, y = n[there].astype(np.float64), total[there] / n[there]
    left = float((m - 1.0).sum())
    within = float((squares[there] - total[there] * y).sum())
    one = within / left if left > 0 else float((squares[there] / m).mean())
    v = one / m
    found = posterior(y, v, np.random.default_rng([seed, count]))
    means[there] = found.values.mean(axis=0)
    shares = (found.values > 0.0).mean(axis=1)
    share_low, share_high = np.quantile(shares, [0.025, 0.975])
    tail = (1.0 - BAND) / 2.0
    low, median, high = np.quantile(found.values, [tail, 0.5, 1.0 - tail])
    return Shrunk(
        worlds=count,
        called=called,
        raw_pays=raw,
        raw_share=wilson(raw, count),
        no_difference=False,
        share=Interval(float(shares.mean()), float(share_low), float(share_high)),
        value=Interval(float(median), float(low), float(high)),
        mean=float(found.values.mean()),
        spread=float(np.median(found.taus)),
        luck=sqrt(float(v.mean())),
        believed=found.believed,
        means=means,
    )


# --- which inputs decide it -------------------------------------------------------------------------------


@dataclass(frozen=True)
class InputEffect:
    """What one input does to the value of a call over the worlds.

    ``rank_correlation`` is Spearman's; ``first_order`` the first-order Sobol index of the value as told,
    ``of_spread`` the greater of it and the squared rank correlation (a straight line's index), as a share of
    the true spread; ``named``: index or rank correlation above its
    floor; ``direction`` +1 or -1 where the rank correlation is clear, else 0.
    """

    name: str
    rank_correlation: float
    first_order: float
    of_spread: float
    named: bool
    direction: int


@dataclass(frozen=True)
class Effects:
    """All inputs, strongest first; ``floor`` and ``rank_floor`` what the index and the size of the rank
    correlation of noise alone reach; ``dummy`` the dummy's own index."""

    inputs: tuple[InputEffect, ...]
    floor: float
    rank_floor: float
    dummy: float


def first_order(design: FloatArray, y: FloatArray) -> FloatArray:
    """First-order Sobol indices float64[n_inputs] from given data: design float64[n, n_inputs], y float64[n].

    Method: RBD-FAST on reordered data (Plischke 2010; Tissot & Prieur 2012, bias taken out), to the bit what
    SALib's ``rbd_fast.analyze`` gives (a test), for all inputs at once and without its resampling.
    """
    from scipy.signal import periodogram  # slow to import, and only this needs it

    n, columns = design.shape
    told = np.empty(columns)
    step = max(1, MOST_AT_ONCE // n)
    for at in range(0, columns, step):
        order = np.argsort(design[:, at : at + step].T, axis=1)
        there_and_back = np.concatenate([order[:, ::2], order[:, 1::2][:, ::-1]], axis=1)
        power = periodogram(y[there_and_back])[1][:, 1:]
        told[at : at + step] = power[:, :HARMONICS].sum(axis=1) / power.sum(axis=1)
    chance = 2.0 * HARMONICS / n
    return np.asarray(told - chance / (1.0 - chance) * (1.0 - told))


def rank_correlations(design: FloatArray, y: FloatArray) -> FloatArray:
    """Spearman's rank correlation of each column of the design with y."""
    from scipy.stats import rankdata  # as above

    ranks, own = rankdata(design, axis=0), rankdata(y)
    ranks, own = ranks - ranks.mean(axis=0), own - own.mean()
    return np.asarray(own @ ranks / np.sqrt((ranks**2).sum(axis=0) * (own @ own)), dtype=np.float64)


def effects(names: Sequence[str], design: FloatArray, found: Shrunk, seed: int = 0) -> Effects | None:
    """What each input does to the value of a call.

    Args:
        names: of the inputs.
        design: float64[worlds, n_inputs + 1], the last column the dummy.
        found: the same worlds' values.

    The floors are the greatest index and the greatest rank correlation that the dummy reaches, as drawn or
    shuffled: the index sees inputs that work both ways, the rank correlation weaker ones that work one way.
    The values used are those with the luck taken out, so that worlds with few calls weigh little. None where
    too few worlds, or nothing but luck, are there to look at.
    """
    there = np.isfinite(found.means)
    if int(there.sum()) < LEAST_WORLDS or found.believed is None or found.believed < LEAST_RELIABILITY:
        return None
    x, y = design[there], found.means[there]
    if float(np.ptp(y)) <= 0.0:
        return None
    rng = np.random.default_rng([seed, len(y), 1])
    shuffled = rng.permuted(np.repeat(x[:, -1:], RANK_SHUFFLES, axis=1), axis=0)
    indices = first_order(np.concatenate([x, shuffled[:, :SHUFFLES]], axis=1), y)
    own, dummies = indices[: len(names)], indices[len(names) :]
    ranks = rank_correlations(np.concatenate([x, shuffled], axis=1), y)
    rank = ranks[: len(names)]
    floor, rank_floor = float(dummies.max()), float(np.abs(ranks[len(names) :]).max())
    # A straight line's index is its correlation squared: the less noisy of the two puts them in order.
    strength = np.maximum(own, rank**2)
    clear = CLEAR / sqrt(len(y) - 1)
    order = sorted(range(len(names)), key=lambda i: (-strength[i], i))
    inputs = tuple(
        InputEffect(
            name=names[i],
            rank_correlation=float(rank[i]),
            first_order=float(own[i]),
            of_spread=float(np.clip(strength[i] / found.believed, 0.0, 1.0)),
            named=bool(own[i] > floor or abs(rank[i]) > rank_floor),
            direction=int(np.sign(rank[i])) if abs(rank[i]) > clear else 0,
        )
        for i in order
    )
    return Effects(inputs, floor, rank_floor, float(dummies[0]))


def spread_of(values: FloatArray) -> Interval:
    """Mean and the range of the middle 90 % of a rate over worlds."""
    if not len(values):
        return NOTHING
    tail = (1.0 - BAND) / 2.0
    low, high = np.quantile(values, [tail, 1.0 - tail])
    return Interval(float(values.mean()), float(low), float(high))
