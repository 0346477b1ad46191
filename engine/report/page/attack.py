"""The page of ``attack``: our five against their traps, self-contained (engine.report.page.shell)."""

from __future__ import annotations

from collections.abc import Sequence

from engine.estimate.intervals import Found
from engine.inputs.scenario import Scenario
from engine.report.attack_view import HEADINGS, MEN, attack_view
from engine.report.page.court_card import call_card
from engine.report.page.shell import origin_words, rendered
from engine.report.words import WAY_WORDS


def attack_page(scenario: Scenario, found: Found, care: Sequence[str] = ()) -> str:
    """The page (HTML). ``scenario``: the one played, in which we have the ball; ``found``: its JSON.

    ``care``: what a coach must read (``Evening.care.lines()``).
    """
    view = attack_view(found)
    cards = _cards(scenario, found)
    for one in view["calls"]:
        one["court"] = cards[one["call"]] if one["ways"] else None
    return rendered(
        "attack.html",
        ("report.css",),
        origin=origin_words(found),
        title=view["title"],
        view=view,
        names=HEADINGS,
        men=MEN,
        care=care,
    )


def _cards(scenario: Scenario, found: Found) -> dict[str, Found | None]:
    """Name of a call -> its court; None where whoever is nearest doubles."""
    cards: dict[str, Found | None] = {}
    for one in found["calls"]:
        s = next(i for i, setting in enumerate(scenario.settings) if setting.name == one["setting"])
        call = next(call for call in scenario.settings[s].calls if call.name == one["call"])
        out = one["after_trap"] if one["after_trap"]["ball"] is not None else None
        card = call_card(scenario, s, call, {"links": [], "after_trap": [out] if out else []})
        if card is not None:
            ways = [
                f"{100 * way['share']:.0f} {WAY_WORDS[way['to']]}"
                for way in one["after_trap"]["ways_out"]
                if way["share"]
            ]
            card |= {"words": f"Their {one['label']} trap. Of 100 passes out: {', '.join(ways)}."}
        cards[call.name] = card
    return cards
