"""Shots, rebounds, fouls, free throws, restarts and the ways a possession ends."""

from __future__ import annotations

import math

from engine.kernel.jit import njit

from engine.kernel import draws
from engine.kernel.defence import NEVER, adopt_now, nearest_defender, side_index
from engine.kernel.log import EV, event
from engine.kernel.motion import clip, distance
from engine.kernel.offence import jitter, spot_of
from engine.kernel.passing import drop, take_ball
from engine.kernel.shooting import block_probability, effective_gap, foul_probability, is_three, make_probability
from engine.kernel.tally import (
    COL_after,
    COL_assisted,
    COL_band0_att,
    COL_blocks,
    COL_dreb,
    COL_end,
    COL_fga,
    COL_first_call,
    COL_fgm,
    COL_fouls,
    COL_fta,
    COL_ftm,
    COL_late_points,
    COL_late_shots,
    COL_net,
    COL_open_threes,
    COL_oreb,
    COL_outcome,
    COL_points,
    COL_rim_after_call,
    COL_rim_attempts,
    COL_rim_made,
    COL_rim_shot,
    COL_shooting_fouls,
    COL_shot_clock_left_ms,
    COL_steals,
    COL_three_attempts,
    COL_three_gap_mm,
    COL_three_made,
    COL_time_ms,
    COL_turnovers,
    COL_violations,
    add,
)
from engine.state import (
    AFTER,
    DRIBBLING,
    ENDS,
    LOOSE,
    MOMENTS,
    N_PLAYERS,
    N_SIDE,
    OUTCOMES,
    OVER,
    REGIONS,
    SHOT_BANDS_M,
    SHOT_FLIGHT,
    SHOT_WINDUP,
    STAY,
    TRAP_AFTER,
    TRAP_NONE,
)

TOP = REGIONS.index("top")
SETTLED = MOMENTS.index("settled")
END_MADE = ENDS.index("made_shot")
END_DREB = ENDS.index("defensive_rebound")
END_TURNOVER = ENDS.index("turnover")
END_FREE_THROWS = ENDS.index("free_throws")
END_SHOT_CLOCK = ENDS.index("shot_clock")
OUT_STEAL = OUTCOMES.index("steal")
OUT_TURNOVER = OUTCOMES.index("other_turnover")
OUT_FOUL = OUTCOMES.index("foul")
OUT_ESCAPE = OUTCOMES.index("escape_pass")
OUT_RETREAT = OUTCOMES.index("retreat")
OUT_SPLIT = OUTCOMES.index("split")
OUT_OTHER = OUTCOMES.index("other")
AFTER_RIM = AFTER.index("rim_shot")
AFTER_OPEN_THREE = AFTER.index("open_three")
AFTER_OTHER_SHOT = AFTER.index("other_shot")
AFTER_RESET = AFTER.index("reset")
AFTER_TURNOVER = AFTER.index("turnover")
MISS, MADE, BLOCKED = 0, 1, 2
REBOUND_KIND, FREE_THROW_KIND = 1, 2
N_BANDS = len(SHOT_BANDS_M)
TWO_PI = 2.0 * math.pi
EV_SHOT = EV["shot"]
EV_MADE = EV["made"]
EV_MISSED = EV["missed"]
EV_BLOCKED = EV["blocked"]
EV_REBOUND = EV["rebound"]
EV_RECOVERED = EV["recovered"]
EV_FREE_THROW = EV["free_throw"]
EV_FOUL = EV["foul"]
EV_THROW_IN = EV["throw_in"]
EV_TURNOVER = EV["turnover"]
EV_STEAL = EV["steal"]
EV_END = EV["end"]
EV_VIOLATION = EV["violation"]
BACKCOURT_COUNT, OVER_AND_BACK, GUARDED, THREE_SECONDS, TRAVEL, LINE, TOO_LONG, SHOT_CLOCK = range(8)
EV_LEFT = EV["trap_left"]


@njit
def close_outcome(c, code):
    """Writes what became of the first call's trap, once; escapes open the account of what came after."""
    s = c.s
    if s.outcome_open == 1:
        c.record[COL_outcome] = code
        s.outcome_open = 0
        s.after_open = 1 if (code == OUT_ESCAPE or code == OUT_RETREAT or code == OUT_SPLIT) else 0
    event(c, EV_LEFT, s.handler, s.trap_call, code, s.ball_x, s.ball_y)


@njit
def close_after(c, code):
    """Writes what came after the escape from the first call's trap, once."""
    s = c.s
    if s.after_open == 1:
        c.record[COL_after] = code
        s.after_open = 0


@njit
def excess(w, c, mean_points):
    """Integer draw (0, +-2, +-3) of the next possession's excess over an average one, with this mean."""
    k = w.k
    s = c.s
    u0, u1, _, _ = draws.uniforms(s, draws.NEXT_POSSESSION, 0, 0, 0)
    size = mean_points if mean_points >= 0.0 else -mean_points
    if u0 >= size / (2.0 + k.excess_three_share):
        return 0
    points = 3 if u1 < k.excess_three_share else 2
    return points if mean_points > 0.0 else -points


@njit
def finish(w, c, end, mean_excess):
    """The possession is over: net points are the points conceded minus the drawn excess."""
    s = c.s
    s.mode = OVER
    c.record[COL_end] = end
    c.record[COL_time_ms] = int(s.t * 1000.0 + 0.5)
    c.record[COL_net] = c.record[COL_points] - excess(w, c, mean_excess)
    if s.after_open == 1:
        close_after(c, AFTER_RESET)
    if s.outcome_open == 1:
        close_outcome(c, OUT_OTHER)
    event(c, EV_END, -1, -1, end, s.ball_x, s.ball_y)


@njit
def turnover(w, c, live, thief):
    """The ball is lost: ``live`` 1 for a steal by ``thief``, 0 for a dead ball."""
    s = c.s
    k = w.k
    add(c, COL_turnovers, 1)
    event(c, EV_TURNOVER, s.handler, thief, live, s.ball_x, s.ball_y)
    if live == 1:
        add(c, COL_steals, 1)
        event(c, EV_STEAL, thief, s.handler, 0.0, s.ball_x, s.ball_y)
        close_outcome_if_open(c, OUT_STEAL)
    else:
        close_outcome_if_open(c, OUT_TURNOVER)
    close_after(c, AFTER_TURNOVER)
    finish(w, c, END_TURNOVER, k.excess_live_steal_points if live == 1 else k.excess_dead_ball_points)


@njit
def close_outcome_if_open(c, code):
    """As close_outcome, without a trace line when no first trap is running."""
    if c.s.outcome_open == 1:
        close_outcome(c, code)


@njit
def violation(w, c, kind):
    """A count, clock or line violation by the offence (dead ball); ``kind`` indexes state.VIOLATIONS."""
    event(c, EV_VIOLATION, c.s.handler, -1, kind, c.s.ball_x, c.s.ball_y)
    add(c, COL_violations, 1)
    turnover(w, c, 0, -1)


@njit
def shot_clock_violation(w, c):
    """The shot clock runs out: a dead-ball turnover that is counted as its own ending."""
    k = w.k
    event(c, EV_VIOLATION, c.s.handler, -1, SHOT_CLOCK, c.s.ball_x, c.s.ball_y)
    add(c, COL_violations, 1)
    add(c, COL_turnovers, 1)
    close_outcome_if_open(c, OUT_TURNOVER)
    close_after(c, AFTER_TURNOVER)
    event(c, EV_TURNOVER, c.s.handler, -1, 0.0, c.s.ball_x, c.s.ball_y)
    finish(w, c, END_SHOT_CLOCK, k.excess_dead_ball_points)


@njit
def start_shot(w, c):
    """The handler goes up: a short wind-up during which defenders still close out."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    d = distance(a.x, a.y, 0.0, 0.0)
    s.mode = SHOT_WINDUP
    s.action = STAY
    release = k.rim_release_s if d < k.rim_range_m + 0.5 else k.shot_release_s
    if s.clock_s < release + 0.05 and w.rules.shot_clock_s > 0.0:
        release = clip(s.clock_s - 0.05, 0.0, release)
    s.release_t = s.t + release


@njit
def release_shot(w, c):
    """The shot leaves: contest, make, block and foul are settled by this shot's draws."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    s.n_shots += 1
    s.shooter = s.handler
    s.shot_x = a.x
    s.shot_y = a.y
    d = distance(a.x, a.y, 0.0, 0.0)
    gap, who = effective_gap(w, c, s.handler, a.x, a.y)
    plain_gap, _ = nearest_defender(c, a.x, a.y)
    three = is_three(w, a.x, a.y)
    p = make_probability(w, s.handler, d, gap, s.clock_s, s.dribble == DRIBBLING)
    u0, u1, u2, u3 = draws.uniforms(s, draws.SHOT, 0, 0, s.n_shots)
    s.shot_three = 1 if three else 0
    s.shot_foul = 1 if u1 < foul_probability(w, s.handler, who, d, gap) else 0
    s.shot_result = MISS
    if s.shot_foul == 1:
        if u3 < p * k.and_one_make_share:
            s.shot_result = MADE
    elif u2 < block_probability(w, s.handler, who, d, gap):
        s.shot_result = BLOCKED
    elif u0 < p:
        s.shot_result = MADE
    at_rim = d < k.rim_range_m
    event(c, EV_SHOT, s.handler, who, plain_gap, a.x, a.y)
    if at_rim:
        c.record[COL_rim_shot] = 1
        if c.record[COL_first_call] > 0:
            add(c, COL_rim_after_call, 1)
    is_open = plain_gap >= k.open_shot_m
    if s.outcome_open == 1:
        close_outcome(c, OUT_OTHER)
    elif at_rim:
        close_after(c, AFTER_RIM)
    elif three and is_open:
        close_after(c, AFTER_OPEN_THREE)
    else:
        close_after(c, AFTER_OTHER_SHOT)
    s.trap_phase = TRAP_NONE
    c.record[COL_shot_clock_left_ms] = int(s.clock_s * 1000.0)
    if s.shot_foul == 0 or s.shot_result == MADE:
        count_attempt(w, c, d, three, at_rim, plain_gap, is_open)
    s.rim_t = s.t + k.shot_flight_s + k.shot_flight_s_per_m * d
    s.mode = SHOT_FLIGHT
    s.ball_x = a.x
    s.ball_y = a.y
    s.ball_z = 2.6


@njit
def count_attempt(w, c, d, three, at_rim, gap_m, is_open):
    """Box-score columns of one field-goal attempt."""
    s = c.s
    k = w.k
    made = 1 if s.shot_result == MADE else 0
    points = 3 if three else 2
    add(c, COL_fga, 1)
    add(c, COL_fgm, made)
    add(c, COL_points, points * made)
    if three:
        add(c, COL_three_attempts, 1)
        add(c, COL_three_made, made)
        add(c, COL_three_gap_mm, int(gap_m * 1000.0 + 0.5))
        if is_open:
            add(c, COL_open_threes, 1)
    if at_rim:
        add(c, COL_rim_attempts, 1)
        add(c, COL_rim_made, made)
    if made == 1 and s.t - s.catch_t < 2.0 and s.n_catches > 0:
        add(c, COL_assisted, 1)
    if w.rules.shot_clock_s > 0.0 and s.clock_s < k.late_clock_s:
        add(c, COL_late_shots, 1)
        add(c, COL_late_points, points * made)
    band = 0
    for i in range(N_BANDS):
        if d >= SHOT_BANDS_M[i]:
            band = i + 1
    add(c, COL_band0_att + 2 * band, 1)
    add(c, COL_band0_att + 2 * band + 1, made)


@njit
def shot_arrives(w, c):
    """At the rim: points, free throws, a block's loose ball, or the rebound."""
    s = c.s
    k = w.k
    s.ball_x = 0.0
    s.ball_y = 0.0
    s.ball_z = 3.05
    if s.shot_result == MADE:
        event(c, EV_MADE, s.shooter, -1, 3.0 if s.shot_three == 1 else 2.0, s.shot_x, s.shot_y)
    if s.shot_foul == 1:
        s.team_fouls += 1
        add(c, COL_fouls, 1)
        add(c, COL_shooting_fouls, 1)
        event(c, EV_FOUL, -1, s.shooter, 1.0, s.shot_x, s.shot_y)
        n = 1
        if s.shot_result != MADE:
            n = 3 if s.shot_three == 1 else 2
        free_throws(w, c, n, False)
        return
    if s.shot_result == MADE:
        finish(w, c, END_MADE, k.excess_made_points)
        return
    if s.shot_result == BLOCKED:
        add(c, COL_blocks, 1)
        event(c, EV_BLOCKED, -1, s.shooter, 0.0, s.shot_x, s.shot_y)
        start_rebound(w, c, distance(s.shot_x, s.shot_y, 0.0, 0.0) + 1.0, REBOUND_KIND)
        return
    event(c, EV_MISSED, s.shooter, -1, 0.0, s.shot_x, s.shot_y)
    start_rebound(w, c, distance(s.shot_x, s.shot_y, 0.0, 0.0), REBOUND_KIND)


@njit
def start_rebound(w, c, d, kind):
    """Where the miss comes down: farther for longer shots, to the far side for long ones from the side."""
    s = c.s
    k = w.k
    ru = w.rules
    s.n_rebounds += 1
    u0, u1, u2, u3 = draws.uniforms(s, draws.REBOUND, 0, 0, s.n_rebounds)
    normal = math.sqrt(-2.0 * math.log(u0)) * math.cos(TWO_PI * u1)
    length = k.rebound_base_m + k.rebound_share * d + k.rebound_sd_m * normal
    length = clip(length, 0.3, 8.0)
    sx = s.shot_x
    far = k.rebound_far_side_p * clip(d / 7.0, 0.0, 1.0)
    if u3 < far:
        sx = -sx
    angle = math.atan2(s.shot_y, sx) + k.rebound_angle_sd * (2.0 * u2 - 1.0) * 1.7320508075688772
    x = clip(length * math.cos(angle), -ru.half_width_m + 0.2, ru.half_width_m - 0.2)
    y = clip(length * math.sin(angle), ru.baseline_y_m + 0.2, ru.half_y_m)
    s.ball_x = x
    s.ball_y = y
    s.ball_z = 2.2
    s.mode = LOOSE
    s.loose_kind = kind
    s.loose_t = s.t + k.rebound_fall_s


@njit
def loose_ball_won(w, c):
    """Agent index who gets the loose ball: exponential race, rates from place, box-out and skill."""
    s = c.s
    k = w.k
    rebound = s.loose_kind != 0
    purpose = draws.REBOUND_RACE if rebound else draws.LOOSE_RACE
    occasion = s.n_rebounds if rebound else s.n_loose
    scale = k.rebound_scale_m if rebound else k.loose_scale_m
    best = NEVER
    who = N_SIDE
    for i in range(N_PLAYERS):
        a = c.agents[i]
        d = distance(a.x, a.y, s.ball_x, s.ball_y)
        weight = math.exp(-clip(d / scale, 0.0, 20.0))
        if rebound:
            weight *= 1.0 + k.rebound_skill * (w.players[i].rebounding - 0.5)
            if i < N_SIDE:
                for j in range(N_SIDE, 2 * N_SIDE):
                    b = c.agents[j]
                    if distance(a.x, a.y, b.x, b.y) < k.box_out_reach_m and (
                        distance(b.x, b.y, s.ball_x, s.ball_y) < d
                    ):
                        weight *= k.box_out_share
                        break
        u, _, _, _ = draws.uniforms(s, purpose, i, 0, occasion)
        key = draws.race_key(u, weight)
        if key < best:
            best = key
            who = i
    return who


@njit
def settle_loose_ball(w, c):
    """The loose ball is taken: a rebound, or a deflection that either side picks up."""
    s = c.s
    k = w.k
    who = loose_ball_won(w, c)
    if s.loose_kind != 0:
        event(c, EV_REBOUND, who, -1, s.loose_kind, s.ball_x, s.ball_y)
        if who >= N_SIDE:
            add(c, COL_dreb, 1)
            s.handler = who
            finish(w, c, END_DREB, k.excess_defensive_rebound_points)
            return
        add(c, COL_oreb, 1)
        if w.rules.shot_clock_s > 0.0:
            s.clock_s = w.rules.offensive_rebound_reset_s
        take_ball(w, c, who)
        # a put-back is decided at once
        s.decide_t = s.t + w.k.time_step_s
        return
    event(c, EV_RECOVERED, who, -1, 0.0, s.ball_x, s.ball_y)
    if who >= N_SIDE:
        turnover(w, c, 1, who)
        return
    take_ball(w, c, who)


@njit
def ball_out(w, c):
    """A ball over the line: the defence's last touch gives a throw-in, the offence's loses it."""
    s = c.s
    if s.out_by_defence == 1:
        close_outcome_if_open(c, OUT_OTHER)
        close_after(c, AFTER_RESET)
        throw_in(w, c, 0)
    else:
        turnover(w, c, 0, -1)


@njit
def free_throws(w, c, n, one_and_one):
    """``n`` free throws by the man who was fouled; a missed last one is rebounded."""
    s = c.s
    k = w.k
    shooter = s.shooter
    made = False
    for i in range(n):
        s.n_free_throws += 1
        u, _, _, _ = draws.uniforms(s, draws.FREE_THROW, 0, 0, s.n_free_throws)
        made = u < w.players[shooter].free_throw
        add(c, COL_fta, 1)
        if made:
            add(c, COL_ftm, 1)
            add(c, COL_points, 1)
        event(c, EV_FREE_THROW, shooter, -1, 1.0 if made else 0.0, 0.0, w.rules.free_throw_y_m)
        if one_and_one and not made:
            break
    if made:
        finish(w, c, END_FREE_THROWS, k.excess_made_points)
        return
    line_up(w, c, shooter)
    s.shot_x = 0.0
    s.shot_y = w.rules.free_throw_y_m
    start_rebound(w, c, w.rules.free_throw_y_m * 0.6, FREE_THROW_KIND)


@njit
def stand(c, i, x, y):
    """Dead ball: agent ``i`` walks to a place and stands there when play goes on."""
    a = c.agents[i]
    a.x = x
    a.y = y
    a.vx = 0.0
    a.vy = 0.0
    a.tx = x
    a.ty = y
    a.lane_t = 0.0


@njit
def line_up(w, c, shooter):
    """Free-throw places: defenders inside, two attackers beside them, the rest back."""
    ru = w.rules
    edge = ru.lane_half_width_m + 0.2
    y = ru.free_throw_y_m
    stand(c, shooter, 0.0, y)
    n = 0
    for i in range(N_SIDE - 1, -1, -1):
        if i == shooter:
            continue
        if n == 0:
            stand(c, i, edge, 1.9)
        elif n == 1:
            stand(c, i, -edge, 1.9)
        elif n == 2:
            stand(c, i, 2.0, y + 4.0)
        else:
            stand(c, i, -2.0, y + 4.0)
        n += 1
    stand(c, 9, edge, 0.9)
    stand(c, 8, -edge, 0.9)
    stand(c, 7, edge, 2.9)
    stand(c, 6, 1.0, y + 2.0)
    stand(c, 5, -1.0, y + 2.0)


@njit
def defensive_foul(w, c):
    """A foul that is not on a shot: throw-in before the bonus, free throws in it."""
    s = c.s
    ru = w.rules
    s.team_fouls += 1
    add(c, COL_fouls, 1)
    event(c, EV_FOUL, -1, s.handler, 0.0, s.ball_x, s.ball_y)
    close_outcome_if_open(c, OUT_FOUL)
    close_after(c, AFTER_RESET)
    if s.team_fouls >= ru.bonus_from:
        s.shooter = s.handler
        s.trap_phase = TRAP_NONE
        one = ru.one_and_one_from > 0 and ru.one_and_one_from <= s.team_fouls <= ru.one_and_one_to
        free_throws(w, c, ru.bonus_free_throws, one)
        return
    throw_in(w, c, 1)


@njit
def throw_in(w, c, after_foul):
    """Dead ball for the offence: everybody takes his place, the ball comes in to the man at the top."""
    s = c.s
    k = w.k
    ru = w.rules
    s.n_restarts += 1
    s.trap_phase = TRAP_NONE
    if after_foul == 1 and ru.shot_clock_s > 0.0 and s.clock_s < ru.foul_reset_s:
        s.clock_s = ru.foul_reset_s
    u, _, _, _ = draws.uniforms(s, draws.RESTART, 0, 0, s.n_restarts)
    s.front = 1
    s.region = TOP
    s.moment = SETTLED
    s.near = 1 if u < 0.5 else -1
    event(c, EV_THROW_IN, -1, -1, after_foul, s.ball_x, s.ball_y)
    take_places(w, c)
    s.handler = lead_person(w, c, 1)
    take_ball(w, c, s.handler)
    s.decide_t = s.t + k.decision_period_s


@njit
def lead_person(w, c, which):
    """Attacker who holds a leading role: 0 brings the ball up, 1 stands at the top."""
    s = c.s
    role = w.lead_role[which]
    side = side_index(s.near)
    for i in range(N_SIDE):
        if w.spot_role_of[side, i] == role:
            return i
    return 0


@njit
def take_places(w, c):
    """All ten stand where the current row has them (dead ball or start)."""
    s = c.s
    s.spot_region = s.region
    s.spot_side = s.near
    s.spot_t = NEVER
    jitter(w, c)
    for i in range(N_SIDE):
        x, y = spot_of(w, c, i)
        stand(c, i, x, y)
        c.agents[i].break_role = -1
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        adopt_now(c, i)
        a.guess_t = NEVER
        a.gamble = 0
        role = w.role_of[side_index(s.near), i - N_SIDE]
        e = w.slides[s.region, s.moment, role]
        stand(c, i, e.x_m * s.near, e.y_m)
