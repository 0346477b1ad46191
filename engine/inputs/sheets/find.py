"""Which sheets of a folder are read: one workbook, or CSV files; whichever was saved last."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from engine.errors import InputError, MissingInput
from engine.inputs.base import listed, plain
from engine.inputs.sheets.book import BOOKS, OTHER_BOOKS, Grid, read_book
from engine.inputs.sheets.columns import (
    CALL_COLUMNS,
    CALLS,
    GAME,
    OPPONENT,
    OWN,
    READ_SHOT_COLUMNS,
    SHEETS,
    SHOTS,
    opponent_columns,
    own_columns,
    spellings,
)
from engine.inputs.sheets.data import load_grades
from engine.inputs.sheets.questions import GAME_COLUMNS
from engine.inputs.sheets.read import SheetFile, fit, key_of
from engine.shipped import configs_root

#: Known headings from which a sheet under another name is taken for a renamed one (count).
LIKE = 3


@dataclass(frozen=True)
class Sheets:
    """The sheets of a folder: name -> its file or grid, name -> how it is shown (also of those that are not
    there), the files that were read, and remarks about files beside them."""

    found: Mapping[str, SheetFile]
    where: Mapping[str, str]
    files: tuple[Path, ...]
    remarks: tuple[str, ...]


def is_book(path: Path) -> bool:
    """Whether a name is a workbook's; those that open programs keep beside it are not."""
    own = not path.name.startswith(("~$", "."))
    return own and path.suffix.casefold() in (*BOOKS, *OTHER_BOOKS)


def _csv(folder: Path) -> dict[str, Path]:
    """Sheet name -> its CSV file, upper or lower case."""
    found: dict[str, Path] = {}
    for path in sorted(folder.iterdir()):
        name = path.name.casefold()
        if name in SHEETS and path.is_file():
            found.setdefault(name, path)
    return found


def _books(folder: Path) -> list[Path]:
    return [path for path in sorted(folder.iterdir()) if is_book(path) and path.is_file()]


def folder_of(path: str | os.PathLike[str]) -> tuple[Path, str] | None:
    """(folder, how it is shown) when ``path`` is a folder, or one of the CSV sheets in a folder; a workbook
    stands for itself; else None.

    A path that starts with configs/ may be a shipped folder.
    """
    wanted = Path(path)
    try:
        if wanted.name.casefold() in SHEETS and wanted.is_file():
            return wanted.parent, str(wanted.parent)
        if wanted.is_dir() or (is_book(wanted) and wanted.is_file()):
            return wanted, str(wanted)
        if wanted.parts[:1] == ("configs",) and ".." not in wanted.parts and not wanted.exists():
            inside = configs_root().joinpath(*wanted.parts[1:])
            if inside.is_dir():
                return inside, str(wanted)
    except (OSError, ValueError):
        return None
    return None


def is_evening(folder: Path) -> bool:
    """Whether a folder holds sheets: CSV sheets, or a workbook. Plays may lie beside them; beside TOML files
    a workbook without our sheets is a stray one."""
    try:
        if _csv(folder).keys() & {GAME, OWN, OPPONENT}:
            return True
        tomls = any(path.suffix == ".toml" for path in folder.iterdir())
        return any(not tomls or _meant(book) for book in _books(folder))
    except OSError:
        return False


def _meant(book: Path) -> bool:
    """Whether a workbook has our sheets. One that cannot be read may have: who reads it says why not."""
    try:
        return _of_book(book, book.name) is not None
    except InputError:
        return True


def _copy_of(folder: Path, sheet: str) -> str | None:
    """Name of a file such as ``game (1).csv``, which a second download or a copy of a sheet is called."""
    stem = re.escape(sheet.removesuffix(".csv"))
    pattern = re.compile(rf"(?:copy of )?{stem}\W*(?:\d+|copy)?\W*\.csv", re.IGNORECASE)
    return next((path.name for path in sorted(folder.iterdir()) if pattern.fullmatch(path.name)), None)


def _one_book(books: list[Path], shown: str) -> Path | None:
    """The workbook of a folder. Raises InputError for several, or one that is not read."""
    if len(books) > 1:
        names = listed(path.name for path in books)
        allowed = "one workbook in the folder: move the others elsewhere, or name the one you mean"
        raise InputError(plain(shown), "", f"{len(books)} workbooks: {names}", allowed)
    return books[0] if books else None


def _ending(book: Path, where: str) -> None:
    if book.suffix.casefold() not in BOOKS:
        kind = "a workbook with macros" if book.suffix.casefold() in (".xlsm", ".xltm") else "its ending"
        raise InputError(where, kind, book.suffix, f"{' or '.join(BOOKS)} (Save as), or the sheets as CSV")


def _kinds() -> dict[str, tuple[dict[str, str], tuple[str, ...]]]:
    """Sheet -> (spellings of its columns, those it needs)."""
    grades = load_grades()
    return {
        GAME: (spellings(GAME_COLUMNS), ("key", "value")),
        OWN: (spellings(own_columns(grades)), ("number",)),
        OPPONENT: (spellings(opponent_columns(grades)), ("number",)),
        CALLS: (spellings(CALL_COLUMNS), ("where",)),
        SHOTS: (spellings(READ_SHOT_COLUMNS), ("number", "made")),
    }


def _sheets_of(grids: Mapping[str, Grid], where: str) -> tuple[dict[str, Grid], list[str]]:
    """(sheet -> its grid, remarks). Raises InputError for a sheet twice, or ours under another name."""
    names = {sheet.removesuffix(".csv"): sheet for sheet in SHEETS}
    found: dict[str, Grid] = {}
    others: dict[str, Grid] = {}
    for title, grid in grids.items():
        sheet = names.get(key_of(title))
        if sheet is None:
            others[title] = grid
        elif sheet in found:
            raise InputError(where, f"sheet {plain(title)}", title, f"one sheet {sheet.removesuffix('.csv')}")
        else:
            found[sheet] = grid
    remarks: list[str] = []
    for title, grid in others.items():
        fits = {sheet: fit(grid, *kind) for sheet, kind in _kinds().items()}
        like = max(fits, key=lambda sheet: fits[sheet])
        if fits[like] < (2 if like == GAME else LIKE):
            continue
        name = like.removesuffix(".csv")
        if like not in found:
            raise InputError(
                where, "sheet", title, f"the name {name}, whose columns it has: rename the sheet"
            )
        remarks.append(f"{where}: the sheet {plain(title)} is not read, the sheet {name} is.")
    return found, remarks


def _of_book(book: Path, shown: str) -> Sheets | None:
    """The sheets of a workbook; None where it has none of ours. Raises InputError."""
    _ending(book, plain(shown))
    found, remarks = _sheets_of(read_book(book, plain(shown)), plain(shown))
    if not any(sheet in found for sheet in (GAME, OWN, OPPONENT)):
        return None
    where = {sheet: f"{plain(shown)}, sheet {sheet.removesuffix('.csv')}" for sheet in SHEETS}
    return Sheets(found, where, (book,), tuple(remarks))


def _of_files(found: Mapping[str, Path], folder: Path, shown: str, remarks: tuple[str, ...]) -> Sheets:
    for sheet in SHEETS:
        copy = _copy_of(folder, sheet) if sheet not in found else None
        if copy:
            raise InputError(plain(shown), "", copy, f"the name {sheet}: rename the file")
    if not any(sheet in found for sheet in (GAME, OWN, OPPONENT)):
        allowed = f"a workbook, or {GAME}, {OWN} or {OPPONENT} (trapledger new FOLDER writes a blank one)"
        raise MissingInput(plain(shown), "every sheet", allowed)
    where = {
        sheet: plain(str(Path(shown) / (found[sheet].name if sheet in found else sheet))) for sheet in SHEETS
    }
    return Sheets(found, where, tuple(found.values()), remarks)


def _no_sheets(book: Path, shown: str) -> InputError:
    titles = listed(read_book(book, plain(shown))) or "none"
    allowed = (
        "the sheets game, own, opponent, calls, shots, or some of them (trapledger new FOLDER writes them)"
    )
    return InputError(plain(shown), "sheets", titles, allowed)


def find_sheets(place: Path, shown: str) -> Sheets:
    """The sheets of a folder, or of a workbook.

    Of a workbook and CSV sheets in one folder those saved last are read, and a remark says so. Raises
    InputError: one line with folder or file, what was found and what is allowed.
    """
    if not place.is_dir():
        told = _of_book(place, shown)
        if told is None:
            raise _no_sheets(place, shown)
        return told
    try:
        files, books = _csv(place), _books(place)
        saved = {path: path.stat().st_mtime_ns for path in (*files.values(), *books)}
    except OSError as error:
        reason = error.strerror or "unreadable"
        raise InputError(plain(shown), "", place.name, f"a folder that can be read ({reason})") from None
    book = _one_book(books, shown)
    if book is None:
        return _of_files(files, place, shown, ())
    book_shown = str(Path(shown) / book.name)
    if not files:
        return find_sheets(book, book_shown)
    names = ", ".join(path.name for path in files.values())
    if saved[book] < max(saved[path] for path in files.values()):
        return _of_files(files, place, shown, (f"{names} saved after {book.name}: {book.name} is not read.",))
    told = _of_book(book, book_shown)
    if told is None:
        return _of_files(files, place, shown, (f"{book.name} has none of the sheets and is not read.",))
    said = f"{book.name} was saved after {names}: the workbook is read, the CSV files are not."
    return Sheets(told.found, told.where, told.files, (said, *told.remarks))
