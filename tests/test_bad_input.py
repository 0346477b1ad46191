"""Bad input: one line naming file, key, value and what is allowed, for every kind of file."""

from __future__ import annotations

import copy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from input_files import LOADERS, REGIONS, player, scenario, write, write_all

from engine.checks.files import check_path
from engine.errors import InputError
from engine.inputs import (
    configs_root,
    load_alignment,
    load_call,
    load_constants,
    load_rules,
    load_scenario,
    load_shot_table,
    load_team,
    load_zone,
)
from engine.state.words import Region


def _last(data: Any, key: str) -> tuple[Any, Any]:
    """What holds a key such as ``player/2/height_m``, and the key in it; lists count from 0."""
    *above, last = key.split("/")
    for part in above:
        data = data[int(part) if isinstance(data, list) else part]
    return data, int(last) if isinstance(data, list) else last


def put(data: Any, key: str, value: Any) -> None:
    """Set a value by a key such as ``player/2/height_m``."""
    holder, last = _last(data, key)
    holder[last] = value


def drop(data: Any, key: str) -> None:
    holder, last = _last(data, key)
    del holder[last]


def message(load: Callable[[Any], Any], path: Any) -> str:
    """The one line of the error; anything but an InputError of one printable line fails the test."""
    with pytest.raises(InputError) as told:
        load(path)
    text = str(told.value)
    assert len(text.splitlines()) == 1 and text.isprintable(), text
    return text


# kind, key to set, value, then every piece the line must hold (besides the file's name)
WRONG: list[tuple[str, str, Any, tuple[str, ...]]] = [
    # types: no text, no true/false, nothing infinite where a number is meant
    ("team", "player/2/handle", "good", ("player[3].handle", "'good'", "a number from 0 to 1")),
    ("team", "player/2/handle", True, ("player[3].handle", "true is", "a number from 0 to 1")),
    ("team", "player/2/handle", float("nan"), ("player[3].handle", "nan", "a number from 0 to 1")),
    ("team", "player/2/height_m", float("inf"), ("player[3].height_m", "inf", "metres")),
    ("team", "player/2/position", 2.5, ("player[3].position", "2.5", "a whole number from 1 to 5")),
    ("team", "player/0/name", 12, ("player[1].name", "12", "text")),
    ("team", "player/0/name", " ", ("player[1].name", "' '", "text of one line")),
    ("team", "player", 3, ("player", "3", "[[player]]")),
    ("team", "player/0", 3, ("player[1]", "3", "[[player]]")),
    # ranges
    ("team", "player/5/free_throw", 1.2, ("player[6].free_throw", "1.2", "a number from 0 to 1")),
    ("team", "player/0/height_m", 185, ("player[1].height_m", "185", "1.2 to 2.5", "metres")),
    ("team", "player/0/top_speed_mps", -1, ("player[1].top_speed_mps", "-1", "metres per second")),
    ("team", "player/0/position", 6, ("player[1].position", "6", "from 1 to 5")),
    ("team", "player/0/number", 100, ("player[1].number", "100", "from 0 to 99")),
    # players
    ("team", "player/3/number", 3, ("player[4].number", "3", "player[1] has it")),
    ("team", "player/3/name", "player 3", ("player[4].name", "'player 3'", "player[1] has it")),
    ("team", "player", [player(i, 1) for i in range(4)], ("player", "4 players", "at least 5 players")),
    ("team", "player/0/rim", [41, 40], ("player[1].rim", "[41, 40]", "made at most attempted")),
    ("team", "player/0/rim", [1], ("player[1].rim", "[1]", "[made, attempted]")),
    ("team", "player/0/rim", [-1, 4], ("player[1].rim[1]", "-1", "a whole number from 0")),
    ("team", "player/0/rim", [1.5, 4], ("player[1].rim[1]", "1.5", "a whole number from 0")),
    ("team", "player/1/rim", [1, 4], ("player[2].rim", "[1, 4]", "not both")),
    ("team", "player/1/shot_table", "nobody.csv", ("player[2].shot_table", "'nobody.csv'", "looked for")),
    ("team", "lineup", [3, 4, 5, 6, 99], ("lineup", "99", "3, 4, 5, 6, 7, 8")),
    ("team", "lineup", [3, 4, 5, 6, 6], ("lineup", "[3, 4, 5, 6, 6]", "five different shirt numbers")),
    ("team", "lineup", [3, 4, 5], ("lineup", "[3, 4, 5]", "five different shirt numbers")),
    (
        "team",
        "zone_places",
        {"left_guard": 3, "right_guard": 3, "left_forward": 5, "right_forward": 6, "centre": 7},
        ("zone_places.right_guard", "3", "each of the lineup once"),
    ),
    # slides
    ("zone", "row/0/ball", "cornr", ("row[1].ball", "'cornr'", "nearest 'corner'")),
    ("zone", "row/0/ball", [*REGIONS, "cornr"], ("row[1].ball[13]", "'cornr'", "nearest 'corner'")),
    ("zone", "row/0/ball", [r for r in REGIONS if r != "elbow"], ('ball = "elbow"', "is missing")),
    (
        "zone",
        "row/0/ball",
        [r for r in REGIONS if r != "wing"],
        ('ball = "wing"', "before_bump", "is missing"),
    ),
    ("zone", "row/0/moment", "bump", ("row[1].moment", "'bump'", "before_bump")),
    ("zone", "row/0/centre/job", "denny", ("row[1].centre.job", "'denny'", "nearest 'deny'")),
    ("zone", "row/0/centre/place", "wingg", ("row[1].centre.place", "'wingg'", "nearest 'wing'")),
    ("zone", "row/0/centre/place", [1, 2, 3], ("row[1].centre.place", "[1, 2, 3]", "two numbers")),
    ("zone", "row/0/centre/place", [1, "2"], ("row[1].centre.place[2]", "'2'", "a number")),
    ("zone", "row/0/centre/place", [1, 200.0], ("row[1].centre.place", "[1, 200.0]", "metres")),
    ("zone", "row/0/centre/place", 4, ("row[1].centre.place", "4", "a named spot")),
    ("zone", "row/0/centre/place", {"side": "near"}, ("row[1].centre.place", "either spot or at")),
    ("zone", "row/0/centre/side", "left", ("row[1].centre.side", "'left'", "near, far")),
    ("zone", "row/0/centre/shift", [99, 0], ("row[1].centre.shift", "[99, 0]", "metres")),
    ("zone", "row/0/near_guard/toward_ball", 1.5, ("row[1].near_guard.toward_ball", "1.5", "from 0 to 1")),
    ("zone", "row/0/centre/man_within_m", -1, ("row[1].centre.man_within_m", "-1", "from 0 to 15")),
    ("zone", "row/0/centre", "middle", ("row[1].centre", "'middle'", "a table")),
    ("zone", "row/0/option/0/option", "gard", ("row[1].option[1].option", "'gard'", "guard")),
    ("zone", "row/0/option/0/choice", "denny", ("row[1].option[1].choice", "'denny'", "nearest 'deny'")),
    ("zone", "row/0/option/0/role", "guard", ("row[1].option[1].role", "'guard'", "near_guard")),
    ("zone", "options/guard/use", "snk", ("options.guard.use", "'snk'", "nearest 'sink'")),
    ("zone", "options/guard/choices", ["sink"], ("options.guard.choices", "at least 2")),
    (
        "zone",
        "options/guard/choices",
        ["sink", "deny", "wait"],
        ("options.guard.choices", '["sink", "wait"]', "at most one choice without"),
    ),
    ("corner", "option", [], ("options.lob.choices", '["deep", "close"]', "at most one choice without")),
    ("zone", "roles/0", "goalkeeper", ("roles[2]", "'far_guard'", "near_guard is missing")),
    ("zone", "roles/1", "near_guard", ("roles[2]", "'near_guard'", "once")),
    ("zone", "bump_role", "guard", ("bump_role", "'guard'", "nearest 'far_guard'")),
    # alignments
    ("alignment", "roles/0", "post", ("roles[4]", "'post'", "five different role names")),
    ("alignment", "persons/point", 2, ("persons.point", "2", "once")),
    ("alignment", "persons/point", 6, ("persons.point", "6", "from 1 to 5")),
    ("alignment", "persons/centre", 1, ("persons", "'centre'", "left_wing")),
    ("alignment", "row/0/ball", list(REGIONS[1:]), ('ball = "backcourt"', "is missing")),
    ("alignment", "break/0/call", "rim", ('call = "default"', "is missing")),
    ("alignment", "break/1/call", ["default"], ("break[2].call", "'default'", "once")),
    ("alignment", "break/1/call", ["cornr"], ("break[2].call", "'cornr'", "nearest 'corner'")),
    # calls
    ("corner", "doubles", ["near_guard", "near_guard"], ("doubles[2]", "'near_guard'", "each role once")),
    ("corner", "doubles", ["near_guard", "centre"], ("cover.centre", "'centre'", "already doubles")),
    ("corner", "doubles", ["near_guard"], ("doubles", "exactly 2")),
    ("corner", "cover/centr", {"job": "deny", "place": [1, 2]}, ("cover", '"centr"]', "exactly three roles")),
    ("corner", "probability", 1.01, ("probability", "1.01", "a number from 0 to 1")),
    ("corner", "budget", -1, ("budget", "-1", "a whole number from 0")),
    ("corner", "budget", 2.0, ("budget", "2.0", "a whole number from 0")),
    ("corner", "disguise_s", -0.1, ("disguise_s", "-0.1", "seconds")),
    ("corner", "triggers", [], ("triggers", "[]", "at least 1")),
    ("corner", "triggers", ["cought"], ("triggers[1]", "'cought'", "in_air")),
    ("corner", "triggers", ["catch", "catch"], ("triggers[2]", "'catch'", "once")),
    ("corner", "way_back", "home", ("way_back", "'home'", "shell, trappers_last")),
    ("corner", "ball", ["corner", "roof"], ("ball[2]", "'roof'", "half_court_corner")),
    ("corner", "faces", "the stands", ("faces", "'the stands'", "a named spot")),
    # scenarios
    ("scenario", "possessions", 0, ("possessions", "0", "a whole number from 1")),
    ("scenario", "possessions", 1e3, ("possessions", "1000.0", "a whole number from 1")),
    ("scenario", "possessions", 10**9 + 1, ("possessions", "1000000001", "from 1 to 1000000000")),
    ("scenario", "seed", -1, ("seed", "-1", "from 0 to 18446744073709551615")),
    ("scenario", "seed", 2**64, ("seed", "65 bits", "up to 18446744073709551615")),
    ("scenario", "over_n", 0, ("over_n", "0", "a whole number from 1")),
    ("scenario", "start", "jump", ("start", "'jump'", "bring_up, frontcourt")),
    (
        "scenario",
        "rules",
        "colege",
        ("rules", "'colege'", "looked for", "nearest shipped rule set 'college'"),
    ),
    (
        "scenario",
        "offence/team",
        "nobody.toml",
        ("offence.team", "'nobody.toml'", "configs/teams/nobody.toml"),
    ),
    ("scenario", "defence/zone", "", ("defence.zone", "''", "text of one line")),
    ("scenario", "defence/options/guard", "denny", ("defence.options.guard", "'denny'", "nearest 'deny'")),
    ("scenario", "defence/options", {"gard": "deny"}, ("defence.options", "'gard'", "nearest 'guard'")),
    ("scenario", "game/team_fouls", -1, ("game.team_fouls", "-1", "a whole number from 0")),
    ("scenario", "game/possession_arrow", "us", ("game.possession_arrow", "'us'", "offence, defence, even")),
    (
        "scenario",
        "rules_changes",
        {"clock.shots": 3},
        ("rules_changes", "'clock.shots'", "nearest 'clock.shot_s'"),
    ),
    ("scenario", "rules_changes", {"clock.shot_s": -3}, ('rules_changes."clock.shot_s"', "-3", "seconds")),
    ("scenario", "rules_changes", {"name": "x"}, ("rules_changes", "'name'", "a key of the rule set")),
    ("scenario", "beyond_range", 1, ("beyond_range", "1", "true or false")),
    (
        "scenario",
        "setting/0/name",
        "home",
        ("setting[1].name", "'home'", "home is the defence without calls"),
    ),
    ("scenario", "setting/1/name", " Home", ("setting[2].name", "home is the defence without calls")),
    (
        "scenario",
        "setting/0/call",
        [{"call": "corner.toml"}] * 9,
        ("setting[1].call", "9 calls", "at most 8 calls"),
    ),
    ("scenario", "setting/1/name", "Corner", ("setting[2].name", "'Corner'", "setting[1] has it")),
    ("scenario", "setting/1/call/1/call", "corner.toml", ("setting[2].call[2].call", "one call per region")),
    (
        "scenario",
        "setting/0/call/0/call",
        "nope.toml",
        ("setting[1].call[1].call", "'nope.toml'", "looked for"),
    ),
    ("scenario", "setting/1/call/0/probability", 2, ("setting[2].call[1].probability", "2", "from 0 to 1")),
    ("scenario", "setting/1/call/0/budget", -2, ("setting[2].call[1].budget", "-2", "a whole number")),
    ("scenario", "setting/1/call/1/only_against", [44], ("setting[2].call[2].only_against", "44", "3, 4, 5")),
    ("scenario", "setting/1/call/1/triggers", "look", ("setting[2].call[2].triggers", "'look'", "in_air")),
    (
        "scenario",
        "setting/1/call/0/options",
        {"lob": "low"},
        ("setting[2].call[1].options.lob", "'low'", "deep"),
    ),
    ("scenario", "setting/1/call/0/options", {"x": "low"}, ("setting[2].call[1].options", "'x'", "lob")),
    ("scenario", "setting", {"name": "x"}, ("setting", "[[setting]]")),
    ("scenario", "constants", {"no_such_number": 1}, ("constants", "'no_such_number'", "a constant")),
]

UNKNOWN = [
    ("team", "player/2/hight_m", "player[3].hight_m", "nearest 'height_m'"),
    ("team", "nmae", "nmae", "nearest 'name'"),
    ("zone", "row/0/near_gard", "row[1].near_gard", "nearest 'near_guard'"),
    ("zone", "row/0/centre/jobb", "row[1].centre.jobb", "nearest 'job'"),
    ("zone", "row/0/option/0/choise", "row[1].option[1].choise", "nearest 'choice'"),
    ("zone", "options/guard/used", "options.guard.used", "nearest 'use'"),
    ("alignment", "row/0/pont", "row[1].pont", "nearest 'point'"),
    ("alignment", "row/0/near_wing/sift", "row[1].near_wing.sift", "nearest 'shift'"),
    ("alignment", "break/0/behnd", "break[1].behnd", "nearest 'behind'"),
    ("corner", "probabilty", "probabilty", "nearest 'probability'"),
    ("scenario", "posessions", "posessions", "nearest 'possessions'"),
    ("scenario", "game/team_foul", "game.team_foul", "nearest 'team_fouls'"),
    ("scenario", "setting/0/calls", "setting[1].calls", "nearest 'call'"),
    ("scenario", "setting/1/call/0/probabilty", "setting[2].call[1].probabilty", "nearest 'probability'"),
    ("scenario", "offence/tem", "offence.tem", "nearest 'team'"),
]

MISSING = [
    ("team", "player/2/height_m", "player[3].height_m is missing; needed: a number from 1.2 to 2.5"),
    ("team", "name", "name is missing; needed: text"),
    ("zone", "row/0/centre", "row[1].centre is missing"),
    ("zone", "row/0/centre/job", "row[1].centre.job is missing"),
    ("zone", "row/0/centre/place", "row[1].centre.place is missing"),
    ("zone", "row/0/ball", "row[1].ball is missing"),
    ("alignment", "row/0/point", "row[1].point is missing"),
    ("alignment", "persons/point", "persons.point is missing"),
    ("alignment", "break/0/line", "break[1].line is missing"),
    ("corner", "cover", "cover is missing"),
    ("corner", "triggers", "triggers is missing"),
    ("scenario", "rules", "rules is missing"),
    ("scenario", "offence/team", "offence.team is missing; needed: text (name or path of a team)"),
    ("scenario", "defence", "defence is missing"),
    ("scenario", "setting/0/name", "setting[1].name is missing"),
    ("scenario", "setting/0/call/0/call", "setting[1].call[1].call is missing"),
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


@pytest.mark.parametrize(("kind", "key", "shown", "hint"), UNKNOWN)
def test_an_unknown_key(kind: str, key: str, shown: str, hint: str, tmp_path: Path) -> None:
    write_all(tmp_path)
    make, load = LOADERS[kind]
    data = make()
    put(data, key, 1)
    text = message(load, write(tmp_path, f"{kind}.toml", data))
    assert f"{kind}.toml: unknown key {shown}; {hint}" in text


@pytest.mark.parametrize(("kind", "key", "line"), MISSING)
def test_a_missing_key(kind: str, key: str, line: str, tmp_path: Path) -> None:
    write_all(tmp_path)
    make, load = LOADERS[kind]
    data = make()
    drop(data, key)
    assert f"{kind}.toml: {line}" in message(load, write(tmp_path, f"{kind}.toml", data))


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        (
            "distance_m,make,contest_logit_per_m\n0,0.6,0.5\n16,1.5,0.2\n",
            ("line 3.make", "1.5", "from 0 to 1"),
        ),
        ("distance_m,make,contest_logit_per_m\n0,0.6,0.5\n14.9,0,0.2\n", ("14.9", "at least 15 metres")),
        (
            "distance_m,make,contest_logit_per_m\n0,0.6,0.5\n0,0.5,0.2\n",
            ("line 3.distance_m", "0", "more than"),
        ),
        (
            "distance_m,make,contest_logit_per_m\n1,0.6,0.5\n16,0,0.2\n",
            ("line 2.distance_m", "1.0", "0 in the first"),
        ),
        (
            "distance_m,make,contest_logit_per_m\n0,high,0.5\n",
            ("line 2.make", "'high'", "a number from 0 to 1"),
        ),
        ("distance_m,make,contest_logit_per_m\n0,nan,0.5\n", ("line 2.make", "nan")),
        ("distance_m,make,contest_logit_per_m\n0,0.5\n", ("line 2", "3 values")),
        ("distance_m,make,contest\n0,0.5,0.5\n", ("line 1", "distance_m,make,contest_logit_per_m")),
        ("distance_m,make,contest_logit_per_m\n", ("at least 15 metres",)),
        ("# nothing\n", ("empty", "distance_m,make,contest_logit_per_m")),
    ],
)
def test_a_wrong_shot_table(text: str, pieces: tuple[str, ...], tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text(text)
    line = message(load_shot_table, path)
    assert line.startswith(f"{path}: ")
    for piece in pieces:
        assert piece in line, line


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('name = "x"\nlevel = school\n', "line 2: 'level = school' is not allowed; allowed: TOML"),
        ('name = "x"\nname = "y"\n', "line 2: 'name = \"y\"' is not allowed; allowed: TOML"),
        ('name = "x', "line 1: 'name = \"x' is not allowed; allowed: TOML"),
        ("a = " + "[" * 3000, "line 1: "),
    ],
)
def test_toml_syntax_names_the_line(text: str, line: str, tmp_path: Path) -> None:
    path = tmp_path / "team.toml"
    path.write_text(text)
    assert message(load_team, path).startswith(f"{path}: {line}")


def test_files_that_are_not_there_or_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert message(load_rules, "colege.toml") == (
        "colege.toml: the file is missing; needed: a rule set (looked for colege.toml or "
        "configs/rules/colege.toml; nearest shipped rule set 'college')"
    )
    for load in (load_scenario, load_team, load_zone, load_alignment, load_call, load_rules, load_shot_table):
        for name in ("", ".", "..", "/", "a/b", "a\0b", "a\nb", "x" * 5000, tmp_path, "../../nowhere.toml"):
            message(load, name)
    for name in ("", "nowhere", "a\0b", "x" * 5000, "configs/../nowhere"):
        message(check_path, name)
    (tmp_path / "empty").mkdir()
    assert "a folder with .toml or .csv files" in message(check_path, "empty")
    Path("bytes.toml").write_bytes(b'name = "\xff\xfe"\n')
    assert "UTF-8" in message(load_team, "bytes.toml")
    Path("what.toml").write_text("colour = 1\n")
    assert message(check_path, "what.toml").startswith("what.toml: its keys: 'colour' is not allowed")
    Path("notes.txt").write_text("hello\n")
    assert "ends in .toml or .csv" in message(check_path, "notes.txt")


def test_a_wrong_rule_set(tmp_path: Path) -> None:
    good = load_rules("college").model_dump()
    cases = [
        ("court/width_m", 5, ("court.width_m", "5", "metres")),
        ("clock/shot_s", "24", ("clock.shot_s", "'24'", "seconds")),
        ("time_out/trapped_player_may_call", 1, ("time_out.trapped_player_may_call", "true or false")),
        (
            "three_point/corner_line_from_rim_m",
            8.5,
            ("three_point.corner_line_from_rim_m", "inside the court"),
        ),
        ("fouls/one_and_one_to", 3, ("fouls.one_and_one_to", "3", "one_and_one_from")),
        ("fouls/bonus", 3, ("unknown key fouls.bonus", "nearest 'bonus_")),
    ]
    for key, value, pieces in cases:
        data = copy.deepcopy(good)
        put(data, key, value)
        text = message(load_rules, write(tmp_path, "mine.toml", data))
        for piece in ("mine.toml", *pieces):
            assert piece in text, text


def test_a_wrong_court_file(tmp_path: Path) -> None:
    """The layout is read in full and placed on the court of every shipped rule set."""
    good = (configs_root() / "court" / "regions.toml").read_text(encoding="utf-8")
    cases = [
        ("\ntop = [", "\ntip = [", ("unknown key regions.tip", "nearest 'top'")),
        ("[spots]\n", "[spots]\nnowhere = [99, 0]\n", ("spots.nowhere", "(99.00, 0.00)", "in bounds")),
        ("[points]\n", "[points]\nodd = 3\n", ("points.odd", "3", "[x, y]")),
    ]
    path = tmp_path / "regions.toml"
    path.write_text(good, encoding="utf-8")
    assert "on the courts of 4 rule sets" in check_path(path)[0]
    for old, new, pieces in cases:
        path.write_text(good.replace(old, new, 1), encoding="utf-8")
        assert path.read_text(encoding="utf-8") != good
        text = message(check_path, path)
        for piece in ("regions.toml", *pieces):
            assert piece in text, text


def test_wrong_constants(tmp_path: Path) -> None:
    good = {"value": 1.0, "unit": "s", "low": 0.5, "high": 2.0, "source": "invented", "meaning": "a time"}
    assert load_constants(write(tmp_path, "constants.toml", {"delay_s": good}))["delay_s"].high == 2.0
    cases: list[tuple[dict[str, Any], tuple[str, ...]]] = [
        ({"value": 3.0}, ("delay_s.value", "3.0", "a number from 0.5 to 2 (s)")),
        ({"low": 3.0}, ("delay_s.low", "3.0", "at most high")),
        ({"unit": ""}, ("delay_s.unit", "''", "text of one line")),
        ({"source": ""}, ("delay_s.source", "''")),
        ({"meaning": 3}, ("delay_s.meaning", "3", "text")),
        ({"vale": 3}, ("unknown key delay_s.vale", "nearest 'value'")),
    ]
    for change, pieces in cases:
        text = message(load_constants, write(tmp_path, "constants.toml", {"delay_s": good | change}))
        for piece in ("constants.toml", *pieces):
            assert piece in text, text
    less = {k: v for k, v in good.items() if k != "source"}
    assert "delay_s.source is missing" in message(
        load_constants, write(tmp_path, "constants.toml", {"delay_s": less})
    )


def test_an_unknown_constant_names_the_nearest(tmp_path: Path) -> None:
    write_all(tmp_path)
    name = next(iter(load_constants()))
    data = scenario() | {"constants": {name + "x": 1.0}}
    assert f"nearest {name!r}" in message(load_scenario, write(tmp_path, "scenario.toml", data))


def test_a_value_is_told_as_it_is_written_in_a_file() -> None:
    """No Python in an error line, whoever found the value: a loader, a design or a caller."""
    told = {
        "'wing'": "wing", "true": True, "nothing": None, '["wing", "top"]': ("wing", "top"), "2.5": 2.5,
        '{spot = "wing", shift = [1, 0.5], far = false}': {"spot": "wing", "shift": (1, 0.5), "far": False},
        "'high_post'": Region.HIGH_POST, "1.5": np.float64(1.5),
    }  # fmt: skip
    for shown, value in told.items():
        assert str(InputError("game.toml", "key", value, "x")).startswith(f"game.toml: key: {shown} is not")
