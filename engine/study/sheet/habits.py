"""Who shoots how often against a kind of defence (zone, men) that is not the one, or not the only one, in
which the opponent was counted.

Assumed, not measured: who shoots is a team's habit and stays as the sheet has it, whatever it meets; from
where he then shoots is the defence's doing (a zone draws threes). So every man's two reluctances are moved
alike once more, from where the fit in the defences they met left them (engine.study.sheet.fit), against this
defence and toward the same aims. All else stays as fitted there: how well each shoots, fouls, lost balls,
what going on is worth.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from engine.estimate.intervals import FloatArray, Found, IntArray
from engine.estimate.men import KINDS, SHOTS, MenTally, weights
from engine.inputs.scenario import Scenario
from engine.run.blocks import Progress, part_of_progress
from engine.study.levels import standard_error
from engine.study.sheet.knobs import (
    HABIT_GAIN,
    HABIT_ROUNDS,
    HABIT_RUNS,
    MOST_LOG,
    MOST_RELUCTANCE,
    SLOWER,
    with_knobs,
)
from engine.study.sheet.men import play_men


@dataclass(frozen=True)
class Share:
    """A man's twos or threes (``kind``) among the shots of the men compared: on the ``sheet``, in the model
    ``before`` the fit, where the counts pull it (``aim``), and ``after`` with his reluctance at ``value``
    points (``stopped``: at an end of its range)."""

    number: int
    kind: str
    value: float
    stopped: bool
    sheet: float
    before: float
    aim: float
    after: float
    standard_error: float


@dataclass(frozen=True)
class Habits:
    """Against this ``kind`` of defence: the shares, ``before`` with the reluctances of where they were
    counted; ``runs`` it took."""

    kind: str
    runs: int
    shares: tuple[Share, ...]


#: Columns of attempts, and what is added to a share so that none is never.
SHOT_KINDS, LEAST_SHARE = (KINDS.index("twos"), KINDS.index("threes")), 0.002


def among(men: Sequence[int], sums: IntArray) -> FloatArray:
    """Each man's twos and threes among all the shots of these men (places), float64[man, 2]."""
    tried = sums[np.ix_(men, SHOT_KINDS)]
    return np.asarray(tried / tried.sum())


def alike(shares: FloatArray) -> FloatArray:
    """Of ``among``: both kinds of a man's shots as half of all his."""
    return np.repeat(0.5 * shares.sum(axis=1, keepdims=True), len(SHOT_KINDS), axis=1)


def keys_of(numbers: Sequence[int]) -> dict[tuple[int, int], str]:
    """(man, kind) of ``among`` -> the name of his reluctance."""
    kinds = ("two", "three")
    return {(i, k): f"{kind} {number}" for i, number in enumerate(numbers) for k, kind in enumerate(kinds)}


def moved(
    own: Mapping[str, float], numbers: Sequence[int], shares: FloatArray, aims: FloatArray, gain: float
) -> dict[str, float]:
    """The reluctances after a round: each moved by ``gain`` points for a share e times too large."""
    off = np.log((shares + LEAST_SHARE) / (aims + LEAST_SHARE))
    found = dict(own)
    for (i, k), key in keys_of(numbers).items():
        to = own.get(key, 0.0) + gain * float(np.clip(off[i, k], -MOST_LOG, MOST_LOG))
        found[key] = min(max(to, -MOST_RELUCTANCE), MOST_RELUCTANCE)
    return found


def shares_found(
    model: MenTally,
    men: Sequence[int],
    numbers: Sequence[int],
    own: Mapping[str, float],
    counted: FloatArray,
    before: FloatArray,
    aims: FloatArray,
) -> tuple[Share, ...]:
    """What the reluctances came to; arrays are those of ``among``."""
    below, found = weights(SHOTS, men), []
    for (i, k), key in keys_of(numbers).items():
        kind = KINDS[SHOT_KINDS[k]]
        rate = model.rate(weights({kind: 1}, (men[i],)), below)
        assert rate.mean is not None  # a side has shots
        found.append(
            Share(
                number=numbers[i],
                kind=kind,
                value=own[key],
                stopped=abs(own[key]) >= MOST_RELUCTANCE,
                sheet=float(counted[i, k]),
                before=float(before[i, k]),
                aim=float(aims[i, k]),
                after=rate.mean,
                standard_error=standard_error(rate),
            )
        )
    return tuple(found)


def fit_habits(
    scenario: Scenario,
    shares: Sequence[Share],
    possessions: int,
    seed: int,
    threads: int | None = None,
    progress: Progress | None = None,
) -> Habits:
    """Move the reluctances until the shares against the scenario's own defence are where they were aimed.

    ``scenario`` is as fitted in the defences they met, ``shares`` what that came to. HABIT_RUNS runs of
    ``possessions``; the same for any number of threads.
    """
    numbers = tuple(dict.fromkeys(one.number for one in shares))
    men = tuple(scenario.offence_team.lineup.index(number) for number in numbers)
    counted, aims = (
        np.array([getattr(one, name) for one in shares]).reshape(len(men), 2) for name in ("sheet", "aim")
    )
    own = dict(zip(keys_of(numbers).values(), (one.value for one in shares), strict=True))

    def played(run: int) -> MenTally:
        told = part_of_progress(progress, run * possessions, HABIT_RUNS * possessions)
        return play_men(with_knobs(scenario, own), possessions, seed, threads, told)

    model = played(0)
    before = among(men, model.sums)
    for number in range(HABIT_ROUNDS):
        gain = HABIT_GAIN / (1.0 + number / SLOWER)
        own = moved(own, numbers, alike(among(men, model.sums)), alike(aims), gain)
        model = played(number + 1)
    found = shares_found(model, men, numbers, own, counted, before, aims)
    return Habits(scenario.zone.kind, HABIT_RUNS, found)


def habits_against(
    scenario: Scenario, fit: Found, threads: int | None = None, progress: Progress | None = None
) -> Habits | None:
    """The habits against the scenario's own defence, as long as the ``fit`` (its JSON) was; None where it was
    made in that kind alone, or nobody's shots were fitted."""
    if not fit.get("shares") or fit["met"] == [scenario.zone.kind]:
        return None
    shares = [Share(**one) for one in fit["shares"]]
    return fit_habits(scenario, shares, fit["possessions"], fit["seed"], threads, progress)
