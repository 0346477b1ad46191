"""The opponent fitted to the counts of his sheet: where the counts pull, what is found again, same bits."""

from __future__ import annotations

import json
import math
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats
from sheet_files import COUNTED_HEAD, FIVE, OPPONENT, counted, write_evening

import engine
from engine import cli
from engine.estimate.men import KINDS, MenTally
from engine.inputs.constants import load_constants
from engine.inputs.scenario import Scenario, config_hash, with_constants
from engine.inputs.sheets import load_evening
from engine.inputs.sheets.shrink import pulled
from engine.report.sheet_view import sheet_view
from engine.shipped import configs_root
from engine.study import evening_file
from engine.study.evening_file import NAME, EveningFile, inputs_digest
from engine.study.evening_report import NEEDS, Played
from engine.study.evening_result import ReportSize
from engine.study.newton import Range, solve
from engine.study.own_men import measure_carrying
from engine.study.sheet import fit
from engine.study.sheet.counts import SheetCounts, sheet_counts
from engine.study.sheet.fit import aims_of, fit_sheet, shares_of
from engine.study.sheet.knobs import (
    CARRYING,
    CARRYING_POSSESSIONS,
    ELSEWHERE,
    FIT_POSSESSIONS,
    LOSSES,
    MOST_RELUCTANCE,
    MOST_RUNS,
    PASSED_OUT,
    TRAPPED,
    fitted,
    ranges,
    values_of,
    with_knobs,
)
from engine.study.sheet.men import play_men

#: Possessions of the model's own sheet and of its fit's runs (to find: 4.2 to 9 standard errors of both).
GAMES, RUN, SHEET_SEED = 6000, 3000, 77


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An evening whose opponent is counted."""
    return write_evening(tmp_path_factory.mktemp("fit") / "sheets", {"opponent.csv": counted()})


@pytest.fixture(scope="module")
def scenario(folder: Path) -> Scenario:
    """With room for fouls on both sides: the level may stand at an end of their range."""
    return with_constants(load_evening(folder).scenario, {"shot_foul_p": 0.3})


def sheet_of(model: MenTally, scenario: Scenario) -> SheetCounts:
    """What somebody would have written who charted these possessions."""
    return SheetCounts(model.sums, (0, 1, 2, 3, 4), True, scenario.offence_team.lineup)


@pytest.fixture
def carrying_is_short(monkeypatch: pytest.MonkeyPatch) -> None:
    """What going on is worth is found from few possessions: where no figure of the fit is asked for."""
    monkeypatch.setattr(fit, "CARRYING_POSSESSIONS", 200)


# --- where the counts pull ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("lost", "plays"), [(0, 0), (3, 11), (164, 940)])
def test_a_share_is_pulled_to_the_mean_of_a_beta(lost: int, plays: int) -> None:
    """Beta prior with the model's rate as its mean and 60 plays: scipy.stats.beta."""
    goal, own = pulled(lost, plays, 0.19, 60.0)
    assert goal == pytest.approx(stats.beta(lost + 60 * 0.19, plays - lost + 60 * 0.81).mean(), rel=1e-12)
    assert own == plays / (plays + 60)


@pytest.mark.parametrize(("free", "shots"), [(0, 0), (4, 9), (209, 682), (30, 20)])
def test_free_throws_a_shot_are_pulled_to_the_mean_of_a_gamma(free: int, shots: int) -> None:
    """Gamma prior of 60 shots with the model's rate as its mean: scipy.stats.gamma."""
    goal, _ = pulled(free, shots, 0.17, 60.0)
    assert goal == pytest.approx(stats.gamma(free + 60 * 0.17, scale=1 / (shots + 60)).mean(), rel=1e-12)


def test_the_aims_are_those_of_the_counts(folder: Path, scenario: Scenario, carrying_is_short: None) -> None:
    sheet = sheet_counts(load_evening(folder))
    assert sheet is not None
    found = fit_sheet(sheet, scenario, 1, possessions=400)
    free, lost = found.followed
    assert (free.rate, free.sheet, free.counts) == ("free_throws", 209 / 682, 682)
    plays = 682 + 0.44 * 209 + 164
    assert (lost.rate, lost.sheet) == ("turnovers", pytest.approx(164 / plays, rel=1e-12))
    for one in found.followed:
        share = one.counts / (one.counts + 60)
        assert one.own_share == pytest.approx(share, rel=1e-12)
        assert one.aim == pytest.approx(share * one.sheet + (1 - share) * one.before, rel=1e-12)
    assert found.prior == load_constants()["shot_prior_attempts"].value == 60
    assert 0 < found.runs <= MOST_RUNS


def test_what_is_not_counted_is_not_followed(
    folder: Path, scenario: Scenario, carrying_is_short: None
) -> None:
    """Without balls lost only free throws; without free throws neither; who shoots how often all the same;
    without attempts nothing, and nothing is played."""
    sheet = sheet_counts(load_evening(folder))
    assert sheet is not None and [aim.knob.name for aim in aims_of(sheet)] == ["fouls", "losses"]
    whole = fit_sheet(sheet, scenario, 1, possessions=300)
    for kind, names in (("turnovers", ["fouls"]), ("free_throws", [])):
        counts = sheet.counts.copy()
        counts[2, KINDS.index(kind)] = -1
        one = SheetCounts(counts, sheet.men, True, sheet.numbers)
        assert [aim.knob.name for aim in aims_of(one)] == names
        found = fit_sheet(one, scenario, 1, possessions=300)
        assert [row.knob for row in found.followed] == names
        assert found.reluctance == whole.reluctance and len(found.reluctance) == 10
        values = values_of(json.loads(json.dumps(found.to_dict())))
        assert set(values) == {CARRYING, TRAPPED, PASSED_OUT, *names, *found.reluctance}
    makes = SheetCounts(sheet.counts, sheet.men, False, sheet.numbers)
    none = fit_sheet(makes, scenario, 1, possessions=300)
    assert none.runs == 0 and not none.reluctance and not none.followed


def test_a_free_throw_cell_left_empty_leaves_the_shots_followed(tmp_path: Path) -> None:
    """From the sheet to what the page says of it."""
    table = [list(line) for line in counted()]
    table[3][COUNTED_HEAD.index("free_throws_attempted")] = ""
    evening = load_evening(write_evening(tmp_path, {"opponent.csv": table}))
    played = Played(evening, 5, effort=ReportSize(possessions=100))
    sheet: Any = played.part("sheet")
    fit = sheet["fit"]
    assert fit["followed"] == [] and len(fit["shares"]) == 10
    assert config_hash(played.scenario) != config_hash(evening.scenario)
    view = sheet_view(sheet)
    assert view is not None
    said = " ".join(view["notes"])
    assert "How often a man shoots" in said and "fitted to" not in said
    assert "Not followed, for want of counts of each of these men: the free throws, the lost balls." in said


def test_a_man_who_cannot_be_followed_further_is_named(scenario: Scenario, carrying_is_short: None) -> None:
    """A man who takes no shot in the model's own sheet, and one who takes nearly all."""
    sums = play_men(scenario, 400, SHEET_SEED).sums
    shots = [KINDS.index("twos"), KINDS.index("threes")]
    sums[:, shots] = 40
    sums[4, KINDS.index("threes")] = 40_000
    numbers = scenario.offence_team.lineup
    sheet = SheetCounts(sums, (0, 1, 2, 3, 4), True, numbers)
    found = fit_sheet(sheet, scenario, 1, possessions=400)
    shares = {(one.number, one.kind): one for one in found.shares}
    one = shares[numbers[4], "threes"]
    assert one.stopped and one.value == -MOST_RELUCTANCE and one.after < one.aim - 4 * one.standard_error
    n, kinds = sums[:, shots].sum(), shares_of(sheet, sheet.counts)
    assert one.sheet == kinds[4, 1] and one.aim == (n * one.sheet + 60 * one.before) / (n + 60)
    assert sum(row.after for row in found.shares) == pytest.approx(1.0, abs=1e-12)
    of = {"possessions": 400, "rows": [], "attempts": True, "men": list(numbers), "met": "zone"}
    view = sheet_view(of | {"fit": found.to_dict()})
    assert view is not None
    said = (
        f"No. {numbers[4]} takes fewer threes in the model than on your sheet: the end of the model's range."
    )
    assert said in view["notes"]
    loose = [row for row in found.shares if not row.stopped]
    assert not any(
        f"No. {row.number} takes" in line and row.kind in line for row in loose for line in view["notes"]
    )


# --- what is found again -----------------------------------------------------------------------------------


def settled(scenario: Scenario, truth: dict[str, float]) -> Scenario:
    """A side with these knobs that knows what going on with the ball is worth to it."""
    side = with_knobs(scenario, truth)
    return with_knobs(side, {CARRYING: measure_carrying(side, 2, each=CARRYING_POSSESSIONS).points})


# Of losses only the rate is found again: who loses the ball often shoots sooner (.9 is found as .33).
@pytest.mark.parametrize("truth", [{"fouls": 0.55, "losses": 0.7}, {"fouls": 0.15, "losses": 0.9}])
def test_a_side_that_the_model_played_itself_is_found_again(
    scenario: Scenario, truth: dict[str, float]
) -> None:
    """Known knobs write a sheet on luck of its own; the fit's rates are theirs within four standard errors
    of sheet and fit together, and the prior of 60 moves them by less."""
    charted = play_men(settled(scenario, truth), GAMES, SHEET_SEED)
    found = fit_sheet(sheet_of(charted, scenario), scenario, 1, possessions=RUN)
    again = play_men(with_knobs(scenario, values_of(found.to_dict())), GAMES, SHEET_SEED + 1)
    for aim, one in zip(aims_of(sheet_of(charted, scenario)), found.followed, strict=True):
        (there, error), (here, more) = aim.of(charted), aim.of(again)
        noise = math.sqrt(error**2 + more**2 + one.standard_error**2)
        assert abs(here - there) < 4 * noise + (1 - one.own_share) * abs(one.before - one.sheet)
        before = abs(one.before - one.sheet)
        assert before > 2.5 * noise and abs(here - there) < before / 2, "there was something to find"
        assert (one.value > ranges(scenario)[one.knob][0]) == (one.sheet > one.before)
        if one.knob == "fouls":
            assert abs(one.value - truth[one.knob]) < 0.5 * abs(
                ranges(scenario)[one.knob][0] - truth[one.knob]
            )


def test_who_shoots_how_often_is_found_again(scenario: Scenario) -> None:
    """Known reluctances write a sheet on luck of its own: every man's twos and threes among the side's shots
    come back within four standard errors of sheet, fit and check, and what the prior of 60 holds back."""
    wing, guard = scenario.offence_team.lineup[1], scenario.offence_team.lineup[0]
    truth = {f"three {wing}": 0.25, f"two {guard}": -0.4}
    sheet = sheet_of(play_men(settled(scenario, truth), GAMES, SHEET_SEED), scenario)
    found = fit_sheet(sheet, scenario, 1, possessions=RUN)
    back = with_knobs(scenario, values_of(found.to_dict()))
    there = shares_of(sheet, sheet.counts)
    before, here = (shares_of(sheet, play_men(one, GAMES, SHEET_SEED + 1).sums) for one in (scenario, back))
    assert (
        np.abs(before - there).sum() > 3.0 * np.abs(here - there).sum() and np.abs(before - there).max() > 0.1
    )


def test_few_counts_move_little(scenario: Scenario, carrying_is_short: None) -> None:
    charted = play_men(with_knobs(scenario, {"losses": 1.0}), 20, SHEET_SEED)
    few = fit_sheet(sheet_of(charted, scenario), scenario, 1, possessions=1000)
    for one in few.followed:
        assert one.own_share < 0.4 and abs(one.aim - one.before) < 0.4 * abs(one.sheet - one.before) + 1e-12


def test_a_knob_stops_at_the_end_of_its_range(scenario: Scenario, carrying_is_short: None) -> None:
    charted = play_men(scenario, 400, SHEET_SEED)
    sums = charted.sums.copy()
    sums[:, KINDS.index("free_throws")] = 3 * sums[:, [KINDS.index("twos"), KINDS.index("threes")]].sum(
        axis=1
    )
    high = load_constants()["shot_foul_p"].high
    at_end = scenario.model_copy(update={"constants": {**scenario.constants, "shot_foul_p": high}})
    found = fit_sheet(SheetCounts(sums, (0, 1, 2, 3, 4), True, tuple(FIVE)), at_end, 1, possessions=600)
    assert found.followed[0].stopped and found.followed[0].value == high
    assert found.followed[0].after < found.followed[0].aim / 2


def test_the_knobs_move_what_they_say_inside_its_range(scenario: Scenario) -> None:
    known = load_constants()
    assert config_hash(with_knobs(scenario, {})) == config_hash(scenario)
    for value in (-1.3, 0.4, 1.3):
        moved = with_knobs(scenario, {"losses": value}).constants
        assert {name for name in moved if moved[name] != scenario.constants[name]} <= set(LOSSES)
        for name in LOSSES:
            wanted = scenario.constants[name] * math.exp(value)
            assert moved[name] == min(max(wanted, known[name].low), known[name].high)
    assert with_knobs(scenario, {"fouls": 0.41}).constants["shot_foul_p"] == 0.41


def test_the_fit_is_the_same_for_any_number_of_threads(
    scenario: Scenario, folder: Path, carrying_is_short: None
) -> None:
    sheet = sheet_counts(load_evening(folder))
    assert sheet is not None
    one, three = (fit_sheet(sheet, scenario, 1, threads, possessions=300) for threads in (1, 3))
    assert one == three
    assert fit_sheet(sheet, scenario, 2, possessions=300) != one


def test_damped_newton_solves_a_bent_function() -> None:
    """Two rates with cross effects: solved within their errors, the root known."""
    root = np.array([0.3, -0.2])

    def play(knobs: np.ndarray) -> np.ndarray:
        z = knobs - root
        rates = np.array([z[0] + 0.3 * z[0] ** 2 + 0.2 * z[1], 0.5 * z[1] - 0.1 * z[0]])
        return np.stack([rates, np.full(2, 1e-5)], axis=1)

    within = Range(np.array([0.1, 0.1]), np.full(2, -2.0), np.full(2, 2.0))
    begin = np.zeros(2)
    matrix = np.array([[1.0, 0.2], [-0.1, 0.5]])
    found, rates = solve(play, begin, play(begin), np.zeros(2), matrix, within, 12)
    assert found == pytest.approx(root, abs=1e-4) and np.abs(rates[:, 0]).max() < 1e-5


# --- one opponent for all commands -------------------------------------------------------------------------


def test_every_part_of_the_evening_plays_the_fitted_opponent(folder: Path) -> None:
    played = Played(evening := load_evening(folder), 5, effort=ReportSize(possessions=200))
    compared, sheet = played.part("compare"), played.part("sheet")
    values = values_of(played.part("fit"))
    own = {f"{kind} {number}" for kind in ("two", "three") for number in FIVE}
    assert set(values) == {CARRYING, ELSEWHERE, TRAPPED, PASSED_OUT, "fouls", "losses", *own}
    assert sheet["fit"] == played.part("fit")
    assert config_hash(with_knobs(evening.scenario, values)) != config_hash(played.scenario)
    side = fitted(evening.scenario, played.part("fit"))
    assert config_hash(side) != config_hash(evening.scenario)
    assert compared["config_hash"] == sheet["config_hash"] == config_hash(side)
    assert played.evening.scenario == side and played.scenario.constants == side.constants
    needs = set(NEEDS) - {"fit", "attack"}  # our attack meets their defence, not their shooters
    assert all("fit" in needed(name) for name in needs), "a part that is not of the fitted opponent"
    rates = {row["key"]: row["tonight"] for row in sheet["rows"] if row["number"] is None}
    of_compare = compared["baseline"]["rates"]
    assert rates["threes"] == of_compare["three_attempts"]["mean"]
    assert rates["free_throws"] == of_compare["free_throws_per_field_goal"]["mean"]
    assert rates["effective"] == pytest.approx(of_compare["effective_field_goal"]["mean"], rel=1e-12)


def test_what_is_kept_does_not_hide_the_fit(tmp_path: Path) -> None:
    """compare, then plan from what compare kept, as two commands; and the fit gone with compare kept."""
    folder = write_evening(tmp_path / "sheets", {"opponent.csv": counted()})
    effort = ReportSize(possessions=100, games=10, table_parts=1)

    def opened() -> Played:
        evening = load_evening(folder)
        file = EveningFile(folder, inputs_digest(evening), lambda line: pytest.fail(line))
        return Played(evening, 5, effort=effort, file=file)

    first = opened()
    compared = first.part("compare")
    second = opened()
    assert second.missing("plan") == ["plan"]
    assert config_hash(second.scenario) == config_hash(first.scenario), "the kept fit is not taken"
    for played in (opened(), second):
        found = played.part("plan")
        side = fitted(load_evening(folder).scenario, played.part("fit"))
        assert found["config_hash"] == compared["config_hash"] == config_hash(side)
        assert config_hash(side) != config_hash(load_evening(folder).scenario)
        with closing(sqlite3.connect(folder / NAME)) as db, db:
            db.execute("DELETE FROM results WHERE part IN ('plan', 'fit')")
    third = opened()
    assert third.missing("plan") == ["fit", "plan"]
    assert third.part("plan")["config_hash"] == compared["config_hash"]


def test_the_file_is_of_the_shipped_fronts_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shipped = tmp_path / "configs"
    shutil.copytree(configs_root(), shipped)
    monkeypatch.setattr(evening_file, "configs_root", lambda: shipped)
    before = evening_file.sources()
    assert before == evening_file.sources()
    for kind, name in (("alignments", "overload"), ("court", "regions"), ("model", "stress")):
        path = shipped / kind / f"{name}.toml"
        path.write_text(path.read_text(encoding="utf-8") + "# edited", encoding="utf-8")
        assert evening_file.sources() != before, kind
        before = evening_file.sources()


def needed(name: str) -> set[str]:
    """A part's needs, and theirs."""
    return set(NEEDS[name]).union(*(needed(other) for other in NEEDS[name]))


@pytest.mark.full
def test_the_opponent_is_the_same_for_every_seed(folder: Path) -> None:
    effort = ReportSize(possessions=50)
    one, other = (Played(load_evening(folder), seed, effort=effort) for seed in (1, 9))
    assert one.key("fit") == other.key("fit") and one.key("compare") != other.key("compare")
    assert one.part("fit") == other.part("fit")


def test_commands_beside_the_evening_play_the_same_opponent(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """play, stress and replay read the fit that compare has kept, and the fit is played once."""
    folder = write_evening(tmp_path / "sheets", {"opponent.csv": counted()})
    hashes = {}
    for command, more in (
        ("compare", ["-n", "200"]),
        ("play", ["-n", "200"]),
        ("stress", ["-n", "20", "--worlds", "16"]),
    ):
        target = tmp_path / f"{command}.json"
        assert cli.run([command, str(folder), *more, "--json", str(target)]) == 0
        said = capsys.readouterr().err
        assert ("for fit, compare" in said) == (command == "compare") and (folder / NAME).exists()
        assert ("(200 possessions, seed" in said) == (command == "compare")
        assert (f"at most {MOST_RUNS} runs of {FIT_POSSESSIONS:,}" in said) == (command == "compare")
        hashes[command] = json.loads(target.read_text(encoding="utf-8"))
    home = hashes["compare"]["baseline"]["points_per_possession"]
    assert hashes["play"]["points_per_possession"] == home
    assert hashes["play"]["config_hash"] == hashes["compare"]["config_hash"]
    assert hashes["stress"]["worlds"]["not_asked"] == ["points", "turnovers"]
    assert cli.run(["trace", str(folder), "--index", "3", "-o", str(tmp_path / "trace.csv"), "--quiet"]) == 0


def test_the_line_before_the_fit_alone_says_its_own_size(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = write_evening(tmp_path / "sheets", {"opponent.csv": counted()})
    assert cli.run(["play", str(folder), "-n", "50", "--seed", "123"]) == 0
    said = capsys.readouterr().err
    assert f"for fit (fit: at most {MOST_RUNS} runs of {FIT_POSSESSIONS:,}, the scenario's seed)" in said
    assert "20,000" not in said and "123" not in said


def test_an_edited_count_is_another_evening(tmp_path: Path) -> None:
    one = load_evening(write_evening(tmp_path / "one", {"opponent.csv": counted()}))
    again = load_evening(write_evening(tmp_path / "again", {"opponent.csv": counted()}))
    more = {**FIVE, 5: (*FIVE[5][:-1], FIVE[5][-1] + 1)}
    other = load_evening(write_evening(tmp_path / "other", {"opponent.csv": counted(more)}))
    assert config_hash(one.scenario) == config_hash(other.scenario), "a lost ball is in no team file"
    assert inputs_digest(one) == inputs_digest(again) != inputs_digest(other)


@pytest.mark.full
def test_the_programming_interface_plays_the_fitted_opponent_or_says_that_it_does_not(
    folder: Path, tmp_path: Path
) -> None:
    mine = shutil.copytree(folder, tmp_path / "mine", ignore=shutil.ignore_patterns(f"{NAME}*"))
    evening = Played(load_evening(mine), effort=ReportSize(possessions=50))
    evening.part("fit")
    fitted = config_hash(evening.scenario)
    compared = engine.compare(mine, 50)
    assert compared.to_dict()["config_hash"] == fitted and (mine / NAME).exists()
    assert engine.play(mine, 50).to_dict()["config_hash"] == fitted  # the fit is read now
    loaded, numbers = engine.load(mine), range(12)
    first, same, other = (
        [engine.replay(one, i).events().shape for i in numbers] for one in (mine, evening.scenario, loaded)
    )
    assert first == same != other
    assert config_hash(loaded) == config_hash(load_evening(mine).scenario) != fitted
    (told,) = engine.play(loaded, 50).to_dict()["assumed"]
    assert "not fitted to their sheet" in told and "give engine.play" in told
    makes = write_evening(tmp_path / "makes", {"opponent.csv": OPPONENT})
    assert engine.load(makes).assumed == () and engine.play(makes, 50).to_dict()["assumed"] == []


def test_a_sheet_with_makes_alone_is_not_fitted(tmp_path: Path) -> None:
    evening = load_evening(write_evening(tmp_path, {"opponent.csv": OPPONENT}))
    played = Played(evening, 5, effort=ReportSize(possessions=50))
    assert played.part("fit") == {} and played.missing("compare") == ["compare"]
    assert config_hash(played.scenario) == config_hash(evening.scenario)


def test_the_page_says_what_is_followed_and_what_is_not(folder: Path) -> None:
    found: Any = Played(load_evening(folder), 5, effort=ReportSize(possessions=400)).part("sheet")
    view = sheet_view(found)
    assert view is not None
    said = " ".join(view["notes"])
    assert "fitted to the free throws and the lost balls of your sheet" in said and "as if 60 shots" in said
    assert "How often a man shoots, how many of it are threes, and how well, follow his counts." in said
    short = [
        one["stopped"] and abs(one["after"] - one["aim"]) > one["standard_error"]
        for one in found["fit"]["followed"]
    ]
    assert said.count("cannot be followed further") == sum(short)
