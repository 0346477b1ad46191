"""Integer tallies: exact, free of order, and strict about what they are given."""

import numpy as np
import pytest

from engine.estimate.tally import (
    GAPS,
    N_NET,
    POINTS_HIGH,
    BoxTally,
    PairTally,
    PerCallTally,
    count_pairs,
    net_values,
    spots_of_calls,
)
from engine.state.record import COLUMN, N_RECORD, NET_HIGH, NET_LOW
from engine.state.words import AFTER, ENDS, LOSSES, OUTCOMES

N_SPOTS = 4


def random_records(rng: np.random.Generator, n: int) -> np.ndarray:
    """Records with every column filled at random; the enumerations and net points within their bounds."""
    records = rng.integers(0, 7, size=(n, N_RECORD), dtype=np.int32)
    records[:, COLUMN["net"]] = rng.integers(NET_LOW, NET_HIGH + 1, size=n)
    records[:, COLUMN["points"]] = rng.integers(0, 12, size=n)
    records[:, COLUMN["end"]] = rng.integers(0, len(ENDS), size=n)
    records[:, COLUMN["after"]] = rng.integers(0, len(AFTER), size=n)
    records[:, COLUMN["lost_by"]] = rng.integers(0, len(LOSSES) + 1, size=n)
    records[:, COLUMN["time_ms"]] = rng.integers(500, 40_000, size=n)
    records[:, COLUMN["shot_clock_left_ms"]] = rng.integers(-1, 30_000, size=n)
    n_calls = rng.integers(0, 9, size=n)
    spots = rng.integers(1, N_SPOTS + 1, size=(n, 8)) * (np.arange(8) < n_calls[:, None])
    packed = (spots.astype(np.uint64) << (4 * np.arange(8, dtype=np.uint64))).sum(axis=1)
    records[:, COLUMN["call_spots"]] = packed.astype(np.uint32).view(np.int32)
    records[:, COLUMN["first_call"]] = spots[:, 0]
    records[:, COLUMN["outcome"]] = np.where(n_calls > 0, rng.integers(0, len(OUTCOMES), size=n), 0)
    return records


def test_box_tally_is_the_plain_sums() -> None:
    records = random_records(np.random.default_rng(1), 500)
    box = BoxTally.from_records(records)
    wide = records.astype(object)
    assert box.n == 500
    assert box.total("fga") == sum(wide[:, COLUMN["fga"]])
    for a, b in (
        ("time_ms", "time_ms"),
        ("fga", "fgm"),
        ("net", "points"),
        ("shot_clock_left_ms", "time_ms"),
    ):
        assert box.cross[COLUMN[a], COLUMN[b]] == sum(wide[:, COLUMN[a]] * wide[:, COLUMN[b]])
    for packed in ("call_spots", "shadow"):
        assert not box.cross[COLUMN[packed]].any() and not box.cross[:, COLUMN[packed]].any()
    assert box.ends.sum() == box.points_hist.sum() == box.net_hist.sum() == 500
    assert sum(box.ends_by_name().values()) == 500
    assert box.net_hist @ net_values() == box.total("net")
    assert box.points_hist[POINTS_HIGH] == (records[:, COLUMN["points"]] >= POINTS_HIGH).sum() > 0


def test_cubes_are_the_plain_sums_in_centimetres() -> None:
    records = random_records(np.random.default_rng(8), 300)
    for sums in GAPS:
        records[:, COLUMN[sums]] *= 743
    cubes = BoxTally.from_records(records).cubes
    for row, (sums, count) in zip(cubes, GAPS.items(), strict=True):
        pairs = [((int(one[COLUMN[sums]]) + 5) // 10, int(one[COLUMN[count]])) for one in records]
        assert row.tolist() == [sum(y**k * x ** (3 - k) for y, x in pairs) for k in (3, 2, 1, 0)]


def test_cross_sums_are_the_product_of_whole_numbers_to_the_bit() -> None:
    """Against numpy's product of Python integers, and against the BLAS product of floats that are exact."""
    records = random_records(np.random.default_rng(6), 3000)
    cross = BoxTally.from_records(records).cross
    records[:, [COLUMN["call_spots"], COLUMN["shadow"]]] = 0
    wide, floats = records[:200].astype(object), records.astype(np.float64)
    assert cross.dtype == np.int64
    np.testing.assert_array_equal(cross, (floats.T @ floats).astype(np.int64))
    np.testing.assert_array_equal(BoxTally.from_records(records[:200]).cross, wide.T @ wide)


def test_cross_sums_stay_exact_beyond_the_floats() -> None:
    records = np.zeros((2, N_RECORD), dtype=np.int32)
    records[:, COLUMN["three_gap_mm"]] = 2**31 - 1
    box = BoxTally.from_records(records)
    assert int(box.cross[COLUMN["three_gap_mm"], COLUMN["three_gap_mm"]]) == 2 * (2**31 - 1) ** 2 > 2**53


def test_tallies_do_not_depend_on_blocks_or_order() -> None:
    rng = np.random.default_rng(2)
    home, setting = random_records(rng, 1000), random_records(rng, 1000)
    branches = [home, setting]
    spots = (np.arange(1000) % N_SPOTS + 1)[:, None]
    nets = np.stack([block[:, COLUMN["net"]] for block in branches], axis=1)
    order = rng.permutation(1000)
    cuts = [order[:1], order[1:400], order[400:400], order[400:]]
    for build in (
        lambda rows: BoxTally.from_records(home[rows]),
        lambda rows: PairTally.from_records(home[rows], setting[rows], N_SPOTS),
        lambda rows: PerCallTally.from_nets(nets[rows], spots[rows], N_SPOTS),
    ):
        whole = build(np.arange(1000))
        parts = [build(cut) for cut in cuts]
        total = parts[0]
        for part in parts[1:]:
            total = total + part
        assert total == whole
        assert parts[1] != whole
    assert BoxTally.zero() + BoxTally.from_records(home) == BoxTally.from_records(home)
    pair = PairTally.from_records(home, setting, N_SPOTS)
    assert PairTally.zero(N_SPOTS) + pair == pair


def test_pair_tally_is_a_plain_loop() -> None:
    rng = np.random.default_rng(3)
    home, setting = random_records(rng, 400), random_records(rng, 400)
    tally = PairTally.from_records(home, setting, N_SPOTS)
    joint, calls = np.zeros_like(tally.joint), np.zeros(N_SPOTS, dtype=int)
    shots, lost_by = np.zeros(N_SPOTS, dtype=int), np.zeros((N_SPOTS, len(LOSSES)), dtype=int)
    rim_home, points_home = np.zeros(N_SPOTS, dtype=int), np.zeros(N_SPOTS, dtype=int)
    points_called = np.zeros((N_SPOTS, POINTS_HIGH + 1), dtype=int)
    for h, s in zip(home, setting, strict=True):
        y0, ys = h[COLUMN["net"]] - NET_LOW, s[COLUMN["net"]] - NET_LOW
        packed = int(s[COLUMN["call_spots"]]) & 0xFFFFFFFF
        while packed:
            calls[packed % 16 - 1] += 1
            packed //= 16
        spot = s[COLUMN["first_call"]] - 1
        if spot >= 0:
            joint[spot, s[COLUMN["outcome"]], s[COLUMN["after"]], y0, ys] += 1
            rim_home[spot] += h[COLUMN["rim_shot"]] >= 1
            shots[spot] += OUTCOMES[s[COLUMN["outcome"]]] == "other" and s[COLUMN["trapped_shot"]] > 0
            if OUTCOMES[s[COLUMN["outcome"]]] in ("steal", "other_turnover") and s[COLUMN["lost_by"]]:
                lost_by[spot, s[COLUMN["lost_by"]] - 1] += 1
            points_called[spot, min(s[COLUMN["points"]], POINTS_HIGH)] += 1
            points_home[spot] += h[COLUMN["points"]]
    np.testing.assert_array_equal(tally.joint, joint)
    np.testing.assert_array_equal(tally.calls, calls)
    np.testing.assert_array_equal(tally.rim_home, rim_home)
    np.testing.assert_array_equal(tally.trapped_shot, shots)
    np.testing.assert_array_equal(tally.lost_by, lost_by)
    assert lost_by.sum() > 20
    np.testing.assert_array_equal(count_pairs(home, setting), tally.all_pairs)
    np.testing.assert_array_equal(tally.points_hist_called, points_called)
    np.testing.assert_array_equal(tally.points_sum_home, points_home)
    assert tally.n == tally.all_pairs.sum() == 400
    assert sum(tally.called(spot) for spot in range(N_SPOTS)) == tally.called() < 400


def test_uncalled_possessions_that_differ_are_counted() -> None:
    rng = np.random.default_rng(4)
    home = random_records(rng, 300)
    home[:, COLUMN["first_call"]] = home[:, COLUMN["call_spots"]] = home[:, COLUMN["outcome"]] = 0
    setting = home.copy()
    assert PairTally.from_records(home, setting, N_SPOTS).uncalled_differences() == 0
    setting[:7, COLUMN["net"]] = np.where(home[:7, COLUMN["net"]] == 0, 1, 0)
    assert PairTally.from_records(home, setting, N_SPOTS).uncalled_differences() == 7


def test_values_of_all_calls_add_up_to_minus_the_change() -> None:
    # W_k = the first k calls allowed. Identity: the sum over calls of Y(W_{k-1}) - Y(W_k) telescopes.
    rng = np.random.default_rng(5)
    n, most = 5000, 5
    n_calls = np.minimum(rng.poisson(1.2, size=n), most)
    spots = rng.integers(1, N_SPOTS + 1, size=(n, most)) * (np.arange(most) < n_calls[:, None])
    nets = rng.integers(NET_LOW, NET_HIGH + 1, size=(n, most + 1))
    for k in range(1, most + 1):  # past its last call a possession stays the same
        nets[:, k] = np.where(n_calls >= k, nets[:, k], nets[:, k - 1])
    branches = []
    for k in range(most + 1):
        block = np.zeros((n, N_RECORD), dtype=np.int32)
        block[:, COLUMN["net"]] = nets[:, k]
        block[:, COLUMN["call_spots"]] = (spots[:, :k] << (4 * np.arange(k))).sum(axis=1)
        branches.append(block)
    tally = PerCallTally.from_records(branches, N_SPOTS)
    assert tally == PerCallTally.from_nets(nets, spots, N_SPOTS)
    assert tally.total_change == (nets[:, -1] - nets[:, 0]).sum() != 0
    assert tally.values.sum() == -tally.total_change
    assert tally.counts.sum() == n_calls.sum()
    np.testing.assert_array_equal(tally.counts[:most].sum(axis=1), (spots > 0).sum(axis=0))
    worth = nets[:, :-1] - nets[:, 1:]
    for spot in range(N_SPOTS):
        here = spots == spot + 1
        assert tally.squares[:, spot].sum() == (worth[here] ** 2).sum()
        by_possession = (worth * here).sum(axis=1)
        assert tally.cluster_yy[spot] == (by_possession**2).sum()
        assert tally.cluster_xy[spot] == (by_possession * here.sum(axis=1)).sum()


def test_a_branch_that_differs_without_a_call_is_refused() -> None:
    with pytest.raises(ValueError, match="no call was made"):
        PerCallTally.from_nets(np.array([[1, 2]]), np.array([[0]]), N_SPOTS)


def test_packed_spots_use_all_32_bits() -> None:
    records = np.zeros((1, N_RECORD), dtype=np.int32)
    records[0, COLUMN["call_spots"]] = np.array([0xF1234321], dtype=np.uint32).view(np.int32)[0]
    np.testing.assert_array_equal(spots_of_calls(records)[0], [1, 2, 3, 4, 3, 2, 1, 15])


@pytest.mark.parametrize(
    ("column", "value"),
    [("net", NET_HIGH + 1), ("net", NET_LOW - 1), ("end", len(ENDS)), ("points", -1),
     ("first_call", N_SPOTS + 1), ("outcome", len(OUTCOMES)), ("after", -1), ("call_spots", N_SPOTS + 1)],
)  # fmt: skip
def test_a_value_out_of_bounds_is_refused_not_miscounted(column: str, value: int) -> None:
    home = np.zeros((3, N_RECORD), dtype=np.int32)
    setting = home.copy()
    setting[1, COLUMN[column]] = value
    with pytest.raises(ValueError, match=column):
        PairTally.from_records(home, setting, N_SPOTS) and BoxTally.from_records(setting)


def test_blocks_of_the_wrong_form_are_refused() -> None:
    good = np.zeros((3, N_RECORD), dtype=np.int32)
    with pytest.raises(ValueError, match="shape"):
        BoxTally.from_records(good[:, 1:])
    with pytest.raises(ValueError, match="integers"):
        BoxTally.from_records(good.astype(float))
    with pytest.raises(ValueError, match="same possessions"):
        PairTally.from_records(good, good[:2], N_SPOTS)
    with pytest.raises(ValueError, match="same possessions"):
        count_pairs(good, good[:2])
    with pytest.raises(ValueError, match="different size"):
        PairTally.zero(2) + PairTally.zero(3)
    assert PairTally.zero(2).all_pairs.shape == (N_NET, N_NET)
