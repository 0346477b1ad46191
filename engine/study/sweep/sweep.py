"""A sweep from beginning to end: the design opened, its store made or taken up, everything missing played."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from engine.errors import InputError
from engine.inputs.files import FileName
from engine.run.size import check_size
from engine.study.sweep.adaptive import keep_rule, policy_for
from engine.study.sweep.design import Design, load_design
from engine.study.sweep.gather import gather, provenance_of
from engine.study.sweep.resolve import Resolver
from engine.study.sweep.runner import Executor, LocalThreads, Progress, Watcher, Workshop, run_sweep
from engine.study.sweep.seal import MENDABLE
from engine.study.sweep.store import Store
from engine.study.sweep.stored import Stored
from engine.study.sweep.storefile import StoreTrouble, take_lock
from engine.study.sweep.take import Shelf, Taking, put_aside

if TYPE_CHECKING:
    import xarray

    from engine.study.sweep.analyse.analysis import Analysis

#: What a file must hold near its beginning to have been a store, however damaged it is.
MARK = b"CREATE TABLE batches("
#: Told what is going on: the store once it is open.
Opened = Callable[[Store], None]


@dataclass(frozen=True)
class SweepResult:
    """A sweep that has ended: ``path`` of its store, how it ended, batches ``taken`` over from other stores,
    and what was found damaged and played again (``mended``, in words)."""

    path: Path
    end: Progress
    taken: int = 0
    mended: tuple[str, ...] = ()

    @property
    def provenance(self) -> dict[str, str]:
        """Seed, luck, versions, digests and processor that the results come from."""
        with Stored.read(self.path) as store:
            return provenance_of(store)

    def table(self) -> pd.DataFrame:
        """One row per point and setting; see ``engine.study.sweep.gather`` for the columns."""
        return gather(self.path)

    def xarray(self) -> xarray.Dataset:
        """The table as an array with dimensions point and setting; of a full grid, one per factor and setting
        (``engine.study.sweep.cube``). Raises InputError where xarray is not installed."""
        from engine.study.sweep.cube import dataset

        return dataset(self.path)

    def analyse(
        self,
        quantity: str = "change",
        settings: Sequence[str] | None = None,
        seed: int = 1,
        metamodel: bool = False,
    ) -> Analysis:
        """Indices, curves, slopes, trade-off; see ``engine.study.sweep.analyse.analysis.analyse``."""
        from engine.study.sweep.analyse.analysis import analyse, read

        return analyse(read(self.path, quantity), quantity, settings, seed, metamodel)


def local_executor(design: Design, threads: int) -> LocalThreads:
    """The threads of this process, the engine compiled or loaded."""
    workshop = Workshop(design, Resolver(design))
    workshop.warm()
    return LocalThreads(workshop, threads)


def sweep(
    design: FileName | Design,
    store: FileName,
    possessions: int | None = None,
    threads: int | None = None,
    scheduler: str | None = None,
    take: Sequence[FileName] = (),
    part: tuple[int, int] = (1, 1),
    repair: bool = False,
    progress: Watcher | None = None,
    opened: Opened | None = None,
) -> SweepResult:
    """Play what a sweep still needs and keep it in a store.

    Parameters
    ----------
    design : name or path of a design (TOML), or what ``load_design`` returned
    store : file that keeps the results; made if missing, taken up where it stands otherwise
    possessions : of every point; None takes the design's. May be raised later, never lowered
    threads : None uses every available core; the result does not depend on it
    scheduler : address of a running Dask scheduler, whose workers then play
    take : other stores; batches of this design in them are taken over, not played
    part : (k, n), every n-th point from the k-th on is played: one task of n, each with a store of its own
    repair : make a store that is damaged anew, from what is whole in it; the damaged file stays beside it
    progress : called at the start, after every commit and five times a second
    opened : called with the open store before anything is played

    Raises
    ------
    InputError
        bad input, a store of something else, a damaged one, or one that cannot be written.
    KeyboardInterrupt
        Ctrl-C; what has been played by then is kept, and the same call goes on from there.
    """
    found = load_design(design) if not isinstance(design, Design) else design
    path = Path(store)
    _check_part(part, found)
    if possessions is not None and found.effort.rule != "fixed":
        allowed = f"no --possessions with effort.rule {found.effort.rule}: least, most and total say how many"
        raise InputError("--possessions", "", possessions, allowed)
    size = check_size(found.possessions if possessions is None else possessions, found.seed, threads)
    shelves: list[Path] = []
    if repair:
        shelves = make_way(path)
    with contextlib.ExitStack() as stack:
        client = None
        if scheduler is not None:
            from engine.study.sweep.cluster import connected

            client = stack.enter_context(connected(scheduler))
        kept = stack.enter_context(
            Store.write(path, found, None if possessions is None else size.possessions)
        )
        keep_rule(kept, found.effort)
        shelf = _shelf(take, shelves, found)
        if opened is not None:
            opened(kept)
        executor: Executor
        if client is None:
            executor = local_executor(found, size.threads)
        else:
            from engine.study.sweep.cluster import DaskWorkers

            executor = DaskWorkers(client, found, kept)
        taking = None
        if shelf is not None:
            executor = taking = Taking(shelf, executor)
        policy = policy_for(found.effort, found.settings, found.batch)
        end = run_sweep(kept, executor, progress, policy, part)
        return SweepResult(path, end, 0 if taking is None else taking.taken, tuple(kept.mended))


def _check_part(part: tuple[int, int], design: Design) -> None:
    k, n = part
    if not 1 <= k <= n or n > len(design.points):
        allowed = f"K/N with K from 1 to N, and N at most the points ({len(design.points)})"
        raise InputError("--part", "", f"{k}/{n}", allowed)
    if n > 1 and design.effort.rule == "best":
        raise InputError(
            "--part", "", f"{k}/{n}", "the whole: effort.rule best weighs points against each other"
        )


def _shelf(take: Sequence[FileName], salvaged: Sequence[Path], design: Design) -> Shelf | None:
    if not take and not salvaged:
        return None
    shelf = Shelf([Path(one) for one in take], design)
    shelf.salvage(salvaged)
    return shelf


def make_way(path: Path) -> list[Path]:
    """Put a store that is damaged beyond its rows aside; all files put aside, from which it is made anew.

    Raises StoreTrouble for a file that never was a store, or that another run is writing.
    """
    if path.is_file():
        with take_lock(path):
            if _beyond_its_rows(path):
                put_aside(path)
    aside = re.compile(re.escape(path.name) + r"\.damaged(-\d+)?")
    return sorted(one for one in path.parent.iterdir() if aside.fullmatch(one.name))


def _beyond_its_rows(path: Path) -> bool:
    try:
        with Stored.read(path, checked=False) as store:
            return any(one.table not in MENDABLE for one in store.damages())
    except StoreTrouble:
        with open(path, "rb") as file:
            if MARK not in file.read(2**16):
                raise
        return True
