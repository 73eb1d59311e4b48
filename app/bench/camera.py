"""The bench as a camera: frames at an even pace in World time."""

from __future__ import annotations

import math
import threading

from app.bench.clock import VirtualClock
from app.bench.picture import Photographer
from app.bench.world import World
from app.job.interfaces import CameraHealth, CameraState, Frame

READOUT_S = 0.008
"""From the end of the exposure to the arrival of the frame."""


class BenchCamera:
    """One world seen by a camera; frame k is always the same frame of that world.

    Implements `app.job.interfaces.Camera`. Frames are made when somebody asks, once
    for all who ask. With a `VirtualClock`, asking makes time jump to the next frame.

    Parameters
    ----------
    world
        What is seen.
    fps
        Frames in one World second.
    exposure_s
        How long the shutter is open; only the tip's place in that time counts.
    """

    def __init__(self, world: World, *, fps: float = 20.0, exposure_s: float = 0.012) -> None:
        if not 0.0 < exposure_s < 1.0 / fps:
            raise ValueError(f"exposure_s must be shorter than a frame, got {exposure_s}")
        self.name = "bench"
        self._world = world
        self._fps = fps
        self._exposure_s = exposure_s
        self._photographer = Photographer(world.truth)
        self._lock = threading.Lock()
        self._newest: Frame | None = None
        self._dropped = 0
        self._closed = threading.Event()

    def now_s(self) -> float:
        """Return World time."""
        return self._world.clock.now_s()

    def next_frame(self, *, after_s: float, timeout_s: float) -> Frame | None:
        """Return the newest frame that arrived after `after_s`; None when there was none."""
        give_up_s = self.now_s() + timeout_s
        while not self._closed.is_set():
            now_s = self.now_s()
            number = self._newest_number(now_s)
            if number >= 0 and self.arrival_s(number) > after_s:
                return self._frame(number)
            next_s = self.arrival_s(max(number + 1, self._newest_number(after_s) + 1, 0))
            if not self._world.clock.wait_until(min(next_s, give_up_s)):
                return None
            if next_s > give_up_s:
                return None
        return None

    def health(self) -> CameraHealth:
        """Return how the camera is doing."""
        newest = self._newest
        if self._closed.is_set():
            state, sentence = CameraState.CLOSED, "The bench's camera was closed."
        else:
            state, sentence = CameraState.LIVE, ""
        age_s = math.inf if newest is None else self.now_s() - newest.arrived_at_s
        return CameraHealth(
            state=state, sentence=sentence, frame_age_s=age_s, dropped=self._dropped
        )

    def close(self) -> None:
        """Stop; a second call does nothing."""
        self._closed.set()

    def arrival_s(self, number: int) -> float:
        """Return when frame `number` arrives, in World time."""
        return number / self._fps + self._exposure_s + READOUT_S

    def _newest_number(self, now_s: float) -> int:
        """Return the number of the last frame that had arrived by then; below 0 for none."""
        # A billionth of a frame keeps an arrival from missing itself by rounding.
        return math.floor((now_s - self._exposure_s - READOUT_S) * self._fps + 1e-9)

    def _frame(self, number: int) -> Frame:
        with self._lock:
            newest = self._newest
            if newest is not None and newest.frame_id >= number:
                return newest
            if newest is not None and not isinstance(self._world.clock, VirtualClock):
                # Where time jumps, nobody was there to miss the frames between.
                self._dropped += number - newest.frame_id - 1
            opened_s = number / self._fps
            image = self._photographer.expose(
                self._world.glimpse(opened_s),
                self._world.glimpse(opened_s + self._exposure_s),
                number=number,
            )
            image.setflags(write=False)
            self._newest = Frame(
                image=image,
                frame_id=number,
                arrived_at_s=self.arrival_s(number),
                camera_generation=1,
            )
            return self._newest
