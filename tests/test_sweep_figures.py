"""The way from a store to tables and pictures, and what stands in the pictures."""

from __future__ import annotations

import runpy
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
from sweep_runs import run_into, small_design
from sweep_tables import SETTING, ishigami, sweep_of, unit_design

from engine import cli
from engine.errors import InputError
from engine.report.sweep_figures import _file_names, draw, label_of
from engine.study.sweep.analyse.analysis import BATCH_MEANS, QUANTITIES, RISKS, Sweep, analyse, read
from engine.study.sweep.gather import gather

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sweep")
    path = folder / "sweep.store"
    run_into(path, small_design(folder, possessions=120, batch=40, steps=4))
    return path


def test_the_batches_of_a_store_add_up_to_its_table(store: Path) -> None:
    for quantity in BATCH_MEANS:
        sweep = read(store, quantity)
        assert sweep.luck == "common" and sweep.batch_share == 1.0 and len(sweep.points) == 8
        for name in sweep.settings:
            batches = sweep.batches[(name, quantity)]
            assert batches.shape == (8, 3)
            rows = sweep.table[sweep.table["setting"] == name]
            assert batches.mean(axis=1) == pytest.approx(rows[quantity].to_numpy(), abs=1e-12)
    assert not read(store, "value").batches  # not a mean per possession


def test_the_command_writes_tables_and_pictures(
    store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "new" / "folder"
    assert cli.run(["analyse", str(store), "-o", str(out), "--quantity", "points"]) == 0
    names = {path.name for path in out.iterdir()}
    tables = {f"{name}.{kind}" for name in ("indices", "curves", "trade_off") for kind in ("parquet", "csv")}
    stems = ("curves_home", "curves_corner_trap", "indices_home", "indices_corner_trap", "trade_off")
    pictures = {f"{stem}.{kind}" for stem in stems for kind in ("png", "svg")}
    assert names == tables | pictures
    assert f"{len(names)} files" in capsys.readouterr().err
    for name in ("indices", "curves", "trade_off"):
        table = pq.read_table(out / f"{name}.parquet").to_pandas()
        again = pd.read_csv(out / f"{name}.csv")
        assert list(table.columns) == list(again.columns) and len(table) == len(again) > 0
    curves = pd.read_parquet(out / "curves.parquet")
    assert set(curves["factor"]) == {"constants.reaction_s", "game.traps_seen"}
    one = curves.query("setting == 'home' and factor == 'game.traps_seen'")
    rows = gather(store).query("setting == 'home'")
    assert one["mean"].tolist() == pytest.approx(rows.groupby("game.traps_seen")["points"].mean().tolist())


@pytest.mark.parametrize(
    ("given", "named"),
    [
        (["--setting", "no such"], ["--setting", "no such", SETTING]),
        (["--setting", "home"], ["--setting", "home"]),
        (["--quantity", "fun"], ["--quantity", "fun", "change"]),
        (["-o", "{file}/below"], ["--output"]),
    ],
)
def test_what_cannot_be_done_is_one_line(
    store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], given: list[str], named: list[str]
) -> None:
    file = tmp_path / "file"
    file.write_text("")
    given = [text.format(file=file) for text in given]
    target = [] if "-o" in given else ["-o", str(tmp_path / "out")]
    assert cli.run(["analyse", str(store), *target, *given]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1 and all(piece in error for piece in named), error
    assert not (tmp_path / "out").exists()
    assert cli.run(["analyse", str(file), "-o", str(tmp_path / "out")]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_quantities_are_columns_of_the_table_with_limits(store: Path) -> None:
    table = gather(store)
    for name in QUANTITIES:
        assert {name, f"{name}_low", f"{name}_high"} <= set(table.columns)
    assert set(RISKS) <= set(table.columns)
    with pytest.raises(InputError):
        analyse(read(store), "seconds")


def many(n_settings: int, points: pd.DataFrame, y: np.ndarray) -> Sweep:
    """A sweep of settings with names that are hard on files and pictures."""
    names = ["home", "$5 trap_{x}", "5 trap x", "über <&>", *(f"setting {i}" for i in range(n_settings))]
    parts = [sweep_of(points, y * i, 0.1).table.assign(setting=name) for i, name in enumerate(names)]
    return Sweep(pd.concat(parts, ignore_index=True), points, "independent")


def test_pictures_say_what_they_show(tmp_path: Path) -> None:
    points = unit_design("sobol", 128, names=("constants.reaction_s", "game.traps_seen", "offence.KEY"))
    sweep = many(0, points, ishigami(points.to_numpy()) / 10)
    files = draw(analyse(sweep), tmp_path)
    assert len(files) == len(set(files)) == 2 * (2 * 3 + 1)
    texts = {path.stem: path.read_text() for path in files if path.suffix == ".svg"}
    for stem in ("curves_5_trap_x", "curves_5_trap_x_2", "indices_ber"):
        assert stem in texts, sorted(texts)
    curves = texts["curves_5_trap_x"]
    for piece in ("$5 trap_{x}", "reaction_s (s)", "net points per possession", "128 of 128 points", "95 %"):
        assert piece in curves, piece
    indices_text = texts["indices_5_trap_x"]
    for piece in ("first order", "floor", "128 points used", "share of the variance", "taken out"):
        assert piece in indices_text, piece
    front = texts["trade_off"]
    for piece in ("per 100 possessions", "384 rows", "95 % intervals", "chance to concede two or more"):
        assert piece in front, piece
    for path in files:
        if path.suffix == ".png":
            assert path.read_bytes().startswith(b"\x89PNG") and path.stat().st_size > 10_000


def test_a_picture_drawn_again_is_the_same(tmp_path: Path) -> None:
    points = unit_design("latin_hypercube", 20)
    found = analyse(sweep_of(points, ishigami(points.to_numpy()), 0.1))
    one, two = (draw(found, tmp_path / name) for name in ("one", "two"))
    assert [path.read_bytes() for path in one] == [path.read_bytes() for path in two]


def test_colours_of_settings_differ_in_grey() -> None:
    import matplotlib

    from engine.report.sweep_figures import DARK, LIGHT, MAP, MIDDLE

    def grey(place: float) -> float:
        return float(np.dot(matplotlib.colormaps[MAP](place)[:3], (0.2126, 0.7152, 0.0722)))

    assert grey(LIGHT) - grey(MIDDLE) > 0.2 and grey(MIDDLE) - grey(DARK) > 0.2
    steps = np.diff([grey(0.05 + 0.85 * i / 5) for i in range(6)])
    assert steps.min() > 0.06


def test_labels_and_file_names() -> None:
    assert label_of("constants.trap_set_m") == "trap_set_m (m)"
    assert label_of("constants.reaction_s") == "reaction_s (s)"
    assert label_of("setting.a.call.b.give_up_s", 60) == "setting.a.call.b.give_up_s (s)"
    assert label_of("game.traps_seen") == "game.traps_seen"
    assert _file_names(["a b", "A  B", "!", ""]) == ["a_b", "a_b_2", "3", "4"]


def test_the_command_line_does_not_load_the_drawing_library() -> None:
    code = (
        "import sys, engine.cli; sys.exit(any(m in sys.modules for m in ('matplotlib', 'SALib', 'pyarrow')))"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


def test_the_example_goes_from_a_store_to_a_picture(
    store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    example = runpy.run_path(str(ROOT / "benchmarks" / "sweep_example.py"))
    target = tmp_path / "picture.png"
    example["main"]([str(store), str(target), "--setting", SETTING])
    assert target.read_bytes().startswith(b"\x89PNG")
    out = capsys.readouterr().out.splitlines()
    assert len(out) == 2 + 4 and "called_per_100" in out[0]
    rows = gather(store).query("setting == @SETTING")
    assert float(out[2].split()[1]) == pytest.approx(
        rows.groupby("constants.reaction_s")["change"].mean().iloc[0], abs=6e-5
    )
    assert len((ROOT / "benchmarks" / "sweep_example.py").read_text().splitlines()) <= 60
