"""A planned call that is not advised takes no room from one that is: the advised are planned again alone."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from report_pages import SECONDS, SMALL
from sheet_files import write_evening

from engine.estimate.intervals import Interval
from engine.inputs import load_scenario
from engine.inputs.scenario import with_constants
from engine.inputs.sheets import load_evening
from engine.report.advice_view import advice_dict
from engine.report.screen.plan import plan_text
from engine.run.blocks import Runner
from engine.study import evening_report
from engine.study.evening_file import EveningFile, inputs_digest
from engine.study.evening_report import Asked, Played
from engine.study.evening_room import named, wants_room, with_room
from engine.study.plan.mix import Mix
from engine.study.plan.plan import Ground, _clear_mix, plan

FRIDAY = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
Row = dict[str, Any]


def row(call: str, uses: int, limit: int = 12) -> Row:
    return {"setting": "s", "call": call, "uses_per_game": uses, "limit": limit}


def plan_of(*rows: Row, room: int = 14) -> dict[str, Any]:
    rule = {"by_call": [{**one, "words": "w"} for one in rows]}
    lists = {"mix": [one for one in rows if one["uses_per_game"]], "calls": list(rows), "by_use": list(rows)}
    more = {"practice": [], "not_clear": [], "bench_rule": rule}
    return {**lists, **more, "constants": {"most_traps": float(room)}}


class Worth:
    """A table by hand: the n-th use of a call is worth this, with this lower end."""

    def __init__(self, *values: list[tuple[float, float]]) -> None:
        self.values = values

    def mixed_value(self, c: int, use: int, _: float) -> Interval:
        mean, low = self.values[c][use - 1]
        return Interval(mean, low, 2 * mean - low)


def test_planned_alone_a_call_keeps_as_many_uses_as_clearly_save_together() -> None:
    """Four uses save .2 each, the first two clearly, the later ones as may be: three clearly do together."""
    table: Any = Worth([(0.2, 0.1), (0.2, 0.1), (0.2, -0.15), (0.2, -0.15)], [(0.2, -0.1)] * 4)
    calls: Any = [SimpleNamespace(call=SimpleNamespace(ball=(place,))) for place in ("corner", "wing")]
    mix, dropped = _clear_mix(table, calls, (4, 0), 0.0, 14, cut=True)
    assert mix.uses == (3, 0) and dropped == ()
    assert _clear_mix(table, calls, (4, 0), 0.0, 14)[0].uses == (0, 0)
    mix, dropped = _clear_mix(table, calls, (4, 4), 0.0, 14, cut=True)
    assert mix.uses == (3, 0) and dropped == (1,)


CORNER, SHORT = ("s", "corner"), ("s", "short")


def test_room_is_wanted_where_a_game_is_full_of_calls_that_are_not_advised() -> None:
    full = plan_of(row("corner", 5, 5), row("short", 6), row("wing", 3))
    assert wants_room(full, {CORNER, SHORT})
    assert not wants_room(full, {CORNER})  # it has all that its chances allow
    assert not wants_room(full, {CORNER, SHORT, ("s", "wing")})  # nobody takes any
    assert not wants_room(full | {"constants": {"most_traps": 15.0}}, {CORNER, SHORT})  # there is room left
    assert not wants_room(full, set())
    assert not wants_room(full | {"adapted": {}}, {CORNER, SHORT})  # where they learn all is played


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


def shared_out(values: Any, _: Any, most: int) -> Mix:
    """Whatever they save: a use for each call that may be planned, again and again, until a game is full."""
    uses = [0] * len(values)
    for _turn in range(most):
        for c, one in enumerate(values):
            if uses[c] < len(one) and sum(uses) < most:
                uses[c] += 1
    return Mix(tuple(uses), 0.0, "in turn")


def test_the_plan_of_all_outputs_is_the_one_with_room(crowded: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Calls that share what a game has room for, one of them advised: alone it gets more; asked again,
    nothing is played, and where all of them are advised nothing is planned twice."""
    effort = dataclasses.replace(SECONDS, possessions=SMALL.possessions)
    asked = Asked(changes=(("most_traps", 4.0),))
    monkeypatch.setattr("engine.study.plan.plan.best_mix", shared_out)
    monkeypatch.setattr("engine.study.plan.plan._saves", lambda *_: True)

    def every(scenario: Any, plan: Any) -> tuple[Any, ...]:
        found = ((s, c) for s, one in enumerate(scenario.settings) for c in range(len(one.calls)))
        planned = {(one["setting"], one["call"]) for one in plan["mix"]}
        return tuple((s, c) for s, c in found if named(scenario, [(s, c)]) & planned)

    def played(first: int, last: int) -> Played:
        monkeypatch.setattr(evening_report, "planned_calls", every)
        monkeypatch.setattr(evening_report, "advised_calls", lambda planned, *_: planned[first:last])
        evening = load_evening(crowded)
        file = EveningFile(crowded, inputs_digest(evening), lambda line: pytest.fail(line))
        return Played(evening, 3, 2, effort, asked, file)

    found = played(0, 1)
    first, report = found.part("plan"), found.advice()
    assert sum(one["uses_per_game"] for one in first["mix"]) == 4 and len(first["mix"]) > 1
    (was,) = (one for one in first["mix"] if (one["setting"], one["call"]) in _names(report))
    mine, *others = report.plan["mix"]
    assert (mine["call"], mine["uses_per_game"]) == (was["call"], min(4, _limit(first, was)))
    assert mine["uses_per_game"] > was["uses_per_game"]
    assert others == [one for one in first["mix"] if one != was]
    assert len(report.plan["calls"]) == len(first["calls"])
    assert "those advised first" in " ".join(plan_text(report.plan | {"advice": advice_dict(report)}).split())
    assert played(0, 1).missing(*evening_report.ADVICE) == []
    all_of_them = played(0, 99)
    assert all_of_them.missing(*evening_report.ADVICE) == []
    assert all_of_them.part("room") == {} and all_of_them.advice().plan == first


def test_a_second_plan_on_the_same_ground_is_the_same_and_plays_only_what_differs(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    friday = with_constants(load_scenario(FRIDAY), {"trap_strip_rate_per_s": 2.0})  # so that traps pay
    ground, size = Ground(), {"games": 130, "seed": 11, "threads": 2, "table_parts": 3}
    small = plan(friday, **size, ground=ground)
    assert small.to_dict() == plan(friday, **size).to_dict()
    used = [one for one, n in zip(small.calls, small.mix.uses, strict=True) if n]
    only = {(used[0].setting, used[0].call.name)}
    alone, played = plan(friday, **size, only=only), []
    chosen = Runner.chosen

    def counted(self: Runner, world: Any, numbers: Any, *more: Any) -> Any:
        played.append(len(numbers))
        return chosen(self, world, numbers, *more)

    monkeypatch.setattr(Runner, "chosen", counted)
    again = plan(friday, **size, only=only, ground=ground)
    assert len(used) > 1 and 0 < sum(played) < 130 * small.game_plan.possessions / 2
    assert again.to_dict() == alone.to_dict() != small.to_dict()
    other = with_constants(friday, {"trap_strip_rate_per_s": 3.0})  # stands on nothing of that
    assert plan(other, **size, ground=ground).to_dict() == plan(other, **size).to_dict() != small.to_dict()


def _limit(plan: Any, row: Any) -> int:
    (found,) = (
        one for one in plan["calls"] if (one["setting"], one["call"]) == (row["setting"], row["call"])
    )
    return int(found["limit"])


def _names(report: Any) -> set[tuple[str, str]]:
    settings = report.scenario.settings
    return {(settings[s].name, settings[s].calls[c].name) for s, c in report.advised}
