"""Where each defender wants to be: table entries turned into target points, for this step."""

from __future__ import annotations

import math

from engine.kernel.behind import break_on_throw, goes_back, in_reach, who_rotates
from engine.kernel.jit import njit
from engine.kernel.motion import EPSILON, clip, distance, point_to_segment, toward_rim
from engine.kernel.near import (
    FAR_AWAY,
    LEAST_GAP_M,
    NEVER,
    nearest_attacker,
    nearest_defender,
    on_ball_gap,
    side_index,
)
from engine.kernel.rows import adopt_due, all_have_men, match_men
from engine.kernel.screens import cover_screen
from engine.kernel.shooting import guarding_gap, is_shooter
from engine.state.arrays import N_SIDE
from engine.state.jobs import Kind
from engine.state.words import (
    Action,
    Focus,
    Mode,
    Moment,
    Screen,
    TrapPhase,
)

#: Slower than this, m/s, a man turns without opening up first.
TURN_MPS = 0.5
#: Arm's length: a lane count does not run while guarding an attacker (professional rules, from memory).
GUARDING_M = 1.8


@njit
def place_target(a, x, y):
    """Sets the target point of an agent."""
    a.tx = x
    a.ty = y


@njit
def focus_point(w, c, a):
    """Where this defender believes the ball is, or is going: (x, y) metres."""
    s = c.s
    if a.focus == Focus.BEFORE_PASS and a.primed == 0:
        return s.old_x, s.old_y
    if a.focus == Focus.GUESS and a.primed == 0:
        return a.guess_x, a.guess_y
    if s.mode == Mode.PASS_FLIGHT:
        return s.pass_x1, s.pass_y1
    if s.mode == Mode.HELD or s.mode == Mode.PASS_WINDUP:
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
def ball_man(c, a):
    """The attacker who, as this defender believes, has the ball or is getting it; -1 nobody."""
    s = c.s
    if a.focus == Focus.BEFORE_PASS:
        return s.passer
    if a.focus == Focus.GUESS:
        return a.guess_who
    if s.mode == Mode.PASS_FLIGHT:
        return s.target
    if s.mode == Mode.LOOSE or s.mode == Mode.SHOT_FLIGHT:
        return -1
    return s.handler


@njit
def off_ball_place(w, c, man, sag, fx, fy):
    """Place (metres) of who guards a man without the ball: toward the rim and a little toward the ball.

    The gap grows with the man's distance from the ball and from the rim (tracking of professional men, see
    man_gap_m in configs/model/constants.toml); ``sag`` is the row's share of it, times his own.
    """
    k = w.k
    m = c.agents[man]
    d = distance(fx, fy, m.x, m.y)
    gap = sag * clip(k.man_gap_m + k.man_gap_per_m * d, 0.0, k.man_gap_most_m)
    gap *= clip(k.man_gap_rim_share_per_m * distance(m.x, m.y, 0.0, 0.0), 0.0, 1.0)
    hx = k.man_toward_ball_share * fx - m.x
    hy = k.man_toward_ball_share * fy - m.y
    h = math.sqrt(hx * hx + hy * hy)
    if h < EPSILON:
        return m.x, m.y
    if gap > h:
        gap = h
    return m.x + hx / h * gap, m.y + hy / h * gap


@njit
def entry_target(w, c, i, e, near, fx, fy, shooter_ok):
    """Target of defender ``i`` for table entry ``e`` (metres), ball believed at (fx, fy)."""
    s = c.s
    k = w.k
    a = c.agents[i]
    px = e.x_m * near
    py = e.y_m
    kind = e.kind
    if kind == Kind.OWN_MAN:
        man = c.guards[i - N_SIDE]
        if man < 0:
            place_target(a, px, py)
            return
        if man != ball_man(c, a):
            x, y = off_ball_place(w, c, man, a.gap_share * e.toward_ball, fx, fy)
            place_target(a, x, y)
            return
    if kind == Kind.ON_BALL or kind == Kind.OWN_MAN or (kind == Kind.IF_SHOOTER and shooter_ok):
        if s.action == Action.DRIVE and s.begun < s.drive_t + k.reaction_s * k.dribble_reaction_share:
            return  # the first step is the driver's: he still guards the place where he stood
        gap = a.gap_share * guarding_gap(w, distance(fx, fy, 0.0, 0.0), shooter_ok)
        x, y = toward_rim(fx, fy, gap if gap > LEAST_GAP_M else LEAST_GAP_M)
        meet = w.rules.arc_m + k.pick_up_beyond_arc_m
        out = math.sqrt(x * x + y * y)
        if out > meet:
            # waits at the edge of the zone until the ball comes
            x *= meet / out
            y *= meet / out
        elif s.mode == Mode.HELD and a.focus == Focus.BALL:
            h = c.agents[s.handler]
            x += 0.25 * h.vx
            y += 0.25 * h.vy
        place_target(a, x, y)
        a.stop_share = k.close_out_brake_share  # a close-out ends under control, hands up
    elif kind == Kind.TRAP:
        if s.mode == Mode.HELD:
            h = c.agents[s.handler]
            fx += k.trapper_lead_s * h.vx
            fy += k.trapper_lead_s * h.vy
        x, y = trap_point(w, c, i, fx, fy)
        place_target(a, x, y)
    elif kind == Kind.DENY or kind == Kind.FRONT or kind == Kind.BEHIND:
        man = nearest_attacker(c, px, py, e.man_within_m, s.handler)
        if man < 0:
            place_target(a, px, py)
            return
        m = c.agents[man]
        if kind == Kind.BEHIND:
            x, y = toward_rim(m.x, m.y, k.lob_distance_m)
        else:
            gap = k.deny_distance_m if kind == Kind.DENY else k.front_distance_m
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
    a = c.agents[i]
    a.speed_share = 1.0
    a.sliding = 0
    if s.mode == Mode.LOOSE:
        place_target(a, s.ball_x, s.ball_y)
        return
    d = distance(a.x, a.y, 0.0, 0.0)
    if d < EPSILON:
        place_target(a, 0.0, 1.0)
        return
    r = 1.8
    man = c.guards[i - N_SIDE]
    if man < 0 or distance(a.x, a.y, c.agents[man].x, c.agents[man].y) > 4.0:
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
    shot_up = s.mode == Mode.SHOT_FLIGHT or s.mode == Mode.LOOSE
    shooter_ok = True
    if s.mode == Mode.HELD:
        h = c.agents[s.handler]
        shooter_ok = is_shooter(w, s, s.handler, distance(h.x, h.y, 0.0, 0.0))
    trapping = s.trap_phase == TrapPhase.COMING or s.trap_phase == TrapPhase.SET
    covering = trapping or (
        s.trap_phase == TrapPhase.AFTER and w.calls[s.trap_call].hold_cover == 1 and s.t < s.after_t + 1.0
    )
    disguised = trapping and s.begun < s.trap_t + w.calls[s.trap_call].disguise_s
    # a pass out of the trap: who has seen it goes back to the slides before it is caught
    out = trapping and not disguised and s.mode == Mode.PASS_FLIGHT and s.target != s.trap_handler
    first_seen = adopt_due(c)
    if first_seen and out and all_have_men(c):
        match_men(c)  # nobody runs back across the floor to the man he left
    swap_0, swap_1 = who_rotates(w, c, out)
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        was_sliding = a.sliding
        a.stop_share = 1.0
        if shot_up:
            box_out(w, c, i)
            continue
        person = i - N_SIDE
        trapper = trapping and (i == s.trapper_0 or i == s.trapper_1)
        coming = s.target == s.trap_handler
        # who traps a ball in the air goes to where it will be, soon after it has left the passer's hands
        in_air = trapper and coming and s.mode == Mode.PASS_FLIGHT
        a.primed = 1 if in_air and s.begun >= s.release_t + k.primed_s else 0
        gone = goes_back(w, c, i, out)
        fx, fy = focus_point(w, c, a)
        if (
            trapping
            and i == s.trapper_1
            and not disguised
            and not gone
            and s.begun < s.trap_t + w.calls[s.trap_call].disguise_s + k.second_trapper_delay_s
        ):
            place_target(a, a.x, a.y)  # he has not seen it yet
            a.speed_share = 1.0
            a.sliding = 1
            continue
        aloft = s.mode == Mode.PASS_FLIGHT or s.mode == Mode.PASS_WINDUP
        waits = trapper and aloft and a.primed == 0 and coming
        if covering and not disguised and not waits and not gone:
            e = w.call_entries[s.trap_call, c.trap_entry[person]]
            if trapping or e.kind != Kind.TRAP:
                a.job = e.job
                entry_target(w, c, i, e, s.trap_side, fx, fy, True)
                a.stop_share = 1.0
                a.speed_share = 1.0
                a.sliding = 0
                if trapping and not trapper:
                    break_on_throw(w, c, i)
                continue
        if a.break_t > s.begun:
            continue  # he went for the ball and missed: he is still on his way there
        stand_in = person
        if i == swap_0:
            stand_in = swap_1 - N_SIDE
        elif i == swap_1:
            stand_in = swap_0 - N_SIDE
        role = w.role_of[side_index(a.side), stand_in]
        e = w.slides[a.region, Moment.MATCHED if s.matched == 1 else a.moment, role]
        a.job = e.job
        entry_target(w, c, i, e, a.side, fx, fy, shooter_ok)
        if s.screen >= Screen.SET:
            cover_screen(w, c, i)
        if a.gamble == 1 and s.mode == Mode.PASS_FLIGHT and not out:
            _, f = point_to_segment(a.x, a.y, s.ball_x, s.ball_y, s.pass_x1, s.pass_y1)
            if in_reach(w, c, i, f):
                place_target(a, s.ball_x + f * (s.pass_x1 - s.ball_x), s.ball_y + f * (s.pass_y1 - s.ball_y))
        if w.rules.defensive_three_seconds_s > 0.0:
            leave_lane_in_time(w, c, i)
        a.speed_share = 1.0
        a.sliding = 1 if distance(a.x, a.y, a.tx, a.ty) < k.slide_range_m else 0
        if was_sliding == 1 and a.sliding == 0 and turns(a):
            a.turn_t = s.begun + k.turn_s
        if s.begun < a.turn_t:
            a.sliding = 1
    if s.mode == Mode.HELD:
        step_up(w, c)
    elif s.mode == Mode.SHOT_WINDUP:
        contest(w, c)


@njit
def turns(a):
    """True if he moves away from where he now has to go: he must open up before he can run."""
    return a.vx * (a.tx - a.x) + a.vy * (a.ty - a.y) < 0.0 and a.vx * a.vx + a.vy * a.vy > TURN_MPS * TURN_MPS


@njit
def contest(w, c):
    """The man nearest to a shooter goes up with him, hands high, and leaves him room to land."""
    s = c.s
    k = w.k
    if s.begun < s.windup_t + k.reaction_s * k.dribble_reaction_share:
        return
    h = c.agents[s.handler]
    gap, who = nearest_defender(c, h.x, h.y)
    if gap <= k.contest_m:
        return
    a = c.agents[who]
    x, y = toward_rim(h.x, h.y, k.contest_m)
    place_target(a, x, y)
    a.sliding = 0
    a.stop_share = k.close_out_brake_share


@njit
def leave_lane_in_time(w, c, i):
    """Where the defence has a lane count: who guards nobody closely steps out before it ends."""
    ru = w.rules
    a = c.agents[i]
    if nearest_attacker(c, a.x, a.y, GUARDING_M, -1) >= 0:
        a.lane_t = 0.0
    elif a.lane_t > ru.defensive_three_seconds_s - 0.8:
        out = ru.lane_half_width_m + 0.4
        a.tx = out if a.x >= 0.0 else -out


@njit
def step_up(w, c):
    """Nobody between the ball and the rim: the nearest man who can get in front does, a drive once seen."""
    s = c.s
    k = w.k
    h = c.agents[s.handler]
    d_rim = distance(h.x, h.y, 0.0, 0.0)
    if d_rim > 6.0 or d_rim < 0.8:
        s.open_t = NEVER
        return
    best = FAR_AWAY
    who = -1
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        if s.trap_phase == TrapPhase.COMING or s.trap_phase == TrapPhase.SET:
            if i == s.trapper_0 or i == s.trapper_1:
                continue  # they have the ball; the others still help
        d, f = point_to_segment(a.x, a.y, h.x, h.y, 0.0, 0.0)
        if f > 0.05 and d < 0.9:
            s.open_t = NEVER
            return  # somebody is in front
        if d + 0.3 * distance(a.x, a.y, h.x, h.y) < best and f > 0.0:
            best = d + 0.3 * distance(a.x, a.y, h.x, h.y)
            who = i
    if s.open_t >= NEVER:
        s.open_t = s.begun
    if s.action == Action.DRIVE and s.begun < s.open_t + k.reaction_s * k.dribble_reaction_share:
        return
    if who >= 0 and c.agents[who].adopt_t >= NEVER:
        a = c.agents[who]
        x, y = toward_rim(h.x + 0.3 * h.vx, h.y + 0.3 * h.vy, on_ball_gap(k, d_rim))
        place_target(a, x, y)
        a.sliding = 0


@njit
def shell_stands(w, c):
    """True when every defender is within the standing distance of his own slide target."""
    k = w.k
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        if distance(a.x, a.y, a.tx, a.ty) > k.shell_stand_m:
            return False
    return True
