"""Plays every setting of a scenario beside staying home, on the same possessions and common luck.

Until a setting makes its first call the two possessions are the same, so the paired difference holds
nothing but the call (engine.estimate.calls says how it is read). Where a setting called more than once, the
possession is also played with only the first 1, 2, ... calls allowed, which shares its change out over
the single calls. A setting with a defence or plays of its own is compared with staying home as a whole;
its calls are weighed against the same without calls, its base.
"""

from __future__ import annotations

import platform
from dataclasses import dataclass
from functools import partial

import numpy as np

from engine import tables as pd
from engine.estimate import calls as estimate
from engine.estimate.factors import FactorChange, GroupTally, factor_change
from engine.estimate.intervals import Found, Interval
from engine.estimate.tally import (
    BoxTally,
    IntArray,
    PairTally,
    PerCallTally,
    Tally,
    count_pairs,
    spots_of_calls,
)
from engine.inputs.calls import Call
from engine.inputs.defaults import HOME
from engine.inputs.scenario import Scenario, config_hash
from engine.inputs.settings import Setting
from engine.run.blocks import Progress, Records, Runner, World, run_blocks
from engine.run.branches import Branch, branches_of, play_setting
from engine.run.size import RunSize
from engine.state.record import COLUMN, MOST_CALLS
from engine.study.play import (
    Opening,
    defence_dict,
    head,
    open_scenario,
    play_block_dict,
    plays_dict,
    run_size,
    with_origin,
)
from engine.world.pack import pack


@dataclass(frozen=True, eq=False)
class BranchTally(Tally):
    """Whole-number sums of one branch: its possessions, its pairs with staying home (int64[N_NET, N_NET] on
    net points), its sums by group of possessions."""

    box: BoxTally
    with_home: IntArray
    groups: GroupTally

    @classmethod
    def from_records(cls, home: Records, records: Records, first: int) -> BranchTally:
        """Tally a block of the possessions from number ``first``, int32[count, N_RECORD] both."""
        pairs = count_pairs(home, records)
        return cls(BoxTally.from_records(records), pairs, GroupTally.from_records(home, records, first))


@dataclass(frozen=True, eq=False)
class SettingTally(Tally):
    """Whole-number sums of one setting: its own possessions, the pairs with its base, single calls, and
    possessions without a call that were compared with the base, and differed from it."""

    branch: BranchTally
    pairs: PairTally
    per_call: PerCallTally
    checked: int
    differences: int


@dataclass(frozen=True)
class CompareTally:
    """Staying home, other defences without calls and every setting; ``+`` adds two tallies."""

    home: BranchTally
    bases: tuple[BranchTally, ...]
    settings: tuple[SettingTally, ...]

    def __add__(self, other: CompareTally) -> CompareTally:
        return CompareTally(
            self.home + other.home,
            tuple(mine + theirs for mine, theirs in zip(self.bases, other.bases, strict=True)),
            tuple(mine + theirs for mine, theirs in zip(self.settings, other.settings, strict=True)),
        )


def per_call_tally(runner: Runner, world: World, first: int, branch: Branch, n_spots: int) -> PerCallTally:
    """Share the change of a block from its base out over the calls made in it.

    The records of ``branch`` are those of the possessions from number ``first``. Possessions with more than
    one call are played again with 1, 2, ... calls allowed.
    """
    records = branch.records
    n_calls = records[:, COLUMN["n_calls"]]
    spots = spots_of_calls(records)
    most = int(n_calls.max(initial=0))
    nets = np.repeat(records[:, COLUMN["net"], None], most + 1, axis=1)
    nets[:, 0] = branch.base[:, COLUMN["net"]]
    for allowed in range(1, most):
        again = np.flatnonzero(n_calls > allowed)
        played = runner.chosen(world, first + again.astype(np.int64), allowed, "branch")
        nets[again, allowed] = played[:, COLUMN["net"]]
    return PerCallTally.from_nets(nets, spots[:, :most], n_spots)


@dataclass(frozen=True)
class CompareResult:
    """What the settings did beside staying home: ``to_dict()`` is the JSON contract."""

    scenario: Scenario
    size: RunSize
    tally: CompareTally
    bases: tuple[int | None, ...]

    def to_dict(self) -> Found:
        """The JSON contract of ``compare``; equal for equal inputs whatever the number of threads."""
        result = head("compare", self.scenario, self.size)
        result["offence"] = self.scenario.offence_team.name
        result["defence"] = self.scenario.defence_team.name
        home = self.tally.home
        result["baseline"] = {"name": HOME, **_against_whom(self.scenario), **play_block_dict(home.box)}
        result["settings"] = [
            {"name": setting.name, **_against_whom(self.scenario, setting)}
            | setting_dict(
                setting, tally, home, None if base is None else self.tally.bases[base], self.scenario.over_n
            )
            for setting, tally, base in zip(
                self.scenario.settings, self.tally.settings, self.bases, strict=True
            )
        ]
        return result

    def table(self) -> pd.DataFrame:
        """One row per setting, staying home first: points, net points, seconds and change with intervals."""
        found = self.to_dict()
        nothing = {"mean": 0.0, "low": 0.0, "high": 0.0}
        rows = []
        for block in (
            found["baseline"] | {"change": nothing, "variance_reduction": None},
            *found["settings"],
        ):
            row = {"setting": block["name"]}
            for key in (
                "points_per_possession",
                "net_points_per_possession",
                "seconds_per_possession",
                "change",
            ):
                row |= {f"{key}_{part}": value for part, value in block[key].items()}
            row["variance_reduction"] = block["variance_reduction"]
            rows.append(row)
        return with_origin(pd.DataFrame(rows).set_index("setting").astype(float), found)

    def factors(self) -> pd.DataFrame:
        """One row per setting and part of its change (the four factors and transition), with intervals, in
        net points per possession; the rows of a setting add up to its change."""
        found = self.to_dict()
        rows = [
            {"setting": setting["name"], "part": part} | setting["factors"][part]
            for setting in found["settings"]
            for part in setting["factors"]
            if part != "points"
        ]
        columns = ["setting", "part", "mean", "low", "high"]
        table = pd.DataFrame(rows, columns=columns).set_index(["setting", "part"]).astype(float)
        return with_origin(table, found)

    def calls(self) -> pd.DataFrame:
        """One row per setting and call: everything the JSON says of a call, nested keys joined by ``_``."""
        found = self.to_dict()
        rows = [
            {"setting": setting["name"]} | {key: part for key, part in call.items() if key != "by_order"}
            for setting in found["settings"]
            for call in setting["calls"]
        ]
        return with_origin(pd.json_normalize(rows, sep="_"), found)


def setting_dict(
    setting: Setting, tally: SettingTally, home: BranchTally, base: BranchTally | None, over_n: int
) -> Found:
    """One entry of "settings" of the JSON contract, less its name and its defence.

    ``base``: its own defence without calls, None where that is staying home.
    """
    found = estimate.estimate_setting(tally.pairs, over_n)
    calls = zip(setting.calls, found.calls, strict=True)
    against_home = _against_home(tally.branch, home)
    own_base = None
    if base is not None and setting.calls:
        own_base = play_block_dict(base.box) | _against_home(base, home)
    return {
        **play_block_dict(tally.branch.box),
        **against_home,
        "base": own_base,
        "change_by_calls": found.change.as_dict() if setting.calls else None,
        "variance_reduction": found.variance_reduction,
        "called_possessions": tally.pairs.called(),
        "calls_per_100_possessions": 100 * int(tally.pairs.calls.sum()) / tally.pairs.n,
        "checked_possessions": tally.checked,
        "uncalled_differences": tally.differences,
        "calls": [call_dict(call, one, tally.per_call) for call, one in calls],
    }


def _against_whom(scenario: Scenario, setting: Setting | None = None) -> Found:
    """Defence and plays of a setting (None: staying home)."""
    return {"base_defence": defence_dict(scenario, setting), "plays": plays_dict(scenario, setting)}


def _against_home(branch: BranchTally, home: BranchTally) -> Found:
    factors: FactorChange = factor_change(home.groups, branch.groups)
    return {
        "change": estimate.paired_change(branch.with_home).as_dict(),
        "factors": factors.as_dict(),
    }


def call_dict(call: Call, one: estimate.CallEstimate, per_call: PerCallTally) -> Found:
    """One entry of "calls" of the JSON contract, with more beside the fixed keys."""
    even = one.break_even
    return {
        "spot": call.spot,
        "call": call.name,
        "called": one.called,
        "calls": one.calls,
        "called_per_100_possessions": one.called_per_100,
        "trap_set_rate": one.trap_set_rate,
        "value": one.value.as_dict(),
        "outcomes": one.outcomes,
        "other_parts": one.other_parts,
        "turnover_parts": one.turnover_parts,
        "after_escape": one.after_escape,
        "turnover_rate": even.turnover_rate.mean,
        "break_even_turnover_rate": even.possible_rate,
        "break_even": {
            "words": even.words_for(one.value, estimate.lost_of_100(one.outcomes | one.other_parts)),
            "reason": even.reason,
            "turnover_rate": even.turnover_rate.as_dict(),
            "t_star": even.t_star.as_dict(),
            "net_conceded_with_turnover": even.conceded_turnover,
            "net_conceded_otherwise": even.conceded_otherwise,
            "net_conceded_home": even.conceded_home,
        },
        "conceded": {"called": _conceded(one.called_branch), "home": _conceded(one.home_branch)},
        "p_costs_points": one.p_costs_points.mean,
        "p_costs_points_interval": one.p_costs_points.as_dict(),
        "over_n": {
            "n": one.over_n.n,
            "p_worse": one.over_n.p_worse,
            "p_above_home_mean": one.over_n.p_above_home_mean,
            "worst_5_percent": one.over_n.worst_5_percent,
            "worst_5_percent_home": one.over_n.worst_5_percent_home,
            "intervals": {name: found.as_dict() for name, found in one.over_n.limits.items()},
        },
        "variance_reduction": one.variance_reduction,
        "value_of_every_call": estimate.each_call_value(per_call, one.spot).as_dict(),
        "by_order": _by_order(per_call, one.spot),
    }


def _conceded(branch: estimate.Conceded) -> Found:
    def limits(found: Interval) -> dict[str, float | None]:
        return {"low": found.low, "high": found.high}

    return {
        "mean": branch.points.mean,
        "p_two_or_more": branch.p_two_or_more.mean,
        "p_rim_shot": branch.p_rim_shot.mean,
        "intervals": {
            "mean": limits(branch.points),
            "p_two_or_more": limits(branch.p_two_or_more),
            "p_rim_shot": limits(branch.p_rim_shot),
        },
    }


def _by_order(per_call: PerCallTally, spot: int) -> list[Found]:
    """Value of the first, second, ... call of a possession where that call was at this spot."""
    rows = []
    for order in range(MOST_CALLS):
        n = int(per_call.counts[order, spot])
        if n:
            value = estimate.nth_call_value(per_call, order, spot)
            rows.append({"number_in_possession": order + 1, "calls": n, "value": value.as_dict()})
    return rows


def compare(
    scenario: Opening,
    possessions: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> CompareResult:
    """Play every setting of a scenario on the same possessions as staying home.

    Parameters
    ----------
    scenario : path of a scenario file, or what ``engine.load`` returned
    possessions, seed : None takes the scenario's own; every branch plays that many possessions
    threads : None uses every available core; the result does not depend on it
    progress : called as ``progress(done, total)`` after each block

    Raises
    ------
    InputError
        bad input, possessions < 1, a negative seed or threads < 1.
    """
    scenario = open_scenario(scenario)
    size = run_size(scenario, possessions, seed, threads)
    return Comparer(scenario, size.seed).result(0, size.possessions, size.threads, progress)


class Comparer:
    """Plays comparisons of one scenario on stretches of possession numbers, with one seed."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self.scenario, self.seed = scenario, seed
        self._plans = branches_of(pack(scenario))
        self._runner = Runner(seed)
        self._runner.warm(self._plans.home)

    def about(self) -> dict[str, str]:
        """Config hash of the scenario, and the kind of processor."""
        return {"config_hash": config_hash(self.scenario), "processor": platform.machine()}

    def result(
        self, start: int, possessions: int, threads: int = 1, progress: Progress | None = None
    ) -> CompareResult:
        """Compare on the possessions from number ``start``."""
        size = RunSize(possessions, self.seed, threads)
        return self.of(run_blocks(size, self._runner, partial(self._block, start), progress), size)

    def of(self, tally: CompareTally, size: RunSize) -> CompareResult:
        """The result of a tally of this scenario's possessions."""
        return CompareResult(self.scenario, size, tally, tuple(one.base for one in self._plans.settings))

    def _block(self, start: int, first: int, count: int) -> CompareTally:
        first += start
        plans, runner = self._plans, self._runner
        home = runner.block(plans.home, first, count, HOME)
        bases = [runner.block(world, first, count, f"base {i}") for i, world in enumerate(plans.bases)]
        settings = []
        for setting in plans.settings:
            branch = play_setting(runner, setting, first, home, bases)
            settings.append(
                SettingTally(
                    BranchTally.from_records(home, branch.records, first),
                    PairTally.from_records(branch.base, branch.records, setting.n_calls),
                    per_call_tally(runner, setting.world, first, branch, setting.n_calls),
                    branch.checked,
                    branch.differences,
                )
            )
        tallies = (BranchTally.from_records(home, records, first) for records in (home, *bases))
        return CompareTally(next(tallies), tuple(tallies), tuple(settings))
