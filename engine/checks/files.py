"""What a file means, in one line each: the work behind ``trapledger check``."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from engine.checks.policy import policy_lines
from engine.errors import InputError
from engine.inputs.alignment import Alignment, alignment_from, load_alignment
from engine.inputs.base import Table, listed, plain, spoken
from engine.inputs.calls import Call, call_from, misfit
from engine.inputs.constants import constants_from
from engine.inputs.files import KINDS, FileName, Source, kind_of, read_text, read_toml, shipped
from engine.inputs.levels import SHIFTS, level_from
from engine.inputs.plays import Play, play_from
from engine.inputs.rules import Rules, load_rules, rules_from
from engine.inputs.scenario import scenario_from
from engine.inputs.sheets import Evening, is_book, is_evening, load_evening
from engine.inputs.sheets.columns import SHEETS
from engine.inputs.sheets.data import CareNumbers, Grades, data_from
from engine.inputs.shots import COLUMNS, shot_table_from
from engine.inputs.stress import stress_from
from engine.inputs.team import team_from
from engine.inputs.zone import load_zone, zone_from
from engine.report.screen.defence import plays_named
from engine.report.screen.evening import shot_lines
from engine.report.screen.plays import play_lines
from engine.report.seldom_view import never_lines
from engine.shipped import configs_root
from engine.still.holes import ALIGNMENT, RULES, scenario_lines, zone_lines
from engine.still.occasions import occasion_lines, run_here
from engine.world.court import build_court, load_layout
from engine.world.pack import plays_of

#: Possessions whose mean length says how many fill a game, and which calls never come up.
PACED = 1000


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
    roles = ", ".join(spoken(role) for role in alignment.roles)
    return f'alignment "{alignment.title}", {rows}, roles {roles}'


def _play(data: Table, source: Source) -> list[str]:
    return play_lines(play_from(data, str(source)))


def _zone(data: Table, source: Source) -> list[str]:
    zone = zone_from(data, str(source))
    words = [_count(len(zone.rows), "row"), _count(len(zone.options), "option")]
    if zone.guards:
        n = len(zone.guards)
        words.append("each guards a man" if n == 5 else f"{n} of 5 {'guards' if n == 1 else 'guard'} a man")
    if zone.match_up is not None:
        words.append(f"takes men after the {spoken(zone.match_up)}")
    return [f'defence "{zone.title}", {", ".join(words)}', *zone_lines(zone)]


def _fits(call: Call, name: str, source: Source) -> None:
    """A call against a defence it is written for, where that one lies beside it or is shipped."""
    try:
        zone = load_zone(name, source)
    except InputError:
        return
    found = misfit(call, zone) if zone.name == name else None
    if found is not None:
        raise InputError(source, *found)


def _call(data: Table, source: Source) -> str:
    call = call_from(data, str(source))
    for name in call.defences:
        _fits(call, name, source)
    if call.dynamic:
        doubles = "the man on the ball and the next nearest"
    else:
        doubles = " and ".join(spoken(role) for role in call.doubles)
    where = ", ".join(spoken(region) for region in call.ball)
    share = f"{call.probability:.0%} of its chances"
    fits = f", for {', '.join(call.defences)}" if call.defences else ""
    return f'trap call "{call.title}", {doubles} double the ball ({where}), {share}{fits}'


def _titles(plays: Sequence[Play]) -> str:
    return ", ".join(f'"{plain(play.title)}"' for play in plays) or "none"


def _scenario(data: Table, source: Source, before_playing: Callable[[], None] | None) -> list[str]:
    scenario = scenario_from(data, source)
    possessions = _count(scenario.possessions, "possession")
    names = ", ".join(f'"{s.name}"' for s in scenario.settings) or "none"
    meaning = (
        f'scenario "{scenario.title}", {scenario.offence_team.name} against {scenario.defence_team.name} '
        f'in the defence "{scenario.zone.title}", {scenario.rules.title}, {possessions}, settings: {names}'
    )
    them = scenario.offence_team.name
    lines = [meaning, f"plays of {them}: {_titles(scenario.plays)}"]
    own = {play.name: play.title for play in scenario.plays}
    for setting in scenario.settings:
        if setting.plays is not None:
            named = plays_named({play.name: play.title for play in setting.plays}, own)
            lines.append(f'plays of {them} in the setting "{plain(setting.name)}": {named}')
    lines += [*occasion_lines(scenario), *scenario_lines(scenario)]
    if scenario.policy is not None or any(setting.policy is not None for setting in scenario.settings):
        lines += policy_lines(scenario, before_playing)
    return lines


def _level(data: Table, source: Source) -> str:
    level = level_from(data, source)
    rim, middle, three = (level.value_of(name) for name in SHIFTS)
    known = sum(item.tag in ("computed", "seen") for item in level.published.values())
    fitted = "nothing fitted yet"
    if level.fit is not None:
        left = [row.left_over for row in level.fit.knob] + [row.left_over for row in level.fit.other]
        inside = left.count(0.0)
        fitted = f"{_count(len(level.fit.knob), 'number')} fitted, {inside} of {len(left)} rates in range"
    return (
        f'level "{level.title}", usual rules {level.rules}, shots {level.shot_table.name} ({rim:+.2f} log '
        f"odds at the rim, {middle:+.2f} in between, {three:+.2f} from outside), "
        f"{_count(len(level.constants), 'constant')} of its own, "
        f"{_count(len(level.published), 'rate')} with a range ({known} of them computed or seen), {fitted}"
    )


def _constants(data: Table, source: Source) -> str:
    return f"model constants, {len(constants_from(data, str(source)))} numbers with unit, range and source"


def _stress(data: Table, source: Source) -> str:
    listed = stress_from(data, str(source))
    levels = ", ".join(listed.rates) or "no level"
    varied = "the structure the same in all worlds"
    one = listed.structure
    if one is not None and (one.alignments or one.rules or len(one.plays) > 1):
        fronts, rules = _count(len(one.alignments), "front"), _count(len(one.rules), "rule")
        varied = (
            f"in half of the worlds {fronts}, plays run: {', '.join(one.plays)}, {rules} of deciding: "
            f"{', '.join(one.rules) or 'none'}"
        )
    n = _count(len(listed.inputs), "uncertain number")
    return f"inputs of the stress study, {n}, {varied}; base rates of {levels}"


def _sweep(data: Table, source: Source) -> str:
    from engine.study.sweep.design import design_from  # slow to load, and few files need it

    design = design_from(data, source)
    points, factors = len(design.points), [plain(factor.path) for factor in design.factors]
    settings = ", ".join(f'"{plain(name)}"' for name in design.settings)
    method = spoken(design.method)
    effort = _count(design.possessions, "possession") + " each"
    if design.effort.rule == "width":
        effort = f"until the half width is {design.effort.half_width:g}, at most {design.effort.most} each"
    elif design.effort.rule == "best":
        effort = f"{design.effort.total} possessions together"
    return (
        f'sweep "{design.title}" of "{design.opened.base.title}", {_count(points, "point")}, {method} over '
        f"{', '.join(factors)}, {effort}, {design.luck} luck, settings: {settings}"
    )


def _is_shot_table(source: Source) -> bool:
    """Whether a CSV file is a shot table, not points of a sweep: its first line names one of its columns, or
    holds nothing that could be a path."""
    lines = (line for line in read_text(source).splitlines() if line.strip() and not line.startswith("#"))
    first = next(lines, "")
    return any(name in first for name in COLUMNS) or "." not in first


def _sheet_numbers(data: Table, source: Source) -> str:
    """Grades, usual calls or care of a coach's sheets."""
    found = data_from(data, source)
    if isinstance(found, Grades):
        return f"grades of the sheets, {_count(len(found.formation), 'formation')}"
    if isinstance(found, CareNumbers):
        age = f"{found.withhold_up_to_age.value:g}"
        return f"care for young players, no trap advice unasked up to under {age}"
    usual = sum(len(base.usual) for base in found.base)
    return f"usual calls of {_count(len(found.base), 'defence')}, {_count(usual, 'setting')}"


def _tried(evening: Evening, before_playing: Callable[[], None] | None) -> tuple[list[str], list[str]]:
    """From few possessions: a line where those of a game do not fit its minutes; one for each call that never
    comes up in them. Of the opponent as he is before he is fitted, whatever is kept: the same sheet has the
    same answer."""
    if before_playing is not None:
        before_playing()
    from engine.study.compare import compare
    from engine.study.evening_report import Played
    from engine.study.pace import pace_words, possessions_per_game
    from engine.study.seldom import seldom

    asked = Played(evening)
    scenario, fitted = asked.scenario, not asked.missing("fit")
    size = replace(asked.size, possessions=min(PACED, asked.size.possessions))
    found = compare(scenario, size.possessions, size.seed, size.threads).to_dict()
    clock, seconds = scenario.rules.clock, found["baseline"]["seconds_per_possession"]["mean"]
    minutes, n = clock.periods * clock.period_s / 60.0, possessions_per_game(scenario, seconds)
    pace = pace_words(n, minutes, size.possessions, fitted)
    rare = seldom(scenario, found, size, least=1)
    return [pace] if pace else [], [] if rare is None else never_lines(rare.to_dict(), fitted)


def _evening(source: Source, before_playing: Callable[[], None] | None) -> list[str]:
    """A folder of sheets: one line, then what was not used, what is to be minded and what was assumed."""
    evening = load_evening(source.path, source.shown)
    scenario = evening.scenario
    names = ", ".join(f'"{s.name}"' for s in scenario.settings) or "none"
    first = evening.care.fill_first and f"{evening.care.fill_first}; "
    meaning = (
        f'{first}sheets of "{scenario.title}", {scenario.level} level, {scenario.rules.title}, '
        f"{_count(len(evening.own), 'player')} of ours, {len(evening.opponents)} of theirs, settings: {names}"
    )
    pace, never = _tried(evening, before_playing)
    assumed = [*evening.assumptions, *shot_lines(evening.to_dict())]
    return [
        meaning,
        *evening.remarks,  # first: a misspelt heading is a row that he filled in for nothing
        *evening.care.lines(),
        *pace,
        f"plays of {scenario.offence_team.name}: {_titles(run_here(scenario))}",
        *occasion_lines(scenario),
        *evening.own_calls,
        *never,
        *(evening.attack.charted if evening.attack is not None else ()),
        f"{_count(len(assumed), 'thing')} assumed:",
        *assumed,
    ]


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


#: What a file means: one line, or that line and the holes of a defence.
_MEANINGS: dict[str, Callable[[Table, Source], str | list[str]]] = {
    "rules": _rules,
    "teams": _team,
    "alignments": _alignment,
    "plays": _play,
    "zones": _zone,
    "calls": _call,
    "levels": _level,
    "constants": _constants,
    "stress": _stress,
    "court": _court,
    "sweeps": _sweep,
    "sheets": _sheet_numbers,
}
_FOLDERS = {
    "model": "constants",
    "court": "court",
    "sheets": "sheets",
    **{kind: kind for kind in KINDS if kind != "shots"},
}


def _meaning(source: Source, before_playing: Callable[[], None] | None) -> str | list[str]:
    if source.path.is_dir() or is_book(source.path):
        return _evening(source, before_playing)
    if source.path.name.casefold() in SHEETS and is_evening(source.path.parent):
        evening = load_evening(source.path.parent, str(Path(source.shown).parent))
        return f'sheet of "{evening.scenario.title}", played as its folder'
    if source.path.suffix == ".csv" and not _is_shot_table(source):
        from engine.study.sweep.sampling import read_points

        columns, rows = read_points(source)
        return (
            f"{_count(len(rows), 'point')} of a sweep, columns {', '.join(plain(name) for name in columns)}"
        )
    if source.path.suffix == ".csv":
        table = shot_table_from(source)
        return (
            f'shot table "{table.name}", {len(table.make)} distances to {table.distance_m[-1]:g} m, '
            f"make {min(table.make):.0%} to {max(table.make):.0%}"
        )
    if source.path.suffix != ".toml":
        raise InputError(
            source, "", source.path.suffix, "a file that ends in .toml or .csv, or a workbook (.xlsx, .ods)"
        )
    data = read_toml(source)
    kind = kind_of(data) or _FOLDERS.get(source.path.absolute().parent.name)
    if kind is None:
        kinds = ", ".join(title for title, ending in KINDS.values() if ending == ".toml")
        raise InputError(
            source, "its keys", ", ".join(list(data)[:8]) or "none", f"the keys of one of: {kinds}"
        )
    if kind == "scenarios":
        return _scenario(data, source, before_playing)
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
        if folder and is_evening(base):
            beside = sorted(p for p in base.glob("*.toml") if p.is_file())  # his own plays, say
            return [Source(base, str(wanted)), *(Source(p, str(wanted / p.name)) for p in beside)]
        if folder:
            found = sorted(p for ending in ("*.toml", "*.csv") for p in base.rglob(ending) if p.is_file())
            if not found:
                raise InputError(
                    plain(wanted),
                    "",
                    "a folder without them",
                    "a folder with .toml or .csv files, or a workbook",
                )
            return [Source(p, str(wanted / p.relative_to(base))) for p in found]
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
    raise InputError(
        plain(wanted), "", str(wanted), "a file or folder that exists (trapledger new FOLDER makes one)"
    )


def check_path(path: FileName, before_playing: Callable[[], None] | None = None) -> list[str]:
    """Validate a file, or every .toml and .csv file in a folder and below: one line of meaning per file.

    A folder of sheets is one thing: its line, then what was filled in; then the .toml files beside them.

    What more there is to say follows its line, indented: the steps of a play and what is wrong with it, the
    plays of a scenario, the holes of a defence, or of those a scenario plays. These are findings, not errors.
    The kind of a file is told from its keys, else from the folder it lies in. A coded policy of a scenario is
    asked on floors of played possessions (engine.checks.policy), which needs the compiled engine:
    ``before_playing`` is called before it.

    Raises InputError for the first file that is wrong: one line with file, key, value and what is allowed.
    """
    found: list[str] = []
    for source in _sources(path):
        said = _meaning(source, before_playing)
        meaning, *holes = [said] if isinstance(said, str) else said
        found += [f"{source}: {meaning}", *(f"  {hole}" for hole in holes)]
    return found


def picture_of_plays(paths: Sequence[FileName]) -> str:
    """A page (HTML) of every play among these files and folders, drawn with the shipped alignment, and of the
    plays that each scenario named or folder of sheets runs, in its own alignment and on its court.

    Raises InputError where there is none.
    """
    found: list[tuple[Play, Alignment, Rules]] = []
    for named, source in ((str(Path(path)), source) for path in paths for source in _sources(path)):
        drawn: list[tuple[Play, Alignment, Rules]] = []
        if source.path.is_dir() or is_book(source.path):
            scenario = load_evening(source.path, source.shown).scenario
            drawn = [(play, scenario.alignment, scenario.rules) for play in run_here(scenario)]
        elif source.path.suffix == ".toml":
            data = read_toml(source)
            kind = kind_of(data) or _FOLDERS.get(source.path.absolute().parent.name)
            if kind == "plays":
                drawn = [(play_from(data, str(source)), load_alignment(ALIGNMENT), load_rules(RULES))]
            elif kind == "scenarios" and source.shown == named:
                scenario = scenario_from(data, source)
                drawn = [(play, scenario.alignment, scenario.rules) for play in plays_of(scenario)]
        found += [one for one in drawn if one not in found]
    if not found:
        shown = listed(str(path) for path in paths)
        raise InputError(
            "--picture", "", shown, "plays, a folder with some, or what runs some: a scenario, an evening"
        )
    from engine.report.page.plays import plays_page

    return plays_page(found)
