"""The text of ``timing``: late passes, the bump, the way out of a beaten trap, three drills. From the JSON.

Roles are named here, never players: shirts stand in the JSON and in the detail.
"""

from __future__ import annotations

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.words import (
    CARE,
    GLOSSARY,
    WAY_WORDS,
    around,
    count,
    finished,
    labelled,
    paragraph,
    percent,
    plain,
    sentence,
    table,
    times,
)
from engine.study.timing.links import is_late, merged, pass_name

#: Links that are shown beside those of the drills; all of them stand in the detail.
MOST_SHOWN = 8
NO_TRAPS = "No word on traps: it is not confirmed that the league allows them (or there is none to time)."
HOW = (
    "Late: seconds after the receiver can decide until the first defender is near enough to bother a shot; "
    "open: how far off he is when the shot leaves the hands. From a still picture: everybody at his place, "
    "nobody guessing, straight runs at your players' speeds. In play people are often not yet at their "
    "places and come later. Gives: points given away per 100 passes, against the same shots guarded on time."
)
#: Words of the table that not every coach has.
WORDS = ("slot", "skip", "bump")


def timing_text(result: Found, with_detail: bool = False) -> str:
    """The text of ``timing`` from its JSON result; ``with_detail`` appends everything."""
    who = f"{plain(result['defence'])} in the {plain(result['base_defence']['title'])}"
    lines = [
        paragraph(result["title"]),
        paragraph(f"{who} against {plain(result['offence'])}, {plain(result['alignment'])}."),
        "",
        *_answer(result),
        "",
        "The practice plan",
    ]
    for number, drill in enumerate(result["drills"], 1):
        links = "; ".join(spoken(link) for link in drill["links"])
        worst, race = drill["worst"], drill["bump"]
        start = f". Start from its worst: {spoken(worst)}" if worst else ". None of them is late"
        start += f", the {spoken(race['role'])} {late_words(race['late_s'])}" if race else ""
        lines.append(labelled(f"{number}.", f"{drill['name']} ({links}): {drill['trains']}{start}"))
    lines += ["", *_links(result), "", *_bump(result), "", *_traps(result), "", paragraph(HOW)]
    lines.append(paragraph(f"{sentence('; '.join(f'{word}: {GLOSSARY[word]}' for word in WORDS))}."))
    lines.append(paragraph(CARE))
    return finished(result, lines, with_detail)


def late_words(late_s: float) -> str:
    """``0.4 s late``, ``0.2 s early`` or ``just on time``."""
    if abs(late_s) < 0.05:
        return "just on time"
    return f"{abs(late_s):.1f} s {'late' if late_s > 0.0 else 'early'}"


def _answer(result: Found) -> list[str]:
    if not result["links"]:
        return [labelled("Worst pass", "none: no pass is long enough to be timed")]
    worst = merged(result["links"])[0]
    late = list(filter(is_late, merged(result["links"])))
    words = (
        f"{spoken(worst['from'])} to {spoken(worst['to'])}: the {spoken(worst['defender'])} is "
        f"{late_words(worst['late_s'])}, the shooter {worst['gap_m']:.1f} m open, a shot worth "
        f"{worst['shot_points']:.2f} points"
    )
    return [
        labelled("Worst pass", words),
        labelled("Late at all", f"{len(late)} of {count(len(merged(result['links'])), 'pass', 'passes')}"),
        *_calls(result),
    ]


def _calls(result: Found) -> list[str]:
    """Which call is late: when its second man is there, the latest first; [] where none was watched."""
    seen = [one for one in result["after_trap"] if one["watched"]]
    known = sorted((one for one in seen if one["closed_s"]["low"] is not None),
                   key=lambda one: -one["closed_s"]["mean"])  # fmt: skip
    if not seen:
        return []
    said = [
        f"{spoken(one['call'])} {around(one['closed_s'], 1)}, closed in {one['closed']} of {one['watched']}"
        for one in known
    ]
    said += [
        f"{spoken(one['call'])} closed in {one['closed']} of {one['watched']}: too few to say"
        for one in seen
        if one not in known
    ]
    apart = len(known) > 1 and known[0]["closed_s"]["low"] > known[1]["closed_s"]["high"]
    latest = f"{spoken(known[0]['call'])} is the latest" if apart else "no telling which is the latest"
    return [
        labelled(
            "Late calls",
            f"{latest}. Seconds he has the ball before the second man is there: {'; '.join(said)}",
        )
    ]


def _links(result: Found) -> list[str]:
    rows = [("Pass", "first there", "late", "open", "shot", "thrown", "gives", "drill")]
    drill_of = {link: str(n) for n, drill in enumerate(result["drills"], 1) for link in drill["links"]}
    for place, link in enumerate(merged(result["links"])):
        name = pass_name(link)
        if place >= MOST_SHOWN and name not in drill_of:
            continue
        rows.append(
            (
                spoken(name),
                spoken(link["defender"]),
                late_words(link["late_s"]),
                f"{link['gap_m']:.1f} m",
                f"{link['shot_points']:.2f}",
                percent(link["p_thrown"]),
                f"{link['cost']:.1f}",
                drill_of.get(name, "-"),
            )
        )
    counted = f"thrown: of {count(result['passes_traced'], 'pass', 'passes')} in traced possessions"
    said = f"Shot in points; {counted}; drill: which of the practice plan rehearses it."
    for number, drill in enumerate(result["drills"], 1):
        if drill["bump"] is not None:
            said += f" Drill {number} is for the bump: late there is who takes the wing over."
    return [*table(rows, indent=""), paragraph(said)]


def bump_words(bump: Found) -> str:
    """Whether the guard has taken the wing before the ball can go on, by the tightest race."""
    if not bump["races"]:
        return "this defence has no bump"
    worst = max(bump["races"], key=lambda race: race["late_s"])
    way, who = f"on the pass from the {spoken(worst['from'])} to the wing", spoken(worst["role"])
    late_s = worst["late_s"]
    if bump["holds"]:
        return f"in time: {way} the {who} is there {max(-late_s, 0.0):.1f} s before the ball can go on"
    return (
        f"too late {way}: the {who} by {late_s:.1f} s, {worst['off_m']:.1f} m off when the ball can go "
        "on to the corner"
    )


def _bump(result: Found) -> list[str]:
    bump = result["bump"]
    lines = [labelled("The bump", bump_words(bump))]
    played = bump["played"]
    if bump["holds"] is not None and played["missed_gap_m"] is not None:
        lines.append(
            labelled(
                "In play",
                f"missed {times(round(played['missed_per_100']))} in 100 possessions, the next man then "
                f"{played['missed_gap_m']:.1f} m open at the catch",
            )
        )
    return lines


def _traps(result: Found) -> list[str]:
    if not result["after_trap"]:
        return [paragraph(NO_TRAPS)]
    lines = ["Out of a beaten trap"]
    for one in result["after_trap"]:
        lines.append(labelled(spoken(one["call"]), _out_of(one, result["possessions"])))
    lines.append(
        paragraph(
            "Who: from the still picture, who can be there first. Seconds: from beaten traps that were "
            "watched in play; at best: everybody runs to his place at once. (compare and report count "
            "all beaten traps: set again or play stopped.)"
        )
    )
    return lines


def _out_of(one: Found, possessions: int) -> str:
    if not one["beaten"]:
        made = f"made {times(one['called'])}, never beaten" if one["called"] else "never made"
        return f"{made} in {count(possessions, 'possession')}: nothing to tell"
    parts = []
    if one["ball"] is not None:
        way = WAY_WORDS[one["usual_way_out"]]
        parts.append(
            f"out of it mostly {way}: ball to the {spoken(one['ball'])}, basket to the {spoken(one['rim'])}"
        )
    if one["shell_s"] is not None:
        parts.append(
            f"all five back at their places after {one['shell_s']:.1f} s in {one['stood']} of "
            f"{one['traced']} watched; in the others a shot, a turnover, a whistle or the "
            "next trap came first"
        )
    elif one["traced"]:
        parts.append(f"never all back at their places before the shot in {one['traced']}")
    if one["shell_still_s"] is not None:
        parts.append(f"at best {one['shell_still_s']:.1f} s")
    return "; ".join(parts)
