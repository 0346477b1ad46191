"""Blank sheets with help, example and a letter to the coach (``trapledger new``): a workbook, or CSV."""

from __future__ import annotations

import csv
import io
import os
from contextlib import suppress
from pathlib import Path

from engine.errors import InputError
from engine.inputs.base import listed, plain
from engine.inputs.files import shipped
from engine.inputs.sheets.blank_book import BOOK, blank_book
from engine.inputs.sheets.columns import (
    CALL_COLUMNS,
    CALLS,
    GAME,
    OPPONENT,
    OWN,
    SHEETS,
    SHOT_COLUMNS,
    SHOTS,
    Column,
    opponent_columns,
    own_columns,
)
from engine.inputs.sheets.data import load_care, load_grades
from engine.inputs.sheets.find import is_book
from engine.inputs.sheets.questions import game_keys

LETTER = "READ-ME-FIRST.txt"
#: Empty rows below the example, so that a coach sees where to write (count).
EMPTY_ROWS = 12


def _text(rows: list[list[str]], separator: str) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator).writerows(rows)
    return out.getvalue()


def _table(columns: tuple[Column, ...], separator: str) -> str:
    """Headings, a row that says what to write, a filled example row, empty rows."""
    example = ["example", *(column.example for column in columns[1:])]
    rows = [
        [column.name for column in columns],
        ["what to write: " + columns[0].help, *(column.help for column in columns[1:])],
        example,
    ]
    rows += [[""] * len(columns) for _ in range(EMPTY_ROWS)]
    return _text(rows, separator)


def _game(level: str, separator: str) -> str:
    rows = [["key", "value", "what it means"]]
    rows += [[key.name, level if key.name == "level" else key.example, key.help] for key in game_keys()]
    return _text(rows, separator)


def letter(folder: str, book: bool) -> str:
    """The letter to the coach, for a workbook or for CSV sheets: plain text, lines of at most 78 letters."""
    age = int(load_care().withhold_up_to_age.value)
    sheet = {
        name: name.removesuffix(".csv") if book else name for name in (GAME, OWN, OPPONENT, CALLS, SHOTS)
    }
    how = (
        "One workbook for one game: a sheet for each step, with drop-downs, and notes\n"
        "on the headings. Save it as it is, under any name. Fifteen minutes are enough."
        if book
        else "Five sheets for one game. They open in any spreadsheet. Save them again as\n"
        "CSV, under the same names. Fifteen minutes are enough."
    )
    dates = "" if book else "\n   If your spreadsheet makes a date of 3/10, write 3 of 10."
    example = (
        'The row "example" shows how a row looks; it does not count until you put your\n'
        'own in place of the word. The row "what to write" never counts.'
        if book
        else 'The row "example" shows how a row looks. It does not count until you put a\n'
        "shirt number in place of the word, nor does an answer that begins with\n"
        '"example". The row "what to write" never counts.'
    )
    return f"""READ ME FIRST

{how}

1. {sheet[GAME]}: start here. The age group and your league's rules come first:
   is a zone allowed, are traps allowed, may you press when far ahead?
   Up to under {age} there is no advice about traps until you have asked your
   league and written yes at trap_allowed. League rules come before anything
   this program says; referees, your league and qualified people decide.
2. {sheet[OWN]}: your players. Number, size order (1 = tallest), quick or slow,
   prone to fouls or not.
3. {sheet[OPPONENT]}: their players by number. Sure, ordinary or shaky shooter,
   from where, strong hand, who handles pressure, the big man who
   passes. If you have score sheets, made twos, threes and free throws are
   enough; attempts are welcome, in the column beside. 45 is 45 shots made;
   a percentage is written 45%.{dates}
4. {sheet[CALLS]}: only if you have a trap of your own in mind: where, how often,
   on whom, who doubles, what sets it off. It is weighed with the usual ones.
   A trap that you have seen them make goes there, too: theirs at whose.
5. {sheet[SHOTS]}: only if somebody charted shots. Of a man whose sheet
   counts as many shots, the sheet is used, for they are the same shots.

{example}
Do not know something? Leave the cell empty: an average player of the level
stands in, and the answer lists everything that was filled in this way.
Left and right are those of your players looking out from under your basket.

Use shirt numbers and initials, no full names. The sheets stay on this
computer; nothing is sent anywhere.

Then, in a terminal{", with the folder that this file lies in" if book else ""}:

    trapledger check {folder}
    trapledger compare {folder}

It runs at once, also with nothing filled in: then two average teams play,
man-to-man and without traps, as nobody has said how old they are.
"""


def _shown(folder: Path) -> str:
    text = plain(str(folder))
    return f'"{text}"' if " " in text else text


def _contents(folder: str, level: str, separator: str | None) -> dict[str, bytes]:
    """Name of a file -> what stands in it."""
    if separator is None:
        return {
            BOOK: blank_book(letter("FOLDER", True), level)
        }  # no path of a computer in a file that is shared
    grades = load_grades()
    texts = {
        LETTER: letter(folder, False).replace("\n", "\r\n"),
        GAME: _game(level, separator),
        OWN: _table(own_columns(grades), separator),
        OPPONENT: _table(opponent_columns(grades), separator),
        CALLS: _table(CALL_COLUMNS, separator),
        SHOTS: _table(SHOT_COLUMNS, separator),
    }
    return {
        name: text.encode("ascii", "replace" if name == LETTER else "strict") for name, text in texts.items()
    }


def write_blank(
    folder: str | os.PathLike[str], level: str = "school", separator: str | None = None
) -> tuple[Path, ...]:
    """Write a blank workbook into a folder, which is made when it is not there. Returns the files.

    ``separator``: a comma or a semicolon (for spreadsheets that use decimal commas) writes CSV sheets and the
    letter instead.

    Raises InputError when the folder has a workbook or sheets already (nothing is written then: blank ones,
    saved later, would be played in their place), when it cannot be written, or for an unknown level.
    """
    levels = shipped("levels")
    if level not in levels:
        raise InputError("--level", "", level, f"one of {', '.join(levels)}")
    root = Path(folder)
    shown = plain(str(root))
    contents = _contents(_shown(root), level, separator)
    written: list[Path] = []
    made = not root.exists()
    try:
        names = {name.casefold() for name in (*contents, *SHEETS)}
        present = sorted(root.iterdir()) if root.is_dir() else []
        there = [path.name for path in present if path.name.casefold() in names or is_book(path)]
        if there:
            raise InputError(shown, "", listed(there), "a new folder, or one without these")
        root.mkdir(parents=True, exist_ok=True)
        for name, data in contents.items():
            with open(root / name, "xb") as out:
                written.append(root / name)
                out.write(data)
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        with suppress(OSError):  # a full disk: nothing half made is left behind
            for path in written:
                path.unlink()
            if made:
                root.rmdir()
        reason = getattr(error, "strerror", None) or "not a name of a folder"
        raise InputError(shown, "", root.name, f"a folder that can be written ({reason})") from None
    return tuple(written)
