"""What the report says, as plain words and rows for its template; numbers come from the studies' JSON alone.

No sentence names a weakest player: where the other side would attack is told by place, as a role task.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from engine.report.lineup_text import OTHER_TASK, TASKS
from engine.report.stress_text import worlds_in_100
from engine.report.timing_text import WAYS, late_words, merged
from engine.report.words import around, count, percent, saved, scaled

if TYPE_CHECKING:
    from engine.study.evening_report import EveningReport

Found = dict[str, Any]

#: A trap that closes less often than this is weighed as something else (as in the text of compare).
RARELY = 0.15
TRIGGER_WORDS = {
    "in_air": "while the pass is in the air",
    "catch": "on the catch",
    "back_turned": "when he turns his back",
    "picked_up": "when he picks up his dribble",
    "dribble_in": "when he dribbles in",
    "held": "when he holds it for {held:g} s",
    "across_half": "as he crosses half court",
}
ADVICE_WORDS = {
    "force": "let him have the ball",
    "trap": "trap him",
    "leave": "leave him, help from him",
    "deny": "deny him the ball",
}
#: Colour words of the sheet with a sign of their own, for those who see no colours and for paper.
SIGNS = {"green": "\N{BLACK UP-POINTING TRIANGLE}", "yellow": "\N{WHITE CIRCLE}", "red": "\N{WHITE DOWN-POINTING TRIANGLE}"}
SAMPLING = (
    "Ranges hold 95 of 100: they show the luck of the draw in the possessions played. They do not show how far "
    "the model is from a gym."
)
MODEL = (
    "The model can be off by hundredths to tenths of a point a call, more than most of these ranges. The "
    "plausible worlds vary its numbers (pass speeds, reactions, shooting), not how its players decide; nobody "
    "has published what traps bring. Paying in 95 of 100 worlds is not 95 % sure to pay in a gym."
)
CAUTIONS = (
    "Feet and high hands. No reaching, no wrapping.",
    "Never run under a shooter. A late close-out is a reason not to make the call, not to sprint harder.",
    "Short gyms: look at walls, benches and tables behind the corners before you trap there.",
    "Traps are sprints: count them, rest the men who double, watch for tired legs.",
    "Far ahead there is no trap ({lead} points or more).",
    "Players are numbers or initials. This file stays where you put it; it sends nothing.",
)


def plain(name: str) -> str:
    """``short_corner`` as it is said."""
    return name.replace("_", " ")


def times(n: int) -> str:
    """``once``, ``twice``, ``5 times``."""
    return {1: "once", 2: "twice"}.get(n, f"{n} times")


def numbers_words(numbers: Sequence[int]) -> str:
    """``5``, ``5 and 12``, ``5, 10 and 12``."""
    texts = [str(number) for number in numbers]
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"


def when_words(call: Any) -> str:
    """When a call is made: where the ball is and what sets it off."""
    where = " or ".join(plain(region) for region in call.ball)
    when = ", or ".join(TRIGGER_WORDS[one].format(held=call.held_s) for one in call.triggers)
    often = "" if call.probability >= 0.995 else f", about {round(10 * call.probability)} times in 10"
    return f"ball in the {where}, {when}{often}"


def whom(report: EveningReport, call: Any) -> tuple[int, ...]:
    """Shirts that a call is meant for; () everyone."""
    return tuple(call.only_against)


def whom_words(report: EveningReport, call: Any) -> str:
    """On whom a call is made, and whom the other studies point to."""
    if call.only_against:
        return f"only No. {numbers_words(call.only_against)}"
    said = "whoever has it there"
    best = [one["number"] for one in report.lineup["opponent"] if one["advice"] == "trap"]
    if best:
        said += f"; saves most against No. {numbers_words(best)}"
    elif report.evening.trap_targets:
        said += f"; weak under pressure on your sheet: No. {numbers_words(report.evening.trap_targets)}"
    breaker = report.lineup["trap_breaker"]
    return said if breaker is None else f"{said}; least against No. {breaker}"


# --- the answer -------------------------------------------------------------------------------------------


def found_call(report: EveningReport, setting: int, call: int) -> Found:
    """What ``compare`` says of a call."""
    found: Found = report.compare["settings"][setting]["calls"][call]
    return found


def plan_row(report: EveningReport, setting: int, call: int) -> Found | None:
    """What the plan says of a call; None where it is not planned."""
    of = report.scenario.settings[setting]
    for row in report.plan["mix"]:
        if (row["setting"], row["call"]) == (of.name, of.calls[call].name):
            found: Found = row
            return found
    return None


def stress_of(report: EveningReport, setting: int, call: int) -> Found | None:
    """What ``stress`` says of a call; None where it was not weighed."""
    if report.stress is None or setting not in report.weighed:
        return None
    found: Found = report.stress["settings"][report.weighed.index(setting)]["calls"][call]
    return found


def worlds_words(report: EveningReport, setting: int, call: int) -> str:
    """In how many plausible worlds a call pays."""
    found = stress_of(report, setting, call)
    if found is None:
        return "not weighed over worlds here (trapledger stress does)"
    kept = report.stress["worlds"]["kept"] if report.stress else 0
    share = found["share"]
    if share["mean"] is None:
        return f"comes up in {count(found['worlds'], 'world')} of {kept} only: too few to say"
    range_words = f"{100 * share['low']:.0f} to {100 * share['high']:.0f}"
    return (
        f"pays in {worlds_in_100(share['mean'])} plausible worlds (luck left: {range_words}; "
        f"{count(kept, 'world')} kept)"
    )


def beaten_words(found: Found) -> str:
    """What a call costs when it is beaten."""
    outcomes, after, even = found["outcomes"], found["after_escape"], found["break_even"]
    beaten = sum(outcomes[name] or 0.0 for name in ("escape_pass", "retreat", "split"))
    words = f"beaten in {percent(beaten)} of calls"
    if after["rim_shot"] is not None:
        rim, three = percent(after["rim_shot"]), percent(after["open_three"])
        words += f"; then a shot at the rim in {rim} of them and an open three in {three}"
    lost, home = even["net_conceded_otherwise"], even["net_conceded_home"]
    if lost is not None and home is not None:
        more = lost - home
        side = "more than" if more >= 0.005 else "less than" if more <= -0.005 else "as much as"
        size = "" if abs(more) < 0.005 else f"{abs(more):.2f} "
        words += (
            f". Without a ball won they score {lost:.2f} points, {size}{side} against the same possessions at home"
        )
    return words + "."


def trap_closed(found: Found) -> str:
    """A warning where the second man seldom gets there; "" else."""
    rate = found["trap_set_rate"]
    if rate is None or rate >= RARELY:
        return ""
    return (
        f"The trap closes around the ball in only {round(100 * rate)} of 100 calls: most of its worth is the "
        "hurried pass, not the trap itself."
    )


def answer_cards(report: EveningReport) -> list[Found]:
    """One card for each call that is advised."""
    cards = []
    for s, c in report.advised:
        call, found, row = report.scenario.settings[s].calls[c], found_call(report, s, c), plan_row(report, s, c)
        assert row is not None
        stop = next(
            one["words"]
            for one in report.plan["bench_rule"]["by_call"]
            if (one["setting"], one["call"]) == (row["setting"], row["call"])
        )
        cards.append(
            {
                "name": plain(call.name),
                "signal": report.evening.signals.get(call.name),
                "times": times(row["uses_per_game"]),
                "rows": [
                    ("When", when_words(call)),
                    ("On whom", whom_words(report, call)),
                    ("How often", f"at most {times(row['uses_per_game'])} a game"),
                    ("Worth", f"{saved(row['saves_per_game'], 1, 'points a game')}; one call "
                              f"{saved(found['value'], 2, 'points')}"),
                    ("Wins the ball", found["break_even"]["words"]),
                    ("When beaten", beaten_words(found)),
                    ("Worlds", worlds_words(report, s, c)),
                    ("Stop rule", stop),
                ],
                "caution": trap_closed(found),
            }
        )  # fmt: skip
    return cards


def headline(report: EveningReport) -> str:
    """The answer in one sentence."""
    if not report.evening.care.trap_advice_allowed:
        return "No trap advice is given here. The rest of the evening is below."
    if not report.scenario.settings:
        return "There is no trap call in this scenario, so there is none to advise."
    if not report.advised:
        return "Stay home: no trap here clearly saves points over a game."
    parts = []
    for s, c in report.advised:
        row = plan_row(report, s, c)
        assert row is not None
        parts.append(f"{plain(row['call'])} at most {times(row['uses_per_game'])}")
    others = [row for row in report.plan["mix"] if row["spot"] not in {_spot(report, one) for one in report.advised}]
    more = f" The plan below also has room for {' and '.join(plain(row['call']) for row in others)}." if others else ""
    return f"Call {' and '.join(parts)} a game, else stay home.{more}"


def _spot(report: EveningReport, one: tuple[int, int]) -> str:
    spot: str = report.scenario.settings[one[0]].calls[one[1]].spot
    return spot


def swing_words(report: EveningReport) -> str:
    """What the whole plan brings and how far one game can be from it; "" without a plan."""
    if not report.plan["mix"]:
        return ""
    swing = report.plan["swing"]
    low, high = (f"{abs(n)} {'saved' if n >= 0 else 'lost'}" for n in (swing["p5"], swing["p95"]))
    return (
        f"The whole plan {saved(swing, 1, 'points a game')}. One game can show anything from {low} to {high}: a "
        "single result proves nothing."
    )


# --- the ledger -------------------------------------------------------------------------------------------


def ledger_rows(report: EveningReport) -> list[Found]:
    """Every call of every setting."""
    rows = []
    for s, setting in enumerate(report.compare["settings"]):
        for c, found in enumerate(setting["calls"]):
            if found["called"] < 30:
                rows.append({"setting": setting["name"], "call": plain(found["call"]), "few": found["called"]})
                continue
            out = found["outcomes"]
            won = (out["steal"] or 0.0) + (out["other_turnover"] or 0.0)
            stressed = stress_of(report, s, c)
            share = None if stressed is None else stressed["share"]["mean"]
            rows.append(
                {
                    "setting": setting["name"],
                    "call": plain(found["call"]),
                    "few": None,
                    "often": f"{found['called_per_100_possessions']:.0f}",
                    "value": saved(found["value"], 2, ""),
                    "won": percent(won),
                    "foul": percent(out["foul"]),
                    "rim": f"{percent(found['conceded']['called']['p_rim_shot'])} against "
                    f"{percent(found['conceded']['home']['p_rim_shot'])}",
                    "worlds": "-" if share is None else worlds_in_100(share),
                    "advised": (s, c) in report.advised,
                }
            )
    return rows


def home_words(report: EveningReport) -> str:
    """What staying home concedes."""
    home = report.compare["baseline"]
    points = around(scaled(home["points_per_possession"], 100), 0)
    return (
        f"Staying home ({home['base_defence']['title']}) concedes {points} points per 100 possessions, "
        f"{count(report.compare['possessions'], 'possession')} played."
    )


# --- plan ---------------------------------------------------------------------------------------------------


def plan_view(report: EveningReport) -> Found:
    """Rows of the plan: uses, later uses, bonus, late game, fouls."""
    plan = report.plan
    labels = {(one["setting"], one["call"]): one for one in plan["calls"]}
    mix = []
    for row in sorted(plan["mix"], key=lambda row: -row["saves_per_game"]["mean"]):
        one = labels[row["setting"], row["call"]]
        uses = [
            f"{use['value']['mean']:.2f}"
            for use in plan["by_use"]
            if (use["setting"], use["call"]) == (row["setting"], row["call"])
            and use["value"]["mean"] is not None
            and use["use"] in (1, 3, 5, row["uses_per_game"])
            and use["in_mix"]
        ]
        bonus = plan["bonus"][one["label"]]
        mix.append(
            {
                "name": plain(row["call"]),
                "up": f"{one['chances_per_game']:.0f}",
                "uses": row["uses_per_game"],
                "worth": saved(row["saves_per_game"], 1, ""),
                "first_last": uses,
                "before": saved(bonus["before"], 2, ""),
                "in_bonus": saved(bonus["in_bonus"], 2, ""),
            }
        )
    late = plan["late_game"]
    clear = [row for row in late if row["clear"]]
    return {
        "mix": mix,
        "games": count(plan["games"], "whole game"),
        "bonus_share": percent(plan["share_in_bonus"]),
        "late_call": plain(late[0]["call"]) if late else "",
        "late_seconds": sorted({row["seconds"] for row in late}),
        "late": _late_rows(late),
        "late_words": _late_words(late, clear),
        "too_few": plan["bench_rule"]["too_few_below"],
        "fouls": foul_words(report),
        "unclear": [plain(name) for name in plan["not_clear"]],
    }


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
    call = plain(late[0]["call"])
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
    return plain(late[0]["call"]) if len(better) > len(late) / 2 and not worse else ""


def foul_words(report: EveningReport) -> str:
    """Who should not trap because of fouls."""
    limit = int(report.plan["constants"]["foul_limit"])
    named = report.plan["foul_trouble"]
    who = f"No. {numbers_words(named)} does not double (fouls easily, or likely to reach {limit}); nor" if named else "On the night"
    end = "anyone" if named else "whoever"
    return f"{who} {end} with {limit - 2} fouls{'' if named else ' does not double'}."


# --- timing and lineup --------------------------------------------------------------------------------------


def worst_links(report: EveningReport, most: int) -> list[Found]:
    """The worst passes, both sides as one, those on which nobody is late left out."""
    return [link for link in merged(report.timing["links"]) if link["late_s"] > 0.0][:most]


def link_rows(links: Sequence[Found]) -> list[Found]:
    """Rows of the table of late passes."""
    return [
        {
            "number": i,
            "way": f"{plain(link['from'])} to {plain(link['to'])}{', skip' if link['kind'] == 'skip' else ''}",
            "who": plain(link["defender"]),
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
    words = f"mostly out {WAYS[one['usual_way_out']]}: ball to the {plain(one['ball'])}, rim to the {plain(one['rim'])}"
    if one["shell_s"] is not None:
        words += f"; the shell stands after {one['shell_s']:.1f} s (in {one['stood']} of {one['traced']} traced)"
    return words


def drills(report: EveningReport) -> list[Found]:
    """Three drills."""
    return [
        {
            "name": drill["name"],
            "trains": drill["trains"],
            "links": ", ".join(plain(link) for link in drill["links"]),
            "roles": ", ".join(plain(role) for role in drill["roles"]),
        }
        for drill in report.timing["drills"]
    ]


def lineup_view(report: EveningReport) -> Found:
    """Who plays where, the role task, their five."""
    found = report.lineup
    usual, best = found["usual"]["places"], found["best"]
    if best == usual:
        said = "Your own line-up is the one selected."
    elif found["usual_is_left"]:
        said = "Your own line-up cannot be told from the best: keep it."
    elif found["decided"]:
        said = "The line-up selected differs from your own; try it in practice before the game."
    else:
        said = (
            "Others did better than your own line-up in the possessions played, but which is best is not decided "
            "(trapledger lineup plays longer). What your players have learned weighs more than such a lead."
        )
    show = best if found["decided"] else usual
    worst = found["attack_at"][0]
    clear = worst["cost"]["low"] is not None and worst["cost"]["low"] > 0.0
    kind = worst["place"].rpartition("_")[2]
    task = (
        f"When their No. {found['best_scorer']['number']} stands there, help the {plain(worst['place'])}: "
        f"{TASKS.get(kind, OTHER_TASK)}."
        if clear
        else "No area costs clearly more than another when their best scorer stands there."
    )
    return {
        "title": "Selected" if found["decided"] else "Yours",
        "places": [(plain(place), number) for place, number in show.items()],
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
                "advice": ADVICE_WORDS[one["advice"]],
                "short": {"force": "leave", "deny": "guard"}.get(one["advice"], one["advice"]),
                "why": one["why"],
            }
        )
    return rows
