"""The opponent is fitted, and held beside his sheet, in the defence that he met when he was counted."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sheet_files import GAME, OPPONENT, counted, write_evening

from engine.estimate.men import KINDS, MenTally
from engine.inputs.scenario import constants_against
from engine.inputs.sheets import Evening, load_evening
from engine.inputs.sheets.met import TONIGHT, Met
from engine.report.screen.sheet import sheet_lines
from engine.report.sheet_view import MET, SOME, sheet_told, sheet_view
from engine.run.size import check_size
from engine.study.compare import compare
from engine.study.evening_file import inputs_digest
from engine.study.evening_report import Played
from engine.study.evening_result import ReportSize
from engine.study.evening_zone_or_men import zone_or_men
from engine.study.own_men import measure_carrying
from engine.study.play import play
from engine.study.sheet import fit
from engine.study.sheet.counts import SheetCounts
from engine.study.sheet.fit import fit_sheet, shares_of
from engine.study.sheet.knobs import CARRYING, ELSEWHERE, values_of, with_knobs
from engine.study.sheet.men import play_men, play_met
from engine.study.sheet.met import GOING_ON, instead, met_games

#: Possessions of a sheet that the model writes itself, and of each run of its fit.
GAMES, RUN = 5000, 4000


def evening_with(folder: Path, opponent: Any = None, **answers: str) -> Evening:
    """An evening with these answers on the sheet of the game, and counts of every man of theirs."""
    game = [row for row in GAME if row[0] not in answers] + [[key, value] for key, value in answers.items()]
    return load_evening(write_evening(folder, {"game.csv": game, "opponent.csv": opponent or counted()}))


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Evening:
    return evening_with(tmp_path_factory.mktemp("met") / "sheets", counted_against="man-to-man")


# --- what the sheet says ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "word", "tonight", "other"),
    [
        ("", "not said", True, "man_to_man"),
        ("don't know", "not said", True, "man_to_man"),
        ("Man to man", "man-to-man", False, "man_to_man"),
        ("men", "man-to-man", False, "man_to_man"),
        ("Zone", "zone", True, None),
        ("both", "both", True, "man_to_man"),
    ],
)
def test_what_they_met_is_tonights_zone_or_the_shipped_man_to_man(
    typed: str, word: str, tonight: bool, other: str | None, tmp_path: Path
) -> None:
    found = evening_with(tmp_path, counted_against=typed, screens="switch")
    assert (found.met.word, found.met.tonight) == (word, tonight)
    assert (found.met.other and found.met.other.zone and found.met.other.zone.name) == other
    if found.met.other is not None:  # others' men: what ours do about a screen is not theirs
        assert found.met.other.zone_options["screens"] == "drop" and not found.met.other.calls
    said = [line for line in found.assumptions if "mostly met" in line]
    assert bool(said) == (typed in ("", "don't know"))
    assert all("half man-to-man, half zone" in line for line in said)


@pytest.mark.parametrize(
    ("typed", "tonight", "other"),
    [("men", True, None), ("zone", False, "two_three"), ("", True, "two_three")],
)
def test_where_no_zone_is_played_tonight_the_shipped_one_stands_for_those_they_met(
    typed: str, tonight: bool, other: str | None, tmp_path: Path
) -> None:
    found = evening_with(tmp_path, counted_against=typed, zone_allowed="no")
    assert found.scenario.zone.name == "man_to_man" and found.met.tonight == tonight
    assert (found.met.other and found.met.other.zone and found.met.other.zone.name) == other
    assert found.men is None


def test_the_answer_is_told_where_it_acts_and_only_there(tmp_path: Path) -> None:
    blank = [["number"], *([row[0]] for row in OPPONENT[1:])]
    without, empty = (
        evening_with(tmp_path / name, blank, counted_against=value)
        for name, value in (("a", "zone"), ("b", ""))
    )
    assert any("counted_against changes nothing" in line for line in without.remarks)
    assert not any("counted_against" in line for line in empty.remarks)
    assert not any("mostly met" in line for line in empty.assumptions)
    acts = evening_with(tmp_path / "c", counted_against="zone")
    assert not any("counted_against" in line for line in acts.remarks)


def test_another_answer_is_another_evening(tmp_path: Path) -> None:
    digests = [
        inputs_digest(evening_with(tmp_path / word, counted_against=word)) for word in ("zone", "both", "men")
    ]
    digests.append(inputs_digest(evening_with(tmp_path / "empty")))
    assert len(set(digests)) == 4, "what is told of it differs, too"


# --- what is played -----------------------------------------------------------------------------------------


def test_what_they_met_is_played_as_a_setting_would_be(evening: Evening) -> None:
    """Man-to-man at home, against the same defence as a setting of ``compare``: other plays and beliefs."""
    other = evening.met.other
    assert other is not None
    settings = evening.scenario.model_copy(update={"settings": (other,)})
    (there,) = compare(settings, 300, 3).to_dict()["settings"]
    (alone,) = met_games(evening.scenario, evening.met)
    found = play(alone, 300, 3).to_dict()
    assert found["points_per_possession"] == there["points_per_possession"]
    home = play(evening.scenario.model_copy(update={"settings": ()}), 300, 3).to_dict()
    assert found["points_per_possession"] != home["points_per_possession"]


def test_both_are_half_the_possessions_each(evening: Evening) -> None:
    other = evening.met.other
    assert other is not None
    games = met_games(evening.scenario, Met("both", True, other))
    assert [one.zone.name for one in games] == ["two_three", "man_to_man"]
    told: list[tuple[int, int]] = []
    found = play_met(games, 401, 3, progress=lambda done, of: told.append((done, of)))
    halves = play_men(games[0], 200, 3), play_men(games[1], 201, 3, first=200)
    assert found == halves[0] + halves[1] and found.n == 401
    assert told[-1] == (401, 401) and told == sorted(told)
    assert play_met(met_games(evening.scenario, TONIGHT), 200, 3) == play_men(evening.scenario, 200, 3)


@pytest.mark.parametrize("level", ["school", "college", "under_14"])
def test_what_going_on_is_worth_is_kept_for_both_kinds(level: str, tmp_path: Path) -> None:
    """Set once or twice, in either order: against zone and men what was said, all else as it was."""
    age = "14" if level == "under_14" else "adults"
    found = evening_with(tmp_path, level=level, age_group=age)
    scenario, other = found.scenario, found.met.other
    assert other is not None and other.zone is not None
    once = with_knobs(scenario, {CARRYING: scenario.constants[GOING_ON] + 0.05, ELSEWHERE: 0.8})
    twice = with_knobs(once, {ELSEWHERE: 0.8, CARRYING: scenario.constants[GOING_ON] + 0.05})
    home = with_knobs(scenario, {CARRYING: scenario.constants[GOING_ON] + 0.05})
    for one in (once, twice):
        assert constants_against(one, scenario.zone) == constants_against(home, scenario.zone)
        there = constants_against(scenario, other.zone) | {GOING_ON: 0.8}
        assert constants_against(one, other.zone) == there == instead(one, other).constants


# --- the fit ------------------------------------------------------------------------------------------------


def sheet_of(model: MenTally, evening: Evening) -> SheetCounts:
    return SheetCounts(model.sums, (0, 1, 2, 3, 4), True, evening.scenario.offence_team.lineup)


def test_who_shoots_how_often_is_found_again_in_the_defence_they_met(evening: Evening) -> None:
    """Known men write a sheet against man-to-man: there the fit to it follows, one in the zone does not."""
    guard, wing, *_ = evening.scenario.offence_team.lineup
    truth = with_knobs(evening.scenario, {f"three {wing}": 0.2, f"two {guard}": 0.2})
    other = evening.met.other
    assert other is not None
    points = measure_carrying(instead(truth, other), 2, each=1500).points
    truth = with_knobs(truth, {ELSEWHERE: points})
    charted = play_men(instead(truth, other), GAMES, 77)
    sheet = sheet_of(charted, evening)
    off = {}
    for met in (evening.met, TONIGHT):
        found = fit_sheet(sheet, evening.scenario, 1, possessions=RUN, met=met)
        fitted = with_knobs(evening.scenario, values_of(json.loads(json.dumps(found.to_dict()))))
        here = play_men(instead(fitted, other), GAMES, 78)
        apart = np.abs(shares_of(sheet, here.sums) - shares_of(sheet, sheet.counts))
        off[met.word] = float(apart.sum())
        assert (found.elsewhere is None) == (met is TONIGHT) and found.carrying is not None
    assert off["man-to-man"] < 0.15 and off["man-to-man"] < 0.4 * off[""]


@pytest.mark.parametrize("word", ["man-to-man", "both"])
def test_the_fit_against_others_is_the_same_for_any_number_of_threads(
    word: str, evening: Evening, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fit, "CARRYING_POSSESSIONS", 200)
    met = Met(word, word == "both", evening.met.other)
    sheet = sheet_of(play_men(evening.scenario, 600, 7), evening)
    one, three = (fit_sheet(sheet, evening.scenario, 1, n, possessions=301, met=met) for n in (1, 3))
    assert one == three and one.elsewhere is not None and one.carrying is not None
    assert one.tonight is not None and one.tonight.kind == "zone"
    assert one.carrying.points != one.elsewhere.points
    assert fit_sheet(sheet, evening.scenario, 1, possessions=301) != one


# --- what is told -------------------------------------------------------------------------------------------


def test_the_table_is_of_what_they_met_and_tonight_stands_beside_it(evening: Evening, tmp_path: Path) -> None:
    played = Played(evening, 5, effort=ReportSize(possessions=400))
    found = played.part("sheet")
    other = evening.met.other
    assert other is not None and found["met"] == "man-to-man"
    twos, made = KINDS.index("twos"), KINDS.index("twos_made")
    row = next(row for row in found["rows"] if row["key"] == "two_point")
    for scenario, shown in (
        (instead(played.scenario, other), row["model"]["mean"]),
        (played.scenario, row["tonight"]),
    ):
        sums = play_men(scenario, 400, 5).sums.sum(axis=0)
        assert shown == sums[made] / sums[twos]
    lines, view = sheet_lines(found), sheet_view(found)
    assert view is not None and max(map(len, lines)) <= 80
    assert "against man-to-man, as counted" in view["notes"][0]
    assert view["names"][-2] == "tonight" and view["notes"][1].startswith("Tonight: ")
    assert all(len(one["cells"]) == len(view["names"]) - 1 for one in view["rows"])
    zone = Played(evening_with(tmp_path, counted_against="zone"), 5, effort=ReportSize(possessions=400))
    found = zone.part("sheet")
    view = sheet_view(found)
    assert view is not None and "tonight" not in view["names"] and "against a zone" in view["notes"][0]
    assert all(len(one["cells"]) == len(view["names"]) - 1 for one in view["rows"])
    assert zone.part("fit")["elsewhere"] is None


@pytest.mark.parametrize("word", MET)
def test_the_warning_follows_what_they_met(word: str) -> None:
    """Not what tonight's defence makes of them."""

    def told(model: float, tonight: float | None) -> str:
        row = {
            "key": "two_point", "number": None, "outside": not 0.42 <= model <= 0.52, "tonight": tonight,
            "sheet": {"mean": 0.47, "low": 0.42, "high": 0.52},
            "model": {"mean": model, "standard_error": 0.01},
        }  # fmt: skip
        return sheet_told({"met": word, "rows": [row]})

    assert told(0.45, 0.39) == "" and told(0.45, None) == ""
    said = told(0.47 - (SOME + 3) / 100, 0.47)
    assert "twos made, of 100: 47 there (42 to 52" in said
    assert f"39 in the model, against {MET[word]}." in said


@pytest.mark.parametrize(
    ("tonight", "sheet", "told"),
    [(0.06, 0.24, True), (0.25, 0.21, False), (0.21, 0.42, False), (None, 0.21, False)],
)
def test_who_shoots_much_less_tonight_than_where_they_were_counted_is_named(
    tonight: float | None, sheet: float, told: bool
) -> None:
    """Not who does not follow his sheet."""
    row = {
        "key": "shots", "number": 5, "outside": False, "tonight": tonight,
        "sheet": {"mean": sheet, "low": 0.18, "high": 0.25}, "model": {"mean": 0.21, "standard_error": 0.01},
    }  # fmt: skip
    side = {"key": "threes", "number": None, "tonight": 0.3} | {
        k: row[k] for k in ("outside", "sheet", "model")
    }
    found = {
        "met": "man-to-man",
        "men": [5],
        "attempts": True,
        "possessions": 1,
        "fit": {},
        "rows": [side, row],
    }
    view = sheet_view(found)
    assert view is not None
    said = [note for note in view["notes"] if "No. 5 6 (where you saw them 21, your sheet 24)" in note]
    assert len(said) == told
    assert sheet_told(found) == (view["notes"][2] if told else ""), "beside the answer and on paper, too"


def test_zone_or_men_takes_what_going_on_is_worth_against_men_from_the_fit(evening: Evening) -> None:
    men, size = evening.men, check_size(200, 1, None)
    assert men is not None
    fitted: Any = {
        "carrying": {"points": 0.9},
        "elsewhere": {"points": 0.8},
        "followed": [],
        "reluctance": {},
    }
    scenario = with_knobs(evening.scenario, values_of(fitted))
    found = zone_or_men(scenario, men, fitted, (16, 20), size).to_dict()
    assert found["carrying_on"] == 0.8
    there = play(instead(scenario, men), 200, 1).to_dict()["points_per_possession"]
    assert found["men"]["points_per_possession"] == there
    other = with_knobs(scenario, {ELSEWHERE: 1.1})
    assert play(instead(other, men), 200, 1).to_dict()["points_per_possession"] != there
