"""The handler's eyes and feet: noise once a look, a look before he drives, drives that keep their line.

How long he looks is held against the exponential law of scipy.stats, choices against those of Gumbel noise;
which random word is whose, against the plain generator of the twin.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any

import numpy as np
import pytest
from naive_basics import uniforms
from scipy.stats import expon, gumbel_r, kstest
from slides import PATIENT, built
from test_calls import called

from engine.run.watch import watch_numbers
from engine.state.words import Action, Dribble, Event, Mode, Option, TrapPhase

N = 800
DRIVES = range(Option.DRIVE_FAR_RIGHT, Option.DRIVE_FAR_LEFT + 1)


@pytest.fixture(scope="module")
def world() -> Any:
    return built(start="bring_up", setting=[]).home


def watched(world: Any) -> Iterator[Any]:
    for block in watch_numbers(world, 6, np.arange(N), what=("s", "agents")):
        yield from block.traces()


@pytest.fixture(scope="module")
def traces(world: Any) -> list[Any]:
    return list(watched(world))


def decisions(t: Any) -> list[tuple[int, Any]]:
    """(step, its options) of each decision, in order."""
    numbers = t.options[:, 1]
    return [
        (int(np.searchsorted(t.states["t"], part[0, 0] - 1e-6)), part)
        for part in (t.options[numbers == n] for n in np.unique(numbers))
    ]


def is_three(rules: Any, x: float, y: float) -> bool:
    return bool(abs(x) > rules.corner_x_m if y <= rules.corner_break_y_m else np.hypot(x, y) > rules.arc_m)


def as_chosen(world: Any, t: Any, step: int, options: Any) -> Any:
    """The options with the values that count in the choice, before noise: without what he asks more of his
    own three."""
    k, here = world[0].k, t.agents[step, int(options[0, 2])]
    fading = -np.expm1(-max(t.states["clock_s"][step] - 0.8, 0.0) / k.hold_tau_s)
    options = options.copy()
    asked = k.reluctance_threes_points * is_three(world[0].rules, here["x"], here["y"])
    options[options[:, 3] == Option.SHOOT, 4] -= asked * fading
    return options


def test_noise_is_drawn_once_a_look(world: Any, traces: list[Any]) -> None:
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
            first = {int(o[3]): o[4] for o in as_chosen(world, t, m, one)}
            second = {int(o[3]): o[4] for o in as_chosen(world, t, n, other)}
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


def first_decisions(world: Any, traces: Iterable[Any]) -> Iterator[tuple[Any, Any, Any]]:
    """(state, scale of the options' noise, options as chosen) of the decision that makes a look."""
    k = world[0].k
    for t in traces:
        for step, options in decisions(t):
            now = t.states[step]
            if now["n_looks"] == t.states["n_looks"][step - 1]:
                continue
            scale = k.noise_points * (1.5 - world[0].players[int(options[0, 2])].passing)
            yield now, scale, as_chosen(world, t, step, options)


@cache
def misjudged(share: float) -> tuple[Any, list[Any]]:
    """World and traces; ``share`` of the variance of a pass's noise is of all passes alike."""
    constants = {"pass_alike_share": share, "noise_points": 0.15}
    world = built(start="bring_up", setting=[], constants=constants).home
    return world, list(watched(world))


def is_pass(options: Any) -> Any:
    return options[:, 3] >= Option.PASS_1


def p_hold(ahead: Any, passes: Any, share: float) -> float:
    """P(no noise exceeds what hold is ahead by, in scales): G(u) Gumbel with mean 0, independent, that of a
    pass sqrt(1 - share) G(u) + sqrt(share) G(v), v of all of them: the mean over 1,000 quantiles of G(v)."""
    noise = gumbel_r(-np.euler_gamma)
    v = noise.ppf((np.arange(1000.0) + 0.5) / 1000.0)[:, None]
    with np.errstate(divide="ignore", over="ignore"):
        own = (ahead[passes] - np.sqrt(share) * v) / np.sqrt(1.0 - share)  # infinite if none is his own
        return float(noise.cdf(own).prod(axis=1).mean() * noise.cdf(ahead[~passes]).prod())


def test_how_often_passes_alike_leave_the_ball_with_him() -> None:
    """``p_hold`` against what is known: independent noise, P = prod exp(-exp(-d - 0.5772)), and noise of all
    passes alike, where only the best one counts."""
    d, passes = np.array([0.4, -0.3, 1.1, 0.2]), np.array([False, True, True, True])

    def none_of(ahead: Any) -> float:
        return float(np.exp(-np.exp(-ahead - np.euler_gamma).sum()))

    alone, alike = none_of(d), none_of(d[:2])
    assert abs(p_hold(d, passes, 0.0) - alone) < 1e-12 and abs(p_hold(d, passes, 1.0) - alike) < 1e-3
    assert alone + 0.05 < p_hold(d, passes, 0.5) < alike - 0.05


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_what_is_chosen_in_a_look(share: float) -> None:
    """Gumbel noise with mean 0 and scale s for all but holding, which has none, that of passes alike by
    ``pass_alike_share``: P(hold) is that of ``p_hold``. Over 1,000 looks, thirds of them by it and the tenth
    where it is greatest, within 4 standard errors; told from the law of another share."""
    held, expected, unlike = [], [], []
    for _, scale, options in first_decisions(*misjudged(share)):
        is_hold = options[:, 3] == Option.HOLD
        ahead, passes = (options[is_hold, 4] - options[~is_hold, 4]) / scale, is_pass(options[~is_hold])
        expected.append(p_hold(ahead, passes, share))
        unlike.append(p_hold(ahead, passes, 1.0 if share == 0.0 else 0.0))
        held.append(options[is_hold, 5][0])
    p, h = np.array(expected), np.array(held)
    assert len(p) > 1000
    thirds = np.quantile(p, (1 / 3, 2 / 3, 0.9))
    # so unlike that noise of another size would show, however levels are fitted
    assert p[p >= thirds[2]].mean() > p[p < thirds[0]].mean() + 0.2
    for part in (p < thirds[0], (p >= thirds[0]) & (p < thirds[1]), p >= thirds[1], p >= thirds[2]):
        error = np.sqrt(np.sum((p * (1.0 - p))[part]))
        assert part.sum() > 200 and abs(h[part].sum() - p[part].sum()) < 4.0 * error, (
            h[part].mean(),
            p[part],
        )
    assert abs(h.sum() - np.sum(unlike)) > 4.0 * np.sqrt(np.sum(p * (1.0 - p))), (h.mean(), np.mean(unlike))


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_what_is_chosen_where_all_is_tried(share: float) -> None:
    """In the first decision of look ``tried_look`` every option, holding too, has Gumbel noise of scale 1:
    choices by the logit law, P = exp(value) / sum (McFadden 1974, from memory), of all options where passes
    are misjudged one by one, of all but the passes that are not the best where they are misjudged alike.
    Kinds of options over 300 looks, within 4 standard errors."""
    constants = {"tried_look": 2, "pass_alike_share": share}
    world = built(start="bring_up", setting=[], constants=constants).home
    kind_of = {Option.SHOOT: 0, Option.HOLD: 1} | dict.fromkeys(DRIVES, 2)
    chosen, expected = [], []
    for now, _, options in first_decisions(world, watched(world)):
        if now["n_looks"] != 2:
            continue
        passes, weights = is_pass(options), np.exp(options[:, 4])
        less = passes & (weights < np.max(weights, where=passes, initial=0.0))
        kinds = np.array([kind_of.get(int(o), 3) for o in options[:, 3]]) + less
        if share == 1.0:
            weights[less] = 0.0
        expected.append(np.bincount(kinds, weights / weights.sum(), 5))
        chosen.append(np.bincount(kinds, options[:, 5], 5))
    p = np.array(expected)
    assert len(p) > 300
    error = np.sqrt(np.sum(p * (1.0 - p), axis=0))
    assert (np.abs(np.sum(chosen, axis=0) - p.sum(axis=0)) <= 4.0 * error).all(), (chosen, p)
    assert (error[:4] > 3.0).all() and (error[4] > 3.0) == (share == 0.0)


def test_only_the_best_pass_is_chosen_where_all_are_misjudged_alike() -> None:
    """In every decision; where they are misjudged one by one or half alike, others are, too."""
    others = {}
    for share in (0.0, 0.5, 1.0):
        best = others[share] = 0
        for _, options in (one for t in misjudged(share)[1] for one in decisions(t)):
            passes = options[is_pass(options)]
            if len(passes) > 1 and passes[:, 5].any():
                is_best = passes[passes[:, 5] == 1.0][0, 4] == passes[:, 4].max()
                best, others[share] = best + is_best, others[share] + (not is_best)
        assert best > 300
    assert others[0.0] > others[0.5] > 100 and others[1.0] == 0, others


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_whose_noise_is_of_which_word(share: float) -> None:
    """Words of draw CHOICE(subject, n_looks), read by the twin's generator, explain every choice that begins
    a look. Whatever the share, the noise of a pass so found out has mean 0 and the variance of the Gumbel law
    (4 standard errors); that of two passes is correlated by the share."""
    words = {Option.SHOOT: (0, 0), Option.RETREAT: (0, 2), Option.SPLIT: (0, 3)}
    words |= {d: divmod(4 + m, 4) for m, d in enumerate(DRIVES)}
    law, found = gumbel_r(-np.euler_gamma), []
    for now, scale, options in first_decisions(*misjudged(share)):

        def g(subject: int, word: int, now: Any = now) -> float:
            u = uniforms(6, int(now["possession"]), "CHOICE", subject, int(now["n_looks"]))[word]
            return float(law.ppf(u))

        noise = np.zeros(len(options))
        for i, option in enumerate(map(int, options[:, 3])):
            if option >= Option.PASS_1:
                own, alike = g(3 + option - Option.PASS_1, 0), g(2, 1)
                noise[i] = np.sqrt(1.0 - share) * own + np.sqrt(share) * alike
            elif option != Option.HOLD:
                noise[i] = g(*words[Option(option)])
        assert options[np.argmax(options[:, 4] + scale * noise), 5] == 1.0, (now, options)
        if is_pass(options).sum() > 1:
            found.append(noise[is_pass(options)][:2])
    pair = np.array(found)
    assert (n := len(pair)) > 1000
    assert (np.abs(pair.mean(axis=0)) < 4.0 * np.sqrt(law.var() / n)).all()
    assert (np.abs(pair.var(axis=0) / law.var() - 1.0) < 4.0 * np.sqrt(4.4 / n)).all(), "kurtosis 5.4"
    assert abs(np.corrcoef(pair.T)[0, 1] - share) < 4.0 * np.sqrt(2.0 / n)


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
    constants = {"belief_stopped_points": 0.2, "noise_points": 0.3, "drive_most_s": 1.2}
    world = built(start="frontcourt", setting=[], constants=constants).home
    k = world[0].k
    stopped = used_up = 0
    for t in watched(world):
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


def mean_look_s(world: Any, who: int) -> float:
    """Of an attacker in a game without a trap so far."""
    k = world[0].k
    return max(k.look_s * (1.5 - world[0].players[who].passing), k.read_delay_least_s)


def may_drive(world: Any, t: Any, step: int) -> bool:
    """A ball held where new drives are weighed by who has looked: his dribble alive, no trap that stands."""
    before, now = t.states[step - 1], t.states[step]
    h = t.agents[step, int(before["handler"])]
    return bool(
        before["action"] != Action.DRIVE
        and Dribble.DEAD not in (before["dribble"], now["dribble"])
        and now["trap_phase"] != TrapPhase.SET
        and 0.8 < np.hypot(h["x"], h["y"]) < 9.0
        and now["t"] - before["stopped_t"] >= world[0].k.drive_rest_s
    )


def closes_out(world: Any, t: Any, step: int) -> set[bool]:
    """Whether the nearest defender runs at the ball's holder; of two who touch him, of either."""
    h, d = t.agents[step, int(t.states["handler"][step - 1])], t.agents[step, 5:]
    e = np.hypot(dx := h["x"] - d["x"], dy := h["y"] - d["y"])
    runs = d["vx"] * dx + d["vy"] * dy > world[0].k.closing_mps * e
    return set(runs[e < e.min() + 1e-9].tolist())  # which of two is nearer hangs on the last bit


def looks_first(world: Any, traces: Iterable[Any]) -> Counter[tuple[str, str]]:
    """(what is known of a trap, of the holder) -> decisions; asks in each that new drives are weighed by who
    has looked, and by who has not only at a man who runs at him."""
    seen: Counter[tuple[str, str]] = Counter()
    for t in traces:
        for step, options in decisions(t):
            if not may_drive(world, t, step):
                continue
            before, now = t.states[step - 1], t.states[step]
            weighed = bool(set(DRIVES) & {int(o) for o in options[:, 3]})
            looked, either = bool(now["now"] >= now["looked_t"]), closes_out(world, t, step)
            assert weighed in {looked or closed for closed in either}, (step, looked, either)
            closed = True in either
            phase = now["trap_phase"]
            if phase == TrapPhase.COMING and now["now"] < now["trap_read_t"]:
                phase = TrapPhase.NONE
            told = ["looked" if looked else "not looked, closed out" if closed else "not looked"]
            if told[0] == "not looked":
                told += ["and dribbled"] * bool(before["dribble"] != Dribble.UNUSED)
                told += ["and nobody has caught it yet"] * bool(now["n_catches"] == 0)
            seen.update((TrapPhase(phase).name, one) for one in told)
    return seen


def test_looks_before_he_drives(world: Any, traces: list[Any]) -> None:
    """Only a late close-out is driven at before he has looked, by who has dribbled, too, and before anybody
    has caught the ball; after it drives are weighed."""
    seen = looks_first(world, traces)
    assert min(seen["NONE", one] for one in ("looked", "not looked", "not looked, closed out")) > 50, seen
    slow = built(start="frontcourt", setting=[], constants={"look_s": 2.0}).home
    seen = looks_first(slow, watched(slow))
    assert min(seen["NONE", one] for one in ("and dribbled", "and nobody has caught it yet")) > 50, seen


def test_who_is_trapped_looks_before_he_drives() -> None:
    """Nobody is spared the look because he knows of a trap, or because it is behind him."""
    call = {"call": "corner", "probability": 1.0}
    constants = {"look_s": 2.0, "handler_read_s": 0.1, "belief_hold_coming_points": 0.5}
    world = built(setting=[{"name": "corner", "call": [call]}], constants=constants).settings[0].world
    seen = looks_first(world, called(world, 400))
    assert seen["COMING", "not looked"] > 30 and seen["AFTER", "not looked"] > 30, seen


def test_how_long_he_looks_is_exponential(world: Any, traces: list[Any]) -> None:
    """The time from taking the ball to ``looked_t``, over its mean by the taker's passing, is exponential,
    mean 1: Kolmogorov and Smirnov's test against scipy.stats.expon, n over 1,000, seed fixed, wrong once in
    1,000; for those who pass better and worse than the median, too. Until another takes the ball it stays."""
    assert world[0].rules.traps_seen == 0
    drawn: list[float] = []
    passing: list[float] = []
    for t in traces:
        s = t.states
        taken = np.concatenate([[True], np.diff(s["catch_t"]) > 0.0])
        assert (taken[1:] | (np.diff(s["looked_t"]) == 0.0)).all()
        for n in np.flatnonzero(taken):
            who = int(s["handler"][n])
            drawn.append((s["looked_t"][n] - s["catch_t"][n]) / mean_look_s(world, who))
            passing.append(world[0].players[who].passing)
    looks, better = np.array(drawn), np.array(passing) > np.median(passing)
    assert len(looks) > 1000 and min(better.sum(), (~better).sum()) > 200
    for part in (looks, looks[better], looks[~better]):
        assert kstest(part, expon.cdf).pvalue > 1e-3, (len(part), part.mean())


def test_who_has_looked_by_his_first_decision() -> None:
    """Where nobody runs at him, the share of first decisions after a catch in which drives are weighed is
    that of the exponential law by the time since the catch: n over 300, 4 standard errors."""
    world = built(start="frontcourt", setting=[], constants={"look_s": 0.8}).home
    k = world[0].k
    looked: list[bool] = []
    expected: list[float] = []
    for t in watched(world):
        s, last = t.states, 0.0
        for step, options in decisions(t):
            catch_t = s["catch_t"][step]
            if catch_t == last:
                continue
            last = catch_t
            if not may_drive(world, t, step) or True in closes_out(world, t, step):
                continue
            since = s["t"][step] + 0.5 * k.time_step_s - catch_t
            looked.append(bool(set(DRIVES) & {int(o) for o in options[:, 3]}))
            expected.append(float(expon.cdf(since / mean_look_s(world, int(s["handler"][step - 1])))))
    p = np.array(expected)
    assert len(p) > 300 and 0.2 < p.mean() < 0.8
    assert abs(np.sum(looked) - p.sum()) < 4.0 * np.sqrt(np.sum(p * (1.0 - p))), (np.mean(looked), p.mean())


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
