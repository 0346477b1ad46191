"""The few behaviours behind the trade's words for what a defender does in a row.

Each job of a zone or call file is one of eight kinds with default weights toward the ball and toward the
nearest attacker; a row may state its own weights. Source of the words and of the defaults: common
practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

from engine.state.words import Job, Words


class Kind(Words):
    """How a job is played."""

    PLACE = "stands on the place, drawn toward ball and man"
    ON_BALL = "between the ball and the rim"
    DENY = "in the lane from the ball to his man"
    FRONT = "between the ball and his man, close"
    BEHIND = "between his man and the rim"
    IF_SHOOTER = "on the ball if the handler can shoot, else on the place"
    TRAP = "doubles the ball"
    OWN_MAN = "guards his own man wherever he is"


class Behaviour(NamedTuple):
    """Default behaviour of a job: kind, weights (share of the way) and the reach of "his man" in metres."""

    kind: Kind
    toward_ball: float
    toward_man: float
    man_within_m: float
    meaning: str


_DEFAULTS = {
    Job.PLACE: (Kind.PLACE, 0.0, 0.0, 2.5),
    Job.ON_BALL: (Kind.ON_BALL, 0.0, 0.0, 2.5),
    Job.COMING: (Kind.ON_BALL, 0.0, 0.0, 2.5),
    Job.ON_BALL_IF_SHOOTER: (Kind.IF_SHOOTER, 0.15, 0.0, 2.5),
    Job.GAP: (Kind.PLACE, 0.15, 0.0, 2.5),
    Job.DENY: (Kind.DENY, 0.0, 0.0, 4.0),
    Job.SINK: (Kind.PLACE, 0.10, 0.25, 3.0),
    Job.FILL: (Kind.PLACE, 0.0, 0.30, 2.5),
    Job.RIM: (Kind.PLACE, 0.0, 0.20, 2.0),
    Job.FRONT: (Kind.FRONT, 0.0, 0.0, 3.0),
    Job.LOB: (Kind.BEHIND, 0.0, 0.0, 4.0),
    Job.DROP: (Kind.PLACE, 0.0, 0.35, 3.0),
    Job.PINCH: (Kind.PLACE, 0.10, 0.30, 2.5),
    Job.BLOCK: (Kind.PLACE, 0.0, 0.35, 2.5),
    Job.DIG: (Kind.PLACE, 0.35, 0.0, 2.5),
    Job.READ_SKIP: (Kind.PLACE, 0.0, 0.30, 4.0),
    Job.RUN_AT: (Kind.PLACE, 0.0, 0.45, 4.0),
    Job.MIDDLE: (Kind.PLACE, 0.05, 0.30, 2.5),
    Job.TRAP: (Kind.TRAP, 0.0, 0.0, 2.5),
    Job.OWN_MAN: (Kind.OWN_MAN, 1.0, 0.0, 2.5),
}
#: By the word of the job, for every job.
JOB_TABLE = {job.word: Behaviour(*_DEFAULTS[job], job.meaning) for job in Job}
