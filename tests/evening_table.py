"""The table of questions and outputs: what each output of an evening answers, read out of its text.

``answers`` finds where an output speaks of a question and reads the figure there, whatever it is; nothing is
looked up by the figure that it should be. ``python tests/evening_table.py FOLDER`` prints the table of a
folder of sheets (what is not played yet is played first).
"""

from __future__ import annotations

import contextlib
import html
import io
import json
import re
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from engine import cli
from engine.inputs.base import spoken
from engine.report.words import around, saved

#: Outputs in the order of the table's columns; those of a report last.
TEXTS = ("compare", "plan", "timing", "lineup")
OUTPUTS = (*TEXTS, *(f"{name}.json" for name in TEXTS), "replay", "said", "page", "bench")
_NUMBER = r"-?\d+\.\d+"


def ran(*arguments: str) -> tuple[str, str]:
    """What a command prints, and what it says beside it."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        assert cli.run(list(arguments)) == 0, err.getvalue()
    return out.getvalue(), err.getvalue()


def one_line(text: str) -> str:
    """Text in one line, its HTML marks and pictures left out."""
    text = re.sub(r"<(style|svg).*?</\1>", " ", text, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def outputs(folder: Path, where: Path) -> tuple[dict[str, str], str]:
    """Every output of an evening as it is written, and what was said beside them."""
    found, said = {}, ""
    for name in TEXTS:
        target = where / f"{name}.json"
        more = ["--zone-or-men"] if name == "plan" else []
        out, err = ran(name, str(folder), *more, "--json", str(target))
        found |= {name: out, f"{name}.json": target.read_text(encoding="utf-8")}
        said += err
    page, bench = where / "page.html", where / "bench.html"
    out, err = ran("report", str(folder), "--zone-or-men", "-o", str(page), "--bench", str(bench))
    pages = {"page": page, "bench": bench}
    found |= {name: path.read_text(encoding="utf-8") for name, path in pages.items()}
    return found | {"said": out}, said + err


def replayed(folder: Path, setting: str, possessions: int, where: Path) -> str:
    """What ``replay`` says of a setting's first call."""
    more = ["--setting", setting, "-n", str(possessions), "-o", str(where / "replay.html")]
    return ran("replay", str(folder), *more)[0]


@dataclass(frozen=True)
class Row:
    """A question and what each place of each output answers: (output, place, answer)."""

    question: str
    cells: tuple[tuple[str, str, str], ...]

    def outputs(self) -> set[str]:
        """Outputs that answer it."""
        return {output for output, _, _ in self.cells}


def worth(said: str) -> str:
    """``0.17 (0.11 to 0.22)`` of whatever way a worth is spelled; ``?`` for what it leaves out."""
    numbers = re.findall(r"under \d+\.\d+|\d+\.\d+|nothing", said)
    values = [0.0 if one == "nothing" else float(one.removeprefix("under ")) for one in numbers]
    if said.startswith(("no clear difference", "cannot be told apart")):
        if not values:
            return "? (? to ?)"
        signs = [-1 if side == "lost" else 1 for side in re.findall("lost|saved|nothing", said)]
        signs += [signs[-1]] if len(signs) < 2 else []
        return "? ({} to {})".format(*(f"{sign * one:.2f}" for sign, one in zip(signs, values, strict=True)))
    if said.startswith("costs"):
        values = [-one for one in values]
    elif not said.startswith("saves"):
        values = [float(one) for one in re.findall(_NUMBER, said)]
    if len(values) == 1:
        return f"{values[0]:.2f} (? to ?)"
    mean, *ends = values
    return f"{mean:.2f} ({min(ends):.2f} to {max(ends):.2f})"


def ordered(headline: str, titles: list[str]) -> list[list[bool]]:
    """Of each order of a headline (``not against two guards``) whether it calls in each of the formations."""
    found = re.findall(r"(not )?(?i:against) ((?:one|two|overload)[a-z ,]*?)(?: call |[.;)]|$)", headline)
    return [[(one in where.split(", ")) != bool(out) for one in titles] for out, where in found]


def agree(answers: list[str]) -> bool:
    """Whether answers are one, where ``?`` fits all."""
    parts = [re.findall(r"\?|[^\s?()]+", one) for one in answers]
    if len({len(one) for one in parts}) > 1:
        return False
    return all(len(set(column) - {"?"}) <= 1 for column in zip(*parts, strict=True))


def _rows(page: str) -> Iterator[tuple[str, dict[str, str]]]:
    """(heading, cells by their label) of every table row of a page."""
    for row in re.findall(r"<tr.*?</tr>", page, re.DOTALL):
        head = re.search(r"<th[^>]*>(.*?)</th>", row, re.DOTALL)
        cells = re.findall(r'<td[^>]*data-label="([^"]*)"[^>]*>(.*?)</td>', row, re.DOTALL)
        if head:
            yield one_line(head[1]), {html.unescape(label): one_line(text) for label, text in cells}


def men_told(texts: dict[str, str]) -> dict[str, dict[int, str]]:
    """Output -> shirt of one of theirs -> which traps pay on him, in its words; "" where none is told.
    ``texts``: the outputs as they are written."""
    found: dict[str, dict[int, str]] = {"lineup": {}, "page": {}, "bench": {}}
    five = one_line(texts["lineup"]).partition("Their five ")[2]
    for number, said in re.findall(r"number (\d+) (.*?)(?=number \d+ |The engine knows)", five):
        told = re.search(r"trap pays: (.*?)(?:; guard at|; let him| \((?:his|their|[a-z -]+ on him))", said)
        found["lineup"][int(number)] = told[1] if told else ""
    for head, cells in _rows(texts["page"]):
        if "Trap pays" in cells:
            found["page"][int(head)] = cells["Trap pays"].strip("–")
    for head, _ in _rows(texts["bench"].partition('class="them"')[2].partition("</table>")[0]):
        if number := re.match(r"\d+", head):
            found["bench"][int(number[0])] = head.partition("trap pays: ")[2]
    return found


def _rules(bench: str) -> dict[str, str]:
    """Call -> when, on whom and how often, of each card of the bench page."""
    cards = re.findall(r'<section class="play">\s*<h2>(.*?)<span.*?class="rule">(.*?)</p>', bench, re.DOTALL)
    return {one_line(name): one_line(rule) for name, rule in cards}


def _cards(page: str) -> Iterator[tuple[str, dict[str, str]]]:
    """(name of the call, rows) of every card of a page."""
    for card in re.findall(r'<article class="card">.*?</article>', page, re.DOTALL):
        head = re.search(r'<h2><span class="first">(.*?)</span>', card, re.DOTALL)
        rows = re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", card, re.DOTALL)
        assert head is not None
        yield one_line(head[1]), {one_line(name): one_line(said) for name, said in rows}


def _is(head: str, name: str) -> bool:
    """Whether a row of the plan is of this call, advised or not."""
    return head.removesuffix(" (not advised)") == name


def _found(pattern: str, text: str) -> str | None:
    found = re.search(pattern, text)
    return None if found is None else found[1]


def _tonight(name: str, bench: str) -> str | None:
    """What the bench sheet says of tonight's rule for a call, alone or beside others."""
    return _found(rf"Tonight, (?:[^:.]* and )?(?<!short ){name}(?: and [^:.]*)?: (.*?)\.", bench)


def _stop(words: str) -> str:
    """Calls without a turnover that stop a call; crosses in so many calls; that no count tells."""
    if "no number" in words:
        return "no number"
    if crosses := re.search(r"(\d+) [a-z ]+ in (\d+) calls", words):
        return f"{crosses[1]} crosses in {crosses[2]}"
    return _found(r"(?:stop after|:) (\d+)", words) or words


class Evening:
    """The outputs of one evening, and what they answer about a call of the plan."""

    def __init__(self, found: dict[str, str]) -> None:
        self.raw = found
        self.text = {name: one_line(text) for name, text in found.items()}
        self.json: dict[str, Any] = {
            name: json.loads(found[f"{name}.json"]) for name in TEXTS if f"{name}.json" in found
        }

    def calls(self) -> list[Any]:
        """The plan's calls that ``compare`` has seen often enough for a range of what they save."""
        return [one for one in self.json["plan"]["calls"] if self._compared(one)["value"]["low"] is not None]

    def answers(self, call: Any) -> list[Row]:
        """Every question about a call of the plan (one of ``calls``)."""
        return [
            Row("worth of a call", tuple(self._worth(call))),
            Row("uses a game", tuple(self._uses(call))),
            Row("is advised", tuple(self._advised(call))),
            Row("stop rule", tuple(self._stop(call))),
            Row("late call", tuple(self._late())),
            Row("whom to trap", tuple(self._whom(call))),
            Row("comes first in", tuple(self._first(call))),
            *self._zone_or_men(),
        ]

    def _zone_or_men(self) -> list[Row]:
        """Every question about the zone and man-to-man; points saved."""
        rows = self.json["plan"]["zone_or_men"]["rows"]
        without, with_calls = rows["man_to_man"], rows.get("calls_beside_men")
        first = r"Without traps man-to-man (.*?)(?: points per 100 possessions)? beside the zone"
        then = r"With the advised calls the zone (.*?) beside man-to-man"
        game = r"against man-to-man, which (.*?) per 100 possessions, (?:{})?(.*?) in a game of"
        verb = "saves |costs |cannot be told apart "
        found = []
        for question, row, pattern in (
            ("men or zone", without, first),
            ("men or the calls", with_calls, then),
        ):
            if row is None:
                continue
            cells = [("plan.json", "rows", worth(saved(row["per_100"], 1, "")))]
            for output in ("plan", "said", "page"):
                said = (_found(pattern, self.text[output]) or "").replace(" points per 100 possessions", "")
                cells.append((output, "verdict", worth(said) if said else "nothing"))
            found.append(Row(question, tuple(cells)))
        cells = [("plan.json", "rows", worth(saved(without["per_game"], 1, "")))]
        for output in ("plan", "page"):
            said = re.search(game.format(verb), self.text[output])
            sign = (re.match(verb, said[1]) or [""])[0] if said else ""
            cells.append((output, "no traps", worth(f"{sign}{said[2]}") if said else "nothing"))
        return [*found, Row("men in a game", tuple(cells))]

    def _mine(self, rows: list[Any], call: Any) -> list[Any]:
        return [row for row in rows if (row["setting"], row["call"]) == (call["setting"], call["call"])]

    def _compared(self, call: Any) -> Any:
        setting = next(one for one in self.json["compare"]["settings"] if one["name"] == call["setting"])
        return next(one for one in setting["calls"] if one["call"] == call["call"])

    def _worth(self, call: Any) -> Iterator[tuple[str, str, str]]:
        name, setting, plan = spoken(call["call"]), call["setting"], self.json["plan"]
        yield "compare.json", "value", worth(around(self._compared(call)["value"], 2))
        yield "plan.json", "worth", worth(around(call["worth"], 2))
        yield "plan.json", "bonus", worth(around(plan["bonus"][call["label"]]["before"], 2))
        yield "plan.json", "by_use", worth(around(self._mine(plan["by_use"], call)[0]["before"], 2))
        block = _found(rf"{re.escape(setting)} -{{3,}} (.*?)(?: -{{3,}} |$)", self.text["compare"])
        said = _found(rf"Call {name}: .*? Worth (.*?) Turnovers", block or "")
        yield "compare", "block", worth(said or "")
        label = r"\s".join(map(re.escape, spoken(call["label"]).split()[:4]))
        first = _found(
            rf"Worth of a first use .*? (?<!short ){label}[^\d]*? ({_NUMBER} \([^)]*\))", self.text["plan"]
        )
        yield "plan", "first use", worth(first or "")
        use = _found(rf"Worth of use number .*? (?<!short ){label}[^\d]*? \(?({_NUMBER})", self.text["plan"])
        yield "plan", "by use", worth(use or "")
        for head, cells in _rows(self.raw["page"]):
            if head.removesuffix(" advised") == f"{name} ({setting})" and "Points a call" in cells:
                yield "page", "ledger", worth(cells["Points a call"])
            if _is(head, name) and "Before the bonus" in cells and self._mine(plan["mix"], call):
                yield "page", "in the game", worth(cells["Before the bonus"])
        for card, rows in self._cards_of(call):
            yield "page", f"card {card}", worth(rows["Worth"].partition(";")[0])
        weighed = {one["name"]: one for one in plan["formations"]["settings"]}
        if setting in weighed and len(plan["formations"]["formations"]) > 1:
            title = plan["formations"]["formations"][0]["title"]
            for head, cells in _rows(self.raw["page"]):
                if (
                    head == name
                    and title in cells
                    and len(plan["formations"]["formations"]) + 1 == len(cells)
                ):
                    yield "page", "formations", worth(cells[title])

    def _cards_of(self, call: Any) -> list[tuple[str, dict[str, str]]]:
        """The card of a planned call; none where another setting's call of that name is advised."""
        mine = self._mine(self.json["plan"]["mix"], call)
        cards = [one for one in _cards(self.raw["page"]) if one[0] == spoken(call["call"])]
        return [one for one in cards if mine and one[1]["How often"].startswith(mine[0]["often"])]

    def _uses(self, call: Any) -> Iterator[tuple[str, str, str]]:
        name = spoken(call["call"])
        yield "plan.json", "calls", str(call["uses_per_game"])
        for row in self._mine(self.json["plan"]["mix"], call):
            yield "plan.json", "mix", str(row["uses_per_game"])
            table = _found(rf"{self._plan_row(call)} (\d+) (?:yes|no) ", self.text["plan"])
            for output, place, text in (
                ("plan", "table", table),
                ("page", "table", next((cells["Use at most"] for head, cells in _rows(self.raw["page"])
                                        if _is(head, name) and "Use at most" in cells), None)),
            ):  # fmt: skip
                yield output, place, text or "nothing"
            for _, rows in self._cards_of(call):
                yield "page", "card", _found(r"up to (\d+) of", rows["How often"]) or "nothing"
                capital = name[:1].upper() + name[1:]
                for output in ("said", "plan"):
                    headline = self._headline(output)
                    if re.search(r"\d|once|twice", headline):  # else only where: its words are at most 12
                        often = _found(rf"\b(?<!short ){name} (?:up to )?(once|twice|\d+)", headline)
                        said = {"once": "1", "twice": "2"}.get(often or "", often or "nothing")
                        yield output, "headline", said
                    often = _found(rf"(?:\.|How often) {capital}: up to (\d+) of", self.text[output])
                    yield output, "often", often or "nothing"
                bench = _found(
                    rf"\b(?<!short ){name} (?:“[^”]*”|no signal given)?.*?up to (\d+) of", self.text["bench"]
                )
                yield "bench", "call", bench or "nothing"

    def _plan_row(self, call: Any) -> str:
        """The row of a call in the plan's table, up to how often it comes up."""
        label = r"\s".join(map(re.escape, spoken(call["label"]).split()[:4]))
        return rf"Planned comes up .*? (?<!short ){label}[^\d]*? \d+"

    def _headline(self, output: str) -> str:
        """The answer: the first sentence of what ``report`` says, and of the plan's advice."""
        text = self.text[output]
        return (text.partition(" Advice ")[2] if output == "plan" else text).partition(".")[0]

    def _advised(self, call: Any) -> Iterator[tuple[str, str, str]]:
        """Whether a planned call is advised, and if not, why."""
        name, plan = spoken(call["call"]), self.json["plan"]
        if not self._mine(plan["mix"], call):
            return

        def yes(found: object) -> str:
            return "yes" if found else "no"

        yield "plan.json", "advice", yes(self._mine(plan["advice"]["calls"], call))
        yield (
            "plan",
            "table",
            _found(rf"{self._plan_row(call)} \d+ (yes|no) ", self.text["plan"]) or "nothing",
        )
        yield "page", "cards", yes(self._cards_of(call))
        yield "bench", "tonight", yes(_tonight(name, self.text["bench"]))
        for head, cells in _rows(self.raw["page"]):
            if _is(head, name) and "Use at most" in cells:
                yield "page", "in the game", yes(head == name)
        for output in ("plan", "said"):
            yield output, "headline", yes(re.search(rf"\b(?<!short ){name}\b", self._headline(output)))
        for output in ("plan", "said", "page"):
            rest = re.search(rf"Planned, not advised: {name};", self.text[output])
            yield output, "the rest", yes(rest is None)

    def _stop(self, call: Any) -> Iterator[tuple[str, str, str]]:
        plan = self.json["plan"]
        for row in self._mine(plan["mix"], call):
            yield "plan.json", "mix", _stop(row["stop_after_words"])
            (rule,) = self._mine(plan["bench_rule"]["by_call"], call)
            yield "plan.json", "bench_rule", _stop(rule["words"])
            told = self.text["plan"].partition("On the bench")[2].partition("Fouls")[0]
            others = "|".join(re.escape(spoken(one["call"])) for one in plan["mix"])
            name = spoken(call["call"])
            said = re.search(rf"(?<!short )\b{name} (.*?)(?= (?:{others}) |$)", told)
            for _, rows in self._cards_of(call):
                yield "plan", "bench", _stop(said[1] if said else "nothing")
                yield "page", "card", _stop(rows["Stop"])
                yield "bench", "tonight", _stop(_tonight(name, self.text["bench"]) or "nothing")

    def _late(self) -> Iterator[tuple[str, str, str]]:
        for row in self.json["plan"]["late_game"][:1]:
            yield "plan.json", "late_game", spoken(row["call"])
            yield (
                "plan",
                "table",
                _found(r"behind by \d+, (?!at home)(.*?) trap ", self.text["plan"]) or "nothing",
            )
            yield (
                "page",
                "caption",
                _found(r"staying home, or the (.*?) trap at every", self.text["page"]) or "nothing",
            )
            said = _found(
                r"[Bb]ehind late, (?:it cannot be told whether )?calling (.*?) (?:at|helps)",
                self.text["page"],
            )
            yield "page", "words", said or "nothing"
            bench = _found(r"Behind late: (.*?)\.", self.text["bench"])
            if bench is not None:
                yield "bench", "line", bench

    def _whom(self, call: Any) -> Iterator[tuple[str, str, str]]:
        """Of a call with a card: shirts against whom it clearly pays."""
        name, lineup = spoken(call["call"]), self.json["lineup"]
        for _, rows in self._cards_of(call):
            (whom,) = (one for one in lineup["whom_by_call"] if one["call"] == call["call"])
            saves = sorted(whom["saves"])
            yield "lineup.json", "whom_by_call", " ".join(map(str, saves)) or "nobody"
            for output, card in (("page", rows["On whom"]), ("bench", _rules(self.raw["bench"])[name])):
                shown = _found(r"trap pays: ([\d, and]+)", card) or ""
                yield output, "card", " ".join(sorted(re.findall(r"\d+", shown), key=int)) or "nobody"
            for output in ("page", "bench"):
                numbers = [
                    (re.match(r"\d+", head) or [""])[0]
                    for head, cells in _rows(self.raw[output])
                    if re.search(rf"trap pays: (?:[^;]*, )?{name}\b", head)
                    or re.search(rf"^(?:[^:;]*, )?{name}\b", cells.get("Trap pays", ""))
                ]
                yield output, "their five", " ".join(sorted(set(numbers), key=int)) or "nobody"
            each = r"number (\d+) (.*?)(?=number \d+ |The engine knows)"
            told = {int(n): said for n, said in re.findall(each, self.text["lineup"])}
            trapped = [n for n in saves if re.search(rf"trap pays: (?:[^;(]*, )?{name}\b", told.get(n, ""))]
            yield "lineup", "their five", " ".join(map(str, trapped)) or "nobody"

    def _first(self, call: Any) -> Iterator[tuple[str, str, str]]:
        """Possessions that begin with the call, of those played."""
        n = self.json["compare"]["possessions"]
        yield "compare.json", "called", f"{self._compared(call)['called']:,} of {n:,}"
        said = _found(
            r"the call was the first one in ([\d,]+ of [\d,]+) possessions", self.text.get("replay", "")
        )
        if said is not None:
            yield "replay", "head", said


def lines(evening: Evening, call: Any) -> list[str]:
    """The table of one call: a row for each question, each answer with where it stands."""
    found = []
    for row in evening.answers(call):
        by: dict[str, list[str]] = {}
        for output, place, said in row.cells:
            by.setdefault(said, []).append(f"{output} ({place})")
        verdict = "one answer" if agree(list(by)) else "DIFFERENT"
        found.append(f"{row.question}: {verdict}")
        found += [f"  {said}: {', '.join(where)}" for said, where in by.items()]
        silent = [name for name in OUTPUTS if name not in row.outputs()]
        found.append(f"  says nothing of it: {', '.join(silent)}")
    return found


def main(folder: str) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        where = Path(scratch)
        found, _ = outputs(Path(folder), where)
        evening = Evening(found)
        for call in evening.calls():
            n = evening.json["compare"]["possessions"]
            evening = Evening(found | {"replay": replayed(Path(folder), call["setting"], n, where)})
            print("\n".join([f"{spoken(call['call'])} ({call['setting']})", *lines(evening, call), ""]))


if __name__ == "__main__":
    main(sys.argv[1])


def named(call: str, calls: list[str], headline: str) -> bool:
    """Whether a headline names the call itself, not another one whose name holds its name."""
    for longer in (other for other in calls if call in other and other != call):
        headline = headline.replace(longer, "")
    return re.search(rf"\b{re.escape(call)}\b", headline) is not None
