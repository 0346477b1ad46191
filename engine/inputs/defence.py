"""A defence and the two teams: who holds which place, who guards whom."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from engine.errors import InputError
from engine.inputs.base import plain
from engine.inputs.team import N_LINEUP, ZONE_PLACES, Player, Team
from engine.inputs.zone import Zone


def persons_of(zone: Zone) -> tuple[str, ...]:
    """The five persons of a defence, agents 5 to 9: a 2-3's in their fixed order, else the file's."""
    return tuple(zone.persons) or ZONE_PLACES


def people_of(zone: Zone, team: Team) -> dict[str, Player]:
    """Person -> player of the defending team: by the team's ``zone_places`` or the file's ``persons``.

    In order of the places of ``ZonePlaces``, or of the file.
    """
    if zone.persons:
        return {person: team.on_court[position - 1] for person, position in zone.persons.items()}
    assert team.zone_places is not None  # filled in by the loader
    return {person: team.by_number(number) for person, number in team.zone_places}


def men_of(zone: Zone, defence: Team, offence: Team, matchups: Mapping[int, int]) -> dict[str, int]:
    """Person -> position 1 to 5 of the attacker he guards: the scenario's match-ups first, then the file's
    guards as far as they are free, then who is left, in order of position.

    ``matchups``: own shirt -> opponent's shirt, for players in the two lineups. A person without a man is
    left out; empty in a zone.
    """
    people = {person: p for person, p in people_of(zone, defence).items() if person in zone.guards}
    men = {
        person: offence.lineup.index(matchups[p.number]) + 1
        for person, p in people.items()
        if p.number in matchups
    }
    for person in people:
        if person not in men and zone.guards[person] not in men.values():
            men[person] = zone.guards[person]
    left = [position for position in range(1, N_LINEUP + 1) if position not in men.values()]
    for person in people:
        if person not in men:
            men[person] = left.pop(0)
    return men


def _shirts(numbers: Iterable[int]) -> str:
    return ", ".join(str(number) for number in numbers)


def read_matchups(written: Mapping[str, Any], defence: Team, offence: Team, where: str) -> dict[int, int]:
    """The table ``defence.matchups``, own shirt = opponent's shirt. Raises InputError."""
    matchups: dict[int, int] = {}
    for name, man in written.items():
        key = f"defence.matchups.{plain(name)}"
        own = {str(number): number for number in defence.lineup}.get(name)
        if own is None:
            allowed = f"shirt numbers in the lineup of {defence.name}: {_shirts(defence.lineup)}"
            raise InputError(where, "defence.matchups", name, allowed)
        if isinstance(man, bool) or not isinstance(man, int) or man not in offence.lineup:
            allowed = f"a shirt number in the lineup of {offence.name}: {_shirts(offence.lineup)}"
            raise InputError(where, key, man, allowed)
        if man in matchups.values():
            raise InputError(where, key, man, "each opponent guarded by one man")
        matchups[own] = man
    return matchups


def check_matchups(matchups: Mapping[int, int], zones: Iterable[Zone], defence: Team, where: str) -> None:
    """Raises InputError for a match-up of somebody who guards nobody in any of the defences."""
    zones = list(zones)
    if matchups and not any(zone.guards for zone in zones):
        allowed = "match-ups only where a defence has [guards], man-to-man for example"
        raise InputError(where, "defence.matchups", dict(matchups), allowed)
    bound = {
        p.number for zone in zones for person, p in people_of(zone, defence).items() if person in zone.guards
    }
    for own in matchups:
        if own not in bound:
            allowed = f"shirt numbers of those who guard a man: {_shirts(sorted(bound))}"
            raise InputError(where, "defence.matchups", str(own), allowed)
