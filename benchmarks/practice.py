"""The model beside practice and tracking: four tables that say how near its floor is to the real one.

    python benchmarks/practice.py                  all four, about 40,000 possessions each
    python benchmarks/practice.py -n 4000 traps    one, small; tables: traps, tracking, clock, zone

traps: per 100 calls of the demo's traps on an offence that has seen none, beside what practice has (no
source: plausibility, never fitted). tracking: movement and spacing of the professional level, man-to-man and
2-3, and what follows two men on the ball, beside open tracking data. clock: points and turnovers by shot
clock; a fall by more than 2.5 standard errors is marked. zone: the 2-3 and man-to-man by the same ten, z of
the difference. Errors (+-) are one standard error of sampling.
"""

from __future__ import annotations

import argparse
from math import hypot, sqrt

import numpy as np

from engine.inputs import load_scenario
from engine.inputs.defaults import HOME
from engine.kernel.watch import Trace
from engine.run.watch import watch_numbers
from engine.state.arrays import N_SIDE
from engine.state.words import AFTER, OUTCOMES, Event, Loss
from engine.study.levels import RateTally, rates_of, standard_error
from engine.study.patterns.common import Mean, Records, called, column, mean, median
from engine.study.patterns.defences import MAN, ZONE
from engine.study.patterns.level import PRO
from engine.study.patterns.playing import CALLS, DEMO, SEED, Run, edited, rules
from engine.study.tracking import measured, published, tracked
from engine.world.pack import pack

#: Practice, no source (school to college, first traps of a game), per 100 calls, in the order of CALLS.
PRACTICE = {
    "two men on him (set)": ((50, 80), (50, 75), (50, 80), (40, 65)),
    "call or catch to closed, s": ((0.7, 1.3), (0.5, 1.0), (0.5, 1.2), (0.7, 1.5)),
    "turnovers in it": ((12, 22), (12, 20), (10, 20), (14, 25)),
    "held balls": ((1, 2), (1, 2), (1, 2), (1, 3)),
    "fouls": ((3, 8), (5, 12), (4, 10), (5, 12)),
    "passes out": ((50, 65), (45, 60), (50, 65), (50, 65)),
    "retreat or split": ((4, 12), (3, 8), (8, 15), (8, 18)),
    "his own shot": ((8, 18), (12, 22), (4, 12), (0, 2)),
    "of 100 escapes: rim": ((12, 25), (15, 25), (18, 30), (25, 40)),
    "of 100 escapes: open three": ((12, 22), (10, 20), (12, 20), (10, 20)),
    "of 100 escapes: reset": ((35, 50), (30, 45), (30, 45), (25, 40)),
}
#: Tracking of two men on the ball (professional men 2015-16, possessions that scored; the source of
#: engine/study/tracking.toml): medians. Two defenders within 2 m of him for 0.5 s or more.
TWO_ON_IT = {
    "second man from 4 m to 2 m, s": 0.96,
    "pass out: receiver's nearest man at the catch, m": 2.92,
    "... 0.5 s later, m": 2.10,
    "... 1.0 s later, m": 1.53,
    "... 1.5 s later, m": 1.44,
}
TWO_M, FROM_M, TWO_S = 2.0, 4.0, 0.5
LATER_S = (0.0, 0.5, 1.0, 1.5)
CLOCKS_S = (10.0, 14.0, 18.0, 24.0, 30.0, 40.0, 60.0)
LEVELS = ("school", "college", "professional")
SIX = "six_defences"
FALL = 2.5
#: What a zone changes, of the rates of engine.study.levels.
ZONE_RATES = (
    "points_per_possession",
    "three_attempts",
    "rim_attempts",
    "free_throws_attempted",
    "turnovers_per_possession",
    "offensive_rebound",
    "passes",
)


def share(hit: np.ndarray) -> Mean:
    """Per 100, with the error of one event where there was none."""
    n = len(hit)
    if n == 0:
        return Mean(float("nan"), float("nan"))
    p = float(np.mean(hit))
    return Mean(100.0 * p, 100.0 * max(sqrt(p * (1.0 - p) / n), 1.0 / n if p in (0.0, 1.0) else 0.0))


def text(value: Mean, decimals: int = 0) -> str:
    return f"{value.mean:.{decimals}f} +-{value.se:.{max(decimals, 1)}f}"


def closed_s(trace: Trace) -> float:
    """Seconds from the call, or the trapped man's catch where that was later, to two men on him."""
    events = trace.events
    times, code = events[:, 0], events[:, 1]
    call = np.flatnonzero(code == Event.CALL)[0]
    closed = np.flatnonzero(code == Event.TRAP_SET)[0]
    caught = np.flatnonzero((code == Event.CATCH) & (np.arange(len(code)) < closed))
    began = max(times[call], times[caught[-1]] if len(caught) else 0.0)
    return float(times[closed] - began)


def of_calls(records: Records) -> dict[str, Mean]:
    """Lines of PRACTICE from the records of called possessions."""
    outcome, after = column(records, "outcome"), column(records, "after")
    own = column(records, "trapped_shot") > 0
    lost = np.isin(outcome, [OUTCOMES.index(name) for name in ("steal", "other_turnover")])
    out = outcome == OUTCOMES.index("escape_pass")
    dribbled = np.isin(outcome, [OUTCOMES.index(name) for name in ("retreat", "split")])
    escaped = out | dribbled
    held = lost & (column(records, "lost_by") == Loss.HELD_BALL + 1)
    found = {
        "two men on him (set)": column(records, "trap_set") > 0,
        "turnovers in it": lost,
        "held balls": held,
        "fouls": (outcome == OUTCOMES.index("foul")) & ~own,
        "passes out": out,
        "retreat or split": dribbled,
        "his own shot": own,
    }
    for word, name in (("rim", "rim_shot"), ("open three", "open_three"), ("reset", "reset")):
        found[f"of 100 escapes: {word}"] = (after == AFTER.index(name))[escaped]
    return {name: share(hit) for name, hit in found.items()}


def traps(n: int, threads: int | None) -> None:
    run = Run(1.0, threads, lambda: None)
    played = run.branches(run.plan(calls=CALLS, probability=1.0), n)
    lines: dict[str, list[Mean]] = {name: [] for name in PRACTICE}
    counts, worths, made_of = [], [], []
    for name in CALLS:
        records, home = played[name], played[HOME]
        chosen = called(records)
        one = of_calls(records[chosen])
        sets = np.flatnonzero(chosen & (column(records, "trap_set") > 0))
        world = run.world(name, calls=CALLS, probability=1.0)
        seconds = [
            closed_s(trace)
            for block in watch_numbers(world, SEED, sets, threads=threads)
            for trace in block.traces()
        ]
        one["call or catch to closed, s"] = median(np.array(seconds))
        for line in PRACTICE:
            lines[line].append(one[line])
        counts.append(int(chosen.sum()))
        worths.append(mean((column(home, "net") - column(records, "net"))[chosen].astype(float)))
        in_trap = chosen & np.isin(column(records, "outcome"), (0, 1))
        by = np.bincount(column(records, "lost_by")[in_trap], minlength=len(Loss) + 1)[1:]
        words = (f"{Loss(i).word} {100 * k / max(chosen.sum(), 1):.1f}" for i, k in enumerate(by))
        made_of.append(", ".join(words))
    print(f"Per 100 calls on {DEMO}, no trap seen before; practice in brackets, * outside it by 2 errors")
    print(f"{'':<28}" + "".join(f"{name:>26}" for name in CALLS))
    print(f"{'calls':<28}" + "".join(f"{k:>26,}" for k in counts))
    for line, ranges in PRACTICE.items():
        cells = []
        for value, (low, high) in zip(lines[line], ranges, strict=True):
            out = value.mean < low - 2 * value.se or value.mean > high + 2 * value.se
            decimals = 1 if high < 4 else 0
            cells.append(f"{text(value, decimals)} [{low:g}-{high:g}]{'*' if out else ' '}")
        print(f"{line:<28}" + "".join(f"{cell:>26}" for cell in cells))
    print(f"{'saved per call':<28}" + "".join(f"{text(value, 3):>26}" for value in worths))
    for name, parts in zip(CALLS, made_of, strict=True):
        print(f"lost per 100 calls, {name}: {parts}")
    for name, records in played.items():
        rate = mean(column(records, "held_balls").astype(float))
        print(f"held balls per possession, {name}: {text(rate, 4)}")


def two_on_it(trace: Trace, dt: float) -> list[tuple[str, float]]:
    """What TWO_ON_IT measures, of the first time two defenders were on the ball's holder."""
    s, x, y = trace.states, trace.agents["x"], trace.agents["y"]
    step = np.arange(len(s))
    h = s["handler"]
    gap = np.hypot(x[:, N_SIDE:] - x[step, h][:, None], y[:, N_SIDE:] - y[step, h][:, None])
    two = (np.sort(gap, axis=1)[:, 1] < TWO_M) & (s["mode"] <= 1)
    long = round(TWO_S / dt)
    starts = [i for i in range(len(two) - long) if two[i : i + long].all()]
    if not starts:
        return []
    first = starts[0]
    second = int(np.argsort(gap[first])[1])
    before = np.flatnonzero((gap[:first, second] > FROM_M) & (h[:first] == h[first]))
    names = list(TWO_ON_IT)
    found = [(names[0], (first - before[-1] - 1) * dt)] if len(before) else []
    after = trace.events[trace.events[:, 0] > s["t"][first]]
    after = after[np.isin(after[:, 1], (Event.CATCH, Event.SHOT, Event.END, Event.TURNOVER, Event.THROW_IN))]
    if len(after) and after[0, 1] == Event.CATCH:
        who = int(after[0, 2])
        caught = int(np.searchsorted(s["t"], after[0, 0] - 1e-6))
        for name, later in zip(names[1:], LATER_S, strict=True):
            at = caught + round(later / dt)
            if at < len(s) and (s["handler"][caught : at + 1] == who).all():
                found.append(
                    (name, float(np.hypot(x[at, N_SIDE:] - x[at, who], y[at, N_SIDE:] - y[at, who]).min()))
                )
    return found


def tracking(n: int, threads: int | None) -> None:
    run = Run(1.0, threads, lambda: None)
    source, quantities = published()
    sides = []
    for defence in (MAN, ZONE):
        world = run.world(scenario=PRO, defence=defence)
        sides.append(tracked(world, SEED, np.arange(n), threads))
    print(
        f"\nProfessional level against tracking ({source.split('(')[0].strip()}); * off by more than a fifth"
    )
    print(f"{'':<66}{'data':>8}{'man-to-man':>18}{'2-3':>18}")
    for one in quantities:
        cells = []
        for samples in sides:
            value = measured(samples, one)
            off = not abs(value.mean / one.value - 1.0) <= 0.2
            cells.append(f"{text(value, 3 if one.unit == 'share' else 2)}{'*' if off else ' '}")
        words = one.meaning if len(one.meaning) <= 65 else one.name
        print(f"{words:<66}{one.value:>8.3g}" + "".join(f"{cell:>18}" for cell in cells))
    values: dict[str, list[float]] = {name: [] for name in TWO_ON_IT}
    for name in CALLS:
        world = run.world(name, calls=CALLS, probability=1.0, scenario=PRO, defence=ZONE)
        dt = float(world["k"]["time_step_s"][0])
        for block in watch_numbers(world, SEED, np.arange(n // 4), ("s", "agents"), threads=threads):
            for trace in block.traces():
                for line, value in two_on_it(trace, dt):
                    values[line].append(value)
    for line, data in TWO_ON_IT.items():
        value = median(np.array(values[line]))
        print(f"{line:<66}{data:>8.3g}{text(value, 2):>18}   under the four calls, n {len(values[line])}")


def clock(n: int, threads: int | None) -> None:
    run = Run(1.0, threads, lambda: None)
    print("\nPoints, turnovers per possession by shot clock; * points fall by more than 2.5 errors of the")
    print("difference on the same luck, from the clock before")
    print(f"{'':<14}" + "".join(f"{c:>20g} s" for c in CLOCKS_S))
    worlds = {DEMO: run.demo().home}
    worlds |= {level: run.world(scenario=f"level_{level}") for level in LEVELS}
    for name, world in worlds.items():
        cells, before = [], None
        for seconds in CLOCKS_S:
            records = run.play(edited(world, rules(shot_clock_s=seconds)), n)
            points, lost = (column(records, of).astype(float) for of in ("points", "turnovers"))
            fall = mean(points if before is None else before - points)
            falls = before is not None and fall.mean > FALL * fall.se
            cells.append(f"{text(mean(points), 3)}{'*' if falls else ' '} {lost.mean():.3f}")
            before = points
        print(f"{name:<14}" + "".join(f"{cell:>22}" for cell in cells), flush=True)


def zone(n: int, threads: int | None) -> None:
    run = Run(1.0, threads, lambda: None)
    print("\nThe same ten in the 2-3, man-to-man, and z of the difference")
    names = (SIX, *(f"level_{level}" for level in LEVELS))
    print(f"{'':<26}" + "".join(f"{name.removeprefix('level_'):>24}" for name in names))
    six = pack(load_scenario(SIX))  # as it stands: each with what the ten believe against it
    pairs = [[six.home, next(one.world for one in six.settings if one.name == "man-to-man")]]
    pairs += [[run.world(scenario=name, defence=of) for of in (ZONE, MAN)] for name in names[1:]]
    sides = [[rates_of(RateTally.from_records(run.play(world, n))) for world in pair] for pair in pairs]
    for rate in ZONE_RATES:
        cells = []
        for side in sides:
            one, other = (rates[rate] for rates in side)
            z = (one.mean - other.mean) / hypot(standard_error(one), standard_error(other))
            cells.append(f"{one.mean:.3f} {other.mean:.3f} {z:+.1f}")
        print(f"{rate:<26}" + "".join(f"{cell:>24}" for cell in cells), flush=True)


def main() -> None:
    """Command line."""
    tables = {"traps": traps, "tracking": tracking, "clock": clock, "zone": zone}
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("tables", nargs="*", help=f"of {', '.join(tables)}; default: all")
    parser.add_argument("-n", "--possessions", type=int, default=40_000, help="of each table")
    parser.add_argument("--threads", type=int)
    options = parser.parse_args()
    wrong = [name for name in options.tables if name not in tables]
    if wrong or options.possessions < 1:
        parser.error(f"{wrong[0]}: no such table" if wrong else "-n must be at least 1")
    for name in options.tables or tables:
        tables[name](options.possessions, options.threads)


if __name__ == "__main__":
    main()
