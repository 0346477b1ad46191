"""What the worlds of a stress study are: the plan that draws them, and the arrays of each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.estimate.intervals import FloatArray
from engine.inputs.alignment import Alignment, load_alignment
from engine.inputs.constants import load_constants
from engine.inputs.scenario import Scenario, constants_against
from engine.inputs.stress import (
    ALL,
    FRONT,
    HALF,
    NO_PLAYS,
    PLAYS,
    BaseRates,
    StressList,
    UncertainInput,
    for_scenario,
)
from engine.run.blocks import World
from engine.run.branches import Plan, branches_of
from engine.run.worlds import changed, drawn, sobol, varied
from engine.world.pack import pack, plays_of, run_only


@dataclass(frozen=True)
class Draw:
    """What is drawn: inputs, names held fixed, design float64[worlds, inputs + 1] in 0..1, the dummy last.

    ``choices``: what is drawn of the structure, purpose -> its choices; {} where nothing is. Where none has
    more than one, nothing varies, and what is left of them holds in all worlds.
    """

    inputs: tuple[UncertainInput, ...]
    fixed: tuple[str, ...]
    design: FloatArray
    rates: BaseRates | None
    choices: dict[str, tuple[str, ...]]
    seed: int

    @property
    def varies(self) -> bool:
        """Whether anything of the structure has more than one choice."""
        return any(len(choices) > 1 for choices in self.choices.values())

    def structural(self) -> NDArray[np.bool_]:
        """Whether the structure varies, bool[worlds]: each half of a Sobol design fills the ranges evenly."""
        number = np.arange(len(self.design))
        return (number >= len(number) // 2) & self.varies

    def chosen(self, number: int) -> dict[str, str]:
        """The structure of world ``number``, purpose -> choice; {} where it is the scenario's."""
        if self.varies and not self.structural()[number]:
            return {}
        return {
            purpose: drawn(self.seed, number, purpose).choice(choices)
            for purpose, choices in self.choices.items()
        }

    def values(self, number: int) -> dict[str, float]:
        """The inputs of world ``number``, the dummy left out."""
        row = self.design[number]
        return {one.name: one.low + (one.high - one.low) * float(row[i]) for i, one in enumerate(self.inputs)}


def draw(scenario: Scenario, listed: StressList, worlds: int, seed: int) -> Draw:
    """The plan of a study: ranges fitted to the scenario, and the design of the worlds."""
    inputs, fixed = for_scenario(listed, constants_against(scenario, scenario.zone))
    design = sobol(len(inputs) + 1, worlds, seed)
    choices: dict[str, tuple[str, ...]] = {}
    if listed.structure is not None:
        choices = {FRONT: tuple(fronts(scenario, listed)), PLAYS: listed.structure.plays}
        choices |= {name: tuple(rule.choices) for name, rule in listed.structure.rules.items()}
    return Draw(inputs, fixed, design, listed.rates.get(scenario.level or ""), choices, seed)


def fronts(scenario: Scenario, listed: StressList) -> dict[str, Alignment]:
    """The fronts of the attack by their names, the scenario's own first."""
    others = () if listed.structure is None else map(load_alignment, listed.structure.alignments)
    own = scenario.alignment
    return {own.name: own} | {one.name: one for one in others if one.name != own.name}


class Variants:
    """The worlds of a study: the scenario packed for each front, changed as the plan says."""

    def __init__(self, scenario: Scenario, listed: StressList, plan: Draw) -> None:
        self._scenario, self._listed, self._plan = scenario, listed, plan
        self._plays, self._constants = plays_of(scenario), load_constants()
        self._home = constants_against(scenario, scenario.zone)
        self._packed = {
            name: branches_of(pack(scenario.model_copy(update={"alignment": one})))
            for name, one in fronts(scenario, listed).items()
        }
        self.own: Plan = self._packed[scenario.alignment.name]

    def plan_of(self, number: int) -> Plan:
        """World ``number``: home, bases and settings."""
        chosen = self._plan.chosen(number)
        values = self._plan.values(number) | self._rules(chosen)
        run = self._run(number, chosen.get(PLAYS, ALL))

        def change(world: World) -> World:
            # what is believed otherwise against the other kind than home's stays so much more or less
            there = dict(values)
            for name in values.keys() & self._home.keys():
                more = float(world["k"][name][0]) - self._home[name]
                if more != 0.0:
                    known = self._constants[name]
                    there[name] = min(max(values[name] + more, known.low), known.high)
            found = changed(world, there)
            run_only(found[0], self._plays, run)
            return found

        return varied(self._packed[chosen.get(FRONT, self._scenario.alignment.name)], change)

    def _rules(self, chosen: Mapping[str, str]) -> dict[str, float]:
        """Constants under the chosen rules, in their ranges; one set outside its range stays as it is."""
        found: dict[str, float] = {}
        structure = self._listed.structure
        for name, rule in structure.rules.items() if chosen and structure is not None else ():
            for constant in rule.constants:
                value, known = self._home[constant], self._constants[constant]
                if known.low <= value <= known.high:
                    value = min(max(value * rule.choices[chosen[name]], known.low), known.high)
                found[constant] = value
        return found

    def _run(self, number: int, which: str) -> set[str]:
        """Names of the plays that are run, of those that a setting has."""
        names = [play.name for play in self._plays if which != NO_PLAYS]
        if which == HALF:
            names = [name for name in names if drawn(self._plan.seed, number, f"play {name}").random() < 0.5]
        return set(names)
