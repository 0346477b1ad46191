"""What the plan of an evening assumes beyond the model (configs/model/plan.toml)."""

from __future__ import annotations

import os
from collections.abc import Mapping

import numpy as np

from engine.errors import InputError
from engine.inputs.constants import Constant, load_constants, override
from engine.shipped import configs_root

#: What the plan reads; a file with other names is refused.
NAMES = (
    "fatigue_percent_per_100m",
    "fatigue_recovery_s",
    "hard_running_mps",
    "defenders_share",
    "most_traps",
    "known_after_traps",
    "too_few_below",
    "stop_error",
    "foul_trouble_p",
    "foul_added_p",
    "share_played",
    "own_points_per_possession",
    "own_share_three",
    "own_share_one",
    "own_shortest_s",
    "own_longest_s",
)
OPTION = "--set"
LEAST_GAMES, MOST_GAMES = 10, 100_000
_WHOLE = ("most_traps", "too_few_below", "own_shortest_s", "own_longest_s")


def check_games(games: int) -> int:
    """The number of games. Raises InputError."""
    if isinstance(games, bool) or not isinstance(games, (int, np.integer)):
        raise InputError("--games", "", games, f"a whole number from {LEAST_GAMES} to {MOST_GAMES}")
    if not LEAST_GAMES <= games <= MOST_GAMES:
        raise InputError("--games", "", games, f"a whole number from {LEAST_GAMES} to {MOST_GAMES}")
    return int(games)


def load_plan_constants(path: str | os.PathLike[str] | None = None) -> dict[str, Constant]:
    """The plan's constants: name -> Constant with value, unit, range, source.

    Raises InputError: a value out of its range, a name that is unknown or missing.
    """
    shown = "configs/model/plan.toml" if path is None else str(path)
    found = load_constants(configs_root() / "model" / "plan.toml" if path is None else path)
    for name in [*found, *NAMES]:
        if (name in found) != (name in NAMES):
            raise InputError(shown, "", name, f"exactly the names {', '.join(NAMES)}")
    return found


def values_of(
    constants: Mapping[str, Constant], changes: Mapping[str, float] | None = None, beyond_range: bool = False
) -> dict[str, float]:
    """Every constant as a number in its unit, with changes; ``beyond_range`` lets them leave their range.

    Raises InputError for an unknown name, a value out of range, or numbers that contradict each other.
    """
    values = override(dict(constants), dict(changes or {}), OPTION, beyond_range)
    for name in _WHOLE:
        if values[name] != int(values[name]):
            raise InputError(OPTION, name, values[name], "a whole number")
    if values["own_longest_s"] < values["own_shortest_s"]:
        allowed = f"at least own_shortest_s ({values['own_shortest_s']:g})"
        raise InputError(OPTION, "own_longest_s", values["own_longest_s"], allowed)
    return values


def changes_from(written: tuple[str, ...]) -> dict[str, float]:
    """NAME=VALUE texts of the command line as numbers. Raises InputError."""
    found: dict[str, float] = {}
    for text in written:
        name, equals, value = text.partition("=")
        try:
            found[name.strip()] = float(value)
        except ValueError:
            equals = ""
        if not equals:
            raise InputError(OPTION, "", text, "NAME=NUMBER, such as fatigue_percent_per_100m=0")
    return found
