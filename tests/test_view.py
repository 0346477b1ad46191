"""Whom the ball's holder finds and when, whom a trap's arms hide from him, how a pass is taken.

How long it takes to find a man, or to see him past arms, is held against the exponential law of scipy.stats;
which random word is whose, against the plain generator of the twin. No outside source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any

import numpy as np
import pytest
from naive_basics import uniforms
from scipy.stats import expon, kstest, spearmanr
from slides import SEED, built
from test_calls import QUIET, called
from test_looks import decisions, mean_look_s

from engine.kernel.batch import Trace
from engine.run.watch import watch_numbers
from engine.state.words import Dribble, Mode, Option, TrapPhase

N = 800
#: No man is too near or too far to be an option.
ANY_LENGTH = {"pass_shortest_m": 0.0, "pass_longest_m": 1000.0}
#: Nobody passes out of a trap, nor is it over soon: whom he sees changes nothing of how long he looks.
KEPT = {**QUIET, "decision_period_s": 0.3, "belief_pass_set_points": -9.0, "belief_pass_coming_points": -9.0}


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
def trapped(past_arms_s_per_m: float) -> tuple[Any, list[Trace]]:
    world = trapping(**ANY_LENGTH, **KEPT, past_arms_s_per_m=past_arms_s_per_m)
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


def thrower(t: Trace, step: int) -> int:
    """Whose pass is caught in a step, -1 if none is."""
    caught = step > 0 and t.states["n_catches"][step] > t.states["n_catches"][step - 1]
    return int(t.states["passer"][step]) if caught else -1


def too_late(world: Any, t: Trace, step: int, who: int) -> bool:
    """Whether the holder's seconds in the lane may be up before a pass leaves his hands: a faked one, over
    the top."""
    k, count = world[0].k, world[0].rules.three_seconds_s
    pressure = sum(apart(t, step, who, i) < k.pressure_within_m for i in range(5, 10))
    leaves_s = t.agents["lane_t"][step, who] + k.pass_release_s + k.release_pressure_s * pressure
    return bool(count > 0.0 and leaves_s + k.fake_s + k.over_release_s >= count)


def views(world: Any, t: Trace) -> Iterator[tuple[int, int, Any]]:
    """(step, holder, its options) of each decision in which there is time for a pass."""
    for step, options in decisions(t):
        who = int(options[0, 2])
        if not too_late(world, t, step, who):
            yield step, who, options


def may_get_it(world: Any, t: Trace, step: int, who: int, j: int) -> bool:
    """Whether a team-mate, once found, can be passed to: where he is, and how far away."""
    k, ahead_of = world[0].k, world[0].rules.half_y_m - 0.2
    within = k.pass_shortest_m < apart(t, step, who, j) < k.pass_longest_m
    return bool(within and t.agents["y"][step, j] <= ahead_of)


def since_catch(t: Trace, step: int) -> float:
    return float(t.states["now"][step] - t.states["catch_t"][step])


# --- when a team-mate is found ------------------------------------------------------------------------------


def test_how_long_it_takes_to_find_a_man_is_exponential(home: Any, traces: list[Trace]) -> None:
    """``find_s_per_m`` as somebody takes the ball, over its mean by his passing, is exponential, mean 1:
    Kolmogorov and Smirnov's test against scipy.stats.expon, n over 4,000, seed fixed, wrong once in 1,000;
    so, too, of who is near and far, and for who passes better and worse; by ranks it has nothing to do with
    the distance (4 standard errors)."""
    k, players = home[0].k, home[0].players
    drawn, length, passing = [], [], []
    for t in traces:
        for n in taken(t):
            who = int(t.states["handler"][n])
            for j in others(who):
                if j != thrower(t, n):
                    mean_s_per_m = mean_look_s(home, who) / k.find_at_m
                    drawn.append(t.agents["find_s_per_m"][n, j] / mean_s_per_m)
                    length.append(apart(t, n, who, j))
                    passing.append(players[who].passing)
    times, far = np.array(drawn), np.array(length) > np.median(length)
    better = np.array(passing) > np.median(passing)
    assert len(times) > 4000 and min(better.sum(), (~better).sum()) > 800
    for part in (times, times[far], times[~far], times[better], times[~better]):
        assert kstest(part, expon.cdf).pvalue > 1e-3, (len(part), part.mean())
    assert abs(spearmanr(times, length).statistic) < 4.0 / np.sqrt(len(times))


def test_each_of_the_four_is_found_by_a_word_of_his_own(home: Any, traces: list[Trace]) -> None:
    """The four words of draw LOOK(1, step), read by the twin's generator, in the order of their numbers; but
    who has thrown the pass that is caught is known, and the holder's own ``find_s_per_m`` stays."""
    k, asked = home[0].k, Counter[str]()
    for number, t in enumerate(traces):
        found = t.agents["find_s_per_m"][:, :5]
        for n in taken(t):
            who, known = int(t.states["handler"][n]), thrower(t, n)
            assert n == 0 or found[n, who] == found[n - 1, who]
            u = np.exp(-found[n, others(who)] / mean_look_s(home, who) * k.find_at_m)
            words = np.array(uniforms(SEED, number, "LOOK", 1, int(n)))
            if known >= 0:
                words[others(who).index(known)] = 1.0
            np.testing.assert_allclose(u, words, rtol=1e-6)
            asked[f"by {who}"] += 1
            asked["caught" if known >= 0 else "taken"] += 1
    assert min(asked[f"by {who}"] for who in range(5)) > 50, asked
    assert asked["caught"] > 500 and asked["taken"] > N, asked


def test_who_has_been_found_stays_found(home: Any, traces: list[Trace]) -> None:
    """In a decision just those are weighed (who may get a pass at all) whom the holder has found before, or
    finds now by the time since he took the ball and their distance of now; 0 is written for them, and nothing
    else changes ``find_s_per_m`` until another takes the ball."""
    seen = Counter[str]()
    for t in traces:
        found = t.agents["find_s_per_m"][:, :5]
        expected = found.copy()
        expected[1:] = found[:-1]
        expected[taken(t)] = found[taken(t)]
        for step, who, options in views(home, t):
            for j in others(who):
                before, d = found[step - 1, j], apart(t, step, who, j)
                if since_catch(t, step) >= before * d:
                    expected[step, j] = 0.0
                if may_get_it(home, t, step, who, j):
                    assert (j in passes_to(options)) == (expected[step, j] == 0.0), (step, who, j)
                    how = "before" if before == 0.0 else "now" if expected[step, j] == 0.0 else "not yet"
                    seen[how] += 1
        np.testing.assert_array_equal(found, expected)
    assert min(seen["before"], seen["now"], seen["not yet"]) > 500, seen


def test_who_has_been_found_by_the_first_decision() -> None:
    """Where anybody may be passed to, the share of men who are weighed in the first decision after a catch is
    that of the exponential law by their distance and the time since the catch: 4 standard errors, of near and
    far men apart. But who threw the pass is an option at once, always."""
    world = built(start="frontcourt", setting=[], constants={**ANY_LENGTH, "look_s": 0.8}).home
    found, expected, length = [], [], []
    known = 0
    for t in watched(world):
        caught = {float(t.states["catch_t"][n]): thrower(t, n) for n in taken(t)}
        for step, who, options in views(world, t):
            passer = caught.pop(float(t.states["catch_t"][step]), -1)
            for j in others(who) if passer >= 0 else ():
                if not may_get_it(world, t, step, who, j):
                    continue
                if j == passer:
                    assert j in passes_to(options)
                    known += 1
                    continue
                d = apart(t, step, who, j)
                mean_s = mean_look_s(world, who) * d / world[0].k.find_at_m
                found.append(j in passes_to(options))
                expected.append(float(expon.cdf(since_catch(t, step) / mean_s)))
                length.append(d)
    p, f, d = np.array(expected), np.array(found), np.array(length)
    for part in (d < 5.0, d >= 5.0):
        error = np.sqrt(np.sum((p * (1.0 - p))[part]))
        assert part.sum() > 300 and 0.1 < p[part].mean() < 0.8
        assert abs(f[part].sum() - p[part].sum()) < 4.0 * error, (f[part].mean(), p[part].mean())
    assert p[d < 5.0].mean() > p[d >= 5.0].mean() + 0.1 and known > 300


def test_no_pass_to_a_man_who_has_not_been_found() -> None:
    """By nobody: neither before anybody has caught the ball, nor by who has dribbled, nor once a trap is
    behind him; in each of these there are men who are not found yet."""
    early: Counter[str] = Counter()
    thrown: Counter[bool] = Counter()
    for start in ("bring_up", "frontcourt"):
        world = trapping(start, look_s=2.0)
        for t in watched(world):
            for step, who, options in views(world, t):
                now, before = t.states[step], t.agents["find_s_per_m"][step - 1]
                why = {
                    "after a trap": now["trap_phase"] == TrapPhase.AFTER,
                    "nobody has caught it yet": now["n_catches"] == 0,
                    "he has dribbled": t.states["dribble"][step - 1] != Dribble.UNUSED,
                }
                chosen = int(options[options[:, 5] == 1.0][0, 3]) - Option.PASS_1
                for j in others(who):
                    found = since_catch(t, step) >= before[j] * apart(t, step, who, j)
                    if j == chosen:
                        assert found, (step, who, j)
                        thrown[bool(before[j] == 0.0)] += 1
                    elif not found:
                        assert j not in passes_to(options)
                        early.update(reason for reason, holds in why.items() if holds)
    assert min(thrown[True], thrown[False]) > 200, thrown
    assert len(early) == 3 and min(early.values()) > 100, early


# --- past a trap's arms -------------------------------------------------------------------------------------


def in_the_way(world: Any, t: Trace, step: int, holder: int, j: int) -> int:
    """How many of a trap's two men have their arms between the holder and j."""
    k, n = world[0].k, 0
    way = place(t, step, j) - place(t, step, holder)
    for trapper in (int(t.states["trapper_0"][step]), int(t.states["trapper_1"][step])):
        off = place(t, step, trapper) - place(t, step, holder)
        share = float(np.clip(off @ way / (way @ way), 0.0, 1.0))
        n += bool(share > 0.0 and np.hypot(*(off - share * way)) < k.trap_arm_m)
    return n


def glances(world: Any, traces: list[Trace], phase: TrapPhase) -> Iterator[tuple[int, Any, float, bool]]:
    """(men whose arms are in the way, (possession, trap, word), time since the trap was set over its mean, is
    he an option) of each man whom a holder has found, in a phase of the trap that the holder knows of; the
    mean is n d past_arms_s_per_m (1.5 - passing), without arms 0 and the time over it 0, too."""
    for t in traces:
        for step, who, options in views(world, t):
            now = t.states[step]
            read = now["trap_phase"] == TrapPhase.SET or now["now"] >= now["trap_read_t"]
            if now["trap_phase"] != phase or not read:
                continue
            for word, j in enumerate(others(who)):
                if t.agents["find_s_per_m"][step, j] > 0.0 or not may_get_it(world, t, step, who, j):
                    continue
                n, d = in_the_way(world, t, step, who, j), apart(t, step, who, j)
                mean_s = n * d * world[0].k.past_arms_s_per_m * (1.5 - world[0].players[who].passing)
                since = (now["now"] - now["trap_read_t"]) / mean_s if n else 0.0
                whose = int(now["possession"]), int(now["trap_number"]), word
                yield n, whose, since, j in passes_to(options)


@pytest.mark.parametrize("past_arms_s_per_m", [0.05, 0.2])
def test_a_standing_traps_arms_hide_who_is_behind_them(past_arms_s_per_m: float) -> None:
    """Past the arms of n men somebody at distance d is an option at a time T after the trap was set with
    1 - exp(-T / (n d past_arms_s_per_m (1.5 - passing))), past none at once: one glance of each trap and man
    (any of them, drawn here), by that chance below and above a half, one man's arms and two's, each within 4
    standard errors. Arms of men who are on their way to a trap hide nobody."""
    world, traces = trapped(past_arms_s_per_m)
    coming = [(n, seen) for n, _, _, seen in glances(world, traces, TrapPhase.COMING)]
    assert all(seen for _, seen in coming) and sum(n > 0 for n, _ in coming) > 100
    found = list(glances(world, traces, TrapPhase.SET))
    assert all(seen for n, _, _, seen in found if n == 0) and sum(n == 0 for n, *_ in found) > 100
    by_man: dict[tuple[int, ...], list[tuple[int, float, bool]]] = {}
    for n, whose, since, seen in found:
        if n > 0:
            by_man.setdefault(whose, []).append((n, since, seen))
    luck = np.random.default_rng(1)
    n, since, seen = np.array([part[luck.integers(len(part))] for part in by_man.values()]).T
    p = expon.cdf(since)
    for part in (p < 0.5, p >= 0.5, n == 1, n == 2):
        error = np.sqrt(np.sum((p * (1.0 - p))[part]))
        assert part.sum() > 50 and error > 2.0, (part.sum(), error)
        assert abs(seen[part].sum() - p[part].sum()) < 4.0 * error, (seen[part].mean(), p[part].mean())


def test_each_of_the_four_is_seen_past_arms_by_a_word_of_his_own_for_the_whole_trap() -> None:
    """The four words of draw LOOK(2, trap_number), read by the twin's generator: at every glance out of a
    trap it is the same one that tells whether he is seen by now, so that many are seen who were hidden
    before, and few hidden again, only behind more arms or farther away, or where the trap is set anew."""
    world, traces = trapped(0.2)
    changed: Counter[tuple[bool, bool]] = Counter()
    was: dict[tuple[int, ...], bool] = {}
    for n, whose, since, seen in glances(world, traces, TrapPhase.SET):
        if n > 0:
            number, trap, word = whose
            u = uniforms(SEED, number, "LOOK", 2, trap)[word]
            assert seen == (since >= -np.log(u)), (whose, since, u)
            changed[was.get(whose, seen), seen] += 1
            was[whose] = seen
    assert changed[False, True] > 30 and changed[False, True] > 3 * changed[True, False], changed
    assert changed[False, False] > 100 and changed[True, True] > 100, changed


# --- seconds in the lane ------------------------------------------------------------------------------------


def test_no_pass_that_would_leave_too_late() -> None:
    """Whose seconds in the lane are up before a pass could leave his hands thinks of none."""
    rules, camp = {"clock.offensive_three_seconds_s": 2.0}, {"lane_camp_mps": 10.0, "hold_value_points": 1.8}
    world = built(start="frontcourt", setting=[], constants=camp, rules_changes=rules).home
    asked = Counter[str]()
    for t in watched(world):
        for step, options in decisions(t):
            if t.agents["lane_t"][step, who := int(options[0, 2])] > 0.5:
                late = too_late(world, t, step, who)
                assert not (late and passes_to(options))
                asked["late"] += late
                asked["in time"] += bool(passes_to(options))
    assert asked["late"] > 50 and asked["in time"] > 50, asked


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
