"""Screens on the ball: files, what a body in the way costs, when a screen comes, is used and is covered."""

from __future__ import annotations

import copy
import math
from pathlib import Path
from types import SimpleNamespace as Bag
from typing import Any

import numpy as np
import pytest
from input_files import man_to_man, zone
from slides import built
from test_bodies import LEAST_M, meet
from test_motion import agent, run
from test_plays_played import one_play, traces, world_of

from engine.errors import InputError
from engine.inputs import load_constants, load_level, load_scenario, load_zone
from engine.inputs.constants import ranges
from engine.inputs.files import configs_root, read_toml, resolve, shipped
from engine.inputs.plays import play_from
from engine.inputs.scenario import constants_against, scenario_from
from engine.inputs.zone import coverages, zone_from
from engine.kernel.screens import BESIDE_M, follow_screen
from engine.kernel.worth import carrying_on, worth_at
from engine.policies.reach import plain, python_of
from engine.state.arrays import N_DRIVES, N_SIDE
from engine.state.words import COVERAGES, REGIONS, Action, Dribble, Event, Mode, Region, Screen, TrapPhase
from engine.study.worth import worth_dict
from engine.world.pack import pack

K = {name: constant.value for name, constant in load_constants().items()}
SCREEN: dict[str, Any] = {"who": "nearest", "near": "high_post", "within_m": 6.0, "does": "screen"}
#: Handlers wait for the screen and then have nothing better than to go by it: a drive is short, so that the
#: man who is screened is the first who can be at its end.
WAITING = {
    "worth_screen_points": 1.5,
    "belief_hold_points": -0.6,
    "belief_pass_points": -0.5,
    "belief_shot_points": -0.5,
    "noise_points": 0.02,
    "screen_lost_s": 1.2,
    "drive_length_m": 4.0,
    "belief_reach_per_m": 3.0,
    "belief_reach_base": 2.0,
}


# --- files ----------------------------------------------------------------------------------------------


def ball_screen(**move: Any) -> dict[str, Any]:
    """A play of a screen and what follows; keys of its screening move changed, None takes one away."""
    screens = {key: value for key, value in (SCREEN | move).items() if value is not None}
    return {
        "name": "two",
        "title": "two",
        "source": "invented",
        "against": ["zone", "men"],
        "step": [
            {"name": "a", "when": "hold", "lasts_s": 3.0, "next": "b", "move": [screens]},
            {"name": "b", "when": "then", "lasts_s": 2.0, "move": [{"who": "screener", "to": [0.5, 1.0]}]},
        ],
    }


@pytest.mark.parametrize(
    ("move", "key"),
    [
        ({"to": "wing"}, "step[1].move[1].to"),
        ({"does": "pick"}, "step[1].move[1].does"),
        ({"does": None}, "step[1].move[1].to is missing"),
        ({"who": "handler", "near": None, "within_m": None}, "step[1].move[1].does"),
    ],
)
def test_what_a_screen_cannot_be_is_told(move: dict[str, Any], key: str) -> None:
    with pytest.raises(InputError) as error:
        play_from(ball_screen(**move), "play.toml")
    assert key in str(error.value) and "\n" not in str(error.value)


def test_only_a_step_after_a_screen_has_a_screener_and_one_screens_at_a_time() -> None:
    alone = ball_screen()
    alone["step"] = [alone["step"][0] | {"next": None}, alone["step"][1] | {"when": "hold"}]
    del alone["step"][0]["next"]
    with pytest.raises(InputError, match="follows one with a screen"):
        play_from(alone, "play.toml")
    two = ball_screen()
    two["step"][0]["move"].append(SCREEN | {"near": "wing"})
    with pytest.raises(InputError, match="one screen in a step"):
        play_from(two, "play.toml")
    passed = ball_screen()
    passed["step"][0]["when"] = "pass"
    with pytest.raises(InputError, match="hold or then"):
        play_from(passed, "play.toml")


@pytest.mark.parametrize(
    ("rows", "key"),
    [
        ([{"ball": "top", "coverage": "hedge"}], "screen[1].coverage"),
        (
            [{"ball": "top", "coverage": "drop"}, {"ball": ["wing", "top"], "coverage": "show"}],
            "screen[2].ball",
        ),
        ([{"ball": "top", "coverage": "drop", "option": "sink"}], "screen[1].choice is missing"),
        ([{"ball": "top", "coverage": "drop", "option": "sank", "choice": "x"}], "screen[1].option"),
        ([{"ball": "topp", "coverage": "drop"}], "screen[1].ball"),
    ],
)
def test_coverages_that_cannot_be_are_told(rows: list[dict[str, Any]], key: str) -> None:
    with pytest.raises(InputError) as error:
        zone_from(man_to_man() | {"screen": rows}, "men.toml")
    assert key in str(error.value) and "\n" not in str(error.value)


def test_a_zone_covers_no_screens() -> None:
    with pytest.raises(InputError, match=r"only in a defence with men"):
        zone_from(zone() | {"screen": [{"ball": "top", "coverage": "drop"}]}, "zone.toml")


def test_an_option_changes_the_coverage_where_its_rows_say_so() -> None:
    men = load_zone("man_to_man")
    for choice in men.options["screens"].choices:
        found = coverages(men, {"screens": choice})
        assert set(found.values()) == {choice} and {"top", "slot", "wing"} <= set(found)
    assert set(men.options["screens"].choices) == set(COVERAGES)


# --- what a body in the way costs -------------------------------------------------------------------------


def slide_s(target: tuple[float, float], by: tuple[float, float] | None) -> float:
    """Seconds of a slide from rest to a place, around a body that stands in its way; rule: engine.kernel."""
    dt, a = 0.02, agent()
    body = None if by is None else agent(x=by[0], y=by[1])
    for n in range(400):
        a.tx, a.ty = target
        if body is not None and a.x < body.x:  # past it he goes straight, before it around, on one side
            a.tx, a.ty = body.x, body.y + LEAST_M + BESIDE_M
        run(a, 6.5 * K["slide_speed_share"], K["slide_tau_s"], K["brake_mps2"], dt, 1)
        if body is not None:
            meet(a, body)
        if math.hypot(a.x - target[0], a.y - target[1]) < 0.3:
            return n * dt
    raise AssertionError("never there")


def test_the_belief_in_what_a_screen_costs_is_what_it_costs() -> None:
    """A man of average legs who slides two to three metres to cut a drive off, a screener beside him."""
    lost = [slide_s((d, 0.0), (LEAST_M + BESIDE_M, 0.0)) - slide_s((d, 0.0), None) for d in (2.0, 2.5, 3.0)]
    assert K["screen_lost_s"] == pytest.approx(np.mean(lost), abs=0.05), lost


# --- when it comes ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def screened(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Traces against men who drop back, waiting handlers, one play: a screen and a roll."""
    return traces(men_world(tmp_path_factory.mktemp("screens")).home, n=4000)


def men_world(folder: Path, **changes: Any) -> Any:
    steps = copy.deepcopy(ball_screen()["step"])
    steps[0]["ball"] = ["top", "slot", "wing"]  # at the rim there is no room to go around or under
    how = {
        "constants": WAITING,
        "defence": {"zone": "man_to_man", "options": {}, **changes.pop("defence", {})},
    }
    return world_of(folder, [one_play(*steps, against=["zone", "men"])], **(how | changes))


def test_a_screener_comes_stands_and_rolls(screened: Any) -> None:
    """Set, he stands beside the man on the ball till it goes by him; then he goes to the rim."""
    n_set = n_used = n_rolled = 0
    for trace in screened:
        s, a = trace.states, trace.agents
        phase = s["screen"]
        for n in np.flatnonzero((phase[1:] == Screen.SET) & (phase[:-1] == Screen.COMING)) + 1:
            n_set += 1
            who, man = s["screener"][n], s["screened"][n]
            apart = math.hypot(
                a["x"][n - 1][who] - a["x"][n - 1][man], a["y"][n - 1][who] - a["y"][n - 1][man]
            )
            assert apart < LEAST_M + BESIDE_M + K["screen_set_m"] + 1e-6
            assert [
                int(e[2]) for e in trace.events if e[1] == Event.SCREEN and abs(e[0] - s["t"][n]) < 1e-9
            ] == [who]
        for n in np.flatnonzero((phase[1:] == Screen.USED) & (phase[:-1] == Screen.SET)) + 1:
            n_used += 1
            assert s["action"][n - 1] == Action.DRIVE
            later = slice(n, min(n + 12, len(s)))
            who = s["screener"][n]
            n_rolled += a["y"][later.stop - 1][who] < a["y"][n][who] - 0.5
    assert n_set > 40 and n_used > 15
    assert n_rolled > 0.5 * n_used


def test_a_screen_ends_with_the_ball_gone(screened: Any) -> None:
    """No screen is on its way or set for a man who has not the ball, or whose dribble is over."""
    for trace in screened:
        s = trace.states
        on = np.flatnonzero(np.isin(s["screen"], (Screen.COMING, Screen.SET)))
        for n in on[on > 0]:
            assert s["handler"][n - 1] == s["screen_for"][n]


def followed(how: str, way: int, guards: list[int], past: bool) -> Any:
    """Attacker 4 has set a screen for 0 on defender 0, to the left; 0 is a second into drive ``way``."""
    s = Bag(screen=Screen.SET, mode=Mode.HELD, handler=0, screen_for=0, dribble=Dribble.DRIBBLING, play_t=9.0)
    s.action, s.screener, s.screened, s.region = Action.DRIVE, 4, N_SIDE, 1
    s.t, s.begun, s.drive_t, s.screen_t = 3.0, 2.95, 2.0, 1.5
    s.screen_side, s.screen_cover, s.drive_way = 1.0, COVERAGES.index(how), way
    s.goal_x = s.goal_y = s.end_y = 0.0
    s.end_x = 0.0 if past else 2.0  # past the screener there is one leg left: goal and end are the same
    c = Bag(s=s, agents=[Bag(x=0.0, y=0.0) for _ in range(2 * N_SIDE)], guards=list(guards))
    follow = python_of(follow_screen)
    assert follow is not None
    plain(follow)(Bag(k=Bag(**K)), c)
    return c


IN_ORDER = [0, 1, 2, 3, 4]


@pytest.mark.parametrize(
    ("guards", "after"),
    [
        (IN_ORDER, [4, 1, 2, 3, 0]),
        ([1, 0, 2, 3, 4], [1, 0, 2, 3, 4]),  # the screened man has another man: nothing to change
    ],
)
def test_men_are_changed_with_the_drive_off_a_screen_where_they_switch(
    guards: list[int], after: list[int]
) -> None:
    """After the driver's first step, past the screener or not yet; then there is nothing left to cover."""
    for past in (False, True):
        c = followed("switch", N_DRIVES - 1, guards, past)
        assert c.guards == after
        assert (c.s.screen, c.s.play_t) == (Screen.NONE, 3.0)


@pytest.mark.parametrize("how", [how for how in COVERAGES if how != "switch"])
def test_a_screen_is_used_by_who_goes_by_its_shoulder(how: str) -> None:
    """It stands until the ball has gone by; a drive of another way has refused it, and changes nothing."""
    going = followed(how, N_DRIVES - 1, IN_ORDER, past=False).s
    assert (going.screen, going.screen_t) == (Screen.SET, 1.5) and going.play_t > going.t
    used = followed(how, N_DRIVES - 1, IN_ORDER, past=True)
    assert (used.s.screen, used.s.screen_t, used.s.play_t) == (Screen.USED, 3.0, 3.0)
    assert used.guards == IN_ORDER
    for way in range(N_DRIVES - 1):
        refused = followed("switch", way, IN_ORDER, past=False)
        assert refused.s.screen == Screen.NONE and refused.guards == IN_ORDER and refused.s.play_t == 3.0


def test_the_drive_off_a_screen_goes_past_the_free_shoulder_and_leaves_the_man_behind(screened: Any) -> None:
    """Its first leg ends a body beyond the screener; a used one's man is not in front again at once."""
    lasts = []
    n = 0
    for trace in screened:
        s, a = trace.states, trace.agents
        begun = (s["action"][1:] == Action.DRIVE) & (s["action"][:-1] != Action.DRIVE)
        for k in np.flatnonzero(begun & (s["screen"][1:] == Screen.SET)) + 1:
            if s["drive_way"][k] != (N_DRIVES - 1 if s["screen_side"][k] > 0.0 else 0):
                continue
            n += 1
            m, b = ((a["x"][k][i], a["y"][k][i]) for i in (s["screener"][k], s["screened"][k]))
            goal = s["goal_x"][k], s["goal_y"][k]
            assert math.dist(goal, m) == pytest.approx(LEAST_M + BESIDE_M, abs=1e-9)
            assert math.dist(goal, b) == pytest.approx(math.dist(m, b) + math.dist(goal, m), abs=1e-9)
        for k in np.flatnonzero((s["screen"][1:] == Screen.USED) & (s["screen"][:-1] == Screen.SET)) + 1:
            end = k
            while end + 1 < len(s) and s["screen"][end + 1] == Screen.USED:
                end += 1
            lasts.append(s["t"][end] - s["t"][k])
    assert n > 25 and len(lasts) > 20
    assert np.median(lasts) > 0.5


def test_who_drops_is_on_the_rims_side_and_who_goes_under_is_too(tmp_path: Path) -> None:
    """In the step after a screen has been set: where the screener's man goes, and the screened man."""
    for how in ("drop", "under"):
        n = behind = under = blocked = 0
        for trace in traces(men_world(tmp_path, defence={"options": {"screens": how}}).home, n=1200):
            s, a = trace.states, trace.agents
            driven = (s["screen"] == Screen.SET) & (s["action"] == Action.DRIVE)
            for k in np.flatnonzero(driven[1:]) + 1:
                h, m, b = int(s["handler"][k]), int(s["screener"][k]), int(s["screened"][k])
                aim = [(a["tx"][k][i], a["ty"][k][i]) for i in (N_SIDE + m, b)]
                n += 1
                behind += math.hypot(*aim[0]) < math.hypot(a["x"][k - 1][h], a["y"][k - 1][h])
                at = a["x"][k - 1][m], a["y"][k - 1][m]
                if abs(math.dist(aim[1], at) - LEAST_M - BESIDE_M) < 1e-6:  # he goes around the screener
                    blocked += 1
                    under += math.hypot(*aim[1]) < math.hypot(*at)
        assert n > 100 and behind > 0.9 * n
        assert blocked > 40
        share = under / blocked  # of a step ago: some have crossed by then
        assert share > 0.75 if how == "under" else share < 0.1


def test_a_screen_can_be_trapped(tmp_path: Path) -> None:
    """The call is made on the man for whom a screen is set, and at no other time."""
    setting = [{"name": "trap it", "call": [{"call": "man_to_man_screen", "probability": 1.0}]}]
    world = men_world(tmp_path, setting=setting).settings[0].world
    calls = 0
    for trace in traces(world, n=200):
        s = trace.states
        for event in trace.events[trace.events[:, 1] == Event.CALL]:
            n = int(np.searchsorted(s["t"], event[0] - 1e-6))
            calls += 1
            assert s["screen"][n] == Screen.SET and s["trap_phase"][n] != TrapPhase.NONE
            assert s["screen_t"][n] <= event[0] + 1e-9
            assert int(event[2]) == s["screen_for"][n]
    assert calls > 25


# --- what is believed against whom ------------------------------------------------------------------------


@pytest.mark.parametrize("name", shipped("levels"))
def test_beliefs_are_those_against_this_kind_of_defence(name: str) -> None:
    """Constants of a level hold against one kind of defence; against the other they are as its file says."""
    level = load_level(name)
    scenario = load_scenario(configs_root() / "scenarios" / f"level_{name}.toml")
    known = {constant: value.value for constant, value in load_constants().items()}
    own = known | {constant: item.value for constant, item in level.constants.items()}
    men, two_three = load_zone("man_to_man"), load_zone("two_three")
    other = two_three if level.measured_against == "men" else men
    same = men if level.measured_against == "men" else two_three
    assert constants_against(scenario, same) == own
    found = constants_against(scenario, other)
    assert level.other_defence and set(level.other_defence) <= set(known)
    for constant, value in found.items():
        there = level.other_defence.get(constant)
        assert value == pytest.approx(own[constant] if there is None else there.value, abs=1e-12)
    assert found["hold_value_points"] != own["hold_value_points"]


def test_a_setting_with_the_other_kind_of_defence_is_packed_with_its_beliefs() -> None:
    scenario = load_scenario(configs_root() / "scenarios" / "six_defences.toml")
    packed = pack(scenario)
    assert scenario.measured_against == "men"
    home = packed.home[0].k.hold_value_points
    assert home == scenario.other_own["hold_value_points"], "its home is a zone: as its own file says"
    by_name = {one.name: one.world[0].k.hold_value_points for one in packed.settings}
    assert by_name["man-to-man"] == scenario.constants["hold_value_points"] != home
    assert by_name["3-2"] == home


def test_what_a_scenario_says_is_believed_holds_as_it_stands_against_both_kinds() -> None:
    """A constant that the scenario names gets no difference of the level's; the others keep theirs."""
    source = resolve("six_defences", "scenarios")
    data = read_toml(source)
    del data["other_defence"]
    data["constants"] = {"hold_value_points": 1.25}
    scenario = scenario_from(data, source)
    men, zone = (constants_against(scenario, load_zone(name)) for name in ("man_to_man", "two_three"))
    assert men["hold_value_points"] == zone["hold_value_points"] == 1.25
    differences = load_level("school").differences()
    del differences["hold_value_points"]
    assert {name: pytest.approx(zone[name] - men[name], abs=1e-12) for name in differences} == differences


def test_what_is_believed_against_the_other_kind_stays_in_its_range_and_is_a_belief() -> None:
    """A level's difference leaves no constant's range; a scenario's own word holds; nothing else is one."""
    source = resolve("six_defences", "scenarios")
    data = read_toml(source)
    zone = load_zone("two_three")
    scenario = scenario_from(data, source)
    level = scenario.model_copy(update={"other_own": {}})
    name = max(level.other_defence, key=lambda one: abs(level.other_defence[one]))
    low, high = ranges()[name]
    for edge in (low, high):
        found = constants_against(
            level.model_copy(update={"constants": level.constants | {name: edge}}), zone
        )
        assert low <= found[name] <= high
    there = constants_against(scenario, zone)["hold_value_points"]
    assert there == data["other_defence"]["hold_value_points"]
    for wrong in ({"time_step_s": 0.05}, {"hold_value_point": 1.0}, {"hold_value_points": 9.0}):
        with pytest.raises(InputError, match="other_defence") as error:
            scenario_from(data | {"other_defence": wrong}, source)
        assert "\n" not in str(error.value)


def test_packing_gives_coverages_by_region() -> None:
    home = built(defence={"zone": "man_to_man", "options": {"screens": "show"}}, setting=[]).home[0]
    assert home.coverage[Region.TOP] == COVERAGES.index("show")
    assert home.coverage[REGIONS.index("backcourt")] == COVERAGES.index("drop")


def test_play_says_what_the_ball_is_believed_to_be_worth() -> None:
    """The kernel's own law with the constants of the branch: never more with less time."""
    scenario = load_scenario(configs_root() / "scenarios" / "six_defences.toml")
    home, men = worth_dict(scenario, None), worth_dict(scenario, scenario.settings[0])
    assert (home["against"], men["against"]) == ("zone", "men")
    w = pack(scenario).home[0]
    for one in home["by_clock"]:
        assert one["points"] == pytest.approx(carrying_on(w, one["left_s"]), abs=1e-12)
    points = [one["points"] for one in men["by_clock"]]
    assert points == sorted(points, reverse=True) and points != [one["points"] for one in home["by_clock"]]
    for one in home["by_place"]:
        assert {worth_at(w.k, REGIONS.index(ball)) for ball in one["ball"]} == {one["points"]}
    assert men["for_a_screen"] == pytest.approx(scenario.constants["worth_screen_points"])
