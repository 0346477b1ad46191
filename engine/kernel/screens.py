"""Screens on the ball: a team-mate stands in the way of the man on the ball; what the two defenders do.

A body in the way is no more than that (engine.kernel.motion.bodies): who wants past it goes around it, and
that costs him time. Source of the rules: common practice, no source.
"""

from __future__ import annotations

import math

from engine.kernel.jit import njit
from engine.kernel.log import event
from engine.kernel.motion import EPSILON, clip, distance, point_to_segment, toward_rim
from engine.kernel.near import nearest_defender
from engine.kernel.shooting import guarding_gap
from engine.state.arrays import N_DRIVES, N_SIDE
from engine.state.words import Action, Coverage, Dribble, Event, Mode, Screen

#: How much room one leaves between two bodies when one goes around a man, or stands beside him, metres (no
#: source).
BESIDE_M = 0.05


@njit
def end_screen(s):
    """The screener goes; one that the ball has gone by still has its effect."""
    if s.screen != Screen.USED:
        s.screen = Screen.NONE


@njit
def begin_screen(c, who):
    """Attacker ``who`` begins to go and screen the man on the ball, from the side he comes from."""
    s = c.s
    h = c.agents[s.handler]
    _, s.screened = nearest_defender(c, h.x, h.y)
    for i in range(N_SIDE):
        if c.guards[i] == s.handler:
            s.screened = N_SIDE + i
    a = c.agents[who]
    b = c.agents[s.screened]
    left = (b.x - h.x) * (a.y - b.y) - (b.y - h.y) * (a.x - b.x) >= 0.0
    s.screen_side = 1.0 if left else -1.0
    s.screener = who
    s.screen_for = s.handler
    s.screen = Screen.COMING
    s.screen_chance = 0


@njit
def screen_spot(w, c):
    """Where the screener stands (metres): beside the man on the ball, who faces it, as near as bodies go."""
    s = c.s
    h = c.agents[s.handler]
    b = c.agents[s.screened]
    ux = b.x - h.x
    uy = b.y - h.y
    d = math.sqrt(ux * ux + uy * uy)
    if d < EPSILON:
        return b.x, b.y
    beside = s.screen_side * (2.0 * w.k.body_radius_m + BESIDE_M) / d
    return b.x - uy * beside, b.y + ux * beside


@njit
def has_him_again(w, c):
    """True if the screened man is back between ball and rim, as near as he guards."""
    s = c.s
    h = c.agents[s.handler]
    b = c.agents[s.screened]
    d_rim = distance(h.x, h.y, 0.0, 0.0)
    near = distance(h.x, h.y, b.x, b.y) < guarding_gap(w, d_rim, True) + w.k.bump_m
    return near and distance(b.x, b.y, 0.0, 0.0) < d_rim


@njit
def shoulder(k, c):
    """Where the man on the ball goes by a screen that is set (metres): by the screener's free shoulder."""
    s = c.s
    m = c.agents[s.screener]
    b = c.agents[s.screened]
    d = distance(m.x, m.y, b.x, b.y)
    beside = (2.0 * k.body_radius_m + BESIDE_M) / d if d > EPSILON else 0.0
    return m.x + (m.x - b.x) * beside, m.y + (m.y - b.y) * beside


@njit
def way_off(s):
    """The drive (0 to the right .. 4 to the left) that goes by the screen: the outer one on its side."""
    return N_DRIVES - 1 if s.screen_side > 0.0 else 0


@njit
def follow_screen(w, c):
    """How far the screen in hand has come: on its way, set, gone by, over."""
    s = c.s
    k = w.k
    if s.screen == Screen.NONE:
        return
    live = s.mode == Mode.HELD and s.handler == s.screen_for and s.dribble != Dribble.DEAD
    driving = s.action == Action.DRIVE
    if s.screen == Screen.USED:
        if not live or not driving or has_him_again(w, c):
            s.screen = Screen.NONE
        return
    if not live or (driving and (s.screen == Screen.COMING or s.drive_way != way_off(s))):
        s.screen = Screen.NONE  # gone before it stood, or refused
        s.play_t = s.t  # the play goes on without it
        return
    a = c.agents[s.screener]
    if s.screen == Screen.COMING:
        a.go_x, a.go_y = screen_spot(w, c)
        if distance(a.x, a.y, a.go_x, a.go_y) < k.screen_set_m:
            s.screen = Screen.SET
            s.screen_t = s.t
            s.screen_cover = w.coverage[s.region]
            event(c, Event.SCREEN, s.screener, s.screened, 0.0, a.x, a.y)
    elif driving:
        s.play_t = s.t + k.time_step_s  # he stands until the ball has gone by
        first_step_s = k.reaction_s * k.dribble_reaction_share
        if s.screen_cover == Coverage.SWITCH and s.begun >= s.drive_t + first_step_s:
            change_men(c)
            s.screen = Screen.NONE  # nothing to cover any more
            s.play_t = s.t
        elif s.goal_x == s.end_x and s.goal_y == s.end_y:
            s.screen = Screen.USED
            s.screen_t = s.t
            s.play_t = s.t


@njit
def change_men(c):
    """The screened man and the screener's man change men."""
    s = c.s
    for i in range(N_SIDE):
        if c.guards[i] == s.screener and c.guards[s.screened - N_SIDE] == s.screen_for:
            c.guards[i] = s.screen_for
            c.guards[s.screened - N_SIDE] = s.screener
            return


@njit
def awaits_screen(s):
    """True for a handler who stands and for whom a screen is on its way."""
    return s.screen == Screen.COMING and s.handler == s.screen_for and s.action == Action.STAY


@njit
def cover_screen(w, c, i):
    """What defender ``i`` does about the screen, where it is his: sets his target, else leaves it."""
    s = c.s
    k = w.k
    how = s.screen_cover
    a = c.agents[i]
    m = c.agents[s.screener]
    h = c.agents[s.handler]
    if i == s.screened:
        d, f = point_to_segment(m.x, m.y, a.x, a.y, a.tx, a.ty)
        if d >= 2.0 * k.body_radius_m or f <= 0.0:
            return
        # around it: over, on the ball's side of the screener, or under, on the rim's
        d_rim = distance(m.x, m.y, 0.0, 0.0)
        if d_rim > EPSILON:
            out = (2.0 * k.body_radius_m + BESIDE_M) / d_rim
            if how == Coverage.UNDER:
                out = -out
            a.tx = m.x + m.x * out
            a.ty = m.y + m.y * out
            a.stop_share = 1.0
        return
    if c.guards[i - N_SIDE] != s.screener:
        return
    if how == Coverage.DROP:
        d_rim = distance(h.x, h.y, 0.0, 0.0)
        a.tx, a.ty = toward_rim(h.x, h.y, clip(k.drop_m, 0.0, 0.5 * d_rim))
    elif how == Coverage.SHOW and s.begun < s.screen_t + k.show_s:
        x = h.x
        y = h.y
        if s.screen == Screen.USED:
            x += k.trapper_lead_s * h.vx
            y += k.trapper_lead_s * h.vy
            a.tx, a.ty = toward_rim(x, y, 2.0 * k.body_radius_m + BESIDE_M)
        else:  # where the ball will come by
            a.tx, a.ty = shoulder(k, c)
