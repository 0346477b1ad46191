"""Plays of the attack: steps of moves, as data (configs/plays/*.toml)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field

from engine.errors import InputError, MissingInput
from engine.inputs import defaults
from engine.inputs.base import (
    Frozen,
    Real,
    Table,
    Text,
    as_list,
    check_keys,
    listed,
    nearest,
    one_of,
    parse,
    plain,
    tables,
)
from engine.inputs.files import FileName, Source, read_toml, resolve
from engine.inputs.places import Placement, Regions, placement_table
from engine.state.arrays import MOST_MOVES, MOST_STEPS
from engine.state.words import AGAINST, DOES, ONLY, REGIONS, STARTS, WHO, Does, Only, Start, Who

When = Annotated[str, Field(strict=True), AfterValidator(one_of(STARTS))]
WhoWord = Annotated[str, Field(strict=True), AfterValidator(one_of(WHO))]
OnlyWord = Annotated[str, Field(strict=True), AfterValidator(one_of(ONLY))]
DoesWord = Annotated[str, Field(strict=True), AfterValidator(one_of(DOES))]
Defence = Annotated[str, Field(strict=True), AfterValidator(one_of(AGAINST))]


class Move(Frozen):
    """One man's part in a step: who goes where (for ``nearest``: to which place, how far from it at most).

    ``does = "screen"``: he goes to the man on the ball, wherever he is, and stands in his way.
    ``pace`` is a share of his top speed, ``after_s`` seconds from the start of the step, ``only_if`` what
    must be seen at the start of the step.
    """

    who: WhoWord = Field(description="who makes the move")
    near: Placement | None = Field(default=None, description="the place that the nearest man is nearest to")
    within_m: Real = Field(default=4.0, gt=0.0, le=30.0, description="he is not farther from it, metres")
    does: DoesWord = Field(default=Does.GO.word, description="what he does")
    to: Placement | None = Field(default=None, description="where he goes; nothing for a screen")
    pace: Real = Field(default=1.0, gt=0.0, le=1.0, description="share of his top speed")
    after_s: Real = Field(default=0.0, ge=0.0, le=10.0, description="from the start of the step, s")
    only_if: OnlyWord = Field(default="always", description="what must be seen for it")


class Step(Frozen):
    """A step of a play: when it may begin, how long it lasts, who moves, what follows."""

    name: Text = Field(description="name of the step")
    when: When = Field(description="what it may begin on")
    ball: Regions = Field(default=REGIONS, description="ball regions")
    held_s: Real = Field(default=0.0, ge=0.0, le=30.0, description="so long the ball has been held, s")
    lasts_s: Real = Field(gt=0.0, le=30.0, description="how long it lasts, s")
    often: Real = Field(default=1.0, ge=0.0, le=1.0, description="chance to be begun when it may be")
    next: Text | None = Field(default=None, description="the step that follows")
    moves: tuple[Move, ...] = Field(
        alias="move", min_length=1, max_length=MOST_MOVES, description="who moves where"
    )


class Play(Frozen):
    """A play: steps, and against which defences it is run (``zone``, ``men``)."""

    name: Text
    title: Text
    source: Text
    against: Annotated[tuple[Defence, ...], BeforeValidator(as_list), Field(min_length=1)]
    steps: tuple[Step, ...] = Field(alias="step", min_length=1, description="the steps, in order")


def _screens(step: Step) -> bool:
    return any(move.does == Does.SCREEN.word for move in step.moves)


def _after_screen(play: Play, step: Step) -> bool:
    return any(one.next == step.name and _screens(one) for one in play.steps)


def _check_screen(step: Step, move: Move, where: str, here: str) -> None:
    if move.to is not None:
        raise InputError(
            where, f"{here}.to", "a place", 'none where does = "screen": beside the man on the ball'
        )
    if step.when not in (Start.HOLD.word, Start.THEN.word):
        raise InputError(where, f"{here}.does", move.does, "in a step whose when is hold or then")
    if move.who != Who.NEAREST.word:
        raise InputError(where, f"{here}.does", move.does, 'with who = "nearest"')
    if sum(one.does == Does.SCREEN.word for one in step.moves) > 1:
        raise InputError(where, f"{here}.does", move.does, "one screen in a step")


def _check(play: Play, where: str) -> Play:
    names = [step.name for step in play.steps]
    followed = {step.next for step in play.steps}
    for i, step in enumerate(play.steps):
        key = f"step[{i + 1}]"
        if step.name in names[:i]:
            raise InputError(where, f"{key}.name", step.name, "each name once")
        if step.next is not None and step.next not in names:
            allowed = f"a step of the play: {listed(names)}{nearest(step.next, names)}"
            raise InputError(where, f"{key}.next", step.next, allowed)
        if step.when == Start.THEN.word and step.name not in followed:
            allowed = f'another occasion, or some step with next = "{plain(step.name)}"'
            raise InputError(where, f"{key}.when", step.when, allowed)
        if step.held_s > 0.0 and step.when != Start.HOLD.word:
            raise InputError(where, f"{key}.held_s", step.held_s, f'0 unless when = "{Start.HOLD.word}"')
        for n, move in enumerate(step.moves):
            here = f"{key}.move[{n + 1}]"
            screens = move.does == Does.SCREEN.word
            if move.to is None and not screens:
                raise MissingInput(where, f"{here}.to", "where he goes")
            if screens:
                _check_screen(step, move, where, here)
            if move.who == Who.SCREENER.word and not _after_screen(play, step):
                allowed = "somebody else, or a step that follows one with a screen"
                raise InputError(where, f"{here}.who", move.who, allowed)
            if move.who == Who.NEAREST.word and move.near is None:
                raise MissingInput(where, f"{here}.near", "the place that he is nearest to")
            if move.who != Who.NEAREST.word and move.near is not None:
                raise InputError(where, f"{here}.near", "a place", f'none unless who = "{Who.NEAREST.word}"')
            if move.who == Who.HANDLER.word and step.when != Start.HOLD.word:
                raise InputError(
                    where, f"{here}.who", move.who, f'somebody else unless when = "{Start.HOLD.word}"'
                )
            if move.who == Who.PASSER.word and step.when not in (Start.PASS.word, Start.THEN.word):
                raise InputError(where, f"{here}.who", move.who, "somebody else unless when is pass or then")
            if move.who != Who.NEAREST.word and "within_m" in move.model_fields_set:
                raise InputError(where, f"{here}.within_m", move.within_m, "none unless who is nearest")
            if move.who == Who.HANDLER.word and move.pace != 1.0:
                raise InputError(where, f"{here}.pace", move.pace, "none for the handler: he dribbles")
            if move.who == Who.HANDLER.word and (move.after_s > 0.0 or move.only_if != Only.ALWAYS.word):
                raise InputError(where, f"{here}.who", move.who, "no after_s and no only_if beside it")
    if all(step.when == Start.THEN.word for step in play.steps):
        raise InputError(where, "step[1].when", Start.THEN.word, "an occasion for at least one step")
    return play


def play_from(data: Table, where: str) -> Play:
    """A play from a table. Raises InputError."""
    steps: list[Table] = []
    for i, step in enumerate(tables(data, "step", where)):
        if "after_s" in step:
            allowed = "held_s in its place, the seconds that the ball has been held (after_s is of a move)"
            raise InputError(where, f"step[{i + 1}].after_s", step["after_s"], allowed)
        moves: list[Table] = []
        for n, move in enumerate(tables(step, "move", where, f"step[{i + 1}]")):
            key = f"step[{i + 1}].move[{n + 1}]"
            check_keys(move, tuple(Move.model_fields), where, key)
            places: dict[str, Any] = {
                name: placement_table(move[name], defaults.SIDE, where, f"{key}.{name}")
                for name in ("near", "to")
                if name in move
            }
            moves.append({**move, **places})
        steps.append({**step, "move": moves})
    return _check(parse(Play, {**data, "step": steps}, where, written=data), where)


def load_play(name_or_path: FileName, beside: Source | None = None, key: str = "play") -> Play:
    """Load a play by name (configs/plays) or path.

    Raises InputError: one line with file, key, value and what is allowed.
    """
    source = resolve(name_or_path, "plays", beside, key if beside else "")
    return play_from(read_toml(source), str(source))


def plays_from(names: Sequence[str], beside: Source, key: str = "offence.plays") -> tuple[Play, ...]:
    """The plays that an attack runs, as a scenario names them at ``key``. Raises InputError."""
    plays: list[Play] = []
    for i, name in enumerate(names):
        plays.append(load_play(name, beside, f"{key}[{i + 1}]"))
        if plays[-1].name in [play.name for play in plays[:-1]]:
            raise InputError(str(beside), f"{key}[{i + 1}]", name, "each play once")
    pooled([plays], beside, key)
    return tuple(plays)


def pooled(lists: Iterable[Sequence[Play]], beside: Source | str, key: str) -> tuple[Play, ...]:
    """Every play of some lists once, in order of first mention.

    A play's luck goes by its place among these, so that it has the same whichever others are run.
    Raises InputError at ``key`` for two plays of one name, and for more steps than there is room for.
    """
    found: dict[str, Play] = {}
    for play in (play for one in lists for play in one):
        if found.setdefault(play.name, play) != play:
            raise InputError(str(beside), key, play.name, "one play of each name in a scenario")
    plays = tuple(found.values())
    n = sum(len(play.steps) for play in plays)
    if n > MOST_STEPS:
        allowed = f"at most {MOST_STEPS} steps in all plays together"
        raise InputError(str(beside), key, f"{n} steps", allowed)
    return plays
