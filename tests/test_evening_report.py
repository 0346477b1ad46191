"""What the report advises, and where its pictured shots come from."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from engine.inputs import load_scenario
from engine.kernel.batch import trace_possession
from engine.report.advice_view import MOST_WORDS, headline, not_advised
from engine.report.seldom_view import not_judged, why_seldom
from engine.run.size import RunSize
from engine.state.record import COLUMN
from engine.state.words import Event
from engine.study import evening_advice as study
from engine.study.compare import compare
from engine.study.court_shots import call_of, court_shots, shots_of
from engine.study.evening_advice import advised_calls, planned_calls
from engine.study.play import play
from engine.study.seldom import came_up, seldom
from engine.study.stress.stress import LEAST_KEPT
from engine.world.court import build_court
from engine.world.pack import pack

ROOT = Path(__file__).parents[1]
SCENARIO = ROOT / "configs" / "scenarios" / "friday_night.toml"


def formations(worth: dict[int, float | None], verdict: str = "open") -> dict[str, Any]:
    """As if the first call of these settings were worth this over the likely formations."""
    heads = [{"title": "high post"}, {"title": "overload"}]
    settings = []
    for s, mean in worth.items():
        value = {"mean": mean, "low": mean and mean - 0.1, "high": mean and mean + 0.1}
        by = [{"verdict": verdict, "value": value}] * 2
        settings.append({"setting": s, "calls": [{"value": value, "by_formation": by}]})
    return {"formations": heads, "settings": settings}


def test_the_plan_is_advised_only_where_it_pays_in_most_worlds() -> None:
    def call(share: float | None) -> dict[str, Any]:
        return {"calls": [{"share": {"mean": share}}]}

    planned = ((0, 0), (3, 0), (4, 0))
    over = formations({0: 0.2, 3: 0.2, 4: 0.2})
    stress = {"worlds": {"kept": 20}, "settings": [call(0.59), call(0.61), call(0.95)]}
    assert advised_calls(planned, (0, 3, 4), stress, over) == ((3, 0), (4, 0))
    stress["settings"] = [call(None), call(0.2), call(0.3)]
    assert advised_calls(planned, (0, 3, 4), stress, over) == ()
    stress["settings"] = [call(0.9), call(0.9), call(0.9)]
    assert advised_calls(planned, (0, 3, 4), stress, over) == ((0, 0), (3, 0))
    over = formations(
        {0: -0.01, 3: 0.2, 4: None}
    )  # over their likely formations together it costs; it never comes
    assert advised_calls(planned, (0, 3, 4), stress, over) == ((3, 0),)
    assert advised_calls(planned, (0, 3, 4), None, over) == ((3, 0),)


def test_why_a_planned_call_is_not_advised() -> None:
    """It fails in the variants, or they are too few: the answer claims no more."""
    setting = SimpleNamespace(name="corner trap", calls=[SimpleNamespace(name="corner")])
    scenario = SimpleNamespace(settings=[setting])
    row = {"setting": "corner trap", "call": "corner", "saves_per_game": {"mean": 0.2}}
    care = SimpleNamespace(trap_advice_allowed=True)
    for share, kept, why in (
        (None, 2, "2 variants only: too few to say"),
        (0.3, 2, "ahead as played in 1 of 2 variants with other numbers, formation, plays and habits (600"),
        (0.3, 200, "pays in 30 of 100 (2 variants with other numbers, formation, plays and habits;"),
    ):
        share_of = {"mean": share, "low": share, "high": share}
        found = {"share": share_of, "worlds": 2, "kind": "structure", "kept": kept, "raw": {"pays": 1}}
        report: Any = SimpleNamespace(
            planned=((0, 0),), advised=(), weighed=(0,),
            stress={
                "settings": [{"calls": [found]}], "possessions": 600, "worlds": {"least_kept": LEAST_KEPT}
            },
            scenario=scenario, evening=SimpleNamespace(care=care, own_settings=()), plan={"mix": [row]},
            formations=formations({0: 0.2}), seldom={},
        )  # fmt: skip
        (said,) = not_advised(report)
        assert why in said and ("of 100" in said) == (kept >= LEAST_KEPT)
        assert "surely" in headline(report) and len(headline(report).split()) <= MOST_WORDS
    found["share"] = {"mean": 0.9, "low": 0.9, "high": 0.9}
    report.formations = formations({0: -0.05})
    assert not_advised(report) == [
        "Planned, not advised: corner; saves in neither; no clear difference: high post, overload; together "
        "no clear difference (0.15 lost to 0.05 saved points a call)."
    ]
    assert headline(report) == "Stay home: no trap saves points over their likely formations."


@pytest.mark.parametrize(
    ("kept_for", "probability", "chances", "on_all", "why"),
    [
        ([6, 12], 1.0, 11, 951, "only for No. 6 and 12: they get a chance for it 11 times in 20,000"),
        ([33], 0.5, 0, 1982, "only for No. 33: he never gets a chance for it in 20,000 possessions, all five "
         "together 1,982 times"),
        ([15], 0.25, 61, 61, "whoever has the ball, a chance for it comes only 61 times in 20,000 poss"),
        ([15], 1.0, 0, 1, "whoever has the ball, a chance for it comes only once in 20,000 possessions"),
        ([6], 0.2, 90, 900, "all five together 900 times; you make it at 1 in 5 chances"),
        ([], 0.25, 980, 980, "a chance for it comes 980 times in 20,000 possessions; you make it at 1 in 4"),
        ([], 1.0, 980, 980, ""),
    ],
)  # fmt: skip
def test_why_a_call_hardly_comes_up(
    kept_for: list[int], probability: float, chances: int, on_all: int, why: str
) -> None:
    row = {"setting": "fox (own call)", "call": "fox, top", "called": 3, "only_against": kept_for}
    row |= {"probability": probability, "chances": chances, "on_all": on_all}
    found = {"possessions": 20_000, "calls": [row]}
    said = why_seldom(found, "fox (own call)", "fox, top")
    assert why in said and bool(why) == bool(said)
    assert why_seldom(found, "another", "fox, top") == why_seldom({}, "fox (own call)", "fox, top") == ""
    (told,) = not_judged(found, {("fox (own call)", "fox, top"): "fox, top"})
    assert told == f"Fox, top: came up 3 times in 20,000 possessions, not judged{said}."
    often = row | {"only_against": [12], "probability": 0.5, "chances": 7, "on_all": 1982, "called": 6}
    said = why_seldom(found | {"calls": [often]}, "fox (own call)", "fox, top")
    assert "a chance for it 7 times" in said and "you make it" not in said  # made nearly every time
    assert not_judged(found, {("corner trap", "fox, top"): "fox"}) == not_judged({}, {}) == []


def test_a_call_that_hardly_comes_up_is_tried_at_every_chance() -> None:
    """Top on number 7 alone: how often it could come to him, and to all five."""
    scenario = load_scenario(SCENARIO)
    top = next(s for s in scenario.settings if s.calls[0].name == "top")
    on_him = top.calls[0].model_copy(update={"only_against": (scenario.offence_team.lineup[4],)})
    rare = scenario.model_copy(
        update={"settings": (top, top.model_copy(update={"name": "on him", "calls": (on_him,)}))}
    )
    compared = compare(rare, 600, 1, 1).to_dict()
    every = compared["settings"][0]["calls"][0]["called"]
    size = RunSize(600, 1, 1)
    assert every > 5 and seldom(rare, compared, size, least=0) is None
    found = seldom(rare, compared, size, least=every)
    assert found is not None
    (row,) = found.to_dict()["calls"]
    assert row["setting"] == "on him" and row["only_against"] == list(on_him.only_against)
    assert row["called"] <= row["chances"] < every <= row["on_all"]  # made every second time, and every time


def test_how_often_a_call_comes_is_what_playing_it_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    scenario, size = load_scenario(SCENARIO), RunSize(2000, 5, 2)
    settings = tuple(one for one in scenario.settings if len(one.calls) == 1)
    calls = [play(scenario, 2000, 5, 2, one.name).to_dict(steps=False)["calls"] for one in settings]
    counts = [one[0]["called"] for one in calls]
    monkeypatch.setattr("engine.study.seldom.play", lambda *_: pytest.fail("home knows"))
    assert came_up(scenario, settings, size) == counts and min(counts) > 50
    monkeypatch.undo()
    own = settings[0].model_copy(update={"plays": ()})  # home does not watch it
    alone = play(scenario.model_copy(update={"settings": (own,)}), 2000, 5, 2, own.name)
    without = alone.to_dict(steps=False)["calls"][0]["called"]
    seen: list[tuple[int, int]] = []
    found = came_up(scenario, (own, settings[1]), size, lambda done, total: seen.append((done, total)))
    assert found == [without, counts[1]] and without != counts[0]
    assert seen == sorted(seen) and seen[-1] == (4000, 4000)


def test_every_planned_call_that_is_not_advised_is_told() -> None:
    """Also the fourth, which is not weighed over variants, and one that saves nothing over whole games. The
    reason is that two are advised at most and its worth, beside the least of those."""

    def interval(mean: float) -> dict[str, float]:
        return {"mean": mean, "low": mean - 0.07, "high": mean + 0.07}

    names = ("corner", "wing", "top", "short_corner", "half_court")
    settings = [SimpleNamespace(name=f"{name} trap", calls=[SimpleNamespace(name=name)]) for name in names]
    mix = [
        {"setting": f"{name} trap", "call": name, "saves_per_game": interval(0.4 - 0.1 * i)}
        for i, name in enumerate(names)
    ]
    pays = {"share": {"mean": 0.9, "low": 0.8, "high": 1.0}, "worlds": 20, "kind": "numbers"}
    report: Any = SimpleNamespace(
        planned=((0, 0), (1, 0), (2, 0)), advised=((0, 0), (1, 0)), weighed=(0, 1, 2),
        plan={"mix": mix[::-1]}, stress={"settings": [{"calls": [pays]}] * 3},
        scenario=SimpleNamespace(settings=settings), formations=formations({0: 0.2, 1: 0.2, 2: 0.2}),
        seldom={}, evening=SimpleNamespace(own_settings=()),
    )  # fmt: skip
    assert not_advised(report) == [
        "Planned, not advised: top; two are advised at most, and it saves 0.2 points a game (0.1 to 0.3), "
        "0.1 fewer than wing, which may be luck.",
        "Planned, not advised: short corner; two are advised at most, and it saves 0.1 points a game "
        "(0.03 to 0.2), 0.2 fewer than wing.",
        "Planned, not advised: half court; over whole games it saves nothing.",
    ]


def test_the_plans_calls_by_what_they_save_each_spot_once() -> None:
    scenario = load_scenario(SCENARIO)
    names = [(s.name, c.name, c.spot) for s in scenario.settings for c in s.calls]
    rows = [
        {"setting": s, "call": c, "spot": spot, "saves_per_game": {"mean": 0.1 * i - 0.05}}
        for i, (s, c, spot) in enumerate(names)
    ]
    found = planned_calls(scenario, {"mix": rows})
    order = [row for row in reversed(rows) if row["saves_per_game"]["mean"] > 0]
    spots = list(dict.fromkeys(row["spot"] for row in order))[: study.MOST_WEIGHED]
    assert [scenario.settings[s].calls[c].spot for s, c in found] == spots
    assert planned_calls(scenario, {"mix": []}) == ()


# --- where shots come from ----------------------------------------------------------------------------------


def test_traced_shots_are_those_of_the_record() -> None:
    scenario = load_scenario(SCENARIO)
    world, court = pack(scenario).home, build_court(scenario.rules)
    open_m, seen = scenario.constants["open_shot_m"], 0
    for number in range(60):
        trace = trace_possession(world, 3, number)
        record = {name: int(trace.record[i]) for name, i in COLUMN.items()}
        if record["shooting_fouls"]:
            continue  # a fouled miss is a shot but no attempt
        shots = shots_of(trace.events, court, 1.0)
        seen += len(shots)
        assert len(shots) == record["fga"]
        assert sum(shot.three for shot in shots) == record["three_attempts"]
        assert sum(shot.region == "rim" for shot in shots) <= record["rim_attempts"]
        open_threes = sum(shot.three and shot.gap_m > open_m for shot in shots)
        assert open_threes == record["open_threes"]
    assert seen > 30


def test_the_call_is_turned_to_the_right_and_both_start_at_the_call() -> None:
    scenario = load_scenario(SCENARIO)
    found = court_shots(scenario, 0, 0, 3, 10)
    assert found.possessions == 10 and found.found > 10 and found.called is not None
    world, court = pack(scenario).settings[0].world, build_court(scenario.rules)
    expected, sides, number = [], set(), 0
    while len(sides) < 2 or number < 40:
        trace = trace_possession(world, 3, number)
        number += 1
        if int(trace.record[COLUMN["first_call"]]) != 1:
            continue
        since, side = call_of(trace.events)
        sides.add(side)
        call = next(e for e in trace.events if e[1] == Event.CALL)
        assert call[5] * side > 0.0, "the call comes to lie on the right"
        expected += shots_of(trace.events, court, side, since)
    same = [shot for shot, other in zip(found.called, expected, strict=False) if shot == other]
    assert len(same) == min(len(found.called), len(expected)) > 0
