"""What is kept of an evening: the same to the letter, made anew after an edit, damage is told."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from evening_table import TEXTS, ran
from report_pages import SECONDS
from test_evening_truth import told_by

from engine import cli
from engine.commands import shared
from engine.inputs.sheets import load_evening
from engine.run.blocks import Runner
from engine.study import adapt, evening_report
from engine.study.evening_file import APPLICATION, ASIDE, NAME

EXAMPLE = Path(__file__).parents[1] / "configs" / "sheets" / "example_evening"


# --- the file beside the sheets -----------------------------------------------------------------------------


@pytest.fixture
def tiny(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    monkeypatch.setattr(evening_report, "USUAL", SECONDS)
    folder = tmp_path / "sheets"
    shutil.copytree(EXAMPLE, folder, ignore=shutil.ignore_patterns(f"{NAME}*"))
    return folder


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What ``compare`` keeps of it."""
    folder = tmp_path_factory.mktemp("once") / "sheets"
    shutil.copytree(EXAMPLE, folder, ignore=shutil.ignore_patterns(f"{NAME}*"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(evening_report, "USUAL", SECONDS)
        ran("compare", str(folder))
    return folder / NAME


@pytest.fixture
def played(tiny: Path, kept: Path) -> Path:
    """An evening whose ``compare`` is kept."""
    shutil.copy(kept, tiny / NAME)
    return tiny


def compared(folder: Path, capsys: pytest.CaptureFixture[str], *more: str) -> tuple[Any, str]:
    """The JSON of ``compare`` of a folder, and what was said beside it."""
    assert cli.run(["compare", str(folder), "--json", "-", *more]) == 0
    out, err = capsys.readouterr()
    return json.loads(out), err


def test_a_second_time_is_the_same_to_the_letter(tiny: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first, said = told_by(tiny)  # the time is said, what is kept is read
    assert said.count("about ") == len(TEXTS) + 1 and NAME in said
    assert said.count(" as busy as this machine is now, for ") == len(TEXTS) + 1
    again, said = told_by(tiny)
    assert again == first and said == ""
    moved = tiny.rename(tiny.parent / "moved")  # it is kept by what is in the sheets, not by where they lie
    found, said = compared(moved, capsys)
    assert said == "" and found["scenario"].endswith("moved")


def test_the_work_of_a_plan_is_of_whole_rounds_and_of_what_one_thread_does_alone() -> None:
    evening = load_evening(EXAMPLE)
    one, two, eight = (evening_report.Played(evening, 1, threads).work("plan") for threads in (1, 2, 8))
    assert one < two < 1.5 * one  # 10 parts and 4: no round is left half empty, but one waits for the other
    assert eight > 16 / 10 * one  # two rounds for the 10 parts of the table, one for the 4 of the games
    again = tuple(one.model_copy(update={"name": f"{one.name} again"}) for one in evening.scenario.settings)
    doubled = evening.scenario.model_copy(update={"settings": (*evening.scenario.settings, *again)})
    assert evening_report.Played(replace(evening, scenario=doubled), 1, 2).work("plan") == two


@pytest.mark.full
def test_the_time_said_is_of_the_machine_as_it_is_and_the_bar_reaches_its_end(
    tiny: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, value in (("PLAYED", 400), ("TRIED", 60), ("JUDGED", 600)):
        monkeypatch.setattr(adapt, name, value)
    found = evening_report.Played(load_evening(tiny), 1, 2)
    seen: list[tuple[int, int]] = []
    found.progress = lambda done, total: seen.append((done, total))
    block, slept_s = Runner.block, 0.5

    def slowed(*arguments: Any) -> Any:
        time.sleep(slept_s)  # as where others have the processor
        return block(*arguments)

    for parts in (("timing",), ("plan",), tuple(evening_report.NEEDS)):  # the bar is of what is missing
        missing = found.missing(*parts)
        with monkeypatch.context() as patch:
            patch.setattr(Runner, "block", slowed)
            work = sum(found.work(name) for name in missing)
            assert found.expect(*missing) >= work / 2 * slept_s / evening_report.PROBE
        seen.clear()
        for name in missing:
            found.part(name)
        assert seen == sorted(seen) and seen[-1] == (100, 100)
    monkeypatch.setattr(shared, "BAR_DELAY_S", 0.0)
    for done, ends in ((4, True), (3, False)):
        with shared.progress_bar(False) as show:
            show(1, 4)
            show(done, 4)
        said = capsys.readouterr().err
        assert said.endswith("\n") == ends and ("100%" in said) == ends


def test_an_edit_makes_it_anew_and_other_questions_stand_beside(
    played: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    usual, _ = compared(played, capsys)
    other, said = compared(played, capsys, "--seed", "7")
    assert "seed 7" in said and other["seed"] == 7 and other != usual
    more, said = compared(played, capsys, "-n", "400")
    assert "400 possessions" in said and more["possessions"] == 400
    assert compared(played, capsys) == (usual, "")
    sheet = played / "game.csv"
    sheet.write_text(sheet.read_text(encoding="utf-8").replace("opponent_front,one", "opponent_front,two"))
    edited, said = compared(played, capsys)
    assert "played anew" in said and edited["config_hash"] != usual["config_hash"]
    with sqlite3.connect(played / NAME) as db:
        parts = db.execute("SELECT part FROM results ORDER BY part").fetchall()
        assert parts == [("compare",), ("fit",), ("seldom",), ("sheet",)]


def test_variants_are_played_once_for_the_same_settings_whatever_else_a_plan_is_asked(played: Path) -> None:
    """Another number of games, the same settings weighed: stress and formations are read."""
    ran("plan", str(played), "--games", "10")
    ran("plan", str(played), "--games", "12")
    with sqlite3.connect(played / NAME) as db:
        rows = dict(db.execute("SELECT part, COUNT(*) FROM results GROUP BY part").fetchall())
        asked = db.execute("SELECT asked FROM results WHERE part = 'stress'").fetchall()
    assert rows["plan"] == 2
    weighed = {str(json.loads(text)["own"]["weighed"]) for (text,) in asked}
    assert rows["stress"] == rows["formations"] == len(weighed)


def test_where_no_trap_may_be_advised_nobody_learns_one(tiny: Path) -> None:
    sheet = tiny / "game.csv"
    asked = re.sub("trap_allowed,.*", "trap_allowed,no", sheet.read_text(encoding="utf-8"))
    sheet.write_text(asked, encoding="utf-8")
    ran("compare", str(tiny))
    out, said = ran("adapt", str(tiny))
    assert "there is nothing to learn" in out and "adapted" in said
    out, _ = ran("plan", str(tiny), "--adapted")
    assert "Once they know it" not in out


def damage(path: Path, how: str) -> None:
    data = bytearray(path.read_bytes())
    if how == "cut":
        path.write_bytes(data[: len(data) // 2])
    elif how == "no database":
        path.write_text("my shopping list\n" * 300)
    elif how == "somebody else's":
        path.unlink()
        with sqlite3.connect(path) as db:
            db.execute("CREATE TABLE cows(name TEXT)")
    elif how == "a changed result":
        with sqlite3.connect(path) as db:
            (blob,) = db.execute("SELECT found FROM results").fetchone()
            db.execute("UPDATE results SET found = ?", (blob[:-9] + bytes(9),))
    elif how == "another layout":
        with sqlite3.connect(path) as db:
            db.execute("PRAGMA user_version = 99")


@pytest.mark.parametrize(
    "how", ["cut", "no database", "somebody else's", "a changed result", "another layout"]
)
def test_a_damaged_or_foreign_file_is_told_in_one_line_and_made_anew(
    how: str, played: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    usual, said = compared(played, capsys)
    assert said == ""
    path = played / NAME
    with sqlite3.connect(path) as db:
        assert db.execute("PRAGMA application_id").fetchone() == (APPLICATION,)
    damage(path, how)
    found, said = compared(played, capsys)
    assert found == usual
    told = [line for line in said.splitlines() if NAME in line and "kept in" not in line]
    assert len(told) == 1 and ASIDE in told[0] and "Traceback" not in said
    assert (played / ASIDE).exists()  # nothing of anybody's is lost
    assert compared(played, capsys) == (usual, "")


def test_where_nothing_can_be_kept_it_is_played(tiny: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tiny / NAME).mkdir()
    found, said = compared(tiny, capsys)
    assert found["possessions"] == 300 and "Traceback" not in said
    assert sum(NAME in line for line in said.splitlines() if "kept in" not in line) == 1
    assert (tiny / NAME).is_dir()


def test_what_is_kept_is_read_without_the_engine(played: Path, capsys: pytest.CaptureFixture[str]) -> None:
    usual = compared(played, capsys)[0]
    code = (
        "import sys\nfrom engine import cli\nfrom engine.study import evening_report\n"
        f"evening_report.USUAL = evening_report.{SECONDS!r}\n"
        f"assert cli.run(['compare', {str(played)!r}, '--json', '-']) == 0\n"
        "assert 'numba' not in sys.modules and 'pandas' not in sys.modules, 'too much is loaded'\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == usual
