"""Shots from the wind-up to the rim."""

from __future__ import annotations

from engine.kernel import draws
from engine.kernel.ending import close_after, close_outcome, finish
from engine.kernel.jit import njit
from engine.kernel.log import event
from engine.kernel.motion import clip, distance
from engine.kernel.near import nearest_defender
from engine.kernel.rebound import start_rebound
from engine.kernel.restarts import free_throws
from engine.kernel.shooting import (
    NO_HURRY_S,
    block_probability,
    clumsiness,
    effective_gap,
    foul_probability,
    is_three,
    is_unset,
    make_probability,
)
from engine.state.record import SHOT_BANDS_M
from engine.state.words import (
    Action,
    After,
    End,
    Event,
    LooseKind,
    Mode,
    Outcome,
    ShotResult,
    TrapPhase,
)

N_BANDS = len(SHOT_BANDS_M)
#: No shot is got off in less (FIBA Official Basketball Rules, Art. 16.2.5, from memory: .3 s to attempt one).
LEAST_RELEASE_S = 0.3
BEFORE_ZERO_S = 0.05  # who hurries lets go so long before the clock has run out; no source


@njit
def start_shot(w, c):
    """The handler goes up: a short wind-up during which defenders still close out."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    d = distance(a.x, a.y, 0.0, 0.0)
    s.mode = Mode.SHOT_WINDUP
    s.action = Action.STAY
    release = k.rim_release_s if d < k.rim_range_m + 0.5 else k.shot_release_s
    if w.rules.shot_clock_s > 0.0:
        left = s.clock_s - (s.due_t - s.t) - BEFORE_ZERO_S
        release = clip(left, min(LEAST_RELEASE_S, release), release)
    s.release_t = s.due_t + release
    s.windup_t = s.due_t
    s.unset = 1 if is_unset(w, c) else 0


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
    gap, who, second = effective_gap(w, c, s.handler, a.x, a.y)
    plain_gap, _ = nearest_defender(c, a.x, a.y)
    three = is_three(w, a.x, a.y)
    clock_s = s.clock_s if w.rules.shot_clock_s > 0.0 else NO_HURRY_S
    p = make_probability(w, s.handler, d, gap, second, clock_s, s.unset == 1, s.rhythm)
    u0, u1, u2, u3 = draws.uniforms(s, draws.SHOT, 0, 0, s.n_shots)
    s.shot_three = 1 if three else 0
    s.shot_foul = 1 if u1 < foul_probability(w, clumsiness(w, who), d, gap) else 0
    s.shot_result = ShotResult.MISS
    if s.shot_foul == 1:
        if u3 < p * k.and_one_make_share:
            s.shot_result = ShotResult.MADE
    elif u2 < block_probability(w, s.handler, who, d, gap):
        s.shot_result = ShotResult.BLOCKED
    elif u0 < p:
        s.shot_result = ShotResult.MADE
    at_rim = d < k.rim_range_m
    event(c, Event.SHOT, s.handler, who, plain_gap, a.x, a.y)
    if at_rim:
        c.record.rim_shot = 1
        if s.trap_number == 1 and s.trap_phase != TrapPhase.NONE:
            c.record.rim_after_call += 1
    is_open = plain_gap >= k.open_shot_m
    if s.outcome_open == 1:
        c.record.trapped_shot = 1
        close_outcome(c, Outcome.FOUL if s.shot_foul == 1 else Outcome.OTHER)
    elif at_rim:
        close_after(c, After.RIM_SHOT)
    elif three and is_open:
        close_after(c, After.OPEN_THREE)
    else:
        close_after(c, After.OTHER_SHOT)
    s.trap_phase = TrapPhase.NONE
    if w.rules.shot_clock_s > 0.0:
        c.record.shot_clock_left_ms = int(max(s.clock_s, 0.0) * 1000.0)
    if s.shot_foul == 0 or s.shot_result == ShotResult.MADE:
        count_attempt(w, c, d, three, at_rim, plain_gap, is_open)
    s.rim_t = s.t + k.shot_flight_s + k.shot_flight_s_per_m * d
    s.mode = Mode.SHOT_FLIGHT
    s.ball_x = a.x
    s.ball_y = a.y
    s.ball_z = 2.6


@njit
def count_attempt(w, c, d, three, at_rim, gap_m, is_open):
    """Box-score columns of one field-goal attempt."""
    s = c.s
    k = w.k
    made = 1 if s.shot_result == ShotResult.MADE else 0
    points = 3 if three else 2
    c.record.fga += 1
    c.record.fgm += made
    c.record.points += points * made
    if three:
        c.record.three_attempts += 1
        c.record.three_made += made
        c.record.three_gap_mm += int(gap_m * 1000.0 + 0.5)
        if is_open:
            c.record.open_threes += 1
    if at_rim:
        c.record.rim_attempts += 1
        c.record.rim_made += made
        c.record.rim_gap_mm += int(gap_m * 1000.0 + 0.5)
    elif not three:
        c.record.middle_attempts += 1
        c.record.middle_gap_mm += int(gap_m * 1000.0 + 0.5)
    if made == 1 and s.t - s.catch_t < 2.0 and s.n_catches > 0:
        c.record.assisted += 1
    if w.rules.shot_clock_s > 0.0 and s.clock_s < k.late_clock_s:
        c.record.late_shots += 1
        c.record.late_points += points * made
    band = 0
    for i in range(N_BANDS):
        if d >= SHOT_BANDS_M[i]:
            band = i + 1
    c.record.band[band, 0] += 1
    c.record.band[band, 1] += made


@njit
def shot_arrives(w, c):
    """At the rim: points, free throws, a block's loose ball, or the rebound."""
    s = c.s
    k = w.k
    s.ball_x = 0.0
    s.ball_y = 0.0
    s.ball_z = 3.05
    if s.shot_result == ShotResult.MADE:
        event(c, Event.MADE, s.shooter, -1, 3.0 if s.shot_three == 1 else 2.0, s.shot_x, s.shot_y)
    if s.shot_foul == 1:
        s.team_fouls += 1
        c.record.fouls += 1
        c.record.shooting_fouls += 1
        event(c, Event.FOUL, -1, s.shooter, 1.0, s.shot_x, s.shot_y)
        n = 1
        if s.shot_result != ShotResult.MADE:
            n = 3 if s.shot_three == 1 else 2
        free_throws(w, c, n, False)
        return
    if s.shot_result == ShotResult.MADE:
        finish(w, c, End.MADE_SHOT, k.excess_made_points)
        return
    if s.shot_result == ShotResult.BLOCKED:
        c.record.blocks += 1
        event(c, Event.BLOCKED, -1, s.shooter, 0.0, s.shot_x, s.shot_y)
        start_rebound(w, c, distance(s.shot_x, s.shot_y, 0.0, 0.0) + 1.0, LooseKind.BLOCK)
        return
    event(c, Event.MISSED, s.shooter, -1, 0.0, s.shot_x, s.shot_y)
    start_rebound(w, c, distance(s.shot_x, s.shot_y, 0.0, 0.0), LooseKind.REBOUND)
