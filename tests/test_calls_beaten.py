"""What the attackers do behind a beaten trap, read from traces as test_calls. Common practice, no source."""

from __future__ import annotations

import numpy as np
from slides import PATIENT
from test_calls import called, world_of

from engine.state.words import Mode, TrapPhase


def test_behind_a_beaten_trap_attackers_cut() -> None:
    """Common practice, no source: after an escape somebody dives to the rim at once, at attacking speed.
    The patient attack, which passes out of a trap rather than shoot over it."""
    for call in ("top", "wing"):
        diving = steps = 0
        for t in called(world_of(call, PATIENT), 70):
            s = t.states
            for n in np.flatnonzero((s["trap_phase"] == TrapPhase.AFTER) & (s["mode"] == Mode.HELD)):
                if s["trap_phase"][n - 1] != TrapPhase.AFTER:
                    continue
                off = t.agents[n, :5]
                near_rim = (np.hypot(off["tx"], off["ty"]) < 2.0) & (off["speed_share"] > 0.85)
                near_rim[int(s["handler"][n])] = False
                diving += near_rim.any()
                steps += 1
        assert steps > 200 and diving / steps > 0.6, call
