"""How many times to use each call in a game, and what a game's swing is.

First a table: what the n-th use of every call saves. From it the mix of uses that saves most, within budgets
and chances. Then whole games, home and planned on common luck, check the table's sum and give the spread.
Given what ``compare`` says of the calls (``first_uses``), a first use is worth what is said there, and stop
rules and the worth of a game follow from it, as the possessions of a game do from its mean length at home:
one figure for one question. Given what ``adapt`` says of them (``later_uses``), their worth moves with the
traps seen (engine.study.plan.table); how often a call comes up, what is carried over, the late game and the
spread of a game stay those of an opponent who does not learn.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from math import exp, floor

from engine.errors import InputError
from engine.estimate.intervals import LEVEL, Found, Interval
from engine.inputs.constants import Constant
from engine.inputs.scenario import Scenario
from engine.inputs.sheets import Evening, load_evening
from engine.run.blocks import Progress, Runner, part_of_progress
from engine.run.numbers import NUMBERS
from engine.run.size import check_size
from engine.study.pace import possessions_per_game, seconds_before_start
from engine.study.plan.games import (
    GAMES_IN_PART,
    NUMBERS_PER_GAME,
    Fatigue,
    GamePlan,
    Games,
    m_per_step,
    play_games,
)
from engine.study.plan.inputs import OPTION, check_games, load_plan_constants, values_of
from engine.study.plan.late import SECONDS, Late, OwnScoring, distributions, late_game, own_scoring
from engine.study.plan.mix import Mix, best_mix
from engine.study.plan.result import PlanResult
from engine.study.plan.states import AT_HOME, PlannedCall, PlanWorlds, calls_of
from engine.study.plan.table import (
    BEFORE,
    IN_BONUS,
    MOST_USES,
    PARTS,
    FirstUse,
    Table,
    TableTally,
    levels_of,
    play_table,
)
from engine.study.play import Opening

GAMES = 2000
#: Games without a trap that tell how much of a game is played in the bonus; their numbers start here.
PILOT_GAMES, PILOT_FIRST = 50, NUMBERS["plan pilot"].first_unit


@dataclass
class Ground:
    """What a plan rests on, whichever calls it may use: filled by the first ``plan`` it is handed to, taken
    over by a later one that is of the same (``of``: scenario, seed, parts of the table, numbers)."""

    of: object = None
    worlds: PlanWorlds | None = None
    tally: TableTally | None = None
    pilot: Games | None = None


def _opened(scenario: Evening | Opening) -> tuple[Scenario, dict[int, float], tuple[str, ...]]:
    """The scenario, shirt -> share of a game that he plays, where the sheet says it, and what to say where no
    trap may be advised (it then has none)."""
    if isinstance(scenario, Scenario):
        return scenario, {}, ()
    if not isinstance(scenario, Evening):
        scenario = load_evening(scenario)
    clock = scenario.scenario.rules.clock
    game_min = clock.periods * clock.period_s / 60.0
    played = {note.number: note.minutes / game_min for note in scenario.own if note.minutes is not None}
    if scenario.care.trap_advice_allowed:
        return scenario.scenario, played, ()
    return scenario.scenario.model_copy(update={"settings": ()}), played, scenario.care.lines()


def _per_period(scenario: Scenario, seconds: float) -> int:
    clock, found = scenario.rules.clock, possessions_per_game(scenario, seconds)
    if found > NUMBERS_PER_GAME:
        allowed = f"a game of at most {NUMBERS_PER_GAME} possessions a side (this one has {found})"
        raise InputError(scenario.path, "rules clock.period_s", clock.period_s, allowed)
    return found // clock.periods


def _limits(
    table: Table,
    calls: tuple[PlannedCall, ...],
    possessions: int,
    most_traps: int,
    only: Collection[tuple[str, str]] | None,
) -> tuple[int, ...]:
    """Uses of each call that a game allows: its budget, its chances, what the table tells apart; none of a
    call that is not in ``only``."""
    found = []
    for c, one in enumerate(calls):
        if only is not None and (one.setting, one.call.name) not in only:
            found.append(0)
            continue
        chances = floor(table.rate(c) * possessions)
        budget = most_traps if one.budget is None else one.budget
        found.append(min(chances, budget, MOST_USES, most_traps))
    return tuple(found)


def _own_points(scenario: Scenario, values: Mapping[str, float], changed: bool) -> float:
    """Our own points per possession: as asked for, else what is published of the level, else the constant."""
    published = scenario.published.get("points_per_possession")
    if published is None or changed:
        return values["own_points_per_possession"]
    return float(published.aim)


def _clear_mix(
    table: Table,
    calls: tuple[PlannedCall, ...],
    limits: tuple[int, ...],
    in_bonus: float,
    most: int,
    cut: bool = False,
) -> tuple[Mix, tuple[int, ...]]:
    """The best mix of calls whose planned uses clearly save points together, and the calls dropped from it
    because theirs do not: what the table cannot tell from luck is not advised. ``cut``: of such a call as
    many uses are left as clearly do."""
    dropped: list[int] = []
    while True:
        values = [
            [table.mixed_value(c, use, in_bonus).mean or 0.0 for use in range(1, limits[c] + 1)]
            if c not in dropped
            else []
            for c in range(len(calls))
        ]
        mix = best_mix(values, [one.call.ball for one in calls], most)
        unclear = [c for c, n in enumerate(mix.uses) if n and not _saves(table, c, n, in_bonus)]
        if not unclear:
            return mix, tuple(sorted(dropped))
        if cut:
            limits = tuple(
                next((n for n in range(mix.uses[c], 0, -1) if _saves(table, c, n, in_bonus)), 0)
                if c in unclear
                else limit
                for c, limit in enumerate(limits)
            )
        dropped += [c for c in unclear if not cut or not limits[c]]


def _saves(table: Table, c: int, uses: int, in_bonus: float) -> bool:
    """Whether the uses together clearly save points; they share possessions, so their errors add up."""
    lows = [table.mixed_value(c, use, in_bonus).low for use in range(1, uses + 1)]
    return all(low is not None for low in lows) and sum(low or 0.0 for low in lows) > 0.0


def first_uses(
    scenario: Scenario, calls: tuple[PlannedCall, ...], compared: Found
) -> tuple[FirstUse | None, ...] | None:
    """What ``compare`` (its JSON) says of each call; None for one that it saw too seldom for a range.

    None altogether where it was asked of another moment than a game's first: team fouls, or traps seen.
    """
    if scenario.game.team_fouls or scenario.game.traps_seen:
        return None
    rows = {
        (setting["name"], call["call"]): call for setting in compared["settings"] for call in setting["calls"]
    }
    found: list[FirstUse | None] = []
    for one in calls:
        row = rows.get((one.setting, one.call.name))
        if row is None or row["value"]["low"] is None:
            found.append(None)
            continue
        even = row["break_even"]
        rates = Interval(**even["turnover_rate"]), Interval(**even["t_star"])
        found.append(FirstUse(Interval(**row["value"]), *rates, even["words"]))
    return tuple(found)


def later_uses(
    calls: tuple[PlannedCall, ...], adapted: Found, first: tuple[FirstUse | None, ...]
) -> tuple[Interval | None, ...]:
    """What ``adapt`` (its JSON) says of each call against one who knows it; None for one that it has not
    weighed, or that is too seldom for a range in either."""
    rows = {
        (setting["name"], call["call"]): call["value"]
        for setting in adapted["settings"]
        for call in setting["known"]["calls"]
    }
    found: list[Interval | None] = []
    for one, known in zip(calls, first, strict=True):
        value = rows.get((one.setting, one.call.name))
        if value is None or value["low"] is None or known is None:
            found.append(None)
        else:
            found.append(Interval(**value))
    return tuple(found)


def _first_game(compared: Found | None, games: int) -> int:
    """Number of the first game: behind the possessions of a comparison that the mix was chosen by."""
    if compared is None:
        return 0
    most = NUMBERS["plan games"].count // NUMBERS_PER_GAME
    return int(min(-(-compared["possessions"] // NUMBERS_PER_GAME), most - games))


def _late_games(table: Table, mix: Mix, in_bonus: bool, own: OwnScoring, cycle_s: float) -> tuple[Late, ...]:
    """Every call of the mix (all calls where it is empty), made at every chance at the end of a game.

    The offence has seen the planned uses by then, and half of those still to come.
    """
    chosen = [c for c, n in enumerate(mix.uses) if n] or list(range(table.n_calls))
    chosen = [c for c in chosen if table.called(c)]
    state = IN_BONUS if in_bonus else BEFORE
    tally, found = table.tally, []
    for c in chosen:
        chances = float(tally.chances[state, c])
        uncalled = tally.home_uncalled[state, c]
        traps = {}
        for t in SECONDS:
            seen = mix.uses[c] + int(table.rate(c) * t / cycle_s / 2.0)
            level = min(seen, table.n_levels - 1)
            traps[t] = distributions(uncalled, tally.called[state, c, level], chances)
        home = distributions(uncalled, tally.home_called[state, c], chances)
        found.append(late_game(c, home, traps, own, 1.0 - (1.0 - LEVEL) / len(chosen)))
    return tuple(found)


def plan(
    scenario: Evening | Opening,
    games: int = GAMES,
    seed: int | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
    changes: Mapping[str, float] | None = None,
    table_parts: int = PARTS,
    constants: Mapping[str, Constant] | None = None,
    beyond_range: bool = False,
    compared: Found | None = None,
    adapted: Found | None = None,
    only: Collection[tuple[str, str]] | None = None,
    ground: Ground | None = None,
) -> PlanResult:
    """Find how often to use each call of a scenario in a game, and play whole games with it.

    Games start without team fouls and traps seen; the offence has the scenario's time-outs for the game.

    Parameters
    ----------
    scenario : path of a scenario file or of a folder of sheets, what ``engine.load`` returned, or an Evening;
        an Evening, or a path, brings how long each man plays, and no call is planned until its care allows it
    games : whole games to play, home and planned
    seed : None takes the scenario's own
    threads : None uses every available core; the result does not depend on it
    progress : called as ``progress(done, total)`` after each part of the work
    changes : the plan's constants that differ from ``constants`` (None: configs/model/plan.toml)
    table_parts : parts of 2,000 possessions that the table of uses rests on
    beyond_range : whether changes may leave their range
    compared : JSON of ``compare`` for the same scenario, which then says what a first use is worth
    adapted : JSON of ``adapt`` for the same scenario and possessions: the opponent learns (with ``compared``)
    only : calls that may be planned, by the names of setting and call; None: all
    ground : what a plan before this one, other only in ``only``, has played already; filled where it is empty

    Raises
    ------
    InputError
        bad input, games outside 10..100000, a negative seed, threads < 1, an unknown constant, a coded
        policy that makes the calls itself, or a game of more than 1,000 possessions a side.
    """
    scenario, played_share, care = _opened(scenario)
    games = check_games(games)
    size = check_size(1, scenario.seed if seed is None else seed, threads)
    known = load_plan_constants() if constants is None else constants
    values = values_of(known, changes, beyond_range)
    own_points = _own_points(scenario, values, "own_points_per_possession" in (changes or {}))
    try:
        own = own_scoring(
            own_points,
            values["own_share_one"],
            values["own_share_three"],
            int(values["own_shortest_s"]),
            int(values["own_longest_s"]),
        )
    except ValueError as error:
        allowed = f"points that such possessions can bring ({error})"
        raise InputError(OPTION, "own_points_per_possession", own_points, allowed) from None
    calls, left_out = calls_of(scenario)
    of = scenario, size.seed, table_parts, values
    if ground is None:
        ground = Ground(of)
    elif ground.of != of:
        ground.of, ground.worlds, ground.tally, ground.pilot = of, None, None, None
    worlds = ground.worlds = ground.worlds or PlanWorlds(scenario, calls)
    runner = Runner(size.seed)
    runner.warm(worlds.world(AT_HOME))

    before_s = seconds_before_start(scenario)
    total = table_parts + 1 + -(-games // GAMES_IN_PART)
    shown = part_of_progress(progress, 0, total)
    if ground.tally is None:
        ground.tally = play_table(runner, worlds, before_s, size.threads, table_parts, shown)
    tally = ground.tally
    first = None if compared is None else first_uses(scenario, calls, compared)
    later = None if adapted is None or first is None else later_uses(calls, adapted, first)
    table = Table(tally, worlds.n_calls, levels_of(worlds), first, later, values["known_after_traps"])
    seconds, paced_on = table.seconds, tally.n
    if compared is not None and first is not None:
        seconds, paced_on = compared["baseline"]["seconds_per_possession"]["mean"], compared["possessions"]
    possession_s = before_s + seconds
    clock, fatigue = scenario.rules.clock, _fatigue(scenario, values, 2.0 * possession_s)
    nobody = (0,) * len(calls)
    plan_of = GamePlan(
        clock.periods,
        _per_period(scenario, seconds),
        nobody,
        scenario.game.time_outs_left,
        fatigue,
    )
    shown = part_of_progress(progress, table_parts, total)
    if ground.pilot is None:
        ground.pilot = play_games(runner, worlds, plan_of, PILOT_GAMES, size.threads, shown, PILOT_FIRST)
    pilot = ground.pilot
    bonus_share = float(pilot.in_bonus.sum()) / (PILOT_GAMES * plan_of.possessions)
    most = int(values["most_traps"])
    limits = _limits(table, calls, plan_of.possessions, most, only)
    mix, not_clear = _clear_mix(table, calls, limits, bonus_share, most, cut=only is not None)
    plan_of = replace(plan_of, uses=mix.uses)
    shown = part_of_progress(progress, table_parts + 1, total)
    if any(mix.uses):
        played = play_games(runner, worlds, plan_of, games, size.threads, shown, _first_game(compared, games))
    else:  # nothing to play for
        games, played = PILOT_GAMES, pilot
    in_bonus = float(played.last_in_bonus.mean()) >= 0.5
    return PlanResult(
        scenario=scenario,
        size=replace(size, possessions=games * plan_of.possessions),
        games_played=games,
        calls=calls,
        left_out=left_out,
        constants=values,
        table=table,
        game_plan=plan_of,
        paced_on=paced_on,
        mix=mix,
        not_clear=not_clear,
        bonus_share=bonus_share,
        limits=limits,
        games=played,
        late=_late_games(table, mix, in_bonus, own, 2.0 * possession_s),
        late_in_bonus=in_bonus,
        own_points=own_points,
        played=played_share,
        care=care,
        adapted=None if later is None else adapted,
    )


def _fatigue(scenario: Scenario, values: Mapping[str, float], cycle_s: float) -> Fatigue:
    """What traps cost the legs; a cycle is one possession of each side."""
    return Fatigue(
        loss_per_m=values["fatigue_percent_per_100m"] / 100.0 / 100.0,
        kept=exp(-cycle_s / values["fatigue_recovery_s"]),
        m_per_step=m_per_step(scenario, values),
    )
