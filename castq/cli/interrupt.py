"""Ctrl-C that is safe: it waits until no compiled-code library is at work, which would lose it or crash on it."""

from __future__ import annotations

import _thread
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

# Wait before trying again while such a library is at work [s].
RETRY_S = 0.05
# The compiler's dispatch runs a little Python and does not look whether that ended in an exception.
_UNSAFE = frozenset({"numba", "llvmlite"})


def _unsafe(frame: FrameType | None) -> bool:
    """Return whether a frame, or one that called it, belongs to a library that must not be interrupted."""
    while frame is not None:
        if str(frame.f_globals.get("__name__", "")).partition(".")[0] in _UNSAFE:
            return True
        frame = frame.f_back
    return False


def _on_interrupt(signum: int, frame: FrameType | None) -> None:
    if not _unsafe(frame):
        raise KeyboardInterrupt
    again = threading.Timer(RETRY_S, _thread.interrupt_main)
    again.daemon = True
    again.start()


@contextmanager
def safe_interrupts() -> Iterator[None]:
    """Let Ctrl-C stop the block only where that is safe; the handler before is put back after it."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, _on_interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
