"""Who shoots is carried over from the sheet to a kind of defence that it does not count, or not alone."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sheet_files import GAME, OPPONENT, counted, write_evening

from engine.inputs import load_zone
from engine.inputs.scenario import IN_A_TRAP, OUT_OF_A_TRAP, attackers_against, config_hash
from engine.inputs.sheets import Evening, load_evening
from engine.inputs.sheets.met import TONIGHT, Met
from engine.report.sheet_view import CARRIED, sheet_view
from engine.run.size import check_size
from engine.study.compare import compare
from engine.study.evening_report import Played, ReportSize
from engine.study.evening_zone_or_men import zone_or_men
from engine.study.play import play
from engine.study.sheet.counts import SheetCounts, sheet_counts
from engine.study.sheet.fit import fit_sheet, shares_of
from engine.study.sheet.habits import Share, fit_habits
from engine.study.sheet.knobs import PASSED_OUT, TRAPPED, fitted, values_of, with_habits, with_knobs
from engine.study.sheet.men import play_men, play_met
from engine.study.sheet.met import instead, met_games
from engine.study.sheet.rows import compare_sheet, rows
from engine.world.pack import pack

#: Possessions of a sheet that the model writes itself, and of each run of the habits' fit.
GAMES, RUN = 6000, 3000


def evening_with(folder: Path, **answers: str) -> Evening:
    """An evening with these answers on the sheet of the game, and counts of every man of theirs."""
    game = [row for row in GAME if row[0] not in answers] + [[key, value] for key, value in answers.items()]
    return load_evening(write_evening(folder, {"game.csv": game, "opponent.csv": counted()}))


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Evening:
    return evening_with(tmp_path_factory.mktemp("habits") / "sheets", counted_against="man-to-man")


def planted(evening: Evening) -> dict[str, dict[int, tuple[float, float]]]:
    """Against a zone the guard is eager and the wing is not; against men the other way round."""
    guard, wing, *_ = evening.scenario.offence_team.lineup
    eager, shy = (-0.3, -0.3), (0.3, 0.3)
    return {"zone": {guard: eager, wing: shy}, "men": {guard: shy, wing: eager}}


def as_team(evening: Evening, kind: str) -> Any:
    """The scenario as somebody would write it whose men always shoot as is planted against this kind."""
    own = planted(evening)[kind]
    values = {f"{name} {n}": own[n][i] for n in own for i, name in enumerate(("two", "three"))}
    return with_knobs(evening.scenario, values)


# --- where they live ----------------------------------------------------------------------------------------


def test_habits_are_of_the_kind_that_is_played(evening: Evening) -> None:
    """In every world that is packed, and for men that are not named as in the team."""
    men, scenario = evening.men, evening.scenario.model_copy(update={"habits": planted(evening)})
    assert men is not None
    found = pack(scenario.model_copy(update={"settings": (*scenario.settings, men)}))
    names = ("reluctance_two_points", "reluctance_three_points")
    for world, kind in (
        (found.home, "zone"),
        (found.settings[0].world, "zone"),
        (found.settings[-1].world, "men"),
    ):
        told = as_team(evening, kind).offence_team.on_court
        for row, player in zip(world[0].players, told, strict=False):
            assert [row[name] for name in names] == [getattr(player, name) for name in names]
        assert (
            attackers_against(scenario, load_zone({"zone": "two_three", "men": "man_to_man"}[kind])) == told
        )
    assert config_hash(scenario) != config_hash(evening.scenario)


def test_zone_or_men_plays_each_with_its_own_habits(evening: Evening) -> None:
    """The zone as a team of its men, man-to-man as a team of others, on the same luck."""
    men, size = evening.men, check_size(300, 2, None)
    assert men is not None
    scenario = evening.scenario.model_copy(update={"habits": planted(evening)})
    found = zone_or_men(scenario, men, {}, (16, 20), size).to_dict()
    zone = play(as_team(evening, "zone").model_copy(update={"settings": ()}), 300, 2).to_dict()
    against_men = play(instead(as_team(evening, "men"), men), 300, 2).to_dict()
    assert found["zone"]["points_per_possession"] == zone["points_per_possession"]
    assert found["men"]["points_per_possession"] == against_men["points_per_possession"]
    for kind in ("zone", "men"):  # neither of them is what one team alone would bring
        alone = as_team(evening, kind).model_copy(update={"settings": (men,)})
        once = compare(alone, 300, 2).to_dict()
        both = once["baseline"]["points_per_possession"], once["settings"][0]["points_per_possession"]
        assert both != (zone["points_per_possession"], against_men["points_per_possession"])
    assert found["habits"] is None, "nothing was fitted"


@pytest.mark.parametrize(("word", "tonight", "men"), [("men", 1, 0), ("zone", 0, 1), ("both", 1, 1)])
def test_each_kind_is_fitted_that_was_not_met_alone(
    word: str, tonight: int, men: int, tmp_path: Path
) -> None:
    played = Played(
        evening_with(tmp_path / "s", counted_against=word),
        effort=ReportSize(possessions=200, worlds=16, world_possessions=20),
    )
    fit, found = played.part("fit"), played.part("zone_or_men")
    assert (fit["tonight"] is not None) == tonight and (found["habits"] is not None) == men
    assert list(played.scenario.habits) == ["zone"] * tonight
    if tonight:
        assert fit["tonight"]["kind"] == "zone"
    if men:
        assert found["habits"]["kind"] == "men"
        there = with_habits(played.scenario, found["habits"])
        assert played.evening.men is not None
        again = play(instead(there, played.evening.men), 200, played.size.seed).to_dict()
        if word == "both":  # else what going on is worth to them is measured there, too
            assert found["men"]["points_per_possession"] == again["points_per_possession"]


# --- the table in the defence they met ----------------------------------------------------------------------


@pytest.mark.parametrize("word", ["man-to-man", "both"])
def test_what_they_met_is_played_with_the_habits_of_there(word: str, evening: Evening) -> None:
    """To the bit, whatever the habits are; tonight is played with its own."""
    sheet, size = sheet_counts(evening), check_size(300, 4, None)
    assert sheet is not None
    met = Met(word, word == "both", evening.met.other)
    scenario = evening.scenario.model_copy(update={"habits": planted(evening)})
    found = compare_sheet(sheet, scenario, met, size, {}).rows
    without = rows(sheet, play_met(met_games(evening.scenario, met), 300, 4))
    assert [one.to_dict() | {"tonight": None} for one in found] == [one.to_dict() for one in without]
    tonight = rows(sheet, play_men(as_team(evening, "zone"), 300, 4))
    assert [one.tonight for one in found] == [one.model for one in tonight]


def test_the_fit_where_they_were_counted_is_as_if_they_met_nothing_else_tonight(evening: Evening) -> None:
    """All that is held while the habits are fitted stays as it was, and is what the fit in the defence they
    met came to."""
    sheet = sheet_counts(evening)
    assert sheet is not None
    found = fit_sheet(sheet, evening.scenario, 1, possessions=300, met=evening.met)
    assert found.tonight is not None and found.met == ("men",)
    as_json = json.loads(json.dumps(found.to_dict()))
    side = fitted(evening.scenario, as_json)
    bare = with_knobs(evening.scenario, values_of(as_json))
    assert side.model_copy(update={"habits": {}}) == bare and list(side.habits) == ["zone"]
    for one in found.shares:
        man = next(p for p in side.offence_team.players if p.number == one.number)
        assert one.value == getattr(man, f"reluctance_{one.kind.removesuffix('s')}_points")
    aims = [(one.number, one.kind, one.sheet, one.aim) for one in found.shares]
    assert aims == [(one.number, one.kind, one.sheet, one.aim) for one in found.tonight.shares]
    # what they make of a trap is played once, and not measured where nobody may trap
    values = values_of(as_json)
    assert found.trapped is not None and values.pop(TRAPPED) == found.trapped.points != 0.0
    assert values.pop(PASSED_OUT) == found.trapped.passes != 0.0
    apart = with_knobs(evening.scenario, values).constants
    for name in IN_A_TRAP:
        assert side.constants[name] == pytest.approx(apart[name] + found.trapped.points)
    for name in OUT_OF_A_TRAP:
        assert side.constants[name] == pytest.approx(apart[name] + found.trapped.passes)
    home = fit_sheet(sheet, evening.scenario, 1, possessions=300, met=TONIGHT, traps=False)
    assert home.trapped is None and TRAPPED not in values_of(home.to_dict())
    assert home.tonight is None and fitted(evening.scenario, home.to_dict()).habits == {}


# --- what the fit finds -------------------------------------------------------------------------------------


def test_habits_against_men_are_found_again_in_the_zone(evening: Evening) -> None:
    """Shares that were planted against men are reached in the zone, where the same reluctances miss them."""
    other = evening.met.other
    assert other is not None
    side = as_team(evening, "men")
    charted = play_men(instead(side, other), GAMES, 77)
    sheet = SheetCounts(charted.sums, (0, 1, 2, 3, 4), True, side.offence_team.lineup)
    aims = shares_of(sheet, charted.sums)
    shares = [
        Share(player.number, kind, own, False, *[float(aim)] * 4, 0.0)
        for player, row in zip(side.offence_team.on_court, aims, strict=True)
        for kind, own, aim in zip(
            ("twos", "threes"),
            (player.reluctance_two_points, player.reluctance_three_points),
            row,
            strict=True,
        )
    ]
    found = fit_habits(side, shares, RUN, 1, 1)
    assert found == fit_habits(side, shares, RUN, 1, 3), "the same for any number of threads"
    there = with_habits(side, asdict(found))
    off = {
        name: np.abs((shares_of(sheet, play_men(one, GAMES, 78).sums) - aims).sum(axis=1))
        for name, one in (("as they are", side), ("fitted", there))
    }
    assert off["fitted"].sum() < 0.5 * off["as they are"].sum()
    # luck of the counts, of the fit and of this look: .006 to .01 each, of the greatest of five men
    assert off["fitted"].max() < 0.05 < off["as they are"].max()
    for two, three in zip(found.shares[::2], found.shares[1::2], strict=True):  # moved alike
        before = next(p for p in side.offence_team.on_court if p.number == two.number)
        assert two.value - before.reluctance_two_points == pytest.approx(
            three.value - before.reluctance_three_points
        )


# --- what is told -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "said"),
    [("men", "games against man-to-man:"), ("both", "games against man-to-man, too:"), ("zone", "")],
)
def test_check_says_that_it_is_assumed(typed: str, said: str, tmp_path: Path) -> None:
    found = evening_with(tmp_path / "s", counted_against=typed)
    lines = [line for line in found.assumptions if "shoots tonight" in line]
    assert len(lines) == bool(said) and all(said in line for line in lines)
    blank = [["number"], *([row[0]] for row in OPPONENT[1:])]
    game = [*GAME, ["counted_against", typed]]
    bare = load_evening(write_evening(tmp_path / "t", {"game.csv": game, "opponent.csv": blank}))
    assert not any("shoots tonight" in line for line in bare.assumptions), "nobody's shots are counted"


def test_the_table_says_that_it_is_assumed_and_who_stopped(evening: Evening) -> None:
    played = Played(evening, effort=ReportSize(possessions=200))
    found = played.part("sheet")
    view = sheet_view(found)
    assert view is not None and CARRIED in view["notes"]
    found = json.loads(json.dumps(found))
    one = found["fit"]["tonight"]["shares"][0]
    one |= {"stopped": True, "after": one["aim"] + 0.1, "standard_error": 0.01}
    view = sheet_view(found)
    said = f"No. {one['number']} takes more {one['kind']} tonight than on your sheet"
    assert view is not None and any(note.startswith(said) for note in view["notes"])
    found["fit"]["tonight"] = None
    view = sheet_view(found)
    assert view is not None and CARRIED not in view["notes"]
