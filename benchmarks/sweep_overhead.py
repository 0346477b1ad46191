"""What a sweep costs beside its possessions: against a bare loop over the same worlds and possessions.

    python benchmarks/sweep_overhead.py DESIGN --points 1000 --possessions 1000     prints one JSON object

The design (a name in configs/sweeps, or a path) keeps its scenario, factors, batch and settings; its points
are a Latin hypercube. The bare loop writes the arrays of every point and plays the possessions that the sweep
plays, on as many threads: no design is read, nothing is added up, nothing is kept. Both are played in turn,
after a small one of each. Processor time of the whole process counts. Time inside the kernel is taken by
thread in both, so that what lies outside it is known from one run, free of the noise between two:
``over_kernel`` is the sweep over the kernel's part of the bare loop, ``over_own_kernel`` over its own;
``_ms`` are of one point. With ``--keep FILE`` the repetitions of earlier calls count, too, and no more are
played than ``--repetitions`` in all; with ``--seconds`` none is begun that would not end in time.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from until import STARTED, Kept

from engine.inputs.files import read_toml, resolve
from engine.kernel.batch import source_stamp
from engine.run import blocks
from engine.run.blocks import Runner, in_order
from engine.run.branches import CHECK_EVERY, SHADOW
from engine.study.sweep.design import Design, design_from
from engine.study.sweep.resolve import Resolver
from engine.study.sweep.sweep import sweep
from engine.study.sweep.tallies import chosen_plan


class Clock:
    """Adds up the processor time that threads spend in some functions."""

    def __init__(self) -> None:
        self.spent: list[float] = []

    def timed(self, function: Callable[..., Any]) -> Callable[..., Any]:
        def wrapped(*arguments: Any, **named: Any) -> Any:
            start = time.thread_time()
            try:
                return function(*arguments, **named)
            finally:
                self.spent.append(time.thread_time() - start)

        return wrapped

    def take(self) -> float:
        """Seconds since it was last asked."""
        total = sum(self.spent)
        self.spent.clear()
        return total


KERNEL, PACKING = Clock(), Clock()
PLAYED: list[int] = []


def watched(play: Callable[..., None]) -> Callable[..., None]:
    """``play_block`` or ``play_list``, its time and its possessions noted."""
    timed = KERNEL.timed(play)

    def wrapped(world: Any, seed: int, which: Any, records: Any, *rest: Any, **named: Any) -> None:
        PLAYED.append(len(records))
        timed(world, seed, which, records, *rest, **named)

    return wrapped


def design_of(name: str, points: int, possessions: int) -> Design:
    """The design with other points, ``possessions`` of each."""
    source = resolve(name, "sweeps")
    data = read_toml(source) | {"possessions": possessions}
    return design_from(data | {"design": {"method": "latin_hypercube", "points": points}}, source)


def bare(design: Design, threads: int) -> None:
    """Arrays and possessions of every point, in batches as the sweep's."""
    resolver, runner = Resolver(design), Runner(design.seed)
    packed_of = PACKING.timed(resolver.packed)
    runner.warm(resolver.packed(0).home)  # a possession, as the sweep plays one first

    def play(point: int) -> None:
        plan = chosen_plan(packed_of(point), design.settings)
        assert all(one.bit is not None for one in plan.settings)  # home knows what is played again
        for start in range(0, design.possessions, design.batch):
            first, count = design.offset(point) + start, min(design.batch, design.possessions - start)
            numbers = first + np.arange(count, dtype=np.int64)
            home = runner.block(plan.home, first, count, "home")
            for one in plan.settings:
                called = (home[:, SHADOW] >> one.bit & 1).astype(bool)
                runner.chosen(one.world, numbers[called | (numbers % CHECK_EVERY == 0)], None, "called")

    for _ in in_order(len(design.points), threads, runner, play):
        pass


def measured(action: Callable[[], Any]) -> dict[str, float]:
    """Seconds of one call: of the processor, of the clock on the wall, in the kernel, writing arrays; and the
    possessions played."""
    KERNEL.take(), PACKING.take(), PLAYED.clear()
    processor, wall = time.process_time(), time.perf_counter()
    action()
    return {
        "processor": time.process_time() - processor,
        "wall": time.perf_counter() - wall,
        "kernel": KERNEL.take(),
        "packing": PACKING.take(),
        "played": sum(PLAYED),
    }


def overhead(name: str, asked: argparse.Namespace) -> dict[str, float]:
    """Medians of ratios within a repetition, and of milliseconds of a point; the size of the store."""
    points, possessions, threads = asked.points, asked.possessions, asked.threads
    blocks.play_block, blocks.play_list = watched(blocks.play_block), watched(blocks.play_list)
    design = design_of(name, points, possessions)
    kept = Kept(Path(asked.keep) if asked.keep else None, f"{design.digest} {threads} {source_stamp():016x}")
    runs: list[tuple[dict[str, float], dict[str, float]]] = kept.found.get("runs", [])
    took = 0.0
    with tempfile.TemporaryDirectory() as folder:
        few = design_of(name, 4, possessions)
        bare(few, threads)
        sweep(few, Path(folder) / "few.db", threads=threads)
        store = Path(folder) / "all.db"
        while len(runs) < asked.repetitions:
            started = time.monotonic()
            if asked.seconds is not None and started + took - STARTED > asked.seconds:
                break
            store.unlink(missing_ok=True)
            without = measured(lambda: bare(design, threads))
            whole = measured(lambda: sweep(design_of(name, points, possessions), store, threads=threads))
            assert whole["played"] == without["played"], (whole["played"], without["played"])
            runs = [*runs, (whole | {"store_mb": store.stat().st_size / 1e6}, without)]
            kept.put(now=True, runs=runs)
            took = max(took, time.monotonic() - started)
    if not runs:
        raise SystemExit("no repetition was begun in time")

    def median(of: Callable[[dict[str, float], dict[str, float]], float]) -> float:
        return statistics.median(of(whole, without) for whole, without in runs)

    return {
        "over_bare": median(lambda whole, without: whole["processor"] / without["processor"]),
        "over_kernel": median(lambda whole, without: whole["processor"] / without["kernel"]),
        "over_own_kernel": median(lambda whole, _: whole["processor"] / whole["kernel"]),
        "wall_over_bare": median(lambda whole, without: whole["wall"] / without["wall"]),
        "outside_kernel_ms": median(lambda whole, _: (whole["processor"] - whole["kernel"]) * 1000 / points),
        "packing_ms": median(lambda _, without: without["packing"] * 1000 / points),
        "kernel_ms": median(lambda whole, _: whole["kernel"] * 1000 / points),
        "store_mb": median(lambda whole, _: whole["store_mb"]),
        "repetitions": len(runs),
    }


def peak_mb(name: str, points: int, possessions: int, threads: int) -> float:
    """Highest resident memory of this process after the sweep alone, MB."""
    with tempfile.TemporaryDirectory() as folder:
        sweep(design_of(name, points, possessions), Path(folder) / "peak.db", threads=threads)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return (peak if sys.platform == "darwin" else peak * 1024) / 1e6


def main() -> None:
    """Prints the figures of one size as a JSON object."""
    parser = argparse.ArgumentParser(description="A sweep against its possessions alone.")
    parser.add_argument("design", help="name or path of a design with settings that home watches")
    parser.add_argument("--points", type=int, default=1000)
    parser.add_argument("--possessions", type=int, default=1000, help="of a point")
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--repetitions", type=int, default=3)
    parser.add_argument("--keep", metavar="FILE", help="repetitions so far; goes on from there")
    parser.add_argument("--seconds", type=float, help="after the start begin no repetition that ends later")
    parser.add_argument("--peak", action="store_true", help="memory of the sweep alone, nothing timed")
    asked = parser.parse_args()
    size = (asked.design, asked.points, asked.possessions, asked.threads)
    found = {"peak_mb": peak_mb(*size)} if asked.peak else overhead(asked.design, asked)
    print(json.dumps(found))


if __name__ == "__main__":
    main()
