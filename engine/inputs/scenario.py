"""Scenarios: teams, rules, an alignment, a defence and the settings to weigh (configs/scenarios/*.toml)."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, Field

from engine.errors import MissingInput
from engine.inputs import defaults
from engine.inputs.alignment import Alignment, alignment_from
from engine.inputs.base import Flag, Frozen, Table, Text, Whole, canonical, not_allowed, one_of, parse
from engine.inputs.constants import beliefs, constants_from, override, ranges
from engine.inputs.defence import check_matchups, read_matchups
from engine.inputs.files import FileName, Source, read_toml, resolve, shown_path
from engine.inputs.levels import Level, Published, level_from, level_source
from engine.inputs.plays import Play, plays_from
from engine.inputs.rules import Rules, change_rules, rules_from
from engine.inputs.settings import Setting, WrittenSetting, defence_from, settings_from
from engine.inputs.shots import ShotTable, load_shot_table
from engine.inputs.team import Player, Team, assumed_of, team_from
from engine.inputs.zone import Zone, chosen
from engine.shipped import configs_root
from engine.state.words import Against

STARTS = ("bring_up", "frontcourt")
ARROWS = ("offence", "defence", "even")

Start = Annotated[str, Field(strict=True), AfterValidator(one_of(STARTS))]
Arrow = Annotated[str, Field(strict=True), AfterValidator(one_of(ARROWS))]


def _seed(value: int) -> int:
    if not 0 <= value <= defaults.MOST_SEED:
        raise not_allowed(f"a whole number from 0 to {defaults.MOST_SEED}")
    return value


Seed = Annotated[int, Field(strict=True), AfterValidator(_seed)]


class Game(Frozen):
    """What the game has brought so far: counts, and who gets a held ball."""

    team_fouls: Whole = Field(
        default=defaults.TEAM_FOULS, ge=0, le=100, description="fouls of the defence, count"
    )
    traps_seen: Whole = Field(
        default=defaults.TRAPS_SEEN, ge=0, le=1000, description="traps of a kind the offence has seen, count"
    )
    time_outs_left: Whole = Field(
        default=defaults.TIME_OUTS_LEFT, ge=0, le=20, description="time-outs of the offence, count"
    )
    possession_arrow: Arrow = Field(default=defaults.POSSESSION_ARROW, description="who gets a held ball")


class Scenario(Frozen):
    """Everything a run needs, resolved: no name of a file is left to look up.

    ``constants``: every model constant as a number in its own unit: the model's, then the level's, then the
    scenario's. ``measured_against``: the kind of defence (word of Against) against which what players believe
    among them holds; ``other_defence``: constant -> what is added against the other kind, but for those that
    the scenario names itself; ``other_own``: what it is there, by the scenario's own word.
    ``habits``: kind of defence -> shirt of the attack -> points asked of his twos and of his threes there, in
    place of the team's own; a kind or a man that is not named stays as in the team. No file has them: they
    are fitted (engine.study.sheet.habits).
    ``shot_table``: the scenario's as it is, else the level's after its shifts. ``level``: name of the level,
    None where the scenario names none; ``published``: what is published about it.
    ``zone_options``: option -> choice taken. ``policy``: name of the coded policy that plays the defence,
    None for the file's rows. ``matchups``: own shirt -> opponent's shirt, for defences with guards.
    ``possessions``, ``over_n``: counts. ``files``: every file that was read. ``assumed``: what the teams'
    files and the game leave out and what was taken instead, in words; no part of the config hash, as what was
    taken is.
    """

    title: str
    path: Path
    level: str | None
    published: dict[str, Published]
    rules: Rules
    constants: dict[str, float]
    measured_against: str
    other_defence: dict[str, float]
    other_own: dict[str, float] = {}
    habits: dict[str, dict[int, tuple[float, float]]] = {}
    beyond_range: bool
    shot_table: ShotTable
    start: str
    possessions: int
    seed: int
    over_n: int
    offence_team: Team
    alignment: Alignment
    plays: tuple[Play, ...]
    defence_team: Team
    zone: Zone
    zone_options: dict[str, str]
    policy: str | None
    matchups: dict[int, int]
    game: Game
    settings: tuple[Setting, ...]
    files: tuple[Path, ...]
    assumed: tuple[str, ...] = ()


def unnamed(differences: Mapping[str, float], named: Collection[str]) -> dict[str, float]:
    """What is added against the other kind of defence; what a scenario names holds as it stands."""
    return {name: more for name, more in differences.items() if name not in named}


def constants_against(scenario: Scenario, zone: Zone) -> dict[str, float]:
    """Every constant where this defence is played: what players believe is known for a zone and for men."""
    if zone.kind == scenario.measured_against:
        return dict(scenario.constants)
    found = {
        name: value + scenario.other_defence.get(name, 0.0) for name, value in scenario.constants.items()
    }
    if not scenario.beyond_range:
        for name in scenario.other_defence:
            low, high = ranges()[name]
            found[name] = min(max(found[name], low), high)
    return found | scenario.other_own


def with_constants(scenario: Scenario, values: Mapping[str, float]) -> Scenario:
    """The scenario with these constants."""
    return scenario.model_copy(update={"constants": {**scenario.constants, **values}})


#: What players believe of what they try in a trap themselves, and of a pass out of it.
IN_A_TRAP = (
    "belief_hold_coming_points",
    "belief_hold_set_points",
    "belief_drive_trapped_points",
    "belief_retreat_points",
)
OUT_OF_A_TRAP = ("belief_pass_coming_points", "belief_pass_set_points")


def with_trapped(scenario: Scenario, points: float, passes: float = 0.0) -> Scenario:
    """The scenario with so many points more believed of what is tried in a trap, and of passes out of it."""
    by = dict.fromkeys(IN_A_TRAP, points) | dict.fromkeys(OUT_OF_A_TRAP, passes)

    def more(values: dict[str, float]) -> dict[str, float]:
        found = dict(values)
        for name in set(by) & set(values):
            low, high = (-math.inf, math.inf) if scenario.beyond_range else ranges()[name]
            found[name] = min(max(found[name] + by[name], low), high)
        return found

    return scenario.model_copy(
        update={"constants": more(scenario.constants), "other_own": more(scenario.other_own)}
    )


def attackers_against(scenario: Scenario, zone: Zone) -> tuple[Player, ...]:
    """The five of the attack where this defence is played: how gladly each shoots may differ by its kind."""
    own = scenario.habits.get(zone.kind, {})

    def there(player: Player) -> Player:
        if player.number not in own:
            return player
        two, three = own[player.number]
        return player.model_copy(update={"reluctance_two_points": two, "reluctance_three_points": three})

    return tuple(there(player) for player in scenario.offence_team.on_court)


# --- the file as it is written --------------------------------------------------------------------------


class _Offence(Frozen):
    team: Text = Field(description="name or path of a team")
    alignment: Text = Field(description="name or path of an alignment")
    plays: tuple[Text, ...] = Field(default=defaults.PLAYS, description="names or paths of plays")


class _Defence(Frozen):
    team: Text = Field(description="name or path of a team")
    zone: Text = Field(description="name or path of a defence")
    options: dict[str, Any] = Field(default_factory=dict, description="option = choice")
    policy: Text | None = Field(default=None, description="name of a coded policy")
    matchups: dict[str, Any] = Field(default_factory=dict, description="own shirt = opponent's shirt")


class _File(Frozen):
    title: Text = Field(description="what the scenario is about")
    rules: Text = Field(description="name or path of a rule set")
    level: Text | None = Field(default=None, description="name or path of a level of play")
    shot_table: Text | None = Field(default=None, description="name or path of a shot table, taken as it is")
    start: Start = Field(default=defaults.START, description="how a possession starts")
    possessions: Whole = Field(
        default=defaults.POSSESSIONS,
        ge=1,
        le=defaults.MOST_POSSESSIONS,
        description="possessions to play, count",
    )
    seed: Seed = Field(default=defaults.SEED, description="seed of the random numbers")
    over_n: Whole = Field(
        default=defaults.OVER_N, ge=1, le=10_000, description="calls the risk is added up over, count"
    )
    offence: _Offence = Field(description="team and alignment")
    defence: _Defence = Field(description="team and defence")
    game: Game = Field(default_factory=Game, description="the game so far")
    rules_changes: dict[str, Any] = Field(
        default_factory=dict, description='"clock.shot_s" = seconds and the like'
    )
    constants: dict[str, Any] = Field(default_factory=dict, description="constant = number")
    other_defence: dict[str, Any] = Field(
        default_factory=dict, description="constant = number against the other of zone and men"
    )
    beyond_range: Flag = Field(default=False, description="whether constants may leave their range")
    setting: tuple[WrittenSetting, ...] = Field(default=(), description="settings, written as [[setting]]")


def _level(file: _File, source: Source) -> Level | None:
    """The level a scenario names, None when it names none. Raises InputError listing the levels."""
    if file.level is None:
        return None
    found = level_source(file.level, source)
    return level_from(read_toml(found), found)


def scenario_from(data: Table, source: Source) -> Scenario:
    """A scenario from a table; other files are found beside ``source``. Raises InputError."""
    where = str(source)
    file = parse(_File, data, where)

    rules_source = resolve(file.rules, "rules", source, "rules")
    rules = change_rules(rules_from(read_toml(rules_source), str(rules_source)), file.rules_changes, where)

    model_path = configs_root() / "model" / "constants.toml"
    model_source = Source(model_path, shown_path(model_path), source.read, source.held)
    known = constants_from(read_toml(model_source), str(model_source))
    level = _level(file, source)
    known = known if level is None else level.over(known)
    constants = override(known, file.constants, where, file.beyond_range)
    there = beliefs(known, file.other_defence, where, file.beyond_range, "other_defence")
    if file.shot_table is not None:
        shot_table = load_shot_table(file.shot_table, source)
    elif level is not None:
        shot_table = level.shifted_table(constants)
    else:
        raise MissingInput(where, "shot_table", "the name or path of a shot table, or a level")

    teams: list[Team] = []
    assumed: list[str] = []
    for name, key in ((file.offence.team, "offence.team"), (file.defence.team, "defence.team")):
        team_source = resolve(name, "teams", source, key)
        written = read_toml(team_source)
        teams.append(team_from(written, team_source))
        assumed += assumed_of(written, teams[-1], key == "defence.team")
    left_out = {key: value for key, value in file.game if key not in file.game.model_fields_set}
    if left_out:
        assumed.append(
            f"The game so far: {', '.join(f'{key} = {value}' for key, value in left_out.items())}."
        )
    offence, defence = teams
    alignment_source = resolve(file.offence.alignment, "alignments", source, "offence.alignment")
    alignment = alignment_from(read_toml(alignment_source), str(alignment_source))
    plays = plays_from(file.offence.plays, source)
    home = defence_from(file.defence.zone, file.defence.options, file.defence.policy, source, "defence")
    matchups = read_matchups(file.defence.matchups, defence, offence, where)
    settings = settings_from(file.setting, home, plays, source, offence)
    zones = [home.zone, *(setting.zone for setting in settings if setting.zone is not None)]
    check_matchups(matchups, zones, defence, where)

    return Scenario(
        title=file.title,
        path=source.path,
        level=None if level is None else level.name,
        published={} if level is None else level.published,
        rules=rules,
        constants=constants,
        measured_against=Against.ZONE.word if level is None else level.measured_against,
        other_defence={} if level is None else unnamed(level.differences(), file.constants),
        other_own=there,
        beyond_range=file.beyond_range,
        shot_table=shot_table,
        start=file.start,
        possessions=file.possessions,
        seed=file.seed,
        over_n=file.over_n,
        offence_team=offence,
        alignment=alignment,
        plays=plays,
        defence_team=defence,
        zone=home.zone,
        zone_options=chosen(home.zone.options),
        policy=home.policy,
        matchups=matchups,
        game=file.game,
        settings=settings,
        files=tuple(dict.fromkeys(source.read)),
        assumed=tuple(assumed),
    )


def load_scenario(path: FileName) -> Scenario:
    """Load a scenario by path, or by name from configs/scenarios, with every file it names.

    Units: metres, seconds, probabilities from 0 to 1; every model constant is a number in its own unit.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    source = resolve(path, "scenarios")
    return scenario_from(read_toml(source), source)


def resolved(scenario: Scenario) -> dict[str, Any]:
    """Everything a scenario's files came to, as JSON; places of the files and remarks on them left out."""
    left_out = {"path", "files", "published", "assumed"}
    found: dict[str, Any] = scenario.model_dump(mode="json", exclude=left_out)
    return found


def config_hash(scenario: Scenario) -> str:
    """SHA-256 (hexadecimal) of all resolved inputs as canonical JSON; where the files lie does not matter."""
    return hashlib.sha256(canonical(resolved(scenario)).encode("utf-8")).hexdigest()
