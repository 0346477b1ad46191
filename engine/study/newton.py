"""Damped Gauss-Newton for rates that are played: slopes once, knobs that stop at the ends of their ranges.

Used by ``benchmarks/fit_levels.py`` for the levels and by ``engine.study.sheet.fit`` for an evening's
opponent.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from engine.estimate.intervals import FloatArray

#: Largest move of a knob in one round, in its steps.
MOST_STEPS = 4.0
#: A slope is believed when it is this many standard errors from nothing.
SURE = 3.0


@dataclass
class Range:
    """Float64[knob]: step of each knob, whose effect gives its slopes, and its least and greatest value."""

    step: FloatArray
    low: FloatArray
    high: FloatArray


def slopes(
    play: Callable[[FloatArray], FloatArray],
    knobs: FloatArray,
    found: FloatArray,
    within: Range,
) -> FloatArray:
    """Change of every rate (rows) per unit of every knob (columns): each knob moved alone by its step.

    ``play`` and ``found`` as of ``solve``. What is no more than SURE standard errors of a difference is
    taken as no effect: a fit that follows noise runs away. A knob without a sure effect on its own rate
    cannot be fitted and stays where it is.
    """
    columns = []
    for i, step in enumerate(within.step):
        moved = knobs.copy()
        moved[i] += step if knobs[i] + step <= within.high[i] else -step
        change = play(moved)[:, 0] - found[:, 0]
        change[np.abs(change) < SURE * np.sqrt(2.0) * found[:, 1]] = 0.0
        columns.append(change / (moved[i] - knobs[i]))
    return np.array(columns).T


def newton(matrix: FloatArray, missing: FloatArray, knobs: FloatArray, within: Range) -> FloatArray:
    """The move that should bring the missing rates; knobs that would leave their bounds stop there.

    ``matrix``: change of each rate (rows) per unit of each knob (columns), one knob for one rate in the same
    order. A stopped knob's own rate is given up, so that the others need not pay for it; one without an
    effect on its own rate stays.
    """
    move = np.zeros(len(knobs))
    free = np.diag(matrix) != 0.0
    most = MOST_STEPS * within.step
    while free.any():
        rest = missing - matrix[:, ~free] @ move[~free]
        move[free] = np.linalg.lstsq(matrix[np.ix_(free, free)], rest[free], rcond=None)[0]
        move = np.clip(move, -most, most)
        inside = np.clip(knobs + move, within.low, within.high) - knobs
        stopped = free & (np.abs(inside - move) > 1e-12)
        move[stopped] = inside[stopped]
        if not stopped.any():
            break
        free &= ~stopped
    return move


def solve(
    play: Callable[[FloatArray], FloatArray],
    knobs: FloatArray,
    found: FloatArray,
    goal: FloatArray,
    matrix: FloatArray,
    within: Range,
    rounds: int,
    tell: Callable[[int, bool, FloatArray], None] | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Knobs that bring the rates nearest to their goals, and their rates: at most ``rounds`` rounds.

    ``play(knobs)``, and ``found`` for the knobs to begin with: float64[rate, 2], the rates and their standard
    errors. A round that makes it worse is taken back and halved; all within one standard error is enough.
    ``tell(round, better, found)`` after each, from 1.
    """
    damping = 1.0
    for i in range(rounds):
        move = damping * newton(matrix, goal - found[:, 0], knobs, within)
        tried = np.clip(knobs + move, within.low, within.high)
        now = play(tried)
        # at an end of its range with its rate still short of the goal: a leap there may have gone too far
        short = (goal - now[:, 0]) * np.diag(matrix)
        held = (
            ((tried <= within.low) & (short <= 0.0))
            | ((tried >= within.high) & (short >= 0.0))
            | (short == 0.0)
        )
        was, off = ((goal - one[:, 0]) / found[:, 1] for one in (found, now))
        better = bool(held.all() or np.sum(off[~held] ** 2) < np.sum(was[~held] ** 2))
        if tell is not None:
            tell(i + 1, better, now)
        if better:
            knobs, found, damping = tried, now, min(1.0, 2 * damping)
            if np.all(held | (np.abs(off) < 1.0)):
                break
        else:
            damping /= 2
    return knobs, found
