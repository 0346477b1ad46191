"""The end of a game: behind by d points with t seconds left, does trapping raise the chance to win?

Both sides take turns. An opponent's possession lasts a number of seconds and moves the score by its net
points (what a live steal brings at the other end is in them); ours lasts between two times, all alike, and
brings 0 to 3 points from an input distribution. One not over at the buzzer brings them nothing and us our
shot. A tie counts half (overtime). The chance to win is worked out exactly by going back from the buzzer
second by second: backward induction on (seconds, difference), Bellman (1957), from memory. Not in it:
fouling on purpose, an offence that sits on the ball.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from engine.estimate.intervals import FloatArray, IntArray, Interval, student_quantile
from engine.state.record import NET_HIGH, NET_LOW

BEHIND = (3, 6, 9)
SECONDS = (60, 120, 240)
#: Differences followed: from this far behind to this far ahead; beyond it the game is decided.
FAR = 40
#: Points that one of our possessions brings, at most.
MOST_OWN = 3
_PAD = max(NET_HIGH, -NET_LOW, MOST_OWN)


@dataclass(frozen=True)
class OwnScoring:
    """Our own possessions: chance of 0, 1, 2 and 3 points, and the least and greatest length, seconds."""

    points: tuple[float, float, float, float]
    shortest_s: int
    longest_s: int


def own_scoring(
    points_per_possession: float, share_one: float, share_three: float, shortest_s: int, longest_s: int
) -> OwnScoring:
    """Our scoring from a mean and the make-up of the possessions that score; the rest of those bring two."""
    two = 1.0 - share_one - share_three
    p = points_per_possession / (share_one + 2.0 * two + 3.0 * share_three)
    if not 0.0 <= p <= 1.0 or two < 0.0:
        raise ValueError(f"no such scoring: {points_per_possession}, {share_one}, {share_three}")
    return OwnScoring((1.0 - p, p * share_one, p * two, p * share_three), shortest_s, longest_s)


def _shifted(ahead: FloatArray, by: int) -> FloatArray:
    """Chance to win from a difference that is ``by`` points better, [.., 2 FAR + 1]; decided beyond FAR."""
    return ahead[..., _PAD + by : _PAD + by + 2 * FAR + 1]


def win_table(opponents: FloatArray, own: OwnScoring, most_s: int) -> FloatArray:
    """Chance to win with the opponents in possession.

    Parameters
    ----------
    opponents : float64[groups, net points from NET_LOW to NET_HIGH, seconds], each group adding up to 1
    own : our scoring
    most_s : seconds left, at most

    Returns
    -------
    float64[groups, most_s + 1, 2 FAR + 1] : by seconds left and difference (ours less theirs) + FAR
    """
    n, _, n_seconds = opponents.shape
    difference = np.arange(-FAR - _PAD, FAR + _PAD + 1)
    decided = np.where(difference > 0, 1.0, np.where(difference == 0, 0.5, 0.0))
    ours = np.empty((n, most_s + 1, len(difference)))  # we have the ball; padded by decided games
    theirs = np.empty_like(ours)
    ours[:], theirs[:] = decided, decided
    inside = slice(_PAD, _PAD + 2 * FAR + 1)
    lengths = range(own.shortest_s, own.longest_s + 1)
    for t in range(1, most_s + 1):
        longest = min(t, n_seconds - 1)
        back = ours[:, t - longest : t][:, ::-1]
        total = opponents[:, :, longest + 1 :].sum(axis=(1, 2))[:, None] * decided[inside]
        for v in range(NET_LOW, NET_HIGH + 1):
            share = opponents[:, v - NET_LOW, 1 : longest + 1]
            if share.any():
                total = total + np.einsum("gs,gsd->gd", share, _shifted(back, -v))
        theirs[:, t, inside] = total
        mean = np.mean([theirs[:, max(t - s, 0)] for s in lengths], axis=0)
        ours[:, t, inside] = np.sum([p * _shifted(mean, k) for k, p in enumerate(own.points)], axis=0)
    return theirs[:, :, inside]


def distributions(uncalled: IntArray, played: IntArray, chances: float) -> FloatArray:
    """Distributions of an opponents' possession, all groups together and leaving out each in turn.

    ``uncalled`` int64[groups, net, seconds]: possessions in which the call does not come up; ``played``: the
    same of possessions in which it does, a sample that stands for ``chances`` possessions.

    Returns float64[1 + groups, net, seconds].
    """
    n_played = max(int(played.sum()), 1)
    whole = uncalled + played * (chances / n_played)
    without = whole.sum(axis=0)[None] - whole
    found: FloatArray = np.concatenate([whole.sum(axis=0)[None], without])
    return found / found.sum(axis=(1, 2))[:, None, None]


def jackknife(values: FloatArray, level: float) -> Interval:
    """Interval from the value of all groups (first) and of those that leave out one group.

    Delete-a-group jackknife: se^2 = (G - 1) / G sum (v_g - mean)^2, with Student's t. Source: Efron and
    Tibshirani, An Introduction to the Bootstrap (1993), chapter 11 (from memory).
    """
    whole, parts = float(values[0]), values[1:]
    n = len(parts)
    spread = float(((parts - parts.mean()) ** 2).sum())
    half = student_quantile(level, n - 1) * sqrt(spread * (n - 1) / n)
    return Interval(whole, whole - half, whole + half)


@dataclass(frozen=True)
class Late:
    """One call at the end of a game: ``home`` and ``trap`` chances to win, ``difference`` their difference,
    by (behind, seconds) in the order of BEHIND and SECONDS."""

    call: int
    rows: tuple[tuple[int, int, float, float, Interval], ...]

    @property
    def mean_difference(self) -> float:
        """Mean over the table."""
        return float(np.mean([row[4].mean or 0.0 for row in self.rows]))


def late_game(
    call: int,
    home: FloatArray,
    traps: Mapping[int, FloatArray],
    own: OwnScoring,
    level: float,
    behind: Sequence[int] = BEHIND,
) -> Late:
    """Chances to win at home and under a call, from their ``distributions``; intervals at ``level``.

    ``traps``: seconds left -> distribution under the call, which may differ with what the offence has seen.
    """
    at_home = win_table(home, own, max(traps))
    trapped = {t: win_table(trap, own, t)[:, t] for t, trap in traps.items()}
    rows = []
    for d in behind:
        for t in traps:
            a, b = at_home[:, t, FAR - d], trapped[t][:, FAR - d]
            rows.append((d, t, float(a[0]), float(b[0]), jackknife(b - a, level)))
    return Late(call, tuple(rows))
