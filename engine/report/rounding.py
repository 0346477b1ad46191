"""Numbers rounded together, so that they add up as printed: once for every output."""

from __future__ import annotations

from collections.abc import Sequence


def whole_percent(n: int, share: float | None) -> str:
    """``n`` of 100, as it is printed beside others, as ``12%``; a share that is not 0 is never ``0%``."""
    return "under 1%" if not n and share else f"{n}%"


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
