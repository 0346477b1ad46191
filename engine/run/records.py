"""Writes the records of single possessions to a Parquet file, block by block, while they are played.

Blocks come in the order of their numbers and are cut into row groups of one size, so the file is the same for
any number of threads; nothing but the blocks in flight and one row group is kept in memory. The file grows
beside its place, under a name of its own, and is moved there when it is whole (engine.whole_file).
"""

from __future__ import annotations

import errno
import json
import os
import stat
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Generic, Self

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from engine.errors import InputError
from engine.run.blocks import BLOCK, Records, T
from engine.state.record import COLUMN, COLUMNS, Column
from engine.whole_file import beside, settle

#: Rows of a row group: 64 blocks, about 20 MB in memory.
ROW_GROUP = 64 * BLOCK
#: Name under which the head of the result (JSON: versions, seed, hash of the inputs) stands in the file.
HEAD_KEY = "trapledger"
OPTION = "--records"
#: The columns of a file: three that name the possession, and its record's.
FILE_COLUMNS = (
    Column("setting", "", "setting played; home is the base defence without calls", ()),
    Column("possession", "", "number of the possession, from 0; equal numbers share their luck"),
    Column("seed", "", "seed of the random numbers"),
    *COLUMNS,
)
#: Columns of words that are empty (null) in a possession without a call, such an escape or a turnover.
MAY_BE_EMPTY = tuple(column.name for column in COLUMNS if column.from_one or column.of_call)


def type_of(column: Column) -> str:
    """Type of a column of the file, as Parquet readers show it."""
    if column.words is not None:
        return "dictionary<string>"
    return {"possession": "int64", "seed": "uint64"}.get(column.name, "int32")


def description() -> str:
    """What a file of records holds, as a page (Markdown); configs/model/records.md holds it."""
    words = ((column.name, column.words) for column in COLUMNS if column.words)
    lines = [
        "# Records of single possessions",
        "",
        "`trapledger play SCENARIO --records FILE.parquet` writes one row per possession, in the order of",
        "their numbers. Type, unit and meaning also stand in the file itself, as metadata of each column.",
        "How each count is made: [record](submodels_court_and_motion.md), section 8.",
        "",
        "Words of the columns of words:",
        "",
        *(f"- `{name}`: {', '.join(known)}" for name, known in words),
        "",
        "| column | type | unit | meaning |",
        "|---|---|---|---|",
        *(f"| {c.name} | {type_of(c)} | {c.unit} | {c.meaning} |" for c in FILE_COLUMNS),
    ]
    return "\n".join(lines) + "\n"


@dataclass(frozen=True)
class Recorded(Generic[T]):
    """The tally of a block and its rows; a sum keeps the tally only."""

    tally: T
    rows: pa.RecordBatch | None = None

    def __add__(self, other: Recorded[T]) -> Recorded[T]:
        return Recorded(self.tally + other.tally)


class RecordFile:
    """A Parquet file of records that is being written; use it in a ``with`` statement.

    Args:
        path: the file, replaced when the ``with`` statement ends without an error and left alone otherwise.
        setting, seed: as they shall stand in the rows.
        calls: names of the setting's calls, in order.
        head: what shall stand in the file about its origin (JSON).

    Raises:
        InputError: where ``path`` cannot be written, then and when writing fails.
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        setting: str,
        seed: int,
        calls: Sequence[str],
        head: Mapping[str, Any],
    ) -> None:
        self.shown = os.fspath(path)
        self.path = _checked(self.shown)
        self.part = ""  # made when there is something to write
        self.seed = seed
        self._words = {
            column.name: pa.array(column.words or _unlike(calls), pa.string())
            for column in COLUMNS
            if column.words is not None
        }
        self._setting = pa.array([setting], pa.string())
        self.schema = _schema(head)
        self._writer: pq.ParquetWriter | None = None
        self._waiting: list[pa.RecordBatch] = []

    def rows(self, records: Records, first: int) -> pa.RecordBatch:
        """Records int32[count, N_RECORD] of the possessions from number ``first`` as an Arrow record batch, a
        copy; any thread may call it."""
        n = len(records)
        found = [
            pa.DictionaryArray.from_arrays(pa.array(np.zeros(n, np.int8)), self._setting),
            pa.array(np.arange(first, first + n, dtype=np.int64)),
            pa.array(np.full(n, self.seed, dtype=np.uint64)),
        ]
        no_call = records[:, COLUMN["first_call"]] == 0
        for column, values in zip(COLUMNS, np.ascontiguousarray(records.T), strict=True):
            if column.words is not None:
                empty = values == 0 if column.from_one else no_call if column.of_call else None
                codes = pa.array((values - column.from_one).astype(np.int8), mask=empty)
                found.append(pa.DictionaryArray.from_arrays(codes, self._words[column.name]))
            else:
                found.append(pa.array(values.copy()))
        return pa.RecordBatch.from_arrays(found, schema=self.schema)

    def write(self, rows: pa.RecordBatch) -> None:
        """Take the next rows, in order; whole row groups go to the disk."""
        self._waiting.append(rows)
        if sum(len(one) for one in self._waiting) >= ROW_GROUP:
            self._flush(whole=True)

    def _flush(self, whole: bool) -> None:
        """Write what waits: row groups of ROW_GROUP rows, and with ``whole`` False what is left as well."""
        try:
            if self._writer is None:
                self.part = beside(self.path)
                self._writer = pq.ParquetWriter(self.part, self.schema, compression="zstd")
            table = pa.Table.from_batches(self._waiting, schema=self.schema)
            end = len(table) - len(table) % ROW_GROUP if whole else len(table)
            self._waiting = table.slice(end).to_batches()
            if end:
                self._writer.write_table(table.slice(0, end), row_group_size=ROW_GROUP)
        except OSError as error:
            raise _refused(self.shown, error) from None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is None:
                self._finish()
        finally:
            self._waiting = []
            if self._writer is not None:
                with suppress(OSError):
                    self._writer.close()
            with suppress(FileNotFoundError):
                os.unlink(self.part)

    def _finish(self) -> None:
        """Write the rest, see it to the disk, and move the file to its place."""
        self._flush(whole=False)
        assert self._writer is not None  # the flush has made it
        try:
            self._writer.close()
            settle(self.part, self.path)
        except OSError as error:
            raise _refused(self.shown, error) from None


def _refused(shown: str, error: OSError) -> InputError:
    reason = os.strerror(error.errno) if error.errno else str(error)
    return InputError(OPTION, "", shown, f"a file that can be written ({reason})")


def _checked(shown: str) -> str:
    """The file's full path; finds out whether it can be written before the work starts, leaving nothing."""
    if shown == "-":
        raise InputError(OPTION, "", shown, "a file; records are not text for standard output")
    try:
        path = os.path.realpath(shown)
    except ValueError as error:
        raise InputError(OPTION, "", shown, f"a file that can be written ({error})") from None
    folder = os.path.dirname(path)
    if os.path.isdir(path) or shown.endswith(os.sep):
        raise _refused(shown, OSError(errno.EISDIR, ""))
    if not os.path.isdir(folder):
        raise _refused(shown, OSError(errno.ENOENT, ""))
    if os.path.exists(path) and not stat.S_ISREG(os.stat(path).st_mode):
        raise InputError(OPTION, "", shown, "a plain file")
    if not os.access(folder, os.W_OK | os.X_OK) or (os.path.exists(path) and not os.access(path, os.W_OK)):
        raise _refused(shown, OSError(errno.EACCES, ""))
    return path


def _unlike(names: Sequence[str]) -> list[str]:
    """The names, a later one of the same name with its number."""
    found: list[str] = []
    for name in names:
        again = sum(other == name or other.startswith(f"{name} (") for other in found)
        found.append(f"{name} ({again + 1})" if again else name)
    return found


def _schema(head: Mapping[str, Any]) -> pa.Schema:
    plain = {"int32": pa.int32(), "int64": pa.int64(), "uint64": pa.uint64()}
    words = pa.dictionary(pa.int8(), pa.string())
    fields = [
        pa.field(
            column.name,
            plain.get(type_of(column), words),
            nullable=column.name in MAY_BE_EMPTY,
            metadata={"unit": column.unit, "meaning": column.meaning},
        )
        for column in FILE_COLUMNS
    ]
    return pa.schema(fields, metadata={HEAD_KEY: json.dumps(head)})
