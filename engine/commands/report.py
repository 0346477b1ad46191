"""The command that writes the coach's pages."""

from __future__ import annotations

import sys

import click

from engine.commands.shared import (
    ctrl_c,
    load_engine,
    progress_bar,
)


@click.command(short_help="Write the coach's report, and a bench page on one sheet.")
@click.argument("scenario", type=click.Path())
@click.option(
    "--output", "-o", required=True, metavar="FILE", help="HTML file to write; - is standard output."
)
@click.option("--bench", metavar="FILE", help="Write the bench page to a file of its own, too.")
@click.option("--seed", type=int, help="Seed of the random numbers. [default: the scenario's]")
@click.option("--threads", type=int, help="Threads; the result does not depend on it. [default: all cores]")
@click.option("--quiet", is_flag=True, help="No progress and no remarks.")
def report(
    scenario: str, output: str, bench: str | None, seed: int | None, threads: int | None, quiet: bool
) -> None:
    """Play SCENARIO (a file, or a folder of sheets) and write what a coach needs as one page (HTML).

    The answer comes first, then ledger, court pictures, plan, practice, line-up, cautions and an appendix.
    Printed, its last page is the bench page; --bench writes that page alone. No page needs the network.
    """
    from engine.report import contract

    contract.check_target(output, "--output")
    if bench is not None:
        contract.check_target(bench, "--bench")
        if bench == output:
            raise click.UsageError("--output and --bench name the same file")
    from engine.inputs.sheets import load_evening
    from engine.run.blocks import check_size

    evening = load_evening(scenario)
    check_size(1, evening.scenario.seed if seed is None else seed, threads)
    from engine.report.page.answer import headline
    from engine.report.page.page import bench_page, report_page
    from engine.report.words import paragraph
    from engine.study.evening_report import evening_report

    load_engine(quiet)
    with progress_bar(quiet, "part") as progress:
        found = evening_report(evening, seed, threads, progress=progress)
    ctrl_c.check()
    contract.write(report_page(found), output, "--output")
    if bench is not None:
        contract.write(bench_page(found), bench, "--bench")
    if quiet or contract.STDOUT in (output, bench):
        return
    files = output if bench is None else f"{output}, {bench}"
    sys.stdout.write(f"{paragraph(headline(found))}\n{paragraph(f'The page is in {files}.')}\n")
    sys.stdout.flush()
