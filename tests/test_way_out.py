"""The ball on its way out of a trap: who has seen it goes to his slide, nobody goes for one over his hands.

Common practice of the trade, no source. Read from traces of the demo's corner trap: in a step's row are the
targets of that step; the ball and the places that they were set by are those of the row before.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from functools import cache
from typing import Any

import numpy as np
from slides import built, people
from test_calls import COVERS, called

from engine.inputs import load_scenario
from engine.kernel.batch import Trace
from engine.state.words import JOBS, Focus, Mode, TrapPhase
from engine.world.pack import pack

IN_A_TRAP = (TrapPhase.COMING, TrapPhase.SET)


@cache
def corner() -> Any:
    return pack(load_scenario("friday_night")).settings[0].world


@cache
def watched() -> list[Trace]:
    return called(corner(), 250)


def flights(traces: list[Trace]) -> Iterator[tuple[Trace, list[int]]]:
    """Each pass, with the steps all of which it is in the air, and a trap on or not."""
    for t in traces:
        s = t.states
        flies = s["mode"] == Mode.PASS_FLIGHT
        on = np.isin(s["trap_phase"], IN_A_TRAP)
        steps = np.flatnonzero(flies[1:] & flies[:-1] & (on[1:] == on[:-1])) + 1
        for number in np.unique(s["n_passes"][steps]):
            yield t, [int(n) for n in steps if s["n_passes"][n] == number]


def passes_out(traces: list[Trace]) -> Iterator[tuple[Trace, list[int]]]:
    """Those of them that leave a trap."""
    for t, steps in flights(traces):
        now = t.states[steps[0]]
        if now["trap_phase"] in IN_A_TRAP and now["target"] != now["trap_handler"]:
            yield t, steps


def trappers(now: Any) -> list[int]:
    return [int(now["trapper_0"]), int(now["trapper_1"])]


def of_row(world: Any, now: Any) -> set[str]:
    """The jobs of the ball's row."""
    row = world[0].slides[now["region"], now["moment"]]
    return {JOBS[entry["job"]] for entry in row}


def leaves_his_cover(world: Any, traces: list[Trace]) -> Counter[str]:
    """Of cover men who do not go for the ball, in the steps of a pass out of the trap: none has left his
    cover before he can have seen it; how many step by step have after, and how many then still play it."""
    k, found = world[0].k, Counter[str]()
    for t, steps in passes_out(traces):
        who = people(int(t.states["trap_side"][steps[0]]))
        for role, cover in COVERS["corner"].items():
            for n in steps:
                now, a = t.states[n], t.agents[n, who[role]]
                if a["break_t"] > now["begun"]:
                    break
                seen = now["begun"] - now["release_t"] - k.reaction_s
                if seen < -1e-6:
                    assert JOBS[a["job"]] == cover
                    found["before"] += 1
                elif seen > k.fake_freeze_s and cover not in of_row(world, now):
                    found["after" if JOBS[a["job"]] in of_row(world, now) else "stays"] += 1
    return found


def test_cover_men_who_have_seen_the_pass_leave_before_the_catch() -> None:
    """All whose job is none of the ball's row, in each step from when even a frozen man has seen it; and
    nobody where the call says that the men behind hold their cover until the trappers are back."""
    found = leaves_his_cover(corner(), watched())
    assert found["before"] > 100 and found["after"] > 30 and not found["stays"], found
    held = built(setting=[{"name": "held", "call": [{"call": "corner", "way_back": "trappers_last"}]}])
    found = leaves_his_cover(held.settings[0].world, called(held.settings[0].world, 60))
    assert found["stays"] > 10 and not found["after"], found


def trap_points(world: Any, now: Any) -> Any:
    """Where the two would stand around the receiver [2, 2]."""
    k, call = world[0].k, world[0].calls[now["trap_call"]]
    catch = np.array([now["pass_x1"], now["pass_y1"]])
    face = np.array([call["face_x_m"] * now["trap_side"], call["face_y_m"]]) - catch
    angle = np.arctan2(face[1], face[0]) + k.trap_half_angle * np.array([-1.0, 1.0])
    return catch + k.trap_stand_m * np.column_stack([np.cos(angle), np.sin(angle)])


def test_trappers_do_not_chase_a_pass_out() -> None:
    """In its flight no trapper's target lies where a trap around the receiver would have him (10 cm), but for
    who acts on a guess; from when he has seen it his job is one of the ball's row, which has no trap."""
    k = corner()[0].k
    before = after = 0
    for t, steps in passes_out(watched()):
        for n in steps:
            now = t.states[n]
            since = now["begun"] - now["release_t"]
            for a in t.agents[n, trappers(now)]:
                away = np.hypot(*(trap_points(corner(), now) - [a["tx"], a["ty"]]).T)
                assert away.min() > 0.1 or a["focus"] == Focus.GUESS
                if since > k.reaction_s + 1e-6:
                    assert a["focus"] == Focus.BALL and JOBS[a["job"]] in of_row(corner(), now) - {"trap"}
                    after += 1
                elif since > k.primed_s:  # here they would run to a pass that goes to the man they trap
                    before += a["focus"] == Focus.BEFORE_PASS
    assert before > 50 and after > 50, (before, after)


def test_nobody_goes_for_a_ball_over_his_hands() -> None:
    """Neither a cover man who breaks for a throw nor a gambler has the ball, where he meets it, higher than
    he jumps; some who would have gone are so kept from it."""
    k, players = corner()[0].k, corner()[0].players
    went, kept = Counter[str](), 0
    for t, steps in flights(watched()):
        for n in steps:
            was, now = t.states[n - 1], t.states[n]
            ball = np.array([was["ball_x"], was["ball_y"]])
            way = np.array([was["pass_x1"], was["pass_y1"]]) - ball
            breaks = now["trap_phase"] in IN_A_TRAP
            for i in np.flatnonzero(t.agents["gamble"][n, 5:]) + 5:
                place = np.array([t.agents["x"][n - 1, i], t.agents["y"][n - 1, i]])
                f = float(np.clip((place - ball) @ way / (way @ way), 0.0, 1.0))
                g = was["pass_share"] + f * (1.0 - was["pass_share"])
                over = was["pass_z0"] + (2.0 - was["pass_z0"]) * g + 4.0 * k.pass_loft_m * g * (1.0 - g)
                too_high = (1.3, 0.6, over)[int(now["pass_kind"])] > players["reach_m"][i] + k.jump_m
                meets = ball + (min(f + 0.1, 0.95) if breaks else f) * way
                if np.hypot(*(meets - [t.agents["tx"][n, i], t.agents["ty"][n, i]])) < 1e-9:
                    assert not too_high, (n, i)
                    went["breaks" if breaks else "gambles"] += 1
                elif np.hypot(*(place - ball - f * way)) < k.cover_break_within_m:
                    kept += too_high
    assert min(went["breaks"], went["gambles"]) > 30 and kept > 30, (went, kept)
