"""Fits the level presets (configs/levels) to what is published, and records what is left over.

    python benchmarks/fit_levels.py                        every level: a table, nothing written
    python benchmarks/fit_levels.py --level school -n 20000  one level, small
    python benchmarks/fit_levels.py --write                knobs and [fit] of each level file are rewritten
    python benchmarks/fit_levels.py --rounds 0 --write     no fit: only records what the files give now
    python benchmarks/fit_levels.py --beliefs 12 --write   beliefs and knobs in one loop, and what is believed
                                                           against the other of zone and men: 45 CPU minutes

A level's reference scenario (configs/scenarios/level_<name>.toml) is played; a few knobs are moved for as
many rates, one knob for one rate: the numbers of the level's file whose source is "fitted to <rate>".
Each knob is first moved alone by its step, which gives the slopes of all rates; then Newton's method with
these slopes, halved when a round makes it worse, until every rate is within one standard error of its goal.
Every run has the same seed: the luck is common. Knobs stay inside the ranges of configs/model/constants.toml;
one that ends at a bound leaves a rest, which the table shows. Rates without a knob are only reported.
"""

from __future__ import annotations

import argparse
import math
import re
from collections.abc import Callable, Mapping
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import fit_beliefs
import numpy as np

from engine.inputs import (
    Level,
    Scenario,
    load_constants,
    load_level,
    load_scenario,
)
from engine.inputs.files import configs_root, shipped
from engine.inputs.levels import (
    MOST_SHIFT,
    SHIFTS,
    Published,
)
from engine.inputs.scenario import with_constants
from engine.study.beliefs import moved
from engine.study.levels import level_rates, standard_error
from engine.study.newton import Range, newton, slopes, solve

#: A knob's step, whose effect gives the slopes: log odds of a shift, share of a constant's range.
SHIFT_STEP, RANGE_STEP = 0.2, 0.2
#: Fitted on the professionals; others take them over from configs/model/constants.toml where they have none.
PROFESSIONAL, TAKEN_OVER = "professional", ("noise_points", "touch_max_p", "block_p", "shot_rhythm_logit")
COLLEGE = "college"
#: Level -> what others take over of its knobs, the table that it stands in there ("" none), their files. No
#: rate of boys tells how badly they judge: they are taken to be as college men.
HANDED_OVER = {
    PROFESSIONAL: (TAKEN_OVER, "", ("model/constants.toml",)),
    COLLEGE: (("noise_points",), "constants.", ("levels/school.toml", "levels/under_14.toml")),
}
#: Decimals that a knob is written with, and a rate.
KNOB_DECIMALS, RATE_DECIMALS = 4, 4
#: The record of a fit starts here in a level file; everything after it is rewritten.
MARK = "# --- what was fitted to what: written by benchmarks/fit_levels.py, not by hand"

Array = np.ndarray
#: Rate -> (value, standard error).
Rates = dict[str, tuple[float, float]]


@dataclass
class Problem(Range):
    """A level, its reference scenario, its knobs (knob -> rate), their steps and bounds, and the goals."""

    level: Level
    scenario: Scenario
    possessions: int
    seed: int
    threads: int | None
    knobs: dict[str, str] = field(init=False)
    step: Array = field(init=False)
    low: Array = field(init=False)
    high: Array = field(init=False)
    goal: Array = field(init=False)
    begin: Array | None = None  # where a fit begins, if not at the file's knobs

    def __post_init__(self) -> None:
        known = load_constants()
        self.knobs = self.level.knobs
        bounds = [
            (-MOST_SHIFT, MOST_SHIFT) if knob in SHIFTS else (known[knob].low, known[knob].high)
            for knob in self.knobs
        ]
        self.low, self.high = (np.array(side) for side in zip(*bounds, strict=True))
        self.step = np.array(
            [
                SHIFT_STEP if knob in SHIFTS else RANGE_STEP * (known[knob].high - known[knob].low)
                for knob in self.knobs
            ]
        )
        self.goal = np.array([self.level.published[target].aim for target in self.knobs.values()])

    def start(self) -> Array:
        """The knobs as the level file has them."""
        return np.array([self.level.value_of(knob) for knob in self.knobs])

    def at(self, knobs: Array) -> Scenario:
        """The reference scenario with these knobs."""
        value = dict(zip(self.knobs, (float(v) for v in knobs), strict=True))
        moved = {name: v for name, v in value.items() if name not in SHIFTS}
        constants = {**self.scenario.constants, **moved}
        shifts = {name: value.get(name, self.level.value_of(name)) for name in SHIFTS}
        table = self.level.shifted_table(constants, shifts)
        return self.scenario.model_copy(update={"constants": constants, "shot_table": table})

    def play(self, knobs: Array, possessions: int | None = None) -> Rates:
        """Every rate that has a value: (rate, standard error)."""
        rates = level_rates(self.at(knobs), possessions or self.possessions, self.seed, self.threads)
        return {k: (i.mean, standard_error(i)) for k, i in rates.items() if i.mean is not None}

    def missed(self, found: Array) -> str:
        """How far rates (``aimed``) are from their goals, for the screen."""
        missing = found[:, 0] - self.goal
        return ": " + ", ".join(f"{t} {m:+.3f}" for t, m in zip(self.knobs.values(), missing, strict=True))

    def aimed(self, rates: Rates) -> Array:
        """The rates aimed at and their standard errors, float64[knob, 2], in the order of the knobs."""
        return np.array([rates[target] for target in self.knobs.values()])


def fit(problem: Problem, rounds: int, tell: Callable[[str], None]) -> Array:
    """The knobs that bring the rates nearest to their goals: at most ``rounds`` rounds of damped Newton."""
    knobs = np.clip(problem.start() if problem.begin is None else problem.begin, problem.low, problem.high)
    rates = problem.play(knobs)
    tell("start" + problem.missed(problem.aimed(rates)))
    if rounds == 0:
        return knobs

    def play(tried: Array) -> Array:
        return problem.aimed(problem.play(tried))

    matrix = slopes(play, knobs, problem.aimed(rates), problem)
    for knob, slope in zip(problem.knobs, np.diag(matrix), strict=True):
        if slope == 0.0:
            tell(
                f"{knob} has no sure effect on {problem.knobs[knob]} and is not fitted; play more possessions"
            )

    def told(number: int, better: bool, found: Array) -> None:
        tell(f"round {number}{'' if better else ' (worse, taken back)'}{problem.missed(found)}")

    return solve(play, knobs, problem.aimed(rates), problem.goal, matrix, problem, rounds, told)[0]


# --- the table and the record ---------------------------------------------------------------------------


def together(
    problem: Problem, pool: Executor, rounds: int, n: int, tell: Callable[[str], None]
) -> tuple[Array, dict[str, float]]:
    """Knobs and beliefs moved in one loop, each round both a part of their way; the later half is averaged.

    In turn they go round in circles: what a rate asks of a knob hangs on what the players believe, and what
    they have to believe hangs on the knobs. ``n``: possessions at home of every round of the beliefs.
    """
    trapped = fit_beliefs.scenario_of(problem.level.name)
    knobs = np.clip(problem.start(), problem.low, problem.high)
    matrix = slopes(
        lambda tried: problem.aimed(problem.play(tried)), knobs, problem.aimed(problem.play(knobs)), problem
    )
    own = problem.scenario
    values: dict[str, float] = {}
    beliefs: list[dict[str, float]] = []
    reached: list[Array] = []
    for number in range(rounds):
        step = fit_beliefs.step_of(number, rounds)
        problem.scenario = with_constants(trapped, values)
        current = problem.at(knobs)
        asked = fit_beliefs.measured(pool, current, n, number)
        values = values | moved(current.constants, asked, step)
        problem.scenario = with_constants(own, values)
        found = problem.aimed(problem.play(knobs))
        tell(f"round {number + 1}{problem.missed(found)}")
        move = newton(matrix, problem.goal - found[:, 0], knobs, problem)
        knobs = np.clip(knobs + step * 0.5 * move, problem.low, problem.high)
        beliefs.append(values)
        reached.append(knobs)
    values = fit_beliefs.averaged(beliefs)
    problem.scenario = with_constants(own, values)
    return np.mean(reached[rounds // 2 :], axis=0), values


def lines(problem: Problem, knobs: Array, rates: Rates) -> list[str]:
    """The table of one level: rate, published range, reached, left over, and the knob moved for it."""
    by_target = {t: (knob, v) for (knob, t), v in zip(problem.knobs.items(), knobs, strict=True)}
    out = [f"{problem.level.title} ({problem.scenario.path.stem}, {problem.possessions} possessions)"]
    out.append(
        f"  {'rate':<26}{'published':>15}{'goal':>8}{'reached':>9}{'s.e.':>7}{'left over':>11}"
        f"  {'range is':<12}knob"
    )
    for name, item in problem.level.published.items():
        if name not in rates:
            continue
        value, error = rates[name]
        knob, at = by_target.get(name, ("", 0.0))
        span = f"{item.low:.3f} to {item.high:.3f}"
        goal = f"{item.aim:.3f}" if knob else ""
        tail = f"{item.tag:<12}" + (f"{knob} = {at:.4f}" if knob else "")
        rest = f"{item.left_over(value):+.3f}" if item.left_over(value) else "-"
        out.append(f"  {name:<26}{span:>15}{goal:>8}{value:>9.3f}{error:>7.3f}{rest:>11}  {tail}".rstrip())
    return out


def _row(kind: str, cells: dict[str, Any]) -> list[str]:
    shown = (f'{key} = "{v}"' if isinstance(v, str) else f"{key} = {v!r}" for key, v in cells.items())
    return [f"[[fit.{kind}]]", *shown, ""]


def _cells(item: Published, rate: tuple[float, float]) -> dict[str, float]:
    value, error = (round(float(v), RATE_DECIMALS) for v in rate)
    rest = round(item.left_over(value), RATE_DECIMALS) + 0.0
    return {"reached": value, "standard_error": error, "left_over": rest}


def record(problem: Problem, knobs: Array, rates: Rates) -> str:
    """The section [fit] of a level file."""
    out = [MARK, "[fit]", f'scenario = "{problem.scenario.path.stem}"']
    out += [f"possessions = {problem.possessions}", f"seed = {problem.seed}", ""]
    for (knob, target), value, goal in zip(problem.knobs.items(), knobs, problem.goal, strict=True):
        item = problem.level.published[target]
        cells = {"knob": knob, "value": float(value), "target": target, "goal": round(float(goal), 4)}
        out += _row("knob", cells | _cells(item, rates[target]))
    for name, item in problem.level.published.items():
        # a rate of too few events has no interval: nothing to record
        if name in rates and name not in problem.knobs.values() and math.isfinite(rates[name][1]):
            out += _row("other", {"target": name} | _cells(item, rates[name]))
    return "\n".join(out).rstrip() + "\n"


def written(text: str, problem: Problem, knobs: Array, rates: Rates) -> str:
    """A level file's text with the knobs' values and the record put in.

    Raises ValueError if a knob is missing.
    """
    head = with_knobs(text.split(MARK)[0].rstrip(), problem, knobs)
    return f"{head}\n\n{record(problem, knobs, rates)}"


def with_values(text: str, values: Mapping[str, float], file: str) -> str:
    """A file's text with these values of its sections put in. Raises ValueError if a section is missing."""
    for section, value in values.items():
        text, n = re.subn(
            rf"(?m)^(\[{re.escape(section)}\]\nvalue = )[^\s#]+", rf"\g<1>{float(value)!r}", text
        )
        if n != 1:
            raise ValueError(f"[{section}] with its value in the first line is not in {file}")
    return text


def with_knobs(text: str, problem: Problem, knobs: Array) -> str:
    """A level file's text with the knobs' values put in. Raises ValueError if a knob is missing."""
    sections = (f"{'shots' if knob in SHIFTS else 'constants'}.{knob}" for knob in problem.knobs)
    return with_values(text, dict(zip(sections, knobs, strict=True)), "the level file")


def write_knobs(name: str, problem: Problem, knobs: Array) -> None:
    """Put the knobs into the level's file; its record stays as it is."""
    path = Path(configs_root() / "levels" / f"{name}.toml")
    path.write_text(with_knobs(path.read_text(encoding="utf-8"), problem, knobs), encoding="utf-8")


def hand_over(name: str, knobs: Mapping[str, float]) -> None:
    """Put what others take over of this level's knobs into their files, which are to be fitted after it."""
    names, table, files = HANDED_OVER.get(name, ((), "", ()))
    values = {table + one: knobs[one] for one in names}
    for file in files:
        path = Path(configs_root() / file)
        path.write_text(with_values(path.read_text(encoding="utf-8"), values, file), encoding="utf-8")


def fit_level(name: str, options: argparse.Namespace) -> str:
    """Fit one level, write its file if asked to; the table."""
    level = load_level(name)
    scenario = load_scenario(configs_root() / "scenarios" / f"level_{name}.toml")
    problem = Problem(level, scenario, options.possessions, options.seed, options.threads)

    def tell(line: str) -> None:
        if not options.quiet:
            print(f"{name}: {line}", flush=True)

    if options.beliefs:
        with ProcessPoolExecutor(options.threads) as pool:
            knobs, values = together(problem, pool, options.beliefs, options.tried, tell)
            problem.begin = knobs
            knobs = np.round(fit(problem, options.rounds, tell), KNOB_DECIMALS)
            if options.write:
                fit_beliefs.put(name, values)
                write_knobs(name, problem, knobs)
                other, table = fit_beliefs.fit_other(pool, name, options.tried, options.beliefs)
                fit_beliefs.put(name, other, "other_defence")
                fit_beliefs.put_taken(name, options.tried)
                tell(table.round(3).to_string(index=False))
    else:
        knobs = np.round(fit(problem, options.rounds, tell), KNOB_DECIMALS)
    problem.possessions = options.last or options.possessions
    rates = problem.play(knobs)
    if options.write:
        path = Path(configs_root() / "levels" / f"{name}.toml")
        path.write_text(written(path.read_text(encoding="utf-8"), problem, knobs, rates), encoding="utf-8")
        hand_over(name, dict(zip(problem.knobs, map(float, knobs), strict=True)))
    return "\n".join(lines(problem, knobs, rates))


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--level", action="append", choices=shipped("levels"), help="default: every level")
    parser.add_argument("-n", "--possessions", type=int, default=100_000, help="of every run of the fit")
    parser.add_argument("--last", type=int, default=0, help="of the run that is recorded (default: the same)")
    parser.add_argument("--rounds", type=int, default=6, help="most rounds; 0 only records")
    parser.add_argument("--beliefs", type=int, default=0, help="rounds in which beliefs move along, 0 none")
    parser.add_argument("--tried", type=int, default=4_000, help="possessions at home of every such round")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--threads", type=int, default=None)
    parser.add_argument("--quiet", action="store_true", help="only the tables")
    parser.add_argument("--write", action="store_true", help="rewrite knobs and [fit] in the level files")
    options = parser.parse_args()
    # first those from whom others take over
    for name in sorted(options.level or shipped("levels"), key=lambda name: [*HANDED_OVER, name].index(name)):
        print(fit_level(name, options), flush=True)


if __name__ == "__main__":
    main()
