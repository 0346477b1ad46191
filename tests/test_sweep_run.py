"""A run of a sweep: what it plays, that it ends the same after a stop, and points that fail."""

from __future__ import annotations

import signal
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from interrupts import interruptible
from sweep_runs import Broken, Inline, StopAfter, check_whole, contents, run_into, small_design, workshop_of

import engine
from engine.errors import InputError
from engine.estimate.tally import net_values
from engine.inputs import load_scenario
from engine.run.blocks import Runner
from engine.study.sweep.ctrl_c import ctrl_c_held
from engine.study.sweep.runner import FixedEffort, LocalThreads, State, cuts, run_sweep
from engine.study.sweep.store import Store
from engine.study.sweep.tallies import (
    MOMENTS,
    Batch,
    BatchTally,
    digest_of,
    moments,
    pack_payload,
    play_batch,
    unpack_payload,
)
from engine.world.pack import pack

FRIDAY = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
SEED = 11


@pytest.fixture(scope="module")
def scenario() -> Any:
    return load_scenario(FRIDAY)


@pytest.fixture(scope="module")
def names(scenario: Any) -> tuple[str, ...]:
    return ("home", *(setting.name for setting in scenario.settings))


@pytest.fixture(scope="module")
def tally(scenario: Any, names: tuple[str, ...]) -> BatchTally:
    return play_batch(pack(scenario), names, SEED, 0, Batch(0, 0, 300))


# --- tallies ------------------------------------------------------------------------------------------------


def test_a_tally_is_the_one_that_compare_adds_up(scenario: Any, tally: BatchTally) -> None:
    """Every branch of every setting, against the tally of another command on the same possessions."""
    found = engine.compare(scenario, 300, SEED, 1).tally
    assert tally.home == found.home.box
    for mine, theirs in zip(tally.settings, found.settings, strict=True):
        assert mine.box == theirs.branch.box
        assert mine.pairs == theirs.pairs
        np.testing.assert_array_equal(mine.with_home, theirs.branch.with_home)
        assert (mine.checked, mine.differences) == (theirs.checked, theirs.differences)
        assert mine.pairs.called() > 0


def test_batches_add_up_to_the_whole(scenario: Any, names: tuple[str, ...], tally: BatchTally) -> None:
    packed, runner = pack(scenario), Runner(SEED)
    parts = [play_batch(packed, names, SEED, 0, Batch(0, *cut), runner) for cut in ((210, 90), (0, 210))]
    assert parts[0] + parts[1] == parts[1] + parts[0] == tally
    # the offset is nothing but where the numbers start
    assert play_batch(packed, names, SEED, 200, Batch(0, 10, 90), runner) == parts[0]


def tally_of(blob: bytes) -> BatchTally:
    return BatchTally.from_payload(unpack_payload(blob))


def test_a_tally_survives_its_bytes(tally: BatchTally) -> None:
    blob = pack_payload(tally.payload())
    assert tally_of(blob) == tally
    assert (tally + tally).payload() != tally.payload()
    twice = tally_of(pack_payload((tally + tally).payload()))
    assert twice == tally + tally != tally
    assert digest_of(tally_of(blob).payload()) == digest_of(tally.payload())


@pytest.mark.parametrize("damage", [lambda b: b[:-9], lambda b: b"x" + b, lambda b: b[:5] + b"\x63" + b[6:]])
def test_other_bytes_are_no_tally(tally: BatchTally, damage: Any) -> None:
    with pytest.raises(ValueError, match="not a tally"):
        tally_of(damage(pack_payload(tally.payload())))


def test_numbers_missing_or_left_over_are_noticed(tally: BatchTally) -> None:
    numbers = np.frombuffer(tally.payload(), np.uint8).reshape(8, -1)
    for wrong in (numbers[:, :-3], np.hstack([numbers, numbers[:, :2]])):
        with pytest.raises(ValueError, match="not a tally"):
            BatchTally.from_payload(wrong.tobytes())


def test_moments_are_sums_over_possessions(tally: BatchTally) -> None:
    found = moments(tally)
    by_name = {name: found[:, i] for i, name in enumerate(MOMENTS)}
    assert set(by_name["n"]) == {300}
    net = by_name["net"]
    np.testing.assert_array_equal(by_name["change"], net - net[0])
    values = net_values()
    for one, row in zip((tally.home, *(s.box for s in tally.settings)), found, strict=True):
        assert row[MOMENTS.index("net_squared")] == int(one.net_hist @ values**2)
    home, setting = np.indices((len(values), len(values)))
    for one, row in zip(tally.settings, found[1:], strict=True):
        gap = setting - home
        assert row[MOMENTS.index("change_squared")] == int((one.with_home * gap**2).sum()) > 0


# --- a run --------------------------------------------------------------------------------------------------


def test_threads_do_not_matter_and_common_luck_is_the_scenario_s_own(tmp_path: Path) -> None:
    design = small_design(tmp_path)
    for threads in (None, 1, 2):
        run_into(tmp_path / f"{threads}.db", design, threads=threads)
    first = contents(tmp_path / "None.db")
    assert [row[:3] for row in first] == [(p, first, 30) for p in range(4) for first in (0, 30)]
    assert first == contents(tmp_path / "1.db") == contents(tmp_path / "2.db")
    with Store.read(tmp_path / "1.db") as store:
        by_point = dict(store.tallies())
    resolver = workshop_of(design).resolver
    for point, tally in by_point.items():
        found = engine.compare(resolver.scenario(point), 60, SEED, 1).tally
        assert tally.home == found.home.box
        assert tally.settings[0].pairs == found.settings[0].pairs


def test_independent_luck_gives_every_point_numbers_of_its_own(tmp_path: Path) -> None:
    design = small_design(tmp_path, luck="independent")
    shop = workshop_of(design)
    point = 3
    expected = play_batch(shop.packed(point), design.settings, SEED, 3 * 2**30, Batch(point, 30, 30))
    blob = shop.play(Batch(point, 30, 30)).blob
    assert blob is not None
    assert tally_of(blob) == expected
    common = play_batch(shop.packed(point), design.settings, SEED, 0, Batch(point, 30, 30))
    assert common != expected


def test_more_possessions_are_added_to_the_same_points(tmp_path: Path) -> None:
    """70 is no whole number of batches, so the cut that was made stays and the rest begins after it."""
    design = small_design(tmp_path)
    more, at_once = tmp_path / "more.db", tmp_path / "at_once.db"
    run_into(more, design, 70)
    before = contents(more)
    with pytest.raises(InputError, match="at least 70"):
        run_into(more, design, 69)
    run_into(more, design, 130)
    after = contents(more)
    assert set(before) < set(after)
    assert [row[1:3] for row in after if row[0] == 0] == [(0, 30), (30, 30), (60, 10), (70, 30), (100, 30)]
    run_into(at_once, design, 130)
    with Store.read(more) as one, Store.read(at_once) as other:
        assert dict(one.tallies()) == dict(other.tallies())
        assert one.targets == (70, 130)
    # what the design says is less than what was asked for: nothing is played, nothing is lost
    assert run_into(more, design).possessions == 0
    assert contents(more) == after


def test_cuts_cover_every_possession_once() -> None:
    found = list(cuts((70, 130, 131), 30, 5))
    assert [batch.first for batch in found] == [0, 30, 60, 70, 100, 130]
    assert sum(batch.count for batch in found) == 131
    assert {batch.point for batch in found} == {5}


def test_batches_are_asked_for_one_by_one(tmp_path: Path) -> None:
    """Neither the plan of a sweep nor its results are ever in memory as a whole."""
    design = small_design(tmp_path, possessions=600)
    executor = Inline(workshop_of(design), slots=2)
    asked = []

    class Counting(FixedEffort):
        def next_batches(self, state: State) -> Any:
            for batch in super().next_batches(state):
                asked.append(batch)
                assert len(asked) <= len(executor.played) + executor.slots
                yield batch

    with Store.write(tmp_path / "s.db", design) as store:
        assert run_sweep(store, executor, policy=Counting()).settled == 4
    assert executor.most == 2
    assert len(asked) == len(executor.played) == 80


# --- stopped, failed ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("threads", [None, 2])
def test_a_stopped_run_goes_on_to_the_same_end(tmp_path: Path, threads: int | None) -> None:
    design = small_design(tmp_path)
    run_into(tmp_path / "whole.db", design)
    path = tmp_path / "stopped.db"
    for batches in (0, 1, 3):
        shop = workshop_of(design)
        executor: Any = Inline(shop) if threads is None else LocalThreads(shop, threads)
        with pytest.raises(KeyboardInterrupt), Store.write(path, design) as store:
            run_sweep(store, executor, StopAfter(batches))
        assert set(contents(path)) <= set(contents(tmp_path / "whole.db"))
    assert 4 <= len(contents(path)) < 8 or threads
    run_into(path, design, threads=threads)
    assert contents(path) == contents(tmp_path / "whole.db")
    check_whole(path)


class AtLine:
    """A trace function: Ctrl-C at the n-th line that this thread runs in the rooms of a sweep."""

    def __init__(self, last: int) -> None:
        self.left = last

    def __call__(self, frame: Any, event: str, argument: Any) -> Any:
        if "/study/sweep/" not in frame.f_code.co_filename:
            return None
        if event == "line":
            self.left -= 1
            if self.left == 0:
                signal.raise_signal(signal.SIGINT)
        return self


def test_ctrl_c_at_any_line_keeps_every_batch_that_ended(tmp_path: Path) -> None:
    """What has been played is kept, wherever in the run the signal comes, between two lines too."""
    design = small_design(tmp_path, possessions=24, batch=4)
    shop, ended, stopped = workshop_of(design), [], 0
    play = shop.play

    def noted(batch: Batch) -> Any:
        outcome = play(batch)
        ended.append((batch.point, batch.first))
        return outcome

    shop.play = noted  # type: ignore[method-assign]
    for last in range(3, 1000, 41):
        path, executor = tmp_path / f"{last}.db", LocalThreads(shop, 1)
        shop.runner.stop.clear()
        ended.clear()
        before = sys.gettrace()
        with interruptible(), Store.write(path, design) as store:
            try:
                sys.settrace(AtLine(last))
                run_sweep(store, executor)
            except KeyboardInterrupt:
                stopped += 1
            finally:
                sys.settrace(before)
                executor.close()
            assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
        assert [row[:2] for row in contents(path)] == sorted(ended), last
    assert stopped > 15


def test_a_second_ctrl_c_does_not_wait() -> None:
    passed = []
    with interruptible(), pytest.raises(KeyboardInterrupt), ctrl_c_held():
        signal.raise_signal(signal.SIGINT)
        passed.append(1)
        signal.raise_signal(signal.SIGINT)
        passed.append(2)
    assert passed == [1]


class Looking:
    """A rule that looks at results: two rounds, the second goes where home concedes most."""

    planned = True
    needs_moments = True

    def next_batches(self, state: State) -> list[Batch]:
        if state.played.min() == 0:
            return [Batch(point, int(state.played[point]), 30) for point in range(state.n_points)]
        if state.played.sum() >= 6 * 30:
            return []
        assert state.moments is not None
        best = int(np.argmax(state.moments[:, 0, MOMENTS.index("points")]))
        return [Batch(best, 30, 30), Batch(best, 60, 30)]

    def settled(self, state: State) -> int:
        return state.n_points if state.played.sum() >= 6 * 30 else 0


def test_a_planned_round_is_played_to_its_end_after_a_stop(tmp_path: Path) -> None:
    """Stopped in the middle of a round, sums of half a round must not lead to another plan."""
    design = small_design(tmp_path)
    whole = tmp_path / "whole.db"
    with Store.write(whole, design) as store:
        run_sweep(store, Inline(workshop_of(design)), policy=Looking())
    assert len(contents(whole)) == 6
    for batches in (1, 2, 5):
        path = tmp_path / f"{batches}.db"
        with pytest.raises(KeyboardInterrupt), Store.write(path, design) as store:
            run_sweep(store, Inline(workshop_of(design)), StopAfter(batches), Looking())
        assert len(contents(path)) == batches
        with Store.write(path, design) as store:
            run_sweep(store, Inline(workshop_of(design)), policy=Looking())
        assert contents(path) == contents(whole)


@pytest.mark.parametrize("threads", [None, 2])
def test_a_failing_point_is_recorded_and_the_rest_goes_on(tmp_path: Path, threads: int | None) -> None:
    design = small_design(tmp_path)
    path = tmp_path / "s.db"
    shop = workshop_of(design)
    shop.resolver = Broken(shop.resolver, 1, RuntimeError("no such\nthing"))
    executor: Any = Inline(shop) if threads is None else LocalThreads(shop, threads)
    with Store.write(path, design) as store:
        end = run_sweep(store, executor)
    assert (end.settled, end.failed) == (3, 1)
    with Store.read(path) as store:
        assert store.failures() == {1: "RuntimeError: no such thing"}
        assert sorted(point for point, _ in store.tallies()) == [0, 2, 3]
    # the next run tries it again
    assert run_into(path, design).settled == 4
    with Store.read(path) as store:
        assert store.failures() == {}
    run_into(tmp_path / "whole.db", design)
    assert contents(path) == contents(tmp_path / "whole.db")


def test_progress_counts_points_and_shares(tmp_path: Path) -> None:
    design = small_design(tmp_path)
    seen: list[Any] = []
    with Store.write(tmp_path / "s.db", design) as store:
        end = run_sweep(store, Inline(workshop_of(design)), seen.append)
    assert seen[0] == replace(end, settled=0, batches=0, possessions=0, share=0.0)
    assert [one.share for one in seen] == sorted(one.share for one in seen)
    assert (end.points, end.settled, end.failed, end.batches, end.possessions) == (4, 4, 0, 8, 240)
    assert end.share == 1.0
