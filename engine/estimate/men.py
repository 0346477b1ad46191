"""Whole-number sums of what each man of a side did: shots by what they count, free throws, balls lost.

A rate is a weighted sum of these counts over another, the possession being the cluster of its interval. The
same weights turn the counts of a coach's sheet into the same rate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from engine.estimate.intervals import LEVEL, IntArray, Interval, ratio_interval
from engine.estimate.tally import Tally
from engine.state.arrays import N_SIDE

#: What is counted of each man; twos and threes are attempts.
KINDS = ("twos", "twos_made", "threes", "threes_made", "free_throws", "free_throws_made", "turnovers")
#: Hundredths of a play: 44 of 100 free throws end one (engine.estimate.play.possession_estimator).
PLAY = {"twos": 100, "threes": 100, "free_throws": 44, "turnovers": 100}
POINTS = {"twos_made": 2, "threes_made": 3, "free_throws_made": 1}
SHOTS = {"twos": 1, "threes": 1}
MADE = {"twos_made": 1, "threes_made": 1}


def weights(of: Mapping[str, int], men: Sequence[int] = range(N_SIDE)) -> IntArray:
    """Weights int64[man, kind] of a sum of counts over some of the men (places 0 to 4)."""
    found = np.zeros((N_SIDE, len(KINDS)), np.int64)
    for kind, weight in of.items():
        found[list(men), KINDS.index(kind)] = weight
    return found


@dataclass(frozen=True, eq=False)
class MenTally(Tally):
    """``n`` possessions; ``sums`` int64[man, kind]; ``cross`` int64[man * kind, man * kind], sums over
    possessions of the products of every two counts."""

    n: int
    sums: IntArray
    cross: IntArray

    @classmethod
    def of(cls, counts: IntArray) -> MenTally:
        """Tally counts int64[possessions, man, kind]."""
        flat = counts.reshape(len(counts), -1)
        return cls(len(counts), counts.sum(axis=0), flat.T @ flat)

    def rate(self, above: IntArray, below: IntArray, level: float = LEVEL) -> Interval:
        """One weighted sum of counts over another (``weights``), possessions as clusters."""
        y, x = above.ravel(), below.ravel()
        sums = self.sums.ravel()
        return ratio_interval(
            int(y @ sums), int(x @ sums), int(y @ self.cross @ y), int(x @ self.cross @ y),
            int(x @ self.cross @ x), self.n, level,
        )  # fmt: skip
