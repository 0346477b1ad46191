"""README's commands and its Python, run as they stand at small sizes: what a reader types must work.

Left out are the two that install (``.ci/run`` runs those) and the block for a cluster, which is no shell's.
"""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest
from kernel_process import ROOT

import engine
from engine import cli
from engine.study import adapt, own_men
from engine.study.sweep.sweep import SweepResult

README = (ROOT / "README.md").read_text(encoding="utf-8")
#: What makes a command small; the others of README are.
SMALL = {
    "compare": ["-n", "400"],
    "stress": ["--worlds", "16", "-n", "100"],
    "plan": ["--games", "10"],
    "lineup": ["-n", "3000"],
    "play": ["-n", "400"],
    "adapt": ["-n", "400"],
}
#: The same for the design of the sweep: what stands in the file, and what is played here.
SMALL_DESIGN = {
    "possessions = 2000": "possessions = 100",
    "batch = 1000": "batch = 50",
    "points = 256": "points = 16",
}


def blocks(language: str) -> list[str]:
    return re.findall(rf"(?ms)^```{language}\n(.*?)^```$", README)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in, with the files that README names."""
    shutil.copytree(ROOT / "configs", tmp_path / "configs")
    for design in (tmp_path / "configs" / "sweeps").glob("*.toml"):
        text = design.read_text(encoding="utf-8")
        for usual, small in SMALL_DESIGN.items():
            text = text.replace(usual, small)
        design.write_text(text, encoding="utf-8")
    for name in ("ROUND_POSSESSIONS", "TRAPPED_POSSESSIONS"):
        monkeypatch.setattr(own_men, name, 50)
    for name, value in {"PLAYED": 100, "TRIED": 10, "JUDGED": 100}.items():
        monkeypatch.setattr(adapt, name, value)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_commands_with_n_are_those_that_readme_names() -> None:
    commands = {name: cli.commands.get_command(None, name) for name in cli.commands.commands}  # type: ignore[arg-type]
    have = {
        name for name, one in commands.items() if one is not None and any("-n" in p.opts for p in one.params)
    }
    named = re.search(r"`-n` \(([^)]+)\) sets how many possessions", README)
    assert named is not None and set(re.findall(r"`(\w+)`", named[1])) == have
    (kept,) = re.findall(r"another `-n` \(([^)]+)\) or `--seed`", README)
    assert set(re.findall(r"`(\w+)`", kept)) <= have


#: The coach's evening has commands that cannot be made small; each has tests of its own beside this one.
EVENING = 2


@pytest.mark.parametrize(
    "number",
    [
        pytest.param(n, marks=pytest.mark.full if n == EVENING else pytest.mark.long)
        for n in range(2, len(blocks("sh")))
    ],
)
def test_every_command_of_readme_runs(number: int, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for line in blocks("sh")[number].splitlines():
        program, *words = shlex.split(line, comments=True)
        assert program == "trapledger", line
        options = SMALL.get(words[0], [])
        # "-n" is in the line already where README gives a size: the last one counts.
        assert cli.run([*words, *options, "--quiet"] if words[0] != "new" else words) == 0, line
        said = capsys.readouterr()
        outputs = [folder / words[i + 1] for i, word in enumerate(words) if word in WRITES]
        assert all(path.exists() for path in outputs), line
        assert (said.out.strip() or outputs) and "Traceback" not in said.err, line


#: Options that name what a command writes.
WRITES = ("-o", "--bench", "--store", "--records")


def test_all_but_the_cluster_and_the_ledger_is_run() -> None:
    assert len(blocks("sh")) == 8 and len(blocks("python")) == 2
    assert blocks("sh")[EVENING].startswith("trapledger new my_game\n")
    told = [text for text in blocks("text") if "trapledger " in text]
    tasks, cluster = told  # an array job's tasks (tests/test_sweep_damage.py runs them) and a cluster
    assert "--part K/N" in tasks and "dask scheduler" in cluster, "a command in a block that nobody runs"
    assert len(re.findall(r"(?m)^```", README)) == 2 * sum(
        len(blocks(kind)) for kind in ("sh", "python", "text", "toml")
    )


@pytest.mark.long
def test_the_python_of_readme_runs(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    block = next(one for one in blocks("python") if "ledger" in one)
    assert block.count("20_000") == 1
    names: dict[str, object] = {}
    exec(block.replace("20_000", "400"), names)
    ledger = names["ledger"]
    assert isinstance(ledger, type(engine.compare("friday_night", 10)))
    said = capsys.readouterr().out
    assert all(str(row) in said for row in (*ledger.table().index[:2], *ledger.calls().columns[-1:]))


@pytest.mark.long
def test_the_sweep_in_python_of_readme_runs(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    block = next(one for one in blocks("python") if "engine.sweep" in one)
    names: dict[str, object] = {}
    exec(block, names)
    found = names["found"]
    assert isinstance(found, SweepResult) and found.end.settled == 24 and (folder / "reaction.db").is_file()
    said = capsys.readouterr().out
    assert "corner trap" in said and "constants.reaction_s" in said


def test_the_design_is_made_small() -> None:
    design = (ROOT / "configs" / "sweeps" / "trap_inputs_sobol.toml").read_text(encoding="utf-8")
    assert all(design.count(usual) == 1 for usual in SMALL_DESIGN)
