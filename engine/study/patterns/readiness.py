"""Patterns of what a call is worth: to an offence that has seen it, and on another court."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from engine.inputs.defaults import HOME
from engine.run.blocks import World
from engine.study.patterns.common import (
    PRACTICE,
    Claim,
    Mean,
    Records,
    Series,
    called,
    column,
    mean,
    quotient,
    quotient_change,
    saved,
    settled,
    trend,
    was_set,
)
from engine.study.patterns.playing import CALLS, Changes, Edit, Run, constants, edited, edited_plan, rules

# --- 4: readiness -----------------------------------------------------------------------------------------

TRAPS_SEEN = (0, 2, 8)
N_READY, N_EXACT, N_OFTEN = 200_000, 20_000, 40_000
#: Trapping at every chance, so that the offence has seen 8, against one chance in four: it has seen 2.
OFTEN, SELDOM = (1.0, 8), (0.25, 2)


def values(run: Run, name: str, count: int, edit: Edit) -> Series:
    """Net points saved by a call in each called possession, in a world changed after the call."""
    home = run.base(HOME, count)[called(run.base(name, count))]
    return saved(home, run.again(name, edit, count))


def without_readiness(seen: int) -> Edit:
    """The edit that lets the offence have seen traps, to no effect."""

    def edit(world: World) -> None:
        rules(traps_seen=seen)(world)
        constants(readiness_per_trap=0.0)(world)

    return edit


def often(run: Run, name: str) -> Claim:
    """Net points of a possession: trapping at every chance and seldom, each with the traps then seen."""

    def at(probability: float, seen: int) -> Edit:
        def edit(world: World) -> None:
            world["calls"]["probability"][:, 0] = probability
            rules(traps_seen=seen)(world)

        return edit

    world = run.world(name, calls=(name,))
    every, sometimes = (
        column(run.play(edited(world, at(*how)), run.n(N_OFTEN)), "net") for how in (OFTEN, SELDOM)
    )
    figures = (
        f"net points per 100 possessions: every time, {OFTEN[1]} traps seen {100 * every.mean():.1f}; "
        f"1 time in {1 / SELDOM[0]:g}, {SELDOM[1]} seen {100 * sometimes.mean():.1f}"
    )
    name = f"{name}: every time worse than sometimes, offence adapted"
    return Claim(4, name, PRACTICE, mean(every - sometimes), figures)


def seen_traps(run: Run, seen: int) -> dict[str, Records]:
    """The demo against an offence that has seen so many traps: staying home and each call, kept.

    Who expects a trap looks up sooner in every possession, so home is played again, too.
    """
    if seen == 0:
        return {name: run.base(name, N_READY) for name in (HOME, *CALLS)}
    planned = edited_plan(run.demo(), rules(traps_seen=seen))
    found: dict[str, Records] = run.keep(f"seen {seen}", lambda: run.branches(planned, run.n(N_READY)))
    return found


def pattern_4(run: Run) -> list[Claim]:
    """What a call saves by how many traps the offence has seen; "adapted": it has seen as many as it would
    have after the same chances in the game."""
    found = []
    for name in CALLS:
        levels = [seen_traps(run, seen) for seen in TRAPS_SEEN]
        saves = [saved(level[HOME], level[name]) for level in levels]
        calls = [called(level[name]) for level in levels]
        worths = (quotient(y, x) for y, x in zip(saves, calls, strict=True))
        figures = "saved per call, traps seen: " + ", ".join(
            f"{seen} {one.mean:+.3f}" for seen, one in zip(TRAPS_SEEN, worths, strict=True)
        )
        fall = -trend(TRAPS_SEEN, saves, calls)
        found.append(Claim(4, f"{name}: value falls with traps seen", PRACTICE, fall, figures))
        zero = values(run, name, N_EXACT, without_readiness(0))
        differs = values(run, name, N_EXACT, without_readiness(TRAPS_SEEN[-1])) - zero
        text = f"{int(np.count_nonzero(differs))} of {len(differs)} called possessions differ"
        found.append(
            Claim(4, f"{name}: unchanged where readiness is 0", "by construction", mean(differs), text, True)
        )
        found.append(often(run, name))
    return found


# --- 8: the lines ------------------------------------------------------------------------------------------

#: Both sidelines pushed out by this much, m.
PUSHED_M = 3.0
N_LINES = 60_000
#: The upper end of start_spread_m: where across the court the ball comes up, m.
WIDE_START_M = 6.0


def court_width(run: Run) -> float:
    """Width of the demo's court, m."""
    return 2.0 * float(run.world()["rules"]["half_width_m"][0])


class Worth(NamedTuple):
    """Net points saved where the trap was set, and 1 where it was, per possession; how many calls."""

    saved: Series
    sets: Series
    calls: int

    @property
    def per_set(self) -> Mean:
        """Value of a trap that was set."""
        return quotient(self.saved, self.sets)


def worth(home: Records, setting: Records) -> Worth:
    """What a setting saved beside staying home, where its trap was set."""
    sets = was_set(setting)
    return Worth(saved(home, setting) * sets, sets, int(called(setting).sum()))


def played(run: Run, call: str, changes: Changes) -> Worth:
    """The worth of a call in a variant of the demo."""
    found = run.branches(run.plan(**(changes | {"calls": (call,)})), run.n(N_LINES))
    return worth(found[HOME], found[call])


def lines_claim(call: str, what: str, usual: Worth, other: Worth) -> Claim:
    """The value of a set trap with the demo's lines against its value without one of them."""
    gap = settled(quotient_change(usual.saved, usual.sets, other.saved, other.sets), usual.sets, other.sets)
    before, after = usual.per_set, other.per_set
    told = [f"{int(one.sets.sum()):,} of {one.calls:,} calls set" for one in (usual, other)]
    figures = f"in {len(usual.sets):,} possessions {told[0]} as it is, {told[1]} {what}"
    if min(usual.sets.sum(), other.sets.sum()) > 0:
        figures += (
            f"; saved per set trap {before.mean:+.3f} (se {before.se:.3f}) and "
            f"{after.mean:+.3f} (se {after.se:.3f})"
        )
    return Claim(8, f"{call}: worth less {what}", PRACTICE, gap, figures)


def pattern_8(run: Run) -> list[Claim]:
    """Sidelines for the corners, the backcourt rule for the traps at half court.

    With the sidelines, the places of the half-court corner move out; those round the arc stay. Before a trap
    in the half-court corner the ball is brought up anywhere across the court and the zone steers the dribbler
    to a side: from the demo's narrower start it never crosses half court in a corner.
    """
    wide = {"court.width_m": court_width(run) + 2.0 * PUSHED_M}
    wider = f"with the sidelines {PUSHED_M:g} m farther out"
    no_count = {"clock.backcourt_s": 0.0}
    dropped = "without the backcourt rule"
    steer: Changes = {
        "defence": {"options": {"bring_up": "steer"}},
        "constants": {"start_spread_m": WIDE_START_M},
    }
    corner, top = (worth(run.base(HOME, N_LINES), run.base(name, N_LINES)) for name in ("corner", "top"))
    half = played(run, "half_court_corner", steer)
    half_wide, half_free = (
        played(run, "half_court_corner", steer | {"rules_changes": changes}) for changes in (wide, no_count)
    )
    return [
        lines_claim("corner", wider, corner, played(run, "corner", {"rules_changes": wide})),
        lines_claim("half_court_corner", wider, half, half_wide),
        lines_claim("half_court_corner", dropped, half, half_free),
        lines_claim("top", dropped, top, played(run, "top", {"rules_changes": no_count})),
    ]
