"""Looking into a store of a sweep: its points, its batches, what was asked for, what is damaged in it."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import IO, Self

import numpy as np

from engine.errors import InputError
from engine.estimate.tally import IntArray
from engine.study.sweep.sampling import Point
from engine.study.sweep.seal import MENDABLE, Damage, damages
from engine.study.sweep.storefile import (
    ADVICE,
    ADVICE_REPAIR,
    APPLICATION,
    EMPTY,
    LAYOUT,
    StoreTrouble,
    connect_to_read,
    told,
)
from engine.study.sweep.tallies import Batch, BatchTally, digest_of, unpack_payload


class Stored:
    """An open store to look at (``Stored.read``); a context manager that closes it.

    ``meta``: what it was made from and was asked for, each value as text (engine.study.sweep.identity).
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, lock: IO[str] | None = None) -> None:
        self.path, self.connection, self._lock = path, connection, lock
        self.meta: dict[str, str] = {}

    @classmethod
    def read(cls, path: str | Path, checked: bool = True) -> Self:
        """Open a store to look at it; a run may be writing it. Raises InputError, with ``checked`` for any
        damage too."""
        path = Path(path)
        if not path.is_file():
            raise InputError("store", "", str(path), "a file that exists")
        connection = connect_to_read(path)
        store = cls(path, connection)
        try:
            with told(path):
                if store._is_new():
                    raise StoreTrouble(path, EMPTY)
                connection.execute("BEGIN")  # one state of the file, whoever writes it meanwhile
                store._load()
                store._refuse(store.damages() if checked else ())
                connection.execute("COMMIT")
        except BaseException:
            store.close()
            raise
        return store

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file and let the lock go."""
        self.connection.close()
        if self._lock is not None:
            self._lock.close()
            self._lock = None

    def _is_new(self) -> bool:
        """An empty file (or one left by a run that died while making it). Refuses other files."""
        tables = self.connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        mark = self.connection.execute("PRAGMA application_id").fetchone()[0]
        layout = self.connection.execute("PRAGMA user_version").fetchone()[0]
        if tables == 0 and mark in (0, APPLICATION):
            return True
        if mark != APPLICATION:
            raise StoreTrouble(self.path, "this file is not a store of a sweep")
        if layout != LAYOUT:
            raise StoreTrouble(self.path, f"a store of layout {layout}; this version reads layout {LAYOUT}")
        return False

    def _load(self) -> None:
        self.meta = dict(self.connection.execute("SELECT key, value FROM meta"))

    def damages(self) -> list[Damage]:
        """Everything that is not as it was written; an empty list for a whole store. Raises StoreTrouble."""
        with told(self.path):
            return list(damages(self.connection, self.meta))

    def _refuse(self, found: Iterable[Damage]) -> None:
        """Raises StoreTrouble where there is damage."""
        first, *more = [*found, None]
        if first is not None:
            others = f" (and {len(more) - 1} more)" if len(more) > 1 else ""
            how = ADVICE if first.table in MENDABLE else ADVICE_REPAIR
            raise StoreTrouble(self.path, f"the store is damaged: {first.words}{others}; {how}")

    # --- what is in it ---

    @property
    def n_points(self) -> int:
        return int(self.meta["points"])

    @property
    def settings(self) -> tuple[str, ...]:
        """Names of the settings, home first."""
        return tuple(json.loads(self.meta["settings"]))

    @property
    def factors(self) -> tuple[str, ...]:
        """Paths that were varied."""
        return tuple(json.loads(self.meta["factors"]))

    @property
    def calls(self) -> dict[str, list[str]]:
        """Spots of the calls of every setting of the scenario."""
        found: dict[str, list[str]] = json.loads(self.meta["calls"])
        return found

    @property
    def targets(self) -> tuple[int, ...]:
        """Possessions of a point asked for so far, rising."""
        return tuple(json.loads(self.meta["targets"]))

    @property
    def target(self) -> int:
        """Possessions asked for at every point (rules of effort may stop before it or go on)."""
        return self.targets[-1]

    def points(self) -> Iterator[tuple[int, Point]]:
        """Every point and its values by path."""
        with told(self.path):
            for point, text in self.connection.execute("SELECT point, resolved FROM inputs ORDER BY point"):
                yield point, json.loads(text)

    def played(self) -> IntArray:
        """Possessions kept of each point, int64[n_points]."""
        found = np.zeros(self.n_points, dtype=np.int64)
        with told(self.path):
            rows = self.connection.execute("SELECT point, sum(count) FROM batches GROUP BY point")
            for point, count in rows:
                found[point] = count
        return found

    def kept(self, point: int) -> dict[int, int]:
        """Batches kept of a point: first possession -> count."""
        with told(self.path):
            query = "SELECT first, count FROM batches WHERE point = ? ORDER BY first"
            return dict(self.connection.execute(query, (point,)))

    def n_batches(self) -> int:
        with told(self.path):
            return int(self.connection.execute("SELECT count(*) FROM batches").fetchone()[0])

    def failures(self) -> dict[int, str]:
        """Points that failed, with the reason."""
        with told(self.path):
            return dict(self.connection.execute("SELECT point, reason FROM failures ORDER BY point"))

    def events(self) -> list[tuple[str, str]]:
        """What happened to the store: time (UTC) and text."""
        with told(self.path):
            return list(self.connection.execute("SELECT at, what FROM events ORDER BY rowid"))

    def batches(self, points: Iterable[int] | None = None) -> Iterator[tuple[Batch, BatchTally]]:
        """Every batch with its tally by (point, first), one at a time; ``points`` None takes all.

        Raises StoreTrouble for a tally whose numbers are not those that were written.
        """
        columns = "SELECT point, first, count, sha256, tally FROM batches"
        with told(self.path):
            if points is None:
                for row in self.connection.execute(f"{columns} ORDER BY point, first"):
                    yield self._read_batch(*row)
                return
            for point in points:
                rows = self.connection.execute(f"{columns} WHERE point = ? ORDER BY first", (point,))
                for row in rows:
                    yield self._read_batch(*row)

    def _read_batch(
        self, point: int, first: int, count: int, sha256: str, blob: bytes
    ) -> tuple[Batch, BatchTally]:
        where = f"point {point + 1}, possessions from {first}"
        try:
            payload = unpack_payload(blob)
            if digest_of(payload) != sha256:
                raise ValueError("its SHA-256 is another")
            return Batch(point, first, count), BatchTally.from_payload(payload)
        except ValueError as error:
            raise StoreTrouble(self.path, f"{where}: the tally kept is damaged ({error})") from None

    def tallies(
        self, points: Iterable[int] | None = None, each: Callable[[Batch, BatchTally], None] | None = None
    ) -> Iterator[tuple[int, BatchTally]]:
        """Every point that has batches with their sum, in order, one point at a time in memory; ``each`` is
        shown every batch on its way."""
        at: int | None = None
        total: BatchTally | None = None
        for batch, tally in self.batches(points):
            if each is not None:
                each(batch, tally)
            if total is not None and batch.point == at:
                total = total + tally
                continue
            if at is not None and total is not None:
                yield at, total
            at, total = batch.point, tally
        if at is not None and total is not None:
            yield at, total

    def unplayed(self) -> list[Batch]:
        """Batches of planned rounds that are not kept yet, in order."""
        query = (
            "SELECT point, first, count FROM rounds AS planned WHERE NOT EXISTS"
            " (SELECT 1 FROM batches WHERE batches.point = planned.point AND batches.first = planned.first)"
            " ORDER BY round, point, first"
        )
        with told(self.path):
            return [Batch(*row) for row in self.connection.execute(query)]

    def check(self) -> list[str]:
        """What is damaged in it, in words; an empty list means it is whole. Raises StoreTrouble."""
        return [one.words for one in self.damages()]
