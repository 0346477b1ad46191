"""Passes as planned and as they happen, loose balls and who gets a rebound (ball and traps, sections 1 to 3).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math

from naive_basics import (
    BEFORE_BUMP,
    BLOCKED,
    BOUNCE,
    CORNER,
    DEAD,
    DIRECT,
    FUMBLED,
    HELD,
    LOOSE,
    LOOSE_BALLS,
    NONE,
    OVER_THE_TOP,
    PASS_FLIGHT,
    PASS_WINDUP,
    PHASE_NONE,
    SET,
    WING,
    clip,
    dist,
    fade,
    segment,
)
from naive_endings import end, over_the_line, turnover
from naive_rows import moment_from_now, read_the_pass, set_row, take_ball, take_men
from naive_state import Possession

# --- as planned (section 1) ---------------------------------------------------------------------------------


def pass_speed(p: Possession, passer: int, kind: int, length: float) -> float:
    k = p.k
    ramp = k["pass_ramp_m"]
    speed = k[("pass_speed_direct_mps", "pass_speed_bounce_mps", "pass_speed_over_mps")[kind]]
    speed *= (1.0 - math.exp(-length / ramp)) / (1.0 - math.exp(-7.0 / ramp))
    return speed * (1.0 + k["pass_skill_speed_share"] * (p.player(passer).passing - 0.5))


def start_height(p: Possession, passer: int, kind: int) -> float:
    return 0.92 * p.player(passer).reach + 0.1 if kind == OVER_THE_TOP else 1.3


def height(p: Possession, kind: int, z0: float, f: float) -> float:
    """Height of the ball at share f of the flight."""
    if kind == DIRECT:
        return 1.3
    if kind == BOUNCE:
        return 0.6
    return z0 + (2.0 - z0) * f + 4.0 * p.k["pass_loft_m"] * f * (1.0 - f)


def aim_sd(p: Possession, kind: int, length: float, pressure: int) -> float:
    """Standard deviation of the aim per axis."""
    k = p.k
    sd = k["aim_sd_per_m"] * length * (1.5 - p.player(p.handler).passing)
    sd *= 1.0 + k["aim_pressure_share"] * pressure
    if kind == OVER_THE_TOP:
        sd *= 1.0 + k["over_aim_share"]
    if pressure > 0 and p.dribble == DEAD:
        sd *= 1.0 + k["dead_dribble_aim_share"]
    return sd


def near_share(p: Possession, along: float, left: float, pressure: int) -> float:
    k = p.k
    if along < k["passer_space_m"]:
        return k["near_touch_share"] if pressure < 2 else k["near_touch_trap_share"]
    if left < k["receiver_space_m"]:
        return k["shield_share"]
    return 1.0


def who_will_be_on_him(p: Possession, trapped: bool, release: float) -> tuple[int, bool]:
    """The pressure on the handler when the ball leaves, and whether the trap then stands."""
    k, h = p.k, p.h
    pressure = p.pressure(p.handler)
    if not trapped:
        return pressure, False
    stands = True
    for i in (p.trapper_0, p.trapper_1):
        e = p.runs_to(i, h.x, h.y, 0.0, release)
        if e < k["pressure_within_m"] and p.apart(i, p.handler) >= k["pressure_within_m"]:
            pressure += 1
            p.met["one more on the passer then"] += 1
        if not e < k["trap_set_m"]:
            stands = False
    p.met["a trap stands then" if stands else "no trap stands then"] += 1
    return pressure, stands


def risk_of_pass(
    p: Possession, to: int, kind: int, x: float, y: float, release: float, on_him: tuple[int, bool]
) -> float:
    """The risk of a pass to attacker ``to`` at a place, as the passer sees it."""
    k, h = p.k, p.h
    pressure, stands = on_him
    length = dist(h.x, h.y, x, y)
    v = pass_speed(p, p.handler, kind, length)
    z0 = start_height(p, p.handler, kind)
    b = k["bounce_touch_share"] if kind == BOUNCE else 1.0
    share = k["risk_cover_share"]
    arrive = release + length / v
    delay = clip(arrive, 0.0, k["reaction_s"])
    clean = 1.0
    for i in p.defenders:
        who, a, arm = p.player(i), p.agents[i], p.arm_reach(i, stands)
        px, py = a.x + delay * a.vx, a.y + delay * a.vy
        d, f = segment(px, py, h.x, h.y, x, y)
        if d > arm + 10.0 * k["touch_width_m"] + share * who.top * arrive:
            continue
        run = release + f * length / v - k["reaction_s"]
        g = p.runs_to(i, h.x + f * (x - h.x), h.y + f * (y - h.y), delay, run)
        q = b * near_share(p, f * length, (1.0 - f) * length, pressure)
        touch = p.touch_chance(arm, d - share * (d - g), height(p, kind, z0, f), who.reach, q)
        if kind == OVER_THE_TOP:
            d = dist(px, py, x, y)
            d -= share * (d - p.runs_to(i, x, y, delay, arrive - k["reaction_s"]))
            touch = max(touch, p.touch_chance(k["arm_reach_m"], d, 2.0, who.reach, k["shield_share"]))
        clean *= 1.0 - touch
    sd = aim_sd(p, kind, length, pressure)
    if sd > 1e-6:
        flight = length / v
        way = p.player(to).top * (flight - fade(flight, k["sprint_tau_s"]))
        reached = (k["catch_radius_m"] + way) / sd
        clean *= 1.0 - math.exp(-0.5 * reached * reached)
    return 1.0 - clean * (1.0 - k["fumble_p"] - k["fumble_pressure_p"] * p.pressure(to))


def best_kind(
    p: Possession, to: int, x: float, y: float, length: float, release: float, on_him: tuple[int, bool]
) -> tuple[int, float]:
    """The kind of pass with the least risk, and that risk (offence, section 4.4, part 7)."""
    kind, risk = DIRECT, risk_of_pass(p, to, DIRECT, x, y, release, on_him)
    if risk > 0.06:
        over = risk_of_pass(p, to, OVER_THE_TOP, x, y, release + p.k["over_release_s"], on_him)
        if over < risk:
            kind, risk = OVER_THE_TOP, over
        if length < p.k["bounce_longest_m"]:
            bounce = risk_of_pass(p, to, BOUNCE, x, y, release, on_him)
            if bounce < risk:
                kind, risk = BOUNCE, bounce
    return kind, risk


# --- as they happen (section 2) -----------------------------------------------------------------------------


def start_pass(p: Possession, target: int, kind: int, x: float, y: float) -> None:
    k = p.k
    p.mode = PASS_WINDUP
    p.n_passes += 1
    p.target, p.pass_kind, p.pass_x1, p.pass_y1 = target, kind, x, y
    p.passer = p.handler
    p.release_t = p.due_t + (k["pass_release_s"] + k["release_pressure_s"] * p.pressure(p.handler))
    if kind == OVER_THE_TOP:
        p.release_t += k["over_release_s"]
    faked = p.draw("FAKE", 0, p.n_passes)[0] < k["fake_p"] * (0.5 + p.player(p.handler).passing)
    if faked:
        p.release_t += k["fake_s"]
        p.event("fake", p.handler, target, 0.0, x, y)
    read_the_pass(p, target, x, y, faked)


def release_pass(p: Possession) -> None:
    k, w, h = p.k, p.w, p.h
    pressure = p.release_pressure = p.pressure(p.handler)
    u = p.draw("AIM", 0, p.n_passes)
    length = dist(h.x, h.y, p.pass_x1, p.pass_y1)
    error = aim_sd(p, p.pass_kind, length, pressure) * math.sqrt(-2.0 * math.log(u[0]))
    tx = clip(p.pass_x1, -w.half_width + 0.3, w.half_width - 0.3)
    ty = clip(p.pass_y1, w.baseline_y + 0.3, w.far_y - 0.3)
    p.pass_x0 = p.old_x = p.ball_x = h.x
    p.pass_y0 = p.old_y = p.ball_y = h.y
    p.pass_z0 = p.ball_z = start_height(p, p.handler, p.pass_kind)
    p.arrive_t = p.release_t + length / pass_speed(p, p.handler, p.pass_kind, length)
    side = p.side_of(tx, p.near)
    region = w.region(tx, ty)
    moment = moment_from_now(p, region, side)
    p.pass_is_skip = length > k["skip_distance_m"] and side != p.near
    p.pass_missed_bump = (region == CORNER and moment == BEFORE_BUMP) or (
        region == WING and p.region == CORNER and p.moment == BEFORE_BUMP
    )
    p.pass_next_region = region
    p.pass_x1 = tx + error * math.cos(2.0 * math.pi * u[1])
    p.pass_y1 = ty + error * math.sin(2.0 * math.pi * u[1])
    p.mode = PASS_FLIGHT
    p.pass_share = 0.0
    for i in p.defenders:
        a = p.agents[i]
        a.touch_u = p.draw("TOUCH", i, p.n_passes)[0]
        if a.focus == 0:
            a.focus = 1
    if w.match_up and (not p.matched or side != p.near):
        take_men(p)
    set_row(p, region, moment, side, 1.0)
    for i in p.defenders:
        p.agents[i].adopt_t = max(p.agents[i].adopt_t, p.release_t + k["reaction_s"])
    p.record["passes"] += 1
    p.record["skips"] += p.pass_is_skip
    p.event("pass", p.passer, p.target, p.pass_kind, p.pass_x1, p.pass_y1)


def fly(p: Possession) -> bool:
    """One step of the flight; True if the pass was caught and kept in this step."""
    k = p.k
    flight = p.arrive_t - p.release_t
    f0 = p.pass_share
    f1 = 1.0 if flight <= 1e-9 else clip((p.t - p.release_t) / flight, 0.0, 1.0)
    if p.now >= p.arrive_t:
        f1 = 1.0
    p.pass_share = f1
    p.ball_z = height(p, p.pass_kind, p.pass_z0, f1)
    dx, dy = p.pass_x1 - p.pass_x0, p.pass_y1 - p.pass_y0
    ax, ay = p.pass_x0 + f0 * dx, p.pass_y0 + f0 * dy
    bx, by = p.pass_x0 + f1 * dx, p.pass_y0 + f1 * dy
    b = k["bounce_touch_share"] if p.pass_kind == BOUNCE else 1.0
    first, first_f = NONE, 2.0
    for i in p.defenders:
        a = p.agents[i]
        d, f = segment(a.x, a.y, ax, ay, bx, by)
        z = height(p, p.pass_kind, p.pass_z0, f0 + f * (f1 - f0))
        qx, qy = ax + f * (bx - ax), ay + f * (by - ay)
        along = dist(p.pass_x0, p.pass_y0, qx, qy)
        left = dist(p.pass_x1, p.pass_y1, qx, qy)
        share = b * near_share(p, along, left, p.release_pressure)
        arm = p.arm_reach(i, stands=p.trap_phase == SET)
        if a.touch_u < p.touch_chance(arm, d, z, p.player(i).reach, share) and f < first_f:
            first, first_f = i, f
    if first != NONE:
        p.ball_x, p.ball_y = ax + first_f * (bx - ax), ay + first_f * (by - ay)
        touched(p, first)
        return False
    p.ball_x, p.ball_y = bx, by
    if p.now < p.arrive_t:
        return False
    return arrives(p)


def touched(p: Possession, defender: int) -> None:
    k = p.k
    p.record["deflections"] += 1
    p.event_at_ball("touch", defender, p.passer, 0.0)
    u = p.draw("TOUCH", defender, p.n_passes)
    if u[1] < k["clean_steal_p"]:
        p.target = defender
        turnover(p, "pass", live=True, thief=defender)
        return
    far = k["deflection_m"] * (0.5 + u[3])
    x = p.ball_x + far * math.cos(2.0 * math.pi * u[2])
    y = p.ball_y + far * math.sin(2.0 * math.pi * u[2])
    gets_away(p, x, y, by_defence=True)


def arrives(p: Possession) -> bool:
    """The pass is there: caught, fumbled or out of reach."""
    k = p.k
    r = p.agents[p.target]
    reached = dist(r.x, r.y, p.pass_x1, p.pass_y1) < k["catch_radius_m"]
    u = p.draw("AIM", 0, p.n_passes)
    fumble = k["fumble_p"] + k["fumble_pressure_p"] * p.pressure(p.target)
    if reached and p.inside(r.x, r.y) and u[2] >= fumble:
        caught(p)
        return True
    dx, dy = p.pass_x1 - p.pass_x0, p.pass_y1 - p.pass_y0
    length = math.sqrt(dx * dx + dy * dy)
    if length < 1e-6:
        length = 1.0
    s = 1.0 if reached else 2.0
    gets_away(p, p.pass_x1 + s * dx / length, p.pass_y1 + s * dy / length, by_defence=False)
    return False


def caught(p: Possession) -> None:
    r = p.agents[p.target]
    gap = p.nearest_defender(r.x, r.y)[1]
    if p.trap_phase == PHASE_NONE and p.pass_next_region in (WING, CORNER):
        kind = "missed_bump" if p.pass_missed_bump else "skip" if p.pass_is_skip else "next"
        p.record[f"{kind}_catches"] += 1
        p.record[f"{kind}_gap_mm"] += int(1000.0 * gap + 0.5)
    p.event("catch", p.target, p.passer, gap, r.x, r.y)
    take_ball(p, p.target, p.passer)
    p.decide_t = p.arrive_t + p.k["catch_pause_s"]
    p.n_catches += 1


def gets_away(p: Possession, x: float, y: float, by_defence: bool) -> None:
    p.out_by_defence = by_defence
    p.ball_x, p.ball_y, p.ball_z = x, y, 0.2
    if not p.inside(x, y):
        over_the_line(p)
        return
    p.mode = LOOSE
    p.loose_kind = FUMBLED
    p.loose_t = p.t + 0.5
    p.n_loose += 1
    p.event("loose", NONE, NONE, 1.0 if by_defence else 0.0, x, y)


# --- who gets a loose ball or a rebound (section 3) ---------------------------------------------------------


def settle_loose_ball(p: Possession) -> None:
    k = p.k
    rebound = p.loose_kind != FUMBLED
    scale = k["rebound_scale_m"] if rebound else k["loose_scale_m"]
    who, best = NONE, math.inf
    for i in range(10):
        d = p.distance_to(i, p.ball_x, p.ball_y)
        weight = math.exp(-clip(d / scale, 0.0, 20.0))
        if rebound:
            weight *= 1.0 + k["rebound_skill"] * (p.player(i).rebounding - 0.5)
            if i < 5 and boxed_out(p, i, d):
                weight *= p.boxed_share
            u = p.draw("REBOUND_RACE", i, p.n_rebounds)
        else:
            u = p.draw("LOOSE_RACE", i, p.n_loose)
        key = -math.log(u[0]) / weight
        if key < best:
            who, best = i, key
    if not rebound:
        p.event_at_ball("recovered", who, NONE, 0.0)
        if who >= 5:
            turnover(p, "pass", live=True, thief=who)
        else:
            take_ball(p, who)
        return
    p.event_at_ball("rebound", who, NONE, p.loose_kind)
    if who >= 5:
        p.record["dreb"] += 1
        p.handler = who
        end(p, "defensive_rebound", k["excess_defensive_rebound_points"])
        return
    p.record["oreb"] += 1
    blocked, shot_clock = p.loose_kind == BLOCKED, p.w.clock.shot_s > 0.0
    if shot_clock and not blocked:
        p.clock_s = p.w.clock.offensive_rebound_reset_s
    how = "no clock" if not shot_clock else "the clock goes on" if blocked else "the clock begins anew"
    p.met[f"{LOOSE_BALLS[p.loose_kind]}, taken by the attack: {how}"] += 1
    take_ball(p, who)
    assert p.mode == HELD
    p.decide_t = p.t + p.dt


def boxed_out(p: Possession, attacker: int, d: float) -> bool:
    """Whether a defender close to an attacker is nearer to the ball than he."""
    return any(
        p.apart(attacker, i) < p.k["box_out_reach_m"] and p.distance_to(i, p.ball_x, p.ball_y) < d
        for i in p.defenders
    )
