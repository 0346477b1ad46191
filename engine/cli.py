"""The command line: the group of commands and the way in."""

from __future__ import annotations

import contextlib
import os
import sys
import warnings
from typing import NoReturn, TextIO

import click

import engine
from engine.commands.analyse import analyse
from engine.commands.evening import attack, lineup, new, plan, replay, report, timing
from engine.commands.files import check, trace
from engine.commands.shared import BAD_INPUT, BROKEN_PIPE, INTERRUPTED, NAME, STOPPED, ctrl_c, one_line, say
from engine.commands.studies import adapt, compare, patterns, play, stress
from engine.commands.sweeps import gather, sweep
from engine.errors import Incomplete, InputError


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(engine.__version__, prog_name=NAME)
def commands() -> None:
    """Plays basketball possessions against a zone (or man-to-man) and weighs every trap call.

    Try: trapledger compare configs/scenarios/friday_night.toml
    """


for command in (
    new,
    compare,
    play,
    stress,
    adapt,
    patterns,
    sweep,
    gather,
    analyse,
    check,
    trace,
    replay,
    plan,
    timing,
    lineup,
    attack,
    report,
):
    commands.add_command(command)


# --- the way in ---------------------------------------------------------------------------------------


def _leave_broken_pipe() -> int:
    """Nobody reads standard output any more: send what is left nowhere, so that nothing complains at exit."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return BROKEN_PIPE


def run(arguments: list[str] | None = None) -> int:
    """Run one command and return its exit status: 0, 1 some points of a sweep failed, 2 bad input, 130
    stopped by Ctrl-C, 141 nobody reads.

    Bad input is one line on standard error.
    """
    try:
        given = list(sys.argv[1:] if arguments is None else arguments)
        with ctrl_c.installed(), commands.make_context(NAME, given) as context:
            commands.invoke(context)
            sys.stdout.flush()
        return 0
    except click.exceptions.NoArgsIsHelpError as error:
        say(error.format_message())
        return BAD_INPUT
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except (InputError, click.ClickException) as error:
        text = error.format_message() if isinstance(error, click.ClickException) else str(error)
        say(f"{NAME}: {one_line(text)}")
        return BAD_INPUT
    except (KeyboardInterrupt, click.exceptions.Abort):
        say(STOPPED)
        return INTERRUPTED
    except BrokenPipeError:
        return _leave_broken_pipe()


def _one_line_warnings() -> None:
    """What a result lacks (Incomplete) is said in one line on standard error; other warnings as usual."""
    usual = warnings.showwarning

    def show(
        message: Warning | str,
        category: type[Warning],
        filename: str,
        lineno: int,
        file: TextIO | None = None,
        line: str | None = None,
    ) -> None:
        if issubclass(category, Incomplete):
            say(f"{NAME}: {one_line(str(message))}")
        else:
            usual(message, category, filename, lineno, file, line)

    warnings.showwarning = show


def main() -> NoReturn:
    """Entry point of the command ``trapledger``."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    _one_line_warnings()
    ctrl_c.own_process = True
    sys.exit(run())


if __name__ == "__main__":
    main()
