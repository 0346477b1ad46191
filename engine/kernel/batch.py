"""The entry points: possessions into records, watched or not. Both are one compiled function.

Cache: only the entry is cached on disk, and it closes over a hash of every kernel source, of the
versions of numba and numpy and of the bounds-check flag; numba keys its cache on closure values, so an
edit in any callee's file is noticed. Callees are plain ``njit``. Source: measured, DEVELOPERS.md.
"""

from __future__ import annotations

import functools
import hashlib
import os
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from engine.errors import Incomplete
from engine.kernel.jit import njit
from engine.kernel.possession import begin, step
from engine.kernel.scratch import new_scratch
from engine.kernel.watch import (
    N_ENDS,
    NOTHING,
    STATES,
    Trace,
    Watched,
    grown,
    keep_step,
    new_kept,
    watched_of,
)
from engine.policies.coded import functions_of
from engine.state.arrays import EVENTS_PER_STEP, SCRATCH, WORLD
from engine.state.record import MOST_CALLS, N_RECORD, RECORD_TYPE
from engine.state.words import Mode


def source_stamp() -> int:
    """63-bit hash of the kernel's sources and arrays, of versions and the bounds-check flag (cache key)."""
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


def _make_entry(stamp: int) -> Callable[..., Any]:
    @njit(cache=True, nogil=True)
    def entry(worlds, scratch, where, ask, seed, numbers, records, max_calls, kept, done):
        """Plays ``numbers[done:]``, watching into ``kept`` unless that has no rows.

        Returns how many of all are done: fewer if one did not fit ``kept``.
        """
        w = worlds[0]
        c = scratch[0]
        if stamp == 0:
            return done
        watched = kept.ends.shape[0] > 0
        for i in range(done, numbers.shape[0]):
            begin(w, scratch, seed, numbers[i], np.uint64(0), max_calls)
            if watched:
                for j in range(N_ENDS):
                    kept.ends[i + 1, j] = kept.ends[i, j]
            while True:
                if watched and not keep_step(c, kept, i + 1):
                    return i
                if c.s.mode == Mode.OVER:
                    break
                step(w, c, where, ask)
            records[i] = c.record
        return numbers.shape[0]

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
    of, rows = numbers.astype(np.uint64), records.view(RECORD_TYPE)[:, 0]
    _entry()(world, c, where, ask, np.uint64(seed), of, rows, max_calls, NOTHING, 0)


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


def watch_list(
    world: np.ndarray,
    seed: int,
    numbers: Sequence[int] | NDArray[Any],
    what: Sequence[str] = (),
    max_calls: int = MOST_CALLS,
    scratch: np.ndarray | None = None,
) -> Watched:
    """Plays the possessions ``numbers`` as play_list does and keeps what happened in them (see Watched).

    ``what``: the parts of SCRATCH to keep after every step ("s", "agents", "floor", ...: a kilobyte or so
    each); events and options are kept anyway. One compiled call, which releases the GIL, and another one
    whenever the buffers had to grow. What did not fit the buffer of its step is counted (Watched.lost) and
    warned of (Incomplete).
    """
    c = scratch if scratch is not None else new_scratch()
    where, ask = functions_of(int(world["policy"][0]))
    of = np.asarray(numbers).astype(np.uint64)
    records = np.zeros((len(of), N_RECORD), np.int32)
    rows = records.view(RECORD_TYPE)[:, 0]
    kept, done = new_kept(c, len(of), what), 0
    while True:
        done = _entry()(world, c, where, ask, np.uint64(seed), of, rows, max_calls, kept, done)
        if done == len(of):
            break
        kept = grown(kept, done)
    found = watched_of(kept, of, records, what)
    lost = int(found.lost.sum())
    if lost:
        text = f"{lost} events or options are missing: a step of a possession has room for {EVENTS_PER_STEP}"
        warnings.warn(text, Incomplete, stacklevel=2)
    return found


def trace_possession(world: np.ndarray, seed: int, index: int, max_calls: int = MOST_CALLS) -> Trace:
    """One possession played again, with its state after every step."""
    return watch_list(world, seed, [index], STATES, max_calls).trace(0)


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
