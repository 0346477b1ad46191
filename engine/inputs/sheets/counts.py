"""What the opponent's sheet counts of each man: shots, free throws, balls lost."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from engine.inputs.sheets.cells import Tried

#: Men who must have counts before a side is compared: fewer are no side.
LEAST_MEN = 3


@dataclass(frozen=True)
class ManCounts:
    """Counts of one man over the games that the sheet is of; None where it does not say.

    A percentage alone is no count.
    """

    number: int
    twos: int | None
    twos_made: int | None
    threes: int | None
    threes_made: int | None
    free_throws: int | None
    free_throws_made: int | None
    turnovers: int | None

    @property
    def says_something(self) -> bool:
        """Whether anything is counted of him."""
        return any(value is not None for name, value in asdict(self).items() if name != "number")

    @property
    def has_shots(self) -> bool:
        """Whether his made and attempted twos and threes are all counted: who shoots can follow them."""
        return None not in (self.twos, self.twos_made, self.threes, self.threes_made)

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON."""
        return asdict(self)


def counts_of(
    number: int, twos: Tried, threes: Tried, free_throws: Tried, turnovers: int | None
) -> ManCounts:
    """The counts among what was written of a man."""
    return ManCounts(
        number,
        twos.attempted,
        twos.made,
        threes.attempted,
        threes.made,
        free_throws.attempted,
        free_throws.made,
        turnovers,
    )
