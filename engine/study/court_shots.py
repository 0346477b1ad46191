"""Where the shots of traced possessions come from: the same possessions with a call and without it.

The record of a possession has no places, so possessions are traced. The call's own possessions are found in
the records first; each is then traced with the call and staying home, on the same luck until the call.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np

from engine.estimate.intervals import FloatArray, Found, IntArray
from engine.inputs.scenario import Scenario
from engine.run.blocks import Progress, Runner, World
from engine.run.watch import watch_numbers
from engine.state.record import COLUMN
from engine.state.words import EVENTS
from engine.world.court import Court, build_court
from engine.world.pack import pack

SHOT, CALL = EVENTS.index("shot"), EVENTS.index("call")
#: Possessions played to find those with the call.
SEARCHED = 4096


@dataclass(frozen=True)
class Shot:
    """A shot from the field: place (metres, mirrored so that the call is on the right), its region, whether
    it counts three, and the nearest defender at the release (metres)."""

    x_m: float
    y_m: float
    region: str
    three: bool
    gap_m: float


@dataclass(frozen=True)
class CourtShots:
    """Shots of ``possessions`` traced possessions: ``home`` without the call, ``called`` with it.

    ``call``: its name, None where no call was made; the places are then not mirrored. ``found``: possessions
    with the call among SEARCHED.
    """

    setting: str | None
    call: str | None
    possessions: int
    found: int
    open_shot_m: float
    home: tuple[Shot, ...]
    called: tuple[Shot, ...] | None

    def to_dict(self) -> Found:
        """Plain JSON."""
        return {
            **asdict(self),
            "home": [asdict(shot) for shot in self.home],
            "called": None if self.called is None else [asdict(shot) for shot in self.called],
        }


def shots_of(events: FloatArray, court: Court, side: float, after_s: float = -np.inf) -> list[Shot]:
    """The shots among a possession's events (EVENT_COLUMNS) from ``after_s`` on; side -1 mirrors."""
    found = []
    for t_s, code, _, _, value, x, y in events:
        if code == SHOT and t_s >= after_s:
            at = (side * float(x), float(y))
            found.append(Shot(*at, court.region_at(*at), court.is_three(*at), float(value)))
    return found


def call_of(events: FloatArray) -> tuple[float, float]:
    """When the first call among a possession's events was made (seconds), and on which side (1 right, -1
    left)."""
    for t_s, code, _, _, _, x, _ in events:
        if code == CALL:
            return float(t_s), 1.0 if x >= 0.0 else -1.0
    raise ValueError("no call in this possession")


def court_shots(
    scenario: Scenario,
    setting: int | None,
    call: int,
    seed: int,
    most: int,
    progress: Progress | None = None,
) -> CourtShots:
    """Trace up to ``most`` possessions with a call (``setting`` and ``call`` by index), and the same at home.

    ``setting`` None: possessions staying home alone. Shots before the call, equal in both, are left out.
    """
    packed, court = pack(scenario), build_court(scenario.rules)
    open_m = float(scenario.constants["open_shot_m"])

    def events_of(
        world: World, numbers: Sequence[int] | IntArray, progress: Progress | None = None
    ) -> list[FloatArray]:
        blocks = watch_numbers(world, seed, numbers, progress=progress)
        return [block.events_of(i) for block in blocks for i in range(len(block.numbers))]

    if setting is None:
        home = [
            s
            for events in events_of(packed.home, range(most), progress)
            for s in shots_of(events, court, 1.0)
        ]
        return CourtShots(None, None, most, 0, open_m, tuple(home), None)
    world = packed.settings[setting].world
    records = Runner(seed).block(world, 0, SEARCHED, "setting")
    numbers = np.flatnonzero(records[:, COLUMN["first_call"]] == call + 1)
    chosen = numbers[:most]
    home, called = [], []
    for trapped, usual in zip(
        events_of(world, chosen, progress), events_of(packed.home, chosen), strict=True
    ):
        since, side = call_of(trapped)
        called += shots_of(trapped, court, side, since)
        home += shots_of(usual, court, side, since)
    of = scenario.settings[setting]
    return CourtShots(
        of.name, of.calls[call].name, len(chosen), len(numbers), open_m, tuple(home), tuple(called)
    )
