"""A coach's sheets as a scenario: game, own, opponent, calls, shots, in one workbook or as CSV files.

``load_evening`` reads a folder or a scenario file; what is missing falls back to the level's average and is
listed once in ``Evening.assumptions``. Whatever is wrong in a sheet raises ``engine.errors.InputError``: one
line naming file, row, column, value and what is allowed.
"""

from __future__ import annotations

from engine.inputs.sheets.blank import write_blank
from engine.inputs.sheets.care import Care
from engine.inputs.sheets.evening import Evening, load_any, load_evening, load_folder
from engine.inputs.sheets.find import folder_of, is_book, is_evening
from engine.inputs.sheets.fronts import Likely
from engine.inputs.sheets.men import asked_men
from engine.inputs.sheets.opponent import OpponentNote
from engine.inputs.sheets.own import OwnNote
from engine.inputs.sheets.shooting import ShotNote

__all__ = [
    "Care",
    "Evening",
    "Likely",
    "OpponentNote",
    "OwnNote",
    "ShotNote",
    "asked_men",
    "folder_of",
    "is_book",
    "is_evening",
    "load_any",
    "load_evening",
    "load_folder",
    "write_blank",
]
