"""An evening's results, each played once and kept: what compare, plan, stress, timing and line-up find.

``Played`` plays a part when it is asked for, unless the file beside the sheets has it, at one effort for
all: whatever prints a figure reads the same result. Before all else the opponent is fitted to his sheet
(``fit``), on the scenario's own seed. A report takes all parts. The plan names the candidates (at most
MOST_WEIGHED calls, those that save most in a game); only these are weighed over plausible worlds, so that the
worlds can be many, and over the formations that the other coach is likely to choose. Advised are at most
MOST_ADVISED of them, those that pay in a clear majority of worlds and over the formations together; they are
planned again alone where the others took room from them (``room``). Where it is asked for
(``Asked.adapted``), the plan is against an opponent who learns: the calls that clearly save points are played
against one who knows them first (``adapted``; engine.study.adapt), each kept by itself.

Studies are imported when they play: to read a kept result takes no compiled engine.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from typing import Any, Protocol

from engine.estimate.intervals import Found
from engine.inputs.base import canonical
from engine.inputs.files import shown_path
from engine.inputs.scenario import Scenario
from engine.inputs.sheets import Evening
from engine.run.size import check_size
from engine.study.evening_advice import (
    Spot,
    advised_calls,
    called_tonight,
    likely_settings,
    planned_calls,
)
from engine.study.evening_file import EveningFile
from engine.study.evening_parts import ADVICE as ADVICE
from engine.study.evening_parts import NEEDS as NEEDS
from engine.study.evening_parts import OF_WEIGHED
from engine.study.evening_parts import REPORT as REPORT
from engine.study.evening_result import USUAL as USUAL
from engine.study.evening_result import Advice as Advice
from engine.study.evening_result import Asked as Asked
from engine.study.evening_result import EveningReport as EveningReport
from engine.study.evening_result import ReportSize as ReportSize
from engine.study.evening_room import named, wants_room, with_room
from engine.study.sheet.counts import sheet_counts
from engine.study.sheet.knobs import fitted, fitted_rates

Progress = Callable[[int, int], None]


#: Possessions of a trial, and trials of each thread, that the speed of this machine is taken from.
PROBE, PROBES = 200, 4


class _Result(Protocol):
    def to_dict(self) -> Found: ...


class Played:
    """The parts of one evening: ``part(name)`` is its JSON, read where it is kept, else played and kept."""

    def __init__(
        self,
        evening: Evening,
        seed: int | None = None,
        threads: int | None = None,
        effort: ReportSize | None = None,
        asked: Asked | None = None,
        file: EveningFile | None = None,
    ) -> None:
        """``seed`` None takes the scenario's own, ``threads`` None every core, ``effort`` None the usual;
        ``file`` None keeps nothing. No call is played where the evening's care allows no trap advice."""
        self.evening = evening
        self.traps = evening.care.trap_advice_allowed
        self.likely = evening.likely
        size = USUAL if effort is None else effort
        n = self.scenario.possessions if size.possessions is None else size.possessions
        self.size = check_size(n, self.scenario.seed if seed is None else seed, threads)
        self.effort = replace(size, possessions=n)
        self.counts = sheet_counts(evening)
        self.asked, self.file = asked or Asked(), file
        self.progress: Progress | None = None
        followed = self.counts is not None and self.counts.attempts
        nothing = {"sheet": self.counts is None, "fit": not followed}
        nothing |= {"attack": evening.attack is None, "zone_or_men": evening.men is None}
        self._found: dict[str, Found] = {name: {} for name, empty in nothing.items() if empty}
        self._shares: dict[str, tuple[float, float]] = {}
        self._ground: dict[str, Any] = {}  # what plan played, for room

    @property
    def scenario(self) -> Scenario:
        """As played: fitted once ``fit`` is there; without settings where no trap may be advised."""
        scenario = self.evening.scenario
        return scenario if self.traps else scenario.model_copy(update={"settings": ()})

    # --- what is there and what is missing ----------------------------------------------------------------

    def key(self, name: str) -> str:
        """What is asked of a part, with all it builds on, as one line."""
        effort, more = self.effort, self.asked
        own: dict[str, Mapping[str, object]] = {
            "fit": {},
            "compare": {"possessions": effort.possessions},
            "seldom": {},
            "adapted": {"every": more.every},
            "plan": {"games": effort.games, "parts": effort.table_parts, "changes": more.changes},
            "stress": {"worlds": effort.worlds, "possessions": effort.world_possessions},
            "formations": {
                "possessions": effort.formation_possessions,
                "likely": [(one.alignment.name, one.weight) for one in self.likely],
            },
            "room": {"advised": self.advised() if name == "room" and self._advice_known() else None},
            "timing": {},
            "lineup": {
                "possessions": (effort.lineup_possessions, effort.possessions),
                "asked": (more.delta, more.confidence, more.anywhere),
            },
            "shots": {"traced": effort.traced},
            "sheet": {"possessions": effort.possessions},
            "attack": {"possessions": effort.attack_possessions},
            "zone_or_men": {
                "possessions": effort.possessions,
                "worlds": (effort.worlds, effort.world_possessions),
            },
        }
        builds_on = self.needs(name)
        if name in OF_WEIGHED and self._kept("plan") is not None:
            builds_on, own[name] = ("compare",), {**own[name], "weighed": self.weighed()}
        needs = [self.key(other) for other in builds_on]
        seed = self.evening.scenario.seed if name == "fit" else self.size.seed
        return canonical({"seed": seed, "own": own[name], "needs": needs})

    def needs(self, name: str) -> tuple[str, ...]:
        """The parts that one needs first."""
        return (*NEEDS[name], "adapted") if name == "plan" and self.asked.adapted else NEEDS[name]

    def missing(self, *names: str) -> list[str]:
        """Those of the parts, and of what they need, that must be played, in the order of playing."""
        found: list[str] = []

        def visit(name: str) -> None:
            if name not in found and self._kept(name) is None:
                found.append(name)
                for other in self.needs(name):
                    visit(other)

        for name in ("fit", *names):  # first: what is played is of the fitted opponent, whatever is kept
            visit(name)
        return [name for name in NEEDS if name in found]

    def _advice_known(self) -> bool:
        return all(self._kept(other) is not None for other in ("compare", "plan", *OF_WEIGHED))

    def _wants_room(self) -> bool:
        return wants_room(self.part("plan"), named(self.scenario, self.advised()))

    def _kept(self, name: str) -> Found | None:
        if name == "room" and name not in self._found and self._advice_known() and not self._wants_room():
            self._found[name] = {}
        if name not in self._found and self.file is not None:
            found = self.file.get(name, self.key(name))
            if found is not None:
                self._take(name, found)
        return self._found.get(name)

    def _take(self, name: str, found: Found) -> None:
        self._found[name] = self._headed(found)
        if name == "fit":
            scenario = fitted(self.evening.scenario, found)
            self.evening = replace(self.evening, scenario=scenario)

    def _headed(self, found: Found) -> Found:
        """A result with where the sheets lie now: it was kept by what is in them."""
        scenario = self.evening.scenario
        now = {
            "scenario": shown_path(scenario.path),
            "title": scenario.title,
            "assumed": list(scenario.assumed),
        }
        return found | {key: value for key, value in now.items() if key in found}

    def work(self, name: str) -> float:
        """Roughly how many possessions of staying home a part takes as long as."""
        from engine.study.evening_work import work_of

        learns = [] if name != "adapted" else [i for i in self.to_adapt() if self._adapted_row(i) is None]
        again = self._kept("plan") is None or bool(self._ground)
        more = len(self.likely), self._kept("compare"), len(learns), again
        return work_of(name, self.scenario, self.effort, self.size, *more)

    def expect(self, *names: str) -> float:
        """Get ready to play these, with one bar for all of them; about how many seconds it will take as busy
        as the machine is now: a trial on all threads is timed by the clock on the wall."""
        from engine.run.blocks import Runner, in_order
        from engine.world.pack import pack

        total = sum(self.work(name) for name in names) or 1.0  # nothing to play: at once
        before = 0.0
        for name in names:
            self._shares[name] = before / total, self.work(name) / total
            before += self.work(name)
        home = pack(self.scenario.model_copy(update={"settings": ()})).home
        runner = Runner(self.size.seed)
        runner.warm(home)
        trials, started = PROBES * self.size.threads, time.perf_counter()
        for _ in in_order(
            trials, self.size.threads, runner, lambda i: len(runner.block(home, i * PROBE, PROBE, "probe"))
        ):
            pass
        return total * (time.perf_counter() - started) / (trials * PROBE)

    def _stage(self, name: str) -> Progress:
        start, share = self._shares.get(name, (0.0, 0.0))

        def told(done: int, total: int) -> None:
            if self.progress is not None:
                self.progress(round(100 * (start + share * min(done / max(total, 1), 1.0))), 100)

        return told

    # --- playing ------------------------------------------------------------------------------------------

    def part(self, name: str) -> Found:
        """The JSON of a part; the opponent is fitted before any other."""
        if name != "fit":
            self.part("fit")
        found = self._kept(name)
        if found is not None:
            if not found and name in self._shares:  # it was thought to be missing, and is not needed
                self._stage(name)(1, 1)
                del self._shares[name]
            return found
        play: Callable[[Progress], _Result | None] = getattr(self, f"_{name}")
        for other in self.needs(name):
            self.part(other)
        told, found = self._stage(name), self._kept(name)  # by what it needs, it may be there
        if found is not None:
            told(1, 1)
            return found
        result = play(told)
        # Through JSON, so that a result played and one read are the same thing.
        found = json.loads(json.dumps({} if result is None else result.to_dict(), allow_nan=False))
        if self.file is not None:
            self.file.put(name, self.key(name), found)
        told(1, 1)
        self._take(name, found)
        return self._found[name]

    def _fit(self, told: Progress) -> _Result:
        from engine.study.sheet.fit import fit_sheet

        assert self.counts is not None
        home, met = self.scenario, self.evening.met
        return fit_sheet(self.counts, home, home.seed, self.size.threads, told, met=met, traps=self.traps)

    def _compare(self, told: Progress) -> _Result:
        from engine.study.compare import compare

        return compare(self.scenario, self.size.possessions, self.size.seed, self.size.threads, told)

    def _seldom(self, told: Progress) -> _Result | None:
        from engine.study.seldom import seldom

        return seldom(self.scenario, self.part("compare"), self.size, progress=told)

    def to_adapt(self) -> list[int]:
        """Settings that ``adapted`` plays, by index: with calls, and where not every one of them is asked for
        with a call that clearly saves points (as far as ``compare`` is known)."""
        compared = None if self.asked.every else self._kept("compare")
        found = [i for i, setting in enumerate(self.scenario.settings) if setting.calls]
        if compared is None:
            return found
        calls = [setting["calls"] for setting in compared["settings"]]
        return [i for i in found if any((one["value"]["low"] or 0.0) > 0.0 for one in calls[i])]

    def _adapted_key(self, setting: int) -> tuple[str, str]:
        """Name and key under which what is known of a setting is kept, whoever asked for it."""
        name = f"adapted to {self.scenario.settings[setting].name}"
        return name, canonical({"compare": self.key("compare")})

    def _adapted_row(self, setting: int) -> Found | None:
        return None if self.file is None else self.file.get(*self._adapted_key(setting))

    def _adapted(self, told: Progress) -> _Result:
        from engine.study.adapt import AdaptResult, adapt_setting
        from engine.study.own_men import of_fit

        rows, wanted = [], self.to_adapt()
        for done, i in enumerate(wanted):
            row = self._adapted_row(i)
            if row is None:

                def mine(at: int, total: int, done: int = done) -> None:
                    told(round(1000 * (done + at / total)), 1000 * len(wanted))

                row = adapt_setting(self.scenario, i, self.size, mine).to_dict()
                if self.file is not None:
                    self.file.put(*self._adapted_key(i), row)
            rows.append(row)
        return AdaptResult(self.scenario, self.size, *of_fit(self.part("fit")), tuple(rows))

    def _plan(self, told: Progress, only: Collection[tuple[str, str]] | None = None) -> _Result:
        from engine.study.plan.plan import Ground, plan

        return plan(
            self.evening,
            self.effort.games,
            self.size.seed,
            self.size.threads,
            told,
            dict(self.asked.changes),
            self.effort.table_parts,
            compared=self.part("compare"),
            adapted=self.part("adapted") if self.asked.adapted else None,
            only=only,
            ground=None if self.asked.adapted else self._ground.setdefault("plan", Ground()),
        )

    def _room(self, told: Progress) -> _Result | None:
        return self._plan(told, named(self.scenario, self.advised())) if self._wants_room() else None

    def candidates(self) -> tuple[Spot, ...]:
        """The plan's calls that may be advised."""
        return planned_calls(self.scenario, self.part("plan"))

    def weighed(self) -> tuple[int, ...]:
        """Settings that are weighed over plausible worlds, by index."""
        settings = tuple(dict.fromkeys(setting for setting, _ in self.candidates()))
        return settings or likely_settings(self.part("compare"))

    def stressed(self) -> Found | None:
        """The JSON of ``stress``; None where there is no call to weigh."""
        return self.part("stress") or None

    def _stress(self, told: Progress) -> _Result | None:
        from engine.study.stress.stress import stress

        weighed = self.weighed()
        if not weighed:
            return None
        only = self.scenario.model_copy(
            update={"settings": tuple(self.scenario.settings[i] for i in weighed)}
        )
        effort, size, own = self.effort, self.size, fitted_rates(self.part("fit"))
        return stress(
            only, effort.worlds, effort.world_possessions, size.seed, size.threads, told, not_asked=own
        )

    def _formations(self, told: Progress) -> _Result:
        from engine.study.evening_formations import formations

        n, compared = self.effort.formation_possessions, self.part("compare")
        return formations(self.scenario, self.likely, self.weighed(), compared, n, self.size, told)

    def _timing(self, told: Progress) -> _Result:
        from engine.study.timing.links import timing

        return timing(self.scenario, self.size.seed, told, self.traps, self.size.threads)

    def _lineup(self, told: Progress) -> _Result:
        from engine.study.lineup.asked import CONFIDENCE, DELTA
        from engine.study.lineup.places import lineup

        asked = self.asked
        return lineup(
            self.scenario,
            DELTA if asked.delta is None else asked.delta,
            CONFIDENCE if asked.confidence is None else asked.confidence,
            self.effort.lineup_possessions,
            self.size.seed,
            self.size.threads,
            told,
            self.traps,
            asked.anywhere,
        )

    def advised(self) -> tuple[Spot, ...]:
        """The calls advised, the best first."""
        formations = self.part("formations")
        return advised_calls(self.candidates(), self.weighed(), self.stressed(), formations)

    def _shots(self, told: Progress) -> _Result:
        from engine.study.court_shots import court_shots

        first: tuple[int | None, int] = next(iter((*self.advised(), *self.candidates())), (None, 0))
        return court_shots(self.scenario, *first, self.size.seed, self.effort.traced, told)

    def _sheet(self, told: Progress) -> _Result:
        from engine.study.sheet.rows import compare_sheet

        assert self.counts is not None
        return compare_sheet(self.counts, self.scenario, self.evening.met, self.size, self.part("fit"), told)

    def _attack(self, told: Progress) -> _Result:
        from engine.study.evening_attack import attack

        assert self.evening.attack is not None
        return attack(
            self.evening.attack, replace(self.size, possessions=self.effort.attack_possessions), told
        )

    def _zone_or_men(self, told: Progress) -> _Result:
        from engine.study.evening_zone_or_men import zone_or_men

        assert self.evening.men is not None
        effort, fit = self.effort, self.part("fit")
        worlds = effort.worlds, effort.world_possessions
        return zone_or_men(self.scenario, self.evening.men, fit, worlds, self.size, told)

    def advice(self) -> Advice:
        """What is advised, of the parts in ADVICE."""
        self.part("fit")
        plan, room = self.part("plan"), self.part("room")
        return Advice(
            evening=self.evening,
            scenario=self.scenario,
            advised=self.advised(),
            planned=self.candidates(),
            weighed=self.weighed(),
            plan=with_room(plan, room, named(self.scenario, self.advised())) if room else plan,
            stress=self.stressed(),
            formations=self.part("formations"),
            seldom=self.part("seldom"),
        )

    def tonight(self) -> list[tuple[str, str]] | None:
        """The advised calls as ``told_on`` asks for them, where all that they are taken from is kept."""
        if self.missing(*ADVICE):
            return None
        return sorted(called_tonight(self.scenario, self.advised()))

    def report(self) -> EveningReport:
        """All parts together."""
        return EveningReport(
            **vars(self.advice()),
            effort=self.effort,
            seed=self.size.seed,
            compare=self.part("compare"),
            timing=self.part("timing"),
            lineup=self.part("lineup"),
            shots=self.part("shots"),
            sheet=self.part("sheet"),
            adapted=self.part("adapted") if self.asked.adapted else None,
            zone_or_men=self.part("zone_or_men") if self.asked.zone_or_men else None,
        )
