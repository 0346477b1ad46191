"""Files that are written beside their place and moved there when they are whole: nobody sees half of one."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress


def beside(path: str | os.PathLike[str]) -> str:
    """A new empty file in the folder of ``path`` (FILE.XXXX.part). Raises OSError."""
    folder, name = os.path.split(os.fspath(path))
    handle, found = tempfile.mkstemp(prefix=f"{name}.", suffix=".part", dir=folder or os.curdir)
    os.close(handle)
    return found


def settle(part: str, path: str | os.PathLike[str]) -> None:
    """See ``part`` to the disk and move it to ``path``, with the permissions of the file that it replaces, or
    those of a new one. Raises OSError."""
    try:
        mode = stat.S_IMODE(os.stat(path).st_mode)
    except FileNotFoundError:
        mask = os.umask(0)
        os.umask(mask)
        mode = 0o666 & ~mask
    with open(part, "rb") as done:
        os.fsync(done.fileno())
    os.chmod(part, mode)
    os.replace(part, path)


@contextmanager
def whole_file(path: str | os.PathLike[str]) -> Iterator[str]:
    """The name of a file to fill; it becomes ``path`` at the end, and is deleted after any error.

    Raises OSError.
    """
    part = beside(path)
    try:
        yield part
        settle(part, path)
    except BaseException:
        with suppress(FileNotFoundError):
            os.unlink(part)
        raise
