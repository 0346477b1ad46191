"""A short pass with bounds checks: no index of the kernel ever leaves its array.

Compiled code reads past the end of an array without a word, so a wrong index would be a silent error.
Bounds checks are switched on when a process starts (NUMBA_BOUNDSCHECK) and cost a compile of their own;
therefore the checked pass runs in a process of its own, with a cache folder of its own. The checks are in
the code before it is optimised: a little of that (NUMBA_OPT) does, and takes two thirds of the time.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from kernel_process import SCENARIO, here, run_process

from engine.inputs import load_scenario
from engine.state.record import COLUMN
from engine.world.pack import pack

N = 400
SEED = 7
SWITCHES = {"NUMBA_BOUNDSCHECK": "1", "NUMBA_OPT": "1"}


def test_no_index_leaves_its_array(tmp_path: Path, compiled: Callable[[], None]) -> None:
    """A few hundred possessions of every setting; an index out of bounds ends the process with an error."""
    packed = pack(load_scenario(SCENARIO))
    worlds: dict[str, Any] = {"home": packed.home} | {s.name: s.world for s in packed.settings}
    numbers = {name: list(range(N)) for name in worlds}
    found = run_process(numbers, SEED, SWITCHES | {"NUMBA_CACHE_DIR": str(tmp_path)})
    compiled()
    assert found["records"] == here(worlds, numbers, SEED)
    assert sum(np.array(rows)[:, COLUMN["n_calls"]].sum() for rows in found["records"].values()) > 0
