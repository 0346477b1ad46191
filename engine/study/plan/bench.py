"""What the bench can read out of its tally."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, comb, log

import numpy as np

from engine.estimate.calls import spoken_rate

#: Calls that a tally is followed for.
MOST_CALLS = 60
#: Where neither turnovers nor layups and open threes tell.
NO_COUNT = f"nor do layups and open threes within {MOST_CALLS} calls, so there is no number to stop at"
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


@dataclass(frozen=True)
class CrossRule:
    """When to stop a call by the layups and open threes that it leaves, which the tally has as crosses: at
    ``crosses`` of them in ``calls`` calls.

    ``tonight``: the calls are those of one game; else a game has too few, and they are counted over games.
    ``wrongly``: chance to stop it though it leaves no more than expected; ``missed``: not to stop it where it
    leaves so many that it is worth nothing.
    """

    expected: float
    break_even: float
    calls: int
    crosses: int
    tonight: bool
    wrongly: float
    missed: float


def at_least(k: int, n: int, rate: float) -> float:
    """Chance of k or more of n, each by itself at ``rate``."""
    return 1.0 - sum(comb(n, i) * rate**i * (1.0 - rate) ** (n - i) for i in range(k))


def cross_rule(expected: float, break_even: float, error: float, too_few: int, uses: int) -> CrossRule | None:
    """The rule for a call of ``uses`` a game that leaves ``expected`` crosses a call and is worth nothing at
    ``break_even``: the fewest crosses that stop it wrongly at most ``error`` of the time.

    Tonight, where a game has ``too_few`` calls or more and the rule misses less than it finds; else in the
    fewest calls in which it misses no more than ``error`` either. None: not within MOST_CALLS, or the call
    leaves too many as it is.
    """
    if not 0.0 < expected < min(break_even, 1.0):
        return None
    for calls in (uses, *range(too_few, MOST_CALLS + 1)):
        tonight = calls == uses
        crosses = next((k for k in range(1, calls + 1) if at_least(k, calls, expected) <= error), None)
        if calls < too_few or crosses is None:
            continue
        missed = 1.0 - at_least(crosses, calls, min(break_even, 1.0))
        if missed <= (0.5 if tonight else error):
            wrongly = at_least(crosses, calls, expected)
            return CrossRule(expected, break_even, calls, crosses, tonight, wrongly, missed)
    return None


def _calls(n: int, word: str = "call") -> str:
    return f"{n} {word}{'' if n == 1 else 's'}"


def cross_words(rule: CrossRule, expected: int) -> str:
    """``stop at 5 layups or open threes in 10 calls (of 100 nights: 12 wrong stops, 30 missed)``; where a
    game has not so many calls, no order but what it would take."""
    count = f"{_calls(rule.crosses, 'layup')} or open threes in {rule.calls} calls"
    if rule.tonight:
        return f"stop at {count} ({error_words(rule.wrongly, rule.missed)})"
    return cannot_tell(f"{count} would", rule.calls, expected)


def cannot_tell(takes: str, calls: int, expected: int) -> str:
    """No order to count to more calls than a game has: ``cannot tell within a game (about 5 calls): 38 calls
    without a turnover would (8 games)``."""
    games = -(-calls // max(expected, 1))
    return f"cannot tell within a game (about {_calls(expected)}): {takes} ({_calls(games, 'game')})"


def error_words(wrongly: float, missed: float) -> str:
    """How often a rule is wrong."""
    return f"of 100 nights: {round(100 * wrongly)} wrong stops, {round(100 * missed)} missed"


def stop_words(rule: StopRule | None, reason: str, expected: int, crosses: CrossRule | None = None) -> str:
    """The rule in a coach's words; where turnovers give none that by ``crosses``, and ``reason`` why.

    ``expected``: calls of a game, on average: a rule that needs more is told as that, not as an order."""
    first = None if rule is None else rule.calls[0]
    if rule is None or first is None:
        why = reason or f"not even {MOST_CALLS} calls without a turnover would tell"
        return f"{why}: {NO_COUNT if crosses is None else cross_words(crosses, expected)}"
    if first > expected:
        return cannot_tell(f"{first} calls without a turnover would", first, expected)
    words = f"stop after {first} calls without a turnover"
    second = rule.calls[1] if len(rule.calls) > 1 else None
    return words if second is None or second > expected else f"{words}, or {second} with only one"


def often_words(chances: float, uses: int, usual: int | None) -> str:
    """How often a call comes up in a game, and how often it may be used there: what must stand wherever the
    call is advised.

    ``uses``: planned at most; ``usual``: at most so many are common practice at this place, None: none is
    known.
    """
    n = round(chances)
    up = f"up to {uses} of about {n} chance{'s' * (n != 1)} a game" if n else "less than one chance a game"
    return up if usual is None else f"{up} (common practice: {usual}, no source)"
