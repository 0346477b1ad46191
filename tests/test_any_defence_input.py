"""Anything at all in the keys of defences, calls and settings: one line that names them (hypothesis)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from input_files import LOADERS, call, defences, scenario, write, write_all, zone
from test_bad_input import message, put

from engine.inputs import load_call, load_scenario
from engine.inputs.files import shipped

NO_TEXT = st.one_of(st.integers(-3, 99), st.booleans(), st.floats(), st.lists(st.integers(0, 5), max_size=3))
NO_LINE = st.one_of(NO_TEXT, st.sampled_from(["", " ", "a\nb", "\t"]))
NO_POSITION = st.one_of(
    st.integers(max_value=0, min_value=-(2**63)),
    st.integers(6, 2**63),
    st.floats(),
    st.booleans(),
    st.text(max_size=4),
)
WORD = st.text("abcdefghijklmnopqrstuvwxyz_", min_size=1, max_size=8)
NO_SHIRT = st.one_of(
    st.integers(8, 10**6), st.integers(-9, 2), st.floats(), st.booleans(), st.text(max_size=3)
)

#: kind, key to set, what to put there, the key that the line must name
ANY: list[tuple[str, str, Any, str]] = [
    ("zone", "roles/4", st.one_of(NO_LINE, st.sampled_from(["Centre", "ball", "option", "c3"])), "roles[5]"),
    ("zone", "bump_role", st.one_of(NO_TEXT, WORD), "bump_role"),
    ("man_to_man", "persons/post", NO_POSITION, "persons.post"),
    ("man_to_man", "guards/post", NO_POSITION, "guards.post"),
    ("match_up", "match_up", st.one_of(NO_TEXT, WORD), "match_up"),
    ("nearest", "doubles/1", st.one_of(NO_TEXT, WORD), "doubles["),
    ("corner", "doubles/0", st.one_of(NO_TEXT, st.sampled_from(["ball", "nearest"])), "doubles[1]"),
    ("corner", "option/0/role", st.one_of(NO_TEXT, WORD), "option[1].role"),
    ("corner", "defences", st.lists(NO_LINE, min_size=1, max_size=1), "defences[1]"),
    ("defences", "defence/policy", NO_LINE, "defence.policy"),
    ("defences", "defence/matchups/3", NO_SHIRT, "defence.matchups.3"),
    ("defences", "setting/2/policy", NO_LINE, "setting[3].policy"),
    ("defences", "setting/3/zone", st.one_of(NO_LINE, WORD), "setting[4].zone"),
    ("defences", "setting/5/options/guard", st.one_of(NO_TEXT, WORD), "setting[6].options.guard"),
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("defences")
    write_all(made)
    return made


@pytest.mark.parametrize(("kind", "key", "values", "shown"), ANY, ids=[f"{k}-{p}" for k, p, _, _ in ANY])
@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(draw=st.data())
def test_any_bad_value_of_a_new_key_is_one_line_that_names_it(
    kind: str, key: str, values: st.SearchStrategy[Any], shown: str, folder: Path, draw: st.DataObject
) -> None:
    make, load = LOADERS[kind]
    data = make()
    value = draw.draw(values)
    names = (*zone()["roles"], "deny", "sink", *(p.stem for p in folder.iterdir()), *shipped("zones"))
    assume(not (isinstance(value, str) and value in names))
    put(data, key, value)
    path = write(folder, f"any_{kind}.toml", data)
    text = message(load, path)
    assert text.startswith(f"{path}: {shown}"), text


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=st.text(max_size=6))
def test_any_own_shirt_that_is_not_in_the_lineup_is_one_line(folder: Path, name: str) -> None:
    assume(name not in {"3", "4", "5", "6", "7"})
    data = defences()
    data["defence"]["matchups"] = {name: 4}
    path = write(folder, "any_shirts.toml", data)
    assert message(load_scenario, path).startswith(f"{path}: defence.matchups: ")


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(role=WORD, where=st.sampled_from(["doubles", "cover"]))
def test_any_role_the_defence_lacks_is_told_when_the_call_meets_it(
    folder: Path, role: str, where: str
) -> None:
    assume(role not in (*zone()["roles"], "ball", "nearest", "option", "moment"))
    trap = call() | {"name": "any"}
    if where == "doubles":
        trap["doubles"] = [role, "near_forward"]
    else:
        trap["cover"][role] = trap["cover"].pop("far_guard")
    write(folder, "any_trap.toml", trap)
    assert load_call(folder / "any_trap.toml").name == "any"
    data = scenario() | {"setting": [{"name": "one", "call": [{"call": "any_trap.toml"}]}]}
    path = write(folder, "any_call.toml", data)
    text = message(load_scenario, path)
    assert text.startswith(f"{path}: setting[1].call[1].call: 'any_trap.toml' is not allowed; allowed: ")
    assert repr(role) in text and "calls that fit: " in text


def test_the_files_of_these_tests_load(folder: Path) -> None:
    for kind, (make, load) in LOADERS.items():
        assert load(write(folder, f"good_{kind}.toml", make()))
