"""The one decorator of the kernel's functions.

``_nrt=False`` compiles without Numba's run-time reference counting: every call would otherwise count up
and down each array it is handed (measured: two to four times the time), and a function that tried to
allocate would not compile. ``error_model="numpy"``: no division carries a branch that raises (the kernel has
no error path; it guards its divisors). Under NUMBA_DISABLE_JIT the functions stay plain Python.
"""

from __future__ import annotations

import functools

import numba

import engine.policies.members  # noqa: F401  (members of engine.state.words in compiled code)

njit = functools.partial(numba.njit, _nrt=False, error_model="numpy")
