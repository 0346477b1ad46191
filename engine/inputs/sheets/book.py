"""A workbook (.xlsx, .ods) as grids of text: what a coach sees in each cell, and which cells hold no answer.

Values are those that the spreadsheet stored when it saved; nothing is calculated. A cell whose value cannot
be an answer (a date, an error, a formula without a stored value, merged cells) is a fault: it is told where
it is asked for, and nowhere else. ``.xlsx`` is read by openpyxl, which knows formats and merged cells. The
cells of an ``.ods`` are read here, by the format's description (OASIS OpenDocument 1.3, part 3, section 9.1,
from memory): the reader at hand (calamine) loses its errors, percent signs, booleans and merged cells.
"""

from __future__ import annotations

import datetime
import io
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from engine.errors import InputError
from engine.inputs.base import plain

#: Endings of workbooks that are read, and of others, which are refused by name.
BOOKS = (".xlsx", ".ods")
OTHER_BOOKS = (".xlsm", ".xlsb", ".xls", ".xltx", ".xltm", ".ots", ".fods", ".numbers", ".gsheet")
#: Largest file, and largest once unpacked (bytes); largest sheet (rows, columns).
MOST_BYTES, MOST_UNPACKED = 5_000_000, 60_000_000
MOST_ROWS, MOST_COLUMNS = 3000, 200
SAVE_AGAIN = "a workbook that a spreadsheet opens (open it there and save it again as .xlsx or .ods)"
NO_DATE = (
    "a number or a word (a spreadsheet made a date or a time of it: format the cell as text, type it again)"
)
NO_ERROR = "a value (the formula in this cell has failed: type the value)"
NO_FORMULA = (
    "a value (the formula in this cell has none stored: type the value, or open and save the workbook)"
)
NO_MERGED = "one answer in each cell: undo the merging"
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


@dataclass
class Grid:
    """A sheet of a workbook. ``rows``: text of the cells; ``faults``: (row, column), from 0, of a cell that
    holds no answer -> (what it shows, what is allowed)."""

    rows: list[list[str]] = field(default_factory=list)
    faults: dict[tuple[int, int], tuple[str, str]] = field(default_factory=dict)

    def put(self, row: int, column: int, text: str, allowed: str = "") -> None:
        """Set one cell; ``allowed`` makes it a fault."""
        while len(self.rows) <= row:
            self.rows.append([])
        line = self.rows[row]
        line.extend([""] * (column + 1 - len(line)))
        line[column] = text
        if allowed:
            self.faults[row, column] = (text, allowed)

    def merge(self, row: int, column: int, to_row: int, to_column: int) -> None:
        """All cells of a merged block are faults."""
        name = f"merged cells {letter(column)}{row + 1}:{letter(to_column)}{to_row + 1}"
        for i in range(row, min(to_row + 1, MOST_ROWS)):
            for j in range(column, min(to_column + 1, MOST_COLUMNS)):
                self.faults[i, j] = (name, NO_MERGED)


def letter(column: int) -> str:
    """Name of a column, counted from 0: A to Z, AA and so on."""
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(65 + rest) + name
    return name


def _number(value: float, percent: bool = False) -> str:
    """A number as it would be typed."""
    shown = value * 100 if percent else value
    text = str(int(shown)) if abs(shown) < 1e15 and float(shown).is_integer() else f"{shown:.12g}"
    return text + "%" if percent else text


def _small(where: str, rows: int, columns: int, title: str) -> None:
    if rows > MOST_ROWS or columns > MOST_COLUMNS:
        found = f"cells down to {letter(columns - 1)}{rows}"
        allowed = f"{MOST_ROWS} rows and {MOST_COLUMNS} columns at most (delete what is far below or right)"
        raise InputError(where, f"sheet {plain(title)}", found, allowed)


# --- .xlsx ----------------------------------------------------------------------------------------------


def _xlsx_cell(grid: Grid, cell: Any, formula: object) -> None:
    value, at = cell.value, (cell.row - 1, cell.column - 1)
    if value is None:
        if isinstance(formula, str) and formula.startswith("="):
            grid.put(*at, formula, NO_FORMULA)
    elif isinstance(value, bool):
        grid.put(*at, "yes" if value else "no")
    elif isinstance(value, int | float):
        grid.put(*at, _number(value, "%" in cell.number_format))
    elif isinstance(value, datetime.date | datetime.time | datetime.timedelta):
        grid.put(*at, str(value).removesuffix(" 00:00:00"), NO_DATE)
    elif cell.data_type == "e":
        grid.put(*at, str(value), NO_ERROR)
    else:
        grid.put(*at, str(value))


def _xlsx(data: bytes, where: str) -> dict[str, Grid]:
    import openpyxl  # half a second: only where there is a workbook

    values = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    formulas = openpyxl.load_workbook(io.BytesIO(data))
    found: dict[str, Grid] = {}
    for sheet in values.worksheets:
        grid = found[sheet.title] = Grid()
        _small(where, sheet.max_row, sheet.max_column, sheet.title)
        for line, beside in zip(sheet.iter_rows(), formulas[sheet.title].iter_rows(), strict=True):
            for cell, formula in zip(line, beside, strict=True):
                _xlsx_cell(grid, cell, formula.value)
        for block in sheet.merged_cells.ranges:
            grid.merge(block.min_row - 1, block.min_col - 1, block.max_row - 1, block.max_col - 1)
    return found


# --- .ods -----------------------------------------------------------------------------------------------

_SPACES = {
    "office": "urn:oasis:names:tc:opendocument:xmlns:office:1.0",
    "table": "urn:oasis:names:tc:opendocument:xmlns:table:1.0",
    "text": "urn:oasis:names:tc:opendocument:xmlns:text:1.0",
    "calcext": "urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0",
}


def _name(short: str) -> str:
    space, _, name = short.partition(":")
    return f"{{{_SPACES[space]}}}{name}"


def _times(element: ElementTree.Element, short: str) -> int:
    return int(element.get(_name(short), "1"))


def _paragraph(element: ElementTree.Element) -> str:
    """Text of a paragraph; several blanks and line breaks are elements of their own."""
    text = element.text or ""
    for child in element:
        blank = child.tag in (_name("text:s"), _name("text:tab"), _name("text:line-break"))
        text += (" " * _times(child, "text:c") if blank else _paragraph(child)) + (child.tail or "")
    return text


def _ods_cell(cell: ElementTree.Element) -> tuple[str, str]:
    """(text, what is allowed instead: "" where it is an answer). A note on a cell is no part of its text."""
    kind = cell.get(_name("office:value-type"))
    text = "\n".join(_paragraph(p) for p in cell.findall(_name("text:p")))
    if cell.get(_name("calcext:value-type")) == "error":
        return text, NO_ERROR
    if kind is None:
        formula = cell.get(_name("table:formula"))
        return (text, "") if formula is None else (formula, NO_FORMULA)
    if kind in ("float", "currency", "percentage"):
        return _number(float(cell.get(_name("office:value"), "nan")), kind == "percentage"), ""
    if kind == "boolean":
        return "yes" if cell.get(_name("office:boolean-value")) == "true" else "no", ""
    if kind in ("date", "time"):
        return cell.get(_name(f"office:{kind}-value"), text), NO_DATE
    return cell.get(_name("office:string-value"), text), ""


def _ods_rows(table: ElementTree.Element) -> Iterator[ElementTree.Element]:
    """Rows in order, also those in groups and among headings that repeat on every page."""
    for child in table:
        if child.tag == _name("table:table-row"):
            yield child
        elif child.tag in (
            _name("table:table-row-group"),
            _name("table:table-header-rows"),
            _name("table:table-rows"),
        ):
            yield from _ods_rows(child)


def _ods_row(grid: Grid, row: int, line: ElementTree.Element, where: str, title: str) -> bool:
    """Fill one row; False where nothing stands in it."""
    column, anything = 0, False
    for cell in line:
        covered = cell.tag == _name("table:covered-table-cell")
        if not covered and cell.tag != _name("table:table-cell"):
            continue
        times = _times(cell, "table:number-columns-repeated")
        text, allowed = ("", "") if covered else _ods_cell(cell)
        down, across = (_times(cell, f"table:number-{kind}-spanned") for kind in ("rows", "columns"))
        if text or allowed:
            _small(where, row + 1, column + times, title)
            for k in range(times):
                grid.put(row, column + k, text, allowed)
        if down > 1 or across > 1:
            grid.merge(row, column, row + down - 1, column + across - 1)
        anything = anything or bool(text or allowed) or down > 1 or across > 1
        column += times
    return anything


def _ods(content: bytes, where: str) -> dict[str, Grid]:
    found: dict[str, Grid] = {}
    body = ElementTree.fromstring(content).find(f"{_name('office:body')}/{_name('office:spreadsheet')}")
    for table in () if body is None else body.findall(_name("table:table")):
        title = table.get(_name("table:name"), "")
        grid = found[title] = Grid()
        row = 0
        for line in _ods_rows(table):
            times = _times(line, "table:number-rows-repeated")
            for k in range(times):
                if not _ods_row(grid, row + k, line, where, title):
                    break
            row += times
    return found


# --- both -----------------------------------------------------------------------------------------------


def _refused(where: str, found: str, allowed: str) -> InputError:
    return InputError(where, "", found, allowed)


def _opened(data: bytes, where: str) -> zipfile.ZipFile:
    """The file as the archive that a workbook is. Raises InputError for what is none, locked or too large."""
    without = "a workbook without a password, saved as .xlsx or .ods"
    if not data:
        raise _refused(where, "an empty file", SAVE_AGAIN)
    if len(data) > MOST_BYTES:
        raise _refused(where, f"{len(data)} bytes", f"a workbook of at most {MOST_BYTES} bytes")
    if data.startswith(_OLE):
        locked = "EncryptedPackage".encode("utf-16-le") in data
        raise _refused(
            where, "a workbook with a password" if locked else "a workbook in an old format", without
        )
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        names = archive.namelist()
        unpacked = sum(item.file_size for item in archive.infolist())
        if unpacked > MOST_UNPACKED:
            raise _refused(where, f"{unpacked} bytes unpacked", f"at most {MOST_UNPACKED} bytes unpacked")
        manifest = "META-INF/manifest.xml"
        if any(item.flag_bits & 1 for item in archive.infolist()) or (
            manifest in names and b"encryption-data" in archive.read(manifest)
        ):
            raise _refused(where, "a workbook with a password", without)
        if any(name.endswith("vbaProject.bin") for name in names):
            raise _refused(where, "a workbook with macros", "a workbook without macros (Save as, .xlsx)")
    except (
        zipfile.BadZipFile,
        zipfile.LargeZipFile,
        OSError,
        EOFError,
        ValueError,
        NotImplementedError,
    ) as error:
        if isinstance(error, InputError):
            raise
        raise _refused(where, "a damaged file, or no workbook", SAVE_AGAIN) from None
    return archive


def read_book(path: Path, where: str) -> dict[str, Grid]:
    """The sheets of a workbook, title -> grid, in its order. ``where``: how the file is shown.

    What it is is told from its contents, not from its ending. Raises InputError: one line with file, what was
    found and what is allowed.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        reason = error.strerror or "unreadable"
        raise InputError(where, "", plain(path.name), f"a file that can be read ({reason})") from None
    archive = _opened(data, where)
    names = archive.namelist()
    try:
        if "content.xml" in names:
            return _ods(archive.read("content.xml"), where)
        if "xl/workbook.xml" in names:
            return _xlsx(data, where)
    except InputError:
        raise
    except Exception:  # whatever a damaged file makes a reader trip over
        raise _refused(where, "a damaged workbook", SAVE_AGAIN) from None
    raise _refused(where, "no workbook", SAVE_AGAIN)
