"""Rule sets: court measures, clocks, counts, fouls (configs/rules/*.toml)."""

from __future__ import annotations

from pydantic import Field

from engine.errors import InputError
from engine.inputs.base import Flag, Frozen, Real, Table, Text, Whole, nearest, parse, plain
from engine.inputs.files import FileName, Source, read_toml, resolve


class CourtSize(Frozen):
    """The floor, metres."""

    width_m: Real = Field(ge=10.0, le=40.0, description="width of the court, metres")
    length_m: Real = Field(ge=20.0, le=60.0, description="length of the court, metres")
    rim_from_baseline_m: Real = Field(ge=1.0, le=2.5, description="rim's centre to the baseline, metres")


class Lane(Frozen):
    """The lane, metres."""

    width_m: Real = Field(ge=2.0, le=8.0, description="width of the lane, metres")
    free_throw_line_from_baseline_m: Real = Field(
        ge=4.0, le=8.0, description="free-throw line to the baseline, metres"
    )


class ThreePoint(Frozen):
    """The three-point line, metres from the rim's centre."""

    arc_radius_m: Real = Field(ge=5.0, le=9.0, description="radius of the arc, metres")
    corner_line_from_rim_m: Real = Field(
        ge=5.0, le=9.0, description="straight corner line to the rim's centre, metres"
    )


class NoCharge(Frozen):
    """The arc under the rim inside which no charge is called."""

    radius_m: Real = Field(ge=0.0, le=3.0, description="radius, metres; 0 where the rule set has none")


class Clock(Frozen):
    """Clocks and counts, seconds; 0 where the rule set has none."""

    shot_s: Real = Field(ge=0.0, le=120.0, description="shot clock, seconds; 0 none")
    offensive_rebound_reset_s: Real = Field(
        ge=0.0, le=120.0, description="shot clock after an offensive rebound, seconds"
    )
    frontcourt_foul_reset_s: Real = Field(
        ge=0.0, le=120.0, description="least shot clock after a foul in the front court, seconds"
    )
    backcourt_s: Real = Field(ge=0.0, le=60.0, description="time to cross half court, seconds; 0 none")
    closely_guarded_s: Real = Field(ge=0.0, le=60.0, description="closely-guarded count, seconds; 0 none")
    closely_guarded_distance_m: Real = Field(
        ge=0.0, le=5.0, description="distance of a closely guarding defender, metres"
    )
    closely_guarded_while_dribbling: Flag = Field(description="whether the count also runs on a dribbler")
    offensive_three_seconds_s: Real = Field(ge=0.0, le=60.0, description="time in the lane, seconds; 0 none")
    defensive_three_seconds_s: Real = Field(
        ge=0.0, le=60.0, description="defender's time in the lane, seconds; 0 none"
    )
    throw_in_s: Real = Field(ge=0.0, le=60.0, description="time for a throw-in, seconds")
    patience_s: Real = Field(
        ge=1.0, le=600.0, description="without a shot clock: when the offence looks to finish, seconds"
    )
    periods: Whole = Field(ge=1, le=10, description="periods of a game, count")
    period_s: Real = Field(ge=60.0, le=3600.0, description="length of a period, seconds")


class Fouls(Frozen):
    """When a team's fouls of a period give free throws (counts), and when a player's own end his game."""

    bonus_from_team_foul: Whole = Field(
        ge=1, le=100, description="first team foul that is in the bonus, count"
    )
    bonus_free_throws: Whole = Field(ge=1, le=3, description="free throws in the bonus, count")
    one_and_one_from: Whole = Field(ge=0, le=100, description="first team foul with one-and-one; 0 none")
    one_and_one_to: Whole = Field(ge=0, le=100, description="last team foul with one-and-one; 0 none")
    personal_limit: Whole = Field(
        ge=3, le=10, description="personal fouls that end a player's game, count; most books: 5"
    )


class TimeOut(Frozen):
    """Time-outs while the ball is live."""

    trapped_player_may_call: Flag = Field(description="whether a trapped player may call time-out")


class Rules(Frozen):
    """A rule set. Metres, seconds, counts; ``sources`` maps a table or key to rule book and article."""

    name: Text = Field(description="short name")
    title: Text = Field(description="name for people")
    book: Text = Field(description="the rule book and its year")
    court: CourtSize
    lane: Lane
    three_point: ThreePoint
    no_charge: NoCharge
    clock: Clock
    fouls: Fouls
    time_out: TimeOut
    sources: dict[str, Text] = Field(
        default_factory=dict, description="rule book and article by table or key"
    )


def check_rules(rules: Rules, where: str) -> Rules:
    """The rules as a whole. Raises InputError where two numbers contradict each other."""
    court, lane, three, fouls = rules.court, rules.lane, rules.three_point, rules.fouls
    half = court.width_m / 2
    if three.corner_line_from_rim_m >= half:
        raise InputError(
            where,
            "three_point.corner_line_from_rim_m",
            three.corner_line_from_rim_m,
            f"a line inside the court, under {half:g} metres",
        )
    if three.corner_line_from_rim_m > three.arc_radius_m:
        raise InputError(
            where,
            "three_point.corner_line_from_rim_m",
            three.corner_line_from_rim_m,
            f"at most the arc's radius, {three.arc_radius_m:g} metres",
        )
    if lane.width_m >= court.width_m:
        raise InputError(where, "lane.width_m", lane.width_m, "a lane narrower than the court (metres)")
    if (fouls.one_and_one_from == 0) != (fouls.one_and_one_to == 0) or (
        fouls.one_and_one_to < fouls.one_and_one_from
    ):
        raise InputError(
            where,
            "fouls.one_and_one_to",
            fouls.one_and_one_to,
            f"0 when one_and_one_from is 0, else at least one_and_one_from ({fouls.one_and_one_from})",
        )
    return rules


def rules_from(data: Table, where: str) -> Rules:
    """A rule set from a table. Raises InputError."""
    return check_rules(parse(Rules, data, where), where)


def load_rules(name_or_path: FileName, beside: Source | None = None) -> Rules:
    """Load a rule set by name (configs/rules) or path.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    source = resolve(name_or_path, "rules", beside, "rules" if beside else "")
    return rules_from(read_toml(source), str(source))


CHANGEABLE = ("court", "lane", "three_point", "no_charge", "clock", "fouls", "time_out")


def _flat(changes: Table, before: str = "") -> Table:
    flat: Table = {}
    for key, value in changes.items():
        name = f"{before}.{key}" if before else key
        if isinstance(value, dict):
            flat.update(_flat(value, name))
        else:
            flat[name] = value
    return flat


def change_rules(rules: Rules, changes: Table, where: str) -> Rules:
    """The rules with some values replaced; keys are dotted ("clock.shot_s"), units as in the rule set.

    Raises InputError for an unknown key or a value that is not allowed, named as ``rules_changes``.
    """
    data = rules.model_dump()
    known = [f"{group}.{key}" for group in CHANGEABLE for key in data[group]]
    for name, value in _flat(changes).items():
        if name not in known:
            raise InputError(
                where,
                "rules_changes",
                name,
                f"a key of the rule set such as clock.shot_s{nearest(name, known)}",
            )
        group, key = name.split(".")
        data[group][key] = value
    try:
        return rules_from(data, where)
    except InputError as error:
        raise InputError(where, f'rules_changes."{plain(error.key)}"', error.value, error.allowed) from None
