"""Integer tallies of possession records: everything an estimate needs, and nothing that depends on order.

A tally is built from one block of records and tallies are added. All entries are int64 counts or sums of
integers, so the total is the same for any cut into blocks, any order and any number of threads.
``engine.estimate.calls`` turns tallies into estimates with intervals. The largest sum is that of squared
milliseconds: int64 holds it for 10^9 possessions of up to 96 s each.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from engine.state.record import COLUMN, MOST_CALLS, N_RECORD, NET_HIGH, NET_LOW
from engine.state.words import AFTER, ENDS, LOSSES, OUTCOMES

IntArray = npt.NDArray[np.int64]

#: Number of bins of a histogram of net points: value v is counted at index v - NET_LOW.
N_NET = NET_HIGH - NET_LOW + 1
#: Points conceded are counted at their own index; the last bin means "this many or more".
POINTS_HIGH = 8
N_POINTS = POINTS_HIGH + 1
#: Calls of one possession whose spot the record keeps (four bits each in 32).
#: Totals named by the box score, in the order of the JSON contract.
BOX_COLUMNS = (
    "fga", "fgm", "three_attempts", "three_made", "rim_attempts", "fta", "ftm",
    "oreb", "dreb", "turnovers", "steals", "fouls", "points",
)  # fmt: skip

#: Outcomes of a call that are turnovers IN the trap; what is lost later in the possession is not counted.
TURNOVERS = ("steal", "other_turnover")
LOST_IN_TRAP = tuple(OUTCOMES.index(name) for name in TURNOVERS)

#: Sums of distances in a record, each with the column that says of how many: their means are skewed.
GAPS = {
    "three_gap_mm": "three_attempts",
    "skip_gap_mm": "skip_catches",
    "next_gap_mm": "next_catches",
    "missed_bump_gap_mm": "missed_bump_catches",
}
_GAP_SUMS, _GAP_COUNTS = ([COLUMN[name] for name in names] for names in (GAPS, GAPS.values()))

_NAMES_NOT_NUMBERS = ("call_spots", "shadow")  # packed bits: a product of them means nothing


def net_values() -> IntArray:
    """Net points of each bin of a net histogram, int64[N_NET]."""
    return np.arange(NET_LOW, NET_HIGH + 1, dtype=np.int64)


def check_records(records: npt.NDArray[Any]) -> None:
    """Refuse a block that is not a whole number of int records.

    Raises:
        ValueError: wrong shape or a type that is not an integer.
    """
    if records.ndim != 2 or records.shape[1] != N_RECORD or records.dtype.kind not in "iu":
        raise ValueError(
            f"records must be integers of shape [count, {N_RECORD}], got {records.dtype} {records.shape}"
        )


def _column(records: npt.NDArray[Any], name: str, low: int, high: int) -> IntArray:
    """One column as int64, every value checked against low..high (a wrong one would land in another bin)."""
    values = records[:, COLUMN[name]].astype(np.int64)
    if values.size and (values.min() < low or values.max() > high):
        raise ValueError(
            f"record column {name} must lie in {low}..{high}, got {values.min()}..{values.max()}"
        )
    return values


def spots_of_calls(records: npt.NDArray[Any]) -> IntArray:
    """Spots of all calls of each possession, unpacked from ``call_spots``.

    Returns:
        int64[count, MOST_CALLS]: 1 + index of the spot of call 1, 2, ...; 0 where there was none.
    """
    check_records(records)
    packed = records[:, COLUMN["call_spots"]].astype(np.int64) & 0xFFFFFFFF
    shifts = 4 * np.arange(MOST_CALLS, dtype=np.int64)
    return (packed[:, None] >> shifts[None, :]) & 15


@dataclass(frozen=True, eq=False)
class Tally:
    """Shared by all tallies: adding and comparing, array by array."""

    def __add__(self, other: Self) -> Self:
        if type(other) is not type(self):
            return NotImplemented
        total: dict[str, Any] = {}
        for field in fields(self):
            mine, theirs = getattr(self, field.name), getattr(other, field.name)
            if np.shape(mine) != np.shape(theirs):
                raise ValueError(
                    f"tallies of different size: {field.name} {np.shape(mine)}, {np.shape(theirs)}"
                )
            total[field.name] = mine + theirs
        return type(self)(**total)

    def __eq__(self, other: object) -> bool:
        if type(other) is not type(self):
            return NotImplemented
        names = [field.name for field in fields(self)]
        return all(np.array_equal(getattr(self, name), getattr(other, name)) for name in names)


@dataclass(frozen=True, eq=False)
class BoxTally(Tally):
    """Sums over possessions of one setting.

    Attributes:
        n: possessions.
        sums: int64[N_RECORD], sum of every record column.
        cross: int64[N_RECORD, N_RECORD], sum of products of every two columns (the rows and the columns of
            packed bits are 0). The possession is the cluster of every ratio interval.
        cubes: int64[len(GAPS), 4], sums of y^3, y^2 x, y x^2, x^3 with y the sum of distances of a possession
            in whole centimetres (so that 10^9 possessions fit) and x their number.
        ends: int64[len(ENDS)], possessions by ending.
        points_hist: int64[N_POINTS], possessions by points conceded, the last bin open.
        net_hist: int64[N_NET], possessions by net points.
    """

    n: int
    sums: IntArray
    cross: IntArray
    cubes: IntArray
    ends: IntArray
    points_hist: IntArray
    net_hist: IntArray

    @classmethod
    def zero(cls) -> BoxTally:
        """The tally of no possession."""
        return cls.from_records(np.zeros((0, N_RECORD), dtype=np.int32))

    @classmethod
    def from_records(cls, records: npt.NDArray[Any]) -> BoxTally:
        """Tally a block int32[count, N_RECORD].

        Raises:
            ValueError: not a block of records, or a column outside its declared range.
        """
        check_records(records)
        net = _column(records, "net", NET_LOW, NET_HIGH)
        end = _column(records, "end", 0, len(ENDS) - 1)
        points = np.minimum(_column(records, "points", 0, 1000), POINTS_HIGH)
        return cls(
            n=len(records),
            sums=records.sum(axis=0, dtype=np.int64),
            cross=_cross_sums(records),
            cubes=_cubes(records),
            ends=_count(end, (len(ENDS),)),
            points_hist=_count(points, (N_POINTS,)),
            net_hist=_count(net - NET_LOW, (N_NET,)),
        )

    def total(self, column: str) -> int:
        """Sum of one record column over all possessions."""
        return int(self.sums[COLUMN[column]])

    def box(self) -> dict[str, int]:
        """The box score: totals over all possessions."""
        return {name: self.total(name) for name in BOX_COLUMNS}

    def ends_by_name(self) -> dict[str, int]:
        """Possessions by ending; they add up to ``n``."""
        return {name: int(count) for name, count in zip(ENDS, self.ends, strict=True)}

    @property
    def lost(self) -> int:
        """Possessions that end without a shot: turnovers, and the end of the shot clock."""
        ends = self.ends_by_name()
        return ends["turnover"] + ends["shot_clock"]


def _cubes(records: npt.NDArray[Any]) -> IntArray:
    y = (records[:, _GAP_SUMS].astype(np.int64) + 5) // 10
    x = records[:, _GAP_COUNTS].astype(np.int64)
    yy, xx = y * y, x * x
    return np.stack([found.sum(axis=0) for found in (yy * y, yy * x, y * xx, xx * x)], axis=1)


def _cross_sums(records: npt.NDArray[Any]) -> IntArray:
    """Sums of products of all pairs of columns, in int64, hence exact.

    Not a matrix product: in floats that runs on a BLAS library, whose own threads get in the way of the
    threads that play possessions; in integers numpy does it four times slower than this sum over rows of a
    transposed copy, of the columns that are not all zero.
    """
    columns = records.T.astype(np.int64, order="C")
    columns[[COLUMN[name] for name in _NAMES_NOT_NUMBERS]] = 0
    used = np.flatnonzero(columns.any(axis=1))
    products = np.zeros((N_RECORD, N_RECORD), dtype=np.int64)
    products[used[:, None], used] = np.einsum("ik,jk->ij", columns[used], columns[used])
    return products


@dataclass(frozen=True, eq=False)
class PairTally(Tally):
    """A setting and staying home on the same possessions, Y0 = net points at home, Ys under the setting.

    Attributes:
        n: possessions.
        all_pairs: int64[N_NET, N_NET] over (Y0, Ys), all possessions.
        joint: int64[n_spots, outcome, after, N_NET, N_NET] over (Y0, Ys), possessions by the spot of their
            first call and what came of it.
        calls: int64[n_spots], all calls made, later ones of a possession included.
        points_hist_home, points_hist_called: int64[n_spots, N_POINTS], points conceded (last bin open) in
            the possessions first called at a spot, at home and under the setting.
        points_sum_home, points_sum_called, points_square_home, points_square_called: int64[n_spots],
            sums and sums of squares of the same points, exact beyond the last bin.
        rim_home, rim_called: int64[n_spots], those possessions with an attempt at the rim. The WHOLE
            possession counts in both branches: what came before the call is shared, so it adds equally.
        trap_set: int64[n_spots], those possessions in which the first call's trap closed around the ball.
        trapped_shot: int64[n_spots], those whose outcome was "other" because the trapped man shot.
        lost_by: int64[n_spots, len(LOSSES)], those lost in the trap, by how the ball was lost.
    """

    n: int
    all_pairs: IntArray
    joint: IntArray
    calls: IntArray
    points_hist_home: IntArray
    points_hist_called: IntArray
    points_sum_home: IntArray
    points_sum_called: IntArray
    points_square_home: IntArray
    points_square_called: IntArray
    rim_home: IntArray
    rim_called: IntArray
    trap_set: IntArray
    trapped_shot: IntArray
    lost_by: IntArray

    @classmethod
    def zero(cls, n_spots: int) -> PairTally:
        """The tally of no possession."""
        nothing = np.zeros((0, N_RECORD), dtype=np.int32)
        return cls.from_records(nothing, nothing, n_spots)

    @classmethod
    def from_records(cls, home: npt.NDArray[Any], setting: npt.NDArray[Any], n_spots: int) -> PairTally:
        """Tally two blocks int32[count, N_RECORD] of the same possessions, row by row.

        Raises:
            ValueError: blocks of different size, or a column outside its declared range.
        """
        pair = _pair_codes(home, setting)
        first = _column(setting, "first_call", 0, n_spots)
        called = first > 0
        spot = first[called] - 1
        outcome = _column(setting, "outcome", 0, len(OUTCOMES) - 1)[called]
        after = _column(setting, "after", 0, len(AFTER) - 1)[called]
        code = (spot * len(OUTCOMES) + outcome) * len(AFTER) + after
        shape = (n_spots, len(OUTCOMES), len(AFTER), N_NET, N_NET)
        joint = _count(code * N_NET * N_NET + pair[called], shape)

        taken = setting[called]
        shot = taken[:, COLUMN["trapped_shot"]] > 0
        how = _column(setting, "lost_by", 0, len(LOSSES))[called]
        lost = np.isin(outcome, LOST_IN_TRAP) & (how > 0)

        spots = spots_of_calls(setting)
        if spots.size and spots.max() > n_spots:
            raise ValueError(f"record column call_spots names spot {spots.max()} of {n_spots}")
        branches: dict[str, IntArray] = {}
        for branch, records in (("home", home[called]), ("called", taken)):
            points = _column(records, "points", 0, 1000)
            capped = np.minimum(points, POINTS_HIGH)
            branches[f"points_hist_{branch}"] = _count(spot * N_POINTS + capped, (n_spots, N_POINTS))
            branches[f"points_sum_{branch}"] = _sum_by(spot, points, n_spots)
            branches[f"points_square_{branch}"] = _sum_by(spot, points * points, n_spots)
            branches[f"rim_{branch}"] = _count(spot[records[:, COLUMN["rim_shot"]] > 0], (n_spots,))
        return cls(
            n=len(home),
            all_pairs=_count(pair, (N_NET, N_NET)),
            joint=joint,
            calls=_count(spots[spots > 0] - 1, (n_spots,)),
            trap_set=_count(spot[taken[:, COLUMN["trap_set"]] > 0], (n_spots,)),
            lost_by=_count((spot * len(LOSSES) + how - 1)[lost], (n_spots, len(LOSSES))),
            trapped_shot=_count(spot[shot & (outcome == OUTCOMES.index("other"))], (n_spots,)),
            **branches,
        )

    @property
    def n_spots(self) -> int:
        """Spots of the setting."""
        return len(self.calls)

    def pairs(self, spot: int | None = None) -> IntArray:
        """(Y0, Ys) int64[N_NET, N_NET] over called possessions: first call at a spot, or anywhere (None)."""
        chosen = self.joint if spot is None else self.joint[spot : spot + 1]
        summed: IntArray = chosen.sum(axis=(0, 1, 2), dtype=np.int64)
        return summed

    def called(self, spot: int | None = None) -> int:
        """Possessions whose first call was at a spot, or anywhere (None)."""
        return int(self.pairs(spot).sum())

    def uncalled_differences(self) -> int:
        """Possessions without a call whose net points differ between the branches. It must be 0."""
        uncalled = self.all_pairs - self.pairs()
        return int(uncalled.sum() - np.trace(uncalled))


def _pair_codes(one: npt.NDArray[Any], other: npt.NDArray[Any]) -> IntArray:
    check_records(one)
    check_records(other)
    if len(one) != len(other):
        raise ValueError(f"both branches need the same possessions, got {len(one)} and {len(other)}")
    code = (_column(one, "net", NET_LOW, NET_HIGH) - NET_LOW) * N_NET
    code += _column(other, "net", NET_LOW, NET_HIGH) - NET_LOW
    return code


def count_pairs(one: npt.NDArray[Any], other: npt.NDArray[Any]) -> IntArray:
    """Net points of two branches of the same possessions, int64[N_NET, N_NET] over (one, other).

    Raises:
        ValueError: blocks of different size, or a column outside its declared range.
    """
    return _count(_pair_codes(one, other), (N_NET, N_NET))


def _count(codes: IntArray, shape: tuple[int, ...]) -> IntArray:
    """Histogram of combined codes, int64 of the given shape."""
    return np.bincount(codes, minlength=math.prod(shape)).astype(np.int64, copy=False).reshape(shape)


def _sum_by(group: IntArray, values: IntArray, n_groups: int) -> IntArray:
    """Integer sums of values by group, int64[n_groups]."""
    total = np.zeros(n_groups, dtype=np.int64)
    np.add.at(total, group, values)
    return total


@dataclass(frozen=True, eq=False)
class PerCallTally(Tally):
    """What every single call of a possession is worth, first and later ones apart.

    W_k is the possession with the first k calls allowed and later ones suppressed; W_0 stays home. Call k
    is worth Y(W_{k-1}) - Y(W_k), so the values of all calls of all possessions add up to minus the change
    from W_0 to the last branch: ``values.sum() == -total_change``.

    Attributes:
        n: possessions.
        total_change: sum of Y(last branch) - Y(W_0).
        counts, values, squares: int64[MOST_CALLS, n_spots] by the number of the call in its possession
            and its spot: calls, sum of their values, sum of squared values.
        cluster_yy, cluster_xy, cluster_xx: int64[n_spots], with y the sum of values and x the number of
            calls at a spot in one possession: sums over possessions of y*y, x*y, x*x.
    """

    n: int
    total_change: int
    counts: IntArray
    values: IntArray
    squares: IntArray
    cluster_yy: IntArray
    cluster_xy: IntArray
    cluster_xx: IntArray

    @classmethod
    def from_nets(cls, nets: npt.NDArray[Any], spots: npt.NDArray[Any], n_spots: int) -> PerCallTally:
        """Tally net points of the branches of each possession.

        Args:
            nets: integers [count, m + 1], net points of W_0 .. W_m.
            spots: integers [count, m], 1 + spot of call k in branch W_k, 0 where that call was not made.
            n_spots: spots of the setting.

        Raises:
            ValueError: shapes that do not fit, more than MOST_CALLS calls, a spot outside 0..n_spots, or
                two branches that differ although no call lies between them.
        """
        count, m = spots.shape
        if nets.shape != (count, m + 1):
            raise ValueError(f"nets must have shape {(count, m + 1)}, got {nets.shape}")
        if m > MOST_CALLS:
            raise ValueError(f"at most {MOST_CALLS} calls of a possession are kept, got {m}")
        if spots.size and (spots.min() < 0 or spots.max() > n_spots):
            raise ValueError(f"spots must lie in 0..{n_spots}, got {spots.min()}..{spots.max()}")
        nets = nets.astype(np.int64)
        worth = nets[:, :-1] - nets[:, 1:]
        made = spots > 0
        if np.any(worth[~made]):
            raise ValueError("two branches differ although no call was made between them")
        shape = (MOST_CALLS, n_spots)
        order = np.broadcast_to(np.arange(m), spots.shape)[made]
        code = order * n_spots + spots[made] - 1
        size = MOST_CALLS * n_spots
        row = np.nonzero(made)[0]
        by_spot_y = np.zeros((count, n_spots), dtype=np.int64)
        by_spot_x = np.zeros((count, n_spots), dtype=np.int64)
        np.add.at(by_spot_y, (row, spots[made] - 1), worth[made])
        np.add.at(by_spot_x, (row, spots[made] - 1), 1)
        return cls(
            n=count,
            total_change=int((nets[:, -1] - nets[:, 0]).sum()),
            counts=_count(code, shape),
            values=_sum_by(code, worth[made], size).reshape(shape),
            squares=_sum_by(code, worth[made] ** 2, size).reshape(shape),
            cluster_yy=(by_spot_y * by_spot_y).sum(axis=0),
            cluster_xy=(by_spot_x * by_spot_y).sum(axis=0),
            cluster_xx=(by_spot_x * by_spot_x).sum(axis=0),
        )

    @classmethod
    def from_records(cls, branches: Sequence[npt.NDArray[Any]], n_spots: int) -> PerCallTally:
        """Tally blocks of records of the same possessions played with 0, 1, 2, ... calls allowed.

        ``branches[k]`` is int32[count, N_RECORD] of W_k; the spot of call k is read from branch k.

        Raises:
            ValueError: fewer than one branch, blocks of different size, or as in ``from_nets``.
        """
        if not branches or len({block.shape for block in branches}) != 1:
            raise ValueError("branches must be one or more blocks of records of the same possessions")
        nets = np.stack([_column(block, "net", NET_LOW, NET_HIGH) for block in branches], axis=1)
        spots = np.zeros((len(nets), len(branches) - 1), dtype=np.int64)
        for k in range(1, min(len(branches), MOST_CALLS + 1)):
            spots[:, k - 1] = spots_of_calls(branches[k])[:, k - 1]
        return cls.from_nets(nets, spots, n_spots)
