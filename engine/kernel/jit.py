"""The one decorator of the kernel's functions.

``_nrt=False`` compiles without Numba's run-time reference counting: every call would otherwise count up
and down each array it is handed (measured: two to four times the time), and a function that tried to
allocate would not compile. ``error_model="numpy"``: no division carries a branch that raises (the kernel has
no error path; it guards its divisors). Under NUMBA_DISABLE_JIT the functions stay plain Python.

A kernel function is compiled once for all its compiled callers (Numba alone does it again for each number
written at a call, for int and float, with wrappers for Python and C), and only lowered: it is optimised and
turned into machine code in whatever is called from Python, once (Numba alone does both again for all that a
function calls, at each function). Called from Python itself, it is compiled as Numba does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import llvmlite.binding as ll
import numba
from numba.core import types
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, DefaultPassBuilder
from numba.core.types.misc import unliteral

import engine.policies.members  # noqa: F401  (members of engine.state.words in compiled code)

_OPTIONS: dict[str, Any] = {"_nrt": False, "error_model": "numpy"}


class _NoEnvironment:
    """Stands for the code generator where a function's Python environment would be set: it has none."""

    @staticmethod
    def set_env(name: str, env: Any) -> None:
        return


class _Part(JITCodeLibrary):
    """A function as it was lowered, and the functions that it calls; no machine code of its own."""

    codegen = _NoEnvironment()
    _shared_module: Any

    def finalize(self) -> None:
        self._finalized = True

    def get_pointer_to_function(self, name: str) -> int:
        return 0

    def _parts(self, seen: set[Any]) -> Iterator[Any]:
        """All libraries that the function needs and that are not yet seen, each after who calls it."""
        for library in self._linking_libraries:
            if library not in seen:
                seen.add(library)
                yield library
                if isinstance(library, _Part):
                    yield from library._parts(seen)

    def _get_module_for_linking(self) -> Any:
        """The function and all that it calls, in one module, to be linked into any number of others."""
        if self._shared_module is None:
            whole = self._final_module.clone()
            own = _exported(whole)
            for library in self._parts({self}):
                if isinstance(library, _Part):
                    module = library._final_module.clone()
                    _link_once(_exported(module))
                else:
                    module = library._get_module_for_linking()
                whole.link_in(module, preserve=True)
            _link_once(own)
            self._shared_module = whole
        return self._shared_module


def _exported(module: Any) -> list[Any]:
    return [f for f in module.functions if not f.is_declaration and f.linkage == ll.Linkage.external]


def _link_once(functions: list[Any]) -> None:
    for function in functions:
        function.linkage = "linkonce_odr"


class _PartCompiler(CompilerBase):
    def define_pipelines(self) -> list[Any]:
        self.state.library = _Part(self.state.targetctx.codegen(), self.state.func_id.func_qualname)
        return [DefaultPassBuilder.define_nopython_pipeline(self.state)]


def _plain(argument: Any) -> Any:
    """One type for all whole numbers that a caller may hand over: int64, unless they are unsigned."""
    argument = unliteral(argument)
    signed = isinstance(argument, types.Integer) and getattr(argument, "signed", False)
    return types.int64 if signed else argument


def njit(function: Callable[..., Any]) -> Any:
    """The function, compiled."""
    whole = numba.njit(**_OPTIONS)(function)
    if numba.config.DISABLE_JIT:
        return whole
    part = numba.njit(
        no_cpython_wrapper=True, no_cfunc_wrapper=True, pipeline_class=_PartCompiler, **_OPTIONS
    )(function)

    def template(args: Any, kws: Any) -> Any:
        return part.get_call_template(
            tuple(_plain(one) for one in args), {name: _plain(one) for name, one in kws.items()}
        )

    whole.get_call_template = template
    whole.get_overload = part.get_overload
    whole.part = part
    return whole


def entry(function: Callable[..., Any]) -> Any:
    """A function that Python calls: kept on disk, other threads run meanwhile."""
    return numba.njit(cache=True, nogil=True, **_OPTIONS)(function)
