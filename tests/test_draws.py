"""Random numbers: Philox itself, the layout of its counter, and what a played possession asks of it.

A possession is played interpreted in a process of its own, where every request for a draw can be written
down: who asked for which counter, and which of its four words were used.
"""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
import types
from collections import Counter, defaultdict
from itertools import islice
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from kernel_process import ROOT, SCENARIO, SWITCHES, here
from scipy import stats

from engine.inputs import load_scenario
from engine.kernel import draws
from engine.kernel.batch import new_scratch, trace_possession
from engine.kernel.jit import njit
from engine.state.words import TrapPhase
from engine.world.pack import pack

KERNEL = ROOT / "engine" / "kernel"
SETTING = "corner and short corner together"
#: A spread of possession numbers, low and high.
PLAYED = [0, 1, 2, 3, 5, 8, 13, 21, 34, 55, 74, 95, 133, 233, 2**32 + 7, 2**47 + 11]
SEED = 20
#: Draws whose words are fetched at more than one moment (the docstrings of the purposes' words say which):
#: aim and its angle at the release, fumble at the catch; the threshold at the release, the rest
#: at the touch.
FETCHED_TWICE = {"AIM", "TOUCH"}
#: Draws that stay the same for several decisions: the noise of a look, and how he stands for his shot in it.
FETCHED_AGAIN = ("CHOICE", "RHYTHM")
#: (Purpose, subject) of a draw of which each of the four without the ball has a word (test_view.py reads
#: which), fetched for whoever is behind a trap's arms, at every decision in that trap.
PAST_ARMS = ("LOOK", 2)

FULL = 0xFFFFFFFF


def words(*values: int) -> tuple[Any, ...]:
    return tuple(np.uint64(v) for v in values)


def plain(function: Any) -> Any:
    """The Python function behind a compiled one (itself under NUMBA_DISABLE_JIT)."""
    return getattr(function, "py_func", function)


# --- Philox -------------------------------------------------------------------------------------------

#: counter, key, result. Source: file kat_vectors, lines philox4x32 10, of DEShawResearch/random123 at
#: 9545ff64 (seen), published with Salmon, Moraes, Dror & Shaw 2011, SC11, doi 10.1145/2063384.2063405.
KNOWN = [
    ((0, 0, 0, 0), (0, 0), (0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8)),
    ((FULL,) * 4, (FULL,) * 2, (0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD)),
    (
        (0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344),
        (0xA4093822, 0x299F31D0),
        (0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1),
    ),
]


@pytest.mark.parametrize(("count", "key", "expected"), KNOWN)
def test_known_answers(count: Any, key: Any, expected: Any) -> None:
    for philox in (draws.philox, plain(draws.philox)):
        assert tuple(int(v) for v in philox(*words(*count), *words(*key))) == expected


WORD = st.integers(0, FULL)


@given(st.tuples(WORD, WORD, WORD, WORD), st.tuples(WORD, WORD))
def test_compiled_philox_is_the_interpreted_one(count: Any, key: Any) -> None:
    compiled = draws.philox(*words(*count), *words(*key))
    assert tuple(map(int, compiled)) == tuple(map(int, plain(draws.philox)(*words(*count), *words(*key))))


# --- the layout of the counter ------------------------------------------------------------------------

NUMBERS = [number for number, *_ in draws.PURPOSES.values()]


def test_purposes_have_numbers_of_their_own() -> None:
    assert len(set(NUMBERS)) == len(NUMBERS)
    assert all(1 <= n <= 255 for n in NUMBERS)
    for name, (number, *_rest) in draws.PURPOSES.items():
        assert getattr(draws, name) == number


BYTE = st.integers(0, 255)
#: The documented ranges: possession 48 bits, branch 16, purpose, subject and second subject 8, occasion 32.
MEANING = st.tuples(
    st.integers(0, 2**48 - 1),
    st.integers(0, 2**16 - 1),
    st.integers(1, 255),
    BYTE,
    BYTE,
    st.integers(0, FULL),
)


def count_of(meaning: tuple[int, ...]) -> tuple[int, ...]:
    possession, *rest = meaning
    return tuple(int(v) for v in draws.counter(np.uint64(possession), *rest))


@given(MEANING)
def test_a_counter_tells_its_meaning(meaning: tuple[int, ...]) -> None:
    """Read back word by word as the table of the module has it: so no two meanings share a counter."""
    c0, c1, c2, c3 = count_of(meaning)
    assert all(0 <= c <= FULL for c in (c0, c1, c2, c3))
    assert c2 & 0xFF == 0, "the spare byte"
    found = (c0 | (c1 >> 16) << 32, c1 & 0xFFFF, c2 >> 24, c2 >> 16 & 0xFF, c2 >> 8 & 0xFF, c3)
    assert found == meaning


@given(MEANING, MEANING)
def test_other_meanings_have_other_counters(one: tuple[int, ...], other: tuple[int, ...]) -> None:
    assert (count_of(one) == count_of(other)) == (one == other)


@given(MEANING, st.integers(0, 5), st.integers(0, 47))
def test_one_bit_of_one_part_is_another_counter(meaning: tuple[int, ...], part: int, bit: int) -> None:
    widths = (48, 16, 8, 8, 8, 32)
    changed = list(meaning)
    changed[part] ^= 1 << bit % widths[part]
    assert count_of(tuple(changed)) != count_of(meaning)


# --- uniforms -----------------------------------------------------------------------------------------


def with_words(first: int, second: int) -> Any:
    """``draws.uniforms`` over a generator that gives these words."""

    def philox(c0: Any, c1: Any, c2: Any, c3: Any, k0: Any, k1: Any) -> Any:
        return first, second, first, second

    names = vars(draws) | {"philox": njit(philox)}
    return types.FunctionType(plain(draws.uniforms).__code__, names)


def test_uniforms_never_reach_0_or_1() -> None:
    """At the least and the greatest word, interpreted and compiled."""
    s = new_scratch()[0].s
    u = with_words(0, FULL)
    for function in (u, njit(u)):
        found = function(s, draws.SHOT, 0, 0, 1)
        assert found == (2.0**-33, 1.0 - 2.0**-33, 2.0**-33, 1.0 - 2.0**-33)
        assert all(0.0 < v < 1.0 for v in found)


@njit
def fill(scratch: Any, out: Any, purpose: int, subject: int) -> None:
    """Words of ``len(out)`` successive possessions, eight occasions of each: out [n, 8, 4]."""
    s = scratch[0].s
    for i in range(out.shape[0]):
        s.possession = i
        for j in range(8):
            u0, u1, u2, u3 = draws.uniforms(s, purpose, subject, 0, j)
            out[i, j, 0] = u0
            out[i, j, 1] = u1
            out[i, j, 2] = u2
            out[i, j, 3] = u3


def filled(n: int, purpose: int, subject: int, seed: int) -> Any:
    scratch = new_scratch()
    scratch[0].s.seed = seed
    scratch[0].s.branch = 0
    out = np.zeros((n, 8, 4))
    fill(scratch, out, purpose, subject)
    return out


def test_uniforms_are_uniform() -> None:
    """As the kernel asks for them, counters one apart: Kolmogorov-Smirnov, chi-square of pairs of words and
    of successive possessions, correlations. A band of 4 standard errors is a tail of 6.3e-5."""
    tail = 2 * stats.norm.sf(4)
    for purpose, subject in ((draws.SHOT, 0), (draws.TOUCH, 7)):
        u = filled(12_500, purpose, subject, SEED)
        assert stats.kstest(u.ravel(), "uniform").pvalue > tail
        words, possessions, occasions = u[:, :, :2], u[:, :, 2], u[:, :, 3]
        for one, other in (
            (words[:, :, 0], words[:, :, 1]),
            (possessions[:-1], possessions[1:]),
            (occasions[:, :-1], occasions[:, 1:]),
        ):
            table, _, _ = np.histogram2d(one.ravel(), other.ravel(), bins=16, range=[[0, 1], [0, 1]])
            assert stats.chisquare(table.ravel()).pvalue > tail
            n = one.size
            assert abs(np.corrcoef(one.ravel(), other.ravel())[0, 1]) < 4 / np.sqrt(n)


def test_seed_possession_purpose_and_subject_give_other_draws() -> None:
    base = filled(50, draws.SHOT, 0, SEED)
    others = [
        filled(50, draws.SHOT, 0, SEED + 1),
        filled(50, draws.SHOT, 0, SEED + 2**40),
        filled(50, draws.REBOUND, 0, SEED),
        filled(50, draws.SHOT, 1, SEED),
        np.roll(base, 1, axis=0),
    ]
    for other in others:
        assert not np.isclose(other, base, rtol=0, atol=1e-9).any()


def test_rates_are_rates() -> None:
    """p = 1 - exp(-rate dt): two half steps leave as much as one whole step; nothing happens at rate 0."""
    u = np.random.default_rng(1).random(20_000)
    for rate in (0.025, 0.35, 5.0):
        for dt in (0.05, 0.1, 0.2):
            p = -np.expm1(-rate * dt)
            assert draws.happens(p * (1 - 1e-9), rate, dt)
            assert not draws.happens(p * (1 + 1e-9), rate, dt)
            share = np.mean([draws.happens(float(v), rate, dt) for v in u])
            assert abs(share - p) < 4 * np.sqrt(p * (1 - p) / len(u))
    assert not draws.happens(2.0**-33, 0.0, 0.1)


def test_race_is_won_in_proportion_to_the_weights() -> None:
    """Exponential race: P(i wins) = w_i / sum w (textbook fact of competing exponentials, from memory)."""
    weights = np.array([0.2, 0.5, 1.0, 2.3])
    u = np.random.default_rng(2).random((20_000, len(weights)))
    keys = [[draws.race_key(float(v), float(w)) for v, w in zip(row, weights, strict=True)] for row in u]
    shares = np.bincount(np.argmin(keys, axis=1)) / len(u)
    for share, p in zip(shares, weights / weights.sum(), strict=True):
        assert abs(share - p) < 4 * np.sqrt(p * (1 - p) / len(u))


# --- played possessions -------------------------------------------------------------------------------

#: Plays the possessions named on standard input, interpreted. Every draw is written down as [counter,
#: purpose, subject, second, occasion, file, line, decision]; with "extra", a draw of another purpose is
#: taken at each step.
PLAY = """
import json, os, sys
import numpy as np
from engine.inputs import load_scenario
from engine.kernel import batch, draws
from engine.world.pack import pack
from engine.state.record import N_RECORD

asked = json.load(sys.stdin)
packed = pack(load_scenario(asked["scenario"]))
world = next(s.world for s in packed.settings if s.name == asked["setting"])
found, n_extra = [], 0
uniforms, philox, step = draws.uniforms, draws.philox, batch.step
last = []

def writing_philox(*words):
    last[:] = [int(w) for w in words[:4]]
    return philox(*words)

def writing_uniforms(s, purpose, subject, second, occasion):
    u = uniforms(s, purpose, subject, second, occasion)
    at = sys._getframe(1)
    name = os.path.basename(at.f_code.co_filename)
    of_what = *map(int, (purpose, subject, second, occasion)), name, at.f_lineno, int(s.n_decisions)
    found.append([list(last), *of_what])
    return u

def another_step(w, c, where, ask):
    global n_extra
    n_extra += 1
    uniforms(c.s, 200, n_extra % 10, 0, c.s.step)
    step(w, c, where, ask)

if asked["write"]:
    draws.philox, draws.uniforms = writing_philox, writing_uniforms
if asked["extra"]:
    batch.step = another_step
records = np.zeros((len(asked["numbers"]), N_RECORD), np.int32)
of = []
for i, number in enumerate(asked["numbers"]):
    batch.play_list(world, asked["seed"], np.array([number], np.uint64), records[i:i + 1])
    of.append(len(found))
print(json.dumps({"records": records.tolist(), "draws": found, "ends": of, "extra": n_extra}))
"""


def interpreted(numbers: list[int], write: bool, extra: bool) -> dict[str, Any]:
    environment = {name: value for name, value in os.environ.items() if name not in SWITCHES}
    asked = {
        "scenario": str(SCENARIO),
        "setting": SETTING,
        "seed": SEED,
        "numbers": numbers,
        "write": write,
        "extra": extra,
    }
    done = subprocess.run(
        [sys.executable, "-c", PLAY],
        input=json.dumps(asked),
        cwd=ROOT,
        env=environment | {"NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert done.returncode == 0, done.stderr
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def trapping() -> Any:
    return next(s.world for s in pack(load_scenario(SCENARIO)).settings if s.name == SETTING)


def with_a_standing_trap(n: int) -> list[int]:
    """The first possessions in which a trap stands for ten steps at least."""
    world = trapping()
    traces = ((i, trace_possession(world, SEED, i)) for i in range(2000))
    stands = (i for i, t in traces if (t.states["trap_phase"] == TrapPhase.SET).sum() >= 10)
    return list(islice(stands, n))


@pytest.fixture(scope="module")
def written() -> dict[str, Any]:
    numbers = sorted({*PLAYED, *with_a_standing_trap(4)})
    return {"numbers": numbers, **interpreted(numbers, write=True, extra=False)}


def words_by_line() -> dict[tuple[str, int], tuple[str, set[int]]]:
    """Every place in the kernel that asks for a draw: (file, line) -> (purpose, words it keeps).

    Read from the source: the names that the four words are assigned to, "_" for a word that is dropped.
    """
    found = {}
    for path in sorted(KERNEL.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Assign) and isinstance(node.value, ast.Call)):
                continue
            call = node.value
            if isinstance(call.func, ast.Attribute) and call.func.attr == "uniforms":
                targets = node.targets[0]
                assert isinstance(targets, ast.Tuple) and len(targets.elts) == 4, ast.unparse(node)
                names = [ast.unparse(t) for t in targets.elts]
                purpose = ast.unparse(call.args[1]).removeprefix("draws.")
                found[path.name, call.lineno] = (purpose, {i for i, n in enumerate(names) if n != "_"})
    return found


def test_every_draw_is_taken_apart_where_it_is_asked_for() -> None:
    """No draw is kept whole or passed on, so that the words in use can be read from the source."""
    asked_for = sum(
        isinstance(n, ast.Call) and isinstance(n.func, ast.Attribute) and n.func.attr == "uniforms"
        for path in KERNEL.glob("*.py")
        for n in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    )
    assert asked_for == len(words_by_line()) > 20


def test_words_in_use_are_in_the_table() -> None:
    """A word that some line keeps has a meaning in the table of purposes; one marked unused is dropped."""
    for (file, line), (purpose, kept) in words_by_line().items():
        if purpose in draws.PURPOSES:
            meanings = [m.strip() for m in draws.PURPOSES[purpose][3].split(";")]
            if len(meanings) == 4:
                assert all(meanings[i] != "unused" for i in kept), (file, line, purpose, kept)


def test_no_counter_is_used_for_two_things(written: dict[str, Any]) -> None:
    """Counter <-> (possession, purpose, subject, occasion) one to one, over all possessions together; and
    within a counter every word is used once, but for the noise of a look, the same, word by word for the same
    options, at every decision of it and at no other, and for sight past arms, a word a man and trap."""
    lines = words_by_line()
    meaning_of: dict[tuple[int, ...], tuple[int, ...]] = {}
    counter_of: dict[tuple[int, ...], tuple[int, ...]] = {}
    used: dict[tuple[int, ...], list[tuple[str, int, int, frozenset[int]]]] = defaultdict(list)
    names = {number: name for name, (number, *_) in draws.PURPOSES.items()}
    first = 0
    for number, end in zip(written["numbers"], written["ends"], strict=True):
        for count, purpose, subject, second, occasion, file, line, decision in written["draws"][first:end]:
            key = tuple(count)
            meaning = (number, purpose, subject, second, occasion)
            assert meaning_of.setdefault(key, meaning) == meaning
            assert counter_of.setdefault(meaning, key) == key
            name, kept = lines[file, line]
            # a purpose chosen while running (the race for a ball) has no name in the call
            assert name == names[purpose] or name not in draws.PURPOSES
            used[key].append((file, line, decision, frozenset(kept)))
        first = end
    assert first == len(written["draws"]) > 1000
    looks = glances = 0
    for key, fetched in used.items():
        name = names[meaning_of[key][1]]
        if name in FETCHED_AGAIN:
            assert len({(file, line, kept) for file, line, _, kept in fetched}) == 1, fetched
            decisions = [decision for _, _, decision, _ in fetched]
            assert len(set(decisions)) == len(decisions), fetched
            looks += len(decisions) > 1
            continue
        if (name, meaning_of[key][2]) == PAST_ARMS:
            assert len({(file, line, kept) for file, line, _, kept in fetched}) == 1, fetched
            assert max(Counter(decision for _, _, decision, _ in fetched).values()) <= 4, fetched
            glances += len({decision for _, _, decision, _ in fetched}) > 1
            continue
        kept = [word for *_, words_kept in fetched for word in words_kept]
        assert len(kept) == len(set(kept)), (name, meaning_of[key], fetched)
        assert len(fetched) == 1 or name in FETCHED_TWICE, (name, meaning_of[key], fetched)
    assert looks > 10, "some looks last for several decisions"
    assert glances > 0, "in some of them arms are in the way at several"
    # the spread reaches the draws that a trap brings too
    seen = {names[m[1]] for m in meaning_of.values()}
    assert seen >= {
        "START",
        "SPOT",
        "CHOICE",
        "RHYTHM",
        "AIM",
        "TOUCH",
        "ANTICIPATE",
        "FAKE",
        "SHOT",
        "REBOUND",
    }
    assert seen >= {"REBOUND_RACE", "CALL", "READ", "TRAP_HAZARD", "BALL_HAZARD", "NEXT_POSSESSION"}


def test_words_stay_within_their_ranges(written: dict[str, Any]) -> None:
    """What the kernel asks for fits into the bits of the counter: nothing is cut off."""
    for _, purpose, subject, second, occasion, *_ in written["draws"]:
        assert 1 <= purpose <= 255 and 0 <= subject <= 255 and 0 <= second <= 255 and 0 <= occasion <= FULL


def test_writing_down_changes_nothing_and_the_compiled_kernel_agrees(written: dict[str, Any]) -> None:
    assert here({SETTING: trapping()}, {SETTING: written["numbers"]}, SEED)[SETTING] == written["records"]


def test_another_purpose_leaves_the_other_draws_as_they_were(written: dict[str, Any]) -> None:
    """A draw of a purpose that does not exist yet, at every step: every record is the same."""
    assert 200 not in NUMBERS
    told = interpreted(PLAYED[:5], write=False, extra=True)
    assert told["extra"] > 200
    numbers = written["numbers"]
    assert told["records"] == [written["records"][numbers.index(n)] for n in PLAYED[:5]]
