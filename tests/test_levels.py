"""Level presets: files, shifts of the shot table, order of precedence, the record of the fit and the tool."""

from __future__ import annotations

import importlib
import math
import shutil
from pathlib import Path
from types import ModuleType
from typing import Any

import input_files
import numpy as np
import pytest

from engine.checks.files import check_path
from engine.errors import InputError
from engine.inputs import (
    Level,
    Player,
    config_hash,
    load_constants,
    load_level,
    load_rules,
    load_scenario,
    load_team,
)
from engine.inputs.files import configs_root, shipped
from engine.inputs.levels import PLAYER_RANGES, QUANTITIES, SHIFTS, TAGS
from engine.inputs.shots import ShotTable, moved_table
from engine.state.arrays import SHOT_STEP_M
from engine.study.levels import level_rates, standard_error
from engine.study.newton import newton
from engine.world.pack import shot_rows

ROOT = Path(__file__).parents[1]
LEVELS = ("college", "professional", "school", "under_14")
#: Shots of the tests: the borders between rim, middle and three lie between two rows.
TABLE = ShotTable(
    name="invented",
    distance_m=(0.0, 1.0, 2.0, 6.0, 16.0),
    make=(0.8, 0.7, 0.5, 0.3, 0.0),
    contest_logit_per_m=(1.0, 0.8, 0.6, 0.2, 0.0),
)
#: Possessions of a level: as many as its fit played, and a tenth of them.
REFERENCE_N = [pytest.param(4_000, marks=pytest.mark.long), pytest.param(40_000, marks=pytest.mark.full)]


def scenario_of(level: str) -> Path:
    return configs_root() / "scenarios" / f"level_{level}.toml"


def logit(p: float) -> float:
    return math.log(p / (1.0 - p))


def one_line(act: Any, *arguments: Any) -> str:
    with pytest.raises(InputError) as told:
        act(*arguments)
    text = str(told.value)
    assert len(text.splitlines()) == 1 and text.isprintable(), text
    return text


# --- the shipped files ------------------------------------------------------------------------------------


def test_the_four_levels_are_shipped() -> None:
    assert tuple(shipped("levels")) == LEVELS


@pytest.mark.parametrize("name", LEVELS)
def test_a_level_file_is_complete(name: str) -> None:
    level, known = load_level(name), load_constants()
    assert level.name == name
    assert load_rules(level.rules).name == level.rules
    for constant, item in level.constants.items():
        assert known[constant].low <= item.value <= known[constant].high, constant
    assert {item.tag for item in level.published.values()} <= set(TAGS)
    # every number that is not fitted has the words of a source
    numbers = [*level.constants.values(), *(getattr(level.players, key) for key in PLAYER_RANGES)]
    assert all(len(item.source) > 8 for item in [*numbers, *level.published.values()])
    # shots at the rim and threes, turnovers, rebounds, free throws; what falls between is known of one level
    assert {"rim_logit", "three_logit"} < set(level.knobs) and len(level.knobs) >= 5
    assert ("middle_logit" in level.knobs) == (name == "professional")
    assert len(set(level.knobs.values())) == len(level.knobs), "one knob for one rate"


def test_only_professional_rates_claim_to_be_computed() -> None:
    # There is open data of professional men, and of youth: how many shots are threes, how many twos fall.
    tags = {name: {rate: it.tag for rate, it in load_level(name).published.items()} for name in LEVELS}
    computed = {name: {r for r, tag in one.items() if tag == "computed"} for name, one in tags.items()}
    assert len(computed.pop("professional")) > 10
    assert computed == {"college": set(), "school": {"three_attempts", "two_point"}, "under_14": set()}
    assert set(tags["under_14"].values()) == {"no source"}


def test_levels_rise_where_they_should() -> None:
    order = [load_level(name) for name in ("under_14", "school", "college", "professional")]
    for key in ("height_m", "top_speed_mps", "free_throw"):
        values = [getattr(level.players, key).value for level in order]
        assert values == sorted(values) and len(set(values)) == 4, key
    for rate, sign in (("rim", 1), ("three_point", 1), ("turnovers_per_possession", -1)):
        goals = [sign * level.published[rate].aim for level in order]
        assert goals == sorted(goals), rate


@pytest.mark.parametrize("name", LEVELS)
def test_the_reference_five_are_the_average_of_their_level(name: str) -> None:
    five = load_team(f"average_{name}").on_court
    assert [p.position for p in five] == [1, 2, 3, 4, 5]
    for key, value in load_level(name).players.numbers().items():
        mean = sum(getattr(p, key) for p in five) / 5
        assert mean == pytest.approx(value, abs=0.006), key
    scenario = load_scenario(scenario_of(name))
    assert scenario.offence_team == scenario.defence_team
    assert (scenario.level, scenario.rules.name) == (name, load_level(name).rules)
    assert scenario.published == load_level(name).published


# --- shifts of the shot table -----------------------------------------------------------------------------


MOVES = {"rim": 0.4, "middle": -0.3, "three": 0.2}


def moved(moves: dict[str, float]) -> ShotTable:
    return moved_table(TABLE, moves, 1.6, 5.0, "moved")


def test_rim_middle_and_threes_are_shifted_apart() -> None:
    table = moved(MOVES)
    assert table.distance_m == (0.0, 1.0, 1.6 - 0.001, 1.6, 2.0, 5.0 - 0.001, 5.0, 6.0, 16.0)
    before = dict(zip(TABLE.distance_m, TABLE.make, strict=True))
    for d, p in zip(table.distance_m, table.make, strict=True):
        if 0.0 < before.get(d, 0.0) < 1.0:
            by = MOVES["rim" if d < 1.6 else "middle" if d < 5.0 else "three"]
            assert logit(p) - logit(before[d]) == pytest.approx(by, abs=1e-12)
    assert table.make[-1] == 0.0, "what cannot fall still cannot"
    # the rows put in lie on the old table's straight line of log odds, then shifted
    plain = logit(0.7) + 0.6 * (logit(0.5) - logit(0.7))
    assert logit(table.make[3]) == pytest.approx(plain - 0.3, abs=1e-12)
    assert table.contest_logit_per_m[3] == pytest.approx(0.8 + 0.6 * (0.6 - 0.8))


def test_no_shift_reaches_over_a_border_in_the_kernel_s_table() -> None:
    plain, table = shot_rows(TABLE), shot_rows(moved(MOVES))
    d = np.arange(len(plain)) * SHOT_STEP_M
    by = np.select([d < 1.6, d < 5.0], [0.4, -0.3], 0.2)  # beyond 6 m this table runs to a make of 0
    assert np.allclose((table - plain)[d <= 6.0, 0], by[d <= 6.0], atol=1e-9)
    assert np.allclose(table[:, 1], plain[:, 1], atol=1e-9), "the effect of a contest stays"
    assert np.allclose(shot_rows(moved(dict.fromkeys(MOVES, 0.0))), plain, atol=1e-9)


# --- who has the last word --------------------------------------------------------------------------------


def level_data(**changes: Any) -> dict[str, Any]:
    def sourced(value: float) -> dict[str, Any]:
        return {"value": value, "source": "invented for the tests"}

    return {
        "name": "mine",
        "title": "Level of the tests",
        "source": "invented",
        "rules": "high_school",
        "shot_table": "shots.csv",
        "shots": {name: sourced(by) for name, by in zip(SHIFTS, (0.2, 0.0, -0.1), strict=True)},
        "constants": {"reaction_s": sourced(0.4), "fumble_p": sourced(0.02)},
        "players": {key: sourced(0.5 * (low + high)) for key, (low, high) in PLAYER_RANGES.items()},
        "published": {"rim": {"low": 0.5, "high": 0.6, "tag": "from memory", "source": "invented"}},
    } | changes


def scenario_with(folder: Path, **changes: Any) -> Path:
    """The scenario of the tests, naming the level of the tests; None takes a key away."""
    input_files.write_all(folder)
    input_files.write(folder, "mine.toml", level_data())
    data = input_files.scenario() | {"level": "mine.toml"} | changes
    return input_files.write(folder, "with.toml", {k: v for k, v in data.items() if v is not None})


def test_the_scenario_comes_after_the_level_and_the_level_after_the_model(tmp_path: Path) -> None:
    model = {name: c.value for name, c in load_constants().items()}
    loaded = load_scenario(scenario_with(tmp_path, constants={"fumble_p": 0.03}))
    assert loaded.level == "mine" and loaded.published["rim"].aim == pytest.approx(0.55)
    assert loaded.constants == model | {"reaction_s": 0.4, "fumble_p": 0.03}
    assert tmp_path / "mine.toml" in loaded.files


def test_a_shot_table_of_the_scenario_is_taken_as_it_is(tmp_path: Path) -> None:
    own = load_scenario(scenario_with(tmp_path))
    assert own.shot_table.make == (0.6, 0.33, 0.01)
    levels = load_scenario(scenario_with(tmp_path, shot_table=None))
    borders = levels.constants["rim_range_m"], levels.constants["middle_range_m"]
    by = dict(zip(("rim", "middle", "three"), (0.2, 0.0, -0.1), strict=True))
    assert levels.shot_table == moved_table(own.shot_table, by, *borders, own.shot_table.name)
    wider = load_scenario(scenario_with(tmp_path, shot_table=None, constants={"rim_range_m": 2.0}))
    assert 2.0 in wider.shot_table.distance_m


def test_a_scenario_without_level_has_the_model_s_numbers(tmp_path: Path) -> None:
    loaded = load_scenario(scenario_with(tmp_path, level=None))
    assert loaded.level is None and loaded.published == {}
    assert loaded.constants == {name: c.value for name, c in load_constants().items()}
    text = one_line(load_scenario, scenario_with(tmp_path, level=None, shot_table=None))
    assert "shot_table is missing" in text and "or a level" in text


def test_published_ranges_do_not_change_the_hash_of_a_scenario(tmp_path: Path) -> None:
    path = scenario_with(tmp_path)
    first = config_hash(load_scenario(path))
    more = level_data(published={"rim": {"low": 0.1, "high": 0.9, "tag": "no source", "source": "invented"}})
    input_files.write(tmp_path, "mine.toml", more)
    assert config_hash(load_scenario(path)) == first
    input_files.write(tmp_path, "mine.toml", level_data(constants={}))
    assert config_hash(load_scenario(path)) != first


def test_a_player_takes_what_he_lacks_from_the_level_his_team_names(tmp_path: Path) -> None:
    (tmp_path / "shots.csv").write_text(input_files.SHOTS, encoding="utf-8")
    input_files.write(tmp_path, "mine.toml", level_data())
    data = input_files.team()
    del data["player"][2]["handle"], data["player"][2]["free_throw"]
    assert "player[3].handle is missing" in one_line(load_team, input_files.write(tmp_path, "t.toml", data))
    loaded = load_team(input_files.write(tmp_path, "t.toml", data | {"level": "mine.toml"}))
    assert (loaded.players[2].handle, loaded.players[2].free_throw) == (0.5, 0.5)
    assert loaded.players[2].height_m == data["player"][2]["height_m"], "what the file says stays"
    data["level"] = "nowhere"
    assert "level: 'nowhere'" in one_line(load_team, input_files.write(tmp_path, "t.toml", data))


def test_a_level_allows_players_what_a_team_file_allows() -> None:
    for key, (low, high) in PLAYER_RANGES.items():
        bounds = {type(m).__name__: m for m in Player.model_fields[key].metadata}
        assert (bounds["Ge"].ge, bounds["Le"].le) == (low, high), key


# --- one line for what is wrong ---------------------------------------------------------------------------

WRONG: list[tuple[dict[str, Any], tuple[str, ...]]] = [
    ({"shots": {"rim_logit": {"value": 0.1, "source": "x"}}}, ("shots.middle_logit is missing",)),
    (
        {"shots": {k: {"value": 3.0, "source": "x"} for k in SHIFTS}},
        ("shots.rim_logit.value", "3.0", "from -2 to 2", "log odds"),
    ),
    ({"constants": {"reaction_s": 0.4}}, ("constants.reaction_s", "0.4")),
    ({"constants": {"reaction_s": {"value": 0.4}}}, ("constants.reaction_s.source is missing",)),
    (
        {"constants": {"reaction_s": {"value": 5.0, "source": "x"}}},
        ("constants.reaction_s", "5.0", "from 0.2 to 0.5"),
    ),
    (
        {"constants": {"reactoin_s": {"value": 0.3, "source": "x"}}},
        ("constants", "'reactoin_s'", "nearest 'reaction_s'"),
    ),
    (
        {"constants": {"fumble_p": {"value": 0.02, "source": "fitted to rimm"}}},
        ("constants.fumble_p.source", "'fitted to rimm'", "fitted to one of rim"),
    ),
    ({"rules": "nobody"}, ("rules", "'nobody'", "a rule set that exists")),
    ({"shot_table": 3}, ("shot_table", "3", "the name or path of a shot table")),
    ({"shot_table": "nobody"}, ("shot_table", "'nobody'", "a shot table that exists")),
    (
        {"published": {"rimm": {"low": 0.5, "high": 0.6, "tag": "seen", "source": "x"}}},
        ("published", "'rimm'", "nearest 'rim'"),
    ),
    (
        {"published": {"rim": {"low": 0.5, "high": 0.6, "tag": "guessed", "source": "x"}}},
        ("published.rim.tag", "'guessed'", "computed, seen, from memory, no source"),
    ),
    (
        {"published": {"rim": {"low": 0.7, "high": 0.6, "tag": "seen", "source": "x"}}},
        ("published.rim.low", "0.7", "at most high (0.6)"),
    ),
    (
        {"published": {"rim": {"low": 0.5, "high": 0.6, "goal": 0.7, "tag": "seen", "source": "x"}}},
        ("published.rim.goal", "0.7", "from low (0.5) to high (0.6)"),
    ),
    (
        {"fit": {"scenario": "x", "possessions": 0, "seed": 1, "knob": []}},
        ("fit.possessions", "0", "at least 1"),
    ),
    ({"speeds": {}}, ("unknown key speeds",)),
]


@pytest.mark.parametrize(("changes", "pieces"), WRONG, ids=[f"{i}-{w[1][0]}" for i, w in enumerate(WRONG)])
def test_a_wrong_level_gives_one_line(
    changes: dict[str, Any], pieces: tuple[str, ...], tmp_path: Path
) -> None:
    (tmp_path / "shots.csv").write_text(input_files.SHOTS, encoding="utf-8")
    text = one_line(load_level, input_files.write(tmp_path, "mine.toml", level_data(**changes)))
    for piece in ("mine.toml", *pieces):
        assert piece in text, text


def test_a_record_of_the_fit_must_fit_the_file(tmp_path: Path) -> None:
    (tmp_path / "shots.csv").write_text(input_files.SHOTS, encoding="utf-8")
    seen = {"target": "rim", "reached": 0.5, "standard_error": 0.01, "left_over": 0.0}
    knob = seen | {"knob": "fumble_p", "value": 0.02, "goal": 0.5}
    run = {"scenario": "x", "possessions": 10, "seed": 1}
    for rows, piece in (
        ({"knob": [knob]}, "fit.knob[1].knob: 'fumble_p'"),
        ({"knob": [], "other": [seen | {"target": "three_point"}]}, "fit.other[1].target: 'three_point'"),
    ):
        path = input_files.write(tmp_path, "mine.toml", level_data(fit=run | rows))
        assert piece in one_line(load_level, path)


def test_an_unknown_level_of_a_scenario_lists_the_levels(tmp_path: Path) -> None:
    text = one_line(load_scenario, scenario_with(tmp_path, level="scool"))
    assert "with.toml: level: 'scool'" in text and "nearest 'school'" in text
    assert ", ".join(LEVELS) in text


def test_check_says_what_a_level_means(tmp_path: Path) -> None:
    (tmp_path / "shots.csv").write_text(input_files.SHOTS, encoding="utf-8")
    (line,) = check_path(input_files.write(tmp_path, "mine.toml", level_data()))
    assert line.endswith(
        'level "Level of the tests", usual rules high_school, shots shots (+0.20 log odds at the rim, +0.00 '
        "in between, -0.10 from outside), 2 constants of its own, 1 rate with a range (0 of them "
        "computed or seen), nothing fitted yet"
    )
    lines = check_path(configs_root() / "levels")
    assert len(lines) == len(LEVELS) and all("fitted" in found for found in lines)


# --- the record of the fit --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", LEVELS)
def test_the_record_of_the_fit_is_that_of_the_file(name: str) -> None:
    level = load_level(name)
    assert level.fit is not None
    assert level.fit.scenario == scenario_of(name).stem
    assert {row.knob: row.target for row in level.fit.knob} == level.knobs
    for row in level.fit.knob:
        assert row.value == level.value_of(row.knob), row.knob
        assert row.goal == pytest.approx(level.published[row.target].aim, abs=5e-5)
    rows = {row.target: row for row in [*level.fit.knob, *level.fit.other]}
    for target, row in rows.items():
        assert row.left_over == pytest.approx(level.published[target].left_over(row.reached), abs=1e-9)
    # No shot clock, no rate of it; everything else that is published stands in the record.
    assert set(rows) == set(level.published)


@pytest.mark.parametrize("n", REFERENCE_N)
@pytest.mark.parametrize("name", LEVELS)
def test_a_level_s_rates_are_still_those_of_its_record(name: str, n: int) -> None:
    """On other luck than the fit's: 4 standard errors of the difference, both samples' (in full the same n
    twice: a make or a turnover .5 / sqrt(40,000) = .0025 each, and so .014 for the band)."""
    level = load_level(name)
    assert level.fit is not None
    rates = level_rates(scenario_of(name), n, seed=level.fit.seed + 1)
    off = []
    for row in [*level.fit.knob, *level.fit.other]:
        found = rates[row.target]
        assert found.mean is not None
        allowed = 4 * math.hypot(standard_error(found), row.standard_error)
        if abs(found.mean - row.reached) > allowed:
            off.append(f"{row.target} {found.mean:.4f}, recorded {row.reached:.4f} (allowed {allowed:.4f})")
    assert not off, f"{'; '.join(off)}: run benchmarks/fit_levels.py --level {name} --write"


def test_every_rate_has_a_name_that_a_level_file_may_use() -> None:
    assert set(level_rates(scenario_of("professional"), 50, seed=1)) == set(QUANTITIES)


# --- the tool ---------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def tool() -> ModuleType:
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(ROOT / "benchmarks")
        return importlib.import_module("fit_levels")


def made_up(tool: ModuleType, monkeypatch: pytest.MonkeyPatch, scale: float) -> tuple[Any, np.ndarray]:
    """A problem of the school level whose rates are a known, bent function of the knobs; its solution."""
    problem = tool.Problem(load_level("school"), load_scenario(scenario_of("school")), 1, 1, 1)
    n = len(problem.knobs)
    solution = problem.low + 0.4 * (problem.high - problem.low)
    span = problem.high - problem.low

    def play(knobs: np.ndarray, possessions: int | None = None) -> dict[str, tuple[float, float]]:
        z = (knobs - solution) / span
        change = 0.2 * (z + 0.5 * z**2 + 0.1 * np.roll(z, 1)) * scale
        values = problem.goal + change
        return {t: (float(v), 1e-4) for t, v in zip(problem.knobs.values(), values, strict=True)}

    monkeypatch.setattr(problem, "play", play)
    assert n >= 5
    return problem, solution


def test_the_fit_finds_the_knobs_of_a_known_function(
    tool: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem, solution = made_up(tool, monkeypatch, 1.0)
    told: list[str] = []
    found = tool.fit(problem, 12, told.append)
    assert found == pytest.approx(solution, abs=2e-3 * (problem.high - problem.low).max())
    assert told[0].startswith("start") and len(told) > 2


def test_a_knob_without_effect_stays_and_is_told(tool: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    problem, _ = made_up(tool, monkeypatch, 0.0)
    told: list[str] = []
    assert np.array_equal(tool.fit(problem, 3, told.append), problem.start())
    assert sum("no sure effect" in line for line in told) == len(problem.knobs)


def test_a_knob_that_would_leave_its_range_stops_at_the_bound(
    tool: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem, _ = made_up(tool, monkeypatch, 1.0)
    start = problem.start()
    near = start[3] + 0.5 * problem.step[3]
    problem.high[3] = near
    matrix = np.diag(0.2 / problem.step)
    matrix[0, 3] = 0.1 / problem.step[3]  # the knob that stops also moves the first rate
    missing = np.zeros(len(start))
    missing[3] = 0.4  # two steps
    move = newton(matrix, missing, start, problem)
    assert start[3] + move[3] == pytest.approx(near)
    assert move[0] == pytest.approx(-0.25 * problem.step[0]), "made good for the half step, not for two"
    assert np.all(np.delete(move, [0, 3]) == 0.0)


def test_the_tool_writes_what_the_loader_reads(tool: ModuleType, tmp_path: Path) -> None:
    shutil.copytree(configs_root() / "levels", tmp_path / "levels")
    path = tmp_path / "levels" / "school.toml"
    level = load_level(path)
    problem = tool.Problem(level, load_scenario(scenario_of("school")), 2000, 1, 1)
    knobs = np.round(problem.low + 0.3 * (problem.high - problem.low), tool.KNOB_DECIMALS)
    rates = problem.play(knobs)
    path.write_text(tool.written(path.read_text(encoding="utf-8"), problem, knobs, rates), encoding="utf-8")
    again: Level = load_level(path)
    assert [again.value_of(knob) for knob in problem.knobs] == list(knobs)
    assert again.fit is not None and again.fit.possessions == 2000
    assert {row.knob: row.value for row in again.fit.knob} == dict(zip(problem.knobs, knobs, strict=True))
    same = {"shots", "constants", "fit"}
    assert again.model_dump(exclude=same) == level.model_dump(exclude=same)
    twice = tool.written(path.read_text(encoding="utf-8"), problem, knobs, rates)
    assert twice == path.read_text(encoding="utf-8"), "written again it stays as it is"
    table = tool.lines(problem, knobs, rates)
    assert len(table) == 2 + len(level.published) and "left over" in table[1]
