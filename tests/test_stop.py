"""Ends that are not the command's own: Ctrl-C at any time, and nobody reading its output."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from interrupts import interruptible

from engine import cli
from engine.commands import shared

ROOT = Path(__file__).parents[1]
SCENARIO = ROOT / "configs" / "scenarios" / "friday_night.toml"
COMMAND = [sys.executable, "-m", "engine.cli"]
#: Seconds after which a test gives up on a process that does not end.
LIMIT_S = 120
#: Work without end, by command: far more than any machine does while a test waits.
ENDLESS = {
    "compare": ["-n", "1000000000", "--threads", "2"],
    "play": ["-n", "1000000000", "--threads", "2"],
    "stress": ["--worlds", "65536", "-n", "10000", "--threads", "2"],
    "plan": ["--games", "100000", "--threads", "2"],
    "lineup": ["-n", "1000000000", "--delta", "0.000001", "--threads", "2"],
}


@pytest.fixture(autouse=True)
def pythons_own_handler() -> Iterator[None]:
    with interruptible():
        yield


def started(command: str, *options: str, **environment: str) -> subprocess.Popen[str]:
    """A command in a process of its own, which a thousand seconds end at the latest."""
    start = (
        "import signal as s; s.alarm(1000); s.signal(s.SIGINT, s.default_int_handler);"
        "from engine.cli import main; main()"
    )
    return subprocess.Popen(
        [sys.executable, "-c", start, command, str(SCENARIO), *options],
        cwd=ROOT,
        env=os.environ | environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def stopped(running: subprocess.Popen[str]) -> None:
    """Ctrl-C must end a process with 130, a last line that says so and nothing on standard output."""
    try:
        assert running.poll() is None, running.communicate()
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=LIMIT_S)
    finally:
        running.kill()
    assert (running.returncode, out) == (cli.INTERRUPTED, "")
    assert "Traceback" not in err
    assert err.splitlines()[-1] == "trapledger: stopped"


@pytest.mark.parametrize(
    ("command", "phase"), [("compare", "loading"), *((command, "playing") for command in ENDLESS)]
)
def test_ctrl_c_leaves_with_130_and_no_file(tmp_path: Path, command: str, phase: str) -> None:
    """While the engine is compiled (an empty cache sees to that) and while possessions are played."""
    assert cli.run(["play", str(SCENARIO), "-n", "1", "--json", os.devnull, "--quiet"]) == 0, "compiles"
    target = tmp_path / "out.json"
    target.write_text("old")
    empty = {"NUMBA_CACHE_DIR": str(tmp_path / "cache")} if phase == "loading" else {}
    running = started(command, *ENDLESS[command], "--seed", "1", "--json", str(target), **empty)
    if phase == "loading":
        assert running.stderr and "compiling the engine" in running.stderr.readline()
    time.sleep(4)
    stopped(running)
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
    assert cli.run(["play", str(SCENARIO), "-n", "200000"]) == cli.INTERRUPTED
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
    assert running.wait(timeout=LIMIT_S) == cli.BROKEN_PIPE


def test_an_ignored_interrupt_stays_ignored() -> None:
    """What a shell has set for a background job holds: a Ctrl-C meant for another command ends no run."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with shared.ctrl_c.installed():
        signal.raise_signal(signal.SIGINT)
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    assert not shared.ctrl_c.seen
