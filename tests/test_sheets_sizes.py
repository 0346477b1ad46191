"""Who has no cm on the sheet: the size he was taken for, and that it is said."""

from __future__ import annotations

from pathlib import Path

import pytest
from sheet_files import GAME, write_evening

from engine.inputs.sheets import load_evening


def test_one_without_cm_has_the_middle_size_and_it_is_said(tmp_path: Path) -> None:
    """Six of seven have cm, in no order of rows; nobody has a place in the order. The smallest is on the last
    row: he is not the tallest. Of theirs one has none, too."""
    cm = ["176", "181", "190", "191", "199", "", "178"]
    rows = [["number", "starts", "place", "height_cm"]]
    places = ["left guard", "right guard", "left forward", "right forward", "centre", "forward", "guard"]
    for i, (place, height) in enumerate(zip(places, cm, strict=True)):
        rows.append([str(30 + i), "yes" if i < 5 else "no", place, height])
    theirs = [["number", "position", "height_cm"]]
    theirs += [[str(n), "guard", "" if n == 20 else "183"] for n in range(16, 21)]
    found = load_evening(write_evening(tmp_path, {"own.csv": rows, "opponent.csv": theirs}))
    team = found.scenario.defence_team
    assert team.by_number(35).height_m == pytest.approx(1.855)  # the middle of the six
    assert team.by_number(35).position == 3 and team.by_number(36).position == 2
    said = " ".join(found.assumptions)
    assert f"Height of {team.name}, No. 35: no cm, taken as 186, the middle of those given." in said
    assert "smallest first" not in said
    his = found.scenario.offence_team.by_number(20).height_m
    assert f"No. 20: no cm, taken as {100 * his:.0f}, the level's average for his place." in said
    notes = {note.number: note for note in found.own}
    assert [n for n, note in notes.items() if not note.size_known] == [35]
    assert notes[35].can_play == ("left_forward", "right_forward") and notes[34].can_play == ("centre",)


def own(tmp_path: Path, cm: list[str], order: list[str]) -> tuple[dict[int, float], dict[int, int], str]:
    """Heights, positions and what is said of seven men of ours, 30 to 36, five of them starting."""
    rows = [["number", "starts", "height_cm", "height_order"]]
    for i, (height, place) in enumerate(zip(cm, order, strict=True)):
        rows.append([str(30 + i), "yes" if i < 5 else "no", height, place])
    found = load_evening(write_evening(tmp_path, {"own.csv": rows}))
    team = found.scenario.defence_team
    return (
        {one.number: one.height_m for one in team.players},
        {one.number: one.position for one in team.on_court},
        " ".join(found.assumptions),
    )


def test_one_cm_alone_is_no_size_for_all(tmp_path: Path) -> None:
    heights, places, said = own(tmp_path, [""] * 6 + ["165"], [""] * 7)
    assert heights[36] == pytest.approx(1.65) and len(set(heights.values())) > 4
    assert places == {30: 1, 31: 2, 32: 3, 33: 4, 34: 5}
    assert "smallest first, beside the cm that are given" in said


def test_an_order_and_cm_make_one_ranking(tmp_path: Path) -> None:
    """The tallest by order, without cm, is the tallest; tall men without an order are not the middle."""
    heights, places, _ = own(tmp_path, ["", "178", "182", "185", "188", "180", ""], ["1"] + [""] * 6)
    assert places[30] == 5 and heights[30] > 1.88
    _, places, _ = own(tmp_path, ["210", "205", "", "", "", "200", ""], ["", "", "5", "6", "7", "", "4"])
    assert places[30] == 5 and places[31] == 4 and places[34] == 1


def test_what_was_read_otherwise_than_it_stands_is_said_in_one_line(tmp_path: Path) -> None:
    """Metres for centimetres, U18 and a word for the level; what stands as it is meant is not said."""
    rows = [["number", "starts", "height_cm"]]
    rows += [[str(30 + i), "yes", cm] for i, cm in enumerate(("1,87", "188", "1.9 m", "191", "192 cm"))]
    game = [["age_group", "U18"] if key == "age_group" else [key, value] for key, value in GAME]
    game = [["level", "varsity"] if row[0] == "level" else row for row in game]
    found = load_evening(write_evening(tmp_path / "one", {"own.csv": rows, "game.csv": game}))
    us = found.scenario.defence_team.name
    lines = [line for line in found.assumptions if line.startswith("Read as meant")]
    assert lines == [
        'Read as meant, not as typed: "U18" in age_group as under 18; "varsity" in level as school; "1,87" '
        f'in height_cm, No. 30 of {us}, as 187 cm; "1.9 m" in height_cm, No. 32 of {us}, as 190 cm.'
    ]
    rows = [rows[0], *([number, "yes", "188"] for number, *_ in rows[1:])]
    plain = load_evening(write_evening(tmp_path / "two", {"own.csv": rows}))
    assert not any(line.startswith("Read as meant") for line in plain.assumptions)


def test_what_is_empty_of_a_man_on_their_bench_is_said_once(tmp_path: Path) -> None:
    theirs = [["number", "starts", "position", "handles_pressure", "twos", "threes", "free_throws"]]
    theirs += [[str(n), "yes", "guard", "some", "10/20", "1/9", "3/4"] for n in range(16, 21)]
    theirs.append(["44", "", "", "", "", "", ""])
    found = load_evening(write_evening(tmp_path, {"opponent.csv": theirs}))
    (line,) = (line for line in found.assumptions if "44" in line)
    assert (
        line == "On the bench of Paper Kites, No. 44: not played; what is empty there is the level's average."
    )
