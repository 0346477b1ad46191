"""How ten bodies move.

Law: toward a wanted velocity w the velocity follows v(t) = w + (v0 - w) exp(-t / tau), integrated exactly
over the step, so a straight run from rest is v(t) = vmax (1 - exp(-t / tau)) at any step length
(Furusawa, Hill & Parkinson 1927; Samozino et al. 2016; seen second-hand). Braking and turning are not
bound by tau but by the braking limit; the wanted speed near the target is what can still be braked.
"""

from __future__ import annotations

import math

from engine.kernel.jit import njit
from engine.state.arrays import GRID_X, GRID_Y, N_PLAYERS

EPSILON = 1e-9


@njit
def distance(ax, ay, bx, by):
    """Euclidean distance, metres (sqrt, not hypot: hypot differs between numba and CPython)."""
    dx = ax - bx
    dy = ay - by
    return math.sqrt(dx * dx + dy * dy)


@njit
def clip(value, low, high):
    """``value`` limited to [low, high]."""
    if value < low:
        return low
    if value > high:
        return high
    return value


@njit
def logistic(z):
    """1 / (1 + exp(-z)), safe for large arguments."""
    if z > 30.0:
        return 1.0
    if z < -30.0:
        return 0.0
    return 1.0 / (1.0 + math.exp(-z))


@njit
def cover_m(time_s, top_mps, tau_s):
    """Metres run from rest in ``time_s``: vmax (t - tau (1 - exp(-t / tau))); 0 for no time."""
    if time_s <= 0.0:
        return 0.0
    return top_mps * (time_s - tau_s * (1.0 - math.exp(-time_s / tau_s)))


@njit
def move(a, top_mps, tau_s, gain, brake_mps2, dt):
    """One step of agent ``a`` toward his target; positions and velocities change in place."""
    dx = a.tx - a.x
    dy = a.ty - a.y
    d = math.sqrt(dx * dx + dy * dy)
    wx = 0.0
    wy = 0.0
    if d > EPSILON:
        wanted = math.sqrt(brake_mps2 * d)  # brakes with half the limit
        if wanted > top_mps:
            wanted = top_mps
        if wanted * dt > d:
            wanted = d / dt
        wx = wanted * dx / d
        wy = wanted * dy / d
    cx = wx - a.vx
    cy = wy - a.vy
    speeding_up = a.vx * cx + a.vy * cy >= 0.0
    if speeding_up:
        cx *= gain
        cy *= gain
    change2 = cx * cx + cy * cy
    limit = brake_mps2 * dt
    if change2 > limit * limit or not speeding_up:
        if change2 > limit * limit:
            share = limit / math.sqrt(change2)
            cx *= share
            cy *= share
        a.x += (a.vx + 0.5 * cx) * dt
        a.y += (a.vy + 0.5 * cy) * dt
    else:
        a.x += wx * dt + (a.vx - wx) * tau_s * gain
        a.y += wy * dt + (a.vy - wy) * tau_s * gain
    a.vx += cx
    a.vy += cy


@njit
def keep_in(a, low_x, high_x, low_y, high_y):
    """Nobody can stand outside: positions are held at the line, speed across it is lost."""
    if a.x < low_x:
        a.x = low_x
        a.vx = 0.0
    elif a.x > high_x:
        a.x = high_x
        a.vx = 0.0
    if a.y < low_y:
        a.y = low_y
        a.vy = 0.0
    elif a.y > high_y:
        a.y = high_y
        a.vy = 0.0


@njit
def move_all(w, c):
    """Moves the ten agents one step (metres, seconds); defenders slide near their place, else run."""
    k = w.k
    ru = w.rules
    dt = k.time_step_s
    for i in range(N_PLAYERS):
        a = c.agents[i]
        p = w.players[i]
        if a.sliding == 1:
            move(a, p.slide_mps * a.speed_share, k.slide_tau_s, p.slide_gain, k.brake_mps2, dt)
        else:
            move(a, p.top_speed_mps * a.speed_share, k.sprint_tau_s, p.run_gain, k.brake_mps2, dt)
        keep_in(a, -ru.half_width_m, ru.half_width_m, ru.baseline_y_m, ru.far_y_m)


@njit
def region_at(w, x, y):
    """Index of the ball region at a point (metres); points outside count as the nearest cell."""
    ru = w.rules
    i = int(abs(x) / ru.grid_cell_m)
    j = int((y - ru.baseline_y_m) / ru.grid_cell_m)
    if i < 0:
        i = 0
    if i >= GRID_X:
        i = GRID_X - 1
    if j < 0:
        j = 0
    if j >= GRID_Y:
        j = GRID_Y - 1
    return w.grid[i, j]


@njit
def inside(w, x, y):
    """True if the point lies on the modelled court."""
    ru = w.rules
    return -ru.half_width_m <= x <= ru.half_width_m and ru.baseline_y_m <= y <= ru.far_y_m


@njit
def toward_rim(x, y, gap_m):
    """The point ``gap_m`` from (x, y) on the way to the rim."""
    d = math.sqrt(x * x + y * y)
    if d < gap_m + 0.3:
        return x * 0.5, y * 0.5
    return x - x / d * gap_m, y - y / d * gap_m


@njit
def point_to_segment(px, py, ax, ay, bx, by):
    """(distance, share along a-b of the nearest point) from p to the segment a-b."""
    dx = bx - ax
    dy = by - ay
    length2 = dx * dx + dy * dy
    f = 0.0
    if length2 > EPSILON:
        f = ((px - ax) * dx + (py - ay) * dy) / length2
        if f < 0.0:
            f = 0.0
        elif f > 1.0:
            f = 1.0
    return distance(px, py, ax + f * dx, ay + f * dy), f
