"""Defences other than the 2-3, calls that fit them, and settings that play them: what is read and refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from input_files import (
    LOADERS,
    REGIONS,
    call,
    defences,
    man_to_man,
    match_up,
    nearest_call,
    player,
    scenario,
    team,
    write,
    write_all,
    zone,
)
from policies import registered
from test_bad_input import drop, message, put

from engine.checks.files import check_path
from engine.inputs import config_hash, load_call, load_scenario, load_team, load_zone, men_of, people_of
from engine.inputs.calls import misfit
from engine.inputs.files import shipped
from engine.inputs.settings import fitting_calls
from engine.study.play import check_setting

BUMPS = ("before_bump", "after_bump", "reversal")


def loaded(tmp_path: Path, data: dict[str, Any]) -> Any:
    write_all(tmp_path)
    return load_scenario(write(tmp_path, "scenario.toml", data))


# --- defences -------------------------------------------------------------------------------------------


def test_roles_persons_and_guards_of_a_man_to_man(tmp_path: Path) -> None:
    five = load_zone(write(tmp_path, "man.toml", man_to_man()))
    assert five.roles == ("near_wing", "far_wing", "point", "post", "baseline")
    assert five.persons == {"left_wing": 2, "right_wing": 3, "point": 1, "post": 4, "baseline": 5}
    assert five.guards == five.persons and five.has_men
    assert five.bump_role is None and five.match_up is None
    assert five.rows[0].entries["near_wing"].job == "own_man"


def test_a_zone_has_no_men_and_a_match_up_has_them_later(tmp_path: Path) -> None:
    plain = load_zone(write(tmp_path, "zone.toml", zone()))
    assert (
        plain.guards == {} and plain.persons == {} and not plain.has_men and plain.bump_role == "near_guard"
    )
    later = load_zone(write(tmp_path, "match_up.toml", match_up()))
    assert later.match_up == "first_pass" and later.guards == {} and later.has_men
    assert later.rows[1].moment == ("matched",)
    fewer = match_up()
    del fewer["row"][1]
    assert len(load_zone(write(tmp_path, "fewer.toml", fewer)).rows) == 1


def test_nobody_traps_in_a_row(tmp_path: Path) -> None:
    data = zone()
    data["row"][0]["far_guard"]["job"] = "trap"
    assert "row[1].far_guard.job: 'trap'" in message(load_zone, write(tmp_path, "zone.toml", data))


def test_without_a_bump_the_wing_is_settled_and_reversal_may_be_told(tmp_path: Path) -> None:
    data = zone()
    del data["bump_role"]
    assert load_zone(write(tmp_path, "zone.toml", data)).bump_role is None
    data["row"].append({**data["row"][0], "ball": "top", "moment": "reversal"})
    assert len(load_zone(write(tmp_path, "zone.toml", data)).rows) == 2
    split = zone()
    row = split["row"][0]
    row["ball"] = [r for r in REGIONS if r != "wing"]
    split["row"] += [{**row, "ball": "wing", "moment": moment} for moment in BUMPS]
    assert load_zone(write(tmp_path, "split.toml", split)).bump_role == "near_guard"
    del split["bump_role"]
    assert "row[2].moment: 'before_bump'" in message(load_zone, write(tmp_path, "split.toml", split))
    del split["row"][1:]
    assert 'ball = "wing" is missing' in message(load_zone, write(tmp_path, "split.toml", split))


def test_the_places_of_a_2_3_go_by_the_team_and_others_by_the_lineup(tmp_path: Path) -> None:
    write_all(tmp_path)
    places = {"left_guard": 4, "right_guard": 3, "left_forward": 6, "right_forward": 5, "centre": 8}
    own = team() | {"lineup": [3, 4, 5, 6, 8], "zone_places": places}
    side = load_team(write(tmp_path, "own.toml", own))
    persons = {"left_guard": 5, "right_guard": 4, "left_forward": 3, "right_forward": 2, "centre": 1}
    for data in (zone(), zone() | {"persons": persons}):
        found = people_of(load_zone(write(tmp_path, "zone.toml", data)), side)
        assert {person: p.number for person, p in found.items()} == places
    found = people_of(load_zone(tmp_path / "man_to_man.toml"), side)
    assert [(person, p.number) for person, p in found.items()] == [
        ("left_wing", 4), ("right_wing", 5), ("point", 3), ("post", 6), ("baseline", 8)
    ]  # fmt: skip


def test_match_ups_take_the_place_of_guards_shirt_by_shirt(tmp_path: Path) -> None:
    write_all(tmp_path)
    own = load_team(tmp_path / "team.toml")
    others = {"name": "Others", "player": [player(20 + n, n) for n in range(1, 6)]}
    opponents = load_team(write(tmp_path, "others.toml", others))
    men = load_zone(tmp_path / "man_to_man.toml")
    assert men_of(men, own, opponents, {}) == men.guards
    # 3 plays position 1 and is the point, 6 position 4 and is the post
    changed = men_of(men, own, opponents, {3: 24, 6: 21})
    assert changed == men.guards | {"point": 4, "post": 1}
    # one pair alone: whoever had that man takes who is left
    assert men_of(men, own, opponents, {3: 24}) == men.guards | {"point": 4, "post": 1}
    # a ring: left wing (4) takes the right wing's man, he (5) the baseline's, who has what is left
    assert men_of(men, own, opponents, {4: 23, 5: 25}) == men.guards | {
        "left_wing": 3, "right_wing": 5, "baseline": 2
    }  # fmt: skip
    assert men_of(load_zone(tmp_path / "zone.toml"), own, opponents, {3: 24}) == {}


def test_only_some_may_have_a_man(tmp_path: Path) -> None:
    """A box and one: one man is guarded, four hold places."""
    data = man_to_man() | {"guards": {"point": 1}}
    for role in ("near_wing", "far_wing", "post", "baseline"):
        data["row"][0][role] = {"job": "gap", "place": [1.0, 3.0]}
    path = write(tmp_path, "box.toml", data)
    assert load_zone(path).guards == {"point": 1}
    assert check_path(path)[0].endswith('defence "Men of the tests", 1 row, 0 options, 1 of 5 guards a man')
    write_all(tmp_path)
    lone = scenario()
    lone["defence"] = {"team": "team.toml", "zone": "box.toml", "matchups": {"3": 6}}
    lone["setting"] = []
    assert load_scenario(write(tmp_path, "lone.toml", lone)).matchups == {3: 6}
    lone["defence"]["matchups"] = {"4": 6}  # holds a place
    text = message(load_scenario, write(tmp_path, "lone.toml", lone))
    assert "defence.matchups: '4' is not allowed; allowed: shirt numbers of those who guard a man: 3" in text
    data["row"][0]["post"]["job"] = "own_man"
    assert "guards.post is missing" in message(load_zone, write(tmp_path, "box.toml", data))


# kind, key, value, then every piece the line must hold (besides the file's name)
WRONG: list[tuple[str, str, Any, tuple[str, ...]]] = [
    ("man_to_man", "roles", ["point"], ("roles", "exactly 5")),
    ("man_to_man", "roles/2", "Point", ("roles[3]", "'Point'", "small letters")),
    ("man_to_man", "roles/2", "nearest", ("roles[3]", "'nearest'", "another name")),
    ("man_to_man", "roles/2", "post", ("roles[4]", "'post'", "once")),
    ("man_to_man", "roles/2", "near_corner", ("roles[3]", "'near_corner'", "far_corner is missing")),
    ("man_to_man", "roles/2", "left_wing", ("roles[3]", "'left_wing'", "already is a person")),
    ("man_to_man", "persons/point", 6, ("persons.point", "6", "from 1 to 5")),
    ("man_to_man", "persons/point", 2, ("persons.", "2", "once")),
    ("man_to_man", "persons/centre", 2, ("persons", "'centre'", "left_wing")),
    ("man_to_man", "guards/point", 0, ("guards.point", "0", "from 1 to 5")),
    ("man_to_man", "guards/point", 5, ("guards.", "5", "once")),
    ("man_to_man", "guards/near_wing", 5, ("guards", "'near_wing'", "nearest 'left_wing'")),
    ("man_to_man", "guards", {}, ("row[1].near_wing.job", "'own_man'", "[guards]")),
    ("man_to_man", "match_up", "first_pass", ("match_up", "'first_pass'", "only without [guards]")),
    ("man_to_man", "bump_role", "near_guard", ("bump_role", "'near_guard'", "near_wing")),
    ("man_to_man", "row/0/moment", ["settled", "matched"], ("row[1].moment", "'matched'", "match_up")),
    ("man_to_man", "row/0/moment", "after_bump", ("row[1].moment", "'after_bump'", "no bump_role")),
    ("zone", "row/0/centre/job", "own_man", ("row[1].centre.job", "'own_man'", "[guards]")),
    ("zone", "row/0/option/0/job", "own_man", ("row[1].option[1].job", "'own_man'", "[guards]")),
    ("match_up", "match_up", "second_pass", ("match_up", "'second_pass'", "first_pass")),
    ("match_up", "row/1/moment", ["matched", "reversal"], ("row[2].near_guard.job", "'own_man'")),
    ("nearest", "doubles", ["nearest", "ball"], ("doubles[1]", "'nearest'", "in this order")),
    ("nearest", "doubles", ["ball", "centre"], ("doubles[1]", "'ball'", '["ball", "nearest"]')),
    ("nearest", "cover/ball", {"job": "deny", "place": [1, 2]}, ("cover", "'ball'")),
    ("nearest", "option/0/role", "rm", ("option[1].role", "'rm'", "nearest 'rim'")),
    ("corner", "option/0/role", "near_guard", ("option[1].role", "'near_guard'", "far_guard")),
    ("corner", "defences", ["zone", "zone"], ("defences[2]", "'zone'", "once")),
    ("corner", "cover", {}, ("cover", "[]", "exactly three roles")),
    ("defences", "defence/matchups", {"3": 4, "4": 4}, ("defence.matchups.4", "4", "guarded by one man")),
    ("defences", "defence/matchups", {"8": 4}, ("defence.matchups", "'8'", "3, 4, 5, 6, 7")),
    ("defences", "defence/matchups/3", 8, ("defence.matchups.3", "8", "3, 4, 5, 6, 7")),
    ("defences", "defence/policy", " ", ("defence.policy", "' '", "text of one line")),
    ("defences", "setting/2/policy", 3, ("setting[3].policy", "3", "text")),
    ("defences", "setting/3/zone", "man_to", ("setting[4].zone", "'man_to'", "a defence that exists")),
    ("defences", "setting/1/options", {"guard": "denny"}, ("setting[2].options.guard", "nearest 'deny'")),
    ("defences", "setting/3/options", {"guard": "deny"}, ("setting[4].options", "'guard'", "there are none")),
    ("defences", "setting/0/call", [], ("setting[1].call is missing", "zone, options, policy and plays")),
    ("scenario", "defence/matchups", {"3": 4}, ("defence.matchups", "{3 = 4}", "man-to-man")),
]


@pytest.mark.parametrize(("kind", "key", "value", "pieces"), WRONG, ids=lambda v: str(v)[:40])
def test_a_wrong_value(kind: str, key: str, value: Any, pieces: tuple[str, ...], tmp_path: Path) -> None:
    write_all(tmp_path)
    make, load = LOADERS[kind]
    data = make()
    put(data, key, value)
    text = message(load, write(tmp_path, f"{kind}.toml", data))
    assert text.startswith(str(tmp_path / f"{kind}.toml") + ": ")
    for piece in pieces:
        assert piece in text, text


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("roles", "roles is missing"),
        ("persons", "persons is missing"),
        ("persons/post", "persons.post is missing"),
        ("guards/post", "guards.post is missing"),
        ("row/0/post", "row[1].post is missing"),
    ],
)
def test_a_missing_key_of_a_man_to_man(key: str, line: str, tmp_path: Path) -> None:
    data = man_to_man()
    drop(data, key)
    assert f"man.toml: {line}" in message(load_zone, write(tmp_path, "man.toml", data))


def test_misspelt_keys_of_a_defence_are_told_first(tmp_path: Path) -> None:
    for key, hint in (("rolse", "nearest 'roles'"), ("guard", "nearest 'guards'"), ("matchup", "'match_up'")):
        data = man_to_man() | {key: 1}
        data.pop("roles" if key == "rolse" else "none", None)
        text = message(load_zone, write(tmp_path, "man.toml", data))
        assert f"man.toml: unknown key {key}; " in text and hint in text


# --- calls ----------------------------------------------------------------------------------------------


def test_a_call_for_whoever_is_on_the_ball_fits_every_defence(tmp_path: Path) -> None:
    write_all(tmp_path)
    dynamic, fixed = load_call(tmp_path / "nearest.toml"), load_call(tmp_path / "corner.toml")
    assert dynamic.dynamic and not fixed.dynamic and fixed.defences == ()
    assert list(dynamic.cover) == ["back", "middle", "rim"]  # the order of the file decides who goes where
    zones = {name: load_zone(tmp_path / f"{name}.toml") for name in ("zone", "man_to_man", "match_up")}
    assert [misfit(dynamic, z) for z in zones.values()] == [None, None, None]
    assert misfit(fixed, zones["zone"]) is None and misfit(fixed, zones["match_up"]) is None
    found = misfit(fixed, zones["man_to_man"])
    assert found is not None and found[:2] == ("doubles[1]", "near_guard")


def test_own_men_are_covered_only_where_there_are_men(tmp_path: Path) -> None:
    write_all(tmp_path)
    data = nearest_call()
    data["cover"]["back"]["job"] = "own_man"
    trap = load_call(write(tmp_path, "own.toml", data))
    assert misfit(trap, load_zone(tmp_path / "man_to_man.toml")) is None
    assert misfit(trap, load_zone(tmp_path / "match_up.toml")) is None
    found = misfit(trap, load_zone(tmp_path / "zone.toml"))
    assert found is not None and found[:2] == ("cover.back.job", "own_man")


def test_a_call_in_a_defence_without_its_roles_names_those_that_fit(tmp_path: Path) -> None:
    write_all(tmp_path)
    data = defences()
    data["setting"][4]["call"] = [{"call": "corner.toml"}]
    text = message(load_scenario, write(tmp_path, "scenario.toml", data))
    assert text.startswith(
        f"{tmp_path}/scenario.toml: setting[5].call[1].call: 'corner.toml' is not allowed; "
    )
    assert "a call for the defence man_to_man (its doubles[1] is 'near_guard'" in text
    fitting = fitting_calls(load_zone(tmp_path / "man_to_man.toml"))
    assert "man_to_man_corner" in fitting and text.endswith("; calls that fit: " + ", ".join(fitting))


def test_a_call_written_for_other_defences_is_refused_and_its_own_slips_are_told(tmp_path: Path) -> None:
    write_all(tmp_path)
    write(tmp_path, "corner.toml", call() | {"defences": ["three_two"]})
    path = write(tmp_path, "scenario.toml", scenario())
    assert "a call for the defence zone (it is for three_two); calls that fit: " in message(
        load_scenario, path
    )
    slip = call() | {"defences": ["zone"]}
    slip["cover"]["centr"] = slip["cover"].pop("centre")
    slip["option"] = [slip["option"][0] | {"role": "centr"}]
    write(tmp_path, "corner.toml", slip)
    for text in (message(load_scenario, path), message(check_path, tmp_path / "corner.toml")):
        assert text.startswith(f"{tmp_path}/corner.toml: cover.centr: 'centr' is not allowed; ")
        assert "near_forward, far_forward, centre; nearest 'centre'" in text


@pytest.mark.parametrize("name", shipped("zones"))
def test_every_shipped_defence_has_calls(name: str) -> None:
    assert len(fitting_calls(load_zone(name))) >= 2


@pytest.mark.parametrize("name", shipped("calls"))
def test_every_shipped_call_fits_the_defences_it_names(name: str) -> None:
    trap = load_call(name)
    assert trap.defences
    for defence in trap.defences:
        assert misfit(trap, load_zone(defence)) is None


# --- settings -------------------------------------------------------------------------------------------


def test_what_each_setting_plays(tmp_path: Path) -> None:
    found = loaded(tmp_path, defences())
    assert found.policy is None and found.matchups == {3: 4, 4: 3}
    corner, other, coded, men, doubling, matched = found.settings
    assert [s.own_defence for s in found.settings] == [False, True, True, True, True, True]
    assert corner.zone is None and corner.zone_options == found.zone_options == {"guard": "deny"}
    assert other.zone is None and other.zone_options == {"guard": "sink"} and other.calls == ()
    assert coded.zone is None and coded.policy == "own_policy" and coded.zone_options == {"guard": "deny"}
    assert men.zone is not None and men.zone.name == "man_to_man" and men.zone_options == {}
    assert doubling.zone == men.zone and [c.name for c in doubling.calls] == ["nearest_corner"]
    assert matched.zone is not None and matched.zone.options["guard"].use == "deny"
    assert matched.zone_options == {"guard": "deny"} and matched.policy == "own_policy"
    assert {"man_to_man.toml", "match_up.toml", "nearest.toml"} <= {p.name for p in found.files}


def test_a_coded_policy_goes_with_the_scenarios_defence_and_not_with_another(tmp_path: Path) -> None:
    data = defences()
    data["defence"] |= {"policy": "home_policy"}
    data["setting"].append({"name": "rows", "zone": "zone.toml", "options": {"guard": "deny"}})
    data["setting"].append(
        {"name": "same", "zone": "zone.toml", "options": {"guard": "deny"}, "policy": "home_policy"}
    )
    found = loaded(tmp_path, data)
    assert found.policy == "home_policy"
    policies = {s.name: s.policy for s in found.settings}
    assert policies == {
        "corner": "home_policy", "other option": "home_policy", "coded": "own_policy", "men": None,
        "men, doubling": None, "matched": "own_policy", "rows": None, "same": "home_policy",
    }  # fmt: skip
    own = {s.name: s.own_defence for s in found.settings}
    assert own["rows"] and not own["same"] and not own["corner"]


def test_a_defence_named_by_a_setting_is_found_beside_the_scenario_or_shipped(tmp_path: Path) -> None:
    data = defences()
    data["setting"] = [{"name": "men", "zone": "man_to_man"}, {"name": "3-2", "zone": "three_two"}]
    men, shipped_one = loaded(tmp_path, data).settings
    assert men.zone.title == "Men of the tests" and shipped_one.zone == load_zone("three_two")


CHANGES: list[tuple[str, str, Any]] = [
    ("defences", "defence/policy", "other"),
    ("defences", "defence/matchups", {"3": 5, "5": 3}),
    ("defences", "setting/1/options/guard", "deny"),
    ("defences", "setting/2/policy", "other"),
    ("defences", "setting/3/zone", "match_up.toml"),
    ("man_to_man", "guards", {"left_wing": 2, "right_wing": 3, "point": 1, "post": 5, "baseline": 4}),
    ("man_to_man", "persons", {"left_wing": 2, "right_wing": 3, "point": 1, "post": 5, "baseline": 4}),
    ("match_up", "row/1/ball", ["wing"]),
    ("nearest", "cover/back/place", [2, 2]),
    ("corner", "defences", ["zone"]),
]


@pytest.mark.parametrize(("kind", "key", "value"), CHANGES, ids=lambda v: str(v)[:40])
def test_the_hash_covers_what_is_played(kind: str, key: str, value: Any, tmp_path: Path) -> None:
    write_all(tmp_path)
    path = write(tmp_path, "defences.toml", defences())
    before = config_hash(load_scenario(path))
    assert config_hash(load_scenario(path)) == before
    data = LOADERS[kind][0]()
    put(data, key, value)
    write(tmp_path, f"{kind}.toml", data)
    assert config_hash(load_scenario(path)) != before


def test_check_says_what_kind_of_defence_it_is(tmp_path: Path) -> None:
    write_all(tmp_path)
    write(tmp_path, "defences.toml", defences())
    with registered("own_policy", call=lambda floor: 0):
        lines = check_path(tmp_path)
    meanings = {Path(line.split(": ")[0]).name: line.split(": ", 1)[1] for line in lines if ": " in line}
    assert meanings["man_to_man.toml"] == 'defence "Men of the tests", 1 row, 0 options, each guards a man'
    assert meanings["match_up.toml"] == (
        'defence "Zone of the tests", 2 rows, 1 option, takes men after the first pass'
    )
    assert meanings["nearest.toml"].startswith(
        'trap call "Trap at the corner", the man on the ball and the next nearest double the ball (corner), '
    )
    assert 'against Team of the tests in the defence "Zone of the tests", ' in meanings["defences.toml"]


def test_names_of_settings_with_commas_are_told_in_quotes(tmp_path: Path) -> None:
    found = loaded(tmp_path, defences())
    text = message(lambda name: check_setting(found, name), "men doubling")
    assert 'one of home, "corner", "other option", "coded", "men", "men, doubling", "matched"' in text
    assert text.endswith('(nearest: "men, doubling")')
    assert message(lambda name: check_setting(found, name), "hoem").endswith("(nearest: home)")
