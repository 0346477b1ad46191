"""When a call is made, read from traces: the moments that make a chance, and the conditions of a call's file.

Common practice of the trade, no source, as in test_calls.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from slides import PATIENT, column, records
from test_calls import (
    CALL,
    CATCH,
    PASS,
    called,
    calls_in,
    events_of,
    first_call,
    plain_traces,
    step_of,
    world_of,
)

from engine.inputs import load_scenario
from engine.state.words import EVENTS, MOMENTS, REGIONS, Action, Mode, TrapPhase

# --- triggers -------------------------------------------------------------------------------------------


def test_in_the_air_and_on_the_catch() -> None:
    """Every pass into the spot is a chance for "in_air", every catch there for "catch"; nothing else is."""
    corner = REGIONS.index("corner")
    for trigger, event in (("in_air", PASS), ("catch", CATCH)):
        n_calls = 0
        world = world_of("corner", PATIENT, triggers=[trigger], after_bump=False, from_baseline_m=[0.0, 15.0])
        for t in called(world, 40):
            s = t.states
            for e in t.events:
                n = step_of(t, e[0])
                calls = [c for c in events_of(t, "call") if c[0] == e[0]]
                free = s["trap_phase"][n - 1] == TrapPhase.NONE and e[6] >= world[0].rules.baseline_y_m
                if e[1] == event and s["region"][n] == corner and free:  # not a pass thrown far out of court
                    assert len(calls) == 1
                    assert calls[0][2] == (e[3] if trigger == "in_air" else e[2])
                    n_calls += 1
                if e[1] == CALL:
                    assert s["region"][n] == corner
                    wanted = {"pass"} if trigger == "in_air" else {"catch", "recovered", "rebound"}
                    now = {EVENTS[int(x[1])] for x in t.events if x[0] == e[0]}
                    assert now & wanted
        assert n_calls > 25


def test_back_turned() -> None:
    """Every catch in the spot on the way away from the rim is a chance, and no catch on the way to it is."""
    made = faced = 0
    wing = REGIONS.index("wing")
    world = world_of("wing", PATIENT, triggers=["back_turned"], after_bump=False, from_baseline_m=[0.0, 15.0])
    for t in called(world, 40):
        s = t.states
        calls = events_of(t, "call")[:, 0]
        catches = events_of(t, "catch")[:, 0]
        assert np.isin(calls, [*catches, *events_of(t, "recovered")[:, 0]]).all()
        for time_s in catches:
            n = step_of(t, time_s)
            free = s["trap_phase"][n - 1] == TrapPhase.NONE and s["mode"][n] == Mode.HELD
            if s["region"][n] != wing or not free:
                continue
            a = t.agents[n, int(s["handler"][n])]
            turned = a["vx"] * a["x"] + a["vy"] * a["y"] > 0.0
            assert (time_s in calls) == turned
            made, faced = made + turned, faced + (not turned)
    assert made >= 40 and faced >= 10


def test_picked_up_dribble() -> None:
    """The call follows the picked-up dribble, one step after it, on the man who picked it up."""
    n = 0
    stops = {"noise_points": 0.3, "belief_stopped_points": 0.3}
    # drives end after half a second, and with a dead ball: some in the wing
    world = world_of("wing", {**PATIENT, "drive_most_s": 0.5, **stops}, triggers=["picked_up"])
    for t in called(world, 25):
        ups = events_of(t, "pick_up")
        for e in events_of(t, "call"):
            assert any(u[2] == e[2] and 0.0 < e[0] - u[0] < 0.15 for u in ups)
            n += 1
        for u in ups:
            k = step_of(t, u[0])
            s = t.states[k + 1] if k + 1 < len(t.states) else t.states[k]
            free = t.states["trap_phase"][k] == TrapPhase.NONE and s["mode"] == Mode.HELD
            if free and REGIONS[s["region"]] == "wing":
                assert any(0.0 < e[0] - u[0] < 0.15 for e in events_of(t, "call"))
    assert n >= 15


def test_dribbled_into_the_spot() -> None:
    """The call comes in the step in which the dribble brings the ball into the region."""
    n = 0
    for t, k, _ in calls_in(world_of("wing", triggers=["dribble_in"]), 30):
        s = t.states
        if s["n_restarts"][k] > s["n_restarts"][k - 1]:
            continue  # fouled in the same step: everybody stands somewhere else
        assert REGIONS[s["region"][k]] == "wing" and s["region"][k - 1] != s["region"][k]
        assert s["mode"][k - 1] == Mode.HELD and s["handler"][k] == s["handler"][k - 1]
        assert s["action"][k - 1] != Action.STAY
        n += 1
    assert n >= 12


def test_held_for_so_long() -> None:
    """The call comes once the same man has held the ball in the region for the call's seconds."""
    n = 0
    for t, k, _ in calls_in(world_of("wing", PATIENT, triggers=["held"], held_s=0.8), 30):
        s = t.states
        wait = s["t"][k] - s["catch_t"][k]
        assert REGIONS[s["region"][k]] == "wing" and wait > 0.8 - 0.06
        if REGIONS[s["region"][k - 1]] == "wing":
            assert wait < 0.8 + 0.1 + 1e-6
        n += 1
    assert n >= 20


def test_across_half_court() -> None:
    """The call comes as the ball has crossed half court, once, and never when play starts in front of it."""
    how: dict[str, Any] = {"triggers": ["across_half"], "from_baseline_m": [0.0, 15.0]}
    world = world_of("top", **how)
    half_y = float(world.rules.half_y_m[0])
    for t in called(world, 25):
        assert len(events_of(t, "call")) >= 1
        k, man, _ = first_call(t)
        assert (t.agents["y"][: k - 1, man] >= half_y).all() and half_y - 1.2 < t.agents["y"][k, man] < half_y
    assert not column(records(world_of("top", start="frontcourt", **how), 500), "n_calls").any()


def test_brought_down() -> None:
    """The call comes in the step in which the dribble comes down into the call's distance from the baseline,
    from above it, and at no other moment; a ball that starts inside the band is not brought down into it."""
    for band in ([8.0, 10.0], [9.0, 11.0]):
        world = world_of("top", from_baseline_m=band)
        base_y = float(world.rules.baseline_y_m[0])
        found = called(world, 40)
        assert len(found) == 40
        for t in found:
            k, man, _ = first_call(t)
            y = t.agents["y"][:, man] - base_y
            s = t.states
            assert band[0] <= y[k] <= band[1] < y[k - 1]
            assert s["handler"][k] == s["handler"][k - 1] == man and s["mode"][k - 1] == Mode.HELD
            assert (s["action"][k], s["action"][k - 1]) != (Action.STAY, Action.STAY)
            assert REGIONS[s["region"][k]] in ("top", "slot")
    still = {"hold_value_points": 9.0, "noise_points": 0.0, "decision_period_s": 60.0}
    inside = world_of("top", still, start="frontcourt", from_baseline_m=[0.0, 15.0])
    assert not column(records(inside, 300), "n_calls").any()


# --- conditions -----------------------------------------------------------------------------------------


def test_only_so_far_from_the_baseline() -> None:
    """Calls come within the band alone; the bands of a partition have all the calls that the whole has, less
    those whose first chance lies in another band."""
    share = {}
    for low, high in ((0.0, 15.0), (0.0, 1.3), (1.3, 15.0)):
        world = world_of("corner", PATIENT, triggers=["catch"], after_bump=False, from_baseline_m=[low, high])
        base_y = float(world.rules.baseline_y_m[0])
        for t, k, e in calls_in(world, 25):
            assert low <= t.agents["y"][k, int(e[2])] - base_y <= high
        share[low, high] = (column(records(world, 4000), "n_calls") > 0).mean()
    whole, near, far = share.values()
    assert 0.01 < near < whole and 0.01 < far < whole <= near + far + 1e-9


def test_not_before_the_bump() -> None:
    """With ``after_bump`` no call while the guard is on his way to the wing and the forward has it; without,
    such calls are made, too. What else is called is called all the same."""
    numbers = {}
    for after_bump in (True, False):
        world = world_of("corner", PATIENT, after_bump=after_bump, from_baseline_m=[0.0, 15.0])
        early = late = 0
        for t in called(world, 120):
            k = first_call(t)[0]
            before = MOMENTS[t.states["moment"][k]] == "before_bump"
            early, late = early + before, late + (not before)
        assert late > 20 and early == 0 if after_bump else early > 5
        numbers[after_bump] = set(np.flatnonzero(column(records(world, 2000), "first_call")))
    assert numbers[True] < numbers[False]


def test_only_against_a_named_man() -> None:
    """A call against one number is made on him and on nobody else."""
    five = load_scenario("friday_night").offence_team.on_court
    world = world_of("wing", only_against=[five[2].number], triggers=["catch", "held"])
    trapped = {int(e[2]) for t in called(world, 30) for e in events_of(t, "call")}
    assert trapped == {2}
    assert {int(e[2]) for t in plain_traces("wing") for e in events_of(t, "call")} >= {1, 2}


def test_probability_per_chance() -> None:
    """At 0 never, at 1 at every chance, at one half in about half of single chances."""
    share = {}
    for p in (0.0, 0.5, 1.0):
        world = world_of("top", triggers=["across_half"], from_baseline_m=[0.0, 15.0], probability=p)
        share[p] = np.mean(column(records(world, 2000), "first_call") > 0)
    assert share[0.0] == 0.0 and share[1.0] > 0.97
    assert abs(share[0.5] / share[1.0] - 0.5) < 0.05  # four and a half standard errors
