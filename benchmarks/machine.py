"""What a benchmark ran on."""

from __future__ import annotations

import os
import platform
import subprocess
from pathlib import Path
from typing import Any


def commit() -> str:
    """Commit of the checkout, with + where files were changed; "unknown" outside a repository."""

    def git(*arguments: str) -> str:
        done = subprocess.run(
            ["git", *arguments], cwd=Path(__file__).parent, capture_output=True, text=True, check=True
        )
        return done.stdout.strip()

    try:
        return git("rev-parse", "HEAD") + ("+" if git("status", "--porcelain") else "")
    except (OSError, subprocess.CalledProcessError):
        return "unknown"


def hardware() -> dict[str, Any]:
    """Processor, cores of this process, memory."""
    import engine.run.blocks

    found: dict[str, Any] = {"machine": platform.machine(), "cores": engine.run.size.available_cores()}
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        found["processor"] = next(line.split(":", 1)[1].strip() for line in lines if "model name" in line)
    except (OSError, StopIteration):
        found["processor"] = platform.processor()
    if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
        found["memory_mb"] = round(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / 1e6)
    return found
