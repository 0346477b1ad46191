"""Shots: chances, wind-up, release, at the rim (ball and traps, section 4).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math

from naive_basics import (
    BLOCKED,
    DRIVE,
    MISSED,
    NONE,
    PHASE_NONE,
    SHOT_FLIGHT,
    SHOT_WINDUP,
    STAY,
    clip,
    dist,
    logistic,
    rim_distance,
)
from naive_endings import close_after, close_outcome, end, free_throws, miss_comes_down
from naive_state import Possession

EDGES_M = (1.25, 3.0, 5.0, 6.75, 8.0)


def effective_gaps(p: Possession, shooter: int, x: float, y: float) -> tuple[float, int, float]:
    """How far off the defender is who bothers a shot most, who he is, and how far off the next man is."""
    k = p.k
    best, second, who = 99.0, 99.0, 5
    for i in p.defenders:
        d = p.distance_to(i, x, y)
        if d > second + 1.0:
            continue
        if p.from_rim(i) > rim_distance(x, y) + 0.2:
            d = d * k["behind_share"]
        d = d - k["reach_contest_share"] * (p.player(i).reach - p.player(shooter).reach)
        d = max(d, 0.0)
        if d < best:
            best, second, who = d, best, i
        elif d < second:
            second = d
    return best, who, second


def unset_now(p: Possession) -> bool:
    """Whether a shot begun now comes off the dribble or after holding the ball too long."""
    return p.dribbling or p.t - p.catch_t > p.k["set_shot_s"]


def feel_rhythm(p: Possession) -> None:
    """How well the handler stands for a shot of his own in this look, or on this drive (offence, 4.1)."""
    driving = p.action == DRIVE
    u = p.draw("RHYTHM", int(driving), p.n_looks)
    size = p.k["shot_rhythm_logit"] * math.sqrt(-2.0 * math.log(u[0]))
    p.rhythm = size * math.cos(2.0 * math.pi * u[1])
    if p.rhythm != 0.0:
        p.met["rhythm on a drive" if driving else "rhythm off a drive"] += 1


def make_chance(
    p: Possession,
    shooter: int,
    d: float,
    gap: float,
    second: float,
    clock: float,
    unset: bool,
    rhythm: float,
) -> float:
    k = p.k
    g = clip(gap, 0.0, k["contest_cap_m"])
    z = p.table_logit(shooter, d) + p.read_table(shooter, d, 1) * (g - k["reference_defender_m"])
    if g < k["smothered_m"] and d > k["rim_range_m"]:
        z -= k["smothered_logit_per_m"] * (k["smothered_m"] - g)
    if second < k["second_contest_m"]:
        z -= k["second_contest_logit"] * clip((k["second_contest_m"] - second) / 0.75, 0.0, 1.0)
    z += k["clock_logit_per_s"] * (clip(clock, 0.0, 24.0) - 12.0)
    z += rhythm
    if unset:
        z += k["off_dribble_logit"]
    return logistic(z)


def foul_chance(p: Possession, d: float, gap: float, clumsy: float) -> float:
    k = p.k
    f = k["shot_foul_p"] * math.exp(-gap / k["shot_foul_scale_m"]) * clumsy
    if d > k["middle_range_m"]:
        return f * k["shot_foul_far_share"]
    if d > k["rim_range_m"]:
        return f * (1.0 + k["shot_foul_far_share"]) * 0.5
    return f


def block_chance(p: Possession, d: float, gap: float, defender: int, shooter: int) -> float:
    k = p.k
    if d > k["block_far_m"]:
        return 0.0
    taller = p.player(defender).reach - p.player(shooter).reach
    chance = k["block_p"] * math.exp(-gap / k["block_scale_m"]) * (1.0 + 2.0 * taller)
    return clip(chance * (1.0 - 0.5 * d / k["block_far_m"]), 0.0, 0.5)


def shot_value(
    p: Possession,
    shooter: int,
    d: float,
    gap: float,
    second: float,
    three: bool,
    clock: float,
    unset: bool,
    rhythm: float,
) -> float:
    """What a shot is worth in the handler's eyes (offence, section 3.3)."""
    chance = make_chance(p, shooter, d, gap, second, clock, unset, rhythm)
    blocked = block_chance(p, d, gap, shooter, shooter)  # by a man of his own reach
    in_it_goes = chance * (1.0 - blocked)
    p.met["reckons with a block" if blocked > 0.0 else "too far for a block"] += 1
    f = foul_chance(p, d, gap, 1.0)
    c = 3.0 if three else 2.0
    ft = p.player(shooter).free_throw
    return (1.0 - f) * (in_it_goes * c + (1.0 - in_it_goes) * p.k["rebound_value_points"]) + f * (
        chance * (c + ft) + (1.0 - chance) * c * ft
    )


def start_shot(p: Possession) -> None:
    k = p.k
    p.mode = SHOT_WINDUP
    p.action = STAY
    at_rim = p.from_rim(p.handler) < k["rim_range_m"] + 0.5
    wind_up = k["rim_release_s"] if at_rim else k["shot_release_s"]
    if p.w.clock.shot_s > 0.0:
        usual, least = wind_up, min(0.3, wind_up)
        ahead = p.due_t - p.t
        most = p.clock_s - ahead - 0.05
        wind_up = clip(most, least, usual)
        if most < usual:
            how = "as usual, it is short" if least == usual else "hurried" if most > least else "by the least"
            p.met[f"little time to go up: {how}"] += 1
            if how == "hurried" and abs(ahead) > 1e-6:
                p.met[f"hurried, due {'after' if ahead > 0.0 else 'before'} the step"] += 1
    p.release_t = p.due_t + wind_up
    p.windup_t = p.due_t
    p.unset = unset_now(p)


def in_time(p: Possession) -> bool:
    """Whether a shot in its wind-up leaves by the moment at which the shot clock runs out."""
    return p.release_t <= p.t + p.clock_s + 1e-9


def shot_leaves(p: Possession) -> None:
    """In a step in which it is time for him to let go: with a shot clock only a shot in time does leave."""
    if p.w.clock.shot_s > 0.0 and not in_time(p):
        p.met["lets go too late"] += 1
        return
    release_shot(p)


def release_shot(p: Possession) -> None:
    k, w, record = p.k, p.w, p.record
    p.n_shots += 1
    p.shooter = shooter = p.handler
    x, y = p.h.x, p.h.y
    p.shot_x, p.shot_y = x, y
    d = rim_distance(x, y)
    gap, who, second = effective_gaps(p, shooter, x, y)
    plain = p.nearest_defender(x, y)[1]
    p.shot_three = w.beyond_arc(x, y)
    has_clock = w.clock.shot_s > 0.0
    clock = p.clock_s if has_clock else 12.0
    chance = make_chance(p, shooter, d, gap, second, clock, p.unset, p.rhythm)
    u = p.draw("SHOT", 0, p.n_shots)
    p.shot_foul = u[1] < foul_chance(p, d, gap, p.clumsy(who))
    if p.shot_foul:
        p.shot_result = 1 if u[3] < chance * k["and_one_make_share"] else 0
    elif u[2] < block_chance(p, d, gap, who, shooter):
        p.shot_result = 2
    else:
        p.shot_result = 1 if u[0] < chance else 0
    p.event("shot", shooter, who, plain, x, y)

    at_rim = d < k["rim_range_m"]
    if at_rim:
        record["rim_shot"] = 1
        if p.trap_number == 1 and p.trap_phase != PHASE_NONE:
            record["rim_after_call"] += 1
    if p.outcome_open:
        record["trapped_shot"] = 1
        close_outcome(p, "foul" if p.shot_foul else "other")
    else:
        open_three = p.shot_three and plain >= k["open_shot_m"]
        close_after(p, "rim_shot" if at_rim else "open_three" if open_three else "other_shot")
    p.trap_phase = PHASE_NONE
    if has_clock:
        record["shot_clock_left_ms"] = int(1000.0 * max(p.clock_s, 0.0))
        if p.clock_s <= 0.0:
            p.met[f"lets go in time, the clock {'at' if p.clock_s > -0.001 else 'below'} 0"] += 1
            if p.release_t > p.t + p.clock_s:
                p.met["lets go in time, at the last moment"] += 1
    if not p.shot_foul or p.shot_result == 1:
        _attempt(p, d, plain)

    p.rim_t = p.t + k["shot_flight_s"] + k["shot_flight_s_per_m"] * d
    p.mode = SHOT_FLIGHT
    p.ball_x, p.ball_y, p.ball_z = x, y, 2.6


def _attempt(p: Possession, d: float, plain: float) -> None:
    k, record = p.k, p.record
    made = p.shot_result == 1
    points = 3 if p.shot_three else 2
    mm = int(1000.0 * plain + 0.5)
    record["fga"] += 1
    if made:
        record["fgm"] += 1
        record["points"] += points
        if p.t - p.catch_t < 2.0 and p.n_catches > 0:
            record["assisted"] += 1
    if p.shot_three:
        record["three_attempts"] += 1
        record["three_made"] += made
        record["three_gap_mm"] += mm
        record["open_threes"] += plain >= k["open_shot_m"]
    if d < k["rim_range_m"]:
        record["rim_attempts"] += 1
        record["rim_made"] += made
        record["rim_gap_mm"] += mm
    elif not p.shot_three:
        record["middle_attempts"] += 1
        record["middle_gap_mm"] += mm
    if p.w.clock.shot_s > 0.0 and p.clock_s < k["late_clock_s"]:
        record["late_shots"] += 1
        if made:
            record["late_points"] += points
    band = sum(d >= edge for edge in EDGES_M)
    record[f"band{band}_att"] += 1
    record[f"band{band}_made"] += made


def shot_arrives(p: Possession) -> None:
    """At the rim."""
    p.ball_x, p.ball_y, p.ball_z = 0.0, 0.0, 3.05
    made = p.shot_result == 1
    points = 3 if p.shot_three else 2
    d = dist(p.shot_x, p.shot_y, 0.0, 0.0)
    if made:
        p.event("made", p.shooter, NONE, points, p.shot_x, p.shot_y)
    if p.shot_foul:
        p.team_fouls += 1
        p.record["fouls"] += 1
        p.record["shooting_fouls"] += 1
        p.event("foul", NONE, p.shooter, 1.0, p.shot_x, p.shot_y)
        free_throws(p, 1 if made else points, one_and_one=False)
    elif made:
        end(p, "made_shot", p.k["excess_made_points"])
    elif p.shot_result == 2:
        p.record["blocks"] += 1
        p.event("blocked", NONE, p.shooter, 0.0, p.shot_x, p.shot_y)
        miss_comes_down(p, d + 1.0, BLOCKED)
    else:
        p.event("missed", p.shooter, NONE, 0.0, p.shot_x, p.shot_y)
        miss_comes_down(p, d, MISSED)
