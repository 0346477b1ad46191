"""Where each defender wants to be, and when he learns that the ball has moved on.

A defender acts on a row (region, moment, near side) of the slide table that he adopts some time after the
ball's row has changed: reaction delay after a release or a dribble, less when he anticipates, wrong when
he guesses wrong. The tables are data; this file only turns an entry into a target point.
"""

from __future__ import annotations

import math

from engine.kernel.jit import njit

from engine.kernel import draws
from engine.kernel.log import EV, event
from engine.kernel.motion import EPSILON, clip, cover_m, distance, logistic, point_to_segment, region_at
from engine.kernel.shooting import table_logit
from engine.policies.jobs import BEHIND, DENY, FRONT, IF_SHOOTER, ON_BALL, TRAP
from engine.state import (
    HELD,
    LOOSE,
    MOMENTS,
    N_SIDE,
    PASS_FLIGHT,
    PASS_WINDUP,
    REGIONS,
    SHOT_FLIGHT,
    TRAP_AFTER,
    TRAP_COMING,
    TRAP_SET,
)

BACKCOURT = REGIONS.index("backcourt")
TOP = REGIONS.index("top")
SLOT = REGIONS.index("slot")
WING = REGIONS.index("wing")
CORNER = REGIONS.index("corner")
SETTLED = MOMENTS.index("settled")
BEFORE_BUMP = MOMENTS.index("before_bump")
AFTER_BUMP = MOMENTS.index("after_bump")
REVERSAL = MOMENTS.index("reversal")
BUMP_EVENT = EV["bump"]
FAR_AWAY = 99.0
NEVER = 1e9


@njit
def side_index(near):
    """0 when the near side is left, 1 when it is right."""
    return 1 if near > 0 else 0


@njit
def side_of(x, near, hysteresis_m):
    """Near side for a ball at ``x``: keeps the latched one within the hysteresis of the middle."""
    if x > hysteresis_m:
        return 1
    if x < -hysteresis_m:
        return -1
    return near


@njit
def next_moment(region, near, old_region, old_moment, old_near):
    """Which row of the new region applies, from where the ball came (model of the 2-3's bump).

    To the wing from above on the same side: the bump is still to come; from the other side: reversal;
    back out of the corner or post: the guard has it. To the corner before the bump: its own row. To the top
    from a wing or deeper: reversal.
    """
    above = old_region == BACKCOURT or old_region == TOP or old_region == SLOT
    if region == WING:
        if old_region == WING and old_near == near:
            return old_moment
        if near != old_near:
            return REVERSAL
        if above:
            return BEFORE_BUMP
        return AFTER_BUMP
    if region == CORNER:
        if old_region == CORNER and old_near == near:
            return old_moment
        if old_region == WING and old_near == near and (old_moment == BEFORE_BUMP or old_moment == REVERSAL):
            return BEFORE_BUMP
        return SETTLED
    if region == TOP or region == SLOT:
        if old_region == region and old_near == near:
            return old_moment
        if old_region == BACKCOURT:
            return SETTLED
        if region == SLOT and old_region == SLOT:
            return REVERSAL
        if above:
            return SETTLED
        return REVERSAL
    return SETTLED


@njit
def set_row(w, c, region, moment, near, delay_share):
    """The ball's row becomes (region, moment, near); every defender adopts it after his reaction."""
    s = c.s
    k = w.k
    s.region = region
    s.moment = moment
    s.near = near
    s.spot_t = s.t + k.reaction_s
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        if a.adopt_t >= NEVER:
            a.adopt_t = s.t + k.reaction_s * delay_share


@njit
def adopt_now(c, i):
    """Defender ``i`` takes over the ball's current row at once."""
    s = c.s
    a = c.agents[i]
    a.region = s.region
    a.moment = s.moment
    a.side = s.near
    a.focus = 0
    a.adopt_t = NEVER


@njit
def person_in_role(w, c, role):
    """Agent index of the defender who holds a role now (near side as the ball's row has it)."""
    s = c.s
    return N_SIDE + w.person_of[side_index(s.near), role]


@njit
def nearest_defender(c, x, y):
    """(distance, agent index) of the defender nearest to a point."""
    best = FAR_AWAY
    who = N_SIDE
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        d = distance(a.x, a.y, x, y)
        if d < best:
            best = d
            who = i
    return best, who


@njit
def nearest_attacker(c, x, y, within_m, skip):
    """Index of the attacker nearest to a point within a radius, the ball's holder left out; -1 none."""
    best = within_m
    who = -1
    for i in range(N_SIDE):
        if i == skip:
            continue
        a = c.agents[i]
        d = distance(a.x, a.y, x, y)
        if d < best:
            best = d
            who = i
    return who


@njit
def follow_ball(w, c):
    """Rows follow the dribble; the bump and the reversal end when a defender has come to the ball."""
    s = c.s
    k = w.k
    if s.mode != HELD:
        return
    h = c.agents[s.handler]
    near = side_of(h.x, s.near, k.side_hysteresis_m)
    region = region_at(w, h.x, h.y)
    if region != s.region or near != s.near:
        moment = next_moment(region, near, s.region, s.moment, s.near)
        set_row(w, c, region, moment, near, k.dribble_reaction_share)
        return
    if region == WING and (s.moment == BEFORE_BUMP or s.moment == REVERSAL):
        g = c.agents[person_in_role(w, c, w.rules.bump_role)]
        if distance(g.x, g.y, h.x, h.y) < k.bump_m:
            event(c, BUMP_EVENT, s.handler, -1, s.t - s.catch_t, h.x, h.y)
            set_row(w, c, region, AFTER_BUMP, near, k.dribble_reaction_share)
    elif s.moment == REVERSAL or (region == CORNER and s.moment == BEFORE_BUMP):
        d, _ = nearest_defender(c, h.x, h.y)
        if d < k.bump_m:
            set_row(w, c, region, SETTLED, near, k.dribble_reaction_share)


@njit
def place_target(a, x, y):
    """Sets the target point of an agent."""
    a.tx = x
    a.ty = y


@njit
def toward_rim(x, y, gap_m):
    """The point ``gap_m`` from (x, y) on the way to the rim."""
    d = math.sqrt(x * x + y * y)
    if d < gap_m + 0.3:
        return x * 0.5, y * 0.5
    return x - x / d * gap_m, y - y / d * gap_m


@njit
def focus_point(w, c, a):
    """Where this defender believes the ball is, or is going: (x, y) metres."""
    s = c.s
    if a.focus == 1:
        return s.old_x, s.old_y
    if a.focus == 2:
        return a.guess_x, a.guess_y
    if s.mode == PASS_FLIGHT:
        return s.pass_x1, s.pass_y1
    if s.mode == HELD or s.mode == PASS_WINDUP:
        h = c.agents[s.handler]
        return h.x, h.y
    return s.ball_x, s.ball_y


@njit
def trap_point(w, c, i, fx, fy):
    """The trapper's place: a little to his side of the line from the ball to where the trap faces."""
    s = c.s
    k = w.k
    call = w.calls[s.trap_call]
    ux = call.face_x_m * s.trap_side - fx
    uy = call.face_y_m - fy
    d = math.sqrt(ux * ux + uy * uy)
    if d < EPSILON:
        ux = 0.0
        uy = -1.0
        d = 1.0
    ux /= d
    uy /= d
    other = s.trapper_1 if i == s.trapper_0 else s.trapper_0
    a = c.agents[i]
    b = c.agents[other]
    # each takes the side he is already on, so that they do not cross
    mine = ux * (a.y - fy) - uy * (a.x - fx)
    his = ux * (b.y - fy) - uy * (b.x - fx)
    turn = 1.0 if mine >= his else -1.0
    if mine == his and i != s.trapper_0:
        turn = -1.0
    co = math.cos(k.trap_half_angle)
    si = math.sin(k.trap_half_angle) * turn
    return fx + (ux * co - uy * si) * k.trap_stand_m, fy + (ux * si + uy * co) * k.trap_stand_m


@njit
def entry_target(w, c, i, e, near, fx, fy, shooter_ok):
    """Target of defender ``i`` for table entry ``e`` (metres), ball believed at (fx, fy)."""
    s = c.s
    k = w.k
    a = c.agents[i]
    px = e.x_m * near
    py = e.y_m
    kind = e.kind
    if kind == ON_BALL or (kind == IF_SHOOTER and shooter_ok):
        gap = k.on_ball_gap_m
        if not shooter_ok:
            gap = k.off_shooter_gap_m
        x, y = toward_rim(fx, fy, gap)
        meet = w.rules.arc_m + k.pick_up_beyond_arc_m
        out = math.sqrt(x * x + y * y)
        if out > meet:
            # waits at the edge of the zone until the ball comes
            x *= meet / out
            y *= meet / out
        elif s.mode == HELD and a.focus == 0:
            h = c.agents[s.handler]
            x += 0.25 * h.vx
            y += 0.25 * h.vy
        place_target(a, x, y)
    elif kind == TRAP:
        if s.mode == HELD:
            h = c.agents[s.handler]
            fx += k.trapper_lead_s * h.vx
            fy += k.trapper_lead_s * h.vy
        x, y = trap_point(w, c, i, fx, fy)
        place_target(a, x, y)
    elif kind == DENY or kind == FRONT or kind == BEHIND:
        man = nearest_attacker(c, px, py, e.man_within_m, s.handler)
        if man < 0:
            place_target(a, px, py)
            return
        m = c.agents[man]
        if kind == BEHIND:
            x, y = toward_rim(m.x, m.y, k.lob_distance_m)
        else:
            gap = k.deny_distance_m if kind == DENY else k.front_distance_m
            d = distance(fx, fy, m.x, m.y)
            share = 1.0 if d < EPSILON else clip(gap / d, 0.0, 0.5)
            x = m.x + (fx - m.x) * share
            y = m.y + (fy - m.y) * share
        place_target(a, x, y)
    else:
        x = px + e.toward_ball * (fx - px)
        y = py + e.toward_ball * (fy - py)
        if e.toward_man > 0.0:
            man = nearest_attacker(c, px, py, e.man_within_m, s.handler)
            if man >= 0:
                # on his man means between him and the rim
                mx, my = toward_rim(c.agents[man].x, c.agents[man].y, 0.8)
                x += e.toward_man * (mx - px)
                y += e.toward_man * (my - py)
        place_target(a, x, y)


@njit
def box_out(w, c, i):
    """A shot is up or off the rim: get between the nearest attacker and the ball's likely landing."""
    s = c.s
    k = w.k
    a = c.agents[i]
    a.speed_share = 1.0
    a.sliding = 0
    if s.mode == LOOSE:
        place_target(a, s.ball_x, s.ball_y)
        return
    d = distance(a.x, a.y, 0.0, 0.0)
    if d < EPSILON:
        place_target(a, 0.0, 1.0)
        return
    r = 1.8
    man = nearest_attacker(c, a.x, a.y, 3.0, -1)
    if man >= 0:
        m = c.agents[man]
        bx, by = toward_rim(m.x, m.y, 0.7)
        place_target(a, bx, by)
        if distance(bx, by, 0.0, 0.0) > 3.5:
            place_target(a, a.x / d * r, a.y / d * r)
        return
    place_target(a, a.x / d * r, a.y / d * r)


@njit
def defence_targets(w, c):
    """Sets target, pace and stance of the five defenders for this step."""
    s = c.s
    k = w.k
    shot_up = s.mode == SHOT_FLIGHT or s.mode == LOOSE
    shooter_ok = True
    if s.mode == HELD:
        h = c.agents[s.handler]
        d_rim = distance(h.x, h.y, 0.0, 0.0)
        # judged by the shot he would step into, not by where he still is
        step_in = w.rules.arc_m + 0.4
        z = table_logit(w, s.handler, d_rim if d_rim < step_in else step_in)
        shooter_ok = z > math.log(k.shooter_make / (1.0 - k.shooter_make)) or d_rim < k.middle_range_m
    trapping = s.trap_phase == TRAP_COMING or s.trap_phase == TRAP_SET
    covering = trapping or (
        s.trap_phase == TRAP_AFTER and w.calls[s.trap_call].hold_cover == 1 and s.t < s.after_t + 1.0
    )
    disguised = trapping and s.t < s.trap_t + w.calls[s.trap_call].disguise_s
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        if s.t >= a.adopt_t:
            adopt_now(c, i)
        if s.t >= a.guess_t:
            a.region = a.guess_region
            a.moment = a.guess_moment
            a.side = a.guess_side
            a.focus = 2
            a.guess_t = NEVER
        if shot_up:
            box_out(w, c, i)
            continue
        fx, fy = focus_point(w, c, a)
        person = i - N_SIDE
        late = trapping and i == s.trapper_1 and s.t < s.trap_t + (
            w.calls[s.trap_call].disguise_s + k.second_trapper_delay_s
        )
        if covering and not disguised and not late:
            role = w.role_of[side_index(s.trap_side), person]
            e = w.call_entries[s.trap_call, role]
            if trapping or e.kind != TRAP:
                a.job = e.job
                entry_target(w, c, i, e, s.trap_side, fx, fy, True)
                a.speed_share = 1.0
                a.sliding = 0
                continue
        role = w.role_of[side_index(a.side), person]
        e = w.slides[a.region, a.moment, role]
        a.job = e.job
        entry_target(w, c, i, e, a.side, fx, fy, shooter_ok)
        if a.gamble == 1 and s.mode == PASS_FLIGHT:
            _, f = point_to_segment(a.x, a.y, s.ball_x, s.ball_y, s.pass_x1, s.pass_y1)
            place_target(
                a, s.ball_x + f * (s.pass_x1 - s.ball_x), s.ball_y + f * (s.pass_y1 - s.ball_y)
            )
        a.speed_share = 1.0
        a.sliding = 1 if distance(a.x, a.y, a.tx, a.ty) < k.slide_range_m else 0
    if s.mode == HELD:
        step_up(w, c)


@njit
def step_up(w, c):
    """Nobody between a driving handler and the rim: the nearest man who can get in front does."""
    s = c.s
    k = w.k
    h = c.agents[s.handler]
    d_rim = distance(h.x, h.y, 0.0, 0.0)
    if d_rim > 6.0 or d_rim < 0.8:
        return
    best = FAR_AWAY
    who = -1
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        if s.trap_phase == TRAP_COMING or s.trap_phase == TRAP_SET:
            if i == s.trapper_0 or i == s.trapper_1:
                return
        d, f = point_to_segment(a.x, a.y, h.x, h.y, 0.0, 0.0)
        if f > 0.05 and d < 0.9:
            return  # somebody is in front
        if d + 0.3 * distance(a.x, a.y, h.x, h.y) < best and f > 0.0:
            best = d + 0.3 * distance(a.x, a.y, h.x, h.y)
            who = i
    if who >= 0 and c.agents[who].adopt_t >= NEVER:
        a = c.agents[who]
        x, y = toward_rim(h.x + 0.3 * h.vx, h.y + 0.3 * h.vy, k.on_ball_gap_m)
        place_target(a, x, y)
        a.sliding = 0


@njit
def read_pass(w, c, target, x, y, fake):
    """At the start of a pass: each defender may leave early, rightly or wrongly, or gamble on the ball.

    ``target`` is the receiver, (x, y) where he will catch, metres. A fake freezes those who anticipate.
    """
    s = c.s
    k = w.k
    near = side_of(x, s.near, k.side_hysteresis_m)
    region = region_at(w, x, y)
    moment = next_moment(region, near, s.region, s.moment, s.near)
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        u0, u1, u2, u3 = draws.uniforms(s, draws.ANTICIPATE, i, 0, s.n_passes)
        a.gamble = 1 if u3 < k.gamble_p else 0
        a.adopt_t = s.release_t + k.reaction_s
        a.guess_t = NEVER
        if u0 >= k.anticipation_p:
            continue
        if fake:
            a.adopt_t += k.fake_freeze_s
            continue
        a.guess_t = s.release_t - k.anticipation_lead_s
        if u1 >= k.anticipation_wrong_p:
            a.guess_x = x
            a.guess_y = y
            a.guess_region = region
            a.guess_moment = moment
            a.guess_side = near
        else:
            other = int(u2 * N_SIDE)
            if other == target or other == s.handler:
                other = (other + 1) % N_SIDE
            b = c.agents[other]
            a.guess_x = b.x
            a.guess_y = b.y
            a.guess_side = side_of(b.x, s.near, k.side_hysteresis_m)
            a.guess_region = region_at(w, b.x, b.y)
            a.guess_moment = next_moment(a.guess_region, a.guess_side, s.region, s.moment, s.near)


@njit
def shell_stands(w, c):
    """True when every defender is within the standing distance of his own slide target."""
    k = w.k
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        if distance(a.x, a.y, a.tx, a.ty) > k.shell_stand_m:
            return False
    return True


@njit
def touch_chance(k, gap_m, ball_z_m, reach_m, share):
    """Chance that a defender gets a hand on a ball passing ``gap_m`` away at height ``ball_z_m``.

    Nothing above his standing reach plus a jump; else a logistic in (arm reach - gap). Shape: an input.
    """
    if ball_z_m > reach_m + k.jump_m:
        return 0.0
    return share * k.touch_max_p * logistic((k.arm_reach_m - gap_m) / k.touch_width_m)


@njit
def help_gap(w, c, x, y, time_s, skip):
    """Distance (metres) the nearest defender can have to (x, y) after ``time_s``, by running there."""
    k = w.k
    best = FAR_AWAY
    for i in range(N_SIDE, 2 * N_SIDE):
        if i == skip:
            continue
        a = c.agents[i]
        d = distance(a.x, a.y, x, y)
        if d >= best + 6.0:
            continue
        d -= cover_m(time_s - k.reaction_s, w.players[i].top_speed_mps, k.sprint_tau_s)
        if d < best:
            best = d
    return best if best > 0.3 else 0.3
