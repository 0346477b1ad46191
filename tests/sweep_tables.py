"""What the tests of a sweep's analysis share: a function with known indices, designs, tables as gathered."""

from __future__ import annotations

from math import pi
from typing import Any

import numpy as np
import pandas as pd

from engine.study.sweep.analyse.analysis import RISKS, Sweep
from engine.study.sweep.design_file import Factor
from engine.study.sweep.sampling import drawn

SETTING = "corner trap"
Z = 1.959964
NAMES = ("x1", "x2", "x3")
#: Ishigami & Homma (1990), a = 7, b = 0.1: first-order and total indices as commonly published (from memory).
PUBLISHED = {"first": (0.3139, 0.4424, 0.0), "total": (0.5576, 0.4424, 0.2437)}
A, B = 7.0, 0.1


def ishigami(x: np.ndarray) -> np.ndarray:
    """Ishigami's function of float64[n, 3], each uniform from -pi to pi."""
    return np.sin(x[:, 0]) + A * np.sin(x[:, 1]) ** 2 + B * x[:, 2] ** 4 * np.sin(x[:, 0])


def closed_form() -> dict[str, np.ndarray]:
    """The indices by integration on paper: V1, V2 and V13 are all the parts of the variance there are."""
    v1 = 0.5 * (1.0 + B * pi**4 / 5.0) ** 2
    v2 = A**2 / 8.0
    v13 = B**2 * pi**8 * (1.0 / 18.0 - 1.0 / 50.0)
    whole = v1 + v2 + v13
    return {"first": np.array([v1, v2, 0.0]) / whole, "total": np.array([v1 + v13, v2, v13]) / whole}


EXACT = closed_form()


def unit_design(method: str, n: int, seed: int = 5, names: tuple[str, ...] = NAMES) -> pd.DataFrame:
    factors = [Factor(path=name, low=-pi, high=pi) for name in names]
    return pd.DataFrame(drawn(method, factors, n, seed))


def sweep_of(
    points: pd.DataFrame,
    y: np.ndarray,
    error: float | np.ndarray = 1e-9,
    luck: str = "independent",
    **how: Any,
) -> Sweep:
    """A sweep of one setting with y as its change, as gather lays it out."""
    table = points.assign(point=np.arange(1, len(points) + 1), setting=SETTING, possessions=1000)
    table = table.assign(change=y, change_low=y - Z * error, change_high=y + Z * error)
    for risk in RISKS:
        table[risk] = table[f"{risk}_low"] = table[f"{risk}_high"] = 0.4
    return Sweep(table, points, luck, **how)
