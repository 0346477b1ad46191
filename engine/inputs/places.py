"""Places and jobs, as slides, calls and alignments share them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Annotated, Self

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from engine.errors import InputError
from engine.inputs import defaults
from engine.inputs.base import (
    Frozen,
    Real,
    Table,
    Text,
    TwoReals,
    as_list,
    check_keys,
    listed,
    nearest,
    not_allowed,
    one_of,
    plain,
)
from engine.inputs.files import spot_names
from engine.inputs.roles import AnyRole, check_role
from engine.state.words import JOBS, MOMENTS, REGIONS

SIDES = ("near", "far")


def _known_spot(value: str) -> str:
    spots = spot_names()
    if spots and value not in spots:
        raise not_allowed(f"a named spot: {', '.join(spots)}{nearest(value, spots)}")
    return value


def _on_floor(value: tuple[float, float]) -> tuple[float, float]:
    x, y = value
    if not (abs(x) <= 7.62 and -1.6 <= y <= 27.1):  # 94 by 50 feet (configs/rules)
        raise not_allowed(
            "[x, y] on the court, metres from the rim: x from -7.62 to 7.62, y from -1.6 to 27.1"
        )
    return value


def _small_shift(value: tuple[float, float]) -> tuple[float, float]:
    if max(abs(value[0]), abs(value[1])) > 10.0:
        raise not_allowed("[dx, dy] in metres, each from -10 to 10")
    return value


Region = Annotated[str, Field(strict=True), AfterValidator(one_of(REGIONS))]
Regions = Annotated[tuple[Region, ...], BeforeValidator(as_list), Field(min_length=1)]
Moment = Annotated[str, Field(strict=True), AfterValidator(one_of(MOMENTS))]
Moments = Annotated[tuple[Moment, ...], BeforeValidator(as_list), Field(min_length=1)]
Job = Annotated[str, Field(strict=True), AfterValidator(one_of(JOBS))]
Side = Annotated[str, Field(strict=True), AfterValidator(one_of(SIDES))]
Spot = Annotated[str, Field(strict=True), AfterValidator(_known_spot)]


class Placement(Frozen):
    """A place on the floor: a named ``spot`` or ``at`` = (x, y) in metres, one of the two.

    Written for the ball at x > 0; side "far" mirrors x; ``shift`` (dx, dy) in metres is added before
    mirroring.
    """

    spot: Spot | None = Field(default=None, description="a named spot")
    at: Annotated[TwoReals, AfterValidator(_on_floor)] | None = Field(
        default=None, description="[x, y], metres"
    )
    side: Side = Field(default=defaults.SIDE, description="near or far")
    shift: Annotated[TwoReals, AfterValidator(_small_shift)] = Field(
        default=(0.0, 0.0), description="[dx, dy], metres"
    )

    @model_validator(mode="after")
    def _one_place(self) -> Self:
        if (self.spot is None) == (self.at is None):
            raise not_allowed("a place with either spot or at = [x, y]")
        return self


class Entry(Frozen):
    """What one role does: a job and a place. Weights from 0 to 1, distance in metres; None: the job's own."""

    job: Job = Field(description="the job")
    place: Placement = Field(description="where, a spot or [x, y] in metres")
    toward_ball: Real | None = Field(default=None, ge=0.0, le=1.0, description="share of the way to the ball")
    toward_man: Real | None = Field(
        default=None, ge=0.0, le=1.0, description="share of the way to the nearest man"
    )
    man_within_m: Real | None = Field(
        default=None, ge=0.0, le=15.0, description="a man counts within this distance of the place, metres"
    )


class Option(Frozen):
    """A choice the file offers: ``use`` is the one taken, ``choices`` are all of them."""

    use: Text = Field(description="the choice taken")
    choices: tuple[Text, ...] = Field(min_length=2, description="the choices")
    meaning: Text = Field(description="what the option changes")

    @model_validator(mode="after")
    def _known_choice(self) -> Self:
        if self.use not in self.choices:
            raise not_allowed(
                f"one of {listed(self.choices)}{nearest(self.use, self.choices)}", "use", self.use
            )
        if len(set(self.choices)) != len(self.choices):
            raise not_allowed("choices that differ from one another", "choices", list(self.choices))
        return self


class RowOption(Frozen):
    """Where option ``option`` is set to ``choice``, ``role`` does ``entry`` instead."""

    option: Text = Field(description="name of an option")
    choice: Text = Field(description="one of its choices")
    role: AnyRole = Field(description="whose entry is replaced")
    entry: Entry


Options = dict[str, Option]

#: The job of guarding one's own man; it needs somebody to have a man.
OWN_MAN = "own_man"

_PLACE_KEYS = ("spot", "at", "side", "shift")
ENTRY_KEYS = ("job", "place", "side", "shift", "toward_ball", "toward_man", "man_within_m")


def placement_table(value: object, side: str, where: str, key: str) -> Table:
    """A place as written (spot, [x, y] or table) in the shape of Placement; ``side`` when it names none.

    Raises InputError for another type or an unknown key.
    """
    if isinstance(value, str):
        return {"spot": value, "side": side}
    if isinstance(value, list):
        return {"at": value, "side": side}
    if isinstance(value, dict):
        return {"side": side, **check_keys(value, _PLACE_KEYS, where, key)}
    raise InputError(
        where, key, value, "a named spot, [x, y] in metres, or a table with spot, side and shift"
    )


def entry_table(written: Table, where: str, key: str) -> Table:
    """A role's entry as written in the shape of Entry. Raises InputError."""
    entry = dict(check_keys(written, ENTRY_KEYS, where, key))
    side, shift = entry.pop("side", None), entry.pop("shift", None)
    if "place" in entry:
        place = placement_table(entry["place"], defaults.SIDE, where, f"{key}.place")
        if side is not None:
            place["side"] = side
        if shift is not None:
            place["shift"] = shift
        entry["place"] = place
    return entry


def row_option_table(written: Table, where: str, key: str) -> Table:
    """An option's entry as written in the shape of RowOption. Raises InputError."""
    named = ("option", "choice", "role")
    check_keys(written, (*named, *ENTRY_KEYS), where, key)
    entry = entry_table({k: v for k, v in written.items() if k not in named}, where, key)
    return {**{k: written[k] for k in named if k in written}, "entry": entry}


def with_options(
    entries: Mapping[str, Entry], items: Sequence[RowOption], choices: Mapping[str, str]
) -> dict[str, Entry]:
    """The entries by role with those that the choices taken put in their place."""
    chosen = dict(entries)
    for item in items:
        if choices.get(item.option) == item.choice:
            chosen[item.role] = item.entry
    return chosen


def check_option(option: str, choice: object, options: Options, where: str, key: str) -> None:
    """Raises InputError where an option is not declared, or the choice is none of its."""
    if option not in options:
        known = listed(options) or "none are declared"
        raise InputError(where, f"{key}.option", option, f"a declared option: {known}")
    choices = options[option].choices
    if choice not in choices:
        allowed = f"one of {', '.join(choices)}{nearest(str(choice), choices)}"
        raise InputError(where, f"{key}.choice", choice, allowed)


def check_row_options(
    items: Sequence[RowOption], options: Options, roles: Sequence[str], where: str, key: str
) -> None:
    """Raises InputError where an option, choice or role is unknown or one is given twice for a role."""
    seen: set[tuple[str, str, str]] = set()
    for i, item in enumerate(items):
        here = f"{key}[{i + 1}]"
        check_option(item.option, item.choice, options, where, here)
        check_role(item.role, roles, where, f"{here}.role")
        triple = (item.option, item.choice, item.role)
        if triple in seen:
            raise InputError(where, f"{here}.role", item.role, "each role once for an option's choice")
        seen.add(triple)


def check_choices(changes: Iterable[tuple[str, str]], options: Options, where: str) -> None:
    """Raises InputError where two choices of an option change nothing: they would mean the same.

    ``changes``: every (option, choice) that something is written for.
    """
    changed = set(changes)
    for name, option in options.items():
        plain_ones = [choice for choice in option.choices if (name, choice) not in changed]
        if len(plain_ones) > 1:
            words = "at most one choice without an [[option]] entry of its own"
            raise InputError(where, f"options.{plain(name)}.choices", plain_ones, words)


def choose(options: Options, wanted: object, where: str, key: str) -> Options:
    """The options with the wanted choices taken: ``wanted`` maps option to choice.

    Raises InputError for an unknown option or choice, naming the nearest.
    """
    if not isinstance(wanted, dict):
        raise InputError(where, key, wanted, "a table of option = choice")
    chosen = dict(options)
    for name, choice in wanted.items():
        if name not in options:
            known = listed(options) or "there are none"
            raise InputError(where, key, name, f"an option: {known}{nearest(name, options)}")
        choices = options[name].choices
        if choice not in choices:
            raise InputError(
                where,
                f"{key}.{plain(name)}",
                choice,
                f"one of {', '.join(choices)}{nearest(str(choice), choices)}",
            )
        chosen[name] = options[name].model_copy(update={"use": choice})
    return chosen
