"""What the report says of plan, practice, line-up and opponents, as plain words and rows for its template.

No sentence names a weakest player: where the other side would attack is told by place, as a role task.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, pairwise

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.inputs.calls import Call
from engine.inputs.sheets.opponent import OpponentNote
from engine.report.adapted_view import law_words
from engine.report.advice_view import advised_first, advised_rows
from engine.report.page.court_card import pass_card
from engine.report.screen.lineup import role_task, shaky_words, trap_words
from engine.report.screen.plan import COMES_UP, chance, late_only, late_sides, not_planned
from engine.report.screen.timing import late_words
from engine.report.words import count, known, numbers_words, percent, saved, sentence
from engine.study.evening_advice import called_tonight
from engine.study.evening_result import EveningReport
from engine.study.lineup.advice import GUARD, LEAST_CALLS, LEAVE, LET_SHOOT, told_on
from engine.study.timing.links import merged, pass_name

SIDES = ("left", "right")
#: Minutes of a practice, and of each start from a worst moment; how often in a row it must be in time. A
#: choice: common practice, no source.
PRACTICE_MIN, MOMENT_MIN, IN_A_ROW = 20, 2, 5
#: Fewer words of a drill do not say what is done.
LEAST_WORDS = 8


# --- plan ---------------------------------------------------------------------------------------------------


def plan_view(report: EveningReport) -> Found:
    """Rows of the plan: uses, later uses, bonus, late game, fouls."""
    plan = report.plan
    labels = {(one["setting"], one["call"]): one for one in plan["calls"]}
    advised = advised_rows(report)
    mix = []
    for row in advised_first(plan, advised):
        one = labels[row["setting"], row["call"]]
        bonus = plan["bonus"][one["label"]]
        mix.append(
            {
                "name": spoken(row["call"]),
                "advised": row in advised,
                "up": f"{one['chances_per_game']:.0f}",
                "uses": row["uses_per_game"],
                "worth": saved(row["saves_per_game"], 1, ""),
                "before": saved(bonus["before"], 2, ""),
                "in_bonus": saved(bonus["in_bonus"], 2, ""),
            }
        )
    late = plan["late_game"]
    return {
        "mix": mix,
        "uses": _use_rows(plan, advised),
        "games": count(plan["games"], "whole game"),
        "bonus_share": percent(plan["share_in_bonus"]),
        "late_call": spoken(late[0]["call"]) if late else "",
        "late_seconds": sorted({row["seconds"] for row in late}),
        "late": _late_rows(late),
        "late_words": _late_words(late) + (late_only(late, advised) if late else ""),
        "comes_up": COMES_UP,
        "others": not_planned(plan),
        "pace": " ".join(filter(None, (plan["start"], plan["pace"]))),
        "law": law_words(plan),
    }


def _use_rows(plan: Found, advised: Sequence[Found] = ()) -> list[Found]:
    """A row for each use, a cell for each call of the mix (in the order of its table); planned uses only."""
    calls = advised_first(plan, advised)
    cells: dict[int, list[str]] = {}
    for use in range(1, max((row["uses_per_game"] for row in calls), default=0) + 1):
        found = [
            next(
                (
                    known(one["before"], 2)
                    for one in plan["by_use"]
                    if (one["setting"], one["call"], one["use"]) == (row["setting"], row["call"], use)
                    and one["in_mix"]
                ),
                "",
            )
            for row in calls
        ]
        if any(found):
            cells[use] = found
    alike = plan["alike_from"]
    runs: list[tuple[int, int, list[str]]] = []
    for use, found in cells.items():
        if alike is not None and use > alike and found == runs[-1][2]:
            runs[-1] = (runs[-1][0], use, found)
        else:  # also where a call is planned no more
            runs.append((use, use, found))
    return [
        {"use": str(first) if first == last else f"{first} to {last}", "cells": found}
        for first, last, found in runs
    ]


def _late_rows(late: Sequence[Found]) -> list[Found]:
    rows = []
    for behind in sorted({row["behind"] for row in late}):
        cells = []
        for row in sorted((row for row in late if row["behind"] == behind), key=lambda row: row["seconds"]):
            home, trap = (chance(row[key]) for key in ("p_win_home", "p_win_trap"))
            cells.append(f"home {home}, trap {trap}" if row["clear"] else f"home {home}, trap: cannot tell")
        rows.append({"behind": behind, "cells": cells})
    return rows


def _late_words(late: Sequence[Found]) -> str:
    """The verdict on the late cases, in the page's words."""
    if not late:
        return "No call comes up often enough to say anything of the end of a game."
    better, worse = late_sides(late)
    call = spoken(late[0]["call"])
    if better and not worse:
        most = max(row["difference"]["mean"] for row in better)
        most_of_them = 2 * len(better) > len(late)
        rule = "" if most_of_them else "; in the others it cannot be told"
        return (
            f"Behind late, calling {call} at every chance raises the chance to win in {len(better)} of "
            f"{len(late)} cases, by {100 * most:.1f} in 100 at most{rule}."
        )
    if worse and not better:
        rule = ": do not" if 2 * len(worse) > len(late) else "; in the others it cannot be told"
        return (
            f"Behind late, calling {call} at every chance lowers the chance to win in {len(worse)} of "
            f"{len(late)} cases{rule}."
        )
    if not better and not worse:
        return f"Behind late, it cannot be told whether calling {call} helps."
    return f"Behind late, calling {call} helps in {len(better)} cases and hurts in {len(worse)}."


def behind_call(report: EveningReport) -> str:
    """The call that clearly helps who is behind late; "" none does."""
    late = report.plan["late_game"]
    better, worse = late_sides(late)
    return spoken(late[0]["call"]) if len(better) > len(late) / 2 and not worse else ""


# --- timing and lineup --------------------------------------------------------------------------------------


def moments(report: EveningReport) -> list[Found]:
    """The worst pass of each drill, as a court to start from: pass, who is late, by how much."""
    every, found = report.timing["links"], []
    for number, drill in enumerate(report.timing["drills"], 1):
        if (race := drill["bump"]) is None:
            links, of_bump = merged(every), {}
        else:  # not who is first at the shooter, but who takes him over
            links = [link for link in every if link["side"] == race["side"]]
            of_bump = {"defender": race["role"], "late_s": race["late_s"], "gap_m": race["off_m"]}
        link = next((link for link in links if pass_name(link) == drill["worst"]), None)
        if link is None:
            continue
        link |= of_bump
        skip = ", skip" if link["kind"] == "skip" else ""
        when = " at the next pass" if race is not None else ""
        said = (
            f"{number}. {spoken(link['from'])} to No. {link['receiver']}, {spoken(link['to'])}{skip}: "
            f"{spoken(link['defender'])} "
            f"{late_words(link['late_s'])}, {link['gap_m']:.1f} m off{when}."
        )
        found.append({"words": said, "court": pass_card(report.scenario, link, said)})
    return found


def _short(trains: str) -> str:
    """What a drill trains, without its finer points where the first part says enough."""
    first = trains.partition(":")[0]
    return first if len(first.split()) >= LEAST_WORDS else trains.replace(":", ",")


def practice(report: EveningReport) -> Found:
    """Tomorrow's practice by the minute: the drills, then a start from the worst pass of each."""
    mine, worst = drills(report), moments(report)
    minutes = practice_minutes(len(mine), len(worst))
    for one, when in zip((*mine, *worst), minutes, strict=True):
        one["minutes"] = when
    return {"drills": mine, "moments": worst, "minutes": PRACTICE_MIN, "in_a_row": IN_A_ROW}


def drills(report: EveningReport) -> list[Found]:
    """Three drills: what they train, on which passes, and what is to be reached on the worst."""
    return [
        {
            "name": drill["name"],
            "trains": _short(drill["trains"]),
            "links": "; ".join(spoken(link) for link in drill["links"]),
            "late": _late(drill),
        }
        for drill in report.timing["drills"]
    ]


def _late(drill: Found) -> str:
    """How late it is now, who where it is the bump, or that nobody is."""
    if drill["late_s"] is None:
        return "none of them late, keep it"
    who = "" if drill["bump"] is None else f"{spoken(drill['bump']['role'])} "
    return f"{who}now {drill['late_s']:.1f} s late"


def practice_minutes(drills: int, moments: int) -> list[str]:
    """``0-5``, ``5-10``, ...: when each drill, then each start from a worst moment, has its turn: MOMENT_MIN
    minutes for a start, the rest of PRACTICE_MIN shared out evenly, the first drills a minute more."""
    each, more = divmod(PRACTICE_MIN - MOMENT_MIN * moments, max(drills, 1))
    lengths = [*(each + (i < more) for i in range(drills)), *[MOMENT_MIN] * moments]
    ends = list(accumulate(lengths, initial=0))
    return [f"{start}\N{EN DASH}{end}" for start, end in pairwise(ends)]


def lineup_view(report: EveningReport) -> Found:
    """Who plays where, the role task."""
    found = report.lineup
    usual, best = found["usual"]["places"], found["best"]
    if best == usual:
        said = "Your own line-up is selected."
    elif found["keep"]:
        said = "Keep your own: no other is clearly better."
    else:
        said = "The selected line-up differs from yours: try it in practice first."
    show = usual if found["keep"] else best
    return {
        "title": "Yours" if found["keep"] else "Selected",
        "places": [(spoken(place), number) for place, number in show.items()],
        "said": said,
        "task": f"{sentence(role_task(found))}.",
    }


# --- their five ---------------------------------------------------------------------------------------------


def opponents(report: EveningReport) -> list[Found]:
    """Their five as ``lineup`` has them (``told_on``): number, hand, per area what to do about his shot, the
    traps that pay on him, those of them first that are advised tonight, and these alone."""
    notes = {note.number: note for note in report.evening.opponents}
    advised = called_tonight(report.scenario, report.advised)
    rows = []
    for one in report.lineup["opponent"]:
        told, areas, note = told_on(one, advised), one["areas"], notes.get(one["number"])
        where = {
            do: [area for area, word in told["areas"].items() if word == do] for do in (GUARD, LET_SHOOT)
        }
        rows.append(
            {
                "number": one["number"],
                "hand": (note.hand if note is not None else None) or "-",
                "areas": {
                    area: f"{word} {areas[area]['points']:.2f}" for area, word in told["areas"].items()
                },
                "guard": where[GUARD],
                "free": where[LET_SHOOT],
                "leave": one["advice"] == LEAVE,
                "pays": trap_words(told),
                "tonight": trap_words(told, rest=False),
                "shaky": shaky_words(one, told, report.lineup["average_shot"], sheet_word(note)),
            }
        )
    return rows


def sheet_word(note: OpponentNote | None) -> str | None:
    """What the coach himself calls a shooter; None where the word was taken from his makes."""
    return None if note is None or note.shooter_from_makes else note.shooter


def handlers_of(report: EveningReport, call: Call) -> tuple[list[int], list[int]]:
    """Shirts to whom this very call comes often enough to say anything, most calls first, and of all those
    against whom it clearly saves points (as ``lineup`` says it)."""
    mine = [
        one
        for one in report.lineup["calls_by_handler"]
        if one["call"] == call.name and one["called"] >= LEAST_CALLS
    ]
    mine.sort(key=lambda one: -one["called"])
    saves: list[int] = next((o["saves"] for o in report.lineup["whom_by_call"] if o["call"] == call.name), [])
    return [one["number"] for one in mine], saves


def whom_words(report: EveningReport, call: Call, full: bool = False) -> str:
    """On whom a call is made, for card and bench: the coach's own list, else everybody, and against whom of
    them it clearly pays (``trap pays`` of their five), "" where on nobody by himself. ``full``: everybody is
    said, to whom it mostly comes, and that it pays over all of them where on nobody by himself."""
    if call.only_against:
        return f"only No. {numbers_words(call.only_against)}"
    comes, pays = handlers_of(report, call)
    of_them = [f"trap pays: {numbers_words(pays)}"] if pays else ["pays over all"] if full and comes else []
    if full:
        of_them.insert(0, f"anyone, mostly No. {numbers_words(comes[:2])}" if comes else "anyone")
    return "; ".join(of_them)
