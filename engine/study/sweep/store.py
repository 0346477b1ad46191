"""One file that keeps a sweep: design, resolved inputs, versions, and the tally of every batch.

An SQLite database in WAL mode with ``synchronous=FULL``: a batch is in the file, on the disk, once its
transaction has ended, and a run that dies at any moment leaves every earlier batch intact. A lock file
beside it (``FILE.lock``, left in place) keeps a second writer out; readers may look at any time.

Tables: ``meta`` (key, value: engine.study.sweep.identity, ``targets``, the possessions of a point asked
for so far, and ``effort``, the rule of the last run once it was another than fixed), ``inputs`` (point, its
values as JSON, and the key of what they resolve to),
``batches`` (point, first, count, seconds it took, host, SHA-256 of the numbers, the tally's bytes),
``failures`` (point, reason, time), ``rounds`` (batches planned by rules that look at results) and
``events`` (time, text). Points are numbered from 0 in the file, from 1 in words. Every row is sealed
(engine.study.sweep.seal), and every opening checks the seals and the file: a writer takes a damaged batch
off, so that it is played again, and a reader refuses it.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Self

from engine.errors import InputError
from engine.inputs.base import canonical
from engine.study.sweep import identity
from engine.study.sweep.design import Design
from engine.study.sweep.seal import MENDABLE, META_SEAL, ROUNDS_SEAL, Damage, meta_seal, rounds_seal, seal
from engine.study.sweep.stored import Stored
from engine.study.sweep.storefile import (
    APPLICATION,
    BUSY_S,
    EFFORT,
    LAYOUT,
    TABLES,
    StoreTrouble,
    take_lock,
    told,
)
from engine.study.sweep.tallies import Batch, Outcome


def effort_rule(meta: Mapping[str, str]) -> str:
    """The rule of [effort] that a store was last run with."""
    return str(json.loads(meta[EFFORT])["rule"]) if EFFORT in meta else "fixed"


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


# --- the store ----------------------------------------------------------------------------------------------


class Store(Stored):
    """An open store; a context manager that closes it. Make one with ``write`` or ``read``.

    ``mended``: what was found damaged and taken off, in words.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, lock: IO[str] | None = None) -> None:
        super().__init__(path, connection, lock)
        self.mended: list[str] = []
        self._keys: list[str] = []  # of the points, where this run writes
        self._failed: set[int] = set()  # by this run

    # --- opening ---

    @classmethod
    def write(cls, path: str | Path, design: Design, possessions: int | None = None) -> Self:
        """Open or make the store of a design for a run that adds to it.

        Where the design has more points than the store, and the first ones are the store's, they are added.
        ``possessions`` asks for that many at every point; None means what the design says, or what has been
        asked for before if that is more.

        Raises:
            InputError: a store of something else (the difference is named), a file damaged beyond its
                batches, another writer, fewer possessions than asked for before, or a file that cannot be
                written.
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
                    found = store.damages()
                    store._refuse(one for one in found if one.table not in MENDABLE)
                    store._check(design)
                    connection.execute("PRAGMA synchronous=FULL")
                    store._mend(found)
                    store._raise_target(design, possessions)
                store.note(f"opened by process {os.getpid()} on {socket.gethostname()}")  # can it be written?
        except BaseException:
            store.close()
            raise
        return store

    def _create(self, design: Design, possessions: int | None) -> None:
        target = design.possessions if possessions is None else possessions
        self.meta = identity.about(design) | {"targets": json.dumps([target]), "made": _now()}
        self.meta[META_SEAL] = meta_seal(self.meta)
        self.connection.execute("PRAGMA journal_mode=WAL")
        self.connection.execute("PRAGMA synchronous=FULL")
        with self._transaction():
            for statement in TABLES.split(";"):
                self.connection.execute(statement)
            self.connection.execute(f"PRAGMA application_id={APPLICATION}")
            self.connection.execute(f"PRAGMA user_version={LAYOUT}")
            self.connection.executemany("INSERT INTO meta VALUES (?, ?)", self.meta.items())
            self._put_inputs(list(identity.point_rows(design)), 0)
            self._note("made")

    def _put_inputs(self, rows: list[tuple[str, str]], start: int) -> None:
        """Write the rows of points (values, key) from point ``start`` on."""
        self._keys = [key for _, key in rows]
        self.connection.executemany(
            "INSERT OR REPLACE INTO inputs VALUES (?, ?, ?, ?)",
            ((i, *row, seal(i, *row)) for i, row in enumerate(rows) if i >= start),
        )

    def _mend(self, found: Sequence[Damage]) -> None:
        """Take damaged rows off: batches are played again, the values of a point are the design's."""
        self.mended = [one.words for one in found]
        if not found:
            return
        with self._transaction():
            for one in found:
                if one.table != "inputs":
                    self.connection.execute(f"DELETE FROM {one.table} WHERE rowid = ?", (one.row,))
            for words in self.mended:
                self._note(f"damaged, taken off: {words}")

    def _check(self, design: Design) -> None:
        """That the store is the design's; adds the points that the design has more."""
        wanted = list(identity.point_rows(design))
        query = "SELECT point, resolved, key, seal FROM inputs"
        rows = {
            i: text for i, text, key, found in self.connection.execute(query) if seal(i, text, key) == found
        }
        now, more = identity.about(design), len(wanted) > self.n_points
        if more and all(wanted[i][0] == text for i, text in rows.items()):
            kept = dict(json.loads(self.meta["identity"]), points=design.identity["points"])
            found = identity.differences(self.meta | {"identity": canonical(kept)}, now, design, rows)
            if not found and effort_rule(self.meta) == "best":
                found = "points are added to a budget that was divided without them"
        else:
            found, more = identity.differences(self.meta, now, design, rows), False
        if found:
            text = f"made from something else, and nothing is mixed: {found}; name another store"
            raise StoreTrouble(self.path, text)
        damaged = [i for i in range(self.n_points) if i not in rows]
        with self._transaction() if more or damaged else contextlib.nullcontext():
            self._put_inputs(wanted, min(damaged, default=self.n_points))
            if more:
                self._note(f"points added: {self.n_points} before, {len(wanted)} now")
                for key in ("identity", "digest", "points", "trials", "design"):
                    self._set(key, now[key])

    def _raise_target(self, design: Design, possessions: int | None) -> None:
        if possessions is not None and possessions < self.target:
            allowed = f"at least {self.target}, which this store is to hold already"
            raise InputError("--possessions", "", possessions, allowed)
        wanted = max(self.target, design.possessions if possessions is None else possessions)
        if wanted > self.target:
            with self._transaction():
                self._set("targets", json.dumps([*self.targets, wanted]))
                self._note(f"possessions of a point raised to {wanted}")

    def _set(self, key: str, value: str) -> None:
        self.meta[key] = value
        self.meta[META_SEAL] = meta_seal(self.meta)
        for name in (key, META_SEAL):
            self.connection.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (name, self.meta[name]))

    def _note(self, what: str) -> None:
        at = _now()
        self.connection.execute("INSERT INTO events VALUES (?, ?, ?)", (at, what, seal(at, what)))

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
                    why = (point, one.reason, _now())
                    self.connection.execute(
                        "INSERT OR REPLACE INTO failures VALUES (?, ?, ?, ?)", (*why, seal(*why))
                    )
                    continue
                if point not in self._failed:
                    self.connection.execute("DELETE FROM failures WHERE point = ?", (point,))
                row = (point, first, count, one.seconds, one.host, one.sha256, one.blob)
                self.connection.execute(
                    "INSERT INTO batches VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                    (*row, seal(self._keys[point], *row)),
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
            rows = sorted((number, int(one.point), int(one.first), int(one.count)) for one in batches)
            self.connection.executemany("INSERT INTO rounds VALUES (?, ?, ?, ?)", rows)
            self._set(ROUNDS_SEAL, rounds_seal(self.meta.get(ROUNDS_SEAL, ""), rows))
