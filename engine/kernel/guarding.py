"""Where a man stands who guards somebody without the ball."""

from __future__ import annotations

import math

from engine.kernel.jit import njit
from engine.kernel.motion import EPSILON, clip, distance


@njit
def sag_m(k, x, y, fx, fy):
    """The gap (metres) kept from a man without the ball at (x, y), the ball at (fx, fy).

    It grows with the man's distance from the ball and from the rim (tracking of professional men, see
    man_gap_m in configs/model/constants.toml).
    """
    gap = clip(k.man_gap_m + k.man_gap_per_m * distance(fx, fy, x, y), 0.0, k.man_gap_most_m)
    return gap * clip(k.man_gap_rim_share_per_m * distance(x, y, 0.0, 0.0), 0.0, 1.0)


@njit
def sagged(k, x, y, gap_m, fx, fy):
    """The place (metres) ``gap_m`` from (x, y) toward the rim and a little toward the ball."""
    hx = k.man_toward_ball_share * fx - x
    hy = k.man_toward_ball_share * fy - y
    h = math.sqrt(hx * hx + hy * hy)
    if h < EPSILON:
        return x, y
    if gap_m > h:
        gap_m = h
    return x + hx / h * gap_m, y + hy / h * gap_m


@njit
def off_ball_place(w, c, a, man, sag, fx, fy):
    """Place (metres) where ``a`` guards a man without the ball; ``sag`` is the row's share of the gap."""
    m = c.agents[man]
    return sagged(w.k, m.x, m.y, a.gap_share * sag * sag_m(w.k, m.x, m.y, fx, fy), fx, fy)
