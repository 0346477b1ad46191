"""What a policy's function reaches: its compiled helpers, their files, and all of it as plain Python.

Numba looks at the file of the function it compiles and at nothing that function calls, and a compiled helper
neither checks an index nor raises where C code asked it. So the helpers are looked for here: through the
names a function uses, in its globals, its closure and the modules among them.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

_ENGINE = Path(__file__).resolve().parents[1]


def python_of(value: object) -> types.FunctionType | None:
    """The Python function behind a function of Numba or of Python, None for anything else."""
    inner = getattr(value, "py_func", value)
    return inner if isinstance(inner, types.FunctionType) else None


def _is_compiled(value: object) -> bool:
    return isinstance(getattr(value, "py_func", None), types.FunctionType)


def _names(code: types.CodeType) -> set[str]:
    inner = [_names(part) for part in code.co_consts if isinstance(part, types.CodeType)]
    return set(code.co_names).union(*inner)


def _closed_over(function: types.FunctionType) -> list[Any]:
    return [cell.cell_contents for cell in function.__closure__ or ()]


def _values(function: types.FunctionType) -> Iterator[Any]:
    names = _names(function.__code__)
    own = [function.__globals__[name] for name in names if name in function.__globals__]
    for value in own + _closed_over(function):
        yield value
        if isinstance(value, types.ModuleType):
            yield from (vars(value)[name] for name in names if name in vars(value))


def reached(function: types.FunctionType) -> list[types.FunctionType]:
    """The function and every compiled helper it reaches, as Python functions."""
    found = [function]
    for one in found:  # grows while it is walked
        for value in _values(one):
            inner = python_of(value) if _is_compiled(value) else None
            if inner is not None and inner not in found:
                found.append(inner)
    return found


def sources(function: types.FunctionType) -> dict[str, Path]:
    """Every source file a compiled function may depend on, by name: the packages of all that it reaches.

    A module outside a package is its own file alone; of the engine, the folder of the file.
    """
    found: dict[str, Path] = {}
    for file in {Path(one.__code__.co_filename) for one in reached(function)}:
        top = file.parent
        if _ENGINE not in file.resolve().parents:
            while (top.parent / "__init__.py").exists():
                top = top.parent
        files = top.rglob("*.py") if (top / "__init__.py").exists() else [file]
        found |= {f"{top.name}/{one.relative_to(top)}": one for one in files if one.is_file()}
    return dict(sorted(found.items()))


def plain(function: types.FunctionType) -> Callable[..., Any]:
    """The same function with every compiled helper it reaches as plain Python, so that errors are raised."""
    made: dict[types.FunctionType, types.FunctionType] = {}

    def swapped(value: Any, names: set[str]) -> Any:
        inner = python_of(value) if _is_compiled(value) else None
        if inner is not None:
            return copy(inner)
        if isinstance(value, types.ModuleType):
            own = {name: vars(value)[name] for name in names if _is_compiled(vars(value).get(name))}
            if own:
                parts = {name: swapped(one, names) for name, one in own.items()}
                return types.SimpleNamespace(**vars(value) | parts)
        return value

    def copy(one: types.FunctionType) -> types.FunctionType:
        if one not in made:
            names, space = _names(one.__code__), dict(one.__globals__)
            cells = tuple(types.CellType(swapped(value, names)) for value in _closed_over(one))
            made[one] = types.FunctionType(
                one.__code__, space, one.__name__, one.__defaults__, cells if one.__closure__ else None
            )
            made[one].__kwdefaults__ = one.__kwdefaults__
            space.update({name: swapped(space[name], names) for name in names if name in space})
        return made[one]

    return copy(function)
