"""How often the steps of the attack's plays begin, and how often they last their time.

Counted in possessions that are played again and watched, so that the kernel keeps no counts of its own and
nothing that is played depends on it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.estimate.intervals import Found, if_enough, normal_interval, scaled
from engine.estimate.tally import IntArray, Tally
from engine.inputs.scenario import Scenario
from engine.inputs.settings import Setting
from engine.kernel.watch import STEPS, Watched
from engine.run.blocks import World
from engine.run.size import RunSize
from engine.run.watch import watch_block
from engine.world.pack import plays_of

#: Possessions that are watched at most: a step begun once in 100 possessions is then known to a sixth or so.
WATCHED = 4000


@dataclass(frozen=True, eq=False)
class StepTally(Tally):
    """Sums over watched possessions: ``n`` of them; by step, int64[steps]: how often it was ``begun``, the
    ``squares`` of that in each possession, and how often it lasted its time (``whole``)."""

    n: int
    begun: IntArray
    squares: IntArray
    whole: IntArray

    @classmethod
    def from_watched(cls, seen: Watched, steps: int) -> StepTally:
        """Tally a block that was watched with its states ("s"), of a world with so many steps of plays.

        A step that begins and ends within one step of time is not seen.
        """
        s = seen.steps["s"]
        play, until = s["play"], s["play_t"]
        before, until_before = np.roll(play, 1), np.roll(until, 1)
        inside = np.ones(len(s), bool)
        inside[seen.ends[:-1, STEPS]] = False  # the start of a possession follows nothing
        other = inside & ((play != before) | (until > until_before))
        begins = other & (play >= 0)
        lasted = other & (before >= 0) & (s["begun"] >= until_before)
        n = len(seen.numbers)
        cell = seen.possession_of(STEPS)[begins] * steps + play[begins]
        each = np.bincount(cell, minlength=n * steps).reshape(n, steps)
        whole = np.bincount(before[lasted], minlength=steps).astype(np.int64)
        return cls(n, each.sum(axis=0), (each * each).sum(axis=0), whole)


def count_steps(world: World, size: RunSize) -> StepTally:
    """The tally of the first possessions of a run, WATCHED at most, in one world [1]."""
    steps = int(world["n_steps"][0])
    zeros = np.zeros(steps, np.int64)
    total = StepTally(0, zeros, zeros, zeros)
    if steps:
        count = min(size.possessions, WATCHED)
        for seen in watch_block(world, size.seed, 0, count, ("s",), threads=size.threads):
            total += StepTally.from_watched(seen, steps)
    return total


def steps_dict(scenario: Scenario, setting: Setting | None, tally: StepTally) -> Found:
    """The counts by play and step, as JSON; ``setting`` None: staying home. Only plays that are run there."""
    run = scenario.plays if setting is None or setting.plays is None else setting.plays
    names = [(play, step.name) for play in plays_of(scenario) for step in play.steps]
    rows = []
    for i, (play, name) in enumerate(names if tally.n else ()):
        if play not in run:
            continue
        begun, squares = int(tally.begun[i]), int(tally.squares[i])
        per_100 = scaled(if_enough(normal_interval(tally.n, begun, squares), begun), 100)
        rows.append(
            {
                "play": play.name,
                "step": name,
                "begun": begun,
                "per_100_possessions": per_100.as_dict(),
                "lasted_its_time": int(tally.whole[i]),
            }
        )
    return {"possessions": tally.n, "steps": rows}
