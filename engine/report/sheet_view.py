"""The coach's sheet beside the model: what stands in the table and below it, for the screen and the page."""

from __future__ import annotations

from engine.estimate.intervals import Found
from engine.report.words import numbers_words

NAMES = ("Of 100", "sheet", "its range", "model")
TONIGHT = "tonight"
#: What they met where they were counted, and the model plays.
MET = {
    "man-to-man": "man-to-man, as counted",
    "zone": "a zone, as counted",
    "both": "man-to-man and a zone, as counted",
    "not said": "man-to-man and a zone, half each: the sheet does not say",
}
OUTSIDE = "outside"
#: What each rate says, of 100; a man's is filled in with his number.
LABELS = {
    "threes": "threes among their shots",
    "threes_of_made": "threes among made shots",
    "two_point": "twos made",
    "three_point": "threes made",
    "effective": "shots made, a three counting 1.5",
    "free_throws": "free throws for 100 shots",
    "turnovers": "plays that lose the ball",
    "points": "points in 100 plays",
    "shots": "No. {number}: of all their shots",
    "made": "No. {number}: of all they make",
    "man_threes": "No. {number}: threes, of his shots",
    "man_threes_of_made": "No. {number}: threes, of his made",
}
#: What of tonight is assumed, where who shoots was fitted to it.
CARRIED = (
    "Assumed: who shoots tonight is as on your sheet. From where and how well they shoot, and what they "
    "lose, is the model's."
)
#: Rates whose difference is told as advice, the first that differs by MUCH, and of 100 what.
ADVICE = {
    "threes": (
        "On your sheet {sheet} of 100 shots are threes, in the model {model}: calls that {way} look better "
        "than they are."
    ),
    "threes_of_made": (
        "On your sheet {sheet} of 100 shots made are threes, in the model {model}: calls that {way} look "
        "better than they are."
    ),
    "turnovers": (
        "They lose the ball in {sheet} of 100 plays on your sheet, in {model} in the model: a trap may win "
        "{way} than it says."
    ),
}
#: Those about a man's part of all their shots.
SHARES = {"shots": "Of their shots", "made": "Of those they make"}
#: By whether the model has more of it than the sheet.
WAYS = {
    "threes": ("take threes away", "give up threes"),
    "threes_of_made": ("take threes away", "give up threes"),
    "turnovers": ("less", "more"),
}
#: The rates that the model is fitted to.
FOLLOWED = {"free_throws": "the free throws", "turnovers": "the lost balls"}
#: Difference of 100 from which on its way is told, and from which on it stands beside every answer: choices.
MUCH, SOME = 10.0, 5.0


def _hundred(value: float | None) -> str:
    return "-" if value is None else f"{100.0 * value:.0f}"


def _row(row: Found, tonight: bool) -> Found:
    sheet, model = row["sheet"], row["model"]
    known = sheet["low"] is not None
    return {
        "label": LABELS[row["key"]].format(number=row["number"]),
        "cells": [
            _hundred(sheet["mean"]),
            f"{_hundred(sheet['low'])} to {_hundred(sheet['high'])}" if known else "-",
            f"{100.0 * model['mean']:.1f} \N{PLUS-MINUS SIGN} {100.0 * model['standard_error']:.1f}",
            *([_hundred(row["tonight"])] if tonight else []),
            OUTSIDE if row["outside"] else "",
        ],
    }


def sheet_advice(found: Found) -> str:
    """One sentence on what sheet and model differ in by much; "" where they do not.

    ``found``: JSON of the part sheet.
    """
    rows = {row["key"]: row for row in found.get("rows", ()) if row["number"] is None}
    for key, said in ADVICE.items():
        row = rows.get(key)
        if row is None or not row["outside"]:
            continue
        sheet, model = row["sheet"]["mean"], row["model"]["mean"]
        if 100.0 * abs(model - sheet) >= MUCH:
            way = WAYS[key][model < sheet]
            return said.format(sheet=_hundred(sheet), model=_hundred(model), way=way)
    return ""


def _missed(found: Found) -> tuple[str, ...]:
    """Of the side's rate that the model misses by most, SOME or more and outside what the luck of the counts
    allows, in whole hundredths: what it is, the sheet, its range, the model; () where it follows."""

    def outside(row: Found) -> bool:
        ends = row["sheet"]["low"], row["sheet"]["high"], row["model"]["mean"]
        low, high, model = (round(100.0 * value) for value in ends)
        return not low <= model <= high

    rows = [row for row in found.get("rows", ()) if row["number"] is None and row["outside"] and outside(row)]
    apart = [100.0 * abs(row["model"]["mean"] - row["sheet"]["mean"]) for row in rows]
    if not rows or max(apart) < SOME:
        return ()
    row = rows[apart.index(max(apart))]
    sheet = (row["sheet"][key] for key in ("mean", "low", "high"))
    label = LABELS[row["key"]]
    label = label if "100" in label else f"{label}, of 100"
    return label, *map(_hundred, (*sheet, row["model"]["mean"]))


def _tonight(found: Found) -> str:
    """Who of them has much more or less of their shots against tonight's defence than against what they met
    (both of the model), one sentence; "" where nobody has."""
    rows = [
        row
        for row in found.get("rows", ())
        if row["key"] in SHARES
        and row["tonight"] is not None
        and 100.0 * abs(row["tonight"] - row["model"]["mean"]) >= MUCH
    ]
    if not rows:
        return ""

    def one(row: Found, met: str, sheet: str) -> str:
        there, counted = (_hundred(row[key]["mean"]) for key in ("model", "sheet"))
        return f"No. {row['number']} {_hundred(row['tonight'])} ({met}{there}, {sheet}{counted})"

    said = [one(rows[0], "where you saw them ", "your sheet "), *(one(row, "", "") for row in rows[1:])]
    return f"{SHARES[rows[0]['key']]} tonight, says the model, of 100: {', '.join(said)}."


def sheet_short(found: Found) -> str:
    """That the model does not follow the sheet, in a few words for the bench."""
    missed = _missed(found)
    return f"Sheet {missed[1]}, model {missed[4]}: {missed[0]}." if missed else ""


def sheet_told(found: Found) -> str:
    """One sentence for beside an answer where the model does not follow the sheet, or follows it and has
    others shoot tonight; "" where neither.

    ``found``: as in ``sheet_advice``, whose sentence goes first.
    """
    advice, missed = sheet_advice(found), _missed(found)
    if advice or not missed:
        return advice or _tonight(found)
    label, sheet, low, high, model = missed
    return (
        f"The model does not follow your sheet: {label}: {sheet} there ({low} to {high} with the luck of so "
        f"few), {model} in the model, against {MET[found['met']]}. Take what follows with care."
    )


def _followed(fit: Found) -> list[str]:
    """What of the sheet the model follows, and what it cannot. ``fit``: JSON of the part fit."""
    said = []
    followed = fit.get("followed", ())
    if followed:
        names = " and ".join(FOLLOWED[one["rate"]] for one in followed)
        said.append(
            f"The model is fitted to {names} of your sheet, pulled to its own as if {fit['prior']:g} shots "
            "or plays of it had been added."
        )
    said += [
        f"{FOLLOWED[one['rate']].capitalize()} cannot be followed further: the end of the model's range."
        for one in followed
        if one["stopped"] and abs(one["after"] - one["aim"]) > one["standard_error"]
    ]
    said += [
        f"No. {one['number']} takes {'more' if one['after'] > one['aim'] else 'fewer'} {one['kind']} {where} "
        "than on your sheet: the end of the model's range."
        for where, shares in (
            ("in the model", fit.get("shares", ())),
            ("tonight", (fit.get("tonight") or {}).get("shares", ())),
        )
        for one in shares
        if one["stopped"] and abs(one["after"] - one["aim"]) > one["standard_error"]
    ]
    missing = [name for rate, name in FOLLOWED.items() if rate not in [one["rate"] for one in followed]]
    if fit.get("shares"):
        said.append("How often a man shoots, how many of it are threes, and how well, follow his counts.")
    else:
        said.append("How well a man shoots follows his counts, where his shots tried are counted, too.")
        missing = ["how often who shoots", "how many of it are threes", *missing]
    if missing:
        said.append(f"Not followed, for want of counts of each of these men: {', '.join(missing)}.")
    return said


def sheet_view(found: Found) -> Found | None:
    """Head, table and notes; None where the sheet counts too little. ``found``: JSON of the part sheet."""
    if not found:
        return None
    outside = sum(row["outside"] for row in found["rows"])
    tonight = any(row["tonight"] is not None for row in found["rows"])
    notes = [
        f"Model: {found['possessions']:,} possessions against {MET[found['met']]}; "
        "\N{PLUS-MINUS SIGN} one standard error. Range of the sheet: what the luck of so few counts allows "
        f"(95%; Wilson's, for free throws Jeffreys' limits). Outside it: {outside} of {len(found['rows'])}.",
    ]
    if tonight:
        notes.append("Tonight: the same opponent in the model against what you play tonight, without traps.")
        notes += [CARRIED] if found["fit"].get("tonight") else []
        notes += [said] if (said := _tonight(found)) else []
    if any(row["key"] in ("turnovers", "points") for row in found["rows"]):
        notes.append("A play ends in a shot, free throws or a lost ball.")
    notes += _followed(found["fit"])
    if not found["attempts"]:
        notes.append("Your sheet does not say how many shots they tried: those that went in are compared.")
    return {
        "title": f"Your sheet and the model: No. {numbers_words(found['men'])}",
        "names": [*NAMES, *([TONIGHT] if tonight else []), ""],
        "rows": [_row(row, tonight) for row in found["rows"]],
        "notes": notes,
        "advice": sheet_advice(found),
    }
