"""Runs a sweep: a policy says which batches are needed, an executor plays them, the store keeps them.

Three parts meet here, and two of them can be exchanged:

- **Policy**: decides. ``next_batches(state)`` gives the batches of the next round, in any number, and none
  when the sweep is done. ``FixedEffort`` gives every missing batch in one round.
- **Executor**: plays. ``submit(batch)`` hands one over, ``finished(timeout_s)`` gives the outcomes that are
  there, in any order. ``LocalThreads`` uses the threads of this process; a cluster needs the same four names.
- **Store**: keeps. Everything that has finished since the last commit goes into one transaction, so at most
  what is being played, or has just been played, is lost when the process dies.

What is played depends on the design and the store alone, never on who played it or when. Results are not
held in memory: an outcome is written and forgotten, only a row of sums per point and setting stays.
"""

from __future__ import annotations

import logging
import queue
import socket
import threading
import time
import traceback
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from engine.errors import InputError
from engine.estimate.tally import IntArray
from engine.run.blocks import Runner, Stopped
from engine.study.sweep.ctrl_c import ctrl_c_held
from engine.study.sweep.design import Design
from engine.study.sweep.store import Store
from engine.study.sweep.stored import Stored
from engine.study.sweep.tallies import MOMENTS, Batch, Outcome, digest_of, moments, pack_payload, play_batch
from engine.world.pack import Packed, pack

LOG = logging.getLogger("trapledger.sweep")
LOG.addHandler(logging.NullHandler())  # without it Python itself would print warnings
#: How long the runner waits for an outcome before it looks for Ctrl-C again.
POLL_S = 0.2
#: How often the log says where the run stands.
LOG_EVERY_S = 60.0


# --- playing one batch --------------------------------------------------------------------------------------


class Resolves(Protocol):
    """Gives the arrays of a point; raises InputError where it cannot."""

    def packed(self, point: int) -> Packed: ...


class Workshop:
    """Plays batches of one design: a worker's whole equipment, for any number of threads of one process.

    ``resolver`` gives the arrays of a point (``packed(point)``). The arrays of the points at hand are kept,
    so that the batches of a point share them.
    """

    def __init__(self, design: Design, resolver: Resolves, points_kept: int = 32) -> None:
        self.design, self.resolver = design, resolver
        self.runner = Runner(design.seed)
        self._host = socket.gethostname()
        self._most = points_kept
        self._lock = threading.Lock()
        self._packed: OrderedDict[int, Future[Packed]] = OrderedDict()

    def warm(self) -> None:
        """Compile or load the engine in the calling thread, where Ctrl-C can end it."""
        self.runner.warm(pack(self.design.opened.base).home)

    def packed(self, point: int) -> Packed:
        """The arrays of a point; worked out once while it is at hand. Raises what the resolver raises."""
        with self._lock:
            future = self._packed.get(point)
            mine = future is None
            if future is None:
                future = self._packed[point] = Future()
                while len(self._packed) > self._most:
                    self._packed.popitem(last=False)
            else:
                self._packed.move_to_end(point)
        if mine:
            try:
                future.set_result(self.resolver.packed(point))
            except BaseException as error:
                future.set_exception(error)
        return future.result()

    def prepare(self, point: int) -> None:
        """Work out the arrays of a point ahead of its batches; playing them tells what goes wrong."""
        try:
            self.packed(point)
        except Exception:  # the future of the point holds it
            LOG.debug("point %d cannot be prepared", point + 1)

    def play(self, batch: Batch) -> Outcome:
        """Play a batch. Whatever goes wrong with it becomes the outcome's reason.

        Raises ``Stopped`` when the run was cancelled.
        """
        started = time.perf_counter()
        design = self.design
        try:
            packed = self.packed(batch.point)
            offset = design.offset(batch.point)
            tally = play_batch(packed, design.settings, design.seed, offset, batch, self.runner)
        except Stopped:
            raise
        except Exception as error:
            LOG.debug("point %d: %s", batch.point + 1, traceback.format_exc())
            reason = str(error) if isinstance(error, InputError) else f"{type(error).__name__}: {error}"
            reason = " ".join(reason.split())
            return Outcome(batch, None, "", None, reason, time.perf_counter() - started, self._host)
        payload = tally.payload()
        return Outcome(
            batch=batch,
            blob=pack_payload(payload),
            sha256=digest_of(payload),
            moments=moments(tally),
            reason=None,
            seconds=time.perf_counter() - started,
            host=self._host,
        )


class Executor(Protocol):
    """Who plays the batches. All four are called from one thread."""

    @property
    def slots(self) -> int:
        """Batches to keep under way so that every worker is busy."""

    def submit(self, batch: Batch) -> None:
        """Have a batch played; returns at once."""

    def finished(self, timeout_s: float) -> list[Outcome]:
        """Outcomes not given out yet, in any order; waits up to ``timeout_s`` for the first. Every batch
        submitted has one outcome sooner or later; a worker that dies is the executor's business."""

    def close(self) -> None:
        """Drop what is waiting and return when nothing is played any more. ``finished(0)`` still answers."""


class LocalThreads:
    """The threads of this process: the engine runs outside Python's lock. One more thread works out the
    arrays of points ahead, so that no player waits for them."""

    def __init__(self, workshop: Workshop, threads: int) -> None:
        self.workshop, self.slots = workshop, 2 * threads + 2
        self._players = ThreadPoolExecutor(threads, thread_name_prefix="possessions")
        self._ahead = ThreadPoolExecutor(1, thread_name_prefix="points")
        self._done: queue.SimpleQueue[Outcome | BaseException] = queue.SimpleQueue()

    def submit(self, batch: Batch) -> None:
        self._ahead.submit(self.workshop.prepare, batch.point)
        self._players.submit(self._play, batch)

    def _play(self, batch: Batch) -> None:
        try:
            self._done.put(self.workshop.play(batch))
        except Stopped:
            return
        except BaseException as error:
            self._done.put(error)

    def finished(self, timeout_s: float) -> list[Outcome]:
        found: list[Outcome] = []
        try:
            one = self._done.get(timeout=timeout_s) if timeout_s > 0 else self._done.get_nowait()
            while True:
                if isinstance(one, BaseException):
                    raise one
                found.append(one)
                one = self._done.get_nowait()
        except queue.Empty:
            return found

    def close(self) -> None:
        self.workshop.runner.stop.set()
        for pool in (self._ahead, self._players):
            pool.shutdown(wait=True, cancel_futures=True)


# --- what is decided ----------------------------------------------------------------------------------------


class State:
    """What a policy sees of a sweep: everything kept so far, in sums.

    Attributes:
        store: the store, to read from.
        mine: bool[n_points], the points that this run plays.
        played: int64[n_points], possessions kept of each point.
        moments: int64[n_points, 1 + settings, len(MOMENTS)], sums per branch, home first; None unless the
            policy asks for them (``needs_moments``).
        failed: points that failed in this run, with the reason. No more batches of them are played.
    """

    def __init__(self, store: Stored, needs_moments: bool, part: tuple[int, int] = (1, 1)) -> None:
        self.store = store
        self.mine = np.arange(store.n_points) % part[1] == part[0] - 1
        self.played = store.played()
        self.failed: dict[int, str] = {}
        self.moments: IntArray | None = None
        if needs_moments:
            branches = len(store.settings)
            self.moments = np.zeros((store.n_points, branches, len(MOMENTS)), dtype=np.int64)
            for point, tally in store.tallies():
                self.moments[point] = moments(tally)

    @property
    def n_points(self) -> int:
        return self.store.n_points

    @property
    def target(self) -> int:
        """Possessions asked for at every point."""
        return self.store.target

    def add(self, outcome: Outcome) -> None:
        """Take in an outcome that the store has kept."""
        point = outcome.batch.point
        if outcome.reason is not None:
            self.failed[point] = outcome.reason
            return
        self.played[point] += outcome.batch.count
        if self.moments is not None and outcome.moments is not None:
            self.moments[point] += outcome.moments


class Policy(Protocol):
    """Which batches are needed.

    ``next_batches`` is asked again when all batches of its last answer have been played; an empty answer ends
    the sweep. It must follow from ``state`` alone and never from clocks or the order of arrival. Where the
    answer follows from results (``planned``), it is written into the store before any of it is played, and a
    run that was killed first plays what is left of it: so the end is the same as without the kill.
    ``state.played[point]`` is where the next batch of a point begins, as every round is played to its end.
    """

    planned: bool
    needs_moments: bool

    def next_batches(self, state: State) -> Iterable[Batch]: ...

    def settled(self, state: State) -> int:
        """Points that need no more possessions."""

    # Optional, ``share(state) -> float``: share of the work done, 0..1, unless that follows from the target.


def cuts(targets: Iterable[int], batch: int, point: int) -> Iterator[Batch]:
    """The batches of a point played to the targets, rising: each stretch is cut from its own start, so
    that asking for more later never moves an earlier cut."""
    start = 0
    for target in targets:
        for first in range(start, target, batch):
            yield Batch(point, first, min(batch, target - first))
        start = max(start, target)


class FixedEffort:
    """The same number of possessions at every point: all batches that are missing, point by point."""

    planned = False
    needs_moments = False

    def next_batches(self, state: State) -> Iterator[Batch]:
        size = int(state.store.meta["batch"])
        for point in np.flatnonzero(state.mine & (state.played < state.target)).tolist():
            if point in state.failed:
                continue
            kept = state.store.kept(point)
            for batch in cuts(state.store.targets, size, point):
                if batch.first not in kept:
                    yield batch

    def settled(self, state: State) -> int:
        return int((state.mine & (state.played >= state.target)).sum())


# --- the run ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Progress:
    """Where a run stands: points in all, settled and failed; batches and possessions kept by this run
    (possessions of one branch); ``share`` of the work asked for that is done, 0..1."""

    points: int
    settled: int
    failed: int
    batches: int
    possessions: int
    share: float


Watcher = Callable[[Progress], None]


class _Run:
    def __init__(
        self, state: State, store: Store, executor: Executor, policy: Policy, watch: Watcher
    ) -> None:
        self.state, self.store, self.executor, self.policy = state, store, executor, policy
        self._watch = watch
        self.look: Callable[[], None]  # for Ctrl-C
        self.batches = self.possessions = 0
        self._in_hand: list[Outcome] = []  # given out by the executor, perhaps not kept yet
        self._logged = time.monotonic()

    def progress(self) -> Progress:
        state = self.state
        return Progress(
            points=int(state.mine.sum()),
            settled=self.policy.settled(state),
            failed=len(state.failed),
            batches=self.batches,
            possessions=self.possessions,
            share=self._share(),
        )

    def _share(self) -> float:
        own: Callable[[State], float] | None = getattr(self.policy, "share", None)
        if own is not None:
            return own(self.state)
        state = self.state
        return float(np.minimum(state.played[state.mine] / state.target, 1.0).mean())

    def keep(self, outcomes: list[Outcome]) -> None:
        """Write outcomes into the store, then count them."""
        self._in_hand = outcomes
        # several batches of a point may be under way when it fails: the first reason stands
        known = set(self.state.failed)
        kept: list[Outcome] = []
        for one in outcomes:
            if one.reason is None or one.batch.point not in known:
                kept.append(one)
            if one.reason is not None:
                known.add(one.batch.point)
        if not kept:
            return
        self.store.add(kept)
        self._in_hand = []
        for one in kept:
            self.state.add(one)
            if one.reason is None:
                self.batches += 1
                self.possessions += one.batch.count
            else:
                LOG.warning("point %d failed: %s", one.batch.point + 1, one.reason)
        progress = self.progress()
        if time.monotonic() - self._logged >= LOG_EVERY_S:
            self._logged = time.monotonic()
            LOG.info("%d of %d points settled, %d failed", progress.settled, progress.points, progress.failed)
        self._watch(progress)

    def keep_the_last(self) -> None:
        """After Ctrl-C, a second of which may come in the middle of anything: keep what has been played."""
        self.executor.close()
        last = [*self._in_hand, *self.executor.finished(0)]
        last = [one for one in last if one.batch.first not in self.store.kept(one.batch.point)]
        self.state.played = self.store.played()
        self.keep(last)
        self._watch(self.progress())

    def to_the_end(self) -> Progress:
        """Round after round until the policy needs no more."""
        self._watch(self.progress())
        if self.policy.planned:
            self.round(self.store.unplayed())
        while True:
            batches = self.policy.next_batches(self.state)
            if self.policy.planned:
                batches = list(batches)
                if batches:
                    self.store.plan_round(batches)
            if not self.round(batches):
                return self.progress()

    def round(self, batches: Iterable[Batch]) -> bool:
        """Play batches to the end; whether there was one."""
        waiting = iter(batches)
        under_way: set[Batch] = set()
        more = True
        any_played = False
        while True:
            self.look()
            while more and len(under_way) < self.executor.slots:
                batch = next(waiting, None)
                if batch is None:
                    more = False
                elif batch.point not in self.state.failed:
                    self.executor.submit(batch)
                    under_way.add(batch)
                    any_played = True
            if not under_way:
                return any_played
            outcomes = [one for one in self.executor.finished(POLL_S) if one.batch in under_way]
            if outcomes:
                under_way.difference_update(one.batch for one in outcomes)
                self.keep(outcomes)
            else:
                self._watch(self.progress())


def run_sweep(
    store: Store,
    executor: Executor,
    watch: Watcher | None = None,
    policy: Policy | None = None,
    part: tuple[int, int] = (1, 1),
) -> Progress:
    """Play what a sweep still needs and keep it.

    Parameters
    ----------
    executor : who plays; it is closed at the end, whatever happens
    watch : called in this thread at the start, after every commit and every ``POLL_S`` seconds
    policy : None plays the same number of possessions at every point (``FixedEffort``)
    part : (k, n), every n-th point from the k-th on is played (not with a rule that weighs points against
        each other)

    Raises
    ------
    InputError
        the store cannot be written (disk full, read-only); what was kept before stays.
    KeyboardInterrupt
        Ctrl-C; what has been played by then is kept.
    """
    policy = FixedEffort() if policy is None else policy
    try:
        state = State(store, policy.needs_moments, part)
        run = _Run(state, store, executor, policy, watch or (lambda progress: None))
        try:
            with ctrl_c_held() as run.look:
                return run.to_the_end()
        except KeyboardInterrupt:
            run.keep_the_last()
            raise
    finally:
        executor.close()
