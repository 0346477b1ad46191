"""Our five with the ball against their traps: what is played, what is counted, and what is said of it."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from report_pages import LAPTOP, PHONE, SMALL
from sheet_files import CALLS, GAME, OWN, with_cell, with_key, write_evening

from engine import cli
from engine.inputs.sheets import load_evening
from engine.inputs.sheets.attack import AttackSide, together
from engine.inputs.sheets.columns import DEFENCES
from engine.report import attack_view as attack_words
from engine.report.attack_view import attack_view, cost_words
from engine.report.page.attack import attack_page
from engine.report.page.shell import origin_words
from engine.report.screen.attack import attack_text
from engine.run.blocks import Runner
from engine.run.size import check_size
from engine.run.watch import watch_numbers
from engine.state.record import COLUMN
from engine.state.words import ESCAPES, EVENTS, OUTCOMES
from engine.study import evening_report
from engine.study.compare import compare
from engine.study.evening_attack import CARRIERS, TRACED, WAYS, attack, pass_out
from engine.study.play import play
from engine.world.pack import pack

pytest_plugins = ("evening_pages",)

N, SEED = 2500, 3
THEIRS = [
    [*CALLS[0], "whose"],
    [*CALLS[1], ""],
    ["", "wing", "every second time", "", "4 9", "nearest two", "catch", "theirs"],
]


def side_of(folder: Path, **sheets: Any) -> AttackSide:
    found = load_evening(
        write_evening(folder, {f"{name}.csv": table for name, table in sheets.items()})
    ).attack
    assert found is not None
    return found


@pytest.fixture(scope="module")
def side(tmp_path_factory: pytest.TempPathFactory) -> AttackSide:
    return side_of(tmp_path_factory.mktemp("attack") / "sheets")


@pytest.fixture(scope="module")
def found(side: AttackSide) -> dict[str, Any]:
    return attack(side, check_size(N, SEED, 2)).to_dict()


# --- what is played -----------------------------------------------------------------------------------------


def test_the_same_five_have_the_ball_and_what_is_not_known_is_said(side: AttackSide, tmp_path: Path) -> None:
    evening = load_evening(write_evening(tmp_path / "sheets"))
    ours, theirs = evening.scenario.defence_team, evening.scenario.offence_team
    attacking = side.scenario
    assert attacking.offence_team == ours and attacking.defence_team.lineup == theirs.lineup
    assert attacking.zone.name == "two_three" and attacking.zone_options["bring_up"] == "extend"
    assert [one.calls[0].name for one in attacking.settings] == ["corner", "short_corner", "wing", "top"]
    said = " ".join(side.assumptions)
    for words in ("defend with is not given", "not charted", "Handling of Copper Kettles", "an average side"):
        assert words in said
    whole = together(attacking)
    assert whole is not None and {call.name for call in whole.calls} <= {
        one.calls[0].name for one in attacking.settings
    }
    regions = [region for call in whole.calls for region in call.ball]
    assert len(regions) == len(set(regions)) > 3


@pytest.mark.parametrize("word", [*DEFENCES, "3-2", "two_three_match_up"])
def test_their_defence_is_played_with_traps_that_fit_it(word: str, tmp_path: Path) -> None:
    found = side_of(tmp_path / "sheets", game=with_key("their_defence", word))
    name = DEFENCES.get(word, DEFENCES.get(f"{word} zone", word))
    assert found.scenario.zone.name == name and found.scenario.settings
    assert "defend with" not in " ".join(found.assumptions)
    for setting in found.scenario.settings:
        assert all(not call.defences or name in call.defences for call in setting.calls)
    pack(found.scenario)


def test_charted_traps_are_theirs_and_ours_stay_ours(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = write_evening(tmp_path / "sheets", {"calls.csv": THEIRS})
    evening = load_evening(folder)
    assert evening.attack is not None
    (setting,) = evening.attack.scenario.settings
    (call,) = setting.calls
    assert setting.name == "their wing trap" and call.only_against == (4, 9) and call.dynamic
    assert "not charted" not in " ".join(evening.attack.assumptions)
    (told,) = evening.attack.charted
    assert told.startswith('Their call "their wing trap": on No. 4, 9')
    own = [one.name for one in evening.scenario.settings if "own" in one.name]
    assert own == ["hammer (own call)"] and len(evening.own_calls) == 1
    monkeypatch.setattr(evening_report, "USUAL", SMALL)
    assert cli.run(["check", str(folder)]) == 0
    said = capsys.readouterr().out
    assert told in said and evening.own_calls[0] in said


def test_handling_on_our_sheet_acts_on_the_attack_alone(tmp_path: Path, side: AttackSide) -> None:
    graded = with_cell(OWN, 2, "handles_pressure", "no")
    found = side_of(tmp_path / "sheets", own=graded)
    before, after = (one.scenario.offence_team.by_number(9) for one in (side, found))
    assert after.handle < before.handle and after.passing < before.passing
    assert "No. 4, 13, 22, 31: average" in " ".join(found.assumptions)
    home = [compare(load_evening(one).scenario, 60, 1).to_dict()["baseline"] for one in (
        write_evening(tmp_path / "a"), write_evening(tmp_path / "b", {"own.csv": graded})
    )]  # fmt: skip
    assert home[0] == home[1]


COUNTS = ("twos", "threes", "free_throws")


def counted(number: int, *made: str) -> list[list[str]]:
    """Our sheet with counts of one man, "made/attempted" in two columns each."""
    table = [[*OWN[0], *(name for kind in COUNTS for name in (kind, f"{kind}_attempted"))]]
    for row in OWN[1:]:
        cells = [part for one in made for part in one.split("/")] if row[0] == str(number) else [""] * 6
        table.append([*row, *cells])
    return table


def test_our_own_counts_act_on_the_attack_alone(
    tmp_path: Path, side: AttackSide, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    good, bad = (
        side_of(tmp_path / name, own=counted(9, *made))
        for name, made in (
            ("good", ("90/120", "60/120", "95/100")),
            ("bad", ("30/120", "20/120", "40/100")),
        )
    )
    better, worse, usual = (one.scenario.offence_team.by_number(9) for one in (good, bad, side))
    assert usual.shot_table is None and better.shot_table is not None and worse.shot_table is not None
    assert worse.free_throw < usual.free_throw < better.free_throw
    assert all(a > b for a, b in zip(better.shot_table.make, worse.shot_table.make, strict=True))
    others = [number for number in side.scenario.offence_team.lineup if number != 9]
    for number in others:
        assert good.scenario.offence_team.by_number(number) == side.scenario.offence_team.by_number(number)
    assert "Copper Kettles, No. 4, 13, 22, 31, shoot as an average side" in " ".join(good.assumptions)
    points = [attack(one, check_size(1000, SEED, 2)).to_dict()["home"]["mean"] for one in (bad, good)]
    assert points[0] < points[1]
    each = [  # every kind by itself, both numbers in one cell
        side_of(
            tmp_path / kind, own=[[*OWN[0], kind], *([*row, "90/100" * (row[0] == "9")] for row in OWN[1:])]
        )
        for kind in COUNTS
    ]
    assert len({one.scenario.offence_team.by_number(9).model_dump_json() for one in (side, *each)}) == 4
    home = [compare(load_evening(one).scenario, 60, 1).to_dict()["baseline"] for one in (
        write_evening(tmp_path / "a"), tmp_path / "good"
    )]  # fmt: skip
    assert home[0] == home[1]
    monkeypatch.setattr(evening_report, "USUAL", SMALL)
    assert cli.run(["check", str(tmp_path / "good")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert re.search(r"Ours, shots made .*?: No\. 9 .*?threes \d+ \(60 of 120\)", said)
    assert "Shooting of Copper Kettles (attack alone), No. 4, 13, 22, 31: the level's average." in said
    alone = [[*OWN[0], "twos"], *([*row, "90"] for row in OWN[1:])]
    found = load_evening(write_evening(tmp_path / "makes", {"own.csv": alone}))
    assert any("Makes of Copper Kettles without attempts" in line for line in found.assumptions)


@pytest.mark.parametrize(
    ("sheets", "words"),
    [
        ({"game.csv": with_key("their_defence", "5-0")}, "their_defence"),
        ({"calls.csv": with_cell(THEIRS, 2, "on_whom", "10")}, "on_whom"),
        ({"calls.csv": with_cell(THEIRS, 2, "whose", "nobody")}, "ours or theirs"),
        ({"own.csv": with_cell(OWN, 2, "handles_pressure", "often")}, "yes, some or no"),
        ({"game.csv": with_key("trap_allowed", "no")}, "No trap advice"),
    ],
)
def test_wrong_input_is_one_line(
    sheets: Any, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["attack", str(write_evening(tmp_path / "sheets", sheets))]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and words in said
    assert cli.run(["attack", "configs/scenarios/friday_night.toml"]) == 2
    assert "a folder of sheets" in capsys.readouterr().err


# --- what is counted ----------------------------------------------------------------------------------------


def test_what_a_trap_costs_is_what_compare_finds(side: AttackSide, found: dict[str, Any]) -> None:
    compared = compare(side.scenario, N, SEED).to_dict()
    assert found["home"]["mean"] == compared["baseline"]["points_per_possession"]["mean"]
    assert len(found["calls"]) == len(compared["settings"]) == 4
    for one, setting in zip(found["calls"], compared["settings"], strict=True):
        (call,) = setting["calls"]
        assert (one["called"], one["value"]) == (call["called"], call["value"])
        lost = call["outcomes"]["steal"] + call["outcomes"]["other_turnover"]
        assert one["lost"]["mean"] == pytest.approx(lost, abs=1e-12)
        assert one["lost"]["low"] < lost < one["lost"]["high"]


def test_ways_out_and_outlets_are_counted_again(side: AttackSide, found: dict[str, Any]) -> None:
    """From the records of the setting played whole, and from every traced possession with its call."""
    packed, five = pack(side.scenario), side.scenario.offence_team.lineup
    seen = elsewhere = tipped = 0
    for s, one in enumerate(found["calls"]):
        world = packed.settings[s].world
        records = Runner(SEED).block(world, 0, N, "again")
        out = records[records[:, COLUMN["outcome"]] == OUTCOMES.index("escape_pass")]
        out = out[out[:, COLUMN["first_call"]] == 1]
        assert [way["to"] for way in one["ways"]] == list(WAYS)
        for i, way in enumerate(one["ways"]):
            mine = (
                out[:, COLUMN["escape"]] == i + 1 if i < len(ESCAPES) else out[:, COLUMN["escape_skip"]] == 1
            )
            points = out[mine, COLUMN["points"]]
            assert way["n"] == len(points)
            if len(points):
                assert way["points"]["mean"] == pytest.approx(points.mean(), abs=1e-12)
            if len(points) >= 30:
                half = 1.959964 * points.std(ddof=1) / np.sqrt(len(points))
                assert way["points"]["high"] - way["points"]["mean"] == pytest.approx(half, rel=1e-5)
        numbers = np.flatnonzero(records[:, COLUMN["first_call"]] == 1)[:TRACED]
        thrown: dict[int, list[bool]] = {}
        for block in watch_numbers(world, SEED, numbers, ()):
            for i, number in enumerate(block.numbers):
                events, how = block.events_of(i), records[int(number), COLUMN["outcome"]]
                passed = pass_out(events)
                if how == OUTCOMES.index("escape_pass"):
                    left = events[events[:, 1] == EVENTS.index("trap_left")][0]
                    if passed is None:  # called on a pass in the air that was tipped to another of ours
                        called = np.flatnonzero(events[:, 1] == EVENTS.index("call"))[0]
                        codes = [EVENTS[int(code)] for code in events[called + 1 : called + 4, 1]]
                        assert codes[0] == "touch" and "recovered" in codes
                        tipped += 1
                        continue
                    assert passed[1] == (int(left[2]) == passed[0])
                    seen += passed[1]
                    elsewhere += not passed[1]
                elif passed is not None:
                    assert not passed[1]
                if passed is not None:
                    thrown.setdefault(five[passed[0]], []).append(passed[1])
        assert {man["number"]: man["passes"] for man in one["outlets"]} == {
            number: len(lost) for number, lost in thrown.items()
        }
        for man in one["outlets"]:
            assert man["safe"]["mean"] == pytest.approx(np.mean(thrown[man["number"]]), abs=1e-12)
    assert seen > 200 and 0 < elsewhere < seen / 5 and tipped < seen / 50


def test_who_brings_it_up_is_played_on_the_same_possessions(side: AttackSide, found: dict[str, Any]) -> None:
    whole = together(side.scenario)
    assert whole is not None
    lineup, points = side.scenario.offence_team.lineup, []
    for k in range(CARRIERS):
        order = [lineup[k], *(lineup[0] if n == lineup[k] else n for n in lineup[1:])]
        team = side.scenario.offence_team.model_copy(update={"lineup": tuple(order)})
        one = side.scenario.model_copy(update={"offence_team": team, "settings": (whole,)})
        points.append(play(one, N, SEED, setting=whole.name).to_dict()["points_per_possession"])
    for k, man in enumerate(found["bring_up"]):
        assert man["number"] == lineup[k]
        assert man["points"]["mean"] == pytest.approx(points[k]["mean"], abs=1e-12)
        assert man["more"]["mean"] == pytest.approx(points[k]["mean"] - points[0]["mean"], abs=1e-12)
        if k:
            assert man["more"]["high"] - man["more"]["low"] < 2 * (points[k]["high"] - points[k]["low"])


def test_it_is_the_same_on_any_number_of_threads(side: AttackSide, found: dict[str, Any]) -> None:
    assert attack(side, check_size(N, SEED, 1)).to_dict() == found


# --- what is said -------------------------------------------------------------------------------------------


def interval(mean: float, half: float = 0.05) -> dict[str, float]:
    return {"mean": mean, "low": mean - half, "high": mean + half}


def test_of_100_traps_all_are_told(found: dict[str, Any]) -> None:
    rows = [dict(call["rows"]).get("Of 100 traps") for call in attack_view(found)["calls"]]
    told = [said for said in rows if said]
    for said in told:
        assert sum(map(int, re.findall(r"\d+", re.sub(r"\(.*?\)", "", said)))) == 100, said
    assert any("other (trap too late, held ball, time-out)" in said for said in told)


def test_the_words_say_what_can_be_told_and_what_not(found: dict[str, Any]) -> None:
    assert cost_words(interval(0.2)) == "costs 0.20 points a call (0.15 to 0.25)"
    assert cost_words(interval(-0.2)) == "brings 0.20 points a call (0.15 to 0.25)"
    assert cost_words(interval(0.02)) == "no clear difference (brings 0.03 to costs 0.07 points a call)"
    corner, short, wing, top = (
        one | {"value": interval(value)}
        for one, value in zip(found["calls"], (0.0, 0.3, 0.12, 0.25), strict=True)
    )
    men = [{"number": n, "points": interval(0.9), "more": interval(more)} for n, more in ((4, 0), (9, 0.02))]
    told = found | {"calls": [corner, short, wing, top], "bring_up": men}
    assert attack_view(told)["answer"] == (
        "No. 4 keeps bringing it up; beware: short corner, top, wing; unsure: corner."
    )
    better = [men[0], men[1] | {"more": interval(0.2)}]
    assert attack_view(told | {"bring_up": better})["answer"].startswith("Let No. 9 bring it up; ")
    assert "None of their traps clearly costs" in attack_view(told | {"calls": [corner]})["answer"]
    assert attack_view(told | {"calls": []})["answer"] == "They have no trap to attack."
    men_ = [
        {"number": 4, "passes": 60, "safe": interval(0.95)},
        {"number": 9, "passes": 50, "safe": interval(0.7)},
    ]
    few = top | {"outlets": men_, "middle_or_skip": interval(-0.3)}
    (view,) = attack_view(told | {"calls": [few]})["calls"]
    rows = dict(view["rows"])
    assert rows["Outlets"] == f"No. 4 is safer than 9 (the first {top['watched']} times)"
    assert rows["Change"].startswith("pass to No. 4 rather than No. 9: 25 (18 to 32) more of 100 arrive")
    alike = {"outlets": [men_[0], men_[0] | {"number": 13}, men_[1]]}
    (same,) = attack_view(told | {"calls": [few | alike]})["calls"]
    assert dict(same["rows"])["Outlets"].startswith("No. 4 and 13 are safer than 9 (")
    assert view["men"] == [("No. 4", "60", "95 (90 to 100)"), ("No. 9", "50", "70 (65 to 75)")]
    text = attack_text(told | {"calls": [few]})
    assert re.search(r"No\. 9 +50 +70 \(65 to 75\)\n", text) and max(map(len, text.splitlines())) <= 80
    assert rows["Middle or skip"] == "the middle brought 0.30 (0.25 to 0.35) fewer points than a skip"
    few = top | {
        "outlets": [men_[0] | {"passes": 3}],
        "middle_or_skip": dict.fromkeys(("mean", "low", "high")),
    }
    rows = dict(attack_view(told | {"calls": [few]})["calls"][0]["rows"])
    assert rows["Outlets"].startswith("cannot tell") and rows["Middle or skip"].startswith("cannot tell: ")
    (rare,) = attack_view(told | {"calls": [top | {"called": 4}]})["calls"]
    assert rare["rows"] == [("Comes", "4 times: not judged")] and rare["ways"] == []


@pytest.mark.parametrize(
    ("safe", "said"),
    [
        ((0.90, 0.88, 0.85), "No. 1, 2 and 3 alike, as far as these tell"),
        # Half-widths of 0.05: errors of a difference 0.0361; of 3 pairs 2.39 of these, of 6 pairs 2.64.
        ((0.90, 0.89, 0.81), "No. 1 is safer than 3; No. 2 not told apart from any"),
        ((0.90, 0.90, 0.81), "No. 1 and 2 are safer than 3"),
        ((0.90, 0.90, 0.82), "No. 1, 2 and 3 alike, as far as these tell"),
        ((0.90, 0.86, 0.86, 0.80), "No. 1 is safer than 4; No. 2 and 3 alike, as far as these tell"),
        ((0.90,), "only No. 1 got passes enough to tell"),
        ((), "cannot tell: too few passes to any man"),
    ],
)
def test_outlets_are_told_apart_beyond_the_luck_of_all_pairs(safe: tuple[float, ...], said: str) -> None:
    men = [{"number": n, "passes": 50, "safe": interval(mean)} for n, mean in enumerate(safe, 1)]
    assert attack_words._outlets(men) == said


def test_what_to_change_is_what_is_told_apart_and_by_how_much() -> None:
    """Half-widths of 0.05: a difference has the error 0.0361; of 3 pairs 2.39 of these, of 6 pairs 2.64."""

    def trap(safe: tuple[float, ...], points: tuple[float, ...]) -> dict[str, Any]:
        men = [
            {"number": n, "passes": 50, "safe": interval(p)} for n, p in zip((4, 9, 13), safe, strict=True)
        ]
        ways = [{"to": to, "points": interval(p)} for to, p in zip(WAYS, (*points, 5.0), strict=False)]
        return {"label": "corner", "called": 400, "outlets": men, "ways": ways}

    def carriers(more: float) -> list[dict[str, Any]]:
        return [{"number": n, "more": interval(of)} for n, of in ((4, 0.0), (9, more))]

    clear, alike = trap((0.9, 0.86, 0.75), (0.9, 0.95, 0.8, 1.1)), trap((0.8,) * 3, (0.9,) * 4)
    assert attack_words._changes(clear) == [
        "pass to No. 4 rather than No. 13: 15 (6 to 24) more of 100 arrive",
        "look for the far man rather than the man up the line: 0.30 (0.20 to 0.40) points more, as those "
        "passes went",
    ]
    both = "against the corner trap " + " and ".join(attack_words._changes(clear))
    assert attack_words._change(carriers(0.02), [alike, clear]) == both
    assert attack_words._change(carriers(0.02), [alike]) == "nothing that can be told apart"
    better = attack_words._change(carriers(0.2), [alike])
    assert better == "No. 9 brings it up, not No. 4: 20.0 (15.0 to 25.0) more points per 100"


def test_what_all_traps_leave_is_explained_and_each_is_watched_as_often_as_it_says(
    found: dict[str, Any],
) -> None:
    corner, short, *_ = found["calls"]
    calls = [
        corner | {"value": interval(0.2), "watched": 12},
        short | {"value": interval(-0.2), "watched": 7},
    ]
    men = [{"number": 4, "points": interval(0.9), "more": interval(0.0)}]
    told = found | {"calls": calls, "bring_up": men, "home": interval(0.92)}
    said = attack_view(told)
    assert said["beside"].startswith(
        f"not clearly fewer against all their traps than without: the {short['label']}"
    )
    assert f"the {short['label']} (" in said["beside"] and f"the {corner['label']} (" not in said["beside"]
    assert "clearly more" in attack_view(told | {"home": interval(0.7)})["beside"]
    assert attack_view(told | {"home": interval(1.1)})["beside"] == "", "their traps cost: nothing to explain"
    for one, n in zip(said["calls"], (12, 7), strict=True):
        assert dict(one["rows"])["Outlets"].endswith(f"(the first {n} times)")
    assert " ".join(said["beside"].split()) in " ".join(attack_text(told).split())


def test_a_legend_stands_only_under_pictures(side: AttackSide, found: dict[str, Any]) -> None:
    seldom = [one | {"called": 4} for one in found["calls"]]
    assert "their runs" in attack_page(side.scenario, found)
    assert "their runs" not in attack_page(side.scenario, found | {"calls": seldom})


@pytest.mark.parametrize("width", [PHONE, LAPTOP])
def test_the_page_shows_what_the_text_says(
    opened: Any, side: AttackSide, found: dict[str, Any], width: int
) -> None:
    page, view = opened(attack_page(side.scenario, found), width), attack_view(found)
    assert page.run("document.documentElement.scrollWidth") <= width
    page.run("document.querySelectorAll('details').forEach(one => { one.open = true })")
    text = " ".join(page.run("document.body.innerText").split())
    assert origin_words(found) in text
    assert view["answer"] in text and view["home"] in text and len(view["answer"].split()) <= 16
    for call in view["calls"]:
        assert all(said in text for _, said in call["rows"])
        assert all(cell in text for row in (*call["ways"], *call["men"]) for cell in row)
    labels = page.run("[...document.querySelectorAll('main svg')].map((e) => e.getAttribute('aria-label'))")
    assert len(labels) == 4 and all("Of 100 passes out" in label for label in labels)


def test_the_command_writes_the_page_and_reads_what_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(evening_report, "USUAL", SMALL)
    folder, target = write_evening(tmp_path / "sheets", {"game.csv": GAME}), tmp_path / "found.json"
    asked = ["attack", str(folder), "-o", str(tmp_path / "page.html"), "--json", str(target)]
    assert cli.run(asked) == 0
    text, said = capsys.readouterr()
    assert "as busy as this machine is now" in said and max(map(len, text.splitlines())) <= 80
    assert (
        "Traceback" not in said and json.loads(target.read_text())["possessions"] == SMALL.attack_possessions
    )
    assert cli.run(asked) == 0
    again, said = capsys.readouterr()
    assert again == text and said == ""
    assert attack_view(json.loads(target.read_text()))["answer"] in (tmp_path / "page.html").read_text()
