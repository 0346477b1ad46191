"""The plan of a game: whole games against a slow replay of single possessions, the swing as the sum of its
parts, time-outs against traces, the bonus and tired legs, and what the command prints."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from report_pages import with_advice

from engine.cli import run as run_command
from engine.errors import InputError
from engine.inputs import load_scenario
from engine.inputs.rules import change_rules
from engine.inputs.scenario import with_constants, with_trapped
from engine.kernel.batch import play_list, trace_possession
from engine.report.screen.plan import plan_text
from engine.report.words import TOO_FEW
from engine.run.blocks import Runner
from engine.state.record import COLUMN, N_RECORD
from engine.state.words import EVENTS, OUTCOMES
from engine.study.compare import compare
from engine.study.plan.games import NUMBERS_PER_GAME, Fatigue, GamePlan, Games, play_games
from engine.study.plan.plan import check_games, plan
from engine.study.plan.result import FEW, PlanResult
from engine.study.plan.states import PlanWorlds, calls_of
from engine.study.plan.table import BEFORE, Table, play_table
from engine.world.pack import pack

FRIDAY = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
WING = 2  #: called most often
SEED = 11


def changed(scenario: Any, **constants: float) -> Any:
    """The scenario with constants replaced."""
    return with_constants(scenario, constants)


def with_rules(scenario: Any, **changes: Any) -> Any:
    """The scenario with values of its rule set replaced; dots are written as two underscores."""
    dotted = {name.replace("__", "."): value for name, value in changes.items()}
    return scenario.model_copy(update={"rules": change_rules(scenario.rules, dotted, "test")})


@pytest.fixture(scope="module")
def friday() -> Any:
    # traps that strip, so that they pay in few possessions, too, and are planned
    return with_constants(load_scenario(FRIDAY), {"trap_strip_rate_per_s": 2.0})


@pytest.fixture(scope="module")
def small(friday: Any) -> PlanResult:
    return plan(friday, games=130, seed=SEED, threads=2, table_parts=3)


def test_who_must_not_double_follows_from_the_rules(friday: Any) -> None:
    """Where the sixth foul puts a man out, he sits by his fourth; the rules of the demo say five."""
    six = plan(with_rules(friday, fouls__personal_limit=6), games=10, seed=SEED, table_parts=1).to_dict()
    assert (six["personal_limit"], six["no_double_from"]) == (6, 4)


# --- the games --------------------------------------------------------------------------------------------


def quicker(world: Any, seen: int) -> Any:
    """The world after so many traps: everybody reads them sooner."""
    world = world.copy()
    k = world["k"][0]
    for name in ("handler_read_s", "read_delay_s"):
        k[name] = max(k[name] * np.exp(-k["readiness_per_trap"] * seen), k["read_delay_least_s"])
    return world


def one(world: Any, number: int, fouls: int, seen: int = 0, max_calls: int = 1) -> Any:
    """The record of one possession in a world whose state is set by hand."""
    world = quicker(world, seen)
    world["rules"][0]["team_fouls"] = fouls
    records = np.zeros((1, N_RECORD), dtype=np.int32)
    play_list(world, SEED, np.array([number]), records, max_calls)
    return records[0]


def slow_game(scenario: Any, game: int, games: GamePlan) -> tuple[int, int, list[int]]:
    """Net points at home and planned, and traps made, one possession after the other: corner and short corner
    only. Plays every world whole and asks no shadow: the first call of the world in which both calls that
    are due may be made says which comes."""
    packed = pack(scenario)
    by_mask = {1: packed.settings[0].world, 2: packed.settings[1].world, 3: packed.settings[4].world}
    home_net = planned_net = fouls = planned_fouls = 0
    made = [0, 0]
    for k in range(games.possessions):
        if k % games.per_period == 0:
            fouls = planned_fouls = 0
        number = game * NUMBERS_PER_GAME + k
        home = one(packed.home, number, fouls)
        record = one(packed.home, number, planned_fouls)
        due = [
            made[c] < sum(k * games.uses[c] >= j * games.possessions for j in range(games.uses[c]))
            for c in (0, 1)
        ]
        mask = due[0] + 2 * due[1]
        if mask:
            first = int(one(by_mask[mask], number, planned_fouls)[COLUMN["first_call"]])
            if first:
                call = {1: 0, 2: 1}.get(mask, first - 1)
                record = one(packed.settings[call].world, number, planned_fouls, made[call])
                made[call] += 1
        home_net += int(home[COLUMN["net"]])
        planned_net += int(record[COLUMN["net"]])
        fouls += int(home[COLUMN["fouls"]])
        planned_fouls += int(record[COLUMN["fouls"]])
    return home_net, planned_net, made


def test_games_are_what_a_slow_replay_of_single_possessions_gives(friday: Any) -> None:
    scenario = with_rules(friday, fouls__bonus_from_team_foul=3, time_out__trapped_player_may_call=False)
    calls, _ = calls_of(scenario)
    assert [c.call.name for c in calls] == ["corner", "short_corner", "wing", "top"]
    games = GamePlan(periods=2, per_period=24, uses=(12, 9, 0, 0), time_outs=0)
    found = play_games(Runner(SEED), PlanWorlds(scenario, calls), games, 4, 1, first=5)
    for g in range(4):
        home, planned, made = slow_game(scenario, 5 + g, games)
        assert (found.home[g], found.planned[g]) == (home, planned)
        assert found.made[g].tolist() == [*made, 0, 0]
    assert found.made.sum() > 8 and found.in_bonus.sum() > 20, "enough traps and bonus to tell"


def test_swing_is_the_sum_of_its_parts(small: PlanResult) -> None:
    games = small.games
    assert games.made.sum() > 300
    assert np.array_equal(games.swing, games.saved.sum(axis=1) + games.carried)
    assert int(games.use_sum.sum()) == int(games.saved.sum())
    assert int(games.use_n.sum()) == int(games.made.sum())
    assert (games.made <= np.array(small.mix.uses)).all()
    swing = small.to_dict()["swing"]
    assert swing["mean"] == pytest.approx(
        swing["parts"]["uses"]["mean"] + swing["parts"]["carried_over"]["mean"]
    )
    assert swing["p5"] <= swing["mean"] <= swing["p95"]


def table_of(scenario: Any, parts: int) -> Table:
    calls, _ = calls_of(scenario)
    worlds = PlanWorlds(scenario, calls)
    tally = play_table(Runner(SEED), worlds, 4.0, 2, parts)
    return Table(tally, worlds.n_calls, tally.called.shape[2])


def test_without_readiness_bonus_and_fatigue_the_swing_is_uses_times_value(friday: Any) -> None:
    scenario = with_rules(changed(friday, readiness_per_trap=0.0), fouls__bonus_from_team_foul=100)
    table = table_of(scenario, 6)
    assert table.n_levels == 1, "no readiness: every use is the first"
    assert table.value(BEFORE, WING, 1) == table.value(BEFORE, WING, 5)

    calls, _ = calls_of(scenario)
    games = GamePlan(4, 16, (0, 0, 10, 0), time_outs=0)
    found = play_games(Runner(SEED), PlanWorlds(scenario, calls), games, 300, 2)
    assert not found.carried.any(), "nothing is carried over"
    made = int(found.made[:, WING].sum())
    assert made > 1000, "uses enough to tell"
    assert int(found.swing.sum()) == int(found.use_sum.sum())
    value = table.value(BEFORE, WING, 1)
    assert value.mean is not None and value.high is not None
    error = np.hypot((value.high - value.mean) / 1.96, found.swing.std() * np.sqrt(300) / made)
    assert abs(found.swing.sum() / made - value.mean) < 4 * error
    assert 4 * error < 0.25, "sharp enough to fail"


def test_later_uses_are_played_against_quicker_readers(friday: Any) -> None:
    """Whether that lowers their worth is for patterns 4 and 16 to say, at sizes that settle it."""
    table = table_of(changed(friday, readiness_per_trap=1.0), 4)
    assert 1 < table.n_levels < 12
    values = [table.value(BEFORE, WING, use).mean for use in (1, 2, 3, 12)]
    assert values[0] != values[1] and values[2] == values[3], "they read no quicker than they can"


def test_threads_and_the_cut_into_parts_change_nothing(friday: Any, small: PlanResult) -> None:
    other = plan(friday, games=130, seed=SEED, threads=1, table_parts=3)
    assert json.dumps(other.to_dict()) == json.dumps(small.to_dict())
    calls, _ = calls_of(friday)
    worlds = PlanWorlds(friday, calls)
    single = play_games(Runner(SEED), worlds, small.game_plan, 1, 1, first=102)
    assert single.home[0] == small.games.home[102] and single.planned[0] == small.games.planned[102]


def foul_prone(scenario: Any) -> Any:
    """Fouls off the shot are rare as it is: here they are not, least in a trap, where these men stay."""
    return changed(with_trapped(scenario, 0.07), trap_foul_rate_per_s=30.0, drive_foul_rate_per_s=2.0)


def with_sure_throws(scenario: Any) -> Any:
    """Nobody misses a free throw."""
    team = scenario.offence_team
    sure = tuple(player.model_copy(update={"free_throw": 1.0}) for player in team.players)
    return scenario.model_copy(update={"offence_team": team.model_copy(update={"players": sure})})


def test_fouls_carry_into_the_bonus(friday: Any) -> None:
    """A team a foul ahead in the bonus pays two free throws for a throw-in, worth a point or so, once a
    period: 600 games with up to 25 wing traps, at every catch or held ball there; -.4 a game (standard
    error .08)."""
    (wing,) = friday.settings[WING].calls
    always = wing.model_copy(update={"probability": 1.0, "triggers": ("catch", "held")})
    settings = list(friday.settings)
    settings[WING] = settings[WING].model_copy(update={"calls": (always,)})
    never_miss = with_sure_throws(foul_prone(friday)).model_copy(update={"settings": tuple(settings)})
    calls, _ = calls_of(never_miss)

    def played(bonus_from: int) -> Games:
        scenario = with_rules(never_miss, fouls__bonus_from_team_foul=bonus_from)
        games = GamePlan(2, 25, (0, 0, 25, 0), time_outs=0)
        return play_games(Runner(SEED), PlanWorlds(scenario, calls), games, 600, 2)

    soon, never = played(5), played(100)
    assert not never.carried.any() and not never.in_bonus.any()
    assert soon.made.sum() > 1000 and soon.in_bonus.sum() > 500
    assert soon.home_points.sum() > never.home_points.sum(), "two free throws a foul, never missed"
    assert soon.carried.mean() < -3 * soon.carried.std() / np.sqrt(600), (
        "the fouls of traps bring the bonus nearer"
    )


def test_tired_legs_change_the_planned_game_only_and_can_be_switched_off(friday: Any) -> None:
    calls, _ = calls_of(friday)
    worlds = PlanWorlds(friday, calls)
    fresh = GamePlan(2, 25, (0, 0, 12, 0), time_outs=0)
    tired = replace(fresh, fatigue=Fatigue(loss_per_m=0.02, kept=0.9, m_per_step=0.05))
    rested, worn = (play_games(Runner(SEED), worlds, one_plan, 100, 2) for one_plan in (fresh, tired))
    assert not rested.tired.any()
    traps = worn.made.sum(axis=1)
    assert (traps > 3).sum() > 50 and (worn.tired[traps > 3] > 0).mean() > 0.95, "traps cost legs"
    none = play_games(Runner(SEED), worlds, replace(tired, uses=(0, 0, 0, 0)), 10, 2)
    assert not none.tired.any()
    assert worn.carried.std() > rested.carried.std()
    assert np.array_equal(worn.swing, worn.saved.sum(axis=1) + worn.carried)
    assert np.array_equal(worn.home, rested.home), "staying home costs no more legs than it does anyway"


def test_time_outs_out_of_traps_are_the_ones_of_the_trace(friday: Any) -> None:
    scenario = with_rules(changed(friday, time_out_rate_per_s=2.0), time_out__trapped_player_may_call=True)
    calls, _ = calls_of(scenario)
    worlds = PlanWorlds(scenario, calls)
    games = GamePlan(1, 12, (0, 0, 6, 0), time_outs=2)
    found = play_games(Runner(SEED), worlds, games, 150, 2)
    assert 20 < found.time_outs.sum() and found.time_outs.max() == 2
    none = play_games(Runner(SEED), worlds, replace(games, time_outs=0), 150, 2)
    assert not none.time_outs.any()
    # the first possession of every game, in its trace
    first = play_games(Runner(SEED), worlds, GamePlan(1, 1, (0, 0, 1, 0), time_outs=2), 200, 2)
    called = np.flatnonzero(first.made[:, WING])
    event = EVENTS.index("time_out")
    for g in called:
        traced = trace_possession(worlds.world(WING), SEED, int(g) * NUMBERS_PER_GAME, 1)
        assert first.time_outs[g] == (traced.events[:, 1] == event).sum()
    assert len(called) > 10 and 0 < first.time_outs.sum() < len(called)


# --- the result -------------------------------------------------------------------------------------------


def test_contract_of_the_json(small: PlanResult) -> None:
    found = small.to_dict()
    json.dumps(found, allow_nan=False)
    assert found["command"] == "plan" and found["games"] == 130
    assert found["possessions"] == 130 * found["possessions_per_game"]
    for row in found["mix"]:
        assert {"setting", "call", "spot", "uses_per_game", "stop_after_words"} <= row.keys()
    for row in found["by_use"]:
        assert {"call", "use", "value", "turnover_rate"} <= row.keys()
        assert row["value"].keys() == {"mean", "low", "high"}
        low, high = sorted((row["before"]["mean"], row["in_bonus"]["mean"]))
        assert low - 1e-12 <= row["value"]["mean"] <= high + 1e-12  # but for the last bit
    assert {"mean", "low", "high", "sd", "p5", "p95"} <= found["swing"].keys()
    assert set(found["bonus"]) == {"corner", "short_corner", "wing", "top"}
    assert [(row["behind"], row["seconds"]) for row in found["late_game"]] == [
        (d, t) for d in (3, 6, 9) for t in (60, 120, 240)
    ]
    assert found["bench_rule"]["too_few_below"] == 10
    assert all(row["planned"] <= 3 for row in found["practice"]), "the calls' own budgets"


def test_a_call_that_the_table_cannot_tell_from_luck_is_not_planned(small: PlanResult) -> None:
    found = small.to_dict()
    for row in found["mix"]:
        lows = [
            one_use["value"]["low"]
            for one_use in found["by_use"]
            if one_use["call"] == row["call"] and one_use["use"] <= row["uses_per_game"]
        ]
        assert sum(lows) > 0
    assert not set(found["not_clear"]) & {row["call"] for row in found["mix"]}
    for one_call in found["calls"]:
        assert (one_call["why_not"] is None) == (one_call["uses_per_game"] > 0)


def test_text_answers_first(small: PlanResult) -> None:
    found = with_advice(small.to_dict())
    text = plan_text(found, with_detail=True)
    assert " ".join(found["start"].split()) in " ".join(text.split()) and "2 and 0" in found["start"]
    lines = text.splitlines()
    assert max(len(line) for line in lines[: lines.index("Detail")]) <= 100
    answer = next(line for line in lines if line.startswith("  Advice"))
    assert lines.index(answer) <= 5
    first = lines.index(answer)
    answer = " ".join(" ".join(lines[first : first + 3]).split())
    assert found["advice"]["answer"] in answer
    for words in ("one result", "feet and high hands", "too", "in the bonus"):
        assert words in " ".join(text.split())
    planned = {row["call"] for row in found["practice"] if row["planned"]}
    assert ("(common practice: " in " ".join(text.split())) == bool(planned)


def test_nothing_stands_beside_withheld_advice(small: PlanResult) -> None:
    found = small.to_dict()
    told = plan_text(found | {"care": ["Ask your league."], "mix": [], "calls": []})
    assert "Trap advice is withheld" in told and "Ask your league." in told
    for words in ("Fouls", "double", "Take what follows", "Stay home", "Legs", "sprints"):
        assert words not in told


def test_plan_and_compare_give_one_figure_or_none(friday: Any) -> None:
    """Calls that compare cannot give a range have no figure in the plan either, and are not planned."""
    friday = friday.model_copy(update={"game": friday.game.model_copy(update={"team_fouls": 0})})
    compared = compare(friday, 600, 1, 2).to_dict()
    seldom = {
        call["call"]
        for setting in compared["settings"]
        for call in setting["calls"]
        if len(setting["calls"]) == 1 and call["value"]["low"] is None
    }
    found = plan(friday, games=10, threads=2, table_parts=1, compared=compared).to_dict()
    assert seldom and seldom < {row["call"] for row in found["calls"]}
    for row in found["calls"]:
        assert (row["worth"]["mean"] is None) == (row["call"] in seldom)
        assert (row["why_not"] == FEW) == (row["call"] in seldom)
    assert all(row["before"]["mean"] is None for row in found["by_use"] if row["call"] in seldom)
    text = " ".join(plan_text(with_advice(found)).split())
    assert found["start"] == "" and "of one moment" not in text
    assert text.count(FEW) == len(seldom) + 1 and text.count(TOO_FEW) == 2 * len(seldom)
    told = {
        (setting["name"], row["call"]): row["value"]
        for setting in compared["settings"]
        for row in setting["calls"]
    }
    for row in found["calls"]:
        if row["call"] not in seldom:
            assert row["worth"] == told[row["setting"], row["call"]]


def test_without_a_call_there_is_nothing_to_plan(friday: Any) -> None:
    found = plan(friday.model_copy(update={"settings": ()}), games=10, threads=2, table_parts=1).to_dict()
    assert found["mix"] == [] and found["swing"]["mean"] == 0
    assert "nothing to plan" in plan_text(found)


def test_traps_that_only_cost_are_not_planned(friday: Any) -> None:
    """Traps that foul as soon as they are there, in the bonus from the first foul on, men who never miss a
    free throw: two points each, more than a possession is worth."""
    scenario = with_sure_throws(with_rules(foul_prone(friday), fouls__bonus_from_team_foul=1))
    found = plan(scenario.model_copy(update={"settings": scenario.settings[2:3]}), 10, SEED, 2, table_parts=2)
    assert found.mix.uses == (0,)
    (row,) = found.to_dict()["calls"]
    assert row["why_not"] in ("saves nothing here", "cannot be told from staying home")


def test_no_trap_is_planned_for_children_until_the_league_is_asked() -> None:
    found = plan("configs/scenarios/level_under_14.toml", games=10, threads=2, table_parts=1).to_dict()
    assert found["mix"] == [] and found["calls"] == []
    assert "No trap advice" in plan_text(found)


def test_settings_with_a_defence_of_their_own_are_left_out(friday: Any) -> None:
    own = friday.settings[0].model_copy(update={"own_defence": True, "name": "another defence"})
    calls, left_out = calls_of(friday.model_copy(update={"settings": (own, *friday.settings[1:])}))
    assert left_out == ("another defence",)
    assert [c.call.name for c in calls] == ["short_corner", "wing", "top", "corner"]


# --- bad input --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("games", [0, 9, 100_001, True, 12.0])
def test_games_out_of_range(games: Any) -> None:
    with pytest.raises(InputError, match="--games"):
        check_games(games)


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--games", "3"], "--games"),
        (["--set", "fatigue_percent_per_100m=50"], "fatigue_percent_per_100m"),
        (["--set", "fatigue=1"], "a constant of the model"),
        (["--set", "most_traps"], "NAME=NUMBER"),
        (["--set", "most_traps=2.5"], "a whole number"),
        (["--set", "own_longest_s=2", "--set", "own_shortest_s=9"], "own_longest_s"),
        (["--threads", "0"], "--threads"),
    ],
)
def test_bad_options_are_one_line(options: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_command(["plan", str(FRIDAY), *options]) == 2
    said = capsys.readouterr()
    assert said.out == "" and said.err.count("\n") == 1 and told in said.err


def test_a_game_too_long_is_refused(friday: Any) -> None:
    scenario = with_rules(friday, clock__periods=10, clock__period_s=3600.0)
    with pytest.raises(InputError, match="at most 1000 possessions"):
        plan(scenario, games=10, threads=2, table_parts=1)


def test_outcomes_named_turnovers_are_the_ones_counted(small: PlanResult, friday: Any) -> None:
    """The tally of the bench counts what the trap itself wins: per use between the same calls alone, 6,000
    possessions at home, on those who have seen no trap and on those who have seen eight, within 4 standard
    errors (.025 at most each)."""
    won = [OUTCOMES.index(name) for name in ("steal", "other_turnover")]
    worlds = {setting.name: setting.world for setting in pack(friday).settings}
    uses = small.games.use_n.sum(axis=1)
    n = uses.sum()
    rate = small.games.use_lost.sum() / n
    alone = []
    for seen in (0, 8):
        mean, variance = 0.0, rate * (1.0 - rate) / n
        for planned, share in zip(small.calls, uses / n, strict=True):
            if share > 0.0:
                records = np.zeros((6000, N_RECORD), np.int32)
                play_list(quicker(worlds[planned.setting], seen), SEED, np.arange(6000), records)
                called = records[records[:, COLUMN["first_call"]] > 0]
                one_rate = np.isin(called[:, COLUMN["outcome"]], won).mean()
                mean += share * one_rate
                variance += share**2 * one_rate * (1.0 - one_rate) / len(called)
        assert np.sqrt(variance) < 0.025
        alone.append((mean, 4.0 * np.sqrt(variance)))
    assert min(mean - most for mean, most in alone) < rate < max(mean + most for mean, most in alone), alone
