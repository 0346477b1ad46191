"""What a shot is worth when it leaves: two contesters, smothered, set or not, who goes up with him."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from kernel_process import SCENARIO

from engine.inputs import load_scenario
from engine.kernel.shooting import make_probability, shot_value
from engine.run.watch import watch_numbers
from engine.state.arrays import N_SIDE
from engine.state.words import Dribble, Event, Mode
from engine.world.pack import pack

FAR_M = 9.0
PLAYER = 1


@pytest.fixture(scope="module")
def home() -> Any:
    return pack(load_scenario(SCENARIO)).home


def odds(p: float) -> float:
    return float(np.log(p / (1.0 - p)))


def make(home: Any, distance_m: float, gap_m: float, second_m: float = FAR_M, unset: bool = False) -> float:
    return odds(make_probability(home[0], PLAYER, distance_m, gap_m, second_m, 12.0, unset, 0.0))


@pytest.mark.parametrize("distance_m", [1.0, 4.0, 7.2])
@pytest.mark.parametrize("gap_m", [0.5, 1.0, 1.6])
def test_a_second_man_lowers_a_shot(home: Any, distance_m: float, gap_m: float) -> None:
    """The nearer the more, from his reach on down to .75 m nearer, where it is the constant in log odds."""
    k = home[0].k
    alone = make(home, distance_m, gap_m)
    assert make(home, distance_m, gap_m, k.second_contest_m) == alone
    rows = [make(home, distance_m, gap_m, k.second_contest_m - d) for d in (0.0, 0.25, 0.5, 0.75, 1.2)]
    assert (np.diff(rows[:4]) < 0.0).all()
    assert rows[3] == rows[4] == pytest.approx(alone - k.second_contest_logit)
    assert rows[1] == pytest.approx(alone - k.second_contest_logit / 3)
    worth = [
        shot_value(home[0], PLAYER, distance_m, gap_m, second, True, 12.0, False, 0.0)
        for second in (0.5, FAR_M)
    ]
    assert worth[0] < worth[1] - 0.05, "and so does the shooter's own estimate"


def test_a_smothered_jump_shot_loses_more(home: Any) -> None:
    """Steeper inside ``smothered_m``, by the constant for each metre; at the rim it is not."""
    k = home[0].k
    near, nearer = k.smothered_m - 0.1, k.smothered_m - 0.4
    for distance_m, more in ((5.0, k.smothered_logit_per_m), (7.2, k.smothered_logit_per_m), (0.8, 0.0)):
        inside = make(home, distance_m, near) - make(home, distance_m, nearer)
        outside = make(home, distance_m, k.smothered_m + 0.3) - make(home, distance_m, k.smothered_m)
        assert inside / 0.3 == pytest.approx(outside / 0.3 + more, abs=1e-9)


def test_a_shot_that_is_not_set_loses_the_constant(home: Any) -> None:
    loss = make(home, 7.2, 1.5, unset=True) - make(home, 7.2, 1.5)
    assert loss == pytest.approx(home[0].k.off_dribble_logit) and loss < 0.0


def test_who_goes_up_when_and_how_near(home: Any) -> None:
    """From traces: a shot is unset if it comes off the dribble or so long after the catch; and the nearest
    man is nearer at the release than at the start of the wind-up, seldom nearer than room to land."""
    k = home[0].k
    closed, gaps, unset = [], [], 0
    for block in watch_numbers(home, 9, np.arange(500), what=("s", "agents")):
        for t in block.traces():
            s = t.states
            for n in np.flatnonzero(
                (s["mode"][1:] == Mode.SHOT_WINDUP) & (s["mode"][:-1] != Mode.SHOT_WINDUP)
            ):
                begun = s[n + 1]
                held = begun["t"] - begun["catch_t"]
                dribbles = begun["dribble"] == Dribble.DRIBBLING
                assert begun["unset"] == (dribbles or held > k.set_shot_s)
                unset += begun["unset"]
                later = t.events[(t.events[:, 1] == Event.SHOT) & (t.events[:, 0] > begun["t"])]
                if len(later) == 0:
                    continue
                m = int(np.searchsorted(s["t"], later[0, 0] - 1e-6))
                who = int(begun["handler"])
                first, last = (nearest(t.agents[i], who) for i in (n + 1, m - 1))
                if first > 1.2 and np.hypot(*(t.agents[m - 1, who][c] for c in "xy")) > k.middle_range_m:
                    closed.append(first - last)
                gaps.append(last)
    assert unset > 20 and len(closed) > 100
    assert np.mean(closed) > 4 * np.std(closed) / np.sqrt(len(closed)), "he closes in, z above 4"
    assert np.mean(np.array(gaps) < k.contest_m - 0.15) < 0.1


def nearest(agents: Any, who: int) -> float:
    x, y = agents["x"], agents["y"]
    return float(np.hypot(x[N_SIDE:] - x[who], y[N_SIDE:] - y[who]).min())
