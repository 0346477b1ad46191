"""Estimates against closed forms, simulation with a known truth, bootstrap and open data."""

import dataclasses
import json
from dataclasses import asdict

import numpy as np
import pytest

from engine.estimate.calls import (
    BreakEven,
    Interval,
    break_even,
    break_even_words,
    call_value,
    change,
    cvar,
    each_call_value,
    estimate_call,
    estimate_play,
    estimate_setting,
    normal_interval,
    normal_quantile,
    one_in,
    over_n,
    p_costs_points,
    variance_reduction,
    wilson,
)
from engine.estimate.tally import N_NET, BoxTally, PairTally, PerCallTally, net_values
from engine.state.record import COLUMN, N_RECORD, NET_LOW
from engine.state.words import AFTER, LOSSES, OUTCOMES

STEAL, ESCAPE = OUTCOMES.index("steal"), OUTCOMES.index("escape_pass")
V = net_values()


def pair_law(rng: np.random.Generator) -> np.ndarray:
    """A law of (turnover or not, Y0, Ys), float64[2, N_NET, N_NET]: a fifth turnovers, 0 or -1 after one."""
    home, beaten = np.zeros(N_NET), np.zeros(N_NET)
    home[[0 - NET_LOW, 2 - NET_LOW, 3 - NET_LOW]] = 0.55, 0.33, 0.12
    beaten[[0 - NET_LOW, 2 - NET_LOW, 3 - NET_LOW]] = 0.42, 0.40, 0.18
    stolen = np.zeros(N_NET)
    stolen[[-1 - NET_LOW, 0 - NET_LOW]] = 0.3, 0.7
    law = np.stack([0.2 * np.outer(home, stolen), 0.5 * np.outer(home, beaten) + 0.3 * np.diag(home)])
    return law / law.sum()


def tally_of(counts: np.ndarray, uncalled: np.ndarray | None = None) -> PairTally:
    """A tally of one spot from counts int[2, N_NET, N_NET] (turnover or not) and uncalled pairs."""
    joint = np.zeros((1, len(OUTCOMES), len(AFTER), N_NET, N_NET), dtype=np.int64)
    joint[0, STEAL, 0], joint[0, ESCAPE, AFTER.index("reset")] = counts
    pairs = counts.sum(axis=0) + (0 if uncalled is None else uncalled)
    return dataclasses.replace(PairTally.zero(1), n=int(pairs.sum()), all_pairs=pairs, joint=joint)


def draw(rng: np.random.Generator, law: np.ndarray, n: int) -> np.ndarray:
    return rng.multinomial(n, law.ravel()).reshape(law.shape)


# --- paired estimates -----------------------------------------------------------------------------------


def test_change_and_value_are_paired_means() -> None:
    rng = np.random.default_rng(1)
    counts = draw(rng, pair_law(rng), 700)
    uncalled = np.diag(rng.integers(0, 300, size=N_NET))
    tally = tally_of(counts, uncalled)
    y0, ys = (i.ravel() for i in np.indices((N_NET, N_NET)) + NET_LOW)
    saved = np.repeat(y0 - ys, counts.sum(axis=0).ravel())
    value = call_value(tally, 0)
    assert value == normal_interval(700, int(saved.sum()), int(saved @ saved))
    assert value.mean == pytest.approx(saved.mean(), rel=1e-12)
    moved = change(tally)
    assert moved.mean * tally.n == pytest.approx(-saved.sum(), rel=1e-12)
    assert moved.high - moved.low < value.high - value.low
    assert tally.uncalled_differences() == 0


def test_the_paired_interval_covers_and_is_narrower_than_two_runs() -> None:
    rng = np.random.default_rng(2)
    law = pair_law(rng)
    truth = (law.sum(axis=0) * (V[:, None] - V[None, :])).sum()
    repeats, n, hits = 1000, 400, 0
    for _ in range(repeats):
        found = call_value(tally_of(draw(rng, law, n)), 0)
        hits += found.low <= truth <= found.high
    assert hits / repeats == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / repeats))
    # Common random numbers: var(X - Y) = var X + var Y - 2 cov (Law AM, Simulation Modeling and Analysis,
    # ch. 11; from memory).
    both = law.sum(axis=0)
    home, setting = both.sum(axis=1), both.sum(axis=0)
    own = home @ V**2 - (home @ V) ** 2 + setting @ V**2 - (setting @ V) ** 2
    covariance = V @ both @ V - (home @ V) * (setting @ V)
    big = tally_of(draw(rng, law, 10**6))
    assert variance_reduction(big, 0) == pytest.approx(own / (own - 2 * covariance), rel=0.02)
    assert variance_reduction(big) == variance_reduction(big, 0) > 1


def test_comparing_called_with_other_possessions_is_biased() -> None:
    # Calls are made where the possession has already gone badly for the defence; the pair knows, the
    # comparison of called with uncalled possessions does not. Truth: a steal saves all points with p = .15.
    rng = np.random.default_rng(3)
    n = 200_000
    danger = rng.random(n) < 0.5
    home_net = 2 * (rng.random(n) < np.where(danger, 0.7, 0.3))
    called = rng.random(n) < np.where(danger, 0.8, 0.1)
    stolen = called & (rng.random(n) < 0.15)
    setting_net = np.where(stolen, 0, home_net)
    home, setting = np.zeros((n, N_RECORD), np.int32), np.zeros((n, N_RECORD), np.int32)
    home[:, COLUMN["net"]], setting[:, COLUMN["net"]] = home_net, setting_net
    setting[:, COLUMN["first_call"]] = setting[:, COLUMN["call_spots"]] = called
    setting[:, COLUMN["outcome"]] = np.where(stolen, STEAL, ESCAPE) * called
    tally = PairTally.from_records(home, setting, 1)
    truth = 0.15 * 2 * (0.8 * 0.7 + 0.1 * 0.3) / (0.8 + 0.1)
    found = call_value(tally, 0)
    se = (found.high - found.low) / 2 / 1.96
    assert found.mean == pytest.approx(truth, abs=4 * se)
    naive = setting_net[~called].mean() - setting_net[called].mean()
    assert abs(naive - truth) > 40 * se
    assert tally.uncalled_differences() == 0
    # What the calls are worth, taken over all possessions, is the change.
    assert found.mean * tally.called() == pytest.approx(-change(tally).mean * n, rel=1e-12)


def test_each_call_value_of_single_calls_is_the_value() -> None:
    rng = np.random.default_rng(4)
    counts = draw(rng, pair_law(rng), 900)
    pairs = counts.sum(axis=0)
    y0, ys = (np.repeat(i.ravel(), pairs.ravel()) for i in np.indices((N_NET, N_NET)) + NET_LOW)
    single = PerCallTally.from_nets(np.stack([y0, ys], 1), np.ones((900, 1), int), 1)
    expected = call_value(tally_of(counts), 0)
    found = each_call_value(single, 0)
    assert asdict(found) == pytest.approx(asdict(expected), rel=1e-12)


# --- break-even -----------------------------------------------------------------------------------------


def test_break_even_identity_and_meaning() -> None:
    rng = np.random.default_rng(5)
    tally = tally_of(draw(rng, pair_law(rng), 5000))
    found, value = break_even(tally, 0), call_value(tally, 0)
    t, t_star = found.turnover_rate.mean, found.t_star.mean
    gain = found.conceded_otherwise - found.conceded_turnover
    assert value.mean == pytest.approx((t - t_star) * gain, abs=1e-12)
    assert found.turnover_rate == wilson(int(tally.joint[0, STEAL].sum()), 5000)
    # At the turnover rate t* the same beaten and stolen possessions would concede what home concedes.
    assert t_star * found.conceded_turnover + (1 - t_star) * found.conceded_otherwise == pytest.approx(
        found.conceded_home, abs=1e-12
    )
    assert found.possible_rate == t_star
    assert found.words == break_even_words(t, t_star)


def test_rounding_does_not_turn_a_rate_around() -> None:
    """Above its break-even, though what is printed beside (13 of 100) sounds less than what is needed."""
    assert break_even_words(0.1385, 0.134, 0.13) == "needs 1 turnover in 7, gets a little more"
    assert break_even_words(0.25, 0.134, 0.25) == "needs 1 turnover in 7, gets 1 in 4"


def test_break_even_interval_against_bootstrap_and_coverage() -> None:
    rng = np.random.default_rng(6)
    law = pair_law(rng)
    counts = draw(rng, law, 4000)
    found = break_even(tally_of(counts), 0)
    again = [break_even(tally_of(draw(rng, counts / 4000, 4000)), 0).t_star.mean for _ in range(1500)]
    # The standard error of a standard deviation of 1,500 draws is 1.8%.
    assert (found.t_star.high - found.t_star.low) / 2 / 1.96 == pytest.approx(np.std(again), rel=0.08)
    truth = break_even(tally_of(np.rint(law * 10**12).astype(np.int64)), 0).t_star.mean
    repeats = 1000
    hits = 0
    for _ in range(repeats):
        limits = break_even(tally_of(draw(rng, law, 2000)), 0).t_star
        hits += limits.low <= truth <= limits.high
    assert hits / repeats == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / repeats))


def test_break_even_interval_is_the_delta_method_by_finite_differences() -> None:
    # The same from the four plain moments: gradient by differences, covariance of the possessions by numpy.
    rng = np.random.default_rng(20)
    counts = rng.integers(0, 4, size=(2, N_NET, N_NET)) * np.array([1, 3])[:, None, None]
    counts[0, :, 6:] = 0  # turnovers pay, but differ much among themselves
    kind, y0, ys = (np.repeat(i.ravel(), counts.ravel()) for i in np.indices(counts.shape))
    y0, ys, turnover = y0 + NET_LOW, ys + NET_LOW, kind == 0
    plain = np.stack([turnover, ys * turnover, ys * ~turnover, y0]).astype(float)

    def t_star(m: np.ndarray) -> float:
        c_t, c_n = m[1] / m[0], m[2] / (1 - m[0])
        return (c_n - m[3]) / (c_n - c_t)

    middle = plain.mean(axis=1)
    steps = np.eye(4) * 1e-5
    gradient = np.array([(t_star(middle + s) - t_star(middle - s)) / 2e-5 for s in steps])
    se = np.sqrt(gradient @ np.cov(plain) @ gradient / plain.shape[1])
    found = break_even(tally_of(counts), 0).t_star
    assert found.mean == pytest.approx(t_star(middle), rel=1e-12)
    assert (found.high - found.low) / 2 == pytest.approx(normal_quantile(0.95) * se, rel=1e-6)


def test_a_single_turnover_gives_a_rate_without_an_interval() -> None:
    found = break_even(tally_of(_counts({(2, 0): 1}, {(2, 2): 4, (0, 2): 5})), 0)
    assert found.t_star.mean == pytest.approx((2 - 1) / (2 - 0)) and found.t_star.low is None


def _counts(turnovers: dict[tuple[int, int], int], others: dict[tuple[int, int], int]) -> np.ndarray:
    counts = np.zeros((2, N_NET, N_NET), dtype=np.int64)
    for kind, cells in enumerate((turnovers, others)):
        for (y0, ys), k in cells.items():
            counts[kind, y0 - NET_LOW, ys - NET_LOW] = k
    return counts


@pytest.mark.parametrize(
    ("turnovers", "others", "reason"),
    [
        ({}, {}, "never called"),
        ({}, {(2, 0): 5}, "no call ended in a turnover, so what one is worth was never seen"),
        ({(2, 0): 5}, {}, "every call ended in a turnover, so a beaten trap was never seen"),
        ({(0, 2): 5}, {(0, 1): 3}, "a turnover in the trap did not pay here"),
        ({(0, 2): 5}, {(0, 2): 3}, "a turnover in the trap did not pay here"),
    ],
)
def test_break_even_without_meaning_gives_its_reason(turnovers, others, reason: str) -> None:
    found = break_even(tally_of(_counts(turnovers, others)), 0)
    assert found.t_star.mean is None and found.possible_rate is None
    assert found.reason == found.words == reason


def test_break_even_beyond_0_and_1_is_said_in_words() -> None:
    without = break_even(tally_of(_counts({(2, 0): 5}, {(2, 1): 15})), 0)
    assert without.t_star.mean < 0 and without.possible_rate is None
    assert without.words == "pays without turnovers, gets 1 in 4"
    never = break_even(tally_of(_counts({(0, 1): 5}, {(0, 2): 15})), 0)
    assert never.t_star.mean >= 1 and never.words.startswith("cannot pay")


def test_no_verdict_on_turnovers_while_the_value_is_not_clear() -> None:
    rate, t_star = wilson(25, 100), Interval(0.1, 0.02, 0.18)
    even = BreakEven(rate, t_star, 0.5, 1.2, 1.0, None)
    for value in (Interval(0.1, 0.02, 0.18), Interval(-0.1, -0.18, -0.02)):
        assert even.words_for(value) == even.words == "needs 1 turnover in 10, gets 1 in 4"
    for value in (Interval(0.1, -0.02, 0.22), Interval(0.1), Interval(0.0, 0.0, 0.0)):
        assert even.words_for(value) == "cannot tell yet; it gets 1 in 4"
    none = BreakEven(wilson(0, 100), Interval(None), None, 1.2, 1.0, "no call ended in a turnover")
    assert none.words_for(Interval(0.1, -0.02, 0.22)) == "cannot tell yet; it gets none"
    assert none.words_for(Interval(0.3, 0.2, 0.4)) == "no call ended in a turnover"
    never = break_even(PairTally.zero(1), 0)
    assert never.words_for(Interval(None)) == "never called"


# --- small samples ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("called", [0, 1])
def test_no_or_one_call_gives_none_never_nan(called: int) -> None:
    home = np.zeros((3, N_RECORD), np.int32)
    setting = home.copy()
    setting[:called, COLUMN["first_call"]] = setting[:called, COLUMN["call_spots"]] = 1
    found = estimate_setting(PairTally.from_records(home, setting, 1), 10)
    text = json.dumps(asdict(found), allow_nan=False)
    assert "NaN" not in text
    call = found.calls[0]
    assert call.called == call.calls == called
    assert call.value.mean == (0.0 if called else None) and call.value.low is None
    assert call.variance_reduction is None and call.break_even.t_star.mean is None
    assert call.over_n.p_worse == (0.5 if called else None)  # identical, all ties
    assert call.outcomes["steal"] == (1.0 if called else None)
    assert set(call.after_escape.values()) == {None}
    assert change(PairTally.zero(1)).mean is None
    json.dumps(asdict(estimate_play(BoxTally.zero())), allow_nan=False)
    json.dumps(asdict(estimate_play(BoxTally.from_records(home[:1]))), allow_nan=False)


def test_a_call_has_all_its_parts() -> None:
    rng = np.random.default_rng(7)
    n = 3000
    home, setting = np.zeros((n, N_RECORD), np.int32), np.zeros((n, N_RECORD), np.int32)
    for block, p in ((home, 0.45), (setting, 0.40)):
        block[:, COLUMN["points"]] = block[:, COLUMN["net"]] = 2 * (rng.random(n) < p)
        block[:, COLUMN["rim_shot"]] = rng.integers(0, 2, size=n)
    setting[:, COLUMN["first_call"]] = rng.integers(1, 3, size=n)
    setting[:, COLUMN["call_spots"]] = setting[:, COLUMN["first_call"]] + 16
    setting[:, COLUMN["outcome"]] = rng.integers(0, len(OUTCOMES), size=n)
    setting[:, COLUMN["trapped_shot"]] = rng.integers(0, 2, size=n)
    setting[:, COLUMN["lost_by"]] = rng.integers(1, len(LOSSES) + 1, size=n)
    escaped = np.isin(
        setting[:, COLUMN["outcome"]], [OUTCOMES.index(o) for o in ("escape_pass", "retreat", "split")]
    )
    # What comes after a foul is recorded too, always a reset here: it is not "after an escape".
    after = np.where(escaped, rng.integers(0, len(AFTER), size=n), AFTER.index("reset"))
    setting[:, COLUMN["after"]] = after
    tally = PairTally.from_records(home, setting, 2)
    call = estimate_call(tally, 1, 20)
    here = setting[:, COLUMN["first_call"]] == 2
    assert call.called == here.sum() and call.calls == here.sum()
    assert tally.calls[0] == n + (~here).sum()
    assert call.called_per_100 == pytest.approx(100 * here.mean())
    assert sum(call.outcomes.values()) == pytest.approx(1) and tuple(call.outcomes) == OUTCOMES
    assert sum(call.after_escape.values()) == pytest.approx(1) and tuple(call.after_escape) == AFTER[1:]
    escapes = after[here & escaped]
    assert call.after_escape["reset"] == pytest.approx(
        (escapes == AFTER.index("reset")).sum() / (escapes > 0).sum()
    )
    assert call.break_even.turnover_rate.mean == pytest.approx(
        call.outcomes["steal"] + call.outcomes["other_turnover"]
    )
    assert call.called_branch.points.mean == pytest.approx(setting[here, COLUMN["points"]].mean())
    assert call.home_branch.p_two_or_more.mean == pytest.approx((home[here, COLUMN["points"]] >= 2).mean())
    assert call.home_branch.p_rim_shot.mean == pytest.approx((home[here, COLUMN["rim_shot"]] >= 1).mean())
    mu0 = home[here, COLUMN["net"]].mean()
    assert call.p_costs_points.mean == pytest.approx((setting[here, COLUMN["net"]] > mu0).mean())
    assert call.p_costs_points == p_costs_points(tally, 1)
    shots = here & (setting[:, COLUMN["outcome"]] == OUTCOMES.index("other"))
    shots &= setting[:, COLUMN["trapped_shot"]] > 0
    assert call.other_parts["trapped_shot"] == pytest.approx(shots.sum() / here.sum()) and shots.any()
    lost = here & (setting[:, COLUMN["outcome"]] <= OUTCOMES.index("other_turnover"))
    held = lost & (setting[:, COLUMN["lost_by"]] == 1 + LOSSES.index("held_ball"))
    assert call.turnover_parts["held_ball"] == pytest.approx(held.sum() / here.sum()) and held.any()
    assert sum(call.turnover_parts.values()) == pytest.approx(lost.sum() / here.sum(), rel=1e-12)
    assert sum(call.other_parts.values()) == pytest.approx(call.outcomes["other"], rel=1e-12)


def test_conceding_just_the_home_mean_does_not_cost_points() -> None:
    tally = tally_of(_counts({(2, 0): 1}, {(2, 2): 6, (2, 3): 3}))
    assert p_costs_points(tally, 0).mean == 0.3  # mu0 is exactly 2
    assert p_costs_points(PairTally.zero(1), 0).mean is None


# --- risk over n calls ------------------------------------------------------------------------------------


def apart(home: np.ndarray, called: np.ndarray) -> np.ndarray:
    """Pairs with these marginals, home and setting independent of each other."""
    return np.outer(home, called)


def test_over_n_is_brute_force_with_ties_half() -> None:
    # Home concedes 2 with 1/2 (mu0 = 1), the call 2 with 1/4 or -1 with 1/4; n = 2: sums against 2.
    home, called = np.zeros(N_NET, int), np.zeros(N_NET, int)
    home[[0 - NET_LOW, 2 - NET_LOW]] = 10, 10
    called[[-1 - NET_LOW, 0 - NET_LOW, 2 - NET_LOW]] = 5, 10, 5
    found = over_n(apart(home, called), 2)
    # Sums of two: 4 with 1/16, 2 with 1/4 (the tie), lower ones otherwise.
    assert found.p_above_home_mean == pytest.approx(1 / 16 + 0.5 / 4, rel=1e-12)
    # Against two others at home, every pair of pairs spelled out: sums -2, -1, 0, 1, 2, 4 against 0, 2, 4.
    under = {p + q: 0.0 for p in (-1, 0, 2) for q in (-1, 0, 2)}
    for p, w in ((-1, 0.25), (0, 0.5), (2, 0.25)):
        for q, x in ((-1, 0.25), (0, 0.5), (2, 0.25)):
            under[p + q] += w * x
    others = {0: 0.25, 2: 0.5, 4: 0.25}
    worse = sum(w * x * ((a > b) + 0.5 * (a == b)) for a, w in under.items() for b, x in others.items())
    assert found.p_worse == pytest.approx(worse, rel=1e-12)
    assert found.worst_5_percent == pytest.approx(4 - 2, rel=1e-12)  # 1/16 > 5%: all of the worst are 4
    assert found.worst_5_percent_home == pytest.approx(4 - 2, rel=1e-12)
    same = over_n(apart(home, home), 7)
    assert same.p_worse == pytest.approx(0.5, abs=1e-12)  # symmetric about its mean
    with pytest.raises(ValueError, match="1 or more"):
        over_n(apart(home, called), 0)


def test_over_n_against_simulation_and_the_normal_limit() -> None:
    rng = np.random.default_rng(8)
    law = pair_law(rng).sum(axis=0)
    home, called = (np.rint(law.sum(axis=axis) * 10**6).astype(np.int64) for axis in (1, 0))
    n, draws = 20, 200_000
    found = over_n(apart(home, called), n)
    mu0 = home @ V / home.sum()
    sums = rng.multinomial(n, called / called.sum(), size=draws) @ V - n * mu0
    assert found.p_above_home_mean == pytest.approx((sums > 0).mean(), abs=4 * 0.5 / np.sqrt(draws))
    others = rng.multinomial(n, home / home.sum(), size=draws) @ V - n * mu0
    worse = (sums > others + 1e-9) + 0.5 * (np.abs(sums - others) < 1e-9)
    assert found.p_worse == pytest.approx(worse.mean(), abs=4 * 0.5 / np.sqrt(draws))
    worst = np.sort(sums)[-draws // 20 :]
    assert found.worst_5_percent == pytest.approx(worst.mean(), abs=4 * sums.std() / np.sqrt(draws / 20) * 2)
    # Central limit: CVaR of the sum about n mu0 is n (mu - mu0) + 2.062713 sigma sqrt n.
    n = 2000
    far = over_n(apart(home, home), n).worst_5_percent_home
    sigma = np.sqrt(home @ V**2 / home.sum() - mu0**2)
    assert far == pytest.approx(2.062713 * sigma * np.sqrt(n), rel=0.01)


def test_worst_of_a_single_call_splits_the_atom() -> None:
    hist = np.zeros(N_NET, int)
    hist[[0 - NET_LOW, 2 - NET_LOW, 3 - NET_LOW]] = 50, 47, 3
    assert over_n(apart(hist, hist), 1).worst_5_percent == pytest.approx(2.6 - (0.94 + 0.09), rel=1e-12)
    assert cvar(V, hist / 100, 0.95) == pytest.approx(2.6, rel=1e-12)


# --- words --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rate", "words"),
    [
        (0.0, "never"), (0.01, "almost never"), (1 / 60, "1 in 60"), (0.1667, "1 in 6"), (0.26, "1 in 4"),
        (0.4, "2 in 5"), (0.5, "1 in 2"), (0.67, "2 in 3"), (0.76, "3 in 4"), (0.91, "9 in 10"),
        (0.97, "almost always"), (1.0, "always"), (0.07, "1 in 14"), (0.19, "1 in 5"), (0.09, "1 in 11"),
    ],
)  # fmt: skip
def test_one_in(rate: float, words: str) -> None:
    assert one_in(rate) == words


def test_who_divides_what_is_printed_has_the_same() -> None:
    """100 over what is printed of 100, rounded: the number after 1 in, from 1 in 20 to 1 in 3."""
    for n in range(5, 34):
        times, of = one_in(n / 100).split(" in ")
        assert times == "1" and abs(int(of) - 100 / n) <= 0.5


def test_a_rate_is_told_as_its_parts_are_printed() -> None:
    """10 and 9 of 100 are printed of .0954 and .0878: 1 in 5, though .1832 alone would be 1 in 5 or 6."""
    rate, clear = wilson(1832, 10_000), Interval(0.1, 0.05, 0.15)
    even = BreakEven(rate, Interval(0.089), 0.1, 1.0, 1.0, None)
    assert even.words_for(clear, 19) == "needs 1 turnover in 11, gets 1 in 5"
    assert even.words_for(clear, 15) == "needs 1 turnover in 11, gets 1 in 7"
    assert even.words_for(Interval(0.1, -0.1, 0.3), 12) == "cannot tell yet; it gets 1 in 8"


def test_one_in_is_near_the_rate() -> None:
    for rate in np.linspace(1 / 60, 0.95, 500):
        times, of = one_in(rate).split(" in ")
        assert int(times) / int(of) == pytest.approx(rate, abs=0.051, rel=0.11)
    for bad in (-0.1, 1.1, float("nan")):
        with pytest.raises(ValueError, match="rate"):
            one_in(bad)


@pytest.mark.parametrize(
    ("t", "t_star", "words"),
    [
        (0.25, 1 / 6, "needs 1 turnover in 6, gets 1 in 4"),
        (0.0, 2 / 3, "needs 2 turnovers in 3, gets none"),
        (0.17, 0.165, "needs 1 turnover in 6, gets a little more"),
        (0.165, 0.17, "needs 1 turnover in 6, gets a little less"),
        (0.01, 0.3, "needs 1 turnover in 3, gets almost none"),
        (0.25, -0.2, "pays without turnovers, gets 1 in 4"),
        (0.25, 1.0, "cannot pay, gets 1 in 4"),
        (0.25, 0.005, "needs a turnover almost never, gets 1 in 4"),
        (0.25, None, "no break-even rate, gets 1 in 4"),
    ],
)
def test_break_even_words(t: float, t_star: float | None, words: str) -> None:
    assert break_even_words(t, t_star) == words
