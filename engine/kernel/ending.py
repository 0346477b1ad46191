"""The ways a possession ends, and the account of the first call."""

from __future__ import annotations

from engine.kernel import draws
from engine.kernel.jit import njit
from engine.kernel.log import EV, event
from engine.kernel.tally import (
    COL_after,
    COL_end,
    COL_net,
    COL_outcome,
    COL_points,
    COL_steals,
    COL_time_ms,
    COL_turnovers,
    COL_violations,
    add,
)
from engine.state.words import (
    AFTER,
    ENDS,
    OUTCOMES,
    OVER,
)

END_MADE = ENDS.index("made_shot")
END_DREB = ENDS.index("defensive_rebound")
END_TURNOVER = ENDS.index("turnover")
END_FREE_THROWS = ENDS.index("free_throws")
END_SHOT_CLOCK = ENDS.index("shot_clock")
OUT_STEAL = OUTCOMES.index("steal")
OUT_TURNOVER = OUTCOMES.index("other_turnover")
OUT_FOUL = OUTCOMES.index("foul")
OUT_ESCAPE = OUTCOMES.index("escape_pass")
OUT_RETREAT = OUTCOMES.index("retreat")
OUT_SPLIT = OUTCOMES.index("split")
OUT_OTHER = OUTCOMES.index("other")
AFTER_RIM = AFTER.index("rim_shot")
AFTER_OPEN_THREE = AFTER.index("open_three")
AFTER_OTHER_SHOT = AFTER.index("other_shot")
AFTER_RESET = AFTER.index("reset")
AFTER_TURNOVER = AFTER.index("turnover")
EV_TURNOVER = EV["turnover"]
EV_STEAL = EV["steal"]
EV_END = EV["end"]
EV_VIOLATION = EV["violation"]
BACKCOURT_COUNT, OVER_AND_BACK, GUARDED, THREE_SECONDS, TRAVEL, LINE, TOO_LONG, SHOT_CLOCK = range(8)
EV_LEFT = EV["trap_left"]


@njit
def close_outcome(c, code):
    """Writes what became of the first call's trap, once; escapes open the account of what came after."""
    s = c.s
    if s.outcome_open == 1:
        c.record[COL_outcome] = code
        s.outcome_open = 0
        s.after_open = 1 if (code == OUT_ESCAPE or code == OUT_RETREAT or code == OUT_SPLIT) else 0
    event(c, EV_LEFT, s.handler, s.trap_call, code, s.ball_x, s.ball_y)


@njit
def close_outcome_if_open(c, code):
    """As close_outcome, without a trace line when no first trap is running."""
    if c.s.outcome_open == 1:
        close_outcome(c, code)


@njit
def close_after(c, code):
    """Writes what came after the escape from the first call's trap, once."""
    s = c.s
    if s.after_open == 1:
        c.record[COL_after] = code
        s.after_open = 0


@njit
def excess(w, c, mean_points):
    """Integer draw (0, +-2, +-3) of the next possession's excess over an average one, with this mean."""
    k = w.k
    s = c.s
    u0, u1, _, _ = draws.uniforms(s, draws.NEXT_POSSESSION, 0, 0, 0)
    size = mean_points if mean_points >= 0.0 else -mean_points
    if u0 >= size / (2.0 + k.excess_three_share):
        return 0
    points = 3 if u1 < k.excess_three_share else 2
    return points if mean_points > 0.0 else -points


@njit
def finish(w, c, end, mean_excess):
    """The possession is over: net points are the points conceded minus the drawn excess."""
    s = c.s
    s.mode = OVER
    c.record[COL_end] = end
    c.record[COL_time_ms] = int(s.t * 1000.0 + 0.5)
    c.record[COL_net] = c.record[COL_points] - excess(w, c, mean_excess)
    if s.after_open == 1:
        close_after(c, AFTER_RESET)
    if s.outcome_open == 1:
        close_outcome(c, OUT_OTHER)
    event(c, EV_END, -1, -1, end, s.ball_x, s.ball_y)


@njit
def turnover(w, c, live, thief):
    """The ball is lost: ``live`` 1 for a steal by ``thief``, 0 for a dead ball."""
    s = c.s
    k = w.k
    add(c, COL_turnovers, 1)
    event(c, EV_TURNOVER, s.handler, thief, live, s.ball_x, s.ball_y)
    if live == 1:
        add(c, COL_steals, 1)
        event(c, EV_STEAL, thief, s.handler, 0.0, s.ball_x, s.ball_y)
        close_outcome_if_open(c, OUT_STEAL)
    else:
        close_outcome_if_open(c, OUT_TURNOVER)
    close_after(c, AFTER_TURNOVER)
    finish(w, c, END_TURNOVER, k.excess_live_steal_points if live == 1 else k.excess_dead_ball_points)


@njit
def violation(w, c, kind):
    """A count, clock or line violation by the offence (dead ball); ``kind`` indexes state.VIOLATIONS."""
    event(c, EV_VIOLATION, c.s.handler, -1, kind, c.s.ball_x, c.s.ball_y)
    add(c, COL_violations, 1)
    turnover(w, c, 0, -1)


@njit
def shot_clock_violation(w, c):
    """The shot clock runs out: a dead-ball turnover that is counted as its own ending."""
    k = w.k
    event(c, EV_VIOLATION, c.s.handler, -1, SHOT_CLOCK, c.s.ball_x, c.s.ball_y)
    add(c, COL_violations, 1)
    add(c, COL_turnovers, 1)
    close_outcome_if_open(c, OUT_TURNOVER)
    close_after(c, AFTER_TURNOVER)
    event(c, EV_TURNOVER, c.s.handler, -1, 0.0, c.s.ball_x, c.s.ball_y)
    finish(w, c, END_SHOT_CLOCK, k.excess_dead_ball_points)
