"""The coach's sheet beside the model: the rates of a side and of its men, counted alike in both.

The model plays the five who start; of them, the men of whom the sheet counts enough are compared: their
counts alone on both sides. Where attempts are not known, the shots that went in are compared instead. A
play ends in a shot, free throws or a lost ball (44 of 100 free throws end one, Kubatko et al. 2007), so it
needs no rebounds; a possession has more than one after an offensive rebound.

Range of the sheet (95%): what the luck of so few counts allows, every game taken as alike. Shares: Wilson's
limits; free throws for a shot: Jeffreys' limits of a Poisson number of trips, two free throws each (Brown,
Cai, DasGupta 2003, Statistica Sinica 13:19, from memory); shots made with a three counting one and a half,
and points: normal limits from the variance of the counts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from scipy.special import gammaincinv

from engine.estimate.intervals import (
    LEVEL,
    Found,
    Interval,
    normal_interval,
    normal_quantile,
    scaled,
    score_limits,
    wilson,
)
from engine.estimate.men import KINDS, MADE, PLAY, POINTS, SHOTS, MenTally, weights
from engine.inputs.scenario import Scenario
from engine.inputs.sheets.met import Met
from engine.run.blocks import Progress, part_of_progress
from engine.run.size import RunSize
from engine.study.levels import standard_error
from engine.study.play import head
from engine.study.sheet.counts import SheetCounts
from engine.study.sheet.men import play_men, play_met
from engine.study.sheet.met import met_games

FREE_THROWS_A_TRIP = 2

Weights = dict[str, int]


def _share(above: float, below: float, _: dict[str, int]) -> Interval:
    return wilson(int(above), int(below))


def _turnovers(above: float, below: float, _: dict[str, int]) -> Interval:
    """``below`` in hundredths of a play, not necessarily whole."""
    low, high = score_limits(above / below, below / 100.0)
    return Interval(above / below, max(low, 0.0), high)


def poisson_limits(count: float, level: float = LEVEL) -> tuple[float, float]:
    """Jeffreys' limits of the mean of a Poisson count: quantiles of a gamma distribution of shape
    count + 1/2; below a count of nothing 0."""
    tail = (1.0 - level) / 2.0
    low = 0.0 if count == 0 else float(gammaincinv(count + 0.5, tail))
    return low, float(gammaincinv(count + 0.5, 1.0 - tail))


def _free_throws(above: float, below: float, _: dict[str, int]) -> Interval:
    low, high = poisson_limits(above / FREE_THROWS_A_TRIP)
    return scaled(Interval(above / FREE_THROWS_A_TRIP, low, high), FREE_THROWS_A_TRIP / below)


def _effective(above: float, below: float, of: dict[str, int]) -> Interval:
    total = 2 * of["twos_made"] + 3 * of["threes_made"]
    squares = 4 * of["twos_made"] + 9 * of["threes_made"]
    return scaled(normal_interval(int(below) // 2, total, squares), 0.5)


def _points(above: float, below: float, of: dict[str, int]) -> Interval:
    """Points a play: the plays of the sheet as draws of 0, 2 or 3 points or of a trip to the line."""
    plays, free = below / 100.0, of["free_throws"]
    mean = above / below
    made = of["free_throws_made"] / free if free else 0.0
    each = 100.0 / PLAY["free_throws"]  # free throws that make a play
    squares = 4.0 * of["twos_made"] + 9.0 * of["threes_made"]
    squares += free / each * ((each * made) ** 2 + each * made * (1.0 - made))
    half = normal_quantile(LEVEL) * math.sqrt(max(squares / plays - mean * mean, 0.0) / plays)
    return Interval(mean, mean - half, mean + half)


@dataclass(frozen=True)
class Rate:
    """``above`` over ``below``, sums of counts; ``needs``: counts that the sheet must have of all the men;
    ``limits``: the sheet's rate with its range."""

    above: Weights
    below: Weights
    limits: Callable[[float, float, dict[str, int]], Interval]
    needs: tuple[str, ...] = ()


#: Rates of the side, by whether attempts are known of the men.
SIDE: dict[bool, dict[str, Rate]] = {
    True: {
        "threes": Rate({"threes": 1}, SHOTS, _share),
        "two_point": Rate({"twos_made": 1}, {"twos": 1}, _share),
        "three_point": Rate({"threes_made": 1}, {"threes": 1}, _share),
        "effective": Rate({"twos_made": 2, "threes_made": 3}, {"twos": 2, "threes": 2}, _effective),
        "free_throws": Rate({"free_throws": 1}, SHOTS, _free_throws, ("free_throws",)),
        "turnovers": Rate({"turnovers": 100}, PLAY, _turnovers, ("free_throws", "turnovers")),
        "points": Rate(
            {name: 100 * value for name, value in POINTS.items()},
            PLAY,
            _points,
            ("free_throws", "free_throws_made", "turnovers"),
        ),
    },
    False: {"threes_of_made": Rate({"threes_made": 1}, MADE, _share)},
}
#: Rates of a man: his part of the side's shots (or shots made), and the threes among his.
MAN: dict[bool, tuple[tuple[str, Weights], tuple[str, Weights]]] = {
    True: (("shots", SHOTS), ("man_threes", {"threes": 1})),
    False: (("made", MADE), ("man_threes_of_made", {"threes_made": 1})),
}


@dataclass(frozen=True)
class Row:
    """A rate in both: ``key``, shirt number (None: the side), the sheet's with its range, the model's with
    its standard error; ``tonight``: the model's against tonight's defence, None where that is the one."""

    key: str
    number: int | None
    sheet: Interval
    model: float
    model_se: float
    tonight: float | None = None

    @property
    def outside(self) -> bool:
        """Whether the model is outside the sheet's range."""
        low, high = self.sheet.low, self.sheet.high
        return low is not None and high is not None and not low <= self.model <= high

    def to_dict(self) -> Found:
        """Plain JSON."""
        model = {"mean": self.model, "standard_error": self.model_se}
        sheet = self.sheet.as_dict()
        return {
            "key": self.key, "number": self.number, "sheet": sheet, "model": model, "outside": self.outside,
            "tonight": self.tonight,
        }  # fmt: skip


def rows(sheet: SheetCounts, model: MenTally, tonight: MenTally | None = None) -> tuple[Row, ...]:
    """Every rate that the sheet allows, the side's first. ``model``: against what they met; ``tonight``:
    against tonight's defence, None where that is the same."""
    of = {k: int(sheet.counts[list(sheet.men), i].sum()) for i, k in enumerate(KINDS)}
    asked: list[tuple[str, int | None, Rate, Sequence[int], Sequence[int]]] = [
        (key, None, rate, sheet.men, sheet.men)
        for key, rate in SIDE[sheet.attempts].items()
        if sheet.has(*rate.needs)
    ]
    (share, whole), (threes, part) = MAN[sheet.attempts]
    for man in sheet.men:
        number = sheet.numbers[man]
        asked.append((share, number, Rate(whole, whole, _share), (man,), sheet.men))
        asked.append((threes, number, Rate(part, whole, _share), (man,), (man,)))
    found = []
    for key, of_man, rate, above_men, below_men in asked:
        above, below = weights(rate.above, above_men), weights(rate.below, below_men)
        total = int((below * sheet.counts).sum())
        modelled = model.rate(above, below)
        if total <= 0 or modelled.mean is None:
            continue
        limits = rate.limits(int((above * sheet.counts).sum()), total, of)
        there = None if tonight is None else tonight.rate(above, below).mean
        found.append(Row(key, of_man, limits, modelled.mean, standard_error(modelled), there))
    return tuple(found)


@dataclass(frozen=True)
class SheetModel:
    """The sheet beside the model; ``met``: what they met where they were counted; ``men``: shirt numbers of
    those compared; ``fit``: JSON of the fit."""

    scenario: Scenario
    met: Met
    size: RunSize
    men: tuple[int, ...]
    attempts: bool
    rows: tuple[Row, ...]
    fit: Found

    def to_dict(self) -> Found:
        """Plain JSON."""
        return {
            **head("sheet", self.scenario, self.size),
            "met": self.met.word,
            "men": list(self.men),
            "attempts": self.attempts,
            "rows": [row.to_dict() for row in self.rows],
            "fit": self.fit,
        }


def compare_sheet(
    sheet: SheetCounts,
    scenario: Scenario,
    met: Met,
    size: RunSize,
    fit: Found,
    progress: Progress | None = None,
) -> SheetModel:
    """Play what they met (tonight's defence: the possessions that ``compare`` plays), and put it beside the
    sheet; tonight's defence, too, where that is not all of it."""
    alone, n = met.other is None, size.possessions

    def told(before: int) -> Progress | None:
        return part_of_progress(progress, before, n if alone else 2 * n)

    model = play_met(met_games(scenario, met), n, size.seed, size.threads, told(0))
    tonight = None if alone else play_men(scenario, n, size.seed, size.threads, told(n))
    men = tuple(sheet.numbers[man] for man in sheet.men)
    return SheetModel(scenario, met, size, men, sheet.attempts, rows(sheet, model, tonight), fit)
