"""Every array the compiled kernel sees: one declaration of names, meanings, units, shapes and types.

Nothing here computes. ``engine.world.pack`` fills the constant arrays, ``engine.kernel`` reads them and
writes the possession's state, ``engine.study`` reads the records. Record arrays (numpy structured
types) are used instead of long argument lists: a field is a name in the source and a fixed offset in
the compiled code, and numba.cuda takes the same types.
"""

from __future__ import annotations

import re

import numpy as np

from engine.shipped import configs_root
from engine.state.record import MOST_CALLS, RECORD_TYPE
from engine.state.words import Break, Moment, Option, Region

N_PLAYERS = 10
N_SIDE = 5

# --- constant arrays ------------------------------------------------------------------------------------

#: Model constants: the tables of the file that declares them, in its order.
CONSTANTS = tuple(
    re.findall(r"^\[(\w+)\]", (configs_root() / "model" / "constants.toml").read_text("utf-8"), re.MULTILINE)
)
CONSTANT = np.dtype([(name, np.float64) for name in CONSTANTS], align=True)

RULE = np.dtype(
    [
        ("half_width_m", np.float64),
        ("baseline_y_m", np.float64),
        ("half_y_m", np.float64),
        ("far_y_m", np.float64),
        ("lane_half_width_m", np.float64),
        ("free_throw_y_m", np.float64),
        ("arc_m", np.float64),
        ("corner_x_m", np.float64),
        ("corner_break_y_m", np.float64),
        ("no_charge_m", np.float64),
        ("shot_clock_s", np.float64),  # 0 none
        ("patience_s", np.float64),
        ("offensive_rebound_reset_s", np.float64),
        ("foul_reset_s", np.float64),
        ("backcourt_s", np.float64),  # 0 none
        ("closely_guarded_s", np.float64),  # 0 none
        ("closely_guarded_m", np.float64),
        ("closely_guarded_dribble", np.int64),
        ("three_seconds_s", np.float64),
        ("defensive_three_seconds_s", np.float64),  # 0 none
        ("bonus_from", np.int64),
        ("bonus_free_throws", np.int64),
        ("one_and_one_from", np.int64),
        ("one_and_one_to", np.int64),
        ("trapped_time_out", np.int64),
        ("team_fouls", np.int64),  # at the start of the possession
        ("traps_seen", np.int64),
        ("time_outs_left", np.int64),
        ("p_arrow_defence", np.float64),  # chance that a held ball goes to the defence
        ("bring_up", np.int64),  # 1: the possession starts in the backcourt
        ("grid_cell_m", np.float64),
        ("bump_role", np.int64),
    ],
    align=True,
)

PLAYER = np.dtype(
    [
        ("top_speed_mps", np.float64),
        ("slide_mps", np.float64),
        ("run_gain", np.float64),  # 1 - exp(-dt / sprint tau)
        ("slide_gain", np.float64),
        ("reach_m", np.float64),  # standing reach
        ("handle", np.float64),
        ("passing", np.float64),
        ("rebounding", np.float64),
        ("discipline", np.float64),
        ("free_throw", np.float64),
        ("table", np.int64),
        ("rim_logit", np.float64),  # the player's difference from his table
        ("middle_logit", np.float64),
        ("three_logit", np.float64),
        ("reluctance_two_points", np.float64),  # what he asks of his own twos; below 0 eager
        ("reluctance_three_points", np.float64),
    ],
    align=True,
)

#: What one role does in one row: a place plus weights toward ball and man, and a kind of behaviour.
ENTRY = np.dtype(
    [
        ("x_m", np.float64),  # for the ball on the near (x > 0) side
        ("y_m", np.float64),
        ("toward_ball", np.float64),
        ("toward_man", np.float64),
        ("man_within_m", np.float64),
        ("kind", np.int64),  # engine.state.jobs.Kind
        ("job", np.int64),  # Job, for reading traces
    ],
    align=True,
)

CALL = np.dtype(
    [
        ("probability", np.float64),
        ("regions", np.int64),  # bit mask over Region
        ("triggers", np.int64),  # bit mask over Trigger
        ("held_s", np.float64),
        ("disguise_s", np.float64),
        ("give_up_s", np.float64),
        ("hold_cover", np.int64),  # way back: cover men hold until the trappers are back
        ("face_x_m", np.float64),
        ("face_y_m", np.float64),
        ("double_0", np.int64),  # roles
        ("double_1", np.int64),
        ("only_mask", np.int64),  # bit per offence index (bit 5: some are named), 0 everybody
        ("subject", np.int64),  # its first region: keys its draws alike in every setting
        ("after_bump", np.int64),  # 1: not while a forward still has the wing and the guard is on his way
        ("low_y_m", np.float64),  # the ball's place along the floor where it may be made
        ("high_y_m", np.float64),
        ("dynamic", np.int64),  # 1: the two nearest to the ball double it, the others take the nearest cover
    ],
    align=True,
)


MOST_STEPS, MOST_MOVES = 48, 4
#: One man's part in a step of a play; places are for the ball on the near (x > 0) side.
MOVE = np.dtype(
    [
        ("who", np.int64),  # Who
        ("near_x_m", np.float64),  # whoever is nearest to this place ...
        ("near_y_m", np.float64),
        ("within_m", np.float64),  # ... and not farther from it
        ("only", np.int64),  # Only
        ("does", np.int64),  # Does
        ("x_m", np.float64),  # where to
        ("y_m", np.float64),
        ("pace", np.float64),  # share of his top speed
        ("after_s", np.float64),  # he waits so long from the start of the step
    ],
    align=True,
)

STEP = np.dtype(
    [
        ("start", np.int64),  # Start
        ("against", np.int64),  # bit mask over Against
        ("regions", np.int64),  # bit mask over Region
        ("often", np.float64),  # chance that it is begun when it may be
        ("after_s", np.float64),  # of holding the ball
        ("lasts_s", np.float64),
        ("next", np.int64),  # step that follows, -1 none
        ("n_moves", np.int64),
        ("moves", MOVE, (MOST_MOVES,)),
    ],
    align=True,
)

SHOT_STEP_M = 0.25
N_SHOT_STEPS = 84  # shot tables reach 20.75 m; longer ones are cut there
MOST_TABLES = 1 + N_SIDE  # the level's, and one of his own for each attacker
GRID_X, GRID_Y = 96, 192  # cells of the region grid (|x|, y)
MOST_SHADOWS = 40  # calls of all settings together that home watches without making them
MOST_SHADOW_SETTINGS = 30  # settings that home can watch: one bit each in the record
N_BREAKS = len(Break)

#: All that is constant while possessions are played, as one record: the kernel is handed one pointer.
#: Side axis: 0 = the near side is left, 1 = the near side is right.
WORLD = np.dtype(
    [
        ("k", CONSTANT),
        ("rules", RULE),
        ("players", PLAYER, (N_PLAYERS,)),  # attack 0..4 by position, defence 5..9 by place
        ("shots", np.float64, (MOST_TABLES, N_SHOT_STEPS, 2)),  # logit of make, contest slope per metre
        ("grid", np.int8, (GRID_X, GRID_Y)),  # region of each cell
        ("slides", ENTRY, (len(Region), len(Moment), N_SIDE)),  # [region, moment, role]
        ("coverage", np.int64, (len(Region),)),  # Coverage of a screen with the ball in each region
        ("role_of", np.int64, (2, N_SIDE)),  # [side, person] of the defence
        ("person_of", np.int64, (2, N_SIDE)),  # [side, role]
        ("spots", np.float64, (len(Region), N_SIDE, 2)),  # [region, role] of the attack, near = x > 0
        ("spot_role_of", np.int64, (2, N_SIDE)),  # [side, person] of the attack
        ("n_steps", np.int64),
        ("steps", STEP, (MOST_STEPS,)),  # of all plays of the attack, one after another
        ("lead_person", np.int64),  # attacker who brings the ball up and takes it at the top
        ("n_calls", np.int64),
        ("calls", CALL, (MOST_CALLS,)),
        ("call_entries", ENTRY, (MOST_CALLS, N_SIDE)),
        ("breaks", np.float64, (MOST_CALLS, N_BREAKS, 2)),
        ("guards", np.int64, (N_SIDE,)),  # attacker whom each defender guards from the start, -1 none
        ("match_up", np.int64),  # 1: defenders take men at the first pass
        ("policy", np.int64),  # hash of a coded policy's name, 0 none (engine.policies.coded)
        ("policy_where", np.int64),  # 1: the coded policy moves defenders
        ("policy_call", np.int64),  # 1: the coded policy makes the calls
        ("n_shadows", np.int64),
        ("shadows", CALL, (MOST_SHADOWS,)),
        ("shadow_setting", np.int64, (MOST_SHADOWS,)),
    ],
    align=True,
)

#: What a coded policy sees, filled anew for every question. Defenders are 0..4 in the order of the base
#: defence's persons; players 0..4 attack, 5..9 defend. Metres, m/s, seconds; x > 0 is the defence's right.
FLOOR = np.dtype(
    [
        ("t_s", np.float64),
        ("time_step_s", np.float64),
        ("shot_clock_s", np.float64),  # 0 without one
        ("held_s", np.float64),  # seconds since the last catch
        ("mode", np.int64),  # Mode
        ("handler", np.int64),
        ("receiver", np.int64),  # of a pass in hand or in flight, else -1
        ("dribble", np.int64),
        ("region", np.int64),  # ball region, index into REGIONS
        ("moment", np.int64),
        ("near", np.int64),  # +1 the ball's side is right, -1 left
        ("ball_x", np.float64),
        ("ball_y", np.float64),
        ("x", np.float64, (N_PLAYERS,)),
        ("y", np.float64, (N_PLAYERS,)),
        ("vx", np.float64, (N_PLAYERS,)),
        ("vy", np.float64, (N_PLAYERS,)),
        ("believed_x", np.float64, (N_SIDE,)),  # where each defender believes the ball is: he reacts late
        ("believed_y", np.float64, (N_SIDE,)),
        ("planned_x", np.float64, (N_SIDE,)),  # where the base defence would send him
        ("planned_y", np.float64, (N_SIDE,)),
        ("trap_phase", np.int64),  # TrapPhase
        ("trap_call", np.int64),
        ("calls_made", np.int64),
        ("n_calls", np.int64),  # calls of the setting
        ("team_fouls", np.int64),
        ("half_width_m", np.float64),
        ("baseline_y_m", np.float64),
        ("half_y_m", np.float64),
        ("arc_m", np.float64),
    ],
    align=True,
)

#: What a coded policy answers about places: it starts as the base defence's plan.
ORDERS = np.dtype(
    [
        ("x", np.float64, (N_SIDE,)),
        ("y", np.float64, (N_SIDE,)),
        ("run", np.int64, (N_SIDE,)),  # 1 run, 0 slide
    ],
    align=True,
)


# --- the possession's state -----------------------------------------------------------------------------

AGENT = np.dtype(
    [
        ("x", np.float64),
        ("y", np.float64),
        ("vx", np.float64),
        ("vy", np.float64),
        ("tx", np.float64),
        ("ty", np.float64),
        ("speed_share", np.float64),
        ("sliding", np.int64),
        ("further_m", np.float64),  # of his way after the target, where he need not stop
        ("gap_share", np.float64),  # of a defender: the gap he keeps over the one he should
        ("stop_share", np.float64),  # of the usual braking at the end of his run
        ("turn_t", np.float64),  # defence: until then he is still opening up from his slide
        ("break_t", np.float64),  # defence: until then he is out of it, having broken for a pass
        ("primed", np.int64),  # defence: he traps the pass in the air and runs to where it goes
        # defence: the row he acts on
        ("region", np.int64),
        ("moment", np.int64),
        ("side", np.int64),
        ("focus", np.int64),
        ("guess_x", np.float64),
        ("guess_y", np.float64),
        ("adopt_t", np.float64),  # when he takes over the ball's current row
        ("guess_t", np.float64),
        ("guess_region", np.int64),
        ("guess_moment", np.int64),
        ("guess_side", np.int64),
        ("guess_who", np.int64),  # the receiver he guesses
        ("gamble", np.int64),
        ("touch_u", np.float64),  # this pass's draw
        ("job", np.int64),
        # offence
        ("dx", np.float64),  # own variation of the spot
        ("dy", np.float64),
        ("read_t", np.float64),  # when he reads the trap
        ("break_role", np.int64),  # Break, -1 none
        ("lane_t", np.float64),
        ("find_s_per_m", np.float64),  # how long the ball's holder looks for him; 0 once found
        ("go", np.int64),  # 1: he has a move to make
        ("go_t", np.float64),  # from when on
        ("go_x", np.float64),
        ("go_y", np.float64),
        ("go_pace", np.float64),
    ],
    align=True,
)

STATE = np.dtype(
    [
        ("seed", np.uint64),
        ("possession", np.uint64),
        ("branch", np.uint64),
        ("max_calls", np.int64),
        ("watched", np.int64),  # 1: events and weighed options are noted
        ("t", np.float64),
        ("now", np.float64),  # t plus half a step: what falls due is done in the nearest step, not the next
        ("begun", np.float64),  # t less half a step: who learns something then acts on it in this step
        ("due_t", np.float64),  # when the decision in hand was due
        ("step", np.int64),
        ("clock_s", np.float64),
        ("mode", np.int64),
        ("handler", np.int64),
        ("passer", np.int64),
        ("action", np.int64),
        ("dribble", np.int64),
        ("goal_x", np.float64),
        ("goal_y", np.float64),
        ("end_x", np.float64),  # where a drive around somebody goes on to
        ("end_y", np.float64),
        ("drive_t", np.float64),  # when the drive began
        ("open_t", np.float64),  # since when nobody has stood between the ball and the rim
        ("ball_x", np.float64),
        ("ball_y", np.float64),
        ("ball_z", np.float64),
        ("old_x", np.float64),  # where the ball was before the pass
        ("old_y", np.float64),
        ("region", np.int64),
        ("moment", np.int64),
        ("near", np.int64),  # +1 right, -1 left
        ("spot_region", np.int64),  # the row the offence acts on
        ("spot_side", np.int64),
        ("spot_t", np.float64),
        ("catch_t", np.float64),
        ("look_t", np.float64),  # when the handler last looked at the floor anew
        ("looked_t", np.float64),  # when he has looked long enough since his catch to drive
        ("stopped_t", np.float64),  # when his last drive was stopped
        ("drive_way", np.int64),  # which of the five drives he is on
        ("last_y", np.float64),  # where the handler was a step ago
        ("decide_t", np.float64),
        ("held_chance", np.int64),
        ("picked_up", np.int64),  # the dribble was picked up in this step
        # pass in hand
        ("target", np.int64),
        ("pass_kind", np.int64),
        ("pass_x0", np.float64),
        ("pass_y0", np.float64),
        ("pass_x1", np.float64),
        ("pass_y1", np.float64),
        ("pass_z0", np.float64),
        ("release_t", np.float64),
        ("arrive_t", np.float64),
        ("pass_share", np.float64),  # share of the flight done
        ("release_pressure", np.int64),  # defenders on the passer at the release
        ("pass_next_region", np.int64),
        ("pass_is_skip", np.int64),
        ("pass_missed_bump", np.int64),
        # shot
        ("windup_t", np.float64),
        ("unset", np.int64),  # 1: off the dribble or held too long
        ("rhythm", np.float64),  # how well the handler stands for a shot of his own in this look, log odds
        ("shot_x", np.float64),
        ("shot_y", np.float64),
        ("shot_three", np.int64),
        ("shot_result", np.int64),
        ("shot_foul", np.int64),
        ("rim_t", np.float64),
        ("boxed_share", np.float64),
        ("shooter", np.int64),
        # loose ball
        ("loose_kind", np.int64),
        ("loose_t", np.float64),
        ("out_by_defence", np.int64),
        # counts
        ("guarded_s", np.float64),
        ("backcourt_s", np.float64),
        ("front", np.int64),
        ("team_fouls", np.int64),
        ("time_outs", np.int64),
        # traps
        ("trap_phase", np.int64),
        ("trap_call", np.int64),
        ("trap_t", np.float64),
        ("trap_side", np.int64),
        ("trap_x", np.float64),
        ("trap_y", np.float64),
        ("trapper_0", np.int64),
        ("trapper_1", np.int64),
        ("trap_handler", np.int64),
        ("trap_read_t", np.float64),  # when the handler knows that he is being trapped
        ("trap_number", np.int64),
        ("after_t", np.float64),
        ("outcome_open", np.int64),
        ("after_open", np.int64),
        ("across", np.int64),
        # the play in hand
        ("play", np.int64),  # its step, -1 none
        ("play_t", np.float64),  # when the step is over; without one: when a held ball may begin the next
        ("play_pass", np.int64),  # the last pass, drive and trap that may have begun one
        ("play_drive", np.int64),
        ("play_trap", np.int64),
        ("screen", np.int64),  # Screen
        ("screener", np.int64),  # who sets it, or has set the last one of the play; -1 nobody
        ("screened", np.int64),  # the defender whom it holds up
        ("screen_for", np.int64),  # the man with the ball
        ("screen_side", np.float64),  # +1: to the left of the way from the ball to the screened man
        ("screen_t", np.float64),  # when it was set, or used
        ("screen_cover", np.int64),  # what the two defenders do about it (Coverage), settled when it is set
        ("screen_chance", np.int64),  # 1: it has been a chance for a call
        ("shooter_logit", np.float64),  # of shooter_make
        ("gap", np.float64),  # nearest defender to the handler in this step, metres
        ("gap_who", np.int64),
        ("matched", np.int64),  # 1: every defender has a man of his own
        # ordinals of the draws
        ("n_decisions", np.int64),
        ("n_looks", np.int64),
        ("n_passes", np.int64),
        ("n_shots", np.int64),
        ("n_rebounds", np.int64),
        ("n_free_throws", np.int64),
        ("n_loose", np.int64),
        ("n_restarts", np.int64),
        ("n_jitter", np.int64),
        ("n_catches", np.int64),
        ("n_held", np.int64),
        ("n_plays", np.int64),  # occasions for a play
        # events and options of this step, for the trace
        ("n_events", np.int64),
        ("n_options", np.int64),
    ],
    align=True,
)


N_OPTIONS = len(Option)
N_DRIVES = 5
#: One option of a decision (Option), as the handler weighs it.
WEIGHED = np.dtype(
    [
        ("value", np.float64),  # points
        # what the belief rests on: risk of the lane (passes), clear way (retreat)
        ("raw", np.float64),
        ("gap", np.float64),  # forecast of the defender's distance at the shot it leads to, metres
        # passes: points of the shot it leads to above carrying on, within bounds; drives: chance of one
        ("promise", np.float64),
        ("ahead", np.float64),  # passes: worth of a man more ahead of the ball, points
        # passes and holding: the region where the ball will be, len(Region) for holding it for a screen
        ("place", np.float64),
        ("x", np.float64),  # where to, metres
        ("y", np.float64),
        ("end_x", np.float64),  # where a drive around somebody goes on to
        ("end_y", np.float64),
        ("kind", np.int64),  # PassKind of a pass
    ],
    align=True,
)

EVENTS_PER_STEP = 24
OPTION_COLUMNS = (
    "t_s", "decision", "player", "option", "value", "chosen",
    "raw", "gap_m", "promise", "ahead", "place",
)  # fmt: skip
EVENT_COLUMNS = ("t_s", "event", "player", "other", "value", "x_m", "y_m")

#: What one possession writes, as one record; allocated once per worker, never inside the step.
SCRATCH = np.dtype(
    [
        ("s", STATE),
        ("agents", AGENT, (N_PLAYERS,)),
        ("record", RECORD_TYPE),
        ("chances", np.int64, (len(Region) + MOST_SHADOWS,)),  # so far: by subject of a call, by watched call
        ("guards", np.int64, (N_SIDE,)),  # attacker whom each defender guards now, -1 none
        ("trap_entry", np.int64, (N_SIDE,)),  # entry of the call that each defender plays
        ("shadow_held", np.int64, (MOST_SHADOW_SETTINGS,)),
        ("floor", FLOOR),
        ("orders", ORDERS),
        ("weighed", WEIGHED, (N_OPTIONS,)),  # in the decision at hand
        ("events", np.float64, (EVENTS_PER_STEP, len(EVENT_COLUMNS))),  # of this step
        ("options", np.float64, (N_OPTIONS, len(OPTION_COLUMNS))),  # of this step's decision
    ],
    align=True,
)
