"""Points of sweeps as scenarios and arrays: the quick way is the files' way, to the bit."""

from __future__ import annotations

import copy
import pickle
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sweep_designs import CORNER, REACTION, design, one_path, written

from engine.inputs import config_hash, configs_root, load_scenario
from engine.inputs.files import shipped
from engine.study.sweep.design import Design, load_design
from engine.study.sweep.resolve import Resolver
from engine.world.pack import Packed, pack


def worlds(packed: Packed) -> list[tuple[str, np.ndarray]]:
    found = [("home", np.asarray(packed.home))]
    for one in packed.settings:
        found.append((one.name, np.asarray(one.world)))
        if one.base is not None:
            found.append((f"base of {one.name}", np.asarray(one.base)))
    return found


def values_of(array: np.ndarray, name: str = "") -> list[tuple[str, bytes]]:
    """Every field and its bytes; the gaps between fields belong to nobody."""
    if array.dtype.names is None:
        return [(name, np.ascontiguousarray(array).tobytes())]
    return [pair for field in array.dtype.names for pair in values_of(array[field], f"{name}.{field}")]


def same_arrays(one: Packed, other: Packed) -> None:
    assert one.spots == other.spots
    assert [(s.name, s.calls, s.watched) for s in one.settings] == [
        (s.name, s.calls, s.watched) for s in other.settings
    ]
    for (name, mine), (other_name, theirs) in zip(worlds(one), worlds(other), strict=True):
        assert name == other_name
        for (field, a), (_, b) in zip(values_of(mine), values_of(theirs), strict=True):
            assert a == b, f"{name}{field}"


QUICK: tuple[tuple[str, list[Any]], ...] = (
    ("constants.reaction_s", [0.2, 0.45]),
    ("constants.time_step_s", [0.05, 0.1]),
    ("constants.slide_speed_share", [0.5, 0.65]),
    ("constants.shot_prior_attempts", [20, 60]),
    ("constants.typical_gap_three_m", [1.5, 2.5]),
    ("game.team_fouls", [0, 9]),
    ("game.traps_seen", [0, 5]),
    ("game.possession_arrow", ["offence", "defence"]),
    ("rules.clock.shot_s", [24, 30.5]),
    ("rules.clock.closely_guarded_while_dribbling", [True, False]),
    ("rules.fouls.bonus_from_team_foul", [3, 7]),
    ("rules.time_out.trapped_player_may_call", [True, False]),
    ("rules.court.width_m", [14.6, 15.4]),
    ("rules.three_point.arc_radius_m", [6.7, 7.2]),
    ("rules.no_charge.radius_m", [0.0, 1.25]),
    (f"{CORNER}.probability", [0.1, 0.9]),
    (f"{CORNER}.held_s", [0.5, 2.0]),
    (f"{CORNER}.disguise_s", [0.0, 1.5]),
    (f"{CORNER}.give_up_s", [1.0, 5.0]),
    (f"{CORNER}.budget", [1, 9]),
    ("setting.corner and short corner together.call.2.probability", [0.3, 1.0]),
    ("offence.player.3.height_m", [1.7, 1.95]),
    ("offence.player.11.top_speed_mps", [5.5, 7.0]),
    ("offence.player.3.free_throw", [0.5, 0.8]),
    ("defence.player.{defender}.discipline", [0.1, 0.9]),
    ("defence.player.{defender}.top_speed_mps", [5.5, 7.0]),
)
WHOLE: tuple[tuple[str, list[Any]], ...] = (
    ("constants.rim_range_m", [1.2, 1.8]),  # a level's shots change with both borders
    ("constants.middle_range_m", [5.0, 7.0]),
    ("start", ["bring_up", "frontcourt"]),
    ("rules", ["international", "college"]),
    ("level", ["school", "college"]),
    ("shot_table", ["school", "professional_men"]),
    ("defence.zone", ["two_three", "two_three_match_up"]),
    ("defence.options.bring_up", ["wait", "extend"]),
    ("defence.team", ["millbrook_row", "average_school"]),
    ("offence.team", ["average_school", "average_college"]),
    ("offence.alignment", ["overload", "high_post_short_corner"]),
    ("offence.player.3.rim.1", [10, 30]),
    ("offence.player.3.position", [1, 2]),
    ("zone.row.1.centre.toward_ball", [0.0, 0.4]),
    ("zone.bump_role", ["near_guard", "far_guard"]),
    ("call.corner.cover.centre.man_within_m", [2.0, 4.0]),
    ("setting.corner trap.options.corner_near_guard", ["sink", "deny"]),
    (f"{CORNER}.triggers", ["in_air", "catch"]),
    (f"{CORNER}.way_back", ["shell", "trappers_last"]),
    ("alignment.row.1.point", ["top", "slot"]),
    ("shots.3.make", [0.4, 0.45]),
    ("level.shots.rim_logit.value", [-0.3, 0.2]),
)


def a_defender() -> int:
    return load_scenario("friday_night").defence_team.on_court[2].number


def same_both_ways(found: Design) -> Resolver:
    resolver = Resolver(found)
    hashes = set()
    for i in range(len(found.points)):
        whole = found.scenario(i)
        assert config_hash(resolver.scenario(i)) == config_hash(whole)
        assert resolver.scenario(i) == whole.model_copy(update={"files": resolver.scenario(i).files})
        for _ in range(2):  # what was given away first is no part of what comes next
            packed = resolver.packed(i)
            same_arrays(packed, pack(whole))
            for _, world in worlds(packed):
                world.view(np.uint8)[:] = 255
        hashes.add(config_hash(whole))
    assert len(hashes) == len(found.points)
    return resolver


@pytest.mark.parametrize(("path", "values"), QUICK, ids=[path for path, _ in QUICK])
def test_the_quick_way_gives_the_scenario_and_arrays_of_the_files(
    path: str, values: list[Any], tmp_path: Path
) -> None:
    found = one_path(tmp_path, path.format(defender=a_defender()), values)
    resolver = same_both_ways(found)
    assert all(resolver.is_quick(address) for address in found.addresses.values())


@pytest.mark.parametrize(("path", "values"), WHOLE, ids=[path for path, _ in WHOLE])
def test_every_other_value_is_loaded_and_packed_as_files_are(
    path: str, values: list[Any], tmp_path: Path
) -> None:
    scenario = "level_school" if path == "defence.zone" else "friday_night"  # its calls fit one defence
    found = one_path(tmp_path, path, values, scenario)
    resolver = same_both_ways(found)
    assert not any(resolver.is_quick(address) for address in found.addresses.values())


def test_quick_values_over_loaded_ones_and_all_kinds_at_once(tmp_path: Path) -> None:
    factors = [
        {"path": "constants.reaction_s", "low": 0.2, "high": 0.5},
        {"path": "constants.shot_prior_attempts", "low": 20, "high": 60},
        {"path": "game.traps_seen", "low": 0, "high": 8, "whole": True},
        {"path": "rules.clock.shot_s", "low": 20.0, "high": 30.0},
        {"path": f"{CORNER}.probability", "low": 0.1, "high": 1.0},
        {"path": "setting.corner and short corner together.call.corner.give_up_s", "low": 1.0, "high": 5.0},
        {"path": "offence.player.3.handle", "low": 0.2, "high": 0.9},
        {"path": f"defence.player.{a_defender()}.height_m", "low": 1.7, "high": 2.0},
        {"path": "defence.options.bring_up", "values": ["wait", "extend"]},
        {"path": "rules", "values": ["international", "high_school"]},
        {"path": "level", "values": ["school", "college"]},
    ]
    for chosen in (factors[:8], factors):
        data = design(design={"method": "latin_hypercube", "points": 10}, factor=chosen)
        same_both_ways(load_design(written(tmp_path, data)))


def test_a_setting_with_its_own_defence_follows_too(tmp_path: Path) -> None:
    """Its own world without calls has the same constants, rules and players, in other places."""
    text = (configs_root() / "scenarios" / "friday_night.toml").read_text(encoding="utf-8")
    text += '\n[[setting]]\nname = "man to man"\nzone = "man_to_man"\n'
    text += '[[setting.call]]\ncall = "man_to_man_corner"\n'
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    call = "setting.man to man.call.man_to_man_corner.probability"
    factors = [
        REACTION,
        {"path": "constants.typical_gap_rim_m", "low": 0.6, "high": 1.0},
        {"path": "rules.clock.shot_s", "low": 20.0, "high": 30.0},
        {"path": f"defence.player.{a_defender()}.top_speed_mps", "low": 5.0, "high": 7.0},
        {"path": call, "low": 0.1, "high": 0.9},
    ]
    data = design(scenario="own.toml", design={"method": "latin_hypercube", "points": 4}, factor=factors)
    found = load_design(written(tmp_path, data))
    assert pack(found.opened.base).settings[-1].base is not None
    same_both_ways(found)


def test_one_team_on_both_sides_is_changed_on_one(tmp_path: Path) -> None:
    path = "offence.player.4.handle"
    found = one_path(tmp_path, path, [0.1, 0.9], scenario="level_school")
    resolver = same_both_ways(found)
    for i, value in enumerate((0.1, 0.9)):
        scenario = resolver.scenario(i)
        assert scenario.offence_team.by_number(4).handle == value
        assert scenario.defence_team == found.opened.base.defence_team


def test_files_changed_after_loading_play_no_part(tmp_path: Path) -> None:
    shutil.copy(configs_root() / "scenarios" / "friday_night.toml", tmp_path / "own.toml")
    shutil.copy(configs_root() / "teams" / "juniper_hill.toml", tmp_path / "juniper_hill.toml")
    data = design(
        scenario="own.toml",
        factor=[{"path": "offence.player.3.position", "values": [1, 2]}, {**REACTION, "steps": 2}],
    )
    found = load_design(written(tmp_path, data))
    before = [config_hash(found.scenario(i)) for i in range(4)]
    (tmp_path / "own.toml").write_text("broken", encoding="utf-8")
    (tmp_path / "juniper_hill.toml").unlink()
    assert [config_hash(found.scenario(i)) for i in range(4)] == before
    again = pickle.loads(pickle.dumps(found))  # for workers that have no files of the user
    assert [config_hash(again.scenario(i)) for i in range(4)] == before
    assert again.digest == found.digest
    same_both_ways(again)


def test_what_a_scenario_holds_is_not_changed_by_looking_at_points(tmp_path: Path) -> None:
    found = one_path(tmp_path, "zone.row.1.centre.toward_ball", [0.0, 0.4])
    held = found.opened.source.held
    assert held is not None
    before = copy.deepcopy((found.opened.data, held.tables))
    for i in (0, 1, 0):
        pack(found.scenario(i))
    assert (found.opened.data, held.tables) == before


#: Shipped sweeps that vary more than numbers of the packed arrays: calls, structure, shot tables.
EVERY = ("every_constant_morris", "every_constant_balance")
NOT_QUICK = ("call_share_table", "structure_grid", "plays_grid", *EVERY)


@pytest.mark.parametrize("name", [n for n in shipped("sweeps") if n not in NOT_QUICK])
def test_a_shipped_sweep_of_numbers_is_resolved_the_quick_way(name: str) -> None:
    found = load_design(name)
    resolver = Resolver(found)
    assert all(resolver.is_quick(address) for address in found.addresses.values())
    for i in range(0, len(found.points), 1 + len(found.points) // 4):
        same_arrays(resolver.packed(i), pack(found.scenario(i)))


def test_a_shot_table_of_its_own_does_not_follow_the_range_at_the_rim(tmp_path: Path) -> None:
    text = (configs_root() / "scenarios" / "friday_night.toml").read_text(encoding="utf-8")
    changed = text.replace('level = "school"', 'level = "school"\nshot_table = "school"')
    assert changed != text
    (tmp_path / "own.toml").write_text(changed, encoding="utf-8")
    found = one_path(tmp_path, "constants.rim_range_m", [1.2, 1.8], "own.toml")
    resolver = same_both_ways(found)
    assert all(resolver.is_quick(address) for address in found.addresses.values())
