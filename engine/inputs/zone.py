"""Base defences as data: what each role does for every ball region and moment (configs/zones/*.toml).

Zones, man-to-man and mixtures of the two are written alike; the key and the folder are called zone.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from pydantic import AfterValidator, Field

from engine.errors import InputError, MissingInput
from engine.inputs import defaults
from engine.inputs.base import (
    Frozen,
    Table,
    Text,
    Whole,
    check_keys,
    known_keys,
    one_of,
    parse,
    plain,
    tables,
)
from engine.inputs.files import FileName, Source, read_toml, resolve
from engine.inputs.places import (
    OWN_MAN,
    Entry,
    Moments,
    Option,
    Options,
    Regions,
    RowOption,
    check_choices,
    check_option,
    check_row_options,
    entry_table,
    row_option_table,
)
from engine.inputs.roles import N_ROLES, AnyRole, RoleName, check_pairs, check_positions, check_role, holders
from engine.inputs.team import ZONE_PLACES
from engine.state.words import COVERAGES, REGIONS, Against

#: A wing may be described by these instead of "settled", where the defence has a bump.
BUMP_MOMENTS = ("before_bump", "after_bump", "reversal")
#: What only a defence with a bump can do.
_ONLY_WITH_BUMP = ("before_bump", "after_bump")
#: Everybody has taken a man.
MATCHED = "matched"
#: When a zone takes men.
MATCH_UPS = ("first_pass",)

CoverageWord = Annotated[str, Field(strict=True), AfterValidator(one_of(COVERAGES))]
Roles = Annotated[
    tuple[RoleName, ...],
    Field(min_length=N_ROLES, max_length=N_ROLES, description="the five roles of the defence"),
]


class ZoneRow(Frozen):
    """Entries of all five roles while the ball is in one of ``ball`` at one of the moments ``moment``."""

    ball: Regions = Field(description="ball regions")
    moment: Moments = Field(default=(defaults.MOMENT,), description="moments")
    entries: dict[str, Entry] = Field(description="an entry for each role")
    option: tuple[RowOption, ...] = Field(default=(), description="entries that options put in")


class ScreenRow(Frozen):
    """What is done about a screen with the ball in one of ``ball``; where ``option`` is set to ``choice``."""

    ball: Regions = Field(description="ball regions")
    coverage: CoverageWord = Field(description="what the two defenders do about a screen on the ball")
    option: Text | None = Field(default=None, description="name of an option")
    choice: Text | None = Field(default=None, description="one of its choices")


class Zone(Frozen):
    """A base defence: slides by ball region and moment, with options.

    ``roles``: five names; near_x and far_x swap with the ball's side and are held by right_x and left_x.
    ``persons``: person -> position 1 to 5 in the defending team's lineup; empty where the persons are the
    five places of a team's ``zone_places``, which then say who is who. ``bump_role``: who comes over to the
    wing, None without a bump. ``guards``: person -> position 1 to 5 of the attacker whom he guards, empty
    in a zone. ``match_up``: "first_pass" where the zone takes men after the first pass, else None.
    ``screens``: what those who have men do about a screen on the ball.
    """

    name: Text
    title: Text
    source: Text
    roles: Roles
    persons: dict[str, Whole] = Field(
        default_factory=dict, description="person = position 1 to 5 in the defence's lineup"
    )
    bump_role: AnyRole | None = Field(default=None, description="the role that comes over to the wing")
    guards: dict[str, Whole] = Field(
        default_factory=dict, description="person = position 1 to 5 of the attacker he guards"
    )
    match_up: Annotated[str, Field(strict=True), AfterValidator(one_of(MATCH_UPS))] | None = Field(
        default=None, description="when the zone takes men"
    )
    options: Options = Field(default_factory=dict, description="choices of this file")
    rows: tuple[ZoneRow, ...] = Field(alias="row", description="slides")
    screens: tuple[ScreenRow, ...] = Field(
        alias="screen", default=(), description="coverages of screens on the ball"
    )

    @property
    def has_men(self) -> bool:
        """Whether anybody ever has a man of his own: from the start, or after matching up."""
        return bool(self.guards) or self.match_up is not None

    @property
    def kind(self) -> str:
        """What an attack meets here: the word of Against for a zone or for men."""
        return (Against.MEN if self.has_men else Against.ZONE).word


class _Roles(Frozen):
    roles: Roles


def chosen(options: dict[str, Option]) -> dict[str, str]:
    """Option -> the choice taken."""
    return {name: option.use for name, option in options.items()}


def _roles(data: Table, where: str) -> tuple[str, ...]:
    """The five roles, before anything that is named after them is read."""
    roles = parse(_Roles, {k: v for k, v in data.items() if k == "roles"}, where).roles
    for i, role in enumerate(roles):
        if role in roles[:i]:
            raise InputError(where, f"roles[{i + 1}]", role, "five different role names, each once")
    check_pairs(roles, where)
    for i, role in enumerate(roles):
        for person in holders((role,)):
            if any(person in holders((other,)) and not _paired(role, other) for other in roles[:i]):
                raise InputError(
                    where, f"roles[{i + 1}]", role, f"another name ({person} already is a person)"
                )
    return roles


def _paired(role: str, other: str) -> bool:
    return {role.partition("_")[0], other.partition("_")[0]} == {"near", "far"}


def _check_people(zone: Zone, where: str) -> None:
    persons = holders(zone.roles)
    if zone.bump_role is not None:
        check_role(zone.bump_role, zone.roles, where, "bump_role")
    if zone.persons:
        check_positions(zone.persons, persons, where, "persons", complete=True)
    elif set(persons) != set(ZONE_PLACES):
        raise MissingInput(
            where, "persons", f"a table person = position 1 to 5 in the lineup, for {', '.join(persons)}"
        )
    check_positions(zone.guards, persons, where, "guards", complete=False)
    if zone.guards and zone.match_up is not None:
        allowed = "only without [guards]: either a man for each from the start, or after matching up"
        raise InputError(where, "match_up", zone.match_up, allowed)


def _check_moments(row: ZoneRow, zone: Zone, where: str, key: str) -> None:
    for moment in row.moment:
        if zone.bump_role is None and moment in _ONLY_WITH_BUMP:
            allowed = "settled, reversal or matched where the defence has no bump_role"
            raise InputError(where, f"{key}.moment", moment, allowed)
        if zone.match_up is None and moment == MATCHED:
            raise InputError(where, f"{key}.moment", moment, "only in a defence with match_up")


def _check_own_men(row: ZoneRow, zone: Zone, where: str, key: str) -> None:
    """Nobody traps in a row; who guards his own man must have one: by [guards], or by matching up."""
    entries = [(f"{key}.{role}", role, entry) for role, entry in row.entries.items()]
    entries += [(f"{key}.option[{i + 1}]", o.role, o.entry) for i, o in enumerate(row.option)]
    for here, _, entry in entries:
        if entry.job == "trap":
            raise InputError(where, f"{here}.job", entry.job, "another job (traps are calls)")
    if set(row.moment) == {MATCHED}:
        return
    for here, role, entry in entries:
        if entry.job != OWN_MAN:
            continue
        if not zone.guards:
            allowed = f'another job, or a table [guards], or moment = "{MATCHED}" alone'
            raise InputError(where, f"{here}.job", entry.job, allowed)
        for person in holders((role,)):
            if person not in zone.guards:
                allowed = f"the position of the attacker he guards ({here} does {OWN_MAN})"
                raise MissingInput(where, f"guards.{person}", allowed)


def _check_screens(zone: Zone, where: str) -> None:
    seen: set[tuple[str, str | None, str | None]] = set()
    for i, row in enumerate(zone.screens):
        key = f"screen[{i + 1}]"
        if not zone.has_men:
            allowed = "only in a defence with men: a table [guards], or match_up"
            raise InputError(where, key, row.coverage, allowed)
        if (row.option is None) != (row.choice is None):
            missing = "choice" if row.choice is None else "option"
            raise MissingInput(where, f"{key}.{missing}", "option and choice, or neither")
        if row.option is not None:
            check_option(row.option, row.choice, zone.options, where, key)
        for region in row.ball:
            if (region, row.option, row.choice) in seen:
                raise InputError(where, f"{key}.ball", region, "each region once, and once for a choice")
            seen.add((region, row.option, row.choice))


def coverages(zone: Zone, choices: Mapping[str, str]) -> dict[str, str]:
    """Region -> what is done there about a screen on the ball, where the file says so, with these choices."""
    plain_rows = [row for row in zone.screens if row.option is None]
    taken = [row for row in zone.screens if row.option is not None and choices.get(row.option) == row.choice]
    return {region: row.coverage for row in (*plain_rows, *taken) for region in row.ball}


def _check(zone: Zone, where: str) -> Zone:
    _check_people(zone, where)
    _check_screens(zone, where)
    covered: dict[tuple[str, str], int] = {}
    for i, row in enumerate(zone.rows):
        key = f"row[{i + 1}]"
        for role in zone.roles:
            if role not in row.entries:
                raise MissingInput(where, f"{key}.{role}", "an entry for every role")
        check_row_options(row.option, zone.options, zone.roles, where, f"{key}.option")
        _check_moments(row, zone, where, key)
        _check_own_men(row, zone, where, key)
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
    changes = [(item.option, item.choice) for row in zone.rows for item in row.option]
    changes += [(row.option, row.choice) for row in zone.screens if row.option and row.choice]
    check_choices(changes, zone.options, where)
    for region in REGIONS:
        if (region, defaults.MOMENT) in covered:
            continue
        if region != "wing" or zone.bump_role is None:
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
    if set(holders(zone.roles)) == set(ZONE_PLACES):
        return zone.model_copy(update={"persons": {}})  # the team's zone_places say who is who
    return zone


def zone_from(data: Table, where: str) -> Zone:
    """A defence from a table. Raises InputError."""
    check_keys(data, known_keys(Zone), where, "")
    roles = _roles(data, where)
    rows: list[Table] = []
    for i, row in enumerate(tables(data, "row", where)):
        key = f"row[{i + 1}]"
        check_keys(row, ("ball", "moment", "option", *roles), where, key)
        table: Table = {name: row[name] for name in ("ball", "moment") if name in row}
        table["entries"] = {
            role: entry_table(row[role], where, f"{key}.{plain(role)}") for role in roles if role in row
        }
        table["option"] = [
            row_option_table(item, where, f"{key}.option[{j + 1}]")
            for j, item in enumerate(tables(row, "option", where, key))
        ]
        rows.append(table)
    return _check(parse(Zone, {**data, "row": rows}, where, written=data), where)


def load_zone(name_or_path: FileName, beside: Source | None = None, key: str = "zone") -> Zone:
    """Load a base defence by name (configs/zones) or path.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    source = resolve(name_or_path, "zones", beside, key if beside else "")
    return zone_from(read_toml(source), str(source))
