"""Scenarios: two teams, rules, an alignment, a zone and the settings to weigh (configs/scenarios/*.toml)."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, Field

from engine.errors import InputError
from engine.inputs import defaults
from engine.inputs.alignment import Alignment, alignment_from
from engine.inputs.base import Flag, Frozen, Table, Text, Whole, not_allowed, one_of, parse
from engine.inputs.calls import CHANGEABLE, Call, call_from
from engine.inputs.constants import constants_from, override
from engine.inputs.files import FileName, Source, configs_root, read_toml, resolve, shown_path
from engine.inputs.places import Options, choose
from engine.inputs.rules import Rules, change_rules, rules_from
from engine.inputs.shots import ShotTable, load_shot_table
from engine.inputs.team import Team, check_numbers, team_from
from engine.inputs.zone import Zone, chosen, zone_from
from engine.state import MOST_CALLS

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


class Setting(Frozen):
    """One way to play the zone: a name and its calls, each complete with the changes of the scenario."""

    name: Text
    calls: tuple[Call, ...]


class Scenario(Frozen):
    """Everything a run needs, resolved: no name of a file is left to look up.

    ``constants``: every model constant as a number in its own unit, after overrides. ``zone_options``:
    option -> choice taken. ``possessions``, ``over_n``: counts. ``files``: every file that was read.
    """

    title: str
    path: Path
    level: str
    rules: Rules
    constants: dict[str, float]
    beyond_range: bool
    shot_table: ShotTable
    start: str
    possessions: int
    seed: int
    over_n: int
    offence_team: Team
    alignment: Alignment
    defence_team: Team
    zone: Zone
    zone_options: dict[str, str]
    game: Game
    settings: tuple[Setting, ...]
    files: tuple[Path, ...]


# --- the file as it is written --------------------------------------------------------------------------


class _Offence(Frozen):
    team: Text = Field(description="name or path of a team")
    alignment: Text = Field(description="name or path of an alignment")


class _Defence(Frozen):
    team: Text = Field(description="name or path of a team")
    zone: Text = Field(description="name or path of a zone")
    options: dict[str, Any] = Field(default_factory=dict, description="option = choice")


class _CallUse(Frozen):
    call: Text = Field(description="name or path of a trap call")
    probability: Any = None
    triggers: Any = None
    held_s: Any = None
    disguise_s: Any = None
    only_against: Any = None
    budget: Any = None
    give_up_s: Any = None
    way_back: Any = None
    options: dict[str, Any] = Field(default_factory=dict, description="option = choice")


class _Setting(Frozen):
    name: Text = Field(description="name of the setting")
    call: tuple[_CallUse, ...] = Field(default=(), description="calls, written as [[setting.call]]")


class _File(Frozen):
    title: Text = Field(description="what the scenario is about")
    rules: Text = Field(description="name or path of a rule set")
    level: Text = Field(default=defaults.LEVEL, description="level of play")
    shot_table: Text = Field(description="name or path of the level's shot table")
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
    defence: _Defence = Field(description="team and zone")
    game: Game = Field(default_factory=Game, description="the game so far")
    rules_changes: dict[str, Any] = Field(
        default_factory=dict, description='"clock.shot_s" = seconds and the like'
    )
    constants: dict[str, Any] = Field(default_factory=dict, description="constant = number")
    beyond_range: Flag = Field(default=False, description="whether constants may leave their range")
    setting: tuple[_Setting, ...] = Field(default=(), description="settings, written as [[setting]]")


def _moved(error: InputError, where: str, key: str) -> InputError:
    """The same error told about the scenario's own key."""
    return InputError(where, key, error.value, error.allowed)


def _call(use: _CallUse, source: Source, offence: Team, key: str) -> Call:
    """A call with the changes of one setting. Raises InputError naming the scenario's key."""
    where = str(source)
    call_source = resolve(use.call, "calls", source, f"{key}.call")
    data = read_toml(call_source)
    call = call_from(data, str(call_source))
    changes = {name: getattr(use, name) for name in CHANGEABLE if name in use.model_fields_set}
    if changes:
        try:
            call = call_from({**data, **changes}, where)
        except InputError as error:
            raise _moved(error, where, f"{key}.{error.key}") from None
    options: Options = choose(call.options, use.options, where, f"{key}.options")
    told = (where, f"{key}.only_against") if "only_against" in changes else (str(call_source), "only_against")
    check_numbers(call.only_against, offence, *told)
    return call.model_copy(update={"options": options})


def _settings(file: _File, source: Source, offence: Team) -> tuple[Setting, ...]:
    where = str(source)
    settings: list[Setting] = []
    for i, written in enumerate(file.setting):
        key = f"setting[{i + 1}]"
        if written.name.strip().casefold() == defaults.HOME:
            allowed = f"another name ({defaults.HOME} is the zone without calls)"
            raise InputError(where, f"{key}.name", written.name, allowed)
        if len(written.call) > MOST_CALLS:
            found = f"{len(written.call)} calls"
            raise InputError(where, f"{key}.call", found, f"at most {MOST_CALLS} calls in a setting")
        for j, earlier in enumerate(settings):
            if earlier.name.casefold() == written.name.casefold():
                raise InputError(
                    where, f"{key}.name", written.name, f"a name of its own (setting[{j + 1}] has it)"
                )
        covered: dict[str, int] = {}
        calls: list[Call] = []
        for j, use in enumerate(written.call):
            here = f"{key}.call[{j + 1}]"
            call = _call(use, source, offence, here)
            for region in call.ball:
                if region in covered:
                    raise InputError(
                        where,
                        f"{here}.call",
                        use.call,
                        f"one call per region (call[{covered[region]}] has {region})",
                    )
                covered[region] = j + 1
            calls.append(call)
        settings.append(Setting(name=written.name, calls=tuple(calls)))
    return tuple(settings)


def scenario_from(data: Table, source: Source) -> Scenario:
    """A scenario from a table; other files are found beside ``source``. Raises InputError."""
    where = str(source)
    file = parse(_File, data, where)

    rules_source = resolve(file.rules, "rules", source, "rules")
    rules = change_rules(rules_from(read_toml(rules_source), str(rules_source)), file.rules_changes, where)

    model_path = configs_root() / "model" / "constants.toml"
    model_source = Source(model_path, shown_path(model_path), source.read)
    known = constants_from(read_toml(model_source), str(model_source))
    constants = override(known, file.constants, where, file.beyond_range)

    shot_table = load_shot_table(file.shot_table, source)
    teams: list[Team] = []
    for name, key in ((file.offence.team, "offence.team"), (file.defence.team, "defence.team")):
        team_source = resolve(name, "teams", source, key)
        teams.append(team_from(read_toml(team_source), team_source))
    offence, defence = teams
    alignment_source = resolve(file.offence.alignment, "alignments", source, "offence.alignment")
    alignment = alignment_from(read_toml(alignment_source), str(alignment_source))
    zone_source = resolve(file.defence.zone, "zones", source, "defence.zone")
    zone = zone_from(read_toml(zone_source), str(zone_source))
    zone = zone.model_copy(
        update={"options": choose(zone.options, file.defence.options, where, "defence.options")}
    )

    return Scenario(
        title=file.title,
        path=source.path,
        level=file.level,
        rules=rules,
        constants=constants,
        beyond_range=file.beyond_range,
        shot_table=shot_table,
        start=file.start,
        possessions=file.possessions,
        seed=file.seed,
        over_n=file.over_n,
        offence_team=offence,
        alignment=alignment,
        defence_team=defence,
        zone=zone,
        zone_options=chosen(zone.options),
        game=file.game,
        settings=_settings(file, source, offence),
        files=tuple(dict.fromkeys(source.read)),
    )


def load_scenario(path: FileName) -> Scenario:
    """Load a scenario by path, or by name from configs/scenarios, with every file it names.

    Units: metres, seconds, probabilities from 0 to 1; every model constant is a number in its own unit.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    source = resolve(path, "scenarios")
    return scenario_from(read_toml(source), source)


def config_hash(scenario: Scenario) -> str:
    """SHA-256 (hexadecimal) of all resolved inputs as canonical JSON; where the files lie does not matter."""
    data = scenario.model_dump(mode="json", exclude={"path", "files"})
    text = json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
