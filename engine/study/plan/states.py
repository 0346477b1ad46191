"""The worlds of a plan: staying home and every call by itself, in any state that a game can bring.

A state is: team fouls of the period, traps of this kind that the offence has seen, whether it has a time-out
left, how tired the defence is. Worlds are copies of the packed arrays with those numbers changed.

Traps seen shorten the reading of a trap only. That an offence which expects one looks up sooner after every
catch is left out: until the call a possession must be the one of staying home, or nothing could be paired.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError
from engine.estimate.intervals import IntArray
from engine.inputs.calls import Call
from engine.inputs.scenario import Scenario
from engine.inputs.settings import Setting
from engine.run.blocks import Records, Runner, World
from engine.run.worlds import changed
from engine.state.record import COLUMN, MOST_CALLS, N_RECORD
from engine.world.pack import pack

T = TypeVar("T")

#: Calls that a plan weighs, at most.
MOST_PLANNED = 16
#: One level of tiredness: this share of top speed is lost.
TIRED_STEP = 0.001
#: Top speed is never lower than this many levels below fresh.
MOST_TIRED = 200
AT_HOME = -1
#: Bytes of records of whole games at home that are kept for a second plan on the same games.
MOST_BYTES = 64_000_000
#: Delays in reading a trap, which shrink with the traps seen (engine.kernel.offence.reading_delay).
READING = ("handler_read_s", "read_delay_s")


@dataclass(frozen=True)
class PlannedCall:
    """A call that a plan may use, and the setting of the scenario that it comes from."""

    setting: str
    call: Call

    @property
    def budget(self) -> int | None:
        """Uses in a game, at most; None: no limit."""
        return self.call.budget


def calls_of(scenario: Scenario) -> tuple[tuple[PlannedCall, ...], tuple[str, ...]]:
    """The distinct calls of a scenario's settings, and the names of settings that are left out.

    Left out are settings with a defence or plays of their own: a plan mixes calls within one defence.
    """
    found: dict[str, PlannedCall] = {}
    left_out = []
    for setting in sorted(scenario.settings, key=lambda one: len(one.calls) != 1):
        if setting.own_base:
            left_out.append(setting.name)
            continue
        for call in setting.calls:
            found.setdefault(call.model_dump_json(), PlannedCall(setting.name, call))
    calls = list(found.values())
    left_out += [f"{one.setting}: {one.call.name}" for one in calls[MOST_PLANNED:]]
    return tuple(calls[:MOST_PLANNED]), tuple(left_out)


class PlanWorlds:
    """Worlds by kind and state. One instance serves all threads."""

    def __init__(self, scenario: Scenario, calls: tuple[PlannedCall, ...]) -> None:
        """Packs the scenario with one setting per call.

        Raises InputError where a coded policy makes the calls, so that nobody knows beforehand which.
        """
        settings = tuple(
            Setting(
                name=str(i), calls=(one.call,), zone_options=scenario.zone_options, policy=scenario.policy
            )
            for i, one in enumerate(calls)
        )
        packed = pack(scenario.model_copy(update={"settings": settings}))
        if not all(setting.watched for setting in packed.settings):
            allowed = (
                "a policy that leaves the calls to their triggers; plan cannot mix calls that code makes"
            )
            raise InputError(scenario.path, "defence.policy", scenario.policy, allowed)
        self.n_calls = len(calls)
        self._home = packed.home
        self._single = [setting.world for setting in packed.settings]
        self._made: dict[tuple[int, ...], World] = {}
        self._lock = threading.Lock()
        self._games: dict[tuple[int, int], Records] = {}
        rules = packed.home["rules"][0]
        self.bonus_from = int(rules["bonus_from"])
        #: From here on more team fouls change nothing.
        self.most_fouls = max(self.bonus_from - 1, int(rules["one_and_one_to"]))
        self.coded = int(packed.home["policy"][0]) != 0
        self.may_call_time_out = bool(rules["trapped_time_out"])
        self._seen = self._seen_levels(packed.home["k"][0])

    @staticmethod
    def _seen_levels(k: np.record) -> int:
        """Traps seen from which on one more changes nothing: all reading delays are at their least."""
        rate, least = float(k["readiness_per_trap"]), float(k["read_delay_least_s"])
        first = max(float(k[name]) for name in READING)
        if rate <= 0.0 or first <= least or least <= 0.0:
            return 0 if rate <= 0.0 or first <= least else 99
        return int(np.ceil(np.log(first / least) / rate))

    def seen(self, n: IntArray | int) -> IntArray:
        """Traps seen as the worlds tell them apart."""
        return np.minimum(n, self._seen)

    def world(self, kind: int, fouls: int = 0, seen: int = 0, time_outs: int = 1, tired: int = 0) -> World:
        """A world [1]: ``kind`` AT_HOME or the number of a call, ``tired`` in steps of TIRED_STEP."""
        fouls, seen = min(fouls, self.most_fouls), int(self.seen(seen))
        key = (kind, fouls, seen, time_outs, tired)
        with self._lock:
            if key not in self._made:
                found = self._home.copy() if kind == AT_HOME else self._single[kind].copy()
                self._made[key] = self._in_state(found, fouls, seen, time_outs, tired)
            return self._made[key]

    def any_of(self, mask: int, fouls: int, tired: int) -> tuple[World, list[int]]:
        """The world in which every call of a bit mask may be made, and the number of each of its calls."""
        calls = [c for c in range(self.n_calls) if mask >> c & 1][:MOST_CALLS]
        key = (-2 - mask, min(fouls, self.most_fouls), tired)
        with self._lock:
            if key not in self._made:
                found = self._home.copy()
                for slot, c in enumerate(calls):
                    for name in ("calls", "call_entries", "breaks"):
                        found[name][0, slot] = self._single[c][name][0, 0]
                found["n_calls"] = len(calls)
                found["n_shadows"] = 0
                self._made[key] = self._in_state(found, key[1], 0, 1, tired)
            return self._made[key], calls

    @staticmethod
    def _in_state(world: World, fouls: int, seen: int, time_outs: int, tired: int) -> World:
        world["rules"]["team_fouls"] = fouls
        world["rules"]["traps_seen"] = 0
        k = world["k"][0]
        for name in READING:
            k[name] = max(k[name] * math.exp(-k["readiness_per_trap"] * seen), k["read_delay_least_s"])
        world["rules"]["time_outs_left"] = time_outs
        if tired:
            world = changed(world, {"defender_speed": 1.0 - TIRED_STEP * tired})
        return world

    # --- playing ------------------------------------------------------------------------------------------

    def home(self, runner: Runner, numbers: IntArray, fouls: IntArray, tired: IntArray) -> Records:
        """Records int32[count, N_RECORD] of staying home, every possession in its own state."""
        zero = np.zeros_like(numbers)
        if self.coded:  # a coded policy may look at the fouls
            return self._grouped(runner, zero + AT_HOME, numbers, fouls, zero, zero + 1, tired)
        records = self._grouped(runner, zero + AT_HOME, numbers, zero, zero, zero + 1, tired)
        return self.with_fouls(runner, records, zero + AT_HOME, numbers, fouls, zero, zero + 1, tired)

    def at_home(self, runner: Runner, numbers: IntArray, fouls: IntArray) -> Records:
        """As ``home``, of fresh legs; read only. For one possession of whole games, whose team fouls follow
        from those before it: it is kept by its numbers, and the same again when it is asked for again. So all
        games of these worlds are of one seed and of one number of possessions a period."""
        key = int(numbers[0]), len(numbers)
        with self._lock:
            kept = self._games.get(key)
        if kept is None:
            kept = self.home(runner, numbers, fouls, np.zeros_like(numbers))
            kept.flags.writeable = False
            with self._lock:
                if sum(one.nbytes for one in (kept, *self._games.values())) <= MOST_BYTES:
                    self._games[key] = kept
        return kept

    def with_fouls(
        self,
        runner: Runner,
        records: Records,
        kind: IntArray,
        numbers: IntArray,
        fouls: IntArray,
        seen: IntArray,
        time_outs: IntArray,
        tired: IntArray,
    ) -> Records:
        """Records played with no team fouls, corrected to ``fouls``: only where a foul could bring free
        throws (a foul off the shot, in the bonus) is it played again. Changes ``records``."""
        again = np.flatnonzero(self.needs_fouls(records, fouls))
        if len(again):
            records[again] = self._grouped(
                runner, kind[again], numbers[again], fouls[again], seen[again], time_outs[again], tired[again]
            )
        return records

    def needs_fouls(self, records: Records, fouls: IntArray) -> NDArray[np.bool_]:
        """Where a possession played with no team fouls could differ from the same with ``fouls``."""
        if self.coded:
            return np.ones(len(records), dtype=bool) & (np.asarray(fouls) > 0)
        total = records[:, COLUMN["fouls"]]
        common = total - records[:, COLUMN["shooting_fouls"]]
        found: NDArray[np.bool_] = (fouls > 0) & (common > 0) & (fouls + total >= self.bonus_from)
        return found

    def called(
        self,
        runner: Runner,
        calls: IntArray,
        numbers: IntArray,
        fouls: IntArray,
        seen: IntArray,
        time_outs: IntArray,
        tired: IntArray,
    ) -> Records:
        """Records of possessions with one call each: at most one trap, every possession in its own state."""
        return self._grouped(runner, calls, numbers, fouls, seen, time_outs, tired)

    def _grouped(self, runner: Runner, *state: IntArray) -> Records:
        kind, numbers, fouls, seen, time_outs, tired = state
        fouls, seen = np.minimum(fouls, self.most_fouls), self.seen(seen)
        codes = np.stack([kind, fouls, seen, np.minimum(time_outs, 1), tired])
        groups, which = np.unique(codes, axis=1, return_inverse=True)
        which = np.asarray(which).reshape(-1)
        records = np.zeros((len(numbers), N_RECORD), dtype=np.int32)
        for g in range(groups.shape[1]):
            rows = np.flatnonzero(which == g)
            world = self.world(*(int(v) for v in groups[:, g]))
            records[rows] = runner.chosen(world, numbers[rows], 1, "plan")
        return records

    def first_of(
        self, runner: Runner, masks: IntArray, numbers: IntArray, fouls: IntArray, tired: IntArray
    ) -> IntArray:
        """Which call of a mask comes first in each possession (traps seen do not matter before one)."""
        found = np.zeros(len(numbers), dtype=np.int64)
        fouls = np.minimum(fouls, self.most_fouls)
        groups, which = np.unique(np.stack([masks, fouls, tired]), axis=1, return_inverse=True)
        which = np.asarray(which).reshape(-1)
        for g in range(groups.shape[1]):
            rows = np.flatnonzero(which == g)
            world, calls = self.any_of(*(int(v) for v in groups[:, g]))
            first = runner.chosen(world, numbers[rows], 1, "plan")[:, COLUMN["first_call"]]
            found[rows] = np.array(calls)[first - 1]
        return found


def shadow_bits(records: Records, n_calls: int) -> NDArray[np.bool_]:
    """Which calls home would have made: bool[count, n_calls]."""
    bits: NDArray[np.bool_] = (records[:, COLUMN["shadow"], None] >> np.arange(n_calls) & 1).astype(bool)
    return bits
