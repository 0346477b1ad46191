"""Coded policies (defence, section 3.2).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

from types import SimpleNamespace

from naive_basics import NONE, PASS_FLIGHT, PASS_WINDUP
from naive_defence import focus_point
from naive_state import Possession


def has(p: Possession, function: str) -> bool:
    return getattr(p.policy, function, None) is not None


def floor_seen(p: Possession) -> SimpleNamespace:
    agents, w = p.agents, p.w
    believed = [focus_point(p, i) for i in p.defenders]
    return SimpleNamespace(
        t_s=p.t,
        time_step_s=p.dt,
        shot_clock_s=max(p.clock_s, 0.0) if w.clock.shot_s > 0.0 else 0.0,
        held_s=p.t - p.catch_t,
        mode=p.mode,
        handler=p.handler,
        receiver=p.target if p.mode in (PASS_WINDUP, PASS_FLIGHT) else NONE,
        dribble=p.dribble,
        region=p.region,
        moment=p.moment,
        near=p.near,
        ball_x=p.ball_x,
        ball_y=p.ball_y,
        x=[a.x for a in agents],
        y=[a.y for a in agents],
        vx=[a.vx for a in agents],
        vy=[a.vy for a in agents],
        believed_x=[x for x, _ in believed],
        believed_y=[y for _, y in believed],
        planned_x=[agents[i].tx for i in p.defenders],
        planned_y=[agents[i].ty for i in p.defenders],
        trap_phase=p.trap_phase,
        trap_call=p.trap_call,
        calls_made=p.trap_number,
        n_calls=len(w.calls),
        team_fouls=p.team_fouls,
        half_width_m=w.half_width,
        baseline_y_m=w.baseline_y,
        half_y_m=w.half_y,
        arc_m=w.arc,
    )


def coded_places(p: Possession) -> None:
    if not has(p, "where"):
        return
    orders = SimpleNamespace(
        x=[p.agents[i].tx for i in p.defenders],
        y=[p.agents[i].ty for i in p.defenders],
        run=[0 if p.agents[i].sliding else 1 for i in p.defenders],
    )
    p.policy.where(floor_seen(p), orders)
    for i in p.defenders:
        a, x, y = p.agents[i], orders.x[i - 5], orders.y[i - 5]
        if (x == a.tx and y == a.ty) or p.inside(x, y):
            a.tx, a.ty = x, y
            a.sliding = orders.run[i - 5] == 0
        else:
            p.record["policy_faults"] += 1
