"""Patterns of the trap calls: turnovers and shots, beaten traps, a late second trapper, ways out."""

from __future__ import annotations

import numpy as np

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
)
from engine.study.patterns.playing import CALLS, Run, constants

GOOD_SHOTS = ("rim_shot", "open_threes")


def pattern_2(run: Run) -> list[Claim]:
    """Called possessions against the same possessions at home.

    A shot at the rim counts once in a possession, whether it was fouled or not: the box score knows no
    attempt for a fouled miss, and a layup behind a trap is fouled often. Per call, as claimed: a possession
    that the trap has won has no shot, and that is in the figure.
    """
    home, found = run.base("home"), []
    for name in CALLS:
        there, chosen = run.base(name), called(run.base(name))
        for what, names in (("turnovers", ("turnovers",)), ("rim shots and open threes", GOOD_SHOTS)):
            under, at_home = column(there, *names)[chosen], column(home, *names)[chosen]
            figures = f"{under.mean():.3f} per called possession, {at_home.mean():.3f} at home"
            found.append(Claim(2, f"{name}: {what}", PRACTICE, mean(under - at_home), figures))
    return found


def beaten_rim_shots(records: Records) -> Mean:
    """Share of beaten traps (passed, dribbled or split out of) with a shot at the rim in the rest."""
    beaten = called(records) & np.isin(column(records, "outcome"), ESCAPED)
    return mean((column(records, "rim_after_call")[beaten] > 0).astype(float))


def pattern_3(run: Run) -> list[Claim]:
    """The two calls are made in different possessions and taken as independent."""
    top, corner = (beaten_rim_shots(run.base(name)) for name in ("top", "corner"))
    figures = f"beaten top {top.mean:.3f}, beaten corner {corner.mean:.3f} with a rim shot later"
    return [Claim(3, "top above corner", PRACTICE, top - corner, figures)]


DELAYS_S = (0.0, 0.5, 1.0, 1.5)
N_DELAYED = 100_000


def pattern_7(run: Run) -> list[Claim]:
    """The same called possessions for every delay: first against last, and every step.

    "Smoothly" asks of each step that it falls. The claim is about the step that does so least, in its
    own standard errors; a level curve does not pass.
    """
    found = []
    for name in CALLS:
        lost = [
            lost_in_trap(run.again(name, constants(second_trapper_delay_s=delay), N_DELAYED))
            for delay in DELAYS_S
        ]
        figures = ", ".join(f"{d:g} s {values.mean():.3f}" for d, values in zip(DELAYS_S, lost, strict=True))
        found.append(Claim(7, f"{name}: 0 s above 1.5 s", PRACTICE, mean(lost[0] - lost[-1]), figures))
        steps = [mean(a - b) for a, b in zip(lost, lost[1:], strict=False)]
        worst = min(steps, key=lambda step: step.mean / step.se if step.se > 0 else 0.0)
        text = f"least fall of a step {worst.mean:+.4f}"
        found.append(Claim(7, f"{name}: every step falls", PRACTICE, worst, text))
    return found


WAYS = ("behind the ball", "middle", "up the line", "far man", "other")
#: "Mostly": more than this share of the passes out of traps. "Seldom": less than that. Our reading.
MOSTLY, SELDOM = 0.5, 0.1


def pattern_10(run: Run) -> list[Claim]:
    """Passes out of the first trap of a possession, by where the receiver had gone to break it."""
    found = []
    for name in CALLS:
        records = run.base(name)
        out = column(records, "outcome") == OUTCOMES.index("escape_pass")
        way = column(records[called(records) & out], "escape")
        shares = ", ".join(
            f"{word} {np.mean(way == code):.2f}" for code, word in enumerate(WAYS, start=1) if len(way)
        )
        back = quotient(np.isin(way, (1, 2)), np.ones(len(way)))
        gap = Mean(back.mean - MOSTLY, back.se)
        found.append(Claim(10, f"{name}: mostly back or to the middle", PRACTICE, gap, shares))
        skips = column(records[called(records) & out], "escape_skip")
        share = quotient(skips, np.ones(len(skips)))
        figures = f"{share.mean:.3f} of the passes out; seldom: under {SELDOM:g}"
        found.append(
            Claim(10, f"{name}: seldom by a skip", PRACTICE, Mean(SELDOM - share.mean, share.se), figures)
        )
    return found
