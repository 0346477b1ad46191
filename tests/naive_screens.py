"""Screens on the ball: set, followed, driven off, and what defenders do about it (offence 7.1, defence 4.3).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math

from naive_basics import (
    COVERAGES,
    DEAD,
    DRIVE,
    HELD,
    NONE,
    SCREEN_COMING,
    SCREEN_NONE,
    SCREEN_SET,
    SCREEN_USED,
    STAY,
    clip,
    dist,
    rim_distance,
    segment,
    toward_rim,
)
from naive_rows import guarding_gap
from naive_state import Possession


def put_away(p: Possession, why: str) -> None:
    if p.screen == SCREEN_USED:
        p.met[f"used, so kept: {why}"] += 1
    elif p.screen != SCREEN_NONE:
        p.met[f"put away: {why}"] += 1
        p.screen = SCREEN_NONE


def stop_plays(p: Possession) -> None:
    if p.play == NONE:
        return
    p.play_t = p.t
    p.play = NONE
    put_away(p, "the play is stopped")
    for i in p.attackers:
        p.agents[i].go = False


def begin_screen(p: Possession, i: int) -> None:
    """Attacker i goes to screen the man on the ball."""
    guards = [j for j in p.defenders if p.agents[j].own_man == p.handler]
    p.screened = guards[-1] if guards else p.nearest_defender(p.h.x, p.h.y)[0]
    p.met["on the man who guards him" if guards else "on the nearest man"] += 1
    a, b, h = p.agents[i], p.agents[p.screened], p.h
    left = (b.x - h.x) * (a.y - b.y) - (b.y - h.y) * (a.x - b.x) >= 0.0
    p.met["on the left" if left else "on the right"] += 1
    p.screen_side = 1.0 if left else -1.0
    p.screener, p.screen_for = i, p.handler
    p.screen = SCREEN_COMING
    p.screen_chance = False


def screen_spot(p: Possession) -> tuple[float, float]:
    b, h = p.agents[p.screened], p.h
    ux, uy = b.x - h.x, b.y - h.y
    size = math.sqrt(ux * ux + uy * uy)
    if size < 1e-9:
        return b.x, b.y
    w = p.screen_side * (2.0 * p.k["body_radius_m"] + 0.05) / size
    return b.x - uy * w, b.y + ux * w


def follow_screen(p: Possession) -> None:
    """Every step, before the plays."""
    if p.screen == SCREEN_NONE:
        return
    k, a = p.k, p.agents[p.screener]
    live = p.mode == HELD and p.handler == p.screen_for and p.dribble != DEAD
    if p.screen == SCREEN_USED:
        over = "not live" if not live else "no drive" if p.action != DRIVE else has_him_again(p)
        if over:
            p.met[f"used: {over}"] += 1
            p.screen = SCREEN_NONE
        return
    how = "coming" if p.screen == SCREEN_COMING else "set"
    driven = p.action == DRIVE
    if not live or (driven and (how == "coming" or p.drive_way != way_off(p))):
        p.met[f"{how}: {'not live' if not live else 'driven' if how == 'coming' else 'refused'}"] += 1
        p.screen = SCREEN_NONE
        p.play_t = p.t
        return
    if p.screen == SCREEN_COMING:
        a.go_x, a.go_y = screen_spot(p)
        if dist(a.x, a.y, a.go_x, a.go_y) < k["screen_set_m"]:
            p.met["set"] += 1
            p.screen = SCREEN_SET
            p.screen_t = p.t
            p.screen_cover = COVERAGES.index(p.w.coverage[p.region])
            p.event("screen", p.screener, p.screened, 0.0, a.x, a.y)
    elif driven:
        p.play_t = p.t + p.dt
        cover = COVERAGES[p.screen_cover]
        if cover == "switch" and p.begun >= p.drive_t + k["reaction_s"] * k["dribble_reaction_share"]:
            change_men(p)
            p.screen = SCREEN_NONE
            p.play_t = p.t
        elif p.goal_x == p.end_x and p.goal_y == p.end_y:
            p.met[f"used: {cover}"] += 1
            p.screen = SCREEN_USED
            p.screen_t = p.play_t = p.t


def has_him_again(p: Possession) -> str:
    """Whether the screened man is between the ball and the rim again, and near; said in words."""
    b, h = p.agents[p.screened], p.h
    if not dist(h.x, h.y, b.x, b.y) < guarding_gap(p, h.x, h.y, True) + p.k["bump_m"]:
        return ""
    if not rim_distance(b.x, b.y) < rim_distance(h.x, h.y):
        p.met["near him, but behind"] += 1
        return ""
    return "has him again"


def change_men(p: Possession) -> None:
    others = [i for i in p.defenders if p.agents[i].own_man == p.screener]
    b = p.agents[p.screened]
    if not others or b.own_man != p.screen_for:
        p.met["men not changed"] += 1
        return
    b.own_man, p.agents[others[0]].own_man = p.agents[others[0]].own_man, b.own_man
    p.met["men changed"] += 1


def way_off(p: Possession) -> int:
    """The drive (m) off a screen."""
    return 4 if p.screen_side > 0.0 else 0


def past_a_screen(p: Possession, m: int) -> bool:
    """Whether a drive is the way off a set screen."""
    return p.screen == SCREEN_SET and m == way_off(p)


def shoulder(p: Possession) -> tuple[float, float]:
    """Past the screener, seen from the man he screens."""
    a, b = p.agents[p.screener], p.agents[p.screened]
    size = dist(a.x, a.y, b.x, b.y)
    w = (2.0 * p.k["body_radius_m"] + 0.05) / size if size > 1e-9 else 0.0
    return a.x + (a.x - b.x) * w, a.y + (a.y - b.y) * w


def waits_for_a_screen(p: Possession) -> bool:
    return p.screen == SCREEN_COMING and p.handler == p.screen_for and p.action == STAY


# --- the defenders (defence, section 4.3) -------------------------------------------------------------------


def about_the_screen(p: Possession, i: int) -> None:
    """What a defender does about a screen, after the target from his row."""
    if p.screen not in (SCREEN_SET, SCREEN_USED):
        return
    coverage = COVERAGES[p.screen_cover]
    if coverage != p.w.coverage[p.region]:
        p.met["covered as where it was set"] += 1
    if i == p.screened:
        around(p, i, coverage == "under")
    elif p.agents[i].own_man == p.screener != NONE:
        screeners_man(p, i, coverage)


def around(p: Possession, i: int, under: bool) -> None:
    a, m = p.agents[i], p.agents[p.screener]
    wide = 2.0 * p.k["body_radius_m"]
    d, f = segment(m.x, m.y, a.x, a.y, a.tx, a.ty)
    if d >= wide or f <= 0.0:
        p.met["his way is free" if d >= wide else "the screener is behind him"] += 1
        return
    from_rim = rim_distance(m.x, m.y)
    if from_rim > 1e-9:
        out = (wide + 0.05) / from_rim
        if under:
            out = -out
        p.met["under it" if under else "over it"] += 1
        a.tx, a.ty = m.x + m.x * out, m.y + m.y * out
        a.stop_share = 1.0


def screeners_man(p: Possession, i: int, coverage: str) -> None:
    k, a, h = p.k, p.agents[i], p.h
    used = p.screen == SCREEN_USED
    if coverage == "drop":
        half = 0.5 * rim_distance(h.x, h.y)
        p.met["drops" if k["drop_m"] < half else "drops half way"] += 1
        a.tx, a.ty = toward_rim(h.x, h.y, clip(k["drop_m"], 0.0, half))
    elif coverage == "show" and p.begun < p.screen_t + k["show_s"]:
        p.met["shows, used" if used else "shows, set"] += 1
        if used:
            lead = k["trapper_lead_s"]
            x, y = h.x + lead * h.vx, h.y + lead * h.vy
            a.tx, a.ty = toward_rim(x, y, 2.0 * k["body_radius_m"] + 0.05)
        else:
            a.tx, a.ty = shoulder(p)
    else:
        p.met["has shown" if coverage == "show" else f"stays: {coverage}"] += 1
