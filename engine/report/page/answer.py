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
from engine.report.formations_view import call_words, prefix
from engine.report.page.plan import handlers_of, seldom_words
from engine.report.page.stand_ins import court_of, stand_in_words
from engine.report.rounding import whole_percent
from engine.report.screen.compare import in_100
from engine.report.screen.plan import often_words, traps_words
from engine.report.screen.stress import ahead_words, share_told, worlds_in_100
from engine.report.sheet_view import THREES, sheet_advice
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
    numbers_words,
    percent,
    saved,
    scaled,
    sentence,
    span,
    times,
)
from engine.study.evening_advice import LEAST_SHARE, held_in, of_call
from engine.study.evening_result import EveningReport

#: Words of the answer at most.
MOST_WORDS = 12
MODEL = (
    "Ranges are the luck of the draw (95%). The model itself can be off by tenths of a point a call: nobody "
    "has published what traps bring."
)
CAUTIONS = (
    "Feet and high hands; no reaching, no wrapping. Never run under a shooter.",
    "Look at walls, benches and tables behind the corners first.",
)
#: What varies in the variants of a kind.
VARIED = {"numbers": "with other numbers", "structure": "with other numbers, formation, plays and habits"}
#: Where trap advice is given.
TRAP_CAUTIONS = (
    "Traps are sprints: rest the men who double.",
    "Far ahead there is no trap ({lead} points or more).",
)


def model_words(report: EveningReport) -> str:
    """What the figures cannot say: of open threes in general, unless the coach's own sheet counts threes:
    where the model differs from it ``sheet_told`` says so beside the headline."""
    about, _ = sheet_advice(report.sheet)
    followed = any(row["key"] == "threes" and not row["outside"] for row in report.sheet.get("rows", ()))
    fault = () if followed or about in THREES else (MODELS_FAULT,)
    return " ".join((MODEL, *fault))


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


def whom_words(report: EveningReport, call: Call) -> str:
    """On whom a call is made: the coach's own list, else to whom it comes and against whom it pays."""
    if call.only_against:
        return f"only No. {numbers_words(call.only_against)}"
    comes, pays = handlers_of(report, call)
    if not comes:
        return "whoever has it there"
    said = f"whoever has it there: mostly No. {numbers_words(comes[:2])}"
    return f"{said}; pays clearly against No. {numbers_words(pays)}" if pays else said


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


def variants_words(report: EveningReport, setting: int, call: int) -> str:
    """In how many variants of the model a call pays, and how many of which kind that is of; of too few for a
    share, in how many it was ahead, which their luck pulls towards half."""
    found = stress_of(report, setting, call)
    if found is None or report.stress is None:
        return "not tried (trapledger stress does)"
    share = found["share"]
    if share["mean"] is None:
        return f"comes up in {count(found['worlds'], 'variant')} only: too few to say"
    if not share_told(found, report.stress["worlds"]["least_kept"]):
        luck = f"{report.stress['possessions']:,} possessions each, so luck pulls it towards half"
        return f"{ahead_words(found)} {VARIED[found['kind']]} ({luck})"
    low, high = 100 * share["low"], 100 * share["high"]
    of = f"{count(found['worlds'], 'variant')} {VARIED[found['kind']]}"
    return f"pays in {worlds_in_100(share['mean'])} ({of}; {span(f'{low:.0f}', f'{high:.0f}')})"


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
    return f"{words}; then, of 100, {shots}, {again} with the defence set"


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
            ("On whom", whom_words(report, call)),
            ("How often", often_words(report.plan, row)),
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


def headline(report: EveningReport) -> str:
    """The answer, in MOST_WORDS words."""
    care = report.evening.care
    if not care.trap_advice_allowed:
        if care.fill_first:
            return f"{care.fill_first}."
        why = "your league forbids traps" if care.trap_allowed is False else "ask your league first"
        return f"Trap advice is withheld: {why}."
    if not report.scenario.settings:
        return "There is no trap call here to weigh."
    result = report.formations
    held = held_in(result, report.advised)
    if not report.advised:
        return _home_headline(report, len(held), len(result["formations"]))
    rows = [plan_row(report, s, c) for s, c in report.advised]
    each = [(spoken(row["call"]), row["uses_per_game"]) for row in rows if row is not None]
    if len(each) == 1:
        name, most = each[0]
        often = f"{name} up to {times(most)}"
        said = [f"call {often} a game, else stay home", f"call {often} a game", f"{often} a game", often]
    else:
        often = ", ".join(f"{name} {most}" for name, most in each)
        said = [f"call {often} times a game at most", f"call {often} a game", f"{often} a game", often]
    before = prefix(held, result)
    after = "" if before or len(result["formations"]) < 2 else ", clear in no formation"
    lines = [f"{sentence(before + words + after)}." for words in said]
    return next((line for line in lines if len(line.split()) <= MOST_WORDS), lines[-1])


def _home_headline(report: EveningReport, held: int, n: int) -> str:
    """Why to stay home, and in how many formations no trap clearly saves."""
    if report.planned:
        over = [of_call(report.formations, *one)["value"]["mean"] for one in report.planned]
        if all((mean or 0.0) <= 0.0 for mean in over):
            return "Stay home: no trap saves points over their likely formations."
        return "Stay home: no trap surely saves when the model's numbers vary."
    if n < 2 or not held:
        return "Stay home: no trap clearly saves points."
    either = "either formation" if n == 2 else f"any of {n} formations"
    where = either if held == n else f"{held} of {n} formations"
    return f"Stay home: no trap clearly saves points in {where}."


def figure(report: EveningReport) -> Found | None:
    """The one figure: points saved a game by each advised call, as bars against zero, and one game's spread.

    None where no call is advised. Lengths are percent of the width of the drawing.
    """
    rows = [row for row in (plan_row(report, s, c) for s, c in report.advised) if row is not None]
    if not rows:
        return None
    swing = report.plan["swing"]
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
    planned = ""
    if len(report.plan["mix"]) != len(rows):
        mix = sorted(report.plan["mix"], key=lambda row: -row["saves_per_game"]["mean"])
        every = ", ".join(f"{spoken(row['call'])} {row['uses_per_game']}" for row in mix)
        planned = f" with the whole plan ({every}: {traps_words(report.plan)})"
    return {
        "bars": bars,
        "zero": at(0.0),
        "game": {"from": at(swing["p5"]), "to": at(swing["p95"])},
        "game_words": f"one game{planned}, {ends[0]} to {ends[1]}.",
    }


def not_advised(report: EveningReport) -> list[str]:
    """Why calls of the plan are not advised, one sentence each."""
    said = []
    shown = [row for row in (plan_row(report, *one) for one in report.advised or report.planned) if row]
    least = min(shown, key=lambda row: row["saves_per_game"]["mean"], default=None)
    names = [setting.name for setting in report.scenario.settings]
    for row in sorted(report.plan["mix"], key=lambda row: -row["saves_per_game"]["mean"]):
        s = names.index(row["setting"])
        spot = s, [call.name for call in report.scenario.settings[s].calls].index(row["call"])
        if spot in report.advised:
            continue
        name, found = spoken(row["call"]), stress_of(report, *spot)
        share = None if found is None else found["share"]["mean"]
        if row["saves_per_game"]["mean"] <= 0.0:
            said.append(f"Planned, not advised: {name}; over whole games it saves nothing.")
        elif found is not None and share is None:
            said.append(
                f"Not advised: {name}, of which the variants do not tell: {variants_words(report, *spot)}."
            )
        elif share is not None and share < LEAST_SHARE:
            said.append(
                f"Not advised: {name}, which pays in too few variants: {variants_words(report, *spot)}."
            )
        elif spot in report.planned and (of_call(report.formations, *spot)["value"]["mean"] or 0.0) <= 0.0:
            said.append(
                f"Not advised: {name}, {call_words(report.formations, of_call(report.formations, *spot))}."
            )
        elif least is not None:
            said.append(f"Planned, not advised: {name}; {_fewer(row, least)}.")
    return said


def _fewer(row: Found, least: Found) -> str:
    """What a call saves a game, and by how much that is less than the least of those shown."""
    mine, other = row["saves_per_game"], least["saves_per_game"]
    lack = f"{round(other['mean'], 1) - round(mine['mean'], 1):.1f}"  # of what is printed
    luck = ", which may be luck" if mine["high"] is None or mine["high"] >= (other["low"] or 0.0) else ""
    fewer = "about as many as" if lack == "0.0" else f"{lack} fewer than"
    return f"{saved(mine, 1, 'points a game')}, {fewer} {spoken(least['call'])}{luck}"


def advised_words(report: EveningReport) -> list[str]:
    """The answer, and how often each advised call comes up and may be used."""
    rows = [row for row in (plan_row(report, s, c) for s, c in report.advised) if row is not None]
    return [headline(report), *(f"{sentence(spoken(row['call']))}: {row['often']}." for row in rows)]


# --- the ledger -------------------------------------------------------------------------------------------


def ledger_rows(report: EveningReport) -> list[Found]:
    """Every call of every setting."""
    rows = []
    for s, setting in enumerate(report.compare["settings"]):
        for c, found in enumerate(setting["calls"]):
            named = {"setting": setting["name"], "call": spoken(found["call"]), "advised": False}
            if found["called"] < FEW_CALLS or found["value"]["low"] is None:
                calls = count(found["called"], "call")
                rows.append({**named, "few": f"{calls}: too few{seldom_words(report, s, c)}"})
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
