"""Trap calls: chances, the call itself, when the trap is set, left, split or called off, and its hazards."""

from __future__ import annotations

from engine.kernel import draws
from engine.kernel.defence import shell_stands
from engine.kernel.ending import close_after, close_outcome, close_outcome_if_open, turnover, violation
from engine.kernel.jit import njit
from engine.kernel.log import event
from engine.kernel.motion import distance
from engine.kernel.near import FAR_AWAY, side_index, to_line
from engine.kernel.offence import assign_break, reading_delay
from engine.kernel.restarts import defensive_foul, throw_in
from engine.kernel.rows import all_have_men, match_men, set_row
from engine.kernel.shooting import clumsiness
from engine.state.arrays import N_SIDE
from engine.state.words import (
    Action,
    After,
    Dribble,
    Event,
    Loss,
    Mode,
    Moment,
    Outcome,
    Region,
    Screen,
    TrapPhase,
    Trigger,
    Violation,
)

#: Place of the first watched call in ``chances``.
FIRST_SHADOW = len(Region)


@njit
def is_called(c, call, n, trigger, handler, region, y):
    """Whether a call is made at this moment, by its own draw; ``c.chances[n]`` counts its chances so far.

    The ball is brought down when the dribble comes from above the call's band, ``y`` metres, into it.
    """
    s = c.s
    if (call.regions >> region) & 1 == 0 or (call.triggers >> trigger) & 1 == 0:
        return False
    if call.only_mask != 0 and (call.only_mask >> handler) & 1 == 0:
        return False
    if (
        y < call.low_y_m
        or y > call.high_y_m
        or (trigger == Trigger.BROUGHT_DOWN and s.last_y <= call.high_y_m)
    ):
        return False
    if call.after_bump == 1 and s.moment == Moment.BEFORE_BUMP:
        return False
    c.chances[n] += 1
    u, _, _, _ = draws.uniforms(s, draws.CALL, call.subject, 0, c.chances[n])
    return u < call.probability


@njit
def chance(w, c, trigger, handler, region, x, y):
    """A moment at which a call may be made: at most one of the setting's calls is drawn and started.

    ``handler`` is who has, or will have, the ball in ``region`` at (x, y) metres.
    """
    s = c.s
    for n in range(w.n_shadows):
        shadow_chance(w, c, n, trigger, handler, region, y)
    if s.trap_phase != TrapPhase.NONE or w.policy_call == 1:
        return
    for n in range(w.n_calls):
        call = w.calls[n]
        made = is_called(c, call, call.subject, trigger, handler, region, y)
        if made and s.trap_number < s.max_calls:
            start_call(w, c, n, handler, x, y)
            return


@njit
def shadow_chance(w, c, n, trigger, handler, region, y):
    """At home: notes if a watched setting would make its first call now with call ``n``; makes none."""
    bit = 1 << w.shadow_setting[n]
    if c.record.shadow & bit == 0:
        if is_called(c, w.shadows[n], FIRST_SHADOW + n, trigger, handler, region, y):
            c.record.shadow |= bit


@njit
def held_long(s, call):
    """Whether the ball has been held in the call's region as long as the call waits for."""
    waits = (call.regions >> s.region) & 1 == 1 and (call.triggers >> Trigger.HELD) & 1 == 1
    return waits and s.t - s.catch_t >= call.held_s


@njit
def look_for_held_shadows(w, c):
    """As the count of a held ball for a setting's own calls: its first chance since the catch, for each."""
    s = c.s
    for n in range(w.n_shadows):
        setting = w.shadow_setting[n]
        if c.shadow_held[setting] == 0 and held_long(s, w.shadows[n]):
            c.shadow_held[setting] = 1
            for m in range(w.n_shadows):
                if w.shadow_setting[m] == setting:
                    shadow_chance(w, c, m, Trigger.HELD, s.handler, s.region, c.agents[s.handler].y)


@njit
def start_call(w, c, n, handler, x, y):
    """The call is made: roles are latched to persons, team-mates of the trapped man begin to read it."""
    s = c.s
    k = w.k
    call = w.calls[n]
    s.trap_phase = TrapPhase.COMING
    s.trap_call = n
    s.trap_t = s.t
    s.trap_side = s.near
    s.trap_x = x
    s.trap_y = y
    s.trap_handler = handler
    if call.dynamic == 1:
        nearest_take_entries(w, c, n, x, y)
    else:
        s.trapper_0 = N_SIDE + w.person_of[side_index(s.near), call.double_0]
        s.trapper_1 = N_SIDE + w.person_of[side_index(s.near), call.double_1]
        for i in range(N_SIDE):
            c.trap_entry[i] = w.role_of[side_index(s.near), i]
    t0 = c.agents[s.trapper_0]
    t1 = c.agents[s.trapper_1]
    if distance(t0.x, t0.y, x, y) > distance(t1.x, t1.y, x, y):
        s.trapper_0, s.trapper_1 = s.trapper_1, s.trapper_0  # the second one is who comes from farther
    s.trap_number += 1
    c.record.n_calls += 1
    c.record.call_spots += (n + 1) << (4 * (s.trap_number - 1))
    if s.trap_number == 1:
        c.record.first_call = n + 1
        s.outcome_open = 1
    assign_break(w, c)
    event(c, Event.CALL, handler, n, 0.0, x, y)
    s.trap_read_t = s.t + reading_delay(w, k.handler_read_s)


@njit
def nearest_take_entries(w, c, n, x, y):
    """A call without fixed roles: the two nearest to (x, y) trap; each cover goes to the nearest man left."""
    s = c.s
    for i in range(N_SIDE):
        c.trap_entry[i] = -1
    for entry in range(N_SIDE):
        px = x
        py = y
        if entry >= 2:
            px = w.call_entries[n, entry].x_m * s.near
            py = w.call_entries[n, entry].y_m
        best = FAR_AWAY
        who = 0
        for i in range(N_SIDE):
            a = c.agents[i + N_SIDE]
            d = distance(a.x, a.y, px, py)
            if c.trap_entry[i] < 0 and d < best:
                best = d
                who = i
        c.trap_entry[who] = entry
        if entry == 0:
            s.trapper_0 = N_SIDE + who
        elif entry == 1:
            s.trapper_1 = N_SIDE + who


@njit
def look_for_chances(w, c, caught, dribbled_from):
    """Chances of this step: the catch, the dribble into a spot or over half court, the count, the pick-up."""
    s = c.s
    if s.mode != Mode.HELD or s.trap_phase != TrapPhase.NONE:
        s.picked_up = 0
        s.last_y = c.agents[s.handler].y
        return
    h = c.agents[s.handler]
    if caught:
        chance(w, c, Trigger.CATCH, s.handler, s.region, h.x, h.y)
        if s.mode == Mode.HELD and s.trap_phase == TrapPhase.NONE and h.vx * h.x + h.vy * h.y > 0.0:
            chance(w, c, Trigger.BACK_TURNED, s.handler, s.region, h.x, h.y)
        s.picked_up = 0
        return
    if dribbled_from != s.region and s.action != Action.STAY:
        chance(w, c, Trigger.DRIBBLE_IN, s.handler, s.region, h.x, h.y)
    if s.action != Action.STAY and h.y < s.last_y:
        chance(w, c, Trigger.BROUGHT_DOWN, s.handler, s.region, h.x, h.y)
    s.last_y = h.y
    if s.across == 1:
        s.across = 2
        chance(w, c, Trigger.ACROSS_HALF, s.handler, s.region, h.x, h.y)
    if s.picked_up == 1:
        chance(w, c, Trigger.PICKED_UP, s.handler, s.region, h.x, h.y)
    s.picked_up = 0
    if s.screen == Screen.SET and s.screen_chance == 0:
        s.screen_chance = 1
        chance(w, c, Trigger.SCREEN, s.handler, s.region, h.x, h.y)
    look_for_held_shadows(w, c)
    if s.held_chance == 0:
        for n in range(w.n_calls):
            if held_long(s, w.calls[n]):
                s.held_chance = 1
                chance(w, c, Trigger.HELD, s.handler, s.region, h.x, h.y)
                return


@njit
def leave_trap(w, c, code):
    """The ball has got out of the trap: a pass out of it is caught, a retreat, a split."""
    s = c.s
    k = w.k
    if code == Outcome.ESCAPE_PASS and s.outcome_open == 1:
        place = c.agents[s.handler].break_role
        c.record.escape = place + 1 if place >= 0 else 5
        c.record.escape_skip = s.pass_is_skip
    close_outcome(c, code)
    s.trap_phase = TrapPhase.AFTER
    s.after_t = s.t
    if all_have_men(c):
        match_men(c)  # nobody runs back across the floor to the man he left
    set_row(w, c, s.region, s.moment, s.near, k.dribble_reaction_share)


@njit
def call_off(c):
    """The trap never came: everybody goes back to the slides."""
    close_outcome_if_open(c, Outcome.OTHER)
    c.s.trap_phase = TrapPhase.NONE


@njit
def update_trap(w, c):
    """Phase of the trap for this step: coming, set, left, shell stands again."""
    s = c.s
    k = w.k
    if s.trap_phase == TrapPhase.AFTER:
        if s.mode == Mode.HELD or s.mode == Mode.PASS_FLIGHT:
            since = s.t - s.after_t
            if (
                s.mode == Mode.HELD
                and (s.region == Region.LANE or s.region == Region.RIM)
                and since < 2.0 * k.window_s
            ):
                return  # the ball is inside: whatever comes of it belongs to this escape
            if since > k.window_s or (since > k.shell_least_s and shell_stands(w, c)):
                close_after(c, After.RESET)
                s.trap_phase = TrapPhase.NONE
                event(c, Event.SHELL_STANDS, -1, s.trap_call, since, s.ball_x, s.ball_y)
        return
    # a trap stands around a man who winds up for a pass or a shot, too
    winding = s.mode == Mode.PASS_WINDUP or s.mode == Mode.SHOT_WINDUP
    if s.trap_phase == TrapPhase.NONE or (s.mode != Mode.HELD and not winding):
        return
    h = c.agents[s.handler]
    if s.handler != s.trap_handler:
        if winding:
            return
        leave_trap(w, c, Outcome.ESCAPE_PASS)
        return
    t0 = c.agents[s.trapper_0]
    t1 = c.agents[s.trapper_1]
    d0 = distance(h.x, h.y, t0.x, t0.y)
    d1 = distance(h.x, h.y, t1.x, t1.y)
    between = distance(t0.x, t0.y, t1.x, t1.y) - 2.0 * k.body_radius_m
    both = d0 < k.trap_set_m and d1 < k.trap_set_m
    if winding:
        if s.trap_phase == TrapPhase.COMING and both and between < k.trap_gap_m:
            set_trap(c, h)
        return
    if s.action == Action.SPLIT:
        # past the line between the two trappers, away from where he came
        gx = s.goal_x - s.trap_x
        gy = s.goal_y - s.trap_y
        mx = 0.5 * (t0.x + t1.x)
        my = 0.5 * (t0.y + t1.y)
        if (h.x - mx) * gx + (h.y - my) * gy > 0.3 * (gx * gx + gy * gy) ** 0.5:
            leave_trap(w, c, Outcome.SPLIT)
            return
    elif distance(h.x, h.y, s.trap_x, s.trap_y) > k.retreat_m and (
        not both or (s.action == Action.RETREAT and s.trap_phase == TrapPhase.COMING)
    ):
        if away_from_rim(s, h):
            s.action = Action.STAY
            leave_trap(w, c, Outcome.RETREAT)
            return
        if past(h, t0) and past(h, t1):
            leave_trap(w, c, Outcome.SPLIT)
            return
        # still dribbling into it: the trap is measured from here on
        s.trap_x = h.x
        s.trap_y = h.y
    if s.trap_phase == TrapPhase.COMING:
        if both and between < k.trap_gap_m:
            set_trap(c, h)
            if s.action == Action.RETREAT:
                return  # he is on his way out
            s.action = Action.STAY
            if s.dribble == Dribble.DRIBBLING:
                u, _, _, _ = draws.uniforms(s, draws.TRAP_PICK_UP, 0, 0, s.trap_number)
                if u < k.set_pick_up_p:
                    s.dribble = Dribble.DEAD
                    event(c, Event.PICK_UP, s.handler, -1, 0.0, h.x, h.y)
        elif s.t - s.trap_t > w.calls[s.trap_call].give_up_s:
            call_off(c)
    elif d0 > k.trap_set_m + 0.5 or d1 > k.trap_set_m + 0.5:
        s.trap_phase = TrapPhase.COMING


@njit
def set_trap(c, h):
    """Both trappers are there: the trap stands."""
    s = c.s
    s.trap_phase = TrapPhase.SET
    s.trap_read_t = s.t  # nobody overlooks a trap that stands; he looks anew
    if s.trap_number == 1:
        c.record.trap_set = 1
    event(c, Event.TRAP_SET, s.handler, s.trap_call, s.t - s.trap_t, h.x, h.y)


@njit
def past(h, b):
    """True if the handler is nearer to the rim than the trapper."""
    return h.x * h.x + h.y * h.y < b.x * b.x + b.y * b.y


@njit
def away_from_rim(s, h):
    """True if the handler is now farther from the rim than where the trap caught him, or level with it."""
    return h.x * h.x + h.y * h.y >= s.trap_x * s.trap_x + s.trap_y * s.trap_y - 1.0


@njit
def trap_hazards(w, c):
    """What two men on the ball bring: fouls, strips and tie-ups of a held ball, steps over a line, time-outs.

    A live dribble is taken as anywhere (``ball_hazards``), the likelier the more hands are near.
    """
    s = c.s
    k = w.k
    ru = w.rules
    if s.mode != Mode.HELD or (s.trap_phase != TrapPhase.COMING and s.trap_phase != TrapPhase.SET):
        return
    h = c.agents[s.handler]
    t0 = c.agents[s.trapper_0]
    t1 = c.agents[s.trapper_1]
    d0 = distance(h.x, h.y, t0.x, t0.y)
    d1 = distance(h.x, h.y, t1.x, t1.y)
    if d0 >= k.trap_set_m or d1 >= k.trap_set_m:
        return  # one man on the ball is ordinary defence
    first = d0 < d1 or (d0 == d1 and s.trapper_0 < s.trapper_1)
    thief = s.trapper_0 if first else s.trapper_1
    clumsy = clumsiness(w, s.trapper_0) + clumsiness(w, s.trapper_1)
    dt = k.time_step_s
    u0, u1, u2, u3 = draws.uniforms(s, draws.TRAP_HAZARD, 0, 0, s.step)
    if draws.happens(u1, k.trap_foul_rate_per_s * clumsy, dt):
        defensive_foul(w, c)
        return
    if s.dribble != Dribble.DRIBBLING:
        loose = 1.5 - w.players[s.handler].handle
        strip = 2.0 * k.trap_strip_rate_per_s
        if draws.happens(u0, strip * loose, dt):
            turnover(w, c, 1, thief, Loss.STRIP)
            return
        dead = s.dribble == Dribble.DEAD and s.trap_phase == TrapPhase.SET
        if dead and draws.happens(u0, (strip + k.tie_up_rate_per_s) * loose, dt):
            held_ball(w, c)
            return
    edge = to_line(ru, h)
    if s.front == 1 and ru.backcourt_s > 0.0:
        edge = min(edge, ru.half_y_m - h.y)
    if edge < k.step_out_within_m and draws.happens(u2, 2.0 * k.step_out_rate_per_s, dt):
        violation(w, c, Violation.STEPPED_ON_LINE)
        return
    if (
        ru.trapped_time_out == 1
        and s.time_outs > 0
        and s.trap_phase == TrapPhase.SET
        and draws.happens(u3, k.time_out_rate_per_s, dt)
    ):
        s.time_outs -= 1
        event(c, Event.TIME_OUT, s.handler, -1, float(s.time_outs), h.x, h.y)
        close_outcome_if_open(c, Outcome.OTHER)
        throw_in(w, c, 0)


@njit
def held_ball(w, c):
    """Two hold the ball: the possession arrow decides."""
    s = c.s
    event(c, Event.HELD_BALL, s.handler, -1, 0.0, s.ball_x, s.ball_y)
    s.n_held += 1
    c.record.held_balls += 1
    u, _, _, _ = draws.uniforms(s, draws.HELD_BALL, 0, 0, s.n_held)
    if u < w.rules.p_arrow_defence:
        turnover(w, c, 0, -1, Loss.HELD_BALL)
        return
    close_outcome_if_open(c, Outcome.OTHER)
    throw_in(w, c, 0)
