"""What having the ball is believed to be worth in a branch: by the clock, by place, and held for a screen.

The kernel's own law (engine.kernel.worth) with the constants that hold against the defence played, which are
measured on the model's possessions (benchmarks/fit_beliefs.py; a side's own: engine.study.own_men).
"""

from __future__ import annotations

import numpy as np

from engine.estimate.intervals import Found
from engine.inputs.scenario import Scenario, constants_against
from engine.inputs.settings import Setting
from engine.study.beliefs import PLACES, carrying_on

#: Seconds on the clock that are told, where there are so many.
CLOCK_S = (30, 24, 18, 14, 10, 6, 4, 2)


def worth_dict(scenario: Scenario, setting: Setting | None) -> Found:
    """Points that an attack is believed to bring, as JSON; ``setting`` None: staying home.

    ``against`` "zone" or "men"; ``by_clock``: left_s and points; ``by_place``: regions and how many points
    more; ``for_a_screen``: more while the ball is held for one.
    """
    zone = setting.zone if setting is not None and setting.zone is not None else scenario.zone
    k = constants_against(scenario, zone)
    limit = scenario.rules.clock.shot_s or scenario.rules.clock.patience_s
    left = [s for s in CLOCK_S if s <= limit]
    points = carrying_on(np.array(left, float), k["hold_value_points"], k["hold_tau_s"])
    return {
        "against": zone.kind,
        "by_clock": [{"left_s": s, "points": float(p)} for s, p in zip(left, points, strict=True)],
        "by_place": [
            {"ball": [region.word for region in regions], "points": k[name]}
            for name, regions in PLACES.items()
        ],
        "for_a_screen": k["worth_screen_points"],
    }
