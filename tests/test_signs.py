"""Which way things go: legs, a late second man, more time; at sizes that settle each, on common luck.

Played at whole length only where everything is (``full``); every claim says how far from nothing it must be
in standard errors. The sizes of the effects are results of the model and are claimed nowhere here.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from closed_forms import played
from test_calls import world_of
from test_slides import built

from engine.state.arrays import N_SIDE
from engine.state.record import COLUMN

pytestmark = pytest.mark.full

N = 40_000
SEED = 11


def z_of(difference: Any) -> tuple[float, float]:
    """(mean, mean over its standard error) of paired differences."""
    error = difference.std() / np.sqrt(len(difference))
    return float(difference.mean()), float(difference.mean() / error)


def column(world: Any, name: str) -> Any:
    return played(world, N, SEED)[:, COLUMN[name]].astype(float)


def slower(world: Any, side: slice) -> Any:
    other = world.copy()
    for name in ("top_speed_mps", "slide_mps"):
        other.players[name][0, side] *= 0.8
    return other


@pytest.mark.parametrize("zone", ["two_three", "man_to_man"])
def test_slow_legs_cost_points(zone: str) -> None:
    """A fifth slower, defenders concede more and attackers score less: each by 3 standard errors."""
    world = built(setting=[], defence={"zone": zone, "options": {}}).home
    points = column(world, "points")
    more, z = z_of(column(slower(world, slice(N_SIDE, None)), "points") - points)
    assert z > 3.0, ("defenders x.8", more, z, N)
    less, z = z_of(column(slower(world, slice(0, N_SIDE)), "points") - points)
    assert z < -3.0, ("attackers x.8", less, z, N)


@pytest.mark.parametrize("call", ["corner", "short_corner", "wing", "top"])
def test_a_late_second_man_forces_fewer_turnovers(call: str) -> None:
    """One second late: fewer turnovers in the possessions in which the call is made, by 2 standard errors."""
    found = {}
    n = 4 * N if call in ("corner", "short_corner") else N  # the ball is seldom there
    for late_s in (0.0, 1.0):
        world = world_of(call, {"second_trapper_delay_s": late_s}, start="bring_up")
        found[late_s] = played(world, n, SEED)
    calls = (found[0.0][:, COLUMN["first_call"]] > 0) & (found[1.0][:, COLUMN["first_call"]] > 0)
    lost = [found[late_s][calls, COLUMN["turnovers"]].astype(float) for late_s in (0.0, 1.0)]
    assert calls.sum() > 1_000
    less, z = z_of(lost[1] - lost[0])
    assert z < -2.0, (call, less, z, int(calls.sum()))


@pytest.mark.parametrize("level", ["demo", "level_school", "level_college", "level_professional"])
def test_more_time_is_no_harm(level: str) -> None:
    """Points with 14, 18, 24, 30, 40 s on the shot clock never fall by more than 2.5 standard errors."""
    from engine.inputs import load_scenario
    from engine.world.pack import pack

    means, errors = [], []
    for clock_s in (14.0, 18.0, 24.0, 30.0, 40.0):
        if level == "demo":
            world = built(setting=[], rules_changes={"clock.shot_s": clock_s}).home
        else:
            world = pack(load_scenario(level)).home.copy()
            world.rules["shot_clock_s"][0] = clock_s
        points = column(world, "points")
        means.append(points.mean())
        errors.append(points.std() / np.sqrt(N))
    falls = -np.diff(means) / np.hypot(errors[1:], errors[:-1])
    assert falls.max() < 2.5, (means, errors)
