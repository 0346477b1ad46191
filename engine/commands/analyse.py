"""The command that turns a sweep's store into tables and pictures."""

from __future__ import annotations

import click

from engine.commands.shared import NAME, ctrl_c, one_line, say


@click.command(short_help="Tables and pictures of a sweep: what its outcomes depend on.")
@click.argument("store", type=click.Path(), metavar="FILE")
@click.option("--output", "-o", required=True, metavar="FOLDER", help="Folder to write to; made if missing.")
@click.option(
    "--setting", "settings", multiple=True, help="Setting to look at, several if repeated. [default: all]"
)
@click.option(
    "--quantity", default="change", show_default=True, help="Column of the gathered table to look at."
)
@click.option("--metamodel", is_flag=True, help="Fit a Gaussian process, too (extra research).")
@click.option("--seed", type=click.IntRange(1), default=1, show_default=True, help="Of the resampling.")
@click.option("--quiet", is_flag=True, help="No remarks.")
def analyse(
    store: str,
    output: str,
    settings: tuple[str, ...],
    quantity: str,
    metamodel: bool,
    seed: int,
    quiet: bool,
) -> None:
    """Write indices, response curves and the trade-off of the sweep in the store FILE to a folder.

    Tables as Parquet and CSV, pictures as PNG and SVG, a methods paragraph to cite. Quantities: change,
    points, net, value, turnover, p_rim_shot, p_two_or_more, offensive_rebound, three_attempts, rim_attempts.
    """
    from engine.study.sweep.analyse.analysis import analyse as run
    from engine.study.sweep.analyse.analysis import chosen_settings, read
    from engine.study.sweep.analyse.files import whole_folder, write

    sweep = read(store, quantity)
    chosen = settings or None
    chosen_settings(sweep, quantity, chosen)
    with whole_folder(output) as folder:
        ctrl_c.check()
        found = run(sweep, quantity, chosen, seed, metamodel)
        ctrl_c.check()
        from engine.report.sweep_figures import draw
        from engine.report.sweep_methods import write_methods

        files = [*write(found, folder), *draw(found, folder), write_methods(found, folder)]
    if not quiet:
        for name, reason in found.indices[["setting", "reason"]].drop_duplicates().itertuples(index=False):
            if reason:
                say(f"{NAME}: {one_line(name)}: no indices: {reason}")
        say(f"{NAME}: {len(files)} files in {output}")
