"""Beliefs are fits to decisions and what came of them: what was put in comes out (closed form)."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from engine.inputs import load_constants, load_scenario
from engine.inputs.scenario import with_constants
from engine.kernel.shooting import is_three
from engine.kernel.worth import SCREEN_PLACE
from engine.run.watch import watch_numbers
from engine.state.record import COLUMN
from engine.state.words import Event, Region
from engine.study.beliefs import LUCK_POINTS, PHASE_NAMES, carrying_on, fit, moved
from engine.study.decisions import choices
from engine.study.own_men import _holds
from engine.world.pack import pack

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


# --- in one coin --------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def picky() -> np.ndarray:
    """The demo at home with men who ask .2 points more of their threes; with much on the clock all of it."""
    demo = load_scenario("configs/scenarios/friday_night.toml")
    asked = {"reluctance_threes_points": 0.2, "hold_tau_s": load_constants()["hold_tau_s"].low}
    return pack(with_constants(demo, asked)).home


def test_what_is_asked_of_later_threes_is_taken_off_and_of_ones_own_shot_is_not(picky: np.ndarray) -> None:
    """Possessions of one shot, a three with much on the clock: what came before it brought its points less
    .2, the shot itself its points; with a two nothing is taken off."""
    n = 450
    table = choices(picky, 3, np.arange(n), 2)
    seen = {True: 0, False: 0}
    for block in watch_numbers(picky, 3, np.arange(n), ("s",), threads=2):
        for i in range(len(block.numbers)):
            trace = block.trace(i)
            rows = table[table["possession"] == block.numbers[i]]
            shots = trace.events[trace.events[:, 1] == Event.SHOT]
            if (
                len(shots) != 1
                or len(rows) < 2
                or rows["kind"].iloc[-1] != "shot"
                or rows["left_s"].min() < 10
            ):
                continue
            x, y = map(float, shots[0, 5:7])
            threes = {bool(is_three(picky[0], share * x, share * y)) for share in (0.93, 1.0, 1.07)}
            if len(threes) > 1:
                continue  # near the line: decided on its one side, perhaps, and let go on the other
            (three,) = threes
            points = int(trace.record[COLUMN["points"]])
            assert rows["points"].iloc[-1] == points
            assert rows["points"].iloc[:-1].to_numpy() == pytest.approx(points - 0.2 * three, abs=1e-3)
            seen[three] += 1
    assert min(seen.values()) > 15


def test_balls_held_are_those_of_the_table(picky: np.ndarray) -> None:
    """``measure_carrying`` counts by block what the table counts by possession."""
    table = choices(picky, 4, np.arange(300), 2)
    held = table[table["kind"] == "hold"].sort_values("possession", kind="stable")
    believed, points, of = (
        np.concatenate(x) for x in zip(*_holds(picky, 4, np.arange(300), 2, None), strict=True)
    )
    assert len(of) == len(held) > 100
    assert believed == pytest.approx(held["believed"].to_numpy())
    assert points == pytest.approx(held["points"].to_numpy())


def test_what_own_shots_and_ends_of_drives_bring_beside_is_found() -> None:
    """Six standard errors: shots bring .1 more than believed, their gap is .2 m + .8 of that reckoned with; a
    drive that ends in a shot .3 less than the shot at its end, which half of them reach."""
    rng = np.random.default_rng(10)
    now = {
        **NOW,
        "hold_value_points": VALUE,
        "hold_tau_s": TAU_S,
        "belief_kick_points": 0.0,
        "belief_drive_points": 0.0,
    }
    shots = rows("shot", 0, 0.0, N, rng).assign(forecast_m=rng.uniform(0.4, 3.0, N))
    shots["gap_m"] = 0.2 + 0.8 * shots["forecast_m"]
    shots["believed"] = carrying_on(shots["left_s"].to_numpy(), VALUE, TAU_S) - 0.1
    drives = rows("drive", 0, 0.0, N, rng).assign(promise=0.5, forecast_m=0.0)
    on = carrying_on(drives["left_s"].to_numpy(), VALUE, TAU_S)
    there = rng.random(N) < 0.5
    drives["shot_m"] = np.where(there, 1.0, math.nan)
    drives["points"] += np.where(there, 0.4 - 0.3, 0.0)
    drives["believed"] = 0.5 * (on + 0.4) + 0.5 * on
    found = fit(pd.concat([shots, drives], ignore_index=True), drives, now)
    assert found["belief_shot_points"] == pytest.approx(0.1, abs=6.0 * LUCK_POINTS / math.sqrt(N))
    assert found["belief_own_gap_m"] == pytest.approx(0.2) and found["belief_own_gap_share"] == pytest.approx(
        0.8
    )
    assert found["belief_end_points"] == pytest.approx(-0.3, abs=6.0 * LUCK_POINTS / math.sqrt(N / 2))
    assert found["belief_drive_points"] == pytest.approx(-0.15, abs=6.0 * LUCK_POINTS / math.sqrt(N))
