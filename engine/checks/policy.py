"""What a coded policy answers before the kernel plays it: behind ``trapledger check`` on a scenario.

In compiled C functions an exception is lost and an index out of bounds goes unnoticed. So the plain Python
functions are asked first, their compiled helpers as plain Python too, on floors taken step by step from
possessions of the very world they are for:

1. some 4,000 floors of the base defence, the policy only watching;
2. once compiled, some 4,000 floors of possessions that the policy plays itself (it meets floors that it has
   made), where the compiled answers must be those of plain Python.

Refused (InputError, exit status 2): a policy that raises, that does not compile, whose ``call`` does not
answer a whole number, whose compiled answers differ, or that is of no use at all because every floor has a
place off the court or not a number, or every call it makes is one that the setting does not have. Fewer
faults than that are findings: the kernel counts them (policy_faults) and keeps the base's place or makes no
call.
"""

from __future__ import annotations

import ctypes
import operator
import traceback
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple, NoReturn

import numba
import numpy as np

from engine.errors import InputError
from engine.inputs.defence import persons_of
from engine.inputs.scenario import Scenario
from engine.kernel.batch import watch_list
from engine.kernel.motion import inside
from engine.policies import coded
from engine.policies.reach import plain, python_of, reached
from engine.state.arrays import N_SIDE, ORDERS
from engine.state.words import Mode, TrapPhase
from engine.world.pack import pack

#: Floors of each round, and the most possessions they are taken from.
FLOORS, POSSESSIONS = 4_000, 200
#: Compiled and plain answers nearer than this are the same, metres (``math`` may differ in its last bit).
SAME_M = 1e-9

_inside: Callable[[Any, float, float], bool] = python_of(inside) or inside
_C_WHERE = ctypes.CFUNCTYPE(None, ctypes.c_void_p, ctypes.c_void_p)
_C_CALL = ctypes.CFUNCTYPE(ctypes.c_int64, ctypes.c_void_p)


class _Use(NamedTuple):
    """A policy where a scenario plays it: its name, the key of it, in words, its world, the persons."""

    name: str
    key: str
    words: str
    world: np.ndarray
    persons: tuple[str, ...]


class _Asked(NamedTuple):
    """A floor and the orders of the base defence, each an array of one record, and where it was met."""

    floor: np.ndarray
    orders: np.ndarray
    possession: int

    def __str__(self) -> str:
        return f"{float(self.floor['t_s'][0]):.1f} s of possession {self.possession}"


def _met(world: np.ndarray, seed: int, own: bool) -> Iterator[_Asked]:
    """Floors of possessions 0, 1, ... of a world, played by its policy (``own``) or by the base defence."""
    w = world.copy()
    w["policy_where"] = 1  # so that every step fills the floor; a policy without it leaves the places alone
    if not own:
        w["policy"] = w["policy_call"] = 0
    met = 0
    for number in range(POSSESSIONS):
        steps = watch_list(w, seed, [number], ("s", "floor")).steps
        for step in np.flatnonzero(steps["s"]["mode"] != Mode.OVER)[1:]:
            if met == FLOORS:
                return
            floor, orders = steps["floor"][step : step + 1].copy(), np.zeros(1, ORDERS)
            orders["x"], orders["y"] = floor["planned_x"], floor["planned_y"]
            met += 1
            yield _Asked(floor, orders, number)


class _Hearing:
    """Puts floors to a policy's functions and counts the answers. What is refused is an InputError."""

    def __init__(self, use: _Use, file: str, seed: int) -> None:
        self.use, self.file, self.seed = use, file, seed
        found = coded.find(use.name, file, use.key)
        self.files: set[str] = set()  # of the author's functions
        self.where, self.call = self._plain("where", found.where), self._plain("call", found.call)
        self.n_calls = int(use.world["n_calls"][0])
        self.floors = self.faulty_floors = self.calls = self.wrong_calls = 0
        self.faults: dict[str, tuple[int, str]] = {}  # what: how often, and the first

    def refuse(self, allowed: str) -> NoReturn:
        raise InputError(self.file, self.use.key, self.use.name, allowed) from None

    def _plain(self, word: str, given: Any) -> Callable[..., Any] | None:
        if given is None:
            return None
        function = python_of(given)
        if function is None:
            self.refuse(f"a policy whose {word} is a Python function, not {type(given).__name__}")
        self.files |= {one.__code__.co_filename for one in reached(function)}
        return plain(function)

    def _fault(self, what: str, first: str) -> None:
        times, earlier = self.faults.get(what, (0, first))
        self.faults[what] = (times + 1, earlier)

    def _answer(self, word: str, function: Any, asked: _Asked, *records: np.ndarray) -> Any:
        """Plain Python's answer; a division by zero is told as raised, also where numpy would only warn."""
        try:
            with np.errstate(divide="raise", invalid="raise"):
                return function(*(record.view(np.recarray)[0] for record in records))
        except Exception as error:  # whatever the author's code may raise
            frames = traceback.extract_tb(error.__traceback__)
            last = [frame for frame in frames if frame.filename in self.files][-1:] or frames[-1:]
            at = f"{last[0].filename}, line {last[0].lineno}"
            said = f"{type(error).__name__}: {error}"
            self.refuse(f"a policy that does not raise ({word}: {at}: {said}; at {asked})")

    def _differs(self, word: str, asked: _Asked) -> NoReturn:
        self.refuse(
            f"a policy that answers the same compiled and as plain Python ({word} does not at {asked}: does "
            "it draw random numbers, keep something between questions, read beyond an array?)"
        )

    def _places(self, asked: _Asked, compiled: Any) -> None:
        orders, beside = asked.orders.copy(), asked.orders.copy()
        self._answer("where", self.where, asked, asked.floor.copy(), orders)
        faulty = False
        for i, person in enumerate(self.use.persons[:N_SIDE]):
            x, y = float(orders["x"][0, i]), float(orders["y"][0, i])
            base = x == asked.orders["x"][0, i] and y == asked.orders["y"][0, i]
            if not base and not _inside(self.use.world[0], x, y):
                faulty = True
                what = f"the place of {person} is off the court or not a number"
                self._fault(what, f"({x:.1f}, {y:.1f}) at {asked}")
        self.faulty_floors += faulty
        if compiled is not None:
            compiled(asked.floor.ctypes.data, beside.ctypes.data)
            same = all(np.allclose(orders[a], beside[a], 0.0, SAME_M, equal_nan=True) for a in ("x", "y"))
            if not same or (orders["run"] != beside["run"]).any():
                self._differs("where", asked)

    def _calls(self, asked: _Asked, compiled: Any) -> None:
        answer = self._answer("call", self.call, asked, asked.floor.copy())
        try:
            wanted = operator.index(answer)
        except TypeError:
            self.refuse(f"a policy whose call answers a whole number (it answered {answer!r} at {asked})")
        self.calls += wanted != 0
        if wanted != 0 and not 0 < wanted <= self.n_calls:
            self.wrong_calls += 1
            what = f"call asks for one that is not among the setting's {self.n_calls}"
            self._fault(what, f"{wanted} at {asked}")
        if compiled is not None and compiled(asked.floor.ctypes.data) != wanted:
            self._differs("call", asked)

    def hear(self, own: bool) -> None:
        """One round: floors of the base defence, or (``own``) of the policy's play, then compiled as well."""
        c_where = c_call = None
        if own:
            try:
                where, call = coded.compile_policy(self.use.name)
            except InputError as error:
                self.refuse(error.allowed)
            if not numba.config.DISABLE_JIT:
                c_where, c_call = _C_WHERE(where.address), _C_CALL(call.address)
        may_call = self.call is not None and int(self.use.world["policy_call"][0]) == 1
        for asked in _met(self.use.world, self.seed, own):
            self.floors += 1
            if self.where is not None:
                self._places(asked, c_where)
            held = (
                int(asked.floor["mode"][0]) == Mode.HELD
                and int(asked.floor["trap_phase"][0]) == TrapPhase.NONE
            )
            if may_call and held:
                self._calls(asked, c_call)

    def verdict(self) -> list[str]:
        """The findings, one line each. Raises InputError where every floor, or every call, is at fault."""
        told = [f"{what}: {times:,} times, first {first}" for what, (times, first) in self.faults.items()]
        if self.faulty_floors == self.floors:
            self.refuse(f"a policy with places on the court ({told[0]}; no floor of {self.floors:,} without)")
        if 0 < self.calls == self.wrong_calls:
            self.refuse(f"a policy that makes calls of the setting ({told[-1]}; all {self.calls:,} calls)")
        words = [f"asked on {self.floors:,} floors"]
        if self.call is not None and int(self.use.world["policy_call"][0]) == 1:
            words.append(f"wants a trap on {self.calls:,} of them")
        words.append("no fault" if not told else f"at fault on {self.faulty_floors + self.wrong_calls:,}")
        head = f"policy {self.use.name} ({self.use.words})"
        return [f"{head}: {', '.join(words)}", *(f"fault: {head}: {line}" for line in told)]


def _uses(scenario: Scenario) -> list[_Use]:
    """Every different world of a scenario that a coded policy plays, in order."""
    packed = pack(scenario)
    worlds = [(scenario.policy, "defence.policy", "staying home", packed.home, scenario.zone)]
    for i, (setting, one) in enumerate(zip(scenario.settings, packed.settings, strict=True), 1):
        key = "defence.policy" if setting.policy == scenario.policy else f"setting[{i}].policy"
        words = f'setting "{setting.name}"'
        worlds.append((setting.policy, key, words, one.world, setting.zone or scenario.zone))
    found: dict[bytes, _Use] = {}
    for policy, key, words, world, zone in worlds:
        if policy is not None:
            found.setdefault(world.tobytes(), _Use(policy, key, words, world, persons_of(zone)))
    return list(found.values())


def policy_lines(scenario: Scenario, before_playing: Callable[[], None] | None = None) -> list[str]:
    """What the coded policies of a scenario answer: a line for each use of one, and a line for each fault.

    ``before_playing`` is called once all names are known, before the engine is needed (and compiled, if it
    has not been).

    Raises InputError (see the module) with the scenario's file and key, the policy, and what is wrong.
    """
    said: list[str] = []
    uses = _uses(scenario)
    if before_playing is not None:
        before_playing()
    for use in uses:
        hearing = _Hearing(use, str(scenario.path), scenario.seed)
        hearing.hear(own=False)
        hearing.hear(own=True)
        said += hearing.verdict()
    return said
