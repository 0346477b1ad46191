"""Anything at all in an input file: it loads, or it is one line (hypothesis)."""

from __future__ import annotations

import copy
import datetime
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from input_files import LOADERS, SHOTS, toml_text, value_text, write, write_all

from engine.errors import InputError
from engine.inputs import load_shot_table

JUNK = st.one_of(
    st.booleans(),
    st.integers(-3, 200),
    st.sampled_from([2**63, -(2**63), 2**64, 2**200, 10**400]),
    st.floats(),
    st.text(max_size=8),
    st.sampled_from(
        ["corner", "deny", "near_guard", "far", "default", "catch", "team.toml", "zone.toml", "."]
    ),
    st.just(datetime.date(2020, 2, 29)),
    st.lists(st.one_of(st.integers(-2, 9), st.text(max_size=3), st.floats()), max_size=4),
    st.dictionaries(st.text(max_size=4), st.integers(-2, 9), max_size=3),
    st.lists(
        st.dictionaries(st.sampled_from(["name", "call", "role", "job"]), st.text(max_size=3)), max_size=2
    ),
)


def _paths(data: Any, above: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [above] if above else []
    if isinstance(data, dict | list):
        for key, value in data.items() if isinstance(data, dict) else enumerate(data):
            found.extend(_paths(value, (*above, key)))
    return found


def _mutate(data: Any, draw: st.DataObject) -> None:
    path = draw.draw(st.sampled_from(_paths(data)))
    for part in path[:-1]:
        data = data[part]
    action = draw.draw(st.sampled_from(["replace", "remove", "add", "misspell", "double"]))
    if action == "replace":
        data[path[-1]] = draw.draw(JUNK)
    elif action == "remove":
        del data[path[-1]]
    elif isinstance(data, dict):
        new = f"{path[-1]}s" if action == "misspell" else draw.draw(st.text(max_size=6))
        data[new] = data[path[-1]] if action == "misspell" else draw.draw(JUNK)
    else:
        data.append(copy.deepcopy(data[path[-1]]) if action == "double" else draw.draw(JUNK))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("mutated")
    write_all(made)
    return made


def _loads_or_says_why(load: Callable[[Path], Any], path: Path) -> None:
    try:
        load(path)
    except InputError as error:
        text = str(error)
        assert len(text.splitlines()) == 1 and text.isprintable(), ascii(text)
        assert path.parent.name in text


@pytest.mark.parametrize("kind", sorted(LOADERS))
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(draw=st.data())
def test_mutated_tables_load_or_give_one_line(kind: str, folder: Path, draw: st.DataObject) -> None:
    make, load = LOADERS[kind]
    data = make()
    for _ in range(draw.draw(st.integers(1, 3))):
        if _paths(data):
            _mutate(data, draw)
    _loads_or_says_why(load, write(folder, f"mutated_{kind}.toml", data))


@pytest.mark.parametrize("kind", sorted(LOADERS))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(draw=st.data())
def test_mutated_text_loads_or_gives_one_line(kind: str, folder: Path, draw: st.DataObject) -> None:
    make, load = LOADERS[kind]
    raw = toml_text(make()).encode()
    start = draw.draw(st.integers(0, len(raw)))
    end = min(len(raw), start + draw.draw(st.integers(0, 12)))
    path = folder / f"mutated_text_{kind}.toml"
    path.write_bytes(raw[:start] + draw.draw(st.binary(max_size=4)) + raw[end:])
    _loads_or_says_why(load, path)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(draw=st.data())
def test_mutated_shot_tables_load_or_give_one_line(folder: Path, draw: st.DataObject) -> None:
    raw = SHOTS.encode()
    start = draw.draw(st.integers(0, len(raw)))
    end = min(len(raw), start + draw.draw(st.integers(0, 12)))
    path = folder / "mutated.csv"
    path.write_bytes(raw[:start] + draw.draw(st.binary(max_size=6)) + raw[end:])
    _loads_or_says_why(load_shot_table, path)


@settings(max_examples=200, deadline=None)
@given(value=st.one_of(JUNK, st.text()))
def test_the_writer_of_these_tests_writes_toml(value: Any) -> None:
    read = tomllib.loads(f"key = {value_text(value)}")["key"]
    assert read == value or repr(read) == repr(value)
