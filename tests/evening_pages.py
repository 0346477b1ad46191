"""An evening's pages as fixtures: a test file says ``pytest_plugins = ("evening_pages",)``."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser import Chromium, Page, browser
from filelock import FileLock
from report_pages import BAD_NAME, LAPTOP, SMALL, advising
from sheet_files import GAME, Table, with_key, write_evening

from engine.inputs.sheets import load_evening
from engine.study.evening_file import EveningFile, inputs_digest
from engine.study.evening_report import Played
from engine.study.evening_result import EveningReport


def kept_report(factory: pytest.TempPathFactory, name: str, game: Table) -> EveningReport:
    """The evening's report: who comes first plays it, the other files and workers read what he kept."""
    base = factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / name / "sheets"
    folder.parent.mkdir(exist_ok=True)
    with FileLock(folder.parent / "played.lock"):
        if not folder.exists():
            write_evening(folder, {"game.csv": game})
        evening = load_evening(folder)
        file = EveningFile(folder, inputs_digest(evening), lambda line: pytest.fail(line))
        return Played(evening, 5, effort=SMALL, file=file).report()


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> EveningReport:
    """An evening against a team with a harmful name."""
    game = [[key, BAD_NAME if key == "them" else value] for key, value in GAME]
    return kept_report(tmp_path_factory, "evening", game)


@pytest.fixture(scope="module")
def withheld(tmp_path_factory: pytest.TempPathFactory) -> EveningReport:
    """Under 14, nobody has asked the league."""
    game = [
        row for row in with_key("age_group", "under 14") if row[0] not in ("zone_allowed", "trap_allowed")
    ]
    return kept_report(tmp_path_factory, "young", game)


@pytest.fixture(scope="module")
def two_calls(played: EveningReport) -> EveningReport:
    """The corner and the wing trap advised: every kind of row of the bench page."""
    names = [setting.name for setting in played.scenario.settings]
    return advising(played, [(names.index("corner trap"), 0), (names.index("wing trap, now and then"), 0)])


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chromium]:
    with browser(tmp_path_factory.mktemp("chromium")) as running:
        yield running


@pytest.fixture
def opened(chromium: Chromium, tmp_path: Path) -> Iterator[Any]:
    """``opened(html, width)``: the page in the browser; console and requests are checked at the end."""
    pages: list[tuple[Page, Path]] = []

    def open_page(html: str, width: int = LAPTOP) -> Page:
        path = tmp_path / f"page{len(pages)}.html"
        path.write_text(html, encoding="utf-8")
        page = chromium.page(width, 800, mobile=width < 500)
        pages.append((page, path))
        page.open(path)
        return page

    yield open_page
    for page, path in pages:
        assert page.problems == []
        assert page.requests == [path.resolve().as_uri()]
        page.close()
