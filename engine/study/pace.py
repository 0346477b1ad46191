"""How many possessions of the model fill a game, and whether games of that length have about as many."""

from __future__ import annotations

from engine.inputs.scenario import Game, Scenario

#: Possessions a side in a minute of play, the fewest and the most that are usual; common practice, no source.
USUAL_A_MINUTE = (1.5, 2.3)


def seconds_before_start(scenario: Scenario) -> float:
    """Time used before a possession starts here."""
    return float(scenario.constants["backcourt_used_s"]) if scenario.start == "bring_up" else 0.0


def possessions_per_period(period_s: float, possession_s: float) -> int:
    """Possessions a side that fill a period when both sides take ``possession_s`` each; at least 1."""
    return max(1, round(period_s / (2.0 * possession_s)))


def possessions_per_game(scenario: Scenario, seconds: float) -> int:
    """Possessions a side of a game, whole ones in each period; ``seconds``: of one, from where it starts."""
    clock = scenario.rules.clock
    one_s = seconds_before_start(scenario) + seconds
    return clock.periods * possessions_per_period(clock.period_s, one_s)


def pace_words(possessions: int, minutes: float, n: int, fitted: bool = True) -> str:
    """A warning where so many possessions a side do not fit a game of so many minutes; "" where they do.
    ``n``: possessions at home whose mean length says so; ``fitted``: False where the opponent is still to be
    fitted to his sheet, which changes it: no verdict then."""
    low, high = (minutes * rate for rate in USUAL_A_MINUTE)
    if low <= possessions <= high:
        return ""
    said = (
        f"The model plays {possessions} possessions a side in {minutes:g} minutes (mean of {n:,}); usual are "
        f"{low:.0f} to {high:.0f} (common practice, no source)"
    )
    if not fitted:
        return f"{said}. That is before the fit to your sheet: plan and report count again after it."
    return f"{said}: calls a game, and their worth, are too {'high' if possessions > high else 'low'}."


def start_words(game: Game) -> str:
    """Why whole games do not start from what the scenario's game has brought so far; "" where that is
    nothing."""
    if not game.team_fouls and not game.traps_seen:
        return ""
    return (
        "Whole games start without team fouls and traps seen: the scenario's "
        f"{game.team_fouls} and {game.traps_seen} are of one moment."
    )
