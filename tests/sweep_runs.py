"""What the tests of sweeps share: small designs, an executor without threads, and what a store holds."""

from __future__ import annotations

import sqlite3
from collections import deque
from pathlib import Path
from typing import Any

from engine.study.sweep.design import load_design
from engine.study.sweep.resolve import Resolver
from engine.study.sweep.runner import LocalThreads, Progress, Workshop, run_sweep
from engine.study.sweep.store import Store
from engine.study.sweep.tallies import Batch, Outcome

DESIGN = """\
title = "Reaction time and traps already seen"
scenario = "{scenario}"
possessions = {possessions}
batch = {batch}
seed = 11
luck = "{luck}"
settings = ["home", "corner trap"]
[design]
method = "grid"
[[factor]]
path = "constants.reaction_s"
low = 0.25
high = 0.45
steps = {steps}
[[factor]]
path = "game.traps_seen"
values = [0, 2]
"""


def design_file(
    folder: Path,
    *,
    possessions: int = 60,
    batch: int = 30,
    steps: int = 2,
    luck: str = "common",
    scenario: str = "friday_night",
    name: str = "design.toml",
    replaced: tuple[str, str] = ("", ""),
) -> Path:
    """A design of 2 * steps points as a file; ``replaced`` changes one place of its text."""
    text = DESIGN.format(possessions=possessions, batch=batch, steps=steps, luck=luck, scenario=scenario)
    assert replaced[0] in text
    path = folder / name
    path.write_text(text.replace(*replaced))
    return path


def small_design(folder: Path, **how: Any) -> Any:
    return load_design(design_file(folder, **how))


class Inline:
    """Plays a batch when it is asked for its outcome, in the calling thread."""

    def __init__(self, workshop: Workshop, slots: int = 3) -> None:
        self.workshop, self.slots = workshop, slots
        self.waiting: deque[Batch] = deque()
        self.most = 0
        self.played: list[Batch] = []

    def submit(self, batch: Batch) -> None:
        self.waiting.append(batch)
        self.most = max(self.most, len(self.waiting))

    def finished(self, timeout_s: float) -> list[Outcome]:
        if not self.waiting or timeout_s <= 0:
            return []
        batch = self.waiting.popleft()
        self.played.append(batch)
        return [self.workshop.play(batch)]

    def close(self) -> None:
        self.waiting.clear()


def workshop_of(design: Any) -> Workshop:
    return Workshop(design, Resolver(design))


def run_into(path: Path, design: Any, possessions: int | None = None, threads: int | None = None) -> Progress:
    """Run a sweep to its end in this thread, or on threads."""
    shop = workshop_of(design)
    executor: Any = Inline(shop) if threads is None else LocalThreads(shop, threads)
    with Store.write(path, design, possessions) as store:
        return run_sweep(store, executor)


def contents(path: Path) -> list[tuple[Any, ...]]:
    """Everything of the batches of a store that must not depend on how they came about, in order."""
    connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
    try:
        query = "SELECT point, first, count, sha256, tally FROM batches ORDER BY point, first"
        return connection.execute(query).fetchall()
    finally:
        connection.close()


def check_whole(path: Path) -> None:
    """SQLite finds nothing wrong with the file."""
    with Store.read(path) as store:
        assert store.check() == []


class StopAfter:
    """Ctrl-C after so many batches."""

    def __init__(self, batches: int) -> None:
        self.batches = batches

    def __call__(self, progress: Any) -> None:
        if progress.batches >= self.batches:
            raise KeyboardInterrupt


class Broken:
    """A resolver one of whose points fails."""

    def __init__(self, resolver: Any, point: int, error: Exception) -> None:
        self.resolver, self.point, self.error = resolver, point, error

    def packed(self, point: int) -> Any:
        if point == self.point:
            raise self.error
        return self.resolver.packed(point)
