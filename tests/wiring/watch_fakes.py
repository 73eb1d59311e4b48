"""A camera that gives frames on command, and a listener that can be waited for."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from app.job.interfaces import CameraHealth, CameraState, Frame
from app.wiring.glance import BurstEnd, BurstProgress
from tests.vision.bore.pictures import Scene, take

Image = NDArray[np.uint8] | NDArray[np.uint16]

SIZE = (240, 200)
CENTRE = (121.3, 99.6)
PERIOD_S = 0.1
PATIENCE_S = 10.0
"""A test that waits so long has failed."""


def tip(at: tuple[float, float] = CENTRE, seed: int = 1) -> NDArray[np.uint8]:
    """Return a small picture of a tip with its bore at a place."""
    return take(Scene(size=SIZE, centre=at, radius=24.0, land_radius=60.0, seed=seed))


class CommandedCamera:
    """Frames come only when a test lets them, on a clock of the camera's own.

    `give` leaves one now. `allow` lets the measuring thread have so many more as it
    asks; time passes by a tenth of a second a frame, also for frames nobody asked for.
    """

    name = "commanded"

    def __init__(self, image: Image | None = None) -> None:
        self._changed = threading.Condition()
        self._image = tip() if image is None else image
        self.image_of: Callable[[int], Image] = lambda _: self._image
        self.generation_of: Callable[[int], int] = lambda _: 1
        self.state, self.sentence = CameraState.LIVE, ""
        self.fault: Exception | None = None
        self.clock_s = 100.0
        self.made: dict[int, Frame] = {}
        self.asked = 0
        self.closed = 0
        self._allowed = 0
        self._number = 0
        self._newest: Frame | None = None

    def give(self) -> Frame:
        with self._changed:
            return self._make()

    def allow(self, frames: int) -> None:
        with self._changed:
            self._allowed += frames
            self._changed.notify_all()

    def now_s(self) -> float:
        return self.clock_s

    def next_frame(self, *, after_s: float, timeout_s: float) -> Frame | None:
        with self._changed:
            self.asked += 1
            if self.fault is not None:
                fault, self.fault = self.fault, None
                raise fault
            may_make = threading.current_thread().name.startswith("measuring")
            deadline_s = time.monotonic() + timeout_s
            while self.state in (CameraState.LIVE, CameraState.STALLED) and not self.closed:
                if self._newest is not None and self._newest.arrived_at_s > after_s:
                    return self._newest
                if may_make and self._allowed:
                    self._allowed -= 1
                    self.clock_s = max(self.clock_s, after_s)
                    return self._make()
                if not self._changed.wait(deadline_s - time.monotonic()):
                    return None
            return None

    def health(self) -> CameraHealth:
        state = CameraState.CLOSED if self.closed else self.state
        return CameraHealth(state=state, sentence=self.sentence, frame_age_s=0.0, dropped=0)

    def close(self) -> None:
        with self._changed:
            self.closed += 1
            self._changed.notify_all()

    def become(self, state: CameraState, sentence: str) -> None:
        with self._changed:
            self.state, self.sentence = state, sentence
            self._changed.notify_all()

    def _make(self) -> Frame:
        self._number += 1
        self.clock_s += PERIOD_S
        self._newest = Frame(
            image=self.image_of(self._number),
            frame_id=self._number,
            arrived_at_s=self.clock_s,
            camera_generation=self.generation_of(self._number),
        )
        self.made[self._number] = self._newest
        self._changed.notify_all()
        return self._newest


class Ears:
    """Hears all that a watch tells, and lets a test wait for it."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self.pictures = 0
        self.glances = 0
        self.told: list[BurstProgress] = []
        self.ends: list[BurstEnd] = []
        self.healths: list[CameraHealth] = []
        self.faults: list[Exception] = []
        self.deaf: Exception | None = None

    def picture_ready(self) -> None:
        with self._changed:
            self.pictures += 1
            self._changed.notify_all()

    def glance_ready(self) -> None:
        with self._changed:
            self.glances += 1
            self._changed.notify_all()

    def burst_told(self, progress: BurstProgress) -> None:
        with self._changed:
            self.told.append(progress)
            self._changed.notify_all()
        if self.deaf is not None:
            raise self.deaf

    def burst_ended(self, end: BurstEnd) -> None:
        with self._changed:
            self.ends.append(end)
            self._changed.notify_all()

    def health_changed(self, health: CameraHealth) -> None:
        with self._changed:
            self.healths.append(health)
            self._changed.notify_all()

    def failed(self, error: Exception) -> None:
        with self._changed:
            self.faults.append(error)
            self._changed.notify_all()

    def wait_until(self, holds: Callable[[], bool]) -> None:
        """Wait for something to hold; what the listener is not told of is looked at again."""
        deadline_s = time.monotonic() + PATIENCE_S
        with self._changed:
            while not holds():
                left_s = deadline_s - time.monotonic()
                assert left_s > 0.0, "it never came to hold"
                self._changed.wait(min(left_s, 0.01))
