"""The opponent's sheet beside the model: both counted alike, the ranges of the sheet, the table."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats
from sheet_files import COUNTED_HEAD, FIVE, counted, write_evening

from engine.estimate.intervals import Interval
from engine.estimate.men import KINDS, PLAY, POINTS, SHOTS, MenTally, weights
from engine.inputs.sheets import load_evening
from engine.report.screen.sheet import sheet_lines
from engine.report.sheet_view import MUCH, sheet_advice
from engine.study.evening_report import Played
from engine.study.evening_result import ReportSize
from engine.study.play import play
from engine.study.sheet.counts import SheetCounts, sheet_counts
from engine.study.sheet.men import play_men
from engine.study.sheet.rows import Row, poisson_limits, rows

N = 3000


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder = tmp_path_factory.mktemp("counted") / "sheets"
    return load_evening(write_evening(folder, {"opponent.csv": counted()}))


@pytest.fixture(scope="module")
def tally(evening: Any) -> MenTally:
    return play_men(evening.scenario, N, 1)


# --- what the men did, from events ------------------------------------------------------------------------


def test_the_counts_of_the_men_add_up_to_the_records(evening: Any, tally: MenTally) -> None:
    home = evening.scenario.model_copy(update={"settings": ()})
    box = play(home, N, 1).tally.box
    total = dict(zip(KINDS, tally.sums.sum(axis=0).tolist(), strict=True))
    assert total["twos"] + total["threes"] == box.total("fga") > 0
    assert total["threes"] == box.total("three_attempts") > 0
    assert total["twos_made"] + total["threes_made"] == box.total("fgm")
    assert (total["free_throws"], total["free_throws_made"]) == (box.total("fta"), box.total("ftm"))
    assert total["turnovers"] == box.total("turnovers") > 0
    assert sum(total[kind] * value for kind, value in POINTS.items()) == box.total("points")


def test_the_counts_are_the_same_for_any_number_of_threads(evening: Any, tally: MenTally) -> None:
    assert play_men(evening.scenario, N, 1, threads=1) == tally
    assert play_men(evening.scenario, N, 1, threads=3) == tally
    assert play_men(evening.scenario, N, 2) != tally


def test_the_threes_of_the_model_are_those_that_compare_prints(evening: Any, tally: MenTally) -> None:
    rates = play(evening.scenario.model_copy(update={"settings": ()}), N, 1).to_dict()["rates"]
    found = tally.rate(weights({"threes": 1}), weights(SHOTS))
    assert found.mean == rates["three_attempts"]["mean"]
    effective = tally.rate(weights({"twos_made": 2, "threes_made": 3}), weights({"twos": 2, "threes": 2}))
    assert effective.mean == pytest.approx(rates["effective_field_goal"]["mean"], rel=1e-12)


def test_the_interval_of_a_rate_is_that_of_the_possessions(evening: Any) -> None:
    """Against the variance worked out possession by possession (numpy)."""
    rng = np.random.default_rng(4)
    counts = rng.integers(0, 3, (500, 5, len(KINDS)))
    y, x = counts[:, 1, 0].astype(float), counts[..., [0, 2]].sum(axis=(1, 2)).astype(float)
    found = MenTally.of(counts).rate(weights({"twos": 1}, (1,)), weights(SHOTS))
    ratio = y.sum() / x.sum()
    error = math.sqrt(np.var(y - ratio * x, ddof=1) * 500) / x.sum()
    assert found.mean == pytest.approx(ratio, rel=1e-12)
    assert found.low is not None and found.high is not None
    assert (found.high - found.low) / (2 * 1.959963984540054) == pytest.approx(error, rel=1e-9)


# --- the sheet --------------------------------------------------------------------------------------------


def test_the_sheet_is_read_by_place(evening: Any) -> None:
    found = sheet_counts(evening)
    assert found is not None and found.attempts and found.men == (0, 1, 2, 3, 4)
    five = evening.scenario.offence_team.lineup
    assert found.numbers == five
    for place, number in enumerate(five):
        twos_made, twos, threes_made, threes, made, free, lost = FIVE[number]
        assert found.counts[place].tolist() == [twos, twos_made, threes, threes_made, free, made, lost]


@pytest.mark.parametrize("known", [5, 3, 2])
def test_men_without_counts_are_left_out_and_too_few_are_no_side(known: int, tmp_path: Path) -> None:
    table = counted()
    for line in table[1 + known :]:
        line[3:] = [""] * len(line[3:])
    found = sheet_counts(load_evening(write_evening(tmp_path, {"opponent.csv": table})))
    assert (found is None) == (known < 3)
    if found is not None:
        assert {found.numbers[man] for man in found.men} == set(list(FIVE)[:known])


def test_makes_alone_are_compared_with_makes(tmp_path: Path) -> None:
    table = [
        [cell for i, cell in enumerate(line) if "attempted" not in COUNTED_HEAD[i]] for line in counted()
    ]
    evening = load_evening(write_evening(tmp_path, {"opponent.csv": table}))
    found = sheet_counts(evening)
    assert found is not None and not found.attempts
    shown = rows(found, play_men(evening.scenario, 500, 1))
    assert [row.key for row in shown[:2]] == ["threes_of_made", "made"]
    assert shown[0].sheet.mean == 67 / (67 + 229)


def test_a_blank_sheet_has_nothing_to_compare(tmp_path: Path) -> None:
    found = load_evening(write_evening(tmp_path, {"opponent.csv": [["number", "twos"], ["5", "45%"]]}))
    assert sheet_counts(found) is None
    assert Played(found, 5, effort=ReportSize(possessions=50)).part("sheet") == {}


# --- its ranges -------------------------------------------------------------------------------------------


def rates_of_sheet(evening: Any, tally: MenTally) -> dict[tuple[str, int | None], Interval]:
    found = sheet_counts(evening)
    assert found is not None
    return {(row.key, row.number): row.sheet for row in rows(found, tally)}


def test_shares_have_the_limits_of_wilson(evening: Any, tally: MenTally) -> None:
    """scipy.stats.binomtest(...).proportion_ci("wilson")."""
    found = rates_of_sheet(evening, tally)
    shots = sum(two + three for _, two, _, three, *_ in FIVE.values())
    for key, k, n in (
        (("threes", None), 205, shots),
        (("two_point", None), 229, 477),
        (("three_point", None), 67, 205),
        (("shots", 10), 183, shots),
        (("man_threes", 10), 95, 183),
    ):
        limits = stats.binomtest(k, n).proportion_ci(0.95, "wilson")
        assert found[key].mean == k / n
        assert (found[key].low, found[key].high) == pytest.approx((limits.low, limits.high), rel=1e-9)


@pytest.mark.parametrize("count", [0, 1, 12.5, 104.5])
def test_trips_have_the_limits_of_jeffreys(count: float) -> None:
    """scipy.stats.gamma: the posterior of a Poisson mean with Jeffreys' prior is gamma(count + 1/2)."""
    low, high = poisson_limits(count)
    expected = stats.gamma(count + 0.5).interval(0.95)
    assert high == pytest.approx(expected[1], rel=1e-9)
    assert low == (0.0 if count == 0 else pytest.approx(expected[0], rel=1e-9))


def test_free_throws_effective_share_turnovers_and_points(evening: Any, tally: MenTally) -> None:
    """From lists of what each shot and play brought (numpy), and scipy's Wilson limits for whole plays."""
    found = rates_of_sheet(evening, tally)
    shots, free, lost = 682, 209, 164
    assert found["free_throws", None].mean == free / shots
    low, high = stats.gamma(free / 2 + 0.5).interval(0.95)
    assert found["free_throws", None].low == pytest.approx(2 * low / shots, rel=1e-9)
    assert found["free_throws", None].high == pytest.approx(2 * high / shots, rel=1e-9)
    worth = np.repeat([0.0, 1.0, 1.5], [shots - 229 - 67, 229, 67])
    half = 1.959963984540054 * worth.std(ddof=1) / math.sqrt(shots)
    effective = found["effective", None]
    assert (effective.mean, effective.high) == pytest.approx((worth.mean(), worth.mean() + half), rel=1e-9)
    plays = shots + 0.44 * free + lost
    turnovers = found["turnovers", None]
    assert turnovers.mean == pytest.approx(lost / plays, rel=1e-12)
    around = [stats.binomtest(lost, n).proportion_ci(0.95, "wilson") for n in (int(plays), math.ceil(plays))]
    assert turnovers.low is not None and around[1].low <= turnovers.low <= around[0].low
    points = found["points", None]
    assert points.mean == pytest.approx((2 * 229 + 3 * 67 + 130) / plays, rel=1e-12)


def test_the_range_of_points_holds_what_such_plays_bring() -> None:
    """2,000 sheets of 400 plays drawn play by play: the range holds the true mean in 93 to 97 of 100."""
    from engine.study.sheet.rows import SIDE

    rng = np.random.default_rng(7)
    held, sheets, n = 0, 2000, 400
    # two, three, trip of two free throws, lost ball; shares of plays and chances
    share = np.array([0.45, 0.25, 0.12, 0.18])
    truth = 0.45 * 2 * 0.48 + 0.25 * 3 * 0.34 + 0.12 * (2 * 0.7)
    truth /= 0.45 + 0.25 + 0.12 * 0.88 + 0.18
    for _ in range(sheets):
        twos, threes, trips, lost = rng.multinomial(n, share)
        of = {
            "twos": twos, "twos_made": rng.binomial(twos, 0.48), "threes": threes,
            "threes_made": rng.binomial(threes, 0.34), "free_throws": 2 * trips,
            "free_throws_made": rng.binomial(2 * trips, 0.7), "turnovers": lost,
        }  # fmt: skip
        rate = SIDE[True]["points"]
        above = sum(of[kind] * weight for kind, weight in rate.above.items())
        below = sum(of[kind] * weight for kind, weight in PLAY.items())
        found = rate.limits(above, below, of)
        assert found.low is not None and found.high is not None
        held += found.low <= truth <= found.high
    assert 0.93 <= held / sheets <= 0.97


# --- the table ----------------------------------------------------------------------------------------------


def test_the_model_is_flagged_outside_the_range_alone() -> None:
    sheet = Interval(0.4, 0.35, 0.45)
    assert not Row("threes", None, sheet, 0.45, 0.01).outside
    assert Row("threes", None, sheet, 0.451, 0.01).outside
    assert Row("threes", None, sheet, 0.349, 0.01).outside
    assert not Row("threes", None, Interval(0.4), 0.9, 0.01).outside


@pytest.mark.parametrize(
    ("key", "model", "words"),
    [
        ("threes", 0.6, "40 of 100 shots are threes, in the model 60: calls that take threes away"),
        ("threes", 0.2, "calls that give up threes"),
        ("threes_of_made", 0.6, "40 of 100 shots made are threes"),
        ("turnovers", 0.6, "a trap may win less than it says"),
        ("threes", 0.4 + (MUCH - 1) / 100, ""),
        ("points", 0.9, ""),
    ],
)
def test_advice_is_one_sentence_where_they_differ_by_much(key: str, model: float, words: str) -> None:
    row = Row(key, None, Interval(0.4, 0.37, 0.43), model, 0.01).to_dict()
    said = sheet_advice({"rows": [row]})
    assert (words in said) and bool(said) == bool(words) and said.count(".") <= 1
    inside = Row(key, None, Interval(0.4, 0.1, 0.95), model, 0.01).to_dict()
    assert sheet_advice({"rows": [inside]}) == ""


def test_the_table_is_narrow_and_says_every_rate(evening: Any) -> None:
    found = Played(evening, 5, effort=ReportSize(possessions=N)).part("sheet")
    lines = sheet_lines(found)
    assert max(map(len, lines)) <= 80
    assert len(found["rows"]) == 7 + 2 * 5
    for number in FIVE:
        assert any(line.lstrip().startswith(f"No. {number}:") for line in lines)
    assert sum(line.endswith("outside") for line in lines) == sum(row["outside"] for row in found["rows"])


def width(row: Row) -> float:
    assert row.sheet.low is not None and row.sheet.high is not None
    return row.sheet.high - row.sheet.low


def test_a_sheet_of_more_shots_is_known_better(evening: Any, tally: MenTally) -> None:
    sheet = sheet_counts(evening)
    assert isinstance(sheet, SheetCounts)
    more = rows(dataclasses.replace(sheet, counts=10 * sheet.counts), tally)
    for few, many in zip(rows(sheet, tally), more, strict=True):
        assert few.sheet.mean == pytest.approx(many.sheet.mean)
        if few.sheet.mean not in (0.0, 1.0):
            assert width(few) > 2.5 * width(many)
