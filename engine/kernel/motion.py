"""How ten bodies move.

Law: toward a wanted velocity w the velocity follows v(t) = w + (v0 - w) exp(-t / tau), integrated exactly
over the step, so a straight run from rest is v(t) = vmax (1 - exp(-t / tau)) at any step length
(Furusawa, Hill & Parkinson 1927; Samozino et al. 2016; seen second-hand). Braking and turning are not
bound by tau but by the braking limit. A run that ends is the same law up to the place from which the rest of
the way is just enough to brake with half the limit (closed form: tests/test_motion.py).
"""

from __future__ import annotations

import math

from engine.kernel.jit import njit
from engine.state.arrays import GRID_X, GRID_Y, N_PLAYERS, N_SIDE

EPSILON = 1e-9
#: Squared speed of a man at rest, m2/s2: what rounding leaves of a run that has ended is no run.
AT_REST = 1e-12
#: Two bodies touch, but do not overlap, within this, metres: as far as they were moved apart before.
TOUCH_M = 1e-9
#: Rounds of moving overlapping bodies apart in a step; hardly ever more than two are needed.
PARTINGS = 8


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
def move(a, top_mps, tau_s, gain, brake_mps2, stop_mps2, dt):
    """One step of agent ``a`` toward his target; positions and velocities change in place.

    He runs by the law as long as what is left of the way suffices to stop; from there on he brakes with half
    of ``stop_mps2`` (tracking: a man brakes harder than 3.5 m/s2 3 % of the time) and comes to rest on it, or
    ``further_m`` beyond it where the target is only where he turns.
    """
    dx = a.tx - a.x
    dy = a.ty - a.y
    d = math.sqrt(dx * dx + dy * dy)
    ux = 0.0
    uy = 0.0
    if d > EPSILON:
        ux = dx / d
        uy = dy / d
    cx = top_mps * ux - a.vx
    cy = top_mps * uy - a.vy
    free = a.vx * cx + a.vy * cy >= 0.0 or a.vx * a.vx + a.vy * a.vy <= AT_REST
    if free:
        cx *= gain
        cy *= gain
    # the fastest he may be at the end of this step and still stop: v^2 = stop (d - (v0 + v) dt / 2)
    toward = a.vx * ux + a.vy * uy
    left = d + a.further_m - 0.5 * dt * (toward if toward > 0.0 else 0.0)
    q = 0.25 * stop_mps2 * dt
    most = math.sqrt(q * q + stop_mps2 * left) - q if left > 0.0 else 0.0
    nx = a.vx + cx
    ny = a.vy + cy
    if nx * nx + ny * ny > most * most:
        cx = most * ux - a.vx
        cy = most * uy - a.vy
        free = False
    change = cx * cx + cy * cy
    limit = brake_mps2 * dt
    if change > limit * limit:
        change = limit / math.sqrt(change)
        cx *= change
        cy *= change
        free = False
    if free:
        wx = top_mps * ux
        wy = top_mps * uy
        a.x += wx * dt + (a.vx - wx) * tau_s * gain
        a.y += wy * dt + (a.vy - wy) * tau_s * gain
    else:
        a.x += (a.vx + 0.5 * cx) * dt
        a.y += (a.vy + 0.5 * cy) * dt
    a.vx += cx
    a.vy += cy


@njit
def part(a, b, nx, ny, overlap_m):
    """Two bodies that overlap are moved apart along (nx, ny), from b to a, and stop closing in on each other.

    Who runs in gives way: the shares are the speeds toward each other (of two who only brush past, their
    speeds), so a man who stands is not moved.
    """
    into_a = -(a.vx * nx + a.vy * ny)
    into_b = b.vx * nx + b.vy * ny
    if into_a < 0.0:
        into_a = 0.0
    if into_b < 0.0:
        into_b = 0.0
    both = into_a + into_b
    if both > EPSILON:
        share = into_a / both
    else:
        pace_a = math.sqrt(a.vx * a.vx + a.vy * a.vy)
        both = pace_a + math.sqrt(b.vx * b.vx + b.vy * b.vy)
        share = pace_a / both if both > EPSILON else 0.5
    closing = (b.vx - a.vx) * nx + (b.vy - a.vy) * ny
    if closing < 0.0:
        closing = 0.0
    a.x += nx * overlap_m * share
    a.y += ny * overlap_m * share
    b.x -= nx * overlap_m * (1.0 - share)
    b.y -= ny * overlap_m * (1.0 - share)
    a.vx += nx * closing * share
    a.vy += ny * closing * share
    b.vx -= nx * closing * (1.0 - share)
    b.vy -= ny * closing * (1.0 - share)


@njit
def bodies(k, c):
    """Nobody passes through an opponent: an attacker's and a defender's body keep two radii apart.

    Moving one pair apart can bring another together, in a crowd under the rim, so it is done again.
    """
    least = 2.0 * k.body_radius_m
    overlap = least - TOUCH_M
    for _ in range(PARTINGS):
        parted = False
        for i in range(N_SIDE):
            a = c.agents[i]
            for j in range(N_SIDE, N_PLAYERS):
                b = c.agents[j]
                dx = a.x - b.x
                dy = a.y - b.y
                d2 = dx * dx + dy * dy
                if EPSILON < d2 < overlap * overlap:
                    d = math.sqrt(d2)
                    part(a, b, dx / d, dy / d, least - d)
                    parted = True
        if not parted:
            return


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
        stop = k.brake_mps2 * a.stop_share
        if a.sliding == 1:
            move(a, p.slide_mps * a.speed_share, k.slide_tau_s, p.slide_gain, k.brake_mps2, stop, dt)
        else:
            move(a, p.top_speed_mps * a.speed_share, k.sprint_tau_s, p.run_gain, k.brake_mps2, stop, dt)
    bodies(k, c)
    for i in range(N_PLAYERS):
        keep_in(c.agents[i], -ru.half_width_m, ru.half_width_m, ru.baseline_y_m, ru.far_y_m)


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
