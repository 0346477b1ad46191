"""The table of possession numbers: ranges that never meet, where they always were; nothing played outside."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.inputs import load_scenario
from engine.inputs.defaults import MOST_POSSESSIONS
from engine.kernel import batch
from engine.run import blocks
from engine.run.numbers import BITS, NUMBERS
from engine.study.compare import compare
from engine.study.lineup import opponent, places
from engine.study.plan import games, inputs, plan, table
from engine.study.stress.stress import stress
from engine.study.sweep.sampling import MOST_POINTS

DEMO = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"


def test_two_ranges_of_one_answer_never_meet() -> None:
    for (_, one), (name, other) in itertools.permutations(NUMBERS.items(), 2):
        if one.inside == name:
            assert other.first <= one.first and one.end <= other.end and one.answer == other.answer
        elif one.answer == other.answer and other.inside is None and one.inside is None:
            assert not one.meets(other)
    assert {one.inside for one in NUMBERS.values()} <= {None, *NUMBERS}
    assert all(0 <= one.first < one.end <= 2**BITS for one in NUMBERS.values())
    assert all(one.first % one.each == one.count % one.each == 0 for one in NUMBERS.values())


def test_a_range_holds_what_may_be_asked_for() -> None:
    held = {name: one.count // one.each for name, one in NUMBERS.items()}
    assert held["possessions"] == MOST_POSSESSIONS
    assert held["plan games"] == inputs.MOST_GAMES
    assert held["plan pilot"] >= plan.PILOT_GAMES
    assert held["plan table"] >= 1000 * table.PARTS * table.PART
    assert held["lineup fresh"] >= opponent.ATTACK_POSSESSIONS
    assert held["sweep points"] == MOST_POINTS


def test_the_numbers_are_those_of_every_result_so_far() -> None:
    """A range that moves changes results: then this table changes too, and the commit says so."""
    assert {name: (one.first, one.each) for name, one in NUMBERS.items()} == {
        "possessions": (0, 1),
        "plan games": (0, 1000),
        "plan table": (10**12, 1),
        "lineup fresh": (2**40, 1),
        "plan pilot": (10**13, 1000),
        "sweep points": (0, 2**30),
    }
    assert (games.NUMBERS_PER_GAME, plan.PILOT_FIRST, table.FIRST_NUMBER) == (1000, 10**10, 10**12)


@pytest.mark.parametrize(
    ("study", "ranges"),
    [
        (lambda: compare(DEMO, 100), {"possessions"}),
        (lambda: stress(DEMO, 16, 10), {"possessions"}),
        (
            lambda: plan.plan(load_scenario(DEMO), 10, table_parts=10),
            {"plan games", "plan table", "plan pilot"},
        ),
        (lambda: places.lineup(DEMO, most=5000), {"possessions", "lineup fresh"}),
    ],
    ids=["compare", "stress", "plan", "lineup"],
)
def test_a_study_plays_in_its_ranges_only(
    study: Callable[[], Any], ranges: set[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(table, "PART", 500)
    monkeypatch.setattr(plan, "PILOT_GAMES", 2)
    monkeypatch.setattr(opponent, "ATTACK_POSSESSIONS", 100)
    monkeypatch.setattr(opponent, "CALL_POSSESSIONS", 100)
    played: list[tuple[int, int]] = []
    usual = batch.play_list

    def watched(world: Any, seed: int, numbers: Any, *more: Any) -> None:
        if len(numbers):
            played.append((int(numbers.min()), int(numbers.max())))
        usual(world, seed, numbers, *more)

    monkeypatch.setattr(batch, "play_list", watched)
    monkeypatch.setattr(blocks, "play_list", watched)
    study()
    least, most = np.array(played[1:]).T  # the first is one possession that loads the engine
    inside = {name: (NUMBERS[name].first <= least) & (most < NUMBERS[name].end) for name in ranges}
    assert np.any(list(inside.values()), axis=0).all()
    assert all(found.any() for found in inside.values())
