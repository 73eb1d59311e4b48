"""A mailbox with one slot between two threads: the newest value wins, older ones are counted."""

from __future__ import annotations

import threading
from typing import Generic, TypeVar

T = TypeVar("T")


class Slot(Generic[T]):
    """Where one thread leaves its newest value and another takes it. Neither waits."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._value: T | None = None
        self._put = 0
        self._dropped = 0

    def put(self, value: T) -> bool:
        """Leave a value in place of the last one; say whether the taker is to be told.

        It is not told again of a slot from which it has not taken yet.
        """
        with self._lock:
            is_news = self._value is None
            self._dropped += not is_news
            self._put += 1
            self._value = value
            return is_news

    def take(self) -> T | None:
        """Return the newest value and empty the slot; None when nothing new is there."""
        with self._lock:
            value, self._value = self._value, None
            return value

    @property
    def put_count(self) -> int:
        """How many values were left here."""
        return self._put

    @property
    def dropped(self) -> int:
        """How many of them nobody took in time."""
        return self._dropped
