"""Who is near to what: distances between people, the height of a pass, and the chance of a touch."""

from __future__ import annotations

import math

from engine.kernel.jit import njit
from engine.kernel.motion import clip, distance, logistic
from engine.state.arrays import N_SIDE
from engine.state.words import PassKind

FAR_AWAY = 99.0
BEYOND = 10.0  # widths past the reach at which the chance of a touch (under 1 in 20,000) counts as none
NEVER = 1e9
#: The ball's distance from the rim at which on_ball_gap_m holds; the least gap of a man on the ball: bodies.
GAP_AT_M, LEAST_GAP_M = 7.75, 0.7
#: Heights of a pass in metres: chest high, off the floor, and a lob where it comes down.
CHEST_M, BOUNCE_M, CATCH_M = 1.3, 0.6, 2.0


@njit
def squared(a, x, y):
    """Squared distance of an agent from a point, square metres."""
    dx = a.x - x
    dy = a.y - y
    return dx * dx + dy * dy


@njit
def nearest_defender(c, x, y):
    """(distance, agent index) of the defender nearest to a point."""
    best = FAR_AWAY * FAR_AWAY
    who = N_SIDE
    for i in range(N_SIDE, 2 * N_SIDE):
        d2 = squared(c.agents[i], x, y)
        if d2 < best:
            best = d2
            who = i
    return math.sqrt(best), who


@njit
def defenders_within(c, x, y, within_m):
    """How many defenders are nearer to a point than a radius, metres."""
    n = 0
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        if distance(x, y, b.x, b.y) < within_m:
            n += 1
    return n


@njit
def to_line(ru, a):
    """Metres from an agent to the nearest of sidelines and baseline."""
    return min(ru.half_width_m - abs(a.x), a.y - ru.baseline_y_m)


@njit
def nearest_attacker(c, x, y, within_m, skip):
    """Index of the attacker nearest to a point within a radius, the ball's holder left out; -1 none."""
    best = within_m * within_m
    who = -1
    for i in range(N_SIDE):
        if i == skip:
            continue
        d2 = squared(c.agents[i], x, y)
        if d2 < best:
            best = d2
            who = i
    return who


@njit
def ball_height(k, kind, f, z0):
    """Height of the ball (metres) at share ``f`` of the flight of a pass released at ``z0``."""
    if kind == PassKind.DIRECT:
        return CHEST_M
    if kind == PassKind.BOUNCE:
        return BOUNCE_M
    return z0 + (CATCH_M - z0) * f + 4.0 * k.pass_loft_m * f * (1.0 - f)


@njit
def touch_chance(k, arm_m, gap_m, ball_z_m, reach_m, share):
    """Chance that a defender gets a hand on a ball passing ``gap_m`` away at height ``ball_z_m``.

    Nothing above his standing reach plus a jump; else a logistic in (arm reach - gap). Shape: an input.
    """
    if ball_z_m > reach_m + k.jump_m or gap_m > arm_m + BEYOND * k.touch_width_m:
        return 0.0
    return share * k.touch_max_p * logistic((arm_m - gap_m) / k.touch_width_m)


@njit
def side_index(near):
    """0 when the near side is left, 1 when it is right."""
    return 1 if near > 0 else 0


@njit
def on_ball_gap(k, d_rim):
    """Metres between the man on the ball and its holder, who is ``d_rim`` metres from the rim (tracking)."""
    return clip(k.on_ball_gap_m + k.on_ball_gap_per_m * (d_rim - GAP_AT_M), LEAST_GAP_M, FAR_AWAY)
