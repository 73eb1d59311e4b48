"""The two clocks of the bench: one that runs, one that jumps.

World time counts seconds from the making of the world.
"""

from __future__ import annotations

import threading
import time
from typing import Protocol


class Clock(Protocol):
    """World time, and a way to let it pass. Any thread may call."""

    def now_s(self) -> float:
        """Return World time in seconds."""
        ...

    def wait_until(self, at_s: float) -> bool:
        """Return when World time has come to `at_s`; False when the clock was stopped."""
        ...

    def stop(self) -> None:
        """Wake everyone who waits, now and later."""
        ...


class VirtualClock:
    """A clock that stands still until somebody waits, and then jumps there.

    For runs without waiting. It is meant for one caller at a time: a second one
    that waits for frames would make time fly for the first.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._now_s = 0.0

    def now_s(self) -> float:
        """Return World time in seconds."""
        with self._lock:
            return self._now_s

    def wait_until(self, at_s: float) -> bool:
        """Jump to `at_s`, unless it is past already."""
        with self._lock:
            self._now_s = max(self._now_s, at_s)
        return True

    def stop(self) -> None:
        """Nobody ever waits here."""


class RealClock:
    """A clock that runs with the computer's.

    Parameters
    ----------
    speed
        World seconds in one real second; above 1 for tests that must not dawdle.
    """

    def __init__(self, *, speed: float = 1.0) -> None:
        if not speed > 0.0:
            raise ValueError(f"speed must be positive, got {speed}")
        self._speed = speed
        self._start_s = time.monotonic()
        self._stopped = threading.Event()

    def now_s(self) -> float:
        """Return World time in seconds."""
        return (time.monotonic() - self._start_s) * self._speed

    def wait_until(self, at_s: float) -> bool:
        """Block until World time has come to `at_s`; False when the clock was stopped."""
        while (left_s := (at_s - self.now_s()) / self._speed) > 0.0:
            if self._stopped.wait(left_s):
                return False
        return not self._stopped.is_set()

    def stop(self) -> None:
        """Wake everyone who waits, now and later."""
        self._stopped.set()
