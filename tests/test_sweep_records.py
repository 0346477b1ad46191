"""Records of single possessions in a Parquet file: what was played, whole or not there, memory flat."""

from __future__ import annotations

import json
import os
import weakref
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import engine
from engine import cli
from engine.errors import InputError
from engine.kernel.batch import play_block
from engine.run import blocks as run
from engine.run import records as module
from engine.run.records import FILE_COLUMNS, HEAD_KEY, MAY_BE_EMPTY, RecordFile, description, type_of
from engine.state.record import COLUMN, N_RECORD, RECORD
from engine.state.words import AFTER, ENDS, ESCAPES, LOSSES, OUTCOMES
from engine.world.pack import pack

CONFIGS = Path(__file__).parents[1] / "configs"
SCENARIO = CONFIGS / "scenarios" / "friday_night.toml"
TOGETHER = "corner and short corner together"
N, SEED = 700, 3
CODES: dict[str, tuple[str | None, ...]] = {
    "end": ENDS,
    "outcome": OUTCOMES,
    "after": AFTER,
    "escape": (None, *ESCAPES),
    "lost_by": (None, *LOSSES),
}


@pytest.fixture(scope="module")
def scenario() -> Any:
    return engine.load(SCENARIO)


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Blocks of 64 possessions and row groups of 4 blocks, so that few possessions make many of them."""
    monkeypatch.setattr(run, "BLOCK", 64)
    monkeypatch.setattr(module, "ROW_GROUP", 256)


def written(scenario: Any, path: Path, threads: int = 2, n: int = N, setting: str = TOGETHER) -> Any:
    return engine.play(scenario, n, SEED, threads, setting, records=path)


def test_the_file_holds_what_the_kernel_wrote(small: None, scenario: Any, tmp_path: Path) -> None:
    path = tmp_path / "records.parquet"
    found = written(scenario, path)
    packed = {setting.name: setting for setting in pack(scenario).settings}[TOGETHER]
    records = np.zeros((N, N_RECORD), np.int32)
    play_block(packed.world, SEED, 0, records)
    called = records[:, COLUMN["first_call"]] > 0
    assert 20 < called.sum() < N
    names = [call.name for call in found.calls_made]
    table = pq.read_table(path)
    assert table.column_names == [column.name for column in FILE_COLUMNS]
    frame = pd.read_parquet(path)
    assert list(frame.columns) == table.column_names and len(frame) == N
    assert (frame["setting"] == TOGETHER).all() and (frame["seed"] == SEED).all()
    assert frame["possession"].tolist() == list(range(N))
    for name in RECORD:
        column, wanted = table[name].to_pylist(), records[:, COLUMN[name]].tolist()
        if name == "first_call":
            assert column == [names[code - 1] if code else None for code in wanted]
        elif name in CODES:
            words = [CODES[name][code] for code in wanted]
            if name in ("outcome", "after"):
                words = [word if c else None for word, c in zip(words, called, strict=True)]
            assert column == words
        else:
            assert column == wanted, name
            assert frame[name].tolist() == wanted
    # The tally of the same run is the sum of the rows.
    assert frame["points"].sum() == found.tally.box.total("points")
    assert frame.groupby("first_call", observed=True)["outcome"].count().sum() == called.sum()


def test_a_thread_more_changes_no_byte(small: None, scenario: Any, tmp_path: Path) -> None:
    one, two = (tmp_path / f"{threads}.parquet" for threads in (1, 2))
    written(scenario, one, 1)
    written(scenario, two, 2)
    assert pq.read_table(one).equals(pq.read_table(two))
    assert one.read_bytes() == two.read_bytes()


def test_row_groups_have_one_size_and_the_possessions_their_order(
    small: None, scenario: Any, tmp_path: Path
) -> None:
    path = tmp_path / "records.parquet"
    written(scenario, path)
    file = pq.ParquetFile(path)
    assert [file.metadata.row_group(i).num_rows for i in range(file.num_row_groups)] == [256, 256, 188]
    assert file.read_row_group(1)["possession"].to_pylist() == list(range(256, 512))


def test_types_units_and_meanings_stand_in_the_file(small: None, scenario: Any, tmp_path: Path) -> None:
    path = tmp_path / "records.parquet"
    found = written(scenario, path, n=100)
    schema = pq.read_schema(path)
    for column, field in zip(FILE_COLUMNS, schema, strict=True):
        kind = "dictionary<string>" if pa.types.is_dictionary(field.type) else str(field.type)
        assert (field.name, kind) == (column.name, type_of(column))
        assert field.metadata[b"unit"].decode() == column.unit
        assert field.metadata[b"meaning"].decode() == column.meaning
        assert len(column.meaning.split()) >= 2, column
    head = json.loads(schema.metadata[HEAD_KEY.encode()])
    for key in ("config_hash", "seed", "possessions", "setting", "versions"):
        assert head[key] == found.to_dict()[key]


def test_every_column_is_described_once_and_the_page_is_current() -> None:
    names = [column.name for column in FILE_COLUMNS]
    assert names[3:] == list(RECORD) and len(set(names)) == len(names)
    for column in FILE_COLUMNS:
        assert column.name.endswith("_mm") == (column.unit == "mm")
        assert column.name.endswith("_ms") == (column.unit == "ms")
    assert (CONFIGS / "model" / "records.md").read_text(encoding="utf-8") == description()


def test_home_has_no_call(small: None, scenario: Any, tmp_path: Path) -> None:
    path = tmp_path / "records.parquet"
    written(scenario, path, setting="home")
    frame = pd.read_parquet(path)
    assert frame[[name for name in MAY_BE_EMPTY if name != "lost_by"]].isna().all(axis=None)
    assert (frame["lost_by"].notna() == (frame["turnovers"] > 0)).all() and frame["lost_by"].notna().any()
    assert frame["end"].notna().all() and (frame["shadow"] > 0).any()


def test_calls_of_one_name_are_told_apart(tmp_path: Path) -> None:
    file = RecordFile(tmp_path / "r.parquet", "s", 1, ["corner", "wing", "corner"], {})
    records = np.zeros((3, N_RECORD), np.int32)
    records[:, COLUMN["first_call"]] = 1, 2, 3
    assert file.rows(records, 0).column("first_call").to_pylist() == ["corner", "wing", "corner (2)"]


# --- whole or not there -------------------------------------------------------------------------------------


def stop_after(blocks: int) -> Callable[[int, int], None]:
    def progress(done: int, total: int) -> None:
        if done >= blocks * run.BLOCK:
            raise KeyboardInterrupt

    return progress


@pytest.mark.parametrize("there", [False, True])
def test_a_stopped_run_leaves_no_half_file(small: None, scenario: Any, tmp_path: Path, there: bool) -> None:
    path = tmp_path / "records.parquet"
    if there:
        path.write_text("an older file")
    with pytest.raises(KeyboardInterrupt):
        engine.play(scenario, N, SEED, 2, TOGETHER, stop_after(8), records=path)
    assert os.listdir(tmp_path) == (["records.parquet"] if there else [])
    if there:
        assert path.read_text() == "an older file"


def test_the_file_appears_only_when_it_is_whole(small: None, scenario: Any, tmp_path: Path) -> None:
    path = tmp_path / "records.parquet"
    seen: list[list[str]] = []
    engine.play(
        scenario, N, SEED, 2, TOGETHER, lambda done, total: seen.append(os.listdir(tmp_path)), records=path
    )
    parts = {name for names in seen for name in names}
    assert len(parts) == 1 and "records.parquet" not in parts and parts.pop().endswith(".part")
    assert os.listdir(tmp_path) == ["records.parquet"]


def test_a_full_disk_is_one_line(
    small: None, scenario: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: Any, *args: Any, **how: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pq.ParquetWriter, "write_table", full)
    with pytest.raises(InputError, match="No space left") as caught:
        written(scenario, tmp_path / "records.parquet")
    assert "\n" not in str(caught.value)
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("where", ["missing/records.parquet", ".", "-", "records\0.parquet"])
def test_a_file_that_cannot_be_written_is_refused_before_the_work(
    scenario: Any, tmp_path: Path, where: str
) -> None:
    path = where if where == "-" else os.path.join(tmp_path, where)
    with pytest.raises(InputError, match="--records"):
        engine.play(scenario, 10**9, SEED, 1, records=path)  # it would take a day
    assert os.listdir(tmp_path) == []


def test_the_command_writes_the_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "records.parquet"
    given = ["play", str(SCENARIO), "--setting", TOGETHER, "-n", "50", "--quiet"]
    assert cli.run([*given, "--records", str(path)]) == 0
    with_file = capsys.readouterr().out
    assert len(pd.read_parquet(path)) == 50
    assert cli.run(given) == 0
    assert capsys.readouterr().out == with_file
    assert cli.run([*given, "--records", str(tmp_path)]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1 and "--records" in error


# --- memory -------------------------------------------------------------------------------------------------


@pytest.fixture
def alive(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """How many blocks of rows were alive, counted each time one is made."""
    counts: list[int] = []
    living: list[weakref.ref[Any]] = []
    make = RecordFile.rows

    def counted(self: RecordFile, records: Any, first: int) -> Any:
        rows = make(self, records, first)
        living.append(weakref.ref(rows))
        counts.append(sum(one() is not None for one in living))
        return rows

    monkeypatch.setattr(RecordFile, "rows", counted)
    yield counts


def test_no_more_blocks_are_alive_than_the_run_and_a_row_group_hold(
    small: None, scenario: Any, tmp_path: Path, alive: list[int]
) -> None:
    threads, n_blocks = 2, 40
    pool_before = pa.total_allocated_bytes()
    written(scenario, tmp_path / "records.parquet", threads, n_blocks * 64)
    in_flight, in_group = 2 * threads + 2, module.ROW_GROUP // run.BLOCK
    assert len(alive) == n_blocks
    # one more: the part that was added first; another: the one just taken from the queue
    assert max(alive) <= in_flight + in_group + 2 < n_blocks / 2
    assert pa.total_allocated_bytes() - pool_before < 1_000_000
