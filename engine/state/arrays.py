"""Every array the compiled kernel sees: one declaration of names, meanings, units, shapes and types.

Nothing here computes. ``engine.world.pack`` fills the constant arrays, ``engine.kernel`` reads them and
writes the possession's state, ``engine.study`` reads the records. Record arrays (numpy structured
types) are used instead of long argument lists: a field is a name in the source and a fixed offset in
the compiled code, and numba.cuda takes the same types.
"""

from __future__ import annotations

import numpy as np

from engine.state.record import RECORD_TYPE
from engine.state.words import Break, Moment, Option, Region

N_PLAYERS = 10
N_SIDE = 5

# --- constant arrays ------------------------------------------------------------------------------------

#: Model constants, in the order of configs/model/constants.toml (a test holds the two together).
CONSTANTS = (
    # time
    "time_step_s",
    "longest_possession_s",
    # motion
    "sprint_tau_s",
    "slide_speed_share",
    "slide_tau_s",
    "brake_mps2",
    "dribble_speed_share",
    "off_ball_speed_share",
    "slide_range_m",
    "body_radius_m",
    "arrival_radius_m",
    # reaction and anticipation
    "reaction_s",
    "dribble_reaction_share",
    "anticipation_p",
    "anticipation_lead_s",
    "anticipation_wrong_p",
    "fake_p",
    "fake_s",
    "fake_freeze_s",
    # zone
    "on_ball_gap_m",
    "off_shooter_gap_m",
    "deny_distance_m",
    "front_distance_m",
    "lob_distance_m",
    "shooter_make",
    "pick_up_beyond_arc_m",
    "bump_m",
    "side_hysteresis_m",
    "gamble_p",
    # passing
    "pass_speed_direct_mps",
    "pass_speed_bounce_mps",
    "pass_speed_over_mps",
    "pass_skill_speed_share",
    "pass_release_s",
    "pass_loft_m",
    "pass_shortest_m",
    "pass_longest_m",
    "bounce_longest_m",
    "skip_distance_m",
    "touch_max_p",
    "touch_width_m",
    "bounce_touch_share",
    "arm_reach_m",
    "jump_m",
    "clean_steal_p",
    "deflection_m",
    "aim_sd_per_m",
    "aim_pressure_share",
    "dead_dribble_aim_share",
    "pressure_within_m",
    "release_pressure_s",
    "catch_radius_m",
    "risk_cover_share",
    "passer_space_m",
    "near_touch_share",
    "near_touch_trap_share",
    "receiver_space_m",
    "shield_share",
    "over_aim_share",
    "over_release_s",
    "fumble_p",
    "fumble_pressure_p",
    # decisions
    "decision_period_s",
    "catch_pause_s",
    "noise_points",
    "hold_value_points",
    "hold_tau_s",
    "patience_spread",
    "hold_stale_points_per_s",
    "movement_points",
    "middle_touch_points",
    "late_clock_s",
    "open_shot_m",
    "shot_release_s",
    "rim_release_s",
    "turnover_dread_points",
    "numbers_value_points",
    "numbers_reach_m",
    # drive
    "drive_length_m",
    "drive_side_m",
    "drive_clear_m",
    "drive_width_m",
    "drive_handle_m",
    "drive_penalty_points",
    "drive_stopped_points",
    "block_path_m",
    "strip_rate_per_s",
    "strip_within_m",
    "dribble_loss_rate_per_s",
    "drive_foul_rate_per_s",
    "charge_rate_per_s",
    "pick_up_p",
    # shots
    "reference_defender_m",
    "contest_cap_m",
    "behind_share",
    "reach_contest_share",
    "clock_logit_per_s",
    "off_dribble_logit",
    "shot_foul_p",
    "shot_foul_scale_m",
    "shot_foul_far_share",
    "block_p",
    "block_scale_m",
    "block_far_m",
    "and_one_make_share",
    "shot_prior_attempts",
    "typical_gap_rim_m",
    "typical_gap_middle_m",
    "typical_gap_three_m",
    "rim_range_m",
    "middle_range_m",
    "shot_flight_s",
    "shot_flight_s_per_m",
    # rebounds
    "rebound_base_m",
    "rebound_share",
    "rebound_sd_m",
    "rebound_far_side_p",
    "rebound_angle_sd",
    "rebound_fall_s",
    "rebound_scale_m",
    "rebound_skill",
    "box_out_share",
    "box_out_reach_m",
    "crash_n",
    "loose_scale_m",
    "rebound_value_points",
    # traps
    "trap_set_m",
    "trap_gap_m",
    "trap_stand_m",
    "second_trapper_delay_s",
    "trap_half_angle",
    "handler_read_s",
    "read_delay_s",
    "read_delay_spread_s",
    "read_delay_least_s",
    "readiness_per_trap",
    "trap_strip_rate_per_s",
    "trap_foul_rate_per_s",
    "tie_up_rate_per_s",
    "step_out_rate_per_s",
    "step_out_within_m",
    "time_out_rate_per_s",
    "trap_dread_points",
    "urgency_points",
    "retreat_m",
    "retreat_speed_share",
    "retreat_penalty_points",
    "split_gap_m",
    "split_width_m",
    "split_strip_share",
    "trapper_lead_s",
    "trapper_closing_share",
    "set_pick_up_p",
    "window_s",
    "shell_least_s",
    "shell_stand_m",
    "meet_pass_m",
    "break_least_m",
    "cut_open_m",
    "attack_speed_share",
    # lines, counts, restarts
    "travel_p",
    "lane_margin_s",
    "lane_camp_mps",
    "post_up_points",
    "start_spread_m",
    "spot_spread_m",
    "backcourt_used_s",
    "bring_up_speed_share",
    "bring_up_free_m",
    "veer_m",
    # men of their own
    "man_one_pass_m",
    "man_two_pass_m",
    "man_deny_m",
    "man_help_share",
    # next possession
    "excess_live_steal_points",
    "excess_dead_ball_points",
    "excess_made_points",
    "excess_defensive_rebound_points",
    "excess_three_share",
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
        ("dynamic", np.int64),  # 1: the two nearest to the ball double it, the others take the nearest cover
    ],
    align=True,
)


SHOT_STEP_M = 0.25
N_SHOT_STEPS = 84  # shot tables reach 20.75 m; longer ones are cut there
MOST_TABLES = 1 + N_SIDE  # the level's, and one of his own for each attacker
GRID_X, GRID_Y = 96, 192  # cells of the region grid (|x|, y)
MOST_CALLS = 8  # calls in a setting
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
        ("role_of", np.int64, (2, N_SIDE)),  # [side, person] of the defence
        ("person_of", np.int64, (2, N_SIDE)),  # [side, role]
        ("spots", np.float64, (len(Region), N_SIDE, 2)),  # [region, role] of the attack, near = x > 0
        ("spot_role_of", np.int64, (2, N_SIDE)),  # [side, person] of the attack
        ("lead_person", np.int64),  # attacker who brings the ball up and takes it at the top
        ("n_calls", np.int64),
        ("calls", CALL, (MOST_CALLS,)),
        ("call_entries", ENTRY, (MOST_CALLS, N_SIDE)),
        ("call_regions", np.int64, (MOST_CALLS, len(Region))),
        ("breaks", np.float64, (MOST_CALLS, N_BREAKS, 2)),
        ("guards", np.int64, (N_SIDE,)),  # attacker whom each defender guards from the start, -1 none
        ("match_up", np.int64),  # 1: defenders take men at the first pass
        ("policy", np.int64),  # hash of a coded policy's name, 0 none (engine.policies.coded)
        ("policy_where", np.int64),  # 1: the coded policy moves defenders
        ("policy_call", np.int64),  # 1: the coded policy makes the calls
        ("n_shadows", np.int64),
        ("shadows", CALL, (MOST_SHADOWS,)),
        ("shadow_regions", np.int64, (MOST_SHADOWS, len(Region))),
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
    ],
    align=True,
)

STATE = np.dtype(
    [
        ("seed", np.uint64),
        ("possession", np.uint64),
        ("branch", np.uint64),
        ("max_calls", np.int64),
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
        ("stale_t", np.float64),  # since when the ball sticks
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
        ("shot_x", np.float64),
        ("shot_y", np.float64),
        ("shot_three", np.int64),
        ("shot_result", np.int64),
        ("shot_foul", np.int64),
        ("rim_t", np.float64),
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
        ("patience", np.float64),  # this possession's factor on the value of carrying on
        ("matched", np.int64),  # 1: every defender has a man of his own
        # ordinals of the draws
        ("n_decisions", np.int64),
        ("n_passes", np.int64),
        ("n_shots", np.int64),
        ("n_rebounds", np.int64),
        ("n_free_throws", np.int64),
        ("n_loose", np.int64),
        ("n_restarts", np.int64),
        ("n_jitter", np.int64),
        ("n_catches", np.int64),
        ("n_held", np.int64),
        # events and options of this step, for the trace
        ("n_events", np.int64),
        ("n_options", np.int64),
    ],
    align=True,
)


N_OPTIONS = len(Option)
N_DRIVES = 5
EVENTS_PER_STEP = 24
OPTION_COLUMNS = ("t_s", "decision", "player", "option", "value", "chosen")
EVENT_COLUMNS = ("t_s", "event", "player", "other", "value", "x_m", "y_m")

#: What one possession writes, as one record; allocated once per worker, never inside the step.
SCRATCH = np.dtype(
    [
        ("s", STATE),
        ("agents", AGENT, (N_PLAYERS,)),
        ("record", RECORD_TYPE),
        ("chances", np.int64, (16,)),  # chances so far, per subject of a call
        ("guards", np.int64, (N_SIDE,)),  # attacker whom each defender guards now, -1 none
        ("trap_entry", np.int64, (N_SIDE,)),  # entry of the call that each defender plays
        ("shadow_chances", np.int64, (MOST_SHADOWS,)),
        ("shadow_held", np.int64, (MOST_SHADOW_SETTINGS,)),
        ("floor", FLOOR),
        ("orders", ORDERS),
        ("option_value", np.float64, (N_OPTIONS,)),
        ("option_a", np.float64, (N_OPTIONS,)),  # goal x (plus 100 times the kind of pass)
        ("option_b", np.float64, (N_OPTIONS,)),  # goal y
        ("drive_end", np.float64, (N_DRIVES, 2)),  # where each weighed drive ends
        ("events", np.float64, (EVENTS_PER_STEP, len(EVENT_COLUMNS))),  # of this step
        ("options", np.float64, (N_OPTIONS, len(OPTION_COLUMNS))),  # of this step's decision
    ],
    align=True,
)
