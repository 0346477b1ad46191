"""Ctrl-C in the tests, which may themselves be started with the signal ignored, as any background job is."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator


@contextlib.contextmanager
def interruptible() -> Iterator[None]:
    """Python's own answer to SIGINT, in this thread's process, whatever was inherited."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
