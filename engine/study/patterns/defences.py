"""Patterns of whole defences: zone against man-to-man, the forwards' height, shooters, a weak defender."""

from __future__ import annotations

import numpy as np

from engine.inputs.team import ZONE_PLACES
from engine.run.blocks import World
from engine.state.arrays import N_SIDE
from engine.state.words import PASS_KINDS, REGIONS
from engine.study.patterns.common import (
    PRACTICE,
    Claim,
    Mean,
    Records,
    column,
    mean,
    quotient,
    quotient_change,
)
from engine.study.patterns.playing import SEED, Edit, Run, edited
from engine.study.patterns.watching import (
    CATCH,
    CODE,
    PASS,
    ROW,
    SHOT,
    TOUCH,
    VALUE,
    Watched,
    X,
    Y,
    is_three,
    per_possession,
    regions,
    watch,
)

ZONE_SEEN = "Tsamourtzis et al. 2012, abstract seen (direction; 90 games of men, 2005 to 2010)"
#: The two base defences as their files have them, no option of the demo, against the demo's attack.
ZONE = {"zone": "two_three", "options": {}}
MAN = {"zone": "man_to_man", "options": {}}
N_DEFENCE = 100_000


def zone_and_man(run: Run) -> tuple[Records, Records]:
    """The same possessions against the 2-3 and man-to-man by the same five."""

    def both() -> tuple[Records, Records]:
        zone, man = (run.play(run.world(defence=defence), run.n(N_DEFENCE)) for defence in (ZONE, MAN))
        return zone, man

    played: tuple[Records, Records] = run.keep("zone and man-to-man", both)
    return played


def pattern_1(run: Run) -> list[Claim]:
    """Shares by attempts and rebounds; the rest per possession. A fouled shot at the rim counts as one.

    How long the possessions take is told and claims nothing: no source says which should be longer.
    """
    zone, man = zone_and_man(run)
    one = np.ones(len(zone))

    def claim(name: str, what: str, y: tuple[str, ...], x: tuple[str, ...], unit: float, sign: int) -> Claim:
        over = [column(side, *x) if x else one for side in (zone, man)]
        parts = [column(side, *y) / unit for side in (zone, man)]
        gap = quotient_change(parts[0], over[0], parts[1], over[1])
        a, b = (quotient(part, total).mean for part, total in zip(parts, over, strict=True))
        source = PRACTICE
        if "oreb" in y:
            source = "evidence 5: by about .02 to .04, from memory"
        elif y[0] in ("three_attempts", "shooting_fouls"):
            source = ZONE_SEEN
        return Claim(1, name, source, gap if sign > 0 else -gap, f"zone {a:.3f}, man-to-man {b:.3f} {what}")

    threes = ("three_attempts",)
    seconds = " and ".join(f"{column(side, 'time_ms').mean() / 1000:.1f} s" for side in (zone, man))
    return [
        claim("more threes against the zone", "of attempts", threes, ("fga",), 1, 1),
        claim("fewer shots at the rim", "of possessions with one, fouled ones too", ("rim_shot",), (), 1, -1),
        claim("fewer shooting fouls", "per possession", ("shooting_fouls",), (), 1, -1),
        claim("more offensive rebounds", "of rebounds", ("oreb",), ("oreb", "dreb"), 1, 1),
        claim("more passes", f"per possession of {seconds}", ("passes",), (), 1, 1),
    ]


# --- 11: forwards high or low -----------------------------------------------------------------------------

N_WATCHED = 12_000
#: A pass over the top that is caught as near to the rim as this counts as a lob, m.
LOB_M = 3.5
OVER = float(PASS_KINDS.index("over"))


def forwards(run: Run, start: str) -> tuple[World, Watched]:
    """The demo's zone with the option forwards_start, and the events of its first possessions."""
    world = run.world(defence={"options": {"bring_up": "extend", "forwards_start": start}})
    return world, watch(world, SEED, range(run.n(N_WATCHED)), run.threads, run.tick)


def gap_at_threes(run: Run, world: World, events: Watched, region: str) -> Mean:
    """Nearest defender's distance (m) at the release of threes from a region."""
    shots = events[events[:, CODE] == SHOT]
    shots = shots[is_three(world, shots) & (regions(world, shots) == REGIONS.index(region))]
    n = run.n(N_WATCHED)
    return quotient(
        per_possession(shots[:, VALUE], shots[:, ROW], n),
        per_possession(shots[:, ROW] >= 0, shots[:, ROW], n),
    )


def lobs(run: Run, events: Watched) -> Mean:
    """Passes over the top caught near the rim, per possession."""
    flown = events[np.isin(events[:, CODE], (PASS, TOUCH, CATCH))]
    over = np.flatnonzero((flown[:-1, CODE] == PASS) & (flown[:-1, VALUE] == OVER))
    end = flown[over + 1]
    end = end[(end[:, CODE] == CATCH) & (np.hypot(end[:, X], end[:, Y]) < LOB_M)]
    return mean(per_possession(end[:, CODE] == CATCH, end[:, ROW], run.n(N_WATCHED)))


def pattern_11(run: Run) -> list[Claim]:
    """The same possession numbers for both, taken as independent: the two soon part."""
    (world, high), (_, low) = (forwards(run, start) for start in ("high", "low"))
    found = []
    for region, sign in (("wing", -1), ("corner", 1)):
        a, b = (gap_at_threes(run, world, events, region) for events in (high, low))
        better = "closer" if sign < 0 else "farther"
        found.append(
            Claim(
                11,
                f"{region} threes: nearest defender {better} with the forwards high",
                PRACTICE,
                a - b if sign > 0 else b - a,
                f"at the release: high {a.mean:.2f} m, low {b.mean:.2f} m",
            )
        )
    a, b = (lobs(run, events) for events in (high, low))
    figures = (
        f"per 100 possessions: high {100 * a.mean:.2f}, low {100 * b.mean:.2f} (caught within {LOB_M:g} m)"
    )
    return [*found, Claim(11, "more lobs caught at the rim with the forwards high", PRACTICE, a - b, figures)]


# --- 12: better shooters, a weak defender -----------------------------------------------------------------

#: Better outside shooters: this much on the logit of everybody's threes, about .10 of a three of .30.
OUTSIDE_LOGIT = 0.5
#: The best scorer is made a star by this much on the logit of all his shots.
STAR_LOGIT = 0.8
#: A weak defender: slow, short, clumsy.
WEAK_SPEED, WEAK_REACH_M, WEAK_DISCIPLINE = 0.75, -0.10, 0.2
N_WEAK = 60_000


def better_outside(world: World) -> None:
    """Everybody shoots threes better."""
    world["players"]["three_logit"][:, :N_SIDE] += OUTSIDE_LOGIT


def shooters(run: Run) -> Claim:
    """Points per possession gained by better shooters: against the zone minus against man-to-man."""
    gains, figures = [], []
    for name, defence, usual in zip(("zone", "man-to-man"), (ZONE, MAN), zone_and_man(run), strict=True):
        better = run.play(edited(run.world(defence=defence), better_outside), len(usual))
        gains.append(column(better, "points") - column(usual, "points"))
        figures.append(f"{name} {gains[-1].mean():+.3f}")
    text = "points per possession gained: " + ", ".join(figures)
    name = "better outside shooters help more against the zone"
    return Claim(12, name, PRACTICE, mean(gains[0] - gains[1]), text)


def weak(agent: int) -> Edit:
    """The edit that makes one defender (agent 5..9) weak."""

    def edit(world: World) -> None:
        player = world["players"]
        for name in ("top_speed_mps", "slide_mps"):
            player[name][:, agent] *= WEAK_SPEED
        player["reach_m"][:, agent] += WEAK_REACH_M
        player["discipline"][:, agent] = WEAK_DISCIPLINE

    return edit


def star(world: World) -> tuple[int, int, str]:
    """The best outside shooter of the two attackers who stand on the wings, the other one, and his side.

    With the ball at the top; left and right as the defence sees them.
    """
    top = REGIONS.index("top")
    x = [world["spots"][0, top, world["spot_role_of"][0, 1, i], 0] for i in range(N_SIDE)]
    fellow, best = sorted(
        (int(np.argmin(x)), int(np.argmax(x))), key=lambda i: float(world["players"]["three_logit"][0, i])
    )
    return best, fellow, "right" if x[best] > 0 else "left"


def starring(best: int) -> Edit:
    """The edit that makes an attacker a star."""

    def edit(world: World) -> None:
        for name in ("rim_logit", "middle_logit", "three_logit"):
            world["players"][name][:, best] += STAR_LOGIT

    return edit


def weak_pair(run: Run, world: World, there: int, elsewhere: int, name: str, words: tuple[str, str]) -> Claim:
    """Points conceded with one defender weak against those with another weak, agents 5..9."""
    a, b = (
        column(run.play(edited(world, weak(agent)), run.n(N_WEAK)), "points") for agent in (there, elsewhere)
    )
    figures = f"points per possession: {words[0]} {a.mean():.3f}, {words[1]} {b.mean():.3f}"
    return Claim(12, name, PRACTICE, mean(a - b), figures)


def weak_defender(run: Run) -> list[Claim]:
    """In the zone a weak guard or forward on the star's side against the same man on the other side.

    The zone is its own mirror image, so only the place of the star tells the two sides apart. In
    man-to-man the weak man has the star, or the star's fellow on the other wing.
    """
    usual, man = run.world(defence=ZONE), run.world(defence=MAN)
    best, fellow, side = star(usual)
    other = "left" if side == "right" else "right"
    attack, found = edited(usual, starring(best)), []
    for place in ("guard", "forward"):
        there, elsewhere = (N_SIDE + ZONE_PLACES.index(f"{where}_{place}") for where in (side, other))
        name = f"zone: a weak {place} costs more on the best scorer's side"
        words = ("on the scorer's side", "on the other")
        found.append(weak_pair(run, attack, there, elsewhere, name, words))
    there, elsewhere = (N_SIDE + int(np.flatnonzero(man["guards"][0] == one)[0]) for one in (best, fellow))
    name = "man-to-man: a weak defender costs more on the best scorer"
    words = ("on the scorer", "on the other wing's man")
    return [*found, weak_pair(run, edited(man, starring(best)), there, elsewhere, name, words)]


def pattern_12(run: Run) -> list[Claim]:
    """Points on common luck, possession by possession."""
    return [shooters(run), *weak_defender(run)]
