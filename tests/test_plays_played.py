"""What the kernel makes of plays, read from traces of small worlds.

A step of the trace acts on what the step before has left: so a play in row n is asked for by the states of
row n - 1. The rules are those of configs/model/submodels_offence.md, section 7.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from input_files import play, write
from slides import PATIENT, built
from test_plays import run_to, step

from engine.inputs import load_rules
from engine.kernel.batch import play_block
from engine.run.watch import watch_block
from engine.state.record import N_RECORD
from engine.state.words import REGIONS, Action, Dribble, Event, Mode, Region, TrapPhase
from engine.world.court import build_court

TRAPPED = (TrapPhase.COMING, TrapPhase.SET)


def world_of(folder: Path, plays: list[dict[str, Any]], **changes: Any) -> Any:
    """The demo's home world with these plays, patient attackers and no traps."""
    names = []
    for i, one in enumerate(plays):
        names.append(str(write(folder, f"play_{i}.toml", one | {"name": f"play_{i}"})))
    how = {"constants": PATIENT, "setting": [], "offence": {"plays": names}} | changes
    return built(**how)


def one_play(*steps: dict[str, Any], against: Any = "zone") -> dict[str, Any]:
    return {"title": "P", "source": "invented", "against": against, "step": list(steps)}


def traces(world: Any, n: int = 60, seed: int = 7, threads: int | None = None) -> list[Any]:
    blocks = watch_block(world, seed, 0, n, ("s", "agents"), threads=threads)
    return [trace for block in blocks for trace in block.traces()]


def begun(s: Any, n: int) -> float:
    """When step n of a trace acts, seconds."""
    return float(s["t"][n] - 0.5 * (s["t"][n] - s["t"][n - 1]))


def starts(s: Any) -> list[int]:
    """Rows in which a step of a play begins: it is another one, or it ends later than it did."""
    on = s["play"] >= 0
    return [
        n
        for n in range(1, len(s))
        if on[n] and (s["play"][n] != s["play"][n - 1] or s["play_t"][n] > s["play_t"][n - 1])
    ]


def may_run(s: Any, n: int) -> bool:
    """True if a play may be on in row n, by the row before."""
    held = s["mode"][n - 1] in (Mode.HELD, Mode.PASS_WINDUP, Mode.PASS_FLIGHT)
    return bool(held and s["front"][n - 1] == 1 and s["trap_phase"][n - 1] not in TRAPPED)


def test_a_step_on_a_pass(tmp_path: Path) -> None:
    """It begins with every pass to the wing and with nothing else; the passer runs to his place, mirrored."""
    cut = step("cut", "pass", {"who": "passer", "to": [0.7, 0.9], "after_s": 0.2}, ball="wing", lasts_s=2.5)
    n_begun = n_there = n_not = n_left = 0
    for t in traces(world_of(tmp_path, [one_play(cut)]).home):
        s, a = t.states, t.agents
        passes = [
            n
            for n in range(1, len(s))
            if s["mode"][n - 1] == Mode.PASS_FLIGHT
            and (
                n == 1 or s["n_passes"][n - 1] != s["n_passes"][n - 2] or s["mode"][n - 2] != Mode.PASS_FLIGHT
            )
        ]
        wanted = [n for n in passes if s["region"][n - 1] == Region.WING and may_run(s, n)]
        assert starts(s) == wanted
        for n in wanted:
            n_begun += 1
            passer, near = int(s["passer"][n]), int(s["near"][n - 1])
            n_left += near < 0
            goal = 0.7 * near, 0.9
            assert a["go"][n, passer] == 1
            assert (a["go_x"][n, passer], a["go_y"][n, passer]) == pytest.approx(goal)
            assert [i for i in range(5) if a["go"][n, i]] == [passer]
            assert s["play_t"][n] == pytest.approx(s["t"][n] + 2.5)
            assert a["go_t"][n, passer] == pytest.approx(s["t"][n] + 0.2)
            last = n
            while last + 1 < len(s) and s["play"][last + 1] == 0 and last + 1 not in wanted:
                last += 1
            if s["t"][last] - s["t"][n] > 2.4:  # all the time that he has
                now = float(a["x"][last, passer]), float(a["y"][last, passer])
                n_there += math.dist(now, goal) < 0.6
                n_not += math.dist(now, goal) >= 0.6  # bodies in his way, or a pass to him
    assert n_there > 2 * n_not
    assert n_begun > 60 and n_there > 10 and n_left > 20


def test_a_step_on_a_held_ball(tmp_path: Path) -> None:
    """It waits for the seconds, the region and a man who stands; the handler dribbles to the place."""
    go = {"who": "handler", "to": [1.8, 5.4]}
    hold = step("gap", "hold", go, ball=["top", "slot"], held_s=0.5, lasts_s=1.0)
    n_begun = n_moved = 0
    for t in traces(world_of(tmp_path, [one_play(hold)]).home):
        s = t.states
        for n in starts(s):
            n_begun += 1
            assert may_run(s, n) and s["mode"][n - 1] == Mode.HELD and s["action"][n - 1] == Action.STAY
            assert begun(s, n) >= s["catch_t"][n - 1] + 0.5
            assert s["region"][n - 1] in (Region.TOP, Region.SLOT)
            assert s["dribble"][n - 1] != Dribble.DEAD
            goal = 1.8 * s["near"][n - 1], 5.4
            n_moved += s["action"][n] == Action.DRIBBLE_TO and (
                (s["goal_x"][n], s["goal_y"][n]) == pytest.approx(goal)
            )
            assert not t.agents["go"][n].any()
    assert n_begun > 40 and n_moved > 30


def test_a_step_on_a_drive(tmp_path: Path) -> None:
    """One for each drive that begins from its regions while a play may be on."""
    move = {"who": "nearest", "near": "corner", "within_m": 30.0, "to": "corner"}
    drift = step("drift", "drive", move, ball=["top", "slot", "wing"], lasts_s=1.0)
    quick = {
        name: value
        for name, value in PATIENT.items()
        if name not in ("belief_kick_points", "hold_value_points")
    }
    n_begun = 0
    for t in traces(world_of(tmp_path, [one_play(drift)], constants=quick).home):
        s = t.states
        driven = {int(np.searchsorted(s["t"], e[0] - 1e-6)) for e in t.events if e[1] == Event.DRIVE}
        wanted = [
            n + 1
            for n in sorted(driven)
            if n + 1 < len(s)
            and may_run(s, n + 1)
            and s["mode"][n] == Mode.HELD
            and s["action"][n] == Action.DRIVE
            and REGIONS[s["region"][n]] in ("top", "slot", "wing")
        ]
        assert starts(s) == wanted
        n_begun += len(wanted)
        for n in wanted:
            others = [i for i in range(5) if i != s["handler"][n]]
            x, y = t.agents["x"][n - 1], t.agents["y"][n - 1]
            corner = build_court(load_rules("international")).spot("corner", int(s["near"][n - 1]))
            ways = {i: math.dist((x[i], y[i]), corner) for i in others}
            first = min(ways, key=lambda i: ways[i])
            assert [i for i in range(5) if t.agents["go"][n, i]] == [first]
    assert n_begun > 25


TRAP = [
    {"name": "trap", "call": [{"call": "wing", "probability": 1.0}, {"call": "corner", "probability": 1.0}]}
]


def test_a_step_on_an_escape_and_the_end_of_a_play_in_a_trap(tmp_path: Path) -> None:
    """The ball out of a trap begins it, once; none begins while a trap comes, none is on while it stands."""
    dive = step(
        "dive", "escape", {"who": "nearest", "near": "rim", "within_m": 9.0, "to": "rim"}, lasts_s=1.0
    )
    other = step("cut", "pass", {"who": "passer", "to": "rim"}, lasts_s=3.0)
    setting = world_of(tmp_path, [one_play(dive), one_play(other)], setting=TRAP).settings[0]
    n_escapes = n_stopped = 0
    for t in traces(setting.world, 120):
        s = t.states
        out = [
            n + 1
            for n in range(1, len(s) - 1)
            if s["trap_phase"][n] == TrapPhase.AFTER
            and s["trap_phase"][n - 1] != TrapPhase.AFTER
            and may_run(s, n + 1)
            and s["n_restarts"][n + 1] == s["n_restarts"][n]  # a whistle in that very step ends it all
        ]
        assert [n for n in starts(s) if s["play"][n] == 0] == out
        n_escapes += len(out)
        for n in range(1, len(s)):
            if s["trap_phase"][n - 1] == TrapPhase.SET:
                n_stopped += s["play"][n - 1] >= 0
                assert s["play"][n] == -1 and not t.agents["go"][n].any()
            elif s["trap_phase"][n - 1] == TrapPhase.COMING and s["n_restarts"][n] == s["n_restarts"][n - 1]:
                assert s["play"][n] in (s["play"][n - 1], -1), "nothing begins"
    assert n_escapes > 20 and n_stopped > 2


def test_a_chain(tmp_path: Path) -> None:
    """The next step begins when the one before is over, if the ball is in its regions; else the play ends."""
    first = step("a", "pass", {"who": "passer", "to": [0.7, 0.9]}, ball="wing", lasts_s=0.8, next="b")
    second = step(
        "b",
        "then",
        {"who": "nearest", "near": [0.7, 0.9], "within_m": 30.0, "to": "corner"},
        ball="wing",
        lasts_s=0.6,
    )
    n_next = n_over = 0
    for t in traces(world_of(tmp_path, [one_play(first, second)]).home, 400):
        s = t.states
        for n in range(1, len(s)):
            if s["play"][n - 1] != 0 or not may_run(s, n):
                continue
            over = begun(s, n) >= s["play_t"][n - 1]
            again = n in starts(s) and s["play"][n] == 0
            if over and not again and s["mode"][n] != Mode.OVER:  # a clock may run out in that very step
                wing = s["region"][n - 1] == Region.WING
                assert s["play"][n] == (1 if wing else -1)
                n_next, n_over = n_next + wing, n_over + (not wing)
            elif not over and not again and s["n_restarts"][n] == s["n_restarts"][n - 1]:
                assert s["play"][n] == 0
        assert all(s["play"][n - 1] == 0 for n in starts(s) if s["play"][n] == 1)
    assert n_next > 20 and n_over > 5


def test_only_if_denied(tmp_path: Path) -> None:
    """Made exactly when a defender stood near his half of the lane, by the places of the row before: less
    than denied_m from the line ball to man, farther than half way along it."""
    move = run_to([0.8, 0.9], only_if="denied", within_m=9.0)
    other = run_to("rim", near="rim", within_m=30.0)  # so that the step begins in any case
    cut = step("cut", "hold", move, other, ball=["top", "slot", "wing"], held_s=0.3, lasts_s=0.4)
    world = world_of(tmp_path, [one_play(cut, against=["zone", "men"])]).home
    denied_m, wing = float(world[0].k.denied_m), build_court(load_rules("international")).spot("wing")
    made = kept = 0
    for t in traces(world):
        s, x, y = t.states, t.agents["x"], t.agents["y"]
        for n in starts(s):
            near = int(s["near"][n - 1])
            others = [i for i in range(5) if i != s["handler"][n - 1]]
            ways = {i: math.dist((x[n - 1, i], y[n - 1, i]), (wing[0] * near, wing[1])) for i in others}
            man = min(ways, key=lambda i: ways[i])
            ball = np.array([s["ball_x"][n - 1], s["ball_y"][n - 1]])
            line = np.array([x[n - 1, man], y[n - 1, man]]) - ball
            seen = False
            for j in range(5, 10):
                to = np.array([x[n - 1, j], y[n - 1, j]]) - ball
                share = float(to @ line / (line @ line))
                seen |= 0.5 < share < 1.0 and float(np.hypot(*(to - share * line))) < denied_m
            goes = t.agents["go"][n, man] == 1 and abs(t.agents["go_x"][n, man]) == pytest.approx(0.8)
            assert goes == seen
            made, kept = made + seen, kept + (not seen)
    assert made > 5 and kept > 20


def test_who_takes_the_ball_is_out_of_his_move(tmp_path: Path) -> None:
    everybody = [run_to("rim", near=[0.0, 4.0], within_m=30.0) for _ in range(4)]
    cut = step("cut", "pass", *everybody, lasts_s=6.0)
    n = 0
    for t in traces(world_of(tmp_path, [one_play(cut)]).home, 20):
        s = t.states
        held = s["mode"] == Mode.HELD
        rows = np.arange(len(s))[held]
        assert not t.agents["go"][rows, s["handler"][held]].any()
        n += int((t.agents["go"].sum(axis=1) >= 3).sum())
    assert n > 100


def played(world: Any, n: int = 400) -> np.ndarray:
    found = np.zeros((n, N_RECORD), np.int32)
    play_block(world, 5, 0, found)
    return found


def test_no_plays_and_plays_that_never_come_are_the_same(tmp_path: Path) -> None:
    """Often 0, or against a defence that is not played: to the bit as no play at all; another one is not."""
    cut = step("cut", "pass", {"who": "passer", "to": "rim"})
    none = world_of(tmp_path, []).home
    assert none[0].n_steps == 0 and all((t.states["play"] == -1).all() for t in traces(none, 20))
    seldom = world_of(tmp_path, [one_play(cut | {"often": 0.0}, against=["zone", "men"])]).home
    men = world_of(tmp_path, [one_play(cut, against="men")]).home
    always = world_of(tmp_path, [one_play(cut)]).home
    base = played(none)
    assert np.array_equal(played(seldom), base) and np.array_equal(played(men), base)
    assert not np.array_equal(played(always), base)


def test_against_men(tmp_path: Path) -> None:
    """Man-to-man is played by men who have a man each: there the plays against men are run, and no others."""
    cut = step("cut", "pass", {"who": "passer", "to": "rim"}, lasts_s=0.5)
    plays = [one_play(cut, against="zone"), one_play(cut, against="men")]
    defence = {"zone": "man_to_man", "options": {}}
    seen = {
        int(p) for t in traces(world_of(tmp_path, plays, defence=defence).home, 20) for p in t.states["play"]
    }
    assert seen == {-1, 1}
    seen = {int(p) for t in traces(world_of(tmp_path, plays).home, 20) for p in t.states["play"]}
    assert seen == {-1, 0}


def test_how_often(tmp_path: Path) -> None:
    """A step of 0.3 and one of 0.5 on the same pass: by the rule of the description, the lesser of u / often,
    if it is below 1: drawn here a second time by hand, 4 standard errors of what is seen."""
    cuts = [step(name, "pass", {"who": "passer", "to": "rim"}, lasts_s=0.3) for name in "ab"]
    world = world_of(tmp_path, [one_play(cuts[0] | {"often": 0.3}, cuts[1] | {"often": 0.5})]).home
    begun_ones = np.zeros(2)
    n = 0
    for t in traces(world, 150):
        s = t.states
        n += sum(
            s["mode"][i - 1] == Mode.PASS_FLIGHT and s["play_pass"][i] != s["play_pass"][i - 1]
            for i in range(1, len(s))
        )
        for i in starts(s):
            begun_ones[s["play"][i]] += 1
    u = np.random.default_rng(1).random((400_000, 2)) / np.array([0.3, 0.5])
    none = (u >= 1.0).all(axis=1)
    wanted = [float(((u.argmin(axis=1) == k) & ~none).mean()) for k in range(2)]
    assert n > 300
    for k in range(2):
        error = math.sqrt(wanted[k] * (1.0 - wanted[k]) / n)
        assert abs(begun_ones[k] / n - wanted[k]) < 4.0 * error


def test_the_same_whatever_the_threads(tmp_path: Path) -> None:
    world = world_of(tmp_path, [play()], setting=TRAP).settings[0].world
    one, two = (traces(world, 40, threads=threads) for threads in (1, 2))
    assert all(a.states.tobytes() == b.states.tobytes() for a, b in zip(one, two, strict=True))
    assert all(a.agents.tobytes() == b.agents.tobytes() for a, b in zip(one, two, strict=True))
