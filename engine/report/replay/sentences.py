"""A replayed possession in plain words: events, jobs, what the handler does, why it was picked."""

from __future__ import annotations

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.words import (
    AFTER_PAST,
    END_PAST,
    LEFT_WORDS,
    OTHER_JOBS,
    OUTCOME_PAST,
    PASS_WORDS,
    TRAP_WORDS,
)
from engine.state.jobs import JOB_TABLE
from engine.state.words import VIOLATIONS
from engine.study.replay.pick import BY_NUMBER, Pick

CARE = (
    "This is the model's play, not a person's: nobody played this possession, and it says nothing about any "
    "one player's worth. Players are shirt numbers.",
    "One possession is never enough to judge a call by; the ledger (trapledger compare) is.",
    "In practice: trap with feet and high hands, no reaching and no wrapping; never run under a shooter; "
    "keep clear of walls and benches behind a corner. Your league's rules and qualified people decide.",
)


def who(agent: str, number: float) -> str:
    """``attacker 3`` or ``defender 7``."""
    return f"{'attacker' if agent.startswith('offence') else 'defender'} {int(number)}"


def points_words(points: int) -> str:
    """``no points``, ``1 point``, ``3 points``."""
    return "no points" if points == 0 else "1 point" if points == 1 else f"{points} points"


def metres(value: float) -> str:
    """``1.4 m``."""
    return f"{value:.1f} m"


def job_words(job: str) -> str:
    """What a defender's job means."""
    return JOB_TABLE[job].meaning if job in JOB_TABLE else OTHER_JOBS[job]


# --- events -------------------------------------------------------------------------------------------


def event_sentence(event: Found, titles: dict[str, str], points: int) -> str:
    """One event of ``Replay.events()`` (with ``code``, the kernel's own value) as a sentence.

    ``titles``: call -> how it is called on the page. ``points``: conceded in the whole possession.
    """
    name, value, detail = event["event"], event["value"], event["detail"]
    first = who(event["player"], event["player_number"]) if event["player"] else ""
    second = who(event["other"], event["other_number"]) if event["other"] else ""
    call = titles.get(event["call"], "trap")
    match name:
        case "start":
            return (
                f"Start: {first} has the ball; the offence works on the {detail.removeprefix('near side ')}"
            )
        case "pass":
            return f"{first} throws {PASS_WORDS[detail]} to {second}"
        case "catch":
            return f"{first} catches it, the nearest defender {metres(value)} away"
        case "touch":
            return f"{first} gets a hand on the pass of {second}"
        case "steal":
            return f"{first} steals the ball from {second}: turnover"
        case "loose":
            return f"The ball is loose, {detail}"
        case "recovered":
            return f"{first} gets the loose ball"
        case "shot":
            nearest = second.removeprefix("defender ")
            return f"{first} shoots; the nearest defender, {nearest}, is {metres(value)} away"
        case "made":
            return f"The shot of {first} is good: {points_words(int(value))}"
        case "missed":
            return f"The shot of {first} misses"
        case "blocked":
            return f"The shot of {second} is blocked"
        case "rebound":
            return f"{first} gets the rebound" + (" of the free throw" if "free" in detail else "")
        case "free_throw":
            return f"{first} takes a free throw: {'good' if detail == 'made' else 'missed'}"
        case "foul":
            shot = " in the act of shooting" if detail == "on a shot" else ""
            return f"Foul on {second}{shot}"
        case "throw_in":
            return "Throw-in for the offence" + (f" {detail}" if detail else "")
        case "turnover":
            return f"{first} loses the ball: turnover"
        case "call":
            return f"Call: {call}, on {first}"
        case "trap_set":
            return f"The {call} has closed around {first}, {value:.1f} s after the call"
        case "trap_left":
            return f"The {call} is over: {LEFT_WORDS[detail]}"
        case "shell_stands":
            return f"The defence stands again, {value:.1f} s after the ball left the trap"
        case "bump":
            return f"The forward is bumped down and the guard has the ball, {value:.1f} s after the catch"
        case "drive":
            return f"{first} drives"
        case "retreat":
            return f"{first} dribbles back"
        case "split":
            return f"{first} tries to dribble between the trappers"
        case "held_ball":
            return f"Held ball: {first} is tied up"
        case "time_out":
            return f"{first} calls time out, {int(value)} left"
        case "screen":
            return f"{first} screens {second}, who guards the ball"
        case "fake":
            return f"{first} fakes before a pass to {second}"
        case "pick_up":
            return f"{first} picks up his dribble"
        case "violation":
            return f"Violation by {first}: {VIOLATIONS[int(event['code'])]}"
        case "end":
            return f"End: {spoken(detail)}; {points_words(points)} conceded"
    raise ValueError(f"no words for the event {name!r}")


def said_already(event: Found, others: list[Found]) -> bool:
    """Whether a turnover is told by a steal or a violation of the same moment."""
    if event["event"] != "turnover":
        return False
    return any(one["t_s"] == event["t_s"] and one["event"] in ("steal", "violation") for one in others)


# --- the moment -------------------------------------------------------------------------------------------


def ball_words(frame: Found) -> str:
    """What happens with the ball in a row of ``Replay.frames()``."""
    handler = who(frame["handler"], frame["handler_number"])
    match frame["mode"]:
        case "pass wind-up":
            return f"{handler} is about to pass to {who(frame['target'], frame['target_number'])}"
        case "pass in flight":
            return f"pass in the air from {handler} to {who(frame['target'], frame['target_number'])}"
        case "shot wind-up":
            return f"{handler} goes up to shoot"
        case "shot in flight":
            return f"the shot of {handler} is in the air"
        case "loose ball":
            return "the ball is loose"
        case "over":
            return "the possession is over"
    moving = {
        "drive": "drives",
        "dribble to": "dribbles",
        "retreat": "dribbles back",
        "split": "dribbles between the trappers",
    }
    if frame["action"] in moving:
        return f"{handler} {moving[frame['action']]}"
    held = {
        "unused": "has the ball, no dribble yet",
        "dribbling": "keeps his dribble",
        "picked up": "has the ball, his dribble used up",
    }
    return f"{handler} {held[frame['dribble']]}"


def trap_words(frame: Found, titles: dict[str, str]) -> str:
    """How far a trap is in a row of ``Replay.frames()``, "" without one."""
    return TRAP_WORDS[frame["trap_phase"]].format(call=titles.get(frame["trap_call"], "trap"))


def option_words(option: Found) -> str:
    """An option of ``Replay.options()``."""
    if option["receiver"]:
        return f"pass to {int(option['receiver_number'])}"
    return "keep the ball" if option["option"] == "hold" else str(option["option"])


# --- why this possession ------------------------------------------------------------------------------


def course_words(outcome: str, after: str) -> str:
    """``the ball was passed out of the trap, and an open three followed``."""
    later = AFTER_PAST[after]
    return OUTCOME_PAST[outcome] + (f", and {later}" if later else "")


def _cost_words(cost: int) -> str:
    if cost == 0:
        return "as many net points as without it"
    points = "net point" if abs(cost) == 1 else "net points"
    return f"{abs(cost)} {points} {'more' if cost > 0 else 'fewer'} than without it"


def rule_words(pick: Pick) -> str:
    """By which rule it was picked."""
    if pick.rule == "typical":
        return (
            "Typical: of the possessions with this call, the commonest course; among these the one whose net "
            f"points against no call are nearest to the mean of all of them ({pick.mean_cost or 0.0:+.2f}), "
            "then whose points are the median of the course, then whose length is nearest to its mean, then "
            "the lowest number."
        )
    if pick.rule == "worst":
        return (
            "Worst: of the possessions with this call, the one that cost most net points against no call; "
            "where several cost as much, the lowest number."
        )
    if pick.rule == "punished":
        return (
            "Punished: the first possession in which the ball left the trap by pass, retreat or split and a "
            "shot at the rim or an open three followed before the defence stood again."
        )
    return f"Asked for by its number, {pick.index}."


def common_words(pick: Pick) -> str:
    """How common such a possession is."""
    if not pick.call:
        return "The setting makes no call."
    made = f"the call was the first one in {pick.called:,} of {pick.played:,} possessions played"
    if pick.alike is None or pick.cost is None:
        return f"This call was not the first one in it; {made}."
    among = f"{pick.alike:,} of {pick.called:,} possessions with this call"
    share = f" ({100 * pick.alike / pick.called:.0f} of 100)" if pick.called else ""
    if pick.rule == "worst":
        return f"So bad ({_cost_words(pick.cost)}): {among}; {made}."
    if pick.rule == "punished":
        return f"So punished: {among}{share}; {made}."
    assert pick.outcome is not None and pick.after is not None
    return f"The same course ({course_words(pick.outcome, pick.after)}): {among}{share}; {made}."


def lead_words(pick: Pick, points: int) -> str:
    """The possession and how it ended, in a line."""
    named = f"Possession {pick.index}, {pick.setting}"
    if pick.call_title and pick.call_title != pick.setting:
        named += f" ({pick.call_title})"
    without = "" if pick.base_points is None else f"; without the call: {points_words(pick.base_points)}"
    return f"{named}. {points_words(points).capitalize()} conceded{without}."


def result_words(pick: Pick, points: int, end: str) -> str:
    """How it ended, how the same possession ended without the call, and what the call cost."""
    ended = f"{points_words(points).capitalize()} conceded; it ended with {END_PAST[end]}."
    if pick.cost is None or pick.base_end is None or pick.base_points is None:
        return ended
    ended += (
        f" The same possession without the call: {points_words(pick.base_points)}, {END_PAST[pick.base_end]}."
    )
    here, later = points - pick.base_points, pick.cost - (points - pick.base_points)
    if later == 0:
        return ended
    return (
        f"{ended} It cost {_cost_words(pick.cost)}: {here:+d} in this possession, and {later:+d} from what "
        "the next possessions were drawn to bring."
    )


def net_words(pick: Pick) -> str:
    """What net points are, where they are named."""
    if pick.rule == BY_NUMBER and pick.cost is None:
        return ""
    return (
        "Net points are the points conceded, less what the next possession is drawn to bring more than an "
        "average one."
    )
