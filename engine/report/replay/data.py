"""What the replay page draws, as plain numbers and words: the court in centimetres, ticks, decisions.

Screen frame: one unit is a centimetre, x as in the model (positive to the defence's right), y turned down, so
that the basket is at the bottom and half court at the top, as seen from under the basket.
"""

from __future__ import annotations

import math

import numpy as np

from engine import tables as pd
from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.replay.sentences import (
    ball_words,
    event_sentence,
    job_words,
    option_words,
    said_already,
    trap_words,
    who,
)
from engine.state.arrays import N_PLAYERS, N_SIDE
from engine.state.words import TrapPhase
from engine.study.replay.replay import AGENTS, Replay
from engine.world.court import Court

#: Room round the floor, and how a ball in the hands is shown beside its holder, centimetres.
MARGIN_CM = 70
IN_HAND_CM = 46
#: In every rule book, within 3 cm (from memory): the ring is 45 cm across, the free-throw circle has a radius
#: of 180 cm, the board is 180 cm wide and 120 cm from the baseline.
RING_CM, CIRCLE_CM, BOARD_CM, BOARD_IN_CM = 22.5, 180, 90, 120
#: What the two trappers do, by how far the trap is: coming, set.
TRAPPING = {1: "on his way to the trap", 2: "doubles the ball"}
IN_HANDS = ("held", "pass wind-up", "shot wind-up")
ON_THE_WAY = ("pass wind-up", "pass in flight")


def cm(metres: float) -> int:
    """Whole centimetres, half up."""
    return math.floor(100.0 * metres + 0.5)


def court_drawing(court: Court) -> Found:
    """Lines of the half court and the strip beyond it as SVG paths and numbers, centimetres on the screen.

    Keys: view (the viewBox), floor and strip (x, y, width, height), half_y, lane (x, y, width, height), arc
    (path), no_charge (path, "" where the rule set has none), ring (radius), circle (radius, about the middle
    of the free-throw line), board (half its width, y).
    """
    half, far, base = cm(court.half_width_m), -cm(court.far_y_m), -cm(court.baseline_y_m)
    half_y, lane, line = -cm(court.half_y_m), cm(court.lane_half_width_m), -cm(court.free_throw_y_m)
    corner, turn, arc = cm(court.corner_x_m), -cm(court.corner_break_y_m), cm(court.arc_m)
    near = cm(court.no_charge_m)
    width, height = 2 * (half + MARGIN_CM), base - far + 2 * MARGIN_CM
    return {
        "view": " ".join(map(str, (-half - MARGIN_CM, far - MARGIN_CM, width, height))),
        "floor": (-half, far, 2 * half, base - far),
        "strip": (-half, far, 2 * half, half_y - far),
        "half_y": half_y,
        "half_x": half,
        "lane": (-lane, line, 2 * lane, base - line),
        "arc": f"M{corner} {base} L{corner} {turn} A{arc} {arc} 0 0 0 {-corner} {turn} L{-corner} {base}",
        "no_charge": f"M{near} 0 A{near} {near} 0 0 0 {-near} 0" if near > 0 else "",
        "ring": RING_CM,
        "circle": CIRCLE_CM,
        "board": (BOARD_CM, base - BOARD_IN_CM),
    }


def _unique(texts: list[str]) -> tuple[list[str], list[int]]:
    """Texts once each, and the place of every text among them."""
    known = list(dict.fromkeys(texts))
    place = {text: i for i, text in enumerate(known)}
    return known, [place[text] for text in texts]


def _rows(table: pd.DataFrame) -> list[Found]:
    """Rows of a table by the names of its columns."""
    return [{str(name): value for name, value in row.items()} for row in table.to_dict("records")]


def frame_at(t_s: np.ndarray, when_s: float) -> int:
    """Number of the first tick at or after a time; the last one where there is none."""
    return min(int(np.searchsorted(t_s, when_s - 1e-6)), len(t_s) - 1)


def ticks(replay: Replay, titles: dict[str, str]) -> Found:
    """Every tick for the page.

    Keys, one entry per tick: t (seconds), clock (seconds or None), people (x and y of the ten agents, cm on
    the screen), ball (x, y), hold (agent who has it in his hands, -1 nobody), aim (agent a pass is meant for,
    N_PLAYERS for a shot at the rim, -1 nobody), traps (the two trappers and 1 coming or 2 set, or None).
    now, trap, jobs, slides: texts, with now_at, trap_at, jobs_at, slides_at the place among them per tick
    (the latter two: five per tick).
    """
    table = replay.frames()
    rows = _rows(table)
    n = len(rows)
    people = np.zeros((n, 2 * N_PLAYERS), dtype=np.int64)
    for i, agent in enumerate(AGENTS):
        people[:, 2 * i] = [cm(x) for x in table[f"{agent}_x_m"]]
        people[:, 2 * i + 1] = [-cm(y) for y in table[f"{agent}_y_m"]]
    states = replay.trace.states
    traps: list[list[int] | None] = []
    for phase, one, other in zip(
        states["trap_phase"].tolist(), states["trapper_0"].tolist(), states["trapper_1"].tolist(), strict=True
    ):
        on = phase in (TrapPhase.COMING, TrapPhase.SET)
        traps.append([one, other, 1 if phase == TrapPhase.COMING else 2] if on else None)
    now, now_at = _unique([ball_words(row) for row in rows])
    trap, trap_at = _unique([trap_words(row, titles) for row in rows])
    jobs, jobs_at = _unique(
        [
            TRAPPING[trap_now[2]] if trap_now and i in trap_now[:2] else job_words(row[f"{AGENTS[i]}_job"])
            for row, trap_now in zip(rows, traps, strict=True)
            for i in range(N_SIDE, N_PLAYERS)
        ]
    )
    slides, slides_at = _unique(_slides(replay, rows))
    return {
        "t": [round(float(row["t_s"]), 2) for row in rows],
        "clock": [round(float(row["clock_s"]), 1) if replay.has_clock else None for row in rows],
        "people": people.tolist(),
        "ball": [[cm(row["ball_x_m"]), -cm(row["ball_y_m"])] for row in rows],
        "hold": [AGENTS.index(row["handler"]) if row["mode"] in IN_HANDS else -1 for row in rows],
        "aim": [_aim(row) for row in rows],
        "traps": traps,
        "now": now,
        "now_at": now_at,
        "trap": trap,
        "trap_at": trap_at,
        "jobs": jobs,
        "jobs_at": np.reshape(jobs_at, (n, N_SIDE)).tolist(),
        "slides": slides,
        "slides_at": np.reshape(slides_at, (n, N_SIDE)).tolist(),
    }


def _aim(row: Found) -> int:
    if row["mode"] in ON_THE_WAY and row["target"]:
        return AGENTS.index(row["target"])
    return N_PLAYERS if row["mode"] in ("shot wind-up", "shot in flight") else -1


def _slides(replay: Replay, rows: list[Found]) -> list[str]:
    """Per tick and defender the slide he is on; "late" where the ball has moved to another and he has not."""
    acts = replay.frames(long=True)
    acts = acts[acts["side"] == "defence"]
    found = []
    for i, (region, near) in enumerate(zip(acts["row_region"], acts["row_near"], strict=True)):
        row = rows[i // N_SIDE]
        words = f"{spoken(region)}, {near}"
        settled = row["mode"] in ("held", "pass wind-up", "pass in flight") and row["trap_phase"] == "none"
        late = settled and (region, near) != (row["region"], row["near"])
        found.append(f"{words} (late)" if late else words)
    return found


def decisions(replay: Replay) -> list[Found]:
    """Every decision: frame, title, options as [words, points, taken], the one worth most first."""
    t_s = replay.trace.states["t"]
    found = []
    table = replay.options()
    for number, (_, rows) in enumerate(table.groupby("decision", sort=True), start=1):
        options = _rows(rows)
        first = options[0]
        weighed = sorted(options, key=lambda one: -one["value_points"])
        found.append(
            {
                "frame": frame_at(t_s, first["t_s"]),
                "t": round(float(first["t_s"]), 2),
                "title": f"Decision {number}: {who(first['player'], first['player_number'])}",
                "options": [
                    [option_words(one), round(float(one["value_points"]), 2), bool(one["chosen"])]
                    for one in weighed
                ],
            }
        )
    return found


def happenings(replay: Replay, titles: dict[str, str]) -> list[Found]:
    """The events in words: frame, seconds, sentence, and whether it belongs to a trap."""
    t_s = replay.trace.states["t"]
    rows = _rows(replay.events())
    points = int(replay.record()["points"])
    found = []
    for row, code in zip(rows, replay.trace.events[:, 4].tolist(), strict=True):
        if said_already(row, rows):
            continue
        sentence = event_sentence(row | {"code": code}, titles, points)
        found.append(
            {
                "frame": frame_at(t_s, row["t_s"]),
                "t": f"{row['t_s']:.1f}",
                "words": sentence[0].upper() + sentence[1:] + ".",
                "of_trap": row["event"] in ("call", "trap_set", "trap_left", "shell_stands"),
                "call": row["event"] == "call",
            }
        )
    return found
