"""Which constants decide what each call is worth? Two screenings: of all of them, then of the strongest.

    python benchmarks/screening.py --folder screening --processes 16 -o screening.json --table screening.md
    python benchmarks/screening.py --read screening.json --table screening.md

First the shipped design ``every_constant_balance`` (every constant that has a range, a tenth of them moved
at each point), with as many points and possessions as asked. Then the ten of each call that it is surest
of, all others at the scenario's own values, a fifth moved, on possessions of their own: what is told of a
constant there is not the luck that it was chosen by. Each process plays its share of the points into a store
of its own (``sweep --part``), and the stores are merged. Stopped in whatever way, the same command goes on;
stores of an earlier run with other ``--processes`` are taken over. Both designs stay in the folder:
``trapledger sweep`` plays them to the same bits.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from engine.errors import InputError
from engine.estimate.calls import call_value
from engine.inputs.defaults import HOME
from engine.inputs.files import read_toml, resolve
from engine.inputs.scenario import load_scenario
from engine.run.size import available_cores
from engine.study.sweep.analyse.analysis import read, slopes_of
from engine.study.sweep.stored import Stored
from engine.study.sweep.storefile import StoreTrouble
from engine.study.sweep.sweep import sweep
from engine.whole_file import whole_file

#: Constants that are told of each call.
TEN = 10
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


def played(design: Path, processes: int) -> Path:
    """The store of a design, played by processes of one thread, each into a store of its own, and merged."""
    store = design.with_suffix(".db")
    taken = [path for path in design.parent.glob(f"{design.stem}-*.db") if _usable(path)]
    if processes > 1 and not _whole(store):
        command = [sys.executable, "-m", "engine.cli", "sweep", str(design), "--quiet", "--threads", "1"]
        alone = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
        parts = [design.with_name(f"{design.stem}-{k}of{processes}.db") for k in range(1, processes + 1)]
        others = [word for path in taken if path not in parts for word in ("--take", str(path))]
        running = [
            subprocess.Popen(
                [*command, "--store", str(path), "--part", f"{k}/{processes}", *others],
                env=os.environ | alone,
            )
            for k, path in enumerate(parts, 1)
        ]
        try:
            ended = [one.wait() for one in running]
        finally:
            for one in running:
                one.terminate()
        if any(ended):
            raise SystemExit(f"a process ended with status {max(ended)}; the same command goes on")
        taken = parts
    sweep(design, store, take=taken, threads=1 if processes > 1 else None)
    return store


def _usable(path: Path) -> bool:
    try:
        with Stored.read(path, checked=False):
            return True
    except StoreTrouble:
        return False


def _whole(path: Path) -> bool:
    """Whether a store has all that its design asks for."""
    if not path.exists() or not _usable(path):
        return False
    with Stored.read(path) as held:
        return bool((np.asarray(held.played()) >= held.target).all())


def calls_of(scenario: str) -> list[str]:
    """The settings of a scenario that make one call each, in the zone of the scenario."""
    found = load_scenario(scenario)
    return [one.name for one in found.settings if len(one.calls) == 1 and one.name != HOME]


def worths(store: Stored, _: Any = None) -> pd.DataFrame:
    """Of the table that a sweep is gathered into what the slopes of a call's worth need: in a tenth of the
    time, which counts where thousands of points are read by one process."""
    rows = []
    for point, tally in store.tallies():
        for name, one in zip(store.settings[1:], tally.settings, strict=True):
            value = call_value(one.pairs)
            rows.append(
                {
                    "point": point + 1, "setting": name, "possessions": tally.n,
                    "called_per_100": 100 * one.pairs.called() / tally.n,
                    "value": value.mean, "value_low": value.low, "value_high": value.high,
                }
            )  # fmt: skip
    return pd.DataFrame(rows).astype({f"value{end}": float for end in ("", "_low", "_high")})


def strongest(store: Path, settings: list[str]) -> tuple[dict[str, list[dict[str, Any]]], dict[str, str]]:
    """The ``TEN`` slopes of each setting's worth that are surest not to be luck, and where they come from.
    ``explained``, ``points`` and ``reason`` of a setting stand in each of its rows."""
    held = read(store, "value", worths)
    found = {
        name: [{key: plain(row[key]) for key in COLUMNS} for row in slopes_of(held, name, "value")[:TEN]]
        for name in settings
    }
    return found, dict(held.provenance)


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


def about_of(store: Path, provenance: dict[str, str]) -> dict[str, Any]:
    """What a stage was played with."""
    with Stored.read(store) as held:
        return provenance | {
            "factors": len(held.factors),
            "points": held.n_points,
            "possessions": held.target,
        }


def screened(given: argparse.Namespace) -> dict[str, Any]:
    """Both stages, played where they are not."""
    folder = Path(given.folder)
    folder.mkdir(parents=True, exist_ok=True)
    of = read_toml(resolve(FIRST, "sweeps"))
    settings = calls_of(of["scenario"])
    found: dict[str, Any] = {"about": {}}
    names: list[str] = []
    stages = ("first", "second")
    for stage, points, possessions, seed in zip(
        stages, given.points, given.possessions, (9, 10), strict=True
    ):
        title = "Every constant at once, near the demo" if stage == "first" else "The strongest constants"
        file = folder / f"{stage}.toml"
        file.write_text(design_text(of, title, seed, (points, possessions), names), encoding="utf-8")
        started = time.perf_counter()
        store = played(file, given.processes)
        print(f"{stage}: {points:,} points in {time.perf_counter() - started:.0f} s", file=sys.stderr)
        found[stage], provenance = strongest(store, settings)
        found["about"][stage] = about_of(store, provenance)
        told = [row for rows in found[stage].values() for row in rows if row["slope"] is not None]
        names = sorted({short(row["factor"]) for row in told})
        if not names:
            raise SystemExit(f"{stage}: " + found[stage][settings[0]][0]["reason"])
    return found


def main(arguments: list[str] | None = None) -> None:
    """Play, screen, print, write."""
    parser = argparse.ArgumentParser(description="The constants that decide what each call is worth.")
    parser.add_argument("--folder", default="screening", help="designs and stores; taken up where they stand")
    parser.add_argument("--points", type=int, nargs=2, default=[4000, 4000], help="of both stages")
    parser.add_argument(
        "--possessions", type=int, nargs=2, default=[1000, 2000], help="of a point, each stage"
    )
    parser.add_argument("--processes", type=int, default=available_cores())
    parser.add_argument("-o", "--output", help="JSON file")
    parser.add_argument("--read", metavar="FILE", help="what -o wrote: nothing is played")
    parser.add_argument("--table", help="Markdown file")
    given = parser.parse_args(arguments)
    try:
        found = json.loads(Path(given.read).read_text(encoding="utf-8")) if given.read else screened(given)
    except (InputError, OSError) as error:
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
