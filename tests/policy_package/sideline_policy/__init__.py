"""A 2-3 that shuts the middle from a wing and traps a man who has stopped along the sideline.

``where``: while the ball is held on a wing or in a corner, the far guard steps out of his place toward the
passing lane between the ball and the man at the high post, at most 1.5 m; the others keep to the file's rows.
``call``: the man with the ball has had it for 1.2 s within 2.5 m of the sideline and two defenders are within
3 m of him, so that the second man need not run far: the setting's first call on the wing, its second (if it
has one) in the corner. Common practice, no source.
"""

from __future__ import annotations

from engine.policies.coded import CodedPolicy
from engine.state.words import Mode, Region, TrapPhase
from sideline_policy.lanes import distance, lane_place, toward

#: Persons of the 2-3 in their order.
LEFT_GUARD, RIGHT_GUARD = 0, 1
HIGH_POST_Y_M = 4.6
MIDDLE_WITHIN_M = 2.5
STEP_M = 1.5
HELD_S, SIDELINE_M, TRAPPER_M = 1.2, 2.5, 3.0


def where(floor, orders):
    """The far guard toward the lane from the ball to the man in the middle."""
    if floor.mode != Mode.HELD or floor.trap_phase != TrapPhase.NONE:
        return
    if floor.region != Region.WING and floor.region != Region.CORNER:
        return
    man, nearest = -1, MIDDLE_WITHIN_M
    for i in range(5):
        d = distance(floor.x[i], floor.y[i], 0.0, HIGH_POST_Y_M)
        if i != floor.handler and d < nearest:
            man, nearest = i, d
    if man < 0:
        return
    guard = LEFT_GUARD if floor.near > 0 else RIGHT_GUARD
    x, y = lane_place(floor.ball_x, floor.ball_y, floor.x[man], floor.y[man])
    x, y = toward(orders.x[guard], orders.y[guard], x, y, STEP_M)
    orders.x[guard] = x
    orders.y[guard] = y


def call(floor):
    """The first call on the wing, the second in the corner, once the man has stopped with two around him."""
    if floor.n_calls == 0 or floor.held_s < HELD_S:
        return 0
    if floor.half_width_m - abs(floor.ball_x) > SIDELINE_M:
        return 0
    around = 0
    for i in range(5, 10):
        if distance(floor.x[i], floor.y[i], floor.ball_x, floor.ball_y) < TRAPPER_M:
            around += 1
    if around < 2:
        return 0
    if floor.region == Region.WING:
        return 1
    if floor.region == Region.CORNER and floor.n_calls > 1:
        return 2
    return 0


POLICY = CodedPolicy(
    name="sideline",
    title="lane to the middle, traps along the sideline",
    source="common practice, no source",
    where=where,
    call=call,
)
