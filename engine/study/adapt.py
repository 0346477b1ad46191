"""What an opponent learns: what going on with the ball is worth to these men, and how they answer a call.

A level's players believe what happens to average men of their level (engine.study.beliefs). These men are
others: ``measure_carrying`` moves the one number that all they weigh is held against to what holding the ball
brings THEM at home. It is a root found by stochastic approximation: every round plays possessions of its own
and moves by the error seen over an assumed slope; the mean of the last rounds is taken (Polyak and Juditsky
1992, from memory).

``learned`` is the opponent who has met a setting so often that he knows it: what a trap does to passes, to
holding the ball, to drives and retreats, and what the ball is worth where the calls come, are measured under
that setting and drawn to what he believed before; of what he believed then and after each round, he keeps
what scores most. What an attack brings by the clock stays. A call's worth the first time is that against the
opponent who has not met it; ``adapt`` weighs both on the same possessions.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from engine.estimate.calls import change
from engine.estimate.intervals import Found, wilson
from engine.estimate.tally import PairTally, Tally
from engine.inputs.constants import load_constants
from engine.inputs.defaults import HOME
from engine.inputs.scenario import Scenario, constants_against
from engine.kernel.watch import OPTIONS, STEPS
from engine.run.blocks import Progress, Runner, run_blocks
from engine.run.size import RunSize, available_cores
from engine.run.watch import watch_numbers
from engine.state.arrays import OPTION_COLUMNS
from engine.state.record import COLUMN
from engine.state.words import OUTCOMES, Action, Option
from engine.study.beliefs import LOOKS, PHASE_NAMES, PLACES, choices, fit, moved
from engine.study.play import Opening, head, open_scenario, run_size
from engine.world.pack import PackedSetting, pack

#: Rounds of ``measure_carrying``, possessions of each, and how many of the last are averaged.
ROUNDS, ROUND_POSSESSIONS, AVERAGED = 6, 3_000, 3
#: What holding brings falls by about so much for a point that it is believed to bring more (seen in rounds of
#: benchmarks/fit_beliefs.py): who believes more holds where holding brings less.
SLOPE = -1.4
#: Seeds of their own, so that nobody is judged on the possessions he has learned from.
SEED = 20_011


@dataclass(frozen=True)
class Carrying:
    """What going on is worth to a side's own men, points with much on the clock; ``level`` to average men;
    ``believed`` and ``brought`` by the balls held in the last rounds, ``error`` its standard error."""

    points: float
    level: float
    believed: float
    brought: float
    error: float
    possessions: int

    def as_dict(self) -> Found:
        """Its figures, points."""
        return {
            "points": self.points,
            "level_points": self.level,
            "believed": self.believed,
            "brought": self.brought,
            "standard_error": self.error,
            "possessions": self.possessions,
        }


def _part(progress: Progress | None, before: int, total: int, times: int = 1) -> Progress | None:
    """Progress of a part that has ``before`` of ``total`` behind it and counts ``times`` over."""
    return None if progress is None else lambda done, _: progress(before + times * done, total)


def with_constants(scenario: Scenario, values: dict[str, float]) -> Scenario:
    """The scenario with these constants."""
    return scenario.model_copy(update={"constants": {**scenario.constants, **values}})


def _holds(
    world: np.ndarray, seed: int, numbers: NDArray[np.int64], threads: int | None, progress: Progress | None
) -> Iterator[tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]]:
    """(believed points, points, possession) of every ball held on purpose, block by block."""
    value, chosen, option, t_s = (OPTION_COLUMNS.index(name) for name in ("value", "chosen", "option", "t_s"))
    for block in watch_numbers(world, seed, numbers, ("s",), threads=threads, progress=progress):
        of = block.possession_of(OPTIONS)
        held = (block.options[:, chosen] > 0.0) & (block.options[:, option] == Option.HOLD)
        of, rows = of[held], block.options[held]
        steps = block.steps["s"]
        times = block.possession_of(STEPS) * 1e5 + steps["t"]
        at = np.searchsorted(times, of * 1e5 + rows[:, t_s] - 1e-6)
        driving = steps["action"][np.maximum(at - 1, 0)] == Action.DRIVE
        points = block.records[:, COLUMN["points"]].astype(np.int64)
        yield rows[~driving, value], points[of[~driving]], of[~driving]


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
    bare = scenario.model_copy(update={"settings": ()})
    points, total = float(scenario.constants["hold_value_points"]), ROUNDS * each
    level, known = points, load_constants()["hold_value_points"]
    ends: list[float] = []
    n, values, gains, spread = 0, 0.0, 0, 0.0
    for done in range(ROUNDS):
        world = pack(with_constants(bare, {"hold_value_points": points})).home
        numbers = np.arange(done * each, (done + 1) * each)
        told = _part(progress, done * each, total)
        if done <= ROUNDS - AVERAGED:
            n, values, gains, spread = 0, 0.0, 0, 0.0
        before = n, values, gains
        for value, gained, of in _holds(world, seed, numbers, threads, told):
            n += len(value)
            values += float(value.sum())
            gains += int(gained.sum())
            spread += float((np.bincount(of, weights=gained - value) ** 2).sum())
        if n > before[0]:
            wrong = (gains - before[2] - (values - before[1])) / (n - before[0])
            points = float(np.clip(points + wrong / (1.0 - SLOPE), known.low, known.high))
        ends.append(points)
    own = round(sum(ends[-AVERAGED:]) / AVERAGED, 4)
    held = max(n, 1)
    return Carrying(own, level, values / held, gains / held, float(np.sqrt(spread)) / held, total)


# --- an opponent who knows a setting ------------------------------------------------------------------------

#: Possessions of a round: as they are played, and for each look in which every option is tried.
PLAYED, TRIED = 3_000, 600
LEARN_ROUNDS = 3
#: Possessions on which what he believed before and after each round are tried: the best is kept.
JUDGED = 16_000
LEARNED_FROM = LEARN_ROUNDS * (PLAYED + TRIED * len(LOOKS))
#: What he learns of a setting; the rest is about his men and the clock, and holds without a trap, too.
LEARNS = (
    *(f"belief_hold_{phase}points" for phase in PHASE_NAMES[1:]),
    *(f"belief_pass_{phase}points" for phase in PHASE_NAMES[1:]),
    *("belief_loss_coming", "belief_loss_set", "belief_loss_after"),
    *(
        "belief_retreat_points",
        "belief_drive_trapped_points",
        "belief_drive_after_points",
        "belief_go_on_after_points",
    ),
    *PLACES,
)


def lesson(
    scenario: Scenario,
    setting: int,
    values: dict[str, float],
    number: int,
    threads: int | None = None,
    progress: Progress | None = None,
) -> dict[str, float]:
    """Beliefs after one more round (from 0) under setting number ``setting``, from ``values`` on."""
    zone = scenario.settings[setting].zone or scenario.zone
    before, current = (constants_against(one, zone) for one in (scenario, with_constants(scenario, values)))
    runs = ((0, PLAYED), *((look, TRIED) for look in LOOKS))
    total, done = sum(n for _, n in runs), 0
    played: list[pd.DataFrame] = []
    for look, n in runs:
        at = pack(with_constants(scenario, {**values, "tried_look": float(look)})).settings[setting].world
        numbers = JUDGED + (number * (max(LOOKS) + 1) + look) * PLAYED + np.arange(n)
        played.append(choices(at, SEED, numbers, threads, look or None, _part(progress, done, total)))
        done += n
    tried = pd.concat(played[1:], ignore_index=True)
    measured = fit(played[0], tried, current, around=before)
    found = moved(current, {name: measured[name] for name in LEARNS if name in measured})
    return values | {name: value - before[name] + scenario.constants[name] for name, value in found.items()}


def learned(
    scenario: Scenario, setting: int, threads: int | None = None, progress: Progress | None = None
) -> dict[str, float]:
    """Beliefs of an opponent who knows setting number ``setting``: constant -> value; none where what he
    believed before does best.

    ``progress`` is called as ``progress(done, total)`` in possessions.
    """
    each, total = LEARNED_FROM // LEARN_ROUNDS, LEARNED_FROM + (LEARN_ROUNDS + 1) * JUDGED
    size = RunSize(JUDGED, SEED, available_cores() if threads is None else threads)
    runner = Runner(SEED)

    def scored(values: dict[str, float], done: int) -> int:
        world = pack(with_constants(scenario, values)).settings[setting].world

        def net(first: int, count: int) -> int:
            return int(runner.block(world, first, count, HOME)[:, COLUMN["net"]].sum())

        return run_blocks(size, runner, net, _part(progress, done, total))

    values: dict[str, float] = {}
    tried = [(scored(values, 0), values)]
    for number in range(LEARN_ROUNDS):
        done = JUDGED + number * (each + JUDGED)
        values = lesson(scenario, setting, values, number, threads, _part(progress, done, total))
        tried.append((scored(values, done + each), values))
    return max(tried, key=lambda one: one[0])[1]


@dataclass(frozen=True, eq=False)
class AdaptTally(Tally):
    """One setting: pairs with staying home of an opponent who has not met it, and of one who knows it."""

    first: PairTally
    known: PairTally


@dataclass(frozen=True)
class AdaptTallies:
    """Of every setting; ``+`` adds two."""

    settings: tuple[AdaptTally, ...]

    def __add__(self, other: AdaptTallies) -> AdaptTallies:
        return AdaptTallies(tuple(a + b for a, b in zip(self.settings, other.settings, strict=True)))


def _met(pairs: PairTally) -> Found:
    """What a setting does to one kind of opponent."""
    outcomes = pairs.joint.sum(axis=(0, 2, 3, 4))
    called = int(outcomes.sum())
    counts = dict(zip(OUTCOMES, outcomes.tolist(), strict=True)) | {
        "trapped_shot": int(pairs.trapped_shot.sum())
    }
    counts["rest"] = counts.pop("other") - counts["trapped_shot"]
    return {
        "change": change(pairs).as_dict(),
        "calls_per_possession": int(pairs.calls.sum()) / pairs.n,
        "called": called,
        "outcomes": {name: wilson(count, called).as_dict() for name, count in counts.items()}
        if called
        else {},
    }


@dataclass(frozen=True)
class AdaptResult:
    """A side's own worth of going on, and every setting against both opponents; ``to_dict()`` the JSON."""

    scenario: Scenario
    size: RunSize
    carrying: Carrying
    beliefs: tuple[dict[str, float], ...]
    tally: AdaptTallies

    def to_dict(self) -> Found:
        """The JSON of ``adapt``; equal for equal inputs whatever the number of threads."""
        before = self.scenario.constants
        return {
            **head("adapt", self.scenario, self.size),
            "offence": self.scenario.offence_team.name,
            "defence": self.scenario.defence_team.name,
            "carrying_on": self.carrying.as_dict(),
            "learned_from": LEARNED_FROM,
            "settings": [
                {
                    "name": setting.name,
                    "first": _met(tally.first),
                    "known": _met(tally.known),
                    "beliefs": {name: [before[name], value] for name, value in beliefs.items()},
                }
                for setting, tally, beliefs in zip(
                    self.scenario.settings, self.tally.settings, self.beliefs, strict=True
                )
            ],
        }


def adapt(
    scenario: Opening,
    possessions: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> AdaptResult:
    """Weigh every setting against an opponent who meets it for the first time, and one who knows it.

    Both are the scenario's men, for whom going on is worth what ``measure_carrying`` finds.

    Parameters
    ----------
    scenario : path of a scenario file, or what ``engine.load`` returned
    possessions, seed : None takes the scenario's own; every branch plays that many possessions
    threads : None uses every available core; the result does not depend on it
    progress : called as ``progress(done, total)`` in possessions learned from and played

    Raises
    ------
    InputError
        bad input, possessions < 1, a negative seed or threads < 1.
    """
    scenario = open_scenario(scenario)
    size = run_size(scenario, possessions, seed, threads)
    n = len(scenario.settings)
    each, own = LEARNED_FROM + (LEARN_ROUNDS + 1) * JUDGED, ROUNDS * ROUND_POSSESSIONS
    total = own + n * each + size.possessions * (1 + 2 * n)

    carrying = measure_carrying(scenario, SEED, size.threads, _part(progress, 0, total))
    scenario = with_constants(scenario, {"hold_value_points": carrying.points})
    beliefs = tuple(
        learned(scenario, i, size.threads, _part(progress, own + i * each, total)) for i in range(n)
    )
    first = pack(scenario)
    known = tuple(pack(with_constants(scenario, values)).settings[i] for i, values in enumerate(beliefs))
    runner = Runner(size.seed)
    runner.warm(first.home)

    def block(start: int, count: int) -> AdaptTallies:
        home = runner.block(first.home, start, count, HOME)

        def pairs(setting: PackedSetting) -> PairTally:
            records = runner.block(setting.world, start, count, "branch")
            return PairTally.from_records(home, records, len(setting.calls))

        met = [pairs(setting) for setting in first.settings]
        # who has learned nothing plays as before
        again = [pairs(known[i]) if values else met[i] for i, values in enumerate(beliefs)]
        return AdaptTallies(tuple(AdaptTally(new, old) for new, old in zip(met, again, strict=True)))

    tally = run_blocks(size, runner, block, _part(progress, own + n * each, total, 1 + 2 * n))
    return AdaptResult(scenario, size, carrying, beliefs, tally)
