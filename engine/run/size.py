"""How much a user may ask for; apart from engine.run.blocks, so that to check it takes no compiled engine."""

from __future__ import annotations

import os
from dataclasses import dataclass

import numpy as np

from engine.errors import InputError
from engine.inputs.defaults import MOST_POSSESSIONS, MOST_SEED

MAX_THREADS = 1024


@dataclass(frozen=True)
class RunSize:
    """Checked size of a run: possessions (>= 1), seed (0..2^64-1) and threads (>= 1)."""

    possessions: int
    seed: int
    threads: int


def check_size(possessions: int, seed: int, threads: int | None) -> RunSize:
    """Check what a user may ask for; ``threads`` None means one per available core.

    Raises
    ------
    InputError
        naming the option, the value and what is allowed.
    """
    if threads is None:
        threads = available_cores()
    for name, value, low, high in (
        ("--possessions", possessions, 1, MOST_POSSESSIONS),
        ("--seed", seed, 0, MOST_SEED),
        ("--threads", threads, 1, MAX_THREADS),
    ):
        if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or not low <= value <= high:
            raise InputError(name, "", value, f"a whole number from {low} to {high}")
    return RunSize(int(possessions), int(seed), int(threads))


def available_cores() -> int:
    """Cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1
