"""Court cards: where the five stand, run and rotate, as numbers for a drawing (templates/court.html).

The screen frame is the replay's: centimetres, the basket at the bottom, right is right as the defence looks
out. Places are those of the still picture (engine.still, engine.study.timing.traps): nobody was watched.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from engine.estimate.intervals import Found
from engine.estimate.rounding import parts_of_hundred
from engine.inputs.base import spoken
from engine.inputs.calls import Call
from engine.inputs.defence import persons_of
from engine.inputs.roles import holder
from engine.inputs.scenario import Scenario
from engine.inputs.zone import Zone
from engine.report.replay.data import MARGIN_CM, cm, court_drawing
from engine.report.words import WAY_WORDS
from engine.still.holes import region_of, scenario_setup
from engine.still.picture import Picture, Setup, picture_of
from engine.study.timing.traps import trap_picture
from engine.world.pack import defenders_of, place_of

#: Room that a sign and a number beside one take on the drawing, and the shortest run that is worth an arrow,
#: centimetres. A circle and the corner of a square at SIGN_CM do not touch.
SIGN_CM, LABEL_CM, LEAST_RUN_CM = 116, 104, 70
#: Width of a pass that every escape takes, centimetres, and of the thinnest.
WIDEST_CM, THINNEST_CM = 70, 6
#: How far to the side of the way there the way once beaten is drawn; so much of it must be seen.
ASIDE_CM, SEEN_CM = 38, 50
#: Room kept above the farthest sign; how far from its holder the ball is drawn.
ABOVE_CM, BALL_CM = 130, 72
#: Room that a sign, a number or the end of a pass takes to each side.
MARK_CM = 75
#: By how much a push is turned.
COS, SIN = math.cos(0.3), math.sin(0.3)

Spot = tuple[float, float]


def on_screen(place: Spot, side: str = "right") -> Spot:
    """Metres of the model's frame as centimetres of the drawing; a still picture of the left turned back."""
    return float(cm(place[0] if side == "right" else -place[0])), float(-cm(place[1]))


def apart(fixed: Sequence[Spot], free: Sequence[Spot], least: float = SIGN_CM) -> list[Spot]:
    """Places for signs so that none covers another: ``free`` ones give way, to each other by halves.

    Each pair nearer than ``least`` is pushed apart along the line between them, a little turned (who stands
    in a row would be pushed to and fro for ever), up to 200 times.
    """
    spots = list(free)
    for _ in range(200):
        moved = False
        for i in range(len(spots)):
            for j, other in enumerate((*spots, *fixed)):
                x, y = spots[i][0] - other[0], spots[i][1] - other[1]
                away = math.hypot(x, y)
                if i == j or away >= least - 0.5:
                    continue
                dx, dy = (x / away, y / away) if away > 0.0 else (1.0, 0.0)
                dx, dy = dx * COS - dy * SIN, dx * SIN + dy * COS
                push = (least - away) / (2.0 if j < len(spots) else 1.0)
                spots[i] = spots[i][0] + push * dx, spots[i][1] + push * dy
                if j < len(spots):
                    spots[j] = other[0] - push * dx, other[1] - push * dy
                moved = True
        if not moved:
            break
    return spots


def beside(start: Spot, end: Spot, taken: Sequence[Spot]) -> Spot:
    """Where a pass has its number: on the pass, as near to its end as nothing else is, else to its sides."""
    x, y = end[0] - start[0], end[1] - start[1]
    way = math.hypot(x, y) or 1.0
    spots = [
        (start[0] + part * x - aside * y / way, start[1] + part * y + aside * x / way)
        for aside in (LABEL_CM * part for part in (0.0, 0.7, -0.7, 1.0, -1.0, 1.4, -1.4))
        for part in (1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4)
    ]
    return max(spots, key=lambda spot: min(LABEL_CM, *(math.dist(spot, other) for other in taken)))


def arrow(
    start: Spot, end: Spot, short: float = 52.0, head: float = 34.0, aside: float = 0.0
) -> Found | None:
    """A line with a head, from ``start`` to ``short`` before ``end``; None where it is too short to draw.
    ``aside``: moved so far to its side, by which a way and the same way back are two lines."""
    way = math.dist(start, end)
    if way < LEAST_RUN_CM:
        return None
    x, y = (end[0] - start[0]) / way, (end[1] - start[1]) / way
    start, end = ((at[0] - aside * y, at[1] + aside * x) for at in (start, end))
    tip = end[0] - short * x, end[1] - short * y
    if math.dist(start, tip) < head:
        return None
    base = tip[0] - head * x, tip[1] - head * y
    corners = (tip, (base[0] - 0.5 * head * y, base[1] + 0.5 * head * x),
               (base[0] + 0.5 * head * y, base[1] - 0.5 * head * x))  # fmt: skip
    return {
        "line": [round(value) for value in (*start, *base)],
        "head": " ".join(f"{px:.0f},{py:.0f}" for px, py in corners),
        "tip": tip,
    }


def clear_arrow(start: Spot, end: Spot, signs: Sequence[Spot], came_from: Spot) -> Found | None:
    """``arrow``, moved aside where that keeps it clear of other signs and of the way he came; None where what
    is to be seen of it is too short."""

    def points(a: Spot, b: Spot) -> list[Spot]:
        return [(a[0] + k / 12 * (b[0] - a[0]), a[1] + k / 12 * (b[1] - a[1])) for k in range(13)]

    came = points(came_from, start)[:-3] if math.dist(came_from, start) >= LEAST_RUN_CM else []
    found, most = None, -math.inf
    for aside in (0.0, ASIDE_CM, -ASIDE_CM):
        drawn = arrow(start, end, 40.0, aside=aside)
        if drawn is None:
            continue
        mine = points((drawn["line"][0], drawn["line"][1]), drawn["tip"])[3:]
        free = [all(math.dist(at, sign) > SIGN_CM / 2 for sign in signs) for at in mine]
        seen = sum(free) / len(free) * math.dist(mine[0], mine[-1])
        worth = seen - ASIDE_CM * sum(math.dist(at, other) < ASIDE_CM / 2 for at in mine for other in came)
        if free[-1] and seen >= SEEN_CM and worth > most:
            found, most = drawn, worth
    return found


def shirts_of(scenario: Scenario, zone: Zone) -> dict[str, int]:
    """Place of a defence -> shirt number."""
    people = (player.number for player in defenders_of(scenario, zone))
    return dict(zip(persons_of(zone), people, strict=True))


def attackers_of(scenario: Scenario) -> dict[int, int]:
    """Position of an attacker, 1 to 5 -> shirt number."""
    return {position: player.number for position, player in enumerate(scenario.offence_team.on_court, 1)}


def trapped_first(
    scenario: Scenario, setup: Setup, call: Call, picture: Picture, comes: Sequence[int] = ()
) -> dict[int, int]:
    """As ``attackers_of``, but one whom the call is meant for, else on whom it comes (``comes``), has the
    ball: he changes places with another who would have it. It is the man who has it there on the other side,
    else the nearest one."""
    found = attackers_of(scenario)
    handler, wanted = picture.handler, call.only_against or comes
    if not wanted or found[handler] in wanted:
        return found
    meant = [position for position, number in found.items() if number in wanted]
    other = picture_of(setup, call.ball[0], "left").handler
    man = min(meant, key=lambda at: (at != other, math.dist(picture.attackers[at], picture.ball)))
    return found | {handler: found[man], man: found[handler]}


def _frame(setup: Setup, signs: Sequence[Spot], marks: Sequence[Spot] = ()) -> Found:
    """The lines of the court, cut above the farthest sign; wide enough for all signs, and for ``marks``:
    ends of passes and the numbers beside them."""
    found = court_drawing(setup.court)
    x, y, width, height = (float(part) for part in found["view"].split())
    top = max(min(spot[1] for spot in signs) - ABOVE_CM, found["half_y"] - MARGIN_CM)
    across, down = zip(*signs, *marks, strict=True)
    left, right = min(x + 40, min(across) - MARK_CM), max(x + width - 40, max(across) + MARK_CM)
    top, bottom = min(top, min(down) - MARK_CM), max(y + height - 40, max(down) + MARK_CM)
    found["view"] = f"{left:.0f} {top:.0f} {right - left:.0f} {bottom - top:.0f}"
    return found


def _card(
    scenario: Scenario,
    setup: Setup,
    picture: Picture,
    stand: Mapping[str, Spot],
    side: str = "right",
    shirts: Mapping[str, int | str] | None = None,
    theirs_by: Mapping[int, int] | None = None,
) -> Found:
    """The drawing without arrows: signs moved apart, the ball beside who has it.

    ``side``: where the ball is, by which roles are persons. ``shirts``: of our places, ``theirs_by``: of
    their positions; None: those of the scenario.
    """
    shirts = shirts_of(scenario, setup.zone) if shirts is None else shirts
    theirs_by = attackers_of(scenario) if theirs_by is None else theirs_by
    theirs = {position: on_screen(at, side) for position, at in picture.attackers.items()}
    roles = list(stand)
    spots = apart(list(theirs.values()), [on_screen(stand[role], side) for role in roles])
    ours = dict(zip(roles, spots, strict=True))
    ball = theirs[picture.handler]
    others = [at for at in (*theirs.values(), *spots) if at != ball]
    turns = [math.pi * k / 8.0 for k in range(16)]
    beside = [(ball[0] + BALL_CM * math.cos(turn), ball[1] + BALL_CM * math.sin(turn)) for turn in turns]
    return {
        "court": _frame(setup, [*theirs.values(), *spots]),
        "ours": [{"number": shirts[holder(role, side)], "at": ours[role], "role": role} for role in roles],
        "theirs": [{"number": theirs_by[position], "at": at} for position, at in theirs.items()],
        "ball": max(beside, key=lambda at: min(math.dist(at, other) for other in others)),
        "runs": [],
        "passes": [],
        "rotations": [],
    }


def out_of(timing: Found, call: str) -> Found | None:
    """How the defence comes out of a beaten trap, by ``timing``; None where it is not known."""
    found = next((one for one in timing["after_trap"] if one["call"] == call), None)
    return found if found is not None and found["ball"] is not None else None


def home_card(scenario: Scenario) -> Found:
    """The five at home with the ball at the top."""
    setup = scenario_setup(scenario, scenario.zone, scenario.zone_options)
    picture = picture_of(setup, "top", "right")
    found = _card(scenario, setup, picture, picture.defenders)
    places = ", ".join(
        f"{spoken(place)} {number}" for place, number in shirts_of(scenario, setup.zone).items()
    )
    return found | {"words": f"{scenario.zone.title}, ball at the top: {places}."}


def feeder(timing: Found, call: Call) -> str:
    """The region from which most passes go to where the call is made (``timing``'s links); itself where none
    is known."""
    thrown: dict[str, float] = {}
    for link in timing["links"]:
        near = not link["to"].startswith("far_")
        if near and region_of(link["to"]) in call.ball and link["p_thrown"]:
            thrown[link["from"]] = thrown.get(link["from"], 0.0) + link["p_thrown"]
    return max(sorted(thrown), key=lambda region: thrown[region], default=call.ball[0])


def call_card(
    scenario: Scenario,
    setting: int,
    call: Call,
    timing: Found,
    shirts: Mapping[str, int | str] | None = None,
    comes: Sequence[int] = (),
) -> Found | None:
    """A call with the ball on the right: from home's places to the trap, the ways out, who rotates.

    ``timing``: its JSON: where the pass to the trap comes from, the ways out of it. ``shirts``: place -> who
    is there when the call is made, None the scenario's own. ``comes``: on whom it mostly comes. None for a
    call whose doubles are whoever is nearest: who that is, is not known before.
    """
    if call.dynamic:
        return None
    of = scenario.settings[setting]
    zone = of.zone or scenario.zone
    setup = scenario_setup(scenario, zone, of.zone_options or scenario.zone_options)
    shirts = shirts_of(scenario, zone) if shirts is None else shirts
    before, out = feeder(timing, call), out_of(timing, call.name)
    home, trap = picture_of(setup, before, "right"), trap_picture(setup, call, "right")
    theirs = trapped_first(scenario, setup, call, trap, comes)
    found = _card(scenario, setup, trap, trap.defenders, "right", shirts, theirs)
    ours = {one["role"]: one["at"] for one in found["ours"]}
    for role, at in ours.items():
        drawn = arrow(on_screen(home.defenders[role]), at)
        if drawn is not None:
            found["runs"].append(drawn | {"traps": role in call.doubles})
    if out is not None:
        ways = _ways(setup, call, out)
        start = on_screen(trap.ball)
        signs = [one["at"] for one in (*found["ours"], *found["theirs"])] + [found["ball"]]
        rotated = rotations(setup, out, ways)
        for role, to in rotated.items():
            others = [at for at in signs if at != ours[role]]
            drawn = clear_arrow(ours[role], to, others, on_screen(home.defenders[role]))
            if drawn is not None:
                found["rotations"].append(drawn)
        heads = [one["tip"] for one in (*found["runs"], *found["rotations"])]
        labels: list[Spot] = []
        for way in ways:
            labels.append(beside(start, way["at"], [*signs, *heads, *labels]))
        found["court"] = _frame(setup, signs, [*labels, *(way["at"] for way in ways), *heads])
        for way, label in zip(ways, labels, strict=True):
            x, y = way["at"]
            wide = max(WIDEST_CM * way["share"], THINNEST_CM)
            found["passes"].append(
                {"line": [round(v) for v in (*start, x, y)], "wide": round(wide), "at": label,
                 "share": f"{way['of_100']}%"}
            )  # fmt: skip
    return found | {"words": _words(shirts, theirs[trap.handler], call, before, out)}


def rotations(setup: Setup, out: Found, ways: Sequence[Found]) -> dict[str, Spot]:
    """Where each role goes once the trap on the right is beaten, the commonest way out, on the screen: one to
    the ball, one to the rim, the others to their places at home with the ball there. {} where no way out is
    known."""
    if not ways:
        return {}
    to = max(ways, key=lambda way: way["share"])["place"]
    side = "right" if to[0] >= 0.0 else "left"
    shell = picture_of(setup, setup.court.region_at(*to), side)
    home = {holder(role, side): on_screen(at, side) for role, at in shell.defenders.items()}
    found = {role: home[holder(role, "right")] for role in shell.defenders}
    return found | {out["rim"]: on_screen(setup.court.spot("rim")), out["ball"]: on_screen(to)}


def _ways(setup: Setup, call: Call, out: Found) -> list[Found]:
    """Ways out that are taken, with where they end on the screen."""
    items = {region: item for item in setup.alignment.breaks for region in item.call}
    item = next((items[region] for region in call.ball if region in items), items["default"])
    shares, of_100 = {way["to"]: way["share"] for way in out["ways_out"]}, _of_100(out)
    places = {to: place_of(setup.court, getattr(item, to)) for to, n in of_100.items() if n}
    return [
        {"share": shares[to], "of_100": of_100[to], "place": place, "at": on_screen(place)}
        for to, place in places.items()
    ]


def _of_100(out: Found) -> dict[str, int]:
    """Ways out of a beaten trap, of 100: they add up as printed; {} where nothing is known."""
    return parts_of_hundred({way["to"]: way["share"] for way in out["ways_out"]}, WAY_WORDS)


def _words(shirts: Mapping[str, int | str], handler: int, call: Call, before: str, out: Found | None) -> str:
    """What is drawn, for those who do not see it."""
    two = " and ".join(str(shirts[holder(role, "right")]) for role in call.doubles)
    where = f"Ball from the {spoken(before)} to the {spoken(call.ball[0])}, right side"
    said = f"{where}: {two} trap their {handler}."
    if out is None:
        return said
    ways = [f"{n} {WAY_WORDS[to]}" for to, n in _of_100(out).items() if n]
    ball, rim = (shirts[holder(out[key], "right")] for key in ("ball", "rim"))
    then = f"Then {ball} takes the ball, {rim} the basket, the others go home."
    return f"{said} Of 100 passes out: {', '.join(ways)}. {then}"


def pass_card(scenario: Scenario, link: Found, words: str) -> Found:
    """A pass to start a drill from: everybody at home with the ball where it comes from, who has to run."""
    setup = scenario_setup(scenario, scenario.zone, scenario.zone_options)
    picture = picture_of(setup, link["from"], link["side"])
    found = _card(scenario, setup, picture, picture.defenders, link["side"])
    start, end = (on_screen(at, link["side"]) for at in (picture.ball, picture.attackers[link["position"]]))
    late = next(one["at"] for one in found["ours"] if one["role"] == link["defender"])
    thrown, run = arrow(start, end), arrow(late, end)
    found["rotations"] = [thrown] if thrown is not None else []
    found["runs"] = [run | {"traps": True}] if run is not None else []
    return found | {"words": words}
