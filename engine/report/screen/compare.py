"""The first screen: what a coach reads. Built only from the JSON result, so the two cannot disagree."""

from __future__ import annotations

from math import ceil

from engine.estimate.intervals import Found
from engine.estimate.rounding import parts_of_hundred
from engine.inputs.base import spoken
from engine.report.screen.defence import defence_block, defences_of, home_note, is_other, options_named
from engine.report.screen.sheet import sheet_warning
from engine.report.seldom_view import why_seldom
from engine.report.words import (
    AFTER_WORDS,
    BOX_WORDS,
    CARE,
    END_WORDS,
    FEW_CALLS,
    JOIN,
    LABEL,
    LOSS_WORDS,
    MODELS_FAULT,
    OUTCOME_WORDS,
    PREPOSITIONS,
    RARELY,
    WIDTH,
    amount,
    around,
    count,
    finished,
    labelled,
    paragraph,
    percent,
    plain,
    ranged,
    saved,
    scaled,
    table,
    times,
    useful_decimals,
)
from engine.state.words import Against

#: So many times as many possessions are no way to judge a call that hardly comes up.
MOST_WAY = 10
NET_NOTE = (
    "Saved and lost points also count what a turnover brings at the other end. A call is judged by the "
    "possessions in which it came first. A bad night is the worst 1"
    f"{JOIN}in{JOIN}20, against the average without the trap."
)
UNCERTAINTY = (
    "Ranges (95%) show the luck of the draw only. The model can be off by more: hundredths to tenths of a "
    "point a call. Whether a call still pays when the model's numbers vary: trapledger stress."
)


def compare_text(result: Found, with_detail: bool = False) -> str:
    """The text of ``compare`` from its JSON result; ``with_detail`` appends everything."""
    lines = _head(result)
    defences = defences_of(result)
    if len(defences) > 1:
        others = ", ".join(defences[1:])
        lines.append(paragraph(f"{len(defences)} defences: {defences[0]} (home), {others}."))
    lines += ["", *sheet_warning(result), paragraph(home_note(result)), "", *_overview(result)]
    if not result["settings"]:
        lines += ["", paragraph("The scenario has no settings, so there is no call to weigh.")]
    for setting in result["settings"]:
        lines += _setting(setting, result)
    lines += ["", *map(paragraph, (NET_NOTE, UNCERTAINTY, MODELS_FAULT, CARE))]
    return _finish(result, lines, with_detail)


def play_text(result: Found, with_detail: bool = False) -> str:
    """The text of ``play`` from its JSON result; ``with_detail`` appends everything."""
    n, rates = result["possessions"], result["rates"]
    lines = _head(result)
    points = scaled(result["points_per_possession"], 100)
    pace = f"{result['seconds_per_possession']['mean']:.1f} seconds a possession"
    if result["seconds_before_start"]:
        pace += f" after {result['seconds_before_start']:.0f} to bring the ball up"
    pace += f", about {result['possessions_per_game']} possessions a side in a game"
    lines += [
        "",
        labelled("Setting", "staying home" if result["setting"] == "home" else result["setting"]),
        labelled("Defence", options_named(result["base_defence"])),
        labelled(
            "Conceded",
            f"{around(points, useful_decimals(points))} points per 100 possessions",
        ),
        labelled("Pace", pace),
    ]
    for call in result["calls"]:
        made = in_100(call["per_100_possessions"])  # possessions; compare counts calls, and one can have two
        lines.append(labelled("Call", f"{spoken(call['call'])}: in {made} of 100 possessions"))
    lines += ["", "Box score of the offence"]
    rows = [("", "total", "per 100")]
    rows += [
        (BOX_WORDS[name], f"{result['box'][name]:,}", f"{100 * result['box'][name] / n:.1f}")
        for name in BOX_WORDS
    ]
    lines += table(rows)
    lines += ["", "How possessions ended"]
    lines += table([(END_WORDS[name], percent(k / n)) for name, k in result["ends"].items()])
    lines += ["", "Shots by distance"]
    shots = [
        (mix["band"], percent(mix["share"]["mean"]), percent(mix["made"]["mean"]))
        for mix in result["shot_mix"]
    ]
    lines += table([("", "of all shots", "made"), *shots])
    lines += ["", "The four factors of the offence (Kubatko and others 2007)"]
    lines += table(
        [
            (
                "effective shooting (a three counts one and a half)",
                percent(rates["effective_field_goal"]["mean"]),
            ),
            ("possessions lost to a turnover or the clock", percent(rates["turnover"]["mean"])),
            ("own misses rebounded", percent(rates["offensive_rebound"]["mean"])),
            ("free throws per 100 shots", _hundredfold(rates["free_throws_per_field_goal"]["mean"])),
        ]
    )
    if with_detail:
        lines += _play_steps(result) + _ball_worth(result["ball_worth"])
    lines += ["", paragraph(UNCERTAINTY)]
    return _finish(result, lines, with_detail)


def _play_steps(result: Found) -> list[str]:
    """How often each step of a play began, in the possessions that were watched for it."""
    found, plays = result["play_steps"], result["plays"]
    if not found["steps"]:
        return []
    rows = [("Steps of plays", "begun per 100", "of these in full")]
    for name, title in plays.items():
        rows.append((f"  {plain(title)}", "", ""))
        for step in (one for one in found["steps"] if one["play"] == name):
            often, begun = step["per_100_possessions"], step["begun"]
            words = around(often, useful_decimals(often) if often["low"] is not None else 2)
            whole = percent(step["lasted_its_time"] / begun) if begun else "-"
            rows.append((f"    {plain(step['step'])}", words if begun else "never", whole))
    told = (
        f"Counted in the first {count(found['possessions'], 'possession')}. In full: it lasted its time; "
        "else the ball, a trap or another play broke it off."
    )
    return ["", *table(rows, indent=""), paragraph(told)]


def _ball_worth(found: Found) -> list[str]:
    """What the attack believes that going on with the ball brings."""
    against = next(one.meaning for one in Against if one.word == found["against"])
    rows = [(f"{one['left_s']} s on the clock", f"{one['points']:.2f}") for one in found["by_clock"]]
    for one in found["by_place"]:
        where = " or ".join(f"{PREPOSITIONS.get(ball, 'in the')} {spoken(ball)}" for ball in one["ball"])
        rows.append((where, f"{round(one['points'], 2) + 0.0:+.2f}"))  # no "-0.00"
    if found["against"] == Against.MEN.word:
        rows.append(("held for a screen, wherever", f"{found['for_a_screen']:+.2f}"))
    told = (
        f"What going on with the ball is worth to this attack against {against}, points, as its players "
        "believe (they believe what was measured on the model's own possessions). By place: how much more."
    )
    return ["", "What the ball is worth", *table(rows), paragraph(told)]


# --- parts --------------------------------------------------------------------------------------------


def _head(result: Found) -> list[str]:
    who = f"{result['offence']} with the ball, {result['defence']} on defence"
    return [paragraph(result["title"]), paragraph(f"{who}: {count(result['possessions'], 'possession')}.")]


def _finish(result: Found, lines: list[str], with_detail: bool) -> str:
    blocks = [result, result.get("baseline", {}), *result.get("settings", ())]
    cut = sum(block.get("checks", {}).get("overflow", 0) for block in blocks)
    faults = sum(block.get("checks", {}).get("policy_faults", 0) for block in blocks)
    if cut or faults:
        lines += [
            "",
            paragraph(
                f"CAUTION: {count(cut, 'possession was', 'possessions were')} cut at the longest time the "
                f"engine plays, {count(faults, 'place', 'places')} off the court asked for."
            ),
        ]
    apart = sum(block.get("uncalled_differences", 0) for block in blocks)
    if apart:
        told = f"{count(apart, 'possession')} without a trap differed from the same defence without traps"
        lines += ["", paragraph(f"CAUTION: {told}; the values of the traps cannot be trusted.")]
    return finished(result, lines, with_detail)


def _overview(result: Found) -> list[str]:
    """The settings beside staying home, one line each."""
    blocks = [result["baseline"], *result["settings"]]
    conceded = [scaled(block["points_per_possession"], 100) for block in blocks]
    decimals = max(useful_decimals(found) for found in conceded)
    rows = [("Per 100 possessions", "traps", "conceded", "against home")]
    for block, found in zip(blocks, conceded, strict=True):
        at_home = block is result["baseline"]
        change = "" if at_home else saved(scaled(block["change"], -100), 1, "", short=True)
        traps = "none" if not block.get("calls") else in_100(block["calls_per_100_possessions"])
        name = "staying home" if at_home else plain(block["name"])
        rows.append((f"  {name}", traps, around(found, decimals, "-"), change))
    return table(rows, indent="", left=(2, 3))


def _setting(setting: Found, result: Found) -> list[str]:
    home, possessions = result["baseline"], result["possessions"]
    lines = ["", plain(setting["name"]), "-" * min(len(plain(setting["name"])), WIDTH)]
    other = is_other(setting, home)
    if other:
        lines += defence_block(setting, home, possessions)
    if not setting["calls"]:
        return [*lines, labelled("Calls", "none in this setting")]
    if other:
        lines.append("")
    if len(setting["calls"]) > 1:
        change = saved(scaled(setting["change_by_calls"], -100), 1, "points per 100 possessions")
        lines += [labelled("All calls" if other else "Together", change), ""]
    for i, call in enumerate(setting["calls"]):
        lines += ([""] if i else []) + _call(
            call,
            possessions,
            "no trap" if other else "home",
            why_seldom(result.get("seldom", {}), setting["name"], call["call"]),
        )
    return lines


def in_100(value: float) -> str:
    """How often in 100 possessions."""
    return f"{value:.0f}" if value >= 9.5 else amount(value, 1)


def _often(name: str, per_100: float) -> str:
    return f"{spoken(name)}: {in_100(per_100)} times in 100 possessions"


def _list(shares: dict[str, float | None], words: dict[str, tuple[str, str]]) -> str:
    """Shares of a whole as whole numbers of 100 in words."""
    return ", ".join(
        f"{n}{JOIN}{words[name][0] if n == 1 else words[name][1]}"
        for name, n in parts_of_hundred(shares, words).items()
        if n
    )


def _call(call: Found, possessions: int, base: str, why: str) -> list[str]:
    """The lines of a call; ``why`` it hardly comes up."""
    name, called = spoken(call["call"]), call["called"]
    if called == 0:
        never = f"{name}: never came up in {count(possessions, 'possession')}, not judged{why}"
        return [labelled("Call", never)]
    often = _often(call["call"], 100 * call["calls"] / possessions)
    if called < FEW_CALLS:
        return [labelled("Call", often), labelled("Worth", _not_judged(called, possessions) + why)]
    lines = [
        labelled("Call", often),
        labelled("Worth", saved(call["value"], 2, "points a call")),
        labelled("Turnovers", call["break_even"]["words"]),
        labelled("The trap", _closed(call["trap_set_rate"])),
        labelled("Of 100 calls", _list(call["outcomes"] | call["other_parts"], OUTCOME_WORDS)),
    ]
    if call["turnover_rate"]:
        lines.append(labelled("Of 100 lost", _list(call["turnover_parts"], LOSS_WORDS)))
    if call["after_escape"]["rim_shot"] is not None:
        lines.append(labelled("Of 100 escapes", _list(call["after_escape"], AFTER_WORDS)))
    return [*lines, *_risk(call, base)]


def _not_judged(called: int, possessions: int) -> str:
    """Of a call that hardly comes up; more possessions are advised only where that is a way."""
    said = f"came up {times(called)} in {count(possessions, 'possession')}: not judged"
    needed = ceil(possessions * FEW_CALLS / called / 1000) * 1000
    return (
        said
        if needed > MOST_WAY * possessions
        else f"{said} (compare -n {needed} would bring about {FEW_CALLS})"
    )


def _closed(rate: float) -> str:
    """How often the second man got there at all: without it a call is weighed as what it is not."""
    words = f"closed around the ball in {round(100 * rate)} of 100 calls"
    return words if rate >= RARELY else words + "; rarely a real trap"


def _risk(call: Found, base: str) -> list[str]:
    """The risk of a call beside its base, staying home or no trap: a small table."""
    under, home, over = call["conceded"]["called"], call["conceded"]["home"], call["over_n"]
    rows = [
        ("", "trap", base),
        ("concede two or more", percent(under["p_two_or_more"]), percent(home["p_two_or_more"])),
        ("give up a shot at the rim", percent(under["p_rim_shot"]), percent(home["p_rim_shot"])),
    ]
    if over["p_worse"] is not None:
        calls = count(over["n"], "call")
        rows += [
            (
                f"a bad night, {calls}",
                _night(over, "worst_5_percent"),
                _night(over, "worst_5_percent_home"),
            ),
            (f"worse than {base}, {calls}", _chance(over), ""),
        ]
    first, *others = table(rows, indent=" " * (LABEL + 2))
    return [f"  {'Risk':<{LABEL}}{first[LABEL + 2 :]}", *others]


def _night(over: Found, name: str) -> str:
    """``+7 (+5 to +9)``: what a bad night costs, the bias of few calls taken out of the range."""
    found = over["intervals"][name]
    if found["low"] is None:
        return f"{over[name]:+.0f}"
    return ranged(*(f"{value:+.0f}" for value in (over[name], found["low"], found["high"])))


def _chance(over: Found) -> str:
    """``42% (38 to 46)``: the chance to come out behind."""
    found = over["intervals"]["p_worse"]
    if found["low"] is None:
        return percent(over["p_worse"])
    return ranged(percent(over["p_worse"]), *(f"{100 * found[key]:.0f}" for key in ("low", "high")))


def _hundredfold(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.0f}"
