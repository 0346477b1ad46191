"""Beliefs and knobs fitted in one loop: what is put in comes out, and is written where it can be read."""

from __future__ import annotations

import importlib
import shutil
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from engine.inputs import Scenario, load_constants, load_level, load_scenario
from engine.inputs.files import configs_root
from engine.study.newton import Range, solve

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def tools() -> Iterator[tuple[ModuleType, ModuleType]]:
    """benchmarks/fit_levels.py and the fit_beliefs.py that it uses."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(ROOT / "benchmarks")
        levels = importlib.import_module("fit_levels")
        yield levels, levels.fit_beliefs


def test_rounds_come_to_rest_and_the_later_half_is_averaged(tools: tuple[ModuleType, ModuleType]) -> None:
    _, beliefs = tools
    steps = [beliefs.step_of(number, 12) for number in range(12)]
    assert steps[0] == 1.0 and steps == sorted(steps, reverse=True) and 0.0 < steps[-1] < 0.5
    rounds = [{"a": 9.0}, {"a": 9.0}, {"a": 2.0}, {"a": 4.0, "b": 5.0}]
    assert beliefs.averaged(rounds) == {"a": 3.0, "b": 5.0}, "b was measured only once"


def test_beliefs_and_knobs_meet_where_each_asks_for_the_other(
    tools: tuple[ModuleType, ModuleType], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rates that hang on a belief, and a belief that hangs on a knob: both are met only where the knobs
    are the solution and the belief is .1."""
    levels, beliefs = tools
    problem = levels.Problem(
        load_level("school"), load_scenario(configs_root() / "scenarios" / "level_school.toml"), 1, 1, 1
    )
    span = problem.high - problem.low
    solution = problem.low + 0.4 * span
    knob = list(problem.knobs).index("box_out_share")

    def play(knobs: np.ndarray, possessions: int | None = None) -> dict[str, tuple[float, float]]:
        believed = problem.scenario.constants["worth_top_points"] - 0.1
        values = problem.goal + 0.2 * ((knobs - solution) / span + 0.5 * believed)
        return {t: (float(v), 1e-4) for t, v in zip(problem.knobs.values(), values, strict=True)}

    def measured(pool: None, scenario: Scenario, n: int, number: int) -> dict[str, float]:
        return {
            "worth_top_points": 0.1
            + 0.3 * (scenario.constants["box_out_share"] - solution[knob]) / span[knob]
        }

    monkeypatch.setattr(problem, "play", play)
    monkeypatch.setattr(beliefs, "measured", measured)
    told: list[str] = []
    found, values = levels.together(problem, None, 40, 1, told.append)
    assert len(told) == 40
    assert np.abs((problem.start() - solution) / span).max() > 0.1, "it does not begin there"
    assert found == pytest.approx(solution, abs=2e-3 * span.min())
    assert values == {"worth_top_points": pytest.approx(0.1, abs=1e-3)}
    assert problem.scenario.constants["worth_top_points"] == values["worth_top_points"]


@pytest.mark.parametrize("table", ["constants", "other_defence"])
def test_what_is_believed_is_written_into_its_table(
    table: str, tools: tuple[ModuleType, ModuleType], tmp_path: Path
) -> None:
    _, beliefs = tools
    shutil.copytree(configs_root() / "levels", tmp_path / "levels")
    path = tmp_path / "levels" / "school.toml"
    before = load_level(path)
    values = {"belief_go_on_points": 0.0123, "worth_top_points": -0.0321}
    assert {name: getattr(before, table)[name].value for name in values} != values
    text = beliefs.written(path.read_text(encoding="utf-8"), values, table)
    path.write_text(text, encoding="utf-8")
    after = load_level(path)
    rest: dict[str, Any] = {table: True}
    assert after.model_dump(exclude=rest) == before.model_dump(exclude=rest)
    found = {name: item.value for name, item in getattr(after, table).items()}
    # what is no more measured against the other kind is not left from an older fit
    kept = {name: item.value for name, item in before.constants.items()} if table == "constants" else {}
    assert found == kept | values
    assert beliefs.written(text, values, table) == text, "written again it stays as it is"


def test_a_knob_that_a_file_has_not_is_told(tools: tuple[ModuleType, ModuleType]) -> None:
    levels, _ = tools
    problem = levels.Problem(
        load_level("school"), load_scenario(configs_root() / "scenarios" / "level_school.toml"), 1, 1, 1
    )
    text = (configs_root() / "levels" / "school.toml").read_text(encoding="utf-8")
    with pytest.raises(ValueError, match=r"constants\.box_out_share"):
        levels.with_knobs(
            text.replace("[constants.box_out_share]", "[constants.bo]"), problem, problem.start()
        )


def test_what_other_levels_take_over_is_put_into_their_files(
    tools: tuple[ModuleType, ModuleType], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    levels, _ = tools
    shutil.copytree(configs_root(), tmp_path / "configs")
    monkeypatch.setattr(levels, "configs_root", lambda: tmp_path / "configs")

    def read(file: str) -> dict[str, Any]:
        return tomllib.loads((tmp_path / "configs" / file).read_text(encoding="utf-8"))

    by_source = {name for name, one in load_constants().items() if "at the professional level" in one.source}
    assert set(levels.TAKEN_OVER) == by_source | {"touch_max_p"}
    assert set(levels.TAKEN_OVER) <= set(load_level(levels.PROFESSIONAL).knobs)
    knobs = {name: 0.001 * n for n, name in enumerate(levels.TAKEN_OVER, 1)}
    file, boys = "model/constants.toml", ("levels/school.toml", "levels/under_14.toml")
    before, others = read(file), [read(one) for one in boys]
    levels.hand_over(levels.PROFESSIONAL, knobs)
    after = read(file)
    assert {name: after[name].pop("value") for name in knobs} == knobs
    assert all(before[name].pop("value") != knobs[name] for name in knobs) and after == before
    assert others == [read(one) for one in boys]
    levels.hand_over("school", knobs)
    assert [read(one) for one in boys] == others
    levels.hand_over(levels.COLLEGE, {"noise_points": 0.123})
    for level, old in zip(boys, others, strict=True):
        found = read(level)
        assert found["constants"]["noise_points"].pop("value") == 0.123
        del old["constants"]["noise_points"]["value"]
        assert found == old
    path = tmp_path / "configs" / file
    path.write_text(path.read_text(encoding="utf-8").replace("[block_p]", "[block_q]"), encoding="utf-8")
    with pytest.raises(ValueError, match=r"\[block_p\]"):
        levels.hand_over(levels.PROFESSIONAL, knobs)


def test_a_leap_to_the_end_and_too_far_comes_back() -> None:
    within = Range(np.array([0.2]), np.zeros(1), np.array([1.1]))

    def play(knobs: np.ndarray) -> np.ndarray:
        return np.array([[knobs[0] ** 2, 0.05]])

    begin = np.array([0.5])
    found, _ = solve(play, begin, play(begin), np.array([1.0]), np.array([[1.1]]), within, 12)
    assert found == pytest.approx(1.0, abs=0.03)
