"""Shooting of a sheet: words, counts and charted shots, pulled toward the level's average."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from sheet_files import SHOTS, Habits, Table, save, write_evening

from engine.inputs import ShotTable, load_constants, load_level, load_rules
from engine.inputs.sheets import ShotNote, load_evening
from engine.inputs.sheets.cells import Tried
from engine.inputs.sheets.charted import ChartedShot, band_of, read_shots
from engine.inputs.sheets.data import load_grades
from engine.inputs.sheets.shooting import (
    Found,
    LevelAverages,
    Shooting,
    chance,
    logit,
    moved_table,
    shooting_of,
)

GRADES = load_grades()
SCHOOL = load_level("school")
CONSTANTS = load_constants()

VALUES = {name: constant.value for name, constant in CONSTANTS.items()}
AVERAGES = LevelAverages(SCHOOL, SCHOOL.shifted_table(VALUES), VALUES, GRADES)
RULES = load_rules("international")
assert SCHOOL.fit is not None
THREES_MADE = next(row.reached for row in SCHOOL.fit.knob if row.target == "three_point")
NOTHING = Shooting(7, None, False, (), Tried(), Tried(), Tried(), None)


def shoot(*players: Shooting) -> tuple[dict[int, Found], tuple[ShotNote, ...]]:
    return shooting_of(players, AVERAGES, CONSTANTS["shot_prior_attempts"], RULES)


def make(table: ShotTable | None, distance_m: float) -> float:
    assert table is not None
    at = dict(zip(table.distance_m, table.make, strict=True))
    return at[distance_m]


def test_an_unknown_shooter_has_the_levels_table() -> None:
    found, notes = shoot(NOTHING)
    assert found[7].table is None and notes == ()
    assert found[7].free_throw == SCHOOL.players.free_throw.value


def test_words_move_the_table_where_they_hold() -> None:
    outside = shoot(replace(NOTHING, word="sure"))[0][7].table
    inside = shoot(replace(NOTHING, word="sure", from_where=("inside",)))[0][7].table
    base = AVERAGES.table
    for distance, out, within in ((0.6, 0.0, 0.25), (3.5, 0.20, 0.25), (7.5, 0.30, 0.0)):
        level = logit(make(base, distance))
        assert logit(make(outside, distance)) - level == pytest.approx(out, abs=1e-9)
        assert logit(make(inside, distance)) - level == pytest.approx(within, abs=1e-9)


def test_counts_are_held_against_what_the_level_makes_in_the_model() -> None:
    """The rate that was reached, not the one aimed at: else a man would make less than he did."""
    assert AVERAGES.rate("threes", 6.75) == THREES_MADE == pytest.approx(0.305, abs=0.01)  # aimed at: .305
    reached = SCHOOL.reached("two_point")
    assert AVERAGES.rate("twos", 6.75) == reached
    assert reached == pytest.approx(SCHOOL.published["two_point"].aim, abs=0.01)
    alone = LevelAverages(SCHOOL.model_copy(update={"fit": None}), AVERAGES.table, AVERAGES.constants, GRADES)
    assert alone.rate("twos", 6.75) == SCHOOL.published["two_point"].aim


def test_counts_are_pulled_toward_the_level() -> None:
    """34 of 110: (34 + 60 * average) / 170; the table moves by the difference of the log odds."""
    found, (note,) = shoot(replace(NOTHING, threes=Tried(34, 110)))
    average = THREES_MADE
    assert note.average == pytest.approx(average)
    assert note.estimate == pytest.approx((34 + 60 * average) / 170)
    assert note.own_share == pytest.approx(110 / 170) and note.strength == 60 and not note.estimated
    table = found[7].table
    assert table is not None
    moved = logit(make(table, 7.5)) - logit(make(AVERAGES.table, 7.5))
    assert moved == pytest.approx(logit(note.estimate) - logit(average), abs=1e-9)
    assert make(table, 3.5) == pytest.approx(make(AVERAGES.table, 3.5))


def test_a_small_sample_stays_near_the_average_of_its_word() -> None:
    _, (note,) = shoot(replace(NOTHING, word="sure", threes=Tried(3, 3)))
    average = chance(logit(THREES_MADE) + 0.30)
    assert note.average == pytest.approx(average) and note.own_share == pytest.approx(3 / 63)
    assert note.estimate == pytest.approx((3 + 60 * average) / 63)


def test_free_throws_are_pulled_too() -> None:
    found, (note,) = shoot(replace(NOTHING, free_throws=Tried(27, 49)))
    assert found[7].free_throw == note.estimate == pytest.approx((27 + 30 * 0.64) / 79)
    bad, _ = shoot(replace(NOTHING, free_throw_grade="bad"))
    assert bad[7].free_throw == pytest.approx(0.64 - 0.14)


def test_charted_shots_are_held_against_the_table_at_their_distance() -> None:
    shots = tuple(
        ChartedShot(7, d, "three", made, note)
        for d, made, note in ((7.0, True, "open"), (8.2, False, ""), (7.5, True, "contested"))
    )
    _, (note,) = shoot(replace(NOTHING, shots=shots))
    expected = sum(chance(AVERAGES.shot_logit(s.distance_m, "three", s.note)) for s in shots) / 3
    assert note.average == pytest.approx(expected) and (note.made, note.attempted) == (2, 3)
    gap = CONSTANTS["typical_gap_three_m"].value
    by_hand = logit(make(AVERAGES.table, 8.2)) + 0.20 * (gap - CONSTANTS["reference_defender_m"].value)
    by_hand += CONSTANTS["taken_three_logit"].value  # a table is of any shot, these were taken
    assert CONSTANTS["taken_three_logit"].value != 0.0
    assert AVERAGES.shot_logit(8.2, "three") == pytest.approx(by_hand)
    assert AVERAGES.shot_logit(7.0, "three", "open") > AVERAGES.shot_logit(7.0, "three", "contested")
    for distance, band in ((0.75, "rim"), (4.0, "middle")):
        contested, plain, free = (AVERAGES.shot_logit(distance, band, n) for n in ("contested", "", "open"))
        assert contested <= plain < free


def test_the_larger_sample_of_counts_and_charted_shots_counts() -> None:
    shots = tuple(ChartedShot(7, 7.0, "three", i < 5, "") for i in range(12))
    few = shoot(replace(NOTHING, shots=shots, threes=Tried(2, 9)))[1]
    many = shoot(replace(NOTHING, shots=shots, threes=Tried(20, 60)))[1]
    assert [n.kind for n in few] == ["charted threes"] and [n.kind for n in many] == ["threes"]


def test_with_enough_players_the_pull_is_estimated_from_them() -> None:
    alike = [replace(NOTHING, number=i, threes=Tried(30, 100)) for i in range(8)]
    spread = [replace(NOTHING, number=i, threes=Tried(5 + 7 * i, 100)) for i in range(8)]
    same, far = shoot(*alike)[1], shoot(*spread)[1]
    assert all(n.estimated and n.strength == 300 for n in same)
    assert all(n.estimated and n.strength < 30 for n in far)
    assert not any(n.estimated for n in shoot(*spread[:7])[1])


def test_a_band_reaches_up_to_its_border_only() -> None:
    table = moved_table(AVERAGES.table, {"rim": 0.5, "middle": 0.0, "three": -0.5}, 1.6, 6.6, "No. 7")
    assert table.distance_m == tuple(sorted(table.distance_m))
    plain = moved_table(AVERAGES.table, dict.fromkeys(("rim", "middle", "three"), 0.0), 1.6, 6.6, "No. 7")
    for d, moved, level in zip(table.distance_m, table.make, plain.make, strict=True):
        wanted = 0.5 if d < 1.6 else -0.5 if d >= 6.6 else 0.0
        assert logit(moved) - logit(level) == pytest.approx(wanted, abs=1e-9)


def test_a_corner_three_is_told_by_x_and_y() -> None:
    three = RULES.three_point
    assert (
        band_of(6.65, 1.6, RULES, (6.62, 0.6)) == "three"
    )  # beyond the straight line, inside the arc's radius
    assert three.corner_line_from_rim_m < 6.62 < 6.65 < three.arc_radius_m
    assert band_of(6.65, 1.6, RULES, (0.0, 6.65)) == "middle" and band_of(6.65, 1.6, RULES) == "middle"
    assert band_of(6.8, 1.6, RULES) == "three" and band_of(1.5, 1.6, RULES) == "rim"


@pytest.mark.parametrize(
    "rows",
    [
        [["number", "x", "y", "unit", "made"], ["10", "-6", "2.5", "m", "yes"]],
        [["number", "distance_m", "made"], ["10", "6,5", "yes"]],
        [["number", "Distance (ft)", "made"], ["10", "21.325", "1"]],
        [["number", "distance", "made"], ["10", "21.325 ft", "made"]],
        [["number", "distance", "unit", "made"], ["10", "650", "cm", "hit"]],
    ],
)
def test_lengths_in_any_unit(rows: Table, tmp_path: Path) -> None:
    path = tmp_path / "shots.csv"
    path.write_bytes(save(rows, Habits(separator=";")))
    (shot,), remarks = read_shots(path, "shots.csv", [10], RULES, 1.6)
    assert shot.distance_m == pytest.approx(6.5, abs=1e-3) and shot.made and remarks == ()


def test_shots_of_strangers_are_remarked_on(tmp_path: Path) -> None:
    shots = [*SHOTS, ["99", "5", "m", "no", ""], ["99", "5", "m", "no", ""]]
    found = load_evening(write_evening(tmp_path, {"shots.csv": shots}))
    assert [line for line in found.remarks if "No. 99 (2)" in line]


def test_charted_shots_beside_which_the_counts_hold_more_are_told(tmp_path: Path) -> None:
    """No. 10 has 110 threes counted: his two charted ones are not used, which is said; where all are used,
    nothing is."""
    threes = [["10", "7.2", "m", "yes", ""], ["10", "7.4", "m", "no", ""]]
    told = load_evening(write_evening(tmp_path / "more", {"shots.csv": [*SHOTS, *threes]})).remarks
    (line,) = [line for line in told if "charted" in line]
    assert line.startswith("3 of 5 charted shots are used: of the others, No. 10 (2), the sheet counts more,")
    assert not [line for line in load_evening(write_evening(tmp_path / "all")).remarks if "charted" in line]
