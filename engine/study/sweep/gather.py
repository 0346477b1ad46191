"""From a store to one table: a row for every point and setting, points in order, staying home first.

Columns, in this order:

- ``point`` (from 1), one column for each varied path, ``setting``;
- ``possessions`` kept, ``settled`` (as many as were asked for are there, or the rule of [effort] needs no
  more), ``failed`` (the reason, or empty);
- points and net points per possession, and ``change`` (net points of the setting minus staying home on the
  same possessions; negative is good for the defence), each with ``_half_width``, ``_low`` and ``_high``;
- rates of ``RATES`` and the chances of a shot at the rim and of two points or more in a possession, with
  limits; seconds per possession;
- what the setting's calls did, all calls together: possessions called and calls per 100, share of the calls
  in which the trap closed, ``value`` (net points saved per called possession), share of turnovers in the
  trap and the share it would need (``estimate.calls.break_even``), mean of the worst 5% of the net points
  over ``over_n`` called possessions (the scenario's) less home's mean in them (and home's own worst 5%),
  chance to cost points, and how much the pairing saves (variance reduction);
- checks that must be 0: ``uncalled_differences``, ``policy_faults``, ``overflow``;
- ``PROVENANCE``: where the row comes from, the same in every row.

Intervals hold 95% and describe the luck of the possessions played, never the model's own error. A point
without possessions has empty cells. Called figures of staying home are empty.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from engine.estimate import calls as estimate
from engine.estimate.intervals import NOTHING, Interval, scaled, wilson
from engine.estimate.play import per_possession, ratio, share
from engine.estimate.risk import LIMITED
from engine.estimate.tally import BoxTally, PairTally
from engine.study.sweep.adaptive import settled_test
from engine.study.sweep.stored import Stored
from engine.study.sweep.tallies import Batch, BatchTally, SettingSums

if TYPE_CHECKING:
    import pandas as pd

#: Points of one piece of the table (a row group of a Parquet file).
PIECE = 500

#: Is shown every batch of a store, by (point, first), while the table is made.
Each = Callable[[Batch, BatchTally], None]

#: Shares of a possession's events, by column: how each follows from the box tally.
RATES: dict[str, Callable[[BoxTally], Interval]] = {
    "effective_field_goal": lambda box: scaled(ratio(box, {"fgm": 2, "three_made": 1}, "fga"), 0.5),
    "turnover": lambda box: wilson(box.lost, box.n),
    "steals_of_turnovers": lambda box: wilson(box.total("steals"), box.lost),
    "offensive_rebound": lambda box: share(box, "oreb", {"oreb": 1, "dreb": 1}),
    "free_throws_per_field_goal": lambda box: ratio(box, "fta", "fga"),
    "three_point": lambda box: share(box, "three_made", "three_attempts"),
    "three_attempts": lambda box: share(box, "three_attempts", "fga"),
    "rim_attempts": lambda box: share(box, "rim_attempts", "fga"),
    "p_rim_shot": lambda box: wilson(box.total("rim_shot"), box.n),
    "p_two_or_more": lambda box: wilson(int(box.points_hist[2:].sum()), box.n),
}
_WIDE = ("points", "net", "change", "value")


#: What a spreadsheet takes for the beginning of a formula.
FORMULA = ("=", "+", "-", "@", "\t", "\r")

#: Columns that say where a table comes from (``provenance_of``).
PROVENANCE = ("seed", "luck", "version", "kernel", "design", "config_hash", "processor")


def provenance_of(store: Stored) -> dict[str, str]:
    """Where the results of a store come from, as text: seed and luck of the possessions, version of the
    engine, stamp of the kernel's sources, digest of the design, config hash of its scenario, processor with
    its mathematics library."""
    versions, identity = json.loads(store.meta["versions"]), json.loads(store.meta["identity"])
    return {
        "seed": store.meta["seed"],
        "luck": store.meta["luck"],
        "version": versions["trapledger"],
        "kernel": versions["sources of the kernel"],
        "design": store.meta["digest"],
        "config_hash": identity["scenario"],
        "processor": f"{versions['processor']} ({versions['mathematics library']})",
    }


def plain_cells(table: pd.DataFrame) -> pd.DataFrame:
    """A table whose texts no spreadsheet runs as formulas: those that begin like one get an apostrophe."""
    import pandas as pd

    found = table.copy()
    for name in found.columns:
        if found[name].dtype == object or isinstance(found[name].dtype, pd.StringDtype):
            found[name] = found[name].map(
                lambda cell: f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA) else cell
            )
    return found.rename(columns=lambda name: f"'{name}" if str(name).startswith(FORMULA) else name)


def _put(row: dict[str, Any], name: str, found: Interval) -> None:
    row[name] = found.mean
    if name in _WIDE:
        known = found.low is not None and found.high is not None
        row[f"{name}_half_width"] = (found.high - found.low) / 2 if known else None  # type: ignore[operator]
    row[f"{name}_low"], row[f"{name}_high"] = found.low, found.high


def _figures(box: BoxTally, one: SettingSums | None, n_calls: int, over_n: int) -> dict[str, Any]:
    """The estimates of one branch; ``one`` None is staying home."""
    row: dict[str, Any] = {}
    _put(row, "points", per_possession(box, "points"))
    _put(row, "net", per_possession(box, "net"))
    if one is None:
        _put(row, "change", Interval(0.0, 0.0, 0.0) if box.n else NOTHING)
    else:
        _put(row, "change", estimate.paired_change(one.with_home))
    for name, rate in RATES.items():
        _put(row, name, rate(box))
    row["seconds"] = per_possession(box, {"time_ms": 1}).mean
    if row["seconds"] is not None:
        row["seconds"] /= 1000
    row |= _calls(one.pairs if one is not None and n_calls else None, over_n)
    row["uncalled_differences"] = 0 if one is None else one.differences
    row["policy_faults"], row["overflow"] = box.total("policy_faults"), box.total("overflow")
    return row


def _calls(pairs: PairTally | None, over_n: int) -> dict[str, Any]:
    """Figures of all calls of a setting together; None where it has no call."""
    row: dict[str, Any] = {}
    called = pairs.called() if pairs is not None else 0
    if pairs is None or pairs.n == 0:
        pairs = None
    row["called_per_100"] = 100 * called / pairs.n if pairs is not None else None
    row["calls_per_100"] = 100 * int(pairs.calls.sum()) / pairs.n if pairs is not None else None
    row["trap_set"] = int(pairs.trap_set.sum()) / called if pairs is not None and called else None
    _put(row, "value", estimate.call_value(pairs) if pairs is not None else NOTHING)
    even = estimate.break_even(pairs) if pairs is not None else None
    _put(row, "trap_turnover", NOTHING if even is None else even.turnover_rate)
    _put(row, "break_even_turnover", NOTHING if even is None else even.t_star)
    worst = estimate.over_n(pairs.pairs(), over_n) if pairs is not None and called else None
    for name in LIMITED:
        limits = worst.limits[name].interval if worst is not None else NOTHING
        row[name] = getattr(worst, name) if worst is not None else None
        row[f"{name}_low"], row[f"{name}_high"] = limits.low, limits.high
    _put(row, "p_costs_points", estimate.p_costs_points(pairs) if pairs is not None else NOTHING)
    row["variance_reduction"] = estimate.variance_reduction(pairs) if pairs is not None else None
    return row


def rows_of(
    tally: BatchTally | None, settings: tuple[str, ...], calls: Mapping[str, Sequence[str]], over_n: int
) -> Iterator[dict[str, Any]]:
    """One row for each setting of a point, home first; without a tally only the names."""
    for i, name in enumerate(settings):
        row: dict[str, Any] = {"setting": name, "possessions": 0 if tally is None else tally.n}
        if tally is not None:
            one = tally.settings[i - 1] if i else None
            row |= _figures(tally.home if one is None else one.box, one, len(calls.get(name, ())), over_n)
        yield row


# --- the table ----------------------------------------------------------------------------------------------


def _factor_kinds(store: Stored) -> dict[str, str]:
    """The type that holds every value of each path, as pandas names it."""
    kinds: dict[str, set[type]] = {path: set() for path in store.factors}
    for _, values in store.points():
        for path, value in values.items():
            kinds[path].add(type(value))
    found = {}
    for path, types in kinds.items():
        found[path] = "object"
        if types == {bool}:
            found[path] = "bool"
        elif types == {int}:
            found[path] = "int64"
        elif types <= {int, float}:
            found[path] = "float64"
    return found


_WHOLE = ("point", "possessions", "uncalled_differences", "policy_faults", "overflow")
_TEXT = ("setting", "failed")


def _columns() -> list[str]:
    """Names of the columns that hold figures, in order."""
    return list(_figures(BoxTally.zero(), None, 0, 1))


def _frame(rows: list[dict[str, Any]], kinds: dict[str, str]) -> pd.DataFrame:
    import pandas as pd

    columns = ["point", *kinds, "setting", "possessions", "settled", "failed", *_columns(), *PROVENANCE]
    table = pd.DataFrame(rows, columns=columns)
    types: dict[str, Any] = {}
    for name in columns:
        if name in kinds:
            types[name] = kinds[name]
            if kinds[name] == "object":
                table[name] = table[name].map(str)
        elif name in _WHOLE:
            types[name] = "int64"
            table[name] = table[name].fillna(0)
        elif name == "seed":
            types[name], table[name] = "uint64", table[name].map(int)
        elif name == "settled":
            types[name] = "bool"
        elif name not in _TEXT and name not in PROVENANCE:
            types[name] = "float64"
    return table.astype(types)


def pieces(store: Stored, size: int = PIECE, each: Each | None = None) -> Iterator[pd.DataFrame]:
    """The table in pieces of ``size`` points, all with the same columns and types; memory stays flat.
    ``each`` is shown every batch.

    Raises InputError for a damaged store.
    """
    kinds, settings = _factor_kinds(store), store.settings
    calls, over_n, source = store.calls, int(store.meta["over_n"]), provenance_of(store)
    failures, settled = store.failures(), settled_test(store)
    tallies = store.tallies(each=each)
    at, tally = next(tallies, (None, None))
    rows: list[dict[str, Any]] = []
    for point, values in store.points():
        mine = tally if at == point else None
        if at == point:
            at, tally = next(tallies, (None, None))
        about = {
            "point": point + 1,
            **values,
            "settled": mine is not None and settled(point, mine.n, mine),
            "failed": failures.get(point, ""),
            **source,
        }
        rows += [about | row for row in rows_of(mine, settings, calls, over_n)]
        if (point + 1) % size == 0:
            yield _frame(rows, kinds)
            rows = []
    if rows:
        yield _frame(rows, kinds)


def gather(store: Stored | str | Path, each: Each | None = None) -> pd.DataFrame:
    """The whole table of a store (an open one, or its file); see the module for the columns. ``each`` is
    shown every batch.

    Raises InputError: no store of a sweep, or a damaged one.
    """
    import pandas as pd

    if isinstance(store, Stored):
        return pd.concat(pieces(store, each=each), ignore_index=True)
    with Stored.read(store) as opened:
        return pd.concat(pieces(opened, each=each), ignore_index=True)
