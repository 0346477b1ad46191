"""Ways out of a trap with the ball, as the handler weighs them: a retreat by dribble, a split of the two.

Source of the rules: common practice, no source.
"""

from __future__ import annotations

import math

from engine.kernel.forecast import fade, gap_left
from engine.kernel.jit import njit
from engine.kernel.motion import EPSILON, clip, distance, logistic, point_to_segment
from engine.kernel.near import FAR_AWAY
from engine.kernel.offence import half_line_holds
from engine.state.arrays import N_SIDE
from engine.state.words import Option

RETREAT_WAY_M = 3.4
RETREAT_WAYS, RETREAT_TURN = 7, 0.5  # directions a retreat is weighed in, and radians between them


@njit
def way_clear(w, c, ax, ay, bx, by, speed):
    """Clearance (metres) of the way from a to b, dribbled at ``speed`` m/s, from the defenders, who step in
    half as far as they could."""
    k = w.k
    time_s = distance(ax, ay, bx, by) / speed
    clear = FAR_AWAY
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        delay = clip(time_s, 0.0, k.reaction_s)
        px = b.x + delay * b.vx
        py = b.y + delay * b.vy
        d, f = point_to_segment(px, py, ax, ay, bx, by)
        if f < 0.02 and d > 0.4:
            continue
        slide = w.players[i].slide_mps
        run = f * time_s - delay
        if run > 0.0:
            if d - 0.5 * run * slide >= clear:
                continue
            x = ax + f * (bx - ax)
            y = ay + f * (by - ay)
            d -= 0.5 * (
                d
                - gap_left(b, slide, k.brake_mps2, k.slide_tau_s, x, y, delay, run, fade(run, k.slide_tau_s))
            )
        if d < clear:
            clear = d
    return clear


@njit
def weigh_retreat(w, c, carry):
    """The best of several ways to dribble out backward or sideways, by the room the trappers leave."""
    s = c.s
    k = w.k
    ru = w.rules
    a = c.agents[s.handler]
    t0 = c.agents[s.trapper_0]
    t1 = c.agents[s.trapper_1]
    base = math.atan2(a.y - 0.5 * (t0.y + t1.y), a.x - 0.5 * (t0.x + t1.x))
    top = ru.half_y_m - 0.4 if half_line_holds(w, s) else ru.far_y_m - 0.4
    speed = w.players[s.handler].top_speed_mps * k.dribble_speed_share * k.retreat_speed_share
    o = c.weighed[Option.RETREAT]
    best = -1.0
    for n in range(RETREAT_WAYS):  # of ways as clear: straight back, then to the sides in turn
        turn = (n + 1) // 2
        angle = base + (turn if n % 2 == 0 else -turn) * RETREAT_TURN
        x = clip(a.x + RETREAT_WAY_M * math.cos(angle), -ru.half_width_m + 0.5, ru.half_width_m - 0.5)
        y = clip(a.y + RETREAT_WAY_M * math.sin(angle), ru.baseline_y_m + 0.5, top)
        clear = way_clear(w, c, a.x, a.y, x, y, speed)
        room = distance(a.x, a.y, x, y) / RETREAT_WAY_M
        got = room * logistic((clear - 2.0 * k.body_radius_m + 0.05) / k.retreat_width_m)
        if got > best + EPSILON:
            best = got
            o.x = x
            o.y = y
    o.raw = best
    o.value = carry + k.belief_retreat_points + best * k.belief_retreat_way_points


@njit
def weigh_split(w, c, carry, hold):
    """Between two trappers who still leave room for a body."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    t0 = c.agents[s.trapper_0]
    t1 = c.agents[s.trapper_1]
    mx = 0.5 * (t0.x + t1.x)
    my = 0.5 * (t0.y + t1.y)
    away = distance(a.x, a.y, mx, my)
    if away < 1e-6:
        return
    d0 = distance(a.x, a.y, t0.x, t0.y)
    d1 = distance(a.x, a.y, t1.x, t1.y)
    between = distance(t0.x, t0.y, t1.x, t1.y)
    if d0 >= 3.5 or d1 >= 3.5 or between <= 2.0 * k.body_radius_m + k.split_gap_m:
        return
    # they close while he comes
    time_s = away / (w.players[s.handler].top_speed_mps * k.dribble_speed_share)
    closing = k.trapper_closing_share * time_s * w.players[s.trapper_0].top_speed_mps
    room = between - 2.0 * closing - 2.0 * k.body_radius_m - 2.0 * k.split_gap_m
    through = logistic((room + 0.6 * (w.players[s.handler].handle - 0.5)) / k.split_width_m)
    o = c.weighed[Option.SPLIT]
    o.value = through * (carry + k.numbers_value_points) + (1.0 - through) * (hold - 0.5)
    o.x = mx + (mx - a.x) / away * 1.6
    o.y = my + (my - a.y) / away * 1.6
