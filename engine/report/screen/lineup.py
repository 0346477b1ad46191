"""The text of ``lineup``: who plays which place, and how they would answer. Built only from the JSON result.

No page names a weakest player: where they would attack is said by place, as a task for a role.
"""

from __future__ import annotations

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.words import (
    ADVICE_TO_A_MAN,
    CARE,
    around,
    count,
    finished,
    labelled,
    paragraph,
    plain,
    saved,
    scaled,
    table,
)
from engine.study.lineup.advice import GUARD, LEAST_CALLS, LET_SHOOT, told_on

#: Rows of the table that are shown.
MOST_SHOWN = 5
#: What helps a place that is attacked, by the last part of its name; common practice, no source.
TASKS = {
    "guard": "the forward behind him stays up a step longer and the other guard shades over",
    "forward": "the centre keeps that block and the guard in front of him sinks a step",
    "centre": "the far forward comes across early and both guards dig at the ball",
}
OTHER_TASK = "the two nearest to it shade a step his way, and he hands a hard pass on to them early"
NET = (
    "Net points: conceded, less what the next possession is worth to us for how theirs ended; to tell the "
    "line-ups apart, on possessions of this table alone."
)
SIZES = (
    "everybody plays his own place, the same on the other side, or one whose man is about as tall; "
    "--anywhere tries all"
)
TRAPS_NOTE = (
    "Trap pays: he is worth a double there when he has the ball; guard, let him shoot: his shot. Each call "
    "was made on him alone and at every chance, in {n} (nothing is said from fewer than {least} calls); "
    "compare makes it as your settings have it, so its counts and worth differ. {tonight}"
)
#: By whether it is known here which calls are advised.
TONIGHT = {
    True: "Not advised tonight: it pays on him, but is none of the calls advised; plan says why.",
    False: "Which of them are advised tonight, and how often: plan.",
}
NOT_KNOWN = (
    "The engine knows your players' heights, running speeds, fouling and rebounding; not who has learned "
    "which place, nor how well anyone moves his feet. A surprising line-up is a question to try in practice, "
    "not an order."
)


def lineup_text(result: Found, with_detail: bool = False) -> str:
    """The text of ``lineup`` from its JSON result; ``with_detail`` appends everything."""
    who = f"{plain(result['defence'])} in the {plain(result['base_defence']['title'])}"
    played = count(result["possessions_played"], "possession")
    lines = [
        paragraph(result["title"]),
        paragraph(f"{who} against {plain(result['offence'])}: {len(result['table'])} line-ups, {played}."),
        "",
        *([labelled("Advice", _keep(result))] if result["keep"] else []),
        labelled("Fewest points" if result["decided"] else "Ahead so far", _places(result["best"])),
        labelled("Guarantee", result["guarantee"]),
        labelled("Yours now", _usual(result)),
        *([] if result["anywhere"] else [labelled("Sizes", SIZES)]),
        "",
        *_table(result),
        "",
        *_attack(result),
        "",
        *_opponent(result),
        "",
        paragraph(NOT_KNOWN),
        paragraph(CARE),
    ]
    return finished(result, lines, with_detail)


def _places(places: Found) -> str:
    return ", ".join(f"{spoken(place)} {number}" for place, number in places.items())


def _keep(result: Found) -> str:
    """Why to keep one's own places though others conceded fewer points here."""
    return f"keep yours, no other is clearly better: {_places(result['usual']['places'])}"


def _usual(result: Found) -> str:
    """What the scenario's own places concede, as ``compare`` plays them; beside those selected, on
    possessions that chose neither."""
    home, n = around(scaled(result["home"], 100.0), 0), count(result["call_possessions"], "possession")
    said = f"concede {home} points per 100 possessions, staying home ({n}, as in compare)"
    if result["best"] == result["usual"]["places"]:
        return f"{said}; the same places"
    cost = scaled(result["usual_costs"], -100.0)
    return f"{said}; {saved(cost, 1, 'points per 100')} against those places, on possessions of their own"


def _table(result: Found) -> list[str]:
    """The first rows, net points conceded per 100 possessions."""
    shown = result["table"][:MOST_SHOWN]
    names = [spoken(place) for place in result["best"]]
    heads = [name.rpartition(" ") for name in names]  # two lines: the table is wide
    rows = [
        (*(side for side, _, _ in heads), "net points", ""),
        (*(last for _, _, last in heads), "per 100", ""),
    ]
    for row in shown:
        low, high = (100.0 * row["points"][key] for key in ("low", "high"))
        points = f"{100.0 * row['points']['mean']:.1f} ({low:.1f} to {high:.1f})"
        state = "still in" if row["dropped_at"] is None else f"out at {row['dropped_at']:,}"
        rows.append((*(str(number) for number in row["places"].values()), points, state))
    lines = [
        "Line-ups (shirts by place, left and right as the defence looks out)",
        *table(rows),
        paragraph(NET),
    ]
    rest = result["left"] - sum(row["dropped_at"] is None for row in shown)
    if rest > 0:
        lines.append(f"  and {count(rest, 'more line-up')} not told apart (--detail)")
    return lines


def _attack(result: Found) -> list[str]:
    """The cost of each place when their best scorer is parked there; by place, never by player."""
    scorer = result["best_scorer"]
    lines = [
        paragraph(
            f"Where they would attack: number {scorer['number']} ({scorer['by']}) parked in one area after "
            "another, points per 100 possessions against where he usually plays"
        )
    ]
    rows = []
    for one in result["attack_at"]:
        mean, low, high = (100.0 * one["cost"][key] for key in ("mean", "low", "high"))
        rows.append((spoken(one["place"]), f"{mean:+.1f}", f"({low:+.1f} to {high:+.1f})"))
    lines += table(rows)
    return [*lines, labelled("Role task", role_task(result))]


def role_task(result: Found) -> str:
    """What helps where their best scorer costs most; that it is nowhere clearly more than where he usually
    plays, where the figures do not show more."""
    worst, scorer = result["attack_at"][0], result["best_scorer"]["number"]
    low = worst["cost"]["low"]
    if low is None or low <= 0.0:
        return f"no place clearly costs more against their No. {scorer}"
    place = spoken(worst["place"])
    where = f"is left to the {place}" if result["guard_men"] else f"stands in the {place}'s area"
    task = TASKS.get(worst["place"].rpartition("_")[2], OTHER_TASK)
    return f"when their No. {scorer} {where}, help there: {task}"


def trap_words(told: Found, rest: bool = True) -> str:
    """The traps that pay on one of theirs, of ``told_on``, as every output says them; where it is known which
    are advised tonight, those first, the others as ``not advised tonight``, or with no ``rest`` (the bench)
    not at all. "" where none does."""
    name = {one["call"]: spoken(one["call"]) + " (kept for him)" * one["kept"] for one in told["traps"]}
    name = {call: f'"{words}"' if "," in words else words for call, words in name.items()}
    if told["tonight"] is None:
        return ", ".join(name.values())
    now = ", ".join(name[call] for call in told["tonight"])
    others = ", ".join(words for call, words in name.items() if call not in told["tonight"] and rest)
    return "; ".join(part for part in (now, others and f"{others} (not advised tonight)") if part)


def shaky_words(one: Found, told: Found, average: Found, shooter: str | None) -> str:
    """Why a man whom the sheet calls shaky (``shooter``) is let shoot nowhere: his best open shot beside
    their average one; "" of all others. ``one``: a row of ``advice_on``, ``told`` what ``told_on`` says."""
    if shooter != "shaky" or any(word != GUARD for word in told["areas"].values()):
        return ""
    best = max(area["points"] for area in one["areas"].values())
    less = round(average["mean"], 2) - round(best, 2)  # of what is printed
    beside = f"only {less:.2f} below their average one, which may be luck"
    return (
        "shaky on your sheet, yet guard him: his best open shot is "
        f"{beside if less > 0.0 else 'no worse than their average one'}"
    )


def _opponent(result: Found) -> list[str]:
    """Of each the same three questions as on the pages: which trap pays, where to guard or let shoot."""
    lines = ["Their five"]
    notes = result.get("evening", {}).get("opponents", ())
    shooters = {one["number"]: one["shooter"] for one in notes if not one["shooter_from_makes"]}
    known = result.get("tonight")
    tonight = None if known is None else {(setting, call) for setting, call in known}
    for one in result["opponent"]:
        told = told_on(one, tonight)
        where = {
            do: [area for area, word in told["areas"].items() if word == do] for do in (GUARD, LET_SHOOT)
        }
        parts = {
            "trap pays": trap_words(told),
            "guard at": ", ".join(where[GUARD]),
            "let him shoot at": ", ".join(where[LET_SHOOT]),
        }
        said = [f"{name}: {words}" for name, words in parts.items() if words]
        said += [words] if (words := ADVICE_TO_A_MAN.get(one["advice"], "")) else []
        shaky = shaky_words(one, told, result["average_shot"], shooters.get(one["number"]))
        said += [shaky] if shaky else []
        lines.append(labelled(f"number {one['number']}", f"{'; '.join(said)} ({one['why']})"))
    if any(one["traps"] for one in result["opponent"]):
        n, note = count(result["call_possessions"], "possession"), TONIGHT[tonight is not None]
        lines.append(paragraph(TRAPS_NOTE.format(n=n, least=LEAST_CALLS, tonight=note)))
    return lines
