"""Benchmarks of the engine: speed, threads, linearity, memory, start-up, sweeps.

    python benchmarks/run.py                          every case, a table on the screen
    python benchmarks/run.py --case linear --case help   some of them
    python benchmarks/run.py --long                   memory also at ten million possessions (half an hour)
    python benchmarks/run.py -o results.jsonl         append one JSON line per case to a file
    python benchmarks/run.py --scale 0.01             tiny sizes, only to see that the scripts work

The cases are data, in ``cases.toml`` beside this file. A line of results holds the commit (with ``+`` after
it where files were changed), hardware, versions, case and figures. Every figure is a ratio of two things
timed in the same run, or a size; possessions per second and seconds stand beside them for reference and
mean something only with the hardware in the same line. What is compared is timed in turn, repetition by
repetition, and medians are reported, so that a machine that slows down slows both. Nothing is asserted: the
landmarks are shown as met or missed and the exit status is 0. Run it on a machine with nothing else to do.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Sequence
from importlib import metadata
from pathlib import Path
from typing import Any

from machine import commit, hardware

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
PACKAGES = ("numpy", "numba", "llvmlite", "scipy", "pandas", "pydantic", "click")
MB = 1e6

#: Plays ``count`` possessions of staying home and tells seconds per possession; one more is played before.
INTERPRETED = """
import sys, time
import numpy as np
from engine.inputs import load_scenario
from engine.kernel.batch import play_block
from engine.world.pack import pack
from engine.state.record import N_RECORD

world, count = pack(load_scenario(sys.argv[1])).home, int(sys.argv[2])
play_block(world, 1, 0, np.zeros((1, N_RECORD), np.int32))
records = np.zeros((count, N_RECORD), np.int32)
start = time.perf_counter()
play_block(world, 1, 0, records)
print((time.perf_counter() - start) / count)
"""

#: Compares and tells the highest resident memory of the process in kilobytes (bytes on macOS).
MEMORY = """
import resource, sys
import engine

engine.compare(sys.argv[1], possessions=int(sys.argv[2]), threads=int(sys.argv[3]))
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(peak if sys.platform == "darwin" else peak * 1024)
"""

#: Starts as compare does and tells whether the engine comes from the cache, and what Numba then counts.
CACHE = """
import json, sys
import engine
from engine.kernel import batch

was_cached = batch.is_cached()
engine.compare(sys.argv[1], possessions=int(sys.argv[2]))
stats = batch._entry().stats
counts = {"hits": sum(stats.cache_hits.values()), "misses": sum(stats.cache_misses.values())}
print(json.dumps({"was_cached": was_cached} | counts))
"""

Figures = dict[str, Any]
Case = dict[str, Any]


# --- timing -----------------------------------------------------------------------------------------------


def seconds(action: Callable[[], Any]) -> float:
    """Wall-clock seconds of one call."""
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def in_turn(repetitions: int, **actions: Callable[[], Any]) -> dict[str, list[float]]:
    """Seconds of every action, played in turn: first, second, ..., first, second, ..."""
    found: dict[str, list[float]] = {name: [] for name in actions}
    for _ in range(repetitions):
        for name, action in actions.items():
            found[name].append(seconds(action))
    return found


def median_ratio(above: Sequence[float], below: Sequence[float]) -> float:
    """Median over the repetitions of the ratio inside each repetition."""
    return statistics.median(a / b for a, b in zip(above, below, strict=True))


def child(arguments: Sequence[str], **environment: str) -> str:
    """Standard output of a Python process started at the root of the checkout."""
    done = subprocess.run(
        [sys.executable, *arguments],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)} | environment,
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    return done.stdout


def command(*arguments: str) -> list[str]:
    """Arguments of a Python process that runs the command line."""
    return ["-m", "engine.cli", *arguments]


def scenario_of(case: Case) -> str:
    return str(ROOT / "configs" / "scenarios" / f"{case['scenario']}.toml")


def scaled(count: int, scale: float) -> int:
    return max(1, int(count * scale))


# --- measurements -----------------------------------------------------------------------------------------


def per_core(case: Case, scale: float, long: bool) -> Figures:
    """One thread, compiled before: compare's own mix (every branch is a possession), and home alone.

    The mix counts the possessions that compare asks for: home and each setting once. Playing possessions
    with several calls again, tallies and estimates take their time but are not counted.
    """
    import engine

    file, n = scenario_of(case), scaled(case["possessions"], scale)
    branches = 1 + len(engine.load(file).settings)
    engine.compare(file, possessions=1, threads=1)
    timed = in_turn(
        case["repetitions"],
        mix=lambda: engine.compare(file, possessions=n, threads=1),
        home=lambda: engine.play(file, possessions=n * branches, threads=1),
    )
    return {
        "compare_mix_per_s": statistics.median(n * branches / t for t in timed["mix"]),
        "home_per_s": statistics.median(n * branches / t for t in timed["home"]),
        "home_over_mix": median_ratio(timed["mix"], timed["home"]),
        "branches": branches,
    }


def threads(case: Case, scale: float, long: bool) -> Figures:
    """Speed of compare with two threads over its speed with one."""
    import engine

    file, n = scenario_of(case), scaled(case["possessions"], scale)
    engine.compare(file, possessions=1, threads=2)
    timed = in_turn(
        case["repetitions"],
        one=lambda: engine.compare(file, possessions=n, threads=1),
        two=lambda: engine.compare(file, possessions=n, threads=2),
    )
    return {"ratio": median_ratio(timed["one"], timed["two"])}


def interpreted(case: Case, scale: float, long: bool) -> Figures:
    """Seconds per possession of the same kernel as plain Python, over compiled; each in its own process."""
    file = scenario_of(case)
    few, many = (scaled(case[name], scale) for name in ("interpreted_possessions", "possessions"))
    slow, fast = [], []
    for _ in range(case["repetitions"]):
        slow.append(float(child(["-c", INTERPRETED, file, str(few)], NUMBA_DISABLE_JIT="1")))
        fast.append(float(child(["-c", INTERPRETED, file, str(many)], NUMBA_DISABLE_JIT="0")))
    return {
        "ratio": median_ratio(slow, fast),
        "interpreted_per_s": 1 / statistics.median(slow),
        "compiled_per_s": 1 / statistics.median(fast),
    }


def linear(case: Case, scale: float, long: bool) -> Figures:
    """Time of compare on 10 n possessions over its time on n, one thread, compiled before."""
    import engine

    file, n = scenario_of(case), scaled(case["possessions"], scale)
    engine.compare(file, possessions=1, threads=1)
    timed = in_turn(
        case["repetitions"],
        one=lambda: engine.compare(file, possessions=n, threads=1),
        ten=lambda: engine.compare(file, possessions=10 * n, threads=1),
    )
    return {"ratio": median_ratio(timed["ten"], timed["one"])}


def memory(case: Case, scale: float, long: bool) -> Figures:
    """Highest resident memory of compare at several sizes, each in a process of its own (after one that
    compiles, should the cache be empty)."""
    file = scenario_of(case)
    sizes = [scaled(n, scale) for n in case["possessions"] + (case["long_possessions"] if long else [])]
    child(["-c", MEMORY, file, "1", "1"])
    peaks = [int(child(["-c", MEMORY, file, str(n), str(case["threads"])])) / MB for n in sizes]
    return {"possessions": sizes, "peak_mb": peaks, "growth_mb": max(peaks) - peaks[0]}


def start_up(case: Case, scale: float, long: bool) -> Figures:
    """Wall-clock time of a command in a process of its own, and of Python doing nothing beside it."""
    timed = in_turn(
        case["repetitions"],
        command=lambda: child(command(*case["arguments"])),
        nothing=lambda: child(["-c", "pass"]),
    )
    return {
        "seconds": statistics.median(timed["command"]),
        "over_bare_python": median_ratio(timed["command"], timed["nothing"]),
    }


def _compare(case: Case, scale: float) -> list[str]:
    n = scaled(case["possessions"], scale)
    return command("compare", scenario_of(case), "--quiet", "-n", str(n))


def first_compile(case: Case, scale: float, long: bool) -> Figures:
    """Compare with an empty cache, over compare right after it with the cache that it left."""
    with tempfile.TemporaryDirectory() as cache:
        first, second = (
            seconds(lambda: child(_compare(case, scale), NUMBA_CACHE_DIR=cache)) for _ in range(2)
        )
    return {"seconds": first, "first_over_warm": first / second}


def warm_start(case: Case, scale: float, long: bool) -> Figures:
    """Compare in a new process once the cache is there, and whether the engine really came from the cache."""
    with tempfile.TemporaryDirectory() as cache:
        child(_compare(case, scale), NUMBA_CACHE_DIR=cache)
        timed = in_turn(case["repetitions"], warm=lambda: child(_compare(case, scale), NUMBA_CACHE_DIR=cache))
        told = json.loads(child(["-c", CACHE, scenario_of(case), "1"], NUMBA_CACHE_DIR=cache))
    hit = told["was_cached"] and told["hits"] > 0 and told["misses"] == 0
    return {"seconds": statistics.median(timed["warm"]), "cache_hit": hit, "cache": told}


def coded(case: Case, scale: float, long: bool) -> Figures:
    """Time of a played second with the coded policy of a package over the same defence from its file alone.

    Both stay home (no calls), one thread, compiled before. The policy moves people, so its possessions are
    not quite as long: hence per second played. Beside it a policy that is asked and changes nothing, whose
    possessions are the file's.
    """
    import importlib

    import numpy as np

    import engine
    from engine.kernel.batch import play_block
    from engine.policies.coded import CodedPolicy, register
    from engine.state.record import COLUMN, N_RECORD
    from engine.world.pack import pack

    sys.path.insert(0, str(ROOT / case["package"]))
    example = register(importlib.import_module(case["policy"]).POLICY)
    nothing = register(CodedPolicy("nothing", "changes nothing", "benchmark", unchanged, uncalled))
    scenario = engine.load(scenario_of(case)).model_copy(update={"settings": ()})
    records = np.zeros((scaled(case["possessions"], scale), N_RECORD), np.int32)

    def player(policy: str | None) -> Callable[[], None]:
        world = pack(scenario.model_copy(update={"policy": policy})).home
        world["policy_call"] = int(policy is not None)  # asked for calls too; there are none to make
        return lambda: play_block(world, 1, 0, records)

    actions = {"file": player(None), "example": player(example.name), "nothing": player(nothing.name)}
    played_s = {}
    for name, action in actions.items():
        action()
        played_s[name] = records[:, COLUMN["time_ms"]].sum() / 1000
    timed = in_turn(case["repetitions"], **actions)
    per_s = {name: [t / played_s[name] for t in found] for name, found in timed.items()}
    return {
        "ratio": median_ratio(per_s["example"], per_s["file"]),
        "changes_nothing": median_ratio(per_s["nothing"], per_s["file"]),
        "played_seconds": float(played_s["example"] / played_s["file"]),
    }


def unchanged(floor: Any, orders: Any) -> None:
    """Says the base's places once more."""
    for i in range(5):
        orders.x[i] = floor.planned_x[i]
        orders.y[i] = floor.planned_y[i]


def uncalled(floor: Any) -> int:
    """Never calls."""
    return 0


def watched(case: Case, scale: float, long: bool) -> Figures:
    """Possessions at home played, watched for their events, traced with their state after every step (in
    blocks, and by a call each), all on one thread and in turn."""
    import numpy as np

    import engine
    from engine.kernel.batch import play_block, trace_possession
    from engine.kernel.watch import STATES
    from engine.run.watch import watch_block
    from engine.state.record import N_RECORD
    from engine.world.pack import pack

    world = pack(engine.load(scenario_of(case))).home
    n, traced, single = (scaled(case[name], scale) for name in ("possessions", "traced", "single"))
    records = np.zeros((n, N_RECORD), np.int32)
    play_block(world, 1, 0, records[:1])

    def block(count: int, *what: str) -> None:
        for _ in watch_block(world, 1, 0, count, what, threads=1):
            pass

    timed = in_turn(
        case["repetitions"],
        played=lambda: play_block(world, 1, 0, records),
        events=lambda: block(n),
        traced=lambda: block(traced, *STATES),
        single=lambda: [trace_possession(world, 1, number) for number in range(single)],
    )
    each = {"played": n, "events": n, "traced": traced, "single": single}
    speeds = {name: [each[name] / t for t in found] for name, found in timed.items()}
    return {
        "events_over_played": median_ratio(speeds["events"], speeds["played"]),
        "traced_over_played": median_ratio(speeds["traced"], speeds["played"]),
        "single_over_played": median_ratio(speeds["single"], speeds["played"]),
    } | {f"{name}_per_s": statistics.median(found) for name, found in speeds.items()}


def sweep(case: Case, scale: float, long: bool) -> Figures:
    """A sweep against a bare loop over its worlds and possessions, its store, and its memory with few points
    and with all (sweep_overhead.py)."""
    points, possessions = (scaled(case[name], scale) for name in ("points", "possessions"))

    def script(points: int, *arguments: str) -> Figures:
        size = ["--points", str(points), "--possessions", str(possessions), "--threads", str(case["threads"])]
        found: Figures = json.loads(
            child([str(HERE / "sweep_overhead.py"), case["design"], *size, *arguments])
        )
        return found

    figures = script(points, "--repetitions", str(case["repetitions"]))
    few = scaled(case["few_points"], scale)
    peaks = [script(count, "--peak")["peak_mb"] for count in (few, points)]
    return figures | {"points": [few, points], "peak_mb": peaks}


def counts(case: Case, scale: float, long: bool) -> Figures:
    """What the kernel does in a possession of staying home, counted in interpreted ones (counts.py)."""
    n = str(scaled(case["possessions"], scale))
    found: Figures = json.loads(child([str(HERE / "counts.py"), scenario_of(case), n], NUMBA_DISABLE_JIT="1"))
    return found


KINDS: dict[str, Callable[[Case, float, bool], Figures]] = {
    "per_core": per_core,
    "threads": threads,
    "interpreted": interpreted,
    "linear": linear,
    "memory": memory,
    "command": start_up,
    "first_compile": first_compile,
    "warm_start": warm_start,
    "coded": coded,
    "watched": watched,
    "sweep": sweep,
    "counts": counts,
}


# --- results ----------------------------------------------------------------------------------------------


def landmark_words(case: Case, figures: Figures, full_size: bool) -> str:
    """ "met" or "missed" with the landmark; at tiny sizes the landmark alone."""
    least, most = case["landmark"].get("least"), case["landmark"].get("most")
    words = " ".join(
        text
        for text, limit in ((f">= {least:g}" if least else "", least), (f"<= {most:g}" if most else "", most))
        if limit
    )
    if not full_size:
        return words
    value = figures[case["figure"]]
    met = (least is None or value >= least) and (most is None or value <= most)
    return f"{'met' if met else 'missed'} ({words})"


def shown(value: Any) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(shown(part) for part in value) + "]"
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def main() -> int:
    with open(HERE / "cases.toml", "rb") as file:
        cases: dict[str, Case] = tomllib.load(file)
    parser = argparse.ArgumentParser(description="Benchmarks of the engine, as ratios in one run.")
    parser.add_argument(
        "--case", action="append", choices=list(cases), help="only this case (may be repeated)"
    )
    parser.add_argument("--long", action="store_true", help="memory also at ten million possessions")
    parser.add_argument(
        "--scale", type=float, default=1.0, help="multiplies every size; for trying the scripts"
    )
    parser.add_argument("-o", "--output", metavar="FILE", help="append the results, one JSON line per case")
    asked = parser.parse_args()
    sys.path.insert(0, str(ROOT))

    head = {
        "commit": commit(),
        "hardware": hardware(),
        "versions": {"python": platform.python_version()}
        | {name: metadata.version(name) for name in PACKAGES},
        "scale": asked.scale,
    }
    for name in asked.case or cases:
        case = cases[name]
        figures = KINDS[case["kind"]](case, asked.scale, asked.long)
        words = landmark_words(case, figures, asked.scale == 1.0)
        print(f"{case['title']:36s} {shown(figures[case['figure']]):>9s}  {words}", flush=True)
        rest = {key: value for key, value in figures.items() if key != case["figure"]}
        for key, value in rest.items():
            print(f"    {key}: {shown(value)}", flush=True)
        line = json.dumps(head | {"case": name, "landmark": words, "figures": figures})
        if asked.output:
            with open(asked.output, "a", encoding="utf-8") as target:
                target.write(line + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
