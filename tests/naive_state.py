"""What changes while one possession is played: agents, the possession, its record, its events.

Variables and initial values are those of the description's element 2. ``Possession`` also holds the small
questions that many submodels ask (court and motion, section 5). Part of the naive twin (tests/naive.py).
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from naive_agent import Agent
from naive_basics import (
    DRIBBLING,
    DRIVE,
    HELD,
    NEVER,
    NONE,
    OVER,
    SCREEN_NONE,
    SETTLED,
    SPLIT,
    STAY,
    TOP,
    UNUSED,
    clip,
    dist,
    fade,
    logistic,
    uniforms,
)
from naive_world import GRID_STEP_M, N_GRID, Player, TrapCall, World

from engine.state.record import RECORD


@dataclass
class Possession:
    w: World
    seed: int
    number: int
    max_calls: int
    policy: Any = None
    k: dict[str, float] = field(init=False)
    dt: float = field(init=False)

    agents: list[Agent] = field(default_factory=lambda: [Agent() for _ in range(10)])
    record: dict[str, int] = field(default_factory=lambda: dict.fromkeys(RECORD, 0))
    events: list[tuple[float, str, int, int, float, float, float]] = field(default_factory=list)
    options: list[tuple[int, float, bool, float, float, float, float, float]] = field(default_factory=list)
    triggers: list[str] = field(default_factory=list)  # of the calls made, for the reader
    plays_seen: list[tuple[int, str]] = field(default_factory=list)  # step, what happened to it; likewise
    asked: set[tuple[str, bool, int]] = field(default_factory=set)  # own reluctance: where, three, sign
    met: Counter[str] = field(default_factory=Counter)  # a rule of screens, shots, losses, traps, view met

    step: int = 0
    t: float = 0.0
    now: float = 0.0
    begun: float = 0.0
    due_t: float = 0.0
    clock_s: float = 0.0
    mode: int = HELD
    handler: int = 0
    passer: int = NONE
    target: int = NONE
    action: int = STAY
    dribble: int = UNUSED
    goal_x: float = 0.0
    goal_y: float = 0.0
    end_x: float = 0.0
    end_y: float = 0.0
    drive_t: float = 0.0
    open_t: float = NEVER
    ball_x: float = 0.0
    ball_y: float = 0.0
    ball_z: float = 0.0
    old_x: float = 0.0
    old_y: float = 0.0
    region: int = TOP
    moment: int = SETTLED
    near: int = 1
    spot_region: int = TOP
    spot_side: int = 1
    spot_t: float = NEVER
    catch_t: float = 0.0
    decide_t: float = 0.0
    look_t: float = -NEVER
    looked_t: float = 0.0
    stopped_t: float = -NEVER
    drive_way: int = 0
    last_y: float = 0.0
    held_chance: bool = False
    picked_up: bool = False
    pass_kind: int = 0
    pass_x0: float = 0.0
    pass_y0: float = 0.0
    pass_z0: float = 0.0
    pass_x1: float = 0.0
    pass_y1: float = 0.0
    pass_share: float = 0.0
    release_t: float = 0.0
    arrive_t: float = 0.0
    release_pressure: int = 0
    pass_next_region: int = 0
    pass_is_skip: bool = False
    pass_missed_bump: bool = False
    rhythm: float = 0.0
    windup_t: float = 0.0
    unset: bool = False
    shot_x: float = 0.0
    shot_y: float = 0.0
    shot_three: bool = False
    shot_result: int = 0
    shot_foul: bool = False
    rim_t: float = 0.0
    shooter: int = 0
    loose_kind: int = 0
    loose_t: float = 0.0
    out_by_defence: bool = False
    boxed_share: float = 0.0
    guarded_s: float = 0.0
    backcourt_s: float = 0.0
    front: bool = True
    across: int = 0
    team_fouls: int = 0
    time_outs: int = 0
    trap_phase: int = 0
    trap_call: int = 0
    trap_t: float = 0.0
    trap_side: int = 1
    trap_x: float = 0.0
    trap_y: float = 0.0
    trapper_0: int = NONE
    trapper_1: int = NONE
    trap_handler: int = NONE
    trap_read_t: float = NEVER
    after_t: float = 0.0
    trap_number: int = 0
    play: int = NONE
    play_t: float = 0.0
    play_pass: int = 0
    play_drive: int = 0
    play_trap: int = 0
    screen: int = SCREEN_NONE
    screener: int = NONE
    screened: int = 0
    screen_for: int = 0
    screen_side: float = 0.0
    screen_t: float = 0.0
    screen_cover: int = 0
    screen_chance: bool = False
    matched: bool = False
    outcome_open: bool = False
    after_open: bool = False
    n_decisions: int = 0
    n_looks: int = 0
    n_passes: int = 0
    n_shots: int = 0
    n_rebounds: int = 0
    n_free_throws: int = 0
    n_loose: int = 0
    n_restarts: int = 0
    n_jitter: int = 0
    n_catches: int = 0
    n_held: int = 0
    n_plays: int = 0
    chances: dict[int, int] = field(default_factory=dict)
    shadow_counts: dict[int, int] = field(default_factory=dict)
    held_marks: set[int] = field(default_factory=set)
    #: Before anybody is found, and of whose pass the holder has caught: for what is met alone.
    drawn_s_per_m: dict[int, float] = field(default_factory=dict)
    thrown_by: int = NONE

    def __post_init__(self) -> None:
        self.k = self.w.k
        self.dt = self.k["time_step_s"]

    # --- short words ------------------------------------------------------------------------------------

    @property
    def over(self) -> bool:
        return self.mode == OVER

    @property
    def h(self) -> Agent:
        """The handler."""
        return self.agents[self.handler]

    @property
    def attackers(self) -> range:
        return range(5)

    @property
    def defenders(self) -> range:
        return range(5, 10)

    @property
    def call(self) -> TrapCall:
        """The call of the trap in hand."""
        return self.w.calls[self.trap_call]

    def player(self, i: int) -> Player:
        return self.w.players[i]

    def draw(self, purpose: str, subject: int, occasion: int, second: int = 0) -> tuple[float, ...]:
        return uniforms(self.seed, self.number, purpose, subject, occasion, second)

    def event(self, name: str, player: int, other: int, value: float, x: float, y: float) -> None:
        if len(self.events) < 24:
            self.events.append((self.t, name, player, other, float(value), x, y))

    def event_at_ball(self, name: str, player: int, other: int, value: float) -> None:
        self.event(name, player, other, value, self.ball_x, self.ball_y)

    # --- places -----------------------------------------------------------------------------------------

    def side_index(self, near: int) -> int:
        return 1 if near > 0 else 0

    def side_of(self, x: float, near: int) -> int:
        """Side of x, given the latched near."""
        if x > self.k["side_hysteresis_m"]:
            return 1
        if x < -self.k["side_hysteresis_m"]:
            return -1
        return near

    def inside(self, x: float, y: float) -> bool:
        return abs(x) <= self.w.half_width and self.w.baseline_y <= y <= self.w.far_y

    def apart(self, i: int, j: int) -> float:
        a, b = self.agents[i], self.agents[j]
        return dist(a.x, a.y, b.x, b.y)

    def distance_to(self, i: int, x: float, y: float) -> float:
        return dist(self.agents[i].x, self.agents[i].y, x, y)

    def from_rim(self, i: int) -> float:
        return self.distance_to(i, 0.0, 0.0)

    # --- who is near to what (court and motion, section 5) ----------------------------------------------

    def nearest_defender(self, x: float, y: float) -> tuple[int, float]:
        who, best = 5, 99.0 * 99.0
        for i in self.defenders:
            dx, dy = self.agents[i].x - x, self.agents[i].y - y
            if dx * dx + dy * dy < best:
                who, best = i, dx * dx + dy * dy
        return who, math.sqrt(best)

    def nearest_attacker_within(self, x: float, y: float, within: float, left_out: int = NONE) -> int:
        who, best = NONE, within * within
        for i in self.attackers:
            dx, dy = self.agents[i].x - x, self.agents[i].y - y
            if i != left_out and dx * dx + dy * dy < best:
                who, best = i, dx * dx + dy * dy
        return who

    def person_in_role(self, role: int, near: int) -> int:
        """Agent number of the defender who holds a role."""
        return 5 + self.w.person_of[self.side_index(near)][role]

    def arm_reach(self, i: int, stands: bool) -> float:
        """How far to the side a defender reaches a passing ball, where a trap stands or does not."""
        in_a_trap = stands and i in (self.trapper_0, self.trapper_1)
        return self.k["trap_arm_m" if in_a_trap else "arm_reach_m"]

    def touch_chance(self, arm: float, gap: float, z: float, reach: float, share: float) -> float:
        k = self.k
        if z > reach + k["jump_m"] or gap > arm + 10.0 * k["touch_width_m"]:
            return 0.0
        return share * k["touch_max_p"] * logistic((arm - gap) / k["touch_width_m"])

    @property
    def half_line_holds(self) -> bool:
        """Whether the ball may not go back over half court."""
        return self.front and self.w.clock.backcourt_s > 0.0

    def two_ahead(self, within: float) -> bool:
        """Whether two defenders are ahead of the handler and near."""
        ahead = [
            i
            for i in self.defenders
            if self.agents[i].y < self.h.y + 0.5 and self.apart(i, self.handler) < within
        ]
        return len(ahead) >= 2

    # --- the forecast (court and motion, section 5.1) ---------------------------------------------------

    def gap_left(self, i: int, x: float, y: float, top: float, tau: float, delay: float, run: float) -> float:
        """How far from a point a man still is after ``delay`` as he goes and a run of ``run`` seconds."""
        a, brake = self.agents[i], self.k["brake_mps2"]
        phi = fade(run, tau)
        rx, ry = x - a.x - delay * a.vx, y - a.y - delay * a.vy
        d = math.sqrt(rx * rx + ry * ry)
        if d < 1e-9 or run <= 0.0:
            return d
        toward = (a.vx * rx + a.vy * ry) / d
        if toward < 0.0:
            stop = clip(-toward / brake, 0.0, run)
            d += stop * (-toward - 0.5 * brake * stop)
            run -= stop
            phi = fade(run, tau)
            toward = 0.0
        toward = min(toward, top)
        go = top * run - (top - toward) * phi
        return d - go if go > 0.0 else d

    def runs_to(self, i: int, x: float, y: float, delay: float, run: float) -> float:
        """Gap left of a defender who runs, not slides."""
        return self.gap_left(i, x, y, self.player(i).top, self.k["sprint_tau_s"], delay, run)

    def man_in(self, i: int, time_s: float, x: float, y: float) -> float:
        delay = clip(time_s, 0.0, self.k["reaction_s"])
        return self.runs_to(i, x, y, delay, time_s - delay)

    def nearest_in(self, time_s: float, x: float, y: float, left_out: int = NONE) -> float:
        return min([99.0, *(self.man_in(i, time_s, x, y) for i in self.defenders if i != left_out)])

    def own_gaps(self, x: float, y: float, trapped: bool, time_s: float) -> tuple[float, float]:
        """The two nearest men at one's own shot that leaves in ``time_s``."""
        k = self.k
        seen = clip(k["reaction_s"] * k["dribble_reaction_share"], 0.0, time_s)
        near = self.nearest_defender(x, y)[0]
        first = second = 99.0
        for i in self.defenders:
            a = self.agents[i]
            d = self.distance_to(i, x, y)
            closes = a.vx * (x - a.x) + a.vy * (y - a.y) > k["closing_mps"] * d or (
                trapped and i in (self.trapper_0, self.trapper_1)
            )
            if closes or i == near:
                delay = 0.0 if closes else seen
                g = self.runs_to(i, x, y, delay, time_s - delay)
                d = max(g, k["contest_m"] if d > k["contest_m"] else d)
            if d < first:
                first, second = d, first
            elif d < second:
                second = d
        return first, second

    def pressure(self, attacker: int) -> int:
        return sum(self.apart(attacker, i) < self.k["pressure_within_m"] for i in self.defenders)

    def defender_in_the_way(self) -> int:
        """The first defender in the dribbler's way to his goal, -1 none."""
        k, h = self.k, self.h
        gx, gy = self.goal_x - h.x, self.goal_y - h.y
        g = dist(self.goal_x, self.goal_y, h.x, h.y)
        if g < 1e-9:
            return NONE
        path = 2.0 * k["body_radius_m"] - 0.06 if self.action == SPLIT else k["block_path_m"]
        for i in self.defenders:
            rx, ry = self.agents[i].x - h.x, self.agents[i].y - h.y
            r = self.apart(i, self.handler)
            if r > 2.0 * k["body_radius_m"] + 0.25 or r < 1e-9:
                continue
            if (rx * gx + ry * gy) / (r * g) > 0.3 and abs(rx * gy - ry * gx) / g < path:
                return i
        return NONE

    def clumsy(self, i: int) -> float:
        return 1.6 - 1.2 * self.player(i).discipline

    @property
    def loose_handle(self) -> float:
        return 1.5 - self.player(self.handler).handle

    @property
    def dribbling(self) -> bool:
        return self.dribble == DRIBBLING

    # --- tables of shots (ball and traps, section 4; defence, section 3) --------------------------------

    def read_table(self, i: int, d: float, column: int) -> float:
        """A player's table at a distance: straight lines between nodes, the last node beyond."""
        table = self.player(i).table
        at = d / GRID_STEP_M
        node = int(at)
        if node >= N_GRID - 1:
            return table[N_GRID - 1][column]
        f = at - node
        return table[node][column] + f * (table[node + 1][column] - table[node][column])

    def table_logit(self, i: int, d: float) -> float:
        """Logit of the make with the reference defender: the table plus the player's offset."""
        who, k = self.player(i), self.k
        offset = who.rim if d < k["rim_range_m"] else who.middle if d < k["middle_range_m"] else who.three
        return self.read_table(i, d, 0) + offset

    def can_shoot(self) -> bool:
        """Whether the handler has to be guarded as a shooter from where he is."""
        if self.mode != HELD:
            return True
        k, d = self.k, self.from_rim(self.handler)
        at = min(d, self.w.arc + 0.4)
        threshold = math.log(k["shooter_make"] / (1.0 - k["shooter_make"])) - k["shot_rhythm_logit"]
        return self.table_logit(self.handler, at) > threshold or d < k["middle_range_m"]

    # --- the spot of an attacker (offence, section 1) ---------------------------------------------------

    def spot_of(self, i: int) -> tuple[float, float]:
        w, a = self.w, self.agents[i]
        px, py = w.spots[self.spot_region][w.spot_role_of[self.side_index(self.spot_side)][i]]
        x = clip(px * self.spot_side + a.dx, -w.half_width + 0.35, w.half_width - 0.35)
        y = clip(py + a.dy, w.baseline_y + 0.35, w.far_y - 0.35)
        return x, y

    def draw_variation(self) -> None:
        """Each attacker's own variation of his spot, and, not on a drive, each defender's gap, drawn anew."""
        self.n_jitter += 1
        for i in self.attackers:
            u = self.draw("SPOT", i, self.n_jitter)
            self.agents[i].dx = (2.0 * u[0] - 1.0) * self.k["spot_spread_m"]
            self.agents[i].dy = (2.0 * u[1] - 1.0) * self.k["spot_spread_m"]
        if self.mode == HELD and self.action == DRIVE:
            self.met["no gap is drawn on a drive"] += 1
            return
        for i in self.defenders:
            u = self.draw("SPOT", i, self.n_jitter)
            spread = self.k["gap_spread"] * math.sqrt(-2.0 * math.log(u[0]))
            self.agents[i].gap_share = math.exp(spread * math.cos(2.0 * math.pi * u[1]))

    def top_place(self, i: int) -> tuple[float, float]:
        """Place of an attacker's role of now in the alignment's row of the top, without his variation."""
        w = self.w
        px, py = w.spots[TOP][w.spot_role_of[self.side_index(self.near)][i]]
        return px * self.near, py
