"""Plays: who moves where without the ball, when, and what must be seen for it; one interpreter of data.

A play is a chain of steps (configs/plays). A step may begin on an occasion: a pass has just left, the ball
is held, a drive has begun, the ball has got out of a trap. What a man is to do is settled at its start.
Source of the plays: common practice, no source.
"""

from __future__ import annotations

from engine.kernel import draws
from engine.kernel.ending import turnover
from engine.kernel.jit import njit
from engine.kernel.motion import clip, distance, point_to_segment
from engine.kernel.rows import all_have_men
from engine.kernel.screens import begin_screen, end_screen
from engine.state.arrays import N_SIDE
from engine.state.words import Action, Against, Does, Dribble, Loss, Mode, Only, Screen, Start, TrapPhase, Who


@njit
def stop_play(c):
    """The play in hand ends: everybody goes back to his place, and a held ball may begin the next."""
    s = c.s
    if s.play < 0:
        return
    s.play = -1
    s.play_t = s.t
    end_screen(s)
    for i in range(N_SIDE):
        c.agents[i].go = 0


@njit
def way_open(w, c, i):
    """True if no defender stands near the straight way from attacker ``i`` to the rim."""
    a = c.agents[i]
    for j in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[j]
        d, f = point_to_segment(b.x, b.y, a.x, a.y, 0.0, 0.6)
        if d < w.k.cut_open_m and f > 0.1:
            return False
    return True


@njit
def denied(w, c, i):
    """True if a defender stands in the lane between the ball and attacker ``i``, nearer to him."""
    s = c.s
    a = c.agents[i]
    for j in range(N_SIDE, 2 * N_SIDE):
        b = c.agents[j]
        d, f = point_to_segment(b.x, b.y, s.ball_x, s.ball_y, a.x, a.y)
        if d < w.k.denied_m and 0.5 < f < 1.0:
            return True
    return False


@njit
def has_ball(s, i):
    """True for the man with the ball and for the one it is on its way to."""
    if s.mode == Mode.PASS_FLIGHT:
        return i == s.target
    return i == s.handler or (s.mode == Mode.PASS_WINDUP and i == s.target)


@njit
def mover(c, m, side, taken):
    """Attacker who makes move ``m`` (STEP.moves), -1 nobody; ``taken``: bits of those who have one."""
    s = c.s
    if m.who == Who.HANDLER:
        stands = s.mode == Mode.HELD and s.action == Action.STAY and s.dribble != Dribble.DEAD
        return s.handler if stands else -1
    if m.who == Who.PASSER:
        return -1 if s.passer < 0 or has_ball(s, s.passer) or taken >> s.passer & 1 else s.passer
    if m.who == Who.SCREENER:
        return -1 if s.screener < 0 or has_ball(s, s.screener) or taken >> s.screener & 1 else s.screener
    best = m.within_m
    who = -1
    for i in range(N_SIDE):
        if has_ball(s, i) or taken >> i & 1:
            continue
        a = c.agents[i]
        d = distance(a.x, a.y, m.near_x_m * side, m.near_y_m)
        if d < best:
            best = d
            who = i
    return who


@njit
def begin_step(w, c, n, fresh):
    """Step ``n`` begins: its men are found, what they must see is looked for, they get their moves.

    ``fresh`` 1: the play in hand ends with it. False, and nothing begins or ends, if there is nobody for any
    of its moves.
    """
    s = c.s
    ru = w.rules
    step = w.steps[n]
    taken = 0
    for i in range(step.n_moves):
        m = step.moves[i]
        who = mover(c, m, s.near, taken)
        if who < 0 or (m.only == Only.WAY_OPEN and not way_open(w, c, who)):
            continue
        if m.only == Only.DENIED and not denied(w, c, who):
            continue
        if taken == 0:
            if fresh == 1:
                stop_play(c)
            end_screen(s)
        taken |= 1 << who
        x = clip(m.x_m * s.near, -ru.half_width_m + 0.35, ru.half_width_m - 0.35)
        y = clip(m.y_m, ru.baseline_y_m + 0.35, ru.half_y_m - 0.5)
        if m.who == Who.HANDLER:
            s.action = Action.DRIBBLE_TO
            s.dribble = Dribble.DRIBBLING
            s.goal_x = x
            s.goal_y = y
            continue
        a = c.agents[who]
        a.go = 1
        a.go_t = s.t + m.after_s
        a.go_x = x
        a.go_y = y
        a.go_pace = m.pace
        if m.does == Does.SCREEN:
            begin_screen(c, who)
    if taken == 0:
        return False
    s.play = n
    s.play_t = s.t + step.lasts_s
    return True


@njit
def occasion(w, c):
    """What has just happened that a play may begin on (Start), -1 nothing."""
    s = c.s
    if s.trap_phase == TrapPhase.AFTER and s.play_trap != s.trap_number:
        s.play_trap = s.trap_number
        s.play_pass = s.n_passes  # the pass out is no occasion of its own
        return Start.ESCAPE
    if s.mode == Mode.PASS_FLIGHT and s.play_pass != s.n_passes:
        s.play_pass = s.n_passes
        return Start.PASS
    if s.mode == Mode.HELD and s.action == Action.DRIVE and s.play_drive != c.record.drives:
        s.play_drive = c.record.drives
        return Start.DRIVE
    if s.mode == Mode.HELD and s.action == Action.STAY and s.play < 0 and s.begun >= s.play_t:
        return Start.HOLD
    return -1


@njit
def may_begin(c, step, start, against):
    """True if this step may begin on this occasion: its region, its defence, how long the ball is held."""
    s = c.s
    if step.start != start or step.against >> against & 1 == 0 or step.regions >> s.region & 1 == 0:
        return False
    return start != Start.HOLD or s.begun >= s.catch_t + step.after_s


@njit
def run_plays(w, c):
    """The play in hand goes on or ends, or one begins: sets the moves of the attackers without the ball."""
    s = c.s
    live = s.mode == Mode.HELD or s.mode == Mode.PASS_WINDUP or s.mode == Mode.PASS_FLIGHT
    if s.trap_phase == TrapPhase.SET or s.front == 0 or not live:
        stop_play(c)
        s.play_drive = c.record.drives  # a drive of before is no occasion of later
        return
    if s.trap_phase == TrapPhase.COMING:
        s.play_drive = c.record.drives
        return  # who has not read it yet goes on with what he is doing
    if s.screen == Screen.COMING or s.screen == Screen.SET:
        s.play_drive = c.record.drives  # a drive off a screen belongs to its play
    start = occasion(w, c)
    if start >= 0:
        against = Against.MEN if all_have_men(c) else Against.ZONE
        best = 1.0
        n = -1
        foul = 1.0
        any_may = False
        for i in range(w.n_steps):
            if may_begin(c, w.steps[i], start, against):
                if not any_may:
                    any_may = True
                    s.n_plays += 1
                u, v, _, _ = draws.uniforms(s, draws.PLAY, i, 0, s.n_plays)
                if u < best * w.steps[i].often:
                    best = u / w.steps[i].often
                    n = i
                    foul = v
        if n >= 0 and begin_step(w, c, n, 1):
            if foul < w.k.off_ball_foul_p:
                turnover(w, c, 0, -1, Loss.OFFENSIVE_FOUL)
            return
        if start == Start.HOLD and any_may:
            s.play_t = s.t + w.k.play_rest_s
    if s.play >= 0 and s.begun >= s.play_t:
        n = w.steps[s.play].next
        if n < 0 or w.steps[n].regions >> s.region & 1 == 0 or not begin_step(w, c, n, 0):
            stop_play(c)
            s.play_t = s.t + w.k.play_rest_s
