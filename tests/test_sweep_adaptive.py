"""Rules of effort that look at results: what they decide, that a stop does not change it, and their promises.

The promises are tested on whole numbers drawn from normal distributions in place of possessions: an interval
as narrow as asked for that still holds the true value, and a pick that is right as often as is stated.
"""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from sweep_runs import Broken, Inline, StopAfter, contents, design_file, run_into, small_design, workshop_of

from engine import cli
from engine.errors import InputError
from engine.estimate.intervals import normal_quantile
from engine.state.record import NET_HIGH, NET_LOW
from engine.study.sweep.adaptive import (
    BestEffort,
    WidthEffort,
    best_of,
    half_width,
    keep_rule,
    policy_for,
    settled_of,
    watched,
)
from engine.study.sweep.allocation import ocba_shares, p_correct
from engine.study.sweep.design import load_design
from engine.study.sweep.design_file import Effort
from engine.study.sweep.gather import gather
from engine.study.sweep.runner import run_sweep
from engine.study.sweep.store import Store
from engine.study.sweep.tallies import MOMENTS, Batch

SETTINGS = ("home", "trap")
NET = MOMENTS.index("net")


# --- shares and chances -------------------------------------------------------------------------------------


def test_shares_of_the_worked_example() -> None:
    """Chen et al. (2000); its shares were worked out from the formula, for sds of 1.15."""
    found = ocba_shares([1.00, 0.95, 0.90, 0.80], [1.15] * 4)
    np.testing.assert_allclose(found, [0.4403, 0.4264, 0.1066, 0.0267], atol=1e-4)
    # the order of the points does not matter, nor which way is better, nor the unit
    turned = ocba_shares([-8.0, -9.0, -10.0, -9.5], [11.5] * 4, "least")
    np.testing.assert_allclose(turned, found[[3, 2, 0, 1]], rtol=1e-12)


def test_shares_keep_the_two_ratios_and_sum_to_one() -> None:
    rng = np.random.default_rng(1)
    for _ in range(50):
        means, sds = rng.normal(size=7), rng.uniform(0.5, 3.0, size=7)
        share, best = ocba_shares(means, sds), int(np.argmax(means))
        others = np.arange(7) != best
        per_point = share[others] / (sds[others] / (means[best] - means[others])) ** 2
        np.testing.assert_allclose(per_point, per_point[0], rtol=1e-9)
        expected = sds[best] * math.sqrt(((share[others] / sds[others]) ** 2).sum())
        assert share[best] == pytest.approx(expected, rel=1e-9)
        assert share.sum() == pytest.approx(1.0, abs=1e-12)


def test_shares_at_the_edges() -> None:
    np.testing.assert_allclose(ocba_shares([1.0, 1.0, 0.0], [2.0, 2.0, 2.0]), [0.5, 0.5, 0.0])
    np.testing.assert_allclose(ocba_shares([1.0, 0.0], [2.0, 0.0]), [0.5, 0.5])  # nothing to spread
    np.testing.assert_allclose(ocba_shares([1.0, 0.5, 0.0], [1.0, 0.0, 1.0]), [0.5, 0.0, 0.5])
    np.testing.assert_allclose(ocba_shares([0.0, 1e-200, 1.0], [1.0] * 3, "least"), [0.5, 0.5, 0.0])
    for means, sds in (([1.0], [1.0]), ([1.0, 2.0], [1.0])):
        with pytest.raises(ValueError, match="at least two means"):
            ocba_shares(means, sds)


def test_the_chance_of_two_points_is_the_normal_one_and_of_more_a_bound() -> None:
    # 0.5 apart, standard error 0.5: the normal distribution at 1 (0.841345, tables)
    assert p_correct([1.0, 1.5], [3.0, 4.0], [100, 100]) == pytest.approx(0.8413447, abs=1e-6)
    assert p_correct([1.0, 1.5], [3.0, 4.0], [100, 100], "least") == pytest.approx(0.8413447, abs=1e-6)
    rng = np.random.default_rng(2)
    means, sds, counts = np.array([0.0, 0.1, 0.25, 0.3]), np.array([1.0, 2.0, 1.5, 1.0]), np.array([90] * 4)
    believed = means + sds / np.sqrt(counts) * rng.standard_normal((200_000, 4))
    right = (believed.argmax(axis=1) == 3).mean()
    assert right - 0.15 < p_correct(means, sds, counts) < right
    assert p_correct([1.0, 1.0, 1.0, 1.0], [1.0] * 4, [9] * 4) == 0.0
    assert p_correct([1.0, 2.0], [0.0, 0.0], [5, 5]) == 1.0


# --- synthetic possessions ----------------------------------------------------------------------------------


class Numbers:
    """Points whose possessions are whole numbers drawn from normal distributions; a state of a sweep."""

    def __init__(self, means: Any, sd: float, seed: int) -> None:
        self.means, self.sd = np.asarray(means, dtype=float), sd
        self.rng = np.random.default_rng(seed)
        self.n_points = len(self.means)
        self.played = np.zeros(self.n_points, dtype=np.int64)
        self.moments = np.zeros((self.n_points, len(SETTINGS), len(MOMENTS)), dtype=np.int64)
        self.mine = np.ones(self.n_points, dtype=bool)
        self.failed: dict[int, str] = {}
        self.store = SimpleNamespace(unplayed=lambda: [])
        self.rounds = 0

    def play(self, batch: Batch) -> None:
        point = batch.point
        assert batch.first == self.played[point]
        drawn = np.rint(self.means[point] + self.sd * self.rng.standard_normal(batch.count)).astype(np.int64)
        self.moments[point, 0, [0, NET, NET + 1]] += [batch.count, drawn.sum(), (drawn**2).sum()]
        self.played[point] += batch.count

    def run(self, policy: Any) -> None:
        while batches := policy.next_batches(self):
            assert policy.settled(self) < self.n_points
            self.rounds += 1
            for batch in batches:
                self.play(batch)

    def mean(self, point: int) -> float:
        return self.moments[point, 0, NET] / self.played[point]


def width(**keys: Any) -> Effort:
    return Effort(**({"rule": "width", "quantity": "net", "setting": "home", "half_width": 1.0} | keys))


def best(**keys: Any) -> Effort:
    return Effort(**({"rule": "best", "quantity": "net", "setting": "home", "least": 50} | keys))


def test_width_is_reached_and_the_interval_still_holds_the_truth() -> None:
    sd, repetitions = 12.0, 600
    effort = width(least=40, most=100_000, half_width=1.0)
    numbers = Numbers(np.full(repetitions, 0.4), sd, 3)
    numbers.run(WidthEffort(effort, SETTINGS, 64))
    spread = math.sqrt(sd**2 + 1 / 12)  # rounding adds the variance of a uniform error
    needed = (normal_quantile(0.95) * spread) ** 2
    # 40 80 160 320 640: the first count from 554 on, half as many or twice as many hardly ever
    assert set(numbers.played) <= {320, 640, 1280}
    assert (numbers.played == 640).mean() > 0.95 and needed == pytest.approx(554, abs=2)
    inside = 0
    for point in range(repetitions):
        row = numbers.moments[point, 0]
        half = half_width(int(row[0]), int(row[NET]), int(row[NET + 1]), 0.95)
        assert half <= 1.0
        inside += abs(numbers.mean(point) - 0.4) <= half
    assert inside / repetitions > 0.95 - 4 * math.sqrt(0.95 * 0.05 / repetitions)


def test_width_ends_at_most_and_begins_at_least() -> None:
    numbers = Numbers([0.0, 0.0, 0.0], 12.0, 4)
    policy = WidthEffort(width(least=100, most=250, half_width=0.1), SETTINGS, 60)
    numbers.run(policy)
    assert list(numbers.played) == [250] * 3 and policy.settled(numbers) == 3 and policy.share(numbers) == 1.0
    numbers = Numbers([0.0], 1.0, 5)
    numbers.run(WidthEffort(width(least=100, most=250, half_width=5.0), SETTINGS, 60))
    assert list(numbers.played) == [100] and numbers.rounds == 1
    # 70 are there already, for instance from another rule: the next count is the first of the row above
    numbers = Numbers([0.0], 12.0, 5)
    numbers.play(Batch(0, 0, 130))
    policy = WidthEffort(width(least=100, most=10_000), SETTINGS, 1000)
    assert policy.next_batches(numbers) == [Batch(0, 130, 70)]


def test_width_never_ends_on_a_sign() -> None:
    """Figures far from 0 go on until they are narrow: the possessions do not depend on the mean."""
    played = []
    for mean in (0.0, 50.0):
        numbers = Numbers(np.full(20, mean), 12.0, 6)
        numbers.run(WidthEffort(width(least=40, most=10_000), SETTINGS, 64))
        played.append(list(numbers.played))
    assert played[0] == played[1]


def test_equal_values_have_a_width_too() -> None:
    # nothing but zeros: what has not come up in n may have a share of 3.0 / n, as far away as it can be
    assert half_width(1000, 0, 0, 0.95) == pytest.approx((NET_HIGH - NET_LOW) * 2.9957 / 1000, rel=1e-4)
    assert half_width(1, 3, 9, 0.95) == math.inf
    numbers = Numbers([7.0], 0.0, 7)
    numbers.run(WidthEffort(width(least=10, most=10_000, half_width=0.1), SETTINGS, 64))
    assert list(numbers.played) == [640]


def test_the_settings_looked_at() -> None:
    names = ("home", "a", "b")
    assert watched(Effort(rule="width", half_width=1.0), names) == (1, 2)
    assert watched(Effort(rule="width", half_width=1.0, quantity="net"), names) == (0, 1, 2)
    assert watched(Effort(rule="width", half_width=1.0, setting="b"), names) == (2,)


# --- the best -----------------------------------------------------------------------------------------------


def picked(numbers: Numbers, effort: Effort) -> tuple[bool, float]:
    """Whether the point that comes out best is the best, and the chance stated."""
    n = numbers.played
    assert n.sum() == effort.total and n.min() >= effort.least
    rows = numbers.moments[:, 0]
    means = rows[:, NET] / n
    sds = np.sqrt((rows[:, NET + 1] - n * means**2) / (n - 1))
    right = np.argmin(means) == np.argmin(numbers.means)
    return bool(right), p_correct(means, sds, n, "least")


def test_the_best_is_picked_as_often_as_is_stated() -> None:
    """Points whose true means are drawn wide: there the statement is what it says, of every kind of case."""
    effort, repetitions = best(total=1500), 500
    draws = np.random.default_rng(8)
    found = []
    for seed in range(repetitions):
        numbers = Numbers(draws.normal(0.0, 6.0, size=5), 20.0, 100 + seed)
        numbers.run(BestEffort(effort, SETTINGS, 25))
        found.append(picked(numbers, effort))
    right = np.mean([one for one, _ in found])
    stated = np.mean([chance for _, chance in found])
    assert 0.6 < stated < 0.95
    assert right >= stated - 4 * math.sqrt(stated * (1 - stated) / repetitions)
    # where much is stated much is kept
    sure = [one for one, chance in found if chance >= 0.9]
    assert len(sure) > 100 and np.mean(sure) >= 0.9 - 4 * math.sqrt(0.09 / len(sure))


def test_the_worked_example_is_picked_more_often_than_with_equal_possessions() -> None:
    """Means 1.00 .95 .90 .80, all sds 1.15, in whole numbers of 1/20: at least as often as is stated, and the
    possessions go where the shares of the true figures would send them."""
    repetitions = 300
    share = np.zeros(4)
    right, stated = {}, {}
    for least in (200, 1500):  # of 6000 in all
        effort = best(total=6000, least=least)
        found = []
        for seed in range(repetitions):
            numbers = Numbers([-20.0, -19.0, -18.0, -16.0], 23.0, seed)
            numbers.run(BestEffort(effort, SETTINGS, 50))
            found.append(picked(numbers, effort))
            if least == 200:
                share += numbers.played / 6000 / repetitions
        right[least], stated[least] = np.mean(found, axis=0)
    for least in right:
        chance = stated[least]
        assert right[least] >= chance - 4 * math.sqrt(chance * (1 - chance) / repetitions)
    assert right[200] > right[1500] + 0.03 and stated[200] > stated[1500] + 0.03
    # .4403 .4264 .1066 .0267 with shares of figures that are known; here each has 0.033 at least
    np.testing.assert_allclose(share, [0.44, 0.43, 0.11, 0.03], atol=0.06)


def test_the_budget_is_kept_and_most_is_kept() -> None:
    numbers = Numbers([0.0, 5.0, 10.0], 20.0, 9)
    policy = BestEffort(best(total=1000, most=400), SETTINGS, 64)
    assert policy.settled(numbers) == 0
    numbers.run(policy)
    assert numbers.played.sum() == 1000 and numbers.played.max() <= 400
    assert policy.settled(numbers) == 3 and policy.share(numbers) == 1.0
    numbers = Numbers([0.0, 5.0, 10.0], 20.0, 9)
    policy = BestEffort(best(total=5000, most=100), SETTINGS, 64)
    numbers.run(policy)
    assert list(numbers.played) == [100] * 3 and policy.settled(numbers) == 3


def test_failed_points_leave_their_budget_to_the_others() -> None:
    numbers = Numbers([0.0, 5.0, 10.0], 20.0, 9)
    numbers.failed[0] = "broken"
    policy = BestEffort(best(total=1000), SETTINGS, 64)
    numbers.run(policy)
    assert numbers.played[0] == 0 and numbers.played.sum() == 1000 and policy.settled(numbers) == 2
    numbers = Numbers([0.0, 5.0], 20.0, 9)
    numbers.failed = {0: "broken", 1: "broken"}
    assert BestEffort(best(total=1000), SETTINGS, 64).next_batches(numbers) == []
    assert WidthEffort(width(), SETTINGS, 64).next_batches(numbers) == []


# --- real sweeps --------------------------------------------------------------------------------------------

WIDTH = """
[effort]
rule = "width"
half_width = 0.16
quantity = "net"
setting = "corner trap"
least = 50
most = 230
"""
BEST = """
[effort]
rule = "best"
quantity = "points"
setting = "corner trap"
least = 40
total = 400
"""


def adaptive(folder: Path, rule: str, **how: Any) -> Path:
    """A design of four points with a rule of effort, as a file."""
    kind = 'method = "grid"\n'
    file = design_file(folder, luck="independent", **how)
    file.write_text(file.read_text().replace("[design]", f"{rule}\n[design]", 1))
    assert kind in file.read_text()
    return file


def ran(path: Path, design: Any, watch: Any = None, executor: Any = None) -> Any:
    policy = policy_for(design.effort, design.settings, design.batch)
    with Store.write(path, design) as store:
        keep_rule(store, design.effort)
        return run_sweep(store, executor or Inline(workshop_of(design)), watch, policy)


@pytest.mark.parametrize("rule", [WIDTH, BEST])
def test_a_stopped_run_decides_as_one_that_was_not(tmp_path: Path, rule: str) -> None:
    design = load_design(adaptive(tmp_path, rule))
    whole, path = tmp_path / "whole.db", tmp_path / "stopped.db"
    end = ran(whole, design)
    assert (end.settled, end.share) == (4, 1.0)
    n = len(contents(whole))
    for batches in (0, 1, 2, 3, 5):
        with pytest.raises(KeyboardInterrupt):
            ran(path, design, StopAfter(batches))
        assert set(contents(path)) <= set(contents(whole))
        with Store.read(path) as store:
            assert settled_of(store) < 4
    assert len(contents(path)) < n
    ran(path, design)
    assert contents(path) == contents(whole)
    with Store.read(path) as store:
        assert settled_of(store) == 4
        if rule == BEST:
            assert store.played().sum() == 400 and len(set(store.played())) > 1
        else:
            assert set(store.played()) <= {50, 100, 200, 230}
    assert gather(path)["settled"].all()


def test_a_narrower_width_goes_on_and_other_cuts_are_refused(tmp_path: Path) -> None:
    design = load_design(adaptive(tmp_path, WIDTH.replace("0.16", "1.0")))
    path = tmp_path / "s.db"
    ran(path, design)
    with Store.read(path) as store:
        assert list(store.played()) == [50] * 4
    narrower = load_design(adaptive(tmp_path, WIDTH.replace("0.16", "0.001")))
    ran(path, narrower)
    with Store.read(path) as store:
        assert list(store.played()) == [230] * 4
    fixed = small_design(tmp_path, luck="independent")
    with pytest.raises(InputError, match="rule fixed needs another store"), Store.write(path, fixed) as store:
        keep_rule(store, fixed.effort)
    # a finished sweep of fixed effort goes on, an unfinished one with gaps does not
    ran(tmp_path / "finished.db", fixed)
    ran(tmp_path / "finished.db", design)
    ran(tmp_path / "finished.db", load_design(adaptive(tmp_path, WIDTH.replace("0.16", "0.3"))))
    gaps = tmp_path / "gaps.db"
    with Store.write(gaps, fixed) as store:
        store.add([workshop_of(fixed).play(Batch(0, 30, 30))])
    with pytest.raises(InputError, match="finish it before effort.rule is width"):
        ran(gaps, design)


def test_a_failing_point_is_left_out_of_the_best(tmp_path: Path) -> None:
    design = load_design(adaptive(tmp_path, BEST))
    shop = workshop_of(design)
    shop.resolver = Broken(shop.resolver, 1, RuntimeError("odd"))
    end = ran(tmp_path / "s.db", design, executor=Inline(shop))
    assert (end.settled, end.failed) == (3, 1)
    with Store.read(tmp_path / "s.db") as store:
        found = best_of(store)
        assert found is not None and (found.points, found.left_out, found.approximate) == (3, 1, False)
        assert settled_of(store) == 3 and store.played()[1] == 0


def test_the_commands_say_what_was_found(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file, path = adaptive(tmp_path, BEST), tmp_path / "s.db"
    command = ["sweep", str(file), "--store", str(path), "--threads", "1"]
    assert cli.run(command) == 0
    err = capsys.readouterr().err
    table = gather(path)
    trap = table[table["setting"] == "corner trap"].sort_values("points")
    first = trap.iloc[0]
    about = f"least points per possession of corner trap: point {first['point']} (constants.reaction_s = "
    assert f"trapledger: {about}{first['constants.reaction_s']}, " in err
    figures = f"{first['points']:+.4f} +- {first['points_half_width']:.4f}"
    assert f"{figures}; next is point {trap.iloc[1]['point']}, " in err
    assert f"chance that point {first['point']} is the best of 4: 0." in err and "approximate" not in err
    assert "4 of 4 points are settled" in err
    assert cli.run(["sweep", "--status", str(path)]) == 0
    out = capsys.readouterr().out
    assert "4 of 4 points settled" in out and about in out
    assert "400 possessions to find the point with the least points per possession of corner trap" in out
    assert cli.run([*command, "-n", "500"]) == cli.BAD_INPUT
    assert "no --possessions with effort.rule best" in capsys.readouterr().err
    common = file.read_text().replace('"independent"', '"common"')
    file.write_text(common)
    assert cli.run([*command[:3], str(tmp_path / "common.db"), "--threads", "1"]) == 0
    err = capsys.readouterr().err
    assert "the points share their luck, so the chance of a right pick will be approximate" in err
    assert " or more, approximately, as the points share their luck" in err


def test_status_of_the_rule_width(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    design, path = load_design(adaptive(tmp_path, WIDTH)), tmp_path / "s.db"
    with pytest.raises(KeyboardInterrupt):
        ran(path, design, StopAfter(3))
    assert cli.run(["sweep", "--status", str(path)]) == 0
    out = capsys.readouterr().out
    asked = "until net points per possession of corner trap is known to 0.16, from 50 to 230 possessions a"
    assert asked in out and "0 of 4 points settled" in out
    assert not gather(path)["settled"].any()
    run = cli.run(["sweep", str(tmp_path / "design.toml"), "--store", str(path), "--quiet"])
    assert run == 0 and capsys.readouterr() == ("", "")
    run_into(tmp_path / "fixed.db", small_design(tmp_path))
    assert cli.run(["sweep", "--status", str(tmp_path / "fixed.db")]) == 0
    assert "60 possessions asked for at every point" in capsys.readouterr().out
