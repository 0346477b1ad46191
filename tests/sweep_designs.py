"""Small designs of sweeps on the demo scenario, for the tests of sweeps."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from input_files import toml_text

from engine.study.sweep.design import Design, load_design

REACTION = {"path": "constants.reaction_s", "low": 0.2, "high": 0.5}
CORNER = "setting.corner trap.call.corner"


def design(**more: Any) -> dict[str, Any]:
    base: dict[str, Any] = {
        "title": "a sweep of the tests",
        "scenario": "friday_night",
        "design": {"method": "grid"},
        "factor": [{**REACTION, "steps": 2}],
    }
    return {**base, **more}


def written(folder: Path, data: dict[str, Any], name: str = "sweep.toml") -> Path:
    path = folder / name
    path.write_text(toml_text(data), encoding="utf-8")
    return path


def one_path(folder: Path, path: str, values: list[Any], scenario: str = "friday_night") -> Design:
    factor = {"path": path, "values": values}
    return load_design(written(folder, design(scenario=scenario, factor=[factor])))
