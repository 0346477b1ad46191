"""Played possessions against closed forms: renewal, an absorbing chain, free throws, mirror, step length.

Parts of the model are switched off through its constants until what is left has an exact answer; nothing
of the kernel is replaced. Bands are 4 standard errors or wider, seeds are fixed.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import input_files
import numpy as np
import pytest
from closed_forms import (
    EVEN_REBOUNDS,
    NO_DEFENCE,
    SAFE_PASSES,
    SHOOT_AT_ONCE,
    flat_table,
    mean,
    played,
    standard_error,
    world_of,
)
from kernel_process import SCENARIO

from engine.inputs import load_alignment, load_scenario
from engine.kernel.batch import trace_possession
from engine.state.arrays import EVENT_COLUMNS, N_SIDE
from engine.state.record import COLUMN
from engine.state.words import LOSSES
from engine.world.pack import pack

BAND = 4.0
ALONE = SHOOT_AT_ONCE | NO_DEFENCE | EVEN_REBOUNDS


def close(records: Any, column: str, expected: float) -> None:
    """The mean of a column is its closed form within the band of standard errors."""
    error = mean(records, column) - expected
    assert abs(error) < BAND * standard_error(records, column), (column, mean(records, column), expected)


# --- one shooter, the renewal identity, an absorbing chain ----------------------------------------------


def absorbing(q: Any, r: Any) -> Any:
    """B = (I - Q)^-1 R: where a chain ends, by start (Kemeny & Snell 1960; evidence 7)."""
    return np.linalg.solve(np.eye(len(q)) - q, r)


def test_absorbing_against_the_ruin_of_a_gambler() -> None:
    """Fair game 0..4: ends at 4 with 1/4, 1/2, 3/4. Source: evidence 7, closed form (Kemeny & Snell)."""
    q = np.array([[0, 0.5, 0], [0.5, 0, 0.5], [0, 0.5, 0]])
    r = np.array([[0.5, 0], [0, 0], [0, 0.5]])
    np.testing.assert_allclose(absorbing(q, r)[:, 1], [0.25, 0.5, 0.75])


MAKE = 0.4
#: Of so many seeds each the possessions; by default a quarter of them.
N_SEEDS = 16
N_SHOOTER = [25_000, pytest.param(100_000, marks=pytest.mark.full)]


@pytest.fixture(scope="module", params=N_SHOOTER)
def shooter(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Points [16, 25,000 or 100,000] of one shot after the other, of 16 seeds."""
    world = world_of(tmp_path_factory.mktemp("shooter"), make=MAKE, constants=ALONE)
    rows = []
    for seed in range(N_SEEDS):
        records = played(world, request.param, seed)
        assert not records[:, COLUMN["overflow"]].any()
        for column in ("fouls", "blocks", "passes", "three_attempts"):
            assert not records[:, COLUMN[column]].any(), column
        # who got the ball behind the board and did not come out: no more than a few in 100,000
        held = records[:, COLUMN["turnovers"]]
        assert held.sum() < 5 and records[:, COLUMN["drives"]].sum() < 5
        fga, fgm = records[:, COLUMN["fga"]], records[:, COLUMN["fgm"]]
        np.testing.assert_array_equal(records[:, COLUMN["points"]], 2 * fgm)
        np.testing.assert_array_equal(fga, records[:, COLUMN["oreb"]] + 1 - held)
        rows.append(records[:, COLUMN["points"]])
    return np.array(rows)


def test_one_shooter_is_the_renewal_identity(shooter: Any) -> None:
    """2 p / (1 - (1 - p) / 2), and the chain's; at 10^3, 10^4, 10^5, all 400,000 (in full: 1.6 million)."""
    expected = 2 * MAKE / (1 - (1 - MAKE) / 2)
    chain = absorbing(np.array([[(1 - MAKE) / 2]]), np.array([[MAKE, (1 - MAKE) / 2]]))
    assert expected == pytest.approx(2 * chain[0, 0])
    points = shooter.ravel()
    spread = np.sqrt(expected * (2 - expected))  # two points or none
    for n in (1_000, 10_000, 100_000, points.size):
        assert abs(points[:n].mean() - expected) < BAND * spread / np.sqrt(n), n


def test_the_error_falls_with_the_root_of_n(shooter: Any) -> None:
    """Root mean square error of disjoint means against n, from 100 to a seed's all: slope -1/2, and at each n
    the size that the closed form's own variance gives (16 means at the last: the slope's standard error is
    0.028 at 25,000, 0.021 at 100,000)."""
    expected = 2 * MAKE / (1 - (1 - MAKE) / 2)
    spread = np.sqrt(expected * (2 - expected))
    sizes, errors = np.array([100, 1_000, shooter.shape[1] // 5, shooter.shape[1]]), []
    for n in sizes:
        count = shooter.size // n
        means = shooter.reshape(count, n).mean(axis=1)
        errors.append(np.sqrt(np.mean((means - expected) ** 2)))
        # a sum of squares of ``count`` normal errors: relative standard error sqrt(2 / count)
        assert abs((errors[-1] / spread) ** 2 * n - 1) < BAND * np.sqrt(2 / count), n
    slope = np.polyfit(np.log(sizes), np.log(errors), 1)[0]
    assert -0.6 < slope < -0.4


#: Five attackers with a make and a rebounding weight of their own; the defenders' weights.
MAKES = (0.31, 0.44, 0.27, 0.52, 0.63)
WEIGHTS = (0.6, 0.8, 1.0, 1.3, 1.6)
DEFENCE_WEIGHTS = (0.7, 0.9, 1.1, 1.2, 1.5)


def rebounding(weight: float, skill: float) -> float:
    """The skill that gives a weight in the race: weight = 1 + rebound_skill (skill - 1/2)."""
    return 0.5 + (weight - 1.0) / skill


def test_five_shooters_are_an_absorbing_chain(tmp_path: Path) -> None:
    """States: who has the ball. He shoots at once; the miss goes to each of ten by his weight."""
    skill = 2.0
    offence = [
        {"shot_table": flat_table(tmp_path, f"flat_{i}.csv", make), "rebounding": rebounding(weight, skill)}
        for i, (make, weight) in enumerate(zip(MAKES, WEIGHTS, strict=True))
    ]
    defence = [{"rebounding": rebounding(weight, skill)} for weight in DEFENCE_WEIGHTS]
    world = world_of(
        tmp_path, make=0.5, constants=ALONE | {"rebound_skill": skill}, offence=offence, defence=defence
    )
    p, weight = np.array(MAKES), np.array(WEIGHTS)
    total = weight.sum() + sum(DEFENCE_WEIGHTS)
    q = np.outer(1 - p, weight / total)
    ends = absorbing(q, np.column_stack([p, (1 - p) * sum(DEFENCE_WEIGHTS) / total]))
    visits = absorbing(q, np.eye(N_SIDE))
    records = played(world, 200_000, 5)
    start = leader(world, 1)
    assert start == leader(world, -1)
    close(records, "points", 2 * ends[start, 0])
    close(records, "dreb", ends[start, 1])
    close(records, "fga", visits[start].sum())
    close(records, "oreb", visits[start].sum() - 1)


def test_the_renewal_identity_with_turnovers(tmp_path: Path) -> None:
    """(1 - t) p v / (1 - (1 - t)(1 - p) r) = 0.977717 at t = .14, p = .50, v = 2, r = .28 (evidence 6,
    computed; absorbing chain, Kemeny & Snell 1960).

    One man can shoot, the others give him the ball: every play begins with one pass that is safe, during
    which the attack begins one of its own, and is a turnover where that begins with a foul away from the
    ball. He never gets a rebound himself, so that every play of the possession begins like that; the weights
    of the other four make r.
    """
    t, p, v, r = 0.14, 0.50, 2.0, 0.28
    skill = 2.0
    weight = N_SIDE * r / ((N_SIDE - 1) * (1 - r))  # 4 w / (4 w + 5) = r
    offence: list[dict[str, Any]] = [{"rebounding": rebounding(weight, skill)} for _ in range(N_SIDE)]
    offence[1] = {"shot_table": flat_table(tmp_path, "good.csv", p), "rebounding": rebounding(1e-9, skill)}
    stay = {"who": "passer", "to": "top"}
    on_a_pass = {"name": "on a pass", "when": "pass", "often": 1.0, "lasts_s": 0.1, "move": [stay]}
    often = {"name": "often", "title": "P", "source": "invented", "against": "zone", "step": [on_a_pass]}
    input_files.write(tmp_path, "often.toml", often)
    world = world_of(
        tmp_path,
        make=0.0,
        constants=ALONE | SAFE_PASSES | {"off_ball_foul_p": t, "rebound_skill": skill},
        offence=offence,
        plays=("often.toml",),
    )
    records = played(world, 200_000, 6)
    expected = (1 - t) * p * v / (1 - (1 - t) * (1 - p) * r)
    assert expected == pytest.approx(0.977717, abs=5e-7)
    close(records, "points", expected)
    plays = 1 / (1 - (1 - t) * (1 - p) * r)
    assert plays == pytest.approx(1.13688, abs=5e-6)
    close(records, "passes", plays)
    close(records, "turnovers", t * plays)
    lost = records[:, COLUMN["lost_by"]]
    assert set(lost) == {0, LOSSES.index("offensive_foul") + 1}
    close(records, "fga", (1 - t) * plays)
    for column in ("steals", "deflections", "fouls", "blocks", "drives", "violations"):
        assert not records[:, COLUMN[column]].any(), column


# --- free throws ----------------------------------------------------------------------------------------

#: Every shot is fouled and missed.
FOULED = {"shot_foul_p": 1, "shot_foul_scale_m": 1e12, "shot_foul_far_share": 1, "and_one_make_share": 0}
FREE_THROW = 0.65


def shooters(free_throw: float) -> list[dict[str, Any]]:
    return [{"free_throw": free_throw} for _ in range(N_SIDE)]


@pytest.mark.parametrize("shots", [2, 3])
def test_free_throws_after_a_fouled_shot(tmp_path: Path, shots: int) -> None:
    """k f points a trip; a missed last one is rebounded by either side alike: k f / (1 - (1 - f) / 2)."""
    world = world_of(
        tmp_path, make=MAKE, constants=ALONE | FOULED, offence=shooters(FREE_THROW), points=shots
    )
    records = played(world, 100_000, 7)
    trips = 1 / (1 - (1 - FREE_THROW) / 2)
    close(records, "points", shots * FREE_THROW * trips)
    close(records, "shooting_fouls", trips)
    fta = records[:, COLUMN["fta"]]
    np.testing.assert_array_equal(fta, shots * records[:, COLUMN["shooting_fouls"]])
    np.testing.assert_array_equal(records[:, COLUMN["points"]], records[:, COLUMN["ftm"]])
    assert not records[:, COLUMN["fga"]].any()


def test_the_basket_counts_and_one(tmp_path: Path) -> None:
    """Fouled shots that fall as often as others: made, two and one free throw; else two free throws."""
    world = world_of(
        tmp_path,
        make=MAKE,
        constants=ALONE | FOULED | {"and_one_make_share": 1},
        offence=shooters(FREE_THROW),
    )
    records = played(world, 100_000, 8)
    trips = 1 / (1 - (1 - FREE_THROW) / 2)
    close(records, "points", (MAKE * (2 + FREE_THROW) + (1 - MAKE) * 2 * FREE_THROW) * trips)
    close(records, "fga", MAKE * trips)
    close(records, "fgm", MAKE * trips)
    close(records, "fta", (MAKE + 2 * (1 - MAKE)) * trips)


#: A trap that fouls at once, wherever its men are: the way to a foul that is not on a shot.
FOUL_AT_ONCE = {"trap_set_m": 1000, "trap_foul_rate_per_s": 1e9, "rebound_fall_s": 1}
#: Called at the start, wherever above the arc the ball is.
AT_THE_START = {
    "call": "top", "probability": 1.0, "triggers": ["held"], "held_s": 0.0, "from_baseline_m": [0.0, 15.0]
}  # fmt: skip


@pytest.mark.parametrize(
    ("rules", "team_fouls", "expected_fta"),
    [
        # one-and-one from the seventh to the ninth team foul of the half, two from the tenth: college rules,
        # men (from memory); two from the fifth of the quarter: international (from memory) and high-school
        # rules (seen, evidence 1)
        ("college", 6, 1 + FREE_THROW),
        ("college", 8, 1 + FREE_THROW),
        ("college", 9, 2.0),
        ("international", 4, 2.0),
        ("high_school", 4, 2.0),
    ],
)
def test_free_throws_in_the_bonus(tmp_path: Path, rules: str, team_fouls: int, expected_fta: float) -> None:
    """One foul, then the free throws; a missed last one (one-and-one: a missed first) is rebounded, and who
    gets it shoots at once: s = 2 p / (1 - (1 - p) / 2) points with chance 1/2."""
    one_and_one = expected_fta < 2
    f, s = FREE_THROW, 2 * MAKE / (1 - (1 - MAKE) / 2)
    world = world_of(
        tmp_path,
        make=MAKE,
        constants=ALONE | FOUL_AT_ONCE,
        offence=shooters(f),
        calls=[AT_THE_START],
        rules=rules,
        team_fouls=team_fouls,
    )
    records = played(world, 10_000, 9, max_calls=1)
    for column in ("n_calls", "fouls"):
        assert (records[:, COLUMN[column]] == 1).all(), column
    missed_last = 1 - f * f if one_and_one else 1 - f
    close(records, "ftm", f + f * f if one_and_one else 2 * f)
    close(records, "points", (f + f * f if one_and_one else 2 * f) + missed_last / 2 * s)
    if one_and_one:
        close(records, "fta", expected_fta)
    else:
        assert (records[:, COLUMN["fta"]] == 2).all()


@pytest.mark.parametrize(("rules", "team_fouls"), [("college", 5), ("international", 3), ("high_school", 3)])
def test_no_free_throws_before_the_bonus(tmp_path: Path, rules: str, team_fouls: int) -> None:
    """One foul earlier: a throw-in, and the man at the top shoots at once."""
    world = world_of(
        tmp_path,
        make=MAKE,
        constants=ALONE | FOUL_AT_ONCE,
        offence=shooters(FREE_THROW),
        calls=[AT_THE_START],
        rules=rules,
        team_fouls=team_fouls,
    )
    records = played(world, 10_000, 10, max_calls=1)
    assert (records[:, COLUMN["fouls"]] == 1).all()
    assert not records[:, COLUMN["fta"]].any()
    close(records, "points", 2 * MAKE / (1 - (1 - MAKE) / 2))


# --- the whole model: mirror and step length ------------------------------------------------------------


def other_side(name: str) -> str:
    head, _, rest = name.partition("_")
    return {"left": f"right_{rest}", "right": f"left_{rest}"}.get(head, name)


def mirrored(scenario: Any) -> Any:
    """The scenario with every left and right person exchanged, of both teams."""
    places = scenario.defence_team.zone_places
    swapped = places.model_copy(update={other_side(k): v for k, v in places.model_dump().items()})
    assert swapped != places
    persons = {other_side(k): v for k, v in scenario.alignment.persons.items()}
    assert persons != scenario.alignment.persons
    return scenario.model_copy(
        update={
            "defence_team": scenario.defence_team.model_copy(update={"zone_places": swapped}),
            "alignment": scenario.alignment.model_copy(update={"persons": persons}),
        }
    )


MIRROR_COLUMNS = ("points", "net", "turnovers", "three_attempts", "rim_attempts", "passes", "fouls", "oreb")


@pytest.mark.full
def test_the_mirrored_scenario_is_equal_in_law() -> None:
    """Left is right: exchanging the sides' persons changes no mean. Other luck, so the bands are the
    sums of both."""
    scenario = load_scenario(SCENARIO)
    plain, swapped = pack(scenario), pack(mirrored(scenario))
    pairs = [(plain.home, swapped.home), (plain.settings[-1].world, swapped.settings[-1].world)]
    for one, other in pairs:
        assert (one[0].players != other[0].players).any()
        assert (one[0].spot_role_of != other[0].spot_role_of).any()
        a, b = played(one, 40_000, 11), played(other, 40_000, 12)
        for column in MIRROR_COLUMNS:
            band = BAND * np.hypot(standard_error(a, column), standard_error(b, column))
            assert abs(mean(a, column) - mean(b, column)) < band, (column, mean(a, column), mean(b, column))


SIDES = (-1, 1)


def leader(world: Any, side: int) -> int:
    """Who starts with the ball in the first possession whose near side is this (-1 left, 1 right)."""
    for number in range(50):
        start = trace_possession(world, 1, number).events[0]
        if start[EVENT_COLUMNS.index("value")] == side:
            return int(start[EVENT_COLUMNS.index("player")])
    raise AssertionError(side)


@pytest.mark.parametrize("name", ["high_post_short_corner", "overload", "two_guard_baseline"])
def test_the_mirrored_alignment_is_led_by_the_same_man(name: str) -> None:
    """Who brings the ball up with the near side left does so, mirrored, with the near side right."""
    scenario = load_scenario(SCENARIO)
    scenario = scenario.model_copy(update={"alignment": load_alignment(name)})
    one, other = pack(scenario).home, pack(mirrored(scenario)).home
    assert {side: leader(one, side) for side in SIDES} == {side: leader(other, -side) for side in SIDES}


@pytest.mark.parametrize(
    ("n", "largest_error"),
    [
        pytest.param(14_000, 0.0105, marks=pytest.mark.long),
        pytest.param(140_000, 0.0033, marks=pytest.mark.full),
    ],
)
def test_halving_the_step_changes_little(n: int, largest_error: float) -> None:
    """Points per possession at steps of 0.1 and 0.05 s on the same luck: 4 standard errors of the difference
    (paired), which is no more than .013 at n = 140,000 (-.0038 there, standard error .0031)."""
    scenario = load_scenario(SCENARIO)
    constants = scenario.constants
    assert constants["time_step_s"] == 0.1
    half = scenario.model_copy(update={"constants": constants | {"time_step_s": 0.05}})
    a, b = (played(pack(one).home, n, 13)[:, COLUMN["points"]] for one in (scenario, half))
    gap = (a - b).astype(float)
    error = gap.std() / np.sqrt(n)
    assert error < largest_error and abs(gap.mean()) < 4 * error, (gap.mean(), error)
