"""Plays the worlds that the patterns compare, on the same possession numbers, and keeps those used twice.

A world that differs from another only in what happens after a call is played again only in the possessions
in which that call is made.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import replace
from typing import Any, TypedDict, TypeVar, Unpack

import numpy as np
from numpy.typing import NDArray

from engine.inputs.defaults import HOME
from engine.inputs.files import read_toml, resolve
from engine.inputs.scenario import Scenario, scenario_from
from engine.run.blocks import Runner, World, run_blocks
from engine.run.branches import Plan, branches_of, play_setting
from engine.run.size import RunSize, check_size
from engine.state.record import N_RECORD
from engine.study.patterns.common import Records, called
from engine.world.pack import pack

DEMO = "friday_night"
SEED = 20
#: Trap calls of the demo, each played as a setting of its own.
CALLS = ("corner", "short_corner", "wing", "top")
#: Possessions of the demo's zone and of each call.
N_BASE = 300_000
#: The fewest possessions of a branch, however small the scale.
FEWEST = 500

Edit = Callable[[World], None]
Table = dict[str, Any]


class Changes(TypedDict, total=False):
    """What ``variant`` takes."""

    scenario: str
    calls: tuple[str, ...]
    probability: float | None
    defence: Table | None
    rules_changes: Table | None
    constants: Table | None


def variant(
    scenario: str = DEMO,
    calls: tuple[str, ...] = (),
    probability: float | None = None,
    defence: Table | None = None,
    rules_changes: Table | None = None,
    constants: Table | None = None,
) -> Scenario:
    """A shipped scenario with other settings (one for each call, named after it), defence or rules.

    ``probability`` replaces that of every call. ``defence``: keys of the scenario's [defence] to replace.
    """
    source = resolve(scenario, "scenarios")
    data = copy.deepcopy(read_toml(source))
    changes = {} if probability is None else {"probability": probability}
    data["setting"] = [{"name": name, "call": [{"call": name, **changes}]} for name in calls]
    data["defence"] |= defence or {}
    data["rules_changes"] = data.get("rules_changes", {}) | (rules_changes or {})
    data["constants"] = data.get("constants", {}) | (constants or {})
    return scenario_from(data, source)


def edited(world: World, edit: Edit) -> World:
    """A copy of a world after an edit of its fields."""
    other = world.copy()
    edit(other)
    return other


def constants(**values: float) -> Edit:
    """The edit that sets constants of the model."""

    def edit(world: World) -> None:
        for name, value in values.items():
            world["k"][name] = value

    return edit


def rules(**values: float) -> Edit:
    """The edit that sets fields of the rules as the kernel sees them."""

    def edit(world: World) -> None:
        for name, value in values.items():
            world["rules"][name] = value

    return edit


def edited_plan(planned: Plan, edit: Edit) -> Plan:
    """The same edit made in every world of a plan."""
    settings = tuple(replace(one, world=edited(one.world, edit)) for one in planned.settings)
    return Plan(edited(planned.home, edit), tuple(edited(one, edit) for one in planned.bases), settings)


Kept = TypeVar("Kept")


class Run:
    """One run of the table: scale, threads, what was played so far and what is kept.

    ``tick`` is called in the calling thread after every block.
    """

    def __init__(self, scale: float, threads: int | None, tick: Callable[[], None]) -> None:
        self.scale = scale
        self.threads = check_size(1, SEED, threads).threads
        self.tick = tick
        self.played = 0
        self.runner = Runner(SEED)
        self._kept: dict[str, Any] = {}

    def n(self, count: int) -> int:
        """A number of possessions at this run's scale."""
        return max(FEWEST, round(count * self.scale))

    def keep(self, name: str, make: Callable[[], Kept]) -> Kept:
        """What ``make`` returned the first time it was asked for under this name."""
        if name not in self._kept:
            self._kept[name] = make()
        kept: Kept = self._kept[name]
        return kept

    # --- plans ------------------------------------------------------------------------------------------

    def plan(self, **changes: Unpack[Changes]) -> Plan:
        """The plan of a ``variant``, kept."""
        return self.keep(f"plan {sorted(changes.items())}", lambda: branches_of(pack(variant(**changes))))

    def world(self, name: str = HOME, **changes: Unpack[Changes]) -> World:
        """A world of a ``variant``: staying home, or the setting of that name."""
        planned = self.plan(**changes)
        if name == HOME:
            return planned.home
        return next(one.world for one in planned.settings if one.name == name)

    # --- playing ----------------------------------------------------------------------------------------

    def _blocks(self, world: World, count: int, task: Callable[[int, int], int]) -> None:
        """Runs a task over blocks; the engine is loaded before, in the calling thread."""
        if not self.played:
            self.runner.warm(world)
        size = RunSize(count, SEED, self.threads)
        self.played += run_blocks(size, self.runner, task, lambda done, total: self.tick())

    def play(self, world: World, numbers: int | NDArray[np.int64]) -> Records:
        """Records int32 [count, N_RECORD] of possession numbers, or of the first ``numbers`` possessions."""
        wanted = np.arange(numbers) if isinstance(numbers, int) else numbers
        records = np.zeros((len(wanted), N_RECORD), np.int32)
        if not len(wanted):
            return records

        def task(first: int, count: int) -> int:
            part = slice(first, first + count)
            records[part] = self.runner.chosen(world, wanted[part], None, "patterns")
            return count

        self._blocks(world, len(wanted), task)
        return records

    def branches(self, planned: Plan, count: int) -> dict[str, Records]:
        """Records of staying home and of every setting of a plan, over the first ``count`` possessions.

        Raises RuntimeError when a possession without a call differs from staying home.
        """
        found = {HOME: np.zeros((count, N_RECORD), np.int32)}
        found |= {one.name: np.zeros((count, N_RECORD), np.int32) for one in planned.settings}

        def task(first: int, size: int) -> int:
            part, done = slice(first, first + size), size
            home = self.runner.block(planned.home, first, size, HOME)
            found[HOME][part] = home
            for one in planned.settings:
                branch = play_setting(self.runner, one, first, home, [])
                if branch.differences:
                    raise RuntimeError(f"{one.name}: a possession without a call differs from staying home")
                found[one.name][part] = branch.records
                done += int(called(branch.records).sum()) + branch.checked
            return done

        self._blocks(planned.home, count, task)
        return found

    # --- the demo ---------------------------------------------------------------------------------------

    def demo(self) -> Plan:
        """The demo with each call as a setting."""
        return self.plan(calls=CALLS)

    def base(self, name: str, count: int | None = None) -> Records:
        """The demo as it is: "home" or a call, on the same possessions; the first ``count`` of them."""
        found = self.keep("base", lambda: self.branches(self.demo(), self.n(N_BASE)))
        records: Records = found[name]
        return records if count is None else records[: self.n(count)]

    def again(self, name: str, edit: Edit, count: int) -> Records:
        """The called ones among the demo's first ``count`` possessions, in a world changed after the call.

        Raises RuntimeError when the change has undone a call: it was not one behind the call.
        """
        world = edited(self.world(name, calls=CALLS), edit)
        records = self.play(world, np.flatnonzero(called(self.base(name, count))))
        if not called(records).all():
            raise RuntimeError(f"{name}: a change behind the call has changed what came before it")
        return records
