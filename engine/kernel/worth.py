"""What having the ball is worth: by the clock, by the place, and what one's own shot must beat.

Source: falling threshold with the clock, Skinner 2012 (PLoS ONE 7(1):e30776), optimal stopping. Numbers:
measured on the possessions of the model (engine.study.beliefs).
"""

from __future__ import annotations

import math

from engine.kernel.drives import by_phase
from engine.kernel.jit import njit
from engine.state.words import Region

#: Beside the regions: the ball is held for a screen that is on its way.
SCREEN_PLACE = len(Region)
LEAST_PATIENCE_S = 4.0  # without a shot clock there is always so much
LAST_S = 0.8  # with less on the clock nothing but a shot is worth anything


@njit
def time_left(w, s):
    """Seconds the offence has for its attack: the shot clock, or without one its patience."""
    ru = w.rules
    if ru.shot_clock_s > 0.0:
        return s.clock_s
    left = ru.patience_s - s.t
    return left if left > LEAST_PATIENCE_S else LEAST_PATIENCE_S


@njit
def running_out(left_s, tau_s):
    """1 with much on the clock, falling to nothing as it runs out, with this time constant."""
    return 0.0 if left_s <= LAST_S else 1.0 - math.exp(-(left_s - LAST_S) / tau_s)


@njit
def carrying_on(w, left_s):
    """Points an attack brings with so much on the clock (measured)."""
    return w.k.hold_value_points * running_out(left_s, w.k.hold_tau_s)


@njit
def worth_at(k, region):
    """What the ball is worth more in this region, or held for a screen, than anywhere, points (measured)."""
    if region == SCREEN_PLACE:
        return k.worth_screen_points
    if region == Region.TOP or region == Region.SLOT:
        return k.worth_top_points
    if region == Region.WING:
        return k.worth_wing_points
    if region == Region.CORNER:
        return k.worth_corner_points
    if region == Region.SHORT_CORNER:
        return k.worth_short_corner_points
    if region == Region.HIGH_POST or region == Region.ELBOW:
        return k.worth_middle_points
    if region == Region.LOW_POST or region == Region.LANE or region == Region.RIM:
        return k.worth_low_points
    return k.worth_back_points


@njit
def reluctance(w, player, three, left_s):
    """Points that ``player`` asks of his twos or threes beside what going on is worth; below 0 he is eager.

    Of threes all ask more: teams take fewer than pay (their share of all shots has risen year by year). It
    fades with what going on is worth: a habit of who can wait.
    """
    p = w.players[player]
    own = p.reluctance_two_points
    if three:
        own = p.reluctance_three_points + w.k.reluctance_threes_points
    return own * running_out(left_s, w.k.hold_tau_s)


@njit
def fear_offset(k, phase):
    """How this level reads the risk of a pass in each phase of a trap, log odds (measured)."""
    return by_phase(phase, k.belief_loss_home, k.belief_loss_coming, k.belief_loss_set, k.belief_loss_after)
