"""The store of a sweep: nothing is mixed in it, and what goes wrong leaves it intact."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sweep_runs import Inline, check_whole, contents, design_file, run_into, small_design, workshop_of

from engine import cli
from engine.errors import InputError
from engine.inputs import configs_root
from engine.study.sweep import identity
from engine.study.sweep.design import load_design
from engine.study.sweep.runner import run_sweep
from engine.study.sweep.store import Store
from engine.study.sweep.storefile import StoreTrouble
from engine.world.pack import pack

FRIDAY = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"


# --- nothing is mixed ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("seed = 11", "seed = 12", "seed: 11 in the store, 12 here"),
        ('luck = "common"', 'luck = "independent"', "luck: common in the store, independent here"),
        ("batch = 30", "batch = 20", "batch: 30 in the store, 20 here"),
        ('["home", "corner trap"]', '["home"]', "settings: home, corner trap in the store, home here"),
        ("high = 0.45", "high = 0.46", "point 3: constants.reaction_s: 0.45 in the store, 0.46 here"),
        ("steps = 2", "steps = 3", "points: 4 in the store, 6 here"),
        ("values = [0, 2]", "values = [0, 3]", "point 2: game.traps_seen: 2 in the store, 3 here"),
        ("game.traps_seen", "game.team_fouls", "paths: constants.reaction_s, game.traps_seen in the store"),
    ],
)
def test_another_design_is_refused_by_name(tmp_path: Path, old: str, new: str, named: str) -> None:
    path = tmp_path / "s.db"
    run_into(path, small_design(tmp_path, batch=30), 30)
    before = contents(path)
    changed = load_design(design_file(tmp_path, name="changed.toml", replaced=(old, new)))
    with pytest.raises(StoreTrouble) as caught:
        run_into(path, changed)
    assert named in str(caught.value)
    assert str(caught.value).startswith(f"{path}: ")
    assert "\n" not in str(caught.value)
    assert contents(path) == before


def own_files(folder: Path, height: str, fouls: str) -> str:
    """A scenario of one's own with a team of one's own; what it is called, for a design beside it."""
    team = (configs_root() / "teams" / "juniper_hill.toml").read_text()
    assert "height_m = 1.83" in team
    (folder / "team.toml").write_text(team.replace("height_m = 1.83", f"height_m = {height}", 1))
    text = FRIDAY.read_text().replace('team = "juniper_hill"', 'team = "team.toml"')
    (folder / "own.toml").write_text(text.replace("team_fouls = 2", f"team_fouls = {fouls}"))
    return "own.toml"


def test_changed_files_are_refused_by_the_value_that_changed(tmp_path: Path) -> None:
    path = tmp_path / "s.db"
    run_into(path, small_design(tmp_path, scenario=own_files(tmp_path, "1.83", "2")))
    before = contents(path)
    for height, fouls, named in (
        ("1.84", "2", "height_m: 1.83 in the store, 1.84 here"),
        ("1.83", "3", "game.team_fouls: 2 in the store, 3 here"),
    ):
        design = small_design(tmp_path, scenario=own_files(tmp_path, height, fouls))
        with pytest.raises(StoreTrouble) as caught:
            run_into(path, design)
        assert named in str(caught.value)
        assert str(caught.value).count("in the store") == 1, "the value alone, not what follows from it"
    # a remark is no change, and neither is the title
    file = design_file(tmp_path, scenario=own_files(tmp_path, "1.83", "2"))
    (tmp_path / "own.toml").write_text((tmp_path / "own.toml").read_text() + "\n# a remark\n")
    file.write_text(file.read_text().replace("Reaction time", "Reaction times"))
    assert run_into(path, load_design(file)).batches == 0
    assert contents(path) == before


@pytest.mark.parametrize("name", list(identity.versions_here()))
def test_another_version_is_refused_by_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    path, design = tmp_path / "s.db", small_design(tmp_path)
    run_into(path, design)
    here = identity.versions_here()
    monkeypatch.setattr(identity, "versions_here", lambda: here | {name: "0.0.1"})
    with pytest.raises(StoreTrouble) as caught:
        run_into(path, design, 90)
    assert f"{name}: {here[name]} in the store, 0.0.1 here" in str(caught.value)


def test_arrays_packed_otherwise_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The kernel's stamp says nothing about the code that fills its arrays."""
    path, design = tmp_path / "s.db", small_design(tmp_path)
    run_into(path, design)
    packed = pack(design.opened.base)
    digest = identity.arrays_digest(packed)
    assert digest == identity.arrays_digest(pack(design.opened.base))
    packed.settings[0].world["calls"]["probability"][0, 0] = 0.123
    assert identity.arrays_digest(packed) != digest
    monkeypatch.setattr(identity, "arrays_digest", lambda packed: "another")
    with pytest.raises(StoreTrouble, match="arrays of the scenario: .* another here"):
        run_into(path, design)


# --- what can go wrong with the file ------------------------------------------------------------------------


def test_the_second_writer_is_told_in_one_line_and_leaves(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, path = design_file(tmp_path), tmp_path / "s.db"
    with Store.write(path, load_design(file)):
        other = tmp_path / "other.db"
        other.symlink_to(path)
        for name in (path, other):
            assert cli.run(["sweep", str(file), "--store", str(name)]) == cli.BAD_INPUT
            out, err = capsys.readouterr()
            assert out == ""
            assert err.count("\n") == 1
            assert f"another run is writing this store (process {os.getpid()} on " in err
        assert cli.run(["sweep", "--status", str(path)]) == 0
        assert "a run is writing it now" in capsys.readouterr().out
    assert cli.run(["sweep", str(file), "--store", str(path), "--quiet"]) == 0
    assert cli.run(["sweep", "--status", str(path)]) == 0
    assert "4 of 4 points settled, 0 failed; nobody is writing it" in capsys.readouterr().out


def test_a_full_disk_is_told_and_leaves_the_store_whole(tmp_path: Path) -> None:
    design, path = small_design(tmp_path, steps=4), tmp_path / "s.db"
    with pytest.raises(StoreTrouble) as caught, Store.write(path, design) as store:
        pages = store.connection.execute("PRAGMA page_count").fetchone()[0]
        store.connection.execute(f"PRAGMA max_page_count={pages + 12}")
        run_sweep(store, Inline(workshop_of(design)))
    assert str(caught.value).startswith(f"{path}: no room is left on the disk (")
    assert 0 < len(contents(path)) < 16
    check_whole(path)
    run_into(path, design)
    run_into(tmp_path / "whole.db", design)
    assert contents(path) == contents(tmp_path / "whole.db")
    check_whole(path)


def as_nobody(work: Callable[[], str]) -> str:
    """What ``work`` returns in a child process that has given up the right to write everything."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        try:
            if os.getuid() == 0:
                os.setgid(65534)
                os.setuid(65534)
            os.write(writing, work().encode())
        finally:
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        found = pipe.read()
    os.waitpid(child, 0)
    return found


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user may enter, which those of pytest are not."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


@pytest.mark.parametrize("what", ["file", "folder"])
def test_a_read_only_store_is_told_and_can_be_read(tmp_path: Path, open_folder: Path, what: str) -> None:
    design, path = small_design(tmp_path), open_folder / "s.db"
    run_into(path, design)
    before = contents(path)
    for name in ("s.db-wal", "s.db-shm"):
        (open_folder / name).unlink(missing_ok=True)
    path.chmod(0o444)
    (open_folder / "s.db.lock").chmod(0o666)
    open_folder.chmod(0o777 if what == "file" else 0o555)

    def write() -> str:
        try:
            Store.write(path, design)
        except InputError as error:
            return str(error)
        return "written"

    def read() -> str:
        with Store.read(path) as store:
            return f"{store.n_batches()} batches, {store.check()}"

    told = as_nobody(write)
    assert told.startswith(f"{path}: ")
    assert "the store is read-only" in told or "the store cannot be opened or written here" in told
    assert as_nobody(read) == "8 batches, []"
    assert contents(path) == before
    check_whole(path)


def test_other_files_are_not_taken_for_a_store(tmp_path: Path) -> None:
    design = small_design(tmp_path)
    text, foreign = tmp_path / "text.db", tmp_path / "foreign.db"
    text.write_text("not a database, but long enough to be looked at as one" * 10)
    with sqlite3.connect(foreign) as connection:
        connection.execute("CREATE TABLE mine(x)")
    connection.close()
    for path in (text, foreign):
        before = path.read_bytes()
        for opening in (lambda path: Store.write(path, design), Store.read):
            with pytest.raises(StoreTrouble, match="this file is not a store of a sweep"):
                opening(path)
        assert path.read_bytes() == before
    with pytest.raises(InputError, match="a file that exists"):
        Store.read(tmp_path / "missing.db")
    for path in (tmp_path, tmp_path / "missing" / "s.db"):
        with pytest.raises(InputError, match="--store"):
            Store.write(path, design)


def test_a_store_of_another_layout_is_refused(tmp_path: Path) -> None:
    design, path = small_design(tmp_path), tmp_path / "s.db"
    run_into(path, design)
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version=99")
    connection.close()
    with pytest.raises(StoreTrouble, match="layout 99"):
        Store.read(path)
