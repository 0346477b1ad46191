"""The patterns a simulated trap should show, measured on one shared run: what the model shows and what not.

``measure()`` plays some 2 million possessions of the demo, on common luck, and returns one ``Part`` for each
claim with its figures; ``lines()`` prints the table. Nothing is tuned here and nothing is excused: a claim
is *shown* when its difference is more than 4 standard errors on the claimed side of zero, *reversed* when
as far on the other side, else *not shown*. Run as a script, it prints the table and
the verdicts as ``test_patterns`` keeps them.

Standard errors are those of sampling only. Possessions are the clusters. Two branches of one possession are
compared possession by possession; different possessions are independent.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.inputs import load_scenario
from engine.kernel.batch import new_scratch, play_list, trace_possession
from engine.pack import pack
from engine.state import COLUMN, EVENTS, N_RECORD, N_SIDE, OUTCOMES, PASS_FLIGHT, PASS_WINDUP

SCENARIO = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
SEED = 20
BLOCK = 4096
#: A claim is shown at this many standard errors.
MARGIN = 4.0
#: Possessions of the base zone and of each call; of branches in which they must be played again from the
#: start; of a short shot clock.
N_BASE, N_CHANGED, N_SHORT_CLOCK = 200_000, 100_000, 80_000
N_TRACED = 500  # possessions with a skip that are traced step by step
DELAYS_S = (0.0, 0.5, 1.0, 1.5)
CALLS = ("corner", "short_corner", "wing", "top")
TURNOVER = (OUTCOMES.index("steal"), OUTCOMES.index("other_turnover"))
ESCAPED = tuple(OUTCOMES.index(name) for name in ("escape_pass", "retreat", "split"))

PATTERNS = {
    1: "zone against man-to-man",
    2: "a call raises turnovers, and rim shots plus open threes",
    3: "a beaten top trap leaves more rim shots than a beaten corner trap",
    4: "value falls with readiness",
    5: "skips meet later close-outs than passes to the next man; a missed bump the latest",
    6: "late-clock shots are worse",
    7: "the trap's turnover rate falls as the second trapper is delayed from 0 to 1.5 s",
    8: "wider sidelines or no backcourt rule lower the corner traps' value",
    9: "dead dribble, middle flash, taller passer, slower passes",
    10: "escapes go back or to the middle",
    11: "forwards starting high or low",
    12: "better outside shooters, a weak defender",
    13: "published rates of the level",
}

Records = NDArray[np.int32]
World = Any
Series = NDArray[Any]


@dataclass(frozen=True)
class Mean:
    """An estimate and its standard error."""

    mean: float
    se: float

    def __sub__(self, other: Mean) -> Mean:
        """Difference of two independent estimates."""
        return Mean(self.mean - other.mean, float(np.hypot(self.se, other.se)))

    def __str__(self) -> str:
        return f"{self.mean:.4f} (se {self.se:.4f})"


@dataclass(frozen=True)
class Part:
    """One claim of a pattern: ``gap`` is claimed to be above zero; ``figures`` are for the reader."""

    pattern: int
    name: str
    source: str
    gap: Mean
    figures: str

    @property
    def verdict(self) -> str:
        z = self.gap.mean / self.gap.se
        return "shown" if z > MARGIN else "reversed" if z < -MARGIN else "not shown"


# --- estimates ------------------------------------------------------------------------------------------


def mean(values: NDArray[Any]) -> Mean:
    """Mean of independent values."""
    return Mean(float(values.mean()), float(values.std(ddof=1) / np.sqrt(len(values))))


def quotient(y: NDArray[Any], x: NDArray[Any]) -> Mean:
    """Sum of y over sum of x, one pair per possession (cluster)."""
    found = float(y.sum() / x.sum())
    return Mean(found, float(np.sqrt(((y - found * x) ** 2).sum()) / x.sum()))


def column(records: Records, *names: str) -> NDArray[np.int64]:
    """Sum of record columns per possession."""
    return records[:, [COLUMN[name] for name in names]].sum(axis=1, dtype=np.int64)


def called(records: Records) -> NDArray[np.bool_]:
    return column(records, "first_call") > 0


def quotient_change(y1: Series, x1: Series, y0: Series, x0: Series) -> Mean:
    """y1 / x1 - y0 / x0, sums over the same possessions (clusters) in two branches."""
    first, second = y1.sum() / x1.sum(), y0.sum() / x0.sum()
    rest = (y1 - first * x1) / x1.sum() - (y0 - second * x0) / x0.sum()
    return Mean(float(first - second), float(np.sqrt((rest**2).sum())))


def lost_in_trap(records: Records) -> NDArray[np.float64]:
    """1 where the first call ended in a turnover in the trap itself, else 0, per called possession."""
    return np.isin(column(records, "outcome")[called(records)], TURNOVER).astype(float)


def saved(home: Records, setting: Records) -> NDArray[np.int64]:
    """Net points saved by the call: home minus setting, 0 where nothing was called."""
    return (column(home, "net") - column(setting, "net")) * called(setting)


# --- playing --------------------------------------------------------------------------------------------


def play(world: World, numbers: Any) -> Records:
    """Records int32 [count, N_RECORD] of possession numbers, or of the first ``numbers`` possessions.

    On two threads; they do not change the result.
    """
    wanted = np.arange(numbers) if isinstance(numbers, int) else numbers
    records = np.zeros((len(wanted), N_RECORD), np.int32)

    def block(start: int) -> None:
        part = slice(start, start + BLOCK)
        play_list(world, SEED, wanted[part], records[part], scratch=new_scratch())

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(block, range(0, len(wanted), BLOCK)))
    return records


def again(name: str, world: World) -> Records:
    """The possessions in which a call was made, played in another world that is the same until the call."""
    return play(world, np.flatnonzero(called(base(name))))


def as_called(name: str, records: Records) -> Records:
    """Records of ``again``; every possession must have been called again."""
    if not called(records).all():
        raise AssertionError(f"{name}: a change behind the call has changed what came before it")
    return records


def changed(world: World, **constants: float) -> World:
    """A copy of a world with other constants."""
    other = world.copy()
    for name, value in constants.items():
        other["k"][name] = value
    return other


def edited(world: World, edit: Callable[[World], None]) -> World:
    """A copy of a world after an edit of its fields."""
    other = world.copy()
    edit(other)
    return other


@cache
def worlds() -> dict[str, World]:
    """ "home" and each call of the demo by its name, alone, as packed."""
    packed = pack(load_scenario(SCENARIO))
    found = {"home": packed.home}
    found |= {one.calls[0]: one.world for one in packed.settings if len(one.calls) == 1}
    return {name: found[name] for name in ("home", *CALLS)}


@cache
def base(name: str) -> Records:
    """The demo as it is: "home" or a call, all on the same possessions."""
    return play(worlds()[name], N_BASE)


# --- the patterns ---------------------------------------------------------------------------------------

PRACTICE = "common practice, no source"
GOOD_SHOTS = ("rim_attempts", "open_threes")


def pattern_2() -> list[Part]:
    """Called possessions against the same possessions at home."""
    home, found = base("home"), []
    for name in CALLS:
        there, chosen = base(name), called(base(name))
        for what, names in (("turnovers", ("turnovers",)), ("rim shots and open threes", GOOD_SHOTS)):
            under, at_home = column(there, *names)[chosen], column(home, *names)[chosen]
            figures = f"{under.mean():.3f} per called possession, {at_home.mean():.3f} at home"
            found.append(Part(2, f"{name}: {what}", PRACTICE, mean(under - at_home), figures))
    return found


def beaten_rim_shots(records: Records) -> Mean:
    """Share of beaten traps (passed, dribbled or split out of) with a rim attempt in the rest."""
    beaten = called(records) & np.isin(column(records, "outcome"), ESCAPED)
    return mean((column(records, "rim_after_call")[beaten] > 0).astype(float))


def pattern_3() -> list[Part]:
    top, corner = (beaten_rim_shots(base(name)) for name in ("top", "corner"))
    figures = f"beaten top {top.mean:.3f}, beaten corner {corner.mean:.3f} with a rim shot later"
    return [Part(3, "top above corner", PRACTICE, top - corner, figures)]


def pattern_5() -> list[Part]:
    home = base("home")
    gaps = [
        quotient(column(home, f"{kind}_gap_mm") / 1000, column(home, f"{kind}_catches"))
        for kind in ("next", "skip", "missed_bump")
    ]
    figures = ", ".join(
        f"{kind} {gap.mean:.2f} m"
        for kind, gap in zip(("next man", "skip", "missed bump"), gaps, strict=True)
    )
    # The three shares of one possession's passes hang together only weakly; taken as independent.
    return [
        Part(5, "skip later than next man", PRACTICE, gaps[1] - gaps[0], figures),
        Part(5, "missed bump later than skip", PRACTICE, gaps[2] - gaps[1], figures),
    ]


#: Seconds of a short shot clock: under 24 s hardly a shot of the demo comes late.
SHORT_CLOCK_S = 14.0


def short_clock(world: World) -> None:
    world["rules"]["shot_clock_s"] = SHORT_CLOCK_S


def field_points(records: Records) -> Series:
    return 2 * column(records, "fgm") + column(records, "three_made")


def pattern_6() -> list[Part]:
    """Professional men (evidence 4, data D1, computed): .81 points per attempt under 4 s, .98 up to 16."""
    usual, short = base("home")[:N_SHORT_CLOCK], play(edited(worlds()["home"], short_clock), N_SHORT_CLOCK)
    late_shots, late_points = column(short, "late_shots"), column(short, "late_points")
    shots, points = column(short, "fga"), field_points(short)
    worse = quotient_change(points - late_points, shots - late_shots, late_points, late_shots)
    late = quotient(late_points, late_shots).mean
    seldom = quotient(column(usual, "late_shots"), column(usual, "fga")).mean
    figures = (
        f"{SHORT_CLOCK_S:g} s clock: {late:.3f} points per attempt under 4 s, {late + worse.mean:.3f} before "
        f"(24 s clock: {seldom:.4f} of attempts come under 4 s, professional men .076)"
    )
    fewer = quotient_change(field_points(usual), column(usual, "fga"), points, shots)
    whole = quotient(points, shots).mean
    both = f"24 s {whole + fewer.mean:.3f} points per attempt, {SHORT_CLOCK_S:g} s {whole:.3f}"
    return [
        Part(6, "late below early", "evidence 4: D1, computed", worse, figures),
        Part(6, "a shorter clock gives worse shots", "Skinner 2012, abstract seen (direction)", fewer, both),
    ]


def pattern_7() -> list[Part]:
    """The same called possessions for every delay; each against the one before, first against last."""
    found = []
    for name in CALLS:
        lost = [
            lost_in_trap(as_called(name, again(name, changed(worlds()[name], second_trapper_delay_s=delay))))
            for delay in DELAYS_S
        ]
        figures = ", ".join(f"{d:g} s {values.mean():.3f}" for d, values in zip(DELAYS_S, lost, strict=True))
        found.append(Part(7, f"{name}: 0 s above 1.5 s", PRACTICE, mean(lost[0] - lost[-1]), figures))
        steps = [mean(a - b) for a, b in zip(lost, lost[1:], strict=False)]
        # Falls smoothly: no step rises. The claim is about the worst step, in its own standard errors.
        worst = min(steps, key=lambda step: step.mean / step.se)
        found.append(Part(7, f"{name}: every step falls", PRACTICE, worst, f"worst step {worst.mean:+.4f}"))
    return found


def pattern_9_dribble() -> list[Part]:
    """A dribbler in a set trap always picks the ball up, or never does; the same called possessions."""
    found = []
    for name in ("corner", "top"):
        dead, live = (
            lost_in_trap(as_called(name, again(name, changed(worlds()[name], set_pick_up_p=p))))
            for p in (1.0, 0.0)
        )
        figures = f"lost in the trap: dribble always picked up {dead.mean():.3f}, never {live.mean():.3f}"
        found.append(Part(9, f"{name}: dead dribble worse than live", PRACTICE, mean(dead - live), figures))
    return found


MIDDLE, FAR = 1, 3
#: A modest gain in shooting: this much on the logit of every shot, about .02 of a shot of .35.
SHOOTING_LOGIT = 0.1


def no_flash(world: World) -> None:
    """The team-mate who would flash to the middle goes where the far one stands instead."""
    world["breaks"][:, :, MIDDLE] = world["breaks"][:, :, FAR]


def better_shooting(world: World) -> None:
    for name in ("rim_logit", "middle_logit", "three_logit"):
        world["players"][name][:, :N_SIDE] += SHOOTING_LOGIT


def pattern_9_flash() -> list[Part]:
    """What the flash takes from a call's value, against what better shooting takes from it."""
    home = base("home")
    home_better = play(edited(worlds()["home"], better_shooting), N_CHANGED)
    found = []
    for name in CALLS:
        there, chosen = base(name), np.flatnonzero(called(base(name)))
        usual = saved(home[chosen], there[chosen])
        without = saved(home[chosen], as_called(name, again(name, edited(worlds()[name], no_flash))))
        flash = mean(without - usual)
        better = play(edited(worlds()[name], better_shooting), N_CHANGED)
        first = there[:N_CHANGED]
        shooting = quotient_change(
            saved(home[:N_CHANGED], first), called(first), saved(home_better, better), called(better)
        )
        figures = (
            f"value {usual.mean():+.3f}; the flash takes {flash.mean:+.3f} (se {flash.se:.3f}), "
            f"better shooting {shooting.mean:+.3f} (se {shooting.se:.3f})"
        )
        # Where better shooting takes nothing from the call, the flash must still take something.
        gap = flash - shooting if shooting.mean > 0 else flash
        found.append(Part(9, f"{name}: flash costs more than shooting", PRACTICE, gap, figures))
    return found


TALLER_M, REACH_PER_HEIGHT = 0.15, 1.33


def taller(world: World) -> None:
    world["players"]["reach_m"][:, :N_SIDE] += REACH_PER_HEIGHT * TALLER_M


def pattern_9_taller() -> list[Part]:
    found = []
    for name in ("home", "top"):
        usual, tall = base(name)[:N_CHANGED], play(edited(worlds()[name], taller), N_CHANGED)
        lost, passes = column(usual, "deflections"), column(usual, "passes")
        fewer = quotient_change(lost, passes, column(tall, "deflections"), column(tall, "passes"))
        before = lost.sum() / passes.sum()
        figures = f"touched passes {before:.4f}, offence {TALLER_M:g} m taller {before - fewer.mean:.4f}"
        found.append(Part(9, f"{name}: taller passers lose fewer passes", PRACTICE, fewer, figures))
    return found


#: The slow ends of the three pass speeds' ranges, m/s.
SLOW = {"pass_speed_direct_mps": 8.0, "pass_speed_bounce_mps": 6.0, "pass_speed_over_mps": 8.0}


def touched_skips(world: World, records: Records) -> Mean:
    """Share of skips that a defender touches, from traces of possessions with a skip (at most N_TRACED)."""
    numbers = np.flatnonzero(column(records, "skips") > 0)[:N_TRACED]
    thrown, touched = np.zeros(len(numbers)), np.zeros(len(numbers))
    released, touch, caught = (EVENTS.index(name) for name in ("pass", "touch", "catch"))
    for row, number in enumerate(numbers.tolist()):
        trace = trace_possession(world, SEED, number)
        mode = trace.states["mode"]
        flights = 1 + np.flatnonzero((mode[1:] == PASS_FLIGHT) & (mode[:-1] == PASS_WINDUP))
        is_skip = trace.states["pass_is_skip"][flights] == 1
        codes = trace.events[np.isin(trace.events[:, 1], (released, touch, caught)), 1]
        after = np.append(codes[1:], released)[codes == released]
        thrown[row], touched[row] = is_skip.sum(), (after[is_skip] == touch).sum()
    return quotient(touched, thrown)


def pattern_9_slower() -> list[Part]:
    """Slower passes are thrown less, so what is left of the skips is the safer part of them."""
    usual, slow_world = base("home")[:N_CHANGED], changed(worlds()["home"], **SLOW)
    slow = play(slow_world, N_CHANGED)
    both = (usual, slow)
    # Hardly one pass in a hundred is a skip, so all passes together stand for the short ones.
    skips = [touched_skips(w, r) for w, r in zip((worlds()["home"], slow_world), both, strict=True)]
    short = [quotient(column(r, "deflections"), column(r, "passes")) for r in both]
    more = (skips[1] - skips[0]) - (short[1] - short[0])
    figures = (
        f"skips {skips[0].mean:.3f} to {skips[1].mean:.3f}, all {short[0].mean:.3f} to {short[1].mean:.3f}"
    )
    found = [Part(9, "slower passes: touched share rises more for skips", PRACTICE, more, figures)]
    gaps = {
        kind: [quotient(column(r, f"{kind}_gap_mm") / 1000, column(r, f"{kind}_catches")) for r in both]
        for kind in ("skip", "next")
    }
    closer = {kind: before - after for kind, (before, after) in gaps.items()}
    figures = ", ".join(f"{kind} {a.mean:.2f} to {b.mean:.2f} m" for kind, (a, b) in gaps.items())
    name = "slower passes: nearest defender at the catch comes closer, more for skips"
    found.append(Part(9, name, PRACTICE, closer["skip"] - closer["next"], figures))
    skip_share = [quotient(column(r, "skips"), column(r, "passes")) for r in both]
    figures = f"skips among passes {skip_share[0].mean:.4f} to {skip_share[1].mean:.4f}"
    name = "slower passes: skips are given up more"
    found.append(Part(9, name, PRACTICE, skip_share[0] - skip_share[1], figures))
    return found


MEASURED = (
    pattern_2, pattern_3, pattern_5, pattern_6, pattern_7,
    pattern_9_dribble, pattern_9_flash, pattern_9_taller, pattern_9_slower,
)  # fmt: skip


def measure() -> list[Part]:
    """Every claim that is measured so far."""
    return [part for pattern in MEASURED for part in pattern()]


def lines(parts: Sequence[Part]) -> list[str]:
    """The table: one line per pattern, and one per claim under it."""
    text, whole = [], 0
    for number, title in PATTERNS.items():
        own = [part for part in parts if part.pattern == number]
        shown = sum(part.verdict == "shown" for part in own)
        whole += bool(own) and shown == len(own)
        state = f"{shown} of {len(own)} claims shown" if own else "not measured here"
        text.append(f"{number:2d}. {title}: {state}")
        text += [f"      {part.verdict:9s} {part.name}: {part.figures}" for part in own]
    text.append(f"{whole} of {len(PATTERNS)} patterns shown whole")
    return text


def record(parts: Sequence[Part]) -> dict[str, str]:
    """Verdict of each claim by its number and name, as ``test_patterns.RECORD`` keeps it."""
    return {f"{part.pattern} {part.name}": part.verdict for part in parts}


if __name__ == "__main__":
    measured = measure()
    print("\n".join(lines(measured)))
    for claim, verdict in record(measured).items():
        print(f'    "{claim}": "{verdict}",')
