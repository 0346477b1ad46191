"""Model constants: every number of the model with unit, range, source and meaning (configs/model)."""

from __future__ import annotations

import math
from functools import lru_cache
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


#: Units of amounts that cannot be below 0.
AMOUNTS = ("s", "m", "m/s", "m/s2", "1/s", "s/m", "m per m", "rad", "attempts", "players", "1 per trap")
#: What the engine divides by, or steps by: never 0.
DIVISORS = frozenset(
    {
        "block_far_m", "block_scale_m", "box_out_s", "brake_mps2", "hold_tau_s",
        "numbers_reach_m", "pass_ramp_m", "retreat_width_m", "shot_foul_scale_m",
        "slide_tau_s", "split_width_m", "sprint_tau_s", "touch_width_m",
    }
)  # fmt: skip
#: Bounds of how long a possession can take to play: at most 600 s in steps of 5 ms.
BOUNDED = {
    "time_step_s": (0.005, 1.0),
    "longest_possession_s": (1.0, 600.0),
    "bring_up_free_m": (-15.0, 30.0),  # beyond the arc; below nothing it lies inside
    "lane_margin_s": (-100.0, 100.0),  # before the count ends; below nothing nobody leaves in time
}
LEAST_DIVISOR = 1e-6
#: A share that may exceed 1 may exceed its range so many times over.
MOST_TIMES = 10.0


def hard_limits(name: str, constant: Constant) -> tuple[float, float]:
    """What a constant can be at all, in its unit; ``beyond_range`` goes as far as this.

    Chances and shares of a whole lie from 0 to 1; lengths, times, speeds, rates and counts are not below 0,
    and what is divided by is above 0; points, log odds and what may be below 0 in its range have no limits.
    """
    if name in BOUNDED:
        return BOUNDED[name]
    if constant.low < 0.0:
        return -math.inf, math.inf
    if constant.unit == "probability":
        return 0.0, 1.0
    if constant.unit == "share":
        return 0.0, 1.0 if constant.high <= 1.0 else MOST_TIMES * constant.high
    if constant.unit in AMOUNTS:
        return LEAST_DIVISOR if name in DIVISORS else 0.0, math.inf
    return -math.inf, math.inf


def _limit_words(low: float, high: float, unit: str) -> str:
    if math.isinf(high):
        return "a finite number" if math.isinf(low) else f"a finite number of at least {low:g} ({unit})"
    return f"a number from {low:g} to {high:g} ({unit}), whatever beyond_range says"


def load_constants(path: FileName | None = None) -> dict[str, Constant]:
    """The model's constants: name -> Constant, from configs/model/constants.toml or another file.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    wanted = Path(path) if path is not None else configs_root() / "model" / "constants.toml"
    source = Source(wanted, str(path) if path is not None else shown_path(wanted))
    return constants_from(read_toml(source), str(source))


def override(
    constants: dict[str, Constant],
    changes: Table,
    where: str,
    beyond_range: bool = False,
    key: str = "constants",
) -> dict[str, float]:
    """Every constant as a plain number, with a scenario's changes put in.

    ``beyond_range`` lets a change leave low..high as far as ``hard_limits``, so that parts of the model can
    be switched off; the number must still be finite. ``key``: the table that they are written in.

    Raises InputError for an unknown constant (with the nearest name) or a value out of range.
    """
    values = {name: constant.value for name, constant in constants.items()}
    for name, value in changes.items():
        if name not in constants:
            raise InputError(where, key, name, f"a constant of the model{nearest(name, constants)}")
        constant = constants[name]
        low, high = hard_limits(name, constant) if beyond_range else (constant.low, constant.high)
        words = _limit_words(low, high, constant.unit) if beyond_range else _range_words(constant)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(where, f"{key}.{name}", value, words)
        try:
            number = float(value)
        except OverflowError:
            raise InputError(where, f"{key}.{name}", value, words) from None
        if not math.isfinite(number) or not low <= number <= high:
            raise InputError(where, f"{key}.{name}", value, words)
        values[name] = number
    return values


#: What players believe, beside the constants that begin with belief_ and worth_.
BELIEFS = ("hold_value_points", "hold_tau_s", "numbers_value_points", "rebound_value_points")


def beliefs(
    constants: dict[str, Constant], changes: Table, where: str, beyond_range: bool, key: str
) -> dict[str, float]:
    """The changes of a table that holds what players believe alone, as numbers.

    Raises InputError for another constant or a value out of range.
    """
    known = {
        name: one
        for name, one in constants.items()
        if name in BELIEFS or name.startswith(("belief_", "worth_"))
    }
    for name in changes:
        if name in constants and name not in known:
            allowed = f"what players believe: belief_..., worth_..., {', '.join(BELIEFS)}"
            raise InputError(where, key, name, allowed)
    values = override(known, changes, where, beyond_range, key)
    return {name: values[name] for name in changes}


@lru_cache(maxsize=1)
def ranges() -> dict[str, tuple[float, float]]:
    """Constant of the model -> its least and greatest value."""
    return {name: (one.low, one.high) for name, one in load_constants().items()}
