"""What one possession leaves behind: the columns of its record."""

from __future__ import annotations

#: Upper edges of the shot bands, metres from the rim; the last band is open.
SHOT_BANDS_M = (1.25, 3.0, 5.0, 6.75, 8.0)
SHOT_BANDS = ("under the rim", "short", "middle", "long two or short three", "three", "far")

#: Integer columns of the record of one possession (int32), in order. Counts unless a unit is in the name.
RECORD = (
    "points",  # conceded in this possession
    "net",  # points minus the drawn excess of the next possession (integer)
    "end",  # index into ENDS
    "first_call",  # 1 + index of the first call made in the setting, 0 none
    "outcome",  # index into OUTCOMES of the first call (0 when none)
    "after",  # index into AFTER of the first call
    "n_calls",  # calls made in this possession
    "call_spots",  # calls made, four bits each, first call in the lowest bits (1 + index)
    "time_ms",  # length of the possession, milliseconds
    "fga",
    "fgm",
    "three_attempts",
    "three_made",
    "rim_attempts",
    "rim_made",
    "rim_shot",  # 1 if any shot at the rim was taken, fouled ones included
    "fta",
    "ftm",
    "oreb",
    "dreb",
    "turnovers",
    "steals",
    "fouls",  # personal fouls on the defence
    "shooting_fouls",
    "blocks",
    "passes",
    "skips",  # passes over more than skip_distance_m across
    "deflections",
    "open_threes",  # three attempts with the nearest defender beyond open_shot_m
    "assisted",  # made shots within the catch of a pass
    "drives",
    "shot_clock_left_ms",  # at the last shot's release, -1 none
    "three_gap_mm",  # sum over three attempts of the nearest defender's distance at release
    "rim_after_call",  # attempts at the rim after the first call (0 or more)
    "skip_catches",
    "skip_gap_mm",  # sum of the nearest defender's distance when a skip is caught on the perimeter
    "next_catches",
    "next_gap_mm",  # the same for passes to the next man
    "missed_bump_catches",
    "missed_bump_gap_mm",  # the same where the wing was caught and the bump had not come
    "trap_set",  # the first call's trap was set (both trappers there)
    "violations",  # clock, count and line violations by the offence
    "late_shots",  # field goal attempts with less than late_clock_s left
    "late_points",
    "policy_faults",  # targets off the court or not a number (coded policies)
    "overflow",  # 1 if the possession was cut at the step limit
    "shadow",  # at home: bit s set where setting s would have made a call
    "escape",  # first trap escaped by a pass: 1 behind the ball, 2 middle, 3 up the line, 4 far man, 5 other
    "escape_skip",  # 1 if that pass was a skip
    "trapped_shot",  # 1 if the first call ended with a shot by the trapped man
    "middle_attempts",  # attempts between the rim and the arc
    "rim_gap_mm",  # sum over attempts at the rim of the nearest defender's distance at release
    "middle_gap_mm",  # the same between the rim and the arc
    "steps_walk",  # agent-steps of all ten up to 1 m/s, every step in which people move
    "steps_jog",  # up to 3 m/s
    "steps_run",  # up to 7 m/s
    "steps_sprint",  # above
    "band0_att",
    "band0_made",
    "band1_att",
    "band1_made",
    "band2_att",
    "band2_made",
    "band3_att",
    "band3_made",
    "band4_att",
    "band4_made",
    "band5_att",
    "band5_made",
)
N_RECORD = len(RECORD)
COLUMN = {name: i for i, name in enumerate(RECORD)}
NET_LOW, NET_HIGH = -3, 15  # bounds of "net"; 9 was seen once in half a million possessions
