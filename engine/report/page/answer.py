"""What the report's answer and ledger say, as plain words and rows for its template.

Numbers come from the studies' JSON alone. engine.report.page.plan has plan, practice, line-up and opponents.
"""

from __future__ import annotations

from engine.estimate.calls import ESCAPES, lost_of_100
from engine.estimate.intervals import Found
from engine.estimate.rounding import parts_of_hundred
from engine.inputs.base import spoken
from engine.inputs.calls import Call
from engine.report.adapted_view import adapted_words, known_value
from engine.report.advice_view import advised_game, advised_rows, often_words, plan_row, variants_words
from engine.report.formations_view import call_words
from engine.report.page.plan import whom_words
from engine.report.page.stand_ins import court_of, stand_in_words
from engine.report.rounding import whole_percent
from engine.report.screen.compare import in_100
from engine.report.seldom_view import why_seldom
from engine.report.words import (
    AFTER_WORDS,
    FEW_CALLS,
    MODELS_FAULT,
    OUTCOME_WORDS,
    PREPOSITIONS,
    RARELY,
    SHOUTED,
    TRIGGER_WORDS,
    around,
    count,
    percent,
    saved,
    scaled,
)
from engine.study.evening_advice import of_call
from engine.study.evening_result import EveningReport

MODEL = (
    "Ranges (95%): luck alone. The model can be off by tenths of a point a call: nobody has published "
    f"what traps bring. {MODELS_FAULT}"
)
CAUTIONS = (
    "Feet and high hands; no reaching, no wrapping. Never run under a shooter.",
    "Look at walls, benches and tables behind the corners first.",
)
#: Where trap advice is given.
TRAP_CAUTIONS = (
    "Traps are sprints: rest the men who double.",
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


def when_words(call: Call) -> str:
    """When a call is made: where the ball is and what sets it off."""
    where = " or ".join(f"{PREPOSITIONS.get(region, 'in the')} {spoken(region)}" for region in call.ball)
    when = ", or ".join(TRIGGER_WORDS[one].format(held=call.held_s) for one in call.triggers)
    often = "" if call.probability >= 0.995 else f", about {round(10 * call.probability)} times in 10"
    return f"ball {where}, {when}{often}"


def clashes(signals: dict[str, str]) -> list[str]:
    """Signals that players may take for another word: the same twice, or what is shouted anyway."""
    said = []
    words = {name: word.casefold().strip() for name, word in signals.items()}
    for name, word in words.items():
        others = [other for other, same in words.items() if other != name and same == word]
        if others and name < min(others):
            named = ", ".join(spoken(one) for one in (name, *others))
            said.append(f"One signal for several calls ({named}): “{signals[name]}”.")
        elif word in {spoken(other) for other in words if other != name}:
            said.append(f"The signal “{signals[name]}” is the name of another call.")
        elif word in SHOUTED:
            said.append(f"The signal “{signals[name]}” is shouted on the floor anyway: take another word.")
    return said


# --- the answer -------------------------------------------------------------------------------------------


def found_call(report: EveningReport, setting: int, call: int) -> Found:
    """What ``compare`` says of a call."""
    found: Found = report.compare["settings"][setting]["calls"][call]
    return found


def _of_100_calls(found: Found) -> dict[str, int]:
    """What became of a call, of 100, as ``compare`` prints it."""
    return parts_of_hundred(found["outcomes"] | found["other_parts"], OUTCOME_WORDS)


def beaten_words(found: Found) -> str:
    """How often a call is beaten, and what comes then."""
    of_calls, after = _of_100_calls(found), parts_of_hundred(found["after_escape"], AFTER_WORDS)
    words = f"{sum(of_calls.get(name, 0) for name in ESCAPES)} of 100 calls"
    if not after:
        return words
    rim, three, again = (after[name] for name in ("rim_shot", "open_three", "reset"))
    shots = f"{count(rim, 'shot')} at the rim, {count(three, 'open three')}"
    return f"{words}; then, of 100, {shots}, {again} set or stopped"


def trap_closed(found: Found) -> str:
    """A warning where the second man seldom gets there; "" else."""
    rate = found["trap_set_rate"]
    if rate is None or rate >= RARELY:
        return ""
    return f"The trap closes in only {round(100 * rate)} of 100 calls: its worth is mostly the hurried pass."


def answer_cards(report: EveningReport) -> list[Found]:
    """One card for each call that is advised: its court and a few rows."""
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
        rows = [
            ("When", when_words(call)),
            ("On whom", whom_words(report, call, full=True)),
            ("How often", often_words(row)),
            ("Worth", f"{saved(found['value'], 2, 'points a call')}; {found['break_even']['words']}"),
            ("Known", adapted_words(report.adapted, row["setting"], row["call"])),
            ("Beaten", beaten_words(found)),
            ("Formations", call_words(report.formations, of_call(report.formations, s, c))),
            ("Variants", variants_words(report, s, c)),
            ("Stop", stop),
            ("Stand-ins", stand_in_words(report, s, c)),
        ]
        cards.append(
            {
                "name": spoken(call.name),
                "signal": report.evening.signals.get(call.name),
                "most": row["uses_per_game"],
                "rows": [(name, said) for name, said in rows if said],
                "caution": trap_closed(found),
                "court": court_of(report, s, c),
            }
        )
    return cards


def figure(report: EveningReport) -> Found | None:
    """The one figure: points saved a game by each advised call, as bars against zero, and the spread of one
    game with them.

    None where no call is advised. Lengths are percent of the width of the drawing.
    """
    rows = advised_rows(report)
    if not rows:
        return None
    swing = advised_game(report)["swing"]
    low = min(0.0, swing["p5"], *(row["saves_per_game"]["low"] for row in rows))
    high = max(0.0, swing["p95"], *(row["saves_per_game"]["high"] for row in rows))
    room = 0.04 * (high - low) or 1.0

    def at(points: float) -> float:
        return round(100.0 * (points - low + room) / (high - low + 2 * room), 1)

    bars = []
    for row in rows:
        found = row["saves_per_game"]
        bars.append(
            {
                "name": spoken(row["call"]),
                "said": saved(found, 1, "points a game"),
                "from": at(found["low"]), "to": at(found["high"]), "mean": at(found["mean"]),
            }
        )  # fmt: skip
    ends = [
        f"{abs(n)} {'saved' if n > 0 else 'lost'}" if n else "nothing" for n in (swing["p5"], swing["p95"])
    ]
    return {
        "bars": bars,
        "zero": at(0.0),
        "game": {"from": at(swing["p5"]), "to": at(swing["p95"])},
        "game_words": f"one game{' with both' * (len(rows) > 1)}, {ends[0]} to {ends[1]}.",
    }


# --- the ledger -------------------------------------------------------------------------------------------


def ledger_rows(report: EveningReport) -> list[Found]:
    """Every call of every setting."""
    rows, n = [], count(report.compare["possessions"], "possession")
    for s, setting in enumerate(report.compare["settings"]):
        for c, found in enumerate(setting["calls"]):
            named = {"setting": setting["name"], "call": spoken(found["call"]), "advised": False}
            if found["called"] < FEW_CALLS or found["value"]["low"] is None:
                why = why_seldom(report.seldom, setting["name"], found["call"])
                few = f"{count(found['called'], 'call')} in {n}: too few{why}"
                rows.append({**named, "few": few})
                continue
            out = _of_100_calls(found)
            called, home = (found["conceded"][key]["p_rim_shot"] for key in ("called", "home"))
            rows.append(
                {
                    **named,
                    "few": None,
                    "often": in_100(100 * found["calls"] / report.compare["possessions"]),
                    "value": saved(found["value"], 2, "", short=True),
                    "known": known_value(report.adapted, setting["name"], found["call"]),
                    "won": whole_percent(
                        lost_of_100(found["outcomes"] | found["other_parts"]), found["turnover_rate"]
                    ),
                    "foul": whole_percent(out["foul"], found["outcomes"]["foul"]),
                    "rim": f"{percent(called)}, home {percent(home)}",
                    "advised": (s, c) in report.advised,
                }
            )
    return rows


def home_words(report: EveningReport) -> str:
    """What staying home concedes."""
    home = report.compare["baseline"]
    points = around(scaled(home["points_per_possession"], 100), 0)
    return f"Staying home ({home['base_defence']['title']}): {points} points conceded per 100 possessions."
