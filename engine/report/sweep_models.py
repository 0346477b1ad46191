"""Pictures of a screening, of slopes and of a metamodel."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from engine.report.sweep_style import DARK, LIGHT, MIDDLE, caption, colour, figure, label_of, played
from engine.study.sweep.analyse.analysis import QUANTITIES, Analysis

#: Factors that are drawn, the strongest; the table holds all.
MOST_DRAWN = 20


def screening_figure(found: Analysis, setting: str) -> Figure:
    """Mean size of the effect of each factor over its range, the strongest on top, with the floor."""
    table = found.screening[found.screening["setting"] == setting]
    shown = table.head(MOST_DRAWN).iloc[::-1]
    drawn = figure(7.0, 1.9 + 0.3 * len(shown))
    axis = drawn.subplots()
    axis.set_title(setting, fontsize=10)
    quantity = QUANTITIES[found.quantity]
    first = table.iloc[0]
    if first["reason"]:
        axis.set_axis_off()
        axis.text(0.5, 0.5, f"no screening: {first['reason']}", ha="center", va="center")
        return drawn
    at = np.arange(len(shown), dtype=float)
    size = shown["mu_star"].to_numpy(dtype=float)
    half = (shown["mu_star_high"] - shown["mu_star_low"]).to_numpy(dtype=float) / 2.0
    colours = [colour(MIDDLE if named else LIGHT) for named in shown["named"]]
    axis.barh(at, size, height=0.62, color=colours, xerr=half, ecolor="0.05", capsize=2.0)
    axis.scatter(
        np.abs(shown["mu"]), at, marker="|", s=90, color="0.05", zorder=4, label="with its sign, |mean|"
    )
    if np.isfinite(first["floor"]):
        axis.axvline(first["floor"], color=colour(DARK), linestyle="--", linewidth=1.0, label="floor")
    signs = ["+" if mu > 0 else "\u2212" for mu in shown["mu"]]
    names = [f"{label_of(name, 44)}  {sign}" for name, sign in zip(shown["factor"], signs, strict=True)]
    axis.set_yticks(at, names, fontsize=8)
    axis.set_xlabel(f"mean size of the effect over the whole range ({quantity.unit})")
    axis.legend(fontsize=8, frameon=False, loc="lower right")
    left_out = len(table) - len(shown)
    text = (
        f"Of: {quantity.words}. {int(first['trajectories'])} trajectories. Bars: mean size of the "
        f"elementary effects "
        f"with 95 % interval; behind each name the sign of the mean. Floor: passed by the greatest of "
        f"{len(table)} factors without effect in 5 of 100 cases. {left_out} weaker factors are in the table "
        f"only."
    )
    caption(drawn, text, 100)
    return drawn


def slopes_figure(found: Analysis, setting: str) -> Figure:
    """Slope of each factor over its range with its sign and interval, the surest on top, with its floor."""
    table = found.slopes[found.slopes["setting"] == setting]
    shown = table.head(MOST_DRAWN).iloc[::-1]
    drawn = figure(7.0, 1.9 + 0.3 * len(shown))
    axis = drawn.subplots()
    axis.set_title(setting, fontsize=10)
    quantity = QUANTITIES[found.quantity]
    first = table.iloc[0]
    if first["reason"]:
        axis.set_axis_off()
        axis.text(0.5, 0.5, f"no slopes: {first['reason']}", ha="center", va="center", wrap=True)
        return drawn
    at = np.arange(len(shown), dtype=float)
    slope, floor = (shown[name].to_numpy(dtype=float) for name in ("slope", "floor"))
    half = (shown["slope_high"] - shown["slope_low"]).to_numpy(dtype=float) / 2.0
    colours = [colour(MIDDLE if named else LIGHT) for named in shown["named"]]
    axis.barh(at, slope, height=0.62, color=colours, xerr=half, ecolor="0.05", capsize=2.0)
    for side, label in ((floor, "floor"), (-floor, None)):
        axis.scatter(side, at, marker="|", s=110, color=colour(DARK), zorder=4, label=label)
    axis.axvline(0.0, color="0.4", linewidth=0.8)
    axis.set_yticks(at, [label_of(name, 44) for name in shown["factor"]], fontsize=8)
    axis.set_xlabel(f"slope over the whole range ({quantity.unit})")
    axis.legend(fontsize=8, frameon=False, loc="lower right")
    told = first["explained"]
    lines = (
        f"the lines explain {told:.0%} of the true spread" if np.isfinite(told) else "true spread not known"
    )
    text = (
        f"Of: {quantity.words}. {int(first['points']):,} points, {played(found, setting)}; {lines}. Bars: "
        f"slope of a straight line with 95 % interval, the surest not to be luck on top. Floor: passed by "
        f"the greatest of {len(table)} factors without effect in 5 of 100 cases. {len(table) - len(shown)} "
        f"weaker factors are in the table only."
    )
    caption(drawn, text, 100)
    return drawn


def metamodel_figure(found: Analysis, setting: str) -> Figure:
    """Every point as foretold by all others against as played, with 95 % bands, and the indices that
    follow."""
    points = found.foretold[found.foretold["setting"] == setting]
    table = found.metamodel[found.metamodel["setting"] == setting]
    first = table.iloc[0]
    quantity = QUANTITIES[found.quantity]
    known = bool(table["total"].notna().any())
    drawn = figure(9.0 if known else 5.2, max(4.6, 1.6 + 0.35 * len(table)))
    axes = drawn.subplots(1, 2 if known else 1, squeeze=False)[0]
    axis = axes[0]
    if not len(points):
        axis.set_axis_off()
        axis.text(0.5, 0.5, f"no metamodel: {first['reason']}", ha="center", va="center", wrap=True)
        return drawn
    half = (points["high"] - points["low"]) / 2.0
    axis.errorbar(
        points["foretold"], points["played"], yerr=half, fmt="o", markersize=2.5, color=colour(MIDDLE),
        ecolor=colour(LIGHT), elinewidth=0.7, alpha=0.8,
    )  # fmt: skip
    ends = [points[["foretold", "played"]].min().min(), points[["foretold", "played"]].max().max()]
    axis.plot(ends, ends, color="0.2", linewidth=0.9)
    axis.set_xlabel(f"foretold by the other points\n({quantity.unit})")
    axis.set_ylabel("as played")
    axis.set_title(f"{setting}: {first['foretold_true']:.0%} of the true spread foretold", fontsize=9)
    if known:
        shown = table.sort_values("total", kind="stable")
        at = np.arange(len(shown), dtype=float)
        for name, place, shade in (("total", 0.2, LIGHT), ("first_order", -0.2, MIDDLE)):
            value = shown[name].to_numpy(dtype=float)
            width = (shown[f"{name}_high"] - shown[f"{name}_low"]).to_numpy(dtype=float) / 2.0
            axes[1].barh(
                at + place, value, height=0.36, color=colour(shade), xerr=width, ecolor="0.05", capsize=2.0,
                label="total" if name == "total" else "first order",
            )  # fmt: skip
        axes[1].set_yticks(at, [label_of(name, 30) for name in shown["factor"]], fontsize=7.5)
        axes[1].set_xlabel("share of the metamodel's variance")
        axes[1].legend(fontsize=8, frameon=False, loc="lower right")
    text = (
        f"Of: {quantity.words}. Gaussian process on {int(first['points']):,} points, "
        f"{played(found, setting)}. Bands: 95 % "
        f"for what would be played there, the point itself left out; {first['covered']:.0%} of the points "
        f"lie inside." + (f" {first['reason']}." if first["reason"] else "")
    )
    caption(drawn, text, 60 + 60 * known)
    return drawn
