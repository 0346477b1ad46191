"""Types shared by every input file, and the one place where a validation error becomes one line.

The models are pydantic models: frozen, no unknown key, numbers that are really numbers (no text, no
true/false, finite). ``parse`` validates a table read from a file and raises
``engine.errors.InputError`` with file, dotted key, value and what is allowed, in words.
"""

from __future__ import annotations

import difflib
import json
import types
import typing
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails, PydanticCustomError

from engine.errors import InputError, MissingInput, printable

Table = dict[str, Any]


def canonical(data: Any) -> str:
    """Data as one line of JSON, the same for equal data."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


class Frozen(BaseModel):
    """Base of all input objects: immutable attributes, unknown keys refused.

    Raises ``pydantic.ValidationError`` when built by hand with bad values; the loaders turn that into
    ``engine.errors.InputError``.
    """

    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True, arbitrary_types_allowed=True
    )


Model = TypeVar("Model", bound=BaseModel)


def not_allowed(allowed: str, key: str = "", value: object = None) -> PydanticCustomError:
    """The error a validator raises: ``allowed`` says in words what would have been right.

    A validator of a whole table names the ``key`` inside it and its ``value``.
    """
    return PydanticCustomError("not_allowed", "{allowed}", {"allowed": allowed, "key": key, "value": value})


def nearest(word: str, known: Iterable[str]) -> str:
    """``"; nearest 'x'"`` for the most similar known name, or an empty text when nothing is similar."""
    names = list(known)
    lowered = {name.lower(): name for name in names}
    asked = str(word)[:100].lower()
    found = difflib.get_close_matches(asked, list(lowered), n=1, cutoff=0.5)
    if not found and len(asked) > 2:
        found = [name for name in lowered if asked in name or name in asked]
    return f"; nearest {lowered[found[0]]!r}" if found else ""


def one_of(names: Sequence[str]) -> Callable[[str], str]:
    """A validator that lets only the given names pass."""

    def check(value: str) -> str:
        if value not in names:
            raise not_allowed(f"one of {', '.join(names)}{nearest(value, names)}")
        return value

    return check


def as_list(value: object) -> object:
    """One name or a list of names: both mean a list."""
    return [value] if isinstance(value, str) else value


def _pair(value: object) -> object:
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise not_allowed("a list of exactly two numbers")
    return value


def _one_line(value: str) -> str:
    if not value.strip() or not value.isprintable():
        raise not_allowed("text of one line, not empty")
    return value


Real = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Whole = Annotated[int, Field(strict=True)]
Flag = Annotated[bool, Field(strict=True)]
Text = Annotated[str, Field(strict=True), AfterValidator(_one_line)]
Share = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.0, le=1.0)]
Shirt = Annotated[int, Field(strict=True, ge=0, le=99)]
TwoReals = Annotated[tuple[Real, Real], BeforeValidator(_pair)]


# --- from a pydantic error to one line -----------------------------------------------------------------


def spoken(name: str) -> str:
    """A name as it is said: ``half_court_corner`` as "half court corner"."""
    return name.replace("_", " ")


def plain(text: object) -> str:
    """A key or file name as it can stand in one line: anything unprintable is escaped."""
    shown = printable(str(text))
    return shown if len(shown) <= 120 else shown[:117] + "..."


def listed(names: Iterable[str]) -> str:
    """Names with commas, at most twenty."""
    shown = [plain(name) for name in names]
    return ", ".join(shown[:20]) + (", ..." if len(shown) > 20 else "")


def dotted(parts: Sequence[str | int]) -> str:
    """``player[3].handle`` for ("player", 2, "handle"): items of a list are counted from 1."""
    text = ""
    for part in parts:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            name = plain(part)
            text += ("." if text else "") + (f'"{name}"' if "." in name else name)
    return text


def _shown_path(data: object, location: Sequence[str | int]) -> list[str | int]:
    """The part of a pydantic location that exists in the file as it was written.

    Loaders regroup tables before they validate ("entries", "place"); those steps do not stand in the
    file and are left out of the key that is shown.
    """
    shown: list[str | int] = []
    current, above = data, None
    last = len(location) - 1
    for i, part in enumerate(location):
        if isinstance(part, int):
            if isinstance(current, list | tuple) and part < len(current):
                shown.append(part)
                current, above = current[part], None
            continue
        if isinstance(current, Mapping):
            if part in current:
                shown.append(part)
                above, current = current, current[part]
            elif i == last:
                shown.append(part)
            continue
        if isinstance(above, Mapping) and part in above and shown:
            shown[-1] = part
            current = above[part]
    return shown


def _unwrap(annotation: Any) -> tuple[Any, list[Any]]:
    """An annotation without Annotated and Optional, and all the constraints met on the way."""
    constraints: list[Any] = []
    while True:
        origin = typing.get_origin(annotation)
        if origin is Annotated:
            annotation, *extra = typing.get_args(annotation)
            for item in extra:
                constraints.extend(item.metadata if isinstance(item, FieldInfo) else [item])
            continue
        if origin in (typing.Union, types.UnionType):
            inner = [a for a in typing.get_args(annotation) if a is not type(None)]
            if len(inner) == 1:
                annotation = inner[0]
                continue
        return annotation, constraints


def _by_key(model: type[BaseModel], key: str) -> FieldInfo | None:
    for name, field in model.model_fields.items():
        if key in (name, field.alias):
            return field
    return None


def known_keys(model: type[BaseModel]) -> list[str]:
    """The keys of a model as they are written in a file."""
    return [field.alias or name for name, field in model.model_fields.items()]


def _follow(
    model: type[BaseModel], location: Sequence[str | int]
) -> tuple[type[BaseModel] | None, Any, list[Any], str]:
    """Walk a location through the models: the model that holds it, its type, constraints, description."""
    holder: type[BaseModel] | None = model
    annotation: Any = model
    constraints: list[Any] = []
    description = ""
    for part in location:
        holder = None
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            holder = annotation
            field = _by_key(annotation, str(part))
            if field is None:
                return holder, None, [], ""
            description = field.description or ""
            annotation, extra = _unwrap(field.annotation)
            constraints = list(field.metadata) + extra
            continue
        arguments = typing.get_args(annotation)
        origin = typing.get_origin(annotation)
        if not arguments:
            return holder, None, [], description
        if origin is dict:
            inner = arguments[1]
        elif isinstance(part, int) and part < len(arguments) and arguments[part] is not Ellipsis:
            inner = arguments[part]
        else:
            inner = arguments[0]
        annotation, constraints = _unwrap(inner)
    return holder, annotation, constraints, description


_KIND = {float: "a number", int: "a whole number", bool: "true or false", str: "text"}


def number_text(value: float) -> str:
    """A bound as a person writes it."""
    return f"{value:g}" if abs(value) < 1e6 else f"{value:.0f}"


def _words(annotation: Any, constraints: Iterable[Any], description: str) -> str:
    """What a field allows, in words."""
    origin = typing.get_origin(annotation)
    if annotation in _KIND:
        words = _KIND[annotation]
    elif origin is tuple or origin is list:
        words = "a list"
    elif origin is dict or (isinstance(annotation, type) and issubclass(annotation, BaseModel)):
        words = "a table"
    else:
        words = "another value"
    bounds: dict[str, float] = {}
    for item in constraints:
        for name in ("ge", "gt", "le", "lt", "min_length", "max_length"):
            value = getattr(item, name, None)
            if value is not None:
                bounds[name] = value
    low, high = bounds.get("ge"), bounds.get("le")
    if low is not None and high is not None:
        words += f" from {number_text(low)} to {number_text(high)}"
    elif low is not None:
        words += f" of at least {number_text(low)}"
    elif high is not None:
        words += f" of at most {number_text(high)}"
    if "gt" in bounds:
        words += f" above {number_text(bounds['gt'])}"
    if "lt" in bounds:
        words += f" below {number_text(bounds['lt'])}"
    if origin in (tuple, list) and ("min_length" in bounds or "max_length" in bounds):
        least, most = bounds.get("min_length"), bounds.get("max_length")
        if least == most:
            words += f" of exactly {least}"
        elif most is None:
            words += f" of at least {least}"
        else:
            words += f" of {least or 0} to {most}"
    return words + (f" ({description})" if description else "")


def _to_input_error(
    model: type[BaseModel], error: ErrorDetails, data: object, where: str, under: Sequence[str | int]
) -> InputError:
    location = error["loc"]
    key = dotted([*under, *_shown_path(data, location)]) or "the file"
    holder, annotation, constraints, description = _follow(model, location)
    if error["type"] == "extra_forbidden":
        known = known_keys(holder) if holder else []
        return unknown_key(where, key, str(location[-1]), known)
    if error["type"] == "missing":
        return MissingInput(where, key, _words(annotation, constraints, description))
    if error["type"] == "not_allowed":
        told = error["ctx"]
        if told["key"]:
            return InputError(where, f"{key}.{told['key']}", told["value"], str(told["allowed"]))
        return InputError(where, key, error["input"], str(told["allowed"]))
    return InputError(where, key, error["input"], _words(annotation, constraints, description))


def unknown_key(where: str, key: str, word: str, known: Sequence[str]) -> InputError:
    """An unknown key: names the key, the nearest known one and the known ones."""
    hint = nearest(word, known)
    return UnknownKey(where, key, f"{hint}; known keys: {listed(known)}".removeprefix("; "))


class UnknownKey(InputError):
    """A key nobody knows: the value does not matter, the name does."""

    def __init__(self, where: object, key: str, allowed: str) -> None:
        ValueError.__init__(self, f"{where}: unknown key {key}; {allowed}")
        self.where, self.key, self.value, self.allowed = str(where), key, None, allowed


def parse(
    model: type[Model], data: object, where: str, under: Sequence[str | int] = (), written: object = None
) -> Model:
    """Validate ``data`` as ``model``; ``under`` is the key of the table inside its file.

    ``written`` is the table as it stands in the file when ``data`` was regrouped from it. Unknown keys
    are told first, because a misspelt key is also a missing one.

    Raises InputError for the first error found: one line.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        found = error.errors(include_url=False)
        first = next((e for e in found if e["type"] == "extra_forbidden"), found[0])
        raise _to_input_error(model, first, data if written is None else written, where, under) from None


def check_keys(data: object, known: Sequence[str], where: str, key: str) -> Table:
    """``data`` as a table whose keys are all known.

    Raises InputError when it is not a table or has an unknown key.
    """
    if not isinstance(data, dict):
        raise InputError(where, key or "the file", data, "a table")
    for name in data:
        if name not in known:
            raise unknown_key(where, f"{key}.{plain(name)}" if key else plain(name), name, known)
    return data


def tables(data: Table, name: str, where: str, key: str = "") -> list[Table]:
    """The list of tables written as ``[[name]]``; empty when absent.

    Raises InputError when it is something else.
    """
    shown = f"{key}.{name}" if key else name
    value = data.get(name, [])
    if not isinstance(value, list):
        raise InputError(where, shown, value, f"tables written as [[{name}]]")
    for i, item in enumerate(value):
        if not isinstance(item, dict):
            raise InputError(where, f"{shown}[{i + 1}]", item, f"tables written as [[{name}]]")
    return value
