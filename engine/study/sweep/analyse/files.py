"""Files of an analysis: written in a folder within the one asked for, moved into it when all are whole."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path

from engine.errors import InputError
from engine.study.sweep.analyse.analysis import Analysis
from engine.study.sweep.gather import plain_cells
from engine.whole_file import whole_file


def make_folder(folder: str | Path) -> Path:
    """The folder, made if it is missing. Raises InputError where it cannot be."""
    path = Path(folder)
    try:
        path.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise InputError("--output", "", str(folder), f"a folder that can be made ({reason})") from None
    if not os.access(path, os.W_OK | os.X_OK):
        raise InputError("--output", "", str(folder), "a folder that can be written")
    return path


@contextmanager
def whole_folder(folder: str | Path) -> Iterator[Path]:
    """A folder to fill: its files come into ``folder`` together at the end, none of them after any error, and
    a folder that was made for them goes, too. Raises InputError."""
    there = Path(folder).exists()
    path = make_folder(folder)
    part = None
    try:
        part = Path(tempfile.mkdtemp(prefix=".part-", dir=path))
        yield part
        for file in sorted(part.iterdir()):
            os.replace(file, path / file.name)
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError("--output", "", str(folder), f"a folder that can be written ({reason})") from None
    finally:
        if part is not None:
            shutil.rmtree(part, ignore_errors=True)
        if not there:
            with suppress(OSError):  # not empty: all went well
                path.rmdir()


def put(path: Path, fill: Callable[[Path], object]) -> Path:
    """Let ``fill`` write a file beside ``path`` and move it there, all or nothing. Raises InputError."""
    try:
        with whole_file(path) as part:
            fill(Path(part))
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError("--output", "", path.name, f"a file that can be written ({reason})") from None
    return path


def write(found: Analysis, folder: str | Path) -> list[Path]:
    """Write every table as Parquet and CSV; the files written. Raises InputError."""
    where = make_folder(folder)
    files = []
    for name, table in found.tables.items():
        files.append(put(where / f"{name}.parquet", partial(table.to_parquet, index=False)))
        files.append(put(where / f"{name}.csv", partial(plain_cells(table).to_csv, index=False)))
    return files
