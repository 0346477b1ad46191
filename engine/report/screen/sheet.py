"""The coach's sheet beside the model as lines of at most 80 columns."""

from __future__ import annotations

from engine.estimate.intervals import Found
from engine.report.sheet_view import sheet_told, sheet_view
from engine.report.words import paragraph, table


def sheet_warning(result: Found) -> list[str]:
    """Before the answer: that the model does not follow the sheet, and an empty line; [] where it does.

    ``result``: of a command, with the JSON of the part sheet at its key where a folder was played.
    """
    told = sheet_told(result.get("sheet", {}))
    return [paragraph(told), ""] if told else []


def sheet_lines(found: Found) -> list[str]:
    """The table, what to know of it, and the advice; [] where the sheet counts too little."""
    view = sheet_view(found)
    if view is None:
        return []
    cells = [[row["label"], *row["cells"]] for row in view["rows"]]
    said = [*view["notes"], *([view["advice"]] if view["advice"] else [])]
    return [
        view["title"],
        *table([view["names"], *cells]),
        *(line for text in said for line in paragraph(text).splitlines()),
    ]
