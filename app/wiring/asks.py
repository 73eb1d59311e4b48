"""Who asked for a sighting, and whether it is still wanted."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass

CLOSED = "The camera was closed before the sighting was taken; nothing was recorded."
STOPPED = "The sighting was stopped; nothing was recorded. Sight again when you are ready."
OVERTAKEN = "A newer sighting was asked for instead; nothing was recorded of this one."


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One request.

    Attributes
    ----------
    number
        From 1 on.
    after_s
        Only frames that arrived after this moment of the camera's clock count.
    """

    number: int
    after_s: float


class Asks:
    """The requests of one watch, in order; any thread may ask, stop and close."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._waiting: deque[Ask] = deque()
        self._newest = 0
        self._stopped_up_to = 0
        self._closed = False

    @property
    def closed(self) -> bool:
        """Whether nothing is wanted any more."""
        return self._closed

    def ask(self, after_s: float) -> int:
        """Ask, and return the request's number. Raises ValueError once closed."""
        with self._changed:
            if self._closed:
                raise ValueError("sight was called on a watch that is closed")
            self._newest += 1
            self._waiting.append(Ask(number=self._newest, after_s=after_s))
            self._changed.notify_all()
            return self._newest

    def stop(self) -> None:
        """Want no request that was made so far."""
        with self._changed:
            self._stopped_up_to = self._newest
            self._changed.notify_all()

    def close(self) -> None:
        """Want nothing any more, and wake who waits."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    def next(self) -> Ask | None:
        """Return the oldest request that nobody has begun; None when there is none."""
        with self._changed:
            return self._waiting.popleft() if self._waiting else None

    def unwanted(self, number: int) -> str:
        """Return why a request is not wanted any more, in a sentence; empty while it is."""
        with self._changed:
            if self._closed:
                return CLOSED
            if number <= self._stopped_up_to:
                return STOPPED
            return OVERTAKEN if number < self._newest else ""

    def pause(self, seconds: float, *, during: int | None = None) -> None:
        """Wait, but no longer than until there is something to do.

        Parameters
        ----------
        seconds
            At most so long, of real time.
        during
            The request that is being taken; its end is what wakes then. None wakes
            at a new request.
        """

        def is_over() -> bool:
            if self._closed:
                return True
            if during is None:
                return bool(self._waiting)
            return during <= self._stopped_up_to or during < self._newest

        if seconds > 0.0:
            with self._changed:
                self._changed.wait_for(is_over, seconds)
