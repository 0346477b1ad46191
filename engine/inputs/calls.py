"""Trap calls as data: who doubles the ball, who covers what, when it is made (configs/calls/*.toml)."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field

from engine.errors import InputError, as_written
from engine.inputs import defaults
from engine.inputs.base import (
    Flag,
    Frozen,
    Real,
    Shirt,
    Table,
    Text,
    Whole,
    as_list,
    nearest,
    one_of,
    parse,
    plain,
    tables,
)
from engine.inputs.files import FileName, Source, read_toml, resolve
from engine.inputs.places import (
    OWN_MAN,
    Entry,
    Options,
    Regions,
    RowOption,
    Spot,
    check_choices,
    check_row_options,
    entry_table,
    row_option_table,
)
from engine.inputs.roles import DYNAMIC_DOUBLES, N_ROLES, AnyRole, RoleName
from engine.inputs.zone import Zone
from engine.state.words import TRIGGERS

WAYS_BACK = ("shell", "trappers_last")

Trigger = Annotated[str, Field(strict=True), AfterValidator(one_of(TRIGGERS))]
Triggers = Annotated[tuple[Trigger, ...], BeforeValidator(as_list), Field(min_length=1)]
Metres = Annotated[float, Field(ge=0.0, le=15.0)]
Band = Annotated[tuple[Metres, Metres], BeforeValidator(as_list)]
WayBack = Annotated[str, Field(strict=True), AfterValidator(one_of(WAYS_BACK))]


class Call(Frozen):
    """A trap call. Times in seconds, probability from 0 to 1, budget in uses per game (None: no limit).

    ``doubles``: the two roles that trap, or ("ball", "nearest"), see ``dynamic``; ``cover``: what the other
    three do; ``defences``: names of the defences it is written for, empty for every one that has its
    roles; ``only_against``: shirt numbers of the handlers it is meant for, empty for everyone.
    """

    name: Text
    title: Text
    source: Text
    spot: Text = Field(description="short label of the spot")
    ball: Regions = Field(description="ball regions where the call applies")
    doubles: tuple[AnyRole, ...] = Field(
        min_length=2, max_length=2, description="the two roles that trap, or ball and nearest"
    )
    defences: tuple[Text, ...] = Field(default=(), description="names of defences; empty for all that fit")
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
    after_bump: Flag = Field(default=False, description="not while the guard is still on his way to the wing")
    from_baseline_m: Band | None = Field(
        default=None, description="the ball's distance from the baseline, metres"
    )
    give_up_s: Real = Field(default=defaults.GIVE_UP_S, ge=0.0, le=30.0, description="trap kept up, seconds")
    cover: dict[RoleName, Entry] = Field(description="an entry for each role that does not double")
    options: Options = Field(default_factory=dict, description="choices of this file")
    option: tuple[RowOption, ...] = Field(default=(), description="entries that options put in")

    @property
    def choices(self) -> dict[str, str]:
        """Option -> the choice taken."""
        return {name: option.use for name, option in self.options.items()}

    @property
    def dynamic(self) -> bool:
        """Whether the man on the ball and the next nearest double it, whoever they are when it is made.

        The three entries of ``cover`` then have names of their own; in their order each goes to the
        defender, of those left, who is nearest to its place.
        """
        return self.doubles == DYNAMIC_DOUBLES


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
    "after_bump",
    "from_baseline_m",
)


def _check_roles(call: Call, where: str) -> None:
    """Two who double and three who cover, all different; which roles a defence has is not known here."""
    for i, role in enumerate(call.doubles):
        if role in call.doubles[:i]:
            raise InputError(where, f"doubles[{i + 1}]", role, "each role once")
        if role in DYNAMIC_DOUBLES and not call.dynamic:
            allowed = f"two roles of the defence, or {as_written(list(DYNAMIC_DOUBLES))} in this order"
            raise InputError(where, f"doubles[{i + 1}]", role, allowed)
        if role in call.cover:
            raise InputError(where, f"cover.{role}", role, "each role once (it already doubles)")
    if len(call.cover) != N_ROLES - 2:
        allowed = "exactly three roles to cover, the three that do not double"
        raise InputError(where, "cover", list(call.cover), allowed)


def _check(call: Call, where: str) -> Call:
    _check_roles(call, where)
    for name in ("ball", "triggers", "only_against", "defences"):
        values = getattr(call, name)
        for i, value in enumerate(values):
            if value in values[:i]:
                raise InputError(where, f"{name}[{i + 1}]", value, "each of them once")
    if call.triggers == ("brought_down",) and call.from_baseline_m is None:
        raise InputError(where, "triggers", list(call.triggers), "from_baseline_m beside it: down to where")
    check_row_options(call.option, call.options, tuple(call.cover), where, "option")
    check_choices([(item.option, item.choice) for item in call.option], call.options, where)
    return call


def misfit(call: Call, zone: Zone) -> tuple[str, object, str] | None:
    """Why a call cannot be made in a defence: key of its file, value and what is allowed; else None."""
    if call.defences and zone.name not in call.defences:
        return "defences", list(call.defences), f"{zone.name} among them"
    named = [(f"doubles[{i + 1}]", role) for i, role in enumerate(call.doubles)]
    named += [(f"cover.{role}", role) for role in call.cover]
    for key, role in () if call.dynamic else named:
        if role not in zone.roles:
            known = f"a role of {zone.name}: {', '.join(zone.roles)}{nearest(role, zone.roles)}"
            return key, role, known
    entries = [(f"cover.{role}", entry) for role, entry in call.cover.items()]
    entries += [(f"option[{i + 1}]", item.entry) for i, item in enumerate(call.option)]
    for key, entry in entries:
        if entry.job == OWN_MAN and not zone.has_men:
            allowed = f"another job in {zone.name}, where nobody has a man of his own"
            return f"{key}.job", entry.job, allowed
    return None


def call_from(data: Table, where: str) -> Call:
    """A call from a table. Raises InputError."""
    regrouped = dict(data)
    if isinstance(data.get("cover"), dict):
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
