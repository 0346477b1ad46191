"""The factors of a design: where each leads, what its values come to, and those made of others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.errors import InputError, MissingInput, as_written
from engine.inputs.base import UnknownKey, nearest, plain
from engine.inputs.constants import load_constants, override
from engine.inputs.scenario import Scenario, config_hash
from engine.study.sweep.design_file import Factor, is_number
from engine.study.sweep.paths import Address, Opened, Value
from engine.study.sweep.sampling import BALANCE

#: A path that means every constant of the model.
EVERY = "constants.*"
#: The constants that the shots of a level depend on: the borders between its three shifts.
SHOT_BORDERS = ("rim_range_m", "middle_range_m")
#: How the path of a factor begins that sets several values at once.
CHOICE = "choice."

#: Where a factor leads: one place, or for each of its choices several places with what is put there.
Addresses = Mapping[str, Address | dict[str, list[tuple[Address, Value]]]]


def changes_of(addresses: Addresses, path: str, value: Value) -> list[tuple[Address, Value]]:
    """What a value of a factor changes in the scenario's files."""
    found = addresses[path]
    return [(found, value)] if isinstance(found, Address) else found[str(value)]


def places_of(addresses: Addresses) -> Iterator[tuple[str, Address]]:
    """Every place that the factors change, with the factor's path."""
    for path, found in addresses.items():
        if isinstance(found, Address):
            yield path, found
        else:
            yield from ((path, one) for changes in found.values() for one, _ in changes)


def locate(
    factor: Factor, opened: Opened, where: object, key: str
) -> Address | dict[str, list[tuple[Address, Value]]]:
    """Where a factor leads. Raises InputError at ``key`` of ``where``."""
    if not factor.choice:
        return opened.locate(factor.path, where, f"{key}.path" if key.startswith("factor") else key)
    return {
        one.name: [
            (opened.locate(path, where, f"{key}.choice[{i}].set"), value) for path, value in one.set.items()
        ]
        for i, one in enumerate(factor.choice, 1)
    }


def retold(
    where: object, opened: Opened, key: str, path: str, value: object, error: InputError
) -> InputError:
    """What a file's loader said about a value, told of the design."""
    shown = f"{key} ({plain(path)})"
    if isinstance(error, UnknownKey):
        return InputError(where, f"{key}", path, f"a value of the scenario's files{opened.near(path)}")
    if isinstance(error, MissingInput):
        return InputError(where, shown, value, f"a value with which {error.key} is not missing")
    same = type(error.value) is type(value) and error.value == value
    about = "" if same else f" ({error.key} would be {plain(as_written(error.value))})"
    return InputError(where, shown, value, error.allowed + about)


def _ends(factor: Factor) -> list[tuple[str, Value]]:
    """Values to try, with the key that holds each: all texts of a list, the least and the greatest number."""
    if factor.values:
        numbers = [value for value in factor.values if is_number(value)]
        ends = {min(numbers), max(numbers)} if numbers else set()
        return [
            (f"values[{i}]", value)
            for i, value in enumerate(factor.values, 1)
            if not is_number(value) or value in ends
        ]
    assert factor.low is not None and factor.high is not None
    if factor.whole:
        return [("low", int(factor.low)), ("high", int(factor.high))]
    return [("low", factor.low), ("high", factor.high)]


def trial_name(path: str, value: Value) -> str:
    """A value of a factor as ``Design.trials`` names it."""
    return f"{path} = {value!r}"


def try_ends(
    factor: Factor, addresses: Addresses, opened: Opened, where: object, keys: Mapping[str, str], key: str
) -> dict[str, str]:
    """Config hashes of the scenario at the ends of a factor, by ``trial_name``; none for a model constant,
    which nothing else depends on. Raises InputError."""
    place = addresses[factor.path]
    if isinstance(place, Address) and place.kind == "constants" and place.steps[-1] not in SHOT_BORDERS:
        _try_constant(factor, str(place.steps[-1]), opened, where, keys, key)
        return {}
    hashes: dict[str, str] = {}
    for name, value in _ends(factor):
        shown = keys.get(name, f"{key}.{name}")
        try:
            hashes[trial_name(factor.path, value)] = config_hash(
                opened.scenario(changes_of(addresses, factor.path, value))
            )
        except InputError as error:
            raise retold(where, opened, shown, factor.path, value, error) from None
    if len(hashes) > 1 and len(set(hashes.values())) == 1:
        allowed = "a path whose value changes something (the scenario overrides this one, or never uses it)"
        raise InputError(where, key if keys else f"{key}.path", factor.path, allowed)
    return hashes


#: Constants of the calculation, not of the game.
NUMERICAL = ("time_step_s", "longest_possession_s", "tried_look")


def every_constant(
    factors: tuple[Factor, ...], base: Scenario, method: str, where: object
) -> tuple[Factor, ...]:
    """The factors, ``constants.*`` made one factor for every constant of the model that has a range (or those
    of its ``names``) and is not written out beside it, from the least to the greatest plausible value; its
    ``own`` is the scenario's. Raises InputError."""
    found: list[Factor] = []
    written = {factor.path for factor in factors}
    for i, factor in enumerate(factors, 1):
        if factor.path != EVERY:
            found.append(factor)
            continue
        extra = sorted(factor.model_fields_set - {"path", "names"})
        if extra:
            allowed = f"nothing beside {EVERY} but names"
            raise InputError(where, f"factor[{i}].{extra[0]}", getattr(factor, extra[0]), allowed)
        known = load_constants()
        ranged = [n for n, one in known.items() if n not in NUMERICAL and one.low < one.high]
        for j, name in enumerate(factor.names, 1):
            if name not in ranged or name in factor.names[: j - 1]:
                allowed = f"a constant that has a range, each once{nearest(name, ranged)}"
                raise InputError(where, f"factor[{i}].names[{j}]", name, allowed)
        for name in factor.names or ranged:
            constant = known[name]
            path = f"constants.{name}"
            if path not in written:
                own = base.constants[name] if method == BALANCE else None
                found.append(Factor(path=path, low=constant.low, high=constant.high, own=own))
    return tuple(found)


def _try_constant(
    factor: Factor, name: str, opened: Opened, where: object, keys: Mapping[str, str], key: str
) -> None:
    """A model constant is checked alone: loading the scenario for each of many would take minutes."""
    known = {name: opened.constants[name]}
    for end, value in _ends(factor):
        try:
            override(known, {name: value}, str(where), opened.base.beyond_range)
        except InputError as error:
            raise retold(where, opened, keys.get(end, f"{key}.{end}"), factor.path, value, error) from None
