"""Events of many possessions: what the records do not hold, such as where shots and passes were."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.kernel.watch import EVENTS as EVENT_ROWS
from engine.run.blocks import World
from engine.run.watch import watch_numbers
from engine.state.arrays import GRID_X, GRID_Y
from engine.state.words import EVENTS

#: Columns of ``watch``: which of the possessions asked for (0, 1, ...), then kernel.watch.WATCHED_COLUMNS.
ROW, TIME, CODE, PLAYER, OTHER, VALUE, X, Y, SKIP = range(9)
PASS, CATCH, TOUCH, SHOT = (EVENTS.index(name) for name in ("pass", "catch", "touch", "shot"))
MADE, REBOUND, FREE_THROW, THROW_IN = (
    EVENTS.index(name) for name in ("made", "rebound", "free_throw", "throw_in")
)

Watched = NDArray[np.float64]


def watch(
    world: World,
    seed: int,
    numbers: Sequence[int] | NDArray[np.int64],
    threads: int | None = None,
    check: Callable[[], None] | None = None,
) -> Watched:
    """Events of possessions ``numbers``, float64 [events, 9], in order; ``check`` is called after blocks."""
    found, before = [np.zeros((0, SKIP + 1))], 0
    for block in watch_numbers(world, seed, numbers, threads=threads):
        found.append(np.column_stack((before + block.possession_of(EVENT_ROWS), block.events)))
        before += len(block.numbers)
        if check is not None:
            check()
    return np.concatenate(found)


def regions(world: World, events: Watched) -> NDArray[np.int64]:
    """Index into REGIONS of where each event was, as the kernel finds it: the nearest cell of the grid."""
    rules = world["rules"][0]
    cell = rules["grid_cell_m"]
    i = np.clip((np.abs(events[:, X]) / cell).astype(int), 0, GRID_X - 1)
    j = np.clip(((events[:, Y] - rules["baseline_y_m"]) / cell).astype(int), 0, GRID_Y - 1)
    return world["grid"][0][i, j].astype(np.int64)


def is_three(world: World, events: Watched) -> NDArray[np.bool_]:
    """True where a shot from there counts three."""
    rules = world["rules"][0]
    x, y = np.abs(events[:, X]), events[:, Y]
    low: NDArray[np.bool_] = y <= rules["corner_break_y_m"]
    return np.where(low, x > rules["corner_x_m"], x * x + y * y > rules["arc_m"] ** 2)


def per_possession(values: NDArray[Any], rows: NDArray[Any], count: int) -> NDArray[np.float64]:
    """Sums of values by the possession they belong to, float64 [count]."""
    sums = np.bincount(rows.astype(int), weights=np.asarray(values, float), minlength=count)
    return sums.astype(np.float64)


def touched_passes(events: Watched) -> tuple[Watched, NDArray[np.bool_]]:
    """The passes thrown, and for each of them whether a defender touched it."""
    flown = events[np.isin(events[:, CODE], (PASS, TOUCH, CATCH))]
    thrown = flown[:, CODE] == PASS
    after = np.append(flown[1:, CODE], float(PASS))
    return flown[thrown], after[thrown] == TOUCH
