"""lineup: assignments as worlds, what is compared, where the other side attacks, and what no page may say."""

from __future__ import annotations

import itertools
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lineup_calls import call

from engine.cli import run
from engine.inputs import load_scenario, load_zone
from engine.inputs.defence import persons_of
from engine.inputs.zone import chosen
from engine.report.screen.lineup import lineup_text
from engine.report.words import around, scaled
from engine.run.blocks import Runner
from engine.run.size import RunSize
from engine.state.record import COLUMN, N_RECORD
from engine.still.holes import scenario_setup
from engine.study.lineup import advice, opponent
from engine.study.lineup import places as study
from engine.study.lineup.opponent import Found
from engine.study.lineup.places import (
    assigned_worlds,
    expected_net,
    home_numbers,
    lineup,
    mean_excess,
    with_places,
)
from engine.world.pack import pack

FRIDAY = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
ORDERS = [(0, 1, 2, 3, 4), (1, 0, 2, 3, 4), (4, 2, 0, 1, 3)]


@pytest.fixture(scope="module")
def scenario() -> Any:
    return load_scenario(FRIDAY)


@pytest.fixture(scope="module")
def man(scenario: Any) -> Any:
    """The same teams in man-to-man, one pair named by the coach."""
    zone = load_zone("man_to_man")
    pairs = {scenario.defence_team.lineup[0]: scenario.offence_team.lineup[3]}
    changed = {"zone": zone, "zone_options": chosen(zone.options), "settings": (), "matchups": pairs}
    return scenario.model_copy(update=changed)


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """A study of a few thousand possessions."""
    monkeypatch.setattr(study, "BATCH", 20)
    monkeypatch.setattr(study, "FIRST_BATCHES", 4)
    monkeypatch.setattr(opponent, "ATTACK_POSSESSIONS", 300)
    monkeypatch.setattr(opponent, "CALL_POSSESSIONS", 800)


# --- the worlds -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("defence", ["zone", "man"])
def test_an_assignment_is_the_scenario_with_its_places_written_so(
    defence: str, scenario: Any, man: Any
) -> None:
    """Worlds by moving the players against the scenario packed with other places: byte for byte."""
    played = (scenario if defence == "zone" else man).model_copy(update={"settings": ()})
    numbers = home_numbers(played)
    for order, world in zip(ORDERS, assigned_worlds(played, ORDERS), strict=True):
        wanted = with_places(played, tuple(numbers[i] for i in order))
        assert home_numbers(wanted) == tuple(numbers[i] for i in order)
        assert world.tobytes() == pack(wanted).home.tobytes()


def test_a_pair_the_coach_named_follows_the_man(man: Any) -> None:
    shirt, opponent_shirt = next(iter(man.matchups.items()))
    attacker = [p.number for p in man.offence_team.on_court].index(opponent_shirt)
    numbers = home_numbers(man)
    for order, world in zip(ORDERS, assigned_worlds(man, ORDERS), strict=True):
        place = [numbers[i] for i in order].index(shirt)
        assert world[0].guards[place] == attacker
        assert sorted(world[0].guards) == [0, 1, 2, 3, 4]


def test_the_drawn_excess_is_replaced_by_its_mean(scenario: Any) -> None:
    """Same expectation as net, less spread; without excess constants it is the points, to the last bit."""
    records = np.zeros((12_000, N_RECORD), np.int32)
    from engine.kernel.batch import play_block

    play_block(pack(scenario).home, 5, 0, records)
    net = records[:, COLUMN["net"]].astype(float)
    mean = expected_net(records, mean_excess(scenario.constants))
    assert abs((mean - net).mean()) < 4.5 * (mean - net).std() / np.sqrt(len(net))
    assert mean.var() < net.var() - 0.05
    none = dict.fromkeys(scenario.constants, 0.0)
    assert (expected_net(records, mean_excess(none)) == records[:, COLUMN["points"]]).all()


def test_the_mean_excess_is_that_of_the_kernel_by_ending(scenario: Any) -> None:
    """Excess made certain for one ending after the other: net is then known without a draw."""
    names = ("excess_made_points", "excess_defensive_rebound_points", "excess_dead_ball_points")
    for name in (*names, "excess_live_steal_points"):
        zero = {n: 0.0 for n in scenario.constants if n.startswith("excess_")}
        constants = scenario.constants | zero | {name: 2.0}  # size 2, never 3: drawn with certainty
        world = pack(scenario.model_copy(update={"constants": constants})).home
        records = Runner(3).block(world, 0, 1500, "home").copy()
        assert (expected_net(records, mean_excess(constants)) == records[:, COLUMN["net"]]).all()


# --- the selection -----------------------------------------------------------------------------------------


def test_five_alike_are_told_to_be_alike(scenario: Any, small: None) -> None:
    """A known case: nobody differs, so no assignment can, and it ends at once without a difference."""
    team = scenario.defence_team
    first = team.players[0]
    same = tuple(
        first.model_copy(update={"number": p.number, "name": p.name, "position": p.position})
        for p in team.players
    )
    changed = {"defence_team": team.model_copy(update={"players": same}), "settings": ()}
    alike = scenario.model_copy(update=changed)
    found = lineup(alike, most=10**6, threads=2, anywhere=True).to_dict()
    assert found["decided"] and found["left"] == 120 and found["usual_is_left"]
    assert found["possessions_played"] == 120 * 4 * 20
    assert len({row["points"]["mean"] for row in found["table"]}) == 1
    assert found["usual_costs"] == {"mean": 0.0, "low": 0.0, "high": 0.0}


@pytest.fixture(scope="module")
def found(scenario: Any) -> Found:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(study, "BATCH", 20)
        patch.setattr(study, "FIRST_BATCHES", 4)
        patch.setattr(opponent, "ATTACK_POSSESSIONS", 300)
        patch.setattr(opponent, "CALL_POSSESSIONS", 800)
        return lineup(scenario, delta=0.5, most=14_000, threads=1, anywhere=True).to_dict()


def test_every_key_of_the_contract_and_every_assignment_once(found: Found, scenario: Any) -> None:
    assert len({tuple(row["places"].values()) for row in found["table"]}) == 120
    places = ["left_guard", "right_guard", "left_forward", "right_forward", "centre"]
    assert all(list(row["places"]) == places for row in found["table"])
    assert found["best"] == found["table"][0]["places"]
    assert sum(row["dropped_at"] is None for row in found["table"]) == found["left"]
    assert sorted(found["usual"]["places"].values()) == sorted(scenario.defence_team.lineup)
    assert {one["place"] for one in found["attack_at"]} == set(places)
    assert [one["number"] for one in found["opponent"]] == list(scenario.offence_team.lineup)
    assert {one["advice"] for one in found["opponent"]} <= {"force", "trap", "leave", "deny", "let him shoot"}
    json.dumps(found, allow_nan=False)


def test_the_guarantee_is_said_as_it_is(found: Found) -> None:
    if found["decided"]:
        assert found["p_correct"] == 0.95 and "95 % at least" in found["guarantee"]
    else:
        assert found["p_correct"] is None and found["guarantee"].startswith("not decided")
        assert f"{found['left']} of 120" in found["guarantee"]


def test_your_own_places_are_told_with_their_cost(found: Found) -> None:
    cost = {"mean": 0.05, "low": 0.02, "high": 0.08}
    usual = found["usual"] | {"places": dict(zip(found["best"], (34, 23, 12, 7, 4), strict=True))}
    text = " ".join(lineup_text(found | {"usual": usual, "usual_costs": cost}).split())
    assert "costs 5.0 points per 100 (2.0 to 8.0) against those places" in text
    n = found["call_possessions"]
    home = (
        f"Yours now concede {around(scaled(found['home'], 100), 0)} points per 100 possessions, staying home"
    )
    assert f"{home} ({n} possessions, as in compare); " in text
    same = found | {"usual": found["usual"] | {"places": found["best"]}}
    assert "as in compare); the same places" in " ".join(lineup_text(same).split())


def test_cut_short_it_is_not_called_decided(scenario: Any, small: None) -> None:
    found = lineup(scenario, delta=0.001, most=1, threads=2, traps=False, anywhere=True).to_dict()
    assert not found["decided"] and found["left"] > 1 and found["within"] > 0.001 and found["keep"]
    assert found["possessions_played"] == 120 * 4
    assert "Ahead so far" in lineup_text(found)


def test_threads_do_not_change_a_number(found: Found, scenario: Any, small: None) -> None:
    again = lineup(scenario, delta=0.5, most=14_000, threads=2, anywhere=True).to_dict()
    assert again == found


def test_everybody_plays_a_place_for_his_size(scenario: Any) -> None:
    """Usual first; the same kind on either side; another kind at about his height; a centre is no guard."""
    kinds = ("guard", "guard", "forward", "forward", "centre")

    def orders(heights: tuple[float, ...]) -> list[Any]:
        places = home_numbers(scenario)
        team = scenario.defence_team
        height = dict(zip(places, heights, strict=True))
        players = tuple(
            p.model_copy(update={"height_m": height.get(p.number, p.height_m)}) for p in team.players
        )
        changed = team.model_copy(update={"players": players})
        return study.likely_orders(scenario.model_copy(update={"defence_team": changed}))

    apart = orders((1.70, 1.71, 1.85, 1.86, 2.05))
    assert apart[0] == (0, 1, 2, 3, 4) and len(apart) == 4
    assert all([kinds[man] for man in order] == list(kinds) for order in apart)
    near = orders((1.70, 1.80, 1.85, 1.86, 2.05))
    assert (0, 2, 1, 3, 4) in near and (2, 0, 1, 3, 4) not in near  # 5 cm, and 15 cm
    alike = orders((1.8,) * 5)
    assert len(alike) == 48  # the centre stays: 4!; he and a forward change sides of the block: 2 * 2 * 3!
    assert len(study.likely_orders(scenario, anywhere=True)) == 120


def test_what_is_asked_for_bounds_everything_that_is_played(
    scenario: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every possession that the runner is given, those of the other side's answers among them."""
    played = 0
    block, chosen_ = Runner.block, Runner.chosen

    def counted(self: Any, world: Any, first: int, count: int, name: str) -> Any:
        nonlocal played
        played += count
        return block(self, world, first, count, name)

    def counted_too(self: Any, world: Any, numbers: Any, *more: Any) -> Any:
        nonlocal played
        played += len(numbers)
        return chosen_(self, world, numbers, *more)

    monkeypatch.setattr(Runner, "block", counted)
    monkeypatch.setattr(Runner, "chosen", counted_too)
    bar: list[tuple[int, int]] = []
    lineup(scenario, most=20_000, threads=1, delta=0.001, progress=lambda *now: bar.append(now))
    assert 10_000 < played <= 20_000
    assert bar == sorted(bar) and bar[-1] == (20_000, 20_000) and len(bar) > 10


# --- the other side -----------------------------------------------------------------------------------------


def test_parking_is_a_swap_of_spots_one_for_each_place(scenario: Any) -> None:
    setup = scenario_setup(scenario, scenario.zone, scenario.zone_options)
    world = pack(scenario).home
    roles = opponent.parking_roles(setup, world, persons_of(scenario.zone))
    assert all(sorted(side) == [0, 1, 2, 3, 4] for side in roles.tolist())
    for scorer, place in itertools.product(range(5), range(5)):
        w = opponent.parked(world, scorer, place, roles)[0]
        for s in range(2):
            assert sorted(w.spot_role_of[s]) == [0, 1, 2, 3, 4]
            assert w.spot_role_of[s, scorer] == roles[s, place]
            moved = np.flatnonzero(w.spot_role_of[s] != world[0].spot_role_of[s])
            assert len(moved) in (0, 2)


def test_parked_at_the_guards_he_stands_outside_at_the_forwards_low(scenario: Any) -> None:
    """Where the scorer then is with the ball on that side: out with a guard, lower with a forward."""
    setup = scenario_setup(scenario, scenario.zone, scenario.zone_options)
    world = pack(scenario).home
    places = persons_of(scenario.zone)
    roles = opponent.parking_roles(setup, world, places)
    top = world[0].spots[1]
    for s, side in enumerate(("left", "right")):
        guard, forward = (top[roles[s, places.index(f"{side}_{kind}")]] for kind in ("guard", "forward"))
        assert np.hypot(*guard) > 6.0 and guard[1] > forward[1]


def test_in_man_to_man_the_place_takes_him_over(man: Any) -> None:
    world = pack(man).home
    for place in range(5):
        men = opponent.guarded_by(world, 2, place)[0].guards
        assert men[place] == 2 and sorted(men) == [0, 1, 2, 3, 4]


def test_an_attack_that_changes_nothing_costs_nothing(scenario: Any, small: None) -> None:
    world = pack(scenario.model_copy(update={"settings": ()})).home
    slow = world.copy()
    slow[0].players[5].top_speed_mps *= 0.4
    slow[0].players[6].top_speed_mps *= 0.4
    same, worse = opponent.attack_costs(world, [world, slow], RunSize(300, 7, 1))
    assert same == {"mean": 0.0, "low": 0.0, "high": 0.0}
    assert worse["mean"] != 0.0


def test_only_what_is_clear_over_all_comparisons_is_called_a_trap_that_pays() -> None:
    given = [
        call("corner", 1, 500, 0.10, 0.05),  # 3.9 standard errors
        call("wing", 1, 500, 0.20, 0.15),  # 2.6: more, but not clear
        call("corner", 2, 500, 0.30, 0.05),
        call("corner", 3, 50, 0.90, 0.05),  # too few calls
        call("corner", 4, 500, 0.08, 0.03),
        call("corner", 5, 500, -0.40, 0.05),
    ]
    found = advice.worth_trapping(given)
    assert list(found) == [2, 1, 4] and found[1]["call"] == "corner"
    often = [
        call("wing", 1, 4000, 0.15, 0.02),
        call("corner", 1, 200, 0.5, 0.05),
        call("corner", 2, 500, 0.3, 0.05),
    ]
    assert {n: one["call"] for n, one in advice.worth_trapping(often).items()} == {1: "wing", 2: "corner"}
    assert advice.whom_by_call(often)[1]["saves"] == [2, 1]  # 2.5 a hundred of .3 is more than 1 of .5


def test_whom_to_trap_is_said_of_each_call_by_itself() -> None:
    given = [
        call("top", 7, 500, 0.10, 0.02),
        call("top", 13, 12, 0.60, 0.02),  # it never comes to him there
        call("corner", 13, 500, 0.20, 0.02),
        call("corner", 7, 500, 0.01, 0.05),
    ]
    assert advice.whom_by_call(given) == [
        {"call": "top", "saves": [7], "seldom": [13]},
        {"call": "corner", "saves": [13], "seldom": []},
    ]


def test_advice_by_the_worth_of_open_shots(scenario: Any) -> None:
    five = scenario.offence_team.on_court
    best = {1: 0.80, 2: 1.10, 3: 0.70, 4: 0.95, 5: 0.85}
    shots = {position: {"wing": points, "corner": points - 0.1} for position, points in best.items()}
    average = {"mean": 0.92, "low": 0.9}
    given = [call("corner", five[0].number, 500, 0.3, 0.05)]
    found = advice.advice_on(five, shots, average, 2, given)
    assert [one["advice"] for one in found] == ["trap", "deny", "force", "deny", "leave"]
    assert "2.5 times in 100 possessions" in found[0]["why"]
    assert [one["advice"] for one in advice.advice_on(five, shots, average, 2, [])][0] == "leave"
    assert found[3]["areas"] == {
        "wing": {"points": 0.95, "do": "guard"},
        "corner": {"points": pytest.approx(0.85), "do": "let him shoot"},
    }


def test_who_is_to_be_trapped_is_never_left(scenario: Any, found: Found) -> None:
    """By the coach's own list, by a call that pays against him, or as the third who pays."""
    five = scenario.offence_team.on_court
    shots = {position: {"wing": 0.8} for position in range(1, 6)}
    average = {"mean": 0.92, "low": 0.9}

    def told(calls: list[Found], wanted: tuple[int, ...] = ()) -> dict[int, str]:
        kept = [{"call": "wing", "setting": "kept", "area": "wing"}]
        rows = advice.advice_on(five, shots, average, 2, calls, dict.fromkeys(wanted, kept))
        text = lineup_text(found | {"opponent": rows}).split("Their five")[1].split("\n\n")[0]
        for row in rows:
            line = text.split(f"number {row['number']} ")[1].split("number")[0]
            assert ("leave him" in line) == (row["advice"] == "leave")
            guarded = any(one["do"] == "guard" for one in row["areas"].values())
            if row["advice"] != "trap":  # also of the best scorer: by the worth of his shot
                assert (row["advice"] == "deny") == guarded
            traps = {one["area"] for one in row["traps"] if not one["setting"]}
            assert all(re.search(rf"trap pays: [a-z, ]*{area}", line) for area in traps)
            assert not ("leave" in line and "trap" in line)
            assert not any(re.search(rf"let him shoot at: [a-z, ]*{area}", line) for area in traps)
            assert "kept for him" not in line  # the coach's wish shows nothing; advised tonight it counts
            tonight = advice.told_on(row, {("kept", "wing")})
            assert ({"call": "wing", "kept": True} in tonight["traps"]) == (row["number"] in wanted)
        return {row["number"]: row["advice"] for row in rows}

    numbers = [player.number for player in five]
    assert list(told([]).values()) == ["force", "let him shoot", "leave", "leave", "leave"]
    assert told([], (numbers[3],))[numbers[3]] == "let him shoot"
    # Whose shot pays is nobody to let have the ball.
    shots = {position: {"wing": 0.95} for position in range(1, 6)}
    assert set(told([]).values()) == {"deny"}
    shots = {position: {"wing": 0.8} for position in range(1, 6)}
    pays = [call("wing", n, 500, 0.3 + n / 1000, 0.05) for n in sorted(numbers)[:2]]
    assert [told(pays)[n] for n in sorted(numbers)[:2]] == ["trap", "trap"]
    pays.append(call("top", sorted(numbers)[2], 500, 0.1, 0.02))
    assert "leave" not in {told(pays)[n] for n in sorted(numbers)[:3]}
    # Where a call clearly pays against him he is not let shoot, also by a call that is not his best.
    both = [call("top", numbers[0], 500, 0.4, 0.05), call("wing", numbers[0], 500, 0.3, 0.05)]
    on_him = advice.told_on(advice.advice_on(five, shots, average, 2, both)[0])
    assert on_him["traps"] == [{"call": "top", "kept": False}, {"call": "wing", "kept": False}]
    assert on_him["areas"] == {"wing": "trap"}


def test_a_call_of_one_name_is_weighed_on_everybody_where_one_is(scenario: Any, small: None) -> None:
    usual = next(s for s in scenario.settings if s.calls and not s.own_defence)
    kept = usual.calls[0].model_copy(update={"only_against": (scenario.offence_team.on_court[0].number,)})
    both = (usual, usual.model_copy(update={"name": "kept for one", "calls": (kept,)}))
    _, found = opponent.calls_against(scenario.model_copy(update={"settings": both}), RunSize(40, 7, 1))
    assert len(found) == 5


def test_the_best_scorer_by_the_sheet_or_by_the_shot(scenario: Any) -> None:
    five = scenario.offence_team.on_court
    made = [2 * (p.rim[0] + p.middle[0]) + 3 * p.three[0] for p in five]
    assert opponent.best_scorer(five, {})[0] == int(np.argmax(made)) + 1
    some = (five[0].model_copy(update={"rim": None}), *five[1:])
    assert opponent.best_scorer(some, {1: 0.5, 2: 0.7, 3: 1.2, 4: 0.1, 5: 0.2})[0] == 3


# --- what is said -------------------------------------------------------------------------------------------


def test_where_they_attack_is_said_by_place_never_by_player(found: Found) -> None:
    text = lineup_text(found)
    assert all(len(line) <= 100 for line in text.splitlines())
    attack = text[text.index("Where they would attack") : text.index("Their five")]
    assert "weak" not in text.lower()
    words = attack.replace(f"number {found['best_scorer']['number']}", "").split()
    for one in found["attack_at"]:
        assert one["place"].replace("_", " ") in attack
        assert str(one["number"]) not in words


def test_a_clear_cost_becomes_a_task_for_a_role(found: Found) -> None:
    first, *rest = found["attack_at"]
    dear = {"place": "left_guard", "cost": {"mean": 0.1, "low": 0.05, "high": 0.2}}
    clear = found | {"attack_at": [first | dear, *rest]}
    assert "the left guard's area, help there: " in " ".join(lineup_text(clear).split())
    even = found | {"attack_at": [first | {"cost": {"mean": 0.1, "low": -0.05, "high": 0.2}}, *rest]}
    said = " ".join(lineup_text(even).split())
    assert "no place clearly costs more against their No. " in said
    cheap = found | {
        "attack_at": [*even["attack_at"][:-1], rest[-1] | {"cost": dict(mean=-0.146, low=-0.18, high=-0.11)}]
    }
    said = " ".join(lineup_text(cheap).split())
    assert "-14.6 (-18.0 to -11.0)" in said and "than another" not in said


def test_without_trap_advice_nobody_is_to_be_trapped(scenario: Any, small: None) -> None:
    size = RunSize(300, 1, 1)
    found = opponent.answers(scenario, size, size, traps=False).to_dict()
    assert found["calls_by_handler"] == []
    assert all(one["advice"] != "trap" for one in found["opponent"])


def test_the_command_and_what_it_refuses(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], small: None
) -> None:
    target = tmp_path / "lineup.json"
    asked = ["lineup", str(FRIDAY), "--quiet", "--delta", "0.5", "-n", "1", "--json", str(target)]
    assert run(asked) == 0
    shown = capsys.readouterr().out
    told = lineup_text(json.loads(target.read_text(encoding="utf-8")))
    assert shown.startswith(told) and "Assumed" in shown.removeprefix(told)
    for wrong in (["--delta", "0"], ["--delta", "nan"], ["--confidence", "1"], ["-n", "0"], ["--seed", "-2"]):
        assert run(["lineup", str(FRIDAY), *wrong]) == 2
        lines = capsys.readouterr().err.strip().splitlines()
        assert len(lines) == 1 and wrong[0].lstrip("-") in lines[0].replace("possessions", "n")
