"""Whom the ball's holder sees: a team-mate the later the farther off, and past a trap's arms only by chance.

Source of the rules: common practice, no source.
"""

from __future__ import annotations

import math

from engine.kernel import draws
from engine.kernel.jit import njit
from engine.kernel.motion import distance, point_to_segment
from engine.kernel.offence import reading_delay
from engine.state.arrays import N_SIDE
from engine.state.words import Dribble, TrapPhase

THE_LOOK, FINDING, PAST_ARMS = 0, 1, 2  # subjects of the draws


@njit
def begin_look(w, c, who):
    """Agent ``who`` has taken the ball: when he sees a way to drive, and when he finds each team-mate.

    All exponential; a team-mate's mean grows with his distance, ``find_at_m`` away it is that of the way.
    """
    s = c.s
    k = w.k
    a = c.agents[who]
    mean_s = reading_delay(w, k.look_s * (1.5 - w.players[who].passing))
    u, _, _, _ = draws.uniforms(s, draws.LOOK, THE_LOOK, 0, s.step)
    s.looked_t = s.t - mean_s * math.log(u)
    for j in range(N_SIDE):
        if j != who:
            b = c.agents[j]
            u = of_team_mate(s, FINDING, who, j)
            b.found_t = s.t - mean_s * math.log(u) * distance(a.x, a.y, b.x, b.y) / k.find_at_m


@njit
def of_team_mate(s, subject, who, j):
    """The uniform of team-mate ``j`` among the four of one draw, which ``who`` makes in this step."""
    u0, u1, u2, u3 = draws.uniforms(s, draws.LOOK, subject, 0, s.step)
    m = j if j < who else j - 1
    if m < 2:
        return u0 if m == 0 else u1
    return u2 if m == 2 else u3


@njit
def sees_all(s):
    """True for who need not look first: he dribbles, brings the ball up, or has it out of a trap."""
    return s.trap_phase == TrapPhase.AFTER or s.n_catches == 0 or s.dribble != Dribble.UNUSED


@njit
def arms_before(w, c, j):
    """How many of a trap's two men who are on the holder have their arms in his way to team-mate ``j``."""
    s = c.s
    a = c.agents[s.handler]
    b = c.agents[j]
    n = 0
    for m in range(2):
        t = c.agents[s.trapper_0 if m == 0 else s.trapper_1]
        d, share = point_to_segment(t.x, t.y, a.x, a.y, b.x, b.y)
        near = distance(t.x, t.y, a.x, a.y) < w.k.pressure_within_m
        if near and share > 0.0 and d < w.k.trap_arm_m:
            n += 1
    return n


@njit
def in_view(w, c, j, trapped):
    """True if the holder sees team-mate ``j`` now: found, and no arms of a trap hide him at this glance."""
    s = c.s
    b = c.agents[j]
    if not sees_all(s) and s.now < b.found_t:
        return False
    n = arms_before(w, c, j) if trapped else 0
    if n == 0:
        return True
    a = c.agents[s.handler]
    z = n * distance(a.x, a.y, b.x, b.y) / w.k.view_m
    return of_team_mate(s, PAST_ARMS, s.handler, j) < math.exp(-z)
