"""What the ball is worth to a side's own men: going on with it, and in a trap.

A level's players believe what happens to average men of their level under its usual rules
(engine.study.beliefs). These men are others, and their rules may be. Two numbers are measured for them.

``measure_carrying`` moves the one number that all they weigh is held against to what holding the ball brings
THEM at home. It is a root found by stochastic approximation: every round plays possessions of its own and
moves by the error seen over an assumed slope; the mean of the last rounds is taken (Polyak and Juditsky 1992,
from memory).

``measure_trapped`` moves what holding, driving and dribbling out in a trap are believed to bring, all alike,
and what passes out of it are, until it is what they bring THEM under the shipped calls of the defence: what
is known of traps before tonight's are met.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine import tables as pd
from engine.estimate.intervals import Found
from engine.inputs.calls import call_from
from engine.inputs.constants import load_constants
from engine.inputs.files import read_toml, shipped_source
from engine.inputs.scenario import (
    IN_A_TRAP,
    OUT_OF_A_TRAP,
    Scenario,
    constants_against,
    with_constants,
    with_trapped,
)
from engine.inputs.settings import Setting, fitting_calls
from engine.kernel.watch import OPTIONS, STEPS
from engine.run.blocks import Progress, Runner, World, part_of_progress, run_blocks
from engine.run.size import RunSize, available_cores
from engine.run.watch import watch_numbers
from engine.state.record import COLUMN
from engine.state.words import Action, Option, TrapPhase
from engine.study.decision_rows import CHOSEN, OPTION, TIME_S, VALUE
from engine.study.decisions import asked_after, choices
from engine.world.pack import pack

#: Rounds of ``measure_carrying``, possessions of each, and how many of the last are averaged.
ROUNDS, ROUND_POSSESSIONS, AVERAGED = 6, 3_000, 3
#: What holding brings falls by about so much for a point that it is believed to bring more (seen in rounds of
#: benchmarks/fit_beliefs.py): who believes more holds where holding brings less.
SLOPE = -1.4
#: Seeds of their own, so that nobody is judged on the possessions he has learned from.
SEED = 20_011


@dataclass(frozen=True)
class Carrying:
    """What going on is worth to a side's own men, points with much on the clock less what is asked of shots
    (engine.study.decisions); ``level`` to average men; ``believed`` and ``brought`` by the balls held in the
    last rounds, ``error`` its standard error.

    ``points`` and ``level`` are the constant, which holds against one kind of defence; ``here`` is what
    home's own kind adds to it.
    """

    points: float
    level: float
    here: float
    believed: float
    brought: float
    error: float
    possessions: int

    def as_dict(self) -> Found:
        """Its figures, points."""
        return {
            "points": round(self.points + self.here, 4),
            "level_points": round(self.level + self.here, 4),
            "believed": self.believed,
            "brought": self.brought,
            "standard_error": self.error,
            "possessions": self.possessions,
        }


def _holds(
    world: np.ndarray, seed: int, numbers: NDArray[np.int64], threads: int | None, progress: Progress | None
) -> Iterator[tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]]:
    """(believed points, points brought, possession) of every ball held on purpose, block by block; both less
    what is asked of shots (engine.study.decisions)."""
    for block in watch_numbers(world, seed, numbers, ("s", "agents"), threads=threads, progress=progress):
        chosen = block.options[:, CHOSEN] > 0.0
        of, rows = block.possession_of(OPTIONS)[chosen], block.options[chosen]
        steps = block.steps["s"]
        times = block.possession_of(STEPS) * 1e5 + steps["t"]
        at = np.searchsorted(times, of * 1e5 + rows[:, TIME_S] - 1e-6)
        held = (rows[:, OPTION] == Option.HOLD) & (steps["action"][np.maximum(at - 1, 0)] != Action.DRIVE)
        ask = asked_after(world, rows, of, steps, block.steps["agents"], at)
        points = block.records[:, COLUMN["points"]][of] - ask
        yield rows[held, VALUE], points[held], of[held]


def measure_carrying(
    scenario: Scenario,
    seed: int = SEED,
    threads: int | None = None,
    progress: Progress | None = None,
    each: int | None = None,
) -> Carrying:
    """What going on with the ball is worth to these men, staying home.

    Parameters
    ----------
    scenario : its settings do not matter
    seed : of the possessions that are learned from
    threads : None uses every available core; the result does not depend on it
    progress : called as ``progress(done, total)`` in possessions
    each : possessions of each of the ROUNDS; None: ROUND_POSSESSIONS
    """
    each = ROUND_POSSESSIONS if each is None else each
    bare = scenario.model_copy(update={"settings": (), "other_own": {}})
    points, total = float(scenario.constants["hold_value_points"]), ROUNDS * each
    level, known = points, load_constants()["hold_value_points"]
    ends: list[float] = []
    n, values, gains, spread = 0, 0.0, 0.0, 0.0
    for done in range(ROUNDS):
        world = pack(with_constants(bare, {"hold_value_points": points})).home
        numbers = np.arange(done * each, (done + 1) * each)
        told = part_of_progress(progress, done * each, total)
        if done <= ROUNDS - AVERAGED:
            n, values, gains, spread = 0, 0.0, 0.0, 0.0
        before = n, values, gains
        for value, gained, of in _holds(world, seed, numbers, threads, told):
            n += len(value)
            values += float(value.sum())
            gains += float(gained.sum())
            spread += float((np.bincount(of, weights=gained - value) ** 2).sum())
        if n > before[0]:
            wrong = (gains - before[2] - (values - before[1])) / (n - before[0])
            points = float(np.clip(points + wrong / (1.0 - SLOPE), known.low, known.high))
        ends.append(points)
    own = round(sum(ends[-AVERAGED:]) / AVERAGED, 4)
    held = max(n, 1)
    here = constants_against(bare, scenario.zone)["hold_value_points"] - level
    return Carrying(own, level, here, values / held, gains / held, float(np.sqrt(spread)) / held, total)


# --- in a trap ----------------------------------------------------------------------------------------------

#: Kinds of decisions that IN_A_TRAP and OUT_OF_A_TRAP are the beliefs of, and phases in which they count.
TRIED_KINDS, PASSED_KINDS = ("hold", "drive", "go on", "retreat"), ("pass",)
TRAPPED_PHASES = (TrapPhase.COMING, TrapPhase.SET)
#: Rounds of ``measure_trapped``; possessions of each under each call.
TRAPPED_ROUNDS, TRAPPED_POSSESSIONS = 3, 3_000
#: By so much their error falls for a point that they are believed to bring more (seen at the demo, each
#: alone): what is tried brings less then, passes bring what they did, but are believed lost now and then.
TRIED_MOVE, PASSED_MOVE = 1.2, 0.87
#: Its possessions are from this number on: nobody is judged on those.
FAR = 1 << 30
#: Normal prior of the points, standard deviation: sides of a level differ by about so much (taken for passes,
#: too); no source.
TRAPPED_PRIOR = 0.15


@dataclass(frozen=True)
class Trapped:
    """What these men make of a trap beside what they were believed to: ``points`` that holding, driving and
    dribbling out bring them more (drawn to nothing by TRAPPED_PRIOR), its ``standard_error``; ``passes`` that
    a pass out of it does, ``passes_error``; the ``decisions`` that they rest on (not of the first round);
    ``possessions`` of all rounds, under all the calls together."""

    points: float
    standard_error: float
    passes: float
    passes_error: float
    decisions: int
    possessions: int


def of_fit(fit: Found) -> tuple[Found | None, Found | None]:
    """What going on and a trap are worth to the men of a fitted sheet (JSON of engine.study.sheet.fit); None
    where it was not measured."""
    carrying, trapped = fit.get("carrying"), fit.get("trapped")
    return carrying and Carrying(**carrying).as_dict(), trapped


def constants_of(scenario: Scenario) -> dict[str, float]:
    """What is measured of a side's own men, as it is played at home: constant -> value."""
    at_home = constants_against(scenario, scenario.zone)
    return {name: at_home[name] for name in ("hold_value_points", *IN_A_TRAP, *OUT_OF_A_TRAP)}


def _shipped_calls(scenario: Scenario) -> Scenario:
    """The scenario with a setting for each shipped call that its defence can make, and no other."""
    sources = [shipped_source("calls", name) for name in fitting_calls(scenario.zone)]
    calls = [call_from(read_toml(source), str(source)) for source in sources]
    calls = [call.model_copy(update={"probability": 1.0}) for call in calls]
    return scenario.model_copy(
        update={"settings": tuple(Setting(name=call.name, calls=(call,)) for call in calls)}
    )


def carrying_work() -> int:
    """Possessions that ``measure_carrying`` counts to its progress."""
    return ROUNDS * ROUND_POSSESSIONS


def trapped_work(scenario: Scenario, each: int | None = None) -> int:
    """Possessions that ``measure_trapped`` plays."""
    calls = len(fitting_calls(scenario.zone))
    return TRAPPED_ROUNDS * calls * (TRAPPED_POSSESSIONS if each is None else each)


def measure_trapped(
    scenario: Scenario,
    seed: int = SEED,
    threads: int | None = None,
    progress: Progress | None = None,
    each: int | None = None,
) -> Trapped | None:
    """What these men make of a trap beside what the scenario has them believe; None where no shipped call
    fits its home defence.

    Every round plays each call with what was found so far, on possessions far from those that are judged. A
    decision's points beyond those believed, over the assumed move, are one observation of the points looked
    for; all decisions count alike, but those of the first round only lead near (it is not one line).

    Parameters
    ----------
    scenario : with what going on is worth to them (``measure_carrying``); its settings do not matter
    seed, threads, progress : as of ``measure_carrying``
    each : possessions of each of the TRAPPED_ROUNDS under each call; None: TRAPPED_POSSESSIONS
    """
    each = TRAPPED_POSSESSIONS if each is None else each
    bare = _shipped_calls(scenario)
    parts = TRAPPED_ROUNDS * len(bare.settings)
    if not parts:
        return None
    size = RunSize(each, seed, available_cores() if threads is None else threads)
    tried, passed = _Seen(TRIED_KINDS, TRIED_MOVE), _Seen(PASSED_KINDS, PASSED_MOVE)
    for number in range(TRAPPED_ROUNDS):
        settings = pack(with_trapped(bare, tried.points, passed.points)).settings
        for setting, one in enumerate(settings):
            part = number * len(settings) + setting
            told = part_of_progress(progress, part * each, parts * each)
            rows = _trapped_decisions(one.world, FAR + number * each, size, told)
            for what in (tried, passed):
                what.add(rows, setting * FAR)
        for what in (tried, passed):
            what.draw(again=number == 0)
    decisions = tried.count + passed.count
    return Trapped(tried.points, tried.error, passed.points, passed.error, decisions, parts * each)


class _Seen:
    """What decisions of some ``kinds`` saw of the ``points`` looked for, their mean drawn to nothing by
    TRAPPED_PRIOR, and its standard ``error``; decisions of one possession are one observation."""

    def __init__(self, kinds: tuple[str, ...], move: float) -> None:
        self.kinds, self.move = kinds, move
        self.points, self.error, self.count = 0.0, TRAPPED_PRIOR, 0
        self._seen: list[NDArray[np.float64]] = []
        self._of: list[NDArray[np.int64]] = []

    def add(self, rows: pd.DataFrame, first: int) -> None:
        """Decisions made with what ``points`` is now; ``first`` tells the possessions of calls apart."""
        rows = rows[rows["kind"].isin(self.kinds)]
        wrong = (rows["points"] - rows["believed"]).to_numpy(float)
        self._seen.append(self.points + wrong / self.move)
        self._of.append(first + rows["possession"].to_numpy(np.int64))

    def draw(self, again: bool) -> None:
        """The points that was seen; ``again``: from what comes alone."""
        seen, of = np.concatenate(self._seen), np.concatenate(self._of)
        self.count = len(seen)
        if self.count:
            mean = float(seen.mean())
            sums = np.bincount(np.unique(of, return_inverse=True)[1], weights=seen - mean)
            error2 = float((sums**2).sum()) / len(seen) ** 2
            share = TRAPPED_PRIOR**2 / (TRAPPED_PRIOR**2 + error2)
            self.points, self.error = round(share * mean, 4), float(np.sqrt(share * error2))
        if again:
            self._seen, self._of = [], []


def _trapped_decisions(world: World, first: int, size: RunSize, progress: Progress | None) -> pd.DataFrame:
    """The decisions that ``measure_trapped`` looks at, of the possessions from ``first`` on with a call."""
    runner = Runner(size.seed)

    def called(start: int, count: int) -> list[int]:
        made = runner.block(world, first + start, count, "called")[:, COLUMN["n_calls"]]
        return (first + start + np.flatnonzero(made)).tolist()

    def told(half: int) -> Progress | None:  # playing them all takes about as long as watching those called
        if progress is None:
            return None
        return lambda done, of: progress((half * of + done) * size.possessions // (2 * of), size.possessions)

    numbers = np.array(run_blocks(size, runner, called, told(0)), np.int64)
    table = choices(world, size.seed, numbers, size.threads, progress=told(1) if len(numbers) else None)
    return table[table["phase"].isin(TRAPPED_PHASES)]
