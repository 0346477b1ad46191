"""The table of patterns as a person reads it; as a script, with the verdicts as the tests keep them.

python -m engine.report.screen.patterns [scale]
"""

from __future__ import annotations

import json
import sys
import textwrap
from pathlib import Path
from typing import Any

from engine.report.words import WIDTH, plain
from engine.study.patterns.table import measure

VERDICT_WIDTH = 11
LEFT = " " * 4
#: More standard errors than this say no more.
MANY = 1_000
UNDER = LEFT + " " * VERDICT_WIDTH


def _wrapped(text: str, first: str, rest: str) -> str:
    return textwrap.fill(
        plain(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _gap(claim: dict[str, Any]) -> str:
    """How far the claim is from failing, in standard errors."""
    gap, se = claim["gap"], claim["standard_error"]
    if gap is None:
        return "nothing to count"
    if claim["claimed"] == "no difference":
        return ""
    if se == 0.0:
        return f"gap {gap:+.3f}, all equal"
    errors = gap / se
    many = f"over {MANY:,}" if errors > MANY else f"under -{MANY:,}" if errors < -MANY else f"{errors:+.1f}"
    return f"gap {gap:+.3f}, {many} se"


def _claim(claim: dict[str, Any]) -> list[str]:
    gap = _gap(claim)
    figures = claim["figures"] + (f" ({gap})" if gap else "")
    return [
        _wrapped(claim["name"], f"{LEFT}{claim['verdict']:<{VERDICT_WIDTH}}", UNDER),
        _wrapped(figures, UNDER, UNDER),
    ]


def _pattern(pattern: dict[str, Any]) -> list[str]:
    claims = pattern["claims"]
    state = "PASS" if pattern["verdict"] == "pass" else "FAIL"
    count = f"{pattern['claims_shown']} of {len(claims)}"
    lines = [_wrapped(f"{pattern['title']}: {count} shown", f"{pattern['number']:2d}. {state}  ", " " * 10)]
    for source in dict.fromkeys(claim["source"] for claim in claims):
        for claim in claims:
            if claim["source"] == source:
                lines += _claim(claim)
        lines.append(_wrapped(f"source: {source}", LEFT, LEFT + "  "))
    return lines


def patterns_text(found: dict[str, Any]) -> str:
    """The text of ``patterns`` from its JSON result: each pattern, its claims with figures, the source."""
    lines = [
        _wrapped(
            f"Patterns of the trade in the model: {found['possessions']:,} possessions of the shipped demo "
            "and levels. A claim is shown when its gap lies more than "
            f"{found['margin_standard_errors']:g} standard errors (se) on the claimed side of 0, reversed "
            "when as far on the other side. A pattern passes when all its claims are shown. Standard errors "
            "are of sampling only.",
            "",
            "",
        ),
        "",
    ]
    if found["scale"] != 1.0:
        text = f"Played at {found['scale']:g} of the usual numbers: fewer possessions show fewer claims."
        lines += [_wrapped(text, "", ""), ""]
    for pattern in found["patterns"]:
        lines += [*_pattern(pattern), ""]
    counts = ", ".join(f"{n} {verdict}" for verdict, n in found["claims"].items())
    lines.append(f"{found['shown_whole']} of {found['of']} patterns shown whole (claims: {counts})")
    return "\n".join(lines) + "\n"


def main(arguments: list[str]) -> None:
    """Measure and print the table; arguments: the scale, and a file to write the verdicts to."""
    result = measure(float(arguments[0]) if arguments else 1.0)
    print(patterns_text(result.to_dict()), end="")
    if len(arguments) > 1:
        Path(arguments[1]).write_text(json.dumps(result.record(), indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
