"""The stream of frames that a served bench sends: each one made once, for all who look."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from app.bench.camera import BenchCamera
from app.errors import CameraError

_JPEG_QUALITY = 92


@dataclass(frozen=True, slots=True, kw_only=True)
class Jpeg:
    """One frame as it goes over the wire, and when it arrived in World time."""

    number: int
    world_time_s: float
    data: bytes


class Stream:
    """The newest frame, made by one thread for all who look, and only while somebody does."""

    def __init__(self, camera: BenchCamera) -> None:
        self._camera = camera
        self._changed = threading.Condition()
        self._newest: Jpeg | None = None
        self._viewers = 0
        self._ended = False

    @contextmanager
    def running(self) -> Iterator[None]:
        """Make frames until the context ends."""
        thread = threading.Thread(target=self._make_frames, name="bench frames")
        thread.start()
        try:
            yield
        finally:
            with self._changed:
                self._ended = True
                self._changed.notify_all()
            self._camera.close()
            thread.join()

    @contextmanager
    def viewing(self) -> Iterator[None]:
        """Count as one who looks."""
        with self._changed:
            self._viewers += 1
            self._changed.notify_all()
        try:
            yield
        finally:
            with self._changed:
                self._viewers -= 1

    def after(self, number: int) -> Jpeg | None:
        """Block until there is a frame beyond `number`; None when the stream has ended."""
        with self._changed:
            self._changed.wait_for(
                lambda: self._ended or (self._newest is not None and self._newest.number > number)
            )
            return None if self._ended else self._newest

    def newest_number(self) -> int:
        """Return the number of the newest frame; -1 before the first."""
        with self._changed:
            return -1 if self._newest is None else self._newest.number

    def _make_frames(self) -> None:
        after_s = -1.0
        while self._wanted():
            frame = self._camera.next_frame(after_s=after_s, timeout_s=1.0)
            if frame is None:
                continue
            after_s = frame.arrived_at_s
            jpeg = Jpeg(
                number=frame.frame_id,
                world_time_s=after_s,
                data=jpeg_with_time(frame.image, world_time_s=after_s),
            )
            with self._changed:
                self._newest = jpeg
                self._changed.notify_all()

    def _wanted(self) -> bool:
        """Block while nobody looks; False when the stream has ended."""
        with self._changed:
            self._changed.wait_for(lambda: self._ended or self._viewers > 0)
            return not self._ended


def jpeg_with_time(image: NDArray[np.uint8] | NDArray[np.uint16], *, world_time_s: float) -> bytes:
    """Return a picture as JPEG whose first segment is a comment with its World time.

    ITU T.81, B.2.4.5: marker FF FE, then the length of what follows, itself included.
    """
    done, code = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    if not done:
        raise CameraError("The bench could not write a JPEG.", code="jpeg-failed")
    data = code.tobytes()
    comment = f"world_time_s={world_time_s:.6f}".encode("ascii")
    segment = b"\xff\xfe" + (len(comment) + 2).to_bytes(2, "big") + comment
    return data[:2] + segment + data[2:]
