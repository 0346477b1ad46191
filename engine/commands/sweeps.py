"""Commands that run sweeps and read what they left.

Exit statuses of ``sweep`` beside the usual ones: 0 every point is settled, 1 some points failed (the rest is
settled), 2 bad input or a store that cannot be used, 130 stopped by Ctrl-C. Whatever the status, all batches
that ended are in the store, and the same command goes on from there.
"""

from __future__ import annotations

import contextlib
import logging
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict, Unpack

import click

from engine.commands.shared import BAR_DELAY_S, INTERRUPTED, NAME, STOPPED, ctrl_c, load_engine, one_line, say
from engine.errors import InputError

if TYPE_CHECKING:
    from engine.study.sweep.runner import Progress
    from engine.study.sweep.store import Store
    from engine.study.sweep.stored import Stored

SOME_FAILED = 1
#: Failing points that are named at the end; all of them are in the store.
MOST_SHOWN = 5
LOG = logging.getLogger("trapledger.sweep")  # its handler for nobody listening is the runner's


@click.command(short_help="Run a design of many points into a store.")
@click.argument("design", type=click.Path(), required=False)
@click.option("--store", "store_path", metavar="FILE", help="File that keeps the results; made if missing.")
@click.option("--status", "status_path", metavar="FILE", help="Say how far the sweep in FILE is, and leave.")
@click.option("--check", "check_path", metavar="FILE", help="Say what is damaged in FILE, and leave.")
@click.option("--repair", is_flag=True, help="Make a damaged store anew from what is whole in it.")
@click.option(
    "--take", "take", multiple=True, metavar="FILE",
    help="Take batches of this design from the store FILE; may be repeated.",
)  # fmt: skip
@click.option("--part", metavar="K/N", help="Play every N-th point from the K-th on: one task of N.")
@click.option("--possessions", "-n", type=int, help="Possessions of every point; may be raised later.")
@click.option("--threads", type=int, help="Threads; the result does not depend on it. [default: all cores]")
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Play on the workers of a running Dask scheduler (tcp://host:8786).",
)
@click.option("--log", "log_path", metavar="FILE", help="Add what happens to FILE, with times.")
@click.option("--quiet", is_flag=True, help="No progress and no remarks.")
def sweep(
    design: str | None,
    store_path: str | None,
    status_path: str | None,
    check_path: str | None,
    log_path: str | None,
    **how: Unpack[How],
) -> None:
    """Play every point of DESIGN and keep the results in a store.

    Stopped or killed, the same command goes on where it was, here or on other machines. Exit status: 0 all
    points settled (--check: the store is whole), 1 some failed (it is damaged), 2 bad input or a store that
    cannot be used, 130 Ctrl-C.
    """
    for option, path in (("--status", status_path), ("--check", check_path)):
        if path is None:
            continue
        if design is not None or store_path is not None:
            raise click.UsageError(f"{option} FILE stands alone, without DESIGN and --store")
        if option == "--check":
            found = damage_of(path)
            sys.stdout.write("".join(f"{one_line(line)}\n" for line in found or [f"{path}: whole"]))
            raise click.exceptions.Exit(SOME_FAILED if found else 0)
        sys.stdout.write(status_text(path))
        return
    if design is None or store_path is None:
        raise click.UsageError("DESIGN and --store FILE are needed (or --status FILE, or --check FILE)")
    if how["scheduler"] is not None and how["threads"] is not None:
        raise click.UsageError("--threads is for the local cores, not together with --scheduler")
    with _logged(log_path):
        _run(design, store_path, how)


class How(TypedDict):
    """Options of ``sweep`` that say how it is run."""

    repair: bool
    take: tuple[str, ...]
    part: str | None
    possessions: int | None
    threads: int | None
    scheduler: str | None
    quiet: bool


def part_of(text: str | None) -> tuple[int, int]:
    """K/N as two numbers; (1, 1) for None. Raises InputError."""
    found = re.fullmatch(r"([0-9]{1,9})/([0-9]{1,9})", text or "1/1")
    if found is None:
        raise InputError("--part", "", text, "K/N, such as 3/8")
    return int(found[1]), int(found[2])


def _run(design_path: str, store_path: str, how: How) -> None:
    from engine.study.sweep.stored import Stored
    from engine.study.sweep.sweep import sweep as play

    quiet = how["quiet"]
    stores: list[Store] = []
    latest: list[Progress] = []

    def opened(store: Store) -> None:
        stores.append(store)
        if how["scheduler"] is None:
            load_engine(quiet)
        LOG.info("%s: %d points, %s", store.path, store.n_points, _asked_for(store))
        for words in store.mended:
            LOG.warning("damaged, played again: %s", words)
        if store.mended and not quiet:
            say(f"{NAME}: damaged, played again: {store.mended[0]}{_more(store.mended)}")
        _remark_on_luck(store, quiet)

    try:
        with _bar(quiet) as show:

            def watch(progress: Progress) -> None:
                latest[:] = [progress]
                ctrl_c.check()
                show(progress)

            found = play(
                design_path, store_path, how["possessions"], how["threads"], how["scheduler"], how["take"],
                part_of(how["part"]), how["repair"], watch, opened,
            )  # fmt: skip
    except KeyboardInterrupt:
        text = f"{STOPPED}; {_kept(stores, latest)}the same command goes on from there"
        LOG.info(text)
        say(text)
        raise click.exceptions.Exit(INTERRUPTED) from None
    except InputError as error:
        LOG.error(str(error))
        if not latest:
            raise
        raise click.ClickException(f"{error}; {_kept(stores, latest)}".removesuffix("; ")) from None
    end = found.end
    with Stored.read(found.path) as store:
        LOG.info(
            "%d of %d points settled, %d failed, %d possessions of this run",
            end.settled, end.points, end.failed, end.possessions,
        )  # fmt: skip
        _tell_failures(store, end)
        best = _best_text(store)
        if best:
            LOG.info(best)
        if not quiet:
            if best:
                say(f"{NAME}: {best}")
            if how["take"] or how["repair"]:
                say(f"{NAME}: {found.taken} of {end.batches} batches were taken over, not played")
            say(f"{NAME}: {end.settled} of {end.points} points are settled in {store.path}")
    if end.failed:
        raise click.exceptions.Exit(SOME_FAILED)


def damage_of(path: str) -> list[str]:
    """What is damaged in a store, a line each; none where it is whole. Raises InputError for another file."""
    from engine.study.sweep.stored import Stored
    from engine.study.sweep.storefile import StoreTrouble

    if not Path(path).is_file():
        raise InputError("--check", "", path, "a file that exists")
    try:
        with Stored.read(path, checked=False) as store:
            return [f"{path}: {words}" for words in store.check()]
    except StoreTrouble as trouble:
        return [str(trouble)]


# --- what is said -------------------------------------------------------------------------------------------


def _more(lines: Sequence[str]) -> str:
    return f" (and {len(lines) - 1} more)" if len(lines) > 1 else ""


def _kept(stores: list[Store], latest: list[Progress]) -> str:
    """What the store of a run that ended early keeps; empty where there was none yet."""
    if not stores:
        return ""
    settled, points = (latest[0].settled, latest[0].points) if latest else (0, stores[0].n_points)
    return f"{settled} of {points} points are settled, and {stores[0].path} keeps every batch that ended; "


def _asked_for(store: Stored) -> str:
    """What the store's rule asks for, in words."""
    from engine.study.sweep.adaptive import effort_of_store, what_is_of

    effort = effort_of_store(store)
    if effort.rule == "fixed":
        return f"{store.target} possessions asked for at every point"
    if effort.rule == "width":
        bounds = f"from {effort.least} to {effort.most} possessions a point"
        return f"until {what_is_of(effort)} is known to {effort.half_width:g}, {bounds}"
    return f"{effort.total} possessions to find the point with the {effort.goal} {what_is_of(effort)}"


def _remark_on_luck(store: Stored, quiet: bool) -> None:
    from engine.study.sweep.adaptive import effort_of_store

    if not quiet and effort_of_store(store).rule == "best" and store.meta["luck"] == "common":
        say(
            f"{NAME}: the points share their luck, so the chance of a right pick will be approximate; "
            'luck = "independent" in the design makes it better founded'
        )


def _best_text(store: Stored) -> str:
    """What rule best has found, in one line; empty for another rule."""
    from engine.study.sweep.adaptive import best_of, effort_of_store, what_is_of

    effort = effort_of_store(store)
    if effort.rule != "best":
        return ""
    found = best_of(store)
    if found is None:
        return "no best point yet: fewer than two points have their least possessions"
    values = ", ".join(f"{path} = {value}" for path, value in found.values.items())
    text = (
        f"{effort.goal} {what_is_of(effort)}: point {found.point + 1} ({values}), {found.mean:+.4f} +- "
        f"{found.half_width:.4f}; next is point {found.next_point + 1}, {found.next_mean:+.4f}; "
        f"chance that point {found.point + 1} is the best of {found.points}: {found.p_correct:.3f} or more"
    )
    if found.approximate:
        text += ", approximately, as the points share their luck"
    return text + (f"; {found.left_out} points left out" if found.left_out else "")


def _tell_failures(store: Stored, end: Progress) -> None:
    if not end.failed:
        return
    reasons = store.failures()
    for point in sorted(reasons)[:MOST_SHOWN]:
        say(f"{NAME}: point {point + 1} failed: {one_line(reasons[point])}")
    more = len(reasons) - MOST_SHOWN
    if more > 0:
        say(f"{NAME}: and {more} more; sweep --status {store.path} counts them")


@contextlib.contextmanager
def _bar(quiet: bool) -> Iterator[Callable[[Progress], None]]:
    """A bar over the points on standard error, unless ``quiet``: time left, points settled and failed."""
    bars: list[Any] = []

    def show(progress: Progress) -> None:
        if quiet:
            return
        done = round(progress.share * progress.points, 1)
        if not bars:  # only now, so that the time to compile does not count
            from tqdm import tqdm

            seldom = {} if sys.stderr.isatty() else {"mininterval": 10.0}
            shape = "{percentage:3.0f}%|{bar}| {elapsed}, {remaining} left{postfix}"
            bars.append(
                tqdm(
                    total=progress.points,
                    initial=done,
                    delay=BAR_DELAY_S,
                    leave=False,
                    file=sys.stderr,
                    bar_format=shape,
                    **seldom,
                )
            )
        counts = f"{progress.settled} of {progress.points} points settled, {progress.failed} failed"
        bars[0].set_postfix_str(counts, refresh=False)
        bars[0].update(done - bars[0].n)

    try:
        yield show
    finally:
        for bar in bars:
            bar.close()


@contextlib.contextmanager
def _logged(path: str | None) -> Iterator[None]:
    """The sweep's log goes to a file as well."""
    if path is None:
        yield
        return
    try:
        handler = logging.FileHandler(path, encoding="utf-8")
    except OSError as error:
        allowed = f"a file that can be written ({error.strerror or error})"
        raise InputError("--log", "", path, allowed) from None
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    before = LOG.level
    LOG.addHandler(handler)
    LOG.setLevel(logging.INFO)
    try:
        yield
    finally:
        LOG.removeHandler(handler)
        LOG.setLevel(before)
        handler.close()


def _size_mb(path: str) -> float:
    """Megabytes of a store, with what a run has not moved into the file itself yet."""
    log = Path(f"{path}-wal")
    return (Path(path).stat().st_size + (log.stat().st_size if log.exists() else 0)) / 1e6


def status_text(path: str) -> str:
    """How far the sweep of a store is, a few lines. Raises InputError."""
    from engine.study.sweep.adaptive import settled_of
    from engine.study.sweep.stored import Stored
    from engine.study.sweep.storefile import being_written

    with Stored.read(path) as store:
        played, failures = store.played(), store.failures()
        settled = settled_of(store)
        running = "a run is writing it now" if being_written(Path(path)) else "nobody is writing it"
        lines = [
            store.meta["title"],
            f"{settled} of {store.n_points} points settled, {len(failures)} failed; {running}",
            f"{int(played.sum())} possessions in {store.n_batches()} batches of each of "
            f"{len(store.settings)} settings; {_asked_for(store)}",
            f"{_size_mb(path):.1f} MB, made {store.meta['made']}, "
            f"seed {store.meta['seed']}, {store.meta['luck']} luck, design {store.meta['digest'][:12]}",
        ]
        lines += [text for text in [_best_text(store)] if text]
        lines += [
            f"point {point + 1} failed: {reason}" for point, reason in list(failures.items())[:MOST_SHOWN]
        ]
        if len(failures) > MOST_SHOWN:
            lines.append(f"and {len(failures) - MOST_SHOWN} more failed")
    return "".join(f"{one_line(line)}\n" for line in lines)


@click.command(short_help="Write the results of a sweep as one table.")
@click.argument("store_path", type=click.Path(), metavar="FILE")
@click.option("--output", "-o", required=True, metavar="FILE", help="Table to write: .parquet or .csv.")
@click.option("--quiet", is_flag=True, help="No remarks.")
def gather(store_path: str, output: str, quiet: bool) -> None:
    """Write the results in the store FILE as one table, a row for every point and setting."""
    from engine.report.sweep_table import check_output, write
    from engine.study.sweep.stored import Stored

    check_output(output)
    with Stored.read(store_path) as store:
        rows = write(store, output, lambda rows: ctrl_c.check())
        failed = len(store.failures())
    if not quiet:
        about = f", {failed} points failed (column failed)" if failed else ""
        say(f"{NAME}: {rows} rows in {output}{about}")
