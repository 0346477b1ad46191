"""The same five with the ball: our team against their defence and their traps, as a scenario of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.inputs.base import spoken
from engine.inputs.calls import Call
from engine.inputs.files import Source
from engine.inputs.scenario import Scenario
from engine.inputs.settings import (
    CallUse,
    Setting,
    WrittenSetting,
    defence_from,
    fitting_calls,
    settings_from,
)
from engine.inputs.sheets.calls import read_calls
from engine.inputs.sheets.data import load_usual_calls
from engine.inputs.sheets.game import GameSheet
from engine.inputs.sheets.read import Sheet
from engine.inputs.team import ZONE_PLACES, ZonePlaces
from engine.inputs.zone import Zone, chosen

ZONE, MAN_TO_MAN = "two_three", "man_to_man"


@dataclass(frozen=True)
class AttackSide:
    """``scenario``: our five attack, each trap of theirs is a setting. ``charted``: what the rows about their
    traps were understood as, () where the shipped calls that fit their defence stand in. ``assumptions``: in
    plain words."""

    scenario: Scenario
    charted: tuple[str, ...]
    assumptions: tuple[str, ...]


def _usual(zone: Zone) -> tuple[dict[str, str], list[str]]:
    """Options and calls that a defence comes with: the usual ones, else every shipped one that fits."""
    for one in load_usual_calls().base:
        if one.zone == zone.name:
            return dict(one.options), list(dict.fromkeys(name for row in one.usual for name in row.calls))
    return {}, fitting_calls(zone)


def attack_side(
    played: Scenario,
    game: GameSheet,
    handled: Sequence[int],
    counted: Sequence[int],
    named: Sequence[int],
    sheet: Sheet | None,
    where: str,
    source: Source,
) -> AttackSide:
    """Our five against their traps. ``played``: the evening's scenario, in which they have the ball;
    ``handled``: shirts of ours whose handling the sheet grades, ``counted``: whose shots or free throws it
    counts, ``named``: those who stand on it; ``sheet``, ``where``: that of calls.

    Raises InputError.
    """
    us, them = played.defence_team, played.offence_team
    name = game.their_defence or (ZONE if game.care.zone_played else MAN_TO_MAN)
    plain_zone = defence_from(name, {}, None, source, "their_defence").zone
    options, names = _usual(plain_zone)
    home = defence_from(name, options, None, source, "their_defence")
    written = [WrittenSetting(name=spoken(one), call=(CallUse(call=one),)) for one in names]
    usual = settings_from(tuple(written), home, played.plays, source, us)
    mine = read_calls(sheet, where, home.zone, game, us, (), named, (), source, theirs=True)
    said = []
    if game.their_defence is None:
        said.append(f"What {them.name} defend with is not given: {home.zone.title}.")
    if not mine.settings:
        said.append(f"Their traps are not charted: the usual ones of the {home.zone.title}.")
    if len(handled) < len(us.lineup):
        ours = ", ".join(str(number) for number in us.lineup if number not in handled)
        said.append(f"Handling of {us.name}, No. {ours}: average for the size.")
    average = [str(number) for number in us.lineup if number not in counted]
    if average:
        whose = "" if len(average) == len(us.lineup) else f", No. {', '.join(average)},"
        said.append(f"{us.name}{whose} shoot as an average side of the level.")
    said.append(
        f"How often each of {us.name} shoots is the model's; they line up with "
        f"{played.alignment.short}; of {them.name}, positions 1 to 5 play "
        f"{', '.join(map(spoken, ZONE_PLACES))}."
    )
    places = ZonePlaces(**dict(zip(ZONE_PLACES, them.lineup, strict=True)))
    scenario = played.model_copy(
        update={
            "title": f"{us.name} attack {them.name} ({home.zone.title})",
            "offence_team": us,
            "defence_team": them.model_copy(update={"zone_places": places}),
            "zone": home.zone,
            "zone_options": chosen(home.zone.options),
            "policy": home.policy,
            "settings": mine.settings or usual,
        }
    )
    return AttackSide(scenario, mine.told, (*said, *mine.remarks))


def together(scenario: Scenario) -> Setting | None:
    """Their traps as one setting, each region's first call; None where there is none."""
    calls: list[Call] = []
    taken: set[str] = set()
    for call in (call for setting in scenario.settings for call in setting.calls):
        if not taken & set(call.ball):
            calls.append(call)
            taken |= set(call.ball)
    if not calls:
        return None
    options = scenario.settings[0].zone_options
    return Setting(name="all their traps", calls=tuple(calls), zone_options=options)
