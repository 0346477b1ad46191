"""Bit for bit: what must not change a result, and where two settings must agree exactly.

All comparisons are of whole numbers, so "the same" means equal. No outside source is needed.
"""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from slides import built

import engine
from engine.estimate.tally import PerCallTally, Tally
from engine.inputs import load_scenario
from engine.kernel.batch import new_scratch, play_block, play_list
from engine.run import blocks as run
from engine.run.blocks import Runner
from engine.run.branches import Branch
from engine.state.record import COLUMN, N_RECORD
from engine.study.compare import per_call_tally
from engine.world.pack import pack

SCENARIO = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
N = 2000
SEED = 3
TOGETHER = "corner and short corner together"


@pytest.fixture(scope="module")
def scenario() -> Any:
    return load_scenario(SCENARIO)


@pytest.fixture(scope="module")
def packed(scenario: Any) -> Any:
    return pack(scenario)


@pytest.fixture(scope="module")
def home(packed: Any) -> Any:
    return records_of(packed.home)


def records_of(world: Any, n: int = N, watch: bool = False, **how: Any) -> Any:
    """Records int32[n, N_RECORD] of possessions 0 .. n - 1.

    Home alone notes where the settings would call; ``watch`` keeps that column, which is no play.
    """
    records = np.zeros((n, N_RECORD), np.int32)
    play_block(world, SEED, 0, records, **how)
    if not watch:
        records[:, COLUMN["shadow"]] = 0
    return records


def with_calls(scenario: Any, **changes: Any) -> Any:
    """The scenario with every call of every setting changed."""
    settings = tuple(
        setting.model_copy(update={"calls": tuple(call.model_copy(update=changes) for call in setting.calls)})
        for setting in scenario.settings
    )
    return scenario.model_copy(update={"settings": settings})


# --- threads, blocks, order ---------------------------------------------------------------------------


def arrays_of(tally: Any) -> dict[str, Any]:
    """Every number of a tally of compare by its path, so that a difference names its place."""
    found: dict[str, Any] = {}
    for field in fields(tally):
        value = getattr(tally, field.name)
        for name, part in enumerate(value) if isinstance(value, tuple) else [("", value)]:
            path = f"{field.name}{name}"
            if isinstance(part, Tally):
                found |= {f"{path}.{inner}": array for inner, array in arrays_of(part).items()}
            else:
                found[path] = part
    return found


def test_threads_and_blocks_give_the_same_tallies(scenario: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """One whole block on one thread, against many on one and on two."""
    found = []
    for block, threads in ((run.BLOCK, 1), (701, 1), (64, 2)):
        monkeypatch.setattr(run, "BLOCK", block)
        found.append(arrays_of(engine.compare(scenario, N, SEED, threads).tally))
    first, *others = found
    assert {
        "home.box.cross",
        "home.groups.sums",
        "settings0.pairs.joint",
        "settings0.per_call.values",
    } <= first.keys()
    assert first["home.box.n"] == N
    for other in others:
        assert other.keys() == first.keys()
        for name, array in first.items():
            np.testing.assert_array_equal(other[name], array, err_msg=name)


def test_a_possession_is_its_number_alone(packed: Any) -> None:
    """Played in another order, in other company, or by a worker whose record holds rubbish from before."""
    numbers = np.random.default_rng(1).permutation(N)[:500]
    together = next(setting.world for setting in packed.settings if setting.name == TOGETHER)
    for world in (packed.home, together):
        expected = records_of(world, watch=True)
        for rubbish in (0, 255):
            scratch = new_scratch()
            scratch.view(np.uint8)[:] = rubbish
            records = np.zeros((len(numbers), N_RECORD), np.int32)
            play_list(world, SEED, numbers, records, scratch=scratch)
            np.testing.assert_array_equal(records, expected[numbers])


def test_large_numbers_of_possessions_are_possessions_of_their_own(packed: Any, home: Any) -> None:
    """The possession's number has 48 bits: one beyond 32 bits is not the one with the same low bits."""
    numbers = np.arange(200, dtype=np.uint64)
    far = np.zeros((len(numbers), N_RECORD), np.int32)
    play_list(packed.home, SEED, numbers + np.uint64(2**32), far)
    far[:, COLUMN["shadow"]] = 0
    assert (far != home[: len(numbers)]).any(axis=1).mean() > 0.9


# --- exactly nothing ----------------------------------------------------------------------------------


def test_a_call_that_is_never_made_changes_nothing(scenario: Any, packed: Any, home: Any) -> None:
    """Probability 0: every possession of every setting is the one at home, column by column."""
    never = pack(with_calls(scenario, probability=0.0))
    assert len(never.settings) == len(packed.settings) > 0
    for setting, made in zip(never.settings, packed.settings, strict=True):
        np.testing.assert_array_equal(records_of(setting.world), home, err_msg=setting.name)
        # the same calls do change something once they are made
        assert (records_of(made.world) != home).any()


def test_a_call_that_is_never_made_is_worth_exactly_nothing(scenario: Any) -> None:
    found = engine.compare(with_calls(scenario, probability=0.0), N, SEED, 1).to_dict()
    for setting in found["settings"]:
        assert setting["change"] == {"mean": 0.0, "low": 0.0, "high": 0.0}
        assert setting["called_possessions"] == setting["uncalled_differences"] == 0
        assert setting["box"] == found["baseline"]["box"]
        assert all(call["called"] == 0 and call["value"]["mean"] is None for call in setting["calls"])


def test_calls_that_are_all_suppressed_change_nothing(packed: Any, home: Any) -> None:
    for setting in packed.settings:
        np.testing.assert_array_equal(records_of(setting.world, max_calls=0), home, err_msg=setting.name)


@pytest.mark.parametrize("traps_seen", [0, 5])
def test_without_a_call_a_possession_is_the_one_at_home(scenario: Any, traps_seen: int) -> None:
    """Readiness fixed at either level."""
    game = scenario.game.model_copy(update={"traps_seen": traps_seen})
    packed = pack(scenario.model_copy(update={"game": game}))
    home = records_of(packed.home)
    for setting in packed.settings:
        records = records_of(setting.world)
        uncalled = records[:, COLUMN["n_calls"]] == 0
        assert 0 < uncalled.sum() < N
        np.testing.assert_array_equal(records[uncalled], home[uncalled], err_msg=setting.name)


def test_home_watches_exactly_the_possessions_that_a_setting_calls_in(packed: Any) -> None:
    """On this one column rests which possessions of a setting are played again."""
    shadow = records_of(packed.home, watch=True)[:, COLUMN["shadow"]]
    for index, setting in enumerate(packed.settings):
        assert setting.watched
        called = records_of(setting.world)[:, COLUMN["n_calls"]] > 0
        np.testing.assert_array_equal(shadow >> index & 1 == 1, called, err_msg=setting.name)
    assert shadow.max() < 2 ** len(packed.settings)


def test_readiness_acts_where_a_trap_is_called_and_on_looks() -> None:
    """So that the test above says something: where looks are as short as can be, other readiness changes
    called possessions alone; else it changes home, too."""
    unready, ready = (built(game={"traps_seen": n}, constants={"look_s": 0.0}) for n in (0, 5))
    np.testing.assert_array_equal(records_of(unready.home), records_of(ready.home))
    changed = 0
    for one, other in zip(unready.settings, ready.settings, strict=True):
        mine, theirs = records_of(one.world), records_of(other.world)
        uncalled = mine[:, COLUMN["n_calls"]] == 0
        np.testing.assert_array_equal(mine[uncalled], theirs[uncalled], err_msg=one.name)
        changed += (mine != theirs).any(axis=1).sum()
    assert changed > 50, changed
    unready, ready = (built(game={"traps_seen": n}) for n in (0, 5))
    assert (records_of(unready.home) != records_of(ready.home)).any(axis=1).mean() > 0.1


# --- shares of the single calls -----------------------------------------------------------------------


def test_values_of_all_calls_add_up_to_minus_the_change(packed: Any) -> None:
    """W_k plays a possession with its first k calls: sum of Y(W_k-1) - Y(W_k) = Y(home) - Y(setting)."""
    world = next(setting.world for setting in packed.settings if setting.name == TOGETHER)
    home, records = records_of(packed.home), records_of(world)
    tally = per_call_tally(Runner(SEED), world, 0, Branch(home, records, 0, 0), n_spots=2)
    change = int(records[:, COLUMN["net"]].sum()) - int(home[:, COLUMN["net"]].sum())
    assert int(tally.values.sum()) == -change == -tally.total_change
    assert int(tally.counts.sum()) == int(records[:, COLUMN["n_calls"]].sum())
    assert tally.counts[0].min() > 0, "each of the two calls comes first now and then"
    assert tally.counts[1:].sum() > 0, "some possessions have a second call"
    # the same from every branch played in full
    most = int(records[:, COLUMN["n_calls"]].max())
    branches = [records_of(world, max_calls=k) for k in range(most + 1)]
    np.testing.assert_array_equal(branches[0], home)
    np.testing.assert_array_equal(branches[-1], records)
    assert PerCallTally.from_records(branches, 2) == tally
