"""The two long studies of a night at their smallest: they go on, their page is made of what they kept."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from engine.study.sweep.stored import Stored

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "benchmarks"))

import interval_coverage  # noqa: E402
import screening  # noqa: E402

pytestmark = pytest.mark.long


def made(script: str, folder: Path, *arguments: str) -> str:
    """What a script says, run in ``folder``."""
    command = [sys.executable, str(ROOT / "benchmarks" / script), *arguments]
    where = os.environ | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, cwd=folder, env=where, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_coverage_goes_on_from_what_it_kept_and_writes_its_page_from_its_outcome(tmp_path: Path) -> None:
    size = ["--seeds", "3", "--possessions", "60", "120", "--truth", "300", "--threads", "2"]
    page = made("interval_coverage.py", tmp_path, *size, "--keep", "kept", "-o", "a.json", "--table", "a.md")
    kept = {path.name: path.read_bytes() for path in (tmp_path / "kept").iterdir()}
    assert len(kept) == 3 + 3 + 1 + 1
    (tmp_path / "kept" / "60_60.tally").unlink()
    assert made("interval_coverage.py", tmp_path, *size, "--keep", "kept", "-o", "b.json") == page
    assert {path.name: path.read_bytes() for path in (tmp_path / "kept").iterdir()} == kept
    assert json.loads((tmp_path / "a.json").read_text())["kinds"] is not None
    made("interval_coverage.py", tmp_path, "--read", "a.json", "--table", "c.md")
    assert (tmp_path / "c.md").read_text() == (tmp_path / "a.md").read_text()
    assert (
        "3 runs of 60 and 3 runs of 120 possessions" in page
        and "| baseline / points_per_possession |" in page
    )


def test_what_lies_outside_by_luck_is_not_named() -> None:
    # Standard error of a share over 1,000 runs at 95 %: .007. By luck the furthest of 20 is within 3.02.
    kinds = {f"kind {i}": 0.95 for i in range(18)} | {"luck": 0.929, "fault": 0.91}
    table = pd.DataFrame({"coverage": kinds, "given": 1.0, "intervals": 4000.0})
    words = interval_coverage.words_of(table, 1000)
    assert words.startswith("18 of 20 kinds lie within") and "fault (0.910" in words
    assert "luck (0.929" in words, "3.05 standard errors"
    assert "luck (" not in interval_coverage.words_of(table, 900)
    assert interval_coverage.words_of(table[:18], 1000).endswith("none.")


def test_a_screening_in_two_stages_is_the_same_by_any_number_of_processes(tmp_path: Path) -> None:
    """Few points of short games, so that it is said what is missing; then the second half by itself."""
    few = ["--points", "6", "6", "--possessions", "20", "20"]
    stores = []
    for processes in ("1", "2"):
        command = [sys.executable, str(ROOT / "benchmarks" / "screening.py"), *few, "--processes", processes]
        done = subprocess.run(
            [*command, "--folder", processes], cwd=tmp_path, capture_output=True, text=True,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        assert done.returncode == 1 and "are needed" in done.stderr, done.stderr
        with Stored.read(tmp_path / processes / "first.db") as store:
            stores.append(screening.worths(store))
    pd.testing.assert_frame_equal(*stores)
    assert sorted(path.name for path in (tmp_path / "2").glob("*.db")) == [
        "first-1of2.db", "first-2of2.db", "first.db",
    ]  # fmt: skip


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
