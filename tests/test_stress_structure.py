"""Structural worlds of the stress study: front, plays and rules of deciding are drawn, and told apart."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from engine.inputs import load_alignment, load_constants, load_scenario
from engine.inputs.scenario import constants_against
from engine.inputs.stress import SPECIAL, Rule, Structure, load_stress
from engine.report.screen.stress import stress_text
from engine.run.worlds import changed
from engine.study.sheet.knobs import fitted_rates
from engine.study.stress.stress import StressResult, stress
from engine.study.stress.variants import Variants, draw
from engine.world.pack import pack

WORLDS, POSSESSIONS = 16, 200


@pytest.fixture(scope="module")
def scenario() -> Any:
    """The demo with the wing trap (called most often) and a setting of two calls."""
    loaded = load_scenario("friday_night")
    return loaded.model_copy(update={"settings": (loaded.settings[2], loaded.settings[4])})


@pytest.fixture(scope="module")
def small(scenario: Any) -> StressResult:
    return stress(scenario, WORLDS, POSSESSIONS, seed=5, threads=2)


LOOKS = Rule(label="looks", constants=("look_s", "look_again_s"), choices={"short": 0.5, "long": 2.0})
OTHER_WAYS = Structure(
    source="invented", alignments=("overload",), plays=("all", "half", "none"), rules={"looks": LOOKS}
)


def test_structural_worlds_are_what_pack_makes_of_the_same_choices(scenario: Any) -> None:
    """Front, plays and rules: as if a scenario had them; the first half of the worlds has the scenario's."""
    listed = load_stress().model_copy(update={"structure": OTHER_WAYS})
    worlds = 64
    plan = draw(scenario, listed, worlds, 5)
    variants = Variants(scenario, listed, plan)
    known = load_constants()
    seen = set()
    for number in range(worlds):
        chosen = plan.chosen(number)
        assert bool(chosen) == (number >= worlds // 2)
        here = {n: v for n, v in plan.values(number).items() if n not in SPECIAL}
        constants = constants_against(scenario, scenario.zone) | here
        alignment, plays = scenario.alignment, scenario.plays
        if chosen:
            assert chosen.keys() == {"front", "plays", "looks"}
            alignment = load_alignment(chosen["front"])
            for name in LOOKS.constants:
                value = scenario.constants[name] * LOOKS.choices[chosen["looks"]]
                constants[name] = min(max(value, known[name].low), known[name].high)
        found = variants.plan_of(number)
        run = found.home["steps"]["against"][0] != 0
        steps = np.repeat(np.arange(len(plays)), [len(play.steps) for play in plays])
        on = tuple(plays[i] for i in dict.fromkeys(steps[run[: len(steps)]].tolist()))
        which = chosen.get("plays", "all")
        assert {"all": len(on) == len(plays), "none": not on, "half": len(on) < len(plays)}[which]
        seen.add((*chosen.values(), len(on)))
        # all defences are zones: what holds against home's kind, in place of the level's two
        like = scenario.model_copy(
            update={"constants": constants, "other_defence": {}, "alignment": alignment}
        )
        wanted = pack(like)
        special = {name: value for name, value in plan.values(number).items() if name in SPECIAL}
        pairs = [(found.home, wanted.home)]
        pairs += [
            (one.world, other.world) for one, other in zip(found.settings, wanted.settings, strict=True)
        ]
        for world, packed in pairs:
            other = changed(packed, special)
            other["steps"]["against"][0, : len(steps)][~run[: len(steps)]] = 0
            assert world.tobytes() == other.tobytes()
    halves = {one[3] for one in seen if len(one) == 4 and one[1] == "half"}
    assert len(seen) > 10 and len(halves) >= 3, "each play by its own draw"


def test_a_structural_choice_hangs_on_its_own_world_and_purpose_alone(scenario: Any) -> None:
    listed = load_stress().model_copy(update={"structure": OTHER_WAYS})
    more = OTHER_WAYS.model_copy(
        update={
            "rules": {"more_noise": LOOKS.model_copy(update={"constants": ("noise_points",)})}
            | OTHER_WAYS.rules
        }
    )
    one, other = (
        draw(scenario, listed.model_copy(update={"structure": structure}), 256, 5)
        for structure in (OTHER_WAYS, more)
    )
    for number in range(128, 256):
        assert one.chosen(number).items() <= other.chosen(number).items()
    for purpose, choices in one.choices.items():  # evenly: 128 draws, 4 standard errors
        for choice in choices:
            n, p = sum(one.chosen(number).get(purpose) == choice for number in range(256)), 1 / len(choices)
            assert abs(n - 128 * p) < 4 * (128 * p * (1 - p)) ** 0.5
    assert draw(scenario, listed, 256, 6).chosen(200) != one.chosen(200) or draw(
        scenario, listed, 256, 6
    ).chosen(201) != one.chosen(201)


def test_shares_stand_apart_by_kind_of_world(scenario: Any, small: StressResult) -> None:
    """Numbers alone: the same worlds as without a structure; the rest is pooled by choice, from the sums."""
    assert small.plan.structural().tolist() == [False] * 8 + [True] * 8
    none = load_stress().model_copy(update={"structure": None})
    alone = stress(scenario, WORLDS, POSSESSIONS, seed=5, threads=2, listed=none)
    assert (alone.settings[:8] == small.settings[:8]).all() and (alone.home[:8] == small.home[:8]).all()
    assert (alone.home[8:] != small.home[8:]).any(axis=1).all()
    found, before = small.to_dict(), alone.to_dict()
    assert before["structure"] is None and list(before["worlds"]["kinds"]) == ["numbers"]
    kinds = found["worlds"]["kinds"]
    assert [kinds[kind]["drawn"] for kind in ("numbers", "structure")] == [8, 8]
    assert kinds["numbers"]["kept"] + kinds["structure"]["kept"] == found["worlds"]["kept"]
    call = found["settings"][0]["calls"][0]
    own = small.kept & (np.arange(WORLDS) >= 8)
    assert call["kind"] == "structure" and call["called"] == int(small.settings[own, 0, 1, 0].sum())
    own = small.kept & (np.arange(WORLDS) < 8)
    assert call["numbers_only"]["called"] == int(small.settings[own, 0, 1, 0].sum())
    assert [one["purpose"] for one in call["by_choice"]] == list(small.plan.choices)
    for one in call["by_choice"]:
        said = [part["said"] for part in one["choices"]]
        assert one["purpose"] != "front" or set(said) <= {"one guard", "two guards", "overload"}
        for part in one["choices"]:
            there = small.kept & np.array([c.get(one["purpose"]) == part["choice"] for c in small.chosen])
            n, total = small.settings[there, 0, 1, :2].sum(axis=0).tolist()
            assert part["value"]["mean"] == (pytest.approx(total / n) if n else None)
    assert set(small.worlds().columns) >= {"front", "plays", "looks"}


def test_what_has_one_choice_is_not_said_to_vary(scenario: Any) -> None:
    alone = OTHER_WAYS.model_copy(update={"alignments": (), "plays": ("none",)})
    found = stress(scenario, 16, 30, 5, 2, listed=load_stress().model_copy(update={"structure": alone}))
    assert [one["purpose"] for one in found.to_dict()["structure"]["drawn"]] == ["looks"]
    text = " ".join(stress_text(found.to_dict()).split())
    assert "are from, looks differ, too" in text
    assert found.chosen[0] == {} and all(one["plays"] == "none" for one in found.chosen[8:])


def test_a_structure_in_which_nothing_varies_halves_no_worlds(scenario: Any) -> None:
    """One choice each: no structural worlds, the forced choice in all, nothing said of ways that differ."""
    forced = Structure(source="invented", plays=("none",))
    listed = load_stress().model_copy(update={"structure": forced})
    plan = draw(scenario, listed, 16, 5)
    assert not plan.varies and not plan.structural().any()
    assert all(plan.chosen(number)["plays"] == "none" for number in range(16))
    variants = Variants(scenario, listed, plan)
    assert all((variants.plan_of(number).home["steps"]["against"] == 0).all() for number in (0, 15))
    found = stress(scenario, WORLDS, POSSESSIONS, seed=5, threads=2, listed=listed).to_dict()
    assert list(found["worlds"]["kinds"]) == ["numbers"] and found["structure"] is None
    assert found["settings"][0]["calls"][0]["kind"] == "numbers"
    assert "differ in their numbers only" in " ".join(stress_text(found).split())
    usual = Structure(source="invented")
    for structure in (usual, None):  # nothing to choose is no structure
        same = draw(scenario, listed.model_copy(update={"structure": structure}), 16, 5)
        assert not same.varies and not same.structural().any()


def test_no_world_is_dropped_by_rates_of_a_fitted_opponent(scenario: Any) -> None:
    """Ranges that no world meets: all are dropped, but where the rates are the opponent's own; it is said."""
    listed = load_stress()
    level = scenario.level
    odd = listed.rates[level].model_copy(update={"points": (9.0, 9.5), "turnovers": (0.98, 0.99)})
    wide = {"points": (0.0, 9.5), "turnovers": (0.0, 0.99)}
    found = []
    for rates, own in ((odd, ()), (odd, ("turnovers", "points")), (odd.model_copy(update=wide), ())):
        one = listed.model_copy(update={"rates": {level: rates}})
        found.append(
            stress(scenario, WORLDS, POSSESSIONS, seed=5, threads=2, listed=one, not_asked=own).to_dict()
        )
    asked, fitted, open_ = (one["worlds"] for one in found)
    assert asked["kept"] == 0 and fitted["kept"] == open_["kept"] > 0
    assert fitted["not_asked"] == ["points", "turnovers"] and asked["not_asked"] == []
    assert fitted["outside"] == open_["outside"] and asked["outside"]["points"] == WORLDS
    said = [
        "dropped for its points conceded and turnovers" in " ".join(stress_text(r).split()) for r in found
    ]
    assert said == [False, True, False]
    lost = {"knob": "losses", "value": 0.1, "rate": "turnovers"}
    assert fitted_rates({}) == () == fitted_rates({"followed": [], "reluctance": {}})
    assert fitted_rates({"followed": [], "reluctance": {"two 5": 0.1}}) == ("points",)
    assert fitted_rates({"followed": [lost], "reluctance": {"two 5": 0.1}}) == ("points", "turnovers")
