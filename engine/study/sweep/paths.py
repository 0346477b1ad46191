"""Values of a scenario and of the files it names, each addressed by its path and changed there.

A path is names joined by dots; a name that holds a dot itself stands in double quotes. What the first
names mean:

- ``constants.NAME``, ``game.KEY``, ``rules.TABLE.KEY`` (``rules.clock.shot_s``): a model constant, a key of
  the scenario's table game, a number of the rule set (as under rules_changes).
- ``start``, ``rules``, ``level``, ``shot_table``, ``offence.team``, ``offence.alignment``, ``defence.team``,
  ``defence.zone``, ``defence.policy``, ``defence.options.NAME``, ``defence.matchups.SHIRT``: the scenario's
  keys.
- ``setting.NAME.KEY``, ``setting.NAME.options.NAME``, ``setting.NAME.call.CALL.KEY``: a setting by its name,
  a call of it by the name it is written with, or by its place counted from 1.
- ``offence.player.SHIRT.KEY``, ``defence.player.SHIRT.KEY``; ``offence.KEY`` and ``defence.KEY`` for all
  other keys: the team's file.
- ``zone.KEY``, ``alignment.KEY``, ``level.KEY``, ``call.NAME.KEY``: the file of the defence, of the
  alignment, of the level, of a call. Items of a list are counted from 1: ``zone.row.2.centre.toward_ball``.
- ``shots.ROW.COLUMN``: the shot table that the scenario or its level names, rows counted from 1.

The layout of regions and spots (court/regions.toml) belongs to no scenario and has no path.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from engine.errors import InputError
from engine.inputs.base import Table, known_keys, listed, nearest, plain
from engine.inputs.calls import CHANGEABLE as CALL_KEYS
from engine.inputs.constants import load_constants
from engine.inputs.files import Held, Source, read_csv, read_toml, resolve
from engine.inputs.rules import CHANGEABLE as RULE_TABLES
from engine.inputs.scenario import Game, Scenario, scenario_from
from engine.inputs.shots import COLUMNS
from engine.inputs.team import Player, ZonePlaces

#: A value that a path can be given.
Value = float | int | str | bool
Step = str | int

#: Keys of a scenario that a path of one name means.
SINGLE = ("start", "rules", "level", "shot_table")
#: Keys of a scenario's tables offence and defence; all other keys belong to the team's file.
OFFENCE_KEYS = ("team", "alignment")
DEFENCE_KEYS = ("team", "zone", "policy", "options", "matchups")
#: Keys that a design of a sweep says itself, or that play no part in it.
NOT_HERE = ("title", "seed", "possessions", "over_n", "beyond_range")
ROOTS = (
    "constants", "game", "rules", "setting", "offence", "defence", "zone", "alignment", "level", "call",
    "shots", "shot_table", "start",
)  # fmt: skip
#: Which path names the file that others look into: both at once would contradict each other.
NAMED_BY = {
    "zone": "defence.zone",
    "alignment": "offence.alignment",
    "level": "level",
    "shots": "shot_table",
    "offence": "offence.team",
    "defence": "defence.team",
}
_PART = re.compile(r'"([^"]+)"|([^".]+)')


@dataclass(frozen=True)
class Address:
    """Where a path leads: ``steps`` through the table of ``file`` (None: the scenario's own).

    ``kind``: constants, game, rules, call, player, shots or other. ``side``: offence or defence for a team's
    file, else empty. Places in lists are counted from 0.
    """

    path: str
    kind: str
    steps: tuple[Step, ...]
    file: Path | None = None
    side: str = ""


class Opened:
    """A scenario with every file it names kept in memory, so that its values can be changed.

    Files changed later on the disk play no part any more. Raises InputError where the scenario is wrong.

    Attributes:
        source: the scenario's file, holding all contents.
        data: its table as written.
        base: the scenario as written. ``constants``: the model's, with their ranges.
    """

    def __init__(self, scenario: str, beside: Source | None, key: str) -> None:
        found = resolve(scenario, "scenarios", beside, key if beside else "")
        self.source = Source(found.path, found.shown, [], Held())
        self.data = read_toml(self.source)
        self.base: Scenario = scenario_from(self.data, self.source)
        self.constants = load_constants()
        self._known: list[str] | None = None

    # --- finding ---------------------------------------------------------------------------------------

    def file(self, name: str) -> Source | None:
        """The file behind a root of a path (offence, defence, zone, alignment, level, shots); None: named
        nowhere."""
        data = self.data
        if name == "shots":
            if "shot_table" in data:
                return resolve(data["shot_table"], "shots", self.source)
            level = self.file("level")
            assert level is not None  # a scenario names a shot table or a level
            return resolve(read_toml(level)["shot_table"], "shots", level)
        if name == "level":
            return resolve(data["level"], "levels", self.source) if "level" in data else None
        table, key, kind = {
            "offence": ("offence", "team", "teams"),
            "defence": ("defence", "team", "teams"),
            "zone": ("defence", "zone", "zones"),
            "alignment": ("offence", "alignment", "alignments"),
        }[name]
        return resolve(data[table][key], kind, self.source)

    def calls(self) -> dict[str, Source]:
        """The files of all calls of the scenario, by the name they are written with."""
        written = [use["call"] for setting in self.data.get("setting", []) for use in setting.get("call", [])]
        return {name: resolve(name, "calls", self.source) for name in written}

    def known(self) -> list[str]:
        """Every path that stands in the files, and those a file could have added: for the nearest one."""
        if self._known is None:
            self._known = list(dict.fromkeys(joined(parts) for parts in self._all()))
        return self._known

    def _all(self) -> Iterator[Sequence[Step]]:
        yield from ((name,) for name in SINGLE)
        yield from (("constants", name) for name in self.base.constants)
        yield from (("game", name) for name in known_keys(Game))
        rules = self.base.rules.model_dump()
        yield from (("rules", table, key) for table in RULE_TABLES for key in rules[table])
        for setting in self.data.get("setting", []):
            name = setting["name"]
            yield ("setting", name, "zone")
            yield from (("setting", name, "options", option) for option in self.base.zone.options)
            for use in setting.get("call", []):
                yield from (("setting", name, "call", use["call"], key) for key in CALL_KEYS)
        yield from (("offence", key) for key in OFFENCE_KEYS)
        yield from (("defence", key) for key in DEFENCE_KEYS if key != "options")
        yield from (("defence", "options", option) for option in self.base.zone.options)
        for side, team in (("offence", self.base.offence_team), ("defence", self.base.defence_team)):
            for player in team.players:
                yield from ((side, "player", player.number, key) for key in known_keys(Player))
            yield from ((side, "zone_places", key) for key in known_keys(ZonePlaces))
        for name in ("zone", "alignment", "level"):
            found = self.file(name)
            if found is not None:
                yield from ((name, *rest) for rest in _leaves(read_toml(found)))
        for name, found in self.calls().items():
            yield from (("call", name, *rest) for rest in _leaves(read_toml(found)))
        shots = self.file("shots")
        if shots is not None:
            rows = range(1, len(read_csv(shots, COLUMNS)) + 1)
            yield from (("shots", row, column) for row in rows for column in COLUMNS)

    def locate(self, path: str, where: object, key: str) -> Address:
        """Where a path leads. Raises InputError at ``key`` of ``where``, with the nearest path."""
        parts = split(path)
        if not parts:
            raise InputError(
                where, key, path, 'names joined by dots, such as constants.reaction_s or a."b.c"'
            )
        found = self._address(path, parts)
        if isinstance(found, Address):
            return found
        raise InputError(where, key, path, (found or f"a value of the scenario's files{self.near(path)}"))

    def near(self, path: str) -> str:
        """``; nearest '...'`` among the known paths, or an empty text."""
        return nearest(path, self.known())

    def _address(self, path: str, parts: list[str]) -> Address | str | None:
        """The address, or what is allowed instead, or None: only the nearest path can be told."""
        head, rest = parts[0], parts[1:]
        if head in NOT_HERE:
            return "a value that a possession depends on (possessions and seed are keys of the design itself)"
        if head not in ROOTS:
            return f"a path that starts with one of {listed(ROOTS)}{self.near(path)}"
        if not rest:
            return Address(path, "other", (head,)) if head in SINGLE else None
        if head == "constants":
            good = len(rest) == 1 and rest[0] in self.base.constants
            return Address(path, head, (head, rest[0])) if good else None
        if head == "game":
            good = len(rest) == 1 and rest[0] in known_keys(Game)
            return Address(path, head, (head, rest[0])) if good else None
        if head == "rules":
            if len(rest) != 2 or rest[0] not in RULE_TABLES:
                return None
            if rest[1] not in known_keys(type(getattr(self.base.rules, rest[0]))):
                return None
            return Address(path, head, ("rules_changes", ".".join(rest)))
        if head == "setting":
            return self._setting(path, rest)
        if head == "shots":
            found = self.file("shots")
            assert found is not None
            row = _place(rest[0], len(read_csv(found, COLUMNS)))
            good = len(rest) == 2 and row is not None and rest[1] in COLUMNS
            return Address(path, head, (row, rest[1]), found.path) if good and row is not None else None
        own = {"offence": OFFENCE_KEYS, "defence": DEFENCE_KEYS}.get(head, ())
        if rest[0] in own:
            return Address(path, "other", tuple(parts))
        return self._in_file(path, head, rest)

    def _setting(self, path: str, rest: list[str]) -> Address | str | None:
        settings: list[Table] = self.data.get("setting", [])
        names = [setting["name"] for setting in settings]
        if rest[0] not in names:
            shown = ", ".join(f'"{plain(name)}"' for name in names) or "none is in the scenario"
            return f"a setting by its name: {shown}{nearest(rest[0], names)}"
        i = names.index(rest[0])
        if len(rest) < 2 or rest[1] != "call":
            good = len(rest) > 1 and rest[1] in ("zone", "policy", "options")
            return Address(path, "other", ("setting", i, *rest[1:])) if good else None
        calls = [str(use["call"]) for use in settings[i].get("call", [])]
        j = _place(rest[2], len(calls)) if len(rest) > 2 else None
        if len(rest) > 2 and rest[2] in calls:
            j = calls.index(rest[2])
        if j is None or len(rest) < 4:
            return f"setting.{plain(rest[0])}.call.CALL.KEY with one of the calls {listed(calls) or '(none)'}"
        kind = "call" if len(rest) == 4 and rest[3] in CALL_KEYS else "other"
        return Address(path, kind, ("setting", i, "call", j, *rest[3:]))

    def _in_file(self, path: str, head: str, rest: list[str]) -> Address | str | None:
        if head == "call":
            calls = self.calls()
            if rest[0] not in calls:
                return f"a call of the scenario: {listed(calls) or 'it has none'}{nearest(rest[0], calls)}"
            file, rest = calls[rest[0]], rest[1:]
        else:
            named = self.file(head)
            if named is None:
                return f"a path of another file (the scenario names no {head})"
            file = named
        steps = _steps(read_toml(file), rest)
        if steps is None:
            return None
        side = head if head in ("offence", "defence") else ""
        kind = "player" if side and len(steps) == 3 and steps[0] == "player" else "other"
        return Address(path, kind, steps, file.path, side)

    # --- changing --------------------------------------------------------------------------------------

    def scenario(self, changes: Sequence[tuple[Address, Value]]) -> Scenario:
        """The scenario with values put in their places, loaded as files are. Raises InputError."""
        held = self.source.held
        assert held is not None
        data, texts, tables = self.data, dict(held.texts), dict(held.tables)
        shared = _same_team(self)
        for address, value in changes:
            file = address.file
            if file is None:
                data = put(data, address.steps, value)
            elif address.kind == "shots":
                texts[file] = _put_shots(Source(file, str(file), [], Held(texts)), address.steps, value)
            elif address.side and shared:
                other = file.with_name(f"{address.side} of {file.name}")
                tables[other] = put(tables.get(other, tables[file]), address.steps, value)
                data = put(data, (address.side, "team"), str(other.absolute()))
                tables[other.absolute()] = tables[other]
            else:
                tables[file] = put(tables[file], address.steps, value)
        source = Source(self.source.path, self.source.shown, [], Held(texts, tables))
        scenario = scenario_from(data, source)
        for path, text in texts.items():  # a file that only this change names: kept from now on
            held.texts.setdefault(path, text)
        for path, table in tables.items():
            if path in held.texts:
                held.tables.setdefault(path, table)
        return scenario


def _same_team(opened: Opened) -> bool:
    """Whether attack and defence are one file: a change then belongs to one of them only."""
    offence, defence = opened.file("offence"), opened.file("defence")
    return offence is not None and defence is not None and offence.path == defence.path


def split(path: str) -> list[str]:
    """The names of a path; empty when it cannot be read."""
    parts: list[str] = []
    at = 0
    while True:
        found = _PART.match(path, at)
        if found is None:
            return []
        parts.append((found[1] or found[2]).strip())
        at = found.end()
        if at == len(path):
            return parts if all(parts) else []
        if path[at] != ".":
            return []
        at += 1


def joined(parts: Sequence[Step]) -> str:
    """A path from its names; those that hold a dot are quoted."""
    return ".".join(f'"{part}"' if "." in str(part) else str(part) for part in parts)


def _leaves(table: Any, above: tuple[Step, ...] = ()) -> Iterator[tuple[Step, ...]]:
    if isinstance(table, dict):
        for name, value in table.items():
            yield from _leaves(value, (*above, name))
    elif isinstance(table, list):
        for i, value in enumerate(table, 1):
            name = value["number"] if above == ("player",) and isinstance(value, dict) else i
            yield from _leaves(value, (*above, name))
    elif above:
        yield above


def _place(text: str, count: int) -> int | None:
    """A place counted from 1 as one counted from 0; None when there is none."""
    return int(text) - 1 if text.isdecimal() and text.isascii() and 1 <= int(text[:9]) <= count else None


def _steps(table: Any, parts: Sequence[str]) -> tuple[Step, ...] | None:
    """Steps of a path through a table of a file; None where it leads nowhere.

    The last name may be missing in the file: whether a key may stand there is for the loader to say.
    """
    steps: list[Step] = []
    current = table
    for n, part in enumerate(parts):
        if isinstance(current, list):
            place = _place(part, len(current))
            if steps == ["player"]:
                shirts = [str(player["number"]) for player in current]
                place = shirts.index(part) if part in shirts else None
            if place is None:
                return None
            steps.append(place)
            current = current[place]
        elif isinstance(current, dict) and (part in current or n == len(parts) - 1):
            steps.append(part)
            current = current.get(part)
        else:
            return None
    return tuple(steps)


def put(table: Any, steps: Sequence[Step], value: Value) -> Any:
    """A copy of a table with a value put in; only what lies on the way is copied."""
    head, rest = steps[0], steps[1:]
    if isinstance(table, list):
        items = list(table)
        items[int(head)] = put(items[int(head)], rest, value) if rest else value
        return items
    copy = dict(table) if isinstance(table, dict) else {}
    if head == "rules_changes":
        # dotted and nested keys may both stand there, and the last one counts
        name = str(rest[0])
        copy[head] = {**{key: old for key, old in copy.get(head, {}).items() if key != name}, name: value}
    else:
        copy[str(head)] = put(copy.get(str(head), {}), rest, value) if rest else value
    return copy


def _put_shots(source: Source, steps: Sequence[Step], value: Value) -> str:
    rows = [cells for _, cells in read_csv(source, COLUMNS)]
    rows[int(steps[0])][str(steps[1])] = str(value)
    return "\n".join([",".join(COLUMNS), *(",".join(row[name] for name in COLUMNS) for row in rows)])


def clash(addresses: Mapping[str, Address]) -> tuple[str, str] | None:
    """Two paths that cannot be changed at once: one into a file, and the one that says which file it is."""
    for path, address in addresses.items():
        root = split(path)[0]
        namer = NAMED_BY.get(root)
        if namer is not None and namer != path and namer in addresses:
            if address.file is not None or root in ("zone", "alignment", "level", "shots"):
                return path, namer
    return None
