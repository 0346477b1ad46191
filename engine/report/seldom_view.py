"""Why a call hardly comes up, in the same words for every output, from the JSON of ``seldom`` alone."""

from __future__ import annotations

from collections.abc import Mapping

from engine.estimate.calls import one_in
from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.words import count, numbers_words, sentence, times

#: Below this share of possessions at every chance, the ball hardly gets there as the call asks.
HARDLY = 0.015
#: Above this share of the possessions with a chance, it is not for being made seldom that it hardly comes up:
#: a possession may have several chances.
LEFT = 0.75


def why_seldom(found: Found, setting: str, call: str) -> str:
    """``; ...`` on why a call of a setting hardly comes up; "" where ``found`` does not tell."""
    rows = [row for row in found.get("calls", ()) if (row["setting"], row["call"]) == (setting, call)]
    return _why(rows[0], found["possessions"]) if rows else ""


def _why(row: Found, possessions: int) -> str:
    whom, chances, all_five = row["only_against"], row["chances"], row["on_all"]
    fewer = row["probability"] < 1.0 and row["called"] < LEFT * chances
    made = f"; you make it at {one_in(row['probability'])} chances" if fewer else ""
    of = count(possessions, "possession")
    if all_five < HARDLY * possessions:
        came = f"comes only {_times(all_five)}" if all_five else "never comes"
        return f"; whoever has the ball, a chance for it {came} in {of}{made}"
    if whom and 2 * chances < all_five:
        who, gets = ("he", "gets") if len(whom) == 1 else ("they", "get")
        came = f"{gets} a chance for it {_times(chances)}" if chances else f"never {gets} a chance for it"
        only = f"it is only for No. {numbers_words(whom)}: {who} {came} in {of}"
        return f"; {only}, all five together {_times(all_five)}{made}"
    return f"; a chance for it comes {_times(chances)} in {of}{made}" if made else ""


def _times(n: int) -> str:
    return times(n).replace(str(n), f"{n:,}")


def rare_words(found: Found, setting: str, call: str) -> str:
    """How often a call that hardly comes up came, in a few words; "" where it is none of those."""
    rows = [row for row in found.get("calls", ()) if (row["setting"], row["call"]) == (setting, call)]
    if not rows:
        return ""
    n = rows[0]["called"]
    return f"too seldom to judge ({n:,} in {found['possessions']:,})"


def _came(n: int, possessions: int) -> str:
    """``came up 11 times in 20,000 possessions``, ``never came up in ...``."""
    return f"{f'came up {_times(n)}' if n else 'never came up'} in {count(possessions, 'possession')}"


def not_judged(found: Found, calls: Mapping[tuple[str, str], str]) -> list[str]:
    """A sentence for each of these calls (setting and name -> what it is called) that hardly comes up, with
    the reason."""
    return [
        f"{sentence(spoken(calls[key]))}: {_came(row['called'], found['possessions'])}, not judged"
        f"{_why(row, found['possessions'])}."
        for row in found.get("calls", ())
        if (key := (row["setting"], row["call"])) in calls
    ]


def never_lines(found: Found, fitted: bool) -> list[str]:
    """A warning for each call that never came up in a short try; ``fitted``: False before the fit."""
    n, when = count(found["possessions"], "possession"), "" if fitted else " before the fit to your sheet"
    return [
        f'{sentence(spoken(row["call"]))} ("{row["setting"]}") never came up in a try of {n}{when}'
        f"{_why(row, found['possessions'])}. It may come up too seldom to be judged."
        for row in found["calls"]
    ]
