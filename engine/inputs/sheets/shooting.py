"""From grades, counts and charted shots to a player's shot table and free throws.

A player's table is the level's with its log odds moved in three bands: at the rim, between, and from three.
The move starts from the coach's word (none: zero). Where makes and attempts are known, his estimate is
pulled toward the average of a player of that word (engine.inputs.sheets.shrink), and the move is what the
estimate's log odds differ from the level's. Counts are held against what the level's men
make in the model (its record; else the published rate), so that he makes as much there; charted shots against
the table at their own distances, for shots that are taken.
"""

from __future__ import annotations

import bisect
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from engine.inputs.constants import Constant
from engine.inputs.levels import Level
from engine.inputs.rules import Rules
from engine.inputs.sheets.cells import Tried
from engine.inputs.sheets.charted import BANDS, ChartedShot
from engine.inputs.sheets.data import Grades, Shooter
from engine.inputs.sheets.shrink import prior_strength, pulled
from engine.inputs.shots import TAKEN_LOGIT, TYPICAL_GAP, ShotTable, chance, logit, moved_table

#: Kinds of samples that are pulled, each with a strength of its own.
TWOS, THREES, FREE_THROWS = "twos", "threes", "free throws"
KIND_OF_BAND = {"rim": "shots at the rim", "middle": "shots between", "three": "charted threes"}


@dataclass(frozen=True)
class Sample:
    """Shots of one kind of one player. ``average``: mean chance of an average player of his word on the
    same shots."""

    number: int
    kind: str
    made: float
    attempted: float
    average: float


@dataclass(frozen=True)
class ShotNote:
    """How much of an estimate is the player's own. Shares and chances 0 to 1, strength in attempts.

    ``estimated``: whether the strength was estimated from the sheet's own players.
    """

    number: int
    kind: str
    made: float
    attempted: float
    average: float
    estimate: float
    own_share: float
    strength: float
    estimated: bool

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON."""
        return dict(vars(self))


@dataclass(frozen=True)
class Shooting:
    """One opponent's sheet as far as it is about shooting; ``word`` (of the grades) None where there is none,
    ``from_makes``: whether it comes from made threes and so says nothing of twos."""

    number: int
    word: str | None
    from_makes: bool
    from_where: tuple[str, ...]
    twos: Tried
    threes: Tried
    free_throws: Tried
    free_throw_grade: str | None
    shots: tuple[ChartedShot, ...] = ()


@dataclass(frozen=True)
class Found:
    """A player's shot table (None: the level's) and free-throw probability."""

    table: ShotTable | None
    free_throw: float


def moves_of_word(
    grade: Shooter | None, from_where: Sequence[str], from_makes: bool = False
) -> dict[str, float]:
    """Band -> log odds that a word adds. It holds outside unless the sheet says inside only; one that comes
    from made threes holds for threes."""
    if grade is None:
        return dict.fromkeys(BANDS, 0.0)
    if from_makes:
        return {"rim": 0.0, "middle": 0.0, "three": grade.three_logit}
    inside = "inside" in from_where
    outside = not from_where or any(place != "inside" for place in from_where)
    middle = grade.middle_logit if outside else grade.inside_logit
    return {
        "rim": grade.inside_logit if inside else 0.0,
        "middle": middle,
        "three": grade.three_logit if outside else 0.0,
    }


class LevelAverages:
    """What an average player of the level makes: by table and distance, and of all twos or threes."""

    def __init__(
        self, level: Level, table: ShotTable, constants: Mapping[str, float], grades: Grades
    ) -> None:
        self.table, self.constants, self.grades, self.level = table, constants, grades, level
        self._logits = [logit(make) for make in table.make]

    def _at(self, values: Sequence[float], distance_m: float) -> float:
        d = self.table.distance_m
        i = min(max(bisect.bisect_right(d, distance_m) - 1, 0), len(d) - 2)
        f = min(max((distance_m - d[i]) / (d[i + 1] - d[i]), 0.0), 1.0)
        return values[i] * (1.0 - f) + values[i + 1] * f

    def shot_logit(self, distance_m: float, band: str, note: str = "") -> float:
        """Log odds of a shot that an average player takes, the nearest defender as noted, else at the typical
        distance of the band. ``taken_*_logit`` holds the band's mix of distances and gaps: at the shots' own
        distances it would be 0.3 more at the rim and 0.2 less between (school, 4,000 possessions, standard
        error 0.06), so a charted shooter is rated too high at the rim, too low between. Not mended: it needs
        constants of its own, measured on each level by benchmarks/fit_beliefs.py."""
        gaps = {"open": "open_gap_m", "contested": "contested_gap_m"}
        gap = typical = self.constants[TYPICAL_GAP[band]]
        if note:  # a contested shot is never easier than one without a note, an open one never harder
            gap = (min if note == "contested" else max)(self.grades.number(gaps[note]), typical)
        gap = min(gap, self.constants["contest_cap_m"])
        slope = self._at(self.table.contest_logit_per_m, distance_m)
        z = self._at(self._logits, distance_m) + slope * (gap - self.constants["reference_defender_m"])
        return z + self.constants[TAKEN_LOGIT[band]]

    def rate(self, kind: str, arc_m: float) -> float:
        """Share made of all twos or threes by the level's men in the model."""
        name, distance, band = {
            TWOS: ("two_point", 2.5, "middle"),
            THREES: ("three_point", arc_m + 0.4, "three"),
        }[kind]
        reached, published = self.level.reached(name), self.level.published.get(name)
        if reached is not None:
            return reached
        return published.aim if published is not None else chance(self.shot_logit(distance, band))


def _counted(tried: Tried, grades: Grades) -> tuple[float, float] | None:
    """(made, attempted) where both are known; a percentage alone stands for some attempts."""
    if tried.made is not None and tried.attempted:
        return float(tried.made), float(tried.attempted)
    if tried.share is not None:
        n = grades.number("percent_attempts")
        return tried.share * n, n
    return None


def _band_sample(player: Shooting, band: str, averages: LevelAverages, move: float) -> Sample | None:
    shots = [shot for shot in player.shots if shot.band == band]
    if not shots:
        return None
    expected = [chance(averages.shot_logit(s.distance_m, band, s.note) + move) for s in shots]
    made = sum(shot.made for shot in shots)
    return Sample(player.number, KIND_OF_BAND[band], made, len(shots), sum(expected) / len(shots))


def _samples(
    player: Shooting, averages: LevelAverages, moves: Mapping[str, float], arc_m: float
) -> list[Sample]:
    """The samples that count for a player: of counts and charted shots the one with more attempts."""
    found: list[Sample] = []
    rim, middle, three = (_band_sample(player, band, averages, moves[band]) for band in BANDS)
    twos, threes = (_counted(tried, averages.grades) for tried in (player.twos, player.threes))
    charted = sum(sample.attempted for sample in (rim, middle) if sample)
    if twos and twos[1] >= charted:
        move = (moves["rim"] + moves["middle"]) / 2
        found.append(Sample(player.number, TWOS, *twos, chance(logit(averages.rate(TWOS, arc_m)) + move)))
    else:
        found += [sample for sample in (rim, middle) if sample]
    if threes and threes[1] >= (three.attempted if three else 0):
        average = chance(logit(averages.rate(THREES, arc_m)) + moves["three"])
        found.append(Sample(player.number, THREES, *threes, average))
    elif three:
        found.append(three)
    free = _counted(player.free_throws, averages.grades)
    if free:
        found.append(Sample(player.number, FREE_THROWS, *free, _free_throw(player, averages)))
    return found


def _free_throw(player: Shooting, averages: LevelAverages) -> float:
    """Free throws of the level with the coach's word added, kept off 0 and 1."""
    grade = averages.grades.free_throw_shooter[player.free_throw_grade or "average"]
    return min(max(averages.level.players.free_throw.value + grade.free_throw, 0.02), 0.98)


def _note(sample: Sample, strengths: Mapping[str, tuple[float, bool]]) -> ShotNote:
    strength, estimated = strengths[sample.kind]
    estimate, own = pulled(sample.made, sample.attempted, sample.average, strength)
    return ShotNote(
        sample.number,
        sample.kind,
        sample.made,
        sample.attempted,
        sample.average,
        estimate,
        own,
        strength,
        estimated,
    )


def _strengths(samples: Sequence[Sample], grades: Grades, prior: Constant) -> dict[str, tuple[float, bool]]:
    """Kind -> (strength, estimated) from all players' samples of that kind."""
    found: dict[str, tuple[float, bool]] = {}
    for kind in dict.fromkeys(sample.kind for sample in samples):
        usual = grades.number("free_throw_prior_attempts") if kind == FREE_THROWS else prior.value
        mine = [sample for sample in samples if sample.kind == kind]
        found[kind] = prior_strength(
            [s.made for s in mine],
            [s.attempted for s in mine],
            [s.average for s in mine],
            usual,
            int(grades.number("least_players")),
            grades.number("least_attempts"),
            (prior.low, prior.high),
        )
    return found


def shooting_of(
    players: Sequence[Shooting], averages: LevelAverages, prior: Constant, rules: Rules
) -> tuple[dict[int, Found], tuple[ShotNote, ...]]:
    """Shirt number -> shot table and free throws, and how much of each estimate is the player's own.

    ``prior``: the constant shot_prior_attempts with its range, attempts.
    """
    grades, three = averages.grades, rules.three_point
    moves = {
        p.number: moves_of_word(grades.shooter[p.word] if p.word else None, p.from_where, p.from_makes)
        for p in players
    }
    samples = {p.number: _samples(p, averages, moves[p.number], three.arc_radius_m) for p in players}
    strengths = _strengths([s for mine in samples.values() for s in mine], grades, prior)
    found: dict[int, Found] = {}
    notes: list[ShotNote] = []
    for player in players:
        free_throw = _free_throw(player, averages)
        mine = dict(moves[player.number])
        for sample in samples[player.number]:
            note = _note(sample, strengths)
            notes.append(note)
            shift = logit(note.estimate) - logit(note.average)
            if sample.kind == FREE_THROWS:
                free_throw = min(max(note.estimate, 0.0), 1.0)
            for band in BANDS:
                counts = TWOS if band != "three" else THREES
                if sample.kind in (KIND_OF_BAND[band], counts):
                    mine[band] += shift
        table = None
        if any(mine.values()):
            table = moved_table(
                averages.table,
                mine,
                averages.constants["rim_range_m"],
                min(three.arc_radius_m, three.corner_line_from_rim_m),
                f"No. {player.number}",
            )
        found[player.number] = Found(table, free_throw)
    return found, tuple(notes)
