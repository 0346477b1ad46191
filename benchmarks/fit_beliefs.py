"""Fits what a level's players believe to what happens to them, and writes it into the level's file.

    python benchmarks/fit_beliefs.py                       every level: a table, nothing written
    python benchmarks/fit_beliefs.py --level school -n 2000  one level, small
    python benchmarks/fit_beliefs.py --write               the constants ``belief_*`` and what they stand on

A level's reference scenario (configs/scenarios/level_<name>.toml) is played at home and under four trap
calls; every decision is held against what came of it (engine.study.beliefs), the beliefs move most of the
way to what was measured, and it is played again, because players who believe otherwise choose otherwise.
Nothing is fitted to a rate of play: that is benchmarks/fit_levels.py; the two are run in turn.
"""

from __future__ import annotations

import argparse
import re
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

from engine.inputs import Scenario, load_constants, load_scenario
from engine.inputs.files import configs_root, shipped
from engine.state.words import TrapPhase
from engine.study.beliefs import choices, fit, reliability
from engine.world.pack import pack

CALLS = ("corner", "short_corner", "wing", "top")
#: A round moves a belief this share of the way: what is measured depends on what is believed.
SHARE = 0.6
SEED = 1
SOURCE = "measured: benchmarks/fit_beliefs.py"


def scenario_of(level: str) -> Scenario:
    """The level's reference scenario with a setting for each of CALLS."""
    text = (configs_root() / "scenarios" / f"level_{level}.toml").read_text(encoding="utf-8")
    settings = "".join(
        f'\n[[setting]]\nname = "{c}"\n[[setting.call]]\ncall = "{c}"\nprobability = 1.0\n' for c in CALLS
    )
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"level_{level}.toml"
        file.write_text(text + settings, encoding="utf-8")
        return load_scenario(file)


def played(scenario: Scenario, n: int, threads: int | None) -> pd.DataFrame:
    """Decisions at home, and under each call those while a trap runs."""
    packed = pack(scenario)
    tables = [choices(packed.home, SEED, np.arange(n), threads)]
    for setting in packed.settings:
        table = choices(setting.world, SEED, np.arange(n), threads)
        tables.append(table[table["phase"] != TrapPhase.NONE])
    return pd.concat(tables, ignore_index=True)


def with_constants(scenario: Scenario, values: dict[str, float]) -> Scenario:
    return scenario.model_copy(update={"constants": {**scenario.constants, **values}})


def fitted(level: str, n: int, rounds: int, threads: int | None) -> tuple[dict[str, float], pd.DataFrame]:
    """The level's beliefs after so many rounds, and the reliability of the last ones played."""
    scenario, known = scenario_of(level), load_constants()
    values: dict[str, float] = {}
    table = played(scenario, n, threads)
    for _ in range(rounds):
        now = {**scenario.constants, **values}
        for name, measured in fit(table, now).items():
            old = now[name]
            moved = old + SHARE * (measured - old)
            values[name] = float(np.clip(moved, known[name].low, known[name].high))
        table = played(with_constants(scenario, values), n, threads)
    return {name: round(value, 4) for name, value in values.items()}, reliability(table)


def written(text: str, values: dict[str, float]) -> str:
    """A level file's text with these constants put in, before its players."""
    for name in values:
        text = re.sub(rf"(?m)^\[constants\.{name}\]\n(?:[^\[\n].*\n)*\n?", "", text)
    tables = "".join(
        f'[constants.{name}]\nvalue = {v}\nsource = "{SOURCE}"\n\n' for name, v in values.items()
    )
    at = text.index("[players.")
    return text[:at] + tables + text[at:]


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--level", action="append", choices=shipped("levels"), help="default: every level")
    parser.add_argument("-n", "--possessions", type=int, default=8_000, help="of each setting and round")
    parser.add_argument("--rounds", type=int, default=4)
    parser.add_argument("--threads", type=int)
    parser.add_argument("--write", action="store_true", help="put them into the level's file")
    options = parser.parse_args()
    for level in options.level or shipped("levels"):
        values, table = fitted(level, options.possessions, options.rounds, options.threads)
        print(level)
        print(table.round(3).to_string(index=False))
        print("  " + ", ".join(f"{name} {value}" for name, value in values.items()), flush=True)
        if options.write:
            path = Path(configs_root() / "levels" / f"{level}.toml")
            path.write_text(written(path.read_text(encoding="utf-8"), values), encoding="utf-8")


if __name__ == "__main__":
    main()
