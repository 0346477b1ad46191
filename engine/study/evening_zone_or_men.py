"""Should the zone be on the floor at all tonight: the evening's zone without traps beside man-to-man.

Both are played by the same ten on the possessions and the luck of ``compare``, the opponent fitted to his
sheet as there; what going on with the ball is worth to him against men is that of the fit where he met men,
else it is measured as it was against the zone. Who of his men shoots is of the kind that is played: where the
fit was not made against men alone, it is carried over to them here, as the fit did for tonight's zone. How
sure the model is of it: the same two in variants of it (engine.study.stress). What the advised calls add is
the plan's, so it is said with the plan's figures (engine.report.zone_or_men_view).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

from engine.estimate.intervals import Found
from engine.estimate.risk import over_n
from engine.inputs.scenario import Scenario
from engine.inputs.settings import Setting
from engine.inputs.sheets.men import against_men
from engine.run.blocks import Progress
from engine.run.size import RunSize
from engine.study.compare import CompareResult, compare
from engine.study.evening_work import zone_or_men_work
from engine.study.own_men import measure_carrying
from engine.study.pace import possessions_per_game
from engine.study.sheet.habits import Habits, habits_against
from engine.study.sheet.knobs import CARRYING_POSSESSIONS, fitted_rates, with_habits
from engine.study.sheet.met import instead, worth_elsewhere
from engine.study.stress.stress import stress

#: What is kept of the variants of a kind.
KEPT = ("kept", "share", "raw", "value", "mean", "spread", "luck", "believed")


@dataclass(frozen=True)
class ZoneOrMen:
    """What ``zone_or_men`` found: ``to_dict()`` is its JSON. ``carrying``: points that going on with the ball
    is worth to them against men, None: not measured; ``varied``: the JSON of ``stress``; ``habits``: who
    shoots against men, None: as it was fitted against men, or not at all."""

    compared: CompareResult
    carrying: float | None
    varied: Found
    habits: Habits | None = None

    def to_dict(self) -> Found:
        """``zone``, ``men``: defence, plays of the attack, points a possession. ``change``: net points a
        possession that man-to-man concedes more than the zone, ``factors`` what it comes from. ``game``: its
        possessions a side, chance that man-to-man concedes more in one (net points, luck not shared).
        ``variants``: ``change`` over variants of the model (mean: the median; low, high: 5 and 95 %)."""
        found, setting = self.compared.to_dict(), self.compared.scenario.settings[0]
        home, men = found["baseline"], found["settings"][0]
        n = possessions_per_game(self.compared.scenario, home["seconds_per_possession"]["mean"])
        worse = over_n(self.compared.tally.settings[0].branch.with_home, n)
        sides = {}
        run = against_men(self.compared.scenario.plays if setting.plays is None else setting.plays)
        for name, block in (("zone", home), ("men", men)):
            sides[name] = {
                "defence": block["base_defence"],
                "points_per_possession": block["points_per_possession"],
            }
        return {
            "possessions": found["possessions"],
            "seed": found["seed"],
            **sides,
            "plays_against_men": {play.name: play.title for play in run},
            "plays_added": setting.plays is not None,
            "change": men["change"],
            "factors": men["factors"],
            "carrying_on": self.carrying,
            "habits": self.habits and asdict(self.habits),
            "game": {
                "possessions": n,
                "p_worse": worse.p_worse,
                "p_worse_interval": worse.limits["p_worse"].interval.as_dict(),
            },
            "variants": self._variants(),
        }

    def _variants(self) -> Found:
        whole = self.varied["settings"][0]["whole"]
        kinds = {whole["kind"]: whole} | ({"numbers": whole["numbers_only"]} if whole["numbers_only"] else {})
        by_front = [one["choices"] for one in whole["by_choice"] if one["purpose"] == "front"]
        return {
            "possessions": self.varied["possessions"],
            "kind": whole["kind"],
            "kinds": {kind: {key: one[key] for key in KEPT} for kind, one in kinds.items()},
            "by_formation": by_front[0] if by_front else [],
        }


def zone_or_men(
    scenario: Scenario,
    men: Setting,
    fit: Found,
    worlds: tuple[int, int],
    size: RunSize,
    progress: Progress | None = None,
) -> ZoneOrMen:
    """Weigh man-to-man (``men``) against a scenario's zone.

    ``scenario`` is as fitted, ``fit`` the JSON of that; ``worlds``: how many variants, possessions in each.
    """
    parts = zone_or_men_work(size.possessions, *worlds)

    def told(part: int) -> Progress | None:
        if progress is None:
            return None
        show, start = progress, sum(parts[:part])
        return lambda done, of: show(round(start + parts[part] * done / max(of, 1)), round(sum(parts)))

    carrying = (fit.get("elsewhere") or {}).get("points")
    alone = scenario.model_copy(update={"settings": (men,)})
    if carrying is None and fit.get("carrying"):  # as it was measured against the zone
        there = instead(scenario, men)
        measured = measure_carrying(there, scenario.seed, size.threads, told(0), CARRYING_POSSESSIONS)
        carrying = measured.points
        alone = worth_elsewhere(alone, carrying)
    habits = habits_against(instead(alone, men), fit, size.threads, told(1))
    if habits is not None:
        alone = with_habits(alone, asdict(habits))
    compared = compare(alone, size.possessions, size.seed, size.threads, told(2))
    varied = stress(alone, *worlds, size.seed, size.threads, told(3), not_asked=fitted_rates(fit))
    return ZoneOrMen(compared, carrying, varied.to_dict(), habits)
