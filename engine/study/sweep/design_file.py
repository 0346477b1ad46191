"""The keys of a design of a sweep, and what they may say together (sweeps/*.toml)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import AfterValidator, Field

from engine.errors import InputError, MissingInput
from engine.inputs import defaults
from engine.inputs.base import Flag, Frozen, Real, Text, Whole, nearest, one_of, plain
from engine.inputs.scenario import Scenario, Seed
from engine.run.numbers import NUMBERS
from engine.study.sweep.sampling import BALANCE, MOST_POINTS

METHODS = ("grid", "latin_hypercube", "sobol", "saltelli", "morris", "random_balance", "table")
SCALES = ("linear", "log")
#: The same possession numbers at every point, or numbers of its own for each.
LUCKS = ("common", "independent")
#: fixed: the same possessions for every point; width: until the interval is narrow enough; best: a budget
#: that goes where it helps to find the best point.
RULES = ("fixed", "width", "best")
#: change: net points of a setting minus staying home; points, net: per possession of a setting or of home.
QUANTITIES = ("change", "points", "net")
GOALS = ("least", "most")
#: Possession numbers of one point where luck is independent.
NUMBERS_PER_POINT = NUMBERS["sweep points"].each


class Choice(Frozen):
    """One way a factor of choices can stand: a name, and the values it sets by their paths."""

    name: Text = Field(description="name of the choice")
    set: dict[str, Any] = Field(description="path = value, several at once")


class Factor(Frozen):
    """One varied value: from ``low`` to ``high`` on a scale (a grid has ``steps``), or one of ``values``.

    With ``choice`` the factor is one of several ways to set many values at once (a defence with the calls
    that fit it): ``path`` is a name of its own that starts with ``choice.``, ``values`` the names of the
    choices. ``own`` is where it stands at the points of a random balance that do not move it. ``names`` are
    those of ``constants.*`` that are meant, where it is not all.

    In a table of points ``values`` are the column's different values, and ``low`` and ``high`` its least and
    greatest number.
    """

    path: Text = Field(description="path of a value, such as constants.reaction_s")
    low: Real | None = Field(default=None, description="least value")
    high: Real | None = Field(default=None, description="greatest value")
    values: tuple[Any, ...] = Field(default=(), description="the values, numbers or names")
    steps: Whole | None = Field(default=None, ge=2, le=MOST_POINTS, description="values in a grid, count")
    scale: Annotated[str, Field(strict=True), AfterValidator(one_of(SCALES))] = Field(
        default="linear", description="linear or log"
    )
    whole: Flag = Field(default=False, description="whether only whole numbers are taken")
    own: Real | None = Field(default=None, description="value of a random balance where it does not move")
    names: tuple[Text, ...] = Field(default=(), description="which constants, where the path is constants.*")
    choice: tuple[Choice, ...] = Field(default=(), description="choices, written as [[factor.choice]]")


class Effort(Frozen):
    """How many possessions a point gets: fixed, until an interval is narrow, or a budget to find the best.

    ``setting``: which setting the quantity is of; None: every one (rule width only). ``least``, ``most``:
    bounds of the possessions of a point; ``total``: budget of rule best; ``half_width``: of the interval,
    points per possession.
    """

    rule: Annotated[str, Field(strict=True), AfterValidator(one_of(RULES))] = Field(
        default="fixed", description="fixed, width or best"
    )
    half_width: Real | None = Field(default=None, gt=0.0, le=10.0, description="points per possession")
    quantity: Annotated[str, Field(strict=True), AfterValidator(one_of(QUANTITIES))] = Field(
        default="change", description="change, points or net"
    )
    setting: Text | None = Field(default=None, description="name of a setting, or home")
    least: Whole = Field(
        default=2000, ge=2, le=defaults.MOST_POSSESSIONS, description="least possessions of a point, count"
    )
    most: Whole = Field(
        default=200_000, ge=2, le=defaults.MOST_POSSESSIONS, description="most possessions of a point, count"
    )
    total: Whole | None = Field(default=None, ge=2, description="possessions of all points together, count")
    goal: Annotated[str, Field(strict=True), AfterValidator(one_of(GOALS))] = Field(
        default="least", description="least or most"
    )
    confidence: Real = Field(default=0.95, gt=0.0, lt=1.0, description="confidence of the interval")


class PointsKeys(Frozen):
    method: Annotated[str, Field(strict=True), AfterValidator(one_of(METHODS))] = Field(
        description=", ".join(METHODS)
    )
    points: Whole | None = Field(default=None, ge=1, le=MOST_POINTS, description="points, count")
    moved: Real | None = Field(
        default=None, gt=0.0, le=1.0, description="share of the points of a random balance that move a factor"
    )
    file: Text | None = Field(default=None, description="a CSV file of points")
    seed: Seed | None = Field(default=None, description="seed of the points")


class DesignFile(Frozen):
    title: Text = Field(description="what the sweep is about")
    scenario: Text = Field(description="name or path of a scenario")
    possessions: Whole = Field(
        default=2000, ge=1, le=defaults.MOST_POSSESSIONS, description="possessions of a point, count"
    )
    batch: Whole = Field(default=1000, ge=1, le=1_000_000, description="possessions of a batch, count")
    seed: Seed | None = Field(default=None, description="seed of the random numbers")
    luck: Annotated[str, Field(strict=True), AfterValidator(one_of(LUCKS))] = Field(
        default="common", description="common or independent"
    )
    settings: tuple[Text, ...] = Field(default=(), description="names of settings; absent: all")
    design: PointsKeys = Field(description="which points")
    factor: tuple[Factor, ...] = Field(default=(), description="varied values, written as [[factor]]")
    effort: Effort = Field(default_factory=Effort, description="possessions of a point")


def is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def check_factor(factor: Factor, method: str, where: str, key: str) -> None:
    """Raises InputError where the keys of a factor contradict each other or the method."""
    low, high = factor.low, factor.high
    named = factor.path.startswith("choice.")
    if named != bool(factor.choice):
        allowed = "a name that starts with choice. where there are [[factor.choice]], and only there"
        raise InputError(where, f"{key}.path", factor.path, allowed)
    if factor.choice and not all(one.set for one in factor.choice[1:]):
        raise InputError(
            where, f"{key}.choice", factor.path, "something to set in every choice but the first"
        )
    if factor.names:
        allowed = "no names: they are for constants.* alone"
        raise InputError(where, f"{key}.names", list(factor.names), allowed)
    balance = method == BALANCE
    if (factor.own is not None) != balance or (balance and factor.values):
        allowed = f"low, high and own where method is {BALANCE}, own only there"
        raise InputError(where, f"{key}.own", factor.own, allowed)
    if factor.values:
        for name in ("low", "high", "steps", "scale", "whole"):
            if name in factor.model_fields_set:
                raise InputError(where, f"{key}.{name}", getattr(factor, name), "values, or low and high")
        for i, value in enumerate(factor.values):
            good = isinstance(value, int | str) or (isinstance(value, float) and math.isfinite(value))
            if not good:
                raise InputError(
                    where, f"{key}.values[{i + 1}]", value, "a finite number, text, true or false"
                )
            if any(value == other and is_number(value) == is_number(other) for other in factor.values[:i]):
                raise InputError(where, f"{key}.values[{i + 1}]", value, "each value once")
        return
    if "values" in factor.model_fields_set:
        raise InputError(where, f"{key}.values", [], "at least one value")
    for name in ("low", "high"):
        if getattr(factor, name) is None:
            raise MissingInput(where, f"{key}.{name}", "the least and the greatest value, or values = [...]")
    assert low is not None and high is not None
    if not low < high:
        raise InputError(where, f"{key}.low", low, f"a number below high ({high:g})")
    if factor.own is not None and not low <= factor.own <= high:
        raise InputError(where, f"{key}.own", factor.own, f"a number from low ({low:g}) to high ({high:g})")
    if factor.scale == "log" and low <= 0.0:
        raise InputError(where, f"{key}.low", low, "a number above 0 where scale is log")
    for name, end in (("low", low), ("high", high), ("own", low if factor.own is None else factor.own)):
        if factor.whole and end != int(end):
            raise InputError(where, f"{key}.{name}", end, "a whole number where whole is true")
    if method == "grid" and factor.steps is None:
        raise MissingInput(where, f"{key}.steps", "how many values from low to high, or values = [...]")
    if method != "grid" and factor.steps is not None:
        raise InputError(where, f"{key}.steps", factor.steps, "steps only where method is grid")


def with_choices(factors: tuple[Factor, ...], where: str) -> tuple[Factor, ...]:
    """The factors, those of choices with the names of their choices as values. Raises InputError."""
    found = []
    for i, factor in enumerate(factors, 1):
        if factor.choice and "values" in factor.model_fields_set:
            raise InputError(where, f"factor[{i}].values", list(factor.values), "choice, or values")
        names = tuple(one.name for one in factor.choice)
        found.append(factor.model_copy(update={"values": names}) if names else factor)
    return tuple(found)


def settings_of(file: DesignFile, base: Scenario, where: str) -> tuple[str, ...]:
    known = [setting.name for setting in base.settings]
    names = [name for name in file.settings or known if name != defaults.HOME]
    for i, name in enumerate(file.settings):
        if name not in (defaults.HOME, *known):
            shown = ", ".join(f'"{plain(one)}"' for one in (defaults.HOME, *known))
            allowed = f"one of {shown}{nearest(name, known)}"
            raise InputError(where, f"settings[{i + 1}]", name, allowed)
        if name in file.settings[:i]:
            raise InputError(where, f"settings[{i + 1}]", name, "each setting once")
    return (defaults.HOME, *names)


def effort_of(file: DesignFile, settings: Sequence[str], n_points: int, where: str) -> Effort:
    effort = file.effort
    if effort.rule == "fixed":
        return effort
    if effort.setting is not None and effort.setting not in settings:
        shown = ", ".join(f'"{plain(one)}"' for one in settings)
        raise InputError(where, "effort.setting", effort.setting, f"one of {shown}")
    if effort.quantity == "change" and effort.setting == defaults.HOME:
        raise InputError(
            where, "effort.setting", effort.setting, "another setting: home is what changes are from"
        )
    if effort.quantity == "change" and len(settings) == 1:
        raise InputError(where, "effort.quantity", effort.quantity, "points or net: only home is played")
    if effort.least > effort.most:
        raise InputError(where, "effort.least", effort.least, f"at most effort.most ({effort.most})")
    if effort.rule == "width" and effort.half_width is None:
        raise MissingInput(where, "effort.half_width", "a half width above 0 (points per possession)")
    if effort.rule == "best":
        if effort.total is None:
            raise MissingInput(where, "effort.total", "possessions of all points together")
        if effort.total < effort.least * n_points:
            allowed = f"at least least x points ({effort.least} x {n_points} = {effort.least * n_points})"
            raise InputError(where, "effort.total", effort.total, allowed)
        if effort.setting is None:
            others = settings[1:] if effort.quantity == "change" else settings
            if len(others) != 1:
                shown = ", ".join(f'"{plain(one)}"' for one in others)
                raise MissingInput(where, "effort.setting", f"which setting is to be best: {shown}")
            return effort.model_copy(update={"setting": others[0]})
    return effort


def check_luck(file: DesignFile, effort: Effort, where: str) -> None:
    most = file.possessions if effort.rule == "fixed" else max(file.possessions, effort.most)
    if file.luck == "independent" and most > NUMBERS_PER_POINT:
        allowed = f"common, or at most {NUMBERS_PER_POINT} possessions a point"
        raise InputError(where, "luck", file.luck, allowed)
