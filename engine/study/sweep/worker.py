"""What a Dask worker runs for a sweep; imported by workers, and by engine.study.sweep.cluster.

A kit is a design with the facts a worker must agree with, as bytes. A plugin carries it to every worker, to
those that join or are started again later too. A task then is a Batch, and its result an Outcome.
"""

from __future__ import annotations

import hashlib
import math
import pickle
import threading
import uuid
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from distributed import WorkerPlugin

from engine.errors import InputError
from engine.study.sweep.identity import arrays_digest, versions_here
from engine.study.sweep.resolve import Resolver
from engine.study.sweep.runner import Workshop
from engine.study.sweep.tallies import Batch, Outcome

_kits: dict[str, bytes] = {}
_shops: dict[str, Workshop | str] = {}  # or how this machine differs
_lock = threading.Lock()


class Unlike(Exception):
    """A worker whose results may differ from those of the store; the text names the difference."""


class NoKit(Exception):
    """A worker that the kit of a sweep has not reached."""


class Carrier(WorkerPlugin):
    """Puts a kit where the tasks of a worker find it."""

    def __init__(self, name: str, kit: bytes) -> None:
        self.name, self.kit = name, kit

    def setup(self, worker: Any) -> None:
        _kits[self.name] = self.kit

    def teardown(self, worker: Any) -> None:
        _kits.pop(self.name, None)
        _shops.pop(self.name, None)


# --- what must be the same ----------------------------------------------------------------------------------


def facts(design: Any, resolver: Resolver) -> dict[str, str]:
    """Everything outside a design that the bits of its results depend on, as found on this machine: versions
    and kind of machine, its mathematics library's own values, and what the files shipped with the engine
    make of the scenario, of the first point, and of every text that a factor takes."""
    from engine.inputs.scenario import config_hash
    from engine.world.pack import pack

    try:
        first = arrays_digest(resolver.packed(0))
    except InputError as error:
        first = str(error)
    hashes = hashlib.sha256()
    for factor in design.factors:
        for value in factor.values:
            if isinstance(value, str):  # may name a file
                hashes.update(
                    config_hash(design.opened.scenario(design.changes({factor.path: value}))).encode()
                )
    return {
        **versions_here(),
        "values of the mathematics library": _mathematics(),
        "arrays of the scenario": arrays_digest(pack(design.opened.base)),
        "arrays of the first point": first,
        "files that factors name": hashes.hexdigest(),
    }


def _mathematics() -> str:
    """SHA-256 of function values: one library may calculate differently on another processor."""
    arguments = [0.001 + 0.0137 * i for i in range(2000)]
    functions = (math.exp, math.log, math.sqrt, math.sin, math.cos, math.tanh, math.atan)
    values = [function(x) for function in functions for x in arguments]
    values += [math.pow(x, 0.731) for x in arguments] + [math.atan2(x, 1.7 - x) for x in arguments]
    return hashlib.sha256(np.array(values).tobytes()).hexdigest()[:16]


def kit_of(design: Any, resolver: Resolver, versions: Mapping[str, str]) -> tuple[str, bytes]:
    """A name of its own for a run, and the kit of its design.

    ``versions`` are the store's; they and the ``facts`` found here are what workers must agree with.
    """
    expected = {**facts(design, resolver), **versions}
    fresh = replace(design)  # without what it has worked out, so that a worker does not take it over
    kit = pickle.dumps((fresh, expected), protocol=5)
    return f"trapledger-{uuid.uuid4().hex[:16]}", kit


def _difference(expected: Mapping[str, str], found: Mapping[str, str]) -> str:
    return "; ".join(
        f"{name}: {found.get(name)} there, {value} in the store"
        for name, value in expected.items()
        if found.get(name) != value
    )


def _shop(name: str) -> Workshop:
    with _lock:
        found = _shops.get(name)
        if found is None:
            kit = _kits.get(name)
            if kit is None:
                raise NoKit(f"the design {name} has not reached this worker")
            design, expected = pickle.loads(kit)
            resolver = Resolver(design)
            found = _difference(expected, facts(design, resolver)) or Workshop(design, resolver)
            _shops[name] = found
    if isinstance(found, str):
        raise Unlike(found)
    return found


# --- tasks --------------------------------------------------------------------------------------------------


def check(name: str) -> None:
    """Raises Unlike where this worker may not play for the store."""
    _shop(name)


def play(name: str, batch: Batch) -> Outcome:
    """Play a batch of a kit on this worker, outside Python's lock. Raises Unlike as ``check`` does."""
    return _shop(name).play(batch)
