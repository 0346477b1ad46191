"""The command line: results, exit statuses, one line for every kind of bad input, no partial file."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from engine import cli
from engine.commands import shared
from engine.inputs import configs_root
from engine.report import contract

ROOT = Path(__file__).parents[1]
CONFIGS = ROOT / "configs"
SCENARIO = CONFIGS / "scenarios" / "friday_night.toml"
#: Key of a scenario -> (folder, ending) of the file it names.
NAMED = {
    "rules": ("rules", ".toml"),
    "shot_table": ("shots", ".csv"),
    "team": ("teams", ".toml"),
    "alignment": ("alignments", ".toml"),
    "zone": ("zones", ".toml"),
    "call": ("calls", ".toml"),
}


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    """A copy of the demo scenario that names copies of its files by path; returns the scenario."""

    def use_copy(found: re.Match[str]) -> str:
        folder, ending = NAMED[found[2]]
        name = f"{found[3]}{ending}"
        (tmp_path / folder).mkdir(exist_ok=True)
        (tmp_path / folder / name).write_text(
            (CONFIGS / folder / name).read_text(encoding="utf-8"), encoding="utf-8"
        )
        return f'{found[1]}"{folder}/{name}"'

    text = SCENARIO.read_text(encoding="utf-8").replace("\nlevel =", '\nshot_table = "school"\nlevel =', 1)
    text = re.sub(rf'(?m)^(\s*({"|".join(NAMED)})\s*=\s*)"([^"]+)"', use_copy, text)
    copy = tmp_path / "demo.toml"
    copy.write_text(text, encoding="utf-8")
    return copy


def refused(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> str:
    """The line of a command that must be refused: status 2, nothing on stdout, one line on stderr."""
    status = cli.run([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    assert status == 2
    assert out == ""
    assert err.startswith("trapledger: ")
    assert err.endswith("\n")
    assert err.count("\n") == 1, err
    assert "Traceback" not in err
    return err


# --- results ------------------------------------------------------------------------------------------


def test_compare_prints_text_and_writes_json(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    target = tmp_path / "out.json"
    arguments = ["compare", str(SCENARIO), "-n", "500", "--seed", "1", "--quiet", "--json", str(target)]
    assert cli.run(arguments) == 0
    out, err = capsys.readouterr()
    result = json.loads(target.read_text())
    assert contract.broken(result) == []
    assert err == ""
    assert out.startswith(result["title"])
    for setting in result["settings"]:
        assert setting["name"] in out
    assert os.listdir(tmp_path) == ["out.json"]
    assert result["config_hash"] not in out
    assert cli.run([*arguments, "--detail"]) == 0
    assert result["config_hash"] in capsys.readouterr().out


@pytest.mark.parametrize("command", ["compare", "play"])
def test_json_to_standard_output_is_alone_there(capsys: pytest.CaptureFixture[str], command: str) -> None:
    texts = []
    for threads in ("1", "2"):
        size = ["-n", "500", "--seed", "1", "--threads", threads, "--json", "-"]
        assert cli.run([command, str(SCENARIO), *size]) == 0
        texts.append(capsys.readouterr().out)
    assert texts[0] == texts[1]
    result = json.loads(texts[0])
    assert contract.broken(result) == []
    assert (result["command"], result["possessions"], result["seed"]) == (command, 500, 1)


def test_play_takes_a_setting(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["compare", str(SCENARIO), "-n", "1", "--json", "-"]) == 0
    name = json.loads(capsys.readouterr().out)["settings"][0]["name"]
    assert cli.run(["play", str(SCENARIO), "-n", "300", "--setting", name]) == 0
    out = capsys.readouterr().out
    assert name in out
    assert "points per 100 possessions" in out


def test_scenario_supplies_what_is_not_asked_for(capsys: pytest.CaptureFixture[str], demo: Path) -> None:
    set_key(demo, "possessions", "120")
    set_key(demo, "seed", "77")
    assert cli.run(["play", str(demo), "--json", "-"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert (result["possessions"], result["seed"]) == (120, 77)


def test_trace_writes_a_table(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    target = tmp_path / "trace.csv"
    assert cli.run(["trace", str(SCENARIO), "--index", "3", "-o", str(target)]) == 0
    header, *rows = target.read_text().splitlines()
    assert header.startswith("t_s,clock_s,")
    assert len(rows) > 1
    assert cli.run(["trace", str(SCENARIO), "--index", "3", "--events"]) == 0
    assert capsys.readouterr().out.startswith("t_s,event,")


def test_check_says_what_each_file_means(capsys: pytest.CaptureFixture[str], demo: Path) -> None:
    assert cli.run(["check", str(SCENARIO), str(CONFIGS / "rules")]) == 0
    lines = capsys.readouterr().out.splitlines()
    files = [line for line in lines if not line.startswith("  ")]
    assert len(files) == 1 + len(list((CONFIGS / "rules").glob("*.toml")))
    assert any(line.startswith("  late: ") for line in lines)  # what the defence of the scenario gives up
    assert cli.run(["check", "--quiet", str(CONFIGS / "teams"), str(CONFIGS / "calls")]) == 0
    assert capsys.readouterr().out == ""


def test_check_goes_on_after_a_bad_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("= 1\n")
    assert cli.run(["check", str(bad), str(tmp_path / "gone.toml"), str(SCENARIO)]) == 2
    out, err = capsys.readouterr()
    assert len([line for line in out.splitlines() if not line.startswith("  ")]) == 1
    assert [line.startswith("trapledger: ") for line in err.splitlines()] == [True, True]


# --- help and usage -----------------------------------------------------------------------------------


@pytest.mark.parametrize("arguments", [["--help"], ["compare", "--help"], ["play", "-h"], ["--version"]])
def test_help_leaves_with_0(capsys: pytest.CaptureFixture[str], arguments: list[str]) -> None:
    assert cli.run(arguments) == 0
    assert capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["compar"], "compar"),
        (["compare"], "SCENARIO"),
        (["compare", "x.toml", "--possession", "5"], "--possession"),
        (["compare", "x.toml", "-n", "many"], "many"),
        (["play", "x.toml", "--seed", "1.5"], "1.5"),
        (["check"], "PATH"),
        (["trace", "x.toml"], "--index"),
    ],
)
def test_usage_errors_are_one_line(
    capsys: pytest.CaptureFixture[str], arguments: list[str], named: str
) -> None:
    assert named in refused(capsys, *arguments)


def test_help_loads_nothing_heavy() -> None:
    """`trapledger --help` answers at once because these stay unloaded."""
    code = (
        "import sys; from engine.cli import run; run(['--help']); "
        "print([m for m in ('numba', 'numpy', 'pandas', 'scipy', 'pydantic', 'tqdm') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.splitlines()[-1] == "[]"


# --- bad input ----------------------------------------------------------------------------------------


def set_key(path: Path, key: str, value: str) -> None:
    """Set a key at the top of a TOML file (before its first table)."""
    text = path.read_text(encoding="utf-8")
    head, mark, rest = re.match(r"(?s)(.*?)(^\[|\Z)(.*)", text, re.MULTILINE).groups()  # type: ignore[union-attr]
    head = re.sub(rf"(?m)^{key}\s*=.*\n", "", head)
    path.write_text(f"{key} = {value}\n{head}{mark}{rest}", encoding="utf-8")


def one_of(demo: Path, folder: str) -> Path:
    """One of the copied files of a kind."""
    return min((demo.parent / folder).iterdir())


def edit(path: Path, change: Callable[[str], str]) -> None:
    before = path.read_text(encoding="utf-8")
    after = change(before)
    assert after != before, "the edit must change the file"
    path.write_text(after, encoding="utf-8")


def _syntax(demo: Path) -> None:
    edit(demo, lambda text: text + "\nthis is not TOML\n")


def _missing_zone(demo: Path) -> None:
    one_of(demo, "zones").unlink()


def _unknown_key(demo: Path) -> None:
    set_key(demo, "posessions", "100")


def _wrong_type(demo: Path) -> None:
    set_key(demo, "seed", '"one"')


def _out_of_range(demo: Path) -> None:
    set_key(demo, "over_n", "0")


def _scenario_seed(demo: Path) -> None:
    set_key(demo, "seed", "-4")


def _make_above_one(demo: Path) -> None:
    edit(one_of(demo, "shots"), lambda text: re.sub(r"(?m)^(\d[\d.]*),[\d.]+,", r"\1,1.2,", text, count=1))


def _short_table(demo: Path) -> None:
    def cut(text: str) -> str:
        rows = text.splitlines(keepends=True)
        return "".join(row for row in rows if not re.match(r"\d", row) or float(row.split(",")[0]) < 9)

    edit(one_of(demo, "shots"), cut)


def _four_players(demo: Path) -> None:
    def cut(text: str) -> str:
        head, *players = text.split("[[player]]")
        head = re.sub(r"(?m)^lineup\s*=.*\n", "", head)
        last = players[3].split("\n[")[0]
        return "[[player]]".join([head, *players[:3], last + "\n"])

    edit(one_of(demo, "teams"), cut)


def _one_name_twice(demo: Path) -> None:
    def rename(text: str) -> str:
        head, first, second, *others = text.split("[[player]]")
        name = re.search(r'(?m)^name\s*=\s*(".*")', first)
        assert name
        return "[[player]]".join(
            [head, first, re.sub(r"(?m)^name\s*=.*$", f"name = {name[1]}", second), *others]
        )

    edit(one_of(demo, "teams"), rename)


def _region_uncovered(demo: Path) -> None:
    """Takes "corner" out of every row of the slides."""

    def cut(text: str) -> str:
        text = re.sub(r'(?m)^(ball\s*=\s*)"corner"', r'\1"half_court_corner"', text)
        text = re.sub(r'(?m)^(ball\s*=\s*\[.*)"corner"\s*,\s*', r"\1", text)
        return re.sub(r'(?m)^(ball\s*=\s*\[.*),\s*"corner"', r"\1", text)

    edit(one_of(demo, "zones"), cut)


def _role_twice(demo: Path) -> None:
    edit(
        one_of(demo, "calls"),
        lambda text: re.sub(r'(?m)^(doubles\s*=\s*\[\s*)("\w+")\s*,\s*"\w+"', r"\1\2, \2", text),
    )


def _budget_below_0(demo: Path) -> None:
    set_key(one_of(demo, "calls"), "budget", "-1")


@pytest.mark.parametrize(
    ("spoil", "file", "named"),
    [
        (_syntax, "demo.toml", ["TOML"]),
        (_missing_zone, "demo.toml", ["defence.zone", "zones/"]),
        (_unknown_key, "demo.toml", ["posessions", "possessions"]),
        (_wrong_type, "demo.toml", ["seed", "'one'", "whole number"]),
        (_out_of_range, "demo.toml", ["over_n", "0", "1"]),
        (_scenario_seed, "demo.toml", ["seed", "-4", "0"]),
        (_make_above_one, "shots", ["make", "1.2", "1"]),
        (_short_table, "shots", ["distance_m", "15"]),
        (_four_players, "teams", ["player", "5"]),
        (_one_name_twice, "teams", ["name"]),
        (_region_uncovered, "zones", ["corner"]),
        (_role_twice, "calls", ["doubles"]),
        (_budget_below_0, "calls", ["budget", "-1", "0"]),
    ],
)
def test_bad_files_are_one_line(
    capsys: pytest.CaptureFixture[str], demo: Path, spoil: Callable[[Path], None], file: str, named: list[str]
) -> None:
    spoil(demo)
    target = demo.parent / "out.json"
    for command in ("compare", "play"):
        line = refused(capsys, command, demo, "-n", "10", "--json", target)
        assert file in line
        for word in named:
            assert word in line.split(file, 1)[1], line
        assert any(told in line for told in ("allowed: ", "needed: ", "known keys: "))
    assert not target.exists()


def test_the_copied_demo_itself_is_good(capsys: pytest.CaptureFixture[str], demo: Path) -> None:
    """So that each refusal above is due to its one edit."""
    assert cli.run(["check", str(demo)]) == 0
    assert cli.run(["play", str(demo), "-n", "10", "--quiet"]) == 0
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("command", ["compare", "play", "check"])
def test_a_missing_file_is_one_line(capsys: pytest.CaptureFixture[str], tmp_path: Path, command: str) -> None:
    assert "gone.toml" in refused(capsys, command, tmp_path / "gone.toml")


@pytest.mark.parametrize("command", ["compare", "play"])
@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("-n", "0"),
        ("-n", "-3"),
        ("--seed", "-1"),
        ("--seed", str(2**64)),
        ("--threads", "0"),
        ("--threads", "-2"),
    ],
)
def test_sizes_out_of_range_are_one_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, command: str, option: str, value: str
) -> None:
    line = refused(capsys, command, SCENARIO, f"{option}={value}" if option != "-n" else f"-n{value}")
    long = "--possessions" if option == "-n" else option
    assert f"{long}: {value} is not allowed; allowed: a whole number from" in line


def test_an_unknown_setting_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    line = refused(capsys, "play", SCENARIO, "--setting", "hoem")
    assert "setting: 'hoem' is not allowed; allowed: one of home, " in line
    assert "nearest: home" in line
    assert "--index: -1 " in refused(capsys, "trace", SCENARIO, "--index", "-1")


@pytest.mark.parametrize("command", ["compare", "play"])
@pytest.mark.parametrize("target", ["", "missing/out.json"])
def test_an_unwritable_target_is_refused_before_the_work(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, command: str, target: str
) -> None:
    started = time.monotonic()
    line = refused(capsys, command, SCENARIO, "-n", "1000000000", "--json", tmp_path / target)
    assert "--json: " in line
    assert "a file that can be written" in line
    assert time.monotonic() - started < 30
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize(
    ("arguments", "option", "name", "ends"),
    [
        (["check", "configs/plays/gap_kick.toml"], "--picture", "play.png", ".html or .htm"),
        (["report", "no_such_folder"], "--output", "page.pdf", ".html or .htm"),
        (["report", "no_such_folder", "-o", "page.html"], "--bench", "bench.PDF", ".html or .htm"),
        (["attack", "no_such_folder"], "--output", "page.docx", ".html or .htm"),
        (["replay", SCENARIO], "--output", "page.mp4", ".html or .htm"),
        (["trace", SCENARIO, "--index", "0"], "--output", "table.xlsx", ".csv"),
        (["play", SCENARIO], "--records", "rows.csv", ".parquet"),
        (["compare", SCENARIO], "--json", "page.html", ".json"),
    ],
)
def test_no_file_is_named_as_what_it_is_not(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    option: str,
    name: str,
    ends: str,
) -> None:
    monkeypatch.chdir(tmp_path)  # a long path would be shortened
    line = refused(capsys, *arguments, option, name)
    assert f"{option}: '{name}' is not allowed; allowed: a name that ends in {ends}, " in line
    assert line.endswith(", or has no ending\n")
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("name", ["play.html", "play.HTM", "play", "St. Mary vs us", "game.1"])
def test_a_page_may_be_named_so(tmp_path: Path, name: str) -> None:
    target = tmp_path / name
    given = ["check", str(configs_root() / "plays" / "gap_kick.toml"), "--quiet"]
    assert cli.run([*given, "--picture", str(target)]) == 0
    assert target.read_text(encoding="utf-8").startswith("<!doctype html>")


def test_a_full_disk_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    """Linux' device that is always full."""
    assert "No space left" in refused(capsys, "play", SCENARIO, "-n", "10", "--quiet", "--json", "/dev/full")


def test_a_bar_and_the_remark_stay_off_standard_output(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shared, "BAR_DELAY_S", 0.0)
    monkeypatch.setattr("engine.kernel.batch.is_cached", lambda: False)
    size = [str(SCENARIO), "-n", "50", "--seed", "1"]
    assert cli.run(["play", *size]) == 0
    loud, remarks = capsys.readouterr()
    assert remarks.startswith(
        "trapledger: compiling the engine for this machine (once, up to a minute) ...\n"
    )
    assert cli.run(["play", *size, "--quiet"]) == 0
    quiet, nothing = capsys.readouterr()
    assert loud == quiet
    assert nothing == ""
