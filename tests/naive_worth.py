"""Parts of what options are worth (offence, sections 3.2, 3.3 and 4: hold value, numbers, ways, beliefs).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from naive_basics import DRIVE, REGIONS, clip, dist, logistic, rim_distance, segment
from naive_state import Possession

#: The regions of each of the constants worth_*_points.
WORTH = {
    "top": ("top", "slot"),
    "wing": ("wing",),
    "corner": ("corner",),
    "short_corner": ("short_corner",),
    "middle": ("high_post", "elbow"),
    "low": ("low_post", "lane", "rim"),
    "back": ("backcourt", "half_court_corner"),
}
WORTH_OF = {region: f"worth_{name}_points" for name, regions in WORTH.items() for region in regions}


def worth_at(p: Possession, region: int) -> float:
    """at(region)."""
    return p.k[WORTH_OF[REGIONS[region]]]


def carrying_on(p: Possession, left: float) -> float:
    """V(left)."""
    if left <= 0.8:
        return 0.0
    return p.k["hold_value_points"] * (1.0 - math.exp(-(left - 0.8) / p.k["hold_tau_s"]))


def fading(p: Possession, left: float) -> float:
    """What is left of every reluctance with so much time: it fades with what carrying on is worth."""
    return 0.0 if left <= 0.8 else 1.0 - math.exp(-(left - 0.8) / p.k["hold_tau_s"])


def worth_of_numbers(p: Possession, x: float, y: float, who: int, time_s: float) -> float:
    """N(x, y, who, s)."""
    k = p.k
    d = rim_distance(x, y)
    if d > k["numbers_reach_m"]:
        return 0.0
    delay = clip(time_s, 0.0, k["reaction_s"])
    n = 1
    for i in p.attackers:
        if i != who and p.from_rim(i) < d:
            n += 1
    for i in p.defenders:
        if p.runs_to(i, 0.0, 0.0, delay, time_s - delay) < d + 0.5:
            n -= 1
    if n <= 0:
        return 0.0
    return (1.0 if n == 1 else 2.0) * k["numbers_value_points"] * (1.0 - d / k["numbers_reach_m"])


def clearance(p: Possession, px: float, py: float, qx: float, qy: float, speed: float) -> float:
    """How much room the defenders leave on a way from P to Q."""
    k = p.k
    best = 99.0
    time_s = dist(px, py, qx, qy) / speed
    delay = clip(time_s, 0.0, k["reaction_s"])
    for i in p.defenders:
        a = p.agents[i]
        d, f = segment(a.x + delay * a.vx, a.y + delay * a.vy, px, py, qx, qy)
        if f < 0.02 and d > 0.4:
            continue
        run = f * time_s - delay
        if run > 0.0:
            x, y = px + f * (qx - px), py + f * (qy - py)
            g = p.gap_left(i, x, y, p.player(i).slide, k["slide_tau_s"], delay, run)
            d -= 0.5 * (d - g)
        best = min(best, d)
    return best


def gap_at_the_end(p: Possession, off_a_screen: bool, x: float, y: float, time_s: float) -> float:
    """How near a defender can be to the end of a drive by the time a shot leaves there."""
    if not off_a_screen:
        return p.nearest_in(time_s, x, y)
    late_s = time_s - p.k["screen_lost_s"]
    own = p.man_in(p.screened, late_s, x, y)
    gap = min(p.nearest_in(time_s, x, y, left_out=p.screened), own)
    in_time = "before any" if late_s < 0.0 else "in time" if late_s > p.k["reaction_s"] else "too late"
    p.met[f"screened, {in_time}"] += 1
    if clip(gap, -4.0, 2.0) != clip(p.nearest_in(time_s, x, y), -4.0, 2.0):
        p.met["his lateness changes the chance"] += 1
    if gap == own:
        p.met["screened, the nearest still"] += 1
    return gap


def chance_of_a_drive(p: Possession, gap: float) -> float:
    """The chance that a drive ends in a shot of the handler's own."""
    k = p.k
    limited = clip(gap, -4.0, 2.0)
    if limited != gap:
        p.met[f"chance of a drive, gap limited to {limited:.0f}"] += 1
    z = k["belief_reach_base"]
    z += k["belief_reach_per_m"] * (limited + k["drive_handle_m"] * (p.player(p.handler).handle - 0.5))
    return logistic(z + k["belief_reach_in_hand"] if p.action == DRIVE else z)


def expected_gap(p: Possession, what: str, least: float) -> float:
    """Of an own shot ("own_", no limit), at the end of a drive ("end_"), of who gets a pass ("")."""
    base, share = p.k[f"belief_{what}gap_m"], p.k[f"belief_{what}gap_share"]
    gap = base + share * least
    if base != 0.0 and share != 1.0:
        p.met[f"{what}gap expected, {'above' if gap > 0.3 else 'not above'} 0.3"] += 1
    return gap if gap > 0.3 or what == "own_" else 0.3


def brings_more(p: Possession, what: str, words: str) -> float:
    """A belief of so many points beside, noted in these words where it is not nothing."""
    more = p.k[f"belief_{what}_points"]
    if more != 0.0:
        p.met[words] += 1
    return more


def believed(chance: float, offset: float, slope: float) -> float:
    """A raw chance as players have learned to read it."""
    chance = clip(chance, 0.0005, 0.9995)
    return logistic(offset + slope * math.log(chance / (1.0 - chance)))


def behind_the_board(x: float, y: float) -> bool:
    return y < -0.375 and 0.375 * abs(x) < -0.9 * y


@dataclass
class Weighed:
    """One option as the handler sees it."""

    value: float
    x: float = 0.0
    y: float = 0.0
    end_x: float = 0.0
    end_y: float = 0.0
    kind: int = 0
    raw: float = 0.0
    gap: float = 0.0
    promise: float = 0.0
    ahead: float = 0.0
    place: int = 0
