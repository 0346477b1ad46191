"""Teams and players (configs/teams/*.toml)."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field

from engine.errors import InputError
from engine.inputs import defaults
from engine.inputs.base import Frozen, Real, Shirt, Table, Text, Whole, not_allowed, parse, tables
from engine.inputs.files import FileName, Source, read_toml, resolve
from engine.inputs.levels import PLAYER_RANGES, load_level
from engine.inputs.shots import ShotTable, load_shot_table

N_LINEUP = 5
ZONE_PLACES = ("left_guard", "right_guard", "left_forward", "right_forward", "centre")
_COUNT = Annotated[int, Field(strict=True, ge=0, le=100_000)]


def _counts(value: object) -> object:
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise not_allowed("[made, attempted], two whole numbers of at least 0")
    return value


def _made_first(value: tuple[int, int]) -> tuple[int, int]:
    if value[0] > value[1]:
        raise not_allowed("[made, attempted] with made at most attempted")
    return value


Counts = Annotated[tuple[_COUNT, _COUNT], BeforeValidator(_counts), AfterValidator(_made_first)]


class Player(Frozen):
    """One player. Heights in metres, speeds in metres per second, abilities from 0 to 1.

    Shooting is one of: ``shot_table`` (the player's own), counts ``rim``, ``middle``, ``three`` as
    (made, attempted), or nothing, which means the average of the level.
    """

    number: Shirt = Field(description="shirt number")
    name: Text = Field(description="name")
    position: Whole = Field(ge=1, le=5, description="1 point guard to 5 centre")
    height_m: Real = Field(ge=1.2, le=2.5, description="height, metres")
    top_speed_mps: Real = Field(ge=2.0, le=10.0, description="running speed at full tilt, metres per second")
    handle: Real = Field(ge=0.0, le=1.0, description="ball handling, 0.5 the level's average")
    passing: Real = Field(ge=0.0, le=1.0, description="passing, 0.5 the level's average")
    rebounding: Real = Field(ge=0.0, le=1.0, description="rebounding, 0.5 the level's average")
    discipline: Real = Field(ge=0.0, le=1.0, description="not fouling, not gambling, 0.5 the level's average")
    free_throw: Real = Field(ge=0.0, le=1.0, description="free-throw probability")
    reluctance_two_points: Real = Field(
        default=0.0, ge=-2.0, le=2.0, description="points asked of his twos beside what going on is worth"
    )
    reluctance_three_points: Real = Field(
        default=0.0,
        ge=-2.0,
        le=2.0,
        description="points asked of his threes beside reluctance_threes_points",
    )
    shot_table: ShotTable | None = Field(default=None, description="name or path of a shot table")
    rim: Counts | None = Field(default=None, description="shots at the rim, [made, attempted]")
    middle: Counts | None = Field(default=None, description="two-point shots further out, [made, attempted]")
    three: Counts | None = Field(default=None, description="three-point shots, [made, attempted]")


class ZonePlaces(Frozen):
    """Who plays which place of the 2-3: shirt numbers, left and right as the defence looks out."""

    left_guard: Shirt = Field(description="shirt number")
    right_guard: Shirt = Field(description="shirt number")
    left_forward: Shirt = Field(description="shirt number")
    right_forward: Shirt = Field(description="shirt number")
    centre: Shirt = Field(description="shirt number")


class Team(Frozen):
    """A team: at least five players; ``lineup`` holds five shirt numbers in order of position 1 to 5."""

    name: Text = Field(description="name of the team")
    level: Text = Field(default=defaults.LEVEL, description="level of play")
    players: tuple[Player, ...] = Field(alias="player", description="players, written as [[player]]")
    lineup: tuple[Shirt, ...] = Field(default=(), description="five shirt numbers, position 1 to 5")
    zone_places: ZonePlaces | None = Field(default=None, description="who plays which place of the zone")

    def by_number(self, number: int) -> Player:
        """The player with this shirt number. Raises KeyError when there is none."""
        for player in self.players:
            if player.number == number:
                return player
        raise KeyError(number)

    @property
    def on_court(self) -> tuple[Player, ...]:
        """The five of the lineup, in order of position 1 to 5."""
        return tuple(self.by_number(number) for number in self.lineup)


def default_lineup(players: tuple[Player, ...]) -> tuple[int, ...]:
    """The first listed player of each position 1 to 5; a position nobody has goes to the first one left."""
    chosen: list[Player | None] = [
        next((p for p in players if p.position == position), None) for position in range(1, N_LINEUP + 1)
    ]
    left = [p for p in players if p not in chosen]
    return tuple((p or left.pop(0)).number for p in chosen)


def check_numbers(numbers: tuple[int, ...], team: Team, where: str, key: str) -> None:
    """Raises InputError when a shirt number is not one of the team's."""
    known = [p.number for p in team.players]
    for number in numbers:
        if number not in known:
            listed = ", ".join(str(n) for n in sorted(known))
            raise InputError(where, key, number, f"a shirt number of {team.name}: {listed}")


def _check(team: Team, where: str) -> Team:
    if len(team.players) < N_LINEUP:
        raise InputError(where, "player", f"{len(team.players)} players", f"at least {N_LINEUP} players")
    for i, player in enumerate(team.players):
        for j, other in enumerate(team.players[:i]):
            if player.number == other.number:
                raise InputError(
                    where,
                    f"player[{i + 1}].number",
                    player.number,
                    f"a number no other player has (player[{j + 1}] has it)",
                )
            if player.name.strip().casefold() == other.name.strip().casefold():
                raise InputError(
                    where,
                    f"player[{i + 1}].name",
                    player.name,
                    f"a name no other player has (player[{j + 1}] has it)",
                )
        counted = [k for k in ("rim", "middle", "three") if getattr(player, k) is not None]
        if player.shot_table is not None and counted:
            raise InputError(
                where,
                f"player[{i + 1}].{counted[0]}",
                getattr(player, counted[0]),
                "counts or a shot_table, not both",
            )
    lineup = team.lineup or default_lineup(team.players)
    if len(lineup) != N_LINEUP or len(set(lineup)) != N_LINEUP:
        raise InputError(where, "lineup", list(lineup), "five different shirt numbers, position 1 to 5")
    check_numbers(lineup, team, where, "lineup")
    places = team.zone_places
    if places is None:
        places = ZonePlaces(**dict(zip(ZONE_PLACES, lineup, strict=True)))
    held = [getattr(places, name) for name in ZONE_PLACES]
    for i, name in enumerate(ZONE_PLACES):
        if held[i] not in lineup or held[i] in held[:i]:
            listed = ", ".join(str(n) for n in lineup)
            raise InputError(where, f"zone_places.{name}", held[i], f"each of the lineup once: {listed}")
    return team.model_copy(update={"lineup": lineup, "zone_places": places})


def team_from(data: Table, source: Source) -> Team:
    """A team from a table; shot tables are found beside ``source``. Raises InputError.

    Where the file names its level, a player who lacks a number has the average of that level.
    """
    where = str(source)
    named = data.get("level")
    average = load_level(named, source).players.numbers() if isinstance(named, str) else {}
    players: list[Table] = []
    for i, written in enumerate(tables(data, "player", where)):
        player = {**average, **written}
        key = f"player[{i + 1}].shot_table"
        if "shot_table" in player:
            if not isinstance(player["shot_table"], str):
                raise InputError(where, key, player["shot_table"], "the name or path of a shot table")
            player["shot_table"] = load_shot_table(player["shot_table"], source, key)
        players.append(player)
    team = parse(Team, {**data, "player": players}, where, written=data)
    return _check(team, where)


def assumed_of(data: Table, team: Team, defends: bool) -> list[str]:
    """What a team's file leaves out and what was taken instead, a line each, for the reader of a result.

    ``data`` is the file as it is written; shooting plays no part for a side that ``defends``, places of the
    zone none for one that attacks.
    """
    lines: list[str] = []
    by_keys: dict[tuple[str, ...], list[int]] = {}
    unshot: list[int] = []
    for written in data.get("player", []):
        left_out = tuple(key for key in PLAYER_RANGES if key not in written)
        by_keys.setdefault(left_out, []).append(written["number"])
        if not {"shot_table", "rim", "middle", "three"} & set(written):
            unshot.append(written["number"])
    level = f"the average of level {team.level}"
    for keys, numbers in by_keys.items():
        if keys:
            lines.append(f"{team.name}, {_shirts(numbers)}: {', '.join(keys)}: {level}.")
    if unshot and not defends:
        lines.append(f"{team.name}, {_shirts(unshot)}: shooting: the average of the shot table.")
    if "lineup" not in data:
        lines.append(
            f"{team.name}: lineup: {', '.join(map(str, team.lineup))}, the first listed of each position."
        )
    if "zone_places" not in data and defends:
        lines.append(f"{team.name}: zone_places: positions 1 to 5 as {', '.join(ZONE_PLACES)}.")
    return lines


def _shirts(numbers: list[int]) -> str:
    return f"{'no.' if len(numbers) == 1 else 'nos.'} {', '.join(map(str, numbers))}"


def load_team(name_or_path: FileName, beside: Source | None = None, key: str = "team") -> Team:
    """Load a team by name (configs/teams) or path; the lineup and the zone places are filled in.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    source = resolve(name_or_path, "teams", beside, key if beside else "")
    return team_from(read_toml(source), source)
