"""opponent.csv: their players, who attack, with what a coach knows of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import Any

from engine.inputs.constants import Constant
from engine.inputs.files import Source
from engine.inputs.levels import Level
from engine.inputs.rules import Rules
from engine.inputs.sheets.cells import MOST_COUNT, Assumed, Cells, Tried
from engine.inputs.sheets.charted import ChartedShot, read_shots
from engine.inputs.sheets.columns import UNASKED_COLUMNS, opponent_columns
from engine.inputs.sheets.counts import ManCounts, counts_of
from engine.inputs.sheets.data import Grades
from engine.inputs.sheets.people import (
    HANDLES,
    HANDLES_ALLOWED,
    People,
    ability,
    body,
    called,
    fill_up,
    height_of,
    read_people,
    stand_ins,
    starters,
    template,
)
from engine.inputs.sheets.read import SheetFile
from engine.inputs.sheets.shooting import (
    KIND_OF_BAND,
    Found,
    LevelAverages,
    Shooting,
    ShotNote,
    shooting_of,
)
from engine.inputs.team import N_LINEUP, Player, Team

#: What a coach may write of a shooter, the colours of older sheets among it -> the word of the grades.
SHOOTERS = {
    **dict.fromkeys(("sure", "guard_him", "guard", "good", "green", "g"), "sure"),
    **dict.fromkeys(("ordinary", "average", "normal", "yellow", "y", "amber"), "ordinary"),
    **dict.fromkeys(("shaky", "let_him_shoot", "let_shoot", "leave", "poor", "bad", "red", "r"), "shaky"),
}
WHERE = {
    "corner": "corner",
    "corners": "corner",
    "wing": "wing",
    "wings": "wing",
    "top": "top",
    "point": "top",
    "inside": "inside",
    "post": "inside",
    "lane": "inside",
    "paint": "inside",
    "key": "inside",
    "outside": "corner wing top",
    "everywhere": "corner wing top inside",
    "all": "corner wing top inside",
}
POSITIONS = {
    **{str(i): str(i) for i in range(1, N_LINEUP + 1)},
    "guard": "guard",
    "point": "1",
    "point_guard": "1",
    "wing": "wing",
    "forward": "wing",
    "big": "big",
    "post": "big",
    "centre": "5",
    "center": "5",
    "high_post": "5",
    "g": "guard",
    "f": "wing",
    "c": "5",
    "pg": "1",
    "sg": "guard",
    "sf": "wing",
    "pf": "big",
    "shooting_guard": "guard",
    "small_forward": "wing",
    "power_forward": "big",
}
#: Points that a written place 1 to 5 outweighs everything else with.
SURE = 100.0
_FREE = {
    "good": "good",
    "average": "average",
    "ok": "average",
    "normal": "average",
    "bad": "bad",
    "poor": "bad",
}
_HANDS = {"right": "right", "r": "right", "left": "left", "l": "left", "both": "both", "either": "both"}


@dataclass(frozen=True)
class OpponentNote:
    """One opponent for the pages. Words as on the sheet, None where nobody said.

    ``position``: 1 to 5 in the alignment; ``shooter_from_makes``: whether that word was taken from made
    threes; ``target``: whether the sheet calls him weak under pressure; ``stands_in``: an average player.
    """

    number: int
    initials: str
    starts: bool
    position: int
    shooter: str | None = None
    shooter_from_makes: bool = False
    from_where: tuple[str, ...] = ()
    hand: str | None = None
    handles_pressure: str | None = None
    passes_from_big: bool | None = None
    free_throw_shooter: str | None = None
    fouls: int | None = None
    target: bool = False
    stands_in: bool = False

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON."""
        return {**vars(self), "from_where": list(self.from_where)}


@dataclass(frozen=True)
class Opponent:
    """What opponent.csv and shots.csv say: the team, notes for the pages, shares of estimates, counts of each
    man on the sheet, remarks."""

    team: Team
    notes: tuple[OpponentNote, ...]
    shooting: tuple[ShotNote, ...]
    counts: tuple[ManCounts, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class _Said:
    """What the sheet says of one player."""

    number: int
    cells: Cells
    position: str | None
    shooter: str | None
    from_where: tuple[str, ...]
    hand: str | None
    handles: str | None
    passer: bool | None
    free_throw: str | None
    twos: Tried
    threes: Tried
    free_throws: Tried
    fouls: int | None
    turnovers: int | None


def _said(number: int, one: Cells) -> _Said:
    return _Said(
        number,
        one,
        one.choice("position", POSITIONS, "guard, wing or big, or 1 to 5"),
        one.choice("shooter", SHOOTERS, "sure, ordinary or shaky"),
        one.several("from_where", WHERE, "corner, wing, top, inside (one or several)"),
        one.choice("hand", _HANDS, "right, left or both"),
        one.choice("handles_pressure", HANDLES, HANDLES_ALLOWED),
        one.yes_no("passes_from_big"),
        one.choice("free_throw_shooter", _FREE, "good, average or bad"),
        one.tried("twos", "twos_attempted", "twos_percent"),
        one.tried("threes", "threes_attempted", "threes_percent"),
        one.tried("free_throws", "free_throws_attempted", "free_throws_percent"),
        one.whole("fouls", 0, 999, "fouls"),
        one.whole("turnovers", 0, MOST_COUNT, "balls lost"),
    )


def _shooters(
    said: Sequence[_Said], charted: set[int], bench: set[int], grades: Grades, them: str, assumed: Assumed
) -> dict[int, tuple[str | None, bool]]:
    """Shirt number -> (word for the shooter, whether made threes gave it): the coach's word, else theirs.
    Nothing is told of the ``bench``."""
    made = {one.number: one.threes.made for one in said}
    team = sum(count for count in made.values() if count is not None)
    enough = team >= grades.number("least_team_threes")
    found: dict[int, tuple[str | None, bool]] = {}
    named: dict[str, list[str]] = {"sure": [], "shaky": []}
    for one in said:
        count, word = made[one.number], one.shooter
        derived = False
        known = bool(one.threes.attempted) or one.threes.share is not None
        if word is None and enough and count is not None and not known:
            share = count / team
            if share >= grades.number("sure_share"):
                word = "sure"
            elif share <= grades.number("shaky_share"):
                word = "shaky"
            derived = word is not None
            if word is not None and one.number not in bench:
                named[word].append(str(one.number))
        found[one.number] = (word, derived)
        if one.number in bench:
            continue
        twos = bool(one.twos.attempted) or one.twos.share is not None
        if one.twos.attempted and one.threes == Tried():
            assumed.missing(
                f"Threes of {them}, {{who}}: blank is not counted, so the model does not follow what he "
                "shoots; 0 made and 0 attempted if he takes none.",
                one.number,
            )
        if word is None and not (known or twos or one.number in charted):
            assumed.missing(f"Shooting of {them}, {{who}}: the level's average.", one.number)
        elif word is None and not (known and twos):
            assumed.missing(
                f"Shots of {them}, {{who}}, that are neither counted nor charted: the level's average.",
                one.number,
            )
    told = [f"{word} No. {', '.join(numbers)}" for word, numbers in named.items() if numbers]
    if told:
        assumed.note(f"Shooters of {them} whom nobody named are judged by made threes: {'; '.join(told)}.")
    return found


def _not_used(shots: Sequence[ChartedShot], notes: Sequence[ShotNote]) -> tuple[str, ...]:
    """A remark on charted shots of men of whom the sheet counts more: the same shots count once."""
    used = {(note.number, note.kind) for note in notes}
    left = Counter(shot.number for shot in shots if (shot.number, KIND_OF_BAND[shot.band]) not in used)
    if not left:
        return ()
    whose = ", ".join(f"No. {number} ({n})" for number, n in sorted(left.items()))
    return (
        f"{len(shots) - left.total()} of {len(shots)} charted shots are used: of the others, {whose}, the "
        "sheet counts more, and the same shots count once.",
    )


def _points(one: _Said, grades: Grades) -> list[float]:
    """Points of the places 1 to 5 for one player."""
    table = grades.places
    rows: list[tuple[float, ...]] = []
    if one.position in ("guard", "wing", "big"):
        rows.append(getattr(table, one.position))
    if one.handles in ("yes", "no"):
        rows.append(getattr(table, f"handles_{one.handles}"))
    if one.passer:
        rows.append(table.passes_from_big)
    rows += [getattr(table, f"from_{place}") for place in one.from_where]
    points = [sum(row[i] for row in rows) for i in range(N_LINEUP)]
    if one.position is not None and one.position.isdecimal():
        points[int(one.position) - 1] += SURE
    return points


def place_five(points: Sequence[Sequence[float]]) -> tuple[int, ...]:
    """Place 0 to 4 of each of at most five players so that the points are most; ties: rows above first."""
    best: tuple[float, tuple[int, ...]] | None = None
    for order in permutations(range(N_LINEUP), len(points)):
        total = -sum(points[i][place] for i, place in enumerate(order))
        if best is None or (total, order) < best:
            best = (total, order)
    assert best is not None
    return best[1]


def _player(
    one: _Said,
    like: Player,
    found: Found,
    grades: Grades,
    tau_s: float,
    assumed: Assumed,
    them: str,
    some_heights: bool,
) -> Player:
    handling = grades.handles_pressure[one.handles or "some"]
    passer = grades.passes_from_big["yes" if one.passer else "no"]
    instead = (like.height_m, "the level's average for his place") if some_heights else None
    changes: dict[str, Any] = body(one.cells, one.number, like, grades, tau_s, assumed, them, instead)
    changes |= {
        "number": one.number,
        "name": called(one.number, one.cells),
        "handle": ability(like.handle, handling.handle),
        "passing": ability(like.passing, handling.passing + passer.passing),
        "free_throw": found.free_throw,
        "shot_table": found.table,
    }
    return Player.model_validate({**like.model_dump(), **changes})


def _tell(said: Sequence[_Said], them: str, grades: Grades, assumed: Assumed) -> None:
    """What is missing of the players, gathered."""
    for one in said:
        if one.handles is None:
            assumed.missing(f"Handling pressure, {them}, {{who}}: average for his place.", one.number)
        if one.free_throw is None and one.free_throws.attempted is None and one.free_throws.share is None:
            assumed.missing(f"Free throws of {them}, {{who}}: the level's average.", one.number)
        for tried in (one.twos, one.threes, one.free_throws):
            if tried.share is not None:
                n = f"{grades.number('percent_attempts'):g}"
                assumed.note(f"A percentage without attempts counts like {n} attempts.")
            if tried.made is not None and tried.attempted is None:
                assumed.note(
                    f"Makes of {them} without attempts say how often they score, not how well they shoot: "
                    "the share they make is the level's average, moved by the word for the shooter. (If a "
                    "number was meant as a percentage, write 45%.)"
                )
    if said and not any(one.passer for one in said):
        assumed.note(f"Nobody of {them} is marked as the big man who passes: average passing.")
    if any(one.hand for one in said):
        assumed.note("The strong hand is for the bench page; the possessions do not play it.")


def read_opponent(
    files: tuple[SheetFile | None, SheetFile | None],
    where: tuple[str, str],
    them: str,
    level: Level,
    rules: Rules,
    averages: LevelAverages,
    prior: Constant,
    source: Source,
    assumed: Assumed,
) -> Opponent:
    """Their team from opponent.csv and shots.csv (``files`` and ``where`` in this order).

    ``prior``: the constant shot_prior_attempts. Raises InputError: one line with file, row, column, value and
    what is allowed.
    """
    grades = averages.grades
    columns = (*opponent_columns(grades), *UNASKED_COLUMNS)
    people: People = read_people(files[0], where[0], columns, assumed)
    said = [_said(number, one) for number, one in zip(people.numbers, people.cells, strict=True)]
    starting = starters(people, them, assumed)
    shots, remarks = read_shots(files[1], where[1], people.numbers, rules, averages.constants["rim_range_m"])
    bench = {number for i, number in enumerate(people.numbers) if i not in starting}
    words = _shooters(said, {shot.number for shot in shots}, bench, grades, them, assumed)
    _tell([one for one in said if one.number not in bench], them, grades, assumed)
    for number in sorted(bench):
        line = f"On the bench of {them}, {{who}}: not played; what is empty there is the level's average."
        assumed.missing(line, number)
    shooters = [
        Shooting(
            one.number,
            words[one.number][0],
            words[one.number][1],
            one.from_where,
            one.twos,
            one.threes,
            one.free_throws,
            one.free_throw,
            tuple(shot for shot in shots if shot.number == one.number),
        )
        for one in said
    ]
    found, notes = shooting_of(shooters, averages, prior, rules)
    remarks += _not_used(shots, notes)
    fouled = ", ".join(f"No. {one.number}" for one in said if one.fouls is not None)
    remarks += (f"Fouls of {them}, {fouled}: not used.",) if fouled else ()
    average = template(level, source.read)
    extra = stand_ins(people, N_LINEUP - len(starting), them, assumed)
    points = [_points(one, grades) for one in said]
    order = place_five([points[i] for i in starting])
    places = {i: order[k] + 1 for k, i in enumerate(starting)}
    guessed = [said[i].number for i in starting if said[i].position is None]
    if guessed:
        shown = ", ".join(
            f"{p} No. {people.numbers[i]}" for i, p in sorted(places.items(), key=lambda x: x[1])
        )
        assumed.note(f"Who plays where for {them} is partly a guess (1 point guard to 5 high post): {shown}.")
    players: list[Player] = []
    positions: list[int] = []
    some_heights = any(height_of(one) is not None for one in people.cells)
    if people.cells and not some_heights:
        assumed.note(f"Heights of {them}: the level's average for each place.")
    for i, one in enumerate(said):
        position = places.get(i, 1 + points[i].index(max(points[i])))
        positions.append(position)
        like = average[position - 1]
        shoots, tau_s = found[one.number], averages.constants["sprint_tau_s"]
        told = Assumed() if one.number in bench else assumed
        players.append(_player(one, like, shoots, grades, tau_s, told, them, some_heights))
    filled, five = fill_up({people.numbers[i]: p for i, p in places.items()}, extra, average)
    players += filled
    lineup = tuple(five)
    people_notes = [
        OpponentNote(
            one.number,
            one.cells.text("initials") or "",
            one.number in five,
            positions[i],
            words[one.number][0],
            words[one.number][1],
            one.from_where,
            one.hand,
            one.handles,
            one.passer,
            one.free_throw,
            one.fouls,
            one.handles == "no",
        )
        for i, one in enumerate(said)
    ]
    people_notes += [OpponentNote(number, "", True, five[number], stands_in=True) for number in extra]
    team = Team(name=them, level=level.name, player=tuple(players), lineup=lineup)
    counts = tuple(
        counts_of(one.number, one.twos, one.threes, one.free_throws, one.turnovers) for one in said
    )
    return Opponent(team, tuple(people_notes), notes, counts, (*people.remarks, *remarks))
