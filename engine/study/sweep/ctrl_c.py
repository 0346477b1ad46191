"""Ctrl-C between the rounds of a sweep, not between two lines of one."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from types import FrameType


@contextlib.contextmanager
def ctrl_c_held() -> Iterator[Callable[[], None]]:
    """Ctrl-C waits until it is looked for: between two lines it would lose the outcomes just handed over.

    Gives what looks for it, and raises it; so does the end. A second one does not wait. Where this thread
    gets no Ctrl-C, or it is answered by nothing in Python, nothing changes.
    """
    usual = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(usual):
        yield lambda: None
        return
    seen: list[tuple[int, FrameType | None]] = []

    def note(number: int, frame: FrameType | None) -> None:
        seen.append((number, frame))
        if len(seen) > 1:
            usual(number, frame)

    def look() -> None:
        if seen:
            usual(*seen[0])

    signal.signal(signal.SIGINT, note)
    try:
        yield look
    finally:
        signal.signal(signal.SIGINT, usual)
    look()
