"""Intervals and bias of the risk over several calls: coverage on a law that is known, and many calls."""

import numpy as np
import pytest
from test_estimate import pair_law

from engine.estimate.risk import LIMITED, Limits, over_n


def test_the_risk_of_few_calls_is_corrected_and_covered() -> None:
    """400 runs of 150 called possessions from a known law: the interval about the figure less its bias holds
    the truth about as often as it says (a normal one of so few misses a little more), and the bias told is
    that of the figures, which are too bright: a bad night is understated."""
    rng, runs, n = np.random.default_rng(21), 400, 10
    law = pair_law(rng).sum(axis=0)
    truth = over_n(np.rint(law * 10**9).astype(np.int64), n)
    hits, told, seen = dict.fromkeys(LIMITED, 0), [], []
    for _ in range(runs):
        found = over_n(rng.multinomial(150, law.ravel()).reshape(law.shape), n)
        for name in LIMITED:
            limits = found.limits[name].interval
            hits[name] += limits.low <= getattr(truth, name) <= limits.high
        told.append(found.limits["worst_5_percent"].bias)
        seen.append(found.worst_5_percent - truth.worst_5_percent)
    for name in LIMITED:
        assert hits[name] / runs == pytest.approx(0.94, abs=0.05), name
    error = np.std(seen) / np.sqrt(runs)
    assert np.mean(told) < 0 and np.mean(told) == pytest.approx(np.mean(seen), abs=4 * error)
    few = over_n(rng.multinomial(40, law.ravel()).reshape(law.shape), n)
    assert few.worst_5_percent is not None and few.limits["worst_5_percent"] == Limits()


def test_ten_thousand_calls_are_no_more_work_than_a_handful() -> None:
    law = pair_law(np.random.default_rng(8)).sum(axis=0)
    found = over_n(np.rint(law * 10**6).astype(np.int64), 10_000)
    assert 0.0 <= found.p_worse <= 1.0 and found.worst_5_percent_home > 0.0
    assert found.limits["worst_5_percent_home"].interval.low > 0.0
