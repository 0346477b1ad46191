"""Counts of shots are held against shots that are taken: the level's own men are average by them."""

from __future__ import annotations

import numpy as np
import pytest

from engine.estimate.intervals import wilson
from engine.inputs import load_scenario
from engine.inputs.levels import load_level
from engine.inputs.shots import TAKEN_LOGIT
from engine.run.watch import watch_block
from engine.state.arrays import CONSTANTS
from engine.state.record import COLUMN
from engine.study.taken import measure_taken, taken_shots
from engine.world.court import build_court
from engine.world.pack import pack
from engine.world.shots import level_averages, offset

LEVELS = ("college", "professional", "school", "under_14")
#: Makes by band that were published beside what a level makes (configs/levels, their sources there).
PUBLISHED = {"rim": "rim", "three": "three_point"}


@pytest.mark.parametrize("level", LEVELS)
def test_a_man_of_published_makes_is_an_average_man(level: str) -> None:
    """Who has made the level's published share at the rim or of threes is no better or worse than the table.

    A check that counts and fit agree, for the shares that the level is fitted to.
    """
    scenario = load_scenario(f"level_{level}")
    fitted = {band: name for band, name in PUBLISHED.items() if name in load_level(level).knobs.values()}
    assert "three" in fitted
    averages = dict(zip(TAKEN_LOGIT, level_averages(scenario, build_court(scenario.rules)), strict=True))
    for band, name in fitted.items():
        counts = round(10_000 * load_level(level).published[name].aim), 10_000
        assert abs(offset(scenario, counts, averages[band])) < 0.1, (band, averages[band])


def test_his_counts_from_the_model_give_a_man_back_who_he_is() -> None:
    """What average men make of the shots they take, counted, is no offset: within what luck leaves."""
    scenario = load_scenario("level_school")
    shots = taken_shots(scenario, 5, 3_000, 2)
    averages = dict(zip(TAKEN_LOGIT, level_averages(scenario, build_court(scenario.rules)), strict=True))
    for band, rows in shots.items():
        made, tried = int(rows[rows[:, 2] == 1.0, 0].sum()), int((rows[:, 2] == 1.0).sum())
        assert tried > 200
        interval = wilson(made, tried, 0.999)
        assert interval.low < averages[band] < interval.high, band


def test_taken_shots_are_those_of_the_box_score() -> None:
    """Attempts by band as the record counts them, the big men of the school not average from three."""
    scenario = load_scenario("level_school")
    shots = taken_shots(scenario, 3, 400, 1)
    records = np.concatenate([b.records for b in watch_block(pack(scenario).home, 3, 0, 400, ("s",))])
    for band, rows in shots.items():
        assert len(rows) == records[:, COLUMN[f"{band}_attempts"]].sum()
    assert 0.0 < shots["three"][:, 2].mean() < 1.0
    assert shots["rim"][:, 2].all()
    assert np.isfinite(shots["middle"]).all()


def test_threes_are_the_shots_that_are_chosen_most() -> None:
    """At the rim nearly every shot is taken as it comes, threes only when a man stands well."""
    values = measure_taken(load_scenario("level_school"), 5, 1_500, 2)
    assert set(values) == {name for name in CONSTANTS if name.startswith("taken_")}
    assert values["taken_three_rhythm"] > values["taken_middle_rhythm"] > values["taken_rim_rhythm"]
