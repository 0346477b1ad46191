"""Parts of the pages that need no browser and no evening: signs, signals, colours, words, the wheel."""

from __future__ import annotations

import itertools
import math
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import browser as browser_module
import numpy as np
import pytest
from sheet_files import write_evening

from engine import cli
from engine.estimate.rounding import parts_of_hundred
from engine.report.page.answer import beaten_words, clashes
from engine.report.page.court_card import apart
from engine.report.page.plan import PRACTICE_MIN, practice_minutes
from engine.report.page.shots import colour, contrast, ink_on, luminance, ramp
from engine.report.replay.page import TEMPLATES
from engine.report.rounding import whole_percent
from engine.report.screen.compare import _list, _not_judged
from engine.report.words import AFTER_WORDS, JOIN, OUTCOME_WORDS
from engine.state.words import AFTER, ENDS, OUTCOMES

ROOT = Path(__file__).parents[1]


def test_signs_give_way_until_none_covers_another() -> None:
    moved = apart([(0.0, 0.0)], [(10.0, 0.0), (0.0, 0.0), (300.0, 0.0)], 100.0)
    spots = [(0.0, 0.0), *moved]
    assert min(math.dist(a, b) for i, a in enumerate(spots) for b in spots[:i]) >= 99.0
    assert moved[2] == (300.0, 0.0)


@pytest.mark.parametrize("moments", range(4))
def test_a_practice_fills_its_minutes_one_after_the_other(moments: int) -> None:
    times = [tuple(map(int, text.split("\N{EN DASH}"))) for text in practice_minutes(3, moments)]
    assert len(times) == 3 + moments and times[0][0] == 0 and times[-1][1] == PRACTICE_MIN
    assert all(before[1] == after[0] for before, after in itertools.pairwise(times))
    assert [end - start for start, end in times[3:]] == [2] * moments
    assert max(end - start for start, end in times[:3]) - min(end - start for start, end in times[:3]) <= 1


def test_signals_that_may_be_mistaken_are_noticed() -> None:
    assert clashes({"corner": "red", "wing": "blue"}) == []
    assert "several calls" in clashes({"corner": "Red", "wing": "red "})[0]
    assert "another call" in clashes({"corner": "wing", "wing": "blue"})[0]
    assert "shouted" in clashes({"corner": "Switch"})[0]


def test_the_key_of_the_shots_shows_the_colours_of_the_map() -> None:
    """Few is pale, many is strong: lightness falls, in even steps (a perceptually uniform map)."""
    css = (TEMPLATES / "report.css").read_text(encoding="utf-8")
    assert f"linear-gradient(90deg, {', '.join(ramp())})" in css
    steps = [116.0 * luminance(one) ** (1 / 3) for one in ramp(9)]  # CIE 1976 lightness, from memory
    falls = [a - b for a, b in zip(steps, steps[1:], strict=False)]
    assert min(falls) > 0.5 * max(falls)


@pytest.mark.parametrize(
    ("sheet", "pairs"),
    [
        (
            "report.css",
            [("ink", "paper"), ("soft", "paper"), ("soft", "sand"), ("mark", "sand"), ("ink", "sand")],
        ),
        (
            "plays.css",
            [("ink", "paper"), ("soft", "paper"), ("mark", "sand"), ("ink", "sand"), ("line", "sand")],
        ),
        ("replay.css", [("ink", "paper"), ("soft", "paper"), ("ink", "floor"), ("line", "floor")]),
    ],
)
def test_contrast_of_words_and_lines_is_4_5_or_more(sheet: str, pairs: list[tuple[str, str]]) -> None:
    """Source: WCAG 2.1, 1.4.3 (4.5 for text), from memory."""
    css = (TEMPLATES / sheet).read_text(encoding="utf-8")
    named = dict(re.findall(r"--(\w+): (#[0-9a-f]{3,6});", css))
    for one, other in pairs:
        assert contrast(named[one], named[other]) >= 4.5, (one, other)
    # Whatever else is named as the colour of words stands on paper.
    for found in re.findall(r"[; {]color: (#[0-9a-f]{3,6}|var\(--\w+\))", css):
        value = named[found[6:-1]] if found.startswith("var") else found
        assert contrast(value, named["paper"]) >= 4.5 or contrast(value, named["ink"]) >= 4.5, found


def test_contrast_of_what_is_drawn_is_3_or_more_and_of_its_numbers_4_5() -> None:
    """Source: WCAG 2.1, 1.4.11 (3 for graphics) and 1.4.3 (4.5 for text), from memory."""
    css = (TEMPLATES / "report.css").read_text(encoding="utf-8")
    named = dict(re.findall(r"--(\w+): (#[0-9a-f]{3,6});", css))
    drawn = {
        rule: re.findall(r"var\(--(\w+)\)", text) for rule, text in re.findall(r"\n\.(\w+) {(.*?)}", css)
    }
    assert drawn["pass"] == ["band"] and drawn["floor"] == ["sand"] and drawn["lane"] == ["lane", "line"]
    for one in ("band", "line", "ink"):
        for ground in ("sand", "lane", "paper"):
            assert contrast(named[one], named[ground]) >= 3.0, (one, ground)
    assert contrast(named["ink"], named["band"]) >= 3.0  # a run across a pass
    for share in np.linspace(0.0, 1.0, 200):
        fill = colour(share, 1.0)
        assert contrast(ink_on(fill), fill) >= 4.5, share


def test_bad_input_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = write_evening(tmp_path / "sheets")
    wrong = (
        ["report", str(folder)],
        ["report", str(tmp_path / "nothing"), "-o", str(tmp_path / "a.html")],
        ["report", str(folder), "-o", str(tmp_path / "no" / "a.html")],
        ["report", str(folder), "-o", str(tmp_path / "a.html"), "--bench", str(tmp_path / "a.html")],
        ["report", str(folder), "-o", str(tmp_path / "a.html"), "--seed", "-1"],
        ["report", str(folder), "-o", str(tmp_path / "a.html"), "--threads", "0"],
    )
    for arguments in wrong:
        assert cli.run(arguments) == 2
        said = capsys.readouterr()
        assert said.out == "" and len(said.err.strip().splitlines()) == 1
        assert not (tmp_path / "a.html").exists()


def test_a_missing_browser_fails_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(browser_module.shutil, "which", lambda name: None)
    with pytest.raises(pytest.fail.Exception) as failed:
        browser_module.program()
    assert str(failed.value).count("\n") == 0
    assert "Debian package chromium" in str(failed.value)


def test_the_wheel_holds_the_parts_of_the_page(tmp_path: Path) -> None:
    command = [
        sys.executable,
        "-m",
        "pip",
        "wheel",
        "--quiet",
        "--no-deps",
        "--no-build-isolation",  # the builder of the test extra: no network
        "--wheel-dir",
        str(tmp_path),
        str(ROOT),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    (wheel,) = tmp_path.glob("*.whl")
    names = set(zipfile.ZipFile(wheel).namelist())
    parts = (ROOT / "engine" / "report" / "templates").iterdir()
    assert {f"engine/report/templates/{part.name}" for part in parts if part.is_file()} <= names


def test_a_call_is_rounded_alike_on_the_screen_and_on_the_page() -> None:
    """Shares of a whole are rounded together, so that they add up to 100, in every output."""
    after = {"rim_shot": 0.164, "open_three": 0.024, "other_shot": 0.334, "turnover": 0.064, "reset": 0.414}
    plain, together = [round(100 * share) for share in after.values()], parts_of_hundred(after, after)
    assert sum(plain) == 98 and sum(together.values()) == 100
    outcomes = dict.fromkeys(OUTCOME_WORDS, 0.0) | {"escape_pass": 0.595, "retreat": 0.005, "steal": 0.4}
    found = {"outcomes": outcomes, "other_parts": {}, "after_escape": after}
    rim, again = together["rim_shot"], together["reset"]
    assert f"{rim} shots at the rim" in beaten_words(found) and f"{again} set or stopped" in beaten_words(
        found
    )
    said = _list(after, AFTER_WORDS).replace(JOIN, " ")
    assert f"{rim} shots at the rim" in said and f"{again} with the defence set again or play stopped" in said
    assert beaten_words(found).startswith("60 of 100 calls")


@pytest.mark.parametrize(
    ("called", "said"),
    [
        (1, "came up once in 20,000 possessions: not judged"),
        (2, "came up twice in 20,000 possessions: not judged"),
        (20, "came up 20 times in 20,000 possessions: not judged (compare -n 30000 would bring about 30)"),
    ],
)
def test_a_call_that_hardly_comes_up_is_not_judged(called: int, said: str) -> None:
    """More possessions are advised only where as many would do, and then how many."""
    assert _not_judged(called, 20_000) == said


def test_ends_are_known_to_the_words() -> None:
    from engine.report.words import AFTER_PAST, END_PAST, LEFT_WORDS, OUTCOME_PAST

    assert set(END_PAST) == set(ENDS)
    assert set(OUTCOME_PAST) == set(LEFT_WORDS) == set(OUTCOMES)
    assert set(AFTER_PAST) == set(AFTER)


def test_a_small_share_is_not_told_as_nothing() -> None:
    told = [whole_percent(n, share) for n, share in ((0, 0.004), (0, 0.0), (0, None), (3, 0.026))]
    assert told == ["under 1%", "0%", "0%", "3%"]
