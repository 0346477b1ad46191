"""What the naive twin is compared over: the demo, and a spread over what a scenario can say."""

from __future__ import annotations

import random
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

from oracle_scenarios import (
    CALLS,
    EVERY_TRIGGER,
    PLAYS,
    lines_and_clock,
    own_plays,
    patient,
    reluctant,
    scenario,
    setting,
)
from oracle_screens import screens

from engine.inputs import Scenario, configs_root, load_constants, load_scenario, load_team


def other_defences(folder: Path) -> Scenario:
    """Each of the other defences with its calls, against the demo's attack, of no level: beliefs are against
    a zone, and its own word against men; who shoots is by the kind, too."""
    made = [
        setting(f"{zone} with calls", CALLS[zone], f'zone = "{zone}"')
        for zone in CALLS
        if zone != "two_three"
    ]
    made.append(setting("nothing but options", head='options = { bring_up = "steer", top_guard = "ball" }'))
    own = "[other_defence]\nhold_value_points = 1.1\nbelief_pass_points = 0.1"
    found = scenario(folder, "other defences", "high_school", *made, level=None, rest=own)
    men = found.offence_team.lineup
    habits = {"zone": {men[0]: (0.15, -0.2), men[3]: (-0.1, 0.1)}, "men": {men[0]: (-0.2, 0.25)}}
    return found.model_copy(update={"habits": habits})


def man_to_man_first(folder: Path) -> Scenario:
    """Man-to-man at home with pairs of its own, college rules late in a half, from the front court."""
    calls = CALLS["man_to_man"]
    return scenario(
        folder,
        "man-to-man first",
        "college",
        setting("as written", calls),
        setting("whenever he has held it", calls, changes='triggers = ["held"]\nheld_s = 0.8'),
        setting("close to their men", calls[:2], 'options = { pressure = "deny" }'),
        setting("match-up", CALLS["two_three_match_up"], 'zone = "two_three_match_up"'),
        level="college",
        alignment="overload",
        defence='zone = "man_to_man"\n[defence.matchups]\n"4" = 21\n"34" = 11',
        top='start = "frontcourt"',
        rest='[game]\nteam_fouls = 6\ntraps_seen = 3\ntime_outs_left = 1\npossession_arrow = "defence"',
    )


def professionals(folder: Path) -> Scenario:
    """A count for defenders in the lane, a two-guard front, calls changed in every way a scenario can."""
    calls = CALLS["two_three"]
    return scenario(
        folder,
        "professionals",
        "professional",
        setting("every trigger", calls, changes=EVERY_TRIGGER + "\nprobability = 0.4"),
        setting("hidden, given up soon", calls, changes="disguise_s = 0.6\ngive_up_s = 1.1"),
        setting("trappers last back", calls, changes='way_back = "trappers_last"\nprobability = 1.0'),
        setting(
            "other options",
            (*calls[:3], "half_court_corner"),
            'options = { forwards_start = "high", wing_far_guard = "top" }',
        ),
        setting(
            "match-up, every trigger",
            CALLS["two_three_match_up"],
            'zone = "two_three_match_up"',
            EVERY_TRIGGER,
        ),
        teams=("average_professional", "average_professional"),
        level="professional",
        alignment="two_guard_baseline",
        rest='[game]\nteam_fouls = 4\ntime_outs_left = 3\npossession_arrow = "offence"',
    )


def named_men(folder: Path) -> Scenario:
    """Calls against named men only; a team with a man who brings a shot table of his own; men who ask
    more or less of their own shots, and hold the ball till the clock is nearly up."""
    written = (folder / reluctant(folder, "juniper_hill")).read_text(encoding="utf-8")
    lines, left = [], 1
    for line in written.splitlines():
        if left and line.startswith(("rim =", "middle =", "three =")):
            if line.startswith("three ="):
                lines.append('shot_table = "professional_men"')
                left = 0
            continue
        lines.append(line)
    (folder / "own_table.toml").write_text("\n".join(lines), encoding="utf-8")
    shutil.copy(configs_root() / "teams" / "millbrook_row.toml", folder / "millbrook_row.toml")
    shirts = load_team_shirts(folder / "own_table.toml")
    few = f"only_against = [{shirts[0]}, {shirts[3]}]"
    nobody = f"only_against = [{shirts[-1]}]"  # sits on the bench
    rest = """[rules_changes]
"clock.shot_s" = 12
[constants]
hold_value_points = 2.5
hold_tau_s = 0.3
decision_period_s = 0.8
second_trapper_delay_s = 0.7
spot_spread_m = 1.2
side_hysteresis_m = 0.0
"""
    return scenario(
        folder,
        "named men",
        "international",
        setting("two of them", CALLS["two_three"], changes=few + "\n" + EVERY_TRIGGER),
        setting("a man on the bench", CALLS["two_three"], changes=nobody),
        teams=("own_table.toml", "millbrook_row"),
        top="beyond_range = true",
        rest=rest,
    )


def load_team_shirts(path: Path) -> list[int]:
    """Shirts of a team, the lineup first."""
    team = load_team(path)
    return [*team.lineup, *(p.number for p in team.players if p.number not in team.lineup)]


def drawn_constants(folder: Path, number: int) -> Scenario:
    """Every constant of the model somewhere in its range, every third at one of its ends."""
    luck = random.Random(number)
    lines = []
    for name, constant in load_constants().items():
        value = luck.uniform(constant.low, constant.high)
        if luck.random() < 1 / 3:
            value = luck.choice((constant.low, constant.high))
        if name == "backcourt_used_s":
            value = min(value, 5.0)  # else the count of some rule sets is over before it has begun
        if name == "time_step_s":
            value = luck.choice((0.05, 0.1, 0.125, 0.2))
        lines.append(f"{name} = {round(value) if name in ('crash_n', 'tried_look') else value!r}")
    zone, other = (list(CALLS)[n % len(CALLS)] for n in (number, number + 2))
    return scenario(
        folder,
        f"drawn constants {number}",
        ("international", "high_school", "college", "professional")[number % 4],
        setting("its calls", CALLS[zone]),
        setting("every trigger", CALLS[zone], changes=EVERY_TRIGGER),
        setting("another defence", CALLS[other], f'zone = "{other}"'),
        teams=(reluctant(folder, "juniper_hill"), "millbrook_row"),
        alignment=("high_post_short_corner", "overload", "two_guard_baseline")[number % 3],
        plays=tuple(random.Random(number).sample(PLAYS, 3 * number % 10)),  # none of them in the first
        defence=f'zone = "{zone}"',
        top=f'start = "{"bring_up" if number % 5 else "frontcourt"}"',
        rest="[game]\nteam_fouls = 3\ntraps_seen = 1\n[constants]\n" + "\n".join(lines),
    )


def rough_game(folder: Path) -> Scenario:
    """What is rare made common: held balls, lines, counts, time-outs, charges, possessions without end."""
    rates = {
        "tie_up_rate_per_s": 0.8,
        "step_out_rate_per_s": 0.4,
        "time_out_rate_per_s": 1.0,
        "trap_set_m": 1.6,
        "trap_gap_m": 1.2,
        "trap_foul_rate_per_s": 0.0,
        "step_out_within_m": 1.5,
        "charge_rate_per_s": 0.6,
        "drive_foul_rate_per_s": 0.2,
        "pick_up_p": 1.0,
        "set_pick_up_p": 0.5,
        "lane_margin_s": 0.5,
        "lane_camp_mps": 10.0,
        "fumble_p": 0.05,
        "travel_p": 0.1,
        "backcourt_used_s": 9.0,
        "start_spread_m": 6.0,
        "longest_possession_s": 10.0,
        "hold_value_points": 1.8,
        "shell_least_s": 2.5,
        "block_p": 0.5,
        "block_scale_m": 1.5,
    }
    lines = "\n".join(f"{name} = {value}" for name, value in rates.items())
    changes = '[rules_changes]\n"clock.patience_s" = 60\n"clock.offensive_three_seconds_s" = 1.5\n'
    changes += '"clock.closely_guarded_s" = 2.5\n'
    return scenario(
        folder,
        "rough game",
        "high_school",
        setting("every trigger", CALLS["two_three"], changes=EVERY_TRIGGER + "\nprobability = 1.0"),
        setting("man-to-man", CALLS["man_to_man"], 'zone = "man_to_man"', EVERY_TRIGGER),
        top="beyond_range = true",
        rest=f"[game]\ntime_outs_left = 3\n{changes}\n[constants]\n{lines}",
    )


def wild_bounces(folder: Path, backcourt_s: float) -> Scenario:
    """Loose balls that get far away, little time, a man whose spot is behind the half-court line, wings near
    the sidelines; without a backcourt count none in the lane either."""
    written = (configs_root() / "alignments" / "high_post_short_corner.toml").read_text(encoding="utf-8")
    behind = re.sub('point = ("slot"|{.*})', "point = [1.0, 13.6]", written)
    behind = re.sub('_wing = ("wing"|{.*})', "_wing = [7.1, 5.0]", behind)
    assert (behind.count("13.6"), behind.count("7.1")) == (5, 14)
    (folder / "behind_the_line.toml").write_text(behind, encoding="utf-8")
    rest = f"""[rules_changes]
"clock.shot_s" = 18
"clock.offensive_rebound_reset_s" = 5
"clock.backcourt_s" = {backcourt_s}
"clock.offensive_three_seconds_s" = {3 if backcourt_s else 0}
[constants]
deflection_m = 9.0
arm_reach_m = 1.6
touch_max_p = 1.0
clean_steal_p = 0.02
loose_scale_m = 0.3
excess_live_steal_points = 0.0
step_out_rate_per_s = 2.0
step_out_within_m = 3.0
trap_foul_rate_per_s = 0.0
charge_rate_per_s = 4.0
drive_foul_rate_per_s = 0.0
shot_release_s = 1.1
hold_value_points = 2.2
belief_reach_base = -4.0
belief_pass_points = 0.2
break_least_m = 6.0
catch_radius_m = 1.6
box_out_share = 0.05
box_out_s = 1.5
box_out_reach_m = 2.5
"""
    return scenario(
        folder,
        f"wild bounces, backcourt count {backcourt_s}",
        "international",
        setting("every trigger", CALLS["two_three"], changes=EVERY_TRIGGER + "\nprobability = 1.0"),
        setting("man-to-man", CALLS["man_to_man"], 'zone = "man_to_man"', EVERY_TRIGGER),
        setting("no calls", head='zone = "three_two"'),
        alignment="behind_the_line.toml",
        plays=("drive_kick", "four_on_three", "pass_cut_fill"),
        top="beyond_range = true",
        rest=rest,
    )


OWN_CALL = """name = "own_call"
title = "a call of the test's own: every kind of job, from before anybody has taken a man"
source = "made for this test"
spot = "top"
ball = ["backcourt", "slot", "wing", "top"]
doubles = ["near_guard", "far_guard"]
faces = "wing"
triggers = ["across_half", "held", "catch"]
held_s = 0.4
probability = 0.8
way_back = "trappers_last"
[cover.near_forward]
job = "own_man"
place = "wing"
[cover.far_forward]
job = "own_man"
place = "lane"
toward_ball = 0.5
[cover.centre]
job = "lob"
place = "low_post"
[options.middle]
use = "front"
choices = ["lob", "front", "dig"]
meaning = "what the centre does"
[[option]]
option = "middle"
choice = "front"
role = "centre"
job = "front"
place = "high_post"
man_within_m = 6.0
[[option]]
option = "middle"
choice = "dig"
role = "centre"
job = "dig"
place = "high_post"
"""


def traps_that_are_left(folder: Path) -> Scenario:
    """Trappers who come late, handlers who retreat or split, a call with own men and options in its cover."""
    (folder / "own_call.toml").write_text(OWN_CALL, encoding="utf-8")
    rest = """[game]
traps_seen = 6
[constants]
second_trapper_delay_s = 1.2
handler_read_s = 0.2
belief_hold_coming_points = -0.5
belief_hold_set_points = -0.4
belief_retreat_points = 0.2
belief_retreat_way_points = 0.2
numbers_value_points = 3.0
split_width_m = 0.3
trapper_closing_share = 0.0
retreat_m = 1.0
retreat_speed_share = 1.0
noise_points = 0.3
split_gap_m = 0.1
travel_p = 0.5
belief_drive_trapped_points = 0.2
off_ball_foul_p = 0.05
fake_p = 0.5
anticipation_p = 0.4
"""
    head = 'zone = "two_three_match_up"'
    lob = 'options = { middle = "lob" }\nway_back = "shell"'
    return scenario(
        folder,
        "traps that are left",
        "international",
        setting("given up at once", CALLS["two_three"], changes="give_up_s = 0.4"),
        setting("other cover", ("wing",), changes='options = { far_forward = "rim" }\nprobability = 1.0'),
        setting("own men in the cover", ("own_call",), head),
        setting("lob", ("own_call",), head, f"{lob}\ndisguise_s = 2.0"),
        setting("dig", ("own_call",), head, 'options = { middle = "dig" }\ndisguise_s = 0.5'),
        defence='zone = "two_three"\noptions = { bring_up = "extend", forwards_start = "low" }',
        top="beyond_range = true",
        rest=rest,
    )


def traps_that_open_again(folder: Path) -> Scenario:
    """Trappers who step back once they stand: set, coming, set again; handlers who leave them sideways."""
    rest = """[constants]
trap_stand_m = 2.2
trap_set_m = 1.4
trap_gap_m = 3.0
set_pick_up_p = 0.2
handler_read_s = 0.2
belief_retreat_points = 0.5
belief_retreat_way_points = 0.0
retreat_m = 0.1
belief_hold_coming_points = 0.0
belief_hold_set_points = 0.1
pass_shortest_m = 5.5
cut_open_m = 0.2
tie_up_rate_per_s = 0.0
trap_foul_rate_per_s = 0.0
"""
    changes = EVERY_TRIGGER + "\nprobability = 1.0\ngive_up_s = 9.0"
    return scenario(
        folder,
        "traps that open again",
        "international",
        setting("every trigger", CALLS["two_three"], changes=changes),
        setting("man-to-man", CALLS["man_to_man"], 'zone = "man_to_man"', changes),
        top='beyond_range = true\nstart = "frontcourt"',
        rest=rest,
    )


def throws_and_bands(folder: Path) -> Scenario:
    """Cover men who play the throw and trappers who run to it, calls by place and by the bump, drives that
    are kicked out, quick looks of which one is tried at random, traps that end in held balls."""
    rest = """[constants]
cover_break_p = 1.0
cover_break_s = 0.0
cover_break_within_m = 3.0
cover_recover_s = 1.0
primed_s = 0.0
rotate_m = 0.0
turn_s = 0.4
cut_open_m = 0.2
tried_look = 3
shot_rhythm_logit = 0.5
look_again_s = 1.0
belief_reach_base = 2.0
drive_rest_s = 0.2
drive_commit_s = 0.4
drive_most_s = 1.2
belief_drive_points = 0.15
belief_pass_points = 0.1
set_pick_up_p = 1.0
travel_p = 0.3
tie_up_rate_per_s = 0.3
trap_strip_rate_per_s = 2.0
"""
    calls = CALLS["two_three"]
    often = EVERY_TRIGGER + "\nprobability = 1.0\n"
    head = 'zone = "two_three_match_up"'
    return scenario(
        folder,
        "throws and bands",
        "college",
        setting("after the bump", calls, changes=often + "after_bump = true"),
        setting("at any moment", calls, changes=often + "after_bump = false\nfrom_baseline_m = [0.0, 12.0]"),
        setting("in a band", calls, changes=often + "from_baseline_m = [5.0, 9.0]"),
        setting(
            "brought down",
            calls,
            changes='triggers = ["brought_down"]\nprobability = 0.6\nfrom_baseline_m = [2.0, 9.5]',
        ),
        setting(
            "match-up, in a band", CALLS["two_three_match_up"], head, often + "from_baseline_m = [0.0, 10.0]"
        ),
        teams=(reluctant(folder, "juniper_hill"), "millbrook_row"),
        level="college",
        top="beyond_range = true",
        rest=rest,
    )


def spread(folder: Path) -> Iterator[tuple[Scenario, int, int]]:
    """Scenarios, each with how many possessions of each of its branches are compared: in full, by default.

    By default fewer: about as many as it takes to show everything that the model can do.
    """
    yield load_scenario("friday_night"), 24, 4
    yield other_defences(folder), 15, 6
    yield man_to_man_first(folder), 20, 6
    yield professionals(folder), 16, 6
    yield named_men(folder), 20, 10
    yield rough_game(folder), 25, 12
    yield wild_bounces(folder, 8), 60, 24
    yield wild_bounces(folder, 0), 15, 4
    for made in lines_and_clock(folder):
        yield made, 60, 30
    yield traps_that_are_left(folder), 48, 24
    yield traps_that_open_again(folder), 20, 10
    yield throws_and_bands(folder), 20, 10
    yield patient(folder, "patient", "post_entry", "high_low", "back_cut", "gap_kick"), 40, 24
    # cuts are rare beside others, and drives; where choices are all luck the near wing seldom has the ball
    often = {"play_rest_s": 0.1, "belief_drive_points": -0.6, "noise_points": 0.6}
    cuts = patient(folder, "patient, cuts alone", "back_cut", alignment="two_guard_baseline", **often)
    yield cuts, 40, 20
    yield own_plays(folder), 60, 44  # a play that begins while its handler is under way is rare
    yield screens(folder, "screens", 0.05, -0.4, "college", "own_screens.toml", "ball_screen"), 16, 8
    plays = ("ball_screen", "zone_screens.toml")
    late = {"drive_length_m": 4.0, "belief_reach_per_m": 3.0, "belief_kick_points": -0.3}
    yield screens(folder, "screens that hold", 0.8, 0.0, "professional", *plays, **late), 30, 15
    later = {"drive_length_m": 3.0, "belief_reach_base": 2.0, "belief_stopped_points": 0.1}
    yield screens(folder, "that hold longer", 1.1, 0.0, "professional", *plays, **later), 30, 12
    for number in range(8):
        yield drawn_constants(folder, number), 10, 4
