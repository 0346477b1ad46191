"""A sweep on the workers of a Dask cluster: the same store as on this machine alone, to the bit.

Real worker processes of one scheduler, one of them killed in the middle; workers unlike the store; batches
on which every worker dies.
"""

from __future__ import annotations

import json
import logging
import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import dask
import pytest
from distributed import LocalCluster
from interrupts import interruptible
from sweep_runs import StopAfter, check_whole, contents, design_file, run_into, small_design

from engine import cli
from engine.errors import InputError
from engine.study.sweep import cluster
from engine.study.sweep.cluster import DaskWorkers, connected
from engine.study.sweep.runner import run_sweep
from engine.study.sweep.store import Store

TWO = {"n_workers": 2, "threads_per_worker": 2, "processes": True, "dashboard_address": ":0"}


def quiet_cluster(**how: Any) -> Any:
    return LocalCluster(**(TWO | how), silence_logs=logging.CRITICAL)


@pytest.fixture(scope="module")
def two_workers() -> Iterator[Any]:
    with quiet_cluster() as running:
        yield running


def on_cluster(
    path: Path, design: Any, address: str, watch: Any = None, kind: type[DaskWorkers] = DaskWorkers
) -> Any:
    with connected(address) as client, Store.write(path, design) as store:
        return run_sweep(store, kind(client, design, store), watch)


def hosts(client: Any) -> dict[str, int]:
    """Process number of every worker."""
    found: dict[str, int] = client.run(os.getpid)
    return found


# --- the same to the bit ------------------------------------------------------------------------------------


def test_a_killed_worker_costs_time_and_nothing_else(tmp_path: Path, two_workers: Any) -> None:
    """Both workers play; the one killed with SIGKILL in the middle of its batches comes back or not."""
    how: dict[str, Any] = {"steps": 4, "possessions": 900, "batch": 150, "luck": "independent"}
    design, path = small_design(tmp_path, **how), tmp_path / "cluster.db"
    address = two_workers.scheduler_address
    killed: list[int] = []
    with connected(address) as client:
        before = hosts(client)
        assert len(before) == 2

        def kill_one(progress: Any) -> None:
            if progress.batches >= 10 and not killed:
                killed.append(next(iter(before.values())))
                os.kill(killed[0], signal.SIGKILL)

        end = on_cluster(path, design, address, kill_one)
        assert killed and killed[0] not in hosts(client).values()
    assert (end.settled, end.failed) == (8, 0)
    run_into(tmp_path / "local.db", design, threads=1)
    assert contents(path) == contents(tmp_path / "local.db")
    assert len(contents(path)) == 48
    check_whole(path)


def test_the_command_goes_from_one_machine_to_a_cluster_and_back(
    tmp_path: Path, two_workers: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    file, path = design_file(tmp_path), tmp_path / "s.db"
    design = small_design(tmp_path)
    with pytest.raises(KeyboardInterrupt):
        on_cluster(path, design, two_workers.scheduler_address, StopAfter(2))
    assert 2 <= len(contents(path)) <= 8
    command = ["sweep", str(file), "--store", str(path), "--quiet"]
    assert cli.run([*command, "--scheduler", two_workers.scheduler_address]) == 0
    assert capsys.readouterr() == ("", "")
    run_into(tmp_path / "local.db", design)
    assert contents(path) == contents(tmp_path / "local.db")
    assert cli.run([*command, "-n", "90"]) == 0
    run_into(tmp_path / "local.db", design, 90)
    assert contents(path) == contents(tmp_path / "local.db")


def test_a_rule_that_looks_at_results_decides_the_same(tmp_path: Path, two_workers: Any) -> None:
    file = design_file(tmp_path)
    rule = '[effort]\nrule = "width"\nquantity = "net"\nhalf_width = 0.2\nleast = 40\nmost = 200\n[design]'
    file.write_text(file.read_text().replace("[design]", rule))
    on_workers = ["--scheduler", two_workers.scheduler_address]
    for name, where in (("local.db", ["--threads", "1"]), ("s.db", on_workers)):
        assert cli.run(["sweep", str(file), "--store", str(tmp_path / name), "--quiet", *where]) == 0
    assert contents(tmp_path / "s.db") == contents(tmp_path / "local.db")
    assert len(contents(tmp_path / "s.db")) > 8


# --- stopped, failed, refused -------------------------------------------------------------------------------


def test_ctrl_c_cancels_what_is_waiting(
    tmp_path: Path, two_workers: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    file, path = design_file(tmp_path, possessions=3000, batch=100, steps=4), tmp_path / "s.db"

    def interrupt() -> None:
        limit = time.monotonic() + 60
        while time.monotonic() < limit:
            time.sleep(0.05)
            if path.exists() and Path(f"{path}-wal").exists() and kept(path) >= 3:
                os.kill(os.getpid(), signal.SIGINT)
                return

    watcher = threading.Thread(target=interrupt)
    watcher.start()
    where = ["--scheduler", two_workers.scheduler_address]
    with interruptible():
        assert cli.run(["sweep", str(file), "--store", str(path), "--quiet", *where]) == cli.INTERRUPTED
        watcher.join()
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1
    assert err.startswith("trapledger: stopped; 0 of 8 points are settled")
    assert 3 <= len(contents(path)) < 100
    with connected(two_workers.scheduler_address) as client:
        limit = time.monotonic() + 30
        while any(client.processing().values()) and time.monotonic() < limit:
            time.sleep(0.1)
        assert not any(client.processing().values())
    check_whole(path)


def kept(path: Path) -> int:
    try:
        return len(contents(path))
    except Exception:
        return 0


def test_a_worker_that_is_not_what_the_store_was_made_with_is_refused(
    tmp_path: Path, two_workers: Any
) -> None:
    design, path = small_design(tmp_path), tmp_path / "s.db"
    address = two_workers.scheduler_address
    for name, value in (("numpy", "1.0"), ("sources of the kernel", "0" * 16), ("processor", "abacus")):
        with connected(address) as client, Store.write(path, design) as store:
            store.meta["versions"] = json.dumps(json.loads(store.meta["versions"]) | {name: value})
            with pytest.raises(InputError) as caught:
                DaskWorkers(client, design, store)
        text = str(caught.value)
        assert text.startswith(f"--scheduler: '{address}' is not allowed; allowed: workers that are what ")
        assert "worker tcp://" in text and f"{name}: " in text and f" there, {value} in the store" in text
        assert "\n" not in text
    assert contents(path) == []


def test_one_that_joins_later_is_refused_as_well(tmp_path: Path, two_workers: Any) -> None:
    class Unchecked(DaskWorkers):
        def _check_workers(self) -> None:
            """As if all had joined after it."""

    design, path = small_design(tmp_path), tmp_path / "s.db"
    with connected(two_workers.scheduler_address) as client, Store.write(path, design) as store:
        store.meta["versions"] = json.dumps(json.loads(store.meta["versions"]) | {"numba": "0.1"})
        with pytest.raises(InputError, match="worker that joined later: numba: .* there, 0.1 in the store"):
            run_sweep(store, Unchecked(client, design, store))
    assert contents(path) == []


def test_a_failing_point_has_its_reason_from_the_worker(tmp_path: Path, two_workers: Any) -> None:
    design, path = small_design(tmp_path), tmp_path / "s.db"
    points = ({**design.points[0], "constants.reaction_s": 99.0}, *design.points[1:])
    end = on_cluster(path, replace(design, points=points), two_workers.scheduler_address)
    assert (end.settled, end.failed) == (3, 1)
    with Store.read(path) as store:
        assert "constants.reaction_s" in store.failures()[0] and "99.0 is not allowed" in store.failures()[0]


def test_a_batch_on_which_workers_die_is_given_up_and_the_rest_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first point kills whoever plays it; with allowed-failures 0 Dask gives a batch up at once, with
    every other one that waits at the same worker. Those must not be taken for its kind."""
    monkeypatch.setattr(cluster, "MOST_AGAIN", 1)
    design, path = small_design(tmp_path, possessions=30), tmp_path / "s.db"

    class Deadly(DaskWorkers):
        def _task(self) -> Any:
            return deadly

    with dask.config.set({"distributed.scheduler.allowed-failures": 0}), quiet_cluster() as running:
        end = on_cluster(path, design, running.scheduler_address, kind=Deadly)
    assert (end.settled, end.failed) == (3, 1)
    with Store.read(path) as store:
        (reason,) = store.failures().values()
        assert reason.startswith("handed to the cluster 2 times: every worker that played it died, the last")
    run_into(tmp_path / "local.db", design)
    assert contents(path) == [row for row in contents(tmp_path / "local.db") if row[0] != 0]


def deadly(name: str, batch: Any) -> Any:
    from engine.study.sweep.worker import play

    if batch.point == 0:
        time.sleep(0.5)  # the others are out of the way by then
        os.kill(os.getpid(), signal.SIGKILL)
    return play(name, batch)


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "nonsense://x", "tcp://127.0.0.1"])
def test_nobody_answers(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, address: str
) -> None:
    monkeypatch.setattr(cluster, "CONNECT_S", 0.5)
    command = ["sweep", str(design_file(tmp_path)), "--store", str(tmp_path / "s.db"), "--quiet"]
    assert cli.run([*command, "--scheduler", address]) == cli.BAD_INPUT
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1
    assert "the address of a running Dask scheduler, such as tcp://host:8786" in err
    assert not (tmp_path / "s.db").exists()


def test_no_worker_has_joined(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "CONNECT_S", 3.0)
    design = small_design(tmp_path)
    with quiet_cluster(n_workers=0) as running, pytest.raises(InputError, match="that workers have joined"):
        on_cluster(tmp_path / "s.db", design, running.scheduler_address)


def test_without_dask_one_line_says_what_to_install(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    command = ["sweep", str(design_file(tmp_path)), "--store", str(tmp_path / "s.db"), "--quiet"]
    assert cli.run([*command, "--scheduler", "tcp://127.0.0.1:8786"]) == cli.BAD_INPUT
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and 'pip install "trapledger[cluster]"' in err
    assert cli.run([*command, "--scheduler", "tcp://127.0.0.1:8786", "--threads", "2"]) == cli.BAD_INPUT
    assert "not together with --scheduler" in capsys.readouterr().err
    assert cli.run([*command, "--threads", "1"]) == 0  # the local cores do without it


def test_a_scheduler_that_goes_is_told_and_leaves_no_failures(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "CONNECT_S", 4.0)
    design, path = small_design(tmp_path, possessions=3000, batch=50), tmp_path / "s.db"
    with quiet_cluster(n_workers=1) as running:

        def end_it(progress: Any) -> None:
            if progress.batches >= 3 and not closed:
                closed.append(True)
                running.close()

        closed: list[bool] = []
        with pytest.raises(InputError, match="--scheduler: 'tcp://.* is not allowed"):
            on_cluster(path, design, running.scheduler_address, end_it)
    assert 3 <= len(contents(path)) < 240
    with Store.read(path) as store:
        assert store.failures() == {}
    check_whole(path)
