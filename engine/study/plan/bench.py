"""What the bench can read out of its tally, and who should not trap because of fouls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, exp, factorial, log

import numpy as np

from engine.estimate.calls import spoken_rate
from engine.inputs.calls import Call
from engine.inputs.defence import persons_of
from engine.inputs.scenario import Scenario
from engine.world.pack import defenders_of, persons_in_roles

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


# --- fouls ------------------------------------------------------------------------------------------------


def p_at_least(limit: int, mean: float) -> float:
    """Chance of ``limit`` or more where ``mean`` are expected (Poisson)."""
    return max(0.0, 1.0 - sum(exp(-mean) * mean**k / factorial(k) for k in range(limit)))


@dataclass(frozen=True)
class PlayerFouls:
    """Fouls expected of a defender in a game that he plays through: at home and under the plan; how many of
    the planned traps he doubles in; ``p_out`` chance to foul out under it; ``prone``: the sheet says so."""

    number: int
    home: float
    planned: float
    traps: float
    p_out: float
    prone: bool


def trap_shares(scenario: Scenario, call: Call) -> tuple[float, ...]:
    """Share of a call's traps in which each person of the defence doubles; they add up to 2.

    Roles that start with near_ or far_ are the left man's half of the time. A call without fixed roles is
    shared evenly.
    """
    persons = persons_of(scenario.zone)
    shares = np.zeros(len(persons))
    if call.dynamic:
        return tuple(float(v) for v in shares + 2.0 / len(persons))
    for side in persons_in_roles(scenario.zone.roles, persons):
        for role in call.doubles:
            shares[side[scenario.zone.roles.index(role)]] += 0.5
    return tuple(float(v) for v in shares)


def expected_fouls(
    scenario: Scenario,
    calls: Sequence[Call],
    traps: Sequence[float],
    extra: Sequence[float],
    team_home: float,
    team_planned: float,
    limit: int,
    prone: Mapping[int, bool],
) -> tuple[PlayerFouls, ...]:
    """Fouls of each defender.

    The record counts team fouls only. Those at home are shared out by clumsiness (1.6 - 1.2 discipline, the
    model's own factor), those that traps add (``team_planned - team_home``) to the men who double, by the
    fouls each call adds (``extra`` per trap, ``traps`` per game) and by clumsiness.
    """
    five = defenders_of(scenario, scenario.zone)
    clumsy = np.array([1.6 - 1.2 * player.discipline for player in five])
    doubles = np.array([trap_shares(scenario, call) for call in calls]).reshape(len(calls), len(five))
    in_traps = np.asarray(traps, dtype=float) @ doubles
    weight = (np.asarray(traps, dtype=float) * np.maximum(extra, 0.0)) @ doubles * clumsy
    added = max(team_planned - team_home, 0.0) * (weight / weight.sum() if weight.sum() > 0 else weight)
    found = []
    for i, player in enumerate(five):
        home = team_home * float(clumsy[i] / clumsy.sum())
        planned = home + float(added[i])
        found.append(
            PlayerFouls(
                number=player.number,
                home=home,
                planned=planned,
                traps=float(in_traps[i]),
                p_out=p_at_least(limit, planned),
                prone=bool(prone.get(player.number, False)),
            )
        )
    return tuple(found)
