"""Numbers in words for a coach: few decimals, 80 columns."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Sequence
from typing import Any

from engine.estimate.intervals import Found

WIDTH = 80
LABEL = 15
#: A space at which no line is broken.
JOIN = "\x1f"
#: Fewer calls than this say nothing worth reading.
FEW_CALLS = 30


def plain(text: str) -> str:
    """Text as it is, accents as one letter each; only what cannot be printed is escaped."""
    return "".join(
        letter if letter.isprintable() or letter == JOIN else ascii(letter)[1:-1]
        for letter in unicodedata.normalize("NFC", text)
    )


def count(n: int, one: str, many: str | None = None) -> str:
    """``12 steals``, ``1 steal``."""
    return f"{n:,} {one if n == 1 else (many or one + 's')}"


def of_hundred(shares: Sequence[float]) -> list[int]:
    """Shares that add up to 1 as whole numbers that add up to 100 (largest remainders are rounded up)."""
    exact = [100 * share for share in shares]
    whole = [int(value) for value in exact]
    by_remainder = sorted(range(len(exact)), key=lambda i: (whole[i] - exact[i], i))
    for i in by_remainder[: 100 - sum(whole)]:
        whole[i] += 1
    return whole


def rounded_together(values: Sequence[float], total: float, decimals: int) -> tuple[list[float], float]:
    """Values that add up to ``total``, rounded so that they add up to the rounded total, and that total.

    Where plain rounding misses it, the values that lost most by their rounding give way.
    """
    unit = 10**decimals
    shown, exact = float(f"{total:.{decimals}f}"), [value * unit for value in values]
    whole, wanted = [round(value) for value in exact], round(shown * unit)
    while sum(whole) != wanted:
        step = 1 if sum(whole) < wanted else -1
        gives = max(range(len(whole)), key=lambda i: step * (exact[i] - whole[i]))
        whole[gives] += step
    return [value / unit for value in whole], shown


def percent(share: float | None) -> str:
    """``38%``; a small share that is not 0 is ``under 1%``."""
    if share is None:
        return "-"
    if 0 < share < 0.005:
        return "under 1%"
    return f"{100 * share:.0f}%"


def amount(value: float, decimals: int) -> str:
    """A size without its sign; one more decimal where it would round to nothing, then ``under 0.01``."""
    for places in (decimals, decimals + 1):
        text = f"{abs(value):.{places}f}"
        if float(text) != 0 or value == 0:
            return text
    return f"under {10.0 ** -(decimals + 1):.{decimals + 1}f}"


def _side(value: float, decimals: int) -> str:
    """One end of an interval of points saved: ``0.05 lost`` or ``0.12 saved``."""
    shown = amount(value, decimals)
    if value == 0:
        return "nothing"
    return f"{shown} {'saved' if value > 0 else 'lost'}"


def saved(found: Found, decimals: int, unit: str, short: bool = False) -> str:
    """Points saved (positive is good) in words.

    With the unit "points per 100 possessions": ``saves 2.1 points per 100 possessions (1.5 to 2.7)``,
    ``costs ...``, or ``no clear difference (0.4 lost to 0.5 saved points per 100 possessions)`` where the
    interval holds 0. ``short``: ``saves 2.1 (1.5-2.7)``, ``no clear difference``.
    """
    to = "-" if short else " to "
    mean, low, high = found["mean"], found["low"], found["high"]
    unit = f" {unit}" if unit else ""
    if mean is None:
        return "nothing to go by"
    if low is None or high is None:
        return f"{_side(mean, decimals)}{unit}, too few possessions for a range"
    if mean == low == high == 0:
        return "no difference at all"
    if low > 0:
        return f"saves {amount(mean, decimals)}{unit} ({amount(low, decimals)}{to}{amount(high, decimals)})"
    if high < 0:
        return f"costs {amount(mean, decimals)}{unit} ({amount(high, decimals)}{to}{amount(low, decimals)})"
    if short:
        return "no clear difference"
    return f"no clear difference ({_side(low, decimals)} to {_side(high, decimals)}{unit})"


def scaled(found: Found, factor: float) -> Found:
    """An interval times a factor; a negative factor swaps its ends."""
    mean, low, high = (None if found[key] is None else factor * found[key] for key in ("mean", "low", "high"))
    if factor < 0:
        low, high = high, low
    return {"mean": mean, "low": low, "high": high}


def around(found: Found, decimals: int, to: str = " to ") -> str:
    """``87.1 (86.2 to 88.0)``."""
    if found["mean"] is None:
        return "-"
    text = f"{found['mean']:.{decimals}f}"
    if found["low"] is None or found["high"] is None:
        return text
    return f"{text} ({found['low']:.{decimals}f}{to}{found['high']:.{decimals}f})"


def useful_decimals(found: Found) -> int:
    """1 where the interval is narrower than 1, else 0: no decimal that the sampling error makes empty."""
    if found["low"] is None or found["high"] is None:
        return 0
    return 1 if found["high"] - found["low"] < 1 else 0


def shorten(text: str, width: int) -> str:
    """Text cut to a width, with dots where something was cut."""
    text = plain(text)
    return text if len(text) <= width else text[: width - 3] + "..."


def _filled(text: str, first: str, indent: str) -> str:
    wrapped = textwrap.fill(
        plain(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return wrapped.replace(JOIN, " ")


def labelled(label: str, text: str) -> str:
    """A label on the left, text wrapped beside it; below it where the label is long."""
    first, indent = f"  {plain(label):<{LABEL}}", " " * (LABEL + 2)
    return _filled(text, first, indent) if first[-1] == " " else f"{first}\n{_filled(text, indent, indent)}"


def paragraph(text: str) -> str:
    """Wrapped text."""
    return _filled(text, "", "")


def table(rows: Sequence[Sequence[str]], indent: str = "  ") -> list[str]:
    """Rows as aligned lines: the first column to the left, the others to the right.

    Where a row would be wider than WIDTH, the first column goes on below itself.
    """
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    room = WIDTH - len(indent) - sum(2 + width for width in widths[1:])
    widths[0] = min(widths[0], max(room, LABEL))
    lines = []
    for row in rows:
        hanging = " " * (2 + len(row[0]) - len(row[0].lstrip()))
        first, *more = textwrap.wrap(
            row[0], widths[0], subsequent_indent=hanging, break_on_hyphens=False
        ) or [""]
        cells = [
            first.ljust(widths[0]),
            *(cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)),
        ]
        lines += [(indent + line).rstrip() for line in ("  ".join(cells), *more)]
    return lines


def detail(found: Found | Sequence[Any], indent: str = "") -> list[str]:
    """Everything of a result, one line per value, four decimals; an interval stands in one line."""
    lines = []
    for key, value in found.items() if isinstance(found, dict) else enumerate(found, start=1):
        name = plain(str(key))
        if isinstance(value, dict) and value.keys() == {"mean", "low", "high"}:
            parts = [_exact(value[part]) for part in ("mean", "low", "high")]
            lines.append(f"{indent}{name}: {parts[0]} ({parts[1]} to {parts[2]})")
        elif isinstance(value, dict | list | tuple):
            lines.append(f"{indent}{name}:" + ("" if value else " none"))
            lines += detail(value, indent + "  ")
        else:
            lines.append(_filled(f"{name}: {_exact(value)}", indent, f"{indent}  "))
    return lines


def _exact(value: object) -> str:
    if value is None:
        return "-"
    if isinstance(value, float):
        return f"{round(value, 4) + 0.0:.4f}"
    return plain(str(value))
