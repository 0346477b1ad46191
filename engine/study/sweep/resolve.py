"""From the points of a design to scenarios and packed arrays.

Numbers that most sweeps vary (model constants, the game so far, rules, numbers of a call, abilities of a
player) are checked by the loaders of their own part alone and written into copies of arrays. Everything
else is loaded and packed as files are, once for every combination of such values. Both ways give the same
scenario and the same arrays, to the bit.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError
from engine.inputs.base import Table, parse
from engine.inputs.calls import Call
from engine.inputs.constants import Constant, load_constants, override
from engine.inputs.rules import change_rules
from engine.inputs.scenario import Game, Scenario, attackers_against, unnamed
from engine.inputs.shots import TAKEN_LOGIT, TYPICAL_GAP
from engine.inputs.team import Player
from engine.inputs.zone import Zone
from engine.state.arrays import N_SIDE
from engine.study.sweep.design import Design
from engine.study.sweep.factors import SHOT_BORDERS
from engine.study.sweep.paths import Address, Value
from engine.world.court import Court, build_court
from engine.world.pack import (
    Packed,
    PackedSetting,
    defenders_of,
    fill_call,
    fill_constants,
    fill_players,
    fill_rules,
    fill_shadows,
    pack,
    refresh_players,
)

#: Numbers of a call that nothing else in its file depends on.
CALL_NUMBERS = ("probability", "held_s", "budget", "disguise_s", "give_up_s")
#: Numbers of a player that say nothing about who plays where.
PLAYER_NUMBERS = (
    "height_m", "top_speed_mps", "handle", "passing", "rebounding", "discipline", "free_throw",
)  # fmt: skip
#: Tables of a rule set that move no line of the court.
CLOCK_AND_FOULS = ("clock", "fouls", "time_out")
#: Constants with which a player's counts become shots.
SHOT_CONSTANTS = frozenset(
    {
        "reference_defender_m",
        "shot_prior_attempts",
        *TYPICAL_GAP.values(),
        *TAKEN_LOGIT.values(),
    }
)
#: Most combinations of loaded values whose arrays are kept.
MOST_STEMS = 64

World = NDArray[Any]


class _Changes(NamedTuple):
    """The values of a point by what they are part of."""

    constants: Table
    game: Table
    rules: Table
    calls: dict[tuple[int, int], Table]
    players: dict[tuple[str, int], Table]


class _Stem(NamedTuple):
    """A scenario without its quick values, and what its arrays are written with."""

    scenario: Scenario
    packed: Packed
    court: Court
    cell_m: float


def _stem(scenario: Scenario) -> _Stem:
    packed = pack(scenario)
    return _Stem(scenario, packed, build_court(scenario.rules), float(packed.home["rules"]["grid_cell_m"][0]))


class Resolver:
    """Scenarios and arrays of the points of a design; safe to use from several threads.

    Raises InputError where the scenario itself cannot be packed (a coded policy that is not installed).
    """

    def __init__(self, design: Design) -> None:
        self.design = design
        opened = design.opened
        self._level_shots = "shot_table" not in opened.data
        self._known: dict[str, Constant] = load_constants()  # for the ranges; the values are the scenario's
        self._where = str(opened.source)
        self._loaded = [
            path
            for path, found in design.addresses.items()
            if not (isinstance(found, Address) and self.is_quick(found))
        ]
        self._stems: dict[tuple[Value, ...], _Stem] = {}
        if not self._loaded:
            self._stems[()] = _stem(opened.base)

    def is_quick(self, address: Address) -> bool:
        """Whether a value is checked and written by itself (see the module)."""
        last = str(address.steps[-1])
        if address.kind == "constants":
            return not (last in SHOT_BORDERS and self._level_shots)
        if address.kind == "call":
            return last in CALL_NUMBERS
        if address.kind == "player":
            return last in PLAYER_NUMBERS
        return address.kind in ("game", "rules")

    def scenario(self, point: int) -> Scenario:
        """The validated scenario of a point.

        Raises InputError naming the design, the path, its value and what is allowed.
        """
        found = self._found(point)
        return self.design.scenario(point) if found is None else found[1]

    def packed(self, point: int) -> Packed:
        """The arrays of a point, equal to ``pack(self.scenario(point))``; they belong to the caller.

        Raises InputError as ``scenario`` does.
        """
        found = self._found(point)
        if found is not None:
            stem, scenario, changes = found
            if all(name.split(".")[0] in CLOCK_AND_FOULS for name in changes.rules):
                return self._written(stem, scenario, changes)
        else:
            scenario = self.design.scenario(point)
        try:
            return pack(scenario)
        except InputError as error:  # a coded policy
            raise self.design.refusal(point, error) from None

    # --- the quick way -----------------------------------------------------------------------------------

    def _found(self, point: int) -> tuple[_Stem, Scenario, _Changes] | None:
        """The quick way to a point; None where something is wrong with it: loading it whole says what."""
        values = self.design.points[point]
        loaded = [values[path] for path in self._loaded]
        key = (*loaded, *(type(value).__name__ for value in loaded))  # 1 and true are two values
        try:
            stem = self._stems.get(key)
            if stem is None:
                changes = self.design.changes({path: values[path] for path in self._loaded})
                stem = _stem(self.design.opened.scenario(changes))
                if len(self._stems) >= MOST_STEMS:
                    self._stems = {}
                self._stems[key] = stem
            quick = self._sorted({path: v for path, v in values.items() if path not in self._loaded})
            return stem, self._changed(stem.scenario, quick), quick
        except InputError:
            return None

    def _sorted(self, values: Mapping[str, Value]) -> _Changes:
        found = _Changes({}, {}, {}, {}, {})
        for path, value in values.items():
            address = self.design.addresses[path]
            assert isinstance(address, Address)  # what is not is loaded
            steps: Any = address.steps
            if address.kind == "constants":
                found.constants[steps[1]] = value
            elif address.kind == "game":
                found.game[steps[1]] = value
            elif address.kind == "rules":
                found.rules[steps[1]] = value
            elif address.kind == "call":
                found.calls.setdefault((steps[1], steps[3]), {})[steps[4]] = value
            else:
                found.players.setdefault((address.side, steps[1]), {})[steps[2]] = value
        return found

    def _changed(self, base: Scenario, changes: _Changes) -> Scenario:
        """A scenario with the changes in it. Raises InputError."""
        where = self._where
        update: dict[str, Any] = {}
        if changes.constants:
            # a name that is not known cannot come here: the design has followed every path
            known = {name: self._known[name] for name in changes.constants}
            update["constants"] = {
                **base.constants,
                **override(known, changes.constants, where, base.beyond_range),
            }
            update["other_defence"] = unnamed(base.other_defence, changes.constants)
        if changes.game:
            update["game"] = parse(Game, {**base.game.model_dump(), **changes.game}, where)
        if changes.rules:
            update["rules"] = change_rules(base.rules, changes.rules, where)
        if changes.calls:
            settings = list(base.settings)
            for (s, n), table in changes.calls.items():
                calls = list(settings[s].calls)
                calls[n] = parse(Call, {**calls[n].model_dump(), **table}, where)
                settings[s] = settings[s].model_copy(update={"calls": tuple(calls)})
            update["settings"] = tuple(settings)
        for (side, i), table in changes.players.items():
            key = f"{side}_team"
            team = update.get(key, getattr(base, key))
            players = list(team.players)
            players[i] = parse(Player, {**players[i].model_dump(), **table}, where)
            update[key] = team.model_copy(update={"players": tuple(players)})
        return base.model_copy(update=update)

    def _written(self, stem: _Stem, scenario: Scenario, changes: _Changes) -> Packed:
        """Copies of the arrays as they stand with what changed written into them."""
        home = _copy(stem.packed.home)
        _write(home, stem, scenario, scenario.zone, changes)
        settings: list[PackedSetting] = []
        for s, one in enumerate(stem.packed.settings):
            setting = scenario.settings[s]
            zone = setting.zone or scenario.zone
            world, base = _copy(one.world), None
            if one.base is None:
                for name in ("k", "rules", "players"):
                    _bytes(world, name)[:] = _bytes(home, name)
            else:
                base = _copy(one.base)
                for array in (base, world):
                    _write(array, stem, scenario, zone, changes)
            for n in (n for (t, n) in changes.calls if t == s):
                fill_call(_record(world), n, setting.calls[n], scenario, zone, stem.court)
            settings.append(PackedSetting(one.name, world, one.calls, base, one.watched))
        if changes.calls:
            fill_shadows(_record(home), scenario, settings)
        return Packed(home=home, settings=tuple(settings), spots=stem.packed.spots)


def _write(world: World, stem: _Stem, scenario: Scenario, zone: Zone, changes: _Changes) -> None:
    """What changed of constants, rules, game and players, into a world with its own defence or home."""
    w = _record(world)
    if changes.constants:
        fill_constants(w.k, scenario, zone)
    if changes.game or changes.rules:
        fill_rules(w.rules, scenario, stem.court, stem.cell_m)
    sides = {side for side, _ in changes.players}
    if SHOT_CONSTANTS & changes.constants.keys():
        sides = {"offence", "defence"}
    if "offence" in sides:
        fill_players(w, scenario, attackers_against(scenario, zone), 0, stem.court)
    if "defence" in sides:
        fill_players(w, scenario, defenders_of(scenario, zone), N_SIDE, stem.court)
    if changes.constants and not sides:  # filling brings all ten up to date
        refresh_players(w)


def _copy(world: World) -> World:
    """A copy, byte by byte: numpy would copy field by field, four times slower."""
    copy: World = world.view(np.uint8).copy().view(world.dtype)
    return copy


def _bytes(world: World, name: str) -> World:
    """The bytes of a field of a world, to read or write at once."""
    kind, start = world.dtype.fields[name][:2]  # type: ignore[index]  # it has fields
    return world.view(np.uint8)[start : start + kind.itemsize]


def _record(world: World) -> Any:
    """The one record of a world, its fields as attributes; writing to it writes to the world."""
    return world.view(np.recarray)[0]
