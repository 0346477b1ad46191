"""From a design to a table and a figure of one's own: play (or take up) a sweep, look at it, draw it, cite
it.

    python benchmarks/sweep_example.py reaction_grid reaction.db reaction.png --setting "corner trap"

``trapledger analyse`` draws finished pictures; this is for those who want to ask something else.
"""

from __future__ import annotations

import argparse

import pandas as pd
from matplotlib.figure import Figure

import engine
from engine.study.sweep.sweep import SweepResult


def played(found: SweepResult, setting: str | None) -> tuple[pd.DataFrame, str, str]:
    """Played points of one setting (None: the first that is not home), its name, and the first factor."""
    table = found.table()
    name = setting or next(one for one in table["setting"] if one != "home")
    factor = table.columns[1]  # the factors stand behind the point's number
    return table[(table["setting"] == name) & (table["possessions"] > 0)], name, factor


def picture(rows: pd.DataFrame, name: str, factor: str, about: dict[str, str]) -> Figure:
    """Points saved per 100 possessions along a factor, with the interval of each point and its origin."""
    figure = Figure(figsize=(6.0, 4.0), layout="constrained")
    axis = figure.subplots()
    half = 100 * rows["change_half_width"]
    axis.errorbar(rows[factor], -100 * rows["change"], half, fmt="o", color="0.2", markersize=4, capsize=2)
    means = rows.groupby(factor)["change"].mean()
    axis.plot(means.index, -100 * means, color="tab:blue", label="mean of the points there")
    axis.axhline(0.0, color="0.8", linewidth=0.8)
    axis.set_xlabel(factor)
    axis.set_ylabel("net points saved per 100 possessions")
    axis.set_title(
        f"{name}: {len(rows)} points, at least {rows['possessions'].min():,} possessions each", fontsize=9
    )
    axis.legend(title="bars: 95 % interval of each point", frameon=False)
    figure.supxlabel(f"design {about['design'][:12]}, seed {about['seed']}, {about['version']}", fontsize=6)
    return figure


def main(arguments: list[str] | None = None) -> None:
    """Play what is missing, print the table, save the picture."""
    parser = argparse.ArgumentParser(description="Points saved along the first factor of a sweep.")
    parser.add_argument("design", help="name or path of a design")
    parser.add_argument("store", help="file that keeps the results; taken up where it stands")
    parser.add_argument("picture", help="file to write, .png or .svg")
    parser.add_argument("--setting", help="name of a setting")
    given = parser.parse_args(arguments)
    found = engine.sweep(given.design, given.store)
    rows, name, factor = played(found, given.setting)
    print(rows.groupby(factor)[["change", "points", "called_per_100", "value"]].mean().round(4).to_string())
    picture(rows, name, factor, found.provenance).savefig(given.picture, dpi=150)


if __name__ == "__main__":
    main()
