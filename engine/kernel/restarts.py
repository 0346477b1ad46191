"""Dead balls: fouls, free throws, throw-ins, and everybody's places when play starts or goes on."""

from __future__ import annotations

from engine.kernel import draws
from engine.kernel.ending import close_after, close_outcome_if_open, finish, turnover
from engine.kernel.jit import njit
from engine.kernel.log import event
from engine.kernel.motion import toward_rim
from engine.kernel.near import NEVER, side_index
from engine.kernel.offence import jitter, spot_of
from engine.kernel.passing import take_ball
from engine.kernel.plays import stop_play
from engine.kernel.rebound import start_rebound
from engine.kernel.rows import adopt_now, own_men
from engine.state.arrays import N_SIDE
from engine.state.jobs import Kind
from engine.state.words import After, End, Event, LooseKind, Loss, Moment, Outcome, Region, TrapPhase

#: Dead ball: who guards a man stands this far from him, on the way to the rim.
MAN_STAND_M = 1.5


@njit
def stand(c, i, x, y):
    """Dead ball: agent ``i`` walks to a place and stands there when play goes on."""
    a = c.agents[i]
    a.x = x
    a.y = y
    a.vx = 0.0
    a.vy = 0.0
    a.tx = x
    a.ty = y
    a.lane_t = 0.0


@njit
def take_places(w, c):
    """All ten stand where the current row has them (dead ball or start)."""
    s = c.s
    s.spot_region = s.region
    s.spot_side = s.near
    s.spot_t = NEVER
    jitter(w, c)
    own_men(w, c)
    stop_play(c)
    for i in range(N_SIDE):
        x, y = spot_of(w, c, i)
        stand(c, i, x, y)
        c.agents[i].break_role = -1
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        adopt_now(c, i)
        a.guess_t = NEVER
        a.gamble = 0
        role = w.role_of[side_index(s.near), i - N_SIDE]
        e = w.slides[s.region, s.moment, role]
        stand(c, i, e.x_m * s.near, e.y_m)
        man = c.guards[i - N_SIDE]
        if man >= 0 and e.kind == Kind.OWN_MAN:
            x, y = toward_rim(c.agents[man].x, c.agents[man].y, MAN_STAND_M)
            if y > w.rules.half_y_m:
                y = w.rules.half_y_m  # he waits on his own half
            stand(c, i, x, y)


@njit
def throw_in(w, c, after_foul):
    """Dead ball for the offence: everybody takes his place, the ball comes in to the man at the top."""
    s = c.s
    k = w.k
    ru = w.rules
    s.n_restarts += 1
    s.trap_phase = TrapPhase.NONE
    if after_foul == 1 and ru.shot_clock_s > 0.0 and s.clock_s < ru.foul_reset_s:
        s.clock_s = ru.foul_reset_s
    u, _, _, _ = draws.uniforms(s, draws.RESTART, 0, 0, s.n_restarts)
    s.front = 1
    s.region = Region.TOP
    s.moment = Moment.SETTLED
    s.near = 1 if u < 0.5 else -1
    event(c, Event.THROW_IN, -1, -1, float(after_foul), s.ball_x, s.ball_y)
    take_places(w, c)
    s.handler = w.lead_person
    take_ball(w, c, s.handler)
    s.decide_t = s.t + k.decision_period_s


@njit
def line_up(w, c, shooter):
    """Free-throw places: defenders inside, two attackers beside them, the rest back."""
    ru = w.rules
    side = c.s.near  # so that a mirrored possession stays mirrored
    edge = (ru.lane_half_width_m + 0.2) * side
    y = ru.free_throw_y_m
    stand(c, shooter, 0.0, y)
    n = 0
    for i in range(N_SIDE - 1, -1, -1):
        if i == shooter:
            continue
        if n == 0:
            stand(c, i, edge, 1.9)
        elif n == 1:
            stand(c, i, -edge, 1.9)
        elif n == 2:
            stand(c, i, 2.0 * side, y + 4.0)
        else:
            stand(c, i, -2.0 * side, y + 4.0)
        n += 1
    stand(c, 9, edge, 0.9)
    stand(c, 8, -edge, 0.9)
    stand(c, 7, edge, 2.9)
    stand(c, 6, 1.0 * side, y + 2.0)
    stand(c, 5, -1.0 * side, y + 2.0)


@njit
def free_throws(w, c, n, one_and_one):
    """``n`` free throws by the man who was fouled; a missed last one is rebounded."""
    s = c.s
    k = w.k
    shooter = s.shooter
    made = False
    for _ in range(n):
        s.n_free_throws += 1
        u, _, _, _ = draws.uniforms(s, draws.FREE_THROW, 0, 0, s.n_free_throws)
        made = u < w.players[shooter].free_throw
        c.record.fta += 1
        if made:
            c.record.ftm += 1
            c.record.points += 1
        event(c, Event.FREE_THROW, shooter, -1, 1.0 if made else 0.0, 0.0, w.rules.free_throw_y_m)
        if one_and_one and not made:
            break
    if made:
        finish(w, c, End.FREE_THROWS, k.excess_made_points)
        return
    line_up(w, c, shooter)
    s.shot_x = 0.0
    s.shot_y = w.rules.free_throw_y_m
    start_rebound(w, c, w.rules.free_throw_y_m * 0.6, LooseKind.FREE_THROW)


@njit
def defensive_foul(w, c):
    """A foul that is not on a shot: throw-in before the bonus, free throws in it."""
    s = c.s
    ru = w.rules
    s.team_fouls += 1
    c.record.fouls += 1
    event(c, Event.FOUL, -1, s.handler, 0.0, s.ball_x, s.ball_y)
    close_outcome_if_open(c, Outcome.FOUL)
    close_after(c, After.RESET)
    if s.team_fouls >= ru.bonus_from:
        s.shooter = s.handler
        s.trap_phase = TrapPhase.NONE
        one = ru.one_and_one_from > 0 and ru.one_and_one_from <= s.team_fouls <= ru.one_and_one_to
        free_throws(w, c, ru.bonus_free_throws, one)
        return
    throw_in(w, c, 1)


@njit
def ball_out(w, c):
    """A ball over the line: the defence's last touch gives a throw-in, the offence's loses it."""
    s = c.s
    if s.out_by_defence == 1:
        close_outcome_if_open(c, Outcome.OTHER)
        close_after(c, After.RESET)
        throw_in(w, c, 0)
    else:
        turnover(w, c, 0, -1, Loss.PASS)
