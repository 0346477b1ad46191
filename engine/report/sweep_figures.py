"""Pictures of a sweep's analysis: response curves, indices, and points saved against risk, as PNG and SVG.

Every picture says what it shows, of how many points, and what its bands and bars are. Colours run evenly in
lightness (cividis), so they can be told apart in grey and by those who see no red or green.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.container import BarContainer
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from engine.estimate.intervals import Found
from engine.report.sweep_models import metamodel_figure, screening_figure, slopes_figure
from engine.report.sweep_style import DARK, LIGHT, MIDDLE, label_of
from engine.report.sweep_style import caption as _caption
from engine.report.sweep_style import colour as _colour
from engine.report.sweep_style import figure as _figure
from engine.report.sweep_style import played as _played
from engine.study.sweep.analyse.analysis import QUANTITIES, RISKS, Analysis
from engine.study.sweep.analyse.files import make_folder, put

FORMATS = ("png", "svg")
DPI = 150
#: Factors that have a panel of their own, the strongest first; the tables hold all.
MOST_PANELS = 9
#: More rows than this show their intervals only on the front.
MOST_BARS = 30
MARKERS = "os^DvPX*<>hd"
_SETTINGS = {
    "text.parse_math": False,  # names may hold a dollar sign
    "svg.hashsalt": "trapledger",
    "svg.fonttype": "none",
    "font.size": 9.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
}


def draw(found: Analysis, folder: str | Path) -> list[Path]:
    """Draw all pictures of an analysis into a folder; the files written.

    ``curves_SETTING`` and ``indices_SETTING`` (``screening_SETTING`` for points of a screening) for each
    setting, numbered where names would collide, ``slopes_SETTING`` where there are more factors than panels,
    ``metamodel_SETTING`` where there is one, and ``trade_off``. Every picture ends in a line that says where
    it comes from, which also stands in the file's metadata. Raises InputError where a file cannot be written.
    """
    where, files = make_folder(folder), []
    settings = list(dict.fromkeys(found.indices["setting"]))
    about = source_line(found)
    with _style():
        for name, end in zip(settings, _file_names(settings), strict=True):
            screened = found.screening["setting"].eq(name).any()
            figures = {"curves": curves_figure(found, name)}
            figures["screening" if screened else "indices"] = (
                screening_figure(found, name) if screened else indices_figure(found, name)
            )
            if found.slopes["setting"].eq(name).sum() > MOST_PANELS:
                figures["slopes"] = slopes_figure(found, name)
            if found.metamodel["setting"].eq(name).any():
                figures["metamodel"] = metamodel_figure(found, name)
            for kind, figure in figures.items():
                files += _save(figure, where / f"{kind}_{end}", about)
        if len(found.trade_off):
            files += _save(trade_off_figure(found), where / "trade_off", about)
    return files


def source_line(found: Analysis) -> str:
    """Where a picture comes from, in one line."""
    about = found.sweep.provenance
    if not about:
        return ""
    return (
        f"trapledger {about['version']} (kernel {about['kernel'][:8]}), design {about['design'][:12]}, "
        f"config "
        f"{about['config_hash'][:12]}, seed {about['seed']}, {about['luck']} luck, {about['processor']}"
    )


@contextmanager
def _style() -> Iterator[None]:
    settings: Any = _SETTINGS
    with matplotlib.rc_context(settings):
        yield


def _save(figure: Figure, stem: Path, about: str) -> list[Path]:
    files = []
    if about:
        figure.text(0.995, 0.003, about, fontsize=4.5, ha="right", va="bottom", color="0.45")
    for kind in FORMATS:
        metadata: dict[str, Any] = {"Date": None} if kind == "svg" else {"Software": None}
        metadata["Description"] = about or None

        def fill(at: Path, kind: str = kind, metadata: Found = metadata) -> None:
            figure.savefig(at, format=kind, dpi=DPI, metadata=metadata)

        files.append(put(stem.with_name(f"{stem.name}.{kind}"), fill))
    return files


def _file_names(settings: list[str]) -> list[str]:
    """Names of settings that any file system takes, each once."""
    found: list[str] = []
    for number, name in enumerate(settings, 1):
        plain = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")[:60]
        found.append(plain if plain and plain not in found else f"{plain}_{number}".strip("_"))
    return found


# --- response curves --------------------------------------------------------------------------------------


def curves_figure(found: Analysis, setting: str) -> Figure:
    """Panels of the response to each factor: every point, the mean along the factor and its 95 % band."""
    curves = found.curves[found.curves["setting"] == setting]
    indices = found.indices[found.indices["setting"] == setting].set_index("factor")
    strength = indices["total"].fillna(indices["first_order"]).fillna(-1.0)
    factors = list(strength.sort_values(ascending=False, kind="stable").index[:MOST_PANELS])
    columns = min(3, len(factors))
    lines = -(-len(factors) // columns)
    figure = _figure(3.3 * columns + 0.6, 2.7 * lines + 1.0)
    axes = figure.subplots(lines, columns, squeeze=False, sharey=True)
    for axis, factor in zip(axes.flat, factors, strict=False):
        _panel(axis, found, setting, factor, curves[curves["factor"] == factor])
    for axis in axes.flat[len(factors) :]:
        axis.set_visible(False)
    _limits(axes.flat[0], found, setting)
    quantity = QUANTITIES[found.quantity]
    for axis in axes[:, 0]:
        axis.set_ylabel(f"{quantity.words}\n({quantity.unit})", fontsize=8)
    figure.suptitle(setting, fontsize=10)
    left_out = len(indices) - len(factors)
    more = f" {left_out} weaker factors are in the table only." if left_out else ""
    text = (
        f"{_played(found, setting)}. Grey: points. Line: mean along the factor, the others as the design has "
        f"them; band: 95 % interval of that mean (other factors and the luck of the possessions).{more}"
    )
    _caption(figure, text, 38 + 44 * columns)
    return figure


def _panel(axis: Axes, found: Analysis, setting: str, factor: str, curve: pd.DataFrame) -> None:
    table = found.sweep.table
    rows = table[(table["setting"] == setting) & table[found.quantity].notna()]
    values = found.sweep.points[factor].iloc[rows["point"].to_numpy() - 1]
    y = rows[found.quantity].to_numpy()
    if QUANTITIES[found.quantity].paired:
        axis.axhline(0.0, color="0.8", linewidth=0.8, zorder=0)
    names = list(curve["place"]) if len(curve) and curve["value"].isna().all() else None
    if names is None and len(curve):
        x = values.to_numpy(dtype=float)
        at = curve["value"].to_numpy()
    else:
        names = names or list(dict.fromkeys(values.map(str)))
        x = np.array([names.index(str(value)) for value in values], dtype=float)
        at = np.arange(len(names), dtype=float)
        axis.set_xticks(at, ["\n".join(textwrap.wrap(name, 14)) for name in names])
        axis.set_xlim(-0.5, len(names) - 0.5)
    size = float(np.clip(2000.0 / max(len(y), 1), 2.0, 14.0))
    axis.scatter(x, y, s=size, color="0.6", alpha=0.45, linewidth=0, zorder=1, rasterized=len(y) > 3000)
    if len(curve):
        low, mean, high = (curve[name].to_numpy() for name in ("low", "mean", "high"))
        few = names is not None or len(curve) <= 12
        if few:
            axis.errorbar(
                at, mean, [mean - low, high - mean], color=_colour(DARK), fmt="o" if names else "o-",
                markersize=4, linewidth=1.4, capsize=3, zorder=3,
            )  # fmt: skip
        else:
            axis.fill_between(at, low, high, color=_colour(LIGHT), alpha=0.65, linewidth=0, zorder=2)
            axis.plot(at, mean, color=_colour(DARK), linewidth=1.8, zorder=3)
        if bool(curve["logarithmic"].iloc[0]):
            _logarithmic(axis)
    else:
        axis.text(0.5, 0.95, "too few points for a curve", transform=axis.transAxes, ha="center", va="top")
    axis.set_xlabel(label_of(factor), fontsize=8)


def _logarithmic(axis: Axes) -> None:
    """A logarithmic scale with plain numbers at 1, 2 and 5."""
    axis.set_xscale("log")
    axis.xaxis.set_major_locator(LogLocator(10.0, subs=(1.0, 2.0, 5.0), numticks=8))
    axis.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axis.xaxis.set_minor_formatter(NullFormatter())


def _limits(axis: Axes, found: Analysis, setting: str) -> None:
    """The middle of the points and all of the bands: a few far points may not flatten every curve."""
    table = found.sweep.table
    y = table.loc[table["setting"] == setting, found.quantity].dropna().to_numpy(dtype=float)
    curves = found.curves[found.curves["setting"] == setting]
    bands = curves[["low", "high"]].to_numpy(dtype=float)
    inside = [*(np.quantile(y, [0.005, 0.995]) if len(y) else ()), *bands[np.isfinite(bands)]]
    if inside and max(inside) > min(inside):
        room = 0.06 * (max(inside) - min(inside))
        axis.set_ylim(min(inside) - room, max(inside) + room)


# --- indices ----------------------------------------------------------------------------------------------


def indices_figure(found: Analysis, setting: str) -> Figure:
    """Bars of the first-order and total indices with their 95 % intervals, the strongest on top."""
    table = found.indices[found.indices["setting"] == setting]
    strength = table["total"].fillna(table["first_order"]).fillna(0.0)
    table = table.loc[strength.sort_values(kind="stable").index]
    first = table.iloc[0]
    none = bool((table["reason"] != "").all())
    figure = _figure(7.0, 1.6 if none else 1.9 + 0.42 * len(table))
    axis = figure.subplots()
    axis.set_title(setting, fontsize=10)
    quantity = QUANTITIES[found.quantity]
    about = f"{int(first['points']):,} points used, {first['method']}."
    if none:
        axis.set_axis_off()
        told = "\n".join(textwrap.wrap(f"no indices: {first['reason']}", 80))
        axis.text(0.5, 0.5, told, ha="center", va="center", fontsize=9)
        _caption(figure, f"{quantity.words}. {about}", 100)
        return figure
    at = np.arange(len(table), dtype=float)
    shown: list[BarContainer | PathCollection] = []
    both = bool(table["total"].notna().any())
    for name, words, place, colour in (
        ("total", "total (with its interplay with others)", 0.2, LIGHT),
        ("first_order", "first order (alone)", -0.2, MIDDLE),
    ):
        if name == "total" and not both:
            continue
        value = table[name].to_numpy(dtype=float)
        half = (table[f"{name}_high"] - table[f"{name}_low"]).to_numpy(dtype=float) / 2.0
        bars = axis.barh(
            at - (place if both else 0.0), value, height=0.36 if both else 0.55, color=_colour(colour),
            xerr=half, ecolor="0.05", capsize=2.5, label=words, error_kw={"linewidth": 1.0},
        )  # fmt: skip
        shown.append(bars)
    if table["floor"].notna().any():
        axis.scatter(table["floor"], at, marker="|", s=260, color="1.0", linewidth=3.5, zorder=4)
        line = axis.scatter(
            table["floor"], at, marker="|", s=260, color="0.05", zorder=5,
            label="floor: passed by the greatest of as many factors\nwithout effect in 5 of 100 cases",
        )  # fmt: skip
        shown.append(line)
    axis.set_yticks(at, [label_of(name, 44) for name in table["factor"]], fontsize=8)
    axis.axvline(0.0, color="0.4", linewidth=0.8)
    for place, reason in zip(at, table["reason"], strict=True):
        if reason:
            axis.text(0.01, place, reason, fontsize=6.5, va="center", color="0.35")
    axis.set_xlabel("share of the variance between points")
    figure.legend(handles=shown, fontsize=8, frameon=False, loc="outside upper center", ncols=3)
    luck = first["luck_words"]
    if np.isfinite(first["luck_share"]):
        luck += f" ({first['luck_share']:.0%} of the spread as played)"
    text = f"Of: {quantity.words} ({quantity.unit}). {about} Bars: 95 % intervals. Luck: {luck}."
    _caption(figure, text, 100)
    return figure


# --- points saved against risk ------------------------------------------------------------------------------


def trade_off_figure(found: Analysis, risk: str = "p_two_or_more") -> Figure:
    """Every point and setting by its risk and the points it saves; the front of those none is better than."""
    table = found.trade_off[found.trade_off[risk].notna()]
    settings = list(dict.fromkeys(table["setting"]))
    figure = _figure(7.4, 5.4)
    axis = figure.subplots()
    few = len(table) <= MOST_BARS
    for i, name in enumerate(settings):
        rows = table[table["setting"] == name]
        colour = _colour(0.05 + 0.85 * i / max(len(settings) - 1, 1))
        size = float(np.clip(3000.0 / len(table), 5.0, 36.0))
        axis.scatter(
            rows[risk], rows["saved"], s=size, marker=MARKERS[i % len(MARKERS)], color=colour, alpha=0.8,
            linewidth=0.3, edgecolor="0.2", label=f"{name} ({len(rows):,})", zorder=2,
        )  # fmt: skip
        best, marker = rows[rows[f"on_front_{risk}"]], MARKERS[i % len(MARKERS)]
        axis.scatter(
            best[risk], best["saved"], s=max(3.0 * size, 30.0), marker=marker, color=colour,
            linewidth=0.9, edgecolor="0.05", zorder=5,
        )  # fmt: skip
    front = table[table[f"on_front_{risk}"]].sort_values(risk)
    axis.plot(front[risk], front["saved"], color="0.1", linewidth=1.0, zorder=3, drawstyle="steps-post",
              label="no other row is better in both")  # fmt: skip
    barred = table if few else front
    intervals = [
        [barred[risk] - barred[f"{risk}_low"], barred[f"{risk}_high"] - barred[risk]],
        [barred["saved"] - barred["saved_low"], barred["saved_high"] - barred["saved"]],
    ]
    axis.errorbar(
        barred[risk], barred["saved"], xerr=intervals[0], yerr=intervals[1], fmt="none", ecolor="0.45",
        elinewidth=0.7, alpha=0.7, zorder=1 if few else 3,
    )  # fmt: skip
    axis.axhline(0.0, color="0.8", linewidth=0.8, zorder=0)
    axis.set_xlabel(RISKS[risk])
    axis.set_ylabel("net points saved against staying home\n(per 100 possessions)")
    figure.legend(fontsize=8, frameon=False, loc="outside upper center", ncols=2, markerscale=1.4)
    of = "every row" if few else "the rows on the line"
    text = (
        f"{len(table):,} rows (points x settings), number of each in brackets. Bars: 95 % intervals of {of} "
        "(luck of the possessions). The line follows the estimates: of many rows the luckiest are on it too."
    )
    _caption(figure, text, 110)
    return figure
