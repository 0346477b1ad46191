"""Plays the branches of a comparison: staying home, other defences without calls, and every setting.

A setting is played beside its own base: staying home, or its other defence without calls. Where home knows
which possessions a setting would make a call in (the record column ``shadow``), only those are played
again, for all others are home's bit for bit; every 64th of them is played all the same, as a check.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.run.blocks import Records, Runner, World
from engine.state.record import COLUMN, N_RECORD
from engine.world.pack import Packed

#: Possessions of which one is played again although the setting makes no call in it.
CHECK_EVERY = 64
SHADOW = COLUMN["shadow"]
_PLAYED = [i for i in range(N_RECORD) if i != SHADOW]


@dataclass(frozen=True, eq=False)
class SettingPlan:
    """How a setting is played: ``base`` the index of its own defence without calls (None: staying home),
    ``bit`` its bit in home's shadow column (None: every possession is played), ``is_base`` whether it is a
    defence without calls itself."""

    name: str
    world: World
    n_calls: int
    base: int | None
    bit: int | None
    is_base: bool


@dataclass(frozen=True, eq=False)
class Plan:
    """The worlds of a comparison; other defences that several settings share stand in ``bases`` once."""

    home: World
    bases: tuple[World, ...]
    settings: tuple[SettingPlan, ...]


class Branch(NamedTuple):
    """A setting played over a block: its records and its base's, int32[count, N_RECORD]; how many
    possessions without a call were compared with the base, and how many of them differed (it must be 0)."""

    base: Records
    records: Records
    checked: int
    differences: int


def branches_of(packed: Packed) -> Plan:
    """The plan of a packed scenario: what is played whole, and what only where home's record says so."""
    bases: list[World] = []
    settings = []
    for index, setting in enumerate(packed.settings):
        base = None
        if setting.base is not None:
            known = (i for i, other in enumerate(bases) if other.tobytes() == setting.base.tobytes())
            base = next(known, len(bases))
            if base == len(bases):
                bases.append(setting.base)
        settings.append(
            SettingPlan(
                name=setting.name,
                world=setting.world,
                n_calls=len(setting.calls),
                base=base,
                bit=index if setting.watched else None,
                is_base=setting.base is not None and setting.base.tobytes() == setting.world.tobytes(),
            )
        )
    return Plan(packed.home, tuple(bases), tuple(settings))


def play_setting(
    runner: Runner, setting: SettingPlan, first: int, home: Records, bases: list[Records]
) -> Branch:
    """A setting over the possessions ``first``, ``first + 1``, ... beside its base.

    ``home`` and ``bases`` are the records of staying home and of ``Plan.bases``. The records returned are
    valid until the same thread plays another setting.
    """
    base = home if setting.base is None else bases[setting.base]
    if setting.is_base:
        return Branch(base, base, 0, 0)
    if setting.bit is not None:
        return _called_only(runner, setting.world, setting.bit, first, home)
    records = runner.block(setting.world, first, len(base), "setting")
    uncalled = np.flatnonzero(records[:, COLUMN["first_call"]] == 0)
    differs = _differs(base[uncalled], records[uncalled])
    records[uncalled] = base[uncalled]
    records[:, SHADOW] = 0
    return Branch(base, records, len(uncalled), int(differs.sum()))


def _called_only(runner: Runner, world: World, bit: int, first: int, home: Records) -> Branch:
    numbers = first + np.arange(len(home), dtype=np.int64)
    called = (home[:, SHADOW] >> bit & 1).astype(bool)
    again = np.flatnonzero(called | (numbers % CHECK_EVERY == 0))
    played = runner.chosen(world, numbers[again], None, "called")
    stayed = ~called[again] | (played[:, COLUMN["first_call"]] == 0)
    differs = _differs(home[again], played) & stayed
    records = runner.buffer("setting", len(home))
    records[:] = home
    records[again[~stayed]] = played[~stayed]
    records[:, SHADOW] = 0
    return Branch(home, records, int(stayed.sum()), int(differs.sum()))


def _differs(one: Records, other: Records) -> NDArray[np.bool_]:
    differs: NDArray[np.bool_] = (one[:, _PLAYED] != other[:, _PLAYED]).any(axis=1)
    return differs
