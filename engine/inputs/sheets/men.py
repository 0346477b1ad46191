"""Man-to-man in place of an evening's zone: the same five of ours, and what they run against men."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from engine.errors import InputError, MissingInput
from engine.inputs import defaults
from engine.inputs.files import Source
from engine.inputs.plays import Play, plays_from, pooled
from engine.inputs.settings import Setting, defence_from
from engine.inputs.sheets.attack import MAN_TO_MAN, ZONE
from engine.inputs.sheets.data import load_usual_calls
from engine.inputs.sheets.game import GameSheet
from engine.inputs.zone import chosen
from engine.state.words import Against

if TYPE_CHECKING:
    from engine.inputs.sheets.evening import Evening


def against_men(plays: Sequence[Play]) -> list[Play]:
    """Those of the plays that are run against men."""
    return _against(plays, Against.MEN)


def _against(plays: Sequence[Play], kind: Against) -> list[Play]:
    return [play for play in plays if kind.word in play.against]


def instead_of(
    zone: bool, screens: str | None, plays: tuple[Play, ...], source: Source, shipped: Source
) -> Setting:
    """Man-to-man in place of a zone (``zone``), or the usual zone in place of man-to-man, as a setting.

    ``screens``: what men do about them, None as usual; ``plays`` are the evening's. Where the sheet names
    some, but none that is run against that kind, the shipped ones against it are run there: a side has some.
    Raises InputError.
    """
    kind = Against.MEN if zone else Against.ZONE
    usual = load_usual_calls().of(MAN_TO_MAN if zone else ZONE)
    options = {} if screens is None else {"screens": screens}
    own = defence_from(usual.zone, {**usual.options, **options}, None, shipped, "defence")
    more: list[Play] = []
    if plays and not _against(plays, kind):
        more = _against(plays_from(defaults.PLAYS, shipped), kind)
        pooled([plays, more], source, "key plays")
    return Setting(
        name=own.zone.title,
        calls=(),
        zone=own.zone,
        zone_options=chosen(own.zone.options),
        policy=own.policy,
        own_defence=True,
        plays=(*plays, *more) if more else None,
    )


def men_setting(game: GameSheet, plays: tuple[Play, ...], source: Source, shipped: Source) -> Setting | None:
    """Man-to-man as a setting beside the zone; None where the sheet lets no zone be played. Raises
    InputError."""
    return instead_of(True, game.screens, plays, source, shipped) if game.care.zone_played else None


def asked_men(evening: Evening) -> Setting:
    """What the zone of an evening is weighed against. Raises InputError where there is nothing to weigh."""
    if evening.men is not None:
        return evening.men
    if evening.folder is None:
        allowed = (
            "a folder of sheets (trapledger new FOLDER); in a scenario file a [[setting]] may say "
            'zone = "man_to_man" (trapledger compare)'
        )
        raise InputError("--zone-or-men", "", str(evening.scenario.path), allowed)
    care = evening.care
    if care.zone_allowed is False:
        allowed = (
            "yes, for --zone-or-men. Where the league allows no zone man-to-man is played, and there is no "
            "zone to weigh: leave --zone-or-men out, or write yes if your league does allow zones"
        )
        raise InputError(care.where, "zone_allowed", "no", allowed)
    age = (
        "the age group is not given, either"
        if care.age_group is None
        else f"under {care.age_group}: many leagues allow no zone up to under {care.withhold_up_to_age}"
    )
    needed = (
        f"an answer, for --zone-or-men ({age}), as till then man-to-man is played, and there is no zone to "
        "weigh. Ask your league: write yes if it allows zones, else leave --zone-or-men out"
    )
    raise MissingInput(care.where, "zone_allowed", needed)
