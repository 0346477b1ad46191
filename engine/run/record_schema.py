"""What a file of per-possession records holds: every column with its unit and meaning, as data.

The columns after the first three are those of ``state.record.RECORD`` in its order. Codes become words, so
that nobody has to look them up; everything else stays the whole number that the possession wrote.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from engine.state.record import RECORD, SHOT_BANDS, SHOT_BANDS_M
from engine.state.words import AFTER, ENDS, OUTCOMES

if TYPE_CHECKING:
    import pandas as pd

#: How the trap of the first call was left by a pass, in the order of the codes 1 .. 5 of the column escape.
ESCAPES = ("behind the ball", "middle", "up the line", "far man", "other")
#: The columns that name a possession, in front of its record.
KEYS = ("setting", "possession", "seed")
#: Columns whose codes are written as words; first_call has the names of the setting's calls.
WORDS = {"end": ENDS, "outcome": OUTCOMES, "after": AFTER, "escape": ESCAPES}
#: Columns of words that are empty (null) in a possession without a call, or without such an escape.
MAY_BE_EMPTY = ("first_call", "outcome", "after", "escape")


class Column(NamedTuple):
    """A column of the file: ``type`` as Parquet readers show it, ``unit`` ("" for words and codes)."""

    name: str
    type: str
    unit: str
    meaning: str


COUNT, POINTS, YES, MS, MM, STEPS, CODE = "count", "points", "0 or 1", "ms", "mm", "agent-steps", ""
#: Unit and meaning of the columns of state.record.RECORD. An attempt is a released shot that was not fouled,
#: or was fouled and made. Gaps are distances of the nearest defender.
MEANINGS: dict[str, tuple[str, str]] = {
    "points": (POINTS, "points conceded in this possession"),
    "net": (POINTS, "points less the drawn excess of the next possession over an average one"),
    "end": (CODE, "how the possession ended"),
    "first_call": (CODE, "name of the first call made; empty without a call"),
    "outcome": (CODE, "what became of the first call's trap; empty without a call"),
    "after": (CODE, "what came after an escape, retreat or split from the first call; empty without a call"),
    "n_calls": (COUNT, "calls made"),
    "call_spots": (
        CODE,
        "calls made, four bits each, the first call lowest: 1 + place of the call in the setting",
    ),
    "time_ms": (MS, "length of the possession"),
    "fga": (COUNT, "field goal attempts"),
    "fgm": (COUNT, "field goals made"),
    "three_attempts": (COUNT, "attempts from beyond the arc"),
    "three_made": (COUNT, "made attempts from beyond the arc"),
    "rim_attempts": (COUNT, "attempts at the rim (nearer than rim_range_m)"),
    "rim_made": (COUNT, "made attempts at the rim"),
    "rim_shot": (YES, "1 if any shot at the rim was released, fouled ones included"),
    "fta": (COUNT, "free throws"),
    "ftm": (COUNT, "free throws made"),
    "oreb": (COUNT, "rebounds by the offence, of shots and free throws"),
    "dreb": (COUNT, "rebounds by the defence"),
    "turnovers": (COUNT, "turnovers, violations and the end of the shot clock included"),
    "steals": (COUNT, "live-ball turnovers"),
    "fouls": (COUNT, "personal fouls of the defence, shooting fouls included"),
    "shooting_fouls": (COUNT, "fouled shots"),
    "blocks": (COUNT, "blocked shots"),
    "passes": (COUNT, "passes released"),
    "skips": (COUNT, "passes over more than skip_distance_m across"),
    "deflections": (COUNT, "passes touched by a defender, clean steals included"),
    "open_threes": (COUNT, "attempts from beyond the arc with a gap of at least open_shot_m"),
    "assisted": (COUNT, "made attempts soon after the catch of a pass"),
    "drives": (COUNT, "drives begun"),
    "shot_clock_left_ms": (MS, "shot clock left at the last release; -1 without a shot or a shot clock"),
    "three_gap_mm": (MM, "sum of the gaps at release over attempts from beyond the arc"),
    "rim_after_call": (COUNT, "shots released at the rim after the first call, fouled ones included"),
    "skip_catches": (COUNT, "skip passes caught on wing or corner, no trap being on"),
    "skip_gap_mm": (MM, "sum of the gaps at those catches"),
    "next_catches": (COUNT, "passes to the next man caught on wing or corner, no trap being on"),
    "next_gap_mm": (MM, "sum of the gaps at those catches"),
    "missed_bump_catches": (COUNT, "the same where the wing was caught and the bump had not come"),
    "missed_bump_gap_mm": (MM, "sum of the gaps at those catches"),
    "trap_set": (YES, "1 if the first call's trap was set (both trappers there)"),
    "violations": (COUNT, "clock, count and line violations by the offence, the shot clock's end included"),
    "late_shots": (COUNT, "attempts with less than late_clock_s left on the shot clock"),
    "late_points": (POINTS, "points made by them"),
    "policy_faults": (COUNT, "answers of a coded policy that were not taken"),
    "overflow": (YES, "1 if the possession was cut at longest_possession_s"),
    "shadow": (CODE, "staying home: bit s is set where setting number s would have made a call; else 0"),
    "escape": (CODE, "where the pass out of the first call's trap went; empty without one"),
    "escape_skip": (YES, "1 if that pass was a skip"),
    "trapped_shot": (YES, "1 if a shot was released while the first call's trap was on"),
    "middle_attempts": (COUNT, "attempts between the rim and the arc"),
    "rim_gap_mm": (MM, "sum of the gaps at release over attempts at the rim"),
    "middle_gap_mm": (MM, "sum of the gaps at release over attempts between the rim and the arc"),
    "steps_walk": (STEPS, "steps of time, summed over all ten players, at up to 1 m/s"),
    "steps_jog": (STEPS, "the same above 1 and up to 3 m/s"),
    "steps_run": (STEPS, "the same above 3 and up to 7 m/s"),
    "steps_sprint": (STEPS, "the same above 7 m/s"),
}


def _band(number: int) -> str:
    edges = (0.0, *SHOT_BANDS_M)
    upper = f" to {edges[number + 1]:g}" if number + 1 < len(edges) else " or more"
    return f"{edges[number]:g}{upper} m from the rim ({SHOT_BANDS[number]})"


for _number in range(len(SHOT_BANDS)):
    MEANINGS[f"band{_number}_att"] = (COUNT, f"attempts from {_band(_number)}")
    MEANINGS[f"band{_number}_made"] = (COUNT, f"made attempts from {_band(_number)}")


def columns() -> tuple[Column, ...]:
    """The columns of a file of records, in order."""
    keys = (
        Column("setting", "dictionary<string>", "", "setting played; home is the base defence without calls"),
        Column("possession", "int64", "", "number of the possession, from 0; equal numbers share their luck"),
        Column("seed", "uint64", "", "seed of the random numbers"),
    )
    words = ("first_call", *WORDS)
    return keys + tuple(
        Column(name, "dictionary<string>" if name in words else "int32", *MEANINGS[name]) for name in RECORD
    )


def schema_table() -> pd.DataFrame:
    """The columns as a table: index column, columns type, unit, meaning."""
    import pandas as pd

    names = [("column" if name == "name" else name) for name in Column._fields]
    return pd.DataFrame([list(column) for column in columns()], columns=names).set_index("column")


def schema_text() -> str:
    """The columns as a page (Markdown); configs/model/records.md holds it."""
    lines = [
        "# Records of single possessions",
        "",
        "`trapledger play SCENARIO --records FILE.parquet` writes one row per possession, in the order of",
        "their numbers. Type, unit and meaning also stand in the file itself, as metadata of each column.",
        "How each count is made: [record](submodels_court_and_motion.md), section 8.",
        "",
        "Words of the columns of words:",
        "",
        *(f"- `{name}`: {', '.join(words)}" for name, words in WORDS.items()),
        "",
        "| column | type | unit | meaning |",
        "|---|---|---|---|",
        *(f"| {c.name} | {c.type} | {c.unit} | {c.meaning} |" for c in columns()),
    ]
    return "\n".join(lines) + "\n"
