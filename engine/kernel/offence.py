"""Where the attackers want to be: alignment spots, the break of a trap, coming to the pass, the dribble."""

from __future__ import annotations

import math

from engine.kernel import draws
from engine.kernel.jit import njit
from engine.kernel.motion import EPSILON, clip, distance
from engine.kernel.near import FAR_AWAY, side_index
from engine.kernel.plays import run_plays
from engine.kernel.screens import BESIDE_M, follow_screen
from engine.state.arrays import N_BREAKS, N_SIDE
from engine.state.words import (
    Action,
    Mode,
    Region,
    Screen,
    TrapPhase,
)

#: Down a side: the ball is taken this far from the sideline and this far over half court, metres.
SIDELINE_M, SIDE_GOAL_M = 1.8, 4.0
#: A driver heeds a body in his way from so near on, metres: no source.
BY_SIDE_M = 1.5


@njit
def jitter(w, c):
    """Nobody stands just where he should: attackers' spots and defenders' gaps, anew at every re-spacing."""
    s = c.s
    k = w.k
    s.n_jitter += 1
    for i in range(N_SIDE):
        u0, u1, _, _ = draws.uniforms(s, draws.SPOT, i, 0, s.n_jitter)
        c.agents[i].dx = (2.0 * u0 - 1.0) * k.spot_spread_m
        c.agents[i].dy = (2.0 * u1 - 1.0) * k.spot_spread_m
    if s.mode == Mode.HELD and s.action == Action.DRIVE:
        return  # who has a drive to stop is where he is
    for i in range(N_SIDE, 2 * N_SIDE):
        u0, u1, _, _ = draws.uniforms(s, draws.SPOT, i, 0, s.n_jitter)
        c.agents[i].gap_share = math.exp(k.gap_spread * draws.normal(u0, u1))


@njit
def spot_of(w, c, i):
    """Alignment spot (x, y) metres of attacker ``i`` for the row the offence acts on."""
    s = c.s
    ru = w.rules
    role = w.spot_role_of[side_index(s.spot_side), i]
    x = w.spots[s.spot_region, role, 0] * s.spot_side + c.agents[i].dx
    y = w.spots[s.spot_region, role, 1] + c.agents[i].dy
    return (
        clip(x, -ru.half_width_m + 0.35, ru.half_width_m - 0.35),
        clip(y, ru.baseline_y_m + 0.35, ru.far_y_m - 0.35),
    )


@njit
def reading_delay(w, first_s):
    """Seconds to read a trap: ``first_s`` when none has been seen, shrinking with those seen in the game."""
    k = w.k
    delay = first_s * math.exp(-k.readiness_per_trap * w.rules.traps_seen)
    return delay if delay > k.read_delay_least_s else k.read_delay_least_s


@njit
def assign_break(w, c):
    """At a call: each team-mate gets a reading time and a place of the trap break.

    Places go to whoever is nearest, in the order flash to the middle, behind the ball, up the line, far.
    """
    s = c.s
    k = w.k
    delay = reading_delay(w, k.read_delay_s)
    for i in range(N_SIDE):
        a = c.agents[i]
        a.break_role = -1
        u, _, _, _ = draws.uniforms(s, draws.READ, i, 0, s.trap_number)
        a.read_t = s.trap_t + clip(
            delay + (2.0 * u - 1.0) * k.read_delay_spread_s, k.read_delay_least_s, FAR_AWAY
        )
    for n in range(N_BREAKS):
        place = n
        if n == 0:
            place = 1
        elif n == 1:
            place = 0
        x = w.breaks[s.trap_call, place, 0] * s.trap_side
        y = w.breaks[s.trap_call, place, 1]
        best = FAR_AWAY
        who = -1
        for i in range(N_SIDE):
            a = c.agents[i]
            if i == s.trap_handler or a.break_role >= 0:
                continue
            d = distance(a.x, a.y, x, y)
            if d < best:
                best = d
                who = i
        if who >= 0:
            c.agents[who].break_role = place


@njit
def off_ball(w, c, i):
    """Target and pace of an attacker without the ball."""
    s = c.s
    k = w.k
    ru = w.rules
    a = c.agents[i]
    a.sliding = 0
    a.speed_share = k.off_ball_speed_share
    trapped = s.trap_phase == TrapPhase.COMING or s.trap_phase == TrapPhase.SET
    if s.mode == Mode.PASS_FLIGHT and i == s.target:
        # comes to meet the ball, until his hands reach it
        if distance(a.x, a.y, s.pass_x1, s.pass_y1) < k.hands_m:
            a.tx = a.x
            a.ty = a.y
        else:
            a.tx = clip(s.pass_x1, -ru.half_width_m, ru.half_width_m)
            a.ty = clip(s.pass_y1, ru.baseline_y_m, ru.far_y_m)
        a.speed_share = 1.0
        return
    if s.mode == Mode.PASS_WINDUP and i == s.target:
        a.tx = s.pass_x1
        a.ty = s.pass_y1
        a.speed_share = 1.0
        return
    if s.mode == Mode.SHOT_FLIGHT or s.mode == Mode.LOOSE:
        a.speed_share = 1.0
        if s.mode == Mode.LOOSE and distance(a.x, a.y, s.ball_x, s.ball_y) < 6.0:
            a.tx = s.ball_x
            a.ty = s.ball_y
            return
        if crashes(w, c, i):
            d = distance(a.x, a.y, 0.0, 0.0)
            if d > 1.5:
                a.tx = a.x / d * 1.5
                a.ty = a.y / d * 1.5
            return
        a.tx = a.x * 0.9
        a.ty = clip(a.y + 1.0, 0.0, ru.half_y_m)
        return
    if trapped and s.begun >= a.read_t and a.break_role >= 0:
        x = w.breaks[s.trap_call, a.break_role, 0] * s.trap_side
        y = w.breaks[s.trap_call, a.break_role, 1]
        # comes to meet the pass, but stays out of the trappers' arms
        h = c.agents[s.trap_handler]
        d = distance(x, y, h.x, h.y)
        if d > EPSILON:
            share = k.meet_pass_m
            if d - share < k.break_least_m:
                share = d - k.break_least_m
            x += (h.x - x) * share / d
            y += (h.y - y) * share / d
        a.tx = clip(x, -ru.half_width_m + 0.35, ru.half_width_m - 0.35)
        a.ty = clip(y, ru.baseline_y_m + 0.35, ru.far_y_m)
        if half_line_holds(w, s) and a.ty > ru.half_y_m - 0.5:
            a.ty = ru.half_y_m - 0.5
        a.speed_share = 1.0
        leave_lane(w, a)
        return
    if a.go == 1 and s.begun >= a.go_t:
        a.tx = a.go_x
        a.ty = a.go_y
        a.speed_share = a.go_pace
        leave_lane(w, a)
        return
    x, y = spot_of(w, c, i)
    a.tx = x
    a.ty = y
    if s.trap_phase == TrapPhase.AFTER:
        a.speed_share = k.attack_speed_share
    if s.region == Region.BACKCOURT:
        a.speed_share = 0.8
    leave_lane(w, a)


@njit
def half_line_holds(w, s):
    """True if the ball, once across half court, may not go back: the rule set has a backcourt rule."""
    return s.front == 1 and w.rules.backcourt_s > 0.0


@njit
def leave_lane(w, a):
    """Who has stood in the lane too long steps out before the count ends."""
    ru = w.rules
    if ru.three_seconds_s > 0.0 and a.lane_t > ru.three_seconds_s - w.k.lane_margin_s:
        out = ru.lane_half_width_m + 0.6
        a.tx = out if a.x >= 0.0 else -out
        a.ty = a.y
        a.speed_share = 1.0


@njit
def crashes(w, c, i):
    """True for who goes for the offensive rebound: the ``crash_n`` nearest to the rim who are near enough."""
    k = w.k
    mine = distance(c.agents[i].x, c.agents[i].y, 0.0, 0.0)
    if mine > k.crash_within_m:
        return False
    n = 0
    for j in range(N_SIDE):
        if j != i and distance(c.agents[j].x, c.agents[j].y, 0.0, 0.0) < mine:
            n += 1
    return n < k.crash_n


@njit
def blocker(w, c):
    """Agent index of a defender standing in the dribbler's way, -1 none."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    gx = s.goal_x - a.x
    gy = s.goal_y - a.y
    g = math.sqrt(gx * gx + gy * gy)
    if g < EPSILON:
        return -1
    # between two trappers there is room for a body or there is not
    path = 2.0 * k.body_radius_m - 0.06 if s.action == Action.SPLIT else k.block_path_m
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        rx = b.x - a.x
        ry = b.y - a.y
        r = math.sqrt(rx * rx + ry * ry)
        if r > 2.0 * k.body_radius_m + 0.25 or r < EPSILON:
            continue
        if (rx * gx + ry * gy) / (r * g) > 0.3 and abs(rx * gy - ry * gx) / g < path:
            return i
    return -1


@njit
def bring_up_goal(w, c):
    """Where the ball is brought: to the top, or down a side if the first man in the way shuts the middle."""
    s = c.s
    k = w.k
    ru = w.rules
    a = c.agents[s.handler]
    side = 1.0 if a.x >= 0.0 else -1.0
    first = k.steer_m
    inside = False
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        d = distance(a.x, a.y, b.x, b.y)
        if b.y < a.y and d < first:
            first = d
            inside = (a.x - b.x) * side > k.steer_off_m
    y = ru.half_y_m - SIDE_GOAL_M
    if inside and a.y > y + k.arrival_radius_m:
        return side * (ru.half_width_m - SIDELINE_M), y
    role = w.spot_role_of[side_index(s.near), s.handler]
    return w.spots[Region.TOP, role, 0] * s.near + a.dx, w.spots[Region.TOP, role, 1] + a.dy


@njit
def two_ahead(w, c, within_m):
    """True if two defenders wait between the dribbler and the rim within ``within_m`` metres of him."""
    a = c.agents[c.s.handler]
    n = 0
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        if b.y < a.y + 0.5 and distance(a.x, a.y, b.x, b.y) < within_m:
            n += 1
    return n >= 2


@njit
def veer(w, c):
    """Bringing the ball up he gives way to the side a defender in front of him leaves open."""
    k = w.k
    ru = w.rules
    a = c.agents[c.s.handler]
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        d = distance(a.x, a.y, b.x, b.y)
        if d < k.veer_m and b.y < a.y:
            away = 1.0 if a.x >= b.x else -1.0
            a.tx = clip(a.tx + away * (k.veer_m - d), -ru.half_width_m + 0.6, ru.half_width_m - 0.6)


@njit
def onward(a, gx, gy, ex, ey):
    """How far the way from the goal to the end leads on in the direction from ``a`` to the goal, metres."""
    d = distance(a.x, a.y, gx, gy)
    if d < EPSILON:
        return 0.0
    return clip(((gx - a.x) * (ex - gx) + (gy - a.y) * (ey - gy)) / d, 0.0, FAR_AWAY)


@njit
def is_free(w, c, x, y, skip):
    """True if a driver could be at (x, y): on the court and in no other defender's body than ``skip``'s."""
    ru = w.rules
    if abs(x) > ru.half_width_m - 0.5 or y < ru.baseline_y_m + 0.5:
        return False
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        if i != skip and distance(x, y, b.x, b.y) < 2.0 * w.k.body_radius_m:
            return False
    return True


@njit
def by_side(w, c, a):
    """A driver aims beside the first body in his way that is slower than he: on the side that he is going to.

    If that is taken, on the other; if both are, he goes where he wanted.
    """
    k = w.k
    d = distance(a.x, a.y, a.tx, a.ty)
    if d < EPSILON:
        return
    ux = (a.tx - a.x) / d
    uy = (a.ty - a.y) / d
    pace = a.vx * ux + a.vy * uy
    room = 2.0 * k.body_radius_m + BESIDE_M
    first = BY_SIDE_M if BY_SIDE_M < d else d
    who = -1
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        along = (b.x - a.x) * ux + (b.y - a.y) * uy
        aside = ux * (b.y - a.y) - uy * (b.x - a.x)
        if 0.0 < along < first and abs(aside) < room and b.vx * ux + b.vy * uy <= pace:
            first = along
            who = i
    if who < 0:
        return
    b = c.agents[who]
    turn = a.vx * (b.y - a.y) - a.vy * (b.x - a.x)
    if abs(turn) < EPSILON:
        turn = float(c.s.near)
    side = room if turn < 0.0 else -room
    for _ in range(2):
        x = b.x - uy * side
        y = b.y + ux * side
        if is_free(w, c, x, y, who):
            a.further_m += onward(a, x, y, a.tx, a.ty)
            a.tx = x
            a.ty = y
            return
        side = -side


@njit
def with_ball(w, c):
    """Target and pace of the handler: standing, driving, dribbling to a spot, retreating or splitting."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    a.sliding = 0
    if s.mode != Mode.HELD or s.action == Action.STAY:
        a.tx = a.x
        a.ty = a.y
        a.speed_share = 0.5
        return
    if s.action == Action.DRIVE and distance(a.x, a.y, s.goal_x, s.goal_y) < k.arrival_radius_m:
        s.goal_x = s.end_x  # past the defender: to the rim
        s.goal_y = s.end_y
    a.tx = s.goal_x
    a.ty = s.goal_y
    if s.action == Action.DRIVE:
        a.further_m = onward(a, s.goal_x, s.goal_y, s.end_x, s.end_y)
        if s.screen != Screen.SET:  # off a screen he goes by the screener
            by_side(w, c, a)
    share = k.dribble_speed_share * (0.9 + 0.2 * w.players[s.handler].handle)
    if s.action == Action.RETREAT:
        share *= k.retreat_speed_share
    elif s.action == Action.DRIBBLE_TO:
        share *= k.bring_up_speed_share
        if two_ahead(w, c, k.slow_two_m):
            share *= k.slow_two_share
        veer(w, c)
    a.speed_share = share


@njit
def offence_targets(w, c):
    """Sets targets and pace of the five attackers for this step."""
    s = c.s
    if s.begun >= s.spot_t:
        if s.spot_region != s.region or s.spot_side != s.near:
            s.spot_region = s.region
            s.spot_side = s.near
            jitter(w, c)
        s.spot_t = FAR_AWAY * FAR_AWAY
    follow_screen(w, c)
    run_plays(w, c)
    in_hand = s.mode == Mode.HELD or s.mode == Mode.PASS_WINDUP or s.mode == Mode.SHOT_WINDUP
    for i in range(N_SIDE):
        c.agents[i].further_m = 0.0
        if in_hand and i == s.handler:
            with_ball(w, c)
        else:
            off_ball(w, c, i)
