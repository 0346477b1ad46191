"""Teams in TOML that leave numbers out say what was taken instead, in every output; limits nothing can
lift."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from input_files import scenario, team, write, write_all

from engine import cli
from engine.errors import InputError
from engine.inputs import load_constants, load_scenario
from engine.inputs.constants import BOUNDED, DIVISORS, hard_limits


def test_what_a_team_leaves_out_is_said_in_text_and_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write_all(tmp_path)
    assert not any("height_m" in line for line in load_scenario(path).assumed)
    bare = team()
    bare["level"] = "school"
    first, second = (one["number"] for one in bare["player"][:2])
    for one in bare["player"][:2]:
        del one["height_m"], one["handle"]
    write(tmp_path, "offence.toml", bare)
    data = scenario()
    data["offence"]["team"] = "offence.toml"
    path = write(tmp_path, "scenario.toml", data)
    lines = load_scenario(path).assumed
    assert f"{bare['name']}, nos. {first}, {second}: height_m, handle: the average of level school." in lines
    target = tmp_path / "out.json"
    for command in ("play", "compare"):
        assert (
            cli.run([command, str(path), "-n", "40", "--quiet", "--threads", "1", "--json", str(target)]) == 0
        )
        assert json.loads(target.read_text())["assumed"] == list(lines)
        shown = " ".join(capsys.readouterr().out.split())
        assert "Assumed, because the files do not say" in shown
        assert f"nos. {first}, {second}: height_m, handle: the average of level school." in shown


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("time_step_s", 0.0), ("time_step_s", 1e-6), ("longest_possession_s", 1e9), ("reaction_s", -1.0),
        ("touch_max_p", 5.0), ("rebound_skill", 1000.0), ("trap_strip_rate_per_s", -0.1), ("hold_tau_s", 0.0),
        ("crash_n", -1.0),
    ],
)  # fmt: skip
def test_hard_limits_hold_beyond_every_range(tmp_path: Path, name: str, value: float) -> None:
    write_all(tmp_path)
    data = scenario() | {"constants": {name: value}, "beyond_range": True}
    with pytest.raises(InputError) as caught:
        load_scenario(write(tmp_path, "scenario.toml", data))
    assert f"constants.{name}: {value!r} is not allowed; allowed: a" in str(caught.value)


def test_hard_limits_hold_every_range_and_parts_can_be_switched_off() -> None:
    known = load_constants()
    assert set(known) >= DIVISORS | set(BOUNDED)
    for name, constant in known.items():
        low, high = hard_limits(name, constant)
        assert low <= constant.low and constant.high <= high, name
        part = constant.unit == "share" and 0.0 <= constant.low <= 1.0
        if constant.unit in ("1/s", "probability") or part:
            assert low == 0.0, name
