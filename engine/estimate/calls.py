"""Integer tallies to estimates: means, intervals, paired differences, break-even rates and tail risk.

Units: points per possession or per call, seconds, shares 0..1. Where an estimate has no meaning (nothing
was called, nothing was shot) its parts are None, never "not a number". Intervals hold ``LEVEL`` unless
another level is asked for. They describe sampling error only, never the error of the model.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np

from engine.estimate.intervals import (
    LEAST_EVENTS,
    LEVEL,
    NOTHING,
    IntArray,
    Interval,
    cvar,
    if_enough,
    mean_interval,
    normal_interval,
    normal_quantile,
    ratio_interval,
    scaled,
    sum_distribution,
    wilson,
)
from engine.estimate.play import (
    FourFactors,
    PlayEstimate,
    ShotBand,
    estimate_play,
    four_factors,
    four_factors_points,
    per_possession,
    possession_estimator,
    ratio,
    share,
)
from engine.estimate.risk import OverN, over_n
from engine.estimate.rounding import parts_of_hundred
from engine.estimate.tally import N_NET, TURNOVERS, BoxTally, PairTally, PerCallTally, net_values
from engine.state.words import AFTER, LOSSES, OUTCOMES

__all__ = [
    "BoxTally", "BreakEven", "CallEstimate", "Conceded", "FourFactors", "Interval", "OverN",
    "PairTally", "PerCallTally", "PlayEstimate", "SettingEstimate", "ShotBand", "break_even",
    "break_even_words", "call_value", "change", "conceded", "cvar", "each_call_value", "estimate_call",
    "estimate_play", "estimate_setting", "four_factors", "four_factors_points", "lost_of_100",
    "mean_interval", "normal_interval", "normal_quantile", "nth_call_value", "one_in", "over_n",
    "p_costs_points", "per_possession",
    "possession_estimator", "punished_rates", "ratio", "ratio_interval", "scaled", "share",
    "sum_distribution", "variance_reduction", "wilson",
]  # fmt: skip

#: What every output prints of a call, of 100: the outcomes, "other" in its parts.
PARTS_OF_100 = (*(name for name in OUTCOMES if name != "other"), "trapped_shot", "rest")
#: Outcomes after which the offence plays on against a beaten trap.
ESCAPES = ("escape_pass", "retreat", "split")
#: What the bench crosses: shots before the defence is set again.
PUNISHED = ("rim_shot", "open_three")


# --- a setting against staying home -----------------------------------------------------------------------


def _difference_interval(pairs: IntArray, sign: int, level: float) -> Interval:
    """Mean of sign * (Ys - Y0) over paired possessions int64[N_NET, N_NET] on (Y0, Ys), normal interval; none
    where few of them differ or, with none that does, few were seen."""
    home, setting = np.indices(pairs.shape)
    hist = np.zeros(2 * N_NET - 1, dtype=np.int64)
    np.add.at(hist, (setting - home + N_NET - 1).ravel(), pairs.ravel())
    found = mean_interval(hist, sign * np.arange(1 - N_NET, N_NET), level)
    events = int(pairs.sum() - np.trace(pairs))
    # never a difference among many: a setting that does nothing
    return if_enough(found, events or int(pairs.sum()))


def change(tally: PairTally, level: float = LEVEL) -> Interval:
    """Net points per possession of the setting minus staying home, paired. Negative: good for the defence."""
    return paired_change(tally.all_pairs, level)


def paired_change(pairs: IntArray, level: float = LEVEL) -> Interval:
    """Mean of the second minus the first over paired possessions int64[N_NET, N_NET]; see ``change``."""
    return _difference_interval(pairs, 1, level)


def call_value(tally: PairTally, spot: int | None = None, level: float = LEVEL) -> Interval:
    """Net points saved per call: home minus setting over possessions first called at a spot (None: anywhere).

    Unbiased because what happens before the first call is shared (the effect on the treated). Comparing
    called possessions with other possessions is not: calls are made where the ball already is.
    """
    return _difference_interval(tally.pairs(spot), -1, level)


def each_call_value(tally: PerCallTally, spot: int, level: float = LEVEL) -> Interval:
    """Net points saved per call at a spot, every call counted by itself (first or later); possessions as
    clusters, because several calls of one possession are alike."""
    calls = int(tally.counts[:, spot].sum())
    found = ratio_interval(
        int(tally.values[:, spot].sum()), calls, int(tally.cluster_yy[spot]),
        int(tally.cluster_xy[spot]), int(tally.cluster_xx[spot]), tally.n, level,
    )  # fmt: skip
    return if_enough(found, calls)


def nth_call_value(tally: PerCallTally, order: int, spot: int, level: float = LEVEL) -> Interval:
    """Net points saved by the call number ``order`` (from 0) of a possession, where it was at a spot."""
    n, total, squares = (int(one[order, spot]) for one in (tally.counts, tally.values, tally.squares))
    return if_enough(normal_interval(n, total, squares, level), n)


def variance_reduction(tally: PairTally, spot: int | None = None) -> float | None:
    """(var Y0 + var Ys) / var (Ys - Y0) among CALLED possessions: how many times fewer possessions the
    pairing needs than two independent runs. None below two calls or where the difference never varies.

    Method: common random numbers, Law AM, Simulation Modeling and Analysis (2015), chapter 11 (from memory).
    """
    pairs = tally.pairs(spot)
    v = net_values()
    n, home, setting = int(pairs.sum()), pairs.sum(axis=1), pairs.sum(axis=0)

    def spread(total: int, squares: int) -> int:
        return n * squares - total * total

    own = spread(int(home @ v), int(home @ v**2)) + spread(int(setting @ v), int(setting @ v**2))
    gap = v[None, :] - v[:, None]
    paired = spread(int((pairs * gap).sum()), int((pairs * gap**2).sum()))
    return own / paired if paired else None  # 0 below two calls too


@dataclass(frozen=True)
class BreakEven:
    """The turnover rate a call gets and the one it needs.

    ``value = (t - t_star) * (conceded_otherwise - conceded_turnover)`` holds exactly. ``t_star`` may lie
    outside 0..1: at or below 0 the call pays without turnovers, at or above 1 turnovers cannot make it pay.
    ``reason`` says in words why there is no ``t_star``.
    """

    turnover_rate: Interval
    t_star: Interval
    conceded_turnover: float | None
    conceded_otherwise: float | None
    conceded_home: float | None
    reason: str | None

    @property
    def possible_rate(self) -> float | None:
        """``t_star`` where it is a share, 0..1; else None."""
        t_star = self.t_star.mean
        return t_star if t_star is not None and 0.0 <= t_star <= 1.0 else None

    @property
    def words(self) -> str:
        """Rate needed and rate got, for a coach."""
        if self.turnover_rate.mean is None or self.t_star.mean is None:
            return self.reason or "no break-even rate"
        return break_even_words(self.turnover_rate.mean, self.t_star.mean)

    def words_for(self, value: Interval, of_100: int | None = None) -> str:
        """``words`` where the value of the call is clear; where its interval holds 0 no verdict, only the
        rate got. ``of_100``: the rate got as it is printed beside, of 100 calls; None: it is not."""
        got = self.turnover_rate.mean
        if got is None:
            return self.words
        printed = got if of_100 is None or not 0 < of_100 < 100 else of_100 / 100
        if not _is_clear(value):
            return f"cannot tell yet; it gets {_got(printed)}"
        t_star = self.t_star.mean
        return self.words if t_star is None else break_even_words(got, t_star, printed)


def _is_clear(found: Interval) -> bool:
    """True where 0 lies outside the interval."""
    return found.low is not None and found.high is not None and (found.low > 0 or found.high < 0)


def break_even(tally: PairTally, spot: int | None = None, level: float = LEVEL) -> BreakEven:
    """t* = (c_N - mu0) / (c_N - c_T): mean net points of called possessions without a turnover in the trap
    (c_N), at home (mu0) and with one (c_T). Turnovers are steals and other turnovers IN the trap.

    Interval of t*: delta method on the paired possessions; none below ``LEAST_EVENTS`` calls of either kind.
    It is asymptotic, and poor where c_N - c_T is within a few standard errors of 0.
    """
    chosen = tally.joint if spot is None else tally.joint[spot : spot + 1]
    by_outcome = chosen.sum(axis=(0, 2), dtype=np.int64)
    is_turnover = np.array([name in TURNOVERS for name in OUTCOMES])
    with_t, without = by_outcome[is_turnover].sum(axis=0), by_outcome[~is_turnover].sum(axis=0)
    n_t, n_n = int(with_t.sum()), int(without.sum())
    n, v = n_t + n_n, net_values()
    rate = wilson(n_t, n, level)
    total_t, total_n = int(with_t.sum(axis=0) @ v), int(without.sum(axis=0) @ v)
    c_t = total_t / n_t if n_t else None
    c_n = total_n / n_n if n_n else None
    mu0 = int((with_t + without).sum(axis=1) @ v) / n if n else None
    reason = None
    if c_t is None or c_n is None or mu0 is None:
        reason = "every call ended in a turnover, so a beaten trap was never seen"
        if n_t == 0:
            reason = "no call ended in a turnover, so what one is worth was never seen"
        if n == 0:
            reason = "never called"
        return BreakEven(rate, NOTHING, c_t, c_n, mu0, reason)
    if total_n * n_t <= total_t * n_n:
        return BreakEven(rate, NOTHING, c_t, c_n, mu0, "a turnover in the trap did not pay here")
    gain = c_n - c_t
    t_star = (c_n - mu0) / gain
    if min(n_t, n_n) < LEAST_EVENTS:
        return BreakEven(rate, Interval(t_star), c_t, c_n, mu0, None)
    # Influence of one possession (Y0, Ys) on t*; c_T rests on n_T of the n possessions only, hence n / n_T.
    home = (v - mu0)[:, None]
    influence_t = (t_star * (v - c_t)[None, :] * n / n_t - home) / gain
    influence_n = ((1 - t_star) * (v - c_n)[None, :] * n / n_n - home) / gain
    squares = float((with_t * influence_t**2).sum() + (without * influence_n**2).sum())
    half = normal_quantile(level) * sqrt(squares / (n * (n - 1)))
    return BreakEven(rate, Interval(t_star, t_star - half, t_star + half), c_t, c_n, mu0, None)


def punished_rates(joint: IntArray) -> tuple[float, float] | None:
    """Share of calls with a layup or an open three behind the beaten trap, and the share at which the call
    would be worth nothing, what it concedes with one and without left as it is: (mu0 - c_N) / (c_P - c_N).

    ``joint``: int64[spot, outcome, after, N_NET, N_NET] as in ``PairTally``. None below ``LEAST_EVENTS``
    calls of either kind, or where such a shot costs nothing more. The second may lie outside 0..1.
    """
    by = joint.sum(axis=0, dtype=np.int64)
    beaten, free = [OUTCOMES.index(name) for name in ESCAPES], [AFTER.index(name) for name in PUNISHED]
    every, v = by.sum(axis=(0, 1)), net_values()
    punished = by[np.ix_(beaten, free)].sum(axis=(0, 1))
    n, n_p = int(every.sum()), int(punished.sum())
    if min(n_p, n - n_p) < LEAST_EVENTS:
        return None
    c_p = int(punished.sum(axis=0) @ v) / n_p
    c_n = int((every - punished).sum(axis=0) @ v) / (n - n_p)
    mu0 = int(every.sum(axis=1) @ v) / n
    return (n_p / n, (mu0 - c_n) / (c_p - c_n)) if c_p > c_n else None


@dataclass(frozen=True)
class Conceded:
    """What the possessions of a call concede in one branch."""

    points: Interval
    p_two_or_more: Interval
    p_rim_shot: Interval  # an attempt at the rim in the whole possession (what came before is shared)


def conceded(tally: PairTally, spot: int, branch: str, level: float = LEVEL) -> Conceded:
    """Points and risks of the possessions first called at a spot; branch is "home" or "called"."""
    hist = getattr(tally, f"points_hist_{branch}")[spot]
    n, total = int(hist.sum()), int(getattr(tally, f"points_sum_{branch}")[spot])
    squares, rim = (int(getattr(tally, f"{name}_{branch}")[spot]) for name in ("points_square", "rim"))
    return Conceded(
        if_enough(normal_interval(n, total, squares, level), n),
        wilson(int(hist[2:].sum()), n, level),
        wilson(rim, n, level),
    )


def p_costs_points(tally: PairTally, spot: int | None = None, level: float = LEVEL) -> Interval:
    """Chance that a called possession concedes more net points than the home mean mu0; nothing: never called.

    The interval takes mu0 as known: points are whole, so the chance hangs on it only near a whole number.
    """
    pairs = tally.pairs(spot)
    n, v = int(pairs.sum()), net_values()
    above = v * n > int(pairs.sum(axis=1) @ v)
    return wilson(int(pairs.sum(axis=0)[above].sum()), n, level)


@dataclass(frozen=True)
class CallEstimate:
    """One call of a setting. Possessions count by their FIRST call; shares add up to 1 or are None."""

    spot: int
    called: int
    calls: int  # every call here, later ones of a possession included
    called_per_100: float | None  # possessions first called here, per 100 possessions
    trap_set_rate: float | None  # share of called possessions in which the trap closed around the ball
    value: Interval
    outcomes: dict[str, float | None]
    other_parts: dict[str, float | None]  # of all called possessions; they add up to outcomes["other"]
    turnover_parts: dict[
        str, float | None
    ]  # of all called; they add up to the outcomes steal and other_turnover
    after_escape: dict[str, float | None]
    break_even: BreakEven
    called_branch: Conceded
    home_branch: Conceded
    p_costs_points: Interval
    over_n: OverN
    variance_reduction: float | None


@dataclass(frozen=True)
class SettingEstimate:
    """A setting against staying home."""

    change: Interval
    variance_reduction: float | None
    calls: tuple[CallEstimate, ...]


def _shares(names: tuple[str, ...], counts: IntArray) -> dict[str, float | None]:
    total = int(counts.sum())
    return {name: int(k) / total if total else None for name, k in zip(names, counts, strict=True)}


def _other_parts(tally: PairTally, spot: int) -> dict[str, float | None]:
    """What the outcome "other" is made of: shots by the trapped man, and the rest (trap too late, held ball,
    time-out)."""
    called, shots = tally.called(spot), int(tally.trapped_shot[spot])
    others = int(tally.joint[spot, OUTCOMES.index("other")].sum())
    if not called:
        return {"trapped_shot": None, "rest": None}
    return {"trapped_shot": shots / called, "rest": (others - shots) / called}


def estimate_call(tally: PairTally, spot: int, n: int, level: float = LEVEL) -> CallEstimate:
    """Everything about the call at a spot; n calls for the risk over several."""
    by_outcome = tally.joint[spot].sum(axis=(2, 3), dtype=np.int64)
    escaped = by_outcome[[OUTCOMES.index(name) for name in ESCAPES]].sum(axis=0)
    pairs, called = tally.pairs(spot), tally.called(spot)
    return CallEstimate(
        spot=spot,
        called=called,
        calls=int(tally.calls[spot]),
        called_per_100=100.0 * called / tally.n if tally.n else None,
        trap_set_rate=int(tally.trap_set[spot]) / called if called else None,
        value=call_value(tally, spot, level),
        outcomes=_shares(OUTCOMES, by_outcome.sum(axis=1)),
        other_parts=_other_parts(tally, spot),
        turnover_parts={
            name: int(k) / called if called else None
            for name, k in zip(LOSSES, tally.lost_by[spot], strict=True)
        },
        after_escape=_shares(AFTER[1:], escaped[1:]),
        break_even=break_even(tally, spot, level),
        called_branch=conceded(tally, spot, "called", level),
        home_branch=conceded(tally, spot, "home", level),
        p_costs_points=p_costs_points(tally, spot, level),
        over_n=over_n(pairs, n, level),
        variance_reduction=variance_reduction(tally, spot),
    )


def estimate_setting(tally: PairTally, n: int, level: float = LEVEL) -> SettingEstimate:
    """Change against staying home and every call of the setting."""
    calls = tuple(estimate_call(tally, spot, n, level) for spot in range(tally.n_spots))
    return SettingEstimate(change(tally, level), variance_reduction(tally), calls)


def lost_of_100(outcomes: Mapping[str, float | None]) -> int:
    """Balls lost in the trap of 100 calls, as every output prints them: of shares by PARTS_OF_100."""
    parts = parts_of_hundred(outcomes, PARTS_OF_100)
    return sum(parts.get(name, 0) for name in TURNOVERS)


# --- words for a coach ------------------------------------------------------------------------------------

#: Fractions a coach says, as (times, of).
_SPOKEN = (
    *((1, of) for of in (60, 50, 40, 30, 25, *range(20, 2, -1))),
    (2, 5), (1, 2), (3, 5), (2, 3), (3, 4), (4, 5), (9, 10),
)  # fmt: skip


def spoken_rate(rate: float) -> tuple[int, int]:
    """The fraction (times, of) that a coach hears for a rate: from 5 of 100 up to 1 in 3 that which he has
    when he divides 100 by the rate of 100 and rounds, else the nearest one."""
    if rate > 1.0 / 3.0:
        return min(_SPOKEN, key=lambda pair: abs(pair[0] / pair[1] - rate))
    return min(_SPOKEN, key=lambda pair: abs(pair[1] / pair[0] - 1.0 / max(rate, 1e-9)))


def one_in(rate: float, noun: str = "") -> str:
    """A rate in words: "1 in 6", "2 in 3", with a noun "1 turnover in 6"; "never" at 0, "almost never" below
    1 in 60, "almost always" above 19 in 20, "always" at 1.

    Raises:
        ValueError: rate outside 0..1.
    """
    if not 0.0 <= rate <= 1.0:
        raise ValueError(f"rate must lie in 0..1, got {rate}")
    for word, fits in (
        ("never", rate == 0.0), ("almost never", rate < 1 / 60),
        ("always", rate == 1.0), ("almost always", rate > 0.95),
    ):  # fmt: skip
        if fits:
            return word
    times, of = spoken_rate(rate)
    named = f" {noun}{'s' if times > 1 else ''}" if noun else ""
    return f"{times}{named} in {of}"


def _got(rate: float) -> str:
    return one_in(rate).replace("never", "none")


def break_even_words(t: float, t_star: float | None, printed: float | None = None) -> str:
    """Turnover rate needed and got: "needs 1 turnover in 6, gets 1 in 4".

    Where both round to the same words, or to words in the wrong order, says which is larger. ``printed``:
    ``t`` as it is printed beside.
    Raises ValueError where t is outside 0..1.
    """
    shown = t if printed is None else printed
    got = _got(shown)
    if t_star is None:
        return f"no break-even rate, gets {got}"
    if t_star <= 0.0:
        return f"pays without turnovers, gets {got}"
    if t_star >= 1.0:
        return f"cannot pay, gets {got}"
    needed = one_in(t_star, "turnover")
    if not needed[0].isdigit():
        needed = f"a turnover {needed}"
    said, asked = (times / of for times, of in (spoken_rate(shown), spoken_rate(t_star)))
    if one_in(t_star) == got or (said - asked) * (t - t_star) < 0.0:
        got = "just that" if t == t_star else "a little more" if t > t_star else "a little less"
    return f"needs {needed}, gets {got}"
