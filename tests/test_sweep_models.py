"""Screening, metamodel, the gate of indices and their floors, against functions with known answers."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sweep_runs import design_file, run_into
from sweep_tables import EXACT, SETTING, ishigami, sweep_of, unit_design

from engine import cli
from engine.errors import InputError
from engine.inputs import load_constants
from engine.report.sweep_figures import draw
from engine.study.sweep.analyse.analysis import analyse, codes_of, read, units_of
from engine.study.sweep.analyse.files import put, whole_folder
from engine.study.sweep.analyse.indices import GIVEN, MORRIS, WIDEST, indices
from engine.study.sweep.analyse.luck import Luck
from engine.study.sweep.analyse.metamodel import fit
from engine.study.sweep.analyse.screening import screen
from engine.study.sweep.design import load_design
from engine.study.sweep.design_file import Factor
from engine.study.sweep.factors import NUMERICAL
from engine.study.sweep.gather import plain_cells
from engine.study.sweep.sampling import drawn

NAMES = tuple(f"x{i}" for i in range(1, 9))
#: A known additive function: slopes over the range of each factor; the last four do nothing.
SLOPES = np.array([4.0, -2.0, 1.0, 0.5, 0.0, 0.0, 0.0, 0.0])


def trajectories(n: int, seed: int = 3) -> pd.DataFrame:
    return pd.DataFrame(drawn("morris", [Factor(path=name, low=0.0, high=1.0) for name in NAMES], n, seed))


def luck_of(n: int, size: float, seed: int, batches: int = 4) -> np.ndarray:
    """Independent luck of the points' batches, float64[n, batches]; their means have the size asked for."""
    return size * np.sqrt(batches) * np.random.default_rng(seed).standard_normal((n, batches))


# --- screening ----------------------------------------------------------------------------------------------


def test_a_screening_finds_the_slopes_of_an_additive_function() -> None:
    points = trajectories(20)
    assert len(points) == 20 * 9 and codes_of(points).structure() == MORRIS
    y = points.to_numpy() @ SLOPES
    luck = luck_of(len(y), 0.05, 1)
    sweep = sweep_of(
        points, y + luck.mean(axis=1), 0.05, "common", batches={(SETTING, "change"): y[:, None] + luck}
    )
    table = analyse(sweep).screening.set_index("factor")
    assert list(table.index[:4]) == ["x1", "x2", "x3", "x4"] and list(table["rank"]) == list(range(1, 9))
    assert table["mu"].loc[list(NAMES)].to_numpy() == pytest.approx(SLOPES, abs=0.12)
    assert table["named"].loc[list(NAMES)].tolist() == [True] * 4 + [False] * 4
    inside = (table["mu_star_low"] <= table["mu_star"]) & (table["mu_star"] <= table["mu_star_high"])
    assert inside.all() and (table["trajectories"] == 20).all() and (table["reason"] == "").all()
    assert (table["sigma"] < 0.2).all(), "additive: nothing hangs on the others, once luck is taken out"


def test_a_screening_tells_interplay_from_slope() -> None:
    points = trajectories(30)
    x = points.to_numpy()
    y = 2.0 * x[:, 0] + 6.0 * (x[:, 1] - 0.5) * (x[:, 2] - 0.5)
    table = analyse(sweep_of(points, y)).screening.set_index("factor")
    assert table.loc["x1", "sigma"] < 0.01 < 1.0 < table.loc["x2", "sigma"]
    assert abs(table.loc["x2", "mu"]) < table.loc["x2", "mu_star"] / 1.5


def test_the_floor_of_a_screening_holds_for_all_factors_together() -> None:
    """Nothing has an effect: the greatest of the eight passes the floor in about 5 of 100 screenings."""
    units = trajectories(10).to_numpy()
    passed = 0
    for seed in range(100):
        batches = luck_of(len(units), 1.0, seed, 12)
        luck = Luck(np.full(len(units), 1.0), batches, False)
        found = screen(units, batches.mean(axis=1), luck)
        passed += bool((found.mu_star > found.floor).any())
    assert passed <= 14, passed


def test_too_few_trajectories_give_a_reason() -> None:
    points = trajectories(5)
    y = points.to_numpy() @ SLOPES
    y[9:] = np.nan
    found = analyse(sweep_of(points, y))
    assert (found.screening["reason"] == "1 trajectories played to their end, at least 4 are needed").all()
    assert (found.indices["reason"] == "the points are those of a screening; see its table").all()


EVERY_DESIGN = """\
title = "Every constant"
scenario = "friday_night"
settings = ["home"]
[design]
method = "morris"
points = 2
[[factor]]
path = "constants.*"
"""


def test_every_constant_is_a_factor(tmp_path: Path) -> None:
    path = tmp_path / "every.toml"
    path.write_text(EVERY_DESIGN + '[[factor]]\npath = "constants.reaction_s"\nlow = 0.3\nhigh = 0.35\n')
    design = load_design(path)
    known = load_constants()
    wanted = {
        f"constants.{name}" for name, one in known.items() if name not in NUMERICAL and one.low < one.high
    }
    assert {factor.path for factor in design.factors} == wanted
    own = next(factor for factor in design.factors if factor.path == "constants.reaction_s")
    assert (own.low, own.high) == (0.3, 0.35), "a factor written out beside it stands"
    assert len(design.points) == 2 * (len(wanted) + 1)
    path.write_text(EVERY_DESIGN + "low = 0.0\n")
    with pytest.raises(InputError, match="factor.1..low: 0.0 is not allowed; allowed: nothing beside"):
        load_design(path)


# --- indices --------------------------------------------------------------------------------------------


def test_an_additive_function_has_its_known_indices_within_their_intervals() -> None:
    factors = [Factor(path=name, low=0.0, high=1.0) for name in NAMES[:4]]
    exact = SLOPES[:4] ** 2 / (SLOPES[:4] ** 2).sum()
    for method, n in (("saltelli", 256), ("sobol", 512)):
        points = pd.DataFrame(drawn(method, factors, n, 4))
        found = analyse(sweep_of(points, points.to_numpy() @ SLOPES[:4])).indices
        inside = (found["first_order_low"] - 0.01 <= exact) & (exact <= found["first_order_high"] + 0.01)
        assert inside.all() and (found["reason"] == "").all(), found
        if method == "saltelli":
            assert ((found["total_low"] - 0.01 <= exact) & (exact <= found["total_high"] + 0.01)).all()


def test_an_index_wider_than_the_gate_is_refused_with_what_is_needed() -> None:
    points = unit_design("saltelli", 32)
    y = ishigami(points.to_numpy())
    rng = np.random.default_rng(2)
    error = 2.0 * y.std()
    found = analyse(sweep_of(points, y + error * rng.standard_normal(len(y)), error)).indices
    wide = found["first_order"].isna()
    assert (
        wide.any() and found.loc[wide, "reason"].str.contains("possessions a point|points are needed").all()
    )
    rest = found[~wide]
    assert (rest["first_order_high"] - rest["first_order_low"] <= WIDEST).all()


def test_floors_hold_for_all_factors_together() -> None:
    """Values that hang on nothing: the greatest of six indices passes the floor in about 5 of 100 sweeps."""
    n = 64
    points = codes_of(pd.DataFrame(drawn("sobol", [Factor(path=x, low=0, high=1) for x in NAMES[:6]], n, 2)))
    assert points.structure() == GIVEN
    passed = 0
    for seed in range(12):
        y = np.random.default_rng(seed).standard_normal(n)
        found = indices(points, y, Luck(np.full(n, 1e-9), None, True), seed + 1)
        passed += bool((found.first > found.floor).any())
    assert passed <= 3, passed


def test_points_without_intervals_give_a_reason_and_no_warning(recwarn: pytest.WarningsRecorder) -> None:
    """Too few possessions a point for an interval: nothing is known of the luck."""
    points = unit_design("saltelli", 32)
    found = analyse(sweep_of(points, ishigami(points.to_numpy()), np.full(len(points), np.nan)))
    assert found.indices["reason"].str.startswith("no point has an interval").all()
    assert found.curves[["low", "high"]].notna().any(axis=None), "points scatter about a curve all the same"
    common = analyse(sweep_of(points, ishigami(points.to_numpy()), np.full(len(points), np.nan), "common"))
    assert common.curves["low"].isna().all()
    assert not recwarn.list


def test_no_bar_leaves_its_axis(tmp_path: Path) -> None:
    points = unit_design("saltelli", 64)
    y = ishigami(points.to_numpy())
    error = 0.5 * y.std()
    rng = np.random.default_rng(1)
    found = analyse(sweep_of(points, y + error * rng.standard_normal(len(y)), error))
    for end in ("first_order_low", "first_order_high", "total_low", "total_high"):
        assert found.indices[end].dropna().between(-1.0, 2.0).all()
    assert any(path.stem.startswith("indices") for path in draw(found, tmp_path))


# --- metamodel ----------------------------------------------------------------------------------------------


def test_a_metamodel_foretells_ishigami_and_gives_totals_where_the_design_has_none(tmp_path: Path) -> None:
    points = unit_design("sobol", 256)
    y = ishigami(points.to_numpy())
    error = 0.2 * y.std()
    noisy = y + error * np.random.default_rng(6).standard_normal(len(y))
    found = analyse(sweep_of(points, noisy, error), metamodel=True)
    assert found.indices["total"].isna().all()
    table = found.metamodel
    assert (table["foretold_true"] > 0.9).all() and table["covered"].iloc[0] == pytest.approx(0.95, abs=0.05)
    for column, order in (("first_order", "first"), ("total", "total")):
        assert np.abs(table[column].to_numpy() - EXACT[order]).max() < 0.08, column
        assert (table[f"{column}_low"] <= table[column]).all()
    left_out = found.foretold
    assert len(left_out) == 256 and np.corrcoef(left_out["played"], left_out["foretold"])[0, 1] > 0.9
    names = {path.stem for path in draw(found, tmp_path)}
    assert "metamodel_corner_trap" in names


def test_the_error_of_a_metamodel_is_that_of_points_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The closed form against leaving points out in earnest, with the fitted kernel and noise."""
    fitted: list[GaussianProcessRegressor] = []
    whole = GaussianProcessRegressor.fit

    def kept(self: GaussianProcessRegressor, *data: Any) -> Any:
        fitted.append(self)
        return whole(self, *data)

    monkeypatch.setattr(GaussianProcessRegressor, "fit", kept)
    points = unit_design("latin_hypercube", 40)
    y = ishigami(points.to_numpy())
    units = units_of(sweep_of(points, y))
    found = fit(units, y, Luck(np.full(40, (0.3 * y.std()) ** 2), None, True))
    monkeypatch.undo()
    middle, scale, kernel = y.mean(), y.std(), fitted[0].kernel_
    for one in range(0, 40, 7):
        others = np.arange(40) != one
        again = GaussianProcessRegressor(kernel, alpha=0.09 + 1e-8, optimizer=None)
        again.fit(units[others], (y[others] - middle) / scale)
        mean, sd = again.predict(units[[one]], return_std=True)
        assert mean[0] * scale + middle == pytest.approx(found.foretold[one], abs=1e-6 * scale)
        half = 1.959964 * scale * np.sqrt(sd[0] ** 2 + 0.09)
        assert half == pytest.approx(found.half[one], rel=1e-4)


def test_a_metamodel_of_nothing_says_so() -> None:
    points = unit_design("sobol", 64)
    luck_alone = np.random.default_rng(3).standard_normal(64)
    found = analyse(sweep_of(points, luck_alone, 1.0), metamodel=True).metamodel
    assert found["total"].isna().all() and found["reason"].str.contains("of the true spread|alike").all()
    few = analyse(sweep_of(points.head(16), luck_alone[:16], 1.0), metamodel=True).metamodel
    assert few["reason"].str.startswith("16 different points played, at least 24 are needed").all()


# --- files ----------------------------------------------------------------------------------------------


def test_no_cell_is_a_formula() -> None:
    table = pd.DataFrame(
        {"setting": ["=1+1|cmd", "-2", "@x", "home"], "change": [-0.1, 0.2, -3.0, 0.0], "=x": [1, 2, 3, 4]}
    )
    found = plain_cells(table)
    assert list(found["setting"]) == ["'=1+1|cmd", "'-2", "'@x", "home"]
    assert list(found["change"]) == [-0.1, 0.2, -3.0, 0.0] and list(found.columns) == [
        "setting",
        "change",
        "'=x",
    ]
    assert list(table["setting"])[0] == "=1+1|cmd"


def test_a_file_is_whole_or_not_there_and_its_part_has_a_name_of_its_own(tmp_path: Path) -> None:
    seen: list[str] = []

    def fill(at: Path) -> None:
        seen.append(at.name)
        at.write_text("half")
        if len(seen) > 2:
            raise KeyboardInterrupt

    put(tmp_path / "a.csv", fill)
    put(tmp_path / "a.csv", fill)
    with pytest.raises(KeyboardInterrupt):
        put(tmp_path / "b.csv", fill)
    assert len(set(seen)) == 3 and sorted(path.name for path in tmp_path.iterdir()) == ["a.csv"]


def test_a_folder_has_all_files_of_an_analysis_or_none(tmp_path: Path) -> None:
    """After an error half way nothing new is there: no folder that was not, no file beside the old ones."""
    (tmp_path / "old").mkdir()
    (tmp_path / "old" / "a.csv").write_text("old")
    for name in ("new", "old"):
        with pytest.raises(InputError, match="No space left"), whole_folder(tmp_path / name) as folder:
            put(folder / "a.csv", lambda at: at.write_text("new"))
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    assert [path.name for path in tmp_path.iterdir()] == ["old"]
    assert [path.read_text() for path in (tmp_path / "old").iterdir()] == ["old"]
    with whole_folder(tmp_path / "old") as folder:
        put(folder / "a.csv", lambda at: at.write_text("new"))
    assert [path.read_text() for path in (tmp_path / "old").iterdir()] == ["new"]


def test_a_screening_of_the_demo_from_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old = 'method = "grid"'
    file = design_file(tmp_path, possessions=80, batch=20, replaced=(old, 'method = "morris"\npoints = 5'))
    text = file.read_text().replace("steps = 2\n", "")
    file.write_text(text.replace("values = [0, 2]", "low = 0\nhigh = 6\nwhole = true"))
    run_into(tmp_path / "s.db", load_design(file))
    assert (
        cli.run(["analyse", str(tmp_path / "s.db"), "-o", str(tmp_path / "out"), "--quantity", "points"]) == 0
    )
    table = pd.read_csv(tmp_path / "out" / "screening.csv")
    assert len(table) == 2 * 2 and set(table["setting"]) == {"home", SETTING}
    assert (tmp_path / "out" / "screening_corner_trap.png").is_file()
    assert "Morris (1991)" in (tmp_path / "out" / "methods.md").read_text()
    assert read(tmp_path / "s.db").design["method"] == "morris"
