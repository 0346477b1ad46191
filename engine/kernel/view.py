"""Whom the ball's holder sees: a team-mate the later the farther off, later yet past the arms of a trap.

Source of the rules: common practice, no source.
"""

from __future__ import annotations

import math

from engine.kernel import draws
from engine.kernel.jit import njit
from engine.kernel.motion import distance, point_to_segment
from engine.kernel.offence import reading_delay
from engine.state.arrays import N_SIDE
from engine.state.words import TrapPhase

THE_LOOK, FINDING, PAST_ARMS = 0, 1, 2  # subjects of the draws


@njit
def begin_look(w, c, who):
    """Agent ``who`` has taken the ball: when he sees a way to drive, how long he looks for each team-mate.

    All exponential; a team-mate's mean grows with his distance, ``find_at_m`` away it is that of the way.
    """
    s = c.s
    k = w.k
    mean_s = reading_delay(w, k.look_s * (1.5 - w.players[who].passing))
    u, _, _, _ = draws.uniforms(s, draws.LOOK, THE_LOOK, 0, s.step)
    s.looked_t = s.t - mean_s * math.log(u)
    u0, u1, u2, u3 = draws.uniforms(s, draws.LOOK, FINDING, 0, s.step)
    for j in range(N_SIDE):
        if j != who:
            u = of_team_mate(who, j, u0, u1, u2, u3)
            c.agents[j].find_s_per_m = -mean_s * math.log(u) / k.find_at_m


@njit
def of_team_mate(who, j, u0, u1, u2, u3):
    """What is ``j``'s of four draws for the team-mates of ``who``."""
    m = j if j < who else j - 1
    if m < 2:
        return u0 if m == 0 else u1
    return u2 if m == 2 else u3


@njit
def arms_before(w, c, j):
    """How many of the two of a trap that stands have their arms in the holder's way to team-mate ``j``."""
    s = c.s
    a = c.agents[s.handler]
    b = c.agents[j]
    n = 0
    for m in range(2):
        t = c.agents[s.trapper_0 if m == 0 else s.trapper_1]
        d, share = point_to_segment(t.x, t.y, a.x, a.y, b.x, b.y)
        if share > 0.0 and d < w.k.trap_arm_m:
            n += 1
    return n


@njit
def in_view(w, c, j):
    """True if the holder sees team-mate ``j``: found, once for all, and not behind the arms of a trap."""
    s = c.s
    k = w.k
    a = c.agents[s.handler]
    b = c.agents[j]
    d = distance(a.x, a.y, b.x, b.y)
    if s.now - s.catch_t < b.find_s_per_m * d:
        return False
    b.find_s_per_m = 0.0
    if s.trap_phase != TrapPhase.SET:
        return True
    n = arms_before(w, c, j)
    if n == 0:
        return True
    u0, u1, u2, u3 = draws.uniforms(s, draws.LOOK, PAST_ARMS, 0, s.trap_number)
    u = of_team_mate(s.handler, j, u0, u1, u2, u3)
    mean_s = n * d * k.past_arms_s_per_m * (1.5 - w.players[s.handler].passing)
    return s.now - s.trap_read_t >= -mean_s * math.log(u)
