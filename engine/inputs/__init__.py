"""Files to typed, validated, frozen objects.

Every loader takes the name of a shipped file (configs/<kind>/<name>) or a path and returns a frozen
pydantic object whose attributes are the keys of the file. Lengths are metres, times seconds, speeds
metres per second, probabilities 0 to 1. Whatever is wrong in a file raises
``engine.errors.InputError``: one line naming file, key, value and what is allowed.
"""

from __future__ import annotations

from engine.inputs.alignment import Alignment, AlignmentRow, Break, load_alignment
from engine.inputs.calls import Call, load_call
from engine.inputs.constants import Constant, load_constants
from engine.inputs.defence import men_of, people_of
from engine.inputs.files import Source, spot_names
from engine.inputs.levels import Level, load_level
from engine.inputs.places import Entry, Option, Placement, RowOption
from engine.inputs.plays import Play, load_play
from engine.inputs.rules import Rules, load_rules
from engine.inputs.scenario import Game, Scenario, config_hash, load_scenario
from engine.inputs.settings import Setting
from engine.inputs.shots import ShotTable, load_shot_table
from engine.inputs.team import Player, Team, ZonePlaces, load_team
from engine.inputs.zone import Zone, ZoneRow, load_zone
from engine.shipped import configs_root

__all__ = [
    "Alignment",
    "AlignmentRow",
    "Break",
    "Call",
    "Constant",
    "Entry",
    "Game",
    "Level",
    "Option",
    "Placement",
    "Play",
    "Player",
    "RowOption",
    "Rules",
    "Scenario",
    "Setting",
    "ShotTable",
    "Source",
    "Team",
    "Zone",
    "ZonePlaces",
    "ZoneRow",
    "config_hash",
    "configs_root",
    "load_alignment",
    "load_call",
    "load_constants",
    "load_level",
    "load_play",
    "load_rules",
    "load_scenario",
    "load_shot_table",
    "load_team",
    "load_zone",
    "men_of",
    "people_of",
    "spot_names",
]
