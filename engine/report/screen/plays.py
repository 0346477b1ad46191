"""A play in plain words: when each step begins, how long it lasts, who goes where, what follows."""

from __future__ import annotations

from collections.abc import Sequence

from engine.inputs.alignment import load_alignment
from engine.inputs.base import spoken
from engine.inputs.places import Placement
from engine.inputs.plays import Move, Play, Step
from engine.inputs.rules import load_rules
from engine.report.words import count
from engine.state.words import REGIONS, Against, Only, Start, Who
from engine.still.holes import ALIGNMENT, BALL_IN, RULES, TOP_SPEED_MPS
from engine.still.plays import LETTERS, Finding, Still, either, findings, stills
from engine.world.court import build_court

_ONLY = {one.word: one.meaning for one in Only if one is not Only.ALWAYS}
#: Spots in the middle of the floor: neither near nor far.
_MIDDLE = ("backcourt", "top", "high_post", "middle", "rim")


def _side(x: float) -> str:
    return "to the ball's side" if x > 0.0 else "to the far side"


def place_words(place: Placement) -> str:
    """A place as it is said: "the far wing", "the place 2 m in front of the rim, 1 m to the far side"."""
    (dx, dy), mirror = place.shift, -1.0 if place.side == "far" else 1.0
    if place.spot is None:
        assert place.at is not None
        x, y = (place.at[0] + dx) * mirror, place.at[1] + dy
        parts = [f"the place {abs(y):g} m {'in front of' if y >= 0.0 else 'behind'} the rim"]
        return ", ".join(parts + ([f"{abs(x):g} m {_side(x)}"] if x else []))
    middle = place.spot in _MIDDLE
    out = _side(dx * mirror) if middle else "outward" if dx > 0.0 else "inward"
    parts = [f"{abs(dx):g} m {out}"] if dx else []
    parts += [f"{abs(dy):g} m {'farther from' if dy > 0.0 else 'nearer to'} the baseline"] if dy else []
    far = "far " if place.side == "far" and not middle else ""
    return f"the {far}{spoken(place.spot)}" + (f" ({', '.join(parts)})" if parts else "")


def _begins(play: Play, step: Step) -> str:
    ball = either([BALL_IN[region] for region in step.ball])
    all_of_them = set(step.ball) >= set(REGIONS) - {"backcourt"}
    if step.when == Start.PASS.word:
        to = either([spoken(region) for region in step.ball])
        when = f"a pass to {'anywhere' if all_of_them else f'the {to}'} has just left"
    elif step.when == Start.HOLD.word:
        held = f", {step.held_s:g} s after the catch at the earliest" if step.held_s else ""
        when = f"the ball is held {'anywhere' if all_of_them else ball}{held}"
    elif step.when == Start.DRIVE.word:
        when = f"a drive has just begun{'' if all_of_them else f' {ball}'}"
    elif step.when == Start.ESCAPE.word:
        when = f"the ball has just got out of a trap{'' if all_of_them else f', {ball}'}"
    else:
        before = either([f'"{one.name}"' for one in play.steps if one.next == step.name])
        return f"follows {before}{'' if all_of_them else f' if the ball is then {ball}'}"
    return f"begins when {when}" + (
        ""
        if step.often == 1.0
        else f", in {100 * step.often:.3g} of 100 such moments, less often where another play may begin"
    )


def move_words(move: Move, takes: str = "") -> str:
    """A move as a sentence without its full stop; ``takes``: how long it takes, in words."""
    takes = f" ({takes})" if takes else ""
    where = f"goes to {place_words(move.to)}" if move.to else "screens the man on the ball"
    if move.who == Who.HANDLER.word:
        return f"the man with the ball dribbles{where.removeprefix('goes')}{takes}"
    who = "who has screened" if move.who == Who.SCREENER.word else "who has passed"
    if move.near is not None:
        who = f"who is nearest to {place_words(move.near)} (within {move.within_m:g} m)"
    after = f"waits {move.after_s:g} s and " if move.after_s else ""
    pace = "" if move.pace == 1.0 else f" at {100 * move.pace:.3g}% of his speed"
    only = f", if {_ONLY[move.only_if]}" if move.only_if in _ONLY else ""
    return f"{who} {after}{where}{pace}{takes}{only}"


def step_words(play: Play, step: Step) -> str:
    """When a step begins, how long it lasts and what follows, without the full stop."""
    then = "everybody goes back to his place" if step.next is None else f'"{step.next}"'
    return f"{_begins(play, step)}; lasts {step.lasts_s:g} s; then {then}"


def against_words(play: Play) -> str:
    """Against whom a play is run: "against a zone and man-to-man"."""
    return f"against {' and '.join(one.meaning for one in Against if one.word in play.against)}"


def times_words(found: Sequence[Still], i: int) -> str:
    """How long move ``i`` of a step takes on its pictures: "0.8 to 1.2 s", "" where nobody makes it."""
    times = [run.to_s - run.from_s for run in (one.runs[i] for one in found) if run is not None]
    if not times:
        return ""
    low, high = f"{min(times):.1f}", f"{max(times):.1f}"
    return f"{low} s" if low == high else f"{low} to {high} s"


def finding_words(found: Finding) -> str:
    """A finding as a line."""
    return f'{found.kind}: "{found.step}": {found.text}'


def play_lines(play: Play) -> list[str]:
    """What a play means: its title and against what, each of its steps, and what is wrong with it."""
    alignment = load_alignment(ALIGNMENT)
    pictures = stills(play, alignment, build_court(load_rules(RULES)))
    lines = [f'play "{play.title}", {against_words(play)}, {count(len(play.steps), "step")}']
    for step in play.steps:
        lines.append(f'"{step.name}" {step_words(play, step)}')
        for i, move in enumerate(step.moves):
            lines.append(f"{LETTERS[i]}: {move_words(move, times_words(pictures[step.name], i))}")
    lines += [finding_words(one) for one in findings(play)]
    basis = f"in the {alignment.title}, {RULES} rules, from rest, top speed {TOP_SPEED_MPS:g} m/s"
    return [*lines, f"seconds: {basis}"]
