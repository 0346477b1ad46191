"""What happened in this step, for traces: events and weighed options in small buffers of the scratch record.

The buffers are emptied at every step; watching copies them between steps (engine.kernel.watch).
"""

from __future__ import annotations

from engine.kernel.jit import njit
from engine.state.arrays import EVENTS_PER_STEP, N_OPTIONS


@njit
def event(c, code, player, other, value, x, y):
    """Appends one event of this step, if anybody watches; beyond the buffer's end it is counted alone."""
    s = c.s
    if s.watched == 0:
        return
    n = s.n_events
    if n < EVENTS_PER_STEP:
        c.events[n, 0] = s.t
        c.events[n, 1] = code
        c.events[n, 2] = player
        c.events[n, 3] = other
        c.events[n, 4] = value
        c.events[n, 5] = x
        c.events[n, 6] = y
    s.n_events = n + 1


@njit
def option(c, player, code, o, chosen):
    """Appends weighed option ``o`` of this step's decision; beyond the buffer's end it is counted alone."""
    s = c.s
    n = s.n_options
    if n < N_OPTIONS:
        c.options[n, 0] = s.t
        c.options[n, 1] = s.n_decisions
        c.options[n, 2] = player
        c.options[n, 3] = code
        c.options[n, 4] = o.value
        c.options[n, 5] = chosen
        c.options[n, 6] = o.raw
        c.options[n, 7] = o.gap
        c.options[n, 8] = o.promise
        c.options[n, 9] = o.ahead
        c.options[n, 10] = o.place
    s.n_options = n + 1
