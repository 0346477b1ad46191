"""Sheets for the tests: a complete evening as tables, and how a spreadsheet might save them."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

Table = list[list[str]]

GAME: Table = [
    ["key", "value"],
    ["age_group", "18"],
    ["zone_allowed", "yes"],
    ["trap_allowed", "yes"],
    ["press_when_far_ahead", "no"],
    ["level", "school"],
    ["rules", "international"],
    ["quarter_minutes", "7.5"],
    ["us", "Copper Kettles"],
    ["them", "Paper Kites"],
    ["opponent_front", "one"],
    ["high_post", "yes"],
    ["signal_corner", "red"],
]
OWN: Table = [
    ["number", "initials", "starts", "height_order", "pace", "prone_to_fouls", "height_cm", "sprint_10m_s"],
    ["4", "M.A.", "yes", "5", "quick", "no", "", "1.95"],
    ["9", "T.R.", "yes", "4", "normal", "no", "178.5", ""],
    ["13", "J.O.", "yes", "3", "slow", "yes", "", ""],
    ["22", "S.K.", "yes", "2", "", "", "", ""],
    ["31", "P.L.", "yes", "1", "slow", "yes", "1.96", ""],
]
OPPONENT: Table = [
    ["number", "initials", "position", "shooter", "from_where", "hand", "handles_pressure", "twos", "threes"],
    ["5", "B.C.", "guard", "ordinary", "top", "right", "yes", "38", "12"],
    ["10", "F.G.", "wing", "sure", "corner wing", "right", "some", "24", "34/110"],
    ["12", "H.I.", "wing", "shaky", "", "left", "no", "31", "3"],
    ["20", "L.M.", "big", "", "inside", "right", "some", "45%", "0"],
    ["33", "N.P.", "big", "", "", "right", "", "61/118", ""],
]
SHOTS: Table = [
    ["number", "distance", "unit", "made", "contested"],
    ["10", "6.25", "m", "yes", "open"],
    ["10", "6.5", "m", "no", "contested"],
    ["12", "1.0", "m", "yes", ""],
]
CALLS: Table = [
    ["word", "where", "how_often", "most_a_game", "on_whom", "who_doubles", "trigger"],
    ["hammer", "corner", "every second time", "2 a quarter", "", "near forward and centre", "catch"],
]
EVENING = {"game.csv": GAME, "own.csv": OWN, "opponent.csv": OPPONENT, "calls.csv": CALLS, "shots.csv": SHOTS}

COUNTED_HEAD = [
    "number", "starts", "position", "twos", "twos_attempted", "threes", "threes_attempted",
    "free_throws", "free_throws_attempted", "turnovers",
]  # fmt: skip
#: Counts of a side by man: twos, threes, free throws (made, attempted), balls lost.
FIVE = {
    5: (30, 70, 20, 60, 25, 32, 48),
    10: (40, 88, 34, 95, 20, 27, 31),
    12: (35, 80, 12, 44, 22, 35, 29),
    20: (60, 118, 1, 6, 30, 55, 26),
    33: (64, 121, 0, 0, 33, 60, 30),
}
COUNTED_POSITIONS = ("guard", "wing", "wing", "big", "big")


@dataclass(frozen=True)
class Habits:
    """How a spreadsheet saves: separator, encoding, decimal comma, all cells quoted, line ends, blanks."""

    separator: str = ","
    encoding: str = "utf-8"
    decimal_comma: bool = False
    quoted: bool = False
    line_end: str = "\r\n"
    blank: str = ""
    upper: bool = False


PLAIN = Habits()


def save(table: Table, habits: Habits = PLAIN) -> bytes:
    """The table as the bytes of a CSV file."""
    rows = [list(row) for row in table]
    if habits.upper:
        rows[0] = [name.upper().replace("_", " ") for name in rows[0]]
    for row in rows[1:]:
        for i, cell in enumerate(row):
            if habits.decimal_comma and cell.replace(".", "", 1).isdecimal():
                cell = cell.replace(".", ",")
            row[i] = f"{habits.blank}{cell}{habits.blank}"
    out = io.StringIO(newline="")
    csv.writer(
        out,
        delimiter=habits.separator,
        quoting=csv.QUOTE_ALL if habits.quoted else csv.QUOTE_MINIMAL,
        lineterminator=habits.line_end,
    ).writerows(rows)
    return out.getvalue().encode(habits.encoding)


def write_evening(folder: Path, changed: dict[str, Table] | None = None, habits: Habits = PLAIN) -> Path:
    """Write the evening into a folder, with some sheets replaced."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, table in {**EVENING, **(changed or {})}.items():
        (folder / name).write_bytes(save(table, habits))
    return folder


def with_cell(table: Table, row: int, column: str, value: str) -> Table:
    """The table with one cell changed; the column is added when it is not there. Rows count from 1."""
    rows = [list(line) for line in table]
    if column not in rows[0]:
        rows[0].append(column)
        for line in rows[1:]:
            line.append("")
    rows[row][rows[0].index(column)] = value
    return rows


def with_key(key: str, value: str) -> Table:
    """game.csv with one answer changed or added."""
    rows = [list(line) for line in GAME if line[0] != key]
    return [*rows, [key, value]]


def counted(five: dict[int, tuple[int, ...]] = FIVE) -> Table:
    """opponent.csv with these counts."""
    lines = [
        [str(number), "yes", position, *(str(value) for value in values)]
        for (number, values), position in zip(five.items(), COUNTED_POSITIONS, strict=True)
    ]
    return [COUNTED_HEAD, *lines]
