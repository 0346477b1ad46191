"""Where input files are found and how they are read (TOML and CSV). No meaning is given to them here."""

from __future__ import annotations

import contextlib
import csv
import difflib
import filecmp
import io
import itertools
import os
import pickle
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from engine.errors import InputError, MissingInput
from engine.inputs.base import dotted, plain
from engine.shipped import configs_root

#: The name of a shipped file, or a path.
FileName = str | os.PathLike[str]

#: Folder under configs/ -> what stands in it (singular, for messages) and the ending of its files.
KINDS = {
    "rules": ("rule set", ".toml"),
    "shots": ("shot table", ".csv"),
    "teams": ("team", ".toml"),
    "alignments": ("alignment", ".toml"),
    "plays": ("play", ".toml"),
    "zones": ("defence", ".toml"),
    "calls": ("trap call", ".toml"),
    "scenarios": ("scenario", ".toml"),
    "levels": ("level", ".toml"),
    "sweeps": ("design of a sweep", ".toml"),
}


@dataclass(frozen=True)
class Held:
    """Files kept as they were when they were first read: path -> text, path -> table of a TOML file.

    Later readers get the same contents although a file was changed meanwhile, or other contents where
    somebody put them here. Nobody may change a table in place.
    """

    texts: dict[Path, str] = field(default_factory=dict)
    tables: dict[Path, dict[str, Any]] = field(default_factory=dict)


@dataclass(frozen=True)
class Source:
    """A file: where it is, and how it is shown to the user (as he wrote it, or configs/...).

    ``read`` collects the files read so far, ``held`` keeps their contents (None: they are read every time);
    a file found through another one shares both.
    """

    path: Path
    shown: str
    read: list[Path] = field(default_factory=list, compare=False)
    held: Held | None = field(default=None, compare=False, repr=False)

    def __str__(self) -> str:
        return plain(self.shown)


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def shown_path(path: Path) -> str:
    """``configs/...`` for a shipped file, else the path as it is."""
    try:
        return "configs/" + path.resolve().relative_to(configs_root().resolve()).as_posix()
    except (OSError, ValueError):
        return str(path)


def shipped(kind: str) -> list[str]:
    """Names of the shipped files of one kind, sorted."""
    folder = configs_root() / kind
    return sorted(p.stem for p in folder.glob("*" + KINDS[kind][1])) if folder.is_dir() else []


def in_place_of_shipped(path: Path) -> str | None:
    """``configs/...`` where a file of a folder configs here is read and the installed one differs."""
    try:
        inside = path.absolute().relative_to(Path.cwd() / "configs")
        installed = configs_root() / inside
        same = not installed.is_file() or installed.samefile(path) or filecmp.cmp(installed, path, False)
    except (OSError, ValueError):
        return None
    return None if same else f"configs/{inside.as_posix()}"


def shipped_source(kind: str, name: str) -> Source:
    """A shipped file by its name, whatever lies in the working directory."""
    file = f"{kind}/{name}{KINDS[kind][1]}"
    return Source(configs_root() / file, f"configs/{file}")


def kind_of(data: dict[str, Any]) -> str | None:
    """What a TOML table is, told from its keys; None when they fit nothing."""
    keys = set(data)
    if keys & {"factor", "design"}:
        return "sweeps"
    if keys & {"setting", "offence", "defence", "possessions", "rules_changes"}:
        return "scenarios"
    if keys & {"input", "rates"}:
        return "stress"
    if keys & {"published", "fit"} or {"players", "shots"} <= keys:
        return "levels"
    if "player" in keys or "zone_places" in keys:
        return "teams"
    if keys & {"doubles", "cover", "triggers", "way_back"}:
        return "calls"
    if keys & {"bump_role", "guards", "match_up"}:
        return "zones"
    if keys & {"step", "against"}:
        return "plays"
    if "break" in keys:
        return "alignments"
    if keys & {"three_point", "no_charge", "clock", "fouls"}:
        return "rules"
    if keys & {"spots", "regions"}:
        return "court"
    if "row" in keys:
        first = data["row"][0] if isinstance(data["row"], list) and data["row"] else {}
        tables = [v for v in first.values() if isinstance(v, dict)] if isinstance(first, dict) else []
        return "zones" if "options" in keys or any("job" in t for t in tables) else "alignments"
    if "persons" in keys:
        return "alignments"
    if keys and all(isinstance(v, dict) and "value" in v for v in data.values()):
        return "constants"
    return None


def _exists(source: Source) -> bool:
    held = source.held
    if held is not None and (source.path in held.tables or source.path in held.texts):
        return True
    return _is_file(source.path)


def _fits(source: Source, kind: str) -> bool:
    if source.path.suffix == ".csv":
        return kind == "shots"
    if source.held is not None and source.path in source.held.tables:
        return kind_of(source.held.tables[source.path]) == kind
    try:
        return kind_of(tomllib.loads(source.path.read_text(encoding="utf-8-sig"))) == kind
    except (OSError, ValueError, RecursionError):
        return False


def _places(text: str, kind: str, beside: Source | None) -> Iterator[tuple[Source, bool]]:
    """Where the file could be, in order; True where only a file of this kind counts."""
    ending = KINDS[kind][1]
    wanted = Path(text)
    bare = wanted.suffix != ending and "/" not in text
    full = Path(text) if wanted.suffix == ending else Path(text + ending)
    read, held = (beside.read, beside.held) if beside else ([], None)
    folder = beside.path.parent if beside else Path()
    shown_folder = Path(beside.shown).parent if beside else Path()
    if beside is None and wanted.suffix and not wanted.suffix[1:].isdigit() and full != wanted:
        yield Source(wanted, str(wanted), read, held), False
    else:
        neighbour = Source(folder / full, str(shown_folder / full), read, held)
        yield neighbour, bare and beside is not None
    if full.is_absolute() or ".." in full.parts:
        return
    inside = [Path(*full.parts[1:])] if full.parts[0] == "configs" and len(full.parts) > 1 else []
    for place in (*inside, Path(kind) / full):
        yield Source(configs_root() / place, "configs/" + place.as_posix(), read, held), False


def resolve(name: FileName, kind: str, beside: Source | None = None, key: str = "") -> Source:
    """Find the file a name means.

    A path is looked for beside the file that names it (``beside``; without one, in the working
    directory), then among the shipped files as ``configs/<kind>/<name>``. A bare name (no ending, no
    folder) takes a neighbour ``<name>.toml`` only when it is a file of this kind, so that a scenario
    and a trap call may have the same name.

    Raises InputError naming the places that were looked at and the nearest shipped name.
    """
    text = os.fspath(name)
    title = KINDS[kind][0]
    if not text.strip():
        raise InputError(beside or "file name", key, text, f"the name or path of a {title}")
    tried: list[str] = []
    for source, must_fit in _places(text, kind, beside):
        tried.append(str(source))
        if _exists(source) and (not must_fit or _fits(source, kind)):
            return source
    close = difflib.get_close_matches(Path(text).stem[:100], shipped(kind), n=1, cutoff=0.4)
    hint = f"; nearest shipped {title} {close[0]!r}" if close else ""
    looked = f"looked for {' or '.join(dict.fromkeys(tried))}{hint}"
    if beside is None:
        raise MissingInput(plain(text), "the file", f"a {title} ({looked})")
    raise InputError(beside, key, text, f"a {title} that exists ({looked})")


def read_text(source: Source) -> str:
    """The text of a file; a byte order mark is tolerated.

    Raises InputError when it cannot be read or is not UTF-8.
    """
    held = source.held
    if held is not None and source.path in held.texts:
        source.read.append(source.path)
        return held.texts[source.path]
    try:
        text = source.path.read_text(encoding="utf-8-sig")
        source.read.append(source.path)
        if held is not None:
            held.texts[source.path] = text
        return text
    except UnicodeDecodeError as error:
        raise InputError(source, "", f"byte {error.start}", "text in UTF-8") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "unreadable"
        raise InputError(source, "", plain(source.path.name), f"a file that can be read ({reason})") from None


_KEY = r"""(?:[\w-]+|"[^"]*"|'[^']*')"""
_KEYS = rf"{_KEY}(?:\s*\.\s*{_KEY})*\s*"
#: A line that looks like a statement of its own: a key with its value, or the head of a table; an indented
#: [name] is rather a row of an array. A line with a statement that may go on in the next one. A line with
#: more than a comment.
_STATEMENT = re.compile(rf"\s*{_KEYS}=|\s*\[\[\s*{_KEYS}\]\]\s*(?:#|$)|\[\s*{_KEYS}\]\s*(?:#|$)")
_GOES_ON = re.compile(rf"""\s*{_KEYS}=\s*(?:\[|{{|\"""|''')""")
_WRITTEN = re.compile(r"\s*[^\s#]")
#: How many lines are tried as the beginning of a statement: all the text before is parsed for each.
MOST_TRIED = 50


@lru_cache(maxsize=128)
def _parsed(text: str) -> tuple[bytes, tuple[str, int] | None]:
    """A scenario reads some files several times, most of them as they were last time. Pickled, so that
    whoever reads one has a table of his own, twenty times as fast as parsing. Beside it a number too long."""
    data = tomllib.loads(text)
    return pickle.dumps(data), _too_long(data, [])


def quoted(source: Source, line: str) -> str:
    """A line of a file as an error shows it: not where the file is a link, which may lead anywhere."""
    return "(a line of the file that this links to)" if source.path.is_symlink() else line.strip()


def _statement_line(lines: list[str], number: int) -> int:
    """The line, from 1, on which the statement begins that line ``number`` is in: all before it is whole.
    ``number`` itself where that is none of MOST_TRIED."""
    earlier = (n for n in range(number - 1, 0, -1) if _GOES_ON.match(lines[n - 1]))
    for first in (number, *itertools.islice(earlier, MOST_TRIED)):
        with contextlib.suppress(ValueError, RecursionError):
            tomllib.loads("\n".join(lines[: first - 1]))
            return first
    return number


def _wrong_line(text: str, message: str) -> int:
    """The line of a syntax error, from 1. The parser says where it could not go on: where that is the first
    thing of a line, or its key, a bracket or a quote was never closed on a line before."""
    lines = text.rstrip(" \t\n").split("\n")
    found = re.search(r"\(at line (\d+), column (\d+)\)", message)
    number, column = (int(found[1]), int(found[2])) if found else (len(lines), 1)
    first = _statement_line(lines, number)
    unclosed = message.startswith("Unclosed")
    stopped = found or unclosed or message.startswith("Invalid value")
    if message.startswith("Cannot overwrite") or not stopped:
        return first  # a key given twice, or text without its end
    line = lines[number - 1]
    at_first = unclosed and not line[: column - 1].strip()
    next_one = _STATEMENT.match(line)
    if not found or at_first or (next_one and column <= next_one.end()):
        before = (n for n in range(number - bool(found), first - 1, -1) if _WRITTEN.match(lines[n - 1]))
        return next(before, number)
    return number


def read_toml(source: Source) -> dict[str, Any]:
    """The table of a TOML file.

    Raises InputError naming the line of a syntax error.
    """
    held = source.held
    if held is not None and source.path in held.tables:
        source.read.append(source.path)
        return held.tables[source.path]
    text = read_text(source)
    try:
        kept, long = _parsed(text)
    except (ValueError, RecursionError) as error:
        message = str(error).splitlines()[0] if str(error) else "nested too deeply"
        number = _wrong_line(text, message)
        written = quoted(source, text.split("\n")[number - 1])
        reason = message.split(" (at ")[0]
        raise InputError(source, f"line {number}", written, f"TOML ({plain(reason)})") from None
    if long is not None:
        key, bits = long
        raise InputError(source, key, f"a number of {bits} bits", f"whole numbers up to {2**64 - 1}")
    data: dict[str, Any] = pickle.loads(kept)
    if held is not None:
        held.tables[source.path] = data
    return data


def _too_long(data: object, key: list[str | int]) -> tuple[str, int] | None:
    """Key and bits of the first whole number beyond 64 bits, which TOML does not know; longer ones cannot
    even be printed safely."""
    if isinstance(data, dict | list):
        inner = data.items() if isinstance(data, dict) else enumerate(data)
        found = (_too_long(value, [*key, name]) for name, value in inner)
        return next((one for one in found if one is not None), None)
    if isinstance(data, int) and abs(data) >= 2**64:
        return dotted(key), data.bit_length()
    return None


def read_csv(source: Source, columns: tuple[str, ...]) -> list[tuple[int, dict[str, str]]]:
    """Rows of a CSV file with exactly these columns: (line number, column -> text).

    Lines that start with # and empty lines are left out.

    Raises InputError for an unknown or missing column or a row of another length.
    """
    header: list[str] | None = None
    rows: list[tuple[int, dict[str, str]]] = []
    for number, line in enumerate(io.StringIO(read_text(source)), start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        try:
            cells = [cell.strip() for cell in next(csv.reader([line]))]
        except (csv.Error, StopIteration):
            raise InputError(source, f"line {number}", line.strip(), "comma-separated values") from None
        if header is None:
            header = cells
            if sorted(header) != sorted(columns):
                raise InputError(
                    source, f"line {number}", ",".join(cells), f"the columns {','.join(columns)}"
                )
            continue
        if len(cells) != len(header):
            raise InputError(
                source, f"line {number}", ",".join(cells), f"{len(header)} values, one per column"
            )
        rows.append((number, dict(zip(header, cells, strict=True))))
    if header is None:
        raise InputError(source, "", "an empty file", f"a table with the columns {','.join(columns)}")
    return rows


@lru_cache(maxsize=4)
def _spots(path: Path, changed_ns: int) -> tuple[str, ...]:
    data = read_toml(Source(path, shown_path(path)))
    spots = data.get("spots", {})
    return tuple(spots) if isinstance(spots, dict) else ()


def spot_names() -> tuple[str, ...]:
    """Named spots of configs/court/regions.toml; empty when there is no such file (then any name passes)."""
    path = configs_root() / "court" / "regions.toml"
    try:
        return _spots(path, path.stat().st_mtime_ns)
    except OSError:
        return ()
