"""The opponent against the defences that he met where he was counted: tonight's, another, or both alike."""

from __future__ import annotations

from engine.inputs.scenario import Scenario, constants_against
from engine.inputs.settings import Setting
from engine.inputs.sheets.met import Met

#: The constant that measure_carrying moves.
GOING_ON = "hold_value_points"


def instead(scenario: Scenario, defence: Setting) -> Scenario:
    """The scenario with this defence, without calls, as its home; what is believed is as it is against it."""
    assert defence.zone is not None
    return scenario.model_copy(
        update={
            "zone": defence.zone,
            "zone_options": defence.zone_options,
            "policy": defence.policy,
            "plays": scenario.plays if defence.plays is None else defence.plays,
            "constants": constants_against(scenario, defence.zone),
            "measured_against": defence.zone.kind,
            "other_defence": {},
            "other_own": {},
            "settings": (),
        }
    )


def met_games(scenario: Scenario, met: Met) -> tuple[Scenario, ...]:
    """The scenario against each of the defences they met, with the habits of there."""
    scenario = scenario.model_copy(update={"habits": {}})
    return (scenario,) * met.tonight + (() if met.other is None else (instead(scenario, met.other),))


def worth_elsewhere(scenario: Scenario, points: float) -> Scenario:
    """The scenario with what going on is worth against the kind of defence (zone, men) that is not home's;
    at home it stays as it is."""
    if scenario.measured_against == scenario.zone.kind:
        return scenario.model_copy(update={"other_own": {**scenario.other_own, GOING_ON: points}})
    at_home = constants_against(scenario, scenario.zone)[GOING_ON]
    return scenario.model_copy(
        update={
            "constants": {**scenario.constants, GOING_ON: points},
            "other_own": {**scenario.other_own, GOING_ON: at_home},
        }
    )
