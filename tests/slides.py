"""Traces of the 2-3 for the tests of its slides: a patient offence, and when a row has settled."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Any, NamedTuple

import numpy as np

from engine.inputs.files import read_toml, resolve
from engine.inputs.scenario import scenario_from
from engine.kernel.batch import Trace, play_block, trace_possession
from engine.state.record import COLUMN, N_RECORD
from engine.state.words import JOBS, MOMENTS, REGIONS, Mode
from engine.world.pack import Packed, pack

SEED = 5
N_TRACES = 360
ALIGNMENTS = ("high_post_short_corner", "overload", "two_guard_baseline")
ROLES = ("near_guard", "far_guard", "near_forward", "far_forward", "centre")
# agents 5..9 in the order of the team file's zone_places
LEFT_GUARD, RIGHT_GUARD, LEFT_FORWARD, RIGHT_FORWARD, CENTRE = range(5, 10)
#: An offence that keeps the ball a while at each spot, so that the defenders have time to get there: it waits
#: for better than any shot is, drives little and passes for passing's sake.
PATIENT = {
    "gap_spread": 0.0,  # the usual places
    "decision_period_s": 1.2,
    "catch_pause_s": 1.3,
    "belief_pass_points": 0.15,
    "belief_pass_share": 0.0,
    "belief_hold_points": 0.0,
    "belief_kick_points": -0.3,
    "noise_points": 0.2,
    "hold_value_points": 1.6,
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
    right = (RIGHT_GUARD, LEFT_GUARD, RIGHT_FORWARD, LEFT_FORWARD, CENTRE)
    left = (LEFT_GUARD, RIGHT_GUARD, LEFT_FORWARD, RIGHT_FORWARD, CENTRE)
    return dict(zip(ROLES, right if side > 0 else left, strict=True))


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

    def nearest(self) -> str:
        return min(ROLES, key=lambda role: measured(self, role, "ball"))


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
            if s["mode"][step] != Mode.HELD or since < SETTLE_STEPS:
                continue
            d = a[step, 5:]
            row = (s["region"][step], s["moment"][step], s["near"][step])
            if not all(tuple(m) == row for m in zip(d["region"], d["moment"], d["side"], strict=True)):
                continue
            near = int(row[2])
            xy = np.column_stack([a["x"][step] * near, a["y"][step]])
            holder = int(s["handler"][step])
            who = people(near)
            at = {role: xy[who[role]] for role in ROLES}
            job = {role: JOBS[a["job"][step, who[role]]] for role in ROLES}
            found.setdefault((REGIONS[row[0]], MOMENTS[row[1]]), []).append(
                Moment(i, near, xy[holder], at, job)
            )
    return found


@cache
def patient_rows(**options: str) -> Rows:
    """Rows over the three alignments with the zone's options set so; the plain zone is read most."""
    found: Rows = {}
    for alignment in ALIGNMENTS[:1] if options else ALIGNMENTS:
        world = built(
            offence={"alignment": alignment, "plays": []},
            defence={"options": options},
            constants=PATIENT,
            start="bring_up" if "bring_up" in options else "frontcourt",
        ).home
        for key, moments in read_rows(world, 20 if options else N_TRACES).items():
            found.setdefault(key, []).extend(moments)
    return found


def measured(m: Moment, role: str, measure: str) -> float:
    """ "x", "y" of the role's man, or his distance from "ball", "rim" or "post" (high post), metres."""
    x, y = m.at[role]
    if measure in "xy":
        return float(x if measure == "x" else y)
    to = {"ball": m.ball, "rim": (0.0, 0.0), "post": (0.0, 4.3)}[measure]
    return float(np.hypot(x - to[0], y - to[1]))
