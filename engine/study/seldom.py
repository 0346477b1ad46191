"""Why a call hardly comes up: how often it could, on those it is meant for and on everybody."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np

from engine.estimate.intervals import LEAST_EVENTS, Found, IntArray
from engine.inputs.calls import Call
from engine.inputs.defaults import HOME
from engine.inputs.scenario import Scenario
from engine.inputs.settings import Setting
from engine.run.blocks import Progress, Runner, part_of_progress, run_blocks
from engine.run.branches import branches_of
from engine.run.size import RunSize
from engine.state.record import COLUMN
from engine.study.play import play
from engine.world.pack import pack


@dataclass(frozen=True)
class Seldom:
    """``calls``: a row for each call that hardly comes up, in possessions whose first call it is: ``called``
    as it is made, ``chances`` at every chance on those it is meant for, ``on_all`` on all five."""

    possessions: int
    calls: tuple[Found, ...]

    def to_dict(self) -> Found:
        """The JSON: keys of ``Seldom``."""
        return asdict(self)


def seldom(
    scenario: Scenario,
    compared: Found,
    size: RunSize,
    least: int = LEAST_EVENTS,
    progress: Progress | None = None,
) -> Seldom | None:
    """Play the calls that came first in fewer than ``least`` possessions of ``compared`` (the JSON of
    ``compare``) at every chance; None where there is none."""
    rare = [
        (setting, call, found["called"])
        for setting, block in zip(scenario.settings, compared["settings"], strict=True)
        for call, found in zip(setting.calls, block["calls"], strict=True)
        if found["called"] < least
    ]
    if not rare:
        return None

    def at_every_chance(setting: Setting, call: Call, only: tuple[int, ...]) -> Setting:
        one = call.model_copy(update={"only_against": only, "probability": 1.0})
        return setting.model_copy(update={"calls": (one,)})

    asked = {
        (i, only): at_every_chance(setting, call, only)
        for i, (setting, call, _) in enumerate(rare)
        for only in {(): None, call.only_against: None}
    }
    came = dict(zip(asked, came_up(scenario, tuple(asked.values()), size, progress), strict=True))
    rows: list[Found] = []
    for i, (setting, call, called) in enumerate(rare):
        rows.append(
            {
                "setting": setting.name,
                "call": call.name,
                "called": called,
                "only_against": list(call.only_against),
                "probability": call.probability,
                "chances": came[i, call.only_against],
                "on_all": came[i, ()],
            }
        )
    return Seldom(size.possessions, tuple(rows))


def came_up(
    scenario: Scenario, settings: tuple[Setting, ...], size: RunSize, progress: Progress | None = None
) -> list[int]:
    """Possessions in which each of these settings, of one call, makes it: what home's record says where home
    watches the setting, else the setting is played."""
    plan, runner = branches_of(pack(scenario.model_copy(update={"settings": settings}))), Runner(size.seed)

    by_home = [one.bit is not None for one in plan.settings]
    runs, done = max(by_home) + by_home.count(False), 0
    total = runs * size.possessions
    runner.warm(plan.home)

    def watched(first: int, count: int) -> IntArray:
        shadow = runner.block(plan.home, first, count, HOME)[:, COLUMN["shadow"]]
        return np.array([(shadow >> i & 1).sum() for i in range(len(settings))], np.int64)

    seen = np.zeros(len(settings), np.int64)
    if any(by_home):
        seen = run_blocks(size, runner, watched, part_of_progress(progress, 0, total))
        done = size.possessions
    for i in np.flatnonzero(np.logical_not(by_home)):
        alone = scenario.model_copy(update={"settings": (settings[i],)})
        part = part_of_progress(progress, done, total)
        found = play(alone, size.possessions, size.seed, size.threads, settings[i].name, part)
        seen[i] = found.to_dict(steps=False)["calls"][0]["called"]
        done += size.possessions
    return [int(n) for n in seen]
