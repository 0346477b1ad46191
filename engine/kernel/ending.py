"""The ways a possession ends, and the account of the first call."""

from __future__ import annotations

from engine.kernel import draws
from engine.kernel.jit import njit
from engine.kernel.log import event
from engine.state.words import After, End, Event, Loss, Mode, Outcome, Violation


@njit
def close_outcome(c, code):
    """Writes what became of the first call's trap, once; escapes open the account of what came after."""
    s = c.s
    if s.outcome_open == 1:
        c.record.outcome = code
        s.outcome_open = 0
        got_out = code == Outcome.ESCAPE_PASS or code == Outcome.RETREAT or code == Outcome.SPLIT
        s.after_open = 1 if got_out else 0
    event(c, Event.TRAP_LEFT, s.handler, s.trap_call, float(code), s.ball_x, s.ball_y)


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
        c.record.after = code
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
    s.mode = Mode.OVER
    c.record.end = end
    c.record.time_ms = int(s.t * 1000.0 + 0.5)
    c.record.net = c.record.points - excess(w, c, mean_excess)
    if s.after_open == 1:
        close_after(c, After.RESET)
    if s.outcome_open == 1:
        close_outcome(c, Outcome.OTHER)
    event(c, Event.END, -1, -1, float(end), s.ball_x, s.ball_y)


@njit
def turnover(w, c, live, thief, how):
    """The ball is lost: ``live`` 1 for a steal by ``thief``, 0 for a dead ball; ``how`` is a Loss."""
    s = c.s
    k = w.k
    c.record.turnovers += 1
    c.record.lost_by = how + 1
    event(c, Event.TURNOVER, s.handler, thief, float(live), s.ball_x, s.ball_y)
    if live == 1:
        c.record.steals += 1
        event(c, Event.STEAL, thief, s.handler, 0.0, s.ball_x, s.ball_y)
        close_outcome_if_open(c, Outcome.STEAL)
    else:
        close_outcome_if_open(c, Outcome.OTHER_TURNOVER)
    close_after(c, After.TURNOVER)
    finish(w, c, End.TURNOVER, k.excess_live_steal_points if live == 1 else k.excess_dead_ball_points)


@njit
def violation(w, c, kind):
    """A count, clock or line violation by the offence (dead ball); ``kind`` indexes state.VIOLATIONS."""
    event(c, Event.VIOLATION, c.s.handler, -1, float(kind), c.s.ball_x, c.s.ball_y)
    c.record.violations += 1
    turnover(w, c, 0, -1, Loss.TRAVEL if kind == Violation.TRAVEL else Loss.VIOLATION)


@njit
def shot_clock_violation(w, c):
    """The shot clock runs out: a dead-ball turnover that is counted as its own ending."""
    k = w.k
    event(c, Event.VIOLATION, c.s.handler, -1, float(Violation.SHOT_CLOCK), c.s.ball_x, c.s.ball_y)
    c.record.violations += 1
    c.record.turnovers += 1
    c.record.lost_by = Loss.VIOLATION + 1
    close_outcome_if_open(c, Outcome.OTHER_TURNOVER)
    close_after(c, After.TURNOVER)
    event(c, Event.TURNOVER, c.s.handler, -1, 0.0, c.s.ball_x, c.s.ball_y)
    finish(w, c, End.SHOT_CLOCK, k.excess_dead_ball_points)
