"""The 2-3 without a call, read from traces: who stands where with which job, and when he learns of it.

Every place and job below: common practice of the trade, no source (the table "the base 2-3, no call" of the
model). The tests read traces of possessions, never the zone's file: its tables are mirrored, latched, adopted
late and turned into targets by the engine, and all of that must come out right for a row to be seen here.
Places are in metres with the ball on the right (x > 0); the left side is read mirrored.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest

from engine.inputs.files import configs_root, read_toml, resolve
from engine.inputs.scenario import scenario_from
from engine.kernel.batch import Trace, play_block, trace_possession
from engine.pack import Packed, pack
from engine.state import COLUMN, EVENTS, HELD, JOBS, MOMENTS, N_RECORD, PASS_FLIGHT, REGIONS

SEED = 5
N_TRACES = 110
ALIGNMENTS = ("high_post_short_corner", "overload", "two_guard_baseline")
ROLES = ("near_guard", "far_guard", "near_forward", "far_forward", "centre")
# agents 5..9 in the order of the team file's zone_places
LEFT_GUARD, RIGHT_GUARD, LEFT_FORWARD, RIGHT_FORWARD, CENTRE = range(5, 10)
#: An offence that keeps the ball a while at each spot, so that the defenders have time to get there.
PATIENT = {
    "decision_period_s": 1.2,
    "catch_pause_s": 1.3,
    "movement_points": 0.15,
    "noise_points": 0.2,
    "hold_value_points": 1.6,
    "hold_stale_points_per_s": 0.15,
}
SETTLE_STEPS = 9  # the ball's row and holder unchanged for so long


def built(**changes: Any) -> Packed:
    """The demo scenario, packed, with tables merged into it and other keys replaced; constants are free."""
    source = resolve("friday_night", "scenarios")
    data = read_toml(source)
    for key, value in changes.items():
        data[key] = {**data.get(key, {}), **value} if isinstance(value, dict) else value
    return pack(scenario_from({**data, "beyond_range": True}, source))


def people(side: int) -> dict[str, int]:
    """Agent number of each role with the ball on this side (+1 right, -1 left)."""
    right = side > 0
    return {
        "near_guard": RIGHT_GUARD if right else LEFT_GUARD,
        "far_guard": LEFT_GUARD if right else RIGHT_GUARD,
        "near_forward": RIGHT_FORWARD if right else LEFT_FORWARD,
        "far_forward": LEFT_FORWARD if right else RIGHT_FORWARD,
        "centre": CENTRE,
    }


def traces(world: Any, n: int, seed: int = SEED) -> Iterable[Trace]:
    for i in range(n):
        yield trace_possession(world, seed, i)


def records(world: Any, n: int, seed: int = SEED, **how: Any) -> Any:
    """Records int32[n, N_RECORD] of possessions 0 .. n - 1."""
    found = np.zeros((n, N_RECORD), np.int32)
    play_block(world, seed, 0, found, **how)
    return found


def column(found: Any, name: str) -> Any:
    return found[:, COLUMN[name]]


class Moment(NamedTuple):
    """One step in which a row has been adopted by all five: mirrored places, jobs, distances to the ball."""

    possession: int
    side: int
    ball: Any  # [2]
    at: dict[str, Any]  # role -> [x, y]
    job: dict[str, str]
    off: Any  # attackers [5, 2], the holder's row not a number

    def to_ball(self, role: str) -> float:
        return float(np.hypot(*(self.at[role] - self.ball)))

    def nearest(self) -> str:
        return min(ROLES, key=self.to_ball)


Rows = dict[tuple[str, str], list[Moment]]


def read_rows(world: Any, n: int, first: int = 0) -> Rows:
    """Every settled moment of possessions first .. first + n - 1 by (region, moment)."""
    found: Rows = {}
    for i in range(first, first + n):
        t = trace_possession(world, SEED, i)
        s, a = t.states, t.agents
        since = 0
        for step in range(1, len(s)):
            same = all(
                s[name][step] == s[name][step - 1] for name in ("region", "moment", "near", "mode", "handler")
            )
            since = since + 1 if same else 0
            if s["mode"][step] != HELD or since < SETTLE_STEPS:
                continue
            d = a[step, 5:]
            row = (s["region"][step], s["moment"][step], s["near"][step])
            if not all(tuple(m) == row for m in zip(d["region"], d["moment"], d["side"], strict=True)):
                continue
            near = int(row[2])
            xy = np.column_stack([a["x"][step] * near, a["y"][step]])
            holder = int(s["handler"][step])
            off = xy[:5].copy()
            off[holder] = np.nan
            who = people(near)
            found.setdefault((REGIONS[row[0]], MOMENTS[row[1]]), []).append(
                Moment(
                    i,
                    near,
                    xy[holder],
                    {role: xy[who[role]] for role in ROLES},
                    {role: JOBS[a["job"][step, who[role]]] for role in ROLES},
                    off,
                )
            )
    return found


@cache
def patient_rows(**options: str) -> Rows:
    """Rows over the three alignments with the zone's options set so; the plain zone is read most."""
    found: Rows = {}
    for alignment in ALIGNMENTS:
        world = built(
            offence={"alignment": alignment},
            defence={"options": options},
            constants=PATIENT,
            start="bring_up" if "bring_up" in options else "frontcourt",
        ).home
        for key, moments in read_rows(world, 25 if options else N_TRACES).items():
            found.setdefault(key, []).extend(moments)
    return found


#: Row -> the job of each role. "on_ball_if_shooter": on the ball only if the handler can shoot.
JOBS_OF_ROW = {
    ("top", "settled"): ("on_ball_if_shooter", "deny", "drop", "drop", "middle"),
    ("slot", "settled"): ("on_ball", "deny", "drop", "fill", "middle"),
    ("wing", "before_bump"): ("coming", "deny", "on_ball", "fill", "block"),
    ("wing", "after_bump"): ("on_ball", "deny", "drop", "fill", "middle"),
    ("corner", "before_bump"): ("deny", "deny", "on_ball", "rim", "block"),
    ("corner", "settled"): ("sink", "deny", "on_ball", "rim", "block"),
    ("high_post", "settled"): ("dig", "dig", "pinch", "pinch", "on_ball"),
    ("short_corner", "settled"): ("sink", "read_skip", "on_ball", "rim", "block"),
    ("low_post", "settled"): ("dig", "read_skip", "dig", "rim", "on_ball"),
    ("top", "reversal"): ("gap", "coming", "drop", "drop", "middle"),
    ("wing", "reversal"): ("coming", "deny", "on_ball", "fill", "block"),
}

Check = Callable[[Moment], float]


def near_rim(role: str) -> Check:
    return lambda m: float(np.hypot(*m.at[role]))


def x_of(role: str) -> Check:
    return lambda m: float(m.at[role][0])


def y_of(role: str) -> Check:
    return lambda m: float(m.at[role][1])


def from_ball(role: str) -> Check:
    return lambda m: m.to_ball(role)


def from_post(role: str) -> Check:
    """Distance to the lane's middle at the free-throw line (4.2 m out): the high post."""
    return lambda m: float(np.hypot(m.at[role][0], m.at[role][1] - 4.3))


#: Row -> (what, measure, lowest, highest) of the mean over the row's moments, metres.
PLACES: dict[tuple[str, str], list[tuple[str, Check, float, float]]] = {
    ("top", "settled"): [
        ("near guard at arm's length of the ball", from_ball("near_guard"), 0.8, 2.2),
        ("far guard between ball and high post", y_of("far_guard"), 4.3, 7.2),
        ("far guard in the middle", x_of("far_guard"), -1.6, 1.0),
        ("near forward up and wide", x_of("near_forward"), 3.4, 5.2),
        ("near forward no higher than half way to the wing", y_of("near_forward"), 2.0, 3.8),
        ("far forward the same on his side", x_of("far_forward"), -5.2, -3.4),
        ("far forward half way up", y_of("far_forward"), 2.0, 3.8),
        ("centre in the lane's middle across", x_of("centre"), -0.6, 0.6),
        ("centre in the lane's middle deep", y_of("centre"), 1.9, 3.6),
    ],
    ("slot", "settled"): [
        ("near guard on the ball", from_ball("near_guard"), 0.8, 1.8),
        ("far guard on the high post", from_post("far_guard"), 0.0, 2.1),
        ("near forward nearer the wing", x_of("near_forward"), 3.8, 5.6),
        ("far forward in or beside the lane", x_of("far_forward"), -3.3, -0.8),
        ("centre in the middle", x_of("centre"), -0.6, 0.8),
    ],
    ("wing", "before_bump"): [
        ("near forward on the ball", from_ball("near_forward"), 0.7, 1.9),
        ("near guard on his way, not there", from_ball("near_guard"), 1.4, 4.2),
        ("far guard in front of the high post", from_post("far_guard"), 0.0, 2.2),
        ("far forward back-side", x_of("far_forward"), -3.2, 0.0),
        ("centre on the ball side", x_of("centre"), 0.8, 2.9),
        ("centre on the block", y_of("centre"), 0.5, 2.6),
    ],
    ("wing", "after_bump"): [
        ("near guard on the ball", from_ball("near_guard"), 0.7, 1.8),
        ("near forward dropped toward the short corner", y_of("near_forward"), 0.2, 2.2),
        ("near forward outside the lane", x_of("near_forward"), 3.0, 5.2),
        ("near forward off the ball", from_ball("near_forward"), 2.0, 4.5),
        ("far guard at the elbow", y_of("far_guard"), 3.3, 5.3),
        ("far guard ball-side", x_of("far_guard"), 0.4, 3.0),
        ("far forward back-side of the lane", x_of("far_forward"), -2.2, 0.0),
        ("far forward by the rim", near_rim("far_forward"), 0.5, 2.6),
        ("centre a step up toward the middle", y_of("centre"), 1.7, 3.2),
        ("centre ball-side", x_of("centre"), 0.3, 2.2),
    ],
    ("corner", "before_bump"): [
        ("near guard takes the wing across", x_of("near_guard"), 4.2, 6.6),
        ("near guard takes the wing deep", y_of("near_guard"), 2.8, 4.6),
        ("near forward comes to the ball", from_ball("near_forward"), 0.7, 3.4),
        ("far forward to the rim", near_rim("far_forward"), 0.0, 1.5),
        ("centre fills the block", x_of("centre"), 1.8, 3.2),
        ("centre low", y_of("centre"), -0.2, 1.8),
    ],
    ("corner", "settled"): [
        ("near forward on the ball", from_ball("near_forward"), 0.7, 1.7),
        ("near guard sunk inside the wing", x_of("near_guard"), 2.4, 4.6),
        ("near guard sunk toward the elbow", y_of("near_guard"), 2.6, 4.2),
        ("far guard on the high post", y_of("far_guard"), 3.2, 5.2),
        ("far forward across the lane to the rim", near_rim("far_forward"), 0.0, 1.6),
        ("centre across to the low post", x_of("centre"), 1.6, 3.3),
        ("centre low", y_of("centre"), 0.2, 2.0),
    ],
    ("high_post", "settled"): [
        ("near guard comes together", x_of("near_guard"), 0.8, 3.2),
        ("far guard comes together", x_of("far_guard"), -3.2, -0.2),
        ("near forward pinched on the low post", x_of("near_forward"), 2.6, 4.4),
        ("near forward low", y_of("near_forward"), 1.0, 2.8),
        ("far forward pinched on the low post", x_of("far_forward"), -4.4, -2.4),
        ("centre up on the ball", from_ball("centre"), 0.7, 1.7),
    ],
    ("short_corner", "settled"): [
        ("near forward on the ball", from_ball("near_forward"), 0.6, 1.7),
        ("near guard sunk", y_of("near_guard"), 1.8, 3.9),
        ("near guard ball-side", x_of("near_guard"), 2.4, 4.8),
        ("far guard holds the high post", y_of("far_guard"), 3.0, 4.6),
        ("far forward to the rim", near_rim("far_forward"), 0.0, 2.0),
        ("centre between ball and block", x_of("centre"), 1.4, 3.4),
    ],
    ("low_post", "settled"): [
        ("centre on the ball", from_ball("centre"), 0.4, 1.7),
        ("near forward digs", from_ball("near_forward"), 0.5, 1.8),
        ("near guard digs", from_ball("near_guard"), 0.8, 2.6),
        ("far guard holds the high post", y_of("far_guard"), 2.6, 4.4),
        ("far forward to the rim", near_rim("far_forward"), 0.0, 2.2),
    ],
    ("top", "reversal"): [
        ("far guard comes to the ball", from_ball("far_guard"), 0.9, 3.6),
        ("near guard back in the gap", y_of("near_guard"), 4.0, 6.2),
        ("near forward recovers up", y_of("near_forward"), 1.6, 3.6),
        ("far forward recovers wide", x_of("far_forward"), -5.0, -2.0),
        ("centre in the middle", x_of("centre"), -0.8, 1.2),
    ],
    ("wing", "reversal"): [
        ("near forward has run at the catch", from_ball("near_forward"), 0.7, 2.0),
        ("near guard on his way", from_ball("near_guard"), 1.4, 4.4),
        ("centre on the block of that side", x_of("centre"), 0.6, 2.9),
    ],
}
#: Row -> who is nearest to the ball, and in what share of the moments at least.
NEAREST = {
    ("top", "settled"): ("near_guard", 0.85),
    ("slot", "settled"): ("near_guard", 0.85),
    ("wing", "before_bump"): ("near_forward", 0.85),
    ("wing", "after_bump"): ("near_guard", 0.85),
    ("wing", "reversal"): ("near_forward", 0.85),
    ("corner", "settled"): ("near_forward", 0.9),
    ("short_corner", "settled"): ("near_forward", 0.7),
}
LEAST_MOMENTS = 12
LEAST_POSSESSIONS = 4


def ids(key: tuple[str, str]) -> str:
    return "-".join(key)


@pytest.mark.parametrize("side", [1, -1], ids=["right", "left"])
@pytest.mark.parametrize("key", JOBS_OF_ROW, ids=ids)
def test_row_places_and_jobs(key: tuple[str, str], side: int) -> None:
    """Common practice, no source: the jobs of the row, and each man within his part of the floor."""
    moments = [m for m in patient_rows().get(key, []) if m.side == side]
    assert len(moments) >= LEAST_MOMENTS and len({m.possession for m in moments}) >= LEAST_POSSESSIONS
    wanted = dict(zip(ROLES, JOBS_OF_ROW[key], strict=True))
    wrong = [(m.possession, m.job) for m in moments if m.job != wanted]
    assert not wrong, wrong[:3]
    for what, measure, low, high in PLACES[key]:
        mean = np.mean([measure(m) for m in moments])
        assert low <= mean <= high, f"{what}: {mean:.2f} m, not {low} to {high}"
    if key in NEAREST:
        who, least = NEAREST[key]
        share = np.mean([m.nearest() == who for m in moments])
        assert share >= least, f"{who} nearest in {share:.2f} of {len(moments)}"


@pytest.mark.parametrize("key", [("high_post", "settled"), ("top", "settled")], ids=ids)
def test_mirrored_rows(key: tuple[str, str]) -> None:
    """Common practice, no source: the zone is the same on both sides; mean places differ by little."""
    moments = patient_rows()[key]
    for role in ROLES:
        right, left = (np.mean([m.at[role] for m in moments if m.side == side], 0) for side in (1, -1))
        assert np.hypot(*(right - left)) < 0.6, role


def test_a_broken_row_is_seen(tmp_path: Path) -> None:
    """A copy of the zone whose far forward stays home with the ball in the corner fails the row's check."""
    text = (configs_root() / "zones" / "two_three.toml").read_text(encoding="utf-8")
    good = 'far_forward = { job = "rim", place = "rim", side = "far" }'
    assert text.count(good) >= 2
    path = tmp_path / "broken.toml"
    path.write_text(text.replace(good, 'far_forward = { job = "rim", place = "wing", side = "far" }'), "utf-8")
    world = built(defence={"zone": str(path), "options": {}}, constants=PATIENT, start="frontcourt").home
    moments = read_rows(world, 60)["corner", "settled"]
    low, high = next((low, high) for what, _, low, high in PLACES["corner", "settled"] if "far forward" in what)
    assert not low <= np.mean([near_rim("far_forward")(m) for m in moments]) <= high
    shutil.rmtree(tmp_path)


# --- options of the zone's file -------------------------------------------------------------------------


def mean_of(key: tuple[str, str], measure: Check, **options: str) -> float:
    return float(np.mean([measure(m) for m in patient_rows(**options)[key]]))


def jobs_of(key: tuple[str, str], role: str, **options: str) -> set[str]:
    return {m.job[role] for m in patient_rows(**options)[key]}


def test_option_corner_near_guard() -> None:
    """Common practice, no source: sinks to the middle, or denies the pass back to the wing."""
    key = ("corner", "settled")
    assert jobs_of(key, "near_guard", corner_near_guard="deny") == {"deny"}
    sunk, deny = mean_of(key, x_of("near_guard")), mean_of(key, x_of("near_guard"), corner_near_guard="deny")
    assert deny > sunk + 0.8


def test_option_wing_far_guard() -> None:
    """Common practice, no source: at the elbow, or a step up to the top."""
    key = ("wing", "after_bump")
    assert jobs_of(key, "far_guard", wing_far_guard="top") == {"gap"}
    elbow, top = mean_of(key, y_of("far_guard")), mean_of(key, y_of("far_guard"), wing_far_guard="top")
    assert top > elbow + 0.5


def test_option_forwards_start() -> None:
    """Common practice, no source: forwards start high, in the middle or low."""
    key = ("top", "settled")
    low = mean_of(key, y_of("near_forward"), forwards_start="low")
    middle = mean_of(key, y_of("near_forward"))
    high = mean_of(key, y_of("near_forward"), forwards_start="high")
    assert low + 0.4 < middle < high - 0.4
    assert mean_of(key, y_of("far_forward"), forwards_start="low") + 0.4 < mean_of(key, y_of("far_forward"))


def test_option_top_guard() -> None:
    """Common practice, no source: on the ball whoever has it, or both guards close the gap."""
    key = ("top", "settled")
    assert jobs_of(key, "near_guard", top_guard="ball") == {"on_ball"}
    assert jobs_of(key, "near_guard", top_guard="gap") == {"gap"}
    assert jobs_of(key, "far_guard", top_guard="gap") == {"gap"}
    ball = mean_of(key, from_ball("near_guard"), top_guard="ball")
    assert mean_of(key, from_ball("near_guard"), top_guard="gap") > ball + 0.8


def test_option_bring_up() -> None:
    """Common practice, no source: guards wait beyond the arc, come out to meet it, or steer to a side."""
    key = ("backcourt", "settled")
    wait = mean_of(key, y_of("near_guard"), bring_up="wait")
    assert mean_of(key, y_of("near_guard"), bring_up="extend") > wait + 0.5
    assert mean_of(key, x_of("near_guard"), bring_up="steer") < mean_of(key, x_of("near_guard"), bring_up="wait") - 1


def test_only_a_shooter_is_guarded_at_the_top() -> None:
    """Common practice, no source: near guard on the ball if the handler can shoot, else back in the gap."""
    gaps = {}
    for shooter in (0.05, 0.95):
        world = built(
            defence={"options": {}}, constants={**PATIENT, "shooter_make": shooter}, start="frontcourt"
        ).home
        gaps[shooter] = np.mean([m.to_ball("near_guard") for m in read_rows(world, 20)["top", "settled"]])
    assert gaps[0.95] > gaps[0.05] + 0.8


# --- near and far, reaction, the bump -------------------------------------------------------------------


def test_near_and_far_are_latched() -> None:
    """The side changes at the release of a pass or under a dribble, only beyond the hysteresis; then persons
    keep their roles while the ball crosses the middle."""
    packed = built(defence={"options": {}}, start="frontcourt")
    hysteresis = float(packed.home[0].k.side_hysteresis_m)
    changes = kept = crossings = 0
    for t in traces(packed.home, 80):
        s = t.states
        for n in range(1, len(s)):
            if s["n_restarts"][n] != s["n_restarts"][n - 1]:
                continue  # a dead ball: everybody takes his place anew
            released = s["mode"][n] == PASS_FLIGHT and s["mode"][n - 1] != PASS_FLIGHT
            x = s["ball_x"][n]
            if s["near"][n] != s["near"][n - 1]:
                changes += 1
                assert released or s["mode"][n] == HELD
                if not released:
                    assert x * s["near"][n] > hysteresis
            elif s["mode"][n] == HELD:
                assert x * s["near"][n] >= -hysteresis - 1e-9
                kept += x * s["near"][n] < 0
            elif s["mode"][n] == PASS_FLIGHT and not released:
                crossings += s["ball_x"][n - 1] * x < 0
    assert changes > 60 and kept > 60 and crossings > 30


@pytest.mark.parametrize("reaction_s", [0.2, 0.5])
def test_nobody_reacts_before_his_reaction_time(reaction_s: float) -> None:
    """Without anticipation nobody takes over the new row before the reaction delay has passed since the
    release (one step of grace: a release falls on the step's edge), and everybody has soon after."""
    constants = {"anticipation_p": 0.0, "fake_p": 0.0, "reaction_s": reaction_s}
    world = built(defence={"options": {}}, constants=constants, start="frontcourt").home
    times = []
    for t in traces(world, 25):
        s, d = t.states, t.agents[:, 5:]
        for n in range(1, len(s)):
            if s["mode"][n] != PASS_FLIGHT or s["mode"][n - 1] == PASS_FLIGHT:
                continue
            assert (d["focus"][n] == 1).all()  # everybody still looks to where the ball was
            m = n
            while m + 1 < len(s) and s["mode"][m] == PASS_FLIGHT and (d["focus"][m] == 1).any():
                m += 1
                for i in np.flatnonzero((d["focus"][m - 1] == 1) & (d["focus"][m] == 0)):
                    times.append(s["t"][m] - s["release_t"][n])
                for i in np.flatnonzero(d["focus"][m] == 1):
                    assert d["region"][m, i] == d["region"][n, i] and d["side"][m, i] == d["side"][n, i]
    assert len(times) > 100
    assert min(times) > reaction_s - 0.1 - 1e-6
    assert max(times) < reaction_s + 0.1 + 1e-6


def test_who_anticipates_leaves_before_the_release() -> None:
    """With anticipation some defenders act on the pass at or before its release, and some guess wrong."""
    early = wrong = passes = 0
    for t in traces(built(defence={"options": {}}, start="frontcourt").home, 40):
        s, d = t.states, t.agents[:, 5:]
        for n in range(1, len(s)):
            if s["mode"][n] == PASS_FLIGHT and s["mode"][n - 1] != PASS_FLIGHT:
                passes += 5
                guess = d["focus"][n] == 2
                early += guess.sum()
                # a point two metres and more from where the ball is going is a wrong guess
                off = np.hypot(d["guess_x"][n] - s["pass_x1"][n], d["guess_y"][n] - s["pass_y1"][n]) > 2.0
                wrong += (guess & off).sum()
    assert 0.15 < early / passes < 0.35
    assert 0.08 < wrong / early < 0.4


def bumps(speed_mps: float, n: int) -> tuple[list[float], list[float], int]:
    """(time of each bump since the catch, the guard's distance at that catch, wing catches from above)."""
    world = built(defence={"options": {}}, constants=PATIENT, start="frontcourt").home.copy()
    world.players["top_speed_mps"][0, 5:7] = speed_mps
    world.players["slide_mps"][0, 5:7] = speed_mps * 0.55
    bump, catch = EVENTS.index("bump"), EVENTS.index("catch")
    times, far, catches = [], [], 0
    for t in traces(world, n):
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
    quick, far, n_quick = bumps(7.5, 70)
    slow, _, n_slow = bumps(3.6, 70)
    assert n_quick > 60 and n_slow > 60
    assert np.std(quick) > 0.1
    assert np.corrcoef(quick, far)[0, 1] > 0.4
    assert np.mean(slow) > np.mean(quick) + 0.15
    assert len(slow) / n_slow < len(quick) / n_quick - 0.05


def test_slow_guards_miss_more_bumps() -> None:
    """Common practice, no source: corner catches before the bump grow, and are less guarded, as guards slow."""
    shares = {}
    for speed in (7.5, 3.6):
        world = built(defence={"options": {}}, start="frontcourt").home.copy()
        world.players["top_speed_mps"][0, 5:7] = speed
        world.players["slide_mps"][0, 5:7] = speed * 0.55
        shares[speed] = column(records(world, 4000), "missed_bump_catches").mean()
    assert shares[3.6] > shares[7.5] * 1.1
