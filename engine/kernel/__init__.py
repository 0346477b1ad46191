"""Compiled code only: scalar functions over flat arrays, no I/O, no allocation in the step.

Style (so that numba.cuda can compile the same functions): arguments are scalars, records and arrays;
no Python objects, no exceptions, no array creation; ``math`` functions only; float64; no fastmath
(one decision, here: contraction would change bits between processors).
"""
