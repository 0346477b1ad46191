"""Seals: the digest beside every row of a store, and what the rows say that do not match theirs.

A row is sealed with everything in it; the seal of a batch also holds the key of its point
(``identity.point_rows``), so that it can be told what a tally is of even where the rest of the file is lost.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

#: Key of the meta table that holds the seal of all others.
META_SEAL = "seal"
#: Key of the meta table that holds the seal of the planned rounds.
ROUNDS_SEAL = "rounds"
#: Tables whose damage the next run mends by itself: their rows are played or written again.
MENDABLE = ("inputs", "batches", "failures", "events")


class Damage(NamedTuple):
    """Something that is not as it was written: the table ("file" for the file itself), its row, and words."""

    table: str
    row: int | None
    words: str


def seal(*values: object) -> str:
    """SHA-256 (hexadecimal) of values of a row, their types and lengths included."""
    digest = hashlib.sha256()
    for value in values:
        data = value if isinstance(value, bytes) else repr(value).encode("utf-8", "replace")
        digest.update(f"{type(value).__name__} {len(data)}:".encode())
        digest.update(data)
    return digest.hexdigest()


def meta_seal(meta: Mapping[str, str]) -> str:
    """Of a whole meta table."""
    return seal(*(part for key in sorted(meta) if key != META_SEAL for part in (key, meta[key])))


def rounds_seal(before: str, rows: Iterable[tuple[int, int, int, int]]) -> str:
    """Of the planned rounds, each with its batches (round, point, first, count) in order, chained to the
    seal of the rounds ``before``."""
    return seal(before, *(value for row in rows for value in row))


def damages(connection: sqlite3.Connection, meta: Mapping[str, str]) -> Iterator[Damage]:
    """Everything in an open store that is not as it was written. Raises sqlite3.Error."""
    for (line,) in connection.execute("PRAGMA integrity_check"):
        if line != "ok":
            yield Damage("file", None, f"the file itself: {' '.join(str(line).split())}")
    if meta.get(META_SEAL) != meta_seal(meta):
        yield Damage("meta", None, "what it was made from is not what was written")
        return
    yield from _rounds(connection, meta)
    keys: dict[object, object] = {}
    n_points, n_found = int(meta["points"]), 0
    for row, resolved, key, found in connection.execute("SELECT point, resolved, key, seal FROM inputs"):
        n_found += 1
        keys[row] = key
        if seal(row, resolved, key) != found or not 0 <= row < n_points:
            yield Damage("inputs", row, f"point {row + 1}: its values are not those that were written")
    if n_found != n_points:
        yield Damage("file", None, f"{n_found} points are there, {n_points} were written")
    query = "SELECT rowid, point, first, count, seconds, host, sha256, tally, seal FROM batches"
    for row, point, *rest, found in connection.execute(query):
        if seal(keys.get(point), point, *rest) != found:
            words = f"{point + 1}, possessions from {rest[0]}" if isinstance(point, int) else "?"
            yield Damage("batches", row, f"point {words}: the tally kept is damaged")
    for table, columns in (("failures", "point, reason, at"), ("events", "at, what")):
        for row, *values, found in connection.execute(f"SELECT rowid, {columns}, seal FROM {table}"):
            if seal(*values) != found:
                yield Damage(table, row, f"a line of {table} is not what was written")


def _rounds(connection: sqlite3.Connection, meta: Mapping[str, str]) -> Iterator[Damage]:
    at: int | None = None
    chain = ""
    rows: list[tuple[int, int, int, int]] = []
    query = "SELECT round, point, first, count FROM rounds ORDER BY round, point, first"
    for row in connection.execute(query):
        if row[0] != at and rows:
            chain, rows = rounds_seal(chain, rows), []
        at = row[0]
        rows.append(row)
    if rows:
        chain = rounds_seal(chain, rows)
    if chain != meta.get(ROUNDS_SEAL, ""):
        yield Damage("rounds", None, "the rounds planned are not those that were written")
