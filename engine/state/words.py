"""Every enumeration that files, kernel and reports share, once."""

from __future__ import annotations

REGIONS = (
    "backcourt",
    "top",
    "slot",
    "wing",
    "corner",
    "half_court_corner",
    "high_post",
    "elbow",
    "short_corner",
    "low_post",
    "lane",
    "rim",
)
MOMENTS = ("settled", "before_bump", "after_bump", "reversal", "matched")
JOBS = (
    "place",
    "on_ball",
    "coming",
    "on_ball_if_shooter",
    "gap",
    "deny",
    "sink",
    "fill",
    "rim",
    "front",
    "lob",
    "drop",
    "pinch",
    "block",
    "dig",
    "read_skip",
    "run_at",
    "middle",
    "trap",
    "own_man",
)
TRIGGERS = ("in_air", "catch", "back_turned", "picked_up", "dribble_in", "held", "across_half")
ENDS = ("made_shot", "defensive_rebound", "turnover", "free_throws", "shot_clock")
OUTCOMES = ("steal", "other_turnover", "foul", "escape_pass", "retreat", "split", "other")
AFTER = ("none", "rim_shot", "open_three", "other_shot", "reset", "turnover")
PASS_KINDS = ("direct", "bounce", "over")

HELD, PASS_WINDUP, PASS_FLIGHT, SHOT_WINDUP, SHOT_FLIGHT, LOOSE, OVER = range(7)
MODES = ("held", "pass wind-up", "pass in flight", "shot wind-up", "shot in flight", "loose ball", "over")
STAY, DRIVE, DRIBBLE_TO, RETREAT, SPLIT = range(5)
ACTIONS = ("stay", "drive", "dribble to", "retreat", "split")
UNUSED, DRIBBLING, DEAD = range(3)
TRAP_NONE, TRAP_COMING, TRAP_SET, TRAP_AFTER = range(4)
TRAP_PHASES = ("none", "coming", "set", "after")

EVENTS = (
    "start",
    "pass",
    "catch",
    "touch",
    "steal",
    "loose",
    "recovered",
    "shot",
    "made",
    "missed",
    "blocked",
    "rebound",
    "free_throw",
    "foul",
    "throw_in",
    "turnover",
    "call",
    "trap_set",
    "trap_left",
    "shell_stands",
    "bump",
    "drive",
    "retreat",
    "split",
    "held_ball",
    "time_out",
    "end",
    "fake",
    "pick_up",
    "violation",
)
VIOLATIONS = (
    "backcourt count",
    "over and back",
    "closely guarded",
    "three seconds",
    "travel",
    "stepped on a line",
    "possession too long",
    "shot clock",
)
