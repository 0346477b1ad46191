"""Movement and spacing of the model by the definitions that open tracking data were measured with.

Only possessions that end in a made shot with no whistle before it, as in the data (tracking.toml beside this
file), and only live time in the attacked half up to the last release.
"""

from __future__ import annotations

import tomllib
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.signal import savgol_filter

from engine.kernel.watch import Trace
from engine.run.watch import watch_numbers
from engine.state.arrays import N_PLAYERS, N_SIDE
from engine.state.record import COLUMN
from engine.state.words import End, Event, Mode
from engine.study.patterns.common import NOTHING, Mean, quotient

Floats = NDArray[np.float64]

#: Definitions of the data: frames of a fit and their seconds, hard braking, a touch and catch and shoot.
FIT_S, BRAKING_MPS2, SPEEDS_MPS = 0.24, 3.5, (1.0, 3.0, 5.0)
EVERY_S, TOUCH_M, TOUCH_S, MOVED_M, AFTER_S = 0.6, 1.2, 0.36, 1.2, 0.1
BANDS = ("walk", "jog", "run", "sprint")
ON_BALL_M, TO_BALL_M, LENGTHS_M = (0.0, 4.0, 6.5, 9.0), (0.0, 4.0, 6.0, 8.0, 10.0), (2.0, 4.0, 6.0, 8.0, 10.0)
AT_RIM_M, OUTSIDE_M = 4.0, 6.5
TOUCHES_S = (1, 2, 3)
LONG_SET_S = 6.0


class Quantity(NamedTuple):
    """A published aggregate: a share, a mean (passes), or a median in ``unit``, over ``n`` samples."""

    name: str
    meaning: str
    unit: str
    value: float
    n: int


def published() -> tuple[str, tuple[Quantity, ...]]:
    """The source and the aggregates of the tracking data."""
    data = tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))
    return data["source"], tuple(Quantity(**one) for one in data["quantity"])


def named(prefix: str, edges: tuple[float, ...], value: float) -> str:
    """Name of the class of a value: ``prefix_low_high``, the last one open."""
    n = int(np.searchsorted(edges, value, side="right")) - 1
    ends = [f"{edge:g}" for edge in edges[n : n + 2]]
    return "_".join((prefix, *ends))


class Floor:
    """One possession's positions: ``x``, ``y`` m and ``v`` m/s, ``a`` m/s2 along the way, [steps, 10]."""

    def __init__(self, trace: Trace, half_y_m: float, dt: float) -> None:
        self.s, self.events, self.dt = trace.states, trace.events, dt
        self.x, self.y = trace.agents["x"], trace.agents["y"]
        shots = self.events[self.events[:, 1] == Event.SHOT]
        self.shot = shots[-1]
        self.release = self.step(self.shot[0])
        front = (self.y < half_y_m).all(axis=1) & (self.s["ball_y"] < half_y_m)
        self.live = front & (np.arange(len(front)) <= self.release)
        self.half_y_m = half_y_m
        half = max(1, round(FIT_S / dt))
        size = 2 * half + 1
        if len(self.x) < size:
            self.live[:] = False
            size = 1
        if size > 1:
            vx, vy, ax, ay = (
                savgol_filter(at, size, 2, deriv=d, delta=dt, axis=0)
                for d in (1, 2)
                for at in (self.x, self.y)
            )
            self.v = np.hypot(vx, vy)
            self.a = (vx * ax + vy * ay) / np.maximum(self.v, 1e-9)

    def step(self, t: float) -> int:
        """Row of the state after the step that ended at ``t``."""
        return int(np.searchsorted(self.s["t"], t - 1e-6))

    def nearest(self, step: int, who: int) -> tuple[float, int]:
        """Distance of the defender nearest to attacker ``who``, metres, and his number."""
        gap = np.hypot(self.x[step, N_SIDE:] - self.x[step, who], self.y[step, N_SIDE:] - self.y[step, who])
        best = int(gap.argmin())
        return float(gap[best]), N_SIDE + best


Tell = Callable[[str, Any], None]


def _speeds(floor: Floor, tell: Tell) -> None:
    for side, men in (("attack", slice(0, N_SIDE)), ("defence", slice(N_SIDE, N_PLAYERS))):
        v, a = floor.v[floor.live, men].ravel(), floor.a[floor.live, men].ravel()
        band = np.searchsorted(SPEEDS_MPS, v)
        for n, name in enumerate(BANDS):
            tell(f"{side}_{name}", band == n)
        tell(f"{side}_braking", a < -BRAKING_MPS2)


def _spacing(floor: Floor, tell: Tell) -> None:
    held = (floor.s["mode"] == Mode.HELD) | (floor.s["mode"] == Mode.PASS_WINDUP)
    for step in np.flatnonzero(floor.live & held)[:: max(1, round(EVERY_S / floor.dt))]:
        x, y = floor.x[step], floor.y[step]
        mx, my = x[:N_SIDE], y[:N_SIDE]
        cost = np.hypot(x[N_SIDE:, None] - mx * 2 / 3, y[N_SIDE:, None] - my * 2 / 3)
        guards, men = linear_sum_assignment(cost)
        handler = int(floor.s["handler"][step])
        for guard, man in zip(guards, men, strict=True):
            gap = float(np.hypot(x[N_SIDE + guard] - mx[man], y[N_SIDE + guard] - my[man]))
            rim = float(np.hypot(mx[man], my[man]))
            to_ball = float(np.hypot(mx[man] - mx[handler], my[man] - my[handler]))
            if man == handler:
                tell(named("on_ball", ON_BALL_M, rim), gap)
            elif rim < AT_RIM_M:
                tell(named("at_rim", TO_BALL_M, to_ball), gap)
            elif rim > OUTSIDE_M and to_ball >= TO_BALL_M[1]:
                tell(named("outside", TO_BALL_M, to_ball), gap)


def _passes(floor: Floor, tell: Tell) -> list[tuple[int, int, float]]:
    """Tells the speeds; returns every pass: step of its release and of its catch (-1: none), speed."""
    s, found = floor.s, []
    flying = s["mode"] == Mode.PASS_FLIGHT
    for left in 1 + np.flatnonzero(flying[1:] & ~flying[:-1]):
        one = s[left]
        rest = np.flatnonzero(~flying[left:])
        length = float(np.hypot(one["pass_x1"] - one["pass_x0"], one["pass_y1"] - one["pass_y0"]))
        speed = length / max(float(one["arrive_t"] - one["release_t"]), 1e-9)
        caught = -1
        if len(rest):
            end = int(left + rest[0])
            if s["mode"][end] == Mode.HELD and s["handler"][end] == one["target"]:
                caught = end
                front = max(one["pass_y0"], one["pass_y1"]) < floor.half_y_m
                if front and LENGTHS_M[0] <= length < LENGTHS_M[-1] and left <= floor.release:
                    tell(named("pass", LENGTHS_M, length), speed)
        found.append((int(left), caught, speed))
    return found


def _touches(floor: Floor, passes: list[tuple[int, int, float]], tell: Tell) -> None:
    caught, reach = 0, 0.0
    for left, next_caught, speed in passes:
        began_in_front = floor.s["ball_y"][caught] < floor.half_y_m
        long_s = (left - caught) * floor.dt + reach + TOUCH_M / speed
        if left <= floor.release and began_in_front and long_s >= TOUCH_S:
            for most in TOUCHES_S:
                tell(f"touch_{most}", float(long_s < most))
        if next_caught < 0:
            return  # who has it next did not catch it
        caught, reach = next_caught, TOUCH_M / speed


def _close_out(floor: Floor, passes: list[tuple[int, int, float]], is_three: bool, tell: Tell) -> None:
    before = [one for one in passes if one[0] < floor.release]
    if not is_three or not before or before[-1][1] < 0:
        return
    left, caught, _ = before[-1]
    who = int(floor.shot[2])
    moved = np.hypot(
        floor.x[floor.release, who] - floor.x[caught, who], floor.y[floor.release, who] - floor.y[caught, who]
    )
    if moved >= MOVED_M or floor.s["handler"][caught] != who:
        return
    last = min(floor.release + round(AFTER_S / floor.dt), len(floor.x) - 1)
    at_release, guard = floor.nearest(last, who)
    tell("close_out_release", at_release)
    tell("close_out_catch", floor.nearest(caught, who)[0])
    tell(
        "close_out_pass",
        float(np.hypot(floor.x[left, guard] - floor.x[left, who], floor.y[left, guard] - floor.y[left, who])),
    )


class Samples(NamedTuple):
    """Values of one quantity and the possession of each."""

    values: Floats
    rows: NDArray[np.int64]

    def mean(self) -> Mean:
        """Their mean, possessions as clusters."""
        y = np.bincount(self.rows, weights=self.values)
        return quotient(y, np.bincount(self.rows).astype(float))

    def median(self) -> Mean:
        """Their median: its error is that of the share below it, by clusters, carried over to the values."""
        if len(self.values) < 4:
            return NOTHING
        middle = float(np.median(self.values))
        se = Samples((self.values < middle).astype(float), self.rows).mean().se
        low, high = np.quantile(self.values, [max(0.0, 0.5 - se), min(1.0, 0.5 + se)])
        return Mean(middle, float(high - low) / 2)


def tracked(
    world: np.ndarray, seed: int, numbers: NDArray[np.int64], threads: int | None = None
) -> dict[str, Samples]:
    """Every quantity of tracking.toml as the possessions ``numbers`` of a world have it; none where none was.

    Shares are samples of 0 and 1; speeds m/s, distances m.
    """
    rules, dt = world["rules"][0], float(world["k"]["time_step_s"][0])
    values: dict[str, list[Floats]] = defaultdict(list)
    rows: dict[str, list[NDArray[np.int64]]] = defaultdict(list)
    row = 0

    def tell(name: str, found: npt.ArrayLike) -> None:
        array = np.atleast_1d(np.asarray(found, np.float64))
        values[name].append(array)
        rows[name].append(np.full(len(array), row, np.int64))

    for block in watch_numbers(world, seed, numbers, what=("s", "agents"), threads=threads):
        for trace in block.traces():
            row += 1
            stopped = np.isin(trace.events[:, 1], (Event.THROW_IN, Event.FREE_THROW)).any()
            if trace.record[COLUMN["end"]] != End.MADE_SHOT or stopped:
                continue
            floor = Floor(trace, float(rules["half_y_m"]), dt)
            if not floor.live.any():
                continue
            _speeds(floor, tell)
            _spacing(floor, tell)
            passes = _passes(floor, tell)
            _touches(floor, passes, tell)
            if floor.live.sum() * dt >= LONG_SET_S:
                tell("passes_set", float(sum(c >= 0 and left <= floor.release for left, c, _ in passes)))
            x, y = abs(floor.shot[5]), floor.shot[6]
            low = y <= rules["corner_break_y_m"]
            three = x > rules["corner_x_m"] if low else bool(np.hypot(x, y) > rules["arc_m"])
            _close_out(floor, passes, bool(three), tell)
    return {name: Samples(np.concatenate(values[name]), np.concatenate(rows[name])) for name in values}


def measured(samples: dict[str, Samples], quantity: Quantity) -> Mean:
    """The model's value of a published quantity."""
    own = samples.get(quantity.name)
    if own is None:
        return NOTHING
    return own.mean() if quantity.unit in ("share", "passes") else own.median()
