"""Motion, counts and lines, hazards of a live dribble (court and motion, sections 4, 6, 7, and speeds of 8).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math

from naive_agent import Agent
from naive_basics import (
    DRIVE,
    HELD,
    LOOSE,
    NONE,
    SHOT_FLIGHT,
    SHOT_WINDUP,
    SPLIT,
    happens,
)
from naive_endings import foul, turnover, violation
from naive_state import Possession
from naive_world import Player


def fastest(left: float, stops: float, dt: float) -> float:
    """The fastest he may be at the end of a step, with so much of his way left, to stop at its end."""
    q = 0.25 * stops * dt
    return math.sqrt(q * q + stops * left) - q if left > 0.0 else 0.0


def run(p: Possession, a: Agent, who: Player) -> None:
    """One agent's step toward his target."""
    dt, brake = p.dt, p.k["brake_mps2"]
    stops = brake * a.stop_share
    if a.sliding:
        top, tau, g = who.slide * a.speed_share, p.k["slide_tau_s"], who.slide_gain
    else:
        top, tau, g = who.top * a.speed_share, p.k["sprint_tau_s"], who.run_gain
    dx, dy = a.tx - a.x, a.ty - a.y
    d = math.sqrt(dx * dx + dy * dy)
    ux, uy = (dx / d, dy / d) if d > 1e-9 else (0.0, 0.0)
    wx, wy = top * ux, top * uy
    cx, cy = wx - a.vx, wy - a.vy
    free = a.vx * cx + a.vy * cy >= 0.0 or a.vx * a.vx + a.vy * a.vy <= 1e-12
    if free:
        cx, cy = cx * g, cy * g
    left = d + a.further_m - 0.5 * dt * max(a.vx * ux + a.vy * uy, 0.0)
    most = fastest(left, stops, dt)
    nx, ny = a.vx + cx, a.vy + cy
    if nx * nx + ny * ny > most * most:
        cx, cy = most * ux - a.vx, most * uy - a.vy
        free = False
    elif nx * nx + ny * ny > fastest(left - a.further_m, stops, dt) ** 2:
        p.met["a driver does not brake where he turns"] += 1
    limit = brake * dt
    if cx * cx + cy * cy > limit * limit:
        share = limit / math.sqrt(cx * cx + cy * cy)
        cx, cy = cx * share, cy * share
        free = False
    if free:
        a.x += wx * dt + (a.vx - wx) * tau * g
        a.y += wy * dt + (a.vy - wy) * tau * g
    else:
        a.x += (a.vx + 0.5 * cx) * dt
        a.y += (a.vy + 0.5 * cy) * dt
    a.vx += cx
    a.vy += cy


def bodies_part(p: Possession) -> None:
    """Opponents' bodies keep two radii apart; who runs in gives way."""
    wide = 2.0 * p.k["body_radius_m"]
    close = (wide - 1e-9) * (wide - 1e-9)
    for _ in range(8):
        moved = False
        for a in p.agents[:5]:
            for b in p.agents[5:]:
                rx, ry = a.x - b.x, a.y - b.y
                if 1e-9 < rx * rx + ry * ry < close:
                    _part(a, b, wide)
                    moved = True
        if not moved:
            return


def _part(a: Agent, b: Agent, wide: float) -> None:
    rx, ry = a.x - b.x, a.y - b.y
    d = math.sqrt(rx * rx + ry * ry)
    nx, ny = rx / d, ry / d
    overlap = wide - d
    into_a = max(-(a.vx * nx + a.vy * ny), 0.0)
    into_b = max(b.vx * nx + b.vy * ny, 0.0)
    if into_a + into_b <= 1e-9:  # they only brush past each other
        into_a = math.sqrt(a.vx * a.vx + a.vy * a.vy)
        into_b = math.sqrt(b.vx * b.vx + b.vy * b.vy)
    share = into_a / (into_a + into_b) if into_a + into_b > 1e-9 else 0.5
    closing = max((b.vx - a.vx) * nx + (b.vy - a.vy) * ny, 0.0)
    a.x += nx * overlap * share
    a.y += ny * overlap * share
    b.x -= nx * overlap * (1.0 - share)
    b.y -= ny * overlap * (1.0 - share)
    a.vx += nx * closing * share
    a.vy += ny * closing * share
    b.vx -= nx * closing * (1.0 - share)
    b.vy -= ny * closing * (1.0 - share)


def hold_in(p: Possession, a: Agent) -> None:
    w = p.w
    if a.x < -w.half_width:
        a.x, a.vx = -w.half_width, 0.0
    if a.x > w.half_width:
        a.x, a.vx = w.half_width, 0.0
    if a.y < w.baseline_y:
        a.y, a.vy = w.baseline_y, 0.0
    if a.y > w.far_y:
        a.y, a.vy = w.far_y, 0.0


def motion(p: Possession) -> None:
    for i, a in enumerate(p.agents):
        run(p, a, p.player(i))
    bodies_part(p)
    for a in p.agents:
        hold_in(p, a)


def count_speeds(p: Possession) -> None:
    for a in p.agents:
        q = a.vx * a.vx + a.vy * a.vy
        band = "walk" if q <= 1.0 else "jog" if q <= 9.0 else "run" if q <= 49.0 else "sprint"
        p.record[f"steps_{band}"] += 1


# --- counts and lines (section 6) ---------------------------------------------------------------------------


def counts_and_lines(p: Possession) -> None:
    clock = p.w.clock
    if p.mode == HELD:
        _counts_of_the_handler(p)
        if p.over:
            return
    if not p.front and clock.backcourt_s > 0.0:
        p.backcourt_s += p.dt
        if p.backcourt_s >= clock.backcourt_s and p.mode != LOOSE:
            violation(p, "backcourt count")
            return
    _lane(p)


def _counts_of_the_handler(p: Possession) -> None:
    w, clock, h = p.w, p.w.clock, p.h
    if h.y < w.half_y:
        if not p.front:
            p.front = True
            if p.across == 0:
                p.across = 1
    elif p.front and clock.backcourt_s > 0.0 and h.y > w.half_y + 0.15:
        violation(p, "over and back")
        return
    gap = p.nearest_defender(h.x, h.y)[1]
    if (
        clock.closely_guarded_s > 0.0
        and gap <= clock.closely_guarded_distance_m
        and (not p.dribbling or clock.closely_guarded_while_dribbling)
        and p.front
    ):
        p.guarded_s += p.dt
        if p.guarded_s >= clock.closely_guarded_s:
            violation(p, "closely guarded")
    else:
        p.guarded_s = 0.0


def _lane(p: Possession) -> None:
    limit = p.w.clock.offensive_three_seconds_s
    for i, a in enumerate(p.agents):
        if not in_the_lane(p, a.x, a.y) or p.mode in (SHOT_FLIGHT, LOOSE) or not p.front:
            a.lane_t = 0.0
        elif a.vx * a.vx + a.vy * a.vy < p.k["lane_camp_mps"] * p.k["lane_camp_mps"]:
            if i < 5 and count_stands(p, i):
                continue
            a.lane_t += p.dt
            if i < 5 and limit > 0.0 and a.lane_t >= limit:
                p.ball_x, p.ball_y = a.x, a.y
                violation(p, "three seconds")
                return


def in_the_lane(p: Possession, x: float, y: float) -> bool:
    return abs(x) < p.w.lane_half_width and y < p.w.free_throw_y


def count_stands(p: Possession, i: int) -> bool:
    """Whether an attacker's count of seconds in the lane stands for now."""
    a = p.agents[i]
    leaves = not in_the_lane(p, a.tx, a.ty)
    must = a.lane_t > p.w.clock.offensive_three_seconds_s - p.k["lane_margin_s"]
    why = {
        "a shot goes up": p.mode == SHOT_WINDUP,
        "he drives": p.mode == HELD and i == p.handler and p.action == DRIVE,
        "he makes to leave": must and leaves,
    }
    reasons = [reason for reason, holds in why.items() if holds]
    if len(reasons) == 1:  # else it does not tell them apart
        p.met[f"the lane count stands: {reasons[0]}"] += 1
    if leaves and not reasons:
        p.met["who leaves, but need not yet, is counted"] += 1
    return bool(reasons)


# --- hazards of a live dribble (section 7) ------------------------------------------------------------------


def hazards_of_a_dribble(p: Possession) -> None:
    if p.mode != HELD or not p.dribbling:
        return
    k, h, dt = p.k, p.h, p.dt
    u = p.draw("BALL_HAZARD", 0, p.step)
    loose = p.loose_handle
    nearest, gap = p.nearest_defender(h.x, h.y)
    if gap < k["strip_within_m"]:
        near = sum(p.apart(i, p.handler) < k["strip_within_m"] for i in p.defenders)
        rate = near * k["strip_rate_per_s"] * loose
        if p.action == SPLIT:
            rate *= k["split_strip_share"]
        if happens(rate, u[0], dt):
            turnover(p, "strip", live=True, thief=nearest)
            return
    if happens(k["dribble_loss_rate_per_s"] * loose, u[1], dt):
        turnover(p, "dribble", live=False)
        return
    if _steps_on_a_line(p):
        violation(p, "stepped on a line")
        return
    if p.action not in (DRIVE, SPLIT):
        return
    b = p.defender_in_the_way()
    if b == NONE:
        return
    if happens(k["drive_foul_rate_per_s"] * p.clumsy(b), u[2], dt):
        p.shooter = p.handler
        foul(p)
        return
    d = p.agents[b]
    still = d.vx * d.vx + d.vy * d.vy < 1.0
    if still and p.from_rim(b) > p.w.no_charge and happens(k["charge_rate_per_s"], u[3], dt):
        turnover(p, "offensive_foul", live=False)


def _steps_on_a_line(p: Possession) -> bool:
    """Whether who dribbles along a sideline or the baseline steps on it."""
    side, base = p.w.half_width - abs(p.h.x), p.h.y - p.w.baseline_y
    if min(side, base) >= p.k["step_out_within_m"]:
        return False
    if p.h.vx * p.h.vx + p.h.vy * p.h.vy <= 1.0:
        p.met["dribbles near a line, slowly"] += 1
        return False
    u = p.draw("BALL_HAZARD", 1, p.step)
    steps = happens(p.k["dribble_line_rate_per_s"] * p.loose_handle, u[0], p.dt)
    line = "sideline" if side < base else "baseline"
    p.met[f"dribbles along the {line}: {'steps on it' if steps else 'stays in'}"] += 1
    return steps
