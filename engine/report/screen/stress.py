"""The text of ``stress``: in how many variants of the model each call pays. Built only from the JSON result.

A variant (in code and JSON: a world) is the model with its unsure numbers drawn anew from their ranges, in
half of them beside other ways in which the opponent's players decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

from engine.estimate.intervals import LEVEL, Found, normal_quantile
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
#: A difference between two choices is named beyond so many standard errors: there are many pairs.
CLEAR = 3.0


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
        lines += _headlines(result["settings"], worlds)
        for setting in result["settings"]:
            lines += _setting(setting, result)
    lines += ["", *_dropped(result), paragraph(_origins(result["inputs"]))]
    if result["fixed"]:
        names = ", ".join(result["fixed"])
        lines.append(paragraph(f"Held fixed, because the scenario sets them outside their range: {names}."))
    if rows:
        lines.append(paragraph(SHARE_NOTE))
    lines.append(paragraph(_caution(result)))
    return finished(result, lines, with_detail)


# --- the share --------------------------------------------------------------------------------------------


def worlds_in_100(share: float) -> str:
    """``83 of 100``; never a certainty: ``more than 99 of 100``, ``fewer than 1 of 100``."""
    if share > 0.99:
        return "more than 99 of 100"
    if share < 0.01:
        return "fewer than 1 of 100"
    return f"{round(100 * share)} of 100"


def ahead_words(found: Found) -> str:
    """In how many variants a call was ahead in the possessions played: a count with their luck in it."""
    return f"ahead as played in {found['raw']['pays']:,} of {count(found['worlds'], 'variant')}"


def _pays(found: Found, least: int) -> str:
    """The headline of one call; ``least``: kept variants without which there is none."""
    if found["called"] == 0:
        return "never called in any variant"
    if found["no_difference"]:
        return "makes no difference in any variant"
    if found["share"]["mean"] is None:
        return f"came up in {count(found['worlds'], 'variant')} only: too few to say"
    if found["kept"] < least:
        return f"{ahead_words(found)} (a share takes {least} kept)"
    words = f"pays in {worlds_in_100(found['share']['mean'])} variants"
    if found["worlds"] < found["kept"]:
        words += f", of those where it comes up ({found['worlds']:,} of {found['kept']:,})"
    return words


def _headlines(settings: Sequence[Found], worlds: Found) -> list[str]:
    """The share of each setting: over the variants in which most differs, and over those of numbers alone."""
    least, both = worlds["least_kept"], "structure" in worlds["kinds"]
    rows = [("Pays in variants of the model, of 100", "", "may be", "numbers alone")]
    for setting in settings:
        found = setting["whole"] if _has_whole(setting) else setting["calls"][0]
        luck = span(*_limits(found)) if share_told(found, least) else ""
        only = _short(found["numbers_only"], least) if both else ""
        rows.append((f"  {plain(setting['name'])}", _short(found, least), luck, only))
    lines = table(rows if both else [row[:3] for row in rows], indent="")
    few = [kind for kind, one in worlds["kinds"].items() if one["kept"] < least]
    if few:
        kept = ", ".join(f"{count(worlds['kinds'][kind]['kept'], 'variant')} {KINDS[kind]}" for kind in few)
        lines.append(paragraph(f"Kept: {kept}. A share takes {least} of a kind: more variants (--worlds)."))
    return lines


def _short(found: Found, least: int) -> str:
    if found["called"] == 0:
        return "never called"
    if found["no_difference"]:
        return "no difference"
    if not share_told(found, least):
        return "too few"
    share = found["share"]["mean"]
    return "> 99" if share > 0.99 else "< 1" if share < 0.01 else f"{round(100 * share)}"


def _has_whole(setting: Found) -> bool:
    """Whether the setting as a whole says more than its only call."""
    return len(setting["calls"]) != 1 or setting["own_base"]


# --- a setting --------------------------------------------------------------------------------------------


def _setting(setting: Found, result: Found) -> list[str]:
    least = result["worlds"]["least_kept"]
    name = plain(setting["name"])
    lines = ["", name, "-" * min(len(name), WIDTH)]
    if _has_whole(setting):
        whole = setting["whole"]
        what = "against staying home"
        lines.append(labelled("All in all", f"{_pays(whole, least)}, {what}"))
        lines += _told_of(whole, result, 100.0, 1, "points per 100 possessions")
    for i, call in enumerate(setting["calls"]):
        if i or _has_whole(setting):
            lines.append("")
        lines.append(labelled("Call", f"{spoken(call['call'])}: {_pays(call, least)}"))
        lines += _told_of(call, result, 1.0, 2, "points a call")
    return lines


def _told_of(found: Found, result: Found, factor: float, decimals: int, unit: str) -> list[str]:
    """What stands below a headline; nothing where there is none."""
    if not share_told(found, result["worlds"]["least_kept"]):
        return []
    return [
        labelled("May be", _luck(found)),
        labelled("Worth", _band(found, factor, decimals, unit)),
        *_depends(found, result["structure"], factor, decimals),
        *_decided(found, result["inputs"], result["method"]["least_worlds_for_indices"]),
    ]


def share_told(found: Found, least: int) -> bool:
    """Whether a share is told of a call, on screen and page alike: of ``least`` kept variants or more."""
    return found["share"]["mean"] is not None and found["kept"] >= least


def _depends(found: Found, structure: Found | None, factor: float, decimals: int) -> list[str]:
    """Choices of the structure between which the worth clearly differs: the call's best and worst."""
    labels = {one["purpose"]: one["label"] for one in structure["drawn"]} if structure else {}
    parts = []
    for one in found["by_choice"]:
        known = [c for c in one["choices"] if c["value"]["low"] is not None]
        if len(known) < 2:
            continue
        best, worst = (pick(known, key=lambda c: c["value"]["mean"]) for pick in (max, min))
        width = 2 * normal_quantile(LEVEL)
        errors = [(c["value"]["high"] - c["value"]["low"]) / width for c in (best, worst)]
        if best["value"]["mean"] - worst["value"]["mean"] > CLEAR * hypot(*errors):
            told = (f"{c['said']} {_side(factor * c['value']['mean'], decimals)}" for c in (best, worst))
            parts.append(f"{labels[one['purpose']]}: {', '.join(told)}")
    return [labelled("Depends on", "; ".join(parts))] if parts else []


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
        why = "too few variants to say (--worlds)"
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


KINDS = {"numbers": "in which numbers alone vary", "structure": "in which their ways vary, too"}


def _caution(result: Found) -> str:
    """What varied, what did not, and what a share is not."""
    same = "How the model's players decide, slide and break a trap is the same in all of them"
    what = "the variants differ in their numbers only"
    if result["structure"] is not None:
        ways = ", ".join(one["label"] for one in result["structure"]["drawn"])
        what = (
            "in half of the variants the numbers alone differ; in the other half, which shares, worth and "
            f"what it depends on are from, {ways} differ, too (no source)"
        )
        same = "All else of how the model's players decide, slide and break a trap is the same in all of them"
    return (
        f"CAUTION: {what}. {same}, and nobody has published what traps bring. A call that pays in 95 of 100 "
        "variants is not 95% sure to pay in a gym."
    )


def not_asked_words(worlds: Found) -> str:
    """Which base rates dropped no variant, and why; "" where all did that are listed."""
    names = worlds["not_asked"] if worlds["ranges"] is not None else ()
    if not names:
        return ""
    own = " and ".join(RATE_WORDS[name] for name in names)
    return f"No variant was dropped for its {own}: the opponent is fitted to his own sheet, not to the level."


def _dropped(result: Found) -> list[str]:
    said = not_asked_words(result["worlds"])
    return [*_of_level(result), *([paragraph(said)] if said else [])]


def _of_level(result: Found) -> list[str]:
    worlds = result["worlds"]
    if worlds["ranges"] is None:
        level = f"the level {result['level']!r}" if result["level"] else "a scenario without a level"
        return [paragraph(f"No variant was dropped: no base rates are listed for {level}.")]
    level = spoken(str(result["level"]))
    if worlds["dropped"] == 0:
        return [paragraph(f"All {worlds['drawn']:,} variants look like {level} play and were kept.")]
    kinds = worlds["kinds"].items()
    kept = "; ".join(f"kept {one['kept']:,} of {one['drawn']:,} {KINDS[kind]}" for kind, one in kinds)
    why = ", ".join(f"{RATE_WORDS[name]} {n:,}" for name, n in worlds["outside"].items() if n)
    return [
        paragraph(
            f"{worlds['dropped']:,} of {worlds['drawn']:,} variants were dropped: staying home there does "
            f"not look like {level} play ({why}; the limits are "
            f"{'from memory' if 'from memory' in worlds['ranges_source'] else 'in the detail'}); {kept}."
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
