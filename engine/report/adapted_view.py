"""What an opponent who knows a call leaves of its worth, in words for every output: from the JSON of
``adapt``, alone or as a plan holds it."""

from __future__ import annotations

from engine.estimate.intervals import Found
from engine.report.words import OUTCOME_WORDS, ranged, saved

#: A share of the traps that changed by less than this, or by less than its luck, is no answer of theirs.
LEAST_CHANGE = 0.05
MOST_NAMED = 2
SAME = "nothing that they learn about it does better than how they play it the first time"
NOTHING_CLEAR = "what they then do otherwise shows in no single figure clearly"
FEW = "too few calls to tell"


def answer(setting: Found, possessions: int) -> str:
    """What they do otherwise once they know a setting, the clearest first."""
    first, known = setting["first"], setting["known"]
    if not setting["beliefs"]:
        return SAME
    if not first["called"] or not known["called"]:
        return (
            "no trap is called"
            if not first["called"]
            else "they keep the ball away: no trap comes up any more"
        )
    said = []
    calls, later = (100 * one["calls_per_possession"] for one in (first, known))
    luck = 100 * (first["called"] + known["called"]) ** 0.5 / possessions
    if abs(later - calls) > max(2 * luck, 0.1 * calls):
        where = "keep the ball away from it" if later < calls else "walk into it more"
        said.append(f"they {where}: {later:.1f} calls in 100 possessions, not {calls:.1f}")
    changes = []
    for name, words in OUTCOME_WORDS.items():
        one, two = first["outcomes"][name], known["outcomes"][name]
        apart = two["mean"] - one["mean"]
        if abs(apart) >= LEAST_CHANGE and (two["low"] > one["high"] or two["high"] < one["low"]):
            changes.append(
                (-abs(apart), f"{100 * two['mean']:.0f} {words[1]} of 100 traps, not {100 * one['mean']:.0f}")
            )
    said += [words for _, words in sorted(changes)[:MOST_NAMED]]
    return "; ".join(said) if said else NOTHING_CLEAR


def at_home(setting: Found) -> str:
    """What playing as they then do brings or costs them where one stays home; "" where it is not clear."""
    found = setting["home_change"]
    if not setting["beliefs"] or found["low"] is None or found["low"] <= 0.0 <= found["high"]:
        return ""
    what = "costs them" if found["mean"] < 0.0 else "brings them"
    low, mean, high = (100.0 * abs(found[key]) for key in ("low", "mean", "high"))
    return f"{what} {ranged(f'{mean:.1f}', *(f'{one:.1f}' for one in sorted((low, high))))}"


def both_values(setting: Found, call: str) -> tuple[str, str]:
    """Points saved a call the first time, and once they know it."""
    said = []
    for key in ("first", "known"):
        found = next(one["value"] for one in setting[key]["calls"] if one["call"] == call)
        said.append(FEW if found["low"] is None else saved(found, 2, "", short=True))
    return said[0], said[1] if setting["beliefs"] else "the same"


def _row(adapted: Found | None, setting: str) -> Found | None:
    rows = [] if adapted is None else adapted["settings"]
    return next((one for one in rows if one["name"] == setting), None)


def known_value(adapted: Found | None, setting: str, call: str) -> str:
    """Points saved a call once they know it; a dash where it was not weighed."""
    row = _row(adapted, setting)
    return "\N{EN DASH}" if row is None else both_values(row, call)[1]


def adapted_words(adapted: Found | None, setting: str, call: str) -> str:
    """First-time worth, worth once they know it, and what they then do; "" where it was not weighed."""
    row = _row(adapted, setting)
    if adapted is None or row is None:
        return ""
    first, known = both_values(row, call)
    if first == FEW:
        return ""
    then = answer(row, adapted["possessions"])
    return f"{first} the first time, {known} once they know it; {then}"


def who_learns(plan: Found) -> str:
    """Which of the two plans this is, for its head."""
    if plan["adapted"]:
        return "plan --adapted: they learn the calls during the game. Without --adapted they do not."
    return "They do not learn the calls during the game; plan --adapted is for those who do."


def law_words(plan: Found) -> str:
    """How a plan moves a call's worth with the traps seen, and what stays; "" where nobody learns."""
    if not plan["adapted"]:
        return ""
    after = plan["adapted"]["known_after_traps"]
    return (
        f"Assumed, no source: they know a call after {after:g} of its traps in a game; until then its worth "
        "goes in a straight line from the first time's. How often a call comes up, one game's spread and the "
        "late game are as against those who do not learn."
    )
