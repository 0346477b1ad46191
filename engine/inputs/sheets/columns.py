"""The columns of the five sheets: their spellings, and what each means in a coach's words."""

from __future__ import annotations

from dataclasses import dataclass, replace

from engine.inputs.sheets.data import WORDS, Grades
from engine.inputs.sheets.read import key_of

GAME, OWN, OPPONENT, CALLS, SHOTS = "game.csv", "own.csv", "opponent.csv", "calls.csv", "shots.csv"
SHEETS = (GAME, OWN, OPPONENT, CALLS, SHOTS)
#: Headings of help columns: passed over without a remark.
HELP_COLUMNS = (
    "what_it_means",
    "for_example",
    "help",
    "notes",
    "note",
    "comment",
    "comments",
    "remark",
    "remarks",
)

#: Of a game that a man plays where the sheet does not say (share_played, configs/model/plan.toml).
MINUTES = "three quarters"


@dataclass(frozen=True)
class Column:
    """A column (or, in game.csv, a key): name, help text, an example, other spellings, the answers a workbook
    offers (others that are understood may be typed), and its heading there where it is not the name."""

    name: str
    help: str
    example: str = ""
    also: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()
    heading: str = ""

    @property
    def label(self) -> str:
        """Heading in a workbook."""
        return self.heading or self.name.replace("_", " ")


YES_OR_NO = ("yes", "no")
#: A coach's words for a defence -> the file that plays it.
DEFENCES = {
    "2-3 zone": "two_three",
    "3-2 zone": "three_two",
    "1-3-1 zone": "one_three_one",
    "1-2-2 zone": "one_two_two",
    "2-3 that matches up": "two_three_match_up",
    "man-to-man": "man_to_man",
}


def _graded(grades: Grades, column: str) -> str:
    items = getattr(grades, column)
    return "; ".join(f"{word}: {item.words}" for word, item in items.items())


_NUMBER = Column("number", "shirt number", "", ("no", "nr", "num", "shirt", "shirt_number", "jersey"))
_INITIALS = Column("initials", "initials only, no full name", "A.B.", ("name", "player", "initial"))
_SPRINT_10 = Column("sprint_10m_s", "optional: best 10 m time in seconds", "", ("sprint_10", "sprint_10m"))
_SPRINT_20 = Column("sprint_20m_s", "optional: best 20 m time in seconds", "", ("sprint_20", "sprint_20m"))
_HEIGHT = Column("height_cm", "optional: height in cm (or 1.85 m)", "", ("height", "height_m"))


#: Shots and free throws of a man: made, attempted.
_COUNTED = (
    Column(
        "twos",
        "two-pointers he made",
        "21",
        ("twos_made", "two_pointers", "2s", "2pm", "2p"),
        heading="twos made",
    ),
    Column("twos_attempted", "optional: of how many tried", "46", ("two_attempts", "2pa", "twos_tried")),
    Column(
        "threes",
        "threes he made",
        "14",
        ("threes_made", "three_pointers", "3s", "3pm", "3p"),
        heading="threes made",
    ),
    Column(
        "threes_attempted", "optional: of how many tried", "40", ("three_attempts", "3pa", "threes_tried")
    ),
    Column(
        "free_throws",
        "free throws he made",
        "9",
        ("free_throws_made", "ft", "fts", "ftm"),
        heading="free throws made",
    ),
    Column(
        "free_throws_attempted",
        "optional: of how many tried",
        "12",
        ("free_throw_attempts", "fta", "fts_attempted", "free_throws_tried"),
    ),
)
#: The same of our own men, who shoot in ``attack`` alone.
OWN_COUNTED = tuple(
    replace(one, help=f"optional, for your attack: {one.help.removeprefix('optional: ')}", example="")
    for one in _COUNTED
)


def own_columns(grades: Grades) -> tuple[Column, ...]:
    """Columns of own.csv: the defence."""
    return (
        _NUMBER,
        _INITIALS,
        Column(
            "starts",
            "yes for the five who start",
            "yes",
            ("starter", "starting", "lineup", "plays"),
            YES_OR_NO,
        ),
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
            ("left guard", "right guard", "left forward", "right forward", "centre", "guard", "forward"),
        ),
        Column("pace", _graded(grades, "pace"), "normal", ("speed", "quickness"), WORDS["pace"]),
        Column(
            "prone_to_fouls",
            _graded(grades, "prone_to_fouls"),
            "no",
            ("foul_prone", "fouls_prone", "foul_trouble"),
            WORDS["prone_to_fouls"],
        ),
        Column(
            "fouls",
            "optional: fouls in the games you have sheets of; used only where prone_to_fouls is empty",
            "",
            ("fouls_made", "pf"),
        ),
        Column(
            "minutes",
            f"optional: minutes he plays in a game, for his fouls; empty: {MINUTES} of it",
            "",
            ("minutes_played", "min", "mins"),
        ),
        Column(
            "handles_pressure",
            "optional, for your attack: " + _graded(grades, "handles_pressure"),
            "",
            ("pressure", "ball_handling", "handles"),
            WORDS["handles_pressure"],
        ),
        *OWN_COUNTED,
        _HEIGHT,
        _SPRINT_10,
        _SPRINT_20,
    )


def opponent_columns(grades: Grades) -> tuple[Column, ...]:
    """Columns of opponent.csv: the offence."""
    return (
        _NUMBER,
        _INITIALS,
        Column(
            "starts",
            "yes for the five you expect",
            "yes",
            ("starter", "starting", "lineup", "plays"),
            YES_OR_NO,
        ),
        Column(
            "position",
            "guard, wing or big (or 1 to 5: 1 point guard, 5 high post)",
            "wing",
            ("pos", "role", "place"),
            ("guard", "wing", "big", "1", "2", "3", "4", "5"),
        ),
        Column(
            "shooter",
            _graded(grades, "shooter"),
            "sure",
            ("shooting", "colour", "color", "light"),
            WORDS["shooter"],
        ),
        Column(
            "from_where",
            "where that holds: corner, wing, top, inside; several are fine; empty: outside",
            "corner wing",
            ("where", "from", "shoots_from", "spots"),
        ),
        Column(
            "hand",
            "strong hand, for the bench sheet: right, left or both",
            "right",
            ("strong_hand", "dominant_hand"),
            ("right", "left", "both"),
        ),
        Column(
            "handles_pressure",
            _graded(grades, "handles_pressure"),
            "some",
            ("pressure", "ball_handling", "handles"),
            WORDS["handles_pressure"],
        ),
        Column(
            "passes_from_big",
            _graded(grades, "passes_from_big"),
            "no",
            ("big_man_passes", "big_passer", "passing_big", "passer", "big_who_passes"),
            WORDS["passes_from_big"],
        ),
        Column(
            "free_throw_shooter",
            _graded(grades, "free_throw_shooter"),
            "average",
            ("free_throws_grade", "ft_grade", "ft_shooter"),
            WORDS["free_throw_shooter"],
        ),
        *_COUNTED,
        Column(
            "turnovers",
            "optional: how often he lost the ball, in the same games",
            "",
            ("tov", "turnover", "balls_lost", "lost_balls"),
        ),
        Column("pace", "optional; " + _graded(grades, "pace"), "", ("speed", "quickness"), WORDS["pace"]),
        _HEIGHT,
        _SPRINT_10,
        _SPRINT_20,
    )


#: Columns of opponent.csv that blank sheets do not have, though other people's do: fouls (which change
#: nothing there) and percentages.
UNASKED_COLUMNS = (Column("fouls", "", "", ("fouls_made", "pf")),) + tuple(
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
    Column("unit", "m or ft", "m", ("units",), ("m", "ft")),
    Column("made", "yes or no", "yes", ("hit", "scored", "in", "result"), YES_OR_NO),
    Column(
        "contested",
        "optional: contested or open",
        "open",
        ("guarded", "contest", "defended"),
        ("contested", "open"),
    ),
)
#: As above, and lengths with the unit in the heading.
READ_SHOT_COLUMNS = (
    *SHOT_COLUMNS,
    *(Column(f"{name}_{unit}", "") for name in ("distance", "x", "y") for unit in ("m", "ft")),
)

#: A coach's words for what sets a call off -> the trigger.
TRIGGER_WORDS = {
    "pass in the air": "in_air",
    "catch": "catch",
    "back turned": "back_turned",
    "dribble picked up": "picked_up",
    "dribbled in": "dribble_in",
    "ball held": "held",
    "over half court": "across_half",
    "brought down": "brought_down",
    "screen on the ball": "screen",
}
#: Of those the ones that not every call can have, and which can.
TRIGGER_NEEDS = {
    "across_half": "at the top",
    "brought_down": "at the top",
    "screen": "man-to-man",
}
#: Where a call is made; a defence has calls for some of them.
CALL_PLACES = ("corner", "short corner", "wing", "top", "half court corner")


def trigger_word(word: str) -> str:
    """A trigger as it is listed, with what it needs."""
    need = TRIGGER_NEEDS.get(TRIGGER_WORDS[word])
    return f"{word} ({need})" if need else word


CALL_COLUMNS = (
    Column("word", "your own word for it; rows with the same word are one idea", "hammer", ("call", "name")),
    Column(
        "where",
        f"{', '.join(CALL_PLACES)}, as far as the defence has a call there",
        "corner",
        ("spot", "region"),
        CALL_PLACES,
    ),
    Column(
        "how_often",
        "every time, every second, third or fourth time, a percentage, or twice a quarter; empty: as "
        "usual there",
        "every second time",
        ("often", "share"),
        ("every time", "every second time", "every third time", "every fourth time"),
    ),
    Column(
        "most_a_game",
        "optional: at most so many times a game (6, or 2 a quarter); it counts where whole games are played",
        "2 a quarter",
        ("uses", "uses_a_game", "budget", "times_a_game"),
    ),
    Column(
        "on_whom",
        "shirt numbers of theirs, or weak handlers; empty: everybody",
        "6 12",
        ("against", "whom", "only_against"),
    ),
    Column(
        "who_doubles",
        "two of near guard, far guard, near forward, far forward, centre (near: on the ball's side); or "
        "nearest two; empty: the usual two",
        "near guard and near forward",
        ("doubles", "trappers", "who_traps"),
        ("near guard and near forward", "near forward and centre", "near guard and far guard", "nearest two"),
    ),
    Column(
        "trigger",
        f"what sets it off: {', '.join(map(trigger_word, TRIGGER_WORDS))}; empty: as usual there",
        "catch",
        ("triggers", "when", "set_off_by"),
        tuple(TRIGGER_WORDS),
    ),
    Column(
        "whose",
        "ours (or empty): an idea of yours; theirs: a trap that you have seen them make (on_whom then holds "
        "your numbers)",
        "ours",
        ("side", "team"),
        ("ours", "theirs"),
    ),
)


def spellings(columns: tuple[Column, ...]) -> dict[str, str]:
    """Every spelling of a heading -> the column it names."""
    return {key_of(word): column.name for column in columns for word in (column.name, *column.also)}
