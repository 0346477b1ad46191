"""Zone or man-to-man tonight, in the same words for every output, from the studies' JSON alone.

What the zone without traps and man-to-man concede is of the part ``zone_or_men``; what the advised calls add
is the plan's worth of a game, shared out over its possessions, so that there is one figure for one question.
"""

from __future__ import annotations

from collections.abc import Sequence

from engine.estimate.intervals import Found
from engine.inputs.base import listed, spoken
from engine.inputs.sheets import Likely
from engine.report.advice_view import advised_game, advised_rows, traps_words
from engine.report.screen.defence import comes_from
from engine.report.sheet_view import MET
from engine.report.words import (
    TOO_FEW,
    around,
    count,
    percent,
    plain,
    saved,
    scaled,
    sentence,
    span,
    useful_decimals,
)
from engine.study.evening_result import Advice

APART, UNIT = "cannot be told apart", "points per 100 possessions"
#: What varies in the variants of a kind.
VARIED = {"numbers": "with other numbers", "structure": "with other numbers, formations, plays and habits"}
#: What no figure of it holds, whoever plays.
CANNOT = (
    "how well your men play either, their fouls and legs, and who guards whom but by size. In the model few "
    "screens are set and passes to men under the rim are too safe"
)
MATCHED = ". Their sheet is matched against {met}; who shoots is assumed to be as on it against both"


def told(found: Found, unit: str = "") -> str:
    """Points saved in words; where the range reaches zero, that the two cannot be told apart."""
    return saved(found, 1, unit).replace("no clear difference", APART)


def told_twice(row: Found) -> str:
    """Per 100 possessions and in a game, the verb once."""
    first, again = (told(row[key]) for key in ("per_100", "per_game"))
    verb = next((one for one in ("saves ", "costs ", f"{APART} ") if first.startswith(one)), "")
    return f"{first} per 100 possessions, {again.removeprefix(verb)} in a game"


def _plus(one: Found, other: Found) -> Found:
    """A sum, as wide as if both erred together: they share possessions."""
    return {end: None if None in (one[end], other[end]) else one[end] + other[end] for end in one}


def _reaches(found: Found) -> bool:
    return found["low"] is None or found["low"] <= 0.0 <= found["high"]


def zone_or_men_dict(found: Found, report: Advice) -> Found:
    """What is told of zone or men.

    ``rows``, points saved: ``man_to_man`` and ``calls`` (the zone with what is advised) beside the zone
    without traps, ``calls_beside_men`` the latter beside man-to-man; of each ``per_100`` possessions,
    ``per_game``, and over the variants (``varied``, per 100). ``answer``: a sentence, ``verdict``: it with
    its figures; ``lines``: (label, words).
    """
    n, advised = found["game"]["possessions"], advised_rows(report)
    swing = {end: advised_game(report)["swing"][end] for end in ("mean", "low", "high")}
    men, calls = scaled(found["change"], -100.0), scaled(swing, 100.0 / n)
    variants = found["variants"]["kinds"][found["variants"]["kind"]]
    band = scaled(variants["value"], 100.0)
    rows = {"man_to_man": _row(men, n, band)}
    if advised:
        rows["calls"] = _row(calls, n, None)
        beside = [_plus(calls, scaled(one, -1.0)) for one in (men, band)]
        rows["calls_beside_men"] = _row(beside[0], n, beside[1])
    answer = _answer(rows)
    verdict = f"{answer} {_figures(rows)}"
    fitted = found["carrying_on"] is not None
    lines = [
        ("Zone or men", verdict),
        ("No traps", _no_traps(found, rows["man_to_man"])),
        ("The calls", _calls(rows, traps_words(report.plan, advised) if advised else "")),
        ("Variants", _variants(found["variants"], variants, band, report.evening.likely)),
        ("It comes from", comes_from(found["factors"], found["change"]["mean"])),
        ("A game", _a_game(found["game"])),
        ("Played", _played(found)),
        ("Cannot say", CANNOT + (MATCHED.format(met=MET[report.evening.met.word]) if fitted else "")),
    ]
    return found | {"rows": rows, "answer": answer, "verdict": verdict, "lines": lines}


def _row(per_100: Found, n: int, varied: Found | None) -> Found:
    return {"per_100": per_100, "per_game": scaled(per_100, n / 100.0), "varied": varied}


def _answer(rows: Found) -> str:
    """The answer: the model says it of a side only where neither luck nor its variants turn it."""
    men, calls = rows["man_to_man"], rows.get("calls_beside_men")
    found = men if calls is None else calls
    if found["per_100"]["low"] is None or found["varied"]["low"] is None:
        return f"Zone or man-to-man: {TOO_FEW}."
    if _reaches(found["per_100"]):
        return f"Zone or man-to-man {APART}."
    side = f"The zone{' with advised calls' if calls else ''}"
    if (found["per_100"]["low"] > 0.0) == (calls is None):
        side = "Man-to-man"
    if _reaches(found["varied"]):
        return f"{side} leads; variants differ."
    return f"{side}, says the model."


def _figures(rows: Found) -> str:
    men, calls = rows["man_to_man"], rows.get("calls_beside_men")
    without = f"without traps man-to-man {told(men['per_100'], UNIT)} beside the zone{_ends(men['varied'])}"
    said = f"{sentence(without)}."
    if calls is None:
        return said
    return (
        f"{said} With the advised calls the zone {told(calls['per_100'])} beside man-to-man"
        f"{_ends(calls['varied'])}."
    )


def _ends(band: Found) -> str:
    """``, over variants of the model from 18.1 lost to 2.3 saved``."""
    if band["low"] is None:
        return ", too few variants of the model to say more"
    return f", over variants of the model from {_span(band)}"


def _span(band: Found) -> str:
    ends = (band[key] for key in ("low", "high"))
    return " to ".join(f"{abs(end):.1f} {'saved' if end > 0.0 else 'lost'}" for end in ends)


def _no_traps(found: Found, row: Found) -> str:
    points = [scaled(found[side]["points_per_possession"], 100.0) for side in ("zone", "men")]
    decimals = max(map(useful_decimals, points))
    zone, men = (around(one, decimals) for one in points)
    titles = [plain(found[side]["defence"]["title"]) for side in ("zone", "men")]
    return (
        f"they score {zone} per 100 possessions against the {titles[0]}, {men} against {titles[1]}, which "
        f"{told_twice(row)} of {found['game']['possessions']}; saved and lost count what a turnover brings "
        "at the other end"
    )


def _calls(rows: Found, traps: str) -> str:
    if "calls" not in rows:
        return "no trap call is advised, so the zone is the zone without traps"
    return (
        f"the zone with what is advised ({traps}) {told_twice(rows['calls'])} beside the zone without; "
        f"beside man-to-man {told_twice(rows['calls_beside_men'])} (both added up, over the variants, too)"
    )


def _variants(found: Found, mine: Found, band: Found, likely: Sequence[Likely]) -> str:
    """How far the model itself may be off, as far as its variants go. They draw every shipped formation, for
    nobody knows for sure how they line up: those that the sheet does not make likely are named."""
    of = f"{count(mine['kept'], 'variant')} of the model {VARIED[found['kind']]}"
    if band["low"] is None:
        return f"too few of them look like the level to say ({of})"
    fronts = [one for one in found["by_formation"] if one["value"]["low"] is not None]
    by = ", ".join(f"{one['said']} {told(scaled(one['value'], 100.0))}" for one in fronts)
    return (
        f"man-to-man from {_span(band)} per 100 possessions in 90 of 100 ({of}, {found['possessions']:,} "
        "possessions each, their luck taken out); all else of how the model plays is the same in them"
        + (f". In these variants, by formation{_unlikely(fronts, likely)}: {by}" if len(fronts) > 1 else "")
    )


def _unlikely(fronts: Sequence[Found], likely: Sequence[Likely]) -> str:
    known = [one.alignment.name for one in likely]
    more = [one["said"] for one in fronts if one["choice"] not in known]
    return f" (the variants draw {listed(more)}, too, which your sheet leaves out)" if more else ""


def _a_game(game: Found) -> str:
    p, found = game["p_worse"], game["p_worse_interval"]
    luck = ""
    if found["low"] is not None:
        luck = f" ({span(*(f'{100 * found[end]:.0f}' for end in ('low', 'high')))})"
    return (
        f"without traps man-to-man concedes more than the zone in {percent(p)} of games{luck}, the other end "
        "counted: one result proves nothing"
    )


def _played(found: Found) -> str:
    plays = ", ".join(plain(title) for title in found["plays_against_men"].values()) or "no plays"
    whose = "shipped plays, as the sheet names none against men" if found["plays_added"] else "their plays"
    options = ", ".join(f"{spoken(k)} {spoken(v)}" for k, v in found["men"]["defence"]["options"].items())
    return (
        f"the same ten, the same fit to the sheet and the same luck in "
        f"{count(found['possessions'], 'possession')}. Against men they run {whose} against men: {plays}. "
        f"{sentence(plain(found['men']['defence']['title']))}: by size, {options}"
    )
