"""Plays every setting of a scenario beside staying home, on the same possessions and common luck.

Until a setting makes its first call the two possessions are the same, so the paired difference holds
nothing but the call (engine.estimate says how it is read). Where a setting called more than once, the
possession is also played with only the first 1, 2, ... calls allowed, which shares its change out over
the single calls.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from engine import estimate
from engine.inputs.defaults import HOME
from engine.state import COLUMN
from engine.study.play import head, open_scenario, play_block_dict, run_size
from engine.study.run import Player, Progress, Records, RunSize, run_blocks
from engine.tally import MAX_CALLS_KEPT, BoxTally, PairTally, PerCallTally, Tally, spots_of_calls

if TYPE_CHECKING:
    import pandas as pd

    from engine.intervals import Interval


@dataclass(frozen=True, eq=False)
class SettingTally(Tally):
    """Whole-number sums of one setting: its own possessions, the pairs with staying home, single calls."""

    box: BoxTally
    pairs: PairTally
    per_call: PerCallTally


@dataclass(frozen=True)
class CompareTally:
    """Staying home and every setting, in the order of the scenario; ``+`` adds two tallies."""

    home: BoxTally
    settings: tuple[SettingTally, ...]

    def __add__(self, other: CompareTally) -> CompareTally:
        both = zip(self.settings, other.settings, strict=True)
        return CompareTally(self.home + other.home, tuple(mine + theirs for mine, theirs in both))


def per_call_tally(
    player: Player, world: Any, first: int, home: Records, records: Records, n_spots: int
) -> PerCallTally:
    """Share the change of a block out over the calls made in it.

    ``home`` and ``records`` are int32[count, N_RECORD] of the same possessions, from number ``first``.
    Possessions with more than one call are played again with 1, 2, ... calls allowed.
    """
    n_calls = records[:, COLUMN["n_calls"]]
    spots = spots_of_calls(records)
    most = int(n_calls.max(initial=0))
    nets = np.repeat(records[:, COLUMN["net"], None], most + 1, axis=1)
    nets[:, 0] = home[:, COLUMN["net"]]
    for allowed in range(1, most):
        again = np.flatnonzero(n_calls > allowed)
        branch = player.chosen(world, first + again.astype(np.int64), allowed, "branch")
        nets[again, allowed] = branch[:, COLUMN["net"]]
    return PerCallTally.from_nets(nets, spots[:, :most], n_spots)


@dataclass(frozen=True)
class CompareResult:
    """What the settings did beside staying home: ``to_dict()`` is the JSON contract."""

    scenario: Any
    size: RunSize
    tally: CompareTally

    def to_dict(self) -> dict[str, Any]:
        """The JSON contract of ``compare``; equal for equal inputs whatever the number of threads."""
        result = head("compare", self.scenario, self.size)
        result["offence"] = self.scenario.offence_team.name
        result["defence"] = self.scenario.defence_team.name
        result["baseline"] = {"name": HOME} | play_block_dict(self.tally.home)
        result["settings"] = [
            setting_dict(setting, tally, self.scenario.over_n)
            for setting, tally in zip(self.scenario.settings, self.tally.settings, strict=True)
        ]
        return result

    def table(self) -> pd.DataFrame:
        """One row per setting, staying home first: points, net points, seconds and change with intervals."""
        import pandas as pd

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
        return pd.DataFrame(rows).set_index("setting").astype(float)

    def calls(self) -> pd.DataFrame:
        """One row per setting and call: everything the JSON says of a call, nested keys joined by ``_``."""
        import pandas as pd

        rows = [
            {"setting": setting["name"]} | {key: part for key, part in call.items() if key != "by_order"}
            for setting in self.to_dict()["settings"]
            for call in setting["calls"]
        ]
        return pd.json_normalize(rows, sep="_")


def setting_dict(setting: Any, tally: SettingTally, over_n: int) -> dict[str, Any]:
    """One entry of "settings" of the JSON contract."""
    found = estimate.estimate_setting(tally.pairs, over_n)
    calls = zip(setting.calls, found.calls, strict=True)
    return {
        "name": setting.name,
        **play_block_dict(tally.box),
        "change": found.change.as_dict(),
        "variance_reduction": found.variance_reduction,
        "called_possessions": tally.pairs.called(),
        "calls_per_100_possessions": 100 * int(tally.pairs.calls.sum()) / tally.pairs.n,
        "uncalled_differences": tally.pairs.uncalled_differences(),
        "calls": [call_dict(call, one, tally.per_call) for call, one in calls],
    }


def call_dict(call: Any, one: estimate.CallEstimate, per_call: PerCallTally) -> dict[str, Any]:
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
        "after_escape": one.after_escape,
        "turnover_rate": even.turnover_rate.mean,
        "break_even_turnover_rate": even.possible_rate,
        "break_even": {
            "words": even.words,
            "reason": even.reason,
            "turnover_rate": even.turnover_rate.as_dict(),
            "t_star": even.t_star.as_dict(),
            "net_conceded_with_turnover": even.conceded_turnover,
            "net_conceded_otherwise": even.conceded_otherwise,
            "net_conceded_home": even.conceded_home,
        },
        "conceded": {"called": _conceded(one.called_branch), "home": _conceded(one.home_branch)},
        "p_costs_points": one.p_costs_points,
        "over_n": {
            "n": one.over_n.n,
            "p_worse": one.over_n.p_worse,
            "p_above_home_mean": one.over_n.p_above_home_mean,
            "worst_5_percent": one.over_n.worst_5_percent,
            "worst_5_percent_home": one.over_n.worst_5_percent_home,
        },
        "variance_reduction": one.variance_reduction,
        "value_of_every_call": estimate.each_call_value(per_call, one.spot).as_dict(),
        "by_order": _by_order(per_call, one.spot),
    }


def _conceded(branch: estimate.Conceded) -> dict[str, Any]:
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


def _by_order(per_call: PerCallTally, spot: int) -> list[dict[str, Any]]:
    """Value of the first, second, ... call of a possession where that call was at this spot."""
    rows = []
    for order in range(MAX_CALLS_KEPT):
        n = int(per_call.counts[order, spot])
        if n:
            total, squares = int(per_call.values[order, spot]), int(per_call.squares[order, spot])
            value = estimate.normal_interval(n, total, squares)
            rows.append({"number_in_possession": order + 1, "calls": n, "value": value.as_dict()})
    return rows


def compare(
    scenario: Any,
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
    from engine.pack import pack

    packed = pack(scenario)
    player = Player(size.seed)
    player.warm(packed.home)

    def task(first: int, count: int) -> CompareTally:
        home = player.block(packed.home, first, count, HOME)
        settings = []
        for setting in packed.settings:
            records = player.block(setting.world, first, count, "setting")
            n_spots = len(setting.calls)
            settings.append(
                SettingTally(
                    BoxTally.from_records(records),
                    PairTally.from_records(home, records, n_spots),
                    per_call_tally(player, setting.world, first, home, records, n_spots),
                )
            )
        return CompareTally(BoxTally.from_records(home), tuple(settings))

    return CompareResult(scenario, size, run_blocks(size, player, task, progress))
