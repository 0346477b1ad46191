"""Plays as a page to print: for each step a court with who stands where, who goes where, and when.

The screen frame is the replay's: centimetres, the basket at the bottom. Places are those of still pictures
(engine.still.plays): nothing was played, and no defender is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from engine.estimate.intervals import Found
from engine.inputs.alignment import Alignment
from engine.inputs.base import listed, spoken
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
from engine.still.plays import (
    LETTERS,
    Finding,
    Run,
    Still,
    either,
    findings,
    in_regions,
    shown,
    stills,
    unseen,
)
from engine.world.court import Court, build_court

#: A wave of a dribble: its length and half its height, centimetres.
WAVE_CM, HEIGHT_CM = 55.0, 16.0
#: Half the length of the bar that ends a screen, centimetres.
BAR_CM = 48.0
#: How wide a letter of a label is, half how high, how long the drawn beginning of a drive, centimetres.
LETTER_CM, TEXT_CM, DRIVE_CM = 34.0, 26.0, 190.0
#: What a step along a line of the floor under a label costs, in half centimetres that it is off its arrow.
LINE_COST = 5.0
#: How far from the middle of a sign, and of the ball, nothing else stands; steps along a line, centimetres.
SIGN_EDGE_CM, BALL_EDGE_CM, POINT_CM = 56.0, 30.0, 20.0


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


def _ball_before(step: Step, one: Still, signs: Mapping[int, Spot]) -> Found | None:
    """How the ball moves as the step begins: a pass to who has it then, or his drive; None where it rests."""
    holder = signs[one.handler]
    if one.ball_from and one.passer is not None:
        thrown = arrow(signs[one.passer], holder, 60.0)
        return None if thrown is None else thrown | {"wave": ""}
    if step.when == Start.DRIVE.word:
        way = max(math.hypot(*holder), 1.0)
        to = holder[0] * (1.0 - DRIVE_CM / way), holder[1] * (1.0 - DRIVE_CM / way)
        driven = arrow(holder, to, 0.0)
        return None if driven is None else driven | {"wave": wave(driven["line"])}
    return None


def step_drawing(step: Step, one: Still, court: Court) -> Found:
    """A step on a still picture as numbers for the drawing. Signs and the ball are inside the lines, signs
    apart from each other as far as that leaves room, the ball where most room is beside its holder. Labels
    are apart from these, the arrows, the ring and the board where such a place is near. Arrows may cross
    anything."""
    men = list(one.places)
    stand = [on_screen(one.places[man]) for man in men]
    for _ in range(3):  # what a line pushes back may meet another
        stand = [_inside(at, court, SIGN_EDGE_CM) for at in apart([], stand)]
    signs = dict(zip(men, stand, strict=True))
    moves = zip(step.moves, LETTERS, one.runs, strict=False)
    drawn = [found for found in (_drawn(*each, signs) for each in moves) if found is not None]
    moved = _ball_before(step, one, signs)
    before = [] if moved is None else [moved]
    points = [at for each in (*drawn, *before) for at in _points(each)]
    ball = _ball(one.handler, signs, points, court)
    labels = _labels(drawn, points, [*signs.values()], ball, court)
    for each, label in zip(drawn, labels, strict=True):
        each["at"] = [round(label.x), round(label.y)]
    far = (*(y for _, y in (*signs.values(), *points, ball)), *(label.y for label in labels))
    return {
        "far": min(far),
        "signs": [{"man": man, "at": [round(part) for part in signs[man]]} for man in men],
        "moves": drawn,
        "before": before,
        "ball": [round(part) for part in ball],
    }


def _inside(at: Spot, court: Court, wide: float, high: float | None = None) -> Spot:
    """The place nearest to ``at`` where a sign so many centimetres to each side is inside the lines."""
    most, low = 100.0 * court.half_width_m - wide, -100.0 * court.baseline_y_m - (high or wide)
    return min(max(at[0], -most), most), min(at[1], low)


def _points(drawn: Found) -> list[Spot]:
    """Places all along a drawn arrow, its head included; of a wave those to its sides, too."""
    x0, y0, *_ = drawn["line"]
    tip = drawn["tip"]
    n = max(round(math.dist((x0, y0), tip) / POINT_CM), 1)
    ux, uy = (tip[0] - x0) / n, (tip[1] - y0) / n
    way = math.hypot(ux, uy)
    sides = (-HEIGHT_CM, HEIGHT_CM) if drawn["wave"] else (0.0,)
    return [
        (x0 + k * ux - side * uy / way, y0 + k * uy + side * ux / way) for k in range(n + 1) for side in sides
    ]


def _ball(holder: int, signs: Mapping[int, Spot], points: Sequence[Spot], court: Court) -> Spot:
    """Beside its holder, inside the lines, where most room is."""
    x, y = signs[holder]
    turns = [math.pi * k / 8.0 for k in range(16)]
    around = [(x + BALL_CM * math.cos(turn), y + BALL_CM * math.sin(turn)) for turn in turns]
    others = [*points, *(at for man, at in signs.items() if man != holder)]
    free = [at for at in around if _inside(at, court, BALL_EDGE_CM) == at]
    return max(free, key=lambda at: min((math.dist(at, other) for other in others), default=0.0))


class _Box(NamedTuple):
    """Middle and half the size of what is drawn, centimetres of the screen."""

    x: float
    y: float
    wide: float
    high: float

    def covers(self, other: _Box) -> float:
        """How far one of the two must go to be clear of the other, centimetres."""
        wide = self.wide + other.wide - abs(self.x - other.x)
        return max(min(wide, self.high + other.high - abs(self.y - other.y)), 0.0)


def _labels(
    drawn: Sequence[Found], points: Sequence[Spot], signs: Sequence[Spot], ball: Spot, court: Court
) -> list[_Box]:
    """A place for each label: as near to its arrow as it covers nothing but lines of the floor, of these as
    few as may be; where there is none, the one that covers least."""
    lines = court_drawing(court)
    taken = [_Box(*at, SIGN_EDGE_CM, SIGN_EDGE_CM) for at in signs]
    taken += [_Box(*ball, BALL_EDGE_CM, BALL_EDGE_CM)]
    taken += [_Box(0.0, lines["board"][1], lines["board"][0] + 12.0, 18.0)]
    taken += [_Box(0.0, 0.0, *2 * (lines["ring"] + 4.0,))]
    taken += [_Box(*at, POINT_CM / 2.0, POINT_CM / 2.0) for at in points]
    floor = _floor_lines(court)
    placed: list[_Box] = []
    for each in drawn:
        wide = LETTER_CM * len(each["label"]) / 2.0
        x0, y0, x1, y1 = each["line"]
        way = math.dist((x0, y0), (x1, y1))
        nx, ny = -(y1 - y0) / way, (x1 - x0) / way
        beside = (TEXT_CM + 15.0) * abs(ny) + (wide + 15.0) * abs(nx)
        ways: list[tuple[float, _Box]] = []
        for share in (0.1 * k for k in range(12)):
            for off in (
                side * beside * far for far in (1.0, 1.25, 1.5, 2.0, 3.0, 4.5) for side in (1.0, -1.0)
            ):
                x, y = _along(each["line"], share)
                at = _inside((x + off * nx, y + off * ny), court, wide + 15.0, TEXT_CM + 12.0)
                box = _Box(*at, wide, TEXT_CM)
                cost = 1000.0 * sum(box.covers(other) for other in taken)
                cost += sum(LINE_COST for other in floor if box.covers(other))
                ways.append((cost + 2.0 * abs(off) + 120.0 * abs(share - 0.5), box))
        placed.append(min(ways)[1])
        taken.append(placed[-1]._replace(wide=wide + 15.0, high=TEXT_CM + 12.0))
    return placed


def _floor_lines(court: Court) -> list[_Box]:
    """The lines of the half court that a label should rather not cross, as small boxes along them."""
    found, half = court_drawing(court), POINT_CM / 2.0
    left, line, width, height = found["lane"]
    down = [line + POINT_CM * k for k in range(int(height / POINT_CM))]
    spots = [(x, y) for x in (left, left + width) for y in down]
    spots += [(left + POINT_CM * k, line) for k in range(int(width / POINT_CM))]
    turns = [math.pi * k / 60.0 for k in range(120)]
    spots += [(found["circle"] * math.cos(t), line + found["circle"] * math.sin(t)) for t in turns]
    arc, corner = 100.0 * court.arc_m, 100.0 * court.corner_x_m
    rounded = [(arc * math.cos(t), -arc * math.sin(t)) for t in turns[:61]]
    spots += [at for at in rounded if abs(at[0]) <= corner]
    return [_Box(*at, half, half) for at in spots]


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
        passed = f"passed on from the {spoken(one.ball_from)}" if one.ball_from else ball
        return f'Drawn: as "{before}" leaves them, the ball {passed}.'
    if step.when == Start.PASS.word:
        return f"Drawn: a pass from the {spoken(one.ball_from)}, the ball then {ball}."
    if step.when == Start.ESCAPE.word:
        return f"Drawn: a pass out of a trap {BALL_IN[one.ball_from]}, the ball then {ball}."
    return f"Drawn: the ball {ball}."


def _who(run: Run | None) -> str:
    if run is None:
        return "Here nobody."
    if 100.0 * math.dist(run.start, run.end) < LEAST_RUN_CM:
        return f"Here {run.man}, who stays."
    return f"Here {run.man}, {seconds(run)}."


def _why(play: Play, step: Step, drawn: Mapping[str, Still], wrong: Sequence[Finding]) -> str:
    """Why no way into a step is drawn."""
    never = [each.text for each in wrong if each.step == step.name and each.kind == "never"]
    if never or step.when != Start.THEN.word:
        return (*never, unseen(play, step).text)[0]
    before = [one.name for one in play.steps if one.next == step.name]
    left = [f'"{name}"' for name in before if name in drawn]
    if not left:
        return f"there is none of {listed(before)}, which it follows"
    return f"where {either(left)} leaves them, nobody is {in_regions(step)} on the ball's side"


def _step_view(
    play: Play, step: Step, drawn: Mapping[str, Still], wrong: Sequence[Finding], court: Court
) -> Found:
    one = drawn.get(step.name)
    runs: Sequence[Run | None] = [None] * len(step.moves) if one is None else one.runs
    return {
        "name": step.name,
        "words": step_words(play, step),
        "drawing": None if one is None else step_drawing(step, one, court),
        "why": "" if one is not None else _why(play, step, drawn, wrong),
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
        drawn = shown(play, stills(play, alignment, court, passed_on=True))
        wrong = findings(play)
        steps = [_step_view(play, step, drawn, wrong, court) for step in play.steps]
        views.append(
            {
                "title": play.title,
                "against": against_words(play),
                "source": play.source,
                "floor": f"{alignment.title}; {rules.title} court",
                "findings": [finding_words(one) for one in wrong],
                "steps": steps,
                "court": _view(court, [step["drawing"] for step in steps if step["drawing"] is not None]),
            }
        )
    title = "A play of the attack" if len(plays) == 1 else "Plays of the attack"
    return rendered("plays.html", ("plays.css",), title=title, plays=views, speed=f"{TOP_SPEED_MPS:g}")
