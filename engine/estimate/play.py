"""Estimates of one setting from its box tally: points, pace, shooting, rebounds, turnovers, shot bands.

The possession is the cluster of every interval: shots of one possession are alike, possessions are not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np

from engine.estimate.intervals import (
    LEAST_EVENTS,
    LEVEL,
    IntArray,
    Interval,
    if_enough,
    normal_interval,
    normal_quantile,
    ratio_interval,
    scaled,
    score_limits,
    skewed_interval,
    wilson,
)
from engine.estimate.tally import GAPS, BoxTally
from engine.state.record import COLUMN, N_RECORD, SHOT_BANDS

#: A record column by name, or a sum of columns with whole weights.
Columns = str | Mapping[str, int]
#: Record columns that the four factors are made of, beside how possessions ended.
FACTOR_COLUMNS = ("points", "fga", "fgm", "three_made", "ftm", "oreb", "dreb")


def _weights(columns: Columns) -> IntArray:
    """A record column, or a sum of several with whole weights, as a vector over the columns."""
    weights = np.zeros(N_RECORD, dtype=np.int64)
    for name, weight in ({columns: 1} if isinstance(columns, str) else columns).items():
        weights[COLUMN[name]] = weight
    return weights


def _quotient(box: BoxTally, y: IntArray, x: IntArray, level: float) -> Interval:
    return ratio_interval(
        int(y @ box.sums), int(x @ box.sums), int(y @ box.cross @ y), int(x @ box.cross @ y),
        int(x @ box.cross @ x), box.n, level,
    )  # fmt: skip


def per_possession(box: BoxTally, columns: Columns, level: float = LEVEL) -> Interval:
    """Mean of a column (or a weighted sum of columns) per possession."""
    w = _weights(columns)
    return if_enough(normal_interval(box.n, int(w @ box.sums), int(w @ box.cross @ w), level), box.n)


def ratio(box: BoxTally, y: Columns, x: Columns, level: float = LEVEL) -> Interval:
    """Sum of y over sum of x, columns or weighted sums of columns, possessions as clusters; no interval where
    the sum of x is small."""
    below = _weights(x)
    return if_enough(_quotient(box, _weights(y), below, level), int(below @ box.sums))


def share(box: BoxTally, part: Columns, whole: Columns, level: float = LEVEL) -> Interval:
    """A ratio that is a share: Wilson's limits on as many independent trials as would know it as well.

    With R and its standard error se by clusters that is R (1 - R) / se^2 trials (Kish's effective sample
    size, from memory); so rare shares keep their level. At a share of exactly 0 or 1 the clusters show no
    spread at all and the trials themselves are taken. No interval for few trials.
    """
    w_part, w_whole = _weights(part), _weights(whole)
    k, trials = int(w_part @ box.sums), int(w_whole @ box.sums)
    if trials and k in (0, trials):
        return if_enough(wilson(k, trials, level), trials)
    found = _quotient(box, w_part, w_whole, level)
    if found.mean is None or found.low is None or found.high is None:
        return found
    error = (found.high - found.low) / 2.0 / normal_quantile(level)
    if error > 0.0:
        low, high = score_limits(found.mean, found.mean * (1.0 - found.mean) / error**2, level)
        found = Interval(found.mean, low, high)
    return if_enough(found, trials)


def mean_gap(box: BoxTally, name: str, level: float = LEVEL) -> Interval:
    """Mean distance in metres, of a key of ``GAPS``; possessions as clusters, the limits by the skew of their
    deviations e = y - R x. As many events as equal clusters would know it as well (Kish, from memory)."""
    y, x = _weights(name), _weights(GAPS[name])
    found, count = _quotient(box, y, x, level), int(x @ box.sums)
    if found.mean is None or found.high is None or count < LEAST_EVENTS:
        return scaled(Interval(found.mean), 1e-3)
    events = count**2 / int(x @ box.cross @ x)
    half = (found.high - found.mean) / normal_quantile(level)
    spread = half * count * sqrt((box.n - 1.0) / box.n)  # root of the sum of e^2, mm
    if spread == 0.0:
        return scaled(found, 1e-3)
    error = spread / count * sqrt(events / (events - 1.0))  # of n possessions few have any
    cubes, r = [int(value) for value in box.cubes[list(GAPS).index(name)]], found.mean / 10.0  # cm
    third = cubes[0] - 3.0 * r * cubes[1] + 3.0 * r**2 * cubes[2] - r**3 * cubes[3]
    skew = third * 1e3 / spread**3
    return scaled(skewed_interval(found.mean, error, skew, events, level), 1e-3)


@dataclass(frozen=True)
class ShotBand:
    """Shots from one band of distance: attempts, their share of all attempts, share made."""

    name: str
    attempts: int
    of_all: Interval
    made: Interval


@dataclass(frozen=True)
class FourFactors:
    """Parts of points per possession, exact: ``points = attempts * (2 * shooting + free_throws)`` and
    ``attempts = (1 - t - x + o m) / (1 - o (1 - fg))``; see ``four_factors``."""

    points_per_possession: float
    attempts_per_possession: float
    shooting: float  # e, effective field goal share
    field_goals: float  # fg, share of field goal attempts made
    turnovers: float  # t, per possession, shot-clock violations included
    rebounds: float  # o, offensive share of all rebounds
    free_throws: float  # r, free throws made per field goal attempt
    free_throw_plays: float  # x, per possession
    free_throw_misses: float  # m, per possession, rebounded ones


def four_factors_points(e: float, fg: float, t: float, o: float, r: float, x: float, m: float) -> float:
    """Points per possession from the factors: a (2 e + r), a = (1 - t - x + o m) / (1 - o (1 - fg))."""
    return (1 - t - x + o * m) / (1 - o * (1 - fg)) * (2 * e + r)


def four_factors(box: BoxTally) -> FourFactors | None:
    """The four factors of one setting, chosen so that the identity holds exactly.

    A possession is 1 + (offensive rebounds) plays, and each play ends with a field goal attempt, a turnover
    or free throws: a + t + x = 1 + o (a (1 - fg) + m). Per possession:
    t: possessions ended by a turnover or the shot clock;
    x: plays ended by free throws without a counted attempt = 1 + oreb - fga - t;
    o: oreb / (oreb + dreb); m: rebounded misses that were not field goals, hence of a last free throw
    = oreb + dreb - (fga - fgm). A missed shot that goes out of bounds and stays with the offence without
    being booked as a rebound lowers x and m, and the identity still holds.
    Factors: Oliver D (2004) Basketball on Paper; the exact form is worked out here.

    Returns None where there was no field goal attempt or no possession.
    """
    counts = {name: box.total(name) for name in FACTOR_COLUMNS}
    return factors_of(box.n, counts | {"lost": box.lost})


def factors_of(n: int, counts: Mapping[str, int]) -> FourFactors | None:
    """``four_factors`` of n possessions from totals by name: ``FACTOR_COLUMNS`` and ``lost``, the
    possessions ended by a turnover or the shot clock."""
    fga = counts["fga"]
    if n == 0 or fga == 0:
        return None
    oreb, rebounds = counts["oreb"], counts["oreb"] + counts["dreb"]
    t = counts["lost"] / n
    return FourFactors(
        points_per_possession=counts["points"] / n,
        attempts_per_possession=fga / n,
        shooting=(counts["fgm"] + 0.5 * counts["three_made"]) / fga,
        field_goals=counts["fgm"] / fga,
        turnovers=t,
        rebounds=oreb / rebounds if rebounds else 0.0,
        free_throws=counts["ftm"] / fga,
        free_throw_plays=1 + (oreb - fga) / n - t,
        free_throw_misses=(rebounds - fga + counts["fgm"]) / n,
    )


def possession_estimator(fga: float, oreb: float, tov: float, fta: float, c: float = 0.44) -> float:
    """Possessions from a box score: FGA - OREB + TOV + c FTA.

    c is the share of free throws that end a possession; 0.44 fits professional men. Source: Kubatko J, Oliver
    D, Pelton K, Rosenbaum DT (2007) Journal of Quantitative Analysis in Sports 3(3):1,
    doi 10.2202/1559-0410.1070.
    """
    return fga - oreb + tov + c * fta


@dataclass(frozen=True)
class PlayEstimate:
    """One setting: points, pace, shooting, rebounds, turnovers and shots by distance."""

    possessions: int
    points_per_possession: Interval
    net_points_per_possession: Interval
    seconds_per_possession: Interval
    field_goal_share: Interval
    three_share: Interval
    rim_share: Interval
    free_throw_share: Interval
    effective_field_goal_share: Interval
    offensive_rebound_share: Interval
    turnover_rate: Interval  # per possession, shot-clock violations included
    steal_share: Interval  # of those turnovers
    free_throw_rate: Interval  # free throw attempts per field goal attempt
    three_attempt_share: Interval
    rim_attempt_share: Interval
    open_three_share: Interval  # of three-point attempts
    assisted_share: Interval  # of made shots
    three_gap_m: Interval  # nearest defender at the release of a three
    skip_gap_m: Interval  # nearest defender when a skip is caught on the perimeter
    next_gap_m: Interval  # the same for a pass to the next man
    missed_bump_gap_m: Interval  # the same where the bump had not come
    shots: tuple[ShotBand, ...]
    four_factors: FourFactors | None


def estimate_play(box: BoxTally, level: float = LEVEL) -> PlayEstimate:
    """All estimates of one setting from its tally."""
    made_value = {"fgm": 2, "three_made": 1}
    effective = scaled(ratio(box, made_value, "fga", level), 0.5)
    bands = tuple(
        ShotBand(
            name,
            box.total(f"band{i}_att"),
            share(box, f"band{i}_att", "fga", level),
            share(box, f"band{i}_made", f"band{i}_att", level),
        )
        for i, name in enumerate(SHOT_BANDS)
    )
    return PlayEstimate(
        possessions=box.n,
        points_per_possession=per_possession(box, "points", level),
        net_points_per_possession=per_possession(box, "net", level),
        seconds_per_possession=scaled(per_possession(box, "time_ms", level), 1e-3),
        field_goal_share=share(box, "fgm", "fga", level),
        three_share=share(box, "three_made", "three_attempts", level),
        rim_share=share(box, "rim_made", "rim_attempts", level),
        free_throw_share=share(box, "ftm", "fta", level),
        effective_field_goal_share=effective,
        offensive_rebound_share=share(box, "oreb", {"oreb": 1, "dreb": 1}, level),
        turnover_rate=wilson(box.lost, box.n, level),
        steal_share=wilson(box.total("steals"), box.lost, level),
        free_throw_rate=ratio(box, "fta", "fga", level),
        three_attempt_share=share(box, "three_attempts", "fga", level),
        rim_attempt_share=share(box, "rim_attempts", "fga", level),
        open_three_share=share(box, "open_threes", "three_attempts", level),
        assisted_share=share(box, "assisted", "fgm", level),
        three_gap_m=mean_gap(box, "three_gap_mm", level),
        skip_gap_m=mean_gap(box, "skip_gap_mm", level),
        next_gap_m=mean_gap(box, "next_gap_mm", level),
        missed_bump_gap_m=mean_gap(box, "missed_bump_gap_mm", level),
        shots=bands,
        four_factors=four_factors(box),
    )
