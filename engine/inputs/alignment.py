"""Offensive alignments: who stands where for every ball region (configs/alignments/*.toml)."""

from __future__ import annotations

from pydantic import Field

from engine.errors import InputError, MissingInput
from engine.inputs.base import Frozen, Table, Text, Whole, check_keys, nearest, parse, plain, tables
from engine.inputs.files import FileName, Source, read_toml, resolve
from engine.inputs.places import Placement, Regions, placement_table
from engine.inputs.roles import N_ROLES, check_pairs, check_positions, holders
from engine.state.words import REGIONS

BREAK_PLACES = ("behind", "middle", "line", "far")
DEFAULT_BREAK = "default"


class AlignmentRow(Frozen):
    """Places of all five roles while the ball is in one of the regions ``ball``."""

    ball: Regions = Field(description="ball regions")
    places: dict[str, Placement] = Field(description="a place for each role")


class Break(Frozen):
    """Where team-mates go to break a trap: behind the ball, to the middle, up the line, far from it.

    ``call`` holds spots of calls, or "default" for all that are not named.
    """

    call: tuple[Text, ...] = Field(min_length=1, description="regions of the trap, or default")
    behind: Placement
    middle: Placement
    line: Placement
    far: Placement


class Alignment(Frozen):
    """An alignment. Roles near_x and far_x swap with the ball's side and are held by persons right_x, left_x.

    ``persons`` maps person to team position 1 to 5.
    """

    name: Text
    title: Text
    source: Text
    roles: tuple[Text, ...] = Field(min_length=N_ROLES, max_length=N_ROLES, description="five role names")
    persons: dict[str, Whole] = Field(description="person = team position 1 to 5")
    rows: tuple[AlignmentRow, ...] = Field(alias="row", description="places by ball region")
    breaks: tuple[Break, ...] = Field(alias="break", description="places for breaking a trap")

    @property
    def short(self) -> str:
        """What every output calls it: its title up to a colon, ``one guard``, in the words of the sheets."""
        return self.title.partition(":")[0]


def _check(alignment: Alignment, where: str) -> Alignment:
    roles = alignment.roles
    check_pairs(roles, where)
    check_positions(alignment.persons, holders(roles), where, "persons", complete=True)
    covered: dict[str, int] = {}
    for i, row in enumerate(alignment.rows):
        for role in roles:
            if role not in row.places:
                raise MissingInput(where, f"row[{i + 1}].{role}", "a place for every role")
        for region in row.ball:
            if region in covered:
                raise InputError(
                    where, f"row[{i + 1}].ball", region, f"each region once (row[{covered[region]}] has it)"
                )
            covered[region] = i + 1
    for region in REGIONS:
        if region not in covered:
            raise MissingInput(where, f'a row with ball = "{region}"', "every ball region")
    named: set[str] = set()
    for i, item in enumerate(alignment.breaks):
        for call in item.call:
            if call not in (*REGIONS, DEFAULT_BREAK):
                known = (*REGIONS, DEFAULT_BREAK)
                raise InputError(
                    where, f"break[{i + 1}].call", call, f"one of {', '.join(known)}{nearest(call, known)}"
                )
            if call in named:
                raise InputError(where, f"break[{i + 1}].call", call, "each region once")
            named.add(call)
    if DEFAULT_BREAK not in named:
        raise MissingInput(where, 'a break with call = "default"', "places for traps that are not named")
    return alignment


def alignment_from(data: Table, where: str) -> Alignment:
    """An alignment from a table. Raises InputError."""
    written_roles = data.get("roles", [])
    roles = [r for r in written_roles if isinstance(r, str)] if isinstance(written_roles, list) else []
    for i, role in enumerate(roles):
        if role in roles[:i] or role == "ball":
            raise InputError(where, f"roles[{i + 1}]", role, "five different role names, none of them ball")
    rows: list[Table] = []
    for i, row in enumerate(tables(data, "row", where)):
        key = f"row[{i + 1}]"
        check_keys(row, ("ball", *roles), where, key)
        places = {
            role: placement_table(
                value, "far" if role.startswith("far_") else "near", where, f"{key}.{plain(role)}"
            )
            for role, value in row.items()
            if role != "ball"
        }
        rows.append({**({"ball": row["ball"]} if "ball" in row else {}), "places": places})
    breaks: list[Table] = []
    for i, item in enumerate(tables(data, "break", where)):
        key = f"break[{i + 1}]"
        check_keys(item, ("call", *BREAK_PLACES), where, key)
        table: Table = {
            name: placement_table(item[name], "far" if name == "far" else "near", where, f"{key}.{name}")
            for name in BREAK_PLACES
            if name in item
        }
        if "call" in item:
            table["call"] = [item["call"]] if isinstance(item["call"], str) else item["call"]
        breaks.append(table)
    regrouped = {**data, "row": rows, "break": breaks}
    return _check(parse(Alignment, regrouped, where, written=data), where)


def load_alignment(name_or_path: FileName, beside: Source | None = None, key: str = "alignment") -> Alignment:
    """Load an alignment by name (configs/alignments) or path.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    source = resolve(name_or_path, "alignments", beside, key if beside else "")
    return alignment_from(read_toml(source), str(source))
