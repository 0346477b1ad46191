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
from sweep_runs import StopAfter, contents, design_file, run_into, small_design
from sweep_tables import SETTING, ishigami, sweep_of, unit_design

import engine
from engine import cli
from engine.errors import InputError
from engine.report.sweep_figures import _file_names, draw
from engine.report.sweep_style import label_of
from engine.study.sweep.analyse.analysis import BATCH_SUMS, QUANTITIES, RISKS, Sweep, analyse, read
from engine.study.sweep.design import load_design
from engine.study.sweep.gather import gather
from engine.study.sweep.stored import Stored

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sweep")
    path = folder / "sweep.store"
    run_into(path, small_design(folder, possessions=120, batch=40, steps=4))
    return path


def test_the_batches_of_a_store_add_up_to_its_table(store: Path) -> None:
    for quantity in BATCH_SUMS:
        sweep = read(store, quantity)
        assert sweep.luck == "common" and sweep.batch_share == 1.0 and len(sweep.points) == 8
        for name in sweep.settings:
            batches = sweep.batches[(name, quantity)]
            assert batches.shape == (8, 3)
            rows = sweep.table[sweep.table["setting"] == name]
            wanted = rows[quantity].to_numpy()
            assert batches.mean(axis=1) == pytest.approx(wanted, abs=1e-12, nan_ok=True)
            assert np.isfinite(wanted).all() == ((quantity, name) != ("value", "home"))


def test_an_analysis_reads_each_batch_once(store: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked, unpacked = [], Stored._read_batch
    monkeypatch.setattr(
        Stored, "_read_batch", lambda self, *row: asked.append(row[:2]) or unpacked(self, *row)
    )
    assert read(store).batches
    assert asked == [(point, first) for point in range(8) for first in (0, 40, 80)]


def test_the_command_writes_tables_and_pictures(
    store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "new" / "folder"
    assert cli.run(["analyse", str(store), "-o", str(out), "--quantity", "points"]) == 0
    names = {path.name for path in out.iterdir()}
    tables = {f"{name}.{kind}" for name in ("indices", "curves", "trade_off") for kind in ("parquet", "csv")}
    stems = ("curves_home", "curves_corner_trap", "indices_home", "indices_corner_trap", "trade_off")
    pictures = {f"{stem}.{kind}" for stem in stems for kind in ("png", "svg")}
    assert names == tables | pictures | {"methods.md"}
    assert f"{len(names)} files" in capsys.readouterr().err
    for name in ("indices", "curves", "trade_off"):
        table = pq.read_table(out / f"{name}.parquet").to_pandas()
        again = pd.read_csv(out / f"{name}.csv")
        assert list(table.columns) == list(again.columns) and len(table) == len(again) > 0
        assert {str(value) for value in table["seed"]} == {"11"}
        for column in ("luck", "version", "kernel", "design", "config_hash", "processor"):
            assert table[column].nunique() == 1 and len(table[column].iloc[0]) > 2, column
    digest = gather(store)["design"].iloc[0]
    for name in stems:
        assert f"design {digest[:12]}" in (out / f"{name}.svg").read_text()
        assert digest[:12].encode() in (out / f"{name}.png").read_bytes()
    methods = (out / "methods.md").read_text()
    for piece in (
        digest, "8 of 8 points of the full grid", "120 possessions", "common random numbers", "seed 11",
        "constants.reaction_s (0.25 to 0.45)", "game.traps_seen (0, 2)", "points conceded",
        "Juniper Hill, no. 8: shooting",
    ):  # fmt: skip
        assert piece in methods, piece
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

    from engine.report.sweep_style import DARK, LIGHT, MAP, MIDDLE

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


def test_the_example_goes_from_a_design_to_a_picture(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Stopped half way and taken up again by the same call, it ends as if nothing had happened."""
    file, store = design_file(tmp_path, possessions=120, batch=40, steps=4), tmp_path / "sweep.db"
    with pytest.raises(KeyboardInterrupt):
        engine.sweep(file, store, threads=1, progress=StopAfter(5))
    example = runpy.run_path(str(ROOT / "benchmarks" / "sweep_example.py"))
    target = tmp_path / "picture.png"
    example["main"]([str(file), str(store), str(target), "--setting", SETTING])
    assert target.read_bytes().startswith(b"\x89PNG")
    out = capsys.readouterr().out.splitlines()
    assert len(out) == 2 + 4 and "called_per_100" in out[0]
    rows = engine.gather(store).query("setting == @SETTING")
    assert (rows["possessions"] == 120).all()
    assert float(out[2].split()[1]) == pytest.approx(
        rows.groupby("constants.reaction_s")["change"].mean().iloc[0], abs=6e-5
    )
    run_into(tmp_path / "whole.db", load_design(file))
    assert contents(store) == contents(tmp_path / "whole.db")


def test_a_sweep_from_python_is_tidy_in_pandas_and_a_cube_in_xarray(store: Path, tmp_path: Path) -> None:
    file = store.parent / "design.toml"
    found = engine.sweep(file, store, threads=1)
    assert found.end.settled == 8 and found.end.batches == 0 and found.taken == 0 and found.mended == ()
    table = found.table()
    pd.testing.assert_frame_equal(table, gather(store))
    assert found.provenance == dict(table.iloc[0][list(found.provenance)].astype(str))
    cube = found.xarray()
    assert dict(cube.sizes) == {"constants.reaction_s": 4, "game.traps_seen": 2, "setting": 2}
    assert cube.attrs == found.provenance
    row = table[(table["game.traps_seen"] == 2) & (table["setting"] == SETTING)].iloc[1]
    at = {"constants.reaction_s": row["constants.reaction_s"], "game.traps_seen": 2, "setting": SETTING}
    assert float(cube["change"].sel(at)) == row["change"]
    assert set(found.analyse("points").indices["factor"]) == {"constants.reaction_s", "game.traps_seen"}
    told = found.analyse("points", metamodel=True).metamodel
    assert len(told) == 4 and told["reason"].str.startswith("8 different points played").all()
    # points that are no grid stand along one dimension
    old = 'method = "grid"'
    other = design_file(tmp_path, name="sobol.toml", replaced=(old, 'method = "sobol"\npoints = 4'))
    other.write_text(other.read_text().replace("steps = 2\n", ""))
    flat = engine.sweep(other, tmp_path / "sobol.db", threads=1).xarray()
    assert dict(flat.sizes) == {"point": 4, "setting": 2} and list(flat["setting"].values) == [
        "home",
        SETTING,
    ]
    assert flat["constants.reaction_s"].dims == ("point",)


def test_structure_is_a_factor_beside_numbers(tmp_path: Path) -> None:
    """Defences with the calls that fit them, fronts and levels: the shipped example, a few possessions
    each."""
    design = load_design("structure_grid")
    assert len(design.points) == 3 * 3 * 2 * 2
    run_into(tmp_path / "s.db", design, 20)
    table = engine.gather(tmp_path / "s.db")
    assert set(table["choice.defence"]) == {"2-3", "3-2", "1-3-1"} and (table["failed"] == "").all()
    for point in (0, 13, 35):
        scenario = design.scenario(point)
        zone = {"2-3": None, "3-2": "three_two", "1-3-1": "one_three_one"}[
            design.points[point]["choice.defence"]
        ]
        own = scenario.settings[0].zone
        assert (None if own is None else own.name) == zone
        assert scenario.alignment.name == design.points[point]["offence.alignment"]
    trap = table[table["setting"] == SETTING].groupby("choice.defence")["change"].mean()
    assert trap["2-3"] != trap["1-3-1"]


def test_plays_are_a_factor_beside_structure_and_numbers(tmp_path: Path) -> None:
    """The shipped example: a setting is the attack without a play, beside home at every point."""
    design = load_design("plays_grid")
    assert len(design.points) == 3 * 2 * 2
    run_into(tmp_path / "s.db", design, 40)
    table = engine.gather(tmp_path / "s.db")
    assert (table["failed"] == "").all() and set(table["setting"]) == set(design.settings)
    for point in (0, 11):
        wanted = engine.compare(design.scenario(point), 40, design.seed).to_dict()["settings"]
        found = table[table["point"] == point + 1].set_index("setting")["change"]
        told = {one["name"]: one["change"]["mean"] for one in wanted if one["name"] in found.index}
        assert len(told) == len(design.settings) - 1 and any(told.values())
        assert all(found[name] == pytest.approx(change) for name, change in told.items())


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('path = "choice.defence"', 'path = "defence"', "factor[1].path: 'defence' is not allowed"),
        ("set = {}", 'set = { "constants.reaction_s" = 0.3 }', "factor[4].path"),
        ("three_two_corner", "corner", "factor[1].values[2]"),
        ('"setting.corner trap.zone" = "three_two"', '"setting.corner.zone" = "three_two"', "choice[2].set"),
    ],
)
def test_a_wrong_choice_is_one_line(tmp_path: Path, old: str, new: str, named: str) -> None:
    text = (ROOT / "configs" / "sweeps" / "structure_grid.toml").read_text()
    assert old in text
    (tmp_path / "wrong.toml").write_text(text.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        load_design(tmp_path / "wrong.toml")
    assert named in str(caught.value) and "\n" not in str(caught.value)
