"""Validated objects to the arrays of ``engine.state``. No choices of the model are made here."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from engine.court import Court, build_court
from engine.inputs.alignment import Alignment
from engine.inputs.calls import Call
from engine.inputs.places import Entry, Placement, RowOption
from engine.inputs.scenario import Scenario, Setting
from engine.inputs.shots import ShotTable
from engine.inputs.team import ZONE_PLACES, Player, Team
from engine.policies.jobs import JOB_TABLE, TRAP
from engine.state import (
    CONSTANTS,
    GRID_X,
    GRID_Y,
    JOBS,
    MOMENTS,
    N_SHOT_STEPS,
    N_SIDE,
    REGIONS,
    SHOT_STEP_M,
    TRIGGERS,
    WORLD,
)

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
MAKE_LEAST = 1e-4


@dataclass(frozen=True)
class PackedSetting:
    """One setting as arrays: its name, its world, the names of its calls (record field first_call - 1)."""

    name: str
    world: np.ndarray
    calls: tuple[str, ...]


@dataclass(frozen=True)
class Packed:
    """A scenario as arrays: staying home, and every setting."""

    home: np.ndarray
    settings: tuple[PackedSetting, ...]
    spots: tuple[str, ...]


def _logit(p: float) -> float:
    p = min(max(p, MAKE_LEAST), 1.0 - MAKE_LEAST)
    return math.log(p / (1.0 - p))


def place_of(court: Court, place: Placement) -> tuple[float, float]:
    """(x, y) metres of a placement with the ball on the near side (x > 0)."""
    x, y = court.spot(place.spot) if place.spot is not None else place.at  # type: ignore[misc]
    x += place.shift[0]
    y += place.shift[1]
    if place.side == "far":
        x = -x
    return x, y


def _constants(k: np.record, scenario: Scenario) -> None:
    for name in CONSTANTS:
        k[name] = scenario.constants[name]


def _padded(region: np.ndarray) -> np.ndarray:
    """The region grid on the kernel's fixed size; cells beyond the court repeat the last."""
    nx, ny = region.shape
    return np.pad(region, ((0, GRID_X - nx), (0, GRID_Y - ny)), mode="edge")


def _rules(row: np.record, scenario: Scenario, court: Court, cell_m: float) -> None:
    r = scenario.rules
    arrow = {"offence": 0.0, "defence": 1.0, "even": 0.5}[scenario.game.possession_arrow]
    role = scenario.zone.roles.index(scenario.zone.bump_role)
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
        "bump_role": role,
    }
    for name, value in values.items():
        row[name] = value


def shot_rows(table: ShotTable) -> np.ndarray:
    """A shot table on the kernel's grid: float64 [N_SHOT_STEPS, 2], logit of make and slope per metre."""
    d = np.arange(N_SHOT_STEPS) * SHOT_STEP_M
    logits = np.array([_logit(m) for m in table.make])
    return np.column_stack(
        [np.interp(d, table.distance_m, logits), np.interp(d, table.distance_m, table.contest_logit_per_m)]
    )


def _average_make(scenario: Scenario, rows: np.ndarray, distance_m: float, gap_m: float) -> float:
    k = scenario.constants
    i = int(round(distance_m / SHOT_STEP_M))
    z = rows[i, 0] + rows[i, 1] * (gap_m - k["reference_defender_m"])
    return float(1.0 / (1.0 + math.exp(-z)))


def _offset(scenario: Scenario, counts: tuple[int, int] | None, average: float) -> float:
    """Logit difference of a player from the level: counts pulled toward the average (beta-binomial mean)."""
    if counts is None:
        return 0.0
    prior = scenario.constants["shot_prior_attempts"]
    made, attempted = counts
    return _logit((made + prior * average) / (attempted + prior)) - _logit(average)


def _players(w: np.record, scenario: Scenario, court: Court) -> None:
    k = scenario.constants
    tables: list[np.ndarray] = [shot_rows(scenario.shot_table)]
    five_off = scenario.offence_team.on_court
    places = scenario.defence_team.zone_places
    assert places is not None  # filled in by the loader
    five_def = [scenario.defence_team.by_number(getattr(places, name)) for name in ZONE_PLACES]
    averages = (
        _average_make(scenario, tables[0], 0.75, k["typical_gap_rim_m"]),
        _average_make(scenario, tables[0], 4.0, k["typical_gap_middle_m"]),
        _average_make(scenario, tables[0], court.arc_m + 0.4, k["typical_gap_three_m"]),
    )
    dt = k["time_step_s"]
    for i, p in enumerate([*five_off, *five_def]):
        row = w.players[i]
        row.top_speed_mps = p.top_speed_mps
        row.slide_mps = p.top_speed_mps * k["slide_speed_share"]
        row.run_gain = 1.0 - math.exp(-dt / k["sprint_tau_s"])
        row.slide_gain = 1.0 - math.exp(-dt / k["slide_tau_s"])
        row.reach_m = REACH_SHARE * p.height_m
        row.handle = p.handle
        row.passing = p.passing
        row.rebounding = p.rebounding
        row.discipline = p.discipline
        row.free_throw = p.free_throw
        if p.shot_table is not None:
            row.table = len(tables)
            tables.append(shot_rows(p.shot_table))
        row.rim_logit = _offset(scenario, p.rim, averages[0])
        row.middle_logit = _offset(scenario, p.middle, averages[1])
        row.three_logit = _offset(scenario, p.three, averages[2])
    w.shots[: len(tables)] = tables


def _fill_entry(row: np.record, entry: Entry, court: Court) -> None:
    job = JOB_TABLE[entry.job]
    row.x_m, row.y_m = place_of(court, entry.place)
    row.toward_ball = job.toward_ball if entry.toward_ball is None else entry.toward_ball
    row.toward_man = job.toward_man if entry.toward_man is None else entry.toward_man
    row.man_within_m = job.man_within_m if entry.man_within_m is None else entry.man_within_m
    row.kind = job.kind
    row.job = JOBS.index(entry.job)


def _with_options(
    entries: dict[str, Entry], items: tuple[RowOption, ...], choices: dict[str, str]
) -> dict[str, Entry]:
    chosen = dict(entries)
    for item in items:
        if choices.get(item.option) == item.choice:
            chosen[item.role] = item.entry
    return chosen


def _slides(slides: np.ndarray, scenario: Scenario, court: Court) -> None:
    zone = scenario.zone
    rows: dict[tuple[str, str], dict[str, Entry]] = {}
    for row in zone.rows:
        entries = _with_options(row.entries, row.option, scenario.zone_options)
        for region in row.ball:
            for moment in row.moment:
                rows[region, moment] = entries
    for r, region in enumerate(REGIONS):
        for m, moment in enumerate(MOMENTS):
            found = rows.get((region, moment))
            for other in FALL_BACK.get(moment, MOMENTS):
                found = found or rows.get((region, other))
            assert found is not None  # coverage was checked by the loader
            for role, name in enumerate(zone.roles):
                _fill_entry(slides[r, m, role], found[name], court)


def persons_in_roles(roles: tuple[str, ...], persons: tuple[str, ...]) -> np.ndarray:
    """person_of [side, role]: person holding a role with near = left (0) or right (1)."""
    person_of = np.zeros((2, N_SIDE), np.int64)
    for side, near in enumerate(("left", "right")):
        far = "right" if near == "left" else "left"
        for r, role in enumerate(roles):
            head, _, rest = role.partition("_")
            name = {"near": f"{near}_{rest}", "far": f"{far}_{rest}"}.get(head, role)
            person_of[side, r] = persons.index(name if name in persons else role)
    return person_of


def _inverse(person_of: np.ndarray) -> np.ndarray:
    role_of = np.zeros_like(person_of)
    for side in range(2):
        for role in range(N_SIDE):
            role_of[side, person_of[side, role]] = role
    return role_of


def _spots(alignment: Alignment, court: Court) -> np.ndarray:
    spots = np.zeros((len(REGIONS), N_SIDE, 2))
    for row in alignment.rows:
        for region in row.ball:
            for role, name in enumerate(alignment.roles):
                spots[REGIONS.index(region), role] = place_of(court, row.places[name])
    return spots


def _attackers_by_position(alignment: Alignment) -> tuple[str, ...]:
    """Person names in order of team position 1 to 5 (agents 0 to 4)."""
    return tuple(sorted(alignment.persons, key=lambda person: alignment.persons[person]))


def _lead_person(spots: np.ndarray, person_of: np.ndarray) -> int:
    """Attacker who brings the ball up: the lowest position among those who stand farthest out."""
    out = spots[REGIONS.index("top")][:, 1]
    return int(min(person_of[1, role] for role in range(N_SIDE) if out[role] >= out.max() - 1e-9))


def _breaks(alignment: Alignment, call: Call, court: Court) -> np.ndarray:
    by_region = {name: item for item in alignment.breaks for name in item.call}
    item = next((by_region[r] for r in call.ball if r in by_region), by_region["default"])
    return np.array([place_of(court, p) for p in (item.behind, item.middle, item.line, item.far)])


def _only_mask(call: Call, offence: Team) -> int:
    mask = 0
    for number in call.only_against:
        for i, player in enumerate(offence.on_court):
            if player.number == number:
                mask |= 1 << i
    return mask


def _calls(w: np.record, scenario: Scenario, setting: Setting, court: Court) -> None:
    roles = scenario.zone.roles
    w.n_calls = len(setting.calls)
    for i, call in enumerate(setting.calls):
        row = w.calls[i]
        row.probability = call.probability
        row.triggers = sum(1 << TRIGGERS.index(t) for t in call.triggers)
        row.held_s = call.held_s
        row.disguise_s = call.disguise_s
        row.give_up_s = call.give_up_s
        row.hold_cover = int(call.way_back == "trappers_last")
        faces = call.faces or "rim"
        row.face_x_m, row.face_y_m = court.spot(faces)
        row.double_0 = roles.index(call.doubles[0])
        row.double_1 = roles.index(call.doubles[1])
        row.only_mask = _only_mask(call, scenario.offence_team)
        row.subject = min(REGIONS.index(region) for region in call.ball)
        for region in call.ball:
            w.call_regions[i, REGIONS.index(region)] = 1
        cover = _with_options(call.cover, call.option, call.choices)
        for r, role in enumerate(roles):
            if role in call.doubles:
                w.call_entries[i, r].kind = TRAP
                w.call_entries[i, r].job = JOBS.index("trap")
            else:
                _fill_entry(w.call_entries[i, r], cover[role], court)
        w.breaks[i] = _breaks(scenario.alignment, call, court)


def pack(scenario: Scenario) -> Packed:
    """A validated scenario as the kernel's arrays: one world for staying home, one per setting.

    Everything but the calls is shared between the worlds. Distances in metres, times in seconds.
    """
    court = build_court(scenario.rules)
    span = court.far_y_m - court.baseline_y_m
    grid = court.region_grid(max(GRID_CELL_M, court.half_width_m / GRID_X, span / GRID_Y))
    alignment = scenario.alignment
    attackers = _attackers_by_position(alignment)
    spot_person_of = persons_in_roles(alignment.roles, attackers)
    spots = _spots(alignment, court)
    person_of = persons_in_roles(scenario.zone.roles, ZONE_PLACES)
    names = sorted({call.name for setting in scenario.settings for call in setting.calls})

    base = np.zeros(1, WORLD).view(np.recarray)
    w = base[0]
    _constants(w.k, scenario)
    _rules(w.rules, scenario, court, grid.cell_m)
    _players(w, scenario, court)
    w.grid[:] = _padded(grid.region)
    _slides(w.slides, scenario, court)
    w.person_of[:] = person_of
    w.role_of[:] = _inverse(person_of)
    w.spots[:] = spots
    w.spot_role_of[:] = _inverse(spot_person_of)
    w.lead_person = _lead_person(spots, spot_person_of)

    def world(setting: Setting) -> np.ndarray:
        one = base.copy()
        _calls(one[0], scenario, setting, court)
        return one

    settings = tuple(
        PackedSetting(s.name, world(s), tuple(call.name for call in s.calls)) for s in scenario.settings
    )
    return Packed(home=base, settings=settings, spots=tuple(names))


def player_of(scenario: Scenario, agent: int) -> Player:
    """The player behind agent 0..4 (offence by position) or 5..9 (defence by place)."""
    if agent < N_SIDE:
        return scenario.offence_team.on_court[agent]
    places = scenario.defence_team.zone_places
    assert places is not None
    return scenario.defence_team.by_number(getattr(places, ZONE_PLACES[agent - N_SIDE]))
