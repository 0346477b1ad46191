"""The sheet of calls: a coach's own idea becomes a setting, cell by cell, weighed beside the usual ones."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from sheet_files import CALLS, Table, with_cell, with_key, write_evening

from engine import cli
from engine.checks.files import check_path
from engine.errors import InputError
from engine.inputs.calls import Call, load_call
from engine.inputs.sheets import Evening, load_evening
from engine.inputs.sheets.columns import CALL_COLUMNS, CALL_PLACES, TRIGGER_WORDS
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


def test_an_empty_row_but_for_the_place_is_the_usual_call_and_is_weighed_once(tmp_path: Path) -> None:
    for where, same in (
        ("corner", "corner trap"),
        ("Low post", "short-corner trap"),
        ("top", "trap at the top, every second time"),
        ("half court", "trap at the top, every second time"),
    ):
        found = ideas(tmp_path, {"word": "hush", "where": where})
        assert own(found) == {}
        (line,) = (line for line in found.remarks if "same as" in line)
        assert line == f'calls.csv: "hush (own call)" is the same as "{same}": weighed once, as "{same}".'
        (call,) = next(s.calls for s in found.scenario.settings if s.name == same)
        assert found.signals[call.name] == ("red" if where == "corner" else "hush")


def test_a_usual_call_among_others_of_one_word_and_an_idea_said_twice_are_one_call(tmp_path: Path) -> None:
    both = [{"word": "hush", "where": "corner"}, {"word": "hush", "where": "wing", "on_whom": "10"}]
    found = ideas(tmp_path, *both, {"word": "again", "where": "wing", "on_whom": "10"})
    ((name, (corner, wing)), (second, (again,))) = own(found).items()
    assert (name, second) == ("hush (own call)", "again (own call)")
    assert corner is next(s for s in found.scenario.settings if s.name == "corner trap").calls[0]
    assert again is wing and wing.name == "hush, wing"


def test_check_says_of_each_own_call_what_it_was_understood_as(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [
        {"word": "hush", "where": "top", "most_a_game": "2 a quarter", "on_whom": "10"},
        {"where": "wing", "how_often": "40%", "on_whom": "everybody", "who_doubles": "nearest two",
         "trigger": "catch", "most_a_game": "6"},
        {"where": "corner", "how_often": "Twice a half"},
    ]  # fmt: skip
    ideas(tmp_path, *rows)
    assert cli.run(["check", str(tmp_path)]) == 0
    said = [line.strip() for line in capsys.readouterr().out.splitlines() if "Own call" in line]
    assert said == [
        'Own call "hush, top": on No. 10, at most 8 a game. Assumed, as usual there: every second time, '
        "near guard and far guard double, set off by brought down.",
        'Own call "own wing trap": on everybody, 40 of 100 times, at most 6 a game, the nearest two double, '
        "set off by catch.",
        'Own call "own corner trap": every time, at most 4 a game. Assumed, as usual there: on everybody, '
        "near guard and near forward double, set off by pass in the air.",
    ]


@pytest.mark.parametrize(
    ("said", "uses"),
    [("once a game", 1), ("twice a quarter", 8), ("Twice per half", 4), ("3 times a quarter", 12),
     ("three times in every half", 6), ("5 a game", 5), ("2 a period", 8)],
)  # fmt: skip
def test_a_plain_frequency_is_every_chance_until_the_uses_are_up(
    tmp_path: Path, said: str, uses: int
) -> None:
    call = one(tmp_path, where="wing", how_often=said)
    assert (call.probability, call.budget) == (1.0, uses)
    assert one(tmp_path, where="wing", how_often="40%", most_a_game=said).budget == uses


def test_two_answers_that_differ_and_a_bare_number_of_times_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"most_a_game: '6'.*the 8 a game that how_often says"):
        one(tmp_path, where="wing", how_often="twice a quarter", most_a_game="6")
    assert one(tmp_path, where="wing", how_often="twice a quarter", most_a_game="8").budget == 8
    for wrong in ("6", "twice", "none a game", "0 a game", "twice a week"):
        with pytest.raises(InputError, match=r"column how_often.*twice a quarter"):
            one(tmp_path, where="wing", how_often=wrong)


def test_every_cell_acts(tmp_path: Path) -> None:
    usual = load_call("configs/calls/corner.toml")
    assert one(tmp_path, where="corner", how_often="every third time").probability == pytest.approx(1 / 3)
    assert one(tmp_path, where="corner", how_often="40%").probability == pytest.approx(0.4)
    assert one(tmp_path, where="corner", most_a_game="6").budget == 6
    assert one(tmp_path, where="corner", most_a_game="3 a quarter").budget == 3 * 4
    assert one(tmp_path, where="corner", on_whom="No. 10 and 12").only_against == (10, 12)
    assert one(tmp_path, where="corner", on_whom="weak handlers").only_against == (12,)
    assert one(tmp_path, where="corner", on_whom="everybody", most_a_game="5").only_against == ()
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
        {"word": "hammer", "where": "corner", "on_whom": "10"},
        {"word": "Hammer", "where": "wing", "on_whom": "10"},
        {"where": "top", "on_whom": "10"},
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


def test_an_idea_on_one_of_theirs_needs_their_sheet(tmp_path: Path) -> None:
    """Average players stand in for who is on no sheet: nobody is told to choose one of their numbers."""
    from sheet_files import OPPONENT

    row = dict.fromkeys(CALLS[0], "") | {"where": "top"}
    for folder, opponent in (("none", None), ("empty", OPPONENT[:1])):
        for whom in ("12", "95", "weak handlers"):
            table: Table = [CALLS[0], list((row | {"on_whom": whom}).values())]
            place = write_evening(
                tmp_path / folder, {"calls.csv": table, "opponent.csv": opponent or OPPONENT}
            )
            if opponent is None:
                (place / "opponent.csv").unlink()
                (place / "shots.csv").unlink(missing_ok=True)
            with pytest.raises(InputError) as told:
                load_evening(place)
            said = str(told.value).partition("allowed: ")[2]
            assert said.startswith("empty (everybody) as long as there is no sheet of")
            assert "write his number there first" in said and not re.search(r"\d", said)
        table = [CALLS[0], list((row | {"on_whom": "everybody"}).values())]
        place = write_evening(tmp_path / f"{folder} all", {"calls.csv": table})
        assert load_evening(place).scenario.settings
    three = [OPPONENT[0], *OPPONENT[1:4]]  # two average players fill them up
    numbers = sorted(int(man[0]) for man in three[1:])
    table = [CALLS[0], list((row | {"on_whom": "95"}).values())]
    with pytest.raises(InputError, match=rf"\({', '.join(map(str, numbers))}\)"):
        load_evening(write_evening(tmp_path / "three", {"opponent.csv": three, "calls.csv": table}))


def test_note_drop_down_and_error_list_the_same_words(tmp_path: Path) -> None:
    """Of where and trigger; in man-to-man at the top every trigger fits, in the 2-3 zone every place."""
    where, trigger = (next(one for one in CALL_COLUMNS if one.name == name) for name in ("where", "trigger"))
    assert where.choices == CALL_PLACES and trigger.choices == tuple(TRIGGER_WORDS)
    for column, row, keys, rest in (
        (where, {"where": "moon"}, {}, set()),
        (where, {"where": "moon"}, {"zone_allowed": "no"}, {"half court corner"}),
        (trigger, {"where": "corner", "trigger": "moon"}, {}, {
            "over half court (at the top)", "brought down (at the top)", "screen on the ball (man-to-man)"}),
        (trigger, {"where": "corner", "trigger": "moon"}, {"zone_allowed": "no"}, {
            "over half court (at the top)", "brought down (at the top)"}),
    ):  # fmt: skip
        with pytest.raises(InputError) as told:
            ideas(tmp_path, row, **keys)
        said = str(told.value).partition("allowed: one of ")[2].partition(";")[0]
        fit, _, not_here = said.removesuffix(")").partition(" (not here: ")
        listed = [*fit.split(", "), *filter(None, not_here.split(", "))]
        note = column.help.partition(", as far")[0].partition("; empty")[0].removeprefix("what sets it off: ")
        assert sorted(listed) == sorted(note.split(", ")) and set(not_here.split(", ")) - {""} == rest
        assert [word.partition(" (")[0] for word in note.split(", ")] == list(column.choices)


def test_without_trap_advice_no_idea_is_weighed(tmp_path: Path) -> None:
    found = ideas(tmp_path, {"where": "corner"}, trap_allowed="no")
    assert own(found) == {} and "calls.csv: not weighed, as there is no trap advice." in found.remarks


def test_in_man_to_man_the_nearest_two_double(tmp_path: Path) -> None:
    row = {"where": "top", "who_doubles": "near guard and far guard", "most_a_game": "4"}
    found = ideas(tmp_path, row, zone_allowed="no")
    ((call,),) = own(found).values()
    assert call.dynamic and call.budget == 4
    assert any("whoever is named at who_doubles" in line for line in found.remarks)


def test_every_trigger_has_a_word() -> None:
    assert set(TRIGGER_WORDS.values()) == set(TRIGGERS)
    assert set(words.TRIGGER_WORDS) == set(words.SHORT_TRIGGERS) == set(TRIGGERS)


def test_a_band_goes_with_the_ball_brought_down_into_it(tmp_path: Path) -> None:
    """A call over half court in a band short of it would never be made, nor one brought down to nowhere."""
    usual = load_call("configs/calls/top.toml")
    assert usual.triggers == ("brought_down",) and usual.from_baseline_m
    assert (
        one(tmp_path, where="top", trigger="brought down", on_whom="10").from_baseline_m
        == usual.from_baseline_m
    )
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


def test_a_screen_sets_a_call_off_where_every_defender_has_a_man(tmp_path: Path) -> None:
    row = {"where": "top", "trigger": "screen on the ball", "most_a_game": "4"}
    ((call,),) = own(ideas(tmp_path, row, zone_allowed="no")).values()
    assert call.triggers == ("screen",)
    with pytest.raises(InputError, match="column trigger"):
        ideas(tmp_path, row)


def test_check_warns_of_a_call_that_never_comes_up(tmp_path: Path) -> None:
    """His own call at the top, for the centre who never has the ball there; on everybody it comes up."""
    head = CALLS[0]
    row = [{"word": "fox", "where": "top", "on_whom": "33"}.get(column, "") for column in head]
    never, usual = (
        [
            line
            for line in check_path(write_evening(tmp_path / name, {"calls.csv": [head, mine]}))
            if "fox" in line
        ]
        for name, mine in (("never", row), ("usual", [cell.replace("33", "") for cell in row]))
    )
    warned = [line for line in never if "never came up in a try of 1,000 possessions" in line]
    assert len(warned) == 1 and 'Fox, top ("fox (own call)")' in warned[0]
    assert (
        "it is only for No. 33: he never gets a chance for it in 1,000 possessions, all five together"
        in warned[0]
    )
    assert usual and not any("never came up" in line for line in usual)
