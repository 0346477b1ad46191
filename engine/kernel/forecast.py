"""Where a man can be in t seconds: the one forecast that every belief and every defender's choice uses.

From place AND velocity: while he takes in what is new he runs on as he is; then he runs by the law of
motion, v(t) = vmax - (vmax - v0) exp(-t / tau), with the part of his velocity that already points the right
way. Beliefs that the forecast alone does not give (loss of a pass, gap at release, chance to beat a man,
worth of a stopped drive) are small fits on the model's own possessions: constants ``belief_*``, made per
level by benchmarks/fit_beliefs.py.
"""

from __future__ import annotations

import math

from engine.kernel.jit import njit
from engine.kernel.motion import EPSILON, clip, distance, logistic
from engine.kernel.near import FAR_AWAY, nearest_defender
from engine.state.arrays import N_SIDE

#: Chance below and above which a belief is not moved any more (its log odds would be endless).
LEAST_P = 0.0005


@njit
def fade(run_s, tau_s):
    """tau (1 - exp(-t / tau)): seconds of full speed that a start from rest costs in ``run_s``."""
    return tau_s * (1.0 - math.exp(-run_s / tau_s)) if run_s > 0.0 else 0.0


@njit
def gap_left(b, top_mps, brake_mps2, tau_s, x, y, delay_s, run_s, faded_s):
    """Metres agent ``b`` can still be away from (x, y) after ``delay_s`` as he is and ``run_s`` toward it.

    ``faded_s`` is fade(run_s, tau_s). Who moves the wrong way brakes first: that costs him time and way.
    """
    dx = x - b.x - b.vx * delay_s
    dy = y - b.y - b.vy * delay_s
    d = math.sqrt(dx * dx + dy * dy)
    if d < EPSILON or run_s <= 0.0:
        return d
    toward = (b.vx * dx + b.vy * dy) / d
    if toward < 0.0:
        stop_s = clip(-toward / brake_mps2, 0.0, run_s)
        d += stop_s * (-toward - 0.5 * brake_mps2 * stop_s)
        run_s -= stop_s
        faded_s = fade(run_s, tau_s)
        toward = 0.0
    if toward > top_mps:
        toward = top_mps
    go = top_mps * run_s - (top_mps - toward) * faded_s
    return d - (go if go > 0.0 else 0.0)


@njit
def gap_in(w, c, i, x, y, time_s):
    """Distance (metres) defender ``i`` can have to (x, y) in ``time_s``, as ``nearest_in``."""
    k = w.k
    delay = clip(time_s, 0.0, k.reaction_s)
    run = time_s - delay
    top = w.players[i].top_speed_mps
    faded = fade(run, k.sprint_tau_s)
    return gap_left(c.agents[i], top, k.brake_mps2, k.sprint_tau_s, x, y, delay, run, faded)


@njit
def nearest_in(w, c, x, y, time_s, skip):
    """Distance (metres) the nearest defender can have to (x, y) in ``time_s``: reaction, then the run.

    Below nothing it says by how many metres he could have run past it: how easily he is there.
    """
    k = w.k
    delay = clip(time_s, 0.0, k.reaction_s)
    run = time_s - delay
    faded = fade(run, k.sprint_tau_s)
    best = FAR_AWAY
    for i in range(N_SIDE, 2 * N_SIDE):
        if i != skip:
            d = gap_left(
                c.agents[i], w.players[i].top_speed_mps, k.brake_mps2, k.sprint_tau_s, x, y, delay, run, faded
            )
            if d < best:
                best = d
    return best


@njit
def expected_gap(base_m, share, least_m):
    """The gap (metres) to reckon with at a shot to come, from the least one that the defenders can reach."""
    gap = base_m + share * least_m
    return gap if gap > 0.3 else 0.3


@njit
def own_gaps(w, c, x, y, wait_s, trapped):
    """(nearest, second) gap (metres) at the release of one's own shot from (x, y) in ``wait_s``.

    Who already runs at him runs on, and so do the two of a trap that he has read; the nearest man goes up
    with him once he sees it, to ``contest_m``.
    """
    k = w.k
    faded = fade(wait_s, k.sprint_tau_s)
    seen = clip(k.reaction_s * k.dribble_reaction_share, 0.0, wait_s)
    first = FAR_AWAY
    second = FAR_AWAY
    _, who = nearest_defender(c, x, y)
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        d = distance(b.x, b.y, x, y)
        closing = (b.vx * (x - b.x) + b.vy * (y - b.y)) > k.closing_mps * d
        if trapped and (i == c.s.trapper_0 or i == c.s.trapper_1):
            closing = True
        if closing or i == who:
            top = w.players[i].top_speed_mps
            if closing:
                g = gap_left(b, top, k.brake_mps2, k.sprint_tau_s, x, y, 0.0, wait_s, faded)
            else:
                rest = wait_s - seen
                g = gap_left(
                    b, top, k.brake_mps2, k.sprint_tau_s, x, y, seen, rest, fade(rest, k.sprint_tau_s)
                )
            least = k.contest_m if d > k.contest_m else d
            d = g if g > least else least
        if d < first:
            second = first
            first = d
        elif d < second:
            second = d
    return first, second


@njit
def believed(p, offset, slope):
    """A raw chance as this level's players have learned to read it: slope and offset on its log odds."""
    p = clip(p, LEAST_P, 1.0 - LEAST_P)
    return logistic(offset + slope * math.log(p / (1.0 - p)))
