"""Passes that nobody touches: how often they miss their man, against what the passer reckons with.

The passer knows his aim and that a receiver goes to where the ball really comes; the share that misses is
counted on possessions played. Aims so wild that a tenth to a half of all passes goes astray.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.inputs import load_scenario
from engine.inputs.scenario import with_constants
from engine.run.watch import watch_numbers
from engine.state.arrays import OPTION_COLUMNS
from engine.state.words import Event, Option
from engine.world.pack import pack

#: Nobody has hands, and whoever gets to the ball holds it.
ALONE = {
    "touch_max_p": 0.0,
    "fumble_p": 0.0,
    "fumble_pressure_p": 0.0,
    "off_ball_foul_p": 0.0,
}
T_S, OPTION, CHOSEN, RAW = (OPTION_COLUMNS.index(name) for name in ("t_s", "option", "chosen", "raw"))


def passes(aim_sd_per_m: float, n: int) -> tuple[np.ndarray, np.ndarray]:
    """(risk reckoned with, missed: 1 or 0) of every pass of ``n`` possessions at home."""
    scenario = with_constants(load_scenario("friday_night"), {**ALONE, "aim_sd_per_m": aim_sd_per_m})
    rows = []
    for block in watch_numbers(pack(scenario).home, 3, np.arange(n), ("s",), threads=2):
        for i in range(len(block.numbers)):
            trace = block.trace(i)
            thrown = (trace.options[:, CHOSEN] > 0.0) & (trace.options[:, OPTION] >= Option.PASS_1)
            for row in trace.options[thrown]:
                later = trace.events[trace.events[:, 0] > row[T_S] - 1e-6]
                ends = later[np.isin(later[:, 1], (Event.CATCH, Event.LOOSE, Event.TURNOVER)), 1]
                if len(ends):
                    rows.append((row[RAW], ends[0] != Event.CATCH))
    risk, missed = np.array(rows, float).T
    return risk, missed


@pytest.mark.parametrize("aim_sd_per_m", [0.12, 0.25])
def test_a_passer_reckons_with_a_receiver_who_goes_to_the_ball(aim_sd_per_m: float) -> None:
    """Within .08 on average, and those that look wilder miss more."""
    risk, missed = passes(aim_sd_per_m, 800)
    assert len(risk) > 500
    assert risk.mean() == pytest.approx(missed.mean(), abs=0.08)
    wild = risk > np.median(risk)
    assert missed[wild].mean() > missed[~wild].mean() + 0.1
