"""Whom the ball's holder finds and when, whom a trap's arms hide from him, how a pass is taken.

How long it takes to find a man is held against the exponential law of scipy.stats, glances past arms against
exp(-n d / view_m); which random word is whose, against the plain generator of the twin. No outside source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any

import numpy as np
import pytest
from naive_basics import uniforms
from scipy.stats import expon, kstest
from slides import SEED, built
from test_calls import called
from test_looks import decisions, mean_look_s

from engine.kernel.batch import Trace
from engine.run.watch import watch_numbers
from engine.state.words import Dribble, Mode, Option, TrapPhase

N = 800
IN_A_TRAP = (TrapPhase.COMING, TrapPhase.SET)
#: No man is too near or too far to be an option.
ANY_LENGTH = {"pass_shortest_m": 0.0, "pass_longest_m": 1000.0}


def watched(world: Any, n: int = N) -> Iterable[Trace]:
    return (
        t for block in watch_numbers(world, SEED, np.arange(n), what=("s", "agents")) for t in block.traces()
    )


@pytest.fixture(scope="module")
def home() -> Any:
    return built(start="bring_up", setting=[]).home


@pytest.fixture(scope="module")
def traces(home: Any) -> list[Trace]:
    return list(watched(home))


def trapping(start: str = "bring_up", **constants: float) -> Any:
    """The demo's attack against traps in the corner, on the wing and at the top, made at every chance."""
    calls = [{"call": call, "probability": 1.0} for call in ("corner", "wing", "top")]
    setting = [{"name": "traps", "call": calls}]
    return built(start=start, setting=setting, constants=constants).settings[0].world


@cache
def trapped(view_m: float) -> tuple[Any, list[Trace]]:
    world = trapping(**ANY_LENGTH, view_m=view_m)
    return world, called(world, 500)


def place(t: Trace, step: int, i: int) -> Any:
    return np.array([t.agents["x"][step, i], t.agents["y"][step, i]])


def apart(t: Trace, step: int, i: int, j: int) -> float:
    return float(np.hypot(*(place(t, step, i) - place(t, step, j))))


def others(holder: int) -> list[int]:
    return [j for j in range(5) if j != holder]


def passes_to(options: Any) -> set[int]:
    """Who is weighed for a pass."""
    return {int(o) - Option.PASS_1 for o in options[:, 3] if o >= Option.PASS_1}


def taken(t: Trace) -> Any:
    """Steps in which somebody takes the ball, the first among them."""
    return np.flatnonzero(np.concatenate([[True], np.diff(t.states["catch_t"]) > 0.0]))


# --- when a team-mate is found ------------------------------------------------------------------------------


def test_how_long_it_takes_to_find_a_man_is_exponential(home: Any, traces: list[Trace]) -> None:
    """The time from taking the ball to ``found_t``, over its mean by the taker's passing and the man's
    distance, is exponential, mean 1: Kolmogorov and Smirnov's test against scipy.stats.expon, n over 4,000,
    seed fixed, wrong once in 1,000; so, too, of who is near and far, and for who passes better and worse."""
    k, players = home[0].k, home[0].players
    drawn, length, passing = [], [], []
    for t in traces:
        for n in taken(t):
            who = int(t.states["handler"][n])
            for j in others(who):
                d = apart(t, n, who, j)
                mean_s = mean_look_s(home, who) * d / k.find_at_m
                drawn.append((t.agents["found_t"][n, j] - t.states["catch_t"][n]) / mean_s)
                length.append(d)
                passing.append(players[who].passing)
    times, far = np.array(drawn), np.array(length) > np.median(length)
    better = np.array(passing) > np.median(passing)
    assert len(times) > 4000 and min(better.sum(), (~better).sum()) > 800
    for part in (times, times[far], times[~far], times[better], times[~better]):
        assert kstest(part, expon.cdf).pvalue > 1e-3, (len(part), part.mean())


def test_each_of_the_four_is_found_by_a_word_of_his_own(home: Any, traces: list[Trace]) -> None:
    """The four words of draw LOOK(1, step), read by the twin's generator, in the order of their numbers; the
    holder's own ``found_t`` stays, and all five stay until another takes the ball."""
    k, asked = home[0].k, Counter[int]()
    for number, t in enumerate(traces):
        found = t.agents["found_t"][:, :5]
        at = taken(t)
        assert (np.delete(np.diff(found, axis=0), at[1:] - 1, axis=0) == 0.0).all()
        for n in at:
            who = int(t.states["handler"][n])
            assert n == 0 or found[n, who] == found[n - 1, who]
            since = (found[n] - t.states["catch_t"][n]) / mean_look_s(home, who) * k.find_at_m
            u = [np.exp(-since[j] / apart(t, n, who, j)) for j in others(who)]
            np.testing.assert_allclose(u, uniforms(SEED, number, "LOOK", 1, int(n)), rtol=1e-6)
            asked[who] += 1
    assert min(asked[who] for who in range(5)) > 50, asked


def test_who_has_been_found_by_the_first_decision() -> None:
    """Where anybody may be passed to, the share of men who are weighed in the first decision after a catch is
    that of the exponential law by their distance and the time since the catch: 4 standard errors, of near and
    far men apart."""
    world = built(start="frontcourt", setting=[], constants={**ANY_LENGTH, "look_s": 0.8}).home
    k, ahead_of = world[0].k, world[0].rules.half_y_m - 0.2
    found, expected, length = [], [], []
    for t in watched(world):
        last = 0.0
        for step, options in decisions(t):
            before, now = t.states[step - 1], t.states[step]
            if now["catch_t"] == last:
                continue
            last = now["catch_t"]
            unused = before["dribble"] == Dribble.UNUSED and before["play_t"] == now["play_t"]
            if now["n_catches"] == 0 or not unused:
                continue
            who, caught = int(options[0, 2]), int(np.searchsorted(t.states["t"], last - 1e-6))
            for j in others(who):
                if t.agents["y"][step, j] <= ahead_of:
                    d = apart(t, caught, who, j)
                    mean_s = mean_look_s(world, who) * d / k.find_at_m
                    found.append(j in passes_to(options))
                    expected.append(float(expon.cdf((now["now"] - last) / mean_s)))
                    length.append(d)
    p, f, d = np.array(expected), np.array(found), np.array(length)
    for part in (d < 5.0, d >= 5.0):
        error = np.sqrt(np.sum((p * (1.0 - p))[part]))
        assert part.sum() > 300 and 0.1 < p[part].mean() < 0.8
        assert abs(f[part].sum() - p[part].sum()) < 4.0 * error, (f[part].mean(), p[part].mean())
    assert p[d < 5.0].mean() > p[d >= 5.0].mean() + 0.1


def test_passes_go_to_men_who_have_been_found(home: Any, traces: list[Trace]) -> None:
    """Of a holder who has caught the ball and has not dribbled: just those who have been found are weighed
    (and are neither too near nor too far, nor by the half-court line)."""
    k, ahead_of = home[0].k, home[0].rules.half_y_m - 0.2
    seen = Counter[bool]()
    for t in traces:
        for step, options in decisions(t):
            before, now = t.states[step - 1], t.states[step]
            unused = before["dribble"] == Dribble.UNUSED and before["play_t"] == now["play_t"]
            if before["n_catches"] == 0 or not unused:
                continue
            who, weighed = int(options[0, 2]), passes_to(options)
            for j in others(who):
                length = apart(t, step, who, j)
                within = k.pass_shortest_m < length < k.pass_longest_m
                if within and t.agents["y"][step, j] <= ahead_of:
                    found = bool(now["now"] >= t.agents["found_t"][step, j])
                    assert (j in weighed) == found, (step, who, j)
                    seen[found] += 1
    assert min(seen[True], seen[False]) > 500, seen


def thrown(traces: Iterable[Trace]) -> Iterator[tuple[bool, list[str]]]:
    """Of each pass that is decided on: whether its target has been found, and why its passer sees all."""
    for t in traces:
        for step, options in decisions(t):
            now, chosen = t.states[step], int(options[options[:, 5] == 1.0][0, 3])
            if chosen >= Option.PASS_1:
                why = {
                    "after a trap": now["trap_phase"] == TrapPhase.AFTER,
                    "nobody has caught it yet": now["n_catches"] == 0,
                    "he has dribbled": now["dribble"] != Dribble.UNUSED,
                }
                found = now["now"] >= t.agents["found_t"][step, chosen - Option.PASS_1]
                yield bool(found), [reason for reason, holds in why.items() if holds]


def test_no_pass_to_a_man_who_has_not_been_found() -> None:
    """But by who sees all: his trap is behind him, nobody has caught the ball yet, or he has dribbled. Each
    of these alone is enough for some pass; being trapped is not."""
    early: Counter[str] = Counter()
    found = 0
    for start in ("bring_up", "frontcourt"):
        for before, why in thrown(watched(trapping(start, look_s=2.0))):
            found += before
            if not before:
                assert why
                early.update(why if len(why) == 1 else ())
    assert found > 500 and len(early) == 3 and min(early.values()) > 10, (found, early)


# --- past a trap's arms -------------------------------------------------------------------------------------


def in_the_way(world: Any, t: Trace, step: int, holder: int, j: int) -> int:
    """How many of a trap's two men stand close to the holder with their arms between him and j."""
    k, n = world[0].k, 0
    way = place(t, step, j) - place(t, step, holder)
    for trapper in (int(t.states["trapper_0"][step]), int(t.states["trapper_1"][step])):
        off = place(t, step, trapper) - place(t, step, holder)
        share = float(np.clip(off @ way / (way @ way), 0.0, 1.0))
        reached = share > 0.0 and np.hypot(*(off - share * way)) < k.trap_arm_m
        n += bool(reached and np.hypot(*off) < k.pressure_within_m)
    return n


def glances(world: Any, traces: list[Trace]) -> Iterator[tuple[int, float, bool]]:
    """(men whose arms are in the way, distance, is he an option) of each man whom a trapped holder, who knows
    of the trap, has found."""
    ahead_of = world[0].rules.half_y_m - 0.2
    for t in traces:
        for step, options in decisions(t):
            now, who = t.states[step], int(options[0, 2])
            if now["trap_phase"] not in IN_A_TRAP:
                continue
            if now["trap_phase"] == TrapPhase.COMING and now["now"] < now["trap_read_t"]:
                continue
            for j in others(who):
                if now["now"] >= t.agents["found_t"][step, j] and t.agents["y"][step, j] <= ahead_of:
                    n = in_the_way(world, t, step, who, j)
                    yield n, apart(t, step, who, j), j in passes_to(options)


@pytest.mark.parametrize("view_m", [6.0, 15.0])
def test_a_traps_arms_hide_who_is_behind_them(view_m: float) -> None:
    """At a glance past the arms of n men somebody at distance d is an option with exp(-n d / view_m), past
    none always: near and far men, one pair of arms and two, each within 4 standard errors."""
    world, traces = trapped(view_m)
    found = np.array(list(glances(world, traces)))
    n, d, seen = found.T
    assert (n == 0).sum() > 500 and (seen[n == 0] == 1.0).all()
    p = np.exp(-n * d / view_m)
    for behind in (1, 2):
        middle = np.median(d[n == behind])
        for part in ((n == behind) & (d < middle), (n == behind) & (d >= middle)):
            error = np.sqrt(np.sum((p * (1.0 - p))[part]))
            assert part.sum() > 100 and error > 2.0, (behind, part.sum(), error)
            assert abs(seen[part].sum() - p[part].sum()) < 4.0 * error, (
                behind,
                seen[part].mean(),
                p[part].mean(),
            )


def test_a_glance_past_arms_is_drawn_anew_at_every_decision() -> None:
    """Two glances of one look at the same man, arms in the way at both: whether he is seen is drawn apart, so
    that as often as their chances say he is seen at one and not at the other (4 standard errors)."""
    world, traces = trapped(6.0)
    changed, expected = [], []
    for t in traces:
        found = decisions(t)
        for (one, first), (two, second) in zip(found, found[1:], strict=False):
            a, b, who = t.states[one], t.states[two], int(first[0, 2])
            on = all(
                now["trap_phase"] in IN_A_TRAP
                and (now["trap_phase"] == TrapPhase.SET or now["now"] >= now["trap_read_t"])
                for now in (a, b)
            )
            if not on or a["n_looks"] != b["n_looks"] or a["catch_t"] != b["catch_t"]:
                continue
            for j in others(who):
                behind = [in_the_way(world, t, step, who, j) for step in (one, two)]
                if min(behind) > 0 and a["now"] >= t.agents["found_t"][one, j]:
                    p, q = (
                        np.exp(-n * apart(t, step, who, j) / 6.0)
                        for n, step in zip(behind, (one, two), strict=True)
                    )
                    changed.append((j in passes_to(first)) != (j in passes_to(second)))
                    expected.append(p * (1.0 - q) + q * (1.0 - p))
    p = np.array(expected)
    error = np.sqrt(np.sum(p * (1.0 - p)))
    assert len(p) > 100 and abs(np.sum(changed) - p.sum()) < 4.0 * error, (np.mean(changed), p.mean())


# --- how a pass is taken ------------------------------------------------------------------------------------


def test_who_can_reach_a_pass_takes_it_where_he_stands(home: Any, traces: list[Trace]) -> None:
    """While the ball flies, a receiver whom it passes within ``hands_m`` makes for no other place than his
    own; any other runs to where it ends (on the court)."""
    k, court = home[0].k, home[0].rules
    stands = comes = 0
    for t in traces:
        s = t.states
        flies = (s["mode"][:-1] == Mode.PASS_FLIGHT) & (s["mode"][1:] != Mode.OVER)
        for n in np.flatnonzero(flies & (np.diff(s["n_restarts"]) == 0)) + 1:
            was, who = s[n - 1], int(s["target"][n - 1])
            end = np.array([was["pass_x1"], was["pass_y1"]])
            goes = np.array([t.agents["tx"][n, who], t.agents["ty"][n, who]])
            if np.hypot(*(place(t, n - 1, who) - end)) < k.hands_m:
                np.testing.assert_array_equal(goes, place(t, n - 1, who))
                stands += 1
            else:
                low, high = (-court.half_width_m, court.baseline_y_m), (court.half_width_m, court.far_y_m)
                np.testing.assert_allclose(goes, np.clip(end, low, high), atol=1e-9)
                comes += 1
    assert stands > 1000 and comes > 1000, (stands, comes)
