"""The command line: thin commands that load the compiled part only when they need it."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from typing import Any, NoReturn

import click

import engine
from engine.errors import InputError

# Numpy is loaded later: its BLAS must not start threads beside the players': x1.5, not x1.97.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

NAME = "trapledger"
BAD_INPUT = 2
INTERRUPTED = 130
BROKEN_PIPE = 141
STOPPED = f"{NAME}: stopped"
#: A bar appears only when the work has lasted this long.
BAR_DELAY_S = 1.5


def _say(line: str) -> None:
    """One line on standard error; a closed one is no reason to fail."""
    with contextlib.suppress(OSError, ValueError):
        print(line, file=sys.stderr, flush=True)


def _one_line(text: str) -> str:
    return " ".join(text.split())


# --- options that several commands share --------------------------------------------------------------

Command = Callable[..., Any]


def _size_options(command: Command) -> Command:
    for option in (
        click.option("--quiet", is_flag=True, help="No progress and no remarks, only the result."),
        click.option(
            "--threads", type=int, help="Threads; the result does not depend on it. [default: all cores]"
        ),
        click.option("--seed", type=int, help="Seed of the random numbers. [default: the scenario's]"),
        click.option("--possessions", "-n", type=int, help="Possessions to play. [default: the scenario's]"),
    ):
        command = option(command)
    return command


def _output_options(command: Command) -> Command:
    for option in (
        click.option("--detail", is_flag=True, help="Everything: four decimals, intervals, hashes."),
        click.option(
            "--json", "json_target", metavar="FILE", help="Write JSON to FILE; - is standard output."
        ),
    ):
        command = option(command)
    return command


class _CtrlC:
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
            _say(STOPPED)
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
        usual = signal.getsignal(signal.SIGINT) is signal.default_int_handler
        if not usual or threading.current_thread() is not threading.main_thread():
            yield
            return
        self.seen = self.loading = False
        signal.signal(signal.SIGINT, self)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, signal.default_int_handler)


_ctrl_c = _CtrlC()


@contextlib.contextmanager
def _progress(quiet: bool, unit: str = "possession") -> Iterator[Callable[[int, int], None]]:
    """What the work calls after each block: looks for Ctrl-C, and moves a bar on standard error once the work
    has lasted a while (unless ``quiet``)."""
    bars: list[Any] = []

    def show(done: int, total: int) -> None:
        _ctrl_c.check()
        if quiet:
            return
        if not bars:  # only now, so that the time to compile does not count
            bars.append(_bar(total, unit))
        bars[0].update(done - bars[0].n)

    try:
        yield show
    finally:
        for bar in bars:
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


def _load_engine(quiet: bool) -> None:
    """Say what is going on before the first compile on this machine."""
    _ctrl_c.loading = True
    from engine.kernel.batch import is_cached

    if not quiet and not is_cached():
        _say(f"{NAME}: compiling the engine for this machine (once, up to a minute) ...")


def _deliver(found: Any, json_target: str | None, text: Callable[[dict[str, Any]], str]) -> None:
    """Write the JSON first (it may fail), then the text unless JSON has taken standard output."""
    from engine.report import contract

    result = found.to_dict()
    if json_target is not None:
        contract.write(contract.to_text(result), json_target)
    if json_target != contract.STDOUT:
        sys.stdout.write(text(result))
        sys.stdout.flush()


# --- commands -----------------------------------------------------------------------------------------


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(engine.__version__, prog_name=NAME)
def commands() -> None:
    """Plays basketball possessions against a 2-3 zone and weighs every trap call.

    Try: trapledger compare configs/scenarios/friday_night.toml
    """


@commands.command(short_help="Weigh every trap setting against staying home.")
@click.argument("scenario", type=click.Path())
@_size_options
@_output_options
def compare(
    scenario: str,
    possessions: int | None,
    seed: int | None,
    threads: int | None,
    quiet: bool,
    json_target: str | None,
    detail: bool,
) -> None:
    """Weigh every trap setting of SCENARIO against staying home in the zone."""
    from engine.report import contract

    if json_target is not None:
        contract.check_target(json_target)
    from engine.study.play import open_scenario, run_size

    loaded = open_scenario(scenario)
    run_size(loaded, possessions, seed, threads)
    from engine.report.text import compare_text
    from engine.study.compare import compare as run

    _load_engine(quiet)
    with _progress(quiet) as progress:
        found = run(loaded, possessions, seed, threads, progress)
    _deliver(found, json_target, lambda result: compare_text(result, detail))


@commands.command(short_help="Play one setting: box score, endings, shots, pace.")
@click.argument("scenario", type=click.Path())
@click.option("--setting", default="home", show_default=True, help="Setting to play; home is the zone alone.")
@_size_options
@_output_options
def play(
    scenario: str,
    setting: str,
    possessions: int | None,
    seed: int | None,
    threads: int | None,
    quiet: bool,
    json_target: str | None,
    detail: bool,
) -> None:
    """Play one setting of SCENARIO: box score, endings, shots by distance, pace."""
    from engine.report import contract

    if json_target is not None:
        contract.check_target(json_target)
    from engine.study.play import check_setting, open_scenario, run_size

    loaded = open_scenario(scenario)
    run_size(loaded, possessions, seed, threads)
    check_setting(loaded, setting)
    from engine.report.text import play_text
    from engine.study.play import play as run

    _load_engine(quiet)
    with _progress(quiet) as progress:
        found = run(loaded, possessions, seed, threads, setting, progress)
    _deliver(found, json_target, lambda result: play_text(result, detail))


@commands.command(short_help="Check files and say what each means.")
@click.argument("paths", nargs=-1, required=True, type=click.Path(), metavar="PATH...")
@click.option("--quiet", is_flag=True, help="Say nothing about files that are good.")
def check(paths: tuple[str, ...], quiet: bool) -> None:
    """Check files or folders and say in one line what each of them means."""
    from engine.checking import check_path

    bad = False
    for path in paths:
        try:
            lines = check_path(path)
        except InputError as error:
            _say(f"{NAME}: {_one_line(str(error))}")
            bad = True
            continue
        if not quiet:
            sys.stdout.write("".join(f"{_one_line(line)}\n" for line in lines))
    sys.stdout.flush()
    if bad:
        raise click.exceptions.Exit(BAD_INPUT)


@commands.command(short_help="Write one possession as a table (CSV).")
@click.argument("scenario", type=click.Path())
@click.option("--index", type=int, required=True, help="Number of the possession, from 0.")
@click.option("--setting", default="home", show_default=True, help="Setting to play; home is the zone alone.")
@click.option("--seed", type=int, help="Seed of the random numbers. [default: the scenario's]")
@click.option("--events", is_flag=True, help="What happened instead of the state per tick.")
@click.option("--quiet", is_flag=True, help="No remarks, only the result.")
@click.option("--output", "-o", default="-", metavar="FILE", help="CSV file to write; - is standard output.")
def trace(
    scenario: str, index: int, setting: str, seed: int | None, events: bool, quiet: bool, output: str
) -> None:
    """Play one possession of SCENARIO again and write it as a table (CSV)."""
    from engine.report import contract

    contract.check_target(output, "--output")
    from engine.study.play import check_setting, open_scenario
    from engine.study.replay import check_index, replay

    loaded = open_scenario(scenario)
    check_index(index)
    check_setting(loaded, setting)
    _load_engine(quiet)
    found = replay(loaded, index, setting, seed)
    _ctrl_c.check()
    table = found.events() if events else found.frames()
    contract.write(table.to_csv(index=False, float_format="%.4f", lineterminator="\n"), output, "--output")


# --- the way in ---------------------------------------------------------------------------------------


def _leave_broken_pipe() -> int:
    """Nobody reads standard output any more: send what is left nowhere, so that nothing complains at exit."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return BROKEN_PIPE


def run(arguments: list[str] | None = None) -> int:
    """Run one command and return its exit status: 0, 2 bad input, 130 stopped by Ctrl-C, 141 nobody reads.

    Bad input is one line on standard error.
    """
    try:
        given = list(sys.argv[1:] if arguments is None else arguments)
        with _ctrl_c.installed(), commands.make_context(NAME, given) as context:
            commands.invoke(context)
            sys.stdout.flush()
        return 0
    except click.exceptions.NoArgsIsHelpError as error:
        _say(error.format_message())
        return BAD_INPUT
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except (InputError, click.ClickException) as error:
        text = error.format_message() if isinstance(error, click.ClickException) else str(error)
        _say(f"{NAME}: {_one_line(text)}")
        return BAD_INPUT
    except (KeyboardInterrupt, click.exceptions.Abort):
        _say(STOPPED)
        return INTERRUPTED
    except BrokenPipeError:
        return _leave_broken_pipe()


def main() -> NoReturn:
    """Entry point of the command ``trapledger``."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    _ctrl_c.own_process = True
    sys.exit(run())


if __name__ == "__main__":
    main()
