"""Shots from the wind-up to the rim."""

from __future__ import annotations

from engine.kernel import draws
from engine.kernel.ending import (
    AFTER_OPEN_THREE,
    AFTER_OTHER_SHOT,
    AFTER_RIM,
    END_MADE,
    OUT_FOUL,
    OUT_OTHER,
    close_after,
    close_outcome,
    finish,
)
from engine.kernel.jit import njit
from engine.kernel.log import EV, event
from engine.kernel.motion import clip, distance
from engine.kernel.near import nearest_defender
from engine.kernel.rebound import REBOUND_KIND, start_rebound
from engine.kernel.restarts import EV_FOUL, free_throws
from engine.kernel.shooting import (
    NO_HURRY_S,
    block_probability,
    effective_gap,
    foul_probability,
    is_three,
    make_probability,
)
from engine.kernel.tally import (
    COL_assisted,
    COL_band0_att,
    COL_blocks,
    COL_fga,
    COL_fgm,
    COL_first_call,
    COL_fouls,
    COL_late_points,
    COL_late_shots,
    COL_middle_attempts,
    COL_middle_gap_mm,
    COL_open_threes,
    COL_points,
    COL_rim_after_call,
    COL_rim_attempts,
    COL_rim_gap_mm,
    COL_rim_made,
    COL_rim_shot,
    COL_shooting_fouls,
    COL_shot_clock_left_ms,
    COL_three_attempts,
    COL_three_gap_mm,
    COL_three_made,
    COL_trapped_shot,
    add,
)
from engine.state.record import SHOT_BANDS_M
from engine.state.words import (
    DRIBBLING,
    SHOT_FLIGHT,
    SHOT_WINDUP,
    STAY,
    TRAP_NONE,
)

MISS, MADE, BLOCKED = 0, 1, 2
N_BANDS = len(SHOT_BANDS_M)
EV_SHOT = EV["shot"]
EV_MADE = EV["made"]
EV_MISSED = EV["missed"]
EV_BLOCKED = EV["blocked"]


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
    s.release_t = s.due_t + release


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
    clock_s = s.clock_s if w.rules.shot_clock_s > 0.0 else NO_HURRY_S
    p = make_probability(w, s.handler, d, gap, clock_s, s.dribble == DRIBBLING)
    u0, u1, u2, u3 = draws.uniforms(s, draws.SHOT, 0, 0, s.n_shots)
    s.shot_three = 1 if three else 0
    clumsy = 1.6 - 1.2 * w.players[who].discipline
    s.shot_foul = 1 if u1 < foul_probability(w, clumsy, d, gap) else 0
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
        c.record[COL_trapped_shot] = 1
        close_outcome(c, OUT_FOUL if s.shot_foul == 1 else OUT_OTHER)
    elif at_rim:
        close_after(c, AFTER_RIM)
    elif three and is_open:
        close_after(c, AFTER_OPEN_THREE)
    else:
        close_after(c, AFTER_OTHER_SHOT)
    s.trap_phase = TRAP_NONE
    if w.rules.shot_clock_s > 0.0:
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
        add(c, COL_rim_gap_mm, int(gap_m * 1000.0 + 0.5))
    elif not three:
        add(c, COL_middle_attempts, 1)
        add(c, COL_middle_gap_mm, int(gap_m * 1000.0 + 0.5))
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
