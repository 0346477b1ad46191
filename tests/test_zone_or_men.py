"""Should the zone be on the floor at all: what is played for it, what is claimed, what is refused."""

from __future__ import annotations

import dataclasses
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from report_pages import A4, BAD_NAME, LAPTOP, PHONE, advising, pages_of, words_of
from sheet_files import GAME, with_key, write_evening

from engine import cli
from engine.inputs import load_alignment
from engine.inputs.scenario import constants_against
from engine.inputs.settings import WrittenSetting, settings_from
from engine.inputs.sheets import asked_men, load_evening
from engine.inputs.sheets.fronts import Front, alignment_of, likely_of
from engine.report import zone_or_men_view
from engine.report.page.page import report_page
from engine.report.screen.plan import plan_text
from engine.run.blocks import Runner
from engine.run.branches import branches_of
from engine.run.size import check_size
from engine.run.worlds import world_task
from engine.study.compare import compare
from engine.study.evening_file import inputs_digest
from engine.study.evening_report import Played, ReportSize
from engine.study.evening_result import EveningReport
from engine.study.evening_zone_or_men import zone_or_men
from engine.study.sheet.met import worth_elsewhere
from engine.world.pack import pack

pytest_plugins = ("evening_pages",)

SCENARIO = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
REPORT_WORDS = 800
SIZE = ReportSize(possessions=900, worlds=16, world_possessions=60)


def evening_with(folder: Path, **answers: str) -> Any:
    """An evening whose sheet of the game has these answers, too."""
    game = [row for row in GAME if row[0] not in answers] + [[key, value] for key, value in answers.items()]
    return load_evening(write_evening(folder / "sheets", {"game.csv": game}))


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Any:
    return evening_with(tmp_path_factory.mktemp("evening"))


# --- what is played -----------------------------------------------------------------------------------------


def test_both_are_played_on_the_possessions_and_the_fit_of_compare(evening: Any) -> None:
    """Against ``compare`` of the fitted scenario as somebody would write it with man-to-man in a setting."""
    played = Played(evening, 3, effort=SIZE)
    found, compared = played.part("zone_or_men"), played.part("compare")
    assert found["zone"]["points_per_possession"] == compared["baseline"]["points_per_possession"]
    assert (found["possessions"], found["seed"]) == (900, 3)
    scenario = played.scenario
    own = {"hold_value_points": found["carrying_on"]} if found["carrying_on"] else {}
    from engine.inputs.files import Source

    home = type("Home", (), {"zone": scenario.zone, "policy": scenario.policy})()
    written = (WrittenSetting(name="men", zone="man_to_man"),)
    settings = settings_from(
        written, home, scenario.plays, Source(SCENARIO, "friday_night.toml"), scenario.offence_team
    )
    again = compare(scenario.model_copy(update={"settings": settings, "other_own": own}), 900, 3).to_dict()
    assert found["change"] == again["settings"][0]["change"] and found["change"]["mean"] != 0.0
    assert found["men"]["points_per_possession"] == again["settings"][0]["points_per_possession"]
    apart = np.hypot(
        *(one["high"] - one["mean"] for one in (found[k]["points_per_possession"] for k in ("zone", "men")))
    )
    points = again["settings"][0]["factors"]["points"]
    assert points["high"] - points["mean"] < apart  # on the same luck
    assert played.part("zone_or_men") == found and played.missing("zone_or_men") == []


@pytest.mark.parametrize("level", ["school", "college"])
def test_what_going_on_is_worth_against_men_changes_nothing_in_the_zone(level: str, tmp_path: Path) -> None:
    """A level's beliefs are measured against one kind of defence, of college men against men."""
    evening = evening_with(tmp_path, level=level, age_group="adults")
    scenario, men = evening.scenario, asked_men(evening)
    found = worth_elsewhere(scenario, 0.777)
    assert constants_against(found, scenario.zone) == constants_against(scenario, scenario.zone)
    there = constants_against(found, men.zone)
    assert there == constants_against(scenario, men.zone) | {"hold_value_points": 0.777}


@pytest.mark.parametrize(
    ("plays", "added", "run"),
    [
        ("", False, "ball_screen"),
        ("high_low", True, "ball_screen"),
        ("high_low, back_cut", False, "back_cut"),
        ("none", False, ""),
    ],
)
def test_against_men_they_run_plays_against_men(plays: str, added: bool, run: str, tmp_path: Path) -> None:
    evening = evening_with(tmp_path, plays=plays)
    men = asked_men(evening)
    assert (men.plays is not None) == added
    found = zone_or_men(evening.scenario, men, {}, (16, 20), check_size(40, 1, None)).to_dict()
    assert found["plays_added"] == added and found["carrying_on"] is None
    assert (run in found["plays_against_men"]) == bool(run)
    assert "high_low" not in found["plays_against_men"]
    if plays.endswith("back_cut"):
        assert list(found["plays_against_men"]) == ["back_cut"]


def test_what_men_do_about_a_screen_acts_and_is_another_evening(tmp_path: Path) -> None:
    drop, switch = (evening_with(tmp_path / name, screens=name) for name in ("drop", "switch"))
    assert asked_men(switch).zone_options["screens"] == "switch"
    assert drop.scenario == switch.scenario.model_copy(
        update={"path": drop.scenario.path, "files": drop.scenario.files}
    )
    assert inputs_digest(drop) != inputs_digest(switch)


def test_a_bare_defence_is_played_once_in_a_variant(evening: Any) -> None:
    """The sums are those of playing it a second time as a setting."""
    alone = evening.scenario.model_copy(update={"settings": (asked_men(evening),)})
    plan = branches_of(pack(alone))
    assert plan.settings[0].is_base
    again = dataclasses.replace(plan, settings=(dataclasses.replace(plan.settings[0], is_base=False),))
    runner = Runner(1)
    once, twice = (world_task(runner, 300, lambda _, p=p: p)(2) for p in (plan, again))
    assert np.array_equal(once.settings, twice.settings) and once.settings.any()
    assert np.array_equal(once.home, twice.home)


# --- what is claimed ----------------------------------------------------------------------------------------


def interval(mean: float | None, half: float = 0.0) -> dict[str, float | None]:
    if mean is None:
        return dict.fromkeys(("mean", "low", "high"))
    return {"mean": mean, "low": mean - half, "high": mean + half}


@pytest.fixture(scope="module")
def small(two_calls: EveningReport) -> dict[str, Any]:
    men = asked_men(two_calls.evening)
    found = zone_or_men(two_calls.scenario, men, {}, (16, 60), check_size(600, 1, None))
    result: dict[str, Any] = found.to_dict()
    return result


def changed(found: dict[str, Any], change: dict[str, Any], band: dict[str, Any]) -> dict[str, Any]:
    variants = found["variants"]
    mine = variants["kinds"][variants["kind"]] | {"value": band}
    variants = variants | {"kinds": variants["kinds"] | {variants["kind"]: mine}}
    return found | {"change": change, "variants": variants, "game": found["game"] | {"possessions": 50}}


@pytest.mark.parametrize(
    ("change", "band", "calls", "lead", "without"),
    [
        # net points a possession that men concede more, and of the variants that they save
        (interval(0.05, 0.06), interval(-0.05, 0.01), False, "Zone or man-to-man cannot be told apart.",
         "Without traps man-to-man cannot be told apart (11.0 lost to 1.0 saved points per 100 poss"),
        (interval(0.05, 0.02), interval(-0.05, 0.06), False,
         "The zone leads; variants differ.",
         "Without traps man-to-man costs 5.0 points per 100 possessions (3.0 to 7.0) beside the zone, "
         "over variants of the model from 11.0 lost to 1.0 saved."),
        (interval(0.05, 0.02), interval(-0.05, 0.03), False, "The zone, says the model.", "costs 5.0"),
        (interval(-0.05, 0.02), interval(0.05, 0.03), False, "Man-to-man, says the model.", "saves 5.0"),
        (interval(0.05, 0.02), interval(None), False, "Zone or man-to-man: too few to tell.", "costs 5.0"),
        (interval(0.01, 0.02), interval(-0.01, 0.02), True, "Zone or man-to-man cannot be told apart.",
         "With the advised calls the zone cannot be told apart (0.8 lost to 6.4 saved)"),
        (interval(0.05, 0.02), interval(-0.05, 0.03), True, "The zone with advised calls, says the model.",
         "With the advised calls the zone saves 6.8 (3.2 to 10.4) beside man-to-man, over variants of the "
         "model from 2.2 saved to 11.4 saved."),
        (interval(-0.15, 0.02), interval(0.15, 0.3), True,
         "Man-to-man leads; variants differ.", "costs 13.2"),
        (interval(-0.15, 0.02), interval(0.15, 0.03), True, "Man-to-man, says the model.",
         "With the advised calls the zone costs 13.2 (9.6 to 16.8) beside man-to-man"),
    ],
)  # fmt: skip
def test_a_side_is_ahead_only_where_neither_luck_nor_variants_turn_it(
    change: dict[str, Any],
    band: dict[str, Any],
    calls: bool,
    lead: str,
    without: str,
    small: dict[str, Any],
    two_calls: EveningReport,
) -> None:
    """With the calls: they save 0.9 (0.1 to 1.7) in a game of 50, so 1.8 (0.2 to 3.4) per 100."""
    report = advising(two_calls, [(0, 0)] if calls else [])
    fitted = {"carrying_on": 0.9 if calls else None}  # measured where their sheet is fitted
    found = zone_or_men_view.zone_or_men_dict(changed(small, change, band) | fitted, report)
    assert found["verdict"].startswith(lead) and without in found["verdict"]
    assert ("With the advised calls" in found["verdict"]) == calls == ("calls" in found["rows"])
    row = found["rows"]["man_to_man"]
    assert row["per_game"]["mean"] == pytest.approx(row["per_100"]["mean"] / 2.0)
    said = dict(found["lines"])
    assert "no clear difference" not in " ".join(said.values())
    assert ("up to 10 traps" in said["The calls"]) == calls
    assert "passes to men under the rim" in said["Cannot say"]
    assert ("Their sheet is matched against " in said["Cannot say"]) == calls
    assert "pass, cut and fill" in said["Played"] and "screens drop" in said["Played"]


@pytest.mark.parametrize(
    ("names", "more"), [(["one"], ""), (["two", "overload"], "one guard"), (["two", "one"], "overload")]
)
def test_a_formation_that_the_sheet_leaves_out_is_told_as_such(
    names: list[str], more: str, small: dict[str, Any], two_calls: EveningReport
) -> None:
    """The variants draw every shipped formation; ``formations`` has those that the sheet makes likely."""
    fronts = tuple(Front(name, 50.0) for name in names)
    alignment = load_alignment(alignment_of(names[0], None) or "")
    scenario = two_calls.evening.scenario.model_copy(update={"alignment": alignment})
    evening = dataclasses.replace(two_calls.evening, scenario=scenario, fronts=fronts)
    report = dataclasses.replace(two_calls, evening=evening)
    choices = [(one.alignment.name, one.alignment.short) for one in likely_of(alignment)]
    worth = {"worlds": 9, "value": interval(0.0, 0.1)}
    by = [{"choice": name, "said": short, **worth} for name, short in sorted(choices)]
    found = changed(small, interval(0.05, 0.02), interval(-0.05, 0.03))
    found["variants"] |= {"by_formation": by}
    said = dict(zone_or_men_view.zone_or_men_dict(found, report)["lines"])["Variants"]
    told = f" (the variants draw {more}, too, which your sheet leaves out)" if more else ""
    assert len(by) == 3 and f". In these variants, by formation{told}: one guard cannot be told apart" in said


def test_the_lines_are_no_wider_than_a_screen_and_the_page_no_longer_than_it_may_be(
    opened: Any, two_calls: EveningReport, small: dict[str, Any]
) -> None:
    ahead = changed(small, interval(0.05, 0.02), interval(-0.05, 0.3))
    report = dataclasses.replace(advising(two_calls, [(0, 0)]), zone_or_men=ahead)
    found = zone_or_men_view.zone_or_men_dict(ahead, report)
    longest = "The zone with advised calls leads; variants differ."
    assert found["answer"] == longest
    for care in ([], ["No trap advice."]):
        plan = report.plan | {"care": care, "zone_or_men": found, "advice": {"answer": ""}, "calls": []}
        text = plan_text(plan)
        assert "Zone or men " in text and max(map(len, text.splitlines())) <= 80
    html = report_page(report)
    page = opened(html)
    page.run("document.querySelectorAll('svg').forEach((e) => e.remove())")
    shown = page.run("document.body.innerText").replace(BAD_NAME, "Them")
    assert found["answer"] in shown and dict(found["lines"])["Cannot say"] not in shown  # it opens
    page.run("document.querySelector('#answer summary').click()")
    assert dict(found["lines"])["Cannot say"] in page.run("document.body.innerText")
    assert len(words_of(shown)) <= REPORT_WORDS
    for width, height in ((PHONE, 740), (LAPTOP, 800)):  # it is not in the way of answer, figure and court
        page = opened(html, width)
        for part in (".verdict", "#answer summary", ".figure", ".card svg"):
            bottom = page.run(f"document.querySelector('{part}').getBoundingClientRect().bottom")
            assert bottom <= height, (part, width)
    assert "--zone-or-men" not in html and "--zone-or-men" in report_page(two_calls)


def test_the_answer_is_on_paper_too(
    opened: Any, two_calls: EveningReport, small: dict[str, Any], tmp_path: Path
) -> None:
    """What opens on a screen cannot be opened there: the sentence is printed, its figures are not."""
    ahead = changed(small, interval(0.05, 0.02), interval(-0.05, 0.03))
    report = dataclasses.replace(advising(two_calls, [(0, 0)]), zone_or_men=ahead)
    found = zone_or_men_view.zone_or_men_dict(ahead, report)
    pdf = opened(report_page(report)).pdf(**A4)
    assert pages_of(pdf, tmp_path) <= 4
    asked = ["pdftotext", "-f", "1", "-l", "1", "-", "-"]
    said = " ".join(subprocess.run(asked, input=pdf, capture_output=True, check=True).stdout.decode().split())
    assert found["answer"] in said and "Without traps" not in said


# --- what is refused ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["plan", "report"])
@pytest.mark.parametrize("sheets", ["file", "no", "not asked", "no age"])
def test_where_no_zone_is_played_there_is_one_line(
    command: str, sheets: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where, told, to_do = SCENARIO, "a folder of sheets", "trapledger new FOLDER"
    if sheets != "file":
        age = "" if sheets == "no age" else "under 12"
        game = [row for row in with_key("age_group", age) if row[0] != "zone_allowed"]
        told, to_do = "zone_allowed is missing; needed: an answer", "Ask your league: write yes if it allows"
        if sheets == "no":
            game = with_key("zone_allowed", "no")
            told, to_do = (
                "zone_allowed: 'no' is not allowed; allowed: yes, ",
                "leave --zone-or-men out, or write",
            )
        where = write_evening(tmp_path / "sheets", {"game.csv": game})
    more = ["-o", str(tmp_path / "page.html")] if command == "report" else []
    assert cli.run([command, str(where), "--zone-or-men", *more]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and told in err and "--zone-or-men" in err
    assert to_do in err and ("many leagues allow no zone up to under 14" in err) == (sheets == "not asked")
    assert ("the age group is not given" in err) == (sheets == "no age")
    assert not (tmp_path / "page.html").exists()


def test_a_report_says_it_only_where_it_is_asked(two_calls: EveningReport) -> None:
    assert two_calls.zone_or_men is None and "cannot be told apart. Without" not in report_page(two_calls)
