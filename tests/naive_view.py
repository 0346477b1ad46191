"""Whom the ball's holder has found, and who is hidden by the arms of a trap (offence, sections 4.2 and 4.4).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math

from naive_basics import UNUSED, segment
from naive_state import Possession


def word_of(p: Possession, j: int) -> int:
    """Number of an attacker among the four who do not have the ball."""
    return [i for i in p.attackers if i != p.handler].index(j)


def find_team_mates(p: Possession, mean_s: float) -> None:
    """Who takes the ball finds the others one by one (description, element 5)."""
    u = p.draw("LOOK", 1, p.step)
    for j in p.attackers:
        if j != p.handler:
            way = p.apart(p.handler, j) / p.k["find_at_m"]
            p.agents[j].found_t = p.t - mean_s * math.log(u[word_of(p, j)]) * way


def sees_all(p: Possession, seen: str) -> bool:
    return bool(reasons_to_see_all(p, seen))


def reasons_to_see_all(p: Possession, seen: str) -> list[str]:
    reasons = {"after": seen == "after", "n_catches 0": p.n_catches == 0, "dribble used": p.dribble != UNUSED}
    return [reason for reason, holds in reasons.items() if holds]


def in_view(p: Possession, j: int, seen: str, trapped: bool) -> bool:
    if p.now < p.agents[j].found_t:
        reasons = reasons_to_see_all(p, seen)
        if not reasons:
            p.met["not found yet"] += 1
            return False
        if len(reasons) == 1:  # else it does not tell them apart
            p.met[f"sees all: {reasons[0]}"] += 1
    return not trapped or past_the_arms(p, j)


def past_the_arms(p: Possession, j: int) -> bool:
    """Whether the trapped holder sees a team-mate at this glance."""
    n = sum(arms_in_the_way(p, i, j) for i in (p.trapper_0, p.trapper_1))
    if n == 0:
        return True
    u = p.draw("LOOK", 2, p.step)[word_of(p, j)]
    seen = u < math.exp(-n * p.apart(p.handler, j) / p.k["view_m"])
    p.met[f"behind {n}, {'seen' if seen else 'not seen'}"] += 1
    return seen


def arms_in_the_way(p: Possession, trapper: int, j: int) -> bool:
    a, r = p.agents[trapper], p.agents[j]
    d, f = segment(a.x, a.y, p.h.x, p.h.y, r.x, r.y)
    near = p.apart(trapper, p.handler) < p.k["pressure_within_m"]
    in_the_way = d < p.k["trap_arm_m"] and f > 0.0
    if near and not in_the_way:
        p.met["a trapper near, not in the way"] += 1
        if d < p.k["trap_arm_m"]:
            p.met["a trapper near, behind the holder"] += 1
    if in_the_way and not near:
        p.met["a trapper in the way, too far"] += 1
    return near and in_the_way
