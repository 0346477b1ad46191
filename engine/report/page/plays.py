"""Plays as a page to print: for each step a court with who stands where, who goes where, and when.

The screen frame is the replay's: centimetres, the basket at the bottom. Places are those of still pictures
(engine.still.plays): nothing was played, and no defender is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from engine.estimate.intervals import Found
from engine.inputs.alignment import Alignment
from engine.inputs.base import spoken
from engine.inputs.plays import Move, Play, Step
from engine.inputs.rules import Rules
from engine.report.page.court_card import (
    ABOVE_CM,
    BALL_CM,
    LEAST_RUN_CM,
    SIGN_CM,
    Spot,
    apart,
    arrow,
    on_screen,
)
from engine.report.page.shell import rendered
from engine.report.replay.data import court_drawing
from engine.report.screen.plays import against_words, finding_words, move_words, step_words
from engine.state.words import Does, Only, Start, Who
from engine.still.holes import BALL_IN, TOP_SPEED_MPS
from engine.still.plays import LETTERS, Run, Still, findings, shown, stills
from engine.world.court import Court, build_court

#: A wave of a dribble: its length and half its height, centimetres.
WAVE_CM, HEIGHT_CM = 55.0, 16.0
#: Half the length of the bar that ends a screen, centimetres.
BAR_CM = 48.0
#: How wide a letter of a label is, how long the drawn beginning of a drive, centimetres.
LETTER_CM, DRIVE_CM = 33.0, 190.0


def seconds(run: Run) -> str:
    """When a run ends, or from when to when: "1.2 s", "0.3–1.6 s"."""
    return f"{run.from_s:.1f}–{run.to_s:.1f} s" if run.from_s else f"{run.to_s:.1f} s"


def wave(line: Sequence[float]) -> str:
    """A wavy SVG path along a line (x, y, x, y): how a dribble is drawn."""
    x0, y0, x1, y1 = line
    way = math.dist((x0, y0), (x1, y1))
    n = max(round(way / WAVE_CM), 1)
    ux, uy = (x1 - x0) / way, (y1 - y0) / way
    path = f"M{x0:.0f} {y0:.0f}"
    for i in range(n):
        up = HEIGHT_CM * (2 if i % 2 else -2)
        half, end = (i + 0.5) * way / n, (i + 1) * way / n
        bend = x0 + half * ux - up * uy, y0 + half * uy + up * ux
        path += f" Q{bend[0]:.0f} {bend[1]:.0f} {x0 + end * ux:.0f} {y0 + end * uy:.0f}"
    return path


def bar(line: Sequence[float]) -> str:
    """The end of a line (x, y, x, y) that is a screen, as corners: a bar across it, as coaches draw it."""
    x0, y0, x1, y1 = line
    way = math.dist((x0, y0), (x1, y1))
    ux, uy = (x1 - x0) / way, (y1 - y0) / way
    corners = ((0.0, -BAR_CM), (0.0, BAR_CM), (BAR_CM / 4.0, BAR_CM), (BAR_CM / 4.0, -BAR_CM))
    return " ".join(f"{x1 + ux * a - uy * b:.0f},{y1 + uy * a + ux * b:.0f}" for a, b in corners)


def _along(line: Sequence[float], share: float) -> Spot:
    return line[0] + share * (line[2] - line[0]), line[1] + share * (line[3] - line[1])


def _drawn(move: Move, letter: str, run: Run | None, signs: dict[int, Spot]) -> Found | None:
    """A move's arrow from its man's sign; None for nobody, or where it is too short to draw."""
    if run is None:
        return None
    end = on_screen(run.end)
    met = any(math.dist(end, at) < SIGN_CM / 2.0 for man, at in signs.items() if man != run.man)
    line = arrow(signs[run.man], end, SIGN_CM / 2.0 if met else 0.0)
    if line is None:
        return None
    if move.does == Does.SCREEN.word:
        line["head"] = bar(line["line"])
    dribbled = wave(line["line"]) if move.who == Who.HANDLER.word else ""
    seen = move.only_if != Only.ALWAYS.word
    return line | {"wave": dribbled, "seen": seen, "label": f"{letter} {seconds(run)}"}


def step_drawing(step: Step, one: Still, court: Court) -> Found:
    """A step on a still picture as numbers for the drawing: signs, ball and labels apart from each other."""
    men = list(one.places)
    signs = dict(zip(men, apart([], [on_screen(one.places[man]) for man in men]), strict=True))
    moves = zip(step.moves, LETTERS, one.runs, strict=False)
    drawn = [found for found in (_drawn(*each, signs) for each in moves) if found is not None]
    holder = signs[one.handler]
    before: list[Found] = []  # how the ball moves as the step begins
    if step.when == Start.PASS.word and one.passed_from is not None:
        start = on_screen(one.passed_from)
        thrown = arrow(min(signs.values(), key=lambda at: math.dist(at, start)), holder, 60.0)
        before += [thrown | {"wave": ""}] if thrown is not None else []
    elif step.when == Start.DRIVE.word:
        way = max(math.hypot(*holder), 1.0)
        to = holder[0] * (1.0 - DRIVE_CM / way), holder[1] * (1.0 - DRIVE_CM / way)
        driven = arrow(holder, to, 0.0)
        before += [driven | {"wave": wave(driven["line"])}] if driven is not None else []
    arrows = [each["line"] for each in (*drawn, *before)]
    points = [_along(line, 0.1 * k) for line in arrows for k in range(11)]
    away = [at for man, at in signs.items() if man != one.handler]
    ball = _clearest(holder, BALL_CM, away + points)
    labels = _labels(drawn, points, [*signs.values(), ball], court)
    for each, at in zip(drawn, labels, strict=True):
        each["at"] = [round(part) for part in at]
    return {
        "far": min(y for _, y in (*signs.values(), *labels, *points)),
        "signs": [{"man": man, "at": [round(part) for part in signs[man]]} for man in men],
        "moves": drawn,
        "before": before,
        "ball": [round(part) for part in ball],
    }


def _clearest(middle: Spot, away: float, others: Sequence[Spot]) -> Spot:
    turns = [math.pi * k / 8.0 for k in range(16)]
    around = [(middle[0] + away * math.cos(turn), middle[1] + away * math.sin(turn)) for turn in turns]
    return max(around, key=lambda at: min((math.dist(at, other) for other in others), default=0.0))


def _overlap(a: Spot, b: Spot, wide: float, high: float) -> float:
    """How much two boxes of that size around a and b cover of each other, square centimetres."""
    return max(wide - abs(a[0] - b[0]), 0.0) * max(high - abs(a[1] - b[1]), 0.0)


def _labels(
    drawn: Sequence[Found], points: Sequence[Spot], signs: Sequence[Spot], court: Court
) -> list[Spot]:
    """A place for each label beside its arrow: the one that covers least of signs, labels and arrows."""
    edge = 100.0 * court.half_width_m - 30.0
    low = -100.0 * court.baseline_y_m - 40.0
    placed: list[tuple[Spot, float]] = []
    for each in drawn:
        wide = LETTER_CM * len(each["label"])
        x0, y0, x1, y1 = each["line"]
        way = math.dist((x0, y0), (x1, y1))
        nx, ny = -(y1 - y0) / way, (x1 - x0) / way
        beside = 45.0 * abs(ny) + (wide / 2.0 + 15.0) * abs(nx)
        ways: list[tuple[float, Spot]] = []
        for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8):
            for off in (beside, -beside, 1.4 * beside, -1.4 * beside):
                x, y = _along(each["line"], share)
                most = edge - wide / 2.0
                at = min(max(x + off * nx, -most), most), min(y + off * ny, low)
                cost = sum(_overlap(at, sign, wide / 2.0 + 52.0, 30.0 + 52.0) for sign in signs)
                cost += sum(_overlap(at, other, (wide + w) / 2.0, 70.0) for other, w in placed)
                cost += sum(_overlap(at, point, wide / 2.0 + 6.0, 36.0) for point in points)
                ways.append((cost + 0.1 * abs(off) + 20.0 * abs(share - 0.5), at))
        placed.append((min(ways)[1], wide))
    return [at for at, _ in placed]


def _view(court: Court, drawings: Sequence[Found]) -> Found:
    """The lines of the court, cut alike for all steps of a play: above the farthest sign and the arc."""
    found = court_drawing(court)
    x, y, width, height = (float(part) for part in found["view"].split())
    far = min([-100.0 * court.arc_m, *(one["far"] for one in drawings)])
    top = max(far - ABOVE_CM, found["half_y"] - 40.0)
    found["view"] = f"{x + 40:.0f} {top:.0f} {width - 80:.0f} {y + height - top - 40:.0f}"
    return found


def _picture_words(step: Step, one: Still, drawn: Mapping[str, Still]) -> str:
    """Which of the ways into a step is drawn."""
    ball = BALL_IN[one.region]
    if one.came is not None:
        before = next(name for name, other in drawn.items() if other is one.came)
        return f'Drawn: as "{before}" leaves them, the ball {ball}.'
    if step.when == Start.PASS.word:
        return f"Drawn: a pass from the {spoken(one.ball_from)}, the ball then {ball}."
    if step.when == Start.ESCAPE.word:
        return f"Drawn: out of a trap {BALL_IN[one.ball_from]}, the ball then {ball}."
    return f"Drawn: the ball {ball}."


def _who(run: Run | None) -> str:
    if run is None:
        return "Here nobody."
    if 100.0 * math.dist(run.start, run.end) < LEAST_RUN_CM:
        return f"Here {run.man}, who stays."
    return f"Here {run.man}, {seconds(run)}."


def _step_view(play: Play, step: Step, drawn: Mapping[str, Still], court: Court) -> Found:
    one = drawn.get(step.name)
    runs: Sequence[Run | None] = [None] * len(step.moves) if one is None else one.runs
    return {
        "name": step.name,
        "words": step_words(play, step),
        "drawing": None if one is None else step_drawing(step, one, court),
        "drawn": "" if one is None else _picture_words(step, one, drawn),
        "moves": [
            {"letter": letter, "words": move_words(move), "who": _who(run)}
            for letter, move, run in zip(LETTERS, step.moves, runs, strict=False)
        ],
    }


def plays_page(plays: Sequence[tuple[Play, Alignment, Rules]]) -> str:
    """The page (HTML) of some plays, self-contained: each in its alignment, on the court of its rule set."""
    views = []
    for play, alignment, rules in plays:
        court = build_court(rules)
        drawn = shown(play, stills(play, alignment, court))
        steps = [_step_view(play, step, drawn, court) for step in play.steps]
        views.append(
            {
                "title": play.title,
                "against": against_words(play),
                "source": play.source,
                "floor": f"{alignment.title}; {rules.title} court",
                "findings": [finding_words(one) for one in findings(play)],
                "steps": steps,
                "court": _view(court, [step["drawing"] for step in steps if step["drawing"] is not None]),
            }
        )
    title = "A play of the attack" if len(plays) == 1 else "Plays of the attack"
    return rendered("plays.html", ("plays.css",), title=title, plays=views, speed=f"{TOP_SPEED_MPS:g}")
