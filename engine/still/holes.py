"""Holes in a base defence, found without playing it: geometry and running times on a still picture.

Four questions: does somebody guard the ball in every region, do two roles stand on one place, can the bump
be there in time, and is there a receiver whom nobody can reach while a pass is in the air. Findings, not
errors: a good defence gives something up, and knows what.

Everything is asked of a still picture (engine.still.picture) from which a pass is thrown. Nobody anticipates;
each defender starts ``reaction_s`` after the release and runs straight. Metres, seconds.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from engine.inputs.alignment import Alignment, load_alignment
from engine.inputs.base import spoken
from engine.inputs.constants import load_constants
from engine.inputs.defence import men_of, people_of
from engine.inputs.places import Entry, with_options
from engine.inputs.roles import holder, holders
from engine.inputs.rules import Rules, load_rules
from engine.inputs.scenario import Scenario
from engine.inputs.team import Team
from engine.inputs.zone import Zone
from engine.kernel.passing import RAMP_AT_M
from engine.state.jobs import JOB_TABLE, Kind
from engine.state.words import REGIONS
from engine.still.picture import (
    GUARDS_BALL,
    Picture,
    Point,
    Setup,
    between,
    nearest_share,
    on_ball,
    picture_of,
    run_m,
    run_s,
    stand_off,
)
from engine.world.court import Court, build_court
from engine.world.pack import place_of

#: Two roles of a row nearer than this to each other stand on one place, metres (common practice, no source).
ONE_PLACE_M = 0.6
#: Less than this is not called late, seconds: half a step of the played model.
LEAST_LATE_S = 0.05
#: Top speed of a defender when no team is given, m/s (from memory: peaks of 5.5 to 7.5 in games).
TOP_SPEED_MPS = 6.5
#: Alignment and rule set a defence is looked at with when no scenario is given.
ALIGNMENT, RULES = "high_post_short_corner", "international"
#: Sides the ball can be on: near_x is held by right_x or by left_x.
SIDES = ("right", "left")
#: Across the middle by more than this a place is on the far side, metres; who stands between wing and corner.
FAR_M, LOW_WING = 0.75, "low_wing"

_CLOCK = "from the release until the receiver can decide"
#: Where the ball is, as it is said.
BALL_IN = {
    "backcourt": "in the backcourt",
    "top": "at the top",
    "slot": "in the slot",
    "wing": "on the wing",
    "corner": "in the corner",
    "half_court_corner": "in the half-court corner",
    "high_post": "at the high post",
    "elbow": "at the elbow",
    "short_corner": "in the short corner",
    "low_post": "in the low post",
    "lane": "in the lane",
    "rim": "at the rim",
}


@dataclass(frozen=True)
class Hole:
    """One finding. ``kind``: "ball" (nobody guards it), "place" (two on one), "bump" or "receiver" (late).

    ``text``: what is wrong. ``late_s``: seconds the nearest man comes too late, 0 where no time is asked for;
    ``off_m``: metres he is then away, or the two roles are apart.
    """

    kind: str
    region: str
    moments: tuple[str, ...]
    text: str
    late_s: float = 0.0
    off_m: float = 0.0


# --- the four questions -------------------------------------------------------------------------------


def _in_order(moments: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(moments))


def _when(moments: Sequence[str]) -> str:
    return f" ({', '.join(spoken(m) for m in moments)})"


def _more(n: int, noun: str) -> str:
    return f"{n} more {noun}" if n == 1 else f"{n} more {noun}s"


def _unguarded(setup: Setup, entries: dict[str, Entry], men: Mapping[str, int]) -> str | None:
    """What is wrong with the guarding of the ball in one row, None when somebody is on it."""
    kinds = {role: JOB_TABLE[entry.job].kind for role, entry in entries.items()}
    if any(kind in GUARDS_BALL for kind in kinds.values()):
        return None
    own = [role for role, kind in kinds.items() if kind == Kind.OWN_MAN]
    if not own:
        return "nobody guards the ball"
    if len(own) == len(entries):
        return None
    others = " or ".join(spoken(role) for role in entries if role not in own)
    if not men:
        return f"nobody guards the ball when the man of the {others} has it"
    sides = [{men.get(holder(role, side)) for role in own} for side in SIDES]
    free = [str(p) for p in range(1, 6) if any(p not in guarded for guarded in sides)]
    return f"nobody guards the ball when position {' or '.join(free)} has it" if free else None


def _ball_holes(setup: Setup) -> list[Hole]:
    found: dict[tuple[str, str], list[str]] = {}
    for row in setup.zone.rows:
        wrong = _unguarded(setup, with_options(row.entries, row.option, setup.choices), setup.men)
        for region in row.ball if wrong else ():
            if region != "backcourt":  # no shot comes from there; to wait for the ball is no hole
                found.setdefault((region, wrong or ""), []).extend(row.moment)
    return [Hole("ball", region, _in_order(m), wrong) for (region, wrong), m in found.items()]


def _one_place(setup: Setup, region: str, entries: dict[str, Entry]) -> list[tuple[str, float]]:
    """Pairs of roles on one place, with their distance in metres. Own men have no place of their own."""
    ball = setup.court.spot(region)
    at: dict[str, Point] = {}
    for role, entry in entries.items():
        job = JOB_TABLE[entry.job]
        place = place_of(setup.court, entry.place)
        toward = job.toward_ball if entry.toward_ball is None else entry.toward_ball
        if job.kind in GUARDS_BALL:
            at[role] = on_ball(setup, ball)
        elif job.kind != Kind.OWN_MAN:
            at[role] = (
                place if job.kind in (Kind.DENY, Kind.FRONT, Kind.BEHIND) else between(place, ball, toward)
            )
    names = list(at)
    pairs: list[tuple[str, float]] = []
    for i, one in enumerate(names):
        for other in names[i + 1 :]:
            jobs = (entries[one].job, entries[other].job)
            both = all(JOB_TABLE[job].kind in GUARDS_BALL for job in jobs)
            if both and jobs.count("coming") == 1:
                continue  # one holds the ball until the other has come
            apart = math.dist(at[one], at[other])
            if apart < ONE_PLACE_M:
                what = "are both on the ball" if both else f"stand on one place, {apart:.1f} m apart"
                pairs.append((f"{spoken(one)} and {spoken(other)} {what}", apart))
    return pairs


def _place_holes(setup: Setup) -> list[Hole]:
    found: dict[tuple[str, str], tuple[float, list[str]]] = {}
    for row in setup.zone.rows:
        entries = with_options(row.entries, row.option, setup.choices)
        for region in row.ball:
            pairs = _one_place(setup, region, entries)
            if not pairs:
                continue
            text, apart = min(pairs, key=lambda pair: pair[1])
            text += f"; {_more(len(pairs) - 1, 'pair')}" if len(pairs) > 1 else ""
            found.setdefault((region, text), (apart, []))[1].extend(row.moment)
    return [
        Hole("place", region, _in_order(m), text, off_m=apart) for (region, text), (apart, m) in found.items()
    ]


def flight_of(setup: Setup, picture: Picture, to: Point) -> tuple[float, str]:
    """Seconds a pass is in the air, and how it goes: over the top where a hand is in the lane."""
    k, ball = setup.k, picture.ball
    length = math.dist(ball, to)
    kind, speed = "direct", k["pass_speed_direct_mps"]
    for at in picture.defenders.values():
        share = nearest_share(at, ball, to)
        away = math.dist(at, between(ball, to, share))
        if away < k["arm_reach_m"] and k["passer_space_m"] < share * length < length - k["receiver_space_m"]:
            kind, speed = "over the top", k["pass_speed_over_mps"]
    speed *= (1.0 - math.exp(-length / k["pass_ramp_m"])) / (1.0 - math.exp(-RAMP_AT_M / k["pass_ramp_m"]))
    skill = setup.passing[picture.handler - 1] - 0.5
    return length / max(speed * (1.0 + k["pass_skill_speed_share"] * skill), 1e-9), kind


def name_of(court: Court, at: Point) -> str:
    """The name of the place where a man stands, the ball at x > 0: his region, LOW_WING for who is in the
    corner's, but nearer to the wing; ``far_`` before it across the middle."""
    name, near = court.region_at(*at), (abs(at[0]), at[1])
    if name == "corner" and math.dist(near, court.spot("wing")) < math.dist(near, court.spot("corner")):
        name = LOW_WING
    return f"far_{name}" if at[0] < -FAR_M else name


def region_of(name: str) -> str:
    """The region of a place that ``name_of`` names, whichever side."""
    place = name.removeprefix("far_")
    return "corner" if place == LOW_WING else place


class Bump(NamedTuple):
    """The race of the bump: who runs, seconds he is late (negative: early), metres he is then off."""

    role: str
    person: str
    late_s: float
    off_m: float


def bump_of(setup: Setup, region: str, side: str) -> Bump | None:
    """The pass from ``region`` to the wing: when the bump role is there. None: the defence has no bump."""
    role = setup.zone.bump_role
    picture = picture_of(setup, region, side)
    if role is None or role not in picture.defenders:
        return None
    k = setup.k
    spot = setup.court.spot("wing")
    wings = [at for p, at in picture.attackers.items() if p != picture.handler and at[0] > 0.0]
    wings = [at for at in wings if setup.court.region_at(*at) == "wing"]
    to = min(wings, key=lambda at: math.dist(at, spot)) if wings else spot
    flight, _ = flight_of(setup, picture, to)
    way = math.dist(picture.defenders[role], to)
    speed = setup.speeds[holder(role, side)]
    has = flight + k["catch_pause_s"] + k["pass_release_s"]
    late = k["reaction_s"] + run_s(way - stand_off(to, k) - k["bump_m"], speed, k["sprint_tau_s"]) - has
    off = way - run_m(has - k["reaction_s"], speed, k["sprint_tau_s"])
    return Bump(role, holder(role, side), late, off)


def _bump_hole(setup: Setup, region: str, side: str) -> Hole | None:
    """The pass from ``region`` to the wing: is the bump role there before the next pass can leave?"""
    found = bump_of(setup, region, side)
    if found is None or found.late_s < LEAST_LATE_S:
        return None
    text = (
        f"{spoken(region)} to wing: the bump of the {spoken(found.role)} comes {found.late_s:.1f} s late, "
        f"{found.off_m:.1f} m off when the ball can go on to the corner"
    )
    return Hole("bump", region, ("settled",), text, found.late_s, found.off_m)


def _receiver_hole(setup: Setup, region: str, side: str, matched: bool) -> Hole | None:
    """The receiver nobody gets within open_shot_m of before he can decide, and how many others there are."""
    k = setup.k
    picture = picture_of(setup, region, side, matched)
    open_ones: list[tuple[float, float, str]] = []
    for man, to in picture.attackers.items():
        length = math.dist(picture.ball, to)
        if man == picture.handler or not k["pass_shortest_m"] <= length <= k["pass_longest_m"]:
            continue
        flight, kind = flight_of(setup, picture, to)
        ways = {role: math.dist(at, to) for role, at in picture.defenders.items()}
        speeds = {role: setup.speeds[holder(role, side)] for role in ways}
        needs = {
            r: k["reaction_s"] + run_s(ways[r] - k["open_shot_m"], speeds[r], k["sprint_tau_s"]) for r in ways
        }
        first = min(needs, key=lambda r: needs[r])
        has = flight + k["catch_pause_s"]
        late = needs[first] - has
        if late >= LEAST_LATE_S and ways[first] > k["open_shot_m"]:
            off = ways[first] - run_m(has - k["reaction_s"], speeds[first], k["sprint_tau_s"])
            text = (
                f"{spoken(region)} to {spoken(name_of(setup.court, to))}, {kind}: "
                f"nearest man ({spoken(first)}) {late:.1f} s late, {off:.1f} m off"
            )
            open_ones.append((late, off, text))
    if not open_ones:
        return None
    late, off, text = max(open_ones)
    if len(open_ones) > 1:
        text += f"; {_more(len(open_ones) - 1, 'receiver')} free"
    moment = "matched" if matched else "settled"
    return Hole("receiver", region, (moment,), text + (_when([moment]) if matched else ""), late, off)


def _worst(found: Iterable[Hole | None]) -> list[Hole]:
    kept = [hole for hole in found if hole is not None]
    return [max(kept, key=lambda hole: hole.late_s)] if kept else []


def setup_of(
    zone: Zone,
    options: Mapping[str, str] | None = None,
    alignment: Alignment | None = None,
    players: Team | None = None,
    rules: Rules | None = None,
    constants: Mapping[str, float] | None = None,
    offence: Team | None = None,
    matchups: Mapping[int, int] | None = None,
) -> Setup:
    """What still pictures of a defence are taken with.

    Parameters: ``options`` option -> choice (None: those of the file); ``alignment``, ``rules`` (None:
    ALIGNMENT and RULES); ``players`` the defending team (None: everybody at TOP_SPEED_MPS); ``constants``
    name -> value (None: configs/model/constants.toml); ``offence`` the attackers (None: average passers);
    ``matchups`` own shirt -> opponent's shirt. Metres, seconds, metres per second.
    """
    k = {name: c.value for name, c in load_constants().items()} if constants is None else constants
    speeds = dict.fromkeys(holders(zone.roles), TOP_SPEED_MPS)
    if players is not None:
        speeds = {person: p.top_speed_mps for person, p in people_of(zone, players).items()}
    return Setup(
        zone,
        {name: option.use for name, option in zone.options.items()} | dict(options or {}),
        build_court(load_rules(RULES) if rules is None else rules),
        load_alignment(ALIGNMENT) if alignment is None else alignment,
        k,
        speeds,
        (0.5,) * 5 if offence is None else [p.passing for p in offence.on_court],
        dict(zone.guards)
        if players is None or offence is None
        else men_of(zone, players, offence, matchups or {}),
    )


def scenario_setup(scenario: Scenario, zone: Zone, options: Mapping[str, str]) -> Setup:
    """The same with a scenario's own players, alignment, rules and constants."""
    return setup_of(
        zone,
        options,
        scenario.alignment,
        scenario.defence_team,
        scenario.rules,
        scenario.constants,
        scenario.offence_team,
        scenario.matchups,
    )


def holes(setup: Setup) -> list[Hole]:
    """The holes of a defence, at most one per kind of question, region and pair; the worst side of the two.

    Method: see the module. All clocks run from the release of the pass. The bump is late when its role is not
    as near to the wing's receiver as the man on the ball stands, and bump_m, before his next pass can leave
    (flight + catch_pause_s + pass_release_s). A receiver is free when nobody comes within open_shot_m of him
    before he can decide (flight + catch_pause_s).
    """
    zone = setup.zone
    found = _ball_holes(setup) + _place_holes(setup)
    for region in ("top", "slot") if zone.bump_role else ():
        found += _worst(_bump_hole(setup, region, side) for side in SIDES)
    for matched in (False, True) if zone.match_up else (False,):
        for region in REGIONS:
            if region != "backcourt":
                found += _worst(_receiver_hole(setup, region, side, matched) for side in SIDES)
    return found


def zone_lines(zone: Zone) -> list[str]:
    """The findings for a file of a defence alone, against the shipped ALIGNMENT at TOP_SPEED_MPS."""
    alignment = load_alignment(ALIGNMENT)
    basis = f"against {alignment.title}, {RULES} rules, every defender at {TOP_SPEED_MPS:g} m/s, {_CLOCK}"
    return lines(holes(setup_of(zone, alignment=alignment)), basis)


def scenario_lines(scenario: Scenario) -> list[str]:
    """The findings for every defence a scenario plays from a file's rows, each defence and choice once."""
    played = [(scenario.zone, scenario.zone_options, scenario.policy)]
    played += [(s.zone or scenario.zone, s.zone_options, s.policy) for s in scenario.settings]
    basis = f"against {scenario.alignment.title}, the players' own speeds, {_CLOCK}"
    told: dict[str, list[Hole]] = {}
    for zone, options, policy in played:
        own = {name: choice for name, choice in options.items() if choice != zone.options[name].use}
        if zone.name == scenario.zone.name:
            own = {name: c for name, c in options.items() if c != scenario.zone_options.get(name)}
        changed = ", ".join(f"{spoken(name)} {choice}" for name, choice in own.items())
        title = f"{zone.title} ({changed})" if changed else zone.title
        if policy is None and title not in told:
            told[title] = holes(scenario_setup(scenario, zone, options))
    said = [(f"{title}: " if len(told) > 1 else "") + line for title in told for line in lines(told[title])]
    late = any(hole.late_s > 0.0 for found in told.values() for hole in found)
    return said + ([f"measured: {basis}"] if late else [])


def lines(found: Sequence[Hole], basis: str = "") -> list[str]:
    """The findings for a reader: regions with the same finding in one line, and what times were taken with.

    ``basis``: against whom and with what speeds; it is said only where a time was too short.
    """
    regions: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for hole in found:
        if hole.kind in ("ball", "place"):
            regions.setdefault((hole.text, hole.moments), []).append(BALL_IN[hole.region])
    said = [
        f"hole: ball {', '.join(where)}: {text}{_when(moments)}" for (text, moments), where in regions.items()
    ]
    late = [f"late: {hole.text}" for hole in found if hole.kind in ("bump", "receiver")]
    return said + late + ([f"measured: {basis}"] if late and basis else [])
