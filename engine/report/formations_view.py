"""In how many of the likely formations the advice holds, in words for every output, from the JSON alone."""

from __future__ import annotations

from collections.abc import Sequence

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.words import count, percent, saved, scaled, sentence

#: What is said of a formation in which a call does not clearly save points.
NOT_SAVING = {"costs": "costs points", "open": "no clear difference", "few": "hardly comes up, not judged"}


def names(result: Found) -> list[str]:
    """The formations as they are said."""
    return [spoken(one["name"]) for one in result["formations"]]


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


def plan_lines(result: Found) -> list[str]:
    """What ``plan`` prints: the formations, then each weighed call; [] where only one is likely."""
    if len(result["formations"]) < 2 or not result["settings"]:
        return []
    n = count(result["formations"][1]["possessions"], "possession")
    calls = [call for setting in result["settings"] for call in setting["calls"]]
    return [
        f"Formations they may choose ({shares_words(result)}; all but the first in {n}):",
        *(f"{sentence(spoken(call['call']))}: {call_words(result, call)}." for call in calls),
    ]


def prefix(held: Sequence[int], result: Found) -> str:
    """In how many formations the advice holds, before it; "" where only one is likely, or it does in none."""
    n, k = len(result["formations"]), len(held)
    if n < 2 or not k:
        return ""
    return f"In {of_all(k, n)} formations: "


def table_view(result: Found) -> Found | None:
    """A row for each weighed call, a column for each formation; None where only one is likely."""
    if len(result["formations"]) < 2 or not result["settings"]:
        return None
    rows = [
        {
            "call": spoken(call["call"]),
            "setting": setting["name"],
            "cells": [saved(one["value"], 2, "") for one in (*call["by_formation"], call)],
        }
        for setting in result["settings"]
        for call in setting["calls"]
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
