"""Fakes of a source of pictures and of OpenCV's capture class."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from app.cameras import Clock, Identical, Image, NoImage, Shot, Traits
from app.cameras.opencv import cv2
from app.errors import CameraError


def noise(seed: int, shape: tuple[int, ...] = (48, 64)) -> Image:
    return np.random.default_rng(seed).integers(0, 255, shape, dtype=np.uint8)


Item = Image | NoImage | Exception


class ScriptedGrabber:
    """Gives what the test feeds it, and blocks like a camera in between."""

    def __init__(
        self, *, live: bool = True, identical: Identical = Identical.FAULT, name: str = "Scripted"
    ) -> None:
        self.items: queue.SimpleQueue[Item] = queue.SimpleQueue()
        self.open_failures: list[Exception] = []
        self.opened_in: list[int] = []
        self.closed_in: list[int] = []
        self.opened = threading.Semaphore(0)
        self.hold_s = 0.0
        self._traits = Traits(name=name, live=live, identical=identical)

    @property
    def traits(self) -> Traits:
        return self._traits

    def open(self) -> None:
        if self.open_failures:
            raise self.open_failures.pop(0)
        self.opened_in.append(threading.get_ident())
        self.opened.release()

    def grab(self, clock: Clock) -> Shot | NoImage:
        try:
            item = self.items.get(timeout=0.01)
        except queue.Empty:
            return NoImage.NOTHING
        if isinstance(item, Exception):
            raise item
        if isinstance(item, NoImage):
            return item
        return Shot(image=item, arrived_at_s=clock(), hold_s=self.hold_s)

    def close(self) -> None:
        self.closed_in.append(threading.get_ident())

    def notes(self) -> tuple[str, ...]:
        return ()


def lost(message: str = "Scripted is lost; look at its plug.") -> CameraError:
    return CameraError(message, code="camera-lost")


class FakeCapture:
    """Stands for `cv2.VideoCapture` on a camera that has the given controls."""

    def __init__(
        self,
        pictures: Iterator[Image | None],
        *,
        opens: bool = True,
        refuses: frozenset[int] = frozenset(),
        properties: dict[int, float] | None = None,
        on_set: Callable[[int, float], None] = lambda control, value: None,
    ) -> None:
        self.asked: list[tuple[int, float]] = []
        self.released = False
        self._pictures = pictures
        self._opens = opens
        self._refuses = refuses
        self._on_set = on_set
        self._properties = properties or {}
        self._image: Image | None = None

    def isOpened(self) -> bool:
        return self._opens

    def grab(self) -> bool:
        self._image = next(self._pictures, None)
        return self._image is not None

    def retrieve(self) -> tuple[bool, Any]:
        return self._image is not None, self._image

    def set(self, control: int, value: float, /) -> bool:
        self.asked.append((control, value))
        if control in self._refuses:
            return False
        self._properties[control] = value
        self._on_set(control, value)
        return True

    def get(self, control: int, /) -> float:
        return self._properties.get(control, 0.0)

    def release(self) -> None:
        self.released = True


MJPG = float(cv2.VideoWriter.fourcc(*"MJPG"))
