"""Who plays which place of the base defence: assignments of the five on common luck, losers dropped.

Every assignment of the five on the floor to the five places that suits their size (``likely_orders``; all of
them where asked) plays the same possessions, staying home. What is compared is the mean of net points
conceded over batches of possessions; the selection is that of estimate.selection. Where every possession
ends in a known way, the drawn excess of the next possession is replaced by its mean: the same expectation
with less luck in it (Rao-Blackwell). Where they attack and whom to trap is asked of the five at their usual
places, as every other study plays them.
"""

from __future__ import annotations

import itertools
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from engine import tables as pd
from engine.estimate.intervals import LEVEL, FloatArray, Found, normal_quantile
from engine.estimate.selection import Selection, select
from engine.inputs.defence import persons_of
from engine.inputs.scenario import Scenario
from engine.inputs.team import ZONE_PLACES, ZonePlaces
from engine.run.blocks import Progress, Records, Runner, World
from engine.run.numbers import NUMBERS
from engine.run.size import RunSize, check_size
from engine.state.arrays import N_SIDE
from engine.state.record import COLUMN
from engine.state.words import ENDS
from engine.study.lineup import opponent as other_side
from engine.study.lineup.asked import CONFIDENCE, DELTA, check_asked
from engine.study.lineup.opponent import Answers, answers, attack_costs
from engine.study.play import Opening, defence_dict, head, open_scenario
from engine.world.pack import defenders_of, pack

#: Possessions of a batch, whose mean is one observation (shared page on estimates: about 500), at most.
BATCH = 500
#: A man also plays a neighbouring kind of place whose usual man is no taller or smaller than by this, metres
#: (common practice, no source).
SIZE_M = 0.08
#: Kinds of places that nobody is moved between, whatever his size.
APART = {"guard", "centre"}
#: Batches of every assignment before the first one can be dropped.
FIRST_BATCHES = 10
#: Possessions of everything together, unless asked otherwise: some ten seconds on two cores.
MOST = 200_000
#: Possessions of one place's cost, and of the calls against each handler, are at most this part of all.
ATTACK_PART, CALLS_PART = 50, 10
#: Fewer than this of either say nothing and are not asked for.
LEAST_ASKED = 100
#: First possession of those on which the one selected meets the usual one: none that it was selected by.
FRESH = NUMBERS["lineup fresh"].first

Order = tuple[int, ...]


def with_places(scenario: Scenario, numbers: tuple[int, ...]) -> Scenario:
    """The scenario with these shirts at the places of its base defence, in the order of ``persons_of``."""
    team, places = scenario.defence_team, persons_of(scenario.zone)
    if places == ZONE_PLACES:
        changed: Found = {"zone_places": ZonePlaces(**dict(zip(places, numbers, strict=True)))}
    else:
        lineup = list(team.lineup)
        for place, number in zip(places, numbers, strict=True):
            lineup[scenario.zone.persons[place] - 1] = number
        changed = {"lineup": tuple(lineup)}
    return scenario.model_copy(update={"defence_team": team.model_copy(update=changed)})


def home_numbers(scenario: Scenario) -> tuple[int, ...]:
    """The shirts at the places as the scenario has them."""
    return tuple(player.number for player in defenders_of(scenario, scenario.zone))


def likely_orders(scenario: Scenario, anywhere: bool = False) -> list[Order]:
    """Orders (see ``assigned_worlds``) in which everybody plays a place for his size and habit, usual first.

    A man's own kind of place (guard, forward, centre) on either side; another kind where he is as tall as who
    usually plays it, within SIZE_M, but never guard for centre. ``anywhere``: all 120.
    """
    orders = list(itertools.permutations(range(N_SIDE)))
    if anywhere:
        return orders
    five = defenders_of(scenario, scenario.zone)
    kinds = [place.rpartition("_")[2] for place in persons_of(scenario.zone)]

    def suits(man: int, place: int) -> bool:
        if kinds[man] == kinds[place]:
            return True
        near = abs(five[man].height_m - five[place].height_m) <= SIZE_M
        return near and {kinds[man], kinds[place]} != APART

    return [order for order in orders if all(suits(man, place) for place, man in enumerate(order))]


def assigned_worlds(scenario: Scenario, orders: list[Order]) -> list[World]:
    """A home world (WORLD [1]) for each order: place i is played by who now plays place order[i].

    A defender's numbers move with him. Own-man guards belong to the place, but pairs that the coach named
    follow the man, so a defence with guards is packed anew.
    """
    bare = scenario.model_copy(update={"settings": ()})
    numbers = home_numbers(scenario)
    home = pack(bare).home
    worlds = []
    for order in orders:
        if scenario.zone.guards:
            worlds.append(pack(with_places(bare, tuple(numbers[i] for i in order))).home)
            continue
        world = home.copy()
        for place, man in enumerate(order):
            world[0].players[N_SIDE + place] = home[0].players[N_SIDE + man]
        worlds.append(world)
    return worlds


def mean_excess(constants: dict[str, float]) -> FloatArray:
    """Mean excess of the next possession by way of ending, float [len(ENDS) + 1]; last a live turnover."""
    by_end = {
        "made_shot": "excess_made_points",
        "defensive_rebound": "excess_defensive_rebound_points",
        "turnover": "excess_dead_ball_points",
        "free_throws": "excess_made_points",
        "shot_clock": "excess_dead_ball_points",
    }
    return np.array([*(constants[by_end[end]] for end in ENDS), constants["excess_live_steal_points"]])


def expected_net(records: Records, excess: FloatArray) -> FloatArray:
    """Net points conceded of each possession with the next possession's excess at its mean, float [count]."""
    end = records[:, COLUMN["end"]].astype(np.int64)
    live = (end == ENDS.index("turnover")) & (records[:, COLUMN["steals"]] > 0)
    net: FloatArray = records[:, COLUMN["points"]] - excess[np.where(live, len(ENDS), end)]
    return net


@dataclass(frozen=True)
class LineupResult:
    """The selection among all assignments, and how the other side would answer; ``to_dict()`` is the JSON."""

    scenario: Scenario
    size: RunSize
    delta: float
    confidence: float
    numbers: tuple[int, ...]
    orders: tuple[Order, ...]
    selection: Selection
    usual_costs: Found
    opponent: Answers
    batch: int
    anywhere: bool

    @property
    def best(self) -> dict[str, int]:
        """Place -> shirt of the assignment selected."""
        return self._places(self.orders[self.selection.best])

    @property
    def keep(self) -> bool:
        """Whether the usual places are kept: nothing else was selected, or it is not clearly better on
        possessions that selected neither."""
        if not self.selection.decided or self.selection.best == self.orders.index(tuple(range(N_SIDE))):
            return True
        low = self.usual_costs["low"]
        return low is None or low <= 0.0

    def _places(self, order: Order) -> dict[str, int]:
        return {
            place: self.numbers[man] for place, man in zip(persons_of(self.scenario.zone), order, strict=True)
        }

    def _row(self, i: int) -> Found:
        found = self.selection
        half = normal_quantile(LEVEL) * float(found.error[i])
        points = -float(found.mean[i])
        dropped = found.dropped_at[i]
        return {
            "places": self._places(self.orders[i]),
            "points": {"mean": points, "low": points - half, "high": points + half},
            "possessions": int(found.observed[i]) * self.batch,
            "dropped_at": None if dropped is None else dropped * self.batch,
        }

    def to_dict(self) -> Found:
        """The JSON of ``lineup``; equal for equal inputs whatever the number of threads."""
        found = self.selection
        ranked = sorted(
            range(len(self.orders)), key=lambda i: (i != found.best, i not in found.left, -found.mean[i])
        )
        rows = [self._row(i) for i in ranked]
        usual = self.orders.index(tuple(range(N_SIDE)))
        return {
            **head("lineup", self.scenario, self.size),
            "offence": self.scenario.offence_team.name,
            "defence": self.scenario.defence_team.name,
            "base_defence": defence_dict(self.scenario),
            "measure": "net points conceded per possession, staying home, the next possession counted",
            "best": self.best,
            "usual": self._row(usual),
            "usual_is_left": usual in found.left,
            "usual_costs": self.usual_costs,
            "keep": self.keep,
            "table": rows,
            "decided": found.decided,
            "left": len(found.left),
            "anywhere": self.anywhere,
            "guarantee": self.guarantee(),
            "p_correct": self.confidence if found.decided else None,
            "delta": self.delta,
            "confidence": self.confidence,
            "within": found.within,
            "possessions_played": found.used * self.batch,
            "method": {
                "procedure": "Kim & Nelson (2001), fully sequential, indifference zone, common luck",
                "batch": self.batch,
                "first_batches": FIRST_BATCHES,
                "taller_or_smaller_by_m": None if self.anywhere else SIZE_M,
                "most_possessions": self.size.possessions,
            },
            **self.opponent.to_dict(),
        }

    def guarantee(self) -> str:
        """What is promised, in words."""
        percent = f"{100 * self.confidence:g} %"
        n = len(self.orders)
        if self.selection.decided:
            return (
                f"with {percent} at least, the one with fewest points is the best of the {n} ways to place "
                f"these five, or gives away no more than {self.delta:g} points a possession to the best"
            )
        return (
            f"not decided after {self.selection.used * self.batch:,} possessions: "
            f"{len(self.selection.left)} of {n} ways are left; the one ahead gives away at most "
            f"{self.selection.within:.3f} points a possession to the best of them (about {percent})"
        )

    def table(self) -> pd.DataFrame:
        """One row per assignment, the selected one first: a column per place, points, dropped_at."""
        rows = self.to_dict()["table"]
        return pd.DataFrame(
            [
                row["places"]
                | {f"points_{key}": value for key, value in row["points"].items()}
                | {"possessions": row["possessions"], "dropped_at": row["dropped_at"]}
                for row in rows
            ]
        ).astype({"dropped_at": "Int64"})


def lineup(
    scenario: Opening,
    delta: float = DELTA,
    confidence: float = CONFIDENCE,
    most: int = MOST,
    seed: int | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
    traps: bool = True,
    anywhere: bool = False,
) -> LineupResult:
    """Choose who plays which place of the base defence, and say where and how the other side would answer.

    Parameters
    ----------
    scenario : path of a scenario file, or what ``engine.load`` returned
    delta : points per possession that do not matter
    confidence : promised chance to name the best, or one within ``delta`` of it
    most : possessions of everything together, about; LEAST_ASKED for each question of the other side and
        FIRST_BATCHES of every assignment are played in any case
    seed : None takes the scenario's own
    threads : None uses every available core; the result does not depend on it
    progress : called as ``progress(done, total)`` with possessions
    traps : False leaves out whom to trap (no call is played)
    anywhere : True tries everybody at every place, whatever his size

    Raises
    ------
    InputError
        bad input, or a size, delta or confidence outside its range.
    """
    scenario = open_scenario(scenario)
    check_asked(delta, confidence)
    size = check_size(most, scenario.seed if seed is None else seed, threads)
    orders = likely_orders(scenario, anywhere)
    attack = replace(
        size, possessions=max(LEAST_ASKED, min(other_side.ATTACK_POSSESSIONS, most // ATTACK_PART))
    )
    per_call = max(LEAST_ASKED, min(other_side.CALL_POSSESSIONS, most // CALLS_PART))
    against = replace(size, possessions=per_call)
    # Home, each place and the check on fresh luck; home twice and, at most about thrice as many, the calls.
    asked = (N_SIDE + 3) * attack.possessions + (5 if traps else 1) * per_call
    room = max(most - asked, 0)
    batch = max(1, min(BATCH, room // (2 * FIRST_BATCHES * len(orders))))
    worlds = assigned_worlds(scenario, orders)
    excess = mean_excess(scenario.constants)
    runner = Runner(size.seed)
    runner.warm(worlds[0])
    done = 0

    def told(more: int) -> None:
        if progress is not None:
            progress(min(done + more, asked + room), asked + room)

    opponent = answers(scenario, attack, against, traps, lambda part, _: told(asked * part // 100))
    done = asked
    played = 0

    def batches(i: int, start: int) -> float:
        records = runner.block(worlds[i], start * batch, batch, "lineup")
        return -float(expected_net(records, excess).mean())

    pool = ThreadPoolExecutor(max_workers=size.threads, thread_name_prefix="lineup")
    try:

        def draw(systems: NDArray[np.int64], start: int, count: int) -> FloatArray:
            nonlocal played
            tasks = [(int(i), n) for i in systems for n in range(start, start + count)]
            found = []
            for value in pool.map(lambda task: batches(*task), tasks):
                found.append(value)
                played += batch
                told(played)
            return np.array(found).reshape(len(systems), count)

        chosen = select(draw, len(orders), delta, confidence, FIRST_BATCHES, room // batch)
    except BaseException:
        runner.stop.set()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)

    usual = worlds[orders.index(tuple(range(N_SIDE)))]
    costs = attack_costs(worlds[chosen.best], [usual], attack, FRESH)[0]
    told(room)
    return LineupResult(
        scenario,
        size,
        delta,
        confidence,
        home_numbers(scenario),
        tuple(orders),
        chosen,
        costs,
        opponent,
        batch,
        anywhere,
    )
