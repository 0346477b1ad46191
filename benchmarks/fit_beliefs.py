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
from concurrent.futures import Executor, ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd

from engine.inputs import Scenario, load_scenario
from engine.inputs.files import configs_root, shipped
from engine.state.words import TrapPhase
from engine.study.adapt import with_constants
from engine.study.beliefs import LOOKS, choices, fit, moved, reliability
from engine.world.pack import pack

#: The calls of a defence, that of its file.
CALLS = {
    "two_three": ("corner", "short_corner", "wing", "top"),
    "man_to_man": tuple(f"man_to_man_{spot}" for spot in ("corner", "short_corner", "wing", "half_court")),
}
SEED = 1
SOURCE = "measured: benchmarks/fit_beliefs.py"


def scenario_of(level: str) -> Scenario:
    """The level's reference scenario with a setting for each of its defence's CALLS."""
    place = configs_root() / "scenarios" / f"level_{level}.toml"
    text = place.read_text(encoding="utf-8")
    calls = CALLS[load_scenario(place).zone.name]
    settings = "".join(
        f'\n[[setting]]\nname = "{c}"\n[[setting.call]]\ncall = "{c}"\nprobability = 1.0\n' for c in calls
    )
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"level_{level}.toml"
        file.write_text(text + settings, encoding="utf-8")
        return load_scenario(file)


AS_EVER = (0,)


def decisions(task: tuple[Scenario, int | None, int, int]) -> pd.DataFrame:
    """Decisions at home (setting None) or, while a trap runs, under a setting; of look ``look`` if not 0."""
    scenario, setting, look, n = task
    packed = pack(with_constants(scenario, {"tried_look": look}))
    world = packed.home if setting is None else packed.settings[setting].world
    numbers = np.arange(n) + look * n  # every run has possessions of its own
    table = choices(world, SEED, numbers, 1, look or None)
    return table if setting is None else table[table["phase"] != TrapPhase.NONE]


def played(pool: Executor, scenario: Scenario, n: int, looks: tuple[int, ...]) -> pd.DataFrame:
    """Decisions of ``n`` possessions at home and under each call; with LOOKS those in which all was tried."""
    settings = (None, *range(len(scenario.settings)))
    # at home twice as many: most decisions are made there, and a little in them changes a whole game
    tasks = [
        (scenario, setting, look, 2 * n if setting is None else n) for look in looks for setting in settings
    ]
    return pd.concat(list(pool.map(decisions, tasks)), ignore_index=True)


def fitted(pool: Executor, level: str, n: int, rounds: int) -> tuple[dict[str, float], pd.DataFrame]:
    """The level's beliefs after so many rounds, and the reliability of the last ones played."""
    scenario = scenario_of(level)
    values: dict[str, float] = {}
    for _ in range(rounds):
        current = with_constants(scenario, values)
        now = current.constants
        ever, tried = (played(pool, current, n, looks) for looks in (AS_EVER, LOOKS))
        values |= moved(now, fit(ever, tried, now))
    return values, reliability(played(pool, with_constants(scenario, values), n, AS_EVER))


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
    pool = ProcessPoolExecutor(options.threads)
    for level in options.level or shipped("levels"):
        values, table = fitted(pool, level, options.possessions, options.rounds)
        print(level)
        print(table.round(3).to_string(index=False))
        print("  " + ", ".join(f"{name} {value}" for name, value in values.items()), flush=True)
        if options.write:
            path = Path(configs_root() / "levels" / f"{level}.toml")
            path.write_text(written(path.read_text(encoding="utf-8"), values), encoding="utf-8")


if __name__ == "__main__":
    main()
