"""A blank workbook for one game: drop-downs, notes, text cells, an example that never counts."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from engine.inputs.sheets.columns import (
    CALL_COLUMNS,
    CALLS,
    GAME,
    OPPONENT,
    OWN,
    SHOT_COLUMNS,
    SHOTS,
    Column,
    opponent_columns,
    own_columns,
)
from engine.inputs.sheets.data import load_grades
from engine.inputs.sheets.questions import game_keys

BOOK = "evening.xlsx"
#: Rows to write in (count), below the headings, the help and the example.
ROWS = {OWN: 15, OPPONENT: 15, CALLS: 8, SHOTS: 60}
#: Text and ground of each kind of cell; every pair has a contrast of 4.5 or more (tests/test_sheets_book.py).
COLOURS = {
    "heading": ("FFFFFF", "2B3A55"),
    "help": ("3A4356", "E9ECF2"),
    "example": ("5B6274", "F6F7F9"),
    "answer": ("101418", "FFFDF2"),
    "text": ("101418", "FFFFFF"),
}
TEXT = "@"  # the format under which no spreadsheet makes a date of 8/10
NARROW, WIDE = 12, 34  # columns, letters


def _style(cell: Any, kind: str, wrap: bool = True) -> None:
    from openpyxl.styles import Alignment, Border, Font, PatternFill, Side

    text, ground = COLOURS[kind]
    cell.font = Font(color=text, bold=kind == "heading", italic=kind == "example")
    cell.fill = PatternFill("solid", fgColor=ground)
    cell.alignment = Alignment(wrap_text=wrap, vertical="top")
    cell.number_format = TEXT
    if kind == "answer":
        line = Side("thin", color="8A90A0")
        cell.border = Border(line, line, line, line)


def _note(cell: Any, words: str) -> None:
    from openpyxl.comments import Comment

    cell.comment = Comment(words, "Trapledger", width=320, height=24 + 18 * (1 + len(words) // 42))


def _offer(sheet: Any, place: str, choices: Sequence[str]) -> None:
    """A drop-down that warns of another answer, and takes it: more is understood than a list can show."""
    from openpyxl.worksheet.datavalidation import DataValidation

    offered = DataValidation(
        "list", f'"{",".join(choices)}"', allow_blank=True, showErrorMessage=True, errorStyle="warning"
    )
    offered.errorTitle = "Not on the list"
    offered.error = "Is it meant so? Other words may not be understood."
    sheet.add_data_validation(offered)
    offered.add(place)


def _ready(sheet: Any, frozen: str) -> None:
    """What stays in sight; printed across, one page wide."""
    sheet.freeze_panes = frozen
    page = sheet.page_setup
    page.orientation, page.fitToWidth, page.fitToHeight = "landscape", 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True


def _lines(words: str, width: float) -> float:
    """Height of a row (points) that holds these words in a column of this width (letters)."""
    return 15.0 * (1 + len(words) // (0.85 * width))


def _table(sheet: Any, columns: Sequence[Column], n_rows: int) -> None:
    """Headings with notes, what to write, an example, rows to write in."""
    from openpyxl.utils import get_column_letter

    tallest = 0.0
    for j, column in enumerate(columns, 1):
        name = get_column_letter(j)
        longest = max(map(len, (*column.choices, column.example, column.label)))
        width = min(max(longest + 3, len(column.help) // 5, NARROW), WIDE)
        sheet.column_dimensions[name].width = width
        _style(sheet.cell(1, j, column.label), "heading")
        _note(sheet.cell(1, j), column.help)
        words = f"what to write: {column.help}" if j == 1 else column.help
        tallest = max(tallest, _lines(words, width))
        _style(sheet.cell(2, j, words), "help")
        example = column.example if j > 1 else f"example {column.example}".strip()
        _style(sheet.cell(3, j, example), "example")
        for i in range(4, 4 + n_rows):
            _style(sheet.cell(i, j), "answer", wrap=False)
        if column.choices:
            _offer(sheet, f"{name}4:{name}{3 + n_rows}", column.choices)
    sheet.row_dimensions[2].height = tallest
    _ready(sheet, "B2")


#: Headings of the sheet of questions, and how wide their columns are (letters).
GAME_HEADINGS = {"question": 26, "your answer": 24, "for example": 16, "what it means": 84}


def _game(sheet: Any, level: str) -> None:
    for j, (heading, width) in enumerate(GAME_HEADINGS.items(), 1):
        _style(sheet.cell(1, j, heading), "heading")
        sheet.column_dimensions["ABCD"[j - 1]].width = width
    for i, key in enumerate(game_keys(), 2):
        _style(sheet.cell(i, 1, key.label), "text")
        _style(sheet.cell(i, 2, level if key.name == "level" else None), "answer")
        _style(sheet.cell(i, 3, key.example.removeprefix("example ")), "example")
        _style(sheet.cell(i, 4, key.help), "help")
        sheet.row_dimensions[i].height = _lines(key.help, GAME_HEADINGS["what it means"])
        _note(sheet.cell(i, 2), key.help)
        if key.choices:
            _offer(sheet, f"B{i}", key.choices)
    _ready(sheet, "C2")


def blank_book(letter: str, level: str) -> bytes:
    """The workbook. ``letter``: what its first sheet says to the coach."""
    from openpyxl import Workbook

    grades = load_grades()
    book = Workbook()
    first = book.active
    first.title = "read first"
    first.column_dimensions["A"].width = 84
    for i, line in enumerate(letter.splitlines(), 1):
        _style(first.cell(i, 1, line), "text", wrap=False)
    tables = {
        OWN: own_columns(grades),
        OPPONENT: opponent_columns(grades),
        CALLS: CALL_COLUMNS,
        SHOTS: SHOT_COLUMNS,
    }
    _game(book.create_sheet(GAME.removesuffix(".csv")), level)
    for name, columns in tables.items():
        _table(book.create_sheet(name.removesuffix(".csv")), columns, ROWS[name])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
