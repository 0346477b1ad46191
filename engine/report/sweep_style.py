"""What the pictures of sweeps share: size, colours, captions, names of axes.

Colours run evenly in lightness (cividis), so they can be told apart in grey and by those who see no red or
green.
"""

from __future__ import annotations

import textwrap
from functools import lru_cache

import matplotlib
from matplotlib.figure import Figure
from matplotlib.typing import ColorType

from engine.inputs.constants import load_constants
from engine.study.sweep.analyse.analysis import Analysis

MAP = "cividis"
DARK, MIDDLE, LIGHT = 0.12, 0.42, 0.8
#: Units by the end of a key, where no constant of that name says its own.
SUFFIXES = {
    "_per_s": "1/s", "_mps2": "m/s2", "_mps": "m/s", "_m": "m", "_s": "s", "_points": "points",
    "probability": "probability", "_p": "probability", "_share": "share",
}  # fmt: skip
_JOIN = "\x1f"  # a space at which no line is broken


def figure(width: float, height: float) -> Figure:
    """An empty picture, inches."""
    return Figure(figsize=(width, height), layout="constrained")


def colour(place: float) -> ColorType:
    """A colour of the map, 0 dark to 1 light."""
    return matplotlib.colormaps[MAP](place)


def label_of(path: str, width: int = 34) -> str:
    """A factor as the name of an axis: the end of its path, with its unit where there is one."""
    key = path.rsplit(".", 1)[-1]
    unit = _units().get(key) if path.startswith("constants.") else None
    if unit is None:
        unit = next((unit for end, unit in SUFFIXES.items() if key.endswith(end)), None)
    shown = path.removeprefix("constants.") + (f"{_JOIN}({unit})" if unit else "")
    return "\n".join(textwrap.wrap(shown, width)).replace(_JOIN, " ")


@lru_cache(maxsize=1)
def _units() -> dict[str, str]:
    return {name: constant.unit for name, constant in load_constants().items()}


def caption(figure: Figure, text: str, width: int) -> None:
    """The lines below a picture."""
    figure.supxlabel("\n".join(textwrap.wrap(text, width)), fontsize=8, x=0.01, ha="left", color="0.25")


def played(found: Analysis, setting: str) -> str:
    """How many points of how many possessions."""
    table = found.sweep.table
    rows = table[(table["setting"] == setting) & table[found.quantity].notna()]
    text = f"{len(rows):,} of {len(found.sweep.points):,} points played"
    if "possessions" in rows and len(rows):
        least, most = int(rows["possessions"].min()), int(rows["possessions"].max())
        text += (
            f", {least:,} possessions each" if least == most else f", {least:,} to {most:,} possessions each"
        )
    return text
