"""The commands sweep and gather: what they say, their exit status, and the table they write."""

from __future__ import annotations

import os
import signal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from interrupts import interruptible
from sweep_runs import Broken, Inline, StopAfter, contents, design_file, run_into, small_design, workshop_of

import engine
from engine import cli
from engine.errors import InputError
from engine.inputs.files import configs_root
from engine.study.sweep import runner
from engine.study.sweep.design import load_design
from engine.study.sweep.gather import gather, pieces
from engine.study.sweep.resolve import Resolver
from engine.study.sweep.runner import run_sweep
from engine.study.sweep.store import Store

SEED = 11


# --- the commands -------------------------------------------------------------------------------------------


def test_a_sweep_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file, path, log = design_file(tmp_path), tmp_path / "s.db", tmp_path / "s.log"
    command = ["sweep", str(file), "--store", str(path), "--threads", "2", "--log", str(log)]
    assert cli.run(command) == 0
    out, err = capsys.readouterr()
    assert out == ""
    assert err.endswith(f"trapledger: 4 of 4 points are settled in {path}\n")
    assert "INFO 4 of 4 points settled, 0 failed, 240 possessions of this run" in log.read_text()
    run_into(tmp_path / "whole.db", load_design(file))
    assert contents(path) == contents(tmp_path / "whole.db")
    assert cli.run([*command, "--quiet", "-n", "90"]) == 0
    assert capsys.readouterr() == ("", "")
    assert len(contents(path)) == 12


def test_ctrl_c_says_what_is_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    file, path = design_file(tmp_path), tmp_path / "s.db"
    played = runner.play_batch
    calls: list[Any] = []

    def interrupted(*arguments: Any) -> Any:
        calls.append(arguments)
        if len(calls) == 5:
            signal.raise_signal(signal.SIGINT)
            assert arguments[-1].stop.wait(60.0), "the run has noticed"
        return played(*arguments)

    monkeypatch.setattr(runner, "play_batch", interrupted)
    command = ["sweep", str(file), "--store", str(path), "--threads", "1", "--quiet"]
    with interruptible():
        assert cli.run(command) == cli.INTERRUPTED
    kept = f"{path} keeps every batch that ended; the same command goes on from there"
    assert capsys.readouterr() == ("", f"trapledger: stopped; 2 of 4 points are settled, and {kept}\n")
    assert len(contents(path)) == 4
    monkeypatch.undo()
    assert cli.run(command) == 0
    run_into(tmp_path / "whole.db", load_design(file))
    assert contents(path) == contents(tmp_path / "whole.db")


def test_failing_points_have_an_exit_status_of_their_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    file, path, log = design_file(tmp_path), tmp_path / "s.db", tmp_path / "s.log"
    packed = Resolver.packed

    def broken(self: Any, point: int) -> Any:
        if point == 2:
            raise InputError("design.toml", "point 3", 0.3, "something else")
        return packed(self, point)

    monkeypatch.setattr(Resolver, "packed", broken)
    command = ["sweep", str(file), "--store", str(path), "--quiet"]
    assert cli.run([*command, "--log", str(log)]) == 1
    reason = "design.toml: point 3: 0.3 is not allowed; allowed: something else"
    assert capsys.readouterr() == ("", f"trapledger: point 3 failed: {reason}\n")
    assert f"WARNING point 3 failed: {reason}" in log.read_text()
    assert cli.run(["sweep", "--status", str(path)]) == 0
    shown = capsys.readouterr().out
    assert "3 of 4 points settled, 1 failed" in shown
    assert f"point 3 failed: {reason}\n" in shown


@pytest.mark.parametrize(
    "arguments",
    [
        ["sweep"],
        ["sweep", "DESIGN"],
        ["sweep", "DESIGN", "--store", "STORE", "--status", "STORE"],
        ["sweep", "DESIGN", "--store", "STORE", "-n", "0"],
        ["sweep", "DESIGN", "--store", "STORE", "--threads", "0"],
        ["sweep", "DESIGN", "--store", "STORE", "--log", "missing/s.log"],
        ["sweep", "--status", "missing.db"],
        ["gather", "missing.db", "-o", "t.csv"],
        ["gather", "STORE", "-o", "t.xlsx"],
        ["gather", "STORE", "-o", "missing/t.csv"],
    ],
)
def test_bad_arguments_are_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, arguments: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    named = {"DESIGN": str(design_file(tmp_path)), "STORE": "s.db"}
    assert cli.run([named.get(word, word) for word in arguments]) == cli.BAD_INPUT
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("trapledger: ")
    assert err.count("\n") == 1
    assert set(os.listdir(tmp_path)) <= {"design.toml", "s.db.lock"}


# --- the table ----------------------------------------------------------------------------------------------


def test_the_table_says_what_compare_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    n = 1500  # the trap is called in 3 of 100
    design, path = small_design(tmp_path, possessions=n, batch=1000), tmp_path / "s.db"
    run_into(path, design)
    for suffix in ("parquet", "csv", "PARQUET", "CSV"):
        assert cli.run(["gather", str(path), "-o", str(tmp_path / f"t.{suffix}")]) == 0
        assert capsys.readouterr().err == f"trapledger: 8 rows in {tmp_path / f't.{suffix}'}\n"
    table = pd.read_parquet(tmp_path / "t.parquet")
    for suffix in ("parquet", "csv"):
        same = (tmp_path / f"t.{suffix.upper()}").read_bytes()
        assert same == (tmp_path / f"t.{suffix}").read_bytes()
    text = pd.read_csv(tmp_path / "t.csv", dtype={"failed": str}).fillna({"failed": ""})
    pd.testing.assert_frame_equal(text, table, check_dtype=False, check_exact=True)
    assert list(table["setting"]) == ["home", "corner trap"] * 4
    assert list(table["point"]) == [1, 1, 2, 2, 3, 3, 4, 4]
    assert table["settled"].all() and (table["possessions"] == n).all()
    resolver = workshop_of(design).resolver
    for point in range(4):
        home, trap = table[table["point"] == point + 1].to_dict("records")
        for name, value in design.points[point].items():
            assert home[name] == trap[name] == value
        found = engine.compare(resolver.scenario(point), n, SEED, 1).to_dict()
        setting = next(one for one in found["settings"] if one["name"] == "corner trap")
        call = setting["calls"][0]
        for row, block in ((home, found["baseline"]), (trap, setting)):
            assert_interval(row, "points", block["points_per_possession"])
            assert_interval(row, "net", block["net_points_per_possession"])
            for column, rate in (
                ("turnover", "turnover"),
                ("effective_field_goal", "effective_field_goal"),
                ("three_attempts", "three_attempts"),
                ("offensive_rebound", "offensive_rebound"),
                ("steals_of_turnovers", "steals_of_turnovers"),
                ("three_point", "three_point"),
                ("rim_attempts", "rim_attempts"),
                ("free_throws_per_field_goal", "free_throws_per_field_goal"),
            ):
                assert_interval(row, column, block["rates"][rate])
            assert row["seconds"] == pytest.approx(block["seconds_per_possession"]["mean"], rel=1e-12)
        assert_interval(trap, "change", setting["change"])
        assert_interval(trap, "value", call["value"])
        assert_interval(trap, "trap_turnover", call["break_even"]["turnover_rate"])
        assert_interval(trap, "break_even_turnover", call["break_even"]["t_star"])
        assert trap["called_per_100"] == call["called_per_100_possessions"] > 0
        assert trap["calls_per_100"] == setting["calls_per_100_possessions"]
        assert trap["trap_set"] == call["trap_set_rate"]
        assert trap["p_costs_points"] == call["p_costs_points"]
        assert trap["variance_reduction"] == setting["variance_reduction"]
        assert home["change"] == 0 and np.isnan(home["value"]) and np.isnan(home["called_per_100"])
        rim = next(s for s in (found["settings"]) if s["name"] == "corner trap")
        assert rim["checks"]["overflow"] == trap["overflow"]
        assert 0 < trap["p_rim_shot_low"] < trap["p_rim_shot"] < trap["p_rim_shot_high"] < 1


def assert_interval(row: dict[str, Any], name: str, found: dict[str, Any]) -> None:
    for suffix, part in (("", "mean"), ("_low", "low"), ("_high", "high")):
        if found[part] is None:
            assert np.isnan(row[name + suffix]), name + suffix
        else:
            assert row[name + suffix] == found[part], name + suffix
    if f"{name}_half_width" in row and found["low"] is not None:
        assert row[f"{name}_half_width"] == pytest.approx((found["high"] - found["low"]) / 2, rel=1e-12)


def test_the_table_holds_unfinished_and_failed_points(tmp_path: Path) -> None:
    """Every point has its rows, in pieces of the same columns and types, whatever became of it."""
    design, path = small_design(tmp_path), tmp_path / "s.db"
    shop = workshop_of(design)
    shop.resolver = Broken(shop.resolver, 1, ValueError("odd"))
    with pytest.raises(KeyboardInterrupt), Store.write(path, design) as store:
        run_sweep(store, Inline(shop, slots=1), StopAfter(3))
    table = gather(path)
    home = table[table["setting"] == "home"]
    assert list(home["possessions"]) == [60, 0, 30, 0]
    assert list(home["settled"]) == [True, False, False, False]
    assert list(home["failed"]) == ["", "ValueError: odd", "", ""]
    assert list(home["points"].isna()) == [False, True, False, True]
    with Store.read(path) as store:
        parts = list(pieces(store, 1))
    assert len(parts) == 4
    assert all((part.dtypes == table.dtypes).all() for part in parts)
    pd.testing.assert_frame_equal(pd.concat(parts, ignore_index=True), table)


def test_factors_of_text_and_truth_have_columns_too(tmp_path: Path) -> None:
    old = 'path = "game.traps_seen"\nvalues = [0, 2]'
    new = 'path = "game.possession_arrow"\nvalues = ["offence", "defence"]'
    design = load_design(design_file(tmp_path, replaced=(old, new)))
    run_into(tmp_path / "s.db", design, 60)
    table = gather(tmp_path / "s.db")
    column = table["game.possession_arrow"]
    assert list(column) == ["offence", "offence", "defence", "defence"] * 2
    assert pd.api.types.is_float_dtype(table["constants.reaction_s"])


def test_a_name_that_begins_like_a_formula_is_none_in_the_gathered_table(tmp_path: Path) -> None:
    text = (configs_root() / "scenarios" / "friday_night.toml").read_text(encoding="utf-8")
    evil = "=1+1|cmd"
    (tmp_path / "evil.toml").write_text(text.replace('"corner trap"', f'"{evil}"'), encoding="utf-8")
    own = ('settings = ["home", "corner trap"]', f'settings = ["home", "{evil}"]')
    design = load_design(design_file(tmp_path, possessions=40, scenario="evil.toml", replaced=own))
    run_into(tmp_path / "s.db", design)
    for end in ("csv", "parquet"):
        assert cli.run(["gather", str(tmp_path / "s.db"), "-o", str(tmp_path / f"t.{end}"), "--quiet"]) == 0
    assert set(pd.read_csv(tmp_path / "t.csv")["setting"]) == {"home", f"'{evil}"}
    assert set(pd.read_parquet(tmp_path / "t.parquet")["setting"]) == {"home", evil}
