"""How bodies move: the closed form of a straight run, braking, the lines; nobody jumps in a played trace."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from kernel_process import SCENARIO
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import brentq

from engine.inputs import load_scenario
from engine.kernel.batch import play_block, trace_possession
from engine.kernel.motion import keep_in, move
from engine.state.arrays import AGENT, N_SIDE
from engine.state.record import COLUMN, N_RECORD
from engine.state.words import EVENTS, Action, Mode, PassKind
from engine.world.pack import pack

FAR = 1e6
#: Greater than any start vmax / tau here, so that the law alone limits a run from rest.
STRONG_BRAKE = 1e3
STEPS = (0.02, 0.05, 0.1, 0.2)

#: (top speed m/s, tau s) -> seconds to 3, 5 and 10 m from rest. Source: evidence 3, computed from
#: v(t) = vmax (1 - exp(-t / tau)) to three decimals.
WORKED = {
    (8.0, 1.0): (1.011, 1.371, 2.131),
    (7.5, 0.9): (1.006, 1.370, 2.151),
    (8.5, 1.1): (1.016, 1.372, 2.116),
}
DISTANCES_M = (3.0, 5.0, 10.0)


def agent(x: float = 0.0, y: float = 0.0, vx: float = 0.0, vy: float = 0.0) -> Any:
    a = np.zeros(1, AGENT).view(np.recarray)[0]
    a.x, a.y, a.vx, a.vy, a.speed_share = x, y, vx, vy, 1.0
    return a


def run(a: Any, top: float, tau: float, brake: float, dt: float, n: int, stop_share: float = 1.0) -> Any:
    """Positions and velocities [n + 1, 4] of ``n`` steps toward the agent's target, the start included."""
    gain = 1.0 - math.exp(-dt / tau)
    rows = [(a.x, a.y, a.vx, a.vy)]
    for _ in range(n):
        move(a, top, tau, gain, brake, brake * stop_share, dt)
        rows.append((a.x, a.y, a.vx, a.vy))
    return np.array(rows)


def run_m(t: Any, top: float, tau: float) -> Any:
    """Closed form, written here anew: the integral of vmax (1 - exp(-t / tau))."""
    return top * (t + tau * np.expm1(-t / tau))


def time_to(distance_m: float, top: float, tau: float) -> float:
    return float(brentq(lambda t: run_m(t, top, tau) - distance_m, 0.0, 60.0, xtol=1e-12))


# --- a straight run from rest -------------------------------------------------------------------------


@pytest.mark.parametrize("dt", STEPS)
@pytest.mark.parametrize(("top", "tau"), WORKED)
def test_a_run_from_rest_is_the_closed_form(top: float, tau: float, dt: float) -> None:
    """At any step length, in any direction: the law is integrated exactly (tolerance: rounding)."""
    for angle in (0.0, 1.0, 2.5, -2.0):
        a = agent()
        a.tx, a.ty = FAR * math.cos(angle), FAR * math.sin(angle)
        rows = run(a, top, tau, STRONG_BRAKE, dt, round(4.0 / dt))
        t = np.arange(len(rows)) * dt
        np.testing.assert_allclose(np.hypot(rows[:, 2], rows[:, 3]), -top * np.expm1(-t / tau), atol=1e-9)
        np.testing.assert_allclose(np.hypot(rows[:, 0], rows[:, 1]), run_m(t, top, tau), atol=1e-9)
        np.testing.assert_allclose(rows[1:, 0] * math.sin(angle), rows[1:, 1] * math.cos(angle), atol=1e-4)


@pytest.mark.parametrize(("top", "tau"), WORKED)
def test_worked_values(top: float, tau: float) -> None:
    """Times to 3, 5 and 10 m as published, half a unit of their last digit either way."""
    dt = 0.001
    a = agent()
    a.tx = FAR
    x = run(a, top, tau, STRONG_BRAKE, dt, 2300)[:, 0]
    for distance_m, seconds in zip(DISTANCES_M, WORKED[top, tau], strict=True):
        assert float(np.interp(distance_m, x, np.arange(len(x)) * dt)) == pytest.approx(seconds, abs=0.00051)
        slow, fast = (float(run_m(seconds + e, top, tau)) for e in (-0.0005, 0.0005))
        assert slow - 1e-9 <= distance_m <= fast + 1e-9


@pytest.mark.parametrize("dt", STEPS)
def test_acceleration_is_held_at_the_limit(dt: float) -> None:
    """A law that asks for more than the limit at the start gets the limit."""
    a = agent()
    a.tx = FAR
    rows = run(a, 10.0, 0.5, 5.0, dt, round(2.0 / dt))
    assert (np.diff(rows[:, 2]) <= 5.0 * dt + 1e-12).all()
    assert rows[1, 2] == pytest.approx(5.0 * dt)
    assert (np.diff(rows[:, 2]) > 0).all() and rows[-1, 2] < 10.0


# --- braking ------------------------------------------------------------------------------------------

BRAKE = 7.0


@pytest.mark.parametrize("dt", STEPS)
def test_a_runner_who_must_stop_brakes_within_the_limit(dt: float) -> None:
    """Target at his own feet: he stops in v^2 / (2 brake), and not sooner than the limit allows."""
    for speed in (2.0, 4.0, 7.0):
        a = agent(vx=speed)
        n = math.ceil(speed / BRAKE / dt) + 1
        path = []
        for _ in range(n):
            a.tx, a.ty = a.x, a.y
            path.append(run(a, 7.0, 1.0, BRAKE, dt, 1)[-1])
        rows = np.array(path)
        assert (np.abs(np.diff(rows[:, 2], prepend=speed)) <= BRAKE * dt + 1e-12).all()
        assert rows[-1, 2] == pytest.approx(0.0, abs=1e-12)
        stop_m = speed**2 / (2 * BRAKE)
        # the last step may end in rest before its time is up: less than one step's share of the limit
        assert stop_m - 1e-9 <= rows[-1, 0] <= stop_m + BRAKE * dt**2


@pytest.mark.parametrize("dt", STEPS)
def test_he_arrives_and_stays(dt: float) -> None:
    """He comes to rest on his target, braking within the limit, past it by no more than what one step late
    costs (brake dt^2: 7 cm at the step in use)."""
    for goal in (0.3, 1.0, 3.0, 12.0):
        a = agent()
        a.tx = goal
        rows = run(a, 6.6, 1.0, BRAKE, dt, round(8.0 / dt))
        assert (np.abs(np.diff(rows[:, 2])) <= BRAKE * dt + 1e-12).all()
        assert rows[:, 0].max() <= goal + BRAKE * dt**2
        assert abs(rows[-1, 0] - goal) < 0.02 and abs(rows[-1, 2]) < 0.05


@pytest.mark.parametrize("dt", STEPS)
def test_a_turn_is_bound_by_the_limit(dt: float) -> None:
    """At full speed across his way: velocity changes by no more than brake dt a step, in any direction."""
    a = agent(vx=6.6)
    a.ty = 10.0
    rows = run(a, 6.6, 1.0, BRAKE, dt, round(5.0 / dt))
    change = np.hypot(np.diff(rows[:, 2]), np.diff(rows[:, 3]))
    assert change.max() <= BRAKE * dt + 1e-12
    assert np.hypot(rows[:, 2], rows[:, 3]).max() <= 6.6 + 1e-9
    assert abs(rows[-1, 1] - 10.0) < 0.1


# --- a turn where he need not stop --------------------------------------------------------------------


@pytest.mark.parametrize("dt", STEPS)
def test_who_need_not_stop_runs_as_if_his_way_went_on(dt: float) -> None:
    """With 3 m to go after a target 5 m away he runs, up to it, as to a target 8 m away (tolerance:
    rounding); without them he has to brake before."""
    rows = {}
    for goal, further in ((5.0, 3.0), (8.0, 0.0), (5.0, 0.0)):
        a = agent()
        a.tx, a.further_m = goal, further
        rows[goal, further] = run(a, 6.6, 1.0, BRAKE, dt, round(2.5 / dt))
    short = rows[5.0, 3.0][:, 0] < 5.0
    np.testing.assert_allclose(rows[5.0, 3.0][short], rows[8.0, 0.0][short], atol=1e-9)
    near = np.flatnonzero(short & (rows[5.0, 3.0][:, 0] > 4.0))
    assert len(near) and (rows[5.0, 3.0][near, 2] > 4.0).all()
    assert rows[5.0, 3.0][short][-1, 2] > rows[5.0, 0.0][short][-1, 2] + 1.0


# --- a race to a spot ---------------------------------------------------------------------------------


@pytest.mark.parametrize("dt", STEPS)
def test_a_race_to_a_spot_is_lost_by_the_closed_form(dt: float) -> None:
    """Five metres from rest through the spot: the slower man comes later by the difference of the closed
    forms' times. When he was there is read from the steps' positions and velocities (cubic between steps)."""
    fast, slow, tau, spot = 6.7, 5.9, 1.0, 5.0
    came = {}
    for top in (fast, slow):
        a = agent()
        a.tx = FAR
        rows = run(a, top, tau, BRAKE, dt, round(4.0 / dt))
        way = CubicHermiteSpline(np.arange(len(rows)) * dt, rows[:, 0], rows[:, 2])
        came[top] = float(way.solve(spot, extrapolate=False)[0])
    assert came[fast] == pytest.approx(time_to(spot, fast, tau), abs=1e-4)
    late = time_to(spot, slow, tau) - time_to(spot, fast, tau)
    assert came[slow] - came[fast] == pytest.approx(late, abs=1e-4)
    assert late > 0.1


# --- the lines ----------------------------------------------------------------------------------------


def test_nobody_stands_outside() -> None:
    """Held at the line; speed across it is lost, speed along it is kept; inside nothing changes."""
    box = (-7.5, 7.5, -1.6, 15.9)
    cases = [
        ((-8.0, 3.0, -2.0, 1.0), (-7.5, 3.0, 0.0, 1.0)),
        ((7.6, 3.0, 2.0, 1.0), (7.5, 3.0, 0.0, 1.0)),
        ((1.0, -2.0, 2.0, -1.0), (1.0, -1.6, 2.0, 0.0)),
        ((1.0, 16.0, 2.0, 1.0), (1.0, 15.9, 2.0, 0.0)),
        ((9.0, 16.0, 2.0, 1.0), (7.5, 15.9, 0.0, 0.0)),
        ((7.5, -1.6, 2.0, 1.0), (7.5, -1.6, 2.0, 1.0)),
        ((0.0, 5.0, 2.0, 1.0), (0.0, 5.0, 2.0, 1.0)),
    ]
    for before, after in cases:
        a = agent(*before)
        keep_in(a, *box)
        assert (a.x, a.y, a.vx, a.vy) == after


# --- played possessions -------------------------------------------------------------------------------

SEED = 4
N_PLAYED = 400
#: Dead ball: everybody walks to his place and stands (throw-in), or lines up (free throws).
DEAD_BALL = [EVENTS.index("throw_in"), EVENTS.index("free_throw")]


@pytest.fixture(scope="module")
def played() -> list[tuple[Any, Any]]:
    """(world, trace) of possessions at home and with a trap, those with fouls and calls among them."""
    packed = pack(load_scenario(SCENARIO))
    found = []
    for world in (packed.home, packed.settings[-1].world):
        records = np.zeros((N_PLAYED, N_RECORD), np.int32)
        play_block(world, SEED, 0, records)
        numbers = set(range(25))
        for column in ("fouls", "n_calls"):
            numbers |= set(np.flatnonzero(records[:, COLUMN[column]] > 0)[:25].tolist())
        found += [(world[0], trace_possession(world, SEED, i)) for i in sorted(numbers)]
    return found


def steps_of(world: Any, trace: Any) -> tuple[Any, Any]:
    """(live, states): steps without a dead ball (bool [steps]), and the times of all states."""
    t = trace.states["t"]
    dead = trace.events[np.isin(trace.events[:, 1], DEAD_BALL), 0]
    return ~np.isin(np.round(t[1:] / world.k.time_step_s), np.round(dead / world.k.time_step_s)), t


def test_nobody_jumps(played: list[tuple[Any, Any]]) -> None:
    """In a step nobody runs farther than his top speed allows (1 cm more where bodies touch), nor changes his
    velocity by more than the braking limit; but for dead balls, for speed across a line, which is lost there,
    and for a man who runs into an opponent's body (so near that they touch, to 10 cm, before or after the
    step: a crowd is moved apart pair by pair)."""
    n_dead = n_stopped = 0
    for w, trace in played:
        dt = w.k.time_step_s
        live, _ = steps_of(w, trace)
        n_dead += (~live).sum()
        a = trace.agents
        top = w.players["top_speed_mps"]
        way = np.hypot(np.diff(a["x"], axis=0), np.diff(a["y"], axis=0))
        assert (np.hypot(a["vx"], a["vy"]) <= top + 1e-9).all()
        change = np.hypot(np.diff(a["vx"], axis=0), np.diff(a["vy"], axis=0))
        r = w.rules
        at_line = (np.abs(a["x"]) >= r.half_width_m) | (a["y"] <= r.baseline_y_m) | (a["y"] >= r.far_y_m)
        apart = np.hypot(*(a[c][:, :N_SIDE, None] - a[c][:, None, N_SIDE:] for c in "xy"))
        nearest = np.concatenate([apart.min(axis=2), apart.min(axis=1)], axis=1)
        touches = nearest < 2.0 * w.k.body_radius_m + 0.1
        # who is moved out of another body goes a little farther than his legs carried him
        assert (way <= top * dt + np.where(touches[1:], 0.01, 1e-9))[live].all()
        bound = np.maximum(w.k.brake_mps2, top / w.k.sprint_tau_s) * dt + 1e-9
        assert ((change <= bound) | at_line[1:] | touches[1:] | touches[:-1])[live].all()
        n_stopped += (change > bound)[live].sum()
        assert (np.abs(a["x"]) <= r.half_width_m).all()
        assert ((a["y"] >= r.baseline_y_m) & (a["y"] <= r.far_y_m)).all()
    assert n_dead > 5, "some traces have a dead ball"
    assert n_stopped > 20, "some run into each other"


def test_a_dead_ball_does_move_people(played: list[tuple[Any, Any]]) -> None:
    """So that leaving dead balls out above says something: there people do stand elsewhere at once."""
    jumps = []
    for w, trace in played:
        live, _ = steps_of(w, trace)
        way = np.hypot(np.diff(trace.agents["x"], axis=0), np.diff(trace.agents["y"], axis=0))
        jumps += (way[~live] > 1.2 * w.players["top_speed_mps"] * w.k.time_step_s).any(axis=1).tolist()
    # not at each of them: after a made last free throw the possession is over and nobody moves
    assert sum(jumps) >= 5


def test_a_driver_keeps_his_speed_where_he_turns(played: list[tuple[Any, Any]]) -> None:
    """On the first leg of a drive what of the second leads on is further way (its part along the first); for
    everybody else there is none. At a turn with so much to come he is faster than anybody is who comes to
    rest there (half the braking limit over the radius in which he has arrived): most are, where nobody
    touches them. Who goes by the side of a body has what of the way from there to the goal leads on, too."""
    turns, back, aside = [], 0, 0
    for w, trace in played:
        k, s, a = w.k, trace.states, trace.agents
        drives = (s["mode"] == Mode.HELD) & (s["action"] == Action.DRIVE)
        for n in range(1, len(s)):
            who = s["handler"][n - 1] if drives[n - 1] else -1
            goal, end = (np.array([s[f"{of}_x"][n], s[f"{of}_y"][n]]) for of in ("goal", "end"))
            if who < 0 or drives[n]:
                first = goal - (a["x"][n - 1, who], a["y"][n - 1, who])
                on = (end - goal) @ first / max(np.hypot(*first), 1e-9)
                back += who >= 0 and on < 0.0
                further = max(on, 0.0)
                target = np.array([a["tx"][n, who], a["ty"][n, who]])
                if who >= 0 and (target != goal).any():
                    to = target - (a["x"][n - 1, who], a["y"][n - 1, who])
                    further += max((goal - target) @ to / np.hypot(*to), 0.0)
                    aside += 1
                expected = [further if i == who else 0.0 for i in range(10)]
                np.testing.assert_allclose(a["further_m"][n], expected, atol=1e-9)
            turned = who >= 0 and drives[n] and (goal == end).all() and s["goal_x"][n - 1] != end[0]
            if turned and a["further_m"][n - 1, who] > 0.5:
                h, others = a[n - 1, who], a[n - 1, N_SIDE:]
                gap = np.hypot(others["x"] - h["x"], others["y"] - h["y"]).min()
                if gap > 2.0 * k.body_radius_m + 0.1:
                    turns.append(math.hypot(h["vx"], h["vy"]))
    k = played[0][0].k
    assert len(turns) >= 10 and back > 0 and aside > 100, (len(turns), back, aside)
    assert np.mean(np.array(turns) > math.sqrt(k.brake_mps2 * k.arrival_radius_m)) > 0.5, turns


def test_the_held_ball_is_where_its_holder_is(played: list[tuple[Any, Any]]) -> None:
    """And a pass in flight moves in a straight line at the speed of its kind, passer and length: to a tenth
    in nine of ten passes, whose length the error of aim has changed by less."""
    off = []
    for w, trace in played:
        s = trace.states
        for i in np.flatnonzero(s["mode"] == Mode.HELD):
            h = trace.agents[i, s["handler"][i]]
            assert (s["ball_x"][i], s["ball_y"][i]) == (h["x"], h["y"])
        dt = w.k.time_step_s
        for i in np.flatnonzero((s["mode"][1:] == Mode.PASS_FLIGHT) & (s["mode"][:-1] == Mode.PASS_FLIGHT)):
            one, other = s[i], s[i + 1]
            whole = math.hypot(one["pass_x1"] - one["pass_x0"], one["pass_y1"] - one["pass_y0"])
            speed = whole / (one["arrive_t"] - one["release_t"])
            moved = math.hypot(other["ball_x"] - one["ball_x"], other["ball_y"] - one["ball_y"])
            # times are carried exactly and done in the nearest step: the first step may hold half of another
            assert moved <= speed * 1.5 * dt + 1e-9
            off.append(speed / thrown_mps(w, one, whole) - 1.0)
    assert len(off) > 500 and np.quantile(np.abs(off), 0.9) < 0.1 and max(map(abs, off)) < 0.8
    assert abs(np.median(off)) < 0.01


def thrown_mps(w: Any, s: Any, length_m: float) -> float:
    """Speed of the pass in the state ``s``: its kind's at 7 m, less for shorter ways, more for good hands."""
    k = w.k
    kinds = {PassKind.DIRECT: "direct", PassKind.BOUNCE: "bounce", PassKind.OVER: "over"}
    at_7_m = k[f"pass_speed_{kinds[PassKind(s['pass_kind'])]}_mps"]
    ramp = math.expm1(-length_m / k.pass_ramp_m) / math.expm1(-7.0 / k.pass_ramp_m)
    skill = w.players[s["passer"]].passing - 0.5
    return float(at_7_m * ramp * (1.0 + k.pass_skill_speed_share * skill))
