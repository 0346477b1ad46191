"""The handler's eyes and feet: noise once a look, a look before he passes, drives that keep their line."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from slides import PATIENT, built

from engine.run.watch import watch_numbers
from engine.state.words import Action, Dribble, Event, Mode, Option

N = 400
DRIVES = range(Option.DRIVE_FAR_RIGHT, Option.DRIVE_FAR_LEFT + 1)


@pytest.fixture(scope="module")
def world() -> Any:
    return built(start="bring_up", setting=[]).home


@pytest.fixture(scope="module")
def traces(world: Any) -> list[Any]:
    blocks = watch_numbers(world, 6, np.arange(N), what=("s", "agents"))
    return [t for block in blocks for t in block.traces()]


def decisions(t: Any) -> list[tuple[int, Any]]:
    """(step, its options) of each decision, in order."""
    numbers = t.options[:, 1]
    return [
        (int(np.searchsorted(t.states["t"], part[0, 0] - 1e-6)), part)
        for part in (t.options[numbers == n] for n in np.unique(numbers))
    ]


def test_noise_is_drawn_once_a_look(traces: list[Any]) -> None:
    """Between two decisions of a look the best option after noise changes only with its value: of the option
    chosen first and another one weighed both times, the same one is ahead by the same noise. Read so: where
    values have moved by less than the noise between them leaves, the choice is the same."""
    same = looks = 0
    for t in traces:
        s, found = t.states, decisions(t)
        for (m, one), (n, other) in zip(found, found[1:], strict=False):
            if s["n_looks"][m] != s["n_looks"][n] or s["handler"][m - 1] != s["handler"][n - 1]:
                continue
            looks += 1
            first = {int(o[3]): o[4] for o in one}
            second = {int(o[3]): o[4] for o in other}
            if set(first) != set(second):
                continue
            chosen = int(one[one[:, 5] == 1.0][0, 3])
            then = int(other[other[:, 5] == 1.0][0, 3])
            # nothing has gained on what was chosen, so with the same noise it is chosen again
            gained = {o: (second[o] - second[chosen]) - (first[o] - first[chosen]) for o in first}
            if max(gained.values()) <= 0.0:
                assert then == chosen
                same += 1
    assert looks > 100 and same > 5


def test_a_new_look_after_a_catch_or_a_while(world: Any, traces: list[Any]) -> None:
    """A look lasts until the ball is caught, a drive is stopped or ``look_again_s`` have gone (a decision's
    period more or less); without a trap nothing else makes one."""
    k = world[0].k
    again = 0
    for t in traces:
        s = t.states
        for n in np.flatnonzero(np.diff(s["n_looks"]) > 0) + 1:
            assert s["n_looks"][n] == s["n_looks"][n - 1] + 1
            before = np.flatnonzero(np.diff(s["n_looks"][:n]) > 0)
            if len(before) == 0:
                continue
            last = s["t"][before[-1] + 1]
            since = s["t"][n] - last
            caught = s["catch_t"][n] > last - 1e-6 or s["stopped_t"][n] > last - 1e-6
            assert caught or since >= k.look_again_s - 1e-6
            again += not caught
    assert again > 3


def drives_of(t: Any) -> list[tuple[int, int]]:
    """(first, last) step of each stretch in which the handler drives."""
    on = np.concatenate(
        [[False], (t.states["action"] == Action.DRIVE) & (t.states["mode"] == Mode.HELD), [False]]
    )
    edges = np.flatnonzero(np.diff(on.astype(int)))
    return [(int(a), int(b) - 1) for a, b in edges.reshape(-1, 2)]


def test_a_drive_keeps_its_line_and_ends(world: Any, traces: list[Any]) -> None:
    """One man, one way of the five, one place where it ends; only whether to go on is weighed; over within
    ``drive_most_s`` and the decision after it."""
    k = world[0].k
    most = k.drive_most_s + k.decision_period_s + k.time_step_s
    n_drives, lasted = 0, []
    for t in traces:
        s = t.states
        weighed = decisions(t)
        for first, last in drives_of(t):
            part = s[first : last + 1]
            for name in ("handler", "drive_way", "drive_t", "end_x", "end_y"):
                assert len(np.unique(part[name])) == 1, name
            lasted.append(s["t"][last] - s["t"][first])
            assert lasted[-1] <= most + 1e-6
            n_drives += 1
            for step, options in weighed:
                if first < step <= last:
                    drives = {int(o) for o in options[:, 3]} & set(DRIVES)
                    assert drives <= {Option.DRIVE_FAR_RIGHT + int(s["drive_way"][first])}
    assert n_drives > 100 and np.mean(np.array(lasted) > 0.25) > 0.5


def test_a_drive_that_takes_too_long_is_a_dead_ball_or_over() -> None:
    """Who holds after a drive of ``drive_most_s`` has picked the dribble up; and no second drive begins until
    ``drive_rest_s`` after a stopped one. Nobody stops of his own will unless that costs him less than it does
    (``belief_stopped_points``), and one who has stopped keeps the ball here."""
    constants = {"belief_stopped_points": 0.2, "belief_kick_p": 0.0, "noise_points": 0.3, "drive_most_s": 1.2}
    world = built(start="frontcourt", setting=[], constants=constants).home
    k = world[0].k
    stopped = used_up = 0
    blocks = watch_numbers(world, 6, np.arange(N), what=("s", "agents"))
    for t in (t for block in blocks for t in block.traces()):
        s = t.states
        for first, last in drives_of(t):
            if last + 1 >= len(s) or s["mode"][last + 1] != Mode.HELD or s["action"][last + 1] != Action.STAY:
                continue
            if (
                s["handler"][last + 1] != s["handler"][last]
                or s["n_restarts"][last + 1] != s["n_restarts"][last]
            ):
                continue
            stopped += 1
            if s["t"][last + 1] - s["t"][first] >= k.drive_most_s + k.time_step_s:
                assert s["dribble"][last + 1] == Dribble.DEAD
                used_up += 1
            again = s["t"][last + 1] + k.drive_rest_s
            same = (s["handler"] == s["handler"][last]) & (s["catch_t"] == s["catch_t"][last])
            early = (s["t"] > s["t"][last]) & (s["t"] < again - 1e-6) & same
            assert not (s["action"][early] == Action.DRIVE).any()
    assert stopped > 20 and used_up > 5, (stopped, used_up)


def test_looks_first(world: Any, traces: list[Any]) -> None:
    """After a catch nobody passes, and only a late close-out is driven at, before he has looked."""
    k = world[0].k
    early = later = 0
    for t in traces:
        s = t.states
        for step, options in decisions(t):
            n = step - 1
            if s["n_catches"][n] == 0 or s["dribble"][n] != Dribble.UNUSED:
                continue
            who = int(s["handler"][n])
            look_s = max(k.look_s * (1.5 - world[0].players[who].passing), k.read_delay_least_s)
            if s["t"][step] - s["catch_t"][step] < look_s - k.time_step_s:
                assert not (options[:, 3] >= Option.PASS_1).any()
                early += 1
            elif s["t"][step] - s["catch_t"][step] > look_s + k.time_step_s:
                later += (options[:, 3] >= Option.PASS_1).any()
    assert early > 50 and later > 50


def test_a_pass_straight_back_needs_a_reason() -> None:
    """With a great price of it hardly any second pass goes back at once; without one many do."""
    shares = {}
    for price in (0.0, 0.3):
        constants = {**PATIENT, "pass_back_points": price, "look_again_s": 4.0}
        world = built(start="frontcourt", setting=[], constants=constants).home
        back = n = 0
        for block in watch_numbers(world, 6, np.arange(300), what=()):
            for t in block.traces():
                passes = t.events[t.events[:, 1] == Event.PASS]
                for one, other in zip(passes, passes[1:], strict=False):
                    if other[2] == one[3]:
                        n += 1
                        back += other[3] == one[2]
        shares[price] = (back / n, np.sqrt(back / n * (1 - back / n) / n))
    gap = shares[0.0][0] - shares[0.3][0]
    assert gap > 4 * np.hypot(shares[0.0][1], shares[0.3][1]), shares
