"""Fits the model's opponent to the counts of his sheet: a few knobs that the inputs have, one for each rate.

Each rate is aimed at where its counts pull it: the posterior mean of the sheet's rate with the model's own,
unfitted, as the average and PRIOR of the model (shot_prior_attempts) as its strength in attempts or plays
(engine.inputs.sheets.shrink; for free throws a shot the same formula is that of a Poisson rate with a gamma
prior, Gelman et al., section 2.6, from memory). So few counts move little, and none move nothing.

How well each man shoots is not fitted here: his shot table is pulled to his counts where the sheet is read
(engine.inputs.sheets.shooting). Every run plays the same possessions: the luck is common. Slopes are taken
once, then damped Gauss-Newton inside the knobs' ranges (engine.study.newton).

No knob reaches who shoots how often, and how many of it are threes: the kernel has no willingness of a man.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass

import numpy as np

from engine.estimate.intervals import FloatArray, Found, IntArray
from engine.estimate.men import KINDS, PLAY, MenTally, weights
from engine.inputs.scenario import Scenario
from engine.inputs.sheets.shrink import pulled
from engine.run.blocks import Progress
from engine.study.levels import standard_error
from engine.study.newton import Range, slopes, solve
from engine.study.sheet.counts import SheetCounts
from engine.study.sheet.knobs import (
    FIT_POSSESSIONS,
    GAIN,
    KNOBS,
    MOST_LOG,
    MOST_RELUCTANCE,
    MOST_RUNS,
    PRIOR,
    ROUNDS,
    SHARE_ROUNDS,
    SLOWER,
    Knob,
    ranges,
    with_knobs,
)
from engine.study.sheet.men import play_men
from engine.study.sheet.rows import SIDE


@dataclass(frozen=True)
class Aim:
    """What a knob is moved for: ``above`` over ``below`` (``weights``), the sheet's rate, and ``counts``, the
    shots or plays behind it."""

    knob: Knob
    above: IntArray
    below: IntArray
    sheet: float
    counts: float

    def of(self, model: MenTally) -> tuple[float, float]:
        """The model's rate and its standard error."""
        found = model.rate(self.above, self.below)
        assert found.mean is not None  # a side has shots
        return found.mean, standard_error(found)


def aims_of(sheet: SheetCounts) -> tuple[Aim, ...]:
    """What the sheet says enough of to be followed."""
    found = []
    for knob in KNOBS:
        rate = SIDE[True][knob.rate]
        if sheet.attempts and sheet.has(*rate.needs):
            above, below = weights(rate.above, sheet.men), weights(rate.below, sheet.men)
            total = int((below * sheet.counts).sum())
            counts = total / (100.0 if rate.below is PLAY else 1.0)
            found.append(Aim(knob, above, below, int((above * sheet.counts).sum()) / total, counts))
    return tuple(found)


@dataclass(frozen=True)
class Followed:
    """A rate that follows the sheet: ``before`` in the model unfitted, ``aim`` where its counts pull it,
    ``after`` with the knob at ``value`` (``stopped``: at an end of its range); ``own_share``: how much of the
    aim is the sheet's."""

    knob: str
    rate: str
    value: float
    stopped: bool
    sheet: float
    counts: float
    own_share: float
    before: float
    aim: float
    after: float
    standard_error: float


@dataclass(frozen=True)
class SheetFit:
    """The knobs, and what each was moved for; ``possessions`` of each of the ``runs``; ``prior``: shots or
    plays of the unfitted model that each aim is pulled with."""

    possessions: int
    runs: int
    seed: int
    prior: float
    reluctance: dict[str, float]
    followed: tuple[Followed, ...]

    def to_dict(self) -> Found:
        """Plain JSON."""
        return asdict(self)


#: Columns of attempts, and what is added to a share so that none is never.
SHOT_KINDS, LEAST_SHARE = (KINDS.index("twos"), KINDS.index("threes")), 0.002


def shares_of(sheet: SheetCounts, sums: IntArray) -> FloatArray:
    """Each man's twos and threes among all the shots of the men compared, float64[man, 2]."""
    tried = sums[np.ix_(sheet.men, SHOT_KINDS)]
    return np.asarray(tried / tried.sum())


def fit_sheet(
    sheet: SheetCounts,
    scenario: Scenario,
    seed: int,
    threads: int | None = None,
    progress: Progress | None = None,
    possessions: int = FIT_POSSESSIONS,
) -> SheetFit:
    """Move the knobs until the model's rates are where the sheet's counts pull them.

    The same for any number of threads. Runs: one unfitted, one for each knob, at most ROUNDS after.
    """
    runs, prior = 0, scenario.constants[PRIOR]
    own: dict[str, float] = {}

    def played(values: Mapping[str, float]) -> MenTally:
        nonlocal runs
        if progress is not None:
            progress(runs, MOST_RUNS)
        runs += 1
        return play_men(with_knobs(scenario, {**own, **values}), possessions, seed, threads)

    aims = aims_of(sheet)
    if not aims:
        return SheetFit(possessions, runs, seed, prior, {}, ())
    unfitted = played({})
    aim_shares: FloatArray | None = None
    for number in range(SHARE_ROUNDS):
        gain = GAIN / (1.0 + number / SLOWER)
        shares = shares_of(sheet, unfitted.sums)
        if aim_shares is None:
            n = float(sheet.counts[np.ix_(sheet.men, SHOT_KINDS)].sum())
            aim_shares = (n * shares_of(sheet, sheet.counts) + prior * shares) / (n + prior)
        off = np.log((shares + LEAST_SHARE) / (aim_shares + LEAST_SHARE))
        for i, man in enumerate(sheet.men):
            for k, kind in enumerate(("two", "three")):
                key = f"{kind} {sheet.numbers[man]}"
                moved = own.get(key, 0.0) + gain * float(np.clip(off[i, k], -MOST_LOG, MOST_LOG))
                own[key] = min(max(moved, -MOST_RELUCTANCE), MOST_RELUCTANCE)
        unfitted = played({})
    begin, low, high = np.array([ranges(scenario)[aim.knob.name] for aim in aims]).T
    within = Range(np.array([aim.knob.step for aim in aims]), low, high)

    def rates(knobs: FloatArray) -> FloatArray:
        model = played({aim.knob.name: float(v) for aim, v in zip(aims, knobs, strict=True)})
        return np.array([aim.of(model) for aim in aims])

    before = np.array([aim.of(unfitted) for aim in aims])
    pulls = [pulled(a.counts * a.sheet, a.counts, b, prior) for a, b in zip(aims, before[:, 0], strict=True)]
    aimed = np.array([goal for goal, _ in pulls])
    matrix = slopes(rates, begin, before, within)
    solved, after = solve(rates, begin, before, aimed, matrix, within, ROUNDS)
    followed = tuple(
        Followed(
            knob=aim.knob.name,
            rate=aim.knob.rate,
            value=float(solved[i]),
            stopped=bool(solved[i] <= low[i] or solved[i] >= high[i]),
            sheet=aim.sheet,
            counts=aim.counts,
            own_share=pulls[i][1],
            before=float(before[i, 0]),
            aim=float(aimed[i]),
            after=float(after[i, 0]),
            standard_error=float(after[i, 1]),
        )
        for i, aim in enumerate(aims)
    )
    return SheetFit(possessions, runs, seed, prior, own, followed)
