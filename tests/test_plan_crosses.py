"""The bench's rule where turnovers do not tell: by the layups and open threes that a call leaves."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from engine.estimate.calls import punished_rates
from engine.estimate.tally import N_NET
from engine.state.record import NET_LOW
from engine.state.words import AFTER, OUTCOMES
from engine.study.plan.bench import at_least, cross_rule, cross_words, stop_words


def test_where_turnovers_do_not_tell_layups_and_open_threes_do() -> None:
    """Every sequence of calls counted by itself: the fewest crosses that stop it wrongly at most 1 in 5."""
    rule = cross_rule(0.1, 0.3, 0.2, 10, 12)
    assert rule is not None and (rule.calls, rule.tonight) == (12, True)
    for rate, told in ((0.1, rule.wrongly), (0.3, 1.0 - rule.missed)):
        stopped = sum(
            rate ** sum(one) * (1 - rate) ** (12 - sum(one))
            for one in itertools.product((0, 1), repeat=12)
            if sum(one) >= rule.crosses
        )
        assert told == pytest.approx(stopped, abs=1e-12)
    assert rule.wrongly <= 0.2 < at_least(rule.crosses - 1, 12, 0.1) and rule.missed <= 0.5
    over_games = cross_rule(0.1, 0.3, 0.2, 10, 3)  # three a game: fewer than tell anything
    assert over_games is not None and not over_games.tonight and over_games.calls > 12
    assert max(over_games.wrongly, over_games.missed) <= 0.2
    assert f"stop at {rule.crosses} layups or open threes in 12 calls (of 100 nights: " in cross_words(
        rule, 12
    )
    said, games = cross_words(over_games, 3), -(-over_games.calls // 3)
    assert said.startswith("cannot tell within a game (about 3 calls): ") and "stop" not in said
    assert said.endswith(f" in {over_games.calls} calls would ({games} games)")
    for hopeless in ((0.3, 0.3), (0.3, 0.1), (0.1, 0.12), (0.0, 0.2)):
        assert cross_rule(*hopeless, 0.2, 10, 12) is None
    assert "there is no number to stop at" in stop_words(None, "a reason", 3, None)
    assert stop_words(None, "a reason", 3, rule) == f"a reason: {cross_words(rule, 3)}"


def test_crosses_that_break_even_make_the_call_worth_nothing() -> None:
    """Home concedes 1; 70 of 200 calls leave a cross and concede 2, the others 70 of 130: at the break-even
    share of crosses the call concedes what home does."""
    joint = np.zeros((1, len(OUTCOMES), len(AFTER), N_NET, N_NET), np.int64)
    passed, shot, value = OUTCOMES.index("escape_pass"), OUTCOMES.index("other"), -NET_LOW
    joint[0, passed, AFTER.index("rim_shot"), value + 1, value + 2] = 30
    joint[0, passed, AFTER.index("open_three"), value + 1, value + 2] = 10 + 30
    joint[0, passed, AFTER.index("reset"), value + 1, value] = 60
    joint[0, shot, 0, value + 1, value + 1] = 70
    rates = punished_rates(joint)
    assert rates is not None
    expected, even = rates
    c_p, c_n = 2.0, 70 / 130
    assert expected == 70 / 200 and even * c_p + (1 - even) * c_n == pytest.approx(1.0)
    joint[0, passed, AFTER.index("open_three")] = joint[0, passed, AFTER.index("rim_shot")] = 0
    assert punished_rates(joint) is None
