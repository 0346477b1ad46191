"""The slope of makes on the clock within classes of distance and gap: beside a general-purpose library."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from engine.estimate.intervals import NOTHING
from engine.state.record import COLUMN, N_RECORD, SHOT_BANDS_M
from engine.study.levels import GAP_CLASS_MM, N_GAPS, WIDTH, RateTally, make_by_clock


def shots(n: int) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Records of ``n`` possessions with one attempt each, made the more often the more time there is."""
    draw = np.random.default_rng(4)
    band, gap = draw.integers(0, len(SHOT_BANDS_M) + 1, n), draw.integers(0, 5000, n)
    left = draw.integers(0, 24_000, n)
    made = (draw.random(n) < 0.3 + 0.05 * (gap > 1500) - 0.02 * band + 0.005 * left / 1000).astype(int)
    records = np.zeros((n, N_RECORD), np.int32)
    for name, values in (("fga", 1), ("fgm", made), ("shot_clock_left_ms", left), ("three_gap_mm", gap)):
        records[:, COLUMN[name]] = values
    for number in range(len(SHOT_BANDS_M) + 1):
        records[:, COLUMN[f"band{number}_att"]] = band == number
    kind = band * N_GAPS + np.minimum(gap // GAP_CLASS_MM, N_GAPS - 1)
    return records, {"made": made, "left": left // 1000, "kind": kind}


def test_the_slope_is_that_of_least_squares_with_a_level_for_each_class() -> None:
    """statsmodels (OLS with dummies) gives the same slope and standard error, to rounding."""
    records, data = shots(6_000)
    records[:50, COLUMN["fga"]] = 2  # two attempts: not known which the clock is of
    records[50:80, COLUMN["shot_clock_left_ms"]] = -1
    kept = {name: values[80:] for name, values in data.items()}
    found = make_by_clock(RateTally.from_records(records).by_clock)
    model = smf.ols("made ~ left + C(kind)", pd.DataFrame(kept)).fit()
    assert found.mean == pytest.approx(model.params["left"], rel=1e-9)
    assert found.high is not None and found.low is not None
    assert (found.high - found.low) / WIDTH == pytest.approx(model.bse["left"], rel=1e-9)
    assert found.low < 0.005 < found.high


def test_tallies_of_parts_add_up_and_nothing_has_no_slope() -> None:
    records, _ = shots(400)
    parts = [RateTally.from_records(part) for part in (records[:150], records[150:])]
    assert (sum(part.by_clock for part in parts) == RateTally.from_records(records).by_clock).all()
    assert make_by_clock(RateTally.from_records(records[:1]).by_clock) == NOTHING
