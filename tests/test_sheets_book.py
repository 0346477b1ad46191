"""One workbook: what ``new`` writes, which of several files is read, and what is refused in one line."""

from __future__ import annotations

import dataclasses
import datetime
import io
import os
import shutil
import tempfile
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_files import EVENING, with_cell, with_key, write_evening

import engine
from engine import cli
from engine.errors import InputError
from engine.inputs.sheets import load_evening, write_blank
from engine.inputs.sheets.blank_book import BOOK, COLOURS, ROWS
from engine.inputs.sheets.book import MOST_ROWS, letter
from engine.inputs.sheets.columns import (
    CALL_COLUMNS,
    SHOT_COLUMNS,
    Column,
    opponent_columns,
    own_columns,
)
from engine.inputs.sheets.data import load_grades
from engine.inputs.sheets.questions import game_keys

SAVED = Path(__file__).parent / "workbooks"
GRADES = load_grades()
TABLES = {
    "own": own_columns(GRADES),
    "opponent": opponent_columns(GRADES),
    "calls": CALL_COLUMNS,
    "shots": SHOT_COLUMNS,
}
SHIPPED_PLAYS = Path(__file__).parents[1] / "configs" / "plays"
#: First row to write in, from 1.
FIRST = 4


def folder_with(name: str, tmp_path: Path) -> Path:
    """A folder with one of the saved workbooks."""
    folder = tmp_path / "friday"
    folder.mkdir()
    shutil.copy(SAVED / name, folder / name)
    return folder


def one_line(error: InputError) -> str:
    text = str(error)
    assert len(text.splitlines()) == 1 and text.isprintable(), text
    return text


# --- what new writes -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def blank(tmp_path_factory: pytest.TempPathFactory) -> Path:
    (path,) = write_blank(tmp_path_factory.mktemp("blank") / "friday")
    return path


def test_new_writes_one_workbook_that_runs_as_it_stands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "friday"
    assert cli.run(["new", str(folder)]) == 0
    assert [path.name for path in folder.iterdir()] == [BOOK] and BOOK in capsys.readouterr().out
    assert cli.run(["new", str(folder)]) == 2 and f"'{BOOK}' is not allowed" in capsys.readouterr().err
    for line in (
        "compare FOLDER -n 100",
        "play FOLDER/evening.xlsx -n 50",
        "check FOLDER",
        "trace FOLDER --index 1",
    ):
        assert cli.run(line.replace("FOLDER", str(folder)).split()) == 0, line
        assert capsys.readouterr().out
    assert engine.load(folder) == engine.load(folder / BOOK).model_copy(update={"path": folder})


@pytest.mark.parametrize("separators", [(",", None), (None, ",")])
def test_new_writes_nothing_beside_sheets_that_it_would_stand_before(
    separators: tuple[str | None, str | None], tmp_path: Path
) -> None:
    """Blank sheets of the other kind, saved later, would be played in place of those filled in."""
    write_blank(tmp_path, separator=separators[0])
    before = sorted(tmp_path.iterdir())
    there = "own.csv" if separators[0] else "evening.xlsx"
    with pytest.raises(InputError, match=there) as told:
        write_blank(tmp_path, separator=separators[1])
    assert "a new folder" in str(told.value) and sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize("name", ["my.ods", "Friday.XLSX", "old.xls"])
@pytest.mark.parametrize("separator", [",", None])
def test_new_sees_a_workbook_under_any_name(name: str, separator: str | None, tmp_path: Path) -> None:
    (tmp_path / name).write_text("filled in")
    with pytest.raises(InputError, match=f"'{name}' is not allowed; allowed: a new folder"):
        write_blank(tmp_path, separator=separator)
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_every_cell_to_fill_in_is_text_with_a_note_and_its_drop_down(blank: Path) -> None:
    book = openpyxl.load_workbook(blank)
    assert book.sheetnames == ["read first", "game", "own", "opponent", "calls", "shots"]
    for name, columns in TABLES.items():
        sheet = book[name]
        offered = {str(rule.sqref): rule.formula1 for rule in sheet.data_validations.dataValidation}
        for j, column in enumerate(columns, 1):
            at = letter(j - 1)
            assert sheet.cell(1, j).comment.text == column.help
            last = FIRST + ROWS[f"{name}.csv"] - 1
            for i in range(FIRST, last + 1):
                assert (sheet.cell(i, j).number_format, sheet.cell(i, j).value) == ("@", None)
            wanted = f'"{",".join(column.choices)}"' if column.choices else None
            assert offered.get(f"{at}{FIRST}:{at}{last}") == wanted
    game = book["game"]
    answers = {game.cell(i, 1).value: game.cell(i, 2) for i in range(2, 2 + len(game_keys()))}
    assert [key.label for key in game_keys()] == list(answers)
    assert {name: cell.value for name, cell in answers.items() if cell.value} == {"level": "school"}
    assert all(cell.number_format == "@" and cell.comment for cell in answers.values())


@pytest.mark.parametrize("pair", sorted(COLOURS))
def test_text_stands_out_from_its_ground(pair: str) -> None:
    """4.5 or more by the definition of contrast of WCAG 2.1 (W3C; the formula from memory)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (0, 2, 4)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return sum(weight * c for weight, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))

    dark, light = sorted(luminance(colour) for colour in COLOURS[pair])
    assert (light + 0.05) / (dark + 0.05) >= 4.5


def fill(book: Any, changed: dict[str, list[list[str]]] | None = None) -> None:
    """The evening of the tests, typed into a blank workbook."""
    tables = {**EVENING, **(changed or {})}
    labels = {book["game"].cell(i, 1).value: i for i in range(2, 30)}
    for key, value in tables["game.csv"][1:]:
        book["game"].cell(labels[key.replace("_", " ")], 2, value)
    for name, columns in TABLES.items():
        places = {column.name: j for j, column in enumerate(columns, 1)}
        heading, *rows = tables[f"{name}.csv"]
        for i, row in enumerate(rows, FIRST):
            for column, text in zip(heading, row, strict=True):
                if text:
                    book[name].cell(i, places[column], text)


def saved(book: Any, folder: Path, name: str = BOOK) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    book.save(folder / name)
    return folder


CHOICES = [(name, column, word) for name in TABLES for column in TABLES[name] for word in column.choices]


def test_every_word_a_drop_down_offers_is_understood(blank: Path, tmp_path: Path) -> None:
    def tried(name: str, column: Column, word: str) -> None:
        table = with_cell(EVENING[f"{name}.csv"], 1, column.name, word)
        if column.name == "trigger" and word in ("over half court", "brought down"):
            table = with_cell(table, 1, "where", "top")
        if (name, column.name) in (("own", "starts"), ("opponent", "starts")):
            table = [*table, ["77", *[""] * (len(table[0]) - 1)]]
            for i in range(1, len(table)):
                table = with_cell(
                    table, i, "starts", word if i == 1 else "yes" if i < 6 or word == "no" else "no"
                )
        game = with_key("zone_allowed", "no") if word == "screen on the ball" else EVENING["game.csv"]
        write_evening(tmp_path / "csv", {"game.csv": game, f"{name}.csv": table})
        load_evening(tmp_path / "csv")

    assert len(CHOICES) > 40
    for name, column, word in CHOICES:
        tried(name, column, word)
    for key in game_keys():
        for word in key.choices:
            game = [row for row in EVENING["game.csv"] if row[0] not in (key.name, "age_group")]
            age = "14" if word == "under_14" else "18"
            write_evening(tmp_path / "g", {"game.csv": [*game, ["age_group", age], [key.name, word]]})
            load_evening(tmp_path / "g")


def test_an_example_that_was_changed_but_has_no_number_is_told(blank: Path, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(blank)
    fill(book)
    book["own"].cell(3, 2, "Z.Z.")
    found = load_evening(saved(book, tmp_path / "a"))
    assert [line for line in found.assumptions if "example row was changed" in line and "sheet own" in line]
    book["own"].cell(3, 1, "77")
    for j in (3, 4):  # nobody starts twice, nor has another's size
        book["own"].cell(3, j).value = None
    assert 77 in [note.number for note in load_evening(saved(book, tmp_path / "b")).own]


# --- which of several files is read ----------------------------------------------------------------------


def test_the_files_saved_last_are_read_and_it_says_so(blank: Path, tmp_path: Path) -> None:
    folder = write_evening(tmp_path / "friday")
    shutil.copy(blank, folder / BOOK)
    os.utime(folder / BOOK, (2e9, 2e9))
    found = load_evening(folder)
    names = "calls.csv, game.csv, opponent.csv, own.csv, shots.csv"
    assert found.remarks == (f"{BOOK} was saved after {names}: the workbook is read, the CSV files are not.",)
    assert found.scenario.settings == () and found.scenario.files[0].name == BOOK
    os.utime(folder / BOOK, (1e9, 1e9))
    found = load_evening(folder)
    assert found.remarks == (f"{names} saved after {BOOK}: {BOOK} is not read.",)
    assert found.scenario.defence_team.name == "Copper Kettles"
    (folder / BOOK).write_bytes(b"")  # older and not opened
    os.utime(folder / BOOK, (1e9, 1e9))
    assert load_evening(folder).scenario == found.scenario


def test_a_workbook_without_our_sheets_leaves_the_csv_sheets_alone(tmp_path: Path) -> None:
    folder = write_evening(tmp_path / "friday")
    shutil.copy(SAVED / "wrong_empty.xlsx", folder / "budget.xlsx")
    os.utime(folder / "budget.xlsx", (2e9, 2e9))
    assert load_evening(folder).remarks == ("budget.xlsx has none of the sheets and is not read.",)


def test_beside_a_workbook_of_an_evening_lies_a_play(
    blank: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A stray spreadsheet beside files of another kind makes no evening of their folder."""
    play = SHIPPED_PLAYS / "drive_kick.toml"
    folder = tmp_path / "friday"
    folder.mkdir()
    shutil.copy(blank, folder / BOOK)
    shutil.copy(play, folder / play.name)
    assert cli.run(["check", str(folder)]) == 0
    out = capsys.readouterr().out
    assert out.startswith(f"{folder}: Fill in first: age_group") and f'{folder / play.name}: play "' in out
    shutil.copy(SAVED / "wrong_empty.xlsx", folder / BOOK)
    assert cli.run(["check", str(folder)]) == 0
    assert capsys.readouterr().out.startswith(f'{folder / play.name}: play "')


def test_two_workbooks_are_told_and_one_may_be_named(blank: Path, tmp_path: Path) -> None:
    folder = folder_with("right_text.xlsx", tmp_path)
    shutil.copy(blank, folder / BOOK)
    with pytest.raises(InputError, match=r"'2 workbooks: evening.xlsx, right_text.xlsx' is not allowed"):
        load_evening(folder)
    assert load_evening(folder / "right_text.xlsx").scenario.defence_team.name == "Copper Kettles"
    for lock in ("~$evening.xlsx", ".~lock.evening.xlsx#"):  # of a program that has it open
        (folder / lock).write_bytes(b"x")
    (folder / "right_text.xlsx").unlink()
    assert load_evening(folder).scenario.settings == ()


@pytest.mark.parametrize("ending", [".xls", ".xlsb", ".numbers", ".xlsm"])
def test_other_formats_are_told(ending: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / f"evening{ending}").write_bytes(b"PK\x03\x04")
    assert cli.run(["check", str(tmp_path)]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and f"evening{ending}" in err and ".xlsx or .ods" in err


def test_a_command_reads_the_workbook_once(
    blank: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[str] = []
    plain = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda path: (read.append(path.name), plain(path))[1])
    folder = saved(openpyxl.load_workbook(blank), tmp_path / "friday")
    assert cli.run(["compare", str(folder), "-n", "40", "--quiet"]) == 0
    assert read.count(BOOK) == 1


# --- damaged, and what only some programs write ----------------------------------------------------------


def told(folder: Path) -> str:
    with pytest.raises(InputError) as error:
        load_evening(folder)
    return one_line(error.value)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_damaged_workbook_is_read_or_told_in_one_line(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(["right_text.xlsx", "right_text.ods"]))
    whole = bytearray((SAVED / name).read_bytes())
    if data.draw(st.booleans()):
        del whole[data.draw(st.integers(0, len(whole) - 1)) :]
    for _ in range(data.draw(st.integers(0, 8))):
        if whole:
            whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / name).write_bytes(whole)
        try:
            load_evening(folder)
        except InputError as error:
            assert name in one_line(error)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "'an empty file' is not allowed; allowed: a workbook that a spreadsheet opens"),
        (b"<html>no workbook</html>", "'a damaged file, or no workbook'"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "'a workbook in an old format'"),
    ],
)
def test_what_is_no_workbook_is_told(data: bytes, words: str, tmp_path: Path) -> None:
    (tmp_path / BOOK).write_bytes(data)
    assert words in told(tmp_path)


def test_macros_under_another_name_are_told(blank: Path, tmp_path: Path) -> None:
    data = io.BytesIO(blank.read_bytes())
    with zipfile.ZipFile(data, "a") as archive:
        archive.writestr("xl/vbaProject.bin", b"x")
    (tmp_path / BOOK).write_bytes(data.getvalue())
    assert "'a workbook with macros' is not allowed" in told(tmp_path)


def test_a_bomb_is_not_unpacked(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "evening.ods", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("content.xml", bytes(70_000_000))
    assert "bytes unpacked' is not allowed" in told(tmp_path)


def test_a_formula_without_a_stored_value_is_told(blank: Path, tmp_path: Path) -> None:
    """As programs write it that do not calculate."""
    book = openpyxl.load_workbook(blank)
    fill(book)
    book["opponent"].cell(FIRST, 11, "=30+8")
    assert "row 4, column twos made (cell K4): '=30+8' is not allowed; allowed: a value" in told(
        saved(book, tmp_path)
    )


def test_a_merged_heading_and_a_far_cell_are_told(blank: Path, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(blank)
    fill(book)
    book["opponent"].merge_cells("K1:L1")
    assert "row 1 (cell K1): 'merged cells K1:L1'" in told(saved(book, tmp_path / "a"))
    book = openpyxl.load_workbook(blank)
    book["own"].cell(MOST_ROWS + 1, 1, "x")
    last = openpyxl.utils.get_column_letter(len(own_columns(GRADES)))
    assert f"sheet own: 'cells down to {last}{MOST_ROWS + 1}' is not allowed" in told(
        saved(book, tmp_path / "b")
    )


def test_faults_where_nothing_is_asked_do_no_harm(blank: Path, tmp_path: Path) -> None:
    """A date in a column of one's own, in the example and in a row without answers."""
    book = openpyxl.load_workbook(blank)
    fill(book)
    day = datetime.datetime(2026, 3, 10)
    book["own"].cell(1, 14, "last seen")
    book["own"].cell(FIRST, 14, day)
    book["own"].cell(3, 8, day)
    book["opponent"].merge_cells("A15:C15")
    found = load_evening(saved(book, tmp_path))
    assert found.scenario.defence_team.name == "Copper Kettles"
    assert [line for line in found.remarks if "last seen" in line]


@pytest.mark.parametrize(
    ("sheet", "change", "words"),
    [
        ("own", lambda s: s.delete_rows(1), "the heading row above the rest"),
        ("shots", lambda s: s.delete_rows(1, 100), "sheet shots: 'an empty sheet' is not allowed"),
        ("own", lambda s: setattr(s, "title", "our five"), "the name own, whose columns it has"),
        ("calls", lambda s: setattr(s, "title", "ideas"), "the name calls, whose columns it has"),
        ("game", lambda s: setattr(s, "title", "Friday"), "the name game, whose columns it has"),
        ("opponent", lambda s: s.cell(FIRST + 1, 1, "5"), "a number no other player has (row 4 has it)"),
        ("opponent", lambda s: s.cell(FIRST, 5, "blue"), "row 4, column shooter (cell E4): 'blue'"),
        ("game", lambda s: s.cell(2, 2, "young"), "sheet game: row 2, key age_group (cell B2): 'young'"),
        (
            "game",
            lambda s: s.cell(8, 2, datetime.time(8, 10)),
            "row 8, column your answer (cell B8): '08:10:00'",
        ),
        ("calls", lambda s: s.cell(FIRST, 2, "moon"), "sheet calls: row 4, column where (cell B4): 'moon'"),
    ],
)
def test_a_mistake_in_a_sheet_is_told_with_its_cell(
    sheet: str, change: Any, words: str, blank: Path, tmp_path: Path
) -> None:
    book = openpyxl.load_workbook(blank)
    fill(book)
    change(book[sheet])
    assert words in told(saved(book, tmp_path))


def test_what_must_be_filled_in_is_not_said_to_be_left_empty(blank: Path, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(blank)
    fill(book)
    book["calls"].cell(FIRST, 2, "moon")
    assert told(saved(book, tmp_path)).endswith("one of corner, short corner, wing, top, half court corner")
    book["calls"].cell(FIRST, 2, "corner")
    book["opponent"].cell(FIRST, 5, "blue")
    assert told(saved(book, tmp_path)).endswith("; or leave it empty")


def test_a_second_copy_of_a_sheet_is_remarked_on(blank: Path, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(blank)
    fill(book)
    book.copy_worksheet(book["own"]).title = "own last week"
    assert load_evening(saved(book, tmp_path)).remarks == (
        f"{tmp_path}/{BOOK}: the sheet own last week is not read, the sheet own is.",
    )


def test_sheets_may_be_left_out_of_a_workbook(blank: Path, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(blank)
    fill(book)
    for name in ("read first", "own", "calls", "shots"):
        del book[name]
    found = load_evening(saved(book, tmp_path))
    assert any(f"{BOOK}, sheet own is not there" in line for line in found.assumptions)
    assert dataclasses.asdict(found)["shooting"]


def test_letters_of_columns() -> None:
    assert [letter(j) for j in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]
