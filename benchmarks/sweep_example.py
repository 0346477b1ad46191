"""From the store of a sweep to a table and a picture of one's own, with pandas and matplotlib.

    trapledger sweep configs/sweeps/reaction_grid.toml --store reaction.store
    python benchmarks/sweep_example.py reaction.store reaction.png --setting "corner trap"

``trapledger analyse`` draws finished pictures; this is for those who want to ask something else.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import pandas as pd
from matplotlib.figure import Figure

from engine.study.sweep.gather import gather
from engine.study.sweep.store import Store


def settled(store: str | Path, setting: str | None) -> tuple[pd.DataFrame, str, str]:
    """Played points of one setting (None: the first that is not home), its name, and the first factor."""
    with Store.read(store) as opened:
        table, factor = gather(opened), opened.factors[0]
    name = setting or next(one for one in table["setting"] if one != "home")
    return table[(table["setting"] == name) & (table["possessions"] > 0)], name, factor


def picture(rows: pd.DataFrame, name: str, factor: str) -> Figure:
    """Points saved per 100 possessions along a factor, with the interval of each point."""
    figure = Figure(figsize=(6.0, 4.0), layout="constrained")
    axis = figure.subplots()
    half = 100 * rows["change_half_width"]
    axis.errorbar(rows[factor], -100 * rows["change"], half, fmt="o", color="0.2", markersize=4, capsize=2)
    means = rows.groupby(factor)["change"].mean()
    axis.plot(means.index, -100 * means, color="tab:blue", label="mean of the points there")
    axis.axhline(0.0, color="0.8", linewidth=0.8)
    axis.set_xlabel(factor)
    axis.set_ylabel("net points saved per 100 possessions")
    possessions = f"{rows['possessions'].min():,}"
    axis.set_title(f"{name}: {len(rows)} points, at least {possessions} possessions each", fontsize=10)
    axis.legend(title="bars: 95 % interval of each point", frameon=False)
    return figure


def main(arguments: list[str] | None = None) -> None:
    """Read the arguments, print the table, save the picture."""
    parser = argparse.ArgumentParser(description="Points saved along the first factor of a sweep.")
    parser.add_argument("store", help="file that trapledger sweep --store has written")
    parser.add_argument("picture", help="file to write, .png or .svg")
    parser.add_argument("--setting", help="name of a setting")
    given = parser.parse_args(arguments)
    rows, name, factor = settled(given.store, given.setting)
    print(rows.groupby(factor)[["change", "points", "called_per_100", "value"]].mean().round(4).to_string())
    picture(rows, name, factor).savefig(given.picture, dpi=150)


if __name__ == "__main__":
    main()
