"""One study from an empty folder to figures and a methods paragraph, killed on the way: equal to the bit.

    python benchmarks/killed_study.py --possessions 4000 --folder study

The grid of configs/sweeps/reaction_grid.toml is played four times: in one go on one thread; on two threads,
the process killed twice; on two Dask workers, a worker killed and then the scheduler and all workers ended
and started again; and as an array job of three tasks that are merged. All four stores must hold the same
bytes. The first one is analysed. Exit status 1 where anything differs.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from engine.study.sweep.stored import Stored
from engine.study.sweep.storefile import StoreTrouble

COMMAND = [sys.executable, "-m", "engine.cli"]


def contents(path: Path) -> list[tuple[object, ...]]:
    """Every batch with its bytes."""
    with Stored.read(path) as store:
        query = "SELECT point, first, count, sha256, tally FROM batches ORDER BY point, first"
        return store.connection.execute(query).fetchall()


def kept(path: Path) -> int:
    """Batches in a store that may not be there yet."""
    try:
        with Stored.read(path, checked=False) as store:
            return store.n_batches()
    except (StoreTrouble, ValueError):
        return 0


def killed(command: list[str], path: Path, more: int) -> int:
    """Start a command and kill it (SIGKILL) once it has kept ``more`` batches; how many there are then."""
    wanted = kept(path) + more
    running = subprocess.Popen(command)
    while running.poll() is None and kept(path) < wanted:
        time.sleep(0.02)
    running.kill()
    running.wait()
    return kept(path)


class Cluster:
    """A scheduler and two workers as processes of their own."""

    def __init__(self, folder: Path) -> None:
        self.file = folder / "scheduler.json"
        self.file.unlink(missing_ok=True)
        dask = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--port", "0", "--no-dashboard"]
        worker = [sys.executable, "-m", "distributed.cli.dask_worker", "--nthreads", "1", "--no-dashboard"]
        where = ["--scheduler-file", str(self.file)]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        self.processes = [subprocess.Popen([*dask, *where], **quiet)]
        while not self.file.exists():
            time.sleep(0.1)
        self.processes += [subprocess.Popen([*worker, *where], **quiet) for _ in range(2)]

    @property
    def address(self) -> str:
        return str(json.loads(self.file.read_text())["address"])

    def end(self) -> None:
        """Kill everything."""
        for process in reversed(self.processes):
            process.kill()
            process.wait()


def main(arguments: list[str] | None = None) -> int:
    """Play, kill, compare, analyse; print what was found."""
    parser = argparse.ArgumentParser(
        description="A study killed on the way, on threads, on Dask and in parts."
    )
    parser.add_argument("--possessions", type=int, default=4000, help="of every point")
    parser.add_argument("--design", default="reaction_grid", help="name or path of a design")
    parser.add_argument("--folder", help="folder to leave the study in; a temporary one otherwise")
    given = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(given.folder or temporary)
        folder.mkdir(parents=True, exist_ok=True)

        def command(name: str, *more: str) -> list[str]:
            size = ["-n", str(given.possessions), "--quiet"]
            return [*COMMAND, "sweep", given.design, "--store", str(folder / name), *size, *more]

        subprocess.run(command("whole.db", "--threads", "1"), check=True)
        whole = contents(folder / "whole.db")
        found: dict[str, object] = {"batches": len(whole)}

        threads = command("threads.db", "--threads", "2")
        found["kept when killed, threads"] = [killed(threads, folder / "threads.db", 7) for _ in range(2)]
        subprocess.run(threads, check=True)

        cluster = Cluster(folder)
        on_dask = command("dask.db", "--scheduler", cluster.address)
        running = subprocess.Popen(on_dask)
        while kept(folder / "dask.db") < 5 and running.poll() is None:
            time.sleep(0.02)
        cluster.processes[1].kill()  # a worker
        while kept(folder / "dask.db") < 12 and running.poll() is None:
            time.sleep(0.02)
        cluster.end()  # and the scheduler with the other one
        running.wait()
        found["kept when the scheduler died"] = kept(folder / "dask.db")
        cluster = Cluster(folder)
        try:
            subprocess.run(command("dask.db", "--scheduler", cluster.address), check=True)
        finally:
            cluster.end()

        parts = [f"part{k}.db" for k in (1, 2, 3)]
        for k, name in enumerate(parts, 1):
            subprocess.run(command(name, "--part", f"{k}/3"), check=True)
        takes = [word for name in parts for word in ("--take", str(folder / name))]
        subprocess.run(command("merged.db", *takes), check=True)

        same = {name: contents(folder / f"{name}.db") == whole for name in ("threads", "dask", "merged")}
        out = folder / "analysis"
        store = str(folder / "whole.db")
        subprocess.run([*COMMAND, "analyse", store, "-o", str(out), "--quiet"], check=True)
        found |= {"equal to the bit": same, "files": sorted(path.name for path in out.iterdir())}
        print(json.dumps(found, indent=2))
        print((out / "methods.md").read_text(encoding="utf-8"))
        return 0 if all(same.values()) else 1


if __name__ == "__main__":
    raise SystemExit(main())
