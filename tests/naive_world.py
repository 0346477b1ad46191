"""The fixed inputs of one branch, made from the loaded scenario as the description's element 6 says.

Part of the naive twin of the model (tests/naive.py).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from naive_basics import MOMENTS, NONE, REGIONS, logit
from naive_inputs import constants_against, coverages, kind_of, person_holding

from engine.inputs import Call, Scenario, Setting, Team, Zone
from engine.world.court import build_court

TWO_THREE = ("left_guard", "right_guard", "left_forward", "right_forward", "centre")
GRID_STEP_M = 0.25
N_GRID = 84

#: job -> kind, toward_ball, toward_man, man_within_m (table of jobs in the defence's page).
JOBS: dict[str, tuple[str, float, float, float]] = {
    "place": ("PLACE", 0.0, 0.0, 2.5),
    "on_ball": ("ON_BALL", 0.0, 0.0, 2.5),
    "coming": ("ON_BALL", 0.0, 0.0, 2.5),
    "on_ball_if_shooter": ("IF_SHOOTER", 0.15, 0.0, 2.5),
    "gap": ("PLACE", 0.15, 0.0, 2.5),
    "deny": ("DENY", 0.0, 0.0, 4.0),
    "sink": ("PLACE", 0.10, 0.25, 3.0),
    "fill": ("PLACE", 0.0, 0.30, 2.5),
    "rim": ("PLACE", 0.0, 0.20, 2.0),
    "front": ("FRONT", 0.0, 0.0, 3.0),
    "lob": ("BEHIND", 0.0, 0.0, 4.0),
    "drop": ("PLACE", 0.0, 0.35, 3.0),
    "pinch": ("PLACE", 0.10, 0.30, 2.5),
    "block": ("PLACE", 0.0, 0.35, 2.5),
    "dig": ("PLACE", 0.35, 0.0, 2.5),
    "read_skip": ("PLACE", 0.0, 0.30, 4.0),
    "run_at": ("PLACE", 0.0, 0.45, 4.0),
    "middle": ("PLACE", 0.05, 0.30, 2.5),
    "trap": ("TRAP", 0.0, 0.0, 2.5),
    "own_man": ("OWN_MAN", 1.0, 0.0, 2.5),
}
JOB_NUMBER = {job: i for i, job in enumerate(JOBS)}

#: Where there is no row for a moment, these are looked for, in this order.
STANDS_IN = {
    "settled": ("before_bump", "after_bump", "reversal", "matched"),
    "before_bump": ("settled", "reversal"),
    "after_bump": ("settled",),
    "reversal": ("settled", "before_bump"),
    "matched": ("settled", "after_bump"),
}


@dataclass
class Entry:
    x: float
    y: float
    toward_ball: float
    toward_man: float
    man_within_m: float
    kind: str
    job: int


@dataclass
class TrapCall:
    probability: float
    triggers: tuple[str, ...]
    held_s: float
    disguise_s: float
    give_up_s: float
    holds_cover: bool
    face: tuple[float, float]
    doubles: tuple[int, int]
    dynamic: bool
    only: set[int] | None  # attackers it is meant for; None: everybody
    subject: int
    regions: set[int]
    after_bump: bool
    low_y: float
    high_y: float
    entries: list[Entry]
    breaks: list[tuple[float, float]]  # behind, middle, line, far


@dataclass
class Move:
    who: str
    near: tuple[float, float]
    within_m: float
    only: str
    does: str
    to: tuple[float, float]
    pace: float
    after_s: float


@dataclass
class PlayStep:
    """A step of a play, with what its play says of it."""

    name: str
    start: str
    against: tuple[str, ...]
    regions: set[int]
    often: float
    after_s: float
    lasts_s: float
    next: int
    moves: list[Move]


@dataclass
class Player:
    top: float
    slide: float
    run_gain: float
    slide_gain: float
    reach: float
    handle: float
    passing: float
    rebounding: float
    discipline: float
    free_throw: float
    reluctance: tuple[float, float]  # his own, of twos and of threes
    table: list[tuple[float, float]] = field(default_factory=list)  # logit of the make, slope
    rim: float = 0.0
    middle: float = 0.0
    three: float = 0.0


def shot_grid(table: Any) -> list[tuple[float, float]]:
    """Logit of the make and contest slope at 0, 0.25, ..., 20.75 m, between the rows by straight lines."""
    distances = list(table.distance_m)
    logits = [logit(p) for p in table.make]
    slopes = list(table.contest_logit_per_m)

    def at(values: list[float], d: float) -> float:
        if d >= distances[-1]:
            return values[-1]
        i = max(j for j, known in enumerate(distances) if known <= d)
        share = (d - distances[i]) / (distances[i + 1] - distances[i])
        return values[i] + share * (values[i + 1] - values[i])

    return [(at(logits, i * GRID_STEP_M), at(slopes, i * GRID_STEP_M)) for i in range(N_GRID)]


class World:
    """Everything that is constant while possessions of one branch are played."""

    def __init__(self, scenario: Scenario, setting: str | None = None, base: bool = False) -> None:
        self.scenario = scenario
        chosen: Setting | None = None
        if setting is not None:
            chosen = next(s for s in scenario.settings if s.name == setting)
        own = chosen is not None and chosen.own_defence
        self.run = {p.name for p in (chosen.plays if chosen and chosen.plays is not None else scenario.plays)}
        self.zone: Zone = chosen.zone if chosen is not None and chosen.zone is not None else scenario.zone
        self.zone_options = dict(chosen.zone_options if chosen is not None and own else scenario.zone_options)
        self.k = constants_against(scenario, self.zone)
        self.coverage = coverages(self.zone, self.zone_options)
        self._rules()
        self._persons()
        self._players()
        self._roles()
        self._slides()
        self._alignment()
        self._plays()
        self.guards_at_start = self._guards()
        self.match_up = self.zone.match_up == "first_pass"
        calls = chosen.calls if chosen is not None and not base else ()
        self.calls = [self._call(call) for call in calls]
        self.is_home = setting is None
        self.shadows: list[tuple[int, TrapCall]] = []

    # --- rules and floor --------------------------------------------------------------------------------

    def _rules(self) -> None:
        rules = self.scenario.rules
        court = build_court(rules)
        self.court = court
        self.half_width = court.half_width_m
        self.baseline_y = court.baseline_y_m
        self.half_y = court.half_y_m
        self.far_y = court.far_y_m
        self.lane_half_width = court.lane_half_width_m
        self.free_throw_y = court.free_throw_y_m
        self.arc = court.arc_m
        self.corner_x = court.corner_x_m
        self.corner_break_y = court.corner_break_y_m
        self.no_charge = court.no_charge_m
        self.clock = rules.clock
        self.fouls = rules.fouls
        self.trapped_player_may_call = rules.time_out.trapped_player_may_call
        self.game = game = self.scenario.game
        self.p_arrow_defence = {"offence": 0.0, "defence": 1.0, "even": 0.5}[game.possession_arrow]
        self.cell = max(0.1, self.half_width / 96, (self.far_y - self.baseline_y) / 192)
        self.grid = court.region_grid(self.cell).region.tolist()

    def region(self, x: float, y: float) -> int:
        """Number of the region at a place, by the grid."""
        i = int(abs(x) / self.cell)
        j = int((y - self.baseline_y) / self.cell)
        i = min(max(i, 0), len(self.grid) - 1)
        j = min(max(j, 0), len(self.grid[0]) - 1)
        return int(self.grid[i][j])

    def beyond_arc(self, x: float, y: float) -> bool:
        if y <= self.corner_break_y:
            return abs(x) > self.corner_x
        return x * x + y * y > self.arc * self.arc

    # --- people -----------------------------------------------------------------------------------------

    def _persons(self) -> None:
        persons = dict(self.zone.persons)
        team = self.scenario.defence_team
        if not persons or set(persons) == set(TWO_THREE):
            self.persons = list(TWO_THREE)
            places = team.zone_places
            self.defenders = [team.by_number(getattr(places, person)) for person in self.persons]
        else:
            self.persons = list(persons)
            self.defenders = [team.by_number(team.lineup[persons[p] - 1]) for p in self.persons]

    def _players(self) -> None:
        k, scenario = self.k, self.scenario
        level_table = shot_grid(scenario.shot_table)
        offence: Team = scenario.offence_team
        attackers = [offence.by_number(number) for number in offence.lineup]
        self.players: list[Player] = []
        for agent, p in enumerate([*attackers, *self.defenders]):
            made = Player(
                top=p.top_speed_mps,
                slide=p.top_speed_mps * k["slide_speed_share"],
                run_gain=1.0 - math.exp(-k["time_step_s"] / k["sprint_tau_s"]),
                slide_gain=1.0 - math.exp(-k["time_step_s"] / k["slide_tau_s"]),
                reach=1.33 * p.height_m,
                handle=p.handle,
                passing=p.passing,
                rebounding=p.rebounding,
                discipline=p.discipline,
                free_throw=p.free_throw,
                reluctance=(p.reluctance_two_points, p.reluctance_three_points),
                table=level_table,
            )
            if agent < 5:
                own = scenario.habits.get(kind_of(self.zone), {})
                made.reluctance = own.get(p.number, made.reluctance)
            if agent < 5 and p.shot_table is not None:
                made.table = shot_grid(p.shot_table)
            made.rim = self._offset(level_table, p.rim, 0.75, "rim")
            made.middle = self._offset(level_table, p.middle, 4.0, "middle")
            made.three = self._offset(level_table, p.three, self.arc + 0.4, "three")
            self.players.append(made)

    def _offset(
        self, table: list[tuple[float, float]], counts: tuple[int, int] | None, d: float, band: str
    ) -> float:
        """A player's difference from the average in logit, from his counts [made, attempted]."""
        if counts is None:
            return 0.0
        made, attempted = counts
        at, slope = table[round(d / GRID_STEP_M)]
        gap = self.k[f"typical_gap_{band}_m"] - self.k["reference_defender_m"]
        average = 1.0 / (1.0 + math.exp(-(at + slope * gap + self.k[f"taken_{band}_logit"])))
        n = self.k["shot_prior_attempts"]
        return logit((made + n * average) / (attempted + n)) - logit(average)

    def _roles(self) -> None:
        """By side index (0 left, 1 right): person number of each role, role number of each person."""
        roles = list(self.zone.roles)
        self.roles = roles
        holding = [[person_holding(role, side == 1) for role in roles] for side in (0, 1)]
        self.person_of = [[self.persons.index(person) for person in row] for row in holding]
        self.role_of = [[self.person_of[side].index(person) for person in range(5)] for side in (0, 1)]
        bump = self.zone.bump_role
        self.bump_role = None if bump is None else roles.index(bump)

    # --- places -----------------------------------------------------------------------------------------

    def _place(self, placement: Any) -> tuple[float, float]:
        x, y = self.court.spots[placement.spot] if placement.spot is not None else placement.at
        x = x + placement.shift[0]
        y = y + placement.shift[1]
        return (-x if placement.side == "far" else x), y

    def _entry(self, written: Any) -> Entry:
        kind, toward_ball, toward_man, within = JOBS[written.job]
        x, y = self._place(written.place)
        return Entry(
            x=x,
            y=y,
            toward_ball=toward_ball if written.toward_ball is None else written.toward_ball,
            toward_man=toward_man if written.toward_man is None else written.toward_man,
            man_within_m=within if written.man_within_m is None else written.man_within_m,
            kind=kind,
            job=JOB_NUMBER[written.job],
        )

    def _slides(self) -> None:
        """Entry of each (region, moment, role), numbers as in the lists."""
        written: dict[tuple[str, str], list[Entry]] = {}
        for row in self.zone.rows:
            entries = dict(row.entries)
            for option in row.option:
                if self.zone_options.get(option.option) == option.choice:
                    entries[option.role] = option.entry
            made = [self._entry(entries[role]) for role in self.roles]
            for region in row.ball:
                for moment in row.moment:
                    written[region, moment] = made
        self.slides: list[list[list[Entry]]] = []
        for region in REGIONS:
            rows = []
            for moment in MOMENTS:
                wanted = (moment, *STANDS_IN[moment])
                rows.append(next(written[region, m] for m in wanted if (region, m) in written))
            self.slides.append(rows)

    def _alignment(self) -> None:
        alignment = self.scenario.alignment
        roles = list(alignment.roles)
        people = {person: position - 1 for person, position in alignment.persons.items()}
        self.spot_person_of = [[people[person_holding(r, side == 1)] for r in roles] for side in (0, 1)]
        self.spot_role_of = [
            [self.spot_person_of[side].index(agent) for agent in range(5)] for side in (0, 1)
        ]
        self.spots: list[list[tuple[float, float]]] = []
        for region in REGIONS:
            row = next(r for r in alignment.rows if region in r.ball)
            self.spots.append([self._place(row.places[role]) for role in roles])
        top = self.spots[REGIONS.index("top")]
        farthest = max(y for _, y in top)
        self.lead = min(self.spot_person_of[1][role] for role in range(5) if top[role][1] >= farthest - 1e-9)

    def _plays(self) -> None:
        """Steps of all plays of the scenario and its settings, numbered through; some are not run here."""
        self.steps: list[PlayStep] = []
        named = [*self.scenario.plays, *(play for one in self.scenario.settings for play in one.plays or ())]
        for play in {play.name: play for play in named}.values():
            number = {step.name: len(self.steps) + i for i, step in enumerate(play.steps)}
            for step in play.steps:
                moves = [
                    Move(
                        who=move.who,
                        near=(0.0, 0.0) if move.near is None else self._place(move.near),
                        within_m=move.within_m,
                        only=move.only_if,
                        does=move.does,
                        to=(0.0, 0.0) if move.to is None else self._place(move.to),
                        pace=move.pace,
                        after_s=move.after_s,
                    )
                    for move in step.moves
                ]
                self.steps.append(
                    PlayStep(
                        name=f"{play.name}: {step.name}",
                        start=step.when,
                        against=play.against if play.name in self.run else (),
                        regions={REGIONS.index(region) for region in step.ball},
                        often=step.often,
                        after_s=step.held_s,
                        lasts_s=step.lasts_s,
                        next=NONE if step.next is None else number[step.next],
                        moves=moves,
                    )
                )

    # --- calls ------------------------------------------------------------------------------------------

    def _call(self, call: Call) -> TrapCall:
        choices = {name: option.use for name, option in call.options.items()}
        cover = dict(call.cover)
        for option in call.option:
            if choices.get(option.option) == option.choice:
                cover[option.role] = option.entry
        trap = Entry(0.0, 0.0, *JOBS["trap"][1:], kind=JOBS["trap"][0], job=JOB_NUMBER["trap"])
        if call.dynamic:
            doubles = (0, 1)
            entries = [trap, trap, *(self._entry(entry) for entry in cover.values())]
        else:
            doubles = (self.roles.index(call.doubles[0]), self.roles.index(call.doubles[1]))
            entries = [trap if r in call.doubles else self._entry(cover[r]) for r in self.roles]
        breaks = self.scenario.alignment.breaks
        named = [b for region in call.ball for b in breaks if region in b.call]
        named += [b for b in breaks if "default" in b.call]
        lineup = list(self.scenario.offence_team.lineup)
        shirts = call.only_against
        low, high = call.from_baseline_m or (-math.inf, math.inf)
        return TrapCall(
            probability=call.probability,
            triggers=call.triggers,
            held_s=call.held_s,
            disguise_s=call.disguise_s,
            give_up_s=call.give_up_s,
            holds_cover=call.way_back == "trappers_last",
            face=self.court.spots[call.faces or "rim"],
            doubles=doubles,
            dynamic=call.dynamic,
            only={lineup.index(n) for n in shirts if n in lineup} if shirts else None,
            subject=min(REGIONS.index(region) for region in call.ball),
            regions={REGIONS.index(region) for region in call.ball},
            after_bump=call.after_bump,
            low_y=self.baseline_y + low,
            high_y=self.baseline_y + high,
            entries=entries,
            breaks=[self._place(getattr(named[0], name)) for name in ("behind", "middle", "line", "far")],
        )

    def watch(self) -> None:
        """Home's shadow calls: those of the settings that play its defence and call by triggers.

        Made with home's own roles, which those settings share.
        """
        shadows = []
        for s, setting in enumerate(self.scenario.settings):
            if not setting.own_defence and setting.plays is None:
                shadows += [(s, self._call(call)) for call in setting.calls]
        if len(shadows) <= 40 and all(s < 30 for s, _ in shadows):
            self.shadows = shadows

    # --- own men ----------------------------------------------------------------------------------------

    def _guards(self) -> list[int]:
        """Attacker whom each person guards from the start, -1 nobody."""
        guards = self.zone.guards
        men = [NONE] * 5
        if not guards:
            return men
        lineup = list(self.scenario.offence_team.lineup)
        bound = [i for i, person in enumerate(self.persons) if person in guards]
        for i in bound:
            shirt = self.defenders[i].number
            if shirt in self.scenario.matchups:
                men[i] = lineup.index(self.scenario.matchups[shirt])
        for i in bound:
            wanted = guards[self.persons[i]] - 1
            if men[i] == NONE and wanted not in men:
                men[i] = wanted
        for i in bound:
            if men[i] == NONE:
                men[i] = min(j for j in range(5) if j not in men)
        return men
