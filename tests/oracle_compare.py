"""Comparing a possession of the kernel's trace with the naive twin's, step by step, field by field."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from naive import Naive, Played

from engine.kernel.batch import play_block
from engine.kernel.watch import STATES, Trace
from engine.run.watch import watch_numbers
from engine.state.arrays import OPTION_COLUMNS
from engine.state.record import N_RECORD, RECORD
from engine.state.words import EVENTS, Action, Mode, TrapPhase

#: Places, velocities, times: how far apart the two may be.
CLOSE = 1e-9
#: Of a trace: what names the draws, counters of the trace itself, and what the kernel keeps at hand so as not
#: to work it out again (the shooter's threshold, the nearest defender of the step).
NAMES, COUNTERS = ("seed", "possession", "branch", "max_calls"), ("n_events", "n_options", "watched")
LEFT_OUT = (*NAMES, *COUNTERS, "shooter_logit", "gap", "gap_who")

#: What no event and no column shows.
FLOOR = (
    "a drive is kicked out",
    "a cover man breaks on the throw",
    "a trapper runs to where the ball goes",
    "a defender opens up from his slide",
    "a trap is set in a wind-up",
    "a retreat goes on in a set trap",
)


@dataclass
class Compared:
    """What has been compared, and the first difference of every possession that has one."""

    possessions: int = 0
    steps: int = 0
    events: int = 0
    options: int = 0
    largest: float = 0.0
    mismatches: list[str] = field(default_factory=list)
    seen: dict[str, set[Any]] = field(default_factory=lambda: defaultdict(set))

    def words(self) -> str:
        head = (
            f"compared: {self.possessions} possessions, {self.steps} steps, {self.events} events, "
            f"{self.options} options; largest difference that counts as none {self.largest:.1e}; "
            f"{len(self.mismatches)} mismatches"
        )
        return "\n".join([head, *self.mismatches[:20]])

    def _see(self, played: Played) -> None:
        """Notes what happened, so that a test can tell whether everything did."""
        record = played.record
        self.seen["event"] |= {event[1] for event in played.events}
        self.seen["violation"] |= {int(event[4]) for event in played.events if event[1] == "violation"}
        self.seen["trigger"] |= set(played.triggers)
        self.seen["fault"].add(record["policy_faults"] > 0)
        self.seen["lost_by"].add(record["lost_by"])
        for before, after in zip(played.steps, played.steps[1:], strict=False):
            self.seen["floor"] |= _new_on_the_floor(before, after)
        for name in ("end", "outcome", "after", "escape"):
            if name == "end" or record["first_call"] > 0:
                self.seen[name].add(record[name])

    def add(self, name: str, number: int, trace: Trace, played: Played) -> None:
        self.possessions += 1
        self.steps += len(played.steps)
        self.events += len(played.events)
        self.options += len(played.options)
        self._see(played)
        found = self._steps(trace, played) or self._events(trace, played) or self._record(trace, played)
        found = found or self._options(trace, played)
        if found is not None:
            self.mismatches.append(f"{name}, possession {number}, {found}")

    def _differ(self, mine: Any, theirs: Any) -> bool:
        if isinstance(mine, float):
            gap = abs(mine - float(theirs))
            if gap <= CLOSE:
                self.largest = max(self.largest, gap)
            return not gap <= CLOSE
        return int(mine) != int(theirs)

    def _steps(self, trace: Any, played: Played) -> str | None:
        for step, (mine, theirs, people) in enumerate(
            zip(played.steps, trace.states, trace.agents, strict=False)
        ):
            for name in theirs.dtype.names:
                if name not in LEFT_OUT and self._differ(mine[name], theirs[name]):
                    return f"step {step}: {name} naive {mine[name]!r}, kernel {theirs[name]!r}"
            for i, agent in enumerate(mine["agents"]):
                for name in people.dtype.names:
                    if self._differ(agent[name], people[i][name]):
                        told = f"naive {agent[name]!r}, kernel {people[i][name]!r}"
                        return f"step {step}: agent {i} {name} {told}"
        if len(played.steps) != len(trace.states):
            return f"steps: naive {len(played.steps)}, kernel {len(trace.states)}"
        return None

    def _events(self, trace: Any, played: Played) -> str | None:
        for n, (mine, row) in enumerate(zip(played.events, trace.events, strict=False)):
            theirs = (row[0], EVENTS[int(row[1])], int(row[2]), int(row[3]), *row[4:])
            same = mine[1:4] == theirs[1:4] and not any(
                self._differ(mine[j], theirs[j]) for j in (0, 4, 5, 6)
            )
            if not same:
                return f"event {n}: naive {mine}, kernel {theirs}"
        if len(played.events) != len(trace.events):
            return f"events: naive {len(played.events)}, kernel {len(trace.events)}"
        return None

    def _options(self, trace: Any, played: Played) -> str | None:
        for n, (mine, row) in enumerate(zip(played.options, trace.options, strict=False)):
            if any(self._differ(mine[j], row[j]) for j in range(len(OPTION_COLUMNS))):
                return f"option {n}: naive {mine}, kernel {tuple(row)}"
        if len(played.options) != len(trace.options):
            return f"options: naive {len(played.options)}, kernel {len(trace.options)}"
        return None

    def _record(self, trace: Any, played: Played) -> str | None:
        for column, theirs in zip(RECORD, trace.record, strict=True):
            if played.record[column] != theirs:
                return f"record: {column} naive {played.record[column]}, kernel {theirs}"
        return None


def _new_on_the_floor(before: dict[str, Any], after: dict[str, Any]) -> set[str]:
    """What a step shows of FLOOR."""
    wound_up = after["mode"] in (Mode.PASS_WINDUP, Mode.SHOT_WINDUP)
    is_set, was_coming = after["trap_phase"] == TrapPhase.SET, before["trap_phase"] == TrapPhase.COMING
    shown = (
        before["action"] == Action.DRIVE
        and before["mode"] == Mode.HELD
        and after["mode"] == Mode.PASS_WINDUP,
        any(a["break_t"] > after["begun"] for a in after["agents"]),
        any(a["primed"] for a in after["agents"]),
        any(a["turn_t"] > after["begun"] for a in after["agents"]),
        wound_up and is_set and was_coming,
        after["action"] == Action.RETREAT and is_set,
    )
    return {name for name, is_shown in zip(FLOOR, shown, strict=True) if is_shown}


def compare(
    into: Compared, name: str, naive: Naive, world: Any, numbers: Sequence[int], seed: int, max_calls: int = 7
) -> None:
    """Plays some possessions with both and adds what was found."""
    traces = (
        trace for block in watch_numbers(world, seed, numbers, STATES, max_calls) for trace in block.traces()
    )
    for number, trace in zip(numbers, traces, strict=True):
        into.add(name, number, trace, naive.play(seed, number, max_calls, trace.agents))


def telling(world: Any, seed: int, of: int, n: int) -> list[int]:
    """The ``n`` of the first ``of`` possessions whose records show most: one after the other the one with
    most that none before had (a value of a column; a step, a time or a place of any size counts once)."""
    records = np.zeros((of, N_RECORD), np.int32)
    play_block(world, seed, 0, records)
    values = np.clip(records, -2, 12)
    shows = np.concatenate([values == value for value in range(-2, 13)], axis=1)
    new, found = np.ones(shows.shape[1], bool), []
    while len(found) < n:
        found.append(int(np.argmax(shows[:, new].sum(axis=1))))
        new &= ~shows[found[-1]]
    return sorted(set(found))
