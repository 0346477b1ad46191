"""A sweep that is killed at any moment and taken up again ends as if nothing had happened, to the bit.

Eight times the command is killed, twice in a process of its own, else in a copy of this one, which has the
engine in memory already; the rest are faults put into such a copy: it kills itself between two statements, or
in the middle of one, or the end of the store's log is lost as when the power fails before the disk has it.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sweep_runs import Inline, check_whole, contents, design_file, run_into, small_design, workshop_of

from engine import cli
from engine.study.sweep.runner import run_sweep
from engine.study.sweep.store import Store

ROOT = Path(__file__).parents[1]
KILLS = 8
STARTED = (0, 5)  # of these, those of a process of its own
FAULTS = 14  # of each of three kinds
MAKING = 4  # of those in the database, while the store is made
COMMAND = [sys.executable, "-m", "engine.cli", "sweep"]


def kept(path: Path) -> int:
    """Batches in a store that a run may be writing or making."""
    try:
        return len(contents(path))
    except sqlite3.OperationalError:
        return 0


def copied(arguments: list[str]) -> int:
    """The command in a copy of this process; its number."""
    child = os.fork()
    if not child:
        try:
            os._exit(cli.run(["sweep", *arguments]))
        finally:
            os._exit(99)
    return child


def ended(process: int) -> bool:
    """Whether a child has ended by itself; its status is left for who waits for it."""
    return os.waitid(os.P_PID, process, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None


def test_a_command_killed_eight_times_ends_the_same(tmp_path: Path) -> None:
    """kill -9 at random moments after it has kept something new, each time the same command on one store."""
    file = design_file(tmp_path, possessions=1600, batch=400, steps=10)
    path = tmp_path / "killed.db"
    arguments = [str(file), "--store", str(path), "--threads", "2", "--quiet"]
    moments = random.Random(5)
    for i in range(KILLS):
        before = kept(path)
        if i in STARTED:
            running = subprocess.Popen([*COMMAND, *arguments], cwd=ROOT).pid
        else:
            running = copied(arguments)
        limit = time.monotonic() + 120
        while kept(path) == before and not ended(running) and time.monotonic() < limit:
            time.sleep(0.01)
        time.sleep(moments.uniform(0.0, 0.1))
        os.kill(running, signal.SIGKILL)
        assert os.waitstatus_to_exitcode(os.waitpid(running, 0)[1]) == -signal.SIGKILL
        check_whole(path)
    assert KILLS <= len(contents(path)) < 80
    assert subprocess.run([*COMMAND, *arguments], cwd=ROOT, timeout=300).returncode == 0
    check_whole(path)
    whole = tmp_path / "whole.db"
    run_into(whole, small_design(tmp_path, possessions=1600, batch=400, steps=10), threads=1)
    assert contents(path) == contents(whole)
    with Store.read(path) as store:
        assert store.failures() == {}


# --- faults in a copy of this process -----------------------------------------------------------------------

Watch = Callable[[sqlite3.Connection, Callable[[], None]], None]


def at_statements(connection: sqlite3.Connection, tick: Callable[[], None]) -> None:
    """Before each SQL statement."""
    connection.set_trace_callback(lambda statement: tick())


def within_statements(connection: sqlite3.Connection, tick: Callable[[], None]) -> None:
    """After every fifth instruction of the database's machine, so in the middle of statements too."""

    def handler() -> int:
        tick()
        return 0

    connection.set_progress_handler(handler, 5)


class Ticks:
    """Counts, and at the tick asked for kills its own process."""

    def __init__(self, last: int | None) -> None:
        self.last, self.count = last, 0
        self.made = 0  # ticks by which the store was made

    def __call__(self) -> None:
        self.count += 1
        if self.count == self.last:
            os.kill(os.getpid(), signal.SIGKILL)


def run_watched(path: Path, design: Any, watch: Watch, ticks: Ticks) -> None:
    """A run, from making the store on, every statement of which is watched."""
    connect = sqlite3.connect

    def watched(*arguments: Any, **more: Any) -> sqlite3.Connection:
        connection = connect(*arguments, **more)
        watch(connection, ticks)
        return connection

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sqlite3, "connect", watched)
        with Store.write(path, design) as store:
            ticks.made = ticks.count
            run_sweep(store, Inline(workshop_of(design)))


def killed_copy(path: Path, design: Any, watch: Watch, last: int) -> bool:
    """Run in a child process that kills itself at a tick; whether it did."""
    child = os.fork()
    if not child:
        try:
            run_watched(path, design, watch, Ticks(last))
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL


def spread(total: int, n: int, seed: int) -> list[int]:
    """n moments over 1 .. total, one at random in each of n equal stretches."""
    draw = random.Random(seed)
    return [1 + int((i + draw.random()) * total / n) for i in range(n)]


@pytest.fixture(scope="module")
def design(tmp_path_factory: pytest.TempPathFactory) -> Any:
    return small_design(tmp_path_factory.mktemp("design"))


@pytest.fixture(scope="module")
def whole(design: Any, tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Any, ...]]:
    path = tmp_path_factory.mktemp("whole") / "whole.db"
    run_into(path, design)
    return contents(path)


@pytest.mark.parametrize("watch", [at_statements, within_statements])
def test_a_process_that_dies_in_the_database_loses_nothing_it_had_kept(
    tmp_path: Path, design: Any, whole: list[tuple[Any, ...]], watch: Watch
) -> None:
    ticks = Ticks(None)
    run_watched(tmp_path / "counted.db", design, watch, ticks)
    assert ticks.made > MAKING and ticks.count - ticks.made > 2 * (FAULTS - MAKING)
    found = []
    adding = [ticks.made + moment for moment in spread(ticks.count - ticks.made, FAULTS - MAKING, 7)]
    for i, last in enumerate(spread(ticks.made, MAKING, 7) + adding):
        path = tmp_path / f"{i}.db"
        assert killed_copy(path, design, watch, last), last
        found.append(kept(path))
        assert not found[-1] or set(contents(path)) <= set(whole)
        run_into(path, design)
        assert contents(path) == whole, last
        check_whole(path)
    assert found == sorted(found), "a later death has more batches behind it"
    assert found[0] == 0
    # 8 batches, so 0 to 7 are kept; most statements make the store, so deaths spread over all would find few
    assert len(set(found)) > 5


def test_a_log_that_lost_its_end_costs_the_end_alone(
    tmp_path: Path, design: Any, whole: list[tuple[Any, ...]]
) -> None:
    """The store's log cut at any byte, as if the disk had never got the rest."""
    ticks = Ticks(None)
    run_watched(tmp_path / "counted.db", design, at_statements, ticks)
    died = tmp_path / "died.db"
    assert killed_copy(died, design, at_statements, ticks.count - 1)
    log = died.with_name("died.db-wal").read_bytes()
    assert len(log) > 50_000
    found = []
    for i, length in enumerate(spread(len(log) - 1, FAULTS, 8)):
        path = tmp_path / f"{i}.db"
        shutil.copy(died, path)
        path.with_name(path.name + "-wal").write_bytes(log[:length])
        found.append(kept(path))
        run_into(path, design)
        assert contents(path) == whole, length
        check_whole(path)
    assert found == sorted(found)
    assert found[0] == 0 < found[-1] < len(whole)
