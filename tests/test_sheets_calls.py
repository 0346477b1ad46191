"""The sheet of calls: a coach's own idea becomes a setting, cell by cell, weighed beside the usual ones."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from sheet_files import CALLS, Table, with_cell, with_key, write_evening

from engine import cli
from engine.errors import InputError
from engine.inputs.calls import Call, load_call
from engine.inputs.sheets import Evening, load_evening
from engine.inputs.sheets.columns import TRIGGER_WORDS
from engine.inputs.sheets.data import load_usual_calls
from engine.report import words
from engine.state.words import TRIGGERS


def ideas(folder: Path, *rows: dict[str, str], **keys: str) -> Evening:
    """The evening with these rows on the sheet of calls."""
    table: Table = [CALLS[0], *([row.get(name, "") for name in CALLS[0]] for row in rows)]
    changed = {"calls.csv": table}
    for key, value in keys.items():
        changed["game.csv"] = with_key(key, value)
    return load_evening(write_evening(folder, changed))


def own(found: Evening) -> dict[str, tuple[Call, ...]]:
    """The settings that are no usual ones."""
    usual = {item.name for base in load_usual_calls().base for item in base.usual}
    return {s.name: s.calls for s in found.scenario.settings if s.name not in usual}


def one(folder: Path, **row: str) -> Call:
    ((call,),) = own(ideas(folder, row)).values()
    return call


def test_an_empty_row_but_for_the_place_is_the_usual_call(tmp_path: Path) -> None:
    for where, name in (
        ("corner", "corner"),
        ("Low post", "short_corner"),
        ("top", "top"),
        ("half court", "top"),
    ):
        call = one(tmp_path, where=where)
        usual = load_call(f"configs/calls/{name}.toml")
        assert call.model_dump(exclude={"name", "title"}) == usual.model_dump(exclude={"name", "title"})
        assert call.name == f"own {usual.spot} trap"


def test_every_cell_acts(tmp_path: Path) -> None:
    usual = load_call("configs/calls/corner.toml")
    assert one(tmp_path, where="corner", how_often="every third time").probability == pytest.approx(1 / 3)
    assert one(tmp_path, where="corner", how_often="40%").probability == pytest.approx(0.4)
    assert one(tmp_path, where="corner", most_a_game="6").budget == 6
    assert one(tmp_path, where="corner", most_a_game="2 a quarter").budget == 2 * 4
    assert one(tmp_path, where="corner", on_whom="No. 10 and 12").only_against == (10, 12)
    assert one(tmp_path, where="corner", on_whom="weak handlers").only_against == (12,)
    assert one(tmp_path, where="corner", on_whom="everybody").only_against == ()
    assert one(tmp_path, where="corner", trigger="catch, ball held").triggers == ("catch", "held")
    changed = one(tmp_path, where="corner", who_doubles="near forward and centre")
    assert changed.doubles == ("near_forward", "centre") and usual.doubles == ("near_guard", "near_forward")
    # the guard who is set free goes where the centre went; the others as they are
    assert changed.cover["near_guard"] == usual.cover["centre"]
    assert {r: changed.cover[r] for r in ("far_guard", "far_forward")} == {
        r: usual.cover[r] for r in ("far_guard", "far_forward")
    }
    nearest = one(tmp_path, where="corner", who_doubles="nearest two")
    assert nearest.dynamic and list(nearest.cover.values()) == list(usual.cover.values())


def test_options_go_with_the_role_that_takes_over(tmp_path: Path) -> None:
    """The wing trap has rows that an option puts in; they name roles, too."""
    call = one(tmp_path, where="wing", who_doubles="near guard and far forward")
    usual = load_call("configs/calls/wing.toml")
    assert call.cover["near_forward"] == usual.cover["far_forward"]
    assert [row.role for row in call.option] == ["near_forward", "far_guard"]


def test_rows_with_the_same_word_are_one_idea(tmp_path: Path) -> None:
    found = ideas(
        tmp_path,
        {"word": "hammer", "where": "corner"},
        {"word": "Hammer", "where": "wing"},
        {"where": "top"},
        {"where": "top", "trigger": "dribbled in"},
    )
    assert {name: [call.spot for call in calls] for name, calls in own(found).items()} == {
        "hammer (own call)": ["corner", "wing"],
        "own top trap": ["top"],
        "own top trap 2": ["top"],
    }
    names = [call.name for calls in own(found).values() for call in calls]
    assert len(set(names)) == len(names)
    assert {name: word for name, word in found.signals.items() if ", " in name} == {
        "hammer, corner": "hammer",
        "Hammer, wing": "Hammer",
    }
    twice = [{"word": "hammer", "where": "low post"}, {"word": "hammer", "where": "short corner"}]
    with pytest.raises(
        InputError, match=r"row 3, column where: 'short corner'.*each place once for one word"
    ):
        ideas(tmp_path, *twice)


def test_weak_handlers_need_somebody_who_is(tmp_path: Path) -> None:
    from sheet_files import OPPONENT

    nobody = with_cell(OPPONENT, 3, "handles_pressure", "some")
    table = with_cell(CALLS, 1, "on_whom", "weak handlers")
    with pytest.raises(InputError, match=r"on_whom: 'weak handlers'.*nobody who starts for them"):
        load_evening(write_evening(tmp_path, {"opponent.csv": nobody, "calls.csv": table}))


def test_without_trap_advice_no_idea_is_weighed(tmp_path: Path) -> None:
    found = ideas(tmp_path, {"where": "corner"}, trap_allowed="no")
    assert own(found) == {} and "calls.csv: not weighed, as there is no trap advice." in found.remarks


def test_in_man_to_man_the_nearest_two_double(tmp_path: Path) -> None:
    row = {"where": "top", "who_doubles": "near guard and far guard", "most_a_game": "3"}
    found = ideas(tmp_path, row, zone_allowed="no")
    ((call,),) = own(found).values()
    assert call.dynamic and call.budget == 3
    assert any("whoever is named at who_doubles" in line for line in found.remarks)


def test_every_trigger_has_a_word() -> None:
    assert set(TRIGGER_WORDS.values()) == set(TRIGGERS)
    assert set(words.TRIGGER_WORDS) == set(words.SHORT_TRIGGERS) == set(TRIGGERS)


def test_a_band_goes_with_the_ball_brought_down_into_it(tmp_path: Path) -> None:
    """A call over half court in a band short of it would never be made, nor one brought down to nowhere."""
    usual = load_call("configs/calls/top.toml")
    assert usual.triggers == ("brought_down",) and usual.from_baseline_m
    assert one(tmp_path, where="top", trigger="brought down").from_baseline_m == usual.from_baseline_m
    over = one(tmp_path, where="top", trigger="over half court, ball held")
    assert over.triggers == ("across_half", "held") and over.from_baseline_m is None
    for row in ({"where": "top", "trigger": "over half court, brought down"},
                {"where": "corner", "trigger": "brought down"}):  # fmt: skip
        with pytest.raises(InputError, match="column trigger"):
            one(tmp_path, **row)
    path = tmp_path / "top.toml"
    text = Path("configs/calls/top.toml").read_text(encoding="utf-8")
    path.write_text(text.replace("from_baseline_m", "# from_baseline_m"), encoding="utf-8")
    with pytest.raises(InputError, match="triggers: .*from_baseline_m beside it"):
        load_call(path)


def test_an_own_call_is_weighed_beside_the_usual_ones(tmp_path: Path) -> None:
    """Under another trigger, with other trappers, against one man: it is made, and less often than on all."""
    caught = {"where": "wing", "who_doubles": "near forward and centre", "trigger": "catch"}
    rows = [
        {"word": "all", **caught},
        {"word": "ten", **caught, "on_whom": "10"},
        {"word": "near", "where": "wing", "who_doubles": "nearest two"},
        {"word": "never", "where": "top", "how_often": "1%", "on_whom": "33"},
    ]
    ideas(tmp_path / "sheets", *rows)
    target = tmp_path / "out.json"
    line = ["compare", str(tmp_path / "sheets"), "-n", "1500", "--quiet", "--json", str(target)]
    assert cli.run(line) == 0
    settings = json.loads(target.read_text())["settings"]
    made = {setting["name"]: setting["calls_per_100_possessions"] for setting in settings}
    assert made["all (own call)"] > made["ten (own call)"] > 0 < made["near (own call)"]
    assert made["never (own call)"] < 1
