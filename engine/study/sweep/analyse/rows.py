"""From what an analysis found to the rows of its tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from engine.study.sweep.analyse.curves import curve
from engine.study.sweep.analyse.indices import METHOD_WORDS, Indices, Points
from engine.study.sweep.analyse.luck import FloatArray, Luck
from engine.study.sweep.analyse.metamodel import Metamodel
from engine.study.sweep.analyse.screening import Screening
from engine.study.sweep.analyse.slopes import Slopes

Row = dict[str, Any]
#: Columns of each table, by its name.
COLUMNS: dict[str, tuple[str, ...]] = {
    "indices": (
        "setting", "quantity", "factor", "first_order", "first_order_low", "first_order_high",
        "total", "total_low", "total_high", "floor", "method", "points", "luck_share", "luck_words", "reason",
    ),
    "curves": (
        "setting", "quantity", "factor", "place", "value", "mean", "low", "high", "weight", "logarithmic",
    ),
    "screening": (
        "setting", "quantity", "rank", "factor", "mu_star", "mu_star_low", "mu_star_high", "mu", "sigma",
        "floor", "named", "trajectories", "luck_words", "reason",
    ),
    "slopes": (
        "setting", "quantity", "rank", "factor", "slope", "slope_low", "slope_high", "floor", "named",
        "explained", "points", "luck_words", "reason",
    ),
    "metamodel": (
        "setting", "quantity", "factor", "length", "first_order", "first_order_low", "first_order_high",
        "total", "total_low", "total_high", "points", "foretold", "foretold_true", "covered", "reason",
    ),
    "foretold": ("setting", "quantity", "point", "played", "foretold", "low", "high"),
}  # fmt: skip


def index_rows(setting: str, quantity: str, names: Sequence[str], found: Indices, luck: Luck) -> list[Row]:
    """Rows of the indices of a setting."""
    rows = []
    for j, factor in enumerate(names):
        row: Row = {"setting": setting, "quantity": quantity, "factor": factor}
        for name, value, half in (
            ("first_order", found.first[j], found.first_half[j]),
            ("total", found.total[j], found.total_half[j]),
        ):
            row |= {name: value, f"{name}_low": value - half, f"{name}_high": value + half}
        row |= {"floor": found.floor[j], "method": METHOD_WORDS[found.method], "points": found.used}
        row |= {"luck_share": found.luck_share if luck.known else np.nan, "luck_words": luck.words}
        rows.append(row | {"reason": found.reasons[j]})
    return rows


def curve_rows(
    about: Row,
    points: Points,
    j: int,
    column: pd.Series,
    number: bool,
    logarithmic: bool,
    y: FloatArray,
    luck: Luck,
) -> list[Row]:
    """Rows of the curve of factor j, whose values are the column; ``about`` goes into each."""
    x = None
    if number:
        x = column.to_numpy(dtype=np.float64)
        x = np.log(x) if logarithmic else x
    found = curve(points, j, x, y, luck)
    if found is None:
        return []
    values: list[Any] = list(np.exp(found.at) if logarithmic else found.at)
    if found.by_value:
        first = {code: i for i, code in reversed(list(enumerate(points.codes[:, j])))}
        values = [column.iloc[first[code]] for code in range(len(found.at))]
    about = about | {"logarithmic": logarithmic}
    parts = zip(values, found.mean, found.low, found.high, found.weight, strict=True)
    return [
        about
        | {"place": str(value) if x is None else "", "value": np.nan if x is None else float(value)}
        | {"mean": mean, "low": low, "high": high, "weight": weight}
        for value, mean, low, high, weight in parts
    ]


def screen_rows(setting: str, quantity: str, names: Sequence[str], found: Screening, luck: Luck) -> list[Row]:
    """Rows of a screening, the strongest factor first."""
    order = np.argsort(-np.nan_to_num(found.mu_star, nan=-1.0), kind="stable")
    return [
        {
            "setting": setting, "quantity": quantity, "rank": rank, "factor": names[j],
            "mu_star": found.mu_star[j], "mu_star_low": found.mu_star[j] - found.half[j],
            "mu_star_high": found.mu_star[j] + found.half[j], "mu": found.mu[j], "sigma": found.sigma[j],
            "floor": found.floor, "named": bool(found.mu_star[j] > found.floor),
            "trajectories": found.trajectories, "luck_words": luck.words, "reason": found.reason,
        }
        for rank, j in enumerate(order, 1)
    ]  # fmt: skip


def slope_rows(setting: str, quantity: str, names: Sequence[str], found: Slopes, luck: Luck) -> list[Row]:
    """Rows of the slopes, the one surest not to be luck first: a slope that is hardly known may be steep."""
    sure = np.abs(found.slope) / np.maximum(found.half, np.finfo(float).tiny)
    order = np.argsort(-np.nan_to_num(sure, nan=-1.0), kind="stable")
    return [
        {
            "setting": setting, "quantity": quantity, "rank": rank, "factor": names[j],
            "slope": found.slope[j], "slope_low": found.slope[j] - found.half[j],
            "slope_high": found.slope[j] + found.half[j], "floor": found.floor[j],
            "named": bool(abs(found.slope[j]) > found.floor[j]), "explained": found.explained,
            "points": found.points, "luck_words": luck.words, "reason": found.reason,
        }
        for rank, j in enumerate(order, 1)
    ]  # fmt: skip


def model_rows(setting: str, quantity: str, names: Sequence[str], found: Metamodel) -> list[Row]:
    """Rows of a metamodel, one per factor."""
    rows = []
    for j, factor in enumerate(names):
        row: Row = {"setting": setting, "quantity": quantity, "factor": factor, "length": found.lengths[j]}
        for name, value, half in (
            ("first_order", found.first[j], found.first_half[j]),
            ("total", found.total[j], found.total_half[j]),
        ):
            row |= {name: value, f"{name}_low": value - half, f"{name}_high": value + half}
        row |= {"points": len(found.rows), "foretold": found.share, "foretold_true": found.share_true}
        rows.append(row | {"covered": found.covered, "reason": found.reason})
    return rows


def foretold_rows(setting: str, quantity: str, y: FloatArray, found: Metamodel) -> list[Row]:
    """Every point that a metamodel rests on: as played, and as foretold by the others."""
    parts = zip(found.rows, y[found.rows], found.foretold, found.half, strict=True)
    about = {"setting": setting, "quantity": quantity}
    return [
        about
        | {"point": int(row) + 1, "played": played, "foretold": mean, "low": mean - half, "high": mean + half}
        for row, played, mean, half in parts
        if np.isfinite(mean)
    ]
