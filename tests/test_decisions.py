"""Decisions with what came of them: the compiled table beside the same told plainly, column by column."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from engine.inputs import load_scenario
from engine.inputs.files import configs_root
from engine.inputs.scenario import with_constants
from engine.kernel.shooting import is_three
from engine.kernel.watch import STATES, Trace
from engine.kernel.worth import reluctance
from engine.run.watch import watch_block
from engine.state.arrays import N_SIDE
from engine.state.record import COLUMN
from engine.state.words import Action, Event, Mode, Option, TrapPhase
from engine.study.decision_rows import CHOSEN, COLUMNS, OPTION, PLAYER, PROMISE, TIME_S, VALUE, fill
from engine.study.decisions import _records, choices
from engine.world.pack import pack

N = 80
FRIDAY = load_scenario(configs_root() / "scenarios" / "friday_night.toml")


def kind_of(option: int, driving: bool) -> str:
    if option >= Option.PASS_1:
        return "pass"
    names = {Option.SHOOT: "shot", Option.RETREAT: "retreat", Option.SPLIT: "split"}
    names[Option.HOLD] = "stop" if driving else "hold"
    return names.get(Option(option), "go on" if driving else "drive")


def came_of(trace: Trace, kind: str, option: int, t: float, wait_s: float) -> dict[str, Any]:
    """What the events after ``t`` say of one decision."""
    states, agents = trace.states, trace.agents
    later = [event for event in trace.events if event[0] >= t - 1e-6]
    codes = [Event(int(event[1])) for event in later]
    found: dict[str, Any] = {"lost": math.nan, "gap_m": math.nan, "shot_m": math.nan, "made": math.nan}
    found["passed_out"] = False
    if kind == "pass":
        ends = (Event.CATCH, Event.TURNOVER, Event.END)
        by_us = [
            code == Event.RECOVERED and event[2] < N_SIDE for code, event in zip(codes, later, strict=True)
        ]
        first = next((i for i, code in enumerate(codes) if code in ends or by_us[i]), None)
        found["lost"] = 0.0 if first is not None and (codes[first] == Event.CATCH or by_us[first]) else 1.0
        if first is not None and codes[first] == Event.CATCH:
            to, caught = option - Option.PASS_1, later[first][0]
            i = next(i for i, at in enumerate(states["t"]) if at >= caught - 1e-6)
            while i + 1 < len(states) and states["t"][i] < caught + wait_s - 1e-6:
                if (
                    states["mode"][i + 1] not in (Mode.HELD, Mode.SHOT_WINDUP)
                    or states["handler"][i + 1] != to
                ):
                    break
                i += 1
            x, y = agents["x"][i], agents["y"][i]
            found["gap_m"] = min(math.hypot(x[j] - x[to], y[j] - y[to]) for j in range(N_SIDE, 2 * N_SIDE))
    if kind in ("shot", "drive", "go on"):
        ends = (Event.SHOT, Event.PASS, Event.PICK_UP, Event.TURNOVER, Event.FOUL, Event.END)
        first = next((i for i, code in enumerate(codes) if code in ends), None)
        if first is not None and codes[first] == Event.SHOT:
            found |= {"gap_m": later[first][4], "shot_m": math.hypot(*later[first][5:7])}
        found["passed_out"] = first is not None and codes[first] == Event.PASS
    if kind == "shot":
        how = next((code for code in codes if code in (Event.MADE, Event.MISSED, Event.FOUL)), None)
        found["made"] = {Event.MADE: 1.0, Event.MISSED: 0.0}.get(how, math.nan)  # type: ignore[arg-type]
    return found


def told(world: np.ndarray, trace: Trace, only_look: int | None) -> Iterator[dict[str, Any]]:
    """The decisions of one possession, told plainly."""
    w, states = world[0], trace.states
    wait_s = float(w.k.catch_pause_s + w.k.shot_release_s)
    chosen = [row for row in trace.options if row[CHOSEN] > 0.0]
    steps = [next(i for i, t in enumerate(states["t"]) if t >= row[TIME_S] - 1e-6) for row in chosen]
    asked = []
    for row, step in zip(chosen, steps, strict=True):
        who, left = int(row[PLAYER]), float(states["clock_s"][step])
        man = trace.agents[step, who]
        three = is_three(w, float(man["x"]), float(man["y"]))
        asked.append(reluctance(w, who, three, left) if row[OPTION] == Option.SHOOT else 0.0)
    look = 0
    for n, (row, step) in enumerate(zip(chosen, steps, strict=True)):
        at, before = states[step], states[max(step - 1, 0)]
        new, look = int(at["n_looks"]) != look, int(at["n_looks"])
        if only_look is not None and not (new and look == only_look):
            continue
        if at["trap_phase"] == TrapPhase.COMING and at["now"] < at["trap_read_t"]:
            continue
        kind, left = kind_of(int(row[OPTION]), before["action"] == Action.DRIVE), float(at["clock_s"])
        own = (
            row[PROMISE] * reluctance(w, int(row[PLAYER]), False, left) if kind in ("drive", "go on") else 0.0
        )
        yield {
            "kind": kind,
            "phase": int(at["trap_phase"]),
            "left_s": left,
            "believed": row[VALUE] - row[PROMISE] * own,
            **dict(zip(("raw", "forecast_m", "promise", "ahead", "place"), row[CHOSEN + 1 :], strict=True)),
            **came_of(trace, kind, int(row[OPTION]), row[TIME_S], wait_s),
            "points": trace.record[COLUMN["points"]] - sum(asked[n + 1 :]),
        }


@pytest.mark.parametrize("look", [None, 2])
@pytest.mark.parametrize("setting", [None, 0, 3])
def test_the_compiled_table_is_the_one_told_plainly(setting: int | None, look: int | None) -> None:
    packed = pack(with_constants(FRIDAY, {"tried_look": float(look or 0), "reluctance_threes_points": 0.2}))
    world = packed.home if setting is None else packed.settings[setting].world
    table = choices(world, 1, np.arange(N), 1, look)
    rows = []
    for block in watch_block(world, 1, 0, N, STATES):
        for number, trace in zip(block.numbers.tolist(), block.traces(), strict=True):
            rows += [{"possession": number, **row} for row in told(world, trace, look)]
    assert len(rows) == len(table) > 25
    for name in table.columns:
        plain = [row[name] for row in rows]
        if name == "kind":
            assert table[name].tolist() == plain
        else:
            np.testing.assert_allclose(
                table[name], np.array(plain, float), rtol=1e-12, atol=1e-12, err_msg=name
            )
    if look is None:
        passes, shots = table[table["kind"] == "pass"], table[table["kind"] == "shot"]
        assert set(passes["lost"]) == {0.0, 1.0} and passes["gap_m"].notna().any()
        assert {0.0, 1.0} <= set(shots["made"]) and table["passed_out"].any(), "all of it was met"


def test_it_runs_interpreted_too_and_is_a_table_without_possessions() -> None:
    world = pack(FRIDAY).home
    block = next(iter(watch_block(world, 1, 0, 10, STATES)))
    states, agents = _records(block.steps["s"]), _records(block.steps["agents"])
    points = block.records[:, COLUMN["points"]]
    tables = []
    for how in (fill, fill.py_func):
        out = np.full((len(block.options), len(COLUMNS) + 1), -1.0)
        n = how(world[0], states, agents, block.events, block.options, block.ends, points, 0, 1.0, out)
        tables.append(out[:n])
    np.testing.assert_array_equal(*tables)
    some, none = choices(world, 1, np.arange(3), 1), choices(world, 1, np.arange(0), 1)
    assert not len(none) and (none.dtypes == some.dtypes).all()
