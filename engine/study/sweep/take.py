"""Batches of other stores taken over instead of played: stores merged, a damaged one made anew.

What is taken is what would have been played: a batch counts only where its seal holds with the key of a point
of the design (``identity.point_rows``), in whatever store or order of points it stands. So the store of a
design is the same to the bit whether its batches were played here, played elsewhere, or saved from a file
that is damaged.
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
from collections import deque
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from engine.errors import InputError
from engine.inputs.base import canonical
from engine.study.sweep.design import Design
from engine.study.sweep.identity import about, differences, point_rows
from engine.study.sweep.runner import Executor
from engine.study.sweep.seal import seal
from engine.study.sweep.stored import Stored
from engine.study.sweep.storefile import BROKEN, StoreTrouble, connect_to_read
from engine.study.sweep.tallies import Batch, BatchTally, Outcome, moments, unpack_payload

OPTION = "--take"
#: A file damaged in its tree of rows is asked row by row, as many as could be in it.
LEAST_ROW_BYTES = 256
#: Batches taken over in one transaction.
MOST_AT_ONCE = 256
_COLUMNS = "point, first, count, seconds, host, sha256, tally, seal"


class _Kept(NamedTuple):
    """A batch of another store, as its row."""

    point: int
    first: int
    n: int
    seconds: float
    host: str
    sha256: str
    blob: bytes
    mark: str

    def belongs_to(self, key: str) -> bool:
        return seal(key, *self[:-1]) == self.mark


class Shelf:
    """What other stores hold of a design, found by point and possessions.

    Raises InputError for a file that is no store, is damaged, or holds nothing of the design.
    """

    def __init__(self, paths: Sequence[Path], design: Design) -> None:
        self._keys = [key for _, key in point_rows(design)]
        self._open: list[sqlite3.Connection] = []
        self._found: dict[tuple[str, int, int], tuple[sqlite3.Connection, int]] = {}
        try:
            for path in paths:
                self._add(path, design)
        except BaseException:
            self.close()
            raise

    def __contains__(self, batch: Batch) -> bool:
        return (self._keys[batch.point], batch.first, batch.count) in self._found

    def close(self) -> None:
        for connection in self._open:
            connection.close()

    def _add(self, path: Path, design: Design) -> None:
        if not path.is_file():
            raise InputError(OPTION, "", str(path), "the store of a sweep")
        with Stored.read(path) as store:  # refuses a damaged one, and what is no store
            meta = dict(store.meta)
        if not self._take_in(connect_to_read(path), path):
            kept = json.loads(meta["identity"]) | {"points": design.identity["points"]}  # they may differ
            reason = differences(meta | {"identity": canonical(kept)}, about(design), design, {})
            reason = reason or "none of its points is one of the design's"
            raise InputError(OPTION, "", str(path), f"a store with batches of this design ({reason})")

    def salvage(self, paths: Sequence[Path]) -> None:
        """Take in what can be read of damaged stores, whatever that is."""
        for path in paths:
            with contextlib.suppress(StoreTrouble):  # else not even its first page can be read
                self._take_in(connect_to_read(path), path)

    def _take_in(self, connection: sqlite3.Connection, path: Path) -> int:
        """How many batches of the design a file holds."""
        self._open.append(connection)
        known, own, found = set(self._keys), _keys_of(connection), 0
        for row, kept in _rows(connection, path.stat().st_size):
            candidates = {own.get(kept.point)}
            if isinstance(kept.point, int) and 0 <= kept.point < len(self._keys):
                candidates.add(self._keys[kept.point])  # its own key may be lost
            for key in known.intersection(one for one in candidates if one is not None):
                if kept.belongs_to(key):
                    self._found[key, kept.first, kept.n] = connection, row
                    found += 1
        return found

    def find(self, batch: Batch) -> Outcome | None:
        """The outcome of a batch of the design, None where no store has it."""
        key = self._keys[batch.point]
        place = self._found.get((key, batch.first, batch.count))
        if place is None:
            return None
        connection, row = place
        kept = _row(connection, row)
        if kept is None or not kept.belongs_to(key):
            return None
        tally = BatchTally.from_payload(unpack_payload(kept.blob))
        return Outcome(batch, kept.blob, kept.sha256, moments(tally), None, kept.seconds, kept.host)


def _keys_of(connection: sqlite3.Connection) -> dict[int, str]:
    """Keys of the points of a store that may be damaged."""
    with contextlib.suppress(*BROKEN):
        return dict(connection.execute("SELECT point, key FROM inputs"))
    return {}


def _row(connection: sqlite3.Connection, row: int) -> _Kept | None:
    with contextlib.suppress(*BROKEN):
        found = connection.execute(f"SELECT {_COLUMNS} FROM batches WHERE rowid = ?", (row,)).fetchone()
        return None if found is None else _Kept(*found)
    return None


def _rows(connection: sqlite3.Connection, size: int) -> Iterator[tuple[int, _Kept]]:
    """Every row of the batches that can be read; ``size`` of the file, bytes."""
    last = 0
    try:
        for row, *values in connection.execute(f"SELECT rowid, {_COLUMNS} FROM batches ORDER BY rowid"):
            last = row
            yield row, _Kept(*values)
    except BROKEN:
        for row in range(last + 1, size // LEAST_ROW_BYTES + 2):
            kept = _row(connection, row)
            if kept is not None:
                yield row, kept


class Taking:
    """An executor (engine.study.sweep.runner.Executor) that takes what is on a shelf and has another one
    play the rest. ``taken``: batches that were not played."""

    def __init__(self, shelf: Shelf, rest: Executor) -> None:
        self.shelf, self.rest = shelf, rest
        self.taken = 0
        self._waiting: deque[Batch] = deque()

    @property
    def slots(self) -> int:
        return self.rest.slots + min(len(self._waiting), MOST_AT_ONCE)

    def submit(self, batch: Batch) -> None:
        if batch in self.shelf:
            self._waiting.append(batch)
        else:
            self.rest.submit(batch)

    def finished(self, timeout_s: float) -> list[Outcome]:
        if not self._waiting:
            return self.rest.finished(timeout_s)
        found: list[Outcome] = []
        while self._waiting:
            batch = self._waiting.popleft()
            outcome = self.shelf.find(batch)
            if outcome is None:  # changed since it was looked at
                self.rest.submit(batch)
            else:
                self.taken += 1
                found.append(outcome)
        return found + self.rest.finished(0.0)

    def close(self) -> None:
        self.rest.close()
        self.shelf.close()


def put_aside(path: Path) -> Path:
    """Move a damaged store out of the way, with the files that belong to it; its new name.

    Raises StoreTrouble where it cannot be moved.
    """
    number = 1
    while True:
        aside = path.with_name(f"{path.name}.damaged" + (f"-{number}" if number > 1 else ""))
        if not aside.exists():
            break
        number += 1
    try:
        os.rename(path, aside)
        for end in ("-wal", "-shm"):
            with contextlib.suppress(FileNotFoundError):
                os.rename(f"{path}{end}", f"{aside}{end}")
    except OSError as error:
        raise StoreTrouble(path, f"it cannot be put aside as {aside} ({error.strerror})") from None
    return aside
