"""The bench page: one sheet, in a real browser, and who does what on it. See test_report_page."""

from __future__ import annotations

import dataclasses
import itertools
import re
from pathlib import Path
from typing import Any

import pytest
from report_pages import (
    A4,
    BAD_NAME,
    LETTER,
    PHONE,
    advising,
    never_doubling,
    over_formations,
    pages_of,
    words_of,
)

from engine.inputs.sheets import load_evening
from engine.inputs.team import ZONE_PLACES
from engine.report.advice_view import advice_dict
from engine.report.page.bench import bench_view, tonight
from engine.report.page.court_card import shirts_of
from engine.report.page.page import bench_page, report_page
from engine.report.page.stand_ins import comes_for, doublers, replaced, stand_in, stand_in_words
from engine.report.screen.plan import plan_text
from engine.report.words import FACTOR_WORDS
from engine.report.zone_or_men_view import zone_or_men_dict
from engine.study.evening_result import EveningReport
from engine.study.plan.bench import p_stopped

pytest_plugins = ("evening_pages",)

CONFIGS = Path(__file__).parents[1] / "configs"
MOST_WORDS = 195


@pytest.mark.parametrize("paper", [A4, LETTER], ids=["a4", "letter"])
@pytest.mark.parametrize("answer", ["two calls", "stay home", "withheld"])
def test_the_bench_page_is_one_sheet_of_few_words(
    opened: Any,
    two_calls: EveningReport,
    withheld: EveningReport,
    tmp_path: Path,
    paper: dict[str, float],
    answer: str,
) -> None:
    reports = {"two calls": two_calls, "stay home": advising(two_calls, []), "withheld": withheld}
    html = bench_page(reports[answer])
    page = opened(html)
    assert pages_of(page.pdf(**paper), tmp_path) == 1
    page.run("document.querySelectorAll('svg').forEach((e) => e.remove())")  # numbers drawn are no words
    words = words_of(page.run("document.body.innerText").replace(BAD_NAME, "Them"))
    assert 20 < len(words) <= MOST_WORDS
    colours = page.run(
        "[...new Set([...document.querySelectorAll('.sheet *')].flatMap((e) => "
        "[getComputedStyle(e).color, getComputedStyle(e).backgroundColor]))]"
    )
    assert set(colours) <= {"rgb(0, 0, 0)", "rgba(0, 0, 0, 0)", "rgb(255, 255, 255)"}
    assert page.run("window.harm") is None


def test_the_bench_page_names_who_does_what_by_number(opened: Any, two_calls: EveningReport) -> None:
    """Corner trap of the 2-3, ball on the right: near guard and near forward double it (configs/calls)."""
    two_calls = dataclasses.replace(two_calls, plan=never_doubling(two_calls.plan, []))
    places = two_calls.lineup["usual"]["places"]
    rows = {row["name"]: row for row in bench_view(two_calls)["calls"][0]["roles"]}
    assert rows["Trap"]["right"] == f"{places['right_guard']}+{places['right_forward']}"
    assert rows["Trap"]["left"] == f"{places['left_guard']}+{places['left_forward']}"
    assert rows["Deny: wing"]["right"] == str(places["left_guard"])  # far guard
    assert rows["Front: low post"]["right"] == rows["Front: low post"]["left"] == str(places["centre"])
    assert rows["Behind: lane"]["right"] == str(places["left_forward"])
    text = opened(bench_page(two_calls)).run("document.body.innerText")
    for number in (note.number for note in two_calls.evening.opponents if note.starts):
        assert re.search(rf"\b{number}\b", text)
    for word in (
        "Q1",
        "Q4",
        "model: 1 in",
        "ahead",
        "fouls",
        "“red”",
        "left",
        "Stand-ins",
        "Seen from our basket",
    ):
        assert word in text


def test_tonights_rule_says_how_often_it_is_wrong(two_calls: EveningReport) -> None:
    """Every sequence of 9 calls counted by itself; without a turnover in the first 4 it is (1 - p)^4."""
    lines, rate, uses = (4, 7, None), 0.3, 9
    total = 0.0
    for won in itertools.product((0, 1), repeat=uses):
        sums = list(itertools.accumulate(won))
        stops = any(
            sums[n - 1] < 2 and n >= (lines[sums[n - 1]] or uses + 1) for n in range(1, uses + 1)
        )  # fmt: skip
        total += stops * rate ** sum(won) * (1.0 - rate) ** (uses - sum(won))
    assert p_stopped(rate, lines, uses) == pytest.approx(total, abs=1e-12)
    assert p_stopped(rate, lines, 4) == pytest.approx(0.7**4)
    assert p_stopped(rate, lines, 3) == 0.0
    row = two_calls.plan["mix"][0]
    rules = [
        {**one, "expected": uses, "rule": {"calls": lines, "expected": rate, "break_even": 0.05}}
        for one in two_calls.plan["bench_rule"]["by_call"]
    ]
    bench = two_calls.plan["bench_rule"] | {"by_call": rules}
    report = dataclasses.replace(two_calls, plan=two_calls.plan | {"bench_rule": bench})
    assert f"stop after 4 without a ring (of 100 nights: {100 * total:.0f} wrong stops" in tonight(
        report, row
    )
    few = bench | {"by_call": [one | {"expected": 3} for one in rules]}
    assert tonight(dataclasses.replace(report, plan=report.plan | {"bench_rule": few}), row) == (
        "keep, cannot tell within a game (about 3 calls): 4 calls without a ring would (2 games)"
    )
    crosses = {"crosses": 3, "calls": 10, "tonight": True, "wrongly": 0.101, "missed": 0.36}
    for rule in (None, {"calls": [None], "expected": rate, "break_even": 0.29}):  # turnovers do not tell
        for found, said in (
            (crosses, "stop at 3 crosses in 10 calls (of 100 nights: 10 wrong stops, 36 missed)"),
            (crosses | {"tonight": False, "calls": 14}, "keep, cannot tell within a game (about 9 calls): 3 "
             "crosses in 14 calls would (2 games)"),
            (None, "keep: no number tells"),
        ):  # fmt: skip
            by_call = [one | {"rule": rule, "crosses": found} for one in rules]
            plan = two_calls.plan | {"bench_rule": bench | {"by_call": by_call}}
            assert tonight(dataclasses.replace(two_calls, plan=plan), row) == said


def test_the_bench_says_zone_or_men_where_it_was_asked_in_the_words_of_the_report(
    opened: Any, two_calls: EveningReport
) -> None:
    assert bench_view(two_calls)["zone_or_men"] == "" and "Man-to-man" not in bench_page(two_calls)
    value = {"mean": 0.066, "low": 0.048, "high": 0.084}
    kinds = {"structure": {"kept": 60, "value": {"mean": -0.07, "low": -0.18, "high": -0.01}}}
    side = {"points_per_possession": value, "defence": {"title": "a zone", "options": {}}}
    found = {
        "possessions": 20_000, "change": value, "factors": {}, "carrying_on": None, "zone": side, "men": side,
        "plays_against_men": {}, "plays_added": False,
        "game": {"possessions": 70, "p_worse": 0.6, "p_worse_interval": {"low": 0.55, "high": 0.65}},
        "variants": {"possessions": 600, "kind": "structure", "kinds": kinds, "by_formation": []},
    }  # fmt: skip
    found["factors"] = {name: value for name in FACTOR_WORDS}
    report = dataclasses.replace(two_calls, zone_or_men=found)
    answer = zone_or_men_dict(found, report)["answer"]
    assert answer == "The zone with advised calls, says the model."
    page = opened(bench_page(report))
    assert answer in page.run("document.body.innerText") and answer in report_page(report)
    page.run("document.querySelectorAll('svg').forEach((e) => e.remove())")
    text = page.run("document.body.innerText").replace(BAD_NAME, "Them")
    assert len(words_of(text)) <= MOST_WORDS


def test_the_bench_says_where_to_stay_home(two_calls: EveningReport) -> None:
    for verdicts, said in (
        (("saves",) * 3, []),
        (("saves", "open", "saves"), ["Home against: two guards."]),
        (("open", "costs", "open"), ["Clear in no formation."]),
    ):
        found = over_formations(two_calls, two_calls.advised, verdicts)
        report = dataclasses.replace(two_calls, formations=found)
        assert bench_view(report)["home_in"] == said
        assert all(line in bench_page(report) for line in said)


def test_a_long_name_keeps_the_bench_page_on_one_sheet(
    opened: Any, two_calls: EveningReport, tmp_path: Path
) -> None:
    scenario = two_calls.scenario
    teams = {
        side: getattr(scenario, side).model_copy(update={"name": "Quay-and-Harbour" * 5})
        for side in ("defence_team", "offence_team")
    }
    report = dataclasses.replace(two_calls, scenario=scenario.model_copy(update=teams))
    page = opened(bench_page(report), PHONE)
    assert page.run("document.documentElement.scrollWidth") <= PHONE
    assert pages_of(page.pdf(**LETTER), tmp_path) == 1


# --- who doubles ---


def bench_of(report: EveningReport, *men: tuple[int, float, tuple[str, ...]]) -> EveningReport:
    """The report with this bench: number, height in metres, places that the sheet's word means; of the first
    the sheet says no size."""
    team = report.scenario.defence_team
    like, note = team.on_court[0], report.evening.own[0]
    spare = [like.model_copy(update={"number": n, "name": f"No. {n}", "height_m": m}) for n, m, _ in men]
    own = [
        dataclasses.replace(note, number=n, prone_to_fouls=False, can_play=places, size_known=bool(i))
        for i, (n, _, places) in enumerate(men)
    ]
    kept = tuple(one for one in report.evening.own if one.starts)
    return dataclasses.replace(
        report,
        scenario=report.scenario.model_copy(
            update={"defence_team": team.model_copy(update={"players": (*team.on_court, *spare)})}
        ),
        evening=dataclasses.replace(report.evening, own=(*kept, *own)),
        plan=never_doubling(report.plan, []),
    )


def test_a_stand_in_plays_the_place_and_has_the_size(two_calls: EveningReport) -> None:
    """Corner: guards and forwards of both sides double. A guard stands in for guards, whatever his size, and
    never for who plays another kind of place and is far from his size; whose place is not said, by size."""
    places = {place: getattr(two_calls.scenario.defence_team.zone_places, place) for place in ZONE_PLACES}
    guards, forwards = ([n for place, n in places.items() if kind in place] for kind in ("guard", "forward"))
    guard, forward = ("left_guard", "right_guard"), ("left_forward", "right_forward")
    both = bench_of(two_calls, (88, 1.86, forward), (77, 1.70, guard))
    assert comes_for(both, 0, 0) == {77: sorted(guards), 88: sorted(forwards)}
    words, (bench, *_) = stand_in_words(both, 0, 0), bench_view(both)["calls"]
    assert f"77 for {guards[0]} and {guards[1]}, one at a time" in words and "88 (no cm: 186) for" in words
    assert f"88 (no cm: 186) for {'/'.join(map(str, sorted(forwards)))}" in bench["stand_ins"]
    small = bench_of(two_calls, (88, 1.60, guard))
    assert comes_for(small, 0, 0) == {88: sorted(guards), None: sorted(forwards)}
    assert "nobody to stand in for" in stand_in_words(small, 0, 0)
    his = two_calls.scenario.defence_team.by_number(forwards[0]).height_m
    assert stand_in(bench_of(two_calls, (88, his, ())), forwards[0]) == 88  # his place is not said
    centre = places["centre"]
    assert stand_in(bench_of(two_calls, (88, 1.78, guard)), centre) is None
    tall = two_calls.scenario.defence_team.by_number(centre).height_m
    assert stand_in(bench_of(two_calls, (88, tall, guard)), centre) is None
    assert stand_in(bench_of(two_calls, (88, tall - 0.05, forward)), centre) == 88
    nearest = bench_of(two_calls, (88, his + 0.06, forward), (77, his - 0.02, forward))
    assert stand_in(nearest, forwards[0]) == 77
    foul = dataclasses.replace(nearest.evening.own[-1], prone_to_fouls=True)
    evening = dataclasses.replace(nearest.evening, own=(*nearest.evening.own[:-1], foul))
    assert stand_in(dataclasses.replace(nearest, evening=evening), forwards[0]) == 88
    never = dataclasses.replace(both, plan=never_doubling(both.plan, [forwards[0]]))
    assert "88 (no cm: 186) for him" in stand_in_words(never, 0, 0)  # who replaces has his size, too


def test_who_must_not_double_does_not_in_any_output(opened: Any, two_calls: EveningReport) -> None:
    """The plan says who; the bench sheet, its courts and the page follow it, with a name instead."""
    seven = load_evening(CONFIGS / "sheets" / "example_evening").scenario
    call, five = seven.settings[0].calls[0], [player.number for player in seven.defence_team.on_court]
    assert call.doubles == ("near_guard", "near_forward")
    spare = [player.number for player in seven.defence_team.players if player.number not in five]
    places = shirts_of(seven, seven.zone)
    trouble = [places["left_guard"], places["centre"]]
    one = advising(two_calls, two_calls.advised[:1])
    plan = never_doubling(one.plan, trouble) | {"no_double_from": 3}
    report = dataclasses.replace(one, scenario=seven, plan=plan)
    (bench,) = bench_view(report)["calls"]
    instead = replaced(report, 0, 0)
    assert instead.keys() == {trouble[0]} and instead[trouble[0]] in spare
    assert bench["stand_ins"][0] == f"{instead[trouble[0]]} for {trouble[0]}"
    assert all(re.fullmatch(r"(\d+|nobody) for \d+(/\d+)*", pair) for pair in bench["stand_ins"])  # no arrows
    page = opened(bench_page(two_calls), PHONE)
    broken = """[...document.querySelectorAll('.tally tbody th')].map(cell => {
      const text = document.createRange(); text.selectNodeContents(cell);
      return text.getClientRects().length - cell.innerText.split(/\\s/).length })"""
    assert max(page.run(broken)) <= 0  # no name of a call is broken inside a word
    rows = {row["name"]: row for row in bench["roles"]}
    assert rows["Trap"]["left"] == f"{instead[trouble[0]]}+{places['left_forward']}"
    assert rows["Trap"]["right"] == f"{places['right_guard']}+{places['right_forward']}"
    ours = {one["number"] for one in bench["court"]["ours"]}
    assert trouble[0] not in ours and instead[trouble[0]] in ours
    assert str(trouble[1]) in rows["Front: low post"]["left"]  # he may do what is no double
    text = opened(bench_page(report)).run("document.body.innerText")
    assert f"3 fouls: don’t double; {trouble[0]}, {trouble[1]}: never." in text
    page = opened(report_page(report)).run("document.querySelector('.card').innerText")
    assert f"No. {trouble[0]} must not double (fouls): {instead[trouble[0]]} for him; with 3 fouls: " in page
    said = " ".join(plan_text(report.plan | {"advice": advice_dict(report)}).split())
    assert f"must not double: No. {trouble[0]} (" in said and "who has 3 does not double" in said
    bare = [one for one in seven.defence_team.players if one.number in five]
    alone = seven.model_copy(
        update={"defence_team": seven.defence_team.model_copy(update={"players": tuple(bare)})}
    )
    alone_report = dataclasses.replace(report, scenario=alone)
    view = bench_view(alone_report)
    (bench,) = view["calls"]
    assert bench["roles"][0]["left"] == f"{trouble[0]}+{places['left_forward']}"  # he is there himself
    assert view["foul_numbers"] == [trouble[1]]  # not of him who doubles all the same
    assert bench["stand_ins"] == [f"nobody for {'/'.join(map(str, sorted(doublers(alone_report, 0, 0))))}"]
    words = stand_in_words(alone_report, 0, 0)
    assert f"No. {trouble[0]} should not double (fouls), but nobody is left to stand in" in words
    assert "so no more of this call" in words and "must not" not in words


def test_where_everybody_should_not_double_the_sheet_still_names_two_trappers(
    two_calls: EveningReport,
) -> None:
    """Five who should not, a bench of two: two give way, the others double, and nobody says never to them."""
    seven = load_evening(CONFIGS / "sheets" / "example_evening").scenario
    five = [player.number for player in seven.defence_team.on_court]
    plan = never_doubling(two_calls.plan, five)
    report = dataclasses.replace(two_calls, scenario=seven, plan=plan)
    view = bench_view(report)
    for call in view["calls"]:
        for row in call["roles"]:
            for cell in (row["left"], row["right"]):
                assert "?" not in cell and len(set(cell.split("+"))) == len(cell.split("+"))
            if row["name"] == "Trap" and "man" not in row["left"]:
                assert {int(n) for n in row["left"].split("+")}.isdisjoint(view["foul_numbers"])
