"""Slopes of many factors at once, and the luck of a quotient, against functions with known answers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from sweep_runs import design_file, run_into
from sweep_tables import SETTING, Z, sweep_of

from engine import cli
from engine.inputs import load_constants
from engine.report.sweep_figures import draw
from engine.study.sweep.analyse.analysis import analyse, codes_of, read
from engine.study.sweep.analyse.indices import GIVEN
from engine.study.sweep.analyse.luck import NOT_KNOWN, Luck
from engine.study.sweep.analyse.slopes import slopes
from engine.study.sweep.design import load_design
from engine.study.sweep.design_file import Factor
from engine.study.sweep.factors import NUMERICAL
from engine.study.sweep.sampling import balanced, drawn

ROOT = Path(__file__).parents[1]
NAMES = tuple(f"x{i}" for i in range(1, 21))
#: A known additive function of twenty factors, the last fourteen of which do nothing.
SLOPES = np.array([2.0, -1.5, 1.0, -0.8, 0.6, 0.5, *[0.0] * 14])
N = 150
NO_NAMES = np.zeros(20, dtype=bool)


def cube(n: int = N, seed: int = 3) -> pd.DataFrame:
    factors = [Factor(path=name, low=0.0, high=1.0) for name in NAMES]
    return pd.DataFrame(drawn("latin_hypercube", factors, n, seed))


def events(rng: np.random.Generator) -> np.ndarray:
    """Calls at the points: few at some, many at others."""
    return rng.integers(5, 200, N).astype(float)


def independent(y: np.ndarray, weight: np.ndarray, size: float, rng: np.random.Generator) -> tuple:
    """Values with luck that falls with the events they rest on, and what is known of it."""
    variance = size**2 / weight
    return y + np.sqrt(variance) * rng.standard_normal(len(y)), Luck(variance, None, True)


def test_the_slopes_of_an_additive_function_lie_within_their_intervals() -> None:
    """Over 200 draws of luck, interval by interval, and the floor by what the fourteen without effect do."""
    units, rng = cube().to_numpy(), np.random.default_rng(1)
    inside, passed = np.zeros(20), 0
    for _ in range(200):
        weight = events(rng)
        y, luck = independent(units @ SLOPES, weight, 4.0, rng)
        found = slopes(units, NO_NAMES, y, weight, luck)
        inside += np.abs(found.slope - SLOPES) <= found.half
        passed += bool((np.abs(found.slope) > found.floor)[6:].any())
    # 4,000 intervals: 4 standard errors of a share of .95 are .014, if all were independent
    assert inside.mean() / 200 == pytest.approx(0.95, abs=0.014), inside
    assert passed <= 200 * 0.05 + 4 * np.sqrt(200 * 0.05 * 0.95), passed


def test_points_weigh_what_they_rest_on() -> None:
    """Weighted by events the slopes are nearer the truth than with all points alike."""
    units, rng = cube().to_numpy(), np.random.default_rng(2)
    wrong = np.zeros(2)
    for _ in range(50):
        weight = events(rng)
        y, luck = independent(units @ SLOPES, weight, 4.0, rng)
        for i, one in enumerate((weight, np.ones(N))):
            wrong[i] += ((slopes(units, NO_NAMES, y, one, luck).slope - SLOPES) ** 2).sum()
    assert wrong[0] < 0.8 * wrong[1], wrong


def test_what_lines_explain_of_what_is_true() -> None:
    units, rng = cube(600).to_numpy(), np.random.default_rng(3)
    weight = np.full(600, 100.0)
    straight, luck = independent(units @ SLOPES, weight, 3.0, rng)
    assert slopes(units, NO_NAMES, straight, weight, luck).explained == pytest.approx(1.0, abs=0.05)
    bent = units @ SLOPES + 8.0 * (units[:, 8] - 0.5) ** 2
    true = np.var(units @ SLOPES) / np.var(bent)
    y, luck = independent(bent, weight, 3.0, rng)
    found = slopes(units, NO_NAMES, y, weight, luck)
    assert found.explained == pytest.approx(true, abs=0.08) and abs(found.slope[8]) < found.floor[8]
    nothing = slopes(units, NO_NAMES, *independent(np.zeros(600), weight, 3.0, rng)[:1], weight, luck)
    assert np.isnan(nothing.explained) or nothing.explained < 0.6


def test_luck_that_points_share_and_that_runs_along_a_factor_is_in_the_error() -> None:
    """All points play the same possessions, in which x20 happens to help: not an effect of x20."""
    units, rng = cube().to_numpy(), np.random.default_rng(4)
    passed = {True: 0, False: 0}
    for _ in range(60):
        batches = rng.standard_normal((8, 1)) * units[:, 19] + 0.05 * rng.standard_normal((8, N))
        y = units @ SLOPES + batches.mean(axis=0)
        for told in passed:
            luck = Luck(np.full(N, 0.2), batches.T if told else None, not told)
            found = slopes(units, NO_NAMES, y, np.ones(N), luck)
            passed[told] += bool(abs(found.slope[19]) > found.half[19])
    assert passed[True] <= 60 * 0.05 + 4 * np.sqrt(60 * 0.05 * 0.95) < 40 < passed[False], passed


def test_names_are_allowed_for_and_not_ranked() -> None:
    """A factor of names acts; the slopes beside it are those of the numbers, and it has none itself."""
    points, rng = cube(), np.random.default_rng(5)
    front = rng.choice(["two guards", "overload", "high post"], N)
    y = points.to_numpy() @ SLOPES + 3.0 * (front == "overload") + 0.01 * rng.standard_normal(N)
    table = analyse(sweep_of(points.assign(front=front), y, 0.01)).slopes.set_index("factor")
    assert table["slope"].loc[list(NAMES)].to_numpy() == pytest.approx(SLOPES, abs=0.05)
    assert np.isnan(table.loc["front", "slope"]) and table.loc["front", "rank"] == 21
    assert not table.loc["front", "named"] and list(table.index[:3]) == ["x1", "x2", "x3"]


@pytest.mark.parametrize(
    ("n", "luck", "reason"),
    [
        (50, "independent", "50 points played, 51 are needed"),
        (60, "common", NOT_KNOWN),
    ],
)
def test_where_there_are_no_slopes_the_reason_is(n: int, luck: str, reason: str) -> None:
    points = cube(n)
    table = analyse(sweep_of(points, points.to_numpy() @ SLOPES, 0.1, luck)).slopes
    assert (table["reason"] == reason).all() and table["slope"].isna().all() and not table["named"].any()


def test_factors_that_move_together_are_not_told_apart() -> None:
    units = cube().to_numpy().copy()
    units[:, 5] = 1.0 - units[:, 4]
    found = slopes(units, NO_NAMES, units @ SLOPES, np.ones(N), Luck(np.full(N, 0.01), None, True))
    assert "cannot be told apart" in found.reason and np.isnan(found.slope).all()


def test_the_picture_of_slopes_says_what_it_shows(tmp_path: Path) -> None:
    points = cube()
    found = analyse(sweep_of(points, points.to_numpy() @ SLOPES, 0.05))
    assert set(found.tables) == {"indices", "curves", "trade_off", "slopes"}
    files = {path.name: path for path in draw(found, tmp_path)}
    text = files[f"slopes_{SETTING.replace(' ', '_')}.svg"].read_text()
    for piece in ("150 points", "95 %", "floor", "explain", "20 factors", "net points per possession"):
        assert piece in text, piece


# --- a random balance ---------------------------------------------------------------------------------------


def test_a_random_balance_moves_every_factor_as_often_and_each_by_itself() -> None:
    factors = [Factor(path=name, low=0.0, high=10.0, own=float(i % 9)) for i, name in enumerate(NAMES, 1)]
    table = pd.DataFrame(balanced(factors, 400, 0.1, 3))
    for factor in factors:
        column = table[factor.path]
        if factor.own != 0.0:
            assert (column == 0.0).sum() == 20
        assert (column == 10.0).sum() == 20 and column.isin([0.0, 10.0, factor.own]).all()
    # one factor's points say nothing of another's: correlations as of 400 draws by chance, 4 errors allowed
    moved = (table.to_numpy() - [factor.own for factor in factors]) != 0.0
    away = np.corrcoef(moved.T) - np.eye(20)
    assert np.abs(away).max() < 4.0 / np.sqrt(400) and 1.0 < moved.sum(axis=1).mean() <= 2.0
    assert codes_of(table).structure() == GIVEN
    assert balanced(factors, 400, 0.1, 3) == balanced(factors, 400, 0.1, 3) != balanced(factors, 400, 0.1, 4)
    few = pd.DataFrame(balanced(factors[:1], 5, 0.1, 1))["x1"].tolist()
    assert sorted(few) == [0.0, 1.0, 1.0, 1.0, 10.0], "at least once at each end"


def test_a_random_balance_finds_the_slopes_of_an_additive_function() -> None:
    factors = [Factor(path=name, low=0.0, high=1.0, own=0.3) for name in NAMES]
    points = pd.DataFrame(balanced(factors, 300, 0.2, 5))
    rng = np.random.default_rng(6)
    y = points.to_numpy() @ SLOPES + 0.1 * rng.standard_normal(300)
    table = analyse(sweep_of(points, y, 0.1)).slopes.set_index("factor").loc[list(NAMES)]
    assert table["slope"].to_numpy() == pytest.approx(SLOPES, abs=0.12)
    assert table["named"].tolist() == [True] * 6 + [False] * 14 and (table["rank"].iloc[:6] <= 6).all()


def test_constants_by_name_stand_at_the_scenario_s_own_value(tmp_path: Path) -> None:
    text = (ROOT / "configs" / "sweeps" / "every_constant_balance.toml").read_text()
    file = tmp_path / "two.toml"
    every = 'path = "constants.*"'
    file.write_text(text.replace(every, f'{every}\nnames = ["trap_set_m", "look_s"]'))
    design = load_design(file)
    known = load_constants()
    assert [factor.path for factor in design.factors] == ["constants.trap_set_m", "constants.look_s"]
    for factor in design.factors:
        one = known[factor.path.split(".")[1]]
        own = design.opened.base.constants[factor.path.split(".")[1]]
        assert (factor.low, factor.own, factor.high) == (one.low, own, one.high)
        values = [point[factor.path] for point in design.points]
        assert values.count(one.low) == values.count(one.high) == 50 and values.count(own) == 900


# --- a worth ------------------------------------------------------------------------------------------------


def test_a_worth_has_luck_that_its_batches_tell(tmp_path: Path) -> None:
    """Of a real store on common luck: a batch says R + (y - R x) / mean x, by hand from its tally."""
    file = design_file(tmp_path, possessions=3600, batch=300)
    run_into(tmp_path / "s.db", load_design(file))
    sweep = read(tmp_path / "s.db", "value")
    batches = sweep.batches[(SETTING, "value")]
    rows = sweep.table[sweep.table["setting"] == SETTING]
    assert batches.shape == (len(rows), 12)
    assert batches.mean(axis=1) == pytest.approx(rows["value"].to_numpy(), abs=1e-12)
    # spread of the batches' means against the interval of the whole, which knows every possession
    half = (rows["value_high"] - rows["value_low"]).to_numpy() / 2.0 / Z
    told = batches.std(axis=1, ddof=1) / np.sqrt(12)
    # a standard error from 12 batches is itself known to about a fifth (normal theory), 4 of that allowed
    known = np.isfinite(half)
    assert known.any() and 0.2 < np.mean((told / half)[known]) < 1.8


@pytest.mark.full
def test_every_constant_at_once_from_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The shipped design moves every constant; with few points it says how many slopes would need."""
    shipped = load_design("every_constant_balance")
    wanted = {f"constants.{name}" for name, one in load_constants().items() if name not in NUMERICAL}
    assert {factor.path for factor in shipped.factors} == wanted and shipped.luck == "independent"
    assert len(shipped.points) - len(wanted) > 600
    text = (ROOT / "configs" / "sweeps" / "every_constant_balance.toml").read_text()
    text = text.replace("points = 1000", "points = 70").replace("= 1000", "= 60")
    file = tmp_path / "few.toml"
    file.write_text(text)
    store = str(tmp_path / "few.db")
    assert cli.run(["sweep", str(file), "--store", store, "--quiet"]) == 0
    assert cli.run(["analyse", store, "-o", str(tmp_path / "out"), "--quantity", "value"]) == 0
    table = pd.read_csv(tmp_path / "out" / "slopes.csv")
    assert set(table["factor"]) == wanted and table["reason"].str.contains("are needed").all()
