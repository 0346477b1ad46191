"""The holes check: broken defences made up for it, and the closed form of a run against the law of motion."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from input_files import ROLES, scenario, team, write, write_all, zone
from scipy.integrate import solve_ivp

from engine.checks.files import check_path
from engine.inputs import load_alignment, load_constants, load_rules, load_scenario, load_team, load_zone
from engine.inputs.files import Source
from engine.inputs.team import team_from
from engine.inputs.zone import zone_from
from engine.state.words import REGIONS
from engine.still.holes import TOP_SPEED_MPS, Hole, holes, lines, scenario_lines, setup_of
from engine.still.picture import run_m, run_s

PLACES = {
    "near_guard": [2.0, 6.0],
    "far_guard": [-2.0, 6.0],
    "near_forward": [3.5, 2.0],
    "far_forward": [-3.5, 2.0],
    "centre": [0.0, 2.0],
}
K = {name: constant.value for name, constant in load_constants().items()}


def sound() -> dict[str, Any]:
    """Everybody at his place, the near guard on the ball wherever it is."""
    row: dict[str, Any] = {"ball": list(REGIONS)}
    for role in ROLES:
        row[role] = {"job": "place", "place": PLACES[role]}
    row["near_guard"]["job"] = "on_ball"
    return {**zone(), "options": {}, "row": [row]}


def split(data: dict[str, Any], region: str) -> dict[str, Any]:
    """Moves one region into a row of its own, the last; returns that row."""
    first = data["row"][0]
    first["ball"] = [r for r in first["ball"] if r != region]
    own = {role: dict(first[role]) for role in ROLES} | {"ball": [region]}
    data["row"].append(own)
    return own


def found(data: dict[str, Any], kind: str, **given: Any) -> list[Hole]:
    return [hole for hole in holes(setup_of(zone_from(data, "made up"), **given)) if hole.kind == kind]


# --- somebody on the ball, nobody on another's place --------------------------------------------------------


def test_a_sound_defence_has_neither() -> None:
    assert found(sound(), "ball") == found(sound(), "place") == []


def test_a_region_without_a_ball_defender() -> None:
    data = sound()
    for region in ("wing", "corner", "backcourt"):
        split(data, region)["near_guard"] = {"job": "deny", "place": [5.0, 4.0]}
    hit = found(data, "ball")
    assert [h.region for h in hit] == ["wing", "corner"]  # in the backcourt the ball may be waited for
    assert lines(hit) == ["hole: ball on the wing, in the corner: nobody guards the ball (settled)"]


def test_an_option_can_open_the_hole() -> None:
    data = sound()
    data["options"] = {"top": {"use": "ball", "choices": ["ball", "gap"], "meaning": "who has the top"}}
    data["row"][0]["option"] = [
        {"option": "top", "choice": "gap", "role": "near_guard", "job": "gap", "place": [2.0, 6.0]}
    ]
    assert found(data, "ball") == []
    assert {h.region for h in found(data, "ball", options={"top": "gap"})} == set(REGIONS) - {"backcourt"}


def test_a_man_nobody_guards_when_he_has_the_ball() -> None:
    data = sound()
    data["guards"] = {"left_guard": 1, "right_guard": 2, "left_forward": 3, "right_forward": 4}
    row = split(data, "corner")
    for role in ROLES[:4]:
        row[role] = {"job": "own_man", "place": PLACES[role]}
    (hit,) = found(data, "ball")
    assert (hit.region, hit.text) == ("corner", "nobody guards the ball when position 5 has it")
    row["centre"]["job"] = "on_ball"
    assert found(data, "ball") == []


def test_two_roles_on_one_place() -> None:
    data = sound()
    row = split(data, "low_post")
    row["centre"] = {"job": "block", "place": [3.5, 2.4]}
    (hit,) = found(data, "place")
    assert hit.region == "low_post" and hit.off_m == pytest.approx(0.4)
    assert lines([hit]) == [
        "hole: ball in the low post: near forward and centre stand on one place, 0.4 m apart (settled)"
    ]
    row["centre"]["place"] = [3.5, 2.61]
    assert found(data, "place") == []


def test_a_place_is_where_the_weight_toward_the_ball_takes_it() -> None:
    """Two places far apart, both all the way to the ball."""
    data = sound()
    row = split(data, "top")
    for role in ("near_forward", "far_forward"):
        row[role] = {"job": "dig", "place": PLACES[role], "toward_ball": 1.0}
    assert [h.region for h in found(data, "place")] == ["top"]


def test_two_on_the_ball_unless_one_is_only_coming() -> None:
    data = sound()
    row = split(data, "wing")
    row["near_forward"]["job"] = "on_ball"
    (hit,) = found(data, "place")
    assert hit.text == "near guard and near forward are both on the ball"
    row["near_guard"]["job"] = "coming"
    assert found(data, "place") == []


# --- running ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("top, tau", [(5.5, 0.7), (6.5, 1.0), (8.0, 1.4)])
def test_the_run_follows_the_law_of_motion(top: float, tau: float) -> None:
    """dv/dt = (vmax - v) / tau from rest, integrated by scipy's solve_ivp, gives the same metres."""
    times = [0.1, 0.4, 1.0, 2.5]
    path = solve_ivp(
        lambda t, s: (s[1], (top - s[1]) / tau), (0.0, 3.0), (0.0, 0.0), t_eval=times, rtol=1e-10, atol=1e-12
    )
    assert path.y[0] == pytest.approx([run_m(t, top, tau) for t in times], rel=1e-7)


def test_time_and_way_are_each_others_inverse() -> None:
    for way in (0.001, 0.3, 2.0, 7.5, 28.0):
        assert run_m(run_s(way, 6.4, 1.0), 6.4, 1.0) == pytest.approx(way, rel=1e-9)
    assert run_s(0.0, 6.4, 1.0) == run_s(-1.0, 6.4, 1.0) == run_m(-0.2, 6.4, 1.0) == 0.0
    assert run_s(6.4, 6.4, 0.0) == pytest.approx(1.0) and run_m(1.0, 6.4, 0.0) == pytest.approx(6.4)


# --- the bump and the receivers ----------------------------------------------------------------------


def bumping(guard: list[float]) -> dict[str, Any]:
    """At the top and in the slots the near guard stands at ``guard``, the near forward has the ball."""
    data = sound()
    data["row"][0]["near_guard"] = {"job": "place", "place": guard}
    data["row"][0]["near_forward"]["job"] = "on_ball"
    return data


def test_a_bump_that_comes_too_late_by_the_closed_form() -> None:
    """From the top (0, 7.25) to the wing's receiver, every number written out."""
    court_wing = (7.15 * math.cos(math.radians(38)), 7.15 * math.sin(math.radians(38)))
    guard = [-3.0, 6.0]
    (hit,) = [h for h in found(bumping(guard), "bump") if h.region == "top"]
    way = math.dist(guard, court_wing)
    length, ramp = math.dist((0.0, 7.25), court_wing), K["pass_ramp_m"]
    speed = K["pass_speed_direct_mps"] * (1 - math.exp(-length / ramp)) / (1 - math.exp(-7.0 / ramp))
    flight = length / speed
    has = flight + K["catch_pause_s"] + K["pass_release_s"]
    assert hit.off_m == pytest.approx(
        way - run_m(has - K["reaction_s"], TOP_SPEED_MPS, K["sprint_tau_s"]), abs=1e-9
    )
    stands = K["on_ball_gap_m"] + K["on_ball_gap_per_m"] * (7.15 - 7.75)
    needs = K["reaction_s"] + run_s(way - stands - K["bump_m"], TOP_SPEED_MPS, K["sprint_tau_s"])
    assert hit.late_s == pytest.approx(needs - has, abs=1e-9) and hit.late_s > 0.3
    assert hit.text.startswith(f"top to wing: the bump of the near guard comes {needs - has:.1f} s late")


def test_a_bump_from_near_by_is_in_time() -> None:
    assert found(bumping([4.6, 4.6]), "bump") == []
    assert found({k: v for k, v in bumping([-3.0, 6.0]).items() if k != "bump_role"}, "bump") == []


def test_the_later_the_slower_and_the_faster_the_pass() -> None:
    late = [
        max(h.late_s for h in found(bumping([-3.0, 6.0]), "bump", constants=K | changed))
        for changed in ({"pass_speed_direct_mps": 8.0}, {}, {"pass_speed_direct_mps": 13.0})
    ]
    slow = found(bumping([-3.0, 6.0]), "bump", players=load_team("millbrook_row"))
    assert late == sorted(late) and late[0] < late[2]
    # nobody on that team but one guard is faster than the speed assumed for a file alone
    assert max(h.late_s for h in slow) != pytest.approx(late[1])


def packed_in() -> dict[str, Any]:
    """Four in the lane, one on the ball: every man outside is free."""
    data = sound()
    for i, role in enumerate(ROLES[1:]):
        data["row"][0][role]["place"] = [1.5 - i, 1.5 - 0.4 * (i % 2)]
    return data


def test_a_receiver_nobody_can_reach_is_told_with_the_worst_first() -> None:
    hit = {h.region: h for h in found(packed_in(), "receiver")}
    assert set(hit) >= {"top", "slot", "wing", "corner"} and "backcourt" not in hit
    assert hit["corner"].late_s > 0.3 and hit["corner"].off_m > K["open_shot_m"]
    assert hit["corner"].text.startswith("corner to ") and "nearest man (" in hit["corner"].text


def test_a_man_on_every_receiver_leaves_nobody_free() -> None:
    """Own men who do not sag stand in the lane to each man."""
    data = sound()
    persons = ("left_guard", "right_guard", "left_forward", "right_forward", "centre")
    data["guards"] = {person: i + 1 for i, person in enumerate(persons)}
    for role in ROLES:
        data["row"][0][role] = {"job": "own_man", "place": PLACES[role], "toward_ball": 0.0}
    assert found(data, "receiver") == []
    for role in ROLES:
        data["row"][0][role]["toward_ball"] = 1.0
    deep = K | {"man_gap_per_m": 0.5, "man_gap_most_m": 6.0, "man_gap_rim_share_per_m": 0.25}
    assert [h for h in found(data, "receiver", constants=deep) if "to far wing" in h.text]  # the skip's price


def test_slower_reactions_free_more() -> None:
    fast, slow = (
        sum(h.late_s for h in found(packed_in(), "receiver", constants=K | {"reaction_s": value}))
        for value in (0.2, 0.5)
    )
    assert slow > fast + 0.5


def test_both_sides_are_looked_at() -> None:
    """One slow man on one side is found although the other side is fine: the worst of the two is told."""
    table = team()
    table["player"] = [{k: v for k, v in p.items() if k != "shot_table"} for p in table["player"]]
    table["player"][1]["top_speed_mps"] = 3.0  # position 2, right guard by default
    slow_right = team_from(table, Source(Path("team.toml"), "team.toml"))
    table["player"][0]["top_speed_mps"], table["player"][1]["top_speed_mps"] = 3.0, 6.0
    slow_left = team_from(table, Source(Path("team.toml"), "team.toml"))
    a, b = (
        max(h.late_s for h in found(bumping([0.0, 6.0]), "bump", players=t)) for t in (slow_right, slow_left)
    )
    assert a == pytest.approx(b, abs=1e-12) and a > 0.5


def test_each_alignment_and_rule_set_gives_its_own_answer() -> None:
    shipped = load_zone("two_three")
    answers = {
        tuple(lines(holes(setup_of(shipped, alignment=load_alignment(a), rules=load_rules(r)))))
        for a in ("high_post_short_corner", "two_guard_baseline", "overload")
        for r in ("international", "high_school", "professional")
    }
    assert len(answers) == 9


# --- what is said ------------------------------------------------------------------------------------


def test_findings_are_no_errors_and_follow_the_line_of_the_file(tmp_path: Path) -> None:
    write_all(tmp_path)
    data = sound()
    split(data, "wing")["near_guard"] = {"job": "gap", "place": [2.0, 6.0]}
    first, *rest = check_path(write(tmp_path, "zone.toml", data))
    assert first.endswith('zone.toml: defence "Zone of the tests", 2 rows, 0 options')
    assert rest[0] == "  hole: ball on the wing: nobody guards the ball (settled)"
    assert rest[-1].startswith("  measured: ") and all(line.startswith("  ") for line in rest)


def test_a_scenario_uses_its_own_players_and_tells_its_defences_apart(tmp_path: Path) -> None:
    write_all(tmp_path)
    table = scenario() | {"defence": {"team": "team.toml", "zone": "configs/zones/two_three.toml"}}
    table["setting"] = [
        {"name": "three", "zone": "configs/zones/three_two.toml"},
        {"name": "again", "zone": "configs/zones/three_two.toml"},
    ]
    said = scenario_lines(load_scenario(write(tmp_path, "scenario.toml", table)))
    titles = [line.split(": ")[0] for line in said[:-1]]
    assert set(titles) == {"2-3 zone", "3-2 zone"} and len(set(said)) == len(said)
    assert said[-1].startswith("measured: against Alignment of the tests, the players' own speeds")
    table["setting"] = []
    assert all(line.startswith(("late: ", "measured: ")) for line in scenario_lines(
        load_scenario(write(tmp_path, "scenario.toml", table))
    ))  # fmt: skip


def test_other_pairs_of_men_change_what_is_free(tmp_path: Path) -> None:
    write_all(tmp_path)
    table = scenario() | {"setting": [], "offence": {"team": "juniper_hill", "alignment": "overload"}}
    table["defence"] = {"team": "millbrook_row", "zone": "configs/zones/man_to_man.toml"}
    table["constants"] = {
        "man_gap_per_m": 0.5, "man_gap_most_m": 6.0, "man_gap_rim_share_per_m": 0.25, "reaction_s": 0.5
    }  # fmt: skip
    plain = scenario_lines(load_scenario(write(tmp_path, "scenario.toml", table)))
    assert plain[-1].startswith("measured: ")
    table["defence"]["matchups"] = {"4": 30, "34": 3}  # the guard on the big man and the other way round
    assert scenario_lines(load_scenario(write(tmp_path, "scenario.toml", table))) != plain


def test_constants_beyond_their_range_do_not_break_the_check() -> None:
    odd = K | {"pass_speed_direct_mps": 0.0, "pass_speed_over_mps": 0.0, "sprint_tau_s": 0.0}
    assert (
        found(packed_in(), "receiver", constants=odd) == []
    )  # a ball that never comes finds everybody there
