"""Coded policies for the tests: registered for a while, or installed as a package beside the others."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from kernel_process import ROOT, SWITCHES
from numba import njit
from numba.core.caching import _CacheLocator

from engine.policies import coded

PACKAGE = ROOT / "tests" / "policy_package"

#: A scenario of the demo's teams; what plays it comes behind.
HEAD = """title = "Coded"
rules = "international"
level = "school"
possessions = 600
seed = 3
offence = { team = "juniper_hill", alignment = "high_post_short_corner" }
"""


@njit
def sixth_defender(floor):
    """Reads beyond its array: a helper in another file than the policy."""
    return floor.planned_x[5]


def scenario_file(folder: Path, defence: str, *settings: str) -> Path:
    """A scenario; ``defence`` adds keys to Millbrook Row's, each of ``settings`` is the text of one."""
    path = folder / "coded.toml"
    tables = "".join(f"\n[[setting]]\n{text.strip()}\n" for text in settings)
    path.write_text(f'{HEAD}[defence]\nteam = "millbrook_row"\n{defence.strip()}\n{tables}', encoding="utf-8")
    return path


@contextmanager
def registered(name: str, where: Any = None, call: Any = None) -> Iterator[str]:
    """The functions as a policy of this process, until the block ends."""
    coded.register(coded.CodedPolicy(name, f"test: {name}", "the tests", where, call))
    try:
        yield name
    finally:
        del coded._table[name]
        coded._compiled.cache_clear()


def install(package: Path, site: Path) -> None:
    """What an installer leaves of a package of pure Python: its modules, and its entry points by name.

    Done by hand because a test may not reach for a network or a build tool.
    """
    with open(package / "pyproject.toml", "rb") as file:
        project = tomllib.load(file)["project"]
    name = project["name"].replace("-", "_")
    shutil.copytree(package / name, site / name, ignore=shutil.ignore_patterns("__pycache__"))
    info = site / f"{name}-{project['version']}.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(
        f"Metadata-Version: 2.1\nName: {project['name']}\nVersion: {project['version']}\n", encoding="utf-8"
    )
    lines = [
        line
        for group, points in project["entry-points"].items()
        for line in (f"[{group}]", *(f"{key} = {value}" for key, value in points.items()))
    ]
    (info / "entry_points.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")


def kept(module: Path) -> list[Path]:
    """What Numba has kept of a module of an installed package, in the cache that all tests share."""
    folder = _CacheLocator.get_suitable_cache_subpath(str(module))
    return sorted((Path(os.environ["NUMBA_CACHE_DIR"]) / folder).glob(f"{module.stem}.*.nb[ci]"))


def python(
    *arguments: str, site: Path, cwd: Path = ROOT, status: int = 0, **switches: str
) -> subprocess.CompletedProcess[str]:
    """A Python process that sees the packages in ``site`` and this checkout; its exit status must be this."""
    path = {"PYTHONPATH": os.pathsep.join((str(site), str(ROOT)))}
    inherited = {name: value for name, value in os.environ.items() if name not in SWITCHES}
    done = subprocess.run(
        [sys.executable, *arguments],
        cwd=cwd,
        env=inherited | path | switches,
        capture_output=True,
        text=True,
        timeout=900,
    )
    assert done.returncode == status, f"{arguments}\n{done.stdout}\n{done.stderr}"
    return done
