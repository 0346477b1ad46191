"""Bodies and the board: nobody runs through an opponent, nobody shoots through the board."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from kernel_process import SCENARIO
from shapely.geometry import LineString, Point
from test_motion import BRAKE, agent, run

from engine.inputs import load_scenario
from engine.kernel.motion import part
from engine.kernel.shooting import BOARD_HALF_M, BOARD_Y_M, behind_board
from engine.run.watch import watch_numbers
from engine.state.arrays import N_SIDE
from engine.state.words import Event, Mode, Option
from engine.world.pack import pack

LEAST_M = 0.6
N = 200
SEED = 4


def meet(a: Any, b: Any) -> None:
    """As the kernel does after a step: two who overlap are moved apart."""
    dx, dy = a.x - b.x, a.y - b.y
    d = float(np.hypot(dx, dy))
    if d < LEAST_M:
        part(a, b, dx / d, dy / d, LEAST_M - d)


@pytest.mark.parametrize("off_m", [0.01, 0.2, 0.4, 0.55])
@pytest.mark.parametrize("dt", [0.05, 0.1, 0.2])
def test_a_man_who_stands_is_not_moved_by_one_who_runs_in(off_m: float, dt: float) -> None:
    """He keeps his place to the last bit, the runner never comes nearer than two radii and gets past him only
    around him; what speed he keeps does not point into the other."""
    a, b = agent(y=off_m), agent(x=3.0)
    a.tx, b.tx = 9.0, 3.0
    a.ty = off_m
    least, met = 9.0, False
    for _ in range(round(6.0 / dt)):
        run(a, 6.3, 1.0, BRAKE, dt, 1)
        meet(a, b)
        d = float(np.hypot(a.x - b.x, a.y - b.y))
        if d < LEAST_M + 1e-9:
            met = True
            assert (a.x - b.x) * a.vx + (a.y - b.y) * a.vy >= -1e-9
        least = min(least, d)
        assert (b.x, b.y, b.vx, b.vy) == (3.0, 0.0, 0.0, 0.0)
    assert met and least >= LEAST_M - 1e-9


def test_two_who_meet_stop_each_other() -> None:
    """Both at one speed: both are stopped, and moved by the same; the faster one gives way the more."""
    for pace in (2.0, 4.0):
        a, b = agent(x=-0.25, vx=pace), agent(x=0.25, vx=-2.0)
        part(a, b, -1.0, 0.0, 0.1)
        assert b.x - a.x == pytest.approx(LEAST_M)
        share = pace / (pace + 2.0)
        assert (a.x, b.x) == pytest.approx((-0.25 - 0.1 * share, 0.25 + 0.1 * (1.0 - share)))
        assert b.vx - a.vx == pytest.approx(0.0), "they close in on each other no more"
    apart = agent(x=-0.25, vx=-1.0), agent(x=0.25, vx=1.0)
    part(*apart, -1.0, 0.0, 0.1)
    assert (apart[0].vx, apart[1].vx) == (-1.0, 1.0), "who goes apart is not held"


@pytest.fixture(scope="module")
def traces() -> list[Any]:
    """Possessions at home and with a trap."""
    packed = pack(load_scenario(SCENARIO))
    assert packed.home[0].k.body_radius_m * 2 == LEAST_M
    worlds = (packed.home, packed.settings[-1].world)
    blocks = [b for w in worlds for b in watch_numbers(w, SEED, np.arange(N), what=("s", "agents"))]
    return [t for block in blocks for t in block.traces()]


def test_nobody_passes_through_an_opponent(traces: list[Any]) -> None:
    """After every step opponents are two radii apart, but for throw-ins (people are put down), for the lines,
    where people are held in, and for crowds, where moving one pair apart brings the next together: few steps,
    by less than a radius, and even there nobody changes sides with the man whom he touches."""
    rules = pack(load_scenario(SCENARIO)).home[0].rules
    half_width_m, baseline_y_m = float(rules.half_width_m), float(rules.baseline_y_m)
    steps = touching = alone_touching = crowded = 0
    worst = 0.0
    for t in traces:
        x, y = t.agents["x"], t.agents["y"]
        dx = x[:, :N_SIDE, None] - x[:, None, N_SIDE:]
        dy = y[:, :N_SIDE, None] - y[:, None, N_SIDE:]
        d = np.hypot(dx, dy)
        put_down = np.zeros(len(d), bool)
        dead = (Event.THROW_IN, Event.FREE_THROW)
        put_down[np.searchsorted(t.states["t"], t.events[np.isin(t.events[:, 1], dead), 0] - 1e-6)] = True
        near = d < LEAST_M + 1e-6
        touching += near.any(axis=(1, 2)).sum()
        # two alone: neither of them was near a third one while they were moved apart
        close = d < LEAST_M + 0.3
        alone = (close.sum(axis=2, keepdims=True) == 1) & (close.sum(axis=1, keepdims=True) == 1)
        at_line = (np.abs(x) >= half_width_m) | (y <= baseline_y_m)
        at_line = at_line[:, :N_SIDE, None] | at_line[:, None, N_SIDE:]
        alone &= ~put_down[:, None, None] & ~at_line
        assert (d[alone] >= LEAST_M - 1e-9).all()
        alone_touching += (d[alone] < LEAST_M + 1e-6).sum()
        over = np.where(put_down[:, None, None], 0.0, LEAST_M - d)
        worst = max(worst, over.max())
        crowded += (over > 1e-9).any(axis=(1, 2)).sum()
        steps += len(d)
        turned = dx[1:] * dx[:-1] + dy[1:] * dy[:-1] < 0.0
        was_near = (d[:-1] < LEAST_M + 1e-6) & ~(put_down[1:] | put_down[:-1])[:, None, None]
        assert not (turned & was_near).any()
    assert touching > alone_touching > 200, "people do meet"
    assert crowded < 0.03 * steps and worst < 0.3, (crowded, steps, worst)


# --- the board ----------------------------------------------------------------------------------------


def test_behind_the_board_is_where_it_stands_between() -> None:
    """Against the straight line from the ball to the rim's centre crossing the board (shapely)."""
    board = LineString([(-BOARD_HALF_M, -BOARD_Y_M), (BOARD_HALF_M, -BOARD_Y_M)])
    rng = np.random.default_rng(3)
    points = np.column_stack([rng.uniform(-7.5, 7.5, 3000), rng.uniform(-1.575, 3.0, 3000)])
    found = [behind_board(float(x), float(y)) for x, y in points]
    wanted = [LineString([(x, y), (0.0, 0.0)]).crosses(board) for x, y in points]
    assert found == wanted and 200 < sum(wanted) < 1500
    assert Point(0.0, -BOARD_Y_M).distance(board) == 0.0
    assert not behind_board(0.0, -BOARD_Y_M + 1e-6) and behind_board(0.0, -BOARD_Y_M - 1e-6)


def test_nobody_shoots_from_behind_the_board(traces: list[Any]) -> None:
    """A shot is weighed only where the board is not between; who goes up on the run has by then gone no
    farther than his wind-up takes him: none leaves from deeper behind it than a stride."""
    weighed = shots = 0
    for t in traces:
        s = t.states
        for o in t.options[t.options[:, 3] == Option.SHOOT]:
            n = int(np.searchsorted(s["t"], o[0] - 1e-6))
            h = t.agents[n, int(o[2])]
            assert not behind_board(h["x"], h["y"])
            weighed += 1
        for e in t.events[t.events[:, 1] == Event.SHOT]:
            shots += 1
            n = int(np.searchsorted(s["t"], e[0] - 1e-6))
            begun = np.flatnonzero(s["mode"][:n] != Mode.SHOT_WINDUP)[-1] + 1
            h = t.agents[begun, int(e[2])]
            assert not behind_board(h["x"], h["y"]), "where he went up"
    assert weighed > 500 and shots > 300
