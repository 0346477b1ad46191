"""Coded policies and their scenarios, for comparing the kernel with the naive twin."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from oracle_scenarios import CALLS, scenario, setting

from engine.inputs import Scenario


def front_and_shade(floor: Any, orders: Any) -> None:
    """A coded ``where``: a step toward the ball for all but one, one runs, one is sent off the court
    at times."""
    for i in (0, 2, 3, 4):
        orders.x[i] += 0.1 * (floor.believed_x[i] - orders.x[i])
    orders.run[2] = 1
    if floor.region == 3 and floor.held_s > 0.5:
        orders.x[4] = 40.0
    if floor.trap_phase == 0 and floor.mode == 0 and floor.shot_clock_s > 10.0:
        orders.y[0] = floor.planned_y[0] + 0.2


def late_double(floor: Any) -> int:
    """A coded ``call``: once the ball has been held, by region; at times an answer that names no call."""
    if floor.held_s < 0.9 or floor.calls_made > 1:
        return 0
    if floor.region == 3:
        return 1
    if floor.region == 4:
        return 2
    if floor.region == 1 and floor.held_s > 2.5:
        return 9
    return 0


@dataclass
class CodedFunctions:
    """What the naive twin is handed as a coded policy."""

    where: Any = None
    call: Any = None


def coded(folder: Path, everywhere: str, calls_only: str) -> Scenario:
    """Two coded policies by name, of settings: one moves and calls, one only calls."""
    return scenario(
        folder,
        "coded",
        "international",
        setting("moves and calls", ("wing", "corner"), f'policy = "{everywhere}"'),
        setting("calls only", ("wing", "corner"), f'policy = "{calls_only}"'),
    )


def coded_home(folder: Path, policy: str) -> Scenario:
    """The scenario's own defence is a coded policy; one setting calls in it, one plays another defence."""
    return scenario(
        folder,
        f"coded home, {policy}",
        "professional",
        setting("calls in it", ("wing", "corner")),
        setting("another", CALLS["one_two_two"], 'zone = "one_two_two"'),
        defence=f'zone = "two_three"\npolicy = "{policy}"',
    )
