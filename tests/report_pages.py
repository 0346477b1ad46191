"""Helpers of the report's tests: pages of a PDF, words of a page, a report that advises chosen calls."""

from __future__ import annotations

import dataclasses
import re
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from engine.report.advice_view import traps_words
from engine.study.court_shots import court_shots
from engine.study.evening_advice import game_with
from engine.study.evening_result import EveningReport, ReportSize

#: A team whose name would do harm if it were not escaped.
BAD_NAME = "<script>harm=1</script><img src=x onerror=harm=2>"
SMALL = ReportSize(
    possessions=3000,
    worlds=16,
    world_possessions=200,
    games=10,
    table_parts=10,
    lineup_possessions=12_000,
    formation_possessions=300,
    attack_possessions=600,
    traced=12,
)
#: An evening in seconds, for files, keys and words.
SECONDS = ReportSize(
    possessions=300,
    worlds=16,
    world_possessions=20,
    games=10,
    table_parts=1,
    lineup_possessions=3000,
    formation_possessions=200,
    attack_possessions=200,
    traced=4,
)
#: One that is long enough for calls to be planned and stopped.
PLANNED = dataclasses.replace(
    SECONDS,
    possessions=20_000,
    formation_possessions=3000,
    games=20,
    table_parts=10,
    world_possessions=800,
    lineup_possessions=200_000,
)
PHONE, LAPTOP = 360, 1280
A4 = {"paperWidth": 8.27, "paperHeight": 11.69}
LETTER = {"paperWidth": 8.5, "paperHeight": 11.0}


def pages_of(pdf: bytes, folder: Path) -> int:
    """Pages of a PDF. Fails the test, in one line, where pdfinfo is missing."""
    if shutil.which("pdfinfo") is None:
        pytest.fail("pdfinfo is missing: install the Debian package poppler-utils", pytrace=False)
    path = folder / "printed.pdf"
    path.write_bytes(pdf)
    said = subprocess.run(["pdfinfo", str(path)], capture_output=True, text=True, check=True).stdout
    found = re.search(r"^Pages:\s+(\d+)$", said, re.MULTILINE)
    assert found is not None, said
    return int(found[1])


def words_of(text: str) -> list[str]:
    """Words and numbers; signs alone are none."""
    return [part for part in text.split() if re.search(r"\w", part)]


def over_formations(
    report: EveningReport, calls: Sequence[tuple[int, int]], verdicts: Sequence[str] = ("saves",) * 3
) -> dict[str, Any]:
    """As if the calls of these settings had been found to do this in each likely formation."""
    ends = {"saves": (0.1, 0.2), "costs": (-0.2, -0.1), "open": (-0.1, 0.1), "few": (None, None)}
    names = ("high_post_short_corner", "two_guard_baseline", "overload")[: len(verdicts)]
    home = {"mean": 0.9, "low": 0.8, "high": 1.0}
    heads = [
        {"name": name, "title": short, "share": 1 / len(verdicts), "possessions": 500, "home": home}
        for name, short in zip(names, ("one guard", "two guards", "overload"), strict=False)
    ]
    by = []
    for verdict in verdicts:
        low, high = ends[verdict]
        mean = None if low is None or high is None else (low + high) / 2
        by.append({"called": 99, "verdict": verdict, "value": {"mean": mean, "low": low, "high": high}})
    known: list[Any] = [one["value"] for one in by if one["verdict"] != "few"]
    over = {end: sum(one[end] for one in known) / len(known) for end in ("mean", "low", "high")}
    settings = [
        {"setting": s, "name": one.name,
         "calls": [{"call": call.name, "value": over, "by_formation": by} for call in one.calls]}
        for s, one in enumerate(report.scenario.settings)
        if s in [setting for setting, _ in calls]
    ]  # fmt: skip
    return {"formations": heads, "settings": settings}


def with_advice(found: dict[str, Any]) -> dict[str, Any]:
    """A plan of which every planned call is advised."""
    answer = (
        f"Call {', '.join(row['call'].replace('_', ' ') for row in found['mix'])}."
        if found["mix"]
        else "Stay home."
    )
    often = [row["often"] for row in found["mix"]]
    advice = {"answer": answer, "calls": found["mix"], "often": often, "not_advised": [], "not_judged": []}
    traps = traps_words(found, found["mix"]) if found["mix"] else ""
    return found | {"advice": advice | {"traps": traps, "game": game_with(found, found["mix"])}}


def never_doubling(plan: Any, numbers: Sequence[int]) -> Any:
    """The plan as if these men must not double, whatever is advised."""
    return plan | {"of_calls": [one | {"never_double": list(numbers)} for one in plan["of_calls"]]}


#: Shots behind a call, by scenario and call: played once, however often it is advised.
_SHOTS: dict[tuple[int, int | None, int], Any] = {}


def advising(report: EveningReport, calls: Sequence[tuple[int, int]]) -> EveningReport:
    """The report as if the plan had chosen these calls."""
    mix, rules = [], []
    for s, c in calls:
        setting = report.scenario.settings[s]
        names = {"setting": setting.name, "call": setting.calls[c].name, "spot": setting.calls[c].spot}
        saves = {"mean": 0.9, "low": 0.4, "high": 1.4}
        mix.append(
            {**names, "uses_per_game": 10, "made_per_game": 8.0, "saves_per_game": saves, "clear_uses": 3,
             "often": "up to 10 of about 12 chances a game",
             "stop_after_words": "stop after 12 calls without a turnover"}
        )  # fmt: skip
        rules.append(
            {
                **names,
                "words": "stop after 12 calls without a turnover",
                "rule": None,
                "crosses": None,
                "expected": 8,
            }
        )
    bench = report.plan["bench_rule"] | {"by_call": rules}
    home = next(one for one in report.plan["of_calls"] if not one["calls"])
    swing = {"mean": 0.9, "low": 0.1, "high": 1.7, "sd": 5.0, "p5": -7, "p95": 9}
    games = [home, *([home | {"calls": mix, "swing": swing}] if mix else [])]
    plan = report.plan | {"mix": mix, "bench_rule": bench, "of_calls": games}
    formations = over_formations(report, calls)
    first: tuple[int | None, int] = (*calls, (None, 0))[0]
    scenario, shots = _SHOTS.get((id(report.scenario), *first), (None, None))
    if scenario is not report.scenario:
        shots = court_shots(report.scenario, *first, 1, SMALL.traced).to_dict()
        _SHOTS[id(report.scenario), *first] = report.scenario, shots
    return dataclasses.replace(
        report, plan=plan, advised=tuple(calls), planned=tuple(calls), formations=formations, shots=shots
    )
