"""The columns of the four sheets: their spellings, and what each means in a coach's words."""

from __future__ import annotations

from dataclasses import dataclass

from engine.inputs.sheets.data import Grades
from engine.inputs.sheets.read import key_of

GAME, OWN, OPPONENT, SHOTS = "game.csv", "own.csv", "opponent.csv", "shots.csv"
SHEETS = (GAME, OWN, OPPONENT, SHOTS)
#: Headings of help columns: passed over without a remark.
HELP_COLUMNS = ("what_it_means", "help", "notes", "note", "comment", "comments", "remark", "remarks")


@dataclass(frozen=True)
class Column:
    """A column (or, in game.csv, a key): name, help text, an example, other spellings."""

    name: str
    help: str
    example: str = ""
    also: tuple[str, ...] = ()


GAME_COLUMNS = (
    Column("key", "", also=("question", "what", "item")),
    Column("value", "", also=("answer", "your_answer")),
)


def game_keys() -> tuple[Column, ...]:
    """The keys of game.csv in the order in which they are asked: age and league rules first."""
    return (
        Column(
            "age_group",
            "FIRST: oldest age allowed in this game, e.g. 16 for under 16; adults for grown-ups. Put your "
            "own in place of the example. Until then: man-to-man, and no trap advice",
            "example 16",
            ("age", "under", "age_limit"),
        ),
        Column(
            "zone_allowed",
            "does your league allow zone defence at this age? yes, no or don't know (no: man-to-man "
            "is played)",
            "don't know",
            ("zone", "zones_allowed"),
        ),
        Column(
            "trap_allowed",
            "does your league allow two defenders on the ball (a trap) at this age? yes, no or don't know. "
            "Ask before a game of young players",
            "don't know",
            ("traps_allowed", "trapping_allowed", "trapping", "trap", "double_team_allowed"),
        ),
        Column(
            "press_when_far_ahead",
            "may a team go on pressing or trapping when it is far ahead? yes, no or don't know",
            "don't know",
            ("pressing_when_far_ahead", "press_far_ahead", "press_when_ahead"),
        ),
        Column("level", "under_14, school, college or professional", "school", ("level_of_play",)),
        Column(
            "rules",
            "international, high_school, college or professional; empty: the usual ones of the level",
            "",
            ("rule_set", "ruleset", "rulebook"),
        ),
        Column(
            "quarter_minutes",
            "length of a period in minutes; empty: as in the rules",
            "",
            ("quarter_length", "period_minutes", "minutes", "quarter"),
        ),
        Column("periods", "4 quarters or 2 halves; empty: as in the rules", "", ("quarters", "halves")),
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
            "one guard out front, two guards, or overload (three on the ball's side)",
            "example one",
            ("front", "guards_out_front", "guard_front"),
        ),
        Column("high_post", "does someone play at the free-throw line? yes or no", "example yes"),
        Column(
            "short_corner",
            "does someone play between corner and basket? yes or no (a note, not played)",
            "example yes",
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


def _graded(grades: Grades, column: str) -> str:
    items = getattr(grades, column)
    return "; ".join(f"{word}: {item.words}" for word, item in items.items())


_NUMBER = Column("number", "shirt number", "", ("no", "nr", "num", "shirt", "shirt_number", "jersey"))
_INITIALS = Column("initials", "initials only, no full name", "A.B.", ("name", "player", "initial"))
_SPRINT_10 = Column("sprint_10m_s", "optional: best 10 m time in seconds", "", ("sprint_10", "sprint_10m"))
_SPRINT_20 = Column("sprint_20m_s", "optional: best 20 m time in seconds", "", ("sprint_20", "sprint_20m"))
_HEIGHT = Column("height_cm", "optional: height in cm (or 1.85 m)", "", ("height", "height_m"))


def own_columns(grades: Grades) -> tuple[Column, ...]:
    """Columns of own.csv: the defence."""
    return (
        _NUMBER,
        _INITIALS,
        Column("starts", "yes for the five who start", "yes", ("starter", "starting", "lineup", "plays")),
        Column(
            "height_order",
            "1 = tallest of your players, 2 = next, and so on",
            "3",
            ("height_rank", "size_order", "order", "tallest_first"),
        ),
        Column(
            "place",
            "optional: left guard, right guard, left forward, right forward, centre (left as you look out "
            "from under your basket); guard or forward is enough",
            "forward",
            ("zone_place", "position", "spot"),
        ),
        Column("pace", _graded(grades, "pace"), "normal", ("speed", "quickness")),
        Column(
            "prone_to_fouls",
            _graded(grades, "prone_to_fouls"),
            "no",
            ("foul_prone", "fouls_prone", "foul_trouble"),
        ),
        Column("fouls", "optional: fouls in the games you have sheets of", "", ("fouls_made", "pf")),
        _HEIGHT,
        _SPRINT_10,
        _SPRINT_20,
    )


def opponent_columns(grades: Grades) -> tuple[Column, ...]:
    """Columns of opponent.csv: the offence."""
    return (
        _NUMBER,
        _INITIALS,
        Column("starts", "yes for the five you expect", "yes", ("starter", "starting", "lineup", "plays")),
        Column(
            "position",
            "guard, wing or big (or 1 to 5: 1 point guard, 5 high post)",
            "wing",
            ("pos", "role", "place"),
        ),
        Column("shooter", _graded(grades, "shooter"), "green", ("shooting", "colour", "color", "light")),
        Column(
            "from_where",
            "where the colour holds: corner, wing, top, inside; several are fine; empty: outside",
            "corner wing",
            ("where", "from", "shoots_from", "spots"),
        ),
        Column("hand", "strong hand: right or left", "right", ("strong_hand", "dominant_hand")),
        Column(
            "handles_pressure",
            _graded(grades, "handles_pressure"),
            "some",
            ("pressure", "ball_handling", "handles"),
        ),
        Column(
            "passes_from_big",
            _graded(grades, "passes_from_big"),
            "no",
            ("big_man_passes", "big_passer", "passing_big", "passer", "big_who_passes"),
        ),
        Column(
            "free_throw_shooter",
            _graded(grades, "free_throw_shooter"),
            "average",
            ("free_throws_grade", "ft_grade", "ft_shooter"),
        ),
        Column(
            "twos",
            "two-pointers made; with attempts if you have them: 34/110 (or 34 of 110, or 31%)",
            "21",
            ("twos_made", "two_pointers", "2s", "2pm", "2p"),
        ),
        Column(
            "threes",
            "threes made; or made/attempted",
            "14",
            ("threes_made", "three_pointers", "3s", "3pm", "3p"),
        ),
        Column(
            "free_throws",
            "free throws made; or made/attempted",
            "9",
            ("free_throws_made", "ft", "fts", "ftm"),
        ),
        Column("fouls", "fouls in those games", "11", ("fouls_made", "pf")),
        Column("twos_attempted", "optional", "", ("two_attempts", "2pa", "twos_tried")),
        Column("threes_attempted", "optional", "", ("three_attempts", "3pa", "threes_tried")),
        Column("free_throws_attempted", "optional", "", ("free_throw_attempts", "fta", "fts_attempted")),
        Column("pace", "optional; " + _graded(grades, "pace"), "", ("speed", "quickness")),
        _HEIGHT,
        _SPRINT_10,
        _SPRINT_20,
    )


#: Columns of opponent.csv that blank sheets do not have, though other people's do: percentages.
PERCENT_COLUMNS = tuple(
    Column(f"{kind}_percent", "", "", tuple(f"{word}_{end}" for word in words for end in ("percent", "pct")))
    for kind, words in (
        ("twos", ("2p", "2s", "two", "twos", "two_pointers", "2pt")),
        ("threes", ("3p", "3s", "three", "threes", "three_pointers", "3pt")),
        ("free_throws", ("ft", "fts", "free_throw", "free_throws")),
    )
)

SHOT_COLUMNS = (
    Column("number", "shirt number of the opponent who shot", "", _NUMBER.also),
    Column(
        "distance",
        "how far from the point under the basket; or give x and y instead",
        "5,5",
        ("dist",),
    ),
    Column("x", "to the side of the basket, either sign"),
    Column("y", "out from the basket toward half court"),
    Column("unit", "m or ft", "m", ("units",)),
    Column("made", "yes or no", "yes", ("hit", "scored", "in", "result")),
    Column("contested", "optional: contested or open", "open", ("guarded", "contest", "defended")),
)
#: As above, and lengths with the unit in the heading.
READ_SHOT_COLUMNS = (
    *SHOT_COLUMNS,
    *(Column(f"{name}_{unit}", "") for name in ("distance", "x", "y") for unit in ("m", "ft")),
)


def spellings(columns: tuple[Column, ...]) -> dict[str, str]:
    """Every spelling of a heading -> the column it names."""
    return {key_of(word): column.name for column in columns for word in (column.name, *column.also)}
