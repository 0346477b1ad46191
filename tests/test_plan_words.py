"""What plan and report say of a plan, by one rule: late cases, uses that are not clear, ranges near 0."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from engine.report.advice_view import often_words, traps_words
from engine.report.page import plan as page_plan
from engine.report.screen import plan as screen_plan


def late(home: float, trap: float, clear: bool = True) -> dict[str, Any]:
    difference = {"mean": trap - home, "low": 0.0, "high": 0.0}
    return {"call": "wing", "p_win_home": home, "p_win_trap": trap, "difference": difference, "clear": clear}


def test_a_late_case_that_prints_alike_is_not_counted() -> None:
    """Screen and page count the cases whose two chances differ as a coach reads them."""
    rows = [late(0.10, 0.12), late(0.0071, 0.0073), late(0.2001, 0.2003), late(0.10, 0.12, clear=False)]
    assert "in 1 of 4 cases" in screen_plan._verdict(rows) and "in 1 of 4 cases" in page_plan._late_words(
        rows
    )
    alike = rows[1:3]
    assert "cannot be told" in screen_plan._verdict(alike) and "cannot be told" in page_plan._late_words(
        alike
    )


def planned(lows: list[float]) -> dict[str, Any]:
    row = {"setting": "s", "call": "wing", "uses_per_game": 4, "often": "up to 4 of about 9 chances a game"}
    row |= {"saves_per_game": {"mean": 0.3}, "clear_uses": sum(low > 0.0 for low in lows[:4])}
    by_use = [
        {"setting": "s", "call": "wing", "use": use, "in_mix": use <= 4}
        | {"before": {"mean": 0.1, "low": low, "high": 0.2}}
        for use, low in enumerate(lows, 1)
    ]
    return {"mix": [row], "by_use": by_use, "alike_from": 3}


def test_uses_that_are_not_clear_by_themselves_are_counted_and_alike_ones_share_a_line() -> None:
    plan = planned([0.05, -0.01, 0.003, 0.003, 0.003])
    said = often_words(plan["mix"][0])
    assert said.endswith("; 3 of the 4 uses clearly save alone, the rest with them")
    none = planned([-0.01] * 4)
    assert often_words(none["mix"][0]).endswith("; clear only all together")
    assert traps_words(plan, plan["mix"]) == "wing 4: up to 4 traps"
    rows = page_plan._use_rows(plan)
    assert [row["use"] for row in rows] == ["1", "2", "3 to 4"]
    assert rows[2]["cells"] == ["0.10 (0.003 to 0.20)"], "a range clear of 0 does not reach it as printed"
    clear = planned([0.05] * 5)
    assert often_words(clear["mix"][0]) == clear["mix"][0]["often"]
    learns = plan | {"alike_from": None}
    assert [row["use"] for row in page_plan._use_rows(learns)] == ["1", "2", "3", "4"]


def test_a_line_of_uses_ends_where_a_call_is_planned_no_more() -> None:
    """A twice, B four times, alike from the second use on: no figure of A at uses that are not planned."""
    plan = planned([0.05] * 4)
    other = {"setting": "t", "call": "top", "uses_per_game": 2, "saves_per_game": {"mean": 0.1}}
    plan["mix"].append(other)
    plan["by_use"] += [
        one | {"setting": "t", "call": "top", "in_mix": one["use"] <= 2} for one in plan["by_use"]
    ]
    rows = page_plan._use_rows(plan | {"alike_from": 2})
    assert [(row["use"], bool(row["cells"][1])) for row in rows] == [
        ("1", True),
        ("2", True),
        ("3 to 4", False),
    ]


def test_uses_that_are_worth_alike_share_a_column_up_to_the_last_planned_one() -> None:
    """Wing is planned 4 times, alike from the 3rd on, top twice: no figure without brackets is of a use that
    is not planned."""
    plan = planned([0.05] * 5)
    plan["by_use"] += [one | {"call": "top", "in_mix": one["use"] <= 2} for one in plan["by_use"]]
    plan["calls"] = [
        {"setting": "s", "call": call, "label": call, "uses_per_game": uses}
        for call, uses in (("wing", 4), ("top", 2))
    ]
    head, wing, top = (line.split() for line in screen_plan._uses(plan)[:3])
    assert head == "Worth of use number 1 2 3 to 4 off by".split()
    assert wing == "wing 0.10 0.10 0.10 +-0.10".split() and top == "top 0.10 0.10 (0.10) +-0.10".split()
    none = plan | {"mix": []}
    assert screen_plan._uses(none)[0].split()[-5:] == "2 3 on off by".split()


def test_a_table_of_five_calls_planned_unlike_fits_the_screen() -> None:
    """However unlike the ends of their uses: at most MOST_ENDS columns after the first uses, 80 in all."""
    value = {"mean": 0.123, "low": 0.01, "high": 0.2}
    calls = [{"setting": f"s{n}", "call": "half_court_corner", "uses_per_game": n} for n in (5, 6, 8, 10, 12)]
    by_use = [one | {"use": use, "before": value} for one in calls for use in range(1, 13)]
    lines = screen_plan._uses({"mix": calls, "calls": calls, "by_use": by_use, "alike_from": 3})
    assert max(len(line) for line in lines[:6]) <= 80
    assert "3 to 5" in lines[0] and "7 to 12" in lines[0]


def test_planned_calls_of_one_name_are_told_apart() -> None:
    """Two rows of one call: their settings stand beside the name; one alone has its name."""
    rows = [
        {"setting": s, "call": "wing", "uses_per_game": 2, "saves_per_game": {"mean": 0.1}}
        for s in ("wing trap", "mine")
    ]
    plan = {"mix": rows}
    assert traps_words(plan, rows) == "wing (wing trap) 2, wing (mine) 2: up to 4 traps"
    assert traps_words(plan, rows[1:]) == "wing (mine) 2: up to 2 traps"  # not advised is named no more
    assert traps_words({"mix": rows[:1]}, rows[:1]) == "wing 2: up to 2 traps"


def test_a_drill_tells_its_latest_pass_who_is_late_on_the_bump_and_that_nobody_is() -> None:
    drill = {"name": "Out and over", "trains": "run: over", "links": ["top to wing"], "bump": None}
    race = {"role": "near_guard", "late_s": 0.44}
    drills = [drill | {"late_s": 0.44}, drill | {"late_s": 0.44, "bump": race}, drill | {"late_s": None}]
    rows = page_plan.drills(SimpleNamespace(timing={"drills": drills}))  # type: ignore[arg-type]
    assert [row["late"] for row in rows] == [
        "now 0.4 s late", "near guard now 0.4 s late", "none of them late, keep it",
    ]  # fmt: skip
