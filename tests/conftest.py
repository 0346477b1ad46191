"""How the tests run: on every core, one compile of the engine for all of them, in three sizes.

Sizes, by mark (pyproject.toml): ``quick`` is whatever is not marked longer, for the inner loop; the default
adds ``long``; ``full`` is what is rarely broken at its whole length, which ``pytest -m full`` plays.
"""

from __future__ import annotations

import functools
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from filelock import FileLock
from hypothesis import settings

settings.register_profile("no seconds", deadline=None)  # how long a machine takes is no test
settings.load_profile("no seconds")

#: Files that compile for themselves or play nothing: they begin while another worker, which was handed the
#: file before them, compiles for all.
BESIDE_THE_COMPILE = ("test_bounds.py", "test_tools.py", "test_cache.py")
#: Then those that take longest, so that no worker is left with one of them at the end.
LONGEST = (
    "test_patterns.py", "test_oracle.py", "test_evening_truth.py", "test_evening_kept.py",
    "test_sheet_fit.py", "test_coded_policies.py", "test_bench_page.py", "test_walkthrough.py",
    "test_sweep_analysis.py", "test_slides.py",
)  # fmt: skip
#: Files that are ``long`` as a whole: they compile, start processes or browsers, or play whole studies.
LONG = set(
    """
    test_bounds test_cache test_sweep_analysis test_sweep_kill test_sweep_dask test_stop test_walkthrough
    test_timing test_lineup test_plan test_evening_report test_evening_truth test_report_page test_bench_page
    test_replay_page test_patterns_estimates test_draws test_slides test_slide_times test_box_scores
    test_levels test_coded_policies
    """.split()
)
ORDER = {name: place for place, name in enumerate((LONGEST[0], *BESIDE_THE_COMPILE, *LONGEST[1:]))}


def pytest_configure(config: pytest.Config) -> None:
    """Workers, and the processes that tests start, share one cache: the given one, or pytest's own."""
    if "NUMBA_CACHE_DIR" not in os.environ:
        assert config.cache is not None
        os.environ["NUMBA_CACHE_DIR"] = str(config.cache.mkdir("engine"))


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.path.stem in LONG:
            item.add_marker("long")
        if not any(item.get_closest_marker(longer) for longer in ("long", "full")):
            item.add_marker("quick")
    items.sort(key=lambda item: ORDER.get(item.path.name, len(ORDER)))


@functools.cache
def compile_engine() -> None:
    """One worker compiles, the others wait at the lock and then load what it has written."""
    from engine.inputs import load_scenario
    from engine.kernel.batch import play_block
    from engine.state.record import N_RECORD
    from engine.world.pack import pack

    with FileLock(Path(os.environ["NUMBA_CACHE_DIR"]) / "compile.lock"):
        play_block(pack(load_scenario("friday_night")).home, 1, 0, np.zeros((1, N_RECORD), np.int32))


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    if item.path.name not in BESIDE_THE_COMPILE:
        compile_engine()


@pytest.fixture
def compiled() -> Callable[[], None]:
    """For those of BESIDE_THE_COMPILE who play here, too: waits for the compile, or compiles."""
    return compile_engine


#: Possessions of a run of an evening's fit, and of a round of what carrying on is worth.
FIT, CARRYING = 200, 100


@pytest.fixture(scope="module", autouse=True)
def an_evenings_fit_is_short(request: pytest.FixtureRequest) -> Iterator[None]:
    """No size of an evening says how long its opponent is fitted, and that was half of its time.

    How well the fit finds what it should test_sheet_fit asks, calling it at sizes of its own; of
    test_evening_truth the one evening is fitted at full length; all else follows from any fit.
    """
    if request.path.name == "test_evening_truth.py":
        yield
        return
    from engine.study.sheet import fit

    whole = fit.fit_sheet

    def short(*given: Any, **more: Any) -> fit.SheetFit:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(fit, "CARRYING_POSSESSIONS", CARRYING)
            return whole(*given, possessions=FIT, **more)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fit, "fit_sheet", short)
        yield
