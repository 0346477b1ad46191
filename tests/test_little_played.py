"""What is played only where it is asked for: possessions that are watched, and those behind ``check``."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest
from report_pages import SECONDS
from sheet_files import counted, write_evening

from engine import cli
from engine.checks.files import PACED, check_path
from engine.inputs.scenario import Scenario
from engine.study import compare as compare_study
from engine.study import evening_report, pace
from engine.study import play as play_study


def test_check_plays_little_and_has_one_answer_for_one_sheet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is watched; from PACED possessions before the fit, said so without a verdict, whatever is kept
    by then; without counts there is no fit, and the verdict is there."""
    folder = write_evening(tmp_path / "sheets", {"opponent.csv": counted()})
    monkeypatch.setattr(pace, "USUAL_A_MINUTE", (0.1, 0.2))  # so that there is a line
    monkeypatch.setattr(play_study, "count_steps", lambda *_: pytest.fail("watched"))
    run, sizes = compare_study.compare, []

    def compared(scenario: Scenario, possessions: int, *more: Any) -> compare_study.CompareResult:
        sizes.append(possessions)
        return run(scenario, possessions, *more)

    monkeypatch.setattr(compare_study, "compare", compared)
    before = check_path(folder)
    (line,) = [one for one in before if "possessions a side" in one]
    assert sizes == [PACED] and f"(mean of {PACED:,})" in line
    assert "before the fit to your sheet" in line and "too high" not in line
    monkeypatch.setattr(compare_study, "compare", run)
    monkeypatch.setattr(evening_report, "USUAL", dataclasses.replace(SECONDS, possessions=2 * PACED))
    assert cli.run(["compare", str(folder), "--quiet", "--json", str(tmp_path / "found.json")]) == 0
    assert check_path(folder) == before
    (line,) = [one for one in check_path(write_evening(tmp_path / "bare")) if "possessions a side" in one]
    assert "too high" in line and "fit" not in line
    capsys.readouterr()


def test_possessions_are_watched_only_where_it_is_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    watched, count = [], play_study.count_steps

    def counted_steps(*what: Any) -> Any:
        watched.append(what)
        return count(*what)

    monkeypatch.setattr(play_study, "count_steps", counted_steps)
    name = "configs/scenarios/friday_night.toml"
    found = play_study.play(name, 50)
    assert cli.run(["play", name, "-n", "50", "--quiet"]) == 0 and len(found.table()) and not watched
    short = capsys.readouterr().out
    assert cli.run(["play", name, "-n", "50", "--quiet", "--detail"]) == 0 and len(watched) == 1
    assert "Steps of plays" in capsys.readouterr().out and "Steps of plays" not in short
    assert cli.run(["play", name, "-n", "50", "--quiet", "--json", str(tmp_path / "found.json")]) == 0
    written = json.loads((tmp_path / "found.json").read_text(encoding="utf-8"))
    assert written["play_steps"]["possessions"] == 50 and len(watched) == 2
    assert found.to_dict()["play_steps"] == written["play_steps"] and found.to_dict() and len(watched) == 3
