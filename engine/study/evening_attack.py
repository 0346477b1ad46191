"""The same five with the ball against their traps: what each costs, where the ball goes, who brings it up.

Each trap of theirs is played beside the same defence without it, on common luck, and read as ``compare``
reads our own. Where the first pass out of it went, and what the possession then brought, is taken from the
records of the possessions passed out of: what happened, not what another pass would have brought. Who the
passes went to, and how many of them arrived, is counted in traced possessions with the call. Who brings it
up: the possessions against all their traps together, with each of the first CARRIERS positions in the place
of the one who does; differences on the same possessions.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from engine.estimate import calls as estimate
from engine.estimate.calls import ESCAPES as GOT_OUT
from engine.estimate.intervals import (
    LEAST_EVENTS,
    Found,
    IntArray,
    Interval,
    if_enough,
    normal_interval,
    wilson,
)
from engine.estimate.tally import PairTally, Tally
from engine.inputs.base import spoken
from engine.inputs.calls import Call
from engine.inputs.scenario import Scenario
from engine.inputs.sheets.attack import AttackSide, together
from engine.run.blocks import Progress, Records, Runner, World, run_blocks
from engine.run.branches import branches_of, play_setting
from engine.run.size import RunSize
from engine.run.watch import watch_numbers
from engine.state.record import COLUMN
from engine.state.words import AFTER, ESCAPES, EVENTS, OUTCOMES
from engine.still.holes import scenario_setup
from engine.study.play import head
from engine.study.timing.traps import BREAKS, escapes_of
from engine.world.pack import pack

#: Positions tried as the one who brings the ball up; possessions with each call that are traced.
CARRIERS, TRACED = 3, 480
#: Where the ball goes: the places of the break, and passes that were skips, wherever they went.
WAYS = (*ESCAPES, "skip")
PUNISHED = tuple(AFTER.index(name) for name in estimate.PUNISHED)
CALL, PASS, LEFT = (EVENTS.index(name) for name in ("call", "pass", "trap_left"))
PASSED = OUTCOMES.index("escape_pass")


@dataclass(frozen=True, eq=False)
class WaysTally(Tally):
    """Possessions whose first call was passed out of, by where (WAYS), int64[ways] each: how many, their
    points and squared points, those with a shot at the rim or an open three before the defence was set."""

    n: IntArray
    points: IntArray
    squares: IntArray
    punished: IntArray

    @classmethod
    def from_records(cls, records: Records, call: int) -> WaysTally:
        """Tally a block int32[count, N_RECORD]; ``call``: its index in the setting."""
        out = records[
            (records[:, COLUMN["first_call"]] == call + 1) & (records[:, COLUMN["outcome"]] == PASSED)
        ]
        way, points = out[:, COLUMN["escape"]] - 1, out[:, COLUMN["points"]].astype(np.int64)
        of = [way == i for i in range(len(ESCAPES))] + [out[:, COLUMN["escape_skip"]] == 1]
        free = np.isin(out[:, COLUMN["after"]], PUNISHED)
        sums = [(mine.sum(), points[mine].sum(), (points[mine] ** 2).sum(), free[mine].sum()) for mine in of]
        return cls(*np.array(sums, np.int64).T)


@dataclass(frozen=True)
class _Block:
    """Points at home (sum, squares), and of every call its pairs, ways and the numbers of the possessions
    that begin with it; ``+`` adds two."""

    home: IntArray
    pairs: tuple[PairTally, ...]
    ways: tuple[tuple[WaysTally, ...], ...]
    called: tuple[tuple[IntArray, ...], ...]

    def __add__(self, other: _Block) -> _Block:
        return _Block(
            self.home + other.home,
            tuple(a + b for a, b in zip(self.pairs, other.pairs, strict=True)),
            tuple(
                tuple(a + b for a, b in zip(mine, theirs, strict=True))
                for mine, theirs in zip(self.ways, other.ways, strict=True)
            ),
            tuple(
                tuple(np.concatenate(both) for both in zip(mine, theirs, strict=True))
                for mine, theirs in zip(self.called, other.called, strict=True)
            ),
        )


def _sums(values: IntArray) -> IntArray:
    return np.array([values.sum(), (values**2).sum()], np.int64)


def _ways(tally: WaysTally) -> list[Found]:
    """What each way out brought: share of the passes out, points of the possession, free shots."""
    passed = int(tally.n[: len(ESCAPES)].sum())
    found = []
    for i, name in enumerate(WAYS):
        n = int(tally.n[i])
        points = normal_interval(n, int(tally.points[i]), int(tally.squares[i]))
        found.append(
            {
                "to": name,
                "n": n,
                "share": wilson(n, passed).as_dict(),
                "points": if_enough(points, n).as_dict(),
                "free_shot": wilson(int(tally.punished[i]), n).as_dict(),
            }
        )
    return found


def _middle_or_skip(ways: list[Found]) -> Found:
    """Points after a pass to the middle less those after a skip, as of two separate samples; nothing where
    either was thrown fewer than LEAST_EVENTS times."""
    middle, skip = (next(one for one in ways if one["to"] == name) for name in ("middle", "skip"))
    if min(middle["n"], skip["n"]) < LEAST_EVENTS:
        return Interval(None).as_dict()
    mean = middle["points"]["mean"] - skip["points"]["mean"]
    half = np.hypot(*(one["points"]["high"] - one["points"]["mean"] for one in (middle, skip)))
    return Interval(mean, mean - float(half), mean + float(half)).as_dict()


def pass_out(events: np.ndarray) -> tuple[int, bool] | None:
    """Of a traced possession, float64[n, event columns]: to whom (0 to 4) the ball was passed out of its
    first trap, and whether he got it (not one of theirs, nor another of ours); None: it was not passed."""
    codes = events[:, 1].astype(int)
    called = np.flatnonzero(codes == CALL)
    if not len(called):
        return None
    left = [i for i in np.flatnonzero(codes == LEFT) if i > called[0]]
    end = left[0] if left else len(codes)
    thrown = [i for i in np.flatnonzero(codes == PASS) if called[0] < i < end]
    if not thrown:
        return None
    to = int(events[thrown[-1], 3])
    got = bool(left) and int(events[end, 4]) == PASSED and int(events[end, 2]) == to
    return to, got


def _outlets(world: World, size: RunSize, numbers: IntArray, five: tuple[int, ...]) -> list[Found]:
    """Who of ours the ball was passed to out of the trap, and how often it got there; most passes first."""
    thrown, got = np.zeros(len(five), int), np.zeros(len(five), int)
    for block in watch_numbers(world, size.seed, numbers, (), threads=size.threads):
        for i in range(len(block.numbers)):
            seen = pass_out(block.events_of(i))
            if seen is not None:
                thrown[seen[0]] += 1
                got[seen[0]] += seen[1]
    found = [
        {
            "number": five[i],
            "passes": int(thrown[i]),
            "safe": wilson(int(got[i]), int(thrown[i])),
        }
        for i in np.argsort(-thrown, kind="stable")
        if thrown[i]
    ]
    return [one | {"safe": one["safe"].as_dict()} for one in found]


@dataclass(frozen=True)
class Attack:
    """What ``attack`` found: ``to_dict()`` is its JSON."""

    side: AttackSide
    size: RunSize
    found: Found

    def to_dict(self) -> Found:
        """Plain JSON: ``home`` points a possession without traps; ``calls``: of each trap its worth to them
        (``value``, points it costs us), ``lost``, ``ways``, ``middle_or_skip``, ``outlets``; ``bring_up``."""
        scenario = self.side.scenario
        result = head("attack", scenario, self.size)
        return result | {
            "taken": list(self.side.assumptions),
            "us": scenario.offence_team.name,
            "them": scenario.defence_team.name,
            "defence": scenario.zone.title,
            "charted": list(self.side.charted),
            **self.found,
        }


def attack(side: AttackSide, size: RunSize, progress: Progress | None = None) -> Attack:
    """Play ``size.possessions`` against every trap of theirs; see the module."""
    scenario = side.scenario
    packed = pack(scenario)
    plan, runner = branches_of(packed), Runner(size.seed)
    runner.warm(plan.home)
    parts = 2.0 + CARRIERS

    def told(start: float, share: float, done: int, total: int) -> None:
        if progress is not None:
            progress(round(1000 * (start + share * done / max(total, 1)) / parts), 1000)

    def block(first: int, count: int) -> _Block:
        home = runner.block(plan.home, first, count, "home")
        bases = [runner.block(world, first, count, f"base {i}") for i, world in enumerate(plan.bases)]
        pairs, ways, called = [], [], []
        for setting in plan.settings:
            branch = play_setting(runner, setting, first, home, bases)
            calls, made = range(setting.n_calls), branch.records[:, COLUMN["first_call"]]
            pairs.append(PairTally.from_records(branch.base, branch.records, setting.n_calls))
            ways.append(tuple(WaysTally.from_records(branch.records, c) for c in calls))
            called.append(tuple(first + np.flatnonzero(made == c + 1) for c in calls))
        points = home[:, COLUMN["points"]].astype(np.int64)
        return _Block(_sums(points), tuple(pairs), tuple(ways), tuple(called))

    total = run_blocks(size, runner, block, partial(told, 0.0, 1.0))
    calls = []
    for s, setting in enumerate(scenario.settings):
        values = estimate.estimate_setting(total.pairs[s], scenario.over_n).calls
        for c, (call, one) in enumerate(zip(setting.calls, values, strict=True)):
            ways = _ways(total.ways[s][c])
            turnovers = sum(one.outcomes[name] or 0.0 for name in ("steal", "other_turnover"))
            beaten = sum(one.outcomes[name] or 0.0 for name in GOT_OUT)
            calls.append(
                {
                    "setting": setting.name,
                    "call": call.name,
                    "label": spoken(call.name) if side.charted else call.spot,
                    "called": one.called,
                    "watched": min(one.called, TRACED),
                    "per_100": one.called_per_100,
                    "value": one.value.as_dict(),
                    "lost": wilson(round(turnovers * one.called), one.called).as_dict(),
                    "got_out": wilson(round(beaten * one.called), one.called).as_dict(),
                    "outcomes": one.outcomes,
                    "other_parts": one.other_parts,
                    "ways": ways,
                    "after_trap": _after_trap(scenario, call, ways),
                    "middle_or_skip": _middle_or_skip(ways),
                    "outlets": _outlets(
                        packed.settings[s].world,
                        size,
                        total.called[s][c][:TRACED],
                        scenario.offence_team.lineup,
                    ),
                }
            )
        told(1.0, 1.0, s + 1, len(scenario.settings))
    n = size.possessions
    found = {
        "home": normal_interval(n, int(total.home[0]), int(total.home[1])).as_dict(),
        "calls": calls,
        "bring_up": _bring_up(scenario, size, partial(told, 2.0, float(CARRIERS))),
    }
    return Attack(side, size, found)


def _after_trap(scenario: Scenario, call: Call, ways: list[Found]) -> Found:
    """The ways out as a court card takes them (``timing``'s after_trap): who of theirs then takes ball and
    rim by the still picture, on the way that most passes went."""
    still = escapes_of(scenario_setup(scenario, scenario.zone, scenario.zone_options), call)
    shares = {name: one["share"]["mean"] for name, one in zip(BREAKS, ways, strict=False)}
    told = still[max(BREAKS, key=lambda name: shares[name] or 0.0)] if still else {"ball": None, "rim": None}
    out = [{"to": name, "share": shares[name]} for name in BREAKS]
    return {"call": call.name, "ball": told["ball"], "rim": told["rim"], "ways_out": out}


def _bring_up(scenario: Scenario, size: RunSize, progress: Progress) -> list[Found]:
    """Each of the first CARRIERS positions as the one who brings it up against all traps together: points a
    possession, and less those of who does now, on the same possessions. () where there is no trap."""
    every = together(scenario)
    if every is None:
        return []
    lineup = scenario.offence_team.lineup
    worlds = []
    for k in range(CARRIERS):
        swapped = list(lineup)
        swapped[0], swapped[k] = swapped[k], swapped[0]
        team = scenario.offence_team.model_copy(update={"lineup": tuple(swapped)})
        one = scenario.model_copy(update={"offence_team": team, "settings": (every,)})
        worlds.append(pack(one).settings[0].world)
    runner = Runner(size.seed)
    runner.warm(worlds[0])

    def block(first: int, count: int) -> IntArray:
        points = [
            runner.block(world, first, count, f"man {k}")[:, COLUMN["points"]].astype(np.int64)
            for k, world in enumerate(worlds)
        ]
        return np.array([(*_sums(one), *_sums(one - points[0])) for one in points])

    sums, n = run_blocks(size, runner, block, progress), size.possessions
    return [
        {
            "number": lineup[k],
            "points": normal_interval(n, int(row[0]), int(row[1])).as_dict(),
            "more": normal_interval(n, int(row[2]), int(row[3])).as_dict(),
        }
        for k, row in enumerate(sums)
    ]
