"""Rows of calls against one handler, as the study of line-ups has them."""

from __future__ import annotations

from engine.estimate.intervals import Found


def call(name: str, number: int, called: int, mean: float, half: float) -> Found:
    value = {"mean": mean, "low": mean - half, "high": mean + half}
    return {
        "call": name, "number": number, "called": called, "per_100": called / 200, "area": name,
        "value": value, "turnover_rate": 0.1,
    }  # fmt: skip
