"""Defences side by side: what another defence concedes against home, and what that comes from."""

from __future__ import annotations

from collections.abc import Mapping

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.rounding import rounded_together
from engine.report.words import (
    FACTOR_WORDS,
    around,
    labelled,
    plain,
    saved,
    scaled,
    useful_decimals,
)

PER_100 = {"three_attempts": "threes", "rim_attempts": "shots at the rim", "fouls": "fouls"}


def options_named(defence: Found, other: Found | None = None) -> str:
    """``2-3 zone``; with the options that differ from another of the same file, and its coded policy."""
    same = other is not None and other["name"] == defence["name"]
    apart = [
        f"{spoken(name)} {spoken(choice)}"
        for name, choice in defence["options"].items()
        if same and other is not None and other["options"].get(name) != choice
    ]
    if defence["policy"] is not None:
        apart.append(f"policy {defence['policy']}")
    return plain(defence["title"] + (f" ({', '.join(apart)})" if apart else ""))


def plays_named(own: Mapping[str, str], usual: Mapping[str, str]) -> str:
    """Plays (name -> title) beside the usual: ``without drive and kick; besides: a cut``, or ``none``."""
    if not own:
        return "none"
    fewer = ", ".join(title for name, title in usual.items() if name not in own)
    more = ", ".join(title for name, title in own.items() if name not in usual)
    return plain("; ".join(one for one in (fewer and f"without {fewer}", more and f"besides: {more}") if one))


def is_other(setting: Found, home: Found) -> bool:
    """True where a setting has another defence than staying home, or other plays of the attack."""
    return any(setting[key] != home[key] for key in ("base_defence", "plays"))


def defences_of(result: Found) -> list[str]:
    """The defences of a comparison, each once, home's first."""
    home = result["baseline"]["base_defence"]
    named = [
        options_named(block["base_defence"], home) for block in (result["baseline"], *result["settings"])
    ]
    return list(dict.fromkeys(named))


def home_note(result: Found) -> str:
    """What staying home is, and what the settings are compared by."""
    home = result["baseline"]
    title = options_named(home["base_defence"])
    others = ["another defence"] if len(defences_of(result)) > 1 else []
    if any(setting["plays"] != home["plays"] for setting in result["settings"]):
        others.append("an attack with other plays")
    if not others:
        return (
            f"Staying home is the {title} with no trap. Every setting plays the same possessions with the "
            "same luck and adds its traps, so what differs is the traps alone."
        )
    return (
        f"Staying home is the {title} with no trap. Every setting plays the same possessions with the same "
        f"luck. {' or '.join(others).capitalize()} is weighed as a whole against home; traps in it are "
        "weighed against the same without them."
    )


def defence_block(setting: Found, home: Found, possessions: int) -> list[str]:
    """Lines on a setting with another defence or other plays: conceded, against home, what it comes from."""
    points, at_home = (scaled(block["points_per_possession"], 100) for block in (setting, home))
    decimals = max(useful_decimals(points), useful_decimals(at_home))
    conceded = f"{around(points, decimals)} points per 100 possessions; home {around(at_home, decimals)}"
    change = saved(scaled(setting["change"], -100), 1, "points per 100 possessions")
    lines = [
        labelled("Defence", options_named(setting["base_defence"], home["base_defence"])),
        labelled("Conceded", conceded),
        labelled("Against home", change),
    ]
    if setting["plays"] != home["plays"]:
        lines.insert(1, labelled("Their plays", plays_named(setting["plays"], home["plays"])))
    if setting["factors"]["shooting"]["mean"] is not None:
        lines.append(labelled("It comes from", comes_from(setting["factors"], setting["change"]["mean"])))
    rates = []
    for name, words in PER_100.items():
        own, other = (f"{100 * block['box'][name] / possessions:.0f}" for block in (setting, home))
        rates.append(f"{words} {own} (home {other})")
    return [*lines, labelled("Per 100", f"possessions: {', '.join(rates)}")]


def comes_from(factors: Found, change: float) -> str:
    """``shooting -1.2, turnovers +0.4, ...; adds up to -0.9 points conceded``; the printed figures do."""
    parts = [factors[name] for name in FACTOR_WORDS]
    figures, total = rounded_together([100 * part["mean"] for part in parts], 100 * change, 1)
    said = ", ".join(
        f"{words} {_signed(figure)}" for words, figure in zip(FACTOR_WORDS.values(), figures, strict=True)
    )
    text = f"{said}; adds up to {_signed(total)} points conceded"
    unclear = [
        words
        for words, part in zip(FACTOR_WORDS.values(), parts, strict=True)
        if part["low"] is not None and part["low"] <= 0 <= part["high"] and part["low"] < part["high"]
    ]
    if any(part["low"] is None for part in parts):
        return f"{text}; too few possessions for ranges"
    if len(unclear) == len(parts):
        return f"{text}; none of it is clear yet"
    return text + (f"; not clear yet: {', '.join(unclear)}" if unclear else "")


def _signed(figure: float) -> str:
    return f"{figure:+.1f}" if figure else "0.0"
