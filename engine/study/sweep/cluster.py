"""Plays the batches of a sweep on the workers of a running Dask scheduler (optional extra ``cluster``).

Dask hands batches to workers and hands them out again when a worker dies; results are whole numbers that
depend on the batch alone, so who played it, and how often, does not show. Before anything is played each
worker is compared with the store: versions, sources of the kernel, kind of machine, values of its mathematics
library, and the arrays it makes of the design. One that differs is refused, also when it joins later.

Dask gives a batch up when several workers in a row died with it (its setting ``allowed-failures``), whether
it was being played there or only waiting. Such a batch is handed in again up to ``MOST_AGAIN`` times, each
time with nothing else under way, so that it can only be to blame itself; after that its point is recorded as
failed.
"""

from __future__ import annotations

import contextlib
import json
import logging
import queue
import time
import warnings
from collections import deque
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, NoReturn

from engine.errors import InputError
from engine.study.sweep.store import Store
from engine.study.sweep.tallies import Batch, Outcome

if TYPE_CHECKING:
    from distributed import Client, Future

LOG = logging.getLogger("trapledger.sweep")
OPTION = "--scheduler"
#: How long to wait for the scheduler's answer, and for its first worker.
CONNECT_S = 15.0
#: How often a batch is handed in again after Dask has given it up.
MOST_AGAIN = 2
#: How often the number of workers is asked for.
COUNT_EVERY_S = 5.0
POLL_S = 0.2


def require() -> None:
    """Raises InputError where Dask is not installed."""
    try:
        import distributed  # noqa: F401
    except ImportError:
        allowed = (
            'Dask, which is not installed: pip install "trapledger[cluster]" (no --scheduler: local cores)'
        )
        raise InputError(OPTION, "", "", allowed) from None


@contextlib.contextmanager
def connected(address: str) -> Iterator[Client]:
    """A client of the scheduler at an address, closed at the end.

    Raises InputError: Dask is not installed, or nobody answers there.
    """
    require()
    from distributed import Client

    # Dask reports on what it does by itself; here all of that is told once, in this program's words.
    logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
    try:
        with warnings.catch_warnings(record=True) as remarks:
            warnings.simplefilter("always")
            client = Client(address, timeout=CONNECT_S, set_as_default=False, name="trapledger")
    except (OSError, ValueError, ImportError) as error:
        reason = " ".join(str(error).split())
        allowed = f"the address of a running Dask scheduler, such as tcp://host:8786 ({reason})"
        raise InputError(OPTION, "", address, allowed) from None
    try:
        for one in remarks:
            LOG.info("Dask: %s", " ".join(str(one.message).split()))
        yield client
    finally:
        with contextlib.suppress(Exception):
            client.close(timeout=2)


def _reason(error: BaseException | None) -> str:
    """Why a batch has no result, in one line."""
    from distributed import KilledWorker

    if error is None:
        return "its result was lost"
    if isinstance(error, KilledWorker):
        return f"every worker that played it died, the last at {error.last_worker.address}"
    return " ".join(f"{type(error).__name__}: {error}".split())


class DaskWorkers:
    """An executor (engine.study.sweep.runner.Executor): the workers of a Dask cluster.

    Parameters
    ----------
    client : of a running scheduler (``connected``)
    design, store : what is played, and the open store whose versions workers must have

    Raises
    ------
    InputError
        no worker has joined, or one differs from the store (named with the difference).
    """

    def __init__(self, client: Client, design: Any, store: Store) -> None:
        from engine.study.sweep.resolve import Resolver
        from engine.study.sweep.worker import Carrier, kit_of

        self.client = client
        self.address = str(client.scheduler.address)
        self._name, kit = kit_of(design, Resolver(design), json.loads(store.meta["versions"]))
        self._under_way: dict[Future[Outcome], tuple[Batch, int]] = {}
        self._done: queue.SimpleQueue[Future[Outcome]] = queue.SimpleQueue()
        self._suspects: deque[tuple[Batch, int]] = deque()  # given up by Dask, and how often
        self._waiting: deque[Batch] = deque()  # until the suspects have been played
        self._last: list[Outcome] = []
        self._closed = False
        self._threads, self._counted = 0, 0.0
        self._wait_for_workers()
        try:
            with self._told():
                client.register_plugin(Carrier(self._name, kit), name=self._name)
            self._check_workers()
        except BaseException:
            self.close()
            raise

    # --- workers ---

    def _wait_for_workers(self) -> None:
        limit = time.monotonic() + CONNECT_S
        while not self._count():
            if time.monotonic() > limit:
                allowed = f"a scheduler that workers have joined (none within {CONNECT_S:g} seconds)"
                raise InputError(OPTION, "", self.address, allowed)
            time.sleep(POLL_S)

    def _count(self) -> int:
        """Threads of all workers there are now."""
        with self._told():
            self._threads = sum(self.client.nthreads().values())
        self._counted = time.monotonic()
        return self._threads

    def _check_workers(self) -> None:
        """Ask every worker that is there now; one that goes meanwhile need not answer."""
        from engine.study.sweep.worker import check

        asked = {
            worker: self.client.submit(check, self._name, workers=[worker], pure=False)
            for worker in self.client.nthreads()
        }
        while asked:
            with self._told():
                here = self.client.nthreads()
            for worker, future in list(asked.items()):
                if future.status == "pending" and worker in here:
                    continue
                del asked[worker]
                if future.status == "error":
                    self._refuse(worker, future.exception())
            time.sleep(0.02)

    def _refuse(self, worker: str, error: BaseException | None) -> NoReturn:
        from engine.study.sweep.worker import Unlike

        reason = " ".join(str(error).split())
        if not isinstance(error, Unlike):
            reason = f"it cannot play: {type(error).__name__}: {reason}"
        allowed = f"workers that are what the store was made with; worker {worker}: {reason}"
        raise InputError(OPTION, "", self.address, allowed)

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        """What Dask raises when something is wrong with the cluster itself, as one line."""
        try:
            yield
        except InputError:
            raise
        except Exception as error:
            reason = " ".join(f"{type(error).__name__}: {error}".split())
            allowed = f"a cluster that works and whose workers can load trapledger ({reason})"
            raise InputError(OPTION, "", self.address, allowed) from None

    # --- the executor's names ---

    @property
    def slots(self) -> int:
        """Batches to keep under way, by the workers there are."""
        if time.monotonic() - self._counted >= COUNT_EVERY_S:
            before, now = self._threads, self._count()
            if before != now:
                LOG.info("workers of the cluster: %d threads, before %d", now, before)
        return 2 * self._threads + 2

    def submit(self, batch: Batch) -> None:
        self._waiting.append(batch)
        self._hand_in()

    def _hand_in(self) -> None:
        """Hand in what may be under way now: a suspect only alone, and nothing beside it."""
        if self._suspects:
            if not self._under_way:
                self._submit(*self._suspects.popleft())
        elif not any(again for _, again in self._under_way.values()):
            while self._waiting:
                self._submit(self._waiting.popleft(), 0)

    def _task(self) -> Callable[[str, Batch], Outcome]:
        from engine.study.sweep.worker import play

        return play

    def _submit(self, batch: Batch, again: int) -> None:
        with self._told():
            future = self.client.submit(self._task(), self._name, batch, pure=False)
        self._under_way[future] = (batch, again)
        future.add_done_callback(self._done.put)

    def finished(self, timeout_s: float) -> list[Outcome]:
        if self._closed:
            last, self._last = self._last, []
            return last
        self._look_at_client()
        done: list[Future[Outcome]] = []
        with contextlib.suppress(queue.Empty):
            done.append(self._done.get(timeout=timeout_s) if timeout_s > 0 else self._done.get_nowait())
            while True:
                done.append(self._done.get_nowait())
        found = self._taken(done)
        self._hand_in()
        return found

    def _look_at_client(self) -> None:
        if self.client.status not in ("running", "connecting"):
            raise InputError(OPTION, "", self.address, "a scheduler that stays (it has gone)")

    def _taken(self, done: list[Future[Outcome]]) -> list[Outcome]:
        """The outcomes of futures that are done; those that were given up are handed in again."""
        from engine.study.sweep.worker import Unlike

        good = [future for future in done if future.status == "finished"]
        with self._told():
            found: list[Outcome] = self.client.gather(good, errors="skip") if good else []
        arrived = {outcome.batch for outcome in found}
        for future in done:
            batch, again = self._under_way.pop(future)
            if batch in arrived:
                continue
            error = future.exception() if future.status == "error" else None
            if isinstance(error, Unlike):
                self._refuse("that joined later", error)
            reason = _reason(error)
            LOG.warning("point %d, possessions from %d: %s", batch.point + 1, batch.first, reason)
            if again < MOST_AGAIN:
                self._suspects.append((batch, again + 1))
            else:
                reason = f"handed to the cluster {again + 1} times: {reason}"
                found.append(Outcome(batch, None, "", None, reason, 0.0, self.address))
        return found

    def close(self) -> None:
        """Cancel what is not done. What is done already is kept for ``finished``."""
        if self._closed:
            return
        with contextlib.suppress(Exception):
            done = [future for future in self._under_way if future.status == "finished"]
            self._last = self.client.gather(done, errors="skip") if done else []
        self._closed = True
        with contextlib.suppress(Exception):
            self.client.cancel(list(self._under_way))
            for waiting in (self._under_way, self._suspects, self._waiting):
                waiting.clear()
            self.client.unregister_worker_plugin(self._name)
