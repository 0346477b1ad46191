"""Shares as whole numbers of 100 that add up as printed: once, for what is estimated and what is printed."""

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
