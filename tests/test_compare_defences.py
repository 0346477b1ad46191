"""Defences as settings of ``compare``: their change, its split, their own base, and what is not replayed."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import engine
import engine.study.compare
import engine.world.pack
from engine.report import contract, words
from engine.report.rounding import rounded_together
from engine.report.screen.compare import compare_text, play_text
from engine.run import blocks as run
from engine.run import branches
from engine.run.blocks import Runner
from engine.run.branches import CHECK_EVERY, play_setting
from engine.state.record import COLUMN

SCENARIO = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
MORE = """
[[setting]]
name = "man"
zone = "man_to_man"

[[setting]]
name = "man with a corner trap"
zone = "man_to_man"
[[setting.call]]
call = "man_to_man_corner"

[[setting]]
name = "man with a wing trap"
zone = "man_to_man"
[[setting.call]]
call = "man_to_man_wing"

[[setting]]
name = "guards stay back"
options = { bring_up = "wait" }
[[setting.call]]
call = "short_corner"
"""
N = 4500
FOUR = ("shooting", "turnovers", "rebounds", "free_throws")
Found = dict[str, Any]


@pytest.fixture(scope="module")
def scenario(tmp_path_factory: pytest.TempPathFactory) -> Any:
    path = tmp_path_factory.mktemp("defences") / "defences.toml"
    path.write_text(SCENARIO.read_text(encoding="utf-8") + MORE, encoding="utf-8")
    return engine.load(path)


@pytest.fixture(scope="module")
def compared(scenario: Any) -> Found:
    return engine.compare(scenario, N, seed=1, threads=1).to_dict()


@pytest.fixture
def by_name(compared: Found) -> dict[str, Found]:
    return {setting["name"]: setting for setting in compared["settings"]}


def test_other_defences_keep_the_contract(compared: Found) -> None:
    assert contract.broken(compared) == []
    assert compared["baseline"]["base_defence"]["name"] == "two_three"
    named = [setting["base_defence"]["name"] for setting in compared["settings"]]
    assert named.count("man_to_man") == 3
    assert all(setting["uncalled_differences"] == 0 for setting in compared["settings"])


def test_the_split_adds_up_to_the_change(compared: Found) -> None:
    home = compared["baseline"]
    for setting in compared["settings"]:
        factors = setting["factors"]
        points = sum(factors[name]["mean"] for name in FOUR)
        own = setting["points_per_possession"]["mean"] - home["points_per_possession"]["mean"]
        assert points == pytest.approx(own, abs=1e-12)
        assert points + factors["transition"]["mean"] == pytest.approx(setting["change"]["mean"], abs=1e-12)
        for name in (*FOUR, "transition", "points"):
            low, high = factors[name]["low"], factors[name]["high"]
            if name != "transition":  # too few possessions that differ: no range of these, nor of the whole
                assert (low is None) == (setting["change"]["low"] is None)
            if low is None:
                assert high is None
            else:
                assert low <= factors[name]["mean"] <= high
    assert sum(setting["change"]["low"] is not None for setting in compared["settings"]) >= 5


def test_a_defence_is_played_as_play_plays_it(by_name: dict[str, Found], scenario: Any) -> None:
    """A setting with its own defence, and the base of its calls, are the same runs as those of ``play``."""
    keys = ("box", "ends", "points_per_possession", "net_points_per_possession")
    for name in ("man", "man with a corner trap", "guards stay back"):
        alone = engine.play(scenario, N, seed=1, threads=1, setting=name).to_dict()
        assert contract.broken(alone) == []
        assert {key: by_name[name][key] for key in keys} == {key: alone[key] for key in keys}
        assert by_name[name]["base_defence"] == alone["base_defence"]
    man = by_name["man"]
    assert man["base"] is None and man["change_by_calls"] is None and man["calls"] == []
    for name in ("man with a corner trap", "man with a wing trap"):
        base = by_name[name]["base"]
        assert {key: base[key] for key in (*keys, "change", "factors")} == {
            key: man[key] for key in (*keys, "change", "factors")
        }
    assert man["box"] != by_name["corner trap"]["box"]


def test_calls_are_weighed_against_their_own_base(by_name: dict[str, Found]) -> None:
    seen = 0
    for name in ("man with a corner trap", "man with a wing trap", "guards stay back"):
        setting = by_name[name]
        by_calls, base = setting["change_by_calls"]["mean"], setting["base"]["change"]["mean"]
        assert base + by_calls == pytest.approx(setting["change"]["mean"], abs=1e-12)
        saved = sum(call["called"] * call["value"]["mean"] for call in setting["calls"] if call["called"])
        assert saved == pytest.approx(-N * by_calls, abs=1e-6)
        seen += sum(call["called"] for call in setting["calls"])
        assert setting["checked_possessions"] == N - setting["called_possessions"]
    assert seen > 30
    corner = by_name["corner trap"]
    assert corner["base"] is None and corner["change_by_calls"] == corner["change"]


def test_a_home_setting_is_replayed_where_it_calls_and_checked_elsewhere(
    compared: Found, scenario: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same bytes as when every possession is played, but for the number of possessions checked."""
    packed = engine.world.pack.pack(scenario)
    assert [one.watched for one in packed.settings] == [True] * 5 + [False] * 4
    blind = tuple(dataclasses.replace(one, watched=False) for one in packed.settings)
    monkeypatch.setattr(engine.study.compare, "pack", lambda _: dataclasses.replace(packed, settings=blind))
    whole = engine.compare(scenario, N, seed=1, threads=1).to_dict()
    shadowed = copy.deepcopy(compared)
    for one, other in zip(shadowed["settings"][:5], whole["settings"][:5], strict=True):
        assert other["checked_possessions"] == N - other["called_possessions"]
        assert 0 < one["checked_possessions"] <= -(-N // CHECK_EVERY)
        one["checked_possessions"] = other["checked_possessions"]
    assert shadowed == whole


def changed_records(
    monkeypatch: pytest.MonkeyPatch, name: str, change: Callable[[run.Records], None]
) -> None:
    """Lets something go wrong in the records of one branch."""
    block = Runner.block

    def wrong(self: Runner, world: Any, first: int, count: int, branch: str) -> run.Records:
        records = block(self, world, first, count, branch)
        if branch == name:
            change(records)
        return records

    monkeypatch.setattr(Runner, "block", wrong)


def test_a_call_that_home_did_not_see_is_noticed(scenario: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def forget(records: run.Records) -> None:
        records[:, COLUMN["shadow"]] = 0

    changed_records(monkeypatch, "home", forget)
    alone = scenario.model_copy(update={"settings": scenario.settings[3:4]})
    result = engine.compare(alone, N, seed=1, threads=1).to_dict()
    (top,) = result["settings"]
    assert top["called_possessions"] == 0 and top["uncalled_differences"] > 0
    assert "CAUTION" in compare_text(result) and "cannot be trusted" in compare_text(result)


@pytest.mark.parametrize("column", ["passes", "time_ms", "band0_att"])
def test_any_column_that_differs_without_a_call_is_noticed(
    scenario: Any, monkeypatch: pytest.MonkeyPatch, column: str
) -> None:
    """Also where points and net points are the same."""

    def disturb(records: run.Records) -> None:
        records[::CHECK_EVERY, COLUMN[column]] += 1

    changed_records(monkeypatch, "home", disturb)
    changed_records(monkeypatch, "base 0", disturb)
    settings = engine.compare(scenario, 1000, seed=1, threads=1).to_dict()["settings"]
    for setting in settings[:5]:
        assert setting["uncalled_differences"] == setting["checked_possessions"] > 0
    own = settings[6]
    called = own["called_possessions"]
    assert 16 - called <= own["uncalled_differences"] <= 16


def test_a_shared_base_is_played_once(scenario: Any) -> None:
    plan = branches.branches_of(engine.world.pack.pack(scenario))
    assert len(plan.bases) == 2
    assert [one.base for one in plan.settings] == [None] * 5 + [0, 0, 0, 1]
    assert [one.bit for one in plan.settings] == [0, 1, 2, 3, 4, None, None, None, None]
    assert [one.is_base for one in plan.settings] == [False] * 5 + [True] + [False] * 3


def test_records_hold_no_shadow_once_a_setting_is_played(scenario: Any) -> None:
    plan, runner = branches.branches_of(engine.world.pack.pack(scenario)), Runner(1)
    home = runner.block(plan.home, 64, 200, "home")
    before = home.copy()
    assert home[:, COLUMN["shadow"]].any()
    records = play_setting(runner, plan.settings[3], 64, home, []).records
    assert not records[:, COLUMN["shadow"]].any()
    np.testing.assert_array_equal(home, before)


def test_threads_and_blocks_give_the_same_bytes(
    scenario: Any, compared: Found, monkeypatch: pytest.MonkeyPatch
) -> None:
    """``compared``: a block and a bit, on one thread."""
    monkeypatch.setattr(run, "BLOCK", 331)
    assert contract.to_text(engine.compare(scenario, N, seed=1, threads=2).to_dict()) == contract.to_text(
        compared
    )


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("factors", "shooting", "mean"), lambda x: x + 1e-6),
        (("factors", "transition", "mean"), lambda x: x + 1e-6),
        (("factors", "points", "high"), lambda x: -100.0),
        (("factors",), lambda x: {k: v for k, v in x.items() if k != "rebounds"}),
        (("change_by_calls", "mean"), lambda x: x + 1e-6),
        (("base", "box", "points"), lambda n: n + 1),
        (("base", "factors", "free_throws", "mean"), lambda x: x + 1e-6),
        (("base_defence",), lambda x: {"name": x["name"]}),
        (("calls", 0, "other_parts", "rest"), lambda x: x + 1e-6),
        (("calls", 0, "other_parts"), lambda x: {}),
        (("calls", 0, "turnover_parts", "strip"), lambda x: x + 1e-6),
        (("calls", 0, "turnover_parts"), lambda x: {}),
    ],
)
def test_a_broken_setting_is_noticed(compared: Found, path: tuple[Any, ...], value: Any) -> None:
    bad = copy.deepcopy(compared)
    at: Any = next(setting for setting in bad["settings"] if setting["name"] == "guards stay back")
    assert at["calls"][0]["called"]
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value(at[path[-1]])
    found = contract.broken(bad)
    assert found and all(line.startswith("settings[guards stay back]") for line in found)


@pytest.mark.parametrize("key", sorted(contract.SETTING))
def test_a_missing_key_of_a_setting_is_noticed(compared: Found, key: str) -> None:
    bad = copy.deepcopy(compared)
    del bad["settings"][0][key]
    assert contract.broken(bad)


# --- views and text -----------------------------------------------------------------------------------


def test_the_table_of_factors_adds_up(scenario: Any) -> None:
    found = engine.compare(scenario, 600, seed=2, threads=1)
    table = found.factors()
    sums = table["mean"].groupby(level="setting").sum()
    for setting in found.to_dict()["settings"]:
        assert sums[setting["name"]] == pytest.approx(setting["change"]["mean"], abs=1e-12)
    assert list(table.loc["man"].index) == [*FOUR, "transition"]
    assert len(found.calls()) == sum(len(setting.calls) for setting in scenario.settings)


def test_text_of_other_defences(compared: Found, scenario: Any) -> None:
    text = compare_text(compared)
    assert max(len(line) for line in text.splitlines()) <= words.WIDTH
    flat = " ".join(text.split())
    assert "3 defences: 2-3 zone (home), man-to-man, 2-3 zone (bring up wait)." in flat
    assert flat.count("It comes from shooting") == 4
    weighed = [
        call["called"] >= words.FEW_CALLS
        for setting in compared["settings"]
        if setting["base"]
        for call in setting["calls"]
    ]
    assert len(weighed) == 3 and flat.count("worse than no trap, 10 calls") == sum(weighed) > 0
    only_traps = copy.deepcopy(compared)
    only_traps["settings"] = only_traps["settings"][:5]
    assert " defences: " not in compare_text(only_traps)
    assert "Staying home is the 2-3 zone with no trap" in compare_text(only_traps)
    played = engine.play(scenario, 200, 1, 1, "man").to_dict()
    assert "man-to-man" in play_text(played)


def test_what_it_comes_from_adds_up_as_printed(compared: Found) -> None:
    lines = compare_text(compared).splitlines()
    starts = [i for i, line in enumerate(lines) if line.startswith("  It comes from")]
    for start in starts:
        said = " ".join(lines[start : start + 3]).split("points conceded")[0].replace("It comes from", "")
        parts, total = said.split("; adds up to ")
        figures = [float(part.split()[-1]) for part in parts.split(", ")]
        assert len(figures) == 5
        assert sum(figures) == pytest.approx(float(total), abs=1e-9)
    setting = compared["settings"][5]
    change = f"{100 * setting['change']['mean']:+.1f}"
    total = change if float(change) else "0.0"
    assert f"adds up to {total} points conceded" in " ".join(
        " ".join(lines[starts[0] : starts[0] + 4]).split()
    )


def test_no_verdict_where_the_worth_of_a_call_is_not_clear(scenario: Any, compared: Found) -> None:
    few = engine.compare(scenario, 200, seed=1, threads=1).to_dict()
    seen = {True: 0, False: 0}
    for setting in compared["settings"] + few["settings"]:
        for call in setting["calls"]:
            if call["break_even"]["words"] == "never called":
                continue
            low, high = call["value"]["low"], call["value"]["high"]
            clear = low is not None and (low > 0 or high < 0)
            seen[clear] += 1
            assert call["break_even"]["words"].startswith("cannot tell yet; it gets ") == (not clear)
    assert min(seen.values()) > 0


@given(st.lists(st.floats(-50, 50), min_size=1, max_size=6), st.integers(0, 2))
def test_figures_rounded_together_add_up(values: list[float], decimals: int) -> None:
    figures, total = rounded_together(values, sum(values), decimals)
    unit = 10.0**-decimals
    assert sum(figures) == pytest.approx(total, abs=1e-9)
    assert total == float(f"{sum(values):.{decimals}f}")
    assert all(abs(figure - value) < 1.5 * unit for figure, value in zip(figures, values, strict=True))
