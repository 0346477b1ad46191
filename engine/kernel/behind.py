"""Behind a trap: who breaks for a pass out of it, who goes back to the slides, who takes the ball there."""

from __future__ import annotations

from engine.kernel.jit import njit
from engine.kernel.motion import clip, distance, point_to_segment
from engine.kernel.near import FAR_AWAY, ball_height, side_index
from engine.state.arrays import N_SIDE
from engine.state.jobs import Kind
from engine.state.words import Focus, Mode, TrapPhase


@njit
def goes_back(w, c, i, out):
    """True if defender ``i`` has seen the ball leave a trap (``out``) and has no cover that is to hold."""
    s = c.s
    trapper = i == s.trapper_0 or i == s.trapper_1
    return out and c.agents[i].focus == Focus.BALL and (trapper or w.calls[s.trap_call].hold_cover == 0)


@njit
def who_rotates(w, c, out):
    """Behind a beaten trap, or with the ball on its way ``out`` of one: the nearest man takes the ball, and
    who should have had it takes his place. Not one who has broken for a pass or has not seen this one.

    (agent, agent) who change places in the slides, (-1, -1) if the row's own man is near enough.
    """
    s = c.s
    after = s.trap_phase == TrapPhase.AFTER and (s.mode == Mode.HELD or s.mode == Mode.PASS_FLIGHT)
    if not (after or out):
        return -1, -1
    x = s.pass_x1 if s.mode == Mode.PASS_FLIGHT else s.ball_x
    y = s.pass_y1 if s.mode == Mode.PASS_FLIGHT else s.ball_y
    own = -1
    own_d = FAR_AWAY
    best = FAR_AWAY
    who = -1
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        d = distance(a.x, a.y, x, y)
        e = w.slides[s.region, s.moment, w.role_of[side_index(s.near), i - N_SIDE]]
        if (e.kind == Kind.ON_BALL or e.kind == Kind.IF_SHOOTER) and d < own_d:
            own = i
            own_d = d
        free = a.break_t <= s.begun and (not out or goes_back(w, c, i, out))
        if free and d < best:
            best = d
            who = i
    if own < 0 or who < 0 or own == who or own_d < best + w.k.rotate_m:
        return -1, -1
    return own, who


@njit
def in_reach(w, c, i, f):
    """True if the pass in the air is not over the hands of defender ``i`` at share ``f`` of its way left."""
    s = c.s
    z = ball_height(w.k, s.pass_kind, s.pass_share + f * (1.0 - s.pass_share), s.pass_z0)
    return z <= w.players[i].reach_m + w.k.jump_m


@njit
def break_on_throw(w, c, i):
    """Cover man ``i`` who has decided to play this throw breaks into its lane; missing it costs him the time.

    Nobody breaks for a ball that is over his hands where it passes him.
    """
    s = c.s
    k = w.k
    a = c.agents[i]
    if s.mode != Mode.PASS_FLIGHT or a.gamble == 0 or s.begun < s.release_t + k.cover_break_s:
        return
    d, f = point_to_segment(a.x, a.y, s.ball_x, s.ball_y, s.pass_x1, s.pass_y1)
    if d < k.cover_break_within_m and in_reach(w, c, i, f):
        f = clip(f + 0.1, 0.0, 0.95)  # meets it a step farther on
        a.tx = s.ball_x + f * (s.pass_x1 - s.ball_x)
        a.ty = s.ball_y + f * (s.pass_y1 - s.ball_y)
        a.break_t = s.arrive_t + k.cover_recover_s
