"""Selects the best of many systems that are observed together, dropping the losers early.

Procedure KN, fully sequential, with c = 1: Kim S-H, Nelson BL (2001), A fully sequential procedure for
indifference-zone selection in simulation, ACM TOMACS 11(3):251-273 (from memory). With k systems, normal
observations, n0 of each to begin with, error alpha = 1 - confidence and indifference zone delta:

    eta = ((2 alpha / (k - 1)) ^ (-2 / (n0 - 1)) - 1) / 2,     h2 = 2 eta (n0 - 1)
    S2_il = sample variance of the n0 differences X_i - X_l
    W_il(r) = max(0, delta / (2 r) (h2 S2_il / delta^2 - r))
    after r observations of each, i stays where mean_i(r) >= mean_l(r) - W_il(r) for every l that is left

It stops when one is left, or at r = 1 + max floor(h2 S2_il / delta^2) with the largest mean. The systems may
share their luck: S2_il is the variance of the difference, and the division of alpha over the k - 1 rivals
needs no independence. Where the best is ahead of all others by delta or more it is selected with at least
that confidence (proved for normal observations; batch means are nearly so). Where others are within delta of
it, the selected one is taken to be one of them ("good selection"), which tests/test_selection.py measures.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.estimate.intervals import FloatArray, student_quantile

Ints = NDArray[np.int64]
#: Observations of the systems given, from number ``start`` on: draw(systems, start, count) -> [n, count].
Draw = Callable[[Ints, int, int], FloatArray]
#: Called as told(used, most, left) after each round.
Told = Callable[[int, int, int], None]


@dataclass(frozen=True)
class Selection:
    """What was selected; larger is better.

    ``best``: its index. ``left``: systems that were not dropped, ``best`` among them. ``observed``: int [k],
    observations of each. ``dropped_at``: that number for those that were dropped, else None. ``used``: all
    observations together. ``mean``: float [k]. ``error``: standard error of each mean. ``decided``: whether
    the procedure came to its end before the most observations allowed. ``within``: the chosen one is at most
    this much worse than the best (None: one system).
    """

    best: int
    left: tuple[int, ...]
    observed: Ints
    dropped_at: tuple[int | None, ...]
    used: int
    mean: FloatArray
    error: FloatArray
    decided: bool
    within: float | None


def procedure_constant(k: int, first: int, confidence: float) -> float:
    """h2 of the procedure for ``k`` systems (>= 2), ``first`` observations (>= 2), confidence in (1/k, 1)."""
    alpha = 1.0 - confidence
    eta = 0.5 * ((2.0 * alpha / (k - 1)) ** (-2.0 / (first - 1)) - 1.0)
    return 2.0 * eta * (first - 1)


def difference_variances(x: FloatArray) -> FloatArray:
    """Sample variances [k, k] of the differences between rows of x [k, n], over the n columns."""
    c = np.cov(x, ddof=1)
    own = np.diag(c)
    found: FloatArray = np.maximum(own[:, None] + own[None, :] - 2.0 * c, 0.0)
    return found


def _check(k: int, delta: float, confidence: float, first: int) -> None:
    if k < 1 or first < 2 or not delta > 0.0 or not (1.0 / max(k, 2)) < confidence < 1.0:
        raise ValueError(
            "needs a system, two first observations, delta above 0 and a confidence above 1/k and below 1; "
            f"got {k}, {first}, {delta}, {confidence}"
        )


def select(
    draw: Draw,
    k: int,
    delta: float,
    confidence: float,
    first: int,
    most: int,
    told: Told | None = None,
) -> Selection:
    """Select the system with the largest mean of ``k``, see the module.

    ``draw``: see Draw; observation n of every system may share its luck. ``most``: observations allowed, of
    all systems together; the first round of ``first`` each is made in any case. Raises ValueError for k < 1,
    first < 2, delta <= 0 or a confidence outside (1/k, 1).
    """
    _check(k, delta, confidence, first)
    every = np.arange(k, dtype=np.int64)
    x = draw(every, 0, first)
    used = k * first
    if told is not None:
        told(used, max(most, used), k)
    sums, squares = x.sum(axis=1), (x * x).sum(axis=1)
    observed = np.full(k, first, np.int64)
    if k == 1:
        return Selection(
            0, (0,), observed, (None,), used, sums / first, _errors(sums, squares, observed), True, None
        )
    bound = procedure_constant(k, first, confidence) * difference_variances(x) / delta**2
    history = [x]
    alive, r, decided = every, first, False
    while True:
        limits = np.floor(bound[np.ix_(alive, alive)])
        if r > limits.max():
            decided = True
            break
        mean = sums[alive] / r
        reach = np.maximum(0.0, delta / (2.0 * r) * (bound[np.ix_(alive, alive)] - r))
        np.fill_diagonal(reach, 0.0)
        stay = (mean[:, None] >= mean[None, :] - reach).all(axis=1)
        if not stay.all():
            history = [part[stay] for part in history]
            alive = alive[stay]
        if len(alive) == 1:
            decided = True
            break
        if used + len(alive) > most:
            break
        x = draw(alive, r, 1)
        history.append(x)
        sums[alive] += x[:, 0]
        squares[alive] += x[:, 0] ** 2
        observed[alive] += 1
        used += len(alive)
        r += 1
        if told is not None:
            told(used, max(most, used), len(alive))
    best = int(alive[np.argmax(sums[alive])])
    within = (
        delta if decided else _at_most(np.concatenate(history, axis=1), alive, best, k, confidence, delta)
    )
    left = tuple(int(i) for i in alive)
    return Selection(
        best=best,
        left=left,
        observed=observed,
        dropped_at=tuple(None if i in left else int(observed[i]) for i in range(k)),
        used=used,
        mean=sums / observed,
        error=_errors(sums, squares, observed),
        decided=decided,
        within=within,
    )


def _errors(sums: FloatArray, squares: FloatArray, n: Ints) -> FloatArray:
    """Standard errors of means from sums and sums of squares."""
    found: FloatArray = np.sqrt(np.maximum(squares - sums**2 / n, 0.0) / (n * np.maximum(n - 1, 1)))
    return found


def _at_most(x: FloatArray, alive: Ints, best: int, k: int, confidence: float, delta: float) -> float:
    """Upper limit of how far the chosen one is behind the best, where the procedure was cut short.

    The largest upper limit of the differences to the others left (rows of x [len(alive), n]), by Student's t
    with alpha split over the k - 1 rivals (Bonferroni); at least delta, which the dropped ones were dropped
    by. Approximate: the moment of the cut depends a little on what was seen.
    """
    n = x.shape[1]
    difference = x - x[int(np.flatnonzero(alive == best)[0])]
    two_sided = 1.0 - 2.0 * (1.0 - confidence) / (k - 1)
    t = student_quantile(two_sided, n - 1) if two_sided > 0.0 else 0.0
    upper = difference.mean(axis=1) + t * difference.std(axis=1, ddof=1) / math.sqrt(n)
    return float(max(delta, upper.max()))
