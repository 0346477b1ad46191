"""Why a call hardly comes up: how often it could, on those it is meant for and on everybody."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from engine.estimate.intervals import LEAST_EVENTS, Found
from engine.inputs.calls import Call
from engine.inputs.scenario import Scenario
from engine.inputs.settings import Setting
from engine.run.blocks import Progress
from engine.run.size import RunSize
from engine.study.play import play


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
    rare = [
        (setting, call, found["called"])
        for setting, block in zip(scenario.settings, compared["settings"], strict=True)
        for call, found in zip(setting.calls, block["calls"], strict=True)
        if found["called"] < least
    ]
    if not rare:
        return None

    def came(setting: Setting, call: Call, only: tuple[int, ...]) -> int:
        one = call.model_copy(update={"only_against": only, "probability": 1.0})
        alone = setting.model_copy(update={"calls": (one,)})
        asked = scenario.model_copy(update={"settings": (alone,)})
        played = play(asked, size.possessions, size.seed, size.threads, setting.name).to_dict(steps=False)
        return int(played["calls"][0]["called"])

    rows: list[Found] = []
    for setting, call, called in rare:
        on_all = came(setting, call, ())
        rows.append(
            {
                "setting": setting.name,
                "call": call.name,
                "called": called,
                "only_against": list(call.only_against),
                "probability": call.probability,
                "chances": came(setting, call, call.only_against) if call.only_against else on_all,
                "on_all": on_all,
            }
        )
        if progress is not None:
            progress(len(rows), len(rare))
    return Seldom(size.possessions, tuple(rows))
