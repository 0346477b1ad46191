"""Patterns of truth: what players believe beside what happens, how they move beside how men move."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from engine.kernel.forecast import LEAST_P
from engine.run.blocks import World
from engine.state.words import TrapPhase
from engine.study.decisions import choices, reliability
from engine.study.patterns.common import NOTHING, Claim, Mean, called, inside, near, quotient
from engine.study.patterns.level import MAN, PRO
from engine.study.patterns.playing import CALLS, SEED, Run
from engine.study.tracking import measured, published, tracked

# --- 14 -----------------------------------------------------------------------------------------------------

N_BELIEFS, N_TRAP_BELIEFS = 12_000, 4_000
#: Half-widths: of the slope of realised on believed points, and of a lost pass against its fear. Ours.
SLOPE, LOSS = 0.15, 0.04
#: Fewer decisions than this give no verdict.
FEWEST = 200
HOME_KINDS = ("shot", "hold", "pass", "drive", "go on")
TRAP_KINDS = ("shot", "hold", "pass", "drive", "retreat", "split")
OURS = "a belief that is true has slope 1 and a fear that is true comes true: no source, by definition"


def feared(world: World, table: pd.DataFrame) -> NDArray[np.float64]:
    """Chance of losing each pass as its passer read it (decide.believed), by the phase of the trap."""
    k = world["k"][0]
    offsets = np.array([k[f"belief_loss_{name}"] for name in ("home", "coming", "set", "after")])
    risk = table["raw"].clip(LEAST_P, 1.0 - LEAST_P).to_numpy()
    line = k["belief_loss_slope"] * np.log(risk / (1.0 - risk)) + offsets[table["phase"].to_numpy(int)]
    return 1.0 / (1.0 + np.exp(-line))


def beliefs(world: World, table: pd.DataFrame, kinds: tuple[str, ...], where: str) -> list[Claim]:
    """Slope of each option, and loss feared and lost of passes, of decisions in one place."""
    found = []
    rows = reliability(table.assign(phase=0)).to_dict("records") if len(table) else []
    by_kind: dict[str, Any] = {str(one["kind"]): one for one in rows}
    for kind in kinds:
        gap, figures = NOTHING, "hardly any"
        if kind in by_kind:
            one = by_kind[kind]
            figures = (
                f"slope {one['slope']:.2f} (se {one['slope_error']:.2f}); believed {one['believed']:.2f}, "
                f"realised {one['realised']:.2f} points; {one['n']:,} decisions"
            )
            if one["n"] >= FEWEST:
                gap = inside(Mean(one["slope"], one["slope_error"]), 1.0 - SLOPE, 1.0 + SLOPE)
        found.append(Claim(14, f"{where}: {kind}, slope 1 within {SLOPE:g}", OURS, gap, figures))
    passes = table[(table["kind"] == "pass") & table["lost"].notna()]
    gap, figures = NOTHING, f"{len(passes)} passes"
    if len(passes) >= FEWEST:
        fear = feared(world, passes)
        row = passes["possession"].to_numpy(int)
        surplus = np.bincount(row, weights=fear - passes["lost"].to_numpy(float))
        gap = inside(quotient(surplus, np.bincount(row)), -LOSS, LOSS)
        figures = f"feared {fear.mean():.3f}, lost {passes['lost'].mean():.3f} of {len(passes):,} passes"
    return [*found, Claim(14, f"{where}: feared loss is the loss within {LOSS:g}", OURS, gap, figures)]


def pattern_14(run: Run) -> list[Claim]:
    """Every choice of the ball's holder on the demo: at home, and while the trap of each call runs."""
    home = run.demo().home
    table = choices(home, SEED, np.arange(run.n(N_BELIEFS)), run.threads)
    run.tick()
    found = beliefs(home, table, HOME_KINDS, "home")
    tables = []
    for n, name in enumerate(CALLS):
        numbers = np.flatnonzero(called(run.base(name)))[: run.n(N_TRAP_BELIEFS)]
        one = choices(run.world(name, calls=CALLS), SEED, numbers, run.threads)
        # every call has possessions of its own
        one["possession"] = len(CALLS) * one["possession"] + n
        tables.append(one[one["phase"].isin((TrapPhase.COMING, TrapPhase.SET))])
        run.tick()
    return [*found, *beliefs(home, pd.concat(tables, ignore_index=True), TRAP_KINDS, "in a trap")]


# --- 15 -----------------------------------------------------------------------------------------------------

N_TRACKED = 12_000
#: Share of a tracked figure that the model may be off by. Ours.
WITHIN = 0.2


def pattern_15(run: Run) -> list[Claim]:
    """The professional level in man-to-man; the data are of possessions that scored, and so are these."""
    world = run.world(scenario=PRO, defence=MAN)
    samples = tracked(world, SEED, np.arange(run.n(N_TRACKED)), run.threads)
    run.tick()
    source, quantities = published()
    found = []
    for one in quantities:
        value = measured(samples, one)
        count = len(samples[one.name].values) if one.name in samples else 0
        unit = "" if one.unit == "share" else f" {one.unit}"
        figures = f"{value.mean:.3f}{unit} (se {value.se:.3f}, n {count:,}), tracking {one.value:g}"
        found.append(Claim(15, one.meaning, source, near(value, one.value, WITHIN), figures))
    return found
