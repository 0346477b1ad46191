"""What a set trap is and does: set in a wind-up, too, held balls, arms that reach, running to the ball."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from slides import PATIENT
from test_calls import called, events_of, world_of
from test_rules_play import CALM, home

from engine.kernel.batch import Trace
from engine.run.watch import watch_numbers
from engine.state.arrays import N_SIDE
from engine.state.words import Action, Dribble, Event, Mode, TrapPhase

HELD_LONG = {**PATIENT, **CALM, "set_pick_up_p": 0.5}


@cache
def trapped(call: str) -> list[Trace]:
    return called(world_of(call), 150)


def test_a_trap_is_set_around_a_man_who_winds_up() -> None:
    """Both there and no gap while he is about to pass or to shoot counts; a pass in flight does not."""
    in_hand = (Mode.HELD, Mode.PASS_WINDUP, Mode.SHOT_WINDUP)
    seen = dict.fromkeys(in_hand, 0)
    for call in ("wing", "top", "short_corner"):
        k = world_of(call)[0].k
        for t in trapped(call):
            s = t.states
            for n in range(1, len(s)):
                if s["trap_phase"][n - 1] != TrapPhase.COMING or s["mode"][n] not in (
                    *in_hand,
                    Mode.PASS_FLIGHT,
                ):
                    continue
                h, a, b = (t.agents[n, int(s[m][n])] for m in ("trap_handler", "trapper_0", "trapper_1"))
                far = max(np.hypot(h["x"] - m["x"], h["y"] - m["y"]) for m in (a, b))
                gap = np.hypot(a["x"] - b["x"], a["y"] - b["y"]) - 2 * k.body_radius_m
                if s["trap_phase"][n] == TrapPhase.SET:
                    assert far < k.trap_set_m and gap < k.trap_gap_m
                    assert s["handler"][n] == s["trap_handler"][n]
                    seen[Mode(s["mode"][n])] += 1
                elif s["mode"][n] in in_hand and s["mode"][n - 1] == s["mode"][n]:
                    there = far < k.trap_set_m - 1e-9 and gap < k.trap_gap_m - 1e-9
                    same = s["handler"][n] == s["trap_handler"][n] == s["handler"][n - 1]
                    left = s["trap_phase"][n] in (TrapPhase.NONE, TrapPhase.AFTER)
                    assert not (there and same) or left or s["t"][n] == s["trap_t"][n]
    assert seen[Mode.HELD] > 20 and seen[Mode.PASS_WINDUP] + seen[Mode.SHOT_WINDUP] > 5, seen


@pytest.mark.parametrize("call", ["wing", "top"])
def test_balls_are_held_only_with_a_dead_dribble_in_a_set_trap(call: str) -> None:
    """At a rate a thousand times the model's each dead dribble in a set trap ends so in its first steps, and
    no live one does."""
    alive = held = 0
    for t in called(world_of(call, {**HELD_LONG, "tie_up_rate_per_s": 100.0}), 120):
        s = t.states
        for e in events_of(t, "held_ball"):
            n = int(np.searchsorted(s["t"], e[0] - 1e-6))
            # or the trap is set and he picks it up in that very step
            picks_up, is_set = ((events_of(t, name)[:, 0] == e[0]).any() for name in ("pick_up", "trap_set"))
            assert s["dribble"][n - 1] == Dribble.DEAD or picks_up
            assert s["trap_phase"][n - 1] == TrapPhase.SET or is_set
            held += 1
        alive += ((s["trap_phase"] == TrapPhase.SET) & (s["dribble"] != Dribble.DEAD)).sum()
    assert held > 8 and alive > 20


def test_no_balls_are_held_at_home() -> None:
    """Nor does a handler who is only guarded get tied up, whatever the rate."""
    world = home(constants={"tie_up_rate_per_s": 100.0})
    held = [
        t for b in watch_numbers(world, 3, np.arange(300), what=()) for t in b.traces()
        if (t.events[:, 1] == Event.HELD_BALL).any()
    ]  # fmt: skip
    assert not held


def test_trappers_run_to_where_the_pass_goes() -> None:
    """From ``primed_s`` after the release both trappers' targets are around the catch, not the passer."""
    n_primed = 0
    world = world_of("wing", PATIENT, triggers=["in_air"])
    k = world[0].k
    for t in called(world, 60):
        s = t.states
        for n in np.flatnonzero((s["mode"] == Mode.PASS_FLIGHT) & (s["trap_phase"] == TrapPhase.COMING)):
            since = s["t"][n] - s["release_t"][n]
            for i in (int(s["trapper_0"][n]), int(s["trapper_1"][n])):
                a = t.agents[n, i]
                if since < k.primed_s - 0.06:
                    assert a["primed"] == 0
                if a["primed"] == 1 and s["t"][n] > s["trap_t"][n]:
                    away = np.hypot(a["tx"] - s["pass_x1"][n], a["ty"] - s["pass_y1"][n])
                    assert away < k.trap_stand_m + 1e-6
                    n_primed += 1
    assert n_primed > 40


def test_arms_of_two_who_have_set_a_trap_reach_farther() -> None:
    """The reach of a trapper is the arms' own while the trap is set, everybody else's the usual one: the
    touch of a pass at ``off_m`` beside a set trapper comes as often as the wider curve says."""
    from engine.kernel.batch import new_scratch
    from engine.kernel.jit import njit
    from engine.kernel.passing import arm_reach

    @njit
    def reach(worlds: Any, scratches: Any, i: int) -> float:
        stands = scratches[0].s.trap_phase == TrapPhase.SET
        return arm_reach(worlds[0], scratches[0], i, stands)  # type: ignore[no-any-return]

    world, scratch = world_of("wing"), new_scratch()
    k = world[0].k
    assert k.trap_arm_m > k.arm_reach_m
    s = scratch[0].s
    s.trapper_0, s.trapper_1 = N_SIDE + 1, N_SIDE + 3
    for phase in TrapPhase:
        s.trap_phase = int(phase)
        found = [reach(world, scratch, i) for i in range(N_SIDE, 2 * N_SIDE)]
        arms = k.trap_arm_m if phase == TrapPhase.SET else k.arm_reach_m
        assert found == [k.arm_reach_m, arms, k.arm_reach_m, arms, k.arm_reach_m]


def test_the_half_line_holds_only_where_the_rule_is() -> None:
    """Team-mates and passes keep to the front court once the ball is across; without the rule some do not."""
    beyond = {}
    for limit in (8.0, 0.0):
        world = world_of("top", rules_changes={"clock.backcourt_s": limit}, triggers=["across_half"],
                         from_baseline_m=[0.0, 15.0])  # fmt: skip
        half = world[0].rules.half_y_m
        n = 0
        for t in called(world, 60):
            s = t.states
            front = (s["front"] == 1) & (s["trap_phase"] != TrapPhase.NONE) & (s["mode"] == Mode.HELD)
            for step in np.flatnonzero(front[1:] & front[:-1]) + 1:
                h = int(s["handler"][step])
                away = [i for i in range(N_SIDE) if i != h]
                n += (t.agents["ty"][step, away] > half - 0.2).any()
                if s["action"][step] == Action.RETREAT:
                    n += s["goal_y"][step] > half - 0.4 + 1e-9
        beyond[limit] = n
    assert beyond[8.0] == 0 < beyond[0.0]
