"""Numbers, draws and small functions of the model (court and motion, sections 1 and 3).

Part of the naive twin of the model (tests/naive.py): plain Python, written from the description alone.
"""

from __future__ import annotations

import math

NEVER = 1e9
NONE = -1

# Modes, actions, dribbles, phases (description, element 2).
HELD, PASS_WINDUP, PASS_FLIGHT, SHOT_WINDUP, SHOT_FLIGHT, LOOSE, OVER = range(7)
#: How a ball is loose: a deflection or fumble, a miss, a missed free throw, a blocked shot.
FUMBLED, MISSED, FREE_THROW, BLOCKED = range(4)
LOOSE_BALLS = ("fumbled", "missed", "free throw", "blocked")
STAY, DRIVE, DRIBBLE_TO, RETREAT, SPLIT = range(5)
UNUSED, DRIBBLING, DEAD = range(3)
PHASE_NONE, COMING, SET, AFTER = range(4)
DIRECT, BOUNCE, OVER_THE_TOP = range(3)
SCREEN_NONE, SCREEN_COMING, SCREEN_SET, SCREEN_USED = range(4)

# Kinds of jobs (defence, section 3).
PLACE, ON_BALL, DENY, FRONT, BEHIND, IF_SHOOTER, TRAP, OWN_MAN = (
    "PLACE",
    "ON_BALL",
    "DENY",
    "FRONT",
    "BEHIND",
    "IF_SHOOTER",
    "TRAP",
    "OWN_MAN",
)

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
BACKCOURT, TOP, SLOT, WING, CORNER = range(5)
HIGH_POST, ELBOW, SHORT_CORNER, LOW_POST, LANE, RIM = range(6, 12)
#: What is done about a screen (offence, section 7.1).
COVERAGES = ("drop", "under", "show", "switch")
MOMENTS = ("settled", "before_bump", "after_bump", "reversal", "matched")
SETTLED, BEFORE_BUMP, AFTER_BUMP, REVERSAL, MATCHED = range(5)

ENDS = ("made_shot", "defensive_rebound", "turnover", "free_throws", "shot_clock")
OUTCOMES = ("steal", "other_turnover", "foul", "escape_pass", "retreat", "split", "other")
LOSSES = ("none", "strip", "pass", "held_ball", "violation", "travel", "dribble", "offensive_foul")
AFTERS = ("none", "rim_shot", "open_three", "other_shot", "reset", "turnover")
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

# Purposes of the draws (court and motion, section 3).
PURPOSES = {
    "START": 1,
    "SPOT": 2,
    "CHOICE": 3,
    "AIM": 4,
    "TOUCH": 5,
    "ANTICIPATE": 6,
    "FAKE": 7,
    "SHOT": 8,
    "REBOUND": 9,
    "REBOUND_RACE": 10,
    "FREE_THROW": 11,
    "CALL": 12,
    "BALL_HAZARD": 13,
    "TRAP_HAZARD": 14,
    "HELD_BALL": 15,
    "LOOSE_RACE": 16,
    "NEXT_POSSESSION": 17,
    "READ": 18,
    "PICK_UP": 19,
    "RESTART": 20,
    "TRAP_PICK_UP": 21,
    "PLAY": 22,
    "LOOK": 23,
    "RHYTHM": 24,
}

WORD = 0xFFFFFFFF


def philox(counter: tuple[int, int, int, int], key: tuple[int, int]) -> tuple[int, int, int, int]:
    """Philox 4x32, ten rounds: four words of 32 bits from a counter of four and a key of two."""
    c0, c1, c2, c3 = counter
    k0, k1 = key
    for _ in range(10):
        p = 0xD2511F53 * c0
        q = 0xCD9E8D57 * c2
        c0, c1, c2, c3 = (q >> 32) ^ c1 ^ k0, q & WORD, (p >> 32) ^ c3 ^ k1, p & WORD
        k0 = (k0 + 0x9E3779B9) & WORD
        k1 = (k1 + 0xBB67AE85) & WORD
    return c0, c1, c2, c3


def uniforms(
    seed: int, number: int, purpose: str, subject: int, occasion: int, second: int = 0
) -> tuple[float, ...]:
    """u0 to u3 of one draw of possession ``number``."""
    key = (seed & WORD, (seed >> 32) & WORD)
    branch = 0
    counter = (
        number & WORD,
        ((number >> 32) & 0xFFFF) * 65536 + branch,
        PURPOSES[purpose] * 2**24 + subject * 2**16 + second * 2**8,
        occasion & WORD,
    )
    return tuple((w + 0.5) * 2.0**-32 for w in philox(counter, key))


# --- small functions (section 1) ----------------------------------------------------------------------------


def dist(ax: float, ay: float, bx: float, by: float) -> float:
    dx = ax - bx
    dy = ay - by
    return math.sqrt(dx * dx + dy * dy)


def clip(v: float, low: float, high: float) -> float:
    if v < low:
        return low
    if v > high:
        return high
    return v


def logistic(z: float) -> float:
    if z > 30.0:
        return 1.0
    if z < -30.0:
        return 0.0
    return 1.0 / (1.0 + math.exp(-z))


def logit(p: float) -> float:
    """ln(p / (1 - p)) with p first limited to [0.0001, 0.9999]."""
    p = clip(p, 0.0001, 0.9999)
    return math.log(p / (1.0 - p))


def fade(time_s: float, tau: float) -> float:
    """Seconds of full speed that a start from rest costs."""
    return tau * (1.0 - math.exp(-time_s / tau)) if time_s > 0.0 else 0.0


def segment(px: float, py: float, ax: float, ay: float, bx: float, by: float) -> tuple[float, float]:
    """Distance of a point from the segment a to b, and the share f of the way to the nearest point."""
    dx = bx - ax
    dy = by - ay
    length2 = dx * dx + dy * dy
    f = 0.0
    if length2 > 1e-9:
        f = clip(((px - ax) * dx + (py - ay) * dy) / length2, 0.0, 1.0)
    return dist(px, py, ax + f * dx, ay + f * dy), f


def toward_rim(x: float, y: float, gap: float) -> tuple[float, float]:
    d = math.sqrt(x * x + y * y)
    if d < gap + 0.3:
        return 0.5 * x, 0.5 * y
    return x - x / d * gap, y - y / d * gap


def rim_distance(x: float, y: float) -> float:
    return dist(x, y, 0.0, 0.0)


def happens(rate: float, u: float, dt: float) -> bool:
    """Whether an event of a rate (per second) happens in one step."""
    return rate > 0.0 and u < 1.0 - math.exp(-rate * dt)
