"""The other side of a lineup: where they would attack it, and whom to force, trap, leave and deny.

Where they attack: their best scorer is parked at each place in turn, on the side of the ball and away from
it at the spot of the alignment that lies nearest to that place (one spot each, least total distance); a
team-mate takes his spots. In a defence with men of their own the place guards him instead. Cost: net points
conceded less those with him where he usually plays, on common luck.

Whom to trap: every call of the settings that share the base defence is played against one handler at a time,
wherever home's record says that it would be made, on the possessions that weigh the call itself. It is said
of each call by itself: a man to whom it never comes is not one to trap there. What follows
for each of them: ``advice``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.estimate.calls import estimate_setting
from engine.estimate.intervals import FloatArray, Found, normal_interval
from engine.estimate.tally import BoxTally, PairTally, Tally
from engine.inputs.calls import Call
from engine.inputs.defence import persons_of
from engine.inputs.roles import holder
from engine.inputs.scenario import Scenario
from engine.inputs.settings import Setting
from engine.inputs.team import Player
from engine.run.blocks import Progress, Runner, World, run_blocks
from engine.run.branches import branches_of, play_setting
from engine.run.size import RunSize
from engine.run.worlds import net_of
from engine.state.arrays import MOST_SHADOW_SETTINGS, N_SIDE
from engine.state.words import REGIONS
from engine.still.holes import scenario_setup
from engine.still.picture import Setup, picture_of
from engine.still.shot_worth import ShotWorth
from engine.study.lineup.advice import (
    LEAST_CALLS,
    advice_on,
    area_of,
    whom_by_call,
)
from engine.study.play import play_block_dict
from engine.world.pack import defenders_of, pack

#: Possessions for the cost of each place, and for the calls against each handler, unless asked otherwise.
ATTACK_POSSESSIONS, CALL_POSSESSIONS = 6000, 20_000
#: Regions of the ball in which the places of a defence and the spots of an alignment are compared.
AROUND = tuple(r for r in REGIONS if r not in ("backcourt", "half_court_corner", "lane", "rim"))
SIDES = ("left", "right")


@dataclass(frozen=True)
class Answers:
    """What ``answers`` found, as parts of the JSON of ``lineup``."""

    attack_at: list[Found]
    advice: list[Found]
    more: Found

    def to_dict(self) -> Found:
        """The keys of the JSON."""
        return {
            "attack_at": self.attack_at,
            "opponent": self.advice,
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


#: What is said of the best scorer by how he is known.
BY_SHEET, BY_SHOT = "most points from the field on their sheet", "the open shot that is worth most"
KNOWN_AS = {BY_SHEET: "their best scorer", BY_SHOT: "of their open shots his is worth most"}


def best_scorer(five: Sequence[Player], shots: dict[int, float]) -> tuple[int, str]:
    """Position of the best scorer and how that is known: made points if all five have counts, else shots."""
    made = []
    for player in five:
        if player.rim is None or player.middle is None or player.three is None:
            break
        made.append(2 * (player.rim[0] + player.middle[0]) + 3 * player.three[0])
    if len(made) == len(five):
        return int(np.argmax(made)) + 1, BY_SHEET
    return max(shots, key=lambda position: shots[position]), BY_SHOT


# --- where they attack ------------------------------------------------------------------------------------


def parking_roles(setup: Setup, world: World, places: tuple[str, ...]) -> NDArray[np.int64]:
    """Role of the alignment at each place, int [side, place]: side 0 the ball's side is left, 1 right.

    One role to each place, with the least total of mean distances (assignment problem).
    """
    from scipy.optimize import linear_sum_assignment  # slow to import, and only this needs it

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


@dataclass(frozen=True)
class _Against:
    """Sums of staying home, and of each call against one handler its pairs with home; ``+`` adds two."""

    home: BoxTally
    pairs: tuple[PairTally, ...]

    def __add__(self, other: _Against) -> _Against:
        pairs = tuple(mine + theirs for mine, theirs in zip(self.pairs, other.pairs, strict=True))
        return _Against(self.home + other.home, pairs)


def calls_against(
    scenario: Scenario, size: RunSize, progress: Progress | None = None, traps: bool = True
) -> tuple[Found, list[Found]]:
    """Staying home (the play block of the JSON), and beside it each call of the settings with the base
    defence against each handler alone: value, how often.

    The calls are made at every chance (probability 1). [] where the scenario has none, or not ``traps``.
    """
    known: dict[str, Call] = {}
    for call in (call for s in scenario.settings if not s.own_base for call in s.calls):
        known.setdefault(call.name, call)  # of one name the first: the usual one, on everybody
    five = [player.number for player in scenario.offence_team.on_court]
    calls = list(known.values())[: MOST_SHADOW_SETTINGS // len(five)] if traps else []
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
    plan = branches_of(pack(scenario.model_copy(update={"settings": tuple(settings)})))
    runner = Runner(size.seed)
    runner.warm(plan.home)

    def task(first: int, count: int) -> _Against:
        home, pairs = runner.block(plan.home, first, count, "home"), []
        for setting in plan.settings:
            branch = play_setting(runner, setting, first, home, [])
            if branch.differences:
                raise RuntimeError(f"{setting.name}: a possession without a call differs from staying home")
            pairs.append(PairTally.from_records(branch.base, branch.records, 1))
        return _Against(BoxTally.from_records(home), tuple(pairs))

    total = run_blocks(size, runner, task, progress)
    found = [estimate_setting(pairs, scenario.over_n).calls[0] for pairs in total.pairs]
    return play_block_dict(total.home), [
        {
            "call": name,
            "number": number,
            "area": area_of(known[name]),
            "called": one.called,
            "per_100": 100 * one.called / size.possessions,
            "value": one.value.as_dict(),
            "turnover_rate": one.break_even.turnover_rate.mean,
        }
        for (name, number), one in zip(who, found, strict=True)
    ]


# --- all together -----------------------------------------------------------------------------------------


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
    # As many possessions as compare plays, so that home and the average are compare's own.
    home, calls = calls_against(scenario, against, part(0, 60), traps)
    average = average_shot(home["rates"])
    comes = {(one["call"], one["number"]) for one in calls if one["called"] >= LEAST_CALLS}
    wanted: dict[int, list[Found]] = {}
    for setting in scenario.settings:
        for call in setting.calls:
            for number in call.only_against:
                if (call.name, number) in comes:
                    row = {"call": call.name, "setting": setting.name, "area": area_of(call)}
                    wanted.setdefault(number, []).append(row)
    return Answers(
        attack_at=_attack(scenario, setup, world, scorer, attack, part(60, 40)),
        advice=advice_on(five, spots, average, scorer, calls, wanted, KNOWN_AS[how]),
        more={
            "calls_by_handler": calls,
            "whom_by_call": whom_by_call(calls),
            "guard_men": bool(scenario.zone.guards),
            "best_scorer": {"number": five[scorer - 1].number, "by": how},
            "average_shot": average,
            "home": home["points_per_possession"],
            "attack_possessions": attack.possessions,
            "call_possessions": against.possessions,
        },
    )
