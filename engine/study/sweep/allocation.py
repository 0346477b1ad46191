"""How a budget is best divided to pick the best of several points, and how sure the pick is."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from engine.estimate.intervals import FloatArray


def ocba_shares(means: Sequence[float], sds: Sequence[float], goal: str = "most") -> FloatArray:
    """Shares of a budget of possessions that best tell the best of several points from the others.

    Parameters
    ----------
    means : mean of each point, at least two
    sds : standard deviation of one possession of each, 0 or more
    goal : ``most`` where the greatest mean is best, ``least`` where the least is

    Returns
    -------
    float64[len(means)], sum 1. With d_i the distance of point i from the best one, b:
    N_i / N_j = (sd_i / d_i)^2 / (sd_j / d_j)^2 and N_b = sd_b sqrt(sum (N_i / sd_i)^2) over i other than b.
    Points exactly as good as b take, with b, everything (the limit of d to 0); of several best the first is
    b. Without any spread all shares are equal.

    Source: optimal computing budget allocation, Chen C-H, Lin J, Yucesan E, Chick SE (2000) Discrete Event
    Dynamic Systems 10:251 (formula from memory; worked example computed).

    Raises
    ------
    ValueError
        fewer than two points, or lengths that differ.
    """
    mean, sd = np.asarray(means, dtype=np.float64), np.asarray(sds, dtype=np.float64)
    if len(mean) < 2 or mean.shape != sd.shape:
        raise ValueError(f"at least two means and as many sds, got {len(mean)} and {len(sd)}")
    best = _best_of(mean, goal)
    gap = np.abs(mean - mean[best])
    others = np.arange(len(mean)) != best
    tied = others & (gap == 0.0) & (sd > 0.0)
    weight = np.zeros(len(mean))
    if tied.any():
        weight[tied] = sd[tied] ** 2
    else:
        apart = others & (gap > 0.0)
        # in units of the nearest one, so that no square is beyond what a number can hold
        nearest = gap[apart].min(initial=math.inf)
        weight[apart] = (sd[apart] * (nearest / gap[apart])) ** 2
    with_spread = others & (sd > 0.0)
    weight[best] = sd[best] * math.sqrt(math.fsum((weight[with_spread] / sd[with_spread]) ** 2))
    whole = math.fsum(weight)
    return weight / whole if whole > 0.0 else np.full(len(mean), 1.0 / len(mean))


def _best_of(mean: FloatArray, goal: str) -> int:
    return int(np.argmax(mean) if goal == "most" else np.argmin(mean))


def p_correct(
    means: Sequence[float], sds: Sequence[float], counts: Sequence[int], goal: str = "most"
) -> float:
    """The least chance that the point with the best mean is the best: 1 minus the sum over the others of the
    chance that they are better (Bonferroni), never below 0.

    Each chance is the normal one of the difference of two independent means, with standard deviations sds of
    one possession and ``counts`` possessions: what is believed of the true means after the sample, if nothing
    was known before. Where the means are nearly equal it is too high to be read as a share of correct picks
    (the point found was picked because it came out best), but little is lost by such a mistake.

    Source: approximate probability of correct selection, Chen et al. (2000), see ``ocba_shares`` (from
    memory).
    """
    mean, sd = np.asarray(means, dtype=np.float64), np.asarray(sds, dtype=np.float64)
    best = _best_of(mean, goal)
    squares = sd**2 / np.asarray(counts, dtype=np.float64)
    wrong = []
    for i in range(len(mean)):
        if i == best:
            continue
        gap, error = abs(float(mean[i] - mean[best])), math.sqrt(squares[i] + squares[best])
        z = gap / error if error > 0.0 else (math.inf if gap > 0.0 else 0.0)
        wrong.append(0.5 * math.erfc(z / math.sqrt(2.0)))
    return max(0.0, 1.0 - math.fsum(wrong))
