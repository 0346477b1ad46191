"""Workbooks on their way through a spreadsheet program: the blank one, filled in, is converted by LibreOffice
Calc here and now (.xlsx to .ods and back, CSV to .xlsx and back), ten right ones and eleven wrong ones.

What a right one must mean is what the same tables mean as CSV; a wrong one gets one line and status 2.
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from sheet_files import OPPONENT, with_cell, write_evening
from test_sheets_book import FIRST, TABLES, fill
from test_sheets_saved import meaning

from engine import cli
from engine.inputs.sheets import load_evening, write_blank

#: Every sheet of a workbook as a CSV file of its own: separator, quotation mark, UTF-8, ..., all sheets.
EACH_SHEET = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
MACROS = "xlsm:Calc MS Excel 2007 VBA XML"

pytestmark = pytest.mark.full


@pytest.fixture(autouse=True)
def spreadsheet_program() -> None:
    """These tests are for a machine with LibreOffice Calc."""
    assert shutil.which("soffice") is not None, "soffice is not installed"


def column_of(sheet: str, name: str) -> int:
    """Column of a heading, from 1."""
    return [column.name for column in TABLES[sheet]].index(name) + 1


def put(book: Any, sheet: str, name: str, row: int, value: Any, number_format: str = "General") -> None:
    """A value in the cell of a player (rows from 1), formatted."""
    cell = book[sheet].cell(FIRST - 1 + row, column_of(sheet, name))
    cell.value, cell.number_format = value, number_format


def as_numbers(book: Any) -> None:
    """Text that is a number becomes one."""
    for name in ("game", *TABLES):
        for row in book[name].iter_rows(min_row=2):
            for cell in row:
                if isinstance(cell.value, str) and cell.value.replace(".", "", 1).isdigit():
                    cell.value, cell.number_format = float(cell.value), "General"


def formulas(book: Any) -> None:
    put(book, "opponent", "twos", 1, "=30+8")
    put(book, "own", "height_order", 1, "=2+3")


def untidy(book: Any) -> None:
    book["own"].insert_rows(1)
    book["own"]["A1"] = "Our team, Friday"
    book.move_sheet("game", 3)
    book.create_sheet("my notes", 0)["A1"] = "bring the whiteboard"


def nothing(book: Any) -> None:
    return None


def renamed(book: Any) -> None:
    book["opponent"].title = "Paper Kites"


def merged(book: Any) -> None:
    book["own"].merge_cells("D4:D5")


def no_headings(book: Any) -> None:
    book["opponent"].delete_rows(1)


@dataclass(frozen=True)
class Way:
    """A workbook: what is done to it once it is filled in, what it is converted to in turn, and the tables
    that it must mean (``right``) or what its one line must hold (``told``)."""

    change: Callable[[Any], None]
    steps: tuple[str, ...]
    told: str = ""
    right: tuple[tuple[str, Any], ...] = ()


def one(sheet: str, name: str, row: int, value: Any, number_format: str = "General") -> Callable[[Any], None]:
    return lambda book: put(book, sheet, name, row, value, number_format)


ACCENTS = (("opponent.csv", with_cell(OPPONENT, 1, "initials", "Ä.Ç.")),)
RIGHT = {
    "text, .ods": Way(nothing, ("ods",)),
    "text, .ods and back": Way(nothing, ("ods", "xlsx")),
    "numbers, .ods": Way(as_numbers, ("ods",)),
    "numbers, .ods and back": Way(as_numbers, ("ods", "xlsx")),
    "formulas, .ods and back": Way(formulas, ("ods", "xlsx")),
    "a percentage by its format": Way(one("opponent", "twos", 4, 0.45, "0%"), ("ods", "xlsx")),
    "a title, other order, notes": Way(untidy, ("ods", "xlsx")),
    "accents": Way(one("opponent", "initials", 1, "Ä.Ç."), ("ods", "xlsx"), right=ACCENTS),
    "old .xls and on to .xlsx": Way(nothing, ("xls", "xlsx")),
    "every sheet as CSV": Way(nothing, ("ods", EACH_SHEET)),
}
WRONG = {
    "a renamed sheet": Way(renamed, ("ods", "xlsx"), "the name opponent, whose columns it has"),
    "merged cells": Way(merged, ("ods", "xlsx"), "column height order (cell D4): 'merged cells D4:D5'"),
    "a failed formula": Way(one("opponent", "twos", 1, "=10/0"), ("ods", "xlsx"), "'#DIV/0!' is not allowed"),
    "a wrong number": Way(
        one("opponent", "twos", 1, "40/38", "@"), ("ods", "xlsx"), "made at most attempted"
    ),
    "a wrong word": Way(one("own", "place", 1, "goalkeeper", "@"), ("ods", "xlsx"), "left or right guard"),
    "an empty number": Way(
        one("own", "number", 3, None), ("ods", "xlsx"), "column number (cell A6) is missing"
    ),
    "percent of a count": Way(one("own", "fouls", 1, 0.2, "0%"), ("ods", "xlsx"), "column fouls"),
    "no headings": Way(no_headings, ("ods", "xlsx"), "the heading row"),
    "an old .xls": Way(nothing, ("xls",), "'.xls' is not allowed; allowed: .xlsx or .ods"),
    "macros": Way(nothing, (MACROS,), "a workbook with macros: '.xlsm' is not allowed"),
    "two workbooks": Way(nothing, ("ods", "both"), "one workbook in the folder"),
}


def convert(paths: list[Path], to: str, where: Path, profile: Path) -> None:
    """Files converted by LibreOffice into a folder."""
    where.mkdir(exist_ok=True)
    command = ["soffice", f"-env:UserInstallation={profile.as_uri()}", "--headless", "--convert-to", to]
    done = subprocess.run(
        [*command, "--outdir", str(where), *map(str, paths)], capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Every way's folder as a coach would have it; the program is started once for each conversion."""
    root = tmp_path_factory.mktemp("converted")
    (blank,) = write_blank(root / "blank")
    ways = {**RIGHT, **WRONG}
    files: dict[str, Path] = {}
    for number, (name, way) in enumerate(ways.items()):
        book = openpyxl.load_workbook(blank)
        fill(book)
        way.change(book)
        files[name] = root / f"friday{number}.xlsx"
        book.save(files[name])
    for step in (0, 1):
        todo: dict[str, list[str]] = {}
        for name, way in ways.items():
            if len(way.steps) > step and way.steps[step] != "both":
                todo.setdefault(way.steps[step], []).append(name)
        for number, (to, names) in enumerate(todo.items()):
            where = root / f"step{step}.{number}"
            convert([files[name] for name in names], to, where, root / "profile")
            if to != EACH_SHEET:
                files |= {name: where / f"{files[name].stem}.{to.partition(':')[0]}" for name in names}
                continue
            for name in names:  # one file for each sheet; a coach gives them the sheets' names
                files[name] = where
                for path in where.glob("*.csv"):
                    path.rename(where / path.name.partition("-")[2])
    found = {}
    for number, (name, path) in enumerate(files.items()):
        found[name] = root / f"folder{number}"
        if path.is_dir():
            shutil.copytree(path, found[name])
            continue
        found[name].mkdir()
        shutil.copy(path, found[name])
        if ways[name].steps[-1] == "both":
            shutil.copy(root / f"{path.stem}.xlsx", found[name])
    return found


@pytest.mark.parametrize("name", RIGHT)
def test_a_converted_workbook_means_what_its_tables_mean(
    name: str, folders: dict[str, Path], tmp_path: Path
) -> None:
    plain = load_evening(write_evening(tmp_path / "csv", dict(RIGHT[name].right)))
    (file, *_) = sorted(path.name for path in folders[name].iterdir())
    found = load_evening(folders[name])
    assert meaning(found, file) == meaning(plain, file)
    assert found.remarks == ()


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_one_is_told_in_one_line(
    name: str, folders: dict[str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["check", str(folders[name])]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and err.startswith("trapledger: ")
    assert WRONG[name].told in err, err
