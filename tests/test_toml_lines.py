"""An error in the syntax of a file names the line that is wrong, not the one where reading stopped."""

from __future__ import annotations

from pathlib import Path

import pytest

from engine.errors import InputError
from engine.inputs import load_play

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


def test_a_statement_of_thousands_of_lines_is_told_soon(tmp_path: Path) -> None:
    """Then the line where reading stopped is named: the last one."""
    path = tmp_path / "cut.toml"
    path.write_text(HEAD + 'source = """common\n' + "often = 1\n" * 3000)
    with pytest.raises(InputError, match="line 3003: 'often = 1' is not allowed"):
        load_play(path)
