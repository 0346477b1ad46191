"""The one file beside the sheets that keeps what was played for an evening: an SQLite database.

A result is kept with a digest of all it follows from (the sheets as resolved, the model's numbers, sources
and versions) and with what was asked (possessions, seed, ...). Another digest makes the file anew; a file
that is damaged, or not ours, is set aside in one line and made anew. Whatever goes wrong costs time, never a
result.
"""

from __future__ import annotations

import hashlib
import json
import platform
import sqlite3
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from importlib import metadata
from pathlib import Path

from engine.estimate.intervals import Found
from engine.inputs.base import canonical
from engine.inputs.scenario import config_hash
from engine.inputs.sheets import Evening
from engine.shipped import configs_root
from engine.study.sweep.seal import seal
from engine.version import __version__

NAME = "played.db"
#: What a damaged or foreign file is renamed to.
ASIDE = NAME + ".damaged"
APPLICATION = 0x74726C65  # marks the file as an evening's
LAYOUT = 1
BUSY_S = 10.0
TABLE = (
    "CREATE TABLE IF NOT EXISTS results(inputs TEXT NOT NULL, part TEXT NOT NULL, asked TEXT NOT NULL, "
    "seal TEXT NOT NULL, found BLOB NOT NULL, PRIMARY KEY(inputs, part, asked))"
)
#: Rooms whose sources results follow from; those after them only tell of results.
ROOMS = ("state", "inputs", "policies", "estimate", "kernel", "world", "run", "still", "study")
#: Errors of a file that is whole, but cannot be used now: all others mean damage.
NOT_NOW = (
    "SQLITE_BUSY",
    "SQLITE_READONLY",
    "SQLITE_FULL",
    "SQLITE_IOERR",
    "SQLITE_CANTOPEN",
    "SQLITE_LOCKED",
)

Say = Callable[[str], None]


class _Damaged(Exception):
    """The file is not one of ours, or not as it was written; the text says why."""


def sources() -> str:
    """Digest (hexadecimal) of the sources and the shipped numbers that results follow from."""
    digest = hashlib.sha256()
    engine = Path(__file__).parents[1]
    files = [path for room in ROOMS for path in sorted((engine / room).rglob("*.py"))]
    # Beside the model's numbers: the fronts that ``stress`` draws, and the court's regions.
    files += [
        path
        for kind in ("model", "alignments", "court")
        for path in sorted((configs_root() / kind).glob("*.toml"))
    ]
    for path in files:
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def inputs_digest(evening: Evening) -> str:
    """Digest (hexadecimal) of everything that an evening's results follow from, but for what is asked."""
    follows = {
        "scenario": config_hash(evening.scenario),
        "care": evening.care.to_dict(),
        "attack": evening.attack and config_hash(evening.attack.scenario),
        "men": evening.men and evening.men.model_dump(mode="json"),
        "met": evening.met.to_dict(),
        "minutes": [(note.number, note.minutes) for note in evening.own],
        "counts": [one.to_dict() for one in evening.counts],
        "trapledger": __version__,
        "sources": sources(),
        "versions": {name: metadata.version(name) for name in ("numpy", "numba", "scipy")},
        "machine": [platform.python_version(), platform.machine(), *platform.libc_ver()],
    }
    return hashlib.sha256(canonical(follows).encode()).hexdigest()


class EveningFile:
    """The file of an evening; see the module."""

    def __init__(self, folder: Path, inputs: str, say: Say) -> None:
        """``inputs``: their digest. ``say`` is told, in one line each, what is wrong with the file."""
        self.path = folder / NAME
        self.inputs = inputs
        self._say = say
        self._off = False

    @property
    def keeps(self) -> bool:
        """Whether results can be kept here, as far as is known."""
        return not self._off

    def get(self, part: str, asked: str) -> Found | None:
        """The result kept for what is asked; None: it must be played."""
        if self._off or not self.path.exists():
            return None
        query = "SELECT seal, found FROM results WHERE inputs = ? AND part = ? AND asked = ?"
        key = (self.inputs, part, asked)
        with self._told("read"), self._open() as db:
            row = db.execute(query, key).fetchone()
            if row is None:
                return None
            if row[0] != seal(*key, row[1]):
                raise _Damaged("a result in it is not as it was written")
            found: Found = json.loads(zlib.decompress(row[1]))
            return found
        return None

    def is_of_others(self) -> bool:
        """Whether it holds results, but none of these inputs: the sheets, or the program, have changed."""
        if self._off or not self.path.exists():
            return False
        with self._told("read"), self._open() as db:
            mine = "SELECT count(*), coalesce(sum(inputs = ?), 0) FROM results"
            every, of_these = db.execute(mine, (self.inputs,)).fetchone()
            return bool(every) and not of_these
        return False

    def put(self, part: str, asked: str, found: Found) -> None:
        """Keep a result; results of other inputs go."""
        data = zlib.compress(json.dumps(found, allow_nan=False).encode())
        key = (self.inputs, part, asked)
        for _ in range(2):  # again where a damaged file had to go first
            if self._off:
                return
            with self._told("written"), self._open() as db:
                db.execute("BEGIN IMMEDIATE")
                db.execute(TABLE)
                db.execute(f"PRAGMA application_id = {APPLICATION}")
                db.execute(f"PRAGMA user_version = {LAYOUT}")
                db.execute("DELETE FROM results WHERE inputs <> ?", (self.inputs,))
                row = (*key, seal(*key, data), data)
                db.execute("INSERT OR REPLACE INTO results VALUES (?, ?, ?, ?, ?)", row)
                db.execute("COMMIT")
                return

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        with closing(sqlite3.connect(self.path, timeout=BUSY_S, isolation_level=None)) as db:
            if db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
                ours = (
                    db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("application_id", "user_version")
                )
                if tuple(ours) != (APPLICATION, LAYOUT):
                    raise _Damaged("it is no file of an evening's results of this version")
            yield db

    @contextmanager
    def _told(self, what: str) -> Iterator[None]:
        """Says what is wrong, and goes on without the file or with a new one."""
        try:
            yield
        except sqlite3.Error as error:
            name = getattr(error, "sqlite_errorname", "") or ""
            if name.startswith(NOT_NOW):
                self._off = True
                self._say(f"{self.path}: results are not {what} here ({error}); they are played instead")
            else:
                self._set_aside("it is damaged" if name != "SQLITE_NOTADB" else "it is no database")
        except (_Damaged, zlib.error, ValueError) as error:
            self._set_aside(str(error) if isinstance(error, _Damaged) else "it is damaged")

    def _set_aside(self, why: str) -> None:
        try:
            self.path.replace(self.path.with_name(ASIDE))
        except OSError as error:
            self._off = True
            self._say(f"{self.path}: {why}, and it cannot be renamed ({error.strerror}): nothing is kept")
        else:
            self._say(f"{self.path}: {why}; it is now {ASIDE}, and results are played anew")
