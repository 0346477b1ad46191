"""What men make of the shots they take, and how well they stand for them: counts are held against that.

A shot table is of any shot at a distance and gap. Those that are taken are better ones, because who takes one
stands well for it, and some are blocked or hurried. Measured on a level's own possessions by
benchmarks/fit_beliefs.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from engine.inputs.scenario import Scenario
from engine.inputs.shots import TAKEN_LOGIT, logit
from engine.kernel.shooting import is_three
from engine.run.watch import watch_numbers
from engine.state.words import Event
from engine.world.court import build_court
from engine.world.pack import pack
from engine.world.shots import level_averages

#: What becomes of a shot; one that is fouled and missed is no attempt.
ENDS = {Event.MADE: 1.0, Event.MISSED: 0.0, Event.BLOCKED: 0.0, Event.FOUL: math.nan}


def attempts(world: np.ndarray, events: np.ndarray) -> Iterator[tuple[np.ndarray, str, float]]:
    """Every attempt of a possession: its event, float64 [EVENT_COLUMNS], its band, and 1 if it went in, else
    0; one that is fouled and missed is none."""
    k = world["k"][0]
    for at in np.flatnonzero(events[:, 1] == Event.SHOT):
        made = next((ENDS[code] for code in events[at + 1 :, 1] if code in ENDS), math.nan)
        if not math.isnan(made):
            x, y = events[at, 5:7]
            near = math.hypot(x, y) < k["rim_range_m"]
            yield events[at], "rim" if near else "three" if is_three(world[0], x, y) else "middle", made


def taken_shots(scenario: Scenario, seed: int, n: int, threads: int | None = None) -> dict[str, np.ndarray]:
    """Band -> float64 [attempts, 3] of ``n`` possessions at home: made (1 or 0), rhythm (standard
    deviations), and 1 if the man shoots by the level's table there."""
    world = pack(scenario).home
    w = world[0]
    found: dict[str, list[tuple[float, float, float]]] = {band: [] for band in TAKEN_LOGIT}
    for block in watch_numbers(world, seed, np.arange(n), ("s",), threads=threads):
        for i in range(len(block.numbers)):
            trace = block.trace(i)
            times, events = trace.states["t"], trace.events
            for (t, _, who, *_), band, made in attempts(world, events):
                man = w.players[int(who)]
                average = man.table == 0 and man[f"{band}_logit"] == 0.0
                step = min(int(np.searchsorted(times, t - 1e-6)), len(times) - 1)
                rhythm = trace.states["rhythm"][step] / w.k.shot_rhythm_logit
                found[band].append((made, rhythm, float(average)))
    return {band: np.array(rows).reshape(-1, 3) for band, rows in found.items()}


def measure_taken(scenario: Scenario, seed: int, n: int, threads: int | None = None) -> dict[str, float]:
    """The constants ``taken_*`` as ``n`` possessions of a level's scenario ask for."""
    table = scenario.model_copy(
        update={"constants": {**scenario.constants, **dict.fromkeys(TAKEN_LOGIT.values(), 0.0)}}
    )
    by_table = dict(zip(TAKEN_LOGIT, level_averages(table, build_court(scenario.rules)), strict=True))
    values: dict[str, float] = {}
    for band, shots in taken_shots(scenario, seed, n, threads).items():
        mine = shots[shots[:, 2] == 1.0]
        values[TAKEN_LOGIT[band]] = logit(float(mine[:, 0].mean())) - logit(by_table[band])
        values[f"taken_{band}_rhythm"] = float(shots[:, 1].mean())
    return values
