"""Whom the ball's holder has found, and who is hidden by the arms of a trap (offence, section 4.4).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math

from naive_basics import NONE, SET, segment
from naive_state import Possession


def word_of(p: Possession, j: int) -> int:
    """Number of an attacker among the four who do not have the ball."""
    return [i for i in p.attackers if i != p.handler].index(j)


def find_team_mates(p: Possession, mean_s: float, thrown_by: int) -> None:
    """Who takes the ball looks for the others, but knows who has thrown it (description, element 5)."""
    u = p.draw("LOOK", 1, p.step)
    for j in p.attackers:
        if j != p.handler:
            p.agents[j].find_s_per_m = -mean_s * math.log(u[word_of(p, j)]) / p.k["find_at_m"]
            p.drawn_s_per_m[j] = p.agents[j].find_s_per_m
    if thrown_by != NONE:
        p.agents[thrown_by].find_s_per_m = 0.0
    p.thrown_by = thrown_by


def in_view(p: Possession, j: int) -> bool:
    return found(p, j) and past_the_arms(p, j)


def found(p: Possession, j: int) -> bool:
    """Whether the holder has found a team-mate, now or before."""
    r, d, since = p.agents[j], p.apart(p.handler, j), p.now - p.catch_t
    if since < r.find_s_per_m * d:
        p.met["not found yet"] += 1
        return False
    if since < p.drawn_s_per_m[j] * d:
        p.met["the passer is known" if j == p.thrown_by else "found before, farther away now"] += 1
    r.find_s_per_m = 0.0
    return True


def past_the_arms(p: Possession, j: int) -> bool:
    """Whether the holder has seen a team-mate past the arms of a trap, by now, since it was set."""
    if p.trap_phase != SET:
        return True
    n = sum(arms_in_the_way(p, i, j) for i in (p.trapper_0, p.trapper_1))
    if n == 0:
        p.met["a trap stands, no arms in the way"] += 1
        return True
    mean_s = n * p.apart(p.handler, j) * p.k["past_arms_s_per_m"] * (1.5 - p.player(p.handler).passing)
    u = p.draw("LOOK", 2, p.trap_number)[word_of(p, j)]
    seen = p.now - p.trap_read_t >= -mean_s * math.log(u)
    p.met[f"behind {n}, {'seen' if seen else 'not yet'}"] += 1
    return seen


def arms_in_the_way(p: Possession, trapper: int, j: int) -> bool:
    a, r = p.agents[trapper], p.agents[j]
    d, f = segment(a.x, a.y, p.h.x, p.h.y, r.x, r.y)
    if d < p.k["trap_arm_m"] and not f > 0.0:
        p.met["arms behind the holder"] += 1
    return d < p.k["trap_arm_m"] and f > 0.0
