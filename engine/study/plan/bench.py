"""What the bench can read out of its tally."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, log

import numpy as np

from engine.estimate.calls import spoken_rate

#: Calls that a tally is followed for.
MOST_CALLS = 60
#: Turnovers up to which the rule has a line.
MOST_WON = 20


@dataclass(frozen=True)
class StopRule:
    """When to stop a call by its turnovers.

    ``calls``: stop once so many calls brought 0, 1, 2, ... turnovers (None: not within MOST_CALLS); never
    before a call that only breaks even would have brought one more.
    ``wrongly``, ``rightly``: chance that the rule stops the call within MOST_CALLS though it wins the ball as
    often as expected, and where it only breaks even. ``none_expected``, ``none_break_even``: chance of not a
    single turnover in ``too_few`` calls in either case.
    """

    expected: float
    break_even: float
    calls: tuple[int | None, ...]
    wrongly: float
    rightly: float
    none_expected: float
    none_break_even: float


def stop_line(expected: float, break_even: float, error: float, too_few: int, won: int) -> int | None:
    """Calls from which ``won`` turnovers are so few that the sequential test says stop.

    None: not within MOST_CALLS.

    Sequential probability ratio test of the expected rate against the break-even rate, both errors
    ``error``: stop where the log likelihood ratio falls to log(error / (1 - error)); never below ``too_few``
    calls, nor before the break-even rate, as it is said (``one_in``), has brought ``won`` + 1: who reads
    that a call needs 1 turnover in 12 must not be told to stop after 10. Source: Wald (1945), Annals of
    Mathematical Statistics 16:117 (from memory).
    """
    limit = log(error / (1.0 - error))
    gain, loss = log(expected / break_even), log((1.0 - expected) / (1.0 - break_even))
    times, of = spoken_rate(break_even)
    due = ceil((won + 1) * max(of / times, 1.0 / break_even) - 1e-9)
    for calls in range(max(too_few, due), MOST_CALLS + 1):
        if won * gain + (calls - won) * loss <= limit:
            return calls
    return None


def p_stopped(rate: float, lines: Sequence[int | None], uses: int = MOST_CALLS) -> float:
    """Chance that a call which wins the ball at ``rate`` is stopped within ``uses`` calls, exactly, call by
    call.

    ``lines[w]``: stop at that many calls with w turnovers; more turnovers than listed never stop it.
    """
    going = np.zeros(max(uses, len(lines)) + 2)
    going[0] = 1.0
    stopped = 0.0
    for calls in range(1, uses + 1):
        going[1:] = going[1:] * (1.0 - rate) + going[:-1] * rate
        going[0] *= 1.0 - rate
        for won, line in enumerate(lines):
            if line is not None and calls >= line:
                stopped += going[won]
                going[won] = 0.0
    return float(stopped)


def stop_rule(expected: float, break_even: float, error: float, too_few: int) -> StopRule:
    """The rule for a call whose expected rate lies above its break-even rate, both inside 0..1.

    Raises ValueError otherwise: then turnovers alone cannot say stop.
    """
    if not 0.0 < break_even < expected < 1.0:
        raise ValueError(f"needs 0 < break-even < expected < 1, got {break_even}, {expected}")
    lines = tuple(stop_line(expected, break_even, error, too_few, won) for won in range(MOST_WON))
    return StopRule(
        expected,
        break_even,
        lines,
        p_stopped(expected, lines),
        p_stopped(break_even, lines),
        (1.0 - expected) ** too_few,
        (1.0 - break_even) ** too_few,
    )


def _calls(n: int, word: str = "call") -> str:
    return f"{n} {word}{'' if n == 1 else 's'}"


def stop_words(rule: StopRule | None, reason: str, planned: int) -> str:
    """The rule in a coach's words; ``reason`` where there is none."""
    if rule is None:
        return reason
    first = rule.calls[0]
    if first is None:
        return (
            f"not even {MOST_CALLS} calls without a turnover would tell: judge it by layups and open threes"
        )
    words = f"stop after {first} calls without a turnover"
    second = rule.calls[1] if len(rule.calls) > 1 else None
    if second is not None:
        words += f", or {second} with only one"
    if planned and first > planned:
        words += f" (at {_calls(planned, 'use')} a game: over {-(-first // planned)} games)"
    return words


def often_words(chances: float, uses: int, usual: int | None) -> str:
    """How often a call comes up in a game, and how often it may be used there: what must stand wherever the
    call is advised.

    ``uses``: planned at most; ``usual``: at most so many are common practice at this place, None: none is
    known.
    """
    n = round(chances)
    up = f"up to {uses} of about {n} chance{'s' * (n != 1)} a game" if n else "less than one chance a game"
    return up if usual is None else f"{up} (common practice: {usual}, no source)"
