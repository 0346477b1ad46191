"""Where shots come from, as a court for the page: areas by their share, every shot a mark.

Colour is never alone: every area has its number in it, every mark its shape.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import matplotlib
import numpy as np
from matplotlib.colors import to_hex, to_rgb
from scipy.ndimage import binary_erosion

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.page.court_card import on_screen
from engine.report.replay.data import court_drawing
from engine.state.words import REGIONS
from engine.world.court import Court

#: Perceptually even, also for those who cannot tell red from green: pale is few, dark and strong is much. The
#: palest and the darkest part are left out.
MAP, PALE, STRONG = "magma_r", 0.02, 0.82
INK, WHITE = "#000000", "#ffffff"
#: Regions of the floor that get a share of their own in the picture of shots.
SHOT_REGIONS = tuple(region for region in REGIONS if region != "backcourt")
#: Regions across the middle: both halves of the drawing are one region.
WHOLE = ("top", "high_post", "lane", "rim")
SIDE_WORDS = {1: "right", -1: "left"}
#: A share below this is in the words, not in the picture.
LEAST_SHOWN = 0.005
#: A number takes so much room to each side, on the page the ring, too; grid on which its place is sought
#: (metres).
NUMBER_M, GRID_M = 0.6, 0.2


def colour(share: float, most: float) -> str:
    """Colour of an area by its share of the largest share."""
    return to_hex(matplotlib.colormaps[MAP](PALE + (STRONG - PALE) * min(share / most, 1.0)))


def luminance(name: str) -> float:
    """Relative luminance of a colour (WCAG 2, from memory)."""
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(name)]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(one: str, other: str) -> float:
    """Contrast of two colours, 1 to 21 (WCAG 2, from memory)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def ink_on(fill: str) -> str:
    """Black or white, whichever tells from a colour: one of them has a contrast of 4.5 or more with any."""
    return max((INK, WHITE), key=lambda ink: contrast(ink, fill))


def _side(region: str, x_m: float) -> int:
    return 1 if region in WHOLE or x_m >= 0.0 else -1


def shares_of(shots: Sequence[Found]) -> dict[tuple[str, int], float]:
    """(region, side 1 or -1) -> share of the shots; the lane, rim, top and high post have no side (1)."""
    counts: dict[tuple[str, int], int] = {}
    for shot in shots:
        key = (shot["region"], _side(shot["region"], shot["x_m"]))
        counts[key] = counts.get(key, 0) + 1
    return {key: n / len(shots) for key, n in counts.items()}


def place_words(key: tuple[str, int], called: bool) -> str:
    """``corner, ball side`` (the call is on the right), or ``corner, right`` where nothing is mirrored."""
    region, side = key
    if region in WHOLE:
        return spoken(region)
    if called:
        return f"{spoken(region)}, {'ball side' if side > 0 else 'far side'}"
    return f"{spoken(region)}, {SIDE_WORDS[side]}"


def label_at(
    court: Court, region: str, side: int, taken: Sequence[tuple[float, float]]
) -> tuple[float, float]:
    """Where the number of a region stands, metres: inside its area within the half court, as far from marks,
    other numbers (``taken``) and the area's edge as needed (NUMBER_M), else as far as there is room."""
    x, y = np.meshgrid(
        np.arange(-court.half_width_m, court.half_width_m, GRID_M) + GRID_M / 2,
        np.arange(court.baseline_y_m, court.half_y_m, GRID_M) + GRID_M / 2,
    )
    inside = court.regions_at(x, y) == REGIONS.index(region)
    if region not in WHOLE:
        inside &= x * side > 0.0
    if not inside.any():
        return court.spot("rim")
    edge = np.pad(inside, 1)
    depth = np.zeros(inside.shape)
    while edge.any():  # steps to the edge of the area
        depth += edge[1:-1, 1:-1] * GRID_M
        edge = binary_erosion(edge)
    board_x, board_y = (value / 100.0 for value in court_drawing(court)["board"])
    board = [(part * board_x, -board_y) for part in (-1.0, -0.5, 0.0, 0.5, 1.0)]
    spots = np.array([*taken, court.spot("rim"), *board])
    free = np.hypot(x[..., None] - spots[:, 0], y[..., None] - spots[:, 1]).min(axis=-1)
    middle = np.hypot(x - x[inside].mean(), y - y[inside].mean())
    room = np.minimum(np.minimum(free, depth), NUMBER_M) - 1e-3 * middle
    best = np.unravel_index(np.where(inside, room, -np.inf).argmax(), inside.shape)
    return float(x[best]), float(y[best])


def _points(court: Court, region: str, side: int) -> list[str]:
    """Corners of a region as points of polygons; a region without sides has both halves."""
    half = [(float(x), float(y)) for x, y in court.polygons[region]]
    sides = (1, -1) if region in WHOLE else (side,)
    return [" ".join("{:.0f},{:.0f}".format(*on_screen((of * x, y))) for x, y in half) for of in sides]


def shots_card(court: Court, shots: Sequence[Found], open_m: float, most: float, words: str) -> Found:
    """The drawing. ``most``: the share that is strongest, so that two pictures compare."""
    shares = shares_of(shots)
    areas: list[Found] = []
    taken = [(shot["x_m"], shot["y_m"]) for shot in shots]
    for region in SHOT_REGIONS:
        for side in (1,) if region in WHOLE else (1, -1):
            share = shares.get((region, side), 0.0)
            if not share:
                continue
            fill = colour(share, most)
            label = label_at(court, region, side, taken)
            taken += [label] * (share >= LEAST_SHOWN)
            x, y = on_screen(label)
            areas.append(
                {
                    "points": _points(court, region, side),
                    "fill": fill,
                    "ink": ink_on(fill),
                    "share": f"{100 * share:.0f}" if share >= LEAST_SHOWN else "",
                    "at": (round(x), round(y)),
                }
            )
    marks = []
    for shot in shots:
        x, y = on_screen((shot["x_m"], shot["y_m"]))
        marks.append({"at": (round(x), round(y)), "open": shot["gap_m"] >= open_m})
    frame = court_drawing(court)
    x, y, width, height = (float(part) for part in frame["view"].split())
    frame["view"] = (
        f"{x + 40:.0f} {frame['half_y'] - 30} {width - 80:.0f} {y + height - frame['half_y'] - 10:.0f}"
    )
    return {"court": frame, "areas": areas, "marks": marks, "words": words}


def sampling_words(n: int) -> str:
    """How far a share of one in five can be off by the luck of ``n`` shots, in shots of 100."""
    return f"{196 * math.sqrt(0.2 * 0.8 / max(n, 1)):.0f}"


def ramp(steps: int = 5) -> list[str]:
    """Colours from few to much, for the key."""
    found = [colour(i / (steps - 1), 1.0) for i in range(steps)]
    assert all(luminance(a) > luminance(b) for a, b in pairwise(found))
    return found
