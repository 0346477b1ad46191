"""Designs of sweeps: what a file may say, which points it means, and the arrays of a point."""

from __future__ import annotations

import copy
import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import qmc
from sweep_designs import CORNER, REACTION, design, one_path, written

from engine.checks.files import check_path
from engine.errors import InputError
from engine.inputs import configs_root
from engine.inputs.files import shipped
from engine.study.sweep.design import load_design
from engine.study.sweep.paths import joined, split
from engine.study.sweep.resolve import Resolver

SPEED = {"path": "constants.pass_speed_direct_mps", "low": 8.0, "high": 13.0}


def table(folder: Path, rows: list[list[Any]]) -> Path:
    with (folder / "points.csv").open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows(rows)
    return of_table(folder)


def of_table(folder: Path) -> Path:
    return written(folder, design(design={"method": "table", "file": "points.csv"}, factor=[]))


def refused(path: Path, *pieces: str) -> None:
    with pytest.raises(InputError) as caught:
        load_design(path)
    line = str(caught.value)
    assert len(line.splitlines()) == 1
    for piece in (path.name, *pieces):
        assert piece in line, line


# --- the points -----------------------------------------------------------------------------------------


def test_a_grid_has_every_combination_the_last_factor_fastest(tmp_path: Path) -> None:
    factors = [
        {"path": "constants.reaction_s", "low": 0.2, "high": 0.5, "steps": 4},
        {"path": "constants.trap_foul_rate_per_s", "low": 0.01, "high": 0.1, "steps": 3, "scale": "log"},
        {"path": "game.team_fouls", "low": 0, "high": 3, "steps": 7, "whole": True},
        {"path": "defence.options.bring_up", "values": ["wait", "extend"]},
    ]
    found = load_design(written(tmp_path, design(factor=factors)))
    assert len(found.points) == 4 * 3 * 4 * 2
    columns = [[point[f["path"]] for point in found.points] for f in factors]
    assert sorted(set(columns[0])) == pytest.approx([0.2, 0.3, 0.4, 0.5])
    assert sorted(set(columns[1])) == pytest.approx([0.01, 10**-1.5, 0.1])
    assert sorted(set(columns[2])) == [0, 1, 2, 3] and all(type(v) is int for v in columns[2])
    assert columns[3][:4] == ["wait", "extend", "wait", "extend"]
    assert len({tuple(point.values()) for point in found.points}) == len(found.points)
    assert found.settings[0] == "home" and len(found.settings) == 6
    assert (found.possessions, found.batch, found.seed, found.luck) == (2000, 1000, 1, "common")


def test_a_latin_hypercube_has_one_point_in_every_slice(tmp_path: Path) -> None:
    n = 20
    data = design(design={"method": "latin_hypercube", "points": n, "seed": 3}, factor=[REACTION, SPEED])
    found = load_design(written(tmp_path, data))
    for low, high, path in ((0.2, 0.5, REACTION["path"]), (8.0, 13.0, SPEED["path"])):
        places = [(float(point[str(path)]) - low) / (high - low) * n for point in found.points]
        assert sorted(int(place) for place in places) == list(range(n))
    again = load_design(written(tmp_path, data))
    assert again.points == found.points and again.digest == found.digest
    other = copy.deepcopy(data)
    other["design"]["seed"] = 4
    assert load_design(written(tmp_path, other)).points != found.points


def test_a_sobol_design_is_balanced_and_spreads_better_than_chance(tmp_path: Path) -> None:
    whole = {"path": "game.team_fouls", "low": 0, "high": 7, "whole": True}
    names = {"path": "defence.options.bring_up", "values": ["wait", "extend"]}
    log = {"path": "constants.trap_foul_rate_per_s", "low": 0.01, "high": 0.1, "scale": "log"}
    factors = [REACTION, SPEED, whole, names, log]
    data = design(design={"method": "sobol", "points": 64}, factor=factors, seed=9)
    found = load_design(written(tmp_path, data))
    unit = np.array([[(point[REACTION["path"]] - 0.2) / 0.3, (point[SPEED["path"]] - 8) / 5]  # type: ignore[operator]
                     for point in found.points])  # fmt: skip
    for column in unit.T:  # a (t, m, s)-net: one point in every interval of 1/64
        assert sorted((column * 64).astype(int)) == list(range(64))
    chance = np.random.default_rng(1).random((64, 2))
    assert qmc.discrepancy(unit) < 0.5 * qmc.discrepancy(chance)
    fouls = [point["game.team_fouls"] for point in found.points]
    assert {value: fouls.count(value) for value in range(8)} == dict.fromkeys(range(8), 8)
    assert [point["defence.options.bring_up"] for point in found.points].count("wait") == 32
    rates = np.array([point["constants.trap_foul_rate_per_s"] for point in found.points], dtype=float)
    assert (rates < 10**-1.5).sum() == 32  # half of them below the middle of the scale


def test_a_table_gives_its_own_points_in_its_order(tmp_path: Path) -> None:
    call = "setting.wing trap, now and then.call.wing.probability"
    rows = [
        [call, "game.team_fouls", "defence.options.bring_up"],
        [0.25, 6, "wait"],
        [1, 0, "extend"],
        ["# a remark", "", ""],
    ]
    path = table(tmp_path, rows)
    found = load_design(path)
    assert found.points == (
        {call: 0.25, "game.team_fouls": 6, "defence.options.bring_up": "wait"},
        {call: 1, "game.team_fouls": 0, "defence.options.bring_up": "extend"},
    )
    assert [(f.low, f.high) for f in found.factors] == [(0.25, 1.0), (0.0, 6.0), (None, None)]
    resolver = Resolver(found)
    assert resolver.scenario(0).settings[2].calls[0].probability == 0.25
    assert resolver.scenario(1).game.team_fouls == 0


def test_the_digest_holds_the_inputs_and_not_the_possessions(tmp_path: Path) -> None:
    base = load_design(written(tmp_path, design()))
    assert load_design(written(tmp_path, design(possessions=9000, title="another"))).digest == base.digest
    for more in (
        {"seed": 2},
        {"luck": "independent"},
        {"batch": 500},
        {"settings": ["corner trap"]},
        {"scenario": "configs/scenarios/level_school.toml"},
        {"factor": [{**REACTION, "steps": 3}]},
    ):
        assert load_design(written(tmp_path, design(**more))).digest != base.digest, more


def test_the_digest_sees_what_only_a_value_names(tmp_path: Path) -> None:
    """The contents of a file that no scenario but one of the points' names."""
    text = (configs_root() / "teams" / "millbrook_row.toml").read_text(encoding="utf-8")
    digests = []
    for speed in ("6.0", "6.01"):
        other = text.replace("top_speed_mps = ", f"top_speed_mps = {speed} # ", 1)
        assert other != text
        (tmp_path / "other.toml").write_text(other, encoding="utf-8")
        place = str(tmp_path / "other.toml")
        digests.append(one_path(tmp_path, "defence.team", ["millbrook_row", place]).digest)
    assert digests[0] != digests[1]


def test_luck_says_which_possessions_a_point_plays(tmp_path: Path) -> None:
    common = load_design(written(tmp_path, design()))
    own = load_design(written(tmp_path, design(luck="independent")))
    assert [common.offset(i) for i in range(3)] == [0, 0, 0]
    assert [own.offset(i) for i in range(3)] == [0, 2**30, 2**31]


def test_names_with_dots_are_quoted() -> None:
    for parts in (["constants", "reaction_s"], ["setting", "a.b", "call", "x", "probability"], ["a b, c"]):
        assert split(joined(parts)) == parts
    for bad in ("", ".", "a.", ".a", "a..b", 'a."b', 'a."b"c', "a. .b"):
        assert split(bad) == []


# --- what is refused ------------------------------------------------------------------------------------

BAD_PATHS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("constants.reaction", ("nearest 'constants.reaction_s'",)),
    ("constant.reaction_s", ("starts with one of constants", "nearest 'constants.reaction_s'")),
    ("game.traps", ("nearest 'game.traps_seen'",)),
    ("rules.clock.shot", ("nearest 'rules.clock.shot_s'",)),
    ("rules.sources.clock", ("a value of the scenario's files",)),
    ("setting.korner trap.call.corner.probability", ("nearest 'corner trap'",)),
    ("setting.corner trap.call.wing.probability", ("one of the calls corner",)),
    (
        "setting.corner trap.call.corner.probabilty",
        ("nearest 'setting.corner trap.call.corner.probability'",),
    ),
    ("offence.player.99.handle", ("nearest 'offence.player.",)),
    ("offence.player.3.handel", ("nearest 'offence.player.3.handle'",)),
    ("defence.options.bringup", ("bring_up",)),
    ("zone.row.99.centre.toward_ball", ("nearest 'zone.row.",)),
    ("call.wings.probability", ("nearest 'wing'",)),
    ("shots.99.make", ("nearest 'shots.",)),
    ("seed", ("a value that a possession depends on",)),
    ("possessions", ("keys of the design itself",)),
    ("constants..reaction_s", ("names joined by dots",)),
)


@pytest.mark.parametrize(("path", "pieces"), BAD_PATHS, ids=[path for path, _ in BAD_PATHS])
def test_a_path_that_leads_nowhere_is_told_with_the_nearest(
    path: str, pieces: tuple[str, ...], tmp_path: Path
) -> None:
    data = design(factor=[{**REACTION, "steps": 2}, {"path": path, "values": [0.5, 1.0]}])
    refused(written(tmp_path, data), "factor[2]", path, *pieces)


GRID = {**REACTION, "steps": 3}
BALANCED = {"method": "random_balance", "points": 20}
BAD: tuple[tuple[dict[str, Any], tuple[str, ...]], ...] = (
    ({"factor": []}, ("factor is missing",)),
    ({"factor": [{**GRID, "low": 0.1}]}, ("factor[1].low (constants.reaction_s)", "0.1", "from 0.2 to 0.5")),
    ({"factor": [{**GRID, "high": 0.7}]}, ("factor[1].high", "0.7", "from 0.2 to 0.5")),
    ({"factor": [{**GRID, "low": 0.5, "high": 0.2}]}, ("factor[1].low", "below high (0.2)")),
    ({"factor": [REACTION]}, ("factor[1].steps is missing",)),
    ({"factor": [{**GRID, "values": [0.3]}]}, ("factor[1].low", "values, or low and high")),
    ({"factor": [{"path": "constants.reaction_s"}]}, ("factor[1].low is missing",)),
    ({"factor": [{"path": "constants.reaction_s", "values": []}]}, ("at least one value",)),
    ({"factor": [{"path": "constants.reaction_s", "values": [0.3, 0.3]}]}, ("values[2]", "once")),
    ({"factor": [{"path": "constants.reaction_s", "values": [[0.3]]}]}, ("values[1]", "a finite number")),
    ({"factor": [{"path": "constants.reaction_s", "values": [0.3, float("inf")]}]}, ("values[2]", "finite")),
    ({"factor": [{"path": "constants.reaction_s", "values": [0.3, "fast"]}]}, ("values[2]", "'fast'", "0.5")),
    ({"factor": [{**GRID, "scale": "lin"}]}, ("factor[1].scale", "linear, log")),
    ({"factor": [{**GRID, "whole": True}]}, ("factor[1].low", "whole number")),
    ({"factor": [GRID, GRID]}, ("factor[2].path", "once")),
    ({"factor": [{"path": "game.team_fouls", "low": 0.5, "high": 3, "steps": 2}]}, ("0.5", "whole number")),
    ({"factor": [{"path": "game.team_fouls", "low": 0, "high": 3, "steps": 2, "scale": "log"}]},
     ("above 0",)),
    ({"factor": [{"path": "defence.options.bring_up", "values": ["run"]}]}, ("values[1]", "'run'", "extend")),
    ({"factor": [{"path": "defence.zone", "values": ["three_too"]}]}, ("'three_too'", "three_two")),
    (
        {"factor": [{"path": "defence.zone", "values": ["two_three"]},
                    {"path": "zone.row.1.centre.toward_ball", "values": [0.1, 0.2]}]},
        ("not together with defence.zone",),
    ),
    ({"factor": [{"path": "call.corner.source", "values": [1]}]}, ("factor[1].values[1]", "text")),
    ({"design": {"method": "halton"}}, ("design.method", "halton", "sobol")),
    ({"design": {"method": "grid", "points": 3}}, ("design.points", "grid")),
    ({"design": {"method": "sobol"}, "factor": [REACTION]}, ("design.points is missing",)),
    ({"design": {"method": "sobol", "points": 100}, "factor": [REACTION]}, ("100", "64 or 128")),
    ({"design": {"method": "latin_hypercube", "points": 0}, "factor": [REACTION]}, ("design.points", "0")),
    ({"design": {"method": "latin_hypercube", "points": 4}}, ("factor[1].steps", "grid")),
    ({"design": BALANCED, "factor": [REACTION]}, ("factor[1].own", "own where method is random_balance")),
    ({"design": BALANCED, "factor": [{**REACTION, "own": 0.6}]}, ("factor[1].own", "0.6", "0.2", "0.5")),
    ({"design": BALANCED, "factor": [{"path": "constants.reaction_s", "values": [0.3], "own": 0.3}]},
     ("factor[1].own", "low, high and own")),
    ({"factor": [{**GRID, "own": 0.3}]}, ("factor[1].own", "only there")),
    ({"design": {"method": "grid", "moved": 0.1}}, ("design.moved", "random_balance")),
    ({"design": {**BALANCED, "moved": 1.5}, "factor": [REACTION]}, ("design.moved", "1.5")),
    ({"factor": [{**GRID, "names": ["reaction_s"]}]}, ("factor[1].names", "constants.* alone")),
    ({"design": BALANCED, "factor": [{"path": "constants.*", "names": ["reaction"]}]},
     ("factor[1].names[1]", "nearest 'reaction_s'")),
    ({"design": BALANCED, "factor": [{"path": "constants.*", "names": ["reaction_s", "reaction_s"]}]},
     ("factor[1].names[2]", "once")),
    ({"design": {"method": "table"}, "factor": []}, ("design.file is missing",)),
    ({"design": {"method": "table", "file": "none.csv"}, "factor": []}, ("none.csv", "exists")),
    ({"factor": [{**GRID, "steps": 200_000}, {**SPEED, "steps": 200}]}, ("combinations", "262144")),
    ({"scenario": "fryday_night"}, ("scenario", "friday_night")),
    ({"settings": ["corner traps"]}, ("settings[1]", "nearest 'corner trap'")),
    ({"settings": ["corner trap", "corner trap"]}, ("settings[2]", "once")),
    (
        {"settings": ["home"], "factor": [{"path": f"{CORNER}.probability", "values": [0.1, 0.2]}]},
        ("factor[1].path", "a setting that the design plays"),
    ),
    ({"luck": "bad"}, ("luck", "common, independent")),
    ({"possessions": 0}, ("possessions", "from 1")),
    ({"batch": 0}, ("batch", "from 1")),
    ({"effort": {"rule": "width"}}, ("effort.half_width is missing",)),
    ({"effort": {"rule": "width", "half_width": 0.01, "least": 9, "most": 3}}, ("effort.least", "most (3)")),
    ({"effort": {"rule": "best", "setting": "corner trap"}}, ("effort.total is missing",)),
    ({"effort": {"rule": "best", "setting": "corner trap", "total": 100}}, ("2000 x 2 = 4000",)),
    ({"effort": {"rule": "best", "total": 10_000}}, ("effort.setting is missing", '"corner trap"')),
    ({"effort": {"rule": "width", "half_width": 0.1, "setting": "home"}}, ("effort.setting", "home")),
    ({"effort": {"rule": "width", "half_width": 0.1, "setting": "no"}}, ("effort.setting", "'no'")),
    ({"effort": {"rule": "width", "half_width": 0.1}, "settings": ["home"]}, ("effort.quantity",)),
    ({"efort": {}}, ("unknown key efort", "nearest 'effort'")),
)  # fmt: skip


@pytest.mark.parametrize(("more", "pieces"), BAD)
def test_a_bad_design_is_refused_in_one_line(
    more: dict[str, Any], pieces: tuple[str, ...], tmp_path: Path
) -> None:
    refused(written(tmp_path, design(**more)), *pieces)


def test_a_value_that_something_else_overrides_is_refused(tmp_path: Path) -> None:
    text = (configs_root() / "scenarios" / "friday_night.toml").read_text(encoding="utf-8")
    changed = text.replace('call = "top"', 'call = "top"\nprobability = 0.7')
    assert changed != text
    (tmp_path / "own.toml").write_text(changed, encoding="utf-8")
    factor = {"path": "call.top.probability", "values": [0.2, 0.8]}
    refused(written(tmp_path, design(scenario="own.toml", factor=[factor])), "changes something")


BAD_TABLES: tuple[tuple[list[list[Any]], tuple[str, ...]], ...] = (
    ([["constants.reaction_s"], [0.3], [0.9]], ("line 3 (constants.reaction_s)", "0.9", "0.5")),
    ([["constants.reaction"], [0.3], [0.4]], ("column 1", "nearest 'constants.reaction_s'")),
    ([["constants.reaction_s", "game.team_fouls"], [0.3, 1], [0.3]], ("line 3", "2 values")),
    ([["constants.reaction_s", "constants.reaction_s"], [0.3, 0.3]], ("line 1", "once")),
    ([["constants.reaction_s", "game.team_fouls"], [0.3, ""]], ("line 2.game.team_fouls", "''")),
    ([["constants.reaction_s"], ["nan"]], ("line 2", "finite")),
    ([["constants.reaction_s"], ["1e999"]], ("line 2", "finite")),
    ([["constants.reaction_s"], ["9" * 40]], ("line 2", "finite")),
    ([["constants.reaction_s"]], ("without points",)),
    ([["defence.options.bring_up"], ["extend"], ["wiat"]], ("line 3", "'wiat'", "wait")),
)


@pytest.mark.parametrize(("rows", "pieces"), BAD_TABLES)
def test_a_bad_table_is_refused_by_its_line(
    rows: list[list[Any]], pieces: tuple[str, ...], tmp_path: Path
) -> None:
    with pytest.raises(InputError) as caught:
        load_design(table(tmp_path, rows))
    line = str(caught.value)
    assert len(line.splitlines()) == 1
    for piece in ("points.csv", *pieces):
        assert piece in line, line


def test_values_that_do_not_go_together_fail_at_their_point_alone(tmp_path: Path) -> None:
    factors = [
        {"path": "rules.three_point.arc_radius_m", "values": [6.65, 6.75]},
        {"path": "rules.three_point.corner_line_from_rim_m", "values": [6.6, 6.7]},
    ]
    found = load_design(written(tmp_path, design(factor=factors)))
    resolver = Resolver(found)
    for ask in (resolver.scenario, resolver.packed):
        for good in (0, 2, 3):
            ask(good)
        with pytest.raises(InputError) as caught:
            ask(1)
        line = str(caught.value)
        assert len(line.splitlines()) == 1
        told = "point 2 (rules.three_point.arc_radius_m)"
        for piece in ("sweep.toml", told, "6.65", "rules.three_point.corner_line_from_rim_m = 6.7"):
            assert piece in line, line


def test_check_says_what_a_design_means() -> None:
    lines = check_path("configs/sweeps")
    assert len(lines) == len(shipped("sweeps")) + 1
    text = "\n".join(lines)
    for piece in (
        "24 points, grid over constants.reaction_s",
        "256 points, sobol over",
        "8 points, table over",
        "8 points of a sweep, columns setting.wing trap, now and then.call.wing.probability",
    ):
        assert piece in text, text


def test_nothing_of_a_file_behind_a_link_is_quoted(tmp_path: Path) -> None:
    for name, text, line in (
        ("link.toml", "secret:0\n", "line 1"),
        ("points.csv", "a, b\nsecret\n", "line 2"),
    ):
        (tmp_path / "other").write_text(text)
        (tmp_path / name).symlink_to(tmp_path / "other")
        with pytest.raises(InputError) as caught:
            load_design(tmp_path / name) if name == "link.toml" else load_design(of_table(tmp_path))
        assert line in str(caught.value) and "links to" in str(caught.value)
        assert "secret" not in str(caught.value)
