"""What a worker writes while he plays, and what it is before the ball is in play."""

from __future__ import annotations

import numpy as np

from engine.kernel.near import NEVER
from engine.state.arrays import SCRATCH


def new_scratch() -> np.ndarray:
    """A fresh working record (SCRATCH [1]) for one worker: nobody has the ball, nothing is due."""
    scratch = np.zeros(1, SCRATCH).view(np.recarray)
    scratch["record"]["shot_clock_left_ms"] = -1
    scratch["guards"] = -1
    state, agents = scratch["s"], scratch["agents"]
    for name in ("passer", "target", "trapper_0", "trapper_1", "trap_handler", "play", "screener"):
        state[name] = -1
    state["trap_side"] = 1
    state["trap_read_t"] = state["open_t"] = NEVER
    state["look_t"] = state["stopped_t"] = -NEVER
    for name in ("speed_share", "touch_u", "stop_share", "gap_share"):
        agents[name] = 1.0
    for name in ("adopt_t", "guess_t", "read_t"):
        agents[name] = NEVER
    for name in ("guess_who", "break_role"):
        agents[name] = -1
    for name in ("turn_t", "break_t"):
        agents[name] = -NEVER
    return scratch


#: The compiled kernel begins every possession with a copy of it, so no field can be forgotten.
BLANK = np.array(new_scratch(), SCRATCH)
