"""Patterns of the trap calls: turnovers and shots, beaten traps, a late second trapper, ways out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from engine.inputs.defaults import HOME
from engine.state.words import OUTCOMES
from engine.study.patterns.common import (
    ESCAPED,
    PRACTICE,
    Claim,
    Mean,
    Records,
    called,
    column,
    lost_in_trap,
    mean,
    quotient,
    settled,
    trend,
    was_set,
)
from engine.study.patterns.escapes import WAYS, beaten_windows, ways
from engine.study.patterns.playing import CALLS, N_BASE, Run, constants


def is_beaten(records: Records) -> NDArray[np.bool_]:
    """True where the first call's trap was passed, dribbled or split out of."""
    return called(records) & np.isin(column(records, "outcome"), ESCAPED)


#: Beaten calls whose escapes are looked at one by one, at most.
N_BEATEN = 6_000


def pattern_2(run: Run) -> list[Claim]:
    """Turnovers of called possessions against the same possessions at home; and what a beaten trap leaves.

    Rim shots and open threes are counted per beaten call, from the call until the shell stands, against the
    same possessions at home for as long: what the trap has won, or has sent back to the start, has no say.
    """
    home, found = run.base(HOME), []
    for name in CALLS:
        there, chosen = run.base(name), called(run.base(name))
        under, at_home = column(there, "turnovers")[chosen], column(home, "turnovers")[chosen]
        figures = f"{mean(under).mean:.3f} per called possession, {mean(at_home).mean:.3f} at home"
        found.append(Claim(2, f"{name}: turnovers", PRACTICE, mean(under - at_home), figures))
        numbers = np.flatnonzero(is_beaten(there))[: run.n(N_BEATEN)]
        after, instead, long_s = beaten_windows(run, name, numbers)
        more = mean(after.astype(float) - instead)
        rates = [quotient(one, np.ones(len(one))).mean for one in (after, instead)]
        figures = (
            f"{rates[0]:.3f} of {len(numbers):,} beaten calls until the shell stands, {long_s:.1f} s "
            f"from the call; {rates[1]:.3f} at home in that time"
        )
        found.append(Claim(2, f"{name}: rim shots and open threes of a beaten call", PRACTICE, more, figures))
    return found


def beaten_rim_shots(records: Records) -> Mean:
    """Share of beaten traps with a shot at the rim until the shell stands."""
    return mean((column(records, "rim_after_call")[is_beaten(records)] > 0).astype(float))


def pattern_3(run: Run) -> list[Claim]:
    """The two calls are made in different possessions and taken as independent."""
    top, corner = (beaten_rim_shots(run.base(name)) for name in ("top", "corner"))
    figures = f"beaten top {top.mean:.3f}, beaten corner {corner.mean:.3f} with a rim shot before the shell"
    return [Claim(3, "top above corner", PRACTICE, top - corner, figures)]


DELAYS_S = (0.0, 0.5, 1.0, 1.5)


def pattern_7(run: Run) -> list[Claim]:
    """Turnovers in the trap by the delay of a second man who stands still meanwhile, as a trend.

    The possessions in which the trap was set with nobody late; the same ones for every delay.
    """
    found = []
    for name in CALLS:
        usual = run.base(name, N_BASE)
        sets = was_set(usual)[called(usual)] > 0
        lost = [
            lost_in_trap(run.again(name, constants(second_trapper_delay_s=delay), N_BASE))[sets]
            for delay in DELAYS_S
        ]
        figures = (
            ", ".join(f"{d:g} s {mean(values).mean:.3f}" for d, values in zip(DELAYS_S, lost, strict=True))
            + f" lost in it, of {sets.sum():,} traps set with nobody late"
        )
        gap = settled(-trend(DELAYS_S, lost, [np.ones(len(one)) for one in lost]), sets)
        found.append(Claim(7, f"{name}: turnovers fall with the delay", PRACTICE, gap, figures))
    return found


#: "Mostly": more than this share of the passes out of traps. "Seldom": less than that. Our reading.
MOSTLY, SELDOM = 0.5, 0.1


def pattern_10(run: Run) -> list[Claim]:
    """Passes out of the first trap of a possession, by where they went on the floor."""
    found = []
    for name in CALLS:
        records = run.base(name)
        out = column(records, "outcome") == OUTCOMES.index("escape_pass")
        numbers = np.flatnonzero(called(records) & out)
        way = ways(run, name, numbers[: run.n(N_BEATEN)])
        shares = ", ".join(f"{word} {np.mean(way == n):.2f}" for n, word in enumerate(WAYS) if len(way))
        back = quotient(np.isin(way, (0, 1)), np.ones(len(way)))
        gap = Mean(back.mean - MOSTLY, back.se)
        figures = f"{shares} of {len(way):,}"
        found.append(Claim(10, f"{name}: mostly back or inside", PRACTICE, gap, figures))
        skips = column(records[numbers], "escape_skip")
        share = quotient(skips, np.ones(len(skips)))
        stood = mean(skips[was_set(records)[numbers] > 0].astype(float))
        figures = (
            f"{share.mean:.3f} of the passes out, {stood.mean:.3f} where the trap stood; "
            f"seldom: under {SELDOM:g}"
        )
        found.append(
            Claim(10, f"{name}: seldom by a skip", PRACTICE, Mean(SELDOM - share.mean, share.se), figures)
        )
    return found
