"""What the report's answer and ledger say, as plain words and rows for its template.

Numbers come from the studies' JSON alone. engine.report.page.plan has plan, practice and line-up.
"""

from __future__ import annotations

from collections.abc import Sequence

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.inputs.calls import Call
from engine.report.screen.compare import in_100
from engine.report.screen.stress import worlds_in_100
from engine.report.words import (
    PREPOSITIONS,
    RARELY,
    TRIGGER_WORDS,
    around,
    count,
    percent,
    saved,
    scaled,
    times,
)
from engine.study.evening_report import EveningReport

SAMPLING = (
    "Ranges (95%) show the luck of the draw in the possessions played. They do not show how far the model is "
    "from a gym."
)
MODEL = (
    "The model can be off by hundredths to tenths of a point a call, more than most of these ranges. The "
    "plausible worlds vary its numbers (pass speeds, reactions, shooting), not how its players decide; "
    "nobody has published what traps bring. Paying in 95 of 100 worlds is not 95% sure to pay in a gym."
)
CAUTIONS = (
    "Feet and high hands. No reaching, no wrapping.",
    "Never run under a shooter. A late close-out is a reason not to make the call, not to sprint harder.",
    "Short gyms: look at walls, benches and tables behind the corners first.",
    "Players are numbers or initials. This file stays where you put it; it sends nothing.",
)

#: Where trap advice is given.
TRAP_CAUTIONS = (
    "Traps are sprints: count them, rest the men who double, watch for tired legs.",
    "Far ahead there is no trap ({lead} points or more).",
)


def cautions(report: EveningReport) -> list[str]:
    """What everyone who takes the page along must read; the sheets' own lines where there is trap advice."""
    care = report.evening.care
    own = care.lines() if care.trap_advice_allowed else ()
    traps = TRAP_CAUTIONS if care.trap_advice_allowed else ()
    said = [line.format(lead=care.lead_stop) for line in (*CAUTIONS, *traps)]
    if any(line.startswith("Far ahead") for line in own):
        said = [line for line in said if not line.startswith("Far ahead")]
    return [*said, *own]


def numbers_words(numbers: Sequence[int]) -> str:
    """``5``, ``5 and 12``, ``5, 10 and 12``."""
    texts = [str(number) for number in numbers]
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"


def when_words(call: Call) -> str:
    """When a call is made: where the ball is and what sets it off."""
    where = " or ".join(f"{PREPOSITIONS.get(region, 'in the')} {spoken(region)}" for region in call.ball)
    when = ", or ".join(TRIGGER_WORDS[one].format(held=call.held_s) for one in call.triggers)
    often = "" if call.probability >= 0.995 else f", about {round(10 * call.probability)} times in 10"
    return f"ball {where}, {when}{often}"


def whom_words(report: EveningReport, call: Call) -> str:
    """On whom a call is made, and whom the other studies point to."""
    if call.only_against:
        return f"only No. {numbers_words(call.only_against)}"
    said = "whoever has it there"
    best: list[int] = next((o["saves"] for o in report.lineup["whom_by_call"] if o["call"] == call.name), [])
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
            f". Where it does not win the ball they score {lost:.2f} points, {size}{side} in the same "
            "possessions at home"
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
        call, found, row = (
            report.scenario.settings[s].calls[c],
            found_call(report, s, c),
            plan_row(report, s, c),
        )
        assert row is not None
        stop = next(
            one["words"]
            for one in report.plan["bench_rule"]["by_call"]
            if (one["setting"], one["call"]) == (row["setting"], row["call"])
        )
        cards.append(
            {
                "name": spoken(call.name),
                "signal": report.evening.signals.get(call.name),
                "times": times(row["uses_per_game"]),
                "rows": [
                    ("When", when_words(call)),
                    ("On whom", whom_words(report, call)),
                    ("How often", f"at most {times(row['uses_per_game'])} a game"),
                    ("Worth", saved(row["saves_per_game"], 1, "points a game")),
                    ("Ball won", found["break_even"]["words"]),
                    ("If beaten", beaten_words(found)),
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
    if not report.advised and report.planned:
        return "Stay home: what a trap saves here does not hold in enough plausible worlds."
    if not report.advised:
        return "Stay home: no trap here clearly saves points over a game."
    parts = []
    for s, c in report.advised:
        row = plan_row(report, s, c)
        assert row is not None
        found = stress_of(report, s, c)
        part = f"{spoken(row['call'])} at most {times(row['uses_per_game'])} a game"
        if found is not None:
            part += f" (pays in {worlds_in_100(found['share']['mean'])} plausible worlds)"
        parts.append(part)
    return f"Call {' and '.join(parts)}, else stay home."


def not_advised(report: EveningReport) -> list[str]:
    """Why calls of the plan are not advised, one sentence each."""
    said = []
    for s, c in report.planned:
        if (s, c) in report.advised:
            continue
        found, name = stress_of(report, s, c), spoken(report.scenario.settings[s].calls[c].name)
        share = None if found is None else found["share"]["mean"]
        if share is None or share >= 0.6:
            said.append(f"Not among the advised, though planned: {name}; one page holds two calls.")
        else:
            said.append(
                f"Not advised: {name}. It saves in the plan, but pays in only {worlds_in_100(share)} "
                "plausible worlds."
            )
    return said


def swing_words(report: EveningReport) -> str:
    """What the whole plan brings and how far one game can be from it; "" without a plan."""
    if not report.plan["mix"]:
        return ""
    swing = report.plan["swing"]
    low, high = (f"{abs(n)} {'saved' if n >= 0 else 'lost'}" for n in (swing["p5"], swing["p95"]))
    return (
        f"The whole plan {saved(swing, 1, 'points a game')}. One game can show anything from {low} to "
        f"{high}: a single result proves nothing."
    )


# --- the ledger -------------------------------------------------------------------------------------------


def ledger_rows(report: EveningReport) -> list[Found]:
    """Every call of every setting."""
    rows = []
    for s, setting in enumerate(report.compare["settings"]):
        for c, found in enumerate(setting["calls"]):
            if found["called"] < 30:
                rows.append(
                    {"setting": setting["name"], "call": spoken(found["call"]), "few": found["called"]}
                )
                continue
            out = found["outcomes"]
            won = (out["steal"] or 0.0) + (out["other_turnover"] or 0.0)
            stressed = stress_of(report, s, c)
            share = None if stressed is None else stressed["share"]["mean"]
            rows.append(
                {
                    "setting": setting["name"],
                    "call": spoken(found["call"]),
                    "few": None,
                    "often": in_100(100 * found["calls"] / report.compare["possessions"]),
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
