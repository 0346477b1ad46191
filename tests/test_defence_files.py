"""The shipped base defences and trap calls: complete, sound on every rule set, and the same on both sides.

What a coach would ask of them (somebody on the ball everywhere, nobody on another's toes) is common practice,
no source.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from input_files import scenario as scenario_table
from input_files import write, write_all

from engine.checks.files import check_path
from engine.errors import InputError
from engine.inputs import configs_root, load_alignment, load_call, load_rules, load_scenario, load_zone
from engine.inputs.calls import misfit
from engine.inputs.files import shipped
from engine.inputs.roles import holders
from engine.inputs.zone import Zone
from engine.state.jobs import JOB_TABLE, Kind
from engine.state.words import REGIONS
from engine.still.holes import holes, setup_of
from engine.world.court import build_court
from engine.world.pack import place_of

DEFENCES = ("two_three", "man_to_man", "three_two", "one_three_one", "one_two_two", "two_three_match_up")
RULES = ("international", "high_school", "college", "professional")
CALLS = tuple(sorted(p.stem for p in (configs_root() / "calls").glob("*.toml")))


def choices_of(zone: Zone) -> list[dict[str, str]]:
    """The file as it is, and every other choice of every option, one at a time."""
    return [{}] + [{name: c} for name, option in zone.options.items() for c in option.choices]


def test_the_six_defences_are_shipped_under_their_own_names() -> None:
    assert set(shipped("zones")) >= set(DEFENCES)
    assert [load_zone(name).name for name in DEFENCES] == list(DEFENCES)


@pytest.mark.parametrize("name", DEFENCES)
def test_somebody_guards_the_ball_everywhere_and_no_two_stand_on_one_place(name: str) -> None:
    """On every rule set, whatever is chosen; the one exception is the choice that says so."""
    zone = load_zone(name)
    for rules in RULES:
        for options in choices_of(zone):
            found = holes(setup_of(zone, options, rules=load_rules(rules)))
            left_alone = [h.region for h in found if h.kind == "ball"]
            gap = name == "two_three" and options.get("top_guard") == "gap"
            assert left_alone == (["top"] if gap else []), (rules, options)
            assert [h for h in found if h.kind == "place"] == [], (rules, options)


@pytest.mark.parametrize("name", DEFENCES)
def test_every_region_has_a_row_and_every_place_is_on_the_court_on_both_sides(name: str) -> None:
    zone = load_zone(name)
    for rules in RULES:
        court = build_court(load_rules(rules))
        for row in zone.rows:
            for entry in [*row.entries.values(), *(item.entry for item in row.option)]:
                x, y = place_of(court, entry.place)
                assert court.contains(x, y) and court.contains(-x, y), (rules, row.ball, entry)
    settled = {region for row in zone.rows if "settled" in row.moment for region in row.ball}
    bump = {region for row in zone.rows if "before_bump" in row.moment for region in row.ball}
    assert settled | (bump & {"wing"}) == set(REGIONS)


@pytest.mark.parametrize("name", DEFENCES)
def test_near_is_the_ball_side(name: str) -> None:
    """Written for the ball on the right: no near role stands farther to the far side than its twin."""
    zone, court = load_zone(name), build_court(load_rules("international"))
    twins = [(role, "far" + role[4:]) for role in zone.roles if role.startswith("near_")]
    for row in zone.rows:
        for near, far in twins:
            x = [place_of(court, row.entries[role].place)[0] for role in (near, far)]
            on_ball = JOB_TABLE[row.entries[far].job].meaning.startswith("runs over")
            across = row.entries[far].job in ("front", "rim", "block")  # the help side comes over, on purpose
            assert x[0] >= x[1] or on_ball or across, (row.ball, row.moment, near)


@pytest.mark.parametrize("name", DEFENCES)
def test_somebody_is_behind_the_ball_on_every_side(name: str) -> None:
    """Rim protection: with the ball at a side, one of those off the ball is within 3.5 m of the rim."""
    zone, court = load_zone(name), build_court(load_rules("international"))
    for row in zone.rows:
        if any(entry.job == "own_man" for entry in row.entries.values()):
            continue
        if set(row.ball) & {"wing", "corner", "short_corner"}:
            off_ball = [e for e in row.entries.values() if JOB_TABLE[e.job].kind in (0, 2, 3, 4)]
            assert min(math.hypot(*place_of(court, e.place)) for e in off_ball) < 3.5, (row.ball, row.moment)


@pytest.mark.parametrize("name", DEFENCES)
def test_files_speak_for_themselves(name: str) -> None:
    zone = load_zone(name)
    text = (configs_root() / "zones" / f"{name}.toml").read_text(encoding="utf-8")
    assert text.startswith("# ") and zone.source == "common practice, no source"
    assert 1 <= len(zone.options) <= 5 and all(len(o.meaning) > 20 for o in zone.options.values())


def test_who_guards_whom_and_who_is_who() -> None:
    man = load_zone("man_to_man")
    assert sorted(man.guards.values()) == sorted(man.persons.values()) == [1, 2, 3, 4, 5]
    assert all(JOB_TABLE[e.job].kind == Kind.OWN_MAN for row in man.rows for e in row.entries.values())
    match_up = load_zone("two_three_match_up")
    assert match_up.match_up == "first_pass" and not match_up.guards
    matched = {region for row in match_up.rows if row.moment == ("matched",) for region in row.ball}
    assert matched == set(REGIONS)
    for name in ("three_two", "one_three_one", "one_two_two"):
        zone = load_zone(name)
        assert set(zone.persons) == set(holders(zone.roles)) and zone.bump_role is None


# --- calls ------------------------------------------------------------------------------------------------


def scenario_with(folder: Path, zone: str, call: str) -> Path:
    write_all(folder)
    table = scenario_table()
    table["defence"] = {"team": "team.toml", "zone": f"configs/zones/{zone}.toml"}
    table["setting"] = [{"name": "trap", "call": [{"call": f"configs/calls/{call}.toml"}]}]
    return write(folder, "scenario.toml", table)


@pytest.mark.parametrize("call", CALLS)
def test_every_call_loads_with_each_defence_it_names_and_with_no_other(call: str, tmp_path: Path) -> None:
    named = load_call(call).defences
    assert named and set(named) <= set(DEFENCES)
    for name in DEFENCES:
        path = scenario_with(tmp_path, name, call)
        if name in named:
            loaded = load_scenario(path)
            assert loaded.zone.name == name and loaded.settings[0].calls[0].name == call
        else:
            with pytest.raises(InputError, match="calls that fit: "):
                load_scenario(path)


@pytest.mark.parametrize("name", DEFENCES)
def test_every_defence_has_calls_of_its_own(name: str) -> None:
    zone = load_zone(name)
    fitting = [c for c in CALLS if misfit(load_call(c), zone) is None]
    assert 2 <= len(fitting)
    # doubles of men where there are men, traps at places in a zone, both in one that matches up
    of_men = sum(load_call(c).dynamic for c in fitting)
    kinds = (of_men > 0, len(fitting) > of_men)
    assert kinds == (zone.has_men, not zone.has_men or zone.match_up is not None)
    assert max(of_men, len(fitting) - of_men) <= 5
    spots = {region for c in fitting for region in load_call(c).ball}
    assert "corner" in spots


@pytest.mark.parametrize("call", CALLS)
def test_the_cover_of_a_call_leaves_no_two_on_one_place(call: str) -> None:
    trap = load_call(call)
    for rules in RULES:
        court = build_court(load_rules(rules))
        places = [place_of(court, entry.place) for entry in trap.cover.values()]
        apart = [math.dist(a, b) for i, a in enumerate(places) for b in places[:i]]
        assert min(apart) > 0.9, rules
        assert all(court.contains(x, y) for x, y in places)
        assert min(math.hypot(*p) for p in places) < 4.0 or "lob" in {e.job for e in trap.cover.values()}


def test_men_are_doubled_by_whoever_is_near() -> None:
    assert {c for c in CALLS if load_call(c).dynamic} == {c for c in CALLS if c.startswith("man_to_man")}


@pytest.mark.parametrize("name", DEFENCES)
def test_check_says_what_a_defence_gives_up(name: str) -> None:
    first, *rest = check_path(f"configs/zones/{name}.toml")
    assert first.startswith(f"configs/zones/{name}.toml: defence ")
    assert all(line.startswith(("  late: ", "  measured: ")) for line in rest) and len(rest) <= 20
    if name == "man_to_man":  # who keeps tracking's gap to his own man gives up the pass to him, not the skip
        assert any(", direct: nearest man" in line for line in rest)
        assert not any(f": {spot} to far" in line for line in rest for spot in ("wing", "corner", "slot"))
    else:
        assert any("far wing" in line for line in rest)
    if name != "man_to_man":
        assert load_alignment("high_post_short_corner").title in rest[-1] and "6.5 m/s" in rest[-1]
