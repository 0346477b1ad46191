"""Closed forms of engine.estimate.intervals against published values, scipy, statsmodels and brute force."""

import dataclasses
import itertools
import json
import subprocess
import sys

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import DescrStatsW

from engine.estimate.calls import PairTally, call_value
from engine.estimate.intervals import (
    LEAST_EVENTS,
    MOST_DIRECT,
    Interval,
    cvar,
    if_enough,
    mean_interval,
    normal_interval,
    normal_quantile,
    ratio_interval,
    skewed_interval,
    sum_distribution,
    sum_distributions,
    wilson,
)
from engine.estimate.tally import N_NET
from engine.state.words import AFTER, OUTCOMES


@pytest.mark.parametrize("level", [0.5, 0.8, 0.95, 0.999])
def test_normal_quantile_is_scipys(level: float) -> None:
    assert normal_quantile(level) == pytest.approx(stats.norm.ppf(0.5 + level / 2), rel=1e-12)


@pytest.mark.parametrize("level", [0.0, 1.0, -0.1, 95.0])
def test_a_level_outside_0_to_1_is_refused(level: float) -> None:
    with pytest.raises(ValueError, match="level"):
        normal_quantile(level)


def test_mean_interval_is_that_of_statsmodels() -> None:
    rng = np.random.default_rng(1)
    draws = rng.integers(-3, 9, size=1001)
    values = np.arange(-3, 9)
    hist = np.bincount(draws + 3, minlength=12)
    found = mean_interval(hist, values, 0.9)
    low, high = DescrStatsW(draws).zconfint_mean(alpha=0.1)
    assert found.mean == pytest.approx(draws.mean(), rel=1e-13)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-10)


def test_mean_interval_does_not_cancel_at_large_counts() -> None:
    # 10^9 possessions, all 3 but one 4: variance = (n - 1) / n^2 * n / (n - 1) = 1 / n exactly.
    n = 10**9
    found = normal_interval(n, 3 * n + 1, 9 * n + 7, 0.95)
    assert found.mean is not None and found.high is not None
    half = normal_quantile(0.95) * np.sqrt(1 / n / n)
    assert found.high - found.mean == pytest.approx(half, rel=1e-6)


def test_nothing_and_one_possession_have_no_interval() -> None:
    assert normal_interval(0, 0, 0) == Interval(None, None, None)
    assert normal_interval(1, 2, 4) == Interval(2.0, None, None)
    assert wilson(0, 0) == Interval(None, None, None)
    assert ratio_interval(0, 0, 0, 0, 0, 9) == Interval(None, None, None)
    assert ratio_interval(1, 2, 1, 2, 4, 1) == Interval(0.5, None, None)
    assert json.dumps(wilson(0, 0).as_dict(), allow_nan=False) == '{"mean": null, "low": null, "high": null}'


@pytest.mark.parametrize(
    ("k", "n", "low", "high"),
    # Newcombe RG (1998) Statistics in Medicine 17:857-872, score method; the pairs k, n are from memory.
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
        (29, 29, 0.8830, 1.0),
    ],
)
def test_wilson_gives_the_published_limits(k: int, n: int, low: float, high: float) -> None:
    found = wilson(k, n)
    assert (found.low, found.high) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
def test_wilson_is_that_of_statsmodels(level: float) -> None:
    for n in (1, 2, 7, 40, 12345):
        for k in {0, 1, n // 3, n // 2, n - 1, n}:
            found = wilson(k, n, level)
            expected = proportion_confint(k, n, alpha=1 - level, method="wilson")
            assert (found.low, found.high) == pytest.approx(expected, abs=1e-12)
        assert wilson(0, n, level).low == 0.0 and wilson(n, n, level).high == 1.0  # exactly
    with pytest.raises(ValueError, match="k must lie"):
        wilson(3, 2)


def test_wilson_holds_its_level_on_average() -> None:
    # Exact coverage at one n, averaged over p: known to lie close to the level (Newcombe 1998: .952 at 95%).
    n = 50
    limits = [wilson(k, n) for k in range(n + 1)]
    grid = np.linspace(0.005, 0.995, 199)
    covers = [
        sum(stats.binom.pmf(k, n, p) for k, f in enumerate(limits) if f.low <= p <= f.high) for p in grid
    ]
    assert np.mean(covers) == pytest.approx(0.952, abs=0.005)


def test_ratio_interval_is_the_written_formula_and_covers() -> None:
    rng = np.random.default_rng(2)
    n, repeats, truth = 400, 1000, 0.45
    hits = 0
    for repeat in range(repeats):
        # Clusters: 0 to 3 shots of one quality each, so shots of one possession are alike.
        x = rng.integers(0, 4, size=n)
        y = rng.binomial(x, rng.choice([truth - 0.25, truth + 0.25], size=n))
        found = ratio_interval(*(int(v) for v in (y.sum(), x.sum(), y @ y, x @ y, x @ x)), n)
        assert found.low is not None and found.high is not None
        hits += found.low <= truth <= found.high
        if repeat < 5:
            r = y.sum() / x.sum()
            se = np.sqrt(((y - r * x) ** 2).sum() / x.sum() ** 2 * n / (n - 1))
            assert (found.mean, found.high) == pytest.approx((r, r + normal_quantile(0.95) * se), rel=1e-12)
    assert hits / repeats == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / repeats))


def test_ratio_of_one_trial_each_is_a_mean() -> None:
    y = np.array([0, 1, 1, 2, 0, 3, 3])
    as_ratio = ratio_interval(int(y.sum()), 7, int(y @ y), int(y.sum()), 7, 7)
    as_mean = normal_interval(7, int(y.sum()), int(y @ y))
    assert (as_ratio.mean, as_ratio.low, as_ratio.high) == pytest.approx(
        (as_mean.mean, as_mean.low, as_mean.high), rel=1e-12
    )


def test_a_skewed_interval_without_skew_is_students_and_inverts_halls_transformation() -> None:
    draws = np.random.default_rng(5).normal(size=31)
    error = draws.std(ddof=1) / np.sqrt(31)
    found = skewed_interval(float(draws.mean()), float(error), 0.0, 31, 0.9)
    assert (found.low, found.high) == pytest.approx(DescrStatsW(draws).tconfint_mean(alpha=0.1), abs=1e-12)
    for skew in (-0.9, -0.2, 1e-6, 0.3, 1.0):
        found = skewed_interval(5.0, 2.0, skew, 31, 0.9)
        for limit, z in ((found.low, 1), (found.high, -1)):
            t = (5.0 - limit) / 2.0
            g = t + skew * t**2 / 3 + skew**2 * t**3 / 27 + skew / 6  # as Hall writes it
            assert g == pytest.approx(z * stats.t.ppf(0.95, 30), abs=1e-6)


@pytest.mark.parametrize(
    ("law", "truth", "normal_holds"),
    # The long tail of exponential draws, two heaps (most men near, one in ten far off), and no skew at all.
    [
        (lambda rng, size: rng.exponential(size=size), 1.0, False),
        (lambda rng, size: 1.8 + 0.1 * rng.normal(size=size) + 3.5 * (rng.random(size) < 0.1), 2.15, False),
        (lambda rng, size: rng.normal(size=size), 0.0, True),
    ],
)
def test_a_skewed_interval_holds_its_level_with_few_events(law, truth: float, normal_holds: bool) -> None:
    runs, events = 4000, 40
    draws = law(np.random.default_rng(6), (runs, events))
    means, deviations = draws.mean(axis=1), draws - draws.mean(axis=1, keepdims=True)
    squares = (deviations**2).sum(axis=1)
    errors, skews = np.sqrt(squares / events / (events - 1)), (deviations**3).sum(axis=1) / squares**1.5
    found = [skewed_interval(*map(float, of), events) for of in zip(means, errors, skews, strict=True)]
    low, high = (np.array([getattr(one, side) for one in found]) for side in ("low", "high"))
    holds, normal = (low <= truth) & (truth <= high), np.abs(means - truth) <= 1.96 * errors
    assert 0.93 <= holds.mean() <= 0.975, "standard error .0035"
    assert (normal.mean() >= 0.93) == normal_holds


@pytest.mark.parametrize("n", [1, 2, 3, 5, 6])
def test_sum_distribution_is_brute_force_enumeration(n: int) -> None:
    pmf = np.array([0.1, 0.45, 0.05, 0.4])
    brute = np.zeros(3 * n + 1)
    for outcome in itertools.product(range(4), repeat=n):
        brute[sum(outcome)] += np.prod(pmf[list(outcome)])
    np.testing.assert_allclose(sum_distribution(pmf, n), brute, rtol=1e-12)


def test_sum_distribution_of_coins_is_binomial_far_into_the_tail() -> None:
    found = sum_distribution(np.array([0.7, 0.3]), 301)
    np.testing.assert_allclose(found, stats.binom.pmf(np.arange(302), 301, 0.3), rtol=1e-9)
    assert found[-1] == pytest.approx(0.3**301, rel=1e-9)
    with pytest.raises(ValueError, match="1 or more"):
        sum_distribution(np.array([0.7, 0.3]), 0)


def test_many_draws_are_summed_by_a_transform_that_agrees() -> None:
    law = np.array([0.55, 0.02, 0.3, 0.13])
    for n in (3, MOST_DIRECT, MOST_DIRECT + 1):
        direct, fast = sum_distribution(law, n), sum_distributions(law[None, :], n)[0]
        np.testing.assert_allclose(fast, direct, atol=1e-12 * n)
        assert fast.sum() == pytest.approx(1.0, abs=1e-14) and fast.min() >= 0.0
    far = sum_distribution(law, 10_000)
    mean = 10_000 * law @ np.arange(4)
    assert len(far) == 30_001 and far @ np.arange(30_001) == pytest.approx(mean, rel=1e-9)


def test_an_interval_rests_on_enough_events() -> None:
    found = Interval(0.5, 0.4, 0.6)
    assert if_enough(found, LEAST_EVENTS) == found
    assert if_enough(found, LEAST_EVENTS - 1) == Interval(0.5)


def _grid(law: object, low: float, high: float, n: int = 400_001) -> tuple[np.ndarray, np.ndarray]:
    edges = np.linspace(low, high, n + 1)
    mass = np.diff(law.cdf(edges))
    return (edges[1:] + edges[:-1]) / 2, mass / mass.sum()


@pytest.mark.parametrize(
    ("law", "low", "high", "level", "expected"),
    # Closed forms: phi(z)/(1-level), 1 - ln(1-level), (1+level)/2; Rockafellar & Uryasev (2000) J Risk 2:21.
    [
        (stats.norm, -9, 9, 0.90, 1.754983),
        (stats.norm, -9, 9, 0.95, 2.062713),
        (stats.norm, -9, 9, 0.99, 2.665214),
        (stats.expon, 0, 40, 0.95, 3.995732),
        (stats.uniform, 0, 1, 0.95, 0.975),
    ],
)
def test_cvar_meets_the_closed_forms(law, low: float, high: float, level: float, expected: float) -> None:
    values, mass = _grid(law, low, high)
    assert cvar(values, mass, level) == pytest.approx(expected, abs=2e-6)


def test_cvar_splits_the_atom_at_the_quantile() -> None:
    # Worst 5% of {0: .5, 2: .47, 3: .03} is 3 with .03 and 2 with the remaining .02: (.09 + .04) / .05.
    values, mass = np.array([0, 2, 3]), np.array([0.5, 0.47, 0.03])
    assert cvar(values, mass, 0.95) == pytest.approx(2.6, rel=1e-12)
    assert cvar(values, mass, 0.0) == pytest.approx(values @ mass, rel=1e-12)
    assert cvar(values, mass, 0.99) == 3.0


def test_cvar_is_the_minimum_of_rockafellar_and_uryasev() -> None:
    # CVaR = min over c of c + E max(X - c, 0) / (1 - level); piecewise linear, so the minimum is at an atom.
    rng = np.random.default_rng(3)
    for level in (0.5, 0.9, 0.95, 0.99):
        values = np.arange(-3, 9)
        mass = rng.dirichlet(np.full(12, 0.4))
        best = min(c + np.maximum(values - c, 0) @ mass / (1 - level) for c in values)
        assert cvar(values, mass, level) == pytest.approx(best, rel=1e-10, abs=1e-10)


def test_cvar_of_a_sample_is_the_mean_of_its_worst() -> None:
    # Acerbi & Tasche (2002): with level * n whole, the mean of the n (1 - level) largest.
    sample = np.sort(np.random.default_rng(4).normal(size=2000))
    assert cvar(sample, np.full(2000, 1 / 2000), 0.95) == pytest.approx(sample[-100:].mean(), rel=1e-9)


def test_cvar_refuses_nonsense() -> None:
    with pytest.raises(ValueError, match="level"):
        cvar(np.array([1, 2]), np.array([0.5, 0.5]), 1.0)
    with pytest.raises(ValueError, match="ascending"):
        cvar(np.array([2, 1]), np.array([0.5, 0.5]), 0.9)


def test_importing_the_estimates_stays_light() -> None:
    heavy = ("scipy", "numba", "pandas", "pydantic")
    code = f"import sys, engine.estimate.calls; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("calls", [2, LEAST_EVENTS - 1, LEAST_EVENTS, 400])
def test_calls_that_never_changed_anything_have_a_range_only_if_they_are_many(calls: int) -> None:
    joint = np.zeros((1, len(OUTCOMES), len(AFTER), N_NET, N_NET), dtype=np.int64)
    joint[0, OUTCOMES.index("escape_pass"), AFTER.index("reset"), 3, 3] = calls
    found = call_value(dataclasses.replace(PairTally.zero(1), n=9_000, joint=joint))
    limit = 0.0 if calls >= LEAST_EVENTS else None
    assert (found.mean, found.low, found.high) == (0.0, limit, limit)
