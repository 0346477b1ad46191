"""Policies written as code: the contract, the table of names, and their compilation.

A coded policy stands on a base defence (a file of slides) and overrides what it wants of it. It is one or
two plain functions, compiled here into C functions of one signature, so that the kernel is compiled once
for all of them:

``where(floor, orders)``
    asked once per step. ``floor`` (state.arrays.FLOOR, one record, read only by agreement) is what can be
    seen; ``orders`` (state.arrays.ORDERS) holds the five places and paces the base defence wants and is
    changed in place. Metres from the rim, x > 0 the defence's right; order of the five: persons of the base
    defence. A place off the court or not a number is counted as a fault and the base's place is kept.
``call(floor)``
    asked once per step while the ball is held and no trap runs: 0 for no call, k for the k-th call of the
    setting. With it, the triggers and probabilities of the call files are not used.

Inside: scalars, the two records, ``math``, and other functions compiled with ``numba.njit``; no allocation
(it does not compile), no strings, no exceptions (an exception in a C function is lost: ``trapledger check``
runs the plain Python functions first). A division by zero gives inf or nan, and so a fault. A policy draws
no random numbers of its own: same floor, same answer.

Names come from ``register`` or from entry points of the group ``trapledger.policies`` of installed packages.
Compiled code is kept on disk; the file name carries a hash of the packages of all that the function reaches
(engine.policies.reach), so that an edit in a helper is noticed (Numba alone looks at the function's file).
Closures are for nothing but numbers: one around a compiled function is compiled anew in every process.
"""

from __future__ import annotations

import functools
import hashlib
import importlib.metadata
import sys
import types
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from engine.errors import InputError
from engine.policies.reach import python_of, sources

ENTRY_POINTS = "trapledger.policies"


@dataclass(frozen=True)
class CodedPolicy:
    """A policy as code: see the module's text. At least one of ``where`` and ``call`` is given."""

    name: str
    title: str
    source: str
    where: Callable[[Any, Any], None] | None = None
    call: Callable[[Any], int] | None = None

    def __post_init__(self) -> None:
        if self.where is None and self.call is None:
            raise ValueError(f"policy {self.name}: neither where nor call is given")


_table: dict[str, CodedPolicy] = {}


def register(policy: CodedPolicy) -> CodedPolicy:
    """Put a policy into the table of names; the same name again replaces it. Returns the policy."""
    _table[policy.name] = policy
    _compiled.cache_clear()
    return policy


def names() -> tuple[str, ...]:
    """Every policy that can be named: registered ones and those of installed packages."""
    return tuple(sorted({*_table, *(point.name for point in _entry_points())}))


def find(name: str, where: str = "policy", key: str = "") -> CodedPolicy:
    """The policy of this name.

    Raises InputError (``where`` and ``key`` name the place that asked) when there is none or its package
    cannot be loaded.
    """
    if name in _table:
        return _table[name]
    for point in _entry_points():
        if point.name == name:
            try:
                policy = point.load()
            except Exception as error:
                text = f"a policy whose package loads ({point.value}: {type(error).__name__}: {error})"
                raise InputError(where, key, name, text) from None
            if not isinstance(policy, CodedPolicy) or policy.name != name:
                allowed = f"a policy: {point.value} is not a CodedPolicy named {name}"
                raise InputError(where, key, name, allowed)
            return register(policy)
    known = ", ".join(names()) or "none is installed"
    raise InputError(where, key, name, f"the name of a coded policy: {known}")


def _entry_points() -> importlib.metadata.EntryPoints:
    return importlib.metadata.entry_points(group=ENTRY_POINTS)


def hash_of(name: str) -> int:
    """A policy's number in the world's record: 63 bits of its name's SHA-256, never 0."""
    return int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "big") >> 1 | 1


# --- compilation ------------------------------------------------------------------------------------------


def _nowhere(floor: Any, orders: Any) -> None:
    """Leaves the base defence's places as they are."""
    return


def _no_call(floor: Any) -> int:
    """Never calls."""
    return 0


#: Without a coded policy; a name that no policy can have.
NONE = CodedPolicy("", "the base defence", "none", _nowhere, _no_call)


def _stamp(function: types.FunctionType) -> str:
    """Hash of every source the function may depend on, what it is handed, how it is compiled, versions."""
    import numba
    import numpy as np

    digest = hashlib.sha256(f"{numba.__version__} {np.__version__} {sys.version}".encode())
    root = Path(__file__).resolve().parents[2]
    files = [*sorted((root / "engine" / "state").glob("*.py")), Path(__file__).resolve()]
    own = {file.relative_to(root).as_posix(): file for file in files}
    for name, file in (sources(function) | own).items():
        digest.update(name.encode())
        digest.update(file.read_bytes())
    return digest.hexdigest()[:16]


def _stamped(function: types.FunctionType) -> types.FunctionType:
    """The same function under a name that carries the stamp: Numba names its cache file after it."""
    copy = types.FunctionType(
        function.__code__,
        function.__globals__,
        function.__name__,
        function.__defaults__,
        function.__closure__,
    )
    copy.__qualname__ = f"{function.__qualname__}_{_stamp(function)}"
    copy.__module__ = function.__module__
    return copy


@functools.lru_cache(maxsize=1)
def _signatures() -> tuple[Any, Any]:
    import numba
    from numba import types as nt

    from engine.state.arrays import FLOOR, ORDERS

    floor, orders = numba.from_dtype(FLOOR), numba.from_dtype(ORDERS)
    return nt.void(floor, orders), nt.int64(floor)


#: As the kernel is compiled (engine.kernel.jit): nothing is allocated, no division raises.
_OPTIONS = {"_nrt": False, "error_model": "numpy"}


def _c_function(signature: Any, given: Callable[..., Any]) -> Any:
    import numba

    import engine.policies.members  # noqa: F401

    function = python_of(given)
    if function is None:
        raise TypeError("where and call must be Python functions")
    if numba.config.DISABLE_JIT:
        return function
    try:
        cached = numba.cfunc(signature, cache=True, **_OPTIONS)
        return cached(_stamped(function))
    except RuntimeError:  # no place to keep it (a frozen or read-only folder): compiled in each process
        return numba.cfunc(signature, **_OPTIONS)(function)


def _reason(error: Exception) -> str:
    """What a compiler's error says in one line: not its header, but the line after it and the place."""
    if "NRT required" in str(error):
        return "it allocates memory: a list, an array or a text made inside"
    lines = [" ".join(line.split()) for line in str(error).splitlines() if line.strip()]
    if not type(error).__module__.startswith("numba"):
        return f"{type(error).__name__}: {' '.join(lines)}"
    said = [line for line in lines if not line.startswith("Failed in")] or [type(error).__name__]
    place = next((line for line in said if line.startswith("File ")), "")
    return said[0] if place in ("", said[0]) else f"{said[0]} {place.rstrip(':')}"


@functools.lru_cache(maxsize=64)
def _compiled(name: str) -> tuple[Any, Any]:
    policy = NONE if name == NONE.name else find(name)
    where, call = _signatures()
    functions = []
    for word, signature, function in (
        ("where", where, policy.where or _nowhere),
        ("call", call, policy.call or _no_call),
    ):
        try:
            functions.append(_c_function(signature, function))
        except Exception as error:  # the compiler's own kinds, and what it trips over
            allowed = f"functions that Numba compiles ({word}: {_reason(error)})"
            raise InputError("policy", "", name, allowed) from None
    return functions[0], functions[1]


_numbers: dict[int, str] = {0: NONE.name}


def functions_of(number: int) -> tuple[Any, Any]:
    """The compiled (where, call) of the policy with this number (0: none), found by name in this process.

    Raises InputError when no policy of that number is registered or installed here, or it does not compile.
    """
    if number not in _numbers:
        _numbers.update({hash_of(name): name for name in names()})
    if number not in _numbers:
        raise InputError("policy", "", number, "a coded policy that is installed here")
    return _compiled(_numbers[number])


def compile_policy(name: str) -> tuple[Any, Any]:
    """The compiled (where, call) of a policy. Raises InputError naming the policy if it does not compile."""
    return _compiled(name)
