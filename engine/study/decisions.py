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
from numpy.typing import NDArray

from engine import tables as pd
from engine.kernel.watch import STATES
from engine.run.blocks import Progress
from engine.run.watch import watch_numbers
from engine.state.record import COLUMN
from engine.study.decision_rows import COLUMNS, KINDS, POSSESSION, fill, fill_asked

#: Looks in which every option is tried (constant tried_look), a run each.
LOOKS = (1, 2, 3, 4, 5, 6, 8)
#: Phases of a trap in the words of the reliability table.
PHASES = ("home", "trap coming", "trap set", "after")


def _records(rows: NDArray[np.void]) -> NDArray[np.void]:
    """The same rows with their fields as attributes, for compiled code that runs interpreted, too."""
    return rows.view(np.dtype((np.record, rows.dtype)))


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
    ask = np.empty(len(rows))
    fill_asked(world[0], _records(states), _records(agents), rows, at, ask)
    so_far = np.cumsum(ask)
    return np.asarray(so_far[np.searchsorted(of, of, side="right") - 1] - so_far)


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
    ``believed`` points; ``raw`` (risk of a pass's lane, clear way of a
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
        states, agents = _records(block.steps["s"]), _records(block.steps["agents"])
        points = block.records[:, COLUMN["points"]]
        rows = fill(
            world[0], states, agents, block.events, block.options, block.ends, points, only_look or 0, wait_s,
            out,
        )  # fmt: skip
        out = out[:rows]
        table = {"possession": block.numbers[out[:, POSSESSION].astype(np.int64)].astype(np.int64)}
        table |= {name: out[:, i].astype(kind) for i, (name, kind) in enumerate(COLUMNS.items())}
        tables.append(pd.DataFrame(table))
    if not tables:
        kinds = {"possession": np.int64, **COLUMNS}
        tables.append(pd.DataFrame({name: np.empty(0, kind) for name, kind in kinds.items()}))
    found = pd.concat(tables, ignore_index=True)
    return found.assign(kind=np.array(KINDS, object)[found["kind"].to_numpy()]).astype({"kind": str})


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
