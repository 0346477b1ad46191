"""What a shot is worth and how near a defender gets to it, by the kernel's own functions.

Points are 3 or 2 times the chance to make it: no foul, no rebound, no hurry on the clock, off the catch.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from engine.kernel.motion import move
from engine.kernel.near import FAR_AWAY
from engine.kernel.scratch import new_scratch
from engine.kernel.shooting import NO_HURRY_S, effective_gap, is_three, make_probability
from engine.state.arrays import N_SIDE
from engine.still.picture import Point
from engine.world.shots import taken_rhythm


def close_out_gap(
    way_m: float, time_s: float, top_mps: float, k: Mapping[str, float], stand_m: float, up_s: float
) -> float:
    """Metres from the shooter when the shot leaves, ``way_m`` away and at rest ``time_s`` (running) before.

    The kernel's motion in its own time step (the last one of each part shortened): he brakes, as for a
    close-out, to stand ``stand_m`` off; for the last ``up_s`` seconds he goes up with the shooter, to
    contest_m.
    """
    runner = new_scratch()[0].agents[N_SIDE]
    stop = k["brake_mps2"] * k["close_out_brake_share"]
    up = min(max(up_s, 0.0), max(time_s, 0.0))
    for left, stand in ((time_s - up, stand_m), (up, k["contest_m"])):
        runner.tx = max(way_m - stand, float(runner.x))
        while left > 1e-9:
            dt = min(k["time_step_s"], left)
            gain = 1.0 - math.exp(-dt / k["sprint_tau_s"])
            move(runner, top_mps, k["sprint_tau_s"], gain, k["brake_mps2"], stop, dt)
            left -= dt
    return way_m - float(runner.x)


class ShotWorth:
    """Shots of the attackers of one packed world (WORLD [1]); attackers by position 1 to 5, metres."""

    def __init__(self, world: np.ndarray) -> None:
        self._w = world[0]
        self._c = new_scratch()[0]

    def three(self, at: Point) -> bool:
        """Whether a shot from there counts three."""
        return bool(is_three(self._w, at[0], at[1]))

    def points(self, position: int, at: Point, gap_m: float, second_m: float = FAR_AWAY) -> float:
        """Expected points of a shot that he takes from there, the two (effective) defenders that far away."""
        k, away = self._w.k, math.hypot(*at)
        rhythm = float(k.shot_rhythm_logit) * taken_rhythm(k, self.three(at), away < k.rim_range_m)
        make = float(
            make_probability(self._w, position - 1, away, gap_m, second_m, NO_HURRY_S, False, rhythm)
        )
        return (3.0 if self.three(at) else 2.0) * make

    def effective_gaps(self, position: int, at: Point, defenders: Sequence[Point]) -> tuple[float, float]:
        """Distances of the two who bother his shot most: taller counts as nearer, behind him as farther.

        ``defenders``: places of agents 5 to 9, in their order.
        """
        for agent, (x, y) in enumerate(defenders, N_SIDE):
            self._c.agents[agent].x = x
            self._c.agents[agent].y = y
        gap, _, second = effective_gap(self._w, self._c, position - 1, at[0], at[1])
        return float(gap), float(second)
