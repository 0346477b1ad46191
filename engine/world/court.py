"""From a rule set to the floor: lines, three-point area, ball regions, named spots.

Frame: origin on the floor under the rim's centre, x across, y away from the baseline, metres. The
layout of regions and spots is data (configs/court/regions.toml), written for x >= 0 in named lines of
the rule set and mirrored for x < 0; regions have no side.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import BeforeValidator, Field

from engine.errors import InputError, MissingInput
from engine.inputs.base import Frozen, Text, nearest, not_allowed, parse, unknown_key
from engine.inputs.files import Source, read_toml, shown_path
from engine.inputs.rules import Rules
from engine.shipped import configs_root
from engine.state.words import REGIONS

Floats = NDArray[np.float64]

#: How much of the backcourt beyond the half-court line is modelled, metres (the scope of the model).
BACKCOURT_DEPTH_M = 3.5
#: Spacing of the points at which a layout is checked to cover the court exactly once, metres.
CHECK_CELL_M = 0.1

# --- the file ------------------------------------------------------------------------------------------


class Term(NamedTuple):
    """One coordinate: a named line ("" for none) plus an offset in metres."""

    line: str
    offset_m: float


@dataclass(frozen=True)
class Place:
    """A place as written: two coordinates, or polar round the rim (degrees, metres)."""

    x: Term | None = None
    y: Term | None = None
    angle_deg: float = 0.0
    beyond_arc_m: float | None = None
    radius_m: float = 0.0


_TERM = re.compile(r"([a-z][a-z_]*)\s*(?:([+-])\s*(\d+(?:\.\d+)?))?")
_PLACE_WORDS = (
    '[x, y] with numbers (metres) or named lines such as "lane+0.4", or {angle_deg, beyond_arc_m}, or '
    "{angle_deg, radius_m}"
)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _term(value: object) -> Term:
    if isinstance(value, int | float) and _is_number(value):
        return Term("", float(value))
    if isinstance(value, str) and (found := _TERM.fullmatch(value.strip())):
        line, sign, number = found.groups()
        return Term(line, float(f"{sign}{number}") if number else 0.0)
    raise not_allowed(_PLACE_WORDS)


def _place(value: object) -> object:
    if isinstance(value, Place):
        return value
    if isinstance(value, list | tuple) and len(value) == 2:
        return Place(x=_term(value[0]), y=_term(value[1]))
    if (
        isinstance(value, dict)
        and set(value) in ({"angle_deg", "beyond_arc_m"}, {"angle_deg", "radius_m"})
        and all(_is_number(v) for v in value.values())
    ):
        return Place(**value)
    raise not_allowed(_PLACE_WORDS)


def _line(value: object) -> object:
    return value if isinstance(value, Term) else _term(value)


PlaceField = Annotated[Place, BeforeValidator(_place)]
Corners = Annotated[tuple[Text, ...], Field(min_length=3)]


class Layout(Frozen):
    """The file of regions and spots, not yet placed on the court of a rule set."""

    lines: dict[str, Annotated[Term, BeforeValidator(_line)]] = Field(
        default_factory=dict, description="further named lines for y"
    )
    points: dict[str, PlaceField] = Field(description="named corners of the regions")
    regions: dict[str, Corners] = Field(description="region -> its corners in order")
    spots: dict[str, PlaceField] = Field(description="named spots")


def load_layout(path: Path | None = None) -> tuple[Layout, str]:
    """Read the regions and spots (default: the shipped court/regions.toml): the layout, and the name shown.

    Raises InputError: unknown region or corner, a region missing, a place that cannot be read.
    """
    path = configs_root() / "court" / "regions.toml" if path is None else path
    source = Source(path, shown_path(path))
    where = str(source)
    layout = parse(Layout, read_toml(source), where)
    for region, corners in layout.regions.items():
        if region not in REGIONS:
            raise unknown_key(where, f"regions.{region}", region, REGIONS)
        for corner in corners:
            if corner not in layout.points:
                hint = nearest(corner, layout.points)
                raise InputError(where, f"regions.{region}", corner, f"a name of the table points{hint}")
        if len(set(corners)) != len(corners):
            twice = next(c for c in corners if corners.count(c) > 1)
            raise InputError(where, f"regions.{region}", twice, "every corner named once")
    for region in REGIONS:
        if region not in layout.regions:
            raise MissingInput(where, f"regions.{region}", "the corners of this region")
    return layout, where


# --- the court -----------------------------------------------------------------------------------------


class RegionGrid(NamedTuple):
    """Regions on square cells: ``region[i, j]`` is the region of the centre of cell (i, j).

    The centre is at |x| = (i + 0.5) * cell_m, y = y0_m + (j + 0.5) * cell_m.
    """

    region: NDArray[np.int8]
    y0_m: float
    cell_m: float


@dataclass(frozen=True, eq=False)
class Court:
    """The half court of one rule set, metres (see the module for the frame).

    ``polygons`` maps each region to its corners, float64[n, 2], counter-clockwise, for x >= 0.
    ``spots`` maps each named spot to (x, y) on the side x >= 0.
    """

    half_width_m: float
    baseline_y_m: float
    half_y_m: float
    far_y_m: float
    lane_half_width_m: float
    free_throw_y_m: float
    arc_m: float
    corner_x_m: float
    corner_break_y_m: float
    no_charge_m: float
    polygons: Mapping[str, Floats]
    spots: Mapping[str, tuple[float, float]]

    @cached_property
    def _edges(self) -> dict[str, tuple[Floats, ...]]:
        return {name: _edges(polygon) for name, polygon in self.polygons.items()}

    def is_three(self, x: float, y: float) -> bool:
        """Whether a shot from (x, y) counts three: beyond the outer edge of the line, on it is a two.

        Source: FIBA Official Basketball Rules Art. 2.4.4 (the line belongs to the two-point area).
        """
        if y <= self.corner_break_y_m:
            return abs(x) > self.corner_x_m
        return math.hypot(x, y) > self.arc_m

    def contains(self, x: float, y: float) -> bool:
        """Whether (x, y) is in bounds and within the modelled floor; sidelines and baseline are out."""
        return abs(x) < self.half_width_m and self.baseline_y_m < y <= self.far_y_m

    def regions_at(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.int8]:
        """Indices into ``engine.state.words.REGIONS`` for points of any common shape (exact, by polygon).

        A point off the court has the region of the nearest point on it. Raises ValueError for a
        coordinate that is not a number.
        """
        across, along = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
        px = np.minimum(np.abs(across), np.nextafter(self.half_width_m, 0.0)).ravel()
        py = np.clip(along, self.baseline_y_m, np.nextafter(self.far_y_m, 0.0)).ravel()
        found = np.full(px.shape, -1, dtype=np.int8)
        for i, region in enumerate(REGIONS):
            found[_inside(self._edges[region], px, py)] = i
        if (found < 0).any():
            raise ValueError("x and y must be numbers")
        return found.reshape(across.shape)

    def region_at(self, x: float, y: float) -> str:
        """The name of the region at (x, y); see ``regions_at``."""
        return REGIONS[int(self.regions_at(x, y))]

    def region_grid(self, cell_m: float = 0.1) -> RegionGrid:
        """The regions as a table for the compiled code: int8[nx, ny] over |x| and y; see RegionGrid.

        The cells reach at least to the sideline and to ``far_y_m``. Raises ValueError when ``cell_m`` is
        not above 0.
        """
        if not cell_m > 0.0:
            raise ValueError(f"cell_m must be above 0, not {cell_m!r}")
        nx = math.ceil(self.half_width_m / cell_m)
        ny = math.ceil((self.far_y_m - self.baseline_y_m) / cell_m)
        x = (np.arange(nx) + 0.5) * cell_m
        y = self.baseline_y_m + (np.arange(ny) + 0.5) * cell_m
        return RegionGrid(self.regions_at(x[:, None], y[None, :]), self.baseline_y_m, cell_m)

    def spot(self, name: str, side: int = 1) -> tuple[float, float]:
        """Where a named spot is, on the side x >= 0 (side = 1) or x <= 0 (side = -1).

        Raises InputError for an unknown name.
        """
        if name not in self.spots:
            names = ", ".join(self.spots)
            raise InputError("court", "spot", name, f"one of {names}{nearest(name, self.spots)}")
        x, y = self.spots[name]
        return (x if side >= 0 or x == 0.0 else -x), y


def _edges(polygon: Floats) -> tuple[Floats, ...]:
    """Edges of a polygon but the level ones: x and y of the lower end, y of the upper one, dx / dy, each
    float64[edges, 1]."""
    start, end = polygon, np.roll(polygon, -1, axis=0)
    slanted, up = start[:, 1] != end[:, 1], (start[:, 1] < end[:, 1])[:, None]
    x_low, y_low = np.where(up, start, end)[slanted].T[..., None]
    x_high, y_high = np.where(up, end, start)[slanted].T[..., None]
    return x_low, y_low, y_high, (x_high - x_low) / (y_high - y_low)


def _inside(edges: tuple[Floats, ...], x: Floats, y: Floats) -> NDArray[np.bool_]:
    """Which points lie in a polygon: even-odd rule with half-open edges (a ray to the right).

    Every edge is taken from its lower to its upper end, so that two polygons sharing an edge compute the
    same crossing to the last bit: a point near it belongs to exactly one of them. Method: J. O'Rourke,
    Computational Geometry in C (2nd ed. 1998), section 7.4 (from memory).
    """
    x_low, y_low, y_high, slope = edges
    crossed = (y_low <= y) & (y < y_high) & (x < x_low + (y - y_low) * slope)
    return np.asarray(np.logical_xor.reduce(crossed, axis=0))


def _area(polygon: Floats) -> float:
    x, y = polygon.T
    return 0.5 * float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


# --- from rule set and layout to the court -------------------------------------------------------------


class _Lines(NamedTuple):
    x: dict[str, float]
    y: dict[str, float]
    arc_m: float


def _value(term: Term, lines: dict[str, float], where: str, key: str) -> float:
    if not term.line:
        return term.offset_m
    if term.line not in lines:
        hint = nearest(term.line, lines)
        raise InputError(where, key, term.line, f"a number or one of the lines {', '.join(lines)}{hint}")
    return lines[term.line] + term.offset_m


def _resolve(place: Place, lines: _Lines, where: str, key: str) -> tuple[float, float]:
    if place.x is not None and place.y is not None:
        return _value(place.x, lines.x, where, key), _value(place.y, lines.y, where, key)
    radius = place.radius_m if place.beyond_arc_m is None else lines.arc_m + place.beyond_arc_m
    angle = math.radians(place.angle_deg)
    return radius * math.cos(angle), radius * math.sin(angle)


def _check_lines(court: Court, where: str) -> None:
    """Free-throw line, arc and half court in this order (the rule set's own check has the rest)."""
    if not 0.0 < court.free_throw_y_m < court.arc_m < court.half_y_m:
        raise InputError(
            where,
            "three_point.arc_radius_m",
            court.arc_m,
            f"between free-throw line ({court.free_throw_y_m:g}) and half court ({court.half_y_m:g}), metres",
        )


def _check_edges(court: Court, layout: Layout, points: dict[str, tuple[float, float]], where: str) -> None:
    """Every edge is shared by two regions or lies on the outline of the half court."""
    uses: Counter[frozenset[str]] = Counter()
    for corners in layout.regions.values():
        uses.update(frozenset(pair) for pair in zip(corners, corners[1:] + corners[:1], strict=True))
    for region, corners in layout.regions.items():
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
            ends = (points[a], points[b])
            outline = ((0, 0.0), (0, court.half_width_m), (1, court.baseline_y_m), (1, court.far_y_m))
            expected = 1 if any(ends[0][axis] == ends[1][axis] == value for axis, value in outline) else 2
            if uses[frozenset((a, b))] != expected:
                raise InputError(
                    where,
                    f"regions.{region}",
                    f"{a} - {b}",
                    "an edge on the court's outline or shared by exactly two regions "
                    "(list the corners that lie on it in both)",
                )


def _check_cover(court: Court, where: str, rules_name: str) -> None:
    """Every point of the half court lies in exactly one region."""
    width, length = court.half_width_m, court.far_y_m - court.baseline_y_m
    nx, ny = math.ceil(width / CHECK_CELL_M), math.ceil(length / CHECK_CELL_M)
    x, y = np.meshgrid(
        (np.arange(nx) + 0.5) * (width / nx),
        court.baseline_y_m + (np.arange(ny) + 0.5) * (length / ny),
        indexing="ij",
    )
    x, y = x.ravel(), y.ravel()
    covered = np.zeros(x.shape, dtype=np.int64)
    for edges in court._edges.values():
        covered += _inside(edges, x, y)
    total = sum(_area(polygon) for polygon in court.polygons.values())
    if (covered != 1).any() or abs(total - width * length) > 1e-6:
        bad = int(np.argmax(covered != 1))
        raise InputError(
            where,
            "regions",
            f"({x[bad]:.2f}, {y[bad]:.2f})",
            f"every point of the court in exactly one region; with rule set {rules_name!r} this one is in "
            f"{covered[bad]}",
        )


def build_court(rules: Rules, regions_path: Path | None = None) -> Court:
    """The court of a rule set, with regions and spots from ``regions_path`` (default: the shipped file).

    The straight three-point line meets the arc at y = sqrt(arc^2 - corner_line^2).

    Raises InputError when the lines of the rule set do not lie in their usual order, when the file is bad,
    when the regions leave a gap or overlap on this court, or when a spot lies off it.
    """
    rim_y = rules.court.rim_from_baseline_m
    arc, corner = rules.three_point.arc_radius_m, rules.three_point.corner_line_from_rim_m
    half_y = rules.court.length_m / 2.0 - rim_y
    polygons: dict[str, Floats] = {}
    spots: dict[str, tuple[float, float]] = {}
    court = Court(
        half_width_m=rules.court.width_m / 2.0,
        baseline_y_m=-rim_y,
        half_y_m=half_y,
        far_y_m=half_y + BACKCOURT_DEPTH_M,
        lane_half_width_m=rules.lane.width_m / 2.0,
        free_throw_y_m=rules.lane.free_throw_line_from_baseline_m - rim_y,
        arc_m=arc,
        corner_x_m=corner,
        corner_break_y_m=math.sqrt(max(arc**2 - corner**2, 0.0)),
        no_charge_m=rules.no_charge.radius_m,
        polygons=MappingProxyType(polygons),
        spots=MappingProxyType(spots),
    )
    _check_lines(court, f"rule set {rules.name}")
    layout, where = load_layout(regions_path)
    lines = _named_lines(court, layout, where)
    points = {name: _resolve(place, lines, where, f"points.{name}") for name, place in layout.points.items()}
    for region in REGIONS:
        polygon = np.array([points[corner] for corner in layout.regions[region]], dtype=np.float64)
        if _area(polygon) < 0.0:
            polygon = polygon[::-1].copy()
        polygon.setflags(write=False)
        polygons[region] = polygon
    _check_edges(court, layout, points, where)
    _check_cover(court, where, rules.name)
    for name, place in layout.spots.items():
        x, y = _resolve(place, lines, where, f"spots.{name}")
        if x < 0.0 or not court.contains(x, y):
            raise InputError(
                where,
                f"spots.{name}",
                f"({x:.2f}, {y:.2f})",
                f"a place in bounds with x >= 0 (rule set {rules.name})",
            )
        spots[name] = (x, y)
    return court


def _named_lines(court: Court, layout: Layout, where: str) -> _Lines:
    across = {
        "middle": 0.0,
        "lane": court.lane_half_width_m,
        "corner_line": court.corner_x_m,
        "side": court.half_width_m,
    }
    along = {
        "base": court.baseline_y_m,
        "rim": 0.0,
        "ft": court.free_throw_y_m,
        "arc_top": court.arc_m,
        "corner_break": court.corner_break_y_m,
        "half": court.half_y_m,
        "far": court.far_y_m,
    }
    for name, term in layout.lines.items():
        if name in along or name in across:
            raise InputError(where, f"lines.{name}", name, "a name that is not yet a line")
        along[name] = _value(term, along, where, f"lines.{name}")
    return _Lines(across, along, court.arc_m)
