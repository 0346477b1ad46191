"""A still picture of a defence: the ball in a region, everybody where his spot or entry puts him, at rest.

Plain geometry and the closed form of a straight run; nothing is played. Attackers stand on the spots of an
alignment, defenders where engine.kernel.defence, asked as plain Python, sends them for a ball at rest.
Running follows the law of engine.kernel.motion from rest, v(t) = vmax (1 - exp(-t / tau)), without braking
or sliding at the end: nobody comes sooner than that. Metres, seconds; the ball at x > 0, the near side.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from types import SimpleNamespace as Bag
from typing import NamedTuple

from scipy.special import lambertw

from engine.inputs.alignment import Alignment
from engine.inputs.places import Entry, with_options
from engine.inputs.roles import holder
from engine.inputs.zone import Zone
from engine.kernel.defence import entry_target
from engine.kernel.near import GAP_AT_M, LEAST_GAP_M
from engine.policies.reach import plain, python_of
from engine.state.arrays import N_SIDE
from engine.state.jobs import JOB_TABLE, Kind
from engine.state.words import Action, Focus, Mode
from engine.world.court import Court
from engine.world.pack import place_of

Point = tuple[float, float]

GUARDS_BALL = (Kind.ON_BALL, Kind.IF_SHOOTER, Kind.TRAP)


# --- running and passing ---------------------------------------------------------------------------------


def run_m(time_s: float, top_mps: float, tau_s: float) -> float:
    """Metres run from rest in ``time_s`` (0 for no time), see the module."""
    if time_s <= 0.0:
        return 0.0
    if tau_s <= 0.0:
        return top_mps * time_s
    return top_mps * (time_s - tau_s * (1.0 - math.exp(-time_s / tau_s)))


def run_s(way_m: float, top_mps: float, tau_s: float) -> float:
    """Seconds to run ``way_m`` metres from rest: the inverse of ``run_m``.

    With u = t / tau and s = way / (vmax tau): u + exp(-u) = 1 + s, so u = 1 + s + W(-exp(-1 - s)), W the main
    branch of Lambert's function (Corless et al. 1996, Adv. Comput. Math. 5:329, from memory).
    """
    if way_m <= 0.0:
        return 0.0
    if tau_s <= 0.0:
        return way_m / top_mps
    s = way_m / (top_mps * tau_s)
    return tau_s * (1.0 + s + float(lambertw(-math.exp(-1.0 - s)).real))


def between(a: Point, b: Point, share: float) -> Point:
    return a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])


def nearest_share(p: Point, a: Point, b: Point) -> float:
    """Share along a-b of the point nearest to p."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    length2 = dx * dx + dy * dy
    if length2 == 0.0:
        return 0.0
    return min(max(((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length2, 0.0), 1.0)


# --- the still picture -------------------------------------------------------------------------------------


class Setup(NamedTuple):
    """What the pictures are taken with. ``speeds``: person -> m/s; ``passing``: attackers by position."""

    zone: Zone
    choices: Mapping[str, str]
    court: Court
    alignment: Alignment
    k: Mapping[str, float]
    speeds: Mapping[str, float]
    passing: Sequence[float]
    men: Mapping[str, int]


class Picture(NamedTuple):
    """Ball in a region: places of the attackers by position 1 to 5, handler, defenders by role."""

    ball: Point
    attackers: dict[int, Point]
    handler: int
    defenders: dict[str, Point]


def row_of(setup: Setup, region: str, moments: Iterable[str]) -> dict[str, Entry]:
    """Entries of the first of ``moments`` the region has a row for; empty when it has none."""
    for moment in moments:
        for row in setup.zone.rows:
            if region in row.ball and moment in row.moment:
                return with_options(row.entries, row.option, setup.choices)
    return {}


def attack(alignment: Alignment, court: Court, region: str, side: str) -> tuple[dict[int, Point], int, Point]:
    """Attackers' places by position with the ball in ``region``, who has it, and where it is."""
    row = next(row for row in alignment.rows if region in row.ball)
    places = {
        alignment.persons[holder(role, side)]: place_of(court, row.places[role]) for role in alignment.roles
    }
    spot = court.spot(region)
    there = [p for p, at in places.items() if court.region_at(*at) == region and at[0] >= 0.0]
    handler = min(there or places, key=lambda p: math.dist(places[p], spot))
    if not there:
        places[handler] = spot
    return places, handler, places[handler]


@functools.lru_cache(maxsize=1)
def _kernel() -> Callable[..., None]:
    """The kernel's answer to where a defender stands, as plain Python: a still picture compiles nothing."""
    function = python_of(entry_target)
    assert function is not None
    return plain(function)


def _asked(setup: Setup, entry: Bag, man: int | None, picture: Picture) -> Point:
    """Where the kernel has a defender stand (metres) for a table entry: the ball held at rest by a shooter.

    ``man``: position of the attacker he guards, None nobody.
    """
    ball = picture.ball
    places = [picture.attackers.get(position, ball) for position in range(1, N_SIDE + 1)]
    attackers = [Bag(x=x, y=y, vx=0.0, vy=0.0) for x, y in places]
    defender = Bag(focus=Focus.BALL, gap_share=1.0, tx=0.0, ty=0.0)
    state = Bag(mode=Mode.HELD, handler=picture.handler - 1, action=Action.STAY)
    scratch = Bag(s=state, agents=[*attackers, defender], guards=[-1 if man is None else man - 1])
    world = Bag(k=Bag(**setup.k), rules=Bag(arc_m=setup.court.arc_m))
    _kernel()(world, scratch, N_SIDE, entry, 1, *ball, True)
    return defender.tx, defender.ty


def _target(setup: Setup, entry: Entry, man: int | None, picture: Picture) -> Point:
    """Where an entry has a defender stand (metres); who guards the ball or traps it stands on it."""
    job = JOB_TABLE[entry.job]
    x, y = place_of(setup.court, entry.place)
    given = {name: getattr(entry, name) for name in ("toward_ball", "toward_man", "man_within_m")}
    values = {name: getattr(job, name) if value is None else value for name, value in given.items()}
    kind = Kind.ON_BALL if job.kind in GUARDS_BALL else job.kind
    return _asked(setup, Bag(x_m=x, y_m=y, kind=kind, **values), man, picture)


def on_ball(setup: Setup, ball: Point) -> Point:
    """Where who guards the ball stands (metres)."""
    return _asked(setup, Bag(x_m=0.0, y_m=0.0, kind=Kind.ON_BALL), None, Picture(ball, {}, 1, {}))


def stand_off(at: Point, k: Mapping[str, float]) -> float:
    """Metres at which the man on the ball stands from its holder there (engine.kernel.near.on_ball_gap)."""
    return max(k["on_ball_gap_m"] + k["on_ball_gap_per_m"] * (math.hypot(*at) - GAP_AT_M), LEAST_GAP_M)


def _nearest_pairs(defenders: dict[str, Point], attackers: dict[int, Point]) -> dict[str, int]:
    """Who takes whom when a zone matches up: the nearest pair first, and so on."""
    pairs: dict[str, int] = {}
    every = [(math.dist(d, a), role, man) for role, d in defenders.items() for man, a in attackers.items()]
    for _, role, man in sorted(every):
        if role not in pairs and man not in pairs.values():
            pairs[role] = man
    return pairs


def stands(
    setup: Setup, entries: Mapping[str, Entry], picture: Picture, men: Mapping[str, int]
) -> dict[str, Point]:
    """Where the entries have each role stand (metres); ``men``: position whom a role guards, 0 nobody."""
    return {role: _target(setup, entry, men.get(role) or None, picture) for role, entry in entries.items()}


def picture_of(setup: Setup, region: str, side: str, matched: bool = False) -> Picture:
    """Where everybody stands with the ball in ``region`` on ``side``, settled or matched."""
    places, handler, ball = attack(setup.alignment, setup.court, region, side)
    picture = Picture(ball, places, handler, {})
    entries = row_of(setup, region, ("settled", "after_bump"))
    men: Mapping[str, int] = {role: setup.men.get(holder(role, side), 0) for role in entries}
    stand = stands(setup, entries, picture, men)
    if matched:
        men = _nearest_pairs(stand, places)
        entries = row_of(setup, region, ("matched", "settled", "after_bump"))
        stand = stands(setup, entries, picture, men)
    return picture._replace(defenders=stand)
