"""Shot tables and counted shots as the kernel has them: log odds on a grid, and players' differences."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from engine.inputs.scenario import Scenario
from engine.inputs.shots import ShotTable, chance, logit
from engine.state.arrays import N_SHOT_STEPS, SHOT_STEP_M
from engine.world.court import Court


def shot_rows(table: ShotTable) -> np.ndarray:
    """A shot table on the kernel's grid: float64 [N_SHOT_STEPS, 2], logit of make and slope per metre."""
    d = np.arange(N_SHOT_STEPS) * SHOT_STEP_M
    logits = np.array([logit(m) for m in table.make])
    return np.column_stack(
        [np.interp(d, table.distance_m, logits), np.interp(d, table.distance_m, table.contest_logit_per_m)]
    )


def _average_make(
    scenario: Scenario, rows: np.ndarray, distance_m: float, gap_m: float, taken_logit: float
) -> float:
    i = int(round(distance_m / SHOT_STEP_M))
    z = rows[i, 0] + rows[i, 1] * (gap_m - scenario.constants["reference_defender_m"])
    z += taken_logit
    return chance(float(z))


def offset(scenario: Scenario, counts: tuple[int, int] | None, average: float) -> float:
    """Logit difference of a player from the level: counts pulled toward the average (beta-binomial mean)."""
    if counts is None:
        return 0.0
    prior = scenario.constants["shot_prior_attempts"]
    made, attempted = counts
    return logit((made + prior * average) / (attempted + prior)) - logit(average)


def level_averages(scenario: Scenario, court: Court) -> tuple[float, float, float]:
    """Make of shots that the level's men take at the rim, between and from three, at typical distances."""
    k = scenario.constants
    rows = shot_rows(scenario.shot_table)
    three_m = court.arc_m + 0.4
    return (
        _average_make(scenario, rows, 0.75, k["typical_gap_rim_m"], k["taken_rim_logit"]),
        _average_make(scenario, rows, 4.0, k["typical_gap_middle_m"], k["taken_middle_logit"]),
        _average_make(scenario, rows, three_m, k["typical_gap_three_m"], k["taken_three_logit"]),
    )


def taken_rhythm(k: Mapping[str, float] | np.void, three: bool, near: bool) -> float:
    """How well men stand for the shots they take (mean, standard deviations): threes, at the rim, between."""
    if three:
        return float(k["taken_three_rhythm"])
    return float(k["taken_rim_rhythm"] if near else k["taken_middle_rhythm"])
