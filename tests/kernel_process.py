"""Plays possessions in a process of its own, for what is set when a process starts (Numba's switches)."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).parents[1]
SCENARIO = ROOT / "configs" / "scenarios" / "friday_night.toml"
#: Switches that a process must not inherit from the one that runs the tests (the cache it shares).
SWITCHES = ("NUMBA_DISABLE_JIT", "NUMBA_BOUNDSCHECK", "NUMBA_OPT", "PYTHONPATH", "PYTHONSAFEPATH")

#: Plays the possession numbers of each setting ("home" among them) named on standard input.
PLAY = """
import importlib, json, pkgutil, sys
import numpy as np
import engine.kernel
from engine.inputs import load_scenario
from engine.kernel import batch
from engine.world.pack import pack
from engine.state.record import N_RECORD

# how often each kernel function was compiled for compiled callers, by name
def specialisations(package):
    found = {}
    for module in pkgutil.iter_modules(package.__path__):
        for name, value in vars(importlib.import_module(f"{package.__name__}.{module.name}")).items():
            if hasattr(value, "part") and value.__module__.endswith(f".{module.name}"):
                found[f"{module.name}.{name}"] = len(value.part.signatures)
    return found

asked = json.load(sys.stdin)
packed = pack(load_scenario(asked["scenario"]))
worlds = {"home": packed.home} | {setting.name: setting.world for setting in packed.settings}
was_cached = batch.is_cached()
found = {}
for name, numbers in asked["numbers"].items():
    records = np.zeros((len(numbers), N_RECORD), np.int32)
    batch.play_list(worlds[name], asked["seed"], np.array(numbers, np.uint64), records)
    found[name] = records.tolist()
entry = batch._entry()
stats = getattr(entry, "stats", None)
hits, misses = (sum(c.values()) for c in (stats.cache_hits, stats.cache_misses)) if stats else (0, 0)
parts = specialisations(engine.kernel)
told = {"records": found, "was_cached": was_cached, "hits": hits, "misses": misses, "file": batch.__file__}
told["specialisations"] = parts
print(json.dumps(told))
"""


def run_process(
    numbers: dict[str, list[int]], seed: int, switches: dict[str, str], cwd: Path = ROOT
) -> dict[str, Any]:
    """What a process with these switches finds: "records" setting -> rows, "was_cached", "hits", "misses",
    "file" (the module that played), "specialisations" (kernel function -> how often it was compiled).

    ``cwd`` holds the folder ``engine`` that is imported, and configs/. Whatever goes wrong in the process
    fails the test with its standard error.
    """
    environment = {name: value for name, value in os.environ.items() if name not in SWITCHES} | switches
    asked = {"scenario": str(cwd / SCENARIO.relative_to(ROOT)), "seed": seed, "numbers": numbers}
    done = subprocess.run(
        [sys.executable, "-c", PLAY],
        input=json.dumps(asked),
        cwd=cwd,
        env=environment,
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def here(worlds: dict[str, Any], numbers: dict[str, list[int]], seed: int) -> dict[str, Any]:
    """The same possessions played compiled in this process: setting -> rows of the record."""
    from engine.kernel.batch import play_list
    from engine.state.record import N_RECORD

    found = {}
    for name, listed in numbers.items():
        records: NDArray[np.int32] = np.zeros((len(listed), N_RECORD), np.int32)
        play_list(worlds[name], seed, np.array(listed, np.uint64), records)
        found[name] = records.tolist()
    return found
