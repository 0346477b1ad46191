"""The points of a design: full grid, Latin hypercube, Sobol, or the rows of a table."""

from __future__ import annotations

import csv
import io
import itertools
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from SALib.sample import morris, sobol
from scipy.stats import qmc

from engine.errors import InputError
from engine.inputs.base import plain
from engine.inputs.files import Source, quoted, read_text
from engine.study.sweep.paths import Value

if TYPE_CHECKING:
    from engine.study.sweep.design_file import Factor

#: Most points of a design: with independent luck a point has 2**30 possession numbers of the 2**48 there are.
MOST_POINTS = 2**18
#: Keeps the random numbers of designs apart from others of the same seed.
DESIGN_KEY = 0xD351
#: Most factors of a Sobol design (the direction numbers that scipy has).
MOST_SOBOL = 21_201

#: Every point moves a few of very many factors; at how many of the points each moves unless it is said.
BALANCE, MOVED = "random_balance", 0.1

Point = dict[str, Value]


def unit_points(method: str, n_factors: int, points: int, seed: int) -> NDArray[np.float64]:
    """Seeded points float64[points, n_factors] in 0..1 (1 left out).

    ``latin_hypercube``: McKay, Beckman & Conover (1979), as scipy.stats.qmc.LatinHypercube draws it.
    ``sobol``: Sobol points scrambled after Owen (1998), as scipy.stats.qmc.Sobol does it; ``points`` must be
    a power of two.
    ``saltelli``: for first-order and total Sobol indices, float64[points * (n_factors + 2), n_factors]:
    scrambled Sobol points A and B and, for each factor, A with that factor from B (Saltelli 2002, Computer
    Physics Communications 145:280), as SALib lays them out: A, A with a factor from B in turn, B.
    ``morris``: that many trajectories, float64[points * (n_factors + 1), n_factors], in each of which every
    factor moves once by two of the three steps between its four levels (Morris 1991, Technometrics 33:161),
    as SALib draws them.
    """
    rng = np.random.default_rng([DESIGN_KEY, seed])
    if method == "latin_hypercube":
        found = qmc.LatinHypercube(n_factors, rng=rng).random(points)
    elif method in ("saltelli", "morris"):
        names = [f"x{i}" for i in range(n_factors)]
        problem = {"num_vars": n_factors, "names": names, "bounds": [[0.0, 1.0]] * n_factors}
        if method == "saltelli":
            found = sobol.sample(problem, points, calc_second_order=False, seed=rng)
        else:
            found = morris.sample(problem, points, num_levels=4, seed=int(rng.integers(2**32)))
    else:
        found = qmc.Sobol(n_factors, scramble=True, rng=rng).random_base2(points.bit_length() - 1)
    return np.clip(np.asarray(found, dtype=np.float64), 0.0, np.nextafter(1.0, 0.0))


def power_of_two(points: int) -> tuple[int, int] | None:
    """None for a power of two, else the two around it."""
    below = 1 << (points.bit_length() - 1)
    return None if below == points else (below, 2 * below)


def at(factor: Factor, u: float) -> Value:
    """The value of a factor at ``u`` in 0..1: on its scale from low to high, or one of its values.

    Values of a list and, on a linear scale, whole numbers all have the same chance; on a logarithmic scale
    whole numbers are rounded.
    """
    if factor.values:
        return factor.values[int(u * len(factor.values))]
    low, high = factor.low, factor.high
    assert low is not None and high is not None  # the loader: values, or low and high
    if factor.scale == "log":
        value = min(max(math.exp(math.log(low) + u * (math.log(high) - math.log(low))), low), high)
        return round(value) if factor.whole else value
    if factor.whole:
        return min(int(low) + int(u * (int(high) - int(low) + 1)), int(high))
    return min(low + u * (high - low), high)


def levels(factor: Factor) -> list[Value]:
    """The values of a factor in a grid: its list, or ``steps`` from low to high, both included.

    Whole numbers are rounded, and none is there twice.
    """
    if factor.values:
        return list(factor.values)
    low, high, steps = factor.low, factor.high, factor.steps
    assert low is not None and high is not None and steps is not None  # the loader
    if factor.scale == "log":
        places = [math.exp(x) for x in np.linspace(math.log(low), math.log(high), steps)]
    else:
        places = [float(x) for x in np.linspace(low, high, steps)]
    places[0], places[-1] = low, high
    if factor.whole:
        return list(dict.fromkeys(round(x) for x in places))
    return list(places)


def grid(factors: Sequence[Factor]) -> list[Point]:
    """Every combination, the last factor fastest."""
    paths = [factor.path for factor in factors]
    return [dict(zip(paths, row, strict=True)) for row in itertools.product(*map(levels, factors))]


def grid_size(factors: Sequence[Factor]) -> int:
    """Points of a full grid, without making them."""
    return math.prod(len(levels(factor)) for factor in factors)


def drawn(method: str, factors: Sequence[Factor], points: int, seed: int) -> list[Point]:
    """A Latin hypercube, Sobol or Saltelli design with the values of the factors."""
    table = unit_points(method, len(factors), points, seed)
    return [
        {factor.path: at(factor, float(u)) for factor, u in zip(factors, row, strict=True)} for row in table
    ]


def balanced(factors: Sequence[Factor], points: int, moved: float, seed: int) -> list[Point]:
    """A random balance: each factor stands at its low end at ``moved`` / 2 of the points (one at least), at
    its high end at as many others, drawn for each factor by itself, and at its own value at the rest.

    So every point is a place near the scenario, and all factors are told apart by all points (Satterthwaite
    1959, Technometrics 1:111, from memory; there without points in the middle). With all of some hundred
    factors anywhere in their ranges a point would be a game that nobody plays.
    """
    rng = np.random.default_rng([DESIGN_KEY, seed])
    each = max(1, min(round(points * moved / 2.0), points // 2))
    found: list[Point] = [{} for _ in range(points)]
    for factor in factors:
        assert factor.low is not None and factor.high is not None and factor.own is not None  # the loader
        order = rng.permutation(points)
        column = np.full(points, factor.own)
        column[order[:each]], column[order[each : 2 * each]] = factor.low, factor.high
        for point, value in zip(found, column.tolist(), strict=True):
            point[factor.path] = int(value) if factor.whole else value
    return found


def _cell(text: str) -> Value:
    if text in ("true", "false"):
        return text == "true"
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


def read_points(source: Source) -> tuple[list[str], list[tuple[int, Point]]]:
    """A table of points (CSV): its columns, which are paths, and its rows with their line numbers.

    Cells are numbers, ``true``, ``false``, or text. Empty lines and lines that start with # are left out.

    Raises InputError naming the line: a cell is empty or no finite number, cells are missing, a column
    stands there twice.
    """
    header: list[str] = []
    rows: list[tuple[int, Point]] = []
    for number, line in enumerate(io.StringIO(read_text(source)), start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        key = f"line {number}"
        try:
            cells = [cell.strip() for cell in next(csv.reader([line], strict=True))]
        except (csv.Error, StopIteration):
            raise InputError(source, key, quoted(source, line), "comma-separated values") from None
        if not header:
            header = cells
            for i, name in enumerate(header):
                if not name or name in header[:i]:
                    raise InputError(
                        source, key, quoted(source, name), "paths as names of columns, each once"
                    )
            continue
        if len(cells) != len(header):
            shown = quoted(source, ",".join(cells))
            raise InputError(source, key, shown, f"{len(header)} values, one per column")
        point: Point = {}
        for name, text in zip(header, cells, strict=True):
            value = _cell(text)
            good = bool(text) and (not isinstance(value, float) or math.isfinite(value))
            if not good or (isinstance(value, int) and abs(value) >= 2**63):
                raise InputError(source, f"{key}.{plain(name)}", text, "a finite number, true, false or text")
            point[name] = value
        rows.append((number, point))
        if len(rows) > MOST_POINTS:
            raise InputError(source, key, f"{len(rows)} points", f"at most {MOST_POINTS} points")
    if not header or not rows:
        raise InputError(source, "", "a file without points", "a row of paths, and a row of values per point")
    return header, rows
