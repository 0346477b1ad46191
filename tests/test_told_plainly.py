"""What a coach asked and found no answer to: each is told, in one place, with its reason."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sheet_files import OPPONENT, OWN, write_evening

from engine import cli
from engine.inputs.sheets import load_evening
from engine.report.adapted_view import who_learns
from engine.report.advice_view import advice_dict
from engine.report.attack_view import answer_words
from engine.report.page.page import report_page
from engine.report.screen.lineup import lineup_text, shaky_words
from engine.report.screen.plan import plan_text
from engine.report.screen.timing import timing_text
from engine.report.words import AFTER_WORDS, GLOSSARY
from engine.state.words import EVENTS
from engine.study import adapt
from engine.study.evening_report import Played
from engine.study.evening_result import EveningReport
from engine.study.lineup.advice import told_on
from engine.study.timing import play as timed
from engine.study.timing.links import timing
from engine.study.timing.play import closed_after

pytest_plugins = ("evening_pages",)

FRIDAY = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"


def one_line(text: str) -> str:
    return " ".join(text.split())


# --- a man whom the sheet calls shaky -----------------------


def man(number: int, advice: str, **areas: tuple[float, str]) -> dict[str, Any]:
    found = {area: {"points": points, "do": do} for area, (points, do) in areas.items()}
    return {"number": number, "advice": advice, "areas": found, "traps": [], "why": "w"}


def test_a_shaky_man_who_is_let_shoot_nowhere_is_told_with_the_reason() -> None:
    average = {"mean": 0.99, "low": 0.97}
    guarded = man(12, "deny", wing=(0.98, "guard"), corner=(0.975, "guard"))
    said = shaky_words(guarded, told_on(guarded), average, "shaky")
    assert said.endswith("his best open shot is only 0.01 below their average one, which may be luck")
    better = man(12, "deny", wing=(1.2, "guard"))
    assert shaky_words(better, told_on(better), average, "shaky").endswith("no worse than their average one")
    for shooter in (None, "sure", "ordinary"):
        assert shaky_words(guarded, told_on(guarded), average, shooter) == ""
    left = man(12, "leave", wing=(0.7, "let him shoot"))
    some = man(12, "deny", wing=(0.98, "guard"), corner=(0.7, "let him shoot"))
    assert not any(shaky_words(one, told_on(one), average, "shaky") for one in (left, some))


def test_it_stands_beside_the_man_in_lineup_and_on_the_page(two_calls: EveningReport) -> None:
    shaky = [note for note in two_calls.evening.opponents if note.shooter == "shaky" and note.starts]
    (note,) = (one for one in shaky if not one.shooter_from_makes)
    assert len(shaky) > 1  # whom made threes alone call so is not on the sheet as shaky
    average = two_calls.lineup["average_shot"]
    for points, told in ((average["mean"] - 0.001, True), (average["low"] - 0.2, False)):
        do = "guard" if told else "let him shoot"
        men = [
            man(one["number"], "deny", wing=(points, do)) if one["number"] == note.number else one
            for one in two_calls.lineup["opponent"]
        ]
        lineup = two_calls.lineup | {"opponent": men}
        said = shaky_words(men[note.position - 1], told_on(men[note.position - 1]), average, note.shooter)
        assert bool(said) == told
        text = one_line(lineup_text(lineup | {"evening": two_calls.evening.to_dict()}))
        page = one_line(report_page(dataclasses.replace(two_calls, lineup=lineup), bench=False))
        for output in (text, page):
            assert ("shaky on your sheet" in output) == told and said in output
        assert "shaky on your sheet" not in one_line(lineup_text(lineup))  # no sheet, no word


# --- what of the sheets is not used -----------------------


def test_check_says_of_fouls_whose_number_is_not_used_and_why(tmp_path: Path) -> None:
    """Beside a word for prone, where there are too few, and of theirs always; where they act, not."""

    def lines(name: str, fouls: list[str], prone: str, theirs: str = "") -> tuple[list[str], list[str]]:
        own = [["number", "prone_to_fouls", "fouls"]]
        own += [[row[0], prone, n] for row, n in zip(OWN[1:], fouls, strict=True)]
        opponent = [[*OPPONENT[0], "fouls"], *([*row, theirs] for row in OPPONENT[1:])]
        found = load_evening(write_evening(tmp_path / name, {"own.csv": own, "opponent.csv": opponent}))
        told = ("Fouls of", "Who of Copper Kettles is prone")
        return [line for line in found.assumptions if line.startswith(told)], [
            line for line in found.remarks if line.startswith("Fouls of")
        ]

    many, few = ["40", "41", "42", "43", "99"], ["1", "0", "0", "1", "0"]
    (said,), none = lines("word", many, "no")
    assert none == [] and said.endswith("not used, what stands at prone counts.")
    (said,), _ = lines("few", few, "")
    assert "not used, fewer than " in said and said.startswith("Fouls of Copper Kettles, ")
    (said,), _ = lines("acts", many, "")
    assert said.endswith("1.5 times the mean of fouls; how many more or fewer is not used.")
    _, (theirs,) = lines("theirs", many, "", "7")
    assert theirs == "Fouls of Paper Kites, No. 5, No. 10, No. 12, No. 20, No. 33: not used."


def test_what_is_not_used_of_the_sheets_stands_on_the_report(two_calls: EveningReport) -> None:
    remark = "0 of 3 charted shots are used: of the others, No. 10 (3), the sheet counts more."
    evening = dataclasses.replace(two_calls.evening, remarks=(remark,))
    said = "Not used: 1 of your entries; trapledger check lists them."
    assert said in report_page(dataclasses.replace(two_calls, evening=evening), bench=False)
    bare = dataclasses.replace(two_calls.evening, remarks=())
    assert "Not used:" not in report_page(dataclasses.replace(two_calls, evening=bare), bench=False)


# --- which plan, which call, which traps -----------------------


def test_the_head_of_a_plan_says_whether_they_learn(two_calls: EveningReport) -> None:
    plan = two_calls.plan | {"advice": advice_dict(two_calls)}
    law = {"known_after_traps": 10.0, "possessions": 20_000, "settings": []}
    usual, learns = who_learns(plan), who_learns(plan | {"adapted": law})
    assert usual != learns and learns.startswith("plan --adapted: ")
    for found, mine, other in ((plan, usual, learns), (plan | {"adapted": law}, learns, usual)):
        head = one_line("\n".join(plan_text(found).split("\n\n")[0].splitlines()))
        assert mine in head and other not in head


def test_a_trap_closes_when_both_are_there_after_the_first_call() -> None:
    def events(*rows: tuple[float, str, float]) -> np.ndarray:
        return np.array([[t, EVENTS.index(name), 0, 0, value, 0.0, 0.0] for t, name, value in rows])

    call, left = (0.1, "call", 0.0), (2.0, "trap_left", 0.0)
    assert closed_after(events(call, (1.0, "trap_set", 0.9), left)) == pytest.approx(0.9)
    assert closed_after(events(call, (0.4, "catch", 0.0), (1.0, "trap_set", 0.9), left)) == pytest.approx(0.6)
    assert closed_after(events(call, (0.9, "trap_set", 0.8), (1.0, "catch", 0.0), left)) == 0.0
    assert closed_after(events(call, left, (2.5, "call", 0.0), (3.0, "trap_set", 0.5))) is None
    assert closed_after(events(call)) is None


def test_timing_says_which_call_is_late(monkeypatch: pytest.MonkeyPatch) -> None:
    """As played, and where the figures are apart: the latest first, and named only where luck does not do
    it."""
    monkeypatch.setattr(timed, "TRACED", 4)
    monkeypatch.setattr(timed, "PLAYED", 600)
    found = timing(FRIDAY).to_dict()
    calls = found["after_trap"]
    assert all(0 <= one["closed"] <= one["watched"] <= min(one["called"], timed.CALLED) for one in calls)
    assert any(one["closed"] for one in calls)
    mean = {"mean": 0.8, "low": 0.7, "high": 0.9}
    late, few = {"mean": 1.3, "low": 1.2, "high": 1.4}, {"mean": 1.0, "low": None, "high": None}
    rows = [
        calls[0] | {"closed_s": mean, "closed": 40, "watched": 60},
        calls[1] | {"closed_s": late, "closed": 30, "watched": 50},
        calls[2] | {"closed_s": few, "closed": 3, "watched": 9},
    ]
    first, second, third = (one["call"].replace("_", " ") for one in rows)
    said = one_line(timing_text(found | {"after_trap": rows}))
    assert f"Late calls {second} is the latest. Seconds he has the ball before the second man" in said
    assert (
        f"{second} 1.3 (1.2 to 1.4), closed in 30 of 50; {first} 0.8 (0.7 to 0.9), closed in 40 of 60; "
        f"{third} closed in 3 of 9: too few to say"
    ) in said
    near = [rows[0], rows[1] | {"closed_s": mean | {"mean": 0.85}}]
    assert "no telling which is the latest." in one_line(timing_text(found | {"after_trap": near}))
    assert "second man" not in timing_text(found | {"after_trap": []})


def test_set_again_or_stopped_and_all_five_back_are_two_things_with_two_names() -> None:
    """compare and the report count play that was stopped, too; timing watches for the five alone."""
    assert AFTER_WORDS["reset"][1].endswith("or play stopped")
    assert "or play was stopped" in GLOSSARY["set or stopped"]


def test_the_headline_of_attack_names_every_trap_that_is_weighed() -> None:
    def trap(label: str, low: float | None, mean: float, high: float | None) -> dict[str, Any]:
        value = {"low": low, "mean": mean, "high": high}
        return {"label": label, "call": label, "called": 99, "value": value}

    costs = [trap("corner", 0.2, 0.3, 0.4), trap("wing", 0.05, 0.1, 0.15)]
    brings, open_ = trap("top", -0.3, -0.2, -0.1), trap("short corner", -0.1, 0.0, 0.1)
    seldom = trap("half court", None, 0.0, None)
    found = {"bring_up": [{"number": 4, "points": {"mean": 1.0, "low": 0.9, "high": 1.1}}]}

    def answer(*calls: dict[str, Any]) -> str:
        few = [one | {"called": 0} for one in calls]
        assert answer_words(found, few) == "Their traps come up too seldom here to tell what they cost."
        return answer_words(found, sorted(calls, key=lambda one: -one["value"]["mean"]))

    assert answer(*costs, brings, open_, seldom) == (
        "No. 4 keeps bringing it up; beware: corner, wing; unsure: short corner, half court; good for us: "
        "top."
    )
    assert answer(open_) == "None of their traps clearly costs points; unsure: short corner."


# --- how long adapt takes -----------------------


def test_the_time_said_for_adapt_counts_what_is_learned_from_by_its_own_cost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A possession that is watched option by option takes more than two of those that are only played."""
    played = Played(load_evening(write_evening(tmp_path / "sheets")))
    usual = played.work("adapted")
    more = adapt.LEARNED_FROM * len(played.to_adapt())
    monkeypatch.setattr(
        "engine.study.evening_work.adapt_work", lambda n: adapt.adapt_work(n) + adapt.LEARNED_FROM
    )
    played_more = played.work("adapted") - usual
    monkeypatch.setattr("engine.study.evening_work.LEARNED_FROM", 2 * adapt.LEARNED_FROM)
    learned_more = played.work("adapted") - usual
    assert 0.5 * more < played_more < more and learned_more > 2.0 * played_more


def test_the_report_says_on_the_screen_what_is_not_used(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from report_pages import SECONDS

    from engine.study import evening_report

    monkeypatch.setattr(evening_report, "USUAL", SECONDS)
    shots = [["number", "distance", "unit", "made"], ["99", "5", "m", "no"]]
    folder = write_evening(tmp_path / "sheets", {"shots.csv": shots})
    assert cli.run(["report", str(folder), "-o", str(tmp_path / "page.html")]) == 0
    said = one_line(capsys.readouterr().out)
    assert "Not used - " in said and "No. 99 (1)" in said
    out = tmp_path / "plan.json"
    assert cli.run(["plan", str(folder), "--json", str(out)]) == 0
    assert "do not learn the calls" in one_line(capsys.readouterr().out)
    assert json.loads(out.read_text(encoding="utf-8"))["adapted"] is None
