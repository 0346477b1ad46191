"""One possession, step by step: the schedule of the model.

Order in a step: clocks; where everybody wants to be; bodies move; the ball and its holder; rows follow; the
trap; counts and hazards; the handler's decision if it is due; the trace.
"""

from __future__ import annotations

from engine.kernel import draws
from engine.kernel.coded import coded_call, coded_places
from engine.kernel.decide import decide
from engine.kernel.defence import defence_targets
from engine.kernel.ending import (
    BACKCOURT_COUNT,
    GUARDED,
    OVER_AND_BACK,
    THREE_SECONDS,
    TOO_LONG,
    TRAVEL,
    shot_clock_violation,
    turnover,
    violation,
)
from engine.kernel.jit import njit
from engine.kernel.log import EV, event
from engine.kernel.motion import distance, move_all
from engine.kernel.near import NEVER, nearest_defender, side_index
from engine.kernel.offence import blocker, offence_targets
from engine.kernel.passing import (
    CAUGHT,
    OUT_BALL,
    STOLEN,
    catch,
    fly,
    release_pass,
    take_ball,
)
from engine.kernel.rebound import settle_loose_ball
from engine.kernel.restarts import (
    ball_out,
    defensive_foul,
    stand,
    take_places,
)
from engine.kernel.rows import SETTLED, adopt_now, follow_ball
from engine.kernel.shots import release_shot, shot_arrives
from engine.kernel.tally import (
    COL_overflow,
    COL_shot_clock_left_ms,
    COL_steps_jog,
    COL_steps_run,
    COL_steps_sprint,
    COL_steps_walk,
    add,
)
from engine.kernel.trap import (
    IN_AIR,
    chance,
    look_for_chances,
    trap_hazards,
    update_trap,
)
from engine.state.arrays import MOST_SHADOWS, N_SIDE
from engine.state.record import N_RECORD
from engine.state.words import (
    DRIBBLE_TO,
    DRIBBLING,
    DRIVE,
    HELD,
    LOOSE,
    OVER,
    PASS_FLIGHT,
    PASS_WINDUP,
    REGIONS,
    SHOT_FLIGHT,
    SHOT_WINDUP,
    SPLIT,
    STAY,
    TRAP_COMING,
    TRAP_NONE,
    TRAP_SET,
)

BACKCOURT = REGIONS.index("backcourt")
TOP = REGIONS.index("top")
EV_START = EV["start"]
N_SUBJECTS = 16


@njit
def reset(w, c, seed, possession, branch, max_calls):
    """Clears the scratch arrays and sets the possession's identity."""
    s = c.s
    ru = w.rules
    for i in range(N_RECORD):
        c.record[i] = 0
    c.record[COL_shot_clock_left_ms] = -1
    for i in range(N_SUBJECTS):
        c.chances[i] = 0
    for i in range(MOST_SHADOWS):
        c.shadow_chances[i] = 0
    for i in range(N_SIDE):
        c.guards[i] = -1
        c.trap_entry[i] = 0
    s.seed = seed
    s.possession = possession
    s.branch = branch
    s.max_calls = max_calls
    s.t = 0.0
    s.now = 0.0
    s.begun = 0.0
    s.due_t = 0.0
    s.step = 0
    s.clock_s = ru.shot_clock_s
    s.mode = HELD
    s.handler = 0
    s.passer = -1
    s.action = STAY
    s.dribble = 0
    s.goal_x = 0.0
    s.goal_y = 0.0
    s.drive_t = 0.0
    s.end_x = 0.0
    s.end_y = 0.0
    s.moment = SETTLED
    s.catch_t = 0.0
    s.stale_t = 0.0
    s.decide_t = 0.0
    s.held_chance = 0
    s.picked_up = 0
    s.target = -1
    s.pass_kind = 0
    s.release_t = 0.0
    s.arrive_t = 0.0
    s.release_pressure = 0
    s.pass_share = 0.0
    s.pass_is_skip = 0
    s.pass_missed_bump = 0
    s.shot_three = 0
    s.shot_result = 0
    s.shot_foul = 0
    s.rim_t = 0.0
    s.shooter = 0
    s.loose_kind = 0
    s.loose_t = 0.0
    s.out_by_defence = 0
    s.guarded_s = 0.0
    s.backcourt_s = 0.0
    s.team_fouls = ru.team_fouls
    s.time_outs = ru.time_outs_left
    s.trap_phase = TRAP_NONE
    s.trap_call = 0
    s.trap_t = 0.0
    s.trap_side = 1
    s.trapper_0 = -1
    s.trapper_1 = -1
    s.trap_handler = -1
    s.trap_read_t = NEVER
    s.trap_number = 0
    s.after_t = 0.0
    s.outcome_open = 0
    s.after_open = 0
    s.across = 0
    s.matched = 0
    s.patience = 1.0
    s.n_decisions = 0
    s.n_passes = 0
    s.n_shots = 0
    s.n_rebounds = 0
    s.n_free_throws = 0
    s.n_loose = 0
    s.n_restarts = 0
    s.n_jitter = 0
    s.n_catches = 0
    s.n_held = 0
    s.n_events = 0
    s.n_options = 0
    for i in range(2 * N_SIDE):
        a = c.agents[i]
        a.speed_share = 1.0
        a.sliding = 0
        a.focus = 0
        a.adopt_t = NEVER
        a.guess_t = NEVER
        a.guess_who = -1
        a.gamble = 0
        a.touch_u = 1.0
        a.job = 0
        a.read_t = NEVER
        a.break_role = -1
        a.lane_t = 0.0


@njit
def start(w, c):
    """Everybody's first place: ball at the top, or on its way over half court."""
    s = c.s
    k = w.k
    ru = w.rules
    u0, u1, u2, u3 = draws.uniforms(s, draws.START, 0, 0, 0)
    s.patience = 1.0 + k.patience_spread * (2.0 * u3 - 1.0)
    s.near = 1 if u2 < 0.5 else -1
    s.region = TOP
    s.front = 1
    take_places(w, c)
    s.handler = w.lead_person
    if ru.bring_up == 1:
        s.region = BACKCOURT
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
        s.action = DRIBBLE_TO
        s.dribble = DRIBBLING
        role = w.spot_role_of[side_index(s.near), s.handler]
        s.goal_x = w.spots[TOP, role, 0] * s.near + c.agents[s.handler].dx
        s.goal_y = w.spots[TOP, role, 1] + c.agents[s.handler].dy
    event(c, EV_START, s.handler, -1, s.near, s.ball_x, s.ball_y)


@njit
def move_ball(w, c):
    """The ball's part of the step; returns True if a pass was caught in it."""
    s = c.s
    k = w.k
    if s.mode == HELD or s.mode == PASS_WINDUP or s.mode == SHOT_WINDUP:
        h = c.agents[s.handler]
        s.ball_x = h.x
        s.ball_y = h.y
        if s.mode == PASS_WINDUP and s.now >= s.release_t:
            release_pass(w, c)
            if s.trap_phase == TRAP_NONE:
                chance(w, c, IN_AIR, s.target, s.region, s.pass_x1, s.pass_y1)
        elif s.mode == SHOT_WINDUP and s.now >= s.release_t:
            release_shot(w, c)
        elif s.mode == HELD and s.action == DRIBBLE_TO:
            if distance(h.x, h.y, s.goal_x, s.goal_y) < k.arrival_radius_m:
                s.action = STAY
        return False
    if s.mode == PASS_FLIGHT:
        what = fly(w, c)
        if what == CAUGHT:
            catch(w, c)
            _, _, _, u3 = draws.uniforms(s, draws.AIM, 0, 0, s.n_passes)
            if u3 < k.travel_p:
                violation(w, c, TRAVEL)
                return False
            return True
        if what == STOLEN:
            turnover(w, c, 1, s.target)
        elif what == OUT_BALL:
            ball_out(w, c)
        return False
    if s.mode == SHOT_FLIGHT:
        if s.now >= s.rim_t:
            shot_arrives(w, c)
        return False
    if s.mode == LOOSE and s.now >= s.loose_t:
        settle_loose_ball(w, c)
    return False


@njit
def counts(w, c):
    """Backcourt, closely-guarded and lane counts; over-and-back; True if one ended the possession."""
    s = c.s
    ru = w.rules
    dt = w.k.time_step_s
    if s.mode == HELD:
        h = c.agents[s.handler]
        if h.y < ru.half_y_m:
            if s.front == 0:
                s.front = 1
                if s.across == 0:
                    s.across = 1
        elif s.front == 1 and ru.backcourt_s > 0.0 and h.y > ru.half_y_m + 0.15:
            violation(w, c, OVER_AND_BACK)
            return
        gap, _ = nearest_defender(c, h.x, h.y)
        if (
            ru.closely_guarded_s > 0.0
            and gap <= ru.closely_guarded_m
            and (s.dribble != DRIBBLING or ru.closely_guarded_dribble == 1)
            and s.front == 1
        ):
            s.guarded_s += dt
            if s.guarded_s >= ru.closely_guarded_s:
                violation(w, c, GUARDED)
                return
        else:
            s.guarded_s = 0.0
    if s.front == 0 and ru.backcourt_s > 0.0:
        s.backcourt_s += dt
        if s.backcourt_s >= ru.backcourt_s and s.mode != LOOSE:
            violation(w, c, BACKCOURT_COUNT)
            return
    camp = w.k.lane_camp_mps
    for i in range(2 * N_SIDE):
        a = c.agents[i]
        in_lane = abs(a.x) < ru.lane_half_width_m and a.y < ru.free_throw_y_m
        if not in_lane or s.mode == SHOT_FLIGHT or s.mode == LOOSE or s.front == 0:
            a.lane_t = 0.0
        elif a.vx * a.vx + a.vy * a.vy < camp * camp:
            a.lane_t += dt
            if i < N_SIDE and a.lane_t >= ru.three_seconds_s > 0.0 and s.mode != SHOT_WINDUP:
                s.ball_x = a.x
                s.ball_y = a.y
                violation(w, c, THREE_SECONDS)
                return


@njit
def ball_hazards(w, c):
    """Strips (outside traps, which have their own), lost dribbles, fouls and charges of a live dribble."""
    s = c.s
    k = w.k
    if s.mode != HELD or s.dribble != DRIBBLING:
        return
    trapped = s.trap_phase == TRAP_COMING or s.trap_phase == TRAP_SET
    h = c.agents[s.handler]
    gap, who = nearest_defender(c, h.x, h.y)
    dt = k.time_step_s
    u0, u1, u2, u3 = draws.uniforms(s, draws.BALL_HAZARD, 0, 0, s.step)
    loose = 1.5 - w.players[s.handler].handle
    if not trapped and gap < k.strip_within_m and draws.happens(u0, k.strip_rate_per_s * loose, dt):
        turnover(w, c, 1, who)
        return
    attacking = s.action == DRIVE or s.action == SPLIT
    if not attacking:
        return
    if draws.happens(u1, k.dribble_loss_rate_per_s * loose, dt):
        turnover(w, c, 0, -1)
        return
    in_way = blocker(w, c)
    if in_way >= 0:
        rate = k.drive_foul_rate_per_s * (1.6 - 1.2 * w.players[in_way].discipline)
        if draws.happens(u2, rate, dt):
            s.shooter = s.handler
            defensive_foul(w, c)
            return
        b = c.agents[in_way]
        planted = b.vx * b.vx + b.vy * b.vy < 1.0
        outside_arc = distance(b.x, b.y, 0.0, 0.0) > w.rules.no_charge_m
        if planted and outside_arc and draws.happens(u3, k.charge_rate_per_s, dt):
            turnover(w, c, 0, -1)


@njit
def count_speeds(c):
    """Agent-steps of all ten by speed band, every step in which people move (bands: state.RECORD)."""
    for i in range(2 * N_SIDE):
        a = c.agents[i]
        v2 = a.vx * a.vx + a.vy * a.vy
        if v2 <= 1.0:
            add(c, COL_steps_walk, 1)
        elif v2 <= 9.0:
            add(c, COL_steps_jog, 1)
        elif v2 <= 49.0:
            add(c, COL_steps_run, 1)
        else:
            add(c, COL_steps_sprint, 1)


@njit
def begin(w, c, seed, possession, branch, max_calls):
    """Sets a possession up: identity, places, first holder."""
    reset(w, c, seed, possession, branch, max_calls)
    start(w, c)


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
    if ru.shot_clock_s > 0.0 and s.mode != SHOT_FLIGHT and not (s.mode == LOOSE and s.loose_kind != 0):
        s.clock_s -= k.time_step_s
        if s.clock_s <= 0.0:
            shot_clock_violation(w, c)
            return
    offence_targets(w, c)
    defence_targets(w, c)
    if w.policy_where == 1:
        coded_places(w, c, where)
    move_all(w, c)
    count_speeds(c)
    before = s.region
    caught = move_ball(w, c)
    if s.mode == OVER:
        return
    follow_ball(w, c)
    update_trap(w, c)
    if s.mode == OVER:
        return
    look_for_chances(w, c, caught, before)
    if w.policy_call == 1:
        coded_call(w, c, ask)
    counts(w, c)
    if s.mode == OVER:
        return
    ball_hazards(w, c)
    if s.mode == OVER:
        return
    trap_hazards(w, c)
    if s.mode == HELD and s.now >= s.decide_t:
        decide(w, c)
    if s.t >= k.longest_possession_s and s.mode != OVER:
        c.record[COL_overflow] = 1
        violation(w, c, TOO_LONG)


@njit
def play_possession(w, c, where, ask, seed, possession, branch, max_calls):
    """Plays one possession to its end into ``c.record``."""
    begin(w, c, seed, possession, branch, max_calls)
    while c.s.mode != OVER:
        step(w, c, where, ask)
