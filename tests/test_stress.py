"""The stress study: changed worlds are what pack makes of the same numbers, sums are those of whole replays,
worlds unlike the level are dropped and counted, and the text puts the share first."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from engine.errors import InputError
from engine.inputs import Scenario, load_scenario
from engine.inputs.files import Source
from engine.inputs.scenario import constants_against, scenario_from
from engine.inputs.stress import (
    SPECIAL,
    BaseRates,
    StressList,
    for_scenario,
    load_stress,
)
from engine.report.screen.stress import stress_text, worlds_in_100
from engine.run.branches import branches_of
from engine.run.worlds import DUMMY, HOME_COLUMNS, WHOLE, changed, sobol
from engine.state.record import COLUMN, N_RECORD
from engine.study.stress.stress import LEAST_KEPT, StressResult, stress
from engine.world.pack import pack

ROOT = Path(__file__).parents[1]
FRIDAY = ROOT / "configs" / "scenarios" / "friday_night.toml"
WORLDS, POSSESSIONS = 16, 200

Ints = NDArray[np.int64]


@pytest.fixture(scope="module")
def scenario() -> Any:
    """The demo with the wing trap (called most often) and a setting of two calls."""
    loaded = load_scenario(FRIDAY)
    return loaded.model_copy(update={"settings": (loaded.settings[2], loaded.settings[4])})


@pytest.fixture(scope="module")
def small(scenario: Any) -> StressResult:
    return stress(scenario, WORLDS, POSSESSIONS, seed=5, threads=2)


# --- a changed world --------------------------------------------------------------------------------------


def middle_values(listed: StressList, constants: dict[str, float]) -> dict[str, float]:
    """Every input a third of the way up its range: no constant keeps its value."""
    inputs, fixed = for_scenario(listed, constants)
    assert not fixed
    return {one.name: one.low + (one.high - one.low) / 3 for one in inputs}


def at_home(scenario: Scenario) -> dict[str, float]:
    """Every constant as it holds against home's kind of defence."""
    return constants_against(scenario, scenario.zone)


def with_home(scenario: Scenario, values: dict[str, float]) -> Scenario:
    """The scenario with these constants against home's kind of defence."""
    return scenario.model_copy(update={"constants": at_home(scenario) | values, "other_defence": {}})


def test_changed_constants_give_the_world_that_pack_makes(scenario: Any) -> None:
    values = {n: v for n, v in middle_values(load_stress(), at_home(scenario)).items() if n not in SPECIAL}
    assert {"slide_speed_share", "sprint_tau_s", "slide_tau_s"} <= set(values), (
        "what players are refreshed by"
    )
    before = pack(scenario)
    wanted = pack(with_home(scenario, values))
    pairs = [(before.home, wanted.home)]
    pairs += [(a.world, b.world) for a, b in zip(before.settings, wanted.settings, strict=True)]
    for was, packed in pairs:
        found = changed(was, values)
        assert found.tobytes() == packed.tobytes()
        assert found.tobytes() != was.tobytes()


def test_no_shipped_input_is_derived_on_the_way_to_the_arrays(scenario: Any) -> None:
    # One by one, so that two wrongs cannot make a right.
    home = pack(scenario).home
    for name, value in middle_values(load_stress(), at_home(scenario)).items():
        if name not in SPECIAL:
            packed = pack(with_home(scenario, {name: value}))
            assert changed(home, {name: value}).tobytes() == packed.home.tobytes(), name


def test_faster_defenders_are_what_pack_makes_of_faster_players(scenario: Any) -> None:
    team = scenario.defence_team
    faster = [p.model_copy(update={"top_speed_mps": p.top_speed_mps * 1.05}) for p in team.players]
    other = scenario.model_copy(update={"defence_team": team.model_copy(update={"players": tuple(faster)})})
    assert changed(pack(scenario).home, {"defender_speed": 1.05}).tobytes() == pack(other).home.tobytes()


def test_shot_inputs_touch_only_the_attack_and_its_shots(scenario: Any) -> None:
    home = pack(scenario).home
    values = {"rim_shots": 0.25, "jump_shots": -0.125, "contest_slope": 0.5}
    found = changed(home, values)
    was, now = home["players"][0], found["players"][0]
    for field, shift in (("rim_logit", 0.25), ("middle_logit", -0.125), ("three_logit", -0.125)):
        np.testing.assert_allclose(now[field][:5], was[field][:5] + shift, rtol=0, atol=1e-15)
        assert (now[field][5:] == was[field][5:]).all()
    assert (found["shots"][..., 1] == 0.5 * home["shots"][..., 1]).all()
    assert (found["shots"][..., 0] == home["shots"][..., 0]).all()
    assert found["k"].tobytes() == home["k"].tobytes()
    assert changed(home, {}).tobytes() == home.tobytes()


def test_an_unknown_input_is_no_silent_nothing(scenario: Any) -> None:
    with pytest.raises(KeyError):
        changed(pack(scenario).home, {DUMMY: 0.5})


def test_the_design_fills_every_range_evenly() -> None:
    # A scrambled Sobol set of 2^m points has one point in each of 2^m slices of every axis (a property of
    # digital nets in base 2; Owen 1998, from memory).
    design = sobol(7, 64, 11)
    for column in design.T:
        assert sorted((64 * column).astype(int)) == list(range(64))
    assert (sobol(7, 64, 11) == design).all()
    assert (sobol(7, 64, 12) != design).any()


# --- the study itself -------------------------------------------------------------------------------------


def test_threads_do_not_change_a_bit(scenario: Any, small: StressResult) -> None:
    one = stress(scenario, WORLDS, POSSESSIONS, seed=5, threads=1)
    assert (one.home == small.home).all() and (one.settings == small.settings).all()
    assert one.to_dict() == small.to_dict()
    assert stress_text(one.to_dict(), True) == stress_text(small.to_dict(), True)
    other = stress(scenario, WORLDS, POSSESSIONS, seed=6, threads=2)
    assert (other.home != small.home).any()


def played(world: Any, seed: int, first: int, count: int) -> Ints:
    from engine.kernel.batch import play_block

    records = np.zeros((count, N_RECORD), np.int32)
    play_block(world, seed, first, records)
    return records.astype(np.int64)


def test_sums_are_those_of_whole_replays(scenario: Any, small: StressResult) -> None:
    # Two worlds played in full from the changed arrays: also what the shadow left out made no difference.
    branches = branches_of(pack(scenario))
    assert all(setting.bit is not None for setting in branches.settings)
    for number in (0, 5):
        values = small.plan.values(number)
        assert small.chosen[number] == {}, "the scenario's own structure"
        first = number * POSSESSIONS
        home = played(changed(branches.home, values), 5, first, POSSESSIONS)
        lost = np.isin(home[:, COLUMN["end"]], (2, 4))  # turnover, shot clock
        own = {"n": POSSESSIONS, "lost": int(lost.sum())}
        wanted = [
            own.get(name, home[:, COLUMN[name]].sum() if name in COLUMN else 0) for name in HOME_COLUMNS
        ]
        assert small.home[number].tolist() == wanted
        for s, setting in enumerate(branches.settings):
            records = played(changed(setting.world, values), 5, first, POSSESSIONS)
            d = home[:, COLUMN["net"]] - records[:, COLUMN["net"]]
            assert small.settings[number, s, WHOLE].tolist() == [POSSESSIONS, d.sum(), (d * d).sum()]
            for spot in range(1, 1 + setting.n_calls):
                there = d[records[:, COLUMN["first_call"]] == spot]
                assert small.settings[number, s, spot].tolist() == [len(there), there.sum(), (there**2).sum()]
            assert not small.settings[number, s, 1 + setting.n_calls :].any()
    assert small.settings[:, 0, 1, 0].sum() > 200, "the wing trap is called"


def test_a_setting_with_its_own_defence_is_weighed_against_that(scenario: Any) -> None:
    # The corner trap in a man-to-man of its own: its call against that zone, the whole against home.
    text = FRIDAY.read_text(encoding="utf-8").split("[[setting]]")[0]
    text += '[[setting]]\nname = "men"\nzone = "man_to_man"\n[[setting]]\nname = "men, corner"\n'
    text += 'zone = "man_to_man"\n[[setting.call]]\ncall = "man_to_man_corner"\n'
    loaded = scenario_from(tomllib.loads(text), Source(FRIDAY, "friday_night.toml"))
    found = stress(loaded, WORLDS, 100, seed=3, threads=2)
    alone, corner = found.to_dict()["settings"]
    assert alone["own_base"] and corner["own_base"] and not alone["calls"]
    branches = branches_of(pack(loaded))
    assert len(branches.bases) == 1 and loaded.other_defence
    for number in (2, 7):
        values = found.plan.values(number)
        # what is believed otherwise against men stays so much more or less in every variant
        there, here = loaded.constants, at_home(loaded)
        other = {name: value + there.get(name, 0.0) - here.get(name, 0.0) for name, value in values.items()}
        home, base, called = (
            played(changed(world, drawn), 3, 100 * number, 100)
            for world, drawn in (
                (branches.home, values),
                (branches.bases[0], other),
                (branches.settings[1].world, other),
            )
        )
        net = COLUMN["net"]
        whole = home[:, net] - base[:, net]
        assert found.settings[number, 0, WHOLE].tolist() == [100, whole.sum(), (whole**2).sum()]
        at_spot = called[:, COLUMN["first_call"]] == 1
        d = (base[:, net] - called[:, net])[at_spot]
        assert found.settings[number, 1, 1].tolist() == [len(d), d.sum(), (d**2).sum()]
    text = " ".join(stress_text(found.to_dict()).split())
    assert "men, corner" in text and "against staying home" in text


def test_worlds_outside_the_base_rates_are_dropped_and_counted(scenario: Any, small: StressResult) -> None:
    listed = load_stress()
    own = listed.rates["school"]
    points = small.rates["points"]
    middle = float(np.median(points))
    tight = BaseRates(**{**own.model_dump(), "points": (middle - 0.02, middle + 0.02)})
    found = stress(
        scenario, WORLDS, POSSESSIONS, 5, 2, listed=listed.model_copy(update={"rates": {"school": tight}})
    )
    assert (found.home == small.home).all()
    inside = (points >= middle - 0.02) & (points <= middle + 0.02)
    worlds = found.to_dict()["worlds"]
    assert worlds["outside"]["points"] == int((~inside).sum()) > 4
    assert worlds["kept"] == int(found.kept.sum()) <= int(inside.sum())
    assert worlds["kept"] + worlds["dropped"] == worlds["drawn"] == WORLDS
    call = found.to_dict()["settings"][0]["calls"][0]
    assert call["called"] == int(found.settings[found.kept & found.plan.structural(), 0, 1, 0].sum())
    text = stress_text(found.to_dict())
    assert f"{worlds['dropped']} of {WORLDS} variants were dropped" in text
    assert "from memory" in text

    nobody = BaseRates(**{**own.model_dump(), "points": (7.0, 8.0)})
    none = stress(
        scenario, WORLDS, POSSESSIONS, 5, 2, listed=listed.model_copy(update={"rates": {"school": nobody}})
    )
    assert none.to_dict()["worlds"]["kept"] == 0
    assert "No variant was kept" in stress_text(none.to_dict())

    free = stress(scenario, WORLDS, POSSESSIONS, 5, 2, listed=listed.model_copy(update={"rates": {}}))
    assert free.to_dict()["worlds"] | {"dropped": 0} == free.to_dict()["worlds"]
    assert "no base rates are listed" in stress_text(free.to_dict())


def test_result_offers_tables_and_progress_counts_worlds(scenario: Any) -> None:
    seen: list[tuple[int, int]] = []
    found = stress(scenario, 16, 50, threads=2, progress=lambda done, total: seen.append((done, total)))
    assert seen == [(i, 16) for i in range(17)]
    table = found.table()
    assert list(table["call"]) == ["wing", "corner", "short_corner"]
    assert {"share_mean", "value_low", "value_high", "raw_pays", "raw_share_low"} <= set(table.columns)
    worlds = found.worlds()
    assert len(worlds) == 16 and DUMMY in worlds and "home_points" in worlds and "reaction_s" in worlds
    assert ((worlds["reaction_s"] >= 0.2) & (worlds["reaction_s"] <= 0.5)).all()
    assert found.inputs().empty, "too few worlds"


@pytest.mark.parametrize(
    ("asked", "piece"),
    [
        ({"worlds": 100}, "power of two"),
        ({"worlds": 8}, "power of two from 16"),
        ({"worlds": True}, "power of two"),
        ({"worlds": 1 << 20}, "power of two"),
        ({"possessions": 0}, "--possessions"),
        ({"worlds": 1 << 16, "possessions": 1 << 20}, "in all worlds"),
        ({"seed": -1}, "--seed"),
        ({"threads": 0}, "--threads"),
    ],
)
def test_bad_sizes_are_told_in_one_line(scenario: Any, asked: dict[str, Any], piece: str) -> None:
    with pytest.raises(InputError, match=piece) as error:
        stress(scenario, **asked)
    assert "\n" not in str(error.value)


# --- the text ---------------------------------------------------------------------------------------------


def told_result(result: StressResult) -> dict[str, Any]:
    """The JSON of a small run with effects put in, to read the words."""
    found = copy.deepcopy(result.to_dict())
    call = found["settings"][0]["calls"][0]
    kinds = found["worlds"]["kinds"]
    for kind, shown in (("numbers", call["numbers_only"]), ("structure", call)):
        kinds[kind] = {"drawn": 512, "kept": 300}
        shown |= {"kept": 300, "worlds": 300}
        shown["share"] = {"mean": 0.834, "low": 0.8, "high": 0.86}
        shown["raw"] = {"pays": 250, "share": {"mean": 0.8, "low": 0.75, "high": 0.85}}
        shown["value"] = {"mean": 0.21, "low": -0.05, "high": 0.4}
    call["numbers_only"]["share"]["mean"] = 0.951
    call["floor"] = 0.03
    choices = [("none", -0.02), ("half", 0.1), ("all", 0.3)]
    call["by_choice"] = [
        {
            "purpose": "plays",
            "choices": [
                {"choice": c, "said": c, "worlds": 90, "value": {"mean": v, "low": v - 0.1, "high": v + 0.1}}
                for c, v in choices
            ],
        }
    ]
    call["inputs"] = [
        {"name": "reaction_s", "rank_correlation": -0.5, "of_spread": 0.31, "named": True, "direction": -1},
        {
            "name": "tie_up_rate_per_s",
            "rank_correlation": 0.4,
            "of_spread": 0.12,
            "named": True,
            "direction": 1,
        },
        {
            "name": "belief_hold_after_points",
            "rank_correlation": 0.01,
            "of_spread": 0.05,
            "named": True,
            "direction": 0,
        },
        {"name": "sprint_tau_s", "rank_correlation": 0.0, "of_spread": 0.0, "named": False, "direction": 0},
    ]
    return found


def test_share_comes_first_and_inputs_in_words_of_the_trade(small: StressResult) -> None:
    text = stress_text(told_result(small))
    flat = " ".join(text.split())
    assert "Pays in variants of the model, of 100 may be numbers alone" in flat
    assert "wing trap, now and then 83 80 to 86 95" in flat and "pays in 83 of 100 variants" in flat
    assert "Depends on their plays: all 0.30 saved, none 0.02 lost" in flat
    assert (
        "their formation, their plays, how long a handler looks" in flat and "in half of the variants" in flat
    )
    assert flat.index("83 of 100") < flat.index("points a call")
    assert "better with quick reactions to a pass* (31%); better with many held balls (12%)" in flat
    assert "calm after a beaten trap (5%, either way)" in flat
    assert "slow first steps" not in flat and "quick first steps" not in flat
    assert "from memory" in flat and "CAUTION" in flat
    assert max(len(line) for line in text.splitlines()) <= 100
    assert text.isascii()


def test_words_never_claim_certainty_and_tell_nothing_apart(small: StressResult) -> None:
    assert worlds_in_100(1.0) == "more than 99 of 100"
    assert worlds_in_100(0.0) == "fewer than 1 of 100"
    assert worlds_in_100(0.5) == "50 of 100"
    found = told_result(small)
    call = found["settings"][0]["calls"][0]
    nothing = {"mean": None, "low": None, "high": None}
    call |= {"no_difference": True, "share": nothing, "value": nothing}
    assert "no difference in any variant" in stress_text(found)
    call |= {"no_difference": False, "called": 0, "worlds": 0}
    assert "never called in any variant" in stress_text(found)
    assert "Detail" in stress_text(found, with_detail=True)


def test_no_headline_from_few_worlds(small: StressResult) -> None:
    """200 kept ones of a kind: one fewer and no share is told, only the count."""
    found = told_result(small)
    call, kinds = found["settings"][0]["calls"][0], found["worlds"]["kinds"]
    call |= {"kept": LEAST_KEPT, "worlds": LEAST_KEPT}
    kinds["structure"]["kept"] = LEAST_KEPT
    text = " ".join(stress_text(found).split())
    assert "pays in 83 of 100" in text and "A share takes" not in text
    call |= {"kept": LEAST_KEPT - 1, "worlds": LEAST_KEPT - 1}
    kinds["structure"]["kept"] = LEAST_KEPT - 1
    text = " ".join(stress_text(found).split())
    assert (
        "pays in 83" not in text
        and "Worth" not in text.split("wing trap, now and then -")[1].split("----")[0]
    )
    assert "wing trap, now and then too few 95" in text
    assert f"Kept: {LEAST_KEPT - 1} variants in which their ways vary, too. A share takes 200" in text
    assert f"of {LEAST_KEPT - 1} variants (a share takes 200 kept)" in text


def test_a_scenario_without_settings_is_told_so(scenario: Any) -> None:
    found = stress(scenario.model_copy(update={"settings": ()}), 16, 20, threads=1)
    assert "no settings" in stress_text(found.to_dict())
