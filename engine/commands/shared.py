"""What every command shares: options, Ctrl-C, the progress bar, and how a result is delivered."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from engine.errors import InputError

if TYPE_CHECKING:
    from engine.estimate.intervals import Found
    from engine.inputs.scenario import Scenario
    from engine.inputs.sheets import Evening
    from engine.study.evening_report import Asked, Played, ReportSize

NAME = "trapledger"
BAD_INPUT = 2
INTERRUPTED = 130
BROKEN_PIPE = 141
STOPPED = f"{NAME}: stopped"
#: An opponent who learns may take so many times what the trial says: what he tries costs more than what is
#: played, and unlike from scenario to scenario. A choice.
LONGER = 1.5
#: A bar appears only when the work has lasted this long.
BAR_DELAY_S = 1.5


def say(line: str) -> None:
    """One line on standard error; a closed one is no reason to fail."""
    with contextlib.suppress(OSError, ValueError):
        print(line, file=sys.stderr, flush=True)


def one_line(text: str) -> str:
    """Text without line breaks."""
    return " ".join(text.split())


# --- options that several commands share --------------------------------------------------------------

Command = Callable[..., Any]


def _together(*options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    """Several options as one decorator, in their order."""

    def add(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return add


#: The endings of a page's name.
PAGE = (".html", ".htm")


def file_option(*names: str, ends: tuple[str, ...] = (), **about: Any) -> Callable[[Command], Command]:
    """An option that names a file to write, refused before anything is played where it cannot be written.
    ``ends``: what is written is true to a name that ends so, or has no ending (none: to any name)."""

    def can_be_written(context: click.Context, option: click.Parameter, target: str | None) -> str | None:
        if target is not None:
            from engine.report import contract

            if ends and contract.ending(target) not in ("", *ends):
                what = f"{' or '.join(ends)}, for that is what is written"
                allowed = f"a name that ends in {what}, or has no ending"
                raise InputError(option.opts[0], "", target, allowed)
            contract.check_target(target, option.opts[0])
        return target

    return click.option(*names, metavar="FILE", callback=can_be_written, **about)


#: --seed, --threads, --quiet.
run_options = _together(
    click.option("--seed", type=int, help="Seed of the random numbers. [default: the scenario's]"),
    click.option(
        "--threads", type=int, help="Threads; the result does not depend on it. [default: all cores]"
    ),
    click.option("--quiet", is_flag=True, help="No progress and no remarks, only the result."),
)
#: --possessions and those.
size_options = _together(
    click.option("--possessions", "-n", type=int, help="Possessions to play. [default: the scenario's]"),
    run_options,
)
json_option = file_option(
    "--json", "json_target", ends=(".json",), help="Write JSON to FILE; - is standard output."
)
#: --json, --detail.
output_options = _together(
    json_option, click.option("--detail", is_flag=True, help="Everything: four decimals, intervals, hashes.")
)


class CtrlC:
    """Ends the command at Ctrl-C, also while the engine is compiled or loaded.

    That part calls Python from compiled code and from clean-ups, where an exception is printed and lost. So
    a process of our own leaves at once while ``loading`` (nothing has been written by then), and the work
    asks ``check`` between blocks.
    """

    def __init__(self) -> None:
        self.own_process = False
        self.loading = False
        self.seen = False

    def __call__(self, number: int, frame: object) -> NoReturn:
        self.seen = True
        if self.loading and self.own_process:
            say(STOPPED)
            os._exit(INTERRUPTED)
        raise KeyboardInterrupt

    def check(self) -> None:
        """Loading is over. Raise KeyboardInterrupt if there was one that got lost."""
        self.loading = False
        if self.seen:
            raise KeyboardInterrupt

    @contextlib.contextmanager
    def installed(self) -> Iterator[None]:
        """In place of Python's own handler; where that is not in use (ignored, a thread) nothing changes."""
        self.seen = self.loading = False
        usual = signal.getsignal(signal.SIGINT) is signal.default_int_handler
        if not usual or threading.current_thread() is not threading.main_thread():
            yield
            return
        signal.signal(signal.SIGINT, self)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, signal.default_int_handler)


ctrl_c = CtrlC()


@contextlib.contextmanager
def progress_bar(quiet: bool, unit: str = "possession") -> Iterator[Callable[[int, int], None]]:
    """What the work calls after each block: looks for Ctrl-C, and moves a bar on standard error once the work
    has lasted a while (unless ``quiet``)."""
    bars: list[Any] = []

    def show(done: int, total: int) -> None:
        ctrl_c.check()
        if quiet:
            return
        if not bars:  # only now, so that the time to compile does not count
            bars.append(_bar(total, unit))
        bars[0].update(done - bars[0].n)

    try:
        yield show
    finally:
        for bar in bars:
            bar.leave = bar.n >= bar.total  # what is whole stays, and stays whole
            bar.close()


def _bar(total: int, unit: str) -> Any:
    from tqdm import tqdm

    seldom = {} if sys.stderr.isatty() else {"mininterval": 10.0}
    return tqdm(
        total=total,
        unit=f" {unit}s",
        unit_scale=True,
        delay=BAR_DELAY_S,
        leave=False,
        file=sys.stderr,
        **seldom,
    )


def load_engine(quiet: bool) -> None:
    """Say what is going on before the first compile on this machine."""
    ctrl_c.loading = True
    from engine.kernel.batch import is_cached

    if not quiet and not is_cached():
        say(f"{NAME}: compiling the engine for this machine (once, up to a minute) ...")


def say_whose(evening: Evening, quiet: bool) -> None:
    """Say where a file of a folder configs here is played in place of the installed one."""
    from engine.inputs.files import in_place_of_shipped

    mine = None if quiet else in_place_of_shipped(Path(evening.scenario.path))
    if mine is not None:
        say(f"{NAME}: {one_line(mine)} of this folder is read, not the installed one, which differs")


def played(
    evening: Evening,
    parts: tuple[str, ...],
    quiet: bool,
    seed: int | None,
    threads: int | None,
    effort: ReportSize | None = None,
    asked: Asked | None = None,
) -> Played:
    """The parts of an evening: read where a folder of sheets has them, else played, the time said before."""
    from engine.study.evening_file import EveningFile, inputs_digest
    from engine.study.evening_report import Played
    from engine.study.sheet.knobs import FIT_POSSESSIONS, MOST_RUNS

    def told(line: str) -> None:
        if not quiet:
            say(f"{NAME}: {one_line(line)}")

    say_whose(evening, quiet)
    file = None
    if evening.folder is not None:
        file = EveningFile(evening.folder, inputs_digest(evening), told)
    found = Played(evening, seed, threads, effort, asked, file)
    missing = found.missing(*parts)
    if not missing:
        return found
    if file is not None and file.is_of_others():
        told(f"{file.path} is of other sheets or another version: everything is played anew")
    load_engine(quiet)
    seconds = found.expect(*missing)
    kept = f"; kept in {file.path}" if file is not None and file.keeps else ""
    sizes = []
    if missing != ["fit"]:
        n = found.effort.attack_possessions if set(missing) <= {"fit", "attack"} else found.size.possessions
        sizes.append(f"{n:,} possessions, seed {found.size.seed}")
    if "fit" in missing:
        sizes.append(f"fit: at most {MOST_RUNS} runs of {FIT_POSSESSIONS:,}, the scenario's seed")
    learns = found.work("adapted") > 0.0 if "adapted" in missing else False
    told(
        f"about {_lasting(seconds, LONGER if learns else 1.0)} as busy as this machine is now, for "
        f"{', '.join(missing)} "
        f"({'; '.join(sizes)}){kept}"
    )
    with progress_bar(quiet, "part") as progress:
        found.progress = progress
        for name in missing:
            found.part(name)
    return found


def _lasting(seconds: float, longer: float = 1.0) -> str:
    """``40 s``, ``6 min``, ``5 to 8 min``: no finer than it can be known; at the longest ``longer`` times."""
    if seconds < 99.5:
        return f"{max(round(seconds), 1)} s"
    low, high = round(seconds / 60.0), round(longer * seconds / 60.0)
    return f"{low} min" if low == high else f"{low} to {high} min"


def fitted(evening: Evening, quiet: bool, threads: int | None) -> Scenario:
    """The scenario of an evening with the opponent fitted to his sheet, as every command plays him."""
    return played(evening, ("fit",), quiet, None, threads).evening.scenario


def deliver(
    found: Any,
    json_target: str | None,
    text: Callable[[Found], str],
    evening: Evening | None = None,
) -> None:
    """Write the JSON first (it may fail), then the text unless JSON has taken standard output.

    Where the evening played is a folder of sheets, what was filled in and what is to be minded goes with
    both.
    """
    from engine.report import contract

    result = dict(found) if isinstance(found, dict) else found.to_dict()
    if evening is not None and evening.folder is not None:
        result["evening"] = evening.to_dict()
    if json_target is not None:
        contract.write(contract.to_text(result), json_target)
    if json_target != contract.STDOUT:
        from engine.report.screen.evening import assumed_text, evening_text

        sys.stdout.write(text(result))
        sys.stdout.write(assumed_text(result.get("assumed", [])))
        if "evening" in result:
            sys.stdout.write(evening_text(result["evening"]))
        sys.stdout.flush()
