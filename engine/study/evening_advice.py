"""Which calls of an evening are weighed, and which are advised, from what the parts of the evening found."""

from __future__ import annotations

from collections.abc import Iterable

from engine.estimate.intervals import Found
from engine.inputs.scenario import Scenario

#: Calls that are weighed over worlds, and that a page advises, at most.
MOST_WEIGHED, MOST_ADVISED = 3, 2
#: Share of plausible worlds in which a call must pay to be advised: below it, it is near a toss of a coin.
LEAST_SHARE = 0.6

#: A call by the index of its setting and its index there.
Spot = tuple[int, int]


def planned_calls(scenario: Scenario, plan: Found) -> tuple[Spot, ...]:
    """The plan's calls that save most in a game, at most MOST_WEIGHED, each spot once; () stay home.

    A call whose whole games cost points on average is left out.
    """
    names = [setting.name for setting in scenario.settings]
    found: list[Spot] = []
    spots: list[str] = []
    rows = [row for row in plan["mix"] if row["saves_per_game"]["mean"] > 0.0]
    for row in sorted(rows, key=lambda row: -row["saves_per_game"]["mean"]):
        if row["spot"] in spots:
            continue
        setting = names.index(row["setting"])
        calls = [call.name for call in scenario.settings[setting].calls]
        spots.append(row["spot"])
        found.append((setting, calls.index(row["call"])))
    return tuple(found[:MOST_WEIGHED])


def advised_calls(
    planned: tuple[Spot, ...],
    weighed: tuple[int, ...],
    stress: Found | None,
    formations: Found,
) -> tuple[Spot, ...]:
    """Those that pay in LEAST_SHARE of the plausible worlds and save points on average over the likely
    formations, at most MOST_ADVISED.

    Where no world was kept, the plan and the formations decide. A call that comes up in too few worlds, or in
    no formation, is not advised.
    """

    def share(setting: int, call: int) -> float | None:
        if stress is None or not stress["worlds"]["kept"]:
            return 1.0
        found: float | None = stress["settings"][weighed.index(setting)]["calls"][call]["share"]["mean"]
        return found

    found = [
        one
        for one in planned
        if (share(*one) or 0.0) >= LEAST_SHARE and (of_call(formations, *one)["value"]["mean"] or 0.0) > 0.0
    ]
    return tuple(found[:MOST_ADVISED])


def of_call(formations: Found, setting: int, call: int) -> Found:
    """What the formations say of a weighed call, by the index of its setting and its index there."""
    mine = next(one for one in formations["settings"] if one["setting"] == setting)
    found: Found = mine["calls"][call]
    return found


def game_with(plan: Found, calls: Iterable[Found]) -> Found:
    """What the plan says of a game with these of its calls (rows with setting and call) and no other; none:
    staying home."""

    def names(rows: Iterable[Found]) -> set[tuple[str, str]]:
        return {(row["setting"], row["call"]) for row in rows}

    wanted = names(calls)
    return next(one for one in plan["of_calls"] if names(one["calls"]) == wanted)


def called_tonight(scenario: Scenario, advised: tuple[Spot, ...]) -> set[tuple[str, str]]:
    """The advised calls as ``told_on`` asks for them: one kept for some of them with its setting's name."""
    settings = [(scenario.settings[s], scenario.settings[s].calls[c]) for s, c in advised]
    return {(setting.name if call.only_against else "", call.name) for setting, call in settings}


def held_in(formations: Found, advised: tuple[Spot, ...]) -> list[int]:
    """Formations in which the advice holds, by index: every call advised clearly saves points there; where
    none is, no weighed call does."""
    every = [call for setting in formations["settings"] for call in setting["calls"]]
    mine = [of_call(formations, *one) for one in advised]
    found = []
    for i in range(len(formations["formations"])):
        saves = [one["by_formation"][i]["verdict"] == "saves" for one in mine or every]
        if all(saves) if mine else not any(saves):
            found.append(i)
    return found


def likely_settings(compare: Found) -> tuple[int, ...]:
    """Settings with calls that come nearest to saving points, at most MOST_ADVISED, where none is advised."""
    values = [
        (i, setting["change"]["mean"])
        for i, setting in enumerate(compare["settings"])
        if setting["called_possessions"]
    ]
    values.sort(key=lambda one: (one[1], one[0]))
    return tuple(i for i, _ in values[:MOST_ADVISED])
