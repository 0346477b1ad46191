"""Policies written as code: what they see, and what becomes of their answers.

A coded policy is asked once per step where the defenders go and once per step whether to call a trap. Its
answers start as the base defence's; a place that is not a number or lies off the court is counted as a
policy fault and the base defence's place is kept.
"""

from __future__ import annotations

from engine.kernel.defence import focus_point
from engine.kernel.jit import njit
from engine.kernel.motion import inside
from engine.kernel.trap import start_call
from engine.state.arrays import N_SIDE
from engine.state.words import Mode, TrapPhase


@njit
def fill_floor(w, c):
    """Everything a policy may know, copied into ``c.floor`` (state.FLOOR)."""
    s = c.s
    ru = w.rules
    f = c.floor
    f.t_s = s.t
    f.time_step_s = w.k.time_step_s
    f.shot_clock_s = max(s.clock_s, 0.0) if ru.shot_clock_s > 0.0 else 0.0
    f.held_s = s.t - s.catch_t
    f.mode = s.mode
    f.handler = s.handler
    f.receiver = s.target if s.mode == Mode.PASS_WINDUP or s.mode == Mode.PASS_FLIGHT else -1
    f.dribble = s.dribble
    f.region = s.region
    f.moment = s.moment
    f.near = s.near
    f.ball_x = s.ball_x
    f.ball_y = s.ball_y
    for i in range(2 * N_SIDE):
        a = c.agents[i]
        f.x[i] = a.x
        f.y[i] = a.y
        f.vx[i] = a.vx
        f.vy[i] = a.vy
    for i in range(N_SIDE):
        a = c.agents[i + N_SIDE]
        x, y = focus_point(w, c, a)
        f.believed_x[i] = x
        f.believed_y[i] = y
        f.planned_x[i] = a.tx
        f.planned_y[i] = a.ty
    f.trap_phase = s.trap_phase
    f.trap_call = s.trap_call
    f.calls_made = s.trap_number
    f.n_calls = w.n_calls
    f.team_fouls = s.team_fouls
    f.half_width_m = ru.half_width_m
    f.baseline_y_m = ru.baseline_y_m
    f.half_y_m = ru.half_y_m
    f.arc_m = ru.arc_m


@njit
def coded_places(w, c, where):
    """Asks the policy where the five go; faulty places are counted and the plan is kept for them."""
    fill_floor(w, c)
    o = c.orders
    for i in range(N_SIDE):
        a = c.agents[i + N_SIDE]
        o.x[i] = a.tx
        o.y[i] = a.ty
        o.run[i] = 1 - a.sliding
    where(c.floor, c.orders)
    for i in range(N_SIDE):
        a = c.agents[i + N_SIDE]
        if o.x[i] == a.tx and o.y[i] == a.ty:
            a.sliding = 0 if o.run[i] != 0 else 1  # the plan as it was
        elif inside(w, o.x[i], o.y[i]):  # false for what is not a number
            a.tx = o.x[i]
            a.ty = o.y[i]
            a.sliding = 0 if o.run[i] != 0 else 1
        else:
            c.record.policy_faults += 1


@njit
def coded_call(w, c, ask):
    """Asks the policy whether to make a call now; at most one trap runs at a time."""
    s = c.s
    if s.mode != Mode.HELD or s.trap_phase != TrapPhase.NONE or s.trap_number >= s.max_calls:
        return
    fill_floor(w, c)
    wanted = ask(c.floor)
    if wanted == 0:
        return
    if wanted < 0 or wanted > w.n_calls:
        c.record.policy_faults += 1
        return
    h = c.agents[s.handler]
    start_call(w, c, wanted - 1, s.handler, h.x, h.y)
