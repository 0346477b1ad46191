"""A folder of sheets as a scenario that can be played, and what was filled in to make it one."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from engine.errors import MissingInput
from engine.inputs import defaults
from engine.inputs.alignment import alignment_from
from engine.inputs.base import nearest, plain
from engine.inputs.constants import constants_from, override
from engine.inputs.files import Source, read_toml, shipped_source, shown_path
from engine.inputs.plays import plays_from
from engine.inputs.scenario import Game, Scenario, load_scenario
from engine.inputs.settings import CallUse, Setting, WrittenSetting, defence_from, settings_from
from engine.inputs.sheets.attack import MAN_TO_MAN, ZONE, AttackSide, attack_side
from engine.inputs.sheets.calls import OwnCalls, calls_sheet, read_calls
from engine.inputs.sheets.care import Care, care_of
from engine.inputs.sheets.cells import Assumed
from engine.inputs.sheets.columns import CALLS, GAME, OPPONENT, OWN, SHOTS
from engine.inputs.sheets.counts import LEAST_MEN, ManCounts
from engine.inputs.sheets.data import UsualDefence, load_grades, load_usual_calls
from engine.inputs.sheets.find import find_sheets, folder_of
from engine.inputs.sheets.fronts import Front, Likely, alignment_of, likely_of
from engine.inputs.sheets.game import GameSheet, read_game
from engine.inputs.sheets.men import men_setting
from engine.inputs.sheets.met import TONIGHT, Met, met_of
from engine.inputs.sheets.opponent import Opponent, OpponentNote, read_opponent
from engine.inputs.sheets.own import OwnNote, read_own
from engine.inputs.sheets.read import Sheet
from engine.inputs.sheets.shooting import LevelAverages, ShotNote
from engine.inputs.shots import ShotTable
from engine.inputs.team import Team
from engine.inputs.zone import chosen
from engine.shipped import configs_root

#: Level whose age group is low enough for the questions of care, where a scenario file says nothing of age.
YOUNG_LEVEL = "under_14"


@dataclass(frozen=True)
class Evening:
    """A scenario and what a coach must know beside it.

    ``assumptions``: what was filled in, in plain words, each once. ``remarks``: what was not used of the
    sheets. ``signals``: name of a call -> the coach's own word, where there is one. ``trap_targets``: shirt
    numbers of opponents whom the sheet calls weak under pressure. ``shooting``: how much of each estimate is
    the player's own. ``own_calls``: what each row of the sheet of calls was understood as, a sentence each;
    ``own_settings``: names of the settings that these are.
    ``counts``: what the sheet counts of each opponent. ``folder``: None for a scenario file. ``fronts``,
    ``high_post``: what the sheet says of how they line up. ``attack``: the same five with the ball, None for
    a scenario file and where no trap may be advised. ``men``: man-to-man in place of the zone, None for a
    scenario file and where no zone is played. ``met``: the defences against which the opponent was counted.
    """

    scenario: Scenario
    assumptions: tuple[str, ...]
    care: Care
    signals: dict[str, str] = field(default_factory=dict)
    trap_targets: tuple[int, ...] = ()
    opponents: tuple[OpponentNote, ...] = ()
    own: tuple[OwnNote, ...] = ()
    shooting: tuple[ShotNote, ...] = ()
    own_shooting: tuple[ShotNote, ...] = ()
    remarks: tuple[str, ...] = ()
    own_calls: tuple[str, ...] = ()
    own_settings: tuple[str, ...] = ()
    counts: tuple[ManCounts, ...] = ()
    folder: Path | None = None
    fronts: tuple[Front, ...] = ()
    high_post: bool | None = None
    attack: AttackSide | None = None
    men: Setting | None = None
    met: Met = TONIGHT

    @property
    def likely(self) -> tuple[Likely, ...]:
        """The formations that the other coach is likely to choose, the one played first."""
        return likely_of(self.scenario.alignment, self.fronts, self.high_post)

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON."""
        return {
            "assumptions": list(self.assumptions),
            "care": self.care.to_dict(),
            "signals": dict(self.signals),
            "trap_targets": list(self.trap_targets),
            "opponents": [note.to_dict() for note in self.opponents],
            "own": [note.to_dict() for note in self.own],
            "shooting": [note.to_dict() for note in self.shooting],
            "own_shooting": [note.to_dict() for note in self.own_shooting],
            "remarks": list(self.remarks),
            "own_calls": list(self.own_calls),
        }


# --- building the scenario -----------------------------------------------------------------------------


def _alignment_name(game: GameSheet, assumed: Assumed) -> str:
    front = game.fronts[0].name if game.fronts else "one"
    if not game.fronts:
        assumed.note(f"How {game.them} line up is not given: one guard out front.")
    if game.high_post is None and front == "one":
        assumed.note(f"Whether {game.them} play a high post is not given: yes.")
    if len(game.fronts) < 2:
        assumed.note(
            f"What {game.them} choose beside that is not given: every other shipped formation as likely."
        )
    found = alignment_of(front, game.high_post)
    if found is None:
        raise MissingInput("configs/sheets/grades.toml", "formation", f"a row for front {front}")
    return found


def _written(usual: UsualDefence, targets: Sequence[int]) -> tuple[WrittenSetting, ...]:
    """The usual settings; those for weak handlers only where there are any."""
    settings: list[WrittenSetting] = []
    for item in usual.usual:
        if item.targets and not targets:
            continue
        uses = [
            CallUse(call=name, only_against=list(targets)) if item.targets else CallUse(call=name)
            for name in item.calls
        ]
        settings.append(WrittenSetting(name=item.name, call=tuple(uses)))
    return tuple(settings)


def _signals(game: GameSheet, settings: tuple[Setting, ...]) -> dict[str, str]:
    """Name of a call -> the coach's word for its spot."""
    calls = {call.name: call for setting in settings for call in setting.calls}
    return {
        name: game.signals[spot]
        for name, call in calls.items()
        if (spot := call.spot.replace(" ", "_")) in game.signals
    }


def _usual_lines(
    scenario: Scenario, game: GameSheet, counted: bool, carried: Met | None, assumed: Assumed
) -> None:
    """What no coach is asked for, said once; ``carried``: what they met, where who shoots is carried over
    from there."""
    start = scenario.game
    assumed.note(
        f"The game starts: {start.team_fouls} team fouls, {start.traps_seen} traps seen, "
        f"{start.time_outs_left} time-outs left for {game.them}."
    )
    if game.plays is None:
        assumed.note(f"Which plays {game.them} run is not given: all shipped ones, where they fit.")
    if game.counted_against is None and counted:
        assumed.note(
            f"What {game.them} mostly met in the games that your sheet counts is not given: half "
            "man-to-man, half zone."
        )
    if carried is not None:
        there = "man-to-man" if game.care.zone_played else "a zone"
        assumed.note(
            f"Who of {game.them} shoots tonight is taken to be as on your sheet, which counts games "
            f"against {there}{', too' if carried.tonight else ''}: their habits are assumed to hold."
        )
    assumed.note(
        "Not asked and taken from the level or common practice: pass speeds, reactions, how well traps are "
        "hidden, how fast the offence gets used to them (trapledger stress varies the numbers)."
    )


def load_evening(path: str | os.PathLike[str], shown: str | None = None) -> Evening:
    """A folder of sheets, or a scenario file, as an evening; errors show the folder as ``shown``.

    A folder's calls are the usual ones (configs/sheets/usual_calls.toml) as far as the league allows them;
    there are none until trap advice is allowed (``care``). Units: metres, seconds, chances 0 to 1.

    Raises InputError: one line with file, row and column or key, value and what is allowed.
    """
    found = folder_of(path)
    if found is None:
        return _of_file(_scenario_file(path))
    return _of_folder(found[0], found[1] if shown is None else shown)


def _scenario_file(path: str | os.PathLike[str]) -> Scenario:
    """A scenario file; what is not there may have been meant as a folder. Raises InputError."""
    try:
        return load_scenario(path)
    except MissingInput as error:
        if error.key != "the file" or error.where != plain(os.fspath(path)):
            raise
        there = Path(path).parent
        folders = [one.name for one in there.iterdir() if one.is_dir()] if there.is_dir() else []
        near = nearest(Path(path).name, folders)
        allowed = f"{error.allowed}, or a folder of sheets (trapledger new FOLDER){near}"
        raise MissingInput(error.where, "the file or folder", allowed) from None


def _of_file(scenario: Scenario) -> Evening:
    """A scenario file: players without shots of their own have the level's average."""
    assumed = Assumed()
    team = scenario.offence_team
    for player in team.on_court:
        if player.shot_table is None and (player.rim, player.middle, player.three) == (None, None, None):
            assumed.missing(f"Shooting of {team.name}, {{who}}: the level's average.", player.number)
    age = 14 if scenario.level == YOUNG_LEVEL else None
    care = care_of(age, age is None, None, None, None, f"{GAME} of a folder of sheets (trapledger new)")
    return Evening(scenario, assumed.lines({team.name: [p.number for p in team.on_court]}), care)


def _of_folder(place: Path, shown: str) -> Evening:
    """A folder of sheets, or one workbook."""
    sheets = find_sheets(place, shown)
    found, where = sheets.found, sheets.where
    folder = place if place.is_dir() else place.parent
    source = Source(folder / GAME, where[GAME])
    source.read.extend(sheets.files)
    assumed = Assumed()
    grades = load_grades()
    game = read_game(found.get(GAME), where[GAME], source, assumed)
    model = configs_root() / "model" / "constants.toml"
    shared = Source(model, shown_path(model), source.read)
    known = game.level.over(constants_from(read_toml(shared), str(shared)))
    constants = override(known, {}, where[GAME])
    table = game.level.shifted_table(constants)
    averages = LevelAverages(game.level, table, constants, grades)
    opponent = read_opponent(
        (found.get(OPPONENT), found.get(SHOTS)),
        (where[OPPONENT], where[SHOTS]),
        game.them,
        game.level,
        game.rules,
        averages,
        known["shot_prior_attempts"],
        source,
        assumed,
    )
    own, own_notes, own_shooting, own_remarks = read_own(
        found.get(OWN),
        where[OWN],
        game.us,
        game.level,
        game.rules,
        averages,
        known["shot_prior_attempts"],
        source,
        assumed,
    )
    calls, at = calls_sheet(found.get(CALLS), where[CALLS]), where[CALLS]
    scenario, targets, mine = _scenario(
        game, opponent, own, place, source, constants, table, assumed, calls, at
    )
    beside = game, scenario.plays, Source(folder / GAME, where[GAME]), shared
    numbers = [note.number for note in opponent.notes if note.starts and not note.stands_in]
    compared = sum(one.says_something for one in opponent.counts if one.number in numbers) >= LEAST_MEN
    met = met_of(*beside)
    shots = sum(one.has_shots for one in opponent.counts if one.number in numbers) >= LEAST_MEN
    _usual_lines(scenario, game, compared, met if shots and met.other else None, assumed)
    remarks = [*sheets.remarks, *game.remarks, *own_remarks, *opponent.remarks, *mine.remarks]
    if game.counted_against is not None and not compared:
        remarks.append(f"{game.where}: counted_against changes nothing: too few of theirs are counted.")
    ours = [note.number for note in own_notes if not note.stands_in]
    attack = None
    if game.care.trap_advice_allowed:
        handled = [note.number for note in own_notes if note.handles is not None]
        counted = sorted({note.number for note in own_shooting})
        sheet = Source(folder / GAME, where[GAME])
        ours_to_run = scenario.model_copy(update={"plays": plays_from(defaults.PLAYS, sheet)})
        attack = attack_side(ours_to_run, game, handled, counted, ours, calls, at, sheet)
    return Evening(
        scenario=scenario,
        assumptions=assumed.lines({game.them: numbers, game.us: ours}),
        care=game.care,
        signals=_signals(game, scenario.settings) | mine.signals,
        trap_targets=targets,
        opponents=opponent.notes,
        own=own_notes,
        shooting=opponent.shooting,
        own_shooting=own_shooting,
        remarks=tuple(remarks),
        own_calls=mine.told,
        own_settings=tuple(setting.name for setting in mine.settings),
        counts=opponent.counts,
        folder=folder,
        fronts=game.fronts,
        high_post=game.high_post,
        attack=attack,
        men=men_setting(*beside),
        met=met,
    )


def _scenario(
    game: GameSheet,
    opponent: Opponent,
    own: Team,
    folder: Path,
    source: Source,
    constants: dict[str, float],
    table: ShotTable,
    assumed: Assumed,
    calls: Sheet | None,
    where: str,
) -> tuple[Scenario, tuple[int, ...], OwnCalls]:
    """The scenario, the weak handlers among the five who start, and the coach's own calls."""
    usual = load_usual_calls().of(ZONE if game.care.zone_played else MAN_TO_MAN)
    shipped = Source(
        configs_root() / "sheets" / "usual_calls.toml", "configs/sheets/usual_calls.toml", source.read
    )
    name = _alignment_name(game, assumed)
    place = shipped_source("alignments", name)
    alignment = alignment_from(read_toml(Source(place.path, place.shown, source.read)), str(place))
    options = dict(usual.options)
    if game.screens is not None and not game.care.zone_played:
        options["screens"] = game.screens
    home = defence_from(usual.zone, options, None, shipped, "defence")
    targets = tuple(
        sorted(note.number for note in opponent.notes if note.target and note.number in opponent.team.lineup)
    )
    plays = plays_from(defaults.PLAYS, shipped)
    if game.plays is not None:
        plays = plays_from(game.plays, source, "key plays")
    settings: tuple[Setting, ...] = ()
    if game.care.trap_advice_allowed:
        written = _written(usual, targets)
        settings = settings_from(written, home, plays, shipped, opponent.team)
    mine = read_calls(
        calls,
        where,
        home.zone,
        game,
        opponent.team,
        targets,
        [note.number for note in opponent.notes if not note.stands_in],
        settings,
        source,
    )
    scenario = Scenario(
        title=f"{game.them} attack {game.us} ({home.zone.title})",
        path=folder,
        level=game.level.name,
        published=game.level.published,
        rules=game.rules,
        constants=constants,
        measured_against=game.level.measured_against,
        other_defence=game.level.differences(),
        beyond_range=False,
        shot_table=table,
        start=defaults.START,
        possessions=defaults.POSSESSIONS,
        seed=defaults.SEED,
        over_n=defaults.OVER_N,
        offence_team=opponent.team,
        alignment=alignment,
        plays=plays,
        defence_team=own,
        zone=home.zone,
        zone_options=chosen(home.zone.options),
        policy=home.policy,
        matchups={},
        game=Game(),
        settings=(*settings, *mine.settings),
        files=tuple(dict.fromkeys(source.read)),
    )
    return scenario, targets, mine


def load_folder(path: str | os.PathLike[str]) -> Scenario:
    """The scenario of a folder of sheets. Raises InputError."""
    found = folder_of(path)
    if found is None:
        raise MissingInput(plain(os.fspath(path)), "the folder", "a folder of sheets (trapledger new FOLDER)")
    return _of_folder(*found).scenario


def load_any(path: str | os.PathLike[str]) -> Scenario:
    """The scenario of a folder of sheets or of a file. Raises InputError."""
    found = folder_of(path)
    return _scenario_file(path) if found is None else _of_folder(*found).scenario
