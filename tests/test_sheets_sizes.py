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
