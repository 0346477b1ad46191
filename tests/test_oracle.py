"""The compiled kernel against a naive twin that was written from the model's description alone.

The check is independent: nobody who wrote the twin (tests/naive*.py) had read the kernel. Two things that
change nothing on the floor were taken from its trace: the ball's height in flight, and 0 for a variable that
has not been set yet. Both go on from the same last bits of places and velocities (Naive.play). Every variable
of the trace (possession and ten agents) is compared after every step, then every event, every weighed option
and every column of the record: whole numbers exactly, places, velocities, times and values within 1e-9.
No outside source is needed, but for the generator: its known answers are those of the file kat_vectors
of DEShawResearch/random123 (SEEN).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from naive import Naive
from naive_basics import REGIONS, philox
from oracle_coded import CodedFunctions, coded, coded_home, front_and_shade, late_double
from oracle_compare import (
    FLOOR,
    OF_A_BODY,
    OF_A_GAP,
    OF_A_LOSS,
    OF_A_PLAY,
    OF_A_RETREAT,
    OF_A_SCREEN,
    OF_A_SHOT,
    OF_A_VIEW,
    OF_A_WAY_OUT,
    OF_LINES_AND_CLOCK,
    Compared,
    compare,
    telling,
)
from oracle_scenarios import PLAYS, patient
from oracle_spread import spread
from policies import registered

from engine.inputs import Scenario, load_scenario
from engine.inputs.plays import load_play
from engine.state.words import AFTER, AGAINST, ENDS, EVENTS, LOSSES, OUTCOMES, TRIGGERS, VIOLATIONS
from engine.world.pack import pack

SEED = 11
#: Fewer possessions by default. What a test has to meet is met there, too: else a gap would not be seen.
sizes = pytest.mark.parametrize(
    "full", [pytest.param(False, marks=pytest.mark.long), pytest.param(True, marks=pytest.mark.full)]
)


@pytest.mark.parametrize(
    ("counter", "key", "answer"),
    [
        ("00000000 00000000 00000000 00000000", "00000000 00000000", "6627e8d5 e169c58d bc57ac4c 9b00dbd8"),
        ("ffffffff ffffffff ffffffff ffffffff", "ffffffff ffffffff", "408f276d 41c83b0e a20bc7c6 6d5451fd"),
        ("243f6a88 85a308d3 13198a2e 03707344", "a4093822 299f31d0", "d16cfe09 94fdcceb 5001e420 24126ea1"),
    ],
)
def test_the_twins_generator_gives_the_known_answers(counter: str, key: str, answer: str) -> None:
    c0, c1, c2, c3 = (int(word, 16) for word in counter.split())
    k0, k1 = (int(word, 16) for word in key.split())
    assert " ".join(f"{word:08x}" for word in philox((c0, c1, c2, c3), (k0, k1))) == answer


def chosen(world: Any, n: int) -> Sequence[int]:
    """``n`` possessions: the first ones, and as many of the first 300 that show most."""
    half = max(1, n // 2)
    return sorted({*range(half), *telling(world, SEED, 300, half)})


def compare_all(into: Compared, scenario: Scenario, n: int) -> None:
    """Home, every setting and every base that is not its setting again, ``n`` possessions each."""
    packed = pack(scenario)
    worlds = [("home", Naive(scenario), packed.home)]
    for made in packed.settings:
        worlds.append((made.name, Naive(scenario, made.name), made.world))
        if made.base is not None and made.calls:
            worlds.append((f"{made.name}, base", Naive(scenario, made.name, base=True), made.base))
    for name, twin, world in worlds:
        compare(into, f"{scenario.title}: {name}", twin, world, chosen(world, n), SEED)


def to_be_seen() -> set[tuple[str, str]]:
    """Every start of every step of every shipped play, and every move, made or not made for what it needs."""
    wanted = set()
    for play in map(load_play, PLAYS):
        for step in play.steps:
            name = f"{play.name}: {step.name}"
            starts = [f"{step.when} against {defence}" for defence in play.against]
            if "men" in play.against:
                starts.append(f"{step.when} against men taken")
            if step.when == "then":
                starts = ["next"]
            if step.when == "escape" and "men" in play.against:
                starts.remove("escape against men")  # cannot be: behind a trap men are taken anew
            for number, move in enumerate(step.moves, 1):
                starts.append(f"{number} made")
                if move.only_if != "always":
                    starts.append(f"{number} not {move.only_if}")
            wanted |= {(name, what) for what in starts}
    return wanted


def report(found: Compared) -> None:
    print(found.words())
    assert not found.mismatches, found.words()


@sizes
def test_kernel_and_naive_twin_agree_step_by_step(tmp_path: Path, full: bool) -> None:
    found = Compared()
    for scenario, whole, part in spread(tmp_path):
        compare_all(found, scenario, whole if full else part)
    report(found)
    # The spread is worth something only if everything the model can do happens in it.
    assert found.seen["event"] == set(EVENTS)
    assert found.seen["violation"] == set(range(len(VIOLATIONS)))
    assert found.seen["end"] == set(range(len(ENDS)))
    assert found.seen["outcome"] == set(range(len(OUTCOMES)))
    assert found.seen["after"] == set(range(len(AFTER)))
    assert found.seen["escape"] == set(range(5)), "5 cannot happen: all but the trapped man have a place"
    assert found.seen["trigger"] == set(TRIGGERS)
    assert found.seen["lost_by"] == set(range(len(LOSSES) + 1))
    wheres = [*product(("choice", "promise"), (False, True)), ("drive", False)]
    asked = {(*where, sign) for where, sign in product(wheres, (-1, 0, 1))}
    assert found.seen["asked"] == asked, found.seen["asked"]
    worth = {*product((False, True), range(len(REGIONS))), (True, len(REGIONS))}  # the last: for a screen
    assert found.seen["worth"] == worth, found.seen["worth"] ^ worth
    assert found.seen["floor"] == set(FLOOR)
    assert found.seen["against"] == set(product(AGAINST, AGAINST)), found.seen["against"]
    rules = {*OF_A_SCREEN, *OF_A_SHOT, *OF_A_LOSS, *OF_A_WAY_OUT, *OF_A_VIEW, *OF_LINES_AND_CLOCK}
    rules |= {*OF_A_BODY, *OF_A_GAP, *OF_A_RETREAT}
    assert rules <= set(found.met), rules - set(found.met)
    assert to_be_seen() <= set(found.plays), to_be_seen() - set(found.plays)
    assert {what for _, what in found.plays} >= set(OF_A_PLAY)


def test_far_numbers_large_seeds_and_a_limit_of_calls(tmp_path: Path) -> None:
    """All 64 bits of the seed and 48 of the possession's number count; no, one or two calls at most."""
    found = Compared()
    scenario = load_scenario("friday_night")
    packed = pack(scenario)
    last = len(packed.settings) - 1
    for most in (0, 1, 2):
        twin = Naive(scenario, packed.settings[last].name)
        numbers = range(2**40 + 7, 2**40 + 15)
        compare(found, f"at most {most}", twin, packed.settings[last].world, numbers, 2**63 + 12345, most)
    report(found)


def test_noise_where_all_is_tried_and_most_of_a_pass_is_alike(tmp_path: Path) -> None:
    """Tried options have words of their own, what is alike of all passes, too; a share beside a half."""
    found = Compared()
    for look in (1, 2):
        scenario = patient(tmp_path, f"tried {look}", tried_look=look, pass_alike_share=0.8)
        compare(found, scenario.title, Naive(scenario), pack(scenario).home, range(20), SEED)
    report(found)


@sizes
def test_coded_policies_agree_too(tmp_path: Path, full: bool) -> None:
    found = Compared()

    def against(name: str, twin: Naive, world: Any, n: int) -> None:
        compare(found, name, twin, world, chosen(world, n if full else n // 2), SEED)

    both, calls, moves = (
        CodedFunctions(front_and_shade, late_double),
        CodedFunctions(None, late_double),
        CodedFunctions(front_and_shade),
    )
    with (
        registered("both", both.where, both.call),
        registered("calls", None, calls.call),
        registered("moves", moves.where),
    ):
        scenario = coded(tmp_path, "both", "calls")
        packed = pack(scenario)
        against("home", Naive(scenario), packed.home, 5)
        for made, policy in zip(packed.settings, (both, calls), strict=True):
            twin = Naive(scenario, made.name, policy=policy)
            against(made.name, twin, made.world, 30)
            base = Naive(scenario, made.name, base=True, policy=policy)
            against(f"{made.name}, base", base, made.base, 10)
        for name, policy in (("both", both), ("moves", moves)):
            scenario = coded_home(tmp_path, name)
            packed = pack(scenario)
            twin = Naive(scenario, policy=policy)
            against(f"home of {name}", twin, packed.home, 15)
            twin = Naive(scenario, "calls in it", policy=policy)
            against(f"calls, {name}", twin, packed.settings[0].world, 40)
            twin = Naive(scenario, "another")
            against(f"another, {name}", twin, packed.settings[1].world, 5)
    report(found)
    assert found.seen["fault"] == {True, False} and found.seen["outcome"] >= {3, 6}
