"""How much of what differs between the points of a sweep is the luck of the possessions played at each.

A row (a point under one setting) is an estimate: its true value plus luck. Where every point plays
possessions of its own, the luck of the rows is independent and its size is known from the rows' own
intervals. Where all points play the same possessions, part of it moves all of them together, and what is
left is not independent either: points that are alike share more of it, so along a factor it looks like a
smooth response. What it does to an estimate is then seen by applying the same estimate to luck alone: to
differences between batches of the same point, in which the true value has gone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import isfinite, nan, sqrt

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Draws of luck alone that are used at most.
MOST_DRAWS = 8
TAKEN_OUT = "taken out"
NOT_KNOWN = "not taken out: all points share their luck, and there are no batches to tell how far"


@dataclass(frozen=True, eq=False)
class Luck:
    """The luck in the rows of a table.

    Attributes:
        variance: float64[rows], squared standard error of each row; nan where there is none.
        by_batch: float64[rows, batches], the means of equal batches of each row, the same batch having the
            same possessions in every row; None without them. Used where luck is common.
        independent: whether every point plays possessions of its own.
        batch_share: mean share of a row's possessions that lies in the batches.
    """

    variance: FloatArray
    by_batch: FloatArray | None
    independent: bool
    batch_share: float = 1.0

    @property
    def known(self) -> bool:
        """Whether the luck that differs between points can be told from the luck that they share."""
        return self.independent or self.draws is not None

    @property
    def words(self) -> str:
        return TAKEN_OUT if self.known else NOT_KNOWN

    @cached_property
    def draws(self) -> FloatArray | None:
        """Draws of luck alone, float64[draws, rows]: each is distributed over the rows as the luck in them.

        Contrasts of the batches with weights that add up to 0 and have the norm of those of a mean,
        orthogonal to each other. None where luck is independent (its size is better known from ``variance``)
        or there are fewer than two batches.
        """
        if self.independent or self.by_batch is None or self.by_batch.shape[1] < 2:
            return None
        n_batches = self.by_batch.shape[1]
        rng = np.random.default_rng(n_batches)
        basis = np.linalg.qr(
            np.column_stack([np.ones(n_batches), rng.standard_normal((n_batches, n_batches))])
        )
        contrasts = basis.Q[:, 1 : min(n_batches, 1 + MOST_DRAWS)]
        found: FloatArray = (self.by_batch @ contrasts).T * sqrt(self.batch_share / n_batches)
        return found

    def between(self, rows: IntArray) -> float:
        """Variance of the luck in differences between rows; 0 where it cannot be told."""
        if self.draws is not None:
            return float(self.draws[:, rows].var(axis=1, ddof=1).mean()) if len(rows) > 1 else 0.0
        return _mean(self.variance[rows]) if self.independent else 0.0

    def shared(self, rows: IntArray) -> float:
        """Variance of the luck that the rows share; where it cannot be told, the most that it can be."""
        if self.independent:
            return 0.0
        whole = _mean(self.variance[rows])
        return max(whole - self.between(rows), 0.0) if isfinite(whole) else nan


def _mean(values: FloatArray) -> float:
    """Mean of those there are; nan where no row has an interval (too few events)."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else nan
