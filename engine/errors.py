"""The one kind of error a user of the files can cause."""

from __future__ import annotations

import json
from collections.abc import Mapping
from enum import Enum


def as_written(value: object, inside: bool = False) -> str:
    """A value as people write it in a file: ``true``, ``["wing"]``, ``{spot = "wing"}``; text as ``'wing'``,
    ``inside`` something else as ``"wing"``."""
    if isinstance(value, Enum):
        value = getattr(value, "word", value.name.lower())
    if isinstance(value, str):
        return printable(json.dumps(value, ensure_ascii=False)) if inside else repr(value)
    if isinstance(value, Mapping):
        rows = (f"{printable(str(key))} = {as_written(one, True)}" for key, one in value.items())
        return "{" + ", ".join(rows) + "}"
    if isinstance(value, (list, tuple, set, frozenset)):
        return "[" + ", ".join(as_written(one, True) for one in value) + "]"
    if value is None or isinstance(value, bool):
        return "nothing" if value is None else str(value).lower()
    return str(value)


def printable(text: str) -> str:
    """The text with everything unprintable escaped, so that it stays one line."""
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


class InputError(ValueError):
    """Bad input: ``str(error)`` is one line naming file, key, value and what is allowed.

    The command line prints it and leaves with status 2.
    """

    def __init__(self, where: object, key: str, value: object, allowed: str) -> None:
        shown = as_written(value)
        if len(shown) > 80:
            shown = shown[:77] + "..."
        parts = [str(where)]
        if key:
            parts.append(key)
        parts.append(f"{shown} is not allowed")
        super().__init__(": ".join(parts) + f"; allowed: {allowed}")
        self.where, self.key, self.value, self.allowed = str(where), key, value, allowed


class MissingInput(InputError):
    """A key, file or row that must be there is not: same contract, other wording."""

    def __init__(self, where: object, key: str, allowed: str) -> None:
        ValueError.__init__(self, f"{where}: {key} is missing; needed: {allowed}")
        self.where, self.key, self.value, self.allowed = str(where), key, None, allowed


class Incomplete(UserWarning):
    """A result lacks something that there was no room for; the text says what."""
