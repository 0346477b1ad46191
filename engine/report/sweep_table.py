"""Writes the table of a sweep's store to a Parquet or CSV file, piece by piece, so that memory stays flat."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterator

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from engine.errors import InputError
from engine.report.contract import check_target, ending
from engine.study.sweep.gather import pieces, plain_cells
from engine.study.sweep.stored import Stored
from engine.whole_file import whole_file

SUFFIXES = (".parquet", ".csv")
_OPTION = "--output"


def check_output(target: str) -> None:
    """Find out before the work whether ``target`` can be written. Raises InputError."""
    if ending(target) not in SUFFIXES:
        raise InputError(_OPTION, "", target, f"a file that ends in {' or '.join(SUFFIXES)}")
    check_target(target, _OPTION)


def write(store: Stored, target: str, told: Callable[[int], None] | None = None) -> int:
    """Write the table of a store to a .parquet or .csv file, all of it or nothing; how many rows it has.

    ``told(rows)`` is called after each piece with the rows written so far. Raises InputError.
    """
    check_output(target)
    path = os.path.realpath(target)
    to = _to_parquet if ending(target) == ".parquet" else _to_csv
    try:
        with whole_file(path) as part:
            rows = to(pieces(store), part, told or (lambda rows: None))
    except OSError as error:
        allowed = f"a file that can be written ({error.strerror or os.strerror(error.errno or errno.EIO)})"
        raise InputError(_OPTION, "", target, allowed) from None
    return rows


def _to_parquet(tables: Iterator[pd.DataFrame], path: str, told: Callable[[int], None]) -> int:
    writer, rows = None, 0
    try:
        for table in tables:
            piece = pa.Table.from_pandas(table, preserve_index=False)
            if writer is None:
                writer = pq.ParquetWriter(path, piece.schema)
            writer.write_table(piece)
            rows += len(table)
            told(rows)
    finally:
        if writer is not None:
            writer.close()
    return rows


def _to_csv(tables: Iterator[pd.DataFrame], path: str, told: Callable[[int], None]) -> int:
    rows = 0
    with open(path, "w", encoding="utf-8", newline="") as out:
        for table in tables:
            plain_cells(table).to_csv(out, index=False, header=rows == 0, lineterminator="\n")
            rows += len(table)
            told(rows)
    return rows
