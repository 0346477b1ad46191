"""Movement and spacing: each quantity on traces built by hand, and all of them on played ones."""

from __future__ import annotations

import numpy as np
import pytest

from engine.kernel.watch import Trace
from engine.state.arrays import AGENT, N_PLAYERS, N_SIDE, STATE
from engine.state.record import N_RECORD
from engine.state.words import Event, Mode
from engine.study import tracking
from engine.study.patterns.defences import MAN
from engine.study.patterns.playing import SEED, Run
from engine.study.tracking import Floor, Samples, published, tracked

DT = 0.1


def trace_of(x: np.ndarray, y: np.ndarray, modes: list[int], handlers: list[int]) -> Trace:
    """Ten bodies at [steps, 10] metres; a shot in the last step by the last handler."""
    n = len(x)
    states, agents = np.zeros(n, STATE), np.zeros((n, N_PLAYERS), AGENT)
    states["t"] = DT * np.arange(n)
    states["mode"], states["handler"] = modes, handlers
    agents["x"], agents["y"] = x, y
    states["ball_y"] = y[np.arange(n), handlers]
    shot = [states["t"][-1], Event.SHOT, handlers[-1], -1, 0.0, x[-1, handlers[-1]], y[-1, handlers[-1]]]
    return Trace(np.zeros(N_RECORD, np.int32), states, agents, np.array([shot]), np.zeros((0, 6)), 0)


def gather() -> tuple[dict[str, list[float]], tracking.Tell]:
    found: dict[str, list[float]] = {}

    def tell(name: str, values: object) -> None:
        found.setdefault(name, []).extend(np.atleast_1d(np.asarray(values, float)).tolist())

    return found, tell


def standing(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Attackers along y = 8, each with a defender 1 m nearer to the rim's line."""
    x = np.tile(np.concatenate((np.arange(5) * 3.0 - 6.0, np.arange(5) * 3.0 - 6.0)), (n, 1))
    y = np.tile(np.concatenate((np.full(5, 8.0), np.full(5, 7.0))), (n, 1))
    return x, y


def test_speeds_and_braking_are_those_of_the_run() -> None:
    n = 41
    x, y = standing(n)
    t = DT * np.arange(n)
    x[:, 0] = -6.0 + 2.0 * t  # 2 m/s
    v0, a = 4.0, -4.0
    stop = np.minimum(t, v0 / -a)
    x[:, N_SIDE] = -6.0 + v0 * stop + 0.5 * a * stop**2  # brakes at 4 m/s2 for a second, then stands
    floor = Floor(trace_of(x, y, [Mode.HELD] * n, [4] * n), 12.0, DT)
    found, tell = gather()
    tracking._speeds(floor, tell)
    assert np.mean(found["attack_walk"]) == pytest.approx(0.8)
    assert np.mean(found["attack_jog"]) == pytest.approx(0.2)
    assert sum(found["attack_braking"]) == 0
    # about ten of 5 x 41 samples; the fit blurs both ends of the second by two frames
    assert 7 <= sum(found["defence_braking"]) <= 11
    assert sum(found["defence_run"]) == pytest.approx(3, abs=1)  # from 4 to 3 m/s: a quarter of a second


def test_gaps_are_told_by_where_ball_and_man_are() -> None:
    x, y = standing(13)
    x[:, 0], y[:, 0], x[:, N_SIDE], y[:, N_SIDE] = 0.0, 2.0, 0.0, 0.5  # one under the rim
    floor = Floor(trace_of(x, y, [Mode.HELD] * 13, [4] * 13), 12.0, DT)
    found, tell = gather()
    tracking._spacing(floor, tell)
    assert found["on_ball_9"] == pytest.approx([1.0] * 3)  # (6, 8): 10 m out; every 0.6 s
    assert found["at_rim_8_10"] == pytest.approx([1.5] * 3)
    assert found["outside_6_8"] == found["outside_8_10"][:3] == pytest.approx([1.0] * 3)
    assert not any(name.startswith("outside_0") for name in found)


def test_a_pass_has_its_speed_and_a_touch_its_length() -> None:
    n = 40
    x, y = standing(n)
    modes = [Mode.HELD] * 20 + [Mode.PASS_FLIGHT] * 5 + [Mode.HELD] * (n - 25)
    trace = trace_of(x, y, modes, [2] * 25 + [4] * (n - 25))
    s = trace.states
    s["target"], s["pass_x0"], s["pass_y0"], s["pass_x1"], s["pass_y1"] = 4, 0.0, 8.0, 6.0, 8.0
    s["release_t"], s["arrive_t"] = 2.0, 2.5
    floor = Floor(trace, 12.0, DT)
    found, tell = gather()
    passes = tracking._passes(floor, tell)
    assert passes == [(20, 25, pytest.approx(12.0))]
    assert found == {"pass_6_8": [pytest.approx(12.0)]}
    tracking._touches(floor, passes, tell)
    # 2.0 s in his hands and 1.2 m at 12 m/s until the ball is out of his reach: 2.1 s
    assert [found[f"touch_{k}"] for k in (1, 2, 3)] == [[0.0], [0.0], [1.0]]
    tracking._close_out(floor, passes, True, tell)
    assert [found[f"close_out_{k}"] for k in ("pass", "catch", "release")] == [[1.0], [1.0], [1.0]]
    before = len(found)
    tracking._close_out(floor, passes, False, tell)
    assert len(found) == before and len(found["close_out_catch"]) == 1


def test_the_error_of_a_median_knows_that_samples_hang_together() -> None:
    rng = np.random.default_rng(2)
    inside = 0
    for _ in range(400):
        own = rng.normal(0.0, 1.0, 150)
        values = np.repeat(own, 8) + rng.normal(0.0, 0.3, 1200)
        found = Samples(values, np.repeat(np.arange(150), 8)).median()
        inside += abs(found.mean) < 2 * found.se
    assert 0.91 < inside / 400 < 0.99


def test_every_published_quantity_is_one_that_the_traces_give() -> None:
    run = Run(0.001, 1, lambda: None)
    world = run.world(scenario="level_professional", defence=MAN)
    samples = tracked(world, SEED, np.arange(1500), threads=2)
    source, quantities = published()
    names = [one.name for one in quantities]
    assert "SocialVAE" in source and len(set(names)) == len(names) == len({one.meaning for one in quantities})
    assert set(samples) <= set(names)
    seldom = set(names) - set(samples)
    assert all(name.startswith(("at_rim", "on_ball", "pass_", "close_out", "touch")) for name in seldom)
    for side in ("attack", "defence"):
        bands = [samples[f"{side}_{band}"].values for band in tracking.BANDS]
        assert (np.sum(bands, axis=0) == 1.0).all()
    again = tracked(world, SEED, np.arange(1500), threads=1)
    assert all((samples[name].values == again[name].values).all() for name in samples)
