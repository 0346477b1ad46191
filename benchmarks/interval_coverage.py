"""Does every interval hold the truth as often as it says? Thousands of short runs against one long one.

    python benchmarks/interval_coverage.py --seeds 2000 --threads 16 --keep coverage.kept -o coverage.json
    python benchmarks/interval_coverage.py --read coverage.json --table configs/model/coverage.md

Each run plays ``compare`` of a scenario on possessions of its own (runs of one seed with numbers of their own
are as independent as runs of different seeds) and every interval of its JSON is looked at: means per
possession, rates, shots by distance, changes and their parts, values of calls, break-even rates, risks. The
truth is the same figure of one run of ``--truth`` possessions. For each kind of interval: in how many runs
there was one (fewer than 30 events bear none), how often it held the truth, and on which side it missed. The
standard error of a share over 2,000 runs at 95 % is half a percent. With ``--keep FILE`` what was counted
stays there: a run that was stopped, in whatever way, goes on. ``--seconds`` after its start it stops itself
(at the end of the pieces at hand, a few seconds later) and says how far it came; the tables are then of the
runs that were played. Another kernel, scenario or length of the truth than the file's is noticed.
"""

from __future__ import annotations

import argparse
import json
import math
import re
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime
from functools import partial, reduce
from operator import add
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from until import Kept, in_time, pool_of

from engine.errors import InputError
from engine.estimate.intervals import LEVEL
from engine.inputs.scenario import load_scenario
from engine.kernel.batch import source_stamp
from engine.run.size import RunSize, available_cores
from engine.study.compare import Comparer, CompareTally
from engine.study.play import versions
from engine.version import __version__
from engine.whole_file import whole_file

#: First possession number of the long run; the short ones have the numbers below it.
TRUTH_FROM = 2**36
#: Possessions that a process plays in one go, a second or two.
PIECE = 6_000
LOW, HIGH = 0.93, 0.97
COLUMNS = ("figures", "intervals", "below", "above", "width", "points")
Place = tuple[str, ...]
FloatArray = NDArray[np.float64]


def intervals(found: Any, place: Place = ()) -> Iterator[tuple[Place, float, float | None, float | None]]:
    """Every interval of a JSON result: where it stands, its mean, low and high."""
    if isinstance(found, list):
        for number, one in enumerate(found):
            about = one if isinstance(one, dict) else {}
            name = about.get("name", about.get("band", about.get("call", number)))
            yield from intervals(one, (*place, str(name)))
        return
    if not isinstance(found, dict):
        return
    if {"mean", "low", "high"} <= found.keys():
        if found["mean"] is not None:
            yield place, found["mean"], found["low"], found["high"]
        return
    for key, value in found.items():
        if key == "intervals":  # limits beside their figures; some are about the figure less its bias
            for name, limits in value.items():
                mean = limits.get("mean")
                if found[name] is not None:
                    mean = found[name] if mean is None else mean
                    yield (*place, name), mean, limits["low"], limits["high"]
        else:
            yield from intervals(value, (*place, key))


def kind_of(place: Place) -> str:
    """What sort of figure stands at a place, whatever setting and call it is of."""
    names = list(place)
    if names[0] == "settings":
        names[1] = "*"
        if "calls" in names:
            names[names.index("calls") + 1] = "*"
    return " / ".join(name for name in names if name != "*")


_comparers: dict[str, Comparer] = {}


def comparer(scenario: str) -> Comparer:
    """One a process."""
    if scenario not in _comparers:
        _comparers[scenario] = Comparer(load_scenario(scenario), seed=1)
    return _comparers[scenario]


def truth_piece(scenario: str, stretch: range) -> CompareTally:
    """The comparison on a stretch of possessions of the long run."""
    return comparer(scenario).result(TRUTH_FROM + stretch.start, len(stretch)).tally


def counts_of(scenario: str, truth: dict[Place, float], possessions: int, runs: range) -> FloatArray:
    """Of each place of ``truth`` in each run, float64[runs, places, COLUMNS]: whether there is a figure, and
    an interval, whether the truth lies below or above it, its width, and whether it has none."""
    rows = {place: row for row, place in enumerate(truth)}
    counts = np.zeros((len(runs), len(rows), len(COLUMNS)))
    for at, number in enumerate(runs):
        found = comparer(scenario).result(number * possessions, possessions).to_dict()
        for place, mean, low, high in intervals(found):
            if place not in rows:
                continue
            row = counts[at, rows[place]]
            row[0] = 1
            if low is not None and high is not None:
                row[1:] = 1, truth[place] < low, truth[place] > high, high - low, low == high == mean
    return counts


def pieces(done: int, n: int, size: int) -> Iterator[range]:
    """What is left of ``range(n)``, in pieces."""
    return (range(first, min(first + size, n)) for first in range(done, n, size))


def truth_of(
    given: argparse.Namespace, kept: Kept, pool: ProcessPoolExecutor
) -> tuple[dict[Place, float], int]:
    """The figures of the long run (of risk less their bias; none before its end) and how far it is played."""
    done, tally = kept.found.get("truth", (0, None))
    left = pieces(done, given.truth, PIECE)
    work = partial(truth_piece, given.scenario)
    for stretch, one in in_time(pool, work, left, given.threads, given.seconds):
        done, tally = stretch.stop, one if tally is None else tally + one
        kept.put(truth=(done, tally))
    if done < given.truth:
        return {}, done
    found = comparer(given.scenario)
    result = found.of(tally, RunSize(given.truth, found.seed, 1)).to_dict()
    return {place: mean for place, mean, _, _ in intervals(result)}, done


def covered(counts: FloatArray, truth: dict[Place, float]) -> pd.DataFrame:
    """The sums of ``counts_of`` over runs as a table, one row per place."""
    table = pd.DataFrame(counts, columns=list(COLUMNS))
    table.insert(0, "kind", [kind_of(place) for place in truth])
    table.insert(1, "place", [" / ".join(place) for place in truth])
    return table


def by_kind(table: pd.DataFrame) -> pd.DataFrame:
    """Sums over settings and calls, with the shares; intervals of no width at nothing but zeros left out."""
    table = table[(table["intervals"] > 0) & (table["points"] < table["intervals"])]
    sums = table.groupby("kind", sort=True)[["figures", "intervals", "below", "above", "width"]].sum()
    n = sums["intervals"]
    shares = (n - sums["below"] - sums["above"]) / n
    worst = table.assign(share=1.0 - (table["below"] + table["above"]) / table["intervals"])
    worst = worst[worst["intervals"] >= 200].groupby("kind")["share"].agg(["min", "max"])
    return pd.DataFrame(
        {
            "given": n / sums["figures"],
            "coverage": shares,
            "truth_below": sums["below"] / n,
            "truth_above": sums["above"] / n,
            "least": worst["min"],
            "most": worst["max"],
            "width": sums["width"] / n,
            "intervals": n,
        }
    )


def words_of(table: pd.DataFrame, runs: int) -> str:
    """What a table says beyond luck: the kinds outside ``LOW`` to ``HIGH`` that are further from 95 % than
    the furthest of as many kinds would be by luck. The intervals of one run are alike, so all settings and
    calls of a run count as one trial."""
    trials = np.maximum(1.0, np.minimum(table["intervals"], runs * table["given"]))
    outside = (table["coverage"] < LOW) | (table["coverage"] > HIGH)
    away = (table["coverage"] - LEVEL).abs() / np.sqrt(LEVEL * (1.0 - LEVEL) / trials)
    beyond = NormalDist().inv_cdf(0.5 + 0.5 * LEVEL ** (1.0 / len(table)))
    named = [
        f"{kind} ({row['coverage']:.3f}, given {row['given']:.2f})"
        for kind, row in table[outside & (away > beyond)].iterrows()
    ]
    return (
        f"{int((~outside).sum())} of {len(table)} kinds lie within {LOW:.2f} to {HIGH:.2f}; outside, and "
        f"further from {LEVEL:.2f} than luck brings one of so many in 5 of 100 studies "
        f"({beyond:.1f} standard errors): {', '.join(named) or 'none'}."
    )


def text_of(results: dict[int, pd.DataFrame], about: dict[str, Any]) -> str:
    """The tables as a page (Markdown)."""
    lines = [
        "# Coverage of the intervals",
        "",
        f"`python benchmarks/interval_coverage.py --seeds {' '.join(map(str, about['seeds']))}`: "
        f"{' and '.join(f'{n:,} runs of {size:,}' for n, size in zip(about['seeds'], results, strict=True))} "
        f"possessions of {about['scenario']}, against "
        f"{about['truth']:,} possessions as the truth. Version {about['version']}, kernel {about['kernel']}, "
        f"config hash {about['config_hash'][:12]}, seed 1, {about['processor']}, played on {about['date']}.",
        "",
        "*given*: share of the runs in which the figure bears an interval (fewer than 30 events bear none); "
        "*coverage*: how often that held the truth (95 % wanted), over all settings and calls; *from*, *to*: "
        "the least and the most of a single setting or call with 200 intervals or more; (!): outside "
        f"{LOW:.2f} to {HIGH:.2f}, by luck or not. A sum over events that only some runs have enough of "
        "(*given* near 0) is held less often, without any interval being at fault: it is given where more "
        "happened than usual.",
    ]
    for (possessions, table), runs in zip(results.items(), about["seeds"], strict=True):
        lines += ["", f"## {possessions:,} possessions a run", "", words_of(table, runs), ""]
        lines += ["| interval | given | coverage | from | to |", "|---|---|---|---|---|"]
        for kind, row in table.iterrows():
            ends = ["-" if math.isnan(row[name]) else f"{row[name]:.3f}" for name in ("least", "most")]
            mark = "" if LOW <= row["coverage"] <= HIGH else " (!)"
            lines.append(
                f"| {kind} | {row['given']:.2f} | {row['coverage']:.3f}{mark} | {ends[0]} | {ends[1]} |"
            )
    return "\n".join(lines) + "\n"


def read(path: str) -> tuple[dict[int, pd.DataFrame], dict[str, Any]]:
    """The tables by kind and what they are of, from what ``-o`` wrote."""
    found = json.loads(Path(path).read_text(encoding="utf-8"))
    return {
        int(size): pd.DataFrame(rows).set_index("kind").astype(float) for size, rows in found["kinds"].items()
    }, found["about"]


def studied(given: argparse.Namespace, seeds: list[int]) -> tuple[dict[int, pd.DataFrame], dict[str, Any]]:
    """Everything played and counted, by ``--threads`` processes; written where ``-o`` says."""
    found = comparer(given.scenario)
    label = f"kernel {source_stamp():016x}, scenario {found.about()['config_hash']}, truth {given.truth}"
    kept = Kept(Path(given.keep) if given.keep else None, label)
    found.result(0, 1)  # the engine is compiled here, once, and loaded by the processes
    results: dict[int, pd.DataFrame] = {}
    places: dict[str, Any] = {}
    played = []
    with pool_of(given.threads) as pool:
        truth, done = truth_of(given, kept, pool)
        told = [f"{done:,} of {given.truth:,} possessions of the truth"]
        for possessions, n in zip(given.possessions, seeds, strict=True):
            done, counts = kept.found.get(f"of {possessions}", (0, np.zeros((len(truth), len(COLUMNS)))))
            left = pieces(done, n if truth else 0, max(1, PIECE // possessions))
            work = partial(counts_of, given.scenario, truth, possessions)
            for runs, one in in_time(pool, work, left, given.threads, given.seconds):
                # one after another, so that the sums are the same to the bit after a stop, too
                done, counts = runs.stop, reduce(add, one, counts)
                kept.put(**{f"of {possessions}": (done, counts)})
            told.append(f"{done:,} of {n:,} runs of {possessions:,}")
            if done:
                played.append(done)
                table = covered(counts, truth)
                results[possessions] = by_kind(table)
                places[str(possessions)] = table.round(4).to_dict("records")
    kept.put(now=True)
    print(f"Played: {', '.join(told)}.", file=sys.stderr)
    if len(played) < len(seeds):
        raise SystemExit("Too little for a table; the same command goes on.")
    about = found.about() | {
        "scenario": re.sub(r".*/", "", given.scenario),
        "seeds": played,
        "truth": given.truth,
        "version": __version__,
        "kernel": f"{source_stamp():016x}",
        "date": datetime.now(UTC).date().isoformat(),
        "versions": versions(),
    }
    if given.output:
        kinds = {str(n): table.reset_index().to_dict("records") for n, table in results.items()}
        whole = {"about": about, "kinds": kinds, "places": places}
        with whole_file(given.output) as part:
            Path(part).write_text(json.dumps(whole) + "\n", encoding="utf-8")
    return results, about


def main(arguments: list[str] | None = None) -> None:
    """Play, count, print, write."""
    parser = argparse.ArgumentParser(description="Coverage of every interval of compare.")
    parser.add_argument("--scenario", default="friday_night", help="name or path of a scenario")
    parser.add_argument("--seeds", type=int, nargs="+", default=[2000], help="short runs, of each size")
    parser.add_argument("--possessions", type=int, nargs="+", default=[300, 3000], help="of a short run")
    parser.add_argument("--truth", type=int, default=2_000_000, help="possessions of the long run")
    parser.add_argument("--threads", type=int, default=available_cores(), help="processes")
    parser.add_argument("-o", "--output", help="JSON file: every kind and every place by itself")
    parser.add_argument("--read", metavar="FILE", help="what -o wrote: nothing is played")
    parser.add_argument("--table", help="Markdown file")
    parser.add_argument("--keep", metavar="FILE", help="what was counted so far; goes on from there")
    parser.add_argument("--seconds", type=float, help="after the start begin nothing more (compiling counts)")
    given = parser.parse_args(arguments)
    if len(given.seeds) not in (1, len(given.possessions)):
        parser.error("as many --seeds as --possessions, or one for all")
    seeds = given.seeds if len(given.seeds) > 1 else given.seeds * len(given.possessions)
    try:
        results, about = read(given.read) if given.read else studied(given, seeds)
    except (InputError, OSError, ValueError) as error:
        print(error, file=sys.stderr)
        raise SystemExit(2) from None
    text = text_of(results, about)
    print(text)
    if given.table:
        Path(given.table).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
