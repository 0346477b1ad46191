"""Nobody is always in place: gaps off by a draw, drivers by the side of a body, help that has to see them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from slides import built

from engine.kernel.near import NEVER
from engine.run.watch import watch_numbers
from engine.state.arrays import N_SIDE
from engine.state.words import Action, Mode

SPREAD = 0.3


def watched(world: Any, n: int = 400) -> Iterator[Any]:
    for block in watch_numbers(world, 6, np.arange(n), what=("s", "agents")):
        yield from block.traces()


@pytest.fixture(scope="module")
def world() -> Any:
    men = {"zone": "man_to_man", "options": {}}
    return built(start="bring_up", setting=[], defence=men, constants={"gap_spread": SPREAD}).home


@pytest.fixture(scope="module")
def traces(world: Any) -> list[Any]:
    return list(watched(world))


def driving(s: Any) -> Any:
    return (s["mode"] == Mode.HELD) & (s["action"] == Action.DRIVE)


def test_gaps_have_the_spread_that_is_asked_and_keep_it_on_a_drive(traces: list[Any]) -> None:
    """log(gap_share) is normal, mean 0: mean and standard deviation within 4 standard errors, of n over 3,000
    draws. No attacker has one."""
    drawn: list[float] = []
    on_drives = 0
    for t in traces:
        shares, drives = t.agents["gap_share"], driving(t.states)
        assert (shares[:, :N_SIDE] == 1.0).all()
        new = np.diff(shares[:, N_SIDE:], axis=0) != 0.0
        still = drives[1:] & drives[:-1]
        assert not new[still].any()
        on_drives += int(still.sum())
        drawn.extend(np.log(shares[1:, N_SIDE:][new]))
    x, n = np.array(drawn), len(drawn)
    assert n > 3_000 and on_drives > 1_000, (n, on_drives)
    assert abs(x.mean()) < 4.0 * SPREAD / np.sqrt(n)
    assert abs(x.std() - SPREAD) < 4.0 * SPREAD / np.sqrt(2.0 * n)


def test_a_driver_aims_beside_a_body_at_a_place_that_is_free(world: Any, traces: list[Any]) -> None:
    """Two radii and .05 m from the middle of a body less than 1.5 m ahead, on the court, in no other body."""
    k, ru = world[0].k, world[0].rules
    aside = 0
    for t in traces:
        s, a = t.states, t.agents
        on = driving(s)
        same = (np.diff(s["drive_t"]) == 0.0) & (np.diff(s["handler"]) == 0)
        drives = np.flatnonzero(on[1:] & on[:-1] & same) + 1
        for n in drives:
            who = s["handler"][n - 1]
            target = np.array([a["tx"][n, who], a["ty"][n, who]])
            where_he_goes = [(s[f"{of}_x"][n - 1], s[f"{of}_y"][n - 1]) for of in ("goal", "end")]
            if tuple(target) in where_he_goes:
                continue
            bodies = np.column_stack([a["x"][n - 1, N_SIDE:], a["y"][n - 1, N_SIDE:]])
            away = np.hypot(*(bodies - target).T)
            body = int(np.argmin(np.abs(away - (2.0 * k.body_radius_m + 0.05))))
            assert away[body] == pytest.approx(2.0 * k.body_radius_m + 0.05, abs=1e-9)
            assert (np.delete(away, body) >= 2.0 * k.body_radius_m).all()
            ahead = bodies[body] - (a["x"][n - 1, who], a["y"][n - 1, who])
            assert np.hypot(*ahead) < np.hypot(1.5, 2.0 * k.body_radius_m + 0.05)
            assert abs(target[0]) <= ru.half_width_m - 0.5 and target[1] >= ru.baseline_y_m + 0.5
            aside += 1
    assert aside > 300, aside


def test_help_that_sees_a_drive_later_lets_more_of_them_by() -> None:
    """``open_t`` is not ahead of its time; with a reaction of a second to a dribble in place of none drives
    stay open longer, by 4 standard errors of their means."""

    def seconds_open(of: Any) -> np.ndarray[Any, Any]:
        longest = []
        for t in of:
            s = t.states
            opened = driving(s) & (s["open_t"] < NEVER)
            assert (s["t"][opened] >= s["open_t"][opened]).all()
            if opened.any():
                longest.append(float((s["t"] - s["open_t"])[opened].max()))
        return np.array(longest)

    men = {"zone": "man_to_man", "options": {}}
    usual, late = (
        seconds_open(
            watched(built(start="bring_up", setting=[], defence=men, constants=constants).home, 1000)
        )
        for constants in ({"reaction_s": 1.0, "dribble_reaction_share": share} for share in (0.0, 1.0))
    )
    error = np.hypot(usual.std() / np.sqrt(len(usual)), late.std() / np.sqrt(len(late)))
    assert min(len(usual), len(late)) > 100 and late.mean() - usual.mean() > 4.0 * error
