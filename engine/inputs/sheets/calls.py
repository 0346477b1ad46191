"""The sheet of calls: a coach's own ideas, each weighed as a setting of its own beside the usual ones.

A row starts from the shipped call for that spot in the defence that is played and changes what the row says.
Rows with the same word are one idea: they are one setting with several calls. A call that is equal to one
that is weighed anyway is that call, and is told as such.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import Any

from engine.inputs.base import spoken
from engine.inputs.calls import Call, call_from, misfit
from engine.inputs.files import Source, read_toml, shipped_source
from engine.inputs.roles import DYNAMIC_DOUBLES
from engine.inputs.rules import Rules
from engine.inputs.settings import Setting, fitting_calls
from engine.inputs.sheets.cells import Cells, number_in
from engine.inputs.sheets.columns import (
    CALL_COLUMNS,
    CALL_PLACES,
    HELP_COLUMNS,
    TRIGGER_WORDS,
    spellings,
    trigger_word,
)
from engine.inputs.sheets.game import GameSheet
from engine.inputs.sheets.read import Sheet, SheetFile, key_of, read_sheet
from engine.inputs.team import Team
from engine.inputs.zone import Zone, chosen
from engine.state.record import MOST_CALLS

#: What the sheet calls a place -> the spots that calls have there, the first that the defence has a call for.
SPOTS = {
    "corner": ("corner",),
    "short_corner": ("short corner",),
    "low_post": ("short corner",),
    "wing": ("wing",),
    "top": ("top", "half court"),
    "half_court": ("top", "half court"),
    "half_court_corner": ("half-court corner",),
}
SHARES = {
    "every_time": 1.0,
    "always": 1.0,
    "every_second_time": 1 / 2,
    "half_the_time": 1 / 2,
    "every_third_time": 1 / 3,
    "every_fourth_time": 1 / 4,
}
#: A frequency such as "2", "twice a quarter" or "three times per game": count and, if said, of what.
_TIMES = re.compile(
    r"(?:(?P<word>[a-z]+)|(?P<count>\d{1,3})(?:[.,]0)?)(?P<times> times)?"
    r"(?: (?:a|per|each|every|in a|in each|in every) (?P<of>quarter|period|half|game))?"
)
_COUNTS = {"once": 1, "twice": 2, "thrice": 3} | {
    word: n for n, word in enumerate("two three four five six seven eight nine ten".split(), 2)
}
_EVERYBODY = ("everybody", "everyone", "all", "anybody")
_WEAK = ("weak_handlers", "weak", "weak_ones")
WHOSE = {"ours": "ours", "our": "ours", "us": "ours", "theirs": "theirs", "their": "theirs", "them": "theirs"}
_NEAREST = ("nearest_two", "nearest", "the_nearest_two", "two_nearest")
#: The words for who doubles that the sheet asks for; a defence with other roles doubles with the nearest two.
_ASKED = ("near_guard", "far_guard", "near_forward", "far_forward", "centre")
_ROLES = {
    "center": "centre",
    "far_center": "far_centre",
    "near_wing": "near_forward",
    "far_wing": "far_forward",
}
#: Most letters of a coach's word, so that a setting's name fits a line of a table.
MOST_LETTERS = 20


@dataclass(frozen=True)
class OwnCalls:
    """The coach's own ideas as settings; ``signals``: name of a call -> his word; remarks; ``told``: what
    each row was understood as, a sentence each."""

    settings: tuple[Setting, ...] = ()
    signals: dict[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    told: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Idea:
    """A row: ``said`` the columns that say something of the call."""

    word: str
    cells: Cells
    call: Call
    said: frozenset[str]


def _of(listed: Sequence[str], fit: Sequence[str]) -> str:
    """What a cell may hold: of the words that its note lists those that fit, and which do not."""
    rest = [word for word in listed if word not in fit]
    return f"one of {', '.join(fit)}" + (f" (not here: {', '.join(rest)})" if rest else "")


def _base(one: Cells, zone: Zone, source: Source) -> Source:
    """File of the shipped call for the row's spot."""
    fits = {
        call_from(read_toml(found), str(found)).spot: found
        for name in reversed(
            fitting_calls(zone)
        )  # of two for a spot the first; a trap of a screen is no usual one
        for found in (shipped_source("calls", name),)
    }
    places = {word: spots for word, spots in SPOTS.items() if any(spot in fits for spot in spots)}
    names = {word: word for word in places}
    allowed = _of(CALL_PLACES, [word for word in CALL_PLACES if key_of(word) in places])
    where = one.choice("where", names, allowed, empty=False)
    if where is None:
        raise one.missing("where", allowed)
    found = next(fits[spot] for spot in places[where] if spot in fits)
    source.read.append(found.path)
    return found


def _uses(text: str, rules: Rules, bare: bool) -> int | None:
    """Uses in a game that a frequency says; None: it is none. ``bare``: a count alone is of a game."""
    told = _TIMES.fullmatch(text.casefold())
    if told is None or not (bare or told["of"]):
        return None
    n = int(told["count"]) if told["count"] else _COUNTS.get(told["word"], 0)
    return n * {"quarter": 4, "half": 2, "period": rules.clock.periods}.get(told["of"], 1) or None


def _share(one: Cells, rules: Rules) -> tuple[float | None, int | None]:
    """How often a chance is taken, 0 to 1, and how many times a game, where that is how it is said: then
    every chance until they are used."""
    text = one.text("how_often")
    if text is None:
        return None, None
    uses = _uses(text, rules, bare=False)
    if uses is not None:
        return 1.0, uses
    value = SHARES.get(key_of(text), number_in(text) if text.endswith("%") else None)
    if value is None or not 0 < value <= 1:
        raise one.error(
            "how_often",
            "every time, every second, third or fourth time, a percentage such as 40%, or so many times a "
            "quarter, half or game, such as twice a quarter",
        )
    return value, None


def _most(one: Cells, rules: Rules, often: int | None) -> int | None:
    """Most uses in a game: a count, or a count for each period. ``often``: what how_often says of it."""
    text = one.text("most_a_game")
    if text is None:
        return often
    found = _uses(text, rules, bare=True)
    if found is None:
        raise one.error("most_a_game", "a number of uses such as 6, or 2 a quarter; or leave it empty")
    if often is not None and often != found:
        raise one.error("most_a_game", f"the {often} a game that how_often says, or leave one of them empty")
    return found


def _whom(one: Cells, team: Team, targets: Sequence[int], named: Sequence[int]) -> tuple[int, ...]:
    """Shirt numbers of the handlers it is meant for; none: for everybody. ``named``: starters of theirs who
    stand on a sheet; the others are average players with numbers that nobody wears."""
    text = one.text("on_whom")
    if text is None or key_of(text) in _EVERYBODY:
        return ()
    if not named:
        raise one.error(
            "on_whom",
            f"empty (everybody) as long as there is no sheet of {team.name}, or nobody on it; to trap "
            "one of them, write his number there first, with yes at starts",
        )
    if key_of(text) in _WEAK:
        if not targets:
            raise one.error(
                "on_whom", "shirt numbers (nobody who starts for them is marked no at handles_pressure)"
            )
        return tuple(targets)
    parts = re.split(
        r"[\s,;/+&]+|\band\b", re.sub(r"(?:no\.?|nr\.?|#)\s*(?=\d)", "", text, flags=re.IGNORECASE)
    )
    found: list[int] = []
    for part in filter(None, parts):
        value = number_in(part)
        if value is None or value not in named:
            starters = ", ".join(str(number) for number in sorted(named))
            raise one.error(
                "on_whom",
                f"shirt numbers of those who start for {team.name} ({starters}), weak handlers, or empty",
            )
        found.append(int(value))
    return tuple(dict.fromkeys(found))


def _names_two(one: Cells) -> bool:
    text = one.text("who_doubles")
    return text is not None and key_of(text) not in _NEAREST


def _doubles(one: Cells, zone: Zone, data: dict[str, Any]) -> dict[str, Any]:
    """The changes that other trappers need: who is set free takes the place of who now doubles."""
    text = one.text("who_doubles")
    if text is None:
        return {}
    if key_of(text) in _NEAREST:
        return {"doubles": list(DYNAMIC_DOUBLES)}
    dynamic = tuple(data["doubles"]) == DYNAMIC_DOUBLES
    parts = [key_of(part) for part in re.split(r"[,;/+&]|\band\b", text) if key_of(part)]
    roles = [_ROLES.get(part, part) if part not in zone.roles else part for part in parts]
    known = _ASKED if dynamic else zone.roles
    if len(set(roles)) != 2 or not set(roles) <= set(known):
        named = ", ".join(spoken(role) for role in known)
        raise one.error("who_doubles", f"two of {named}, or nearest two; or leave it empty")
    if dynamic:
        return {}
    old = list(data["doubles"])
    freed = [role for role in old if role not in roles]
    taken = [role for role in roles if role not in old]
    now = dict(zip(taken, freed, strict=True))
    changes: dict[str, Any] = {
        "doubles": roles,
        "cover": {now.get(role, role): entry for role, entry in data["cover"].items()},
    }
    if "option" in data:
        changes["option"] = [{**row, "role": now.get(row["role"], row["role"])} for row in data["option"]]
    return changes


def _triggers(one: Cells, data: dict[str, Any]) -> dict[str, Any]:
    text = one.text("trigger")
    if text is None:
        return {}
    names = {key_of(word): name for word, name in TRIGGER_WORDS.items()}
    names |= {name: name for name in TRIGGER_WORDS.values()}
    top = any(region in ("top", "slot", "half_court_corner") for region in data["ball"])
    men = tuple(data["doubles"]) == DYNAMIC_DOUBLES  # screens are set where every defender has a man
    fits = {"across_half": top, "brought_down": top and "from_baseline_m" in data, "screen": men}
    words = [word for word, name in TRIGGER_WORDS.items() if fits.get(name, True)]
    found: list[str] = []
    for part in re.split(r"[,;/+&]|\bor\b|\band\b", text):
        name = names.get(key_of(part))
        if name is None or not fits.get(name, True):
            listed, fit = (list(map(trigger_word, of)) for of in (TRIGGER_WORDS, words))
            raise one.error("trigger", f"{_of(listed, fit)}; or leave it empty")
        found.append(name)
    if {"across_half", "brought_down"} <= set(found):
        raise one.error("trigger", "over half court or brought down, not both")
    changes: dict[str, Any] = {"triggers": list(dict.fromkeys(found))}
    if "brought_down" in data["triggers"] and "brought_down" not in found:
        changes["from_baseline_m"] = None  # the band that it was brought down into
    return changes


def _word(one: Cells) -> str:
    word = one.text("word") or ""
    if len(word) > MOST_LETTERS or not word.isprintable():
        raise one.error("word", f"one short word, at most {MOST_LETTERS} letters")
    return word


def _idea(
    one: Cells,
    zone: Zone,
    rules: Rules,
    team: Team,
    targets: Sequence[int],
    named: Sequence[int],
    source: Source,
) -> _Idea:
    word, base = _word(one), _base(one, zone, source)
    data = read_toml(base)
    share, often = _share(one, rules)
    most = _most(one, rules, often)
    changes: dict[str, Any] = {**_doubles(one, zone, data), **_triggers(one, data)}
    changes |= {} if share is None else {"probability": share}
    changes |= {} if most is None else {"budget": most}
    changes["only_against"] = list(_whom(one, team, targets, named))
    call = call_from({**data, **changes}, one.where)
    wrong = misfit(call, zone)
    if wrong is not None:
        raise one.error("who_doubles", f"other trappers, or empty ({wrong[0]}: {wrong[2]})")
    said = {column.name for column in CALL_COLUMNS if one.text(column.name) is not None}
    return _Idea(word, one, call, frozenset(said if often is None else said | {"most_a_game"}))


def _grouped(ideas: Sequence[_Idea], whose: str) -> dict[str, list[_Idea]]:
    """Name of a setting -> its ideas: those with the same word, each of the others alone."""
    groups: dict[str, list[_Idea]] = {}
    for idea in ideas:
        name = f"{idea.word} ({whose} call)" if idea.word else f"{whose} {idea.call.spot} trap"
        same = next((known for known in groups if known.casefold() == name.casefold()), name)
        if not idea.word and same in groups:
            same = next(f"{name} {k}" for k in range(2, len(ideas) + 2) if f"{name} {k}" not in groups)
        groups.setdefault(same, []).append(idea)
    return groups


def _check(mine: Sequence[_Idea]) -> None:
    covered: dict[str, Cells] = {}
    for idea in mine:
        if len(mine) > MOST_CALLS and idea is mine[MOST_CALLS]:
            raise idea.cells.error("word", f"at most {MOST_CALLS} rows with the same word")
        for region in idea.call.ball:
            if region in covered:
                row = covered[region].row.number
                raise idea.cells.error("where", f"each place once for one word (row {row} has it)")
            covered[region] = idea.cells


def _content(call: Call) -> str:
    """All of a call but what it is called."""
    return call.model_dump_json(exclude={"name", "title"})


def _contents(calls: Sequence[Call]) -> tuple[str, ...]:
    return tuple(sorted(_content(call) for call in calls))


def _sentence(idea: _Idea, name: str, whose: str) -> str:
    """What a row was understood as, and what of it was assumed."""
    call = idea.call
    shares = {share: words for words, share in reversed(SHARES.items())}
    often = shares.get(call.probability)
    triggers = {code: words for words, code in TRIGGER_WORDS.items()}
    two = "the nearest two" if call.dynamic else " and ".join(spoken(role) for role in call.doubles)
    whom = ", ".join(str(number) for number in call.only_against)
    parts = {
        "on_whom": f"on No. {whom}" if whom else "on everybody",
        "how_often": spoken(often) if often else f"{100 * call.probability:.0f} of 100 times",
        "most_a_game": f"at most {call.budget} a game"
        if call.budget is not None
        else "as often as it comes up",
        "who_doubles": f"{two} double",
        "trigger": f"set off by {' or '.join(triggers[trigger] for trigger in call.triggers)}",
    }
    known = [words for column, words in parts.items() if column in idea.said]
    assumed = [words for column, words in parts.items() if column not in idea.said]
    more = f" Assumed, as usual there: {', '.join(assumed)}." if assumed else ""
    return f'{whose} call "{name}": {", ".join(known) or "the usual one"}.{more}'


def calls_sheet(file: SheetFile | None, where: str) -> Sheet | None:
    """The rows of the sheet of calls; None where there is none. Raises InputError."""
    if file is None:
        return None
    return read_sheet(file, where, spellings(CALL_COLUMNS), ("where",), HELP_COLUMNS)


def read_calls(
    sheet: Sheet | None,
    where: str,
    zone: Zone,
    game: GameSheet,
    team: Team,
    targets: Sequence[int],
    on_sheet: Sequence[int],
    usual: Sequence[Setting],
    source: Source,
    theirs: bool = False,
) -> OwnCalls:
    """The coach's own ideas, or with ``theirs`` the traps that he has seen them make. ``zone``: the defence
    played, ``team``: the attack, ``targets``: weak handlers who start, ``on_sheet``: shirts of the attack
    that stand on a sheet, ``usual``: what is weighed anyway; ``source.read`` gathers the files read.

    Raises InputError: one line with file, row, column, value and what is allowed.
    """
    if sheet is None:
        return OwnCalls()
    remarks = [] if theirs else list(sheet.remarks)
    short = PurePath(where).name
    if sheet.rows and not game.care.trap_advice_allowed:
        return OwnCalls((), {}, (*remarks, f"{short}: not weighed, as there is no trap advice."))
    rows = [
        one
        for one in (Cells(where, row) for row in sheet.rows)
        if (one.choice("whose", WHOSE, "ours or theirs") == "theirs") == theirs
    ]
    starters = [number for number in team.lineup if number in on_sheet]
    ideas = [_idea(one, zone, game.rules, team, targets, starters, source) for one in rows]
    if any(idea.call.dynamic and _names_two(idea.cells) for idea in ideas):
        said = "the man on the ball and the next nearest double, whoever is named at who_doubles."
        remarks.append(f"{short}: in {zone.title} {said}")
    settings: list[Setting] = []
    signals: dict[str, str] = {}
    told: list[str] = []
    calls_known = {_content(call): call for setting in reversed(usual) for call in setting.calls}
    weighed = {_contents(setting.calls): setting.name for setting in reversed(usual)}
    for name, mine in _grouped(ideas, "their" if theirs else "own").items():
        _check(mine)
        calls: list[Call] = []
        for idea in mine:
            own = f"{idea.word}, {idea.call.spot}" if idea.word else name
            named = idea.call.model_copy(update={"name": own, "title": own})
            call = calls_known.setdefault(_content(named), named)
            calls.append(call)
            told.append(_sentence(idea, own, "Their" if theirs else "Own"))
            # a usual call keeps the word that the sheet of the game has for its spot
            if idea.word and (call.name == own or call.spot.replace(" ", "_") not in game.signals):
                signals.setdefault(call.name, idea.word)
        same = weighed.setdefault(_contents(calls), name)
        if same == name:
            settings.append(Setting(name=name, calls=tuple(calls), zone_options=chosen(zone.options)))
        else:
            remarks.append(f'{short}: "{name}" is the same as "{same}": weighed once, as "{same}".')
    return OwnCalls(tuple(settings), signals, tuple(remarks), tuple(told))
