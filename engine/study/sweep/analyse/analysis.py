"""From the table of a sweep to what a researcher reads: indices, response curves, what is traded for what.

All numbers are estimates from played possessions; every table carries intervals (95 %), and the luck of the
possessions is told apart from the factors' effects as far as the sweep allows (``sweep.analyse.luck``).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from pandas.api.types import is_bool_dtype, is_numeric_dtype

from engine.errors import InputError
from engine.estimate.intervals import LEVEL, normal_quantile
from engine.estimate.tally import BoxTally
from engine.inputs.defaults import HOME, OVER_N
from engine.study.sweep.analyse import rows as rows_of
from engine.study.sweep.analyse.indices import GIVEN, MORRIS, Points, indices
from engine.study.sweep.analyse.luck import FloatArray, Luck
from engine.study.sweep.analyse.metamodel import fit
from engine.study.sweep.analyse.screening import screen
from engine.study.sweep.analyse.slopes import slopes
from engine.study.sweep.gather import gather, provenance_of
from engine.study.sweep.stored import Stored
from engine.study.sweep.tallies import MOMENTS, SETTING_LESS_HOME, Batch, BatchTally, moments


class Quantity(NamedTuple):
    """A column of the gathered table that can be analysed: unit, words for an axis, and whether it compares a
    setting with staying home (which then has none itself)."""

    unit: str
    words: str
    paired: bool = False


#: What ``--quantity`` may name. All have limits beside them in the gathered table.
QUANTITIES = {
    "change": Quantity("net points per possession", "change against staying home", True),
    "points": Quantity("points per possession", "points conceded"),
    "net": Quantity("net points per possession", "net points conceded"),
    "value": Quantity("net points saved per called possession", "value of the calls", True),
    "turnover": Quantity("share of possessions", "turnovers forced"),
    "p_rim_shot": Quantity("share of possessions", "possessions with a shot at the rim"),
    "p_two_or_more": Quantity("share of possessions", "possessions that cost two or more"),
    "offensive_rebound": Quantity("share of rebounds", "offensive rebounds"),
    "three_attempts": Quantity("share of attempts", "three-point attempts"),
    "rim_attempts": Quantity("share of attempts", "attempts at the rim"),
}
#: What stands against points saved in the trade-off table: column -> words.
RISKS = {
    "p_two_or_more": "chance to concede two or more in a possession",
    "p_rim_shot": "chance of a shot at the rim in a possession",
    "worst_5_percent": "net points over home's mean in the worst 5% of sets of called possessions",
}
PER = 100


@dataclass(frozen=True, eq=False)
class Sweep:
    """A gathered sweep.

    Attributes:
        table: one row per point and setting (``engine.study.sweep.gather``).
        points: one row per point, a column per factor, in the order of the points' numbers (from 1).
        luck: "common" or "independent".
        logarithmic: factors that were varied on a logarithmic scale.
        batches: (setting, quantity) -> float64[points, batches], means of batches that every played point
            has, nan where it was not played. Needed where luck is common, to tell what points share of it.
        batch_share: mean share of a point's possessions that lies in those batches.
        title: of the design. ``over_n``: calls that the risk is added up over.
        provenance: where it comes from (``gather.provenance_of``). ``design``: its summary.
        assumed: what the scenario's files leave out and what was taken instead.
    """

    table: pd.DataFrame
    points: pd.DataFrame
    luck: str
    logarithmic: frozenset[str] = frozenset()
    batches: Mapping[tuple[str, str], FloatArray] = field(default_factory=dict)
    batch_share: float = 1.0
    title: str = ""
    over_n: int = OVER_N
    provenance: Mapping[str, str] = field(default_factory=dict)
    design: Mapping[str, Any] = field(default_factory=dict)
    assumed: tuple[str, ...] = ()

    @property
    def settings(self) -> list[str]:
        return list(dict.fromkeys(self.table["setting"]))


@dataclass(frozen=True, eq=False)
class Analysis:
    """The tables of an analysis.

    Attributes:
        sweep, quantity: what was analysed.
        indices: one row per setting and factor: ``first_order`` and ``total`` (empty where the points do not
            allow it) with limits, ``floor`` (what the greatest of the factors without effect passes in 5 of
            100 cases), ``points`` used, ``luck_share`` of the spread and what was done about it, ``reason``
            for gaps.
        curves: one row per setting, factor and place: ``value`` (or ``place`` for names), ``mean`` with
            limits, ``weight`` (points that it rests on).
        trade_off: one row per point and setting with calls: points ``saved`` per 100 possessions against each
            risk, whether no other row is better in both (``on_front_RISK``, by the estimates: of many rows
            the luckiest are there too) and whether another is better beyond both intervals
            (``clearly_beaten_RISK``).
        screening: of a design by trajectories, one row per setting and factor (``analyse.screening``), the
            strongest first; else empty. ``slopes``: the same of other points (``analyse.slopes``).
        metamodel: where it was asked for, one row per setting and factor: its indices, and how well it
            foretells (``analyse.metamodel``); ``foretold``: one row per setting and point that it rests on.
        seed: of the resampling.
    """

    sweep: Sweep
    quantity: str
    indices: pd.DataFrame
    curves: pd.DataFrame
    trade_off: pd.DataFrame
    screening: pd.DataFrame
    slopes: pd.DataFrame
    metamodel: pd.DataFrame
    foretold: pd.DataFrame
    seed: int = 1

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables by name, those without a row left out, each with where it comes from in its last
        columns."""
        found = {
            "indices": self.indices, "curves": self.curves, "trade_off": self.trade_off,
            "screening": self.screening, "slopes": self.slopes, "metamodel": self.metamodel,
            "foretold": self.foretold,
        }  # fmt: skip
        always = ("indices", "curves", "trade_off")
        return {
            name: table.assign(**self.sweep.provenance)
            for name, table in found.items()
            if len(table) or name in always
        }


# --- from a store ---------------------------------------------------------------------------------------


TableOf = Callable[[Stored, "_Batches | None"], pd.DataFrame]
#: Of a batch, under every setting, home first: two sums whose quotient is the quantity.
Sums = Callable[[BatchTally], list[tuple[float, float]]]


def _of(column: str) -> Sums:
    place = MOMENTS.index(column)
    return lambda tally: [(float(total), tally.n) for total in moments(tally)[:, place]]


def _share(part: Callable[[BoxTally], int], whole: Callable[[BoxTally], int] = lambda box: box.n) -> Sums:
    def sums(tally: BatchTally) -> list[tuple[float, float]]:
        return [(part(box), whole(box)) for box in (tally.home, *(one.box for one in tally.settings))]

    return sums


def _value(tally: BatchTally) -> list[tuple[float, float]]:
    pairs = [one.pairs.pairs() for one in tally.settings]
    return [(0.0, 0.0), *((-float((one * SETTING_LESS_HOME).sum()), float(one.sum())) for one in pairs)]


#: How the luck of each quantity is told from batches.
BATCH_SUMS: dict[str, Sums] = {
    "change": _of("change"),
    "points": _of("points"),
    "net": _of("net"),
    "value": _value,
    "turnover": _share(lambda box: box.lost),
    "p_rim_shot": _share(lambda box: box.total("rim_shot")),
    "p_two_or_more": _share(lambda box: int(box.points_hist[2:].sum())),
    "offensive_rebound": _share(
        lambda box: box.total("oreb"), lambda box: box.total("oreb") + box.total("dreb")
    ),
    "three_attempts": _share(lambda box: box.total("three_attempts"), lambda box: box.total("fga")),
    "rim_attempts": _share(lambda box: box.total("rim_attempts"), lambda box: box.total("fga")),
}


def read(path: str | Path, quantity: str = "change", table_of: TableOf = gather) -> Sweep:
    """The sweep in a store, with what its batches tell of the luck in ``quantity``. ``table_of`` makes the
    table of it, all of it or the columns that are wanted, and shows every batch to its second argument.

    Raises InputError: no store of a sweep, or a damaged one.
    """
    with Stored.read(path) as store:
        common = store.meta["luck"] == "common"
        shared = _Batches(store, quantity) if common else None
        table = table_of(store, shared)
        points = pd.DataFrame([values for _, values in store.points()], columns=list(store.factors))
        scales = json.loads(store.meta.get("scales", "{}"))
        return Sweep(
            table=table,
            points=points,
            luck=store.meta["luck"],
            logarithmic=frozenset(path for path, scale in scales.items() if scale == "log"),
            batches=shared.means() if shared is not None else {},
            batch_share=shared.share if shared is not None else 1.0,
            title=store.meta["title"],
            over_n=int(store.meta["over_n"]),
            provenance=provenance_of(store),
            design=json.loads(store.meta["design"]),
            assumed=tuple(json.loads(store.meta["assumed"])),
        )


class _Batches:
    """What the batches that every played point has say of a quantity, taken from them as they are shown.

    ``share``: ``Sweep.batch_share``.
    """

    def __init__(self, store: Stored, quantity: str) -> None:
        self.quantity, self.settings = quantity, store.settings
        self.share = 1.0
        self._sums: FloatArray | None = None
        self._places: dict[int, int] = {}  # first possession of a batch -> its column
        played = store.played()
        there = np.flatnonzero(played)
        if quantity not in BATCH_SUMS or not len(there):
            return
        common: set[tuple[int, int]] = set(store.kept(int(there[0])).items())
        for point in there[1:]:
            common &= set(store.kept(int(point)).items())
        size = max((count for _, count in common), default=0)
        chosen = sorted(first for first, count in common if count == size)
        if len(chosen) < 2:
            return
        self._places = {first: place for place, first in enumerate(chosen)}
        self.share = float(np.mean(len(chosen) * size / played[there]))
        self._sums = np.full((2, len(self.settings), len(played), len(chosen)), np.nan)

    def __call__(self, batch: Batch, tally: BatchTally) -> None:
        place = self._places.get(batch.first)
        if place is not None and self._sums is not None:
            self._sums[:, :, batch.point, place] = np.transpose(BATCH_SUMS[self.quantity](tally))

    def means(self) -> dict[tuple[str, str], FloatArray]:
        """``Sweep.batches``; empty where fewer than two batches are everywhere.

        Of a quotient R = sum y / sum x a batch says R + (y - R x) / (mean x), its linear part: the mean over
        the batches is R, and few events in one of them do no harm.
        """
        if self._sums is None:
            return {}
        with np.errstate(divide="ignore", invalid="ignore"):
            over, below = self._sums
            whole = over.sum(axis=2, keepdims=True) / below.sum(axis=2, keepdims=True)
            found = whole + (over - whole * below) / below.mean(axis=2, keepdims=True)
        return {(name, self.quantity): one for name, one in zip(self.settings, found, strict=True)}


# --- the analysis ---------------------------------------------------------------------------------------


def analyse(
    sweep: Sweep,
    quantity: str = "change",
    settings: Sequence[str] | None = None,
    seed: int = 1,
    metamodel: bool = False,
) -> Analysis:
    """Indices, curves and the trade-off table of a sweep.

    Args:
        quantity: one of QUANTITIES.
        settings: None takes all for which the quantity means something.
        seed: of the resampling behind the intervals, at least 1.
        metamodel: whether to fit one to each setting (needs scikit-learn).

    Raises:
        InputError: an unknown quantity or setting, or one for which the quantity means nothing.
    """
    chosen = chosen_settings(sweep, quantity, settings)
    points = codes_of(sweep.points)
    units = units_of(sweep)
    found: dict[str, list[rows_of.Row]] = {name: [] for name in rows_of.COLUMNS}
    for name in chosen:
        y, luck = _column(sweep, name, quantity)
        about = (name, quantity, points.names)
        found["indices"] += rows_of.index_rows(
            *about, indices(points, y, luck, seed, _possessions(sweep, name)), luck
        )
        if points.structure() == MORRIS:
            found["screening"] += rows_of.screen_rows(*about, screen(units, y, luck, seed), luck)
        if points.structure() == GIVEN:
            found["slopes"] += slopes_of(sweep, name, quantity)
        if metamodel:
            fitted = fit(units, y, luck, seed)
            found["metamodel"] += rows_of.model_rows(*about, fitted)
            found["foretold"] += rows_of.foretold_rows(name, quantity, y, fitted)
        for j in range(points.n_factors):
            found["curves"] += curve_of(sweep, name, quantity, points, j, y, luck)
    tables = {name: pd.DataFrame(rows, columns=list(rows_of.COLUMNS[name])) for name, rows in found.items()}
    return Analysis(
        sweep=sweep,
        quantity=quantity,
        trade_off=trade_off(sweep, settings),
        **tables,
        seed=seed,
    )


def slopes_of(sweep: Sweep, setting: str, quantity: str) -> list[rows_of.Row]:
    """Rows of ``Analysis.slopes`` of one setting: of hundreds of factors in a second or two."""
    named = np.array([not _is_number(sweep.points[name]) for name in sweep.points.columns], dtype=bool)
    y, luck = _column(sweep, setting, quantity)
    found = slopes(units_of(sweep), named, y, events_of(sweep, setting, quantity), luck)
    return rows_of.slope_rows(setting, quantity, list(sweep.points.columns), found, luck)


def chosen_settings(sweep: Sweep, quantity: str, settings: Sequence[str] | None) -> list[str]:
    """The settings asked for. Raises InputError."""
    if quantity not in QUANTITIES:
        raise InputError("--quantity", "", quantity, "one of " + ", ".join(QUANTITIES))
    known = [name for name in sweep.settings if not (QUANTITIES[quantity].paired and name == HOME)]
    if settings is None:
        return known
    for name in settings:
        if name not in known:
            shown = ", ".join(f'"{other}"' for other in known)
            raise InputError("--setting", "", name, f"one of {shown}")
    return list(settings)


def codes_of(points: pd.DataFrame) -> Points:
    """The points as codes: values in their order, names in the order of their first appearance."""
    codes = np.empty(points.shape, dtype=np.int64)
    for j, name in enumerate(points.columns):
        column = points[name]
        if _is_number(column):
            codes[:, j] = np.unique(column.to_numpy(dtype=np.float64), return_inverse=True)[1]
        else:
            codes[:, j] = pd.factorize(column.map(str))[0]
    return Points(tuple(map(str, points.columns)), codes)


def curve_of(
    sweep: Sweep, setting: str, quantity: str, points: Points, j: int, y: FloatArray, luck: Luck
) -> list[rows_of.Row]:
    """Rows of the curve of factor j (``rows.COLUMNS``)."""
    factor, column = points.names[j], sweep.points.iloc[:, j]
    about = {"setting": setting, "quantity": quantity, "factor": factor}
    logarithmic = factor in sweep.logarithmic
    return rows_of.curve_rows(about, points, j, column, _is_number(column), logarithmic, y, luck)


def units_of(sweep: Sweep) -> FloatArray:
    """Places of the points on the ranges of their factors, float64[points, factors], 0 to 1: numbers on the
    factor's own scale, from the least to the greatest there is; names by their codes."""
    codes = codes_of(sweep.points).codes
    found = np.zeros(codes.shape)
    for j, name in enumerate(sweep.points.columns):
        column = sweep.points[name]
        x = column.to_numpy(dtype=np.float64) if _is_number(column) else codes[:, j].astype(np.float64)
        x = np.log(x) if str(name) in sweep.logarithmic else x
        low, high = float(x.min()), float(x.max())
        found[:, j] = (x - low) / (high - low) if high > low else 0.0
    return found


def events_of(sweep: Sweep, setting: str, quantity: str) -> FloatArray:
    """What the quantity rests on at every point, float64[points]: possessions, of a worth those called."""
    rows = sweep.table[sweep.table["setting"] == setting].set_index("point")
    rows = rows.reindex(range(1, len(sweep.points) + 1))
    found = rows["possessions"].to_numpy(dtype=np.float64, na_value=0.0)
    if quantity == "value":
        found = found * rows["called_per_100"].to_numpy(dtype=np.float64, na_value=0.0) / PER
    return found


def _possessions(sweep: Sweep, setting: str) -> float | None:
    """Possessions of a typical point that was played."""
    rows = sweep.table[(sweep.table["setting"] == setting) & (sweep.table.get("possessions", 0) > 0)]
    return float(rows["possessions"].median()) if len(rows) else None


def _is_number(column: pd.Series) -> bool:
    return bool(is_numeric_dtype(column) and not is_bool_dtype(column))


def _column(sweep: Sweep, setting: str, quantity: str) -> tuple[FloatArray, Luck]:
    """The quantity at every point, float64[points], nan where it was not played, and its luck."""
    rows = sweep.table[sweep.table["setting"] == setting].set_index("point")
    rows = rows.reindex(range(1, len(sweep.points) + 1))
    y = rows[quantity].to_numpy(dtype=np.float64, na_value=np.nan)
    low, high = (
        rows[f"{quantity}_{end}"].to_numpy(dtype=np.float64, na_value=np.nan) for end in ("low", "high")
    )
    variance = ((high - low) / 2.0 / normal_quantile(LEVEL)) ** 2
    by_batch = sweep.batches.get((setting, quantity))
    return y, Luck(variance, by_batch, sweep.luck == "independent", sweep.batch_share)


# --- what is traded for what ----------------------------------------------------------------------------


def trade_off(sweep: Sweep, settings: Sequence[str] | None = None) -> pd.DataFrame:
    """Points saved per 100 possessions against the risks, one row per point and setting other than home."""
    table = sweep.table[(sweep.table["setting"] != HOME) & sweep.table["change"].notna()]
    if settings is not None:
        table = table[table["setting"].isin(list(settings))]
    found = table[["point", *map(str, sweep.points.columns), "setting"]].copy()
    if "possessions" in table:
        found["possessions"] = table["possessions"]
    found["saved"] = -PER * table["change"]
    found["saved_low"], found["saved_high"] = -PER * table["change_high"], -PER * table["change_low"]
    for risk in RISKS:
        parts = [part for part in ("", "_low", "_high") if f"{risk}{part}" in table]
        for part in parts:
            found[f"{risk}{part}"] = table[f"{risk}{part}"]
        saved = {part: found[f"saved{part}"].to_numpy(np.float64) for part in ("", "_low", "_high")}
        cost = {part: found[f"{risk}{part}"].to_numpy(np.float64) for part in parts}
        if "" in parts:
            known = np.isfinite(cost[""])
            cost[""] = np.where(known, cost[""], np.inf)
            found[f"on_front_{risk}"] = known & ~_beaten(saved[""], cost[""], saved[""], cost[""])
        if "_high" in parts:
            found[f"clearly_beaten_{risk}"] = _beaten(
                saved["_low"], cost["_high"], saved["_high"], cost["_low"]
            )
    return pd.DataFrame(found).reset_index(drop=True)


def _beaten(saved: FloatArray, cost: FloatArray, own_saved: FloatArray, own_cost: FloatArray) -> Any:
    """bool[n]: some row saves more than one's own at no more cost, or as much at less cost."""
    if not len(saved):
        return np.zeros(0, dtype=bool)
    order = np.argsort(-saved, kind="stable")
    best, least = -saved[order], np.minimum.accumulate(cost[order])
    least = np.concatenate([[np.inf], least])
    more = least[np.searchsorted(best, -own_saved, side="left")]  # least cost among those that save more
    as_much = least[np.searchsorted(best, -own_saved, side="right")]
    return (more <= own_cost) | (as_much < own_cost)
