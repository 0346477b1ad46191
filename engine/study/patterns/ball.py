"""Patterns of passes and shots: close-outs, the clock, the dribble, the flash, height and pass speed."""

from __future__ import annotations

import numpy as np

from engine.inputs.defaults import HOME
from engine.run.blocks import World
from engine.state.arrays import N_SIDE
from engine.study.patterns.common import (
    NOTHING,
    PRACTICE,
    Claim,
    Mean,
    Records,
    Series,
    called,
    column,
    field_points,
    lost_in_trap,
    mean,
    quotient,
    quotient_change,
    saved,
    settled,
    was_set,
)
from engine.study.patterns.playing import CALLS, SEED, Run, constants, edited, edited_plan, rules
from engine.study.patterns.watching import (
    CODE,
    FREE_THROW,
    MADE,
    REBOUND,
    ROW,
    SHOT,
    SKIP,
    THROW_IN,
    TIME,
    VALUE,
    X,
    Y,
    is_three,
    per_possession,
    touched_passes,
    watch,
)


def pattern_5(run: Run) -> list[Claim]:
    """Nearest defender when a pass is caught on the perimeter, no trap running."""
    home = run.base(HOME)
    kinds = ("next", "skip", "missed_bump")
    gaps = {kind: (column(home, f"{kind}_gap_mm") / 1000, column(home, f"{kind}_catches")) for kind in kinds}
    figures = ", ".join(
        f"{kind} {quotient(*gaps[key]).mean:.2f} m"
        for key, kind in zip(kinds, ("next man", "skip", "missed bump"), strict=True)
    )
    return [
        Claim(
            5, "skip later than next man", PRACTICE, quotient_change(*gaps["skip"], *gaps["next"]), figures
        ),
        Claim(
            5,
            "missed bump later than skip",
            PRACTICE,
            quotient_change(*gaps["missed_bump"], *gaps["skip"]),
            figures,
        ),
    ]


#: Seconds of a short shot clock: under 24 s hardly a shot of the demo comes late.
SHORT_CLOCK_S = 14.0
N_SHORT_CLOCK, N_LOOKS = 80_000, 40_000
#: Looks are equal within these: distance from the rim and nearest defender's, m, and beyond the arc or not.
DISTANCE_M, GAP_M, MOST_GAP_M = 1.0, 0.5, 3.0


def first_shots(run: Run, world: World) -> tuple[Series, Series, Series]:
    """The first shot of each possession, if released before any whistle: look, under late_clock_s, points.

    A fouled shot brings what its free throws bring. Looks are numbers: equal ones are equal looks.
    """
    n = run.n(N_LOOKS)
    events = watch(world, SEED, range(n), run.threads, run.tick)
    codes, row = events[:, CODE], events[:, ROW].astype(int)
    opens = np.isin(codes, (SHOT, THROW_IN))
    first = np.flatnonzero(opens)[np.unique(row[opens], return_index=True)[1]]
    shots = events[first[codes[first] == SHOT]]
    brought = np.where(np.isin(codes, (MADE, FREE_THROW)), events[:, VALUE], 0.0)
    again = np.maximum.accumulate(np.where(codes == REBOUND, np.arange(len(codes)), -1))
    start = np.searchsorted(row, row)  # first event of the possession: a rebound before it is another one's
    points = per_possession(brought[again < start], row[again < start], n)[shots[:, ROW].astype(int)]
    k, ru = world["k"][0], world["rules"][0]
    left = ru["shot_clock_s"] - (k["backcourt_used_s"] if ru["bring_up"] else 0.0) - shots[:, TIME]
    far = np.minimum(np.hypot(shots[:, X], shots[:, Y]) // DISTANCE_M, 20.0)
    look = far * 100 + np.minimum(shots[:, VALUE], MOST_GAP_M) // GAP_M * 2 + is_three(world, shots)
    return look.astype(np.int64), left < k["late_clock_s"], points


def equal_looks(look: Series, late: Series, points: Series) -> Mean:
    """Points of an early shot above a late one of the same look, weighted by the late ones.

    Looks that were not taken at both times are left out; errors from the spread within a look.
    """
    total, gap, variance = 0, 0.0, 0.0
    for one in np.unique(look[late]):
        then, before = points[late & (look == one)], points[~late & (look == one)]
        if len(then) > 1 and len(before) > 1:
            total += len(then)
            gap += len(then) * float(before.mean() - then.mean())
            variance += len(then) ** 2 * float(
                before.var(ddof=1) / len(before) + then.var(ddof=1) / len(then)
            )
    return Mean(gap / total, variance**0.5 / total) if total else NOTHING


def pattern_6(run: Run) -> list[Claim]:
    """Professional men (evidence 4, data D1, computed): .81 points per attempt under 4 s, .98 up to 16.

    Late and early shots of one clock are different looks, taken by who has waited for a better one; so equal
    looks are compared, and a shorter clock for the same possessions.
    """
    usual = run.base(HOME, N_SHORT_CLOCK)
    short_world = edited(run.demo().home, rules(shot_clock_s=SHORT_CLOCK_S))
    short = run.play(short_world, len(usual))
    look, late, points_of = first_shots(run, short_world)
    worse = equal_looks(look, late, points_of)
    shots, points = column(short, "fga"), field_points(short)
    late_points, late_shots = column(short, "late_points"), column(short, "late_shots")
    seldom = quotient(column(usual, "late_shots"), column(usual, "fga")).mean
    figures = (
        f"{SHORT_CLOCK_S:g} s clock: early {worse.mean:+.3f} points above late of the same looks "
        f"({int(late.sum()):,} late first shots); all looks: late "
        f"{quotient(late_points, late_shots).mean:.3f} per attempt, early "
        f"{quotient(points - late_points, shots - late_shots).mean:.3f} (24 s clock: "
        f"{seldom:.4f} of attempts come under 4 s, professional men .076)"
    )
    fewer = quotient_change(field_points(usual), column(usual, "fga"), points, shots)
    whole = quotient(points, shots).mean
    both = f"24 s {whole + fewer.mean:.3f} points per attempt, {SHORT_CLOCK_S:g} s {whole:.3f}"
    return [
        Claim(6, "late below early, equal looks", "evidence 4: D1, computed", worse, figures),
        Claim(6, "a shorter clock gives worse shots", "Skinner 2012, abstract seen (direction)", fewer, both),
    ]


# --- 9 ------------------------------------------------------------------------------------------------------

N_TRAPPED, N_CHANGED = 100_000, 60_000


def dead_dribble(run: Run) -> list[Claim]:
    """A dribbler in a set trap always picks the ball up, or never does; the same called possessions."""
    found = []
    for name in ("corner", "top"):
        played = [run.again(name, constants(set_pick_up_p=p), N_TRAPPED) for p in (1.0, 0.0)]
        sets = was_set(played[0]) > 0  # the two part only then
        dead, live = (lost_in_trap(records)[sets] for records in played)
        figures = (
            f"lost in {len(dead):,} set traps: dribble always picked up {mean(dead).mean:.3f}, "
            f"never {mean(live).mean:.3f}"
        )
        gap = settled(mean(dead - live), sets)
        found.append(Claim(9, f"{name}: dead dribble worse than live", PRACTICE, gap, figures))
    return found


MIDDLE, FAR = 1, 3
#: A modest gain in shooting: this much on the logit of every shot, about .02 of a shot of .35.
SHOOTING_LOGIT = 0.1


def no_flash(world: World) -> None:
    """The team-mate who would flash to the middle goes where the far one stands instead."""
    world["breaks"][:, :, MIDDLE] = world["breaks"][:, :, FAR]


def better_shooting(world: World) -> None:
    """Everybody shoots a little better."""
    for name in ("rim_logit", "middle_logit", "three_logit"):
        world["players"][name][:, :N_SIDE] += SHOOTING_LOGIT


def flash(run: Run) -> list[Claim]:
    """What the flash takes from a call's value, against what better shooting takes from it."""
    home, found = run.base(HOME, N_CHANGED), []
    better = run.branches(edited_plan(run.demo(), better_shooting), len(home))
    for name in CALLS:
        there = run.base(name, N_CHANGED)
        chosen = called(there)
        sets = was_set(there[chosen])
        usual = saved(home[chosen], there[chosen])[sets > 0]
        without = saved(home[chosen], run.again(name, no_flash, N_CHANGED))[sets > 0]
        takes = mean(without - usual)
        sets_then = was_set(better[name])
        shooting = quotient_change(
            saved(home, there) * was_set(there),
            was_set(there),
            saved(better[HOME], better[name]) * sets_then,
            sets_then,
        )
        figures = (
            f"value of {len(usual):,} set traps {mean(usual).mean:+.3f}; the flash takes "
            f"{takes.mean:+.3f} (se {takes.se:.3f}), better shooting {shooting.mean:+.3f} "
            f"(se {shooting.se:.3f})"
        )
        # Where better shooting takes nothing from the call, the flash must still take something.
        gap = settled(takes - shooting if shooting.mean > 0 else takes, sets, sets_then)
        found.append(Claim(9, f"{name}: flash costs more than shooting", PRACTICE, gap, figures))
    return found


TALLER_M, REACH_PER_HEIGHT = 0.15, 1.33


def taller(world: World) -> None:
    """Everybody in the attack is taller."""
    world["players"]["reach_m"][:, :N_SIDE] += REACH_PER_HEIGHT * TALLER_M


def taller_passers(run: Run) -> list[Claim]:
    """Share of passes that a defender touches."""
    tall, found = run.branches(edited_plan(run.plan(calls=("top",)), taller), run.n(N_CHANGED)), []
    for name in (HOME, "top"):
        usual = run.base(name, N_CHANGED)
        lost, passes = column(usual, "deflections"), column(usual, "passes")
        fewer = quotient_change(lost, passes, column(tall[name], "deflections"), column(tall[name], "passes"))
        before = quotient(lost, passes).mean
        figures = f"touched passes {before:.4f}, offence {TALLER_M:g} m taller {before - fewer.mean:.4f}"
        found.append(Claim(9, f"{name}: taller passers lose fewer passes", PRACTICE, fewer, figures))
    return found


#: The slow ends of the three pass speeds' ranges, m/s.
SLOW = {"pass_speed_direct_mps": 8.0, "pass_speed_bounce_mps": 6.0, "pass_speed_over_mps": 8.0}
#: Possessions with a skip whose passes are looked at one by one, at most.
N_SKIPS = 4_000


def touched_skips(run: Run, world: World, records: Records) -> Mean:
    """Share of skips that a defender touches, from possessions with a skip."""
    numbers = np.flatnonzero(column(records, "skips") > 0)[: run.n(N_SKIPS)]
    thrown, touched = touched_passes(watch(world, SEED, numbers, run.threads, run.tick))
    skip = thrown[:, SKIP] == 1
    rows, n = thrown[skip, ROW], len(numbers)
    return quotient(per_possession(touched[skip], rows, n), per_possession(rows >= 0, rows, n))


def slower_passes(run: Run) -> list[Claim]:
    """Slower passes are thrown less, so what is left of the skips is the safer part of them.

    Hardly one pass in a hundred is a skip, so all passes together stand for the short ones.
    """
    usual, usual_world = run.base(HOME, N_CHANGED), run.demo().home
    slow_world = edited(usual_world, constants(**SLOW))
    both = (usual, run.play(slow_world, len(usual)))
    skips = [touched_skips(run, w, r) for w, r in zip((usual_world, slow_world), both, strict=True)]
    short = [quotient(column(r, "deflections"), column(r, "passes")) for r in both]
    more = (skips[1] - skips[0]) - (short[1] - short[0])
    figures = (
        f"skips {skips[0].mean:.3f} to {skips[1].mean:.3f}, all {short[0].mean:.3f} to {short[1].mean:.3f}"
    )
    found = [Claim(9, "slower passes: touched share rises more for skips", PRACTICE, more, figures)]
    gaps = {
        kind: [quotient(column(r, f"{kind}_gap_mm") / 1000, column(r, f"{kind}_catches")) for r in both]
        for kind in ("skip", "next")
    }
    closer = {kind: before - after for kind, (before, after) in gaps.items()}
    figures = ", ".join(f"{kind} {a.mean:.2f} to {b.mean:.2f} m" for kind, (a, b) in gaps.items())
    name = "slower passes: nearest defender at the catch comes closer, more for skips"
    found.append(Claim(9, name, PRACTICE, closer["skip"] - closer["next"], figures))
    share = [quotient(column(r, "skips"), column(r, "passes")) for r in both]
    figures = f"skips among passes {share[0].mean:.4f} to {share[1].mean:.4f}"
    found.append(Claim(9, "slower passes: skips are given up more", PRACTICE, share[0] - share[1], figures))
    return found


def pattern_9(run: Run) -> list[Claim]:
    """Four claims of the trade about the ball in a trap and in the air."""
    return [*dead_dribble(run), *flash(run), *taller_passers(run), *slower_passes(run)]
