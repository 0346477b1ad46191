"""What both teams' sheets share: the average five of a level, who starts, bodies."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath
from statistics import median

from engine.errors import InputError
from engine.inputs.files import Source, read_toml, shipped, shipped_source
from engine.inputs.levels import PLAYER_RANGES, Level
from engine.inputs.sheets.cells import Assumed, Cells
from engine.inputs.sheets.columns import HELP_COLUMNS, Column, spellings
from engine.inputs.sheets.data import Grades
from engine.inputs.sheets.read import SheetFile, read_sheet
from engine.inputs.team import N_LINEUP, Player, team_from

#: Most players of one sheet (count); shirt numbers end at 99.
MOST_PLAYERS = 40
#: Letters of a name from which the sheet reminds that initials are enough.
LONG_NAME = 6
#: What a coach may write for the pace of a player.
PACES = {"quick": "quick", "fast": "quick", "normal": "normal", "average": "normal", "slow": "slow"}
#: What a coach may write of how a player handles pressure.
HANDLES = {
    "yes": "yes",
    "y": "yes",
    "some": "some",
    "somewhat": "some",
    "a_bit": "some",
    "no": "no",
    "n": "no",
}
HANDLES_ALLOWED = "yes, some or no"
#: Sprint times that a sheet may hold, seconds: column -> (metres, least, greatest).
SPRINTS = {"sprint_10m_s": (10.0, 1.4, 4.0), "sprint_20m_s": (20.0, 2.4, 7.5)}


@dataclass(frozen=True)
class People:
    """The rows of a team sheet: shirt numbers, their cells, remarks; ``where`` is how the file is shown."""

    where: str
    numbers: tuple[int, ...]
    cells: tuple[Cells, ...]
    remarks: tuple[str, ...]

    @property
    def short(self) -> str:
        """Name of the file without its folder."""
        return PurePath(self.where).name


def read_people(file: SheetFile | None, where: str, columns: tuple[Column, ...], assumed: Assumed) -> People:
    """The players of a sheet, in its order. Raises InputError for a bad or doubled shirt number."""
    if file is None:
        assumed.note(f"{PurePath(where).name} is not there: five average players of the level stand in.")
        return People(where, (), (), ())
    sheet = read_sheet(file, where, spellings(columns), ("number",), HELP_COLUMNS)
    numbers: list[int] = []
    cells: list[Cells] = []
    remarks = list(sheet.remarks)
    long_names: list[int] = []
    for row in sheet.rows:
        one = Cells(where, row)
        number = one.shirt()
        if number in numbers:
            first = cells[numbers.index(number)].row.number
            raise one.error("number", f"a number no other player has (row {first} has it)")
        if len(numbers) == MOST_PLAYERS:
            raise one.error("number", f"at most {MOST_PLAYERS} players")
        words = one.row.cells.get("initials", "").split()
        if any(len(word.strip(".")) >= LONG_NAME for word in words):
            long_names.append(number)
        numbers.append(number)
        cells.append(one)
    if long_names:
        shown = ", ".join(str(n) for n in long_names)
        remarks.append(
            f"{PurePath(where).name}: initials are enough, no full names are needed (No. {shown})."
        )
    printed = {column.name: (column.example, "") for column in columns[1:]}
    if any(cells[name] not in printed[name] for cells in sheet.examples for name in printed if name in cells):
        assumed.note(
            f"{PurePath(where).name}: the example row was changed; it is not used before it has a number."
        )
    return People(where, tuple(numbers), tuple(cells), tuple(remarks))


def template(level: Level, read: list[Path]) -> tuple[Player, ...]:
    """An average five of the level, positions 1 to 5: the shipped one, else five times its average player."""
    name = f"average_{level.name}"
    if name in shipped("teams"):
        found = shipped_source("teams", name)
        source = Source(found.path, found.shown, read)
        return team_from(read_toml(source), source).on_court
    numbers = level.players.numbers()
    return tuple(
        Player.model_validate({"number": 3 + i, "name": f"Position {i}", "position": i, **numbers})
        for i in range(1, N_LINEUP + 1)
    )


def starters(people: People, team: str, assumed: Assumed) -> list[int]:
    """Indices of the (at most five) who start: those marked, else the first five rows.

    Raises InputError when a number other than five is marked and there are five or more players.
    """
    marked = [i for i, one in enumerate(people.cells) if one.yes_no("starts")]
    if len(marked) == N_LINEUP or (len(people.cells) < N_LINEUP and len(marked) <= N_LINEUP):
        return marked if len(marked) == N_LINEUP else list(range(len(people.cells)))
    if marked:
        allowed = f"yes for exactly {N_LINEUP} players, or for nobody"
        raise InputError(people.where, "column starts", f"yes for {len(marked)} players", allowed)
    if len(people.cells) > N_LINEUP:
        assumed.note(f"Who starts for {team} is not marked: the first five rows of {people.short}.")
    return list(range(min(N_LINEUP, len(people.cells))))


def stand_ins(people: People, n: int, team: str, assumed: Assumed) -> list[int]:
    """Shirt numbers for ``n`` average players who fill a five up."""
    free = [number for number in range(99, -1, -1) if number not in people.numbers][:n]
    if n and people.cells:
        assumed.note(
            f"{people.short} has {len(people.cells)} of 5 players: {n} average player(s) of the level"
            f" stand in for {team} (No. {', '.join(str(number) for number in sorted(free))})."
        )
    elif n:
        assumed.note(f"{people.short} has no players yet: five average players of the level stand in.")
    return sorted(free)


def fill_up(
    held: Mapping[int, int], extra: Sequence[int], average: Sequence[Player]
) -> tuple[list[Player], dict[int, int]]:
    """Average players with the shirt numbers ``extra`` on the positions that nobody holds; and the five,
    shirt number -> position, in the order of the positions. ``held``: the same of those on the sheet."""
    left = [position for position in range(1, N_LINEUP + 1) if position not in held.values()]
    five = dict(held) | dict(zip(extra, left, strict=True))
    players = [
        average[five[number] - 1].model_copy(update={"number": number, "name": f"No. {number} average"})
        for number in extra
    ]
    return players, dict(sorted(five.items(), key=lambda one: one[1]))


def top_speed_from_sprint(distance_m: float, time_s: float, tau_s: float) -> float:
    """Top speed (m/s) of one who runs ``distance_m`` metres from rest in ``time_s`` seconds.

    Inverts the model's law x = v (t - tau (1 - exp(-t / tau))), v(t) = v (1 - exp(-t / tau)); ``tau_s`` is
    the constant sprint_tau_s, seconds.
    """
    return distance_m / (time_s - tau_s * (1.0 - math.exp(-time_s / tau_s)))


def ability(value: float, more: float) -> float:
    """An ability with something added, from 0 to 1."""
    return min(max(value + more, 0.0), 1.0)


def height_of(one: Cells) -> float | None:
    """Height on the sheet, metres; None where there is none."""
    return one.number(
        "height_cm", 1.2, 2.5, "metres, or centimetres", ("cm", "m"), lambda x: x / 100 if x > 3 else x
    )


def middle_height(people: People) -> float | None:
    """The middle one of the heights on a sheet, metres; None where not most of the men have one."""
    known = [height for one in people.cells if (height := height_of(one)) is not None]
    return median(known) if 2 * len(known) > len(people.cells) else None


def body(
    one: Cells,
    number: int,
    like: Player,
    grades: Grades,
    tau_s: float,
    assumed: Assumed,
    team: str,
    instead: tuple[float, str] | None,
) -> dict[str, float]:
    """Height (m) and top speed (m/s) of a player; ``like`` is the average player of his place. ``instead``:
    height of who has none on the sheet and why, said of him; None: that of ``like``, not said here."""
    height = height_of(one)
    typed = one.row.cells.get("height_cm", "")
    if height is not None and f"{100.0 * height:g}" not in typed.replace(",", "."):
        assumed.read(f"height_cm, No. {number} of {team},", typed, f"{100.0 * height:.0f} cm")
    if height is None and instead is not None:
        height, why = instead
        assumed.missing(f"Height of {team}, {{who}}: no cm, taken as {100.0 * height:.0f}, {why}.", number)
    share = one.choice("pace", PACES, "quick, normal or slow")
    measured: list[float] = []
    for column, (distance, low, high) in SPRINTS.items():
        time = one.number(column, low, high, "seconds", ("seconds", "sec", "s"))
        if time is not None:
            speed = top_speed_from_sprint(distance, time, tau_s) * grades.number("game_speed_share")
            measured.append(
                min(max(speed, PLAYER_RANGES["top_speed_mps"][0]), PLAYER_RANGES["top_speed_mps"][1])
            )
    if measured:
        speed = sum(measured) / len(measured)
        assumed.missing(
            f"Sprint times count more than the word for pace ({team}, {{who}}); in a game he reaches "
            f"{grades.number('game_speed_share'):.0%} of it.",
            number,
        )
    else:
        if share is None:
            assumed.missing(f"Pace of {team}, {{who}}: normal for the size and level.", number)
        speed = like.top_speed_mps * grades.pace[share or "normal"].top_speed_share
    return {"height_m": like.height_m if height is None else height, "top_speed_mps": speed}


def called(number: int, one: Cells | None) -> str:
    """Name of a player: the shirt number, and the initials where there are some."""
    initials = "" if one is None else (one.text("initials") or "")
    initials = "".join(ch for ch in initials if ch.isprintable())[:30]
    return f"No. {number} {initials}".strip()


def ordered(values: Sequence[float | None]) -> list[int]:
    """Ranks 0.. by value, smallest first; who has none is put in the middle, in the order of the rows."""
    known = sorted((value, i) for i, value in enumerate(values) if value is not None)
    middle = len(known) // 2
    unknown = [i for i, value in enumerate(values) if value is None]
    order = [*(i for _, i in known[:middle]), *unknown, *(i for _, i in known[middle:])]
    return [order.index(i) for i in range(len(values))]
