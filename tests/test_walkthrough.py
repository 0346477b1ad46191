"""The page's walk through a new defence, step by step as it is written: no block may be left out.

The blocks of "A new defence in an afternoon" (configs/zones/new_defence.md) are taken in order, in an empty
folder. A block whose first line names a file is written there; of a block of commands every line is run.
``pip install`` stands for what an installer would leave (tests/policies.py): no test reaches for a network.
"""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from policies import ROOT, install, kept, python

from engine import cli
from engine.inputs import load_scenario

HEADING = "## A new defence in an afternoon\n"
MOST_LINES = 150


def section() -> str:
    text = (ROOT / "configs" / "zones" / "new_defence.md").read_text(encoding="utf-8")
    assert text.count(HEADING) == 1
    return re.split(r"(?m)^## ", text.split(HEADING)[1])[0]


def blocks() -> list[tuple[str, str]]:
    """Language and text of every fenced block, in order."""
    return re.findall(r"(?ms)^```(\w*)\n(.*?)^```$", section())


def write(folder: Path, text: str) -> Path:
    """The file of a block that starts with its name."""
    named = re.match(r"# ([\w./-]+\.(?:toml|py))\n", text)
    assert named, f"a block of a file starts with its name: {text.splitlines()[0]}"
    path = folder / named[1]
    assert not path.exists(), named[1]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def run(folder: Path, site: Path, line: str) -> tuple[list[str], str]:
    """Words of a command of the page, and what it prints; it must succeed."""
    words = shlex.split(line, comments=True)
    if words[:2] == ["pip", "install"]:
        for package in words[2:]:
            install(folder / package, site)
        return words, ""
    assert words[0] == "trapledger", line
    done = python("-m", "engine.cli", *words[1:], site=site, cwd=folder)
    return words, done.stdout


def test_the_section_is_short_and_every_fence_is_a_block() -> None:
    text = section()
    assert (HEADING + text).count("\n") <= MOST_LINES
    assert len(re.findall(r"(?m)^```", text)) == 2 * len(blocks())
    assert {language for language, _ in blocks()} == {"toml", "python", "sh"}


def test_every_step_of_the_walk_works(tmp_path: Path) -> None:
    folder, site = tmp_path / "afternoon", tmp_path / "site"
    folder.mkdir()
    site.mkdir()
    written: list[Path] = []
    used: set[Path] = set()
    outputs: list[tuple[list[str], str]] = []
    for language, text in blocks():
        if language in ("toml", "python"):
            written.append(write(folder, text))
            assert written[-1].suffix == {"toml": ".toml", "python": ".py"}[language]
            continue
        for line in filter(None, text.splitlines()):
            words, printed = run(folder, site, line)
            outputs.append((words, printed))
            named = {folder / word for word in words if (folder / word).exists()}
            used |= {path for path in named if path.is_file()}
            used |= {path / "pyproject.toml" for path in named if path.is_dir()}
            for path in named & {path for path in written if words[1] == "compare"}:
                used |= set(load_scenario(path).files)
    # Every file of the page was read by a command; of a module something was compiled and kept.
    for path in written:
        if path.suffix == ".py":
            installed = site / path.relative_to(folder).relative_to(path.relative_to(folder).parts[0])
            assert any(file.suffix == ".nbc" for file in kept(installed)), path
        else:
            assert path in used, path
    commands = [words[1] for words, _ in outputs]
    assert commands == ["check", "compare", "install", "check", "compare"]
    (_, checked), (_, compared), _, (_, asked), (_, coded) = outputs
    assert 'defence "2-1-2 zone", 6 rows' in checked and "2-1-2 zone: late: " in checked
    assert "hole: " not in checked.split("tuesday.toml")[0]
    assert re.search(r"(?m)^  2-1-2  ", compared)
    assert re.search(r"policy come_over .*: asked on 8,000 floors, wants a trap on \d+ of", asked)
    assert "fault: " not in asked
    found = re.search(r"corner: ([\d.]+) times in 100 possessions", coded)
    assert found and float(found[1]) > 0


@pytest.mark.parametrize("gone", ["near_forward = ", 'ball = "corner"'])
def test_the_2_1_2_with_a_gap_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], gone: str
) -> None:
    """So that the page's word for it holds."""
    text = next(text for _, text in blocks() if "# two_one_two.toml" in text)
    lines = text.splitlines(keepends=True)
    first = next(i for i, line in enumerate(lines) if line.startswith(gone))
    last = first + 1 if "near" in gone else first + 6
    start = first if "near" in gone else first - 1
    file = tmp_path / "two_one_two.toml"
    file.write_text("".join(lines[:start] + lines[last:]), encoding="utf-8")
    assert cli.run(["check", str(file)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1
    assert ("near_forward" if "near" in gone else "corner") in err
