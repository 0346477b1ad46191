"""Integer tallies of one possession: column numbers of the record and the one way to add to them."""

from __future__ import annotations

from engine.kernel.jit import njit

from engine.state import COLUMN

COL_points = COLUMN["points"]
COL_net = COLUMN["net"]
COL_end = COLUMN["end"]
COL_first_call = COLUMN["first_call"]
COL_outcome = COLUMN["outcome"]
COL_after = COLUMN["after"]
COL_n_calls = COLUMN["n_calls"]
COL_call_spots = COLUMN["call_spots"]
COL_time_ms = COLUMN["time_ms"]
COL_fga = COLUMN["fga"]
COL_fgm = COLUMN["fgm"]
COL_three_attempts = COLUMN["three_attempts"]
COL_three_made = COLUMN["three_made"]
COL_rim_attempts = COLUMN["rim_attempts"]
COL_rim_made = COLUMN["rim_made"]
COL_rim_shot = COLUMN["rim_shot"]
COL_fta = COLUMN["fta"]
COL_ftm = COLUMN["ftm"]
COL_oreb = COLUMN["oreb"]
COL_dreb = COLUMN["dreb"]
COL_turnovers = COLUMN["turnovers"]
COL_steals = COLUMN["steals"]
COL_fouls = COLUMN["fouls"]
COL_shooting_fouls = COLUMN["shooting_fouls"]
COL_blocks = COLUMN["blocks"]
COL_passes = COLUMN["passes"]
COL_skips = COLUMN["skips"]
COL_deflections = COLUMN["deflections"]
COL_open_threes = COLUMN["open_threes"]
COL_assisted = COLUMN["assisted"]
COL_drives = COLUMN["drives"]
COL_shot_clock_left_ms = COLUMN["shot_clock_left_ms"]
COL_three_gap_mm = COLUMN["three_gap_mm"]
COL_rim_after_call = COLUMN["rim_after_call"]
COL_skip_catches = COLUMN["skip_catches"]
COL_skip_gap_mm = COLUMN["skip_gap_mm"]
COL_next_catches = COLUMN["next_catches"]
COL_next_gap_mm = COLUMN["next_gap_mm"]
COL_missed_bump_catches = COLUMN["missed_bump_catches"]
COL_missed_bump_gap_mm = COLUMN["missed_bump_gap_mm"]
COL_trap_set = COLUMN["trap_set"]
COL_violations = COLUMN["violations"]
COL_late_shots = COLUMN["late_shots"]
COL_late_points = COLUMN["late_points"]
COL_policy_faults = COLUMN["policy_faults"]
COL_overflow = COLUMN["overflow"]
COL_band0_att = COLUMN["band0_att"]
COL_band0_made = COLUMN["band0_made"]
COL_band1_att = COLUMN["band1_att"]
COL_band1_made = COLUMN["band1_made"]
COL_band2_att = COLUMN["band2_att"]
COL_band2_made = COLUMN["band2_made"]
COL_band3_att = COLUMN["band3_att"]
COL_band3_made = COLUMN["band3_made"]
COL_band4_att = COLUMN["band4_att"]
COL_band4_made = COLUMN["band4_made"]
COL_band5_att = COLUMN["band5_att"]
COL_band5_made = COLUMN["band5_made"]


@njit
def add(c, column, amount):
    """Adds an integer to a column of the possession's record."""
    c.record[column] += amount
