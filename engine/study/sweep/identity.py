"""What a store of a sweep was made from, kept as text, and the difference to what is here now, in words.

Tallies may be added to a store only if everything their bits depend on is the same: the design, the inputs
it resolves to, and the versions, sources and machine type that play them.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from engine.inputs.base import canonical
from engine.inputs.files import shown_path
from engine.inputs.scenario import resolved
from engine.study.play import versions
from engine.study.sweep.design import Design
from engine.study.sweep.factors import trial_name
from engine.version import __version__
from engine.world.pack import Packed, pack

#: Differences named in one line; the rest is counted.
MOST_NAMED = 3


def versions_here() -> dict[str, str]:
    """What the bits of a sweep may depend on: all of ``versions`` but those of Python and scipy."""
    wanted = {name: told for name, told in versions().items() if name not in ("python", "scipy")}
    return {"trapledger": __version__, **wanted}


def arrays_digest(packed: Packed) -> str:
    """SHA-256 (hexadecimal) of the values in a packed scenario's arrays, gaps between fields left out."""
    digest = hashlib.sha256()
    worlds = [packed.home]
    for setting in packed.settings:
        worlds += [setting.world] if setting.base is None else [setting.world, setting.base]
    for world in worlds:
        _add_values(digest, np.asarray(world))
    return digest.hexdigest()


def _add_values(digest: hashlib._Hash, array: np.ndarray) -> None:
    if array.dtype.names is None:
        digest.update(np.ascontiguousarray(array).tobytes())
        return
    for name in array.dtype.names:
        _add_values(digest, array[name])


def about(design: Design) -> dict[str, str]:
    """What a store keeps of a design, each value as text.

    ``identity``, ``trials`` and ``versions`` decide whether tallies may be added; the rest is for reading.
    """
    base = design.opened.base
    identity = {**design.identity, "arrays of the scenario": arrays_digest(pack(base))}
    calls = {setting.name: [call.spot for call in setting.calls] for setting in base.settings}
    return {
        "identity": canonical(identity),
        "trials": canonical(design.trials),
        "versions": canonical(versions_here()),
        "digest": design.digest,
        "scenario": canonical(resolved(base)),
        "title": design.title,
        "scenario_path": shown_path(design.scenario_path),
        "settings": canonical(list(design.settings)),
        "calls": canonical(calls),
        "over_n": str(base.over_n),
        "assumed": canonical(base.assumed),
        "factors": canonical([factor.path for factor in design.factors]),
        "scales": canonical({factor.path: factor.scale for factor in design.factors}),
        "design": canonical(design.summary),
        "batch": str(design.batch),
        "seed": str(design.seed),
        "luck": design.luck,
        "points": str(len(design.points)),
    }


def point_rows(design: Design) -> Iterator[tuple[str, str]]:
    """Of every point its values as JSON, and its key: a SHA-256 of all that the bits of its batches depend on
    beside their place in the row of possessions. Equal keys give equal tallies, in whatever design."""
    base = {
        "versions": versions_here(),
        "arrays of the scenario": arrays_digest(pack(design.opened.base)),
        **{name: design.identity[name] for name in ("scenario", "court layout", "settings", "seed")},
    }
    whole = hashlib.sha256(canonical(base).encode("utf-8")).hexdigest()
    for number, point in enumerate(design.points):
        values = canonical(point)
        files = [
            design.trials.get(trial_name(*item), "") for item in point.items() if isinstance(item[1], str)
        ]
        text = f"{whole} {design.offset(number)} {values} {files}"
        yield values, hashlib.sha256(text.encode("utf-8")).hexdigest()


def differences(
    kept: Mapping[str, str], now: Mapping[str, str], design: Design, rows: Mapping[int, str]
) -> str:
    """How what a store was made from differs from what is here, in words; "" where it does not.

    ``rows`` are the values of the store's points as JSON, by point.
    """
    found = [f"{name}: {text}" for name, text in _pairs(kept, now, "versions")]
    identity = dict(_pairs(kept, now, "identity"))
    scenario = list(_deep(json.loads(kept["scenario"]), json.loads(now["scenario"]), ""))
    found += scenario
    if scenario:  # they follow from the scenario, which has been named
        identity.pop("scenario", None)
        identity.pop("arrays of the scenario", None)
    if "points" in identity:
        identity["points"] = _point_difference(design, rows) or identity["points"]
    found += [f"{name}: {text}" for name, text in identity.items()]
    if not found:  # the same text may name another file
        old, new = json.loads(kept["trials"]), json.loads(now["trials"])
        found = [f"what {name} comes to" for name in old if name in new and old[name] != new[name]]
    if len(found) > MOST_NAMED:
        found = [*found[:MOST_NAMED], f"and {len(found) - MOST_NAMED} more"]
    return "; ".join(found)


def _pairs(kept: Mapping[str, str], now: Mapping[str, str], key: str) -> Iterator[tuple[str, str]]:
    old, new = json.loads(kept[key]), json.loads(now[key])
    for name in [*old, *(name for name in new if name not in old)]:
        if old.get(name) != new.get(name):
            yield name, _was(old.get(name), new.get(name))


def _point_difference(design: Design, rows: Mapping[int, str]) -> str:
    """The first point whose values differ."""
    if len(rows) != len(design.points):
        return _was(len(rows), len(design.points))
    for point, text in sorted(rows.items()):
        old, new = json.loads(text), json.loads(canonical(design.points[point]))
        if old != new:
            return f"point {point + 1}: " + "; ".join(_deep(old, new, ""))
    return ""


def _deep(old: Any, new: Any, path: str) -> Iterator[str]:
    """Every place where two JSON values differ."""
    if isinstance(old, dict) and isinstance(new, dict):
        for name in sorted({*old, *new}):
            if name in old and name in new:
                yield from _deep(old[name], new[name], f"{path}.{name}" if path else name)
            else:
                kind = "is new" if name in new else "is gone"
                yield f"{path}.{name} {kind}" if path else f"{name} {kind}"
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for i, (one, other) in enumerate(zip(old, new, strict=True), 1):
            yield from _deep(one, other, f"{path}[{i}]")
    elif old != new:
        yield f"{path}: {_was(old, new)}"


def _was(old: Any, new: Any) -> str:
    return f"{_short(old)} in the store, {_short(new)} here"


def _short(value: Any) -> str:
    text = value if isinstance(value, str) else canonical(value)
    return text if len(text) <= 60 else text[:57] + "..."
