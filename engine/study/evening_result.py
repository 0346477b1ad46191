"""What an evening is asked for and what it gives: the effort, the questions, all results.

Played and kept by engine.study.evening_report.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

from engine.estimate.intervals import Found
from engine.inputs.scenario import Scenario
from engine.inputs.sheets import Evening
from engine.study.evening_advice import Spot


@dataclass(frozen=True)
class ReportSize:
    """How much is played: possessions of ``compare`` and of the calls against each handler (None: as many as
    the scenario says), worlds and possessions in each, whole games and parts of the plan's table, possessions
    of the line-up study together, of each likely formation but the one played, of our attack against
    their traps, and traced for the court pictures."""

    possessions: int | None = None
    worlds: int = 128
    world_possessions: int = 600
    games: int = 400
    table_parts: int = 10
    lineup_possessions: int = 200_000
    formation_possessions: int = 6000
    attack_possessions: int = 8000
    traced: int = 80


#: Under a minute on two cores for a folder of sheets.
USUAL = ReportSize()


@dataclass(frozen=True, kw_only=True)
class Advice:
    """What is advised, and what it was taken from (JSON of the studies).

    ``advised``: (index of the setting, index of its call) of each call advised, the best first; ``planned``:
    the candidates of the plan that it was taken from. ``scenario``: as played, without settings where no trap
    may be advised. ``stress``: None where there is no call. ``weighed``: the settings that it has, by index.
    ``seldom``: calls that hardly come up, {} where none is.
    """

    evening: Evening
    scenario: Scenario
    advised: tuple[Spot, ...]
    planned: tuple[Spot, ...]
    weighed: tuple[int, ...]
    plan: Found
    stress: Found | None
    formations: Found
    seldom: Found


@dataclass(frozen=True, kw_only=True)
class EveningReport(Advice):
    """All of the studies' results (their JSON) and the evening they belong to.

    ``sheet``: the opponent's sheet beside the model, {} where it counts too little. ``adapted``: calls
    against one who knows them, ``zone_or_men``: man-to-man beside the zone; None: not asked for.
    """

    effort: ReportSize
    seed: int
    compare: Found
    timing: Found
    lineup: Found
    shots: Found
    sheet: Found
    adapted: Found | None = None
    zone_or_men: Found | None = None

    def to_dict(self) -> Found:
        """Plain JSON."""
        return {
            "command": "report",
            "effort": asdict(self.effort),
            "seed": self.seed,
            "advised": [list(one) for one in self.advised],
            "planned": [list(one) for one in self.planned],
            "evening": self.evening.to_dict(),
            "compare": self.compare,
            "plan": self.plan,
            "stress": self.stress,
            "formations": self.formations,
            "seldom": self.seldom,
            "timing": self.timing,
            "lineup": self.lineup,
            "shots": self.shots,
            "sheet": self.sheet,
            "adapted": self.adapted,
            "zone_or_men": self.zone_or_men,
        }


@dataclass(frozen=True)
class Asked:
    """What a line-up and a plan may be asked for beside the effort; None: the usual. ``adapted``: whether the
    plan is against an opponent who learns; ``every``: ``adapted`` of all settings with calls, not of those
    alone that clearly save; ``zone_or_men``: whether a report says if the zone should be played at all."""

    delta: float | None = None
    confidence: float | None = None
    anywhere: bool = False
    changes: tuple[tuple[str, float], ...] = ()
    adapted: bool = False
    every: bool = False
    zone_or_men: bool = False
