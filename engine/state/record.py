"""What one possession leaves behind: the columns of its record, each declared once.

From this table follow RECORD and COLUMN (names and places in int32 rows), RECORD_TYPE (what the kernel counts
in) and the files of records with their description (engine.run.records). A new column is a line here and its
``c.record.name += 1`` in the kernel.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from engine.state.words import AFTER, ENDS, ESCAPES, LOSSES, OUTCOMES

#: Upper edges of the shot bands, metres from the rim; the last band is open.
SHOT_BANDS_M = (1.25, 3.0, 5.0, 6.75, 8.0)
SHOT_BANDS = ("under the rim", "short", "middle", "long two or short three", "three", "far")

COUNT, POINTS, YES, MS, MM, STEPS, CODE = "count", "points", "0 or 1", "ms", "mm", "agent-steps", ""


class Column(NamedTuple):
    """One column: ``unit`` ("" for codes and bits), meaning, and for a code the words that files say instead.

    ``words`` () are the names of the setting's calls. ``from_one``: code 0 means none, 1 the first word.
    ``of_call``: nothing is said where no call was made. ``bits``: 32 bits that are no number.
    """

    name: str
    unit: str
    meaning: str
    words: tuple[str, ...] | None = None
    from_one: bool = False
    of_call: bool = False
    bits: bool = False


def _band(number: int) -> str:
    edges = (0.0, *SHOT_BANDS_M)
    upper = f" to {edges[number + 1]:g}" if number + 1 < len(edges) else " or more"
    return f"{edges[number]:g}{upper} m from the rim ({SHOT_BANDS[number]})"


#: Integer columns in their order. An attempt is a released shot that was not fouled, or was fouled and made.
#: Gaps are distances of the nearest defender.
COLUMNS = (
    Column("points", POINTS, "points conceded in this possession"),
    Column("net", POINTS, "points less the drawn excess of the next possession over an average one"),
    Column("end", CODE, "how the possession ended", ENDS),
    Column("first_call", CODE, "name of the first call made; empty without a call", (), from_one=True),
    Column(
        "outcome",
        CODE,
        "what became of the first call's trap; empty without a call",
        OUTCOMES,
        of_call=True,
    ),
    Column(
        "after",
        CODE,
        "what came after an escape, retreat or split from the first call; empty without a call",
        AFTER,
        of_call=True,
    ),
    Column("n_calls", COUNT, "calls made"),
    Column(
        "call_spots",
        CODE,
        "calls made, four bits each, the first call lowest: 1 + place of the call in the setting",
        bits=True,
    ),
    Column("time_ms", MS, "length of the possession"),
    Column("fga", COUNT, "field goal attempts"),
    Column("fgm", COUNT, "field goals made"),
    Column("three_attempts", COUNT, "attempts from beyond the arc"),
    Column("three_made", COUNT, "made attempts from beyond the arc"),
    Column("rim_attempts", COUNT, "attempts at the rim (nearer than rim_range_m)"),
    Column("rim_made", COUNT, "made attempts at the rim"),
    Column("rim_shot", YES, "1 if any shot at the rim was released, fouled ones included"),
    Column("fta", COUNT, "free throws"),
    Column("ftm", COUNT, "free throws made"),
    Column("oreb", COUNT, "rebounds by the offence, of shots and free throws"),
    Column("dreb", COUNT, "rebounds by the defence"),
    Column("turnovers", COUNT, "turnovers, violations and the end of the shot clock included"),
    Column("steals", COUNT, "live-ball turnovers"),
    Column("fouls", COUNT, "personal fouls of the defence, shooting fouls included"),
    Column("shooting_fouls", COUNT, "fouled shots"),
    Column("blocks", COUNT, "blocked shots"),
    Column("passes", COUNT, "passes released"),
    Column("skips", COUNT, "passes over more than skip_distance_m across"),
    Column("deflections", COUNT, "passes touched by a defender, clean steals included"),
    Column("open_threes", COUNT, "attempts from beyond the arc with a gap of at least open_shot_m"),
    Column("assisted", COUNT, "made attempts soon after the catch of a pass"),
    Column("drives", COUNT, "drives begun"),
    Column(
        "shot_clock_left_ms", MS, "shot clock left at the last release; -1 without a shot or a shot clock"
    ),
    Column("three_gap_mm", MM, "sum of the gaps at release over attempts from beyond the arc"),
    Column(
        "rim_after_call",
        COUNT,
        "shots released at the rim from the first call on until the shell stands, fouled ones included",
    ),
    Column("skip_catches", COUNT, "skip passes caught on wing or corner, no trap being on"),
    Column("skip_gap_mm", MM, "sum of the gaps at those catches"),
    Column("next_catches", COUNT, "passes to the next man caught on wing or corner, no trap being on"),
    Column("next_gap_mm", MM, "sum of the gaps at those catches"),
    Column("missed_bump_catches", COUNT, "the same where the wing was caught and the bump had not come"),
    Column("missed_bump_gap_mm", MM, "sum of the gaps at those catches"),
    Column("trap_set", YES, "1 if the first call's trap was set (both trappers there)"),
    Column(
        "violations", COUNT, "clock, count and line violations by the offence, the shot clock's end included"
    ),
    Column("late_shots", COUNT, "attempts with less than late_clock_s left on the shot clock"),
    Column("late_points", POINTS, "points made by them"),
    Column("policy_faults", COUNT, "answers of a coded policy that were not taken"),
    Column("overflow", YES, "1 if the possession was cut at longest_possession_s"),
    Column(
        "shadow",
        CODE,
        "staying home: bit s is set where setting number s would have made a call; else 0",
        bits=True,
    ),
    Column(
        "escape",
        CODE,
        "where the pass out of the first call's trap went; empty without one",
        ESCAPES,
        from_one=True,
    ),
    Column("escape_skip", YES, "1 if that pass was a skip"),
    Column("trapped_shot", YES, "1 if a shot was released while the first call's trap was on"),
    Column("lost_by", CODE, "how the ball was lost; empty without a turnover", LOSSES, from_one=True),
    Column("held_balls", COUNT, "held balls, whoever got them"),
    Column("middle_attempts", COUNT, "attempts between the rim and the arc"),
    Column("rim_gap_mm", MM, "sum of the gaps at release over attempts at the rim"),
    Column("middle_gap_mm", MM, "sum of the gaps at release over attempts between the rim and the arc"),
    Column("steps_walk", STEPS, "steps of time, summed over all ten players, at up to 1 m/s"),
    Column("steps_jog", STEPS, "the same above 1 and up to 3 m/s"),
    Column("steps_run", STEPS, "the same above 3 and up to 7 m/s"),
    Column("steps_sprint", STEPS, "the same above 7 m/s"),
    *(
        Column(f"band{n}_{short}", COUNT, f"{word} from {_band(n)}")
        for n in range(len(SHOT_BANDS))
        for short, word in (("att", "attempts"), ("made", "made attempts"))
    ),
)
RECORD = tuple(column.name for column in COLUMNS)
N_RECORD = len(RECORD)
COLUMN = {name: i for i, name in enumerate(RECORD)}
#: The record as the kernel counts in it, the same bytes as a row int32[N_RECORD]; the shot bands at its end
#: are one array, ``band[number, 0 attempts or 1 made]``.
RECORD_TYPE = np.dtype(
    [
        *((c.name, np.uint32 if c.bits else np.int32) for c in COLUMNS if not c.name.startswith("band")),
        ("band", np.int32, (len(SHOT_BANDS), 2)),
    ],
    align=True,
)
MOST_CALLS = 8  # calls of a setting, and calls made in a possession: later ones are not made
NET_LOW, NET_HIGH = -3, 15  # bounds of "net"; 9 was seen once in half a million possessions
