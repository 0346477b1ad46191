"""The parts of a plan that have closed forms: the mix, the end of a game, the bench's stop rule, fouls."""

from __future__ import annotations

import itertools
import re
from dataclasses import asdict, replace
from math import comb, log
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import poisson

from engine.errors import InputError
from engine.estimate.calls import break_even_words
from engine.estimate.intervals import LEAST_EVENTS, Interval
from engine.inputs import load_scenario
from engine.report.screen.plan import foul_words
from engine.state.record import NET_HIGH, NET_LOW
from engine.study.pace import pace_words, possessions_per_period, start_words
from engine.study.plan.bench import (
    MOST_CALLS,
    often_words,
    p_stopped,
    stop_line,
    stop_rule,
    stop_words,
)
from engine.study.plan.fouls import FoulLimits, expected_fouls, p_at_least, trap_shares
from engine.study.plan.games import Fatigue
from engine.study.plan.inputs import NAMES, changes_from, load_plan_constants, values_of
from engine.study.plan.late import (
    FAR,
    OwnScoring,
    distributions,
    jackknife,
    late_game,
    own_scoring,
    win_table,
)
from engine.study.plan.mix import (
    GREEDY,
    PROGRAMMING,
    apart,
    best_mix,
    falls,
    greedy,
    programming,
)
from engine.study.plan.table import BEFORE, IN_BONUS, FirstUse, Table

FRIDAY = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
WORTH = st.integers(-8, 12)
TABLES = st.lists(st.lists(WORTH, max_size=4), min_size=1, max_size=4)

# --- the mix ----------------------------------------------------------------------------------------------


def total(values: Any, uses: Any) -> float:
    return float(sum(sum(one[:n]) for one, n in zip(values, uses, strict=True)))


def best_by_hand(values: Any, most: int) -> float:
    choices = itertools.product(*(range(len(one) + 1) for one in values))
    return max(total(values, uses) for uses in choices if sum(uses) <= most)


@given(TABLES, st.integers(0, 8))
@settings(max_examples=150, deadline=None)
def test_programming_finds_what_trying_everything_finds(values: list[list[int]], most: int) -> None:
    uses = programming(values, most)
    assert sum(uses) <= most
    assert total(values, uses) == best_by_hand(values, most)


@given(TABLES, st.integers(0, 8))
@settings(max_examples=150, deadline=None)
def test_greedy_is_exact_where_values_fall(values: list[list[int]], most: int) -> None:
    falling = [sorted(one, reverse=True) for one in values]
    assert all(falls(one) for one in falling)
    assert total(falling, greedy(falling, most)) == best_by_hand(falling, most)


def test_greedy_is_not_exact_where_values_rise_and_the_mix_says_which_was_used() -> None:
    rising = [[1.0, 9.0], [2.0, 1.0]]
    assert total(rising, greedy(rising, 2)) < total(rising, programming(rising, 2)) == 10.0
    assert best_mix(rising, [["corner"], ["top"]], 2).method == PROGRAMMING
    fall = best_mix([[3.0, 1.0], [2.0, -1.0]], [["corner"], ["top"]], 9)
    assert (fall.method, fall.uses, fall.total) == (GREEDY, (2, 1), 6.0)


def test_calls_for_one_region_exclude_each_other() -> None:
    values, regions = [[1.0, 1.0], [3.0], [1.0]], [["corner"], ["corner", "wing"], ["top"]]
    assert sorted(apart(regions)) == [(0, 2), (1, 2)]
    assert best_mix(values, regions, 5).uses == (0, 1, 1)
    assert best_mix([[5.0, 5.0], [4.0], [1.0]], regions, 2).uses == (2, 0, 0)


def test_which_call_of_one_region_is_best_depends_on_the_room() -> None:
    """Eight weak uses are worth more than three strong ones; with room for three beside another, less."""
    weak, strong, other = [0.1] * 8, [0.2] * 3, [0.3] * 3
    regions = [["wing"], ["wing"], ["corner"]]
    assert best_mix([weak, strong, other], regions, 20).uses == (8, 0, 3)
    assert best_mix([weak, strong, other], regions, 6).uses == (0, 3, 3)


def test_nothing_that_costs_is_used() -> None:
    assert best_mix([[-1.0, -2.0], [0.0]], [["corner"], ["top"]], 5).uses == (0, 0)
    assert best_mix([], [], 5).uses == ()


def test_a_worth_goes_in_a_straight_line_to_that_against_one_who_knows_the_call() -> None:
    apart = np.zeros((2, 1, 3, 3), np.int64)
    apart[..., 0] = 50  # reading sooner changes nothing here
    first, later = Interval(0.4, 0.3, 0.5), Interval(0.1, -0.1, 0.3)
    known = FirstUse(first, Interval(0.2), Interval(0.1), "")
    table = Table(cast(Any, SimpleNamespace(apart=apart)), 1, 3, (known,), (later,), 4.0)
    found = [table.value(state, 0, use) for state in (BEFORE, IN_BONUS) for use in range(1, 8)]
    line = [0.4, 0.325, 0.25, 0.175, 0.1, 0.1, 0.1]
    assert [one.mean for one in found] == pytest.approx(line + line)
    assert found[0] == first and asdict(found[4]) == pytest.approx(asdict(later))
    half = np.hypot(0.5 * 0.1, 0.5 * 0.2)  # half of each, as of two samples
    assert found[2].high == pytest.approx(0.25 + half)
    for same in (first, None):  # who learns nothing, or was not played
        as_before, plain = replace(table, later=(same,)), replace(table, later=None)
        assert all(as_before.value(BEFORE, 0, use) == plain.value(BEFORE, 0, use) for use in range(1, 8))
    assert table.mixed_value(0, 3, 0.5).mean == pytest.approx(0.25)


def test_what_rests_on_too_few_calls_has_no_figure_of_its_own() -> None:
    """compare could give no range: the table does not answer the same question from other possessions. Nor
    does it where a later use was played too seldom."""
    apart = np.zeros((2, 1, 3, 3), np.int64)
    apart[..., 0] = LEAST_EVENTS - 1
    known = FirstUse(Interval(0.4, 0.3, 0.5), Interval(0.2), Interval(0.1), "")
    pairs = SimpleNamespace(joint=np.full((6, 2, 2, N_NET, N_NET), 9))
    table = Table(cast(Any, SimpleNamespace(apart=apart, pairs=pairs)), 1, 3, (None,))
    assert all(table.value(BEFORE, 0, use) == Interval(None) for use in (1, 2))
    assert table.mixed_value(0, 1, 0.2) == Interval(None)
    once = replace(table, first=(known,))
    assert once.value(BEFORE, 0, 1) == known.value and once.value(BEFORE, 0, 2) == Interval(None)
    apart[..., 0] = LEAST_EVENTS
    assert once.value(BEFORE, 0, 2).mean == pytest.approx(0.4)


def test_possessions_of_a_period() -> None:
    assert possessions_per_period(600.0, 15.0) == 20  # 40 of both sides
    assert possessions_per_period(60.0, 90.0) == 1


# --- the end of a game ------------------------------------------------------------------------------------

N_NET, N_SECONDS = NET_HIGH - NET_LOW + 1, 64


def always(seconds: int, points: dict[int, float], groups: int = 1) -> NDArray[np.float64]:
    found = np.zeros((groups, N_NET, N_SECONDS))
    for value, p in points.items():
        found[:, value - NET_LOW, seconds] = p
    return found


def test_coin_flips_are_binomial() -> None:
    """Either side scores two points or none, ten seconds each: n possessions a side."""
    p, q = 0.45, 0.55
    own = OwnScoring((1 - q, 0.0, q, 0.0), 10, 10)
    table = win_table(always(10, {0: 1 - p, 2: p}), own, 100)

    def by_hand(theirs: int, ours: int, behind: int) -> float:
        won = 0.0
        for i in range(theirs + 1):
            for j in range(ours + 1):
                chance = comb(theirs, i) * p**i * (1 - p) ** (theirs - i)
                chance *= comb(ours, j) * q**j * (1 - q) ** (ours - j)
                lead = 2 * (j - i) - behind
                won += chance * (1.0 if lead > 0 else 0.5 if lead == 0 else 0.0)
        return won

    for t, theirs, ours in ((20, 1, 1), (60, 3, 3), (70, 4, 3), (100, 5, 5)):
        for behind in (-3, 0, 1, 4, 6):
            assert table[0, t, FAR - behind] == pytest.approx(by_hand(theirs, ours, behind), abs=1e-12)


def test_at_the_buzzer() -> None:
    own = OwnScoring((0.0, 0.0, 1.0, 0.0), 10, 10)
    table = win_table(always(30, {3: 1.0}), own, 35)
    assert table[0, 0, FAR - 1] == 0.0 and table[0, 0, FAR] == 0.5 and table[0, 0, FAR + 1] == 1.0
    assert table[0, 29, FAR + 1] == 1.0, "their possession is not over at the buzzer: no points"
    assert table[0, 30, FAR + 1] == 0.0, "three points just in time, none left for us"
    assert table[0, 31, FAR + 2] == 1.0, "one second is enough for our shot"


def test_equal_distributions_differ_by_exactly_nothing() -> None:
    rng = np.random.default_rng(3)
    counts = rng.integers(0, 20, (16, N_NET, N_SECONDS))
    played = rng.integers(0, 5, (16, N_NET, N_SECONDS))
    one, other = (distributions(counts, played, 300.0) for _ in range(2))
    own = own_scoring(0.9, 0.1, 0.2, 4, 14)
    found = late_game(0, one, {60: other, 120: other}, own, 0.95)
    assert [row[4].as_dict() for row in found.rows] == [{"mean": 0.0, "low": 0.0, "high": 0.0}] * 6
    assert all(0.0 < row[2] == row[3] < 1.0 for row in found.rows)


def test_a_defence_that_concedes_less_wins_more() -> None:
    own = own_scoring(0.9, 0.1, 0.2, 8, 12)
    rng = np.random.default_rng(4)
    groups = [always(12, {0: p, 2: 1 - p}) for p in 0.5 + 0.01 * rng.standard_normal(17)]
    better = [always(12, {0: p, 2: 1 - p}) for p in 0.7 + 0.01 * rng.standard_normal(17)]
    found = late_game(0, np.concatenate(groups), {120: np.concatenate(better)}, own, 0.95, behind=(3,))
    (row,) = found.rows
    assert row[4].low is not None and row[4].low > 0.05


def test_distributions_weigh_the_sample_of_chances() -> None:
    uncalled, played = np.zeros((4, N_NET, N_SECONDS), int), np.zeros((4, N_NET, N_SECONDS), int)
    uncalled[:, 3, 10] = 10
    played[:, 5, 8] = 2
    found = distributions(uncalled, played, 120.0)  # 8 of 120 chances were played out
    assert found.shape[0] == 5 and np.allclose(found.sum(axis=(1, 2)), 1.0)
    assert found[0, 5, 8] == pytest.approx(120 / 160)


def test_jackknife_of_a_mean_is_its_standard_error() -> None:
    values = np.random.default_rng(5).standard_normal(16)
    parts = (values.sum() - values) / 15
    found = jackknife(np.concatenate([[values.mean()], parts]), 0.95)
    assert found.high is not None and found.mean == pytest.approx(values.mean())
    from scipy.stats import t

    half = t.ppf(0.975, 15) * values.std(ddof=1) / 4
    assert found.high - values.mean() == pytest.approx(half)


def test_own_scoring_has_the_mean_asked_for() -> None:
    points = own_scoring(0.88, 0.1, 0.22, 4, 16).points
    assert sum(points) == pytest.approx(1.0)
    assert sum(p * k for k, p in enumerate(points)) == pytest.approx(0.88)
    with pytest.raises(ValueError):
        own_scoring(3.5, 0.1, 0.22, 4, 16)


# --- the bench --------------------------------------------------------------------------------------------


def test_stop_line_of_no_turnover_is_wald_s() -> None:
    expected, even, error = 0.25, 0.2, 0.2
    exact = log(error / (1 - error)) / log((1 - expected) / (1 - even))
    line = stop_line(expected, even, error, 1, 0)
    assert line is not None and line - 1 < exact <= line
    assert stop_line(0.4, 0.2, error, 10, 0) == 10, "too few below ten"
    assert stop_line(0.101, 0.1, error, 10, 0) is None


@pytest.mark.parametrize("rate", [0.0, 0.1, 0.35, 1.0])
def test_chance_to_stop_by_hand(rate: float) -> None:
    assert p_stopped(rate, (3,)) == pytest.approx((1 - rate) ** 3)
    by_hand = (1 - rate) ** 2 + 2 * rate * (1 - rate) ** 2  # one turnover in three, not stopped after two
    assert p_stopped(rate, (2, 3)) == pytest.approx(by_hand)
    assert p_stopped(rate, (None, None)) == 0.0


def test_the_rule_keeps_about_the_errors_it_is_built_for() -> None:
    rule = stop_rule(0.4, 0.1, 0.2, 1)
    assert rule.wrongly < 0.2 / 0.8 + 0.02, "Wald's bound on the error"
    assert rule.rightly > 0.6, (
        "less than Wald's 0.8: it waits for the turnovers that the ledger says it needs"
    )
    careful = stop_rule(0.4, 0.1, 0.2, 15)
    assert careful.calls[0] == 15 and careful.wrongly < rule.wrongly


@pytest.mark.parametrize("needed", [1 / 40, 1 / 12, 0.081, 0.15, 2 / 5])
def test_a_call_is_not_stopped_before_the_turnover_that_the_ledger_says_it_needs(needed: float) -> None:
    """The ledger: "needs 1 turnover in 12, gets 1 in 5". Then 10 calls without one are no reason to stop."""
    words = break_even_words(0.9, needed)
    told = re.search(r"needs (\d+) turnovers? in (\d+)", words)
    assert told is not None
    rule = stop_rule(0.9, needed, 0.2, 1)
    for won, line in enumerate(rule.calls):
        assert line is None or line * int(told[1]) >= (won + 1) * int(told[2])
    assert rule.calls[0] is not None
    assert rule.wrongly <= p_stopped(0.9, rule.calls) and rule.rightly > 0.3
    assert stop_rule(0.9, 1 / 70, 0.2, 1).calls[0] is None, "not within the calls that are followed"


def test_often_words() -> None:
    practice = "(common practice: 3, no source)"
    assert often_words(14.6, 3, 3) == f"up to 3 of about 15 chances a game {practice}"
    assert often_words(1.2, 1, None) == "up to 1 of about 1 chance a game"
    assert often_words(0.3, 1, 3) == f"less than one chance a game {practice}"


@pytest.mark.parametrize(("possessions", "minutes", "said"), [
    (88, 32.0, "88 possessions a side in 32 minutes (mean of 20,000); usual are 48 to 74"),
    (60, 32.0, ""),
    (70, 40.0, ""), (30, 32.0, "too low"), (88, 40.0, ""),
])  # fmt: skip
def test_a_game_whose_possessions_do_not_fit_its_minutes_is_told(
    possessions: int, minutes: float, said: str
) -> None:
    words = pace_words(possessions, minutes, 20_000)
    assert said in words and bool(words) == bool(said)
    assert not words or "common practice, no source" in words


def test_stop_words() -> None:
    """An order only for what a game has room for; else what it would take."""
    rule = stop_rule(0.25, 0.1, 0.2, 10)
    first, second = rule.calls[:2]
    assert first == 10 and second is not None and second > 10
    words = stop_words(rule, "", second)
    assert words == f"stop after 10 calls without a turnover, or {second} with only one"
    assert stop_words(rule, "", 10) == "stop after 10 calls without a turnover"
    assert stop_words(rule, "", 3) == (
        "cannot tell within a game (about 3 calls): 10 calls without a turnover would (4 games)"
    )
    assert stop_words(rule, "", 9).endswith("would (2 games)") and "stop" not in stop_words(rule, "", 9)
    assert "not even 60 calls" in stop_words(stop_rule(0.1005, 0.1, 0.2, 10), "", 3)
    with pytest.raises(ValueError):
        stop_rule(0.1, 0.2, 0.2, 10)
    assert MOST_CALLS >= 40


# --- fouls and legs ---------------------------------------------------------------------------------------


LIMITS = FoulLimits(5, 0.25, 0.05)


def test_fouls_are_shared_out_and_nothing_is_lost() -> None:
    scenario = load_scenario(FRIDAY)
    calls = [setting.calls[0] for setting in scenario.settings[:4]]
    assert all(sum(trap_shares(scenario, call)) == pytest.approx(2.0) for call in calls)
    top = trap_shares(scenario, calls[3])
    assert top == (1.0, 1.0, 0.0, 0.0, 0.0), "both guards double at the top"
    traps, in_trap, extra = (0, 0, 0, 4.0), (0, 0, 0, 0.5), (0, 0, 0, 0.25)
    found = expected_fouls(scenario, calls, traps, in_trap, extra, 14.0, LIMITS, {}, 1.0)
    assert sum(one.home for one in found) == pytest.approx(14.0)
    assert sum(one.planned for one in found) == pytest.approx(15.0)  # 4 traps, a quarter of a foul each
    assert [one.planned > one.home for one in found] == [True, True, False, False, False]
    assert sum(found[i].planned - found[i].home for i in (2, 3, 4)) < 0.0  # fewer later, of all five
    first = found[0].number
    less = expected_fouls(scenario, calls, traps, in_trap, extra, 14.0, LIMITS, {first: 0.5}, 0.75)
    for i, (one, whole) in enumerate(zip(less, found, strict=True)):
        share = 0.5 if i == 0 else 0.75
        assert one.share == share and one.planned == pytest.approx(share * whole.planned)
        assert one.traps == pytest.approx(share * whole.traps)
        assert one.p_out == pytest.approx(float(poisson.sf(4, one.planned)))
        assert one.p_home == pytest.approx(float(poisson.sf(4, one.home)))
    free = SimpleNamespace(dynamic=True)
    assert trap_shares(scenario, free) == pytest.approx((0.4,) * 5)


def test_never_doubles_whom_doubling_brings_out_of_the_game_and_nobody_else() -> None:
    """Both guards double at the top. Much fouling alone is no reason; traps that add nothing are none."""
    scenario = load_scenario(FRIDAY)
    calls = [scenario.settings[3].calls[0]]

    def never(home: float, per_trap: float, played: dict[int, float]) -> list[int]:
        rates = (per_trap,)
        found = expected_fouls(scenario, calls, (8.0,), rates, rates, home, LIMITS, played, 1.0)
        return [one.number for one in found if one.never]

    places = scenario.defence_team.zone_places
    assert places is not None
    guards = [places.left_guard, places.right_guard]
    assert never(30.0, 0.0, {}) == []  # everybody near fouling out, traps or not: no word about traps
    assert never(10.0, 0.1, {}) == []
    assert sorted(never(15.0, 0.6, {})) == sorted(guards)
    assert never(15.0, 0.6, {guards[0]: 0.5}) == [guards[1]]  # he sits half of the game


def test_who_is_nearest_to_foul_trouble_is_named_where_nobody_is_in_it() -> None:
    men = [
        {"number": 4, "p_home": 0.1, "p_out": 0.09, "share": 0.75},
        {"number": 31, "p_home": 0.23, "p_out": 0.25, "share": 0.5},
    ]
    limits = {"personal_limit": 5, "no_double_from": 3}
    game: dict[str, Any] = {"calls": [{}], "fouls_expected": men, "never_double": []}
    said = "No. 31 (his 5th in 25% of games with the traps advised, 23% without, playing 50% of each). On the"
    assert f"nobody into foul trouble; nearest to it: {said}" in foul_words(limits, game)
    words = foul_words(limits, game | {"never_double": [31]})
    assert f"must not double: {said}" in words and "No. 4" not in words
    home = foul_words(limits, game | {"calls": []})
    assert "staying home, nearest to foul trouble: No. 31 (his 5th in 25% of games, playing 50%" in home
    assert "double" not in home


def test_whole_games_say_that_they_do_not_start_from_a_moment() -> None:
    game = load_scenario(FRIDAY).game
    assert "the scenario's 2 and 0 are of one moment" in start_words(game)
    assert start_words(game.model_copy(update={"team_fouls": 0})) == ""
    assert "0 and 3" in start_words(game.model_copy(update={"team_fouls": 0, "traps_seen": 3}))


@pytest.mark.parametrize(("limit", "mean"), [(5, 2.7), (6, 0.0), (5, 9.0)])
def test_foul_out_chance_is_poisson_s(limit: int, mean: float) -> None:
    assert p_at_least(limit, mean) == pytest.approx(float(poisson.sf(limit - 1, mean)))


def test_levels_of_tiredness() -> None:
    legs = Fatigue(loss_per_m=0.02 / 100, kept=0.5, m_per_step=0.1)
    assert legs.level(np.array([0.0, 4.0, 100.0, 1e9])).tolist() == [0, 1, 20, 200]
    assert not Fatigue().level(np.array([1e6])).any()


# --- constants --------------------------------------------------------------------------------------------


def test_every_constant_has_a_range_and_a_source() -> None:
    constants = load_plan_constants()
    assert set(constants) == set(NAMES)
    for one in constants.values():
        assert one.low < one.high and len(one.source) > 3


def test_changes() -> None:
    constants = load_plan_constants()
    values = values_of(constants, changes_from(("fatigue_percent_per_100m=0", "most_traps = 6")))
    assert (values["fatigue_percent_per_100m"], values["most_traps"]) == (0.0, 6.0)
    for bad in ("most_traps=1000", "nothing=1", "most_traps=a", "=", "most_traps=2.5"):
        with pytest.raises(InputError):
            values_of(constants, changes_from((bad,)))


def test_a_file_with_other_names_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "plan.toml"
    file.write_text('[more]\nvalue = 1\nunit = "s"\nlow = 0\nhigh = 2\nsource = "x"\nmeaning = "y"\n')
    with pytest.raises(InputError, match="exactly the names"):
        load_plan_constants(file)
