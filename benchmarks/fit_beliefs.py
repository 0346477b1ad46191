"""Fits what a level's players believe to what happens to them, and writes it into the level's file.

    python benchmarks/fit_beliefs.py                       every level: a table, nothing written
    python benchmarks/fit_beliefs.py --level school -n 2000  one level, small
    python benchmarks/fit_beliefs.py --write               the constants ``belief_*`` and what they stand on
    python benchmarks/fit_beliefs.py --other --write       the same against the other of zone and men
    python benchmarks/fit_beliefs.py --rounds 0 --write    only what men make of the shots they take

A level's reference scenario (configs/scenarios/level_<name>.toml) is played at home and under four trap
calls; every decision is held against what came of it (engine.study.decisions), the beliefs move part of the
way to what was measured, and other possessions are played, because players who believe otherwise choose
otherwise. The steps become smaller and the later half of the rounds is averaged (Polyak and Juditsky 1992,
from memory): errors of rounds that have possessions of their own cancel out in it.
Nothing is fitted to a rate of play: benchmarks/fit_levels.py does both in one loop.
"""

from __future__ import annotations

import argparse
import re
import tempfile
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd

from engine.inputs import Scenario, load_scenario
from engine.inputs.files import configs_root, shipped
from engine.inputs.scenario import constants_against, with_constants
from engine.run.blocks import Runner
from engine.state.words import TrapPhase
from engine.study.beliefs import fit, moved
from engine.study.decisions import LOOKS, choices, reliability
from engine.study.patterns.common import called
from engine.study.taken import measure_taken
from engine.world.pack import pack

#: The calls of a defence, that of its file.
CALLS = {
    "two_three": ("corner", "short_corner", "wing", "top"),
    "man_to_man": tuple(f"man_to_man_{spot}" for spot in ("corner", "short_corner", "wing", "half_court")),
}
SEED = 1
SOURCE = "measured: benchmarks/fit_beliefs.py"


#: The defence that a level is measured against beside its own: the other of zone and men.
OTHER = {"two_three": "man_to_man", "man_to_man": "two_three"}


def scenario_of(level: str, other: bool = False) -> Scenario:
    """The level's reference scenario with a setting for each of its defence's CALLS; or against the other."""
    place = configs_root() / "scenarios" / f"level_{level}.toml"
    text = place.read_text(encoding="utf-8")
    zone = load_scenario(place).zone.name
    if other:
        text = text.replace(f'zone = "{zone}"', f'zone = "{OTHER[zone]}"')
        zone = OTHER[zone]
    settings = "".join(
        f'\n[[setting]]\nname = "{c}"\n[[setting.call]]\ncall = "{c}"\nprobability = 1.0\n'
        for c in CALLS[zone]
    )
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"level_{level}.toml"
        file.write_text(text + settings, encoding="utf-8")
        return load_scenario(file)


def as_measured(scenario: Scenario) -> Scenario:
    """The scenario with what is believed against its own defence as its constants, whatever the kind."""
    constants = constants_against(scenario, scenario.zone)
    return scenario.model_copy(update={"constants": constants, "other_defence": {}})


AS_EVER = (0,)
#: Measured, but taken by no level: who knows what his shots and the ends of his drives bring attacks at once,
#: with half the passes of the game (configs/model/record.md).
NOT_TAKEN = ("belief_own_gap_m", "belief_own_gap_share", "belief_shot_points", "belief_end_points")
#: Possessions as played and under each call (in most of them it is not made) for one with all tried.
TRAPPED = 4


def decisions(task: tuple[Scenario, int | None, int, int, int]) -> pd.DataFrame:
    """Decisions at home (setting None) or, while a trap runs, under a setting; of look ``look`` if not 0.

    Under a setting only possessions in which it calls are watched: what is tried changes nothing before it.
    """
    scenario, setting, look, first, n = task
    packed = pack(with_constants(scenario, {"tried_look": look}))
    numbers = np.arange(first, first + n)
    if setting is None:
        return choices(packed.home, SEED, numbers, 1, look or None)
    as_ever = pack(scenario).settings[setting].world
    records = Runner(SEED).block(as_ever, first, n, "called")
    table = choices(packed.settings[setting].world, SEED, numbers[called(records)], 1, look or None)
    return table[table["phase"] != TrapPhase.NONE]


def played(
    pool: Executor, scenario: Scenario, n: int, looks: tuple[int, ...], number: int = 0
) -> pd.DataFrame:
    """Decisions of ``n`` possessions at home with all tried (LOOKS), TRAPPED times as many as they are
    played, and under each call. Every look of every round ``number`` has possessions of its own.

    What going on is worth is what all else is held against: it is measured as played, and on many.
    """
    each = TRAPPED * n
    tasks = []
    for look in looks:
        first = (number * (max(LOOKS) + 1) + look) * each
        tasks.append((scenario, None, look, first, n if look else each))
        tasks += [(scenario, setting, look, first, each) for setting in range(len(scenario.settings))]
    return pd.concat(list(pool.map(decisions, tasks)), ignore_index=True)


def step_of(number: int, rounds: int) -> float:
    """Share of a usual step that round ``number`` (from 0) takes: whole ones in a third, then less."""
    return min(1.0, ((rounds + 2) / 3.0) / (number + 1.0))


def averaged(rounds: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """The mean of the later half of the rounds."""
    later = rounds[len(rounds) // 2 :]
    names = later[-1]
    return {name: round(float(np.mean([one.get(name, names[name]) for one in later])), 4) for name in names}


def measured(pool: Executor, scenario: Scenario, n: int, number: int) -> dict[str, float]:
    """What round ``number`` asks the beliefs to be."""
    ever, tried = (played(pool, scenario, n, looks, number) for looks in (AS_EVER, LOOKS))
    asked = fit(ever, tried, scenario.constants)
    return {name: value for name, value in asked.items() if name not in NOT_TAKEN}


def fitted(pool: Executor, scenario: Scenario, n: int, rounds: int) -> tuple[dict[str, float], pd.DataFrame]:
    """The beliefs after so many rounds, and the reliability of those as they are then played."""
    values: dict[str, float] = {}
    found: list[dict[str, float]] = []
    for number in range(rounds):
        current = with_constants(scenario, values)
        values = values | moved(
            current.constants, measured(pool, current, n, number), step_of(number, rounds)
        )
        found.append(values)
    values = averaged(found) if found else {}
    return values, reliability(played(pool, with_constants(scenario, values), n, AS_EVER))


def written(text: str, values: Mapping[str, float], table: str = "constants") -> str:
    """A level file's text with these constants put in; of ``other_defence`` none stays."""
    for name in values if table == "constants" else (r"\w+",):
        text = re.sub(rf"(?m)^\[{table}\.{name}\]\n(?:[^\[\n].*\n)*\n?", "", text)
    tables = "".join(f'[{table}.{name}]\nvalue = {v}\nsource = "{SOURCE}"\n\n' for name, v in values.items())
    at = text.index("[players.")
    return text[:at] + tables + text[at:]


def put(level: str, values: Mapping[str, float], table: str = "constants") -> None:
    """Write constants into a level's file."""
    path = Path(configs_root() / "levels" / f"{level}.toml")
    path.write_text(written(path.read_text(encoding="utf-8"), values, table), encoding="utf-8")


def put_taken(level: str, n: int) -> None:
    """Measure what the level's men make of the shots they take, and write it into the level's file."""
    values = {name: round(v, 3) for name, v in measure_taken(scenario_of(level), SEED, n).items()}
    print("  " + ", ".join(f"{name} {value}" for name, value in values.items()), flush=True)
    put(level, values)


def fit_other(pool: Executor, level: str, n: int, rounds: int) -> tuple[dict[str, float], pd.DataFrame]:
    """What the level's players believe against the other of zone and men."""
    return fitted(pool, as_measured(scenario_of(level, other=True)), n, rounds)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--level", action="append", choices=shipped("levels"), help="default: every level")
    parser.add_argument("-n", "--possessions", type=int, default=8_000, help="at home in every round")
    parser.add_argument("--rounds", type=int, default=4)
    parser.add_argument("--threads", type=int)
    parser.add_argument("--other", action="store_true", help="against the other of zone and men")
    parser.add_argument("--write", action="store_true", help="put them into the level's file")
    options = parser.parse_args()
    pool = ProcessPoolExecutor(options.threads)
    for level in options.level or shipped("levels"):
        scenario = as_measured(scenario_of(level, options.other))
        values, table = fitted(pool, scenario, options.possessions, options.rounds)
        print(level)
        print(table.round(3).to_string(index=False))
        print("  " + ", ".join(f"{name} {value}" for name, value in values.items()), flush=True)
        if options.write:
            put(level, values, "other_defence" if options.other else "constants")
            if not options.other:
                put_taken(level, options.possessions)


if __name__ == "__main__":
    main()
