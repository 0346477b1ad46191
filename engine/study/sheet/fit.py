"""Fits the model's opponent to the counts of his sheet: who shoots how often, and a few knobs of the side.

The model plays against the defences that he met where he was counted (``met``): tonight's, another, or half
the possessions each. First every man's reluctance to shoot twos and threes: each round moves it by the
logarithm of how far his share of the side's shots is from its aim. Half way what going on with the ball is
worth to these men is measured (engine.study.own_men.measure_carrying), against tonight's defence and against
another that they met: at one moment of the fit, so that it makes no difference between the two. Then, where
the sheet counts them, the knobs of KNOBS, one for each rate: slopes are taken once, then damped Gauss-Newton
inside the knobs' ranges (engine.study.newton).

An aim is where the counts pull the model's own: the posterior mean of the sheet's rate with the model's as
the average and PRIOR of the model (shot_prior_attempts) as its strength in attempts or plays
(engine.inputs.sheets.shrink; for free throws a shot the same formula is that of a Poisson rate with a gamma
prior, Gelman et al., section 2.6, from memory). So few counts move little, and none move nothing. The model's
own is of the unfitted model for the shares, and of the model with its shares fitted for the knobs' rates.

Then, where tonight's kind of defence is not the only one they met, who shoots in it
(engine.study.sheet.habits). Last, what these men make of a trap (engine.study.own_men.measure_trapped): it
changes nothing where nobody traps.

How well each man shoots is not fitted here: his shot table is pulled to his counts where the sheet is read
(engine.inputs.sheets.shooting). Every run plays the same possessions: the luck is common.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np

from engine.estimate.intervals import FloatArray, Found, IntArray
from engine.estimate.men import PLAY, MenTally, weights
from engine.inputs.scenario import Scenario
from engine.inputs.sheets.met import TONIGHT, Met
from engine.inputs.sheets.shrink import pulled
from engine.run.blocks import Progress
from engine.study.levels import standard_error
from engine.study.newton import Range, slopes, solve
from engine.study.own_men import Carrying, Trapped, measure_carrying, measure_trapped, trapped_work
from engine.study.sheet.counts import SheetCounts
from engine.study.sheet.habits import (
    SHOT_KINDS,
    Habits,
    Share,
    among,
    habits_against,
    moved,
    shares_found,
)
from engine.study.sheet.knobs import (
    CARRYING,
    CARRYING_POSSESSIONS,
    CARRYING_RUNS,
    ELSEWHERE,
    FIT_POSSESSIONS,
    GAIN,
    HABIT_RUNS,
    KNOBS,
    MOST_RUNS,
    PRIOR,
    ROUNDS,
    SHARE_ROUNDS,
    SLOWER,
    TRAPPED_PLAYED,
    TRAPPED_RUNS,
    Knob,
    ranges,
    values_of,
    with_habits,
    with_knobs,
)
from engine.study.sheet.men import play_met
from engine.study.sheet.met import instead, met_games
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
    """A rate that follows the sheet: ``before`` in the model with its shares fitted and its knobs not,
    ``aim`` where its counts pull it, ``after`` with the knob at ``value`` (``stopped``: at an end of its
    range); ``own_share``: how much of the aim is the sheet's."""

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
    """What was moved: ``reluctance`` by kind and shirt number, what it came to (``shares``), and the rates
    that the knobs were moved for (``followed``); ``possessions`` of each of the ``runs``; ``prior``: shots or
    plays of the model that each aim is pulled with; ``carrying``: what going on with the ball is worth to
    these men against tonight's defence, ``elsewhere`` against another that they met; None where nothing was
    fitted, or they met no other. ``met``: kinds of defence (zone, men) that it was made in; ``tonight``: who
    shoots in tonight's kind, None where it was the only one. ``trapped``: what they make of a trap, None
    where nothing was fitted, nobody may trap or no shipped call fits tonight's defence."""

    possessions: int
    runs: int
    seed: int
    prior: float
    reluctance: dict[str, float]
    shares: tuple[Share, ...]
    followed: tuple[Followed, ...]
    carrying: Carrying | None = None
    elsewhere: Carrying | None = None
    met: tuple[str, ...] = ()
    tonight: Habits | None = None
    trapped: Trapped | None = None

    def to_dict(self) -> Found:
        """Plain JSON."""
        return asdict(self)


def shares_of(sheet: SheetCounts, sums: IntArray) -> FloatArray:
    """Each man's twos and threes among all the shots of the men compared, float64[man, 2]."""
    return among(sheet.men, sums)


def fit_sheet(
    sheet: SheetCounts,
    scenario: Scenario,
    seed: int,
    threads: int | None = None,
    progress: Progress | None = None,
    possessions: int = FIT_POSSESSIONS,
    met: Met = TONIGHT,
    traps: bool = True,
) -> SheetFit:
    """Move the reluctances, then the knobs, until the model is where the sheet's counts pull it.

    The same for any number of threads. Runs: one unfitted, one for each round of the shares and one in the
    middle of them, one for each knob, at most ROUNDS after, CARRYING_RUNS for tonight's defence and for
    another that they met, HABIT_RUNS where tonight's kind is not the only one, and TRAPPED_RUNS where
    ``traps`` may be called. Nothing is moved where the attempts are not counted.
    """
    runs, prior = 0, scenario.constants[PRIOR]
    own: dict[str, float] = {}
    worth: dict[str, float] = {}

    def played(values: Mapping[str, float]) -> MenTally:
        nonlocal runs
        if progress is not None:
            progress(runs, MOST_RUNS)
        runs += 1
        there = met_games(with_knobs(scenario, {**own, **worth, **values}), met)
        return play_met(there, possessions, seed, threads)

    def going_on(side: Scenario) -> Carrying:
        nonlocal runs
        found = measure_carrying(side, seed, threads, part(CARRYING_RUNS), CARRYING_POSSESSIONS)
        runs += CARRYING_RUNS
        return found

    def part(of: int) -> Progress:
        def told(done: int, total: int) -> None:
            if progress is not None:
                progress(runs + of * done // total, MOST_RUNS)

        return told

    if not sheet.attempts:
        return SheetFit(possessions, runs, seed, prior, {}, (), ())
    model, numbers = played({}), [sheet.numbers[man] for man in sheet.men]
    counted, unfitted = shares_of(sheet, sheet.counts), shares_of(sheet, model.sums)
    n = float(sheet.counts[np.ix_(sheet.men, SHOT_KINDS)].sum())
    aim_shares = (n * counted + prior * unfitted) / (n + prior)
    carrying = elsewhere = None
    for number in range(SHARE_ROUNDS):
        if number == SHARE_ROUNDS // 2:  # in the middle: it hangs on who shoots, and who shoots on it
            side = with_knobs(scenario, own)
            carrying = going_on(side)
            worth[CARRYING] = carrying.points
            if met.other is not None:
                elsewhere = going_on(instead(side, met.other))
                worth[ELSEWHERE] = elsewhere.points
            model = played({})
        gain = GAIN / (1.0 + number / SLOWER)
        own = moved(own, numbers, shares_of(sheet, model.sums), aim_shares, gain)
        model = played({})
    followed, model = _follow(aims_of(sheet), scenario, model, prior, played)
    shares = shares_found(model, sheet.men, numbers, own, counted, unfitted, aim_shares)
    kinds = tuple(one.zone.kind for one in met_games(scenario, met))
    found = SheetFit(possessions, runs, seed, prior, own, shares, followed, carrying, elsewhere, kinds)
    as_json = json.loads(json.dumps(found.to_dict()))
    side = with_knobs(scenario, values_of(as_json))
    tonight = habits_against(side, as_json, threads, part(HABIT_RUNS))
    runs += 0 if tonight is None else tonight.runs
    if tonight is not None:
        side = with_habits(side, asdict(tonight))
    trapped = None
    if traps and (parts := trapped_work(side, 1)):
        each = -(-TRAPPED_PLAYED * possessions // parts)
        trapped = measure_trapped(side, seed, threads, part(TRAPPED_RUNS), each)
        runs += TRAPPED_RUNS
    return replace(found, tonight=tonight, trapped=trapped, runs=runs)


def _follow(
    aims: Sequence[Aim],
    scenario: Scenario,
    model: MenTally,
    prior: float,
    played: Callable[[Mapping[str, float]], MenTally],
) -> tuple[tuple[Followed, ...], MenTally]:
    """Move the knobs from ``model``, where they stand at their beginning; the last model too."""
    if not aims:
        return (), model
    begin, low, high = np.array([ranges(scenario)[aim.knob.name] for aim in aims]).T
    within = Range(np.array([aim.knob.step for aim in aims]), low, high)
    models = {tuple(begin.tolist()): model}

    def rates(knobs: FloatArray) -> FloatArray:
        found = played({aim.knob.name: float(v) for aim, v in zip(aims, knobs, strict=True)})
        models[tuple(knobs.tolist())] = found
        return np.array([aim.of(found) for aim in aims])

    before = np.array([aim.of(model) for aim in aims])
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
    return followed, models[tuple(solved.tolist())]
