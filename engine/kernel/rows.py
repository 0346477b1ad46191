"""Which row of the slide table the ball is in, and when each defender adopts it.

A defender adopts a row some time after the ball's row has changed: reaction delay after a release or a
dribble, less when he anticipates, wrong when he guesses wrong. near and far are latched here.
"""

from __future__ import annotations

from engine.kernel import draws
from engine.kernel.jit import njit
from engine.kernel.log import event
from engine.kernel.motion import distance, region_at
from engine.kernel.near import NEVER, nearest_defender, side_index
from engine.kernel.shooting import guarding_gap, is_shooter
from engine.state.arrays import N_SIDE
from engine.state.words import (
    Event,
    Focus,
    Mode,
    Moment,
    Region,
    TrapPhase,
)


@njit
def side_of(x, near, hysteresis_m):
    """Near side for a ball at ``x``: keeps the latched one within the hysteresis of the middle."""
    if x > hysteresis_m:
        return 1
    if x < -hysteresis_m:
        return -1
    return near


@njit
def next_moment(region, near, old_region, old_moment, old_near):
    """Which row of the new region applies, from where the ball came (model of the 2-3's bump).

    To the wing from above on the same side: the bump is still to come; from the other side: reversal;
    back out of the corner or post: the guard has it. To the corner before the bump: its own row. To the top
    from a wing or deeper: reversal.
    """
    above = old_region == Region.BACKCOURT or old_region == Region.TOP or old_region == Region.SLOT
    if region == Region.WING:
        if old_region == Region.WING and old_near == near:
            return old_moment
        if near != old_near:
            return Moment.REVERSAL
        if above:
            return Moment.BEFORE_BUMP
        return Moment.AFTER_BUMP
    if region == Region.CORNER:
        if old_region == Region.CORNER and old_near == near:
            return old_moment
        if (
            old_region == Region.WING
            and old_near == near
            and (old_moment == Moment.BEFORE_BUMP or old_moment == Moment.REVERSAL)
        ):
            return Moment.BEFORE_BUMP
        return Moment.SETTLED
    if region == Region.TOP or region == Region.SLOT:
        if old_region == region and old_near == near:
            return old_moment
        if old_region == Region.BACKCOURT:
            return Moment.SETTLED
        if region == Region.SLOT and old_region == Region.SLOT:
            return Moment.REVERSAL
        if above:
            return Moment.SETTLED
        return Moment.REVERSAL
    return Moment.SETTLED


@njit
def set_row(w, c, region, moment, near, delay_share):
    """The ball's row becomes (region, moment, near); every defender adopts it after his reaction."""
    s = c.s
    k = w.k
    s.region = region
    s.moment = moment
    s.near = near
    s.spot_t = s.t + k.reaction_s
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        if a.adopt_t >= NEVER:
            a.adopt_t = s.t + k.reaction_s * delay_share


@njit
def adopt_now(c, i):
    """Defender ``i`` takes over the ball's current row at once."""
    s = c.s
    a = c.agents[i]
    a.region = s.region
    a.moment = s.moment
    a.side = s.near
    a.focus = Focus.BALL
    a.adopt_t = NEVER


@njit
def adopt_due(c):
    """Who is due takes over the ball's row, or his guess of it; True if one is the first to see the ball."""
    s = c.s
    knew = False
    know = False
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        knew = knew or a.focus == Focus.BALL
        if s.begun >= a.adopt_t:
            adopt_now(c, i)
        if s.begun >= a.guess_t:
            a.region = a.guess_region
            a.moment = a.guess_moment
            a.side = a.guess_side
            a.focus = Focus.GUESS
            a.guess_t = NEVER
        know = know or a.focus == Focus.BALL
    return know and not knew


@njit
def person_in_role(w, c, role):
    """Agent index of the defender who holds a role now (near side as the ball's row has it)."""
    s = c.s
    return N_SIDE + w.person_of[side_index(s.near), role]


@njit
def has_come(w, c, a):
    """True if defender ``a`` has come as near to the ball's holder as he will stand, and ``bump_m``."""
    h = c.agents[c.s.handler]
    d_rim = distance(h.x, h.y, 0.0, 0.0)
    gap = guarding_gap(w, d_rim, is_shooter(w, c.s, c.s.handler, d_rim))
    return distance(a.x, a.y, h.x, h.y) < gap + w.k.bump_m


@njit
def follow_ball(w, c):
    """Rows follow the dribble; the bump and the reversal end when a defender has come to the ball."""
    s = c.s
    k = w.k
    if s.mode != Mode.HELD:
        return
    h = c.agents[s.handler]
    near = side_of(h.x, s.near, k.side_hysteresis_m)
    region = region_at(w, h.x, h.y)
    if region != s.region or near != s.near:
        moment = next_moment(region, near, s.region, s.moment, s.near)
        set_row(w, c, region, moment, near, k.dribble_reaction_share)
        return
    if (
        w.rules.bump_role >= 0
        and region == Region.WING
        and (s.moment == Moment.BEFORE_BUMP or s.moment == Moment.REVERSAL)
    ):
        g = c.agents[person_in_role(w, c, w.rules.bump_role)]
        if has_come(w, c, g):
            event(c, Event.BUMP, s.handler, -1, s.t - s.catch_t, h.x, h.y)
            set_row(w, c, region, Moment.AFTER_BUMP, near, k.dribble_reaction_share)
    elif s.moment == Moment.REVERSAL or (region == Region.CORNER and s.moment == Moment.BEFORE_BUMP):
        _, who = nearest_defender(c, h.x, h.y)
        if has_come(w, c, c.agents[who]):
            set_row(w, c, region, Moment.SETTLED, near, k.dribble_reaction_share)


@njit
def own_men(w, c):
    """Every defender has the man he has from the start, or none; nobody has matched up."""
    c.s.matched = 0
    for i in range(N_SIDE):
        c.guards[i] = w.guards[i]


@njit
def match_men(c):
    """Every defender takes a man: the nearest pair first, then the nearest of those left, five times."""
    for i in range(N_SIDE):
        c.guards[i] = -1
    for _ in range(N_SIDE):
        best = NEVER
        who = 0
        man = 0
        for i in range(N_SIDE):
            if c.guards[i] >= 0:
                continue
            a = c.agents[i + N_SIDE]
            for j in range(N_SIDE):
                taken = False
                for other in range(N_SIDE):
                    if c.guards[other] == j:
                        taken = True
                if taken:
                    continue
                d = distance(a.x, a.y, c.agents[j].x, c.agents[j].y)
                if d < best:
                    best = d
                    who = i
                    man = j
        c.guards[who] = man
    c.s.matched = 1


@njit
def all_have_men(c):
    """True if no defender is without a man of his own."""
    for i in range(N_SIDE):
        if c.guards[i] < 0:
            return False
    return True


@njit
def read_pass(w, c, target, x, y, fake):
    """At the start of a pass: each defender may leave early, rightly or wrongly, or gamble on the ball.

    ``target`` is the receiver, (x, y) where he will catch, metres. A fake freezes those who anticipate.
    """
    s = c.s
    k = w.k
    near = side_of(x, s.near, k.side_hysteresis_m)
    region = region_at(w, x, y)
    moment = next_moment(region, near, s.region, s.moment, s.near)
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        u0, u1, u2, u3 = draws.uniforms(s, draws.ANTICIPATE, i, 0, s.n_passes)
        in_trap = s.trap_phase == TrapPhase.COMING or s.trap_phase == TrapPhase.SET
        trapper = in_trap and (i == s.trapper_0 or i == s.trapper_1)
        a.gamble = 1 if u3 < (k.cover_break_p if in_trap else k.gamble_p) and not trapper else 0
        if a.adopt_t >= NEVER:  # else he is still taking in the last change; the release gives him the next
            a.adopt_t = s.release_t + k.reaction_s
        a.guess_t = NEVER
        if u0 >= k.anticipation_p:
            continue
        if fake and not trapper:
            a.adopt_t = s.release_t + k.reaction_s + k.fake_freeze_s
            continue
        a.guess_t = s.release_t - k.anticipation_lead_s
        if u1 >= k.anticipation_wrong_p:
            a.guess_x = x
            a.guess_y = y
            a.guess_region = region
            a.guess_moment = moment
            a.guess_side = near
            a.guess_who = target
        else:
            other = int(u2 * (N_SIDE - 2))  # one of those who neither have the ball nor get it
            first = target if target < s.handler else s.handler
            if other >= first:
                other += 1
            if other >= target + s.handler - first:
                other += 1
            a.guess_who = other
            b = c.agents[other]
            a.guess_x = b.x
            a.guess_y = b.y
            a.guess_side = side_of(b.x, s.near, k.side_hysteresis_m)
            a.guess_region = region_at(w, b.x, b.y)
            a.guess_moment = next_moment(a.guess_region, a.guess_side, s.region, s.moment, s.near)
