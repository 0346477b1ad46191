"""Targets of the defenders (defence, sections 3 to 7).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math

from naive_basics import (
    AFTER,
    BEHIND,
    COMING,
    DENY,
    DRIVE,
    FRONT,
    HELD,
    IF_SHOOTER,
    LOOSE,
    MATCHED,
    NEVER,
    NONE,
    ON_BALL,
    OWN_MAN,
    PASS_FLIGHT,
    PASS_WINDUP,
    PLACE,
    SET,
    SHOT_FLIGHT,
    SHOT_WINDUP,
    TRAP,
    clip,
    dist,
    rim_distance,
    segment,
    toward_rim,
)
from naive_passes import height
from naive_rows import adopt, all_have_a_man, guarding_gap, on_ball_gap, take_men
from naive_screens import about_the_screen
from naive_state import Possession
from naive_world import Entry


def focus_point(p: Possession, i: int) -> tuple[float, float]:
    """Where a defender believes the ball."""
    a = p.agents[i]
    if a.focus == 1 and not a.primed:
        return p.old_x, p.old_y
    if a.focus == 2 and not a.primed:
        return a.guess_x, a.guess_y
    if p.mode == PASS_FLIGHT:
        return p.pass_x1, p.pass_y1
    if p.mode in (HELD, PASS_WINDUP):
        return p.h.x, p.h.y
    return p.ball_x, p.ball_y


def man_with_the_ball(p: Possession, i: int) -> int:
    """Who has the ball, as a defender believes."""
    a = p.agents[i]
    if a.focus == 1:
        return p.passer
    if a.focus == 2:
        return a.guess_who
    return p.target if p.mode == PASS_FLIGHT else p.handler


def adopting(p: Possession, out: bool) -> None:
    """Who is due takes over the ball's row or his guess; men are taken when the first sees a pass out."""
    seen_before = any(p.agents[i].focus == 0 for i in p.defenders)
    for i in p.defenders:
        a = p.agents[i]
        if p.begun >= a.adopt_t:
            adopt(p, i)
        if p.begun >= a.guess_t:
            a.region, a.moment, a.side = a.guess_region, a.guess_moment, a.guess_side
            a.focus = 2
            a.guess_t = NEVER
    if out and not seen_before and any(p.agents[i].focus == 0 for i in p.defenders):
        men = all_have_a_man(p)
        p.met[f"men {'taken' if men else 'not taken'} in flight"] += 1
        if men:
            take_men(p)


def goes_back(p: Possession, i: int, out: bool) -> bool:
    """A trapper, or a cover man whose cover does not hold, who has seen a pass out of the trap."""
    return out and p.agents[i].focus == 0 and (i in (p.trapper_0, p.trapper_1) or not p.call.holds_cover)


Pair = dict[int, int]


def change_places(p: Possession, out: bool) -> tuple[Pair, dict[str, Pair]]:
    """Behind a beaten trap: the two who swap their roles in this step, each with the other; else nobody.
    Then who would if it did not matter whether the nearest is busy in one way."""
    if not out and (p.trap_phase != AFTER or p.mode not in (HELD, PASS_FLIGHT)):
        return {}, {}
    busy = {
        "has broken": {i for i in p.defenders if p.agents[i].break_t > p.begun},
        "has not seen it": {i for i in p.defenders if out and p.agents[i].focus != 0},
        "holds his cover": {i for i in p.defenders if out and p.agents[i].focus == 0}
        - {i for i in p.defenders if goes_back(p, i, out)},
    }
    otherwise = {why: rotate(p, set.union(*(busy[other] for other in busy if other != why))) for why in busy}
    return rotate(p, set.union(*busy.values())), otherwise


def rotate(p: Possession, busy: set[int]) -> Pair:
    """Who changes places with whom if none of these takes the ball."""
    x, y = (p.pass_x1, p.pass_y1) if p.mode == PASS_FLIGHT else (p.ball_x, p.ball_y)
    row = p.w.slides[p.region][p.moment]
    nearest, own, near_d, own_d = NONE, NONE, 99.0, 99.0
    for i in p.defenders:
        d = p.distance_to(i, x, y)
        if i not in busy and d < near_d:
            nearest, near_d = i, d
        if row[p.w.role_of[p.side_index(p.near)][i - 5]].kind in (ON_BALL, IF_SHOOTER) and d < own_d:
            own, own_d = i, d
    if NONE in (nearest, own) or own == nearest or own_d < near_d + p.k["rotate_m"]:
        return {}
    return {own: nearest, nearest: own}


def targets_of_the_defenders(p: Possession) -> None:
    """Step part 4."""
    k = p.k
    shot_up = p.mode in (SHOT_FLIGHT, LOOSE)
    shooter = p.can_shoot()
    trapping = p.trap_phase in (COMING, SET)
    covering = trapping or (p.trap_phase == AFTER and p.call.holds_cover and p.t < p.after_t + 1.0)
    disguised = trapping and p.begun < p.trap_t + p.call.disguise_s
    leaves = trapping and p.mode == PASS_FLIGHT and p.target != p.trap_handler
    out = leaves and not disguised
    adopting(p, out)
    if leaves and disguised and any(p.agents[i].focus == 0 for i in p.defenders):
        p.met["a pass out seen in disguise"] += 1
    swapped, otherwise = change_places(p, out)
    for i in p.defenders:
        a = p.agents[i]
        was = a.sliding
        a.stop_share = 1.0
        if shot_up:
            box_out(p, i)
            continue
        trapper = trapping and i in (p.trapper_0, p.trapper_1)
        runs = trapper and p.mode == PASS_FLIGHT and p.begun >= p.release_t + k["primed_s"]
        a.primed = runs and p.target == p.trap_handler
        back = goes_back(p, i, out)
        if runs and out and not (a.primed or back):
            p.met["a trapper not drawn by a pass out"] += 1
        fx, fy = focus_point(p, i)
        if trapping and i == p.trapper_1 and not disguised:
            late = p.begun < (p.trap_t + p.call.disguise_s) + k["second_trapper_delay_s"]
            if late and back:
                p.met["goes back: the delayed trapper"] += 1
            elif late:
                a.tx, a.ty = a.x, a.y
                a.speed_share = 1.0
                a.sliding = True
                continue
        waits = (
            trapper and p.mode in (PASS_WINDUP, PASS_FLIGHT) and not a.primed and p.target == p.trap_handler
        )
        if out and a.focus == 0:
            who = "a trapper" if trapper else "a cover man"
            p.met[f"{'goes back' if back else 'seen, but his cover is held'}: {who}"] += 1
        if covering and not disguised and not waits and not back:
            entry = p.call.entries[a.call_entry]
            if trapping or entry.kind != TRAP:
                a.job = entry.job
                target_from_entry(p, i, entry, p.trap_side, fx, fy, True)
                a.stop_share = 1.0
                a.speed_share = 1.0
                a.sliding = False
                if trapping and not trapper:
                    break_on_the_throw(p, i)
                continue
        if a.break_t > p.begun:
            continue
        if out and i in swapped:
            p.met["two change places, the ball out"] += 1
        for why, two in otherwise.items():
            if two.get(i) != swapped.get(i):
                p.met[f"the nearest {why}"] += 1
        role = p.w.role_of[p.side_index(a.side)][swapped.get(i, i) - 5]
        entry = p.w.slides[a.region][MATCHED if p.matched else a.moment][role]
        a.job = entry.job
        target_from_entry(p, i, entry, a.side, fx, fy, shooter)
        about_the_screen(p, i)
        if a.gamble and out:
            p.met["a ball on its way out, not gone for"] += 1
        elif a.gamble and p.mode == PASS_FLIGHT:
            _, f = segment(a.x, a.y, p.ball_x, p.ball_y, p.pass_x1, p.pass_y1)
            if in_reach(p, i, f):
                a.tx = p.ball_x + f * (p.pass_x1 - p.ball_x)
                a.ty = p.ball_y + f * (p.pass_y1 - p.ball_y)
            else:
                p.met["no gamble: over his hands"] += 1
        if p.w.clock.defensive_three_seconds_s > 0.0:
            leave_the_lane(p, i)
        a.speed_share = 1.0
        a.sliding = dist(a.x, a.y, a.tx, a.ty) < k["slide_range_m"]
        away = a.vx * (a.tx - a.x) + a.vy * (a.ty - a.y) < 0.0
        if was and not a.sliding and away and a.vx * a.vx + a.vy * a.vy > 0.25:
            a.turn_t = p.begun + k["turn_s"]
        if p.begun < a.turn_t:
            a.sliding = True
    if p.mode == HELD:
        step_up(p, trapping)
    elif p.mode == SHOT_WINDUP:
        contest(p)


def in_reach(p: Possession, i: int, f: float) -> bool:
    """Whether a defender can get his hands to the pass at share f of what is left of its way."""
    z = height(p, p.pass_kind, p.pass_z0, p.pass_share + f * (1.0 - p.pass_share))
    return z <= p.player(i).reach + p.k["jump_m"]


def break_on_the_throw(p: Possession, i: int) -> None:
    """A cover man plays the throw out of a trap (section 4.2)."""
    a, k = p.agents[i], p.k
    if p.mode != PASS_FLIGHT or not a.gamble or p.begun < p.release_t + k["cover_break_s"]:
        return
    d, f = segment(a.x, a.y, p.ball_x, p.ball_y, p.pass_x1, p.pass_y1)
    if d < k["cover_break_within_m"] and not in_reach(p, i, f):
        p.met["no break: over his hands"] += 1
    elif d < k["cover_break_within_m"]:
        f = clip(f + 0.1, 0.0, 0.95)
        a.tx = p.ball_x + f * (p.pass_x1 - p.ball_x)
        a.ty = p.ball_y + f * (p.pass_y1 - p.ball_y)
        a.break_t = p.arrive_t + k["cover_recover_s"]


def contest(p: Possession) -> None:
    """The nearest man goes up with the shooter (section 4.1)."""
    k, h = p.k, p.h
    if p.begun < p.windup_t + k["reaction_s"] * k["dribble_reaction_share"]:
        return
    who, d = p.nearest_defender(h.x, h.y)
    if d <= k["contest_m"]:
        return
    a = p.agents[who]
    a.tx, a.ty = toward_rim(h.x, h.y, k["contest_m"])
    a.sliding = False
    a.stop_share = k["close_out_brake_share"]


def target_from_entry(
    p: Possession, i: int, entry: Entry, near: int, fx: float, fy: float, shooter: bool
) -> None:
    a, k = p.agents[i], p.k
    px, py = entry.x * near, entry.y
    kind = entry.kind
    if kind == OWN_MAN:
        if a.own_man == NONE:
            a.tx, a.ty = px, py
        elif a.own_man == man_with_the_ball(p, i):
            on_ball(p, i, fx, fy, shooter)
        else:
            guard_own_man(p, i, entry, fx, fy)
        return
    if kind == ON_BALL or (kind == IF_SHOOTER and shooter):
        on_ball(p, i, fx, fy, shooter)
        return
    if kind == TRAP:
        trap_target(p, i, fx, fy)
        return
    man = p.nearest_attacker_within(px, py, entry.man_within_m, left_out=p.handler)
    if kind in (DENY, FRONT, BEHIND):
        if man == NONE:
            a.tx, a.ty = px, py
            return
        m = p.agents[man]
        if kind == BEHIND:
            a.tx, a.ty = toward_rim(m.x, m.y, k["lob_distance_m"])
            return
        gap = k["deny_distance_m"] if kind == DENY else k["front_distance_m"]
        d = dist(fx, fy, m.x, m.y)
        share = 1.0 if d < 1e-9 else clip(gap / d, 0.0, 0.5)
        a.tx = m.x + (fx - m.x) * share
        a.ty = m.y + (fy - m.y) * share
        return
    assert kind in (PLACE, IF_SHOOTER)
    x = px + entry.toward_ball * (fx - px)
    y = py + entry.toward_ball * (fy - py)
    if entry.toward_man > 0.0 and man != NONE:
        mx, my = toward_rim(p.agents[man].x, p.agents[man].y, 0.8)
        x += entry.toward_man * (mx - px)
        y += entry.toward_man * (my - py)
    a.tx, a.ty = x, y


def guard_own_man(p: Possession, i: int, entry: Entry, fx: float, fy: float) -> None:
    """His own man does not have the ball: toward the rim, a little toward the ball, farther if far."""
    a, k = p.agents[i], p.k
    m = p.agents[a.own_man]
    gap = clip(k["man_gap_m"] + k["man_gap_per_m"] * dist(fx, fy, m.x, m.y), 0.0, k["man_gap_most_m"])
    gap = (a.gap_share * entry.toward_ball) * gap
    gap *= clip(k["man_gap_rim_share_per_m"] * rim_distance(m.x, m.y), 0.0, 1.0)
    hx = k["man_toward_ball_share"] * fx - m.x
    hy = k["man_toward_ball_share"] * fy - m.y
    size = math.sqrt(hx * hx + hy * hy)
    a.tx, a.ty = m.x, m.y
    if size >= 1e-9:
        p.met[f"off the ball, the gap he keeps is {'his own' if gap < size else 'the most'}"] += 1
        gap = min(gap, size)
        a.tx += hx / size * gap
        a.ty += hy / size * gap


def on_ball(p: Possession, i: int, fx: float, fy: float, shooter: bool) -> None:
    a, k = p.agents[i], p.k
    if p.action == DRIVE and p.begun < p.drive_t + (k["reaction_s"] * k["dribble_reaction_share"]):
        return  # the first step is the driver's
    a.stop_share = k["close_out_brake_share"]
    gap = a.gap_share * guarding_gap(p, fx, fy, shooter)
    who = "a shooter" if shooter else "no shooter"
    p.met[f"the gap he keeps from {who} is {'his own' if gap > 0.7 else 'the least'}"] += 1
    x, y = toward_rim(fx, fy, max(gap, 0.7))
    meet = p.w.arc + k["pick_up_beyond_arc_m"]
    out = math.sqrt(x * x + y * y)
    if out > meet:
        x, y = x * (meet / out), y * (meet / out)
    elif p.mode == HELD and a.focus == 0:
        x += 0.25 * p.h.vx
        y += 0.25 * p.h.vy
    a.tx, a.ty = x, y


def trap_target(p: Possession, i: int, fx: float, fy: float) -> None:
    a, k = p.agents[i], p.k
    if p.mode == HELD:
        fx += k["trapper_lead_s"] * p.h.vx
        fy += k["trapper_lead_s"] * p.h.vy
    face_x, face_y = p.call.face
    ux, uy = face_x * p.trap_side - fx, face_y - fy
    size = math.sqrt(ux * ux + uy * uy)
    if size < 1e-9:
        ux, uy = 0.0, -1.0
    else:
        ux, uy = ux / size, uy / size
    b = p.agents[p.trapper_1 if i == p.trapper_0 else p.trapper_0]
    mine = ux * (a.y - fy) - uy * (a.x - fx)
    his = ux * (b.y - fy) - uy * (b.x - fx)
    turn = 1.0 if mine >= his else -1.0
    if mine == his and i != p.trapper_0:
        turn = -1.0
    co = math.cos(k["trap_half_angle"])
    si = math.sin(k["trap_half_angle"]) * turn
    a.tx = fx + (ux * co - uy * si) * k["trap_stand_m"]
    a.ty = fy + (ux * si + uy * co) * k["trap_stand_m"]


def step_up(p: Possession, trapping: bool) -> None:
    """Stepping up in front of a drive (section 4)."""
    h = p.h
    d_rim = rim_distance(h.x, h.y)
    if d_rim > 6.0 or d_rim < 0.8:
        not_open(p, "the ball is far" if d_rim > 6.0 else "the ball is there")
        return
    who, best = NONE, 99.0
    for i in p.defenders:
        if trapping and i in (p.trapper_0, p.trapper_1):
            continue
        a = p.agents[i]
        d, f = segment(a.x, a.y, h.x, h.y, 0.0, 0.0)
        if f > 0.05 and d < 0.9:
            not_open(p, "somebody is in front")
            return
        if f > 0.0:
            cost = d + 0.3 * p.apart(i, p.handler)
            if cost < best:
                who, best = i, cost
    if p.open_t >= NEVER:
        p.met["nobody in front"] += 1
        p.open_t = p.begun
    elif p.open_t < p.catch_t:
        p.met["nobody in front since before the catch"] += 1
    unseen = p.begun < p.open_t + p.k["reaction_s"] * p.k["dribble_reaction_share"]
    if unseen and p.action == DRIVE:
        p.met["nobody in front, and help has not seen the drive yet"] += 1
        return
    if who == NONE or p.agents[who].adopt_t < NEVER:
        p.met["nobody in front, and " + ("no help" if who == NONE else "help is still to adopt")] += 1
        return
    how = "no drive, help steps up at once" if unseen else "help that has seen a drive steps up"
    if unseen or p.action == DRIVE:
        p.met[how] += 1
    a = p.agents[who]
    a.tx, a.ty = toward_rim(h.x + 0.3 * h.vx, h.y + 0.3 * h.vy, on_ball_gap(p, h.x, h.y))
    a.sliding = False


def not_open(p: Possession, why: str) -> None:
    if p.open_t < NEVER:
        p.met[f"open no more: {why}"] += 1
    p.open_t = NEVER


def leave_the_lane(p: Possession, i: int) -> None:
    """For rule sets that count a defender's time in the lane (section 5)."""
    a = p.agents[i]
    if p.nearest_attacker_within(a.x, a.y, 1.8) != NONE:
        a.lane_t = 0.0
    elif a.lane_t > p.w.clock.defensive_three_seconds_s - 0.8:
        out = p.w.lane_half_width + 0.4
        a.tx = -out if a.x < 0.0 else out


def box_out(p: Possession, i: int) -> None:
    """Section 6."""
    a = p.agents[i]
    a.speed_share = 1.0
    a.sliding = False
    if p.mode == LOOSE:
        a.tx, a.ty = p.ball_x, p.ball_y
        return
    d = rim_distance(a.x, a.y)
    if d < 1e-9:
        a.tx, a.ty = 0.0, 1.0
        return
    a.tx, a.ty = a.x / d * 1.8, a.y / d * 1.8
    man = a.own_man
    if man == NONE or p.apart(i, man) > 4.0:
        man = p.nearest_attacker_within(a.x, a.y, 3.0)
    if man != NONE:
        bx, by = toward_rim(p.agents[man].x, p.agents[man].y, 0.7)
        if rim_distance(bx, by) <= 3.5:
            a.tx, a.ty = bx, by


def shell_stands(p: Possession) -> bool:
    """Section 7."""
    return all(
        dist(p.agents[i].x, p.agents[i].y, p.agents[i].tx, p.agents[i].ty) <= p.k["shell_stand_m"]
        for i in p.defenders
    )
