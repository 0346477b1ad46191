"""Who holds a role, coverages of screens, constants by kind of defence (description, element 6).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

from naive_basics import REGIONS

from engine.inputs import Scenario, Zone, load_constants, load_level


def kind_of(zone: Zone) -> str:
    return "men" if zone.guards or zone.match_up is not None else "zone"


def constants_against(scenario: Scenario, zone: Zone) -> dict[str, float]:
    """Every constant as it holds against this defence."""
    k = dict(scenario.constants)
    level = load_level(scenario.level) if scenario.level is not None else None
    if kind_of(zone) == (level.measured_against if level is not None else "zone"):
        return k
    model = load_constants()
    for name, other in level.other_defence.items() if level is not None else ():
        if name not in scenario.other_defence:  # the scenario names it under `constants`
            continue
        own = level.constants[name].value if name in level.constants else model[name].value
        k[name] += other.value - own
        if not scenario.beyond_range:
            k[name] = min(max(k[name], model[name].low), model[name].high)
    return k | scenario.other_own


def coverages(zone: Zone, choices: dict[str, str]) -> list[str]:
    """What is done about a screen with the ball in each region."""
    found = ["drop"] * len(REGIONS)
    for optional in (False, True):
        for row in zone.screens:
            if optional != (row.option is not None):
                continue
            if row.option is None or choices.get(row.option) == row.choice:
                for region in row.ball:
                    found[REGIONS.index(region)] = row.coverage
    return found


def person_holding(role: str, near_is_right: bool) -> str:
    side, _, rest = role.partition("_")
    if rest and side == "near":
        return ("right_" if near_is_right else "left_") + rest
    if rest and side == "far":
        return ("left_" if near_is_right else "right_") + rest
    return role
