"""The methods paragraph of an analysis: what was played and worked out, in words that can be cited."""

from __future__ import annotations

from pathlib import Path

from engine.study.sweep.analyse.analysis import QUANTITIES, Analysis
from engine.study.sweep.analyse.files import put

METHODS = {
    "grid": "the full grid of their values",
    "latin_hypercube": "a Latin hypercube",
    "sobol": "scrambled Sobol points",
    "saltelli": "Saltelli's scheme on scrambled Sobol points",
    "morris": "trajectories of a Morris screening",
    "random_balance": "a random balance (few factors at an end of their range, the rest at their own value)",
    "table": "a table of points",
}
REFERENCES = {
    "Saltelli's scheme": "Saltelli et al. (2010) Computer Physics Communications 181:259",
    "from given data": "RBD-FAST as in SALib, correlation ratios for factors of few values",
    "screening": "Morris (1991) Technometrics 33:161; Campolongo et al. (2007)",
}


def methods_text(found: Analysis) -> str:
    """A paragraph on the points, the possessions, the estimates and their origin (Markdown, one page)."""
    sweep, about, design = found.sweep, found.sweep.provenance, found.sweep.design
    table = sweep.table[sweep.table["possessions"] > 0]
    factors = [f"{one['path']} ({_range(one)})" for one in design.get("factors", [])]
    least, most = int(table["possessions"].min()), int(table["possessions"].max())
    each = f"{least:,}" if least == most else f"{least:,} to {most:,}"
    luck = (
        "the same possession numbers at every point (common random numbers)"
        if sweep.luck == "common"
        else "possession numbers of its own at every point"
    )
    quantity = QUANTITIES[found.quantity]
    methods = sorted(set(found.indices["method"]))
    lines = [
        f"# Methods: {sweep.title}",
        "",
        f"Basketball possessions were simulated with Trapledger {about['version']} at "
        f"{table['point'].nunique():,} of {len(sweep.points):,} points of "
        f"{METHODS.get(design.get('method', ''), 'a design')} "
        f"(seed of the points {design.get('design_seed')}) over {len(sweep.points.columns)} factors, {each} "
        f"possessions "
        f"of each of {len(sweep.settings)} settings a point, with {luck}, seed {about['seed']}. The "
        f"quantity is "
        f"{quantity.words} ({quantity.unit}). Every setting was compared with staying home on the same "
        f"possessions. Intervals hold 95 % and describe the luck of the possessions (and, for indices, the "
        f"choice of "
        f"the points), never the error of the model; fewer than 30 events bear none. Sensitivity: "
        f"{', '.join(_method(one) for one in methods)}; the share of the spread that is luck was taken out "
        f"where it "
        f"can be told, indices with intervals wider than 0.5 are not given, and floors are for all factors "
        f"together. "
        f"Resampling seed {found.seed}.",
    ]
    if len(found.metamodel):
        first = found.metamodel.groupby("setting").first()
        told = ", ".join(f"{one.foretold_true:.0%} ({name})" for name, one in first.iterrows())
        lines[2] += (
            " A Gaussian process (Matern 5/2, a length for every factor, the luck of each point as its "
            "noise; "
            f"scikit-learn) foretells, points left out, this share of the true spread: {told}."
        )
    if len(found.slopes) and not found.slopes["reason"].any():
        first = found.slopes.groupby("setting").first()
        told = ", ".join(
            f"{one.explained:.0%} ({name})"
            for name, one in first.iterrows()
            if one.explained == one.explained
        )
        lines[2] += (
            " Slopes: least squares on all factors at once, points weighted by the events their figure rests "
            "on, errors HC2 (MacKinnon and White 1985), floors for all factors together"
            + (f"; the straight lines explain this share of the true spread: {told}." if told else ".")
        )
    lines += ["", "Factors: " + "; ".join(factors) + ".", ""]
    if sweep.assumed:
        lines += ["Assumed, because the files do not say: " + " ".join(sweep.assumed), ""]
    lines += ["| origin | |", "|---|---|", *(f"| {key} | {value} |" for key, value in about.items()), ""]
    return "\n".join(lines)


def _method(words: str) -> str:
    return f"{words} ({REFERENCES[words]})" if words in REFERENCES else words


def _range(factor: dict[str, object]) -> str:
    values = factor.get("values")
    if isinstance(values, list) and values:
        return ", ".join(map(str, values))
    return f"{factor.get('low')} to {factor.get('high')}" + (
        ", log scale" if factor.get("scale") == "log" else ""
    )


def write_methods(found: Analysis, folder: Path) -> Path:
    """Write the paragraph as ``methods.md``; the file. Raises InputError."""
    text = methods_text(found)
    return put(folder / "methods.md", lambda at: at.write_text(text, encoding="utf-8"))
