"""Which constants decide what each call is worth? Two screenings: of all of them, then of the strongest.

    python benchmarks/screening.py --folder screening --processes 16 -o screening.json --table screening.md
    python benchmarks/screening.py --read screening.json --table screening.md

First the shipped design ``every_constant_balance`` (every constant that has a range, a tenth of them moved
at each point), with as many points and possessions as asked. Then the ten of each call that it is surest
of, all others at the scenario's own values, a fifth moved, on possessions of their own: what is told of a
constant there is not the luck that it was chosen by. What the points found is kept in one file of a stage,
beside its design, which ``trapledger sweep`` plays to the same bits. Stopped in whatever way, the same
command goes on, with any number of processes; ``--seconds`` after its start it stops by itself, once the
points at hand are played (a few seconds).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache, partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pandas as pd
from until import Kept, in_time, pool_of

from engine.errors import InputError
from engine.estimate.calls import call_value
from engine.inputs.defaults import HOME
from engine.inputs.files import read_toml, resolve
from engine.inputs.scenario import load_scenario
from engine.run.blocks import Runner
from engine.run.size import available_cores
from engine.study.sweep.analyse.analysis import Sweep, slopes_of
from engine.study.sweep.design import Design, load_design
from engine.study.sweep.gather import provenance_of
from engine.study.sweep.identity import about
from engine.study.sweep.resolve import Resolver
from engine.study.sweep.stored import Stored
from engine.study.sweep.tallies import Batch, BatchTally, play_batch
from engine.whole_file import whole_file
from engine.world.pack import pack

#: Constants that are told of each call.
TEN = 10
#: Possessions that a process plays in one go, a second or two.
PIECE = 4_000
FIRST = "every_constant_balance"
COLUMNS = ("factor", "slope", "slope_low", "slope_high", "floor", "named", "explained", "points", "reason")


def design_text(of: dict[str, Any], title: str, seed: int, size: tuple[int, int], names: list[str]) -> str:
    """A design of a random balance as a file; ``size``: points and possessions; no ``names``: every constant,
    as ``of`` moves them."""
    points, possessions = size
    moved = f"moved = {0.2 if names else of['design'].get('moved', 0.1)}"
    chosen = "names = [\n" + "".join(f'    "{name}",\n' for name in names) + "]\n" if names else ""
    return f"""title = "{title}"
scenario = "{of["scenario"]}"
possessions = {possessions}
batch = 1000
seed = {seed}
luck = "independent"

[design]
method = "random_balance"
points = {points}
{moved}

[[factor]]
path = "constants.*"
{chosen}"""


@lru_cache(maxsize=1)
def workshop(path: Path) -> tuple[Design, Resolver, Runner]:
    """What a process plays a design with."""
    design = load_design(path)
    return design, Resolver(design), Runner(design.seed)


def worths(settings: Sequence[str], point: int, tally: BatchTally) -> list[dict[str, Any]]:
    """What the slopes of a call's worth need of a point, one row for each setting but staying home: of the
    table that a sweep is gathered into a few columns, in a tenth of the time."""
    rows = []
    for name, one in zip(settings[1:], tally.settings, strict=True):
        value = call_value(one.pairs)
        rows.append(
            {
                "point": point + 1, "setting": name, "possessions": tally.n,
                "called_per_100": 100 * one.pairs.called() / tally.n,
                "value": value.mean, "value_low": value.low, "value_high": value.high,
            }
        )  # fmt: skip
    return rows


def worths_of(path: Path, points: range) -> list[dict[str, Any]]:
    """``worths`` of some points of a design. Raises InputError for a point that makes no scenario."""
    design, resolver, runner = workshop(path)
    rows = []
    for point in points:
        batch = Batch(point, 0, design.possessions)
        packed, first = resolver.packed(point), design.offset(point)
        rows += worths(
            design.settings, point, play_batch(packed, design.settings, design.seed, first, batch, runner)
        )
    return rows


def played(path: Path, pool: ProcessPoolExecutor, given: argparse.Namespace) -> Sweep | None:
    """What the points of a design found, played where they are not; None where the time was up first."""
    design = load_design(path)
    provenance = provenance_of(cast(Stored, SimpleNamespace(meta=about(design))))
    kept = Kept(path.with_suffix(".kept"), json.dumps(provenance, sort_keys=True))
    done, rows = kept.found.get("worths", (0, []))
    n, size = len(design.points), max(1, PIECE // design.possessions)
    left = (range(first, min(first + size, n)) for first in range(done, n, size))
    for points, found in in_time(pool, partial(worths_of, path), left, given.processes, given.seconds):
        done, rows = points.stop, rows + found
        kept.put(worths=(done, rows))
    kept.put(now=True)
    print(f"{path.stem}: {done:,} of {n:,} points played", file=sys.stderr)
    if done < n:
        return None
    table = pd.DataFrame(rows).astype({f"value{end}": float for end in ("", "_low", "_high")})
    factors = [factor.path for factor in design.factors]
    values = pd.DataFrame(list(design.points), columns=factors)
    return Sweep(table, values, design.luck, title=design.title, provenance=provenance)


def calls_of(scenario: str) -> list[str]:
    """The settings of a scenario that make one call each, in the zone of the scenario."""
    found = load_scenario(scenario)
    return [one.name for one in found.settings if len(one.calls) == 1 and one.name != HOME]


def strongest(held: Sweep, settings: list[str]) -> dict[str, list[dict[str, Any]]]:
    """The ``TEN`` slopes of each setting's worth that are surest not to be luck. ``explained``, ``points``
    and ``reason`` of a setting stand in each of its rows."""
    return {
        name: [{key: plain(row[key]) for key in COLUMNS} for row in slopes_of(held, name, "value")[:TEN]]
        for name in settings
    }


def plain(value: Any) -> Any:
    """A cell for JSON: not a number is nothing."""
    return None if isinstance(value, float) and not np.isfinite(value) else value


def short(factor: str) -> str:
    """A constant's own name."""
    return factor.removeprefix("constants.")


def text_of(found: dict[str, Any]) -> str:
    """The tables (Markdown)."""
    lines = []
    for stage, head in (("first", "All constants"), ("second", "The strongest of each call")):
        of, about = found[stage], found["about"][stage]
        lines += [
            f"**{head}** ({about['factors']} constants, {about['points']:,} points of "
            f"{about['possessions']:,} possessions of each setting; {about['version']}, kernel "
            f"{about['kernel']}, design {about['design'][:12]}, config {about['config_hash'][:12]}, "
            f"seed {about['seed']}, {about['processor']}).",
            "",
            "| call | points | lines explain | beyond the floor | constants, points a call over the range |",
            "|---|---|---|---|---|",
        ]
        for name, rows in of.items():
            if rows[0]["reason"]:
                lines.append(f"| {name} | {rows[0]['points']} | - | - | {rows[0]['reason']} |")
                continue
            told = ", ".join(map(words_of, rows))
            share = f"{row_share(rows):.0f}%" if row_share(rows) is not None else "-"
            beyond = sum(row["named"] for row in rows)
            lines.append(f"| {name} | {rows[0]['points']} | {share} | {beyond} of {len(rows)} | {told} |")
        lines.append("")
    lines += [
        "Points that a call saves at the greatest value of a constant less those at the least, all else near "
        "the demo (half of the 95 % interval). A star: beyond the floor, which the greatest of all constants "
        "without effect would pass in 5 of 100 screenings; those without one may be luck.",
    ]
    return "\n".join(lines) + "\n"


def words_of(row: dict[str, Any]) -> str:
    """A constant with its slope, half of the interval and the star."""
    half = (row["slope_high"] - row["slope_low"]) / 2.0
    return f"`{short(row['factor'])}` {row['slope']:+.2f} ({half:.2f}){'*' * row['named']}"


def row_share(rows: list[dict[str, Any]]) -> float | None:
    """What the lines explain of the true spread, in percent."""
    share = rows[0]["explained"]
    return None if share is None else 100.0 * min(max(share, 0.0), 1.0)


def screened(given: argparse.Namespace) -> dict[str, Any]:
    """Both stages, played where they are not. Ends the program where the time is up before that."""
    folder = Path(given.folder)
    folder.mkdir(parents=True, exist_ok=True)
    of = read_toml(resolve(FIRST, "sweeps"))
    settings = calls_of(of["scenario"])
    found: dict[str, Any] = {"about": {}}
    names: list[str] = []
    # The engine is compiled here, once, and loaded by the processes.
    Runner(1).warm(pack(load_scenario(of["scenario"])).home)
    stages = ("first", "second")
    with pool_of(given.processes) as pool:
        for stage, points, possessions, seed in zip(
            stages, given.points, given.possessions, (9, 10), strict=True
        ):
            title = "Every constant at once, near the demo" if stage == "first" else "The strongest constants"
            file = folder / f"{stage}.toml"
            file.write_text(design_text(of, title, seed, (points, possessions), names), encoding="utf-8")
            held = played(file, pool, given)
            if held is None:
                raise SystemExit("The time is up; the same command goes on.")
            found[stage] = strongest(held, settings)
            found["about"][stage] = dict(held.provenance) | {
                "factors": held.points.shape[1], "points": points, "possessions": possessions,
            }  # fmt: skip
            told = [row for rows in found[stage].values() for row in rows if row["slope"] is not None]
            names = sorted({short(row["factor"]) for row in told})
            if not names:
                raise SystemExit(f"{stage}: " + found[stage][settings[0]][0]["reason"])
    return found


def main(arguments: list[str] | None = None) -> None:
    """Play, screen, print, write."""
    parser = argparse.ArgumentParser(description="The constants that decide what each call is worth.")
    parser.add_argument(
        "--folder", default="screening", help="designs and what was found; goes on from there"
    )
    parser.add_argument("--points", type=int, nargs=2, default=[4000, 4000], help="of both stages")
    parser.add_argument(
        "--possessions", type=int, nargs=2, default=[1000, 2000], help="of a point, each stage"
    )
    parser.add_argument("--processes", type=int, default=available_cores())
    parser.add_argument("--seconds", type=float, help="after the start begin nothing more (compiling counts)")
    parser.add_argument("-o", "--output", help="JSON file")
    parser.add_argument("--read", metavar="FILE", help="what -o wrote: nothing is played")
    parser.add_argument("--table", help="Markdown file")
    given = parser.parse_args(arguments)
    try:
        found = json.loads(Path(given.read).read_text(encoding="utf-8")) if given.read else screened(given)
    except (InputError, OSError, ValueError) as error:
        print(error, file=sys.stderr)
        raise SystemExit(2) from None
    text = text_of(found)
    print(text)
    if given.table:
        Path(given.table).write_text(text, encoding="utf-8")
    if given.output:
        with whole_file(given.output) as part:
            Path(part).write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
