"""Whether a game of the model has about as many possessions as games of that length have."""

from __future__ import annotations

#: Possessions a side in a minute of play, the fewest and the most that are usual; common practice, no source.
USUAL_A_MINUTE = (1.5, 2.3)


def pace_words(possessions: float, minutes: float) -> str:
    """A warning where so many possessions a side do not fit a game of so many minutes; "" where they do."""
    low, high = (minutes * rate for rate in USUAL_A_MINUTE)
    if low <= possessions <= high:
        return ""
    return (
        f"The model plays {possessions:.0f} possessions a side in {minutes:g} minutes; usual are {low:.0f} "
        f"to {high:.0f} (common practice, no source): how often a call comes up, and its worth a game, are "
        f"too {'high' if possessions > high else 'low'}."
    )
