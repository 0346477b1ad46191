"""Plays as a setting of a scenario: what compare makes of them, and how often their steps begin."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from input_files import play, scenario, write, write_all
from test_plays import changed, page_of, step
from test_plays_played import begun, one_play, played, starts, traces, world_of

from engine.checks.files import check_path
from engine.errors import InputError
from engine.inputs import load_play, load_scenario
from engine.inputs.files import read_toml, resolve
from engine.report.contract import broken
from engine.report.screen.compare import compare_text, play_text
from engine.state.arrays import MOST_STEPS
from engine.study.compare import compare
from engine.study.play import play as play_one
from engine.world.pack import pack


@pytest.mark.parametrize(
    ("names", "key", "allowed"),
    [
        (["gap_kik"], "setting[1].plays[1]: 'gap_kik'", "nearest shipped play 'gap_kick'"),
        (["gap_kick", "high_low", "gap_kick"], "setting[1].plays[3]: 'gap_kick'", "each play once"),
        ("gap_kick", "setting[1].plays: 'gap_kick'", "a list"),
        (["other.toml"], "setting[1].plays: 'play'", "one play of each name in a scenario"),
        (["long.toml"], f"setting[1].plays: '{MOST_STEPS + 2} steps'", f"at most {MOST_STEPS} steps in all"),
    ],
)
def test_a_setting_with_wrong_plays(tmp_path: Path, names: Any, key: str, allowed: str) -> None:
    write_all(tmp_path)
    one = play()["step"][2]
    write(tmp_path, "other.toml", changed("step/0/lasts_s", 9.0))
    steps = [one | {"name": str(i)} for i in range(MOST_STEPS - 1)]
    write(tmp_path, "long.toml", play() | {"name": "long", "step": steps})
    data = scenario() | {"setting": [{"name": "other plays", "plays": names}]}
    with pytest.raises(InputError) as told:
        load_scenario(write(tmp_path, "scenario.toml", data))
    assert key in str(told.value) and allowed in str(told.value) and "\n" not in str(told.value)


def test_plays_of_a_setting(tmp_path: Path) -> None:
    """They replace the scenario's, each keeps its place in the arrays, and home runs its own."""
    write_all(tmp_path)
    shown = scenario()["setting"][0]
    settings = [
        {"name": "none", "plays": []},
        {"name": "another", "plays": ["drive_kick", "play.toml"]},
        {"name": "the same", "plays": ["play.toml", "gap_kick"]},
        shown | {"name": "with calls", "plays": ["gap_kick"]},
        shown | {"name": "calls alone"},
    ]
    data = scenario() | {"setting": settings}
    data["offence"]["plays"] = ["play.toml", "gap_kick"]
    loaded = load_scenario(write(tmp_path, "scenario.toml", data))
    assert [one.own_base for one in loaded.settings] == [True, True, False, True, False]
    packed = pack(loaded)
    steps = {"play": play()["step"], "gap_kick": load_play("gap_kick").steps}
    where = np.repeat(
        [0, 1, 2], [len(steps["play"]), len(steps["gap_kick"]), len(load_play("drive_kick").steps)]
    )

    def run(world: Any) -> set[int]:
        n = int(world["n_steps"][0])
        assert n == len(where)
        return set(where[world["steps"]["against"][0, :n] != 0].tolist())

    assert run(packed.home) == {0, 1}
    assert [run(one.world) for one in packed.settings] == [set(), {0, 2}, {0, 1}, {1}, {0, 1}]
    assert packed.settings[2].world["steps"].tobytes() == packed.home["steps"].tobytes()
    assert all(
        (one.base is not None) == own.own_base and (one.base is None or run(one.base) == run(one.world))
        for one, own in zip(packed.settings, loaded.settings, strict=True)
    )
    told = [line.strip() for line in check_path(tmp_path / "scenario.toml")]
    assert 'plays of Team of the tests in the setting "none": none' in told
    assert sum("in the setting" in line for line in told) == 3
    assert any(
        line.endswith(
            '"another": without dribble into the gap, pass to the man they left; besides: drive and kick'
        )
        for line in told
    )
    assert "drive and kick" in page_of(tmp_path / "scenario.toml", to=tmp_path / "page.html")


def test_a_play_that_a_setting_leaves_out_takes_no_luck_from_the_others(tmp_path: Path) -> None:
    """To the bit as if it were run against nobody who plays here; another one is as if it were home's."""
    cut = [step("cut", "pass", {"who": "passer", "to": to}, often=0.6) for to in ("rim", "corner", "wing")]
    names = [f"play_{i}.toml" for i in range(3)]
    settings = [
        {"name": "without", "plays": [str(tmp_path / name) for name in (names[2], names[0])]},
        {"name": "all", "plays": [str(tmp_path / name) for name in names]},
    ]
    packed = world_of(tmp_path, [one_play(one) for one in cut], setting=settings)
    home, without = played(packed.home), played(packed.settings[0].world)
    assert packed.settings[1].base is None and np.array_equal(played(packed.settings[1].world), home)
    assert not np.array_equal(without, home)
    other = [one_play(cut[0]), one_play(cut[1], against="men"), one_play(cut[2])]
    assert np.array_equal(without, played(world_of(tmp_path, other).home))


def test_compare_says_what_a_play_brings(tmp_path: Path) -> None:
    """The change is that of the two played by themselves, and the text names the play."""
    cut = one_play(step("cut", "pass", {"who": "passer", "to": "rim"}))
    path = str(write(tmp_path, "play_0.toml", cut | {"name": "play_0", "title": "the cut of this test"}))
    data = read_toml(resolve("friday_night", "scenarios"))
    data["offence"]["plays"] = [path, "drive_kick"]
    trap = {"call": [{"call": "corner"}]}
    data["setting"] = [{"name": "without", "plays": ["drive_kick"]} | trap, {"name": "trap"} | trap]
    loaded = load_scenario(write(tmp_path, "both.toml", data))
    found = compare(loaded, 400, seed=3, threads=2).to_dict()
    data["offence"]["plays"], data["setting"] = (
        ["drive_kick", path],
        [{"name": "without", "plays": ["drive_kick"]}],
    )
    first = load_scenario(write(tmp_path, "first.toml", data))
    data["offence"]["plays"] = ["drive_kick"]
    alone = load_scenario(write(tmp_path, "alone.toml", data))
    beside = compare(first, 400, seed=3, threads=2).to_dict()["settings"][0]
    by_itself = play_one(alone, 400, seed=3).to_dict()
    assert beside["points_per_possession"] == by_itself["points_per_possession"]  # the last play of a list
    without, trap_alone = found["settings"]
    assert without["plays"] == {"drive_kick": load_play("drive_kick").title}
    assert found["baseline"]["plays"].keys() == {"play_0", "drive_kick"} == trap_alone["plays"].keys()
    assert without["change"]["mean"] == pytest.approx(
        without["net_points_per_possession"]["mean"] - found["baseline"]["net_points_per_possession"]["mean"]
    )
    assert without["base"] is not None and trap_alone["base"] is None and not broken(found)
    text = " ".join(compare_text(found).split())
    assert "Their plays without the cut of this test" in text and "with other plays is weighed" in text


def test_steps_are_counted(tmp_path: Path) -> None:
    """How often each step begins, and lasts its time: as told by the states one by one, of what is run."""
    write(tmp_path, "own.toml", play() | {"name": "own"})
    data = read_toml(resolve("friday_night", "scenarios"))
    data["offence"]["plays"] = [str(tmp_path / "own.toml"), "through_cut", "drive_kick"]
    run = ["drive_kick", "through_cut"]
    data["setting"] = [{"name": "less", "plays": run, "call": [{"call": "wing"}]}]
    loaded = load_scenario(write(tmp_path, "counted.toml", data))
    n = 150
    found = play_one(loaded, n, seed=4, threads=2, setting="less")
    names = [(one.name, step.name) for one in loaded.plays for step in one.steps]
    begun_ones, squares, whole = np.zeros((3, len(names)), int)
    for trace in traces(pack(loaded).settings[0].world, n, seed=4):
        s = trace.states
        here = np.zeros(len(names), int)
        for i in range(1, len(s)):
            was, lasts_to = s["play"][i - 1], s["play_t"][i - 1]
            if i in starts(s):
                here[s["play"][i]] += 1
            if was >= 0 and (s["play"][i] != was or i in starts(s)) and begun(s, i) > lasts_to - 1e-9:
                whole[was] += 1
        begun_ones += here
        squares += here**2
    assert begun_ones.sum() > 60 and 10 < whole.sum() < begun_ones.sum() and (squares > begun_ones).any()
    told = found.to_dict()["play_steps"]
    assert told["possessions"] == n
    own = [(name, b, w) for name, b, w in zip(names, begun_ones, whole, strict=True) if name[0] != "own"]
    assert own == [((r["play"], r["step"]), r["begun"], r["lasted_its_time"]) for r in told["steps"]]
    assert begun_ones[: len(play()["step"])].sum() == 0
    often = told["steps"][0]["per_100_possessions"]
    first = len(play()["step"])
    k, sd = begun_ones[first], math.sqrt(squares[first] / n - (begun_ones[first] / n) ** 2)
    assert often["mean"] == pytest.approx(100 * k / n)
    assert often["high"] - often["mean"] == pytest.approx(196 * sd / math.sqrt(n), rel=0.02)
    one = play_one(loaded, n, seed=4, threads=1, setting="less")
    assert one.steps == found.steps and one.tally == found.tally
    text = " ".join(play_text(found.to_dict(), with_detail=True).split())
    assert "Steps of plays begun per 100 of these in full" in text and "Counted in the first 150" in text
    assert "Steps of plays" not in play_text(found.to_dict())
