"""Counts, clocks, fouls and restarts as they are played: each forced to occur, and absent with its rule off.

What each rule says is in the rule sets with its book. Here a scenario is bent (constants beyond their
range) until the situation arises, and the event log and the records must show what the rule asks for.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
import pytest
from slides import ALIGNMENTS, SEED, built, column, records

from engine.inputs import load_scenario
from engine.kernel.batch import Trace, trace_possession
from engine.state.record import COLUMN, NET_HIGH, NET_LOW
from engine.state.words import ENDS, EVENTS, VIOLATIONS, Action, Dribble, Mode
from engine.study.patterns import watching
from engine.world.pack import pack

RULES = ("international", "high_school", "college", "professional")
LANE, LINE = "three seconds", "stepped on a line"
#: A live dribble is not lost.
SURE = {"strip_rate_per_s": 0.0, "dribble_loss_rate_per_s": 0.0}
#: Nobody decides anything: whoever has the ball stands with it.
IDLE = {"decision_period_s": 600.0, "catch_pause_s": 600.0, **SURE}
#: The trap is on at once and nothing else happens in it.
RATES = ("trap_strip_rate_per_s", "tie_up_rate_per_s", "trap_foul_rate_per_s", "step_out_rate_per_s")
CALM = dict.fromkeys(RATES, 0.0) | SURE


def home(rules: str = "international", **changes: Any) -> Any:
    """The demo's base zone, no call, under these rules; attackers who keep their places."""
    how = {"defence": {"options": {}}, "offence": {"plays": []}, **changes}
    return built(rules=rules, setting=[], **how).home


def trapped(rules: str, constants: dict[str, float], **changes: Any) -> Any:
    """The demo with the wing trapped at every catch."""
    setting = [{"name": "one", "call": [{"call": "wing", "probability": 1.0, "triggers": ["catch"]}]}]
    return built(rules=rules, setting=setting, constants={**CALM, **constants}, **changes).settings[0].world


def met(rules: str, constants: dict[str, float], **changes: Any) -> Any:
    """The demo with whoever dribbles the ball over half court trapped there."""
    call = {"call": "top", "probability": 1.0, "triggers": ["across_half"], "from_baseline_m": [0.0, 15.0]}
    setting = [{"name": "one", "call": [call]}]
    return built(rules=rules, setting=setting, constants={**CALM, **constants}, **changes).settings[0].world


def log(world: Any, n: int) -> list[tuple[Trace, list[tuple[float, str, int, float]]]]:
    """(trace, events as (time, name, player, value)) of the first possessions."""
    found = []
    for i in range(n):
        t = trace_possession(world, SEED, i)
        found.append((t, [(float(e[0]), EVENTS[int(e[1])], int(e[2]), float(e[4])) for e in t.events]))
    return found


def violations(world: Any, n: int) -> tuple[dict[str, int], list[float]]:
    """How often each violation ended one of n possessions, and when."""
    count: dict[str, int] = {}
    times = []
    for _, events in log(world, n):
        for time, name, _, value in events:
            if name == "violation":
                kind = VIOLATIONS[int(value)]
                count[kind] = count.get(kind, 0) + 1
                times.append(time)
    return count, times


# --- clocks and counts ----------------------------------------------------------------------------------


def test_shot_clock_violation() -> None:
    """It comes when the clock is through, counts as its own ending and as a turnover; without a shot clock
    there is none."""
    changes = {"constants": IDLE, "rules_changes": {"clock.closely_guarded_s": 0.0}}
    for start, left in (("frontcourt", 24.0), ("bring_up", 20.0)):
        found, times = violations(home(start=start, **changes), 6)
        assert found == {"shot clock": 6}
        assert np.allclose(times, left, atol=0.11)
    world = home(start="frontcourt", **changes)
    played = records(world, 200)
    assert (column(played, "end") == ENDS.index("shot_clock")).all()
    assert (column(played, "turnovers") == 1).all() and not column(played, "steals").any()
    off = home(
        start="frontcourt",
        constants={**IDLE, "longest_possession_s": 40.0},
        rules_changes={"clock.closely_guarded_s": 0.0, "clock.shot_s": 0.0},
    )
    assert set(violations(off, 6)[0]) == {"possession too long"}
    assert (column(records(off, 50), "overflow") == 1).all()


@pytest.mark.parametrize("rules", ["international", "high_school"])
def test_backcourt_count(rules: str) -> None:
    """Eight or ten seconds to bring the ball over half court, those used before the start included."""
    slow = {"constants": {"bring_up_speed_share": 0.01, **SURE}, "start": "bring_up"}
    world = home(rules, **slow)
    found, times = violations(world, 6)
    assert found == {"backcourt count": 6}
    limit = {"international": 8.0, "high_school": 10.0}[rules]
    assert np.allclose(times, limit - float(world[0].k.backcourt_used_s), atol=0.11)
    off = home(rules, rules_changes={"clock.backcourt_s": 0.0}, **slow)
    assert "backcourt count" not in violations(off, 6)[0]


def test_over_and_back() -> None:
    """A pass caught behind half court after the ball has been in front of it is lost; a pass wild enough to
    do that is forced. Without a backcourt rule it never happens."""
    # slow, wild and loved by a passer who fears nothing: the receiver has time to run after it
    wild = {"aim_sd_per_m": 0.8, "catch_radius_m": 3.0, "fumble_p": 0.0, "touch_max_p": 0.0}
    wild |= {f"pass_speed_{kind}_mps": 2.0 for kind in ("direct", "bounce", "over")}
    wild |= {"belief_loss_home": -30.0, "belief_pass_points": 0.5, **SURE}
    world = home(constants=wild, start="frontcourt")
    n = 0
    for t, events in log(world, 200):
        for time, name, player, value in events:
            if name == "violation" and VIOLATIONS[int(value)] == "over and back":
                k = int(np.argmin(np.abs(t.states["t"] - time)))
                assert t.agents["y"][k, player] > world[0].rules.half_y_m
                n += 1
    assert n >= 2
    off = home(constants=wild, start="frontcourt", rules_changes={"clock.backcourt_s": 0.0})
    assert "over and back" not in violations(off, 200)[0]


def test_closely_guarded_holder() -> None:
    """International: five seconds of holding the ball with a defender within a metre; not while dribbling."""
    close = {**IDLE, "on_ball_gap_m": 0.75, "gap_spread": 0.0, "shooter_make": 0.02}
    found, times = violations(home(start="frontcourt", constants=close), 6)
    assert found == {"closely guarded": 6}
    assert min(times) > 5.0 - 1e-6 and max(times) < 8.0
    # brought up and still dribbling: the count never starts
    assert set(violations(home(start="bring_up", constants=close), 6)[0]) == {"shot clock"}
    # nobody within the distance, or no such rule
    far = home(start="frontcourt", constants=close, rules_changes={"clock.closely_guarded_distance_m": 0.3})
    assert set(violations(far, 6)[0]) == {"shot clock"}
    off = home(start="frontcourt", constants=close, rules_changes={"clock.closely_guarded_s": 0.0})
    assert set(violations(off, 6)[0]) == {"shot clock"}


def test_closely_guarded_dribbler() -> None:
    """High school: the dribbler too, within six feet; switched off for the dribbler it is not called."""
    close = {**IDLE, "shooter_make": 0.02, "longest_possession_s": 40.0, "strip_rate_per_s": 0.0}
    found, _ = violations(home("high_school", start="bring_up", constants=close), 6)
    assert set(found) == {"closely guarded"}
    off = {"clock.closely_guarded_while_dribbling": False}
    world = home("high_school", start="bring_up", constants=close, rules_changes=off)
    assert set(violations(world, 6)[0]) == {"possession too long"}


def called_for_three_seconds(world: Any, t: Trace) -> bool:
    """Whether a possession ends so; asks that he had been there so long, did not drive, the ball was not
    going up, and he was not on his way out by the time that he had to be (the margin before the count)."""
    k, rules, s = world[0].k, world[0].rules, t.states[-1]
    called = [e for e in t.events if EVENTS[int(e[1])] == "violation" and VIOLATIONS[int(e[4])] == LANE]
    for *_, x, y in called:
        (i,) = (i for i in range(5) if (t.agents["x"][-1, i], t.agents["y"][-1, i]) == (x, y))
        a, mode = t.agents[-1, i], t.states["mode"][-2]
        assert a["lane_t"] >= rules.three_seconds_s - 1e-9
        if a["lane_t"] - k.time_step_s > rules.three_seconds_s - k.lane_margin_s:
            assert abs(a["tx"]) < rules.lane_half_width_m and a["ty"] < rules.free_throw_y_m
        assert mode != Mode.SHOT_WINDUP
        assert not (mode == Mode.HELD and i == s["handler"] and s["action"] == Action.DRIVE)
    return bool(called)


def test_three_seconds_in_the_lane() -> None:
    """Who never steps out of the lane is called after three seconds there; with a long count nobody is."""
    camp = {"lane_margin_s": -100.0, "lane_camp_mps": 20.0}
    world, n = home(constants=camp, start="frontcourt"), 500
    assert sum(called_for_three_seconds(world, t) for t, _ in log(world, n)) >= 5
    long = {"clock.offensive_three_seconds_s": 60.0}
    world = home(constants=camp, start="frontcourt", rules_changes=long)
    assert LANE not in violations(world, n)[0]


def test_three_seconds_are_called_as_often_as_in_games() -> None:
    """Professionals as shipped, 12,000 possessions, beside open play-by-play of professional men 2015-16 (632
    games, 241 calls of 18,571 turnovers; sources.md, turnover types; .1353 turnovers a possession, box
    scores): within 4 standard errors. Nothing is fitted to it."""
    n = 12_000
    world = pack(load_scenario("level_professional")).home
    lost = np.flatnonzero(column(records(world, n), "violations"))
    called = sum(called_for_three_seconds(world, trace_possession(world, SEED, int(i))) for i in lost)
    published = n * 0.1353 * 241 / 18_571
    assert abs(called - published) < 4.0 * np.sqrt(published), (called, published)


def test_no_three_seconds_rule() -> None:
    """0 seconds means there is no such rule (as the key says), not that the lane is closed."""
    off = {"clock.offensive_three_seconds_s": 0.0}
    assert LANE not in violations(home(start="frontcourt", rules_changes=off), 60)[0]


def test_without_a_shot_clock_patience_ends_the_attack() -> None:
    """High school without a clock: the possession is not cut, and less patience makes it shorter."""
    seconds = {}
    for patience in (8.0, 40.0):
        played = records(home("high_school", rules_changes={"clock.patience_s": patience}), 2000)
        assert not (column(played, "end") == ENDS.index("shot_clock")).any()
        assert not column(played, "overflow").any()
        seconds[patience] = column(played, "time_ms").mean() / 1000
    assert seconds[8.0] < seconds[40.0] - 0.5


def test_what_an_offensive_rebound_makes_of_the_clock() -> None:
    """International: 14 seconds after it, whatever was left; but off a block it goes on from what it was when
    the shot left, less the steps since. It may run out meanwhile."""
    anew, goes_on, out = 0, 0, 0
    for reset, shot_s, fall_s in ((14.0, 24.0, 0.5), (9.0, 24.0, 0.5), (9.0, 6.0, 2.0)):
        changes = {"clock.offensive_rebound_reset_s": reset, "clock.shot_s": shot_s}
        often = {"block_p": 0.5, "block_scale_m": 3.0, "rebound_fall_s": fall_s}
        world = home(start="frontcourt", rules_changes=changes, constants=often)
        for t, events in log(world, 200):
            clock, block = t.states["clock_s"], None
            for time, name, player, _ in events:
                k = int(np.argmin(np.abs(t.states["t"] - time)))
                if name == "shot":
                    shot = k
                elif name == "blocked":
                    block = shot
                elif name == "rebound" and player < 5 and block is None:
                    assert clock[k] == pytest.approx(reset)
                    anew += 1
                elif name == "rebound" and player < 5:
                    assert clock[k] == pytest.approx(clock[block] - (k - block) * world[0].k.time_step_s)
                    goes_on += 1
                if name == "rebound":
                    block = None
            out += block is not None and events[-1][3] == ENDS.index("shot_clock")
    assert anew >= 50 and goes_on >= 20 and out >= 3, (anew, goes_on, out)


# --- lines ----------------------------------------------------------------------------------------------


def stepped_on_lines(world: Any, n: int) -> tuple[int, float]:
    """How many of n possessions without a trap end on a line, and how many should: the sum of the chances of
    all steps. Asks that who does is near a sideline or the baseline and faster than 1 m/s."""
    k, rules = world[0].k, world[0].rules
    loose = np.array([1.5 - p.handle for p in world[0].players])
    stepped, expected = 0, 0.0
    for t, events in log(world, n):
        states, i = t.states, t.states["handler"][1:]
        a = np.take_along_axis(t.agents[1:], i[:, None].astype(int), 1)[:, 0]
        edge = np.minimum(rules.half_width_m - np.abs(a["x"]), a["y"] - rules.baseline_y_m)
        near = (edge < k.step_out_within_m) & (np.hypot(a["vx"], a["vy"]) > 1.0)
        # what he did when the step began, he does until its last thing, the decision
        live = (states["mode"][:-1] == Mode.HELD) & (states["dribble"][:-1] == Dribble.DRIBBLING)
        live &= states["handler"][:-1] == i
        expected += np.sum(1.0 - np.exp(-k.dribble_line_rate_per_s * loose[i[live & near]] * k.time_step_s))
        if any(name == "violation" and VIOLATIONS[int(value)] == LINE for _, name, _, value in events):
            assert live[-1] and near[-1]
            stepped += 1
    return stepped, expected


def test_who_dribbles_near_a_line_may_step_on_it() -> None:
    """As often as its rate says, within 4 standard errors; never with no such rate, near no line, or where
    nobody dribbles near one."""
    often = {"dribble_line_rate_per_s": 2.0, "start_spread_m": 7.0, "belief_drive_points": 0.3, **SURE}
    stepped, expected = stepped_on_lines(home(constants=often), 1500)
    assert expected > 150.0 and abs(stepped - expected) < 4.0 * np.sqrt(expected), (stepped, expected)
    for off in ({"dribble_line_rate_per_s": 0.0}, {"step_out_within_m": 0.0}):
        assert LINE not in violations(home(constants={**often, **off}), 400)[0]
    # up the middle, and nobody decides anything
    middle = {**often, **IDLE, "start_spread_m": 1.0}
    assert set(violations(home(start="bring_up", constants=middle), 20)[0]) == {"shot clock"}


def test_no_shot_is_got_off_in_no_time() -> None:
    """With hardly any time left nobody is quicker than .3 s, or than he always is; some go up in vain."""
    wait = {"hold_value_points": 3.0, "hold_tau_s": 0.1, "decision_period_s": 0.3}
    hurried, in_vain = 0, 0
    for rim_s, step_s in ((0.2, 0.05), (0.35, 0.05), (0.35, 0.1)):
        wait |= {"rim_release_s": rim_s, "time_step_s": step_s}
        world = home(constants=wait, rules_changes={"clock.shot_s": 9.0})
        k = world[0].k
        for t, events in log(world, 400):
            mode = t.states["mode"]
            for begun in np.flatnonzero((mode[1:] == Mode.SHOT_WINDUP) & (mode[:-1] != Mode.SHOT_WINDUP)) + 1:
                s, rest = t.states[begun], mode[begun:]
                a = t.agents[begun, s["handler"]]
                usual = k.rim_release_s
                if np.hypot(a["x"], a["y"]) >= k.rim_range_m + 0.5:
                    usual = k.shot_release_s
                last = begun + int(np.argmax(rest != Mode.SHOT_WINDUP))
                took = t.states["t"][last] + 0.5 * k.time_step_s - s["windup_t"]
                enough = s["clock_s"] + s["t"] - s["windup_t"] >= min(0.3, usual) - 1e-8
                if rest[last - begun] == Mode.SHOT_FLIGHT:
                    assert enough and took >= min(0.3, usual) - 1e-9
                    hurried += took < usual - 1e-9
                elif events[-1][1] == "end" and int(events[-1][3]) == ENDS.index("shot_clock"):
                    assert not enough
                    in_vain += 1
    assert hurried >= 20 and in_vain >= 20, (hurried, in_vain)


# --- fouls ----------------------------------------------------------------------------------------------


#: The trapped man keeps the ball until he is fouled in the trap.
FOULED = {"set_pick_up_p": 1.0, "decision_period_s": 3.0, "catch_pause_s": 3.0, "trap_foul_rate_per_s": 30.0}


def after_first_foul(rules: str, fouls: int, n: int) -> list[list[str]]:
    """What follows a possession's first foul, if not on a shot: free throws (1 made) or a throw-in."""
    found = []
    for _, events in log(met(rules, FOULED, game={"team_fouls": fouls}), n):
        first = next((i for i, e in enumerate(events) if e[1] == "foul"), None)
        if first is not None and events[first][3] == 0.0:
            what = []
            for time, name, _, value in events[first + 1 :]:
                if time == events[first][0] and name in ("free_throw", "throw_in"):
                    what.append(name if name == "throw_in" else f"free_throw {int(value)}")
            found.append(what)
    return found


@pytest.mark.parametrize("rules", RULES)
def test_bonus(rules: str) -> None:
    """The last foul before the bonus gives a throw-in, the first one in it gives free throws."""
    ru = home(rules)[0].rules
    before = after_first_foul(rules, int(ru.bonus_from) - 2, 16)
    inside = after_first_foul(rules, int(ru.bonus_from) - 1, 16)
    assert len(before) >= 3 and all(x == ["throw_in"] for x in before)
    least = 1 if ru.one_and_one_from > 0 else 2
    assert len(inside) >= 3 and all(least <= len(x) <= 2 and "throw_in" not in x for x in inside)


def test_one_and_one() -> None:
    """College: from the seventh to the ninth foul the second throw must be earned; two from the tenth."""
    for fouls, earned in ((6, True), (8, True), (9, False), (20, False)):
        found = after_first_foul("college", fouls, 30)
        assert {len(x) for x in found if x[0] == "free_throw 1"} == {2}
        assert {len(x) for x in found if x[0] == "free_throw 0"} == ({1} if earned else {2})


def test_shooting_fouls_and_one_and_threes() -> None:
    """A missed shot gives as many throws as it was worth, a made one a single throw, bonus or not."""
    world = home(constants={"shot_foul_p": 1.0, "shot_foul_scale_m": 50.0, "shot_foul_far_share": 1.0})
    seen = set()
    for _, events in log(world, 80):
        for i, (time, name, _, value) in enumerate(events):
            if name == "foul" and value == 1.0:
                throws = sum(1 for e in events[i + 1 :] if e[0] == time and e[1] == "free_throw")
                made = any(e[0] == time and e[1] == "made" for e in events[:i])
                assert throws == 1 if made else throws in (2, 3)
                seen.add((made, throws))
    assert {(True, 1), (False, 2), (False, 3)} <= seen


# --- held balls and time-outs ---------------------------------------------------------------------------

EAGER = {"set_pick_up_p": 1.0, "decision_period_s": 3.0, "catch_pause_s": 3.0}


def count_of(world: Any, name: str, n: int = 25) -> int:
    return sum(e[1] == name for _, events in log(world, n) for e in events)


def test_time_out_out_of_a_trap() -> None:
    """High school: the trapped man may call one while his team has one; international: never."""
    constants = {**EAGER, "time_out_rate_per_s": 50.0}
    world = trapped("high_school", constants, game={"time_outs_left": 3})
    n = 0
    for t, events in log(world, 60):
        outs = [e for e in events if e[1] == "time_out"]
        assert [int(e[3]) for e in outs] == list(range(2, 2 - len(outs), -1))
        for time, _, player, _ in outs:
            assert any(e[0] == time and e[1] == "throw_in" for e in events)
            k = int(np.argmin(np.abs(t.states["t"] - time)))
            assert t.states["handler"][k - 1] == player
            n += 1
    assert n >= 8
    assert count_of(trapped("high_school", constants, game={"time_outs_left": 0}), "time_out") == 0
    assert count_of(trapped("international", constants, game={"time_outs_left": 3}), "time_out") == 0


def test_possession_arrow() -> None:
    """A held ball goes to the side that the arrow shows: a throw-in, or the end of the possession."""
    constants = {**EAGER, "tie_up_rate_per_s": 50.0}
    lost: dict[str, list[bool]] = {}
    for arrow, n in (("offence", 75), ("defence", 75), ("even", 1500)):
        world = met("international", constants, game={"possession_arrow": arrow})
        at: dict[tuple[float, float], set[str]] = {}
        for event in watching.watch(world, SEED, range(n)):
            moment = at.setdefault((event[watching.ROW], event[watching.TIME]), set())
            moment.add(EVENTS[int(event[watching.CODE])])
        held = [now for now in at.values() if "held_ball" in now]
        assert all(("turnover" in now) != ("throw_in" in now) for now in held)
        lost[arrow] = ["turnover" in now for now in held]
    assert all(len(x) >= 12 for x in lost.values())
    assert not any(lost["offence"]) and all(lost["defence"])
    # A fair coin: n of some 270, standard error .03; 4 of them.
    assert len(lost["even"]) > 200
    assert abs(np.mean(lost["even"]) - 0.5) < 4 * 0.5 / np.sqrt(len(lost["even"]))


# --- every rule set with every alignment ----------------------------------------------------------------


@pytest.mark.parametrize("alignment", ALIGNMENTS)
@pytest.mark.parametrize("rules", RULES)
def test_rule_sets_and_alignments_play(rules: str, alignment: str) -> None:
    """2,000 possessions at home and with every trap on: nothing is cut, and the sums add up."""
    everywhere = [{"call": name, "probability": 0.5} for name in ("corner", "short_corner", "wing", "top")]
    packed = built(
        rules=rules, offence={"alignment": alignment}, setting=[{"name": "all", "call": everywhere}]
    )
    for world in (packed.home, packed.settings[0].world):
        played = records(world, 2000)
        of = partial(column, played)
        assert not of("overflow").any() and not of("policy_faults").any()
        assert of("net").min() >= NET_LOW and of("net").max() <= NET_HIGH
        assert np.bincount(of("end"), minlength=len(ENDS)).sum() == 2000 and of("end").max() < len(ENDS)
        points = 2 * (of("fgm") - of("three_made")) + 3 * of("three_made") + of("ftm")
        assert (of("points") == points).all()
        bands = sum(of(f"band{b}_att") for b in range(6))
        assert (bands == of("fga")).all()
        # each ending from its own counts
        end = of("end")
        lost = (end == ENDS.index("turnover")) | (end == ENDS.index("shot_clock"))
        assert (of("turnovers") == lost).all()
        assert (of("dreb") == (end == ENDS.index("defensive_rebound"))).all()
        assert (of("fgm")[end == ENDS.index("made_shot")] >= 1).all()
        assert (of("fta")[end == ENDS.index("free_throws")] >= 1).all()
        assert 0.5 < of("points").mean() < 1.5


@pytest.mark.parametrize("rules", RULES)
def test_nobody_leaves_the_floor(rules: str) -> None:
    """Everybody stays inside the lines while the ball is live, and nobody runs faster than he can."""
    world = home(rules)
    r, top = world[0].rules, np.array([p.top_speed_mps for p in world[0].players])
    for t, _ in log(world, 25):
        live = np.isin(t.states["mode"], (Mode.HELD, Mode.PASS_WINDUP, Mode.PASS_FLIGHT, Mode.LOOSE))
        a = t.agents[live]
        assert (np.abs(a["x"]) <= r.half_width_m + 1e-9).all()
        assert (a["y"] >= r.baseline_y_m - 1e-9).all() and (a["y"] <= r.far_y_m + 1e-9).all()
        assert (np.hypot(a["vx"], a["vy"]) <= top + 1e-9).all()
        assert t.record[COLUMN["time_ms"]] == pytest.approx(1000 * t.states["t"][-1], abs=1)
