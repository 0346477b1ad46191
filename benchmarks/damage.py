"""A thousand damaged stores: what a reader, a run and a repair make of flipped bits and cut files.

    python benchmarks/damage.py --stores 1000 --repaired 50 -o damage.json

A small sweep is played into a store; copies of it are damaged (one, five or fifty flipped bits, or cut short)
and read. What is read without a word must be what was written; some are made anew and must then be the whole
store, to the bit. Exit status 1 where anything was silent or anything but one line was said.
"""

from __future__ import annotations

import argparse
import json
import random
import tempfile
import time
from collections import Counter
from pathlib import Path

import pandas as pd

from engine.study.sweep.design import Design, load_design
from engine.study.sweep.gather import gather
from engine.study.sweep.stored import Stored
from engine.study.sweep.storefile import StoreTrouble
from engine.study.sweep.sweep import sweep

DESIGN = """
title = "A small sweep to damage"
scenario = "friday_night"
possessions = 60
batch = 20
seed = 11
settings = ["home", "corner trap"]
[design]
method = "grid"
[[factor]]
path = "constants.reaction_s"
low = 0.2
high = 0.5
steps = 8
"""


def damaged(data: bytes, rng: random.Random) -> tuple[str, bytes]:
    """The kind of damage and a copy that has it."""
    if rng.random() < 0.2:
        return "cut short", data[: rng.randrange(len(data))]
    flips = rng.choice((1, 1, 1, 5, 50))
    found = bytearray(data)
    for _ in range(flips):
        found[rng.randrange(len(found))] ^= 1 << rng.randrange(8)
    return f"{flips} flipped bit{'s' if flips > 1 else ''}", bytes(found)


def contents(path: Path) -> list[tuple[object, ...]]:
    """Every batch with its bytes."""
    with Stored.read(path) as store:
        query = "SELECT point, first, count, sha256, tally FROM batches ORDER BY point, first"
        return store.connection.execute(query).fetchall()


def read(path: Path, table: pd.DataFrame) -> str:
    """What a reader makes of a damaged store, in a word."""
    try:
        found = gather(path)
    except StoreTrouble as trouble:
        return "found" if "\n" not in str(trouble) else "not in one line"
    except Exception as error:
        return f"traceback: {type(error).__name__}"
    return "harmless" if found.equals(table) else "silent"


def made_anew(path: Path, design: Design, rows: list[tuple[object, ...]]) -> str:
    """What becomes of a damaged store in the hands of --repair, in a word."""
    try:
        found = sweep(design, path, repair=True)
    except StoreTrouble:
        return "no longer seen to be a store, refused"
    if contents(path) != rows:
        return "another store"
    return "whole, some taken over" if found.taken else "whole"


def main(arguments: list[str] | None = None) -> int:
    """Damage, read, make anew; print the counts."""
    parser = argparse.ArgumentParser(description="Damaged stores of a sweep.")
    parser.add_argument("--stores", type=int, default=1000, help="damaged copies")
    parser.add_argument("--repaired", type=int, default=50, help="how many of them are made anew")
    parser.add_argument("--seed", type=int, default=1, help="of the damage")
    parser.add_argument("-o", "--output", help="JSON file for the counts")
    given = parser.parse_args(arguments)
    rng, started = random.Random(given.seed), time.perf_counter()
    reading: dict[str, Counter[str]] = {}
    repairs: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        file, whole = Path(folder) / "small.toml", Path(folder) / "whole.db"
        file.write_text(DESIGN)
        design = load_design(file)
        sweep(design, whole)
        data, table, rows = whole.read_bytes(), gather(whole), contents(whole)
        for number in range(given.stores):
            path = Path(folder) / f"{number}.db"
            kind, copy = damaged(data, rng)
            path.write_bytes(copy)
            reading.setdefault(kind, Counter())[read(path, table)] += 1
            if number < given.repaired:
                repairs[made_anew(path, design, rows)] += 1
            for one in Path(folder).glob(f"{number}.db*"):
                one.unlink()
    counts: Counter[str] = sum(reading.values(), Counter())
    result = {
        "stores": given.stores,
        "seed": given.seed,
        "bytes": len(data),
        "read": dict(counts),
        "by_damage": {kind: dict(found) for kind, found in sorted(reading.items())},
        "repaired": dict(repairs),
        "seconds": round(time.perf_counter() - started, 1),
    }
    text = json.dumps(result, indent=2)
    print(text)
    if given.output:
        Path(given.output).write_text(text + "\n", encoding="utf-8")
    good = set(counts) <= {"found", "harmless"} and "another store" not in repairs
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
