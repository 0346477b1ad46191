"""Trap calls: chances, shadow calls, start, phases, hazards (ball and traps, sections 7 to 11).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

from naive_basics import (
    AFTER,
    BEFORE_BUMP,
    COMING,
    DEAD,
    HELD,
    LANE,
    NONE,
    OUTCOMES,
    PASS_FLIGHT,
    PASS_WINDUP,
    PHASE_NONE,
    RETREAT,
    RIM,
    SCREEN_SET,
    SET,
    SHOT_WINDUP,
    SPLIT,
    STAY,
    dist,
    happens,
    rim_distance,
)
from naive_coded import floor_seen, has
from naive_defence import shell_stands
from naive_endings import (
    close_after,
    close_outcome,
    close_outcome_if_open,
    foul,
    throw_in,
    turnover,
    violation,
)
from naive_offence import give_out_the_break
from naive_rows import all_have_a_man, reading_delay, set_row, take_men
from naive_state import Possession
from naive_world import TrapCall

# --- chances (section 7) ------------------------------------------------------------------------------------


def coded_calls(p: Possession) -> bool:
    return not p.w.is_home and has(p, "call")


def listed(call: TrapCall, trigger: str, region: int) -> bool:
    return region in call.regions and trigger in call.triggers


def fits(p: Possession, call: TrapCall, trigger: str, handler: int, region: int, y: float) -> bool:
    return (
        listed(call, trigger, region)
        and (call.only is None or handler in call.only)
        and call.low_y <= y <= call.high_y
        and not (trigger == "brought_down" and p.last_y <= call.high_y)
        and not (call.after_bump and p.moment == BEFORE_BUMP)
    )


def chance(p: Possession, trigger: str, handler: int, region: int, x: float, y: float) -> None:
    """A chance to call a trap."""
    for s in range(len(p.w.shadows)):
        shadow_chance(p, s, trigger, handler, region, y)
    if p.trap_phase != PHASE_NONE or coded_calls(p):
        return
    for n, call in enumerate(p.w.calls):
        if not fits(p, call, trigger, handler, region, y):
            continue
        p.chances[call.subject] = p.chances.get(call.subject, 0) + 1
        u = p.draw("CALL", call.subject, p.chances[call.subject])
        if u[0] < call.probability and p.trap_number < p.max_calls:
            p.triggers.append(trigger)
            start_call(p, n, handler, x, y)
            return


def shadow_chance(p: Possession, n: int, trigger: str, handler: int, region: int, y: float) -> None:
    setting, call = p.w.shadows[n]
    bit = 1 << setting
    if p.record["shadow"] & bit or not fits(p, call, trigger, handler, region, y):
        return
    p.shadow_counts[n] = p.shadow_counts.get(n, 0) + 1
    if p.draw("CALL", call.subject, p.shadow_counts[n])[0] < call.probability:
        p.record["shadow"] |= bit


def chances_of_a_step(p: Possession, caught: bool, before: int) -> None:
    """Step part 9: all triggers but in_air."""
    if p.mode != HELD or p.trap_phase != PHASE_NONE:
        p.picked_up = False
        p.last_y = p.h.y
        return
    h = p.h

    def ask(trigger: str) -> None:
        chance(p, trigger, p.handler, p.region, h.x, h.y)

    if caught:
        ask("catch")
        if p.trap_phase == PHASE_NONE and h.vx * h.x + h.vy * h.y > 0.0:
            ask("back_turned")
        p.picked_up = False
        return
    if p.region != before and p.action != STAY:
        ask("dribble_in")
    if p.action != STAY and h.y < p.last_y:
        ask("brought_down")
    p.last_y = h.y
    if p.across == 1:
        p.across = 2
        ask("across_half")
    if p.picked_up:
        ask("picked_up")
    p.picked_up = False
    if p.screen == SCREEN_SET and not p.screen_chance:
        p.screen_chance = True
        p.met["a chance for a call"] += 1
        ask("screen")
    for s, call in p.w.shadows:
        if s not in p.held_marks and listed(call, "held", p.region) and p.t - p.catch_t >= call.held_s:
            p.held_marks.add(s)
            for n, (other, _) in enumerate(p.w.shadows):
                if other == s:
                    shadow_chance(p, n, "held", p.handler, p.region, h.y)
    if not p.held_chance:
        for call in p.w.calls:
            if listed(call, "held", p.region) and p.t - p.catch_t >= call.held_s:
                p.held_chance = True
                ask("held")
                break


def coded_call(p: Possession) -> None:
    if not coded_calls(p) or p.mode != HELD or p.trap_phase != PHASE_NONE or p.trap_number >= p.max_calls:
        return
    answer = p.policy.call(floor_seen(p))
    if answer == 0:
        return
    if 1 <= answer <= len(p.w.calls):
        start_call(p, answer - 1, p.handler, p.h.x, p.h.y)
    else:
        p.record["policy_faults"] += 1


# --- from the call to the shell (section 8) -----------------------------------------------------------------


def start_call(p: Possession, n: int, handler: int, x: float, y: float) -> None:
    p.trap_phase = COMING
    p.trap_call = n
    call = p.call
    p.trap_t = p.t
    p.trap_side = p.near
    p.trap_x, p.trap_y = x, y
    p.trap_handler = handler
    if call.dynamic:
        dynamic_doubles(p, call, x, y)
    else:
        p.trapper_0 = p.person_in_role(call.doubles[0], p.near)
        p.trapper_1 = p.person_in_role(call.doubles[1], p.near)
        for i in p.defenders:
            p.agents[i].call_entry = p.w.role_of[p.side_index(p.near)][i - 5]
    if p.distance_to(p.trapper_0, x, y) > p.distance_to(p.trapper_1, x, y):
        p.trapper_0, p.trapper_1 = p.trapper_1, p.trapper_0
    p.trap_number += 1
    p.record["n_calls"] += 1
    p.record["call_spots"] += (n + 1) * 16 ** (p.trap_number - 1)
    if p.trap_number == 1:
        p.record["first_call"] = n + 1
        p.outcome_open = True
    give_out_the_break(p)
    p.event("call", handler, n, 0.0, x, y)
    p.trap_read_t = p.t + reading_delay(p, p.k["handler_read_s"])


def dynamic_doubles(p: Possession, call: TrapCall, x: float, y: float) -> None:
    """Who plays which entry, by nearness (section 10)."""
    taken: list[int] = []
    for number, entry in enumerate(call.entries):
        ex, ey = (x, y) if number < 2 else (entry.x * p.near, entry.y)
        who, best = NONE, 99.0
        for i in p.defenders:
            d = p.distance_to(i, ex, ey)
            if i not in taken and d < best:
                who, best = i, d
        taken.append(who)
        p.agents[who].call_entry = number
    p.trapper_0, p.trapper_1 = taken[0], taken[1]


def phase_of_the_trap(p: Possession) -> None:
    """Step part 8."""
    if p.trap_phase in (COMING, SET) and p.mode == HELD:
        _phase_on(p)
    elif p.trap_phase == COMING and p.mode in (PASS_WINDUP, SHOT_WINDUP):
        if p.handler == p.trap_handler and both_there(p) and closed(p):
            set_trap(p)
    elif p.trap_phase == AFTER and p.mode in (HELD, PASS_FLIGHT):
        _phase_after(p)


def both_there(p: Possession) -> bool:
    return all(p.apart(p.handler, i) < p.k["trap_set_m"] for i in (p.trapper_0, p.trapper_1))


def closed(p: Possession) -> bool:
    """Whether there is no way between the trappers."""
    return p.apart(p.trapper_0, p.trapper_1) - 2.0 * p.k["body_radius_m"] < p.k["trap_gap_m"]


def set_trap(p: Possession) -> None:
    p.trap_phase = SET
    p.trap_read_t = p.t
    if p.trap_number == 1:
        p.record["trap_set"] = 1
    p.event("trap_set", p.handler, p.trap_call, p.t - p.trap_t, p.h.x, p.h.y)


def _phase_on(p: Possession) -> None:
    k, h = p.k, p.h
    if p.handler != p.trap_handler:
        leave(p, "escape_pass")
        return
    a, b = p.agents[p.trapper_0], p.agents[p.trapper_1]
    d0, d1 = p.apart(p.handler, p.trapper_0), p.apart(p.handler, p.trapper_1)
    both = both_there(p)
    if p.action == SPLIT:
        gx, gy = p.goal_x - p.trap_x, p.goal_y - p.trap_y
        mx, my = 0.5 * (a.x + b.x), 0.5 * (a.y + b.y)
        if (h.x - mx) * gx + (h.y - my) * gy > 0.3 * rim_distance(gx, gy):
            leave(p, "split")
            return
    elif dist(h.x, h.y, p.trap_x, p.trap_y) > k["retreat_m"] and (
        not both or (p.action == RETREAT and p.trap_phase == COMING)
    ):
        mine = h.x * h.x + h.y * h.y
        if mine >= p.trap_x * p.trap_x + p.trap_y * p.trap_y - 1.0:
            p.action = STAY
            leave(p, "retreat")
            return
        if mine < a.x * a.x + a.y * a.y and mine < b.x * b.x + b.y * b.y:
            leave(p, "split")
            return
        p.trap_x, p.trap_y = h.x, h.y
    if p.trap_phase == COMING:
        if both and closed(p):
            set_trap(p)
            if p.action == RETREAT:
                return
            p.action = STAY
            if p.dribbling and p.draw("TRAP_PICK_UP", 0, p.trap_number)[0] < k["set_pick_up_p"]:
                p.dribble = DEAD
                p.event("pick_up", p.handler, NONE, 0.0, h.x, h.y)
        elif p.t - p.trap_t > p.call.give_up_s:
            close_outcome_if_open(p, "other")
            p.trap_phase = PHASE_NONE
    elif d0 > k["trap_set_m"] + 0.5 or d1 > k["trap_set_m"] + 0.5:
        p.trap_phase = COMING


def leave(p: Possession, how: str) -> None:
    """The trap is left."""
    assert how in OUTCOMES
    if how == "escape_pass" and p.outcome_open:
        role = p.h.break_role
        p.record["escape"] = 5 if role == NONE else 1 + role
        p.record["escape_skip"] = int(p.pass_is_skip)
    close_outcome(p, how)
    p.trap_phase = AFTER
    p.after_t = p.t
    if all_have_a_man(p):
        take_men(p)
    set_row(p, p.region, p.moment, p.near, p.k["dribble_reaction_share"])


def _phase_after(p: Possession) -> None:
    k = p.k
    since = p.t - p.after_t
    if p.mode == HELD and p.region in (LANE, RIM) and since < 2.0 * k["window_s"]:
        return
    if since > k["window_s"] or (since > k["shell_least_s"] and shell_stands(p)):
        close_after(p, "reset")
        p.trap_phase = PHASE_NONE
        p.event_at_ball("shell_stands", NONE, p.trap_call, since)


# --- hazards ------------------------------------------------------------------------------------------------


def hazards_of_a_trap(p: Possession) -> None:
    """Step part 12."""
    if p.mode != HELD or p.trap_phase not in (COMING, SET):
        return
    k, w, h, dt = p.k, p.w, p.h, p.dt
    n, c = 0, 0.0
    thief, nearest = NONE, 99.0
    for i in sorted((p.trapper_0, p.trapper_1)):
        d = p.apart(i, p.handler)
        if d < k["trap_set_m"]:
            n += 1
            c += p.clumsy(i)
            if d < nearest:
                thief, nearest = i, d
    if n < 2:
        return
    u = p.draw("TRAP_HAZARD", 0, p.step)
    loose = p.loose_handle
    if happens(k["trap_foul_rate_per_s"] * c, u[1], dt):
        foul(p)
        return
    if not p.dribbling:
        rate = 2.0 * k["trap_strip_rate_per_s"]
        if happens(rate * loose, u[0], dt):
            turnover(p, "strip", live=True, thief=thief)
            return
        tie_up = (rate + k["tie_up_rate_per_s"]) * loose
        if p.dribble == DEAD and p.trap_phase == SET and happens(tie_up, u[0], dt):
            held_ball(p)
            return
    edge = min(w.half_width - abs(h.x), h.y - w.baseline_y)
    if p.front and w.clock.backcourt_s > 0.0:
        edge = min(edge, w.half_y - h.y)
    if edge < k["step_out_within_m"] and happens(2.0 * k["step_out_rate_per_s"], u[2], dt):
        violation(p, "stepped on a line")
        return
    if (
        p.trap_phase == SET
        and w.trapped_player_may_call
        and p.time_outs > 0
        and happens(k["time_out_rate_per_s"], u[3], dt)
    ):
        p.time_outs -= 1
        p.event("time_out", p.handler, NONE, p.time_outs, h.x, h.y)
        close_outcome_if_open(p, "other")
        throw_in(p, after_foul=False)


def held_ball(p: Possession) -> None:
    p.event_at_ball("held_ball", p.handler, NONE, 0.0)
    p.record["held_balls"] += 1
    p.n_held += 1
    if p.draw("HELD_BALL", 0, p.n_held)[0] < p.w.p_arrow_defence:
        turnover(p, "held_ball", live=False)
    else:
        close_outcome_if_open(p, "other")
        throw_in(p, after_foul=False)
