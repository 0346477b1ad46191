"""Damaged stores: every flipped bit is found or does no harm; what is lost is played again, to the bit."""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sweep_runs import Inline, StopAfter, contents, design_file, run_into, small_design, workshop_of

from engine import cli
from engine.errors import InputError
from engine.study.sweep.design import load_design
from engine.study.sweep.gather import gather
from engine.study.sweep.runner import run_sweep
from engine.study.sweep.seal import seal
from engine.study.sweep.store import Store
from engine.study.sweep.storefile import StoreTrouble
from engine.study.sweep.sweep import sweep

DAMAGED = 60


def changed(path: Path, statement: str) -> None:
    """A store in which a statement has changed something past the engine."""
    connection = sqlite3.connect(path)
    with connection:
        connection.execute(statement)
    connection.close()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A design file and its finished store."""
    folder = tmp_path_factory.mktemp("whole")
    file = design_file(folder)
    run_into(folder / "s.db", load_design(file))
    return file, folder / "s.db"


def other(column: str, row: str = "point = 2 AND first = 30") -> str:
    return f"UPDATE batches SET {column} = (SELECT {column} FROM batches WHERE point = 0) WHERE {row}"


@pytest.mark.parametrize(
    ("statement", "named"),
    [
        (other("tally"), "point 3, possessions from 30: the tally kept is damaged"),
        (other("sha256"), "point 3, possessions from 30: the tally kept is damaged"),
        ("UPDATE batches SET seconds = 1.5 WHERE point = 1", "point 2, possessions from 0: the tally kept"),
        ("UPDATE batches SET point = 7 WHERE point = 1 AND first = 0", "point 8, possessions from 0"),
        ("UPDATE batches SET first = 'x' WHERE point = 1 AND first = 0", "point 2, possessions from x: the"),
        ("UPDATE inputs SET resolved = '{}' WHERE point = 1", "point 2: its values are not those"),
        ("INSERT INTO failures VALUES (2, 'odd', 'now', '')", "a line of failures is not what was written"),
        ("UPDATE events SET what = 'nothing' WHERE rowid = 1", "a line of events is not what was written"),
    ],
)
def test_a_damaged_row_is_named_refused_to_readers_and_mended(
    tmp_path: Path, whole: tuple[Path, Path], capsys: pytest.CaptureFixture[str], statement: str, named: str
) -> None:
    file, before = whole
    path = tmp_path / "s.db"
    shutil.copy(before, path)
    changed(path, statement)
    with pytest.raises(StoreTrouble) as caught:
        gather(path)
    assert str(caught.value).startswith(f"{path}: the store is damaged: {named}")
    assert cli.run(["sweep", "--check", str(path)]) == 1
    out, err = capsys.readouterr()
    assert named in out and err == ""
    assert cli.run(["sweep", str(file), "--store", str(path), "--threads", "1"]) == 0
    assert f"trapledger: damaged, played again: {named}" in capsys.readouterr().err
    assert contents(path) == contents(before)
    assert cli.run(["sweep", "--check", str(path)]) == 0
    assert capsys.readouterr().out == f"{path}: whole\n"
    with Store.read(path) as store:
        assert any(what.startswith(f"damaged, taken off: {named}") for _, what in store.events())


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE meta SET value = '12' WHERE key = 'seed'",
        "DELETE FROM meta WHERE key = 'targets'",
        "DELETE FROM inputs WHERE point = 3",
        "INSERT INTO rounds VALUES (1, 0, 0, 30)",
    ],
)
def test_what_cannot_be_mended_row_by_row_is_made_anew(
    tmp_path: Path, whole: tuple[Path, Path], capsys: pytest.CaptureFixture[str], statement: str
) -> None:
    file, before = whole
    path = tmp_path / "s.db"
    shutil.copy(before, path)
    changed(path, statement)
    command = ["sweep", str(file), "--store", str(path), "--threads", "1"]
    assert cli.run(command) == cli.BAD_INPUT
    assert "sweep DESIGN --store FILE --repair makes it anew from what is whole" in capsys.readouterr().err
    assert cli.run([*command, "--repair"]) == 0
    assert "8 of 8 batches were taken over, not played" in capsys.readouterr().err
    assert contents(path) == contents(before)
    assert (tmp_path / "s.db.damaged").is_file()
    assert cli.run([*command, "--repair", "--quiet"]) == 0, "a whole store stays as it is"
    assert not (tmp_path / "s.db.damaged-2").exists()


def damaged(data: bytes, rng: random.Random) -> bytes:
    """A copy with one to fifty flipped bits, or cut short."""
    if rng.random() < 0.2:
        return data[: rng.randrange(len(data))]
    found = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 5, 50))):
        found[rng.randrange(len(found))] ^= 1 << rng.randrange(8)
    return bytes(found)


def test_no_damage_is_silent(tmp_path: Path, whole: tuple[Path, Path]) -> None:
    """benchmarks/damage.py does the same a thousand times."""
    file, before = whole
    design, data, rng = load_design(file), before.read_bytes(), random.Random(13)
    rows, table = contents(before), gather(before)
    found = harmless = 0
    for number in range(DAMAGED):
        path = tmp_path / f"{number}.db"
        path.write_bytes(damaged(data, rng))
        try:
            again = gather(path)
            harmless += 1
            assert again.equals(table), "what is read without a word is what was written"
        except StoreTrouble as trouble:
            found += 1
            assert str(trouble).startswith(f"{path}: ") and "\n" not in str(trouble)
        if number % 6 == 0:
            try:
                sweep(design, path, repair=True, threads=1)
            except StoreTrouble:  # nothing in it shows any more that it was one
                path.unlink(missing_ok=True)
                sweep(design, path, threads=1)
            assert contents(path) == rows
    assert found + harmless == DAMAGED and found > DAMAGED / 2


def test_a_store_that_was_never_one_is_left_alone(tmp_path: Path) -> None:
    design, path = small_design(tmp_path), tmp_path / "text.db"
    path.write_text("somebody's notes, long enough to be looked at as a database " * 20)
    with pytest.raises(StoreTrouble, match="not a store of a sweep"):
        sweep(design, path, repair=True)
    assert [one.name for one in tmp_path.glob("text.db*") if one.suffix != ".lock"] == ["text.db"]


def test_a_copy_of_a_live_store_without_its_log_gets_the_right_words(tmp_path: Path) -> None:
    design, path, copy = small_design(tmp_path), tmp_path / "s.db", tmp_path / "copy.db"
    with Store.write(path, design) as store:
        run_sweep(store, Inline(workshop_of(design)))
        shutil.copy(path, copy)
        assert Path(f"{path}-wal").stat().st_size > 0
    with pytest.raises(StoreTrouble, match="without the file of the same name with -wal at its end"):
        Store.read(copy)


# --- other stores -------------------------------------------------------------------------------------------


def test_stores_of_the_tasks_of_a_design_are_merged_to_the_bit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], whole: tuple[Path, Path]
) -> None:
    file, before = whole
    takes = []
    for k in (1, 2, 3):
        part = tmp_path / f"part{k}.db"
        assert cli.run(["sweep", str(file), "--store", str(part), "--part", f"{k}/3", "--threads", "1"]) == 0
        n = (2, 1, 1)[k - 1]
        assert f"{n} of {n} points are settled" in capsys.readouterr().err
        takes += ["--take", str(part)]
    path = tmp_path / "all.db"
    assert cli.run(["sweep", str(file), "--store", str(path), *takes, "--threads", "1"]) == 0
    assert "8 of 8 batches were taken over, not played" in capsys.readouterr().err
    assert contents(path) == contents(before)
    for wrong in ("0/3", "4/3", "1/5", "x", "1/0"):
        assert cli.run(["sweep", str(file), "--store", str(tmp_path / "no.db"), "--part", wrong]) == 2
        assert capsys.readouterr().err.count("\n") == 1


def test_points_are_taken_from_a_store_of_another_design_that_has_them(
    tmp_path: Path, whole: tuple[Path, Path]
) -> None:
    """The four points of the grid are among the six of a wider one, in other places."""
    wider = load_design(design_file(tmp_path, name="wider.toml", replaced=("[0, 2]", "[0, 1, 2]")))
    found = sweep(wider, tmp_path / "wider.db", take=[whole[1]], threads=1)
    assert (found.taken, found.end.batches, found.end.settled) == (8, 12, 6)
    run_into(tmp_path / "played.db", wider)
    assert contents(tmp_path / "wider.db") == contents(tmp_path / "played.db")
    seed = load_design(design_file(tmp_path, name="seed.toml", replaced=("seed = 11", "seed = 12")))
    with pytest.raises(InputError, match="--take.*seed: 11 in the store, 12 here"):
        sweep(seed, tmp_path / "seed.db", take=[whole[1]], threads=1)


TABLE = """\
title = "A table of points"
scenario = "friday_night"
possessions = 60
batch = 30
seed = 11
luck = "{luck}"
settings = ["home", "corner trap"]
[design]
method = "table"
file = "points.csv"
"""


@pytest.mark.parametrize("luck", ["common", "independent"])
def test_points_are_added_to_a_store(tmp_path: Path, luck: str) -> None:
    def design(rows: str) -> Any:
        (tmp_path / "points.csv").write_text(f"constants.reaction_s\n{rows}")
        (tmp_path / "table.toml").write_text(TABLE.format(luck=luck))
        return load_design(tmp_path / "table.toml")

    run_into(tmp_path / "s.db", design("0.25\n0.3\n"))
    assert run_into(tmp_path / "s.db", design("0.25\n0.3\n0.45\n")).batches == 2
    run_into(tmp_path / "whole.db", design("0.25\n0.3\n0.45\n"))
    assert contents(tmp_path / "s.db") == contents(tmp_path / "whole.db")
    with Store.read(tmp_path / "s.db") as store:
        assert store.n_points == 3 and "points added: 2 before, 3 now" in [what for _, what in store.events()]
    for rows in ("0.25\n", "0.3\n0.25\n0.45\n0.2\n"):
        with pytest.raises(StoreTrouble, match="nothing is mixed: point"):
            run_into(tmp_path / "s.db", design(rows))


def test_a_repair_that_is_stopped_goes_on_from_the_file_put_aside(
    tmp_path: Path, whole: tuple[Path, Path]
) -> None:
    file, before = whole
    path = tmp_path / "s.db"
    shutil.copy(before, path)
    changed(path, "DELETE FROM meta WHERE key = 'targets'")
    changed(path, other("tally"))
    design = load_design(file)
    with pytest.raises(KeyboardInterrupt):
        sweep(design, path, repair=True, threads=1, progress=StopAfter(0))
    assert (tmp_path / "s.db.damaged").is_file()
    found = sweep(design, path, repair=True, threads=1)
    assert (found.taken, found.end.settled) == (7, 4)
    assert contents(path) == contents(before)


def test_a_seal_knows_types_and_places() -> None:
    seals: list[Callable[[], str]] = [
        lambda: seal("1", "2"), lambda: seal("12", ""), lambda: seal(1, 2), lambda: seal(1.0, 2),
        lambda: seal(b"1", 2), lambda: seal(None, 2),
    ]  # fmt: skip
    assert len({one() for one in seals}) == len(seals)
