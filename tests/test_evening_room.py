"""A planned call that is not advised takes no room from one that is: the advised are planned again alone."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest
from report_pages import SECONDS, SMALL
from sheet_files import write_evening

from engine.inputs.sheets import load_evening
from engine.study import evening_report
from engine.study.evening_file import EveningFile, inputs_digest
from engine.study.evening_report import Asked, Played
from engine.study.evening_room import wants_room, with_room

Row = dict[str, Any]


def row(call: str, uses: int, limit: int = 12) -> Row:
    return {"setting": "s", "call": call, "uses_per_game": uses, "limit": limit}


def plan_of(*rows: Row, room: int = 14) -> dict[str, Any]:
    rule = {"by_call": [{**one, "words": "w"} for one in rows]}
    lists = {"mix": [one for one in rows if one["uses_per_game"]], "calls": list(rows), "by_use": list(rows)}
    more = {"practice": [], "not_clear": [], "bench_rule": rule}
    return {**lists, **more, "constants": {"most_traps": float(room)}}


CORNER, SHORT = ("s", "corner"), ("s", "short")


def test_room_is_wanted_where_a_game_is_full_of_calls_that_are_not_advised() -> None:
    full = plan_of(row("corner", 5, 5), row("short", 6), row("wing", 3))
    assert wants_room(full, {CORNER, SHORT})
    assert not wants_room(full, {CORNER})  # it has all that its chances allow
    assert not wants_room(full, {CORNER, SHORT, ("s", "wing")})  # nobody takes any
    assert not wants_room(full | {"constants": {"most_traps": 15.0}}, {CORNER, SHORT})  # there is room left
    assert not wants_room(full, set())


def test_the_advised_stand_first_with_their_room_and_the_others_as_planned_beside_them() -> None:
    first = plan_of(row("wing", 3), row("short", 6), row("top", 0))
    alone = plan_of(row("wing", 0, 0), row("short", 9), row("top", 0, 0))
    found = with_room(first, alone, {SHORT})
    assert found["room"] and found["mix"] == [row("short", 9), row("wing", 3)]
    assert found["calls"] == [row("short", 9), row("wing", 3), row("top", 0)]
    assert [one["call"] for one in found["bench_rule"]["by_call"]] == ["short", "wing", "top"]
    gone = plan_of(row("wing", 0, 0), row("short", 0), row("top", 0, 0))
    assert with_room(first, gone, {SHORT}) is first  # more of it is not clear: as it was


@pytest.fixture
def crowded(tmp_path: Path) -> Path:
    return write_evening(tmp_path / "sheets")


def test_the_plan_of_all_outputs_is_the_one_with_room(crowded: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Room for three traps, calls that share them, the least of them advised: alone it gets more; asked
    again, nothing is played, and where all of it is advised nothing is played twice."""
    effort = dataclasses.replace(SECONDS, possessions=SMALL.possessions, table_parts=3)
    asked = Asked(changes=(("most_traps", 3.0),))
    least: list[int] = [-1]

    def advised(planned: tuple[Any, ...], *_: Any) -> tuple[Any, ...]:
        return planned[least[0] :]

    monkeypatch.setattr(evening_report, "advised_calls", advised)

    def played() -> Played:
        evening = load_evening(crowded)
        file = EveningFile(crowded, inputs_digest(evening), lambda line: pytest.fail(line))
        return Played(evening, 3, 2, effort, asked, file)

    found = played()
    first = found.part("plan")
    if len(first["mix"]) < 2:
        pytest.fail("the plan has no two calls that share a game: choose other possessions or another seed")
    report = found.advice()
    (mine,) = [one for one in report.plan["mix"] if (one["setting"], one["call"]) in _names(report)]
    (was,) = [one for one in first["mix"] if (one["setting"], one["call"]) in _names(report)]
    assert report.plan["mix"][0] == mine and mine["uses_per_game"] > was["uses_per_game"]
    assert sum(one["uses_per_game"] for one in first["mix"]) == 3
    others = [one for one in first["mix"] if one != was]
    assert report.plan["mix"][1:] == others and len(report.plan["calls"]) == len(first["calls"])
    assert played().missing(*evening_report.ADVICE) == []
    least[0] = 0  # all that is weighed is advised
    every = played()
    if {(one["setting"], one["call"]) for one in first["mix"]} == _names(every.advice()):
        assert every.part("room") == {} and every.advice().plan == every.part("plan")


def _names(report: Any) -> set[tuple[str, str]]:
    settings = report.scenario.settings
    return {(settings[s].name, settings[s].calls[c].name) for s, c in report.advised}
