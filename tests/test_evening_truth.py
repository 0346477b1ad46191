"""One evening, one answer: every output of the example evening tells the same figure for the same question.

What is kept beside the sheets is read again, made anew where it must be, and never trusted when damaged.
"""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from evening_table import Evening as Table
from evening_table import agree, men_told, named, one_line, ordered, outputs, ran, replayed
from report_pages import PLANNED, advising

from engine import cli
from engine.inputs.base import spoken
from engine.inputs.sheets import load_evening
from engine.report.adapted_view import adapted_words, law_words
from engine.report.formations_view import call_words
from engine.report.page.answer import MODEL
from engine.report.page.page import bench_page, report_page
from engine.report.screen.compare import compare_text, in_100
from engine.report.screen.lineup import trap_words
from engine.report.screen.plan import plan_text
from engine.report.screen.sheet import sheet_lines
from engine.report.sheet_view import sheet_told, sheet_view
from engine.report.words import MODELS_FAULT, around, saved, times
from engine.study import adapt, evening_report, pace
from engine.study.evening_advice import MOST_ADVISED
from engine.study.evening_file import NAME, EveningFile, inputs_digest
from engine.study.lineup.advice import told_on

EXAMPLE = Path(__file__).parents[1] / "configs" / "sheets" / "example_evening"


def plan_alone(planned: tuple[Any, ...], *_: Any) -> tuple[Any, ...]:
    """What is planned is advised, in however few worlds it pays: so the answer has figures to compare."""
    return planned[:MOST_ADVISED]


def told_by(folder: Path) -> tuple[dict[str, str], str]:
    """Every output of an evening by name, each as one line, and what was said beside them."""
    found, said = outputs(folder, folder.parent)
    return {name: text if name.endswith("json") else one_line(text) for name, text in found.items()}, said


@pytest.fixture(scope="module")
def walked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example evening with everything played once."""
    folder = tmp_path_factory.mktemp("truth") / "sheets"
    shutil.copytree(EXAMPLE, folder, ignore=shutil.ignore_patterns(f"{NAME}*"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(evening_report, "USUAL", PLANNED)
        patch.setattr(evening_report, "advised_calls", plan_alone)
        page = str(folder.parent / "first.html")
        assert cli.run(["report", str(folder), "--zone-or-men", "-o", page, "--quiet"]) == 0
    return folder


@pytest.fixture(scope="module")
def written(walked: Path) -> dict[str, str]:
    """Every output as it is written."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(evening_report, "USUAL", PLANNED)
        patch.setattr(evening_report, "advised_calls", plan_alone)
        found, said = outputs(walked, walked.parent)
    assert said == ""  # nothing is played again
    return found


@pytest.fixture(scope="module")
def told(written: dict[str, str]) -> dict[str, Any]:
    found = {name: text if name.endswith("json") else one_line(text) for name, text in written.items()}
    return found | {name: json.loads(found[name]) for name in ("compare.json", "plan.json")}


# --- one figure for one question ----------------------------------------------------------------------------

#: Outputs that answer each question about a call that is advised.
ANSWERED = {
    "worth of a call": {"compare", "plan", "page", "compare.json", "plan.json"},
    "uses a game": {"plan", "page", "said", "bench", "plan.json"},
    "is advised": {"plan", "page", "said", "bench", "plan.json"},
    "stop rule": {"plan", "page", "bench", "plan.json"},
    "late call": {"plan", "page", "plan.json"},
    "whom to trap": {"lineup", "page", "bench", "lineup.json"},
    "comes first in": {"replay", "compare.json"},
    "men or zone": {"plan", "page", "said", "plan.json"},
    "men or the calls": {"plan", "page", "said", "plan.json"},
    "men in a game": {"plan", "page", "plan.json"},
}


def test_every_question_has_one_answer_in_all_outputs(
    walked: Path, written: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(evening_report, "USUAL", PLANNED)
    evening, advised = Table(written), 0
    for call in evening.calls():
        n = evening.json["compare"]["possessions"]
        replay = replayed(walked, call["setting"], n, walked.parent)
        rows = Table(written | {"replay": replay}).answers(call)
        for row in rows:
            assert agree([said for _, _, said in row.cells]), row
        if any(row.question == "whom to trap" and row.cells for row in rows):
            advised += 1
            assert {row.question: ANSWERED[row.question] - row.outputs() for row in rows} == dict.fromkeys(
                ANSWERED, set()
            )
    assert 1 <= advised <= MOST_ADVISED


@pytest.mark.parametrize(
    ("output", "pattern", "put", "question"),
    [
        ("compare", r"(Worth +saves )\d", r"\g<1>9", "worth of a call"),
        ("page", r'(data-label="Before the bonus">saves )\d', r"\g<1>9", "worth of a call"),
        ("bench", r"(up to )\d+( of)", r"\g<1>99\g<2>", "uses a game"),
        ("plan", r"(\bcorner:\s+up\s+to\s+)\d+", r"\g<1>99", "uses a game"),
        ("plan", r"(\d+ +)yes ", r"\g<1>no ", "is advised"),
        ("said", r"$", "Planned, not advised: short corner; it is not.", "is advised"),
        ("page", r"(calling )[a-z ]+( at every chance|\b helps)", r"\g<1>nobody\g<2>", "late call"),
        ("bench", r"trap pays: [a-z, ]+", "trap pays: nobody", "whom to trap"),
        ("page", r"(Without traps man-to-man \D*)\d+", r"\g<1>99", "men or zone"),
        ("said", r"(With\s+the\s+advised\s+calls\s+the\s+zone\D*)\d+", r"\g<1>99", "men or the calls"),
        ("plan", r"(per\s+100\s+possessions, \D*)\d+(?=[^;]*of \d+;)", r"\g<1>99", "men in a game"),
    ],
)
def test_another_figure_in_one_output_is_found(
    output: str, pattern: str, put: str, question: str, written: dict[str, str]
) -> None:
    changed, n = re.subn(pattern, put, written[output])
    assert n, f"{output} does not say it of this evening"
    evening = Table(written | {output: changed})
    rows = [row for call in evening.calls() for row in evening.answers(call) if row.question == question]
    assert not all(agree([said for _, _, said in row.cells]) for row in rows)


def test_zone_or_men_is_in_the_figures_of_compare_and_plan(told: dict[str, Any]) -> None:
    compared, plan = told["compare.json"], told["plan.json"]
    found, swing = plan["zone_or_men"], plan["advice"]["game"]["swing"]
    for label, words in found["lines"]:
        assert f"{label} {one_line(words)}" in told["plan"] and one_line(words) in told["page"]
    assert one_line(found["verdict"]) in told["said"]
    assert found["zone"]["points_per_possession"] == compared["baseline"]["points_per_possession"]
    assert found["game"]["possessions"] == plan["possessions_per_game"]
    calls = found["rows"]["calls"]["per_game"]  # what the plan says of a game with what is advised
    assert calls == pytest.approx({end: swing[end] for end in calls})


def test_the_sheet_beside_the_model_is_one_table(walked: Path, told: dict[str, Any]) -> None:
    evening = load_evening(walked)
    file = EveningFile(walked, inputs_digest(evening), lambda line: pytest.fail(line))
    kept = evening_report.Played(evening, effort=PLANNED, file=file)
    assert kept.missing("sheet") == []
    found = kept.part("sheet")
    view = sheet_view(found)
    assert view is not None and len(view["rows"]) == len(found["rows"]) >= 15
    assert one_line("\n".join(sheet_lines(found))) in told["said"]
    for row in view["rows"]:
        assert " ".join(text for text in (row["label"], *row["cells"]) if text) in told["page"], row["label"]
    assert all(line in told["page"] for line in [*view["notes"], view["advice"]])
    assert view["names"][-2] == "tonight" and found["met"] == evening.met.word == "both"
    rates = {row["key"]: row["tonight"] for row in found["rows"] if row["number"] is None}
    home = told["compare.json"]["baseline"]["rates"]
    assert rates["threes"] == home["three_attempts"]["mean"]
    assert rates["three_point"] == home["three_point"]["mean"]
    # who shoots tonight is carried over: within what the luck of the sheet's own counts allows
    assert found["fit"]["tonight"]["kind"] == evening.scenario.zone.kind == "zone"
    men = [row for row in found["rows"] if row["key"] == "shots"]
    assert len(men) == 5 and all(row["sheet"]["low"] <= row["tonight"] <= row["sheet"]["high"] for row in men)
    assert "tonight, says the model" not in sheet_told(found)


def test_a_call_is_worth_the_same_everywhere(told: dict[str, Any]) -> None:
    compared, plan = told["compare.json"], told["plan.json"]
    rows = {(s["name"], c["call"]): c for s in compared["settings"] for c in s["calls"]}
    judged = [one for one in plan["calls"] if one["worth"]["low"] is not None]
    for one in plan["calls"]:
        assert one in judged or rows[one["setting"], one["call"]]["value"]["low"] is None
    assert len(judged) >= 4
    for one in judged:
        row = rows[one["setting"], one["call"]]
        uses = [u for u in plan["by_use"] if (u["setting"], u["call"]) == (one["setting"], one["call"])]
        assert row["value"] == one["worth"] == uses[0]["before"] == plan["bonus"][one["label"]]["before"]
        assert saved(row["value"], 2, "points a call") in told["compare"]
        often = in_100(100 * row["calls"] / compared["possessions"])
        assert f"{spoken(one['call'])}: {often} times in 100 possessions" in told["compare"]
        assert f"{often} {saved(row['value'], 2, '', short=True)}" in told["page"]  # the ledger
        assert around(row["value"], 2) in told["plan"]
        assert one["break_even_words"] == row["break_even"]["words"]
        assert one["turnover_rate"] == row["break_even"]["turnover_rate"]


def test_a_short_corner_in_a_headline_is_no_corner() -> None:
    calls = ["corner", "short corner"]
    assert not named("corner", calls, "In all 3: call short corner 9 a game.")
    assert all(named(call, calls, "Call short corner 9, corner 2 a game.") for call in calls)


def test_uses_stop_rule_and_points_a_game_are_the_plans(told: dict[str, Any]) -> None:
    plan, page = told["plan.json"], told["page"]
    assert plan["mix"]
    headline = told["said"].partition(".")[0] + "."
    assert headline in page and f"Advice {headline}" in told["plan"]
    rest = plan["advice"]["not_advised"]
    assert all(one_line(line) in told["plan"] for line in rest)
    planned_only = [line for line in rest if line.startswith("Planned, not advised: ")]
    assert len(planned_only) == len(plan["mix"]) - len(plan["advice"]["calls"])
    calls, advised = [spoken(row["call"]) for row in plan["mix"]], 0
    for row in plan["mix"]:
        often = times(row["uses_per_game"])
        worth = row["saves_per_game"]
        assert around(worth, 1) in told["plan"] and saved(worth, 1, "") in page
        rule = next(
            one for one in plan["bench_rule"]["by_call"]
            if (one["setting"], one["call"]) == (row["setting"], row["call"])
        )  # fmt: skip
        assert one_line(rule["words"]) == one_line(row["stop_after_words"])
        name = spoken(row["call"])
        if not named(name, calls, headline):
            continue  # planned, but others save more
        if re.search(r"\d|once|twice", headline):
            assert re.search(rf"(?<!short )\b{name} (up to {often}|{row['uses_per_game']})\b", headline)
        else:  # where alone: its words are at most 12
            assert " against " in headline
        advised += 1
        assert one_line(rule["words"]) in page and one_line(rule["words"]) in told["plan"]
        assert row["often"] in told["plan"]
        assert row["often"] in page and row["often"] in told["bench"] and row["often"] in told["said"]
        assert row["often"].startswith(f"up to {row['uses_per_game']} of about ")
    assert 1 <= advised <= MOST_ADVISED


def test_a_plan_is_worth_its_uses_and_what_they_carry_over(told: dict[str, Any]) -> None:
    plan = told["plan.json"]
    swing = plan["swing"]
    # where what is advised was planned again alone, the others only stand behind it
    mix = plan["mix"][: MOST_ADVISED if plan.get("room") else None]
    whole = sum(row["saves_per_game"]["mean"] for row in mix)
    assert swing["from_table"]["mean"] == pytest.approx(whole, abs=1e-12)
    assert swing["mean"] == pytest.approx(whole + swing["parts"]["carried_over"]["mean"], abs=1e-12)
    assert saved(swing, 1, "points a game") in told["plan"]
    for row in mix:  # a coach multiplies: times made, worth a call between first and last planned use
        mine = [
            one for one in plan["by_use"]
            if (one["setting"], one["call"]) == (row["setting"], row["call"]) and one["in_mix"]
        ]  # fmt: skip
        uses = [one["value"]["mean"] for one in mine]
        assert row["clear_uses"] == sum((one["before"]["low"] or 0.0) > 0.0 for one in mine)  # as printed
        per_use = row["saves_per_game"]["mean"] / row["made_per_game"]
        assert min(uses) - 1e-9 <= per_use <= max(uses) + 1e-9


def test_the_late_call_is_one(told: dict[str, Any]) -> None:
    late = told["plan.json"]["late_game"]
    call = spoken(late[0]["call"])
    assert f"calling {call}" in told["page"]
    for row in late:
        if row["clear"] and row["p_win_trap"] >= 0.01 and row["p_win_home"] >= 0.01:
            home, trap = (f"{100 * row[key]:.1f}" for key in ("p_win_home", "p_win_trap"))
            assert f"home {home}%, trap {trap}%" in told["page"]
            for where, p in (("at home", home), (f"{call} trap", trap)):  # two chances, not a range
                assert re.search(rf"behind by {row['behind']}, {where}[^b]* {p}%", told["plan"])


@pytest.mark.parametrize("most", [0, MOST_ADVISED])
def test_of_one_man_one_wording_with_its_reason(
    walked: Path, most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(evening_report, "USUAL", PLANNED)
    monkeypatch.setattr(evening_report, "advised_calls", lambda planned, *_: planned[:most])
    texts, _ = outputs(walked, walked.parent)
    lineup = json.loads(texts["lineup.json"])
    tonight = set(map(tuple, lineup["tonight"]))
    men = {one["number"]: trap_words(told_on(one, tonight)) for one in lineup["opponent"]}
    bench = {one["number"]: trap_words(told_on(one, tonight), rest=False) for one in lineup["opponent"]}
    assert men_told(texts) == {"lineup": men, "page": men, "bench": bench}
    assert len(tonight) == min(most, len(json.loads(texts["plan.json"])["mix"]))
    assert all(men[n].startswith(said) and "not advised" not in said for n, said in bench.items())
    assert most or not any(bench.values())
    assert all(men[one["number"]] for one in lineup["opponent"] if one["advice"] == "trap")
    assert most or any("(not advised tonight)" in said for said in men.values())


def test_whom_to_trap_and_who_plays_where_are_one(told: dict[str, Any]) -> None:
    lineup = json.loads(told["lineup.json"])
    for one in lineup["opponent"]:
        assert one["why"] in told["lineup"]
    by_call = {one["call"]: one for one in lineup["whom_by_call"]}
    for row in told["plan.json"]["mix"]:
        assert not set(by_call[row["call"]]["saves"]) & set(by_call[row["call"]]["seldom"])
    assert f"number {lineup['best_scorer']['number']} (" in told["lineup"]
    assert ("keep yours" in told["lineup"]) == lineup["keep"]
    places = lineup["usual"]["places"] if lineup["keep"] else lineup["best"]
    assert all(f"{number} {spoken(place)}" in told["page"] for place, number in places.items())
    home = 2.0 * told["compare.json"]["baseline"]["rates"]["effective_field_goal"]["mean"]
    assert lineup["average_shot"]["mean"] == home
    assert f"theirs on average {home:.2f}" in told["lineup"] and f"average shot: {home:.2f}" in told["page"]
    for one in lineup["opponent"]:  # left by one is left by the other
        if one["advice"] == "leave":
            assert re.search(rf"\b{one['number']} \S+ (?:\S )*leave [\d.]+", told["page"])


def test_what_the_model_gets_wrong_stands_beside_its_figures(walked: Path, told: dict[str, Any]) -> None:
    assert "fewer layups, open threes and fouls" in MODELS_FAULT and MODELS_FAULT in MODEL
    assert MODELS_FAULT in told["compare"]
    file = EveningFile(walked, inputs_digest(load_evening(walked)), lambda line: pytest.fail(line))
    report = evening_report.Played(load_evening(walked), effort=PLANNED, file=file).report()
    assert one_line(MODEL) in told["page"]
    (row,) = (row for row in report.sheet["rows"] if row["key"] == "threes")
    for outside, model, figures in (
        (False, 0.2, False),  # fitted to their own threes
        (True, row["sheet"]["mean"] + 0.05, False),
        (True, row["sheet"]["mean"] + 0.2, True),  # the page says it with the figures of the sheet
    ):
        one = row | {"outside": outside, "model": row["model"] | {"mean": model}}
        sheet = report.sheet | {"rows": [one]}
        assert ("shots are threes, in the model" in sheet_told(sheet)) == figures
        assert bool(sheet_told(sheet)) == (outside and figures)
    far = row | {"key": "two_point", "outside": True, "model": {**row["model"], "mean": 0.0}}
    missed = {"sheet": report.sheet | {"rows": [far]}}  # beside every answer, not at the end alone
    warned = sheet_told(missed["sheet"])
    assert "sheet: twos made, of 100: " in warned and "against man-to-man and a zone, as counted" in warned
    assert warned in one_line(compare_text(told["compare.json"] | missed))
    assert warned in one_line(plan_text(told["plan.json"] | missed))
    assert warned in one_line(report_page(replace(report, **missed), bench=False))
    assert "twos made, of 100." in one_line(bench_page(advising(replace(report, **missed), [(0, 0)])))


def test_a_share_stands_with_how_many_variants_of_which_kind_it_is_of(told: dict[str, Any]) -> None:
    assert "also their formation, plays and habits" in told["page"]
    assert "the table is of these" in told["page"]
    assert "--worlds 512" not in told["page"]
    assert "No variant was dropped for its points conceded and turnovers" in told["page"]


def test_the_pace_of_a_game_is_told_where_it_does_not_fit_its_minutes(
    told: dict[str, Any], walked: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = told["plan.json"]
    n = told["compare.json"]["possessions"]
    assert plan["pace"] == pace.pace_words(plan["possessions_per_game"], 32.0, n)
    assert plan["pace"] in told["plan"] and plan["pace"] in told["page"]
    monkeypatch.setattr(evening_report, "USUAL", PLANNED)
    # check plays before the fit, so its mean is another
    for usual, told_of in (((0.1, 0.2), 1), ((0.1, 9.0), 0)):
        monkeypatch.setattr(pace, "USUAL_A_MINUTE", usual)
        lines = [line for line in ran("check", str(walked))[0].splitlines() if "possessions a side" in line]
        assert len(lines) == told_of and all("usual are 3 to 6" in line for line in lines)


def test_in_how_many_formations_the_advice_holds_is_one(told: dict[str, Any]) -> None:
    found, headline = told["plan.json"]["formations"], told["said"].partition(".")[0] + "."
    assert headline in told["page"] and len(found["formations"]) == 3
    rows = {(s["name"], c["call"]): c for s in told["compare.json"]["settings"] for c in s["calls"]}
    compared = [(s["name"], c) for s in found["settings"] for c in s["calls"]]
    names = [spoken(call["call"]) for _, call in compared]
    in_answer = [named(name, names, headline) for name in names]
    for (setting, call), shown in zip(compared, in_answer, strict=True):
        assert call["by_formation"][0]["value"] == rows[setting, call["call"]]["value"]
        words = one_line(call_words(found, call))
        assert words in told["plan"] and (words in told["page"] or not shown)
        assert all(saved(one["value"], 2, "") in told["page"] for one in (*call["by_formation"], call))
    advised = [call for (_, call), shown in zip(compared, in_answer, strict=True) if shown]
    held = [all(one["by_formation"][i]["verdict"] == "saves" for one in advised) for i in range(3)]
    unsure = [one["title"] for one, holds in zip(found["formations"], held, strict=True) if not holds]
    assert advised and headline.startswith("In all 3") == all(held)
    saves = [[one["verdict"] == "saves" for one in call["by_formation"]] for call in advised]
    if any(map(any, saves)):  # an order for the others, on the page and the bench
        orders = ordered(headline, [one["title"] for one in found["formations"]])
        assert (not unsure or orders) and all(order in saves for order in orders), headline
        bench = [line for line in re.findall(r"(?:Home|No [a-z ,]+) against: [a-z ,]+\.", told["bench"])]
        assert bool(bench) == bool(unsure) and all(any(one in line for line in bench) for one in unsure)
    else:
        assert "clear in no formation" in headline and "Clear in no formation." in told["bench"]


def test_home_and_the_passes_are_one(told: dict[str, Any]) -> None:
    home = told["compare.json"]["baseline"]["points_per_possession"]
    low, mean, high = (f"{100 * home[key]:.0f}" for key in ("low", "mean", "high"))
    assert f"{mean} ({low}-{high})" in told["compare"] and f"{mean} ({low} to {high})" in told["page"]
    lineup = json.loads(told["lineup.json"])
    assert lineup["home"] == home and lineup["call_possessions"] == told["compare.json"]["possessions"]
    assert f"Yours now concede {mean} ({low} to {high}) points per 100" in told["lineup"]
    drills = json.loads(told["timing.json"])["drills"]
    assert any(drill["worst"] for drill in drills)
    for number, drill in enumerate(drills, 1):
        trains, links = one_line(drill["trains"]), "; ".join(map(spoken, drill["links"]))
        assert trains.split(":")[0] in told["page"] and trains in told["timing"]
        assert f"({links})" in told["timing"] and f"{links}: " in told["page"]
        if drill["worst"]:
            start, _, end = drill["worst"].partition(" to ")
            assert f"Start from its worst: {spoken(drill['worst'])}" in told["timing"]
            assert re.search(rf"{number}\. {spoken(start)} to No\. \d+, {spoken(end)}: ", told["page"])


@pytest.mark.long
def test_a_call_the_first_time_and_once_they_know_it_is_one_everywhere(
    walked: Path, told: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(evening_report, "USUAL", PLANNED)
    monkeypatch.setattr(evening_report, "advised_calls", plan_alone)
    for name, value in (("PLAYED", 400), ("TRIED", 60), ("JUDGED", 600)):
        monkeypatch.setattr(adapt, name, value)
    page, out = walked.parent / "adapted.html", walked.parent / "adapted.json"
    planned, said = ran("plan", str(walked), "--adapted", "--json", str(out))
    assert "for adapted, plan" in said
    plan, usual = json.loads(out.read_text(encoding="utf-8")), told["plan.json"]
    rows = {(s["name"], c["call"]): c for s in told["compare.json"]["settings"] for c in s["calls"]}
    clear = {name for (name, _), row in rows.items() if (row["value"]["low"] or 0.0) > 0.0}
    assert clear and {one["name"] for one in plan["adapted"]["settings"]} == clear
    changes = {one["name"]: one["change"] for one in told["compare.json"]["settings"]}
    monkeypatch.setattr(adapt, "learned", lambda *_: pytest.fail("learned again"))
    ran("report", str(walked), "--adapted", "-o", str(page))
    shown = one_line(page.read_text(encoding="utf-8"))
    for setting in plan["adapted"]["settings"]:
        assert setting["first"]["change"] == changes[setting["name"]]
        for call in setting["first"]["calls"]:
            assert call["value"] == rows[setting["name"], call["call"]]["value"]
    assert usual["adapted"] is None and law_words(usual) == ""
    worths = {(one["setting"], one["call"]): one["worth"] for one in usual["calls"]}
    assert len(plan["calls"]) == len(worths)
    for one in plan["calls"]:
        assert one["worth"] == worths[one["setting"], one["call"]]  # the first time is the first time
        words = one_line(adapted_words(plan["adapted"], one["setting"], one["call"]))
        enough = rows[one["setting"], one["call"]]["value"]["low"] is not None
        assert (words != "") == (one["setting"] in clear and enough) and words in one_line(planned)
        mine, was = ([u["before"] for u in found["by_use"] if (u["setting"], u["call"]) == (
            one["setting"], one["call"])] for found in (plan, usual))  # fmt: skip
        known = next(
            (call["value"] for setting in plan["adapted"]["settings"] if setting["name"] == one["setting"]
             for call in setting["known"]["calls"] if call["call"] == one["call"]), one["worth"],
        )  # fmt: skip
        for use, (here, there) in enumerate(zip(mine, was, strict=False), 1):
            if there["mean"] is not None and known["low"] is not None:
                share = min((use - 1) / plan["adapted"]["known_after_traps"], 1.0)
                moved = there["mean"] + share * (known["mean"] - one["worth"]["mean"])
                assert here["mean"] == pytest.approx(moved, abs=1e-12)
    assert one_line(law_words(plan)) in one_line(planned) and one_line(law_words(plan)) in shown
    assert law_words(plan) not in told["page"] and "report --adapted" in told["page"]
    said = [one_line(adapted_words(plan["adapted"], row["setting"], row["call"])) for row in plan["mix"]]
    assert 1 <= sum(words != "" and words in shown for words in said) <= MOST_ADVISED  # on the cards
    assert not any(words in told["page"] for words in said)
