"""The first call's account, endings, dead balls, free throws (defence, sections 8 and 9).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math

from naive_basics import (
    AFTERS,
    BLOCKED,
    ENDS,
    FREE_THROW,
    LOOSE,
    LOSSES,
    NEVER,
    NONE,
    OUTCOMES,
    OVER,
    OWN_MAN,
    PHASE_NONE,
    SETTLED,
    SHOT_FLIGHT,
    SHOT_WINDUP,
    TOP,
    VIOLATIONS,
    clip,
    toward_rim,
)
from naive_rows import adopt, men_from_the_start, take_ball
from naive_screens import stop_plays
from naive_state import Possession

# --- the account of the first call (court and motion, section 8) --------------------------------------------


def close_outcome(p: Possession, outcome: str) -> None:
    code = OUTCOMES.index(outcome)
    if p.outcome_open:
        p.record["outcome"] = code
        p.outcome_open = False
        p.after_open = outcome in ("escape_pass", "retreat", "split")
    p.event_at_ball("trap_left", p.handler, p.trap_call, code)


def close_outcome_if_open(p: Possession, outcome: str) -> None:
    if p.outcome_open:
        close_outcome(p, outcome)


def close_after(p: Possession, after: str) -> None:
    if p.after_open:
        p.record["after"] = AFTERS.index(after)
        p.after_open = False


# --- endings (section 9) ------------------------------------------------------------------------------------


def excess(p: Possession, mean: float) -> int:
    """Points of the next possession above an average one: a draw with this mean."""
    three = p.k["excess_three_share"]
    u = p.draw("NEXT_POSSESSION", 0, 0)
    if u[0] >= abs(mean) / (2.0 + three):
        return 0
    size = 3 if u[1] < three else 2
    return size if mean > 0.0 else -size


def end(p: Possession, how: str, mean: float) -> None:
    p.mode = OVER
    code = ENDS.index(how)
    p.record["end"] = code
    p.record["time_ms"] = int(1000.0 * p.t + 0.5)
    p.record["net"] = p.record["points"] - excess(p, mean)
    close_after(p, "reset")
    close_outcome_if_open(p, "other")
    p.event_at_ball("end", NONE, NONE, code)


def turnover(p: Possession, how: str, live: bool, thief: int = NONE) -> None:
    p.record["turnovers"] += 1
    p.record["lost_by"] = LOSSES.index(how)
    p.event_at_ball("turnover", p.handler, thief, 1.0 if live else 0.0)
    if live:
        p.record["steals"] += 1
        p.event_at_ball("steal", thief, p.handler, 0.0)
        close_outcome_if_open(p, "steal")
    else:
        close_outcome_if_open(p, "other_turnover")
    close_after(p, "turnover")
    end(p, "turnover", p.k["excess_live_steal_points" if live else "excess_dead_ball_points"])


def violation(p: Possession, kind: str) -> None:
    p.event_at_ball("violation", p.handler, NONE, VIOLATIONS.index(kind))
    p.record["violations"] += 1
    turnover(p, "travel" if kind == "travel" else "violation", live=False)


def shot_clock_violation(p: Possession) -> None:
    if p.mode == SHOT_WINDUP:
        p.met["goes up in vain"] += 1
    if p.mode == SHOT_FLIGHT:
        p.met["blocked, in flight: the clock runs out"] += 1
    if p.mode == LOOSE and p.loose_kind == BLOCKED:
        p.met["blocked, loose: the clock runs out"] += 1
    p.event_at_ball("violation", p.handler, NONE, VIOLATIONS.index("shot clock"))
    p.record["violations"] += 1
    p.record["turnovers"] += 1
    p.record["lost_by"] = LOSSES.index("violation")
    close_outcome_if_open(p, "other_turnover")
    close_after(p, "turnover")
    p.event_at_ball("turnover", p.handler, NONE, 0.0)
    end(p, "shot_clock", p.k["excess_dead_ball_points"])


# --- dead balls (section 8) ---------------------------------------------------------------------------------


def stand(p: Possession, i: int, x: float, y: float) -> None:
    a = p.agents[i]
    a.x, a.y, a.tx, a.ty = x, y, x, y
    a.vx = a.vy = 0.0
    a.lane_t = 0.0


def take_places(p: Possession) -> None:
    """Everybody takes places for the ball's row."""
    w = p.w
    p.spot_region, p.spot_side, p.spot_t = p.region, p.near, NEVER
    p.draw_variation()
    men_from_the_start(p)
    for i in p.attackers:
        stand(p, i, *p.spot_of(i))
        p.agents[i].break_role = NONE
    if p.play != NONE:
        p.plays_seen.append((p.play, "dead ball"))
    stop_plays(p)
    side = p.side_index(p.near)
    for i in p.defenders:
        a = p.agents[i]
        adopt(p, i)
        a.guess_t = NEVER
        a.gamble = False
        entry = w.slides[p.region][p.moment][w.role_of[side][i - 5]]
        x, y = entry.x * p.near, entry.y
        if a.own_man != NONE and entry.kind == OWN_MAN:
            man = p.agents[a.own_man]
            x, y = toward_rim(man.x, man.y, 1.5)
            y = min(y, w.half_y)
        stand(p, i, x, y)


def throw_in(p: Possession, after_foul: bool) -> None:
    p.n_restarts += 1
    p.trap_phase = PHASE_NONE
    clock = p.w.clock
    if after_foul and clock.shot_s > 0.0 and p.clock_s < clock.frontcourt_foul_reset_s:
        p.clock_s = clock.frontcourt_foul_reset_s
    u = p.draw("RESTART", 0, p.n_restarts)
    p.near = 1 if u[0] < 0.5 else -1
    p.front = True
    p.region, p.moment = TOP, SETTLED
    p.event_at_ball("throw_in", NONE, NONE, 1.0 if after_foul else 0.0)
    take_places(p)
    take_ball(p, p.w.lead)
    p.decide_t = p.t + p.k["decision_period_s"]


def foul(p: Possession) -> None:
    """A foul of the defence, not on a shot."""
    fouls = p.w.fouls
    p.team_fouls += 1
    p.record["fouls"] += 1
    p.event_at_ball("foul", NONE, p.handler, 0.0)
    close_outcome_if_open(p, "foul")
    close_after(p, "reset")
    if p.team_fouls >= fouls.bonus_from_team_foul:
        p.shooter = p.handler
        p.trap_phase = PHASE_NONE
        one_and_one = fouls.one_and_one_from > 0 and (
            fouls.one_and_one_from <= p.team_fouls <= fouls.one_and_one_to
        )
        free_throws(p, fouls.bonus_free_throws, one_and_one)
    else:
        throw_in(p, after_foul=True)


def free_throws(p: Possession, n: int, one_and_one: bool) -> None:
    """By the shooter, in no time."""
    made = False
    for _ in range(n):
        p.n_free_throws += 1
        made = p.draw("FREE_THROW", 0, p.n_free_throws)[0] < p.player(p.shooter).free_throw
        p.record["fta"] += 1
        if made:
            p.record["ftm"] += 1
            p.record["points"] += 1
        p.event("free_throw", p.shooter, NONE, 1.0 if made else 0.0, 0.0, p.w.free_throw_y)
        if one_and_one and not made:
            break
    if made:
        end(p, "free_throws", p.k["excess_made_points"])
        return
    line_up(p)
    p.shot_x, p.shot_y = 0.0, p.w.free_throw_y
    miss_comes_down(p, 0.6 * p.w.free_throw_y, FREE_THROW)


def line_up(p: Possession) -> None:
    """Where everybody stands at a free throw."""
    s = p.near
    e = p.w.lane_half_width + 0.2
    line = p.w.free_throw_y
    stand(p, p.shooter, 0.0, line)
    places = [(s * e, 1.9), (-s * e, 1.9), (2.0 * s, line + 4.0), (-2.0 * s, line + 4.0)]
    others = [i for i in (4, 3, 2, 1, 0) if i != p.shooter]
    for i, (x, y) in zip(others, places, strict=True):
        stand(p, i, x, y)
    stand(p, 9, s * e, 0.9)
    stand(p, 8, -s * e, 0.9)
    stand(p, 7, s * e, 2.9)
    stand(p, 6, s, line + 2.0)
    stand(p, 5, -s, line + 2.0)


def over_the_line(p: Possession) -> None:
    """The ball is out."""
    if p.out_by_defence:
        close_outcome_if_open(p, "other")
        close_after(p, "reset")
        throw_in(p, after_foul=False)
    else:
        turnover(p, "pass", live=False)


def miss_comes_down(p: Possession, d: float, kind: int) -> None:
    """Where a missed shot, counted as d metres long, comes down (ball and traps, section 3)."""
    k, w = p.k, p.w
    p.n_rebounds += 1
    u = p.draw("REBOUND", 0, p.n_rebounds)
    normal = math.sqrt(-2.0 * math.log(u[0])) * math.cos(2.0 * math.pi * u[1])
    length = clip(
        (k["rebound_base_m"] + k["rebound_share"] * d) * math.exp(k["rebound_log_sd"] * normal), 0.1, 8.0
    )
    sx = p.shot_x
    if u[3] < k["rebound_far_side_p"] * clip(d / 7.0, 0.0, 1.0):
        sx = -sx
    angle = math.atan2(p.shot_y, sx) + k["rebound_angle_sd"] * (2.0 * u[2] - 1.0) * 1.7320508075688772
    p.ball_x = clip(length * math.cos(angle), -w.half_width + 0.2, w.half_width - 0.2)
    p.ball_y = clip(length * math.sin(angle), w.baseline_y + 0.2, w.half_y)
    p.ball_z = 2.2
    p.mode = LOOSE
    p.loose_kind = kind
    p.loose_t = p.t + k["rebound_fall_s"]
    in_the_air = k["shot_flight_s"] + k["shot_flight_s_per_m"] * d
    p.boxed_share = 1.0 - (1.0 - k["box_out_share"]) * (1.0 - math.exp(-in_the_air / k["box_out_s"]))
