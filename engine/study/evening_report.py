"""Everything that a coach's page needs, played with one common effort: compare, plan, stress, timing, lineup.

The plan names the candidates (at most MOST_WEIGHED calls, those that save most in a game); only these are
weighed over plausible worlds, so that the worlds can be many. Advised are at most MOST_ADVISED of them, those
that pay in a clear majority of worlds.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path

from engine.estimate.intervals import Found
from engine.inputs.scenario import Scenario
from engine.inputs.sheets import Evening, load_evening
from engine.run.blocks import Progress, check_size
from engine.study.compare import compare
from engine.study.court_shots import court_shots
from engine.study.lineup.places import lineup
from engine.study.plan.plan import plan
from engine.study.stress.stress import stress
from engine.study.timing.links import timing

#: Calls that are weighed over worlds, and that a page advises, at most.
MOST_WEIGHED, MOST_ADVISED = 3, 2
#: Share of plausible worlds in which a call must pay to be advised: below it, it is near a toss of a coin.
LEAST_SHARE = 0.6


@dataclass(frozen=True)
class ReportSize:
    """How much is played: possessions of ``compare``, worlds and possessions in each, whole games and parts
    of the plan's table, possessions of all line-ups together and in a batch of them, possessions traced for
    the court pictures."""

    possessions: int = 12_000
    worlds: int = 64
    world_possessions: int = 800
    games: int = 400
    table_parts: int = 8
    lineup_possessions: int = 300_000
    lineup_batch: int = 250
    traced: int = 80


#: Under a minute on two cores for a folder of sheets.
USUAL = ReportSize()


#: Part of the work of each stage, in hundredths; for the bar only.
STAGES = {"compare": 10, "plan": 22, "stress": 20, "timing": 12, "lineup": 30, "pictures": 6}


#: A call by the index of its setting and its index there.
Spot = tuple[int, int]


@dataclass(frozen=True)
class EveningReport:
    """The studies' results (their JSON) and the evening they belong to.

    ``advised``: (index of the setting, index of its call) of each call advised, the best first; ``planned``:
    the candidates of the plan that it was taken from. ``scenario``: as played, without settings where no trap
    may be advised. ``stress``: None where there is no call. ``weighed``: the settings that it has, by index.
    """

    evening: Evening
    scenario: Scenario
    effort: ReportSize
    seed: int
    advised: tuple[Spot, ...]
    planned: tuple[Spot, ...]
    weighed: tuple[int, ...]
    compare: Found
    plan: Found
    stress: Found | None
    timing: Found
    lineup: Found
    shots: Found

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
            "timing": self.timing,
            "lineup": self.lineup,
            "shots": self.shots,
        }


def planned_calls(scenario: Scenario, plan: Found) -> tuple[Spot, ...]:
    """The plan's calls that save most in a game, at most MOST_WEIGHED, each spot once; () stay home.

    A call whose whole games cost points on average is left out.
    """
    names = [setting.name for setting in scenario.settings]
    found: list[Spot] = []
    spots: list[str] = []
    rows = [row for row in plan["mix"] if row["saves_per_game"]["mean"] > 0.0]
    for row in sorted(rows, key=lambda row: -row["saves_per_game"]["mean"]):
        if row["spot"] in spots:
            continue
        setting = names.index(row["setting"])
        calls = [call.name for call in scenario.settings[setting].calls]
        spots.append(row["spot"])
        found.append((setting, calls.index(row["call"])))
    return tuple(found[:MOST_WEIGHED])


def advised_calls(
    planned: tuple[Spot, ...], weighed: tuple[int, ...], stress: Found | None
) -> tuple[Spot, ...]:
    """Those that pay in LEAST_SHARE of the plausible worlds, at most MOST_ADVISED.

    Where no world was kept, the plan alone decides. A call that comes up in too few worlds is not advised.
    """
    if stress is None or not stress["worlds"]["kept"]:
        return planned[:MOST_ADVISED]
    found = []
    for setting, call in planned:
        share = stress["settings"][weighed.index(setting)]["calls"][call]["share"]["mean"]
        if share is not None and share >= LEAST_SHARE:
            found.append((setting, call))
    return tuple(found[:MOST_ADVISED])


def likely_settings(compare: Found) -> tuple[int, ...]:
    """Settings with calls that come nearest to saving points, at most MOST_ADVISED, where none is advised."""
    values = [
        (i, setting["change"]["mean"])
        for i, setting in enumerate(compare["settings"])
        if setting["called_possessions"]
    ]
    values.sort(key=lambda one: (one[1], one[0]))
    return tuple(i for i, _ in values[:MOST_ADVISED])


def evening_report(
    evening: Evening | str | Path,
    seed: int | None = None,
    threads: int | None = None,
    effort: ReportSize | None = None,
    progress: Progress | None = None,
) -> EveningReport:
    """Play everything that the report tells.

    Parameters
    ----------
    evening : an Evening, or the path of a folder of sheets or of a scenario file; no call is played where its
        care does not allow trap advice
    seed : None takes the scenario's own
    threads : None uses every available core; the result does not depend on it
    effort : how much is played, None the usual
    progress : called as ``progress(done, total)`` with hundredths of the work

    Raises
    ------
    InputError
        bad input, a negative seed or threads < 1.
    """
    if isinstance(evening, (str, Path)):
        evening = load_evening(evening)
    size = effort or USUAL
    scenario, traps = evening.scenario, evening.care.trap_advice_allowed
    if not traps:
        scenario = scenario.model_copy(update={"settings": ()})
    seed = scenario.seed if seed is None else seed
    check_size(1, seed, threads)
    before = 0

    def stage(name: str) -> Progress:
        start = before

        def told(done: int, total: int) -> None:
            if progress is not None:
                progress(start + STAGES[name] * min(done, total) // max(total, 1), sum(STAGES.values()))

        return told

    compared = compare(scenario, size.possessions, seed, threads, stage("compare")).to_dict()
    before += STAGES["compare"]
    planned = plan(evening, size.games, seed, threads, stage("plan"), table_parts=size.table_parts).to_dict()
    before += STAGES["plan"]
    candidates = planned_calls(scenario, planned)
    weighed = tuple(dict.fromkeys(setting for setting, _ in candidates)) or likely_settings(compared)
    stressed = None
    if weighed:
        only = scenario.model_copy(update={"settings": tuple(scenario.settings[i] for i in weighed)})
        stressed = stress(only, size.worlds, size.world_possessions, seed, threads, stage("stress")).to_dict()
    advised = advised_calls(candidates, weighed, stressed)
    before += STAGES["stress"]
    timed = timing(scenario, seed, stage("timing"), traps).to_dict()
    before += STAGES["timing"]
    placed = lineup(
        scenario,
        most=size.lineup_possessions,
        seed=seed,
        threads=threads,
        progress=stage("lineup"),
        traps=traps,
        batch=size.lineup_batch,
    ).to_dict()
    before += STAGES["lineup"]
    first: tuple[int | None, int] = next(iter((*advised, *candidates)), (None, 0))
    shots = court_shots(scenario, *first, seed, size.traced, stage("pictures")).to_dict()
    return EveningReport(
        evening=evening,
        scenario=scenario,
        effort=size,
        seed=seed,
        advised=advised,
        planned=candidates,
        weighed=weighed,
        compare=compared,
        plan=planned,
        stress=stressed,
        timing=timed,
        lineup=placed,
        shots=shots,
    )
