"""timing: races against closed forms, counts from traces made up for it, drills, and what no page may say."""

from __future__ import annotations

import itertools
import json
import math
import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from evening_table import ran

from engine.cli import run
from engine.inputs import load_scenario, load_zone
from engine.inputs.alignment import load_alignment
from engine.inputs.base import spoken
from engine.inputs.defence import persons_of
from engine.inputs.zone import chosen
from engine.kernel.near import on_ball_gap
from engine.report.screen.timing import timing_text
from engine.state.words import EVENTS, OUTCOMES, REGIONS
from engine.still.holes import flight_of, name_of, region_of, scenario_setup
from engine.still.picture import picture_of, run_m, run_s, stand_off
from engine.still.shot_worth import ShotWorth, close_out_gap
from engine.study.timing import play as timed
from engine.study.timing.links import (
    DRILLS,
    FROM,
    Found,
    bump_dict,
    drills_of,
    group_of,
    links_of,
    merged,
    pass_name,
    timing,
)
from engine.study.timing.play import Passes, Watched, shell_after, trap_at
from engine.study.timing.traps import escapes_of, trap_picture
from engine.world.pack import pack

FRIDAY = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
NOT_PLAYED = Watched(Passes(), (), 0, 0.0, None)


@pytest.fixture(scope="module")
def scenario() -> Any:
    return load_scenario(FRIDAY)


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Found]:
    """What the command prints of the demo, and the JSON that it writes."""
    target = tmp_path_factory.mktemp("timing") / "timing.json"
    out, _ = ran("timing", str(FRIDAY), "--json", str(target), "--quiet", "--threads", "2")
    return out, json.loads(target.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def found(shown: tuple[str, Found]) -> Found:
    return shown[1]


@pytest.fixture
def little(monkeypatch: pytest.MonkeyPatch) -> None:
    """Played short: for what is said of it, whatever is seen."""
    monkeypatch.setattr(timed, "TRACED", 4)
    monkeypatch.setattr(timed, "PLAYED", 400)


def with_speed(scenario: Any, share: float) -> Any:
    """Every defender's top speed times a share."""
    team = scenario.defence_team
    players = tuple(p.model_copy(update={"top_speed_mps": share * p.top_speed_mps}) for p in team.players)
    return scenario.model_copy(update={"defence_team": team.model_copy(update={"players": players})})


def links(scenario: Any) -> list[Found]:
    setup = scenario_setup(scenario, scenario.zone, scenario.zone_options)
    return links_of(setup, ShotWorth(pack(scenario).home), persons_of(scenario.zone))


# --- races ------------------------------------------------------------------------------------------------


def test_a_long_close_out_is_the_closed_form_of_a_run(scenario: Any) -> None:
    """Far from the shooter nobody brakes: v(t) = vmax (1 - exp(-t / tau)), exact at any step length."""
    k = scenario.constants
    for time_s in (0.05, 0.33, 1.0, 1.47):
        gap = close_out_gap(40.0, time_s, 6.4, k, 1.9, 0.4)
        assert gap == pytest.approx(40.0 - run_m(time_s, 6.4, k["sprint_tau_s"]), abs=1e-9)
    assert close_out_gap(5.0, -0.2, 6.4, k, 1.9, 0.4) == 5.0


def test_a_close_out_ends_before_the_shooter(scenario: Any) -> None:
    """He comes to rest where he will stand, never nearer; going up with the shot he comes to contest_m."""
    k = scenario.constants
    gaps = [close_out_gap(4.0, t, 6.5, k, 1.5, 0.0) for t in np.arange(0.0, 4.0, 0.1)]
    step_m = 0.005  # the last step is cut short, and so are the braking's
    assert all(later <= earlier + step_m for earlier, later in itertools.pairwise(gaps))
    assert min(gaps) >= 1.5 - step_m and gaps[-1] == pytest.approx(1.5, abs=step_m)
    assert close_out_gap(0.8, 1.0, 6.5, k, 1.5, 0.0) == pytest.approx(0.8)
    up = [close_out_gap(1.5, t, 6.5, k, 1.5, t) for t in np.arange(0.0, 3.0, 0.1)]
    assert up[0] == 1.5 and up[-1] == pytest.approx(k["contest_m"], abs=0.05)
    late = [close_out_gap(4.0, 1.2, 6.5, k, 1.5, up_s) for up_s in (0.0, 0.2, 0.4)]
    assert late[0] >= late[1] >= late[2] and late[0] > late[2]


def test_who_guards_a_held_ball_stands_as_the_kernel_has_him(scenario: Any) -> None:
    k = np.zeros(1, np.dtype([(name, float) for name in ("on_ball_gap_m", "on_ball_gap_per_m")])).view(
        np.recarray
    )[0]
    k.on_ball_gap_m, k.on_ball_gap_per_m = (scenario.constants[name] for name in k.dtype.names)
    for at in ((0.0, 0.2), (0.0, 4.0), (5.0, 6.0), (-7.0, 8.5)):
        assert stand_off(at, scenario.constants) == pytest.approx(on_ball_gap(k, math.hypot(*at)))


def test_late_is_the_race_worked_out_by_hand(scenario: Any) -> None:
    """One link from its parts: reaction and run of the first man against flight and the receiver's pause."""
    k = scenario.constants
    setup = scenario_setup(scenario, scenario.zone, scenario.zone_options)
    picture = picture_of(setup, "high_post", "right")
    to = picture.attackers[1]
    flight, _ = flight_of(setup, picture, to)
    needs = {
        role: k["reaction_s"] + run_s(math.dist(at, to) - k["open_shot_m"], speed, k["sprint_tau_s"])
        for role, at in picture.defenders.items()
        for speed in [setup.speeds[role.replace("near", "right").replace("far", "left")]]
    }
    link = next(
        x for x in links(scenario) if (x["from"], x["side"], x["position"]) == ("high_post", "right", 1)
    )
    assert link["late_s"] == pytest.approx(min(needs.values()) - flight - k["catch_pause_s"])
    assert link["defender"] == min(needs, key=lambda role: needs[role])


def test_slower_defenders_are_later_everywhere_and_no_shot_is_worth_less(scenario: Any) -> None:
    usual, slow = links(scenario), links(with_speed(scenario, 0.7))
    assert len(usual) == len(slow) > 50
    later = 0
    for one, other in zip(usual, slow, strict=True):
        assert other["late_s"] >= one["late_s"] - 1e-9
        assert other["gap_m"] >= one["gap_m"] - 0.005, "beyond what cut steps of braking leave"
        assert other["shot_points"] >= one["shot_points"] - 0.002
        later += other["late_s"] > one["late_s"] + 0.01
    assert later > len(usual) / 3


def test_a_shot_is_worth_its_table_by_hand(scenario: Any) -> None:
    """configs/model/submodels_ball_and_traps.md, section 4, on a node of the table: no interpolation."""
    world = pack(scenario).home
    w, k = world[0], scenario.constants
    worth = ShotWorth(world)
    for position, at, gap, points in ((2, (0.0, 7.0), 2.5, 3.0), (4, (0.0, 3.0), 1.0, 2.0)):
        p = w.players[position - 1]
        node = w.shots[p.table, int(at[1] / 0.25)]
        offset = p.three_logit if points == 3.0 else p.middle_logit
        band = "three" if points == 3.0 else "middle"
        rhythm = k["shot_rhythm_logit"] * k[f"taken_{band}_rhythm"]  # of shots that are taken
        z = rhythm + node[0] + offset + node[1] * (min(gap, k["contest_cap_m"]) - k["reference_defender_m"])
        assert worth.points(position, at, gap) == pytest.approx(points / (1.0 + math.exp(-z)))


def test_a_place_is_named_from_where_the_man_stands(scenario: Any) -> None:
    """A man at the height of the wing is in no corner, whatever region he stands in: corner, wing and the low
    wing between them by the nearer spot."""
    for name in ("high_post_short_corner", "two_guard_baseline", "overload"):
        alignment = load_alignment(name)
        setup = scenario_setup(
            scenario.model_copy(update={"alignment": alignment}), scenario.zone, scenario.zone_options
        )
        wing, corner = (setup.court.spot(spot) for spot in ("wing", "corner"))
        for ball in FROM:
            for at in picture_of(setup, ball, "right").attackers.values():
                told, near = name_of(setup.court, at), (abs(at[0]), at[1])
                assert told.startswith("far_") == (at[0] < -0.75)
                assert region_of(told) == setup.court.region_at(*at)
                if told.endswith("corner") and "short" not in told and "half" not in told:
                    assert math.dist(near, corner) < math.dist(near, wing) and at[1] < wing[1] / 2
    assert name_of(setup.court, (-5.7, 2.2)) == "far_low_wing" and name_of(setup.court, corner) == "corner"


def test_the_row_after_the_pass_names_who_should_come(found: Found) -> None:
    """Shipped 2-3: top to wing is the forward's on that side, the ball at the high post the centre's."""
    for link in found["links"]:
        if (link["from"], link["to"]) == ("top", "wing"):
            assert link["meant"]["role"] == "near_forward"
        if (link["from"], link["to"]) == ("top", "far_wing"):
            assert link["meant"]["role"] == "far_forward"
        if link["to"] == "high_post":
            assert link["meant"]["role"] == "centre"


# --- the study ----------------------------------------------------------------------------------------------


def test_worst_first_and_every_key_of_the_contract(found: Found) -> None:
    keys = {
        "from",
        "to",
        "kind",
        "flight_s",
        "defender",
        "number",
        "late_s",
        "gap_m",
        "shot_points",
        "p_thrown",
    }
    costs = [link["cost"] for link in found["links"]]
    assert costs == sorted(costs, reverse=True) and costs[0] > 0.0
    for link in found["links"]:
        assert keys <= link.keys() and link["kind"] in ("direct", "skip")
        assert len(link["races"]) == 5 and {race["number"] for race in link["races"]} == {4, 7, 12, 23, 34}
        fastest = min(race["needs_s"] for race in link["races"])
        assert link["late_s"] == pytest.approx(fastest - link["decides_s"])
        assert link["cost"] == pytest.approx(100 * link["p_thrown"] * max(link["gives_points"], 0.0))
    assert {"call", "ball", "rim", "shell_s"} <= found["after_trap"][0].keys()
    json.dumps(found, allow_nan=False)


def test_what_is_seen_in_play_is_counted_once(found: Found) -> None:
    receivers: dict[tuple[str, str], set[int]] = {}
    for link in found["links"]:
        receivers.setdefault((link["from"], link["side"]), set()).add(link["receiver"])
    assert {len(four) for four in receivers.values()} == {4}, "all but the holder in the picture"
    seen = sum(link["seen"] for link in found["links"])
    # the rest go to the picture's holder of the ball, from another man who has it there, after a drive say
    assert 0.8 * found["passes_traced"] <= seen <= found["passes_traced"]
    assert sum(link["p_thrown"] for link in found["links"]) == pytest.approx(seen / found["passes_traced"])


def test_links_that_the_picture_calls_late_are_caught_more_open_in_play(found: Found) -> None:
    """The still picture against traced play: where the first man is late, the catch finds nobody near."""
    late = [x["played_catch_gap_m"] for x in found["links"] if x["seen"] > 3 and x["late_s"] > 0.1]
    early = [x["played_catch_gap_m"] for x in found["links"] if x["seen"] > 3 and x["late_s"] < -0.1]
    assert len(late) > 3 and len(early) > 3
    assert np.mean(late) > np.mean(early) + 0.5


def trace(events: list[tuple[float, str, int, int, float]], regions: list[str], near: list[int]) -> Any:
    """A trace with a state every 0.1 s, as far as the counts read it."""
    n = len(regions)
    kind = [(name, float) for name in ("t", "trap_x", "trap_y")] + [
        ("region", int),
        ("near", int),
        ("trap_side", int),
    ]
    states = np.zeros(n, kind)
    states["t"], states["near"] = 0.1 * np.arange(n), near
    states["region"] = [REGIONS.index(region) for region in regions]
    states["trap_x"], states["trap_y"], states["trap_side"] = -6.0, 1.5, -1
    rows = [
        [t, EVENTS.index(name), player, other, value, 0.0, 0.0] for t, name, player, other, value in events
    ]
    return SimpleNamespace(states=states, events=np.array(rows))


def test_passes_are_counted_where_the_ball_was_before_them() -> None:
    passes = Passes()
    regions = ["backcourt", "top", "top", "wing", "wing", "corner"]
    thrown = [
        (0.1, "pass", 0, 2, 0.0),  # out of the backcourt: not counted
        (0.2, "catch", 2, 0, 9.0),
        (0.3, "pass", 0, 1, 0.0),
        (0.4, "catch", 1, 0, 2.5),
        (0.5, "pass", 1, 3, 0.0),
        (0.5, "catch", 2, 1, 7.0),  # somebody else has it
    ]
    passes.add(trace(thrown, regions, [1, 1, 1, -1, -1, -1]))
    assert passes.seen == {("top", "right", 2): 1, ("wing", "left", 4): 1}
    assert passes.total == 2 and passes.catch_gap_m("top", "right", 2) == 2.5
    assert passes.catch_gap_m("wing", "left", 4) is None


def test_the_shell_after_the_first_beaten_trap() -> None:
    escape, foul = float(OUTCOMES.index("escape_pass")), float(OUTCOMES.index("foul"))
    left, stands = (0.3, "trap_left", 1, 0, escape), (0.5, "shell_stands", -1, 0, 2.1)
    place = ["corner"] * 6
    assert shell_after(trace([left, stands], place, [-1] * 6).events) == 2.1
    assert shell_after(trace([(0.3, "trap_left", 1, 0, foul), stands], place, [-1] * 6).events) is None
    assert shell_after(trace([left, (0.4, "call", 1, 0, 0.0), stands], place, [-1] * 6).events) is None
    assert trap_at(trace([left, stands], place, [-1] * 6)) == (6.0, 1.5)


# --- bump, traps, drills ------------------------------------------------------------------------------------


def test_the_bump_holds_for_the_quick_and_not_for_the_slow(scenario: Any) -> None:
    """A match-up of speeds decides: the same rows, guards at twice and at half their speed."""
    held = {}
    for share in (0.5, 1.0, 2.0):
        other = with_speed(scenario, share)
        quick = other.model_copy(update={"constants": other.constants | {"reaction_s": 0.1}})
        setup = scenario_setup(quick, quick.zone, quick.zone_options)
        held[share] = bump_dict(setup, NOT_PLAYED)
    assert held[2.0]["holds"] and not held[0.5]["holds"]
    assert held[0.5]["late_s"] > held[1.0]["late_s"] > held[2.0]["late_s"]


@pytest.mark.usefixtures("little")
def test_a_defence_without_a_bump_says_so(scenario: Any) -> None:
    man = load_zone("man_to_man")
    other = scenario.model_copy(update={"zone": man, "zone_options": chosen(man.options), "settings": ()})
    found = timing(other).to_dict()
    assert found["bump"]["holds"] is None and found["after_trap"] == []
    assert "no bump" in timing_text(found)


def test_trappers_stand_at_the_ball_and_the_rest_on_their_cover(scenario: Any) -> None:
    call = next(c for s in scenario.settings for c in s.calls if c.name == "corner")
    setup = scenario_setup(scenario, scenario.zone, scenario.zone_options)
    picture = trap_picture(setup, call, "right")
    for role in call.doubles:
        assert math.dist(picture.defenders[role], picture.ball) == pytest.approx(setup.k["trap_stand_m"])
    assert set(picture.defenders) == set(scenario.zone.roles)
    ways = escapes_of(setup, call)
    assert set(ways) == {"behind", "middle", "line", "far"}
    assert all(
        way["ball"] != way["rim"] and way["shell_still_s"] >= setup.k["reaction_s"] for way in ways.values()
    )


def made_up(to: str, cost: float, kind: str = "direct", start: str = "top") -> Found:
    return {"from": start, "to": to, "kind": kind, "cost": cost, "gives_points": cost, "late_s": 0.2,
            "defender": "near_guard", "p_thrown": 0.1}  # fmt: skip


def raced(**late_s: float) -> Found:
    """A bump that is so late on the pass to the wing from each of these places, seconds; 0.1 less on the
    other side."""
    races = [
        {"from": start, "side": side, "role": "near_guard", "late_s": late - 0.1 * (side == "left")}
        for start, late in late_s.items()
        for side in ("left", "right")
    ]
    return {"races": races, "holds": not any(race["late_s"] >= 0.05 for race in races)}


def test_the_drill_of_the_bump_is_of_the_passes_on_which_it_is_late_alone() -> None:
    """From the top nobody is late, as to the wing's shot, though much is given away there; from the slot the
    guard is late to take over, on the right."""
    shot = made_up("wing", 5.0) | {"late_s": 0.4}
    early = made_up("wing", 2.0, start="slot") | {"late_s": -0.3}
    (drill,) = drills_of([shot, early], raced(top=-0.2, slot=0.31))
    assert drill["links"] == ["slot to wing"] and drill["worst"] == "slot to wing"
    assert drill["late_s"] == 0.31 and drill["bump"]["side"] == "right" and drill["roles"] == ["near_guard"]
    (drill,) = drills_of([early], raced(top=0.2, slot=0.31))
    assert drill["links"] == ["slot to wing", "top to wing"]  # the latest first
    for held in (raced(top=-0.2, slot=0.04), {"races": []}):
        (drill,) = drills_of([early | {"late_s": 0.04}], held)  # on time, as it is printed
        assert (drill["late_s"], drill["worst"], drill["bump"]) == (None, None, None)
        (drill,) = drills_of([shot, early], held)
        assert drill["links"] == ["top to wing"] and drill["late_s"] == 0.4


def test_three_drills_by_what_the_links_give_away() -> None:
    holds = raced(top=-0.1)
    given = [made_up("wing", 0.1), made_up("far_wing", 3.0, "skip"), made_up("corner", 2.0, start="wing")]
    given += [made_up("elbow", 1.0), made_up("top", 0.5, start="wing")]
    assert [group_of(link) for link in given] == ["wing", "skip", "corner", "inside", "back_out"]
    assert [drill["name"] for drill in drills_of(given, holds)] == [
        DRILLS[n][0] for n in ("skip", "corner", "inside")
    ]
    assert [drill["name"] for drill in drills_of(given, raced(top=0.2))] == [
        DRILLS[n][0] for n in ("wing", "skip", "corner")
    ]
    assert drills_of(given, holds)[1]["links"] == ["wing to corner"]
    early = made_up("far_wing", 9.0, "skip", "wing") | {"late_s": -0.1}
    worst = [*given, made_up("far_corner", 0.2, "skip"), early]
    (skips,) = (drill for drill in drills_of(worst, holds) if drill["name"] == DRILLS["skip"][0])
    assert skips["links"] == [
        "top to far_wing, skip",
        "top to far_corner, skip",
    ]  # the dearest is early
    assert skips["worst"] == "top to far_wing, skip"
    assert drills_of([early], holds)[0]["worst"] is None


def test_the_demo_has_three_different_drills(found: Found) -> None:
    assert len({drill["name"] for drill in found["drills"]}) == 3


# --- what is said -------------------------------------------------------------------------------------------


def test_the_page_names_roles_and_never_a_player(found: Found, scenario: Any) -> None:
    text = timing_text(found)
    assert all(len(line) <= 100 for line in text.splitlines())
    assert "Worst pass" in text.splitlines()[4]
    for player in scenario.defence_team.players:
        assert player.name not in text and f"number {player.number}" not in text


def test_every_pass_of_a_drill_stands_in_the_table_with_its_number(found: Found) -> None:
    """Also one that gives away less than the first rows, and the worst pass of a drill is where it starts."""
    links = {pass_name(link) for link in merged(found["links"])}
    table = timing_text(found).partition("gives  drill")[2].partition("Shot in points")[0]
    seen = 0
    for number, drill in enumerate(found["drills"], 1):
        for name in links & set(drill["links"]):
            head = spoken(name)[:12]
            assert re.search(rf"^{head}.* {number}$", table, re.MULTILINE), (name, number)
            seen += 1
        if drill["worst"]:
            assert drill["worst"] in links & set(drill["links"])
            start = f"Start from its worst: {spoken(drill['worst'])}"
            assert start in " ".join(timing_text(found).split())
    assert seen >= 5


def test_a_trap_that_was_never_made_is_not_called_never_beaten(found: Found) -> None:
    one = found["after_trap"][0] | {"beaten": 0}
    made, never = (
        " ".join(timing_text(found | {"after_trap": [one | {"called": n}]}).split()) for n in (7, 0)
    )
    n = f"{found['possessions']:,} possessions"
    assert f"made 7 times, never beaten in {n}: nothing to tell" in made and "never made" not in made
    assert f"never made in {n}: nothing to tell" in never and "never beaten" not in never


def test_both_sides_are_told_as_one(found: Found) -> None:
    one = merged(found["links"])
    assert len({(x["from"], x["to"], x["kind"]) for x in one}) == len(one)
    assert sum(x["cost"] for x in one) == pytest.approx(sum(x["cost"] for x in found["links"]))


@pytest.mark.usefixtures("little")
def test_without_trap_advice_nothing_is_said_of_traps(scenario: Any) -> None:
    found = timing(scenario, traps=False).to_dict()
    assert found["after_trap"] == [] and not found["trap_advice"]
    assert "Out of a beaten trap" not in timing_text(found)


def test_the_command(shown: tuple[str, Found], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, found = shown
    told = timing_text(found)
    assert out.startswith(told) and "Assumed" in out.removeprefix(told)
    assert run(["timing", str(FRIDAY), "--seed", "-1"]) == 2
    assert run(["timing", str(tmp_path / "nothing.toml")]) == 2
    assert len(capsys.readouterr().err.strip().splitlines()) == 2
