"""The handler's choice: shoot, hold, drive, retreat, split or pass, in points, with noise per option.

Each option has its own noise (Gumbel, the exponential race in logarithms), keyed by option and by the look in
which it is drawn: what a man has misjudged he goes on misjudging until he looks anew. Part of it is of all
passes alike (nested choice, McFadden 1978, from memory). So two settings that weigh the same options in the
same situation choose alike. Source of the rules: common practice, no source.
"""

from __future__ import annotations

import math

from engine.kernel import draws
from engine.kernel.drives import (
    NOBODY_M,
    ahead_points,
    by_phase,
    dribble_mps,
    go_on,
    seen_phase,
    weigh_drives,
)
from engine.kernel.ending import violation
from engine.kernel.escapes import weigh_retreat, weigh_split
from engine.kernel.forecast import believed, expected_gap, nearest_in, own_gaps
from engine.kernel.jit import njit
from engine.kernel.log import event, option
from engine.kernel.motion import clip, distance, region_at
from engine.kernel.near import (
    NEVER,
    nearest_defender,
)
from engine.kernel.offence import bring_up_goal, half_line_holds, spot_of, two_ahead
from engine.kernel.passing import lane_risk, on_passer_then, pass_speed, pressure, start_pass
from engine.kernel.screens import awaits_screen
from engine.kernel.shooting import behind_board, effective_gap, is_three, is_unset, rhythm, shot_value
from engine.kernel.shots import LEAST_RELEASE_S, start_shot
from engine.kernel.view import in_view
from engine.kernel.worth import (
    SCREEN_PLACE,
    carrying_on,
    fear_offset,
    reluctance,
    time_left,
    worth_at,
)
from engine.state.arrays import N_OPTIONS, N_SIDE
from engine.state.words import Action, Dribble, Event, Option, PassKind, Region, TrapPhase, Violation

NOT_AN_OPTION = -1e9
TRIED_POINTS = 1.0  # noise of a look in which everything is tried
EULER = 0.5772156649015329  # mean of a Gumbel variable
PROMISE = 0.6  # a shot this much better or worse than carrying on, points, counts as no better or worse


@njit
def in_range(w, d_rim):
    """True so near the rim that men shoot from there while there is time to dribble nearer."""
    return d_rim < w.rules.arc_m + w.k.shot_range_m


@njit
def weigh_pass(w, c, j, left_s, release_s, n_pressure, stands, misjudged, best):
    """Value (points), best kind and goal of a pass to team-mate ``j``.

    ``n_pressure``, ``stands``: ``on_passer_then``. A pass is worth at most what follows it, or a lost one:
    where that, ``misjudged`` by so many points, is no better than ``best``, its risk is not reckoned.
    """
    s = c.s
    k = w.k
    ru = w.rules
    a = c.agents[s.handler]
    b = c.agents[j]
    o = c.weighed[Option.PASS_1 + j]
    length = distance(a.x, a.y, b.x, b.y)
    if length < k.pass_shortest_m or length > k.pass_longest_m:
        return
    time_s = release_s + length / pass_speed(w, s.handler, PassKind.DIRECT, length)
    lead = clip(time_s, 0.0, 0.7)
    x = clip(b.x + lead * b.vx, -ru.half_width_m + 0.4, ru.half_width_m - 0.4)
    y = clip(b.y + lead * b.vy, ru.baseline_y_m + 0.4, ru.far_y_m - 0.4)
    if half_line_holds(w, s) and y > ru.half_y_m - 0.2:
        if b.y > ru.half_y_m - 0.2:
            return
        y = ru.half_y_m - 0.3
    d_rim = distance(x, y, 0.0, 0.0)
    carry = carrying_on(w, left_s - time_s)
    phase = seen_phase(s)
    worth = carry + by_phase(
        phase,
        k.belief_pass_points,
        k.belief_pass_coming_points,
        k.belief_pass_set_points,
        k.belief_pass_after_points,
    )
    region = region_at(w, x, y)
    o.place = region
    worth += worth_at(k, region)
    o.ahead = ahead_points(w, c, x, y, j, time_s + 0.4)
    worth += o.ahead
    if j == s.passer and s.n_passes > 0 and s.t - s.catch_t < k.look_again_s:
        worth -= k.pass_back_points
    o.promise = -PROMISE
    if in_range(w, d_rim) and left_s > time_s + k.catch_pause_s + LEAST_RELEASE_S and not behind_board(x, y):
        wait_s = k.catch_pause_s + (k.rim_release_s if d_rim < k.rim_range_m else k.shot_release_s)
        o.gap = nearest_in(w, c, x, y, time_s + wait_s, -1)
        gap = expected_gap(k.belief_gap_m, k.belief_gap_share, o.gap)
        shot = shot_value(w, j, d_rim, gap, NOBODY_M, is_three(w, x, y), left_s - time_s, False, 0.0)
        shot -= reluctance(w, j, is_three(w, x, y), left_s - time_s)
        o.promise = clip(shot - carry, -PROMISE, PROMISE)
    worth += k.belief_pass_share * o.promise
    if max(worth, -k.excess_live_steal_points) + misjudged <= best:
        return
    risk = lane_risk(w, c, s.handler, j, x, y, PassKind.DIRECT, release_s, n_pressure, stands)
    kind = PassKind.DIRECT
    if risk > 0.06:
        over_s = release_s + k.over_release_s
        over = lane_risk(w, c, s.handler, j, x, y, PassKind.OVER, over_s, n_pressure, stands)
        if over < risk:
            risk = over
            kind = PassKind.OVER
        if length < k.bounce_longest_m:
            bounce = lane_risk(w, c, s.handler, j, x, y, PassKind.BOUNCE, release_s, n_pressure, stands)
            if bounce < risk:
                risk = bounce
                kind = PassKind.BOUNCE
    o.raw = risk
    risk = believed(risk, fear_offset(k, phase), k.belief_loss_slope)
    o.value = (1.0 - risk) * worth - risk * k.excess_live_steal_points
    o.x = x
    o.y = y
    o.kind = kind


@njit
def weigh_shot(w, c, left_s, d_rim, trapped):
    """Value of the handler's own shot, with the defenders where they will be when HE lets it go."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    s.rhythm = rhythm(w, s)
    if (not in_range(w, d_rim) and left_s >= 1.5) or behind_board(a.x, a.y):
        return
    # where he will be when he has stopped and gone up
    pace = math.sqrt(a.vx * a.vx + a.vy * a.vy)
    x = a.x + a.vx * pace / (2.0 * k.brake_mps2)
    y = a.y + a.vy * pace / (2.0 * k.brake_mps2)
    far = distance(x, y, 0.0, 0.0)
    gap, _, second = effective_gap(w, c, s.handler, x, y)
    first_then, second_then = own_gaps(
        w, c, x, y, k.rim_release_s if far < k.rim_range_m + 0.5 else k.shot_release_s, trapped
    )
    gap = first_then if first_then < gap else gap
    second = second_then if second_then < second else second
    o = c.weighed[Option.SHOOT]
    o.gap = gap
    gap = k.belief_own_gap_m + k.belief_own_gap_share * gap
    o.value = shot_value(w, s.handler, far, gap, second, is_three(w, x, y), left_s, is_unset(w, c), s.rhythm)
    o.value += k.belief_shot_points


@njit
def brings_up(w, c, d_rim, trapped, n_pressure):
    """True if the handler goes on bringing the ball up; two men who wait for him make him stop and look."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    if trapped or n_pressure > 0 or s.dribble == Dribble.DEAD:
        return False
    on_the_way = s.action == Action.DRIBBLE_TO and d_rim > w.rules.arc_m + k.bring_up_free_m
    if not on_the_way and region_at(w, a.x, a.y) != Region.BACKCOURT:
        return False
    if s.front == 1 and two_ahead(w, c, k.stop_two_m):
        s.action = Action.STAY
        return False
    s.action = Action.DRIBBLE_TO
    s.dribble = Dribble.DRIBBLING
    s.goal_x, s.goal_y = bring_up_goal(w, c)
    return True


@njit
def closes_out(w, c):
    """True if the nearest defender is still running at the ball's holder: now he can be passed."""
    a = c.agents[c.s.handler]
    d, who = nearest_defender(c, a.x, a.y)
    b = c.agents[who]
    return b.vx * (a.x - b.x) + b.vy * (a.y - b.y) > w.k.closing_mps * d


@njit
def noise(u, scale):
    """Gumbel noise of one option with mean 0, points."""
    return -scale * (math.log(-math.log(u)) + EULER)


@njit
def look(w, c, trapped):
    """A new look at the floor: after a catch, a stopped drive, a trap that he has read, or some time."""
    s = c.s
    if s.t - s.look_t >= w.k.look_again_s or (trapped and s.look_t + 0.5 * w.k.time_step_s < s.trap_read_t):
        s.n_looks += 1
        s.look_t = s.t


@njit
def weigh(w, c, trapped, left, d_rim):
    """Values and goals of all but passes into ``c.weighed``; what is no option keeps NOT_AN_OPTION."""
    s = c.s
    k = w.k
    ru = w.rules
    a = c.agents[s.handler]
    for i in range(N_OPTIONS):
        c.weighed[i].value = NOT_AN_OPTION
        c.weighed[i].raw = c.weighed[i].gap = 0.0
        c.weighed[i].promise = c.weighed[i].ahead = c.weighed[i].place = 0.0
    carry = carrying_on(w, left)
    hold = carry + by_phase(
        seen_phase(s),
        k.belief_hold_points,
        k.belief_hold_coming_points,
        k.belief_hold_set_points,
        k.belief_hold_after_points,
    )
    place = SCREEN_PLACE if awaits_screen(s) else region_at(w, a.x, a.y)
    c.weighed[Option.HOLD].place = place
    hold += worth_at(k, place)
    if ru.closely_guarded_s > 0.0 and s.guarded_s > ru.closely_guarded_s - 1.5:
        hold -= 0.4
    late_in_lane = a.lane_t - (ru.three_seconds_s - k.lane_margin_s)
    if ru.three_seconds_s > 0.0 and late_in_lane > 0.0:
        hold -= 0.5 * late_in_lane
    driving = s.action == Action.DRIVE
    c.weighed[Option.HOLD].value = carry + k.belief_stopped_points if driving else hold
    weigh_shot(w, c, left, d_rim, trapped)
    may_dribble = s.dribble != Dribble.DEAD and s.trap_phase != TrapPhase.SET and 0.8 < d_rim < 9.0
    if driving:
        if may_dribble and s.t - s.drive_t < k.drive_most_s:
            go_on(w, c, carry, left)
    elif may_dribble and (s.now >= s.looked_t or closes_out(w, c)) and s.t - s.stopped_t >= k.drive_rest_s:
        weigh_drives(w, c, carry, left)
    if trapped and s.dribble != Dribble.DEAD:
        weigh_retreat(w, c, carry)
        if s.trap_phase == TrapPhase.COMING:
            weigh_split(w, c, carry, hold)


@njit
def best_option(w, c, scale, tried, left):
    """(index, value) of the best option, no pass, points after noise; the draw that all passes share."""
    s = c.s
    a = c.agents[s.handler]
    best = NOT_AN_OPTION
    chosen = Option.HOLD + 0
    u0, u1, u2, u3 = draws.uniforms(s, draws.CHOICE, 0, tried, s.n_looks)
    v0, v1, v2, v3 = draws.uniforms(s, draws.CHOICE, 1, tried, s.n_looks)
    v4, of_passes, _, _ = draws.uniforms(s, draws.CHOICE, 2, tried, s.n_looks)
    for i in range(Option.PASS_1):
        value = c.weighed[i].value
        if value <= NOT_AN_OPTION:
            continue
        if i == Option.SHOOT:
            value -= reluctance(w, s.handler, is_three(w, a.x, a.y), left)
            u = u0
        elif i == Option.HOLD:
            u = u1
        elif i == Option.RETREAT:
            u = u2
        elif i == Option.SPLIT:
            u = u3
        else:
            # so often a drive ends in a shot of his own
            value -= c.weighed[i].promise * reluctance(w, s.handler, False, left)
            u = v0
            if i == Option.DRIVE_FAR_RIGHT + 1:
                u = v1
            elif i == Option.DRIVE_FAR_RIGHT + 2:
                u = v2
            elif i == Option.DRIVE_FAR_RIGHT + 3:
                u = v3
            elif i == Option.DRIVE_FAR_RIGHT + 4:
                u = v4
        # nothing is misjudged in holding: the others are held against it
        if i != Option.HOLD or tried == 1:
            value += noise(u, scale)
        if value > best:
            best = value
            chosen = i
    return chosen, best, of_passes


@njit
def best_pass(w, c, scale, tried, left, trapped, n_pressure, best, of_passes):
    """The best pass after noise, if better than ``best`` (points), else -1; values into ``c.weighed``.

    ``of_passes``: the draw for the noise that all passes share.
    """
    s = c.s
    k = w.k
    usual_s = k.pass_release_s + k.release_pressure_s * n_pressure
    latest_s = usual_s + k.fake_s + k.over_release_s
    if 0.0 < w.rules.three_seconds_s <= c.agents[s.handler].lane_t + latest_s:
        return -1
    release_s = usual_s + k.fake_p * (0.5 + w.players[s.handler].passing) * k.fake_s
    then, stands = n_pressure, False
    if trapped:
        then, stands = on_passer_then(w, c, release_s, n_pressure)
    alike = k.pass_alike_share
    of_all = noise(of_passes, math.sqrt(alike) * scale)
    chosen = -1
    for j in range(N_SIDE):
        if j == s.handler or not in_view(w, c, j):
            continue
        u, _, _, _ = draws.uniforms(s, draws.CHOICE, 3 + j, tried, s.n_looks)
        misjudged = of_all + noise(u, math.sqrt(1.0 - alike) * scale)
        # who is watched tells the risk of every pass
        weigh_pass(
            w, c, j, left, release_s, then, stands, misjudged, NOT_AN_OPTION if s.watched == 1 else best
        )
        value = c.weighed[Option.PASS_1 + j].value
        if value > NOT_AN_OPTION and value + misjudged > best:
            best = value + misjudged
            chosen = Option.PASS_1 + j
    return chosen


@njit
def decide(w, c):
    """One decision of the handler: weighs the options, adds each option's noise, starts the best."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    s.n_decisions += 1
    s.due_t = s.decide_t if abs(s.decide_t - s.t) <= k.time_step_s else s.t
    s.decide_t = s.due_t + k.decision_period_s
    phase = seen_phase(s)
    trapped = phase == TrapPhase.COMING or phase == TrapPhase.SET
    n_pressure = pressure(w, c, s.handler)
    d_rim = distance(a.x, a.y, 0.0, 0.0)
    if brings_up(w, c, d_rim, trapped, n_pressure):
        return
    look(w, c, trapped)
    left = time_left(w, s)
    weigh(w, c, trapped, left, d_rim)
    scale, tried = k.noise_points * (1.5 - w.players[s.handler].passing), 0
    if s.n_looks == k.tried_look and s.look_t == s.t:
        # for this decision only, with draws of its own: then he plays on as ever
        scale, tried = TRIED_POINTS, 1
    chosen, best, of_passes = best_option(w, c, scale, tried, left)
    passes_to = best_pass(w, c, scale, tried, left, trapped, n_pressure, best, of_passes)
    if passes_to >= 0:
        chosen = passes_to
    if s.watched == 1:
        for i in range(N_OPTIONS):
            if c.weighed[i].value > NOT_AN_OPTION:
                option(c, s.handler, i, c.weighed[i], 1.0 if i == chosen else 0.0)
    act(w, c, chosen)


@njit
def stop_dribble(w, c):
    """A drive, split or retreat ends: he stops, perhaps picks the dribble up; surely if it is used up."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    used_up = s.action == Action.DRIVE and s.t - s.drive_t >= k.drive_most_s
    s.action = Action.STAY
    s.stopped_t = s.t
    s.look_t = -NEVER
    u, _, _, _ = draws.uniforms(s, draws.PICK_UP, 0, 0, s.n_decisions)
    if used_up or u < k.pick_up_p:
        s.dribble = Dribble.DEAD
        s.picked_up = 1
        event(c, Event.PICK_UP, s.handler, -1, 0.0, a.x, a.y)


@njit
def act(w, c, chosen):
    """Starts the chosen option."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    o = c.weighed[chosen]
    if chosen == Option.SHOOT:
        start_shot(w, c)
    elif chosen == Option.HOLD:
        pressed = (
            s.trap_phase == TrapPhase.COMING or s.trap_phase == TrapPhase.SET or two_ahead(w, c, k.stop_two_m)
        )
        if s.action == Action.DRIVE or s.action == Action.SPLIT or s.action == Action.RETREAT:
            stop_dribble(w, c)
        elif pressed:
            s.action = Action.STAY
        elif s.action == Action.STAY and s.dribble != Dribble.DEAD:
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
        s.dribble = Dribble.DRIBBLING
        s.goal_x = o.x
        s.goal_y = o.y
        s.end_x = o.x
        s.end_y = o.y
        if chosen == Option.RETREAT:
            s.action = Action.RETREAT
            event(c, Event.RETREAT, s.handler, -1, o.value, a.x, a.y)
        elif chosen == Option.SPLIT:
            s.action = Action.SPLIT
            event(c, Event.SPLIT, s.handler, -1, o.value, a.x, a.y)
        else:
            drive = chosen - Option.DRIVE_FAR_RIGHT
            s.end_x = o.end_x
            s.end_y = o.end_y
            if s.action != Action.DRIVE:
                s.action = Action.DRIVE
                s.drive_t = s.t
                s.drive_way = drive
                # no second thoughts in the first steps: he looks up again after so long, or at the end of it
                way_m = distance(a.x, a.y, o.x, o.y) + distance(o.x, o.y, o.end_x, o.end_y)
                s.decide_t = s.due_t + clip(
                    way_m / dribble_mps(w, c), w.k.decision_period_s, k.drive_commit_s
                )
                c.record.drives += 1
                event(c, Event.DRIVE, s.handler, -1, o.value, a.x, a.y)
                _, u, _, _ = draws.uniforms(s, draws.PICK_UP, 0, 0, s.n_decisions)
                if u < k.travel_p:
                    violation(w, c, Violation.TRAVEL)
