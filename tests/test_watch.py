"""Watching: the batch's own possessions, whole, however they are cut into blocks, threads and buffers."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.errors import Incomplete
from engine.inputs import load_scenario
from engine.kernel import watch
from engine.kernel.batch import play_block, play_list, trace_possession, watch_list
from engine.kernel.watch import EVENTS, OPTIONS, STATES, STEPS, WATCHED_COLUMNS, Watched
from engine.run import watch as run
from engine.run.watch import watch_block, watch_numbers
from engine.state.arrays import AGENT, FLOOR, OPTION_COLUMNS, SCRATCH, STATE
from engine.state.record import N_RECORD
from engine.state.words import Mode
from engine.world.pack import pack

ROOT = Path(__file__).parents[1]
SCENARIO = ROOT / "configs" / "scenarios" / "friday_night.toml"
N, MANY, SEED = 120, 2000, 3


@pytest.fixture(scope="module")
def worlds() -> dict[str, Any]:
    packed = pack(load_scenario(SCENARIO))
    return {"home": packed.home} | {setting.name: setting.world for setting in packed.settings}


@pytest.fixture(scope="module")
def whole(worlds: dict[str, Any]) -> dict[str, Watched]:
    return {name: watch_list(world, SEED, range(N), STATES) for name, world in worlds.items()}


def digest(watched: Any) -> str:
    """Of every bit of a Trace, or of a Watched but for where its rows begin."""
    arrays = [np.ascontiguousarray(one) for one in watched._replace(**{watched._fields[-1]: np.zeros(0)})]
    return hashlib.sha256(b"".join(array.tobytes() for array in arrays)).hexdigest()


def joined(blocks: Iterator[Watched]) -> Watched:
    parts = list(blocks)
    ends = [np.zeros((1, parts[0].ends.shape[1]), np.int64)]
    for part in parts:
        ends.append(ends[-1][-1] + part.ends[1:])
    columns = [np.concatenate([part[i] for part in parts]) for i in range(len(Watched._fields) - 1)]
    return Watched(*columns, np.concatenate(ends))


# --- the same possessions -----------------------------------------------------------------------------


def test_watched_possessions_are_those_played(worlds: dict[str, Any], whole: dict[str, Watched]) -> None:
    demo = load_scenario(SCENARIO)  # below: a pass is worth less than a lost one
    constants = {**demo.constants, "belief_pass_points": -1.0, "hold_value_points": 0.5}
    few_points = pack(demo.model_copy(update={"constants": constants})).home
    for name, world in (worlds | {"passes worth nothing": few_points}).items():
        records = np.zeros((N, N_RECORD), np.int32)
        play_block(world, SEED, 0, records)
        if name in whole:
            np.testing.assert_array_equal(whole[name].records, records, err_msg=name)
        many = np.zeros((MANY, N_RECORD), np.int32)  # who is watched weighs to the end what others leave
        play_block(world, SEED, N, many)
        np.testing.assert_array_equal(watch_list(world, SEED, range(N, N + MANY)).records, many, err_msg=name)
        few = np.array([90, 4, 17])
        play_list(world, SEED, few, records[:3], 1)
        np.testing.assert_array_equal(watch_list(world, SEED, few, max_calls=1).records, records[:3])
    home, *others = (digest(one) for one in whole.values())
    assert home not in others  # the worlds are not all the same


def test_a_block_holds_each_possession_as_its_own_trace(
    worlds: dict[str, Any], whole: dict[str, Watched]
) -> None:
    for name, world in worlds.items():
        for number, trace in enumerate(whole[name].traces()):
            assert digest(trace) == digest(trace_possession(world, SEED, number)), (name, number)
            if number == 20:
                break


def test_the_order_asked_for_is_kept(worlds: dict[str, Any], whole: dict[str, Watched]) -> None:
    world, home = worlds["home"], whole["home"]
    numbers = np.random.default_rng(1).permutation(N)[:30]
    found = watch_list(world, SEED, numbers, STATES)
    np.testing.assert_array_equal(found.numbers, numbers)
    for i, number in enumerate(numbers.tolist()):
        assert digest(found.trace(i)) == digest(home.trace(number))
    assert len(watch_list(world, SEED, []).events) == 0


@pytest.mark.parametrize("threads", [1, 2, 3])
@pytest.mark.parametrize("size", [1, 7, N, 2 * N])
def test_blocks_and_threads_change_nothing(
    worlds: dict[str, Any],
    whole: dict[str, Watched],
    size: int,
    threads: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    name = list(worlds)[1]
    monkeypatch.setattr(run, "MOST", size)
    monkeypatch.setattr(run, "BLOCK_BYTES", 2 * N * watch.bytes_of(STATES))
    told: list[tuple[int, int]] = []
    blocks = list(
        watch_block(
            worlds[name], SEED, 0, N, STATES, threads=threads, progress=lambda *done: told.append(done)
        )
    )
    assert [len(block.numbers) for block in blocks] == [min(size, N - i) for i in range(0, N, size)]
    assert digest(joined(iter(blocks))) == digest(whole[name])
    np.testing.assert_array_equal(joined(iter(blocks)).ends, whole[name].ends)
    assert told == [(min(i * size, N), N) for i in range(len(blocks) + 1)]


def test_buffers_that_were_too_small_change_nothing(
    worlds: dict[str, Any], whole: dict[str, Watched], monkeypatch: pytest.MonkeyPatch
) -> None:
    grown: list[int] = []
    usual, usual_rows = watch.grown, watch.ROWS

    def counted(kept: Any, done: int) -> Any:
        grown.append(done)
        return usual(kept, done)

    monkeypatch.setattr("engine.kernel.batch.grown", counted)
    for kind in (EVENTS, OPTIONS, STEPS):
        few = usual_rows.copy()
        few[kind] = 0
        monkeypatch.setattr(watch, "ROWS", few)
        monkeypatch.setattr(watch, "ROWS_BESIDE", (few > 0) * 1000)
        for name, world in worlds.items():
            found = watch_list(world, SEED, range(N), STATES)
            assert digest(found) == digest(whole[name])
            np.testing.assert_array_equal(found.ends, whole[name].ends)
    assert len(set(grown)) > 5 and 0 in grown  # also in the midst of a block


def test_a_long_way_of_possessions_is_not_laid_out_beforehand(worlds: dict[str, Any]) -> None:
    blocks = watch_block(worlds["home"], SEED, 0, 10**12, STATES, threads=2)
    seen = [next(blocks), next(blocks)]
    blocks.close()
    assert seen[1].numbers[0] == len(seen[0].numbers) > 1
    for block in seen:
        assert sum(array.nbytes for array in block) < 2 * run.BLOCK_BYTES


# --- what is kept -------------------------------------------------------------------------------------


def test_parts_of_the_working_record_are_kept_as_asked(
    worlds: dict[str, Any], whole: dict[str, Watched]
) -> None:
    world = worlds["home"].copy()
    world["policy_where"] = 1  # so that every step fills the floor; the policy of no name changes nothing
    found = watch_list(world, SEED, range(10), ("floor", "s", "guards"))
    assert found.steps.dtype.names == ("floor", "s", "guards")
    assert [found.steps[name].dtype for name in ("floor", "s")] == [FLOOR, STATE]
    home = whole["home"]
    states = home.steps["s"][: home.ends[10, STEPS]]
    assert found.steps["s"].tobytes() == states.tobytes()
    first = np.zeros(len(found.steps), bool)
    first[found.ends[:-1, STEPS]] = True
    inside = ~first & (states["mode"] != Mode.OVER)
    assert inside.sum() > 500
    np.testing.assert_array_equal(found.steps["floor"]["t_s"][inside], states["t"][inside])
    assert found.steps["guards"].shape == (len(found.steps), 5)
    alone = found.trace(3)
    assert len(alone.states) == home.ends[4, STEPS] - home.ends[3, STEPS] and len(alone.agents) == 0
    assert alone.agents.dtype == AGENT and alone.states.dtype == STATE
    with pytest.raises(KeyError):
        watch_list(world, SEED, [0], ("nothing",))


def test_rows_belong_to_their_possessions(worlds: dict[str, Any], whole: dict[str, Watched]) -> None:
    for found in whole.values():
        assert found.events.shape[1] == len(WATCHED_COLUMNS) and found.options.shape[1] == len(OPTION_COLUMNS)
        for kind, rows in ((EVENTS, found.events), (OPTIONS, found.options), (STEPS, found.steps)):
            of = found.possession_of(kind)
            assert len(of) == len(rows) and (np.diff(of) >= 0).all()
        starts = found.steps["s"]["step"] == 0
        np.testing.assert_array_equal(found.possession_of(STEPS)[starts], np.arange(N))
        np.testing.assert_array_equal(found.steps["s"]["possession"], found.possession_of(STEPS))
        np.testing.assert_array_equal(np.unique(found.possession_of(EVENTS)), np.arange(N))
        assert not found.lost.any()
    sizes = SCRATCH["s"].itemsize + SCRATCH["agents"].itemsize
    assert whole["home"].steps.dtype.itemsize == sizes


def test_numbers_may_be_few_and_anywhere(worlds: dict[str, Any]) -> None:
    far = [2**40 + 5, 3, 2**40 + 5]
    found = joined(watch_numbers(worlds["home"], 2**63 + 1, far, STATES, threads=2))
    assert found.numbers.tolist() == far
    assert digest(found.trace(0)) == digest(found.trace(2)) != digest(found.trace(1))
    assert list(watch_numbers(worlds["home"], SEED, [])) == []


# --- what did not fit a step ----------------------------------------------------------------------------

#: Watches three possessions as plain Python, the second time with room for one event and two options a step.
INTERPRETED = """
import json, sys, warnings
import numpy as np
sys.path.insert(0, "tests")
from test_watch import SCENARIO, SEED, digest
from engine import cli
from engine.inputs import load_scenario
from engine.kernel import batch, log, watch
from engine.kernel.watch import STATES
from engine.world.pack import pack

world = pack(load_scenario(SCENARIO)).home
told = {"digest": digest(batch.watch_list(world, SEED, range(3), STATES))}
for module in (log, watch):
    module.EVENTS_PER_STEP, module.N_OPTIONS = 1, 2
with warnings.catch_warnings(record=True) as said:
    warnings.simplefilter("always")
    found = batch.watch_list(world, SEED, range(3), STATES)
told |= {"said": [str(one.message) for one in said], "lost": found.lost.tolist()}
told |= {"traced": [trace.lost for trace in found.traces()]}
told |= {name: getattr(found, name).tolist() for name in ("events", "options", "records")}
print(json.dumps(told), flush=True)
sys.argv = ["trapledger", "trace", str(SCENARIO), "--index", "1", "-o", sys.argv[1]]
cli.main()
"""


def rooms(rows: Any, room: int) -> Any:
    """The first so many rows of every time."""
    times = rows[:, 0].tolist()
    return rows[[i for i in range(len(times)) if times[max(i - room, 0) : i].count(times[i]) < room]]


def test_what_did_not_fit_a_step_is_counted_and_said(whole: dict[str, Watched], tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", INTERPRETED, str(tmp_path / "trace.csv")],
        cwd=ROOT,
        env={**os.environ, "NUMBA_DISABLE_JIT": "1", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout.splitlines()[0])
    home = whole["home"]
    events = [home.events_of(i) for i in range(3)]
    options = [home.trace(i).options for i in range(3)]
    kept = [rooms(one, 1) for one in events], [rooms(one, 2) for one in options]
    lost = [len(events[i]) - len(kept[0][i]) + len(options[i]) - len(kept[1][i]) for i in range(3)]
    assert min(lost) > 0 and told["lost"] == told["traced"] == lost
    np.testing.assert_array_equal(np.array(told["events"])[:, :-1], np.concatenate(kept[0]))
    np.testing.assert_array_equal(np.array(told["options"]), np.concatenate(kept[1]))
    np.testing.assert_array_equal(np.array(told["records"]), home.records[:3])
    assert len(told["said"]) == 1 and told["said"][0].startswith(f"{sum(lost)} events or options are missing")
    lines = [line for line in done.stderr.splitlines() if "missing" in line]
    assert len(lines) == 1 and lines[0].startswith("trapledger: ") and "Traceback" not in done.stderr


def test_interpreted_and_compiled_traces_are_the_same(worlds: dict[str, Any]) -> None:
    code = INTERPRETED.split("for module in")[0] + "print(told['digest'])"
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**os.environ, "NUMBA_DISABLE_JIT": "1", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert done.stdout.strip() == digest(watch_list(worlds["home"], SEED, range(3), STATES)), done.stderr


def test_nothing_is_said_where_everything_fits(worlds: dict[str, Any]) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error", Incomplete)
        assert watch_list(worlds["home"], SEED, range(N)).lost.sum() == 0
