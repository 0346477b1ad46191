"""Shots of a scenario beside an open shot log at the same distance and nearest defender.

    python benchmarks/shot_log.py FILE                        professional men, 10,000 possessions
    python benchmarks/shot_log.py FILE --scenario level_college -n 4000

FILE has the columns shot_ft, defender_ft, makes, attempts (evidence 2a: aggregates of 121,683 shots of
professional men in 2014-15; it is not in this repository). Between the middles of the log's classes of the
defender's distance its log odds are taken as straight. ``made`` and ``log`` should agree wherever the model
shoots (what was found: configs/model/record.md, "what a layup is worth").
"""

from __future__ import annotations

import argparse
import csv
import math
from pathlib import Path

import numpy as np
import pandas as pd

from engine.inputs import load_scenario
from engine.inputs.files import configs_root
from engine.run.watch import watch_numbers
from engine.study.taken import attempts
from engine.world.pack import pack

FOOT_M = 0.3048
SEED = 5
#: An open class ("8+") stands for shots about this much farther than where it begins, feet.
OPEN_FT = 2.0


class Log:
    """Makes of a shot log: log odds by class of distance, straight between classes of the defender's."""

    def __init__(self, path: Path) -> None:
        with path.open(encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        self.names = list(dict.fromkeys(row["shot_ft"] for row in rows))
        self.to_ft = [float(name.split("-")[1]) for name in self.names]
        found: dict[str, list[tuple[float, float]]] = {name: [] for name in self.names}
        for row in rows:
            low, _, high = row["defender_ft"].partition("-")
            middle = (float(low) + float(high)) / 2 if high else float(low.rstrip("+")) + OPEN_FT
            made, tried = int(row["makes"]) + 0.5, int(row["attempts"]) + 1.0
            found[row["shot_ft"]].append((middle, math.log(made / (tried - made))))
        self.lines = {name: np.array(line).T for name, line in found.items()}

    def make(self, shot_m: float, gap_m: float) -> tuple[str, float]:
        """Class of a shot's distance, and the log's make there with the nearest defender ``gap_m`` away."""
        place = min(int(np.searchsorted(self.to_ft, shot_m / FOOT_M, side="right")), len(self.names) - 1)
        at, z = self.lines[self.names[place]]
        return self.names[place], float(1.0 / (1.0 + math.exp(-np.interp(gap_m / FOOT_M, at, z))))


def shots(log: Log, scenario: str, n: int) -> pd.DataFrame:
    """Every attempt of ``n`` possessions at home: band, class of the log, metres, made, the log's make."""
    world = pack(load_scenario(configs_root() / "scenarios" / f"{scenario}.toml")).home
    rows = []
    for block in watch_numbers(world, SEED, np.arange(n)):
        for i in range(len(block.numbers)):
            for (_, _, _, _, gap, x, y), band, made in attempts(world, block.events_of(i)):
                rows.append((band, *log.make(math.hypot(x, y), gap), gap, made))
    return pd.DataFrame(rows, columns=["band", "shot_ft", "log", "gap_m", "made"])


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("file", type=Path, help="the shot log's table")
    parser.add_argument("--scenario", default="level_professional")
    parser.add_argument("-n", "--possessions", type=int, default=10_000)
    options = parser.parse_args()
    try:
        log = Log(options.file)
    except (OSError, KeyError, ValueError) as error:
        parser.error(f"{options.file}: not a table of shot_ft, defender_ft, makes, attempts ({error})")
    table = shots(log, options.scenario, options.possessions)
    for by in ("band", "shot_ft"):
        groups = table.groupby(by)
        told = groups.agg(
            n=("made", "size"), gap_m=("gap_m", "median"), made=("made", "mean"), log=("log", "mean")
        )
        told["s.e."] = groups["made"].std() / np.sqrt(told["n"])
        print(told.reindex(log.names if by == "shot_ft" else told.index).round(3).to_string(), end="\n\n")


if __name__ == "__main__":
    main()
