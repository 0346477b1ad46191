"""An error in the syntax of a file names the line that is wrong, not the one where reading stopped."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from engine.errors import InputError
from engine.inputs import load_play
from engine.inputs.files import MOST_TRIED

HEAD = 'name = "cut"\ntitle = "cut"\n'


@pytest.mark.parametrize(
    ("rest", "number", "written"),
    [
        # a bracket that is not closed, before a key, the head of a table, a comment, the end
        ('ball = ["top", "wing"\noften = 0.5\n', 3, '\'ball = ["top", "wing"\''),
        ('ball = ["top", "wing",\noften = 0.5\n', 3, '\'ball = ["top", "wing",\''),
        ('ball = ["top"\n\n# what follows\n[[step]]\nname = "a"\n', 3, "'ball = [\"top\"'"),
        ('ball = ["top", # the middle\n[[step]]\nname = "a"\n', 3, "'ball = [\"top\", # the middle'"),
        ('ball = ["top"\n\n# the end\n', 3, "'ball = [\"top\"'"),
        ('ball = [\n  "top",\n', 4, "'\"top\",'"),
        # what is wrong within several lines stands where it was
        ('ball = [\n  "top",\n  "wing"\n  "corner",\n]\noften = 1\n', 5, "'\"wing\"'"),
        ('ball = [\n  "top",\n  wing,\n]\n', 5, "'wing,'"),
        ('ball = [\n  "top,\n  "wing",\n]\n', 4, "'\"top,'"),
        # rows that look like heads of tables, a text that looks like a key
        ("to = [\n  [1, 2],\n  [2, x]\n]\n", 5, "'[2, x]'"),
        ("to = [\n  [1, 2],\n  [x, 2]\n]\n", 5, "'[x, 2]'"),
        ("to = [\n  [1],\n  [x]\n]\n", 5, "'[x]'"),
        ("to = [\n  [1, 2],\n  [1.5 2.5]\n]\n", 5, "'[1.5 2.5]'"),
        ('ball = [\n  "ok",\n  "a=b" "c",\n]\n', 5, '\'"a=b" "c",\''),
        # heads and keys that are some
        ('ball = ["top",\n  [[step]]\n  name = "a"\n', 3, "'ball = [\"top\",'"),
        ('ball = ["top",\n[step.more]\n', 3, "'ball = [\"top\",'"),
        ('ball = ["top",\n"the key" . b = 1\n', 3, "'ball = [\"top\",'"),
        # text without its end, a key given twice
        ('source = """common\noften = 1\n\n[[step]]\n', 3, '\'source = """common\''),
        ("source = '''common\noften = 1\n", 3, "\"source = '''common\""),
        ('title = [\n  "cut",\n]\n', 3, "'title = ['"),
        # one line, as it was
        ("often =\nball = 1\n", 3, "'often ='"),
        ('often 1\nball = "top"\n', 3, "'often 1'"),
        ("often = 0,5\n", 3, "'often = 0,5'"),
        ("often = 1\n\x1c\n", 4, "''"),
        ('[[step]\nname = "a"\n', 3, "'[[step]'"),
    ],
)
def test_the_line_that_is_wrong_is_named(rest: str, number: int, written: str, tmp_path: Path) -> None:
    path = tmp_path / "cut.toml"
    path.write_text(HEAD + rest)
    with pytest.raises(InputError) as told:
        load_play(path)
    assert str(told.value).startswith(f"{path}: line {number}: {written} is not allowed; allowed: TOML (")


KEYS = "".join(f"k{n} = {n}\n" for n in range(3000))


@pytest.mark.parametrize(
    ("rest", "number", "most"),
    [
        (KEYS + "to = [\n" + "  [1, 2],\n" * 299 + "  [2, x]\n]\n", 3303, 2),
        ("to = [\n" + "  [1, 2],\n" * 300 + "often = 1\n", 303, 2),
        (KEYS + 'source = """common\n' + "often = 1\n" * 3000, 3003, 2),
        ("source = '''common\n" + "often = [1]\n" * 3000, 3003, MOST_TRIED + 1),
    ],
)
def test_a_statement_of_hundreds_of_lines_takes_few_parses(
    rest: str, number: int, most: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where it begins is found at whatever distance; the last line is named where too many may begin it."""
    path = tmp_path / "cut.toml"
    path.write_text(HEAD + rest)
    parsed, loads = [], tomllib.loads
    monkeypatch.setattr(tomllib, "loads", lambda text: (parsed.append(text), loads(text))[1])
    with pytest.raises(InputError, match=rf"line {number}: "):
        load_play(path)
    assert 1 < len(parsed) <= 1 + most
