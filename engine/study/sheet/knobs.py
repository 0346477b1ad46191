"""The knobs that an evening's opponent is fitted with: numbers that the inputs have, and their ranges."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from engine.estimate.intervals import Found
from engine.inputs.constants import load_constants
from engine.inputs.scenario import Scenario, with_trapped
from engine.study.sheet.met import GOING_ON, worth_elsewhere

#: Possessions of each run, and runs of Gauss-Newton after the slopes.
FIT_POSSESSIONS, ROUNDS = 4000, 2
PRIOR = "shot_prior_attempts"
#: Ways to lose the ball: the knob ``losses`` multiplies all by e to its power. Not the aim of passes: who
#: throws worse throws less.
LOSSES = ("strip_rate_per_s", "dribble_loss_rate_per_s", "travel_p", "off_ball_foul_p")
MOST_LOSSES = math.log(4.0)


@dataclass(frozen=True)
class Knob:
    """A knob, the rate it is moved for (of engine.study.sheet.rows), its move for a slope."""

    name: str
    rate: str
    step: float


#: The constant shot_foul_p; log factor of LOSSES.
KNOBS = (Knob("fouls", "free_throws", 0.2), Knob("losses", "turnovers", 0.6))
#: Rounds in which every man's reluctance is moved by GAIN points for a share e times too large, less in later
#: ones: about what the choice among options answers with (measured: twice as much does not settle).
SHARE_ROUNDS, GAIN, SLOWER, MOST_LOG, MOST_RELUCTANCE = 7, 0.15, 3.0, 2.0, 1.0
#: What going on is worth to these men (engine.study.own_men): possessions of each of its rounds, and how many
#: runs take as long.
CARRYING, CARRYING_POSSESSIONS, CARRYING_RUNS = "carrying on", 1500, 4
#: The same against the kind of defence (zone, men) that is not home's.
ELSEWHERE = "carrying on elsewhere"
#: What they make of a trap: possessions of so many runs, and how many take as long (some are watched).
TRAPPED, TRAPPED_PLAYED, TRAPPED_RUNS = "in a trap", 6, 9
#: What they make of a pass out of one, from the same possessions.
PASSED_OUT = "passes out of a trap"
#: Rounds in which the reluctances are moved again, against another kind of defence, from where they stand:
#: nearer, so fewer, and larger moves (both measured).
HABIT_ROUNDS, HABIT_GAIN = 3, 0.2
HABIT_RUNS = HABIT_ROUNDS + 1
#: Those rounds, one more, these (for two defences) and one after them, one for each slope, the rounds of
#: Gauss-Newton, those of the habits and of the trap.
MOST_RUNS = SHARE_ROUNDS + 1 + 2 * CARRYING_RUNS + 1 + len(KNOBS) + ROUNDS + HABIT_RUNS + TRAPPED_RUNS


def ranges(scenario: Scenario) -> dict[str, tuple[float, float, float]]:
    """Knob -> where it begins, its least and its greatest value."""
    fouls = load_constants()["shot_foul_p"]
    return {
        "fouls": (scenario.constants["shot_foul_p"], fouls.low, fouls.high),
        "losses": (0.0, -MOST_LOSSES, MOST_LOSSES),
    }


def with_knobs(scenario: Scenario, values: Mapping[str, float]) -> Scenario:
    """The scenario with these knobs; one that is not named stays as it is."""
    constants, known, other_own = dict(scenario.constants), load_constants(), dict(scenario.other_own)
    if "fouls" in values:
        constants["shot_foul_p"] = values["fouls"]
    if CARRYING in values:
        constants[GOING_ON] = values[CARRYING]
        other_own.pop(GOING_ON, None)
    if "losses" in values:
        for name in LOSSES:
            moved = constants[name] * math.exp(values["losses"])
            constants[name] = min(max(moved, known[name].low), known[name].high)
    team = scenario.offence_team
    players = tuple(
        player.model_copy(
            update={
                f"reluctance_{kind}_points": values[f"{kind} {player.number}"]
                for kind in ("two", "three")
                if f"{kind} {player.number}" in values
            }
        )
        for player in team.players
    )
    team = team.model_copy(update={"players": players})
    found = scenario.model_copy(update={"constants": constants, "offence_team": team, "other_own": other_own})
    if TRAPPED in values:
        found = with_trapped(found, values[TRAPPED], values[PASSED_OUT])
    return worth_elsewhere(found, values[ELSEWHERE]) if ELSEWHERE in values else found


def with_habits(scenario: Scenario, found: Found) -> Scenario:
    """The scenario with who shoots against a kind of defence: JSON of engine.study.sheet.habits.Habits."""
    points = {(one["number"], one["kind"]): one["value"] for one in found["shares"]}
    men = {number: (points[number, "twos"], points[number, "threes"]) for number, _ in points}
    return scenario.model_copy(update={"habits": {**scenario.habits, found["kind"]: men}})


def fitted(scenario: Scenario, found: Found) -> Scenario:
    """The scenario with its opponent fitted: JSON of a fit."""
    side = with_knobs(scenario, values_of(found))
    return with_habits(side, found["tonight"]) if found.get("tonight") else side


def values_of(found: Found) -> dict[str, float]:
    """Knob -> value of the JSON of a fit; none where nothing was fitted."""
    values = {one["knob"]: one["value"] for one in found.get("followed", ())} | found.get("reluctance", {})
    for name, key, points in (
        (CARRYING, "carrying", "points"),
        (ELSEWHERE, "elsewhere", "points"),
        (TRAPPED, "trapped", "points"),
        (PASSED_OUT, "trapped", "passes"),
    ):
        if found.get(key):
            values[name] = found[key][points]
    return values


def fitted_rates(found: Found) -> tuple[str, ...]:
    """Base rates of ``stress`` that are the opponent's own after a fit (its JSON), no more his level's."""
    if not values_of(found):
        return ()
    lost = any(one["rate"] == "turnovers" for one in found["followed"])
    return ("points", "turnovers") if lost else ("points",)
