"""Plays of the attack (offence, section 7).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

from naive_basics import (
    AFTER,
    COMING,
    DEAD,
    DRIBBLE_TO,
    DRIBBLING,
    DRIVE,
    HELD,
    NONE,
    PASS_FLIGHT,
    PASS_WINDUP,
    SCREEN_COMING,
    SCREEN_SET,
    SET,
    STAY,
    clip,
    segment,
)
from naive_endings import turnover
from naive_screens import begin_screen, put_away, stop_plays
from naive_state import Possession
from naive_world import Move, PlayStep


def plays(p: Possession) -> None:
    """Every step, after the re-spacing and the screen in hand."""
    if p.trap_phase == SET or not p.front or p.mode not in (HELD, PASS_WINDUP, PASS_FLIGHT):
        if p.play != NONE:
            p.plays_seen.append((p.play, "broken off"))
        stop_plays(p)
        p.play_drive = p.record["drives"]
        return
    if p.trap_phase == COMING:
        p.play_drive = p.record["drives"]
        if p.play != NONE:
            p.plays_seen.append((p.play, "goes on with a trap coming"))
        return
    if p.screen in (SCREEN_COMING, SCREEN_SET):
        if p.play_drive != p.record["drives"]:
            p.met["a drive off it is no occasion"] += 1
        p.play_drive = p.record["drives"]
    defence = "men" if all(p.agents[i].own_man != NONE for i in p.defenders) else "zone"
    start = occasion(p)
    eligible = [i for i, step in enumerate(p.w.steps) if start != "" and may_begin(p, step, start, defence)]
    if eligible:
        p.n_plays += 1
        chosen = which(p, eligible)
        how = f"{start} against {'men taken' if p.matched else defence}"
        if chosen != NONE:
            if begin_step(p, chosen, how, afresh=True):
                fouled = p.draw("PLAY", chosen, p.n_plays)[1] < p.k["off_ball_foul_p"]
                p.met[f"a play begins, {start}: {'a foul' if fouled else 'no foul'}"] += 1
                if fouled:
                    turnover(p, "offensive_foul", live=False)
                return
            if p.play != NONE:
                p.plays_seen.append((p.play, "goes on, another not begun"))
        if start == "hold":
            p.play_t = p.t + p.k["play_rest_s"]
    if p.play != NONE and p.begun >= p.play_t:
        after = p.w.steps[p.play].next
        there = after != NONE and p.region in p.w.steps[after].regions
        if not (there and begin_step(p, after, "next")):
            if not there:
                p.plays_seen.append((p.play, "over" if after == NONE else "ball not there for the next"))
            stop_plays(p)
            p.play_t = p.t + p.k["play_rest_s"]


def occasion(p: Possession) -> str:
    if p.trap_phase == AFTER and p.play_trap != p.trap_number:
        p.play_trap = p.trap_number
        p.play_pass = p.n_passes
        return "escape"
    if p.mode == PASS_FLIGHT and p.play_pass != p.n_passes:
        p.play_pass = p.n_passes
        return "pass"
    if p.mode == HELD and p.action == DRIVE and p.play_drive != p.record["drives"]:
        p.play_drive = p.record["drives"]
        return "drive"
    if p.mode == HELD and p.action == STAY and p.play == NONE and p.begun >= p.play_t:
        return "hold"
    return ""


def which(p: Possession, eligible: list[int]) -> int:
    """Which of the steps that may begin at an occasion is tried, -1 none."""
    chosen, best = NONE, 1.0
    for i in eligible:
        often = p.w.steps[i].often
        u = p.draw("PLAY", i, p.n_plays)[0]
        if u < best * often:
            chosen, best = i, u / often
    return chosen


def may_begin(p: Possession, step: PlayStep, start: str, defence: str) -> bool:
    if step.start != start or defence not in step.against or p.region not in step.regions:
        return False
    return start != "hold" or p.begun >= p.catch_t + step.after_s


def begin_step(p: Possession, n: int, how: str, afresh: bool = False) -> bool:
    """Whether step n has begun: somebody has got a move. Afresh: what is in hand stops at the first man."""
    step = p.w.steps[n]
    had = {i for i in p.attackers if p.agents[i].go}
    taken: set[int] = set()
    for number, move in enumerate(step.moves):
        i = man_of(p, n, move, taken)
        if i == NONE:
            p.plays_seen.append((n, "nobody there"))
            continue
        seen = {"always": True, "way_open": way_is_open(p, i), "denied": denied(p, i)}[move.only]
        if not seen:
            p.plays_seen.append((n, f"{number + 1} not {move.only}"))
            continue
        if afresh and not taken:
            if p.play != NONE:
                p.plays_seen.append((p.play, "another begun"))
            stop_plays(p)
            had = set()
        if not taken:
            put_away(p, "a step begins")
        taken.add(i)
        p.plays_seen.append((n, f"{number + 1} made"))
        w = p.w
        x = clip(move.to[0] * p.near, -w.half_width + 0.35, w.half_width - 0.35)
        y = clip(move.to[1], w.baseline_y + 0.35, w.half_y - 0.5)
        if (x, y) != (move.to[0] * p.near, move.to[1]):
            p.plays_seen.append((n, "limited to the front court"))
        if move.who == "handler":
            p.action, p.dribble = DRIBBLE_TO, DRIBBLING
            p.goal_x, p.goal_y = x, y
        else:
            a = p.agents[i]
            a.go, a.go_t = True, p.t + move.after_s
            a.go_x, a.go_y, a.go_pace = x, y, move.pace
        if move.does == "screen":
            begin_screen(p, i)
    if not taken:
        p.plays_seen.append((n, f"{how.split()[0]}: not begun"))
        return False
    p.plays_seen.append((n, how))
    p.play, p.play_t = n, p.t + step.lasts_s
    if had - taken:
        p.plays_seen.append((n, "a man keeps his move"))
    return True


def man_of(p: Possession, n: int, move: Move, taken: set[int]) -> int:
    """Who makes a move of step n, -1 nobody."""
    if move.who == "handler":
        if p.mode == HELD and p.dribble == DEAD:
            p.plays_seen.append((n, "dead dribble"))
        elif p.mode == HELD and p.action != STAY:
            p.plays_seen.append((n, "handler already under way"))
        return p.handler if p.mode == HELD and p.action == STAY and p.dribble != DEAD else NONE
    left_out = taken | has_the_ball(p)
    if move.who == "passer":
        return NONE if p.passer in left_out else p.passer
    if move.who == "screener":
        there = "nobody yet" if p.screener == NONE else "taken" if p.screener in taken else "free"
        there = "has the ball" if p.screener in has_the_ball(p) else there
        p.met[f"screener of before: {there}"] += 1
        return NONE if p.screener in left_out else p.screener
    who, best = NONE, move.within_m
    for i in p.attackers:
        d = p.distance_to(i, move.near[0] * p.near, move.near[1])
        if i not in left_out and d < best:
            who, best = i, d
    return who


def has_the_ball(p: Possession) -> set[int]:
    if p.mode == PASS_FLIGHT:
        return {p.target}
    if p.mode == PASS_WINDUP:
        return {p.handler, p.target}
    return {p.handler}


def way_is_open(p: Possession, i: int) -> bool:
    a = p.agents[i]
    for j in p.defenders:
        d, f = segment(p.agents[j].x, p.agents[j].y, a.x, a.y, 0.0, 0.6)
        if d < p.k["cut_open_m"] and f > 0.1:
            return False
    return True


def denied(p: Possession, i: int) -> bool:
    """Whether a defender stands in the lane to him, on his half of it."""
    a = p.agents[i]
    for j in p.defenders:
        d, f = segment(p.agents[j].x, p.agents[j].y, p.ball_x, p.ball_y, a.x, a.y)
        if d < p.k["denied_m"] and 0.5 < f < 1.0:
            return True
    return False
