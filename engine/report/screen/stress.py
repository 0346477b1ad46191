"""The text of ``stress``: in how many variants of the model each call pays. Built only from the JSON result.

A variant (in code and JSON: a world) is the model with its unsure numbers drawn anew from their ranges.
"""

from __future__ import annotations

from collections.abc import Sequence

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.words import (
    JOIN,
    ORIGIN_WORDS,
    RATE_WORDS,
    WIDTH,
    amount,
    count,
    finished,
    labelled,
    paragraph,
    percent,
    plain,
    shorten,
    span,
    table,
)

#: Deciding inputs that are named; the rest stand in the detail.
MOST_NAMED = 4
SHARE_NOTE = (
    "A variant: the model with its unsure numbers drawn anew. Pays: of 100 variants, those in which the call "
    "saves points, the luck of the possessions taken out; may be: what is left of it. Worth: the middle 90 "
    "of 100 variants."
)
STRUCTURE = (
    "CAUTION: the variants differ in their numbers only. How the model's players decide, slide and break a "
    "trap is the same in all of them, and nobody has published what traps bring. A call that pays in 95 of "
    "100 variants is not 95% sure to pay in a gym."
)


def stress_text(result: Found, with_detail: bool = False) -> str:
    """The text of ``stress`` from its JSON result; ``with_detail`` appends everything."""
    worlds = result["worlds"]
    drawn = f"{count(worlds['drawn'], 'variant')} of {count(result['possessions'], 'possession')}"
    who = f"{plain(result['offence'])} with the ball, {plain(result['defence'])} defending"
    lines = [paragraph(result["title"]), paragraph(f"{who}: {drawn}."), ""]
    rows = [call for setting in result["settings"] for call in setting["calls"]]
    if not result["settings"]:
        lines.append(paragraph("The scenario has no settings, so there is nothing to weigh."))
    elif worlds["kept"] == 0:
        lines.append(paragraph("No variant was kept, so nothing can be said."))
    else:
        lines += _headlines(result["settings"])
        for setting in result["settings"]:
            lines += _setting(setting, result)
    lines += ["", *_dropped(result), paragraph(_origins(result["inputs"]))]
    if result["fixed"]:
        names = ", ".join(result["fixed"])
        lines.append(paragraph(f"Held fixed, because the scenario sets them outside their range: {names}."))
    if rows:
        lines.append(paragraph(SHARE_NOTE))
    lines.append(paragraph(STRUCTURE))
    return finished(result, lines, with_detail)


# --- the share --------------------------------------------------------------------------------------------


def worlds_in_100(share: float) -> str:
    """``83 of 100``; never a certainty: ``more than 99 of 100``, ``fewer than 1 of 100``."""
    if share > 0.99:
        return "more than 99 of 100"
    if share < 0.01:
        return "fewer than 1 of 100"
    return f"{round(100 * share)} of 100"


def _pays(found: Found, kept: int) -> str:
    """The headline of one call."""
    if found["called"] == 0:
        return "never called in any variant"
    if found["no_difference"]:
        return "makes no difference in any variant"
    if found["share"]["mean"] is None:
        return f"came up in {count(found['worlds'], 'variant')} only: too few to say"
    words = f"pays in {worlds_in_100(found['share']['mean'])} variants"
    if found["worlds"] < kept:
        words += f", of those where it comes up ({found['worlds']:,} of {kept:,})"
    return words


def _headlines(settings: Sequence[Found]) -> list[str]:
    rows = [("Pays in variants of the model", "", "may be")]
    for setting in settings:
        found = setting["whole"] if _has_whole(setting) else setting["calls"][0]
        luck = "" if found["share"]["mean"] is None else span(*_limits(found))
        rows.append((f"  {shorten(plain(setting['name']), 40)}", _short(found), luck))
    return table(rows, indent="")


def _short(found: Found) -> str:
    if found["called"] == 0:
        return "never called"
    if found["no_difference"]:
        return "no difference"
    return "too few" if found["share"]["mean"] is None else worlds_in_100(found["share"]["mean"])


def _has_whole(setting: Found) -> bool:
    """Whether the setting as a whole says more than its only call."""
    return len(setting["calls"]) != 1 or setting["own_base"]


# --- a setting --------------------------------------------------------------------------------------------


def _setting(setting: Found, result: Found) -> list[str]:
    inputs, kept = result["inputs"], result["worlds"]["kept"]
    least = result["method"]["least_worlds_for_indices"]
    name = plain(setting["name"])
    lines = ["", name, "-" * min(len(name), WIDTH)]
    if _has_whole(setting):
        whole = setting["whole"]
        what = "against staying home"
        lines.append(labelled("All in all", f"{_pays(whole, kept)}, {what}"))
        if _told(whole):
            lines.append(labelled("May be", _luck(whole)))
            lines.append(labelled("Worth", _band(whole, 100.0, 1, "points per 100 possessions")))
            lines += _decided(whole, inputs, least)
    for i, call in enumerate(setting["calls"]):
        if i or _has_whole(setting):
            lines.append("")
        lines.append(labelled("Call", f"{spoken(call['call'])}: {_pays(call, kept)}"))
        if _told(call):
            lines.append(labelled("May be", _luck(call)))
            lines.append(labelled("Worth", _band(call, 1.0, 2, "points a call")))
            lines += _decided(call, inputs, least)
    return lines


def _told(found: Found) -> bool:
    return found["share"]["mean"] is not None


def _limits(found: Found) -> tuple[str, str]:
    return f"{100 * found['share']['low']:.0f}", f"{100 * found['share']['high']:.0f}"


def _luck(found: Found) -> str:
    """The interval of the share, and the count before luck was taken out."""
    low, high = _limits(found)
    raw = round(100 * found["raw"]["share"]["mean"])
    return f"{span(low, high)} of 100 (the rest is luck); ahead as played in {raw}"


def _side(value: float, decimals: int) -> str:
    return f"{amount(value, decimals)}{JOIN}{'saved' if value >= 0 else 'lost'}"


def _band(found: Found, factor: float, decimals: int, unit: str) -> str:
    middle, low, high = (factor * found["value"][key] for key in ("mean", "low", "high"))
    return (
        f"{_side(middle, decimals)}, from {_side(low, decimals)} to {_side(high, decimals)} {unit} "
        "in 90 of 100 variants"
    )


def _decided(found: Found, inputs: Sequence[Found], least: int) -> list[str]:
    """The inputs above the floor, in words, with the direction that helps the defence."""
    if found["floor"] is None:
        why = "too few variants to say (--worlds 512)"
        if found["worlds"] >= least:
            why = "nothing to be seen: the variants differ by little more than luck (--possessions)"
        return [labelled("Decided by", why)]
    known = {one["name"]: one for one in inputs}
    named = [one for one in found["inputs"] if one["named"]]
    if not named:
        return [labelled("Decided by", "no input that stands out from noise")]
    parts = [_deciding(one, known[one["name"]]) for one in named[:MOST_NAMED]]
    left = len(named) - MOST_NAMED
    words = "; ".join(parts) + (f"; and {left} more (--detail)" if left > 0 else "")
    return [labelled("Decided by", words)]


def _deciding(effect: Found, one: Found) -> str:
    share = percent(effect["of_spread"])
    mark = "*" if one["origin"] == "from memory" else ""
    if effect["direction"] == 0:
        return f"{one['label']}{mark} ({share}, either way)"
    return f"better with {one['more'] if effect['direction'] > 0 else one['less']}{mark} ({share})"


# --- what stands behind it ----------------------------------------------------------------------------------


def _dropped(result: Found) -> list[str]:
    worlds = result["worlds"]
    if worlds["ranges"] is None:
        level = f"the level {result['level']!r}" if result["level"] else "a scenario without a level"
        return [paragraph(f"No variant was dropped: no base rates are listed for {level}.")]
    level = spoken(str(result["level"]))
    if worlds["dropped"] == 0:
        return [paragraph(f"All {worlds['drawn']:,} variants look like {level} play and were kept.")]
    why = ", ".join(f"{RATE_WORDS[name]} {n:,}" for name, n in worlds["outside"].items() if n)
    return [
        paragraph(
            f"{worlds['dropped']:,} of {worlds['drawn']:,} variants were dropped: staying home there does "
            f"not look like {level} play ({why}; the limits are "
            f"{'from memory' if 'from memory' in worlds['ranges_source'] else 'in the detail'})."
        )
    ]


def _origins(inputs: Sequence[Found]) -> str:
    parts = []
    for origin, words in ORIGIN_WORDS:
        n = sum(one["origin"] == origin for one in inputs)
        if n:
            parts.append(f"{n} {words}")
    return (
        f"{count(len(inputs), 'uncertain input')}, each drawn evenly from its range: {', '.join(parts)}. "
        "An asterisk marks a deciding input whose range is from memory; its percentage is the part of the "
        "spread between variants that it explains alone."
    )
