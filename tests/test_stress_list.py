"""Stress: the list of uncertain inputs says where its ranges come from; a bad one is refused in one line."""

from __future__ import annotations

import copy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from engine.checks.files import check_path
from engine.errors import InputError
from engine.inputs import load_scenario
from engine.inputs.constants import load_constants
from engine.inputs.files import shipped
from engine.inputs.stress import RATES, for_scenario, load_stress, stress_from
from engine.run.worlds import DUMMY
from engine.study.stress.stress import draw

ROOT = Path(__file__).parents[1]
FRIDAY = ROOT / "configs" / "scenarios" / "friday_night.toml"
LIST = ROOT / "configs" / "model" / "stress.toml"


# --- the list ---------------------------------------------------------------------------------------------


def test_shipped_list_is_complete_and_says_where_its_ranges_come_from() -> None:
    listed = load_stress()
    constants = load_constants()
    assert 20 <= len(listed.inputs) <= 40
    assert {"under_14", "school", "college", "professional"} <= set(listed.rates)
    for one in listed.inputs:
        assert one.low < one.high and one.source and one.more != one.less
        if one.name in constants:
            assert one.low <= constants[one.name].value <= one.high, one.name
            assert ("from memory" in one.source) == (one.origin == "from memory")
    # Gaps 4 of the evidence: these are known from memory only.
    memory = {one.name for one in listed.inputs if one.origin == "from memory"}
    assert {"reaction_s", "slide_speed_share", "pass_speed_direct_mps", "defender_speed"} <= memory
    assert DUMMY not in {one.name for one in listed.inputs}
    assert "stress study" in check_path(LIST)[0] and "rules of deciding: looks" in check_path(LIST)[0]
    assert listed.structure is not None and set(listed.structure.alignments) <= set(shipped("alignments"))
    for rule in listed.structure.rules.values():
        assert 1.0 in rule.choices.values(), "what the scenario has is one of the choices"


def test_ranges_follow_the_level_and_what_is_switched_off_stays_so() -> None:
    listed = load_stress()
    values = {name: constant.value for name, constant in load_constants().items()}
    inputs, fixed = for_scenario(listed, values)
    assert inputs == listed.inputs and fixed == ()
    moved, _ = for_scenario(listed, values | {"reaction_s": 0.42})
    one = next(i for i in moved if i.name == "reaction_s")
    assert (one.low, one.high) == pytest.approx((0.3, 0.5)), "moved by .10, cut at the constant's own range"
    _, fixed = for_scenario(listed, values | {"anticipation_p": 0.0, "reaction_s": 2.0})
    assert fixed == ("reaction_s",)
    scenario = load_scenario(FRIDAY)
    switched = scenario.model_copy(update={"constants": scenario.constants | {"reaction_s": 2.0}})
    plan = draw(switched, listed, 16, 1)
    assert plan.fixed == ("reaction_s",) and "reaction_s" not in plan.values(3)
    assert plan.design.shape == (16, len(listed.inputs))


WORDS = {"label": "reaction", "more": "slow", "less": "quick"}
BAND = {"points": [0.7, 1.1], "turnovers": [0.1, 0.3], "offensive_rebounds": [0.2, 0.4]}
BAND |= {"three_point": [0.2, 0.4]}
LOOKS = {"label": "looks", "constants": ["look_s"], "choices": {"short": 0.5, "usual": 1.0}}
STRUCTURE = {"source": "invented", "plays": ["all", "none"], "rules": {"looks": LOOKS}}
Change = Callable[[dict[str, Any]], None]


def put(*keys: str, value: Any) -> Change:
    def change(data: dict[str, Any]) -> None:
        for key in keys[:-1]:
            data = data[key]
        data[keys[-1]] = value

    return change


def drop(*keys: str) -> Change:
    def change(data: dict[str, Any]) -> None:
        for key in keys[:-1]:
            data = data[key]
        del data[keys[-1]]

    return change


@pytest.mark.parametrize(
    ("change", "pieces"),
    [
        (drop("input"), ("input", "missing")),
        (put("input", value={}), ("input", "at least one [input.<name>]")),
        (put("inputs", value={}), ("unknown key inputs", "nearest 'input'")),
        (put("input", "reaction", value=WORDS), ("'reaction'", "nearest 'reaction_s'")),
        (put("input", "time_step_s", value=WORDS), ("'time_step_s'", "numerical")),
        (put("input", "typical_gap_rim_m", value=WORDS), ("'typical_gap_rim_m'", "can vary")),
        (put("input", "rim_shots", value=WORDS), ("input.rim_shots.low", "missing")),
        (put("input", "reaction_s", "low", value=0.1), ("input.reaction_s.low", "0.2 to 0.5")),
        (put("input", "reaction_s", "high", value="fast"), ("input.reaction_s.high", "a number")),
        (put("input", "reaction_s", "high", value=float("nan")), ("input.reaction_s.high", "a number")),
        (put("input", "reaction_s", "low", value=0.5), ("input.reaction_s.low", "below high (0.5)")),
        (put("input", "reaction_s", "value", value=0.3), ("unknown key input.reaction_s.value",)),
        (drop("input", "reaction_s", "less"), ("input.reaction_s.less", "missing")),
        (put("input", "reaction_s", value=3), ("input.reaction_s", "a table")),
        (drop("rates", "school", "turnovers"), ("rates.school.turnovers", "missing")),
        (drop("rates", "school", "source"), ("rates.school.source", "missing")),
        (put("rates", "school", "points", value=[1.1, 0.7]), ("rates.school.points", "first below")),
        (put("rates", "school", "points", value=[1.1]), ("rates.school.points", "two numbers")),
        (put("rates", "school", "steals", value=[0, 1]), ("unknown key rates.school.steals",)),
        (put("structure", value={}), ("structure.source", "missing")),
        (
            put("structure", "alignment", value=[]),
            ("unknown key structure.alignment", "nearest 'alignments'"),
        ),
        (
            put("structure", "alignments", value=["overlaod"]),
            ("structure.alignments[1]: 'overlaod'", "nearest 'overload'"),
        ),
        (put("structure", "alignments", value=["overload"] * 2), ("structure.alignments[2]", "each once")),
        (put("structure", "plays", value=["most"]), ("structure.plays[1]: 'most'", "one of all, half, none")),
        (put("structure", "plays", value=[]), ("structure.plays", "")),
        (put("structure", "plays", value="all"), ("structure.plays: 'all'", "a list")),
        (put("structure", "rules", "front", value={}), ("structure.rules: 'front'", "another name")),
        (put("structure", "rules", "looks", "constants", value=["look"]), ("constants[1]: 'look'", "look_s")),
        (
            put("structure", "rules", "looks", "constants", value=["reaction_s"]),
            ("structure.rules.looks.constants: 'reaction_s'", "no [input] and no other rule"),
        ),
        (
            put("structure", "rules", "looks", "constants", value=["time_step_s"]),
            ("constants[1]: 'time_step_s'", "one of"),
        ),
        (
            put("structure", "rules", "looks", "choices", value={"usual": 1.0}),
            ("structure.rules.looks.choices", "2"),
        ),
        (
            put("structure", "rules", "looks", "choices", "short", value=-0.5),
            ("structure.rules.looks.choices.short: -0.5", "at least 0"),
        ),
        (
            put("structure", "rules", "looks", "choices", "short", value="half"),
            ("structure.rules.looks.choices.short: 'half'", "a number"),
        ),
        (drop("structure", "rules", "looks", "label"), ("structure.rules.looks.label", "missing")),
    ],
)
def test_a_bad_list_is_refused_in_one_line(change: Change, pieces: tuple[str, ...]) -> None:
    data = {
        "input": {"reaction_s": dict(WORDS)},
        "rates": {"school": {**copy.deepcopy(BAND), "source": "from memory"}},
        "structure": copy.deepcopy(STRUCTURE),
    }
    assert [one.name for one in stress_from(data, "list.toml").inputs] == ["reaction_s"]
    change(data)
    with pytest.raises(InputError) as error:
        stress_from(data, "list.toml")
    text = str(error.value)
    assert "\n" not in text
    for piece in ("list.toml", *pieces):
        assert piece in text, text


def test_a_list_of_its_own_is_read_from_its_file(tmp_path: Path) -> None:
    file = tmp_path / "narrow.toml"
    file.write_text(
        '[input.reaction_s]\nlow = 0.3\nlabel = "r"\nmore = "slow"\nless = "quick"\n', encoding="utf-8"
    )
    listed = load_stress(file)
    assert [(one.name, one.low, one.high) for one in listed.inputs] == [("reaction_s", 0.3, 0.5)]
    assert listed.rates == {} and listed.structure is None and set(RATES) == set(BAND)
    file.write_text("[input.reaction_s\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"narrow\.toml: line 1"):
        load_stress(file)
    with pytest.raises(InputError, match="a file that can be read"):
        load_stress(tmp_path / "absent.toml")
