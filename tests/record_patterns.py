"""Measures all patterns, at FULL and at a tenth, and writes what was seen, for test_patterns.py."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from engine.study.patterns.common import Claim
from engine.study.patterns.table import PatternsResult, measure

FILE = Path(__file__).with_name("patterns_record.json")
#: The scale of the record: about 15 million possessions, for signs of 3 to 4 errors at 1. A tenth is of 1.
FULL, TENTH = 3.0, 0.1


def by_name(table: PatternsResult) -> dict[str, Claim]:
    """Claims by their pattern's number and their name."""
    return {f"{claim.pattern} {claim.name}": claim for claim in table.claims}


def errors(claim: Claim) -> float | None:
    """The gap in standard errors (0: exact and without a gap; None: nothing to judge by)."""
    gap, se = claim.gap.mean, claim.gap.se
    judged = math.isfinite(gap) and math.isfinite(se) and (se > 0.0 or gap == 0.0)
    return round(gap / (se or 1.0), 1) if judged else None


def record(full: dict[str, Claim], tenth: dict[str, Claim]) -> dict[str, Any]:
    """Of each claim the verdict at FULL, and the gap at a tenth of the possessions in its standard errors."""
    return {name: {"verdict": full[name].verdict, "at_a_tenth": errors(tenth[name])} for name in full}


if __name__ == "__main__":
    seen = record(by_name(measure(FULL)), by_name(measure(TENTH)))
    FILE.write_text(json.dumps(seen, indent=1) + "\n", encoding="utf-8")
