"""Shots: probability by distance and contest, what a shot is worth to the shooter, free throws."""

from __future__ import annotations

import math

from engine.kernel import draws
from engine.kernel.jit import njit
from engine.kernel.motion import clip, distance, logistic
from engine.kernel.near import on_ball_gap
from engine.state.arrays import N_SHOT_STEPS, N_SIDE, SHOT_STEP_M
from engine.state.words import Action, Dribble

#: The board: its face behind the rim's centre, half its width (FIBA Official Basketball Rules, Equipment,
#: from memory: 1.20 m inside the end line with the rim's centre 1.575 m from it; 1.80 m wide).
BOARD_Y_M, BOARD_HALF_M = 0.375, 0.9
#: Over this width, metres, a second man's hands come to count in full.
SECOND_WIDTH_M = 0.75
#: Shot clock without a direct effect on a shot (computed, pro men 2014-15: mean clock at the shot 12.1 s).
NO_HURRY_S = 12.0


@njit
def is_three(w, x, y):
    """True beyond the arc or, below its break, beyond the corner line (on the line counts two)."""
    ru = w.rules
    if y <= ru.corner_break_y_m:
        return abs(x) > ru.corner_x_m
    return x * x + y * y > ru.arc_m * ru.arc_m


@njit
def lookup(w, table, distance_m, column):
    """Linear interpolation in shot table ``table``: column 0 logit of make, 1 contest slope per metre."""
    z = distance_m / SHOT_STEP_M
    i = int(z)
    if i >= N_SHOT_STEPS - 1:
        return w.shots[table, N_SHOT_STEPS - 1, column]
    f = z - i
    return w.shots[table, i, column] * (1.0 - f) + w.shots[table, i + 1, column] * f


@njit
def table_logit(w, player, distance_m):
    """Logit of the player's make at a distance with the nearest defender at the reference distance."""
    k = w.k
    p = w.players[player]
    z = lookup(w, p.table, distance_m, 0)
    if distance_m < k.rim_range_m:
        return z + p.rim_logit
    if distance_m < k.middle_range_m:
        return z + p.middle_logit
    return z + p.three_logit


@njit
def is_shooter(w, s, player, d_rim):
    """True if the defence guards ``player``, with the ball ``d_rim`` metres from the rim, as a shooter.

    Judged by the shot he would step into, not by where he still is.
    """
    if d_rim < w.k.middle_range_m:
        return True
    step_in = w.rules.arc_m + 0.4
    return table_logit(w, player, d_rim if d_rim < step_in else step_in) > s.shooter_logit


@njit
def guarding_gap(w, d_rim, shooter):
    """Metres that the man on the ball leaves its holder, who is ``d_rim`` metres from the rim."""
    gap = on_ball_gap(w.k, d_rim)
    return gap if shooter else gap + w.k.off_shooter_gap_m


@njit
def make_probability(w, player, distance_m, gap_m, second_m, clock_s, unset, rhythm):
    """Chance that the shot goes in: table logit plus contests, clock, what an unset shot costs, and rhythm.

    ``gap_m`` is the nearest defender's (effective) distance at release, ``second_m`` the next one's;
    ``unset``: off the dribble or held so long that it is no catch-and-shoot; ``rhythm``: log odds of this
    shot beside those, nothing for one to come. Sources: configs/shots,
    constants.
    """
    k = w.k
    z = table_logit(w, player, distance_m)
    gap = clip(gap_m, 0.0, k.contest_cap_m)
    z += lookup(w, w.players[player].table, distance_m, 1) * (gap - k.reference_defender_m)
    if gap < k.smothered_m and distance_m > k.rim_range_m:
        z -= k.smothered_logit_per_m * (k.smothered_m - gap)
    if second_m < k.second_contest_m:
        z -= k.second_contest_logit * clip((k.second_contest_m - second_m) / SECOND_WIDTH_M, 0.0, 1.0)
    z += k.clock_logit_per_s * (clip(clock_s, 0.0, 24.0) - NO_HURRY_S) + rhythm
    if unset:
        z += k.off_dribble_logit
    return logistic(z)


@njit
def is_unset(w, c):
    """True for a shot off the dribble, or by a man who has held the ball too long for a catch-and-shoot."""
    return c.s.dribble == Dribble.DRIBBLING or c.s.t - c.s.catch_t > w.k.set_shot_s


@njit
def rhythm(w, s):
    """How well the handler stands for a shot of his own, log odds beside the table: per look, or drive.

    Balance, feet, hands on the ball: he feels it before he decides, so published makes are of the better
    ones (selection; Skinner 2012, PLoS ONE 7(1):e30776, has shots to come of a spread of quality, too).
    """
    u0, u1, _, _ = draws.uniforms(s, draws.RHYTHM, 1 if s.action == Action.DRIVE else 0, 0, s.n_looks)
    return w.k.shot_rhythm_logit * draws.normal(u0, u1)


@njit
def behind_board(x, y):
    """True where the board stands between the ball and the rim: nobody shoots through it."""
    return y < -BOARD_Y_M and abs(x) * BOARD_Y_M < -y * BOARD_HALF_M


@njit
def effective_gap(w, c, shooter, x, y):
    """(metres, agent, next metres) of the defender who bothers a shot from (x, y) most, and of the next one.

    A taller defender counts as nearer; one behind a shooter who faces the rim counts as farther.
    """
    k = w.k
    best = 99.0
    second = 99.0
    who = N_SIDE
    d_rim = math.sqrt(x * x + y * y)
    for i in range(N_SIDE, 2 * N_SIDE):
        a = c.agents[i]
        d = distance(a.x, a.y, x, y)
        if d > second + 1.0:
            continue
        if distance(a.x, a.y, 0.0, 0.0) > d_rim + 0.2:
            d *= k.behind_share
        d -= k.reach_contest_share * (w.players[i].reach_m - w.players[shooter].reach_m)
        if d < 0.0:
            d = 0.0
        if d < best:
            second = best
            best = d
            who = i
        elif d < second:
            second = d
    return best, who, second


@njit
def clumsiness(w, defender):
    """Factor of a defender on the rates of his fouls, 1 for an average one."""
    return 1.6 - 1.2 * w.players[defender].discipline


@njit
def foul_probability(w, clumsy, distance_m, gap_m):
    """Chance that a shot draws a foul: falls with the defender's distance, small far from the rim.

    ``clumsy`` is the defender's ``clumsiness``.
    """
    k = w.k
    p = k.shot_foul_p * math.exp(-gap_m / k.shot_foul_scale_m) * clumsy
    if distance_m > k.middle_range_m:
        return p * k.shot_foul_far_share
    if distance_m > k.rim_range_m:
        return p * (1.0 + k.shot_foul_far_share) * 0.5
    return p


@njit
def block_chance(k, taller_m, distance_m, gap_m):
    """Chance of a block by a defender whose reach is so much greater than the shooter's."""
    if distance_m > k.block_far_m:
        return 0.0
    p = k.block_p * math.exp(-gap_m / k.block_scale_m) * (1.0 + 2.0 * taller_m)
    return clip(p * (1.0 - 0.5 * distance_m / k.block_far_m), 0.0, 0.5)


@njit
def block_probability(w, shooter, defender, distance_m, gap_m):
    """Chance that a shot is blocked: near defenders, near the rim, taller reach."""
    return block_chance(w.k, w.players[defender].reach_m - w.players[shooter].reach_m, distance_m, gap_m)


@njit
def shot_value(w, player, distance_m, gap_m, second_m, three, clock_s, unset, rhythm):
    """Points the shooter expects: make, block and foul by an average man, an offensive rebound."""
    k = w.k
    p = make_probability(w, player, distance_m, gap_m, second_m, clock_s, unset, rhythm)
    points = 3.0 if three else 2.0
    foul = foul_probability(w, 1.0, distance_m, gap_m)
    clean = p * (1.0 - block_chance(k, 0.0, distance_m, gap_m))
    return (1.0 - foul) * (clean * points + (1.0 - clean) * k.rebound_value_points) + foul * (
        p * (points + w.players[player].free_throw) + (1.0 - p) * points * w.players[player].free_throw
    )
