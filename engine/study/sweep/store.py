"""One file that keeps a sweep: design, resolved inputs, versions, and the tally of every batch.

An SQLite database in WAL mode with ``synchronous=FULL``: a batch is in the file, on the disk, once its
transaction has ended, and a run that dies at any moment leaves every earlier batch intact. A lock file
beside it (``FILE.lock``, left in place) keeps a second writer out; readers may look at any time.

Tables: ``meta`` (key, value: engine.study.sweep.identity, ``targets``, the possessions of a point asked
for so far, and ``effort``, the rule of the last run once it was another than fixed), ``inputs`` (point, its
values as JSON, a hash of them with the resolved base scenario),
``batches`` (point, first, count, seconds it took, host, SHA-256 of the numbers, the tally's bytes),
``failures`` (point, reason, time), ``rounds`` (batches planned by rules that look at results) and
``events`` (time, text). Points are numbered from 0 in the file, from 1 in words.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any, Self

import numpy as np

from engine.errors import InputError
from engine.estimate.tally import IntArray
from engine.study.sweep import identity
from engine.study.sweep.storefile import (
    BUSY_S,
    StoreTrouble,
    connect_to_read,
    take_lock,
    told,
)
from engine.study.sweep.tallies import (
    Batch,
    BatchTally,
    digest_of,
    unpack_payload,
)

APPLICATION = 0x74726C73  # marks the file as a store of sweeps
LAYOUT = 1

_TABLES = """
CREATE TABLE meta(key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE inputs(point INTEGER PRIMARY KEY, resolved TEXT NOT NULL, config_hash TEXT NOT NULL);
CREATE TABLE batches(
    point INTEGER NOT NULL, first INTEGER NOT NULL, count INTEGER NOT NULL,
    seconds REAL NOT NULL, host TEXT NOT NULL, sha256 TEXT NOT NULL, tally BLOB NOT NULL,
    PRIMARY KEY(point, first));
CREATE TABLE failures(point INTEGER PRIMARY KEY, reason TEXT NOT NULL, at TEXT NOT NULL);
CREATE TABLE rounds(
    round INTEGER NOT NULL, point INTEGER NOT NULL, first INTEGER NOT NULL, count INTEGER NOT NULL,
    PRIMARY KEY(round, point, first)) WITHOUT ROWID;
CREATE TABLE events(at TEXT NOT NULL, what TEXT NOT NULL);
"""


@dataclass(frozen=True)
class Outcome:
    """What became of a batch: the tally's bytes with the SHA-256 of its numbers, or the reason why there is
    none; its ``moments`` (engine.study.sweep.tallies), seconds taken and the machine's name."""

    batch: Batch
    blob: bytes | None
    sha256: str
    moments: IntArray | None
    reason: str | None
    seconds: float
    host: str


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


# --- the store ----------------------------------------------------------------------------------------------


class Store:
    """An open store; a context manager that closes it. Make one with ``write`` or ``read``."""

    def __init__(self, path: Path, connection: sqlite3.Connection, lock: IO[str] | None) -> None:
        self.path, self.connection, self._lock = path, connection, lock
        self.meta: dict[str, str] = {}
        self._failed: set[int] = set()  # by this run

    # --- opening ---

    @classmethod
    def write(cls, path: str | Path, design: Any, possessions: int | None = None) -> Self:
        """Open or make the store of a design for a run that adds to it.

        ``possessions`` asks for that many at every point; None means what the design says, or what has been
        asked for before if that is more.

        Raises:
            InputError: a store of something else (the difference is named), another writer, fewer
                possessions than asked for before, or a file that cannot be written.
        """
        path = Path(path)
        if not path.parent.is_dir() or path.is_dir():
            raise InputError("--store", "", str(path), "a file in a folder that exists")
        lock = take_lock(path)
        try:
            with told(path):
                connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
        except BaseException:
            lock.close()
            raise
        store = cls(path, connection, lock)
        try:
            with told(path):
                if store._is_new():
                    store._create(design, possessions)
                else:
                    store._load()
                    store._check(design)
                    connection.execute("PRAGMA synchronous=FULL")
                    store._raise_target(design, possessions)
                store.note(f"opened by process {os.getpid()} on {socket.gethostname()}")  # can it be written?
        except BaseException:
            store.close()
            raise
        return store

    @classmethod
    def read(cls, path: str | Path) -> Self:
        """Open a store to look at it; a run may be writing it. Raises InputError."""
        path = Path(path)
        if not path.is_file():
            raise InputError("store", "", str(path), "a file that exists")
        store = cls(path, connect_to_read(path), None)
        try:
            with told(path):
                if store._is_new():
                    raise StoreTrouble(path, "this store is empty: a run died before it had written anything")
                store._load()
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

    def _create(self, design: Any, possessions: int | None) -> None:
        target = design.possessions if possessions is None else possessions
        self.meta = identity.about(design) | {"targets": json.dumps([target]), "made": _now()}
        self.connection.execute("PRAGMA journal_mode=WAL")
        self.connection.execute("PRAGMA synchronous=FULL")
        with self._transaction():
            for statement in _TABLES.split(";"):
                self.connection.execute(statement)
            self.connection.execute(f"PRAGMA application_id={APPLICATION}")
            self.connection.execute(f"PRAGMA user_version={LAYOUT}")
            self.connection.executemany("INSERT INTO meta VALUES (?, ?)", self.meta.items())
            self.connection.executemany(
                "INSERT INTO inputs VALUES (?, ?, ?)",
                ((i, *identity.point_row(design, i)) for i in range(len(design.points))),
            )
            self._note("made")

    def _load(self) -> None:
        self.meta = dict(self.connection.execute("SELECT key, value FROM meta"))

    def _check(self, design: Any) -> None:
        rows = dict(self.connection.execute("SELECT point, resolved FROM inputs"))
        found = identity.differences(self.meta, identity.about(design), design, rows)
        if found:
            text = f"made from something else, and nothing is mixed: {found}; name another store"
            raise StoreTrouble(self.path, text)

    def _raise_target(self, design: Any, possessions: int | None) -> None:
        if possessions is not None and possessions < self.target:
            allowed = f"at least {self.target}, which this store is to hold already"
            raise InputError("--possessions", "", possessions, allowed)
        wanted = max(self.target, design.possessions if possessions is None else possessions)
        if wanted > self.target:
            with self._transaction():
                self._set("targets", json.dumps([*self.targets, wanted]))
                self._note(f"possessions of a point raised to {wanted}")

    def _set(self, key: str, value: str) -> None:
        self.connection.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (key, value))
        self.meta[key] = value

    def _note(self, what: str) -> None:
        self.connection.execute("INSERT INTO events VALUES (?, ?)", (_now(), what))

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        """All of it or nothing, and on the disk when it ends."""
        with told(self.path):
            if self.connection.in_transaction:  # Ctrl-C between the statements of an earlier one
                self.connection.execute("ROLLBACK")
            try:
                self.connection.execute("BEGIN IMMEDIATE")
                yield
                self.connection.execute("COMMIT")
            except BaseException:
                if self.connection.in_transaction:
                    with contextlib.suppress(sqlite3.Error):
                        self.connection.execute("ROLLBACK")
                raise

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

    def points(self) -> Iterator[tuple[int, dict[str, Any]]]:
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

    def tallies(self, points: Iterable[int] | None = None) -> Iterator[tuple[int, BatchTally]]:
        """Every point that has batches with their sum, in order, one point at a time in memory."""
        at: int | None = None
        total: BatchTally | None = None
        for batch, tally in self.batches(points):
            if total is not None and batch.point == at:
                total = total + tally
                continue
            if at is not None and total is not None:
                yield at, total
            at, total = batch.point, tally
        if at is not None and total is not None:
            yield at, total

    def tally(self, point: int) -> BatchTally | None:
        """The sum over a point's batches; None where there is none."""
        return next((tally for _, tally in self.tallies([point])), None)

    # --- adding ---

    def add(self, outcomes: Sequence[Outcome]) -> None:
        """Keep outcomes in one transaction; they are on the disk when it returns.

        A point that failed in an earlier run and now has a batch is no longer a failure. Raises
        StoreTrouble; then none of them is kept.
        """
        with self._transaction():
            for one in outcomes:
                batch = one.batch
                point, first, count = int(batch.point), int(batch.first), int(batch.count)
                if one.blob is None:
                    self._failed.add(point)
                    row = (point, one.reason, _now())
                    self.connection.execute("INSERT OR REPLACE INTO failures VALUES (?, ?, ?)", row)
                    continue
                if point not in self._failed:
                    self.connection.execute("DELETE FROM failures WHERE point = ?", (point,))
                self.connection.execute(
                    "INSERT INTO batches VALUES (?, ?, ?, ?, ?, ?, ?)",
                    (point, first, count, one.seconds, one.host, one.sha256, one.blob),
                )

    def remember(self, key: str, value: str) -> None:
        """Keep a value of ``meta`` that may change from run to run."""
        with self._transaction():
            self._set(key, value)
            self._note(f"{key}: {value}")

    def note(self, what: str) -> None:
        """Add a line to ``events``."""
        with self._transaction():
            self._note(what)

    def plan_round(self, batches: Sequence[Batch]) -> None:
        """Keep what a rule that looks at results has decided, before any of it is played."""
        with self._transaction():
            number = self.connection.execute("SELECT coalesce(max(round), 0) + 1 FROM rounds").fetchone()[0]
            self.connection.executemany(
                "INSERT INTO rounds VALUES (?, ?, ?, ?)",
                ((number, int(one.point), int(one.first), int(one.count)) for one in batches),
            )

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
        """SQLite's own check of the file; an empty list means it is whole. Raises StoreTrouble."""
        with told(self.path):
            rows = self.connection.execute("PRAGMA integrity_check").fetchall()
        return [row[0] for row in rows if row[0] != "ok"]
