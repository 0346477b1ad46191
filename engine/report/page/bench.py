"""The bench page: one sheet to take along, as rows for its template. Few words, all of them large.

Numbers of the places follow the scenario's own line-up, with which the calls were played.
"""

from __future__ import annotations

from engine.estimate.calls import lost_of_100, one_in
from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.inputs.roles import holder
from engine.report.advice_view import own_verdicts, plan_row, saves_where
from engine.report.formations_view import names, stay_home
from engine.report.page.court_card import home_card, out_of
from engine.report.page.plan import behind_call, opponents, whom_words
from engine.report.page.stand_ins import court_of, never_words, shirts_in, stand_ins_short
from engine.report.sheet_view import sheet_short
from engine.report.words import SHORT_TRIGGERS, count
from engine.report.zone_or_men_view import zone_or_men_dict
from engine.study.evening_result import EveningReport
from engine.study.plan.bench import cannot_tell, error_words, p_stopped

#: Job of a cover -> the row of the bench page that it stands in.
ROW_OF = {
    "deny": "Deny",
    "front": "Front",
    "lob": "Behind",
    "rim": "Basket",
    "drop": "Basket",
    "block": "Basket",
}
ROWS = ("Trap", "Deny", "Front", "Behind", "Middle", "Basket")
#: Rows that say at which place: who stands there is not known before.
AT_A_PLACE = ("Deny", "Front", "Behind")
SIDES = ("left", "right")
#: Roles of dynamic doubles.
DYNAMIC = {"ball": "his man", "nearest": "next man"}


def role_rows(report: EveningReport, setting: int, call_index: int, out: Found | None) -> list[Found]:
    """Who traps, who covers what and who takes ball and rim when it is beaten, by number, for both sides.

    ``out``: the way out of the beaten trap (engine.study.timing.links), None where it is not known.
    """
    call = report.scenario.settings[setting].calls[call_index]
    numbers = shirts_in(report, setting, call_index)

    def at(role: str, side: str) -> str:
        if role in DYNAMIC:
            return DYNAMIC[role]
        person = holder(role, side)
        return str(numbers[person]) if person in numbers else spoken(role)

    jobs = {role: "Trap" for role in call.doubles}
    entries = dict(call.cover)
    for item in call.option:
        if call.choices.get(item.option) == item.choice and item.role in entries:
            entries[item.role] = item.entry
    jobs |= {role: ROW_OF.get(entry.job, "Middle") for role, entry in entries.items()}
    rows = []
    for name in ROWS:
        mine = [role for role, row in jobs.items() if row == name]
        if mine:
            cells = ["+".join(at(role, side) for role in mine) for side in SIDES]
            spots = {entries[role].place.spot for role in mine if name in AT_A_PLACE}
            spot = spots.pop() if len(spots) == 1 else None
            told = name if spot is None else f"{name}: {spoken(spot)}"
            rows.append({"name": told, "left": cells[0], "right": cells[1], "beaten": False})
    if out is not None:
        for name, role in (("ball", out["ball"]), ("basket", out["rim"])):
            left, right = (at(role, side) for side in SIDES)
            rows.append({"name": f"Beaten: {name}", "left": left, "right": right, "beaten": True})
    return rows


def bench_calls(report: EveningReport) -> list[Found]:
    """The calls of the bench page."""
    found = []
    for s, c in report.advised:
        call, row = report.scenario.settings[s].calls[c], plan_row(report, s, c)
        assert row is not None
        out = out_of(report.timing, call.name)
        played = report.compare["settings"][s]["calls"][c]
        won = lost_of_100(played["outcomes"] | played["other_parts"])
        found.append(
            {
                "name": spoken(call.name),
                "signal": report.evening.signals.get(call.name),
                "when": " / ".join(SHORT_TRIGGERS[one].format(held=call.held_s) for one in call.triggers),
                "whom": whom_words(report, call),
                "often": row["often"],
                "roles": role_rows(report, s, c, out),
                "court": court_of(report, s, c),
                "stand_ins": stand_ins_short(report, s, c),
                "tonight": tonight(report, row),
                "won": "" if not won else one_in(won / 100),
            }
        )
    return found


def bench_view(report: EveningReport) -> Found:
    """Everything of the bench page."""
    care, plan = report.evening.care, report.plan
    in_bonus = [
        spoken(row["call"]) for row in plan["mix"]
        if (plan["bonus"][_label(plan, row)]["in_bonus"]["low"] or 0.0) > 0.0
    ]  # fmt: skip
    tonights: dict[str, list[str]] = {}
    for call in (calls := bench_calls(report)):
        tonights.setdefault(call["tonight"], []).append(call["name"])
    advised = {spoken(report.scenario.settings[s].calls[c].name) for s, c in report.advised}
    return {
        "us": report.scenario.defence_team.name,
        "them": report.scenario.offence_team.name,
        "told": sheet_short(report.sheet),
        "withheld": not care.trap_advice_allowed,
        "reason": "the league forbids traps" if care.trap_allowed is False else "ask your league first",
        "own": own_verdicts(report, reason=False),
        "calls": calls,
        "rules": [{"calls": " and ".join(of), "said": said} for said, of in tonights.items()],
        "places": [] if report.advised else _places(report),
        "home": None if report.advised else home_card(report.scenario),
        "opponents": opponents(report),
        "quarters": int(plan["periods"]),
        "foul_numbers": never_words(report),
        "no_double_from": plan["no_double_from"],
        "bonus_stop": [name for name in sorted(advised) if name not in in_bonus],
        "lead": care.lead_stop,
        "behind": behind if (behind := behind_call(report)) in advised else "",
        "home_in": _home_in(report),
        "zone_or_men": zone_or_men_dict(report.zone_or_men, report)["answer"] if report.zone_or_men else "",
    }


def _home_in(report: EveningReport) -> list[str]:
    """Against which likely formations to stay home, or to leave one of the calls."""
    calls = [spoken(report.scenario.settings[s].calls[c].name) for s, c in report.advised]
    return stay_home(calls, saves_where(report), names(report.formations))


def tonight(report: EveningReport, row: Found) -> str:
    """When to stop, by the plan's rule within as many calls as one game has: by turnovers, where they do not
    tell by crosses; else why there is no number.

    The error rates are those of this one game: stopped though it wins the ball as often as expected (leaves
    as few crosses), not stopped though it only breaks even.
    """
    found = next(
        one
        for one in report.plan["bench_rule"]["by_call"]
        if (one["setting"], one["call"]) == (row["setting"], row["call"])
    )
    rule, crosses, uses = found["rule"], found["crosses"], found["expected"]
    if rule is None or rule["calls"][0] is None:
        if crosses is None:
            return "keep: no number tells"
        said = f"{count(crosses['crosses'], 'cross', 'crosses')} in {crosses['calls']} calls"
        if not crosses["tonight"]:
            return f"keep, {cannot_tell(f'{said} would', crosses['calls'], uses)}"
        return f"stop at {said} ({error_words(crosses['wrongly'], crosses['missed'])})"
    first = rule["calls"][0]
    if first > uses:
        return f"keep, {cannot_tell(f'{first} calls without a ring would', first, uses)}"
    wrongly = p_stopped(rule["expected"], rule["calls"], uses)
    missed = 1.0 - p_stopped(rule["break_even"], rule["calls"], uses)
    return f"stop after {first} without a ring ({error_words(wrongly, missed)}), else keep"


def _label(plan: Found, row: Found) -> str:
    found: str = next(
        one["label"]
        for one in plan["calls"]
        if (one["setting"], one["call"]) == (row["setting"], row["call"])
    )
    return found


def _places(report: EveningReport) -> list[tuple[str, int]]:
    """Who plays where; [] where the places are men, not areas."""
    if report.scenario.zone.guards:
        return []
    return [(spoken(place), number) for place, number in report.lineup["usual"]["places"].items()]
