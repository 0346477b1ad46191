"""Rules of [effort] that look at results: run until intervals are narrow, or spend a budget on the best.

Both decide in rounds, from the whole-number sums of rounds that have been played to their end and from
nothing else, point by point in fixed order. A round is kept in the store before any of it is played
(``planned``), so a run that was stopped or killed comes to the same decisions as one that was not. How many
workers play does not matter to what is decided; a round of few batches keeps only few of them busy.

- **width**: a point is played to ``least`` possessions, then its possessions are doubled, at most to
  ``most``, until the half-widths looked at are at most ``half_width``. Nothing but the width ends it: ending
  on a sign makes false findings. Source of the rule: Chow YS, Robbins H (1965) Ann Math Stat 36:457 (from
  memory).
- **best**: every point gets ``least``; what is left of ``total`` goes in rounds to where it helps most to
  tell the best point from the others (``ocba_shares``). The chance that the point found is the best one is
  stated as a lower bound (``p_correct``).

Shares and chance of rule best assume that the points' luck is independent; with common luck both are
approximate.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from engine.errors import InputError
from engine.estimate.intervals import normal_quantile
from engine.estimate.tally import IntArray
from engine.inputs.defaults import HOME
from engine.state.record import NET_HIGH, NET_LOW
from engine.study.sweep.allocation import ocba_shares, p_correct
from engine.study.sweep.design_file import Effort
from engine.study.sweep.runner import FixedEffort, Policy, State
from engine.study.sweep.sampling import Point
from engine.study.sweep.store import Store
from engine.study.sweep.stored import Stored
from engine.study.sweep.storefile import EFFORT, StoreTrouble
from engine.study.sweep.tallies import MOMENTS, Batch, BatchTally, moments

#: Rounds in which rule best spends what the first possessions of every point leave of its budget.
ROUNDS = 20

_N = MOMENTS.index("n")


# --- sums to figures ----------------------------------------------------------------------------------------


def watched(effort: Effort, settings: Sequence[str]) -> tuple[int, ...]:
    """Branches (rows of ``moments``) whose quantity decides; ``settings`` are all names, home first."""
    if effort.setting is not None:
        return (settings.index(effort.setting),)
    return tuple(range(1 if effort.quantity == "change" else 0, len(settings)))


def _sums(row: IntArray, quantity: str) -> tuple[int, int, int]:
    """Possessions, sum and sum of squares of a branch, as Python's own integers."""
    column = MOMENTS.index(quantity)
    return int(row[_N]), int(row[column]), int(row[column + 1])


def _variance(n: int, total: int, squares: int) -> float:
    """Variance of one possession, worked out in whole numbers."""
    return (n * squares - total * total) / (n * (n - 1))


def half_width(n: int, total: int, squares: int, confidence: float) -> float:
    """Half-width of the normal interval of a mean, from sums over n possessions.

    Where all n values are equal the sums know no width. A value that has not come up yet may have a share of
    up to -ln(1 - confidence) / n (the rule of three; from memory), and be as far away as net points can be.
    """
    if n < 2:
        return math.inf
    variance = _variance(n, total, squares)
    if variance > 0.0:
        return normal_quantile(confidence) * math.sqrt(variance / n)
    return (NET_HIGH - NET_LOW) * -math.log1p(-confidence) / n


def _standard_deviation(n: int, total: int, squares: int) -> float:
    """Of one possession; where all are equal, as if one of them had been off by one point."""
    return math.sqrt(_variance(n, total, squares) or 1.0 / n)


# --- the rule width -----------------------------------------------------------------------------------------


class _Rounds:
    """What both rules share: how far each point is to be played by the rounds planned so far."""

    planned = True
    needs_moments = True

    def __init__(self, effort: Effort, settings: Sequence[str], batch: int) -> None:
        self.effort, self.batch = effort, batch
        self.rows = watched(effort, settings)
        self._goals: IntArray | None = None

    def goals(self, state: State) -> IntArray:
        """Possessions of each point after the rounds planned so far, int64[n_points]."""
        if self._goals is None:
            self._goals = np.zeros(state.n_points, dtype=np.int64)
            for one in state.store.unplayed():
                self._goals[one.point] = max(self._goals[one.point], one.first + one.count)
        return self._goals

    def stretch(self, state: State, point: int, goal: int) -> list[Batch]:
        """The batches that take a point from where it is to ``goal``."""
        self.goals(state)[point] = goal
        starts = range(int(state.played[point]), goal, self.batch)
        return [Batch(point, first, min(self.batch, goal - first)) for first in starts]


class WidthEffort(_Rounds):
    """Plays every point until the intervals looked at are narrow enough (see the module)."""

    def __init__(self, effort: Effort, settings: Sequence[str], batch: int) -> None:
        super().__init__(effort, settings, batch)
        assert effort.half_width is not None  # checked with the design
        self._narrow = float(effort.half_width)
        self._seen = np.zeros(0, dtype=np.int64)  # possessions of each point at its last figures
        self._enough = np.zeros(0, dtype=bool)
        self._wanted = np.zeros(0, dtype=np.int64)

    def is_narrow(self, sums: IntArray) -> bool:
        """Whether a point with sums int64[1 + settings, len(MOMENTS)] needs no more possessions."""
        return self._figures(sums)[0]

    def _figures(self, sums: IntArray) -> tuple[bool, int]:
        """Whether a point has enough, and the possessions it will need as far as one can see."""
        effort = self.effort
        n = int(sums[0, _N])
        widest = max(half_width(*_sums(sums[row], effort.quantity), effort.confidence) for row in self.rows)
        enough = n >= effort.least and (widest <= self._narrow or n >= effort.most)
        if enough or math.isinf(widest):
            return enough, max(n, effort.least)
        needed = n * (widest / self._narrow) ** 2
        wanted = effort.least
        while wanted < min(needed, effort.most):
            wanted *= 2
        return enough, min(wanted, effort.most)

    def _look(self, state: State) -> None:
        """Bring the figures of points with new possessions up to date."""
        assert state.moments is not None
        if len(self._seen) != state.n_points:
            self._seen = np.full(state.n_points, -1, dtype=np.int64)
            self._enough = np.zeros(state.n_points, dtype=bool)
            self._wanted = np.zeros(state.n_points, dtype=np.int64)
        for point in np.flatnonzero(self._seen != state.played):
            self._enough[point], self._wanted[point] = self._figures(state.moments[point])
            self._seen[point] = state.played[point]

    def next_batches(self, state: State) -> list[Batch]:
        self._look(state)
        found: list[Batch] = []
        for point in np.flatnonzero(state.mine & ~self._enough):
            if int(point) in state.failed:
                continue
            goal = self.effort.least
            while goal <= state.played[point]:
                goal *= 2
            # where `most` was lowered below what is there, the point had enough
            found += self.stretch(state, int(point), min(goal, self.effort.most))
        return found

    def settled(self, state: State) -> int:
        self._look(state)
        return int((state.mine & self._enough & (state.played >= self.goals(state))).sum())

    def share(self, state: State) -> float:
        self._look(state)
        share = np.minimum(state.played / np.maximum(self._wanted, 1), 1.0)
        return float(share[state.mine].mean())


# --- the rule best ------------------------------------------------------------------------------------------


class BestEffort(_Rounds):
    """Spends a budget where it helps to pick the best point (see the module).

    A point that fails is left out; what it was to get goes to the others.
    """

    def __init__(self, effort: Effort, settings: Sequence[str], batch: int) -> None:
        super().__init__(effort, settings, batch)
        assert effort.total is not None  # checked with the design
        self.total = int(effort.total)

    def next_batches(self, state: State) -> list[Batch]:
        live = [point for point in range(state.n_points) if point not in state.failed]
        first = [point for point in live if state.played[point] < self.effort.least]
        if first:
            return [batch for point in first for batch in self.stretch(state, point, self.effort.least)]
        left = self.total - int(state.played.sum())
        if left <= 0 or not live:
            return []
        after_first = self.total - self.effort.least * state.n_points
        spend = min(left, max(self.batch, -(-after_first // ROUNDS)))
        found: list[Batch] = []
        for point, count in zip(live, self._divided(state, live, spend), strict=True):
            if count:
                found += self.stretch(state, point, int(state.played[point]) + count)
        return found

    def _divided(self, state: State, live: Sequence[int], spend: int) -> list[int]:
        """``spend`` possessions to the points that are furthest below their share, a batch at a time."""
        assert state.moments is not None
        have = np.array([int(state.played[point]) for point in live], dtype=np.int64)
        added = np.zeros(len(live), dtype=np.int64)
        if len(live) == 1:
            shares = np.ones(1)
        else:
            sums = [_sums(state.moments[point, self.rows[0]], self.effort.quantity) for point in live]
            means = [total / n for n, total, _ in sums]
            shares = ocba_shares(means, [_standard_deviation(*one) for one in sums], self.effort.goal)
        wanted = shares * (int(have.sum()) + spend)
        while spend > 0:
            room = self.effort.most - have - added
            lacking = np.where(room > 0, wanted - have - added, -math.inf)
            point = int(np.argmax(lacking))
            if room[point] <= 0:
                break
            count = min(self.batch, spend, int(room[point]))
            added[point] += count
            spend -= count
        return [int(count) for count in added]

    def is_done(self, state: State) -> bool:
        """Whether the budget is spent (or no point can take more of it)."""
        live = np.array([point not in state.failed for point in range(state.n_points)])
        played = state.played[live]
        if (played < np.maximum(self.goals(state)[live], self.effort.least)).any():
            return False
        return int(state.played.sum()) >= self.total or bool((played >= self.effort.most).all())

    def settled(self, state: State) -> int:
        return state.n_points - len(state.failed) if self.is_done(state) else 0

    def share(self, state: State) -> float:
        return min(1.0, float(state.played.sum()) / self.total)


# --- from a design or a store -------------------------------------------------------------------------------


def policy_for(effort: Effort, settings: Sequence[str], batch: int) -> Policy:
    """The policy of a rule of [effort]; ``settings`` are all names, home first."""
    if effort.rule == "width":
        return WidthEffort(effort, settings, batch)
    if effort.rule == "best":
        return BestEffort(effort, settings, batch)
    return FixedEffort()


def effort_of_store(store: Stored) -> Effort:
    """The rule a store was last run with."""
    text = store.meta.get(EFFORT)
    return Effort() if text is None else Effort.model_validate(json.loads(text))


def keep_rule(store: Store, effort: Effort) -> None:
    """Write into a store which rule it is run with from now on.

    The numbers of a rule may change from run to run (a narrower width, a greater budget), and a finished
    sweep of fixed effort may go on under another rule.

    Raises:
        InputError: batches of one rule that another one would cut differently.
    """
    before = effort_of_store(store)
    if effort.rule == "fixed":
        if before.rule != "fixed" and store.n_batches():
            text = (
                f"its possessions were divided by effort.rule {before.rule}; rule fixed needs another store"
            )
            raise StoreTrouble(store.path, text)
    elif before.rule == "fixed" and not _without_gaps(store):
        text = f"its sweep of fixed effort is not finished; finish it before effort.rule is {effort.rule}"
        raise StoreTrouble(store.path, text)
    if effort != before:
        store.remember(EFFORT, json.dumps(effort.model_dump(mode="json"), sort_keys=True))


def _without_gaps(store: Stored) -> bool:
    """Whether the batches of every point follow each other from 0 on."""
    for point in np.flatnonzero(store.played()):
        at = 0
        for first, count in store.kept(int(point)).items():
            if first != at:
                return False
            at += count
    return True


def settled_test(store: Stored) -> Callable[[int, int, BatchTally | None], bool]:
    """Whether a point with its possessions and BatchTally (None: none) needs no more, under the store's rule.

    The tally is looked at only by rule width.
    """
    effort = effort_of_store(store)
    if effort.rule == "fixed":
        target = store.target
        return lambda point, played, tally: played >= target
    waiting = {one.point for one in store.unplayed()}
    policy = policy_for(effort, store.settings, int(store.meta["batch"]))
    if isinstance(policy, WidthEffort):
        narrow = policy.is_narrow
        return lambda point, played, tally: (
            point not in waiting and tally is not None and narrow(moments(tally))
        )
    assert isinstance(policy, BestEffort)
    state = State(store, needs_moments=False)
    state.failed = store.failures()
    done = policy.is_done(state)
    return lambda point, played, tally: done and point not in state.failed


def settled_of(store: Stored) -> int:
    """Points of a store that need no more possessions under its rule. Reads the tallies for rule width."""
    test = settled_test(store)
    if effort_of_store(store).rule == "width":
        return sum(test(point, tally.n, tally) for point, tally in store.tallies())
    return sum(test(point, int(played), None) for point, played in enumerate(store.played()))


# --- what was found -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Best:
    """The point that rule best found.

    Attributes:
        point: its number, from 0. ``values``: its values by path.
        mean, half_width: of the quantity, points per possession, at the rule's confidence.
        next_point, next_mean: the next best one.
        p_correct: the chance that the point is the best is at least this (function ``p_correct``).
        points: points compared, each with ``least`` possessions at least. ``left_out``: the others.
        approximate: whether the points share their luck, which the chance does not know.
    """

    point: int
    values: Point
    mean: float
    half_width: float
    next_point: int
    next_mean: float
    p_correct: float
    points: int
    left_out: int
    approximate: bool


def best_of(store: Stored, effort: Effort | None = None) -> Best | None:
    """What rule best has found so far; None where fewer than two points have their least possessions.

    ``effort`` None takes the store's own. Raises InputError where that is another rule, or for a damaged
    store.
    """
    effort = effort_of_store(store) if effort is None else effort
    if effort.rule != "best":
        raise InputError(store.path, "effort.rule", effort.rule, "best")
    (row,) = watched(effort, store.settings)
    sums: dict[int, tuple[int, int, int]] = {}
    for point, tally in store.tallies():
        if tally.n >= effort.least:
            sums[point] = _sums(moments(tally)[row], effort.quantity)
    if len(sums) < 2:
        return None
    numbers = list(sums)
    means = [total / n for n, total, _ in sums.values()]
    sign = -1.0 if effort.goal == "most" else 1.0
    order = sorted(range(len(means)), key=lambda i: (sign * means[i], i))
    best, second = order[0], order[1]
    return Best(
        point=numbers[best],
        values=next(values for point, values in store.points() if point == numbers[best]),
        mean=means[best],
        half_width=half_width(*sums[numbers[best]], effort.confidence),
        next_point=numbers[second],
        next_mean=means[second],
        p_correct=p_correct(
            means,
            [_standard_deviation(*one) for one in sums.values()],
            [n for n, _, _ in sums.values()],
            effort.goal,
        ),
        points=len(sums),
        left_out=store.n_points - len(sums),
        approximate=store.meta["luck"] == "common",
    )


def what_is_of(effort: Effort) -> str:
    """The quantity a rule looks at, in words."""
    words = {"change": "change", "points": "points per possession", "net": "net points per possession"}
    of = "home" if effort.setting == HOME else effort.setting
    return f"{words[effort.quantity]} of {of or 'every setting'}"
