"""Court pictures for the page, as SVG that stands in it: where shots come from, and late passes on the floor.

Drawn by matplotlib, which is imported only here. Colour is never alone: every area has its number in it,
every mark its shape. Frame as in the model (metres, the basket at the bottom, right is the defence's right).
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import matplotlib
import numpy as np
from markupsafe import escape
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Arc, Circle, Polygon, Rectangle
from matplotlib.typing import ColorType
from numpy.typing import NDArray

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.inputs.scenario import Scenario
from engine.state.words import REGIONS
from engine.still.holes import scenario_setup
from engine.still.picture import picture_of
from engine.world.court import Court

#: Perceptually even, also for those who cannot tell red from green; light is few, dark is many.
MAP = "cividis_r"
INK, LINE, FLOOR = "#16202b", "#6d6a60", "#fbfaf6"
#: Regions of the floor that get a share of their own in the picture of shots.
SHOT_REGIONS = tuple(region for region in REGIONS if region != "backcourt")
SIDE_WORDS = {1: "right", -1: "left"}
WIDTH_IN = 4.3
MOST_LATE = 5
#: A share below this is in the table, not in the picture.
LEAST_SHOWN = 0.005
_SETTINGS: Found = {
    "svg.fonttype": "none",
    "font.family": ["sans-serif"],
    "font.size": 10.0,
    "axes.linewidth": 0.0,
}


@contextmanager
def _style(salt: str) -> Iterator[None]:
    settings: Any = _SETTINGS | {"svg.hashsalt": salt}
    with matplotlib.rc_context(settings):
        yield


# --- shares ---------------------------------------------------------------------------------------------


def shares_of(shots: Sequence[Found]) -> dict[tuple[str, int], float]:
    """(region, side 1 or -1) -> share of the shots; the lane, rim, top and high post have no side (1)."""
    counts: dict[tuple[str, int], int] = {}
    for shot in shots:
        key = (shot["region"], _side(shot["region"], shot["x_m"]))
        counts[key] = counts.get(key, 0) + 1
    return {key: n / len(shots) for key, n in counts.items()}


#: Regions across the middle: both halves of the drawing are one region.
WHOLE = ("top", "high_post", "lane", "rim")


def _side(region: str, x_m: float) -> int:
    return 1 if region in WHOLE or x_m >= 0.0 else -1


def place_words(key: tuple[str, int], called: bool) -> str:
    """``corner, ball side`` (the call is on the right), or ``corner, right`` where nothing is mirrored."""
    region, side = key
    if region in WHOLE:
        return spoken(region)
    if called:
        return f"{spoken(region)}, {'ball side' if side > 0 else 'far side'}"
    return f"{spoken(region)}, {SIDE_WORDS[side]}"


# --- drawing --------------------------------------------------------------------------------------------


def _figure(court: Court) -> tuple[Figure, Axes]:
    """An empty half court; the axes are in metres."""
    width, height = 2 * court.half_width_m + 0.4, court.half_y_m - court.baseline_y_m + 0.4
    figure = Figure(figsize=(WIDTH_IN, WIDTH_IN * height / width))
    axis = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axis.set_xlim(-width / 2, width / 2)
    axis.set_ylim(court.baseline_y_m - 0.2, court.half_y_m + 0.2)
    axis.set_aspect("equal")
    axis.set_axis_off()
    return figure, axis


def _court_lines(axis: Axes, court: Court) -> None:
    half, base, line = court.half_width_m, court.baseline_y_m, court.free_throw_y_m
    about: Found = {"fill": False, "edgecolor": LINE, "linewidth": 1.1, "zorder": 3}
    axis.add_patch(
        Rectangle(
            (-half, base), 2 * half, court.half_y_m - base, **about | {"edgecolor": INK, "linewidth": 1.6}
        )
    )
    lane = court.lane_half_width_m
    axis.add_patch(Rectangle((-lane, base), 2 * lane, line - base, **about))
    turn = math.degrees(math.atan2(court.corner_break_y_m, court.corner_x_m))
    size = 2 * court.arc_m
    axis.add_patch(
        Arc((0, 0), size, size, theta1=turn, theta2=180 - turn, edgecolor=LINE, linewidth=1.1, zorder=3)
    )
    for x in (-court.corner_x_m, court.corner_x_m):
        axis.plot([x, x], [base, court.corner_break_y_m], color=LINE, linewidth=1.1, zorder=3)
    axis.add_patch(Circle((0, 0), 0.225, **about | {"edgecolor": INK, "linewidth": 1.4}))


def _areas(court: Court, region: str, side: int) -> list[NDArray[np.float64]]:
    """Corners of a region on a side (float64[n, 2]); of a region without sides both halves."""
    half = np.asarray(court.polygons[region], dtype=np.float64)
    mirrored = half * np.array([-1.0, 1.0])
    if region in WHOLE:
        return [half, mirrored]
    return [half if side > 0 else mirrored]


def _label_at(court: Court, region: str, side: int) -> tuple[float, float]:
    """Where the number of a region stands: the middle of its area within the half court."""
    x, y = np.meshgrid(
        np.arange(0.1, court.half_width_m, 0.2), np.arange(court.baseline_y_m, court.half_y_m, 0.2)
    )
    inside = court.regions_at(x, y) == REGIONS.index(region)
    if not inside.any():
        return court.spot("rim")
    at = (0.0 if region in WHOLE else side * float(x[inside].mean()), float(y[inside].mean()))
    return (at[0], at[1] + 0.75) if region == "lane" else at


def shots_svg(court: Court, shots: Sequence[Found], open_m: float, most: float, name: str, words: str) -> str:
    """Areas by their share of the shots, every shot a mark: a small ring, a filled diamond where it was open.

    ``most``: the share that is darkest, so that two pictures compare. ``words``: what is seen, for those who
    do not see it; ``name``: prefix of the ids.
    """
    colours = matplotlib.colormaps[MAP]
    shares = shares_of(shots)
    with _style(name):
        figure, axis = _figure(court)
        for region in SHOT_REGIONS:
            for side in (1,) if region in WHOLE else (1, -1):
                share = shares.get((region, side), 0.0)
                colour = colours(0.02 + 0.9 * min(share / most, 1.0)) if share else FLOOR
                for corners in _areas(court, region, side):
                    axis.add_patch(
                        Polygon(corners, facecolor=colour, edgecolor=colour, linewidth=0.4, zorder=1)
                    )
                if share < LEAST_SHOWN:
                    continue
                ink = "#ffffff" if _luminance(colour) < 0.4 else INK
                at = _label_at(court, region, side)
                axis.text(*at, f"{100 * share:.0f}", ha="center", va="center", color=ink, fontsize=13,
                          fontweight="bold", zorder=6)  # fmt: skip
        _court_lines(axis, court)
        guarded = [shot for shot in shots if shot["gap_m"] < open_m]
        free = [shot for shot in shots if shot["gap_m"] >= open_m]
        axis.scatter(
            [one["x_m"] for one in guarded], [one["y_m"] for one in guarded], s=9, facecolor="none",
            edgecolor="#3a3a3a", linewidth=0.7, zorder=4,
        )  # fmt: skip
        axis.scatter(
            [one["x_m"] for one in free], [one["y_m"] for one in free], s=42, marker="D", facecolor="#000000",
            edgecolor="#ffffff", linewidth=1.1, zorder=5,
        )  # fmt: skip
        return inline(figure, name, words)


def _luminance(colour: ColorType) -> float:
    """Relative luminance of a colour (WCAG 2, from memory)."""
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def late_svg(court: Court, links: Sequence[Found], name: str, words: str) -> str:
    """The worst passes as numbered arrows; a dotted ring round the receiver is as wide as he is open."""
    colours = matplotlib.colormaps["cividis"]
    with _style(name):
        figure, axis = _figure(court)
        base = court.baseline_y_m
        axis.add_patch(
            Rectangle((-court.half_width_m, base), 2 * court.half_width_m, court.half_y_m - base,
                      facecolor=FLOOR, zorder=0)
        )  # fmt: skip
        _court_lines(axis, court)
        for i, link in reversed(list(enumerate(links))):
            colour = colours(0.7 * i / max(MOST_LATE - 1, 1))
            start, end = (link["x0_m"], link["y0_m"]), (link["x_m"], link["y_m"])
            axis.add_patch(Circle(end, max(link["gap_m"], 0.3), fill=False, edgecolor=colour, linewidth=1.0,
                                  linestyle=":", zorder=2))  # fmt: skip
            axis.annotate(
                "", xy=end, xytext=start, zorder=5,
                arrowprops={"arrowstyle": "-|>", "color": colour, "linewidth": 2.4, "shrinkB": 2,
                            "mutation_scale": 15, "linestyle": "--" if link["kind"] == "skip" else "-"},
            )  # fmt: skip
        along = [_between(link, 0.45) for link in links]
        for i, (x, y) in enumerate(_apart(along)):
            axis.scatter([x], [y], s=200, facecolor="#ffffff", edgecolor=INK, linewidth=1.4, zorder=7)
            axis.text(x, y - 0.03, str(i + 1), ha="center", va="center", fontsize=11, fontweight="bold",
                      color=INK, zorder=8)  # fmt: skip
        return inline(figure, name, words)


def _between(link: Found, share: float) -> tuple[float, float]:
    return (
        link["x0_m"] + share * (link["x_m"] - link["x0_m"]),
        link["y0_m"] + share * (link["y_m"] - link["y0_m"]),
    )


def _apart(places: Sequence[tuple[float, float]], least_m: float = 1.05) -> list[tuple[float, float]]:
    """Places for the numbers: one that would cover an earlier one moves along the way out from it."""
    found: list[tuple[float, float]] = []
    for x, y in places:
        while any(math.dist((x, y), other) < least_m for other in found):
            y += 0.4
        found.append((x, y))
    return found


def late_places(scenario: Scenario, links: Sequence[Found]) -> list[Found]:
    """The links with where the passer and the receiver stand (metres), the ball's side on the right."""
    setup = scenario_setup(scenario, scenario.zone, scenario.zone_options)
    found = []
    for link in links:
        picture = picture_of(setup, link["from"], link["side"])
        (x0, y0), (x, y) = picture.ball, picture.attackers[link["position"]]
        found.append(link | {"x0_m": x0, "y0_m": y0, "x_m": x, "y_m": y})
    return found


# --- SVG that can stand in a page -------------------------------------------------------------------------


def inline(figure: Figure, name: str, words: str) -> str:
    """The figure as an <svg> element: own ids, no style sheet, no size of its own, named by ``words``."""
    out = io.StringIO()
    figure.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r"<defs>\s*<style[^>]*>.*?</style>\s*</defs>", "", text, flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->", "", text, flags=re.DOTALL)
    text = re.sub(r' style="([^"]*)"', lambda found: _attributes(found[1]), text)
    text = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', text)
    text = re.sub(r'(href="|url\()#', rf"\1#{name}-", text)
    head = re.search(r'viewBox="([^"]+)"', text)
    assert head is not None
    about = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'viewBox="{head[1]}" role="img" aria-label="{escape(words)}" class="court" '
        'stroke-linejoin="round" stroke-linecap="butt">'
    )
    return re.sub(r"<svg.*?>", lambda _: about, text, count=1, flags=re.DOTALL)


def _attributes(style: str) -> str:
    """Declarations of a style attribute as attributes of SVG, which the page's policy allows."""
    found: Mapping[str, str] = dict(
        (key.strip(), value.strip())
        for key, _, value in (part.partition(":") for part in style.split(";"))
        if value
    )
    parts = []
    for key, value in found.items():
        if key == "font":
            size = re.search(r"([\d.]+)px", value)
            bold = re.match(r"(bold|\d{3})\b", value)
            parts.append(f' font-size="{size[1] if size else "10"}"')
            if bold:
                parts.append(f' font-weight="{bold[1]}"')
        elif key != "font-family":
            parts.append(f' {key}="{value}"')
    return "".join(parts)
