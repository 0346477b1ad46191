"""Files to objects: what is read, filled in, merged and found (engine.inputs)."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from input_files import SHOTS, alignment, call, player, scenario, team, toml_text, write, write_all, zone
from pydantic import ValidationError

import engine
from engine import cli
from engine.checks.files import check_path
from engine.errors import InputError
from engine.inputs import (
    config_hash,
    configs_root,
    defaults,
    load_alignment,
    load_call,
    load_constants,
    load_rules,
    load_scenario,
    load_shot_table,
    load_team,
    load_zone,
    spot_names,
)
from engine.inputs.constants import hard_limits
from engine.inputs.files import in_place_of_shipped
from engine.inputs.sheets import load_evening
from engine.inputs.team import ZONE_PLACES
from engine.state.words import JOBS, REGIONS, TRIGGERS

SHIPPED = sorted(p for ending in ("*.toml", "*.csv") for p in configs_root().rglob(ending))


@pytest.fixture(scope="module")
def told() -> dict[str, list[str]]:
    """What check says of all that is shipped: file -> its line and the indented ones behind it."""
    found: dict[str, list[str]] = {}
    for line in check_path(configs_root()):
        if not line.startswith("  "):
            file = line.partition(": ")[0]
            assert file not in found
            found[file] = []
        found[file].append(line)
    return found


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: p.relative_to(configs_root()).as_posix())
def test_every_shipped_file_loads_and_says_what_it_means(path: Path, told: dict[str, list[str]]) -> None:
    lines = told[str(path)]
    assert all(line.startswith("  ") for line in lines[1:])  # the holes of a defence, the steps of a play
    assert all(len(line.splitlines()) == 1 for line in lines)
    if path.parent.name not in ("zones", "scenarios", "plays"):
        assert len(lines) == 1


def test_files_of_every_kind_are_shipped(told: dict[str, list[str]]) -> None:
    kinds = {p.parent.name for p in SHIPPED}
    assert kinds >= {
        "rules", "model", "shots", "teams", "alignments", "plays", "zones", "calls", "scenarios", "court"
    }  # fmt: skip
    assert len(told) == len(SHIPPED)


def test_check_of_the_package_gives_a_series() -> None:
    """Twice, because a module of the same name would take the function's place once it is loaded."""
    for _ in range(2):
        found = engine.check(configs_root() / "rules")
        assert list(found) == check_path(configs_root() / "rules")
        assert found.name == "meaning"


def test_shipped_constants_have_unit_range_source_and_meaning() -> None:
    for name, constant in load_constants().items():
        assert constant.low <= constant.value <= constant.high, name
        assert constant.unit and constant.source and constant.meaning, name


def test_an_import_loads_neither_numba_nor_pandas_nor_scipy() -> None:
    code = "import sys, engine.inputs; print([m for m in ('numba', 'pandas', 'scipy') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_scenario_is_resolved_and_merged(tmp_path: Path) -> None:
    loaded = load_scenario(write_all(tmp_path))
    assert loaded.rules.clock.shot_s == 35.0
    assert load_rules("high_school").clock.shot_s == 0.0
    assert loaded.offence_team.lineup == (3, 4, 5, 6, 7)
    assert loaded.zone_options == {"guard": "deny"}
    assert loaded.zone.options["guard"].use == "deny"
    first, both = loaded.settings
    assert [c.probability for c in first.calls] == [0.5]
    assert [c.probability for c in both.calls] == [0.25, 0.5]
    assert both.calls[0].choices == {"lob": "close"} and first.calls[0].choices == {"lob": "deep"}
    assert both.calls[1].only_against == (3, 4) and both.calls[1].triggers == ("held",)
    assert both.calls[1].held_s == 2.0 and both.calls[1].budget == 4
    assert loaded.constants == {k: c.value for k, c in load_constants().items()}
    assert {p.name for p in loaded.files} == {
        "scenario.toml", "high_school.toml", "constants.toml", "shots.csv", "team.toml",
        "alignment.toml", "play.toml", "zone.toml", "corner.toml", "wing.toml",
    }  # fmt: skip
    assert loaded.path == tmp_path / "scenario.toml"


def test_what_a_scenario_leaves_out_is_filled_in_from_one_place(tmp_path: Path) -> None:
    write_all(tmp_path)
    short = {
        k: v for k, v in scenario().items() if k in ("title", "rules", "shot_table", "offence", "defence")
    }
    loaded = load_scenario(write(tmp_path, "short.toml", short))
    assert (loaded.start, loaded.possessions, loaded.seed, loaded.over_n) == (
        defaults.START, defaults.POSSESSIONS, defaults.SEED, defaults.OVER_N
    )  # fmt: skip
    assert loaded.game.possession_arrow == defaults.POSSESSION_ARROW
    assert loaded.game.traps_seen == 0 and loaded.settings == ()


def test_a_call_with_the_least_keys_gets_the_defaults(tmp_path: Path) -> None:
    keys = ("name", "title", "source", "spot", "ball", "doubles", "triggers", "cover")
    least = {k: v for k, v in call().items() if k in keys}
    loaded = load_call(write(tmp_path, "least.toml", least))
    assert (loaded.probability, loaded.held_s, loaded.disguise_s, loaded.give_up_s, loaded.budget) == (
        defaults.PROBABILITY, defaults.HELD_S, defaults.DISGUISE_S, defaults.GIVE_UP_S, defaults.BUDGET
    )  # fmt: skip
    assert loaded.way_back == "shell" and loaded.only_against == ()


def test_places_sides_and_shifts(tmp_path: Path) -> None:
    loaded = load_zone(write(tmp_path, "zone.toml", zone()))
    entry = loaded.rows[0].entries["near_guard"]
    assert entry.place.at == (1.0, 2.0) and entry.place.side == "far" and entry.place.shift == (0.5, -0.5)
    assert entry.toward_ball == 0.5 and entry.toward_man is None and entry.man_within_m is None
    assert loaded.rows[0].moment == ("settled",)
    assert loaded.rows[0].option[0].entry.job == "deny"
    five = load_alignment(write(tmp_path, "alignment.toml", alignment()))
    places = five.rows[0].places
    assert {r: p.side for r, p in places.items()} == {
        "point": "near", "near_wing": "near", "far_wing": "far", "post": "near", "baseline": "far"
    }  # fmt: skip
    assert places["near_wing"].shift == (0.1, 0.0)
    assert five.breaks[0].call == ("default",) and five.breaks[0].far.side == "far"
    assert five.breaks[1].call == ("corner", "wing") and five.breaks[1].line.side == "near"


def test_a_wing_described_by_its_three_bump_moments_is_enough(tmp_path: Path) -> None:
    data = zone()
    row = data["row"][0]
    row["ball"] = [r for r in REGIONS if r != "wing"]
    for moment in ("before_bump", "after_bump", "reversal"):
        data["row"].append({**row, "ball": "wing", "moment": moment})
    assert len(load_zone(write(tmp_path, "zone.toml", data)).rows) == 4


def test_every_job_region_and_trigger_of_the_engine_can_be_written(tmp_path: Path) -> None:
    for job in set(JOBS) - {"trap"}:  # doubling the ball is what calls are for
        data = zone() | {"guards": {p: i + 1 for i, p in enumerate(ZONE_PLACES)}}
        data["row"][0]["centre"]["job"] = job
        assert load_zone(write(tmp_path, "zone.toml", data)).rows[0].entries["centre"].job == job
    assert load_zone(write(tmp_path, "zone.toml", zone())).rows[0].ball == REGIONS
    trap = call() | {"triggers": list(TRIGGERS)}
    assert load_call(write(tmp_path, "call.toml", trap)).triggers == TRIGGERS


def test_named_spots_are_those_of_the_court_file(tmp_path: Path) -> None:
    assert {"wing", "corner", "block", "middle"} <= set(spot_names())
    data = zone()
    data["row"][0]["centre"]["place"] = "middle"
    data["row"][0]["far_guard"]["place"] = {"spot": "wing", "side": "far"}
    entries = load_zone(write(tmp_path, "zone.toml", data)).rows[0].entries
    assert entries["centre"].place.spot == "middle" and entries["centre"].place.at is None
    assert entries["far_guard"].place.side == "far"


def test_lineup_is_the_first_of_each_position_and_then_who_is_left(tmp_path: Path) -> None:
    data = {"name": "Tall", "player": [player(n, p) for n, p in ((9, 5), (8, 5), (7, 4), (6, 1), (5, 3))]}
    (tmp_path / "shots.csv").write_text(SHOTS)
    loaded = load_team(write(tmp_path, "team.toml", data))
    # positions 1, 3, 4, 5 have a first player; nobody plays 2, so the second centre fills in
    assert loaded.lineup == (6, 8, 5, 7, 9)
    assert [p.number for p in loaded.on_court] == [6, 8, 5, 7, 9]
    assert loaded.zone_places is not None
    assert (loaded.zone_places.left_guard, loaded.zone_places.centre) == (6, 9)


def test_lineup_and_zone_places_as_written(tmp_path: Path) -> None:
    (tmp_path / "shots.csv").write_text(SHOTS)
    places = {"left_guard": 4, "right_guard": 3, "left_forward": 6, "right_forward": 5, "centre": 8}
    data = team() | {"lineup": [3, 4, 5, 6, 8], "zone_places": places}
    loaded = load_team(write(tmp_path, "team.toml", data))
    assert loaded.lineup == (3, 4, 5, 6, 8)
    assert loaded.zone_places is not None and loaded.zone_places.model_dump() == places


def test_shots_of_a_player_are_counts_a_table_or_nothing(tmp_path: Path) -> None:
    (tmp_path / "shots.csv").write_text(SHOTS)
    first, second, third, *_ = load_team(write(tmp_path, "team.toml", team())).players
    assert first.rim == (20, 40) and first.three == (10, 30) and first.shot_table is None
    assert second.shot_table is not None and second.shot_table.make == (0.6, 0.33, 0.01)
    assert second.rim is None and third.rim is None and third.shot_table is None


def test_shot_table_tolerates_byte_order_mark_comments_and_column_order(tmp_path: Path) -> None:
    text = "\ufeff# a comment\n\nmake, distance_m ,contest_logit_per_m\n0.6,0,0.5\n# between\n0.02,15,0.2\n"
    path = tmp_path / "mine.csv"
    path.write_text(text, encoding="utf-8")
    table = load_shot_table(path)
    assert table.name == "mine" and table.distance_m == (0.0, 15.0) and table.make == (0.6, 0.02)


def test_byte_order_mark_in_toml(tmp_path: Path) -> None:
    path = tmp_path / "zone.toml"
    path.write_text("\ufeff" + toml_text(zone()), encoding="utf-8")
    assert load_zone(path).name == "zone"


def test_rules_changes_may_be_nested_tables(tmp_path: Path) -> None:
    write_all(tmp_path)
    data = scenario() | {"rules_changes": {"clock": {"shot_s": 30, "backcourt_s": 0}, "court.width_m": 16}}
    rules = load_scenario(write(tmp_path, "scenario.toml", data)).rules
    assert (rules.clock.shot_s, rules.clock.backcourt_s, rules.court.width_m) == (30.0, 0.0, 16.0)


def test_constants_are_overridden_inside_their_range_or_beyond_it_on_request(tmp_path: Path) -> None:
    write_all(tmp_path)
    known = load_constants().items()
    name, constant = next((k, c) for k, c in known if c.low < c.high and hard_limits(k, c)[1] == float("inf"))
    data = scenario() | {"constants": {name: constant.high}}
    assert load_scenario(write(tmp_path, "scenario.toml", data)).constants[name] == constant.high
    data["constants"][name] = constant.high + 1
    with pytest.raises(InputError, match=f"constants.{name}"):
        load_scenario(write(tmp_path, "scenario.toml", data))
    data["beyond_range"] = True
    assert load_scenario(write(tmp_path, "scenario.toml", data)).constants[name] == constant.high + 1
    data["constants"][name] = float("inf")
    with pytest.raises(InputError, match="a finite number"):
        load_scenario(write(tmp_path, "scenario.toml", data))


def test_a_neighbour_comes_before_a_shipped_file_if_it_is_of_the_kind(tmp_path: Path) -> None:
    path = write_all(tmp_path)
    data = scenario()
    data["setting"] = [{"name": "one", "call": [{"call": "corner"}]}]
    write(tmp_path, "scenario.toml", data)
    assert load_scenario(path).settings[0].calls[0].title == "Trap at the corner"
    # a scenario may have the name of a call: the name then means the shipped call
    shipped = {**data["defence"], "zone": "two_three", "options": {}}  # the defence that call is written for
    moved = write(tmp_path, "corner.toml", data | {"defence": shipped})
    loaded = load_scenario(moved)
    assert loaded.settings[0].calls[0] == load_call("corner")
    # a path always means the neighbour
    data["setting"][0]["call"][0]["call"] = "./wing.toml"
    assert (
        load_scenario(write(tmp_path, "corner.toml", data)).settings[0].calls[0].title == "Trap at the wing"
    )


def test_shipped_files_are_found_from_any_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    by_name = load_rules("college")
    assert load_rules("configs/rules/college.toml") == by_name
    assert load_rules(str(configs_root() / "rules" / "college.toml")) == by_name
    assert check_path("configs/rules/college.toml")[0].startswith("configs/rules/college.toml: rule set ")
    assert [line.split(":")[0] for line in check_path("configs/rules")] == [
        f"configs/rules/{n}.toml" for n in ("college", "high_school", "international", "professional")
    ]


def test_a_folder_configs_of_ones_own_is_told_and_changes_no_evening(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Sheets name shipped files, which lie where the program is, whatever lies where it is started."""
    shipped = configs_root() / "sheets" / "example_evening"
    before = config_hash(load_evening(shipped).scenario)
    mine = tmp_path / "configs" / "rules" / "high_school.toml"
    mine.parent.mkdir(parents=True)
    shutil.copy(configs_root() / "rules" / "high_school.toml", mine)
    monkeypatch.chdir(tmp_path)
    assert in_place_of_shipped(Path("configs/rules/high_school.toml")) is None  # the same words
    mine.write_text(mine.read_text().replace("personal_limit = 5", "personal_limit = 4"))
    assert in_place_of_shipped(mine) == "configs/rules/high_school.toml"
    assert load_rules("configs/rules/high_school.toml").fouls.personal_limit == 4
    assert config_hash(load_evening(shipped).scenario) == before
    demo = tmp_path / "configs" / "scenarios" / "friday_night.toml"
    demo.parent.mkdir()
    demo.write_text((configs_root() / "scenarios" / "friday_night.toml").read_text() + "# mine\n")
    assert cli.run(["compare", "configs/scenarios/friday_night.toml", "-n", "20"]) == 0
    told = "configs/scenarios/friday_night.toml of this folder is read, not the installed one, which differs"
    assert told in capsys.readouterr().err


def test_relative_paths_are_shown_as_the_user_wrote_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "mine").mkdir()
    write_all(tmp_path / "mine")
    write(tmp_path / "mine", "team.toml", team() | {"colour": "red"})
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError) as told:
        load_scenario("mine/scenario.toml")
    assert str(told.value).startswith("mine/team.toml: unknown key colour; ")


def test_check_tells_the_kind_from_the_keys(tmp_path: Path) -> None:
    write_all(tmp_path)
    lines = [line for line in check_path(tmp_path) if not line.startswith("  ")]
    meanings = {Path(line.split(": ")[0]).name: line.split(": ", 1)[1] for line in lines}
    assert meanings["team.toml"] == 'team "Team of the tests", 6 players, 1.74 to 1.90 m'
    assert meanings["shots.csv"] == 'shot table "shots", 3 distances to 16 m, make 1% to 60%'
    assert meanings["play.toml"] == 'play "Play of the tests", against a zone and man-to-man, 3 steps'
    assert meanings["zone.toml"] == 'defence "Zone of the tests", 1 row, 1 option'
    assert meanings["corner.toml"] == (
        'trap call "Trap at the corner", near guard and near forward double the ball (corner), '
        "50% of its chances"
    )
    assert meanings["alignment.toml"].startswith('alignment "Alignment of the tests", 1 row, roles point,')
    assert meanings["scenario.toml"].endswith('100 possessions, settings: "corner", "both"')


def test_hash_is_the_canonical_json_and_ignores_where_the_files_lie(tmp_path: Path) -> None:
    (tmp_path / "one").mkdir()
    first = load_scenario(write_all(tmp_path / "one"))
    shutil.copytree(tmp_path / "one", tmp_path / "two")
    second = load_scenario(tmp_path / "two" / "scenario.toml")
    assert first.path != second.path and config_hash(first) == config_hash(second)
    data = first.model_dump(mode="json", exclude={"path", "files", "published", "assumed"})
    text = json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert config_hash(first) == hashlib.sha256(text.encode()).hexdigest()
    # writing 35 as 35.0 changes nothing; any other number does
    same = scenario() | {"rules_changes": {"clock.shot_s": 35.0}}
    assert config_hash(load_scenario(write(tmp_path / "two", "scenario.toml", same))) == config_hash(first)
    other = scenario() | {"rules_changes": {"clock.shot_s": 34.5}}
    assert config_hash(load_scenario(write(tmp_path / "two", "scenario.toml", other))) != config_hash(first)


def test_objects_are_frozen(tmp_path: Path) -> None:
    loaded = load_scenario(write_all(tmp_path))
    with pytest.raises(ValidationError):
        loaded.seed = 2  # type: ignore[misc]
    with pytest.raises(ValidationError):
        loaded.offence_team.players[0].height_m = 3.0  # type: ignore[misc]


def test_a_value_is_told_in_one_line_whatever_is_in_it() -> None:
    told = str(InputError("file.toml", "name", {"\x1f": 0, "a\u2028": ["\x7f", "x"]}, "text"))
    assert told.isprintable() and '{\\x1f = 0, a\\u2028 = ["\\x7f", "x"]} is not allowed' in told
