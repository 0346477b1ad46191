"""Writes results as JSON, and states what must hold in them."""

from __future__ import annotations

import errno
import json
import os
import re
import stat
import sys
from contextlib import nullcontext
from pathlib import Path

from engine.errors import InputError
from engine.estimate.intervals import Found
from engine.whole_file import beside, whole_file

STDOUT = "-"
OPTION = "--json"


def to_text(result: Found) -> str:
    """A result as JSON text, plain ASCII, with a new line at the end.

    Raises
    ------
    ValueError
        when a value is not a number or infinite.
    """
    return json.dumps(result, indent=2, allow_nan=False) + "\n"


def _reason(error: OSError) -> str:
    return f"a file that can be written ({error.strerror or error})"


def _is_plain_target(path: str) -> bool:
    """True when ``path`` is a regular file or does not exist yet (so it may be replaced as a whole)."""
    try:
        return stat.S_ISREG(os.stat(path).st_mode)
    except FileNotFoundError:
        return True


def ending(target: str) -> str:
    """``.html`` for page.HTML, "" where a name has no ending: what follows the last point of "game.1" and of
    "St. Mary vs us" is none."""
    found = Path(target).suffix.lower()
    return found if re.fullmatch(r"\.[a-z][a-z0-9]*", found) else ""


def check_target(target: str, option: str = OPTION) -> None:
    """Find out before the work starts whether ``target`` can be written; leaves nothing behind.

    Raises
    ------
    InputError
        when the folder is missing, the target is a folder or writing is refused.
    """
    if target == STDOUT:
        return
    try:
        path = os.path.realpath(target)
        if os.path.isdir(path) or target.endswith(os.sep):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        if not _is_plain_target(path):
            with open(path, "a", encoding="utf-8"):
                return
        if os.path.exists(path) and not os.access(path, os.W_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        os.unlink(beside(path))
    except (OSError, ValueError) as error:
        shown = error if isinstance(error, OSError) else OSError(errno.EINVAL, str(error))
        raise InputError(option, "", target, _reason(shown)) from None


def write(text: str, target: str, option: str = OPTION) -> None:
    """Write ``text`` to ``target`` ("-" is standard output): all of it or nothing.

    A regular file is written beside its place and then moved there, so no partial file is ever seen.

    Raises
    ------
    InputError
        when writing fails.
    """
    if target == STDOUT:
        sys.stdout.write(text)
        sys.stdout.flush()
        return
    path = os.path.realpath(target)
    try:
        with whole_file(path) if _is_plain_target(path) else nullcontext(path) as place:
            with open(place, "w", encoding="utf-8") as out:
                out.write(text)
    except OSError as error:
        raise InputError(option, "", target, _reason(error)) from None


# --- what must hold in a result -----------------------------------------------------------------------

HEAD = ("schema", "tool", "version", "command", "scenario", "config_hash", "seed", "possessions")
INTERVALS = ("points_per_possession", "net_points_per_possession", "seconds_per_possession")
BOX = frozenset(
    [
        "fga",
        "fgm",
        "three_attempts",
        "three_made",
        "rim_attempts",
        "fta",
        "ftm",
        "oreb",
        "dreb",
        "turnovers",
        "steals",
        "fouls",
        "points",
    ]
)
ENDS = frozenset(["made_shot", "defensive_rebound", "turnover", "free_throws", "shot_clock"])
OUTCOMES = frozenset(["steal", "other_turnover", "foul", "escape_pass", "retreat", "split", "other"])
OTHER_PARTS = frozenset(["trapped_shot", "rest"])
TURNOVER_PARTS = frozenset(["strip", "pass", "held_ball", "violation", "travel", "dribble", "offensive_foul"])
FACTORS = frozenset(["shooting", "turnovers", "rebounds", "free_throws"])
DEFENCE = frozenset(["name", "title", "options", "policy"])
AFTER = frozenset(["rim_shot", "open_three", "other_shot", "reset", "turnover"])
SETTING = frozenset(
    [
        "base_defence",
        "plays",
        "change",
        "factors",
        "base",
        "change_by_calls",
        "variance_reduction",
        "uncalled_differences",
        "calls",
    ]
)
CALL = frozenset(
    [
        "spot",
        "called",
        "value",
        "outcomes",
        "other_parts",
        "turnover_parts",
        "after_escape",
        "turnover_rate",
        "break_even_turnover_rate",
        "conceded",
        "over_n",
    ]
)
CONCEDED = frozenset(["mean", "p_two_or_more", "p_rim_shot"])
OVER_N = frozenset(["n", "p_worse", "worst_5_percent", "worst_5_percent_home"])


def broken(result: Found) -> list[str]:
    """What a result of ``play`` or ``compare`` breaks of the JSON contract, one line each; empty is good.

    Checks the fixed keys, the order low <= mean <= high, that the ends add up to the possessions, that
    points are 2 (fgm - three_made) + 3 three_made + ftm, that shares add up to 1, and that the factors of a
    change add up to the change of points, with transition to the whole change.
    """
    found = [f"head: {key} is missing" for key in HEAD if key not in result]
    if found:
        return found
    possessions = result["possessions"]
    if result["command"] == "play":
        return _broken_defence("play", result) + _broken_block("play", result, possessions)
    home = result.get("baseline", {})
    found += _broken_defence("baseline", home) + _broken_block("baseline", home, possessions)
    for setting in result.get("settings", ()):
        found += _broken_setting(f"settings[{setting.get('name')}]", setting, home, possessions)
    return found


def _broken_setting(where: str, setting: Found, home: Found, possessions: int) -> list[str]:
    missing = SETTING - setting.keys()
    if missing:
        return [f"{where}: {', '.join(sorted(missing))} is missing"]
    found = _broken_defence(where, setting) + _broken_block(where, setting, possessions)
    found += _broken_change(where, setting, home)
    base, by_calls = setting["base"], setting["change_by_calls"]
    if base is not None:
        found += _broken_block(f"{where}.base", base, possessions)
        found += _broken_change(f"{where}.base", base, home)
    if by_calls is not None:
        found += _broken_interval(f"{where}.change_by_calls", by_calls)
        before = 0.0 if base is None else _mean(base.get("change"))
        if not _equal(before + _mean(by_calls), _mean(setting["change"])):
            found.append(f"{where}: the change of the base and that by the calls do not add up")
    for call in setting["calls"]:
        found += _broken_call(f"{where}.calls[{call.get('spot')}]", call, possessions)
    return found


def _mean(found: object) -> float:
    """The mean of an interval; not a number where there is none, which equals nothing."""
    mean = found.get("mean") if isinstance(found, dict) else None
    return float("nan") if mean is None else float(mean)


def _equal(one: float, other: float) -> bool:
    return abs(one - other) <= 1e-9


def _broken_defence(where: str, block: Found) -> list[str]:
    if block.get("base_defence", {}).keys() != DEFENCE:
        return [f"{where}.base_defence: the keys must be {', '.join(sorted(DEFENCE))}"]
    return []


def _broken_change(where: str, block: Found, home: Found) -> list[str]:
    """The change of a block against home, and its split by the four factors and transition."""
    found = _broken_interval(f"{where}.change", block.get("change"))
    factors = block.get("factors", {})
    if factors.keys() != FACTORS | {"transition", "points"}:
        return [*found, f"{where}.factors: a key is missing or one too many"]
    for name, part in factors.items():
        found += _broken_interval(f"{where}.factors.{name}", part)
    if all(part["mean"] is None for part in factors.values()):
        return found
    points = sum(_mean(factors[name]) for name in FACTORS)
    own, at_home = (_mean(one.get("points_per_possession")) for one in (block, home))
    if not _equal(points, _mean(factors["points"])) or not _equal(points, own - at_home):
        found.append(f"{where}.factors: the four do not add up to the change of points")
    if not _equal(points + _mean(factors["transition"]), _mean(block.get("change"))):
        found.append(f"{where}.factors: the parts do not add up to the change")
    return found


def _broken_interval(where: str, found: object) -> list[str]:
    if not isinstance(found, dict) or not {"mean", "low", "high"} <= found.keys():
        return [f"{where}: mean, low and high are needed"]
    if None in (found["mean"], found["low"], found["high"]):
        return []
    if not found["low"] <= found["mean"] <= found["high"]:
        return [f"{where}: low <= mean <= high does not hold"]
    return []


def _broken_block(where: str, block: Found, possessions: int) -> list[str]:
    found: list[str] = []
    for key in INTERVALS:
        found += _broken_interval(f"{where}.{key}", block.get(key))
    box, ends = block.get("box", {}), block.get("ends", {})
    if box.keys() != BOX or ends.keys() != ENDS:
        return [*found, f"{where}: box or ends lack a key or have one too many"]
    if not all(type(count) is int and count >= 0 for count in (*box.values(), *ends.values())):
        found.append(f"{where}: a count is not a whole number of at least 0")
    if sum(ends.values()) != possessions:
        found.append(f"{where}: the ends add up to {sum(ends.values())}, not to {possessions}")
    points = 2 * (box["fgm"] - box["three_made"]) + 3 * box["three_made"] + box["ftm"]
    if points != box["points"]:
        found.append(f"{where}: points are {box['points']}, the shots made give {points}")
    mean = block.get("points_per_possession", {}).get("mean")
    if mean is None or abs(mean * possessions - box["points"]) > 1e-6 * max(1, possessions):
        found.append(f"{where}: points per possession and points disagree")
    return found


def _broken_shares(where: str, shares: object, keys: frozenset[str]) -> list[str]:
    if not isinstance(shares, dict) or shares.keys() != keys:
        return [f"{where}: the keys must be {', '.join(sorted(keys))}"]
    values = list(shares.values())
    if all(value is None for value in values):
        return []
    if any(value is None or not 0 <= value <= 1 for value in values) or abs(sum(values) - 1) > 1e-9:
        return [f"{where}: shares must lie in 0..1 and add up to 1"]
    return []


def _broken_call(where: str, call: Found, possessions: int) -> list[str]:
    missing = CALL - call.keys()
    if missing:
        return [f"{where}: {', '.join(sorted(missing))} is missing"]
    found = _broken_interval(f"{where}.value", call["value"])
    found += _broken_shares(f"{where}.outcomes", call["outcomes"], OUTCOMES)
    for key, names, sums in (
        ("other_parts", OTHER_PARTS, ("other",)),
        ("turnover_parts", TURNOVER_PARTS, ("steal", "other_turnover")),
    ):
        parts = call[key]
        if parts.keys() != names or (
            call["called"] and not _equal(sum(parts.values()), sum(call["outcomes"][name] for name in sums))
        ):
            found.append(f"{where}: {key} must add up to {' and '.join(sums)} of the outcomes")
    found += _broken_shares(f"{where}.after_escape", call["after_escape"], AFTER)
    if not 0 <= call["called"] <= possessions:
        found.append(f"{where}: called must lie in 0..{possessions}")
    if call["called"] and call["outcomes"]["steal"] is None:
        found.append(f"{where}: a call was made but has no outcome")
    conceded = call["conceded"]
    if conceded.keys() != {"called", "home"} or any(
        not part.keys() >= CONCEDED for part in conceded.values()
    ):
        found.append(f"{where}: conceded needs called and home with {', '.join(sorted(CONCEDED))}")
    if not call["over_n"].keys() >= OVER_N:
        found.append(f"{where}: over_n needs {', '.join(sorted(OVER_N))}")
    rate = call["turnover_rate"]
    if rate is not None and not 0 <= rate <= 1:
        found.append(f"{where}: turnover_rate must lie in 0..1")
    return found
