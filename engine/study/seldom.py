"""Why a call hardly comes up: how often it could, on those it is meant for and on everybody."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from engine.estimate.intervals import LEAST_EVENTS, Found
from engine.inputs.scenario import Scenario
from engine.inputs.settings import Setting
from engine.run.blocks import Progress
from engine.run.size import RunSize
from engine.study.compare import compare


@dataclass(frozen=True)
class Seldom:
    """``calls``: a row for each call that hardly comes up, in possessions whose first call it is: ``called``
    as it is made, ``chances`` at every chance on those it is meant for, ``on_all`` on all five."""

    possessions: int
    calls: tuple[Found, ...]

    def to_dict(self) -> Found:
        """The JSON: keys of ``Seldom``."""
        return asdict(self)


def seldom(
    scenario: Scenario,
    compared: Found,
    size: RunSize,
    least: int = LEAST_EVENTS,
    progress: Progress | None = None,
) -> Seldom | None:
    """Play the calls that came first in fewer than ``least`` possessions of ``compared`` (the JSON of
    ``compare``) at every chance; None where there is none."""
    rows: list[Found] = []
    settings: dict[tuple[int, tuple[int, ...]], Setting] = {}
    for setting, block in zip(scenario.settings, compared["settings"], strict=True):
        for call, found in zip(setting.calls, block["calls"], strict=True):
            if found["called"] >= least:
                continue
            for only in (call.only_against, ()):  # once where it is meant for all five
                one = call.model_copy(update={"only_against": only, "probability": 1.0})
                name = f"{len(rows)} {len(only)}: {setting.name}"
                settings[len(rows), only] = setting.model_copy(update={"name": name, "calls": (one,)})
            rows.append(
                {
                    "setting": setting.name,
                    "call": call.name,
                    "called": found["called"],
                    "only_against": list(call.only_against),
                    "probability": call.probability,
                }
            )
    if not rows:
        return None
    asked = scenario.model_copy(update={"settings": tuple(settings.values())})
    result = compare(asked, size.possessions, size.seed, size.threads, progress).to_dict()
    came = {key: block["calls"][0]["called"] for key, block in zip(settings, result["settings"], strict=True)}
    found = (
        row | {"chances": came[i, tuple(row["only_against"])], "on_all": came[i, ()]}
        for i, row in enumerate(rows)
    )
    return Seldom(size.possessions, tuple(found))
