"""own.csv: our players, who defend; how they handle and shoot counts where they have the ball."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import Any

from engine.errors import InputError
from engine.inputs.base import spoken
from engine.inputs.constants import Constant
from engine.inputs.files import Source
from engine.inputs.levels import Level
from engine.inputs.rules import Rules
from engine.inputs.sheets.cells import Assumed, Cells
from engine.inputs.sheets.columns import MINUTES, own_columns
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
    middle_height,
    ordered,
    read_people,
    stand_ins,
    starters,
    template,
)
from engine.inputs.sheets.read import SheetFile
from engine.inputs.sheets.shooting import Found, LevelAverages, Shooting, ShotNote, shooting_of
from engine.inputs.team import N_LINEUP, ZONE_PLACES, Player, Team, ZonePlaces

#: What a coach may write for a place -> the places it may mean.
PLACE_WORDS = {
    "left_guard": "left_guard",
    "right_guard": "right_guard",
    "left_forward": "left_forward",
    "right_forward": "right_forward",
    "left_wing": "left_forward",
    "right_wing": "right_forward",
    "centre": "centre",
    "center": "centre",
    "middle": "centre",
    "big": "centre",
    "guard": "left_guard right_guard",
    "top": "left_guard right_guard",
    "forward": "left_forward right_forward",
    "wing": "left_forward right_forward",
    **dict.fromkeys(("g", "pg", "sg", "point_guard", "shooting_guard"), "left_guard right_guard"),
    **dict.fromkeys(("f", "sf", "pf", "small_forward", "power_forward"), "left_forward right_forward"),
    "c": "centre",
}


@dataclass(frozen=True)
class OwnNote:
    """One of our players for the pages: place in the zone ("" on the bench), whether prone to fouls (None
    where nobody said), whether an average player stands in, how he handles pressure and how many minutes of a
    game he plays (None: not said), whether his height or his place in the order is given, and which places
    the sheet's word for his place means (none: it has no word)."""

    number: int
    initials: str
    starts: bool
    place: str
    prone_to_fouls: bool | None
    stands_in: bool = False
    handles: str | None = None
    minutes: float | None = None
    size_known: bool = True
    can_play: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON."""
        return dict(vars(self))


def _sizes(people: People, average: Sequence[Player], us: str, assumed: Assumed) -> list[int]:
    """Rank of every player by size, 0 the smallest.

    By his cm. Who has none stands with the height that the level's ``average`` five have at his place in the
    order; without one in the middle of the cm, where most have them; else in the middle of the level, where
    others have an order, or where the rows put him. If all have an order and not all cm, the order decides.
    """
    n = len(people.cells)
    heights = [height_of(one) for one in people.cells]
    orders = [one.whole("height_order", 1, 99, "1 = tallest") for one in people.cells]
    for i, order in enumerate(orders):
        if order is not None and order in orders[:i]:
            first = people.cells[orders.index(order)].row.number
            raise people.cells[i].error("height_order", f"each place in the order once (row {first} has it)")
    ordered_by = sum(order is not None for order in orders)
    if ordered_by == n and None in heights:
        return ordered([None if order is None else -float(order) for order in orders])

    def of_level(rank: float) -> float:
        return average[round(rank * (N_LINEUP - 1) / max(n - 1, 1))].height_m

    middle, found = middle_height(people), []
    for i, (height, order) in enumerate(zip(heights, orders, strict=True)):
        if height is None and order is not None:
            height = of_level(n - min(order, n))
        elif height is None and middle is None and ordered_by:
            line = f"Height order of {us}, {{who}}: not given, taken for the middle."
            assumed.missing(line, people.numbers[i])
            height = of_level((n - 1) / 2.0)
        elif height is None and middle is None:
            beside = "" if heights == [None] * n else ", beside the cm that are given"
            assumed.note(
                f"Height order of {us} is not given: the rows of {people.short}, smallest first{beside}."
            )
            height = of_level(i)
        found.append(middle if height is None else height)
    return ordered(found)


def _rank_five(ranks: list[int], starting: list[int], n_missing: int) -> dict[int, int]:
    """Starter's index -> position 1 (smallest) to 5; stand-ins take what is left, spread over the sizes."""
    by_size = sorted(starting, key=lambda i: ranks[i])
    n = len(by_size)
    if n_missing == 0:
        return {i: k + 1 for k, i in enumerate(by_size)}
    if n == 1:
        return {by_size[0]: 3}
    return {i: 1 + round(k * (N_LINEUP - 1) / (n - 1)) for k, i in enumerate(by_size)}


def _fouls(people: People, grades: Grades, us: str, assumed: Assumed) -> dict[int, bool | None]:
    """Index -> prone to fouls, where the sheet says or its fouls do: all that their number is used for."""
    fouls = [one.whole("fouls", 0, 999, "fouls") for one in people.cells]
    counted = [count for count in fouls if count is not None]
    total, n = sum(counted), len(counted)
    enough = total >= grades.number("least_team_fouls")
    found: dict[int, bool | None] = {}
    for i, one in enumerate(people.cells):
        said = one.yes_no("prone_to_fouls")
        count = fouls[i]
        if said is None and enough and count is not None:
            said = count >= grades.number("prone_times_mean") * total / n
            times = f"{grades.number('prone_times_mean'):g}"
            assumed.note(
                f"Who of {us} is prone to fouls, where nobody said: who has {times} times the mean of fouls; "
                "how many more or fewer is not used."
            )
        elif said is not None and count is not None:
            line = f"Fouls of {us}, {{who}}: not used, what stands at prone counts."
            assumed.missing(line, people.numbers[i])
        elif count is not None:
            least = f"{grades.number('least_team_fouls'):g}"
            line = f"Fouls of {us}, {{who}}: not used, fewer than {least} of all: average."
            assumed.missing(line, people.numbers[i])
        elif said is None:
            assumed.missing(f"Fouls of {us}, {{who}}: average for the level.", people.numbers[i])
        found[i] = said
    return found


def _minutes(
    people: People, starting: Sequence[int], rules: Rules, us: str, assumed: Assumed
) -> list[float | None]:
    """Minutes of a game that each plays; None where the sheet does not say: then assumed of who starts."""
    game = rules.clock.periods * rules.clock.period_s / 60.0
    allowed, units = f"minutes of a game of {game:g}", ("minutes", "minute", "min")
    found = [one.number("minutes", 0, game, allowed, units) for one in people.cells]
    for i in starting:
        if found[i] is None:
            line = f"Minutes of {us} (for their fouls alone), {{who}}: {MINUTES} of the game."
            assumed.missing(line, people.numbers[i])
    return found


def _places(
    people: People, five: list[tuple[int, int]], wishes: dict[int, str], us: str, assumed: Assumed
) -> ZonePlaces:
    """Who plays which place: every wish kept, else small ones guard, the tallest is centre.

    ``five``: (shirt number, position 1 to 5); ``wishes``: shirt number -> places that may be meant.
    """
    best: tuple[int, tuple[int, ...]] | None = None
    for order in permutations(range(N_LINEUP)):
        cost = 0
        for place, k in zip(ZONE_PLACES, order, strict=True):
            number, position = five[k]
            wish = wishes.get(number)
            if wish is not None and place not in wish.split():
                break
            usual = ZONE_PLACES.index(place) + 1
            cost += (position - usual) ** 2
        else:
            if best is None or (cost, order) < best:
                best = (cost, order)
    if best is None:
        shown = ", ".join(f"No. {number} {spoken(wishes[number])}" for number, _ in five if number in wishes)
        raise InputError(
            people.where,
            "column place",
            shown,
            "two guards, two forwards and a centre among the five who start",
        )
    if not wishes:
        assumed.note(
            f"Who plays which place for {us} is not given: the small ones guard, the tallest is the centre."
        )
    elif len(wishes) < N_LINEUP or any(" " in wish for wish in wishes.values()):
        assumed.note(f"Places of {us} that are left open are filled by size.")
    numbers = {place: five[k][0] for place, k in zip(ZONE_PLACES, best[1], strict=True)}
    return ZonePlaces(**numbers)


def _player(
    one: Cells,
    number: int,
    like: Player,
    prone: bool | None,
    grades: Grades,
    tau_s: float,
    assumed: Assumed,
    us: str,
    found: Found,
    no_cm: tuple[float, str] | None,
) -> Player:
    discipline = like.discipline
    if prone is not None:
        discipline += grades.prone_to_fouls["yes" if prone else "no"].discipline
    changes: dict[str, Any] = body(one, number, like, grades, tau_s, assumed, us, no_cm)
    handling = grades.handles_pressure[one.choice("handles_pressure", HANDLES, HANDLES_ALLOWED) or "some"]
    changes |= {
        "handle": ability(like.handle, handling.handle),
        "passing": ability(like.passing, handling.passing),
        "number": number,
        "name": called(number, one),
        "discipline": min(max(discipline, 0.0), 1.0),
        "free_throw": found.free_throw,
        "shot_table": found.table,
    }
    return Player.model_validate({**like.model_dump(), **changes})


def _shooting(
    people: People, us: str, averages: LevelAverages, prior: Constant, rules: Rules, assumed: Assumed
) -> tuple[dict[int, Found], tuple[ShotNote, ...]]:
    """Shirt -> how he shoots, and how much of it is his own: from made and attempted alone, no words."""
    shooters = []
    for number, one in zip(people.numbers, people.cells, strict=True):
        kinds = [one.tried(kind, f"{kind}_attempted") for kind in ("twos", "threes", "free_throws")]
        if not any(tried.attempted or tried.share is not None for tried in kinds):
            assumed.missing(f"Shooting of {us} (attack alone), {{who}}: the level's average.", number)
        if any(tried.made is not None and tried.attempted is None for tried in kinds):
            assumed.note(
                f"Makes of {us} without attempts do not say how well they shoot: the level's average there."
            )
        shooters.append(Shooting(number, None, False, (), kinds[0], kinds[1], kinds[2], None))
    return shooting_of(shooters, averages, prior, rules)


def read_own(
    file: SheetFile | None,
    where: str,
    us: str,
    level: Level,
    rules: Rules,
    averages: LevelAverages,
    prior: Constant,
    source: Source,
    assumed: Assumed,
) -> tuple[Team, tuple[OwnNote, ...], tuple[ShotNote, ...], tuple[str, ...]]:
    """Our team: (team, notes for the pages, how much of each estimate of our shots is our own, remarks).

    ``prior``: the constant shot_prior_attempts. Raises InputError: one line with file, row, column, value and
    what is allowed.
    """
    grades, tau_s = averages.grades, averages.constants["sprint_tau_s"]
    people = read_people(file, where, own_columns(grades), assumed)
    average = template(level, source.read)
    starting = starters(people, us, assumed)
    ranks = _sizes(people, average, us, assumed)
    extra = stand_ins(people, N_LINEUP - len(starting), us, assumed)
    positions = _rank_five(ranks, starting, len(extra))
    prone = _fouls(people, grades, us, assumed)
    minutes = _minutes(people, starting, rules, us, assumed)
    found, shot_notes = _shooting(people, us, averages, prior, rules, assumed)
    wishes: dict[int, str] = {}
    can_play: dict[int, tuple[str, ...]] = {}
    players: list[Player] = []
    n, middle_m = len(people.cells), middle_height(people)
    some_cm = any(height_of(one) is not None for one in people.cells)
    for i, (number, one) in enumerate(zip(people.numbers, people.cells, strict=True)):
        wish = one.choice("place", PLACE_WORDS, "left or right guard, left or right forward, or centre")
        can_play[number] = () if wish is None else tuple(wish.split())
        if wish is not None and i in starting:
            wishes[number] = wish
        bench = 1 + round(ranks[i] * (N_LINEUP - 1) / max(n - 1, 1))
        like = average[positions.get(i, bench) - 1]
        no_cm = None if middle_m is None else (middle_m, "the middle of those given")
        if some_cm and (middle_m is None or one.text("height_order") is not None):
            no_cm = like.height_m, "the level's average for his place in the order"
        players.append(_player(one, number, like, prone[i], grades, tau_s, assumed, us, found[number], no_cm))
    filled, five = fill_up({people.numbers[i]: p for i, p in positions.items()}, extra, average)
    players += filled
    lineup = tuple(five)
    places = _places(people, [(number, five[number]) for number in lineup], wishes, us, assumed)
    held = {getattr(places, place): place for place in ZONE_PLACES}
    if people.cells and all(one.text("height_cm") is None for one in people.cells):
        assumed.note(f"Heights of {us}: spread over the level's average by height order.")
    if people.cells:
        assumed.note(f"Rebounding of {us}: the level's average for the size.")
    notes = [
        OwnNote(
            number,
            one.text("initials") or "",
            number in five,
            held.get(number, ""),
            prone[i],
            handles=one.choice("handles_pressure", HANDLES, HANDLES_ALLOWED),
            minutes=minutes[i],
            size_known=any(one.text(column) is not None for column in ("height_cm", "height_order")),
            can_play=can_play[number],
        )
        for i, (number, one) in enumerate(zip(people.numbers, people.cells, strict=True))
    ]
    notes += [OwnNote(number, "", True, held[number], None, True) for number in extra]
    team = Team(name=us, level=level.name, player=tuple(players), lineup=lineup, zone_places=places)
    return team, tuple(notes), shot_notes, people.remarks
