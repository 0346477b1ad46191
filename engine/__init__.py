"""Trapledger: plays basketball possessions against a 2-3 zone and weighs every trap call.

The functions below are the whole programming interface; they load the compiled part only when called.
Quantities are in metres, seconds, points and probabilities from 0 to 1. Bad input raises
``engine.errors.InputError``, whose text is one line naming file, key, value and what is allowed.
"""

from __future__ import annotations

from os import PathLike
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import pandas as pd

    from engine.inputs.scenario import Scenario
    from engine.study.compare import CompareResult
    from engine.study.play import Opening, PlayResult
    from engine.study.replay.replay import Replay
    from engine.study.sweep.runner import Watcher
    from engine.study.sweep.sweep import SweepResult

from engine.version import __version__ as __version__

__all__ = ["check", "compare", "gather", "load", "play", "replay", "sweep"]


def load(path: str | PathLike[str]) -> Scenario:
    """Load and validate a scenario file (TOML) or a folder of sheets: an object the other functions take.

    Of a folder whose opponent can be fitted to his sheet it is the one not fitted, and ``assumed`` of it and
    of its results says so: give the other functions the folder itself.

    Raises
    ------
    engine.errors.InputError
        naming the file, the key, the value and what is allowed.
    """
    from engine.study.sheet.opened import unfitted

    return unfitted(path)


def check(path: str | PathLike[str]) -> pd.Series:
    """Validate a file or every file of a folder: one line of text per file on what it means.

    Raises
    ------
    engine.errors.InputError
        at the first file that is not valid.
    """
    import pandas as pd

    from engine.checks.files import check_path

    return pd.Series(check_path(path), dtype="object", name="meaning")


def play(
    scenario: Opening,
    possessions: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    setting: str | None = None,
    progress: Callable[[int, int], None] | None = None,
    records: str | PathLike[str] | None = None,
) -> PlayResult:
    """Play one setting of a scenario (path or loaded object); see ``engine.study.play.play``.

    Of a folder of sheets the opponent is fitted to his sheet first, as the commands do; likewise below.
    The result offers pandas objects: ``.table()``, ``.box()``, ``.ends()``, ``.shots()``, ``.calls()``.
    ``records`` names a Parquet file for one row per possession.
    """
    from engine.study.play import play as run
    from engine.study.sheet.opened import opened

    return run(opened(scenario, threads), possessions, seed, threads, setting, progress, records)


def compare(
    scenario: Opening,
    possessions: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> CompareResult:
    """Play every setting of a scenario beside staying home; see ``engine.study.compare.compare``.

    The result offers pandas objects: ``.table()`` one row per setting, ``.calls()`` one row per call.
    """
    from engine.study.compare import compare as run
    from engine.study.sheet.opened import opened

    return run(opened(scenario, threads), possessions, seed, threads, progress)


def replay(scenario: Opening, index: int, setting: str | None = None, seed: int | None = None) -> Replay:
    """Play possession number ``index`` again with its full state per tick (``engine.study.replay``).

    The result offers pandas objects: ``.frames()``, ``.events()``, ``.options()``, ``.record()``.
    """
    from engine.study.replay.replay import replay as run
    from engine.study.sheet.opened import opened

    return run(opened(scenario), index, setting, seed)


def sweep(
    design: str | PathLike[str],
    store: str | PathLike[str],
    possessions: int | None = None,
    threads: int | None = None,
    scheduler: str | None = None,
    take: Sequence[str | PathLike[str]] = (),
    part: tuple[int, int] = (1, 1),
    repair: bool = False,
    progress: Watcher | None = None,
) -> SweepResult:
    """Play what a design of many points still needs into a store; see ``engine.study.sweep.sweep.sweep``.

    The result offers ``.table()`` (tidy pandas, one row per point and setting), ``.xarray()`` (an array with
    a dimension for every factor of a grid), ``.analyse()`` (indices, curves, trade-off) and ``.provenance``.
    Killed at any moment, the same call goes on where it was, to the bit.
    """
    from engine.study.sweep.sweep import sweep as run

    return run(design, store, possessions, threads, scheduler, take, part, repair, progress)


def gather(store: str | PathLike[str]) -> pd.DataFrame:
    """The results in a store of a sweep, finished or not, as a tidy table: one row per point and setting.

    Raises
    ------
    engine.errors.InputError
        no store of a sweep, or a damaged one.
    """
    from pathlib import Path

    from engine.study.sweep.gather import gather as run

    return run(Path(store))
