"""State of one agent: variables and initial values of the description's element 2.

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

from dataclasses import dataclass

from naive_basics import NEVER, NONE, SETTLED


@dataclass
class Agent:
    x: float = 0.0
    y: float = 0.0
    vx: float = 0.0
    vy: float = 0.0
    tx: float = 0.0
    ty: float = 0.0
    speed_share: float = 1.0
    sliding: bool = False
    further_m: float = 0.0
    gap_share: float = 1.0
    stop_share: float = 1.0
    turn_t: float = -NEVER
    break_t: float = -NEVER
    primed: bool = False
    region: int = 0
    moment: int = SETTLED
    side: int = 0
    focus: int = 0
    guess_x: float = 0.0
    guess_y: float = 0.0
    guess_region: int = 0
    guess_moment: int = SETTLED
    guess_side: int = 0
    guess_t: float = NEVER
    guess_who: int = NONE
    own_man: int = NONE
    call_entry: int = 0
    adopt_t: float = NEVER
    gamble: bool = False
    touch_u: float = 1.0
    job: int = 0
    dx: float = 0.0
    dy: float = 0.0
    read_t: float = NEVER
    break_role: int = NONE
    lane_t: float = 0.0
    find_s_per_m: float = 0.0
    go: bool = False
    go_t: float = 0.0
    go_x: float = 0.0
    go_y: float = 0.0
    go_pace: float = 0.0
