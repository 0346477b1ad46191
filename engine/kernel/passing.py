"""Passes: risk as the passer sees it, the release, the flight among hands, the catch, the loose ball.

A touch is a race of places: each defender has one threshold per pass; he touches the ball at the first
moment when the chance at his distance from the ball's path exceeds it. So the outcome does not depend on
the step length, and nothing is read from a table of results.
"""

from __future__ import annotations

import math

from engine.kernel import draws
from engine.kernel.forecast import fade, gap_left
from engine.kernel.jit import njit
from engine.kernel.log import event
from engine.kernel.motion import clip, distance, inside, point_to_segment, region_at
from engine.kernel.near import (
    BEYOND,
    CATCH_M,
    CHEST_M,
    NEVER,
    ball_height,
    defenders_within,
    nearest_defender,
    touch_chance,
)
from engine.kernel.rows import match_men, next_moment, read_pass, set_row, side_of
from engine.kernel.view import begin_look
from engine.state.arrays import MOST_SHADOW_SETTINGS, N_SIDE
from engine.state.words import (
    Action,
    Dribble,
    Event,
    Flight,
    Focus,
    Mode,
    Moment,
    PassKind,
    Region,
    TrapPhase,
)

TWO_PI = 2.0 * math.pi
RAMP_AT_M = 7.0  # the length at which a pass has its kind's speed
OVERHEAD = 0.92  # share of the standing reach at which an overhead pass leaves


@njit
def pass_speed(w, passer, kind, length_m):
    """Mean ball speed of a pass, m/s: by kind, faster for better passers and over longer ways.

    Short passes are flipped, long ones thrown: v(7 m) (1 - exp(-length / ramp)) / (1 - exp(-7 / ramp)), which
    follows the medians of tracking (movement of professional men 2015-16) to .3 m/s with a ramp of 4.9 m.
    """
    k = w.k
    v = k.pass_speed_direct_mps
    if kind == PassKind.BOUNCE:
        v = k.pass_speed_bounce_mps
    elif kind == PassKind.OVER:
        v = k.pass_speed_over_mps
    v *= (1.0 - math.exp(-length_m / k.pass_ramp_m)) / (1.0 - math.exp(-RAMP_AT_M / k.pass_ramp_m))
    return v * (1.0 + k.pass_skill_speed_share * (w.players[passer].passing - 0.5))


@njit
def release_time(w, c, passer):
    """Seconds from decision to release: slower with defenders on the passer."""
    k = w.k
    return k.pass_release_s + k.release_pressure_s * pressure(w, c, passer)


@njit
def pressure(w, c, passer):
    """Number of defenders within the pressure distance of the passer."""
    a = c.agents[passer]
    return defenders_within(c, a.x, a.y, w.k.pressure_within_m)


@njit
def start_height(w, passer, kind):
    """Height at which the ball leaves the passer's hands, metres."""
    if kind == PassKind.OVER:
        return OVERHEAD * w.players[passer].reach_m + 0.1
    return CHEST_M


@njit
def aim_sd(w, c, passer, kind, length_m, n_pressure):
    """Standard deviation (metres) of where the pass arrives, per axis."""
    k = w.k
    sd = k.aim_sd_per_m * length_m * (1.5 - w.players[passer].passing)
    sd *= 1.0 + k.aim_pressure_share * n_pressure
    if kind == PassKind.OVER:
        sd *= 1.0 + k.over_aim_share
    if n_pressure > 0 and c.s.dribble == Dribble.DEAD:
        sd *= 1.0 + k.dead_dribble_aim_share
    return sd


@njit
def near_share(k, along_m, left_m, n_pressure):
    """What is left of a touch near the ends of a pass (metres from passer and to the catch).

    The passer steps around one defender, less so around two; the receiver shields the ball with his body.
    """
    if along_m < k.passer_space_m:
        return k.near_touch_share if n_pressure < 2 else k.near_touch_trap_share
    return k.shield_share if left_m < k.receiver_space_m else 1.0


@njit
def arm_reach(w, c, i, stands):
    """How far to the side a defender's arms reach a ball that passes him, metres; ``stands``: in a set trap.

    The arms of two men who stand around the ball are up and spread: that is what narrows the passer's view.
    """
    if stands and (i == c.s.trapper_0 or i == c.s.trapper_1):
        return w.k.trap_arm_m
    return w.k.arm_reach_m


@njit
def on_passer_then(w, c, release_s, n_pressure):
    """(defenders on the passer, whether a trap stands around him) in ``release_s``, when the ball leaves.

    The two of a trap that he has read run on, as he sees; ``n_pressure`` are on him now.
    """
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    faded = fade(release_s, k.sprint_tau_s)
    n = n_pressure
    stands = True
    for m in range(2):
        i = s.trapper_0 if m == 0 else s.trapper_1
        b = c.agents[i]
        top = w.players[i].top_speed_mps
        then = gap_left(b, top, k.brake_mps2, k.sprint_tau_s, a.x, a.y, 0.0, release_s, faded)
        if then >= k.trap_set_m:
            stands = False
        if then < k.pressure_within_m and distance(b.x, b.y, a.x, a.y) >= k.pressure_within_m:
            n += 1
    return n, stands


@njit
def lane_risk(w, c, passer, receiver, tx, ty, kind, release_s, n_pressure, stands):
    """The passer's estimate that a pass to (tx, ty) is touched by a defender or missed by the receiver.

    ``n_pressure``, ``stands``: who will be on him when the ball leaves (``on_passer_then``). The receiver
    goes to where it really comes, as far as he gets from rest while it flies.
    """
    k = w.k
    a = c.agents[passer]
    length = distance(a.x, a.y, tx, ty)
    v = pass_speed(w, passer, kind, length)
    z0 = start_height(w, passer, kind)
    clean = 1.0
    share = k.bounce_touch_share if kind == PassKind.BOUNCE else 1.0
    arrive_s = release_s + length / v
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        arm = arm_reach(w, c, i, stands)
        # where he will be when he has taken the pass in, running on as he is
        lead_s = clip(arrive_s, 0.0, k.reaction_s)
        px = b.x + lead_s * b.vx
        py = b.y + lead_s * b.vy
        d, f = point_to_segment(px, py, a.x, a.y, tx, ty)
        reach = w.players[i].reach_m
        speed = w.players[i].top_speed_mps
        if d > arm + BEYOND * k.touch_width_m + k.risk_cover_share * speed * arrive_s:
            continue  # out of it even at full speed from the start: saves the exponentials
        x = a.x + f * (tx - a.x)
        y = a.y + f * (ty - a.y)
        run_s = release_s + f * length / v - k.reaction_s
        faded = fade(run_s, k.sprint_tau_s)
        d -= k.risk_cover_share * (
            d - gap_left(b, speed, k.brake_mps2, k.sprint_tau_s, x, y, lead_s, run_s, faded)
        )
        near = near_share(k, f * length, (1.0 - f) * length, n_pressure)
        touch = touch_chance(k, arm, d, ball_height(k, kind, f, z0), reach, share * near)
        if kind == PassKind.OVER:
            # over him here, but perhaps not where it comes down
            run_s = arrive_s - k.reaction_s
            d = distance(px, py, tx, ty)
            faded = fade(run_s, k.sprint_tau_s)
            d -= k.risk_cover_share * (
                d - gap_left(b, speed, k.brake_mps2, k.sprint_tau_s, tx, ty, lead_s, run_s, faded)
            )
            late = touch_chance(k, k.arm_reach_m, d, CATCH_M, reach, k.shield_share)
            touch = late if late > touch else touch
        clean *= 1.0 - touch
    sd = aim_sd(w, c, passer, kind, length, n_pressure)
    if sd > 1e-6:
        flight_s = length / v
        z = w.players[receiver].top_speed_mps * (flight_s - fade(flight_s, k.sprint_tau_s))
        z = (k.catch_radius_m + z) / sd
        clean *= 1.0 - math.exp(-0.5 * z * z)
    return 1.0 - clean * (1.0 - k.fumble_p - k.fumble_pressure_p * pressure(w, c, receiver))


@njit
def start_pass(w, c, target, kind, x, y):
    """The handler commits to a pass to ``target``, to be caught at (x, y) metres."""
    s = c.s
    k = w.k
    s.mode = Mode.PASS_WINDUP
    s.n_passes += 1
    s.target = target
    s.pass_kind = kind
    s.pass_x1 = x
    s.pass_y1 = y
    s.passer = s.handler
    s.release_t = s.due_t + release_time(w, c, s.handler)
    if kind == PassKind.OVER:
        s.release_t += k.over_release_s
    u, _, _, _ = draws.uniforms(s, draws.FAKE, 0, 0, s.n_passes)
    fake = u < k.fake_p * (0.5 + w.players[s.handler].passing)
    if fake:
        s.release_t += k.fake_s
        event(c, Event.FAKE, s.handler, target, 0.0, x, y)
    read_pass(w, c, target, x, y, fake)


@njit
def release_pass(w, c):
    """The ball leaves: aim error, flight time, the ball's new row for the defence."""
    s = c.s
    k = w.k
    a = c.agents[s.passer]
    n_pressure = pressure(w, c, s.passer)
    s.release_pressure = n_pressure
    u0, u1, _, _ = draws.uniforms(s, draws.AIM, 0, 0, s.n_passes)
    length = distance(a.x, a.y, s.pass_x1, s.pass_y1)
    error = aim_sd(w, c, s.passer, s.pass_kind, length, n_pressure) * math.sqrt(-2.0 * math.log(u0))
    ru = w.rules
    # where he means to throw it: where the receiver is going, never outside the lines
    tx = clip(s.pass_x1, -ru.half_width_m + 0.3, ru.half_width_m - 0.3)
    ty = clip(s.pass_y1, ru.baseline_y_m + 0.3, ru.far_y_m - 0.3)
    s.pass_x0 = a.x
    s.pass_y0 = a.y
    s.old_x = a.x
    s.old_y = a.y
    s.ball_x = a.x
    s.ball_y = a.y
    s.pass_z0 = start_height(w, s.passer, s.pass_kind)
    s.ball_z = s.pass_z0
    flight = length / pass_speed(w, s.passer, s.pass_kind, length)
    s.arrive_t = s.release_t + flight
    near = side_of(tx, s.near, k.side_hysteresis_m)
    region = region_at(w, tx, ty)
    moment = next_moment(region, near, s.region, s.moment, s.near)
    s.pass_is_skip = 1 if length > k.skip_distance_m and near != s.near else 0
    s.pass_missed_bump = 1 if region == Region.CORNER and moment == Moment.BEFORE_BUMP else 0
    if region == Region.WING and s.region == Region.CORNER and s.moment == Moment.BEFORE_BUMP:
        s.pass_missed_bump = 1
    s.pass_next_region = region
    s.pass_x1 = tx + error * math.cos(TWO_PI * u1)
    s.pass_y1 = ty + error * math.sin(TWO_PI * u1)
    s.mode = Mode.PASS_FLIGHT
    s.pass_share = 0.0
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        b.touch_u, _, _, _ = draws.uniforms(s, draws.TOUCH, i, 0, s.n_passes)
        if b.focus == Focus.BALL:
            b.focus = Focus.BEFORE_PASS
    if w.match_up == 1 and (s.matched == 0 or near != s.near):
        match_men(c)
    set_row(w, c, region, moment, near, 1.0)
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        if b.adopt_t < s.release_t + k.reaction_s:
            b.adopt_t = s.release_t + k.reaction_s  # still taking in a dribble: the pass is news all the same
    c.record.passes += 1
    c.record.skips += s.pass_is_skip
    event(c, Event.PASS, s.passer, s.target, float(s.pass_kind), s.pass_x1, s.pass_y1)


@njit
def fly(w, c):
    """One step of a pass in flight: what has become of it (Flight); a thief is ``s.target``."""
    s = c.s
    k = w.k
    total = s.arrive_t - s.release_t
    f0 = s.pass_share  # all of the flight since the last step, the stretch of the release step with it
    f1 = clip((s.t - s.release_t) / total, 0.0, 1.0) if total > 1e-9 else 1.0
    if s.now >= s.arrive_t:
        f1 = 1.0
    s.pass_share = f1
    ax = s.pass_x0 + f0 * (s.pass_x1 - s.pass_x0)
    ay = s.pass_y0 + f0 * (s.pass_y1 - s.pass_y0)
    bx = s.pass_x0 + f1 * (s.pass_x1 - s.pass_x0)
    by = s.pass_y0 + f1 * (s.pass_y1 - s.pass_y0)
    share = k.bounce_touch_share if s.pass_kind == PassKind.BOUNCE else 1.0
    first = 2.0
    who = -1
    for i in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[i]
        arm = arm_reach(w, c, i, s.trap_phase == TrapPhase.SET)
        d, f = point_to_segment(b.x, b.y, ax, ay, bx, by)
        if d > arm + BEYOND * k.touch_width_m:
            continue
        z = ball_height(k, s.pass_kind, f0 + f * (f1 - f0), s.pass_z0)
        along = distance(s.pass_x0, s.pass_y0, ax + f * (bx - ax), ay + f * (by - ay))
        left = distance(s.pass_x1, s.pass_y1, ax + f * (bx - ax), ay + f * (by - ay))
        near = near_share(k, along, left, s.release_pressure)
        if b.touch_u < touch_chance(k, arm, d, z, w.players[i].reach_m, share * near) and f < first:
            first = f
            who = i
    s.ball_x = bx
    s.ball_y = by
    s.ball_z = ball_height(k, s.pass_kind, f1, s.pass_z0)
    if who >= 0:
        s.ball_x = ax + first * (bx - ax)
        s.ball_y = ay + first * (by - ay)
        c.record.deflections += 1
        event(c, Event.TOUCH, who, s.passer, 0.0, s.ball_x, s.ball_y)
        _, u1, u2, u3 = draws.uniforms(s, draws.TOUCH, who, 0, s.n_passes)
        if u1 < k.clean_steal_p:
            s.target = who
            return Flight.STOLEN
        angle = TWO_PI * u2
        return drop(
            w,
            c,
            s.ball_x + k.deflection_m * (0.5 + u3) * math.cos(angle),
            s.ball_y + k.deflection_m * (0.5 + u3) * math.sin(angle),
            0.5,
            1,
        )
    if s.now < s.arrive_t:
        return Flight.FLYING
    r = c.agents[s.target]
    _, _, u2, _ = draws.uniforms(s, draws.AIM, 0, 0, s.n_passes)
    n_pressure = pressure(w, c, s.target)
    reached = distance(r.x, r.y, s.pass_x1, s.pass_y1) < k.catch_radius_m
    if reached and inside(w, r.x, r.y) and u2 >= k.fumble_p + k.fumble_pressure_p * n_pressure:
        return Flight.CAUGHT
    # past the receiver: it rolls on the way it was going
    length = distance(s.pass_x0, s.pass_y0, s.pass_x1, s.pass_y1)
    on = 1.0 if reached else 2.0
    if length < 1e-6:
        length = 1.0
    return drop(
        w,
        c,
        s.pass_x1 + on * (s.pass_x1 - s.pass_x0) / length,
        s.pass_y1 + on * (s.pass_y1 - s.pass_y0) / length,
        0.5,
        0,
    )


@njit
def drop(w, c, x, y, fall_s, by_defence):
    """The ball gets away to (x, y); Flight.OUT if that is outside the lines, else LOOSE."""
    s = c.s
    s.out_by_defence = by_defence
    s.ball_x = x
    s.ball_y = y
    s.ball_z = 0.2
    if not inside(w, x, y):
        return Flight.OUT
    s.mode = Mode.LOOSE
    s.loose_kind = 0
    s.loose_t = s.t + fall_s
    s.n_loose += 1
    event(c, Event.LOOSE, -1, -1, float(by_defence), x, y)
    return Flight.LOOSE


@njit
def take_ball(w, c, who):
    """Attacker ``who`` has the ball, dribble unused; counts and rows start from where he stands."""
    s = c.s
    k = w.k
    a = c.agents[who]
    s.handler = who
    s.mode = Mode.HELD
    s.action = Action.STAY
    s.dribble = Dribble.UNUSED
    a.go = 0
    s.catch_t = s.t
    s.look_t = s.stopped_t = -NEVER  # what he sees is new
    s.last_y = a.y
    if s.trap_phase == TrapPhase.COMING and s.trap_read_t < NEVER:
        # caught with the trap on its way: he reads it from the catch on
        s.trap_read_t = s.t + (s.trap_read_t - s.trap_t)
    begin_look(w, c, who)
    s.decide_t = s.t + k.catch_pause_s
    s.guarded_s = 0.0
    s.held_chance = 0
    for i in range(MOST_SHADOW_SETTINGS):
        c.shadow_held[i] = 0
    s.ball_x = a.x
    s.ball_y = a.y
    s.ball_z = CHEST_M
    near = side_of(a.x, s.near, k.side_hysteresis_m)
    region = region_at(w, a.x, a.y)
    if region != s.region or near != s.near:
        moment = next_moment(region, near, s.region, s.moment, s.near)
        set_row(w, c, region, moment, near, 1.0)


@njit
def catch(w, c):
    """The receiver holds the pass: close-out distances are tallied, the next decision is set."""
    s = c.s
    r = c.agents[s.target]
    gap, _ = nearest_defender(c, r.x, r.y)
    mm = int(gap * 1000.0 + 0.5)
    perimeter = s.pass_next_region == Region.WING or s.pass_next_region == Region.CORNER
    if s.trap_phase == TrapPhase.NONE and perimeter:
        if s.pass_missed_bump == 1:
            c.record.missed_bump_catches += 1
            c.record.missed_bump_gap_mm += mm
        elif s.pass_is_skip == 1:
            c.record.skip_catches += 1
            c.record.skip_gap_mm += mm
        else:
            c.record.next_catches += 1
            c.record.next_gap_mm += mm
    event(c, Event.CATCH, s.target, s.passer, gap, r.x, r.y)
    take_ball(w, c, s.target)
    c.agents[s.passer].find_s_per_m = 0.0  # he has just looked at him
    s.decide_t = s.arrive_t + w.k.catch_pause_s
    s.n_catches += 1
