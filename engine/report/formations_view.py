"""In how many of the likely formations the advice holds, in words for every output, from the JSON alone."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.words import count, percent, saved, scaled, sentence

#: What is said of a formation in which a call does not clearly save points.
NOT_SAVING = {"costs": "costs points", "open": "no clear difference", "few": "hardly comes up, not judged"}


def names(result: Found) -> list[str]:
    """The formations as they are said."""
    return [one["title"] for one in result["formations"]]


def call_words(result: Found, call: Found) -> str:
    """In how many formations a call saves, what it does in the others, its worth over all; "" where only one
    is likely."""
    verdicts = [one["verdict"] for one in call["by_formation"]]
    if len(verdicts) < 2:
        return ""
    if all(verdict == "few" for verdict in verdicts):
        return "hardly comes up in any formation: not judged"
    lines: dict[str, list[str]] = {}
    for name, verdict in zip(names(result), verdicts, strict=True):
        if verdict != "saves":
            lines.setdefault(verdict, []).append(name)
    others = "".join(f"; {NOT_SAVING[verdict]}: {', '.join(mine)}" for verdict, mine in lines.items())
    together = saved(call["value"], 2, "points a call")
    return f"saves in {of_all(verdicts.count('saves'), len(verdicts))}{others}; together {together}"


def of_all(k: int, n: int) -> str:
    """``2 of 3``, ``all 3``, ``both``, ``none of 3``: so many of n, two or more."""
    if not k:
        return f"none of {n}" if n > 2 else "neither"
    return ("both" if n == 2 else f"all {n}") if k == n else f"{k} of {n}"


def shares_words(result: Found) -> str:
    """Which formations are taken as how likely."""
    shares = [one["share"] for one in result["formations"]]
    if max(shares) - min(shares) < 1e-9:
        return f"{', '.join(names(result))}: each as likely"
    return ", ".join(f"{name} {percent(share)}" for name, share in zip(names(result), shares, strict=True))


def _first(result: Found, advised: Collection[tuple[str, str]]) -> list[tuple[Found, Found]]:
    """Every weighed call with its setting, those advised first."""
    rows = [(setting, call) for setting in result["settings"] for call in setting["calls"]]
    return sorted(rows, key=lambda row: (row[0]["name"], row[1]["call"]) not in advised)


def plan_lines(result: Found, advised: Collection[tuple[str, str]] = ()) -> list[str]:
    """What ``plan`` prints: the formations, then each weighed call, those advised first; [] where only one is
    likely."""
    if len(result["formations"]) < 2 or not result["settings"]:
        return []
    n = count(result["formations"][1]["possessions"], "possession")
    calls = [call for _, call in _first(result, advised)]
    return [
        f"Formations they may choose ({shares_words(result)}; all but the first in {n}):",
        *(f"{sentence(spoken(call['call']))}: {call_words(result, call)}." for call in calls),
    ]


def orders(
    each: Sequence[tuple[str, str]], saves: Sequence[Sequence[bool]], named: Sequence[str]
) -> list[str]:
    """What to do in each formation, the fullest wording first, where the advice is not the same in all.

    ``each``: name of an advised call and how often; ``saves``: of each call whether it clearly saves points
    in each formation of ``named``. Where a call does not, staying home is the order: nothing is shown for it.
    """
    last = f"call {', '.join(name for name, _ in each)} by how they line up, as listed"
    said = []
    for words in ([" ".join(one) for one in each], [name for name, _ in each]):
        often = ", ".join(words)
        if any(mine != saves[0] for mine in saves):
            calls = [
                f"{call} ({where})" if (where := _where(mine, named)) else call
                for call, mine in zip(words, saves, strict=True)
            ]
            said += [f"call {', '.join(calls)} a game", f"call {', '.join(calls)}"]
        elif 2 * sum(saves[0]) > len(named):
            said += [
                f"call {often} a game, {_where(saves[0], named)}",
                f"call {often}, {_where(saves[0], named)}",
            ]
        else:
            against = ", ".join(name for name, there in zip(named, saves[0], strict=True) if there)
            said += [
                f"against {against} call {often} a game, else stay home",
                f"against {against} call {often}; else stay home",
                f"against {against} {often}; else stay home",
            ]
    return [*said, last]


def _where(saves: Sequence[bool], named: Sequence[str]) -> str:
    """Where a call is made: ``not against two guards``, ``only against overload``; "" everywhere."""
    if all(saves):
        return ""
    if not any(saves):
        return "clear in no formation"
    few = 2 * sum(saves) <= len(named)
    shown = [name for name, there in zip(named, saves, strict=True) if there == few]
    return f"{'only' if few else 'not'} against {', '.join(shown)}"


def stay_home(calls: Sequence[str], saves: Sequence[Sequence[bool]], named: Sequence[str]) -> list[str]:
    """For the bench: against which formations none of the advised calls is made, or one of them is not."""
    if len(named) < 2 or all(map(all, saves)):
        return []
    if not any(map(any, saves)):
        return ["Clear in no formation."]
    out = [tuple(name for name, there in zip(named, mine, strict=True) if not there) for mine in saves]
    if len(set(out)) == 1:
        return [f"Home against: {', '.join(out[0])}."]
    return [
        f"No {call} against: {', '.join(where)}."
        if any(mine)
        else f"{sentence(call)}: clear in no formation."
        for call, mine, where in zip(calls, saves, out, strict=True)
        if where
    ]


def table_view(result: Found, advised: Collection[tuple[str, str]] = ()) -> Found | None:
    """A row for each weighed call, those advised first (setting and name), a column for each formation; None
    where only one is likely."""
    if len(result["formations"]) < 2 or not result["settings"]:
        return None
    rows = [
        {
            "call": spoken(call["call"]),
            "setting": setting["name"],
            "cells": [saved(one["value"], 2, "") for one in (*call["by_formation"], call)],
        }
        for setting, call in _first(result, advised)
    ]
    rows.append(
        {
            "call": "conceded at home, of 100",
            "setting": "",
            "cells": [
                *(f"{scaled(one['home'], 100)['mean']:.0f}" for one in result["formations"]),
                "",
            ],
        }
    )
    return {
        "names": ["Points a call", *names(result), "together"],
        "rows": rows,
        "shares": shares_words(result),
        "possessions": count(result["formations"][1]["possessions"], "possession"),
    }
