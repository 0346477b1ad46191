"""Saves the workbooks of this folder with LibreOffice Calc, as a coach would: typed in, formatted, saved.

Run by hand with a Python that has ``uno`` (Debian: libreoffice-calc, python3-uno), from the root:

    python tests/workbooks/save.py BLANK.xlsx       # the workbook that ``trapledger new`` writes

The files here were saved by LibreOffice 7.4.7. tests/test_sheets_book.py says what each must get.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import uno
from com.sun.star.beans import PropertyValue

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from sheet_files import EVENING, GAME  # noqa: E402

FILTERS = {
    ".xlsx": "Calc MS Excel 2007 XML",
    ".xlsm": "Calc MS Excel 2007 VBA XML",
    ".ods": "calc8",
}
#: First row to write in, from 0: below the headings, the help and the example.
FIRST = 3
GENERAL, TEXT = 0, 100  # number formats of the spreadsheet


def properties(**given: Any) -> tuple[PropertyValue, ...]:
    found = []
    for name, value in given.items():
        one = PropertyValue()
        one.Name, one.Value = name, value
        found.append(one)
    return tuple(found)


def named(**given: str) -> Any:
    found = []
    for name, value in given.items():
        one = uno.createUnoStruct("com.sun.star.beans.NamedValue")
        one.Name, one.Value = name, value
        found.append(one)
    return uno.Any("[]com.sun.star.beans.NamedValue", tuple(found))


def desktop() -> Any:
    """The running program, started without windows."""
    pipe = "pipe,name=trapledger;urp"
    subprocess.Popen(["soffice", "--headless", "--norestore", f"--accept={pipe}"])
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
    for _ in range(60):
        try:
            context = resolver.resolve(f"uno:{pipe};StarOffice.ComponentContext")
            return context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
        except Exception:
            time.sleep(0.5)
    raise SystemExit("LibreOffice did not start")


def column(sheet: Any, name: str, heading_row: int = 0) -> int:
    for j in range(40):
        if sheet.getCellByPosition(j, heading_row).String.removesuffix(" made").replace(" ", "_") == name:
            return j
    raise KeyError(name)


def typed(cell: Any, text: str, general: bool = False) -> None:
    """As from the keyboard: what it becomes is the spreadsheet's affair."""
    if general:
        cell.NumberFormat = GENERAL
    if cell.NumberFormat == TEXT or not general:
        cell.String = text
    else:
        cell.FormulaLocal = text


def fill(document: Any, general: bool = False) -> None:
    """The evening of the tests."""
    sheets = document.Sheets
    game = sheets.getByName("game")
    rows = {game.getCellByPosition(0, i).String.replace(" ", "_"): i for i in range(1, 30)}
    for key, value in GAME[1:]:
        typed(game.getCellByPosition(1, rows[key]), value, general)
    for name in ("own", "opponent", "calls", "shots"):
        table, sheet = EVENING[f"{name}.csv"], sheets.getByName(name)
        for j, heading in enumerate(table[0]):
            at = column(sheet, heading)
            for i, row in enumerate(table[1:]):
                typed(sheet.getCellByPosition(at, FIRST + i), row[j], general)


def answer(document: Any, sheet: str, heading: str, row: int = 1) -> Any:
    """The cell of a player, rows from 1."""
    found = document.Sheets.getByName(sheet)
    return found.getCellByPosition(column(found, heading), FIRST - 1 + row)


def evening(general: bool = False) -> Callable[[Any], None]:
    return lambda document: fill(document, general)


def percent(document: Any) -> None:
    fill(document)
    typed(answer(document, "opponent", "twos", 4), "45%", general=True)


def formulas(document: Any) -> None:
    fill(document)
    typed(answer(document, "opponent", "twos"), "=30+8", general=True)
    typed(answer(document, "own", "height_order"), "=2+3", general=True)


def untidy(document: Any) -> None:
    """A title above the headings, sheets in another order, one of notes, a hidden one, a note on a cell."""
    fill(document)
    own = document.Sheets.getByName("own")
    own.Rows.insertByIndex(0, 1)
    own.getCellByPosition(0, 0).String = "Our team, Friday"
    own.getCellRangeByName("A1:F1").merge(True)
    document.Sheets.moveByName("game", 5)
    document.Sheets.insertNewByName("my notes", 0)
    document.Sheets.getByName("my notes").getCellByPosition(0, 0).String = "bring the whiteboard"
    document.Sheets.insertNewByName("old", 1)
    document.Sheets.getByName("old").IsVisible = False
    own.Annotations.insertNew(own.getCellByPosition(1, 5).CellAddress, "back from a cold")


def spelled(document: Any) -> None:
    """Fractions typed into text cells stay what they are; accents."""
    fill(document)
    typed(answer(document, "opponent", "threes", 2), "34/110")
    typed(answer(document, "opponent", "initials"), "Ä.Ç.")


def whole_columns(document: Any) -> None:
    """Whole columns formatted, down to the last row of the sheet."""
    fill(document)
    document.Sheets.getByName("opponent").getCellRangeByName("K1:L1048576").NumberFormat = TEXT
    document.Sheets.getByName("own").getCellRangeByName("A4:C1048576").CellBackColor = 0xFFFDF2


def renamed(document: Any) -> None:
    fill(document)
    document.Sheets.getByName("opponent").Name = "Paper Kites"


def merged(document: Any) -> None:
    fill(document)
    document.Sheets.getByName("own").getCellRangeByName("D4:D5").merge(True)


def failed(document: Any) -> None:
    fill(document)
    typed(answer(document, "opponent", "twos"), "=10/0", general=True)


def dated(document: Any) -> None:
    fill(document)
    typed(answer(document, "opponent", "threes", 2), "8/10", general=True)


def number_as_date(document: Any) -> None:
    fill(document)
    cell = answer(document, "opponent", "threes", 2)
    typed(cell, "34", general=True)
    cell.NumberFormat = 36  # a date


def percent_of_fouls(document: Any) -> None:
    fill(document)
    typed(answer(document, "own", "fouls"), "20%", general=True)


def nothing(document: Any) -> None:
    return None


#: Name of a file -> what is done to the blank workbook before it is saved.
RIGHT = {
    "right_blank.xlsx": nothing,
    "right_text.xlsx": evening(),
    "right_text.ods": evening(),
    "right_numbers.xlsx": evening(general=True),
    "right_numbers.ods": evening(general=True),
    "right_percent.xlsx": percent,
    "right_percent.ods": percent,
    "right_formulas.xlsx": formulas,
    "right_untidy.ods": untidy,
    "right_untidy.xlsx": untidy,
    "right_spelled.xlsx": spelled,
    "right_whole_columns.xlsx": whole_columns,
    "right_whole_columns.ods": whole_columns,
}
WRONG = {
    "wrong_renamed.xlsx": renamed,
    "wrong_merged.xlsx": merged,
    "wrong_merged.ods": merged,
    "wrong_failed.xlsx": failed,
    "wrong_failed.ods": failed,
    "wrong_dated.xlsx": dated,
    "wrong_dated.ods": dated,
    "wrong_number_as_date.xlsx": number_as_date,
    "wrong_percent_of_fouls.xlsx": percent_of_fouls,
    "wrong_macros.xlsm": evening(),
    "wrong_password.xlsx": evening(),
    "wrong_password.ods": evening(),
}


def main(blank: Path) -> None:
    program = desktop()
    hidden = properties(Hidden=True)
    for name, change in {**RIGHT, **WRONG}.items():
        document = program.loadComponentFromURL(blank.resolve().as_uri(), "_blank", 0, hidden)
        change(document)
        told: dict[str, Any] = {"FilterName": FILTERS[Path(name).suffix]}
        if name == "wrong_password.ods":
            told["Password"] = "hammer"
        elif name == "wrong_password.xlsx":  # the other format has another way of its own
            told["EncryptionData"] = named(CryptoType="Standard", OOXPassword="hammer")
        document.storeToURL((HERE / name).as_uri(), properties(**told))
        document.close(True)
    empty = program.loadComponentFromURL("private:factory/scalc", "_blank", 0, hidden)
    empty.storeToURL((HERE / "wrong_empty.xlsx").as_uri(), properties(FilterName=FILTERS[".xlsx"]))
    empty.close(True)
    program.terminate()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
