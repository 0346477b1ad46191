"""The rates of a level: what a scenario's possessions come to, beside what is published (configs/levels)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from engine.estimate.intervals import (
    LEVEL,
    NOTHING,
    Interval,
    normal_quantile,
    ratio_interval,
    scaled,
    wilson,
)
from engine.estimate.play import estimate_play, per_possession, ratio
from engine.estimate.tally import BoxTally, IntArray, Tally
from engine.inputs.defaults import HOME
from engine.run.blocks import Progress, Records, Runner, run_blocks
from engine.state.record import COLUMN, SHOT_BANDS
from engine.state.words import LOSSES, Loss
from engine.study.play import Opening, check_setting, open_scenario, run_size, world_of
from engine.world.pack import pack

#: Width of an interval in standard errors, both sides together.
WIDTH = 2 * normal_quantile(LEVEL)
#: Classes of the nearest defender's distance at a shot: width, and how many (the last one open).
GAP_CLASS_MM, N_GAPS = 500, 7


@dataclass(frozen=True, eq=False)
class RateTally(Tally):
    """A box score, and the shot clock at the last shot of the possessions that had one and a clock.

    ``clock_n``: such possessions; ``clock_ms``, ``clock_square``: sum of milliseconds left and of squares.
    ``lost_by`` int64 [len(LOSSES)]: turnovers by how the ball was lost. ``by_clock`` int64 [class, 5]: of
    possessions with one attempt, by its distance and gap: attempts, makes, seconds left, their squares, their
    sum over makes.
    """

    box: BoxTally
    clock_n: int
    clock_ms: int
    clock_square: int
    lost_by: IntArray
    by_clock: IntArray

    @classmethod
    def from_records(cls, records: Records) -> RateTally:
        """Tally a block int32[count, N_RECORD]."""
        left = records[:, COLUMN["shot_clock_left_ms"]].astype(np.int64)
        left = left[left >= 0]
        lost = np.bincount(records[:, COLUMN["lost_by"]], minlength=len(LOSSES) + 1)[1:]
        clock = len(left), int(left.sum()), int((left * left).sum())
        return cls(BoxTally.from_records(records), *clock, lost, _by_clock(records))


def _by_clock(records: Records) -> IntArray:
    one = records[(records[:, COLUMN["fga"]] == 1) & (records[:, COLUMN["shot_clock_left_ms"]] >= 0)].astype(
        np.int64
    )
    band = np.argmax(one[:, [COLUMN[f"band{n}_att"] for n in range(len(SHOT_BANDS))]], axis=1)
    gap = sum(one[:, COLUMN[f"{where}_gap_mm"]] for where in ("rim", "middle", "three"))
    kind = band * N_GAPS + np.minimum(gap // GAP_CLASS_MM, N_GAPS - 1)
    left, made = one[:, COLUMN["shot_clock_left_ms"]] // 1000, one[:, COLUMN["fgm"]]
    sums = (np.ones_like(left), made, left, left * left, left * made)
    many = len(SHOT_BANDS) * N_GAPS
    return np.stack([np.bincount(kind, term, many).astype(np.int64) for term in sums], axis=1)


def make_by_clock(by_clock: IntArray) -> Interval:
    """Least-squares slope of makes (1 or 0) on seconds left, within classes of distance and gap."""
    n, made, left, square, cross = by_clock[by_clock[:, 0] > 0].T.astype(float)
    spread = float((square - left * left / n).sum())
    if spread <= 0.0:
        return NOTHING
    slope = float((cross - left * made / n).sum()) / spread
    rest = float((made - made * made / n).sum()) - slope * slope * spread
    half = normal_quantile(LEVEL) * math.sqrt(max(rest, 0.0) / max(n.sum() - len(n) - 1, 1.0) / spread)
    return Interval(slope, slope - half, slope + half)


def rates_of(tally: RateTally) -> dict[str, Interval]:
    """Every rate of ``engine.inputs.levels.QUANTITIES`` with its 95% interval; None, None, None if empty."""
    box = tally.box
    play = estimate_play(box)
    n, ms = tally.clock_n, tally.clock_ms
    clock = ratio_interval(ms, n, tally.clock_square, ms, n, box.n)
    lost = {how: wilson(int(tally.lost_by[how]), box.n) for how in Loss}
    return {
        "points_per_possession": play.points_per_possession,
        "turnovers_per_possession": play.turnover_rate,
        "bad_passes": lost[Loss.PASS],
        "strips": lost[Loss.STRIP],
        "dribbles_lost": lost[Loss.DRIBBLE],
        "travels": lost[Loss.TRAVEL],
        "offensive_fouls": lost[Loss.OFFENSIVE_FOUL],
        "passes": per_possession(box, "passes", LEVEL),
        "offensive_rebound": play.offensive_rebound_share,
        "free_throws_attempted": play.free_throw_rate,
        "field_goal": play.field_goal_share,
        "two_point": ratio(box, {"fgm": 1, "three_made": -1}, {"fga": 1, "three_attempts": -1}),
        "three_point": play.three_share,
        "rim": play.rim_share,
        "middle": ratio(
            box,
            {"fgm": 1, "three_made": -1, "rim_made": -1},
            {"fga": 1, "three_attempts": -1, "rim_attempts": -1},
        ),
        "free_throw": play.free_throw_share,
        "three_attempts": play.three_attempt_share,
        "rim_attempts": play.rim_attempt_share,
        "steals_of_turnovers": play.steal_share,
        "blocks_of_twos": ratio(box, "blocks", {"fga": 1, "three_attempts": -1}),
        "clock_left_s": scaled(clock, 1e-3),
        "make_by_clock": make_by_clock(tally.by_clock),
        "late_shots": ratio(box, "late_shots", "fga"),
    }


def standard_error(interval: Interval) -> float:
    """Standard error behind a 95% interval; infinite where there is none."""
    if interval.low is None or interval.high is None:
        return float("inf")
    return (interval.high - interval.low) / WIDTH


def level_rates(
    scenario: Opening,
    possessions: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    setting: str | None = None,
    progress: Progress | None = None,
) -> dict[str, Interval]:
    """The rates of one setting of a scenario; parameters and errors as ``engine.study.play.play``."""
    scenario = open_scenario(scenario)
    size = run_size(scenario, possessions, seed, threads)
    world = world_of(pack(scenario), check_setting(scenario, setting))
    runner = Runner(size.seed)
    runner.warm(world)

    def task(first: int, count: int) -> RateTally:
        return RateTally.from_records(runner.block(world, first, count, HOME))

    return rates_of(run_blocks(size, runner, task, progress))
