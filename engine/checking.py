"""What a file means, in one line each: the work behind ``trapledger check``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from engine.court import build_court, load_layout
from engine.errors import InputError
from engine.inputs.alignment import alignment_from
from engine.inputs.base import Table
from engine.inputs.calls import call_from
from engine.inputs.constants import constants_from
from engine.inputs.files import KINDS, FileName, Source, configs_root, kind_of, plain, read_toml, shipped
from engine.inputs.rules import load_rules, rules_from
from engine.inputs.scenario import scenario_from
from engine.inputs.shots import shot_table_from
from engine.inputs.team import team_from
from engine.inputs.zone import zone_from


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def _rules(data: Table, source: Source) -> str:
    rules = rules_from(data, str(source))
    clock = f"shot clock {rules.clock.shot_s:g} s" if rules.clock.shot_s else "no shot clock"
    court = rules.court
    return (
        f'rule set "{rules.title}", court {court.width_m:g} by {court.length_m:g} m, '
        f"three-point arc {rules.three_point.arc_radius_m:g} m, {clock}"
    )


def _team(data: Table, source: Source) -> str:
    team = team_from(data, source)
    heights = [p.height_m for p in team.players]
    return f'team "{team.name}", {len(heights)} players, {min(heights):.2f} to {max(heights):.2f} m'


def _alignment(data: Table, source: Source) -> str:
    alignment = alignment_from(data, str(source))
    rows = _count(len(alignment.rows), "row")
    roles = ", ".join(role.replace("_", " ") for role in alignment.roles)
    return f'alignment "{alignment.title}", {rows}, roles {roles}'


def _zone(data: Table, source: Source) -> str:
    zone = zone_from(data, str(source))
    rows, options = _count(len(zone.rows), "row"), _count(len(zone.options), "option")
    return f'zone "{zone.title}", {rows} of slides, {options}'


def _call(data: Table, source: Source) -> str:
    call = call_from(data, str(source))
    doubles = " and ".join(role.replace("_", " ") for role in call.doubles)
    where = ", ".join(region.replace("_", " ") for region in call.ball)
    share = f"{call.probability:.0%} of its chances"
    return f'trap call "{call.title}", {doubles} double the ball ({where}), {share}'


def _scenario(data: Table, source: Source) -> str:
    scenario = scenario_from(data, source)
    possessions = _count(scenario.possessions, "possession")
    names = ", ".join(f'"{s.name}"' for s in scenario.settings) or "none"
    return (
        f'scenario "{scenario.title}", {scenario.offence_team.name} against the zone of '
        f"{scenario.defence_team.name}, {scenario.rules.title}, {possessions}, settings: {names}"
    )


def _constants(data: Table, source: Source) -> str:
    return f"model constants, {len(constants_from(data, str(source)))} numbers with unit, range and source"


def _court(data: Table, source: Source) -> str:
    """The layout, placed on the court of every shipped rule set: no gap, no overlap, no spot off it."""
    layout, _ = load_layout(source.path)
    names = shipped("rules")
    for name in names:
        build_court(load_rules(name), source.path)
    return (
        f"court, {_count(len(layout.regions), 'region')}, {_count(len(layout.spots), 'named spot')}, "
        f"on the courts of {_count(len(names), 'rule set')}"
    )


_MEANINGS: dict[str, Callable[[Table, Source], str]] = {
    "rules": _rules,
    "teams": _team,
    "alignments": _alignment,
    "zones": _zone,
    "calls": _call,
    "scenarios": _scenario,
    "constants": _constants,
    "court": _court,
}
_FOLDERS = {"model": "constants", "court": "court", **{kind: kind for kind in KINDS if kind != "shots"}}


def _meaning(source: Source) -> str:
    if source.path.suffix == ".csv":
        table = shot_table_from(source)
        return (
            f'shot table "{table.name}", {len(table.make)} distances to {table.distance_m[-1]:g} m, '
            f"make {min(table.make):.0%} to {max(table.make):.0%}"
        )
    if source.path.suffix != ".toml":
        raise InputError(source, "", source.path.suffix, "a file that ends in .toml or .csv")
    data = read_toml(source)
    kind = kind_of(data) or _FOLDERS.get(source.path.absolute().parent.name)
    if kind is None:
        kinds = ", ".join(title for title, ending in KINDS.values() if ending == ".toml")
        raise InputError(source, "its keys", ", ".join(list(data)[:8]), f"the keys of one of: {kinds}")
    return _MEANINGS[kind](data, source)


def _sources(path: FileName) -> list[Source]:
    wanted = Path(path)
    try:
        folder, file = wanted.is_dir(), wanted.is_file()
        if not folder and not file and wanted.parts[:1] == ("configs",):
            shipped = configs_root().joinpath(*wanted.parts[1:])
            if ".." not in wanted.parts and shipped.exists():
                folder, file = shipped.is_dir(), shipped.is_file()
                base = shipped
            else:
                base = wanted
        else:
            base = wanted
        if file:
            return [Source(base, str(wanted))]
        if folder:
            found = sorted(p for ending in ("*.toml", "*.csv") for p in base.rglob(ending) if p.is_file())
            if not found:
                raise InputError(
                    plain(wanted), "", "a folder without them", "a folder with .toml or .csv files"
                )
            return [Source(p, str(wanted / p.relative_to(base))) for p in found]
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
    raise InputError(plain(wanted), "", str(wanted), "a file or folder that exists")


def check_path(path: FileName) -> list[str]:
    """Validate a file, or every .toml and .csv file in a folder and below: one line of meaning per file.

    The kind of a file is told from its keys, else from the folder it lies in.

    Raises InputError for the first file that is wrong: one line with file, key, value and what is allowed.
    """
    return [f"{source}: {_meaning(source)}" for source in _sources(path)]
