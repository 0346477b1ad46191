"""What follows an escape from a trap: the window until the shell stands, and where the pass went."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from engine.kernel.watch import Trace
from engine.run.blocks import World
from engine.run.watch import watch_numbers
from engine.state.words import Event, Mode, Outcome, Region
from engine.study.patterns.playing import CALLS, SEED, Run
from engine.study.patterns.watching import (
    CODE,
    ROW,
    SHOT,
    TIME,
    VALUE,
    Watched,
    X,
    Y,
    is_three,
    per_possession,
    watch,
)

#: What ends the window after an escape.
ENDS_IT = (Event.SHELL_STANDS, Event.SHOT, Event.THROW_IN, Event.END)
#: A pass goes back if it comes within this angle of the way the ball came.
BACK_RAD = np.deg2rad(60.0)
#: Without a pass before the call, the ball came from where it was this long before it.
CAME_S = 2.0
INSIDE = (Region.HIGH_POST, Region.ELBOW, Region.LANE)
WAYS = ("back", "inside", "same side", "across")


def windows(events: Watched, count: int) -> NDArray[np.float64]:
    """Time of the first call and end of the window after the escape from it, s, float64 [count, 2]."""
    found = np.full((count, 2), np.nan)
    rows = events[:, ROW].astype(int)
    for row in range(count):
        mine = events[slice(*np.searchsorted(rows, (row, row + 1)))]
        call = np.flatnonzero(mine[:, CODE] == Event.CALL)[0]
        left = call + np.flatnonzero(mine[call:, CODE] == Event.TRAP_LEFT)[0]
        end = left + np.flatnonzero(np.isin(mine[left:, CODE], ENDS_IT))[0]
        found[row] = mine[call, TIME], mine[end, TIME]
    return found


def good_shots(world: World, events: Watched, within: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether a possession has a shot at the rim or an open three within its window (s, [n, 2])."""
    shots = events[events[:, CODE] == SHOT]
    row = shots[:, ROW].astype(int)
    k = world["k"][0]
    rim = np.hypot(shots[:, X], shots[:, Y]) < k["rim_range_m"]
    good = rim | (is_three(world, shots) & (shots[:, VALUE] >= k["open_shot_m"]))
    inside = (shots[:, TIME] > within[row, 0] - 1e-6) & (shots[:, TIME] <= within[row, 1] + 1e-6)
    return per_possession(good & inside, row, len(within)) > 0


def beaten_windows(
    run: Run, name: str, numbers: NDArray[np.int64]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], float]:
    """Good shots of beaten calls until the shell stands, and at home in the same stretch of time.

    The same possessions; the stretch runs from the call. Also its mean length, s.
    """
    there, home = run.world(name, calls=CALLS), run.demo().home
    events = watch(there, SEED, numbers, run.threads, run.tick)
    within = windows(events, len(numbers))
    at_home = watch(home, SEED, numbers, run.threads, run.tick)
    long_s = float((within[:, 1] - within[:, 0]).mean()) if len(within) else float("nan")
    return good_shots(there, events, within), good_shots(home, at_home, within), long_s


def _place_at(trace: Trace, t: float) -> tuple[float, float]:
    row = trace.states[max(int(np.searchsorted(trace.states["t"], t - 1e-6)), 0)]
    return float(row["ball_x"]), float(row["ball_y"])


def way_of(world: World, trace: Trace) -> int:
    """Index into WAYS of the pass out of the first call's trap.

    Back: caught farther from the rim than where it was thrown, within 60 degrees of where the ball had come
    from (the passer before, or the dribble two seconds before the call). Inside: caught at the high post, an
    elbow or in the lane. Else on the same side of the floor, or across.
    """
    events, s = trace.events, trace.states
    call = int(np.flatnonzero(events[:, 1] == Event.CALL)[0])
    left = (events[:, 1] == Event.TRAP_LEFT) & (events[:, 4] == Outcome.ESCAPE_PASS)
    end = float(events[np.flatnonzero(left)[0], 0])
    flights = 1 + np.flatnonzero((s["mode"][1:] == Mode.PASS_FLIGHT) & (s["mode"][:-1] != Mode.PASS_FLIGHT))
    flights = flights[s["t"][flights] < end]
    out = s[flights[-1]]
    if len(flights) > 1:
        before = s[flights[-2]]
        from_x, from_y = float(before["pass_x0"]), float(before["pass_y0"])
    else:
        from_x, from_y = _place_at(trace, events[call, 0] - CAME_S)
    x0, y0 = float(out["pass_x0"]), float(out["pass_y0"])
    x1, y1 = _place_at(trace, end)
    turn = np.arctan2(y1 - y0, x1 - x0) - np.arctan2(from_y - y0, from_x - x0)
    turn = abs((turn + np.pi) % (2.0 * np.pi) - np.pi)
    if np.hypot(x1, y1) > np.hypot(x0, y0) and turn <= BACK_RAD:
        return 0
    region = s["region"][int(np.searchsorted(s["t"], end - 1e-6))]
    if region in INSIDE:
        return 1
    return 2 if x1 * x0 > 0.0 else 3


def ways(run: Run, name: str, numbers: NDArray[np.int64]) -> NDArray[np.int64]:
    """Ways (indices into WAYS) of the passes out of the traps in these possessions of a call."""
    world = run.world(name, calls=CALLS)
    found = []
    for block in watch_numbers(world, SEED, numbers, what=("s",), threads=run.threads):
        found += [way_of(world, trace) for trace in block.traces()]
        run.tick()
    return np.array(found, np.int64)
