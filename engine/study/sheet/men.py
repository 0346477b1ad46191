"""What each man of the attack did in played possessions; records have no names, so events are read."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from engine.estimate.men import KINDS, MenTally
from engine.estimate.tally import IntArray
from engine.inputs.scenario import Scenario
from engine.kernel.watch import EVENTS as EVENT_ROWS
from engine.kernel.watch import Watched
from engine.run.blocks import Progress, part_of_progress
from engine.run.watch import watch_numbers
from engine.state.arrays import N_SIDE
from engine.state.words import EVENTS
from engine.world.court import Court, build_court
from engine.world.pack import pack

#: Events that a man's counts are made of, and the column with his place in them.
MADE, MISSED, BLOCKED, FREE_THROW, TURNOVER = (
    EVENTS.index(name) for name in ("made", "missed", "blocked", "free_throw", "turnover")
)


def counts_of(watched: Watched, court: Court) -> IntArray:
    """Counts int64[possessions, man, kind] of watched possessions.

    An attempt is a shot that went in, missed or was blocked: a fouled miss is none, as in the records.
    """
    found = np.zeros((len(watched.numbers), N_SIDE, len(KINDS)), np.int64)
    place = {name: i for i, name in enumerate(KINDS)}
    possession = watched.possession_of(EVENT_ROWS)
    codes = watched.events[:, 1].astype(np.int64)
    for row in np.flatnonzero(np.isin(codes, (MADE, MISSED, BLOCKED, FREE_THROW, TURNOVER))):
        _, _, player, other, value, x, y = watched.events[row, :7]
        code = codes[row]
        counts = found[possession[row], int(other if code == BLOCKED else player)]
        if code == TURNOVER:
            counts[place["turnovers"]] += 1
            continue
        kind = "free_throws"
        if code != FREE_THROW:
            kind = "threes" if court.is_three(float(x), float(y)) else "twos"
        counts[place[kind]] += 1
        counts[place[f"{kind}_made"]] += code == MADE or (code == FREE_THROW and value == 1.0)
    return found


def play_men(
    scenario: Scenario,
    possessions: int,
    seed: int,
    threads: int | None = None,
    progress: Progress | None = None,
    first: int = 0,
) -> MenTally:
    """Possessions ``first``, ``first`` + 1, ... of staying home; from 0 on those that ``compare`` plays."""
    home = pack(scenario.model_copy(update={"settings": ()})).home
    court = build_court(scenario.rules)
    blocks = watch_numbers(home, seed, range(first, first + possessions), threads=threads, progress=progress)
    total: MenTally | None = None
    for block in blocks:
        part = MenTally.of(counts_of(block, court))
        total = part if total is None else total + part
    assert total is not None  # at least one possession
    return total


def play_met(
    scenarios: Sequence[Scenario],
    possessions: int,
    seed: int,
    threads: int | None = None,
    progress: Progress | None = None,
) -> MenTally:
    """The defences they met (engine.study.sheet.met), each in as many of the possessions, all together."""
    total: MenTally | None = None
    for number, scenario in enumerate(scenarios):
        first, end = (possessions * place // len(scenarios) for place in (number, number + 1))
        told = part_of_progress(progress, first, possessions)
        part = play_men(scenario, end - first, seed, threads, told, first)
        total = part if total is None else total + part
    assert total is not None  # they met something
    return total
