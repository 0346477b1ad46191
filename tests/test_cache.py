"""The compiled engine is kept between processes, and an edit in any of its files is noticed.

Numba looks only at the file of the function it compiles: a callee edited in another file would go on
running as it was. That this does not happen is tested on a copy of the package with a cache of its own.
So that the copy compiles in seconds, its step is a short one: every possession is a try and ends.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from kernel_process import ROOT, run_process

from engine.state.record import COLUMN

#: Appended to the copy's possession.py: the step of a possession, and one callee that lives in another file.
SHORT_STEP = '''

from engine.kernel import shooting


@njit
def step(w, c, where, ask):
    """Written by the test."""
    if shooting.is_three(w, 0.0, 9.0):
        c.record.three_attempts += 1
    c.s.mode = Mode.OVER
'''
#: Appended to the callee's file: from now on no shot counts three.
EDIT = '''


@njit
def is_three(w, x, y):
    """Edited by the test."""
    return False
'''
NUMBERS = {"home": list(range(20))}


@pytest.mark.full
def test_every_function_is_compiled_once(tmp_path: Path) -> None:
    found = run_process(NUMBERS, 1, {"NUMBA_CACHE_DIR": str(tmp_path / "cache")})
    assert (found["was_cached"], found["misses"]) == (False, 1)
    assert len(found["specialisations"]) > 100
    assert set(found["specialisations"].values()) == {1}, "each function once, however it is called"


def test_an_edited_callee_is_compiled_again(tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    without = shutil.ignore_patterns("__pycache__")
    shutil.copytree(ROOT / "engine", copy / "engine", ignore=without)
    shutil.copytree(ROOT / "configs", copy / "configs", dirs_exist_ok=True)
    kernel = copy / "engine" / "kernel"
    with open(kernel / "possession.py", "a", encoding="utf-8") as file:
        file.write(SHORT_STEP)
    switches = {"NUMBA_CACHE_DIR": str(tmp_path / "cache"), "NUMBA_OPT": "1"}
    threes = COLUMN["three_attempts"]

    first = run_process(NUMBERS, 1, switches, copy)
    assert Path(first["file"]).is_relative_to(copy), "the copy must be what is tested"
    assert (first["was_cached"], first["hits"], first["misses"]) == (False, 0, 1)
    assert (np.array(first["records"]["home"])[:, threes] == 1).all(), "the short step is what is played"

    assert len(first["specialisations"]) > 100
    assert max(first["specialisations"].values()) == 1, "no function twice, however it is called"

    again = run_process(NUMBERS, 1, switches, copy)
    assert (again["was_cached"], again["hits"], again["misses"]) == (True, 1, 0)
    assert again["records"] == first["records"]

    text = (kernel / "shooting.py").read_text(encoding="utf-8")
    assert "def is_three(" in text
    (kernel / "shooting.py").write_text(text + EDIT, encoding="utf-8")

    edited = run_process(NUMBERS, 1, switches, copy)
    assert (edited["was_cached"], edited["hits"], edited["misses"]) == (False, 0, 1)
    assert (np.array(edited["records"]["home"])[:, threes] == 0).all()
