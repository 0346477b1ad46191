"""How long the parts of an evening take, for the time said beforehand and the bar only.

In possessions of staying home, measured by us on the example evening.
"""

from __future__ import annotations

from math import ceil

from engine.estimate.intervals import LEAST_EVENTS, Found
from engine.inputs.scenario import Scenario
from engine.run.size import RunSize
from engine.study.adapt import LEARNED_FROM, adapt_work
from engine.study.evening_result import ReportSize
from engine.study.plan.games import GAMES_IN_PART
from engine.study.plan.plan import PILOT_GAMES
from engine.study.plan.states import calls_of
from engine.study.plan.table import PART
from engine.study.sheet.knobs import CARRYING_RUNS, FIT_POSSESSIONS, HABIT_RUNS, MOST_RUNS

#: ``timing`` on one thread and on all, a traced possession, one of another formation and one of ``attack``;
#: one that a setting is learned from (watched option by option, and fitted to), and one that it is judged by
#: or played.
TIMING, TIMED, PER_TRACED, PER_FORMATION, PER_ATTACK = 10_000.0, 15_000.0, 80.0, 2.1, 6.7
PER_LEARNED, PER_JUDGED = 2.4, 0.9
#: Of a plan: a call in its table (per possession of it), a game with the plan, one without a trap, and the
#: end of a game with one call.
PER_TABLED, PER_GAME, PER_PILOT, PER_LATE, USUALLY_LATE = 0.65, 145.0, 85.0, 3200.0, 3


def work_of(
    name: str,
    scenario: Scenario,
    effort: ReportSize,
    size: RunSize,
    formations: int,
    compared: Found | None,
    learns: int,
    again: bool = False,
) -> float:
    """Roughly how many possessions of staying home a part takes as long as. ``formations``: likely ones;
    ``compared``: the JSON of ``compare`` where it is known; ``learns``: settings that ``adapted`` plays;
    ``again``: what ``room`` rests on is played by this run's plan."""
    calls, n = sum(len(one.calls) for one in scenario.settings), float(size.possessions)
    if name in ("plan", "room"):
        return _plan(scenario, effort, size.threads) * (0.1 if again else 1.0)
    return {
        "fit": float(MOST_RUNS * FIT_POSSESSIONS),
        "compare": n * (1.0 + 0.2 * calls),
        "seldom": _seldom(compared, n) if calls else 0.0,
        "adapted": learns
        * (PER_LEARNED * LEARNED_FROM + PER_JUDGED * (adapt_work(0) - LEARNED_FROM + 4.0 * n)),
        "stress": 1.7 * effort.worlds * effort.world_possessions if calls else 0.0,
        "formations": PER_FORMATION * max(formations - 1, 0) * effort.formation_possessions * bool(calls),
        "timing": TIMING * size.threads + TIMED,
        "lineup": 0.7 * effort.lineup_possessions,
        "shots": PER_TRACED * effort.traced + 4000.0,
        "sheet": 2.0 * n,
        "attack": PER_ATTACK * effort.attack_possessions,
        "zone_or_men": sum(zone_or_men_work(size.possessions, effort.worlds, effort.world_possessions)),
    }[name]


def zone_or_men_work(possessions: int, worlds: int, each: int) -> tuple[float, float, float, float]:
    """Of ``zone_or_men``: what going on is worth against men, who shoots there, zone and men, both in the
    variants."""
    fits = float(CARRYING_RUNS * FIT_POSSESSIONS), float(HABIT_RUNS * FIT_POSSESSIONS)
    return *fits, 2.0 * possessions, 2.0 * worlds * each


def _seldom(compared: Found | None, n: float) -> float:
    """Home is played once, whichever calls hardly come up; before ``compare`` is known, half of it is
    reckoned with."""
    if compared is None:
        return 0.5 * n
    calls = [call for block in compared["settings"] for call in block["calls"]]
    return n * any(call["called"] < LEAST_EVENTS for call in calls)


def _plan(scenario: Scenario, effort: ReportSize, threads: int) -> float:
    """Parts of the table and of the games are played on all threads, so the last round counts as a whole one;
    the games without a trap and the late game take one thread, while the others wait."""

    def whole_rounds(parts: int) -> int:
        return ceil(parts / threads) * threads

    calls = len(calls_of(scenario)[0])
    games = whole_rounds(ceil(effort.games / GAMES_IN_PART)) if calls else 0
    alone = PER_PILOT * PILOT_GAMES + PER_LATE * min(calls, USUALLY_LATE)
    played = min(effort.games, GAMES_IN_PART) * games
    table = PART * whole_rounds(effort.table_parts) * (1.0 + PER_TABLED * calls)
    return table + PER_GAME * played + threads * alone
