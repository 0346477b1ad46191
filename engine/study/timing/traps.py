"""How the defence comes out of a beaten trap: who takes the ball, who the rim, when the shell stands.

Who: from the still picture of the trap (trappers at the ball, the others on their cover) when the ball leaves
it for one of the alignment's places of the break: the defender who can be at the ball first, and of the
others the one who can be at the rim first. How long: traced from play (engine.study.timing.play), beside the
still picture's shortest time, in which the last man is within shell_stand_m of his place.
"""

from __future__ import annotations

import math

from engine.estimate.intervals import Found, Interval, if_enough, normal_interval, scaled
from engine.inputs.calls import Call
from engine.inputs.places import with_options
from engine.inputs.roles import holder
from engine.inputs.scenario import Scenario
from engine.state.words import Break
from engine.still.holes import flight_of, scenario_setup
from engine.still.picture import Picture, Point, Setup, between, picture_of, run_s, stand_off, stands
from engine.study.timing.play import BeatenTrap
from engine.world.pack import place_of

SIDES = ("right", "left")
BREAKS = Break.words


def _other(side: str) -> str:
    return SIDES[1 - SIDES.index(side)]


def trap_picture(setup: Setup, call: Call, side: str, at: Point | None = None) -> Picture:
    """The floor with the trap set: trappers trap_stand_m from the ball, the others on their cover.

    ``at``: where the ball is, None the spot of the call's first region. Only for calls with named doubles.
    """
    picture = picture_of(setup, call.ball[0], side)
    if at is not None:
        picture = picture._replace(ball=at)
    entries = with_options(call.cover, call.option, call.choices)
    men = {role: setup.men.get(holder(role, side), 0) for role in entries}
    places = stands(setup, entries, picture, men)
    for role in call.doubles:
        stand = picture.defenders[role]
        share = setup.k["trap_stand_m"] / max(math.dist(stand, picture.ball), 1e-9)
        places[role] = between(picture.ball, stand, min(share, 1.0))
    return picture._replace(defenders=places)


def escape_of(setup: Setup, picture: Picture, side: str, to: Point) -> Found:
    """The ball leaves the trap for ``to``: roles at ball and rim, and the shortest time to the shell."""
    k = setup.k

    def time_s(role: str, at: Point, within_m: float) -> float:
        way = math.dist(picture.defenders[role], at) - within_m
        return k["reaction_s"] + run_s(way, setup.speeds[holder(role, side)], k["sprint_tau_s"])

    after = side if to[0] >= 0.0 else _other(side)
    shell = picture_of(setup, setup.court.region_at(*to), after)
    now = {holder(role, side): role for role in picture.defenders}
    times = {}
    for role, (x, y) in shell.defenders.items():
        person = now[holder(role, after)]
        times[person] = time_s(person, (x if after == side else -x, y), k["shell_stand_m"])
    ball = {role: time_s(role, to, stand_off(to, k)) for role in picture.defenders}
    takes = min(ball, key=lambda role: ball[role])
    rim = {role: time_s(role, setup.court.spot("rim"), k["shell_stand_m"]) for role in ball if role != takes}
    goes = min(rim, key=lambda role: rim[role])
    last = max(times, key=lambda role: times[role])
    return {
        "ball": takes,
        "ball_s": ball[takes],
        "rim": goes,
        "rim_s": rim[goes],
        "flight_s": flight_of(setup, picture, to)[0],
        "shell_still_s": times[last],
        "last": last,
    }


def escapes_of(setup: Setup, call: Call, at: Point | None = None) -> dict[str, Found]:
    """The four ways out by the alignment's break, each on the slower side; {} for dynamic doubles."""
    if call.dynamic:
        return {}
    items = {region: item for item in setup.alignment.breaks for region in item.call}
    item = next((items[region] for region in call.ball if region in items), items["default"])
    found = {}
    for name in BREAKS:
        to = place_of(setup.court, getattr(item, name))
        both = [escape_of(setup, trap_picture(setup, call, side, at), side, to) for side in SIDES]
        found[name] = max(both, key=lambda one: one["shell_still_s"])
    return found


def _mean_s(seconds: tuple[float, ...]) -> Interval:
    """Their mean, from whole milliseconds."""
    ms = [round(1000.0 * one) for one in seconds]
    found = normal_interval(len(ms), sum(ms), sum(one * one for one in ms))
    return scaled(if_enough(found, len(ms)), 0.001)


def after_traps(scenario: Scenario, beaten: tuple[BeatenTrap, ...]) -> list[Found]:
    """One entry per call: how the defence comes out of it when beaten; told for the commonest way out."""
    found = []
    for one in beaten:
        setting = scenario.settings[one.setting]
        call = setting.calls[one.call]
        zone = setting.zone or scenario.zone
        setup = scenario_setup(scenario, zone, setting.zone_options or scenario.zone_options)
        ways = escapes_of(setup, call, one.at)
        usual = max(ways, key=lambda name: one.escapes.get(name, 0)) if ways else None
        told = ways[usual] if usual is not None else None
        out = sum(one.escapes.values())
        found.append(
            {
                "call": call.name,
                "ball": told["ball"] if told else None,
                "rim": told["rim"] if told else None,
                "shell_s": sum(one.shell_s) / len(one.shell_s) if one.shell_s else None,
                "shell_from": "traced beaten traps",
                "shell_still_s": told["shell_still_s"] if told else None,
                "usual_way_out": usual,
                "traced": one.traced,
                "stood": len(one.shell_s),
                "watched": one.watched,
                "closed": len(one.closed_s),
                "closed_s": _mean_s(one.closed_s).as_dict(),
                "called": one.called,
                "beaten": one.beaten,
                "ways_out": [
                    {
                        "to": name,
                        "share": one.escapes.get(name, 0) / out if out else None,
                        **ways[name],
                    }
                    for name in ways
                ],
            }
        )
    return found
