"""First-order and total Sobol indices of the factors of a sweep, by the structure of its points.

Which estimator is used is read off the points themselves, so a table of points drawn elsewhere is as good:

- **Saltelli's scheme** (blocks A, A with one column of B each, B): SALib's estimators (Saltelli et al. 2010,
  Computer Physics Communications 181:259) with its bootstrap intervals.
- **Full grid**: exact for the grid, every value of a factor weighing the same; intervals from luck alone.
- **Other points** (Latin hypercube, Sobol points, tables): first order only. RBD-FAST as in the stress study
  for factors with many values, the correlation ratio for those with few; intervals from half samples.

Each gives parts of the variance, quadratic in the values. What the luck of the possessions puts into them is
taken out (``engine.study.sweep.analyse.luck``). An index whose interval is wider than ``WIDEST`` says
nothing and is not given; what would make it narrower is said instead. Points of a screening (Morris) have
indices of their own kind (``engine.study.sweep.analyse.screening``).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, partial
from math import prod

import numpy as np

from engine.estimate.intervals import LEVEL, normal_quantile, student_quantile
from engine.estimate.luck import HARMONICS, first_order
from engine.study.sweep.analyse.luck import FloatArray, IntArray, Luck

SALTELLI, GRID, GIVEN, MORRIS = "saltelli", "grid", "given", "morris"
METHOD_WORDS = {
    SALTELLI: "Saltelli's scheme",
    GRID: "exact for the full grid",
    GIVEN: "from given data",
    MORRIS: "screening",
}
#: Fewer blocks, or points, than these give no indices.
LEAST_BLOCKS, LEAST_POINTS = 16, 64
#: A share of the spread that is not luck below this leaves nothing to divide.
LEAST_TRUE = 0.1
#: A wider interval (from low to high) of an index is not given.
WIDEST = 0.5
#: A factor with at most this many different values is taken by its values.
FEW_VALUES = 12
RESAMPLES, HALVES, SHUFFLES = 400, 200, 200
_TINY = 1e-24


@dataclass(frozen=True, eq=False)
class Points:
    """The points of a sweep as codes: int64[points, factors], equal codes for equal values, ordered as the
    values are; ``names`` of the factors."""

    names: tuple[str, ...]
    codes: IntArray

    @property
    def n_factors(self) -> int:
        return len(self.names)

    def structure(self) -> str:
        """GRID, SALTELLI, MORRIS or GIVEN."""
        return self._structure

    @cached_property
    def _structure(self) -> str:
        if self._is_grid():
            return GRID
        if self._is_saltelli():
            return SALTELLI
        return MORRIS if self._is_morris() else GIVEN

    def _is_morris(self) -> bool:
        """Trajectories in each of which every factor moves once, by itself."""
        step = self.n_factors + 1
        if self.n_factors < 2 or len(self.codes) % step or len(self.codes) < step:
            return False
        moved = np.diff(self.codes.reshape(-1, step, self.n_factors), axis=1) != 0
        return bool((moved.sum(axis=2) == 1).all() and (moved.sum(axis=1) == 1).all())

    def _is_grid(self) -> bool:
        levels = [len(np.unique(column)) for column in self.codes.T]
        whole = len(self.codes) == prod(levels)
        return whole and len(np.unique(self.codes, axis=0)) == len(self.codes)

    def _is_saltelli(self) -> bool:
        step = self.n_factors + 2
        if len(self.codes) % step or len(self.codes) < step:
            return False
        blocks = self.codes.reshape(-1, step, self.n_factors)
        wanted = np.repeat(blocks[:, :1], self.n_factors, axis=1)
        each = np.arange(self.n_factors)
        wanted[:, each, each] = blocks[:, -1]
        return bool((blocks[:, 1:-1] == wanted).all())


@dataclass(frozen=True, eq=False)
class Indices:
    """Indices float64[factors] with the halves of their 95 % intervals, nan where there is none.

    Attributes:
        method: SALTELLI, GRID, GIVEN or MORRIS.
        used: rows that went in.
        luck_share: share of the spread between the rows that is luck (0 where it cannot be told).
        first, first_half, total, total_half: indices.
        floor: float64[factors], what the greatest first-order index of factors without effect passes in 5 of
            100 cases (the same for all); nan where it was not worked out.
        reasons: why a factor has none, empty where it has.
    """

    method: str
    used: int
    luck_share: float
    first: FloatArray
    first_half: FloatArray
    total: FloatArray
    total_half: FloatArray
    floor: FloatArray
    reasons: tuple[str, ...]


def indices(
    points: Points, y: FloatArray, luck: Luck, seed: int = 1, possessions: float | None = None
) -> Indices:
    """Indices of every factor.

    Args:
        points: all points of the sweep, in the order of their numbers.
        y: float64[points], the quantity; nan where a point was not played.
        luck: of the same rows.
        seed: of the resampling, at least 1.
        possessions: of a point (a typical one), to say how many would be needed.
    """
    method = points.structure()
    there = np.isfinite(y)
    if method == GRID and not there.all():
        method = GIVEN
    if method == SALTELLI:
        step = points.n_factors + 2
        there = np.repeat(there.reshape(-1, step).all(axis=1), step)
    rows = np.flatnonzero(there)
    nothing = partial(_nothing, points.n_factors, method, len(rows))
    if method == MORRIS:
        return nothing("the points are those of a screening; see its table", 0.0)
    least = {SALTELLI: LEAST_BLOCKS * (points.n_factors + 2), GRID: 3, GIVEN: LEAST_POINTS}[method]
    if len(rows) < least:
        return nothing(f"{len(rows)} points played, at least {least} are needed", 0.0)
    work = {SALTELLI: _Saltelli, GRID: _Grid, GIVEN: _Given}[method](points, rows, seed)
    spread = float(y[work.spread_rows].var())
    if spread <= _TINY:
        return nothing("all points came out alike", 0.0)
    n = len(work.spread_rows)
    if not np.isfinite(luck.between(work.spread_rows)):
        return nothing("no point has an interval, so its luck is not known: play more possessions", 0.0)
    share = min(luck.between(work.spread_rows) * (1.0 - 1.0 / n) / spread, 1.0)
    if 1.0 - share < LEAST_TRUE:
        told = f"{share:.0%} of the spread between the points is luck"
        return nothing(f"{told}: {_needed(possessions, share / max(1.0 - share, 0.01))}", share)
    true = spread * (1.0 - share)
    parts = work.parts(y[rows]) - _luck_in_parts(work, luck, rows)
    if work.method == GRID:  # the points are the whole grid: an effect that is not there is 0, not below
        parts = np.maximum(parts, 0.0)
    parts[1] = np.maximum(parts[1], 0.0)
    first, total = parts / true
    luck_halves = _luck_halves(work, y, luck, parts / true)
    first_half, total_half = np.sqrt(work.halves(y[rows], luck) ** 2 + luck_halves**2) / true
    reasons = [""] * points.n_factors
    for values, halves in ((first, first_half), (total, total_half)):
        for j in np.flatnonzero(2.0 * halves > WIDEST):
            reasons[j] = reasons[j] or _too_wide(2.0 * halves[j], share, len(rows), possessions)
            values[j] = halves[j] = np.nan
    floor = work.floor(y[rows]) / true
    return Indices(method, len(rows), share, first, first_half, total, total_half, floor, tuple(reasons))


def _needed(possessions: float | None, times: float) -> str:
    """So many times the possessions, in words."""
    if possessions is None:
        return f"play {times:.1f} times the possessions"
    digits = 10 ** max(len(str(round(times * possessions))) - 2, 0)
    return f"play about {round(times * possessions / digits) * digits:,} possessions a point"


def _too_wide(width: float, share: float, n_rows: int, possessions: float | None) -> str:
    """What would make an interval of an index narrow enough: with f times the possessions the spread as
    played shrinks by the share of luck, 1 - share + share / f, and the interval with it; beyond that only
    more points help, by the square root of their number."""
    wanted = WIDEST / width
    told = f"its interval is {width:.2f} wide"
    if wanted > 1.0 - share and share > 0.0:
        return f"{told}: {_needed(possessions, share / (wanted - (1.0 - share)))}"
    more = round(n_rows * ((1.0 - share) / wanted) ** 2 * 1.2)
    return f"{told}: about {more:,} points are needed" + (
        ", with more possessions each" if share > 0.2 else ""
    )


def _nothing(n: int, method: str, used: int, reason: str, share: float) -> Indices:
    nan = np.full(n, np.nan)
    return Indices(method, used, share, nan, nan, nan, nan, nan, (reason,) * n)


def _luck_in_parts(work: _Method, luck: Luck, rows: IntArray) -> FloatArray:
    """What luck alone puts into the parts, float64[2, factors]: of its draws, or of independent luck."""
    if luck.draws is not None:
        return np.asarray(np.mean([work.parts(draw[rows]) for draw in luck.draws], axis=0))
    if luck.independent:
        return work.parts_of_white(luck.variance[rows])
    return np.zeros((2, work.points.n_factors))


def _luck_halves(work: _Method, y: FloatArray, luck: Luck, found: FloatArray) -> FloatArray:
    """Halves of the 95 % intervals of the parts that come from luck which points share, float64[2, factors].

    Parts and spread are quadratic in the values: y + luck has twice the mixed term of both on top, which is
    seen with the draws of luck in the place of the true one. An index, ``found``, is a part over the spread,
    so the spread's term counts against the part's (delta method). Few draws tell the size badly: Student's
    quantile.
    """
    if luck.draws is None:
        return np.zeros((2, work.points.n_factors))
    mixed = []
    for draw in luck.draws:
        more, less = y + draw, y - draw
        spread = float(more[work.spread_rows].var() - less[work.spread_rows].var()) / 2.0
        mixed.append((work.parts(more[work.rows]) - work.parts(less[work.rows])) / 2.0 - found * spread)
    quantile = student_quantile(LEVEL, len(mixed))
    return np.asarray(quantile * np.sqrt(np.mean(np.square(mixed), axis=0)))


class _Method:
    """An estimator of the parts of the variance that the factors have, alone and with others."""

    method = ""

    def __init__(self, points: Points, rows: IntArray, seed: int) -> None:
        self.points, self.rows, self.seed = points, rows, seed
        self.codes = points.codes[rows]

    @property
    def spread_rows(self) -> IntArray:
        """Rows whose variance the parts are shares of."""
        return self.rows

    def parts(self, values: FloatArray) -> FloatArray:
        """Parts of the variance float64[2, factors] (first order, total) as told by float64[rows] values."""
        raise NotImplementedError

    def parts_of_white(self, variance: FloatArray) -> FloatArray:
        """What independent luck of these variances float64[rows] puts into the parts on average."""
        raise NotImplementedError

    def halves(self, values: FloatArray, luck: Luck) -> FloatArray:
        """Halves of the 95 % intervals of the parts, float64[2, factors]."""
        raise NotImplementedError

    def floor(self, values: FloatArray) -> FloatArray:
        """What the greatest first-order part of factors without effect passes in 5 of 100 cases, for each."""
        return np.full(self.points.n_factors, np.nan)


class _Saltelli(_Method):
    """SALib's estimators; luck that is independent adds nothing to its first-order product B (AB - A)."""

    method = SALTELLI

    @property
    def blocks(self) -> IntArray:
        """Places of the rows, int64[blocks, factors + 2]."""
        return np.arange(len(self.rows)).reshape(-1, self.points.n_factors + 2)

    @property
    def spread_rows(self) -> IntArray:
        return self.rows[self.blocks[:, [0, -1]].ravel()]

    def _analyze(self, values: FloatArray, resamples: int) -> FloatArray:
        """S1, ST and their halves times the variance that SALib divides by, float64[4, factors]."""
        from SALib.analyze import sobol

        d = self.points.n_factors
        if float(np.ptp(values)) <= 0.0:
            return np.zeros((4, d))
        problem = {"num_vars": d, "names": list(self.points.names), "bounds": [[0.0, 1.0]] * d}
        found = sobol.analyze(
            problem,
            values,
            calc_second_order=False,
            num_resamples=resamples,
            conf_level=LEVEL,
            seed=self.seed,
        )
        spread = float(values[self.blocks[:, [0, -1]].ravel()].var())
        return np.array([found[name] for name in ("S1", "ST", "S1_conf", "ST_conf")]) * spread

    def parts(self, values: FloatArray) -> FloatArray:
        return self._analyze(values, 2)[:2]

    def parts_of_white(self, variance: FloatArray) -> FloatArray:
        blocks = self.blocks
        pairs = variance[blocks[:, :1]] + variance[blocks[:, 1:-1]]
        return np.array([np.zeros(self.points.n_factors), 0.5 * np.nanmean(pairs, axis=0)])

    def halves(self, values: FloatArray, luck: Luck) -> FloatArray:
        return self._analyze(values, RESAMPLES)[2:]


class _Grid(_Method):
    """Variance of the means over a factor's values, and mean variance over them with all others held."""

    method = GRID

    def __init__(self, points: Points, rows: IntArray, seed: int) -> None:
        super().__init__(points, rows, seed)
        self.levels = tuple(len(np.unique(column)) for column in points.codes.T)
        self.order = np.lexsort(points.codes.T[::-1])  # the last factor fastest

    def parts(self, values: FloatArray) -> FloatArray:
        cube = values[self.order].reshape(self.levels)
        axes = range(cube.ndim)
        means = [cube.mean(axis=tuple(i for i in axes if i != axis)) for axis in axes]
        return np.array([[mean.var() for mean in means], [cube.var(axis=axis).mean() for axis in axes]])

    def parts_of_white(self, variance: FloatArray) -> FloatArray:
        k = np.array(self.levels)
        mean = float(np.nanmean(variance))
        return np.array([mean * (k - 1.0) / len(variance), mean * (k - 1.0) / k])

    def halves(self, values: FloatArray, luck: Luck) -> FloatArray:
        """The points are the whole grid, so luck alone makes the parts uncertain: add as much again."""
        if luck.draws is not None:
            return np.zeros((2, len(self.levels)))
        rng = np.random.default_rng([self.seed, len(values)])
        errors = np.sqrt(np.nan_to_num(luck.variance[self.rows]))
        again = [self.parts(values + errors * rng.standard_normal(len(values))) for _ in range(RESAMPLES)]
        return np.asarray(normal_quantile(LEVEL) * np.std(again, axis=0))


class _Given(_Method):
    """First order alone, from whatever points there are."""

    method = GIVEN

    def _first(self, codes: IntArray, values: FloatArray, seed: int) -> FloatArray:
        return given_first(codes, values, np.random.default_rng([self.seed, seed])) * float(values.var())

    def parts(self, values: FloatArray) -> FloatArray:
        return np.array([self._first(self.codes, values, 0), np.full(self.points.n_factors, np.nan)])

    def parts_of_white(self, variance: FloatArray) -> FloatArray:
        n = self.points.n_factors
        return np.array([np.zeros(n), np.full(n, np.nan)])  # both estimators have their bias taken out

    def halves(self, values: FloatArray, luck: Luck) -> FloatArray:
        """From half samples drawn without replacement (Shao & Wu 1989, delete-d jackknife, from memory): rows
        that are there twice would look like a response of many harmonics."""
        rng = np.random.default_rng([self.seed, len(values)])
        again = np.empty((HALVES, self.points.n_factors))
        for i in range(HALVES):
            chosen = rng.permutation(len(values))[: len(values) // 2]
            again[i] = self._first(self.codes[chosen], values[chosen], i)
        halves = normal_quantile(LEVEL) * again.std(axis=0, ddof=1)
        return np.array([halves, np.full(self.points.n_factors, np.nan)])

    def floor(self, values: FloatArray) -> FloatArray:
        rng = np.random.default_rng([self.seed, len(values), 1])
        found = []
        for column in self.codes.T:
            shuffled = rng.permuted(np.repeat(column[:, None], SHUFFLES, axis=1), axis=0)
            found.append(self._first(shuffled, values, 1))
        greatest = float(np.quantile(np.max(found, axis=0), 0.95))
        return np.full(len(found), greatest)


def given_first(codes: IntArray, y: FloatArray, rng: np.random.Generator) -> FloatArray:
    """First-order indices float64[factors] as told, luck included; codes int64[rows, factors]."""
    few = (np.diff(np.sort(codes, axis=0), axis=0) != 0).sum(axis=0) < FEW_VALUES
    found = np.empty(codes.shape[1])
    for j in np.flatnonzero(few):
        found[j] = _correlation_ratio(codes[:, j], y)
    if not few.all():
        # Only the order of a column matters; equal values are put in a random one.
        ties = rng.random(codes[:, ~few].shape)
        order = np.lexsort((ties, codes[:, ~few]), axis=0)
        ranks = np.empty(order.shape)
        np.put_along_axis(ranks, order, np.arange(len(order), dtype=np.float64)[:, None], axis=0)
        found[~few] = first_order(ranks, y) if len(y) > 2 * HARMONICS + 1 else np.nan
    return found


def _correlation_ratio(codes: IntArray, y: FloatArray) -> float:
    """Share of the variance between the values of a factor, less what chance alone puts there (epsilon
    squared, Kelley 1935, from memory)."""
    n, counts = len(y), np.bincount(codes)
    k = int((counts > 0).sum())
    if k < 2 or n <= k:
        return 0.0
    means = np.bincount(codes, weights=y) / np.maximum(counts, 1)
    total = float(((y - y.mean()) ** 2).sum())
    within = float(((y - means[codes]) ** 2).sum())
    return (total - within - (k - 1) * within / (n - k)) / total if total > 0.0 else 0.0
