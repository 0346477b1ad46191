"""A play without playing it: who makes each move, from where, how far, and what can never come of it.

Attackers stand on the spots of an alignment, or where the step before has sent them; whoever has to go is
asked of engine.kernel.plays, run as plain Python. What must be seen for a move is taken to be seen. It takes
as long as a straight run from rest (engine.still.picture) with TOP_SPEED_MPS times his pace. Metres, seconds;
the ball's side is x > 0. Findings, not errors.
"""

from __future__ import annotations

import functools
import math
import string
from collections.abc import Callable, Iterator, Mapping, Sequence
from types import SimpleNamespace as Bag
from typing import Any, NamedTuple

import numpy as np

from engine.inputs.alignment import Alignment, Break, load_alignment
from engine.inputs.base import listed
from engine.inputs.constants import load_constants
from engine.inputs.files import shipped
from engine.inputs.plays import Play, Step
from engine.inputs.rules import load_rules
from engine.kernel.near import FAR_AWAY
from engine.kernel.plays import begin_step
from engine.kernel.screens import screen_spot
from engine.policies.reach import plain, python_of
from engine.state.arrays import MOST_MOVES, N_SIDE, WORLD
from engine.state.words import REGIONS, Action, Does, Dribble, Mode, Only, Screen, Start, Who
from engine.still.holes import ALIGNMENT, BALL_IN, RULES, TOP_SPEED_MPS
from engine.still.picture import Point, attack, run_s
from engine.world.court import Court, build_court
from engine.world.pack import fill_plays, place_of

#: Two attackers nearer than this to each other are guarded by one man, metres (common practice, no source).
APART_M = 1.5
#: Where a step may begin that is asked whatever the ball's region: those of the half court in front.
FRONT = tuple(region for region in REGIONS if region != "backcourt")


#: Moves of a step, by these letters in words and on pictures.
LETTERS = string.ascii_uppercase[:MOST_MOVES]


class Run(NamedTuple):
    """A move as it is run: who (position 1 to 5), from where to where (metres), from when to when (seconds
    from the start of the step)."""

    man: int
    start: Point
    end: Point
    from_s: float
    to_s: float


class Still(NamedTuple):
    """A step on a still picture: ball in ``region``, places by position, who has it or gets it.

    ``ball_from``: the region it was passed from or the trap it got out of, "" neither.
    ``came``: the step before it, None where it follows none; with ``ball_from``: in whose midst it was passed
    on. ``runs``: of each move, None for nobody. ``after``: everybody's place after the step.
    ``screener``: who screens in it, 0 nobody. ``passer``: who has passed last, None where nobody has.
    """

    region: str
    ball_from: str
    came: Still | None
    places: dict[int, Point]
    handler: int
    runs: tuple[Run | None, ...]
    after: dict[int, Point]
    screener: int = 0
    passer: int | None = None

    def going(self) -> dict[int, Point]:
        """Who has a move, and where to: those of the step before keep theirs until they get another."""
        kept = {} if self.came is None else self.came.going()
        return kept | {run.man: run.end for run in self.runs if run is not None}


class Finding(NamedTuple):
    """What is wrong with a step of a play: ``kind`` "never", "seldom", "nobody", "late" or "crowd"."""

    kind: str
    step: str
    text: str


class _Floor(NamedTuple):
    """Everybody's place before a step is asked who goes where, the ball's side at x > 0."""

    region: str
    ball_from: str
    places: dict[int, Point]
    handler: int
    passer: int | None = None
    came: Still | None = None


@functools.cache
def _kernel(compiled: Callable[..., Any]) -> Callable[..., Any]:
    function = python_of(compiled)
    assert function is not None
    return plain(function)


def _defenders(ball: Point) -> list[Bag]:
    """The man on the ball, between it and the rim; the others are not asked."""
    share = 1.0 - _constants()["on_ball_gap_m"] / max(math.hypot(*ball), 1.0)
    away = [Bag(x=0.0, y=FAR_AWAY) for _ in range(N_SIDE - 1)]
    return [Bag(x=ball[0] * share, y=ball[1] * share), *away]


@functools.lru_cache(maxsize=1)
def _constants() -> dict[str, float]:
    return {name: constant.value for name, constant in load_constants().items()}


def _side_m() -> float:
    """The ball has changed sides when it is farther than this across the middle, metres."""
    return _constants()["side_hysteresis_m"]


def _mirrored(places: dict[int, Point]) -> dict[int, Point]:
    return {man: (-x, y) for man, (x, y) in places.items()}


# --- where everybody stands before a step ----------------------------------------------------------------


def _passes(step: Step, alignment: Alignment, court: Court) -> Iterator[_Floor]:
    """Every pass between two places of the alignment that ends in a region of the step, the ball then on the
    right: thrown from there, from the middle, or from the other side."""
    for region in FRONT:
        for side in ("right", "left"):
            places, handler, _ = attack(alignment, court, region, side)
            if side == "left":
                places = _mirrored(places)
            for man, (x, y) in places.items():
                here = court.region_at(x, y)
                crossed = x > _side_m() if side == "left" else x >= -_side_m()
                if man != handler and crossed and here in step.ball:
                    yield _Floor(here, region, places, man, handler)


def _carried_in(step: Step, alignment: Alignment, court: Court) -> Iterator[_Floor]:
    """The same to regions where nobody has his place: whoever is nearest has gone there."""
    for region in step.ball:
        if region in FRONT:
            spot = court.spot(region)
            thrown = [(attack(alignment, court, q, "right"), q) for q in FRONT if q != region]
            ways = []
            for (places, handler, _), q in thrown:
                man = min((m for m in places if m != handler), key=lambda m: math.dist(places[m], spot))
                ways.append((math.dist(places[man], spot), q, places | {man: spot}, man, handler))
            _, q, places, man, handler = min(ways, key=lambda way: (round(way[0], 6), FRONT.index(way[1])))
            yield _Floor(region, q, places, man, handler)


def _escapes(step: Step, alignment: Alignment, court: Court) -> Iterator[_Floor]:
    """The ball thrown out of a trap to each of the places of its break."""
    for item in alignment.breaks:
        for region in item.call:
            for side in ("right", "left") if region in FRONT else ():
                yield from _escaped(step, item, region, side, alignment, court)


def _escaped(
    step: Step, item: Break, region: str, side: str, alignment: Alignment, court: Court
) -> Iterator[_Floor]:
    places, trapped, ball = attack(alignment, court, region, side)
    free = [man for man in places if man != trapped]
    found: dict[str, int] = {}
    for name in ("middle", "behind", "line", "far"):  # as engine.kernel.offence.assign_break
        at = place_of(court, getattr(item, name))
        found[name] = min(free, key=lambda man: math.dist(places[man], at))
        free.remove(found[name])
    stand = {trapped: ball} | {man: place_of(court, getattr(item, name)) for name, man in found.items()}
    if side == "left":
        stand = _mirrored(stand)
    for name in ("behind", "middle", "line", "far"):
        x, y = stand[found[name]]
        here = court.region_at(x, y)
        if here in step.ball and (x >= -_side_m() if side == "right" else x > _side_m()):
            yield _Floor(here, region, stand, found[name], trapped)


def _settled(step: Step, alignment: Alignment, court: Court) -> Iterator[_Floor]:
    for region in step.ball:
        if region in FRONT:
            places, handler, _ = attack(alignment, court, region, "right")
            yield _Floor(region, "", places, handler)


def _followed(step: Step, before: Sequence[Still], court: Court, passed_on: bool) -> Iterator[_Floor]:
    """As the step before has left them, the ball then in a region of the step. Where it is not, and with
    ``passed_on``: passed on meanwhile to one who is then in such a region, on its side."""
    for one in before:
        where = {man: court.region_at(x, y) for man, (x, y) in one.after.items()}
        here = where[one.handler]
        if here in step.ball:
            yield _Floor(here, "", one.after, one.handler, one.passer, one)
        for man, (x, _) in one.after.items() if passed_on and here not in step.ball else ():
            if man != one.handler and x >= -_side_m() and where[man] in step.ball:
                yield _Floor(where[man], here, one.after, man, one.handler, one)


def _floors(
    step: Step, before: Sequence[Still], alignment: Alignment, court: Court, passed_on: bool
) -> list[_Floor]:
    if step.when == Start.PASS.word:
        return list(_passes(step, alignment, court)) or list(_carried_in(step, alignment, court))
    if step.when == Start.ESCAPE.word:
        return list(_escapes(step, alignment, court))
    if step.when == Start.THEN.word:
        return list(_followed(step, before, court, passed_on))
    return list(_settled(step, alignment, court))


# --- a step on them --------------------------------------------------------------------------------------


def _still(w: np.record, n: int, step: Step, floor: _Floor, alignment: Alignment, court: Court) -> Still:
    """The step as the kernel begins it on this floor: each move alone says who makes it."""
    agents = [Bag(x=x, y=y, go=0) for x, y in (floor.places[man] for man in range(1, N_SIDE + 1))]
    in_air = floor.ball_from != "" and step.when == Start.PASS.word
    s = Bag(
        t=0.0, near=1, play=-1, play_t=0.0, dribble=Dribble.UNUSED, action=Action.STAY, goal_x=0.0, goal_y=0.0
    )
    s.mode = Mode.PASS_FLIGHT if in_air else Mode.HELD
    s.handler = (floor.passer or 0) - 1 if in_air else floor.handler - 1
    s.target = floor.handler - 1
    s.passer = -1 if floor.passer is None else floor.passer - 1
    s.screen, s.screener = Screen.NONE, -1 if floor.came is None else floor.came.screener - 1
    five, screener = _defenders(floor.places[floor.handler]), 0
    rules = Bag(half_width_m=court.half_width_m, baseline_y_m=court.baseline_y_m, half_y_m=court.half_y_m)
    runs: list[Run | None] = []
    k = _constants()
    for i, move in enumerate(step.moves):
        one = w.steps[n].copy()
        one.n_moves = i + 1
        for m in one.moves:
            m.only = Only.ALWAYS
        for a in agents:
            a.go = 0
        s.action = Action.STAY
        c = Bag(s=s, agents=[*agents, *five], guards=[-1] * N_SIDE)
        _kernel(begin_step)(Bag(steps={n: one}, rules=rules), c, n, 0)
        known = [run.man for run in runs if run is not None]
        new = [man for man in floor.places if agents[man - 1].go == 1 and man not in known]
        pace, end = move.pace, (0.0, 0.0)
        if new:
            end = agents[new[0] - 1].go_x, agents[new[0] - 1].go_y
            if move.does == Does.SCREEN.word:
                screener, end = new[0], _kernel(screen_spot)(Bag(k=Bag(**k)), c)
        elif move.who == Who.HANDLER.word:
            new, end = [floor.handler], (s.goal_x, s.goal_y)
            pace = k["dribble_speed_share"] * k["bring_up_speed_share"]
        if not new:
            runs.append(None)
            continue
        start, end = floor.places[new[0]], (float(end[0]), float(end[1]))
        to_s = move.after_s + run_s(math.dist(start, end), TOP_SPEED_MPS * pace, k["sprint_tau_s"])
        runs.append(Run(new[0], start, end, move.after_s, to_s))
    found = Still(
        floor.region,
        floor.ball_from,
        floor.came,
        floor.places,
        floor.handler,
        tuple(runs),
        {},
        screener,
        floor.passer,
    )
    # whoever has no move has taken his place for the ball's new region by then
    region = "lane" if step.when == Start.DRIVE.word else floor.region
    settled = attack(alignment, court, region, "right")[0] | {floor.handler: floor.places[floor.handler]}
    return found._replace(after=settled | found.going())


def stills(play: Play, alignment: Alignment, court: Court, passed_on: bool = False) -> dict[str, list[Still]]:
    """Step -> the still pictures on which it may begin: one for each region and pass, see the module.

    A step that follows another begins where that one has left everybody; where the ball is then in none of
    its regions, and with ``passed_on``, where it was passed on in the midst of that one.
    """
    w = np.zeros(1, WORLD).view(np.recarray)[0]
    fill_plays(w, [play], court)
    found: dict[str, list[Still]] = {}
    waiting = list(range(len(play.steps)))
    while waiting:
        ready = [n for n in waiting if not _waits(play, n, found)]
        for n in ready or waiting:
            step = play.steps[n]
            before = [one for p in play.steps if p.next == step.name for one in found.get(p.name, ())]
            floors = _floors(step, before, alignment, court, passed_on)
            found[step.name] = [_still(w, n, step, floor, alignment, court) for floor in floors]
        waiting = [n for n in waiting if n not in (ready or waiting)]
    return {step.name: found[step.name] for step in play.steps}


def _waits(play: Play, n: int, found: dict[str, list[Still]]) -> bool:
    """True for a step that follows one that has not been looked at yet."""
    step = play.steps[n]
    return step.when == Start.THEN.word and any(
        p.next == step.name and p.name not in found for p in play.steps
    )


def shown(play: Play, found: Mapping[str, Sequence[Still]]) -> dict[str, Still]:
    """The picture of each step that is drawn: of those in which most moves are made the one in the first of
    its regions; of a step that follows another one that is drawn, where that has left everybody."""
    drawn: dict[str, Still] = {}
    first = sorted(play.steps, key=lambda step: step.when == Start.THEN.word)
    for step in [*first, *first]:  # twice: what follows may stand before what it follows
        pictures = [
            one
            for one in found[step.name]
            if one.came is None or any(one.came is other for other in drawn.values())
        ]
        if pictures and step.name not in drawn:
            drawn[step.name] = max(
                pictures,
                key=lambda one: (sum(run is not None for run in one.runs), -step.ball.index(one.region)),
            )
    return drawn


# --- what is wrong ---------------------------------------------------------------------------------------


def reachable(play: Play) -> set[str]:
    """Steps that can come as far as occasions, chances and what follows what are concerned."""
    found = {step.name for step in play.steps if step.when != Start.THEN.word and step.often > 0.0}
    while True:
        more = {step.next for step in play.steps if step.name in found and step.next is not None} - found
        if not more:
            return found
        found |= more


def unseen(play: Play, step: Step) -> Finding:
    """What of a step that no picture shows: it can never come, or only where the ball went on meanwhile."""
    if set(step.ball) <= {"backcourt"}:
        return Finding("never", step.name, "no play is begun with the ball in the backcourt")
    if step.when == Start.ESCAPE.word:
        return Finding("never", step.name, f"no pass out of a trap ends {in_regions(step)}")
    before = [one.name for one in play.steps if one.next == step.name]
    if step.when != Start.THEN.word:
        return Finding("never", step.name, "the ball does not come to its place so")
    where = f"after {listed(before)} the ball is {in_regions(step)} only where it was passed on meanwhile"
    return Finding("seldom", step.name, where)


def either(words: Sequence[str]) -> str:
    """Words with commas and an "or": "slot, wing or top"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def in_regions(step: Step) -> str:
    """The regions of a step in words: "in the corner or at the top"."""
    return either([BALL_IN[region] for region in step.ball])


def _late(
    step: Step, after: Step | None, one: Still, followers: Sequence[Still]
) -> list[tuple[int, float, float]]:
    """(move, seconds it needs, seconds it has) of the moves that the step, and the next where he keeps his
    move, leave no time for."""
    found = []
    for i, run in enumerate(one.runs):
        if run is None:
            continue
        has = step.lasts_s
        kept = [f for f in followers if f.came is one and all(r is None or r.man != run.man for r in f.runs)]
        if after is not None and kept:
            has += after.lasts_s
        if run.to_s > has:
            found.append((i, run.to_s, has))
    return found


def _crowd(step: Step, one: Still) -> list[tuple[float, str]]:
    """Pairs of attackers nearer than APART_M after the step, one of whom has been sent there by it."""
    sent = {run.man for run in one.runs if run is not None}
    men = [m for m in one.after if not (m == one.handler and step.when == Start.DRIVE.word)]
    pairs = [(a, b) for a in men for b in men if a < b and (a in sent or b in sent)]
    apart = [(math.dist(one.after[a], one.after[b]), f"{a} and {b}") for a, b in pairs]
    return [(way, who) for way, who in apart if way < APART_M]


def findings(play: Play) -> list[Finding]:
    """What is wrong with a play, at most one of a kind for each step or move.

    "never": no shipped alignment lets the step begin. "seldom": it follows another step, and begins only
    where the ball was passed on in the midst of that one. "nobody": in none of them is a man within
    within_m of a move's place. "late": the man needs longer than the step lasts, and than the next one where
    he keeps his move, on more than half of the pictures of the shipped ALIGNMENT in which somebody makes it.
    "crowd": two attackers end nearer than APART_M to each other on more than half of them.
    """
    court = build_court(load_rules(RULES))
    every = {name: stills(play, load_alignment(name), court) for name in shipped("alignments")}
    usual = every[ALIGNMENT]
    steps = {step.name: step for step in play.steps}
    found: list[Finding] = []
    can = reachable(play)
    for step in play.steps:
        seen = [one for pictures in every.values() for one in pictures[step.name]]
        if step.name not in can:
            why = "often is 0" if step.when != Start.THEN.word else "no step that can come leads to it"
            found.append(Finding("never", step.name, why))
            continue
        if not seen:
            found.append(unseen(play, step))
            continue
        for i in range(len(step.moves)):
            if all(one.runs[i] is None for one in seen):
                text = f"{LETTERS[i]}: nobody is within {step.moves[i].within_m:g} m of the place"
                if step.moves[i].who != Who.NEAREST.word:
                    text = f"{LETTERS[i]}: nobody makes it"
                found.append(Finding("nobody", step.name, f"{text}, in any shipped alignment"))
        pictures = usual[step.name]
        after = steps[step.next] if step.next is not None else None
        needs: dict[int, list[tuple[float, float]]] = {}
        for one in pictures:
            for i, need_s, has_s in _late(step, after, one, usual[after.name] if after else ()):
                needs.setdefault(i, []).append((need_s, has_s))
        for i, each in sorted(needs.items()):
            if 2 * len(each) > sum(one.runs[i] is not None for one in pictures):
                need_s, has_s = min(each)
                places = 1 + (f"{need_s:.1f}" == f"{has_s:.1f}")
                text = f"{LETTERS[i]} takes {need_s:.{places}f} s, there are {has_s:.{places}f} s"
                found.append(Finding("late", step.name, text))
        crowds = [min(pairs) for pairs in (_crowd(step, one) for one in pictures) if pairs]
        if 2 * len(crowds) > len(pictures):
            way, who = min(crowds)
            found.append(Finding("crowd", step.name, f"positions {who} end {way:.1f} m apart"))
    return found
