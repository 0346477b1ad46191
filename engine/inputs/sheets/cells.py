"""Cells to values: numbers, choices, made and attempted. Errors are one line: file, row, column, value."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from engine.errors import InputError, MissingInput
from engine.inputs.base import number_text
from engine.inputs.sheets.read import Row, key_of

#: What a cell may hold that means: not known.
UNKNOWN = {
    "na",
    "n_a",
    "unknown",
    "dont_know",
    "don_t_know",
    "do_not_know",
    "not_known",
    "none_known",
}
YES_NO = {
    "yes": "yes",
    "y": "yes",
    "true": "yes",
    "x": "yes",
    "1": "yes",
    "no": "no",
    "n": "no",
    "false": "no",
    "0": "no",
}
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")
_FRACTION = re.compile(r"([0-9]{1,5}) ?(?:/|:|of|from|\\) ?([0-9]{1,5})", re.IGNORECASE)
_DATE = re.compile(r"[0-9]{1,4}[-./ ][0-9a-z]{1,9}[-./ ]?[0-9]{0,4}", re.IGNORECASE)
#: Most shots or fouls of one kind on a sheet (count).
MOST_COUNT = 9999


@dataclass(frozen=True)
class Tried:
    """Made and attempted. ``attempted`` None: only makes are known; ``share``: only a percentage is."""

    made: int | None = None
    attempted: int | None = None
    share: float | None = None


def number_in(text: str) -> float | None:
    """The number a cell says: decimal point or comma, percent sign; None when it is no number."""
    body = text.replace("\u2212", "-").strip()
    percent = body.endswith("%")
    body = body.removesuffix("%").strip()
    if not _NUMBER.fullmatch(body):
        return None
    value = float(body.replace(",", "."))
    return value / 100 if percent else value


def _looks_like_date(text: str) -> bool:
    return bool(_DATE.fullmatch(text)) and number_in(text) is None and not _FRACTION.fullmatch(text)


class Cells:
    """The cells of one row, read by column.

    Every method returns None for a cell that is empty or says that it is not known, and raises InputError
    naming file, row, column, value and what is allowed.
    """

    def __init__(self, where: str, row: Row) -> None:
        self.where, self.row = where, row

    def key(self, column: str) -> str:
        return self.row.place(column)

    def error(self, column: str, allowed: str) -> InputError:
        return InputError(self.where, self.key(column), self.row.cells.get(column, ""), allowed)

    def missing(self, column: str, allowed: str) -> MissingInput:
        return MissingInput(self.where, self.key(column), allowed)

    def text(self, column: str) -> str | None:
        text = self.row.cells.get(column, "")
        return None if not text.strip("-\u2013\u2014?.") or key_of(text) in UNKNOWN else text

    def choice(self, column: str, names: Mapping[str, str], allowed: str, empty: bool = True) -> str | None:
        """One of ``names`` (spelling -> value); ``empty``: whether the cell may be left so."""
        text = self.text(column)
        if text is None:
            return None
        value = names.get(key_of(text))
        if value is None:
            raise self.error(column, f"{allowed}; or leave it empty" if empty else allowed)
        return value

    def yes_no(self, column: str) -> bool | None:
        found = self.choice(column, YES_NO, "yes or no")
        return None if found is None else found == "yes"

    def several(self, column: str, names: Mapping[str, str], allowed: str) -> tuple[str, ...]:
        """Some of ``names``, separated by blanks, commas, semicolons, slashes, plus signs or "and"."""
        text = self.text(column)
        if text is None:
            return ()
        whole = names.get(key_of(text))
        parts = [key_of(part) for part in re.split(r"[\s,;/+&]+|\band\b", text) if key_of(part)]
        found: list[str] = [whole] if whole else []
        for part in () if whole else parts:
            if part not in names:
                raise self.error(column, f"{allowed}; or leave it empty")
            found.append(names[part])
        return tuple(dict.fromkeys(name for item in found for name in item.split(" ")))

    def number(
        self,
        column: str,
        low: float,
        high: float,
        unit: str,
        behind: Sequence[str] = (),
        scale: Callable[[float], float] | None = None,
    ) -> float | None:
        """A number from ``low`` to ``high``; one of the words ``behind`` it is passed over."""
        text = self.text(column)
        if text is None:
            return None
        ends = "|".join(re.escape(word) for word in behind)
        body = re.sub(rf" ?(?:{ends})\.?$", "", text, flags=re.IGNORECASE) if ends else text
        value = number_in(body)
        if value is not None and scale is not None:
            value = scale(value)
        if value is None or not low <= value <= high or "%" in text:
            raise self.error(column, f"a number from {number_text(low)} to {number_text(high)} ({unit})")
        return value

    def whole(self, column: str, low: int, high: int, meaning: str) -> int | None:
        """A whole number from ``low`` to ``high`` (``7.0`` as a spreadsheet may write it counts)."""
        text = self.text(column)
        if text is None:
            return None
        value = number_in(text)
        if value is None or value != int(value) or not low <= value <= high or "%" in text:
            raise self.error(column, f"a whole number from {low} to {high} ({meaning})")
        return int(value)

    def shirt(self, column: str = "number") -> int:
        """A shirt number; it must be there."""
        text = re.sub(r"^(?:#|no\.? ?|nr\.? ?)", "", self.row.cells.get(column, ""), flags=re.IGNORECASE)
        value = number_in(text)
        if not text:
            raise self.missing(column, "a shirt number from 0 to 99")
        if value is None or value != int(value) or not 0 <= value <= 99 or "%" in text or text[0] in "+-":
            raise self.error(column, "a shirt number from 0 to 99")
        return int(value)

    def tried(self, column: str, attempts_column: str = "", percent_column: str = "") -> Tried:
        """Made, or made and attempted (34/110, 34 of 110, or a second column), or a percentage (45%, or 45 in
        a third column)."""
        text = self.text(column)
        if text is None and percent_column and self.text(percent_column) is not None:
            return self._percentage(percent_column, attempts_column)
        attempted = self.whole(attempts_column, 0, MOST_COUNT, "attempts") if attempts_column else None
        allowed = "made (12), made/attempted (12/34 or 12 of 34) or a percentage (35%); or leave it empty"
        if text is None:
            if attempted is not None:
                raise self.missing(column, f"what was made of the {attempted} attempted")
            return Tried()
        fraction = _FRACTION.fullmatch(text)
        if fraction:
            made, of = int(fraction.group(1)), int(fraction.group(2))
            if made > of:
                raise self.error(column, "made/attempted with made at most attempted")
            if attempted is not None and attempted != of:
                other = self.row.heading(attempts_column)
                raise self.error(column, f"the {attempted} attempted of the column {other}")
            return Tried(made, of)
        value = number_in(text)
        if value is None or value < 0:
            hint = (
                "; a spreadsheet may have made a date of it, write 3 of 10" if _looks_like_date(text) else ""
            )
            raise self.error(column, allowed + hint)
        if "%" in text or value != int(value):
            if not 0 <= value <= 1:
                raise self.error(column, allowed)
            if attempted is not None:
                return Tried(round(value * attempted), attempted)
            return Tried(share=value)
        if value > MOST_COUNT:
            raise self.error(column, f"a whole number from 0 to {MOST_COUNT}")
        if attempted is not None and value > attempted:
            raise self.error(column, f"at most the {attempted} attempted (or a percentage: {value:g}%)")
        return Tried(int(value), attempted)

    def _percentage(self, column: str, attempts_column: str) -> Tried:
        value = number_in(self.text(column) or "")
        share = value if value is None or value <= 1 else value / 100
        if share is None or not 0 <= share <= 1:
            raise self.error(column, "a percentage from 0 to 100; or leave it empty")
        attempted = self.whole(attempts_column, 0, MOST_COUNT, "attempts")
        return Tried(share=share) if attempted is None else Tried(round(share * attempted), attempted)


class Assumed:
    """What was filled in, gathered so that each thing is said once."""

    def __init__(self) -> None:
        self._lines: dict[str, list[int]] = {}
        self._read: dict[str, None] = {}

    def read(self, where: str, typed: str, as_: str) -> None:
        """A cell was read as something else than stands in it; all of them are said in one line."""
        self._read[f'"{typed}" in {where} as {as_}'] = None

    def note(self, line: str) -> None:
        """Something said as it is, once."""
        self._lines.setdefault(line, [])

    def missing(self, what: str, number: int) -> None:
        """``what`` holds for this shirt number too; it is said once for all of them, in place of {who}."""
        numbers = self._lines.setdefault(what, [])
        if number not in numbers:
            numbers.append(number)

    def lines(self, teams: Mapping[str, Sequence[int]]) -> tuple[str, ...]:
        """Sentences in the order in which they came up. ``teams``: team -> all its shirt numbers; a sentence
        that names the team and holds for all of them says everyone."""
        said: list[str] = []
        for what, numbers in self._lines.items():
            everyone = any(
                f"{team}, {{who}}" in what and len(all_of) > 1 and set(numbers) >= set(all_of)
                for team, all_of in teams.items()
            )
            who = "everyone" if everyone else "No. " + ", ".join(str(n) for n in sorted(numbers))
            said.append(what.replace("{who}", who) if numbers else what)
        if self._read:
            said.append(f"Read as meant, not as typed: {'; '.join(self._read)}.")
        return tuple(said)
