"""How a trap ends, read from traces: the way back to the shell, giving up, and what the record says of it.

Common practice, no source, where the trade is meant; the rest compares the record with the event log.
"""

from __future__ import annotations

import numpy as np
import pytest
from slides import PATIENT, SEED, built, column, people, records
from test_calls import CALLS, COVERS, QUIET, called, events_of, first_call, plain_traces, step_of, world_of

from engine.kernel.batch import Trace, play_list
from engine.state.record import COLUMN, N_RECORD
from engine.state.words import AFTER, EVENTS, JOBS, LOSSES, OUTCOMES, Mode, TrapPhase


def test_way_back() -> None:
    """Back to the shell at once, or the men behind hold their cover until the trappers are back."""
    held = {}
    for way in ("shell", "trappers_last"):
        cover = total = 0
        # who shoots out of a trap leaves no way back to be seen
        for t in called(world_of("wing", PATIENT, way_back=way), 30):
            s = t.states
            left = events_of(t, "trap_left")
            if not len(left) or OUTCOMES[int(left[0][4])] not in ("escape_pass", "retreat", "split"):
                continue
            k = step_of(t, left[0][0])
            who = people(int(s["trap_side"][k]))
            for n in range(k + 1, min(k + 9, len(s))):
                after = s["trap_phase"][n] == s["trap_phase"][n - 1] == TrapPhase.AFTER
                if after and s["mode"][n] in (Mode.HELD, Mode.PASS_FLIGHT):
                    jobs = {role: JOBS[t.agents["job"][n, who[role]]] for role in COVERS["wing"]}
                    cover += jobs == COVERS["wing"]
                    total += 1
        assert total > 30
        held[way] = cover / total
    assert held["trappers_last"] == 1.0 and held["shell"] < 0.1


def test_the_shell_stands_again() -> None:
    """After an escape the race ends when the shell stands, not before its least time nor after the window."""
    worlds = [world_of(call, PATIENT) for call in ("wing", "top")]
    k = worlds[0][0].k
    traces = [t for world in worlds for t in called(world, 70)]
    since = [e[4] for t in traces for e in events_of(t, "shell_stands")]
    assert len(since) > 10
    assert min(since) > k.shell_least_s - 0.06
    # it is looked at while the ball is held or passed, and later while the ball is inside
    assert np.mean([x < k.window_s + 0.11 for x in since]) > 0.5 and max(since) < 2.0 * k.window_s + 1.3


def test_a_trap_that_never_comes_is_called_off() -> None:
    """Trappers who cannot get there give up after the call's time; the outcome is "other"."""
    world = world_of("wing", QUIET, give_up_s=1.0).copy()
    world.players["top_speed_mps"][0, 5:9] = 0.3
    off = 0
    for t in called(world, 20):
        k, _, at = first_call(t)
        left = events_of(t, "trap_left")[0]
        if OUTCOMES[int(left[4])] == "other" and t.states["mode"][step_of(t, left[0])] == Mode.HELD:
            assert 0.94 < left[0] - at < 1.21
            assert not t.record[COLUMN["trap_set"]]
            off += 1
    assert off >= 10


def told_by_events(t: Trace, rim_m: float, open_m: float) -> tuple[str, str]:
    """Outcome and what came after it, from the event log alone (international three-point line)."""
    events = [(float(e[0]), EVENTS[int(e[1])], int(e[2]), float(e[4]), e[5], e[6]) for e in t.events]
    start = next(i for i, e in enumerate(events) if e[1] == "call")
    trapped, at = events[start][2], events[start][0]
    outcome = ""
    for i, (time, name, player, value, x, y) in enumerate(events[start + 1 :], start + 1):
        at_once = [e[1] for e in events[i + 1 :] if e[0] == time]
        if not outcome:
            if name == "turnover":
                return ("steal" if value == 1.0 else "other_turnover"), "none"
            if name == "foul" and value == 0.0:
                return "foul", "none"
            if name == "shot":
                until = next((j for j, e in enumerate(events[i + 1 :], i + 1) if e[1] == "shot"), len(events))
                fouled = any(e[1] == "foul" and e[3] == 1.0 for e in events[i + 1 : until])
                return ("foul" if fouled else "other"), "none"
            if name in ("throw_in", "end"):
                return "other", "none"
            if name in ("catch", "recovered") and player < 5 and player != trapped:
                if "violation" not in at_once and "turnover" not in at_once:
                    outcome = "escape_pass"
            elif name == "trap_left" and "turnover" not in at_once and "foul" not in at_once:
                # nothing happened to the ball: he dribbled out, or they gave up
                n = step_of(t, time)
                s = t.states
                if s["trap_phase"][n] == TrapPhase.NONE:
                    return "other", "none"
                h, a, b = (t.agents[n, int(s[m][n])] for m in ("handler", "trapper_0", "trapper_1"))
                mid = (0.5 * (a["x"] + b["x"]), 0.5 * (a["y"] + b["y"]))
                beaten = np.hypot(h["x"], h["y"]) < min(np.hypot(m["x"], m["y"]) for m in (a, b))
                through = s["action"][n - 1] == 4 and np.hypot(h["x"] - mid[0], h["y"] - mid[1]) < 3.0
                outcome = "split" if beaten or through else "retreat"
        elif name == "shot":
            far = float(np.hypot(x, y))
            if far < rim_m:
                return outcome, "rim_shot"
            three = far >= 6.75 or abs(x) >= 6.6
            return outcome, "open_three" if three and value >= open_m else "other_shot"
        elif name == "turnover":
            return outcome, "turnover"
        elif (name == "foul" and value == 0.0) or name in ("throw_in", "shell_stands", "end"):
            return outcome, "reset"
    raise AssertionError(f"no end after the call at {at}")


@pytest.mark.parametrize("call", CALLS)
def test_outcome_and_after_agree_with_the_events(call: str) -> None:
    """The record's codes are what the event log tells, classified here on its own."""
    k = world_of(call)[0].k
    seen = set()
    for t in plain_traces(call):
        told = told_by_events(t, float(k.rim_range_m), float(k.open_shot_m))
        written = OUTCOMES[t.record[COLUMN["outcome"]]], AFTER[t.record[COLUMN["after"]]]
        assert told == written, t.states["possession"][0]
        left = events_of(t, "trap_left")[0][0]
        assert t.record[COLUMN["trap_set"]] == any(events_of(t, "trap_set")[:, 0] <= left)
        seen.add(told)
    assert len(seen) >= 5


def test_the_record_speaks_of_the_first_call() -> None:
    """Later calls change what follows, but neither the first call nor what became of it."""
    calls: list[dict[str, object]] = [{"call": "corner"}, {"call": "short_corner"}]
    calls.append({"call": "wing", "probability": 1.0, "triggers": ["catch"]})
    world = built(setting=[{"name": "three", "call": calls}]).settings[0].world
    all_calls, one_call = records(world, 6000), records(world, 6000, max_calls=1)
    assert column(one_call, "n_calls").max() == 1 and column(all_calls, "n_calls").max() >= 2
    for name in ("first_call", "outcome", "after", "trap_set"):
        assert (column(all_calls, name) == column(one_call, name)).all(), name
    several = column(all_calls, "n_calls") > 1
    assert several.sum() > 30 and (all_calls[several] != one_call[several]).any()
    assert (all_calls[~several] == one_call[~several]).all()
    # four bits for each call, the first one lowest
    spots = column(all_calls, "call_spots")
    assert (spots % 16 == column(all_calls, "first_call")).all()
    digits = (spots[:, None] >> (4 * np.arange(7))) & 15
    assert ((digits > 0).sum(1) == column(all_calls, "n_calls")).all()
    one = np.zeros((1, N_RECORD), np.int32)
    play_list(world, SEED, np.flatnonzero(several)[:1].astype(np.uint64), one, max_calls=0)
    assert not column(one, "n_calls").any()


def test_how_the_ball_was_lost_is_what_the_events_say() -> None:
    """Every turnover has one cause, and held balls are counted whoever gets them."""
    seen = dict.fromkeys(LOSSES, 0)
    held_balls = kept = 0
    for name in ("corner", "short_corner", "wing", "top"):
        for t in called(world_of(name, {"tie_up_rate_per_s": 0.3}), 250):
            codes = [EVENTS[int(code)] for code in t.events[:, 1]]
            how = t.record[COLUMN["lost_by"]]
            held = codes.count("held_ball")
            assert t.record[COLUMN["held_balls"]] == held
            held_balls += held
            assert (how > 0) == ("turnover" in codes) == (t.record[COLUMN["turnovers"]] == 1)
            if how == 0:
                kept += held
                continue
            word = LOSSES[how - 1]
            seen[word] += 1
            marks = ("call", "shell_stands", "trap_left")  # of the defence, whatever the ball does
            before = [code for code in codes[: codes.index("turnover")] if code not in marks]
            assert (word in ("violation", "travel")) == (before[-1] == "violation"), before
            assert (word == "held_ball") == (before[-1] == "held_ball"), before
            if word == "pass":
                # touched, or past the receiver: it was in the air last
                assert before[-1] in ("touch", "loose", "recovered", "pass"), before
            if word == "strip":
                assert codes[codes.index("turnover") + 1] == "steal"
                assert before[-1] not in ("touch", "pass"), before
    assert min(seen["strip"], seen["pass"], seen["violation"]) >= 5 and held_balls > kept > 0, seen
