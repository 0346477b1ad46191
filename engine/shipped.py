"""Where the files lie that come with the program."""

from __future__ import annotations

import importlib.resources
from functools import cache
from pathlib import Path


@cache
def configs_root() -> Path:
    """The folder of the shipped input files: inside the installed package, or beside it in a checkout."""
    package = Path(str(importlib.resources.files("engine")))
    inside = package / "configs"
    return inside if inside.is_dir() else package.parent / "configs"
