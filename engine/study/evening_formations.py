"""The weighed calls in every formation that the other coach is likely to choose.

In each likely formation but the one played, the weighed settings and staying home are played on the numbers
and the luck of ``compare``: fewer possessions, the same in every formation. The figures of the one played are
those of ``compare`` itself. The opponent is fitted to his sheet in the one played alone. A call's worth over
all is the mean by the formations' shares; its range the mean of their ranges, as wide as if they all erred
together, for they share their luck.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.estimate.intervals import Found
from engine.inputs.scenario import Scenario
from engine.inputs.sheets import Likely
from engine.run.blocks import Progress
from engine.run.size import RunSize
from engine.study.compare import compare

#: Fewer calls than this in a formation say nothing of it.
LEAST_CALLS = 30
ENDS = ("mean", "low", "high")


@dataclass(frozen=True)
class Formations:
    """What ``formations`` found: ``to_dict()`` is its JSON; each of ``compared`` has the settings
    ``weighed``."""

    likely: tuple[Likely, ...]
    weighed: tuple[int, ...]
    compared: tuple[Found, ...]

    def to_dict(self) -> Found:
        """``formations``: name, title, share, possessions, points conceded at home. ``settings``: of each
        call what it is worth in each formation (``by_formation``, same order) and over all of them."""
        total = sum(one.weight for one in self.likely)
        shares = [one.weight / total for one in self.likely]
        heads = [
            {
                "name": one.alignment.name,
                "title": one.alignment.short,
                "share": share,
                "possessions": found["possessions"],
                "home": found["baseline"]["points_per_possession"],
            }
            for one, share, found in zip(self.likely, shares, self.compared, strict=True)
        ]
        settings = []
        for s, setting in enumerate(self.compared[0]["settings"]):
            calls = []
            for c, call in enumerate(setting["calls"]):
                cells = [one["settings"][s]["calls"][c] for one in self.compared]
                by = [
                    {"called": cell["called"], "value": cell["value"], "verdict": verdict(cell)}
                    for cell in cells
                ]
                over = _over_all(by, shares)
                calls.append({"call": call["call"], "value": over, "by_formation": by})
            settings.append({"setting": self.weighed[s], "name": setting["name"], "calls": calls})
        return {"formations": heads, "settings": settings}


def verdict(call: Found) -> str:
    """Of an entry of ``calls`` of ``compare``: ``saves``, ``costs``, ``open`` (not told apart from luck) or
    ``few`` (it hardly comes up)."""
    low, high = call["value"]["low"], call["value"]["high"]
    if call["called"] < LEAST_CALLS or low is None:
        return "few"
    return "saves" if low > 0.0 else "costs" if high < 0.0 else "open"


def _over_all(by: Sequence[Found], shares: Sequence[float]) -> Found:
    """The mean by shares over the formations in which the call comes up; nothing where it does in none."""
    known = [(one["value"], share) for one, share in zip(by, shares, strict=True) if one["verdict"] != "few"]
    total = sum(share for _, share in known)
    if not known:
        return dict.fromkeys(ENDS)
    return {end: sum(share * value[end] for value, share in known) / total for end in ENDS}


def formations(
    scenario: Scenario,
    likely: Sequence[Likely],
    weighed: Sequence[int],
    compared: Found,
    possessions: int,
    size: RunSize,
    progress: Progress | None = None,
) -> Formations:
    """Play the settings ``weighed`` (by index) in every likely formation but the first, which is the one that
    ``compared``, the JSON of ``compare``, was played in; ``possessions`` of each."""
    only = tuple(scenario.settings[i] for i in weighed)
    others = [one.alignment for one in likely[1:]] if only else []
    found = [compared | {"settings": [compared["settings"][i] for i in weighed]}]
    for done, alignment in enumerate(others):

        def told(n: int, of: int, done: int = done) -> None:
            if progress is not None:
                progress(done * of + n, len(others) * of)

        played = scenario.model_copy(update={"alignment": alignment, "settings": only})
        found.append(compare(played, possessions, size.seed, size.threads, told).to_dict())
    return Formations(tuple(likely[: len(found)]), tuple(weighed), tuple(found))
