"""Drives as the handler weighs them, and what a numbers advantage is worth.

Three drives fan around the line to the rim; two go around a defender: a leg to the side, then to the rim.
Once begun a drive keeps its line: only whether to go on is weighed anew. Source of the rules: common
practice, no source.
"""

from __future__ import annotations

import math

from engine.kernel.forecast import expected_gap, fade, gap_in, gap_left, nearest_in
from engine.kernel.jit import njit
from engine.kernel.motion import EPSILON, clip, distance, logistic
from engine.kernel.near import FAR_AWAY
from engine.kernel.screens import shoulder, way_off
from engine.kernel.shooting import is_three, shot_value
from engine.state.arrays import N_DRIVES, N_SIDE
from engine.state.words import Action, Option, Screen, TrapPhase

DRIVE_TURN = math.radians(28.0)
#: A second defender this far away bothers nobody, metres.
NOBODY_M = 9.0
#: Metres a defender can be past a drive's end before it, or short of it: more tells no more.
MOST_EARLY_M, MOST_LATE_M = 4.0, 2.0


@njit
def ahead_points(w, c, x, y, receiver, time_s):
    """Points that a numbers advantage adds to the ball at (x, y) metres in ``time_s``.

    Attackers less defenders on the rim's side of the ball, each defender as near to the rim as the forecast
    has him; 0 to 2 more count, and count the more the nearer the ball is to the rim.
    """
    k = w.k
    d = distance(x, y, 0.0, 0.0)
    if d > k.numbers_reach_m:
        return 0.0
    delay = clip(time_s, 0.0, k.reaction_s)
    run = time_s - delay
    faded = fade(run, k.sprint_tau_s)
    n = 1
    for i in range(N_SIDE):
        a = c.agents[i]
        if i != receiver and distance(a.x, a.y, 0.0, 0.0) < d:
            n += 1
        top = w.players[i + N_SIDE].top_speed_mps
        if (
            gap_left(c.agents[i + N_SIDE], top, k.brake_mps2, k.sprint_tau_s, 0.0, 0.0, delay, run, faded)
            < d + 0.5
        ):
            n -= 1
    if n <= 0:
        return 0.0
    more = 1.0 if n == 1 else 2.0
    return more * k.numbers_value_points * (1.0 - d / k.numbers_reach_m)


@njit
def seen_phase(s):
    """The phase of the trap as far as the ball's holder knows: one that he has not read is none."""
    phase = s.trap_phase
    if phase == TrapPhase.COMING and s.now < s.trap_read_t:
        phase = TrapPhase.NONE + 0
    return phase


@njit
def by_phase(phase, home, coming, standing, after):
    """The belief that holds in this phase of a trap: none, on its way, set, just beaten."""
    if phase == TrapPhase.NONE:
        return home
    if phase == TrapPhase.COMING:
        return coming
    return standing if phase == TrapPhase.SET else after


@njit
def trap_points(k, s, home, after):
    """Points that a drive brings more or less (measured): ``home`` without a trap that he knows of, ``after``
    one."""
    trapped = k.belief_drive_trapped_points
    return by_phase(seen_phase(s), home, trapped, trapped, after)


@njit
def reach_chance(k, handle, end_gap_m, in_hand):
    """Chance that a drive ends in a shot of his own: by how early or late a defender can be at its end."""
    gap = clip(end_gap_m, -MOST_EARLY_M, MOST_LATE_M) + k.drive_handle_m * (handle - 0.5)
    z = k.belief_reach_base + k.belief_reach_per_m * gap
    return logistic(z + k.belief_reach_in_hand if in_hand else z)


@njit
def drive_value(w, c, o, ex, ey, time_s, carry, left_s, ahead, late):
    """Points of taking the drive ``o`` to its end at (ex, ey) in ``time_s``, defender ``late`` screened off.

    It ends in a shot of his own with the chance ``o.promise``, else it is stopped or passed out.
    """
    s = c.s
    k = w.k
    driving = s.action == Action.DRIVE
    then = time_s + 0.5 * k.rim_release_s
    o.gap = nearest_in(w, c, ex, ey, then, late)
    if late >= 0:
        his = gap_in(w, c, late, ex, ey, then - k.screen_lost_s)
        o.gap = his if his < o.gap else o.gap
    o.promise = reach_chance(k, w.players[s.handler].handle, o.gap, driving)
    gap = expected_gap(k.belief_end_gap_m, k.belief_end_gap_share, o.gap)
    d_end = distance(ex, ey, 0.0, 0.0)
    rhythm = s.rhythm if driving else 0.0
    shot = shot_value(w, s.handler, d_end, gap, NOBODY_M, is_three(w, ex, ey), left_s, True, rhythm)
    end = (shot if shot > carry else carry) + ahead + k.belief_end_points
    return o.promise * end + (1.0 - o.promise) * (carry + k.belief_kick_points)


@njit
def dribble_mps(w, c):
    """Speed at which the handler reckons to get through with the ball, m/s."""
    return w.players[c.s.handler].top_speed_mps * w.k.dribble_speed_share * 0.7


@njit
def go_on(w, c, carry, left_s):
    """The drive in hand: its line is kept, only what it is still worth is weighed anew."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    to_goal = distance(a.x, a.y, s.goal_x, s.goal_y)
    on = distance(s.goal_x, s.goal_y, s.end_x, s.end_y)
    if to_goal + on < k.arrival_radius_m:
        return
    time_s = (to_goal + on) / dribble_mps(w, c)
    ahead = ahead_points(w, c, a.x, a.y, s.handler, 0.7)
    o = c.weighed[Option.DRIVE_FAR_RIGHT + s.drive_way]
    o.value = drive_value(w, c, o, s.end_x, s.end_y, time_s, carry, left_s, ahead, -1)
    o.value += trap_points(k, s, k.belief_go_on_points, k.belief_go_on_after_points)
    o.x = s.goal_x
    o.y = s.goal_y
    o.end_x = s.end_x
    o.end_y = s.end_y


@njit
def weigh_drives(w, c, carry, left_s):
    """Values and goals of five drives: three fanned around the line to the rim, two around a defender.

    The outer two go a first leg to the side and turn to the rim from there; by a screen that is set the one
    on its side goes past the screener's free shoulder.
    """
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    d_rim = distance(a.x, a.y, 0.0, 0.0)
    base = math.atan2(-a.y, -a.x)
    length = clip(d_rim - 0.6, 0.3, k.drive_length_m)
    time_s = length / dribble_mps(w, c)
    ahead = ahead_points(w, c, a.x, a.y, s.handler, 0.7)
    more = trap_points(k, s, k.belief_drive_points, k.belief_drive_after_points)
    for m in range(N_DRIVES):
        angle = base + (m - 2) * DRIVE_TURN
        around = (m == 0 or m == N_DRIVES - 1) and length > k.drive_side_m
        first = k.drive_side_m if around else length
        gx = a.x + first * math.cos(angle)
        gy = a.y + first * math.sin(angle)
        late = -1
        if s.screen == Screen.SET and m == way_off(s):
            late = s.screened
            gx, gy = shoulder(k, c)
            first = distance(a.x, a.y, gx, gy)
            around = True
        gx = clip(gx, -w.rules.half_width_m + 0.5, w.rules.half_width_m - 0.5)
        gy = clip(gy, w.rules.baseline_y_m + 0.5, w.rules.half_y_m)
        ex = gx
        ey = gy
        if around:
            to_rim = distance(gx, gy, 0.0, 0.0)
            on = clip(length - first, 0.0, clip(to_rim - 0.6, 0.0, FAR_AWAY))
            if to_rim > EPSILON:
                ex = gx - gx / to_rim * on
                ey = gy - gy / to_rim * on
        o = c.weighed[Option.DRIVE_FAR_RIGHT + m]
        o.value = drive_value(w, c, o, ex, ey, time_s, carry, left_s, ahead, late) + more
        o.x = gx
        o.y = gy
        o.end_x = ex
        o.end_y = ey
