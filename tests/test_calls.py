"""The trap calls read from traces: who doubles, who covers, when a call is made, how it ends.

Every place, job and order of events below: common practice of the trade, no source (the table "the trap
calls" of the model). Places are metres with the ball on the right; the left side is read mirrored.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

import numpy as np
import pytest
from slides import PATIENT, ROLES, SEED, built, column, people, records

from engine.kernel.batch import Trace, trace_possession
from engine.state.words import EVENTS, JOBS, Dribble, Mode, Option, TrapPhase

CALLS = ("corner", "short_corner", "wing", "top", "half_court_corner")
DOUBLES = {
    "corner": ("near_guard", "near_forward"),
    "short_corner": ("centre", "near_forward"),
    "wing": ("near_guard", "near_forward"),
    "wing, far forward at the rim": ("near_guard", "near_forward"),
    "top": ("near_guard", "far_guard"),
    "half_court_corner": ("near_guard", "far_guard"),
}
COVERS = {
    "corner": {"far_guard": "deny", "centre": "front", "far_forward": "lob"},
    "short_corner": {"near_guard": "deny", "far_guard": "read_skip", "far_forward": "rim"},
    "wing": {"far_guard": "deny", "centre": "deny", "far_forward": "run_at"},
    "wing, far forward at the rim": {"far_guard": "gap", "centre": "deny", "far_forward": "rim"},
    "top": {"near_forward": "deny", "far_forward": "deny", "centre": "middle"},
    "half_court_corner": {"near_forward": "deny", "far_forward": "read_skip", "centre": "middle"},
}
#: (role, measure, lowest, highest) of the mean once the trap has had time to come.
BEHIND = {
    "corner": [  # far guard to the outlet on the wing, centre fronts the post, far forward lob and middle
        ("far_guard", "x", 3.6, 6.6),
        ("far_guard", "y", 2.6, 5.0),
        ("centre", "x", 1.8, 4.2),
        ("centre", "y", 0.2, 2.6),
        ("far_forward", "x", -0.6, 2.4),
        ("far_forward", "rim", 0.8, 4.2),  # behind whoever flashes to the middle, outside the lane
    ],
    "short_corner": [  # near guard on the outlet, far forward to the rim, far guard in the middle
        ("near_guard", "x", 3.6, 6.0),
        ("near_guard", "y", 1.6, 4.2),
        ("far_forward", "rim", 0.0, 1.5),
        ("far_guard", "x", -1.2, 1.6),
        ("far_guard", "y", 2.6, 4.4),
    ],
    "wing": [  # far guard between ball and top, centre toward the corner, far forward on the high post
        ("far_guard", "x", 0.6, 4.0),
        ("far_guard", "y", 4.6, 7.4),
        ("centre", "x", 2.6, 5.8),
        ("centre", "y", 0.2, 2.6),
        ("far_forward", "x", -1.6, 1.4),
        ("far_forward", "y", 1.8, 4.6),
    ],
    "wing, far forward at the rim": [  # far guard between top and high post
        ("far_guard", "x", -0.6, 2.4),
        ("far_guard", "y", 3.8, 6.6),
        ("far_forward", "rim", 0.4, 2.2),
    ],
    "top": [  # forwards up on the wings, centre alone on high and low post
        ("near_forward", "x", 3.6, 5.8),
        ("near_forward", "y", 3.6, 7.6),
        ("far_forward", "x", -5.8, -3.4),
        ("far_forward", "y", 3.6, 7.6),
        ("centre", "x", -1.0, 1.0),
        ("centre", "y", 2.8, 5.2),
    ],
    "half_court_corner": [  # near forward up to the wing, far forward on the middle, centre home
        ("near_forward", "x", 2.8, 6.6),
        ("near_forward", "y", 3.4, 9.0),
        ("far_forward", "x", -4.0, 1.0),
        ("centre", "x", -1.2, 1.8),
        ("centre", "y", 1.6, 4.8),
    ],
}
#: No strips, tie-ups, fouls or pick-ups: the trap stays on long enough to be read.
QUIET = {
    **PATIENT,
    "set_pick_up_p": 0.0,
    "trap_strip_rate_per_s": 0.0,
    "tie_up_rate_per_s": 0.0,
    "trap_foul_rate_per_s": 0.0,
}
CALL, PASS, CATCH = (EVENTS.index(name) for name in ("call", "pass", "catch"))


def world_of(call: str, constants: dict[str, float] | None = None, **how: Any) -> Any:
    """The demo's world with one call, made at every chance unless said otherwise; ``how`` changes the call,
    or the scenario by the keys ``game``, ``rules``, ``rules_changes``, ``start`` and ``zone_options``."""
    from_half = call in ("top", "half_court_corner")
    if call == "wing":  # whatever the demo waits for: at the catch, or when the ball is held
        how = {"triggers": ["catch", "held"], "held_s": 0.8, **how}
    wide = {"start_spread_m": 7.0} if call == "half_court_corner" else {}
    scenario = {
        "start": how.pop("start", "bring_up" if from_half else "frontcourt"),
        "rules": how.pop("rules", "international"),
        "game": how.pop("game", {}),
        "rules_changes": how.pop("rules_changes", {}),
        "defence": {"options": how.pop("zone_options", {})},
        "constants": {**wide, **(constants or {})},
    }
    setting = {"name": "one", "call": [{"call": call, "probability": 1.0, **how}]}
    return built(**scenario, setting=[setting]).settings[0].world


def called(world: Any, most: int) -> list[Trace]:
    """Traces of the first possessions in which the call is made (of 24,000 at most)."""
    for n in (800, 4_000, 24_000):
        numbers = np.flatnonzero(column(records(world, n), "first_call"))[:most]
        if len(numbers) == most:
            break
    return [trace_possession(world, SEED, int(i)) for i in numbers]


@cache
def quiet_traces(call: str) -> list[Trace]:
    name, _, option = call.partition(",")
    return called(world_of(name, QUIET, options={"far_forward": "rim"} if option else {}), 40)


@cache
def plain_traces(call: str) -> list[Trace]:
    return called(world_of(call), 70)


def step_of(t: Trace, time_s: float) -> int:
    return int(np.argmin(np.abs(t.states["t"] - time_s)))


def events_of(t: Trace, name: str) -> Any:
    return t.events[t.events[:, 1] == EVENTS.index(name)]


def first_call(t: Trace) -> tuple[int, int, float]:
    """(step, trapped man, time) of the first call."""
    e = events_of(t, "call")[0]
    return step_of(t, e[0]), int(e[2]), float(e[0])


def calls_in(world: Any, most: int) -> Iterator[tuple[Trace, int, Any]]:
    """(trace, step, event) of the first call of each possession that has one."""
    for t in called(world, most):
        yield t, first_call(t)[0], events_of(t, "call")[0]


# --- who doubles, who covers ----------------------------------------------------------------------------


@pytest.mark.parametrize("call", DOUBLES)
def test_who_doubles_and_who_covers(call: str) -> None:
    """Common practice, no source: the two who double, the jobs behind, and where they stand."""
    at: dict[tuple[str, str], list[float]] = {}
    sides, n_moments = set(), 0
    for t in quiet_traces(call):
        s = t.states
        for n in range(1, len(s)):
            late = s["t"][n] - s["trap_t"][n] > 0.9 and s["t"][n] - s["catch_t"][n] > 0.5
            if (
                s["trap_phase"][n] not in (TrapPhase.COMING, TrapPhase.SET)
                or s["mode"][n] != Mode.HELD
                or not late
            ):
                continue
            side = int(s["trap_side"][n])
            who = people(side)
            assert {int(s["trapper_0"][n]), int(s["trapper_1"][n])} == {who[r] for r in DOUBLES[call]}
            jobs = {role: JOBS[t.agents["job"][n, who[role]]] for role in ROLES}
            assert jobs == {**COVERS[call], **dict.fromkeys(DOUBLES[call], "trap")}
            sides.add(side)
            n_moments += 1
            h = t.agents[n, int(s["handler"][n])]
            for role in ROLES:
                a = t.agents[n, who[role]]
                ball = float(np.hypot(a["x"] - h["x"], a["y"] - h["y"]))
                rim = float(np.hypot(a["x"], a["y"]))
                for name, value in (("x", a["x"] * side), ("y", a["y"]), ("rim", rim), ("ball", ball)):
                    at.setdefault((role, name), []).append(value)
    assert sides == {1, -1} and n_moments > 60
    for role in DOUBLES[call]:
        assert np.median(at[role, "ball"]) < 1.5, role
    for role, measure, low, high in BEHIND[call]:
        assert low <= np.mean(at[role, measure]) <= high, f"{role} {measure} {np.mean(at[role, measure]):.2f}"


# --- the trap itself ------------------------------------------------------------------------------------


@pytest.mark.parametrize("call", CALLS)
def test_set_means_both_there_and_no_gap(call: str) -> None:
    """Set: both trappers within reach of the ball and no gap between them for a body to go through."""
    k = world_of(call)[0].k
    n_set = 0
    for t in [*plain_traces(call), *quiet_traces(call)]:
        s = t.states
        for n in range(1, len(s)):
            if s["mode"][n] != Mode.HELD or s["handler"][n] != s["trap_handler"][n]:
                continue
            h, a, b = (t.agents[n, int(s[name][n])] for name in ("handler", "trapper_0", "trapper_1"))
            far = max(np.hypot(h["x"] - m["x"], h["y"] - m["y"]) for m in (a, b))
            gap = np.hypot(a["x"] - b["x"], a["y"] - b["y"]) - 2 * k.body_radius_m
            if s["trap_phase"][n] == TrapPhase.SET and s["trap_phase"][n - 1] == TrapPhase.COMING:
                assert far < k.trap_set_m and gap < k.trap_gap_m
                n_set += 1
            elif (
                s["trap_phase"][n] == s["trap_phase"][n - 1] == TrapPhase.COMING
                and s["t"][n] > s["trap_t"][n]
            ):
                assert far >= k.trap_set_m - 1e-9 or gap >= k.trap_gap_m - 1e-9
    assert n_set >= 8


def test_disguise_delays_the_trappers() -> None:
    """Nobody takes a trap job before the disguise is over; with none, it is taken in the next step."""
    first = {}
    for disguise_s in (0.0, 0.7):
        times = []
        for t in called(world_of("wing", QUIET, disguise_s=disguise_s), 25):
            k, _, at = first_call(t)
            jobs = t.agents["job"][k + 1 :, 5:] == JOBS.index("trap")
            running = np.cumprod(t.states["trap_phase"][k + 1 :] == TrapPhase.COMING) == 1
            if (jobs.any(1) & running).any():
                times.append(t.states["t"][k + 1 + int(np.argmax(jobs.any(1) & running))] - at)
        assert len(times) >= 10
        first[disguise_s] = times
    assert max(first[0.0]) < 0.11
    assert min(first[0.7]) > 0.64 and max(first[0.7]) < 0.81


def test_the_second_trapper_can_be_delayed() -> None:
    """The delay of the second man puts off his job by so much, and not the first man's."""
    for t, k, e in calls_in(world_of("wing", {**QUIET, "second_trapper_delay_s": 0.75}, disguise_s=0.0), 20):
        s = t.states
        trap = t.agents["job"] == JOBS.index("trap")
        for n in range(k + 1, len(s)):
            out = s["mode"][n] == Mode.PASS_FLIGHT and s["target"][n] != s["trap_handler"][n]
            if out or s["trap_phase"][n] != TrapPhase.COMING or s["trap_number"][n] != 1:
                break
            assert trap[n, int(s["trapper_0"][k])]
            if abs(s["t"][n] - e[0] - 0.75) > 0.06:  # a step more or less
                assert trap[n, int(s["trapper_1"][k])] == (s["t"][n] > e[0] + 0.75)


def test_readiness_shortens_the_reading() -> None:
    """Traps seen in the game shorten the time to read one, and do nothing when readiness has no effect."""
    times = {}
    for seen, per_trap in ((0, 0.25), (4, 0.25), (4, 0.0)):
        world = world_of("wing", {"readiness_per_trap": per_trap}, game={"traps_seen": seen})
        waits, own = [], []
        for t in called(world, 20):
            k, man, at = first_call(t)
            waits += [t.agents["read_t"][k, i] - at for i in range(5) if i != man]
            own.append(t.states["trap_read_t"][k] - at)
        times[seen, per_trap] = (float(np.mean(waits)), float(np.mean(own)))
    assert times[4, 0.25][0] < times[0, 0.25][0] - 0.1 and times[4, 0.25][1] < times[0, 0.25][1] - 0.1
    assert times[4, 0.0] == pytest.approx(times[0, 0.25], abs=0.06)


@pytest.mark.parametrize("call", CALLS)
def test_team_mates_break_the_trap(call: str) -> None:
    """Common practice, no source: one behind the ball, one in the middle, one up the line, each coming to
    meet the pass but not into the trappers' arms."""
    world = world_of(call)
    k = world[0].k
    breaks = world[0].breaks[0]
    count_s = world[0].rules.three_seconds_s
    ends: dict[int, list[Any]] = {}
    for t in quiet_traces(call):
        s = t.states
        n, man, _ = first_call(t)
        assert sorted(t.agents["break_role"][n, :5].tolist()) == [-1, 0, 1, 2, 3]
        assert t.agents["break_role"][n, man] == -1
        caught_y = t.agents["y"][n, man]
        last = None  # before he has dribbled back out to where they stand
        while n + 1 < len(s) and s["trap_phase"][n + 1] in (TrapPhase.COMING, TrapPhase.SET):
            n += 1
            if s["mode"][n] == Mode.HELD and s["mode"][n - 1] == Mode.HELD and s["handler"][n - 1] == man:
                last = n if t.agents["y"][n, man] < caught_y + 1.0 else last
                side = int(s["trap_side"][n])
                # targets were set from where he stood at the end of the step before
                h = t.agents[n - 1, man]
                for i in range(5):
                    a = t.agents[n, i]
                    if i == man or s["t"][n] < a["read_t"] + 0.06:
                        continue
                    if t.agents[n - 1, i]["lane_t"] > count_s - k.lane_margin_s:
                        continue  # he has to step out of the lane first
                    spot = breaks[int(a["break_role"])] * (side, 1.0)
                    away = np.hypot(spot[0] - h["x"], spot[1] - h["y"])
                    comes_to = np.hypot(a["tx"] - h["x"], a["ty"] - h["y"])
                    in_court = abs(a["tx"]) < 7.1 and -1.2 < a["ty"] < 11.9  # not pushed onto a line
                    assert comes_to >= k.break_least_m - 1e-6 or not in_court
                    if away > k.break_least_m + k.meet_pass_m:
                        assert comes_to < away
        if last is not None:
            side = int(s["trap_side"][last])
            for i in range(5):
                role = int(t.agents["break_role"][last, i])
                if i != man and s["t"][last] - t.agents["read_t"][last, i] > 0.6:
                    a, h = t.agents[last, i], t.agents[last, man]
                    ends.setdefault(role, []).append((a["y"] - h["y"], abs(a["x"]), np.hypot(a["x"], a["y"])))
    behind, middle = (np.mean(ends[role], 0) for role in (0, 1))
    assert len(ends[0]) >= 5 and len(ends[1]) >= 5
    if call not in ("top", "half_court_corner"):
        assert behind[0] > 1.0  # farther from the baseline than the trapped man
    assert middle[1] < 3.2  # near the middle of the floor
    assert middle[1] < behind[1] or call in ("top", "half_court_corner")


def test_ways_out_with_the_dribble() -> None:
    """Split only while the trap comes and has been read; retreat then and out of a set trap, too; no drive
    once it is set; and nothing of it with a dead dribble."""
    weighed = {(o, p): 0 for o in (Option.RETREAT, Option.SPLIT) for p in (TrapPhase.COMING, TrapPhase.SET)}
    while_set = dead = 0
    for call in ("wing", "top", "corner", "short_corner"):
        for t in plain_traces(call):
            s = t.states
            for o in t.options:
                n = step_of(t, o[0])
                option = int(o[3])
                phase = s["trap_phase"][n]
                if s["dribble"][n - 1] == Dribble.DEAD and s["handler"][n - 1] == o[2]:
                    dead += 1
                    assert not Option.DRIVE_FAR_RIGHT <= option <= Option.SPLIT
                if option in (Option.RETREAT, Option.SPLIT):
                    weighed[Option(option), TrapPhase(phase)] += 1
                    assert phase == TrapPhase.SET or s["t"][n] > s["trap_read_t"][n] - 0.06
                if phase == TrapPhase.SET:
                    while_set += 1
                    assert not Option.DRIVE_FAR_RIGHT <= option <= Option.DRIVE_FAR_LEFT
    assert weighed[Option.SPLIT, TrapPhase.SET] == 0
    assert min(weighed[o, TrapPhase.COMING] for o in (Option.RETREAT, Option.SPLIT)) > 10
    assert weighed[Option.RETREAT, TrapPhase.SET] > 10 and while_set > 50 and dead > 50
