"""Plausible worlds: the design that draws them, the changed arrays of one world, and what is tallied in it.

A world is a packed scenario with other numbers in it. The arrays are packed once for each front of the
attack; a world gets copies in which the constants, the defenders' speed and the shots are changed and what
the players owe to constants is worked out again. Files are not read a second time.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from random import Random

import numpy as np

from engine.estimate.intervals import FloatArray
from engine.estimate.tally import IntArray, Tally
from engine.inputs.stress import SPECIAL
from engine.run.blocks import BLOCK, Records, Runner, World
from engine.run.branches import Plan, SettingPlan
from engine.state.arrays import CONSTANTS, N_SIDE
from engine.state.record import COLUMN, MOST_CALLS
from engine.state.words import ENDS
from engine.world.pack import refresh_players

#: The input that touches nothing: what the indices make of it is what they make of noise.
DUMMY = "dummy"
#: Keeps the design's random numbers apart from others of the same seed.
DESIGN_KEY = 0x57E5
#: Sums kept of staying home.
HOME_COLUMNS = (
    "n",
    "points",
    "lost",
    "oreb",
    "dreb",
    "three_made",
    "three_attempts",
    "policy_faults",
    "overflow",
)
#: Row of a setting's sums that holds all possessions; row 1 + i those first called at spot i.
WHOLE = 0


def sobol(n_inputs: int, worlds: int, seed: int) -> FloatArray:
    """A scrambled Sobol design float64[worlds, n_inputs] in 0..1; ``worlds`` is a power of two.

    Source: Owen (1998) scrambling as scipy.stats.qmc.Sobol does it, seeded.
    """
    from scipy.stats import qmc  # slow to import, and only this needs it

    sampler = qmc.Sobol(n_inputs, scramble=True, rng=np.random.default_rng([DESIGN_KEY, seed]))
    return np.asarray(sampler.random_base2(worlds.bit_length() - 1), dtype=np.float64)


def drawn(seed: int, number: int, purpose: str) -> Random:
    """The generator of one structural choice of world ``number``: no other choice or world moves it."""
    return Random(f"{seed} {number} {purpose}")


def changed(world: World, values: Mapping[str, float]) -> World:
    """A copy of a packed world [1] with inputs changed: constants by name, or the names of SPECIAL.

    Raises KeyError for a name that is neither.
    """
    found = world.copy()
    players = found["players"][0]
    attack, defence = players[:N_SIDE], players[N_SIDE:]
    for name, value in values.items():
        if name in CONSTANTS:
            found["k"][name] = value
        elif name not in SPECIAL:
            raise KeyError(name)
    if "defender_speed" in values:
        defence["top_speed_mps"] *= values["defender_speed"]
    if "rim_shots" in values:
        attack["rim_logit"] += values["rim_shots"]
    if "jump_shots" in values:
        attack["middle_logit"] += values["jump_shots"]
        attack["three_logit"] += values["jump_shots"]
    if "contest_slope" in values:
        found["shots"][..., 1] *= values["contest_slope"]
    refresh_players(found[0])
    return found


@dataclass(frozen=True, eq=False)
class WorldTally(Tally):
    """Whole-number sums of one world.

    Attributes:
        home: int64[len(HOME_COLUMNS)], sums over the possessions of staying home.
        settings: int64[n_settings, 1 + MOST_CALLS, 3]: possessions, sum and sum of squares of D. Row WHOLE:
            D = home minus setting, all possessions. Row 1 + i: possessions first called at spot i, D = base
            minus setting, the base being home or the setting's own defence without calls.
    """

    home: IntArray
    settings: IntArray


def _home_sums(records: Records) -> IntArray:
    def total(name: str) -> int:
        return int(records[:, COLUMN[name]].sum(dtype=np.int64))

    end = records[:, COLUMN["end"]]
    lost = int(((end == ENDS.index("turnover")) | (end == ENDS.index("shot_clock"))).sum())
    own = {"n": len(records), "lost": lost}
    return np.array([own[name] if name in own else total(name) for name in HOME_COLUMNS], dtype=np.int64)


def net_of(records: Records) -> IntArray:
    """Net points of each possession, int64[count]."""
    return records[:, COLUMN["net"]].astype(np.int64)


def _sums(home: IntArray, base: IntArray, setting: IntArray, first_call: IntArray, count: int) -> IntArray:
    """Sums of one setting, int64[1 + MOST_CALLS, 3], from those of ``count`` possessions it was played in."""
    sums = np.zeros((1 + MOST_CALLS, 3), dtype=np.int64)
    whole, called = home - setting, base - setting
    sums[WHOLE] = count, whole.sum(), (whole * whole).sum()
    for spot in range(1, 1 + MOST_CALLS):
        d = called[first_call == spot]
        sums[spot] = len(d), d.sum(), (d * d).sum()
    return sums


def varied(plan: Plan, change: Callable[[World], World]) -> Plan:
    """A plan with all its worlds changed."""
    settings = tuple(replace(setting, world=change(setting.world)) for setting in plan.settings)
    return Plan(change(plan.home), tuple(change(base) for base in plan.bases), settings)


def world_task(
    runner: Runner, possessions: int, plan_of: Callable[[int], Plan]
) -> Callable[[int], WorldTally]:
    """What a worker does with world number j: play home and every setting of ``plan_of(j)``, add up.

    World j plays the possessions j * possessions .. (j + 1) * possessions - 1: the luck is common to the
    settings of a world and another in every world.
    """

    def task(number: int) -> WorldTally:
        plan = plan_of(number)
        total: WorldTally | None = None
        start = number * possessions
        for first in range(start, start + possessions, BLOCK):
            count = min(BLOCK, start + possessions - first)
            home = runner.block(plan.home, first, count, "home")
            base_nets = [net_of(runner.block(base, first, count, "base")) for base in plan.bases]
            sums = np.zeros((len(plan.settings), 1 + MOST_CALLS, 3), dtype=np.int64)
            for i, setting in enumerate(plan.settings):
                if setting.is_base and setting.base is not None:  # played already
                    at_home, net = net_of(home), base_nets[setting.base]
                    sums[i] = _sums(at_home, net, net, np.zeros(count, dtype=np.int64), count)
                    continue
                rows, records = _played(runner, setting, home, first)
                at_home = net_of(home)[rows]
                base = at_home if setting.base is None else base_nets[setting.base][rows]
                first_call = records[:, COLUMN["first_call"]].astype(np.int64)
                sums[i] = _sums(at_home, base, net_of(records), first_call, count)
            part = WorldTally(_home_sums(home), sums)
            total = part if total is None else total + part
        assert total is not None
        return total

    return task


def _played(runner: Runner, setting: SettingPlan, home: Records, first: int) -> tuple[IntArray, Records]:
    """Rows of the block in which a setting was played, and its records there.

    Where home's record says in which possessions it would call (``bit``), the others are home's.
    """
    if setting.bit is None:
        return np.arange(len(home)), runner.block(setting.world, first, len(home), "setting")
    rows = np.flatnonzero((home[:, COLUMN["shadow"]] >> setting.bit) & 1)
    return rows, runner.chosen(setting.world, first + rows.astype(np.int64), None, "setting")
