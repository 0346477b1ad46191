"""Numbers rounded together, so that they add up as printed: once for every output."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence


def of_hundred(shares: Sequence[float]) -> list[int]:
    """Shares that add up to 1 as whole numbers that add up to 100 (largest remainders are rounded up)."""
    exact = [100 * share for share in shares]
    whole = [int(value) for value in exact]
    by_remainder = sorted(range(len(exact)), key=lambda i: (whole[i] - exact[i], i))
    for i in by_remainder[: 100 - sum(whole)]:
        whole[i] += 1
    return whole


def parts_of_hundred(shares: Mapping[str, float | None], names: Iterable[str]) -> dict[str, int]:
    """``of_hundred`` by name, those that are not known left out: what every output prints of a call."""
    known = {name: shares[name] or 0.0 for name in names if shares[name] is not None}
    total = sum(known.values())
    if total <= 0.0:
        return {}
    return dict(zip(known, of_hundred([share / total for share in known.values()]), strict=True))


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
