"""Workbooks as a spreadsheet program saves them: LibreOffice Calc 7.4.7 (tests/workbooks/save.py)."""

from __future__ import annotations

import datetime
import json
import shutil
from pathlib import Path

import pytest
import python_calamine
from sheet_files import OPPONENT, with_cell, write_evening

from engine import cli
from engine.inputs import config_hash
from engine.inputs.sheets import Evening, load_evening
from engine.inputs.sheets.book import read_book
from engine.inputs.sheets.columns import SHEETS

SAVED = Path(__file__).parent / "workbooks"


def folder_with(name: str, tmp_path: Path) -> Path:
    """A folder with one of the saved workbooks."""
    folder = tmp_path / "friday"
    folder.mkdir()
    shutil.copy(SAVED / name, folder / name)
    return folder


def meaning(evening: Evening, file: str) -> tuple[str, str]:
    """What an evening says, whatever the sheets are called; remarks name files and are left out."""
    told = evening.to_dict()
    told.pop("remarks")
    text = json.dumps(told)
    for sheet in SHEETS:
        text = text.replace(f"{file}, sheet {sheet.removesuffix('.csv')}", sheet)
    return config_hash(evening.scenario), text


RIGHT = sorted(path.name for path in SAVED.glob("right_*"))
#: A saved workbook -> what its one line must hold.
WRONG = {
    "wrong_renamed.xlsx": "xlsx: sheet: 'Paper Kites' is not allowed; allowed: the name opponent",
    "wrong_merged.xlsx": "sheet own: row 4, column height order (cell D4): 'merged cells D4:D5'",
    "wrong_merged.ods": "sheet own: row 4, column height order (cell D4): 'merged cells D4:D5'",
    "wrong_failed.xlsx": "sheet opponent: row 4, column twos made (cell K4): '#DIV/0!' is not allowed",
    "wrong_failed.ods": "sheet opponent: row 4, column twos made (cell K4): '#DIV/0!' is not allowed",
    "wrong_dated.xlsx": "sheet opponent: row 5, column threes made (cell M5): '2026-08-10'",
    "wrong_dated.ods": "sheet opponent: row 5, column threes made (cell M5): '2026-08-10'",
    "wrong_number_as_date.xlsx": "threes made (cell M5): '1900-02-03' is not allowed; allowed: a number",
    "wrong_percent_of_fouls.xlsx": "sheet own: row 4, column fouls (cell H4): '20%'",
    "wrong_macros.xlsm": "a workbook with macros: '.xlsm' is not allowed; allowed: .xlsx or .ods",
    "wrong_password.xlsx": "'a workbook with a password' is not allowed",
    "wrong_password.ods": "'a workbook with a password' is not allowed",
    "wrong_empty.xlsx": "sheets: 'Sheet1' is not allowed; allowed: the sheets game, own, opponent",
}


@pytest.mark.parametrize("name", [name for name in RIGHT if "blank" not in name])
def test_a_saved_workbook_means_what_the_same_sheets_mean_as_csv(name: str, tmp_path: Path) -> None:
    opponent = with_cell(OPPONENT, 1, "initials", "\u00c4.\u00c7.") if "spelled" in name else OPPONENT
    plain = load_evening(write_evening(tmp_path / "csv", {"opponent.csv": opponent}))
    found = load_evening(folder_with(name, tmp_path))
    assert meaning(found, name) == meaning(plain, name)
    assert found.remarks == () and found.signals["hammer, corner"] == "hammer"


def test_the_blank_workbook_saved_again_is_still_blank(tmp_path: Path) -> None:
    found = load_evening(folder_with("right_blank.xlsx", tmp_path))
    assert all(note.stands_in for note in (*found.own, *found.opponents)) and found.remarks == ()
    assert found.scenario.settings == () and found.care.age_group is None
    assert not any("example" in line for line in found.assumptions)


def test_every_wrong_file_has_its_line_here() -> None:
    assert set(WRONG) == {path.name for path in SAVED.glob("wrong_*")} and len(RIGHT) >= 10 <= len(WRONG)


@pytest.mark.parametrize("name", sorted(WRONG))
def test_a_wrong_workbook_is_told_in_one_line(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = folder_with(name, tmp_path)
    for command in ("check", "compare"):
        assert cli.run([command, str(folder)]) == 2
        out, err = capsys.readouterr()
        assert out == "" and err.count("\n") == 1 and err.startswith("trapledger: ")
        assert WRONG[name] in err and name in err, err


@pytest.mark.parametrize("name", [*RIGHT, "wrong_merged.ods", "wrong_dated.xlsx", "wrong_dated.ods"])
def test_a_second_reader_finds_the_same_cells(name: str) -> None:
    """Outside check: calamine, which shares no code with what is used here (python-calamine, its cells)."""
    ours = read_book(SAVED / name, name)
    theirs = python_calamine.CalamineWorkbook.from_path(SAVED / name)
    assert list(ours) == theirs.sheet_names
    compared = 0
    for title, grid in ours.items():
        other = theirs.get_sheet_by_name(title).to_python(skip_empty_area=False)
        for i, j in {(i, j) for i, row in enumerate(other) for j in range(len(row))}:
            text = grid.rows[i][j] if i < len(grid.rows) and j < len(grid.rows[i]) else ""
            value = other[i][j]
            if isinstance(value, float) and text:
                shown = float(text.rstrip("%")) / (100 if text.endswith("%") else 1)
                assert shown == pytest.approx(value), (title, i, j)
            elif isinstance(value, datetime.date):
                assert (i, j) in grid.faults and text == str(value)
            elif (i, j) not in grid.faults:  # below a merged cell the old answer is kept, unseen
                assert text == str(value), (title, i, j)
            compared += text != ""
    assert compared > 200
