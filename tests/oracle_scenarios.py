"""Scenarios for comparing the kernel with the naive twin: the demo, and a spread over what a file can say."""

from __future__ import annotations

import random
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

from engine.inputs import Scenario, configs_root, load_constants, load_scenario, load_team

CALLS = {
    "two_three": ("corner", "short_corner", "wing", "top"),
    "man_to_man": (
        "man_to_man_corner",
        "man_to_man_short_corner",
        "man_to_man_wing",
        "man_to_man_half_court",
    ),
    "three_two": ("three_two_corner", "three_two_short_corner", "three_two_wing"),
    "one_three_one": ("one_three_one_corner", "one_three_one_half_court", "one_three_one_wing"),
    "one_two_two": ("one_two_two_corner", "one_two_two_half_court", "one_two_two_wing"),
    "two_three_match_up": ("man_to_man_corner", "man_to_man_short_corner", "man_to_man_wing", "top"),
}
EVERY_TRIGGER = (
    'triggers = ["in_air", "catch", "back_turned", "picked_up", "dribble_in", "held", "across_half", '
    '"brought_down"]'
)


#: All that are shipped.
PLAYS = sorted(path.stem for path in (configs_root() / "plays").glob("*.toml"))


def setting(name: str, calls: tuple[str, ...] = (), head: str = "", changes: str = "") -> str:
    """One [[setting]]; ``changes`` are written into each of its calls."""
    text = f'[[setting]]\nname = "{name}"\n{head}\n'
    return text + "".join(f'[[setting.call]]\ncall = "{call}"\n{changes}\n' for call in calls)


def scenario(
    folder: Path,
    name: str,
    rules: str,
    *settings: str,
    teams: tuple[str, str] = ("juniper_hill", "millbrook_row"),
    level: str = "school",
    alignment: str = "high_post_short_corner",
    defence: str = 'zone = "two_three"',
    plays: tuple[str, ...] | None = None,
    top: str = "",
    rest: str = "",
) -> Scenario:
    path = folder / f"{name}.toml"
    text = f"""title = "{name}"
rules = "{rules}"
level = "{level}"
{top}
[offence]
team = "{teams[0]}"
alignment = "{alignment}"
{"" if plays is None else f"plays = {list(plays)}"}
[defence]
team = "{teams[1]}"
{defence}
{rest}
"""
    path.write_text(text + "\n".join(settings), encoding="utf-8")
    return load_scenario(path)


def patient(folder: Path) -> Scenario:
    """Plays that begin from a held ball, of men who hold it long: zone, men who deny, match-up."""
    rest = """[rules_changes]
"clock.shot_s" = 20
[constants]
hold_value_points = 2.2
reluctance_points = 0.6
reluctance_tau_s = 0.3
hold_stale_points_per_s = 0.0
pick_up_p = 1.0
turnover_dread_points = 2.0
denied_m = 1.2
noise_points = 1.2
"""
    calls = CALLS["man_to_man"]
    return scenario(
        folder,
        "patient",
        "college",
        setting("man-to-man", calls[:1], 'zone = "man_to_man"'),
        setting("deny", calls[:1], 'zone = "man_to_man"\noptions = { pressure = "deny" }'),
        setting("match-up", CALLS["two_three_match_up"], 'zone = "two_three_match_up"'),
        setting("match-up, deny", head='zone = "two_three_match_up"\noptions = { matched_help = "deny" }'),
        level="college",
        alignment="overload",
        plays=("post_entry", "high_low", "back_cut", "gap_kick"),
        top="beyond_range = true",
        rest=rest,
    )


OWN_PLAY = """name = "own_play"
title = "a play of the test's own: every start, chains that go round, places off the floor"
source = "made for this test"
against = ["zone", "men"]

[[step]]
name = "never"
when = "hold"
lasts_s = 1.0
often = 0.0
[[step.move]]
who = "handler"
to = "rim"

[[step]]
name = "held"
when = "hold"
ball = ["top", "slot", "wing", "corner"]
after_s = 0.2
lasts_s = 0.8
often = 0.5
next = "round"
[[step.move]]
who = "passer"
to = { spot = "corner", side = "far" }
only_if = "way_open"
[[step.move]]
who = "handler"
to = { at = [6.0, -2.9], side = "far" }
[[step.move]]
who = "nearest"
near = "wing"
within_m = 30.0
to = [-11.0, 25.0]
only_if = "denied"
pace = 0.6
[[step.move]]
who = "nearest"
near = "wing"
within_m = 30.0
to = "high_post"
after_s = 2.0

[[step]]
name = "round"
when = "pass"
lasts_s = 0.5
often = 0.6
next = "round again"
[[step.move]]
who = "passer"
to = [0.7, 0.9]
only_if = "way_open"
[[step.move]]
who = "nearest"
near = "elbow"
within_m = 2.0
to = "low_post"

[[step]]
name = "round again"
when = "then"
ball = ["wing", "corner", "top"]
lasts_s = 0.6
next = "third"
[[step.move]]
who = "passer"
to = { spot = "wing", side = "far", shift = [0.3, 0.2] }
after_s = 0.3
[[step.move]]
who = "nearest"
near = [0.0, 3.0]
within_m = 8.0
to = "elbow"
only_if = "denied"

[[step]]
name = "third"
when = "then"
lasts_s = 0.4
next = "held"
[[step.move]]
who = "nearest"
near = "top"
within_m = 9.0
to = "corner"
[[step.move]]
who = "passer"
to = "short_corner"

[[step]]
name = "driven"
when = "drive"
ball = ["wing", "high_post", "elbow", "lane", "top", "slot"]
lasts_s = 0.7
often = 0.8
next = "held"
[[step.move]]
who = "passer"
to = "top"
[[step.move]]
who = "nearest"
near = { spot = "corner", side = "far" }
within_m = 9.0
to = { spot = "corner", side = "far" }

[[step]]
name = "driven, and hardly anybody there"
when = "drive"
lasts_s = 0.9
often = 0.5
[[step.move]]
who = "nearest"
near = "rim"
within_m = 0.6
to = "corner"

[[step]]
name = "escaped, and hardly anybody there"
when = "escape"
lasts_s = 1.1
often = 0.7
[[step.move]]
who = "nearest"
near = "rim"
within_m = 0.6
to = "corner"

[[step]]
name = "escaped"
when = "escape"
lasts_s = 0.9
often = 0.7
next = "third"
[[step.move]]
who = "passer"
to = [-0.9, 0.9]
[[step.move]]
who = "nearest"
near = "rim"
within_m = 12.0
to = [0.9, 1.0]
only_if = "way_open"
"""


def own_plays(folder: Path) -> Scenario:
    """A play of the test's own beside some of the shipped ones, with little rest between plays.

    One defence has four men who guard a man and one who has none: for the attack that is a zone.
    """
    men = (configs_root() / "zones" / "man_to_man.toml").read_text(encoding="utf-8")
    head, after = men.split("[guards]")
    guards, rows = after.split("[options", 1)
    rows = re.sub(r'(fifth(?: =|", job =) (?:{ job = )?)"own_man"', r'\1"place"', rows)
    written = head + "[guards]" + re.sub(r"fifth = \d\n", "", guards) + "[options" + rows
    (folder / "four_men.toml").write_text(written, encoding="utf-8")
    (folder / "own_play.toml").write_text(OWN_PLAY, encoding="utf-8")
    rest = """[constants]
play_rest_s = 0.2
cut_open_m = 0.6
denied_m = 1.0
pick_up_p = 1.0
drive_clear_m = -0.5
drive_most_s = 0.6
drive_commit_s = 0.3
drive_foul_rate_per_s = 0.2
belief_pass_points = -0.3
belief_stopped_points = 0.5
pass_release_s = 0.5
reluctance_points = 0.5
reluctance_tau_s = 2.0
"""
    return scenario(
        folder,
        "own plays",
        "international",
        setting("calls", CALLS["two_three"]),
        setting("man-to-man", CALLS["man_to_man"], 'zone = "man_to_man"'),
        setting("match-up", CALLS["two_three_match_up"], 'zone = "two_three_match_up"'),
        setting("four men", head='zone = "four_men.toml"'),
        plays=("four_on_three", "own_play.toml", "drive_kick", "through_cut"),
        top="beyond_range = true",
        rest=rest,
    )


def other_defences(folder: Path) -> Scenario:
    """Each of the other defences with its calls, against the demo's attack."""
    made = [
        setting(f"{zone} with calls", CALLS[zone], f'zone = "{zone}"')
        for zone in CALLS
        if zone != "two_three"
    ]
    made.append(setting("nothing but options", head='options = { bring_up = "steer", top_guard = "ball" }'))
    return scenario(folder, "other defences", "high_school", *made)


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
    """Calls against named men only; a team with a man who brings a shot table of his own."""
    written = (configs_root() / "teams" / "juniper_hill.toml").read_text(encoding="utf-8")
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
    return scenario(
        folder,
        "named men",
        "international",
        setting("two of them", CALLS["two_three"], changes=few + "\n" + EVERY_TRIGGER),
        setting("a man on the bench", CALLS["two_three"], changes=nobody),
        teams=("own_table.toml", "millbrook_row"),
        rest="[constants]\nsecond_trapper_delay_s = 0.7\nspot_spread_m = 1.2\nside_hysteresis_m = 0.0",
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
    zone = list(CALLS)[number % len(CALLS)]
    other = list(CALLS)[(number + 2) % len(CALLS)]
    return scenario(
        folder,
        f"drawn constants {number}",
        ("international", "high_school", "college", "professional")[number % 4],
        setting("its calls", CALLS[zone]),
        setting("every trigger", CALLS[zone], changes=EVERY_TRIGGER),
        setting("another defence", CALLS[other], f'zone = "{other}"'),
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
        "travel_p": 0.03,
        "backcourt_used_s": 7.5,
        "start_spread_m": 6.0,
        "longest_possession_s": 10.0,
        "hold_value_points": 1.8,
        "shell_least_s": 2.5,
    }
    lines = "\n".join(f"{name} = {value}" for name, value in rates.items())
    changes = '[rules_changes]\n"clock.patience_s" = 60\n"clock.offensive_three_seconds_s" = 1.5\n'
    changes += '"clock.closely_guarded_s" = 3.5\n'
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
    """Loose balls that get far away, little time, a man whose spot is behind the half-court line."""
    written = (configs_root() / "alignments" / "high_post_short_corner.toml").read_text(encoding="utf-8")
    behind = re.sub('point = ("slot"|{.*})', "point = [1.0, 13.6]", written)
    assert behind.count("13.6") == 5
    (folder / "behind_the_line.toml").write_text(behind, encoding="utf-8")
    rest = f"""[rules_changes]
"clock.shot_s" = 18
"clock.offensive_rebound_reset_s" = 5
"clock.backcourt_s" = {backcourt_s}
[constants]
deflection_m = 9.0
arm_reach_m = 1.6
touch_max_p = 1.0
clean_steal_p = 0.02
loose_scale_m = 0.3
turnover_dread_points = 0.0
step_out_rate_per_s = 2.0
step_out_within_m = 3.0
trap_foul_rate_per_s = 0.0
charge_rate_per_s = 4.0
drive_foul_rate_per_s = 0.0
shot_release_s = 1.1
hold_value_points = 2.2
drive_clear_m = 1.5
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
belief_hold_trapped_points = -0.5
belief_retreat_points = 0.2
belief_retreat_way_points = 0.2
numbers_value_points = 1.5
split_width_m = 0.6
trapper_closing_share = 0.0
retreat_m = 1.0
retreat_speed_share = 1.0
noise_points = 0.3
split_gap_m = 0.1
"""
    head = 'zone = "two_three_match_up"'
    return scenario(
        folder,
        "traps that are left",
        "international",
        setting("given up at once", CALLS["two_three"], changes="give_up_s = 0.4"),
        setting("other cover", ("wing",), changes='options = { far_forward = "rim" }\nprobability = 1.0'),
        setting("own men in the cover", ("own_call",), head),
        setting("lob", ("own_call",), head, 'options = { middle = "lob" }\nway_back = "shell"'),
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
belief_hold_trapped_points = 0.0
pass_shortest_m = 5.5
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
tried_look = 3
look_again_s = 1.0
drive_clear_m = -0.5
drive_rest_s = 0.2
drive_commit_s = 0.4
drive_most_s = 1.2
belief_pass_points = 0.1
set_pick_up_p = 1.0
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
        level="college",
        top="beyond_range = true",
        rest=rest,
    )


def spread(folder: Path) -> Iterator[tuple[Scenario, int]]:
    """Scenarios, each with how many possessions of each of its branches are compared."""
    yield load_scenario("friday_night"), 24
    yield other_defences(folder), 15
    yield man_to_man_first(folder), 20
    yield professionals(folder), 16
    yield named_men(folder), 20
    yield rough_game(folder), 25
    yield wild_bounces(folder, 8), 60
    yield wild_bounces(folder, 0), 15
    yield traps_that_are_left(folder), 40
    yield traps_that_open_again(folder), 20
    yield throws_and_bands(folder), 20
    yield patient(folder), 40
    yield own_plays(folder), 24
    for number in range(8):
        yield drawn_constants(folder, number), 10
