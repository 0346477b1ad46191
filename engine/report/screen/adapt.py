"""The text of ``adapt``: every call the first time they meet it, and once they know it.

Built only from the JSON result.
"""

from __future__ import annotations

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.adapted_view import answer, at_home, both_values
from engine.report.words import (
    count,
    finished,
    labelled,
    paragraph,
    plain,
    saved,
    scaled,
    table,
)


def adapt_text(result: Found, with_detail: bool = False) -> str:
    """The text of ``adapt`` from its JSON result; ``with_detail`` appends everything."""
    who = f"{plain(result['offence'])} with the ball, {plain(result['defence'])} defending"
    lines = [
        paragraph(result["title"]),
        paragraph(f"{who}: {count(result['possessions'], 'possession')}."),
        "",
    ]
    if result["carrying_on"] is not None:
        lines += [paragraph(of_own_men(result)), ""]
        if result["constants"]:
            lines += [paragraph("For every command to play them so, under [constants] of the scenario:")]
            lines += [*(f"  {name} = {value:.3f}" for name, value in result["constants"].items()), ""]
            lines += [paragraph("Both columns play them so, other commands as the files say."), ""]
    if not result["settings"]:
        lines.append(paragraph("The scenario has no settings, so there is nothing to learn."))
        return finished(result, lines, with_detail)
    rows = [["Points per 100 possessions", "the first time", "once they know it"]]
    for setting in result["settings"]:
        rows.append([plain(setting["name"]), *(_saved(setting[key]["change"]) for key in ("first", "known"))])
    lines += [*table(rows), ""]
    rows = [["Points a call", "the first time", "once they know it"]]
    for setting in result["settings"]:
        calls = [one["call"] for one in setting["first"]["calls"]]
        for call in calls:
            name = setting["name"] if len(calls) == 1 else f"{setting['name']}: {spoken(call)}"
            rows.append([plain(name), *both_values(setting, call)])
    lines += [*table(rows), ""] if len(rows) > 1 else []
    lines += [
        labelled(setting["name"], answer(setting, result["possessions"])) for setting in result["settings"]
    ]
    elsewhere = [(setting["name"], at_home(setting)) for setting in result["settings"]]
    if any(words for _, words in elsewhere):
        lines += ["", paragraph("Playing so, in 100 possessions in which you stay home:")]
        lines += [labelled(name, words) for name, words in elsewhere if words]
    learned = count(result["learned_from"], "possession")
    lines += [
        "",
        paragraph(
            f"Who knows a setting has learned from {learned} under it what a trap does to his passes and "
            "drives, and where the ball is worth less. He still plays by the rules of this model: a coach "
            "who sets plays against your trap can do better. Both columns are beside staying home against "
            "the same opponent. Ranges: luck of the possessions, 95 of 100."
        ),
    ]
    return finished(result, lines, with_detail)


def _saved(change: Found) -> str:
    """Points saved in 100 possessions, short."""
    if change["low"] is None:
        return "too few to tell"
    return saved(scaled(change, -100.0), 1, "", short=True)


def of_own_men(result: Found) -> str:
    """What going on, and a trap, are worth to these men, beside what their level believes."""
    going, trapped = result["carrying_on"], result["in_a_trap"]
    own, level, error = going["points"], going["level_points"], 2 * going["standard_error"]
    text = (
        f"Going on with the ball is worth {own:.2f} points to these men (before: {level:.2f}; plus or minus "
        f"{error:.2f})."
    )
    if trapped is not None:
        own, passed = (_beside(trapped[key]) for key in ("points", "passes"))
        text += (
            f" A ball held or dribbled in a trap brings them {own} than they believed (plus or minus "
            f"{2 * trapped['standard_error']:.2f}), one passed out of it {passed} (plus or minus "
            f"{2 * trapped['passes_error']:.2f})."
        )
    return text


def _beside(points: float) -> str:
    if abs(points) < 0.005:
        return "no more and no less"
    return f"{abs(points):.2f} points {'more' if points > 0.0 else 'less'}"
