"""Whole games: the same possessions twice, staying home and with the planned mix of calls.

A game is a fixed number of possessions a side; team fouls start anew in every period. Possession k of game g
has the number 1000 g + k in both branches (common luck). A call is on from the possession at which its next
use is due, (j - 1) K / b for use j of b, until it was made; a possession has one trap at most. Where the two
branches are in the same state and no trap is made, they are the same possession bit for bit.

Per game, in whole net points: home - planned = sum over traps of (no trap - trap, in the planned game's own
state) + sum over all possessions of (home - no trap in the planned game's state). The first sum is what the
uses save, the second what they carry over: team fouls, and tired legs. Traps seen make later traps read
sooner; what they change in possessions without one is left out (engine.study.plan.states).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np

from engine.estimate.intervals import FloatArray, IntArray
from engine.estimate.tally import LOST_IN_TRAP
from engine.inputs.scenario import Scenario
from engine.run.blocks import Progress, Records, Runner, in_order
from engine.run.numbers import NUMBERS
from engine.run.worlds import net_of
from engine.state.record import COLUMN
from engine.state.words import OUTCOMES
from engine.study.plan.states import MOST_TIRED, TIRED_STEP, PlanWorlds, shadow_bits

#: Room for the possessions of a game in the possession's number.
NUMBERS_PER_GAME = NUMBERS["plan games"].each
#: Games of a part; the result does not depend on it.
GAMES_IN_PART = 100
_OTHER = OUTCOMES.index("other")


@dataclass(frozen=True)
class Fatigue:
    """How traps tire: ``loss_per_m`` share of top speed per metre of hard running, ``kept`` the share of the
    metres that is left after one cycle of possessions, ``m_per_step`` metres a defender runs in one counted
    step of all ten."""

    loss_per_m: float = 0.0
    kept: float = 0.0
    m_per_step: float = 0.0

    def level(self, load_m: FloatArray) -> IntArray:
        """Metres in the legs as levels of tiredness, int64."""
        lost = np.rint(self.loss_per_m * load_m / TIRED_STEP)
        return np.minimum(lost, MOST_TIRED).astype(np.int64)


@dataclass(frozen=True)
class GamePlan:
    """What is played: periods of so many possessions, uses per call, time-outs of the offence, fatigue."""

    periods: int
    per_period: int
    uses: tuple[int, ...]
    time_outs: int
    fatigue: Fatigue = Fatigue()

    @property
    def possessions(self) -> int:
        """Possessions of a game, a side."""
        return self.periods * self.per_period


@dataclass(frozen=True, eq=False)
class Games:
    """What happened, one row per game (int64), and sums by call and use.

    Attributes:
        home, planned: int64[games], net points conceded.
        home_points, planned_points: int64[games], points conceded.
        home_fouls, planned_fouls: int64[games], fouls of the defence.
        made, saved: int64[games, n_calls], traps made, and net points that they saved.
        carried: int64[games], net points home - no trap in the planned game's state: what traps carry over.
        in_bonus: int64[games], possessions of the home game that start in the bonus.
        last_in_bonus: int64[games], 1 where the home game's last possession starts in the bonus.
        time_outs: int64[games], time-outs called out of traps.
        tired: int64[games], sum over possessions of the planned game of the level of tiredness.
        use_n, use_sum, use_square, use_lost: int64[n_calls, most uses], traps that were use 1, 2, ... of
            their call in the game, net points they saved, their squares, those that won the ball in the trap.
    """

    home: IntArray
    planned: IntArray
    home_points: IntArray
    planned_points: IntArray
    home_fouls: IntArray
    planned_fouls: IntArray
    made: IntArray
    saved: IntArray
    carried: IntArray
    in_bonus: IntArray
    last_in_bonus: IntArray
    time_outs: IntArray
    tired: IntArray
    use_n: IntArray
    use_sum: IntArray
    use_square: IntArray
    use_lost: IntArray

    @property
    def swing(self) -> IntArray:
        """Net points that the plan saves, per game."""
        return self.home - self.planned


def _join(parts: list[Games]) -> Games:
    found = {}
    for field in fields(Games):
        values = [getattr(part, field.name) for part in parts]
        whole = field.name.startswith("use_")  # sums over games; the others have a row per game
        found[field.name] = sum(values[1:], values[0]) if whole else np.concatenate(values)
    return Games(**found)


class _Course:
    """One part's games as they go."""

    def __init__(self, plan: GamePlan, n: int) -> None:
        n_calls, most = len(plan.uses), max((1, *plan.uses))
        self.fouls = np.zeros(n, np.int64)  # of the period: home
        self.planned_fouls = np.zeros(n, np.int64)
        self.left = np.full(n, plan.time_outs, np.int64)
        self.load_m = np.zeros(n)
        of_calls = ("made", "saved", "use_n", "use_sum", "use_square", "use_lost")
        rows = [field.name for field in fields(Games) if field.name not in of_calls]
        self.sums: dict[str, IntArray] = {name: np.zeros(n, np.int64) for name in rows}
        for name in of_calls[:2]:
            self.sums[name] = np.zeros((n, n_calls), np.int64)
        for name in of_calls[2:]:
            self.sums[name] = np.zeros((n_calls, most), np.int64)

    def add(self, name: str, records: Records, column: str) -> None:
        self.sums[name] += records[:, COLUMN[column]]


def _hard_steps(records: Records) -> IntArray:
    return (records[:, COLUMN["steps_run"]] + records[:, COLUMN["steps_sprint"]]).astype(np.int64)


def play_part(runner: Runner, worlds: PlanWorlds, plan: GamePlan, first: int, n: int) -> Games:
    """Games ``first`` .. ``first + n - 1``, possession by possession, all at once."""
    course = _Course(plan, n)
    games = first + np.arange(n, dtype=np.int64)
    for k in range(plan.possessions):
        if k % plan.per_period == 0:
            course.fouls[:] = 0
            course.planned_fouls[:] = 0
        _one_possession(runner, worlds, plan, course, games * NUMBERS_PER_GAME + k, k)
    return Games(**course.sums)


def _one_possession(
    runner: Runner, worlds: PlanWorlds, plan: GamePlan, course: _Course, numbers: IntArray, k: int
) -> None:
    tired = plan.fatigue.level(course.load_m)
    home = worlds.at_home(runner, numbers, course.fouls)
    base = home
    differs = tired > 0
    if worlds.coded:
        differs |= course.planned_fouls != course.fouls
    else:
        common = home[:, COLUMN["fouls"]] > home[:, COLUMN["shooting_fouls"]]
        differs |= (course.planned_fouls != course.fouls) & common
    if differs.any():
        rows = np.flatnonzero(differs)
        base = home.copy()
        base[rows] = worlds.home(runner, numbers[rows], course.planned_fouls[rows], tired[rows])
    sums = course.sums
    in_bonus = course.fouls >= worlds.bonus_from - 1
    sums["in_bonus"] += in_bonus
    sums["last_in_bonus"][:] = in_bonus
    sums["tired"] += tired
    course.add("home", home, "net")
    course.add("home_points", home, "points")
    course.add("home_fouls", home, "fouls")
    sums["carried"] += net_of(home) - net_of(base)

    planned, rows, calls = _with_traps(runner, worlds, plan, course, numbers, k, base, tired)
    course.add("planned", planned, "net")
    course.add("planned_points", planned, "points")
    course.add("planned_fouls", planned, "fouls")
    course.load_m *= plan.fatigue.kept
    if len(rows):
        _count_uses(course, rows, calls, base[rows], planned[rows])
        more = (_hard_steps(planned[rows]) - _hard_steps(base[rows])) * plan.fatigue.m_per_step
        course.load_m[rows] = np.maximum(course.load_m[rows] + more, 0.0)  # nobody gets fresher than fresh
    course.fouls += home[:, COLUMN["fouls"]]
    course.planned_fouls += planned[:, COLUMN["fouls"]]


def _with_traps(
    runner: Runner,
    worlds: PlanWorlds,
    plan: GamePlan,
    course: _Course,
    numbers: IntArray,
    k: int,
    base: Records,
    tired: IntArray,
) -> tuple[Records, IntArray, IntArray]:
    """The planned game's records, the rows in which a trap was made, and its call."""
    uses, made = np.array(plan.uses, np.int64), course.sums["made"]
    due = np.minimum(k * uses // plan.possessions + 1, uses)  # uses that are due by now
    may = (made < due) & shadow_bits(base, worlds.n_calls)
    rows = np.flatnonzero(may.any(axis=1))
    if not len(rows):
        return base, rows, rows
    calls = may[rows].argmax(axis=1).astype(np.int64)
    several = np.flatnonzero(may[rows].sum(axis=1) > 1)
    fouls = course.planned_fouls
    if len(several):
        at = rows[several]
        masks = may[at] @ (1 << np.arange(worlds.n_calls, dtype=np.int64))
        calls[several] = worlds.first_of(runner, masks, numbers[at], fouls[at], tired[at])
    seen, left = made[rows, calls], np.minimum(course.left[rows], 1)
    played = worlds.called(runner, calls, numbers[rows], fouls[rows], seen, left, tired[rows])
    if np.any(played[:, COLUMN["first_call"]] != 1):
        raise AssertionError("home saw a call that was not made")
    _take_time_outs(runner, worlds, course, rows, calls, numbers, seen, tired, played)
    planned = base.copy()
    planned[rows] = played
    return planned, rows, calls


def _take_time_outs(
    runner: Runner,
    worlds: PlanWorlds,
    course: _Course,
    rows: IntArray,
    calls: IntArray,
    numbers: IntArray,
    seen: IntArray,
    tired: IntArray,
    played: Records,
) -> None:
    """Takes off the time-outs that trapped men called.

    The record does not name them. Such a trap ends as "other", closed, without a shot; it was a time-out
    where the same possession without one left goes on in another way.
    """
    if not worlds.may_call_time_out:
        return
    maybe = np.flatnonzero(
        (played[:, COLUMN["outcome"]] == _OTHER)
        & (played[:, COLUMN["trap_set"]] > 0)
        & (played[:, COLUMN["trapped_shot"]] == 0)
        & (course.left[rows] > 0)
    )
    if not len(maybe):
        return
    at = rows[maybe]
    none = np.zeros(len(maybe), np.int64)
    fouls = course.planned_fouls[at]
    without = worlds.called(runner, calls[maybe], numbers[at], fouls, seen[maybe], none, tired[at])
    taken = (without != played[maybe]).any(axis=1)
    course.left[at] -= taken
    course.sums["time_outs"][at] += taken


def _count_uses(course: _Course, rows: IntArray, calls: IntArray, base: Records, played: Records) -> None:
    sums = course.sums
    use = sums["made"][rows, calls]
    saved = net_of(base) - net_of(played)
    lost = np.isin(played[:, COLUMN["outcome"]], LOST_IN_TRAP)
    for name, values in (("use_n", 1), ("use_sum", saved), ("use_square", saved * saved), ("use_lost", lost)):
        np.add.at(sums[name], (calls, use), values)
    sums["made"][rows, calls] += 1  # a game has one trap in a possession, so no row comes twice
    sums["saved"][rows, calls] += saved


def play_games(
    runner: Runner,
    worlds: PlanWorlds,
    plan: GamePlan,
    games: int,
    threads: int,
    progress: Progress | None = None,
    first: int = 0,
) -> Games:
    """``games`` games, in parts on a pool of threads; ``progress`` counts parts."""
    starts = range(0, games, GAMES_IN_PART)

    def task(part: int) -> Games:
        return play_part(runner, worlds, plan, first + starts[part], min(GAMES_IN_PART, games - starts[part]))

    return _join(list(in_order(len(starts), threads, runner, task, progress)))


def m_per_step(scenario: Scenario, constants: Mapping[str, float]) -> float:
    """Metres of hard running of one defender in one counted step of all ten."""
    step_s = float(scenario.constants["time_step_s"])
    return constants["hard_running_mps"] * step_s * constants["defenders_share"] / 5.0
