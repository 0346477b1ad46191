"""Which possession ``trapledger replay`` shows: the rules that pick one.

The rules are checked against a plain search over the records of the batch, written down again here from their
statement, and on made-up records with known answers.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine import cli
from engine.errors import InputError
from engine.inputs import load_scenario
from engine.kernel.batch import play_block
from engine.state.record import COLUMN, N_RECORD
from engine.state.words import AFTER, OUTCOMES
from engine.study.replay.pick import (
    Called,
    Pick,
    check_pick,
    find_call,
    pick_possession,
    punished,
    typical,
    worst,
)
from engine.world.pack import pack

ROOT = Path(__file__).parents[1]
SCENARIO = ROOT / "configs" / "scenarios" / "friday_night.toml"
N = 8000
SEED = 1
CORNER = "corner trap"


def made_up(**columns: list[int]) -> Called:
    """Called possessions with the columns given, the rest 0."""
    n = len(next(iter(columns.values())))
    names = ("number", "net", "base_net", "outcome", "after", "time_ms", "points", "base_points", "base_end")
    filled = {"number": list(range(10, 10 + n))} | columns
    return Called(100, *(np.array(filled.get(name, [0] * n), dtype=np.int64) for name in names))


PASS, SPLIT, STEAL = (OUTCOMES.index(name) for name in ("escape_pass", "split", "steal"))
NONE, RIM, OPEN, OTHER = (AFTER.index(name) for name in ("none", "rim_shot", "open_three", "other_shot"))


def test_worst_is_the_largest_cost_and_the_lowest_number_of_several() -> None:
    called = made_up(net=[2, 3, 0, 3], base_net=[0, 0, -2, 0])
    choice = worst(called)
    assert choice is not None
    assert (choice.row, choice.alike) == (1, 2)


def test_punished_is_the_first_beaten_trap_that_was() -> None:
    called = made_up(outcome=[STEAL, PASS, SPLIT, PASS, PASS], after=[NONE, OTHER, RIM, OPEN, RIM])
    choice = punished(called)
    assert choice is not None
    assert (choice.row, choice.alike) == (2, 3)
    assert punished(made_up(outcome=[STEAL, PASS], after=[NONE, OTHER])) is None


def test_typical_goes_by_course_then_cost_then_points_then_length() -> None:
    # Commonest course: PASS then OTHER, rows 1 to 6. Mean cost of all eight is 4 / 8 = 0.5; the costs 0 and 1
    # (rows 2 to 6) are as near. Points of the course: 0 0 0 2 2 2, the lower median 0: rows 2 and 3.
    # Mean length of the course: 21 s; row 3 with 20 s is nearer than row 2 with 5 s.
    called = made_up(
        outcome=[STEAL, *[PASS] * 6, SPLIT],
        after=[NONE, *[OTHER] * 6, RIM],
        net=[0, 2, 0, 1, 1, 0, 0, 0],
        points=[3, 0, 0, 0, 2, 2, 2, 3],
        time_ms=[21000, 26000, 5000, 20000, 21000, 21000, 33000, 21000],
    )
    choice = typical(called)
    assert choice is not None
    assert (choice.row, choice.alike) == (3, 6)
    assert typical(made_up(number=[])) is None


@pytest.fixture(scope="module")
def scenario() -> Any:
    return load_scenario(SCENARIO)


@pytest.fixture(scope="module")
def batch(scenario: Any) -> dict[str, Any]:
    """Records of all possessions with the corner trap and at home, and the rows with the call."""
    packed = pack(scenario)
    names = [setting.name for setting in packed.settings]
    found = {}
    for name, world in (("trap", packed.settings[names.index(CORNER)].world), ("home", packed.home)):
        found[name] = np.zeros((N, N_RECORD), np.int32)
        play_block(world, SEED, 0, found[name])
    rows = [i for i in range(N) if found["trap"][i, COLUMN["first_call"]] > 0]
    assert len(rows) > 100
    return found | {"rows": rows}


def picked(scenario: Any, pick: str | int, **more: Any) -> Pick:
    return pick_possession(scenario, "corner", pick, possessions=N, seed=SEED, **more)


def column(batch: dict[str, Any], name: str, of: str = "trap") -> dict[int, int]:
    return {i: int(batch[of][i, COLUMN[name]]) for i in batch["rows"]}


def test_picks_are_those_of_a_plain_search(scenario: Any, batch: dict[str, Any]) -> None:
    rows = batch["rows"]
    net, home = column(batch, "net"), column(batch, "net", "home")
    outcome, after = column(batch, "outcome"), column(batch, "after")
    cost = {i: net[i] - home[i] for i in rows}
    course = {i: (outcome[i], after[i]) for i in rows}

    most = max(cost.values())
    found = picked(scenario, "worst")
    assert (found.index, found.cost) == (min(i for i in rows if cost[i] == most), most)
    assert found.alike == sum(cost[i] == most for i in rows)
    assert (found.called, found.played) == (len(rows), N)

    was_punished = [
        i
        for i in rows
        if OUTCOMES[outcome[i]] in ("escape_pass", "retreat", "split")
        and AFTER[after[i]] in ("rim_shot", "open_three")
    ]
    found = picked(scenario, "punished", threads=2)
    assert (found.index, found.alike) == (was_punished[0], len(was_punished))

    common, how_many = Counter(course.values()).most_common(1)[0]
    found = picked(scenario, "typical")
    assert course[found.index] == common
    assert found.alike == how_many
    mean = sum(cost.values()) / len(rows)
    assert found.mean_cost == pytest.approx(mean, abs=1e-12)
    alike = [i for i in rows if course[i] == common]
    assert abs(cost[found.index] - mean) == min(abs(cost[i] - mean) for i in alike)
    assert found.outcome == OUTCOMES[common[0]]
    assert found.after == AFTER[common[1]]


def test_a_number_is_that_possession_whether_searched_or_not(scenario: Any, batch: dict[str, Any]) -> None:
    inside = batch["rows"][3]
    found = picked(scenario, inside)
    assert (found.rule, found.index) == ("number", inside)
    assert found.cost == column(batch, "net")[inside] - column(batch, "net", "home")[inside]
    outside = next(i for i in batch["rows"] if i > 500)
    beyond = pick_possession(scenario, "corner", str(outside), possessions=500, seed=SEED)
    assert (beyond.index, beyond.played) == (outside, 500)
    assert beyond.points == column(batch, "points")[outside]
    without = next(i for i in range(N) if i not in batch["rows"])
    plain = picked(scenario, without)
    assert (plain.index, plain.cost, plain.alike) == (without, None, None)


def test_calls_are_found_by_name_or_spot_in_the_first_setting_that_has_them(scenario: Any) -> None:
    assert find_call(scenario, "corner", None) == (0, 0)
    assert find_call(scenario, "Short Corner", None) == (1, 0)
    assert find_call(scenario, "short_corner", "corner and short corner together") == (4, 1)
    assert find_call(scenario, None, "home") == (-1, -1)


def test_any_part_of_one_calls_name_will_do(scenario: Any) -> None:
    first, *others = scenario.settings
    named = [first.calls[0].model_copy(update={"name": name}) for name in ("six only, top", "Six, wing")]
    settings = [first.model_copy(update={"name": call.name, "calls": (call,)}) for call in named]
    mine = scenario.model_copy(update={"settings": (first, *others, *settings)})
    n = len(mine.settings)
    assert find_call(mine, "ONLY", None) == find_call(mine, "six only", None) == (n - 2, 0)
    assert find_call(mine, "x, w", None) == (n - 1, 0)
    assert find_call(mine, "short-corner", None) == (1, 0)  # its name, not a part of another
    assert find_call(mine, "six", "six only, top") == (n - 2, 0)  # in this setting it is one
    with pytest.raises(InputError, match=r"--call: 'six' is not.*one of six only, top, Six, wing \(it is a"):
        find_call(mine, "six", None)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--call", "cornr"], "allowed: a call of the scenario, or a part of its name: corner"),
        (["--call", "orner", "-n", "1"], "one of corner, short_corner"),
        (["--call", " "], "a part of its name: corner"),
        (
            ["--call", "wing", "--setting", CORNER],
            f'a call of setting "{CORNER}", or a part of its name: corner',
        ),
        (["--call", "corner", "--setting", "home"], "no call where everybody stays home"),
        (["--setting", "home"], "--pick: 'typical' is not allowed; allowed: the number of a possession"),
        (
            ["--pick", "nicest"],
            "--pick: 'nicest' is not allowed; allowed: typical, worst, punished, or the number",
        ),
        (["--pick", "-1"], "--pick: '-1' is not allowed"),
        (["--pick", "1000000000"], "from 0 to 999999999"),
        (["--setting", "no such"], "setting: 'no such' is not allowed"),
        (["--pick", "punished", "-n", "1"], "a rule that some possession meets"),
    ],
)
def test_bad_input_is_one_line(
    arguments: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "page.html"
    assert cli.run(["replay", str(SCENARIO), "-o", str(target), "--quiet", *arguments]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert said in err
    assert not target.exists()


def test_a_scenario_without_calls_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "page.html"
    assert cli.run(["replay", str(SCENARIO.with_name("level_school.toml")), "-o", str(target)]) == 2
    assert "a call in the scenario is missing" in capsys.readouterr().err
    assert not target.exists()


def test_a_number_may_not_be_a_truth_value() -> None:
    with pytest.raises(InputError):
        check_pick(True)
