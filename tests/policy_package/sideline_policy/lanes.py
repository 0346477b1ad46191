"""Geometry of lanes: the helpers of the policy, compiled into it. Metres."""

from __future__ import annotations

import math

from numba import njit

#: How far down the lane he stands, from the ball (0) to the man in the middle (1).
SHARE = 0.6


@njit
def distance(x0, y0, x1, y1):
    """Metres between two points."""
    return math.sqrt((x1 - x0) ** 2 + (y1 - y0) ** 2)


@njit
def lane_place(ball_x, ball_y, man_x, man_y):
    """A place in the passing lane, nearer to the receiver than to the ball."""
    return ball_x + SHARE * (man_x - ball_x), ball_y + SHARE * (man_y - ball_y)


@njit
def toward(x, y, to_x, to_y, most_m):
    """``most_m`` on the way from a place to another, or all the way if that is less."""
    d = distance(x, y, to_x, to_y)
    if d <= most_m:
        return to_x, to_y
    return x + most_m / d * (to_x - x), y + most_m / d * (to_y - y)
