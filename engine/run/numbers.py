"""Which possession numbers a study plays: one table, as kernel.draws.PURPOSES is one of draws.

A possession's luck follows from the seed and its number (48 bits) alone. Estimates over the same numbers are
on common luck; those that must not be (a choice, and what it is worth) take ranges of their own. Within one
answer two ranges never meet, unless one is declared to lie inside the other.
"""

from __future__ import annotations

from dataclasses import dataclass

from engine.inputs.defaults import MOST_POSSESSIONS

#: Bits of a possession's number in a counter (kernel.draws).
BITS = 48
#: The answers that have ranges: everything asked of a scenario, and a sweep of points with independent luck.
SCENARIO, INDEPENDENT_SWEEP = "scenario", "sweep with independent luck"


@dataclass(frozen=True)
class Numbers:
    """The numbers ``first .. first + count - 1``; ``each``: how many a unit (game, part, point) may take, 1
    where possessions simply follow each other. ``inside``: name of the range that it is part of."""

    first: int
    count: int
    each: int
    answer: str
    inside: str | None
    used: str

    @property
    def end(self) -> int:
        """One more than the last number."""
        return self.first + self.count

    @property
    def first_unit(self) -> int:
        """Number of the first unit: its possessions begin at ``first_unit * each``."""
        return self.first // self.each

    def meets(self, other: Numbers) -> bool:
        """Whether a number lies in both."""
        return self.first < other.end and other.first < self.end


NUMBERS: dict[str, Numbers] = {
    "possessions": Numbers(
        0,
        MOST_POSSESSIONS,
        1,
        SCENARIO,
        None,
        "compare, play, replay, trace, check, levels, patterns, timing, the report's court, the "
        "opponent's sheet beside the model and the fit to it; stress (world j "
        "from j times its possessions on); lineup's selection, attack and calls; a sweep with common luck",
    ),
    "plan games": Numbers(
        0, 10**8, 1000, SCENARIO, "possessions", "plan: possession k of game g, home and planned alike"
    ),
    "plan table": Numbers(
        10**12, 10**9, 1, SCENARIO, None, "plan: the worth of every use, from which the mix is chosen"
    ),
    "lineup fresh": Numbers(
        2**40,
        10**9,
        1,
        SCENARIO,
        None,
        "lineup: the one selected against the usual one, chosen by none of them",
    ),
    "plan pilot": Numbers(
        10**13, 10**6, 1000, SCENARIO, None, "plan: games without a trap, for the share in the bonus"
    ),
    "sweep points": Numbers(
        0, 2**BITS, 2**30, INDEPENDENT_SWEEP, None, "a sweep with independent luck: possession i of point p"
    ),
}
