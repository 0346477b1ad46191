"""The keys of the sheet game: their spellings, and what each means in a coach's words."""

from __future__ import annotations

from engine.inputs.base import spoken
from engine.inputs.files import shipped
from engine.inputs.sheets.columns import DEFENCES, YES_OR_NO, Column

NOT_SURE = (*YES_OR_NO, "don't know")
#: What two defenders do about a screen on the ball: choices of the option ``screens`` of man-to-man.
SCREENS = ("drop", "under", "show", "switch")
#: What the opponent mostly met where he was counted.
MEN_WORD, ZONE_WORD, BOTH = COUNTED_AGAINST = ("man-to-man", "zone", "both")
NOT_SAID = "not said"


GAME_COLUMNS = (
    Column("key", "", also=("question", "what", "item")),
    Column("value", "", also=("answer", "your_answer")),
)


def game_keys() -> tuple[Column, ...]:
    """The keys of game.csv in the order in which they are asked: age and league rules first."""
    return (
        Column(
            "age_group",
            "FIRST: oldest age allowed in this game, e.g. 16 for under 16; adults for grown-ups. Until it is "
            "given: man-to-man, and no trap advice",
            "example 16",
            ("age", "under", "age_limit"),
        ),
        Column(
            "zone_allowed",
            "does your league allow zone defence at this age? yes, no or don't know (no: man-to-man "
            "is played)",
            "don't know",
            ("zone", "zones_allowed"),
            NOT_SURE,
        ),
        Column(
            "trap_allowed",
            "does your league allow two defenders on the ball (a trap) at this age? yes, no or don't know. "
            "Ask before a game of young players",
            "don't know",
            ("traps_allowed", "trapping_allowed", "trapping", "trap", "double_team_allowed"),
            NOT_SURE,
        ),
        Column(
            "press_when_far_ahead",
            "may a team go on pressing or trapping when it is far ahead? yes, no or don't know",
            "don't know",
            ("pressing_when_far_ahead", "press_far_ahead", "press_when_ahead"),
            NOT_SURE,
        ),
        Column(
            "level",
            "under_14, school, college or professional",
            "school",
            ("level_of_play",),
            ("under_14", "school", "college", "professional"),
        ),
        Column(
            "rules",
            "international, high_school, college or professional; empty: the usual ones of the level",
            "",
            ("rule_set", "ruleset", "rulebook"),
            ("international", "high_school", "college", "professional"),
        ),
        Column(
            "quarter_minutes",
            "length of a period in minutes; empty: as in the rules",
            "",
            ("quarter_length", "period_minutes", "minutes", "quarter"),
        ),
        Column("periods", "4 (quarters) or 2 (halves); empty: as in the rules", "", ("quarters", "halves")),
        Column(
            "shot_clock",
            "seconds, or none; empty: as in the rules",
            "",
            ("shot_clock_s", "shot_clock_seconds"),
        ),
        Column("us", "name of your team", "example Us", ("our_team", "own_team", "team")),
        Column("them", "name of the opponent", "example Them", ("opponent", "opponent_team", "other_team")),
        Column(
            "opponent_front",
            "one guard out front, two guards, or overload (three on the ball's side). Where you know how "
            "often: one 70, two 30; else the others are as likely as what you saw",
            "example one",
            ("front", "guards_out_front", "guard_front"),
            ("one", "two", "overload"),
        ),
        Column(
            "high_post",
            "only with one guard out front: does someone play at the free-throw line? yes or no",
            "example yes",
            choices=YES_OR_NO,
        ),
        Column(
            "plays",
            "what they run, as you saw it, separated by commas: "
            + ", ".join(map(spoken, shipped("plays")))
            + "; or none; or a play of your own, a file in this folder such as our_cut.toml. Empty: all of "
            "these, each where it fits your defence (trapledger check configs/plays says what they are)",
            "",
            ("their_plays", "play", "plays_they_run"),
        ),
        Column(
            "screens",
            "only where man-to-man is played: what your two men do about a screen on the ball. drop: the "
            "screener's man drops back; under: the man on the ball goes under it; show: the screener's man "
            "steps out; switch: they change men. Empty: drop",
            "",
            ("screen", "screens_on_the_ball"),
            SCREENS,
        ),
        Column(
            "counted_against",
            "which defence they mostly met in the games that the sheet opponent counts: man-to-man, zone, or "
            "both (about as often). The model's opponent is made to play there as he was counted. Empty: "
            "both",
            "",
            ("counted_against_what", "defence_they_met", "they_met", "met"),
            COUNTED_AGAINST,
        ),
        Column(
            "their_defence",
            "what they defend with when you have the ball; empty: a 2-3 zone",
            "",
            ("opponent_defence", "their_zone", "opponent_zone"),
            tuple(DEFENCES),
        ),
        Column("signal_corner", "the word you shout for a trap in the corner", "", ("corner_signal",)),
        Column(
            "signal_short_corner",
            "... for a trap in the short corner or low post",
            "",
            ("short_corner_signal", "signal_low_post"),
        ),
        Column("signal_wing", "... for a trap on the wing", "", ("wing_signal",)),
        Column(
            "signal_top",
            "... for a trap at the top or half court",
            "",
            ("top_signal", "signal_half_court"),
        ),
    )


#: Key of game.csv that older sheets have and that changes nothing.
NOT_PLAYED = Column("short_corner", "")
