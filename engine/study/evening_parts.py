"""The parts of an evening: which there are, what each needs, and which an output is made of."""

from __future__ import annotations

#: The parts of an evening, in the order in which they are played, and those that each needs first.
NEEDS: dict[str, tuple[str, ...]] = {
    "fit": (),
    "compare": ("fit",),
    "seldom": ("compare",),
    "adapted": ("compare",),
    "plan": ("compare",),
    "stress": ("plan",),
    "formations": ("plan",),
    "room": ("stress", "formations"),
    "timing": ("fit",),
    "lineup": ("fit",),
    "shots": ("stress", "formations"),
    "sheet": ("fit",),
    "attack": (),
    "zone_or_men": ("fit",),
}
#: Those that a report has; that of an opponent who learns, and that of zone or men, where they are asked
#: for.
REPORT = tuple(name for name in NEEDS if name not in ("adapted", "attack", "zone_or_men"))
#: Those that play the settings that a plan weighs, whatever else it was asked: kept by these settings.
OF_WEIGHED = ("stress", "formations")
#: Those that the advice is taken from: plan and report have one.
ADVICE = ("plan", "stress", "formations", "room", "seldom")
