"""The page of ``attack``: our five against their traps, self-contained (engine.report.page.page)."""

from __future__ import annotations

from engine.estimate.intervals import Found
from engine.inputs.scenario import Scenario
from engine.report.attack_view import HEADINGS, attack_view
from engine.report.page.court_card import call_card
from engine.report.replay.page import environment, own_part
from engine.report.words import WAY_WORDS


def attack_page(scenario: Scenario, found: Found) -> str:
    """The page (HTML). ``scenario``: the one played, in which we have the ball; ``found``: its JSON."""
    style, source = own_part("report.css")
    view = attack_view(found)
    cards = _cards(scenario, found)
    for one in view["calls"]:
        one["court"] = cards[one["call"]] if one["ways"] else None
    policy = f"default-src 'none'; style-src {source}; base-uri 'none'; form-action 'none'"
    template = environment().get_template("attack.html")
    return str(
        template.render(policy=policy, styles=(style,), title=view["title"], view=view, names=HEADINGS)
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
