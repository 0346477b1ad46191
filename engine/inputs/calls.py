"""Trap calls as data: who doubles the ball, who covers what, when it is made (configs/calls/*.toml)."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field

from engine.errors import InputError, MissingInput
from engine.inputs import defaults
from engine.inputs.base import (
    Frozen,
    Real,
    Shirt,
    Table,
    Text,
    Whole,
    as_list,
    check_keys,
    one_of,
    parse,
    plain,
    tables,
)
from engine.inputs.files import FileName, Source, read_toml, resolve
from engine.inputs.places import (
    ROLES,
    Entry,
    Options,
    Regions,
    Role,
    RowOption,
    Spot,
    check_choices,
    check_row_options,
    entry_table,
    row_option_table,
)
from engine.state import TRIGGERS

WAYS_BACK = ("shell", "trappers_last")

Trigger = Annotated[str, Field(strict=True), AfterValidator(one_of(TRIGGERS))]
Triggers = Annotated[tuple[Trigger, ...], BeforeValidator(as_list), Field(min_length=1)]
WayBack = Annotated[str, Field(strict=True), AfterValidator(one_of(WAYS_BACK))]


class Call(Frozen):
    """A trap call. Times in seconds, probability from 0 to 1, budget in uses per game (None: no limit).

    ``doubles``: the two roles that trap; ``cover``: what the other three do; ``only_against``: shirt
    numbers of the handlers it is meant for, empty for everyone.
    """

    name: Text
    title: Text
    source: Text
    spot: Text = Field(description="short label of the spot")
    ball: Regions = Field(description="ball regions where the call applies")
    doubles: tuple[Role, ...] = Field(min_length=2, max_length=2, description="the two roles that trap")
    faces: Spot | None = Field(default=None, description="the spot the trap is turned to")
    triggers: Triggers = Field(description="what sets it off")
    held_s: Real = Field(
        default=defaults.HELD_S, ge=0.0, le=30.0, description="time of the trigger held, seconds"
    )
    probability: Real = Field(default=defaults.PROBABILITY, ge=0.0, le=1.0, description="chance per trigger")
    budget: Whole | None = Field(default=defaults.BUDGET, ge=0, le=1000, description="uses per game, count")
    disguise_s: Real = Field(
        default=defaults.DISGUISE_S, ge=0.0, le=10.0, description="hidden start, seconds"
    )
    only_against: tuple[Shirt, ...] = Field(default=(), description="shirt numbers; empty for everyone")
    way_back: WayBack = Field(default=defaults.WAY_BACK, description="way back to the shell")
    give_up_s: Real = Field(default=defaults.GIVE_UP_S, ge=0.0, le=30.0, description="trap kept up, seconds")
    cover: dict[str, Entry] = Field(description="an entry for each role that does not double")
    options: Options = Field(default_factory=dict, description="choices of this file")
    option: tuple[RowOption, ...] = Field(default=(), description="entries that options put in")

    @property
    def choices(self) -> dict[str, str]:
        """Option -> the choice taken."""
        return {name: option.use for name, option in self.options.items()}


#: Keys a scenario may change for one setting, besides ``options``.
CHANGEABLE = (
    "probability",
    "triggers",
    "held_s",
    "disguise_s",
    "only_against",
    "budget",
    "give_up_s",
    "way_back",
)


def _check(call: Call, where: str) -> Call:
    for i, role in enumerate(call.doubles):
        if role in call.doubles[:i]:
            raise InputError(where, f"doubles[{i + 1}]", role, "each role once")
        if role in call.cover:
            raise InputError(where, f"cover.{role}", role, "each role once (it already doubles)")
    for role in ROLES:
        if role not in call.doubles and role not in call.cover:
            raise MissingInput(where, f"cover.{role}", "every role either in doubles or in cover")
    for name in ("ball", "triggers", "only_against"):
        values = getattr(call, name)
        for i, value in enumerate(values):
            if value in values[:i]:
                raise InputError(where, f"{name}[{i + 1}]", value, "each of them once")
    check_row_options(call.option, call.options, where, "option")
    check_choices(call.option, call.options, where)
    return call


def call_from(data: Table, where: str) -> Call:
    """A call from a table. Raises InputError."""
    regrouped = dict(data)
    if "cover" in data:
        check_keys(data["cover"], ROLES, where, "cover")
        regrouped["cover"] = {
            role: entry_table(entry, where, f"cover.{plain(role)}") for role, entry in data["cover"].items()
        }
    regrouped["option"] = [
        row_option_table(item, where, f"option[{i + 1}]")
        for i, item in enumerate(tables(data, "option", where))
    ]
    return _check(parse(Call, regrouped, where, written=data), where)


def load_call(name_or_path: FileName, beside: Source | None = None, key: str = "call") -> Call:
    """Load a trap call by name (configs/calls) or path.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    source = resolve(name_or_path, "calls", beside, key if beside else "")
    return call_from(read_toml(source), str(source))
