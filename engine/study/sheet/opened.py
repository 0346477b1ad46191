"""A scenario as the programming interface opens it: of a folder of sheets, the opponent fitted to his own.

The fit is read from the folder's file where a command kept it, and kept there.
"""

from __future__ import annotations

import warnings
from os import PathLike
from typing import TYPE_CHECKING

from engine.inputs.scenario import Scenario
from engine.inputs.sheets import load_evening
from engine.study.evening_file import EveningFile, inputs_digest
from engine.study.evening_report import Played
from engine.study.sheet.counts import sheet_counts

if TYPE_CHECKING:
    from engine.study.play import Opening

NOT_FITTED = (
    "{them} are not fitted to their sheet here: give engine.play, engine.compare or engine.replay the folder."
)


def opened(scenario: Opening, threads: int | None = None) -> Scenario:
    """A loaded object as it is; of a path, the scenario that the commands play. Raises InputError."""
    if not isinstance(scenario, (str, PathLike)):
        return scenario
    evening = load_evening(scenario)
    if evening.folder is None:
        return evening.scenario
    file = EveningFile(evening.folder, inputs_digest(evening), lambda line: warnings.warn(line, stacklevel=3))
    found = Played(evening, threads=threads, file=file)
    found.part("fit")
    return found.evening.scenario


def unfitted(path: str | PathLike[str]) -> Scenario:
    """The scenario of a path before any fit; ``assumed`` tells where there is one. Raises InputError."""
    evening = load_evening(path)
    counts, scenario = sheet_counts(evening), evening.scenario
    if counts is None or not counts.attempts:
        return scenario
    told = NOT_FITTED.format(them=scenario.offence_team.name)
    return scenario.model_copy(update={"assumed": (*scenario.assumed, told)})
