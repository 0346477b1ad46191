"""Room for what is advised: a planned call that is not advised takes no trap of a game from one that is.

Which calls are advised is known only after the plan, which shares the traps that a game has room for among
all calls that save. Where that left an advised call fewer uses than its chances and its budget allow, the
advised calls are planned again alone; the others stand behind them as they were planned first.
"""

from __future__ import annotations

from collections.abc import Collection

from engine.estimate.intervals import Found
from engine.inputs.scenario import Scenario
from engine.study.evening_advice import Spot

#: A call by the names of its setting and its own.
Named = tuple[str, str]


def named(scenario: Scenario, spots: Collection[Spot]) -> set[Named]:
    """Calls by their names."""
    return {(scenario.settings[s].name, scenario.settings[s].calls[c].name) for s, c in spots}


def _of(row: Found) -> Named:
    return row["setting"], row["call"]


def wants_room(plan: Found, advised: Collection[Named]) -> bool:
    """Whether a game is full, partly of calls that are not advised, and an advised one could have more; not
    where they learn the calls: that is played with all of them."""
    if plan.get("adapted") is not None:
        return False
    full = sum(row["uses_per_game"] for row in plan["mix"]) >= int(plan["constants"]["most_traps"])
    others = any(_of(row) not in advised for row in plan["mix"])
    more = any(row["uses_per_game"] < row["limit"] for row in plan["calls"] if _of(row) in advised)
    return full and others and more


def with_room(first: Found, alone: Found, advised: Collection[Named]) -> Found:
    """``alone``, the plan of the advised calls by themselves, and behind them in each list the other calls as
    the plan of all (``first``) has them; that plan where one of the advised is not planned alone."""
    if {_of(row) for row in alone["mix"]} != set(advised):
        return first

    def both(mine: list[Found], theirs: list[Found]) -> list[Found]:
        return [row for row in mine if _of(row) in advised] + [
            row for row in theirs if _of(row) not in advised
        ]

    lists = {key: both(alone[key], first[key]) for key in ("mix", "calls", "by_use", "practice")}
    by_call = both(alone["bench_rule"]["by_call"], first["bench_rule"]["by_call"])
    rule = alone["bench_rule"] | {"by_call": by_call}
    return alone | lists | {"bench_rule": rule, "not_clear": first["not_clear"], "room": True}
