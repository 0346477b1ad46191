"""Validated objects to the arrays of ``engine.state.arrays``. No choices of the model are made here."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Container, Sequence
from dataclasses import dataclass

import numpy as np

from engine.inputs.alignment import Alignment
from engine.inputs.calls import Call
from engine.inputs.defence import men_of, people_of, persons_of
from engine.inputs.places import Entry, Placement, with_options
from engine.inputs.plays import Play, pooled
from engine.inputs.roles import holder
from engine.inputs.scenario import Scenario, attackers_against, constants_against
from engine.inputs.settings import Setting
from engine.inputs.team import Player, Team
from engine.inputs.zone import Zone, coverages
from engine.policies import coded
from engine.state import words
from engine.state.arrays import CONSTANTS, GRID_X, GRID_Y, MOST_SHADOW_SETTINGS, MOST_SHADOWS, N_SIDE, WORLD
from engine.state.jobs import JOB_TABLE, Kind
from engine.state.words import Job, Region
from engine.world.court import Court, build_court
from engine.world.shots import level_averages, offset, shot_rows

#: A standing reach in body heights (from memory: 1.30 to 1.36 in adults).
REACH_SHARE = 1.33
#: What a moment falls back to where the file has no row for it.
FALL_BACK = {
    "before_bump": ("settled", "reversal"),
    "after_bump": ("settled",),
    "reversal": ("settled", "before_bump"),
    "matched": ("settled", "after_bump"),
}
GRID_CELL_M = 0.1


@dataclass(frozen=True)
class PackedSetting:
    """One setting as arrays: its name, its world, the names of its calls (record field first_call - 1)."""

    name: str
    world: np.ndarray
    calls: tuple[str, ...]
    base: np.ndarray | None = None  # its own defence and plays without calls; None: staying home
    watched: bool = False  # home's record says (column shadow) where it would call; else play it whole


@dataclass(frozen=True)
class Packed:
    """A scenario as arrays: staying home, and every setting."""

    home: np.ndarray
    settings: tuple[PackedSetting, ...]
    spots: tuple[str, ...]


def place_of(court: Court, place: Placement) -> tuple[float, float]:
    """(x, y) metres of a placement with the ball on the near side (x > 0)."""
    x, y = court.spot(place.spot) if place.spot is not None else place.at  # type: ignore[misc]
    x += place.shift[0]
    y += place.shift[1]
    if place.side == "far":
        x = -x
    return x, y


def fill_constants(k: np.record, scenario: Scenario, zone: Zone) -> None:
    """Every model constant, as it is against this defence."""
    values = constants_against(scenario, zone)
    for name in CONSTANTS:
        k[name] = values[name]


def _padded(region: np.ndarray) -> np.ndarray:
    """The region grid on the kernel's fixed size; cells beyond the court repeat the last."""
    nx, ny = region.shape
    return np.pad(region, ((0, GRID_X - nx), (0, GRID_Y - ny)), mode="edge")


def fill_rules(row: np.record, scenario: Scenario, court: Court, cell_m: float) -> None:
    """Measures, clocks and fouls of the rule set, and the game so far; ``bump_role`` is left alone."""
    r = scenario.rules
    arrow = {"offence": 0.0, "defence": 1.0, "even": 0.5}[scenario.game.possession_arrow]
    values = {
        "half_width_m": court.half_width_m,
        "baseline_y_m": court.baseline_y_m,
        "half_y_m": court.half_y_m,
        "far_y_m": court.far_y_m,
        "lane_half_width_m": court.lane_half_width_m,
        "free_throw_y_m": court.free_throw_y_m,
        "arc_m": court.arc_m,
        "corner_x_m": court.corner_x_m,
        "corner_break_y_m": court.corner_break_y_m,
        "no_charge_m": court.no_charge_m,
        "shot_clock_s": r.clock.shot_s,
        "patience_s": r.clock.patience_s,
        "offensive_rebound_reset_s": r.clock.offensive_rebound_reset_s,
        "foul_reset_s": r.clock.frontcourt_foul_reset_s,
        "backcourt_s": r.clock.backcourt_s,
        "closely_guarded_s": r.clock.closely_guarded_s,
        "closely_guarded_m": r.clock.closely_guarded_distance_m,
        "closely_guarded_dribble": int(r.clock.closely_guarded_while_dribbling),
        "three_seconds_s": r.clock.offensive_three_seconds_s,
        "defensive_three_seconds_s": r.clock.defensive_three_seconds_s,
        "bonus_from": r.fouls.bonus_from_team_foul,
        "bonus_free_throws": r.fouls.bonus_free_throws,
        "one_and_one_from": r.fouls.one_and_one_from,
        "one_and_one_to": r.fouls.one_and_one_to,
        "trapped_time_out": int(r.time_out.trapped_player_may_call),
        "team_fouls": scenario.game.team_fouls,
        "traps_seen": scenario.game.traps_seen,
        "time_outs_left": scenario.game.time_outs_left,
        "p_arrow_defence": arrow,
        "bring_up": int(scenario.start == "bring_up"),
        "grid_cell_m": cell_m,
    }
    for name, value in values.items():
        row[name] = value


def defenders_of(scenario: Scenario, zone: Zone) -> list[Player]:
    """Who plays the persons of a defence, in their order."""
    return list(people_of(zone, scenario.defence_team).values())


def refresh_players(w: np.record) -> None:
    """Recomputes what the players' fields owe to constants: slide speed and the gains of a step."""
    for row in w.players:
        row.slide_mps = row.top_speed_mps * w.k.slide_speed_share
        row.run_gain = 1.0 - math.exp(-w.k.time_step_s / w.k.sprint_tau_s)
        row.slide_gain = 1.0 - math.exp(-w.k.time_step_s / w.k.slide_tau_s)


def fill_players(w: np.record, scenario: Scenario, five: Sequence[Player], first: int, court: Court) -> None:
    """Fills agents ``first`` .. ``first + 4``; a player's own shot table goes to its place in the attack."""
    averages = level_averages(scenario, court)
    for i, p in enumerate(five):
        row = w.players[first + i]
        row.top_speed_mps = p.top_speed_mps
        row.reach_m = REACH_SHARE * p.height_m
        row.handle = p.handle
        row.passing = p.passing
        row.rebounding = p.rebounding
        row.discipline = p.discipline
        row.free_throw = p.free_throw
        row.table = 0
        if first == 0 and p.shot_table is not None:
            row.table = 1 + i
            w.shots[1 + i] = shot_rows(p.shot_table)
        row.rim_logit = offset(scenario, p.rim, averages[0])
        row.middle_logit = offset(scenario, p.middle, averages[1])
        row.three_logit = offset(scenario, p.three, averages[2])
        row.reluctance_two_points = p.reluctance_two_points
        row.reluctance_three_points = p.reluctance_three_points
    refresh_players(w)


def _fill_entry(row: np.record, entry: Entry, court: Court) -> None:
    job = JOB_TABLE[entry.job]
    row.x_m, row.y_m = place_of(court, entry.place)
    row.toward_ball = job.toward_ball if entry.toward_ball is None else entry.toward_ball
    row.toward_man = job.toward_man if entry.toward_man is None else entry.toward_man
    row.man_within_m = job.man_within_m if entry.man_within_m is None else entry.man_within_m
    row.kind = job.kind
    row.job = words.JOBS.index(entry.job)


def _slides(slides: np.ndarray, zone: Zone, choices: dict[str, str], court: Court) -> None:
    rows: dict[tuple[str, str], dict[str, Entry]] = {}
    for row in zone.rows:
        entries = with_options(row.entries, row.option, choices)
        for region in row.ball:
            for moment in row.moment:
                rows[region, moment] = entries
    for r, region in enumerate(words.REGIONS):
        for m, moment in enumerate(words.MOMENTS):
            found = rows.get((region, moment))
            for other in FALL_BACK.get(moment, words.MOMENTS):
                found = found or rows.get((region, other))
            assert found is not None  # coverage was checked by the loader
            for role, name in enumerate(zone.roles):
                _fill_entry(slides[r, m, role], found[name], court)


def persons_in_roles(roles: tuple[str, ...], persons: tuple[str, ...]) -> np.ndarray:
    """person_of [side, role]: person holding a role with near = left (0) or right (1)."""
    person_of = np.zeros((2, N_SIDE), np.int64)
    for side, near in enumerate(("left", "right")):
        for r, role in enumerate(roles):
            name = holder(role, near)
            person_of[side, r] = persons.index(name if name in persons else role)
    return person_of


def _inverse(person_of: np.ndarray) -> np.ndarray:
    role_of = np.zeros_like(person_of)
    for side in range(2):
        for role in range(N_SIDE):
            role_of[side, person_of[side, role]] = role
    return role_of


def _spots(alignment: Alignment, court: Court) -> np.ndarray:
    spots = np.zeros((len(words.REGIONS), N_SIDE, 2))
    for row in alignment.rows:
        for region in row.ball:
            for role, name in enumerate(alignment.roles):
                spots[words.REGIONS.index(region), role] = place_of(court, row.places[name])
    return spots


def _attackers_by_position(alignment: Alignment) -> tuple[str, ...]:
    """Person names in order of team position 1 to 5 (agents 0 to 4)."""
    return tuple(sorted(alignment.persons, key=lambda person: alignment.persons[person]))


def plays_of(scenario: Scenario) -> tuple[Play, ...]:
    """Every play of a scenario and its settings once: the same place, and so luck, in all its worlds."""
    lists = [scenario.plays, *(setting.plays or () for setting in scenario.settings)]
    return pooled(lists, str(scenario.path), "setting.plays")


def run_only(w: np.record, plays: Sequence[Play], run: Container[str]) -> None:
    """Of the ``plays`` whose steps a world holds, the attack runs no more than those named in ``run``."""
    n = 0
    for play in plays:
        if play.name not in run:
            w.steps["against"][n : n + len(play.steps)] = 0
        n += len(play.steps)


def fill_plays(w: np.record, plays: Sequence[Play], court: Court) -> None:
    """The steps of all plays, one after another."""
    n = 0
    for play in plays:
        first = {step.name: n + i for i, step in enumerate(play.steps)}
        against = sum(1 << words.AGAINST.index(word) for word in play.against)
        for step in play.steps:
            row = w.steps[n]
            row.start = words.STARTS.index(step.when)
            row.against = against
            row.regions = sum(1 << words.REGIONS.index(region) for region in step.ball)
            row.often = step.often
            row.after_s = step.held_s
            row.lasts_s = step.lasts_s
            row.next = first[step.next] if step.next is not None else -1
            row.n_moves = len(step.moves)
            for i, move in enumerate(step.moves):
                m = row.moves[i]
                m.who = words.WHO.index(move.who)
                if move.near is not None:
                    m.near_x_m, m.near_y_m = place_of(court, move.near)
                m.within_m = move.within_m
                m.only = words.ONLY.index(move.only_if)
                m.does = words.DOES.index(move.does)
                if move.to is not None:
                    m.x_m, m.y_m = place_of(court, move.to)
                m.pace = move.pace
                m.after_s = move.after_s
            n += 1
    w.n_steps = n


def _lead_person(spots: np.ndarray, person_of: np.ndarray) -> int:
    """Attacker who brings the ball up: the lowest position among those who stand farthest out."""
    out = spots[Region.TOP][:, 1]
    return int(min(person_of[1, role] for role in range(N_SIDE) if out[role] >= out.max() - 1e-9))


def _breaks(alignment: Alignment, call: Call, court: Court) -> np.ndarray:
    by_region = {name: item for item in alignment.breaks for name in item.call}
    item = next((by_region[r] for r in call.ball if r in by_region), by_region["default"])
    return np.array([place_of(court, p) for p in (item.behind, item.middle, item.line, item.far)])


def _only_mask(call: Call, offence: Team) -> int:
    mask = 1 << N_SIDE if call.only_against else 0  # named men who are not on court: nobody, not everybody
    for number in call.only_against:
        for i, player in enumerate(offence.on_court):
            if player.number == number:
                mask |= 1 << i
    return mask


def fill_call(w: np.record, n: int, call: Call, scenario: Scenario, zone: Zone, court: Court) -> None:
    """Call ``n`` of a setting, for the roles of its defence."""
    row = w.calls[n]
    row.probability = call.probability
    row.regions = sum(1 << words.REGIONS.index(region) for region in call.ball)
    row.triggers = sum(1 << words.TRIGGERS.index(t) for t in call.triggers)
    row.held_s = call.held_s
    row.disguise_s = call.disguise_s
    row.give_up_s = call.give_up_s
    row.hold_cover = int(call.way_back == "trappers_last")
    row.face_x_m, row.face_y_m = court.spot(call.faces or "rim")
    row.only_mask = _only_mask(call, scenario.offence_team)
    row.subject = min(words.REGIONS.index(region) for region in call.ball)
    row.dynamic = int(call.dynamic)
    row.after_bump = int(call.after_bump)
    low, high = call.from_baseline_m or (-np.inf, np.inf)
    row.low_y_m, row.high_y_m = court.baseline_y_m + low, court.baseline_y_m + high
    cover = with_options(call.cover, call.option, call.choices)
    if call.dynamic:
        row.double_0, row.double_1 = 0, 1
        entries = [None, None, *cover.values()]
    else:
        row.double_0, row.double_1 = (zone.roles.index(role) for role in call.doubles)
        entries = [None if role in call.doubles else cover[role] for role in zone.roles]
    for r, entry in enumerate(entries):
        if entry is None:
            w.call_entries[n, r].kind = Kind.TRAP
            w.call_entries[n, r].job = Job.TRAP
        else:
            _fill_entry(w.call_entries[n, r], entry, court)
    w.breaks[n] = _breaks(scenario.alignment, call, court)


def _guards(scenario: Scenario, zone: Zone) -> list[int]:
    """Attacker (0..4) of each person, -1 none."""
    men = men_of(zone, scenario.defence_team, scenario.offence_team, scenario.matchups)
    return [men.get(person, 0) - 1 for person in persons_of(zone)]


def _defence(
    w: np.record,
    scenario: Scenario,
    zone: Zone,
    choices: dict[str, str],
    policy: str | None,
    key: str,
    court: Court,
) -> None:
    """Everything of a world that hangs on the defence: slides, persons, men, policy (named at ``key``), and
    what the attack makes of it."""
    fill_constants(w.k, scenario, zone)
    persons = persons_of(zone)
    fill_players(w, scenario, attackers_against(scenario, zone), 0, court)
    fill_players(w, scenario, defenders_of(scenario, zone), N_SIDE, court)
    _slides(w.slides, zone, choices, court)
    for region, how in coverages(zone, choices).items():
        w.coverage[words.REGIONS.index(region)] = words.COVERAGES.index(how)
    person_of = persons_in_roles(zone.roles, persons)
    w.person_of[:] = person_of
    w.role_of[:] = _inverse(person_of)
    w.rules.bump_role = zone.roles.index(zone.bump_role) if zone.bump_role else -1
    w.guards[:] = _guards(scenario, zone)
    w.match_up = int(zone.match_up == "first_pass")
    w.policy = w.policy_where = w.policy_call = 0
    if policy is not None:
        found = coded.find(policy, str(scenario.path), key)
        w.policy = coded.hash_of(policy)
        w.policy_where = int(found.where is not None)
        w.policy_call = int(found.call is not None)


def fill_shadows(w: np.record, scenario: Scenario, settings: Sequence[PackedSetting]) -> None:
    """Lets home watch the calls of the settings that share its defence; none at all if they do not fit."""
    watched = [
        (s, one.world[0], n)
        for s, one in enumerate(settings)
        if one.base is None and one.world[0].policy_call == 0
        for n in range(int(one.world[0].n_calls))
    ]
    if len(watched) > MOST_SHADOWS or any(s >= MOST_SHADOW_SETTINGS for s, _, _ in watched):
        return
    w.n_shadows = len(watched)
    for i, (s, world, n) in enumerate(watched):
        w.shadows[i] = world.calls[n]
        w.shadow_setting[i] = s


def pack(scenario: Scenario) -> Packed:
    """A validated scenario as the kernel's arrays: one world for staying home, one per setting.

    A setting shares everything with home but its calls and, where it has them, its defence and plays.
    Distances in metres, times in seconds.

    Raises InputError for a coded policy that is not installed.
    """
    court = build_court(scenario.rules)
    span = court.far_y_m - court.baseline_y_m
    grid = court.region_grid(max(GRID_CELL_M, court.half_width_m / GRID_X, span / GRID_Y))
    alignment = scenario.alignment
    attackers = _attackers_by_position(alignment)
    spot_person_of = persons_in_roles(alignment.roles, attackers)
    spots = _spots(alignment, court)
    names = sorted({call.name for setting in scenario.settings for call in setting.calls})

    base = np.zeros(1, WORLD).view(np.recarray)
    w = base[0]
    fill_constants(w.k, scenario, scenario.zone)
    fill_rules(w.rules, scenario, court, grid.cell_m)
    w.shots[0] = shot_rows(scenario.shot_table)
    w.grid[:] = _padded(grid.region)
    w.spots[:] = spots
    w.spot_role_of[:] = _inverse(spot_person_of)
    plays = plays_of(scenario)
    fill_plays(w, plays, court)
    w.lead_person = _lead_person(spots, spot_person_of)
    _defence(w, scenario, scenario.zone, scenario.zone_options, scenario.policy, "defence.policy", court)

    def setting_of(number: int, setting: Setting) -> PackedSetting:
        own = setting.own_base
        zone = setting.zone or scenario.zone
        without = base.copy()
        run = scenario.plays if setting.plays is None else setting.plays
        run_only(without[0], plays, {play.name for play in run})
        if setting.own_defence:
            key = f"setting[{number}].policy"
            _defence(without[0], scenario, zone, setting.zone_options, setting.policy, key, court)
        world = without.copy()
        world[0].n_calls = len(setting.calls)
        for n, call in enumerate(setting.calls):
            fill_call(world[0], n, call, scenario, zone, court)
        if own:
            without[0].policy_call = 0  # its own base makes no calls
        return PackedSetting(
            setting.name, world, tuple(call.name for call in setting.calls), without if own else None
        )

    settings = tuple(setting_of(i, s) for i, s in enumerate(scenario.settings, 1))
    run_only(w, plays, {play.name for play in scenario.plays})
    fill_shadows(w, scenario, settings)
    w.policy_call = 0  # staying home makes no calls
    seen = {int(s) for s in w.shadow_setting[: w.n_shadows]}
    watching = tuple(
        dataclasses.replace(one, watched=one.base is None and (i in seen or not one.calls) and bool(seen))
        for i, one in enumerate(settings)
    )
    return Packed(home=base, settings=watching, spots=tuple(names))


def player_of(scenario: Scenario, agent: int, zone: Zone | None = None) -> Player:
    """The player behind agent 0..4 (offence by position) or 5..9 (by place in ``zone`` or the scenario's)."""
    if agent < N_SIDE:
        return scenario.offence_team.on_court[agent]
    return defenders_of(scenario, zone or scenario.zone)[agent - N_SIDE]
