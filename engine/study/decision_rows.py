"""Decisions of a block of possessions, row by row, in compiled code: what ``engine.study.decisions`` tells.

Compiled as the kernel's functions are; nothing here changes what is played.
"""

from __future__ import annotations

import math

import numpy as np

from engine.kernel.jit import njit
from engine.kernel.shooting import is_three
from engine.kernel.watch import EVENTS, OPTIONS, STEPS
from engine.kernel.worth import reluctance, time_left
from engine.state.arrays import N_SIDE, OPTION_COLUMNS
from engine.state.words import Action, Event, Mode, Option, TrapPhase

CHOSEN, OPTION, PLAYER, PROMISE, VALUE, TIME_S = (
    OPTION_COLUMNS.index(name) for name in ("chosen", "option", "player", "promise", "value", "t_s")
)
#: Times nearer than this are the same, s.
SAME_S = 1e-6
#: Options by what they are.
KINDS = ("shot", "hold", "stop", "drive", "go on", "retreat", "split", "pass")
(SHOT, HOLD, STOP, DRIVE, GO_ON, RETREAT, SPLIT, PASS) = range(len(KINDS))
#: Columns of the table beside ``possession`` -> type; KINDS by their place, as long as they are numbers.
COLUMNS = {
    "kind": np.int64, "phase": np.int64, "left_s": np.float64, "believed": np.float64,
    "raw": np.float64, "forecast_m": np.float64, "promise": np.float64, "ahead": np.float64,
    "place": np.float64, "lost": np.float64, "gap_m": np.float64, "shot_m": np.float64, "made": np.float64,
    "passed_out": bool, "points": np.float64,
}  # fmt: skip
KIND, PHASE, LEFT, BELIEVED, RAW, LOST_BALL, GAP, SHOT_M, MADE, PASSED_OUT, POINTS = (
    list(COLUMNS).index(name)
    for name in (
        "kind", "phase", "left_s", "believed", "raw", "lost", "gap_m", "shot_m", "made",
        "passed_out", "points",
    )
)  # fmt: skip
POSSESSION = len(COLUMNS)


@njit
def _kind(option, driving):
    if option == Option.SHOOT:
        return SHOT
    if option == Option.HOLD:
        return STOP if driving else HOLD
    if option == Option.RETREAT:
        return RETREAT
    if option == Option.SPLIT:
        return SPLIT
    if option >= Option.PASS_1:
        return PASS
    return GO_ON if driving else DRIVE


@njit
def _asked(w, states, agents, step, option, who):
    """Points that a decision for a shot asked of it beside what going on is worth; of all else nothing."""
    if option != Option.SHOOT:
        return 0.0
    man = agents[step, who]
    return reluctance(w, who, is_three(w, man.x, man.y), time_left(w, states[step]))


@njit
def fill_asked(w, states, agents, rows, at, out):
    """Writes to ``out`` [n] what each of the decisions ``rows`` [n, OPTION_COLUMNS], made in the steps ``at``
    [n], asked of a shot, points."""
    for i in range(len(at)):
        out[i] = _asked(w, states, agents, at[i], int(rows[i, OPTION]), int(rows[i, PLAYER]))


@njit
def _step_at(states, begin, end, t):
    """The first of the steps ``begin`` .. ``end - 1`` that is not before ``t`` seconds."""
    while begin < end:
        middle = (begin + end) // 2
        if states[middle].t < t - SAME_S:
            begin = middle + 1
        else:
            end = middle
    return begin


@njit
def _nearest(agents, step, who):
    """Distance of the defender nearest to attacker ``who``, metres."""
    best = math.inf
    for i in range(N_SIDE, 2 * N_SIDE):
        x = agents[step, i].x - agents[step, who].x
        best = min(best, math.hypot(x, agents[step, i].y - agents[step, who].y))
    return best


@njit
def _pass_came_to(states, agents, begin, end, events, first, last, to, wait_s):
    """(1 if the ball was lost before a team-mate had it, else 0; metres of the defender nearest to the
    receiver when a shot of his could leave)."""
    for n in range(first, last):
        code = events[n, 1]
        if code == Event.RECOVERED and events[n, 2] < N_SIDE:
            return 0.0, math.nan
        if code == Event.CATCH:
            at = _step_at(states, begin, end, events[n, 0])
            while at + 1 < end and states[at].t < events[n, 0] + wait_s - SAME_S:
                mode = states[at + 1].mode
                if (mode != Mode.HELD and mode != Mode.SHOT_WINDUP) or states[at + 1].handler != to:
                    break
                at += 1
            return 0.0, _nearest(agents, at, to)
        if code == Event.TURNOVER or code == Event.END:
            break
    return 1.0, math.nan


@njit
def _attack_came_to(events, first, last):
    """(metres of the nearest defender at the shot, metres to the rim, 1 if the ball was passed out)."""
    for n in range(first, last):
        code = events[n, 1]
        if code == Event.SHOT:
            return events[n, 4], math.hypot(events[n, 5], events[n, 6]), 0.0
        if code in (Event.PASS, Event.PICK_UP, Event.TURNOVER, Event.FOUL, Event.END):
            return math.nan, math.nan, 1.0 if code == Event.PASS else 0.0
    return math.nan, math.nan, 0.0


@njit
def _shot_came_to(events, first, last):
    for n in range(first, last):
        code = events[n, 1]
        if code in (Event.MADE, Event.MISSED, Event.FOUL):
            return 1.0 if code == Event.MADE else 0.0 if code == Event.MISSED else math.nan
    return math.nan


@njit
def fill(w, states, agents, events, options, ends, points, only_look, wait_s, out):
    """Writes the decisions of a block's possessions to ``out`` [options, len(COLUMNS) + 1], returns how many.

    ``only_look``: the first decision of that look alone; 0: every one. What is asked of later shots is summed
    up from the first on, as ``asked_after`` does.
    """
    rows = 0
    for p in range(len(points)):
        begin, end = ends[p, STEPS], ends[p + 1, STEPS]
        past = ends[p + 1, EVENTS]
        look, asked, first_row = 0, 0.0, rows
        for n in range(ends[p, OPTIONS], ends[p + 1, OPTIONS]):
            if options[n, CHOSEN] <= 0.0:
                continue
            t, option, who = options[n, TIME_S], int(options[n, OPTION]), int(options[n, PLAYER])
            step = _step_at(states, begin, end, t)
            at = states[step]
            left = time_left(w, at)
            asked += _asked(w, states, agents, step, option, who)
            new = at.n_looks != look
            look = at.n_looks
            if only_look > 0 and not (new and look == only_look):
                continue
            if at.trap_phase == TrapPhase.COMING and at.now < at.trap_read_t:
                continue  # of a trap that he has not read he believes nothing
            later = ends[p, EVENTS]
            while later < past and events[later, 0] < t - SAME_S:
                later += 1
            row = out[rows]
            rows += 1
            kind = _kind(option, states[max(step - 1, begin)].action == Action.DRIVE)
            row[KIND], row[PHASE], row[LEFT] = kind, at.trap_phase, left
            row[BELIEVED] = options[n, VALUE]
            for i in range(RAW, LOST_BALL):
                row[i] = options[n, CHOSEN + 1 + i - RAW]
            row[LOST_BALL] = row[GAP] = row[SHOT_M] = row[MADE] = math.nan
            row[PASSED_OUT] = 0.0
            if kind == PASS:
                row[LOST_BALL], row[GAP] = _pass_came_to(
                    states, agents, begin, end, events, later, past, option - Option.PASS_1, wait_s
                )
            elif kind == SHOT or kind == DRIVE or kind == GO_ON:
                row[GAP], row[SHOT_M], row[PASSED_OUT] = _attack_came_to(events, later, past)
            if kind == SHOT:
                row[MADE] = _shot_came_to(events, later, past)
            elif kind == DRIVE or kind == GO_ON:
                row[BELIEVED] -= options[n, PROMISE] * reluctance(w, who, False, left)
            row[POINTS], row[POSSESSION] = asked, p
        for n in range(first_row, rows):
            out[n, POINTS] = points[p] - (asked - out[n, POINTS])
    return rows
