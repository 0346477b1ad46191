"""Our attack against their traps, in words for screen and page, from the JSON of ``attack`` alone."""

from __future__ import annotations

from collections.abc import Sequence
from math import comb, hypot

from engine.estimate.calls import ESCAPES
from engine.estimate.intervals import LEAST_EVENTS, LEVEL, Found, normal_quantile
from engine.estimate.rounding import parts_of_hundred
from engine.estimate.tally import TURNOVERS
from engine.inputs.base import spoken
from engine.report.screen.compare import in_100
from engine.report.words import OUTCOME_WORDS, amount, around, count, numbers_words, ranged, saved, scaled

#: Fewer passes to a man than this are not told.
LEAST_PASSES = 10
HEADINGS = ("Passed out to", "of 100 passes", "then points", "easy shots of 100")
#: What else becomes of a trap: with the ball lost or got out of it they are all.
REST = {
    "trapped_shot": "he shoots in",
    "foul": "he is fouled in",
    "rest": "other (trap too late, held ball, time-out) in",
}
MEN = ("Passes to", "thrown", "of 100 arrive")
#: The ways out as what to look for.
LOOK_FOR = {
    "behind the ball": "the man behind the ball",
    "middle": "the middle",
    "up the line": "the man up the line",
    "far man": "the far man",
}
NO_CHANGE = "nothing that can be told apart"
NOTE = (
    "Points of one call count what a lost ball brings them at the other end. Points and easy shots (at the "
    "rim, or an open three, before they are set) followed the passes that were thrown: another pass out of "
    "the same trap need not have brought them. Passes to a man, the lost ones among them, are of the first "
    "times that a trap came, as many as stand at Outlets, watched one by one; all else is of every time. "
    "Ranges (95%) are the luck of the draw; the model can be off by more. Change: what is told apart where "
    "luck among all outlets, or all ways out, of a trap would do it once in 20 times: try it in practice."
)


def attack_view(found: Found) -> Found:
    """Title, answer, what was taken for what, lines of each call; all as text."""
    calls = sorted(found["calls"], key=lambda one: -(one["value"]["mean"] or 0.0))
    return {
        "title": f"{found['us']} attack {found['them']} ({found['defence']})",
        "answer": answer_words(found, calls),
        "home": f"{around(scaled(found['home'], 100), 0)} points per 100 possessions",
        "carrier": _carrier(found["bring_up"]),
        "change": _change(found["bring_up"], calls),
        "beside": _beside_home(found, calls),
        "calls": [_call(one) for one in calls],
        "taken": [*found["taken"], *found["charted"]],
        "note": NOTE,
        "possessions": count(found["possessions"], "possession"),
    }


def _more(found: Found, decimals: int, than: str = "") -> str:
    """Points more or fewer, with their range: ``0.2 (0.1 to 0.3) more``, else that it cannot be told."""
    low, mean, high = (found[key] for key in ("low", "mean", "high"))
    if low is None:
        return "cannot tell"
    if low > 0.0 or high < 0.0:
        ends = [amount(value, decimals) for value in (mean, *sorted((low, high), key=abs))]
        return f"{ranged(*ends)} {'more' if low > 0.0 else 'fewer'}{than}"
    return f"no clear difference ({amount(low, decimals)} fewer to {amount(high, decimals)} more{than})"


def cost_words(value: Found) -> str:
    """What a trap of theirs costs us: ``costs 0.2 points a call (0.1 to 0.3)``."""
    low, high = value["low"], value["high"]
    if low is None or low > 0.0 or high < 0.0:
        return saved(scaled(value, -1.0), 2, "points a call").replace("saves", "brings")
    return f"no clear difference (brings {amount(low, 2)} to costs {amount(high, 2)} points a call)"


def answer_words(found: Found, calls: Sequence[Found]) -> str:
    """Who brings it up, and every trap of theirs that was weighed: those that clearly cost, the worst first,
    those that bring us points, those of which it cannot be told."""
    if not calls:
        return "They have no trap to attack."
    if all(one["called"] < LEAST_EVENTS for one in calls):
        return "Their traps come up too seldom here to tell what they cost."
    told: dict[str, list[str]] = {"beware": [], "unsure": [], "good for us": []}
    for one in calls:
        low, high = one["value"]["low"], one["value"]["high"]
        unsure = low is None or low <= 0.0 <= high
        told["unsure" if unsure else "beware" if low > 0.0 else "good for us"].append(one["label"])
    first = (
        _carrier_first(found["bring_up"]) if told["beware"] else "None of their traps clearly costs points"
    )
    parts = [f"{what}: {', '.join(traps)}" for what, traps in told.items() if traps]
    return f"{'; '.join([first, *parts])}."


def _carrier_first(men: Sequence[Found]) -> str:
    clear = [one for one in men[1:] if (one["more"]["low"] or 0.0) > 0.0]
    if clear:
        return f"Let No. {max(clear, key=lambda one: one['more']['mean'])['number']} bring it up"
    return f"No. {men[0]['number']} keeps bringing it up"


def _carrier(men: Sequence[Found]) -> str:
    """Who brings it up, against all their traps, and what another would change."""
    if not men:
        return ""
    others = "; ".join(f"No. {one['number']}: {_more(scaled(one['more'], 100), 1)}" for one in men[1:])
    points = around(scaled(men[0]["points"], 100), 0)
    return f"No. {men[0]['number']}: {points} points per 100 against all their traps. In his place {others}."


def _beside_home(found: Found, calls: Sequence[Found]) -> str:
    """Why all their traps together may leave us no fewer points than none; "" where they clearly cost."""
    if not found["bring_up"]:
        return ""
    traps, home = found["bring_up"][0]["points"], found["home"]
    if traps["high"] is None or home["low"] is None or traps["high"] < home["low"]:
        return ""
    more = "clearly more" if traps["low"] > home["high"] else "not clearly fewer"
    said = f"{more} against all their traps than without"
    brings = [one for one in calls if one["value"]["high"] is not None and one["value"]["high"] < 0.0]
    if brings:
        names = " and ".join(
            f"the {one['label']} ({in_100(one['per_100'])} times in 100 possessions)" for one in brings
        )
        said += f": {names} {'brings' if len(brings) == 1 else 'bring'} us points"
    return f"{said}. These points leave out what a lost ball brings them; those of a call count it"


def _call(one: Found) -> Found:
    """One trap of theirs: rows (label, text), the table of ways out."""
    named = {"name": one["label"], "call": one["call"]}
    if one["called"] < LEAST_EVENTS:
        return {
            **named,
            "rows": [("Comes", f"{count(one['called'], 'time')}: not judged")],
            "ways": [],
            "men": [],
        }
    shown = _shown(one)
    of_100 = parts_of_hundred(one["outcomes"] | one["other_parts"], OUTCOME_WORDS)
    lost, out = (
        ranged(
            str(sum(of_100[name] for name in names)),
            *(f"{100 * one[key][end]:.0f}" for end in ("low", "high")),
        )
        for key, names in (("lost", TURNOVERS), ("got_out", ESCAPES))
    )
    ends = [f"the ball lost in {lost}", f"got out in {out}"]
    ends += [f"{words} {of_100[name]}" for name, words in REST.items() if of_100[name]]
    rows = [
        ("Comes", f"{in_100(one['per_100'])} times in 100 possessions"),
        ("To us", cost_words(one["value"])),
        ("Of 100 traps", ", ".join(ends)),
        ("Outlets", f"{_outlets(shown)} (the first {count(one['watched'], 'time')})"),
        ("Middle or skip", _middle_or_skip(one)),
        ("Change", "; ".join(_changes(one)) or NO_CHANGE),
    ]
    ways = [
        (
            spoken(way["to"]) if way["to"] != "skip" else "of these a skip",
            around(scaled(way["share"], 100), 0),
            around(way["points"], 2) if way["points"]["low"] is not None else "cannot tell",
            around(scaled(way["free_shot"], 100), 0) if way["n"] >= LEAST_EVENTS else "cannot tell",
        )
        for way in one["ways"]
        if way["n"]
    ]
    men = [(f"No. {man['number']}", str(man["passes"]), around(scaled(man["safe"], 100), 0)) for man in shown]
    return {**named, "rows": rows, "ways": ways, "men": men}


def _middle_or_skip(one: Found) -> str:
    thrown = {way["to"]: way["n"] for way in one["ways"]}
    found = one["middle_or_skip"]
    if found["mean"] is None:
        return (
            f"cannot tell: {count(thrown['middle'], 'pass', 'passes')} to the middle, {thrown['skip']} skips"
        )
    return f"the middle brought {_more(found, 2, ' points than a skip')}"


def _ahead(one: Found, other: Found, pairs: int) -> Found | None:
    """By how much the first mean lies above the second, as of separate samples, with its range; None where
    they are not told apart. Luck alone tells any of ``pairs`` apart once in 20 times (Bonferroni)."""
    errors = ((mean["high"] - mean["low"]) / (2.0 * normal_quantile(LEVEL)) for mean in (one, other))
    apart = normal_quantile(1.0 - (1.0 - LEVEL) / pairs) * hypot(*errors)
    more = one["mean"] - other["mean"]
    return {"mean": more, "low": more - apart, "high": more + apart} if more > apart else None


def _best(rows: Sequence[tuple[str, Found]]) -> tuple[str, str, Found] | None:
    """Of (name, mean with its range) the highest that is told apart from any, from the lowest of those, and
    by how much; None where none is."""
    ranked = sorted(rows, key=lambda row: -row[1]["mean"])
    for place, (name, one) in enumerate(ranked):
        for than, other in reversed(ranked[place + 1 :]):
            if (more := _ahead(one, other, comb(len(rows), 2))) is not None:
                return name, than, more
    return None


def _changes(one: Found) -> list[str]:
    """What to do otherwise against one trap of theirs, as far as outlets and ways out are told apart."""
    said = []
    men = [(f"No. {man['number']}", man["safe"]) for man in _shown(one)]
    if (best := _best(men)) is not None:
        more = scaled(best[2], 100)
        often = ranged(*(f"{more[key]:.0f}" for key in ("mean", "low", "high")))
        said.append(f"pass to {best[0]} rather than {best[1]}: {often} more of 100 arrive")
    ways = [(LOOK_FOR[way["to"]], way["points"]) for way in one["ways"] if way["to"] in LOOK_FOR]
    if (best := _best([row for row in ways if row[1]["low"] is not None])) is not None:
        points = around(best[2], 2)
        said.append(f"look for {best[0]} rather than {best[1]}: {points} points more, as those passes went")
    return said


def _change(men: Sequence[Found], calls: Sequence[Found]) -> str:
    """What to change, of all that was measured: who brings it up, outlets and ways out; that nothing can be
    told apart."""
    clear = [one for one in men[1:] if (one["more"]["low"] or 0.0) > 0.0]
    said = []
    if clear:
        best = max(clear, key=lambda one: one["more"]["mean"])
        more = _more(scaled(best["more"], 100), 1, " points per 100")
        said.append(f"No. {best['number']} brings it up, not No. {men[0]['number']}: {more}")
    for one in calls:
        if one["called"] >= LEAST_EVENTS and (changes := _changes(one)):
            said.append(f"against the {one['label']} trap {' and '.join(changes)}")
    return "; ".join(said) or NO_CHANGE


def _shown(one: Found) -> list[Found]:
    """Outlets with passes enough, the safest first."""
    men = (man for man in one["outlets"] if man["passes"] >= LEAST_PASSES)
    return sorted(men, key=lambda man: -man["safe"]["mean"])


def _outlets(shown: Sequence[Found]) -> str:
    """Who of those with passes enough is safer than whom; men safer than the same stand together, and so do
    those whom nothing sets apart from anybody."""
    if not shown:
        return "cannot tell: too few passes to any man"
    if len(shown) == 1:
        return f"only No. {shown[0]['number']} got passes enough to tell"
    safer: dict[tuple[int, ...], list[int]] = {}
    for one in shown:
        pairs = comb(len(shown), 2)
        than = tuple(other["number"] for other in shown if _ahead(one["safe"], other["safe"], pairs))
        if than:
            safer.setdefault(than, []).append(one["number"])
    clear = [
        f"No. {numbers_words(mine)} {'is' if len(mine) == 1 else 'are'} safer than {numbers_words(than)}"
        for than, mine in safer.items()
    ]
    told = {number for than, mine in safer.items() for number in (*than, *mine)}
    rest = [one["number"] for one in shown if one["number"] not in told]
    if len(rest) > 1:
        clear.append(f"No. {numbers_words(rest)} alike, as far as these tell")
    elif rest:
        clear.append(f"No. {rest[0]} not told apart from any")
    return "; ".join(clear)
