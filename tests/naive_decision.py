"""The handler's decision: options, values, noise, choice (offence, sections 3 to 6).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math

from naive_basics import (
    AFTER,
    BACKCOURT,
    COMING,
    DEAD,
    DRIBBLE_TO,
    DRIBBLING,
    DRIVE,
    ELBOW,
    HIGH_POST,
    LANE,
    LOW_POST,
    NONE,
    RETREAT,
    SET,
    SHORT_CORNER,
    SPLIT,
    STAY,
    clip,
    cover,
    dist,
    logistic,
    rim_distance,
    segment,
)
from naive_passes import best_kind, pass_speed, start_pass
from naive_shots import effective_gap, shot_value, start_shot
from naive_state import Possession

SHOOT, HOLD, DRIVES, OPT_RETREAT, OPT_SPLIT, PASSES = 0, 1, 2, 7, 8, 9


def carrying_on(p: Possession, left: float, held: float) -> float:
    """V(left, held)."""
    k = p.k
    if left <= 0.8:
        return 0.0
    value = p.patience * k["hold_value_points"] * (1.0 - math.exp(-(left - 0.8) / k["hold_tau_s"]))
    return value - k["hold_stale_points_per_s"] * held


def worth_of_numbers(p: Possession, x: float, y: float, who: int, time_s: float) -> float:
    """N(x, y, who, s)."""
    k = p.k
    d = rim_distance(x, y)
    if d > k["numbers_reach_m"]:
        return 0.0
    n = 1
    for i in p.attackers:
        if i != who and p.from_rim(i) < d:
            n += 1
    for i in p.defenders:
        run = cover(time_s - k["reaction_s"], p.player(i).top, k["sprint_tau_s"])
        if p.from_rim(i) - run < d + 0.5:
            n -= 1
    if n <= 0:
        return 0.0
    return (1.0 if n == 1 else 2.0) * k["numbers_value_points"] * (1.0 - d / k["numbers_reach_m"])


class Decision:
    """One decision: what the handler knows, the options he has and what each is worth to him."""

    def __init__(self, p: Possession) -> None:
        self.p = p
        self.values: dict[int, float] = {}
        self.goals: dict[int, tuple[float, float]] = {}
        self.kinds: dict[int, int] = {}
        self.ends: dict[int, tuple[float, float]] = {}
        clock = p.w.clock
        self.left = p.clock_s if clock.shot_s > 0.0 else max(clock.patience_s - p.t, 4.0)
        self.trapped = p.trap_phase == SET or (p.trap_phase == COMING and p.now >= p.trap_read_t)
        self.pressure = p.pressure(p.handler)
        self.d = p.from_rim(p.handler)
        self.hold = 0.0

    def brings_up(self) -> bool:
        """Bringing the ball up: no options are weighed."""
        p = self.p
        far = p.action == DRIBBLE_TO and self.d > p.w.arc + p.k["bring_up_free_m"]
        if not (p.w.region(p.h.x, p.h.y) == BACKCOURT or far):
            return False
        if self.trapped or self.pressure != 0 or p.dribble == DEAD:
            return False
        if p.action != DRIBBLE_TO:
            p.action = DRIBBLE_TO
            p.dribble = DRIBBLING
            p.goal_x, p.goal_y = p.top_place(p.handler)
        return True

    # --- options (section 4) ----------------------------------------------------------------------------

    def weigh(self) -> None:
        self.weigh_hold()
        self.weigh_shoot()
        self.weigh_drives()
        self.weigh_retreat_and_split()
        for j in self.p.attackers:
            if j != self.p.handler:
                self.weigh_pass(j)

    def weigh_hold(self) -> None:
        p, k, clock = self.p, self.p.k, self.p.w.clock
        hold = carrying_on(p, self.left, p.t - p.stale_t)
        if self.trapped:
            hold -= k["trap_dread_points"]
        elif p.trap_phase == AFTER:
            hold -= k["urgency_points"]
        if clock.closely_guarded_s > 0.0 and p.guarded_s > clock.closely_guarded_s - 1.5:
            hold -= 0.4
        count = clock.offensive_three_seconds_s
        q = p.h.lane_t - (count - k["lane_margin_s"])
        if count > 0.0 and q > 0.0:
            hold -= 0.5 * q
        self.hold = self.values[HOLD] = hold

    def weigh_shoot(self) -> None:
        p, h = self.p, self.p.h
        if not (self.d < 9.2 or self.left < 1.5):
            return
        v = math.sqrt(h.vx * h.vx + h.vy * h.vy)
        sx = h.x + h.vx * v / (2.0 * p.k["brake_mps2"])
        sy = h.y + h.vy * v / (2.0 * p.k["brake_mps2"])
        gap, _ = effective_gap(p, p.handler, sx, sy)
        self.values[SHOOT] = shot_value(
            p, p.handler, rim_distance(sx, sy), 0.9 * gap, p.w.beyond_arc(sx, sy), self.left, p.dribbling
        )

    def clearance(
        self, px: float, py: float, qx: float, qy: float, begun_after: float, speed: float
    ) -> float:
        p, k = self.p, self.p.k
        best = 99.0
        length = dist(px, py, qx, qy)
        for i in p.defenders:
            d, f = segment(p.agents[i].x, p.agents[i].y, px, py, qx, qy)
            if f < 0.02 and d > 0.4:
                continue
            time_s = begun_after + f * length / speed - k["reaction_s"]
            best = min(best, d - 0.5 * cover(time_s, p.player(i).slide, k["slide_tau_s"]))
        return best

    def weigh_drives(self) -> None:
        p, k, w, h = self.p, self.p.k, self.p.w, self.p.h
        if p.dribble == DEAD or p.trap_phase == SET or not 0.8 < self.d < 9.0:
            return
        who = p.player(p.handler)
        base = math.atan2(-h.y, -h.x)
        length = clip(self.d - 0.6, 0.3, k["drive_length_m"])
        speed = who.top * k["dribble_speed_share"] * 0.7
        time_s = length / speed
        ahead = worth_of_numbers(p, h.x, h.y, p.handler, 0.7)
        for m in range(5):
            angle = base + (m - 2) * math.radians(28.0)
            around = m in (0, 4) and length > k["drive_side_m"]
            first = k["drive_side_m"] if around else length
            gx = clip(h.x + first * math.cos(angle), -w.half_width + 0.5, w.half_width - 0.5)
            gy = clip(h.y + first * math.sin(angle), w.baseline_y + 0.5, w.half_y)
            ex, ey = gx, gy
            clear = self.clearance(h.x, h.y, gx, gy, 0.0, speed)
            if around:
                g = rim_distance(gx, gy)
                if g > 1e-9:
                    on = clip(length - first, 0.0, max(g - 0.6, 0.0))
                    ex, ey = gx - gx / g * on, gy - gy / g * on
                clear = min(clear, self.clearance(gx, gy, ex, ey, first / speed, speed))
            beat = logistic(
                (clear - k["drive_clear_m"] + k["drive_handle_m"] * (who.handle - 0.5)) / k["drive_width_m"]
            )
            help_gap = p.help_gap(ex, ey, time_s + k["reaction_s"] + 0.5 * k["rim_release_s"])
            shot = shot_value(
                p, p.handler, rim_distance(ex, ey), help_gap, w.beyond_arc(ex, ey), self.left, True
            )
            e = shot if shot > self.hold else self.hold - k["drive_penalty_points"]
            e += ahead
            option = DRIVES + m
            self.values[option] = beat * e + (1.0 - beat) * (self.hold - k["drive_stopped_points"])
            self.goals[option], self.ends[option] = (gx, gy), (ex, ey)

    def weigh_retreat_and_split(self) -> None:
        p, k, w, h = self.p, self.p.k, self.p.w, self.p.h
        if not self.trapped or p.dribble == DEAD or p.trap_phase != COMING:
            return
        a, b = p.agents[p.trapper_0], p.agents[p.trapper_1]
        mx, my = 0.5 * (a.x + b.x), 0.5 * (a.y + b.y)
        e = dist(h.x, h.y, mx, my)
        if e < 1e-6:
            return
        ux, uy = (h.x - mx) / e, (h.y - my) / e
        gx = clip(h.x + 3.2 * ux, -w.half_width + 0.5, w.half_width - 0.5)
        highest = w.half_y - 0.4 if p.front else w.far_y - 0.4
        gy = clip(h.y + 3.2 * uy + 0.8, w.baseline_y + 0.5, highest)
        room = dist(h.x, h.y, gx, gy)
        d0, d1 = p.apart(p.handler, p.trapper_0), p.apart(p.handler, p.trapper_1)
        self.values[OPT_RETREAT] = (
            self.hold
            + k["trap_dread_points"] * room / 3.2
            - k["retreat_penalty_points"]
            + 0.05 * clip(min(d0, d1) - 1.5, -1.0, 2.0)
        )
        self.goals[OPT_RETREAT] = self.ends[OPT_RETREAT] = (gx, gy)

        between = p.apart(p.trapper_0, p.trapper_1)
        if d0 < 3.5 and d1 < 3.5 and between > 2.0 * k["body_radius_m"] + k["split_gap_m"]:
            who = p.player(p.handler)
            time_s = e / (who.top * k["dribble_speed_share"])
            closing = k["trapper_closing_share"] * time_s * p.player(p.trapper_0).top
            through = logistic(
                (
                    between
                    - 2.0 * closing
                    - 2.0 * k["body_radius_m"]
                    - 2.0 * k["split_gap_m"]
                    + 0.6 * (who.handle - 0.5)
                )
                / k["split_width_m"]
            )
            self.values[OPT_SPLIT] = through * (
                self.hold + k["trap_dread_points"] + k["numbers_value_points"]
            ) + (1.0 - through) * (self.hold - 0.5)
            goal = (mx + 1.6 * (mx - h.x) / e, my + 1.6 * (my - h.y) / e)
            self.goals[OPT_SPLIT] = self.ends[OPT_SPLIT] = goal

    def weigh_pass(self, j: int) -> None:
        p, k, w, r = self.p, self.p.k, self.p.w, self.p.agents[j]
        release = k["pass_release_s"] + k["release_pressure_s"] * self.pressure
        length = p.apart(p.handler, j)
        if length < k["pass_shortest_m"] or length > k["pass_longest_m"]:
            return
        time_s = release + length / pass_speed(p, p.handler, 0)
        lead = clip(time_s, 0.0, 0.7)
        x = clip(r.x + lead * r.vx, -w.half_width + 0.4, w.half_width - 0.4)
        y = clip(r.y + lead * r.vy, w.baseline_y + 0.4, w.far_y - 0.4)
        if p.front and y > w.half_y - 0.2:
            if r.y > w.half_y - 0.2:
                return
            y = w.half_y - 0.3
        worth = carrying_on(p, self.left - time_s, 0.0) + k["movement_points"]
        region = w.region(x, y)
        if region in (HIGH_POST, ELBOW):
            worth += k["middle_touch_points"]
        elif region in (SHORT_CORNER, LOW_POST, LANE):
            worth += k["post_up_points"]
        worth += worth_of_numbers(p, x, y, j, time_s + 0.4)
        d = rim_distance(x, y)
        if p.trap_phase == AFTER and d > self.d:
            worth -= k["urgency_points"]
        if d < 9.2 and self.left > time_s + 0.3:
            gap = p.help_gap(x, y, time_s + 0.6 * k["shot_release_s"])
            shot = shot_value(p, j, d, gap, w.beyond_arc(x, y), self.left - time_s, False)
            worth = max(worth, shot)
        kind, risk = best_kind(p, x, y, length, release, self.pressure)
        self.values[PASSES + j] = (1.0 - risk) * worth - risk * k["turnover_dread_points"]
        self.goals[PASSES + j], self.kinds[PASSES + j] = (x, y), kind

    # --- noise and choice (section 5) -------------------------------------------------------------------

    def noise_word(self, option: int) -> float:
        p = self.p
        if option in (SHOOT, HOLD, OPT_RETREAT, OPT_SPLIT):
            word = (SHOOT, HOLD, OPT_RETREAT, OPT_SPLIT).index(option)
            return p.draw("CHOICE", 0, p.n_decisions)[word]
        if option < OPT_RETREAT:
            m = option - DRIVES
            if m < 4:
                return p.draw("CHOICE", 1, p.n_decisions)[m]
            return p.draw("CHOICE", 2, p.n_decisions)[0]
        return p.draw("CHOICE", 3 + option - PASSES, p.n_decisions)[0]

    def choose(self) -> int:
        p = self.p
        scale = p.k["noise_points"] * (1.5 - p.player(p.handler).passing)
        chosen, best = NONE, -math.inf
        for option in sorted(self.values):
            value = self.values[option] - scale * math.log(-math.log(self.noise_word(option)))
            if value > best:
                chosen, best = option, value
        return chosen


# --- what a choice does (section 6) -------------------------------------------------------------------------


def decide(p: Possession) -> None:
    """Step part 13."""
    p.n_decisions += 1
    p.due_t = p.decide_t if abs(p.decide_t - p.t) <= p.dt else p.t
    p.decide_t = p.due_t + p.k["decision_period_s"]
    decision = Decision(p)
    if decision.brings_up():
        return
    if p.action == DRIBBLE_TO:
        p.stale_t = p.t
    decision.weigh()
    option = decision.choose()
    p.options = [(o, value, o == option) for o, value in sorted(decision.values.items())]
    if option == SHOOT:
        start_shot(p)
    elif option == HOLD:
        hold(p)
    elif option >= PASSES:
        p.action = STAY
        x, y = decision.goals[option]
        start_pass(p, option - PASSES, decision.kinds[option], x, y)
    else:
        value, h = decision.values[option], p.h
        if option == OPT_RETREAT:
            p.event("retreat", p.handler, NONE, value, h.x, h.y)
            p.action = RETREAT
        elif option == OPT_SPLIT:
            p.event("split", p.handler, NONE, value, h.x, h.y)
            p.action = SPLIT
        else:
            if p.action != DRIVE:
                p.drive_t = p.t
                p.record["drives"] += 1
                p.event("drive", p.handler, NONE, value, h.x, h.y)
            p.action = DRIVE
        p.dribble = DRIBBLING
        p.goal_x, p.goal_y = decision.goals[option]
        p.end_x, p.end_y = decision.ends[option]


def hold(p: Possession) -> None:
    if p.action in (DRIVE, SPLIT, RETREAT):
        p.action = STAY
        if p.draw("PICK_UP", 0, p.n_decisions)[0] < p.k["pick_up_p"]:
            p.dribble = DEAD
            p.picked_up = True
            p.event("pick_up", p.handler, NONE, 0.0, p.h.x, p.h.y)
    elif p.action == STAY and p.dribble != DEAD and p.trap_phase not in (COMING, SET):
        x, y = p.spot_of(p.handler)
        if p.distance_to(p.handler, x, y) > 2.5 and p.t - p.catch_t > 0.5:
            p.action = DRIBBLE_TO
            p.dribble = DRIBBLING
            p.goal_x, p.goal_y = x, y
