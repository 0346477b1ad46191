"""A sheet as a spreadsheet saves it, a CSV file or a grid of a workbook (book.py), to rows of cells. No
meaning is given to the cells here.

Rules for CSV, in this order. Encoding: a byte-order mark decides (UTF-8, UTF-16); else zero bytes in every
second place mean UTF-16; else UTF-8 where it is valid; else Windows-1252. Separator: whichever of comma,
semicolon, tab and bar finds most known column names in one of the first rows; a line ``sep=;`` is obeyed.
The header is the first of those rows that has the needed columns.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from engine.errors import InputError
from engine.inputs.base import listed, plain
from engine.inputs.sheets.book import Grid, letter

SEPARATORS = (",", ";", "\t", "|")
#: Rows looked through for the header (count).
HEADER_ROWS = 12
#: Columns named to one whose heading row is missing (count).
SHOWN_COLUMNS = 8
#: Largest sheet that is read (bytes); a coach's sheet has a few thousand.
MOST_BYTES = 5_000_000
#: First cell of a row that is no player: the help row and the example row of a blank sheet.
HELP_WORDS, EXAMPLE_WORDS = ("help", "what to write"), ("example",)
_BLANKS = "\u00a0\u2007\u2009\u202f\u200b\u200e\u200f\ufeff"
_MARKS = "\"'\u2018\u2019\u201c\u201d\u201e\u00ab\u00bb`"


#: Where a sheet is: a CSV file, or a sheet of a workbook that has been read.
SheetFile = Path | Grid


@dataclass(frozen=True)
class Row:
    """One row: its number in the spreadsheet (from 1), its cells by column, clean of blanks and quotes.

    ``letters``: column -> its letter, where the row is one of a workbook; ``headings``: column -> its heading
    as it is written.
    """

    number: int
    cells: dict[str, str]
    letters: Mapping[str, str] = field(default_factory=dict)
    headings: Mapping[str, str] = field(default_factory=dict)

    def heading(self, column: str) -> str:
        """What the sheet calls a column."""
        return self.headings.get(column, column)

    def place(self, column: str, kind: str = "column") -> str:
        """Where a cell is, as it is told."""
        cell = f" (cell {self.letters[column]}{self.number})" if column in self.letters else ""
        return f"row {self.number}, {kind} {self.heading(column)}{cell}"


@dataclass(frozen=True)
class Sheet:
    """A read sheet. ``where`` is how its file is shown, ``remarks`` say what was left out, ``examples`` are
    the rows that still call themselves one."""

    where: str
    columns: tuple[str, ...] = ()
    rows: tuple[Row, ...] = ()
    remarks: tuple[str, ...] = ()
    examples: tuple[dict[str, str], ...] = ()


def clean(text: str) -> str:
    """A cell without blanks and stray quotation marks at its ends; blanks inside are single."""
    for blank in _BLANKS:
        text = text.replace(blank, " ")
    text = " ".join(text.split())
    while text and (text[0] in _MARKS or text[-1] in _MARKS):
        text = text.strip(_MARKS).strip()
    return text


def key_of(text: str) -> str:
    """A column name or a key in one spelling: ``From Where?`` and ``from_where`` are the same."""
    return re.sub(r"[^0-9a-z]+", "_", clean(text).casefold().replace("%", " percent ")).strip("_")


def decode(data: bytes, where: str) -> str:
    """The text of a file by the rule above. Raises InputError when it is no text."""
    marks = (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    )
    start = data[:200]
    codec = next((name for mark, name in marks if data.startswith(mark)), "")
    if not codec and data.startswith(b"PK\x03\x04"):
        raise InputError(where, "", "a spreadsheet's own format", "the sheet saved as CSV (Save as, CSV)")
    if not codec and len(start) > 3:
        if start[1::2].count(0) > len(start) // 4 and not start[0::2].count(0):
            codec = "utf-16-le"
        elif start[0::2].count(0) > len(start) // 4 and not start[1::2].count(0):
            codec = "utf-16-be"
    for name in (codec,) if codec else ("utf-8", "cp1252"):
        try:
            text = data.decode(name)
        except UnicodeDecodeError:
            continue
        if "\x00" in text:
            break
        return text
    raise InputError(
        where, "", "bytes that are no text", "text in UTF-8, UTF-16 or Windows-1252 (saved as CSV)"
    )


def _records(text: str, separator: str) -> list[list[str]]:
    """Rows of cells. A quotation mark that is never closed is taken for a stray one."""
    if separator != "\t":  # blanks between a closing mark and the separator are no part of the cell
        text = re.sub(rf'"[ \t]+(?={re.escape(separator)}|\r|\n|$)', '"', text)
    try:
        source = io.StringIO(text, newline="")
        return list(csv.reader(source, delimiter=separator, skipinitialspace=True, strict=True))
    except csv.Error:
        lines = re.split(r"\r\n|\r|\n", text)
        return [line.split(separator) if line else [] for line in lines]


def _header(
    records: Sequence[Sequence[str]], names: Mapping[str, str], needed: Sequence[str]
) -> tuple[int, int]:
    """(known columns, index of the row) of the best header among the first rows; no such row: (0, 0)."""
    best = (0, 0)
    for i, record in enumerate(records[:HEADER_ROWS]):
        written = [key_of(cell) for cell in record if clean(cell)]
        known = {names[word] for word in written if word in names}
        # one known word among others is an answer ("no" is also short for number), no heading
        alone = len(known) == 1 < len(written)
        if all(name in known for name in needed) and len(known) > best[0] and not alone:
            best = (len(known), i)
    return best


def _columns(
    record: Sequence[str], names: Mapping[str, str], where: str, number: int
) -> tuple[list[str], list[str]]:
    """Column of each cell of the header ("" for none of ours), and the headings that are not ours."""
    columns: list[str] = []
    others: list[str] = []
    for cell in record:
        name = names.get(key_of(cell), "")
        if name and name in columns:
            raise InputError(where, f"row {number}", clean(cell), f"the column {name} once")
        if not name and clean(cell):
            others.append(clean(cell))
        columns.append(name)
    return columns, others


def _first_rows(text: str, names: Mapping[str, str], needed: Sequence[str]) -> tuple[str, list[list[str]]]:
    """(separator, rows) of the separator that finds most known columns."""
    told = re.match(r"\s*\"?sep=(.)\"?[^\S\r\n]*(?:\r\n|\r|\n)", text)
    wanted = (told.group(1),) if told and told.group(1) in SEPARATORS else SEPARATORS
    tried = [(separator, _records(text, separator)) for separator in wanted]
    return max(tried, key=lambda pair: _header(pair[1], names, needed)[0])


def _text_of(path: Path, where: str, needed: Sequence[str]) -> str:
    """The text of a CSV sheet."""
    try:
        data = path.read_bytes()
    except OSError as error:
        reason = error.strerror or "unreadable"
        raise InputError(where, "", plain(path.name), f"a file that can be read ({reason})") from None
    if len(data) > MOST_BYTES:
        raise InputError(where, "", f"{len(data)} bytes", f"a sheet of at most {MOST_BYTES} bytes")
    text = decode(data, where)
    if not text.strip():
        raise InputError(where, "", "an empty file", f"a sheet with the columns {', '.join(needed)}")
    return text


def fit(grid: Grid, names: Mapping[str, str], needed: Sequence[str]) -> int:
    """How many known columns the best heading row of a grid has; 0 where it lacks a needed one."""
    return _header(grid.rows, names, needed)[0]


def read_sheet(
    file: SheetFile,
    where: str,
    names: Mapping[str, str],
    needed: Sequence[str],
    ignored: Sequence[str] = (),
) -> Sheet:
    """Read a sheet with columns in any order: a CSV file, or a grid of a workbook.

    ``names``: every spelling of a column (as ``key_of`` writes it) -> the column; ``needed``: columns without
    which it is not this sheet; ``ignored``: headings that need no remark (help columns).

    Raises InputError: one line with file, row, value and what is allowed.
    """
    grid = file if isinstance(file, Grid) else None
    text = "" if isinstance(file, Grid) else _text_of(file, where, needed)
    records = _first_rows(text, names, needed)[1] if grid is None else grid.rows
    if grid is not None and not any(any(map(clean, record)) for record in records):
        raise InputError(where, "", "an empty sheet", f"a sheet with the columns {', '.join(needed)}")
    found, at = _header(records, names, needed)
    if not found:
        first_row, shown = next(
            ((i, r) for i, r in enumerate(records, 1) if any(clean(cell) for cell in r)), (1, [text[:20]])
        )
        columns_known = list(dict.fromkeys(names.values()))
        more = ", ..." if len(columns_known) > SHOWN_COLUMNS else ""
        allowed = (
            f"the heading row above the rest ({', '.join(columns_known[:SHOWN_COLUMNS])}{more}), at least "
            f"{' and '.join(needed)}; trapledger new FOLDER writes it"
        )
        written = ", ".join(clean(cell) for cell in shown)
        raise InputError(where, f"row {first_row}", written, allowed)
    columns, others = _columns(records[at], names, where, at + 1)
    others = [name for name in others if key_of(name) not in ignored]
    remarks: list[str] = []
    if others:
        remarks.append(f"{where}: not used, because unknown here: the column(s) {listed(others)}")
    letters = {} if grid is None else {name: letter(j) for j, name in enumerate(columns) if name}
    headings = {name: clean(cell) for name, cell in zip(columns, records[at], strict=True) if name}
    faults = {} if grid is None else grid.faults
    for j in range(len(columns)):
        if (at, j) in faults:
            raise InputError(where, f"row {at + 1} (cell {letter(j)}{at + 1})", *faults[at, j])
    rows: list[Row] = []
    examples: list[dict[str, str]] = []
    for i, record in enumerate(records[at + 1 :], start=at + 2):
        if grid is None and any(clean(cell) for cell in record[len(columns) :]):
            shown_cells = f"{len(record)} cells"
            allowed = (
                f"at most the {len(columns)} cells of the heading row (is it a decimal comma in a sheet that "
                "separates by commas? then save it with semicolons)"
            )
            raise InputError(where, f"row {i}", shown_cells, allowed)
        cells = {name: clean(cell) for name, cell in zip(columns, record, strict=False) if name}
        if not any(cells.values()):
            continue
        first = [cell.casefold() for cell in (next(iter(cells.values())), cells.get(needed[0], ""))]
        if any(cell.startswith(HELP_WORDS) for cell in first):
            continue
        if any(cell.startswith(EXAMPLE_WORDS) for cell in first):
            examples.append(cells)
            continue
        row = Row(i, cells, letters, headings)
        for j, name in enumerate(columns):
            if name and (i - 1, j) in faults:
                raise InputError(where, row.place(name), *faults[i - 1, j])
        rows.append(row)
    return Sheet(where, tuple(filter(None, columns)), tuple(rows), tuple(remarks), tuple(examples))
