"""In what share of plausible worlds does each call pay, and which uncertain inputs decide it?

Nobody has published what traps bring, pass speeds, slide speeds and reaction times are known only as
ranges, and nobody knows how the opponent's players will decide. The study draws worlds from those ranges
(configs/model/stress.toml), plays staying home and every setting in each on common luck, and takes the luck
of the draw out of what it reports. In the second half of the worlds the structure varies, too: the attack's
front, which of its plays it runs, and rules of how its players decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from importlib import metadata

import numpy as np
from numpy.typing import NDArray

from engine import tables as pd
from engine.errors import InputError
from engine.estimate.intervals import FloatArray, Found, ratio_interval
from engine.estimate.luck import (
    BAND,
    HARMONICS,
    LEAST_WORLDS,
    RANK_SHUFFLES,
    SHUFFLES,
    Effects,
    Shrunk,
    effects,
    shrink,
    spread_of,
)
from engine.estimate.tally import IntArray
from engine.inputs.base import spoken
from engine.inputs.defaults import MOST_POSSESSIONS
from engine.inputs.scenario import Scenario
from engine.inputs.settings import Setting
from engine.inputs.stress import (
    FRONT,
    PLAYS,
    RATES,
    StressList,
    load_stress,
)
from engine.run.blocks import Progress, Runner, in_order
from engine.run.size import RunSize
from engine.run.worlds import DUMMY, HOME_COLUMNS, WHOLE, world_task
from engine.study.play import Opening, defence_dict, head, open_scenario, run_size
from engine.study.stress.variants import Draw, Variants, draw, fronts

WORLDS, POSSESSIONS = 1024, 1500
LEAST_DRAWN, MOST_DRAWN = 16, 2**16
#: Kinds of worlds: those in which only numbers vary, and those in which the structure does, too.
NUMBERS, STRUCTURE = "numbers", "structure"
#: Kept worlds of a kind without which its share is no headline.
LEAST_KEPT = 200


@dataclass(frozen=True)
class Weighed:
    """One call (or a whole setting) over the kept worlds, by kind; ``effects`` over all of them."""

    found: dict[str, Shrunk]
    effects: Effects | None


@dataclass(frozen=True)
class StressResult:
    """The worlds played: ``to_dict()`` is the JSON contract; ``table()``, ``inputs()``, ``worlds()`` pandas.

    ``home`` int64[worlds, len(HOME_COLUMNS)] and ``settings`` int64[worlds, settings, 1 + MOST_CALLS, 3] are
    the sums of ``WorldTally``, world by world. ``not_asked``: base rates that drop no world.
    """

    scenario: Scenario
    listed: StressList
    size: RunSize
    plan: Draw
    home: IntArray
    settings: IntArray
    own_base: tuple[bool, ...]
    not_asked: tuple[str, ...] = ()

    @cached_property
    def rates(self) -> dict[str, FloatArray]:
        """Base rates of staying home in each world, float64[worlds]; nan where nothing was tried."""
        column = {name: self.home[:, i].astype(np.float64) for i, name in enumerate(HOME_COLUMNS)}
        parts = {
            "points": ("points", column["n"]),
            "turnovers": ("lost", column["n"]),
            "offensive_rebounds": ("oreb", column["oreb"] + column["dreb"]),
            "three_point": ("three_made", column["three_attempts"]),
        }
        with np.errstate(invalid="ignore"):
            return {name: column[top] / below for name, (top, below) in parts.items()}

    @cached_property
    def outside(self) -> dict[str, NDArray[np.bool_]]:
        """Worlds outside the range of each base rate, bool[worlds]; a rate without a try, or that is not
        asked, is not outside."""
        none = np.zeros(len(self.home), dtype=bool)
        if self.plan.rates is None:
            return dict.fromkeys(RATES, none)
        found = dict.fromkeys(self.not_asked, none)
        for name in (one for one in RATES if one not in self.not_asked):
            low, high = getattr(self.plan.rates, name)
            found[name] = (self.rates[name] < low) | (self.rates[name] > high)
        return found

    @cached_property
    def kept(self) -> NDArray[np.bool_]:
        """Worlds whose base rates all lie inside the ranges of the level, bool[worlds]."""
        return ~np.any(list(self.outside.values()), axis=0)

    @cached_property
    def kinds(self) -> dict[str, NDArray[np.bool_]]:
        """Kept worlds of each kind that was drawn, bool[worlds]; the headline's kind last."""
        structural = self.plan.structural()
        found = {NUMBERS: self.kept & ~structural}
        return found | ({STRUCTURE: self.kept & structural} if self.plan.varies else {})

    @cached_property
    def weighed(self) -> dict[tuple[int, int], Weighed]:
        """By (setting, row): row WHOLE the setting against home, 1 + i its call i. Kept worlds only."""
        found = {}
        names = [one.name for one in self.plan.inputs]
        design, seed = self.plan.design[self.kept], self.size.seed
        for s, setting in enumerate(self.scenario.settings):
            for row in range(1 + len(setting.calls)):
                sums = self.settings[:, s, row]
                by_kind = {kind: _shrunk(sums[there], seed) for kind, there in self.kinds.items()}
                together = _shrunk(sums[self.kept], seed) if len(by_kind) > 1 else by_kind[NUMBERS]
                found[s, row] = Weighed(by_kind, effects(names, design, together, seed))
        return found

    def _by_choice(self, s: int, row: int) -> list[Found]:
        """The mean value in the kept structural worlds of each choice, pooled over their possessions."""
        sums = self.settings[:, s, row, :2]
        found = []
        said = {name: one.short for name, one in fronts(self.scenario, self.listed).items()}
        for purpose, choices in self.plan.choices.items():
            taken = [chosen.get(purpose) for chosen in self.chosen]
            parts = []
            for choice in choices:
                n, total = sums[self.kept & np.array([one == choice for one in taken])].T
                called = n > 0
                y, x = total[called], n[called]
                parts_of = (y.sum(), x.sum(), (y * y).sum(), (x * y).sum(), (x * x).sum(), len(x))
                value = ratio_interval(*map(int, parts_of))
                words = said[choice] if purpose == FRONT else spoken(choice)
                worth = {"worlds": int(called.sum()), "value": value.as_dict()}
                parts.append({"choice": choice, "said": words, **worth})
            found.append({"purpose": purpose, "choices": parts})
        return found

    @cached_property
    def chosen(self) -> tuple[dict[str, str], ...]:
        """The structure of each world."""
        return tuple(self.plan.chosen(number) for number in range(len(self.kept)))

    def to_dict(self) -> Found:
        """The JSON contract of ``stress``; equal for equal inputs whatever the number of threads."""
        result = head("stress", self.scenario, self.size)
        result["versions"] |= {"SALib": metadata.version("SALib")}
        result["offence"] = self.scenario.offence_team.name
        result["defence"] = self.scenario.defence_team.name
        result["base_defence"] = defence_dict(self.scenario)
        result["level"] = self.scenario.level
        result["worlds"] = self._worlds_dict()
        result["method"] = {
            "design": f"scrambled Sobol, {len(self.plan.inputs)} inputs and a dummy",
            "structure": "the second half of the worlds; each choice drawn by seed, world and purpose",
            "share": "normal true values about an unknown mean with an unknown spread, both drawn",
            "band": BAND,
            "indices": f"first order, RBD-FAST of SALib, {HARMONICS} harmonics",
            "floor": f"greatest of the dummy as drawn and shuffled, index {SHUFFLES} times, "
            f"rank correlation {RANK_SHUFFLES} times",
            "least_worlds_for_indices": LEAST_WORLDS,
        }
        result["structure"] = self._structure_dict()
        result["inputs"] = [one.model_dump() for one in self.plan.inputs]
        result["fixed"] = list(self.plan.fixed)
        result["settings"] = [
            self._setting_dict(s, setting) for s, setting in enumerate(self.scenario.settings)
        ]
        totals = dict(zip(HOME_COLUMNS, self.home.sum(axis=0).tolist(), strict=True))
        result["checks"] = {name: totals[name] for name in ("policy_faults", "overflow")}
        return result

    def _worlds_dict(self) -> Found:
        drawn, kept = len(self.kept), int(self.kept.sum())
        rates, structural = self.plan.rates, self.plan.structural()
        return {
            "drawn": drawn,
            "kept": kept,
            "dropped": drawn - kept,
            "least_kept": LEAST_KEPT,
            "kinds": {
                kind: {"drawn": int((structural == (kind == STRUCTURE)).sum()), "kept": int(there.sum())}
                for kind, there in self.kinds.items()
            },
            "outside": {name: int(self.outside[name].sum()) for name in RATES},
            "not_asked": list(self.not_asked),
            "ranges": None if rates is None else {name: list(getattr(rates, name)) for name in RATES},
            "ranges_source": None if rates is None else rates.source,
            "home": {
                name: spread_of(rate[self.kept & np.isfinite(rate)]).as_dict()
                for name, rate in self.rates.items()
            },
        }

    def _structure_dict(self) -> Found | None:
        if self.listed.structure is None or not self.plan.varies:
            return None
        labels = {FRONT: "their formation", PLAYS: "their plays"}
        labels |= {name: rule.label for name, rule in self.listed.structure.rules.items()}
        return {
            "source": self.listed.structure.source,
            "drawn": [
                {"purpose": purpose, "label": labels[purpose], "choices": list(choices)}
                for purpose, choices in self.plan.choices.items()
                if len(choices) > 1
            ],
        }

    def _setting_dict(self, s: int, setting: Setting) -> Found:
        return {
            "name": setting.name,
            "base_defence": defence_dict(self.scenario, setting),
            "own_base": self.own_base[s],
            "whole": self._weighed_dict(s, WHOLE),
            "calls": [
                {"spot": call.spot, "call": call.name, **self._weighed_dict(s, 1 + i)}
                for i, call in enumerate(setting.calls)
            ],
        }

    def _weighed_dict(self, s: int, row: int) -> Found:
        weighed = self.weighed[s, row]
        told, kind = weighed.effects, list(self.kinds)[-1]
        return {
            **self._shrunk_dict(s, kind, weighed.found[kind]),
            "kind": kind,
            "numbers_only": None
            if kind == NUMBERS
            else self._shrunk_dict(s, NUMBERS, weighed.found[NUMBERS]),
            "by_choice": self._by_choice(s, row),
            "floor": None if told is None else told.floor,
            "rank_floor": None if told is None else told.rank_floor,
            "dummy": None if told is None else told.dummy,
            "inputs": [] if told is None else [asdict(one) for one in told.inputs],
        }

    def _shrunk_dict(self, s: int, kind: str, found: Shrunk) -> Found:
        there = self.kinds[kind]
        kept, n = int(there.sum()), int(self.settings[there, s, WHOLE, 0].sum())
        return {
            "kept": kept,
            "worlds": found.worlds,
            "worlds_without": kept - found.worlds,
            "called": found.called,
            "called_per_100_possessions": 100 * found.called / n if n else None,
            "no_difference": found.no_difference,
            "share": found.share.as_dict(),
            "raw": {"pays": found.raw_pays, "share": found.raw_share.as_dict()},
            "value": found.value.as_dict(),
            "mean": found.mean,
            "spread": found.spread,
            "luck": found.luck,
            "believed": found.believed,
        }

    def table(self) -> pd.DataFrame:
        """One row per setting and call: share of worlds in which it pays, band of its value, raw count."""
        rows = []
        for setting in self.to_dict()["settings"]:
            for call in setting["calls"]:
                kept = {key: value for key, value in call.items() if key not in ("inputs", "by_choice")}
                rows.append({"setting": setting["name"], **kept})
        return pd.json_normalize(rows, sep="_")

    def inputs(self) -> pd.DataFrame:
        """One row per setting, call and input: rank correlation, first-order index, whether it is named."""
        rows = []
        for setting in self.to_dict()["settings"]:
            for call in setting["calls"]:
                about = {"setting": setting["name"], "call": call["call"], "floor": call["floor"]}
                rows += [
                    about | {"input" if k == "name" else k: v for k, v in one.items()}
                    for one in call["inputs"]
                ]
        return pd.DataFrame(rows)

    def worlds(self) -> pd.DataFrame:
        """One row per world: inputs, whether it was kept, home's base rates, value of each call as played."""
        table = pd.DataFrame([self.plan.values(j) for j in range(len(self.kept))]).rename_axis("world")
        table[DUMMY] = self.plan.design[:, -1]
        for purpose in self.plan.choices:
            table[purpose] = [chosen.get(purpose) for chosen in self.chosen]
        table["kept"] = self.kept
        for name, rate in self.rates.items():
            table[f"home_{name}"] = rate
        for s, setting in enumerate(self.scenario.settings):
            for i, call in enumerate(setting.calls):
                n, total = self.settings[:, s, 1 + i, 0], self.settings[:, s, 1 + i, 1]
                table[f"{setting.name}: {call.name}"] = np.where(n > 0, total / np.maximum(n, 1), np.nan)
        return table


def _shrunk(sums: IntArray, seed: int) -> Shrunk:
    return shrink(sums[:, 0], sums[:, 1], sums[:, 2], seed)


def check_worlds(worlds: int, size: RunSize) -> int:
    """The number of worlds, a power of two. Raises InputError."""
    allowed = f"a power of two from {LEAST_DRAWN} to {MOST_DRAWN}"
    if isinstance(worlds, bool) or not isinstance(worlds, (int, np.integer)):
        raise InputError("--worlds", "", worlds, allowed)
    if not LEAST_DRAWN <= worlds <= MOST_DRAWN or worlds & (worlds - 1):
        raise InputError("--worlds", "", worlds, allowed)
    if worlds * size.possessions > MOST_POSSESSIONS:
        most = f"at most {MOST_POSSESSIONS} possessions in all worlds together"
        raise InputError("--possessions", "", size.possessions, most)
    return int(worlds)


def stress(
    scenario: Opening,
    worlds: int = WORLDS,
    possessions: int | None = POSSESSIONS,
    seed: int | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
    listed: StressList | None = None,
    not_asked: Sequence[str] = (),
) -> StressResult:
    """Weigh every call of a scenario over plausible worlds.

    Parameters
    ----------
    scenario : path of a scenario file, or what ``engine.load`` returned
    worlds : how many are drawn, a power of two
    possessions : played in each world by staying home and every setting
    seed : None takes the scenario's own; it seeds the possessions and the design
    threads : None uses every available core; the result does not depend on it
    progress : called as ``progress(done, total)`` after each world
    listed : the uncertain inputs and base rates; None reads configs/model/stress.toml
    not_asked : base rates (of RATES) by which no world is dropped: the level's say nothing of an opponent who
        is fitted to his own (``engine.study.sheet.knobs.fitted_rates``)

    Raises
    ------
    InputError
        bad input, worlds not a power of two, possessions < 1, a negative seed or threads < 1.
    """
    scenario = open_scenario(scenario)
    size = run_size(scenario, POSSESSIONS if possessions is None else possessions, seed, threads)
    worlds = check_worlds(worlds, size)
    listed = load_stress() if listed is None else listed
    plan = draw(scenario, listed, worlds, size.seed)
    variants = Variants(scenario, listed, plan)
    runner = Runner(size.seed)
    runner.warm(variants.own.home)
    task = world_task(runner, size.possessions, variants.plan_of)
    found = list(in_order(worlds, size.threads, runner, task, progress))
    return StressResult(
        scenario=scenario,
        listed=listed,
        size=size,
        plan=plan,
        home=np.stack([one.home for one in found]),
        settings=np.stack([one.settings for one in found]),
        own_base=tuple(setting.base is not None for setting in variants.own.settings),
        not_asked=tuple(name for name in RATES if name in not_asked),
    )
