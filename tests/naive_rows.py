"""The ball's row, anticipation, men of their own, taking the ball (defence, sections 1 to 3.1).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math

from naive_basics import (
    AFTER_BUMP,
    BACKCOURT,
    BEFORE_BUMP,
    COMING,
    CORNER,
    HELD,
    NEVER,
    NONE,
    REVERSAL,
    SET,
    SETTLED,
    SLOT,
    STAY,
    TOP,
    UNUSED,
    WING,
    clip,
    rim_distance,
)
from naive_state import Possession
from naive_view import find_team_mates


def next_moment(region: int, near: int, old_region: int, old_moment: int, old_near: int) -> int:
    """Moment of a new region and near, from the old row: the first line of the table that fits."""
    above = old_region in (BACKCOURT, TOP, SLOT)
    if region == WING:
        if old_region == WING and old_near == near:
            return old_moment
        if near != old_near:
            return REVERSAL
        return BEFORE_BUMP if above else AFTER_BUMP
    if region == CORNER:
        if old_region == CORNER and old_near == near:
            return old_moment
        if old_region == WING and old_near == near and old_moment in (BEFORE_BUMP, REVERSAL):
            return BEFORE_BUMP
        return SETTLED
    if region in (TOP, SLOT):
        if old_region == region and old_near == near:
            return old_moment
        if old_region == BACKCOURT:
            return SETTLED
        if region == SLOT and old_region == SLOT:
            return REVERSAL
        return SETTLED if above else REVERSAL
    return SETTLED


def moment_from_now(p: Possession, region: int, near: int) -> int:
    return next_moment(region, near, p.region, p.moment, p.near)


def set_row(p: Possession, region: int, moment: int, near: int, share: float) -> None:
    """Setting the row: the ball's row changes at once, the defenders take it over after their reaction."""
    p.region, p.moment, p.near = region, moment, near
    p.spot_t = p.t + p.k["reaction_s"]
    for i in p.defenders:
        if p.agents[i].adopt_t >= NEVER:
            p.agents[i].adopt_t = p.t + p.k["reaction_s"] * share


def adopt(p: Possession, i: int) -> None:
    """A defender takes over the ball's row of this moment."""
    a = p.agents[i]
    a.region, a.moment, a.side = p.region, p.moment, p.near
    a.focus = 0
    a.adopt_t = NEVER


def rows_follow_dribble(p: Possession) -> None:
    """Step part 7."""
    if p.mode != HELD:
        return
    h, w, share = p.h, p.w, p.k["dribble_reaction_share"]
    near = p.side_of(h.x, p.near)
    region = w.region(h.x, h.y)
    if region != p.region or near != p.near:
        set_row(p, region, moment_from_now(p, region, near), near, share)
    elif w.bump_role is not None and p.region == WING and p.moment in (BEFORE_BUMP, REVERSAL):
        guard = p.person_in_role(w.bump_role, p.near)
        if has_come(p, guard):
            p.event("bump", p.handler, NONE, p.t - p.catch_t, h.x, h.y)
            set_row(p, WING, AFTER_BUMP, p.near, share)
    elif p.moment == REVERSAL or (p.region == CORNER and p.moment == BEFORE_BUMP):
        if has_come(p, p.nearest_defender(h.x, h.y)[0]):
            set_row(p, p.region, SETTLED, p.near, share)


def on_ball_gap(p: Possession, x: float, y: float) -> float:
    """What a man on the ball should keep from a holder who can shoot, at (x, y)."""
    k = p.k
    return clip(k["on_ball_gap_m"] + k["on_ball_gap_per_m"] * (rim_distance(x, y) - 7.75), 0.7, 99.0)


def guarding_gap(p: Possession, x: float, y: float, shooter: bool) -> float:
    """What a man on the ball should keep from a holder at (x, y), whoever he is."""
    return on_ball_gap(p, x, y) + (0.0 if shooter else p.k["off_shooter_gap_m"])


def has_come(p: Possession, i: int) -> bool:
    """Whether a defender is as near to the holder as one should stand on the ball, and a little more."""
    shooter = p.can_shoot()
    gap = guarding_gap(p, p.h.x, p.h.y, shooter)
    d = p.apart(i, p.handler)
    come = d < gap + p.k["bump_m"]
    if come != (d < max(p.agents[i].gap_share * gap, 0.7) + p.k["bump_m"]):
        p.met[f"has {'come' if come else 'not come'}, whatever gap he keeps"] += 1
    return come


def reading_delay(p: Possession, first: float) -> float:
    """A delay as shortened by the traps that have been seen (offence, section 2.3)."""
    shortened = first * math.exp(-p.k["readiness_per_trap"] * p.w.game.traps_seen)
    return max(shortened, p.k["read_delay_least_s"])


def take_ball(p: Possession, i: int, thrown_by: int = NONE) -> None:
    """Taking the ball (description, element 5); ``thrown_by``: whose pass he has caught."""
    p.handler = i
    if p.h.go:
        p.plays_seen.append((p.play, "he gets the ball"))
    p.h.go = False
    p.mode = HELD
    p.action = STAY
    p.dribble = UNUSED
    p.catch_t = p.t
    p.look_t = p.stopped_t = -NEVER
    p.last_y = p.h.y
    if p.trap_phase == COMING and p.trap_read_t < NEVER:
        p.trap_read_t = p.t + (p.trap_read_t - p.trap_t)
    mean_s = reading_delay(p, p.k["look_s"] * (1.5 - p.player(i).passing))
    p.looked_t = p.t - mean_s * math.log(p.draw("LOOK", 0, p.step)[0])
    find_team_mates(p, mean_s, thrown_by)
    p.decide_t = p.t + p.k["catch_pause_s"]
    p.guarded_s = 0.0
    p.held_chance = False
    p.held_marks.clear()
    h = p.h
    p.ball_x, p.ball_y, p.ball_z = h.x, h.y, 1.3
    near = p.side_of(h.x, p.near)
    region = p.w.region(h.x, h.y)
    if near != p.near or region != p.region:
        set_row(p, region, moment_from_now(p, region, near), near, 1.0)


# --- anticipation (section 2) -------------------------------------------------------------------------------


def read_the_pass(p: Possession, target: int, x: float, y: float, faked: bool) -> None:
    """Every defender, in order, reads a pass that the handler has committed to."""
    k = p.k
    near = p.side_of(x, p.near)
    region = p.w.region(x, y)
    moment = moment_from_now(p, region, near)
    for i in p.defenders:
        a = p.agents[i]
        u = p.draw("ANTICIPATE", i, p.n_passes)
        trapping = p.trap_phase in (COMING, SET)
        traps = trapping and i in (p.trapper_0, p.trapper_1)
        a.gamble = not traps and u[3] < k["cover_break_p" if trapping else "gamble_p"]
        if a.adopt_t >= NEVER:
            a.adopt_t = p.release_t + k["reaction_s"]
        a.guess_t = NEVER
        if u[0] >= k["anticipation_p"]:
            continue
        if faked and not traps:
            a.adopt_t = p.release_t + k["reaction_s"] + k["fake_freeze_s"]
            continue
        a.guess_t = p.release_t - k["anticipation_lead_s"]
        if u[1] >= k["anticipation_wrong_p"]:
            a.guess_x, a.guess_y = x, y
            a.guess_region, a.guess_moment, a.guess_side = region, moment, near
            a.guess_who = target
        else:
            wrong = int(3.0 * u[2])
            for taken in sorted((target, p.handler)):
                if wrong >= taken:
                    wrong += 1
            g = p.agents[wrong]
            a.guess_x, a.guess_y = g.x, g.y
            a.guess_who = wrong
            a.guess_side = p.side_of(g.x, p.near)
            a.guess_region = p.w.region(g.x, g.y)
            a.guess_moment = moment_from_now(p, a.guess_region, a.guess_side)


# --- men of their own (section 3.1) -------------------------------------------------------------------------


def men_from_the_start(p: Possession) -> None:
    for i in p.defenders:
        p.agents[i].own_man = p.w.guards_at_start[i - 5]
    p.matched = False


def take_men(p: Possession) -> None:
    """Five times the nearest pair of a defender and an attacker who are both still free."""
    for i in p.defenders:
        p.agents[i].own_man = NONE
    free = list(p.attackers)
    for _ in range(5):
        best, pair = 1e9, (NONE, NONE)
        for i in p.defenders:
            if p.agents[i].own_man != NONE:
                continue
            for j in free:
                d = p.apart(i, j)
                if d < best:
                    best, pair = d, (i, j)
        p.agents[pair[0]].own_man = pair[1]
        free.remove(pair[1])
    p.matched = True


def all_have_a_man(p: Possession) -> bool:
    return all(p.agents[i].own_man != NONE for i in p.defenders)
