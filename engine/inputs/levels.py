"""Levels of play (configs/levels/*.toml): shots, constants, players, and what is published about them.

A level file holds its usual rule set, a shot table whose shots at the rim, in between and from outside are
moved apart, model constants that differ from the defaults, the average player, the published ranges
with their sources, and the record of what was fitted to what. Log odds, metres, seconds, probabilities.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from pydantic import AfterValidator, Field

from engine.errors import InputError
from engine.inputs.base import Frozen, Real, Table, Text, Whole, nearest, one_of, parse
from engine.inputs.constants import Constant, beliefs, load_constants, override
from engine.inputs.files import FileName, Source, read_toml, resolve, shipped
from engine.inputs.shots import ShotTable, load_shot_table, moved_table
from engine.state.words import AGAINST, Against

#: Rates that a level file may publish and the fit may aim at, and what each is counted over.
QUANTITIES = {
    "points_per_possession": "points conceded over possessions",
    "turnovers_per_possession": "turnovers, shot-clock violations included, over possessions",
    "bad_passes": "turnovers by a pass over possessions",
    "strips": "turnovers by a ball taken from the dribble or the hands over possessions",
    "dribbles_lost": "turnovers by a dribble lost without a defender over possessions",
    "travels": "travels over possessions",
    "offensive_fouls": "offensive fouls over possessions",
    "passes": "passes over possessions",
    "offensive_rebound": "offensive rebounds over all rebounds",
    "free_throws_attempted": "free throws attempted over field goals attempted",
    "field_goal": "field goals made over attempted",
    "two_point": "two-point field goals made over attempted",
    "three_point": "three-point field goals made over attempted",
    "rim": "field goals at the rim made over attempted",
    "middle": "field goals between the rim and the line made over attempted",
    "free_throw": "free throws made over attempted",
    "three_attempts": "three-point attempts over field goals attempted",
    "rim_attempts": "attempts at the rim over field goals attempted",
    "steals_of_turnovers": "steals over turnovers",
    "blocks_of_twos": "blocked shots over two-point attempts",
    "clock_left_s": "seconds on the shot clock at a possession's last shot, mean",
    "make_by_clock": "change of the make of a shot with a second on the clock, same distance and gap",
    "late_shots": "field goals attempted with little on the clock (late_clock_s) over attempted",
}
#: How well a published range is known: worked out from open data, read in the source, remembered, or
#: nothing found at all.
TAGS = ("computed", "seen", "from memory", "no source")
#: The shifts of a level's shot table, log odds -> the band that each moves.
SHIFTS = {"rim_logit": "rim", "middle_logit": "middle", "three_logit": "three"}
#: A player's numbers that a team file may leave to its level -> least and greatest value, as in team files.
PLAYER_RANGES = {
    "height_m": (1.2, 2.5),
    "top_speed_mps": (2.0, 10.0),
    "handle": (0.0, 1.0),
    "passing": (0.0, 1.0),
    "rebounding": (0.0, 1.0),
    "discipline": (0.0, 1.0),
    "free_throw": (0.0, 1.0),
}
#: Largest shift of a shot table, log odds: makes one half into 0.88 or 0.12.
MOST_SHIFT = 2.0

#: The source of a number that a fit moves starts with this; the rate it is moved for follows.
FITTED = "fitted to "

Quantity = Annotated[str, Field(strict=True), AfterValidator(one_of(tuple(QUANTITIES)))]
AgainstWord = Annotated[str, Field(strict=True), AfterValidator(one_of(AGAINST))]
Tag = Annotated[str, Field(strict=True), AfterValidator(one_of(TAGS))]


class Sourced(Frozen):
    """A number and where it comes from."""

    value: Real = Field(ge=-1e9, le=1e9, description="the number")
    source: Text = Field(description="where it comes from")


class Shift(Sourced):
    """A shift of make probabilities, log odds, and where it comes from."""

    value: Real = Field(ge=-MOST_SHIFT, le=MOST_SHIFT, description="log odds added to a make probability")


class Shots(Frozen):
    """What is added to the level's shot table: nearer than ``rim_range_m``, from there to ``middle_range_m``,
    and from there on, log odds.

    They are apart because one factor for all misprices the layup behind a trap.
    """

    rim_logit: Shift = Field(description="shift of shots at the rim")
    middle_logit: Shift = Field(description="shift of shots between the two borders")
    three_logit: Shift = Field(description="shift of shots from the outer border on")


class Averages(Frozen):
    """The average player of a level: metres, metres per second, abilities and probabilities 0 to 1."""

    height_m: Sourced
    top_speed_mps: Sourced
    handle: Sourced
    passing: Sourced
    rebounding: Sourced
    discipline: Sourced
    free_throw: Sourced

    def numbers(self) -> dict[str, float]:
        """The seven numbers by the key that a player has in a team file."""
        return {name: getattr(self, name).value for name in PLAYER_RANGES}


class Published(Frozen):
    """The range in which a rate of this level lies, with source and tag; ``goal`` is what a fit aims at."""

    low: Real = Field(description="least published value")
    high: Real = Field(description="greatest published value")
    goal: Real | None = Field(default=None, description="what a fit aims at; the middle when absent")
    tag: Tag = Field(description="how well the range is known")
    source: Text = Field(description="where the range comes from")

    @property
    def aim(self) -> float:
        """What a fit aims at."""
        return (self.low + self.high) / 2 if self.goal is None else self.goal

    def left_over(self, value: float) -> float:
        """How far a value lies outside the range: negative below, positive above, 0 inside."""
        return min(value - self.low, 0.0) + max(value - self.high, 0.0)


class Seen(Frozen):
    """A rate of the reference scenario as it came out."""

    target: Quantity = Field(description="the rate")
    reached: Real = Field(description="what it came to")
    standard_error: Real = Field(ge=0.0, description="sampling error")
    left_over: Real = Field(description="distance from the published range, 0 inside")


class Fitted(Seen):
    """One knob of a fit: its value, and the rate it was moved for as it came out."""

    knob: Text = Field(description="a number of the level with the source 'fitted to ...'")
    value: Real = Field(description="the value found")
    goal: Real = Field(description="what was aimed at")


class Fit(Frozen):
    """The record of a fit: the scenario and the run it was made on, every knob, every other rate."""

    scenario: Text = Field(description="name of the reference scenario")
    possessions: Whole = Field(ge=1, description="possessions of the last run, count")
    seed: Whole = Field(ge=0, description="seed of that run")
    knob: tuple[Fitted, ...] = Field(description="fitted knobs, written as [[fit.knob]]")
    other: tuple[Seen, ...] = Field(default=(), description="rates not fitted to, written as [[fit.other]]")


class Level(Frozen):
    """A level of play. ``rules`` names its usual rule set; ``shot_table`` is not shifted yet.

    ``measured_against``: what its players' beliefs among the constants were measured against, a zone or men;
    ``other_defence``: what they believe against the other of the two.
    """

    name: Text = Field(description="short name")
    title: Text = Field(description="name for people")
    source: Text = Field(description="where its numbers come from, in general")
    rules: Text = Field(description="name or path of the usual rule set")
    shot_table: ShotTable = Field(description="name or path of the shot table")
    shots: Shots = Field(description="what is added to the shot table")
    constants: dict[str, Sourced] = Field(default_factory=dict, description="constants of the level")
    measured_against: AgainstWord = Field(default=Against.ZONE.word, description="zone or men")
    other_defence: dict[str, Sourced] = Field(
        default_factory=dict, description="constants that differ against the other of zone and men"
    )
    players: Averages = Field(description="the average player")
    published: dict[str, Published] = Field(description="published ranges by rate")
    fit: Fit | None = Field(default=None, description="what was fitted to what")

    def over(self, known: Mapping[str, Constant]) -> dict[str, Constant]:
        """The model's constants with this level's values put in; ranges and sources of the model stay."""
        changes = {name: {"value": item.value} for name, item in self.constants.items()}
        return {name: c.model_copy(update=changes.get(name, {})) for name, c in known.items()}

    def differences(self) -> dict[str, float]:
        """Constant -> what it is more against the other of zone and men."""
        model = load_constants()
        return {
            name: item.value - (self.constants[name] if name in self.constants else model[name]).value
            for name, item in self.other_defence.items()
        }

    def shifted_table(
        self, constants: Mapping[str, float], shifts: Mapping[str, float] | None = None
    ) -> ShotTable:
        """The level's shot table after its shifts, or others; ``constants``: those of the model, with its
        borders ``rim_range_m`` and ``middle_range_m``."""
        by = shifts or {name: self.value_of(name) for name in SHIFTS}
        borders = constants["rim_range_m"], constants["middle_range_m"]
        moves = {band: by[name] for name, band in SHIFTS.items()}
        return moved_table(self.shot_table, moves, *borders, self.shot_table.name)

    @property
    def knobs(self) -> dict[str, str]:
        """Numbers that a fit may move -> the rate each is moved for: their source is ``fitted to <rate>``."""
        items: dict[str, Sourced] = {name: getattr(self.shots, name) for name in SHIFTS} | self.constants
        return {
            name: item.source.removeprefix(FITTED)
            for name, item in items.items()
            if item.source.startswith(FITTED)
        }

    def reached(self, target: str) -> float | None:
        """What a rate came to in the model when the level was fitted, by its record; None: not played."""
        rows = (*self.fit.knob, *self.fit.other) if self.fit else ()
        return next((row.reached for row in rows if row.target == target), None)

    def value_of(self, knob: str) -> float:
        """A shift or a constant of this file. Raises KeyError when it has no such number."""
        if knob in SHIFTS:
            found: Sourced = getattr(self.shots, knob)
            return found.value
        return self.constants[knob].value


def _check(level: Level, where: str) -> Level:
    override(load_constants(), {name: item.value for name, item in level.constants.items()}, where)
    other = {name: item.value for name, item in level.other_defence.items()}
    beliefs(load_constants(), other, where, False, "other_defence")
    for name, (low, high) in PLAYER_RANGES.items():
        value = getattr(level.players, name).value
        if not low <= value <= high:
            raise InputError(where, f"players.{name}.value", value, f"a number from {low:g} to {high:g}")
    for name, item in level.published.items():
        if name not in QUANTITIES:
            allowed = f"one of {', '.join(QUANTITIES)}{nearest(name, QUANTITIES)}"
            raise InputError(where, "published", name, allowed)
        if item.low > item.high:
            raise InputError(where, f"published.{name}.low", item.low, f"at most high ({item.high:g})")
        if not item.low <= item.aim <= item.high:
            allowed = f"a number from low ({item.low:g}) to high ({item.high:g})"
            raise InputError(where, f"published.{name}.goal", item.aim, allowed)
    for knob, target in level.knobs.items():
        if target not in level.published:
            key = f"{'shots' if knob in SHIFTS else 'constants'}.{knob}.source"
            allowed = f"{FITTED}one of {', '.join(level.published)}"
            raise InputError(where, key, FITTED + target, allowed)
    kinds: dict[str, tuple[Seen, ...]] = {}
    if level.fit is not None:
        kinds = {"knob": level.fit.knob, "other": level.fit.other}
    for kind, rows in kinds.items():
        for i, row in enumerate(rows):
            if row.target not in level.published:
                key = f"fit.{kind}[{i + 1}].target"
                raise InputError(where, key, row.target, f"one of {', '.join(level.published)}")
    for i, fitted in enumerate(level.fit.knob if level.fit else ()):
        if fitted.knob not in level.knobs:
            allowed = f"one of {', '.join(level.knobs)}"
            raise InputError(where, f"fit.knob[{i + 1}].knob", fitted.knob, allowed)
    return level


def level_from(data: Table, source: Source) -> Level:
    """A level from a table; its rule set and shot table are found beside ``source``. Raises InputError."""
    where = str(source)
    read = dict(data)
    if "shot_table" in read:
        if not isinstance(read["shot_table"], str):
            raise InputError(where, "shot_table", read["shot_table"], "the name or path of a shot table")
        read["shot_table"] = load_shot_table(read["shot_table"], source)
    level = parse(Level, read, where, written=data)
    resolve(level.rules, "rules", source, "rules")
    return _check(level, where)


def level_source(name_or_path: FileName, beside: Source | None = None, key: str = "level") -> Source:
    """The file of a level. Raises InputError that lists the levels."""
    try:
        return resolve(name_or_path, "levels", beside, key if beside else "")
    except InputError as error:
        names = shipped("levels")
        allowed = (
            f"a level: {', '.join(names)}, or the path of a level file{nearest(str(name_or_path), names)}"
        )
        raise InputError(error.where, key, str(name_or_path), allowed) from None


def load_level(name_or_path: FileName, beside: Source | None = None, key: str = "level") -> Level:
    """Load a level by name (configs/levels) or path.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    source = level_source(name_or_path, beside, key)
    return level_from(read_toml(source), source)
