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
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from engine import tables as pd
from engine.kernel.watch import Trace
from engine.kernel.worth import LEAST_PATIENCE_S, reluctance, running_out
from engine.run.blocks import Progress
from engine.run.watch import watch_numbers
from engine.state.arrays import N_SIDE, OPTION_COLUMNS
from engine.state.record import COLUMN
from engine.state.words import Action, Event, Mode, Option, TrapPhase

CHOSEN, OPTION, PLAYER, PROMISE, VALUE, TIME_S = (
    OPTION_COLUMNS.index(name) for name in ("chosen", "option", "player", "promise", "value", "t_s")
)
#: Looks in which every option is tried (constant tried_look), a run each.
LOOKS = (1, 2, 3, 4, 5, 6, 8)
#: Options by what they are.
KINDS = ("shot", "hold", "stop", "drive", "go on", "retreat", "split", "pass")
#: Phases of a trap in the words of the reliability table.
PHASES = ("home", "trap coming", "trap set", "after")


def _kind(option: int, driving: bool) -> str:
    if option == Option.SHOOT:
        return "shot"
    if option == Option.HOLD:
        return "stop" if driving else "hold"
    if option == Option.RETREAT:
        return "retreat"
    if option == Option.SPLIT:
        return "split"
    if option >= Option.PASS_1:
        return "pass"
    return "go on" if driving else "drive"


def time_left(world: np.ndarray, states: NDArray[np.void]) -> NDArray[np.float64]:
    """Seconds that the offence has at these states, [n]; its patience where there is no shot clock."""
    rules = world["rules"][0]
    if rules["shot_clock_s"] > 0.0:
        return np.asarray(states["clock_s"])
    return np.maximum(rules["patience_s"] - states["t"], LEAST_PATIENCE_S)


def threes(world: np.ndarray, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether shots from there count three, [n]: the kernel's is_three, all at once."""
    rules = world["rules"][0]
    beyond_arc = x * x + y * y > rules["arc_m"] * rules["arc_m"]
    beyond_line = np.abs(x) > rules["corner_x_m"]
    return np.where(y <= rules["corner_break_y_m"], beyond_line, beyond_arc)


def asked_after(
    world: np.ndarray,
    rows: NDArray[np.float64],
    of: NDArray[np.int64],
    states: NDArray[np.void],
    agents: NDArray[np.void],
    at: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Points asked of the shots that were decided on after each decision, float64[n] (constants and players
    ``reluctance_*``).

    ``rows`` [n, OPTION_COLUMNS]: the options chosen, in order; ``of`` [n]: their possessions, rising;
    ``states`` STATE [steps] and ``agents`` AGENT [steps, 10]; ``at`` [n]: the step in which they were chosen.
    """
    k, players, ask = world["k"][0], world["players"][0], np.zeros(len(rows))
    shots = np.flatnonzero(rows[:, OPTION] == Option.SHOOT)
    who = rows[shots, PLAYER].astype(np.int64)
    men = agents[at[shots], who]
    # the kernel's reluctance, all at once: one by one its compiled form takes longer to call than to run
    own = np.where(
        threes(world, men["x"], men["y"]),
        players["reluctance_three_points"][who] + k["reluctance_threes_points"],
        players["reluctance_two_points"][who],
    )
    left, tau_s = time_left(world, states[at[shots]]), float(k["hold_tau_s"])
    ask[shots] = own * np.array([running_out(float(one), tau_s) for one in left])
    so_far = np.cumsum(ask)
    return np.asarray(so_far[np.searchsorted(of, of, side="right") - 1] - so_far)


def _rows(world: np.ndarray, trace: Trace, only_look: int | None) -> Iterator[tuple[object, ...]]:
    """The decisions of one possession; ``only_look``: the first decision of that look alone."""
    w = world[0]
    states, agents, events = trace.states, trace.agents, trace.events
    wait_s = float(w.k.catch_pause_s + w.k.shot_release_s)
    times = states["t"]
    points = int(trace.record[COLUMN["points"]])
    held = (states["mode"] == Mode.HELD) | (states["mode"] == Mode.SHOT_WINDUP)
    chosen = trace.options[trace.options[:, CHOSEN] > 0.0]
    steps = np.searchsorted(times, chosen[:, TIME_S] - 1e-6)
    ask = asked_after(world, chosen, np.zeros(len(chosen), np.int64), states, agents, steps)
    look = 0
    for i, row in enumerate(chosen):
        step = int(steps[i])
        new, look = int(states["n_looks"][step]) != look, int(states["n_looks"][step])
        if only_look is not None and not (new and look == only_look):
            continue
        before = states[max(step - 1, 0)]
        at = states[step]
        if at["trap_phase"] == TrapPhase.COMING and at["now"] < at["trap_read_t"]:
            continue  # of a trap that he has not read he believes nothing
        option = int(row[OPTION])
        later = events[np.searchsorted(events[:, 0], row[TIME_S] - 1e-6) :]
        kind = _kind(option, before["action"] == Action.DRIVE)
        left = float(time_left(world, at))
        believed = row[VALUE]
        lost, gap, shot_m, passed_out, made = math.nan, math.nan, math.nan, False, math.nan
        if kind == "pass":
            to = option - Option.PASS_1
            lost = 1.0
            for other in later:
                if other[1] == Event.CATCH or (other[1] == Event.RECOVERED and other[2] < N_SIDE):
                    lost = 0.0
                    break
                if other[1] in (Event.TURNOVER, Event.END):
                    break
            if lost == 0.0 and other[1] == Event.CATCH:
                caught = int(np.searchsorted(times, other[0] - 1e-6))
                last = caught
                while last + 1 < len(times) and held[last + 1] and times[last] < other[0] + wait_s - 1e-6:
                    if states["handler"][last + 1] != to:
                        break
                    last += 1
                gap = _nearest(agents[last], to)
        elif kind in ("shot", "drive", "go on"):
            for other in later:
                if other[1] == Event.SHOT:
                    gap, shot_m = other[4], math.hypot(other[5], other[6])
                    break
                if other[1] in (Event.PASS, Event.PICK_UP, Event.TURNOVER, Event.FOUL, Event.END):
                    passed_out = bool(other[1] == Event.PASS)
                    break
        if kind == "shot":
            ends = [other[1] for other in later if other[1] in (Event.MADE, Event.MISSED, Event.FOUL)]
            made = {Event.MADE: 1.0, Event.MISSED: 0.0}.get(ends[0], math.nan) if ends else math.nan
        elif kind in ("drive", "go on"):
            believed -= row[PROMISE] * reluctance(w, int(row[PLAYER]), False, left)
        yield (
            kind,
            int(at["trap_phase"]),
            left,
            float(times[step] - before["stale_t"]),
            believed,
            *row[6:],
            lost,
            gap,
            shot_m,
            made,
            passed_out,
            points - float(ask[i]),
        )


def _nearest(agents: np.ndarray, who: int) -> float:
    """Distance of the defender nearest to attacker ``who``, metres."""
    x, y = agents["x"], agents["y"]
    return float(np.hypot(x[N_SIDE:] - x[who], y[N_SIDE:] - y[who]).min())


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
    rows: list[tuple[object, ...]] = []
    for block in watch_numbers(world, seed, numbers, ("s", "agents"), threads=threads, progress=progress):
        for i in range(len(block.numbers)):
            number = int(block.numbers[i])
            rows.extend((number, *row) for row in _rows(world, block.trace(i), only_look))
    names = [
        "possession", "kind", "phase", "left_s", "stale_s", "believed", "raw", "forecast_m",
        "promise", "ahead", "place", "lost", "gap_m", "shot_m", "made", "passed_out", "points",
    ]  # fmt: skip
    whole = {"possession": np.int64, "phase": np.int64, "passed_out": bool}
    kinds = {name: whole.get(name, np.float64) for name in names if name != "kind"}
    return pd.DataFrame(rows, columns=names).astype(kinds)


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
