"""Drives as the handler weighs them, and what a numbers advantage is worth.

Three drives fan around the line to the rim; two go around a defender: a leg to the side, then to the rim.
Source of the rules: common practice, no source.
"""

from __future__ import annotations

import math

from engine.kernel.jit import njit
from engine.kernel.motion import EPSILON, clip, cover_m, distance, logistic, point_to_segment
from engine.kernel.near import FAR_AWAY, help_gap
from engine.kernel.shooting import is_three, shot_value
from engine.state.arrays import N_DRIVES, N_SIDE
from engine.state.words import Option

DRIVE_TURN = math.radians(28.0)


@njit
def ahead_points(w, c, x, y, receiver, time_s):
    """Points that a numbers advantage adds to the ball at (x, y) metres in ``time_s``.

    Attackers less defenders on the rim's side of the ball, each defender as near as he can have run by
    then; 0 to 2 more count, and count the more the nearer the ball is to the rim.
    """
    k = w.k
    d = distance(x, y, 0.0, 0.0)
    if d > k.numbers_reach_m:
        return 0.0
    n = 1
    run = cover_m(time_s - k.reaction_s, 1.0, k.sprint_tau_s)
    for i in range(N_SIDE):
        a = c.agents[i]
        if i != receiver and distance(a.x, a.y, 0.0, 0.0) < d:
            n += 1
        b = c.agents[i + N_SIDE]
        if distance(b.x, b.y, 0.0, 0.0) - w.players[i + N_SIDE].top_speed_mps * run < d + 0.5:
            n -= 1
    if n <= 0:
        return 0.0
    more = 1.0 if n == 1 else 2.0
    return more * k.numbers_value_points * (1.0 - d / k.numbers_reach_m)


@njit
def way_clear(w, c, ax, ay, bx, by, start_s, speed):
    """Clearance (metres) of the way from a to b from the defenders, who step in half as far as they could.

    ``start_s`` seconds until the dribbler is at a; he goes on at ``speed`` m/s.
    """
    k = w.k
    time_s = distance(ax, ay, bx, by) / speed
    clear = FAR_AWAY
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        d, f = point_to_segment(b.x, b.y, ax, ay, bx, by)
        if f < 0.02 and d > 0.4:
            continue
        run_s = start_s + f * time_s - k.reaction_s
        if run_s > 0.0:
            if d - 0.5 * run_s * w.players[i].slide_mps >= clear:
                continue
            d -= 0.5 * cover_m(run_s, w.players[i].slide_mps, k.slide_tau_s)
        if d < clear:
            clear = d
    return clear


@njit
def weigh_drives(w, c, hold, left_s):
    """Values and goals of five drives: three fanned around the line to the rim, two around a defender.

    The outer two go a first leg to the side and turn to the rim from there.
    """
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    p = w.players[s.handler]
    d_rim = distance(a.x, a.y, 0.0, 0.0)
    base = math.atan2(-a.y, -a.x)
    length = clip(d_rim - 0.6, 0.3, k.drive_length_m)
    speed = p.top_speed_mps * k.dribble_speed_share * 0.7
    time_s = length / speed
    ahead = ahead_points(w, c, a.x, a.y, s.handler, 0.7)
    for m in range(N_DRIVES):
        angle = base + (m - 2) * DRIVE_TURN
        around = (m == 0 or m == N_DRIVES - 1) and length > k.drive_side_m
        first = k.drive_side_m if around else length
        gx = clip(a.x + first * math.cos(angle), -w.rules.half_width_m + 0.5, w.rules.half_width_m - 0.5)
        gy = clip(a.y + first * math.sin(angle), w.rules.baseline_y_m + 0.5, w.rules.half_y_m)
        clear = way_clear(w, c, a.x, a.y, gx, gy, 0.0, speed)
        ex = gx
        ey = gy
        if around:
            to_rim = distance(gx, gy, 0.0, 0.0)
            on = clip(length - first, 0.0, clip(to_rim - 0.6, 0.0, FAR_AWAY))
            if to_rim > EPSILON:
                ex = gx - gx / to_rim * on
                ey = gy - gy / to_rim * on
            second = way_clear(w, c, gx, gy, ex, ey, first / speed, speed)
            if second < clear:
                clear = second
        beat = logistic((clear - k.drive_clear_m + k.drive_handle_m * (p.handle - 0.5)) / k.drive_width_m)
        d_end = distance(ex, ey, 0.0, 0.0)
        gap = help_gap(w, c, ex, ey, time_s + k.reaction_s + 0.5 * k.rim_release_s, -1)
        shot = shot_value(w, s.handler, d_end, gap, is_three(w, ex, ey), left_s, True)
        # a drive that leads to no better shot has only used up the dribble among defenders
        end = shot if shot > hold else hold - k.drive_penalty_points
        end += ahead
        o = c.weighed[Option.DRIVE_FAR_RIGHT + m]
        o.value = beat * end + (1.0 - beat) * (hold - k.drive_stopped_points)
        o.x = gx
        o.y = gy
        o.end_x = ex
        o.end_y = ey
