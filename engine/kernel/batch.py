"""The entry points: blocks of possessions into records, and the trace of one.

Cache: only the entry is cached on disk, and it closes over a hash of every kernel source, of the
versions of numba and numpy and of the bounds-check flag; numba keys its cache on closure values, so an
edit in any callee's file is noticed. Callees are plain ``njit``. Source: measured, DEVELOPERS.md.
"""

from __future__ import annotations

import functools
import hashlib
import itertools
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numba
import numpy as np

from engine.kernel.jit import njit
from engine.kernel.possession import begin, play_possession, step
from engine.kernel.scratch import new_scratch
from engine.policies.coded import functions_of
from engine.state.arrays import SCRATCH, WORLD
from engine.state.record import MOST_CALLS, RECORD_TYPE
from engine.state.words import Mode


def source_stamp() -> int:
    """63-bit hash of the kernel's sources and arrays, of versions and the bounds-check flag: keys the cache."""
    digest = hashlib.sha256()
    here = Path(__file__).resolve().parent
    files = sorted(here.glob("*.py")) + sorted((here.parent / "state").glob("*.py"))
    for file in files:
        digest.update(file.name.encode())
        digest.update(file.read_bytes())
    digest.update(f"{WORLD} {SCRATCH}".encode())
    flag = os.environ.get("NUMBA_BOUNDSCHECK", "")
    digest.update(f"{numba.__version__} {np.__version__} {flag}".encode())
    return int.from_bytes(digest.digest()[:8], "big") >> 1


PLAY, BEGIN, STEP = range(3)


def _make_entry(stamp: int) -> Callable[..., Any]:
    @njit(cache=True, nogil=True)
    def entry(worlds, scratch, where, ask, command, seed, numbers, records, max_calls):
        w = worlds[0]
        c = scratch[0]
        if stamp == 0:
            return
        if command == PLAY:
            for i in range(numbers.shape[0]):
                play_possession(w, scratch, where, ask, seed, numbers[i], np.uint64(0), max_calls)
                records[i] = c.record
        elif command == BEGIN:
            begin(w, scratch, seed, numbers[0], np.uint64(0), max_calls)
        else:
            step(w, c, where, ask)

    return entry


@functools.lru_cache(maxsize=1)
def _entry() -> Callable[..., Any]:
    return _make_entry(source_stamp())


def play_list(
    world: np.ndarray,
    seed: int,
    numbers: np.ndarray,
    records: np.ndarray,
    max_calls: int = MOST_CALLS,
    scratch: np.ndarray | None = None,
) -> None:
    """Plays the possessions ``numbers`` (integers [count]) into ``records`` (int32 [count, N_RECORD]).

    Releases the GIL. ``max_calls`` allows the first so many calls of a possession and suppresses the rest.
    ``scratch`` is the worker's own working record (new_scratch), made here if not given.
    """
    c = scratch if scratch is not None else new_scratch()
    where, ask = functions_of(int(world["policy"][0]))
    wanted, rows = numbers.astype(np.uint64), records.view(RECORD_TYPE)[:, 0]
    _entry()(world, c, where, ask, PLAY, np.uint64(seed), wanted, rows, max_calls)


def play_block(
    world: np.ndarray,
    seed: int,
    first: int,
    records: np.ndarray,
    max_calls: int = MOST_CALLS,
    scratch: np.ndarray | None = None,
) -> None:
    """As play_list, for possessions ``first`` .. ``first + len(records) - 1``."""
    numbers = np.arange(len(records), dtype=np.uint64) + np.uint64(first)
    play_list(world, seed, numbers, records, max_calls, scratch)


class Trace(NamedTuple):
    """One possession step by step.

    ``states`` STATE [steps + 1] and ``agents`` AGENT [steps + 1, 10] after each step (row 0: the start),
    ``events`` float64 [n, len(EVENT_COLUMNS)], ``options`` float64 [n, len(OPTION_COLUMNS)], ``record``
    int32 [N_RECORD] as the batch writes it.
    """

    record: np.ndarray
    states: np.ndarray
    agents: np.ndarray
    events: np.ndarray
    options: np.ndarray


def steps(
    world: np.ndarray, scratch: np.ndarray, seed: int, index: int, max_calls: int = MOST_CALLS
) -> Iterator[int]:
    """One possession step by step in ``scratch``, by the batch's own compiled step; yields 0, 1, 2, ...

    After a yield ``scratch`` holds the state at the end of that step (0: the start); the last has mode over.
    """
    entry = _entry()
    where, ask = functions_of(int(world["policy"][0]))
    number, records = np.array([index], np.uint64), np.zeros(0, RECORD_TYPE)
    mode = np.ndarray(scratch.shape, SCRATCH, buffer=scratch.data)["s"]["mode"]  # plain: a record's is slow
    for n in itertools.count():
        entry(world, scratch, where, ask, STEP if n else BEGIN, np.uint64(seed), number, records, max_calls)
        yield n
        if mode[0] == Mode.OVER:
            return


def trace_possession(world: np.ndarray, seed: int, index: int, max_calls: int = MOST_CALLS) -> Trace:
    """Replays one possession through the batch's own compiled step, copying the state after each step."""
    c = new_scratch()
    states, agents, events, options = [], [], [], []
    for _ in steps(world, c, seed, index, max_calls):
        states.append(c["s"][0].copy())
        agents.append(c["agents"][0].copy())
        events.append(c["events"][0, : int(c["s"]["n_events"][0])].copy())
        options.append(c["options"][0, : int(c["s"]["n_options"][0])].copy())
    return Trace(
        record=np.array(c["record"]).view(np.int32),
        states=np.array(states),
        agents=np.array(agents),
        events=np.concatenate(events),
        options=np.concatenate(options),
    )


def is_cached() -> bool:
    """True if this process will not have to compile the entry (it is on disk already, or Numba is off).

    Looks for a cache entry of the stamp of these sources; never compiles.
    """
    if numba.config.DISABLE_JIT:
        return True
    entry: Any = _entry()
    try:
        entries = entry._cache._cache_file._load_index()
    except (AttributeError, OSError):
        return False
    wanted = entry._cache._index_key(None, entry.targetctx.codegen())[1:]
    return any(key[1:] == wanted for key in entries)
