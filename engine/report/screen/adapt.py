"""The text of ``adapt``: every call the first time they meet it, and once they know it.

Built only from the JSON result.
"""

from __future__ import annotations

from engine.estimate.intervals import Found
from engine.report.words import (
    OUTCOME_WORDS,
    count,
    finished,
    labelled,
    paragraph,
    plain,
    saved,
    scaled,
    table,
)

#: A share of the traps that changed by less than this, or by less than its luck, is no answer of theirs.
LEAST_CHANGE = 0.05
MOST_NAMED = 2


def adapt_text(result: Found, with_detail: bool = False) -> str:
    """The text of ``adapt`` from its JSON result; ``with_detail`` appends everything."""
    who = f"{plain(result['offence'])} with the ball, {plain(result['defence'])} defending"
    lines = [
        paragraph(result["title"]),
        paragraph(f"{who}: {count(result['possessions'], 'possession')}."),
        "",
    ]
    lines.append(paragraph(_carrying(result["carrying_on"], "evening" in result)))
    lines.append("")
    if not result["settings"]:
        lines.append(paragraph("The scenario has no settings, so there is nothing to learn."))
        return finished(result, lines, with_detail)
    rows = [["Points per 100 possessions", "the first time", "once they know it"]]
    for setting in result["settings"]:
        rows.append([plain(setting["name"]), *(_saved(setting[key]["change"]) for key in ("first", "known"))])
    lines += table(rows)
    lines.append("")
    lines += [
        labelled(setting["name"], answer(setting, result["possessions"])) for setting in result["settings"]
    ]
    learned = count(result["learned_from"], "possession")
    lines += [
        "",
        paragraph(
            f"Who knows a setting has learned from {learned} under it what a trap does to his passes and "
            "drives, and where the ball is worth less. He still plays by the rules of this model: a coach "
            "who sets plays against your trap can do better. Ranges: luck of the possessions, 95 of 100."
        ),
    ]
    return finished(result, lines, with_detail)


def _saved(change: Found) -> str:
    """Points saved in 100 possessions, short."""
    if change["low"] is None:
        return "too few to tell"
    return saved(scaled(change, -100.0), 1, "", short=True)


def _carrying(found: Found, sheets: bool) -> str:
    """What going on is worth to these men, beside what their level believes."""
    own, level, error = found["points"], found["level_points"], 2 * found["standard_error"]
    text = (
        f"Going on with the ball is worth {own:.2f} points to these men (before: {level:.2f}; plus or minus "
        f"{error:.2f})."
    )
    if sheets:
        return text
    return f"{text} For every command to play them so: hold_value_points = {own:.2f} under [constants]."


def answer(setting: Found, possessions: int) -> str:
    """What they do otherwise once they know a setting, the clearest first."""
    first, known = setting["first"], setting["known"]
    if not setting["beliefs"]:
        return "nothing that they learn about it does better than how they play it the first time"
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
    return "; ".join(said) if said else "no clear answer: they play it as the first time"
