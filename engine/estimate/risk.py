"""What n calls can bring at worst, with intervals: chance to come out behind, mean of the worst 5 %.

Everything follows from the two marginal distributions of net points over the called possessions, at home and
under the setting, n-fold convolved. The bias comes from a bootstrap of the called possessions, home and
setting of one possession drawn together, the intervals from leaving out one possession at a time.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from engine.estimate.intervals import (
    LEAST_EVENTS,
    LEVEL,
    NOTHING,
    FloatArray,
    IntArray,
    Interval,
    cvars,
    normal_quantile,
    score_limits,
    skewed_interval,
    student_quantile,
    sum_distribution,
    sum_distributions,
)
from engine.estimate.tally import N_NET, net_values
from engine.state.record import NET_LOW

#: Share of all sums of n calls that counts as the worst.
WORST_SHARE = 0.05
#: Resamples behind a bias, and the seed of their draws: the same tallies give the same intervals.
RESAMPLES, SEED = 200, 0xB007
#: Numbers of one piece of the resampled distributions, so that many calls need no more memory.
MOST_AT_ONCE = 2_000_000
#: The figures of ``OverN``, in order, and those that move smoothly with what is drawn: they have limits.
FIGURES = ("p_worse", "p_above_home_mean", "worst_5_percent", "worst_5_percent_home")
LIMITED = ("p_worse", "worst_5_percent", "worst_5_percent_home")


@dataclass(frozen=True)
class Limits:
    """Interval of a figure about the figure less its bias, and that bias; None where it rests on too few
    possessions."""

    interval: Interval = NOTHING
    bias: float | None = None

    def as_dict(self) -> dict[str, float | None]:
        """For the JSON contract: mean (the figure less its bias), low, high, bias."""
        return self.interval.as_dict() | {"bias": self.bias}


@dataclass(frozen=True)
class OverN:
    """Risk of n calls with independent luck, against n mu0 (mu0: mean at home in the same possessions).

    ``limits``: one for each of ``LIMITED``, by name.
    """

    n: int
    p_worse: float | None
    p_above_home_mean: float | None
    worst_5_percent: float | None
    worst_5_percent_home: float | None
    limits: dict[str, Limits]


def over_n(pairs: IntArray, n: int, level: float = LEVEL) -> OverN:
    """Risk over n calls from net points of called possessions, int64[N_NET, N_NET] on (home, setting).

    p_worse: chance that n possessions under the call concede more than n others at home, independent luck,
    ties half. p_above_home_mean: the same against the fixed n mu0; points are whole, so it jumps when n mu0
    passes a whole number, and two calls of the same worth can differ by several percent. Worst 5%: mean of
    the worst 5% of such sums, minus n mu0, under the call and at home. Only marginals are used: how outcomes
    pair up depends on how luck is shared, not on the game.

    Limits: the figure less its bias (bootstrap) and the jackknife's standard error (Efron B, Tibshirani RJ
    (1993) An Introduction to the Bootstrap, chapters 10 and 11), times Student's quantile with the degrees of
    freedom of that error, 2 called / (kurtosis of the jackknife's values - 1), at most called - 1
    (Satterthwaite FE (1946) Biometrics Bulletin 2:110): few possessions weigh much. Home's worst 5%, a
    spread, which rests on the few that concede much, has limits by the skew of these values
    (``intervals.skewed_interval``); p_worse has Wilson's, on the trials of which a share would have that
    error. Sources from memory. None where fewer than ``LEAST_EVENTS`` called possessions differ from home; of
    home's worst 5% none where fewer than that are the worst 5% of the called ones: with less, the sample
    mostly lacks what is rare and dear, and no resampling of it can know that.

    Raises:
        ValueError: n below 1.
    """
    if n < 1:
        raise ValueError(f"n must be 1 or more, got {n}")
    called = int(pairs.sum())
    if called == 0:
        return OverN(n, None, None, None, None, dict.fromkeys(LIMITED, Limits()))
    home, setting = pairs.sum(axis=1) / called, pairs.sum(axis=0) / called
    law = [sum_distribution(one, n)[None, :] for one in (home, setting)]
    total = int(pairs.sum(axis=1) @ net_values())
    sums = np.arange(law[0].shape[1]) + n * NET_LOW
    above = np.sign(sums * called - n * total)  # exact: whole numbers
    figures = _figures(sums, law[0], law[1], above[None, :], np.array([n * total / called]))[0]
    found = dict(zip(FIGURES, figures, strict=True))
    return OverN(n=n, limits=_limits(pairs, n, found, level), **{name: float(x) for name, x in found.items()})


def _figures(
    sums: IntArray, home: FloatArray, setting: FloatArray, above: IntArray, expected: FloatArray
) -> FloatArray:
    """``FIGURES`` float64[draws, 4] from the distributions of n-call ``sums`` float64[draws, sums]; ``above``
    [draws, sums] is the sign of a sum less n mu0, ``expected`` [draws] is n mu0."""
    below = np.zeros_like(home)  # chance that home's sum is smaller
    below[:, 1:] = np.cumsum(home, axis=1)[:, :-1]
    worse = (setting * (below + 0.5 * home)).sum(axis=1)
    over = (setting * (0.5 * (above + 1))).sum(axis=1)
    tails = [cvars(sums, law, 1.0 - WORST_SHARE) - expected for law in (setting, home)]
    return np.stack([worse, over, *tails], axis=1)


def _limits(pairs: IntArray, n: int, found: dict[str, float], level: float) -> dict[str, Limits]:
    called = int(pairs.sum())
    if called - int(np.trace(pairs)) < LEAST_EVENTS:
        return dict.fromkeys(LIMITED, Limits())
    rng = np.random.default_rng(SEED)
    there = np.flatnonzero(pairs.ravel())
    share = pairs.ravel()[there] / called
    again = np.zeros((RESAMPLES + len(there), N_NET * N_NET))
    again[:RESAMPLES, there] = rng.multinomial(called, share, size=RESAMPLES)
    again[RESAMPLES:, there] = pairs.ravel()[there] - np.eye(len(there))  # one possession of each kind less
    cube = again.reshape(-1, N_NET, N_NET)
    used = np.flatnonzero(pairs.sum(axis=0) + pairs.sum(axis=1))
    seen = slice(used[0], used[-1] + 1)  # what nobody conceded would only make the sums longer
    home, setting, values = cube.sum(axis=2)[:, seen], cube.sum(axis=1)[:, seen], net_values()[seen]
    step = max(1, MOST_AT_ONCE // (n * len(values)))
    parts = [slice(i, i + step) for i in range(0, len(cube), step)]
    drawn = np.concatenate([_resampled(values, home[part], setting[part], n) for part in parts])
    limits = {}
    for name in LIMITED:
        figure = drawn[:, FIGURES.index(name)]
        bias = float(figure[:RESAMPLES].mean()) - found[name]
        error, skew, degrees = _error(figure[RESAMPLES:], share, called)
        mean, half = found[name] - bias, student_quantile(level, degrees) * error
        low, high = mean - half, mean + half
        if name == "worst_5_percent_home":
            if called * WORST_SHARE < LEAST_EVENTS:
                limits[name] = Limits()
                continue
            by_skew = skewed_interval(mean, error, skew, degrees + 1.0, level)
            assert by_skew.low is not None and by_skew.high is not None
            low, high = by_skew.low, by_skew.high
        if name == "p_worse":
            mean, low, high = (min(max(x, 0.0), 1.0) for x in (mean, low, high))
            if half > 1e-9:  # below, the rounding of the Fourier transform would count
                trials = found[name] * (1.0 - found[name]) * (normal_quantile(level) / half) ** 2
                low, high = score_limits(mean, max(trials, 1.0), level)
        limits[name] = Limits(Interval(mean, low, high), bias)
    return limits


def _error(without: FloatArray, share: FloatArray, called: int) -> tuple[float, float, float]:
    """Standard error, skew (``intervals.skewed_interval``) and degrees of freedom of a figure ``without`` one
    possession of each kind, float64[kinds]; ``share`` of each kind among the called ones."""
    weights = (called - 1) * (share @ without - without)
    variance = float(share @ weights**2)
    if variance == 0.0:
        return 0.0, 0.0, called - 1.0
    skew = float(share @ weights**3) / (variance**1.5 * sqrt(called))
    kurtosis = float(share @ weights**4) / variance**2
    degrees = min(2 * called / max(kurtosis - 1.0, 1e-9), called - 1.0)
    return sqrt(variance / (called - 1)), skew, degrees


def _resampled(values: IntArray, home: FloatArray, setting: FloatArray, n: int) -> FloatArray:
    """``FIGURES`` of resampled counts float64[draws, K] of net points ``values`` [K], home and setting."""
    called = home.sum(axis=1)
    totals = home @ values
    laws = [sum_distributions(one / called[:, None], n) for one in (home, setting)]
    sums = np.arange(laws[0].shape[1]) + n * values[0]
    above = np.sign(sums[None, :] * called[:, None] - n * totals[:, None])
    return _figures(sums, laws[0], laws[1], above, n * totals / called)
