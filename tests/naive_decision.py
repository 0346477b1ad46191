"""The handler's decision: options, values, noise, choice (offence, sections 3 to 5).

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math

from naive_basics import (
    BACKCOURT,
    COMING,
    DEAD,
    DIRECT,
    DRIBBLE_TO,
    DRIBBLING,
    DRIVE,
    NONE,
    PHASE_NONE,
    REGIONS,
    SET,
    STAY,
    clip,
    dist,
    logistic,
    rim_distance,
)
from naive_passes import best_kind, pass_speed, who_will_be_on_him
from naive_screens import past_a_screen, shoulder, waits_for_a_screen
from naive_shots import effective_gaps, feel_rhythm, shot_value, unset_now
from naive_state import Possession
from naive_view import in_view
from naive_worth import (
    Weighed,
    behind_the_board,
    believed,
    brings_more,
    carrying_on,
    chance_of_a_drive,
    clearance,
    expected_gap,
    fading,
    gap_at_the_end,
    worth_at,
    worth_of_numbers,
)

#: Mean of the standard Gumbel law.
GUMBEL_MEAN = 0.5772156649015329

SHOOT, HOLD, DRIVES, OPT_RETREAT, OPT_SPLIT, PASSES = 0, 1, 2, 7, 8, 9


class Decision:
    """One decision: what the handler knows, the options he has and what each is worth to him."""

    def __init__(self, p: Possession) -> None:
        self.p = p
        self.options: dict[int, Weighed] = {}
        clock = p.w.clock
        self.who = p.player(p.handler)
        self.left = p.clock_s if clock.shot_s > 0.0 else max(clock.patience_s - p.t, 4.0)
        unread = p.trap_phase == COMING and p.now < p.trap_read_t
        self.seen = ("", "coming", "set", "after")[PHASE_NONE if unread else p.trap_phase]
        self.trapped = self.seen in ("coming", "set")
        self.pressure = p.pressure(p.handler)
        self.d = p.from_rim(p.handler)
        self.carry = carrying_on(p, self.left)
        self.hold = 0.0
        self.drive_speed = self.who.top * p.k["dribble_speed_share"] * 0.7

    def by_phase(self, what: str) -> float:
        """A belief for no trap that he has seen, a trap coming, a trap set, after a trap."""
        return self.p.k["_".join(filter(None, ("belief", what, self.seen, "points")))]

    def brings_up(self) -> bool:
        """Bringing the ball up: no options are weighed (section 3.1)."""
        p, k = self.p, self.p.k
        if self.trapped or self.pressure != 0 or p.dribble == DEAD:
            return False
        on_the_way = p.action == DRIBBLE_TO and self.d > p.w.arc + k["bring_up_free_m"]
        if not (on_the_way or p.w.region(p.h.x, p.h.y) == BACKCOURT):
            return False
        if p.front and p.two_ahead(k["stop_two_m"]):
            p.action = STAY
            return False
        p.action = DRIBBLE_TO
        p.dribble = DRIBBLING
        p.goal_x, p.goal_y = self.bring_up_goal()
        return True

    def bring_up_goal(self) -> tuple[float, float]:
        p, k, w, h = self.p, self.p.k, self.p.w, self.p.h
        c = 1.0 if h.x >= 0.0 else -1.0
        first, best = NONE, k["steer_m"]
        for i in p.defenders:
            d = p.apart(i, p.handler)
            if p.agents[i].y < h.y and d < best:
                first, best = i, d
        shut = first != NONE and (h.x - p.agents[first].x) * c > k["steer_off_m"]
        if shut and h.y > w.half_y - 4.0 + k["arrival_radius_m"]:
            return c * (w.half_width - 1.8), w.half_y - 4.0
        x, y = p.top_place(p.handler)
        return x + h.dx, y + h.dy

    def look(self) -> None:
        p = self.p
        if p.t - p.look_t >= p.k["look_again_s"] or (self.trapped and p.look_t + 0.5 * p.dt < p.trap_read_t):
            p.n_looks += 1
            p.look_t = p.t

    # --- options (section 4) ----------------------------------------------------------------------------

    def weigh(self) -> None:
        p, clock = self.p, self.p.w.clock
        place = p.w.region(p.h.x, p.h.y)
        hold = self.carry + self.by_phase("hold")
        if waits_for_a_screen(p):
            place = len(REGIONS)
            hold += p.k["worth_screen_points"]
            p.met["waits for it"] += 1
        else:
            hold += worth_at(p, place)
        if clock.closely_guarded_s > 0.0 and p.guarded_s > clock.closely_guarded_s - 1.5:
            hold -= 0.4
        count = clock.offensive_three_seconds_s
        q = p.h.lane_t - (count - p.k["lane_margin_s"])
        if count > 0.0 and q > 0.0:
            hold -= 0.5 * q
        self.hold = hold
        stopped = self.carry + p.k["belief_stopped_points"]
        self.options[HOLD] = Weighed(stopped if p.action == DRIVE else hold, place=place)
        self.weigh_shoot()
        self.weigh_drives()
        if self.trapped and p.dribble != DEAD:
            self.weigh_retreat()
            if p.trap_phase == COMING:
                self.weigh_split()
        self.weigh_passes()

    def weigh_shoot(self) -> None:
        p, h, k = self.p, self.p.h, self.p.k
        feel_rhythm(p)
        if (self.d >= self.p.w.arc + k["shot_range_m"] and self.left >= 1.5) or behind_the_board(h.x, h.y):
            return
        v = math.sqrt(h.vx * h.vx + h.vy * h.vy)
        x = h.x + h.vx * v / (2.0 * k["brake_mps2"])
        y = h.y + h.vy * v / (2.0 * k["brake_mps2"])
        far = rim_distance(x, y)
        gap, _, second = effective_gaps(p, p.handler, x, y)
        windup = k["rim_release_s"] if far < k["rim_range_m"] + 0.5 else k["shot_release_s"]
        own, own_second = p.own_gaps(x, y, self.trapped, windup)
        gap, second = min(gap, own), min(second, own_second)
        three = p.w.beyond_arc(x, y)
        expected = expected_gap(p, "own_", gap)
        value = shot_value(p, p.handler, far, expected, second, three, self.left, unset_now(p), p.rhythm)
        value += brings_more(p, "shot", "an own shot brings more")
        self.options[SHOOT] = Weighed(value, gap=gap)

    def weigh_drives(self) -> None:
        p, k, h = self.p, self.p.k, self.p.h
        if p.dribble == DEAD or p.trap_phase == SET or not 0.8 < self.d < 9.0:
            return
        if p.action == DRIVE:
            if p.t - p.drive_t < k["drive_most_s"]:
                self.weigh_going_on()
            return
        b, e = p.nearest_defender(h.x, h.y)
        d = p.agents[b]
        closes_out = d.vx * (h.x - d.x) + d.vy * (h.y - d.y) > k["closing_mps"] * e
        if p.t - p.stopped_t >= k["drive_rest_s"]:
            if p.now >= p.looked_t or closes_out:
                self.weigh_new_drives()
            else:
                p.met[f"not looked, {self.seen or 'no trap'}: no drive"] += 1

    def weigh_going_on(self) -> None:
        p, h = self.p, self.p.h
        a, b = dist(h.x, h.y, p.goal_x, p.goal_y), dist(p.goal_x, p.goal_y, p.end_x, p.end_y)
        if a + b < p.k["arrival_radius_m"]:
            return
        time_s = (a + b) / self.drive_speed
        drive = self.drive((p.goal_x, p.goal_y), (p.end_x, p.end_y), time_s, off_a_screen=False)
        brings = "drive_trapped" if self.trapped else "go_on_after" if self.seen else "go_on"
        drive.value += p.k[f"belief_{brings}_points"]
        p.met[f"goes on, {self.seen or 'no trap'}"] += 1
        self.options[DRIVES + p.drive_way] = drive

    def weigh_new_drives(self) -> None:
        p, k, w, h = self.p, self.p.k, self.p.w, self.p.h
        base = math.atan2(-h.y, -h.x)
        length = clip(self.d - 0.6, 0.3, k["drive_length_m"])
        for m in range(5):
            angle = base + (m - 2) * math.radians(28.0)
            around = m in (0, 4) and length > k["drive_side_m"]
            first = k["drive_side_m"] if around else length
            x, y = h.x + first * math.cos(angle), h.y + first * math.sin(angle)
            off_a_screen = past_a_screen(p, m)
            if off_a_screen:
                p.met[f"past it, drive {m}"] += 1
                around, (x, y) = True, shoulder(p)
                first = dist(h.x, h.y, x, y)
            gx = ex = clip(x, -w.half_width + 0.5, w.half_width - 0.5)
            gy = ey = clip(y, w.baseline_y + 0.5, w.half_y)
            if around:
                g = rim_distance(gx, gy)
                if g > 1e-9:
                    on = clip(length - first, 0.0, clip(g - 0.6, 0.0, 99.0))
                    ex, ey = gx - gx / g * on, gy - gy / g * on
            drive = self.drive((gx, gy), (ex, ey), length / self.drive_speed, off_a_screen)
            brings = "drive_trapped" if self.trapped else "drive_after" if self.seen else "drive"
            drive.value += brings_more(p, brings, f"begins, {self.seen or 'no trap'}")
            self.options[DRIVES + m] = drive

    def drive(
        self, goal: tuple[float, float], end: tuple[float, float], time_s: float, off_a_screen: bool
    ) -> Weighed:
        """A drive that is at its end in so many seconds."""
        p, k = self.p, self.p.k
        gap = gap_at_the_end(p, off_a_screen, *end, time_s + 0.5 * k["rim_release_s"])
        promise = chance_of_a_drive(p, gap)
        expected = expected_gap(p, "end_", gap)
        three = p.w.beyond_arc(*end)
        rhythm = p.rhythm if p.action == DRIVE else 0.0
        d = rim_distance(*end)
        shot = shot_value(p, p.handler, d, expected, 9.0, three, self.left, unset=True, rhythm=rhythm)
        e = max(shot, self.carry) + worth_of_numbers(p, p.h.x, p.h.y, p.handler, 0.7)
        e += brings_more(p, "end", "the end of a drive brings more")
        value = promise * e + (1.0 - promise) * (self.carry + k["belief_kick_points"])
        return Weighed(value, *goal, *end, gap=gap, promise=promise)

    def weigh_retreat(self) -> None:
        p, k, w, h = self.p, self.p.k, self.p.w, self.p.h
        mx, my = self.middle_of_the_trappers()
        base = math.atan2(h.y - my, h.x - mx)
        highest = w.half_y - 0.4 if p.half_line_holds else w.far_y - 0.4
        v = self.who.top * k["dribble_speed_share"] * k["retreat_speed_share"]
        best, goal = -math.inf, (0.0, 0.0)
        for n in (3, 2, 4, 1, 5, 0, 6):
            angle = base + (n - 3) * 0.5
            x = clip(h.x + 3.4 * math.cos(angle), -w.half_width + 0.5, w.half_width - 0.5)
            y = clip(h.y + 3.4 * math.sin(angle), w.baseline_y + 0.5, highest)
            room = clearance(p, h.x, h.y, x, y, v) - 2.0 * k["body_radius_m"] + 0.05
            got = dist(h.x, h.y, x, y) / 3.4 * logistic(room / k["retreat_width_m"])
            if best < got <= best + 1e-9:
                p.met["a retreat better by the last bit alone"] += 1
            elif abs(got - best) <= 1e-9:
                p.met["a retreat as good as one before"] += 1
            if got > best + 1e-9:
                best, goal = got, (x, y)
        value = self.carry + k["belief_retreat_points"] + best * k["belief_retreat_way_points"]
        self.options[OPT_RETREAT] = Weighed(value, *goal, *goal, raw=best)

    def middle_of_the_trappers(self) -> tuple[float, float]:
        a, b = self.p.agents[self.p.trapper_0], self.p.agents[self.p.trapper_1]
        return 0.5 * (a.x + b.x), 0.5 * (a.y + b.y)

    def weigh_split(self) -> None:
        p, k, h = self.p, self.p.k, self.p.h
        mx, my = self.middle_of_the_trappers()
        e = dist(h.x, h.y, mx, my)
        if e < 1e-6 or not all(p.apart(p.handler, i) < 3.5 for i in (p.trapper_0, p.trapper_1)):
            return
        between = p.apart(p.trapper_0, p.trapper_1)
        if not between > 2.0 * k["body_radius_m"] + k["split_gap_m"]:
            return
        time_s = e / (self.who.top * k["dribble_speed_share"])
        closing = k["trapper_closing_share"] * time_s * p.player(p.trapper_0).top
        room = between - 2.0 * closing - 2.0 * k["body_radius_m"] - 2.0 * k["split_gap_m"]
        through = logistic((room + 0.6 * (self.who.handle - 0.5)) / k["split_width_m"])
        value = through * (self.carry + k["numbers_value_points"]) + (1.0 - through) * (self.hold - 0.5)
        goal = (mx + 1.6 * (mx - h.x) / e, my + 1.6 * (my - h.y) / e)
        self.options[OPT_SPLIT] = Weighed(value, *goal, *goal)

    def weigh_passes(self) -> None:
        p, k = self.p, self.p.k
        release = (
            k["pass_release_s"]
            + k["release_pressure_s"] * self.pressure
            + k["fake_p"] * (0.5 + self.who.passing) * k["fake_s"]
        )
        count = p.w.clock.offensive_three_seconds_s
        if count == 0.0:
            p.met["passes without a lane count"] += 1
        latest = (
            k["pass_release_s"] + k["release_pressure_s"] * self.pressure + k["fake_s"] + k["over_release_s"]
        )
        if count > 0.0 and p.h.lane_t + latest >= count:
            p.met["no pass, the lane count is too near"] += 1
            return
        on_him = who_will_be_on_him(p, self.trapped, release)
        for j in p.attackers:
            if j != p.handler and in_view(p, j):
                self.weigh_pass(j, release, on_him)

    def weigh_pass(self, j: int, release: float, on_him: tuple[int, bool]) -> None:
        p, k, w, r = self.p, self.p.k, self.p.w, self.p.agents[j]
        length = p.apart(p.handler, j)
        if length < k["pass_shortest_m"] or length > k["pass_longest_m"]:
            return
        time_s = release + length / pass_speed(p, p.handler, DIRECT, length)
        lead = clip(time_s, 0.0, 0.7)
        x = clip(r.x + lead * r.vx, -w.half_width + 0.4, w.half_width - 0.4)
        y = clip(r.y + lead * r.vy, w.baseline_y + 0.4, w.far_y - 0.4)
        if p.half_line_holds and y > w.half_y - 0.2:
            if r.y > w.half_y - 0.2:
                return
            y = w.half_y - 0.3
        made = self.options[PASSES + j] = Weighed(0.0, x, y)
        c = carrying_on(p, self.left - time_s)
        made.place = w.region(x, y)
        worth = c + self.by_phase("pass") + worth_at(p, made.place)
        made.ahead = worth_of_numbers(p, x, y, j, time_s + 0.4)
        worth += made.ahead
        if j == p.passer and p.n_passes > 0 and p.t - p.catch_t < k["look_again_s"]:
            worth -= k["pass_back_points"]
        made.promise = -0.6
        d = rim_distance(x, y)
        near = d < w.arc + k["shot_range_m"] and not behind_the_board(x, y)
        if near and time_s + 0.3 < self.left <= time_s + k["catch_pause_s"] + 0.3:
            p.met["time to catch, none to shoot"] += 1
        if near and self.left > time_s + k["catch_pause_s"] + 0.3:
            windup = k["rim_release_s"] if d < k["rim_range_m"] else k["shot_release_s"]
            made.gap = p.nearest_in(time_s + (k["catch_pause_s"] + windup), x, y)
            gap = expected_gap(p, "", made.gap)
            three = w.beyond_arc(x, y)
            left = self.left - time_s
            shot = shot_value(p, j, d, gap, 9.0, three, left, unset=False, rhythm=0.0)
            shot -= self.asked("promise", j, three, left)
            made.promise = clip(shot - c, -0.6, 0.6)
        worth += k["belief_pass_share"] * made.promise
        made.kind, made.raw = best_kind(p, j, x, y, length, release, on_him)
        fear = believed(made.raw, k[f"belief_loss_{self.seen or 'home'}"], k["belief_loss_slope"])
        made.value = (1.0 - fear) * worth - fear * k["excess_live_steal_points"]

    # --- noise and choice (section 5) -------------------------------------------------------------------

    @property
    def tried(self) -> bool:
        """Whether every option is tried: the first decision of one look, never in play."""
        return self.p.n_looks == self.p.k["tried_look"] and self.p.look_t == self.p.t

    def noise_word(self, option: int) -> float:
        p, second = self.p, int(self.tried)
        if option in (SHOOT, HOLD, OPT_RETREAT, OPT_SPLIT):
            word = (SHOOT, HOLD, OPT_RETREAT, OPT_SPLIT).index(option)
            return p.draw("CHOICE", 0, p.n_looks, second)[word]
        if option < OPT_RETREAT:
            m = option - DRIVES
            if m < 4:
                return p.draw("CHOICE", 1, p.n_looks, second)[m]
            return p.draw("CHOICE", 2, p.n_looks, second)[0]
        return p.draw("CHOICE", 3 + option - PASSES, p.n_looks, second)[0]

    def noise(self, option: int, scale: float) -> float:
        """What he misjudges of an option; of a pass, in part what he misjudges of all passes."""

        def g(u: float) -> float:
            return -scale * (math.log(-math.log(u)) + GUMBEL_MEAN)

        if option < PASSES:
            return g(self.noise_word(option))
        alike = self.p.k["pass_alike_share"]
        v = self.p.draw("CHOICE", 2, self.p.n_looks, int(self.tried))[1]
        return math.sqrt(1.0 - alike) * g(self.noise_word(option)) + math.sqrt(alike) * g(v)

    def asked(self, where: str, i: int, three: bool, left: float) -> float:
        """O(player, three, left)."""
        who = self.p.player(i)
        own = who.reluctance[three]
        if three:
            own += self.p.k["reluctance_threes_points"]
        own *= fading(self.p, left)
        if who.reluctance[three] != 0.0:
            self.p.asked.add((where, three, (own > 0.0) - (own < 0.0)))
        return own

    def reluctance(self, option: int) -> float:
        """What he asks of his own shot beside what it is worth, or of a drive, as often as it ends in one."""
        p = self.p
        if option == SHOOT:
            return self.asked("choice", p.handler, p.w.beyond_arc(p.h.x, p.h.y), self.left)
        if DRIVES <= option < OPT_RETREAT:
            return self.options[option].promise * self.asked("drive", p.handler, False, self.left)
        return 0.0

    def choose(self) -> int:
        scale = self.p.k["noise_points"] * (1.5 - self.who.passing)
        if self.tried:
            scale = 1.0
        chosen, best = NONE, -math.inf
        for option, weighed in sorted(self.options.items()):
            value = weighed.value
            if option != HOLD or self.tried:
                value += self.noise(option, scale)
            value -= self.reluctance(option)
            if value > best:
                chosen, best = option, value
        return chosen
