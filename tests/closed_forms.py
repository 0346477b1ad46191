"""Scenarios small enough for a closed form: parts of the model switched off through its constants."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import input_files
import numpy as np

from engine.inputs import load_scenario
from engine.kernel.batch import play_block
from engine.state.record import COLUMN, MOST_CALLS, N_RECORD
from engine.study.beliefs import PLACES
from engine.world.pack import pack

#: A handler shoots at once: nothing to wait for, nobody to pass to, no drive that gets past anybody.
SHOOT_AT_ONCE: dict[str, float] = {
    "hold_value_points": 0,
    "pass_longest_m": 0,
    "belief_reach_base": -1000,
    "noise_points": 0,
    "numbers_value_points": 0,
    "travel_p": 0,
    "rebound_value_points": 0,
    "shot_rhythm_logit": 0,
    **dict.fromkeys(PLACES, 0),
}
#: The defence does not bear on a shot, nor on a dribble: who has got the ball behind the board, where nobody
#: shoots, comes out of there first (the rest, a few in a million, are held there until a count is full).
NO_DEFENCE: dict[str, float] = {
    "shot_foul_p": 0,
    "block_p": 0,
    "off_dribble_logit": 0,
    "clock_logit_per_s": 0,
    "smothered_logit_per_m": 0,
    "second_contest_logit": 0,
    "strip_rate_per_s": 0,
    "dribble_loss_rate_per_s": 0,
    "drive_foul_rate_per_s": 0,
}
#: Every agent is as likely as any other to get a rebound, wherever he stands.
EVEN_REBOUNDS: dict[str, float] = {
    "rebound_scale_m": 1e9,
    "rebound_skill": 0,
    "box_out_share": 1,
    "crash_within_m": 8,
    "crash_n": 5,  # nobody runs back out of shooting range
}
#: A pass arrives, caught.
SAFE_PASSES: dict[str, float] = {
    "touch_max_p": 0,
    "aim_sd_per_m": 0,
    "catch_radius_m": 1000,
    "fumble_p": 0,
    "fumble_pressure_p": 0,
    "off_ball_foul_p": 0,
    "pass_shortest_m": 0,
    "pass_longest_m": 1000,
    "gamble_p": 0,
}
#: Time has no part in these closed forms, so as little of it as possible is played.
QUICK: dict[str, float] = {
    "time_step_s": 0.2,
    "longest_possession_s": 600,
    "shot_release_s": 0,
    "rim_release_s": 0,
    "shot_flight_s": 0,
    "shot_flight_s_per_m": 0,
    "rebound_fall_s": 0,
    "catch_pause_s": 0,
    "look_s": 0,
    "read_delay_least_s": 0,
    "pass_release_s": 0,
    "release_pressure_s": 0,
    "over_release_s": 0,
    "fake_p": 0,
}


def flat_table(folder: Path, name: str, make: float) -> str:
    """A shot table with one make probability from anywhere, however closely contested."""
    text = f"distance_m,make,contest_logit_per_m\n0,{make!r},0\n20,{make!r},0\n"
    (folder / name).write_text(text, encoding="utf-8")
    return name


def team(players: list[dict[str, Any]]) -> dict[str, Any]:
    """Five alike (no counts of their own), with these changes by position."""
    table = input_files.team()
    table["player"] = [input_files.player(10 + i, i + 1) | change for i, change in enumerate(players)]
    return table


def world_of(
    folder: Path,
    *,
    make: float,
    constants: dict[str, float],
    offence: list[dict[str, Any]] | None = None,
    defence: list[dict[str, Any]] | None = None,
    calls: list[dict[str, Any]] | None = None,
    plays: tuple[str, ...] | None = None,
    rules: str = "international",
    rules_changes: dict[str, Any] | None = None,
    team_fouls: int = 0,
    points: int = 2,
) -> Any:
    """The world of such a scenario, written to files in ``folder`` and read back; with calls, that setting's.

    ``make``: of everybody without a table of his own. ``points``: what every basket counts (2 or 3): the
    three-point line is moved out of the hall or under the rim after the court has been drawn.
    """
    flat_table(folder, "flat.csv", make)
    same: list[dict[str, Any]] = [{}] * 5
    input_files.write(folder, "offence.toml", team(offence or same))
    input_files.write(folder, "defence.toml", team(defence or same))
    attack: dict[str, Any] = {"team": "offence.toml", "alignment": "high_post_short_corner"}
    if plays is not None:
        attack["plays"] = plays
    scenario = {
        "title": "closed form",
        "rules": rules,
        "shot_table": "flat.csv",
        "start": "frontcourt",
        "possessions": 1,
        "seed": 1,
        "over_n": 1,
        "offence": attack,
        "defence": {"team": "defence.toml", "zone": "two_three"},
        "game": {"team_fouls": team_fouls, "traps_seen": 0, "time_outs_left": 0, "possession_arrow": "even"},
        "rules_changes": {"clock.shot_s": 0, "clock.offensive_three_seconds_s": 60} | (rules_changes or {}),
        "constants": QUICK | constants,
        "beyond_range": True,
        "setting": [{"name": "calls", "call": calls}] if calls else [],
    }
    packed = pack(load_scenario(input_files.write(folder, "scenario.toml", scenario)))
    world = packed.settings[0].world if calls else packed.home
    r = world[0].rules
    if points == 2:
        r.arc_m = r.corner_x_m = 1000.0
    else:
        r.arc_m, r.corner_x_m = 0.0, -1.0
        world[0].k.shot_range_m = 1000.0  # which is told from the line on
    return world


def played(world: Any, n: int, seed: int, max_calls: int = MOST_CALLS) -> Any:
    """Records int32 [n, N_RECORD] of possessions 0 .. n - 1, two blocks at a time."""
    records = np.zeros((n, N_RECORD), np.int32)
    block = max(1, -(-n // 8))
    with ThreadPoolExecutor(2) as pool:
        list(
            pool.map(
                lambda first: play_block(world, seed, first, records[first : first + block], max_calls),
                range(0, n, block),
            )
        )
    return records


def mean(records: Any, column: str) -> float:
    return float(records[:, COLUMN[column]].mean())


def standard_error(records: Any, column: str) -> float:
    return float(records[:, COLUMN[column]].std() / np.sqrt(len(records)))
