"""The file of a sweep's store: opening it, its lock, and what can go wrong with it in a user's words."""

from __future__ import annotations

import contextlib
import os
import socket
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from engine.errors import InputError

APPLICATION = 0x74726C73  # marks the file as a store of sweeps
LAYOUT = 2
#: Key of ``meta`` that holds the rule it was last run with (JSON), where it is another than fixed.
EFFORT = "effort"
EMPTY = (
    "nothing is in this store yet: its run died before it had written anything, or it was copied while a run "
    "was writing it and without the file of the same name with -wal at its end, which then holds the rest"
)
ADVICE = "the command that made it plays what is damaged again"
ADVICE_REPAIR = "sweep DESIGN --store FILE --repair makes it anew from what is whole"

TABLES = """
CREATE TABLE meta(key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE inputs(point INTEGER PRIMARY KEY, resolved TEXT NOT NULL, key TEXT NOT NULL, seal TEXT NOT NULL);
CREATE TABLE batches(
    point INTEGER NOT NULL, first INTEGER NOT NULL, count INTEGER NOT NULL,
    seconds REAL NOT NULL, host TEXT NOT NULL, sha256 TEXT NOT NULL, tally BLOB NOT NULL,
    seal TEXT NOT NULL, PRIMARY KEY(point, first));
CREATE TABLE failures(
    point INTEGER PRIMARY KEY, reason TEXT NOT NULL, at TEXT NOT NULL, seal TEXT NOT NULL);
CREATE TABLE rounds(
    round INTEGER NOT NULL, point INTEGER NOT NULL, first INTEGER NOT NULL, count INTEGER NOT NULL,
    PRIMARY KEY(round, point, first)) WITHOUT ROWID;
CREATE TABLE events(at TEXT NOT NULL, what TEXT NOT NULL, seal TEXT NOT NULL);
"""
#: How long to wait for another program that holds the database (a copy being made).
BUSY_S = 60.0


class StoreTrouble(InputError):
    """A store that cannot be used: ``str(error)`` is one line that begins with the file."""

    def __init__(self, where: object, text: str) -> None:
        text = " ".join(text.split())  # what a damaged file is quoted with may hold anything
        ValueError.__init__(self, f"{where}: {text}")
        self.where, self.key, self.value, self.allowed = str(where), "", None, text


#: What reading a damaged file raises: sqlite3 reads its own message about broken text as text, too.
BROKEN = (sqlite3.Error, UnicodeDecodeError)


def _words(error: Exception) -> str:
    """A database error in the words of a user."""
    if isinstance(error, UnicodeDecodeError):
        return "the store is damaged (text in it cannot be read)"
    name = getattr(error, "sqlite_errorname", "") or ""
    for start, words in (
        ("SQLITE_FULL", "no room is left on the disk"),
        ("SQLITE_READONLY", "the store is read-only"),
        ("SQLITE_IOERR", "the disk is full or failed"),
        ("SQLITE_NOTADB", "this file is not a store of a sweep"),
        ("SQLITE_CORRUPT", "the store is damaged"),
        ("SQLITE_BUSY", "another program holds the store"),
        ("SQLITE_CANTOPEN", "the store cannot be opened or written here"),
    ):
        if name.startswith(start):
            return f"{words} ({error})"
    return str(error)


@contextlib.contextmanager
def told(path: Path) -> Iterator[None]:
    try:
        yield
    except BROKEN as error:
        raise StoreTrouble(path, _words(error)) from None


# --- the lock -----------------------------------------------------------------------------------------------


def _lock_path(path: Path) -> Path:
    """Beside the file itself, so that two names of one store have one lock."""
    real = Path(os.path.realpath(path))
    return real.with_name(real.name + ".lock")


def take_lock(path: Path) -> IO[str]:
    """Hold the lock of a store until the file returned is closed (or the process ends).

    Raises StoreTrouble where another process holds it, or where nothing can be written beside the store.
    """
    import fcntl

    lock = _lock_path(path)
    try:
        held = open(lock, "a+", encoding="utf-8")
    except OSError as error:
        text = f"the store cannot be written: {lock} cannot be opened ({error.strerror})"
        raise StoreTrouble(path, text) from None
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        held.seek(0)
        who = " ".join(held.read(200).split())
        held.close()
        raise StoreTrouble(path, f"another run is writing this store ({who or lock}); wait for it") from None
    with contextlib.suppress(OSError):  # who holds it is a courtesy: a full disk must not stop a run here
        held.truncate(0)
        held.write(f"process {os.getpid()} on {socket.gethostname()}")
        held.flush()
    return held


def being_written(path: Path) -> bool:
    """Whether some process holds the lock of a store."""
    import fcntl

    try:
        with open(_lock_path(path), encoding="utf-8") as lock:
            fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False


def connect_to_read(path: Path) -> sqlite3.Connection:
    """A connection that cannot write. Where even the folder is read-only a store in WAL mode opens only as
    a file that nobody changes, which is true if no run has left a log beside it."""
    log = path.with_name(path.name + "-wal")
    quiet = not (log.exists() and log.stat().st_size)
    name = path.resolve().as_uri()
    with told(path):
        connection = sqlite3.connect(f"{name}?mode=ro", uri=True, timeout=BUSY_S, isolation_level=None)
        try:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
            return connection
        except sqlite3.OperationalError:
            connection.close()
            if not quiet:
                raise
        return sqlite3.connect(f"{name}?immutable=1", uri=True, isolation_level=None)
