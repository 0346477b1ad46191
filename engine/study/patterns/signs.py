"""Pattern 16: who is slower, later, quicker, surer of hand or longer must be worth what everybody knows."""

from __future__ import annotations

import numpy as np

from engine.inputs.defaults import HOME
from engine.run.blocks import World
from engine.state.arrays import N_SIDE
from engine.study.patterns.common import (
    PRACTICE,
    Claim,
    called,
    column,
    lost_in_trap,
    mean,
    quotient,
    quotient_change,
    saved,
)
from engine.study.patterns.playing import CALLS, N_BASE, Edit, Run, constants, edited, edited_plan
from engine.study.patterns.readiness import seen_traps, values

ATTACK, DEFENCE = slice(0, N_SIDE), slice(N_SIDE, 2 * N_SIDE)
SLOWER, LATE_S, QUICK_S, SEEN = 0.8, 1.0, 0.3, 8
#: A better handler: this much of the way from 0 to 1.
HANDLE = 0.25
#: Taller and longer: body height and arm, as the touch of a pass has them, m.
REACH_M, ARM_M = 0.15, 0.1
#: Points differ by about 1.5 a possession between two runs of one number: .02 points are 4 standard errors.
N_LEGS, N_HANDLERS, N_LONG = 120_000, 200_000, 60_000


def slower(side: slice) -> Edit:
    """The edit that makes one side slower, at a run and in a slide."""

    def edit(world: World) -> None:
        for name in ("top_speed_mps", "slide_mps"):
            world["players"][name][:, side] *= SLOWER

    return edit


def surer(world: World) -> None:
    """Every attacker handles the ball better."""
    handle = world["players"]["handle"][:, ATTACK]
    world["players"]["handle"][:, ATTACK] = np.minimum(handle + HANDLE, 1.0)


def longer(world: World) -> None:
    """Every defender is taller and has longer arms."""
    world["players"]["reach_m"][:, DEFENCE] += REACH_M
    world["k"]["arm_reach_m"] += ARM_M


def legs(run: Run) -> list[Claim]:
    """Points conceded by slower defenders, and scored by slower attackers, against the demo as it is."""
    home = run.base(HOME, N_LEGS)
    found = []
    for name, side, sign in (
        ("slower defenders concede more", DEFENCE, 1),
        ("slower attackers score less", ATTACK, -1),
    ):
        slow = run.play(edited(run.demo().home, slower(side)), len(home))
        change = column(slow, "points") - column(home, "points")
        figures = f"speeds times {SLOWER:g}: {change.mean():+.3f} points per possession, n {len(home):,}"
        found.append(Claim(16, name, PRACTICE, mean(sign * change), figures))
    return found


def late_man(run: Run, name: str) -> Claim:
    """Turnovers in all traps of a call, set or not, with the second man late, and not."""
    now, late = (
        lost_in_trap(run.again(name, constants(second_trapper_delay_s=s), N_BASE)) for s in (0.0, LATE_S)
    )
    figures = f"lost in {len(now):,} calls {mean(now).mean:.3f}, {LATE_S:g} s late {mean(late).mean:.3f}"
    return Claim(16, f"{name}: a late second man gets fewer turnovers", PRACTICE, mean(now - late), figures)


def readers(run: Run, name: str) -> list[Claim]:
    """Worth of a call to an offence that reads traps quicker, or has seen some."""
    home, there = run.base(HOME, N_BASE), run.base(name, N_BASE)
    usual = saved(home, there)[called(there)]
    then = values(run, name, N_BASE, constants(handler_read_s=QUICK_S, read_delay_s=QUICK_S))
    figures = f"saved per call {mean(usual).mean:+.3f}, then {mean(then).mean:+.3f}, n {len(then):,}"
    quicker = Claim(16, f"{name}: quicker readers lower its worth", PRACTICE, mean(usual - then), figures)
    new, wise = seen_traps(run, 0), seen_traps(run, SEEN)
    less = quotient_change(
        saved(new[HOME], new[name]),
        called(new[name]),
        saved(wise[HOME], wise[name]),
        called(wise[name]),
    )
    before, after = (quotient(saved(one[HOME], one[name]), called(one[name])).mean for one in (new, wise))
    count = int(called(wise[name]).sum())
    figures = f"saved per call {before:+.3f}, {SEEN} traps seen {after:+.3f}, n {count:,}"
    return [quicker, Claim(16, f"{name}: seen traps lower its worth", PRACTICE, less, figures)]


def handlers(run: Run) -> list[Claim]:
    """Turnovers in the traps of each call with better handlers; they play the whole possession."""
    better = run.branches(edited_plan(run.demo(), surer), run.n(N_HANDLERS))
    found = []
    for name in CALLS:
        usual, then = run.base(name, N_HANDLERS), better[name]
        lost = []
        for records in (usual, then):
            one = np.zeros(len(records))
            one[called(records)] = lost_in_trap(records)
            lost.append(one)
        fewer = quotient_change(lost[0], called(usual), lost[1], called(then))
        before = quotient(lost[0], called(usual)).mean
        figures = (
            f"lost per call {before:.3f}, handling {HANDLE:g} better {before - fewer.mean:.3f}, "
            f"n {int(called(usual).sum()):,}"
        )
        found.append(Claim(16, f"{name}: better handlers lose the ball less in it", PRACTICE, fewer, figures))
    return found


def long_defenders(run: Run) -> Claim:
    """Share of passes that a defender touches."""
    usual = run.base(HOME, N_LONG)
    long = run.play(edited(run.demo().home, longer), len(usual))
    before, after = ((column(one, "deflections"), column(one, "passes")) for one in (usual, long))
    more = quotient_change(*after, *before)
    figures = (
        f"touched passes {quotient(*before).mean:.4f}, defenders' reach {REACH_M:g} m and arms {ARM_M:g} m "
        f"longer {quotient(*after).mean:.4f}, n {len(usual):,}"
    )
    return Claim(16, "taller and longer defenders touch more passes", PRACTICE, more, figures)


def pattern_16(run: Run) -> list[Claim]:
    """Signs that nobody who knows the game doubts, each at a number of possessions that settles it."""
    claims = [*legs(run)]
    for name in CALLS:
        claims += [late_man(run, name), *readers(run, name)]
    return [*claims, *handlers(run), long_defenders(run)]
