"""The selection procedure on synthetic normals that share their luck: the promised rate of correct selection.

Rates are held to binomial bands with fixed seeds; a procedure with a tenth of its constant falls out of them.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
from scipy.stats import binom, norm

from engine.estimate import selection
from engine.estimate.selection import Draw, difference_variances, procedure_constant, select

REPETITIONS = 400
FIRST = 10
DELTA = 0.5


def normals(means: Any, shared: float, seed: int, own_sd: float = 1.0) -> Draw:
    """Observations mean + shared * common luck + own luck; observation n is the same however asked for."""
    means = np.asarray(means, dtype=float)

    def draw(systems: Any, start: int, count: int) -> Any:
        columns = []
        for n in range(start, start + count):
            luck = np.random.default_rng((seed, n)).standard_normal(len(means) + 1)
            columns.append(means[systems] + shared * luck[-1] + own_sd * luck[systems])
        return np.column_stack(columns)

    return draw


def chosen(means: Any, shared: float, confidence: float, delta: float = DELTA) -> list[int]:
    return [
        select(normals(means, shared, seed), len(means), delta, confidence, FIRST, 10**9).best
        for seed in range(REPETITIONS)
    ]


def least_hits(p: float) -> int:
    """Hits that a procedure with a true rate of at least p misses less than once in 10,000 times."""
    return int(binom.ppf(1e-4, REPETITIONS, p))


SLIPPAGE = [DELTA, *[0.0] * 7]


@pytest.mark.parametrize(("shared", "confidence"), [(2.0, 0.95), (0.0, 0.95), (2.0, 0.75)])
def test_the_best_by_just_delta_is_selected_as_often_as_promised(shared: float, confidence: float) -> None:
    """Slippage configuration: one system ahead by delta, all others alike; the hardest case of the proof."""
    hits = sum(best == 0 for best in chosen(SLIPPAGE, shared, confidence))
    assert hits >= least_hits(confidence)


def test_a_tenth_of_the_constant_breaks_the_promise(monkeypatch: pytest.MonkeyPatch) -> None:
    """The band above is one that a wrong procedure leaves."""
    monkeypatch.setattr(selection, "procedure_constant", lambda *given: procedure_constant(*given) / 10.0)
    hits = sum(best == 0 for best in chosen(SLIPPAGE, 2.0, 0.95))
    assert hits < least_hits(0.95)


def test_one_of_those_within_delta_is_selected() -> None:
    """Two are within delta of the best, five are not: which of the three is chosen does not matter."""
    means = [0.0, -0.2 * DELTA, -0.6 * DELTA, *[-1.2 * DELTA] * 5]
    hits = sum(best in (0, 1, 2) for best in chosen(means, 1.0, 0.95))
    assert hits >= least_hits(0.95)


def test_common_luck_saves_observations_and_changes_no_choice() -> None:
    """What all systems share cancels in every difference, so it changes neither the choice nor the effort."""
    means = [0.3, 0.0, -0.4, -1.0]
    for seed in range(20):
        alone = select(normals(means, 0.0, seed), 4, DELTA, 0.95, FIRST, 10**9)
        common = select(normals(means, 50.0, seed), 4, DELTA, 0.95, FIRST, 10**9)
        assert (common.best, common.used, common.left) == (alone.best, alone.used, alone.left)


def test_clear_losers_are_dropped_first() -> None:
    means = [0.0, -1.0, -2.0, -4.0, -8.0]
    found = [select(normals(means, 1.0, seed), 5, DELTA, 0.95, FIRST, 10**9) for seed in range(60)]
    average = np.mean([one.observed for one in found], axis=0)
    assert all(earlier < later for later, earlier in itertools.pairwise(average[1:]))
    assert all(one.best == 0 and one.decided and one.within == DELTA for one in found)
    assert all(one.dropped_at[i] == one.observed[i] for one in found for i in range(1, 5))


def test_the_constant_by_its_defining_equation() -> None:
    """c = 1: (1 + 2 eta)^(-(n0 - 1) / 2) / 2 = alpha / (k - 1) (Kim & Nelson 2001, from memory)."""
    for k, first, confidence in itertools.product((2, 10, 120), (5, 10, 40), (0.8, 0.95, 0.99)):
        eta = procedure_constant(k, first, confidence) / (2.0 * (first - 1))
        assert math.isclose(0.5 * (1.0 + 2.0 * eta) ** (-(first - 1) / 2.0), (1.0 - confidence) / (k - 1))


def test_variances_of_differences_are_those_of_the_pairs() -> None:
    x = np.random.default_rng(3).standard_normal((4, 12)) @ np.diag(np.linspace(1.0, 3.0, 12))
    found = difference_variances(x)
    for i, j in itertools.product(range(4), repeat=2):
        assert math.isclose(found[i, j], float(np.var(x[i] - x[j], ddof=1)), abs_tol=1e-12)


def test_cut_short_it_says_so_and_how_far_behind_the_chosen_one_can_be() -> None:
    """Not decided: the limit holds the true difference as often as promised."""
    means = [0.2, *[0.0] * 7]
    hits = 0
    for seed in range(REPETITIONS):
        found = select(normals(means, 1.0, seed), 8, 0.01, 0.95, FIRST, 8 * 25)
        assert not found.decided and 0 < found.used <= 8 * 25 and found.best in found.left
        assert found.within is not None
        hits += max(means) - means[found.best] <= found.within
    assert hits >= least_hits(0.95)


def test_the_limit_of_a_cut_is_the_one_worked_out_by_hand() -> None:
    """Two systems, 9 observations each: mean difference plus t(8), one-sided 95 %, times its error."""
    rows = np.array(
        [[1.0, 2.0, 0.0, 1.5, 1.0, 0.5, 2.5, 1.0, 0.5], [0.8, 2.5, 0.1, 1.0, 1.1, 0.4, 2.0, 1.2, 0.6]]
    )
    found = select(lambda who, start, n: rows[who][:, start : start + n], 2, 1e-3, 0.95, 9, 18)
    d = rows[1] - rows[0]
    assert not found.decided and found.best == 0
    assert found.within == pytest.approx(d.mean() + 1.8595 * d.std(ddof=1) / 3.0, abs=1e-4)


def test_two_systems_that_are_the_same_end_at_once() -> None:
    def same(systems: Any, start: int, count: int) -> Any:
        luck = np.random.default_rng(1).standard_normal(50)[start : start + count]
        return np.tile(luck, (len(systems), 1))

    found = select(same, 3, DELTA, 0.95, FIRST, 10**9)
    assert (found.best, found.decided, found.used) == (0, True, 30)


def test_means_and_errors_are_those_of_what_was_seen() -> None:
    draw = normals([0.0, -3.0], 1.0, 5)
    found = select(draw, 2, DELTA, 0.95, FIRST, 10**9)
    for i in range(2):
        x = draw(np.array([i]), 0, int(found.observed[i]))[0]
        assert found.mean[i] == pytest.approx(x.mean())
        assert found.error[i] == pytest.approx(x.std(ddof=1) / math.sqrt(len(x)))
    assert norm.sf(abs(found.mean[1] + 3.0) / found.error[1]) > 1e-6


@pytest.mark.parametrize(
    "wrong", [{"k": 0}, {"delta": 0.0}, {"confidence": 1.0}, {"confidence": 0.2}, {"first": 1}]
)
def test_what_cannot_be_asked(wrong: dict[str, Any]) -> None:
    asked = {"k": 4, "delta": 0.5, "confidence": 0.95, "first": 10, "most": 1000} | wrong
    with pytest.raises(ValueError, match="got"):
        select(normals([0.0] * 4, 1.0, 1), **asked)
