"""What players believe beside what happens: every choice of the ball's holder with what came of it.

One row per decision: the option chosen, the points believed and what the belief rests on, and the points the
possession brought in the end; for passes whether they were lost and how near a defender was when a shot
could have left; for drives how they ended. Its reliability, believed against realised per option and phase,
is pattern 14.

Who asks more of his own threes than they bring decides in points less what he asks, and so both sides are
counted here: less what is asked of every shot after this decision (``asked_after``; a shot's own is on
neither side). Were what going on brings counted in plain points, he would wait for a three that he then
passes up.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from engine.kernel.jit import njit
from engine.kernel.shooting import is_three
from engine.kernel.watch import EVENTS, OPTIONS, STATES, STEPS
from engine.kernel.worth import LEAST_PATIENCE_S, reluctance
from engine.run.blocks import Progress
from engine.run.watch import watch_numbers
from engine.state.arrays import N_SIDE, OPTION_COLUMNS
from engine.state.record import COLUMN
from engine.state.words import Action, Event, Mode, Option, TrapPhase

CHOSEN, OPTION, PLAYER, PROMISE, VALUE, TIME_S = (
    OPTION_COLUMNS.index(name) for name in ("chosen", "option", "player", "promise", "value", "t_s")
)
#: Times nearer than this are the same, s.
SAME_S = 1e-6
#: Looks in which every option is tried (constant tried_look), a run each.
LOOKS = (1, 2, 3, 4, 5, 6, 8)
#: Options by what they are.
KINDS = ("shot", "hold", "stop", "drive", "go on", "retreat", "split", "pass")
#: Phases of a trap in the words of the reliability table.
PHASES = ("home", "trap coming", "trap set", "after")


(SHOT, HOLD, STOP, DRIVE, GO_ON, RETREAT, SPLIT, PASS) = range(len(KINDS))
#: Columns of the table beside ``possession`` -> type; KINDS by their place, as long as they are numbers.
COLUMNS = {
    "kind": np.int64, "phase": np.int64, "left_s": np.float64, "stale_s": np.float64, "believed": np.float64,
    "raw": np.float64, "forecast_m": np.float64, "promise": np.float64, "ahead": np.float64,
    "place": np.float64, "lost": np.float64, "gap_m": np.float64, "shot_m": np.float64, "made": np.float64,
    "passed_out": bool, "points": np.float64,
}  # fmt: skip
(
    KIND, PHASE, LEFT, STALE, BELIEVED, RAW, FORECAST, PROMISED, AHEAD, PLACE, LOST_BALL, GAP, SHOT_M, MADE,
    PASSED_OUT, POINTS, POSSESSION,
) = range(len(COLUMNS) + 1)  # fmt: skip


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


def time_left(world: np.ndarray, states: NDArray[np.void]) -> NDArray[np.float64]:
    """Seconds that the offence has at these states, [n]; its patience where there is no shot clock."""
    rules = world["rules"][0]
    if rules["shot_clock_s"] > 0.0:
        return np.asarray(states["clock_s"])
    return np.maximum(rules["patience_s"] - states["t"], LEAST_PATIENCE_S)


def asked_after(
    world: np.ndarray,
    rows: NDArray[np.float64],
    of: NDArray[np.int64],
    states: NDArray[np.void],
    agents: NDArray[np.void],
) -> NDArray[np.float64]:
    """Points asked of the shots that were decided on after each decision, float64[n] (constants and players
    ``reluctance_*``).

    ``rows`` [n, OPTION_COLUMNS]: the options chosen, in order; ``of`` [n]: their possessions, rising;
    ``states`` STATE [n] and ``agents`` AGENT [n, 10] when they were chosen.
    """
    w, ask = world[0], np.zeros(len(rows))
    left = time_left(world, states)
    for i in np.flatnonzero(rows[:, OPTION] == Option.SHOOT):
        who = int(rows[i, PLAYER])
        man = agents[i, who]
        ask[i] = reluctance(w, who, is_three(w, float(man["x"]), float(man["y"])), float(left[i]))
    so_far = np.cumsum(ask)
    return np.asarray(so_far[np.searchsorted(of, of, side="right") - 1] - so_far)


@njit
def _left(w, s):
    return s.clock_s if w.rules.shot_clock_s > 0.0 else max(w.rules.patience_s - s.t, LEAST_PATIENCE_S)


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
def _fill(w, states, agents, events, options, ends, points, only_look, wait_s, out):
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
            left = _left(w, at)
            if option == Option.SHOOT:
                man = agents[step, who]
                asked += reluctance(w, who, is_three(w, man.x, man.y), left)
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
            before = states[max(step - 1, begin)]
            kind = _kind(option, before.action == Action.DRIVE)
            row[KIND], row[PHASE], row[LEFT] = kind, at.trap_phase, left
            row[STALE], row[BELIEVED] = at.t - before.stale_t, options[n, VALUE]
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


def choices(
    world: np.ndarray,
    seed: int,
    numbers: NDArray[np.int64],
    threads: int | None = None,
    only_look: int | None = None,
    progress: Progress | None = None,
) -> pd.DataFrame:
    """Decisions of the possessions ``numbers``, a row each, in order; the first of look ``only_look`` alone.

    Those with a trap on its way that he has not read are left out: of it he believes nothing.

    Columns: ``possession``; ``kind`` (KINDS); ``phase`` (TrapPhase); ``left_s`` on the shot clock;
    ``stale_s`` that the ball has stuck; ``believed`` points; ``raw`` (risk of a pass's lane, clear way of a
    retreat), ``forecast_m`` (least gap possible at the shot it leads to), ``promise`` (of a pass, points; of
    a drive, the chance of a shot of his own) and ``ahead``, ``place`` of a pass or a hold
    (state.arrays.WEIGHED); ``lost`` (passes: 1 or 0), ``gap_m`` (nearest defender at the shot, or when a
    receiver's shot could leave), ``shot_m`` (its distance), ``made`` (shots: 1 or 0, nothing if fouled),
    ``passed_out`` (drives); ``points`` of the possession less what was asked of shots after this decision,
    as are those ``believed`` (a drive's: less its promise of what he asks of a two).
    """
    wait_s = float(world["k"][0]["catch_pause_s"] + world["k"][0]["shot_release_s"])
    tables = []
    for block in watch_numbers(world, seed, numbers, STATES, threads=threads, progress=progress):
        out = np.empty((len(block.options), len(COLUMNS) + 1))
        steps, points = block.steps, block.records[:, COLUMN["points"]]
        rows = _fill(
            world[0], steps["s"], steps["agents"], block.events, block.options, block.ends, points,
            only_look or 0, wait_s, out,
        )  # fmt: skip
        out = out[:rows]
        table = {"possession": block.numbers[out[:, POSSESSION].astype(np.int64)].astype(np.int64)}
        table |= {name: out[:, i].astype(kind) for i, (name, kind) in enumerate(COLUMNS.items())}
        tables.append(pd.DataFrame(table))
    if not tables:
        return pd.DataFrame({"possession": np.int64, **COLUMNS}, index=[])
    found = pd.concat(tables, ignore_index=True)
    return found.assign(kind=np.array(KINDS, object)[found["kind"].to_numpy()])


def reliability(table: pd.DataFrame) -> pd.DataFrame:
    """Believed against realised points per phase and kind: n, both means, standard error, slope and its own.

    The slope is that of least squares of realised on believed points; errors take decisions of one possession
    as one observation (clustered).
    """
    rows = []
    for (_, kind), part in table.groupby(["phase", "kind"]):
        x, y = part["believed"].to_numpy(), part["points"].to_numpy(float)
        slope, error = math.nan, math.nan
        if len(part) > 2 and x.std() > 0.0:
            d = x - x.mean()
            slope = float((d * y).sum() / (d * d).sum())
            scores = pd.Series(d * (y - y.mean() - slope * d)).groupby(part["possession"].to_numpy()).sum()
            error = float(math.sqrt((scores**2).sum()) / (d * d).sum())
        per = pd.Series(y - x).groupby(part["possession"].to_numpy()).sum()
        rows.append(
            {
                "phase": PHASES[int(part["phase"].iloc[0])],
                "kind": kind,
                "n": len(part),
                "believed": float(x.mean()),
                "realised": float(y.mean()),
                "standard_error": float(math.sqrt((per**2).sum()) / len(part)),
                "slope": slope,
                "slope_error": error,
            }
        )
    return pd.DataFrame(rows)
