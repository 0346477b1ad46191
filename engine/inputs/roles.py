"""Roles and persons: names that stand for five people, near and far by turns, and their team positions."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Annotated

from pydantic import AfterValidator, Field

from engine.errors import InputError, MissingInput
from engine.inputs.base import nearest, not_allowed

N_ROLES = 5
#: In ``doubles``: who is on the ball and the next nearest, decided when the call is made.
DYNAMIC_DOUBLES = ("ball", "nearest")
#: Words with another meaning where roles are keys or are named; no role may be called so.
_TAKEN = ("moment", "option", *DYNAMIC_DOUBLES)


def _role_name(value: str) -> str:
    if not re.fullmatch("[a-z_]{1,40}", value):
        raise not_allowed("the name of a role: small letters a to z and _, at most 40")
    if value in _TAKEN:
        raise not_allowed(f"another name for a role ({', '.join(_TAKEN)} mean something else)")
    return value


#: The name of a role of a defence.
RoleName = Annotated[str, Field(strict=True), AfterValidator(_role_name)]
#: The name of a role as it is referred to; whether there is such a role is checked where the roles are known.
AnyRole = Annotated[str, Field(strict=True)]


def holders(roles: Sequence[str]) -> tuple[str, ...]:
    """The persons who hold the roles: near_x and far_x are right_x and left_x by turns."""
    persons: list[str] = []
    for role in roles:
        side, _, rest = role.partition("_")
        pair = [f"left_{rest}", f"right_{rest}"] if side in ("near", "far") and rest else [role]
        persons.extend(p for p in pair if p not in persons)
    return tuple(persons)


def holder(role: str, side: str) -> str:
    """Who holds a role with the ball on this side ("right" or "left")."""
    head, _, rest = role.partition("_")
    other = "left" if side == "right" else "right"
    return {"near": f"{side}_{rest}", "far": f"{other}_{rest}"}.get(head, role)


def check_pairs(roles: Sequence[str], where: str) -> None:
    """Raises InputError where a near_x has no far_x or the other way round."""
    for i, role in enumerate(roles):
        side, _, rest = role.partition("_")
        other = {"near": f"far_{rest}", "far": f"near_{rest}"}.get(side)
        if other and rest and other not in roles:
            raise InputError(
                where, f"roles[{i + 1}]", role, f"near and far roles in pairs; {other} is missing"
            )


def check_positions(
    positions: Mapping[str, int], persons: Sequence[str], where: str, key: str, complete: bool
) -> None:
    """``key`` is a table person = position 1 to 5, each position at most once.

    Raises InputError for an unknown person or a wrong position; where it must be ``complete``, also for a
    person who is missing.
    """
    for person in positions:
        if person not in persons:
            raise InputError(where, key, person, f"one of {', '.join(persons)}{nearest(person, persons)}")
    for person, position in positions.items():
        if not 1 <= position <= N_ROLES:
            raise InputError(where, f"{key}.{person}", position, "a team position from 1 to 5")
        if list(positions.values()).count(position) > 1:
            raise InputError(where, f"{key}.{person}", position, "each team position from 1 to 5 once")
    for person in persons if complete else ():
        if person not in positions:
            raise MissingInput(where, f"{key}.{person}", "a team position from 1 to 5")


def check_role(role: str, roles: Sequence[str], where: str, key: str) -> None:
    """Raises InputError, naming the nearest role, where ``role`` is none of ``roles``."""
    if role not in roles:
        raise InputError(where, key, role, f"one of {', '.join(roles)}{nearest(role, roles)}")
