"""The estimates and verdicts behind the table of patterns, against closed forms and the bootstrap."""

from __future__ import annotations

from math import nan, sqrt

import numpy as np
import pytest

from engine.inputs.defaults import HOME
from engine.kernel.batch import trace_possession
from engine.state.record import RECORD
from engine.state.words import EVENTS, OUTCOMES, After, Mode
from engine.study.patterns import common, escapes, watching
from engine.study.patterns.ball import equal_looks, first_shots
from engine.study.patterns.calls import is_beaten
from engine.study.patterns.common import MARGIN, NOT_SHOWN, REVERSED, SHOWN, Claim, Mean
from engine.study.patterns.playing import CALLS, N_BASE, SEED, Run, constants, edited, rules, variant


def claim(gap: float, se: float, exact: bool = False) -> Claim:
    return Claim(1, "name", "source", Mean(gap, se), "figures", exact)


@pytest.mark.parametrize(
    ("gap", "se", "verdict"),
    [
        (4.01, 1.0, SHOWN),
        (4.0, 1.0, NOT_SHOWN),
        (0.0, 1.0, NOT_SHOWN),
        (-4.0, 1.0, NOT_SHOWN),
        (-4.01, 1.0, REVERSED),
        (1.0, 0.0, NOT_SHOWN),  # all equal: nothing to judge the sampling by
        (nan, nan, NOT_SHOWN),
    ],
)
def test_a_verdict_needs_more_than_the_margin(gap: float, se: float, verdict: str) -> None:
    assert MARGIN == 4.0
    assert claim(gap, se).verdict == verdict


@pytest.mark.parametrize(
    ("gap", "se", "verdict"),
    [(0.0, 0.0, SHOWN), (0.0, 0.1, REVERSED), (0.1, 0.1, REVERSED), (nan, nan, NOT_SHOWN)],
)
def test_an_exact_claim_allows_no_difference(gap: float, se: float, verdict: str) -> None:
    assert claim(gap, se, exact=True).verdict == verdict


def test_nothing_to_count_is_told_as_none() -> None:
    assert claim(nan, nan).to_dict()["gap"] is None
    assert claim(1.0, 0.1).to_dict() == {
        "name": "name",
        "verdict": SHOWN,
        "claimed": "gap above 0",
        "gap": 1.0,
        "standard_error": 0.1,
        "figures": "figures",
        "source": "source",
    }


def test_mean_and_difference_of_independent_means() -> None:
    found = common.mean(np.array([1.0, 2.0, 3.0, 6.0]))
    assert found.mean == 3.0
    assert found.se == pytest.approx(sqrt(14 / 3 / 4))
    assert (Mean(3.0, 3.0) - Mean(1.0, 4.0)) == Mean(2.0, 5.0)
    assert np.isnan(common.mean(np.array([1.0])).se)


def test_quotient_of_one_trial_each_is_the_binomial() -> None:
    y = np.repeat([1, 0], [30, 70])
    found = common.quotient(y, np.ones(100))
    assert found.mean == pytest.approx(0.3)
    assert found.se == pytest.approx(sqrt(0.3 * 0.7 / 100))


def test_nothing_seen_has_the_standard_error_of_one_event() -> None:
    assert common.quotient(np.zeros(50), np.ones(50)) == Mean(0.0, 1 / 50)
    assert np.isnan(common.quotient(np.zeros(5), np.zeros(5)).mean)


@pytest.fixture(scope="module")
def pairs() -> list[np.ndarray]:
    """Clusters as possessions are: attempts and makes of two branches that hang together."""
    rng = np.random.default_rng(3)
    n = 1500
    shared = rng.uniform(0.2, 0.6, n)
    x1, x0 = rng.poisson(1.0 + shared), rng.poisson(0.8 + shared)
    return [rng.binomial(x1, shared), x1, rng.binomial(x0, 0.8 * shared), x0]


def test_quotient_change_agrees_with_the_bootstrap_over_possessions(pairs: list[np.ndarray]) -> None:
    rng = np.random.default_rng(4)
    found = common.quotient_change(*pairs)
    draws = []
    for _ in range(3000):
        y1, x1, y0, x0 = np.array(pairs)[:, rng.integers(0, 1500, 1500)]
        draws.append(y1.sum() / x1.sum() - y0.sum() / x0.sum())
    assert found.mean == pytest.approx(pairs[0].sum() / pairs[1].sum() - pairs[2].sum() / pairs[3].sum())
    # The standard error of a bootstrap SD over 3000 draws is 1.3 %; 4 of them, and 2 % for linearising.
    assert found.se == pytest.approx(np.std(draws), rel=0.07)
    assert common.quotient(pairs[0], pairs[1]).se < found.se


def test_a_branch_differs_from_itself_by_exactly_nothing(pairs: list[np.ndarray]) -> None:
    assert common.quotient_change(*pairs[:2], *pairs[:2]) == Mean(0.0, 0.0)


def test_quotient_change_of_independent_branches_adds_the_variances() -> None:
    rng = np.random.default_rng(5)
    y1, y0, one = rng.binomial(1, 0.4, 4000), rng.binomial(1, 0.3, 4000), np.ones(4000)
    apart = common.quotient(y1, one) - common.quotient(y0, one)
    together = common.quotient_change(y1, one, y0, one)
    assert together.mean == pytest.approx(apart.mean)
    assert together.se == pytest.approx(apart.se, rel=0.05)  # but for their chance correlation


def test_standard_error_of_a_median_covers_the_truth_as_often_as_it_should() -> None:
    rng = np.random.default_rng(6)
    inside = 0
    for _ in range(1000):
        found = common.median(rng.exponential(1.0, 400))
        inside += abs(found.mean - np.log(2)) < 2 * found.se
    assert 0.92 < inside / 1000 < 0.98  # 2 standard errors: .954
    closed_form = 1 / sqrt(400)  # 1 / (2 f(median) sqrt(n)), f = 1/2
    many = np.mean([common.median(rng.exponential(1.0, 400)).se for _ in range(500)])
    assert many == pytest.approx(closed_form, rel=0.08)


def test_a_trend_is_the_slope_of_least_squares_with_the_error_of_the_bootstrap() -> None:
    rng = np.random.default_rng(8)
    at, n = (0.0, 0.5, 1.0, 1.5), 1200
    own = rng.uniform(0.0, 0.3, n)
    ys = [rng.binomial(1, own + 0.4 - 0.1 * x) for x in at]
    xs = [np.ones(n), np.ones(n), 1.0 + rng.binomial(1, 0.3, n), np.ones(n)]
    found = common.trend(at, ys, xs)

    def slope(chosen: np.ndarray) -> float:
        rates = [y[chosen].sum() / x[chosen].sum() for y, x in zip(ys, xs, strict=True)]
        return float(np.polyfit(at, rates, 1)[0])

    assert found.mean == pytest.approx(slope(np.arange(n)))
    draws = [slope(rng.integers(0, n, n)) for _ in range(2000)]
    assert found.se == pytest.approx(np.std(draws), rel=0.08)
    assert np.isnan(common.trend(at, ys, [*xs[:3], np.zeros(n)]).mean)


def test_too_few_traps_give_no_verdict() -> None:
    gap, enough, few = Mean(1.0, 0.1), np.ones(200), np.ones(199)
    assert common.settled(gap, enough) == gap == common.settled(gap, enough, enough)
    assert np.isnan(common.settled(gap, enough, few).mean)


def test_equal_looks_are_compared_with_each_other_only() -> None:
    # Look 1: early 2.0, late 1.0 (three late). Look 2: early 0.5, late 0.0 (two late). Look 3: late only.
    look = np.array([1] * 5 + [2] * 4 + [3] * 4)
    late = np.array([0, 0, 1, 1, 1, 0, 0, 1, 1, 1, 1, 1, 1], bool)
    points = np.array([2, 2, 0, 0, 3, 1, 0, 0, 0, 3, 3, 3, 3.0])
    found = equal_looks(look, late, points)
    assert found.mean == pytest.approx((3 * 1.0 + 2 * 0.5) / 5)
    within = 3**2 * np.var([0, 0, 3], ddof=1) / 3 + 2**2 * np.var([1, 0], ddof=1) / 2
    assert found.se == pytest.approx(sqrt(within) / 5)
    assert np.isnan(equal_looks(look, np.zeros(13, bool), points).mean)


def test_inside_a_range_and_near_a_published_number() -> None:
    assert common.inside(Mean(0.3, 0.01), 0.2, 0.35).mean == pytest.approx(0.05)
    assert common.inside(Mean(0.1, 0.01), 0.2, 0.35).mean == pytest.approx(-0.1)
    assert common.near(Mean(1.3, 0.01), 1.0, 0.25).mean == pytest.approx(-0.05)
    assert common.near(Mean(0.9, 0.01), 1.0, 0.25).mean == pytest.approx(0.15)


# --- what is played -----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def run() -> Run:
    return Run(0.004, 2, lambda: None)


def test_only_called_possessions_are_played_again(run: Run) -> None:
    home, corner = run.base(HOME), run.base("corner")
    chosen = common.called(corner)
    assert 0 < chosen.sum() < len(corner) == run.n(N_BASE)
    shadow = RECORD.index("shadow")
    same = np.delete(home, shadow, axis=1) == np.delete(corner, shadow, axis=1)
    assert same[~chosen].all()
    assert not same[chosen].all()
    before = run.played
    again = run.again("corner", constants(second_trapper_delay_s=0.0), N_BASE)
    assert run.played - before == len(again) == chosen.sum()
    assert (np.delete(again, shadow, axis=1) == np.delete(corner[chosen], shadow, axis=1)).all()


def test_a_change_before_the_call_is_refused(run: Run) -> None:
    def never(world: np.ndarray) -> None:
        world["calls"]["probability"][:, 0] = 0.0

    with pytest.raises(RuntimeError, match="behind the call"):
        run.again("corner", never, N_BASE)


def test_an_edit_leaves_the_world_it_came_from_alone(run: Run) -> None:
    world = run.demo().home
    other = edited(world, rules(shot_clock_s=14.0))
    assert other["rules"]["shot_clock_s"][0] == 14.0 != world["rules"]["shot_clock_s"][0]


def test_a_variant_keeps_the_scenario_but_for_what_it_changes() -> None:
    usual = variant()
    other = variant(calls=CALLS, probability=0.25, rules_changes={"court.width_m": 20.0})
    assert [setting.name for setting in other.settings] == list(CALLS)
    assert {setting.calls[0].probability for setting in other.settings} == {0.25}
    assert usual.settings == () and usual.zone == other.zone and usual.constants == other.constants
    assert other.rules.court.width_m == 20.0 != usual.rules.court.width_m
    man = variant(defence={"zone": "man_to_man", "options": {}})
    assert man.zone.name == "man_to_man" and man.defence_team == usual.defence_team


def test_watched_events_are_those_of_the_trace(run: Run) -> None:
    world = run.demo().home
    numbers = [5, 17, 40]
    events = watching.watch(world, SEED, numbers)
    for row, number in enumerate(numbers):
        trace = trace_possession(world, SEED, number)
        mine = events[events[:, watching.ROW] == row]
        assert (mine[:, watching.TIME : watching.SKIP] == trace.events).all()
        mode = trace.states["mode"]
        flights = 1 + np.flatnonzero((mode[1:] == Mode.PASS_FLIGHT) & (mode[:-1] == Mode.PASS_WINDUP))
        passes = mine[mine[:, watching.CODE] == EVENTS.index("pass")]
        assert (passes[:, watching.SKIP] == trace.states["pass_is_skip"][flights]).all()


def test_watched_shots_are_those_of_the_record(run: Run) -> None:
    world, n = run.demo().home, 300
    home = run.base(HOME)[:n]
    events = watching.watch(world, SEED, range(n))
    shots = events[events[:, watching.CODE] == EVENTS.index("shot")]
    three = watching.per_possession(watching.is_three(world, shots), shots[:, watching.ROW], n)
    attempts = common.column(home, "three_attempts")
    fouled = common.column(home, "shooting_fouls")
    assert (three >= attempts).all() and (three - attempts <= fouled).all() and attempts.sum() > 0
    _, touched = watching.touched_passes(events)
    assert touched.sum() == common.column(home, "deflections").sum()
    assert set(np.unique(watching.regions(world, events))) <= set(range(12))


def test_helpers_read_the_columns_they_say(run: Run) -> None:
    corner, home = run.base("corner"), run.base(HOME)
    table = {name: corner[:, i] for i, name in enumerate(RECORD)}
    assert (common.called(corner) == (table["first_call"] > 0)).all()
    lost = common.lost_in_trap(corner)
    wanted = [OUTCOMES.index("steal"), OUTCOMES.index("other_turnover")]
    assert lost.sum() == np.isin(table["outcome"][table["first_call"] > 0], wanted).sum()
    assert common.saved(home, corner).sum() == home[:, RECORD.index("net")].sum() - table["net"].sum()
    points = common.field_points(corner) + table["ftm"]
    assert (points == table["points"]).all()


# --- what follows an escape ---------------------------------------------------------------------------------


def test_the_window_after_an_escape_holds_what_the_record_says_came_after(run: Run) -> None:
    for name in CALLS:
        records = run.base(name)
        numbers = np.flatnonzero(is_beaten(records))
        after, at_home, _ = escapes.beaten_windows(run, name, numbers)
        good = np.isin(common.column(records[numbers], "after"), (After.RIM_SHOT, After.OPEN_THREE))
        assert (after == good).all(), name
        # until the call both are the same, so no more than the possession has at home can be in the window
        home = run.base(HOME)[numbers]
        assert (at_home <= (common.column(home, "rim_shot", "open_threes", "shooting_fouls") > 0)).all(), name


def test_ways_out_of_a_trap_by_hand(run: Run) -> None:
    world = run.world("wing", calls=CALLS)
    numbers = np.flatnonzero(common.column(run.base("wing"), "escape") > 0)[:12]
    assert len(numbers) == 12
    for number, way in zip(numbers, escapes.ways(run, "wing", numbers), strict=True):
        trace = trace_possession(world, SEED, int(number))
        codes = [EVENTS[int(code)] for code in trace.events[:, 1]]
        left = next(
            n
            for n in range(codes.index("call"), len(codes))
            if codes[n] == "trap_left" and trace.events[n, 4] == OUTCOMES.index("escape_pass")
        )
        thrown = max(n for n in range(left) if codes[n] == "pass")
        step = int(round(trace.events[thrown, 0] / float(world["k"]["time_step_s"][0])))
        passer = int(trace.events[thrown, 2])
        x, y = trace.agents["x"][step, passer], trace.agents["y"][step, passer]
        end = int(round(trace.events[left, 0] / float(world["k"]["time_step_s"][0])))
        to_x, to_y = trace.states["ball_x"][end], trace.states["ball_y"][end]
        if escapes.WAYS[way] == "back":
            assert np.hypot(to_x, to_y) > np.hypot(x, y)
        elif escapes.WAYS[way] == "across":
            assert to_x * x < 0.3
        elif escapes.WAYS[way] == "same side":
            assert to_x * x > -0.3


def test_first_shots_are_those_of_the_record(run: Run) -> None:
    world = run.demo().home
    look, late, points = first_shots(run, world)
    home = run.base(HOME)[: run.n(40_000)]
    assert len(look) == len(late) == len(points) <= len(home)
    assert points.sum() <= common.column(home, "points").sum() and 2 <= points.max() <= 4
    # nobody shoots in the last four of 24 seconds here; with 14 on the clock some do
    short, late_short, _ = first_shots(run, edited(world, rules(shot_clock_s=14.0)))
    assert late.sum() < late_short.sum() < len(short) and (look >= 0).all()
