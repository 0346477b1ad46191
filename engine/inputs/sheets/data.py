"""The numbers behind the words of a sheet (configs/sheets/*.toml): grades, usual calls, care."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, Field

from engine.errors import InputError, MissingInput
from engine.inputs.base import Flag, Frozen, Real, Table, Text, one_of, parse
from engine.inputs.files import Source, read_toml, resolve, shown_path
from engine.shipped import configs_root

FOLDER = "sheets"
N_PLACES = 5
TAGS = ("computed", "seen", "from memory", "no source")

Ability = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-0.5, le=0.5)]
Logit = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-2.0, le=2.0)]
Points = Annotated[tuple[Real, ...], Field(min_length=N_PLACES, max_length=N_PLACES)]
Front = Annotated[str, Field(strict=True), AfterValidator(one_of(("one", "two", "overload")))]
Answer = Annotated[str, Field(strict=True), AfterValidator(one_of(("yes", "no", "any")))]
Tag = Annotated[str, Field(strict=True), AfterValidator(one_of(TAGS))]


class _Grade(Frozen):
    words: Text = Field(description="how the grade is explained on the sheet")
    source: Text = Field(description="where its number comes from")


class Shooter(_Grade):
    """Log odds added to a shooter's makes: from three, between, and at the rim where he shoots inside."""

    middle_logit: Logit = Field(description="log odds")
    three_logit: Logit = Field(description="log odds")
    inside_logit: Logit = Field(description="log odds")


class Pace(_Grade):
    """Top speed as a share of that of an average player of the level and his size."""

    top_speed_share: Real = Field(ge=0.7, le=1.3, description="share of the average top speed")


class Discipline(_Grade):
    """Added to the level's average ability not to foul."""

    discipline: Ability = Field(description="added to an ability of 0 to 1")


class Handling(_Grade):
    """Added to the average ability to handle the ball and to pass."""

    handle: Ability = Field(description="added to an ability of 0 to 1")
    passing: Ability = Field(description="added to an ability of 0 to 1")


class Passing(_Grade):
    """Added to the average ability to pass."""

    passing: Ability = Field(description="added to an ability of 0 to 1")


class FreeThrows(_Grade):
    """Added to the level's share of free throws made."""

    free_throw: Ability = Field(description="added to a probability")


class Number(Frozen):
    """One number of the sheets' reading and where it comes from."""

    value: Real = Field(ge=0.0, le=1000.0, description="the number")
    meaning: Text = Field(description="what it is")
    source: Text = Field(description="where it comes from")


class Numbers(Frozen):
    """The other numbers, see the meanings in the file."""

    sure_share: Number
    shaky_share: Number
    least_team_threes: Number
    prone_times_mean: Number
    least_team_fouls: Number
    free_throw_prior_attempts: Number
    percent_attempts: Number
    least_players: Number
    least_attempts: Number
    open_gap_m: Number
    contested_gap_m: Number
    game_speed_share: Number


class Places(Frozen):
    """Points of the places 1 to 5 of an alignment by what the sheet says of a player."""

    source: Text
    guard: Points
    wing: Points
    big: Points
    handles_yes: Points
    handles_no: Points
    passes_from_big: Points
    from_top: Points
    from_wing: Points
    from_corner: Points
    from_inside: Points


class Formation(Frozen):
    """An alignment for what the sheet says of the opponent's formation."""

    front: Front = Field(description="one, two or overload")
    high_post: Answer = Field(description="yes, no or any")
    alignment: Text = Field(description="name of an alignment")


class Grades(Frozen):
    """configs/sheets/grades.toml."""

    shooter: dict[str, Shooter]
    pace: dict[str, Pace]
    prone_to_fouls: dict[str, Discipline]
    handles_pressure: dict[str, Handling]
    passes_from_big: dict[str, Passing]
    free_throw_shooter: dict[str, FreeThrows]
    numbers: Numbers
    places: Places
    formation: tuple[Formation, ...] = Field(min_length=1, description="written as [[formation]]")

    def number(self, name: str) -> float:
        """One of the numbers by name."""
        found: Number = getattr(self.numbers, name)
        return found.value


#: Grade column -> the words it may hold; the file must explain each.
WORDS = {
    "shooter": ("sure", "ordinary", "shaky"),
    "pace": ("quick", "normal", "slow"),
    "prone_to_fouls": ("yes", "no"),
    "handles_pressure": ("yes", "some", "no"),
    "passes_from_big": ("yes", "no"),
    "free_throw_shooter": ("good", "average", "bad"),
}


class Usual(Frozen):
    """One setting of a folder: a name and its calls; ``targets``: only against weak handlers."""

    name: Text = Field(description="name of the setting")
    calls: tuple[Text, ...] = Field(min_length=1, description="names of trap calls")
    targets: Flag = Field(default=False, description="only against weak handlers")


class UsualDefence(Frozen):
    """The usual calls of one defence, and the options it is played with."""

    zone: Text = Field(description="name of a defence")
    options: dict[str, Any] = Field(default_factory=dict, description="option = choice")
    usual: tuple[Usual, ...] = Field(min_length=1, description="written as [[base.usual]]")


class UsualCalls(Frozen):
    """configs/sheets/usual_calls.toml."""

    base: tuple[UsualDefence, ...] = Field(min_length=1, description="written as [[base]]")

    def of(self, zone: str) -> UsualDefence:
        """The usual calls of a defence. Raises KeyError."""
        for item in self.base:
            if item.zone == zone:
                return item
        raise KeyError(zone)


class CareNumber(Frozen):
    """A number that decides when something is asked, how well it is known, and its source."""

    value: Real = Field(ge=0.0, le=100.0, description="the number")
    meaning: Text = Field(description="what it is")
    tag: Tag = Field(description="how well it is known")
    source: Text = Field(description="where it comes from")


class CareNumbers(Frozen):
    """configs/sheets/care.toml: ages in years, leads in points."""

    title: Text
    none_up_to_age: CareNumber
    withhold_up_to_age: CareNumber
    ask_up_to_age: CareNumber
    far_ahead: CareNumber
    lead_stop: CareNumber


#: Name of a file -> its model.
FILES: dict[str, type[Grades] | type[UsualCalls] | type[CareNumbers]] = {
    "grades": Grades,
    "usual_calls": UsualCalls,
    "care": CareNumbers,
}


def data_from(data: Table, source: Source) -> Grades | UsualCalls | CareNumbers:
    """One of the three files, told by its name. Raises InputError."""
    where, name = str(source), source.path.stem
    if name not in FILES:
        raise InputError(where, "", source.path.name, f"one of {', '.join(f'{n}.toml' for n in FILES)}")
    found = parse(FILES[name], data, where)
    if isinstance(found, Grades):
        for column, words in WORDS.items():
            given = getattr(found, column)
            for word in words:
                if word not in given:
                    raise MissingInput(where, f"{column}.{word}", "a table with words, number and source")
            for word in given:
                if word not in words:
                    raise InputError(where, column, word, f"one of {', '.join(words)}")
        for i, row in enumerate(found.formation):
            resolve(row.alignment, "alignments", source, f"formation[{i + 1}].alignment")
    if isinstance(found, UsualCalls):
        for i, defence in enumerate(found.base):
            resolve(defence.zone, "zones", source, f"base[{i + 1}].zone")
            for j, usual in enumerate(defence.usual):
                for call in usual.calls:
                    resolve(call, "calls", source, f"base[{i + 1}].usual[{j + 1}].calls")
    return found


D = TypeVar("D", Grades, UsualCalls, CareNumbers)


@lru_cache(maxsize=8)
def _load(path: Path, changed_ns: int) -> Grades | UsualCalls | CareNumbers:
    source = Source(path, shown_path(path))
    return data_from(read_toml(source), source)


def _shipped(name: str, kind: type[D]) -> D:
    path = configs_root() / FOLDER / f"{name}.toml"
    try:
        changed = path.stat().st_mtime_ns
    except OSError as error:
        raise InputError(
            shown_path(path), "", path.name, f"a file that can be read ({error.strerror})"
        ) from None
    found = _load(path, changed)
    assert isinstance(found, kind)  # data_from goes by the name
    return found


def load_grades() -> Grades:
    """The shipped grades. Raises InputError."""
    return _shipped("grades", Grades)


def load_usual_calls() -> UsualCalls:
    """The shipped usual calls. Raises InputError."""
    return _shipped("usual_calls", UsualCalls)


def load_care() -> CareNumbers:
    """The shipped numbers about care. Raises InputError."""
    return _shipped("care", CareNumbers)


__all__ = [
    "FILES",
    "WORDS",
    "CareNumbers",
    "Grades",
    "UsualCalls",
    "UsualDefence",
    "data_from",
    "load_care",
    "load_grades",
    "load_usual_calls",
]
