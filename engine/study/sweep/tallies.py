"""The unit of work of a sweep and what is kept of it: whole numbers that add, and their bytes.

A batch is a run of possessions of one point. Its tally holds the sums every estimate of a setting needs
(estimate.tally) for staying home and for each setting. All entries are integers, so adding batches in any
order, on any machine, gives the same total, and equal tallies have equal digests.
"""

from __future__ import annotations

import hashlib
import math
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

import numpy as np

from engine.estimate.tally import N_NET, BoxTally, IntArray, PairTally, Tally, count_pairs
from engine.inputs.defaults import HOME
from engine.run.blocks import Runner
from engine.run.branches import Branch, Plan, branches_of, play_setting
from engine.state.record import COLUMN, N_RECORD

#: Number of the bytes' layout; a reader refuses another one.
FORMAT = 2
MAGIC = b"tally" + bytes([FORMAT])
#: Columns of ``moments``: sums over possessions, per branch.
MOMENTS = ("n", "points", "points_squared", "net", "net_squared", "change", "change_squared")

_TRIANGLE = np.triu_indices(N_RECORD)
#: Where in the row of a triangle's numbers each cell of the symmetric whole is.
_UNFOLD = np.zeros((N_RECORD, N_RECORD), dtype=np.int64)
_UNFOLD[_TRIANGLE] = _UNFOLD.T[_TRIANGLE] = np.arange(len(_TRIANGLE[0]))
_SHADOW = COLUMN["shadow"]


@dataclass(frozen=True, order=True, slots=True)
class Batch:
    """Possessions ``first .. first + count - 1`` of one point, numbered within the point."""

    point: int
    first: int
    count: int


@dataclass(frozen=True, eq=False)
class SettingSums(Tally):
    """Whole-number sums of one setting: its possessions, int64[N_NET, N_NET] on (home, setting) net points,
    the pairs with its base, and possessions without a call that were compared with the base and differed."""

    box: BoxTally
    with_home: IntArray
    pairs: PairTally
    checked: int
    differences: int


@dataclass(frozen=True)
class BatchTally:
    """Staying home and every setting over some possessions of a point; ``+`` adds two."""

    home: BoxTally
    settings: tuple[SettingSums, ...]

    def __add__(self, other: BatchTally) -> BatchTally:
        pairs = zip(self.settings, other.settings, strict=True)
        return BatchTally(self.home + other.home, tuple(mine + theirs for mine, theirs in pairs))

    @property
    def n(self) -> int:
        """Possessions of each branch."""
        return self.home.n

    def payload(self) -> bytes:
        """Every number as little-endian int64, the lowest bytes of all numbers first, then the next (most
        are small, so the high bytes are long runs of zeros). Depends on the numbers alone."""
        head = [N_RECORD, N_NET, len(self.settings), *(one.pairs.n_spots for one in self.settings)]
        parts = [np.array(head, dtype=np.int64), *_numbers(self.home)]
        for one in self.settings:
            parts += _numbers(one)
        numbers = np.concatenate(parts).astype("<i8", copy=False)
        return numbers.view(np.uint8).reshape(-1, 8).T.tobytes()

    @classmethod
    def from_payload(cls, payload: bytes) -> BatchTally:
        """The tally that ``payload`` wrote. Raises ValueError for other bytes, or those of another record."""
        if len(payload) % 8 or len(payload) < 3 * 8:
            raise ValueError("not a tally: its length is no whole number of integers")
        planes = np.frombuffer(payload, dtype=np.uint8).reshape(8, -1)
        numbers = np.ascontiguousarray(planes.T).view("<i8").ravel().astype(np.int64)
        columns, bins, n_settings = (int(value) for value in numbers[:3])
        if (columns, bins) != (N_RECORD, N_NET):
            raise ValueError(
                f"a tally of {columns} record columns and {bins} net bins, here {N_RECORD} and {N_NET}"
            )
        spots = [int(value) for value in numbers[3 : 3 + n_settings]]
        reader = _Reader(numbers, 3 + n_settings)
        home = reader.box()
        found = cls(home, tuple(reader.setting(n_spots) for n_spots in spots))
        if reader.at != len(numbers):
            raise ValueError("not a tally: numbers are left over")
        return found


def pack_payload(payload: bytes) -> bytes:
    """Payload to blob: a mark with the layout's number, then zlib, looking for runs alone: in less than half
    the time of its usual way, and one part in twelve larger."""
    packer = zlib.compressobj(strategy=zlib.Z_RLE)
    return MAGIC + packer.compress(payload) + packer.flush()


def unpack_payload(blob: bytes) -> bytes:
    """Blob to payload. Raises ValueError for anything but a blob of this layout."""
    if not blob.startswith(MAGIC):
        raise ValueError(f"not a tally of layout {FORMAT}")
    try:
        return zlib.decompress(blob[len(MAGIC) :])
    except zlib.error as error:
        raise ValueError(f"not a tally: {error}") from None


def digest_of(payload: bytes) -> str:
    """SHA-256 (hexadecimal) of a payload: of the numbers, whatever compressed them."""
    return hashlib.sha256(payload).hexdigest()


def _numbers(tally: Tally) -> Iterator[IntArray]:
    """Every number of a tally in the order of its fields; of the symmetric cross sums one half."""
    for field in fields(tally):
        value = getattr(tally, field.name)
        if isinstance(value, Tally):
            yield from _numbers(value)
        elif field.name == "cross":
            yield value[_TRIANGLE]
        else:
            yield np.asarray(value, dtype=np.int64).ravel()


@lru_cache(maxsize=64)
def _shapes(of_pairs: bool, n_spots: int) -> dict[str, tuple[int, ...] | None]:
    """Shape of every field of an empty tally, None for a plain number."""
    empty: Tally = PairTally.zero(n_spots) if of_pairs else BoxTally.zero()
    values = {field.name: getattr(empty, field.name) for field in fields(empty)}
    return {name: None if isinstance(value, int) else value.shape for name, value in values.items()}


class _Reader:
    """Takes tallies out of a row of numbers."""

    def __init__(self, numbers: IntArray, at: int) -> None:
        self.numbers, self.at = numbers, at

    def take(self, count: int) -> IntArray:
        found = self.numbers[self.at : self.at + count]
        if len(found) != count:
            raise ValueError("not a tally: numbers are missing")
        self.at += count
        return found

    def _values(self, of_pairs: bool, n_spots: int = 0) -> dict[str, Any]:
        values: dict[str, Any] = {}
        for name, shape in _shapes(of_pairs, n_spots).items():
            if shape is None:
                values[name] = int(self.take(1)[0])
            elif name == "cross":
                values[name] = self.take(len(_TRIANGLE[0]))[_UNFOLD]
            else:
                values[name] = self.take(math.prod(shape)).reshape(shape).copy()
        return values

    def box(self) -> BoxTally:
        return BoxTally(**self._values(False))

    def setting(self, n_spots: int) -> SettingSums:
        box = self.box()
        with_home = self.take(N_NET * N_NET).reshape(N_NET, N_NET).copy()
        pairs = PairTally(**self._values(True, n_spots))
        checked, differences = (int(value) for value in self.take(2))
        return SettingSums(box, with_home, pairs, checked, differences)


@dataclass(frozen=True)
class Outcome:
    """What became of a batch: the tally's bytes with the SHA-256 of its numbers, or the reason why there is
    none; its ``moments`` (engine.study.sweep.tallies), seconds taken and the machine's name."""

    batch: Batch
    blob: bytes | None
    sha256: str
    moments: IntArray | None
    reason: str | None
    seconds: float
    host: str


# --- playing ------------------------------------------------------------------------------------------------


def chosen_plan(packed: Any, settings: Sequence[str]) -> Plan:
    """The plan of a packed scenario with the settings named, in that order; home is in it anyway.

    Raises:
        KeyError: a name the scenario does not have.
    """
    whole = branches_of(packed)
    by_name = {one.name: one for one in whole.settings}
    return Plan(whole.home, whole.bases, tuple(by_name[name] for name in settings if name != HOME))


def play_batch(
    packed: Any, settings: Sequence[str], seed: int, offset: int, batch: Batch, runner: Runner | None = None
) -> BatchTally:
    """Play a batch of a point and add it up.

    ``packed`` are the point's arrays, ``settings`` names (staying home is always played), ``offset`` the
    point's first possession number (``Design.offset``). Only possessions in which a setting makes a call are
    played again for it. ``runner`` (of the same seed) keeps buffers from batch to batch.
    """
    runner = Runner(seed) if runner is None else runner
    chosen = chosen_plan(packed, settings)
    first, count = offset + batch.first, batch.count
    home = runner.block(chosen.home, first, count, HOME)
    used = {one.base for one in chosen.settings}
    bases = [
        runner.block(world, first, count, f"base {i}") if i in used else home
        for i, world in enumerate(chosen.bases)
    ]
    home_box = BoxTally.from_records(home)
    found = []
    for one in chosen.settings:
        branch = play_setting(runner, one, first, home, bases)
        pairs = PairTally.from_records(branch.base, branch.records, one.n_calls)
        own_base = one.base is not None
        box = BoxTally.from_records(branch.records) if own_base else _box_beside(home_box, branch)
        with_home = count_pairs(home, branch.records) if own_base else pairs.all_pairs
        found.append(SettingSums(box, with_home, pairs, branch.checked, branch.differences))
    return BatchTally(home_box, tuple(found))


def _box_beside(base_box: BoxTally, branch: Branch) -> BoxTally:
    """``BoxTally.from_records(branch.records)`` from the base's: without a call a possession is the base's,
    so only the others are taken out and put in. Integers, hence exactly the same."""
    called = branch.records[:, COLUMN["first_call"]] > 0
    out = BoxTally.from_records(branch.base[called])
    into = BoxTally.from_records(branch.records[called])
    values = {
        field.name: getattr(base_box, field.name) - getattr(out, field.name) + getattr(into, field.name)
        for field in fields(BoxTally)
    }
    values["sums"][_SHADOW] = 0  # what home watched for other settings is no play of this one
    return replace(base_box, **values)


def moments(tally: BatchTally) -> IntArray:
    """Sums from which means and their errors follow, int64[1 + settings, len(MOMENTS)], home first.

    ``change`` is the setting's net points minus home's, possession by possession.
    """
    rows = [_moments(tally.home, None)]
    rows += [_moments(one.box, one.with_home) for one in tally.settings]
    return np.array(rows, dtype=np.int64)


#: Net points of the setting minus home's, int64[N_NET, N_NET] on (home, setting).
SETTING_LESS_HOME = np.subtract.outer(np.arange(N_NET), np.arange(N_NET)).T


def _moments(box: BoxTally, with_home: IntArray | None) -> list[int]:
    found = [box.n]
    for name in ("points", "net"):
        column = COLUMN[name]
        found += [int(box.sums[column]), int(box.cross[column, column])]
    if with_home is None:
        return [*found, 0, 0]
    return [*found, int((with_home * SETTING_LESS_HOME).sum()), int((with_home * SETTING_LESS_HOME**2).sum())]
