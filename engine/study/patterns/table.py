"""The patterns a simulated trap should show, measured on one shared run: what the model shows and what not.

``measure()`` plays about 5 million possessions on common luck (those on record three times as many) and
returns one claim or more for each of the sixteen patterns with its figures. Nothing is tuned here and nothing
is excused: a claim is *shown* when its gap is more than 4 standard errors on the claimed side of zero,
*reversed* when as far on the other side, else *not shown*; a pattern passes when all its claims are shown.
Run as a script, ``engine.report.screen.patterns`` prints the table and the verdicts as the tests keep them.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from engine.errors import InputError
from engine.estimate.intervals import Found
from engine.run.blocks import Progress
from engine.run.size import RunSize
from engine.study.patterns import ball, calls, defences, level, readiness, signs, truth
from engine.study.patterns.common import MARGIN, VERDICTS, Claim
from engine.study.patterns.playing import SEED, Run, variant
from engine.study.play import head

MOST_SCALE = 100.0

PATTERNS = {
    1: "zone against man-to-man, the same ten players",
    2: "a call raises turnovers; beaten, it leaves rim shots and open threes",
    3: "a beaten top trap leaves more rim shots than a beaten corner trap",
    4: "value falls with readiness; trapping every time is worse than sometimes",
    5: "skips meet later close-outs than passes to the next man; a missed bump the latest",
    6: "late-clock shots are worse than early ones of equal looks",
    7: "turnovers in set traps fall as the second trapper stands still from 0 to 1.5 s",
    8: "wider sidelines or no backcourt rule lower the corner and half-court traps' value",
    9: "dead dribble, middle flash, taller passer, slower passes",
    10: "escapes go mostly back or inside, seldom by a skip",
    11: "forwards starting high: better on wing threes, worse on corner and lob",
    12: "better outside shooters, a weak defender where he is attacked",
    13: "published rates of the levels, defender's distance at shots",
    14: "what players believe is what happens, by option, at home and in traps",
    15: "professional men move and stand as tracked, live half-court time",
    16: "signs: legs, a late second man, readers, handlers, long defenders",
}


@dataclass(frozen=True)
class PatternsResult:
    """The claims of all patterns; ``possessions`` were played at ``scale`` of the usual numbers."""

    claims: tuple[Claim, ...]
    scale: float
    possessions: int
    threads: int

    def of(self, pattern: int) -> list[Claim]:
        """Claims of one pattern."""
        return [claim for claim in self.claims if claim.pattern == pattern]

    def shown_whole(self, pattern: int) -> bool:
        """True if a pattern has claims and all of them are shown."""
        own = self.of(pattern)
        return bool(own) and all(claim.verdict == "shown" for claim in own)

    @property
    def whole(self) -> int:
        """How many patterns are shown whole."""
        return sum(self.shown_whole(number) for number in PATTERNS)

    def record(self) -> dict[str, str]:
        """Verdict of each claim by its pattern's number and its name."""
        return {f"{claim.pattern} {claim.name}": claim.verdict for claim in self.claims}

    def to_dict(self) -> Found:
        """The JSON contract of ``patterns``; equal for equal inputs whatever the number of threads."""
        result = head("patterns", variant(), RunSize(self.possessions, SEED, self.threads))
        verdicts = Counter(claim.verdict for claim in self.claims)
        result |= {
            "scale": self.scale,
            "margin_standard_errors": MARGIN,
            "shown_whole": self.whole,
            "of": len(PATTERNS),
            "claims": {verdict: verdicts[verdict] for verdict in VERDICTS},
            "patterns": [
                {
                    "number": number,
                    "title": title,
                    "verdict": "pass" if self.shown_whole(number) else "fail",
                    "claims_shown": sum(claim.verdict == "shown" for claim in self.of(number)),
                    "claims": [claim.to_dict() for claim in self.of(number)],
                }
                for number, title in PATTERNS.items()
            ],
        }
        return result


def measured() -> dict[int, Callable[[Run], list[Claim]]]:
    """What measures each pattern, by its number."""
    return {
        1: defences.pattern_1,
        2: calls.pattern_2,
        3: calls.pattern_3,
        4: readiness.pattern_4,
        5: ball.pattern_5,
        6: ball.pattern_6,
        7: calls.pattern_7,
        8: readiness.pattern_8,
        9: ball.pattern_9,
        10: calls.pattern_10,
        11: defences.pattern_11,
        12: defences.pattern_12,
        13: level.pattern_13,
        14: truth.pattern_14,
        15: truth.pattern_15,
        16: signs.pattern_16,
    }


def measure(
    possessions_scale: float = 1.0, threads: int | None = None, progress: Progress | None = None
) -> PatternsResult:
    """Measure all patterns on the shipped demo and levels.

    Parameters
    ----------
    possessions_scale : 1 plays about 5 million possessions; the verdicts on record are those of 3
    threads : None uses every available core; the result does not depend on it
    progress : called as ``progress(patterns done, patterns)`` after each block

    Raises
    ------
    InputError
        a scale that is not above 0 and at most 100, threads < 1.
    """
    scale = possessions_scale
    number = isinstance(scale, int | float) and not isinstance(scale, bool)
    if not number or not math.isfinite(scale) or not 0.0 < scale <= MOST_SCALE:
        raise InputError("--scale", "", scale, f"a number above 0, at most {MOST_SCALE:g}")
    done = 0

    def tick() -> None:
        if progress is not None:
            progress(done, len(PATTERNS))

    run = Run(float(scale), threads, tick)
    claims: list[Claim] = []
    for pattern in measured().values():
        tick()
        claims += pattern(run)
        done += 1
    tick()
    return PatternsResult(tuple(claims), run.scale, run.played, run.threads)
