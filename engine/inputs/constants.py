"""Model constants: every number of the model with unit, range, source and meaning (configs/model)."""

from __future__ import annotations

import math
from pathlib import Path

from pydantic import Field

from engine.errors import InputError
from engine.inputs.base import Frozen, Real, Table, Text, dotted, nearest, number_text, parse
from engine.inputs.files import FileName, Source, read_toml, shown_path
from engine.shipped import configs_root


class Constant(Frozen):
    """One number of the model: value and its range in ``unit``, where it comes from, what it means."""

    value: Real = Field(ge=-1e9, le=1e9, description="the value, in the constant's unit")
    unit: Text = Field(description="the unit")
    low: Real = Field(ge=-1e9, le=1e9, description="least plausible value, in the constant's unit")
    high: Real = Field(ge=-1e9, le=1e9, description="greatest plausible value, in the constant's unit")
    source: Text = Field(description="where the number comes from")
    meaning: Text = Field(description="what the number does")


def constants_from(data: Table, where: str) -> dict[str, Constant]:
    """Constants from a table of tables. Raises InputError."""
    found: dict[str, Constant] = {}
    for name, table in data.items():
        constant = parse(Constant, table, where, [name])
        if constant.low > constant.high:
            raise InputError(where, dotted([name, "low"]), constant.low, f"at most high ({constant.high:g})")
        if not constant.low <= constant.value <= constant.high:
            raise InputError(where, dotted([name, "value"]), constant.value, _range_words(constant))
        found[name] = constant
    return found


def _range_words(constant: Constant) -> str:
    return f"a number from {number_text(constant.low)} to {number_text(constant.high)} ({constant.unit})"


def load_constants(path: FileName | None = None) -> dict[str, Constant]:
    """The model's constants: name -> Constant, from configs/model/constants.toml or another file.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    wanted = Path(path) if path is not None else configs_root() / "model" / "constants.toml"
    source = Source(wanted, str(path) if path is not None else shown_path(wanted))
    return constants_from(read_toml(source), str(source))


def override(
    constants: dict[str, Constant], changes: Table, where: str, beyond_range: bool = False
) -> dict[str, float]:
    """Every constant as a plain number, with a scenario's changes put in.

    ``beyond_range`` lets a change leave low..high, so that parts of the model can be switched off; the
    number must still be finite.

    Raises InputError for an unknown constant (with the nearest name) or a value out of range.
    """
    values = {name: constant.value for name, constant in constants.items()}
    for name, value in changes.items():
        if name not in constants:
            raise InputError(where, "constants", name, f"a constant of the model{nearest(name, constants)}")
        constant = constants[name]
        words = "a finite number" if beyond_range else _range_words(constant)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(where, f"constants.{name}", value, words)
        try:
            number = float(value)
        except OverflowError:
            raise InputError(where, f"constants.{name}", value, words) from None
        if not math.isfinite(number) or not (beyond_range or constant.low <= number <= constant.high):
            raise InputError(where, f"constants.{name}", value, words)
        values[name] = number
    return values
