"""The text of every command, printed once at its smallest size: no traceback, 80 columns, accents kept."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from sweep_runs import design_file

from engine import cli
from engine.report import words
from engine.study import adapt, evening_report, own_men
from engine.study.evening_file import NAME
from engine.study.lineup import opponent, places
from engine.study.patterns import playing
from engine.study.plan import plan, table
from engine.study.timing import play as timed

CONFIGS = Path(__file__).parents[1] / "configs"
#: Words of an argument -> what stands for it: a file, a folder of sheets, or a file or folder to write.
DEMO = str(CONFIGS / "scenarios" / "friday_night.toml")
OTHERS = str(CONFIGS / "scenarios" / "six_defences.toml")
#: A command and its arguments, and something that its text must say. SHEETS: a copy of the example evening,
#: the opponent's name with accents. OUT: a path to write to. DESIGN, STORE: a sweep of the tests. ONE: the
#: demo with its first setting alone, for learning takes as long for each.
TABLE = (
    ("new OUT", "evening.xlsx"),
    ("new OUT --csv", "READ-ME-FIRST.txt"),
    (f"compare {DEMO} -n 60", "staying home"),
    (f"compare {OTHERS} -n 60 --detail", "6 defences"),
    ("compare SHEETS -n 60 --detail", "Before you use this"),
    (f"play {DEMO} -n 60 --detail", "Box score"),
    ("play SHEETS -n 60", "Before you use this"),
    (f"stress {DEMO} --worlds 16 -n 20", "variants"),
    (f"stress {DEMO} --worlds 16 -n 20 --detail", "variants"),
    ("stress SHEETS --worlds 16 -n 20", "Before you use this"),
    ("adapt ONE -n 60 --detail", "once they know it"),
    ("adapt SHEETS -n 60", "Before you use this"),
    ("patterns --scale 0.0001", "patterns shown whole"),
    (f"plan {DEMO} --games 10 --detail", "Worth of use number"),
    ("plan SHEETS --games 10", "Before you use this"),
    ("plan SHEETS --games 10 --zone-or-men", "Zone or men"),
    (f"timing {DEMO} --detail", "The practice plan"),
    ("timing SHEETS", "Before you use this"),
    (f"lineup {DEMO} -n 10000 --detail", "Line-ups"),
    ("lineup SHEETS -n 10000", "Before you use this"),
    ("attack SHEETS", "Before you use this"),
    (f"replay {DEMO} -n 60 --pick 7 -o OUT", "The page is in|is in"),
    (f"report {DEMO} -o OUT", "The page is in"),
    (f"check {DEMO}", "Friday night"),
    ("check SHEETS", "Paper Kités"),
    (f"trace {DEMO} --index 3 --events", "t_s,"),
    ("sweep DESIGN --store OUT", ""),
    ("sweep --status STORE", "points settled"),
    ("gather STORE -o OUT.csv", ""),
    ("analyse STORE -o OUT", ""),
)
#: One line for each file, a table for programs, one line for each failed point.
LONG_LINES = ("check", "trace", "sweep")
#: Commands that a coach reads, and words that he does not have (the option --worlds keeps its name).
COACH = ("compare", "play", "stress", "adapt", "plan", "timing", "lineup", "attack", "replay", "report")
NOT_A_COACHS = re.compile(r"(?<!--)\b(worlds?|luck left|links?|shell|holds?|lane link|entry|shadow)\b", re.I)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sweep")
    path = folder / "s.db"
    assert cli.run(["sweep", str(design_file(folder)), "--store", str(path), "--quiet"]) == 0
    return path


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that stands for SHEETS: one for all commands, so that its opponent is fitted once."""
    folder = tmp_path_factory.mktemp("evening") / "sheets"
    shutil.copytree(CONFIGS / "sheets" / "example_evening", folder, ignore=shutil.ignore_patterns(f"{NAME}*"))
    game = (folder / "game.csv").read_text(encoding="utf-8")
    (folder / "game.csv").write_text(game.replace("Paper Kites", "Paper Kités"), encoding="utf-8")
    return folder


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Studies whose size no option sets."""
    tiny = evening_report.ReportSize(
        possessions=200, worlds=16, world_possessions=20, games=10, table_parts=2, lineup_possessions=5000,
        traced=4, formation_possessions=100, attack_possessions=200,
    )  # fmt: skip
    monkeypatch.setattr(evening_report, "USUAL", tiny)
    monkeypatch.setattr(own_men, "ROUND_POSSESSIONS", 50)
    monkeypatch.setattr(own_men, "TRAPPED_POSSESSIONS", 50)
    monkeypatch.setattr(adapt, "PLAYED", 100)
    monkeypatch.setattr(adapt, "TRIED", 10)
    monkeypatch.setattr(adapt, "JUDGED", 100)
    monkeypatch.setattr(playing, "FEWEST", 100)
    monkeypatch.setattr(table, "PART", 100)
    monkeypatch.setattr(plan, "PILOT_GAMES", 10)
    monkeypatch.setattr(timed, "TRACED", 4)
    monkeypatch.setattr(timed, "PLAYED", 400)
    monkeypatch.setattr(timed, "BEATEN", 1)
    monkeypatch.setattr(places, "BATCH", 10)
    monkeypatch.setattr(places, "FIRST_BATCHES", 4)
    monkeypatch.setattr(opponent, "ATTACK_POSSESSIONS", 100)
    monkeypatch.setattr(opponent, "CALL_POSSESSIONS", 100)


def test_the_table_has_every_command() -> None:
    assert {line.split()[0] for line, _ in TABLE} == set(cli.commands.commands)


@pytest.mark.parametrize(("line", "told"), TABLE, ids=[line.replace(str(CONFIGS), "") for line, _ in TABLE])
def test_every_command_prints_its_text(
    line: str,
    told: str,
    tmp_path: Path,
    small: None,
    sheets: Path,
    store: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    stands = {"SHEETS": sheets, "OUT": tmp_path / "out", "OUT.csv": tmp_path / "out.csv", "STORE": store}
    stands["DESIGN"] = design_file(tmp_path)
    stands["ONE"] = tmp_path / "one.toml"
    head, setting, *_ = Path(DEMO).read_text(encoding="utf-8").split("[[setting]]")
    stands["ONE"].write_text(f"{head}[[setting]]{setting}", encoding="utf-8")
    capsys.readouterr()
    assert cli.run([str(stands.get(word, word)) for word in line.split()]) == 0
    out, err = capsys.readouterr()
    assert any(words_ in out for words_ in told.split("|")) and (out or err)
    assert "Traceback" not in err and "\\x" not in out
    command = line.split()[0]
    if out and command not in LONG_LINES:
        paths = str(tmp_path), str(sheets), str(store)
        wide = [
            text for text in out.splitlines() if len(text) > words.WIDTH and not any(p in text for p in paths)
        ]
        assert not wide, wide
        assert out.endswith("\n")
    if command in COACH and "--detail" not in line:
        assert not NOT_A_COACHS.findall(out)
    if "SHEETS" in line:
        assert "Paper Kités" in out
        if command != "check" and "--detail" not in line:
            assert "trapledger check lists them" in " ".join(out.split())
            assert "the level's average." not in out


def test_what_cannot_be_printed_is_escaped_and_accents_are_one_letter() -> None:
    assert words.plain("Müller, Łódź 東\x07\u202e") == "Müller, Łódź 東\\x07\\u202e"
    assert words.plain("Mu\u0308ller") == "Müller"
    assert words.labelled("Größe", "klein").startswith("  Größe          klein")


def test_a_table_that_is_too_wide_goes_on_below_its_first_column() -> None:
    name = "  corner and short corner together, every second time they bring it up slowly"
    lines = words.table([("Worth", *"123456"), (name, *["(0.123)"] * 6)], indent="")
    assert max(map(len, lines)) <= words.WIDTH
    assert (
        " ".join(line[: line.find("(0.") if "(0." in line else 80].strip() for line in lines[1:])
        == name.strip()
    )
    assert words.table([("a", "1"), ("", "22")]) == ["  a   1", "     22"]


def test_a_long_label_stands_above_its_text() -> None:
    assert words.labelled("half court corner", "seldom") == "  half court corner\n" + " " * 17 + "seldom"
