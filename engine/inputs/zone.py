"""The base 2-3 as data: what each role does for every ball region and moment (configs/zones/*.toml)."""

from __future__ import annotations

from pydantic import Field

from engine.errors import InputError, MissingInput
from engine.inputs import defaults
from engine.inputs.base import Frozen, Table, Text, check_keys, parse, plain, tables
from engine.inputs.files import FileName, Source, read_toml, resolve
from engine.inputs.places import (
    ROLES,
    Entry,
    Moments,
    Option,
    Options,
    Regions,
    Role,
    RowOption,
    check_choices,
    check_row_options,
    entry_table,
    row_option_table,
)
from engine.state import REGIONS

#: A wing may be described by these instead of "settled".
BUMP_MOMENTS = ("before_bump", "after_bump", "reversal")


class ZoneRow(Frozen):
    """Entries of all five roles while the ball is in one of ``ball`` at one of the moments ``moment``."""

    ball: Regions = Field(description="ball regions")
    moment: Moments = Field(default=(defaults.MOMENT,), description="moments")
    entries: dict[str, Entry] = Field(description="an entry for each role")
    option: tuple[RowOption, ...] = Field(default=(), description="entries that options put in")


class Zone(Frozen):
    """A 2-3: slides by ball region and moment, with options."""

    name: Text
    title: Text
    source: Text
    roles: tuple[Role, ...] = Field(min_length=5, max_length=5, description="the five roles of a 2-3")
    bump_role: Role = Field(description="the role that comes over to the wing")
    options: Options = Field(default_factory=dict, description="choices of this file")
    rows: tuple[ZoneRow, ...] = Field(alias="row", description="slides")


def chosen(options: dict[str, Option]) -> dict[str, str]:
    """Option -> the choice taken."""
    return {name: option.use for name, option in options.items()}


def _check(zone: Zone, where: str) -> Zone:
    for i, role in enumerate(zone.roles):
        if role in zone.roles[:i]:
            raise InputError(where, f"roles[{i + 1}]", role, f"each of {', '.join(ROLES)} once")
    covered: dict[tuple[str, str], int] = {}
    for i, row in enumerate(zone.rows):
        key = f"row[{i + 1}]"
        for role in zone.roles:
            if role not in row.entries:
                raise MissingInput(where, f"{key}.{role}", "an entry for every role")
        check_row_options(row.option, zone.options, where, f"{key}.option")
        for region in row.ball:
            for moment in row.moment:
                if (region, moment) in covered:
                    raise InputError(
                        where,
                        f"{key}.ball",
                        region,
                        f"each region once per moment (row[{covered[region, moment]}] has it, {moment})",
                    )
                covered[region, moment] = i + 1
    check_choices([item for row in zone.rows for item in row.option], zone.options, where)
    for region in REGIONS:
        if (region, "settled") in covered:
            continue
        if region != "wing":
            raise MissingInput(
                where, f'a row with ball = "{region}"', "slides for every ball region, settled"
            )
        for moment in BUMP_MOMENTS:
            if (region, moment) not in covered:
                raise MissingInput(
                    where,
                    f'a row with ball = "wing", moment = "{moment}"',
                    f"the wing settled, or {', '.join(BUMP_MOMENTS)}",
                )
    return zone


def zone_from(data: Table, where: str) -> Zone:
    """A zone from a table. Raises InputError."""
    rows: list[Table] = []
    for i, row in enumerate(tables(data, "row", where)):
        key = f"row[{i + 1}]"
        check_keys(row, ("ball", "moment", "option", *ROLES), where, key)
        table: Table = {name: row[name] for name in ("ball", "moment") if name in row}
        table["entries"] = {
            role: entry_table(row[role], where, f"{key}.{plain(role)}") for role in ROLES if role in row
        }
        table["option"] = [
            row_option_table(item, where, f"{key}.option[{j + 1}]")
            for j, item in enumerate(tables(row, "option", where, key))
        ]
        rows.append(table)
    return _check(parse(Zone, {**data, "row": rows}, where, written=data), where)


def load_zone(name_or_path: FileName, beside: Source | None = None, key: str = "zone") -> Zone:
    """Load a zone by name (configs/zones) or path.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    source = resolve(name_or_path, "zones", beside, key if beside else "")
    return zone_from(read_toml(source), str(source))
