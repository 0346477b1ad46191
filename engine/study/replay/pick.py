"""Which possession to look at: rules that pick one of the possessions in which a trap call was made.

Every possession is played twice on common luck, under the setting and in the setting's own defence without
calls (engine.run.branches), and only possessions whose first call is the one asked for are looked at. Net
points are the record's: points conceded less the drawn excess of the next possession. All comparisons are
made in whole numbers, so a pick does not depend on rounding or on the number of threads.
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError, MissingInput
from engine.estimate.calls import ESCAPES
from engine.estimate.intervals import Found
from engine.estimate.tally import IntArray
from engine.inputs.base import spoken
from engine.inputs.calls import Call
from engine.inputs.defaults import HOME, MOST_POSSESSIONS
from engine.inputs.scenario import Scenario
from engine.run.blocks import Progress, Records, Runner, run_blocks
from engine.run.branches import Plan, branches_of, play_setting
from engine.run.size import RunSize
from engine.state.record import COLUMN
from engine.state.words import AFTER, ENDS, OUTCOMES
from engine.study.play import Opening, check_setting, open_scenario, run_size
from engine.world.pack import pack

#: The rules, besides the number of a possession.
RULES = ("typical", "worst", "punished")
BY_NUMBER = "number"
#: A beaten trap (ESCAPES) is punished when one of these shots follows before the defence stands again.
PUNISHED = ("rim_shot", "open_three")


@dataclass(frozen=True, eq=False)
class Called:
    """The possessions of a run whose first call was the one asked for, in the order of their numbers.

    ``played``: possessions played (count). The rest int64[n]: ``number`` of the possession, ``net`` and
    ``base_net`` net points with and without the call, ``outcome`` and ``after`` indices into OUTCOMES and
    AFTER, ``time_ms`` length, ``points`` and ``base_points`` conceded, ``base_end`` index into ENDS.
    """

    played: int
    number: IntArray
    net: IntArray
    base_net: IntArray
    outcome: IntArray
    after: IntArray
    time_ms: IntArray
    points: IntArray
    base_points: IntArray
    base_end: IntArray

    def __add__(self, other: Called) -> Called:
        arrays = [
            np.concatenate((getattr(self, field.name), getattr(other, field.name)))
            for field in fields(self)[1:]
        ]
        return Called(self.played + other.played, *arrays)

    @property
    def n(self) -> int:
        """Possessions with the call."""
        return len(self.number)

    @property
    def cost(self) -> IntArray:
        """Net points conceded more than without the call, int64[n]."""
        return self.net - self.base_net

    @classmethod
    def from_records(cls, base: Records, records: Records, first: int, keep: NDArray[np.bool_]) -> Called:
        """Rows ``keep`` (bool[count]) of a block that starts at possession ``first``."""
        rows = np.flatnonzero(keep)

        def column(of: Records, name: str) -> IntArray:
            return of[rows, COLUMN[name]].astype(np.int64)

        return cls(
            played=len(records),
            number=first + rows.astype(np.int64),
            net=column(records, "net"),
            base_net=column(base, "net"),
            outcome=column(records, "outcome"),
            after=column(records, "after"),
            time_ms=column(records, "time_ms"),
            points=column(records, "points"),
            base_points=column(base, "points"),
            base_end=column(base, "end"),
        )


@dataclass(frozen=True)
class Choice:
    """A row of Called and how common such a possession is: ``alike`` of the called possessions."""

    row: int
    alike: int


@dataclass(frozen=True)
class Pick:
    """A picked possession.

    ``rule``: typical, worst, punished or number. ``index``: number of the possession. ``call``,
    ``call_title``: name and title of the call, "" for staying home. ``played``: possessions searched;
    ``called``: those whose first call was this one; ``alike``: those of them that are like this one (the
    rule says how).
    ``mean_cost``: mean of net points conceded more under the call, over the called ones, None without any. Of
    the possession itself, None where the call was not made in it: ``cost`` (net points more than without the
    call), ``outcome`` and ``after`` by name, ``points`` conceded; ``base_points``, ``base_end`` without it.
    """

    rule: str
    index: int
    setting: str
    call: str
    call_title: str
    seed: int
    played: int
    called: int
    alike: int | None
    mean_cost: float | None
    cost: int | None
    outcome: str | None
    after: str | None
    points: int | None
    base_points: int | None
    base_end: str | None

    def to_dict(self) -> Found:
        """Plain JSON."""
        return asdict(self)


# --- the rules ----------------------------------------------------------------------------------------


def typical(called: Called) -> Choice | None:
    """The commonest course (outcome of the call and what came after it; a tie: the first in the order of
    OUTCOMES, then AFTER). Of these possessions those whose cost is nearest to the mean cost of all called
    ones; of these those that conceded the course's median of points (the lower one of two) or next to it; of
    these the one whose length is nearest to the mean length of the course; a tie: the lowest number.

    ``alike`` counts the possessions of this course.
    """
    if not called.n:
        return None
    code = called.outcome * len(AFTER) + called.after
    counts = np.bincount(code, minlength=len(OUTCOMES) * len(AFTER))
    rows = np.flatnonzero(code == int(counts.argmax()))
    alike = len(rows)
    total_ms = int(called.time_ms[rows].sum())
    off = np.abs(called.cost[rows] * called.n - int(called.cost.sum()))
    median = int(np.sort(called.points[rows])[(alike - 1) // 2])
    rows = rows[off == off.min()]
    off_points = np.abs(called.points[rows] - median)
    rows = rows[off_points == off_points.min()]
    off_ms = np.abs(called.time_ms[rows] * alike - total_ms)
    return Choice(int(rows[off_ms.argmin()]), alike)


def worst(called: Called) -> Choice | None:
    """The largest cost (net points conceded more than without the call); a tie: the lowest number.

    ``alike`` counts the possessions that cost as much.
    """
    if not called.n:
        return None
    return Choice(int(called.cost.argmax()), int((called.cost == called.cost.max()).sum()))


def punished(called: Called) -> Choice | None:
    """The first whose trap was beaten (left by pass, retreat or split) and followed by a shot at the rim or
    an open three before the defence stood again.

    ``alike`` counts all of these.
    """
    left = np.isin(called.outcome, [OUTCOMES.index(name) for name in ESCAPES])
    rows = np.flatnonzero(left & np.isin(called.after, [AFTER.index(name) for name in PUNISHED]))
    return Choice(int(rows[0]), len(rows)) if len(rows) else None


PICKS = {"typical": typical, "worst": worst, "punished": punished}


# --- what is asked for --------------------------------------------------------------------------------


def check_pick(pick: str | int) -> str | int:
    """A rule by name, or the number of a possession.

    Raises
    ------
    InputError
        when it is neither.
    """
    allowed = f"{', '.join(RULES)}, or the number of a possession from 0 to {MOST_POSSESSIONS - 1}"
    if isinstance(pick, str):
        if pick in RULES:
            return pick
        if not (pick.isascii() and pick.isdigit()):
            raise InputError("--pick", "", pick, allowed)
    if isinstance(pick, bool) or not 0 <= int(pick) < MOST_POSSESSIONS:
        raise InputError("--pick", "", pick, allowed)
    return int(pick)


def _nearness(call: Call, name: str) -> int:
    """How a call is named: 3 its name, 2 its spot, 1 a part of its name, 0 not at all."""

    def bare(text: str) -> str:
        return spoken(text).replace("-", " ").casefold().strip()

    asked, known = bare(name), bare(call.name)
    if asked == known:
        return 3
    return 2 if asked == bare(call.spot) else int(bool(asked) and asked in known)


def find_call(scenario: Scenario, call: str | None, setting: str | None) -> tuple[int, int]:
    """Index of the setting (-1 for staying home) and of the call in it (-1 for a setting without calls).

    ``call``: name of a call or of its spot, or a part of one call's name; None for the first of the setting.
    ``setting``: None takes the first setting of the scenario that makes the call.

    Raises
    ------
    InputError
        for an unknown setting or call, a part of several names, or where there is no call at all.
    """
    if setting is not None:
        chosen = check_setting(scenario, setting)
        if chosen < 0:
            if call is not None:
                raise InputError("--call", "", call, "no call where everybody stays home (leave it out)")
            return -1, -1
        among: Sequence[int] = (chosen,)
    else:
        among = range(len(scenario.settings))
    known = [(index, place, found) for index in among
             for place, found in enumerate(scenario.settings[index].calls)]  # fmt: skip
    near = [0 if call is None else _nearness(found, call) for _, _, found in known]
    meant = [one for one, how in zip(known, near, strict=True) if call is None or how == max(near) > 0]
    names = list(dict.fromkeys(found.name for _, _, found in meant))
    if call is not None and max(near, default=0) == 1 and len(names) > 1:
        raise InputError("--call", "", call, f"one of {', '.join(names)} (it is a part of each)")
    if meant:
        return meant[0][0], meant[0][1]
    where = "the scenario" if setting is None else f'setting "{setting}"'
    if not known and setting is not None and call is None:
        return among[0], -1
    if not known:
        raise MissingInput(scenario.path, f"a call in {where}", "a [[setting.call]] of a [[setting]]")
    names = list(dict.fromkeys(found.name for _, _, found in known))
    close = difflib.get_close_matches(call or "", names, n=1)
    hint = f" (nearest: {close[0]})" if close else ""
    raise InputError(
        "--call", "", call, f"a call of {where}, or a part of its name: {', '.join(names)}{hint}"
    )


def check_asked(scenario: Scenario, call: str | None, pick: str | int, setting: str | None) -> None:
    """Check everything that needs no possession to be played. Raises InputError."""
    checked = check_pick(pick)
    _, place = find_call(scenario, call, setting)
    if place < 0 and isinstance(checked, str):
        raise InputError("--pick", "", pick, "the number of a possession, in a setting without calls")


# --- the search ---------------------------------------------------------------------------------------


def called_possessions(
    plans: Plan, size: RunSize, setting: int, call: int, progress: Progress | None = None
) -> Called:
    """Play a setting beside its own defence without calls and keep the possessions whose first call is number
    ``call`` of the setting."""
    runner = Runner(size.seed)
    runner.warm(plans.home)
    return run_blocks(size, runner, lambda a, b: _block(plans, runner, setting, call, a, b), progress)


def _block(plans: Plan, runner: Runner, setting: int, call: int, first: int, count: int) -> Called:
    chosen = plans.settings[setting]
    world = plans.home if chosen.base is None else plans.bases[chosen.base]
    base = runner.block(world, first, count, HOME)
    branch = play_setting(runner, chosen, first, base, [base] * len(plans.bases))
    keep = branch.records[:, COLUMN["first_call"]] == call + 1
    return Called.from_records(base, branch.records, first, keep)


def pick_possession(
    scenario: Opening,
    call: str | None = None,
    pick: str | int = "typical",
    setting: str | None = None,
    possessions: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> Pick:
    """Pick one possession of a scenario.

    Parameters
    ----------
    scenario : path of a scenario, or what ``engine.load`` returned
    call : name of a call or its spot; None takes the first call of the setting
    pick : "typical", "worst", "punished" (the functions of these names say what they mean), or the number
        of a possession, which may lie beyond those searched
    setting : None takes the first setting that makes the call; one without calls only with a number
    possessions, seed : how many are searched; None takes the scenario's own
    threads : None uses every available core; the result does not depend on it

    Raises
    ------
    InputError
        bad input, or no possession that the rule could pick.
    """
    scenario = open_scenario(scenario)
    size = run_size(scenario, possessions, seed, threads)
    check_asked(scenario, call, pick, setting)
    rule = check_pick(pick)
    index, place = find_call(scenario, call, setting)
    if place < 0:
        return _pick(int(rule), setting or HOME, None, size, None, None, None)
    plans = branches_of(pack(scenario))
    chosen = scenario.settings[index]
    called = called_possessions(plans, size, index, place, progress)
    if isinstance(rule, int):
        alone = _block(plans, Runner(size.seed), index, place, rule, 1)
        choice = None
        if alone.n:
            same = (called.outcome == alone.outcome[0]) & (called.after == alone.after[0])
            choice = Choice(0, int(same.sum()))
        return _pick(rule, chosen.name, chosen.calls[place], size, called, alone, choice)
    choice = PICKS[rule](called)
    if choice is None:
        made = f"made in {called.n} of {called.played:,} possessions searched"
        allowed = (
            f"a rule that some possession meets: the call was {made}, none of them {rule} (-n searches more)"
        )
        raise InputError("--pick", "", rule, allowed)
    return _pick(rule, chosen.name, chosen.calls[place], size, called, called, choice)


def _pick(
    rule: str | int,
    setting: str,
    call: Call | None,
    size: RunSize,
    called: Called | None,
    source: Called | None,
    choice: Choice | None,
) -> Pick:
    """The pick: ``choice`` is a row of ``source``, None where the call was not made in the possession."""
    n = 0 if called is None else called.n
    row: Found = dict.fromkeys(("cost", "outcome", "after", "points", "base_points", "base_end"))
    number = rule if isinstance(rule, int) else 0
    if source is not None and choice is not None:
        i = choice.row
        number = int(source.number[i])
        row = {
            "cost": int(source.cost[i]),
            "outcome": OUTCOMES[int(source.outcome[i])],
            "after": AFTER[int(source.after[i])],
            "points": int(source.points[i]),
            "base_points": int(source.base_points[i]),
            "base_end": ENDS[int(source.base_end[i])],
        }
    return Pick(
        rule=BY_NUMBER if isinstance(rule, int) else rule,
        index=number,
        setting=setting,
        call="" if call is None else call.name,
        call_title="" if call is None else call.title,
        seed=size.seed,
        played=0 if called is None else called.played,
        called=n,
        alike=None if choice is None else choice.alike,
        mean_cost=int(called.cost.sum()) / n if called is not None and n else None,
        **row,
    )
