"""What play adds to the still picture: how often each pass is thrown, how long a beaten trap takes to mend.

Possessions at home are traced for their passes. Of every setting a block is played; of possessions with a
call it is watched when its second man is there, and those whose first call was beaten (passed out of,
retreated from or split) are traced until the shell stands.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from engine.inputs.scenario import Scenario
from engine.kernel.watch import Trace
from engine.run.blocks import Progress, Records, Runner, in_order
from engine.run.size import RunSize
from engine.run.watch import watch_block, watch_numbers
from engine.state.record import COLUMN
from engine.state.words import EVENTS, OUTCOMES, REGIONS
from engine.world.pack import Packed

#: Possessions traced for their passes; played for the counts; beaten traps traced of each call; calls watched
#: until the second man is there.
TRACED, PLAYED, BEATEN, CALLED = 400, 3000, 16, 160
PASS, CATCH, CALL = EVENTS.index("pass"), EVENTS.index("catch"), EVENTS.index("call")
LEFT, STANDS = EVENTS.index("trap_left"), EVENTS.index("shell_stands")
SET = EVENTS.index("trap_set")
BEATEN_BY = tuple(OUTCOMES.index(name) for name in ("escape_pass", "retreat", "split"))
#: Where the first pass out of a trap went, in the codes of the record's column ``escape`` from 1 on.
ESCAPES = ("behind", "middle", "line", "far", "other")

Key = tuple[str, str, int]


@dataclass
class Passes:
    """Passes seen by (region of the ball, its side, position of the receiver), with the gaps at the catch."""

    seen: dict[Key, int] = field(default_factory=dict)
    gaps: dict[Key, list[float]] = field(default_factory=dict)
    total: int = 0

    def add(self, trace: Trace) -> None:
        """Count the half-court passes of one traced possession (engine.kernel.watch.Trace)."""
        t = np.asarray(trace.states["t"])
        thrown: Key | None = None
        for t_s, code, player, other, value, _, _ in trace.events:
            if code == PASS:
                before = max(int(np.searchsorted(t, t_s - 1e-6)) - 1, 0)
                region = REGIONS[int(trace.states["region"][before])]
                thrown = None
                if region != "backcourt":
                    side = "right" if int(trace.states["near"][before]) > 0 else "left"
                    thrown = (region, side, int(other) + 1)
                    self.seen[thrown] = self.seen.get(thrown, 0) + 1
                    self.total += 1
            elif code == CATCH and thrown is not None and int(player) + 1 == thrown[2]:
                self.gaps.setdefault(thrown, []).append(float(value))
                thrown = None

    def count(self, region: str, side: str, position: int) -> int:
        """How often that pass was thrown."""
        return self.seen.get((region, side, position), 0)

    def catch_gap_m(self, region: str, side: str, position: int) -> float | None:
        """Mean distance of the nearest defender when it was caught, metres; None: never."""
        gaps = self.gaps.get((region, side, position))
        return float(np.mean(gaps)) if gaps else None


@dataclass(frozen=True)
class BeatenTrap:
    """One call in play: ``called`` and ``beaten`` of PLAYED possessions, where the first passes out went
    (ESCAPES, counts); of the traced ones where the trap was (mean, metres, the ball's side at x > 0) and the
    seconds until the shell stood; those without had a shot, a turnover or another call first. ``closed_s``:
    of ``watched`` calls the seconds until the second man was there (``closed_after``); those without never
    closed."""

    setting: int
    call: int
    called: int
    beaten: int
    escapes: dict[str, int]
    traced: int
    at: tuple[float, float] | None
    shell_s: tuple[float, ...]
    watched: int
    closed_s: tuple[float, ...]


@dataclass(frozen=True)
class Watched:
    """Everything taken from play. ``possessions``: those behind the counts of the bump."""

    passes: Passes
    traps: tuple[BeatenTrap, ...]
    possessions: int
    missed_bumps_per_100: float
    missed_bump_gap_m: float | None


def shell_after(events: np.ndarray) -> float | None:
    """Seconds from the first beaten trap until the shell stood; None: it did not before the next thing."""
    left = False
    for _, code, _, _, value, _, _ in events:
        if code == LEFT:
            left = int(value) in BEATEN_BY
        elif left and code == STANDS:
            return float(value)
        elif left and code == CALL:
            return None
    return None


def closed_after(events: np.ndarray) -> float | None:
    """Seconds from the first call, or from when the man it is for has the ball where that is later, until
    both trappers were there (0: before he has it); None: its trap never closed."""
    codes = events[:, 1].astype(int)
    first = int(np.flatnonzero(codes == CALL)[0])
    over = np.flatnonzero((codes == LEFT) | (codes == CALL))
    end = next((int(i) for i in over if i > first), len(codes))
    there = [int(i) for i in np.flatnonzero(codes == SET) if first < i < end]
    if not there:
        return None
    caught = [int(i) for i in np.flatnonzero(codes == CATCH) if first < i < end]
    start = events[caught[0] if caught else first, 0]
    return max(float(events[there[0], 0] - start), 0.0)


def trap_at(trace: Trace) -> tuple[float, float]:
    """Where the first beaten trap of a traced possession was, metres, the ball's side at x > 0."""
    t_s = next(event[0] for event in trace.events if event[1] == LEFT and int(event[4]) in BEATEN_BY)
    s = trace.states[max(int(np.searchsorted(trace.states["t"], t_s - 1e-6)) - 1, 0)]
    return float(s["trap_x"]) * float(s["trap_side"]), float(s["trap_y"])


def _calls(scenario: Scenario, packed: Packed) -> list[tuple[int, int]]:
    """(setting, call) of every different call, by its name and defence, the first setting that has it."""
    found: dict[tuple[str, str], tuple[int, int]] = {}
    for s, setting in enumerate(scenario.settings):
        if int(packed.settings[s].world["policy_call"][0]):
            continue
        for n, call in enumerate(setting.calls):
            found.setdefault((call.name, (setting.zone or scenario.zone).name), (s, n))
    return list(found.values())


def watch(
    scenario: Scenario, packed: Packed, size: RunSize, traps: bool, progress: Progress | None
) -> Watched:
    """Trace and play, see the module."""
    calls = _calls(scenario, packed) if traps else []
    most = TRACED + BEATEN * len(calls)

    def told(done: int) -> None:
        if progress is not None:
            progress(done, most)

    told(0)
    runner = Runner(size.seed)
    runner.warm(packed.home)
    worlds = [packed.home, *(packed.settings[s].world for s, _ in calls)]

    def records_of(i: int) -> Records:
        return runner.block(worlds[i], 0, PLAYED, "played").copy()

    home, *of_calls = in_order(len(worlds), size.threads, runner, records_of)
    missed, gap_mm = (
        int(home[:, COLUMN[name]].sum()) for name in ("missed_bump_catches", "missed_bump_gap_mm")
    )
    passes = Passes()
    for block in watch_block(packed.home, size.seed, 0, TRACED, ("s",), threads=size.threads):
        for trace in block.traces():
            passes.add(trace)
    told(TRACED)
    beaten = []
    for done, ((s, n), world, records) in enumerate(zip(calls, worlds[1:], of_calls, strict=True), 1):
        called = records[:, COLUMN["first_call"]] == n + 1
        lost = called & np.isin(records[:, COLUMN["outcome"]], BEATEN_BY)
        ways = np.bincount(records[lost, COLUMN["escape"]], minlength=len(ESCAPES) + 1)
        numbers = np.flatnonzero(lost)[:BEATEN]
        blocks = watch_numbers(world, size.seed, numbers, ("s",), threads=size.threads)
        traced = [trace for block in blocks for trace in block.traces()]
        shells, spots = [shell_after(trace.events) for trace in traced], [trap_at(trace) for trace in traced]
        middle = np.mean(spots, axis=0) if spots else None
        first = np.flatnonzero(called)[:CALLED]
        seen = watch_numbers(world, size.seed, first, (), threads=size.threads)
        closed = [closed_after(one.events_of(i)) for one in seen for i in range(len(one.numbers))]
        told(TRACED + done * BEATEN)
        beaten.append(
            BeatenTrap(
                setting=s,
                call=n,
                called=int(called.sum()),
                beaten=int(lost.sum()),
                escapes={name: int(ways[i + 1]) for i, name in enumerate(ESCAPES)},
                traced=len(numbers),
                at=None if middle is None else (float(middle[0]), float(middle[1])),
                shell_s=tuple(found for found in shells if found is not None),
                watched=len(first),
                closed_s=tuple(found for found in closed if found is not None),
            )
        )
    return Watched(
        passes, tuple(beaten), PLAYED, 100.0 * missed / PLAYED, gap_mm / 1000.0 / missed if missed else None
    )
