"""The two long studies of a night at their smallest: they go on, their page is made of what they kept."""

from __future__ import annotations

import json
import pickle
import sys
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from engine.study.sweep.stored import Stored
from engine.study.sweep.sweep import sweep

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "benchmarks"))

import interval_coverage  # noqa: E402
import screening  # noqa: E402
import until  # noqa: E402

pytestmark = pytest.mark.long


def test_coverage_goes_on_from_what_it_kept_and_writes_its_page_from_its_outcome(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)

    def made(*arguments: str) -> str:
        interval_coverage.main([*arguments, "--truth", "300", "--possessions", "60", "120"])
        return capsys.readouterr().out

    made("--seeds", "1", "2", "--threads", "2", "--keep", "kept")
    page = made("--seeds", "3", "--threads", "1", "--keep", "kept", "-o", "a.json", "--table", "a.md")
    assert made("--seeds", "3", "--threads", "2", "-o", "b.json") == page
    assert (tmp_path / "a.json").read_text() == (tmp_path / "b.json").read_text()
    assert json.loads((tmp_path / "a.json").read_text())["about"]["seeds"] == [3, 3]
    made("--read", "a.json", "--table", "c.md")
    assert (tmp_path / "c.md").read_text() == (tmp_path / "a.md").read_text()
    assert (
        "3 runs of 60 and 3 runs of 120 possessions" in page
        and "| baseline / points_per_possession |" in page
    )
    with pytest.raises(SystemExit, match="2"):  # kept with another truth
        interval_coverage.main(["--seeds", "1", "--truth", "301", "--keep", "kept"])


def test_nothing_is_begun_once_the_time_is_up_and_what_is_done_is_kept(tmp_path: Path) -> None:
    with until.pool_of(2) as pool:
        assert list(until.in_time(pool, abs, [-3, -1, -2], 2, None)) == [(-3, 3), (-1, 1), (-2, 2)]
        assert list(until.in_time(pool, abs, [-3, -1], 2, 0.0)) == []
    until.Kept(tmp_path / "some" / "kept", "a").put(now=True, done=3)
    assert until.Kept(tmp_path / "some" / "kept", "a").found["done"] == 3
    with pytest.raises(ValueError, match="with a, not b"):
        until.Kept(tmp_path / "some" / "kept", "b")


def test_what_lies_outside_by_luck_is_not_named() -> None:
    # Standard error of a share over 1,000 runs at 95 %: .007. By luck the furthest of 20 is within 3.02.
    kinds = {f"kind {i}": 0.95 for i in range(18)} | {"luck": 0.929, "fault": 0.91}
    table = pd.DataFrame({"coverage": kinds, "given": 1.0, "intervals": 4000.0})
    words = interval_coverage.words_of(table, 1000)
    assert words.startswith("18 of 20 kinds lie within") and "fault (0.910" in words
    assert "luck (0.929" in words, "3.05 standard errors"
    assert "luck (" not in interval_coverage.words_of(table, 900)
    assert interval_coverage.words_of(table[:18], 1000).endswith("none.")


def test_a_screening_is_the_same_by_any_number_of_processes_and_as_a_sweep(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Few points of short games, so that it is said what is missing."""
    few = ["--points", "6", "6", "--possessions", "20", "20"]

    def found(processes: str) -> list[dict[str, Any]]:
        with pytest.raises(SystemExit, match="are needed"):
            screening.main([*few, "--processes", processes, "--folder", str(tmp_path / processes)])
        held = pickle.loads(zlib.decompress((tmp_path / processes / "first.kept").read_bytes()))
        assert held["worths"][0] == 6
        return held["worths"][1]  # type: ignore[no-any-return]

    with pytest.raises(SystemExit, match="goes on"):
        screening.main([*few, "--folder", str(tmp_path / "2"), "--processes", "2", "--seconds", "0"])
    assert "first: 0 of 6 points" in capsys.readouterr().err
    rows = found("2")
    assert found("1") == rows
    store = sweep(tmp_path / "2" / "first.toml", tmp_path / "first.db").path
    with Stored.read(store) as played:
        swept = [screening.worths(played.settings, point, tally) for point, tally in played.tallies()]
    pd.testing.assert_frame_equal(pd.DataFrame(rows), pd.DataFrame([row for one in swept for row in one]))


def test_the_table_of_a_screening_counts_what_passes_the_floor() -> None:
    row = {
        "factor": "constants.reaction_s", "slope": -0.2, "slope_low": -0.3, "slope_high": -0.1, "floor": 0.15,
        "named": True, "explained": 0.5, "points": 400, "reason": "",
    }  # fmt: skip
    other = row | {"factor": "constants.jump_m", "slope": 0.05, "named": False}
    nothing = dict.fromkeys(row) | {"points": 9, "reason": "9 points played, 272 are needed", "named": False}
    about = dict.fromkeys(("version", "kernel", "design", "config_hash", "seed", "processor"), "x")
    about |= {"factors": 240, "points": 400, "possessions": 100}
    stage = {"corner trap": [row, other], "wing trap": [nothing]}
    text = screening.text_of({"first": stage, "second": stage, "about": {"first": about, "second": about}})
    assert "| corner trap | 400 | 50% | 1 of 2 | `reaction_s` -0.20 (0.10)*, `jump_m` +0.05 (0.10) |" in text
    assert "| wing trap | 9 | - | - | 9 points played, 272 are needed |" in text
    assert screening.plain(np.nan) is None and screening.plain(0.5) == 0.5
