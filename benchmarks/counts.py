"""What the kernel does in a possession, counted: free of noise and of the machine. Run interpreted.

    NUMBA_DISABLE_JIT=1 python benchmarks/counts.py SCENARIO POSSESSIONS     prints one JSON object

Every function of the kernel is put behind a counter wherever another one calls it, and so are the square root
and the exponential. The kernel itself has no counters.
"""

from __future__ import annotations

import functools
import importlib
import inspect
import json
import math
import pkgutil
import sys
from collections import Counter
from collections.abc import Callable
from types import ModuleType, SimpleNamespace
from typing import Any

#: Name of a count, the function whose calls it is, and how many each call stands for.
COUNTED = {
    "steps": ("step", 1),
    "decisions": ("decide", 1),
    "decisions_weighed": ("act", 1),
    "passes_weighed": ("ahead_points", 1),
    "lane_risks": ("lane_risk", 1),
    "drives_weighed": ("weigh_drives", 5),
    "help_gaps": ("help_gap", 1),
    "agent_moves": ("move", 1),
    "draws": ("philox", 1),
    "square_roots": ("sqrt", 1),
    "exponentials": ("exp", 1),
}


def counter(calls: Counter[str], name: str, function: Callable[..., Any]) -> Callable[..., Any]:
    @functools.wraps(function)
    def counted(*arguments: Any) -> Any:
        calls[name] += 1
        return function(*arguments)

    return counted


def count_calls(calls: Counter[str]) -> None:
    """From now on every call of a kernel function, and of sqrt and exp, is counted by its name."""
    import engine.kernel

    modules: list[ModuleType] = [
        importlib.import_module(f"engine.kernel.{found.name}")
        for found in pkgutil.iter_modules(engine.kernel.__path__)
    ]
    counted: dict[Any, Any] = {}
    arithmetic = SimpleNamespace(
        **vars(math) | {name: counter(calls, name, getattr(math, name)) for name in ("sqrt", "exp")}
    )
    for module in modules:
        for name, value in list(vars(module).items()):
            if value is math:
                setattr(module, name, arithmetic)
            elif inspect.isfunction(value) and value.__module__.startswith("engine.kernel."):
                counted.setdefault(value, counter(calls, value.__name__, value))
                setattr(module, name, counted[value])


def counts(scenario: str, possessions: int) -> dict[str, float]:
    """Counts per possession of staying home."""
    import numba
    import numpy as np

    from engine.inputs import load_scenario
    from engine.kernel.batch import play_block
    from engine.state.record import N_RECORD
    from engine.world.pack import pack

    if not numba.config.DISABLE_JIT:
        raise SystemExit("set NUMBA_DISABLE_JIT=1: compiled functions count nothing")
    world = pack(load_scenario(scenario)).home
    calls: Counter[str] = Counter()
    count_calls(calls)
    play_block(world, 1, 0, np.zeros((possessions, N_RECORD), np.int32))
    found = {name: each * calls[function] / possessions for name, (function, each) in COUNTED.items()}
    return found | {"passes_weighed": found["passes_weighed"] - found["drives_weighed"] / 5}


if __name__ == "__main__":
    print(json.dumps(counts(sys.argv[1], int(sys.argv[2]))))
