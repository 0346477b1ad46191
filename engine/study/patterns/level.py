"""Pattern 13: each level's rates beside what is published, distances of defenders at shots."""

from __future__ import annotations

import math

import numpy as np

from engine.inputs.base import spoken
from engine.inputs.levels import load_level
from engine.run.blocks import World
from engine.study.levels import RateTally, rates_of, standard_error
from engine.study.patterns.common import Claim, Mean, Records, Series, column, inside, median, near, quotient
from engine.study.patterns.playing import SEED, Run
from engine.study.patterns.watching import CODE, SHOT, VALUE, X, Y, is_three, watch

LEVELS = ("under_14", "school", "college", "professional")
#: Possessions for rates (their ranges are narrow), for defenders' distances, and of those that are watched.
N_RATES, N_LEVEL, N_SHOTS = 300_000, 40_000, 4_000
#: Where one number is published and no range: this share of it either way. Ours, no source.
TOLERANCE = 0.25
NO_SOURCE = "no source"

#: Median distance of the nearest defender at the release, m: bins of one foot pooled over the bands.
MEDIANS_M = {"rim": 0.68, "middle": 1.14, "three": 1.64}
MEDIANS_SOURCE = (
    "evidence 2a (D1, pro men 2014-15, 121,588 shots), computed: up to 6 ft, 6 to 22 ft, 22 to 31 ft"
)
FEET_M = 0.3048
#: Share of threes by how far the nearest defender is at the release: nearest ft, farthest ft, share.
THREES_BY_FT = ((0.0, 4.0, 0.198), (4.0, 6.0, 0.418), (6.0, math.inf, 0.384))
THREES_SOURCE = "evidence 2a (D1, pro men 2014-15), computed: shares of threes by the defender's distance"
PRO = "level_professional"
MAN = {"zone": "man_to_man", "options": {}}


def rates(run: Run, level: str) -> list[Claim]:
    """The level's rates against its published ranges; those without any source are no claims."""
    published = load_level(level).published
    wanted = {name: item for name, item in published.items() if item.tag != NO_SOURCE}
    if not wanted:
        return []
    records = run.play(run.world(scenario=f"level_{level}"), run.n(N_RATES))
    found = rates_of(RateTally.from_records(records))
    claims = []
    for name, item in wanted.items():
        rate = found[name]
        value = Mean(float("nan") if rate.mean is None else rate.mean, standard_error(rate))
        if value.mean == 0.0:  # nothing seen: the standard error of one event, as in ``quotient``
            value = Mean(0.0, 1.0 / len(records))
        figures = f"{value.mean:.3f}, published {item.low:g} to {item.high:g}"
        source = f"{item.source} ({item.tag})"
        words = spoken(name)
        claims.append(Claim(13, f"{level}: {words}", source, inside(value, item.low, item.high), figures))
    return claims


def shots_by_band(world: World, run: Run) -> dict[str, Series]:
    """Nearest defender's distance (m) at every release of the first possessions, by kind of shot."""
    events = watch(world, SEED, range(run.n(N_SHOTS)), run.threads, run.tick)
    shots = events[events[:, CODE] == SHOT]
    three = is_three(world, shots)
    rim = np.hypot(shots[:, X], shots[:, Y]) < 6.0 * FEET_M
    gap = shots[:, VALUE]
    return {"rim": gap[rim], "middle": gap[~rim & ~three], "three": gap[three]}


def distances(run: Run, world: World, records: Records) -> list[Claim]:
    """Professional men are mostly guarded man-to-man (from memory), so the model's are too.

    Medians, as published; means beside; of threes the spread, too.
    """
    found, medians = [], {}
    bands = shots_by_band(world, run)
    for band, gaps in bands.items():
        medians[band] = median(gaps)
        whole = quotient(column(records, f"{band}_gap_mm") / 1000, column(records, f"{band}_attempts"))
        figures = (
            f"median {medians[band].mean:.2f} m (mean {whole.mean:.2f}), "
            f"published median {MEDIANS_M[band]:.2f}"
        )
        name = f"professional: defender's distance at shots, {band}, within {TOLERANCE:.0%}"
        gap = near(medians[band], MEDIANS_M[band], TOLERANCE)
        found.append(Claim(13, name, MEDIANS_SOURCE, gap, figures))
    threes = bands["three"] / FEET_M
    for low, high, share in THREES_BY_FT:
        own = quotient(((threes >= low) & (threes < high)).astype(float), np.ones(len(threes)))
        words = f"{low:g} ft or more" if high == math.inf else f"{low:g} to {high:g} ft"
        name = f"professional: threes with the defender {words} away, within {TOLERANCE:.0%}"
        figures = f"{own.mean:.3f} of threes, published {share:.3f}"
        found.append(Claim(13, name, THREES_SOURCE, near(own, share, TOLERANCE), figures))
    for far, close in (("middle", "rim"), ("three", "middle")):
        figures = f"{far} {medians[far].mean:.2f} m, {close} {medians[close].mean:.2f} m"
        name = f"professional: defender farther at shots, {far} than {close}"
        found.append(Claim(13, name, MEDIANS_SOURCE, medians[far] - medians[close], figures))
    return found


def pattern_13(run: Run) -> list[Claim]:
    """Rates of the reference scenarios; distances of the professional one in man-to-man.

    Speeds are those of live half-court time, against tracking by the same definitions: pattern 15.
    """
    claims = [claim for level in LEVELS for claim in rates(run, level)]
    world = run.world(scenario=PRO, defence=MAN)
    records = run.play(world, run.n(N_LEVEL))
    return [*claims, *distances(run, world, records)]
