"""game.csv: age and league, level and rules, the opponent's formation, the coach's signals."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import Any

from engine.errors import InputError
from engine.inputs.base import listed, spoken
from engine.inputs.files import Source, read_toml, shipped, shipped_source
from engine.inputs.levels import Level, level_from
from engine.inputs.rules import Rules, change_rules, rules_from
from engine.inputs.sheets.care import Care, care_of
from engine.inputs.sheets.cells import YES_NO, Assumed, Cells
from engine.inputs.sheets.columns import (
    DEFENCES,
    HELP_COLUMNS,
    spellings,
)
from engine.inputs.sheets.fronts import Front, read_fronts
from engine.inputs.sheets.questions import (
    COUNTED_AGAINST,
    GAME_COLUMNS,
    MEN_WORD,
    NOT_PLAYED,
    SCREENS,
    game_keys,
)
from engine.inputs.sheets.read import Row, SheetFile, key_of, read_sheet

#: Ages that the sheet may name (years).
LEAST_AGE, MOST_AGE = 5, 40
SPOTS = ("corner", "short_corner", "wing", "top")
_ADULTS = {"adults", "adult", "senior", "seniors", "open", "men", "women", "grown_ups", "grown_up"}
#: Words that players call to each other anyway (common practice, no source), and places.
SAID_ANYWAY = {
    *SPOTS,
    *"ball help shot box switch screen left right middle baseline cutter man zone home back trap".split(),
    *"double guard out go mine".split(),
}
_EXAMPLE = re.compile(r"example\b", re.IGNORECASE)


@dataclass(frozen=True)
class GameSheet:
    """What game.csv says. ``where`` is how it is shown; lengths and times are in ``rules``; of several
    ``fronts`` the likeliest stands first. ``plays``: names or files of what they run, None where nobody says;
    ``screens``: what is done about screens, ``counted_against``: what they mostly met where they were counted
    (COUNTED_AGAINST), None likewise."""

    where: str
    level: Level
    rules: Rules
    care: Care
    us: str
    them: str
    fronts: tuple[Front, ...]
    high_post: bool | None
    plays: tuple[str, ...] | None
    screens: str | None
    counted_against: str | None
    their_defence: str | None
    signals: dict[str, str]
    remarks: tuple[str, ...]


def _answers(file: SheetFile | None, where: str, assumed: Assumed) -> tuple[dict[str, Row], tuple[str, ...]]:
    """Key -> its row with the one column ``value`` renamed to the key; an example counts as empty."""
    if file is None:
        assumed.note(
            f"{where} is not there: school level with its usual rules, age and league rules unknown."
        )
        return {}, ()
    names = spellings((*game_keys(), NOT_PLAYED))
    sheet = read_sheet(file, where, spellings(GAME_COLUMNS), ("key", "value"), HELP_COLUMNS)
    found: dict[str, Row] = {}
    unknown: list[str] = []
    for row in sheet.rows:
        written, value = row.cells.get("key", ""), row.cells.get("value", "")
        key = names.get(key_of(written))
        if key is None:
            if written or value:
                unknown.append(written or value)
            continue
        if key in found:
            allowed = f"each key once (row {found[key].number} has it)"
            raise InputError(where, f"row {row.number}, key {key}", value, allowed)
        if _EXAMPLE.match(value):
            assumed.note(f"{PurePath(where).name} still holds the example at {key}: it counts as empty.")
            value = ""
        letters = {key: row.letters["value"]} if "value" in row.letters else {}
        found[key] = Row(row.number, {key: value}, letters)
    remarks = sheet.remarks
    if unknown:
        remarks += (f"{where}: not used, because unknown here: the key(s) {listed(unknown)}",)
    return found, remarks


class _Keys:
    """The answers by key, each read like a cell; errors name row and key."""

    def __init__(self, where: str, rows: dict[str, Row]) -> None:
        self.where, self.rows = where, rows

    def cells(self, key: str) -> Cells:
        return _KeyCells(self.where, self.rows.get(key, Row(0, {})))

    def text(self, key: str) -> str | None:
        return self.cells(key).text(key)

    def yes_no(self, key: str) -> bool | None:
        found = self.cells(key).choice(key, YES_NO, "yes, no or don't know")
        return None if found is None else found == "yes"


class _KeyCells(Cells):
    def key(self, column: str) -> str:
        return self.row.place(column, "key")


def _age(keys: _Keys, assumed: Assumed) -> tuple[int | None, bool]:
    """(age group in years, whether grown-ups)."""
    text = keys.text("age_group")
    if text is None:
        return None, False
    if key_of(text) in _ADULTS:
        return None, True
    body = re.sub(r"^(?:under|u)[ -]*|(?:years?|yrs?)$", "", text.casefold()).strip()
    last = re.split(r" ?(?:-|\u2013|to|/) ?", body)[-1].strip()
    if not last.isdecimal() or not last.isascii() or not LEAST_AGE <= int(last) <= MOST_AGE:
        allowed = f"an age such as 16 or under 16 (from {LEAST_AGE} to {MOST_AGE}), or adults"
        raise keys.cells("age_group").error("age_group", allowed)
    if key_of(text) not in (last, f"under_{last}"):
        assumed.read("age_group", text, f"under {last}")
    return int(last), False


def _names(kind: str) -> dict[str, str]:
    return {key_of(name): name for name in shipped(kind)}


def _level(keys: _Keys, source: Source, assumed: Assumed) -> Level:
    names = _names("levels")
    names |= {"under14": "under_14", "u14": "under_14", "u_14": "under_14", "pro": "professional"}
    names |= {"high_school": "school", "varsity": "school"}
    names = {word: name for word, name in names.items() if name in shipped("levels")}
    found = keys.cells("level").choice("level", names, f"one of {', '.join(shipped('levels'))}")
    if found is None:
        assumed.note("The level is not given: school.")
        found = "school"
    elif key_of(typed := keys.text("level") or "") != found:
        assumed.read("level", typed, spoken(found))
    place = shipped_source("levels", found)
    source.read.append(place.path)
    return level_from(read_toml(Source(place.path, place.shown, source.read)), place)


def _rules(keys: _Keys, level: Level, source: Source, assumed: Assumed) -> Rules:
    names = _names("rules") | {"school": "high_school"}
    found = keys.cells("rules").choice("rules", names, f"one of {', '.join(shipped('rules'))}")
    place = shipped_source("rules", found or level.rules)
    rules = rules_from(read_toml(Source(place.path, place.shown, source.read)), str(place))
    if found is None:
        assumed.note(f"The rule set is not given: {rules.title}, the usual one of the level.")
    changes: dict[str, Any] = {}
    minutes = keys.cells("quarter_minutes").number(
        "quarter_minutes", 1, 60, "minutes", ("minutes", "minute", "min")
    )
    if minutes is not None:
        changes["clock.period_s"] = minutes * 60.0
    periods = keys.cells("periods").whole("periods", 1, 10, "periods of a game")
    if periods is not None:
        changes["clock.periods"] = periods
    clock = keys.text("shot_clock")
    if clock is not None:
        off = key_of(clock) in ("none", "no", "off", "without")
        cells = keys.cells("shot_clock")
        seconds = 0.0 if off else cells.number("shot_clock", 0, 120, "seconds, or none", ("seconds", "s"))
        changes["clock.shot_s"] = seconds or 0.0
    if changes:
        rules = change_rules(rules, changes, keys.where)
    if minutes is None:
        n, length = rules.clock.periods, rules.clock.period_s / 60
        assumed.note(f"The length of a period is not given: {n} of {length:g} minutes, as in the rules.")
    return rules


def _taken(signals: dict[str, str], where: str) -> list[str]:
    """Signals that are said for something else on the floor, too."""
    words = [word for word in signals.values() if key_of(word) in SAID_ANYWAY]
    return [f'{where}: the signal "{word}" is also said for something else on the floor.' for word in words]


def _signals(keys: _Keys) -> dict[str, str]:
    """Spot -> the coach's own word, for the spots that have one."""
    found: dict[str, str] = {}
    for spot in SPOTS:
        key = f"signal_{spot}"
        word = keys.text(key)
        if word is None:
            continue
        if len(word) > 30 or not word.isprintable():
            raise keys.cells(key).error(key, "one short word, at most 30 letters")
        if word.casefold() in (other.casefold() for other in found.values()):
            raise keys.cells(key).error(key, "a word that no other signal has")
        found[spot] = word
    return found


def _plays(keys: _Keys) -> tuple[str, ...] | None:
    """Plays that they run: names of shipped ones and of files beside the sheets; None where nobody says."""
    text = keys.text("plays")
    if text is None:
        return None
    if key_of(text) in ("none", "no"):
        return ()
    known = {key_of(name): name for name in shipped("plays")}
    found = []
    for part in filter(None, (part.strip() for part in re.split(r"[,;/+&]|\band\b", text))):
        name = part if part.casefold().endswith(".toml") else known.get(key_of(part))
        if name is None:
            allowed = (
                f"some of {', '.join(map(spoken, known.values()))}, none, or a file such as our_cut.toml"
            )
            raise keys.cells("plays").error("plays", allowed)
        found.append(name)
    return tuple(dict.fromkeys(found))


def _without_effect(keys: _Keys, fronts: Sequence[Front], zone_played: bool) -> list[str]:
    """Answers that change nothing, told one by one."""
    said: list[str] = []
    if keys.yes_no("short_corner") is not None:
        said.append(
            f"{keys.where}: short_corner changes nothing: opponent_front and high_post say how they play."
        )
    if zone_played and keys.text("screens") is not None:
        said.append(f"{keys.where}: screens counts only for --zone-or-men, as a 2-3 zone is played.")
    names = [front.name for front in fronts]
    if names and "one" not in names and keys.yes_no("high_post") is not None:
        said.append(f"{keys.where}: high_post changes nothing with opponent_front {listed(names)}.")
    return said


def _defences() -> dict[str, str]:
    """Every spelling of a defence -> its file."""
    words = {key_of(word.removesuffix(" zone")): name for word, name in DEFENCES.items()}
    return {key_of(word): name for word, name in DEFENCES.items()} | words | {n: n for n in words.values()}


def _name(keys: _Keys, key: str, usual: str) -> str:
    name = keys.text(key)
    if name is not None and (len(name) > 60 or not name.isprintable()):
        raise keys.cells(key).error(key, "a name of at most 60 letters")
    return name or usual


def read_game(file: SheetFile | None, where: str, source: Source, assumed: Assumed) -> GameSheet:
    """Read game.csv; None where there is none. ``source.read`` gathers the files read.

    Raises InputError: one line with file, row, key, value and what is allowed.
    """
    rows, remarks = _answers(file, where, assumed)
    keys = _Keys(where, rows)
    age, adults = _age(keys, assumed)
    level = _level(keys, source, assumed)
    rules = _rules(keys, level, source, assumed)
    care = care_of(
        age,
        adults,
        keys.yes_no("zone_allowed"),
        keys.yes_no("trap_allowed"),
        keys.yes_no("press_when_far_ahead"),
        PurePath(where).name,
    )
    if level.name == "under_14" and (adults or (age or 0) > care.withhold_up_to_age):
        allowed = f"an age up to {care.withhold_up_to_age} with the level under_14, or another level"
        raise keys.cells("age_group").error("age_group", allowed)
    if age is None and not adults and level.name == "under_14":
        care = replace(care, age_group=care.withhold_up_to_age)
        assumed.note(f"The age group is not given: under {care.withhold_up_to_age}, as the level says.")
    if not adults and age is not None and age <= care.withhold_up_to_age and level.name != "under_14":
        assumed.note(
            f"Under {age} with the averages of the level {level.name}: the level under_14 fits better."
        )
    fronts = read_fronts(keys.cells("opponent_front"), "opponent_front")
    us, them = _name(keys, "us", "Us"), _name(keys, "them", "Them")
    if us.casefold() == them.casefold():
        raise keys.cells("them").error("them", "another name than your own team's")
    signals = _signals(keys)
    return GameSheet(
        where,
        level,
        rules,
        care,
        us,
        them,
        fronts,
        keys.yes_no("high_post"),
        _plays(keys),
        keys.cells("screens").choice(
            "screens", {one: one for one in SCREENS}, f"one of {', '.join(SCREENS)}"
        ),
        keys.cells("counted_against").choice(
            "counted_against",
            {key_of(word): word for word in COUNTED_AGAINST} | {"man": MEN_WORD, "men": MEN_WORD},
            f"one of {', '.join(COUNTED_AGAINST)}",
        ),
        keys.cells("their_defence").choice("their_defence", _defences(), f"one of {', '.join(DEFENCES)}"),
        signals,
        (*remarks, *_without_effect(keys, fronts, care.zone_played), *_taken(signals, where)),
    )
