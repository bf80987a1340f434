"""The time of day as something that is handed in, so that a test can step it back."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

WallClock = Callable[[], datetime]


def system_clock() -> datetime:
    """Return the time now, with the time zone of this machine."""
    return datetime.now(UTC).astimezone()


SYSTEM_CLOCK: WallClock = system_clock
