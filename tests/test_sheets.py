"""A folder of sheets as a scenario: blank sheets, grades, makes alone, charted shots, care, assumptions."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import pytest
from sheet_files import EVENING, GAME, OPPONENT, OWN, Table, save, with_cell, with_key, write_evening

import engine
from engine import cli
from engine.checks.files import check_path
from engine.errors import InputError
from engine.inputs import configs_root, load_constants
from engine.inputs.sheets import Evening, load_evening, load_folder, write_blank
from engine.inputs.sheets.columns import SHEETS
from engine.inputs.sheets.data import load_care, load_grades
from engine.inputs.sheets.opponent import place_five
from engine.inputs.sheets.people import ordered, top_speed_from_sprint
from engine.report.screen.evening import evening_text
from engine.report.words import span
from engine.study.plan.inputs import load_plan_constants

GRADES = load_grades()
CONSTANTS = load_constants()


def evening(folder: Path, **changed: Table) -> Evening:
    tables = {f"{name}.csv": table for name, table in changed.items()}
    return load_evening(write_evening(folder, tables))


# --- trapledger new --------------------------------------------------------------------------------------


def test_blank_sheets_are_written_and_run_as_they_stand(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "friday"
    assert cli.run(["new", str(folder), "--csv"]) == 0
    out = capsys.readouterr().out
    assert "READ-ME-FIRST.txt" in out and "(age_group first)" in out
    assert sorted(path.name for path in folder.iterdir()) == sorted(["READ-ME-FIRST.txt", *SHEETS])
    assert cli.run(["compare", str(folder), "-n", "200", "--quiet"]) == 0
    out = capsys.readouterr().out
    assert "corner trap" not in out and "No trap advice yet (the age group is not given)" in out
    assert "game.csv still holds the example at age_group: it counts as empty." in out
    fresh = load_evening(folder)
    assert fresh.care.age_group is None and fresh.scenario.zone.name == "man_to_man"
    assert any("line up is not given" in line for line in fresh.assumptions)
    assert cli.run(["play", str(folder), "-n", "100", "--quiet"]) == 0
    capsys.readouterr()
    assert cli.run(["check", str(folder)]) == 0
    first = "Fill in first: age_group in game.csv"
    assert capsys.readouterr().out.startswith(f"{folder}: {first}; sheets of ")


def test_blank_sheets_are_the_levels_average(tmp_path: Path) -> None:
    write_blank(tmp_path / "a", "college")
    scenario = load_folder(tmp_path / "a")
    average = engine.load("configs/scenarios/level_college.toml")
    for ours, theirs in (
        (scenario.offence_team, average.offence_team),
        (scenario.defence_team, average.offence_team),
    ):
        for one, other in zip(ours.on_court, theirs.on_court, strict=True):
            assert one.model_dump(exclude={"number", "name"}) == other.model_dump(exclude={"number", "name"})
    assert scenario.shot_table == average.shot_table and scenario.constants == average.constants
    assert scenario.rules == average.rules


def test_nothing_is_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "Own.csv").write_text("mine")
    assert cli.run(["new", str(tmp_path), "--csv"]) == 2
    assert "'Own.csv' is not allowed" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["Own.csv"]
    assert (tmp_path / "Own.csv").read_text() == "mine"
    assert cli.run(["new", str(tmp_path / "Own.csv")]) == 2
    assert cli.run(["new", str(tmp_path / "x"), "--level", "galactic"]) == 2
    assert capsys.readouterr().err.count("\n") == 2
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize("separator", [",", ";"])
def test_an_example_row_with_a_number_is_a_player(separator: str, tmp_path: Path) -> None:
    """Round trip: what ``new`` writes is read again, and the example counts once it has a number."""
    write_blank(tmp_path, separator=separator)
    for name in ("own.csv", "opponent.csv"):
        path = tmp_path / name
        text = path.read_text(encoding="ascii")
        assert text.count("\nexample") == 1
        path.write_text(text.replace("\nexample", "\n7"), encoding="ascii", newline="")
    found = load_evening(tmp_path)
    assert [note.number for note in found.own if not note.stands_in] == [7]
    note = next(note for note in found.opponents if not note.stands_in)
    assert (note.number, note.initials, note.shooter, note.hand) == (7, "A.B.", "sure", "right")
    assert note.from_where == ("corner", "wing")
    assert any("1 of 5 players: 4 average player(s)" in line for line in found.assumptions)
    assert found.remarks == ()


def test_every_grade_is_anchored_in_words_on_the_blank_sheet(tmp_path: Path) -> None:
    write_blank(tmp_path, separator=",")
    text = "".join((tmp_path / name).read_text(encoding="ascii") for name in SHEETS)
    for column in (
        "shooter",
        "pace",
        "prone_to_fouls",
        "handles_pressure",
        "passes_from_big",
        "free_throw_shooter",
    ):
        for word, grade in getattr(GRADES, column).items():
            assert f"{word}: {grade.words}" in text
    with open(tmp_path / "game.csv", newline="", encoding="ascii") as file:
        keys = [row[0] for row in csv.reader(file)]
    assert keys[1:5] == ["age_group", "zone_allowed", "trap_allowed", "press_when_far_ahead"]
    for line in (tmp_path / "READ-ME-FIRST.txt").read_text(encoding="ascii").splitlines():
        assert len(line) <= 78 or str(tmp_path) in line


# --- from words to numbers -------------------------------------------------------------------------------


def test_words_become_numbers(tmp_path: Path) -> None:
    found = evening(tmp_path)
    own, average = (
        found.scenario.defence_team,
        {p.position: p for p in engine.load("configs/scenarios/level_school.toml").offence_team.players},
    )
    assert own.lineup == (4, 9, 13, 22, 31)  # smallest first, by height order
    nine, thirteen = own.by_number(9), own.by_number(13)
    assert nine.height_m == pytest.approx(1.785) and own.by_number(31).height_m == pytest.approx(1.96)
    assert thirteen.height_m == average[3].height_m
    assert thirteen.top_speed_mps == pytest.approx(0.94 * average[3].top_speed_mps)
    assert nine.top_speed_mps == average[2].top_speed_mps
    assert thirteen.discipline == pytest.approx(average[3].discipline - 0.15)
    assert own.by_number(22).discipline == average[4].discipline
    assert own.zone_places is not None and own.zone_places.centre == 31
    theirs = found.scenario.offence_team
    assert theirs.by_number(5).handle == pytest.approx(average[1].handle + 0.15)
    assert theirs.by_number(12).position in (2, 3)
    assert theirs.by_number(12).handle == pytest.approx(average[theirs.by_number(12).position].handle - 0.20)
    assert found.scenario.rules.clock.period_s == 450.0
    assert found.trap_targets == (12,)
    assert found.signals == {"corner": "red", "hammer, corner": "hammer"}


def test_the_sprint_law_is_inverted() -> None:
    tau, speed, time = 0.8, 7.4, 3.1
    distance = speed * (time - tau * (1 - math.exp(-time / tau)))
    assert top_speed_from_sprint(distance, time, tau) == pytest.approx(speed)


def test_sprint_times_beat_the_word_for_pace(tmp_path: Path) -> None:
    four = evening(tmp_path).scenario.defence_team.by_number(4)
    tau = CONSTANTS["sprint_tau_s"].value
    assert four.top_speed_mps == pytest.approx(0.8 * top_speed_from_sprint(10.0, 1.95, tau))


def test_places_that_are_written_are_kept(tmp_path: Path) -> None:
    own = with_cell(with_cell(OWN, 1, "place", "centre"), 5, "place", "Left Guard")
    places = evening(tmp_path, own=own).scenario.defence_team.zone_places
    assert places is not None and (places.centre, places.left_guard) == (4, 31)
    three = with_cell(
        with_cell(with_cell(OWN, 1, "place", "guard"), 2, "place", "guard"), 3, "place", "guard"
    )
    with pytest.raises(InputError, match=r"own.csv: column place: .*No. 13.*two guards"):
        evening(tmp_path, own=three)


def test_positions_follow_what_is_known() -> None:
    # a written place outweighs everything; ties go to the row above
    assert place_five([[0, 0, 0, 0, 100], [0, 0, 0, 0, 6], [0] * 5, [0] * 5, [0] * 5]) == (4, 0, 1, 2, 3)
    assert place_five([[0] * 5] * 5) == (0, 1, 2, 3, 4)
    assert ordered([None, None]) == [0, 1] and ordered([3.0, None, 1.0]) == [2, 1, 0]
    assert ordered([3.0, 1.0, 2.0, 4.0, None]) == [3, 0, 1, 4, 2]  # unknown: the middle, whatever his row


def test_the_formation_chooses_the_alignment(tmp_path: Path) -> None:
    wanted = {
        ("one", "yes"): "high_post_short_corner",
        ("one", "no"): "overload",
        ("two guards", "no"): "two_guard_baseline",
        ("overload", "don't know"): "overload",
    }
    for (front, post), name in wanted.items():
        game = [
            *(row for row in GAME if row[0] not in ("opponent_front", "high_post")),
            ["front", front],
            ["high post", post],
        ]
        assert evening(tmp_path, game=game).scenario.alignment.name == name


# --- makes alone -----------------------------------------------------------------------------------------

MAKES = [
    ["number", "twos", "threes", "free throws", "fouls"],
    ["3", "40", "2", "12", "18"],
    ["8", "22", "19", "9", "11"],
    ["11", "31", "0", "20", "25"],
    ["15", "12", "14", "4", "9"],
    ["24", "55", "0", "31", "30"],
]


def test_makes_alone_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "opponent.csv").write_bytes(save(MAKES))
    (tmp_path / "game.csv").write_bytes(save([["key", "value"], ["age", "adults"]]))
    found = load_evening(tmp_path)
    colours = {note.number: (note.shooter, note.shooter_from_makes) for note in found.opponents}
    assert colours == {
        3: (None, False),
        8: ("sure", True),
        11: ("shaky", True),
        15: ("sure", True),
        24: ("shaky", True),
    }
    assert found.shooting == ()
    said = " ".join(found.assumptions)
    assert "sure No. 8, 15; shaky No. 11, 24" in said and "how often they score" in said
    table, level = found.scenario.offence_team.by_number(11).shot_table, found.scenario.shot_table
    assert table is not None  # shaky, from made threes: worse from three, unchanged from nearer
    ratio = {
        d: m / level.make[level.distance_m.index(d)]
        for d, m in zip(table.distance_m, table.make, strict=True)
        if d in level.distance_m
    }
    assert ratio[3.5] == pytest.approx(1.0) and ratio[7.5] < 0.8
    assert cli.run(["compare", str(tmp_path), "-n", "200", "--quiet"]) == 0
    assert "own.csv is not there" in capsys.readouterr().out


def test_too_few_made_threes_say_nothing(tmp_path: Path) -> None:
    few = [MAKES[0], *([*row[:2], "1", *row[3:]] for row in MAKES[1:])]
    assert {note.shooter for note in evening(tmp_path, opponent=few).opponents} == {None}


def test_own_fouls_alone_tell_who_is_prone(tmp_path: Path) -> None:
    own = [["number", "fouls"], *([row[0], row[4]] for row in MAKES[1:])]
    found = evening(tmp_path, own=own)
    assert {note.number: note.prone_to_fouls for note in found.own} == {
        3: False,
        8: False,
        11: False,
        15: False,
        24: True,
    }


# --- assumptions -----------------------------------------------------------------------------------------


def test_each_assumption_is_said_once(tmp_path: Path) -> None:
    found = evening(tmp_path, own=[["number"], *([row[0]] for row in OWN[1:])])
    assert len(set(found.assumptions)) == len(found.assumptions)
    assert "Pace of Copper Kettles, everyone: normal for the size and level." in found.assumptions
    assert "Pace of Paper Kites, everyone: normal for the size and level." in found.assumptions
    partly = "Shots of Paper Kites, No. 33, that are neither counted nor charted: the level's average."
    assert partly in found.assumptions
    assert sum("Height order of Copper Kettles" in line for line in found.assumptions) == 1


def test_minutes_that_nobody_gave_are_assumed_of_who_starts(tmp_path: Path) -> None:
    own = [["number", "minutes"], *([str(number), "20" if number == 4 else ""] for number in range(3, 9))]
    said = evening(tmp_path, own=own).assumptions
    line = "Minutes of Copper Kettles (for their fouls alone), No. 3, 5, 6, 7: three quarters of the game."
    assert line in said and load_plan_constants()["share_played"].value == 0.75
    own = [["number", "minutes"], *([str(number), "20"] for number in range(3, 9))]
    assert not any("Minutes of" in one for one in evening(tmp_path, own=own).assumptions)


def test_threes_left_blank_beside_counted_twos_are_told(tmp_path: Path) -> None:
    """Of a man whose twos are counted, and of nobody else: a percentage or makes alone are no count."""
    head = ["number", "twos", "twos_attempted", "threes", "threes_attempted"]
    rows = {5: "38 84", 10: "24 55 0 0", 12: "45%", 20: "31", 33: ""}
    table = [head, *([str(n), *(cells + "    ").split(" ")[:4]] for n, cells in rows.items())]
    (line,) = [one for one in evening(tmp_path, opponent=table).assumptions if one.startswith("Threes of")]
    assert line.startswith("Threes of Paper Kites, No. 5: blank is not counted")


def test_what_is_given_is_not_assumed(tmp_path: Path) -> None:
    said = " ".join(evening(tmp_path).assumptions)
    for words in (
        "rule set is not given",
        "period is not given",
        "level is not given",
        "one guard out front",
    ):
        assert words not in said
    game = [["key", "value"], ["age group", "adults"]]
    said = " ".join(evening(tmp_path, game=game).assumptions)
    for words in (
        "rule set is not given",
        "period is not given",
        "level is not given",
        "one guard out front",
    ):
        assert words in said


def test_a_scenario_file_has_few_assumptions() -> None:
    found = load_evening("configs/scenarios/friday_night.toml")
    assert found.assumptions == () and found.folder is None and found.care.trap_advice_allowed
    young = load_evening("configs/scenarios/level_under_14.toml")
    assert not young.care.trap_advice_allowed
    assert young.assumptions == ("Shooting of Average five (Under 14), No. 4, 5, 6: the level's average.",)


# --- care ------------------------------------------------------------------------------------------------

CARE = [
    # age, zone, trap -> traps advised, zone played
    ("18", "yes", "yes", True, "two_three"),
    ("18", "don't know", "don't know", True, "two_three"),
    ("15", "", "", True, "two_three"),
    ("under 14", "yes", "don't know", False, "two_three"),
    ("U14", "", "", False, "man_to_man"),
    ("12-13", "no", "yes", True, "man_to_man"),
    ("8", "yes", "no", False, "two_three"),
    ("9", "yes", "yes", False, "two_three"),
    ("under 11", "no", "yes", False, "man_to_man"),
    ("under 12", "yes", "yes", True, "two_three"),
    ("", "yes", "", False, "two_three"),
    ("don't know", "", "", False, "man_to_man"),
    ("adults", "", "no", False, "two_three"),
    ("adults", "no", "", True, "man_to_man"),
]


@pytest.mark.parametrize(("age", "zone", "trap", "advised", "played"), CARE)
def test_trap_advice_waits_for_the_league(
    age: str, zone: str, trap: str, advised: bool, played: str, tmp_path: Path
) -> None:
    game = [["key", "value"], ["age_group", age], ["zone_allowed", zone], ["trapping", trap]]
    found = evening(tmp_path, game=game)
    assert found.care.trap_advice_allowed is advised
    assert bool(found.scenario.settings) is advised
    assert found.scenario.zone.name == played
    lines = found.care.lines()
    assert any(line.startswith("No trap advice") for line in lines) is not advised
    assert "qualified people decide" in lines[-1]
    if advised:
        assert all(
            call.defences == () or played in call.defences
            for s in found.scenario.settings
            for call in s.calls
        )


def test_without_leave_no_command_prints_trap_advice(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_evening(tmp_path, {"game.csv": with_key("age_group", "12")[:1] + [["age_group", "12"]]})
    assert cli.run(["compare", str(tmp_path), "-n", "200", "--quiet"]) == 0
    out = capsys.readouterr().out
    assert "no call to weigh" in out and "write yes at trap_allowed" in out
    assert "saves" not in out and "corner trap" not in out


def test_far_ahead_there_are_no_traps_unless_the_league_says_so(tmp_path: Path) -> None:
    limit = f"{load_care().lead_stop.value:g}"
    assert any(f"from {limit} points" in line for line in evening(tmp_path).care.lines())
    told = evening(tmp_path, game=with_key("press_when_far_ahead", "yes")).care.lines()
    assert not any("Far ahead" in line for line in told)


def test_a_young_level_brings_its_age(tmp_path: Path) -> None:
    found = evening(tmp_path, game=[["key", "value"], ["level", "U14"]])
    assert found.care.age_group == 14 and not found.care.trap_advice_allowed
    assert any("age group is not given" in line for line in found.assumptions)


def test_full_names_are_not_needed(tmp_path: Path) -> None:
    found = evening(tmp_path, own=with_cell(OWN, 1, "initials", "Somebody Longname"))
    assert [line for line in found.remarks if "initials are enough" in line and "No. 4" in line]


# --- folders wherever a scenario stands ------------------------------------------------------------------


def test_a_sheet_of_the_folder_and_a_shipped_folder_will_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = engine.load(write_evening(tmp_path))
    assert engine.load(tmp_path / "own.csv") == whole
    monkeypatch.chdir(tmp_path)
    shipped = load_evening("configs/sheets/example_evening")
    assert shipped.trap_targets == (12,) and len(shipped.scenario.settings) == 6
    assert shipped.signals == {"corner": "red", "short_corner": "fist", "wing": "blue", "top": "storm"}


def test_a_folder_without_sheets_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["compare", str(tmp_path)]) == 2
    assert "trapledger new FOLDER" in capsys.readouterr().err


def test_the_json_holds_the_evening(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_evening(tmp_path / "sheets")
    target = tmp_path / "out.json"
    assert cli.run(["compare", str(tmp_path / "sheets"), "-n", "100", "--quiet", "--json", str(target)]) == 0
    told = json.loads(target.read_text())["evening"]
    assert told == json.loads(json.dumps(load_evening(tmp_path / "sheets").to_dict()))
    assert max(map(len, (text := evening_text(told)).splitlines())) <= 80
    n = len(told["assumptions"]) + 2
    assert f"{n} things are assumed: trapledger check lists them." in " ".join(text.split())
    assert told["assumptions"][0] not in text
    assert cli.run(["check", str(tmp_path / "sheets")]) == 0
    checked = capsys.readouterr().out
    threes = {n["number"]: n for n in told["shooting"] if n["kind"] == "threes"}
    assert f"threes {100 * threes[10]['estimate']:.0f} (34 of 110)" in checked
    averages = [f"{100 * n['average']:.0f}" for n in threes.values()]
    pulled = f"threes {span(min(averages), max(averages))} of 100 ({threes[10]['strength']:.0f} added"
    assert pulled in checked and "the level's average man with his word" in checked
    assert all(line in checked for line in told["assumptions"])
    listed = checked.partition(f"{n} things assumed:\n")[2].splitlines()
    assert listed[n - 1].strip().startswith("Theirs: each man's own shots") and not listed[n:]


def test_only_the_weak_handlers_are_targets(tmp_path: Path) -> None:
    scenario = evening(tmp_path).scenario
    only = {s.name: {call.only_against for call in s.calls} for s in scenario.settings}
    assert only["wing and top, weak handlers only"] == {(12,)}
    assert all(numbers == {()} for name, numbers in only.items() if "weak" not in name)
    nobody = with_cell(OPPONENT, 3, "handles_pressure", "some")
    assert len(evening(tmp_path, opponent=nobody).scenario.settings) == len(scenario.settings) - 1


def test_check_reads_the_shipped_sheets_and_their_numbers() -> None:
    lines = check_path(configs_root() / "sheets")
    kinds = [line.split(": ", 1)[1] for line in lines if not line.startswith("  ")]
    assert [kind.split(" ")[0] for kind in kinds] == ["care", *["sheet"] * 4, "grades", "usual"]


def test_every_number_of_the_sheets_names_a_source() -> None:
    text = "".join(p.read_text() for p in (configs_root() / "sheets").glob("*.toml"))
    assert text.count("\nsource = ") >= text.count("\nvalue = ") > 10


@pytest.mark.parametrize("name", sorted(EVENING))
def test_any_sheet_may_be_left_out(name: str, tmp_path: Path) -> None:
    write_evening(tmp_path)
    (tmp_path / name).unlink()
    found = load_evening(tmp_path)
    assert any(name in line for line in found.assumptions) is (name not in ("calls.csv", "shots.csv"))
