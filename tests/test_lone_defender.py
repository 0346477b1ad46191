"""A pass against a lone defender who stands still: how often he touches it, against the touch curve itself.

The kernel's release and flight are run on a court that holds a passer, a receiver and one defender; the
others stand far away. The curve is written here anew; its shape and numbers are inputs of the model.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from kernel_process import SCENARIO
from scipy import stats

from engine.inputs import load_scenario
from engine.kernel.batch import new_scratch
from engine.kernel.jit import njit
from engine.kernel.passing import CATCH_M, fly, release_pass
from engine.state.arrays import N_PLAYERS, N_SIDE
from engine.state.words import Flight, PassKind
from engine.world.pack import pack

N = 20_000
SEED = 15
DEFENDER = N_SIDE
#: The pass, metres: across the court, ten metres long.
X0, X1, Y = -5.0, 5.0, 6.0
LENGTH = X1 - X0


@njit
def throw(worlds: Any, scratches: Any, kind: int, x: float, y: float, touched: Any, stolen: Any) -> None:
    """Throws the pass in possessions 0 .. len(touched) - 1 past a defender who stands at (x, y)."""
    w = worlds[0]
    c = scratches[0]
    s = c.s
    dt = w.k.time_step_s
    for i in range(len(touched)):
        s.possession = i
        s.n_events = 0
        s.n_passes = 1
        s.t = 0.0
        s.release_t = 0.0
        s.near = 1
        s.passer = 0
        s.handler = 0
        s.target = 1
        s.pass_kind = kind
        s.pass_x1 = X1
        s.pass_y1 = Y
        for j in range(N_PLAYERS):
            c.agents[j].x = 50.0 + j
            c.agents[j].y = 50.0
        c.agents[0].x = X0
        c.agents[0].y = Y
        c.agents[1].x = X1
        c.agents[1].y = Y
        c.agents[DEFENDER].x = x
        c.agents[DEFENDER].y = y
        c.record.deflections = 0
        release_pass(w, c)
        what = Flight.FLYING
        step = 0
        while what == Flight.FLYING:
            step += 1
            s.t = step * dt
            s.now = s.t + 0.5 * dt
            what = fly(w, c)
        touched[i] = c.record.deflections
        stolen[i] = what == Flight.STOLEN


@pytest.fixture(scope="module")
def world() -> Any:
    world = pack(load_scenario(SCENARIO)).home.copy()
    world[0].k.aim_sd_per_m = 0.0
    return world


def thrown(world: Any, kind: int, x: float, off_m: float, *, dt: float = 0.02, height_m: float = 1.85) -> Any:
    """(touched, stolen) bool [N] by a defender at ``x`` and ``off_m`` beside the ball's path."""
    world = world.copy()
    world[0].k.time_step_s = dt
    world[0].players[DEFENDER].reach_m = 1.33 * height_m
    scratch = new_scratch()
    scratch[0].s.seed = SEED
    touched, stolen = np.zeros(N, np.int64), np.zeros(N, np.bool_)
    throw(world, scratch, int(kind), x, Y + off_m, touched, stolen)
    assert touched.max() <= 1
    return touched == 1, stolen


def curve(world: Any, gap_m: Any, share: Any = 1.0) -> Any:
    """Chance of a touch, the ball within reach above him: a logistic in (arm reach - gap)."""
    k = world[0].k
    return share * k.touch_max_p / (1.0 + np.exp((gap_m - k.arm_reach_m) / k.touch_width_m))


def near(found: Any, p: float) -> bool:
    return bool(abs(found.mean() - p) < 4 * math.sqrt(p * (1 - p) / N))


OFF_M = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6)


@pytest.mark.parametrize("off_m", OFF_M)
def test_a_direct_pass_is_touched_as_at_its_closest(world: Any, off_m: float) -> None:
    touched, stolen = thrown(world, PassKind.DIRECT, 0.0, off_m)
    assert near(touched, curve(world, off_m))
    p = world[0].k.clean_steal_p
    assert not stolen[~touched].any()
    assert abs(stolen[touched].mean() - p) < 4 * math.sqrt(p * (1 - p) / touched.sum())


@pytest.mark.parametrize("off_m", OFF_M)
def test_a_bounce_pass_goes_under_his_hands(world: Any, off_m: float) -> None:
    touched, _ = thrown(world, PassKind.BOUNCE, 0.0, off_m)
    assert near(touched, curve(world, off_m, world[0].k.bounce_touch_share))
    assert touched.sum() < thrown(world, PassKind.DIRECT, 0.0, off_m)[0].sum()


def test_the_farther_the_fewer(world: Any) -> None:
    """On the same luck: who touches from farther off touches from nearer too."""
    for kind in (PassKind.DIRECT, PassKind.BOUNCE):
        before = np.ones(N, np.bool_)
        for off_m in OFF_M:
            touched, _ = thrown(world, kind, 0.0, off_m)
            assert touched.sum() < before.sum()
            assert not (touched & ~before).any()
            before = touched
    assert not thrown(world, PassKind.DIRECT, 0.0, 4.0)[0].any()


def test_the_step_length_makes_no_difference(world: Any) -> None:
    """One threshold a pass, not a chance a step: the same passes are touched at any step length."""
    expected, _ = thrown(world, PassKind.DIRECT, 0.3, 0.25)
    for dt in (0.01, 0.05, 0.1, 0.2):
        np.testing.assert_array_equal(thrown(world, PassKind.DIRECT, 0.3, 0.25, dt=dt)[0], expected)


def path(world: Any) -> tuple[Any, Any]:
    """Points of the ball's path, metres from the passer, and what is left of a touch at each."""
    k = world[0].k
    along = np.linspace(0.0, LENGTH, 200_001)
    share = np.ones_like(along)
    share[LENGTH - along < k.receiver_space_m] = k.shield_share
    share[along < k.passer_space_m] = k.near_touch_share
    return along, share


def test_near_passer_and_receiver_there_is_less(world: Any) -> None:
    """A defender off the ends of the pass: the passer steps around him, the receiver shields the ball; the
    chance is the greatest of the curve with those shares along the path."""
    along, share = path(world)
    for x in (X0 + 0.5, X1 - 0.4):
        expected = curve(world, np.hypot(X0 + along - x, 0.3), share).max()
        assert expected < 0.8 * curve(world, 0.3)
        # (evaluated at the nearest point of each step's piece of the path)
        touched, _ = thrown(world, PassKind.DIRECT, x, 0.3, dt=0.002)
        assert near(touched, expected)


# --- over the top ---------------------------------------------------------------------------------------


def over_height(world: Any, along: Any) -> Any:
    """Height of the ball, metres: a parabola of the loft over the line from hand to hand."""
    start = 0.92 * world[0].players[0].reach_m + 0.1
    f = along / LENGTH
    return start + (CATCH_M - start) * f + 4.0 * world[0].k.pass_loft_m * f * (1.0 - f)


@pytest.mark.parametrize("height_m", [1.5, 1.7, 1.85, 2.0, 2.2])
@pytest.mark.parametrize("x", [-3.0, 0.0, 3.0, 3.6])
def test_over_the_top_it_takes_reach(world: Any, x: float, height_m: float) -> None:
    """Nothing where the ball is above standing reach and a jump; else the curve at the nearest such point."""
    along, share = path(world)
    within = over_height(world, along) <= 1.33 * height_m + world[0].k.jump_m
    chance = curve(world, np.hypot(X0 + along - x, 0.2), share) * within
    touched, _ = thrown(world, PassKind.OVER, x, 0.2, dt=0.002, height_m=height_m)
    p = float(chance.max())
    if p > 1e-3:
        assert near(touched, p)
    else:
        # too few for a normal band: at most what a count of mean 20,000 p comes to
        assert touched.sum() <= stats.poisson.isf(stats.norm.sf(4), N * p)


def test_the_taller_the_more(world: Any) -> None:
    """Where the ball comes down behind him, every inch counts; under the middle of the arc none does."""
    counts = [
        thrown(world, PassKind.OVER, 3.4, 0.2, height_m=h)[0].sum() for h in (1.5, 1.7, 1.8, 1.9, 2.0, 2.2)
    ]
    assert counts == sorted(counts) and counts[0] < 0.2 * counts[-1]
    assert not thrown(world, PassKind.OVER, 0.0, 0.2, height_m=1.75)[0].any()
    # a direct pass is at his chest, however tall he is
    assert (
        len({int(thrown(world, PassKind.DIRECT, 3.4, 0.2, height_m=h)[0].sum()) for h in (1.5, 1.85, 2.2)})
        == 1
    )
