"""The defences against which the opponent's counts were made: his sheet is of games against them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from engine.inputs.files import Source
from engine.inputs.plays import Play
from engine.inputs.settings import Setting
from engine.inputs.sheets.game import GameSheet
from engine.inputs.sheets.men import instead_of
from engine.inputs.sheets.questions import BOTH, MEN_WORD, NOT_SAID, ZONE_WORD


@dataclass(frozen=True)
class Met:
    """``word``: man-to-man, zone, both or not said; ``tonight``: whether tonight's defence is of a kind that
    they met, and stands for it; ``other``: the shipped defence of the other kind, played by the same men,
    None where they did not meet it."""

    word: str
    tonight: bool
    other: Setting | None

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON."""
        other = self.other and self.other.model_dump(mode="json")
        return {"word": self.word, "tonight": self.tonight, "other": other}


#: Tonight's defence alone, where nothing says otherwise.
TONIGHT = Met("", True, None)


def met_of(game: GameSheet, plays: tuple[Play, ...], source: Source, shipped: Source) -> Met:
    """What the sheet of the game says; where it says nothing, both alike: neither is taken for sure.

    ``plays`` are the evening's. Raises InputError.
    """
    word = game.counted_against or NOT_SAID
    tonight = word in (BOTH, NOT_SAID, ZONE_WORD if game.care.zone_played else MEN_WORD)
    other = instead_of(game.care.zone_played, None, plays, source, shipped)
    return Met(word, tonight, None if tonight and word not in (BOTH, NOT_SAID) else other)
