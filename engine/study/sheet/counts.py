"""What the sheet counts of the five who start, as the arrays that a tally of the model's men has."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.estimate.intervals import IntArray
from engine.estimate.men import KINDS, MADE, SHOTS, weights
from engine.inputs.sheets import Evening
from engine.inputs.sheets.counts import LEAST_MEN
from engine.state.arrays import N_SIDE


@dataclass(frozen=True)
class SheetCounts:
    """``counts`` int64[man, kind] of the sheet (-1: not said), by place 0 to 4; ``men``: places compared;
    ``attempts``: whether attempts are known of all of them; ``numbers``: shirt numbers by place."""

    counts: IntArray
    men: tuple[int, ...]
    attempts: bool
    numbers: tuple[int, ...]

    def has(self, *kinds: str) -> bool:
        """Whether the sheet has these counts of all the men."""
        return bool((self.counts[np.ix_(self.men, [KINDS.index(k) for k in kinds])] >= 0).all())


def sheet_counts(evening: Evening) -> SheetCounts | None:
    """The counts of the five who start; None where the sheet counts too few of them."""
    five = evening.scenario.offence_team.lineup
    counts = np.full((N_SIDE, len(KINDS)), -1, np.int64)
    for one in evening.counts:
        if one.number in five:
            values = [getattr(one, kind) for kind in KINDS]
            counts[five.index(one.number)] = [-1 if value is None else value for value in values]
    for attempts, kinds in ((True, (*SHOTS, *MADE)), (False, tuple(MADE))):
        known = (counts[:, [KINDS.index(kind) for kind in kinds]] >= 0).all(axis=1)
        found = SheetCounts(counts, tuple(np.flatnonzero(known).tolist()), attempts, five)
        below = weights(SHOTS if attempts else MADE, found.men)
        if len(found.men) >= LEAST_MEN and (below * counts).sum() > 0:
            return found
    return None
