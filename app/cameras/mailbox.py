"""A mailbox with one slot: the newest frame wins, older ones are dropped and counted."""

from __future__ import annotations

import threading

from app.job.interfaces import Frame


class Mailbox:
    """Where the camera thread leaves frames and any other thread takes them."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._newest: Frame | None = None
        self._taken = True
        self._wanted = False
        self._over = False
        self._shut = False
        self._dropped = 0

    @property
    def newest(self) -> Frame | None:
        """The newest frame, whether taken or not."""
        return self._newest

    @property
    def dropped(self) -> int:
        """How many frames nobody took in time."""
        return self._dropped

    def put(self, frame: Frame, *, skipped: int = 0) -> None:
        """Leave a frame in place of the last one; `skipped` older ones count as dropped."""
        with self._changed:
            self._dropped += skipped + (not self._taken)
            self._newest = frame
            self._taken = False
            self._wanted = False
            self._changed.notify_all()

    def take(self, *, after_s: float, timeout_s: float) -> Frame | None:
        """Return the newest frame that arrived after `after_s`, waiting for it if need be."""
        with self._changed:
            if not self._has_newer(after_s):
                self._wanted = True
                self._changed.notify_all()
            self._changed.wait_for(
                lambda: self._over or self._has_newer(after_s), max(0.0, timeout_s)
            )
            if self._shut or not self._has_newer(after_s):
                return None
            self._taken = True
            return self._newest

    def wait_wanted(self, timeout_s: float) -> bool:
        """Wait until a reader asks for a frame that is not there; say whether one did."""
        with self._changed:
            self._changed.wait_for(lambda: self._wanted or self._over, timeout_s)
            return self._wanted

    def end(self) -> None:
        """Say that no more frames come; the last one can still be taken."""
        with self._changed:
            self._over = True
            self._changed.notify_all()

    def shut(self) -> None:
        """Say that nothing may be taken any more."""
        with self._changed:
            self._over = self._shut = True
            self._changed.notify_all()

    def _has_newer(self, after_s: float) -> bool:
        return self._newest is not None and self._newest.arrived_at_s > after_s
