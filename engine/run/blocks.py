"""Plays possessions in blocks on a pool of threads and adds up whole numbers.

Every possession is a pure function of (world, seed, possession number), every tally is made of
integers and the blocks are added in the order of their numbers, so the result does not depend on the
number of threads. At most ``2 * threads + 2`` blocks are alive at a time, so memory does not grow with
the number of possessions.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Protocol, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from engine.kernel.batch import play_block, play_list, watch_list
from engine.kernel.scratch import new_scratch
from engine.kernel.watch import Watched
from engine.run.size import RunSize
from engine.state.record import MOST_CALLS, N_RECORD

#: Small enough that the last round of blocks leaves no core long without one.
BLOCK = 1024
#: Possessions played before a stop is looked for, at first; fewer where they take longer than ``SLICE_S``.
FIRST_SLICE, SLICE_S = 512, 0.25

Records = NDArray[np.int32]
#: A packed world, WORLD [1], or a working record, SCRATCH [1].
World = np.ndarray
Progress = Callable[[int, int], None]


def part_of_progress(progress: Progress | None, before: int, total: int, times: int = 1) -> Progress | None:
    """Progress of a part that has ``before`` of ``total`` behind it, and counts ``times`` over."""
    return None if progress is None else lambda done, _: progress(before + times * done, total)


class Addable(Protocol):
    def __add__(self, other: Self, /) -> Self: ...


T = TypeVar("T", bound=Addable)
U = TypeVar("U")


class Stopped(Exception):
    """Raised inside a worker when the run was cancelled; never leaves this module."""


class Runner:
    """Plays possessions of one run into record buffers that each thread keeps and uses again.

    One instance serves all threads of a run. Records of one call are valid until the same thread asks
    for the same buffer name again.
    """

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.stop = threading.Event()
        self._local = threading.local()

    def buffer(self, name: str, count: int) -> Records:
        """Records int32[count, N_RECORD] that the calling thread keeps under this name."""
        buffers: dict[str, Records] = self._local.__dict__.setdefault("buffers", {})
        held = buffers.get(name)
        if held is None or len(held) < count:
            held = np.zeros((max(count, BLOCK), N_RECORD), dtype=np.int32)
            buffers[name] = held
        return held[:count]

    def _scratch(self) -> World:
        """The working record of the calling thread."""
        scratch: World | None = getattr(self._local, "scratch", None)
        if scratch is None:
            scratch = self._local.scratch = new_scratch()
        return scratch

    def warm(self, world: World) -> None:
        """Compile or load the engine in the calling thread, where Ctrl-C can end it, by one possession."""
        self.block(world, 0, 1, "warm")

    def block(self, world: World, first: int, count: int, name: str) -> Records:
        """Records int32[count, N_RECORD] of possessions ``first .. first + count - 1``."""
        records, scratch = self.buffer(name, count), self._scratch()
        for at, end in self._slices(count):
            play_block(world, self.seed, first + at, records[at:end], scratch=scratch)
        return records

    def chosen(self, world: World, numbers: NDArray[np.int64], max_calls: int | None, name: str) -> Records:
        """Records int32[m, N_RECORD] of the possession numbers given, at most ``max_calls`` calls in each
        (None: as many as ``block`` allows)."""
        records, scratch = self.buffer(name, len(numbers)), self._scratch()
        most = MOST_CALLS if max_calls is None else max_calls
        for at, end in self._slices(len(numbers)):
            play_list(world, self.seed, numbers[at:end], records[at:end], most, scratch)
        return records

    def watched(
        self, world: World, numbers: NDArray[np.int64], what: Sequence[str], max_calls: int | None
    ) -> Watched:
        """The possession numbers given, watched (kernel.batch.watch_list); ``max_calls`` as of ``chosen``."""
        self._check_stop()
        most = MOST_CALLS if max_calls is None else max_calls
        return watch_list(world, self.seed, numbers, what, most, self._scratch())

    def _slices(self, count: int) -> Iterator[tuple[int, int]]:
        """Stretches of a block, from and to, between which a stop is looked for.

        Raises ``Stopped`` when the run was cancelled.
        """
        at, size = 0, FIRST_SLICE
        while True:
            self._check_stop()
            if at >= count:
                return
            started = time.perf_counter()
            end = min(at + size, count)
            yield at, end
            if time.perf_counter() - started > SLICE_S:
                size = max(1, size // 2)
            at = end

    def _check_stop(self) -> None:
        if self.stop.is_set():
            raise Stopped


def in_order(
    parts: int, threads: int, runner: Runner, task: Callable[[int], U], progress: Progress | None = None
) -> Iterator[U]:
    """``task(0) .. task(parts - 1)`` on a pool of threads, in order; ``progress(done, parts)`` after each.

    On Ctrl-C or any error the parts not yet started are dropped and running ones end at their next check.
    """
    pool = ThreadPoolExecutor(max_workers=threads, thread_name_prefix="possessions")
    waiting = iter(range(parts))
    flying: deque[Future[U]] = deque()

    def launch() -> None:
        number = next(waiting, None)
        if number is not None:
            flying.append(pool.submit(task, number))

    done = 0
    try:
        if progress is not None:
            progress(0, parts)
        for _ in range(2 * threads + 2):
            launch()
        while flying:
            found = flying.popleft().result()
            launch()
            done += 1
            if progress is not None:
                progress(done, parts)
            yield found
    except BaseException:
        runner.stop.set()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def run_blocks(
    size: RunSize,
    runner: Runner,
    task: Callable[[int, int], T],
    progress: Progress | None = None,
    each: Callable[[T], None] | None = None,
) -> T:
    """Run ``task(first, count)`` over all blocks of a run and return the sum, added in block order.

    ``progress(done, total)`` is called in the calling thread at the start and after each block is added,
    ``each`` with the block's own part before it is added.
    On Ctrl-C (or any error) blocks not yet started are dropped, running ones end at their next check, and
    the exception is raised again.
    """
    starts = range(0, size.possessions, BLOCK)

    def counted(done: int, _: int) -> None:
        if progress is not None:
            progress(min(done * BLOCK, size.possessions), size.possessions)

    def block(number: int) -> T:
        return task(starts[number], min(BLOCK, size.possessions - starts[number]))

    total: T | None = None
    for part in in_order(len(starts), size.threads, runner, block, counted):
        if each is not None:
            each(part)
        total = part if total is None else total + part
    assert total is not None  # check_size: at least one possession, so at least one block
    return total
