"""Every enumeration that files, kernel and reports share, once: number, word and meaning of each member.

A member is its number (which records and traces hold: new ones go to the end), ``word`` is what files and
tables say, ``meaning`` one line about it. ``Region.words`` are the words of all members by number. The
compiled kernel reads ``Mode.HELD`` as the plain number (engine.kernel.jit).
"""

from __future__ import annotations

from enum import EnumMeta, IntEnum
from typing import Any


class WordsMeta(EnumMeta):
    """The class of a table of words; the kernel's compiler knows it by this."""

    @property
    def words(cls) -> tuple[str, ...]:
        """The words of all members, by number."""
        members: Any = cls
        return tuple(member.word for member in members)


class Words(IntEnum, metaclass=WordsMeta):
    """Members are written ``NAME = meaning`` or ``NAME = meaning, word``; the word is else the name's."""

    meaning: str
    word: str

    def __new__(cls, meaning: str, word: str = "") -> Words:
        member = int.__new__(cls, len(cls.__members__))
        member._value_ = int(member)
        member.meaning = meaning
        member.word = word
        return member

    def __init__(self, meaning: str, word: str = "") -> None:
        self.word = word or self.name.lower()


# --- words of the files -----------------------------------------------------------------------------------


class Region(Words):
    """Where the ball is (configs/courts has the shapes)."""

    BACKCOURT = "behind the half-court line"
    TOP = "middle of the floor, out"
    SLOT = "beside the top"
    WING = "side of the floor, out"
    CORNER = "deep beside the baseline, out"
    HALF_COURT_CORNER = "just over half court, by the sideline"
    HIGH_POST = "around the free-throw line"
    ELBOW = "corner of the free-throw line"
    SHORT_CORNER = "baseline between corner and lane"
    LOW_POST = "beside the lane, near the rim"
    LANE = "inside the lane"
    RIM = "at the rim"


class Moment(Words):
    """Which row of a region's slides applies."""

    SETTLED = "the usual row"
    BEFORE_BUMP = "a forward has the wing; the guard's bump is still to come"
    AFTER_BUMP = "the guard has taken the wing"
    REVERSAL = "the ball came from the other side or from deep"
    MATCHED = "every defender has taken a man of his own"


class Job(Words):
    """What a defender does in a row (engine.state.jobs has the behaviour behind each)."""

    PLACE = "stands on the place"
    ON_BALL = "guards the ball"
    COMING = "runs over to take the ball"
    ON_BALL_IF_SHOOTER = "guards the ball if the handler can shoot, else the gap"
    GAP = "closes the gap"
    DENY = "stands in the lane to the nearest attacker"
    SINK = "drops toward the middle, on the outlet pass"
    FILL = "fills the place left open"
    RIM = "protects the rim"
    FRONT = "stands between ball and post player"
    LOB = "stays behind his man against the lob"
    DROP = "drops to the place, on the man there"
    PINCH = "pinches in"
    BLOCK = "holds the block, on the man there"
    DIG = "steps in to bother the ball"
    READ_SKIP = "holds the middle and reads the skip"
    RUN_AT = "ready to run at the man there"
    MIDDLE = "holds the middle"
    TRAP = "doubles the ball"
    OWN_MAN = "guards his own man: on the ball, denying, or in help"


class Trigger(Words):
    """What makes a moment at which a trap may be called."""

    IN_AIR = "a pass to the spot is released"
    CATCH = "a pass is caught there"
    BACK_TURNED = "a pass is caught there on the way out, back to the rim"
    PICKED_UP = "the dribble is picked up there"
    DRIBBLE_IN = "the ball is dribbled in"
    HELD = "the ball has been held there so many seconds"
    ACROSS_HALF = "the ball has just come over half court"
    BROUGHT_DOWN = "the ball is dribbled down to the call's distance from the baseline"
    SCREEN = "a screen is set there on the man on the ball"


class Coverage(Words):
    """What the two defenders do about a screen on the ball."""

    DROP = "the man on the ball goes over it, the screener's man drops back between ball and rim"
    UNDER = "the man on the ball goes under it, the screener's man stays with his man"
    SHOW = "the man on the ball goes over it, the screener's man steps out in the way until he is back"
    SWITCH = "the two change men"


class PassKind(Words):
    """How a pass travels."""

    DIRECT = "chest high"
    BOUNCE = "off the floor"
    OVER = "over the defence"


# --- words of the records ---------------------------------------------------------------------------------


class End(Words):
    """How a possession ends."""

    MADE_SHOT = "a field goal"
    DEFENSIVE_REBOUND = "the defence has the miss"
    TURNOVER = "the ball is lost"
    FREE_THROWS = "the last free throw is made"
    SHOT_CLOCK = "the shot clock runs out"


class Outcome(Words):
    """What became of the first call's trap."""

    STEAL = "a live-ball turnover"
    OTHER_TURNOVER = "a dead-ball turnover"
    FOUL = "a foul of the defence"
    ESCAPE_PASS = "a pass got out"
    RETREAT = "the handler dribbled out backward"
    SPLIT = "the handler went between or past the trappers"
    OTHER = "anything else"


class After(Words):
    """What came after the ball got out of the first call's trap."""

    NONE = "it did not get out"
    RIM_SHOT = "a shot at the rim"
    OPEN_THREE = "an open shot from beyond the arc"
    OTHER_SHOT = "another shot"
    RESET = "the shell stood again, or play was stopped"
    TURNOVER = "a turnover"


class Loss(Words):
    """How the possession lost the ball to a turnover; in the record one more, 0 for none."""

    STRIP = "taken from the dribble or the hands"
    PASS = "a pass stolen, picked up loose or lost over a line"
    HELD_BALL = "two held it and the arrow was the defence's"
    VIOLATION = "a line, a count or the clock"
    TRAVEL = "too many steps"
    DRIBBLE = "a dribble lost without a defender: off a foot, over a line"
    OFFENSIVE_FOUL = "a charge, a push-off, an illegal screen"


class Escape(Words):
    """Where the pass out of the first call's trap went; in the record one more, 0 for no such pass."""

    BEHIND = "to the man behind the ball", "behind the ball"
    MIDDLE = "to the flash"
    LINE = "up the sideline", "up the line"
    FAR = "to the far man", "far man"
    OTHER = "to somebody with no place in the break"


# --- the possession's state -------------------------------------------------------------------------------


class Mode(Words):
    """What the ball does."""

    HELD = "the handler has it"
    PASS_WINDUP = "the handler is about to pass", "pass wind-up"
    PASS_FLIGHT = "a pass is on its way", "pass in flight"
    SHOT_WINDUP = "the handler is about to shoot", "shot wind-up"
    SHOT_FLIGHT = "a shot is on its way", "shot in flight"
    LOOSE = "nobody has it", "loose ball"
    OVER = "the possession has ended"


class Action(Words):
    """What the handler does with his feet."""

    STAY = "stands"
    DRIVE = "attacks the rim"
    DRIBBLE_TO = "dribbles to a place", "dribble to"
    RETREAT = "backs out of a trap"
    SPLIT = "goes between two trappers"


class Dribble(Words):
    """The handler's dribble."""

    UNUSED = "not begun"
    DRIBBLING = "alive"
    DEAD = "ended: he may only pass or shoot", "picked up"


class TrapPhase(Words):
    """How far a trap has come."""

    NONE = "no trap"
    COMING = "trappers are on their way"
    SET = "both are there"
    AFTER = "the ball got out and the shell does not stand yet"


class Focus(Words):
    """Where a defender believes the ball is."""

    BALL = "where it is, or is going"
    BEFORE_PASS = "where it was before the pass"
    GUESS = "where he guesses that it is going"


class Start(Words):
    """When a step of a play may begin."""

    PASS = "a pass to the ball's region has just left"
    HOLD = "the ball is held there, held_s seconds after the catch"
    DRIVE = "a drive from there has just begun"
    ESCAPE = "the ball has just got out of a trap"
    THEN = "the step before it is over"


class Against(Words):
    """What a play is run against: by whether every defender has a man of his own."""

    ZONE = "a zone"
    MEN = "man-to-man"


class Who(Words):
    """Who makes a move of a play."""

    HANDLER = "the man with the ball, dribbling"
    PASSER = "who has just passed"
    NEAREST = "whoever without the ball is nearest to a place"
    SCREENER = "who has set the screen of the step before"


class Does(Words):
    """What a man does in a move of a play."""

    GO = "goes to a place"
    SCREEN = "stands in the way of the man on the ball"


class Screen(Words):
    """How far a screen on the ball has come."""

    NONE = "no screen"
    COMING = "the screener is on his way"
    SET = "he stands"
    USED = "the ball has gone by it, and its man is not back"


class Only(Words):
    """What must be seen for a move of a play to be made."""

    ALWAYS = "nothing"
    WAY_OPEN = "no defender stands near his straight way to the rim"
    DENIED = "a defender stands in the lane between the ball and him"


class Break(Words):
    """The places of breaking a trap, in the order of the alignments' rows."""

    BEHIND = "behind the ball"
    MIDDLE = "the flash to the middle"
    LINE = "up the sideline"
    FAR = "the far man"


class Flight(Words):
    """What has become of a pass at a step."""

    FLYING = "still on its way"
    CAUGHT = "the receiver has it"
    STOLEN = "a defender has it"
    LOOSE = "it is loose on the floor"
    OUT = "it is outside the lines"


class ShotResult(Words):
    """What becomes of a released shot."""

    MISS = "it misses"
    MADE = "it goes in"
    BLOCKED = "it is blocked"


class LooseKind(Words):
    """Why nobody has the ball."""

    GOT_AWAY = "a pass was touched or fumbled"
    REBOUND = "a shot was missed"
    FREE_THROW = "a free throw was missed"
    BLOCK = "a shot was blocked"


class Option(Words):
    """What a handler weighs at a decision; left and right as he sees them when he faces the rim."""

    SHOOT = "shoots"
    HOLD = "goes on as he does"
    DRIVE_FAR_RIGHT = "around a defender", "drive far right"
    DRIVE_RIGHT = "past him", "drive right"
    DRIVE_AT_RIM = "straight", "drive at the rim"
    DRIVE_LEFT = "past him", "drive left"
    DRIVE_FAR_LEFT = "around a defender", "drive far left"
    RETREAT = "backs out of a trap that is coming"
    SPLIT = "goes between the two who are coming"
    PASS_1 = "passes to the attacker at position 1", "pass"
    PASS_2 = "passes to the attacker at position 2", "pass"
    PASS_3 = "passes to the attacker at position 3", "pass"
    PASS_4 = "passes to the attacker at position 4", "pass"
    PASS_5 = "passes to the attacker at position 5", "pass"


class Event(Words):
    """What a trace tells: player, other, value and place belong to it (engine.study.replay says which)."""

    START = "the possession begins"
    PASS = "a pass is released"
    CATCH = "a pass is caught"
    TOUCH = "a defender touches a pass"
    STEAL = "a defender has the ball"
    LOOSE = "the ball gets away"
    RECOVERED = "somebody picks the loose ball up"
    SHOT = "a shot is released"
    MADE = "it goes in"
    MISSED = "it misses"
    BLOCKED = "it is blocked"
    REBOUND = "somebody has the miss"
    FREE_THROW = "a free throw"
    FOUL = "a foul of the defence"
    THROW_IN = "the ball comes in again"
    TURNOVER = "the offence loses the ball"
    CALL = "a trap is called"
    TRAP_SET = "both trappers are there"
    TRAP_LEFT = "the trap is over"
    SHELL_STANDS = "the five are back in their places"
    BUMP = "the guard takes the wing from the forward"
    DRIVE = "a drive begins"
    RETREAT = "a retreat begins"
    SPLIT = "a split begins"
    HELD_BALL = "two hold the ball"
    TIME_OUT = "the trapped offence takes a time-out"
    END = "the possession ends"
    FAKE = "the passer fakes"
    PICK_UP = "the dribble ends"
    VIOLATION = "a count, clock or line violation"
    SCREEN = "a screen is set"


class Violation(Words):
    """Violations by the offence."""

    BACKCOURT_COUNT = "too long in the backcourt", "backcourt count"
    OVER_AND_BACK = "back over half court", "over and back"
    CLOSELY_GUARDED = "too long without moving the ball", "closely guarded"
    THREE_SECONDS = "too long in the lane", "three seconds"
    TRAVEL = "too many steps"
    STEPPED_ON_LINE = "out of a trap over a line", "stepped on a line"
    TOO_LONG = "the model's limit, longest_possession_s", "possession too long"
    SHOT_CLOCK = "no shot in time", "shot clock"


REGIONS, MOMENTS, JOBS, TRIGGERS, PASS_KINDS = (e.words for e in (Region, Moment, Job, Trigger, PassKind))
ENDS, OUTCOMES, AFTER, ESCAPES, LOSSES = (e.words for e in (End, Outcome, After, Escape, Loss))
MODES, ACTIONS, DRIBBLES, TRAP_PHASES = (e.words for e in (Mode, Action, Dribble, TrapPhase))
STARTS, AGAINST, WHO, ONLY, DOES = Start.words, Against.words, Who.words, Only.words, Does.words
COVERAGES = Coverage.words
EVENTS, VIOLATIONS = Event.words, Violation.words
