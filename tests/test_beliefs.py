"""Beliefs are fits to decisions and what came of them: what was put in comes out (closed form)."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from engine.inputs import load_constants
from engine.kernel.worth import SCREEN_PLACE
from engine.state.words import Region
from engine.study.beliefs import LUCK_POINTS, PHASE_NAMES, carrying_on, fit, moved

NOW = {name: constant.value for name, constant in load_constants().items()}
VALUE, TAU_S = 1.1, 3.0
MORE = (-0.05, -0.3, -0.2, 0.1)  # of a hold, by phase
N = 20_000


def rows(kind: str, phase: int, more: float, n: int, rng: np.random.Generator) -> pd.DataFrame:
    """Decisions of one kind in one phase that bring ``more`` than an attack with that clock, with luck."""
    left = rng.uniform(1.0, 24.0, n)
    points = carrying_on(left, VALUE, TAU_S) + more + LUCK_POINTS * rng.standard_normal(n)
    numbers = {name: math.nan for name in ("lost", "gap_m", "shot_m", "made", "raw", "forecast_m")}
    return pd.DataFrame(
        {
            "kind": kind,
            "phase": phase,
            "left_s": left,
            "stale_s": 0.0,
            "points": points,
            "believed": 0.0,
            "place": 0,
        }
        | {"passed_out": False}
        | numbers
    )


def test_what_holding_brings_is_found_in_every_phase() -> None:
    """At home passes make up for the holds, so that an attack that goes on brings VALUE over both; six
    standard errors of a mean of N draws."""
    rng = np.random.default_rng(5)
    played = [rows("hold", phase, more, N, rng) for phase, more in enumerate(MORE)]
    played.append(rows("pass", 0, -MORE[0], N, rng))
    found = fit(pd.concat(played, ignore_index=True), played[0][:0], NOW)
    error = 6.0 * LUCK_POINTS / math.sqrt(N)
    assert found["hold_value_points"] == pytest.approx(VALUE, abs=error)
    for name, more in zip(PHASE_NAMES, MORE, strict=True):
        assert found[f"belief_hold_{name}points"] == pytest.approx(more, abs=error)


def test_too_few_rows_leave_a_belief_as_it_was() -> None:
    few = rows("hold", 0, 0.5, 50, np.random.default_rng(5))
    assert fit(few, few[:0], NOW) == {}
    home = rows("hold", 0, 0.0, N, np.random.default_rng(6))
    names = [name for name in fit(pd.concat([home, few.assign(phase=2)]), few[:0], NOW) if "hold_" in name]
    assert names == ["hold_value_points", "hold_tau_s", "belief_hold_points"]


def test_a_lost_pass_is_feared_as_it_is_lost() -> None:
    """Logistic regression on the risk's log odds: slope and offset come back, four standard errors."""
    rng = np.random.default_rng(7)
    passes = rows("pass", 0, 0.0, N, rng)
    passes["raw"] = rng.uniform(0.02, 0.5, N)
    z = np.log(passes["raw"] / (1.0 - passes["raw"]))
    passes["lost"] = (rng.random(N) < 1.0 / (1.0 + np.exp(-(0.6 * z - 0.4)))).astype(float)
    passes[["promise", "ahead"]] = 0.0
    found = fit(rows("shot", 0, 0.0, N, rng), passes, NOW)
    assert found["belief_loss_slope"] == pytest.approx(0.6, abs=4 * 0.02)
    assert found["belief_loss_home"] == pytest.approx(-0.4, abs=4 * 0.04)


def test_what_the_ball_is_worth_at_a_place_is_found() -> None:
    """Least squares: passes to a corner bring less, to a wing as much as anywhere; four standard errors."""
    rng = np.random.default_rng(8)
    corner = rows("pass", 0, -0.3, N, rng).assign(place=int(Region.CORNER))
    wing = rows("pass", 0, 0.0, N, rng).assign(place=int(Region.WING))
    passes = pd.concat([corner, wing], ignore_index=True)
    passes[["promise", "ahead"]] = rng.standard_normal((2 * N, 2))
    passes[["lost", "raw"]] = 0.0, 0.1
    found = fit(passes[:0], passes, {**NOW, "hold_value_points": VALUE, "hold_tau_s": TAU_S})
    apart = found["worth_corner_points"] - found["worth_wing_points"]
    assert apart == pytest.approx(-0.3, abs=4.0 * LUCK_POINTS * math.sqrt(2.0 / N))
    assert found["worth_top_points"] == 0.0


def test_what_the_ball_is_worth_held_for_a_screen_is_found() -> None:
    """Beside the phase, as played: such a hold brings .2 more than another one; six standard errors."""
    rng = np.random.default_rng(9)
    holds = rows("hold", 0, 0.0, N, rng)
    waits = rows("hold", 0, 0.2, N, rng).assign(place=SCREEN_PLACE)
    known = {**NOW, "hold_value_points": VALUE, "hold_tau_s": TAU_S}
    played = pd.concat([holds, waits], ignore_index=True)
    found = fit(played, played[:0], known)
    error = 6.0 * LUCK_POINTS * math.sqrt(2.0 / N)
    assert found["worth_screen_points"] == pytest.approx(0.2, abs=error)
    assert "worth_screen_points" not in fit(holds, played[:0], known), "nobody held it for one"


def test_a_smaller_step_goes_the_same_way_less_far() -> None:
    asked = {"worth_top_points": NOW["worth_top_points"] + 0.1, "worth_screen_points": 0.1}
    whole, half = moved(NOW, asked), moved(NOW, asked, 0.5)
    for name in asked:
        assert 0.0 < half[name] - NOW[name] == pytest.approx((whole[name] - NOW[name]) / 2, abs=1e-4)
    assert whole["worth_screen_points"] < whole["worth_top_points"], "less of what is measured as played"
