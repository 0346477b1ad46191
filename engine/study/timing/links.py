"""For every pass the offence has: who gets there, how late, and what the shot is worth. The practice plan.

A link is a pass from the region of the ball to an attacker, everybody standing as the alignment and the rows
of the base defence have it with the ball there (engine.still.picture). All clocks run from the release of the
pass; after his reaction a defender runs straight at the receiver. ``late_s``: how much later he can be within
open_shot_m than the receiver can decide (flight + catch_pause_s), by the closed form of a run; negative is
early, and nobody comes sooner in play. The defender of a link is who can be there first. ``gap_m``: how far
off he is when the shot leaves the hands (shot_release_s later), run by the engine's own law of motion, which
has him brake before the receiver and then go up with the shot; the others stay where they are.

Worst first: what the gap gives away (the shot less the same shot guarded on time) times how often the pass is
thrown, counted in traced possessions.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from engine import tables as pd
from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.inputs.defence import people_of, persons_of
from engine.inputs.roles import holder
from engine.inputs.scenario import Scenario
from engine.inputs.team import Player
from engine.run.blocks import Progress
from engine.run.size import RunSize, check_size
from engine.state.jobs import JOB_TABLE, Kind
from engine.state.words import REGIONS
from engine.still.holes import (
    LEAST_LATE_S,
    SIDES,
    Bump,
    bump_of,
    flight_of,
    name_of,
    region_of,
    scenario_setup,
)
from engine.still.picture import (
    GUARDS_BALL,
    Picture,
    Point,
    Setup,
    between,
    picture_of,
    row_of,
    run_s,
    stand_off,
)
from engine.still.shot_worth import ShotWorth, close_out_gap
from engine.study.play import Opening, defence_dict, head, open_scenario
from engine.study.timing.play import Passes, Watched, watch
from engine.study.timing.traps import after_traps
from engine.world.pack import pack

FROM = tuple(region for region in REGIONS if region not in ("backcourt", "rim"))
#: Passes from here to the wing start the race of the bump.
BUMP_FROM = ("top", "slot")


def meant_for(setup: Setup, to: Point, side: str, position: int) -> str | None:
    """Role (by the side before the pass) whom the row after it sends to the ball; None: nobody."""
    after = side if to[0] >= 0.0 else SIDES[1 - SIDES.index(side)]
    entries = row_of(setup, setup.court.region_at(*to), ("before_bump", "settled", "after_bump"))
    people = [
        holder(role, after)
        for role, entry in sorted(entries.items(), key=lambda item: item[1].job == "coming")
        if JOB_TABLE[entry.job].kind in GUARDS_BALL
        or (JOB_TABLE[entry.job].kind == Kind.OWN_MAN and setup.men.get(holder(role, after)) == position)
    ]
    now = {holder(role, side): role for role in entries}
    return now[people[0]] if people else None


def link_of(
    setup: Setup,
    picture: Picture,
    side: str,
    position: int,
    worth: ShotWorth,
    agents: tuple[str, ...],
) -> Found:
    """One pass: flight, each defender's race, who is first, gap and shot. ``agents``: persons 5 to 9."""
    k, to = setup.k, picture.attackers[position]
    flight, way_of_pass = flight_of(setup, picture, to)
    near_rim = math.hypot(*to) < k["rim_range_m"] + 0.5
    decides = flight + k["catch_pause_s"]
    release = k["rim_release_s"] if near_rim else k["shot_release_s"]
    shot_at = decides + release
    stand, up = stand_off(to, k), release - k["reaction_s"] * k["dribble_reaction_share"]
    races: dict[str, Found] = {}
    for role, at in picture.defenders.items():
        way, speed = math.dist(at, to), setup.speeds[holder(role, side)]
        needs = k["reaction_s"] + run_s(way - k["open_shot_m"], speed, k["sprint_tau_s"])
        gap = close_out_gap(way, shot_at - k["reaction_s"], speed, k, stand, up)
        races[role] = {"needs_s": needs, "late_s": needs - decides, "gap_m": gap, "way_m": way}
    first = min(races, key=lambda role: (races[role]["needs_s"], races[role]["gap_m"]))

    def points(gap_m: float) -> float:
        places = {holder(role, side): at for role, at in picture.defenders.items()}
        way = races[first]["way_m"]
        places[holder(first, side)] = between(to, picture.defenders[first], gap_m / max(way, 1e-9))
        bother = worth.effective_gaps(position, to, [places[person] for person in agents])
        return worth.points(position, to, *bother)

    length = math.dist(picture.ball, to)
    crosses = to[0] < -k["side_hysteresis_m"]
    there = min(races[first]["way_m"], stand)
    on_time = close_out_gap(there, up, setup.speeds[holder(first, side)], k, stand, up)
    shot, guarded = points(races[first]["gap_m"]), points(min(on_time, races[first]["gap_m"]))
    meant = meant_for(setup, to, side, position)
    return {
        "side": side,
        "to": name_of(setup.court, to),
        "position": position,
        "kind": "skip" if length > k["skip_distance_m"] and crosses else "direct",
        "over_the_top": way_of_pass == "over the top",
        "flight_s": flight,
        "decides_s": decides,
        "shot_s": shot_at,
        "defender": first,
        "late_s": races[first]["late_s"],
        "gap_m": races[first]["gap_m"],
        "shot_points": shot,
        "guarded_points": guarded,
        "gives_points": shot - guarded,
        "meant": meant,
        "races": races,
    }


def links_of(setup: Setup, worth: ShotWorth, agents: tuple[str, ...]) -> list[Found]:
    """Every pass from every region on either side that is neither too short nor too long to be thrown."""
    k = setup.k
    found = []
    for region in FROM:
        for side in SIDES:
            picture = picture_of(setup, region, side)
            for position, to in picture.attackers.items():
                length = math.dist(picture.ball, to)
                if position != picture.handler and k["pass_shortest_m"] <= length <= k["pass_longest_m"]:
                    link = link_of(setup, picture, side, position, worth, agents)
                    found.append({"from": region, **link})
    return found


# --- the bump -------------------------------------------------------------------------------------------


def bump_dict(setup: Setup, watched: Watched) -> Found:
    """Whether the bump holds at these speeds: still picture on both sides, and how often it was missed."""
    played = {
        "possessions": watched.possessions,
        "missed_per_100": watched.missed_bumps_per_100,
        "missed_gap_m": watched.missed_bump_gap_m,
    }
    found: list[tuple[str, str, Bump]] = []
    for region in BUMP_FROM:
        for side in SIDES:
            bump = bump_of(setup, region, side)
            if bump is not None:
                found.append((region, side, bump))
    if not found:
        return {
            "holds": None,
            "late_s": None,
            "words": "this defence has no bump",
            "races": [],
            "played": played,
        }
    region, side, worst = max(found, key=lambda one: one[2].late_s)
    holds = worst.late_s < LEAST_LATE_S
    role = spoken(worst.role)
    if holds:
        words = (
            f"it holds: the {role} is on the wing {max(-worst.late_s, 0.0):.1f} s before the ball can go on, "
            f"in the tightest race ({region} to wing)"
        )
    else:
        words = (
            f"it does not hold on the pass from the {region} to the wing: the {role} is {worst.late_s:.1f} s "
            f"late, {worst.off_m:.1f} m off when the ball can go on to the corner"
        )
    races = [
        {"from": where, "side": to_side, "role": bump.role, "person": bump.person, "late_s": bump.late_s,
         "off_m": bump.off_m}
        for where, to_side, bump in found
    ]  # fmt: skip
    return {"holds": holds, "late_s": worst.late_s, "words": words, "races": races, "played": played}


# --- drills ---------------------------------------------------------------------------------------------

#: Group of links -> what the drill is called and what it trains (common practice, no source).
DRILLS = {
    "wing": (
        "Out and over",
        "the forward goes out on the pass, the guard runs over and takes the ball, the forward drops at "
        "once: leave when the ball leaves the hand, call the hand-over aloud",
    ),
    "corner": (
        "Out to corner and low wing",
        "from the drop out on the pass, the last two steps short, hands high, outside hand to the line; the "
        "centre slides to the block",
    ),
    "skip": (
        "Long ball across",
        "the far side reads the passer's eyes and is under way while the ball is in the air; a stride "
        "short of the shooter, hands high, never under him",
    ),
    "inside": (
        "Ball inside, close the fist",
        "centre up on the catch, both guards dig on their way back, far forward across to the rim",
    ),
    "back_out": (
        "Back out and square up",
        "the ball goes back to the top: the far guard takes it, the other one is in the gap before the next "
        "pass, nobody watches the ball",
    ),
}
PERIMETER = ("top", "slot", "half_court_corner", "backcourt")


def group_of(link: Found) -> str:
    """Which drill a link belongs to."""
    to = region_of(link["to"])
    if link["kind"] == "skip":
        return "skip"
    if to in ("wing", "corner"):
        return to
    return "back_out" if to in PERIMETER else "inside"


def merged(links: list[Found]) -> list[Found]:
    """Links from both sides of the floor as one: the side that gives most away, the later one's delay, in the
    order of what they give away."""
    together: dict[tuple[str, str, str], list[Found]] = {}
    for link in links:
        together.setdefault((link["from"], link["to"], link["kind"]), []).append(link)
    found = []
    for same in together.values():
        worst = max(same, key=lambda link: link["gives_points"])
        thrown = [link["p_thrown"] for link in same if link["p_thrown"] is not None]
        found.append(
            worst
            | {
                "late_s": max(link["late_s"] for link in same),
                "p_thrown": sum(thrown) if thrown else None,
                "cost": sum(link["cost"] for link in same),
            }
        )
    return sorted(found, key=lambda link: (-link["cost"], -link["gives_points"]))


def pass_name(link: Found) -> str:
    """A pass as table and drills name it: ``wing to far_wing, skip``."""
    return f"{link['from']} to {link['to']}{', skip' * (link['kind'] == 'skip')}"


def late_bumps(bump: Found) -> list[Found]:
    """Of each pass on which the bump is late its later race, the latest first; [] where it holds, or is
    none."""
    worst: dict[str, Found] = {}
    for race in sorted(bump["races"], key=lambda race: -race["late_s"]):
        if race["late_s"] >= LEAST_LATE_S:
            worst.setdefault(race["from"], race)
    return list(worst.values())


def is_late(link: Found) -> bool:
    """Whether a pass is late as it is printed."""
    return bool(link["late_s"] >= LEAST_LATE_S)


def drills_of(links: list[Found], bump: Found) -> list[Found]:
    """Three drills: the groups of links that give away most; the bump comes first where it does not hold.

    ``links``: the names (``pass_name``) of its late passes, those three that give most away (where nobody is
    late, its passes; of the bump, where it does not hold, the passes on which it is late and no other);
    ``worst``: of these the one to start from, None where nobody is late; ``late_s``: how late the latest of
    them is, None where none is; ``bump``: the race of the bump on the worst, None where it is not late or is
    not what the drill is for.
    """
    groups: dict[str, list[Found]] = {}
    for link in merged(links):
        groups.setdefault(group_of(link), []).append(link)
    bumps = late_bumps(bump)

    def given(name: str) -> tuple[bool, float, float]:
        of_group = groups[name]
        first = name == "wing" and bool(bumps)
        cost = sum(link["cost"] for link in of_group)
        return (not first, -cost, -max(link["gives_points"] for link in of_group))

    drills = []
    for name in sorted(groups, key=given)[:3]:
        title, trains = DRILLS[name]
        late = list(filter(is_late, groups[name]))
        named, delays = [pass_name(link) for link in late or groups[name]][:3], late[:3]
        roles = [link["defender"] for link in late or groups[name]]
        races = bumps if name == "wing" else []
        if races:
            named, delays = [f"{race['from']} to wing" for race in races], races
            roles = [race["role"] for race in races]
        drills.append(
            {
                "name": title,
                "trains": trains,
                "links": named,
                "worst": named[0] if delays else None,
                "late_s": max((one["late_s"] for one in delays), default=None),
                "bump": races[0] if races else None,
                "roles": list(dict.fromkeys(roles)),
                "cost": sum(link["cost"] for link in groups[name]),
            }
        )
    return drills


# --- the study --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class TimingResult:
    """Links, worst first, the bump, the way out of a beaten trap, three drills; ``to_dict()`` the JSON."""

    scenario: Scenario
    size: RunSize
    links: list[Found]
    bump: Found
    after_trap: list[Found]
    drills: list[Found]
    passes: int
    trap_advice: bool

    def to_dict(self) -> Found:
        """The JSON of ``timing``."""
        return {
            **head("timing", self.scenario, self.size),
            "offence": self.scenario.offence_team.name,
            "defence": self.scenario.defence_team.name,
            "alignment": self.scenario.alignment.title,
            "base_defence": defence_dict(self.scenario),
            "open_shot_m": self.scenario.constants["open_shot_m"],
            "passes_traced": self.passes,
            "links": self.links,
            "bump": self.bump,
            "after_trap": self.after_trap,
            "trap_advice": self.trap_advice,
            "drills": self.drills,
            "method": {
                "links": "still picture: places of the rows before the pass, own speeds, straight runs",
                "p_thrown": "share of the passes in traced possessions, staying home",
                "after_trap": "ball and rim from the still picture; shell_s from traced beaten traps",
            },
        }

    def table(self) -> pd.DataFrame:
        """One row per link, the worst first; the races of the single defenders are left out."""
        rows = [{key: value for key, value in link.items() if key != "races"} for link in self.links]
        return pd.DataFrame(rows)


def _named(link: Found, side_people: Mapping[str, Player], five: Sequence[Player], passes: Passes) -> Found:
    """A link with shirts and counts; ``side_people``: person -> player."""
    side, meant = link["side"], link["meant"]

    def shirt(role: str) -> int:
        return side_people[holder(role, side)].number

    seen = passes.count(link["from"], side, link["position"])
    share = seen / passes.total if passes.total else None
    meant_of = None
    if meant is not None:
        race = link["races"][meant]
        meant_of = {"role": meant, "number": shirt(meant), "late_s": race["late_s"], "gap_m": race["gap_m"]}
    races = [{"role": role, "number": shirt(role), **race} for role, race in link["races"].items()]
    return link | {
        "receiver": five[link["position"] - 1].number,
        "number": shirt(link["defender"]),
        "p_thrown": share,
        "seen": seen,
        "played_catch_gap_m": passes.catch_gap_m(link["from"], side, link["position"]),
        "cost": 100.0 * (share or 0.0) * max(link["gives_points"], 0.0),
        "meant": meant_of,
        "races": races,
    }


def timing(
    scenario: Opening,
    seed: int | None = None,
    progress: Progress | None = None,
    traps: bool = True,
    threads: int | None = None,
) -> TimingResult:
    """Time every pass of the offence against every defender, and the way out of a beaten trap.

    Parameters
    ----------
    scenario : path of a scenario file, or what ``engine.load`` returned
    seed : seed of the traced possessions, None takes the scenario's own
    progress : called as ``progress(done, total)`` in traced possessions, part by part
    traps : False leaves traps out
    threads : None uses every available core; the result does not depend on it

    Raises
    ------
    InputError
        bad input, a negative seed or threads < 1.
    """
    scenario = open_scenario(scenario)
    size = check_size(1, scenario.seed if seed is None else seed, threads)
    setup = scenario_setup(scenario, scenario.zone, scenario.zone_options)
    packed = pack(scenario)
    people = people_of(scenario.zone, scenario.defence_team)
    watched = watch(scenario, packed, size, traps, progress)
    five = scenario.offence_team.on_court
    links = [
        _named(link, people, five, watched.passes)
        for link in links_of(setup, ShotWorth(packed.home), persons_of(scenario.zone))
    ]
    links.sort(key=lambda link: (-link["cost"], -link["gives_points"]))
    bump = bump_dict(setup, watched)
    return TimingResult(
        scenario=scenario,
        size=RunSize(watched.possessions, size.seed, 1),
        links=links,
        bump=bump,
        after_trap=after_traps(scenario, watched.traps) if traps else [],
        drills=drills_of(links, bump),
        passes=watched.passes.total,
        trap_advice=traps,
    )
