"""Everything that a coach's page needs, played with one common effort: compare, plan, stress, timing, lineup.

The plan decides what is advised (at most MOST_ADVISED calls, those that save most in a game); only these are
weighed over plausible worlds, so that the worlds can be many.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from engine.study.run import Progress, check_size

if TYPE_CHECKING:
    from engine.sheets import Evening

#: Calls that a page advises at most.
MOST_ADVISED = 2


@dataclass(frozen=True)
class Effort:
    """How much is played: possessions of ``compare``, worlds and possessions in each, whole games and parts of
    the plan's table, possessions of all line-ups together, possessions traced for the court pictures."""

    possessions: int = 12_000
    worlds: int = 64
    world_possessions: int = 1000
    games: int = 400
    table_parts: int = 8
    lineup_possessions: int = 600_000
    traced: int = 100


#: Part of the work of each stage, in hundredths; for the bar only.
STAGES = {"compare": 10, "plan": 22, "stress": 20, "timing": 12, "lineup": 30, "pictures": 6}


@dataclass(frozen=True)
class EveningReport:
    """The studies' results (their JSON) and the evening they belong to.

    ``advised``: (index of the setting, index of its call) of each call advised, the best first; ``scenario``:
    as played, without settings where no trap may be advised. ``stress``: None where there is no call.
    ``weighed``: the settings that ``stress`` has, by index.
    """

    evening: Evening
    scenario: Any
    effort: Effort
    seed: int
    advised: tuple[tuple[int, int], ...]
    weighed: tuple[int, ...]
    compare: dict[str, Any]
    plan: dict[str, Any]
    stress: dict[str, Any] | None
    timing: dict[str, Any]
    lineup: dict[str, Any]
    shots: dict[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON."""
        return {
            "command": "report",
            "effort": asdict(self.effort),
            "seed": self.seed,
            "advised": [list(one) for one in self.advised],
            "evening": self.evening.to_dict(),
            "compare": self.compare,
            "plan": self.plan,
            "stress": self.stress,
            "timing": self.timing,
            "lineup": self.lineup,
            "shots": self.shots,
        }


def advised_calls(scenario: Any, plan: dict[str, Any]) -> tuple[tuple[int, int], ...]:
    """(setting, call) of the plan's calls that save most in a game, at most MOST_ADVISED; () stay home.

    A call whose games cannot be told from costing points comes after those that save; a call that saves
    nothing on average is not advised, and each spot is advised once.
    """
    names = [setting.name for setting in scenario.settings]
    found: list[tuple[int, int]] = []
    spots: list[str] = []
    rows = [row for row in plan["mix"] if row["saves_per_game"]["mean"] > 0.0]
    for row in sorted(rows, key=lambda row: -row["saves_per_game"]["mean"]):
        if row["spot"] in spots:
            continue
        setting = names.index(row["setting"])
        calls = [call.name for call in scenario.settings[setting].calls]
        spots.append(row["spot"])
        found.append((setting, calls.index(row["call"])))
    return tuple(found[:MOST_ADVISED])


def likely_settings(compare: dict[str, Any]) -> tuple[int, ...]:
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
    effort: Effort | None = None,
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
    from engine.sheets import load_evening
    from engine.study.compare import compare
    from engine.study.court_shots import court_shots
    from engine.study.lineup import lineup
    from engine.study.plan import plan
    from engine.study.stress import stress
    from engine.study.timing import timing

    if isinstance(evening, (str, Path)):
        evening = load_evening(evening)
    size = effort or Effort()
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
    advised = advised_calls(scenario, planned)
    weighed = tuple(dict.fromkeys(setting for setting, _ in advised)) or likely_settings(compared)
    stressed = None
    if weighed:
        only = scenario.model_copy(update={"settings": tuple(scenario.settings[i] for i in weighed)})
        stressed = stress(
            only, size.worlds, size.world_possessions, seed, threads, stage("stress")
        ).to_dict()
    before += STAGES["stress"]
    timed = timing(scenario, seed, stage("timing"), traps).to_dict()
    before += STAGES["timing"]
    placed = lineup(
        scenario, most=size.lineup_possessions, seed=seed, threads=threads, progress=stage("lineup"), traps=traps
    ).to_dict()
    before += STAGES["lineup"]
    first = advised[0] if advised else (None, 0)
    shots = court_shots(scenario, *first, seed, size.traced, stage("pictures")).to_dict()
    return EveningReport(
        evening=evening,
        scenario=scenario,
        effort=size,
        seed=seed,
        advised=advised,
        weighed=weighed,
        compare=compared,
        plan=planned,
        stress=stressed,
        timing=timed,
        lineup=placed,
        shots=shots,
    )
