"""Designs of sweeps, validated: the varied values, the points, the possessions of each (sweeps/*.toml)."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, NoReturn

from engine.errors import InputError, MissingInput, as_written
from engine.inputs.base import Table, canonical, parse, plain
from engine.inputs.files import FileName, Source, read_toml, resolve
from engine.inputs.scenario import Scenario, config_hash
from engine.shipped import configs_root
from engine.study.sweep.design_file import (
    NUMBERS_PER_POINT,
    DesignFile,
    Effort,
    Factor,
    check_factor,
    check_luck,
    effort_of,
    is_number,
    settings_of,
    with_choices,
)
from engine.study.sweep.factors import (
    Addresses,
    changes_of,
    every_constant,
    locate,
    places_of,
    retold,
    try_ends,
)
from engine.study.sweep.paths import Address, Opened, Value, clash, split
from engine.study.sweep.sampling import (
    BALANCE,
    MOST_POINTS,
    MOST_SOBOL,
    MOVED,
    Point,
    balanced,
    drawn,
    grid,
    grid_size,
    power_of_two,
    read_points,
)

#: Most different texts of one factor.
MOST_TEXTS = 1000
#: Values of a factor that a summary keeps.
MOST_SHOWN = 50


@dataclass(frozen=True, eq=False)
class Design:
    """A sweep, validated: every path leads somewhere, and the ends of every factor make a scenario.

    Attributes:
        path, title, scenario_path: of the design, and of the scenario it varies.
        possessions, batch: possessions of a point, and of one unit of work.
        seed: of the possessions. ``luck``: common or independent. ``design_seed``: of the points.
        settings: names, home first.
        factors: in the order of the file (or of the table's columns).
        points: one dict a point, path -> value.
        effort: how many possessions each point gets.
        opened: the scenario and its files, in memory. ``addresses``: where each path leads.
        told: factor path -> key of the design (or column of the table) to name in messages.
        trials: config hashes of the scenario at the ends of every factor, by ``trial_name``.
    """

    path: Path
    where: str
    title: str
    scenario_path: Path
    possessions: int
    batch: int
    seed: int
    luck: str
    method: str
    design_seed: int
    settings: tuple[str, ...]
    factors: tuple[Factor, ...]
    points: tuple[Point, ...]
    effort: Effort
    opened: Opened
    addresses: Addresses
    told: dict[str, str]
    trials: dict[str, str]

    def offset(self, point: int) -> int:
        """What is added to the possession numbers of a point: 0 with common luck."""
        return point * NUMBERS_PER_POINT if self.luck == "independent" else 0

    def scenario(self, point: int) -> Scenario:
        """The scenario at a point, loaded as files are.

        Raises InputError naming the design, the path and its value, and what is allowed.
        """
        values = self.points[point]
        try:
            return self.opened.scenario(self.changes(values))
        except InputError as error:
            self._tell(point, error)

    def changes(self, values: Mapping[str, Value]) -> list[tuple[Address, Value]]:
        """What values by path change in the scenario's files."""
        return [one for path, value in values.items() for one in changes_of(self.addresses, path, value)]

    def _tell(self, point: int, error: InputError) -> NoReturn:
        for path, value in self.points[point].items():
            try:
                self.opened.scenario(self.changes({path: value}))
            except InputError as alone:
                raise retold(self.where, self.opened, f"point {point + 1}", path, value, alone) from None
        raise self.refusal(point, error) from None

    def refusal(self, point: int, error: InputError) -> InputError:
        """What a loader said about a scenario in which every value is allowed by itself.

        The values named are those without any one of which it would be allowed.
        """
        values = self.points[point]
        guilty: list[str] = []
        for path in values:
            try:
                self.opened.scenario(self.changes({name: values[name] for name in values if name != path}))
                guilty.append(path)
            except InputError:
                continue
        first, *others = guilty or list(values)
        shown = ", ".join(f"{plain(path)} = {as_written(values[path])}" for path in others[:5])
        allowed = f"a value that goes with {shown or 'the scenario'} ({error.key}: {error.allowed})"
        return InputError(self.where, f"point {point + 1} ({plain(first)})", values[first], allowed)

    @cached_property
    def identity(self) -> dict[str, str]:
        """All that a result depends on besides versions and the number of possessions, by name.

        Two designs with equal ones give the same tallies for the same possessions of a point.
        """
        layout = (configs_root() / "court" / "regions.toml").read_bytes()
        return {
            "scenario": config_hash(self.opened.base),
            "court layout": hashlib.sha256(layout).hexdigest(),
            "paths": ", ".join(factor.path for factor in self.factors),
            "points": f"{len(self.points)} points, {_sha(self.points)}",
            "settings": ", ".join(self.settings),
            "seed": str(self.seed),
            "luck": self.luck,
            "batch": str(self.batch),
        }

    @cached_property
    def digest(self) -> str:
        """SHA-256 (hexadecimal) of ``identity`` and ``trials``. Versions of the engine are not in it."""
        return _sha([self.identity, self.trials])

    @property
    def summary(self) -> dict[str, Any]:
        """Method, points, possessions and factors, for reading (JSON)."""
        factors = [factor.model_dump(mode="json", exclude_defaults=True) for factor in self.factors]
        for factor in factors:
            factor["values"] = factor.get("values", [])[:MOST_SHOWN]
            factor.pop("choice", None)
        return {
            "method": self.method,
            "possessions": self.possessions,
            "design_seed": self.design_seed,
            "factors": factors,
        }


def _sha(data: Any) -> str:
    return hashlib.sha256(canonical(data).encode("utf-8")).hexdigest()


# --- the points -----------------------------------------------------------------------------------------


def _table(
    file: DesignFile, source: Source
) -> tuple[Source, tuple[Factor, ...], tuple[Point, ...], list[dict[str, str]]]:
    """The table a design names: its columns as factors, its rows, and where the ends of each stand."""
    where = str(source)
    design = file.design
    for name in ("points", "seed"):
        if getattr(design, name) is not None:
            allowed = f"no {name} where method is table: the file says them"
            raise InputError(where, f"design.{name}", getattr(design, name), allowed)
    if design.file is None:
        raise MissingInput(where, "design.file", "the path of a CSV file of points")
    if file.factor:
        raise InputError(where, "factor", file.factor[0].path, "no [[factor]]: the columns are the paths")
    beside = source.path.parent / design.file
    table = Source(beside, str(Path(source.shown).parent / design.file), source.read)
    if not beside.is_file():
        raise InputError(where, "design.file", design.file, f"a file that exists (looked for {table})")
    header, rows = read_points(table)
    factors, keys = [], []
    for name in header:
        values: dict[tuple[type, Value], int] = {}
        for line, point in rows:
            values.setdefault((type(point[name]), point[name]), line)
        texts = [value for _, value in values if isinstance(value, str)]
        if len(texts) > MOST_TEXTS:
            line = values[str, texts[MOST_TEXTS]]
            raise InputError(
                table, f"line {line}.{plain(name)}", texts[MOST_TEXTS], f"{MOST_TEXTS} texts at most"
            )
        numbers = [float(value) for _, value in values if is_number(value)]
        factors.append(
            Factor(
                path=name,
                values=tuple(value for _, value in values),
                low=min(numbers, default=None),
                high=max(numbers, default=None),
            )
        )
        keys.append({f"values[{i}]": f"line {line}" for i, line in enumerate(values.values(), 1)})
    return table, tuple(factors), tuple(point for _, point in rows), keys


def _points(file: DesignFile, where: str, seed: int) -> tuple[Point, ...]:
    """The points of a design other than a table. Raises InputError."""
    design, factors = file.design, file.factor
    if design.file is not None:
        raise InputError(where, "design.file", design.file, "a file only where method is table")
    if not factors:
        raise MissingInput(where, "factor", "at least one [[factor]]")
    for i, factor in enumerate(factors, 1):
        check_factor(factor, design.method, where, f"factor[{i}]")
    if design.moved is not None and design.method != BALANCE:
        raise InputError(where, "design.moved", design.moved, f"nothing where method is not {BALANCE}")
    if design.method == "grid":
        for name in ("points", "seed"):
            if getattr(design, name) is not None:
                allowed = f"no {name} where method is grid: the factors say how many, and nothing is drawn"
                raise InputError(where, f"design.{name}", getattr(design, name), allowed)
        size = grid_size(factors)
        if size > MOST_POINTS:
            raise InputError(
                where, "factor", f"{size} combinations", f"a grid of at most {MOST_POINTS} points"
            )
        return tuple(grid(factors))
    if design.points is None:
        raise MissingInput(where, "design.points", "how many points")
    around = power_of_two(design.points)
    method = design.method
    if method in ("sobol", "saltelli"):
        if around is not None:
            allowed = f"a power of two where method is {method}, such as {around[0]} or {around[1]}"
            raise InputError(where, "design.points", design.points, allowed)
        most = MOST_SOBOL if method == "sobol" else MOST_SOBOL // 2
        if len(factors) > most:
            raise InputError(where, "factor", f"{len(factors)} factors", f"at most {most} with {method}")
    each = len(factors) + {"saltelli": 2, "morris": 1}.get(method, 0)
    if method in ("saltelli", "morris") and design.points * each > MOST_POINTS:
        allowed = f"at most {MOST_POINTS} points in all, {each} for each of these"
        raise InputError(where, "design.points", design.points, allowed)
    if method == BALANCE:
        return tuple(balanced(factors, design.points, MOVED if design.moved is None else design.moved, seed))
    return tuple(drawn(method, factors, design.points, seed))


# --- the rest -------------------------------------------------------------------------------------------


def design_from(data: Table, source: Source) -> Design:
    """A design from a table; the scenario and the table of points are found beside ``source``.

    Every path is followed and every factor's ends are tried in the scenario. Raises InputError.
    """
    where = str(source)
    file = parse(DesignFile, data, where)
    opened = Opened(file.scenario, source, "scenario")
    seed = opened.base.seed if file.seed is None else file.seed
    settings = settings_of(file, opened.base, where)
    design_seed = seed if file.design.seed is None else file.design.seed
    factors = with_choices(every_constant(file.factor, opened.base, file.design.method, where), where)
    file = file.model_copy(update={"factor": factors})
    factors, told_by = file.factor, source
    ends: list[dict[str, str]] = [{} for _ in file.factor]
    if file.design.method == "table":
        told_by, factors, points, ends = _table(file, source)
    else:
        points = _points(file, where, design_seed)
    effort = effort_of(file, settings, len(points), where)
    check_luck(file, effort, where)

    addresses: dict[str, Address | dict[str, list[tuple[Address, Value]]]] = {}
    told: dict[str, str] = {}
    for i, (factor, keys) in enumerate(zip(factors, ends, strict=True), 1):
        path = factor.path
        key = f"column {i}" if keys else f"factor[{i}]"
        shown = key if keys else f"{key}.path"
        found = locate(factor, opened, told_by, key)
        mine = [place for _, place in places_of({path: found})]
        for other, place in places_of(addresses):
            if any((place.file, place.side, place.steps) == (one.file, one.side, one.steps) for one in mine):
                raise InputError(told_by, shown, path, f"each value once ({other} is it)")
        for one in mine:
            parts = split(one.path)
            if parts[0] == "setting" and parts[1] not in settings:
                allowed = f"a setting that the design plays: {', '.join(settings)}"
                raise InputError(told_by, shown, one.path, allowed)
        addresses[path], told[path] = found, key
    both = clash({place.path: place for _, place in places_of(addresses)})
    if both is not None:
        allowed = f"not together with {both[1]}, which says what file that is"
        whose = next(path for path, place in places_of(addresses) if place.path == both[0])
        raise InputError(told_by, told[whose], both[0], allowed)
    trials: dict[str, str] = {}
    for factor, keys in zip(factors, ends, strict=True):
        trials |= try_ends(factor, addresses, opened, told_by, keys, told[factor.path])
    source.read.extend(opened.base.files)
    return Design(
        path=source.path,
        where=where,
        title=file.title,
        scenario_path=opened.source.path,
        possessions=file.possessions,
        batch=file.batch,
        seed=seed,
        luck=file.luck,
        method=file.design.method,
        design_seed=design_seed,
        settings=settings,
        factors=factors,
        points=points,
        effort=effort,
        opened=opened,
        addresses=addresses,
        told=told,
        trials=trials,
    )


def load_design(name_or_path: FileName) -> Design:
    """Load a design of a sweep by name (configs/sweeps) or path, with its scenario and table of points.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    source = resolve(name_or_path, "sweeps")
    return design_from(read_toml(source), source)
