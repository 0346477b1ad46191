"""Several formations: which are likely, what the weighed calls are worth in each, and how it is said."""

from __future__ import annotations

import dataclasses
import itertools
import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from report_pages import advising, over_formations
from sheet_files import GAME, write_evening

from engine import cli
from engine.inputs import load_scenario
from engine.inputs.alignment import load_alignment
from engine.inputs.base import spoken
from engine.inputs.files import shipped
from engine.inputs.sheets import Likely, load_evening
from engine.report.advice_view import MOST_WORDS, advised_first, advised_rows, headline
from engine.report.formations_view import (
    call_words,
    orders,
    plan_lines,
    shares_words,
    stay_home,
    table_view,
)
from engine.report.page.plan import plan_view
from engine.run.size import check_size
from engine.study.compare import compare
from engine.study.evening_advice import held_in
from engine.study.evening_formations import formations
from engine.study.evening_result import EveningReport

pytest_plugins = ("evening_pages",)

ROOT = Path(__file__).parents[1]
SCENARIO = ROOT / "configs" / "scenarios" / "friday_night.toml"
HIGH_POST, TWO, OVERLOAD = "high_post_short_corner", "two_guard_baseline", "overload"


def game_with(**changed: str) -> list[list[str]]:
    """The sheet of the game with other answers."""
    return [[key, changed.get(key, value)] for key, value in GAME]


# --- which are likely ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("front", "high_post", "likely"),
    [
        ("", "", {HIGH_POST: 1, TWO: 1, OVERLOAD: 1}),
        ("one", "yes", {HIGH_POST: 1, TWO: 1, OVERLOAD: 1}),
        ("two guards", "", {TWO: 1, HIGH_POST: 1, OVERLOAD: 1}),
        ("1", "no", {OVERLOAD: 1, TWO: 1}),
        ("one 70, two 30", "yes", {HIGH_POST: 70, TWO: 30}),
        ("one guard 20% and overload 80%", "", {OVERLOAD: 80, HIGH_POST: 20}),
        ("2; 1", "yes", {TWO: 1, HIGH_POST: 1}),
        ("one 25, overload 50, two 25", "no", {OVERLOAD: 75, TWO: 25}),
    ],
)
def test_the_likely_formations_are_those_of_the_sheet_or_the_shipped_ones_that_fit(
    front: str, high_post: str, likely: dict[str, float], tmp_path: Path
) -> None:
    folder = write_evening(
        tmp_path / "sheets", {"game.csv": game_with(opponent_front=front, high_post=high_post)}
    )
    evening = load_evening(folder)
    found = {one.alignment.name: one.weight for one in evening.likely}
    assert found == likely and list(found) == list(likely)
    assert evening.scenario.alignment == evening.likely[0].alignment
    said = any("shipped formation as likely" in line for line in evening.assumptions)
    assert said == (sum(weight != 1 for weight in likely.values()) == 0 and ";" not in front)


@pytest.mark.parametrize(
    "front", ["three", "one 70, two", "one 0, two 100", "one, one", "one 70 two 30", "one,", "one 70, two 40"]
)
def test_a_front_that_is_not_understood_is_one_line(
    front: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = write_evening(tmp_path / "sheets", {"game.csv": game_with(opponent_front=front)})
    assert cli.run(["check", str(folder)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "opponent_front" in said and front in said


def test_of_a_scenario_file_its_own_formation_and_the_shipped_ones_are_likely() -> None:
    evening = load_evening(SCENARIO)
    assert {one.alignment.name for one in evening.likely} == {HIGH_POST, TWO, OVERLOAD}
    assert evening.likely[0].alignment == evening.scenario.alignment
    assert {one.weight for one in evening.likely} == {1.0}


# --- what is played -----------------------------------------------------------------------------------------


def test_each_formation_is_played_as_compare_plays_it_and_the_played_one_is_compares() -> None:
    """Against ``compare`` of the scenario as somebody would write it with that alignment and all settings."""
    evening = load_evening(SCENARIO)
    scenario, size = evening.scenario, check_size(900, 3, None)
    played = compare(scenario, 900, 3).to_dict()
    names = [setting["name"] for setting in played["settings"]]
    one_call = ("wing trap, now and then", "trap at the top, every second time")
    weighed = tuple(names.index(name) for name in (*one_call, "corner and short corner together"))
    likely = [dataclasses.replace(one, weight=w) for one, w in zip(evening.likely, (2, 1, 1), strict=True)]
    seen: list[tuple[int, int]] = []
    found = formations(
        scenario, likely, weighed, played, 600, size, lambda done, of: seen.append((done, of))
    ).to_dict()
    assert seen == sorted(seen) and seen[-1][0] == seen[-1][1]
    assert [one["share"] for one in found["formations"]] == [0.5, 0.25, 0.25]
    assert [one["possessions"] for one in found["formations"]] == [900, 600, 600]
    others = [
        compare(scenario.model_copy(update={"alignment": one.alignment}), 600, 3).to_dict()
        for one in likely[1:]
    ]
    seen_in = 0
    for entry, s in zip(found["settings"], weighed, strict=True):
        assert (entry["setting"], entry["name"]) == (s, names[s])
        for c, call in enumerate(entry["calls"]):
            cells = [one["settings"][s]["calls"][c] for one in (played, *others)]
            assert [one["value"] for one in call["by_formation"]] == [cell["value"] for cell in cells]
            known = [
                (cell["value"]["mean"], share)
                for cell, share in zip(cells, (2, 1, 1), strict=True)
                if cell["called"] >= 30 and cell["value"]["low"] is not None
            ]
            if not known:
                assert call["value"]["mean"] is None
                continue
            seen_in += len(known)
            mean = sum(value * share for value, share in known) / sum(share for _, share in known)
            assert call["value"]["mean"] == pytest.approx(mean, abs=1e-12)
            assert call["value"]["low"] < call["value"]["mean"] < call["value"]["high"]
    assert seen_in >= 4
    for one, head in zip(others, found["formations"][1:], strict=True):
        assert head["home"] == one["baseline"]["points_per_possession"]
    assert len({head["home"]["mean"] for head in found["formations"]}) == 3


def test_where_nothing_is_weighed_nothing_is_played() -> None:
    scenario = load_scenario(SCENARIO).model_copy(update={"settings": ()})
    played = {"possessions": 1, "baseline": {"points_per_possession": {}}, "settings": []}
    likely = [Likely(scenario.alignment), Likely(scenario.alignment)]
    found = formations(scenario, likely, (), played, 600, check_size(1, 3, None)).to_dict()
    assert found["settings"] == [] and len(found["formations"]) == 1


# --- what is said -------------------------------------------------------------------------------------------


def test_the_headline_says_what_to_do_in_each_formation(two_calls: EveningReport) -> None:
    """Of every pair of calls, for every pattern of what they do, an order in 12 words: where it is not the
    same in all, the formations stand in it, and that the others get no trap."""
    spots = [(s, c) for s, one in enumerate(two_calls.scenario.settings) for c in range(len(one.calls))]
    for pair in itertools.product(spots, repeat=2):
        advised = list(dict.fromkeys(pair))
        for verdicts, start in (
            (("saves",) * 3, "In all 3 formations: "),
            (("saves", "open", "saves"), "Call .* against two guards"),
            (
                ("few", "costs", "saves"),
                "Against overload .*; else stay home|Against overload .*, else stay home",
            ),
            (("saves", "open"), "Against one guard .* else stay home"),
            (("saves",) * 2, "In both formations: "),
            (("saves",), ""),
            (("open", "costs"), ""),
        ):
            found = over_formations(two_calls, advised, verdicts)
            report = dataclasses.replace(advising(two_calls, advised), formations=found)
            said = headline(report)
            assert len(said.split()) <= MOST_WORDS and re.match(start, said), said
            assert all(spoken(report.scenario.settings[s].calls[c].name).lower() in said.lower()
                       for s, c in advised)  # fmt: skip
            held = held_in(found, report.advised)
            assert held == [i for i, one in enumerate(verdicts) if one == "saves"]
            assert ("clear in no formation" in said) == (not held)
            assert ("formation" in said) == (len(verdicts) > 1 and len(held) in (0, len(verdicts)))


def test_calls_that_save_in_different_formations_are_told_call_by_call() -> None:
    """Corner against the first, wing against the first two, nothing against the third: that, for the bench,
    too; where it is too long, the calls stand without how often."""
    named, each = ["one guard", "two guards", "overload"], [("corner", "5"), ("wing", "3")]
    saves = [[True, False, False], [True, True, False]]
    full, _, short, *_, last = orders(each, saves, named)
    assert full == "call corner 5 (only against one guard), wing 3 (not against overload) a game"
    assert short == "call corner (only against one guard), wing (not against overload) a game"
    assert last == "call corner, wing by how they line up, as listed"
    assert stay_home(["corner", "wing"], saves, named) == [
        "No corner against: two guards, overload.", "No wing against: overload."
    ]  # fmt: skip
    everywhere = [[True, False, True], [True] * 3]
    assert orders(each, everywhere, named)[0] == "call corner 5 (not against two guards), wing 3 a game"
    assert stay_home(["corner", "wing"], everywhere, named) == ["No corner against: two guards."]
    nowhere = [[True, False, True], [False] * 3]
    assert orders(each, nowhere, named)[1].endswith("wing 3 (clear in no formation)")
    assert stay_home(["corner", "wing"], nowhere, named)[1] == "Wing: clear in no formation."
    same = [[False, True, True]] * 2
    assert orders(each, same, named)[0] == "call corner 5, wing 3 a game, not against one guard"
    assert stay_home(["corner", "wing"], same, named) == ["Home against: one guard."]
    assert stay_home(["corner"], [[True, True, True]], named) == []
    assert stay_home(["corner"], [[False] * 3], named) == ["Clear in no formation."]
    assert stay_home(["corner"], [[False]], ["one guard"]) == []
    swapped = orders(each, [[True, False], [False, True]], named[:2])[1]
    assert swapped == "call corner 5 (only against one guard), wing 3 (only against two guards)"


def test_the_advised_call_comes_first_in_every_list(two_calls: EveningReport) -> None:
    """A planned call that saves more, but is not advised, stands behind the one that is."""
    spots = two_calls.advised
    report = advising(two_calls, spots)
    more = [row | {"saves_per_game": {"mean": 9.0 - i, "low": 1.0, "high": 9.5}}
            for i, row in enumerate(report.plan["mix"])]  # fmt: skip
    report = dataclasses.replace(report, plan=report.plan | {"mix": more}, advised=spots[1:])
    advised = advised_rows(report)
    assert [row["call"] for row in advised_first(report.plan, advised)] == ["wing", "corner"]
    assert [row["call"] for row in advised_first(report.plan, [])] == ["corner", "wing"]
    assert [row["name"] for row in plan_view(report)["mix"]] == ["wing", "corner"]
    keys = [(row["setting"], row["call"]) for row in advised]
    found = over_formations(report, spots)
    rows = table_view(found, keys)
    assert rows is not None and rows["rows"][0]["call"] == "wing"
    assert plan_lines(found, keys)[1].startswith("Wing: ") and plan_lines(found)[1].startswith("Corner: ")


def test_a_formation_has_one_name_in_every_output() -> None:
    """That of the sheet's question: the short part of the title that `check`, timing and the plays print."""
    shorts = {load_alignment(name).short for name in shipped("alignments")}
    assert shorts == {"one guard", "two guards", "overload"}
    for name in shipped("alignments"):
        alignment = load_alignment(name)
        assert alignment.title.startswith(f"{alignment.short}: ")
    scenario = load_scenario(SCENARIO)
    likely = [Likely(scenario.alignment)]
    played = {"possessions": 1, "baseline": {"points_per_possession": {}}, "settings": []}
    (head,) = formations(scenario, likely, (), played, 600, check_size(1, 3, None)).to_dict()["formations"]
    assert head["title"] == scenario.alignment.short == "one guard"


def test_staying_home_holds_where_no_weighed_call_clearly_saves(two_calls: EveningReport) -> None:
    spots = [(0, 0), (1, 0)]
    for verdicts, end in (
        (("open", "costs", "few"), "in any of 3 formations."),
        (("open", "saves", "costs"), "in all 3 formations."),
        (("open", "saves"), "in both formations."),
        (("open", "costs"), "in either formation."),
        (("saves",) * 3, "clearly saves points."),
    ):
        found = over_formations(two_calls, spots, verdicts)
        report = dataclasses.replace(advising(two_calls, []), formations=found)
        assert headline(report).endswith(end) and len(headline(report).split()) <= MOST_WORDS


def test_the_words_of_a_call_name_where_it_does_not_save(two_calls: EveningReport) -> None:
    found = over_formations(two_calls, [(0, 0)], ("saves", "open", "costs"))
    call = found["settings"][0]["calls"][0]
    assert call_words(found, call) == (
        "saves in 1 of 3; no clear difference: two guards; costs points: overload; together no clear "
        "difference (0.07 lost to 0.07 saved points a call)"
    )
    view = table_view(found)
    assert view is not None and view["names"][1:] == [
        "one guard", "two guards", "overload", "together"
    ]  # fmt: skip
    assert all(len(row["cells"]) == 4 for row in view["rows"])
    assert len(plan_lines(found)) == 1 + len(found["settings"][0]["calls"])
    alone = over_formations(two_calls, [(0, 0)], ("saves",))
    assert call_words(alone, call | {"by_formation": call["by_formation"][:1]}) == ""
    assert table_view(alone) is None and plan_lines(alone) == []
    assert shares_words(found).endswith("each as likely")
    found["formations"][0]["share"] = 0.5
    assert shares_words(found).startswith("one guard 50%")


def test_no_formation_is_named_without_trap_advice(withheld: EveningReport) -> None:
    assert withheld.formations["settings"] == []
    care = SimpleNamespace(trap_advice_allowed=False, fill_first="", trap_allowed=None)
    report: Any = SimpleNamespace(evening=SimpleNamespace(care=care))
    assert "formation" not in headline(withheld) and "formation" not in headline(report)
