"""What a plan found, as JSON: the mix, the table of uses, the swing of a game and what the bench can read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from itertools import combinations
from math import sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.estimate import calls as estimate
from engine.estimate.intervals import LEVEL, Found, IntArray, Interval, normal_interval, normal_quantile
from engine.inputs.base import spoken
from engine.inputs.scenario import Scenario
from engine.run.size import RunSize
from engine.state.words import OUTCOMES
from engine.study.evening_advice import MOST_ADVISED
from engine.study.pace import pace_words, start_words
from engine.study.plan.bench import CrossRule, StopRule, cross_rule, often_words, stop_rule, stop_words
from engine.study.plan.fouls import FoulLimits, PlayerFouls, expected_fouls
from engine.study.plan.games import GamePlan, Games, m_per_step
from engine.study.plan.late import Late
from engine.study.plan.mix import Mix
from engine.study.plan.states import TIRED_STEP, PlannedCall
from engine.study.plan.table import BEFORE, IN_BONUS, MOST_USES, Table
from engine.study.play import defence_dict, head

#: Uses in a game of calls at the top and on the wing: common practice, no source.
PRACTICE_REGIONS, PRACTICE_USES = ("top", "slot", "wing", "half_court_corner"), 3
FEW = "too few calls to tell"
UNCLEAR = "how many turnovers it needs cannot be told yet"
TOLD = "turnovers alone do not tell"


@dataclass(frozen=True, eq=False)
class PlanResult:
    """A plan: ``to_dict()`` is the JSON contract."""

    scenario: Scenario
    size: RunSize
    games_played: int
    calls: tuple[PlannedCall, ...]
    left_out: tuple[str, ...]
    constants: dict[str, float]
    table: Table
    game_plan: GamePlan
    paced_on: int
    mix: Mix
    not_clear: tuple[int, ...]
    bonus_share: float
    limits: tuple[int, ...]
    games: Games
    late: tuple[Late, ...]
    late_in_bonus: bool
    own_points: float
    played: Mapping[int, float]
    care: tuple[str, ...]
    adapted: Found | None = None

    def to_dict(self) -> Found:
        """The JSON contract of ``plan``; equal for equal inputs whatever the number of threads."""
        result = head("plan", self.scenario, self.size)
        result["offence"] = self.scenario.offence_team.name
        result["defence"] = self.scenario.defence_team.name
        result["base_defence"] = defence_dict(self.scenario)
        result["games"] = self.games_played
        result["possessions_per_game"] = self.game_plan.possessions
        result["periods"] = self.game_plan.periods
        minutes = self.game_plan.periods * self.scenario.rules.clock.period_s / 60.0
        result["pace"] = pace_words(self.game_plan.possessions, minutes, self.paced_on)
        result["start"] = start_words(self.scenario.game)
        result["share_in_bonus"] = self.bonus_share
        result["left_out"] = list(self.left_out)
        result["method"] = self.mix.method
        result["not_clear"] = [self._label(c) for c in self.not_clear]
        result["mix"] = [self._mix_row(c) for c, uses in enumerate(self.mix.uses) if uses]
        result["calls"] = [self._call_row(c) for c in range(len(self.calls))]
        result["alike_from"] = self.table.n_levels if self.table.later is None else None
        result["by_use"] = [row for c in range(len(self.calls)) for row in self._by_use(c)]
        result["bonus"] = self._bonus()
        result["swing"] = self._swing()
        result["of_calls"] = [self._of_calls(calls) for calls in self._parts()]
        result["game_points"] = self._game_points()
        result["personal_limit"] = self.scenario.rules.fouls.personal_limit
        result["no_double_from"] = result["personal_limit"] - 2
        result["late_game"], result["late_game_calls"] = self._late()
        result["late_game_in_bonus"] = self.late_in_bonus
        result["own_points_per_possession"] = self.own_points
        result["bench_rule"] = self._bench()
        result["practice"] = self._practice()
        result["care"] = list(self.care)
        result["constants"] = dict(self.constants)
        result["adapted"] = self.adapted and {
            "known_after_traps": self.table.known_after,
            "possessions": self.adapted["possessions"],
            "settings": self.adapted["settings"],
        }
        return result

    # --- calls --------------------------------------------------------------------------------------------

    def _names(self, c: int) -> dict[str, str]:
        one = self.calls[c]
        return {"setting": one.setting, "call": one.call.name, "spot": one.call.spot}

    def _label(self, c: int) -> str:
        """Name of a call; with its setting where two of the plan share the name."""
        name = self.calls[c].call.name
        alike = [one for one in self.calls if one.call.name == name]
        return name if len(alike) == 1 else f"{name} ({self.calls[c].setting})"

    def _mix_row(self, c: int) -> Found:
        uses = self.mix.uses[c]
        saved = self.games.saved[:, c]
        made = self.games.made[:, c]
        worth = _mean(saved) if self.table.known(c) is None else self._worth(c, self.table).as_dict()
        return self._names(c) | {
            "uses_per_game": uses,
            "made_per_game": float(made.mean()),
            "saves_per_game": worth,
            "saved_in_games": _mean(saved),
            "often": often_words(
                self.table.rate(c) * self.game_plan.possessions,
                uses,
                PRACTICE_USES if set(self.calls[c].call.ball) & set(PRACTICE_REGIONS) else None,
            ),
            "clear_uses": sum(
                (self.table.value(BEFORE, c, use).low or 0.0) > 0.0 for use in range(1, uses + 1)
            ),
            "stop_after_words": stop_words(*self._stop(c), self._expected(c), self._crosses(c)),
        }

    def _call_row(self, c: int) -> Found:
        table, one = self.table, self.calls[c]
        even, known, worth = table.break_even(BEFORE, c, 1), table.known(c), table.value(BEFORE, c, 1)
        n = table.called(c)
        return self._names(c) | {
            "label": self._label(c),
            "called": n,
            "chances_per_100_possessions": 100 * table.rate(c),
            "chances_per_game": table.rate(c) * self.game_plan.possessions,
            "budget": one.budget,
            "limit": self.limits[c],
            "uses_per_game": self.mix.uses[c],
            "why_not": self._why_not(c),
            "worth": worth.as_dict(),
            "break_even_words": FEW if worth.low is None else known.words if known else even.words_for(worth),
            "turnover_rate": (known or even).turnover_rate.as_dict(),
            "t_star": (known or even).t_star.as_dict(),
            "extra_fouls_per_trap": int(table.tally.extra_fouls[c]) / n if n else None,
            "extra_hard_running_m": self._running_m(c),
            "values_fall": self._values_fall(c),
        }

    def _running_m(self, c: int) -> float:
        """Metres of hard running that a first use of a call costs a defender."""
        steps = int(self.table.tally.extra_runs[c]) / max(self.table.called(c), 1)
        return steps * m_per_step(self.scenario, self.constants)

    def _why_not(self, c: int) -> str | None:
        """Why a call is not planned; None where it is."""
        if self.mix.uses[c]:
            return None
        if self.table.called(c) == 0:
            return "it hardly comes up"
        if self._value(c, 1).low is None:
            return FEW
        if c in self.not_clear:
            return "cannot be told from staying home"
        if self.limits[c] == 0:
            seldom = self.table.rate(c) * self.game_plan.possessions < 1.0
            return "it comes up less than once a game" if seldom else "no room for it"
        if (self._value(c, 1).mean or 0.0) <= 0.0:
            clear = (self._value(c, 1).high or 0.0) <= 0.0  # as compare says of it
            return "saves nothing here" if clear else "cannot be told from staying home"
        planned = [one.call for one, uses in zip(self.calls, self.mix.uses, strict=True) if uses]
        there = [call.name for call in planned if set(call.ball) & set(self.calls[c].call.ball)]
        if there:
            return f"{there[0].replace('_', ' ')} comes there, and a game saves as much or more with it"
        return f"others save more, and a game has room for {int(self.constants['most_traps'])} traps"

    def _values_fall(self, c: int) -> bool:
        means = [self._value(c, use).mean for use in range(1, max(2, self.table.n_levels) + 1)]
        known = [mean for mean in means if mean is not None]
        return all(b <= a for a, b in zip(known, known[1:], strict=False))

    def _value(self, c: int, use: int) -> Interval:
        return self.table.mixed_value(c, use, self.bonus_share)

    def _by_use(self, c: int) -> list[Found]:
        games, rows = self.games, []
        shown = min(MOST_USES, max(self.mix.uses[c] + 1, self.table.n_levels))
        for use in range(1, shown + 1):
            n = int(games.use_n[c, use - 1]) if use <= games.use_n.shape[1] else 0
            in_games = None
            if n:
                total, squares = int(games.use_sum[c, use - 1]), int(games.use_square[c, use - 1])
                in_games = {"n": n} | normal_interval(n, total, squares).as_dict()
            even = self.table.break_even(BEFORE, c, use)
            rows.append(
                {
                    "call": self.calls[c].call.name,
                    "setting": self.calls[c].setting,
                    "use": use,
                    "value": self._value(c, use).as_dict(),
                    "turnover_rate": even.turnover_rate.mean,
                    "before": self.table.value(BEFORE, c, use).as_dict(),
                    "in_bonus": self.table.value(IN_BONUS, c, use).as_dict(),
                    "in_mix": use <= self.mix.uses[c],
                    "in_games": in_games,
                }
            )
        return rows

    def _bonus(self) -> Found:
        """Value of a first use before the bonus and in it."""
        return {
            self._label(c): {
                "before": self.table.value(BEFORE, c, 1).as_dict(),
                "in_bonus": self.table.value(IN_BONUS, c, 1).as_dict(),
            }
            for c in range(len(self.calls))
        }

    # --- games --------------------------------------------------------------------------------------------

    def _parts(self) -> list[tuple[int, ...]]:
        """Planned calls that may be advised together, by index, with none of them and all."""
        planned = tuple(c for c, uses in enumerate(self.mix.uses) if uses)
        few = [some for n in range(MOST_ADVISED + 1) for some in combinations(planned, n)]
        return few if planned in few else [*few, planned]

    def _of_calls(self, calls: tuple[int, ...]) -> Found:
        """What a game is with these of the planned calls, taken out of the games with all of them: who is
        advised is known after the games only, and nothing is played twice. () is staying home."""
        fouls = self._fouls(calls)
        return {
            "calls": [self._names(c) for c in calls],
            "swing": self._game(calls),
            "never_double": [one.number for one in fouls if one.never],
            "fouls_expected": [asdict(one) for one in fouls],
            "hard_running_m": sum(float(self.games.made[:, c].mean()) * self._running_m(c) for c in calls),
        }

    def _game(self, calls: tuple[int, ...]) -> Found:
        """What these of the planned calls save in a game: their own traps, and of what all carry over as much
        as their share of all traps."""
        games, mine = self.games, list(calls)
        share = int(games.made[:, mine].sum()) / max(int(games.made.sum()), 1)
        swing = games.saved[:, mine].sum(axis=1) + share * games.carried
        p5, p95 = np.quantile(swing, [0.05, 0.95], method="inverted_cdf")
        from_table = self._from_table(self.table, calls)
        known = self.table.first is not None and from_table.mean is not None
        worth = self._worth_with(from_table, share) if known else _mean(swing)
        return worth | {"sd": float(swing.std(ddof=1)), "p5": round(float(p5)), "p95": round(float(p95))}

    def _swing(self) -> Found:
        games, every = self.games, tuple(range(len(self.calls)))
        from_table = self._from_table(self.table, every)
        checked = self._from_table(replace(self.table, later=None), every)  # in the games he does not learn
        uses = _mean(games.saved.sum(axis=1))
        apart = None
        if checked.mean is not None and checked.high is not None:
            halves = (checked.high - checked.mean, uses["high"] - uses["mean"])
            error = sqrt(sum(half**2 for half in halves)) / normal_quantile(LEVEL)
            apart = (uses["mean"] - checked.mean) / error if error > 0 else 0.0
        return self._game(every) | {
            "parts": {
                "uses": uses,
                "carried_over": _mean(games.carried),
                "by_call": {
                    self._label(c): _mean(games.saved[:, c]) for c, n in enumerate(self.mix.uses) if n
                },
            },
            "from_table": from_table.as_dict() | {"apart_in_standard_errors": apart},
            "time_outs_per_game": float(games.time_outs.mean()),
            "tired_percent": 100 * float(games.tired.mean()) / self.game_plan.possessions * TIRED_STEP,
        }

    def _from_table(self, table: Table, calls: tuple[int, ...]) -> Interval:
        """Sum of a table's values over the traps of these calls, per game; errors of a call's uses count as
        one, because they share their possessions."""
        means, squares = 0.0, 0.0
        for c in calls:
            worth = self._worth(c, table)
            if worth.mean is None or worth.high is None:
                return Interval(None)
            means += worth.mean
            squares += (worth.high - worth.mean) ** 2
        return Interval(means, means - sqrt(squares), means + sqrt(squares))

    def _worth(self, c: int, table: Table) -> Interval:
        """What the planned uses of a call save in a game: a table's values over the traps made."""
        mean = half = 0.0
        for use in range(1, self.mix.uses[c] + 1):
            per_game = int(self.games.use_n[c, use - 1]) / self.games_played
            value = table.mixed_value(c, use, self.bonus_share)
            if value.mean is None or value.high is None:
                return Interval(None)
            mean += per_game * value.mean
            half += per_game * (value.high - value.mean)
        return Interval(mean, mean - half, mean + half)

    def _worth_with(self, from_table: Interval, share: float) -> Found:
        """What uses are worth with a share of what all carry over (in the games played)."""
        carried = _mean(share * self.games.carried)
        assert from_table.mean is not None and from_table.high is not None
        mean = from_table.mean + carried["mean"]
        half = sqrt((from_table.high - from_table.mean) ** 2 + (carried["high"] - carried["mean"]) ** 2)
        return Interval(mean, mean - half, mean + half).as_dict()

    def _game_points(self) -> Found:
        """Points that a game concedes, each branch by itself: spreads that do not depend on common luck."""
        games = self.games

        def told(points: IntArray) -> Found:
            p5, p95 = np.quantile(points, [0.05, 0.95], method="inverted_cdf")
            return _mean(points) | {"sd": float(points.std(ddof=1)), "p5": int(p5), "p95": int(p95)}

        return {
            name: told(points)
            for name, points in (("home", games.home_points), ("planned", games.planned_points))
        }

    def _fouls(self, calls: tuple[int, ...]) -> tuple[PlayerFouls, ...]:
        """Fouls expected with the traps of these calls."""
        table, games, n_calls = self.table, self.games, range(len(self.calls))
        called = [max(table.called(c), 1) for c in n_calls]
        joint = table.tally.pairs.joint
        in_trap = [int(joint[table.spot(BEFORE, c, 1), OUTCOMES.index("foul")].sum()) for c in n_calls]
        return expected_fouls(
            self.scenario,
            [one.call for one in self.calls],
            [float(games.made[:, c].mean()) * (c in calls) for c in n_calls],
            [in_trap[c] / called[c] for c in n_calls],
            [int(table.tally.extra_fouls[c]) / called[c] for c in n_calls],
            float(games.home_fouls.mean()),
            FoulLimits(
                self.scenario.rules.fouls.personal_limit,
                self.constants["foul_trouble_p"],
                self.constants["foul_added_p"],
            ),
            self.played,
            self.constants["share_played"],
        )

    # --- late game, bench, practice -----------------------------------------------------------------------

    def _late(self) -> tuple[list[Found], list[Found]]:
        """The call that helps most over the whole table, and all of them."""
        found = [
            {
                "behind": d,
                "seconds": t,
                "p_win_home": home,
                "p_win_trap": trap,
                "difference": difference.as_dict(),
                "clear": _clear(difference) or difference.mean == difference.low == difference.high,
                "call": self.calls[late.call].call.name,
            }
            for late in self.late
            for d, t, home, trap, difference in late.rows
        ]
        if not self.late:
            return [], []
        best = max(range(len(self.late)), key=lambda i: (self.late[i].mean_difference, -i))
        n = len(self.late[best].rows)
        return found[best * n : (best + 1) * n], found

    def _stop(self, c: int) -> tuple[StopRule | None, str]:
        """The stop rule of a call over its planned uses, or why there is none."""
        known, pairs = self.table.known(c), self.table.tally.pairs
        if known is None:
            even = estimate.break_even(replace(pairs, joint=pairs.joint[self._planned_spots(c)]))
            t, t_star = even.turnover_rate.mean, even.t_star.mean
        else:
            t, t_star = known.turnover_rate.mean, known.t_star.mean
        if known is not None and not _clear(known.value):
            return None, UNCLEAR
        if t is None or t_star is None:
            return None, TOLD
        if t_star <= 0.0:
            return None, "pays without turnovers here, so do not judge it by them"
        if not t_star < t < 1.0:
            return None, TOLD
        error, few = self.constants["stop_error"], int(self.constants["too_few_below"])
        return stop_rule(t, t_star, error, few), ""

    def _crosses(self, c: int) -> CrossRule | None:
        """The rule by layups and open threes, over the planned uses."""
        few, error = int(self.constants["too_few_below"]), self.constants["stop_error"]
        rates = estimate.punished_rates(self.table.tally.pairs.joint[self._planned_spots(c)])
        return rates and cross_rule(*rates, error, few, self._expected(c))

    def _planned_spots(self, c: int) -> list[int]:
        return [self.table.spot(BEFORE, c, use) for use in range(1, max(1, self.mix.uses[c]) + 1)]

    def _expected(self, c: int) -> int:
        """Calls of a game on average, as planned: what a rule for tonight can count to."""
        return max(1, round(float(self.games.made[:, c].mean())))

    def _bench(self) -> Found:
        by_call, words = [], ""
        order = sorted(
            (c for c, n in enumerate(self.mix.uses) if n),
            key=lambda c: -float(self._mix_row(c)["saves_per_game"]["mean"]),
        )
        for c in order:
            (rule, reason), crosses = self._stop(c), self._crosses(c)
            said = stop_words(rule, reason, self._expected(c), crosses)
            words = words or f"{spoken(self._label(c))}: {said}"
            found = {"rule": rule and asdict(rule), "crosses": crosses and asdict(crosses)}
            by_call.append(self._names(c) | {"words": said, "expected": self._expected(c)} | found)
        return {
            "too_few_below": int(self.constants["too_few_below"]),
            "stop_when": words or "no call is planned",
            "by_call": by_call,
        }

    def _practice(self) -> list[Found]:
        """Calls at the top and on the wing against common practice: two or three uses a game at most."""
        rows = []
        for c, one in enumerate(self.calls):
            if not set(one.call.ball) & set(PRACTICE_REGIONS):
                continue
            following = self._value(c, PRACTICE_USES + 1)
            rows.append(
                self._names(c)
                | {
                    "most": PRACTICE_USES,
                    "planned": self.mix.uses[c],
                    "budget": one.budget,
                    "fits": self.mix.uses[c] <= PRACTICE_USES,
                    "next_use": following.as_dict(),
                }
            )
        return rows


def _mean(values: NDArray[Any]) -> Found:
    """Mean of numbers with one per game, as JSON; the game is the cluster."""
    return normal_interval(len(values), values.sum().item(), (values * values).sum().item()).as_dict()


def _clear(found: Interval) -> bool:
    return found.low is not None and found.high is not None and (found.low > 0 or found.high < 0)
