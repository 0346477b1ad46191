"""Any module of the engine can be imported first: no chain of imports leads back to where it began."""

from __future__ import annotations

import ast
import subprocess
import sys
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def modules(folder: Path) -> dict[str, Path]:
    """Every module of the package in a folder, by its name."""
    found = {}
    for path in sorted(folder.rglob("*.py")):
        parts = path.relative_to(folder.parent).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def packages_of(name: str) -> set[str]:
    """The packages that a module lies in: Python runs them before it."""
    parts = name.split(".")
    return {".".join(parts[:n]) for n in range(1, len(parts))}


def imported(tree: ast.AST, known: dict[str, Path]) -> set[str]:
    """Modules of the package that running a module imports: not what stands in a function, or for types."""
    found: set[str] = set()
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            continue
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            node = ast.Module(body=node.orelse, type_ignores=[])
        if isinstance(node, ast.Import):
            found |= {one.name for one in node.names} & known.keys()
        elif isinstance(node, ast.ImportFrom) and node.module in known:
            names = {f"{node.module}.{one.name}" for one in node.names}
            found |= names & known.keys()
            if names - known.keys():  # a name that the module itself must have by then
                found.add(node.module)
        found |= imported(node, known)
    return found


def chains(folder: Path) -> dict[str, set[str]]:
    """What each module needs to be whole before it: what it imports, and the packages around that, less
    those around itself, which have begun before it anyway."""
    known = modules(folder)
    found = {}
    for name, path in known.items():
        direct = imported(ast.parse(path.read_text(encoding="utf-8")), known)
        around = set().union(*map(packages_of, direct)) - packages_of(name)
        found[name] = (direct | around) - {name}
    return found


def test_no_chain_of_imports_leads_back() -> None:
    found = chains(ROOT / "engine")
    assert len(found) > 200 and "engine.study.patterns.common" in found["engine.study.tracking"]
    try:
        TopologicalSorter(found).prepare()
    except CycleError as error:
        pytest.fail(" needs ".join(error.args[1][::-1]))


def test_a_chain_that_leads_back_is_noticed(tmp_path: Path) -> None:
    """A module whose package's other half needs it: it can be imported second, never first."""
    package = tmp_path / "rooms"
    (package / "inner").mkdir(parents=True)
    (package / "__init__.py").write_text("")
    (package / "inner" / "__init__.py").write_text("from rooms.inner.table import ALL\n")
    (package / "inner" / "table.py").write_text("from rooms.outer import FOUND\nALL = FOUND\n")
    (package / "inner" / "common.py").write_text("NOTHING = 0\n")
    (package / "outer.py").write_text("from rooms.inner.common import NOTHING\nFOUND = NOTHING\n")
    with pytest.raises(CycleError):
        TopologicalSorter(chains(package)).prepare()
    first = [sys.executable, "-c", "import rooms.outer"]
    assert subprocess.run(first, cwd=tmp_path, capture_output=True, text=True).returncode != 0
    (package / "inner" / "__init__.py").write_text("")
    TopologicalSorter(chains(package)).prepare()
    assert subprocess.run(first, cwd=tmp_path, capture_output=True, text=True).returncode == 0


@pytest.mark.parametrize("name", ["engine.study.tracking", "engine.study.patterns.truth"])
def test_these_two_need_each_other_s_room_and_can_be_first(name: str) -> None:
    done = subprocess.run([sys.executable, "-c", f"import {name}"], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
