"""What a line-up study may be asked for; apart from it, so that to check it takes no compiled engine."""

from __future__ import annotations

from engine.errors import InputError

#: Points per possession that do not matter, and the promise, unless asked otherwise.
DELTA, CONFIDENCE = 0.02, 0.95


def check_asked(delta: float, confidence: float) -> None:
    """Raises InputError, naming the option, for a delta or confidence outside its range."""
    if not 0.0 < delta <= 1.0:
        raise InputError("--delta", "", delta, "points per possession, above 0 and at most 1")
    if not 0.5 <= confidence <= 0.999:
        raise InputError("--confidence", "", confidence, "a share from 0.5 to 0.999")
