"""Numbers in words for a coach: few decimals, 80 columns."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Sequence
from typing import Any

from engine.errors import printable
from engine.estimate.intervals import Found

WIDTH = 80
LABEL = 15
#: A space at which no line is broken.
JOIN = "\x1f"
#: A trap that closes less often than this is weighed as something else.
RARELY = 0.15
#: Fewer calls than this say nothing worth reading.
FEW_CALLS = 30
#: In place of what rests on fewer events than bear a range (engine.estimate.intervals.LEAST_EVENTS).
TOO_FEW = "too few to tell"

# --- the vocabulary: every code in words, once --------------------------------------------------------

#: What became of a call's trap, and what came after it: one and several.
OUTCOME_WORDS = {
    "steal": ("steal", "steals"),
    "other_turnover": ("other turnover", "other turnovers"),
    "foul": ("foul", "fouls"),
    "escape_pass": ("pass out of it", "passes out of it"),
    "retreat": ("retreat", "retreats"),
    "split": ("split by the dribble", "splits by the dribble"),
    "trapped_shot": ("shot by the trapped man", "shots by the trapped man"),
    "rest": ("other (trap too late, held ball, time-out)",) * 2,
}
LOSS_WORDS = {
    "strip": ("strip", "strips"),
    "pass": ("pass", "passes"),
    "held_ball": ("held ball", "held balls"),
    "violation": ("violation", "violations"),
    "travel": ("travel", "travels"),
    "dribble": ("lost dribble", "lost dribbles"),
    "offensive_foul": ("offensive foul", "offensive fouls"),
}
AFTER_WORDS = {
    "rim_shot": ("shot at the rim", "shots at the rim"),
    "open_three": ("open three", "open threes"),
    "other_shot": ("other shot", "other shots"),
    "turnover": ("turnover", "turnovers"),
    "reset": ("with the defence set again or play stopped",) * 2,
}
#: How a possession ended.
END_WORDS = {
    "made_shot": "made shot",
    "defensive_rebound": "defensive rebound",
    "turnover": "turnover",
    "free_throws": "free throws",
    "shot_clock": "shot clock",
}
#: What became of a call, and what came after it, in the past tense.
OUTCOME_PAST = {
    "steal": "the ball was stolen in the trap",
    "other_turnover": "the ball was lost in the trap without a steal",
    "foul": "the defence fouled in the trap",
    "escape_pass": "the ball was passed out of the trap",
    "retreat": "the handler dribbled back out of the trap",
    "split": "the handler split the trap",
    "other": "the trap brought nothing (a shot before or over it, called off, held ball, time-out)",
}
AFTER_PAST = {
    "none": "",
    "rim_shot": "a shot at the rim followed",
    "open_three": "an open three followed",
    "other_shot": "another shot followed",
    "reset": "before a shot the defence stood again or play was stopped",
    "turnover": "the offence lost the ball later on",
}
END_PAST = {
    "made_shot": "a made shot",
    "defensive_rebound": "a defensive rebound",
    "turnover": "a turnover",
    "free_throws": "free throws",
    "shot_clock": "the shot clock running out",
}
#: What becomes of a trap while it is told.
LEFT_WORDS = {
    "steal": "the ball is stolen out of it",
    "other_turnover": "the ball is lost in it",
    "foul": "a foul ends it",
    "escape_pass": "the ball is passed out of it",
    "retreat": "the handler dribbles back out of it",
    "split": "the handler splits it",
    "other": "a shot goes up, or it is called off",
}
TRAP_WORDS = {
    "none": "",
    "coming": "{call} called, on its way",
    "set": "{call} closed around the ball",
    "after": "out of the {call}, the defence on its way back",
}
#: Jobs that only a replay names, beside those of the files.
OTHER_JOBS = {"box_out": "boxes out for the rebound", "loose_ball": "goes for the loose ball",
              "": "takes his place"}  # fmt: skip
PASS_WORDS = {"direct": "a direct pass", "bounce": "a bounce pass", "over": "a pass over the top"}
#: Counts of the box score.
BOX_WORDS = {
    "points": "points",
    "fga": "shots",
    "fgm": "shots made",
    "three_attempts": "threes",
    "three_made": "threes made",
    "rim_attempts": "shots at the rim",
    "fta": "free throws",
    "ftm": "free throws made",
    "oreb": "offensive rebounds",
    "dreb": "defensive rebounds",
    "turnovers": "turnovers",
    "steals": "steals by the defence",
    "fouls": "fouls by the defence",
}
#: Parts of a change in the order they are read: the four factors, then what a turnover brings.
FACTOR_WORDS = {
    "shooting": "shooting",
    "turnovers": "turnovers",
    "rebounds": "rebounds",
    "free_throws": "free throws",
    "transition": "the other end",
}
#: Base rates of a level.
RATE_WORDS = {
    "points": "points conceded",
    "turnovers": "turnovers",
    "offensive_rebounds": "offensive rebounds",
    "three_point": "threes made",
}
ORIGIN_WORDS = (
    ("from memory", "from memory, not checked against a source"),
    ("no source", "common practice with no source"),
    ("sourced", "from a source"),
)
#: Where the ball goes out of a trap.
WAY_WORDS = {
    "behind": "back behind the ball",
    "middle": "into the middle",
    "line": "up the line",
    "far": "to the far man",
}
#: What sets a call off.
TRIGGER_WORDS = {
    "in_air": "while the pass is in the air",
    "catch": "on the catch",
    "back_turned": "when he turns his back",
    "picked_up": "when he picks up his dribble",
    "dribble_in": "when he dribbles in",
    "held": "when he holds it for {held:g} s",
    "across_half": "as he crosses half court",
    "brought_down": "as he brings it down",
    "screen": "when a screen is set for him",
}
#: What sets a call off, in two words.
SHORT_TRIGGERS = {
    "in_air": "in air",
    "catch": "on catch",
    "back_turned": "back turned",
    "picked_up": "dribble dead",
    "dribble_in": "dribbles in",
    "held": "held {held:g}s",
    "across_half": "over half court",
    "brought_down": "brought down",
    "screen": "screen set",
}
#: What to do about an opponent as a whole, in a sentence about him; "" of all others.
ADVICE_TO_A_MAN = {"force": "let him have the ball", "leave": "leave him, help from him"}
#: Shouted on a floor anyway, so no signal for a call (common practice, no source).
SHOUTED = frozenset(
    "ball help shot box out rebound cutter screen switch stop home back time line middle corner baseline "
    "left right high low deny guard leave trap one two three shoot".split()
)
#: Words of the outputs that need their plain meaning, once.
GLOSSARY = {
    "at home": "the defence without any trap call",
    "clear": "told apart from luck in the possessions played (95 %)",
    "variant": "the model with its unsure numbers (pass speeds, reactions, shooting) drawn anew, in half of "
    "them also their formation, plays and habits; 90 of 100 variants are not 90 % sure in a gym",
    "formation": "how they line up: one guard or two out front, or overload; what the other coach chooses",
    "beaten": "the ball got out of the trap: passed out, dribbled back out, or between the two",
    "punished": "beaten, and a shot at the rim or an open three before the defence was set again",
    "basket": "of who guards it, in a zone or behind a trap; the rim is where they shoot from close to it",
    "deny": "stand in the pass to who is at that place",
    "front": "stand between the ball and who is at that place; while nobody is there, hold the place",
    "behind": "stand between the basket and the man there, ready for the pass over the top",
    "middle": "hold the middle and read the long pass; step up to who gets the ball there",
    "bump": "the forward takes the wing until the guard has run over, then drops",
    "slot": "between the top and the wing",
    "low wing": "between the wing and the corner",
    "skip": "a pass over the zone to the far side",
    "guard": "his open shot there is worth more than their average shot: close out to him",
    "let him shoot": "his open shot there is worth less than that: stay between him and the basket",
    "leave": "let him shoot wherever he stands, and no trap is meant for him: help from him",
    "trap pays": "a call that clearly saves points on him with the ball, or that is kept for him; not "
    "advised tonight: it is none of the calls advised; guard, let him shoot and leave are about his shot",
    "trap": "his shot there is worth little, but a trap pays on him there",
    "set or stopped": "before a shot all five were back at their places, or play was stopped (a foul, the "
    "ball out); timing watches for all five back alone",
    "points a call": "points conceded at home less those with the call, with what a won ball brings at the "
    "other end",
}
#: Of those the words that only trap advice takes.
TRAP_WORDS_ONLY = ("beaten", "punished", "trap pays", "trap")
#: Before the name of a region; the others stand "in the".
PREPOSITIONS = {"top": "at the", "wing": "on the", "slot": "in the", "high_post": "at the", "elbow": "at the",
                "low_post": "at the", "rim": "at the"}  # fmt: skip
#: What stands below every text on calls, defences and places.
CARE = (
    "League rules on zones and traps come first. Trap with feet and high hands, no reaching; never run "
    "under a shooter."
)

#: What the model's figures cannot say, for all that print figures: change it here when the model changes.
MODELS_FAULT = (
    "Traps leave fewer layups, open threes and fouls here than coaches count: they may look too good."
)

# --- numbers and lines ----------------------------------------------------------------------------------


def plain(text: str) -> str:
    """Text as it is, accents as one letter each; only what cannot be printed is escaped."""
    return JOIN.join(printable(part) for part in unicodedata.normalize("NFC", text).split(JOIN))


def count(n: int, one: str, many: str | None = None) -> str:
    """``12 steals``, ``1 steal``."""
    return f"{n:,} {one if n == 1 else (many or one + 's')}"


def sentence(text: str) -> str:
    """Text with a capital at its start."""
    return text[:1].upper() + text[1:]


def numbers_words(numbers: Sequence[int]) -> str:
    """``5``, ``5 and 12``, ``5, 10 and 12``."""
    texts = [str(number) for number in numbers]
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"


def times(n: int) -> str:
    """``once``, ``twice``, ``5 times``."""
    return {1: "once", 2: "twice"}.get(n, f"{n} times")


def percent(share: float | None) -> str:
    """``38%``; a small share that is not 0 is ``under 1%``."""
    if share is None:
        return "-"
    if 0 < share < 0.005:
        return "under 1%"
    return f"{100 * share:.0f}%"


def amount(value: float, decimals: int) -> str:
    """A size without its sign; one more decimal where it would round to nothing, then ``under 0.01``."""
    for places in (decimals, decimals + 1):
        text = f"{abs(value):.{places}f}"
        if float(text) != 0 or value == 0:
            return text
    return f"under {10.0 ** -(decimals + 1):.{decimals + 1}f}"


def _side(value: float, decimals: int) -> str:
    """One end of an interval of points saved: ``0.05 lost`` or ``0.12 saved``."""
    shown = amount(value, decimals)
    if value == 0:
        return "nothing"
    return f"{shown} {'saved' if value > 0 else 'lost'}"


def saved(found: Found, decimals: int, unit: str, short: bool = False) -> str:
    """Points saved (positive is good) in words.

    With the unit "points a game": ``saves 2.1 points a game (1.5 to 2.7)``, ``costs ...``, ``no clear
    difference (0.4 lost to 0.5 saved points a game)`` where the interval holds 0, TOO_FEW where there is
    none. ``short``: ``saves 2.1 (1.5-2.7)``, ``no clear difference``.
    """
    to = "-" if short else " to "
    mean, low, high = found["mean"], found["low"], found["high"]
    unit = f" {unit}" if unit else ""
    if mean is None:
        return "nothing to go by"
    if low is None or high is None:
        return TOO_FEW
    if mean == low == high == 0:
        return "no difference at all"
    if low > 0 or high < 0:
        parts = [amount(value, _places(found, decimals)) for value in (mean, *sorted((low, high), key=abs))]
        return f"{'saves' if low > 0 else 'costs'} {ranged(f'{parts[0]}{unit}', parts[1], parts[2], to)}"
    if short:
        return "no clear difference"
    return f"no clear difference ({_side(low, decimals)} to {_side(high, decimals)}{unit})"


def scaled(found: Found, factor: float) -> Found:
    """An interval times a factor; a negative factor swaps its ends."""
    mean, low, high = (None if found[key] is None else factor * found[key] for key in ("mean", "low", "high"))
    if factor < 0:
        low, high = high, low
    return {"mean": mean, "low": low, "high": high}


def span(low: str, high: str, to: str = " to ") -> str:
    """``86.2 to 88.0``; ``about 86.2`` where both ends are written alike."""
    return f"about {low}" if low == high else f"{low}{to}{high}"


def ranged(mean: str, low: str, high: str, to: str = " to ") -> str:
    """``87.1 (86.2 to 88.0)``; ``about 87.1`` where both ends are written alike."""
    return f"about {mean}" if low == high else f"{mean} ({low}{to}{high})"


def _places(found: Found, decimals: int) -> int:
    """One decimal more where both ends of an interval would be written alike."""
    return decimals + (amount(found["low"], decimals) == amount(found["high"], decimals))


def around(found: Found, decimals: int, to: str = " to ", few: str = " (too few for a range)") -> str:
    """``87.1 (86.2 to 88.0)``."""
    mean, low, high = found["mean"], found["low"], found["high"]
    if mean is None:
        return "-"
    known = low is not None and high is not None
    places = decimals + (known and f"{low:.{decimals}f}" == f"{high:.{decimals}f}")
    texts = [f"{round(value, places) + 0.0:.{places}f}" for value in (mean, low, high) if value is not None]
    if known and (low > 0 or high < 0):  # an end that is not 0 is not written as 0
        texts[1:] = [
            text if float(text) else f"{'-' * (end < 0)}{amount(end, places)}"
            for text, end in zip(texts[1:], (low, high), strict=True)
        ]
    return ranged(texts[0], texts[1], texts[2], to) if known else f"{texts[0]}{few}"


def known(found: Found, decimals: int) -> str:
    """``around``, but TOO_FEW where there is no range."""
    return TOO_FEW if found["low"] is None else around(found, decimals)


def useful_decimals(found: Found) -> int:
    """1 where the interval is narrower than 1, else 0: no decimal that the sampling error makes empty."""
    if found["low"] is None or found["high"] is None:
        return 0
    return 1 if found["high"] - found["low"] < 1 else 0


def _filled(text: str, first: str, indent: str) -> str:
    wrapped = textwrap.fill(
        plain(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return wrapped.replace(JOIN, " ")


def labelled(label: str, text: str) -> str:
    """A label on the left, text wrapped beside it; below it where the label is long."""
    first, indent = f"  {plain(label):<{LABEL}}", " " * (LABEL + 2)
    return _filled(text, first, indent) if first[-1] == " " else f"{first}\n{_filled(text, indent, indent)}"


def paragraph(text: str) -> str:
    """Wrapped text."""
    return _filled(text, "", "")


def table(rows: Sequence[Sequence[str]], indent: str = "  ", left: Sequence[int] = ()) -> list[str]:
    """Rows as aligned lines: the first column, and those in ``left``, to the left, the others to the right.

    Where a row would be wider than WIDTH, the first column goes on below itself; no word of it is broken.
    """
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    room = WIDTH - len(indent) - sum(2 + width for width in widths[1:])
    words = [len(word) + len(row[0]) - len(row[0].lstrip()) for row in rows for word in row[0].split()]
    widths[0] = min(widths[0], max(room, LABEL, *words))
    lines = []
    for row in rows:
        hanging = " " * (2 + len(row[0]) - len(row[0].lstrip()))
        first, *more = textwrap.wrap(
            row[0], widths[0], subsequent_indent=hanging, break_on_hyphens=False
        ) or [""]
        cells = [
            first.ljust(widths[0]),
            *(
                cell.ljust(widths[i]) if i in left else cell.rjust(widths[i])
                for i, cell in enumerate(row[1:], 1)
            ),
        ]
        lines += [(indent + line).rstrip() for line in ("  ".join(cells), *more)]
    return lines


def detail(found: Found | Sequence[Any], indent: str = "") -> list[str]:
    """Everything of a result, one line per value, four decimals; an interval stands in one line."""
    lines = []
    for key, value in found.items() if isinstance(found, dict) else enumerate(found, start=1):
        name = plain(str(key))
        if isinstance(value, dict) and value.keys() == {"mean", "low", "high"}:
            parts = [_exact(value[part]) for part in ("mean", "low", "high")]
            lines.append(f"{indent}{name}: {parts[0]} ({parts[1]} to {parts[2]})")
        elif isinstance(value, dict | list | tuple):
            lines.append(f"{indent}{name}:" + ("" if value else " none"))
            lines += detail(value, indent + "  ")
        else:
            lines.append(_filled(f"{name}: {_exact(value)}", indent, f"{indent}  "))
    return lines


def _exact(value: object) -> str:
    if value is None:
        return "-"
    if isinstance(value, float):
        return f"{round(value, 4) + 0.0:.4f}"
    return plain(str(value))


def finished(result: Found, lines: list[str], with_detail: bool) -> str:
    """The text of a result from its lines: what it can be had again by, and ``with_detail`` everything."""
    more = "" if with_detail else "; --detail shows every number"
    lines = [*lines, "", paragraph(f"Seed {result['seed']}: the same command gives the same numbers{more}.")]
    if with_detail:
        lines += ["", "Detail", "-" * WIDTH, *detail(result)]
    return "\n".join(lines) + "\n"
