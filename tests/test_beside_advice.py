"""What stands beside the advice is of what is advised, and why a usual call hardly comes up is said alike."""

from __future__ import annotations

import copy
import dataclasses
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from evening_table import one_line
from report_pages import advising, with_advice

from engine.inputs import load_scenario
from engine.inputs.base import spoken
from engine.inputs.scenario import with_constants
from engine.report.advice_view import advice_dict, own_verdicts, traps_words
from engine.report.page.page import bench_page, report_page
from engine.report.screen.compare import compare_text
from engine.report.screen.plan import late_only, plan_text
from engine.report.seldom_view import why_seldom
from engine.report.words import sentence
from engine.run.blocks import Runner
from engine.study.evening_advice import game_with
from engine.study.evening_result import EveningReport
from engine.study.plan.games import play_games
from engine.study.plan.plan import plan
from engine.study.plan.result import PlanResult
from engine.study.plan.states import PlanWorlds

pytest_plugins = ("evening_pages",)
FRIDAY = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
SEED = 11


@pytest.fixture(scope="module")
def friday() -> Any:
    # traps that strip, so that they pay in few possessions, too, and several are planned
    return with_constants(load_scenario(FRIDAY), {"trap_strip_rate_per_s": 2.0})


@pytest.fixture(scope="module")
def small(friday: Any) -> PlanResult:
    return plan(friday, games=120, seed=SEED, threads=2, table_parts=3)


def test_a_game_with_a_part_of_the_plan_is_of_its_own_traps(small: PlanResult, friday: Any) -> None:
    """Staying home saves nothing and fouls as at home; all calls are the plan; one of them is about what
    games with it alone give, on the same luck: its mean within 0.3
    points, its ends within 3, its traps within a tenth (some of its moments are taken by others)."""
    found = small.to_dict()
    games = {tuple(row["call"] for row in one["calls"]): one for one in found["of_calls"]}
    planned = [c for c, uses in enumerate(small.mix.uses) if uses]
    assert len(planned) >= 2
    every, home = games[tuple(small.calls[c].call.name for c in planned)], games[()]
    assert every["swing"].items() <= found["swing"].items()
    assert (home["swing"]["mean"], home["swing"]["p5"], home["swing"]["p95"]) == (0.0, 0, 0)
    assert home["hard_running_m"] == 0 and home["never_double"] == []
    assert all(man["p_out"] == man["p_home"] for man in home["fouls_expected"])
    assert any(man["p_out"] != man["p_home"] for man in every["fouls_expected"])
    means, metres = 0.0, 0.0
    for c in planned:
        one = games[(small.calls[c].call.name,)]
        means, metres = means + one["swing"]["mean"], metres + one["hard_running_m"]
        alone = replace(small.game_plan, uses=tuple(n * (i == c) for i, n in enumerate(small.mix.uses)))
        really = play_games(Runner(SEED), PlanWorlds(friday, small.calls), alone, 120, 2)
        assert abs(one["swing"]["mean"] - really.swing.mean()) < 0.3
        ends = np.quantile(really.swing, [0.05, 0.95], method="inverted_cdf")
        assert np.abs(ends - (one["swing"]["p5"], one["swing"]["p95"])).max() <= 3
        assert small.games.made[:, c].mean() == pytest.approx(really.made[:, c].mean(), rel=0.1)
    assert means == pytest.approx(every["swing"]["mean"])
    assert metres == pytest.approx(every["hard_running_m"])


def test_a_figure_beside_the_advice_is_of_what_is_advised(small: PlanResult) -> None:
    """Of a plan of several calls one is advised, then none: worth, one game, fouls and legs are of it."""
    found = with_advice(small.to_dict())
    row = found["mix"][0]
    game = game_with(found, [row]) | {"hard_running_m": 77.0}
    game["swing"] = {"mean": 0.44, "low": 0.33, "high": 0.55, "p5": -3, "p95": 5}
    man = game["fouls_expected"][0] | {"number": 99, "p_out": 0.91, "p_home": 0.9}
    game["fouls_expected"] = [man]
    advice = found["advice"] | {"calls": [row], "traps": traps_words(found, [row]), "game": game}
    text = " ".join(plan_text(found | {"advice": advice}).split())
    assert f"what is advised ({traps_words(found, [row])}) saves 0.4 points a game (0.3 to 0.6)" in text
    assert "One game with them, from 3 lost to 5 saved in 90 of 100 games" in text
    assert "No. 99 (his 5th in 91% of games with the traps advised, 90% without" in text
    assert "the traps advised bring about 77 m more" in text and "whole plan" not in text
    late = [one | {"call": "top"} for one in found["late_game"]]
    text = " ".join(plan_text(found | {"advice": advice, "late_game": late}).split())
    assert ("Before that, top is not advised." in text) == (row["call"] != "top")
    assert late_only(late, [{"call": "top"}]) == ""
    home, points = game_with(found, []), found["game_points"]["home"]
    advice |= {"answer": "Stay home.", "calls": [], "often": [], "traps": "", "game": home}
    text = " ".join(plan_text(found | {"advice": advice}).split())
    ends = f"{points['p5']} to {points['p95']} points in 90 of 100 games"
    assert f"One game staying home, they score from {ends}" in text
    assert points["p5"] < points["mean"] < points["p95"]
    for words in ("staying home, nearest to foul trouble", "Legs staying home, nobody runs more"):
        assert words in text
    assert "Worth what" not in text and "does not double" not in text and "traps advised" not in text


def test_why_a_usual_call_hardly_comes_up_is_said_alike(played: EveningReport) -> None:
    """Of a usual call: compare, plan and page give one reason; one of the coach's own stands in the rest."""
    setting = played.scenario.settings[0]
    call = setting.calls[0].name
    row = {"setting": setting.name, "call": call, "called": 3, "only_against": [], "probability": 0.25}
    rare = {"possessions": 3000, "calls": [row | {"chances": 980, "on_all": 980}]}
    compared = copy.deepcopy(played.compare)
    compared["settings"][0]["calls"][0]["called"] = 3
    report = dataclasses.replace(played, compare=compared, seldom=rare)
    why = why_seldom(rare, setting.name, call)
    assert "a chance for it comes 980 times" in why
    advice = advice_dict(report)
    label = next(one["label"] for one in report.plan["calls"] if one["setting"] == setting.name)
    assert advice["not_judged"] == [
        f"{sentence(spoken(label))}: came up 3 times in 3,000 possessions, not judged{why}."
    ]
    texts = (compare_text(compared | {"seldom": rare}), plan_text(report.plan | {"advice": advice}))
    for text in (*texts, one_line(report_page(report))):
        assert why in " ".join(text.split())
    own = dataclasses.replace(played.evening, own_settings=(setting.name,))
    advice = advice_dict(dataclasses.replace(report, evening=own))
    assert advice["not_judged"] == [] and advice["not_advised"][-1].endswith(f"{why}.")


def test_an_own_calls_verdict_is_on_the_first_page_and_the_bench(played: EveningReport) -> None:
    """One short line: advised, planned but not, not planned, or too seldom to judge."""
    setting = played.scenario.settings[0]
    key = {"setting": setting.name, "call": setting.calls[0].name}
    own = dataclasses.replace(
        played, evening=dataclasses.replace(played.evening, own_settings=(setting.name,)), seldom={}
    )
    advised = advising(own, [(0, 0)])
    row = next(one for one in advised.plan["mix"] if (one["setting"], one["call"]) == tuple(key.values()))
    lost = row | {"saves_per_game": dict.fromkeys(("mean", "low", "high"), -1.0)}
    calls = [one | {"why_not": "it is why"} for one in own.plan["calls"]]
    rare = {"possessions": 3000, "calls": [key | {"called": 3, "only_against": [], "probability": 1.0,
                                                  "chances": 3, "on_all": 900}]}  # fmt: skip
    for report, said in (
        (advised, "advised"),
        (
            dataclasses.replace(own, advised=(), plan=own.plan | {"mix": [lost]}),
            "not advised; over whole games",
        ),
        (
            dataclasses.replace(own, advised=(), plan=own.plan | {"mix": [], "calls": calls}),
            "not advised; it is",
        ),
        (
            dataclasses.replace(own, advised=(), plan=own.plan | {"mix": []}, seldom=rare),
            "too seldom to judge (3 in 3,000)",
        ),
    ):
        (line,) = own_verdicts(report)
        assert line.startswith(f"Your {spoken(key['call'])}: {said}") and len(line.split()) < 20
        first = one_line(report_page(report, bench=False)).partition("Their shots")[0]
        assert line in first and first.index(line) < first.index("Staying home")
        (short,) = own_verdicts(report, reason=False)
        assert line.startswith(short[:-1]) and short in one_line(bench_page(report))
