"""Who has no cm on the sheet: the size he was taken for, and that it is said."""

from __future__ import annotations

from pathlib import Path

import pytest
from sheet_files import write_evening

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
