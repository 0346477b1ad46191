"""Plays one possession again with its full state per tick, as tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError
from engine.state import (
    ACTIONS,
    AFTER,
    ENDS,
    EVENT_COLUMNS,
    EVENTS,
    FRAME,
    FRAME_AGENT,
    JOBS,
    MODES,
    MOMENTS,
    N_PLAYERS,
    N_SIDE,
    OPTION_COLUMNS,
    OUTCOMES,
    RECORD,
    REGIONS,
    TRAP_PHASES,
)
from engine.study.play import HOME, check_setting, open_scenario, run_size, world_of
from engine.study.run import MAX_POSSESSIONS

if TYPE_CHECKING:
    import pandas as pd

#: Columns of a frame that hold an index into a table of names.
NAMED = {"mode": MODES, "region": REGIONS, "moment": MOMENTS, "action": ACTIONS, "trap_phase": TRAP_PHASES}
#: Columns of the tables that hold whole numbers.
WHOLE = frozenset(
    ("handler", "near", "dribble", "trap_call", "trapper_0", "trapper_1", "target")
    + ("player", "other", "decision", "option", "chosen")
)


def agent_names() -> list[str]:
    """Prefixes of the agents' columns: offence_1..5 by position, defence_1..5 by place in the zone."""
    return [f"{'offence' if i < N_SIDE else 'defence'}_{i % N_SIDE + 1}" for i in range(N_PLAYERS)]


def _name(codes: Any, names: tuple[str, ...]) -> list[str]:
    """Names of integer codes; a code outside the table (usually -1, "none") becomes an empty text."""
    return [names[code] if 0 <= code < len(names) else "" for code in np.asarray(codes).astype(int).tolist()]


def _table(values: NDArray[np.float64], columns: list[str]) -> pd.DataFrame:
    import pandas as pd

    table = pd.DataFrame(values, columns=columns)
    for column in WHOLE.intersection(columns):
        table[column] = table[column].astype("int64")
    return table


@dataclass(frozen=True)
class Replay:
    """One possession: ``raw_*`` the arrays as the kernel wrote them, the methods name them.

    ``raw_record`` int32[N_RECORD] equals what the batch tallied for this possession; ``raw_frames``
    float64[ticks, N_FRAME]; ``raw_events`` float64[events, 7]; ``raw_options`` float64[options, 6].
    """

    setting: str
    index: int
    seed: int
    raw_record: NDArray[np.int32]
    raw_frames: NDArray[np.float64]
    raw_events: NDArray[np.float64]
    raw_options: NDArray[np.float64]

    def frames(self) -> pd.DataFrame:
        """State per tick: clock, ball, trap, and x_m, y_m, vx_mps, vy_mps, target and job of all ten."""
        columns = list(FRAME) + [f"{agent}_{what}" for agent in agent_names() for what in FRAME_AGENT]
        table = _table(self.raw_frames, columns)
        named = dict(NAMED) | {f"{agent}_job": JOBS for agent in agent_names()}
        return table.assign(**{column: _name(table[column], names) for column, names in named.items()})

    def events(self) -> pd.DataFrame:
        """What happened, in order: t_s, event, player, other (0..4 offence, 5..9 defence, -1 none), value, place."""
        table = _table(self.raw_events, list(EVENT_COLUMNS))
        table["event"] = _name(table["event"], EVENTS)
        return table

    def options(self) -> pd.DataFrame:
        """What the handler weighed at each decision, with the one he chose."""
        return _table(self.raw_options, list(OPTION_COLUMNS))

    def record(self) -> pd.Series:
        """The possession's record by name; end, outcome and after as names."""
        import pandas as pd

        record = pd.Series(dict(zip(RECORD, self.raw_record.tolist(), strict=True)), dtype=object)
        called = record["first_call"] > 0
        record["end"] = ENDS[record["end"]]
        record["outcome"] = OUTCOMES[record["outcome"]] if called else ""
        record["after"] = AFTER[record["after"]] if called else ""
        return record


def check_index(index: int) -> None:
    """Check the number of a possession.

    Raises
    ------
    InputError
        when it is not a whole number in range.
    """
    whole = isinstance(index, (int, np.integer)) and not isinstance(index, bool)
    if not whole or not 0 <= index < MAX_POSSESSIONS:
        raise InputError("--index", "", index, f"a whole number from 0 to {MAX_POSSESSIONS - 1}")


def replay(
    scenario: Any,
    index: int,
    setting: str | None = None,
    seed: int | None = None,
    max_calls: int = 99,
) -> Replay:
    """Play possession ``index`` of a scenario again and keep its full state per tick.

    Parameters
    ----------
    scenario : path of a scenario file, or what ``engine.load`` returned
    index : number of the possession, from 0
    setting : name of a setting, None or "home" for staying home
    seed : None takes the scenario's own
    max_calls : calls allowed in the possession; later ones are suppressed

    Raises
    ------
    InputError
        bad input, an unknown setting, a negative index or seed.
    """
    scenario = open_scenario(scenario)
    size = run_size(scenario, 1, seed, 1)
    check_index(index)
    chosen = check_setting(scenario, setting)
    from engine.kernel.batch import trace_possession
    from engine.pack import pack

    world = world_of(pack(scenario), chosen)
    record, frames, events, options = trace_possession(world, size.seed, int(index), max_calls)
    return Replay(setting or HOME, int(index), size.seed, record, frames, events, options)
