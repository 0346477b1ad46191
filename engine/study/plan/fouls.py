"""Who would foul out, with the planned traps and without them, and for whom it is doubling that does it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp, factorial

import numpy as np

from engine.inputs.calls import Call
from engine.inputs.defence import persons_of
from engine.inputs.scenario import Scenario
from engine.world.pack import defenders_of, persons_in_roles


def p_at_least(limit: int, mean: float) -> float:
    """Chance of ``limit`` or more where ``mean`` are expected (Poisson)."""
    return max(0.0, 1.0 - sum(exp(-mean) * mean**k / factorial(k) for k in range(limit)))


@dataclass(frozen=True)
class PlayerFouls:
    """Fouls expected of a defender in his ``share`` of a game, while they have the ball alone: at home and
    under the plan; how many of the planned traps he doubles in; ``p_home``, ``p_out``: chance to foul out.

    ``never``: he fouls out too often under the plan, and it is doubling that brings him there.
    """

    number: int
    share: float
    home: float
    planned: float
    traps: float
    p_home: float
    p_out: float
    never: bool


@dataclass(frozen=True)
class FoulLimits:
    """``limit`` personal fouls end a game; a chance from ``trouble`` on is too high, ``added`` is what the
    traps alone must add to it."""

    limit: int
    trouble: float
    added: float


def trap_shares(scenario: Scenario, call: Call) -> tuple[float, ...]:
    """Share of a call's traps in which each person of the defence doubles; they add up to 2.

    Roles that start with near_ or far_ are the left man's half of the time. A call without fixed roles is
    shared evenly.
    """
    persons = persons_of(scenario.zone)
    shares = np.zeros(len(persons))
    if call.dynamic:
        return tuple(float(v) for v in shares + 2.0 / len(persons))
    for side in persons_in_roles(scenario.zone.roles, persons):
        for role in call.doubles:
            shares[side[scenario.zone.roles.index(role)]] += 0.5
    return tuple(float(v) for v in shares)


def expected_fouls(
    scenario: Scenario,
    calls: Sequence[Call],
    traps: Sequence[float],
    in_trap: Sequence[float],
    extra: Sequence[float],
    team_home: float,
    limits: FoulLimits,
    played: Mapping[int, float],
    usual_share: float,
) -> tuple[PlayerFouls, ...]:
    """Fouls of each defender of the five.

    The record counts team fouls only, by five who play throughout. Those at home (``team_home`` a game) are
    shared out by clumsiness (1.6 - 1.2 discipline, the model's own factor). Of each call are known its
    ``traps`` a game, and per trap the fouls ``in_trap``, which are of the men who double, and all that it
    adds beside home in the same possessions (``extra``): what is left of these, mostly fewer fouls later, is
    of all five. So nothing is lost. Of his part a man gets the share of the game that he plays (``played``:
    shirt -> share, else ``usual_share``).
    """
    five = defenders_of(scenario, scenario.zone)
    share = np.array([played.get(player.number, usual_share) for player in five])
    clumsy = np.array([1.6 - 1.2 * player.discipline for player in five])
    of_all = clumsy / clumsy.sum()
    doubles = np.array([trap_shares(scenario, call) for call in calls]).reshape(len(calls), len(five))
    of_two = doubles * clumsy
    of_two /= np.maximum(of_two.sum(axis=1, keepdims=True), 1e-12)
    made, within, more = (np.asarray(one, dtype=float) for one in (traps, in_trap, extra))
    added = (made * within) @ of_two + float(made @ (more - within)) * of_all
    at_home = [float(one) for one in team_home * of_all * share]
    planned = [max(home + float(one), 0.0) for home, one in zip(at_home, added * share, strict=True)]
    in_traps = made @ doubles
    found = []
    for i, player in enumerate(five):
        p_home, p_out = p_at_least(limits.limit, at_home[i]), p_at_least(limits.limit, planned[i])
        found.append(
            PlayerFouls(
                number=player.number,
                share=float(share[i]),
                home=at_home[i],
                planned=planned[i],
                traps=float(in_traps[i] * share[i]),
                p_home=p_home,
                p_out=p_out,
                never=p_out >= limits.trouble and p_out - p_home >= limits.added,
            )
        )
    return tuple(found)
