"""The court against the rule books, and the regions against an independent geometry library.

Tags as in the rule files: SEEN = the number was read in the text named; "from memory" = not checked
against the book. Lengths of the United States books are turned from feet and inches here, so that a slip
in the metres of a file shows.
"""

from __future__ import annotations

import itertools
import math
import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from engine.errors import InputError
from engine.inputs.files import configs_root
from engine.inputs.rules import change_rules, load_rules
from engine.state.words import REGIONS
from engine.world.court import BACKCOURT_DEPTH_M, Court, build_court

RULE_SETS = ("international", "high_school", "college", "professional")
COURTS = {name: build_court(load_rules(name)) for name in RULE_SETS}
REGIONS_FILE = configs_root() / "court" / "regions.toml"


def feet(ft: float, inches: float = 0.0) -> float:
    """Feet and inches in metres (international foot of 0.3048 m exactly, 1959)."""
    return ft * 0.3048 + inches * 0.0254


every_rule_set = pytest.mark.parametrize("name", RULE_SETS)

# rule set, what, how it is read from the court, value in metres, tolerance in metres; source in the comment
Case = tuple[str, str, Callable[[Court], float], float, float]
CASES: list[Case] = [
    # FIBA Official Basketball Rules Art. 2.1: 28 m by 15 m; SEEN (state sports dimensions guide quoting it)
    ("international", "width", lambda c: 2 * c.half_width_m, 15.0, 1e-9),
    ("international", "length", lambda c: 2 * (c.half_y_m - c.baseline_y_m), 28.0, 1e-9),
    # FIBA Art. 2.4.4: arc's centre 1.575 m from the endline; SEEN (copy of an older edition)
    ("international", "rim to baseline", lambda c: -c.baseline_y_m, 1.575, 1e-9),
    # FIBA 2020 Art. 2.4.3: far edge of the free-throw line 5.80 m from the endline; SEEN
    ("international", "free throw line", lambda c: c.free_throw_y_m - c.baseline_y_m, 5.80, 1e-9),
    # board face 1.20 m inside, so 4.60 m from the board; from memory
    (
        "international",
        "free throw to board",
        lambda c: c.free_throw_y_m - (c.baseline_y_m + 1.20),
        4.60,
        1e-9,
    ),
    # FIBA Art. 2.4.3: lane 4.90 m; from memory
    ("international", "lane", lambda c: 2 * c.lane_half_width_m, 4.90, 1e-9),
    # FIBA Art. 2.4.4: arc 6.75 m, straight lines 0.90 m from the sidelines; from memory
    ("international", "arc", lambda c: c.arc_m, 6.75, 1e-9),
    ("international", "corner to sideline", lambda c: c.half_width_m - c.corner_x_m, 0.90, 1e-9),
    ("international", "corner line", lambda c: c.corner_x_m, 6.60, 1e-9),
    # the book's drawing has the straight part end 2.99 m from the endline (from memory);
    # worked out here as 1.575 + sqrt(6.75^2 - 6.60^2)
    ("international", "corner break", lambda c: c.corner_break_y_m - c.baseline_y_m, 2.990, 5e-4),
    # FIBA Art. 2.4.7: 1.25 m; from memory
    ("international", "no charge", lambda c: c.no_charge_m, 1.25, 1e-9),
    # NFHS Rule 1-1: ideal for high-school age 84 by 50 ft; SEEN (officials' copy of the rule text)
    ("high_school", "width", lambda c: 2 * c.half_width_m, feet(50), 1e-9),
    ("high_school", "length", lambda c: 2 * (c.half_y_m - c.baseline_y_m), feet(84), 1e-9),
    # NFHS Rule 1-5-1: lane 12 ft to the outside; SEEN (the same copy)
    ("high_school", "lane", lambda c: 2 * c.lane_half_width_m, feet(12), 1e-9),
    # NFHS Rule 1-6: 15 ft from the board's plane, board 4 ft inside; from memory
    ("high_school", "free throw line", lambda c: c.free_throw_y_m - c.baseline_y_m, feet(4 + 15), 1e-9),
    # NFHS Rule 1-4-1: half circle of 19 ft 9 in, extended by straight lines of 63 in; SEEN (the same copy)
    ("high_school", "arc", lambda c: c.arc_m, feet(19, 9), 1e-9),
    ("high_school", "corner line", lambda c: c.corner_x_m, feet(19, 9), 1e-9),
    ("high_school", "straight line", lambda c: c.corner_break_y_m - c.baseline_y_m, feet(0, 63), 1e-9),
    # no such area in the book; from memory
    ("high_school", "no charge", lambda c: c.no_charge_m, 0.0, 0.0),
    # NCAA court diagram of 17 June 2019; SEEN, all of the following
    ("college", "width", lambda c: 2 * c.half_width_m, feet(50), 1e-9),
    ("college", "length", lambda c: 2 * (c.half_y_m - c.baseline_y_m), feet(94), 1e-9),
    ("college", "rim to baseline", lambda c: -c.baseline_y_m, feet(0, 63), 1e-9),
    ("college", "lane", lambda c: 2 * c.lane_half_width_m, feet(12), 1e-9),
    ("college", "free throw line", lambda c: c.free_throw_y_m - c.baseline_y_m, feet(19), 1e-9),
    ("college", "arc", lambda c: c.arc_m, feet(22, 1.75), 1e-9),
    ("college", "corner line", lambda c: c.corner_x_m, feet(21, 7.875), 1e-9),
    ("college", "corner to sideline", lambda c: c.half_width_m - c.corner_x_m, feet(0, 40.125), 1e-9),
    # drawn as 9 ft 10 3/8 in from the end line; worked out 5 mm longer: the drawing rounds
    ("college", "corner break", lambda c: c.corner_break_y_m - c.baseline_y_m, feet(9, 10.375), 0.006),
    ("college", "no charge", lambda c: c.no_charge_m, feet(4), 1e-9),
    # NBA Rule 1: 94 by 50 ft, lane 16 ft, line 19 ft from the baseline, 4 ft arc; from memory
    ("professional", "width", lambda c: 2 * c.half_width_m, feet(50), 1e-9),
    ("professional", "length", lambda c: 2 * (c.half_y_m - c.baseline_y_m), feet(94), 1e-9),
    ("professional", "lane", lambda c: 2 * c.lane_half_width_m, feet(16), 1e-9),
    ("professional", "free throw line", lambda c: c.free_throw_y_m - c.baseline_y_m, feet(19), 1e-9),
    ("professional", "no charge", lambda c: c.no_charge_m, feet(4), 1e-9),
    # NBA Rule 1 I d: arc of 23 ft 9 in, parallel lines 3 ft from the sidelines; SEEN (second-hand quotation)
    ("professional", "arc", lambda c: c.arc_m, feet(23, 9), 1e-9),
    ("professional", "corner to sideline", lambda c: c.half_width_m - c.corner_x_m, feet(3), 1e-9),
    # worked out 5.25 + sqrt(23.75^2 - 22^2) = 14.20 ft; the rule book's drawing says 14 ft (from memory)
    ("professional", "corner break", lambda c: c.corner_break_y_m - c.baseline_y_m, feet(14.20), feet(0.005)),
    (
        "professional",
        "corner break drawn",
        lambda c: c.corner_break_y_m - c.baseline_y_m,
        feet(14),
        feet(0.25),
    ),
]


@pytest.mark.parametrize(
    ("name", "read", "value_m", "tolerance_m"),
    [pytest.param(name, read, value, tol, id=f"{name}: {what}") for name, what, read, value, tol in CASES],
)
def test_court_numbers(name: str, read: Callable[[Court], float], value_m: float, tolerance_m: float) -> None:
    assert abs(read(COURTS[name]) - value_m) <= tolerance_m


# rule set -> dotted key -> value; source and tag in the comment
CLOCKS: dict[str, dict[str, object]] = {
    # FIBA Art. 29.1.1 (SEEN), 29.2, 28, 27, 26, 8, 41, 18 (from memory)
    "international": {
        "clock.shot_s": 24, "clock.offensive_rebound_reset_s": 14, "clock.frontcourt_foul_reset_s": 14,
        "clock.backcourt_s": 8, "clock.closely_guarded_s": 5, "clock.closely_guarded_distance_m": 1.0,
        "clock.closely_guarded_while_dribbling": False, "clock.offensive_three_seconds_s": 3,
        "clock.defensive_three_seconds_s": 0, "clock.periods": 4, "clock.period_s": 600,
        "fouls.bonus_from_team_foul": 5, "fouls.personal_limit": 5, "time_out.trapped_player_may_call": False,
    },
    # NFHS Rules 2-14, 9-8, 9-10, 5-5-1, 4-8-1 (SEEN), 9-7, 5-8-3 (from memory)
    "high_school": {
        "clock.shot_s": 0, "clock.backcourt_s": 10, "clock.closely_guarded_s": 5,
        "clock.closely_guarded_distance_m": feet(6), "clock.closely_guarded_while_dribbling": True,
        "clock.offensive_three_seconds_s": 3, "clock.defensive_three_seconds_s": 0, "clock.periods": 4,
        "clock.period_s": 480, "fouls.bonus_from_team_foul": 5, "fouls.one_and_one_from": 0,
        "fouls.personal_limit": 5, "time_out.trapped_player_may_call": True,
    },
    # NCAA men's Rules 2-11 (reset SEEN), 5, 8, 9 (from memory or second-hand)
    "college": {
        "clock.shot_s": 30, "clock.offensive_rebound_reset_s": 20, "clock.backcourt_s": 10,
        "clock.closely_guarded_s": 5, "clock.closely_guarded_distance_m": feet(6), "clock.periods": 2,
        "clock.closely_guarded_while_dribbling": False, "clock.defensive_three_seconds_s": 0,
        "clock.period_s": 1200, "fouls.bonus_from_team_foul": 7, "fouls.one_and_one_from": 7,
        "fouls.one_and_one_to": 9, "fouls.personal_limit": 5, "time_out.trapped_player_may_call": True,
    },
    # NBA Rules 5, 7, 10, 12 (from memory or second-hand)
    "professional": {
        "clock.shot_s": 24, "clock.offensive_rebound_reset_s": 14, "clock.backcourt_s": 8,
        "clock.closely_guarded_s": 0, "clock.offensive_three_seconds_s": 3,
        "clock.defensive_three_seconds_s": 3, "clock.periods": 4, "clock.period_s": 720,
        "fouls.bonus_from_team_foul": 5, "fouls.personal_limit": 6, "time_out.trapped_player_may_call": True,
    },
}  # fmt: skip


@pytest.mark.parametrize(
    ("name", "key", "value"),
    [
        pytest.param(name, key, v, id=f"{name}: {key}")
        for name, keys in CLOCKS.items()
        for key, v in keys.items()
    ],
)
def test_clocks_and_fouls(name: str, key: str, value: object) -> None:
    table, field = key.split(".")
    assert getattr(getattr(load_rules(name), table), field) == pytest.approx(value)


@every_rule_set
def test_every_number_has_a_source_with_a_tag(name: str) -> None:
    data = tomllib.loads((configs_root() / "rules" / f"{name}.toml").read_text(encoding="utf-8"))
    keys = {
        f"{t}.{k}" for t, table in data.items() if isinstance(table, dict) and t != "sources" for k in table
    }
    assert set(data["sources"]) == keys
    for key, text in data["sources"].items():
        assert any(tag in text for tag in ("SEEN", "from memory", "practice, no source")), key


# --- regions ---------------------------------------------------------------------------------------------


@every_rule_set
def test_regions_partition_the_half_court(name: str) -> None:
    court = COURTS[name]
    shapes = {region: shapely.Polygon(p) for region, p in court.polygons.items()}
    assert tuple(shapes) == REGIONS
    assert all(shape.is_valid and shape.exterior.is_ccw for shape in shapes.values())
    floor = shapely.box(0.0, court.baseline_y_m, court.half_width_m, court.half_y_m + BACKCOURT_DEPTH_M)
    assert sum(shape.area for shape in shapes.values()) == pytest.approx(floor.area, abs=1e-9)
    assert shapely.union_all(list(shapes.values())).symmetric_difference(floor).area < 1e-9
    for a, b in itertools.combinations(shapes.values(), 2):
        assert a.intersection(b).area < 1e-9
    beyond_half = shapely.box(0.0, court.half_y_m, court.half_width_m, court.far_y_m)
    assert shapes["backcourt"].symmetric_difference(beyond_half).area < 1e-9


@every_rule_set
@pytest.mark.parametrize("cell_m", [0.1, 0.25])
def test_grid_agrees_with_the_polygons(name: str, cell_m: float) -> None:
    court = COURTS[name]
    region, y0, cell = court.region_grid(cell_m)
    assert region.dtype == np.int8 and cell == cell_m and y0 == court.baseline_y_m
    assert region.shape[0] * cell >= court.half_width_m - 1e-9
    assert region.shape[1] * cell >= court.far_y_m - y0 - 1e-9
    x, y = np.meshgrid(
        (np.arange(region.shape[0]) + 0.5) * cell,
        y0 + (np.arange(region.shape[1]) + 0.5) * cell,
        indexing="ij",
    )
    on_floor = (x < court.half_width_m) & (y < court.far_y_m)
    for i, polygon in enumerate(court.polygons.values()):
        shape = shapely.Polygon(polygon)
        clear = on_floor & (shapely.distance(shape.exterior, shapely.points(x, y)) > 1e-9)
        inside = shapely.contains_xy(shape, x, y)
        assert ((region == i) == inside)[clear].all()
    assert set(np.unique(region)) == set(range(len(REGIONS)))
    for i, j in ((0, 0), (5, 40), (region.shape[0] - 1, region.shape[1] - 1)):
        assert REGIONS[region[i, j]] == court.region_at(x[i, j], y[i, j])


shares = st.floats(0.0, 1.0)


@given(name=st.sampled_from(RULE_SETS), across=shares, along=shares)
def test_a_point_is_in_one_region_and_so_is_its_mirror_image(name: str, across: float, along: float) -> None:
    court = COURTS[name]
    x = across * court.half_width_m
    y = court.baseline_y_m + along * (court.far_y_m - court.baseline_y_m)
    region = court.region_at(x, y)
    assert shapely.Polygon(court.polygons[region]).distance(shapely.Point(x, y)) < 1e-9
    assert court.region_at(-x, y) == region
    assert court.is_three(-x, y) == court.is_three(x, y)
    assert court.contains(-x, y) == court.contains(x, y)


@every_rule_set
def test_points_on_shared_edges_belong_to_a_region_that_touches_them(name: str) -> None:
    court = COURTS[name]
    shapes = {region: shapely.Polygon(p) for region, p in court.polygons.items()}
    for polygon in court.polygons.values():
        for a, b in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
            for share in (0.0, 0.25, 1 / 3, 0.5, 0.9):
                x, y = a + share * (b - a)
                assert shapes[court.region_at(x, y)].distance(shapely.Point(x, y)) < 1e-9


@every_rule_set
def test_off_the_court_the_nearest_region_counts(name: str) -> None:
    court = COURTS[name]
    assert court.region_at(court.half_width_m + 2.0, 0.0) == "corner"
    assert court.region_at(-court.half_width_m - 2.0, 0.0) == "corner"
    assert court.region_at(0.0, court.far_y_m + 9.0) == "backcourt"
    assert court.region_at(0.0, court.baseline_y_m - 1.0) == "lane"
    with pytest.raises(ValueError, match="numbers"):
        court.region_at(math.nan, 0.0)


# common practice, no source: where the trade would say the ball is
@every_rule_set
@pytest.mark.parametrize(
    ("region", "place"),
    [
        ("top", lambda c: (1.2, c.arc_m + 0.3)),
        ("slot", lambda c: (0.45 * c.arc_m, c.arc_m)),
        ("wing", lambda c: (c.arc_m * math.cos(math.radians(50)), c.arc_m * math.sin(math.radians(50)))),
        ("wing", lambda c: (c.arc_m * math.cos(math.radians(28)), c.arc_m * math.sin(math.radians(28)))),
        ("corner", lambda c: (c.corner_x_m + 0.3, c.baseline_y_m + 0.3)),
        ("half_court_corner", lambda c: (c.half_width_m - 0.5, c.half_y_m - 0.5)),
        ("backcourt", lambda c: (c.half_width_m - 0.5, c.half_y_m + 0.01)),
        ("high_post", lambda c: (0.0, c.free_throw_y_m)),
        ("elbow", lambda c: (c.lane_half_width_m, c.free_throw_y_m)),
        ("short_corner", lambda c: (c.lane_half_width_m + 1.6, c.baseline_y_m + 0.8)),
        ("low_post", lambda c: (c.lane_half_width_m + 0.2, c.baseline_y_m + feet(7.5))),
        ("lane", lambda c: (0.0, c.free_throw_y_m - 1.5)),
        ("rim", lambda c: (0.0, 0.0)),
        ("rim", lambda c: (0.8, 0.8)),
    ],
)
def test_places_of_the_trade(name: str, region: str, place: Callable[[Court], tuple[float, float]]) -> None:
    assert COURTS[name].region_at(*place(COURTS[name])) == region


# --- spots -----------------------------------------------------------------------------------------------

NEEDED_SPOTS = {
    "top", "slot", "wing", "deep_wing", "corner", "half_court_corner", "high_post", "elbow", "short_corner",
    "low_post", "block", "middle", "rim", "help_rim", "wing_gap", "slot_gap", "outlet_slot", "dunker",
}  # fmt: skip


@every_rule_set
def test_spots_lie_on_the_court_and_in_their_region(name: str) -> None:
    court = COURTS[name]
    assert set(court.spots) >= NEEDED_SPOTS | set(REGIONS)
    for spot in court.spots:
        x, y = court.spot(spot)
        assert x >= 0.0 and court.contains(x, y)
        mirrored = court.spot(spot, side=-1)
        assert mirrored == (-x, y) and math.copysign(1.0, mirrored[0]) == (1.0 if x == 0.0 else -1.0)
        if spot in REGIONS:
            assert court.region_at(x, y) == spot


@every_rule_set
def test_perimeter_spots_are_threes_and_inside_spots_are_not(name: str) -> None:
    court = COURTS[name]
    for spot in ("top", "slot", "wing", "deep_wing", "corner", "outlet_slot"):
        assert court.is_three(*court.spot(spot))
    for spot in ("high_post", "elbow", "short_corner", "low_post", "block", "rim", "dunker", "middle"):
        assert not court.is_three(*court.spot(spot))
    x, _ = court.spot("corner")
    assert x - court.corner_x_m >= 0.25 and court.half_width_m - x >= 0.25


# --- three points and bounds -------------------------------------------------------------------------------

HAIR_M = 1e-6


@given(name=st.sampled_from(RULE_SETS), share=shares)
def test_three_just_outside_the_line_two_just_inside(name: str, share: float) -> None:
    court = COURTS[name]
    y = court.baseline_y_m + share * (court.corner_break_y_m - court.baseline_y_m)
    assert court.is_three(court.corner_x_m + HAIR_M, y) and not court.is_three(court.corner_x_m - HAIR_M, y)
    first = math.asin(court.corner_break_y_m / court.arc_m)
    angle = first + (math.pi / 2 - first) * max(share, 1e-3)
    x, y = court.arc_m * math.cos(angle), court.arc_m * math.sin(angle)
    assert court.is_three(x * (1 + HAIR_M), y * (1 + HAIR_M))
    assert not court.is_three(x * (1 - HAIR_M), y * (1 - HAIR_M))


@every_rule_set
def test_on_the_line_is_a_two(name: str) -> None:
    assert not COURTS[name].is_three(0.0, COURTS[name].arc_m)
    assert not COURTS[name].is_three(COURTS[name].corner_x_m, COURTS[name].baseline_y_m)


def test_the_professional_corner_is_shorter_than_the_arc() -> None:
    # NBA Rule 1: a three from 22 ft in the corner, 23 ft 9 in elsewhere; SEEN (second-hand quotation)
    assert COURTS["professional"].is_three(feet(22, 1), 0.0)
    assert not COURTS["professional"].is_three(0.0, feet(22, 1))


@every_rule_set
def test_lines_are_out_of_bounds(name: str) -> None:
    court = COURTS[name]
    assert court.contains(0.0, 0.0) and court.contains(0.0, court.far_y_m)
    assert not court.contains(court.half_width_m, 0.0)
    assert not court.contains(-court.half_width_m, 0.0)
    assert not court.contains(0.0, court.baseline_y_m)
    assert not court.contains(0.0, court.far_y_m + HAIR_M)


# --- bad files ---------------------------------------------------------------------------------------------


WING = 'corner_wing = ["corner_line-1.1", 2.3]'
TOP = 'top = ["middle_top", "top_slot"'
EDGE = "an edge on the court's outline or shared by exactly two regions"


def refuse(tmp_path: Path, text: str) -> str:
    path = tmp_path / "regions.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        build_court(load_rules("high_school"), path)
    line = str(caught.value)
    assert "\n" not in line and "regions.toml" in line
    return line


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (WING, 'corner_wing = ["corner_lime-1.1", 2.3]', "nearest 'corner_line'"),
        (WING, 'corner_wing = ["corner_line*2", 2.3]', "points.corner_wing"),
        (WING, 'corner_wing = ["corner_line-1.1"]', "points.corner_wing"),
        (WING, "corner_wing = [nan, 2.3]", "points.corner_wing"),
        ("top_slot = { angle_deg = 76, ", "top_slot = { angle = 76, ", "angle_deg"),
        (TOP, 'top = ["middle_tip", "top_slot"', "nearest 'middle_top'"),
        (TOP, 'top = ["middle_top", "middle_top"', "every corner named once"),
        ('high_post = ["middle_lane_end"', 'hi_post = ["middle_lane_end"', "nearest 'high_post'"),
        (TOP, 'top = ["middle_top"', EDGE),
        ('post_short = ["lane+1.2", 1.2]', 'post_short = ["lane+1.2", 5.2]', "exactly one region"),
        ('side_base = ["side", "base"]', 'side_base = ["side-0.1", "base"]', EDGE),
        ('corner = ["corner_line+0.45"', 'corner = ["side+0.1"', "spots.corner"),
        ('block = "base+2.286"', 'ft = "base+2.286"', "lines.ft"),
    ],
)
def test_a_bad_file_is_refused_in_one_line(tmp_path: Path, old: str, new: str, says: str) -> None:
    text = REGIONS_FILE.read_text(encoding="utf-8")
    assert text.count(old) == 1
    assert says in refuse(tmp_path, text.replace(old, new))


def test_a_missing_region_is_named(tmp_path: Path) -> None:
    lines = REGIONS_FILE.read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith('high_post = ["middle_lane_end')]
    assert len(kept) == len(lines) - 1
    assert "regions.high_post is missing" in refuse(tmp_path, "".join(kept))


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"nowhere\.toml"):
        build_court(load_rules("college"), tmp_path / "nowhere.toml")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"three_point.arc_radius_m": 8.9, "court.length_m": 20.0}, "three_point.arc_radius_m"),
        ({"lane.width_m": 8.0, "three_point.corner_line_from_rim_m": 5.0}, "exactly one region"),
    ],
)
def test_rule_sets_that_leave_no_room_are_refused(changes: dict[str, object], says: str) -> None:
    with pytest.raises(InputError) as caught:
        build_court(change_rules(load_rules("international"), changes, "scenario.toml"))
    assert says in str(caught.value) and "\n" not in str(caught.value)


def test_an_unknown_spot_names_the_nearest() -> None:
    with pytest.raises(InputError, match="nearest 'short_corner'"):
        COURTS["college"].spot("short_comer")


@given(
    name=st.sampled_from(RULE_SETS),
    width_m=st.floats(13.8, 16.5),
    length_m=st.floats(24.0, 30.0),
    lane_m=st.floats(3.6, 6.0),
)
def test_other_courts_of_usual_size_are_partitioned_too(
    name: str, width_m: float, length_m: float, lane_m: float
) -> None:
    rules = load_rules(name)
    corner = min(rules.three_point.corner_line_from_rim_m, width_m / 2 - 0.8)
    changes = {
        "court.width_m": width_m,
        "court.length_m": length_m,
        "lane.width_m": lane_m,
        "three_point.corner_line_from_rim_m": corner,
    }
    court = build_court(change_rules(rules, changes, "test"))
    total = sum(shapely.Polygon(p).area for p in court.polygons.values())
    assert total == pytest.approx(court.half_width_m * (court.far_y_m - court.baseline_y_m))
