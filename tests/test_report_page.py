"""``trapledger report``: the report and the bench page in a real browser, and what stands behind them.

Pages are opened from disk in headless Chromium (tests/browser.py); paper is counted by pdfinfo (Debian's
package poppler-utils). The studies are played once, small; what is advised is then set by hand, so that the
pages of every answer (two calls, stay home, advice withheld) can be looked at.
"""

from __future__ import annotations

import copy
import dataclasses
import math
import re
import subprocess
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from evening_table import one_line
from report_pages import A4, BAD_NAME, LAPTOP, PHONE, SMALL, advising, pages_of, words_of
from sheet_files import write_evening

from engine import cli
from engine.commands import evening as evening_commands
from engine.inputs.base import spoken
from engine.report.advice_view import MOST_WORDS as ANSWER_WORDS
from engine.report.advice_view import headline
from engine.report.page.answer import beaten_words, ledger_rows
from engine.report.page.appendix import appendix_view
from engine.report.page.court_card import call_card, feeder
from engine.report.page.page import bench_page, report_page
from engine.report.page.plan import opponents
from engine.report.page.shots import shares_of
from engine.report.screen.evening import evening_text
from engine.report.screen.lineup import lineup_text
from engine.report.words import FEW_CALLS
from engine.study.evening_result import EveningReport

pytest_plugins = ("evening_pages",)

#: Words of a report with one call that are in sight; before courts and one screen there were about 2,000.
REPORT_WORDS = 800


# --- the report ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [PHONE, LAPTOP])
def test_nothing_scrolls_sideways_and_a_harmful_name_is_text(
    opened: Any, two_calls: EveningReport, width: int
) -> None:
    page = opened(report_page(two_calls), width)
    assert page.run("document.documentElement.scrollWidth") <= width
    right = (
        "Math.max(...[...document.querySelectorAll('main *')].map((e) => e.getBoundingClientRect().right))"
    )
    assert page.run(right) <= width + 1
    assert page.run("window.harm") is None
    assert page.run("document.querySelectorAll('script').length") == 0
    assert BAD_NAME in page.run("document.querySelector('h1').innerText")
    assert BAD_NAME in page.run("document.title")


def test_every_picture_has_a_text_alternative_with_figures(opened: Any, two_calls: EveningReport) -> None:
    page = opened(report_page(two_calls))
    told = "[...document.querySelectorAll('main svg:not([aria-hidden])')]"
    labels = page.run(f"{told}.map((e) => e.getAttribute('aria-label'))")
    captions = page.run("[...document.querySelectorAll('figcaption')].map((e) => e.innerText)")
    assert len(labels) == 2 + 3 + 2  # a court for each call, for each worst moment, and of shots
    assert labels[2:] == captions
    assert all(re.search(r"\d", label) for label in labels)
    assert page.run(f"{told}.every((e) => e.getAttribute('role') === 'img')")
    # What a hidden bar shows stands above it.
    bars = page.run(
        "[...document.querySelectorAll('svg.bar')].map((e) => e.previousElementSibling.innerText)"
    )
    assert len(bars) == 2 and all(re.search(r"\d", bar) for bar in bars)
    ids = page.run("[...document.querySelectorAll('[id]')].map((e) => e.id)")
    assert len(ids) == len(set(ids))


def test_the_numbers_in_the_court_pictures_are_the_shares(opened: Any, two_calls: EveningReport) -> None:
    page = opened(report_page(two_calls))
    shots = two_calls.shots
    assert shots["possessions"] <= SMALL.traced and shots["called"] is not None
    for figure, of in enumerate((shots["home"], shots["called"])):
        drawn = page.run(
            f"[...document.querySelectorAll('#floor figure')[{figure}].querySelectorAll('svg text')]"
            ".map((e) => e.textContent)"
        )
        shares = [f"{100 * share:.0f}" for share in shares_of(of).values() if share >= 0.005]
        assert sorted(drawn) == sorted(shares)
        shown = f"document.querySelectorAll('#floor figure')[{figure}]"
        marks = page.run(f"{shown}.querySelectorAll('.shot, .open-shot').length")
        assert marks == len(of)


def test_headings_go_down_one_step_at_a_time_and_links_lead_somewhere(
    opened: Any, two_calls: EveningReport
) -> None:
    page = opened(report_page(two_calls, bench=False))
    levels = page.run("[...document.querySelectorAll('h1,h2,h3,h4')].map((e) => Number(e.tagName[1]))")
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b <= a + 1 for a, b in zip(levels, levels[1:], strict=False))
    targets = page.run("[...document.querySelectorAll('a')].map((e) => e.getAttribute('href'))")
    assert targets == ["#answer"]
    assert all(target.startswith("#") for target in targets)
    assert page.run(f"{targets}.every((t) => document.querySelector(t) !== null)")


def test_the_keyboard_reaches_the_answer_and_opens_a_table(opened: Any, two_calls: EveningReport) -> None:
    page = opened(report_page(two_calls))
    page.press("Tab")
    assert page.run("document.activeElement.className") == "skip"
    assert page.run("document.activeElement.getBoundingClientRect().left") >= 0
    assert page.run("parseFloat(getComputedStyle(document.activeElement).outlineWidth)") >= 2
    page.press("Enter")
    assert page.wait("document.activeElement.id === 'answer'")
    page.run("document.querySelector('summary').focus()")
    assert page.run("document.querySelector('details').open") is False
    page.press("Enter")
    assert page.wait("document.querySelector('details').open")


def test_the_answer_comes_first_with_cost_and_worlds(opened: Any, two_calls: EveningReport) -> None:
    page = opened(report_page(two_calls))
    assert page.run("document.querySelector('main').firstElementChild.id") == "answer"
    verdict = page.run("document.querySelector('.verdict').innerText")
    assert verdict == "In all 3 formations: call corner 10, wing 10 a game."
    card = page.run("document.querySelector('.card').innerText")
    found = two_calls.compare["settings"][0]["calls"][0]
    assert beaten_words(found) in card
    assert "red" in card  # the coach's word for the corner
    for word in ("When", "On whom", "How often", "Worth", "Formations", "Variants", "Stop", "Stand-ins"):
        assert word in card
    below = page.run("document.querySelector('#answer').innerText")
    assert "luck alone" in below and "model can be off" in below


def test_the_answer_is_short_and_on_the_first_screen(opened: Any, two_calls: EveningReport) -> None:
    """Words: every pair of calls, with the longest names and twice 10 uses. A phone of 360 x 740 shows the
    answer, its figure and a court; a laptop of 1280 x 800 the whole court."""
    spots = [(s, c) for s, one in enumerate(two_calls.scenario.settings) for c in range(len(one.calls))]
    for first in spots:
        for second in spots:
            advised = advising(two_calls, list(dict.fromkeys((first, second))))
            assert len(headline(advised).split()) <= ANSWER_WORDS
    assert len(headline(advising(two_calls, [])).split()) <= ANSWER_WORDS
    one_call = report_page(advising(two_calls, [(0, 0)]))
    for width, height in ((PHONE, 740), (LAPTOP, 800)):
        page = opened(one_call, width)
        for part in (".verdict", ".figure", ".card svg"):
            bottom = page.run(f"document.querySelector('{part}').getBoundingClientRect().bottom")
            assert bottom <= height, (part, width)


def test_what_was_filled_in_is_said_once(opened: Any, two_calls: EveningReport) -> None:
    page = opened(report_page(two_calls))
    text = page.run("document.body.textContent").replace("\n", " ")
    assert len(two_calls.evening.assumptions) > 3
    for line in two_calls.evening.assumptions:
        assert text.count(line) == 1
    said = page.run("document.body.innerText")
    listed = page.run("document.querySelectorAll('#assumed li').length")
    assert f"{listed} things are assumed: trapledger check lists them." in said
    assert f"{listed} things are assumed:" in " ".join(evening_text(two_calls.evening.to_dict()).split())
    assert listed > len(two_calls.evening.assumptions)
    assert not any(line in said for line in two_calls.evening.assumptions)


def test_no_player_of_ours_is_called_the_weakest(opened: Any, two_calls: EveningReport) -> None:
    """Where they would attack is told by place: the shirt there does not stand beside it."""
    worst = two_calls.lineup["attack_at"][0]
    attack = [{**worst, "cost": {"mean": 0.2, "low": 0.1, "high": 0.3}}, *two_calls.lineup["attack_at"][1:]]
    report = dataclasses.replace(two_calls, lineup=two_calls.lineup | {"attack_at": attack})
    page = opened(report_page(report))
    task = page.run("document.querySelector('#lineup .note').innerText")
    assert worst["place"].replace("_", " ") in task
    assert re.findall(r"\d+", task) == [str(report.lineup["best_scorer"]["number"])]
    assert "weak" not in page.run("document.body.innerText").replace("weak handlers", "").replace(
        "weak under pressure", ""
    )


def test_the_report_prints_three_pages_and_the_bench_page(
    opened: Any, two_calls: EveningReport, tmp_path: Path
) -> None:
    one_call = advising(two_calls, [(0, 0)])
    page = opened(report_page(one_call))
    assert page.run("getComputedStyle(document.querySelector('.sheet')).display") == "none"
    page.run("document.querySelectorAll('svg').forEach((e) => e.remove())")  # numbers drawn are no words
    assert len(words_of(page.run("document.body.innerText").replace(BAD_NAME, "Them"))) <= REPORT_WORDS
    for answer in (one_call, two_calls, advising(two_calls, [])):
        pages = pages_of(opened(report_page(answer)).pdf(**A4), tmp_path)
        assert pages <= 4
        last = subprocess.run(
            ["pdftotext", "-f", str(pages), "-l", str(pages), str(tmp_path / "printed.pdf"), "-"],
            capture_output=True, text=True, check=True,
        ).stdout  # fmt: skip
        assert "Never under a shooter" in last
        without = pages_of(opened(report_page(answer, bench=False)).pdf(**A4), tmp_path)
        assert pages == without + 1


# --- courts, colours, words ---------------------------------------------------------------------------------


def test_no_sign_on_a_court_covers_another(two_calls: EveningReport) -> None:
    passes = 0
    settings = two_calls.scenario.settings
    for s, c, call in ((s, c, call) for s, one in enumerate(settings) for c, call in enumerate(one.calls)):
        if call.dynamic:
            continue
        card = call_card(two_calls.scenario, s, call, two_calls.timing)
        assert card is not None
        signs = [one["at"] for one in (*card["ours"], *card["theirs"])]
        assert len(signs) == 10 and len({one["number"] for one in card["ours"]}) == 5
        gaps = [math.dist(a, b) for i, a in enumerate(signs) for b in signs[:i]]
        assert min(gaps) >= 109  # circles of 46, squares whose corners are 63 from their middle
        assert min(math.dist(card["ball"], at) for at in signs) >= 66
        assert sum(run["traps"] for run in card["runs"]) <= 2
        lines = sorted((float(one["share"].rstrip("%")), one["wide"]) for one in card["passes"])
        assert [wide for _, wide in lines] == sorted(wide for _, wide in lines)
        numbers = [one["at"] for one in card["passes"]]
        taken = [*signs, *numbers]
        assert all(math.dist(a, b) >= 70 for i, a in enumerate(taken) for b in taken[:i] if i >= len(signs))
        passes += len(lines)  # out of the corner hardly any: most of those caught there shoot
        if (s, c) in two_calls.advised:
            assert feeder(two_calls.timing, call) != call.ball[0]
    assert passes > 1


def test_what_is_assumed_is_printed_too(opened: Any, two_calls: EveningReport, tmp_path: Path) -> None:
    pages_of(opened(report_page(two_calls, bench=False)).pdf(**A4), tmp_path)
    text = subprocess.run(
        ["pdftotext", "-raw", str(tmp_path / "printed.pdf"), "-"], capture_output=True, text=True, check=True
    ).stdout
    said = "".join(text.split())  # a long name is broken inside a word
    for line in two_calls.evening.assumptions:
        assert "".join(line.split()) in said


def test_one_meaning_of_guard_let_shoot_leave_and_trap(opened: Any, two_calls: EveningReport) -> None:
    """Guard: his open shot there is worth at least the lower end of their average shot; let him shoot: less;
    leave: everywhere less, as lineup says; trap: less, but a call pays there. Lineup, report and bench say
    the same of each: what only the report knows is which of these calls are tonight's."""
    least = two_calls.lineup["average_shot"]["low"]
    kept = next(one["number"] for one in two_calls.lineup["opponent"] if one["advice"] == "deny")
    s, c = two_calls.advised[1]
    setting = two_calls.scenario.settings[s]
    call = setting.calls[c].model_copy(update={"only_against": (kept,)})
    assert call.ball == ("wing",)
    settings = [
        one if i != s else setting.model_copy(update={"calls": (call,)})
        for i, one in enumerate(two_calls.scenario.settings)
    ]
    row = {"call": "wing", "setting": setting.name, "area": "wing"}
    other = {"call": "top", "setting": "", "area": "top"}  # it pays on him, and is not tonight's
    five = [
        one | {"traps": [other, row] if one["number"] == kept else []} for one in two_calls.lineup["opponent"]
    ]
    lineup = two_calls.lineup | {"opponent": five}
    scenario = two_calls.scenario.model_copy(update={"settings": tuple(settings)})
    report = dataclasses.replace(two_calls, scenario=scenario, lineup=lineup)
    rows = {one["number"]: one for one in opponents(report)}
    assert len(rows) == 5
    done: list[int] = []
    for one in report.lineup["opponent"]:
        row, areas = rows[one["number"]], {area: found["points"] for area, found in one["areas"].items()}
        guard = {area for area, points in areas.items() if points >= least}
        trap = ({"top"} & areas.keys()) - guard if one["number"] == kept else set()
        assert set(row["guard"]) == guard and set(row["free"]) == (
            set() if row["leave"] else areas.keys() - guard - trap
        )
        pays = "wing (kept for him); top (not advised tonight)" if one["number"] == kept else ""
        assert row["pays"] == pays
        let = "leave" if one["advice"] == "leave" else "let him shoot"
        assert row["leave"] == (one["advice"] == "leave")
        words = {area: text.rpartition(" ")[0] for area, text in row["areas"].items()}
        assert words == {
            area: "guard" if area in guard else "trap" if area in trap else let for area in areas
        }
        said = one_line(re.split(r"\bnumber \d+ ", lineup_text(lineup).split("Their five")[1])[len(done) + 1])
        done.append(one["number"])
        for label, where in (("guard at", row["guard"]), ("let him shoot at", row["free"])):
            assert re.search(rf"{label}: {', '.join(where)}[;( ]", said) if where else label not in said
        assert ("trap pays: top" in said) == (one["number"] == kept) and "kept for him" not in said
    text = opened(bench_page(report)).run("document.querySelector('.them').innerText")
    assert f"{kept} trap pays: wing (kept for him)\t" in text  # what is not to be called is not on the bench


def test_a_call_that_hardly_comes_up_is_judged_nowhere(two_calls: EveningReport) -> None:
    """The ledger and the analyst's table have the floor of compare."""
    s, c = two_calls.advised[0]
    called = two_calls.compare["settings"][s]["calls"][c]
    name = f"{spoken(called['call'])} ({two_calls.compare['settings'][s]['name']})"
    for n in (FEW_CALLS - 1, FEW_CALLS):
        settings = copy.deepcopy(two_calls.compare["settings"])
        settings[s]["calls"][c] |= {"called": n, "over_n": called["over_n"] | {"p_worse": 0.4}}
        report = dataclasses.replace(two_calls, compare=two_calls.compare | {"settings": settings})
        (row,) = (one for one in appendix_view(report)["risk"] if one["call"] == name)
        (told,) = (
            one
            for one in ledger_rows(report)
            if one["call"] == spoken(called["call"]) and one["setting"] == settings[s]["name"]
        )
        if n < FEW_CALLS:
            assert row["few"].startswith(f"came up {n} times: not judged") and row.keys() == {"call", "few"}
            assert told["few"].startswith(f"{n} calls in 3,000 possessions: too few")
        else:
            assert row["few"] is None and told["few"] is None


def with_only(report: EveningReport, s: int, c: int, numbers: tuple[int, ...]) -> EveningReport:
    """The report with one call kept for these opponents."""
    settings = list(report.scenario.settings)
    calls = list(settings[s].calls)
    calls[c] = calls[c].model_copy(update={"only_against": numbers})
    settings[s] = settings[s].model_copy(update={"calls": tuple(calls)})
    scenario = report.scenario.model_copy(update={"settings": tuple(settings)})
    return dataclasses.replace(report, scenario=scenario)


def test_a_court_card_draws_the_trap_on_a_man_whom_the_call_is_meant_for(two_calls: EveningReport) -> None:
    """Whatever the call excludes: each of their five alone, and all but whoever would stand there."""
    five = [player.number for player in two_calls.scenario.offence_team.on_court]
    for s, c in two_calls.advised:

        def drawn(numbers: tuple[int, ...], s: int = s, c: int = c) -> int:
            report = with_only(two_calls, s, c, numbers)
            call = report.scenario.settings[s].calls[c]
            card = call_card(report.scenario, s, call, report.timing)
            assert card is not None
            assert sorted(one["number"] for one in card["theirs"]) == sorted(five)
            nearest: dict[str, Any] = min(card["theirs"], key=lambda one: math.dist(one["at"], card["ball"]))
            assert f"trap their {nearest['number']}." in card["words"]
            return int(nearest["number"])

        usual = drawn(())
        assert all(drawn((number,)) == number for number in five)
        one = two_calls.scenario.settings[s].calls[c]
        for number in five:  # on whomever it comes, he is drawn: as the words beside it say
            card = call_card(two_calls.scenario, s, one, two_calls.timing, comes=(number,))
            assert card is not None and f"trap their {number}." in card["words"]
        assert drawn(tuple(number for number in five if number != usual)) != usual


def test_nothing_on_a_court_card_runs_off_the_picture(opened: Any, two_calls: EveningReport) -> None:
    """Signs, numbers, arrows and bands, also of a pass to where nobody stands, at the edge of the floor."""
    ends = []
    for s, c in two_calls.advised:
        call = two_calls.scenario.settings[s].calls[c]
        after = [
            one | {"ways_out": [way | {"share": 1 / len(one["ways_out"])} for way in one["ways_out"]]}
            for one in two_calls.timing["after_trap"]
        ]
        card = call_card(two_calls.scenario, s, call, two_calls.timing | {"after_trap": after})
        assert card is not None and len(card["passes"]) == 4
        x, y, width, height = map(float, card["court"]["view"].split())
        for one in card["passes"]:
            half = one["wide"] / 2
            for at, room in ((one["at"], 60.0), (one["line"][:2], half), (one["line"][2:], half)):
                assert x + room <= at[0] <= x + width - room and y + room <= at[1] <= y + height - room
            ends.append(one["line"][2:])
    assert len(ends) == 8


# --- advice withheld, nothing to advise ---------------------------------------------------------------------


def test_no_trap_advice_before_the_league_is_asked(opened: Any, withheld: EveningReport) -> None:
    assert withheld.stress is None and withheld.advised == () and withheld.scenario.settings == ()
    page = opened(report_page(withheld), PHONE)
    answer = page.run("document.querySelector('#answer').innerText")
    assert "No trap advice" in answer and withheld.evening.care.lines()[0] in answer
    asked = dataclasses.replace(withheld.evening.care, age_group=None)
    unknown = dataclasses.replace(withheld, evening=dataclasses.replace(withheld.evening, care=asked))
    assert headline(unknown) == f"Fill in first: age_group in {asked.where}."
    assert len(headline(unknown).split()) <= ANSWER_WORDS
    assert page.run("document.querySelectorAll('.card, #ledger, #plan, .figure').length") == 0
    whole = page.run("document.body.textContent")
    for advice in (
        "Call ",
        "trap him",
        "Trap pays",
        "trap pays",
        "Out of a beaten trap",
        "Likely to break a trap",
    ):
        assert advice not in whole
    assert page.run("document.documentElement.scrollWidth") <= PHONE
    bench = opened(bench_page(withheld)).run("document.body.innerText")
    assert "NO TRAPS" in bench and "ask your league first" in bench
    assert "called" not in bench and not re.search(r"\btrap\b", bench)


def test_stay_home_is_an_answer(opened: Any, two_calls: EveningReport) -> None:
    home = advising(two_calls, [])
    page = opened(report_page(home))
    assert page.run("document.querySelector('.verdict').innerText").startswith("Stay home")
    assert len(ledger_rows(home)) == page.run("document.querySelectorAll('#ledger tbody tr').length")
    assert page.run("document.querySelectorAll('.card, .advised').length") == 0
    advice = [{**one, "advice": "trap"} for one in home.lineup["opponent"]]
    bench = bench_page(dataclasses.replace(home, lineup=home.lineup | {"opponent": advice}))
    assert not re.search(r"\btrap\b", opened(bench).run("document.body.innerText"))


# --- the command --------------------------------------------------------------------------------------------


def test_the_command_writes_both_pages_and_says_the_answer(
    played: EveningReport, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    told: list[tuple[Any, ...]] = []

    def instead(evening: Any, parts: Any, quiet: bool, *size: int | None, asked: Any) -> Any:
        told.append((evening.folder, *size, asked.adapted))
        return SimpleNamespace(report=lambda: played)

    monkeypatch.setattr(evening_commands, "played", instead)
    folder = write_evening(tmp_path / "sheets")
    out, bench = tmp_path / "report.html", tmp_path / "bench.html"
    assert cli.run(["report", str(folder), "-o", str(out), "--bench", str(bench), "--seed", "9"]) == 0
    assert told == [(folder, 9, None, False)]
    assert out.read_text(encoding="utf-8") == report_page(played)
    assert bench.read_text(encoding="utf-8") == bench_page(played)
    assert str(out) in capsys.readouterr().out
