"""What a choice of the handler's does (offence, section 6).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

from naive_basics import (
    COMING,
    DEAD,
    DRIBBLE_TO,
    DRIBBLING,
    DRIVE,
    NEVER,
    NONE,
    RETREAT,
    SET,
    SPLIT,
    STAY,
    clip,
    dist,
)
from naive_decision import DRIVES, HOLD, OPT_RETREAT, OPT_SPLIT, PASSES, SHOOT, Decision
from naive_endings import violation
from naive_passes import start_pass
from naive_shots import start_shot
from naive_state import Possession


def decide(p: Possession) -> None:
    """Step part 13."""
    p.n_decisions += 1
    p.due_t = p.decide_t if abs(p.decide_t - p.t) <= p.dt else p.t
    p.decide_t = p.due_t + p.k["decision_period_s"]
    decision = Decision(p)
    if decision.brings_up():
        return
    decision.look()
    decision.weigh()
    option = decision.choose()
    p.options = [
        (o, s.value, o == option, s.raw, s.gap, s.promise, s.ahead, s.place)
        for o, s in sorted(decision.options.items())
    ]
    chosen = decision.options[option]
    if option == SHOOT:
        start_shot(p)
    elif option == HOLD:
        hold(p)
    elif option >= PASSES:
        p.action = STAY
        start_pass(p, option - PASSES, chosen.kind, chosen.x, chosen.y)
    else:
        h = p.h
        begins = DRIVES <= option < OPT_RETREAT and p.action != DRIVE
        if option == OPT_RETREAT:
            p.event("retreat", p.handler, NONE, chosen.value, h.x, h.y)
            p.action = RETREAT
        elif option == OPT_SPLIT:
            p.event("split", p.handler, NONE, chosen.value, h.x, h.y)
            p.action = SPLIT
        else:
            if begins:
                p.drive_t = p.t
                p.drive_way = option - DRIVES
                p.record["drives"] += 1
                p.event("drive", p.handler, NONE, chosen.value, h.x, h.y)
                way = dist(h.x, h.y, chosen.x, chosen.y)
                way += dist(chosen.x, chosen.y, chosen.end_x, chosen.end_y)
                time_s = way / decision.drive_speed
                p.decide_t = p.due_t + clip(time_s, p.k["decision_period_s"], p.k["drive_commit_s"])
            p.action = DRIVE
        p.dribble = DRIBBLING
        p.goal_x, p.goal_y, p.end_x, p.end_y = chosen.x, chosen.y, chosen.end_x, chosen.end_y
        if begins:
            travels = p.draw("PICK_UP", 0, p.n_decisions)[1] < p.k["travel_p"]
            how = "a travel" if travels else "no travel"
            p.met[f"a drive begins, {decision.seen or 'no trap'}: {how}"] += 1
            if travels:
                violation(p, "travel")


def hold(p: Possession) -> None:
    if p.action in (DRIVE, SPLIT, RETREAT):
        used_up = p.action == DRIVE and p.t - p.drive_t >= p.k["drive_most_s"]
        p.action = STAY
        p.stopped_t, p.look_t = p.t, -NEVER
        if used_up or p.draw("PICK_UP", 0, p.n_decisions)[0] < p.k["pick_up_p"]:
            p.dribble = DEAD
            p.picked_up = True
            p.event("pick_up", p.handler, NONE, 0.0, p.h.x, p.h.y)
    elif p.trap_phase in (COMING, SET) or p.two_ahead(p.k["stop_two_m"]):
        p.action = STAY
    elif p.action == STAY and p.dribble != DEAD:
        x, y = p.spot_of(p.handler)
        if p.distance_to(p.handler, x, y) > 2.5 and p.t - p.catch_t > 0.5:
            p.action = DRIBBLE_TO
            p.dribble = DRIBBLING
            p.goal_x, p.goal_y = x, y
