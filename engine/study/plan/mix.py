"""The mix of uses per game that saves most on the table of a plan, within what a game allows.

The uses of one call are worth v(1), v(2), ...; a game holds n(c) uses of call c, at most so many as its
budget and its chances allow, and all calls together at most ``most_traps``. Where the values of every call
fall from use to use, taking the best next use again and again is exactly optimal (the sum is concave in
every n(c)); else dynamic programming over the calls is used, which is exact for any table. Calls for the
same region exclude each other: every way to leave some out is tried, for which of them is best depends on
the room that the others want.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from engine.state.record import MOST_CALLS

GREEDY, PROGRAMMING = "greedy", "dynamic programming"

Values = Sequence[Sequence[float]]


@dataclass(frozen=True)
class Mix:
    """``uses``: per call; ``total``: net points that they save in a game; ``method``: how they were found."""

    uses: tuple[int, ...]
    total: float
    method: str


def falls(values: Sequence[float]) -> bool:
    """Whether no use is worth more than the one before it."""
    return all(later <= earlier for earlier, later in zip(values, values[1:], strict=False))


def _total(values: Values, uses: Sequence[int]) -> float:
    return float(sum(sum(one[:n]) for one, n in zip(values, uses, strict=True)))


def greedy(values: Values, most: int) -> tuple[int, ...]:
    """Takes the best next use again and again while it saves; exact where every call's values fall."""
    uses = [0] * len(values)
    for _ in range(most):
        options = [(one[n], -c) for c, (one, n) in enumerate(zip(values, uses, strict=True)) if n < len(one)]
        if not options or max(options)[0] <= 0.0:
            break
        uses[-max(options)[1]] += 1
    return tuple(uses)


def programming(values: Values, most: int) -> tuple[int, ...]:
    """Dynamic programming over the calls: the best total of every number of uses, call by call."""
    best: list[tuple[float, tuple[int, ...]]] = [(0.0, ())] * (most + 1)
    for one in values:
        sums = [sum(one[:n]) for n in range(len(one) + 1)]
        best = [
            max(
                (
                    (best[room - n][0] + sums[n], (*best[room - n][1], n))
                    for n in range(min(room, len(one)) + 1)
                ),
                key=lambda found: (found[0], tuple(-k for k in found[1])),
            )
            for room in range(most + 1)
        ]
    return best[most][1]


def apart(regions: Sequence[Sequence[str]]) -> list[tuple[int, ...]]:
    """Sets of at most MOST_CALLS calls, no two with a region in common, that no other call can join."""

    def joins(c: int, some: tuple[int, ...]) -> bool:
        return len(some) < MOST_CALLS and not any(set(regions[c]) & set(regions[other]) for other in some)

    found: list[tuple[int, ...]] = [()]
    for c in range(len(regions)):
        found += [(*some, c) for some in found if joins(c, some)]
    return [some for some in found if not any(joins(c, some) for c in range(len(regions)) if c not in some)]


def best_mix(values: Values, regions: Sequence[Sequence[str]], most: int) -> Mix:
    """The mix that saves most: ``values[c][n - 1]`` is the worth of use n of call c, cut at its limit.

    Sets of calls are tried in the order of what they would save with room for all, until none can save more.
    """
    alone = [max(accumulate(one, initial=0.0)) for one in values]

    def with_room(kept: tuple[int, ...]) -> float:
        return sum(alone[c] for c in kept)

    best: Mix | None = None
    for kept in sorted(apart(regions), key=lambda kept: (-with_room(kept), kept)):
        if best is not None and with_room(kept) <= best.total:
            break
        chosen = [values[c] if c in kept else () for c in range(len(values))]
        method = GREEDY if all(falls(one) for one in chosen) else PROGRAMMING
        uses = (greedy if method == GREEDY else programming)(chosen, most)
        if best is None or _total(chosen, uses) > best.total:
            best = Mix(uses, _total(chosen, uses), method)
    assert best is not None  # the empty set is apart where there is no call
    return best
