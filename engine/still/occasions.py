"""What comes of a scenario's plays in its own formation, and which is run where several may begin at once.

Worked out on still pictures (engine.still.plays); findings, not errors.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from engine.inputs.base import listed, plain
from engine.inputs.defaults import PLAYS
from engine.inputs.plays import Play, Step
from engine.inputs.scenario import Scenario
from engine.inputs.zone import Zone
from engine.state.words import REGIONS, Against, Start, Who
from engine.still.holes import BALL_IN
from engine.still.plays import LETTERS, Finding, either, reachable, stills, unseen
from engine.world.court import build_court
from engine.world.pack import plays_of

#: An occasion as it is said: before the regions.
_OCCASION = {
    Start.PASS.word: "a pass has just left, the ball then",
    Start.HOLD.word: "the ball is held",
    Start.DRIVE.word: "a drive has just begun",
    Start.ESCAPE.word: "the ball has just got out of a trap",
}
#: Nodes of the integral in ``shares``: exact for as many plays as a scenario may hold.
_NODES = 20


def shares(often: Sequence[float]) -> list[float]:
    """Chance of each of several steps to be the one that begins, where all may begin on one occasion.

    ``often``: their own chances, 0 to 1. The kernel (engine.kernel.plays.run_plays) draws u for each and
    takes the least u / often, if it is below 1: the share of step i is the integral over x in 0..1 of
    often_i times the product of 1 - often_j x over the others.
    """
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    x = (nodes + 1.0) / 2.0
    found = []
    for i, one in enumerate(often):
        others = np.ones_like(x)
        for j, other in enumerate(often):
            if j != i:
                others *= 1.0 - other * x
        found.append(float(one * (weights / 2.0) @ others))
    return found


def _kinds(zone: Zone) -> set[str]:
    """Against what a play must be written to be run against this defence."""
    if len(zone.guards) == 5:
        return {Against.MEN.word}
    return {Against.ZONE.word} | ({Against.MEN.word} if zone.match_up is not None else set())


def run_here(scenario: Scenario) -> list[Play]:
    """The plays that the attack may run against some defence of the scenario."""
    return [
        play
        for play in plays_of(scenario)
        if any(play in plays and _kinds(zone) & set(play.against) for _, zone, plays in _run(scenario))
    ]


def lacking(scenario: Scenario) -> list[tuple[Play, Finding]]:
    """Steps that can never, or seldom, begin in the scenario's own formation, and moves that nobody is there
    to make ("nobody")."""
    court, found = build_court(scenario.rules), []
    for play in run_here(scenario):
        pictures = stills(play, scenario.alignment, court)
        can = reachable(play)
        for step in (step for step in play.steps if step.name in can):
            seen = pictures[step.name]
            if not seen:
                found.append((play, unseen(play, step)))
            for i, move in enumerate(step.moves):
                if seen and all(one.runs[i] is None for one in seen):
                    near = f" within {move.within_m:g} m of the place" if move.who == Who.NEAREST.word else ""
                    what = "to screen" if move.to is None else "to make this move"
                    found.append(
                        (play, Finding("nobody", step.name, f"{LETTERS[i]}: nobody is{near} {what}"))
                    )
    return found


def _together(plays: Sequence[Play]) -> list[tuple[str, list[str], list[tuple[Play, Step]]]]:
    """(occasion, regions, the steps that may begin there), where those are of several plays."""
    groups: dict[tuple[str, tuple[tuple[str, str], ...]], list[str]] = {}
    steps = {(play.name, step.name): (play, step) for play in plays for step in play.steps}
    for when in _OCCASION:
        for region in REGIONS:
            here = tuple(
                key
                for key, (_, step) in steps.items()
                if step.when == when and region in step.ball and step.often > 0.0
            )
            if len({name for name, _ in here}) > 1:
                groups.setdefault((when, here), []).append(region)
    return [(when, regions, [steps[key] for key in here]) for (when, here), regions in groups.items()]


def occasion_lines(scenario: Scenario) -> list[str]:
    """What ``check`` says of a scenario's plays: who is missing in its formation, and which of several plays
    that may begin at once is run how often."""
    title = scenario.alignment.title
    lines = [
        f'play "{play.title}" in this formation ({title}): {one.kind}: "{one.step}": {one.text}'
        for play, one in lacking(scenario)
    ]
    run, here = _run(scenario), run_here(scenario)
    lines += [
        f'play "{play.title}" is against {listed(play.against)} alone: here it is never run'
        for play in plays_of(scenario)
        if play not in here and play.name not in PLAYS  # shipped ones stand in every list that names none
    ]
    found: dict[tuple[Against, str], list[str]] = {}
    for kind in Against:
        for name, zone, plays in run:
            if kind.word in _kinds(zone):
                for line in _shares_of([play for play in plays if kind.word in play.against], kind):
                    found.setdefault((kind, line), []).append(name)
    for (kind, line), names in found.items():
        everywhere = len(names) == sum(kind.word in _kinds(zone) for _, zone, _ in run)
        lines.append(line if everywhere else f"{line} (in {listed(names)})")
    return lines


def _run(scenario: Scenario) -> list[tuple[str, Zone, Sequence[Play]]]:
    """(name, defence, plays that the attack runs) of home and of each setting."""
    home = ("home", scenario.zone, scenario.plays)
    own = [
        (
            f'"{plain(one.name)}"',
            one.zone or scenario.zone,
            scenario.plays if one.plays is None else one.plays,
        )
        for one in scenario.settings
    ]
    return [home, *own]


def _shares_of(plays: Sequence[Play], kind: Against) -> list[str]:
    """A line for each occasion on which several of these plays may begin."""
    lines = []
    for when, regions, here in _together(plays):
        odds = shares([step.often for _, step in here])
        each = [
            f"{play.title} ({step.name}) {100 * share:.0f}"
            for (play, step), share in zip(here, odds, strict=True)
        ]
        none = f", none {100 * (1.0 - sum(odds)):.0f}" if sum(odds) < 0.995 else ""
        where = "anywhere" if len(regions) >= len(BALL_IN) - 1 else either([BALL_IN[r] for r in regions])
        lines.append(
            f"several plays may begin when {_OCCASION[when]} {where} ({kind.meaning}); of 100 such "
            f"moments: {listed(each)}{none}"
        )
    return lines
