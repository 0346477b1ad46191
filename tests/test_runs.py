"""Runs that end against their closed form, the forecast against the run played out, two laws of tracking."""

from __future__ import annotations

import math
from functools import partial
from typing import Any

import numpy as np
import pytest
from kernel_process import SCENARIO
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import bisect
from test_motion import agent, run

from engine.inputs import load_scenario
from engine.kernel.forecast import fade, gap_left
from engine.kernel.near import LEAST_GAP_M, on_ball_gap
from engine.kernel.passing import pass_speed
from engine.state.words import PassKind
from engine.world.pack import pack

TAU, BRAKE = 1.0, 7.0
TOPS_MPS = (6.3, 5.04)  # one man, and one who is a fifth slower
WAYS_M = (1.5, 2.0, 3.0, 4.0, 6.0)
STARTS_MPS = (0.0, 3.0)
NEAR_M = 0.1  # he is there for a close-out or a trap; the last decimetre is a matter of a foot


class Ended:
    """A run over ``way_m`` that ends at rest: v = vmax - (vmax - v0) exp(-t / tau) until the rest of the way
    is just enough to brake with half the limit, then at that. Written here anew, solved by bisection."""

    def __init__(self, way_m: float, top: float, start: float) -> None:
        self.way_m, self.top, self.start, self.slow = way_m, top, start, BRAKE / 2
        self.turn_s = float(
            bisect(lambda t: self._gone(t) + self._pace(t) ** 2 / (2 * self.slow) - way_m, 0, 60, xtol=1e-12)
        )
        self.rest_s = self.turn_s + self._pace(self.turn_s) / self.slow

    def _pace(self, t: Any) -> Any:
        return self.top - (self.top - self.start) * np.exp(-t / TAU)

    def _gone(self, t: Any) -> Any:
        return self.top * t + (self.top - self.start) * TAU * np.expm1(-t / TAU)

    def at(self, t: Any) -> Any:
        """Metres gone at ``t`` seconds."""
        braking = np.clip(self.rest_s - t, 0.0, None)
        return np.where(t < self.turn_s, self._gone(t), self.way_m - 0.5 * self.slow * braking**2)

    def time_to(self, metres: float) -> float:
        return float(bisect(lambda t: float(self.at(t)) - metres, 0, self.rest_s, xtol=1e-12))


def played_out(way_m: float, top: float, start: float, dt: float) -> tuple[Any, Any, float]:
    """(seconds, metres gone) of the steps of such a run, and when he was NEAR_M from its end."""
    a = agent(vx=start)
    a.tx = way_m
    rows = run(a, top, TAU, BRAKE, dt, round(6.0 / dt))
    t = np.arange(len(rows)) * dt
    way = CubicHermiteSpline(t, rows[:, 0], rows[:, 2])
    return t, rows[:, 0], float(way.solve(way_m - NEAR_M, extrapolate=False)[0])


@pytest.mark.parametrize("start", STARTS_MPS)
@pytest.mark.parametrize("top", TOPS_MPS)
@pytest.mark.parametrize("way_m", WAYS_M)
def test_a_run_that_ends_is_the_closed_form(way_m: float, top: float, start: float) -> None:
    """Near the end within a step's time at the step in use and within 1 % at a hundredth of a second; there
    the whole run, too, lies within 3 cm of the closed form, and he stays where he wanted to be."""
    law = Ended(way_m, top, start)
    wanted = law.time_to(way_m - NEAR_M)
    assert abs(played_out(way_m, top, start, 0.1)[2] - wanted) < 0.1
    t, gone, came = played_out(way_m, top, start, 0.01)
    assert came == pytest.approx(wanted, rel=0.01)
    assert np.abs(gone - law.at(t)).max() < 0.03
    assert np.abs(gone[t > law.rest_s + 0.1] - way_m).max() < 1e-3


@pytest.mark.parametrize("dt", [0.01, 0.1])
@pytest.mark.parametrize("start", STARTS_MPS)
def test_the_slower_man_takes_longer_over_any_way(start: float, dt: float) -> None:
    """Legs count under four metres, too: from rest by 4 % at 1.5 m and by 6 % or more from 3 m on."""
    longer = []
    for way_m in WAYS_M:
        fast, slow = (played_out(way_m, top, start, dt)[2] for top in TOPS_MPS)
        law = [Ended(way_m, top, start).time_to(way_m - NEAR_M) for top in TOPS_MPS]
        assert slow / fast - 1 == pytest.approx(law[1] / law[0] - 1, abs=0.005 if dt < 0.05 else 0.02)
        longer.append(slow / fast - 1)
    assert (np.diff(longer) > 0).all()
    if start == 0.0:
        assert longer[0] > 0.04 and longer[2] > 0.06


# --- the forecast -------------------------------------------------------------------------------------


def forecast(vx: float, vy: float, top: float, delay_s: float, run_s: float, to_m: float) -> float:
    b = agent(vx=vx, vy=vy)
    return float(gap_left(b, top, BRAKE, TAU, to_m, 0.0, delay_s, run_s, fade(run_s, TAU)))


def left_when_played(vx: float, vy: float, top: float, delay_s: float, run_s: float, to_m: float) -> float:
    """Metres left to (to_m, 0) after going on as he is for ``delay_s`` and then running at it."""
    dt = 0.005
    b = agent(x=vx * delay_s, y=vy * delay_s, vx=vx, vy=vy)
    for _ in range(round(run_s / dt)):
        # through the place, not to a stop on it
        away = math.hypot(to_m - b.x, b.y)
        b.tx, b.ty = b.x + 100.0 * (to_m - b.x) / away, b.y - 100.0 * b.y / away
        run(b, top, TAU, BRAKE, dt, 1)
    return math.hypot(to_m - b.x, b.y)


@pytest.mark.parametrize("top", TOPS_MPS)
@pytest.mark.parametrize("toward_mps", [0.0, 1.5, 3.0, 4.5])
def test_the_forecast_is_the_run_played_out(toward_mps: float, top: float) -> None:
    """At rest or on his way already: the law of motion, after whatever reaction, to a centimetre."""
    for delay_s in (0.0, 0.25):
        for run_s in (0.2, 0.6, 1.0):
            played = left_when_played(toward_mps, 0.0, top, delay_s, run_s, 9.0)
            assert forecast(toward_mps, 0.0, top, delay_s, run_s, 9.0) == pytest.approx(played, abs=0.01)


@pytest.mark.parametrize("top", TOPS_MPS)
@pytest.mark.parametrize("angle_deg", [60.0, 90.0, 120.0, 180.0])
def test_who_moves_another_way_comes_later(angle_deg: float, top: float) -> None:
    """Across or away: forecast no sooner than a man at rest, and no later than by what braking costs; beside
    the run played out, which turns without a stop, that errs by less than .5 m."""
    for pace in (1.0, 2.0, 3.0):
        vx, vy = pace * math.cos(math.radians(angle_deg)), pace * math.sin(math.radians(angle_deg))
        for run_s in (0.5, 0.8, 1.2):
            told = forecast(vx, vy, top, 0.0, run_s, 6.0)
            assert abs(left_when_played(vx, vy, top, 0.0, run_s, 6.0) - told) < 0.5
            if angle_deg >= 90.0:
                assert told >= forecast(0.0, 0.0, top, 0.0, run_s, 6.0) - 1e-9


# --- laws taken from tracking ---------------------------------------------------------------------------

#: Metres -> medians. Source: tracking of professional men 2015-16 (evidence 10; also in constants.toml).
PASS_MPS = {3.0: 6.6, 5.0: 9.1, 7.0: 10.9, 9.0: 11.9}
ON_BALL_M = {2.5: 0.85, 5.25: 1.38, 7.75: 1.87, 10.5: 2.41}


@pytest.fixture(scope="module")
def world() -> Any:
    return pack(load_scenario(SCENARIO)).home[0]


def speed_of(w: Any, length_m: float, passer: int, kind: PassKind) -> float:
    return float(pass_speed(w, passer, int(kind), length_m))


def test_short_passes_are_slower_as_tracking_has_them(world: Any) -> None:
    """An average passer whose passes of 7 m have tracking's median speed has the other medians, too, to
    .3 m/s; other kinds and better passers keep the shape."""
    w = world.copy()
    w.k.pass_speed_direct_mps = PASS_MPS[7.0]
    w.players[0].passing, w.players[1].passing = 0.5, 0.9
    for length_m, median in PASS_MPS.items():
        thrown = partial(speed_of, w, length_m)
        assert thrown(0, PassKind.DIRECT) == pytest.approx(median, abs=0.3)
        for kind in (PassKind.BOUNCE, PassKind.OVER):
            speed = w.k[f"pass_speed_{kind.name.lower()}_mps"]
            share = thrown(0, kind) / thrown(0, PassKind.DIRECT)
            assert share == pytest.approx(speed / PASS_MPS[7.0])
        better = thrown(1, PassKind.DIRECT) / thrown(0, PassKind.DIRECT)
        assert better == pytest.approx(1.0 + 0.4 * w.k.pass_skill_speed_share)


def test_the_man_on_the_ball_keeps_trackings_gap(world: Any) -> None:
    """Medians by the ball's distance from the rim, to 5 cm; never inside two bodies' room."""
    for d_rim, median in ON_BALL_M.items():
        assert on_ball_gap(world.k, d_rim) == pytest.approx(median, abs=0.05)
    gaps = [on_ball_gap(world.k, d) for d in np.arange(0.0, 12.0, 0.25)]
    assert (np.diff(gaps) >= 0.0).all()
    assert gaps[0] == LEAST_GAP_M > 2 * world.k.body_radius_m
