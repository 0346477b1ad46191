"""Watches possessions by the thousand: blocks on all cores, in order, in bounded memory."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from engine.kernel.watch import Watched, bytes_of
from engine.run.blocks import Progress, Runner, in_order
from engine.run.size import available_cores

#: About the memory of one block, and the most possessions of one.
BLOCK_BYTES, MOST = 8_000_000, 4096


def watch_block(
    world: np.ndarray,
    seed: int,
    first: int,
    count: int,
    what: Sequence[str] = (),
    max_calls: int | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> Iterator[Watched]:
    """Possessions ``first`` .. ``first + count - 1``: see ``watch_numbers``.

    >>> for block in watch_block(world, seed, 0, 10_000, STATES):  # of engine.kernel.watch
    ...     for trace in block.traces():
    ...         trace.agents["x"]  # float64 [steps + 1, 10], metres
    """
    return watch_numbers(world, seed, range(first, first + count), what, max_calls, threads, progress)


def watch_numbers(
    world: np.ndarray,
    seed: int,
    numbers: Sequence[int] | NDArray[np.int64],
    what: Sequence[str] = (),
    max_calls: int | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> Iterator[Watched]:
    """Plays these possessions of a world and yields what happened in them, block by block in their order.

    Parameters
    ----------
    what : parts of SCRATCH (state.arrays) to keep after every step, such as "s" and "agents"; events, options
        and records are kept anyway
    max_calls : calls allowed in a possession, None: as the batch
    threads : None uses every available core; what is yielded does not depend on it
    progress : called in the calling thread as progress(done, total) at the start and after each block

    A block takes about BLOCK_BYTES, and at most ``2 * threads + 3`` are alive at a time unless the caller
    keeps them. Leaving the iteration early drops the blocks not yet begun.
    """
    size = min(MOST, max(1, BLOCK_BYTES // bytes_of(what)))
    starts = range(0, len(numbers), size)
    runner = Runner(seed)

    def block(part: int) -> Watched:
        of = np.asarray(numbers[starts[part] : starts[part] + size], np.int64)
        return runner.watched(world, of, what, max_calls)

    def told(done: int, _: int) -> None:
        if progress is not None:
            progress(min(done * size, len(numbers)), len(numbers))

    if len(numbers):
        runner.warm(world)
    yield from in_order(len(starts), available_cores() if threads is None else threads, runner, block, told)
