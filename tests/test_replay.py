"""The trace of a possession is that possession: its record, its events, and the tables made of it.

Record and box score are two accounts of one possession that the kernel keeps apart (events and columns),
so counting the one against the other sees a mistake in either. No outside source is needed.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from kernel_process import here, run_process

import engine
from engine.inputs import load_scenario
from engine.kernel.batch import Trace, play_block, trace_possession
from engine.state.arrays import N_OPTIONS, N_SIDE
from engine.state.record import COLUMN, N_RECORD
from engine.state.words import EVENTS, JOBS, MODES, OUTCOMES, REGIONS, Mode
from engine.study.replay import replay as tables
from engine.world.pack import pack

SCENARIO = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
#: Possessions that the batch plays of each setting. Traced are the first FIRST, and CALLED with a call.
N_PLAYED = 1000
FIRST, CALLED = 40, 10
SEED = 1


@pytest.fixture(scope="module")
def scenario() -> Any:
    return load_scenario(SCENARIO)


@pytest.fixture(scope="module")
def worlds(scenario: Any) -> dict[str, Any]:
    packed = pack(scenario)
    return {"home": packed.home} | {setting.name: setting.world for setting in packed.settings}


@pytest.fixture(scope="module")
def batches(worlds: dict[str, Any]) -> dict[str, Any]:
    found = {}
    for name, world in worlds.items():
        found[name] = np.zeros((N_PLAYED, N_RECORD), np.int32)
        play_block(world, SEED, 0, found[name])
    return found


def called(batches: dict[str, Any], name: str) -> list[int]:
    """Numbers of possessions with a call."""
    return np.flatnonzero(batches[name][:, COLUMN["n_calls"]] > 0).tolist()


@pytest.fixture(scope="module")
def traces(worlds: dict[str, Any], batches: dict[str, Any]) -> dict[str, dict[int, Trace]]:
    """Setting -> number of a possession -> its trace."""
    found = {}
    for name, world in worlds.items():
        later = [i for i in called(batches, name) if i >= FIRST] if name != "home" else range(FIRST, N_PLAYED)
        numbers = [*range(FIRST), *later[:CALLED]]
        found[name] = {i: trace_possession(world, SEED, i) for i in numbers}
    return found


# --- trace and batch ----------------------------------------------------------------------------------


def test_the_trace_of_a_possession_is_what_the_batch_did(
    batches: dict[str, Any], traces: dict[str, dict[int, Trace]]
) -> None:
    assert len(batches) > 1
    for name, of_it in traces.items():
        assert len(of_it) == FIRST + CALLED, f"too few calls in {name}"
        again = np.array([trace.record for trace in of_it.values()])
        assert again.dtype == batches[name].dtype
        np.testing.assert_array_equal(again, batches[name][list(of_it)], err_msg=name)


def _count(trace: Trace, event: str, player: Any = None, value: float | None = None) -> int:
    rows = trace.events[trace.events[:, 1] == EVENTS.index(event)]
    if player is not None:
        rows = rows[np.isin(rows[:, 2], list(player))]
    if value is not None:
        rows = rows[rows[:, 4] == value]
    return len(rows)


def test_events_add_up_to_the_box_score(traces: dict[str, dict[int, Trace]]) -> None:
    attack, defend = range(N_SIDE), range(N_SIDE, 2 * N_SIDE)
    seen = set()
    for name in traces:
        for i, trace in traces[name].items():
            box = {column: int(trace.record[k]) for column, k in COLUMN.items()}
            made = trace.events[trace.events[:, 1] == EVENTS.index("made")][:, 4]
            events = {
                "fgm": len(made),
                "three_made": int((made == 3).sum()),
                "fta": _count(trace, "free_throw"),
                "ftm": _count(trace, "free_throw", value=1),
                "oreb": _count(trace, "rebound", attack),
                "dreb": _count(trace, "rebound", defend),
                "turnovers": _count(trace, "turnover"),
                "steals": _count(trace, "steal"),
                "fouls": _count(trace, "foul"),
                "shooting_fouls": _count(trace, "foul", value=1),
                "blocks": _count(trace, "blocked"),
                "passes": _count(trace, "pass"),
                "deflections": _count(trace, "touch"),
                "drives": _count(trace, "drive"),
                "n_calls": _count(trace, "call"),
                "points": int(made.sum()) + _count(trace, "free_throw", value=1),
                # an attempt is a miss, a block or a made shot; a foul that spoils the shot cancels it
                "fga": _count(trace, "missed") + _count(trace, "blocked") + len(made),
            }
            assert events == {key: box[key] for key in events}, (name, i)
            assert _count(trace, "start") == _count(trace, "end") == 1
            assert trace.events[-1, 1] == EVENTS.index("end")
            assert trace.events[-1, 4] == box["end"]
            assert round(1000 * trace.events[-1, 0]) == box["time_ms"]
            spots = trace.events[trace.events[:, 1] == EVENTS.index("call")][:, 3].astype(int)
            assert sum((spot + 1) << (4 * k) for k, spot in enumerate(spots.tolist())) == box["call_spots"]
            seen |= {key for key, n in events.items() if n}
    assert seen >= {"fgm", "three_made", "fta", "oreb", "dreb", "steals", "passes", "n_calls", "fouls"}


def test_states_run_from_the_start_to_the_end_step_by_step(traces: dict[str, dict[int, Trace]]) -> None:
    for name in traces:
        for trace in traces[name].values():
            states, agents = trace.states, trace.agents
            assert agents.shape == (len(states), 2 * N_SIDE)
            np.testing.assert_array_equal(states["step"], np.arange(len(states)))
            assert (states["mode"][:-1] != Mode.OVER).all()
            assert states["mode"][-1] == Mode.OVER
            assert np.isfinite(agents["x"]).all() and np.isfinite(agents["y"]).all()
            # nobody has the ball anywhere but where he stands
            held = np.isin(states["mode"], (Mode.HELD, Mode.PASS_WINDUP))
            rows = np.flatnonzero(held[1:] & held[:-1]) + 1
            holder = agents[rows, states["handler"][rows]]
            np.testing.assert_array_equal(holder["x"], states["ball_x"][rows])
            np.testing.assert_array_equal(holder["y"], states["ball_y"][rows])
            # one option of every decision was taken, and none is weighed twice
            for decision in np.unique(trace.options[:, 1]):
                of_it = trace.options[trace.options[:, 1] == decision]
                assert of_it[:, 5].sum() == 1
                assert len(np.unique(of_it[:, 3])) == len(of_it) <= N_OPTIONS


def test_interpreted_and_compiled_agree(worlds: dict[str, Any], batches: dict[str, Any]) -> None:
    """The same source run by Python: three possessions at home, ten that begin there and have calls, every
    column equal."""
    name = max(batches, key=lambda setting: len(called(batches, setting)))
    numbers = {"home": list(range(3)), name: called(batches, name)[:10]}
    assert len(numbers[name]) == 10
    found = run_process(numbers, SEED, {"NUMBA_DISABLE_JIT": "1"})
    assert found["hits"] == found["misses"] == 0
    assert found["records"] == here(worlds, numbers, SEED)


# --- tables -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def trapped(batches: dict[str, Any]) -> tables.Replay:
    """A possession with a call whose trap was set and then left by a pass."""
    for name in list(batches)[1:]:
        for i in called(batches, name):
            beaten = batches[name][i, COLUMN["outcome"]] == OUTCOMES.index("escape_pass")
            if beaten and batches[name][i, COLUMN["trap_set"]]:
                return engine.replay(SCENARIO, i, name, seed=SEED)
    raise AssertionError("no beaten trap among the possessions of this test")


def test_frames_have_one_row_per_tick_and_every_column_a_meaning(trapped: tables.Replay) -> None:
    frames = trapped.frames()
    assert len(frames) == len(trapped.trace.states)
    wide = [f"{agent}_{name}" for agent in tables.AGENTS for name in tables.AGENT_COLUMNS]
    assert list(frames.columns) == [*tables.FRAME_COLUMNS, *wide]
    assert all(tables.FRAME_COLUMNS.values()) and all(tables.AGENT_COLUMNS.values())
    np.testing.assert_allclose(frames["t_s"].diff().dropna(), 0.1, atol=1e-9)
    assert set(frames["mode"]) <= set(MODES)
    assert frames["mode"].iloc[-1] == "over"
    assert set(frames["region"]) <= set(REGIONS)
    assert set(frames["near"]) <= {"left", "right"}
    assert (frames["clock_s"].diff().dropna() <= 1e-9).sum() > 0
    agents = trapped.trace.agents
    for i, agent in enumerate(tables.AGENTS):
        for name, field in (("x_m", "x"), ("y_m", "y"), ("vx_mps", "vx"), ("vy_mps", "vy")):
            np.testing.assert_array_equal(frames[f"{agent}_{name}"], agents[:, i][field])
    jobs = {job for agent in tables.AGENTS[N_SIDE:] for job in frames[f"{agent}_job"].iloc[1:]}
    assert jobs <= {*JOBS, "box_out", "loose_ball"}
    assert "trap" in jobs


def test_a_trap_shows_in_the_frames(trapped: tables.Replay) -> None:
    frames, record = trapped.frames(), trapped.record()
    running = frames[frames["trap_phase"].isin(["coming", "set"])]
    assert len(running)
    assert set(running["trap_call"]) == {record["first_call"]}
    assert (frames.loc[frames["trap_phase"] == "none", "trap_call"] == "").all()
    # the two who trap, once nothing is disguised any more
    trapping = [agent for agent in tables.AGENTS[N_SIDE:] if (running[f"{agent}_job"] == "trap").any()]
    assert len(trapping) == 2
    breaking = {job for agent in tables.AGENTS[:N_SIDE] for job in running[f"{agent}_job"]} - {""}
    assert breaking == set(tables.BREAKS)


def test_the_long_table_holds_the_same_numbers(trapped: tables.Replay) -> None:
    wide, long = trapped.frames(), trapped.frames(long=True)
    assert list(long.columns) == [*tables.FRAME_COLUMNS, *tables.LONG_COLUMNS, *tables.AGENT_COLUMNS]
    assert len(long) == 2 * N_SIDE * len(wide)
    assert list(long["agent"][: 2 * N_SIDE]) == list(tables.AGENTS)
    for agent in tables.AGENTS:
        rows = long[long["agent"] == agent].reset_index(drop=True)
        for name in tables.AGENT_COLUMNS:
            assert rows[name].tolist() == wide[f"{agent}_{name}"].tolist()
    holders = long[long["has_ball"]]
    assert (holders["agent"] == holders["handler"]).all()
    assert (holders["number"] == holders["handler_number"]).all()
    assert not long.loc[long["mode"].isin(["pass in flight", "over"]), "has_ball"].any()


def test_shirt_numbers_are_those_of_the_teams(trapped: tables.Replay, scenario: Any) -> None:
    places = scenario.defence_team.zone_places
    offence = [player.number for player in scenario.offence_team.on_court]
    defence = [
        places.left_guard, places.right_guard, places.left_forward, places.right_forward, places.centre
    ]  # fmt: skip
    assert list(trapped.numbers) == offence + defence
    events = trapped.events()
    for who in ("player", "other"):
        for agent, number in zip(events[who], events[f"{who}_number"], strict=True):
            if agent:
                assert number == trapped.numbers[tables.AGENTS.index(agent)]
            else:
                assert number is pd.NA


def test_events_are_told_in_words(trapped: tables.Replay) -> None:
    events = trapped.events()
    assert list(events.columns) == list(tables.EVENT_TABLE_COLUMNS)
    assert events["event"].iloc[0] == "start"
    assert events["event"].iloc[-1] == "end"
    assert events["t_s"].is_monotonic_increasing
    calls = events[events["event"] == "call"]
    assert calls["call"].iloc[0] == trapped.record()["first_call"]
    assert (calls["other"] == "").all()
    left = events[events["event"] == "trap_left"]
    assert left["detail"].iloc[0] == trapped.record()["outcome"] == "escape_pass"
    passes = events[events["event"] == "pass"]
    assert set(passes["detail"]) <= {"direct", "bounce", "over"}
    assert passes["value"].isna().all()
    assert set(passes["player"]) | set(passes["other"]) <= set(tables.AGENTS[:N_SIDE])
    assert events.loc[events["event"] == "catch", "value"].ge(0).all()


def test_every_code_of_the_events_has_a_word(traces: dict[str, dict[int, Trace]]) -> None:
    """Kinds in ``DETAILS`` are complete: no event of the possessions played has a value they do not know."""
    for name in traces:
        for trace in traces[name].values():
            for _, code, _, _, value, _, _ in trace.events.tolist():
                event = EVENTS[int(code)]
                assert event not in tables.DETAILS or value in tables.DETAILS[event], (event, value)
                assert not (event in tables.DETAILS and event in tables.QUANTITIES)


def test_options_are_told_in_words(trapped: tables.Replay) -> None:
    options = trapped.options()
    assert list(options.columns) == list(tables.OPTION_TABLE_COLUMNS)
    assert (options.groupby("decision")["chosen"].sum() == 1).all()
    passes = options["option"] == "pass"
    assert options.loc[passes, "receiver"].isin(tables.AGENTS[:N_SIDE]).all()
    assert (options.loc[~passes, "receiver"] == "").all()
    assert (options.loc[passes, "receiver"] != options.loc[passes, "player"]).all()
    assert np.isfinite(options["value_points"]).all()
    # a pass chosen is a pass thrown
    thrown = trapped.events().query("event == 'pass'")
    chosen = options[options["chosen"] & passes]
    assert chosen["receiver_number"].tolist()[: len(thrown)] == thrown["other_number"].tolist()


def test_a_rule_set_without_a_clock_shows_none(scenario: Any) -> None:
    clock = scenario.rules.clock.model_copy(update={"shot_s": 0.0})
    rules = scenario.rules.model_copy(update={"clock": clock})
    found = engine.replay(scenario.model_copy(update={"rules": rules}), 0, seed=SEED)
    assert found.frames()["clock_s"].isna().all()
    assert engine.replay(scenario, 0, seed=SEED).frames()["clock_s"].notna().all()


def test_fewer_calls_may_be_allowed(batches: dict[str, Any]) -> None:
    name = max(batches, key=lambda setting: len(called(batches, setting)))
    i = called(batches, name)[0]
    assert "call" in set(engine.replay(SCENARIO, i, name, seed=SEED).events()["event"])
    none = tables.replay(SCENARIO, i, name, seed=SEED, max_calls=0)
    home = batches["home"][i].copy()
    home[COLUMN["shadow"]] = 0  # only home watches what settings would call
    np.testing.assert_array_equal(none.trace.record, home)
