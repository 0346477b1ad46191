"""The table of a plan: what the first, second, ... use of every call is worth, before the bonus and in it.

The value of the n-th use is the mean of net points conceded at home minus with the call, over the
possessions in which home would have made it, the offence having seen n - 1 traps of the kind (estimates of
first calls: estimate.calls). All uses share their possessions and luck, so that differences between them
are sharper than their intervals. Where a larger comparison has weighed a first use before the bonus
(``Table.first``), its worth is taken from there, and from the table only how far every other use is from it.

Against an opponent who learns (``Table.later``), a call's worth at its k-th sight in a game is its first-time
worth moved toward that against one who knows it, by the share min((k - 1) / ``known_after``, 1) of the way: a
straight line, assumed without a source, as is ``known_after``. What the traps seen do to his reading comes
on top, as against one who does not learn.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from engine.estimate import calls as estimate
from engine.estimate.intervals import LEAST_EVENTS, IntArray, Interval, normal_interval
from engine.estimate.tally import N_NET, PairTally, Tally
from engine.run.blocks import Progress, Records, Runner, in_order
from engine.run.numbers import NUMBERS
from engine.run.worlds import net_of
from engine.state.record import COLUMN, N_RECORD, NET_LOW
from engine.study.plan.states import AT_HOME, PlanWorlds, shadow_bits

#: Possessions of the table start here: other luck than the games'.
FIRST_NUMBER = NUMBERS["plan table"].first
#: Possessions of a part, and how many of each call are played out in it.
PART, CALLED_IN_PART = 2000, 220
#: Parts unless asked otherwise.
PARTS = 20
#: Uses that the table tells apart, at most.
MOST_USES = 12
BEFORE, IN_BONUS = 0, 1
#: Possessions are dealt to groups, for intervals of what is no mean.
GROUPS = 16
#: Lengths of possessions are counted in whole seconds up to here.
N_SECONDS = 64


@dataclass(frozen=True, eq=False)
class TableTally(Tally):
    """Whole-number sums of the table's possessions.

    Attributes:
        n: possessions of staying home.
        time_ms: their length, sum.
        chances: int64[2, n_calls], possessions with a chance for the call at home, before and in the bonus.
        pairs: PairTally with one "spot" for every (bonus, call, level of traps seen), in that order.
        extra_fouls, extra_runs: int64[n_calls], sums over the called possessions of the first use before the
            bonus: team fouls, and steps of hard running of all ten, with the call minus at home.
        home_uncalled: int64[2, n_calls, GROUPS, N_NET, N_SECONDS], possessions at home without a chance for
            the call, by net points and seconds.
        home_called: the same for those with one that were played out.
        called: int64[2, n_calls, n_levels, GROUPS, N_NET, N_SECONDS], these with the call.
        apart: int64[2, n_calls, n_levels, 3], what a use saves less what a first use before the bonus saves
            in the same possession: count, sum, sum of squares.
    """

    n: int
    time_ms: int
    chances: IntArray
    pairs: PairTally
    extra_fouls: IntArray
    extra_runs: IntArray
    home_uncalled: IntArray
    home_called: IntArray
    called: IntArray
    apart: IntArray


def levels_of(worlds: PlanWorlds, most: int = MOST_USES) -> int:
    """How many uses the worlds tell apart, 1 .. ``most``."""
    return int(worlds.seen(most - 1)) + 1


def _by_length(records: Records, groups: IntArray, before_s: float) -> IntArray:
    """Possessions by group, net points and whole seconds (bringing the ball up included)."""
    seconds = np.rint(records[:, COLUMN["time_ms"]] / 1000 + before_s).astype(np.int64)
    seconds = np.clip(seconds, 1, N_SECONDS - 1)
    code = (groups * N_NET + records[:, COLUMN["net"]] - NET_LOW) * N_SECONDS + seconds
    counts = np.bincount(code, minlength=GROUPS * N_NET * N_SECONDS)
    return counts.reshape(GROUPS, N_NET, N_SECONDS).astype(np.int64)


def _runs(records: Records) -> int:
    return int((records[:, COLUMN["steps_run"]] + records[:, COLUMN["steps_sprint"]]).sum(dtype=np.int64))


def table_part(runner: Runner, worlds: PlanWorlds, part: int, before_s: float) -> TableTally:
    """Part number ``part`` of the table."""
    n_calls, n_levels = worlds.n_calls, levels_of(worlds)
    numbers = FIRST_NUMBER + part * PART + np.arange(PART, dtype=np.int64)
    zero = np.zeros(PART, dtype=np.int64)
    bonus = zero + worlds.bonus_from
    homes = [worlds.home(runner, numbers, zero, zero)]
    homes.append(
        worlds.home(runner, numbers, bonus, zero)
        if worlds.coded
        else worlds.with_fouls(runner, homes[0].copy(), zero + AT_HOME, numbers, bonus, zero, zero + 1, zero)
    )
    bits = [shadow_bits(records, n_calls) for records in homes]
    groups = numbers % GROUPS
    shape = (2, n_calls, GROUPS, N_NET, N_SECONDS)
    uncalled, home_called = np.zeros(shape, np.int64), np.zeros(shape, np.int64)
    called = np.zeros((2, n_calls, n_levels, *shape[2:]), np.int64)
    apart = np.zeros((2, n_calls, n_levels, 3), np.int64)
    extra_fouls, extra_runs = np.zeros(n_calls, np.int64), np.zeros(n_calls, np.int64)
    blocks: list[tuple[Records, Records]] = []  # of the pairs: at home, and marked as first called at a spot
    for c in range(n_calls):
        upto = PART
        rows = np.flatnonzero(bits[BEFORE][:, c])
        if len(rows) > CALLED_IN_PART:
            upto = int(rows[CALLED_IN_PART])
        chosen = [np.flatnonzero(one[:upto, c]) for one in bits]
        for state in (BEFORE, IN_BONUS):
            uncalled[state, c] = _by_length(
                homes[state][~bits[state][:, c]], groups[~bits[state][:, c]], before_s
            )
            at_home = homes[state][chosen[state]]
            home_called[state, c] = _by_length(at_home, groups[chosen[state]], before_s)
        first = np.zeros(PART, np.int64)  # what a first use before the bonus saves
        for level in range(n_levels):
            played = _both_states(runner, worlds, c, level, numbers, chosen)
            for state in (BEFORE, IN_BONUS):
                rows, records = chosen[state], played[state]
                saves = net_of(homes[state][rows]) - net_of(records)
                if level == 0 and state == BEFORE:
                    first[rows] = saves
                gap = (saves - first[rows])[np.isin(rows, chosen[BEFORE])]
                apart[state, c, level] = len(gap), gap.sum(), (gap * gap).sum()
                called[state, c, level] = _by_length(records, groups[rows], before_s)
                spot = (state * n_calls + c) * n_levels + level
                blocks.append((homes[state][rows], _marked(records, spot)))
                if level == 0 and state == BEFORE:
                    at_home = homes[state][rows]
                    gap = records[:, COLUMN["fouls"]] - at_home[:, COLUMN["fouls"]]
                    extra_fouls[c] = int(gap.sum())
                    extra_runs[c] = _runs(records) - _runs(at_home)
    nothing = np.zeros((0, N_RECORD), dtype=np.int32)
    pairs = [np.concatenate([nothing, *(block[i] for block in blocks)]) for i in (0, 1)]
    return TableTally(
        n=PART,
        time_ms=int(homes[BEFORE][:, COLUMN["time_ms"]].sum(dtype=np.int64)),
        chances=np.stack([one.sum(axis=0) for one in bits]).astype(np.int64),
        pairs=PairTally.from_records(pairs[0], pairs[1], 2 * n_calls * n_levels),
        extra_fouls=extra_fouls,
        extra_runs=extra_runs,
        home_uncalled=uncalled,
        home_called=home_called,
        called=called,
        apart=apart,
    )


def _both_states(
    runner: Runner, worlds: PlanWorlds, c: int, level: int, numbers: IntArray, chosen: list[IntArray]
) -> list[Records]:
    """Records with the call before the bonus and in it, over the rows chosen for each."""
    both = np.union1d(*chosen)
    n = len(both)

    def same(value: int) -> IntArray:
        return np.full(n, value, dtype=np.int64)

    state = (same(c), numbers[both])
    before = worlds.called(runner, *state, same(0), same(level), same(1), same(0))
    bonus = worlds.with_fouls(
        runner, before.copy(), *state, same(worlds.bonus_from), same(level), same(1), same(0)
    )
    return [
        records[np.searchsorted(both, rows)] for records, rows in zip((before, bonus), chosen, strict=True)
    ]


def _marked(records: Records, spot: int) -> Records:
    """Records of one call as if first called at ``spot``."""
    if np.any(records[:, COLUMN["first_call"]] != 1):
        raise AssertionError("home saw a call that was not made")
    marked = records.copy()
    marked[:, COLUMN["first_call"]] = 1 + spot
    marked[:, COLUMN["call_spots"]] = 0  # four bits: too few for these spots, and not needed
    return marked


def play_table(
    runner: Runner,
    worlds: PlanWorlds,
    before_s: float,
    threads: int,
    parts: int = PARTS,
    progress: Progress | None = None,
) -> TableTally:
    """The whole table: ``parts`` times PART possessions at home, and the called ones with each use."""
    total: TableTally | None = None
    for part in in_order(parts, threads, runner, lambda i: table_part(runner, worlds, i, before_s), progress):
        total = part if total is None else total + part
    assert total is not None
    return total


@dataclass(frozen=True)
class FirstUse:
    """A first use before the bonus as a comparison found it: points saved, the share of calls that win the
    ball, the share at which the call breaks even (its mean None: there is none), and its words."""

    value: Interval
    turnover_rate: Interval
    t_star: Interval
    words: str


@dataclass(frozen=True)
class Table:
    """The table read: ``tally`` with what it was counted from.

    ``first``: by call what a first use before the bonus is worth and its break-even, from a comparison on
    more possessions; None for a call (or altogether): the table's own. ``later``: by call what it is worth
    against one who knows it, after ``known_after`` traps of its kind; None: he learns nothing.
    """

    tally: TableTally
    n_calls: int
    n_levels: int
    first: tuple[FirstUse | None, ...] | None = None
    later: tuple[Interval | None, ...] | None = None
    known_after: float = 1.0

    def known(self, c: int) -> FirstUse | None:
        """What a comparison says of the first use; None: nothing."""
        return None if self.first is None else self.first[c]

    def spot(self, state: int, c: int, use: int) -> int:
        """Spot of ``tally.pairs`` of use number ``use`` (1, 2, ...)."""
        return (state * self.n_calls + c) * self.n_levels + min(use, self.n_levels) - 1

    def value(self, state: int, c: int, use: int) -> Interval:
        """Net points saved by the use.

        With ``first``: none where that has none; else its mean plus the mean of the paired differences from
        it; the errors of both are taken as independent (other possessions). With ``later``: see the module;
        the errors of first-time worth and of worth once he knows it are taken as independent, too (other
        choices from the start).
        """
        known, level = self.known(c), min(use, self.n_levels) - 1
        if self.first is not None and known is None:
            return Interval(None)  # too few calls there to tell: no second figure from other possessions
        if known is None:
            return estimate.call_value(self.tally.pairs, self.spot(state, c, use))
        met = self._met(c, known.value, use)
        if (state, level) == (BEFORE, 0):
            return met
        n, total, squares = (int(one) for one in self.tally.apart[state, c, level])
        gap, mean = normal_interval(n, total, squares), met.mean
        if mean is None or met.high is None or gap.mean is None or n < LEAST_EVENTS:
            return Interval(None)
        half = sqrt((met.high - mean) ** 2 + ((gap.high or gap.mean) - gap.mean) ** 2)
        mean += gap.mean
        return Interval(mean, mean - half, mean + half)

    def _met(self, c: int, first: Interval, use: int) -> Interval:
        """What a use is worth on the way from ``first`` to the worth once he knows the call."""
        later, share = None if self.later is None else self.later[c], min((use - 1) / self.known_after, 1.0)
        if later is None or share <= 0.0 or later == first:
            return first
        if later.mean is None or later.high is None or first.mean is None or first.high is None:
            return Interval(None)
        mean = first.mean + share * (later.mean - first.mean)
        half = hypot((1.0 - share) * (first.high - first.mean), share * (later.high - later.mean))
        return Interval(mean, mean - half, mean + half)

    def break_even(self, state: int, c: int, use: int) -> estimate.BreakEven:
        """Turnover rate of the use, and the one it needs."""
        return estimate.break_even(self.tally.pairs, self.spot(state, c, use))

    def mixed_value(self, c: int, use: int, in_bonus: float) -> Interval:
        """Value of a use when a share ``in_bonus`` of the possessions is in the bonus.

        The two states share nearly all possessions, so their errors are taken as one (the widest case).
        """
        one, other = self.value(BEFORE, c, use), self.value(IN_BONUS, c, use)
        parts = []
        for key in ("mean", "low", "high"):
            a, b = getattr(one, key), getattr(other, key)
            parts.append(None if a is None or b is None else (1.0 - in_bonus) * a + in_bonus * b)
        return Interval(*parts)

    def rate(self, c: int) -> float:
        """Possessions in which the call comes up, share."""
        return int(self.tally.chances[BEFORE, c]) / self.tally.n

    def called(self, c: int) -> int:
        """Possessions played out with the call."""
        return self.tally.pairs.called(self.spot(BEFORE, c, 1))

    @property
    def seconds(self) -> float:
        """Mean length of a possession at home, without bringing the ball up."""
        return self.tally.time_ms / 1000 / self.tally.n
