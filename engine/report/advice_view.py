"""What is advised of an evening, in the same words for every output; why a planned call is not.

From the studies' JSON alone (``Advice``).
"""

from __future__ import annotations

from collections.abc import Sequence

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.formations_view import call_words, names, of_all, orders
from engine.report.screen.stress import ahead_words, share_told, worlds_in_100
from engine.report.seldom_view import not_judged, rare_words
from engine.report.words import count, saved, sentence, span, times
from engine.study.evening_advice import LEAST_SHARE, MOST_ADVISED, game_with, held_in, of_call
from engine.study.evening_result import Advice

#: Words of the answer at most.
MOST_WORDS = 12
#: What varies in the variants of a kind.
VARIED = {"numbers": "with other numbers", "structure": "with other numbers, formation, plays and habits"}


def headline(report: Advice) -> str:
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
    each = [(spoken(row["call"]), row["uses_per_game"]) for row in advised_rows(report)]
    saves, n = saves_where(report), len(result["formations"])
    if n > 1 and len(held) < n and any(map(any, saves)):
        told = [(name, f"up to {times(most)}" if len(each) == 1 else str(most)) for name, most in each]
        return _fitting([f"{sentence(words)}." for words in orders(told, saves, names(result))])
    if len(each) == 1:
        name, most = each[0]
        often = f"{name} up to {times(most)}"
        said = [f"call {often} a game, else stay home", f"call {often} a game", f"{often} a game", often]
    else:
        often = ", ".join(f"{name} {most}" for name, most in each)
        said = [f"call {often} times a game at most", f"call {often} a game", f"{often} a game", often]
    before = f"In {of_all(n, n)} formations: " if n > 1 and held else ""
    after = "" if before or n < 2 else ", clear in no formation"
    return _fitting([f"{sentence(before + words + after)}." for words in said])


def _fitting(lines: list[str]) -> str:
    return next((line for line in lines if len(line.split()) <= MOST_WORDS), lines[-1])


def saves_where(report: Advice) -> list[list[bool]]:
    """Of each advised call, whether it clearly saves points in each likely formation."""
    by = [of_call(report.formations, *one)["by_formation"] for one in report.advised]
    return [[one["verdict"] == "saves" for one in mine] for mine in by]


def _home_headline(report: Advice, held: int, n: int) -> str:
    """Why to stay home, and in how many formations no trap clearly saves."""
    if report.planned:
        over = [of_call(report.formations, *one)["value"]["mean"] for one in report.planned]
        if all((mean or 0.0) <= 0.0 for mean in over):
            return "Stay home: no trap saves points over their likely formations."
        return "Stay home: no trap surely saves when the model's numbers vary."
    if n < 2 or not held:
        return "Stay home: no trap clearly saves points."
    either = "either formation" if n == 2 else f"any of {n} formations"
    where = either if held == n else f"{of_all(n, n)} formations"  # it does in some, not in the others
    return f"Stay home: no trap clearly saves points in {where}."


def advice_dict(report: Advice) -> Found:
    """What ``plan`` and ``report`` print as the advice: the answer, how often each advised call comes up and
    may be used (``calls``: their setting and name), why the other planned calls are not advised, which usual
    calls hardly come up, and what a game with the advised calls is (``game``; at home where none is)."""
    rows = advised_rows(report)
    labels = {(one["setting"], one["call"]): one["label"] for one in report.plan["calls"]}
    usual = {call: labels[call] for call in labels.keys() - _own_calls(report).keys()}
    return {
        "answer": headline(report),
        "calls": [{"setting": row["setting"], "call": row["call"]} for row in rows],
        "often": [f"{sentence(planned_name(row, report.plan))}: {often_words(row)}." for row in rows],
        "not_advised": not_advised(report),
        "not_judged": not_judged(report.seldom, usual),
        "traps": traps_words(report.plan, rows) if rows else "",
        "game": advised_game(report),
    }


def _own_calls(report: Advice) -> dict[tuple[str, str], str]:
    """The coach's own calls, by setting and name, and what each is called."""
    own = [one for one in report.scenario.settings if one.name in report.evening.own_settings]
    return {(one.name, call.name): call.name for one in own for call in one.calls}


def planned_name(row: Found, plan: Found) -> str:
    """A planned call by name; beside another of that name with its setting, too."""
    alike = sum(other["call"] == row["call"] for other in plan["mix"])
    return spoken(row["call"]) + (f" ({row['setting']})" if alike > 1 else "")


def often_words(row: Found) -> str:
    """How often a call of the mix may be used, and how many of these uses clearly save points each by itself,
    before the bonus, as their table prints them; all of them do together, or it were not planned."""
    uses, clear = row["uses_per_game"], row["clear_uses"]
    if clear == uses:
        return str(row["often"])
    if clear == 0:
        return f"{row['often']}; clear only all together"
    return f"{row['often']}; {clear} of the {uses} uses clearly save alone, the rest with them"


def advised_first(plan: Found, advised: Sequence[Found]) -> list[Found]:
    """The rows of the mix, those advised first, in each part those first that save most a game."""
    mine = {(row["setting"], row["call"]) for row in advised}

    def place(row: Found) -> tuple[bool, float]:
        return (row["setting"], row["call"]) not in mine, -row["saves_per_game"]["mean"]

    return sorted(plan["mix"], key=place)


def advised_rows(report: Advice) -> list[Found]:
    """What the plan says of each advised call."""
    return [row for row in (plan_row(report, *one) for one in report.advised) if row is not None]


def advised_game(report: Advice) -> Found:
    """What the plan says of a game with what is advised alone; where nothing is, of staying home."""
    return game_with(report.plan, advised_rows(report))


def traps_words(plan: Found, rows: list[Found]) -> str:
    """``corner 10, top 2: up to 12 traps``: of these rows of the mix."""
    every = ", ".join(f"{planned_name(row, plan)} {row['uses_per_game']}" for row in rows)
    return f"{every}: up to {count(sum(row['uses_per_game'] for row in rows), 'trap')}"


def not_advised(report: Advice) -> list[str]:
    """Why other calls of the plan are not advised, and his own calls not judged, one sentence each."""
    return planned_only(report) + not_judged(report.seldom, _own_calls(report))


def planned_only(report: Advice) -> list[str]:
    """Why calls of the plan are not advised, one sentence each."""
    said = []
    for row in sorted(report.plan["mix"], key=lambda row: -row["saves_per_game"]["mean"]):
        if why := _why_not(report, row):
            said.append(f"Planned, not advised: {planned_name(row, report.plan)}; {why}.")
    return said


def _why_not(report: Advice, row: Found) -> str:
    """Why a planned call is not advised; "" where it is."""
    shown = [one for one in (plan_row(report, *spot) for spot in report.advised or report.planned) if one]
    least = min(shown, key=lambda one: one["saves_per_game"]["mean"], default=None)
    s = [setting.name for setting in report.scenario.settings].index(row["setting"])
    spot = s, [call.name for call in report.scenario.settings[s].calls].index(row["call"])
    if spot in report.advised:
        return ""
    found, over = stress_of(report, *spot), None
    share = None if found is None else found["share"]["mean"]
    if spot in report.planned:
        over = of_call(report.formations, *spot)
    if row["saves_per_game"]["mean"] <= 0.0:
        return "over whole games it saves nothing"
    if found is not None and share is None:
        return f"the variants do not tell: {variants_words(report, *spot)}"
    if share is not None and share < LEAST_SHARE:
        return f"in too few variants: {variants_words(report, *spot)}"
    if over is not None and (over["value"]["mean"] or 0.0) <= 0.0:
        return call_words(report.formations, over)
    if least is None:
        return ""
    room = "two are advised at most, and it " if len(report.advised) == MOST_ADVISED else ""
    return room + _fewer(row, least)


def own_verdicts(report: Advice, reason: bool = True) -> list[str]:
    """Of each of the coach's own calls, whether it is advised, in a short line: for the first page, and
    without the ``reason`` for the bench."""
    planned = {(row["setting"], row["call"]): row for row in report.plan["mix"]}
    rows, said = {(row["setting"], row["call"]): row for row in report.plan["calls"]}, []
    for key, name in _own_calls(report).items():
        rare, why = rare_words(report.seldom, *key), ""
        if key in planned:
            why = _why_not(report, planned[key])
            verdict = "not advised" if why else "advised"
        elif rare or key not in rows:
            verdict = rare or "too seldom to judge"
        else:
            verdict, why = "not advised", rows[key]["why_not"]
        more = f"; {why.partition(':')[0]}" if why and reason else ""
        said.append(f"Your {spoken(name)}: {verdict}{more}.")
    return said


def _fewer(row: Found, least: Found) -> str:
    """What a call saves a game, and by how much that is less than the least of those shown."""
    mine, other = row["saves_per_game"], least["saves_per_game"]
    lack = f"{round(other['mean'], 1) - round(mine['mean'], 1):.1f}"  # of what is printed
    luck = ", which may be luck" if mine["high"] is None or mine["high"] >= (other["low"] or 0.0) else ""
    fewer = "about as many as" if lack == "0.0" else f"{lack} fewer than"
    return f"{saved(mine, 1, 'points a game')}, {fewer} {spoken(least['call'])}{luck}"


def plan_row(report: Advice, setting: int, call: int) -> Found | None:
    """What the plan says of a call; None where it is not planned."""
    of = report.scenario.settings[setting]
    for row in report.plan["mix"]:
        if (row["setting"], row["call"]) == (of.name, of.calls[call].name):
            found: Found = row
            return found
    return None


def stress_of(report: Advice, setting: int, call: int) -> Found | None:
    """What ``stress`` says of a call; None where it was not weighed."""
    if report.stress is None or setting not in report.weighed:
        return None
    found: Found = report.stress["settings"][report.weighed.index(setting)]["calls"][call]
    return found


def variants_words(report: Advice, setting: int, call: int) -> str:
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
