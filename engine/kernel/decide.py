"""The handler's choice: shoot, hold, drive, retreat, split or pass, in points, with noise per option.

Each option has its own noise (Gumbel, the exponential race in logarithms), keyed by option, so two settings
that weigh the same options in the same situation choose alike. Source of the rules: common practice, no
source; falling threshold with the clock: Skinner 2012 (PLoS ONE 7(1):e30776), optimal stopping.
"""

from __future__ import annotations

import math

from engine.kernel import draws
from engine.kernel.drives import ahead_points, weigh_drives
from engine.kernel.jit import njit
from engine.kernel.log import event, option
from engine.kernel.motion import clip, distance, logistic, region_at
from engine.kernel.near import help_gap, side_index
from engine.kernel.offence import spot_of
from engine.kernel.passing import lane_risk, pass_speed, pressure, start_pass
from engine.kernel.shooting import effective_gap, is_three, shot_value
from engine.kernel.shots import start_shot
from engine.state.arrays import N_OPTIONS, N_SIDE
from engine.state.words import Action, Dribble, Event, Option, PassKind, Region, TrapPhase

NOT_AN_OPTION = -1e9
MOST_NOISE = 23.0  # -log(-log(u)) of the largest uniform, 1 - 2^-33, is 22.9
FARTHEST_SHOT_M = 9.2


@njit
def time_left(w, c):
    """Seconds the offence has for its attack: the shot clock, or without one its patience."""
    s = c.s
    ru = w.rules
    if ru.shot_clock_s > 0.0:
        return s.clock_s
    left = ru.patience_s - s.t
    return left if left > 4.0 else 4.0


@njit
def hold_value(w, patience, left_s, held_s):
    """Points the attack is worth if it goes on: falls to nothing with the clock, and as the ball sticks.

    ``patience`` (share, about 1) is this possession's own: some attacks run a play out, others shoot early.
    """
    k = w.k
    if left_s <= 0.8:
        return 0.0
    return patience * k.hold_value_points * (1.0 - math.exp(-(left_s - 0.8) / k.hold_tau_s)) - (
        k.hold_stale_points_per_s * held_s
    )


@njit
def weigh_pass(w, c, j, left_s, release_s, n_pressure, attack):
    """Value (points) and best kind of a pass to team-mate ``j``; where it goes is written beside it."""
    s = c.s
    k = w.k
    ru = w.rules
    a = c.agents[s.handler]
    b = c.agents[j]
    o = c.weighed[Option.PASS_1 + j]
    length = distance(a.x, a.y, b.x, b.y)
    if length < k.pass_shortest_m or length > k.pass_longest_m:
        return
    v = pass_speed(w, s.handler, PassKind.DIRECT)
    time_s = release_s + length / v
    lead = clip(time_s, 0.0, 0.7)
    x = clip(b.x + lead * b.vx, -ru.half_width_m + 0.4, ru.half_width_m - 0.4)
    y = clip(b.y + lead * b.vy, ru.baseline_y_m + 0.4, ru.far_y_m - 0.4)
    if s.front == 1 and y > ru.half_y_m - 0.2:
        if b.y > ru.half_y_m - 0.2:
            return
        y = ru.half_y_m - 0.3
    d_rim = distance(x, y, 0.0, 0.0)
    gap = help_gap(w, c, x, y, time_s + 0.6 * k.shot_release_s, -1)
    worth = hold_value(w, s.patience, left_s - time_s, 0.0) + k.movement_points
    region = region_at(w, x, y)
    if region == Region.HIGH_POST or region == Region.ELBOW:
        worth += k.middle_touch_points
    elif region == Region.SHORT_CORNER or region == Region.LOW_POST or region == Region.LANE:
        worth += k.post_up_points
    ahead = ahead_points(w, c, x, y, j, time_s + 0.4)
    worth += ahead
    if attack and d_rim > distance(a.x, a.y, 0.0, 0.0):
        worth -= k.urgency_points
    if d_rim < FARTHEST_SHOT_M and left_s > time_s + 0.3:
        shot = shot_value(w, j, d_rim, gap, is_three(w, x, y), left_s - time_s, False)
        if shot > worth:
            worth = shot
    risk = lane_risk(w, c, s.handler, x, y, PassKind.DIRECT, release_s, n_pressure, True)
    kind = PassKind.DIRECT
    if risk > 0.06:
        over_s = release_s + k.over_release_s
        over = lane_risk(w, c, s.handler, x, y, PassKind.OVER, over_s, n_pressure, False)
        if over < risk:
            risk = over
            kind = PassKind.OVER
        if length < k.bounce_longest_m:
            bounce = lane_risk(w, c, s.handler, x, y, PassKind.BOUNCE, release_s, n_pressure, False)
            if bounce < risk:
                risk = bounce
                kind = PassKind.BOUNCE
    o.value = (1.0 - risk) * worth - risk * k.turnover_dread_points
    o.x = x
    o.y = y
    o.kind = kind


@njit
def weigh_trap_moves(w, c, hold):
    """Retreat and split, while the trap is not set and the dribble is alive."""
    s = c.s
    k = w.k
    ru = w.rules
    a = c.agents[s.handler]
    t0 = c.agents[s.trapper_0]
    t1 = c.agents[s.trapper_1]
    mx = 0.5 * (t0.x + t1.x)
    my = 0.5 * (t0.y + t1.y)
    away = distance(a.x, a.y, mx, my)
    if away < 1e-6:
        return
    ux = (a.x - mx) / away
    uy = (a.y - my) / away
    gx = clip(a.x + 3.2 * ux, -ru.half_width_m + 0.5, ru.half_width_m - 0.5)
    top = ru.half_y_m - 0.4 if s.front == 1 else ru.far_y_m - 0.4
    gy = clip(a.y + 3.2 * uy + 0.8, ru.baseline_y_m + 0.5, top)
    room = distance(a.x, a.y, gx, gy)
    d0 = distance(a.x, a.y, t0.x, t0.y)
    d1 = distance(a.x, a.y, t1.x, t1.y)
    near = d0 if d0 < d1 else d1
    # room to go and a lead on the trappers make a retreat worth something
    o = c.weighed[Option.RETREAT]
    o.value = (
        hold
        + k.trap_dread_points * room / 3.2
        - k.retreat_penalty_points
        + 0.05 * clip(near - 1.5, -1.0, 2.0)
    )
    o.x = gx
    o.y = gy
    o.end_x = gx
    o.end_y = gy
    between = distance(t0.x, t0.y, t1.x, t1.y)
    if d0 < 3.5 and d1 < 3.5 and between > 2.0 * k.body_radius_m + k.split_gap_m:
        # they close while he comes
        time_s = away / (w.players[s.handler].top_speed_mps * k.dribble_speed_share)
        closing = k.trapper_closing_share * time_s * w.players[s.trapper_0].top_speed_mps
        through = logistic(
            (
                between
                - 2.0 * closing
                - 2.0 * k.body_radius_m
                - 2.0 * k.split_gap_m
                + 0.6 * (w.players[s.handler].handle - 0.5)
            )
            / k.split_width_m
        )
        o = c.weighed[Option.SPLIT]
        o.value = through * (hold + k.trap_dread_points + k.numbers_value_points) + (
            (1.0 - through) * (hold - 0.5)
        )
        o.x = mx + (mx - a.x) / away * 1.6
        o.y = my + (my - a.y) / away * 1.6
        o.end_x = o.x
        o.end_y = o.y


@njit
def noise(u, scale):
    """Gumbel noise of one option, points."""
    return -scale * math.log(-math.log(u))


@njit
def decide(w, c):
    """One decision of the handler: weighs the options, adds each option's noise, starts the best."""
    s = c.s
    k = w.k
    ru = w.rules
    a = c.agents[s.handler]
    p = w.players[s.handler]
    s.n_decisions += 1
    s.due_t = s.decide_t if abs(s.decide_t - s.t) <= k.time_step_s else s.t
    s.decide_t = s.due_t + k.decision_period_s
    trapped = s.trap_phase == TrapPhase.SET or (s.trap_phase == TrapPhase.COMING and s.now >= s.trap_read_t)
    left = time_left(w, c)
    region = region_at(w, a.x, a.y)
    n_pressure = pressure(w, c, s.handler)
    d_rim = distance(a.x, a.y, 0.0, 0.0)
    bringing_up = s.action == Action.DRIBBLE_TO and d_rim > ru.arc_m + k.bring_up_free_m
    if (
        (region == Region.BACKCOURT or bringing_up)
        and not trapped
        and n_pressure == 0
        and s.dribble != Dribble.DEAD
    ):
        if s.action != Action.DRIBBLE_TO:
            role = w.spot_role_of[side_index(s.near), s.handler]
            s.action = Action.DRIBBLE_TO
            s.dribble = Dribble.DRIBBLING
            s.goal_x = w.spots[Region.TOP, role, 0] * s.near
            s.goal_y = w.spots[Region.TOP, role, 1]
        return
    for o in range(N_OPTIONS):
        c.weighed[o].value = NOT_AN_OPTION
    if s.action == Action.DRIBBLE_TO:
        s.stale_t = s.t
    held = s.t - s.stale_t
    hold = hold_value(w, s.patience, left, held)
    if trapped:
        hold -= k.trap_dread_points
    elif s.trap_phase == TrapPhase.AFTER:
        hold -= k.urgency_points
    if ru.closely_guarded_s > 0.0 and s.guarded_s > ru.closely_guarded_s - 1.5:
        hold -= 0.4
    late_in_lane = a.lane_t - (ru.three_seconds_s - k.lane_margin_s)
    if ru.three_seconds_s > 0.0 and late_in_lane > 0.0:
        hold -= 0.5 * late_in_lane
    c.weighed[Option.HOLD].value = hold
    if d_rim < FARTHEST_SHOT_M or left < 1.5:
        # where he will be when he has stopped and gone up
        pace = math.sqrt(a.vx * a.vx + a.vy * a.vy)
        sx = a.x + a.vx * pace / (2.0 * k.brake_mps2)
        sy = a.y + a.vy * pace / (2.0 * k.brake_mps2)
        gap, _ = effective_gap(w, c, s.handler, sx, sy)
        dribbled = s.dribble == Dribble.DRIBBLING
        c.weighed[Option.SHOOT].value = shot_value(
            w, s.handler, distance(sx, sy, 0.0, 0.0), gap * 0.9, is_three(w, sx, sy), left, dribbled
        )
    if s.dribble != Dribble.DEAD and s.trap_phase != TrapPhase.SET and d_rim < 9.0 and d_rim > 0.8:
        weigh_drives(w, c, hold, left)
    if trapped and s.dribble != Dribble.DEAD and s.trap_phase == TrapPhase.COMING:
        weigh_trap_moves(w, c, hold)
    release_s = k.pass_release_s + k.release_pressure_s * n_pressure
    for j in range(N_SIDE):
        if j != s.handler:
            weigh_pass(w, c, j, left, release_s, n_pressure, s.trap_phase == TrapPhase.AFTER)
    scale = k.noise_points * (1.5 - p.passing)
    best = NOT_AN_OPTION
    chosen: int = Option.HOLD
    u0, u1, u2, u3 = draws.uniforms(s, draws.CHOICE, 0, 0, s.n_decisions)
    v0, v1, v2, v3 = draws.uniforms(s, draws.CHOICE, 1, 0, s.n_decisions)
    for o in range(N_OPTIONS):
        value = c.weighed[o].value
        if value <= NOT_AN_OPTION or value + MOST_NOISE * scale <= best:
            continue  # not even the largest noise would make it the best
        if o == Option.SHOOT:
            u = u0
        elif o == Option.HOLD:
            u = u1
        elif o == Option.RETREAT:
            u = u2
        elif o == Option.SPLIT:
            u = u3
        elif o < Option.RETREAT:
            u = v0
            if o == Option.DRIVE_RIGHT:
                u = v1
            elif o == Option.DRIVE_AT_RIM:
                u = v2
            elif o == Option.DRIVE_LEFT:
                u = v3
            elif o == Option.DRIVE_FAR_LEFT:
                u, _, _, _ = draws.uniforms(s, draws.CHOICE, 2, 0, s.n_decisions)
        else:
            u, _, _, _ = draws.uniforms(s, draws.CHOICE, 3 + o - Option.PASS_1, 0, s.n_decisions)
        value += noise(u, scale)
        if value > best:
            best = value
            chosen = o
    if s.watched == 1:
        for o in range(N_OPTIONS):
            if c.weighed[o].value > NOT_AN_OPTION:
                option(c, s.handler, o, c.weighed[o].value, 1.0 if o == chosen else 0.0)
    act(w, c, chosen)


@njit
def act(w, c, chosen):
    """Starts the chosen option."""
    s = c.s
    k = w.k
    o = c.weighed[chosen]
    a = c.agents[s.handler]
    if chosen == Option.SHOOT:
        start_shot(w, c)
    elif chosen == Option.HOLD:
        if s.action == Action.DRIVE or s.action == Action.SPLIT or s.action == Action.RETREAT:
            s.action = Action.STAY
            u, _, _, _ = draws.uniforms(s, draws.PICK_UP, 0, 0, s.n_decisions)
            if u < k.pick_up_p:
                s.dribble = Dribble.DEAD
                s.picked_up = 1
                event(c, Event.PICK_UP, s.handler, -1, 0.0, a.x, a.y)
        elif (
            s.action == Action.STAY
            and s.dribble != Dribble.DEAD
            and s.trap_phase != TrapPhase.COMING
            and (s.trap_phase != TrapPhase.SET)
        ):
            x, y = spot_of(w, c, s.handler)
            if distance(x, y, a.x, a.y) > 2.5 and s.t - s.catch_t > 0.5:
                s.action = Action.DRIBBLE_TO
                s.dribble = Dribble.DRIBBLING
                s.goal_x = x
                s.goal_y = y
    elif chosen >= Option.PASS_1:
        s.action = Action.STAY
        start_pass(w, c, chosen - Option.PASS_1, o.kind, o.x, o.y)
    else:
        if s.action != Action.DRIVE and chosen < Option.RETREAT:
            s.drive_t = s.t
            c.record.drives += 1
            event(c, Event.DRIVE, s.handler, -1, o.value, a.x, a.y)
        if chosen == Option.RETREAT:
            s.action = Action.RETREAT
            event(c, Event.RETREAT, s.handler, -1, o.value, a.x, a.y)
        elif chosen == Option.SPLIT:
            s.action = Action.SPLIT
            event(c, Event.SPLIT, s.handler, -1, o.value, a.x, a.y)
        else:
            s.action = Action.DRIVE
        s.dribble = Dribble.DRIBBLING
        s.goal_x = o.x
        s.goal_y = o.y
        s.end_x = o.end_x
        s.end_y = o.end_y
