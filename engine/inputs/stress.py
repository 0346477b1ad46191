"""Uncertain inputs of the stress study, and the base rates of each level (configs/model/stress.toml)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import Field

from engine.errors import InputError, MissingInput
from engine.inputs.base import (
    Frozen,
    Real,
    Table,
    Text,
    TwoReals,
    dotted,
    listed,
    nearest,
    number_text,
    parse,
)
from engine.inputs.constants import Constant, load_constants
from engine.inputs.files import FileName, Source, read_toml, shipped, shown_path
from engine.shipped import configs_root

#: Inputs that are no constant: name -> (unit, least low, greatest high, meaning).
SPECIAL: dict[str, tuple[str, float, float, str]] = {
    "defender_speed": ("share", 0.5, 1.5, "top speed of every defender, over the team file's"),
    "rim_shots": ("logit", -2.0, 2.0, "shift of every attacker's shots at the rim"),
    "jump_shots": ("logit", -2.0, 2.0, "shift of every attacker's shots from farther out"),
    "contest_slope": ("share", 0.0, 3.0, "effect of the nearest defender's distance, over the shot table's"),
}
#: Constants that may not vary: numerical ones, a switch, and those that a team's shots were fitted with.
FIXED = {
    "time_step_s": "numerical",
    "longest_possession_s": "numerical",
    "tried_look": "a switch of the measurement of beliefs",
    "reference_defender_m": "a player's counts were turned into shots with it",
    "shot_prior_attempts": "a player's counts were turned into shots with it",
    "typical_gap_rim_m": "a player's counts were turned into shots with it",
    "typical_gap_middle_m": "a player's counts were turned into shots with it",
    "typical_gap_three_m": "a player's counts were turned into shots with it",
    "taken_rim_logit": "a player's counts were turned into shots with it",
    "taken_middle_logit": "a player's counts were turned into shots with it",
    "taken_three_logit": "a player's counts were turned into shots with it",
}
#: Base rates of staying home, in the order in which they are checked.
RATES = ("points", "turnovers", "offensive_rebounds", "three_point")
#: What is drawn of the structure beside its rules: the attack's front, and which of its plays are run: all of
#: a setting's, each with one half, none.
FRONT, PLAYS = "front", "plays"
ALL, HALF, NO_PLAYS = PLAYS_RUN = ("all", "half", "none")
#: Where a range comes from.
MEMORY, NO_SOURCE, SOURCED = "from memory", "no source", "sourced"


class _Input(Frozen):
    label: Text = Field(description="what the report calls it")
    more: Text = Field(description="a world with much of it")
    less: Text = Field(description="a world with little of it")
    low: Real | None = Field(default=None, description="least value")
    high: Real | None = Field(default=None, description="greatest value")
    source: Text | None = Field(default=None, description="where the range comes from")
    note: Text | None = Field(default=None, description="a remark")


class BaseRates(Frozen):
    """Published ranges of a level, widened: each (low, high); a world outside one of them is dropped."""

    points: TwoReals = Field(description="low and high points conceded per possession")
    turnovers: TwoReals = Field(description="low and high turnovers per possession, shot clock included")
    offensive_rebounds: TwoReals = Field(description="low and high share of misses the attack rebounds")
    three_point: TwoReals = Field(description="low and high share of threes made")
    source: Text = Field(description="where they come from")


class UncertainInput(Frozen):
    """One uncertain input: its range, uniform from ``low`` to ``high``, in ``unit``."""

    name: str
    low: float
    high: float
    unit: str
    meaning: str
    source: str
    origin: str
    note: str | None
    label: str
    more: str
    less: str


class Rule(Frozen):
    """A rule of how players decide: the constants that hold it, and by what each choice multiplies them."""

    label: Text = Field(description="what the report calls it")
    constants: tuple[Text, ...] = Field(min_length=1, description="constants of the model")
    choices: dict[str, Real] = Field(description="choice = factor of those constants")


class Structure(Frozen):
    """How the players decide: what is drawn anew in every structural world, each list evenly.

    ``alignments``: names of shipped ones, beside the scenario's own. ``plays``: of PLAYS_RUN. ``rules``: by
    name.
    """

    source: Text = Field(description="where the lists come from")
    alignments: tuple[Text, ...] = Field(default=(), description="shipped alignments")
    plays: tuple[Text, ...] = Field(default=("all",), min_length=1, description="which plays are run")
    rules: dict[str, Any] = Field(default_factory=dict, description="rules, as [structure.rules.<name>]")


class StressList(Frozen):
    """The uncertain inputs, in the order of the file, the base rates by level, and the structure that varies
    (None: it is the scenario's in all worlds)."""

    inputs: tuple[UncertainInput, ...]
    rates: dict[str, BaseRates]
    structure: Structure | None = None


def _origin(source: str) -> str:
    if MEMORY in source:
        return MEMORY
    return NO_SOURCE if "no source" in source or "an input" in source else SOURCED


def _known(name: str, constants: Mapping[str, Constant], where: str) -> tuple[str, float, float, str]:
    """Unit, widest range and meaning of an input. Raises InputError for a name that may not vary."""
    if name in FIXED:
        raise InputError(where, "input", name, f"an input that can vary ({FIXED[name]})")
    if name in SPECIAL:
        return SPECIAL[name]
    if name not in constants:
        names = [*SPECIAL, *constants]
        raise InputError(
            where, "input", name, f"a constant of the model or {', '.join(SPECIAL)}{nearest(name, names)}"
        )
    constant = constants[name]
    return constant.unit, constant.low, constant.high, constant.meaning


def _input(name: str, table: Table, constants: Mapping[str, Constant], where: str) -> UncertainInput:
    key = ["input", name]
    unit, least, greatest, meaning = _known(name, constants, where)
    given = parse(_Input, table, where, key)
    source = given.source
    if name in SPECIAL:
        for part in ("low", "high", "source"):
            if getattr(given, part) is None:
                raise MissingInput(where, dotted([*key, part]), f"the {part} of {name}, which is no constant")
    else:
        source = source or constants[name].source
    assert source is not None
    low = least if given.low is None else given.low
    high = greatest if given.high is None else given.high
    words = f"a number from {number_text(least)} to {number_text(greatest)} ({unit})"
    for part, value in (("low", low), ("high", high)):
        if not least <= value <= greatest:
            raise InputError(where, dotted([*key, part]), value, words)
    if not low < high:
        raise InputError(where, dotted([*key, "low"]), low, f"a number below high ({number_text(high)})")
    return UncertainInput(
        name=name,
        low=low,
        high=high,
        unit=unit,
        meaning=meaning,
        source=source,
        origin=_origin(source),
        note=given.note,
        label=given.label,
        more=given.more,
        less=given.less,
    )


def _base_rates(level: str, table: Table, where: str) -> BaseRates:
    rates = parse(BaseRates, table, where, ["rates", level])
    for name in RATES:
        low, high = getattr(rates, name)
        if not 0.0 <= low < high:
            allowed = "two numbers of at least 0, the first below the second"
            raise InputError(where, dotted(["rates", level, name]), [low, high], allowed)
    return rates


def _one_each(names: tuple[str, ...], known: Sequence[str], where: str, key: str) -> None:
    """Raises InputError for a name that is not known, or stands there twice."""
    for i, name in enumerate(names):
        if name not in known:
            raise InputError(where, f"{key}[{i + 1}]", name, f"one of {listed(known)}{nearest(name, known)}")
        if name in names[:i]:
            raise InputError(where, f"{key}[{i + 1}]", name, "each once")


def _structure(
    table: Table, inputs: Iterable[str], constants: Mapping[str, Constant], where: str
) -> Structure:
    found = parse(Structure, table, where, ["structure"])
    _one_each(found.alignments, shipped("alignments"), where, "structure.alignments")
    _one_each(found.plays, PLAYS_RUN, where, "structure.plays")
    free = [name for name in constants if name not in FIXED]
    taken = set(inputs)
    rules = {}
    for name, written in found.rules.items():
        key = ["structure", "rules", name]
        if name in (FRONT, PLAYS):
            raise InputError(where, "structure.rules", name, f"another name than {FRONT} and {PLAYS}")
        rule = parse(Rule, written, where, key)
        _one_each(rule.constants, free, where, dotted([*key, "constants"]))
        for constant in rule.constants:
            if constant in taken:
                allowed = "constants of no [input] and no other rule"
                raise InputError(where, dotted([*key, "constants"]), constant, allowed)
            taken.add(constant)
        if len(rule.choices) < 2:
            raise InputError(where, dotted([*key, "choices"]), listed(rule.choices), "at least 2 choices")
        for choice, factor in rule.choices.items():
            if factor < 0.0:
                raise InputError(where, dotted([*key, "choices", choice]), factor, "a number of at least 0")
        rules[name] = rule
    return found.model_copy(update={"rules": rules})


class _File(Frozen):
    input: dict[str, Any] = Field(description="uncertain inputs, written as [input.<name>]")
    structure: dict[str, Any] | None = Field(default=None, description="how the players decide")
    rates: dict[str, Any] = Field(default_factory=dict, description="base rates, written as [rates.<level>]")


def stress_from(data: Table, where: str, constants: Mapping[str, Constant] | None = None) -> StressList:
    """The list from a table; ``constants`` are the model's own where None. Raises InputError."""
    known = load_constants() if constants is None else constants
    file = parse(_File, data, where)
    if not file.input:
        raise InputError(where, "input", file.input, "at least one [input.<name>]")
    return StressList(
        inputs=tuple(_input(name, table, known, where) for name, table in file.input.items()),
        rates={level: _base_rates(level, table, where) for level, table in file.rates.items()},
        structure=None if file.structure is None else _structure(file.structure, file.input, known, where),
    )


def load_stress(path: FileName | None = None) -> StressList:
    """The uncertain inputs and base rates from configs/model/stress.toml or another file.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    wanted = Path(path) if path is not None else configs_root() / "model" / "stress.toml"
    source = Source(wanted, str(path) if path is not None else shown_path(wanted))
    return stress_from(read_toml(source), str(source))


def for_scenario(
    listed: StressList, values: Mapping[str, float], constants: Mapping[str, Constant] | None = None
) -> tuple[tuple[UncertainInput, ...], tuple[str, ...]]:
    """The inputs of one scenario, and the names of those it holds fixed.

    Where the scenario (or its level) gives a constant another value than the model's, the range moves with
    it and is cut at the constant's own low..high. A value outside low..high (a part switched off) is
    held fixed.
    """
    known = load_constants() if constants is None else constants
    varied: list[UncertainInput] = []
    fixed: list[str] = []
    for one in listed.inputs:
        constant = known.get(one.name)
        if constant is None:
            varied.append(one)
            continue
        value = values[one.name]
        moved = value - constant.value
        low, high = max(one.low + moved, constant.low), min(one.high + moved, constant.high)
        if not constant.low <= value <= constant.high or not low < high:
            fixed.append(one.name)
        elif moved:
            varied.append(one.model_copy(update={"low": low, "high": high}))
        else:
            varied.append(one)
    return tuple(varied), tuple(fixed)
