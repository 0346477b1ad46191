"""Ends that are not the command's own: Ctrl-C at any time, and nobody reading its output."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from engine import cli

ROOT = Path(__file__).parents[1]
SCENARIO = ROOT / "configs" / "scenarios" / "friday_night.toml"
COMMAND = [sys.executable, "-m", "engine.cli"]


@pytest.mark.parametrize("phase", ["loading", "playing"])
def test_ctrl_c_leaves_with_130_and_no_file(tmp_path: Path, phase: str) -> None:
    """While the engine is compiled (an empty cache sees to that) and while possessions are played."""
    assert cli.run(["play", str(SCENARIO), "-n", "1", "--json", os.devnull, "--quiet"]) == 0, "compiles"
    target = tmp_path / "out.json"
    target.write_text("old")
    size = ["-n", "1000000000", "--seed", "1", "--threads", "2", "--json", str(target)]
    # Tests may themselves be started with the signal ignored, which a process inherits.
    start = (
        "import signal as s; s.signal(s.SIGINT, s.default_int_handler); from engine.cli import main; main()"
    )
    empty = {"NUMBA_CACHE_DIR": str(tmp_path / "cache")} if phase == "loading" else {}
    running = subprocess.Popen(
        [sys.executable, "-c", start, "compare", str(SCENARIO), *size],
        cwd=ROOT,
        env=os.environ | empty,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    time.sleep(4)
    assert running.poll() is None, running.communicate()
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=120)
    assert running.returncode == 130
    assert out == ""
    lines = err.splitlines()
    assert lines[-1] == "trapledger: stopped"
    assert phase == "playing" or "compiling the engine" in lines[0]
    assert "Traceback" not in err
    assert target.read_text() == "old"
    assert set(os.listdir(tmp_path)) <= {"out.json", "cache"}


def test_a_lost_interrupt_is_noticed_at_the_next_block(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Python drops an exception raised in a clean-up (a finaliser); such an interrupt must not be lost."""

    def interrupted() -> bool:
        with contextlib.suppress(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
        return True

    before = signal.getsignal(signal.SIGINT)
    monkeypatch.setattr("engine.kernel.batch.is_cached", interrupted)
    assert cli.run(["play", str(SCENARIO), "-n", "1000000000"]) == cli.INTERRUPTED
    assert capsys.readouterr() == ("", "trapledger: stopped\n")
    assert signal.getsignal(signal.SIGINT) is before


def test_nobody_reading_is_no_error() -> None:
    """A closed pipe: no traceback, and a status that says so."""
    running = subprocess.Popen(
        [*COMMAND, "play", str(SCENARIO), "-n", "200", "--quiet"], cwd=ROOT, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert running.stdout
    running.stdout.close()
    assert running.stderr
    assert running.stderr.read() == ""
    assert running.wait(timeout=120) == cli.BROKEN_PIPE
