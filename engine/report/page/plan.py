"""What the report says of plan, practice, line-up and opponents, as plain words and rows for its template.

No sentence names a weakest player: where the other side would attack is told by place, as a role task.
"""

from __future__ import annotations

from collections.abc import Sequence

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.inputs.defence import persons_of
from engine.inputs.roles import holder
from engine.report.page.answer import numbers_words
from engine.report.screen.lineup import OTHER_TASK, TASKS
from engine.report.screen.timing import late_words, merged
from engine.report.words import ADVICE_TO_A_MAN, WAY_WORDS, around, count, percent, saved
from engine.study.evening_report import EveningReport
from engine.world.pack import defenders_of

#: Words for shooters on the sheet with a sign of their own, for those who see no colours and for paper.
SIGNS = {
    "sure": "\N{BLACK UP-POINTING TRIANGLE}",
    "ordinary": "\N{WHITE CIRCLE}",
    "shaky": "\N{WHITE DOWN-POINTING TRIANGLE}",
}


# --- plan ---------------------------------------------------------------------------------------------------


def plan_view(report: EveningReport) -> Found:
    """Rows of the plan: uses, later uses, bonus, late game, fouls."""
    plan = report.plan
    labels = {(one["setting"], one["call"]): one for one in plan["calls"]}
    mix = []
    for row in sorted(plan["mix"], key=lambda row: -row["saves_per_game"]["mean"]):
        one = labels[row["setting"], row["call"]]
        bonus = plan["bonus"][one["label"]]
        mix.append(
            {
                "name": spoken(row["call"]),
                "up": f"{one['chances_per_game']:.0f}",
                "uses": row["uses_per_game"],
                "worth": saved(row["saves_per_game"], 1, ""),
                "before": saved(bonus["before"], 2, ""),
                "in_bonus": saved(bonus["in_bonus"], 2, ""),
            }
        )
    late = plan["late_game"]
    clear = [row for row in late if row["clear"]]
    return {
        "mix": mix,
        "uses": _use_rows(plan),
        "games": count(plan["games"], "whole game"),
        "bonus_share": percent(plan["share_in_bonus"]),
        "late_call": spoken(late[0]["call"]) if late else "",
        "late_seconds": sorted({row["seconds"] for row in late}),
        "late": _late_rows(late),
        "late_words": _late_words(late, clear),
        "too_few": plan["bench_rule"]["too_few_below"],
        "fouls": foul_words(report),
        "unclear": [spoken(name) for name in plan["not_clear"]],
    }


def _use_rows(plan: Found) -> list[Found]:
    """A row for each use, a cell for each call of the mix (in the order of its table); planned uses only."""
    calls = sorted(plan["mix"], key=lambda row: -row["saves_per_game"]["mean"])
    cells: dict[int, list[str]] = {}
    for use in range(1, max((row["uses_per_game"] for row in calls), default=0) + 1):
        found = [
            next(
                (
                    around(one["before"], 2)
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
    return [{"use": use, "cells": found} for use, found in cells.items()]


def _late_rows(late: Sequence[Found]) -> list[Found]:
    rows = []
    for behind in sorted({row["behind"] for row in late}):
        cells = []
        for row in sorted((row for row in late if row["behind"] == behind), key=lambda row: row["seconds"]):
            home, trap = (f"{100 * row[key]:.1f}" for key in ("p_win_home", "p_win_trap"))
            cells.append(f"{home} to {trap}" if row["clear"] else f"{home}, cannot tell")
        rows.append({"behind": behind, "cells": cells})
    return rows


def _late_words(late: Sequence[Found], clear: Sequence[Found]) -> str:
    if not late:
        return "No call comes up often enough to say anything of the end of a game."
    better = [row for row in clear if row["difference"]["mean"] > 0]
    worse = [row for row in clear if row["difference"]["mean"] < 0]
    call = spoken(late[0]["call"])
    if better and not worse:
        most = max(row["difference"]["mean"] for row in better)
        return (
            f"Behind late, calling {call} at every chance raises the chance to win in {len(better)} of "
            f"{len(late)} cases, by {100 * most:.1f} in 100 at most: spread helps who is behind."
        )
    if worse and not better:
        return f"Behind late, calling {call} at every chance lowers the chance to win: do not."
    if not clear:
        return f"Behind late, it cannot be told whether calling {call} helps."
    return f"Behind late, calling {call} helps in {len(better)} cases and hurts in {len(worse)}."


def behind_call(report: EveningReport) -> str:
    """The call that clearly helps who is behind late; "" none does."""
    late = report.plan["late_game"]
    better = [row for row in late if row["clear"] and row["difference"]["mean"] > 0]
    worse = [row for row in late if row["clear"] and row["difference"]["mean"] < 0]
    return spoken(late[0]["call"]) if len(better) > len(late) / 2 and not worse else ""


def doublers(report: EveningReport, setting: int, call: int) -> set[int]:
    """Shirts that double in a call, on either side; those of dynamic doubles are not known before."""
    of = report.scenario.settings[setting]
    zone = of.zone or report.scenario.zone
    shirts = dict(
        zip(persons_of(zone), (player.number for player in defenders_of(report.scenario, zone)), strict=True)
    )
    people = {holder(role, side) for role in of.calls[call].doubles for side in ("left", "right")}
    return {shirts[person] for person in people if person in shirts}


def foul_words(report: EveningReport) -> str:
    """Who should not trap because of fouls."""
    limit = int(report.plan["constants"]["foul_limit"])
    named = report.plan["foul_trouble"]
    words = f"Whoever has {limit - 2} fouls does not double"
    if not named:
        return f"{words}."
    words += (
        f"; No. {numbers_words(named)} (fouls easily, or likely to reach {limit}) not from {limit - 3} on."
    )
    for s, c in report.advised:
        doubling = sorted(set(named) & doublers(report, s, c))
        if doubling:
            name = spoken(report.scenario.settings[s].calls[c].name)
            words += f" In {name} No. {numbers_words(doubling)} is one of the two: have another ready there."
    return words


# --- timing and lineup --------------------------------------------------------------------------------------


def worst_links(report: EveningReport, most: int) -> list[Found]:
    """The worst passes, both sides as one, those on which nobody is late left out."""
    return [link for link in merged(report.timing["links"]) if link["late_s"] > 0.0][:most]


def link_rows(links: Sequence[Found]) -> list[Found]:
    """Rows of the table of late passes."""
    return [
        {
            "number": i,
            "way": f"{spoken(link['from'])} to {spoken(link['to'])}"
            + (", skip" if link["kind"] == "skip" else ""),
            "who": spoken(link["defender"]),
            "late": late_words(link["late_s"]),
            "open": f"{link['gap_m']:.1f} m",
            "worth": f"{link['shot_points']:.2f}",
            "thrown": percent(link["p_thrown"]),
        }
        for i, link in enumerate(links, 1)
    ]


def out_of_trap(report: EveningReport, call: str) -> Found | None:
    """How the defence comes out of a beaten trap."""
    found = next((one for one in report.timing["after_trap"] if one["call"] == call), None)
    return found if found is not None and found["ball"] is not None else None


def out_words(one: Found) -> str:
    """The same in words."""
    who = f"ball to the {spoken(one['ball'])}, rim to the {spoken(one['rim'])}"
    words = f"mostly out {WAY_WORDS[one['usual_way_out']]}: {who}"
    if one["shell_s"] is not None:
        words += (
            f"; the shell stands after {one['shell_s']:.1f} s (in {one['stood']} of {one['traced']} traced)"
        )
    return words


def drills(report: EveningReport) -> list[Found]:
    """Three drills."""
    return [
        {
            "name": drill["name"],
            "trains": drill["trains"],
            "links": ", ".join(spoken(link) for link in drill["links"]),
            "roles": ", ".join(spoken(role) for role in drill["roles"]),
        }
        for drill in report.timing["drills"]
    ]


def lineup_view(report: EveningReport) -> Found:
    """Who plays where, the role task, their five."""
    found = report.lineup
    usual, best = found["usual"]["places"], found["best"]
    if best == usual:
        said = "Your own line-up is the one selected."
    elif found["keep"]:
        said = "Your own line-up cannot be told from the best: keep it."
    else:
        said = "The line-up selected differs from your own; try it in practice before the game."
    show = usual if found["keep"] else best
    worst = found["attack_at"][0]
    clear = worst["cost"]["low"] is not None and worst["cost"]["low"] > 0.0
    kind = worst["place"].rpartition("_")[2]
    scorer, place = found["best_scorer"]["number"], spoken(worst["place"])
    where = f"is left to the {place}" if report.scenario.zone.guards else f"stands in the {place}'s area"
    task = (
        f"When their No. {scorer} {where}, help there: {TASKS.get(kind, OTHER_TASK)}."
        if clear
        else "No area costs clearly more than another when their best scorer stands there."
    )
    return {
        "title": "Yours" if found["keep"] else "Selected",
        "places": [(spoken(place), number) for place, number in show.items()],
        "said": said,
        "guarantee": found["guarantee"],
        "task": task,
        "opponents": opponents(report),
        "breaker": found["trap_breaker"],
        "breaker_by": found["trap_breaker_by"],
    }


def opponents(report: EveningReport) -> list[Found]:
    """Their five: number, hand, shooter, advice, why."""
    notes = {note.number: note for note in report.evening.opponents}
    rows = []
    for one in report.lineup["opponent"]:
        note = notes.get(one["number"])
        colour = None if note is None else note.shooter
        rows.append(
            {
                "number": one["number"],
                "hand": (note.hand if note is not None else None) or "-",
                "shooter": colour or "-",
                "sign": SIGNS.get(colour or "", ""),
                "advice": ADVICE_TO_A_MAN[one["advice"]],
                "short": {"force": "leave", "deny": "guard"}.get(one["advice"], one["advice"]),
                "why": one["why"],
            }
        )
    return rows
