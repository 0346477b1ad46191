"""Shot tables and counted shots as the kernel has them: log odds on a grid, and players' differences."""

from __future__ import annotations

import math

import numpy as np

from engine.inputs.scenario import Scenario
from engine.inputs.shots import TAKEN_LOGIT, TYPICAL_GAP, ShotTable
from engine.state.arrays import N_SHOT_STEPS, SHOT_STEP_M
from engine.world.court import Court

MAKE_LEAST = 1e-4


def logit(p: float) -> float:
    p = min(max(p, MAKE_LEAST), 1.0 - MAKE_LEAST)
    return math.log(p / (1.0 - p))


def shot_rows(table: ShotTable) -> np.ndarray:
    """A shot table on the kernel's grid: float64 [N_SHOT_STEPS, 2], logit of make and slope per metre."""
    d = np.arange(N_SHOT_STEPS) * SHOT_STEP_M
    logits = np.array([logit(m) for m in table.make])
    return np.column_stack(
        [np.interp(d, table.distance_m, logits), np.interp(d, table.distance_m, table.contest_logit_per_m)]
    )


def _average_make(scenario: Scenario, rows: np.ndarray, distance_m: float, band: str) -> float:
    k = scenario.constants
    i = int(round(distance_m / SHOT_STEP_M))
    z = rows[i, 0] + rows[i, 1] * (k[TYPICAL_GAP[band]] - k["reference_defender_m"])
    z += k[TAKEN_LOGIT[band]]
    return float(1.0 / (1.0 + math.exp(-z)))


def offset(scenario: Scenario, counts: tuple[int, int] | None, average: float) -> float:
    """Logit difference of a player from the level: counts pulled toward the average (beta-binomial mean)."""
    if counts is None:
        return 0.0
    prior = scenario.constants["shot_prior_attempts"]
    made, attempted = counts
    return logit((made + prior * average) / (attempted + prior)) - logit(average)


def level_averages(scenario: Scenario, court: Court) -> tuple[float, float, float]:
    """Make of shots that the level's men take at the rim, between and from three, at typical distances."""
    rows = shot_rows(scenario.shot_table)
    return (
        _average_make(scenario, rows, 0.75, "rim"),
        _average_make(scenario, rows, 4.0, "middle"),
        _average_make(scenario, rows, court.arc_m + 0.4, "three"),
    )
