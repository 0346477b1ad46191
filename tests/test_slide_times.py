"""When a defender learns of what has happened: sides, reaction, anticipation and the bump, read from traces.

Common practice of the trade, no source, as in test_slides.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from slides import PATIENT, built, column, people, records, traces

from engine.kernel.near import NEVER
from engine.state.words import EVENTS, MOMENTS, REGIONS, Mode


def test_near_and_far_are_latched() -> None:
    """The side changes at the release of a pass or under a dribble, only beyond the hysteresis; then persons
    keep their roles while the ball crosses the middle."""
    packed = built(defence={"options": {}}, constants=PATIENT, start="frontcourt")
    hysteresis = float(packed.home[0].k.side_hysteresis_m)
    changes = kept = crossings = 0
    for t in traces(packed.home, 80):
        s = t.states
        for n in range(1, len(s)):
            if s["n_restarts"][n] != s["n_restarts"][n - 1]:
                continue  # a dead ball
            # three seconds may be called in the step of a release: it is over then
            in_air = s["mode"][n] == Mode.PASS_FLIGHT
            called = s["mode"][n - 1] == Mode.PASS_WINDUP and s["mode"][n] == Mode.OVER
            released = (in_air and s["mode"][n - 1] != Mode.PASS_FLIGHT) or called
            x = s["ball_x"][n]
            if s["near"][n] != s["near"][n - 1]:
                changes += 1
                ended = s["mode"][n] == Mode.OVER  # a count is full in the step of a catch
                assert released or ended or Mode.HELD in (s["mode"][n], s["mode"][n - 1])
                if not released:
                    assert x * s["near"][n] > hysteresis
            elif s["mode"][n] == Mode.HELD:
                assert x * s["near"][n] >= -hysteresis - 1e-9
                kept += x * s["near"][n] < 0
            elif s["mode"][n] == Mode.PASS_FLIGHT and not released:
                crossings += s["ball_x"][n - 1] * x < 0
    assert changes > 60 and kept > 60 and crossings > 30


@pytest.mark.parametrize("reaction_s", [0.3, 0.6])
def test_nobody_reacts_before_his_reaction_time(reaction_s: float) -> None:
    """Without anticipation nobody takes over the new row before the reaction delay has passed since the
    release, and all have a step and a half later (times are those of the ends of steps)."""
    constants = {**PATIENT, "anticipation_p": 0.0, "fake_p": 0.0, "reaction_s": reaction_s}
    world = built(defence={"options": {}}, constants=constants, start="frontcourt").home
    times = []
    for t in traces(world, 25):
        s, d = t.states, t.agents[:, 5:]
        for n in range(1, len(s)):
            if s["mode"][n] != Mode.PASS_FLIGHT or s["mode"][n - 1] == Mode.PASS_FLIGHT:
                continue
            assert (d["focus"][n] == 1).all()  # everybody still looks to where the ball was
            m = n
            while m + 1 < len(s) and s["mode"][m] == Mode.PASS_FLIGHT and (d["focus"][m] == 1).any():
                m += 1
                if s["n_restarts"][m] != s["n_restarts"][n]:
                    break  # touched out of the hall: a dead ball is no news to react to
                n_new = int(((d["focus"][m - 1] == 1) & (d["focus"][m] == 0)).sum())
                times += n_new * [s["t"][m] - s["release_t"][n]]
                for i in np.flatnonzero(d["focus"][m] == 1):
                    assert d["region"][m, i] == d["region"][n, i] and d["side"][m, i] == d["side"][n, i]
    assert len(times) > 50
    assert reaction_s - 1e-6 < min(times) and max(times) < reaction_s + 0.16
    assert abs(np.mean(times) - reaction_s) < 0.11


def test_who_anticipates_leaves_before_the_release() -> None:
    """Of passes without a fake each defender reads one ahead with ``anticipation_p`` and then wrongly with
    ``anticipation_wrong_p``, independently: 4 binomial standard errors (200 passes: 1000 defenders, .014,
    and some 300 who leave early, .023). Who reads it rightly goes to where it is meant to be caught."""
    world = built(defence={"options": {}}, start="frontcourt", constants={**PATIENT, "fake_p": 0.0}).home
    k = world[0].k
    early = wrong = passes = 0
    for t in traces(world, 40):
        s, d = t.states, t.agents[:, 5:]
        for n in np.flatnonzero(np.diff(s["n_passes"]) == 1) + 1:  # he begins to pass
            flies = n + np.flatnonzero(s["mode"][n:] != Mode.PASS_WINDUP)[:1]
            if not len(flies) or s["mode"][flies[0]] != Mode.PASS_FLIGHT:
                continue
            passes += 5
            reads = d["guess_t"][n] < NEVER
            assert (d["focus"][flies[0], reads] == 2).all()  # acts on it before the ball is in the air
            right = reads & (d["guess_x"][n] == s["pass_x1"][n]) & (d["guess_y"][n] == s["pass_y1"][n])
            assert (d["guess_who"][n, right] == s["target"][n]).all()
            for guess in d[n, reads & ~right]:  # wrongly: to somebody where he stands now
                assert guess["guess_x"] == t.agents["x"][n, guess["guess_who"]]
            early, wrong = early + reads.sum(), wrong + (reads & ~right).sum()
    for count, of, p in ((early, passes, k.anticipation_p), (wrong, early, k.anticipation_wrong_p)):
        assert of > 200 and abs(count / of - p) < 4 * np.sqrt(p * (1 - p) / of), (count, of, p)


def guards_of(speed_mps: float) -> Any:
    """The patient attack against a zone whose two guards run so fast."""
    no_plays = {"plays": []}
    patient = built(defence={"options": {}}, offence=no_plays, constants=PATIENT, start="frontcourt")
    world = patient.home.copy()
    world.players["top_speed_mps"][0, 5:7] = speed_mps
    world.players["slide_mps"][0, 5:7] = speed_mps * 0.55
    return world


def bumps(speed_mps: float, n: int) -> tuple[list[float], list[float], int]:
    """(time of each bump since the catch, the guard's distance at that catch, wing catches from above)."""
    bump, catch = EVENTS.index("bump"), EVENTS.index("catch")
    times, far, catches = [], [], 0
    for t in traces(guards_of(speed_mps), n):
        at = None
        for e in t.events:
            step = int(round(e[0] / 0.1))
            if e[1] == catch:
                s = t.states[step]
                at = None
                if REGIONS[s["region"]] == "wing" and MOMENTS[s["moment"]] in ("before_bump", "reversal"):
                    catches += 1
                    g, h = t.agents[step, people(s["near"])["near_guard"]], t.agents[step, s["handler"]]
                    at = float(np.hypot(g["x"] - h["x"], g["y"] - h["y"]))
            elif e[1] == bump and at is not None:
                times.append(float(e[4]))
                far.append(at)
                at = None
    return times, far, catches


def test_the_bump_is_a_race() -> None:
    """Common practice, no source: it comes from travel, so it takes longer the farther the guard is, and
    slower guards bump later and less often. A fixed success rate would do neither."""
    quick, far, n_quick = bumps(7.5, 120)
    slow, _, n_slow = bumps(3.6, 120)
    assert n_quick > 40 and n_slow > 40
    assert np.std(quick) > 0.1
    assert np.corrcoef(quick, far)[0, 1] > 0.4
    assert np.mean(slow) > np.mean(quick) + 0.15
    assert len(slow) / n_slow < len(quick) / n_quick - 0.05


def test_slow_guards_miss_more_bumps() -> None:
    """Common practice, no source: slower guards, more corner catches before the bump (patient offence)."""
    shares = {
        speed: column(records(guards_of(speed), 4000), "missed_bump_catches").mean() for speed in (7.5, 3.6)
    }
    assert shares[3.6] > shares[7.5] * 1.1
