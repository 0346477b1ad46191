"""Where the attackers want to be (offence, sections 1 and 2).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

from naive_agent import Agent
from naive_basics import (
    AFTER,
    BACKCOURT,
    COMING,
    DRIBBLE_TO,
    DRIVE,
    HELD,
    LOOSE,
    NONE,
    PASS_FLIGHT,
    PASS_WINDUP,
    RETREAT,
    SCREEN_SET,
    SET,
    SHOT_FLIGHT,
    SHOT_WINDUP,
    STAY,
    clip,
    dist,
)
from naive_plays import plays
from naive_rows import reading_delay
from naive_screens import follow_screen
from naive_state import Possession


def respace(p: Possession) -> None:
    if p.begun >= p.spot_t:
        if p.spot_region != p.region or p.spot_side != p.near:
            p.spot_region, p.spot_side = p.region, p.near
            p.draw_variation()
        p.spot_t = 9801.0


def targets_of_the_attackers(p: Possession) -> None:
    """Step part 3."""
    respace(p)
    follow_screen(p)
    plays(p)
    for i in p.attackers:
        a = p.agents[i]
        a.sliding = False
        a.further_m = 0.0
        if i == p.handler and p.mode in (HELD, PASS_WINDUP, SHOT_WINDUP):
            with_the_ball(p)
        else:
            without_the_ball(p, i)


def without_the_ball(p: Possession, i: int) -> None:
    k, w, a = p.k, p.w, p.agents[i]
    a.speed_share = 1.0
    if p.mode == PASS_FLIGHT and i == p.target:
        stands = p.distance_to(i, p.pass_x1, p.pass_y1) < k["hands_m"]
        p.met["the receiver stands" if stands else "the receiver comes"] += 1
        if stands:
            a.tx, a.ty = a.x, a.y
        else:
            a.tx = clip(p.pass_x1, -w.half_width, w.half_width)
            a.ty = clip(p.pass_y1, w.baseline_y, w.far_y)
        return
    if p.mode == PASS_WINDUP and i == p.target:
        a.tx, a.ty = p.pass_x1, p.pass_y1
        return
    if p.mode in (SHOT_FLIGHT, LOOSE):
        after_a_shot(p, i)
        return
    if p.trap_phase in (COMING, SET) and p.begun >= a.read_t and a.break_role != NONE:
        break_the_trap(p, i)
        return
    if a.go and p.begun >= a.go_t:
        a.tx, a.ty = a.go_x, a.go_y
        a.speed_share = a.go_pace
    else:
        a.tx, a.ty = p.spot_of(i)
        a.speed_share = k["attack_speed_share" if p.trap_phase == AFTER else "off_ball_speed_share"]
        if p.region == BACKCOURT:
            a.speed_share = 0.8
    leave_the_lane(p, i)


def leave_the_lane(p: Possession, i: int) -> None:
    k, w, a = p.k, p.w, p.agents[i]
    count = w.clock.offensive_three_seconds_s
    if count > 0.0 and a.lane_t > count - k["lane_margin_s"]:
        out = w.lane_half_width + 0.6
        a.tx, a.ty = (out if a.x >= 0.0 else -out), a.y
        a.speed_share = 1.0


def after_a_shot(p: Possession, i: int) -> None:
    """Shot in flight or loose ball (section 2.2)."""
    a = p.agents[i]
    if p.mode == LOOSE and p.distance_to(i, p.ball_x, p.ball_y) < 6.0:
        a.tx, a.ty = p.ball_x, p.ball_y
        return
    d = p.from_rim(i)
    nearer = sum(p.from_rim(j) < d for j in p.attackers if j != i)
    if d <= p.k["crash_within_m"] and nearer < p.k["crash_n"]:
        if d > 1.5:
            a.tx, a.ty = a.x / d * 1.5, a.y / d * 1.5
    else:
        a.tx, a.ty = 0.9 * a.x, clip(a.y + 1.0, 0.0, p.w.half_y)


def break_the_trap(p: Possession, i: int) -> None:
    """Running to his place of the break, toward or away from the trapped man (section 2.3)."""
    k, w, a = p.k, p.w, p.agents[i]
    x, y = p.call.breaks[a.break_role]
    x = x * p.trap_side
    trapped = p.agents[p.trap_handler]
    d = dist(x, y, trapped.x, trapped.y)
    if d > 1e-9:
        share = k["meet_pass_m"]
        if d - share < k["break_least_m"]:
            share = d - k["break_least_m"]
        x += (trapped.x - x) * share / d
        y += (trapped.y - y) * share / d
    a.tx = clip(x, -w.half_width + 0.35, w.half_width - 0.35)
    a.ty = clip(y, w.baseline_y + 0.35, w.far_y)
    if p.half_line_holds and a.ty > w.half_y - 0.5:
        a.ty = w.half_y - 0.5
    leave_the_lane(p, i)


def with_the_ball(p: Possession) -> None:
    """Section 2.4."""
    k, w, a = p.k, p.w, p.h
    if p.mode != HELD or p.action == STAY:
        a.tx, a.ty = a.x, a.y
        a.speed_share = 0.5
        return
    if p.action == DRIVE and dist(a.x, a.y, p.goal_x, p.goal_y) < k["arrival_radius_m"]:
        p.goal_x, p.goal_y = p.end_x, p.end_y
    a.tx, a.ty = p.goal_x, p.goal_y
    if p.action == DRIVE:
        a.further_m = leads_on(p)
        by_the_side_of_a_body(p)
    share = k["dribble_speed_share"] * (0.9 + 0.2 * p.player(p.handler).handle)
    if p.action == RETREAT:
        share *= k["retreat_speed_share"]
    if p.action == DRIBBLE_TO:
        share *= k["bring_up_speed_share"]
        if p.two_ahead(k["slow_two_m"]):
            share *= k["slow_two_share"]
        for i in p.defenders:  # the veer
            d = p.apart(p.handler, i)
            if d < k["veer_m"] and p.agents[i].y < a.y:
                s = 1.0 if a.x >= p.agents[i].x else -1.0
                a.tx = clip(a.tx + s * (k["veer_m"] - d), -w.half_width + 0.6, w.half_width - 0.6)
    a.speed_share = share


def leads_on(p: Possession) -> float:
    """How much of a driver's way after the goal leads on the way he has come."""
    on = part_that_leads_on(p.h, (p.goal_x, p.goal_y), (p.end_x, p.end_y))
    if on < 0.0:
        p.met["a driver turns back at his goal"] += 1
    return max(on, 0.0)


def part_that_leads_on(he: Agent, at: tuple[float, float], to: tuple[float, float]) -> float:
    """The way from ``at`` to ``to``, projected on the direction from him to ``at``: below 0, back."""
    d = dist(at[0], at[1], he.x, he.y)
    if d <= 1e-9:
        return 0.0
    return ((to[0] - at[0]) * (at[0] - he.x) + (to[1] - at[1]) * (at[1] - he.y)) / d


def by_the_side_of_a_body(p: Possession) -> None:
    """A driver goes by the side of the first body in his way: the one to which he goes, or the other."""
    a = p.h
    target = a.tx, a.ty
    d = dist(a.x, a.y, a.tx, a.ty)
    if d < 1e-9:
        return
    ux, uy = (a.tx - a.x) / d, (a.ty - a.y) / d
    room = 2.0 * p.k["body_radius_m"] + 0.05
    body = first_body(p, ux, uy, d, room)
    if body == NONE:
        return
    if p.screen == SCREEN_SET:
        p.met["a screen is set: by no side of a body"] += 1
        return
    b = p.agents[body]
    turn = a.vx * (b.y - a.y) - a.vy * (b.x - a.x)
    if abs(turn) < 1e-9:
        p.met["by the side of a body, he goes to neither"] += 1
        turn = p.near
    elif turn * (ux * (b.y - a.y) - uy * (b.x - a.x)) < 0.0:
        p.met["by the farther side of a body, as he goes"] += 1
    side = room if turn < 0.0 else -room
    one = side
    point = b.x - uy * side, b.y + ux * side
    if not is_free(p, body, *point):
        side = -side
        point = b.x - uy * side, b.y + ux * side
        if not is_free(p, body, *point):
            p.met["by no side of a body: both are taken"] += 1
            return
    which = "one" if side == one else "other"
    p.met[f"by the {'left' if side > 0.0 else 'right'} side of a body, the {which}"] += 1
    on = part_that_leads_on(a, point, target)
    p.met[f"by the side of a body, {'and on' if on > 0.0 else 'and back'}"] += 1
    if on > 0.0 and a.further_m > 0.0:
        p.met["by the side of a body, and on, and on from the goal"] += 1
    a.further_m += max(on, 0.0)
    a.tx, a.ty = point


def first_body(p: Possession, ux: float, uy: float, d: float, room: float) -> int:
    """The first defender in a driver's way of d metres who is not faster that way than he; or NONE."""
    a, body = p.h, NONE
    first = min(1.5, d)
    pace = a.vx * ux + a.vy * uy
    for i in p.defenders:
        b = p.agents[i]
        along = (b.x - a.x) * ux + (b.y - a.y) * uy
        aside = ux * (b.y - a.y) - uy * (b.x - a.x)
        if along <= 0.0 or abs(aside) >= room:
            continue
        if along >= first:
            late = "than another" if body != NONE else "than his way goes" if first < 1.5 else "than he looks"
            p.met[f"a body farther {late}"] += 1
            continue
        if b.vx * ux + b.vy * uy > pace:
            p.met["a faster body is not heeded"] += 1
            continue
        if body != NONE:
            p.met["a body nearer than another"] += 1
        first, body = along, i
    return body


def is_free(p: Possession, body: int, x: float, y: float) -> bool:
    """Whether a driver may go by a body at this point."""
    why = []
    if abs(x) > p.w.half_width - 0.5:
        why.append("the sideline")
    if y < p.w.baseline_y + 0.5:
        why.append("the baseline")
    if any(i != body and p.distance_to(i, x, y) < 2.0 * p.k["body_radius_m"] for i in p.defenders):
        why.append("another body")
    if len(why) == 1:  # else it does not tell them apart
        p.met[f"a side of a body is not free: {why[0]}"] += 1
    return not why


def give_out_the_break(p: Possession) -> None:
    """At the call: when each attacker reads the trap, and who takes which place (section 2.3)."""
    k = p.k
    delay = reading_delay(p, k["read_delay_s"])
    for i in p.attackers:
        a = p.agents[i]
        a.break_role = NONE
        u = p.draw("READ", i, p.trap_number)
        a.read_t = p.trap_t + clip(
            delay + (2.0 * u[0] - 1.0) * k["read_delay_spread_s"], k["read_delay_least_s"], 99.0
        )
    for place in (1, 0, 2, 3):  # middle, behind, line, far
        x, y = p.call.breaks[place]
        x = x * p.trap_side
        who, best = NONE, 99.0
        for i in p.attackers:
            if i == p.trap_handler or p.agents[i].break_role != NONE:
                continue
            d = p.distance_to(i, x, y)
            if d < best:
                who, best = i, d
        if who != NONE:
            p.agents[who].break_role = place
