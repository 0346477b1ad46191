"""Rebounds and loose balls: where the ball comes down and who gets it."""

from __future__ import annotations

import math

from engine.kernel import draws
from engine.kernel.ending import finish, turnover
from engine.kernel.jit import njit
from engine.kernel.log import event
from engine.kernel.motion import clip, distance
from engine.kernel.near import NEVER
from engine.kernel.passing import take_ball
from engine.state.arrays import N_PLAYERS, N_SIDE
from engine.state.words import End, Event, LooseKind, Loss, Mode


@njit
def start_rebound(w, c, d, kind):
    """Where the miss comes down: farther for longer shots, to the far side for long ones from the side."""
    s = c.s
    k = w.k
    ru = w.rules
    s.n_rebounds += 1
    u0, u1, u2, u3 = draws.uniforms(s, draws.REBOUND, 0, 0, s.n_rebounds)
    length = (k.rebound_base_m + k.rebound_share * d) * math.exp(k.rebound_log_sd * draws.normal(u0, u1))
    length = clip(length, 0.1, 8.0)
    sx = s.shot_x
    far = k.rebound_far_side_p * clip(d / 7.0, 0.0, 1.0)
    if u3 < far:
        sx = -sx
    angle = math.atan2(s.shot_y, sx) + k.rebound_angle_sd * (2.0 * u2 - 1.0) * 1.7320508075688772
    x = clip(length * math.cos(angle), -ru.half_width_m + 0.2, ru.half_width_m - 0.2)
    y = clip(length * math.sin(angle), ru.baseline_y_m + 0.2, ru.half_y_m)
    s.ball_x = x
    s.ball_y = y
    s.ball_z = 2.2
    s.mode = Mode.LOOSE
    s.loose_kind = kind
    s.loose_t = s.t + k.rebound_fall_s
    # to find a man and turn into him takes the time that the ball is in the air
    flight_s = k.shot_flight_s + k.shot_flight_s_per_m * d
    s.boxed_share = 1.0 - (1.0 - k.box_out_share) * (1.0 - math.exp(-flight_s / k.box_out_s))


@njit
def loose_ball_won(w, c):
    """Agent index who gets the loose ball: exponential race, rates from place, box-out and skill."""
    s = c.s
    k = w.k
    rebound = s.loose_kind != 0
    purpose = draws.REBOUND_RACE if rebound else draws.LOOSE_RACE
    occasion = s.n_rebounds if rebound else s.n_loose
    scale = k.rebound_scale_m if rebound else k.loose_scale_m
    best = NEVER
    who = N_SIDE
    for i in range(N_PLAYERS):
        a = c.agents[i]
        d = distance(a.x, a.y, s.ball_x, s.ball_y)
        weight = math.exp(-clip(d / scale, 0.0, 20.0))
        if rebound:
            weight *= 1.0 + k.rebound_skill * (w.players[i].rebounding - 0.5)
            if i < N_SIDE:
                for j in range(N_SIDE, 2 * N_SIDE):
                    b = c.agents[j]
                    if distance(a.x, a.y, b.x, b.y) < k.box_out_reach_m and (
                        distance(b.x, b.y, s.ball_x, s.ball_y) < d
                    ):
                        weight *= s.boxed_share
                        break
        u, _, _, _ = draws.uniforms(s, purpose, i, 0, occasion)
        key = draws.race_key(u, weight)
        if key < best:
            best = key
            who = i
    return who


@njit
def touched_ring(s):
    """True if the loose ball has: the clock stands, begins anew for the attack (FIBA 29.2, from memory)."""
    return s.loose_kind == LooseKind.REBOUND or s.loose_kind == LooseKind.FREE_THROW


@njit
def settle_loose_ball(w, c):
    """The loose ball is taken: a rebound, or a deflection that either side picks up."""
    s = c.s
    k = w.k
    who = loose_ball_won(w, c)
    if s.loose_kind != 0:
        event(c, Event.REBOUND, who, -1, float(s.loose_kind), s.ball_x, s.ball_y)
        if who >= N_SIDE:
            c.record.dreb += 1
            s.handler = who
            finish(w, c, End.DEFENSIVE_REBOUND, k.excess_defensive_rebound_points)
            return
        c.record.oreb += 1
        if w.rules.shot_clock_s > 0.0 and touched_ring(s):
            s.clock_s = w.rules.offensive_rebound_reset_s
        take_ball(w, c, who)
        # a put-back is decided at once
        s.decide_t = s.t + w.k.time_step_s
        return
    event(c, Event.RECOVERED, who, -1, 0.0, s.ball_x, s.ball_y)
    if who >= N_SIDE:
        turnover(w, c, 1, who, Loss.PASS)
        return
    take_ball(w, c, who)
