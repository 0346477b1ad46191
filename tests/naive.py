"""The model's naive twin: one possession in plain Python, written from its description alone.

Slow and obvious on purpose. It was written from configs/model/description.md and the pages of submodels
beside it by somebody who had not seen the engine's compiled code, so that the two can be compared step by
step (tests/test_oracle.py). One function for each submodel: the schedule is here, the rest in naive_*.py.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, fields
from operator import attrgetter
from typing import Any

from naive_agent import Agent
from naive_basics import (
    BACKCOURT,
    DRIBBLE_TO,
    DRIBBLING,
    FREE_THROW,
    HELD,
    LOOSE,
    MISSED,
    NONE,
    PASS_FLIGHT,
    PASS_WINDUP,
    PHASE_NONE,
    SETTLED,
    SHOT_FLIGHT,
    SHOT_WINDUP,
    STAY,
    TOP,
    dist,
)
from naive_choices import decide
from naive_coded import coded_places
from naive_defence import targets_of_the_defenders
from naive_endings import shot_clock_violation, stand, take_places, violation
from naive_motion import count_speeds, counts_and_lines, hazards_of_a_dribble, motion
from naive_offence import targets_of_the_attackers
from naive_passes import fly, release_pass, settle_loose_ball
from naive_rows import adopt, rows_follow_dribble, take_ball
from naive_shots import in_time, shot_arrives, shot_leaves
from naive_state import Possession
from naive_traps import chance, chances_of_a_step, coded_call, hazards_of_a_trap, phase_of_the_trap
from naive_world import World

#: Not part of a snapshot: what is constant, and what is compared apart.
_APART = ("w", "policy", "agents", "record", "events", "options", "triggers", "plays_seen", "asked")
_APART += ("met", "chances", "shadow_counts", "held_marks", "k", "dt", "drawn_s_per_m", "thrown_by")
#: Names of the numbers in a snapshot, of the possession and of one agent.
SHOWN = tuple(f.name for f in fields(Possession) if f.name not in _APART)
AGENT_SHOWN = tuple(f.name for f in fields(Agent))
_shown, _agent_shown = attrgetter(*SHOWN), attrgetter(*AGENT_SHOWN)

Event = tuple[float, str, int, int, float, float, float]


@dataclass
class Played:
    """One possession: its record, the state after each step (the first is the start), all its events.

    ``states`` and ``agents``: the variables of the description's element 2 after each step, in the order of
    ``SHOWN``, and of each of the ten, in the order of ``AGENT_SHOWN``.
    ``events``: (t, name, player, other, value, x, y). ``options``: (t, ordinal of the decision, handler,
    option, value without noise, chosen, raw, gap, promise, ahead, place), every option of every decision.
    ``triggers``: of the calls made.
    ``plays_seen``: (step of a play, what happened to it), in order.
    ``asked``: of men with reluctances of their own: (choice, drive or promise, is it a three, sign of what
    they ask; 0 when the time is nearly up). ``met``: how often each rule of screens,
    of rhythm, of chances, of losses, of ways out of a trap and of the holder's view was met.
    """

    record: dict[str, int]
    states: list[tuple[Any, ...]]
    agents: list[list[tuple[Any, ...]]]
    events: list[Event]
    options: list[tuple[float, int, int, int, float, bool, float, float, float, float, float]]
    triggers: list[str]
    plays_seen: list[tuple[int, str]]
    asked: set[tuple[str, bool, int]]
    met: Counter[str]

    def show(self, p: Possession) -> None:
        self.states.append(_shown(p))
        self.agents.append([_agent_shown(a) for a in p.agents])


# --- initialisation (element 5) -----------------------------------------------------------------------------


def begin(p: Possession) -> None:
    w, k = p.w, p.k
    p.record["shot_clock_left_ms"] = -1
    p.team_fouls = w.game.team_fouls
    p.time_outs = w.game.time_outs_left
    p.clock_s = w.clock.shot_s
    u = p.draw("START", 0, 0)
    p.near = 1 if u[2] < 0.5 else -1
    p.region, p.moment, p.front = TOP, SETTLED, True
    take_places(p)
    p.handler = w.lead
    brings_up = w.scenario.start == "bring_up"
    if brings_up:
        p.region, p.front = BACKCOURT, False
        p.backcourt_s = k["backcourt_used_s"]
        if w.clock.shot_s > 0.0:
            p.clock_s = w.clock.shot_s - k["backcourt_used_s"]
        take_places(p)
        y = w.half_y + 0.8 + 1.2 * u[1]
        stand(p, p.handler, (2.0 * u[0] - 1.0) * k["start_spread_m"], min(y, w.far_y - 0.3))
    p.old_x, p.old_y = p.h.x, p.h.y
    take_ball(p, p.handler)
    for i in p.defenders:
        adopt(p, i)
    if brings_up:
        p.action, p.dribble = DRIBBLE_TO, DRIBBLING
        x, y = p.top_place(p.handler)
        p.goal_x, p.goal_y = x + p.h.dx, y + p.h.dy
    p.event_at_ball("start", p.handler, NONE, p.near)


# --- one step (element 3) -----------------------------------------------------------------------------------


def clock_runs(p: Possession) -> bool:
    """Not while a shot flies to the ring or comes off it; what is blocked, lost or deflected does not."""
    if p.mode == SHOT_FLIGHT:
        return p.shot_result == 2
    return not (p.mode == LOOSE and p.loose_kind in (MISSED, FREE_THROW))


def play_step(p: Possession) -> None:
    p.events, p.options = [], []
    p.step += 1
    p.t = p.step * p.dt
    p.now = p.t + 0.5 * p.dt
    p.begun = p.t - 0.5 * p.dt
    if p.w.clock.shot_s > 0.0 and clock_runs(p):
        p.clock_s -= p.dt
        if p.clock_s <= 0.0 and not (p.mode == SHOT_WINDUP and in_time(p)):
            shot_clock_violation(p)
            return
    targets_of_the_attackers(p)
    if p.over:
        return
    targets_of_the_defenders(p)
    coded_places(p)
    motion(p)
    count_speeds(p)
    before = p.region
    caught = the_ball(p)
    if p.over:
        return
    rows_follow_dribble(p)
    phase_of_the_trap(p)
    chances_of_a_step(p, caught, before)
    coded_call(p)
    counts_and_lines(p)
    if p.over:
        return
    hazards_of_a_dribble(p)
    if p.over:
        return
    hazards_of_a_trap(p)
    if p.mode == HELD and p.now >= p.decide_t:
        decide(p)
    if p.t >= p.k["longest_possession_s"] and not p.over:
        p.record["overflow"] = 1
        violation(p, "possession too long")


def the_ball(p: Possession) -> bool:
    """Step part 6; True if a pass was caught in it."""
    if p.mode in (HELD, PASS_WINDUP, SHOT_WINDUP):
        p.ball_x, p.ball_y = p.h.x, p.h.y
        if p.mode == PASS_WINDUP and p.now >= p.release_t:
            release_pass(p)
            if p.trap_phase == PHASE_NONE:
                chance(p, "in_air", p.target, p.region, p.pass_x1, p.pass_y1)
        elif p.mode == SHOT_WINDUP and p.now >= p.release_t:
            shot_leaves(p)
        elif p.mode == HELD and p.action == DRIBBLE_TO:
            if dist(p.h.x, p.h.y, p.goal_x, p.goal_y) < p.k["arrival_radius_m"]:
                p.action = STAY
    elif p.mode == PASS_FLIGHT:
        return fly(p)
    elif p.mode == SHOT_FLIGHT and p.now >= p.rim_t:
        shot_arrives(p)
    elif p.mode == LOOSE and p.now >= p.loose_t:
        settle_loose_ball(p)
    return False


# --- from outside -------------------------------------------------------------------------------------------


class Naive:
    """One branch of a scenario: home (no setting), a setting, or with ``base`` a setting without its calls.

    ``policy``: for a coded policy, an object with functions ``where(floor, orders)`` and ``call(floor)``, of
    which one may be missing (submodels_defence.md, section 3.2); both have the fields named there.
    """

    def __init__(
        self, scenario: Any, setting: str | None = None, base: bool = False, policy: Any = None
    ) -> None:
        self.world = World(scenario, setting, base)
        self.policy = policy
        if setting is None and getattr(policy, "call", None) is None:
            self.world.watch()
        if base:
            self.world.is_home = True  # nobody asks a coded policy for calls

    def play(self, seed: int, number: int, max_calls: int = 8, follow: Any = ()) -> Played:
        """Plays one possession to its end.

        ``follow``: (x, y, vx, vy) of the ten after each step, as another play of the same possession has
        them. Where they differ by rounding only, the next step starts from their numbers: which of two men
        touching the same opponent is nearer hangs on the last bit, and then both plays go the same way.
        """
        p = Possession(self.world, seed, number, max_calls, self.policy)
        begin(p)
        played = Played(p.record, [], [], list(p.events), [], p.triggers, p.plays_seen, p.asked, p.met)
        played.show(p)
        for step in self._steps(p):
            played.show(p)
            for a, (x, y, vx, vy) in zip(p.agents, follow[step] if step < len(follow) else (), strict=False):
                a.x = x if abs(a.x - x) <= 1e-12 else a.x
                a.y = y if abs(a.y - y) <= 1e-12 else a.y
                a.vx = vx if abs(a.vx - vx) <= 1e-12 else a.vx
                a.vy = vy if abs(a.vy - vy) <= 1e-12 else a.vy
            played.events += p.events
            played.options += [(p.t, p.n_decisions, p.handler, *option) for option in p.options]
        return played

    @staticmethod
    def _steps(p: Possession) -> Iterator[int]:
        while not p.over:
            play_step(p)
            yield p.step
