"""The text of ``attack``: our five against their traps."""

from __future__ import annotations

from engine.estimate.intervals import Found
from engine.report.attack_view import HEADINGS, MEN, attack_view
from engine.report.words import finished, labelled, paragraph, sentence, table


def attack_text(found: Found, with_detail: bool = False) -> str:
    """The text from the JSON result; ``with_detail`` appends everything."""
    view = attack_view(found)
    lines = [paragraph(view["title"]), paragraph(f"{view['possessions']} against each trap."), ""]
    lines += [paragraph(view["answer"]), "", labelled("Without traps", view["home"])]
    lines += [labelled("With all", view["beside"])] if view["beside"] else []
    lines += [labelled("Bring it up", view["carrier"])] if view["carrier"] else []
    lines += [labelled("Change", view["change"])] if view["calls"] else []
    for call in view["calls"]:
        lines += ["", sentence(call["name"]), "-" * len(call["name"])]
        lines += [labelled(label, text) for label, text in call["rows"]]
        lines += table([MEN, *call["men"]]) if call["men"] else []
        lines += ["", *table([HEADINGS, *call["ways"]])] if call["ways"] else []
    lines += ["", paragraph(view["note"]), *(paragraph(line) for line in view["taken"])]
    return finished(found, lines, with_detail)
