"""One possession, step by step: the schedule of the model.

Order in a step: clocks; where everybody wants to be; bodies move; the ball and its holder; rows follow; the
trap; counts and hazards; the handler's decision if it is due; the trace.
"""

from __future__ import annotations

import math

from engine.kernel import draws
from engine.kernel.coded import coded_call, coded_places
from engine.kernel.decide import decide
from engine.kernel.defence import defence_targets
from engine.kernel.ending import shot_clock_violation, turnover, violation
from engine.kernel.jit import njit
from engine.kernel.log import event
from engine.kernel.motion import EPSILON, distance, move_all
from engine.kernel.near import defenders_within, nearest_defender, side_index, to_line
from engine.kernel.offence import blocker, offence_targets
from engine.kernel.passing import catch, fly, release_pass, take_ball
from engine.kernel.rebound import settle_loose_ball, touched_ring
from engine.kernel.restarts import ball_out, defensive_foul, stand, take_places
from engine.kernel.rows import adopt_now, follow_ball
from engine.kernel.scratch import BLANK
from engine.kernel.shooting import clumsiness
from engine.kernel.shots import release_shot, shot_arrives
from engine.kernel.trap import chance, look_for_chances, trap_hazards, update_trap
from engine.state.arrays import N_SIDE
from engine.state.words import (
    Action,
    Dribble,
    Event,
    Flight,
    Loss,
    Mode,
    Region,
    ShotResult,
    TrapPhase,
    Trigger,
    Violation,
)


@njit
def start(w, c):
    """Everybody's first place: ball at the top, or on its way over half court."""
    s = c.s
    k = w.k
    ru = w.rules
    u0, u1, u2, _ = draws.uniforms(s, draws.START, 0, 0, 0)
    s.near = 1 if u2 < 0.5 else -1
    s.region = Region.TOP
    s.front = 1
    take_places(w, c)
    s.handler = w.lead_person
    if ru.bring_up == 1:
        s.region = Region.BACKCOURT
        s.front = 0
        s.backcourt_s = k.backcourt_used_s
        if ru.shot_clock_s > 0.0:
            s.clock_s = ru.shot_clock_s - k.backcourt_used_s
        take_places(w, c)
        x = (2.0 * u0 - 1.0) * k.start_spread_m
        y = ru.half_y_m + 0.8 + 1.2 * u1
        stand(c, s.handler, x, y if y < ru.far_y_m - 0.3 else ru.far_y_m - 0.3)
    s.ball_x = c.agents[s.handler].x
    s.ball_y = c.agents[s.handler].y
    s.old_x = s.ball_x
    s.old_y = s.ball_y
    take_ball(w, c, s.handler)
    for i in range(N_SIDE, 2 * N_SIDE):
        adopt_now(c, i)
    if ru.bring_up == 1:
        s.action = Action.DRIBBLE_TO
        s.dribble = Dribble.DRIBBLING
        role = w.spot_role_of[side_index(s.near), s.handler]
        s.goal_x = w.spots[Region.TOP, role, 0] * s.near + c.agents[s.handler].dx
        s.goal_y = w.spots[Region.TOP, role, 1] + c.agents[s.handler].dy
    event(c, Event.START, s.handler, -1, float(s.near), s.ball_x, s.ball_y)


@njit
def move_ball(w, c):
    """The ball's part of the step; returns True if a pass was caught in it."""
    s = c.s
    k = w.k
    if s.mode == Mode.HELD or s.mode == Mode.PASS_WINDUP or s.mode == Mode.SHOT_WINDUP:
        h = c.agents[s.handler]
        s.ball_x = h.x
        s.ball_y = h.y
        if s.mode == Mode.PASS_WINDUP and s.now >= s.release_t:
            release_pass(w, c)
            if s.trap_phase == TrapPhase.NONE:
                chance(w, c, Trigger.IN_AIR, s.target, s.region, s.pass_x1, s.pass_y1)
        elif s.mode == Mode.SHOT_WINDUP and s.now >= s.release_t and in_time(w, s):
            release_shot(w, c)
        elif s.mode == Mode.HELD and s.action == Action.DRIBBLE_TO:
            if distance(h.x, h.y, s.goal_x, s.goal_y) < k.arrival_radius_m:
                s.action = Action.STAY
        return False
    if s.mode == Mode.PASS_FLIGHT:
        what = fly(w, c)
        if what == Flight.CAUGHT:
            catch(w, c)
            return True
        if what == Flight.STOLEN:
            turnover(w, c, 1, s.target, Loss.PASS)
        elif what == Flight.OUT:
            ball_out(w, c)
        return False
    if s.mode == Mode.SHOT_FLIGHT:
        if s.now >= s.rim_t:
            shot_arrives(w, c)
        return False
    if s.mode == Mode.LOOSE and s.now >= s.loose_t:
        settle_loose_ball(w, c)
    return False


@njit
def counts(w, c):
    """Backcourt, closely-guarded and lane counts, over-and-back: the one that is due ends the possession."""
    s = c.s
    ru = w.rules
    dt = w.k.time_step_s
    if s.mode == Mode.HELD:
        h = c.agents[s.handler]
        if h.y < ru.half_y_m:
            if s.front == 0:
                s.front = 1
                if s.across == 0:
                    s.across = 1
        elif s.front == 1 and ru.backcourt_s > 0.0 and h.y > ru.half_y_m + 0.15:
            violation(w, c, Violation.OVER_AND_BACK)
            return
        gap, s.gap_who = nearest_defender(c, h.x, h.y)
        s.gap = gap
        if (
            ru.closely_guarded_s > 0.0
            and gap <= ru.closely_guarded_m
            and (s.dribble != Dribble.DRIBBLING or ru.closely_guarded_dribble == 1)
            and s.front == 1
        ):
            s.guarded_s += dt
            if s.guarded_s >= ru.closely_guarded_s:
                violation(w, c, Violation.CLOSELY_GUARDED)
                return
        else:
            s.guarded_s = 0.0
    if s.front == 0 and ru.backcourt_s > 0.0:
        s.backcourt_s += dt
        if s.backcourt_s >= ru.backcourt_s and s.mode != Mode.LOOSE:
            violation(w, c, Violation.BACKCOURT_COUNT)
            return
    camp = w.k.lane_camp_mps
    for i in range(2 * N_SIDE):
        a = c.agents[i]
        if not in_lane(ru, a.x, a.y) or s.mode == Mode.SHOT_FLIGHT or s.mode == Mode.LOOSE or s.front == 0:
            a.lane_t = 0.0
        elif a.vx * a.vx + a.vy * a.vy < camp * camp and not (i < N_SIDE and may_be_in_lane(w, c, i)):
            a.lane_t += dt
            if i < N_SIDE and a.lane_t >= ru.three_seconds_s > 0.0:
                s.ball_x = a.x
                s.ball_y = a.y
                violation(w, c, Violation.THREE_SECONDS)
                return


@njit
def in_lane(ru, x, y):
    """True in the restricted area."""
    return abs(x) < ru.lane_half_width_m and y < ru.free_throw_y_m


@njit
def may_be_in_lane(w, c, i):
    """True while the count on attacker ``i`` stands: a shot goes up, he drives to it, or he leaves in time.

    FIBA Official Basketball Rules, Art. 26.1.2, from memory. In time: from where he makes to leave at all.
    """
    s = c.s
    ru = w.rules
    a = c.agents[i]
    if s.mode == Mode.SHOT_WINDUP or (s.mode == Mode.HELD and i == s.handler and s.action == Action.DRIVE):
        return True
    return a.lane_t > ru.three_seconds_s - w.k.lane_margin_s and not in_lane(ru, a.tx, a.ty)


@njit
def ball_hazards(w, c):
    """A live dribble: taken by whoever is near, lost by itself or on a line; on a drive fouls and charges."""
    s = c.s
    k = w.k
    if s.mode != Mode.HELD or s.dribble != Dribble.DRIBBLING:
        return
    dt = k.time_step_s
    u0, u1, u2, u3 = draws.uniforms(s, draws.BALL_HAZARD, 0, 0, s.step)
    loose = 1.5 - w.players[s.handler].handle
    if s.gap < k.strip_within_m:
        a = c.agents[s.handler]
        rate = defenders_within(c, a.x, a.y, k.strip_within_m) * k.strip_rate_per_s * loose
        if s.action == Action.SPLIT:
            rate *= k.split_strip_share
        if draws.happens(u0, rate, dt):
            turnover(w, c, 1, s.gap_who, Loss.STRIP)
            return
    if draws.happens(u1, k.dribble_loss_rate_per_s * loose, dt):
        turnover(w, c, 0, -1, Loss.DRIBBLE)
        return
    h = c.agents[s.handler]
    moves = h.vx * h.vx + h.vy * h.vy > 1.0
    if moves and to_line(w.rules, h) < k.step_out_within_m:
        u, _, _, _ = draws.uniforms(s, draws.BALL_HAZARD, 1, 0, s.step)
        if draws.happens(u, k.dribble_line_rate_per_s * loose, dt):
            violation(w, c, Violation.STEPPED_ON_LINE)
            return
    if s.action != Action.DRIVE and s.action != Action.SPLIT:
        return
    in_way = blocker(w, c)
    if in_way >= 0:
        rate = k.drive_foul_rate_per_s * clumsiness(w, in_way)
        if draws.happens(u2, rate, dt):
            s.shooter = s.handler
            defensive_foul(w, c)
            return
        b = c.agents[in_way]
        planted = b.vx * b.vx + b.vy * b.vy < 1.0
        outside_arc = distance(b.x, b.y, 0.0, 0.0) > w.rules.no_charge_m
        if planted and outside_arc and draws.happens(u3, k.charge_rate_per_s, dt):
            turnover(w, c, 0, -1, Loss.OFFENSIVE_FOUL)


@njit
def count_speeds(c):
    """Agent-steps of all ten by speed band, every step in which people move (bands: state.RECORD)."""
    walk = 0
    jog = 0
    run = 0
    for i in range(2 * N_SIDE):
        a = c.agents[i]
        v2 = a.vx * a.vx + a.vy * a.vy
        walk += 1 if v2 <= 1.0 else 0
        jog += 1 if v2 <= 9.0 else 0
        run += 1 if v2 <= 49.0 else 0
    c.record.steps_walk += walk
    c.record.steps_jog += jog - walk
    c.record.steps_run += run - jog
    c.record.steps_sprint += 2 * N_SIDE - run


@njit
def begin(w, scratch, seed, possession, branch, max_calls, watched):
    """Sets a possession up in ``scratch`` (SCRATCH [1]): a blank state, identity, places, first holder.

    ``watched`` 1 notes events and weighed options; the possession is the same.
    """
    scratch[0] = BLANK[0]
    c = scratch[0]
    s = c.s
    s.seed = seed
    s.possession = possession
    s.branch = branch
    s.max_calls = max_calls
    s.watched = watched
    # as he is known: by the shots he takes, which are about one standard deviation better than his others
    s.shooter_logit = math.log(w.k.shooter_make / (1.0 - w.k.shooter_make)) - w.k.shot_rhythm_logit
    s.clock_s = w.rules.shot_clock_s
    s.team_fouls = w.rules.team_fouls
    s.time_outs = w.rules.time_outs_left
    start(w, c)


@njit
def in_time(w, s):
    """True if the shot that is being got off leaves by the moment at which the shot clock runs out."""
    return w.rules.shot_clock_s <= 0.0 or s.release_t <= s.t + s.clock_s + EPSILON


@njit
def clock_runs(s):
    """True but for a shot that nobody has blocked, and what rebounds of it (FIBA 29.2, from memory)."""
    if s.mode == Mode.SHOT_FLIGHT:
        return s.shot_result == ShotResult.BLOCKED
    return not (s.mode == Mode.LOOSE and touched_ring(s))


@njit
def step(w, c, where, ask):
    """One step of the possession in ``c``; ``c.s.mode`` is OVER when it has ended.

    ``where`` and ``ask`` are the two functions of a coded policy (engine.policies.coded); a world without one
    never asks them.
    """
    s = c.s
    k = w.k
    ru = w.rules
    s.n_events = 0
    s.n_options = 0
    s.step += 1
    s.t = s.step * k.time_step_s
    s.now = s.t + 0.5 * k.time_step_s
    s.begun = s.t - 0.5 * k.time_step_s
    if ru.shot_clock_s > 0.0 and clock_runs(s):
        s.clock_s -= k.time_step_s
        if s.clock_s <= 0.0 and not (s.mode == Mode.SHOT_WINDUP and in_time(w, s)):
            shot_clock_violation(w, c)
            return
    offence_targets(w, c)
    if s.mode == Mode.OVER:
        return
    defence_targets(w, c)
    if w.policy_where == 1:
        coded_places(w, c, where)
    move_all(w, c)
    count_speeds(c)
    before = s.region
    caught = move_ball(w, c)
    if s.mode == Mode.OVER:
        return
    follow_ball(w, c)
    update_trap(w, c)
    if s.mode == Mode.OVER:
        return
    look_for_chances(w, c, caught, before)
    if w.policy_call == 1:
        coded_call(w, c, ask)
    counts(w, c)
    if s.mode == Mode.OVER:
        return
    ball_hazards(w, c)
    if s.mode == Mode.OVER:
        return
    trap_hazards(w, c)
    if s.mode == Mode.HELD and s.now >= s.decide_t:
        decide(w, c)
    if s.t >= k.longest_possession_s and s.mode != Mode.OVER:
        c.record.overflow = 1
        violation(w, c, Violation.TOO_LONG)
