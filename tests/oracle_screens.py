"""Scenarios of screens on the ball for comparing the kernel with the naive twin."""

from __future__ import annotations

from pathlib import Path

from oracle_scenarios import CALLS, EVERY_TRIGGER, four_men, scenario, setting

from engine.inputs import Scenario, configs_root

OWN_SCREENS = """name = "own_screens"
title = "screens of the test's own: late, slow, one after the other, off a dribble"
source = "made for this test"
against = ["zone", "men"]

[[step]]
name = "screen"
when = "hold"
ball = ["top", "slot", "wing", "corner", "high_post"]
held_s = 0.1
lasts_s = 2.5
often = 0.6
next = "short roll"
[[step.move]]
who = "nearest"
near = "corner"
within_m = 9.0
to = { spot = "corner", side = "far" }
[[step.move]]
who = "nearest"
near = "high_post"
within_m = 12.0
does = "screen"
after_s = 0.2
pace = 0.9

[[step]]
name = "roll"
when = "then"
lasts_s = 0.4
next = "again"
[[step.move]]
who = "screener"
to = [0.7, 1.0]
[[step.move]]
who = "nearest"
near = "wing"
within_m = 6.0
to = "wing"

[[step]]
name = "again"
when = "then"
lasts_s = 1.2
next = "late roll"
[[step.move]]
who = "nearest"
near = "elbow"
within_m = 12.0
does = "screen"
only_if = "way_open"
[[step.move]]
who = "nearest"
near = "corner"
within_m = 9.0
to = "short_corner"

[[step]]
name = "late roll"
when = "then"
lasts_s = 0.5
[[step.move]]
who = "nearest"
near = "rim"
within_m = 12.0
to = "low_post"
[[step.move]]
who = "screener"
to = "top"

[[step]]
name = "screen if denied"
when = "hold"
held_s = 0.2
lasts_s = 1.0
often = 0.4
next = "late roll"
[[step.move]]
who = "nearest"
near = "top"
within_m = 12.0
does = "screen"
only_if = "denied"
[[step.move]]
who = "nearest"
near = "wing"
within_m = 12.0
to = "corner"

[[step]]
name = "dribble to it"
when = "hold"
ball = ["top", "slot", "wing"]
lasts_s = 1.6
often = 0.4
next = "roll"
[[step.move]]
who = "handler"
to = "slot"
[[step.move]]
who = "nearest"
near = "high_post"
within_m = 12.0
does = "screen"

[[step]]
name = "short roll"
when = "then"
lasts_s = 0.3
[[step.move]]
who = "screener"
to = [0.5, 1.2]

[[step]]
name = "after a pass"
when = "pass"
lasts_s = 0.2
often = 0.3
next = "again"
[[step.move]]
who = "passer"
to = "high_post"
"""

TRAP_THE_SCREEN = """name = "trap_the_screen"
title = "two on the ball as soon as somebody screens for it"
source = "made for this test"
spot = "top"
ball = ["top", "slot", "wing"]
doubles = ["ball", "nearest"]
faces = "middle"
triggers = ["screen"]
probability = 0.6
[cover.back]
job = "deny"
place = "slot"
[cover.line]
job = "read_skip"
place = "wing"
[cover.basket]
job = "middle"
place = "middle"
"""

COVERAGES = ("drop", "under", "show", "switch")


def screens(
    folder: Path,
    name: str,
    lost_s: float,
    go_on_points: float,
    level: str,
    *plays: str,
    **more: float,
) -> Scenario:
    """Screens against a zone, and against men who cover them in each way, match up or leave one free; traps
    of them; men who wait for them, and then drive; coverages that change with the place. ``lost_s``: what
    a screen costs. ``go_on_points``: whether a drive in hand is worth going on with. ``more``: other
    constants; short drives end where the screened man is the first who can be there."""
    (folder / "own_screens.toml").write_text(OWN_SCREENS, encoding="utf-8")
    zone_only = OWN_SCREENS.replace("own_screens", "zone_screens").replace('["zone", "men"]', '"zone"')
    (folder / "zone_screens.toml").write_text(zone_only, encoding="utf-8")
    (folder / "trap_the_screen.toml").write_text(TRAP_THE_SCREEN, encoding="utf-8")
    men = (configs_root() / "zones" / "man_to_man.toml").read_text(encoding="utf-8")
    head, first, rows = men.partition("[[screen]] # a screen on the ball\n")
    assert first
    for ball, coverage in (("top", "show"), ("slot", "under"), ("wing", "drop"), ("elbow", "under")):
        head += f'[[screen]]\nball = ["{ball}"]\ncoverage = "{coverage}"\n'
    by_place = head + rows[rows.index("[[screen]]") :]
    # one who has a man, and goes to the ball all the same
    by_place = by_place.replace('fifth = { job = "own_man"', 'fifth = { job = "on_ball"')
    (folder / "by_place.toml").write_text(by_place, encoding="utf-8")
    rest = "".join(f"{key} = {value}\n" for key, value in ({"belief_reach_base": 1.0} | more).items())
    rest = f"""[constants]
{rest}worth_screen_points = 0.6
worth_top_points = -0.06
belief_go_on_points = {go_on_points}
belief_go_on_after_points = -0.2
play_rest_s = 0.2
shot_rhythm_logit = 0.4
pick_up_p = 0.3
show_s = 0.4
screen_lost_s = {lost_s}
drop_m = 3.5
on_ball_gap_m = 1.2
reaction_s = 0.45
dribble_reaction_share = 1.0
reluctance_threes_points = 0.3
drive_foul_rate_per_s = 1.5
off_ball_foul_p = 0.02
"""
    made = [
        setting(how, ("trap_the_screen",), f'zone = "man_to_man"\noptions = {{ screens = "{how}" }}')
        for how in COVERAGES
    ]
    return scenario(
        folder,
        name,
        "college",
        setting("zone, every trigger", CALLS["two_three"], changes=EVERY_TRIGGER),
        *made,
        setting("by place", ("trap_the_screen",), 'zone = "by_place.toml"'),
        setting("match-up", ("man_to_man_corner", "trap_the_screen"), 'zone = "two_three_match_up"'),
        setting(
            "four men",
            ("trap_the_screen",),
            four_men(folder, free="first") + '\noptions = { screens = "switch" }',
        ),
        level=level,
        alignment="overload",
        plays=plays,
        top="beyond_range = true",
        rest=rest,
    )
