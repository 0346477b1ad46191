"""The other side of a lineup: where they would attack it, and whom to force, trap, leave and deny.

Where they attack: their best scorer is parked at each place in turn, on the side of the ball and away from
it at the spot of the alignment that lies nearest to that place (one spot each, least total distance); a
team-mate takes his spots. In a defence with men of their own the place guards him instead. Cost: net points
conceded less those with him where he usually plays, on common luck.

Whom to trap: every call of the settings that share the base defence is played against one handler at a time,
wherever home's record says that it would be made, on the possessions that weigh the call itself. It is said
of each call by itself: a man to whom it never comes is not one to trap there. Of his open shot in each area
where the alignment puts him: guard him there, or let him shoot where it is worth clearly less than their
average shot. Whom to leave: a man to let shoot everywhere, whom nobody wants to trap.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from engine.estimate.intervals import FloatArray, Found, Interval, normal_interval
from engine.estimate.tally import Tally
from engine.inputs.base import spoken
from engine.inputs.calls import Call
from engine.inputs.defence import persons_of
from engine.inputs.roles import holder
from engine.inputs.scenario import Scenario
from engine.inputs.settings import Setting
from engine.inputs.team import Player
from engine.run.blocks import Progress, Runner, World, run_blocks
from engine.run.size import RunSize
from engine.run.worlds import net_of
from engine.state.arrays import MOST_SHADOW_SETTINGS, N_SIDE
from engine.state.words import REGIONS
from engine.still.holes import scenario_setup
from engine.still.picture import Setup, picture_of
from engine.still.shot_worth import ShotWorth
from engine.study.compare import compare
from engine.study.levels import standard_error
from engine.study.play import play
from engine.world.pack import defenders_of, pack

#: Possessions for the cost of each place, and for the calls against each handler, unless asked otherwise.
ATTACK_POSSESSIONS, CALL_POSSESSIONS = 6000, 20_000
#: A call against one handler that was made less often says nothing.
LEAST_CALLS = 100
#: Standard errors a call must be ahead by: about 95 % over 20 comparisons (normal, Bonferroni).
CLEAR = 3.0
#: At most so many are named as the ones to trap.
MOST_TRAPPED = 2
#: Regions of the ball in which the places of a defence and the spots of an alignment are compared.
AROUND = tuple(r for r in REGIONS if r not in ("backcourt", "half_court_corner", "lane", "rim"))
SIDES = ("left", "right")
#: Where a man stands, in a coach's words; other regions are left out.
AREAS = {
    "corner": "corner", "wing": "wing", "slot": "wing", "top": "top", "high_post": "middle",
    "elbow": "middle", "short_corner": "inside", "low_post": "inside", "lane": "inside", "rim": "inside",
}  # fmt: skip
#: What to do about his shot in an area.
GUARD, LET_SHOOT = "guard", "let shoot"


@dataclass(frozen=True)
class Answers:
    """What ``answers`` found, as parts of the JSON of ``lineup``."""

    attack_at: list[Found]
    advice: list[Found]
    trap_breaker: int | None
    more: Found

    def to_dict(self) -> Found:
        """The keys of the JSON."""
        return {
            "attack_at": self.attack_at,
            "opponent": self.advice,
            "trap_breaker": self.trap_breaker,
            **self.more,
        }


# --- shots ------------------------------------------------------------------------------------------------


def open_shots(setup: Setup, worth: ShotWorth) -> dict[int, dict[str, float]]:
    """Position -> region where the alignment puts him without the ball -> points of his open shot
    (open_shot_m) at the best spot there."""
    best: dict[int, dict[str, float]] = {position: {} for position in range(1, N_SIDE + 1)}
    for region in AROUND:
        for side in SIDES:
            picture = picture_of(setup, region, side)
            for position, at in picture.attackers.items():
                if position != picture.handler:
                    points = worth.points(position, at, setup.k["open_shot_m"])
                    there = setup.court.region_at(*at)
                    best[position][there] = max(best[position].get(there, 0.0), points)
    return best


def average_shot(rates: Found) -> Found:
    """Points of their average shot from the field (twice the effective share), and the lower end of its
    range. ``rates``: of staying home, JSON of ``play``."""
    share = rates["effective_field_goal"]
    low = share["mean"] if share["low"] is None else share["low"]
    return {"mean": 2.0 * float(share["mean"]), "low": 2.0 * float(low)}


def areas_of(spots: dict[str, float], average: Found) -> dict[str, Found]:
    """Area -> points of his best open shot there, and what to do about it: GUARD unless it is worth less than
    the range of their average shot (``average_shot``). ``spots``: of one man, see ``open_shots``."""
    best: dict[str, float] = {}
    for region, points in spots.items():
        if region in AREAS:
            best[AREAS[region]] = max(best.get(AREAS[region], 0.0), points)
    return {
        area: {"points": points, "do": GUARD if points >= average["low"] else LET_SHOOT}
        for area, points in best.items()
    }


def best_scorer(five: Sequence[Player], shots: dict[int, float]) -> tuple[int, str]:
    """Position of the best scorer and how that is known: made points if all five have counts, else shots."""
    made = []
    for player in five:
        if player.rim is None or player.middle is None or player.three is None:
            break
        made.append(2 * (player.rim[0] + player.middle[0]) + 3 * player.three[0])
    if len(made) == len(five):
        return int(np.argmax(made)) + 1, "most points from the field on their sheet"
    return max(shots, key=lambda position: shots[position]), "the open shot that is worth most"


# --- where they attack ------------------------------------------------------------------------------------


def parking_roles(setup: Setup, world: World, places: tuple[str, ...]) -> NDArray[np.int64]:
    """Role of the alignment at each place, int [side, place]: side 0 the ball's side is left, 1 right.

    One role to each place, with the least total of mean distances (assignment problem).
    """
    found = np.zeros((2, len(places)), np.int64)
    for s, side in enumerate(SIDES):
        away: FloatArray = np.zeros((len(places), N_SIDE))
        for region in AROUND:
            picture = picture_of(setup, region, side)
            for role, stand in picture.defenders.items():
                place = places.index(holder(role, side))
                for position, at in picture.attackers.items():
                    away[place, world[0].spot_role_of[s, position - 1]] += math.dist(stand, at) / len(AROUND)
        rows, columns = linear_sum_assignment(away)
        found[s, rows] = columns
    return found


def parked(world: World, scorer: int, place: int, roles: NDArray[np.int64]) -> World:
    """A copy of the world with attacker ``scorer`` (0 to 4) at a place; who had his spots there takes his."""
    changed = world.copy()
    w = changed[0]
    lead = int(w.lead_person)
    fronts = [int(world[0].spot_role_of[s, lead]) for s in range(2)]
    for s in range(2):
        mates = w.spot_role_of[s]
        wanted, had = int(roles[s, place]), int(mates[scorer])
        other = int(np.flatnonzero(mates == wanted)[0])
        mates[scorer], mates[other] = wanted, had
    now = [int(np.flatnonzero(w.spot_role_of[s] == fronts[s])[0]) for s in range(2)]
    if now[0] == now[1]:
        w.lead_person = now[0]  # who plays the front on both sides brings the ball up
    return changed


def guarded_by(world: World, scorer: int, place: int) -> World:
    """A copy of the world in which the defender at a place guards the scorer; the two swap their men."""
    changed = world.copy()
    men = changed[0].guards
    for other in np.flatnonzero(men == scorer):
        men[other] = men[place]
    men[place] = scorer
    return changed


@dataclass(frozen=True, eq=False)
class Costs(Tally):
    """Sums over possessions: count, and per variant of the difference from the usual one and its square."""

    n: int
    total: NDArray[np.int64]
    squares: NDArray[np.int64]


def attack_costs(
    world: World, variants: list[World], size: RunSize, start: int = 0, progress: Progress | None = None
) -> list[Found]:
    """Net points conceded in each variant less those in ``world``, on common luck, with 95% intervals.

    ``start``: number of the first of the possessions.
    """
    runner = Runner(size.seed)

    def task(first: int, count: int) -> Costs:
        usual = net_of(runner.block(world, start + first, count, "usual"))
        apart = np.array([net_of(runner.block(w, start + first, count, "variant")) - usual for w in variants])
        return Costs(count, apart.sum(axis=1), (apart * apart).sum(axis=1))

    found = run_blocks(size, runner, task, progress)
    return [
        normal_interval(found.n, int(total), int(squares)).as_dict()
        for total, squares in zip(found.total, found.squares, strict=True)
    ]


def _attack(
    scenario: Scenario, setup: Setup, world: World, scorer: int, size: RunSize, progress: Progress | None
) -> list[Found]:
    places = persons_of(scenario.zone)
    numbers = [player.number for player in defenders_of(scenario, scenario.zone)]
    if scenario.zone.guards:
        variants = [guarded_by(world, scorer - 1, i) for i in range(len(places))]
    else:
        roles = parking_roles(setup, world, places)
        variants = [parked(world, scorer - 1, i, roles) for i in range(len(places))]
    costs = attack_costs(world, variants, size, progress=progress)
    found = [
        {"place": place, "number": number, "cost": cost}
        for place, number, cost in zip(places, numbers, costs, strict=True)
    ]
    return sorted(found, key=lambda one: -one["cost"]["mean"])


# --- whom to trap -----------------------------------------------------------------------------------------


def area_of(call: Call) -> str:
    """The area in which a call is made, by the first of its regions."""
    return AREAS.get(call.ball[0], call.spot)


def calls_against(scenario: Scenario, size: RunSize, progress: Progress | None = None) -> list[Found]:
    """Each call of the settings with the base defence against each handler alone: value, how often.

    The calls are made at every chance (probability 1). [] where the scenario has none.
    """
    known: dict[str, Call] = {}
    for call in (call for s in scenario.settings if not s.own_defence for call in s.calls):
        known.setdefault(call.name, call)  # of one name the first: the usual one, on everybody
    five = [player.number for player in scenario.offence_team.on_court]
    calls = list(known.values())[: MOST_SHADOW_SETTINGS // len(five)]
    settings = []
    who = []
    for call in calls:
        for number in five:
            if call.only_against and number not in call.only_against:
                continue
            alone = call.model_copy(update={"only_against": (number,), "probability": 1.0})
            settings.append(
                Setting(
                    name=f"{call.name} against {number}",
                    calls=(alone,),
                    zone_options=dict(scenario.zone_options),
                    policy=scenario.policy,
                )
            )
            who.append((call.name, number))
    if not settings:
        return []
    asked = scenario.model_copy(update={"settings": tuple(settings)})
    result = compare(asked, size.possessions, size.seed, size.threads, progress).to_dict()
    return [
        {
            "call": name,
            "number": number,
            "area": area_of(known[name]),
            "called": setting["calls"][0]["called"],
            "per_100": 100 * setting["calls"][0]["called"] / size.possessions,
            "value": setting["calls"][0]["value"],
            "turnover_rate": setting["calls"][0]["turnover_rate"],
        }
        for (name, number), setting in zip(who, result["settings"], strict=True)
    ]


def _told(calls: list[Found], number: int) -> list[Found]:
    return [one for one in calls if one["number"] == number and one["called"] >= LEAST_CALLS]


def pooled(calls: list[Found], number: int) -> float | None:
    """Mean value of a call against one handler over all calls, by how often each was made; None: too few."""
    told = _told(calls, number)
    if not told:
        return None
    return float(
        sum(one["called"] * one["value"]["mean"] for one in told) / sum(one["called"] for one in told)
    )


def _error(one: Found) -> float:
    return standard_error(Interval(**one["value"]))


def _clearly_saves(one: Found) -> bool:
    return bool(one["value"]["mean"] - CLEAR * _error(one) > 0.0)


def whom_by_call(calls: list[Found]) -> list[Found]:
    """Of each call: ``saves`` against whom it clearly saves points, the best first, at most MOST_TRAPPED, and
    ``seldom`` to whom it comes too seldom to say anything."""
    found = []
    for name in dict.fromkeys(one["call"] for one in calls):
        mine = [one for one in calls if one["call"] == name]
        clear = [one for one in mine if one["called"] >= LEAST_CALLS and _clearly_saves(one)]
        clear.sort(key=lambda one: -one["value"]["mean"])
        found.append(
            {
                "call": name,
                "saves": [one["number"] for one in clear[:MOST_TRAPPED]],
                "seldom": [one["number"] for one in mine if one["called"] < LEAST_CALLS],
            }
        )
    return found


def breaks_traps(calls: list[Found]) -> int | None:
    """Shirt against whom all calls together bring clearly less than against the others; None: nobody.

    Both are means over the calls made; their difference must be CLEAR standard errors below 0.
    """
    numbers = [n for n in dict.fromkeys(one["number"] for one in calls) if _told(calls, n)]
    if len(numbers) < 2:
        return None
    lowest = min(numbers, key=lambda number: pooled(calls, number) or 0.0)

    def mean_and_variance(rows: list[Found]) -> tuple[float, float]:
        n = sum(one["called"] for one in rows)
        mean = sum(one["called"] * one["value"]["mean"] for one in rows) / n
        return mean, sum((one["called"] * _error(one)) ** 2 for one in rows) / n**2

    his = mean_and_variance(_told(calls, lowest))
    others = mean_and_variance([one for n in numbers if n != lowest for one in _told(calls, n)])
    return lowest if others[0] - his[0] > CLEAR * math.sqrt(his[1] + others[1]) else None


def worth_trapping(calls: list[Found]) -> dict[int, Found]:
    """Shirt -> the call that clearly saves points against him, the best first; at most MOST_TRAPPED."""
    best: dict[int, Found] = {}
    for number in dict.fromkeys(one["number"] for one in calls):
        clear = [one for one in _told(calls, number) if _clearly_saves(one)]
        if clear:
            best[number] = max(clear, key=lambda one: one["value"]["mean"])
    order = sorted(best, key=lambda number: -best[number]["value"]["mean"])[:MOST_TRAPPED]
    return {number: best[number] for number in order}


# --- all together -----------------------------------------------------------------------------------------


def _advice(
    five: Sequence[Player],
    spots: dict[int, dict[str, float]],
    average: Found,
    scorer: int,
    calls: list[Found],
    wanted: Collection[int] = (),
) -> list[Found]:
    """One piece of advice for each of them, in the order of their positions: trap, leave, force (let him have
    the ball: of those to leave, the least to fear) or deny (guard him).

    ``spots``: see ``open_shots``; ``average``: see ``average_shot``; ``wanted``: shirts that a call is kept
    for. Who is wanted, or clearly pays in any call, is never one to leave.
    """
    shots = {position: max(there.values()) for position, there in spots.items()}
    areas = {position: areas_of(there, average) for position, there in spots.items()}
    trapped = worth_trapping(calls)
    paying = {number for one in whom_by_call(calls) for number in one["saves"]}.union(trapped, wanted)
    free = [
        position for position, player in enumerate(five, 1)
        if player.number not in paying and position != scorer
        and all(one["do"] == LET_SHOOT for one in areas[position].values())
    ]  # fmt: skip
    forced = min(free, key=lambda position: shots[position]) if free else None
    found = []
    for position, player in enumerate(five, 1):
        why = f"his best open shot is worth {shots[position]:.2f} points, theirs on average "
        why += f"{average['mean']:.2f}"
        advice = "deny"
        if player.number in trapped:
            call = trapped[player.number]
            advice = "trap"
            often = f"{call['per_100']:.1f} times in 100 possessions"
            why = f"{spoken(call['call'])} against him {_saves(call)}, {often}"
        elif position == scorer:
            why = f"their best scorer; {why}"
        elif position == forced:
            advice, why = "force", f"the least to fear with the ball; {why}"
        elif position in free:
            advice = "leave"
        found.append(
            {
                "number": player.number,
                "advice": advice,
                "why": why,
                "open_shots": spots[position],
                "areas": areas[position],
                "trap_area": trapped[player.number]["area"] if advice == "trap" else None,
            }
        )
    return found


def _saves(call: Found) -> str:
    value = call["value"]
    return f"saves {value['mean']:.2f} points a call ({value['low']:.2f} to {value['high']:.2f})"


def answers(
    scenario: Scenario,
    attack: RunSize,
    against: RunSize,
    traps: bool = True,
    progress: Progress | None = None,
) -> Answers:
    """Where they would attack the scenario's five at their places, and the advice on theirs.

    ``attack``, ``against``: possessions for the cost of each place, and for the calls against each handler,
    with seed and threads. ``traps`` False: no call is played, nobody is named to be trapped.
    ``progress``: called with hundredths of the work.
    """

    def part(start: int, share: int) -> Progress | None:
        if progress is None:
            return None
        show = progress
        return lambda done, total: show(start + share * done // max(total, 1), 100)

    setup = scenario_setup(scenario, scenario.zone, scenario.zone_options)
    bare = scenario.model_copy(update={"settings": ()})
    world = pack(bare).home
    five = scenario.offence_team.on_court
    spots = open_shots(setup, ShotWorth(world))
    scorer, how = best_scorer(five, {position: max(there.values()) for position, there in spots.items()})
    # As many possessions as compare plays, so that the average is compare's own.
    home = play(bare, against.possessions, against.seed, against.threads, progress=part(0, 10)).to_dict()
    average = average_shot(home["rates"])
    calls = calls_against(scenario, against, part(10, 50)) if traps else []
    wanted = {number for s in scenario.settings for call in s.calls for number in call.only_against}
    values = {player.number: pooled(calls, player.number) for player in five}
    breaker = breaks_traps(calls)
    by = "no trap is advised"
    if breaker is not None:
        by = "traps against him bring clearly less, by playing every call against one handler at a time"
    elif traps:
        by = "nobody stands out: traps bring about as much against each of them, or too few were played"
    return Answers(
        attack_at=_attack(scenario, setup, world, scorer, attack, part(60, 40)),
        advice=_advice(five, spots, average, scorer, calls, wanted),
        trap_breaker=breaker,
        more={
            "trap_breaker_by": by,
            "trap_values": [{"number": number, "value": value} for number, value in values.items()],
            "calls_by_handler": calls,
            "whom_by_call": whom_by_call(calls),
            "guard_men": bool(scenario.zone.guards),
            "best_scorer": {"number": five[scorer - 1].number, "by": how},
            "average_shot": average,
            "attack_possessions": attack.possessions,
            "call_possessions": against.possessions if calls else 0,
        },
    )
