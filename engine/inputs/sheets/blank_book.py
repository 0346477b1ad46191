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
    game_keys,
    opponent_columns,
    own_columns,
)
from engine.inputs.sheets.data import load_grades

BOOK = "evening.xlsx"
#: Rows to write in (count), below the headings, the help and the example.
ROWS = {OWN: 15, OPPONENT: 15, CALLS: 8, SHOTS: 150}
#: Text and ground of each kind of cell; every pair has a contrast of 4.5 or more (tests/test_sheets_book.py).
COLOURS = {
    "heading": ("FFFFFF", "2B3A55"),
    "help": ("3A4356", "E9ECF2"),
    "example": ("5B6274", "F6F7F9"),
    "answer": ("101418", "FFFDF2"),
    "text": ("101418", "FFFFFF"),
}
TEXT = "@"  # the format under which no spreadsheet makes a date of 8/10
WIDE, NARROW = 17, 12


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
        "list", formula1=f'"{",".join(choices)}"', allow_blank=True, errorStyle="warning"
    )
    offered.showErrorMessage = True
    offered.errorTitle, offered.error = (
        "Not on the list",
        "Is it meant so? Other words may not be understood.",
    )
    sheet.add_data_validation(offered)
    offered.add(place)


def _ready(sheet: Any, frozen: str) -> None:
    sheet.freeze_panes = frozen
    sheet.page_setup.orientation, sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = (
        "landscape",
        1,
        0,
    )
    sheet.sheet_properties.pageSetUpPr.fitToPage = True


def _table(sheet: Any, columns: Sequence[Column], n_rows: int) -> None:
    """Headings with notes, what to write, an example, rows to write in."""
    from openpyxl.utils import get_column_letter

    for j, column in enumerate(columns, 1):
        name = get_column_letter(j)
        cell = sheet.cell(1, j, column.label)
        _style(cell, "heading")
        _note(cell, column.help)
        _style(sheet.cell(2, j, f"what to write: {column.help}" if j == 1 else column.help), "help")
        example = column.example if j > 1 else f"example {column.example}".strip()
        _style(sheet.cell(3, j, example), "example")
        for i in range(4, 4 + n_rows):
            _style(sheet.cell(i, j), "answer", wrap=False)
        if column.choices:
            _offer(sheet, f"{name}4:{name}{3 + n_rows}", column.choices)
        longest = max(map(len, (*column.choices, column.example, column.label)))
        sheet.column_dimensions[name].width = max(NARROW, min(longest + 3, 2 * WIDE))
    longest = max(
        len(column.help) / sheet.column_dimensions[get_column_letter(j)].width
        for j, column in enumerate(columns, 1)
    )
    sheet.row_dimensions[2].height = min(15 * (longest + 2), 220)
    _ready(sheet, "B4")


def _game(sheet: Any, level: str) -> None:
    for j, (heading, width) in enumerate(
        zip(("question", "your answer", "for example", "what it means"), (26, 24, 16, 84), strict=True), 1
    ):
        _style(sheet.cell(1, j, heading), "heading")
        sheet.column_dimensions["ABCD"[j - 1]].width = width
    for i, key in enumerate(game_keys(), 2):
        _style(sheet.cell(i, 1, key.label), "text")
        _style(sheet.cell(i, 2, level if key.name == "level" else None), "answer")
        _style(sheet.cell(i, 3, key.example.removeprefix("example ")), "example")
        _style(sheet.cell(i, 4, key.help), "help")
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
