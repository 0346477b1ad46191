"""Watching possessions: what the compiled entry keeps of every step while it plays a list of them.

Events and weighed options always; of the working record whatever parts are asked for, copied word by word, so
that a part is a place and a length and the kernel is not compiled again for another choice. A possession that
does not fit what is left of the buffers is begun again by the caller in larger ones (engine.kernel.batch).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from engine.kernel.jit import njit
from engine.state.arrays import (
    AGENT,
    EVENT_COLUMNS,
    EVENTS_PER_STEP,
    N_OPTIONS,
    N_PLAYERS,
    OPTION_COLUMNS,
    SCRATCH,
    STATE,
)

#: Columns of watched events: those of a trace, and whether the pass in hand after that step is a skip.
WATCHED_COLUMNS = (*EVENT_COLUMNS, "skip")
N_EVENT, N_OPTION = len(EVENT_COLUMNS), len(OPTION_COLUMNS)
#: Columns of ``ends``: rows of events, options and steps so far, and those lost so far.
EVENTS, OPTIONS, STEPS, LOST = range(4)
N_ENDS = 4
#: Parts of SCRATCH that a trace keeps of every step.
STATES = ("s", "agents")
WORD = np.dtype(np.uint64)
PARTS = cast(Mapping[str, tuple[Any, ...]], SCRATCH.fields)
#: Rows of events, options and steps to begin with, for each possession and beside them (measured at home: 14,
#: 127 and 102 a possession); twice as many whenever they are not enough.
ROWS, ROWS_BESIDE = np.array([20, 140, 115]), np.array([64, 192, 256])

T = TypeVar("T", bound=np.generic)


class Kept(NamedTuple):
    """What the entry fills; with no row of ``ends`` it plays without watching.

    ``ends`` int64 [possessions + 1, 4]: rows in use after each possession (row 0: before the first), columns
    EVENTS, OPTIONS, STEPS and LOST. ``events`` float64 [., 8], ``options`` float64 [., 6], ``steps`` uint64
    [., words of a step]. ``words`` uint64: the working record; ``parts`` int64 [., 2]: first word and number
    of words of each part of it that a step keeps.
    """

    ends: NDArray[np.int64]
    events: NDArray[np.float64]
    options: NDArray[np.float64]
    steps: NDArray[np.uint64]
    words: NDArray[np.uint64]
    parts: NDArray[np.int64]


@njit
def keep_step(c, kept, row):
    """Copies the step just played and counts it in row ``row`` of ``ends``; False if it does not fit, then
    that row alone says how many rows it takes."""
    ends, events, options, steps = kept.ends, kept.events, kept.options, kept.steps
    n_events = min(c.s.n_events, EVENTS_PER_STEP)
    n_options = min(c.s.n_options, N_OPTIONS)
    event, option, step = ends[row, EVENTS], ends[row, OPTIONS], ends[row, STEPS]
    ends[row, EVENTS] = event + n_events
    ends[row, OPTIONS] = option + n_options
    ends[row, STEPS] = step + 1
    ends[row, LOST] += c.s.n_events - n_events + c.s.n_options - n_options
    if (
        event + n_events > events.shape[0]
        or option + n_options > options.shape[0]
        or step + 1 > steps.shape[0]
    ):
        return False
    for i in range(n_events):
        for j in range(N_EVENT):
            events[event + i, j] = c.events[i, j]
        events[event + i, N_EVENT] = c.s.pass_is_skip
    for i in range(n_options):
        for j in range(N_OPTION):
            options[option + i, j] = c.options[i, j]
    at = 0
    for part in range(kept.parts.shape[0]):
        first = kept.parts[part, 0]
        for i in range(kept.parts[part, 1]):
            steps[step, at] = kept.words[first + i]
            at += 1
    return True


class Trace(NamedTuple):
    """One possession step by step.

    ``states`` STATE [steps + 1] and ``agents`` AGENT [steps + 1, 10] after each step (row 0: the start; no
    rows where they were not kept), ``events`` float64 [n, len(EVENT_COLUMNS)], ``options`` float64
    [n, len(OPTION_COLUMNS)], ``record`` int32 [N_RECORD] as the batch writes it. ``lost``: events and options
    that did not fit the buffer of their step.
    """

    record: NDArray[np.int32]
    states: np.ndarray
    agents: np.ndarray
    events: NDArray[np.float64]
    options: NDArray[np.float64]
    lost: int


class Watched(NamedTuple):
    """Possessions played and watched, in the order asked for.

    ``numbers`` uint64 [n]: theirs. ``records`` int32 [n, N_RECORD] as the batch writes them. ``events``
    float64 [., len(WATCHED_COLUMNS)] (seconds, codes, metres), ``options`` float64 [., len(OPTION_COLUMNS)].
    ``steps`` [.]: a row after each step, the first of a possession its start, with a field for each part of
    SCRATCH that was asked for ("s" STATE, "agents" AGENT [10], "floor" FLOOR, ...). ``ends`` int64
    [n + 1, 4]: possession i has the rows ``ends[i, k]`` to ``ends[i + 1, k]`` of events, options and steps
    (k = EVENTS, OPTIONS, STEPS); with k = LOST: events and options that did not fit the buffer of their step.
    """

    numbers: NDArray[np.uint64]
    records: NDArray[np.int32]
    events: NDArray[np.float64]
    options: NDArray[np.float64]
    steps: np.ndarray
    ends: NDArray[np.int64]

    @property
    def lost(self) -> NDArray[np.int64]:
        """Events and options of each possession that are missing here, int64 [n]; 0 unless a step had more
        than EVENTS_PER_STEP."""
        return np.diff(self.ends[:, LOST])

    def possession_of(self, kind: int) -> NDArray[np.int64]:
        """Which of the possessions (0, 1, ...) each row of a kind (EVENTS, OPTIONS, STEPS) belongs to."""
        return np.repeat(np.arange(len(self.numbers)), np.diff(self.ends[:, kind]))

    def events_of(self, i: int) -> NDArray[np.float64]:
        """Events of the i-th possession, float64 [n, len(EVENT_COLUMNS)]."""
        return self.events[self.ends[i, EVENTS] : self.ends[i + 1, EVENTS], :N_EVENT]

    def trace(self, i: int) -> Trace:
        """The i-th possession alone (views, no copies)."""
        begin, end = self.ends[i], self.ends[i + 1]
        steps, parts = self.steps[begin[STEPS] : end[STEPS]], self.steps.dtype.names or ()
        return Trace(
            record=self.records[i],
            states=steps["s"] if "s" in parts else np.zeros(0, STATE),
            agents=steps["agents"] if "agents" in parts else np.zeros((0, N_PLAYERS), AGENT),
            events=self.events_of(i),
            options=self.options[begin[OPTIONS] : end[OPTIONS]],
            lost=int(end[LOST] - begin[LOST]),
        )

    def traces(self) -> Iterator[Trace]:
        """Every possession, in order."""
        return map(self.trace, range(len(self.numbers)))


def bytes_of(what: Sequence[str]) -> int:
    """Memory that watching one possession takes, about."""
    widths = (8 * len(WATCHED_COLUMNS), 8 * N_OPTION, sum(SCRATCH[name].itemsize for name in what))
    return int(ROWS @ np.array(widths))


# --- buffers ----------------------------------------------------------------------------------------------


def new_kept(scratch: np.ndarray, count: int, what: Sequence[str]) -> Kept:
    """Buffers to watch ``count`` possessions that are played in ``scratch``. KeyError: no such part."""
    parts = []
    for name in what:
        part, offset = PARTS[name][:2]
        if part.itemsize % WORD.itemsize or offset % WORD.itemsize:
            raise ValueError(f"{name}: not made of whole words")
        parts.append((offset // WORD.itemsize, part.itemsize // WORD.itemsize))
    words = np.ndarray(SCRATCH.itemsize // WORD.itemsize, WORD, buffer=scratch.data)
    rows = ROWS * count + ROWS_BESIDE
    return Kept(
        np.zeros((count + 1, N_ENDS), np.int64),
        np.empty((rows[EVENTS], len(WATCHED_COLUMNS))),
        np.empty((rows[OPTIONS], N_OPTION)),
        np.empty((rows[STEPS], sum(length for _, length in parts)), WORD),
        words,
        np.array(parts, np.int64).reshape(-1, 2),
    )


def grown(kept: Kept, done: int) -> Kept:
    """The same with room for twice what did not fit; the rows of the ``done`` possessions stay."""
    used, needed = kept.ends[done], kept.ends[done + 1]
    return kept._replace(
        events=_longer(kept.events, needed[EVENTS], used[EVENTS]),
        options=_longer(kept.options, needed[OPTIONS], used[OPTIONS]),
        steps=_longer(kept.steps, needed[STEPS], used[STEPS]),
    )


def _longer(old: NDArray[T], needed: int, used: int) -> NDArray[T]:
    """``old`` itself if so many rows fit, else one of twice as many with the rows in use."""
    if needed <= len(old):
        return old
    new = np.empty_like(old, shape=(2 * needed, old.shape[1]))
    new[:used] = old[:used]
    return new


def watched_of(
    kept: Kept, numbers: NDArray[np.uint64], records: NDArray[np.int32], what: Sequence[str]
) -> Watched:
    """What the buffers hold once every possession is done, without a copy."""
    events, options, steps, _ = kept.ends[-1].tolist()
    row = np.dtype([(name, SCRATCH[name]) for name in what])
    parts = np.ndarray(steps, row, buffer=kept.steps) if what else np.empty(steps, row)
    return Watched(numbers, records, kept.events[:events], kept.options[:options], parts, kept.ends)


#: Plays without watching.
NOTHING = new_kept(np.zeros(1, SCRATCH), 0, ())._replace(
    ends=np.zeros((0, N_ENDS), np.int64), words=np.zeros(0, WORD)
)
