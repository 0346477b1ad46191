"""What an input file leaves out, in one place, and the limits that files and callers share.

Every value a loader fills in when a key is absent stands here with its unit, so that a reader of a
file never has to search the code for what an absent key means. Model constants have no defaults: they
all stand in configs/model/constants.toml.
"""

from __future__ import annotations

# --- scenario ------------------------------------------------------------------------------------------
#: "bring_up": the ball is brought over half court first; "frontcourt": the offence is already set.
START = "bring_up"
#: Possessions played when neither the file nor the caller says how many (count).
POSSESSIONS = 20_000
#: Most possessions a run may have (count): every sum of a tally still fits 64 bits.
MOST_POSSESSIONS = 10**9
#: Seed of the random numbers (0 to MOST_SEED).
SEED = 1
MOST_SEED = 2**64 - 1
#: Calls over which the risk of a call is added up (count).
OVER_N = 10

#: Plays of the attack where a scenario names none.
PLAYS = (
    "gap_kick",
    "high_low",
    "baseline_runner",
    "through_cut",
    "pass_cut_fill",
    "back_cut",
    "post_entry",
    "ball_screen",
    "drive_kick",
    "four_on_three",
)

# --- the game around the possession ---------------------------------------------------------------------
#: Fouls the defence already has in this period (count).
TEAM_FOULS = 0
#: Traps of each kind the offence has already seen in this game (count): readiness.
TRAPS_SEEN = 0
#: Time-outs the offence still has (count).
TIME_OUTS_LEFT = 3
#: Who gets a held ball: "offence", "defence" or "even" (drawn one half to one half).
POSSESSION_ARROW = "even"

# --- team ----------------------------------------------------------------------------------------------
LEVEL = "school"

# --- slides and calls ----------------------------------------------------------------------------------
#: Side of a place when an entry names none: the ball's own side.
SIDE = "near"
#: Moment of a row of slides when it names none.
MOMENT = "settled"
#: Chance that a call is made when its trigger fires (probability).
PROBABILITY = 1.0
#: Uses per game (count); None: no limit.
BUDGET: int | None = None
#: How long the trappers hide their start (seconds).
DISGUISE_S = 0.0
#: How long the ball must be held in the region before the trigger "held" fires (seconds).
HELD_S = 1.0
#: How long a set trap is kept before it is given up (seconds).
GIVE_UP_S = 4.0
#: Who runs back how: "shell" (everyone to his place) or "trappers_last".
WAY_BACK = "shell"

# --- settings ------------------------------------------------------------------------------------------
#: Name of playing the scenario's defence without calls; no setting of a scenario may have it.
HOME = "home"
