"""Writing scenarios for comparing the kernel with the naive twin, and those about plays of the attack."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from engine.inputs import Scenario, configs_root, load_scenario

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
    '"brought_down", "screen"]'
)


#: All that are shipped.
PLAYS = sorted(path.stem for path in (configs_root() / "plays").glob("*.toml"))


def setting(name: str, calls: tuple[str, ...] = (), head: str = "", changes: str = "") -> str:
    """One [[setting]]; ``changes`` are written into each of its calls."""
    text = f'[[setting]]\nname = "{name}"\n{head}\n'
    return text + "".join(f'[[setting.call]]\ncall = "{call}"\n{changes}\n' for call in calls)


#: What the ball is worth by place, in every scenario written here that has no values of its own: all unlike
#: one another and 0.
WORTH = {
    "top": -0.03,
    "wing": 0.05,
    "corner": -0.07,
    "short_corner": 0.11,
    "middle": 0.13,
    "low": 0.17,
    "back": -0.19,
}
#: What a drive in hand, a shot of one's own and the end of a drive bring more, and the gap that one expects
#: at one's own shot (by default none and the gap as it is).
BESIDE = {
    "belief_go_on_points": 0.09,
    "belief_shot_points": -0.07,
    "belief_end_points": -0.11,
    "belief_own_gap_m": 0.29,
    "belief_own_gap_share": 0.83,
}


def with_worth(rest: str) -> str:
    """WORTH and BESIDE at the head of a scenario's [constants], unless these are there already."""
    if "worth_" in rest:
        return rest
    lines = "".join(f"worth_{name}_points = {value}\n" for name, value in WORTH.items())
    lines += "".join(f"{name} = {value}\n" for name, value in BESIDE.items())
    head, _, tail = rest.partition("[constants]\n")
    return f"{head}\n[constants]\n{lines}{tail}"


def scenario(
    folder: Path,
    name: str,
    rules: str,
    *settings: str,
    teams: tuple[str, str] = ("juniper_hill", "millbrook_row"),
    level: str | None = "school",
    alignment: str = "high_post_short_corner",
    defence: str = 'zone = "two_three"',
    plays: tuple[str, ...] | None = None,
    top: str = "",
    rest: str = "",
) -> Scenario:
    path = folder / f"{name}.toml"
    text = f"""title = "{name}"
rules = "{rules}"
{'shot_table = "school"' if level is None else f'level = "{level}"'}
{top}
[offence]
team = "{teams[0]}"
alignment = "{alignment}"
{"" if plays is None else f"plays = {list(plays)}"}
[defence]
team = "{teams[1]}"
{defence}
{with_worth(rest)}
"""
    path.write_text(text + "\n".join(settings), encoding="utf-8")
    return load_scenario(path)


#: What the men of a team's file, in its order, ask of their own (twos, threes): every pair of signs, and so
#: much that it tells whether a man who drives across the arc is asked for a two or for a three.
RELUCTANCES = ((1.2, -1.0), (-0.8, 1.4), (-1.6, -0.6), (0.6, 1.8), (1.0, -2.0), (0.0, 0.8))


def reluctant(folder: Path, name: str) -> str:
    """A team of the demo whose men ask more or less of their own shots than others do."""
    head, *men = (configs_root() / "teams" / f"{name}.toml").read_text(encoding="utf-8").split("[[player]]")
    for (two, three), man in zip(RELUCTANCES, men, strict=True):
        head += f"[[player]]\nreluctance_two_points = {two}\nreluctance_three_points = {three}{man}"
    (folder / f"reluctant_{name}.toml").write_text(head, encoding="utf-8")
    return f"reluctant_{name}.toml"


def patient(
    folder: Path, name: str, *plays: str, alignment: str = "overload", **constants: float
) -> Scenario:
    """Plays that begin from a held ball, of men who hold it long: zone, men who deny, match-up."""
    rest = """[rules_changes]
"clock.shot_s" = 20
[constants]
hold_value_points = 2.2
shot_rhythm_logit = 0.4
hold_tau_s = 0.3
pick_up_p = 1.0
excess_live_steal_points = 2.0
denied_m = 2.0
travel_p = 0.3
off_ball_foul_p = 0.05
"""
    rest += "".join(f"{key} = {value}\n" for key, value in {"noise_points": 1.2, **constants}.items())
    calls = CALLS["man_to_man"]
    return scenario(
        folder,
        name,
        "college",
        setting("man-to-man", calls[:1], 'zone = "man_to_man"'),
        setting("deny", calls[:1], 'zone = "man_to_man"\noptions = { pressure = "deny" }'),
        setting("match-up", CALLS["two_three_match_up"], 'zone = "two_three_match_up"'),
        setting("match-up, deny", head='zone = "two_three_match_up"\noptions = { matched_help = "deny" }'),
        level="college",
        alignment=alignment,
        plays=plays,
        top="beyond_range = true",
        rest=rest,
    )


#: Men who wait for better than any shot till there is hardly any time left, and then go up quickly.
WAITING = {
    "hold_value_points": 3.0,
    "hold_tau_s": 0.1,
    "decision_period_s": 0.3,
    "belief_reach_base": -4.0,
    "shot_release_s": 0.28,
}


#: In long steps; the lane count is met to the last bit of a sum.
LONG_STEPS = {**WAITING, "time_step_s": 0.2, "decision_period_s": 0.7}
#: Drivers; those who wait; the same where the clock runs out between two steps: in the one before it is time
#: to let go, but he would do so after; or he has let go by then, which is done in the one after.
NEAR_LINES = {
    "lines": {"belief_drive_points": 0.3},
    "clock": WAITING,
    "just too late": {**LONG_STEPS, "backcourt_used_s": 1.16},
    "just in time": {**LONG_STEPS, "backcourt_used_s": 1.05, "catch_pause_s": 0.34},
}


def lines_and_clock(folder: Path) -> Iterator[Scenario]:
    """Dribblers who step on lines, with little time: NEAR_LINES."""
    for name, constants in NEAR_LINES.items():
        fixed = {"dribble_line_rate_per_s": 2.0, "step_out_within_m": 2.0, "start_spread_m": 7.0, **constants}
        lines = "".join(f"{key} = {value}\n" for key, value in fixed.items())
        yield scenario(
            folder,
            name,
            "international",
            setting("calls", CALLS["two_three"], changes=EVERY_TRIGGER),
            setting("man-to-man", CALLS["man_to_man"], 'zone = "man_to_man"'),
            top="beyond_range = true",
            rest=f'[rules_changes]\n"clock.shot_s" = 8\n[constants]\n{lines}',
        )


OWN_PLAY = """name = "own_play"
title = "a play of the test's own: every start, chains that go round, places at the lines"
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
held_s = 0.2
lasts_s = 0.8
often = 0.5
next = "round"
[[step.move]]
who = "nearest"
near = "corner"
within_m = 9.0
to = { spot = "corner", side = "far" }
only_if = "way_open"
[[step.move]]
who = "handler"
to = { at = [6.0, -1.5], side = "far" }
[[step.move]]
who = "nearest"
near = "wing"
within_m = 30.0
to = [-7.6, 25.0]
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
who = "nearest"
near = "slot"
within_m = 3.0
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
who = "nearest"
near = "top"
within_m = 9.0
to = [-0.9, 0.9]
[[step.move]]
who = "nearest"
near = "rim"
within_m = 12.0
to = [0.9, 1.0]
only_if = "way_open"
"""


def four_men(folder: Path, free: str = "fifth") -> str:
    """A defence of four men who guard a man and one who has none: for the attack that is a zone."""
    men = (configs_root() / "zones" / "man_to_man.toml").read_text(encoding="utf-8")
    head, after = men.split("[guards]")
    guards, rows = after.split("[options", 1)
    rows = re.sub(rf'({free}(?: =|", job =) (?:{{ job = )?)"own_man"', r'\1"place"', rows)
    written = head + "[guards]" + re.sub(rf"{free} = \d\n", "", guards) + "[options" + rows
    (folder / "four_men.toml").write_text(written, encoding="utf-8")
    return 'zone = "four_men.toml"'


def own_plays(folder: Path) -> Scenario:
    """A play of the test's own beside some of the shipped ones, with little rest between plays."""
    (folder / "own_play.toml").write_text(OWN_PLAY, encoding="utf-8")
    rest = """[constants]
play_rest_s = 0.2
cut_open_m = 0.6
find_at_m = 2.0
denied_m = 1.0
pick_up_p = 1.0
belief_reach_base = 2.0
shot_rhythm_logit = 0.4
drive_most_s = 0.6
drive_commit_s = 0.3
drive_foul_rate_per_s = 0.2
belief_pass_points = -0.3
belief_stopped_points = 0.5
pass_release_s = 0.5
hold_tau_s = 2.0
off_ball_foul_p = 0.12
travel_p = 0.3
"""
    return scenario(
        folder,
        "own plays",
        "international",
        setting("calls", CALLS["two_three"]),
        setting("man-to-man", CALLS["man_to_man"], 'zone = "man_to_man"'),
        setting("match-up", CALLS["two_three_match_up"], 'zone = "two_three_match_up"'),
        setting("four men", head=four_men(folder)),
        setting(
            "other plays",
            CALLS["two_three"],
            'plays = ["through_cut", "back_cut", "gap_kick", "own_play.toml"]',
        ),
        setting("no plays", head="plays = []"),
        plays=("four_on_three", "own_play.toml", "drive_kick", "through_cut"),
        top="beyond_range = true",
        rest=rest,
    )
