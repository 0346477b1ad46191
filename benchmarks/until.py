"""Work of many processes that ends in time, and goes on in another call from one file.

A call may have a limit on the wall clock and bring back a few small files only. So what is done is kept in
one file, written whole now and then, and nothing new is begun once the time given is up.
"""

from __future__ import annotations

import multiprocessing
import os
import pickle
import time
import zlib
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from pathlib import Path
from typing import Any, TypeVar

from tqdm import tqdm

from engine.whole_file import whole_file

#: How often what is done is written while the work goes on.
KEEP_EVERY_S = 30.0
STARTED = time.monotonic()
T, U = TypeVar("T"), TypeVar("U")


def pool_of(processes: int) -> ProcessPoolExecutor:
    """Processes that use one thread each."""
    os.environ |= dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    return ProcessPoolExecutor(processes, mp_context=multiprocessing.get_context("spawn"))


def in_time(
    pool: ProcessPoolExecutor,
    work: Callable[[T], U],
    tasks: Iterable[T],
    processes: int,
    seconds: float | None,
) -> Iterator[tuple[T, U]]:
    """Tasks with what came of them, in order; none is begun later than ``seconds`` after this module was
    imported (None: no limit)."""
    waiting, flying = iter(tasks), deque[tuple[T, Future[U]]]()
    with tqdm(unit=" pieces", disable=None) as shown:
        while True:
            in_limit = seconds is None or time.monotonic() - STARTED < seconds
            while in_limit and len(flying) < 3 * processes and (task := next(waiting, None)) is not None:
                flying.append((task, pool.submit(work, task)))
            if not flying:
                return
            task, future = flying.popleft()
            yield task, future.result()
            shown.update()


class Kept:
    """What was done so far, by name, in a file of its own (``path`` None: nowhere).

    Raises ValueError where the file holds what was done with something else than ``label``.
    """

    def __init__(self, path: Path | None, label: str) -> None:
        self.path, self.found = path, {"label": label}
        self._written = time.monotonic()
        if path is not None and path.exists():
            self.found: dict[str, Any] = pickle.loads(zlib.decompress(path.read_bytes()))
            if self.found["label"] != label:
                raise ValueError(f"{path} holds what was done with {self.found['label']}, not {label}")

    def put(self, now: bool = False, **values: Any) -> None:
        """Note what was done, and write it if that is due."""
        self.found |= values
        if self.path is not None and (now or time.monotonic() - self._written >= KEEP_EVERY_S):
            self._written = time.monotonic()
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with whole_file(self.path) as part:
                Path(part).write_bytes(zlib.compress(pickle.dumps(self.found), 1))
