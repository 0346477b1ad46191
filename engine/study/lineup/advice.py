"""What to do about each of theirs, from what was played: guard, let shoot, trap, force or leave.

Of his open shot in each area where the alignment puts him: guard him there, or let him shoot where it is
worth clearly less than their average shot. Whom to leave: a man to let shoot everywhere, whom nobody wants to
trap. Which traps pay on him with the ball, and what to do about his shot, ``told_on`` says to every output.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType

from engine.estimate.intervals import Found, Interval
from engine.inputs.base import spoken
from engine.inputs.calls import Call
from engine.inputs.team import Player
from engine.study.levels import standard_error

#: A call against one handler that was made less often says nothing.
LEAST_CALLS = 100
#: Standard errors a call must be ahead by: about 95 % over 20 comparisons (normal, Bonferroni).
CLEAR = 3.0
#: Where a man stands, in a coach's words; other regions are left out.
AREAS = {
    "corner": "corner", "wing": "wing", "slot": "wing", "top": "top", "high_post": "middle",
    "elbow": "middle", "short_corner": "inside", "low_post": "inside", "lane": "inside", "rim": "inside",
}  # fmt: skip
#: What to do about his shot in an area; TRAP where he would be let shoot, but a trap pays.
GUARD, LET_SHOOT, LEAVE, TRAP = "guard", "let him shoot", "leave", "trap"


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


def area_of(call: Call) -> str:
    """The area in which a call is made, by the first of its regions."""
    return AREAS.get(call.ball[0], call.spot)


def _told(calls: list[Found], number: int) -> list[Found]:
    return [one for one in calls if one["number"] == number and one["called"] >= LEAST_CALLS]


def _error(one: Found) -> float:
    return standard_error(Interval(**one["value"]))


def _clearly_saves(one: Found) -> bool:
    return bool(one["value"]["mean"] - CLEAR * _error(one) > 0.0)


def _gain(one: Found) -> float:
    """Points that a call saves per 100 possessions: a call that hardly comes up brings little."""
    return float(one["value"]["mean"] * one["per_100"])


def whom_by_call(calls: list[Found]) -> list[Found]:
    """Of each call: ``saves`` against whom it clearly saves points, who brings most (``_gain``) first, and
    ``seldom`` to whom it comes too seldom to say anything."""
    found = []
    for name in dict.fromkeys(one["call"] for one in calls):
        mine = [one for one in calls if one["call"] == name]
        clear = [one for one in mine if one["called"] >= LEAST_CALLS and _clearly_saves(one)]
        clear.sort(key=_gain, reverse=True)
        found.append(
            {
                "call": name,
                "saves": [one["number"] for one in clear],
                "seldom": [one["number"] for one in mine if one["called"] < LEAST_CALLS],
            }
        )
    return found


def worth_trapping(calls: list[Found]) -> dict[int, Found]:
    """Shirt -> of the calls that clearly save points against him the one that brings most; most first."""
    best: dict[int, Found] = {}
    for number in dict.fromkeys(one["number"] for one in calls):
        clear = [one for one in _told(calls, number) if _clearly_saves(one)]
        if clear:
            best[number] = max(clear, key=_gain)
    return dict(sorted(best.items(), key=lambda item: _gain(item[1]), reverse=True))


def advice_on(
    five: Sequence[Player],
    spots: dict[int, dict[str, float]],
    average: Found,
    scorer: int,
    calls: list[Found],
    wanted: Mapping[int, Sequence[Found]] = MappingProxyType({}),
    known_as: str = "their best scorer",
) -> list[Found]:
    """One piece of advice for each of them, in the order of their positions: trap, deny (guard him: somewhere
    his shot is worth their average), leave, force (let him have the ball: of those to leave, the least to
    fear) or let him shoot.

    ``spots``: see ``open_shots``; ``average``: see ``average_shot``; ``wanted``: shirt -> calls that are kept
    for him and come up, as rows of ``traps``. ``known_as``: what is said of their ``scorer``. He, and who is
    wanted or clearly pays in any call, is never left.
    """
    shots = {position: max(there.values()) for position, there in spots.items()}
    areas = {position: areas_of(there, average) for position, there in spots.items()}
    trapped = worth_trapping(calls)
    area = {one["call"]: one["area"] for one in calls}
    pays: dict[int, list[Found]] = {}
    for one in whom_by_call(calls):
        for number in one["saves"]:
            row = {"call": one["call"], "setting": "", "area": area[one["call"]]}
            pays.setdefault(number, []).append(row)
    paying = {*pays, *wanted}
    harmless = [p for p, there in areas.items() if all(one["do"] == LET_SHOOT for one in there.values())]
    free = [p for p in harmless if p != scorer and five[p - 1].number not in paying]
    forced = min(free, key=lambda position: shots[position]) if free else None
    found = []
    for position, player in enumerate(five, 1):
        why = f"his best open shot is worth {shots[position]:.2f} points, theirs on average "
        why += f"{average['mean']:.2f}"
        advice = LET_SHOOT if position in harmless else "deny"
        if player.number in trapped:
            call = trapped[player.number]
            advice = "trap"
            often = f"{call['per_100']:.1f} times in 100 possessions"
            scores = f"{known_as}; " if position == scorer else ""
            why = f"{scores}{spoken(call['call'])} on him alone, at every chance: {_saves(call)}, {often}"
        elif position == scorer:
            why = f"{known_as}; {why}"
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
                "traps": [*pays.get(player.number, ()), *wanted.get(player.number, ())],
            }
        )
    return found


def told_on(one: Found, tonight: Collection[tuple[str, str]] | None = None) -> Found:
    """What every output says of one of theirs (a row of ``advice_on``), from one rule.

    ``traps``: calls that clearly save points on him, or (``kept``) that are kept for him and advised, each
    once. ``tonight``: of those the advised ones (None: not known); asked for as (setting of a kept call, ""
    else; call).
    ``areas``: area -> GUARD, LET_SHOOT, LEAVE, or TRAP where he would be let shoot, but a call pays on him
    (tonight, where that is known).
    """
    rows = [r for r in one["traps"] if not r["setting"] or (r["setting"], r["call"]) in (tonight or ())]
    traps: dict[str, bool] = {}  # a call that pays is not told again as kept
    for row in sorted(rows, key=lambda row: bool(row["setting"])):
        traps.setdefault(row["call"], bool(row["setting"]))
    played = [row for row in rows if tonight is None or (row["setting"], row["call"]) in tonight]
    trapped = {row["area"] for row in played if not row["setting"]}
    let = LEAVE if one["advice"] == LEAVE else LET_SHOOT
    return {
        "traps": [{"call": call, "kept": kept} for call, kept in traps.items()],
        "tonight": None if tonight is None else list(dict.fromkeys(row["call"] for row in played)),
        "areas": {
            area: GUARD if found["do"] == GUARD else TRAP if area in trapped else let
            for area, found in one["areas"].items()
        },
    }


def _saves(call: Found) -> str:
    value = call["value"]
    return f"saves {value['mean']:.2f} points a call ({value['low']:.2f} to {value['high']:.2f})"
