"""The text of ``plan``: what to call and how often. Built only from the JSON result."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.adapted_view import adapted_words, law_words, who_learns
from engine.report.advice_view import advised_first
from engine.report.formations_view import plan_lines
from engine.report.screen.sheet import sheet_warning
from engine.report.words import (
    CARE,
    amount,
    count,
    finished,
    known,
    labelled,
    paragraph,
    percent,
    plain,
    saved,
    table,
)

#: Uses of each call that are shown; between them the worth changes little.
SHOWN_USES = (1, 2, 3, 4, 6, 8)
#: Columns of uses that are worth alike, at most: the first ends and the last.
MOST_ENDS = 3
#: No use of a game comes after this one.
LAST = 1000
CAUTIONS = (
    CARE,
    "Traps are sprints: rest the men who double, and count their minutes. No trapping far ahead.",
)
MODEL = (
    "Ranges (95%) show the luck of the draw only; the model can be off by hundredths to tenths of a point a "
    "trap. Saved points also count what a turnover brings at the other end."
)
WITHHELD = "Trap advice is withheld: no call is planned."
#: What a chance of the plan counts, and what compare's table counts.
COMES_UP = (
    "Chances are possessions in which it comes up; compare counts every call of a possession, so there it is "
    "more."
)
LATE_LEFT_OUT = (
    "Trapping at every chance until the buzzer, they have the ball. Not in it: fouling on purpose, an "
    "offence that keeps the ball. Our own scoring is an input ({points:.2f} points a possession, in a hurry)."
)


def plan_text(result: Found, with_detail: bool = False) -> str:
    """The text of ``plan`` from its JSON result, with that of ``formations`` and ``advice`` (``advice_dict``)
    at their keys; ``with_detail`` appends everything. Where trap advice is withheld, it says that, and no
    more that a plan would advise."""
    who = f"{plain(result['offence'])} with the ball, {plain(result['defence'])} defending"
    games = f"{count(result['games'], 'game')} of {result['possessions_per_game']} possessions a side"
    lines = [paragraph(result["title"]), paragraph(f"{who}: {games}, home and planned.")]
    lines += [] if result["care"] else [paragraph(who_learns(result))]
    lines_of = result["zone_or_men"]["lines"] if result.get("zone_or_men") else []
    zone_or_men = [labelled(label, words) for label, words in lines_of] + ([""] if lines_of else [])
    if result["care"]:
        told = [paragraph(WITHHELD), *map(paragraph, result["care"])]
        lines += ["", *zone_or_men, *told, "", paragraph(CARE)]
        return finished(result, lines, with_detail)
    lines += ["", *sheet_warning(result), *zone_or_men, *_answer(result)]
    over = []
    if "formations" in result:
        over = plan_lines(result["formations"], list(map(_key, result["advice"]["calls"])))
    lines += ["", *map(paragraph, over)] if over else []
    notes = [paragraph(result[key]) for key in ("start", "pace") if result[key]]
    lines += ["", *notes] if notes else []
    if result["calls"]:
        lines += ["", *_not_planned(result)]
        lines += ["", *_uses(result), *_learned(result), "", *_bonus(result)]
        lines += ["", *_late(result), *_bench(result)]
    lines += [*_men(result), ""]
    lines += [paragraph(line) for line in (MODEL, *CAUTIONS)]
    return finished(result, lines, with_detail)


# --- the answer -------------------------------------------------------------------------------------------


def _name(call: Found) -> str:
    return plain(spoken(str(call.get("label", call["call"]))))


def _swing_side(points: int) -> str:
    if points == 0:
        return "nothing"
    return f"{abs(points)} {'saved' if points > 0 else 'lost'}"


def _answer(result: Found) -> list[str]:
    """The advice, as report and bench sheet have it, what a game with it is, then all that is planned."""
    if not result["calls"]:
        return [paragraph("The scenario has no trap in its base defence, so there is nothing to plan.")]
    advice = result["advice"]
    lines = [labelled("Advice", advice["answer"])]
    lines += [labelled("How often", " ".join(advice["often"]))] if advice["often"] else []
    lines += [labelled("The rest", " ".join(advice["not_advised"]))] if advice["not_advised"] else []
    swing, home, often = advice["game"]["swing"], result["game_points"]["home"], "in 90 of 100 games"
    if advice["traps"]:
        spread = f"with them, from {_swing_side(swing['p5'])} to {_swing_side(swing['p95'])} {often}"
        lines += [
            labelled("Worth", f"what is advised ({advice['traps']}) {saved(swing, 1, 'points a game')}"),
            labelled("One game", f"{spread}: one result proves nothing"),
        ]
    else:
        spread = f"staying home, they score from {home['p5']} to {home['p95']} points {often}"
        lines.append(labelled("One game", spread))
    if not result["mix"]:
        return lines
    labels = {_key(one): one for one in result["calls"]}
    rows = [("Planned", "comes up", "at most", "advised", "made", "worth a game")]
    for row in advised_first(result, advice["calls"]):
        one = labels[_key(row)]
        rows.append(
            (
                f"  {_name(one)}",
                f"{one['chances_per_game']:.0f}",
                str(row["uses_per_game"]),
                "yes" if _is_advised(result, row) else "no",
                f"{row['made_per_game']:.1f}",
                known(row["saves_per_game"], 1),
            )
        )
    room = int(result["constants"]["most_traps"])
    games, first = "in games with all that is planned", ""
    if result.get("room"):
        games = "of what is advised in games with that alone, of the rest in games with all of them"
        first = ", those advised first"
    note = (
        f"Made and worth a game: {games}. A game has room for {room} traps{first} (a "
        f"choice for the legs: --set most_traps={room}). {COMES_UP}"
    )
    return [*lines, "", *table(rows, indent=""), paragraph(note)]


def _key(row: Found) -> tuple[str, str]:
    return row["setting"], row["call"]


def _is_advised(result: Found, row: Found) -> bool:
    return _key(row) in map(_key, result["advice"]["calls"])


def not_planned(result: Found) -> list[str]:
    """Every call that is not planned, with the reason."""
    return [f"{_name(one)} ({one['why_not']})" for one in result["calls"] if one["why_not"]]


def _not_planned(result: Found) -> list[str]:
    parts = not_planned(result)
    lines = [labelled("Not planned", "; ".join(parts))] if parts else []
    if result["advice"]["not_judged"]:
        lines.append(labelled("Seldom", " ".join(result["advice"]["not_judged"])))
    if result["left_out"]:
        names = ", ".join(plain(name) for name in result["left_out"])
        lines.append(labelled("Left out", f"another defence or other plays, see compare: {names}"))
    return lines


# --- the table --------------------------------------------------------------------------------------------


def _uses(result: Found) -> list[str]:
    most, alike = max(row["use"] for row in result["by_use"]), result["alike_from"]
    runs = [(use, use) for use in SHOWN_USES if use <= most]
    if alike is not None:
        runs = [run for run in runs if run[0] < alike][:4]
        # Uses that are worth alike share a column, up to where a call is planned no more.
        ends = sorted({row["uses_per_game"] for row in result["mix"] if row["uses_per_game"] >= alike})
        if alike <= most:
            ends = [*ends[: MOST_ENDS - 1], *ends[MOST_ENDS - 1 :][-1:]]
            runs += [(first + 1, last) for first, last in pairwise([alike - 1, *(ends or [LAST])])]
    names = [
        str(first) if first == last else f"{first} on" if last == LAST else f"{first} to {last}"
        for first, last in runs
    ]
    rows = [("Worth of use number", *names, "off by")]
    for one in result["calls"]:
        mine = {row["use"]: row for row in result["by_use"] if _key(row) == _key(one)}
        value = mine[1]["before"]
        if value["low"] is None:
            rows.append((f"  {_name(one)}", *(["-"] * len(runs)), "too few"))
            continue
        cells = []
        for use, _ in runs:
            found = mine.get(use if alike is None else min(use, alike))
            cells.append("" if found is None else _cell(found, use <= one["uses_per_game"]))
        rows.append((f"  {_name(one)}", *cells, f"+-{value['high'] - value['mean']:.2f}"))
    note = (
        "Points saved a trap (minus: lost), before the bonus, when they have seen the earlier ones; "
        "brackets: not planned; ?: planned, but not clear by itself; -: too few calls to tell. The first is "
        "what compare prints, and off by is its luck. The uses share their luck, so they can be told apart "
        "more sharply than by the last column."
    )
    return [*table(rows, indent=""), paragraph(note)]


def _learned(result: Found) -> list[str]:
    """Every call against one who knows it, and how its worth goes there."""
    if result["adapted"] is None:
        return []
    said = [(_name(one), adapted_words(result["adapted"], one["setting"], one["call"]))
            for one in result["calls"]]  # fmt: skip
    rows = [labelled(name, words) for name, words in said if words]
    return ["", "Once they know it", *rows, paragraph(law_words(result))]


def _cell(row: Found, planned: bool) -> str:
    if row["before"]["low"] is None:
        return "-"
    text = f"{row['before']['mean']:.2f}".replace("-0.00", "0.00")
    return f"{text}{'?' * (row['before']['low'] <= 0.0)}" if planned else f"({text})"


def _bonus(result: Found) -> list[str]:
    rows = [("Worth of a first use", "before the bonus", "in the bonus")]
    for one in result["calls"]:
        found = result["bonus"][one["label"]]
        before, after = (known(found[key], 2) for key in ("before", "in_bonus"))
        rows.append((f"  {_name(one)}", before, after))
    share = percent(result["share_in_bonus"])
    return [*table(rows, indent=""), paragraph(f"Of a game without traps {share} is played in the bonus.")]


# --- late game, bench, fouls --------------------------------------------------------------------------------


def _late(result: Found) -> list[str]:
    found = result["late_game"]
    if not found:
        return ["Late in a game: no call comes up often enough to say."]
    behind = list(dict.fromkeys(row["behind"] for row in found))
    seconds = list(dict.fromkeys(row["seconds"] for row in found))
    by = {(row["behind"], row["seconds"]): row for row in found}
    name = plain(spoken(found[0]["call"]))
    rows = [("Late: chance to win", *(f"{t} s left" for t in seconds))]
    for d in behind:
        late = [by[d, t] for t in seconds]
        rows.append((f"  behind by {d}, at home", *(chance(row["p_win_home"]) for row in late)))
        trap = (chance(row["p_win_trap"]) if row["clear"] else "cannot tell" for row in late)
        rows.append((f"  behind by {d}, {name} trap", *trap))
    points = result["own_points_per_possession"]
    note = LATE_LEFT_OUT.format(points=points)
    verdict = f"{_verdict(found)}{late_only(found, result['advice']['calls'])}"
    return [*table(rows, indent=""), paragraph(f"{verdict} {note}")]


def chance(p: float) -> str:
    """A chance as every table of a late game prints it."""
    return "under 1%" if p < 0.01 else f"{100 * p:.1f}%"


def told_apart(row: Found) -> bool:
    """Whether the chances with the trap and without clearly differ, and are not printed alike."""
    return bool(row["clear"]) and chance(row["p_win_home"]) != chance(row["p_win_trap"])


def late_sides(found: Sequence[Found]) -> tuple[list[Found], list[Found]]:
    """Late cases in which the trap raises the chance to win, and in which it lowers it, as printed."""
    apart = [row for row in found if told_apart(row)]
    return (
        [row for row in apart if row["difference"]["mean"] > 0],
        [row for row in apart if row["difference"]["mean"] <= 0],
    )


def late_only(late: Sequence[Found], advised: Sequence[Found]) -> str:
    """That the call of the late cases is not advised, where it is not."""
    mine = late[0]["call"] in (row["call"] for row in advised)
    return "" if mine else f" Before that, {spoken(late[0]['call'])} is not advised."


def _verdict(found: Sequence[Found]) -> str:
    better, worse = late_sides(found)
    apart, raises, lowers = (*better, *worse), len(better), len(worse)
    most = max((abs(row["difference"]["mean"]) for row in apart), default=0.0)
    if not apart:
        return "Whether trapping raises the chance to win cannot be told."
    if raises and lowers:
        return f"Trapping raises the chance to win in {raises} cases and lowers it in {lowers}."
    words = "raises" if raises else "lowers"
    where = "everywhere" if len(apart) == len(found) else f"in {len(apart)} of {len(found)} cases"
    rest = "" if 2 * len(apart) > len(found) else "; in the others it cannot be told, so it is no rule"
    return f"Trapping {words} the chance to win {where}, by {amount(100 * most, 1)} in 100 at most{rest}."


def _bench(result: Found) -> list[str]:
    """When to stop each advised call; [] where none is."""
    rule = result["bench_rule"]
    few, advised = rule["too_few_below"], [one for one in rule["by_call"] if _is_advised(result, one)]
    if not advised:
        return []
    lines = [
        "",
        "On the bench",
        labelled("Tally", f"fewer than about {few} calls tell nothing; count over games"),
    ]
    for one in advised:
        words = one["words"]
        found = one["rule"]
        if found is not None and found["calls"][0] is not None:
            words += (
                f". Not one in {few}: {percent(found['none_expected'])} of the time though it works, "
                f"{percent(found['none_break_even'])} where it only breaks even"
            )
        lines.append(labelled(spoken(one["call"]), words))
    return lines


def _men(result: Found) -> list[str]:
    """Fouls and legs of a game with what is advised; [] where there is no call to advise."""
    if not result["calls"]:
        return []
    game = result["advice"]["game"]
    return ["", labelled("Fouls", foul_words(result, game)), labelled("Legs", _legs(result, game))]


def foul_words(result: Found, game: Found) -> str:
    """Who must not double in a game (one of ``of_calls``); the chance to foul out with its traps and without,
    and what it rests on."""
    limit, men = result["personal_limit"], game["fouls_expected"]
    never = [one for one in men if one["number"] in game["never_double"]]
    nearest = max(men, key=lambda one: one["p_out"])

    def with_traps(one: Found) -> str:
        without = f" with the traps advised, {percent(one['p_home'])} without" if game["calls"] else ""
        return (
            f"No. {one['number']} (his {limit}th in {percent(one['p_out'])} of games{without}, playing "
            f"{percent(one['share'])} of each)"
        )

    rests = (
        "Shared out by discipline: the model counts team fouls only; what he fouls with the ball is not in it"
    )
    if not game["calls"]:
        return f"staying home, nearest to foul trouble: {with_traps(nearest)}. {rests}"
    words = "must not double: " if never else "doubling brings nobody into foul trouble; nearest to it: "
    words += ", ".join(map(with_traps, never or [nearest]))
    return f"{words}. On the night, who has {result['no_double_from']} does not double. {rests}"


def _legs(result: Found, game: Found) -> str:
    """What the traps of a game cost in running, and what was assumed of it."""
    if not game["calls"]:
        return "staying home, nobody runs more"
    loss, metres = result["constants"]["fatigue_percent_per_100m"], game["hard_running_m"]
    assumed = (
        f"assumed: {loss:g}% of top speed lost per 100 m, no source" if loss else "tiring is switched off"
    )
    more = (
        f"about {metres:.0f} m more hard running a defender and game" if metres >= 0.5 else "no more running"
    )
    return f"the traps advised bring {more} in this model ({assumed})"
