"""What ``check`` says of the plays of a scenario or an evening: who is missing in its own formation, which of
several plays begins; and how an evening's sheet names plays and what is done about screens."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sheet_files import GAME, with_key, write_evening

from engine import cli
from engine.checks.files import check_path
from engine.inputs import load_scenario
from engine.inputs.plays import play_from
from engine.inputs.scenario import Scenario
from engine.inputs.sheets import load_evening
from engine.still.occasions import lacking, occasion_lines, shares
from engine.study.play import play

FRIDAY = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
SCREEN = """
name = "lonely"
title = "screen from nowhere"
source = "a test"
against = ["zone", "men"]
[[step]]
name = "screen"
when = "hold"
ball = "wing"
lasts_s = 2.0
[[step.move]]
who = "nearest"
near = { near }
within_m = 1.0
does = "screen"
"""


def cut(name: str, often: float) -> dict[str, Any]:
    """A play that begins on a pass to the wing, and that always somebody is there for: who has passed."""
    move = {"who": "passer", "to": [1.0, 1.2]}
    step = {"name": name, "when": "pass", "ball": "wing", "lasts_s": 1.0, "often": often, "move": [move]}
    return {"name": name, "title": f"cut {name}", "source": "a test", "against": "zone", "step": [step]}


def running(scenario: Scenario, *plays: dict[str, Any]) -> Scenario:
    found = tuple(play_from(one, "a test") for one in plays)
    return scenario.model_copy(update={"plays": found, "settings": ()})


def test_shares_are_those_of_the_least_draw() -> None:
    """Two: a (1 - b/2); many: counted again on random draws; and all together as nobody's luck leaves it."""
    assert shares([0.6, 0.4]) == pytest.approx([0.6 * 0.8, 0.4 * 0.7])
    assert shares([1.0, 1.0]) == pytest.approx([0.5, 0.5]) and shares([0.3]) == pytest.approx([0.3])
    often = np.array([0.9, 0.5, 0.5, 0.1])
    drawn = np.random.default_rng(3).random((200_000, 4)) / often
    best = np.where(drawn.min(axis=1) < 1.0, drawn.argmin(axis=1), 4)
    counted = np.bincount(best, minlength=5)[:4] / len(best)
    assert shares(list(often)) == pytest.approx(counted, abs=5 * 0.5 / np.sqrt(len(best)))
    assert 1.0 - sum(shares(list(often))) == pytest.approx(float(np.prod(1.0 - often)))


def test_the_kernel_begins_two_plays_as_check_says() -> None:
    scenario = running(load_scenario(FRIDAY), cut("a", 0.6), cut("b", 0.4))
    (line,) = occasion_lines(scenario)
    assert "a pass has just left, the ball then on the wing (a zone)" in line
    assert line.endswith("cut a (a) 48, cut b (b) 28, none 24")
    rows = play(scenario, 2000, 1, 2).to_dict()["play_steps"]["steps"]
    a, b = (row["begun"] for row in rows)
    assert a + b > 500
    assert abs(a / (a + b) - 48 / 76) < 4.0 * np.sqrt(0.25 / (a + b))


def test_shares_are_of_plays_that_are_run_together() -> None:
    """A setting with one of the two says nothing of the other; a third with both makes them all but it."""
    friday = load_scenario(FRIDAY)
    both, a = running(friday, cut("a", 0.6), cut("b", 0.4)), running(friday, cut("a", 0.6)).plays
    alone = friday.settings[0].model_copy(update={"name": "alone", "plays": a})
    as_home = friday.settings[0].model_copy(update={"name": "as home"})
    (line,) = occasion_lines(both.model_copy(update={"settings": (alone,)}))
    assert line.endswith("cut a (a) 48, cut b (b) 28, none 24 (in home)")
    (line,) = occasion_lines(both.model_copy(update={"settings": (as_home, alone)}))
    assert line.endswith('none 24 (in home, "as home")')
    (line,) = occasion_lines(both.model_copy(update={"settings": (as_home,)}))
    assert line.endswith("none 24")


def test_a_play_against_what_nobody_plays_is_told() -> None:
    friday = load_scenario(FRIDAY)
    lines = occasion_lines(running(friday, cut("a", 0.6) | {"against": "men"}))
    assert lines == ['play "cut a" is against men alone: here it is never run']
    assert not any("never run" in line for line in occasion_lines(friday))


def test_what_nobody_is_there_for_in_this_formation_is_told(tmp_path: Path) -> None:
    friday = load_scenario(FRIDAY)
    assert lacking(friday) == []
    path = tmp_path / "lonely.toml"
    for place, missing in (("[0.0, 12.0]", True), ('"high_post"', False)):
        path.write_text(SCREEN.replace("{ near }", place), encoding="utf-8")
        folder = write_evening(tmp_path / "evening", {"game.csv": with_key("plays", "lonely.toml, high low")})
        (folder / "lonely.toml").write_bytes(path.read_bytes())
        said = [line for line in check_path(folder) if "in this formation" in line]
        assert bool(said) == missing
        if missing:
            title = load_evening(folder).scenario.alignment.title
            told = f'"screen from nowhere" in this formation ({title}): nobody: "screen": A: nobody is '
            assert told + "within 1 m of the place" in said[0]


def test_a_sheet_names_what_they_run(tmp_path: Path) -> None:
    folder = tmp_path / "evening"
    usual = load_evening(write_evening(folder))
    assert any("Which plays Paper Kites run is not given" in line for line in usual.assumptions)
    found = load_evening(write_evening(folder, {"game.csv": with_key("plays", "High low and gap-kick")}))
    assert [one.name for one in found.scenario.plays] == ["high_low", "gap_kick"]
    assert not any("Which plays" in line for line in found.assumptions)
    assert found.attack is not None and usual.attack is not None
    assert found.attack.scenario.plays == usual.attack.scenario.plays  # theirs are not ours
    assert load_evening(write_evening(folder, {"game.csv": with_key("plays", "none")})).scenario.plays == ()
    named = [line for line in check_path(folder) if line.startswith("  plays of Paper Kites: ")]
    assert named == ["  plays of Paper Kites: none"]


def test_what_is_done_about_screens_acts_where_men_are_guarded(tmp_path: Path) -> None:
    zone = load_evening(write_evening(tmp_path / "zone", {"game.csv": with_key("screens", "switch")}))
    assert any("screens counts only for --zone-or-men" in line for line in zone.remarks)
    for word in ("drop", "under", "show", "switch"):
        game = [line for line in with_key("screens", word) if line[0] != "zone_allowed"]
        men = load_evening(write_evening(tmp_path / word, {"game.csv": [*game, ["zone_allowed", "no"]]}))
        assert men.scenario.zone_options["screens"] == word
        assert not any("screens" in line for line in men.remarks)
        assert all(one.zone_options["screens"] == word for one in men.scenario.settings)


def test_a_missing_play_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = write_evening(tmp_path / "evening", {"game.csv": with_key("plays", "our_cut.toml")})
    assert cli.run(["check", str(folder)]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and "plays" in err and "our_cut.toml" in err and "game.csv" in err


def test_the_sheet_lists_the_shipped_plays_in_order() -> None:
    from engine.inputs.files import shipped
    from engine.inputs.sheets.questions import game_keys

    (asked,) = (key for key in game_keys() if key.name == "plays")
    at = [asked.help.index(name.replace("_", " ")) for name in shipped("plays")]
    assert all(a < b for a, b in pairwise(at)) and GAME[0] == ["key", "value"]
