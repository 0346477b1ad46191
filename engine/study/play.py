"""Plays one setting of a scenario: box score, endings, shot mix, pace."""

from __future__ import annotations

import difflib
import platform
from dataclasses import asdict, dataclass
from functools import cached_property
from importlib import metadata
from os import PathLike

import numpy as np

from engine import tables as pd
from engine.errors import InputError
from engine.estimate import calls as estimate
from engine.estimate.intervals import Found
from engine.estimate.tally import BoxTally, IntArray, Tally
from engine.inputs import config_hash
from engine.inputs.calls import Call
from engine.inputs.defaults import HOME
from engine.inputs.files import shown_path
from engine.inputs.scenario import Scenario
from engine.inputs.settings import Setting
from engine.inputs.sheets import load_any
from engine.kernel.batch import source_stamp
from engine.run.blocks import Progress, Records, Runner, World, run_blocks
from engine.run.records import Recorded, RecordFile
from engine.run.size import RunSize, check_size
from engine.state.record import COLUMN
from engine.state.words import OUTCOMES
from engine.study.pace import possessions_per_game, seconds_before_start
from engine.study.play_steps import StepTally, count_steps, steps_dict
from engine.study.worth import worth_dict
from engine.version import __version__
from engine.world.pack import Packed, pack

#: What a study takes: a loaded scenario, or the path of a scenario file or of a folder of sheets.
Opening = Scenario | str | PathLike[str]

#: Number of the JSON contract.
SCHEMA = 1

#: Further counts of the records that the JSON carries under "counts".
COUNTS = (
    "rim_made",
    "shooting_fouls",
    "blocks",
    "passes",
    "skips",
    "deflections",
    "open_threes",
    "assisted",
    "drives",
    "violations",
    "held_balls",
    "late_shots",
    "late_points",
    "n_calls",
)
#: Rates of the JSON, in the order a coach reads them: key -> attribute of the estimates.
RATES = {
    "effective_field_goal": "effective_field_goal_share",
    "turnover": "turnover_rate",
    "offensive_rebound": "offensive_rebound_share",
    "free_throws_per_field_goal": "free_throw_rate",
    "field_goal": "field_goal_share",
    "three_point": "three_share",
    "rim": "rim_share",
    "free_throw": "free_throw_share",
    "three_attempts": "three_attempt_share",
    "rim_attempts": "rim_attempt_share",
    "open_of_threes": "open_three_share",
    "assisted_of_made": "assisted_share",
    "steals_of_turnovers": "steal_share",
}
#: Mean distance of the nearest defender, metres: key -> attribute of the estimates.
NEAREST = {
    "three_point_shot": "three_gap_m",
    "next_pass_catch": "next_gap_m",
    "skip_pass_catch": "skip_gap_m",
    "missed_bump_catch": "missed_bump_gap_m",
}


def open_scenario(scenario: Opening) -> Scenario:
    """A scenario object, loaded when a path is given: of a scenario file, or of a folder of sheets."""
    if isinstance(scenario, (str, PathLike)):
        return load_any(scenario)
    return scenario


def run_size(scenario: Scenario, possessions: int | None, seed: int | None, threads: int | None) -> RunSize:
    """Size of a run; what is None comes from the scenario."""
    return check_size(
        scenario.possessions if possessions is None else possessions,
        scenario.seed if seed is None else seed,
        threads,
    )


def check_setting(scenario: Scenario, setting: str | None) -> int:
    """Index of a setting by name; -1 for "home" or None, the base zone alone.

    Raises
    ------
    InputError
        when the scenario has no setting of that name.
    """
    if setting is None or setting == HOME:
        return -1
    names = [found.name for found in scenario.settings]
    if setting in names:
        return names.index(setting)
    near = difflib.get_close_matches(setting, [HOME, *names], n=1)
    shown = {HOME: HOME, **{name: f'"{name}"' for name in names}}  # names may hold commas
    hint = f" (nearest: {shown[near[0]]})" if near else ""
    raise InputError(scenario.path, "setting", setting, "one of " + ", ".join(shown.values()) + hint)


def world_of(packed: Packed, index: int) -> World:
    """The packed world of a setting by index, -1 staying home."""
    return packed.home if index < 0 else packed.settings[index].world


def versions() -> dict[str, str]:
    """Versions, kernel sources, processor type and mathematics library that the bits may depend on."""
    return {
        "python": platform.python_version(),
        **{name: metadata.version(name) for name in ("numpy", "numba", "scipy")},
        "sources of the kernel": f"{source_stamp():016x}",
        "processor": platform.machine(),
        "mathematics library": " ".join(platform.libc_ver()).strip() or platform.system(),
    }


def head(command: str, scenario: Scenario, size: RunSize) -> Found:
    """First keys of every JSON result."""
    return {
        "schema": SCHEMA,
        "tool": "trapledger",
        "version": __version__,
        "command": command,
        "scenario": shown_path(scenario.path),
        "title": scenario.title,
        "config_hash": config_hash(scenario),
        "seed": size.seed,
        "possessions": size.possessions,
        "versions": versions(),
        "assumed": list(scenario.assumed),
    }


def with_origin(table: pd.DataFrame, result: Found) -> pd.DataFrame:
    """A table with where it comes from as ``attrs``: version, config hash, seed, possessions, versions."""
    table.attrs = {key: result[key] for key in ("version", "config_hash", "seed", "possessions", "versions")}
    return table


def defence_dict(scenario: Scenario, setting: Setting | None = None) -> Found:
    """The base defence of a setting (None: staying home): name, title, options taken, coded policy."""
    zone = scenario.zone
    if setting is not None:
        zone = setting.zone or zone
    options, policy = (getattr(setting or scenario, key) for key in ("zone_options", "policy"))
    return {"name": zone.name, "title": zone.title, "options": dict(options), "policy": policy}


def plays_dict(scenario: Scenario, setting: Setting | None = None) -> dict[str, str]:
    """The plays of the attack in a setting (None: staying home): name -> title."""
    plays = scenario.plays if setting is None or setting.plays is None else setting.plays
    return {play.name: play.title for play in plays}


def play_block_dict(box: BoxTally) -> Found:
    """The play block of the JSON contract, with more beside the fixed keys."""
    found = estimate.estimate_play(box)
    factors = found.four_factors
    return {
        "points_per_possession": found.points_per_possession.as_dict(),
        "net_points_per_possession": found.net_points_per_possession.as_dict(),
        "seconds_per_possession": found.seconds_per_possession.as_dict(),
        "box": box.box(),
        "ends": box.ends_by_name(),
        "rates": {key: getattr(found, name).as_dict() for key, name in RATES.items()},
        "shot_mix": [
            {
                "band": shots.name,
                "attempts": shots.attempts,
                "share": shots.of_all.as_dict(),
                "made": shots.made.as_dict(),
            }
            for shots in found.shots
        ],
        "nearest_defender_m": {key: getattr(found, name).as_dict() for key, name in NEAREST.items()},
        "counts": {name: box.total(name) for name in COUNTS},
        "four_factors": None if factors is None else asdict(factors),
        "checks": {name: box.total(name) for name in ("policy_faults", "overflow")},
    }


@dataclass(frozen=True, eq=False)
class PlayTally(Tally):
    """One setting played: ``box``, and ``first`` int64[n_spots, outcome] possessions by their first call."""

    box: BoxTally
    first: IntArray

    @classmethod
    def from_records(cls, records: Records, n_spots: int) -> PlayTally:
        """Tally a block int32[count, N_RECORD]."""
        spot = records[:, COLUMN["first_call"]].astype(np.int64)
        outcome = records[:, COLUMN["outcome"]].astype(np.int64)
        code = ((spot - 1) * len(OUTCOMES) + outcome)[spot > 0]
        first = np.bincount(code, minlength=n_spots * len(OUTCOMES)).astype(np.int64)
        return cls(BoxTally.from_records(records), first.reshape(n_spots, len(OUTCOMES)))


@dataclass(frozen=True)
class PlayResult:
    """What one setting did: ``tally`` the whole-number sums, ``to_dict()`` the JSON contract."""

    scenario: Scenario
    size: RunSize
    setting: str
    calls_made: tuple[Call, ...]
    tally: PlayTally

    @cached_property
    def steps(self) -> StepTally:
        """How often steps of plays began: possessions are played again and watched once it is asked for."""
        index = check_setting(self.scenario, self.setting)
        return count_steps(world_of(pack(self.scenario), index), self.size)

    def to_dict(self, steps: bool = True) -> Found:
        """The JSON contract of ``play``; equal for equal inputs whatever the number of threads.

        ``steps`` False leaves out ``play_steps``, for which possessions are watched.
        """
        box = self.tally.box
        result = head("play", self.scenario, self.size)
        result["setting"] = self.setting
        result["offence"] = self.scenario.offence_team.name
        result["defence"] = self.scenario.defence_team.name
        result["base_defence"] = defence_dict(self.scenario, self._setting())
        result["plays"] = plays_dict(self.scenario, self._setting())
        result |= play_block_dict(box)
        result["seconds_before_start"] = seconds_before_start(self.scenario)
        seconds = result["seconds_per_possession"]["mean"]
        result["possessions_per_game"] = possessions_per_game(self.scenario, seconds)
        result["calls"] = self._calls()
        result["ball_worth"] = worth_dict(self.scenario, self._setting())
        if steps:
            result["play_steps"] = steps_dict(self.scenario, self._setting(), self.steps)
        return result

    def _setting(self) -> Setting | None:
        """The setting of the scenario that was played; None for staying home."""
        index = check_setting(self.scenario, self.setting)
        return self.scenario.settings[index] if index >= 0 else None

    def _calls(self) -> list[Found]:
        n = self.tally.box.n
        found = []
        for call, outcomes in zip(self.calls_made, self.tally.first, strict=True):
            called = int(outcomes.sum())
            shares = [count / called if called else None for count in outcomes.tolist()]
            found.append(
                {
                    "spot": call.spot,
                    "call": call.name,
                    "called": called,
                    "per_100_possessions": 100 * called / n,
                    "outcomes": dict(zip(OUTCOMES, shares, strict=True)),
                }
            )
        return found

    def table(self) -> pd.DataFrame:
        """Means and rates: index quantity, columns mean, low, high (95%)."""
        found = self.to_dict(steps=False)
        rows = {
            name: found[name]
            for name in ("points_per_possession", "net_points_per_possession", "seconds_per_possession")
        } | found["rates"]
        table = pd.DataFrame.from_dict(rows, orient="index", columns=["mean", "low", "high"])
        return with_origin(table.astype(float).rename_axis("quantity"), found)

    def box(self) -> pd.Series:
        """The box score: counts over all possessions."""
        return pd.Series(self.tally.box.box(), name=self.setting)

    def ends(self) -> pd.Series:
        """How possessions ended: counts."""
        return pd.Series(self.tally.box.ends_by_name(), name=self.setting)

    def shots(self) -> pd.DataFrame:
        """Shots by band of distance: attempts, share of all attempts and share made, with 95% intervals."""
        rows = play_block_dict(self.tally.box)["shot_mix"]
        return pd.json_normalize(rows, sep="_").set_index("band")

    def calls(self) -> pd.DataFrame:
        """First calls: spot, call, called, per 100 possessions, and the share of each outcome."""
        return pd.json_normalize(self._calls(), sep="_")


def play(
    scenario: Opening,
    possessions: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    setting: str | None = None,
    progress: Progress | None = None,
    records: str | PathLike[str] | None = None,
) -> PlayResult:
    """Play one setting of a scenario.

    Parameters
    ----------
    scenario : path of a scenario file, or what ``engine.load`` returned
    possessions, seed : None takes the scenario's own
    threads : None uses every available core; the result does not depend on it
    setting : name of a setting, None or "home" for staying home in the base zone
    progress : called as ``progress(done, total)`` after each block
    records : Parquet file for one row per possession (``engine.run.records`` says what it holds)

    Raises
    ------
    InputError
        bad input, an unknown setting, possessions < 1, a negative seed, threads < 1, or a file that cannot be
        written.
    """
    scenario = open_scenario(scenario)
    size = run_size(scenario, possessions, seed, threads)
    index = check_setting(scenario, setting)
    calls = tuple(scenario.settings[index].calls) if index >= 0 else ()
    name = setting or HOME
    world = world_of(pack(scenario), index)
    if records is None:
        tally = _play(world, len(calls), size, progress, None)
    else:
        about = head("play", scenario, size) | {"setting": name}
        with RecordFile(records, name, size.seed, [call.name for call in calls], about) as file:
            tally = _play(world, len(calls), size, progress, file)
    return PlayResult(scenario, size, name, calls, tally)


def _play(
    world: World, n_calls: int, size: RunSize, progress: Progress | None, file: RecordFile | None
) -> PlayTally:
    """Play the world of a setting, its records into ``file`` if there is one."""
    runner = Runner(size.seed)
    runner.warm(world)

    def task(first: int, count: int) -> Recorded[PlayTally]:
        records = runner.block(world, first, count, HOME)
        rows = None if file is None else file.rows(records, first)
        return Recorded(PlayTally.from_records(records, n_calls), rows)

    def write(part: Recorded[PlayTally]) -> None:
        if file is not None:
            file.write(part.rows)

    return run_blocks(size, runner, task, progress, write).tally
