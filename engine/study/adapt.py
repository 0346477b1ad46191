"""What an opponent learns: how he answers a call that he knows.

Both opponents are the side's own men (engine.study.own_men). ``learned`` is the one who has met a setting
so often that he knows it: what a trap does to passes, to holding the ball, to drives and retreats, and what
the ball is worth where the calls come, are measured under that setting and drawn to what he believed before;
of what he believed then and after each round, he keeps what scores most. What an attack brings by the clock
stays. A call's worth the first time is that against the opponent who has not met it; ``adapt`` weighs both
on the same possessions, each beside staying home against the same opponent.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np

from engine import tables as pd
from engine.estimate.calls import call_value, change
from engine.estimate.intervals import Found, wilson
from engine.estimate.tally import PairTally, Tally
from engine.inputs.defaults import HOME
from engine.inputs.scenario import Scenario, constants_against, with_constants, with_trapped
from engine.inputs.settings import Setting
from engine.run.blocks import Progress, Records, Runner, part_of_progress, run_blocks
from engine.run.branches import Plan, branches_of, play_setting
from engine.run.size import RunSize, available_cores
from engine.state.record import COLUMN
from engine.state.words import OUTCOMES
from engine.study.beliefs import PHASE_NAMES, PLACES, fit, moved
from engine.study.decisions import LOOKS, choices
from engine.study.own_men import (
    SEED,
    carrying_work,
    constants_of,
    measure_carrying,
    measure_trapped,
    trapped_work,
)
from engine.study.play import Opening, head, open_scenario, run_size
from engine.world.pack import pack

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
        played.append(
            choices(at, SEED, numbers, threads, look or None, part_of_progress(progress, done, total))
        )
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

        return run_blocks(size, runner, net, part_of_progress(progress, done, total))

    values: dict[str, float] = {}
    tried = [(scored(values, 0), values)]
    for number in range(LEARN_ROUNDS):
        done = JUDGED + number * (each + JUDGED)
        values = lesson(scenario, setting, values, number, threads, part_of_progress(progress, done, total))
        tried.append((scored(values, done + each), values))
    return max(tried, key=lambda one: one[0])[1]


@dataclass(frozen=True, eq=False)
class AdaptTally(Tally):
    """A setting under one opponent: ``change`` beside staying home against the same opponent, ``calls``
    beside the setting's own defence without calls; ``home``: staying home against him beside staying home
    against one who has not met the setting."""

    change: PairTally
    calls: PairTally
    home: PairTally


def _met(setting: Setting, tally: AdaptTally) -> Found:
    """What a setting does to one kind of opponent."""
    pairs = tally.change
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
        "calls": [
            {
                "call": call.name,
                "called": tally.calls.called(spot),
                "calls_per_possession": int(tally.calls.calls[spot]) / pairs.n,
                "value": call_value(tally.calls, spot).as_dict(),
            }
            for spot, call in enumerate(setting.calls)
        ],
    }


@dataclass(frozen=True)
class SettingAdapted:
    """One setting against both opponents; ``beliefs``: what he has learned, constant -> value."""

    scenario: Scenario
    setting: Setting
    beliefs: dict[str, float]
    first: AdaptTally
    known: AdaptTally

    def to_dict(self) -> Found:
        """``first`` and ``known``: ``change``, net points a possession beside staying home against the same
        opponent; ``calls``: of each call its ``value``, points saved a call. ``home_change``: net points a
        possession that playing as he then does brings him where one stays home. ``beliefs``: constant ->
        [before, after]."""
        zone = self.setting.zone or self.scenario.zone
        known, before = self.scenario.constants, constants_against(self.scenario, zone)
        return {
            "name": self.setting.name,
            "first": _met(self.setting, self.first),
            "known": _met(self.setting, self.known),
            "home_change": change(self.known.home).as_dict(),
            "beliefs": {
                name: [before[name], before[name] + value - known[name]]
                for name, value in self.beliefs.items()
            },
        }


def adapt_work(possessions: int) -> int:
    """Possessions that ``adapt_setting`` counts to its progress."""
    return LEARNED_FROM + (LEARN_ROUNDS + 1) * JUDGED + 2 * possessions


def adapt_setting(
    scenario: Scenario, setting: int, size: RunSize, progress: Progress | None = None
) -> SettingAdapted:
    """Setting number ``setting`` against one who meets it first, and one who knows it; see ``adapt``."""
    total = adapt_work(size.possessions)
    values = learned(scenario, setting, size.threads, part_of_progress(progress, 0, total))
    of = scenario.settings[setting]
    alone = scenario.model_copy(update={"settings": (of,)})
    runner = Runner(size.seed)
    first = branches_of(pack(alone))
    again = branches_of(pack(with_constants(alone, values)))
    runner.warm(first.home)

    def tallied(plan: Plan, home: Records, own: Records, start: int) -> AdaptTally:
        bases = [runner.block(world, start, len(own), f"base {i}") for i, world in enumerate(plan.bases)]
        branch = play_setting(runner, plan.settings[0], start, own, bases)
        n = len(of.calls)
        return AdaptTally(
            change=PairTally.from_records(own, branch.records, n),
            calls=PairTally.from_records(branch.base, branch.records, n),
            home=PairTally.from_records(home, own, n),
        )

    def new(start: int, count: int) -> AdaptTally:
        home = runner.block(first.home, start, count, HOME)
        return tallied(first, home, home, start)

    def old(start: int, count: int) -> AdaptTally:
        home = runner.block(first.home, start, count, HOME)
        return tallied(again, home, runner.block(again.home, start, count, "his home"), start)

    done = total - 2 * size.possessions
    met = run_blocks(size, runner, new, part_of_progress(progress, done, total))
    # who has learned nothing plays as before
    known = met
    if values:
        known = run_blocks(size, runner, old, part_of_progress(progress, done + size.possessions, total))
    return SettingAdapted(scenario, of, values, met, known)


@dataclass(frozen=True)
class AdaptResult:
    """A side's own worth of going on and of a trap (None: not measured), and settings against both opponents
    (their JSON). ``constants``: what plays these men so in every command, None where their file says it."""

    scenario: Scenario
    size: RunSize
    carrying: Found | None
    trapped: Found | None
    settings: tuple[Found, ...]
    constants: dict[str, float] | None = None

    def to_dict(self) -> Found:
        """The JSON of ``adapt``; equal for equal inputs whatever the number of threads."""
        return {
            **head("adapt", self.scenario, self.size),
            "offence": self.scenario.offence_team.name,
            "defence": self.scenario.defence_team.name,
            "carrying_on": self.carrying,
            "in_a_trap": self.trapped,
            "constants": self.constants,
            "learned_from": LEARNED_FROM,
            "settings": list(self.settings),
        }


def adapt(
    scenario: Opening,
    possessions: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> AdaptResult:
    """Weigh every setting against an opponent who meets it for the first time, and one who knows it.

    Both are the scenario's men, for whom going on is worth what ``measure_carrying`` finds, and a trap what
    ``measure_trapped`` does. What a setting
    and its calls are worth is beside staying home against the same opponent: he who knows it may have learned
    what does better without it, too, and that is told apart (``home_change``). What he gives up where he
    keeps the ball away from it stands there, not in the worth.

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
    n, each = len(scenario.settings), adapt_work(size.possessions)
    own = carrying_work() + trapped_work(scenario)
    total = own + n * each
    carrying = measure_carrying(scenario, SEED, size.threads, part_of_progress(progress, 0, total))
    scenario = with_constants(scenario, {"hold_value_points": carrying.points})
    trapped = measure_trapped(
        scenario, SEED, size.threads, part_of_progress(progress, carrying_work(), total)
    )
    if trapped is not None:
        scenario = with_trapped(scenario, trapped.points, trapped.passes)
    found = [
        adapt_setting(scenario, i, size, part_of_progress(progress, own + i * each, total)).to_dict()
        for i in range(n)
    ]
    if progress is not None:
        progress(total, total)
    measured = None if trapped is None else asdict(trapped)
    return AdaptResult(scenario, size, carrying.as_dict(), measured, tuple(found), constants_of(scenario))
