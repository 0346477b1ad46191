"""The table of a sweep as an xarray dataset (optional extra ``research``)."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from engine.errors import InputError
from engine.study.sweep.gather import PROVENANCE, gather, provenance_of
from engine.study.sweep.stored import Stored

if TYPE_CHECKING:
    import xarray


def dataset(path: Path) -> xarray.Dataset:
    """The gathered table of a store with its provenance as attributes.

    Dimensions: one per factor and ``setting`` where the points are the full grid of the factors' values;
    else ``point`` (numbers from 1) and ``setting``, the factors' values standing along ``point``.

    Raises InputError: xarray is not installed, or a damaged store.
    """
    try:
        import xarray
    except ImportError:
        allowed = 'xarray, which is not installed: pip install "trapledger[research]"'
        raise InputError("xarray", "", "", allowed) from None
    with Stored.read(path) as store:
        table, factors, about = gather(store), list(store.factors), provenance_of(store)
    table = table.drop(columns=list(PROVENANCE))
    values = table[factors]
    sizes = [len(values[name].unique()) for name in factors]
    points = values.drop_duplicates()
    if len(points) == int(np.prod(sizes)) == table["point"].nunique():
        cube = xarray.Dataset.from_dataframe(table.set_index([*factors, "setting"]))
        # in the order of the design, not of the alphabet
        order = {name: values[name].unique() for name in factors}
        cube = cube.reindex({**order, "setting": table["setting"].unique()})
    else:
        rows = table.set_index(["point", "setting"])
        cube = xarray.Dataset.from_dataframe(rows.drop(columns=factors))
        cube = cube.reindex(setting=table["setting"].unique())
        own = table.drop_duplicates("point").set_index("point")
        cube = cube.assign_coords({name: ("point", own[name].to_numpy()) for name in factors})
    return cube.assign_attrs(about)
