"""Counter-based random numbers: every draw is a pure function of who asks for what, when.

Philox 4x32-10 (Salmon, Moraes, Dror & Shaw 2011, "Parallel random numbers: as easy as 1, 2, 3", SC11,
doi 10.1145/2063384.2063405). Key = the 64-bit seed. Counter words:

====  ==================================================================================
c0    possession number, low 32 bits
c1    possession number, next 16 bits, times 65536, plus 16 bits of branch (0 = shared luck)
c2    purpose (8 bits), subject (8), second subject (8), spare (8, zero)
c3    occasion: the ordinal of the event (n-th pass, n-th shot ...), or the step for rates
====  ==================================================================================

No setting, thread or chunk number enters. Each purpose has its own number, never reused, so two purposes
never share a counter and a new purpose leaves all other draws as they were. The four words of a draw
have fixed meanings (table PURPOSES); left-over words are dropped. uint64 with masks throughout: 32-bit
products would wrap when interpreted and widen when compiled.
"""

from __future__ import annotations

import math

import numpy as np

from engine.kernel.jit import njit

#: name: (number, what subject and second subject are, what the occasion is, what the four words decide)
PURPOSES: dict[str, tuple[int, str, str, str]] = {
    "START": (1, "none", "0", "start x; start y; side of the shell; unused"),
    "SPOT": (
        2,
        "agent",
        "n-th re-spacing",
        "spot x; spot y (a defender: one normal, his gap); unused; unused",
    ),
    "CHOICE": (
        3,
        "option group (0 shoot hold retreat split, 1-2 drives, 2 passes, 3+j pass to j); 1 if all is tried",
        "n-th look",
        "noise of each option of the group",
    ),
    "AIM": (
        4,
        "none",
        "n-th pass",
        "radius of the aim error; its angle; fumble; unused",
    ),
    "TOUCH": (5, "defender", "n-th pass", "touch threshold; clean or deflected; angle; length"),
    "ANTICIPATE": (6, "defender", "n-th pass", "leaves early; guesses right; which wrong guess; gambles"),
    "FAKE": (7, "none", "n-th pass", "fakes; unused; unused; unused"),
    "SHOT": (8, "none", "n-th shot", "make; foul; block; and-one make"),
    "REBOUND": (9, "none", "n-th rebound", "length; length; angle; far side"),
    "REBOUND_RACE": (10, "agent", "n-th rebound", "his race; unused; unused; unused"),
    "FREE_THROW": (11, "none", "n-th free throw", "make; unused; unused; unused"),
    "CALL": (12, "spot of the call", "n-th chance at that spot", "called; unused; unused; unused"),
    "BALL_HAZARD": (
        13,
        "0 the ball, 1 the line",
        "step",
        "strip, or stepping on a line; dribble lost; drive foul; charge",
    ),
    "TRAP_HAZARD": (14, "none", "step", "strip or tie-up; foul; step out; time-out"),
    "HELD_BALL": (15, "none", "n-th held ball", "possession arrow; unused; unused; unused"),
    "LOOSE_RACE": (16, "agent", "n-th loose ball", "his race; unused; unused; unused"),
    "NEXT_POSSESSION": (17, "none", "0", "excess; two or three; unused; unused"),
    "READ": (18, "agent", "n-th call of the possession", "reading delay; unused; unused; unused"),
    "PICK_UP": (
        19,
        "none",
        "n-th decision",
        "picks the dribble up; travels as a drive begins; unused; unused",
    ),
    "RESTART": (20, "none", "n-th restart", "side; unused; unused; unused"),
    "TRAP_PICK_UP": (
        21,
        "none",
        "n-th call of the possession",
        "picks the dribble up; unused; unused; unused",
    ),
    "PLAY": (
        22,
        "step of a play",
        "n-th occasion for a play",
        "whether it is begun; foul off the ball; unused; unused",
    ),
    "LOOK": (
        23,
        "0 the look, 1 finding the four others, 2 seeing them past arms",
        "step; past arms n-th call of the possession",
        "how long he looks before he drives, or for the others in the order of their numbers",
    ),
    "RHYTHM": (
        24,
        "1 on a drive",
        "n-th look",
        "how he stands for his shot: length; angle; unused; unused",
    ),
}

START = PURPOSES["START"][0]
SPOT = PURPOSES["SPOT"][0]
CHOICE = PURPOSES["CHOICE"][0]
AIM = PURPOSES["AIM"][0]
TOUCH = PURPOSES["TOUCH"][0]
ANTICIPATE = PURPOSES["ANTICIPATE"][0]
FAKE = PURPOSES["FAKE"][0]
SHOT = PURPOSES["SHOT"][0]
REBOUND = PURPOSES["REBOUND"][0]
REBOUND_RACE = PURPOSES["REBOUND_RACE"][0]
FREE_THROW = PURPOSES["FREE_THROW"][0]
CALL = PURPOSES["CALL"][0]
BALL_HAZARD = PURPOSES["BALL_HAZARD"][0]
TRAP_HAZARD = PURPOSES["TRAP_HAZARD"][0]
HELD_BALL = PURPOSES["HELD_BALL"][0]
LOOSE_RACE = PURPOSES["LOOSE_RACE"][0]
NEXT_POSSESSION = PURPOSES["NEXT_POSSESSION"][0]
READ = PURPOSES["READ"][0]
PICK_UP = PURPOSES["PICK_UP"][0]
RESTART = PURPOSES["RESTART"][0]
TRAP_PICK_UP = PURPOSES["TRAP_PICK_UP"][0]
PLAY = PURPOSES["PLAY"][0]
LOOK = PURPOSES["LOOK"][0]
RHYTHM = PURPOSES["RHYTHM"][0]

MASK = np.uint64(0xFFFFFFFF)
SHIFT = np.uint64(32)
MUL_0 = np.uint64(0xD2511F53)
MUL_1 = np.uint64(0xCD9E8D57)
WEYL_0 = np.uint64(0x9E3779B9)
WEYL_1 = np.uint64(0xBB67AE85)
BITS_8 = np.uint64(8)
BITS_16 = np.uint64(16)
BITS_24 = np.uint64(24)
MASK_16 = np.uint64(0xFFFF)
TO_UNIT = 1.0 / 4294967296.0


@njit
def philox(c0, c1, c2, c3, k0, k1):
    """Ten rounds of Philox 4x32: six uint64 holding 32-bit words in, four out. Source: module docstring."""
    for _ in range(10):
        product_0 = MUL_0 * c0
        product_1 = MUL_1 * c2
        c0 = (product_1 >> SHIFT) ^ c1 ^ k0
        c1 = product_1 & MASK
        c2 = (product_0 >> SHIFT) ^ c3 ^ k1
        c3 = product_0 & MASK
        k0 = (k0 + WEYL_0) & MASK
        k1 = (k1 + WEYL_1) & MASK
    return c0, c1, c2, c3


@njit
def counter(possession, branch, purpose, subject, second, occasion):
    """The four counter words (uint64 holding 32 bits) of one draw; see the module's table."""
    p = np.uint64(possession)
    c0 = p & MASK
    c1 = (((p >> SHIFT) & MASK_16) << BITS_16) | (np.uint64(branch) & MASK_16)
    c2 = (np.uint64(purpose) << BITS_24) | (np.uint64(subject) << BITS_16) | (np.uint64(second) << BITS_8)
    c3 = np.uint64(occasion) & MASK
    return c0, c1, c2, c3


@njit
def uniforms(s, purpose, subject, second, occasion):
    """Four uniforms in (0, 1), float64, for the possession in state ``s``: u = (word + 0.5) 2^-32."""
    c0, c1, c2, c3 = counter(s.possession, s.branch, purpose, subject, second, occasion)
    w0, w1, w2, w3 = philox(c0, c1, c2, c3, s.seed & MASK, s.seed >> SHIFT)
    return (
        (float(w0) + 0.5) * TO_UNIT,
        (float(w1) + 0.5) * TO_UNIT,
        (float(w2) + 0.5) * TO_UNIT,
        (float(w3) + 0.5) * TO_UNIT,
    )


@njit
def normal(u0, u1):
    """Standard normal from two uniforms (Box and Muller 1958)."""
    return math.sqrt(-2.0 * math.log(u0)) * math.cos(2.0 * math.pi * u1)


@njit
def race_key(u, weight):
    """Exponential race: the smallest key wins with probability weight / sum of weights."""
    return -math.log(u) / weight


@njit
def happens(u, rate_per_s, dt):
    """True if an event of this rate falls into a step of ``dt`` seconds: p = 1 - exp(-rate dt)."""
    return rate_per_s > 0.0 and u < 1.0 - math.exp(-rate_per_s * dt)
