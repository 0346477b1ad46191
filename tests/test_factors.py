"""The split of a change by the four factors: exact sums, Shapley's axioms, jackknife against brute force."""

from dataclasses import fields, replace
from itertools import permutations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import t as student

from engine.estimate.factors import GROUPS, KEPT, PARTS, GroupTally, factor_change, shapley_split
from engine.estimate.intervals import Interval, student_quantile
from engine.estimate.play import FourFactors, four_factors, four_factors_points
from engine.estimate.tally import BoxTally
from engine.state.record import COLUMN, N_RECORD
from engine.state.words import ENDS

SHARE = st.floats(0.0, 1.0)
PARTS_AND_TRANSITION = (*PARTS, "transition")


def made(e: float, fg: float, t: float, o: float, r: float, x: float, m: float) -> FourFactors:
    points = four_factors_points(e, fg, t, o, r, x, m)
    return FourFactors(points, points / (2 * e + r) if e + r else 0.0, e, fg, t, o, r, x, m)


#: Any shares for which a possession ends; no basketball is asked of them.
FACTORS = st.builds(
    made, SHARE, st.floats(0.05, 1.0), SHARE, st.floats(0.0, 0.95), SHARE, SHARE, st.floats(0.0, 0.5)
)


def parts_of(before: FourFactors, after: FourFactors) -> dict[str, float]:
    split = shapley_split(before, after)
    return {name: getattr(split, name) for name in PARTS}


@given(FACTORS, FACTORS)
def test_the_parts_add_up_and_change_sign_when_turned_round(one: FourFactors, other: FourFactors) -> None:
    # Efficiency and symmetry: axioms of the value, Shapley LS (1953).
    there, back = parts_of(one, other), parts_of(other, one)
    change = other.points_per_possession - one.points_per_possession
    assert sum(there.values()) == pytest.approx(change, abs=1e-12 * max(1.0, abs(change)))
    assert shapley_split(one, other).total == pytest.approx(change, abs=1e-12 * max(1.0, abs(change)))
    for name in PARTS:
        assert there[name] == pytest.approx(-back[name], rel=1e-9, abs=1e-12)


@given(FACTORS, FACTORS, st.sampled_from(sorted(PARTS)))
def test_a_change_of_one_factor_belongs_to_it_alone(one: FourFactors, other: FourFactors, name: str) -> None:
    values = {field.name: getattr(one, field.name) for field in fields(one)}
    values |= {field: getattr(other, field) for field in PARTS[name]}
    points = four_factors_points(*(values[field.name] for field in fields(one)[2:]))
    after = replace(one, points_per_possession=points, **{field: values[field] for field in PARTS[name]})
    found = parts_of(one, after)
    assert found[name] == pytest.approx(points - one.points_per_possession, abs=1e-12)
    assert all(found[rest] == 0.0 for rest in PARTS if rest != name)


def test_only_turnovers_apart_give_everything_to_turnovers() -> None:
    # a = (1 - t) / (1 - .3 (1 - .45)) shots of 2 x .5 points: ten turnovers in 100 cost .1 / .835 points.
    found = parts_of(made(0.5, 0.45, 0.15, 0.3, 0.0, 0.0, 0.0), made(0.5, 0.45, 0.25, 0.3, 0.0, 0.0, 0.0))
    assert found["turnovers"] == pytest.approx(-0.1 / 0.835, abs=1e-15)
    assert [found[name] for name in PARTS if name != "turnovers"] == [0.0, 0.0, 0.0]


@given(FACTORS, FACTORS)
def test_the_parts_are_the_mean_over_all_orders(one: FourFactors, other: FourFactors) -> None:
    # The definition by orders instead of by subsets: 24 ways to go from one defence to the other.
    orders = list(permutations(PARTS))
    mean = dict.fromkeys(PARTS, 0.0)
    for order in orders:
        values = {field.name: getattr(one, field.name) for field in fields(one)[2:]}
        before = four_factors_points(*values.values())
        for name in order:
            values |= {field: getattr(other, field) for field in PARTS[name]}
            after = four_factors_points(*values.values())
            mean[name] += (after - before) / len(orders)
            before = after
    found = parts_of(one, other)
    assume(max(abs(value) for value in mean.values()) < 1e3)
    for name in PARTS:
        assert found[name] == pytest.approx(mean[name], abs=1e-11)


def test_a_mixture_without_an_end_is_refused() -> None:
    all_rebounded = made(0.5, 0.5, 0.1, 1.0, 0.1, 0.1, 0.0)
    none_made = made(0.0, 0.0, 0.1, 0.3, 0.1, 0.1, 0.0)
    with pytest.raises(ValueError, match="would not end"):
        shapley_split(all_rebounded, none_made)


# --- tallies and intervals ------------------------------------------------------------------------------


def possessions(rng: np.random.Generator, n: int, p_lost: float, p_make: float) -> np.ndarray:
    """Records with turnovers, twos and threes, rebounds, free throws and a drawn next possession.

    The generator is asked for equally many numbers whatever happens, so that two laws can share their luck.
    """
    records = np.zeros((n, N_RECORD), np.int32)

    def column(name: str) -> np.ndarray:
        return records[:, COLUMN[name]]

    lost = rng.random(n) < p_lost
    open_play = ~lost
    second = open_play & (rng.random(n) < 0.25)
    column("fga")[:] = open_play + second.astype(int)
    column("fgm")[:] = open_play & (rng.random(n) < p_make)
    missed = open_play & (column("fgm") == 0)
    column("three_made")[:] = (column("fgm") == 1) & (rng.random(n) < 0.3)
    column("oreb")[:] = second
    column("dreb")[:] = missed
    column("ftm")[:] = open_play * rng.integers(0, 3, size=n)
    column("points")[:] = 2 * column("fgm") + column("three_made") + column("ftm")
    column("net")[:] = column("points") - np.where(lost & (rng.random(n) < 0.4), 2, 0)
    column("end")[:] = np.where(
        lost, ENDS.index("turnover"), np.where(missed, ENDS.index("defensive_rebound"), 0)
    )
    column("end")[lost & (rng.random(n) < 0.2)] = ENDS.index("shot_clock")
    return records


def toy(n: int = 400, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Home and a setting with more turnovers and better shots against it, on common luck."""
    home = possessions(np.random.default_rng(seed), n, 0.14, 0.44)
    return home, possessions(np.random.default_rng(seed), n, 0.22, 0.49)


def plain(home: np.ndarray, setting: np.ndarray) -> list[float]:
    """The parts, transition and points worked out from the box scores of the records."""
    one, other = (four_factors(BoxTally.from_records(records)) for records in (home, setting))
    assert one is not None and other is not None
    found = parts_of(one, other)
    mean = {
        name: setting[:, COLUMN[name]].mean() - home[:, COLUMN[name]].mean() for name in ("points", "net")
    }
    return [*found.values(), mean["net"] - mean["points"], mean["points"]]


def test_the_groups_hold_the_four_factors_of_the_box() -> None:
    home, setting = toy()
    for records in (home, setting):
        n, total = GroupTally.from_records(home, records, 0).total()
        box = BoxTally.from_records(records)
        assert n == box.n and {name: box.total(name) for name in KEPT[:-1]} == {
            name: total[name] for name in KEPT[:-1]
        }
        assert total["lost"] == box.ends_by_name()["turnover"] + box.ends_by_name()["shot_clock"] > 0


def test_the_jackknife_is_brute_force() -> None:
    """Every group of possessions taken out of the records of both sides, and the box scores made again."""
    home, setting = toy(4000)
    found = factor_change(*(GroupTally.from_records(home, one, 0) for one in (home, setting)))
    group = np.arange(len(home)) % GROUPS
    whole = plain(home, setting)
    again = np.array([plain(home[group != g], setting[group != g]) for g in range(GROUPS)])
    se = np.sqrt((GROUPS - 1) / GROUPS * ((again - again.mean(axis=0)) ** 2).sum(axis=0))
    half = student.ppf(0.975, GROUPS - 1) * se
    for name, mean, width in zip((*PARTS_AND_TRANSITION, "points"), whole, half, strict=True):
        part = getattr(found, name)
        assert part.mean == pytest.approx(mean, abs=1e-12), name
        assert part.high - part.mean == pytest.approx(width, rel=1e-9), name
        assert part.mean - part.low == pytest.approx(width, rel=1e-9), name
    assert found.turnovers.high < 0 < found.shooting.mean
    assert sum(getattr(found, name).mean for name in PARTS) == pytest.approx(found.points.mean, abs=1e-12)


def test_the_interval_of_the_points_holds_the_truth_as_often_as_it_says() -> None:
    # 300 runs of 2400 paired possessions; the truth by one run of a million. 4 standard errors of a share.
    truth = plain(*toy(1_000_000, 99))
    runs, hits = 300, np.zeros(6)
    for run in range(runs):
        home, setting = toy(2400, 1000 + run)
        found = factor_change(*(GroupTally.from_records(home, one, 0) for one in (home, setting)))
        for i, name in enumerate((*PARTS_AND_TRANSITION, "points")):
            part = getattr(found, name)
            hits[i] += part.low <= truth[i] <= part.high
    assert hits / runs == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / runs))


def test_common_luck_narrows_the_intervals() -> None:
    home, setting = toy(4000)
    other = possessions(np.random.default_rng(2), 4000, 0.22, 0.49)
    tallies = [GroupTally.from_records(home, records, 0) for records in (home, setting, other)]
    shared, apart = factor_change(tallies[0], tallies[1]), factor_change(tallies[0], tallies[2])
    assert apart.points.high - apart.points.low > 1.4 * (shared.points.high - shared.points.low)


def test_groups_do_not_depend_on_blocks() -> None:
    home, _ = toy(999)
    whole = GroupTally.from_records(home, home, 0)
    cuts = [0, 1, 17, 400, 400, 999]
    parts = [GroupTally.from_records(home[a:b], home[a:b], a) for a, b in zip(cuts, cuts[1:], strict=False)]
    total = parts[0]
    for part in parts[1:]:
        total = total + part
    assert total == whole
    assert GroupTally.zero() + whole == whole
    assert whole.n.sum() == 999 and whole.n.max() - whole.n.min() == 1
    assert GroupTally.from_records(home, home, 1) != whole


def test_nothing_and_too_little_give_none_never_nan() -> None:
    nothing = factor_change(GroupTally.zero(), GroupTally.zero())
    assert set(nothing.as_dict()) == {*PARTS_AND_TRANSITION, "points"}
    assert all(part == {"mean": None, "low": None, "high": None} for part in nothing.as_dict().values())
    home, setting = toy(1, seed=3)
    home[:, COLUMN["fga"]] = setting[:, COLUMN["fga"]] = 1
    one = factor_change(*(GroupTally.from_records(home, one, 0) for one in (home, setting)))
    assert one.points.mean is not None and one.points.low is None
    # A run of which one part of the possessions holds all the shots has means, but no interval.
    home, setting = toy(400)
    for records in (home, setting):
        others = np.arange(400) % GROUPS != 5
        records[others] = 0
        records[others, COLUMN["end"]] = ENDS.index("turnover")
    found = factor_change(*(GroupTally.from_records(home, one, 0) for one in (home, setting)))
    assert found.shooting.mean is not None and found.shooting.low is None


def test_the_same_branch_changes_nothing() -> None:
    groups = GroupTally.from_records(toy()[0], toy()[0], 0)
    for part in factor_change(groups, groups).as_dict().values():
        assert part == {"mean": 0.0, "low": 0.0, "high": 0.0}


def test_few_possessions_that_differ_bear_no_interval() -> None:
    """20 possessions turned over instead of scored in: a change, but nothing to tell its width from."""
    home, _ = toy(2000)
    for changed, known in ((20, False), (60, True)):
        setting = home.copy()
        rows = np.flatnonzero(home[:, COLUMN["points"]] == 2)[:changed]
        setting[rows, COLUMN["points"]] = setting[rows, COLUMN["net"]] = 0
        setting[rows, COLUMN["fgm"]] = 0
        found = factor_change(*(GroupTally.from_records(home, one, 0) for one in (home, setting)))
        assert found.points.mean < 0 and (found.points.low is not None) == known
        assert (found.shooting.low is not None) == known
        assert found.transition == Interval(0.0, 0.0, 0.0), "it differs nowhere"


def test_student_quantiles() -> None:
    # Tables of Student's t, two-sided 95%, from memory: 12.706 (1), 2.228 (10), 2.023 (39).
    for degrees, quantile in ((1, 12.706), (10, 2.228), (39, 2.023)):
        assert student_quantile(0.95, degrees) == pytest.approx(quantile, abs=5e-4)
        assert student_quantile(0.95, degrees) == pytest.approx(student.ppf(0.975, degrees), rel=1e-12)
    for level, degrees in ((1.0, 5), (0.0, 5), (0.95, 0)):
        with pytest.raises(ValueError, match="degrees"):
            student_quantile(level, degrees)
