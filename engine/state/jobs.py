"""The trade's words for what a defender does in a row, and the few behaviours behind them.

Each job of a zone or call file is one of eight kinds with default weights toward the ball and toward the
nearest attacker; a row may state its own weights. Source of the words and of the defaults: common
practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

from engine.state.words import JOBS

PLACE, ON_BALL, DENY, FRONT, BEHIND, IF_SHOOTER, TRAP, OWN_MAN = range(8)


class Job(NamedTuple):
    """Default behaviour of a job: kind, weights (share of the way) and the reach of "his man" in metres."""

    kind: int
    toward_ball: float
    toward_man: float
    man_within_m: float
    meaning: str


JOB_TABLE: dict[str, Job] = {
    "place": Job(PLACE, 0.0, 0.0, 2.5, "stands on the place"),
    "on_ball": Job(ON_BALL, 0.0, 0.0, 2.5, "guards the ball"),
    "coming": Job(ON_BALL, 0.0, 0.0, 2.5, "runs over to take the ball"),
    "on_ball_if_shooter": Job(
        IF_SHOOTER, 0.15, 0.0, 2.5, "guards the ball if the handler can shoot, else the gap"
    ),
    "gap": Job(PLACE, 0.15, 0.0, 2.5, "closes the gap"),
    "deny": Job(DENY, 0.0, 0.0, 4.0, "stands in the lane to the nearest attacker"),
    "sink": Job(PLACE, 0.10, 0.25, 3.0, "drops toward the middle, on the outlet pass"),
    "fill": Job(PLACE, 0.0, 0.30, 2.5, "fills the place left open"),
    "rim": Job(PLACE, 0.0, 0.20, 2.0, "protects the rim"),
    "front": Job(FRONT, 0.0, 0.0, 3.0, "stands between ball and post player"),
    "lob": Job(BEHIND, 0.0, 0.0, 4.0, "stays behind his man against the lob"),
    "drop": Job(PLACE, 0.0, 0.35, 3.0, "drops to the place, on the man there"),
    "pinch": Job(PLACE, 0.10, 0.30, 2.5, "pinches in"),
    "block": Job(PLACE, 0.0, 0.35, 2.5, "holds the block, on the man there"),
    "dig": Job(PLACE, 0.35, 0.0, 2.5, "steps in to bother the ball"),
    "read_skip": Job(PLACE, 0.0, 0.30, 4.0, "holds the middle and reads the skip"),
    "run_at": Job(PLACE, 0.0, 0.45, 4.0, "ready to run at the man there"),
    "middle": Job(PLACE, 0.05, 0.30, 2.5, "holds the middle"),
    "trap": Job(TRAP, 0.0, 0.0, 2.5, "doubles the ball"),
    "own_man": Job(OWN_MAN, 1.0, 0.0, 2.5, "guards his own man: on the ball, denying, or in help"),
}
assert tuple(JOB_TABLE) == JOBS
