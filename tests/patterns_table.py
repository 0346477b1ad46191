"""The patterns of the model page, section 7, measured on one shared run: what the model shows and what not.

``measure()`` plays about 1.5 million possessions of the demo, on common luck, and returns one ``Part`` for
each claim with its figures; ``lines()`` prints the table. Nothing is tuned here and nothing is excused: a claim
is *shown* when its difference is more than 4 standard errors on the claimed side of zero, *reversed* when
as far on the other side, else *not shown*. Run as a script, it prints the table.

Standard errors are those of sampling only. Possessions are the clusters. Two branches of one possession are
compared possession by possession; different possessions are independent.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.inputs import load_scenario
from engine.kernel.batch import new_scratch, play_list, trace_possession
from engine.pack import pack
from engine.state import CALL, COLUMN, EVENTS, N_RECORD, N_SIDE, OUTCOMES, PASS_FLIGHT, PASS_WINDUP

SCENARIO = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
SEED = 20
BLOCK = 4096
#: A claim is shown at this many standard errors.
MARGIN = 4.0
#: Possessions of each branch: the base zone and each call, each of them changed, the races of trapper delays.
N_BASE, N_CHANGED, N_DELAY, N_SHORT_CLOCK = 160_000, 100_000, 60_000, 60_000
#: Possessions that are traced step by step for what became of short passes; skips are all looked for.
N_TRACED = 400
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


def lost_in_trap(records: Records) -> Mean:
    """Share of first calls that end in a turnover in the trap itself."""
    return mean(np.isin(column(records, "outcome")[called(records)], TURNOVER).astype(float))


def saved(home: Records, setting: Records) -> NDArray[np.int64]:
    """Net points saved by each first call: home minus setting, possession by possession."""
    chosen = called(setting)
    return (column(home, "net") - column(setting, "net"))[chosen]


# --- playing --------------------------------------------------------------------------------------------


def play(world: World, count: int, seed: int = SEED, first: int = 0) -> Records:
    """Records int32 [count, N_RECORD], played on two threads (they do not change the result)."""
    records = np.zeros((count, N_RECORD), np.int32)

    def block(start: int) -> None:
        stop = min(start + BLOCK, count)
        numbers = np.arange(first + start, first + stop, dtype=np.uint64)
        play_list(world, seed, numbers, records[start:stop], scratch=new_scratch())

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(block, range(0, count, BLOCK)))
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


@lru_cache(maxsize=1)
def worlds() -> dict[str, World]:
    """ "home" and each call of the demo by its name, alone, as packed."""
    packed = pack(load_scenario(SCENARIO))
    found = {"home": packed.home}
    found |= {one.calls[0]: one.world for one in packed.settings if len(one.calls) == 1}
    return {name: found[name] for name in ("home", *CALLS)}


@lru_cache(maxsize=1)
def base() -> dict[str, Records]:
    """The demo as it is: home and each call on the same possessions."""
    return {name: play(world, N_BASE) for name, world in worlds().items()}


# --- the patterns ---------------------------------------------------------------------------------------

PRACTICE = "common practice, no source"


def pattern_2() -> list[Part]:
    """Called possessions against the same possessions at home."""
    home, found = base()["home"], []
    for name in CALLS:
        there, chosen = base()[name], called(base()[name])
        for what, names in (("turnovers", ("turnovers",)), ("rim shots and open threes", GOOD_SHOTS)):
            under, at_home = column(there, *names)[chosen], column(home, *names)[chosen]
            figures = f"{under.mean():.3f} per called possession, {at_home.mean():.3f} at home"
            found.append(Part(2, f"{name}: {what}", PRACTICE, mean(under - at_home), figures))
    return found


GOOD_SHOTS = ("rim_attempts", "open_threes")


def beaten_rim_shots(records: Records) -> Mean:
    """Share of beaten traps (passed, dribbled or split out of) with a rim attempt in the rest."""
    beaten = called(records) & np.isin(column(records, "outcome"), ESCAPED)
    return mean((column(records, "rim_after_call")[beaten] > 0).astype(float))


def pattern_3() -> list[Part]:
    top, corner = (beaten_rim_shots(base()[name]) for name in ("top", "corner"))
    figures = f"beaten top {top.mean:.3f}, beaten corner {corner.mean:.3f} with a rim shot later"
    return [Part(3, "top above corner", PRACTICE, top - corner, figures)]


def pattern_5() -> list[Part]:
    home = base()["home"]
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


#: Seconds of the short shot clock of pattern 6: under 24 s hardly a shot of the demo comes late.
SHORT_CLOCK_S = 14.0
LATE_S = 4.0


@lru_cache(maxsize=1)
def shot_values() -> dict[str, Mean]:
    """Points per field goal attempt of possessions with one attempt, with under 4 s left and with more."""

    def short(world: World) -> None:
        world["rules"]["shot_clock_s"] = SHORT_CLOCK_S

    records = play(edited(worlds()["home"], short), N_SHORT_CLOCK)
    one = (column(records, "fga") == 1) & (column(records, "oreb") == 0)
    left, points = (
        column(records, "shot_clock_left_ms"),
        2 * column(records, "fgm") + column(records, "three_made"),
    )
    late = left < 1000 * LATE_S
    return {"late": mean(points[one & late]), "early": mean(points[one & ~late])}


def pattern_6() -> list[Part]:
    """Evidence 4, data D1 (professional men): .81 points per attempt under 4 s, .97 from 4 to 16 s."""
    late, early = shot_values()["late"], shot_values()["early"]
    figures = f"{late.mean:.3f} points per attempt under {LATE_S:g} s, {early.mean:.3f} before"
    return [Part(6, "late below early", "evidence 4: D1, computed", early - late, figures)]


@lru_cache(maxsize=1)
def lost_by_delay() -> dict[str, list[Mean]]:
    """Turnover rate in the trap by call, one for each delay of the second trapper."""
    return {
        name: [
            lost_in_trap(play(changed(worlds()[name], second_trapper_delay_s=delay), N_DELAY))
            for delay in DELAYS_S
        ]
        for name in CALLS
    }


def pattern_7() -> list[Part]:
    found = []
    for name, rates in lost_by_delay().items():
        figures = ", ".join(f"{d:g} s {rate.mean:.3f}" for d, rate in zip(DELAYS_S, rates, strict=True))
        found.append(Part(7, f"{name}: 0 s above 1.5 s", PRACTICE, rates[0] - rates[-1], figures))
    return found


def pattern_9_dribble() -> list[Part]:
    """A dribbler in a set trap always picks the ball up, or never does."""
    found = []
    for name in ("corner", "top"):
        dead, live = (
            lost_in_trap(play(changed(worlds()[name], set_pick_up_p=p), N_CHANGED)) for p in (1.0, 0.0)
        )
        figures = f"lost in the trap: dribble always picked up {dead.mean:.3f}, never {live.mean:.3f}"
        found.append(Part(9, f"{name}: dead dribble worse than live", PRACTICE, dead - live, figures))
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
    home = base()["home"][:N_CHANGED]
    home_better = play(edited(worlds()["home"], better_shooting), N_CHANGED)
    found = []
    for name in ("corner", "wing", "top"):
        world, usual = worlds()[name], mean(saved(home, base()[name][:N_CHANGED]))
        without = mean(saved(home, play(edited(world, no_flash), N_CHANGED)))
        better = mean(saved(home_better, play(edited(world, better_shooting), N_CHANGED)))
        # (without - usual) - (usual - better) = without + better - 2 usual, taken as independent.
        gap = Mean(
            without.mean + better.mean - 2 * usual.mean,
            float(np.sqrt(without.se**2 + better.se**2 + 4 * usual.se**2)),
        )
        figures = f"value {usual.mean:+.3f}; no flash {without.mean:+.3f}; better shooting {better.mean:+.3f}"
        found.append(Part(9, f"{name}: flash costs more than shooting", PRACTICE, gap, figures))
    return found


TALLER_M = 0.15
REACH_PER_HEIGHT = 1.33


def taller(world: World) -> None:
    world["players"]["reach_m"][:, :N_SIDE] += REACH_PER_HEIGHT * TALLER_M


def pattern_9_taller() -> list[Part]:
    found = []
    for name in ("home", "top"):
        usual, tall = (
            quotient(column(r, "deflections"), column(r, "passes"))
            for r in (base()[name][:N_CHANGED], play(edited(worlds()[name], taller), N_CHANGED))
        )
        figures = f"touched passes {usual.mean:.4f}, with an offence {TALLER_M:g} m taller {tall.mean:.4f}"
        found.append(Part(9, f"{name}: taller passers lose fewer passes", PRACTICE, usual - tall, figures))
    return found


#: The slow ends of the three pass speeds' ranges, m/s.
SLOW = {"pass_speed_direct_mps": 8.0, "pass_speed_bounce_mps": 6.0, "pass_speed_over_mps": 8.0}


def passes_caught(world: World, numbers: Sequence[int]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Traced possessions: int64 [n, 2] passes and passes caught, column 0 short passes, column 1 skips."""
    thrown, caught = (np.zeros((len(numbers), 2), np.int64) for _ in range(2))
    ends = [EVENTS.index(name) for name in ("pass", "catch", "touch", "loose", "turnover")]
    for row, number in enumerate(numbers):
        trace = trace_possession(world, SEED, number)
        mode = trace.states["mode"]
        left = 1 + np.flatnonzero((mode[1:] == PASS_FLIGHT) & (mode[:-1] == PASS_WINDUP))
        skips = trace.states["pass_is_skip"][left]
        codes = [int(code) for code in trace.events[:, 1] if int(code) in ends]
        released = [i for i, code in enumerate(codes) if code == ends[0]]
        if len(released) != len(skips):
            raise AssertionError(f"possession {number}: {len(released)} passes, {len(skips)} flights")
        for i, skip in zip(released, skips, strict=True):
            thrown[row, skip] += 1
            caught[row, skip] += i + 1 < len(codes) and codes[i + 1] == ends[1]
    return thrown, caught


def pattern_9_slower() -> list[Part]:
    gap: dict[str, list[Mean]] = {"next": [], "skip": []}
    lost: dict[str, list[Mean]] = {"next": [], "skip": []}
    thrown: dict[str, list[Mean]] = {"next": [], "skip": []}
    for world, played in (
        (worlds()["home"], base()["home"][:N_CHANGED]),
        (slow := changed(worlds()["home"], **SLOW), play(slow, N_CHANGED)),
    ):
        skips = np.flatnonzero(column(played, "skips") > 0)[:N_TRACED].tolist()
        for kind, numbers, index in (("next", list(range(N_TRACED)), 0), ("skip", skips, 1)):
            passes, caught = passes_caught(world, numbers)
            lost[kind].append(quotient(passes[:, index] - caught[:, index], passes[:, index]))
            distance = column(played, f"{kind}_gap_mm") / 1000
            gap[kind].append(quotient(distance, column(played, f"{kind}_catches")))
        all_skips = column(played, "skips")
        thrown["skip"].append(mean(all_skips))
        thrown["next"].append(mean(column(played, "passes") - all_skips))
    found = []
    for what, how, table, sign in (
        ("lost share", "rises more", lost, 1),
        ("close-out distance at the catch, m", "falls more", gap, -1),
    ):
        skip, short = (table[kind][1] - table[kind][0] for kind in ("skip", "next"))
        more = skip - short
        figures = "; ".join(
            f"{word} {table[kind][0].mean:.4f} to {table[kind][1].mean:.4f}"
            for word, kind in (("skips", "skip"), ("short passes", "next"))
        )
        found.append(
            Part(
                9,
                f"slower passes: {what} {how} for skips",
                PRACTICE,
                Mean(sign * more.mean, more.se),
                figures,
            )
        )
    ratio = {kind: rates[1].mean / rates[0].mean for kind, rates in thrown.items()}
    # Delta method for the difference of two ratios of independent means.
    error = {
        kind: ratio[kind] * float(np.hypot(a.se / a.mean, b.se / b.mean)) for kind, (a, b) in thrown.items()
    }
    figures = f"thrown, slow over usual: skips {ratio['skip']:.3f}, short passes {ratio['next']:.3f}"
    fewer = Mean(ratio["next"] - ratio["skip"], float(np.hypot(error["next"], error["skip"])))
    found.append(Part(9, "slower passes: skips are given up more", PRACTICE, fewer, figures))
    return found


MEASURED = (
    pattern_2,
    pattern_3,
    pattern_5,
    pattern_6,
    pattern_7,
    pattern_9_dribble,
    pattern_9_flash,
    pattern_9_taller,
    pattern_9_slower,
)


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


if __name__ == "__main__":
    print("\n".join(lines(measure())))
